"""What each message does to the work, and that what cannot be done leaves it as it was."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from acoustics.app.check import policy_of
from acoustics.app.page import keeping
from acoustics.app.page.desk import Desk
from acoustics.app.page.frames import Refused, message
from acoustics.app.page.work import Work, ground_of_hang, ground_of_show, usual_grid_m
from acoustics.listening import sample_area
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "sample_venues/theatre", tmp_path / "theatre")
    (tmp_path / "elsewhere.toml").write_text((ROOT / "sample_venues/theatre/left.toml").read_text())
    return tmp_path / "theatre"


class Hand:
    """Somebody who sends messages to a desk."""

    def __init__(self, folder: Path) -> None:
        hang, venue = str(folder / "left.toml"), str(folder / "venue.toml")
        ground = ground_of_hang(hang, [str(folder / "right.toml")], venue, load_catalogue(), policy_of(None))
        self.desk, self.number = Desk(ground), 0

    def __call__(self, act: str, /, **rest: Any) -> None:
        self.number += 1
        self.desk.do({"id": self.number, "do": act, **rest})

    @property
    def hang(self) -> Any:
        return self.desk.snapshot().hang


@pytest.fixture
def hand(folder: Path) -> Hand:
    return Hand(folder)


def test_a_gesture_is_one_step_to_undo(hand: Hand) -> None:
    for value in (1.0, 1.5, 2.5):
        hand("set", what="tilt_deg", value=value, gesture=7)
    hand("set", what="trim_m", value=9.0, gesture=8)
    assert (hand.hang.tilt_deg, hand.hang.position_m[2]) == (2.5, 9.0)
    hand("undo")
    assert (hand.hang.tilt_deg, hand.hang.position_m[2]) == (2.5, 10.6)
    hand("undo")
    assert hand.hang.tilt_deg == 2.0
    assert hand.desk.work == Work()
    hand("redo")
    hand("redo")
    assert (hand.hang.tilt_deg, hand.hang.position_m[2]) == (2.5, 9.0)
    with pytest.raises(Refused, match="nothing to do again"):
        hand("redo")


@pytest.mark.parametrize(
    ("asked", "wrong"),
    [
        ({"do": "set", "what": "tilt_deg", "value": 91.0}, "tilt_deg lies outside the plausible range"),
        ({"do": "set", "what": "tilt_deg", "value": "3"}, "value must be a number"),
        ({"do": "set", "what": "tilt_deg", "value": float("nan")}, "value must be a number"),
        ({"do": "set", "what": "splay_deg", "row": 2, "value": 0.3}, "is no splay that the joint"),
        ({"do": "set", "what": "splay_deg", "row": 99, "value": 1.0}, "there is no row 99"),
        ({"do": "set", "what": "splay_deg", "row": True, "value": 1.0}, "there is no row True"),
        ({"do": "set", "what": "type", "row": 0, "value": "nothing"}, "is an unknown enclosure"),
        ({"do": "set", "what": "type", "row": 1, "value": "compact"}, "does not mate"),
        ({"do": "set", "what": "hole", "pick": 1, "value": "frame 77"}, "hole"),
        ({"do": "set", "what": "hole", "pick": 9, "value": "frame 1"}, "there is no pick 9"),
        ({"do": "set", "what": "arm", "value": "nothing", "end": "rear"}, "arm"),
        ({"do": "set", "what": "colour", "value": 1}, "there is no colour to set"),
        ({"do": "add", "end": "side"}, "there is no end side"),
        ({"do": "air", "temperature_c": 99.0}, "temperature_c lies outside"),
        ({"do": "drive", "drive_db": 99.0}, "drive_db lies outside"),
        ({"do": "map", "of": 123}, "there is no map of 123"),
        ({"do": "hold", "hang": "nobody"}, "there is no hang nobody"),
        ({"do": "take", "found": 0}, "nothing to take"),
        ({"do": "search", "seconds": -1}, "seconds must be a number"),
        ({"do": "swap"}, "nothing is pinned"),
        ({"do": "save", "as": "../elsewhere.toml"}, "lies outside"),
        ({"do": "save", "as": "venue.toml"}, "is there already"),
        ({"do": "save", "as": ".hidden.toml"}, "is no name of a hang file"),
        ({"do": "save", "as": "x.txt"}, "is no name of a hang file"),
        ({"do": "open", "file": "../elsewhere.toml"}, "lies outside"),
        ({"do": "open", "file": "/etc/hostname"}, "lies outside"),
        ({"do": "open", "file": "none.toml"}, "does not exist"),
        ({"do": "open", "file": "venue.toml"}, "is another kind of file"),
        ({"do": "open", "file": "a\0b.toml"}, "no file name"),
        ({"do": "set", "what": "fall_db", "value": -1e9}, "fall_db"),
        ({"do": "save", "as": "x" * 300 + ".toml"}, "written"),
        ({"do": "dance"}, "nothing that the page can do"),
    ],
)
def test_what_cannot_be_done_changes_nothing(hand: Hand, asked: dict[str, Any], wrong: str) -> None:
    hand("set", what="tilt_deg", value=1.0)
    before, files = hand.desk.snapshot(), sorted(hand.desk.ground.root.iterdir())
    with pytest.raises(Refused, match=wrong):
        hand.desk.do({"id": 99, **asked})
    assert hand.desk.snapshot() == before
    assert sorted(hand.desk.ground.root.iterdir()) == files


def test_a_mirror_image_follows_its_design_and_is_not_changed_itself(hand: Hand) -> None:
    right = next(hang for hang in hand.desk.loaded.hangs.values() if "stage right" in hang.name)
    hand("set", what="tilt_deg", value=1.0)
    hand("hold", hang=right.name)
    assert hand.hang.tilt_deg == 1.0
    with pytest.raises(Refused, match="follows the hang that it mirrors"):
        hand("set", what="tilt_deg", value=2.0)


def test_saving_keeps_comments_and_ends_the_unsaved_state(hand: Hand, folder: Path) -> None:
    before = (folder / "left.toml").read_text()
    hand("set", what="tilt_deg", value=1.0)
    hand("save", **{"as": "left-2.toml"})
    assert (folder / "left.toml").read_text() == before
    assert (folder / "left-2.toml").read_text() == before.replace("tilt_deg = 2.0", "tilt_deg = 1.0")
    hand("save")
    assert (folder / "left.toml").read_text() == before.replace("tilt_deg = 2.0", "tilt_deg = 1.0")
    assert hand.desk.changed_files == set()
    assert hand.hang.tilt_deg == 1.0


def test_undo_and_swap_reach_back_past_a_save(hand: Hand, folder: Path) -> None:
    hand("pin")
    hand("set", what="tilt_deg", value=-3.0)
    hand("save")
    assert tomllib.loads((folder / "left.toml").read_text())["tilt_deg"] == -3.0
    hand("undo")
    assert hand.hang.tilt_deg == 2.0
    assert hand.desk.changed_files == {folder / "left.toml"}
    hand("redo")
    assert (hand.hang.tilt_deg, hand.desk.changed_files) == (-3.0, set())
    hand("swap")
    assert (hand.hang.tilt_deg, hand.desk.pinned.hang.tilt_deg) == (2.0, -3.0)
    hand("undo")
    assert hand.hang.tilt_deg == -3.0


def test_what_changes_on_disk_does_not_creep_in(hand: Hand, folder: Path) -> None:
    for name in ("left.toml", "right.toml"):
        text = (folder / name).read_text()
        (folder / name).write_text(
            text.replace("tilt_deg = 2.0", "tilt_deg = -6.0").replace("stage right", "elsewhere")
        )
    hand("set", what="trim_m", value=9.0)
    assert {hang.tilt_deg for hang in hand.desk.loaded.hangs.values()} == {2.0}
    assert not any("elsewhere" in hang.name for hang in hand.desk.loaded.hangs.values())
    hand("hold", hang="right.toml")
    assert hand.desk.disk == "changed"
    hand("reload")
    assert "elsewhere" in hand.hang.name


def test_nothing_is_changed_while_an_earlier_work_waits(hand: Hand, folder: Path) -> None:
    hand("set", what="tilt_deg", value=1.0)
    kept(hand)
    later = Hand(folder)
    for act in ("keep", "undo", "redo", "swap", "save", "reload", "take"):
        with pytest.raises(Refused, match="there is unsaved work"):
            later(act)


def test_line_ends_of_a_file_stay(hand: Hand, folder: Path) -> None:
    text = (folder / "left.toml").read_text()
    (folder / "left.toml").write_bytes(text.replace("\n", "\r\n").encode())
    hand = Hand(folder)
    hand("set", what="tilt_deg", value=1.0)
    hand("save")
    saved = (folder / "left.toml").read_bytes()
    assert saved == text.replace("tilt_deg = 2.0", "tilt_deg = 1.0").replace("\n", "\r\n").encode()


def test_a_file_that_changed_on_disk_is_not_written_over(hand: Hand, folder: Path) -> None:
    hand("set", what="tilt_deg", value=1.0)
    theirs = (folder / "left.toml").read_text().replace("tilt_deg = 2.0", "tilt_deg = -2.0")
    (folder / "left.toml").write_text(theirs)
    assert hand.desk.look()
    assert hand.desk.disk == "changed"
    with pytest.raises(Refused, match="has changed on disk"):
        hand("save")
    hand("keep")
    hand("save")
    assert tomllib.loads((folder / "left.toml").read_text())["tilt_deg"] == 1.0
    (folder / "left.toml").write_text(theirs)
    hand("reload")
    assert (hand.hang.tilt_deg, hand.desk.disk, hand.desk.changed_files) == (-2.0, "same", set())


def kept(hand: Hand) -> None:
    """Keep what is at work, as the server does."""
    desk = hand.desk
    keeping.keep(desk.ground.files[0], desk.work, desk.held, desk.on_disk)


def test_work_on_a_file_that_was_opened_later_is_kept_too(hand: Hand, folder: Path) -> None:
    hand("open", file="pulled.toml")
    hand("set", what="tilt_deg", value=-1.0)
    kept(hand)
    later = Hand(folder)
    later("resume")
    assert (later.hang.tilt_deg, later.desk.held.name) == (-1.0, "pulled.toml")


def test_a_file_that_changed_after_the_work_was_kept_is_not_written_over(hand: Hand, folder: Path) -> None:
    hand("set", what="tilt_deg", value=1.0)
    kept(hand)
    theirs = (folder / "left.toml").read_text().replace("tilt_deg = 2.0", "tilt_deg = -3.0")
    (folder / "left.toml").write_text(theirs)
    later = Hand(folder)
    later("resume")
    with pytest.raises(Refused, match="has changed on disk"):
        later("save")
    assert (folder / "left.toml").read_text() == theirs


def test_work_is_kept_beside_the_file_and_offered(hand: Hand, folder: Path) -> None:
    hand("set", what="tilt_deg", value=1.0)
    hand("air", temperature_c=31.0)
    kept(hand)
    later = Hand(folder)
    assert later.hang.tilt_deg == 2.0
    assert later.desk.left_over is not None
    with pytest.raises(Refused, match="there is unsaved work"):
        later("set", what="tilt_deg", value=2.0)
    later("resume")
    assert (later.hang.tilt_deg, later.desk.work.temperature_c) == (1.0, 31.0)
    later("undo")
    assert later.hang.tilt_deg == 2.0
    dropped = Hand(folder)
    dropped("discard")
    assert dropped.desk.left_over is None
    assert not (folder / "left.at-work.json").exists()


@pytest.mark.parametrize("content", ["", "{", "[]", '{"format": "at-work/2"}', '{"format": "at-work/1"}', "[" * 50_000])
def test_what_is_no_work_is_not_offered(folder: Path, content: str) -> None:
    (folder / "left.at-work.json").write_text(content)
    assert Hand(folder).desk.left_over is None


def test_a_pinned_option_and_the_present_one_change_places(hand: Hand) -> None:
    hand("pin")
    hand("set", what="tilt_deg", value=-4.0)
    hand("swap")
    assert hand.hang.tilt_deg == 2.0
    assert hand.desk.pinned is not None
    assert hand.desk.pinned.hang.tilt_deg == -4.0


def test_a_show_brings_its_hangs(tmp_path: Path) -> None:
    show = str(shutil.copytree(ROOT / "sample_venues/arena", tmp_path / "arena") / "show.toml")
    ground = ground_of_show(show, load_catalogue(), policy_of(None))
    desk = Desk(ground)
    assert len(desk.loaded.hangs) == 6
    desk.do({"id": 1, "do": "set", "what": "tilt_deg", "value": -1.0})
    left, right = (desk.loaded.hangs[path] for path in ground.files[:2])
    assert (left.tilt_deg, right.tilt_deg) == (-1.0, -1.0)  # the right one mirrors it


def test_the_usual_grid_leaves_few_enough_positions() -> None:
    for name in ("theatre", "arena", "meadow", "club"):
        venue, _ = load_venue(ROOT / "sample_venues" / name / "venue.toml")
        grid = usual_grid_m(venue)
        count = sum(len(sample_area(area, grid)[0]) for area in venue.area if area.role != "obstacle")
        assert grid >= 1.0
        assert count <= 1.2 * 6_000  # cells that outlines cut come on top


@pytest.mark.parametrize(
    "sent",
    [
        '{"id": 0, "do": "undo"}',
        f'{{"id": {10**30}, "do": "undo"}}',
        '{"id": 1, "do": "\\ud800"}',
        "",
        "[]",
        "null",
        "{}",
        '{"id": 1}',
        '{"id": "1", "do": "undo"}',
        '{"id": true, "do": "undo"}',
        "x" * 20_000,
    ],
)
def test_what_is_no_message_is_refused(sent: str) -> None:
    with pytest.raises(Refused):
        message(sent)
    with pytest.raises(Refused):
        message(json.dumps({"id": 1, "do": "x" * 20_000}))
