"""From the hook to the roof: limits that bind, a little below them and a little above, by hand.

100 kg on picks F, 82 kg, and R, 18 kg, at 10.1 m; a shackle of 1 kg and 0.1 m; points at 15.2 m, so 5 m from hook to
hook: at the hook 83 and 19 kg. A hoist of 30 kg and all its 20 m of chain at 1 kg/m, out or in the bag, make that
133 and 69 kg at the roof. Over its cart the straight column hangs as it does complete. All exact where no source is
named; forces in kg, the weight of that mass at 9.80665 m/s².
"""

from __future__ import annotations

from typing import Any

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
PICK_1, PICK_2 = "pick 1, frame hole F", "pick 2, frame hole R"
HOIST, ROOF = "hoist, load at the hook", "load on the point"
CART_EACH = {"hang.carts": {"groups": [1, 1]}}
SLING_BELOW = {"hang.pick.0.hardware": ["sling"], "sling.mass_kg": 1.0, "sling.length_m": 0.1}
# The centre of mass of two boxes at u = +0.1 and the frame: (−0.5·20 + 0.1·80)/100 = −0.02, so R carries 2 kg of 100.
AHEAD = {"box.centre_of_mass_m": [0.1, 0.0, -0.25], "policy.least_pick_share": 0.0}


def point(name: str, x: float, y: float, z: float) -> dict[str, Any]:
    return {"name": name, "position_m": [x, y, z], "limit_kg": 900.0}


def test_nothing_else_is_in_the_way(judged_rig):
    assert {found.status for found in judged_rig({}).findings} == {WITHIN}


@pytest.mark.parametrize(("dynamic", "column"), [(1.0, 0), (1.25, 1)])
@pytest.mark.parametrize(
    ("part", "what", "key", "limits", "share", "changes"),
    [
        # The policy lets half of what is marked be used: 83/0.5, and with a dynamic factor of 1.25 103.75/0.5.
        (PICK_1, HOIST, "hoist.capacity_kg", (166.0, 207.5), 0.5, {}),
        (PICK_2, HOIST, "hoist.capacity_kg", (38.0, 47.5), 0.5, {}),
        (PICK_1, "shackle shackle, in line", "shackle.limit_kg", (166.0, 207.5), 0.5, {}),
        (PICK_1, "sling sling, straight", "sling.limit_kg", (166.0, 207.5), 0.5, SLING_BELOW),
        (PICK_1, "shackle shackle, in line", "shackle.limit_kg", (83.0, 103.75), 1.0, {"policy.marked_share": 1.0}),
        # All of the chain is above the hook.
        (PICK_1, HOIST, "hoist.capacity_kg", (166.0, 207.5), 0.5, {"hoist.falls": 4}),
        # Points are rated by the building: nothing is taken off. 82 + 1 + 30 + 20 and 18 + 1 + 30 + 20 kg.
        ("point A", ROOF, "site.point.0.limit_kg", (133.0, 166.25), 1.0, {}),
        ("point B", ROOF, "site.point.1.limit_kg", (69.0, 86.25), 1.0, {}),
        # Nothing between hook and hole.
        ("point A", ROOF, "site.point.0.limit_kg", (132.0, 165.0), 1.0, {"hang.pick.0.hardware": []}),
        # All falls of the chain hang there: 40, 60 and 80 kg of it; 30 m at 1 kg/m, and 20 m at 2 kg/m on two falls.
        ("point A", ROOF, "site.point.0.limit_kg", (153.0, 191.25), 1.0, {"hoist.falls": 2}),
        ("point A", ROOF, "site.point.0.limit_kg", (173.0, 216.25), 1.0, {"hoist.falls": 3}),
        ("point B", ROOF, "site.point.1.limit_kg", (129.0, 161.25), 1.0, {"hoist.falls": 4}),
        ("point A", ROOF, "site.point.0.limit_kg", (143.0, 178.75), 1.0, {"hoist.chain_m": 30.0}),
        ("point A", ROOF, "site.point.0.limit_kg", (193.0, 241.25), 1.0,
         {"hoist.chain_kg_per_m": 2.0, "hoist.falls": 2}),
        # 4 m lower, 4 m more of it out and less in the bag.
        ("point A", ROOF, "site.point.0.limit_kg", (133.0, 166.25), 1.0, {"hang.position_m": [0.0, 0.0, 6.0]}),
    ],
)  # fmt: skip
def test_marked_limit_binds(rig_finding, dynamic, column, part, what, key, limits, share, changes):
    changes = changes | {"policy.dynamic_factor": dynamic}
    low, high = (rig_finding(part, what, changes | {key: limits[column] + more}) for more in (-0.01, 0.01))
    assert low.value == pytest.approx(limits[column] * share, rel=1e-9, abs=0)
    assert low.limit == pytest.approx((limits[column] - 0.01) * share, rel=1e-9, abs=0)
    assert (low.status, high.status) == (EXCEEDS, WITHIN)
    assert share == 1.0 or "× 0.5 (house)" in low.source


def test_point_that_may_carry_nothing_is_exceeded(judged_rig):
    found = judged_rig({"site.point.0.limit_kg": 0.0}).findings[0]
    assert (found.part, found.limit, found.status, found.used) == ("point A", 0.0, EXCEEDS, None)


@pytest.mark.parametrize(
    ("part", "what", "key", "fails", "holds", "changes"),
    [
        # From hole to point 5.1 m up; 5.1·tan 3° = 0.26728 m out, in either direction.
        (PICK_1, "chain out of plumb", "site.point.0.position_m", [0.268, 0.0, 15.2], [0.267, 0.0, 15.2], {}),
        (PICK_1, "chain out of plumb", "site.point.0.position_m", [0.19, 0.19, 15.2], [0.188, 0.188, 15.2], {}),
        # The hook is at 10.2 m; 0.5 m of headroom.
        (PICK_1, "headroom, hook to hook", "site.point.0.position_m", [0.0, 0.0, 10.69], [0.0, 0.0, 10.71], {}),
        (PICK_1, "headroom, hook to hook", "hang.position_m", [0.0, 0.0, 14.51], [0.0, 0.0, 14.49], {}),
        # Two boxes on a cart of 0.2 m: the hole at 1.3 m and the hook at 1.4; 13.8 m to the point.
        (PICK_1, "chain out, lowest hook", "hoist.chain_m", 13.79, 13.81, {}),
        # One box on its cart: the hole at 0.8 m and the hook at 0.9; 14.3 m to the point.
        (PICK_1, "chain out, lowest hook", "hoist.chain_m", 14.29, 14.31, CART_EACH),
        (PICK_1, "chain out, lowest hook", "hoist.chain_m", 13.29, 13.31, CART_EACH | {"hang.floor_below_m": 1.0}),
        (PICK_1, "chain out, lowest hook", "hoist.chain_m", 13.99, 14.01,
         {"hang.carts": {"groups": [1, 1], "deck_m": 0.5}}),
    ],
)  # fmt: skip
def test_reach_and_lean_bind(rig_finding, part, what, key, fails, holds, changes):
    assert rig_finding(part, what, changes | {key: fails}).status == EXCEEDS
    assert rig_finding(part, what, changes | {key: holds}).status == WITHIN


@pytest.mark.parametrize("carts", [{}, CART_EACH])
def test_chain_to_an_unknown_floor_cannot_be_judged(rig_finding, carts):
    assert rig_finding(PICK_1, "chain out, lowest hook", carts | {"hang.floor_below_m": None}).status == CANNOT


def test_hook_height_of_a_stage_is_that_of_the_hook(judged_rig):
    # The hook at 0.2 + 1.0 + 0.1 + 0.1 m.
    assert judged_rig({}).stages[0].hook_m == pytest.approx(1.4, rel=1e-9, abs=0)


@pytest.mark.parametrize(
    ("lean", "on_r", "stage"),
    [
        # With one box on 60 kg at (−0.5·20 + 0.1·40)/60 = −0.1, 6 kg on R; with both 2 kg.
        (0.0, 6.0, "row 1, over the cart"),
        # With both, the frame is leaned over the cart until R has its share of 100 kg.
        (0.1, 10.0, "rows 1–2, over the cart"),
        (0.25, 25.0, "rows 1–2, over the cart"),
    ],
)
def test_worst_stage_counts_at_the_roof_too(rig_finding, lean, on_r, stage):
    changes = AHEAD | CART_EACH | {"policy.lean_pick_share": lean}
    hook = rig_finding(PICK_2, HOIST, changes)
    assert (hook.value, hook.note) == (pytest.approx(on_r + 1.0, rel=1e-9, abs=0), stage)
    assert rig_finding("point B", ROOF, changes).value == pytest.approx(on_r + 51.0, rel=1e-9, abs=0)
    # F carries most of it when complete: 98 kg.
    assert rig_finding("point A", ROOF, changes).value == pytest.approx(98.0 + 51.0, rel=1e-9, abs=0)


def test_point_below_the_hook(judged_rig):
    # No chain goes downwards: there is no lean to tell.
    found = {f.what: f for f in judged_rig({"site.point.0.position_m": [0.0, 0.0, 5.0]}).findings if f.part == PICK_1}
    headroom = found["headroom, hook to hook"]
    assert (headroom.value, headroom.status) == (pytest.approx(-5.2, rel=1e-9, abs=0), EXCEEDS)
    assert "5.20 m too high" in headroom.note
    assert "chain out of plumb" not in found


# 6 m/min: HC2 1.10 + 0.34·0.1 = 1.134, HC4 1.20 + 0.68·0.1 = 1.268 (EN 13001-2, values from memory).
BY_CLASS = {
    "policy.dynamic_factor": None,
    "hoist.speed_m_per_min": 6.0,
    "hoist.hoisting_class": "HC2",
    "fast": {
        "format": "hoist/1",
        "name": "fast",
        "description": "for checks",
        "source": "typed",
        "mass_kg": 30.0,
        "capacity_kg": 2000.0,
        "chain_kg_per_m": 1.0,
        "falls": 1,
        "chain_m": 20.0,
        "headroom_m": 0.5,
        "hoisting_class": "HC4",
        "speed_m_per_min": 6.0,
    },
}


def test_each_hoist_has_its_factor_and_joints_the_greatest(rig_finding):
    changes = BY_CLASS | {"hang.pick.1.hoist": "fast"}
    assert rig_finding(PICK_1, HOIST, changes).value == pytest.approx(83.0 * 1.134, rel=1e-9, abs=0)
    assert rig_finding(PICK_2, HOIST, changes).value == pytest.approx(19.0 * 1.268, rel=1e-9, abs=0)
    assert rig_finding("point A", ROOF, changes).value == pytest.approx(133.0 * 1.134, rel=1e-9, abs=0)
    # 20 kg on two links.
    link = rig_finding("joint frame–1", "rear link in tension, one side", changes)
    assert link.value == pytest.approx(10.0 * 1.268, rel=1e-9, abs=0)


# --- points that several picks share ---

AGAIN: dict[str, Any] = {
    "format": "hang/1", "name": "again", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
    "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
    "pick": [PICK | {"hole": "F", "point": "A"}, PICK | {"hole": "R", "point": "B"}],
}  # fmt: skip
MORE = AGAIN | {"name": "more"}
MIRROR = {"format": "hang/1", "name": "right", "mirror_of": "hang0.toml"}
FOUR = {"site.point": [point(name, x, 0.0, 15.2) for name, x in zip("ABCD", (0.0, -1.0, 0.0, -1.0), strict=True)]}
SWAPPED = AGAIN | {"pick": [PICK | {"hole": "F", "point": "C"}, PICK | {"hole": "R", "point": "A"}]}


@pytest.mark.parametrize(
    ("beside", "at_a", "users"),
    [
        ([], 133.0, 1),
        ([AGAIN], 266.0, 2),
        ([AGAIN, MORE], 399.0, 3),
        ([MIRROR], 266.0, 2),
        ([MIRROR | {"points": {"A": "C", "B": "D"}}], 133.0, 1),
        ([MIRROR | {"points": {"B": "D"}}], 266.0, 2),
        # Another hang's R on this one's A: 133 and 69 kg.
        ([SWAPPED], 202.0, 2),
    ],
)
@pytest.mark.parametrize("dynamic", [1.0, 1.25])
def test_hangs_that_share_a_point_add_up(rig_finding, dynamic, beside, at_a, users):
    changes = FOUR | {"policy.dynamic_factor": dynamic}
    low, same, high = (
        rig_finding("point A", ROOF, changes | {"site.point.0.limit_kg": at_a * dynamic + more}, beside)
        for more in (-0.001, 0.0, 0.001)
    )
    assert low.value == pytest.approx(at_a * dynamic, rel=1e-9, abs=0)
    assert (low.status, same.status, high.status) == (EXCEEDS, WITHIN, WITHIN)
    assert low.note.count("pick ") == users


@pytest.mark.parametrize(
    ("limit", "one", "two", "three"),
    [
        (133.1, WITHIN, EXCEEDS, EXCEEDS),
        (265.9, WITHIN, EXCEEDS, EXCEEDS),
        (266.1, WITHIN, WITHIN, EXCEEDS),
        (399.1, WITHIN, WITHIN, WITHIN),
    ],
)
def test_each_hang_may_be_within_and_all_together_exceed(rig_finding, limit, one, two, three):
    limits, hangs = {"site.point.0.limit_kg": limit}, ([], [AGAIN], [AGAIN, MORE])
    found = [rig_finding("point A", ROOF, limits, beside) for beside in hangs]
    assert [each.status for each in found] == [one, two, three]


def test_two_picks_of_one_hang_share_a_point(rig_finding):
    # 133 + 69 kg.
    for limit, status in ((201.9, EXCEEDS), (202.1, WITHIN)):
        found = rig_finding("point A", ROOF, {"hang.pick.1.point": "A", "site.point.0.limit_kg": limit})
        assert (found.value, found.status) == (pytest.approx(202.0, rel=1e-9, abs=0), status)


def test_each_user_of_a_point_has_the_factor_of_its_own_hoist(rig_finding):
    picks = [PICK | {"hole": "F", "point": "C"}, PICK | {"hole": "R", "point": "A", "hoist": "fast"}]
    found = rig_finding("point A", ROOF, FOUR | BY_CLASS, [AGAIN | {"pick": picks}])
    assert found.value == pytest.approx(133.0 * 1.134 + 69.0 * 1.268, rel=1e-9, abs=0)


NO_HOIST = [{"hole": "F", "point": "A", "hardware": [], "top_hardware": []}]


@pytest.mark.parametrize(
    ("changes", "beside", "kg"),
    [
        # 133 + 18 + 1; 133 + 100, all of which hangs from F alone.
        ({"hang.pick.1": {"hole": "R", "point": "A", "hardware": ["shackle"], "top_hardware": []}}, [], 152.0),
        ({}, [AGAIN | {"pick": NO_HOIST}], 233.0),
    ],
)
def test_point_with_a_pick_of_unknown_load_cannot_be_judged(rig_finding, changes, beside, kg):
    # The kilograms that are known, those at its hook among them, are all that it needs to exceed.
    for limit, status in ((kg - 0.1, EXCEEDS), (kg + 0.1, CANNOT), (900.0, CANNOT)):
        found = rig_finding("point A", ROOF, changes | {"site.point.0.limit_kg": limit}, beside)
        assert (found.value, found.status) == (pytest.approx(kg, rel=1e-9, abs=0), status)
        assert status == EXCEEDS or "no hoist is named" in found.note


# --- pull-backs at their points ---

# A vertical pull-back at u = −0.4 from point B: 100·0.18/0.4 = 45 kg.
PULLED = {
    "hang.pick": [PICK | {"hole": "F", "point": "A"}],
    "hang.pullback": {"point": "B", "hoist": "hoist", "hardware": [], "top_hardware": []},
    "site.point.1.position_m": [-0.4, 0.0, 15.2],
}
# From the hole at (−0.4, 9.05) 4.6 m back and 2.95 up. About F, at 10.1 m, the rope's arm is (0.4·2.95 + 1.05·4.6)/L,
# 6.01/L with its length L, and the weight's 0.18 m: 18·L/6.01 kg, of which 18·2.95/6.01 = 8.835275 kg pull down on B,
# and 18·4.6/6.01 = 13.777038 kg sideways. With the hoist's 50 kg √(58.835275² + 13.777038²) = 60.426785 kg.
INCLINED = PULLED | {"site.point.1.position_m": [-5.0, 0.0, 12.0]}
PULLED_AGAIN = AGAIN | {"pick": PULLED["hang.pick"], "pullback": PULLED["hang.pullback"]}
# From the other side of the same point, 5 m from it too.
FACING = PULLED_AGAIN | {"position_m": [-10.0, 0.0, 10.0], "azimuth_deg": 180.0}


@pytest.mark.parametrize("dynamic", [1.0, 1.25])
@pytest.mark.parametrize(
    ("changes", "beside", "at_b"),
    [
        # With a hoist of 30 kg and 20 m of chain at 1 kg/m.
        (PULLED, [], 95.0),
        (PULLED | {"hoist.falls": 2}, [], 115.0),
        (PULLED, [PULLED_AGAIN], 190.0),
        # A pick R beside it.
        (PULLED, [AGAIN], 95.0 + 69.0),
        (INCLINED, [], 60.426785),
        (INCLINED, [PULLED_AGAIN], 120.853570),
        # What pulls sideways adds up, whichever way: one hang may be up without the other.
        (INCLINED, [FACING], 120.853570),
        # √((58.835275 + 69)² + 13.777038²).
        (INCLINED, [AGAIN], 128.575520),
    ],
)
def test_pull_back_loads_its_point(rig_finding, dynamic, changes, beside, at_b):
    changes = changes | {"policy.dynamic_factor": dynamic}
    low, high = (
        rig_finding("point B", ROOF, changes | {"site.point.1.limit_kg": at_b * dynamic + more}, beside)
        for more in (-0.001, 0.001)
    )
    assert low.value == pytest.approx(at_b * dynamic, rel=1e-7, abs=0)
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


def test_pull_back_goes_on_last(rig_finding):
    # Complete F carries 55 kg; over the cart all of 100.
    assert rig_finding("point A", ROOF, PULLED).value == pytest.approx(151.0, rel=1e-9, abs=0)


@pytest.mark.parametrize(("part", "what", "kg"), [("pull-back", HOIST, 46.0), ("point B", ROOF, 96.0)])
def test_hardware_of_a_pull_back_hangs_on_its_hoist(rig_finding, part, what, kg):
    changes = PULLED | {"hang.pullback": PICK | {"point": "B"}}
    assert rig_finding(part, what, changes).value == pytest.approx(kg, rel=1e-9, abs=0)


def test_point_on_the_floor_that_is_pulled_up_is_judged(rig_finding):
    # From M alone, at u = −0.2, the centre of mass at −0.02 is 0.18 m ahead; a rope from the floor, at −0.4 and 0.2 m
    # behind, holds 100·0.18/0.2 = 90 kg. The hoist and its chain, 50 kg, can take no more than that off the point.
    changes = AHEAD | PULLED | {"hang.pick": [PICK | {"hole": "M", "point": "A"}]}
    changes |= {"site.point.1.position_m": [-0.4, 0.0, 0.0], "site.point.1.limit_kg": 39.0}
    assert rig_finding("point B", ROOF, changes).status == EXCEEDS


def test_picks_in_front_and_behind_with_a_pull_back_are_not_within(judged_rig):
    picks = [PICK | {"hole": "F", "point": "A"}, PICK | {"hole": "M", "point": "A"}]
    found = judged_rig(PULLED | {"hang.pick": picks}).findings
    assert WITHIN not in {each.status for each in found if each.what in ("load on the hole", HOIST, ROOF)}
