"""The report of a hang and the crew's sheet: parsed as pages, and equal for equal inputs."""

from __future__ import annotations

import hashlib
import re
import shutil

import pytest

from acoustics.app import cli
from acoustics.venue import load_venue
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.hang import load_hang
from rigging.policy import load_policy

SPLAYS = list(range(12))


def test_the_column_stands_in_order_with_the_splay_between_its_rows(hang, in_theatre, parsed):
    """Pairs of neighbours: each row, the joint below it with its splay, the next row."""
    _, folder, _ = in_theatre(hang(), "--sheet")
    page = parsed(folder / "sheet.html")
    listed = [(kinds.split()[0], cells) for kinds, cells in page.rows if kinds.split()[:1] in (["row"], ["joint"])]
    assert [kind for kind, _ in listed] == ["joint", "row"] * 12
    assert listed[0][1][0] == "frame–row 1: 0.0°, left and right"
    for (_, above), (_, joint), (_, below) in zip(listed[1::2], listed[2::2], listed[3::2], strict=False):
        upper, lower = int(above[1]), int(below[1])
        assert lower == upper + 1
        assert joint[0] == f"rows {upper}–{lower}: {SPLAYS[upper]:.1f}°, left and right"
        assert joint[1:] == ["", ""]  # blank, for what was built
    aims, aim = [], 2.0
    for splay in SPLAYS:
        aim -= splay
        aims.append(f"{aim:+.1f}°")
    assert [row[3] for row in page.cells("row")] == aims
    assert [row[0] for row in page.cells("row")] == ["1"] * 4 + ["2"] * 4 + ["3"] * 4
    assert [row[1] for row in page.cells("cart")] == ["4", "8", "12"]


def test_what_a_rigger_needs_is_on_the_sheet(hang, in_theatre, parsed):
    _, folder, _ = in_theatre(hang(), "--sheet")
    page = parsed(folder / "sheet.html")
    said = " ".join(page.text.split())
    for words in (
        "trim, front pivot line10.60 m",
        "above the middle of the stage's front edge at house floor level",
        "tilt to read on the frame+2.0°within 0.5°",
        "tilt to read on the top enclosure+2.0°",
        "pick 1, frame hole 2hoist-1tto left 1",
        "no pick arm",
        "wind limitindoors",
        "Secondary suspension, of its own rating",
        "Pins, links and locks checked, first: ____________________ second:",
        "Landing, in this order",
        "carts assumed",
    ):
        assert words in said
    assert all(caution in said for caution in CAUTIONS)


def test_cells_have_the_greater_of_both_tolerances(hang, in_theatre, parsed, sample_venues):
    """221 kg ± 25 kg, since a tenth is less; 255 kg ± 25.5 kg; their sum ± 5 %: by hand from the loads of `check`."""
    _, folder, _ = in_theatre(sample_venues / "theatre" / "left.toml", "--sheet")
    page = parsed(folder / "sheet.html")
    cells = {row[0]: row[1:] for _, row in page.rows if len(row) == 4 and row[0].startswith(("pick", "sum"))}
    catalogue = load_catalogue()
    site, document = load_venue(sample_venues / "theatre" / "venue.toml")
    found = check(
        load_hang(sample_venues / "theatre" / "left.toml", catalogue), catalogue, load_policy(), site, (), document.data
    )
    assert [round(line.hook_kg) for line in found.lines] == [221, 255]
    assert cells["pick 1, frame hole 2"] == ["221", "196 to 246", ""]
    assert cells["pick 2, frame hole 9"] == ["255", "230 to 281", ""]
    assert cells["sum"] == ["476", "452 to 500", ""]


def test_where_a_pick_would_push_no_cell_is_expected_to_read_anything(in_theatre, parsed, sample_venues):
    """Looking so far down one pick would push: the other's share of a rigid balance is not what it reads."""
    _, folder, _ = in_theatre(sample_venues / "theatre" / "steep-bare.toml", "--sheet")
    page = parsed(folder / "sheet.html")
    cells = [row for _, row in page.rows if len(row) == 4 and row[0].startswith(("pick", "sum"))]
    assert sorted(row[1] for row in cells) == ["PUSHES", "not known"]
    assert all(row[2] == "–" for row in cells)


def test_a_wind_limit_says_where_not_all_else_is_judged(report, parsed, sample_venues, tmp_path):
    """One pick, whose place the balance sets; without cables nothing of it is known to be right."""
    meadow = sample_venues / "meadow"
    _, folder, _ = report(meadow / "left.toml", meadow / "venue.toml", "--sheet")
    said = parsed(folder / "sheet.html").text
    unjudged = re.search(r"\d+ findings? cannot be judged", said)
    assert ("not all else can be judged at 12 m/s" in said) == bool(unjudged)
    bare = (meadow / "left.toml").read_text().replace("[loom]\nkg_per_m = 1.4\n", "")
    (tmp_path / "bare.toml").write_text(bare)
    _, folder, _ = report(tmp_path / "bare.toml", meadow / "venue.toml", "--sheet")
    said = parsed(folder / "sheet.html").text
    assert "not all else can be judged at 12 m/s" in said
    assert "all else judged to" not in said
    assert said.count("NOT KNOWN how far off: the hang file does not say what its cables weigh") == 2
    assert "cables are not in these loads" in said


def test_every_finding_and_caution_is_there(hang, in_theatre, parsed, sample_venues):
    path = hang()
    _, folder, _ = in_theatre(path)
    page = parsed(folder / "report.html")
    catalogue = load_catalogue()
    site, document = load_venue(sample_venues / "theatre" / "venue.toml")
    found = check(load_hang(path, catalogue), catalogue, load_policy(), site, (), document.data).findings
    assert [(row[1], row[2]) for row in page.cells("finding")] == [(one.part, one.what) for one in found]
    assert len(found) > 50
    for block in page.by_class["cautions"]:
        assert all(caution in block for caution in CAUTIONS)
    assert len(page.by_class["cautions"]) == 3
    revision = folder.name.rsplit("-", 1)[1]
    assert set(page.by_class["word"]) == {revision}
    assert len(page.by_class["word"]) == len(page.by_class["page"]) + 1  # the landing's half page has its own
    assert set(page.by_class["side"]) == {"stage left (house right)"}


def test_every_input_file_is_named_with_its_hash(in_theatre, parsed, sample_venues):
    theatre = sample_venues / "theatre"
    _, folder, _ = in_theatre(theatre / "right.toml")
    page = parsed(folder / "report.html")
    listed = {row[1]: row[2] for _, row in page.rows if len(row) == 3 and re.fullmatch("[0-9a-f]{64}", row[2])}
    catalogue = load_catalogue().documents
    used = ["arm-large", "frame-large", "hoist-1t", "medium", "shackle-5-8"]  # its frame takes that arm
    paths = [theatre / name for name in ("right.toml", "left.toml", "venue.toml")]
    paths += [catalogue[name].path for name in used] + [load_policy().document.path]
    assert listed == {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}


def test_measured_data_have_a_hash_of_their_own(tmp_path):
    from acoustics.inputs import _equipment
    from rigging.files import parse

    (tmp_path / "mine.sofa").write_bytes(b"measured")
    text = 'format = "enclosure/1"\n[acoustic]\naes69_file = "mine.sofa"\n'
    catalogue = load_catalogue()
    documents = {"mine": parse(text, str(tmp_path / "mine.toml"))}
    found = list(_equipment(["mine"], type(catalogue)({}, documents)))
    told = {one.role: one.sha256 for one in found}
    assert told["data"] == hashlib.sha256(b"measured").hexdigest()
    assert told["equipment"] == hashlib.sha256(text.encode()).hexdigest()


def test_equal_inputs_give_equal_bytes_and_nothing_is_loaded_from_outside(hang, in_theatre):
    path = hang()
    pages = []
    for _ in range(2):
        _, folder, _ = in_theatre(path)
        pages.append((folder / "report.html").read_bytes())
        shutil.rmtree(folder)
    assert pages[0] == pages[1]
    page = pages[0].decode()
    assert "http" not in page
    assert not re.search(r'(?:src|href)="(?!#)', page)
    assert "@import" not in page
    assert not re.search(r"url\((?!#|data:)", page)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'(?:url\(|href=")#([^")]+)', page)) <= set(ids)
    assert page.count("<svg") == 3


def test_a_policy_changes_the_revision_and_a_comment_does_not(hang, in_theatre, tmp_path):
    path = hang()
    words = []
    for options in ((), ("--policy", "no_people")):
        _, folder, _ = in_theatre(path, "--sheet", *options)
        words.append(folder.name)
    path.write_text(path.read_text() + "# no more than a comment\n")
    _, folder, _ = in_theatre(path, "--sheet")
    assert folder.name == words[0] != words[1]


def test_names_are_text_not_markup(hang, in_theatre):
    path = hang(('name = "main, stage left (house right)"', 'name = "<b>left</b> & \\"right\\""'))
    _, folder, _ = in_theatre(path, "--sheet")
    page = (folder / "sheet.html").read_text()
    assert "<b>left</b>" not in page
    assert "&lt;b&gt;left&lt;/b&gt; &amp;" in page


def test_what_exceeds_stands_first_and_on_the_sheet(in_theatre, parsed, sample_venues):
    code, folder, _ = in_theatre(sample_venues / "theatre" / "steep-bare.toml")
    assert code == 1
    page = parsed(folder / "report.html")
    assert "A limit is exceeded. 5 findings exceed" in page.text
    assert "5 FINDINGS EXCEED A LIMIT" in page.by_class["flag"][0]
    assert page.cells("finding")[0][0] == "EXCEEDS"


def test_joints_in_compression_are_flagged_where_they_are_and_nowhere_else(hang, in_theatre, parsed):
    """A column that curls under itself presses its lowest joints together."""
    _, folder, _ = in_theatre(hang(splays=[i % 12 for i in range(24)]), "--sheet")
    page = parsed(folder / "sheet.html")
    locked = [row[0] for row in page.cells("joint") if "LOCK" in row[0]]
    assert locked == ["rows 23–24: 11.0°, left and right LOCK"]
    assert "IN COMPRESSION, locks that hold both ways: rows 23–24" in page.by_class["flag"]


def test_a_stack_says_how_it_is_stacked(report, parsed, sample_venues):
    meadow = sample_venues / "meadow"
    _, folder, _ = report(meadow / "front-left.toml", meadow / "venue.toml", "--sheet")
    page = parsed(folder / "sheet.html")
    said = " ".join(page.text.split())
    assert "Stacking, in this order" in said
    order = [said.index(text) for text in ("Base frame-compact", "Row 4 (compact) onto the base", "Row 3 (", "Row 1 (")]
    assert order == sorted(order)
    assert "Row 3 (compact) onto row 4: rows 3–4 at 1.0°, left and right" in said
    assert [row[0] for row in page.cells("joint")] == [
        f"rows {i}–{i + 1}: 1.0°, left and right LOCK" for i in (1, 2, 3)
    ]
    assert "EVERY JOINT STANDS IN COMPRESSION: locks that hold both ways" in page.by_class["flag"]
    assert "Row 1 comes off first" in said
    assert "tilt to read on the frame" not in said


def test_a_pull_back_goes_on_last_and_comes_off_first(in_theatre, parsed, sample_venues):
    _, folder, _ = in_theatre(sample_venues / "theatre" / "pulled.toml", "--sheet")
    page = parsed(folder / "sheet.html")
    comes = [row[1] for _, row in page.rows if row and row[0].isdecimal() and len(row) > 6]
    assert comes[-1] == "the pull-back on, to trim"
    first, *_, last = re.findall(r"comes off before the first cart|open the joint above", page.text)
    assert (first, last) == ("comes off before the first cart", "open the joint above")


def test_picks_that_are_not_named_are_not_known(hang, in_theatre, parsed):
    picks = hang().read_text().split("[[column]]")[0]
    _, folder, _ = in_theatre(hang((picks[picks.index("[[pick]]") :], "")), "--sheet")
    page = parsed(folder / "sheet.html")
    assert "picksnot knownthe hang file names none" in page.text.replace("\n", "")
    assert any("cannot be judged: see the report" in flag for flag in page.by_class["flag"])
    assert "nan" not in page.text


def test_a_venue_is_needed(hang, capsys, tmp_path):
    assert cli.main(["report", str(hang()), "--out", str(tmp_path / "out")]) == 2
    assert "VENUE: is missing; name a venue file after the hang" in capsys.readouterr().err


@pytest.mark.parametrize(("sample", "status"), [("left", 0), ("steep-bare", 1)])
def test_without_a_browser_the_page_is_written_and_it_says_how_to_print(
    in_theatre, monkeypatch, sample_venues, sample, status
):
    """The findings give the status, as without a PDF."""
    monkeypatch.setattr(shutil, "which", lambda name: None)
    code, folder, err = in_theatre(sample_venues / "theatre" / f"{sample}.toml", "--sheet", "--pdf")
    assert code == status
    assert [path.name for path in folder.iterdir()] == ["sheet.html"]
    assert err == (
        "--pdf: needs Chromium, which is not installed; sheet.html is written: print the HTML file from any browser, "
        "at 100 %, with its own page header and footer off\n"
    )


def test_a_browser_that_fails_leaves_the_page(in_theatre, monkeypatch, sample_venues):
    monkeypatch.setattr(shutil, "which", lambda name: "/bin/false")
    code, folder, err = in_theatre(sample_venues / "theatre" / "left.toml", "--sheet", "--pdf")
    assert (code, [path.name for path in folder.iterdir()]) == (0, ["sheet.html"])
    assert err.startswith("--pdf: did not work: /bin/false did not print")
