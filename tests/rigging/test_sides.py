"""Limits at their thresholds in kilograms and newtons; the loaded side of a joint; leaned, askew and pulled-back hangs.

A frame of 30 kg and three boxes of 50 kg, straight, at a tilt of 0. In m from the front pivot the centre of mass of all
180 kg lies at u = −(0.3·30 + 0.15·150)/180 = −0.175 and v = (0.05·30 − 0.2·50 − 0.6·50 − 1.0·50)/180 = −0.491667.
All exact, by hand; a force in kg is the weight of that mass at 9.80665 m/s² (3rd CGPM 1901).
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable, Mapping
from typing import Any

import pytest
import tomlkit

from rigging.check import Report, check
from rigging.equipment import load_catalogue
from rigging.faults import FileFaults
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding
from rigging.hang import load_hang
from rigging.policy import Policy
from rigging.site import Site

# fmt: off
ABOUT = {"description": "for checks", "source": "typed"}
BODY = ABOUT | {"width_m": 1.0, "pivot": "front", "rear_hole_back_m": 0.5, "rear_hole_inset_m": 0.05,
                "side_spacing_m": 0.8, "below": [{"fitting": "box", "splays_deg": [0.0]}],
                "rated": {"source": "typed", "link_kg": 500.0, "link_push_kg": 500.0, "pin_kg": 500.0,
                          "pullback_kg": 500.0, "locks_both_ways": True, "below": [{"number": 9}]}}
HOLES = {"F": (0.0, 0.0), "L": (-0.175, 0.4), "Q": (-0.175, -0.4), "R": (-0.9, 0.0)}
TACKLE = {"hoist": "hoist", "hardware": [], "top_hardware": []}
RIG: dict[str, dict[str, Any]] = {
    "frame": BODY | {"format": "frame/1", "name": "bar", "mass_kg": 30.0, "centre_of_mass_m": [-0.3, 0.0, 0.05],
                     "height_m": 0.1, "depth_m": 1.1, "front_m": 0.1,
                     "hole": [{"name": n, "position_m": [x, y, 0.1], "limit_kg": 900.0}
                              for n, (x, y) in HOLES.items()]},
    "box": BODY | {"format": "enclosure/1", "name": "box", "mass_kg": 50.0, "centre_of_mass_m": [-0.15, 0.0, -0.2],
                   "height_m": 0.4, "depth_m": 0.7, "front_m": 0.1, "top_fitting": "box", "cart_limit_deg": 6.0,
                   "reference_m": [0.0, 0.0, -0.2], "pullback_m": [-0.4, 0.0, -0.35], "acoustic": {}},
    "hoist": ABOUT | {"format": "hoist/1", "name": "hoist", "mass_kg": 10.0, "capacity_kg": 2000.0,
                      "chain_kg_per_m": 1.0, "falls": 1, "chain_m": 20.0, "headroom_m": 0.5},
    "policy": {"format": "policy/1", "name": "house", "source": "typed", "over_people": True,
               "rope_design_factor": 5.0, "marked_share": 1.0, "dynamic_factor": 1.0, "least_pick_share": 0.1,
               "lean_pick_share": 0.1, "least_leg_deg": 30.0, "included_angle_deg": 120.0, "plumb_deg": 3.0,
               "tilt_tolerance_deg": 0.5,
               "trim_tolerance_m": 0.1, "aim_tolerance_deg": 0.5, "cell_share": 0.1, "cell_kg": 25.0,
               "sum_share": 0.05, "clearance_m": 2.5, "swing_deg": 5.0, "drag": 1.3, "stability": 1.5,
               "friction": 0.3},
    "site": {"name": "hall", "point": [{"name": name, "position_m": [x, 0.0, 15.1], "limit_kg": 900.0}
                                       for name, x in (("A", 0.0), ("B", -0.9), ("C", -0.4))]},
    "hang": {"format": "hang/1", "name": "main", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
             "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 3,
             "pick": [TACKLE | {"hole": "F", "point": "A"}, TACKLE | {"hole": "R", "point": "B"}]},
}
# fmt: on


@pytest.fixture
def report(tmp_path) -> Callable[[Mapping[str, Any]], Report]:
    """Judges the rig with some keys set, such as `{"frame.hole.0.limit_kg": 80.0}`, or taken out by None."""

    def judge(changes: Mapping[str, Any]) -> Report:
        rig = json.loads(json.dumps(RIG))
        for path, value in changes.items():
            *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
            node: Any = rig
            for step in way:
                node = node[step]
            node[last] = copy.deepcopy(value)
            if value is None:
                del node[last]
        (tmp_path / "equipment").mkdir(exist_ok=True)
        for name in ("frame", "box", "hoist"):
            (tmp_path / "equipment" / f"{name}.toml").write_text(tomlkit.dumps(rig[name]))
        (tmp_path / "hang.toml").write_text(tomlkit.dumps(rig["hang"]))
        catalogue = load_catalogue([tmp_path / "equipment"])
        hang = load_hang(tmp_path / "hang.toml", catalogue)
        return check(hang, catalogue, Policy(**rig["policy"]), Site(**rig["site"]))

    return judge


def find(report: Report, part: str, what: str) -> Finding:
    (found,) = (f for f in report.findings if (f.part, f.what) == (part, what))
    return found


FRAME, LAST = "joint frame–1", "joint rows 2–3"
LINK, PUSH = "rear link in tension, one side", "rear link in compression, one side"
PIN, HOLE = "front pivot pin, one side", "load on the hole"
# Side by side, plumb above the centre of mass, so that the tilt stays 0 and nothing rolls.
BESIDE = {"hang.pick": [{"hole": "L"}, {"hole": "Q"}]}
LEFT = BESIDE | {"box.centre_of_mass_m": [-0.15, 0.08, -0.2]}
RIGHT = BESIDE | {"box.centre_of_mass_m": [-0.15, -0.08, -0.2]}
AHEAD = {"box.centre_of_mass_m": [0.05, 0.0, -0.2], "policy.least_pick_share": 0.0, "policy.lean_pick_share": 0.0}


def test_nothing_else_is_in_the_way(report):
    assert {found.status for found in report({}).findings} == {WITHIN}


@pytest.mark.parametrize(
    ("part", "what", "key", "kg", "changes"),
    [
        # 0.9 m apart: 180·(0.9 − 0.175)/0.9 and 180·0.175/0.9.
        ("pick 1, frame hole F", HOLE, "frame.hole.0.limit_kg", 145.0, {}),
        ("pick 2, frame hole R", HOLE, "frame.hole.3.limit_kg", 35.0, {}),
        # 150 kg at u = −0.15, links at −0.5: 45 kg on two links, 105 on two pins.
        (FRAME, LINK, "frame.rated.link_kg", 22.5, {}),
        (FRAME, PIN, "frame.rated.pin_kg", 52.5, {}),
        # The last box alone: 50 kg, so 15 and 35.
        (LAST, LINK, "box.rated.link_kg", 7.5, {}),
        (LAST, PIN, "box.rated.pin_kg", 17.5, {}),
        # 150 kg at u = +0.05: the links push with 15 kg, and the pins carry 165.
        (FRAME, PUSH, "frame.rated.link_push_kg", 7.5, AHEAD),
        (FRAME, PIN, "frame.rated.pin_kg", 82.5, AHEAD),
        # 150 kg at 0.08 m of 0.8 m to one side: 15 kg beyond the half on that side, by whichever pair holds the moment.
        # All of 180 kg at 0.0666667 m: 180·(0.4 + 0.0666667)/0.8 on the hole of that side.
        (FRAME, LINK, "frame.rated.link_kg", 37.5, LEFT),
        (FRAME, PIN, "frame.rated.pin_kg", 67.5, LEFT),
        (LAST, LINK, "box.rated.link_kg", 12.5, LEFT),
        (LAST, PIN, "box.rated.pin_kg", 22.5, LEFT),
        ("pick 1, frame hole L", HOLE, "frame.hole.1.limit_kg", 105.0, LEFT),
        ("pick 2, frame hole Q", HOLE, "frame.hole.2.limit_kg", 75.0, LEFT),
        (FRAME, LINK, "frame.rated.link_kg", 37.5, RIGHT),
        (FRAME, PIN, "frame.rated.pin_kg", 67.5, RIGHT),
        ("pick 2, frame hole Q", HOLE, "frame.hole.2.limit_kg", 105.0, RIGHT),
    ],
)  # fmt: skip
def test_limit_binds_within_a_gram(report, part, what, key, kg, changes):
    low, high = (find(report(changes | {key: limit}), part, what) for limit in (kg - 0.001, kg + 0.001))
    assert (low.limit, high.limit, low.unit) == (kg - 0.001, kg + 0.001, "kg")
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


def test_forces_are_in_newtons(report):
    # 145 and 35 kg; 45 kg of link and 105 kg of pivot of both sides; nothing beyond a half; times 9.80665.
    given = report({})
    assert given.stages[-1].balance.high == pytest.approx([1421.96425, 343.23275], rel=1e-9, abs=0)
    assert given.joints.link[0] == pytest.approx(441.29925, rel=1e-9, abs=0)
    assert given.joints.pivot_axial[0] == pytest.approx(1029.69825, rel=1e-9, abs=0)
    assert list(given.beyond) == [0.0, 0.0, 0.0]


@pytest.mark.parametrize("changes", [LEFT, RIGHT])
def test_what_one_side_adds_is_in_newtons(report, changes):
    # W·|y|/b = 150, 100 and 50 kg · 0.08/0.8 = 15, 10 and 5 kg; links and pivots of both sides stay as they are.
    given = report(changes)
    assert given.beyond == pytest.approx([147.09975, 98.0665, 49.03325], rel=1e-9, abs=0)
    assert given.joints.link[0] == pytest.approx(441.29925, rel=1e-9, abs=0)


@pytest.mark.parametrize(("permitted", "status"), [(2, EXCEEDS), (3, WITHIN), (4, WITHIN)])
def test_permitted_number_binds(report, permitted, status):
    found = find(report({"frame.rated.below": [{"number": permitted}]}), "below bar", "enclosures below")
    assert (found.value, found.limit, found.status) == (3.0, permitted, status)
    # A dynamic factor makes no more enclosures of them.
    moving = report({"frame.rated.below": [{"number": permitted}], "policy.dynamic_factor": 1.9})
    assert find(moving, "below bar", "enclosures below").status == status


# --- leaned over the cart ---

SHARE = "least share of the weight on a pick"


@pytest.mark.parametrize(("lean", "kg"), [(0.0, 5 / 3), (0.1, 18.0), (0.25, 45.0), (0.5, 90.0)])
def test_lean_share_is_what_each_pick_carries_over_the_cart(report, lean, kg):
    """At a tilt of 0, which levels the lowest row, R hardly carries anything: the frame is leaned until it does."""
    # With boxes at u = +0.05 the centre of mass lies at −(0.3·30 − 0.05·150)/180 = −1.5/180: 1.5/0.9 = 5/3 kg.
    given = report(AHEAD | {"policy.lean_pick_share": lean})
    over, last = given.stages
    assert [stage.name for stage in given.stages] == ["rows 1–3, over the cart", "rows 1–3, complete"]
    assert over.balance.low[1] == pytest.approx(kg * 9.80665, rel=1e-9, abs=0)
    assert last.balance.low[1] == pytest.approx(5 / 3 * 9.80665, rel=1e-9, abs=0)
    assert last.balance.tilt == 0.0
    # It hangs as from one point, the share of the way from F to R; the centre of mass is 0.591667 m below that.
    tilt = math.degrees(math.atan((1.5 / 180 - 0.9 * lean) / 0.5916666667)) if lean else 0.0
    assert math.degrees(over.balance.tilt) == pytest.approx(tilt, rel=1e-8, abs=1e-9)


@pytest.mark.parametrize(
    ("lean", "tilt", "share", "fails", "holds"),
    [
        # (5/3)/180 at 0, where more is on R over the cart.
        (0.25, 0.0, 1 / 108, 0.0093, 0.0092),
        # (1.5/180 + 0.5916667·tan 10°)/0.9 at −10°, where over the cart, at 0, hardly anything is on R.
        (0.0, -10.0, 0.12517793, 0.1252, 0.1251),
    ],
)
def test_least_share_is_that_of_the_complete_column(report, lean, tilt, share, fails, holds):
    changes = AHEAD | {"policy.lean_pick_share": lean, "hang.tilt_deg": tilt}
    for least, status in ((fails, EXCEEDS), (holds, WITHIN)):
        found = find(report(changes | {"policy.least_pick_share": least}), "balance", SHARE)
        assert (found.value, found.status) == (pytest.approx(share, rel=1e-7, abs=0), status)
        assert found.note == "rows 1–3, complete"


# --- what statics leaves open ---

FOUR = {"frame.hole": [{"name": n, "position_m": [x, y, 0.1], "limit_kg": 900.0}
                       for n, x, y in (("1", 0.0, 0.4), ("2", 0.0, -0.4), ("3", -0.9, 0.4), ("4", -0.9, -0.4))],
        "hang.pick": [{"hole": name} for name in "1234"]}  # fmt: skip
IN_LINE = {"frame.hole.1.position_m": [-0.1, 0.0, 0.1], "hang.pick": [{"hole": name} for name in "FLR"]}


@pytest.mark.parametrize("changes", [FOUR, IN_LINE])
def test_share_of_picks_that_statics_leaves_open_cannot_be_judged(report, changes):
    found = find(report(changes), "balance", SHARE)
    assert (found.limit, found.status) == (None, CANNOT)
    assert "weigh each" in found.note


def test_picks_askew_cannot_be_judged(report):
    # F in front in the middle, Q behind and to the right; at 0 the centre of mass is halfway between, fore and aft.
    picks = [TACKLE | {"hole": "F", "point": "A"}, TACKLE | {"hole": "Q", "point": "B"}]
    given = report({"hang.pick": picks, "frame.hole.2.position_m": [-0.35, -0.4, 0.1], "policy.plumb_deg": 30.0})
    assert find(given, "balance", "picks in balance").status == CANNOT
    for part in ("pick 1, frame hole F", "pick 2, frame hole Q"):
        for what in (HOLE, "hoist, load at the hook"):
            assert (find(given, part, what).value, find(given, part, what).status) == (None, CANNOT)
    for point in "AB":
        assert find(given, f"point {point}", "load on the point").status == CANNOT
    assert EXCEEDS not in {found.status for found in given.findings}


def test_sides_of_a_column_from_picks_askew_cannot_be_judged(report):
    # Upright chains roll it until the centre of mass is below the line of holes, 0.2 m aside at 0.59 m: by some 19°,
    # which puts the boxes' 0.6·sin 19° = 0.19 m off the joint's middle: 52.5 + 150·0.19/0.8 kg on one side, not 52.5.
    changes = {"hang.pick": [{"hole": "F"}, {"hole": "Q"}], "frame.hole.2.position_m": [-0.35, -0.4, 0.1]}
    assert find(report(changes), FRAME, PIN).status == CANNOT


# --- pull-backs ---

# From F alone a vertical rope at u = −0.4 holds the tilt of 0: 180·0.175/0.4 = 78.75 kg, and F keeps 101.25.
PLUMB = {"hang.pick": [TACKLE | {"hole": "F", "point": "A"}], "hang.pullback": TACKLE | {"point": "C"}}
# From the hole at (−0.4, −1.15) the rope goes 3 back and 4 up. About F, 1.25 m above it, the rope has an arm of
# 0.4·0.8 + 1.25·0.6 = 1.07 m and the weight one of 0.175 m, so 180·0.175/1.07 = 29.439252 kg. F's chain holds 0.6 of
# that sideways, 17.663551 kg, and 180 kg less 0.8 of it plumb, 156.448598 kg: it leans by 6.441600°.
INCLINED = PLUMB | {"site.point.2.position_m": [-3.4, 0.0, 12.85], "policy.plumb_deg": 10.0}


@pytest.mark.parametrize("dynamic", [1.0, 1.25])
@pytest.mark.parametrize(
    ("what", "key", "kg", "changes"),
    [
        ("load on its hole", "box.rated.pullback_kg", 78.75, PLUMB),
        ("load on its hole", "box.rated.pullback_kg", 29.439252, INCLINED),
        # Half of what is marked on a hoist may be used.
        ("hoist, load at the hook", "hoist.capacity_kg", 157.5, PLUMB | {"policy.marked_share": 0.5}),
    ],
)
def test_limit_of_a_pull_back_binds(report, dynamic, what, key, kg, changes):
    changes = changes | {"policy.dynamic_factor": dynamic}
    low, high = (find(report(changes | {key: kg * dynamic + more}), "pull-back", what) for more in (-0.01, 0.01))
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


@pytest.mark.parametrize(("plumb", "status"), [(6.441, EXCEEDS), (6.442, WITHIN)])
def test_lean_that_a_pull_back_gives_the_chain_binds(report, plumb, status):
    found = find(report(INCLINED | {"policy.plumb_deg": plumb}), "pull-back", "lean of the top chain")
    assert (found.value, found.status) == (pytest.approx(6.441600, rel=1e-6, abs=0), status)


def test_chain_that_a_pull_back_leans_carries_along_itself(report):
    # √(17.663551² + 156.448598²) kg.
    given = report(INCLINED)
    assert given.lines[0].hole_kg == pytest.approx(157.442575, rel=1e-8, abs=0)
    assert report(PLUMB).lines[0].hole_kg == pytest.approx(101.25, rel=1e-9, abs=0)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        # 1 m aside on a rope of some 5 m.
        ({"site.point.2.position_m": [-0.4, 1.0, 14.0]}, "pulls sideways"),
        (
            {"hang.pick": [TACKLE | {"hole": "F", "point": "A"}, TACKLE | {"hole": "R", "point": "B"}]},
            "in front and behind",
        ),
    ],
)
def test_pull_back_that_is_not_worked_out_cannot_be_judged(report, changes, why):
    found = find(report(PLUMB | changes), "balance", "picks in balance")
    assert found.status == CANNOT
    assert why in found.note


def test_place_that_a_pull_back_goes_to_has_no_limit_to_judge_it_by(report):
    given = report(PLUMB | {"hang.pullback": TACKLE | {"to_m": [-0.4, 0.0, 15.1]}})
    found = find(given, "pull-back", "load on what it pulls at")
    assert (found.value, found.status) == (pytest.approx(78.75, rel=1e-9, abs=0), CANNOT)


def test_pull_back_that_would_have_to_push(report):
    # At +10° a centre of mass 0.0083 m behind F and 0.59 m below it comes ahead of F, and the rope is behind it.
    changes = PLUMB | AHEAD | {"hang.tilt_deg": 10.0}
    found = find(report(changes), "balance", "picks in balance")
    assert (found.status, found.note) == (EXCEEDS, "the pull-back would have to push; rows 1–3, complete")


def test_hardly_any_wind_leaves_the_picks_what_they_carry_at_rest(report):
    # Side by side at u = 0 they share the 101.25 kg that the rope leaves; the weight of all would be 90 kg each.
    places = {f"frame.hole.{i}.position_m": [0.0, y, 0.1] for i, y in ((1, 0.4), (2, -0.4))}
    picks = [TACKLE | {"hole": name, "point": "A"} for name in "LQ"]
    given = report(PLUMB | places | {"hang.pick": picks, "site.open_air": True, "site.gust_m_s": 1.0})
    assert [line.hole_kg for line in given.lines] == pytest.approx([50.625, 50.625], rel=1e-9, abs=0)
    least = [found for found in given.findings if found.what == "least load of a pick, wind from the side"]
    assert not [found for found in least if found.status == WITHIN and found.value > 51.0]


# --- bridles ---


@pytest.mark.parametrize("apex", [14.0, 14.5])
def test_apex_that_is_not_below_its_points_is_refused(report, apex):
    legs = [{"point": "A", "rope": "rope-10mm"}, {"point": "B", "rope": "rope-10mm"}]
    pick = TACKLE | {"hole": "F", "apex_m": apex, "leg": legs}
    with pytest.raises(FileFaults) as caught:
        report({"hang.pick": [pick], "site.point.1.position_m": [-0.9, 0.0, 14.0]})
    (fault,) = caught.value.faults
    assert fault.key == "pick[1].apex_m"
    assert "not below all of its points (the lowest is at 14 m)" in fault.wrong
