"""Loads that are known in part: never within, exceeding only by what is known; and pulls that do not cancel.

The rig of the fixtures: 82 kg on F and 18 on R; 133 and 69 kg at the roof. All exact, by hand; forces in kg.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
PICK_1, PICK_2, PULL = "pick 1, frame hole F", "pick 2, frame hole R", "pull-back"
HOLE, HOIST, ROOF = "load on the hole", "hoist, load at the hook", "load on the point"
TENSION, PIN = "rear link in tension, one side", "front pivot pin, one side"
AT_F = {"hang.pick": [PICK | {"hole": "F", "point": "A"}]}
# A vertical pull-back at u = −0.4 from point B: 100·0.18/0.4 = 45 kg; F keeps 55, and carries 100 over the cart.
PULLED = AT_F | {
    "hang.pullback": {"point": "B", "hoist": "hoist", "hardware": [], "top_hardware": []},
    "site.point.1.position_m": [-0.4, 0.0, 15.2],
}
UNHELD = PULLED | {"box.pullback_m": None}
ASKEW = {"hang.pick.1": PICK | {"hole": "Q", "point": "B"}, "site.point.1.position_m": [-0.18, -0.3, 15.2]}
# Moments of two boxes at u = +0.1 and the frame: −0.5·20 + 0.1·80 = −2 kg m, so R carries 2 of 100 kg.
AHEAD = {"box.centre_of_mass_m": [0.1, 0.0, -0.25], "policy.least_pick_share": 0.0, "policy.lean_pick_share": 0.0}


# --- a balance that is not known ---


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        (UNHELD, "gives no pullback_m"),
        (PULLED | {"hang.pick": [*AT_F["hang.pick"], PICK | {"hole": "M", "point": "A"}]}, "in front and behind"),
        (ASKEW, "two picks askew"),
        (PULLED | {"box.centre_of_mass_m": [-0.1, 0.05, -0.25]}, "off the middle"),
        ({"hang.pick": None}, "names no picks"),
    ],
)  # fmt: skip
def test_nothing_that_hangs_on_it_is_within(judged_rig, changes, why):
    report = judged_rig(changes)
    # Whatever a joint does, its lock holds both ways.
    hung = ("pick ", "point ", "joint ", PULL)
    found = [f for f in report.findings if f.part.startswith(hung) and "lock" not in f.what]
    kinds = {f.what for f in found}
    assert kinds >= ({TENSION, PIN} if not report.lines else {TENSION, PIN, HOLE, HOIST, ROOF})
    assert {f.status for f in found} <= {CANNOT}
    assert all(why in f.note for f in found if f.what in (HOLE, HOIST, TENSION, PIN))
    assert math.isnan(report.joints.link[0])


@pytest.mark.parametrize(
    ("part", "what", "key", "limit"),
    [
        # Over the cart it hangs from F alone: 100 kg, 101 at the hook, 151 at the roof.
        (PICK_1, HOLE, "frame.hole.0.limit_kg", 99.9),
        (PICK_1, "shackle shackle, in line", "shackle.limit_kg", 201.9),
        (PICK_1, HOIST, "hoist.capacity_kg", 201.9),
        ("point A", ROOF, "site.point.0.limit_kg", 150.9),
        # There the pins carry 94.89966 kg, as derived where limits of joints are checked.
        ("joint frame–1", PIN, "frame.rated.pin_kg", 47.44),
    ],
)
def test_a_known_stage_that_exceeds_does(rig_finding, part, what, key, limit):
    assert rig_finding(part, what, UNHELD | {key: limit}).status == EXCEEDS
    assert rig_finding(part, what, UNHELD | {key: limit + 0.2}).status == CANNOT


def test_lock_of_a_joint_that_may_be_in_compression_cannot_be_judged(judged_rig):
    lock = "lock that holds both ways"
    found = [f for f in judged_rig(ASKEW | {"box.rated.locks_both_ways": None}).findings if f.what == lock]
    assert {f.status for f in found} == {CANNOT}
    assert [f for f in judged_rig(ASKEW).findings if f.what == lock] == []


def test_lock_of_a_joint_off_the_middle_of_unknown_width_cannot_be_judged(judged_rig):
    # How much more is on one side than on the other is not known, nor whether the lighter one is pressed.
    aside = {"box.centre_of_mass_m": [-0.1, 0.01, -0.25], "box.side_spacing_m": None}
    unlocked = judged_rig(aside | {"box.rated.locks_both_ways": None}).findings
    assert {f.status for f in unlocked if "lock" in f.what} == {CANNOT}
    assert "lock that holds both ways" not in {f.what for f in judged_rig(aside).findings}


def test_what_holds_for_some_tilts_needs_one(rig_finding):
    entries = [{"mass_kg": 900.0}, {"mass_kg": 500.0, "tilt_deg": [-20.0, 20.0]}]
    changes = ASKEW | {"frame.rated.below": entries}
    assert rig_finding("below bar", "mass below", changes).status == CANNOT
    assert rig_finding("below bar", "mass below", changes | {"frame.rated.below.0.mass_kg": 79.9}).status == EXCEEDS


def test_column_that_would_turn_over_has_no_tilt(judged_rig):
    # The centre of mass of a frame of 1000 kg is 0.1 m above its front pivot, and the hole 0.02 m above that.
    changes = AT_F | {"frame.mass_kg": 1000.0, "frame.centre_of_mass_m": [-0.5, 0.0, 0.1]}
    report = judged_rig(changes | {"frame.hole.0.position_m": [0.0, 0.0, 0.0]})
    found = {(f.part, f.what): f.status for f in report.findings}
    assert found["balance", "picks in balance"] == EXCEEDS
    assert found["frame", "tilt off the file's"] == CANNOT
    assert found["clearance", "lowest edge above the floor below"] == CANNOT
    assert WITHIN not in {f.status for f in report.findings if f.part.startswith(("pick ", "point ", "joint "))}


def test_pick_side_by_side_that_would_push_beside_a_pull_back(judged_rig):
    # Boxes 0.45 m to the left: 36 kg m, more than the 30 at which all hangs from L, 0.3 m to that side.
    picks = [PICK | {"hole": "L", "point": "A"}, PICK | {"hole": "Q", "point": "A"}]
    last = judged_rig(PULLED | {"hang.pick": picks, "box.centre_of_mass_m": [-0.2, 0.45, -0.25]}).stages[-1]
    assert "pick 2 would have to push" in last.balance.problem


# --- loads that are known at rest ---


def test_load_at_rest_is_shown_and_exceeds(rig_finding):
    # 133 kg, with no class and speed of its hoist to tell the dynamic factor.
    changes = {"policy.dynamic_factor": None}
    for limit, status in ((132.9, EXCEEDS), (133.1, CANNOT)):
        found = rig_finding("point A", ROOF, changes | {"site.point.0.limit_kg": limit})
        assert (found.value, found.status) == (pytest.approx(133.0, rel=1e-9, abs=0), status)
    assert "no dynamic factor" in found.note


def test_pull_back_at_rest_is_shown_and_exceeds(rig_finding):
    # 45 kg, and 50 of hoist and chain.
    for limit, status in ((94.9, EXCEEDS), (95.1, CANNOT)):
        changes = PULLED | {"policy.dynamic_factor": None, "site.point.1.limit_kg": limit}
        found = rig_finding("point B", ROOF, changes)
        assert (found.value, found.status) == (pytest.approx(95.0, rel=1e-9, abs=0), status)


def test_pick_that_carries_nothing_still_hangs_on_its_point(rig_finding, judged_rig):
    # −0.5·20 + 0.125·80 = 0: all of it hangs from F; a shackle, a hoist and its chain from B.
    changes = AHEAD | {"box.centre_of_mass_m": [0.125, 0.0, -0.25]}
    found = rig_finding("point B", ROOF, changes | {"site.point.1.limit_kg": 50.9})
    assert (found.value, found.status) == (pytest.approx(51.0, rel=1e-9, abs=0), EXCEEDS)
    assert judged_rig(changes).lines[1].roof_kg == pytest.approx(51.0, rel=1e-9, abs=0)
    assert rig_finding("balance", "least share of the weight on a pick", changes).status == WITHIN


def test_pick_that_carries_nothing_but_rounding_does_not_push(rig_finding, judged_rig):
    # All centres of mass plumb below F, at u = −0.28: R carries nothing; in sums of such numbers −1e-13 N.
    changes = {"frame.centre_of_mass_m": [-0.28, 0.0, 0.05], "box.centre_of_mass_m": [-0.28, 0.0, -0.25],
               "frame.hole.3.position_m": [-0.28, 0.0, 0.1],
               "hang.pick.0.hole": "M", "policy.least_pick_share": 0.0, "policy.lean_pick_share": 0.0}  # fmt: skip
    report = judged_rig(changes)
    assert [stage.balance.problem for stage in report.stages] == ["", ""]
    assert report.lines[1].hole_kg == 0.0
    assert rig_finding("point B", ROOF, changes).value == pytest.approx(51.0, rel=1e-9, abs=0)


def test_pick_without_a_point_still_tells_its_load(rig_finding):
    found = rig_finding(f"main, {PICK_1}", "load at the roof", {"hang.pick.0.point": None})
    assert (found.value, found.status) == (pytest.approx(133.0, rel=1e-9, abs=0), CANNOT)
    assert "names no point" in found.note


# --- pulls that do not cancel ---

# From M alone, 0.2 m behind F, a rope from the floor at u = −0.4 holds 100·0.18/0.2 = 90 kg, upwards on its point.
FLOOR = AHEAD | {
    "hang.pick": [PICK | {"hole": "M", "point": "A"}],
    "hang.pullback": {"point": "B", "hoist": "hoist", "hardware": [], "top_hardware": []},
    "site.point.1.position_m": [-0.4, 0.0, 0.0],
}


def other(hole: str, point: str, **more: Any) -> dict[str, Any]:
    """Another hang, in the same place."""
    return {"format": "hang/1", "name": "again", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
            "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
            "pick": [PICK | {"hole": hole, "point": point}], **more}  # fmt: skip


@pytest.mark.parametrize(
    ("beside", "value"),
    [
        # The 50 kg of the hoist and its chain may rest on the floor.
        ([], 90.0),
        ([other("M", "A", pullback=FLOOR["hang.pullback"])], 180.0),
        # 151 kg of another hang pull down, with the first one's own 50 kg.
        ([other("M", "B")], 201.0),
    ],
)
def test_upward_and_downward_pulls_do_not_cancel(rig_finding, beside, value):
    for limit, status in ((value - 0.1, EXCEEDS), (value + 0.1, CANNOT)):
        found = rig_finding("point B", ROOF, FLOOR | {"site.point.1.limit_kg": limit}, beside)
        assert (found.value, found.status) == (pytest.approx(value, rel=1e-9, abs=0), status)
    assert "pulled up with" in found.note


# From the hole at (−0.4, 9.05) 4.6 m back and 2.95 up: 18/6.01 of 4.6 and 2.95 kg, 13.777038 sideways and 8.835275 up.
INCLINED = PULLED | {"site.point.1.position_m": [-5.0, 0.0, 12.0], "policy.plumb_deg": 30.0}


@pytest.mark.parametrize("azimuth", [0.0, 90.0])
def test_leaning_chain_pulls_its_point_sideways(rig_finding, azimuth):
    # Over the cart all of 100 kg hangs plumb, 151 at A; complete F's chain holds the rope's 13.777038 kg.
    turned = {"site.point.1.position_m": [0.0, -5.0, 12.0], "hang.azimuth_deg": 90.0} if azimuth else {}
    kg = math.hypot(151.0, 13.777038)
    for limit, status in ((kg - 0.001, EXCEEDS), (kg + 0.001, WITHIN)):
        found = rig_finding("point A", ROOF, INCLINED | turned | {"site.point.0.limit_kg": limit})
        assert (found.value, found.status) == (pytest.approx(kg, rel=1e-7, abs=0), status)


def test_leaning_chain_pulls_towards_the_rope(judged_rig):
    # The rope pulls the column back, the chain pulls its point back too.
    forces = {load.point: load.force_n / 9.80665 for load in judged_rig(INCLINED).loads}
    assert forces["A"] == pytest.approx([-13.777038, 0.0, -151.0], rel=1e-7, abs=1e-9)
    assert forces["B"] == pytest.approx([13.777038, 0.0, -58.835275], rel=1e-7, abs=1e-9)
    turned = {"hang.azimuth_deg": 90.0, "site.point.1.position_m": [0.0, -5.0, 12.0]}
    forces = {load.point: load.force_n / 9.80665 for load in judged_rig(INCLINED | turned).loads}
    assert forces["A"] == pytest.approx([0.0, -13.777038, -151.0], rel=1e-7, abs=1e-9)
    assert forces["B"] == pytest.approx([0.0, 13.777038, -58.835275], rel=1e-7, abs=1e-9)


def test_bridle_below_a_leaning_chain_cannot_be_judged(rig_finding):
    leg = {"rope": "rope", "hardware": []}
    pick = PICK | {"hole": "F", "apex_m": 15.2, "leg": [{"point": p} | leg for p in "CD"]}
    points = [{"name": n, "position_m": at, "limit_kg": 900.0}
              for n, at in {"B": [-5.0, 0.0, 12.0], "C": [0.0, 4.0, 18.2], "D": [0.0, -4.0, 18.2]}.items()]  # fmt: skip
    changes = INCLINED | {"hang.pick": [pick]}
    del changes["site.point.1.position_m"]
    found = rig_finding(f"{PICK_1}, bridle", "tension of its legs", changes | {"site.point": points})
    assert (found.status, "the chain leans" in found.note) == (CANNOT, True)
    assert rig_finding("point C", ROOF, changes | {"site.point": points}).status == CANNOT


# --- a pull-back's own parts ---


@pytest.mark.parametrize(
    ("part", "what", "key", "limit"),
    [
        # 45 kg and a shackle of 1 kg below the hook; half of what is marked may be used.
        (PULL, HOIST, "hoist.capacity_kg", 92.0),
        (PULL, "shackle shackle, in line", "shackle.limit_kg", 92.0),
        # With a hoist of 30 kg, 20 kg of chain and a sling of 2 kg.
        (f"{PULL}, at the point", "sling sling, straight", "sling.limit_kg", 196.0),
        ("point B", ROOF, "site.point.1.limit_kg", 98.0),
    ],
)
def test_what_a_pull_back_hangs_from_counts(rig_finding, part, what, key, limit):
    changes = PULLED | {"hang.pullback.hardware": ["shackle"], "hang.pullback.top_hardware": ["sling"]}
    low, high = (rig_finding(part, what, changes | {key: limit + more}) for more in (-0.01, 0.01))
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


@pytest.mark.parametrize(
    ("missing", "part", "what"),
    [
        ("hardware", PULL, "hardware"),
        ("hardware", PULL, HOIST),
        ("hardware", "point B", ROOF),
        ("top_hardware", PULL, "hardware between hoist and point"),
        ("top_hardware", "point B", ROOF),
    ],
)
def test_what_a_pull_back_does_not_name_cannot_be_judged(rig_finding, missing, part, what):
    assert rig_finding(part, what, PULLED | {f"hang.pullback.{missing}": None}).status == CANNOT


@pytest.mark.parametrize("changes", [PULLED, UNHELD])
def test_gust_on_a_column_with_a_pull_back_cannot_be_judged(judged_rig, changes):
    found = [
        f for f in judged_rig(changes | {"site.open_air": True, "site.gust_m_s": 1.0}).findings if f.part == "wind"
    ]
    assert [f.what for f in found] == ["swing, wind from the front or rear", "swing, wind from the side"]
    assert {f.status for f in found} == {CANNOT}
    assert "gust 1 m/s" in found[0].note
