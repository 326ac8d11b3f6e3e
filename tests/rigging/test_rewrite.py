"""A hang file written back: it comes to the hang that was meant, and what was not meant stays as it stood."""

from __future__ import annotations

import dataclasses
import re

import pytest
import tomlkit

from rigging.drive import Filter
from rigging.equipment import PickArm, load_catalogue
from rigging.files import parse, read
from rigging.hang import hang_from
from rigging.picks import ArmUse
from rigging.rewrite import rewritten, with_count

CATALOGUE = load_catalogue()
BELL = Filter(kind="bell", frequency_hz=500.0, gain_db=-2.0, q=1.0)


@pytest.fixture(scope="module")
def texts(sample_venues) -> dict[str, str]:
    """Texts of the sample hangs that are designs."""
    found = {f"{p.parent.name}/{p.stem}": p.read_text() for p in sample_venues.glob("*/*.toml")}
    return {name: text for name, text in found.items() if "[[column]]" in text}


IN_FEET = re.compile(r"position_m = \[(.*?), (.*?), (.*?)\]")


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("feet", [False, True])
def test_nothing_changes_where_nothing_is_meant_to(texts, line_end, feet):
    """The same bytes again, comments and all: of every sample, with feet in place of metres, with either line end."""
    assert len(texts) > 5
    for name, text in texts.items():
        if feet:
            text = IN_FEET.sub(r"position_ft = [\1, \2, 33.5]", text, count=1)
            assert "position_ft" in text
        text = text.replace("\n", line_end)
        hang = hang_from(text, name, CATALOGUE)
        assert rewritten(text, hang) == text
        assert with_count(text, len(hang.enclosure_rows)) == text


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_only_what_is_meant_changes(texts, line_end):
    """Of every sample other splays, tilt and trim: these lines alone differ, and what stands behind them stays."""
    for name, text in texts.items():
        text = text.replace("\n", line_end)
        hang = hang_from(text, name, CATALOGUE)
        x, y, z = hang.position_m
        splays = tuple(hang.splays_deg[:1] * 2 + hang.splays_deg[2:]) if len(hang.splays_deg) > 2 else hang.splays_deg
        meant = dataclasses.replace(hang, tilt_deg=hang.tilt_deg + 0.5, position_m=(x, y, z + 0.25), splays_deg=splays)
        new = rewritten(text, meant)
        assert new.count("\r") == text.count("\r")
        for before, after in zip(text.splitlines(), new.splitlines(), strict=True):
            if before != after:
                key = before.split("=")[0]
                assert key.strip() in ("tilt_deg", "position_m", "position_ft", "splay_deg")
                assert (after.split("=")[0], after.partition("#")[2]) == (key, before.partition("#")[2])
        assert sum(a != b for a, b in zip(text.splitlines(), new.splitlines(), strict=True)) >= 2


def test_files_of_either_line_end_are_rewritten_as_they_are(tmp_path, texts):
    for line_end in ("\n", "\r\n"):
        held = texts["theatre/left"].replace("\n", line_end).encode()
        (tmp_path / "left.toml").write_bytes(held)
        document = read(tmp_path / "left.toml", "hang/1")
        assert "\r" not in document.text
        assert document.as_written.encode() == held
        assert parse(document.as_written, "left.toml").sha256 == document.sha256


def test_all_that_a_search_chooses_comes_back(texts):
    text = texts["theatre/left"] + "\n[[group]]\nrows = [1, 2]  # upper\ngain_db = -1.0\n"
    hang = hang_from(text, "left.toml", CATALOGUE)
    arm = CATALOGUE.items["arm-large"]
    assert isinstance(arm, PickArm)
    drive = tuple(dataclasses.replace(one, gain_db=one.gain_db - 0.5 * (row < 2)) for row, one in enumerate(hang.drive))
    picks = (
        hang.picks[0].model_copy(update={"hole": "1"}),
        hang.picks[1].model_copy(update={"on": "arm", "hole": "2", "point": "left 1"}),
    )
    meant = dataclasses.replace(
        hang,
        tilt_deg=-3.5,
        position_m=(*hang.position_m[:2], 11.35),
        splays_deg=(1.0, *hang.splays_deg[2:], 3.0),
        arm=(arm, ArmUse(type="arm-large", end="rear")),
        picks=picks,
        drive=drive,
    )
    new = rewritten(text, meant)
    back = hang_from(new, "left.toml", CATALOGUE)
    for name in ("tilt_deg", "position_m", "splays_deg", "arm", "picks", "drive", "name", "loom", "azimuth_deg"):
        assert getattr(back, name) == getattr(meant, name), name
    comments = [line.split("#")[1] for line in text.splitlines() if "#" in line]
    assert [line.split("#")[1] for line in new.splitlines() if "#" in line] == comments


def test_a_trim_in_feet_stays_in_feet(texts):
    text = texts["theatre/left"].replace("position_m = [-0.3, 6.5, 10.6]", "position_ft = [-1.0, 21.0, 35.0]")
    hang = hang_from(text, "left.toml", CATALOGUE)
    new = rewritten(text, dataclasses.replace(hang, position_m=(*hang.position_m[:2], 9.144)))
    assert "position_ft = [-1.0, 21.0, 30.0]" in new  # 9.144 m: 30 international feet, exact
    assert "position_m" not in new


def test_filters_go_behind_those_of_the_file(texts):
    text = texts["theatre/left"] + (
        '\n[[group]]\nrows = [1, 2]\n[[group.filter]]\nkind = "high-pass"\nfrequency_hz = 60.0\norder = 4\n'
    )
    hang = hang_from(text, "left.toml", CATALOGUE)
    drive = tuple(dataclasses.replace(one, filters=(*one.filters, BELL)) for one in hang.drive)
    back = hang_from(rewritten(text, dataclasses.replace(hang, drive=drive)), "left.toml", CATALOGUE)
    assert [one.kind for one in back.drive[0].filters] == ["high-pass", "bell"]
    assert all(one.filters == (BELL,) for one in back.drive[2:])  # in no group before: in one of their own now


def test_filters_of_all_rows_where_there_is_no_group(texts):
    text = texts["arena/delay"]
    hang = hang_from(text, "delay.toml", CATALOGUE)
    drive = tuple(dataclasses.replace(one, filters=(BELL,)) for one in hang.drive)
    back = hang_from(rewritten(text, dataclasses.replace(hang, drive=drive)), "delay.toml", CATALOGUE)
    assert all(one.filters == (BELL,) for one in back.drive)


@pytest.mark.parametrize("count", [1, 5, 12, 15])
def test_another_number_of_enclosures(texts, count):
    hang = hang_from(with_count(texts["theatre/left"], count), "left.toml", CATALOGUE)
    before = hang_from(texts["theatre/left"], "left.toml", CATALOGUE)
    assert len(hang.items) == count
    same = min(count, 12)
    assert hang.splays_deg[:same] == before.splays_deg[:same]
    assert set(hang.splays_deg[12:]) <= {before.splays_deg[-1]}


def test_a_column_never_ends_with_an_adapter(texts):
    text = next(text for text in texts.values() if "adapter = " in text)
    rows = tomlkit.parse(text)["column"]
    above = sum("enclosure" in row for row in rows[: next(i for i, row in enumerate(rows) if "adapter" in row)])
    hang = hang_from(with_count(text, above), "mixed.toml", CATALOGUE)
    assert len(hang.items) == above


@pytest.mark.parametrize(("count", "rows"), [(1, [[1]]), (5, [[1, 2], [3, 4, 5]]), (14, [[1, 2], list(range(3, 15))])])
def test_drive_groups_follow_the_number(texts, count, rows):
    groups = "[[group]]\nrows = [1, 2]\n[[group]]\nrows = [3, 4, 5, 6, 7, 8, 9, 10, 11, 12]  # lower\n"
    carts = "[carts]\ngroups = [4, 4, 4]\n"
    text = texts["theatre/left"] + groups + carts
    new = with_count(text, count)
    assert [list(group["rows"]) for group in tomlkit.parse(new)["group"]] == rows
    assert len(hang_from(new, "left.toml", CATALOGUE).enclosure_rows) == count
    assert "groups" not in tomlkit.parse(new)["carts"]
    assert with_count(text, 12) == text
