"""One thing changed by hand in a hang file: what changes, and that all else stays, comments included."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any

import pytest

from rigging import edits
from rigging.equipment import Catalogue, Enclosure, allowed_splays, load_catalogue
from rigging.hang import Hang, hang_from

ROOT = Path(__file__).resolve().parents[2]
DESIGNS = sorted(
    path
    for path in (ROOT / "sample_venues").glob("*/*.toml")
    if tomllib.loads(path.read_text())["format"] == "hang/1" and "mirror_of" not in path.read_text()
)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(params=DESIGNS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def text(request: pytest.FixtureRequest) -> str:
    return request.param.read_text()


def loaded(text: str, catalogue: Catalogue) -> Hang:
    return hang_from(text, "hang.toml", catalogue)


def lines_that_differ(before: str, after: str) -> list[str]:
    found = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0)
    return [line for line in found if line[:1] in "+-" and line[:3] not in ("+++", "---")]


def comments(text: str) -> list[str]:
    return [line.partition("#")[2].strip() for line in text.splitlines() if "#" in line]


def test_a_number_changes_its_own_line_alone(text: str, catalogue: Catalogue) -> None:
    after = edits.with_value(text, "tilt_deg", -1.25)
    assert loaded(after, catalogue).tilt_deg == -1.25
    changed = lines_that_differ(text, after)
    assert len(changed) == 2
    assert all("tilt_deg" in line for line in changed)
    assert comments(after) == comments(text)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_place_changes_one_of_its_numbers(text: str, axis: int, catalogue: Catalogue) -> None:
    before, after = loaded(text, catalogue), edits.with_place(text, axis, 3.048)
    place = loaded(after, catalogue).position_m
    assert place[axis] == pytest.approx(3.048, abs=1e-6)
    assert [a for i, a in enumerate(place) if i != axis] == [b for i, b in enumerate(before.position_m) if i != axis]
    assert len(lines_that_differ(text, after)) == 2
    assert comments(after) == comments(text)


def test_a_place_in_feet_stays_in_feet() -> None:
    text = 'format = "hang/1"\nposition_ft = [1.0, 2.0, 30.0] # measured\n'
    after = edits.with_place(text, 2, 3.048)
    assert tomllib.loads(after)["position_ft"] == [1.0, 2.0, 10.0]  # 1 ft = 0.3048 m, exact by definition
    assert "# measured" in after


def test_a_splay_is_that_of_its_row(text: str, catalogue: Catalogue) -> None:
    before = loaded(text, catalogue)
    row = len(before.items)
    upper = before.items[row - 2] if row > 1 else before.frame
    other = next(s for s in allowed_splays(upper, before.items[row - 1]) or () if s != before.splays_deg[-1])
    after = loaded(edits.with_splay(text, row, other), catalogue)
    assert after.splays_deg == (*before.splays_deg[:-1], other)


@pytest.mark.parametrize("end", ["top", "bottom"])
def test_one_more_and_one_less(text: str, end: str, catalogue: Catalogue) -> None:
    before = loaded(text, catalogue)
    more = edits.with_one_more(text, end, catalogue)
    hang = loaded(more, catalogue)
    assert len(hang.enclosure_rows) == len(before.enclosure_rows) + 1
    assert hang.items[0 if end == "top" else -1].name == before.items[0 if end == "top" else -1].name
    back = loaded(edits.with_one_less(more, end, catalogue), catalogue)
    assert [item.name for item in back.items] == [item.name for item in before.items]
    assert back.splays_deg == before.splays_deg
    assert back.drive == before.drive
    gone = {line for line in comments(text) if line not in comments(more)}
    assert all("groups = " in line for line in text.splitlines() if line.partition("#")[2].strip() in gone - {""})


def test_a_drive_group_follows_its_rows(catalogue: Catalogue) -> None:
    rows = "".join(f'[[column]]\nenclosure = "medium"\nsplay_deg = {splay}\n' for splay in (0.0, 1.0, 2.0, 3.0))
    head = 'format = "hang/1"\nname = "h"\nframe = "frame-large"\nposition_m = [0, 0, 9]\ntilt_deg = 0.0\n'
    text = f"{head}{rows}[[group]]\nrows = [1, 2]\ngain_db = -3.0\n[[group]]\nrows = [4]\ngain_db = 2.0\n"

    def gains(text: str) -> list[float]:
        return [drive.gain_db for drive in loaded(text, catalogue).drive]

    assert gains(text) == [-3.0, -3.0, 0.0, 2.0]
    assert gains(edits.with_one_more(text, "top", catalogue)) == [-3.0, -3.0, -3.0, 0.0, 2.0]
    assert gains(edits.with_one_less(text, "top", catalogue)) == [-3.0, 0.0, 2.0]
    assert gains(edits.with_one_more(text, "bottom", catalogue)) == [-3.0, -3.0, 0.0, 2.0, 2.0]
    assert gains(edits.with_one_less(text, "bottom", catalogue)) == [-3.0, -3.0, 0.0]


def test_splays_go_to_the_nearest_that_the_other_type_allows(catalogue: Catalogue) -> None:
    text = (ROOT / "sample_venues/theatre/left.toml").read_text()
    before = loaded(text, catalogue)
    with_frame = text.replace('frame = "frame-large"', 'frame = "frame-compact"')
    after = edits.with_type(with_frame, 0, "compact", catalogue)
    file: dict[str, Any] = tomllib.loads(after)
    upper: Any = catalogue.items["frame-compact"]
    for row, wished in zip(file["column"], before.splays_deg, strict=True):
        lower: Any = catalogue.items[row["enclosure"]]
        allowed = allowed_splays(upper, lower) or ()
        assert isinstance(lower, Enclosure)
        assert row["splay_deg"] in allowed
        assert abs(row["splay_deg"] - wished) == min(abs(one - wished) for one in allowed)
        upper = lower


def test_the_last_enclosure_stays(catalogue: Catalogue) -> None:
    text = 'frame = "frame-large"\n[[column]]\nenclosure = "medium"\nsplay_deg = 0.0\n'
    with pytest.raises(ValueError, match="one enclosure is left"):
        edits.with_one_less(text, "top", catalogue)


def test_arm_and_hole(catalogue: Catalogue) -> None:
    text = (ROOT / "sample_venues/theatre/steep-bare.toml").read_text()
    with_arm = edits.with_arm(text, "arm-large", "rear")
    hang = loaded(with_arm, catalogue)
    assert hang.arm is not None
    assert (hang.arm[0].name, hang.arm[1].end) == ("arm-large", "rear")
    hole = hang.arm[0].hole[0].name
    moved = loaded(edits.with_hole(with_arm, 2, "arm", hole), catalogue)
    assert (moved.picks[1].on, moved.picks[1].hole) == ("arm", hole)
    assert moved.picks[0] == hang.picks[0]
    assert loaded(edits.with_arm(with_arm, None, ""), catalogue).arm is None


def test_a_wish_is_written_where_there_is_no_search(catalogue: Catalogue) -> None:
    text = (ROOT / "sample_venues/theatre/steep-bare.toml").read_text()
    assert "[search]" not in text
    after = edits.with_wish(text, "fall_db", 1.5)
    assert tomllib.loads(after)["search"] == {"fall_db": 1.5}
    assert loaded(after, catalogue).splays_deg == loaded(text, catalogue).splays_deg


def test_a_key_that_was_not_there_parts_no_comment_from_its_table(
    catalogue: Catalogue,
) -> None:
    rows = '[[column]]\nenclosure = "medium"\nsplay_deg = 0.0\n'
    head = 'format = "hang/1"\nname = "h"\nframe = "frame-large"\nposition_m = [0, 0, 9]\ntilt_deg = 1.0 # up\n'
    after = edits.with_value(f"{head}\n# the column\n{rows}", "azimuth_deg", -3.5)
    assert after == f"{head}azimuth_deg = -3.5\n\n# the column\n{rows}"
    assert loaded(after, catalogue).azimuth_deg == -3.5
