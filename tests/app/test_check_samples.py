"""`evenhang check` on every sample hang: findings, joints, sheet."""

from __future__ import annotations

import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from acoustics.app import cli
from rigging.equipment import load_catalogue

G = 9.80665
ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
SOURCES = [*(ROOT / "rigging").rglob("*.py"), *(ROOT / "acoustics").rglob("*.py")]


# Sample, exit status, findings that exceed and that cannot be judged, joints whose links push at some stage. A new
# sample needs a line here and nothing else. What hangs below a joint is behind its pivot: its link pulls. A stack
# stands on its links. The pull-back lifts the rear of the last row: its moment about the pivots is greater than that of
# what hangs below from the joint of rows 4 and 5 down (calc: hand). Of a column that tips nothing is within that its
# balance decides: of steep-bare all 24 of its joints, and what does not exceed of the 14 of its picks and of 2 points.
# The bowl's delays look up by 14°, so that a gust from the front pushes the two upper joints of theirs shut.
SAMPLE_HANGS = [
    ("theatre/left", 0, 0, 0, 0),
    ("theatre/right", 0, 0, 0, 0),
    ("theatre/arc", 0, 0, 0, 0),
    ("theatre/steep-arm", 0, 0, 0, 0),
    ("theatre/steep-bare", 1, 5, 37, 0),
    ("arena/left", 0, 0, 0, 0),
    ("arena/right", 0, 0, 0, 0),
    ("meadow/left", 0, 0, 0, 0),
    ("meadow/right", 0, 0, 0, 0),
    ("meadow/front-left", 4, 0, 1, 3),
    ("arena/delay", 0, 0, 0, 0),
    ("arena/delay-right", 0, 0, 0, 0),
    ("arena/delay-left", 0, 0, 0, 0),
    ("arena/side-right", 0, 0, 0, 0),
    ("arena/side-left", 0, 0, 0, 0),
    ("theatre/pulled", 0, 0, 0, 4),
    ("club/centre", 0, 0, 0, 0),
    ("ballroom/left", 0, 0, 0, 0),
    ("ballroom/right", 0, 0, 0, 0),
    ("opera/left", 0, 0, 0, 0),
    ("opera/right", 0, 0, 0, 0),
    ("opera/centre", 0, 0, 0, 0),
    ("heath/left", 0, 0, 0, 0),
    ("heath/right", 0, 0, 0, 0),
    ("heath/delay-left", 0, 0, 0, 0),
    ("heath/delay-right", 0, 0, 0, 0),
    ("heath/front-left", 4, 0, 1, 2),
    ("heath/front-right", 4, 0, 1, 2),
    ("bowl/left", 0, 0, 0, 0),
    ("bowl/right", 0, 0, 0, 0),
    ("bowl/side-left", 0, 0, 0, 0),
    ("bowl/side-right", 0, 0, 0, 0),
    ("bowl/delay-left", 0, 0, 0, 2),
    ("bowl/delay-right", 0, 0, 0, 2),
    ("drawn/left", 0, 0, 0, 0),
    ("drawn/right", 4, 0, 1, 0),  # the drawing does not say what its point "right 2" carries
]


def pieces(hardware: list[Any]) -> int:
    """Findings of a list of hardware: one for each that is unlike the others, since equal ones carry the same."""
    return len({json.dumps(piece) for piece in hardware})


def how_many_findings(name: str, pushing: int) -> int:
    """How many findings the rules come to for a sample, its loads in the middle, its files with all limits."""
    path = SAMPLES / f"{name}.toml"
    hang, venue = (tomllib.loads(p.read_text()) for p in (path, path.with_name("venue.toml")))
    if "mirror_of" in hang:
        hang = tomllib.loads(path.with_name(hang["mirror_of"]).read_text())
    rows, picks, outdoors = len(hang["column"]), hang.get("pick", []), venue.get("open_air", False)
    if hang.get("standing"):
        # It stands on the floor, within its base, its lowest row somehow held, which no file tells; each joint between
        # two rows has a link, a pin and a lock; the wind from two ways asks for stability and friction.
        return 3 + 3 * (rows - 1) + 4 * outdoors
    # Each joint has a link and a pin; in compression, which comes and goes, a limit of its own and a lock too.
    joints = 2 * rows + 2 * pushing
    # The frame and each row but the last permit a number and a mass below them.
    permitted = 2 * rows
    # Each pick has its hole, hoist, headroom, chain and plumb, and a finding for each piece of hardware.
    tackle = sum(5 + pieces(pick["hardware"]) + pieces(pick["top_hardware"]) for pick in picks)
    # Each bridle has its greatest angle; each leg its own, its tension, its hardware and as a sling its length.
    legs = [leg for pick in picks for leg in pick.get("leg", [])]
    bridles = sum("leg" in pick for pick in picks) + sum(2 + pieces(leg["hardware"]) + ("sling" in leg) for leg in legs)
    # A pull-back has its hole, hoist, headroom, chain and lean, and sets the tilt, which is not judged then.
    pull = [hang["pullback"]] if "pullback" in hang else []
    pulled = sum(5 + pieces(rope["hardware"]) + pieces(rope["top_hardware"]) for rope in pull)
    points = len({user["point"] for user in [*picks, *legs, *pull] if "point" in user})
    # The tilt and the clearance; of two picks the lesser share, or that they are out of balance; an arm its mount.
    whole = 2 - len(pull) + (len(picks) == 2) + ("arm" in hang)
    # Swing from two ways; along the line of two picks the least of them, and each against its hole.
    wind = outdoors * (2 + 3 * (len(picks) == 2))
    return joints + permitted + tackle + bridles + pulled + points + whole + wind


@pytest.mark.parametrize(("name", "code", "exceeds", "unknown", "pushing"), SAMPLE_HANGS)
def test_sample_hang(sample, name, code, exceeds, unknown, pushing):
    found, data, text = sample(name)
    within = how_many_findings(name, pushing) - exceeds - unknown
    assert found == code
    assert data["counts"] == {"exceeds": exceeds, "cannot be judged": unknown, "within": within}
    assert len(data["findings"]) == exceeds + unknown + within
    assert f"{exceeds} exceed, {unknown} cannot be judged, {within} within" in text.splitlines()


def test_no_sample_is_left_out():
    hangs = {f"{p.parent.name}/{p.stem}" for p in SAMPLES.glob("*/*.toml") if 'format = "hang/1"' in p.read_text()}
    assert hangs == {name for name, *_ in SAMPLE_HANGS}


def test_steep_hang_fails_on_the_bare_frame_and_passes_with_the_arm(sample):
    _, bare, text = sample("theatre/steep-bare")
    over = {(f["part"], f["what"]): f for f in bare["findings"] if f["status"] == "exceeds"}
    tilt, balance = over["frame", "tilt beyond its picks' reach"], over["balance", "picks in balance"]
    assert "pick 1 would have to push: the column tips" in balance["note"]
    # What has no share of a limit comes first, and the first of all is the weakest.
    first = bare["findings"][0]
    assert first in (tilt, balance)
    assert bare["findings"][1] in (tilt, balance)
    assert f"weakest: {first['part']}: {first['what']}: {first['note']} (37 cannot be judged)" in text.splitlines()
    # The file asks for -14°.
    assert tilt["value"] == pytest.approx(bare["stages"][-1]["reachable_deg"][0] + 14.0, rel=1e-9, abs=0)
    # At -14° hole 4, (-0.2, 0.11) m from the pivot, is at (-0.1675, 0.1551) m: 2.645 m below its point, which is plumb
    # above the pivot (calc: hand).
    plumb = over["pick 1, frame hole 4", "chain out of plumb"]
    assert plumb["value"] == pytest.approx(math.degrees(math.atan(0.1675 / 2.6449)), rel=1e-3, abs=0)
    # Pick 2 holds up what pick 1 pushes down with, and all of 74 + 12 × 33 kg: × 1.123 that is more than half a tonne
    # for its hoist, and with hoist and chain more than the 650 kg of its point.
    assert over["pick 2, frame hole 9", "hoist, load at the hook"]["value"] > 470.0 * (1.10 + 0.34 / 15)
    assert over["point left 2", "load on the point"]["value"] > (470.0 + 54.0 + 24 * 1.1) * (1.10 + 0.34 / 15)
    assert len(over) == 5
    # A pick that pushes has no load at its hook.
    assert [(pick["hole_kg"] > 0, pick["hook_kg"] is None) for pick in bare["picks"]] == [(False, True), (True, False)]
    assert "with arm-large at the rear" in bare["holes"]
    _, with_arm, _ = sample("theatre/steep-arm")
    assert {f["status"] for f in with_arm["findings"] if f["part"] in ("balance", "frame")} == {"within"}


def test_the_two_steep_samples_differ_in_their_picks_alone():
    bare, arm = ((SAMPLES / "theatre" / f"steep-{name}.toml").read_text() for name in ("bare", "arm"))
    assert bare.count("enclosure") == arm.count("enclosure") == 12
    assert bare[bare.index("[[column]]") :] == arm[arm.index("[[column]]") :]
    for key in ("position_m", "tilt_deg", "azimuth_deg"):
        assert [line for line in bare.splitlines() if key in line] == [line for line in arm.splitlines() if key in line]


@pytest.mark.parametrize("venue", ["theatre", "arena", "meadow"])
def test_mirror_images_carry_the_same(sample, venue):
    left, right = (sample(f"{venue}/{side}")[1] for side in ("left", "right"))

    def forces(data: Any) -> list[Any]:
        keys = ("what", "value", "limit", "status")
        return sorted(([f[key] for key in keys] for f in data["findings"]), key=str)

    for mine, other in zip(forces(left), forces(right), strict=True):
        assert mine[0] == other[0]
        # exact but for the last digits: sums run the other way round
        assert mine[1] == (other[1] if other[1] is None else pytest.approx(other[1], rel=1e-9, abs=1e-9))
        assert mine[2:] == other[2:]
    assert left["revision"] != right["revision"]


@pytest.mark.parametrize(("venue", "points"), [("theatre", 4), ("arena", 4), ("meadow", 2)])
def test_both_sides_hang_from_points_of_their_own(sample, venue, points):
    _, alone, _ = sample(f"{venue}/left")
    code, both, _ = sample(f"{venue}/left", "--beside", SAMPLES / venue / "right.toml")
    loads = {f["part"]: f["value"] for f in both["findings"] if f["what"] == "load on the point"}
    assert code == 0
    assert len(loads) == points
    for found in alone["findings"]:
        if found["what"] == "load on the point":
            assert loads[found["part"]] == pytest.approx(found["value"], rel=1e-12, abs=0)


def test_a_hang_beside_itself_is_refused(capsys):
    # It would load its points twice.
    hang, venue = SAMPLES / "theatre" / "left.toml", SAMPLES / "theatre" / "venue.toml"
    code = cli.main(
        ["check", str(hang), str(venue), "--beside", str(SAMPLES / "arena" / ".." / "theatre" / "left.toml")]
    )
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert "--beside: names a hang twice; " in err


def test_another_hang_on_the_same_points_adds_to_their_load(sample, tmp_path):
    # One like it puts the same on each: more than 650 kg where one alone is within.
    (tmp_path / "same.toml").write_text((SAMPLES / "theatre" / "left.toml").read_text())
    alone, both = sample("theatre/left"), sample("theatre/left", "--beside", tmp_path / "same.toml")
    loads = [
        {f["part"]: f for f in data["findings"] if f["what"] == "load on the point"} for _, data, _ in (alone, both)
    ]
    assert (alone[0], both[0]) == (0, 1)
    assert sorted(loads[0]) == sorted(loads[1]) == ["point left 1", "point left 2"]
    for part, found in loads[0].items():
        assert loads[1][part]["value"] == pytest.approx(2 * found["value"], rel=1e-12, abs=0)
        assert (found["status"], loads[1][part]["status"]) == ("within", "exceeds")


# A hoist of 54 kg with 24 m of chain at 1.1 kg/m, or of 82 kg at 2.2 kg/m; HC2 at 4 m/min, 1.10 + 0.34/15.
@pytest.mark.parametrize(("name", "own_kg"), [("theatre/left", 54.0 + 24 * 1.1), ("arena/left", 82.0 + 24 * 2.2)])
def test_the_roof_carries_hook_hoist_and_all_chain_and_the_factor_once(sample, name, own_kg):
    _, data, _ = sample(name)
    hang = tomllib.loads((SAMPLES / f"{name}.toml").read_text())
    for pick, used, point in zip(data["picks"], hang["pick"], data["points"], strict=True):
        above = own_kg + sum(load_catalogue().items[piece].mass_kg for piece in used["top_hardware"])
        assert pick["roof_kg"] == pytest.approx(pick["hook_kg"] + above, rel=1e-12, abs=0)
        assert pick["worst_roof_kg"] == pytest.approx(pick["worst_hook_kg"] + above, rel=1e-12, abs=0)
        down = pick["worst_roof_kg"] * G * (1.10 + 0.34 / 15)
        assert point["force_n"] == pytest.approx([0.0, 0.0, -down], rel=1e-12, abs=1e-9)
        assert point["point"] == used["point"]


IN_VENUE = ["venue.toml"]


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("theatre/left", IN_VENUE),
        ("meadow/left", IN_VENUE),
        ("theatre/steep-bare", IN_VENUE),
        ("theatre/steep-bare", []),
    ],
)
def test_worst_come_first(checked, name, more):
    path = SAMPLES / f"{name}.toml"
    _, data, text = checked(path, *(path.with_name(file) for file in more))
    # Without its venue the steep one has both what exceeds and what cannot be judged.
    assert more or all(data["counts"].values())
    rank = {"exceeds": 0, "cannot be judged": 1, "within": 2}
    keys = []
    for found in data["findings"]:
        # An exceeded finding without a figure comes before any with one, another without a figure after all.
        figure = found["used"] if found["used"] is not None else 1e9 if found["status"] == "exceeds" else 0.0
        keys.append((rank[found["status"]], -figure))
    assert keys == sorted(keys)
    assert len(section(text, "WITHIN")) == 1 + data["counts"]["within"]


def test_without_people_the_same_hang_uses_less(sample):
    _, over, _ = sample("theatre/left")
    code, without, text = sample("theatre/left", "--policy", "no_people")
    used = [
        next(f["used"] for f in data["findings"] if f["what"] == "hoist, load at the hook") for data in (over, without)
    ]
    assert code == 0
    assert used[0] == pytest.approx(2 * used[1], rel=1e-9, abs=0)  # marked_share 0.5 and 1.0
    assert "nobody below" in text


# --- the sheet for the crew ---


def section(text: str, head: str) -> list[str]:
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(head))
    end = next((i for i in range(start, len(lines)) if not lines[i]), len(lines))
    return lines[start + 1 : end]


def joint_rows(text: str) -> list[str]:
    """Rows of the table of joints, without its head and what is said below it."""
    return [line for line in section(text, "JOINTS") if re.match(r"(frame–row|rows) \d", line)]


def test_splays_stand_between_the_two_rows_that_they_join(sample):
    # As the file gives them: 0 to the frame, then 1, 1, 2, 3, 3, 4, 5, 7, 9, 10, 11.
    rows = joint_rows(sample("theatre/left")[2])
    splays = [0, 1, 1, 2, 3, 3, 4, 5, 7, 9, 10, 11]
    for index, (row, splay) in enumerate(zip(rows, splays, strict=True)):
        name = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        assert row.startswith(f"{name} ")
        assert row.removeprefix(name).split()[0] == f"{splay:.1f}°"


@pytest.mark.parametrize("name", ["theatre/left", "theatre/steep-bare", "arena/right", "meadow/left"])
def test_a_second_person_reads_every_splay_back(sample, name):
    assert "a second person reads every splay back" in sample(name)[2]


def test_landing_goes_back_through_the_stages(sample):
    # 16 rows come on four carts of four. The whole column still stands over its last cart before it goes to its trim.
    _, data, text = sample("arena/left")
    building = [stage["stage"] for stage in data["stages"]]
    over_carts = [f"rows 1–{rows}, over the cart" for rows in (4, 8, 12, 16)]
    assert building == [*over_carts, "rows 1–16, complete"]
    landing = [line for line in section(text, "STAGES") if line.startswith("  ")]
    assert [line.split(". ", 1)[1].split(", frame at")[0] for line in landing] == over_carts[::-1]
    # The frame of 74 kg and so many of equal rows with their loom: equal steps, and none to the last.
    masses = [stage["mass_kg"] for stage in data["stages"]]
    assert masses[:4] == pytest.approx([74.0 + (masses[0] - 74.0) * carts for carts in (1, 2, 3, 4)], rel=1e-12, abs=0)
    assert masses[4] == masses[3]
