"""Reports and advance sheets of shows: every hang with its findings and its sheet, loads at the roof."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from acoustics.app import cli
from acoustics.show import load_show
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.policy import load_policy


@pytest.fixture(scope="module")
def show_reports(sample_venues, tmp_path_factory) -> dict[str, tuple[int, Path]]:
    """Exit status and folder of the reports of both sample shows, with their advance sheets."""
    found = {}
    for name in ("arena", "meadow"):
        out = tmp_path_factory.mktemp(name)
        show = str(sample_venues / name / "show.toml")
        code = cli.main(["report", show, "--grid", "10", "--out", str(out)])
        assert cli.main(["report", show, "--grid", "10", "--out", str(out), "--advance", "--sheet"]) == code
        (folder,) = out.iterdir()
        found[name] = code, folder
    return found


@pytest.mark.parametrize(("name", "status", "hangs"), [("arena", 0, 6), ("meadow", 4, 3)])
def test_a_show_has_every_hang_with_its_findings_and_sheet(show_reports, parsed, sample_venues, name, status, hangs):
    code, folder = show_reports[name]
    assert code == status
    page = parsed(folder / "report.html")
    catalogue = load_catalogue()
    show = load_show(sample_venues / name / "show.toml", catalogue)
    wanted = []
    for hang in show.hangs:
        others = [other for other in show.hangs if other is not hang]
        report = check(hang, catalogue, load_policy(), show.venue, others, show.venue_document.data)
        wanted += [(one.part, one.what) for one in report.findings]
    told = [(row[1], row[2]) for row in page.cells("finding")]
    assert told[-len(wanted) :] == wanted
    assert (
        len(show.hangs) == hangs == len([one for one in page.by_class["crew"] if "Landing" in one or "Taking" in one])
    )
    rows = [row[1] if len(row) == 6 else row[0] for row in page.cells("row")]
    assert rows == [str(i + 1) for hang in show.hangs for i in range(len(hang.items))]
    revision = folder.name.rsplit("-", 1)[1]
    assert set(page.by_class["word"]) == {revision}
    assert all(caution in page.by_class["cautions"][0] for caution in CAUTIONS)
    assert "http" not in (folder / "report.html").read_text()
    ids = re.findall(r' id="([^"]+)"', (folder / "report.html").read_text())
    assert len(ids) == len(set(ids))


def test_a_show_tells_levels_delays_patch_and_stock(show_reports, parsed):
    page = parsed(show_reports["arena"][1] / "report.html")
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
    page = parsed(show_reports["meadow"][1] / "report.html")
    assert "Quiet areas: 3 limits exceeded, 0 cannot be judged, 0 within." in page.text


def test_sheets_of_a_show_alone(show_reports, parsed):
    page = parsed(show_reports["arena"][1] / "sheet.html")
    assert len(page.by_class["crew"]) == 12
    assert [side for side in page.by_class["side"]] == [
        *["stage left (house right)"] * 3,
        *["stage right (house left)"] * 3,
    ] * 3


def test_the_advance_sheet_of_a_show(show_reports, parsed):
    """Points as the venue file has them; loads with the dynamic factor of HC2 at 4 m/min, 1.10 + 0.34 × 4/60."""
    page = parsed(show_reports["arena"][1] / "advance.html")
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
    page = parsed(show_reports["meadow"][1] / "advance.html")
    left, right = page.cells("load")
    assert left[9:11] == ["877", "+53"]
    assert int(left[11]) == round(53 * np.tan(np.radians(-4.0)))
    assert int(right[11]) == -int(left[11])
    catalogue = load_catalogue()
    frame, large, medium = (catalogue.items[name] for name in ("frame-large", "large", "medium"))
    adapter = catalogue.items["adapter-large-medium"]
    area = sum(count * one.width_m * one.height_m for count, one in ((1, frame), (8, large), (1, adapter), (4, medium)))
    force_kg = 0.5 * 1.25 * 12.0**2 * 1.3 * area / 9.80665
    assert float(left[10]) == pytest.approx(force_kg * np.cos(np.radians(4.0)), abs=1.0)
    assert "stands on the ground, no points" in page.text


def test_a_bridles_legs_pull_their_points_together(report, parsed, sample_venues):
    """Points 6 m apart, the apex 3.5 m below in their middle: each leg pulls W/2 · 3/3.5 sideways; none along x."""
    arena = sample_venues / "arena"
    _, folder, _ = report(arena / "delay.toml", arena / "venue.toml", "--advance")
    page = parsed(folder / "advance.html")
    legs = page.cells("load")
    assert [row[1] for row in legs] == ["pick 1, frame hole 4; leg of a bridle"] * 2
    catalogue = load_catalogue()
    from acoustics.venue import load_venue
    from rigging.hang import load_hang

    venue, document = load_venue(arena / "venue.toml")
    (line,) = check(
        load_hang(arena / "delay.toml", catalogue), catalogue, load_policy(), venue, (), document.data
    ).lines
    aside = line.worst_roof_kg / 2.0 * 3.0 / 3.5
    assert [float(row[5]) for row in legs] == pytest.approx([-aside, aside], abs=0.6)
    assert [row[4] for row in legs] == ["0", "0"]
    assert "bridle: delay, middle, pick 1, frame hole 4: legs to delay left, delay right, apex 17.50 m" in page.text


def test_what_is_not_named_is_a_dash_and_cannot_be_judged(hang, in_theatre, parsed):
    path = hang(('hoist = "hoist-1t"\nhardware = ["shackle-5-8"]\n', 'hardware = ["shackle-5-8"]\n'))
    _, folder, _ = in_theatre(path, "--advance")
    page = parsed(folder / "advance.html")
    assert "no hoist is named" in page.cells("load")[0][-1]
    assert page.cells("point")[0][-1] == "CANNOT BE JUDGED"
    assert "hoists that are not named" in page.text


def test_a_hang_beside_loads_the_points_too(in_theatre, parsed, sample_venues):
    theatre = sample_venues / "theatre"
    _, folder, _ = in_theatre(theatre / "left.toml", "--beside", theatre / "right.toml", "--advance")
    page = parsed(folder / "advance.html")
    assert [row[1] for row in page.cells("point")] == ["left 1", "left 2", "right 1", "right 2"]
    down = [row[3] for row in page.cells("load")]
    assert down[:2] == down[2:]


def test_options_of_one_hang_are_refused(report, sample_venues):
    arena = sample_venues / "arena"
    code, folder, err = report(arena / "show.toml", arena / "venue.toml", "--beside", arena / "left.toml")
    assert (code, folder) == (2, None)
    assert err.count("has no meaning for a show") == 2


@pytest.mark.parametrize("name", ["arena", "meadow"])
def test_equal_shows_give_equal_bytes(show_reports, sample_venues, tmp_path, name):
    _, folder = show_reports[name]
    cli.main(["report", str(sample_venues / name / "show.toml"), "--grid", "10", "--out", str(tmp_path)])
    for file in ("report.html", "evenness.csv", "rigging.json"):
        assert (tmp_path / folder.name / file).read_bytes() == (folder / file).read_bytes()
    assert json.loads((folder / "rigging.json").read_text())["revision"] == folder.name.rsplit("-", 1)[1]


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", ["arena", "meadow"])
def test_printed(report, pages_of, sample_venues, name, paper):
    """The advance sheet is one page; two of each hang's sheet; each with the word."""
    show = sample_venues / name / "show.toml"
    _, folder, _ = report(show, "--advance", "--sheet", "--pdf", "--paper", paper)
    revision = folder.name.rsplit("-", 1)[1]
    assert len(pages_of(folder / "advance.pdf")) == 1
    sheets = pages_of(folder / "sheet.pdf")
    assert len(sheets) == 2 * {"arena": 6, "meadow": 3}[name]
    assert all(revision in page for page in sheets)
