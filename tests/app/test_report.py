"""The report and the crew's sheet: parsed as pages, printed, and equal for equal inputs."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from acoustics.app import cli
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.hang import load_hang
from rigging.policy import load_policy

SPLAYS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]  # all different: none can stand in another's place unseen


class Cells(HTMLParser):
    """Texts of all table rows, with the class of each row; all other text in one string."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[tuple[str, list[str]]] = []
        self.text, self._inside = "", False
        self.feed(re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page, flags=re.S))

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag == "tr":
            self.rows.append((dict(attrs).get("class") or "", []))
        elif tag in ("td", "th"):
            self.rows[-1][1].append("")
            self._inside = True

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._inside = False

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._inside:
            self.rows[-1][1][-1] += data


@pytest.fixture
def hang(sample_venues: Path, tmp_path: Path) -> Callable[..., Path]:
    """The theatre's main with splays that are all different, and some text replaced."""

    def write(*changes: tuple[str, str], splays: Any = SPLAYS) -> Path:
        head = (sample_venues / "theatre" / "left.toml").read_text().split("[[column]]")[0]
        for old, new in changes:
            assert old in head
            head = head.replace(old, new)
        rows = "".join(f'[[column]]\nenclosure = "medium"\nsplay_deg = {float(splay)}\n' for splay in splays)
        (tmp_path / "hang.toml").write_text(head + rows)
        return tmp_path / "hang.toml"

    return write


@pytest.fixture
def report(sample_venues: Path, tmp_path: Path, capsys: Any) -> Callable[..., tuple[int, Path | None, str]]:
    """Status, folder and messages of `evenhang report` in the theatre."""

    def run(hang: Path, *options: str) -> tuple[int, Path | None, str]:
        venue = sample_venues / "theatre" / "venue.toml"
        code = cli.main(["report", str(hang), str(venue), "--grid", "4", "--out", str(tmp_path / "out"), *options])
        said = capsys.readouterr()
        found = re.match(r"written to (.+)/: ", said.out)
        return code, Path(found[1]) if found else None, said.err

    return run


def test_the_column_stands_in_order_with_the_splay_between_its_rows(hang, report):
    _, folder, _ = report(hang(), "--sheet")
    cells = Cells((folder / "sheet.html").read_text())
    listed = [(kind.split()[0], texts) for kind, texts in cells.rows if kind.split()[:1] in (["row"], ["joint"])]
    assert [kind for kind, _ in listed] == ["joint", "row"] * 12
    aim = 2.0
    for index, splay in enumerate(SPLAYS):
        joint, row = listed[2 * index][1], listed[2 * index + 1][1]
        aim -= splay
        between = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        assert joint[3].startswith(f"{between}: {splay:.1f}°")
        assert row[:3] == [str(index + 1), "medium", f"{aim:+.1f}°"]
        assert row[-1] == joint[-1] == ""  # blank, for what was built
    ends = [row[3] for kind, row in listed if kind == "row"]
    assert [index + 1 for index, text in enumerate(ends) if text] == [4, 8, 12]


def test_every_finding_and_caution_is_there(hang, report, sample_venues):
    from acoustics.venue import load_venue

    path = hang()
    _, folder, _ = report(path)
    cells = Cells((folder / "report.html").read_text())
    catalogue = load_catalogue()
    site, document = load_venue(sample_venues / "theatre" / "venue.toml")
    found = check(load_hang(path, catalogue), catalogue, load_policy(), site, (), document.data).findings
    told = [(row[1], row[2]) for _, row in cells.rows if len(row) == 7 and row[0].lower() != "status"]
    assert told == [(one.part, one.what) for one in found]
    assert all(caution in cells.text for caution in CAUTIONS)
    revision = folder.name.rsplit("-", 1)[1]
    page = (folder / "report.html").read_text()
    assert page.count(f'<p class="word">{revision}</p>') == 4


def test_nothing_is_loaded_from_outside_and_equal_inputs_give_equal_bytes(hang, report):
    path = hang()
    pages = []
    for _ in range(2):
        _, folder, _ = report(path)
        pages.append((folder / "report.html").read_bytes())
        shutil.rmtree(folder)
    assert pages[0] == pages[1]
    page = pages[0].decode()
    assert not re.search(r'(?:src|href)="(?!#)', page.replace("xlink:href", "href"))
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert page.count("<svg") == 3


def test_names_are_text_not_markup(hang, report):
    path = hang(('name = "main, stage left (house right)"', 'name = "<b>left</b> & \\"right\\""'))
    _, folder, _ = report(path, "--sheet")
    page = (folder / "sheet.html").read_text()
    assert "<b>left</b>" not in page
    assert "&lt;b&gt;left&lt;/b&gt; &amp;" in page


def test_what_exceeds_stands_first(report, sample_venues):
    code, folder, _ = report(sample_venues / "theatre" / "steep-bare.toml")
    assert code == 1
    cells = Cells((folder / "report.html").read_text())
    assert "A limit is exceeded. 5 findings exceed" in cells.text
    assert "5 FINDINGS EXCEED A LIMIT" in cells.text


def test_a_venue_is_needed(hang, capsys, tmp_path):
    assert cli.main(["report", str(hang()), "--out", str(tmp_path / "out")]) == 2
    assert "VENUE: is missing; name a venue file after the hang" in capsys.readouterr().err


def test_without_a_browser_pdf_is_refused_and_nothing_written(hang, report, monkeypatch, tmp_path):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    code, folder, err = report(hang(), "--pdf")
    assert (code, folder) == (2, None)
    assert (
        err == "--pdf: needs Chromium, which is not installed; print report.html from any browser, A4 or Letter, "
        "without its own header\n"
    )
    assert not list((tmp_path / "out").glob("*"))


needs_browser = pytest.mark.skipif(
    not any(map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))) or not shutil.which("pdfinfo"),
    reason="no browser to print with",
)


@needs_browser
@pytest.mark.parametrize(
    ("splays", "pages"),
    [(SPLAYS, 2), ([0] * 23 + [1], 4)],
)
def test_printed_sheet(hang, report, splays, pages):
    """Two pages for twelve enclosures, with a long name; four for twice as many."""
    path = hang(("main, stage left (house right)", "main, stage left (house right), " + "x" * 46), splays=splays)
    _, folder, _ = report(path, "--sheet", "--pdf")
    told = subprocess.run(["pdfinfo", folder / "sheet.pdf"], capture_output=True, text=True, check=True).stdout
    assert int(re.search(r"Pages: +(\d+)", told)[1]) <= pages
