"""Feet and pounds beside metres and kilograms: every figure of every output has them, and they are right.

What is right is told here from the definitions: international yard and pound agreement of 1959, 1 yd = 0.9144 m and
1 lb = 0.45359237 kg, both exact; a pound-force with the standard gravity of 9.80665 m/s² (CGPM 1901), 4.4482216152605
N. Tolerances are half of the last place that is shown, with 1e-9 for binary fractions.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from acoustics.app import cli
from acoustics.app.feet import in_text, of_figure
from acoustics.app.imperial import both
from acoustics.app.sheet import Figure
from rigging.equipment import load_catalogue
from rigging.models import feet_of

FOOT_M, POUND_KG, POUND_FORCE_N = 0.9144 / 3.0, 0.45359237, 4.4482216152605
PER = {
    "mm": {"in": FOOT_M * 1000.0 / 12.0},
    "m²": {"ft²": FOOT_M**2},
    "kg": {"lb": POUND_KG},
    "kg/m": {"lb/ft": POUND_KG / FOOT_M},
    "kg m": {"lb ft": POUND_KG * FOOT_M},
    "N": {"lbf": POUND_FORCE_N},
    "kN": {"lbf": POUND_FORCE_N / 1000.0},
    "m/min": {"ft/min": FOOT_M},
    "m/s²": {"ft/s²": FOOT_M},
    "m/s": {"mph": 5280.0 * FOOT_M / 3600.0, "ft/s": FOOT_M},
}
NUMBER = r"[-+−±]?[\d,]*\d(?:\.\d+)?"
FEET = r"""[-+−±]?(?:\d+'(?: \d+)?(?: \d+/\d+)?"?|\d+(?: \d+/\d+)?"|\d+/\d+")"""
UNITS = r"kg/m|kg m|kg|kN|N|mm|m/s²|m/min|m/s|m²|m|°C"
# A figure and its unit, as any text may say it; what follows in brackets; nothing is shared with the code under test.
FIGURE = re.compile(rf"(?P<last>{NUMBER})\)?[ \u00a0](?P<unit>{UNITS})(?![\w²³/·^%-])(?P<rest>.*)", re.S)
TAGS, PICTURE = re.compile(r"<(?:a|p|h2|tr|td|th|li|title)\b[^>]*>"), re.compile(r"<svg.*?</svg>", re.S)
BRACKET = re.compile(r"\(([^()]*(?:lbf?|lb/ft|lb ft|in|ft²|ft/s²?|ft/min|mph|°F|['\"]))\)")
# Columns whose cells are bare, by the end of their head, and columns whose title says the unit.
HEAD = re.compile(r"(?:^|[ ,])(kg|mm|m|m²|N)$|^(N) |(?:axial|shear|both|side) (N)$|length (m),|(kg), ")
TITLED = {
    **dict.fromkeys(("hole", "at hook (cell reads)", "at roof", "hook, worst stage", "roof, worst stage"), "kg"),
    **dict.fromkeys(("down", "sideways"), "kg"),
    **dict.fromkeys(("hook, design", "hook, as built", "cell read", "roof, worst, design"), "kg"),
}


def right(metric: str, unit: str, said: str) -> bool:
    """Whether a figure in feet or pounds is that of a metric one."""
    value = float(metric.replace(",", "").replace("−", "-").replace("±", ""))
    said = said.replace("−", "-").replace("±", "")
    if unit == "m":
        feet = feet_of(said)
        inch = FOOT_M / 12.0
        step = inch / 32.0 if len(metric.partition(".")[2]) > 2 else inch / 4.0
        return feet is not None and abs(feet * FOOT_M - value) <= step / 2.0 + 1e-9
    shown, _, name = said.partition(" ")
    half = 0.5 * 10.0 ** -len(shown.partition(".")[2])
    if unit == "°C":
        return name == "°F" and abs(float(shown) - (32.0 + 1.8 * value)) <= half + 1e-9
    if name not in PER[unit]:
        return False
    fine = 2.0 * half * PER[unit][name] <= 10.0 ** -len(metric.partition(".")[2]) + 1e-12  # as the metric figure is
    return fine and abs(float(shown) - value / PER[unit][name]) <= half + 1e-9


def faults_of(text: str) -> list[str]:
    """Figures of a text whose counterpart is missing or wrong."""
    found, rest = [], text.replace("\u00a0", " ")
    while (one := FIGURE.search(rest)) is not None:
        bracket = BRACKET.match(one["rest"].lstrip(" \u00a0\n")) if one["rest"][:1] in (" ", "\n") else None
        numbers = [] if bracket is None else re.findall(rf"{FEET}|{NUMBER}", bracket[1])
        unit_said = "" if bracket is None or one["unit"] == "m" else " " + bracket[1].rsplit(" ", 1)[-1]
        if one["unit"] in ("kg m",) and bracket is not None:
            unit_said = " lb ft"
        if not numbers or not right(one["last"], one["unit"], numbers[-1] + unit_said):
            found.append(rest[max(0, one.start() - 20) : one.end("unit") + 30])
        rest = one["rest"]
    return found


def cell_fault(cell: str, unit: str) -> str:
    """What is wrong with a cell whose unit stands in its head; empty where nothing is, or it holds no figure."""
    cell = cell.replace("\u00a0", " ")
    metric = re.findall(NUMBER, cell.partition("(")[0])
    if not metric:
        return ""
    bracket = BRACKET.search(cell)
    if bracket is None:
        return f"{cell!r} has nothing beside its {unit}"
    said = re.findall(rf"{FEET}" if unit == "m" else NUMBER, bracket[1])
    name = "" if unit == "m" else " " + bracket[1].rsplit(" ", 1)[-1]
    same = len(said) == len(metric)
    good = same and all(right(a, unit, b + name) for a, b in zip(metric, said, strict=True))
    return "" if good else f"{cell!r} is not right in {unit}"


def unit_of(head: str) -> str | None:
    """What a head says its cells are in; None where it says no metric unit."""
    if head == "picks, at rest, kg":  # of names
        return None
    said = HEAD.search(head)
    return TITLED.get(head) or (next(one for one in said.groups() if one) if said else None)


def columns_of(text: str) -> list[tuple[str, str]]:
    """Cells and units of all columns of a printed text whose heads are in metric units."""
    found = []
    lines = text.splitlines()
    for index, line in enumerate(lines):
        heads = [(m[0], m.end()) for m in re.finditer(r"\S+(?: \S+)*", line)]
        units = [(unit_of(head), head, end) for head, end in heads]
        if len(heads) < 3 or not any(unit for unit, *_ in units):
            continue
        for unit, _, end in units:
            for row in lines[index + 1 :]:
                if not row.strip() or not re.search(r"\S  +\S", row):
                    break
                cell = re.split(r" {2,}", row[:end])[-1]
                if unit and len(row) >= end and (len(row) == end or row[end] == " ") and row[end - 1] != " ":
                    found.append((cell, unit))
    return found


@dataclass
class Page(HTMLParser):
    """Words of a page, each as a whole, and cells of its tables by their heads."""

    words: list[str] = field(default_factory=list)
    cells: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.heads: list[str] = []
        self.title = ""
        self.row: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("meta", "br"):
            return
        self.open.append(tag)
        if tag in ("td", "th"):
            self.row.append("")
        if tag == "h2":
            self.title = ""
        if tag == "tr":
            self.row = []

    def handle_endtag(self, tag: str) -> None:
        while tag in self.open and self.open.pop() != tag:
            pass
        if tag == "tr" and "thead" in self.open:
            self.heads = self.row
        elif tag == "tr" and len(self.row) == len(self.heads):
            for head, cell in zip(self.heads, self.row, strict=True):
                if (unit := self.unit(head)) is not None:
                    self.cells.append((cell, unit))

    def unit(self, head: str) -> str | None:
        """The unit of a column, from its head or from what stands above the table."""
        if self.title.startswith("Points from the datum") and head in ("x", "y", "z"):
            return "m"
        if self.title.startswith("Loads at the roof") and head in ("down", "x", "y"):
            return "kg"
        if self.title.startswith("Load cells") and head in ("expected", "from … to"):
            return "kg"
        return unit_of(head)

    def handle_data(self, data: str) -> None:
        if {"style", "script"} & set(self.open):
            return
        if "h2" in self.open:
            self.title += data
        if self.row and {"td", "th"} & set(self.open):
            self.row[-1] += data
        self.words.append(data)


def words_of(svg: str) -> list[str]:
    """What a picture says: it draws letters as paths, and has each text in a comment."""
    return re.findall(r"<!-- (.*?) -->", svg, re.S)


THEATRE = ("theatre/left.toml", "theatre/venue.toml")
COMMANDS = {
    "predict": ["predict", *THEATRE, "--grid", "4"],
    "laser": ["predict", "club/centre.toml", "club/venue.toml", "--grid", "2"],
    "show": ["predict", "arena/show.toml", "--grid", "12"],
    "check": ["check", *THEATRE],
    "bridled": ["check", "arena/left.toml", "arena/venue.toml"],
    "windy": ["check", "meadow/left.toml", "meadow/venue.toml"],
    "pulled": ["check", "theatre/pulled.toml", "theatre/venue.toml"],
    "stacked": ["check", "meadow/front-left.toml", "meadow/venue.toml"],
    "exceeding": ["check", "theatre/steep-bare.toml", "theatre/venue.toml"],
    "checked show": ["check", "arena/show.toml"],
    "design": ["design", "theatre/steep-arm.toml", "theatre/venue.toml", "--grid", "6"],
    "report": ["report", *THEATRE, "--grid", "4"],
    "sheets": ["report", "arena/show.toml", "--grid", "12", "--sheet", "--advance"],
    "show report": ["report", "meadow/show.toml", "--grid", "20"],
    "compare": ["compare", *THEATRE, "--grid", "6", "--trim=10:11:1", "--temperature=10:20:10"],
    "as built": ["compare", "--built", "theatre/readings.toml", *THEATRE, "--grid", "5"],
    "venue show": ["venue", "show", "theatre/venue.toml", "theatre/left.toml"],
    "equipment list": ["equipment", "list"],
    **{f"item {name}": ["equipment", "show", name] for name in load_catalogue().items},
}
UNTOUCHED = (".json", ".csv", ".toml")


def run(name: str, sample_venues: Path, out: Path, capsys: pytest.CaptureFixture[str], *options: str) -> str:
    """What a command prints; files go to `out`."""
    asked = [str(sample_venues / word) if word.endswith(".toml") else word for word in COMMANDS[name]]
    where = [] if asked[0] == "equipment" else ["--out", str(out)]
    assert cli.main([*asked, *where, *options]) in (0, 1, 4)
    return capsys.readouterr().out.replace(str(out), "OUT")


def bare(text: str) -> str:
    """A text without what stands beside its figures, and without its line breaks and gaps."""
    return " ".join(re.sub(rf"\s*{BRACKET.pattern}", "", text).split())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_figure_of_every_output_has_its_counterpart(name, sample_venues, tmp_path, capsys):
    """Texts, pages and pictures say both; without what is beside them they say what they say without the option."""
    metric, imperial = tmp_path / "metric", tmp_path / "imperial"
    plain, said = run(name, sample_venues, metric, capsys), run(name, sample_venues, imperial, capsys, "--imperial")
    assert faults_of(said) == []
    assert [fault for cell, unit in columns_of(said) if (fault := cell_fault(cell, unit))] == []
    assert not BRACKET.search(plain)
    assert bare(said) == bare(plain)
    files = sorted(path.relative_to(metric) for path in metric.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(imperial) for path in imperial.rglob("*") if path.is_file())
    for file in files:
        before, after = (folder / file for folder in (metric, imperial))
        if file.suffix in UNTOUCHED and file.name != "stop.json":
            assert before.read_bytes() == after.read_bytes()
        elif file.suffix == ".txt":
            assert faults_of(after.read_text()) == []
            assert bare(after.read_text()) == bare(before.read_text())
        elif file.suffix == ".html":
            check_page(before.read_text(), after.read_text())
        elif file.suffix == ".svg":
            check_picture(words_of(before.read_text()), words_of(after.read_text()))


def check_page(before: str, after: str) -> None:
    """A page says both in all its words, cells and pictures, and nothing else than before."""
    pages = Page(), Page()
    for page, text in zip(pages, (before, after), strict=True):
        page.feed(PICTURE.sub("", text))
    metric, imperial = pages
    assert [fault for words in imperial.words for fault in faults_of(words)] == []
    assert [fault for cell, unit in imperial.cells if (fault := cell_fault(cell, unit))] == []
    # What stands where may differ, what it says does not.
    said = [sorted(filter(None, map(bare, page.words))) for page in pages]
    assert said[0] == said[1]
    assert len(imperial.cells) == len(metric.cells)
    tags = [sorted(TAGS.findall(PICTURE.sub("", text))) for text in (before, after)]
    assert tags[0] == tags[1]
    check_picture(words_of(before), words_of(after))


def check_picture(before: list[str], after: list[str]) -> None:
    """Words of a picture say both; an axis in metres says so, and has feet at its ticks."""
    assert [fault for words in after for fault in faults_of(words)] == []
    assert not any(re.search(r", m$", words) for words in after if "↑" not in words)
    assert len(after) >= 1 or not before
    assert sum(words.endswith(", m (ft)") for words in after) == sum(
        words.endswith(", m") for words in before if "↑" not in words
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("trim 10.60 m (front pivot line)", "trim 10.60 m (34' 9 1/4\") (front pivot line)"),
        ("0.3048 m, 12.192 m", "0.3048 m (1'), 12.192 m (40')"),
        ("a mile of 1609.344 m", "a mile of 1609.344 m (5280')"),
        ("-0.30 m", '-0.30 m (-11 3/4")'),
        ("within ±25.4 mm", "within ±25.4 mm (±1.000 in)"),
        ("45.359237 kg", "45.359237 kg (100.000000 lb)"),
        ("18–20 kg", "18–20 kg (39.7–44.1 lb)"),
        ("3.0 to 4.5 m", "3.0 to 4.5 m (9' 10\" to 14' 9 1/4\")"),
        ("4.0 × 2.0 m", "4.0 × 2.0 m (13' 1 1/2\" × 6' 6 3/4\")"),
        ("stalls (6.0, -9.0, 1.2) m", "stalls (6.0, -9.0, 1.2) m (19' 8 1/4\", -29' 6 1/4\", 3' 11 1/4\")"),
        ("x 1.0, y 2.0, z 0.0 m", 'x 1.0, y 2.0, z 0.0 m (x 3\' 3 1/4", y 6\' 6 3/4", z 0")'),
        ("18 m/s gust", "18 m/s (40.3 mph) gust"),
        ("sound 343.2 m/s", "sound 343.2 m/s (1126.0 ft/s)"),
        ("450 m²", "450 m² (4844 ft²)"),
        ("1.2 kN and 60 N", "1.2 kN (270 lbf) and 60 N (13.5 lbf)"),
        ("20 °C, -40 °C", "20 °C (68 °F), -40 °C (-40 °F)"),
    ],
)
def test_a_figure_in_running_text(text, said):
    """Worked by hand with the exact definitions."""
    assert in_text(text).replace("\u00a0", " ") == said
    assert faults_of(said) == []


@pytest.mark.parametrize(
    "text",
    [
        "3 min",
        "3 ms",
        "1 kHz",
        "-6 dB(A)",
        "hall-3 m",
        "rope-6mm",
        "4 medium",
        "2.0°",
        "5 %",
        "12 Nm",
        "3 m-high",
        "RR-C-271, 3.25 t",
    ],
)
def test_what_is_no_length_or_load_stays(text):
    assert in_text(text) == text


def test_names_and_words_of_a_page_stay():
    """A hall of such a name keeps it where it stands as a name."""
    values = {"hang": "hall 3 m", "revision": "lunu", "lines": ["hall, 3 m wide"], "cell": Figure("12", "kg")}
    found = both(values)
    found["lines"] = [line.replace("\u00a0", " ") for line in found["lines"]]
    assert (found["hang"], found["revision"]) == ("hall 3 m", "lunu")
    assert found["lines"] == ["hall, 3 m (9' 10\") wide"]
    assert found["cell"] == "12 (26.5\u00a0lb)"


def test_an_exceeded_limit_never_looks_kept():
    """Of two figures that differ the greater stays so; shown with different decimals they share the finer one's."""
    rng = np.random.default_rng(4)
    for unit in ("kg", "N", "mm"):
        for value in np.exp(rng.uniform(0.0, 9.0, 200)):
            low, high = f"{value:.2f}", f"{value + 0.01:.2f}"
            said = [float(re.search(r"\(([\d.]+)", of_figure(Figure(one, unit, 2)))[1]) for one in (low, high)]
            assert said[0] < said[1]
    said = [of_figure(Figure(text, "kg", 2)) for text in ("10.0", "≤ 9.99")]
    assert said == ["10.0 (22.05\u00a0lb)", "≤ 9.99 (22.02\u00a0lb)"]


def test_what_is_printed_can_be_read_back():
    """Feet and inches as a page says them are what files take for a length, within an eighth of an inch."""
    for length in np.linspace(-12.0, 40.0, 523):
        said = re.search(r"\((.*)\)$", of_figure(Figure(f"{length:.2f}", "m")))[1]
        assert feet_of(said) * FOOT_M == pytest.approx(round(length, 2), abs=FOOT_M / 12.0 / 8.0 + 1e-9)


def test_words_do_not_change_with_the_option(sample_venues, tmp_path, capsys):
    """Design and revision are of what is computed, not of how it is told."""
    asked = ["check", *(str(sample_venues / file) for file in THEATRE), "--json"]
    found = []
    for options in ([], ["--imperial"]):
        assert cli.main([*asked, *options]) == 0
        found.append(json.loads(capsys.readouterr().out))
    assert found[0] == found[1]


TOUR = """
format = "tour/1"
name = "one hall"
grid_m = 4.0
[[stop]]
venue = "{folder}/venue.toml"
hangs = ["{folder}/centre.toml"]
"""


def test_a_tour_is_told_anew_under_the_same_words(sample_venues, tmp_path, capsys):
    """A stop that is done in metres alone is not kept for feet, nor the other way round; its words and data are."""
    (tmp_path / "tour.toml").write_text(TOUR.format(folder=sample_venues / "club"), "utf-8")
    asked = ["tour", str(tmp_path / "tour.toml"), "--processes", "1", "--out", str(tmp_path / "out")]
    found = []
    for options in ([], ["--imperial"], ["--imperial"], []):
        assert cli.main([*asked, *options]) in (0, 1, 4)
        root = tmp_path / "out" / "one-hall"
        pages = {path.relative_to(root): path.read_text("utf-8") for path in sorted(root.rglob("*.html"))}
        data = [(root / name).read_text("utf-8") for name in ("tour.json", "tour.csv")]
        found.append((capsys.readouterr().out, pages, data))
    metric, imperial, again, back = found
    assert len(metric[1]) == 2
    assert faults_of(imperial[0]) == []
    assert [fault for cell, unit in columns_of(imperial[0]) if (fault := cell_fault(cell, unit))] == []
    assert len(columns_of(imperial[0])) == 2  # trim and mass of its hang
    for name, page in metric[1].items():
        check_page(page, imperial[1][name])
    assert metric[2] == imperial[2] == back[2]
    assert again[1] == imperial[1]
    assert back[1] == metric[1]
    assert [", 0 of them before" in said for said, *_ in found] == [True, True, False, True]
