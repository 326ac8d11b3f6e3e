"""Bridles and the points that their legs pull at: limits that bind, a little below them and a little above, by hand.

100 kg on picks F, 82 kg, and R, 18 kg, at 10.1 m; a shackle of 1 kg and 0.1 m; hoists of 30 kg with 20 m of chain at
1 kg/m: 133 and 69 kg at the roof, or at the apex of a bridle at 15.2 m. A leg weighs 0.5 kg/m as a rope and 1 kg as a
sling on its point, and pulls half of that over the tangent of its angle sideways, as a taut leg roughly
does. All exact where no source is named; forces in kg, the weight of that mass at 9.80665 m/s².
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
PICK_1, ROOF, TENSION = "pick 1, frame hole F", "load on the point", "tension, largest leg"


def point(name: str, x: float, y: float, z: float) -> dict[str, Any]:
    return {"name": name, "position_m": [x, y, z], "limit_kg": 900.0}


def legs_to(names: str, use: str = "rope") -> dict[str, Any]:
    """Keys of a pick in a bridle with its apex at 15.2 m."""
    return PICK | {"apex_m": 15.2, "leg": [{"point": name, use: use, "hardware": []} for name in names]}


def bridled(*anchors: dict[str, Any], use: str = "rope") -> dict[str, Any]:
    """Pick 1 from a bridle with its apex 5 m above the hook."""
    names = "".join(anchor["name"] for anchor in anchors)
    picks = [legs_to(names, use) | {"hole": "F"}, PICK | {"hole": "R", "point": "B"}]
    return {"hang.pick": picks, "site.point": [*anchors, point("B", -1.0, 0.0, 15.2)], "sling.mass_kg": 1.0}


# Anchors 4 m to either side and 3 m up: legs of 5 m, each 133/2·5/3 = 110.8333 kg: 66.5 down, 88.6667 sideways.
EVEN = (point("A", 0.0, 4.0, 18.2), point("C", 0.0, -4.0, 18.2))
# 4 up 3 out and 3 up 4 out, both of 5 m, at a right angle: 133·0.8 = 106.4 and 133·0.6 = 79.8 kg.
UNEVEN = (point("A", 0.0, 3.0, 19.2), point("C", 0.0, -4.0, 18.2))


def test_nothing_else_is_in_the_way(judged_rig):
    assert {found.status for found in judged_rig(bridled(*EVEN)).findings} == {WITHIN}


@pytest.mark.parametrize(("dynamic", "column"), [(1.0, 0), (1.25, 1)])
@pytest.mark.parametrize(
    ("part", "what", "key", "limits", "share", "changes"),
    [
        # 2.5 kg of rope, 1.25·4/3 kg of it sideways: √((66.5 + 2.5)² + (88.666667 + 1.666667)²), and × 1.25: what a
        # leg weighs moves with what it carries.
        ("point A", ROOF, "site.point.0.limit_kg", (113.671065, 142.088831), 1.0, bridled(*EVEN)),
        # A sling of 1 kg: √(67.5² + (88.666667 + 0.666667)²).
        ("point A", ROOF, "site.point.0.limit_kg", (111.967381, 139.959226), 1.0, bridled(*EVEN, use="sling")),
        # √((85.12 + 2.5)² + (63.84 + 0.9375)²).
        ("point A", ROOF, "site.point.0.limit_kg", (108.965081, 136.206351), 1.0, bridled(*UNEVEN)),
        # √((47.88 + 2.5)² + (63.84 + 1.666667)²).
        ("point C", ROOF, "site.point.1.limit_kg", (82.639384, 103.299230), 1.0, bridled(*UNEVEN)),
        # What a leg of 1 kg holds at its upper end; its weight moves with it: √(67.5² + 89.333333²) = 111.967381 kg, of
        # which the policy lets half of what is marked be used; both legs by A's √(86.12² + 64.215²) = 107.425419 kg.
        (f"{PICK_1}, bridle to A", TENSION, "sling.limit_kg", (223.934762, 279.918453), 0.5,
         bridled(*EVEN, use="sling")),
        (f"{PICK_1}, bridle to A", TENSION, "sling.limit_kg", (214.850838, 268.563548), 0.5,
         bridled(*UNEVEN, use="sling")),
        (f"{PICK_1}, bridle to C", TENSION, "sling.limit_kg", (214.850838, 268.563548), 0.5,
         bridled(*UNEVEN, use="sling")),
        # All falls of the chain, 153 kg: √(77.5² + 102.666667²) = 128.633955 kg.
        (f"{PICK_1}, bridle to A", TENSION, "sling.limit_kg", (257.267910, 321.584888), 0.5,
         bridled(*EVEN, use="sling") | {"hoist.falls": 2}),
    ],
)  # fmt: skip
def test_marked_limit_binds(rig_finding, dynamic, column, part, what, key, limits, share, changes):
    changes = changes | {"policy.dynamic_factor": dynamic}
    low, high = (rig_finding(part, what, changes | {key: limits[column] + more}) for more in (-0.01, 0.01))
    assert low.value == pytest.approx(limits[column] * share, rel=2e-8, abs=0)
    assert low.limit == pytest.approx((limits[column] - 0.01) * share, rel=1e-9, abs=0)
    assert (low.status, high.status) == (EXCEEDS, WITHIN)
    assert share == 1.0 or "× 0.5 (house)" in low.source


# Breaking force in kN of which the leg may take 0.9/5: with its own weight 113.671065·9.80665/180 = 6.192957 and, both
# legs being sized by the greater force, 108.965081·9.80665/180 = 5.936569.
@pytest.mark.parametrize(
    ("leg", "anchors", "breaking_kn", "changes"),
    [
        ("A", EVEN, 6.192957, {}),
        ("A", EVEN, 7.741197, {"policy.dynamic_factor": 1.25}),
        ("A", EVEN, 12.385915, {"policy.rope_design_factor": 10.0}),
        ("A", EVEN, 6.967077, {"rope.termination": 0.8}),
        ("A", EVEN, 6.192957, {"policy.marked_share": 0.3}),  # the design factor has it all
        ("A", UNEVEN, 5.936569, {}),
        ("C", UNEVEN, 5.936569, {}),
    ],
)
def test_rope_of_a_leg_binds(rig_finding, leg, anchors, breaking_kn, changes):
    changes = bridled(*anchors) | changes
    low, high = (
        rig_finding(f"{PICK_1}, bridle to {leg}", TENSION, changes | {"rope.breaking_kn": breaking_kn * share})
        for share in (0.9999, 1.0001)
    )
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


@pytest.mark.parametrize(("kg_per_m", "at_a"), [(0.5, 113.671065), (5.0, 139.525486)])
def test_weight_of_legs_counts_at_the_points(rig_finding, kg_per_m, at_a):
    # 5 m of it on top of 66.5 kg that pull down and 88.666667 kg sideways: √(69² + 90.333333²), √(91.5² + 105.333333²).
    found = rig_finding("point A", ROOF, bridled(*EVEN) | {"rope.kg_per_m": kg_per_m})
    assert found.value == pytest.approx(at_a, rel=2e-8, abs=0)


def test_three_legs_by_the_reference_case(rig_finding):
    # 10 kN: 3.46838, 3.32919, 4.85573 kN. [calc] Slings of no weight.
    anchors = (point("A", -4.0, -3.0, 23.2), point("C", -3.0, 3.0, 23.2), point("D", 5.0, 0.0, 23.2))
    changes = bridled(*anchors, use="sling") | {"sling.mass_kg": 0.0}
    for name, kilonewton in zip("ACD", (3.46838, 3.32919, 4.85573), strict=True):
        found = rig_finding(f"point {name}", ROOF, changes)
        assert found.value == pytest.approx(133.0 * kilonewton / 10.0, rel=2e-6, abs=0)
        largest = rig_finding(f"{PICK_1}, bridle to {name}", TENSION, changes)
        assert largest.value == pytest.approx(133.0 * 0.485573, rel=2e-6, abs=0)


@pytest.mark.parametrize(
    ("lean", "at_c"),
    [
        # Boxes at u = +0.1, one to a cart: with one on 6 kg on R, 57 at the apex. Legs 3 up and 4 out, with 2.5 kg of
        # rope each: √((28.5 + 2.5)² + (38 + 1.666667)²).
        (0.0, 50.343266),
        # With both R carries 2 kg of 100; leaned over the cart its share of 10: 61 kg, √(33² + 42.333333²).
        (0.1, 53.675983),
    ],
)
def test_worst_stage_counts_at_the_points_of_a_bridle(rig_finding, lean, at_c):
    changes: dict[str, Any] = {"box.centre_of_mass_m": [0.1, 0.0, -0.25], "hang.carts": {"groups": [1, 1]}}
    changes |= {"policy.least_pick_share": 0.0, "policy.lean_pick_share": lean}
    changes["hang.pick.1"] = legs_to("CD") | {"hole": "R"}
    changes["site.point"] = [point("A", 0, 0, 15.2), point("C", -1, 4, 18.2), point("D", -1, -4, 18.2)]
    assert rig_finding("point C", ROOF, changes).value == pytest.approx(at_c, rel=2e-8, abs=0)


@pytest.mark.parametrize(
    ("part", "what", "key", "fails", "holds", "changes"),
    [
        # atan(3/4) = 36.870° and atan(4/3) = 53.130°; between the legs 180° − 2·36.870° = 106.260°, and a right angle.
        (f"{PICK_1}, bridle to A", "leg from the horizontal", "policy.least_leg_deg", 36.88, 36.86, bridled(*EVEN)),
        (f"{PICK_1}, bridle to A", "leg from the horizontal", "policy.least_leg_deg", 53.14, 53.12, bridled(*UNEVEN)),
        (f"{PICK_1}, bridle to C", "leg from the horizontal", "policy.least_leg_deg", 36.88, 36.86, bridled(*UNEVEN)),
        (f"{PICK_1}, bridle", "angle between legs", "policy.included_angle_deg", 106.25, 106.27, bridled(*EVEN)),
        (f"{PICK_1}, bridle", "angle between legs", "policy.included_angle_deg", 89.99, 90.01, bridled(*UNEVEN)),
        # Two legs hold their apex in their own plane; the hole 5.1 m below it may be 5.1·tan 3° = 0.26728 m ahead.
        (PICK_1, "chain out of plumb", "hang.position_m", [0.268, 0.0, 10.0], [0.267, 0.0, 10.0], bridled(*EVEN)),
        # The hook is at 10.2 m; 0.5 m of headroom to the apex.
        (PICK_1, "headroom, hook to hook", "hang.pick.0.apex_m", 10.69, 10.71, bridled(*EVEN)),
        # On its cart the hook is at 1.4 m; 13.8 m to the apex.
        (PICK_1, "chain out, lowest hook", "hoist.chain_m", 13.79, 13.81, bridled(*EVEN)),
    ],
)
def test_reach_and_angles_bind(rig_finding, part, what, key, fails, holds, changes):
    assert rig_finding(part, what, changes | {key: fails}).status == EXCEEDS
    assert rig_finding(part, what, changes | {key: holds}).status == WITHIN


# --- legs that do not pull, or of which statics does not tell how ---


@pytest.mark.parametrize(("y", "slack"), [(2.0, ["A"]), (0.01, ["A"]), (0.0, ["A"]), (-0.01, [])])
def test_leg_that_would_go_slack(judged_rig, y, slack):
    # A is 4 m to the left of the pick: it pulls only while C is to the right.
    found = [f for f in judged_rig(bridled(EVEN[0], point("C", 0.0, y, 18.2))).findings if f.what == "leg in tension"]
    assert [f.part for f in found] == [f"{PICK_1}, bridle to {name}" for name in slack]
    assert {f.status for f in found} <= {EXCEEDS}


@pytest.mark.parametrize("x", [0.0, 0.2])
def test_three_legs_in_one_plane_are_indeterminate(judged_rig, rig_finding, x):
    # Anchors on one level line, with the apex below it or beside: the plane through both holds all legs.
    changes = bridled(*EVEN, point("D", 0.0, 1.0, 18.2)) | {"hang.position_m": [x, 0.0, 10.0]}
    found = rig_finding(f"{PICK_1}, bridle", "tension of its legs", changes)
    assert found.status == CANNOT
    assert "in one plane" in found.note
    for name in "ACD":
        assert rig_finding(f"point {name}", ROOF, changes).status == CANNOT
    assert TENSION not in {each.what for each in judged_rig(changes).findings}


def test_apex_beside_the_plane_of_its_anchors_is_found(judged_rig):
    # The pick 0.2 m ahead of all three, which lie in one upright plane: T/L of the legs sum to 0 across it. Along it
    # 4 a − 4 c + d = 0, and up 3 a + 3 c + 4 d = 133: d = 133, a = −5/8 and c = −3/8 of that.
    changes = bridled(*EVEN, point("D", 0.0, 1.0, 19.2)) | {"hang.position_m": [0.2, 0.0, 10.0]}
    found = [each for each in judged_rig(changes).findings if each.what == "leg in tension"]
    assert sorted(each.part for each in found) == [f"{PICK_1}, bridle to A", f"{PICK_1}, bridle to C"]
    assert {each.status for each in found} == {EXCEEDS}


# --- points that legs share ---

AGAIN: dict[str, Any] = {
    "format": "hang/1", "name": "again", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
    "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
    "pick": [PICK | {"hole": "F", "point": "A"}, PICK | {"hole": "R", "point": "B"}],
}  # fmt: skip


def neighbour(hole: str, x: float, y: float, names: str) -> dict[str, Any]:
    """A hang 4 m from A, one pick of which is in a bridle from A and a point on the other side."""
    plain = PICK | {"hole": "FR".replace(hole, ""), "point": "B"}
    return AGAIN | {"position_m": [x, y, 10.0], "pick": [legs_to(names) | {"hole": hole}, plain]}


NEIGHBOURS = bridled(*EVEN, point("E", 0.0, 12.0, 18.2), point("G", 8.0, 4.0, 18.2))
NEIGHBOURS["hang.pick"] = bridled(*EVEN)["hang.pick"]
LEFT_OF_IT, AHEAD_OF_IT = neighbour("F", 0.0, 8.0, "AE"), neighbour("F", 4.0, 4.0, "AG")


@pytest.mark.parametrize(
    ("beside", "down", "aside"),
    [
        # One leg: 66.5 + 2.5 kg down and 88.666667 + 1.666667 sideways.
        ([], 69.0, 271 / 3),
        # A plain pick F beside it: 133 kg down.
        ([AGAIN], 202.0, 271 / 3),
        # Another leg like it, that pulls the same way, the other way, and across: what pulls sideways is not set off,
        # since one hang may be up without the other.
        ([AGAIN | {"pick": NEIGHBOURS["hang.pick"]}], 138.0, 542 / 3),
        ([LEFT_OF_IT], 138.0, 542 / 3),
        ([AHEAD_OF_IT], 138.0, 542 / 3),
        ([LEFT_OF_IT, AHEAD_OF_IT], 207.0, 271.0),
        # R in the neighbour's bridle, 69 kg: 34.5 + 2.5 down and 46 + 1.666667 sideways.
        ([neighbour("R", 1.0, 8.0, "AE")], 106.0, 271 / 3 + 143 / 3),
    ],
)
def test_sideways_pulls_of_several_hangs_add_up(rig_finding, beside, down, aside):
    kg = math.hypot(down, aside)
    for limit, status in ((kg - 0.01, EXCEEDS), (kg + 0.01, WITHIN)):
        found = rig_finding("point A", ROOF, NEIGHBOURS | {"site.point.0.limit_kg": limit}, beside)
        assert (found.value, found.status) == (pytest.approx(kg, rel=1e-9, abs=0), status)


def test_a_bridle_that_is_not_above_its_hole_has_no_tension_within(rig_finding):
    # 0.3 m beside the span, of 5 m: 3.4° out of plumb. Where the apex then hangs is not what the tensions are for.
    aside = bridled(*EVEN) | {"hang.position_m": [0.3, 0.0, 10.0]}
    assert rig_finding(PICK_1, "chain out of plumb", aside).status == EXCEEDS
    assert rig_finding(f"{PICK_1}, bridle to A", TENSION, aside).status == CANNOT
    assert rig_finding(f"{PICK_1}, bridle to A", TENSION, aside | {"policy.plumb_deg": 5.0}).status == WITHIN
