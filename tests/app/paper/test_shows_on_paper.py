"""Reports and advance sheets of shows: every hang with its findings and its sheet, loads at the roof."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from acoustics.app import cli, folder
from acoustics.app.outcome import ShowOutcome, show_outcome_of
from acoustics.app.show_report import show_report_files
from acoustics.show import load_show
from acoustics.show_prediction import ShowOptions
from acoustics.venue import load_venue
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.hang import load_hang
from rigging.policy import load_policy

PAGES = {"arena": (12, 14), "meadow": (6, 6)}  # least and most of all crew sheets; 16 rows may take a third page


@pytest.fixture(scope="module")
def outcomes(sample_venues) -> dict[str, ShowOutcome]:
    """Both sample shows, predicted once."""
    catalogue, policy = load_catalogue(), load_policy()
    shows = {name: load_show(sample_venues / name / "show.toml", catalogue) for name in PAGES}
    return {
        name: show_outcome_of(show, (show.venue, show.venue_document), catalogue, policy, ShowOptions(20.0))
        for name, show in shows.items()
    }


@pytest.fixture(scope="module")
def show_reports(outcomes, tmp_path_factory) -> dict[str, Path]:
    """Folders of their reports, with crew sheets and advance sheets alone."""
    found = {}
    for name, outcome in outcomes.items():
        files = show_report_files(outcome) | show_report_files(outcome, sheet=True, advance=True)
        word = outcome.summary["revision"]
        found[name] = folder.write(tmp_path_factory.mktemp(name), outcome.show.name, word, files)
    return found


@pytest.mark.parametrize(("name", "hangs"), [("arena", 6), ("meadow", 3)])
def test_a_show_has_every_hang_with_its_findings_and_sheet(show_reports, parsed, sample_venues, name, hangs):
    written = show_reports[name]
    page = parsed(written / "report.html")
    catalogue = load_catalogue()
    show = load_show(sample_venues / name / "show.toml", catalogue)
    wanted = []
    for hang in show.hangs:
        others = [other for other in show.hangs if other is not hang]
        report = check(hang, catalogue, load_policy(), show.venue, others, show.venue_document.data)
        wanted += [(one.part, one.what) for one in report.findings]
    told = [(row[1], row[2]) for row in page.cells("finding")]
    assert told[-len(wanted) :] == wanted
    ends = [one for one in page.by_class["tear"] if "Landing" in one or "Taking" in one]
    assert len(show.hangs) == hangs == len(ends)
    rows = [row[1] if len(row) == 6 else row[0] for row in page.cells("row")]
    assert rows == [str(i + 1) for hang in show.hangs for i in range(len(hang.items))]
    assert set(page.by_class["word"]) == {written.name.rsplit("-", 1)[1]}
    assert all(caution in page.by_class["cautions"][0] for caution in CAUTIONS)
    assert "http" not in (written / "report.html").read_text()
    ids = re.findall(r' id="([^"]+)"', (written / "report.html").read_text())
    assert len(ids) == len(set(ids))


def test_a_show_tells_levels_delays_patch_and_stock(show_reports, parsed):
    page = parsed(show_reports["arena"] / "report.html")
    cells = [cells for _, cells in page.rows]
    assert [row[0] for row in cells if len(row) == 11 and row[1] != "mean dB(A)"] == [
        "floor",
        "lower tier",
        "upper tier",
        "all audience",
    ]
    assert ["hoist-2t", "4", "4"] in cells
    assert any(row[0] == "subs" and "through 80 Hz" in row[-1] for row in cells)
    assert [row[-1] for row in cells if row[0] == "side, stage left (house right)" and row[2] == "compact"] == [
        "1: 1",
        "1: 2",
    ]
    assert "Echoes" in page.text


def test_limits_of_quiet_areas_stand_in_the_decision(show_reports, parsed):
    page = parsed(show_reports["meadow"] / "report.html")
    assert "Quiet areas: 3 limits exceeded, 0 cannot be judged, 0 within." in page.text


def test_sheets_of_a_show_alone(show_reports, parsed):
    page = parsed(show_reports["arena"] / "sheet.html")
    assert len(page.by_class["crew"]) == 12
    assert [side for side in page.by_class["side"]] == [
        *["stage left (house right)"] * 3,
        *["stage right (house left)"] * 3,
    ] * 3


def test_the_advance_sheet_of_a_show(show_reports, parsed):
    """Points as the venue file has them; loads with the dynamic factor of HC2 at 4 m/min, 1.10 + 0.34 × 4/60."""
    page = parsed(show_reports["arena"] / "advance.html")
    points = {row[1]: row[2:6] for row in page.cells("point")}
    assert points["left 2"] == ["-0.60", "9.00", "21.00", "1500"]
    assert points["far right"] == ["37.80", "-11.00", "21.00", "500"]
    assert len(points) == 8  # those without a load are left out
    loads = page.cells("load")
    assert [row[0] for row in loads] == [str(i + 1) for i in range(8)]
    for row in loads:
        down, moving = float(row[3]), float(row[6])
        assert moving == pytest.approx(down * (1.10 + 0.34 * 4.0 / 60.0), abs=1.1)
        assert row[4:6] == row[7:9] == ["0", "0"]
    said = " ".join(page.text.split())
    assert "outlets for 17 amplifiers (amp-4), 54 of their channels in use" in said
    assert "is in no file: not known" in said
    assert not re.search(r"\d ?(A|kW|W|VA)\b", said)  # no current and no power is made up
    assert "4 hoist-2t, 4 hoist-500kg" in said
    assert all(caution in said for caution in CAUTIONS)


def test_gusts_push_points_along_the_wind(show_reports, parsed):
    """Blown along an azimuth of −4° the pull on a point lies along it: y / x = tan −4°; ½ρv²·Cd·A by hand below."""
    page = parsed(show_reports["meadow"] / "advance.html")
    left, right = page.cells("load")
    assert left[9:11] == ["877", "+53"]
    assert int(left[11]) == round(53 * np.tan(np.radians(-4.0)))
    assert int(right[11]) == -int(left[11])
    catalogue = load_catalogue()
    frame, large, medium = (catalogue.items[name] for name in ("frame-large", "large", "medium"))
    adapter = catalogue.items["adapter-large-medium"]
    area = sum(count * one.width_m * one.height_m for count, one in ((1, frame), (8, large), (1, adapter), (4, medium)))
    force_kg = 0.5 * 1.225 * 12.0**2 * 1.3 * area / 9.80665
    assert float(left[10]) == pytest.approx(force_kg * np.cos(np.radians(4.0)), abs=1.0)
    assert "stands on the ground, no points" in page.text


def test_loads_that_are_not_known_in_a_gust_are_dashes(report, parsed, sample_venues, tmp_path):
    """In the open air without a gust speed nothing is known of a gust: no number of still air stands in its place."""
    venue = (sample_venues / "theatre" / "venue.toml").read_text().replace("[air]", "open_air = true\n\n[air]", 1)
    (tmp_path / "venue.toml").write_text(venue)
    for name, why in (("left", "gives no gust_m_s"), ("pulled", "a pull-back is not worked out")):
        _, written, _ = report(sample_venues / "theatre" / f"{name}.toml", tmp_path / "venue.toml", "--advance")
        page = parsed(written / "advance.html")
        loads = page.cells("load")
        assert len(loads) == 2
        # What is known of a point is what moves in still air, though it is for the gust that it cannot be judged.
        assert [row[6] for row in page.cells("point")] == [row[6] for row in loads]
        assert [row[7] for row in page.cells("point")] == ["CANNOT BE JUDGED"] * 2
        for row in loads:
            assert row[9:12] == ["–", "–", "–"]
            assert float(row[6]) > float(row[3]) > 0.0 or name == "pulled"
            assert "in a gust: " in row[-1]
            assert why in row[-1]


def test_masses_on_the_hooks_have_what_is_below_them(report, parsed, sample_venues):
    """A shackle of 1 kg or so at each of four hooks: as the files have them, added here; cells read them too."""
    _, written, _ = report(sample_venues / "arena" / "left.toml", sample_venues / "arena" / "venue.toml", "--advance")
    page = parsed(written / "advance.html")
    venue, document = load_venue(sample_venues / "arena" / "venue.toml")
    catalogue = load_catalogue()
    hang = load_hang(sample_venues / "arena" / "left.toml", catalogue)
    found = check(hang, catalogue, load_policy(), venue, (), document.data)
    cells = sum(line.hook_kg for line in found.lines)
    assert cells > found.stages[-1].column.mass_kg + 1.0
    assert f"{cells:.0f} kg on the hooks" in page.text
    assert f"{cells:.0f} kg on all hooks" in page.text


def test_a_bridles_legs_pull_their_points_together(report, parsed, sample_venues):
    """Points 6 m apart, the apex 3.5 m below in their middle. Moments of a straight leg about its upper end, its own
    weight w at its middle: H · 3.5 = W/2 · 3 + w · 1.5. None of it along x."""
    arena = sample_venues / "arena"
    _, written, _ = report(arena / "delay.toml", arena / "venue.toml", "--advance")
    page = parsed(written / "advance.html")
    legs = page.cells("load")
    assert [row[1] for row in legs] == ["pick 1, frame hole 4; leg of a bridle"] * 2
    catalogue = load_catalogue()
    venue, document = load_venue(arena / "venue.toml")
    (line,) = check(
        load_hang(arena / "delay.toml", catalogue), catalogue, load_policy(), venue, (), document.data
    ).lines
    own, _ = line.leg_loads.own_kg
    aside = (line.worst_roof_kg / 2.0 * 3.0 + own * 1.5) / 3.5
    assert [float(row[5]) for row in legs] == pytest.approx([-aside, aside], abs=0.6)
    assert [row[4] for row in legs] == ["0", "0"]
    assert "bridle: delay, middle, pick 1, frame hole 4: legs to delay left, delay right, apex 17.50 m" in page.text


def test_what_is_not_named_is_a_dash_and_cannot_be_judged(hang, in_theatre, parsed):
    path = hang(('hoist = "hoist-1t"\nhardware = ["shackle-5-8"]\n', 'hardware = ["shackle-5-8"]\n'))
    _, written, _ = in_theatre(path, "--advance")
    page = parsed(written / "advance.html")
    assert "no hoist is named" in page.cells("load")[0][-1]
    assert page.cells("point")[0][-1] == "CANNOT BE JUDGED"
    assert "hoists that are not named" in page.text


def test_a_hang_beside_loads_the_points_too(in_theatre, parsed, sample_venues):
    theatre = sample_venues / "theatre"
    _, written, _ = in_theatre(theatre / "left.toml", "--beside", theatre / "right.toml", "--advance")
    page = parsed(written / "advance.html")
    assert [row[1] for row in page.cells("point")] == ["left 1", "left 2", "right 1", "right 2"]
    down = [row[3] for row in page.cells("load")]
    assert down[:2] == down[2:]


def test_options_of_one_hang_are_refused(report, sample_venues):
    arena = sample_venues / "arena"
    code, written, err = report(arena / "show.toml", arena / "venue.toml", "--beside", arena / "left.toml")
    assert (code, written) == (2, None)
    assert err.count("has no meaning for a show") == 2


def test_the_command_and_equal_bytes(show_reports, sample_venues, tmp_path, capsys):
    """Exit status of the findings: what holds the stack's lowest row cannot be judged."""
    written = show_reports["meadow"]
    asked = ["report", str(sample_venues / "meadow" / "show.toml"), "--grid", "20", "--out", str(tmp_path)]
    assert cli.main(asked) == 4
    said = capsys.readouterr().out
    assert said == f"written to {tmp_path / written.name}/: evenness.csv, field.nc, report.html, rigging.json\n"
    for file in ("report.html", "evenness.csv", "rigging.json"):
        assert (tmp_path / written.name / file).read_bytes() == (written / file).read_bytes()
    assert json.loads((written / "rigging.json").read_text())["revision"] == written.name.rsplit("-", 1)[1]


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", PAGES)
def test_printed(outcomes, pages_of, tmp_path, name, paper):
    """The advance sheet is one page; two of each hang's sheet of twelve rows; each with the word."""
    files = show_report_files(outcomes[name], sheet=True, advance=True, pdf=True, paper=paper)
    written = folder.write(tmp_path, name, "word", files)
    assert len(pages_of(written / "advance.pdf")) == 1
    sheets = pages_of(written / "sheet.pdf")
    least, most = PAGES[name]
    assert least <= len(sheets) <= most
    assert all(outcomes[name].summary["revision"] in page for page in sheets)


def test_every_page_of_a_printed_show_has_the_word(outcomes, pages_of, tmp_path):
    written = folder.write(tmp_path, "meadow", "word", show_report_files(outcomes["meadow"], pdf=True))
    pages = pages_of(written / "report.pdf")
    assert len(pages) > 10
    assert all(outcomes["meadow"].summary["revision"] in page for page in pages)
