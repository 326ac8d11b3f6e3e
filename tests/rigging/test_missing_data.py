"""Rated data that is missing is never a default: what needs it cannot be judged, and says what is missing.

Each rated key is taken out in turn of files that are within all limits; a file of the equipment is named in the note.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from acoustics.app import cli
from rigging.cautions import CAUTIONS

# fmt: off
ABOUT = {"description": "for checks", "source": "typed"}
BODY = ABOUT | {"width_m": 1.0, "pivot": "front", "rear_hole_back_m": 0.4, "rear_hole_inset_m": 0.05,
                "side_spacing_m": 0.9, "below": [{"fitting": "box", "splays_deg": [0.0, 1.0, 2.0, 5.0]}],
                "rated": {"source": "typed", "link_kg": 500.0, "link_push_kg": 500.0, "pin_kg": 500.0,
                          "locks_both_ways": True, "below": [{"number": 20, "mass_kg": 900.0}]}}
HOLES = {"F": (0.0, 0.0), "L": (-0.18, 0.3), "Q": (-0.18, -0.3), "M": (-0.2, 0.0), "R": (-1.0, 0.0)}
PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
RIG: dict[str, dict[str, Any]] = {
    "frame": BODY | {"format": "frame/1", "name": "bar", "mass_kg": 20.0, "centre_of_mass_m": [-0.5, 0.0, 0.05],
                     "height_m": 0.1, "depth_m": 1.2, "front_m": 0.1,
                     "hole": [{"name": n, "position_m": [x, y, 0.1], "limit_kg": 900.0}
                              for n, (x, y) in HOLES.items()]},
    "box": BODY | {"format": "enclosure/1", "name": "box", "mass_kg": 40.0, "centre_of_mass_m": [-0.1, 0.0, -0.25],
                   "height_m": 0.5, "depth_m": 0.7, "front_m": 0.2, "top_fitting": "box", "cart_limit_deg": 6.0,
                   "reference_m": [0.0, 0.0, -0.25], "pullback_m": [-0.4, 0.0, -0.45], "acoustic": {}},
    "between": BODY | {"format": "adapter/1", "name": "between", "mass_kg": 10.0, "centre_of_mass_m": [-0.1, 0.0, -0.1],
                       "height_m": 0.2, "depth_m": 0.7, "front_m": 0.2, "top_fitting": "box",
                       "lower_pivot_ahead_m": 0.0, "lower_rear_hole_back_m": 0.4},
    "arm": ABOUT | {"format": "pick_arm/1", "name": "bar arm", "mass_kg": 5.0, "length_m": 1.0,
                    "centre_out_m": 0.5, "mount_kg_m": 500.0,
                    "hole": [{"name": "1", "out_m": 0.5, "up_m": 0.0, "limit_kg": 900.0}]},
    "hoist": ABOUT | {"format": "hoist/1", "name": "hoist", "mass_kg": 30.0, "capacity_kg": 2000.0,
                      "chain_kg_per_m": 1.0, "falls": 1, "chain_m": 20.0, "headroom_m": 0.5,
                      "hoisting_class": "HC2", "speed_m_per_min": 6.0},
    "shackle": ABOUT | {"format": "shackle/1", "name": "shackle", "mass_kg": 1.0, "limit_kg": 2000.0, "length_m": 0.1},
    "sling": ABOUT | {"format": "sling/1", "name": "sling", "mass_kg": 1.0, "limit_kg": 2000.0, "length_m": 0.1},
    # As long as a leg 3 m out and 3 m up, to 7 mm.
    "strop": ABOUT | {"format": "sling/1", "name": "strop", "mass_kg": 1.0, "limit_kg": 2000.0, "length_m": 4.25},
    "rope": ABOUT | {"format": "rope/1", "name": "rope", "mass_kg": 0.0, "breaking_kn": 200.0, "termination": 0.9,
                     "kg_per_m": 0.5},
    "policy": {"format": "policy/1", "name": "house", "source": "typed", "over_people": True,
               "rope_design_factor": 5.0, "marked_share": 0.5, "least_pick_share": 0.1,
               "lean_pick_share": 0.1,
               "least_leg_deg": 30.0, "included_angle_deg": 120.0, "plumb_deg": 3.0, "tilt_tolerance_deg": 0.5,
               "trim_tolerance_m": 0.1, "aim_tolerance_deg": 0.5, "cell_share": 0.1, "cell_kg": 25.0,
               "sum_share": 0.05,
               "clearance_m": 2.5, "swing_deg": 5.0, "drag": 1.3, "stability": 1.5, "friction": 0.3},
    "venue": {"format": "venue/1", "name": "hall", "open_air": True, "gust_m_s": 1.0,
              "point": [{"name": "A", "position_m": [0.0, 0.0, 15.2], "limit_kg": 900.0},
                        {"name": "B", "position_m": [-1.0, 0.0, 15.2], "limit_kg": 900.0}],
              "area": [{"name": "floor", "role": "audience", "outline_m": [[5, -1, 0], [6, -1, 0], [6, 1, 0]]}]},
    "hang": {"format": "hang/1", "name": "main", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
             "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
             "pick": [PICK | {"hole": "F", "point": "A"}, PICK | {"hole": "R", "point": "B"}]},
}
# fmt: on


def changed(changes: Mapping[str, Any]) -> dict[str, Any]:
    """The rig with some keys set, such as `{"frame.hole.0.limit_kg": 80.0}`, or taken out by None."""
    rig = json.loads(json.dumps(RIG))
    for path, value in changes.items():
        *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        node: Any = rig
        for part in way:
            node = node[part]
        node[last] = copy.deepcopy(value)
        if value is None:
            del node[last]
    return rig


def inline(value: Any) -> str:
    """A value as TOML; JSON is that already but for its tables."""
    if isinstance(value, dict):
        return f"{{{', '.join(f'{json.dumps(key)} = {inline(inner)}' for key, inner in value.items())}}}"
    return f"[{', '.join(map(inline, value))}]" if isinstance(value, list) else json.dumps(value)


@pytest.fixture
def told(tmp_path, capsys) -> Callable[..., tuple[int, Any, str]]:
    """Checks the rig with some keys changed; returns the exit status, the report as data and as text."""

    def run(changes: Mapping[str, Any], *, in_venue: bool = True, text: bool = True) -> tuple[int, Any, str]:
        rig = changed(changes)
        for name, data in rig.items():
            toml = "".join(f"{key} = {inline(value)}\n" for key, value in data.items())
            kind = data["format"].split("/")[0]
            folder = tmp_path if kind in ("hang", "venue", "policy") else tmp_path / "equipment"
            folder.mkdir(exist_ok=True)
            (folder / f"{name}.toml").write_text(toml)
        files: list[Path] = [tmp_path / "hang.toml", *([tmp_path / "venue.toml"] if in_venue else [])]
        asked = [*files, "--policy", tmp_path / "policy.toml", "--equipment", tmp_path / "equipment"]
        code = cli.main(["check", *map(str, asked), "--json"])
        data, err = capsys.readouterr()
        assert err == ""
        if text:
            assert cli.main(["check", *map(str, asked)]) == code
        return code, json.loads(data), capsys.readouterr().out

    return run


def unjudged(data: Any) -> list[dict[str, Any]]:
    return [finding for finding in data["findings"] if finding["status"] == "cannot be judged"]


FRAME, ROWS, PICK_1 = "joint frame–1", "joint rows 1–2", "pick 1, frame hole F"
TENSION, COMPRESSION = "rear link in tension, one side", "rear link in compression, one side"
PIN, LOCK, HOLE = "front pivot pin, one side", "lock that holds both ways", "load on the hole"
PUSHING = {"box.centre_of_mass_m": [0.1, 0.0, -0.25], "policy.least_pick_share": 0.0}
ADAPTED = {"hang.column": [{"adapter": "between", "splay_deg": 0.0}, {"enclosure": "box", "splay_deg": 0.0}]}
ON_ARM = {
    "frame.arm_rear": {"takes": ["bar arm"], "x_m": -1.1, "z_m": 0.1},
    "hang.arm": {"type": "bar arm", "end": "rear"},
    "hang.pick.1": PICK | {"on": "arm", "hole": "1", "point": "B"},
    "venue.point.1.position_m": [-1.6, 0.0, 15.2],
}
BRIDLED = {
    "hang.pick.0": PICK
    | {
        "hole": "F",
        "apex_m": 15.2,
        "leg": [
            {"point": "C", "rope": "rope", "hardware": []},
            {"point": "D", "sling": "strop", "hardware": []},
        ],
    },
    "venue.point": [
        {"name": name, "position_m": place, "limit_kg": 900.0}
        for name, place in {"B": [-1.0, 0.0, 15.2], "C": [0.0, 3.0, 18.2], "D": [0.0, -3.0, 18.2]}.items()
    ],
}
OFF_MIDDLE = {"box.centre_of_mass_m": [-0.1, 0.004, -0.25]}  # hangs 0.4° to the side
TWO_CARTS = {"hang.carts": {"groups": [1, 1]}}
INDOORS = {"venue.open_air": False, "venue.gust_m_s": None}
# A vertical pull-back from B, over the hole at u = −0.4.
PULLED = {
    "hang.pick": [PICK | {"hole": "F", "point": "A"}],
    "hang.pullback": PICK | {"point": "B"},
    **INDOORS,  # what a gust does to it is not worked out
    "box.rated.pullback_kg": 500.0,
    "venue.point.1.position_m": [-0.4, 0.0, 15.2],
}
PULL = "pull-back"

CASES = [
    # what is taken out; part, what and a word of the note of what cannot be judged then; the files before that
    ("frame.rated.link_kg", FRAME, TENSION, "bar: no link_kg", {}),
    ("box.rated.link_kg", ROWS, TENSION, "box: no link_kg", {}),
    ("box.rated.link_kg", FRAME, TENSION, "box: no link_kg", {}),
    ("between.rated.link_kg", ROWS, TENSION, "between: no link_kg", ADAPTED),
    ("frame.rated.link_push_kg", FRAME, COMPRESSION, "bar: no link_push_kg", PUSHING),
    ("box.rated.link_push_kg", ROWS, COMPRESSION, "box: no link_push_kg", PUSHING),
    ("between.rated.link_push_kg", ROWS, COMPRESSION, "between: no link_push_kg", ADAPTED | PUSHING),
    ("frame.rated.pin_kg", FRAME, PIN, "bar: no pin_kg", {}),
    ("box.rated.pin_kg", ROWS, PIN, "box: no pin_kg", {}),
    ("between.rated.pin_kg", FRAME, PIN, "between: no pin_kg", ADAPTED),
    ("frame.rated.locks_both_ways", FRAME, LOCK, "no data say whether its link locks", PUSHING),
    ("box.rated.locks_both_ways", ROWS, LOCK, "no data say whether its link locks", PUSHING),
    ("between.rated.locks_both_ways", ROWS, LOCK, "no data say whether its link locks", ADAPTED | PUSHING),
    ("frame.rated.below", "below bar", "mass below", "bar gives no permitted number or mass", {}),
    ("box.rated.below", "below box, row 1", "mass below", "box gives no permitted number or mass", {}),
    ("between.rated.below", "below between, row 1", "mass below", "between gives no permitted number", ADAPTED),
    ("frame.rated", FRAME, PIN, "bar: no pin_kg", {}),
    ("frame.rated", "below bar", "mass below", "bar gives no permitted number or mass", {}),
    ("box.rated", ROWS, TENSION, "box: no link_kg", {}),
    ("between.rated", FRAME, TENSION, "between: no link_kg", ADAPTED),
    ("frame.hole.0.limit_kg", PICK_1, HOLE, "frame hole F gives no limit", {}),
    ("arm.hole.0.limit_kg", "pick 2, arm hole 1", HOLE, "arm hole 1 gives no limit", ON_ARM),
    ("hoist.capacity_kg", PICK_1, "hoist, load at the hook", "hoist gives no limit", {}),
    ("hoist.hoisting_class", PICK_1, "hoist, load at the hook", "no dynamic factor", {}),
    ("hoist.speed_m_per_min", PICK_1, "hoist, load at the hook", "no dynamic factor", {}),
    ("hoist.hoisting_class", PICK_1, HOLE, "no dynamic factor", {}),
    ("hoist.hoisting_class", PICK_1, "shackle shackle, in line", "no dynamic factor", {}),
    ("hoist.hoisting_class", FRAME, TENSION, "no dynamic factor", {}),
    ("hoist.speed_m_per_min", ROWS, PIN, "no dynamic factor", {}),
    ("hoist.speed_m_per_min", "point A", "load on the point", "no dynamic factor", {}),
    ("hoist.speed_m_per_min", f"{PICK_1}, bridle to C", "tension, largest leg", "no dynamic factor", BRIDLED),
    ("shackle.limit_kg", PICK_1, "shackle shackle, in line", "shackle gives no limit", {}),
    ("sling.limit_kg", PICK_1, "sling sling, straight", "sling gives no limit", {"hang.pick.0.hardware": ["sling"]}),
    ("strop.limit_kg", f"{PICK_1}, bridle to D", "tension, largest leg", "strop gives no limit", BRIDLED),
    ("rope.breaking_kn", f"{PICK_1}, bridle to C", "tension, largest leg", "rope gives no limit", BRIDLED),
    ("venue.point.0.limit_kg", "point A", "load on the point", "the venue file gives no limit", {}),
    ("venue.point.1.limit_kg", "point C", "load on the point", "the venue file gives no limit", BRIDLED),
    ("venue.gust_m_s", "wind", "gust", "gives no gust_m_s", {}),
    ("hang.floor_below_m", "clearance", "lowest edge above the floor below", "gives no floor_below_m", {}),
    ("box.cart_limit_deg", "row 1, over the cart", "lowest row off level", "box gives no cart_limit_deg", TWO_CARTS),
    ("box.side_spacing_m", FRAME, TENSION, "box gives no side_spacing_m", OFF_MIDDLE),
    ("box.side_spacing_m", ROWS, PIN, "box gives no side_spacing_m", OFF_MIDDLE),
    ("hang.pick.0.hoist", PICK_1, "hoist", "names no hoist", {}),
    ("hang.pick.0.point", PICK_1, "reach of the hoist", "no venue point", {}),
    ("hang.pick.0.point", f"main, {PICK_1}", "load at the roof", "names no point", {}),
    ("hang.pick.0.hoist", "point A", "load on the point", "no hoist is named", {}),
    ("hang.pick.0.hardware", PICK_1, "hardware", "none is named between hook and hole", {}),
    ("hang.pick.0.hoist", f"{PICK_1}, bridle", "tension of its legs", "its load or its points are not known", BRIDLED),
    ("hang.floor_below_m", PICK_1, "chain out, lowest hook", "gives no floor_below_m", {}),
    # the pull-back
    ("box.rated.pullback_kg", PULL, "load on its hole", "box: pullback_kg gives no limit", PULLED),
    ("box.pullback_m", "balance", "picks in balance", "file gives no pullback_m", PULLED),
    ("hang.pullback.hardware", PULL, "hardware", "none is named between hook and hole", PULLED),
    ("hang.pullback.hoist", PULL, "hoist", "names no hoist", PULLED),
    ("hang.pullback.hoist", PULL, "load on its hole", "no dynamic factor", PULLED),
    ("hang.pullback.hoist", "point B", "load on the point", "no hoist with class and speed", PULLED),
    ("venue.point.1.limit_kg", "point B", "load on the point", "the venue file gives no limit", PULLED),
    ("hang.pullback.point", "balance", "picks in balance", "upper end is not known", PULLED),
]  # fmt: skip


@pytest.mark.parametrize(
    "before",
    [{}, PUSHING, ADAPTED, ADAPTED | PUSHING, ON_ARM, BRIDLED, OFF_MIDDLE, TWO_CARTS, PULLED],
)
def test_nothing_is_missing_at_first(told, before):
    code, data, text = told(before)
    assert (code, unjudged(data)) == (0, [])
    assert "(0 cannot be judged)" in text


@pytest.mark.parametrize(("missing", "part", "what", "note", "before"), CASES)
def test_what_is_missing_cannot_be_judged(told, missing, part, what, note, before):
    code, data, text = told(before | {missing: None})
    found = unjudged(data)
    (one,) = (finding for finding in found if (finding["part"], finding["what"]) == (part, what))
    assert code == 4
    assert note in one["note"]
    assert (one["limit"], one["used"]) == (None, None)
    assert data["counts"] == {
        "exceeds": 0,
        "cannot be judged": len(found),
        "within": len(data["findings"]) - len(found),
    }
    (weakest,) = (line for line in text.splitlines() if line.startswith("weakest: "))
    assert weakest.endswith(f"({len(found)} cannot be judged)")
    assert f"0 exceed, {len(found)} cannot be judged, " in text


@pytest.mark.parametrize(("missing", "part", "what", "note", "before"), CASES)
def test_what_is_missing_does_not_hide_behind_what_exceeds(told, missing, part, what, note, before):
    # 20 m wanted below the lowest edge and 9 m there; where the floor is not known, a chain 2° out of plumb.
    exceeding = {"policy.clearance_m": 20.0}
    if missing == "hang.floor_below_m":
        exceeding = {"policy.plumb_deg": 1.0, "venue.point.0.position_m": [0.2, 0.0, 15.2]}
    code, data, _ = told(before | exceeding | {missing: None}, text=False)
    assert code == 1
    assert data["findings"][0]["status"] == "exceeds"
    assert (part, what) in {(finding["part"], finding["what"]) for finding in unjudged(data)}


def test_hang_without_picks_cannot_be_judged(told):
    code, data, _ = told({"hang.pick": None, "policy.dynamic_factor": 1.25})
    (picks,) = (finding for finding in unjudged(data) if finding["part"] == "picks")
    assert code == 4
    assert "names no picks" in picks["note"]


@pytest.mark.parametrize(
    ("part", "what"),
    [(PICK_1, HOLE), (PICK_1, "hoist, load at the hook"), ("point A", "load on the point"), (FRAME, PIN)],
)
def test_what_carries_a_column_of_unknown_balance_is_not_within(told, part, what):
    # The rope takes hold where no file says; pulled downwards, it would add to each of these.
    _, data, _ = told(PULLED | {"box.pullback_m": None}, text=False)
    (found,) = (finding for finding in data["findings"] if (finding["part"], finding["what"]) == (part, what))
    assert found["status"] == "cannot be judged"


def test_a_known_rating_that_is_passed_exceeds_whatever_else_is_missing(told):
    # 10 kg on one side at rest.
    code, data, _ = told({"frame.rated.link_kg": 9.0, "box.rated.link_kg": None})
    assert code == 1
    assert (data["findings"][0]["part"], data["findings"][0]["status"]) == (FRAME, "exceeds")


@pytest.mark.parametrize(
    "key",
    [
        "frame.hole.0.limit_kg",
        "hoist.capacity_kg",
        "shackle.limit_kg",
        # 83 kg, a hoist of 30 and 20 m of chain: 133 kg at rest.
        "venue.point.0.limit_kg",
    ],
)
def test_a_limit_that_is_passed_at_rest_exceeds_without_a_dynamic_factor(told, key):
    assert told({key: 80.0, "hoist.hoisting_class": None})[0] == 1


def test_dynamic_factor_of_the_policy_takes_the_place_of_class_and_speed(told):
    changes = {"policy.dynamic_factor": 1.25, "hoist.hoisting_class": None, "hoist.speed_m_per_min": None}
    assert told(changes)[0] == 0


def test_side_spacing_matters_only_off_the_middle(told):
    assert told(INDOORS | {"box.side_spacing_m": None})[0] == 0


def test_gust_matters_only_in_the_open_air(told):
    assert told(INDOORS)[0] == 0


def test_without_a_venue_reach_and_roof_cannot_be_judged(told):
    code, data, text = told({}, in_venue=False)
    found = {(finding["part"], finding["what"]) for finding in unjudged(data)}
    assert code == 4
    assert found == {
        (part, what)
        for pick in ("pick 1, frame hole F", "pick 2, frame hole R")
        for part, what in ((pick, "reach of the hoist"), (f"main, {pick}", "load at the roof"))
    } | {("wind", "gust")}
    assert data["venue"] is None
    assert "(5 cannot be judged)" in text


def test_load_that_cannot_be_judged_is_still_told(told):
    # 83 kg at the hook, for a person to compare with the maker's table; HC2 at 6 m/min: 1.134.
    _, data, _ = told({"hoist.capacity_kg": None})
    (found,) = (f for f in unjudged(data) if f["part"] == PICK_1)
    assert found["value"] == pytest.approx(83.0 * 1.134, rel=1e-9, abs=0)
    assert found["unit"] == "kg"


@pytest.mark.parametrize("changes", [{}, {"hoist.capacity_kg": None}, {"policy.clearance_m": 20.0}])
def test_cautions_stand_whatever_is_found(told, changes):
    _, data, text = told(changes)
    assert data["cautions"] == list(CAUTIONS)
    assert [line[2:] for line in text.splitlines() if line.startswith("! ")] == list(CAUTIONS)
