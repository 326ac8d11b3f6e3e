"""Limits of frame, joints, tilt and carts that bind: a little below them and a little above, by hand.

A frame of 20 kg and two boxes of 40 kg, the numbers of which make the sums easy. At a tilt of 0, in m from the front
pivot, the centre of mass of all 100 kg lies at u = (−0.5·20 − 0.1·80)/100 = −0.18 and
v = (0.05·20 − 0.25·40 − 0.75·40)/100 = −0.39; picks F at u = 0 and R at u = −1 are at v = 0.1. All exact; forces in kg,
the weight of that mass at 9.80665 m/s².
"""

from __future__ import annotations

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN


def test_nothing_else_is_in_the_way(judged_rig):
    assert {found.status for found in judged_rig({}).findings} == {WITHIN}


PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
ALONE = {"hang.pick": [PICK | {"hole": "M", "point": "A"}]}
# Boxes whose centre of mass is ahead of their pivots: every rear link pushes.
PUSHING = {"box.centre_of_mass_m": [0.1, 0.0, -0.25]}
BESIDE = {"hang.pick.0.hole": "L", "hang.pick.1.hole": "Q"}
OFF_MIDDLE = {"box.centre_of_mass_m": [-0.1, 0.09, -0.25]}
PULLED = {"hang.pick": [PICK | {"hole": "F", "point": "A"}], "hang.pullback": {"to_m": [-0.4, 0.0, 15.0]}}
NO_SHARE = {"policy.least_pick_share": 0.0}
# The picks side by side above a centre of mass at (−0.5·20 + 0.1·80)/100.
OVER_CENTRE = {"frame.hole.1.position_m": [-0.02, 0.3, 0.1], "frame.hole.2.position_m": [-0.02, -0.3, 0.1]}
CART_EACH = {"hang.carts": {"groups": [1, 1]}}
FRAME, ROWS = "joint frame–1", "joint rows 1–2"
TENSION, COMPRESSION = "rear link in tension, one side", "rear link in compression, one side"
PIN, HOLE = "front pivot pin, one side", "load on the hole"


@pytest.mark.parametrize(("dynamic", "column"), [(1.0, 0), (1.25, 1)])
@pytest.mark.parametrize(
    ("part", "what", "limit", "kg", "changes"),
    [
        # 100 kg, 0.82 and 0.18 of the way between the picks.
        ("pick 1, frame hole F", HOLE, "frame.hole.0.limit_kg", (82.0, 102.5), {}),
        ("pick 2, frame hole R", HOLE, "frame.hole.4.limit_kg", (18.0, 22.5), {}),
        ("pick 1, frame hole M", HOLE, "frame.hole.3.limit_kg", (100.0, 125.0), ALONE),
        # Loom of 2 kg/m over 1 m at the rear, u = −0.5: 102 kg at −(18 + 1)/102, so F carries 102 − 19.
        ("pick 1, frame hole F", HOLE, "frame.hole.0.limit_kg", (83.0, 103.75), {"hang.loom": {"kg_per_m": 2.0}}),
        # Side by side, off the middle: 0.09·80/100 = 0.072 m of 0.6 m.
        ("pick 1, frame hole L", HOLE, "frame.hole.1.limit_kg", (62.0, 77.5), BESIDE | OFF_MIDDLE),
        ("pick 2, frame hole Q", HOLE, "frame.hole.2.limit_kg", (38.0, 47.5), BESIDE | OFF_MIDDLE),
        # A pull-back goes on last: over the cart F carries all; complete 55 kg, the pull being 100·0.18/0.4 = 45 kg.
        ("pick 1, frame hole F", HOLE, "frame.hole.0.limit_kg", (100.0, 125.0), PULLED),
        # With one box on: 60 kg, moments −0.5·20 + 0.1·40 = −6 kg m, so R carries 6; with both, 2.
        ("pick 2, frame hole R", HOLE, "frame.hole.4.limit_kg", (6.0, 7.5),
         PUSHING | CART_EACH | NO_SHARE | {"policy.lean_pick_share": 0.0}),
        # The same leaned over its cart, where R has to carry its share of 100 kg.
        ("pick 2, frame hole R", HOLE, "frame.hole.4.limit_kg", (10.0, 12.5), PUSHING | NO_SHARE),
        ("pick 2, frame hole R", HOLE, "frame.hole.4.limit_kg", (25.0, 31.25),
         PUSHING | NO_SHARE | {"policy.lean_pick_share": 0.25}),
        # 80 kg at u = −0.1 below, the link at −0.4: 20 kg on two links and 60 kg on two pins.
        (FRAME, TENSION, "frame.rated.link_kg", (10.0, 12.5), {}),
        (FRAME, TENSION, "box.rated.link_kg", (10.0, 12.5), {}),
        (FRAME, PIN, "frame.rated.pin_kg", (30.0, 37.5), {}),
        (FRAME, PIN, "box.rated.pin_kg", (30.0, 37.5), {}),
        (ROWS, TENSION, "box.rated.link_kg", (5.0, 6.25), {}),
        (ROWS, PIN, "box.rated.pin_kg", (15.0, 18.75), {}),
        # 80 kg at u = +0.1: the links push with 20 kg, and the pins carry 100.
        (FRAME, COMPRESSION, "frame.rated.link_push_kg", (10.0, 12.5), PUSHING),
        (ROWS, COMPRESSION, "box.rated.link_push_kg", (5.0, 6.25), PUSHING),
        (FRAME, PIN, "frame.rated.pin_kg", (50.0, 62.5), PUSHING),
        # 80 kg at 0.09 m off the middle of joints 0.9 m apart: a moment that the two links, or the two pins, may have
        # to hold alone, with 8 kg on either side.
        (FRAME, TENSION, "frame.rated.link_kg", (18.0, 22.5), BESIDE | OFF_MIDDLE),
        (FRAME, PIN, "frame.rated.pin_kg", (38.0, 47.5), BESIDE | OFF_MIDDLE),
        (ROWS, PIN, "box.rated.pin_kg", (19.0, 23.75), BESIDE | OFF_MIDDLE),
        # From picks in line it rolls: the plumb line runs along (0.072, −0.49); the boxes' (0.09, −0.5) lies
        # |0.09·0.49 − 0.5·0.072| / 0.4952615 = 0.0163550 m beside it. 10 kg + 80·0.0163550/0.9.
        (FRAME, TENSION, "frame.rated.link_kg", (11.453777, 14.317222), OFF_MIDDLE),
        # Boxes of which the links push with 10 kg a side: 18 with the moment.
        (FRAME, COMPRESSION, "frame.rated.link_push_kg", (18.0, 22.5),
         BESIDE | {"box.centre_of_mass_m": [0.1, 0.09, -0.25]} | OVER_CENTRE),
        # Pulled up with 45 kg at u = −0.4: moments 0.1·80 − 0.4·45 = −10 kg m, the links push with 25 kg.
        (FRAME, COMPRESSION, "frame.rated.link_push_kg", (12.5, 15.625), PULLED),
        # Complete, the pins carry 60 kg; more before it is on: from F alone the centre of mass at (−0.18, −0.49) comes
        # plumb below, which turns the boxes' (−0.1, −0.5) ahead of their pivots. The links push with
        # 80·(0.5·0.18 − 0.1·0.49)/(0.4·0.522015) = 8.2/0.522015 kg, and the pins carry
        # √((80·0.49 + 8.2)² + (80·0.18)²)/0.522015 = 94.89966 kg.
        (FRAME, PIN, "frame.rated.pin_kg", (47.449829, 59.312286), PULLED),
    ],
)  # fmt: skip
def test_working_load_binds(rig_finding, dynamic, column, part, what, limit, kg, changes):
    force = kg[column]
    changes = changes | {"policy.dynamic_factor": dynamic}
    below, above = (rig_finding(part, what, changes | {limit: force * share}) for share in (0.999, 1.001))
    assert below.value == pytest.approx(force, rel=1e-6, abs=0)
    assert (below.limit, below.unit, below.source) == (force * 0.999, "kg", "typed")
    assert below.status == EXCEEDS
    assert above.status == WITHIN


def test_lower_of_two_ratings_counts(rig_finding):
    changes = {"frame.rated.link_kg": 9.0, "box.rated.link_kg": 11.0}
    assert rig_finding(FRAME, TENSION, changes).limit == 9.0
    assert rig_finding(FRAME, TENSION, {"frame.rated.link_kg": 11.0, "box.rated.link_kg": 9.0}).limit == 9.0


def test_tension_is_judged_by_its_own_rating(rig_finding, judged_rig):
    assert (
        rig_finding(FRAME, TENSION, {"frame.rated.link_push_kg": 1.0, "box.rated.link_push_kg": 1.0}).status == WITHIN
    )
    assert rig_finding(FRAME, COMPRESSION, PUSHING | {"frame.rated.link_kg": 1.0}).status == WITHIN
    assert TENSION not in {found.what for found in judged_rig(PUSHING).findings}


@pytest.mark.parametrize(("locks", "status"), [(True, WITHIN), (False, EXCEEDS)])
def test_joint_in_compression_needs_a_lock(rig_finding, judged_rig, locks, status):
    lock = {"frame.rated.locks_both_ways": locks}
    found = rig_finding(FRAME, "lock that holds both ways", PUSHING | lock)
    assert found.status == status
    assert "compression" in found.note or "no such lock" in found.note
    assert "lock that holds both ways" not in {found.what for found in judged_rig(lock).findings}


@pytest.mark.parametrize("dynamic", [1.0, 1.25])
@pytest.mark.parametrize(
    ("part", "what", "limit", "value", "changes"),
    [
        ("below bar", "mass below", "frame.rated.below.0.mass_kg", 80.0, {}),
        ("below box, row 1", "mass below", "box.rated.below.0.mass_kg", 40.0, {}),
        # Loom of 2 kg/m: 1 kg at each box.
        ("below bar", "mass below", "frame.rated.below.0.mass_kg", 82.0, {"hang.loom": {"kg_per_m": 2.0}}),
        ("below box, row 1", "mass below", "box.rated.below.0.mass_kg", 41.0, {"hang.loom": {"kg_per_m": 2.0}}),
    ],
)
def test_permitted_mass_binds_and_is_one_at_rest(rig_finding, dynamic, part, what, limit, value, changes):
    changes = changes | {"policy.dynamic_factor": dynamic}
    below, above = (rig_finding(part, what, changes | {limit: value + more}) for more in (-0.1, 0.1))
    assert below.value == pytest.approx(value, rel=1e-12, abs=0)
    assert (below.status, above.status) == (EXCEEDS, WITHIN)


@pytest.mark.parametrize(("rows", "status"), [(2, WITHIN), (3, EXCEEDS)])
def test_permitted_number_binds(rig_finding, rows, status):
    column = [{"enclosure": "box", "splay_deg": 0.0}] * rows
    entries = [{"number": 9}, {"number": 2}]  # where both speak the lower one counts
    found = rig_finding("below bar", "enclosures below", {"hang.column": column, "frame.rated.below": entries})
    assert (found.value, found.status) == (rows, status)
    found = rig_finding("below box, row 1", "enclosures below", {"hang.column": column, "box.rated.below.0.number": 1})
    assert (found.value, found.status) == (rows - 1, status)


BY_TILT = [{"mass_kg": 90.0, "tilt_deg": [-3.0, 5.0]}, {"mass_kg": 70.0, "tilt_deg": [5.0, 8.0]}]
BY_SPLAY = [{"mass_kg": 90.0, "splay_deg": [0.0, 1.0]}, {"mass_kg": 70.0, "splay_deg": [2.0, 2.0]}]


@pytest.mark.parametrize(
    ("entries", "tilt", "splay", "limit", "status"),
    [
        (BY_TILT, 0.0, 0.0, 90.0, WITHIN),
        (BY_TILT, -3.0, 0.0, 90.0, WITHIN),
        (BY_TILT, -3.1, 0.0, None, CANNOT),
        (BY_TILT, 4.9, 0.0, 90.0, WITHIN),
        (BY_TILT, 5.0, 0.0, 70.0, EXCEEDS),  # where two speak the lower one counts
        (BY_TILT, 8.0, 0.0, 70.0, EXCEEDS),
        (BY_TILT, 8.1, 0.0, None, CANNOT),
        (BY_SPLAY, 0.0, 1.0, 90.0, WITHIN),
        (BY_SPLAY, 0.0, 2.0, 70.0, EXCEEDS),
        (BY_SPLAY, 0.0, 5.0, None, CANNOT),
    ],
)
def test_permitted_mass_by_tilt_and_splay(rig_finding, entries, tilt, splay, limit, status):
    changes = {"frame.rated.below": entries, "hang.tilt_deg": tilt, "hang.column.0.splay_deg": splay}
    found = rig_finding("below bar", "mass below", changes)
    assert (found.value, found.limit, found.status) == (80.0, limit, status)
    assert limit is not None or f"tilt of {tilt:.1f}° with a splay of {splay:g}°" in found.note


@pytest.mark.parametrize(
    ("tilt_deg", "limit"), [([-2.34, -2.33], 70.0), ([-2.33, 0.0], None), ([-5.0, -2.34], None), ([4.0, 6.0], None)]
)
def test_permitted_mass_is_that_of_the_tilt_it_hangs_at(rig_finding, tilt_deg, limit):
    # −2.3373° from M alone, whatever the file wishes.
    changes = ALONE | {"hang.tilt_deg": 5.0, "frame.rated.below": [{"mass_kg": 70.0, "tilt_deg": tilt_deg}]}
    found = rig_finding("below bar", "mass below", changes)
    assert (found.limit, found.status) == (limit, EXCEEDS if limit else CANNOT)


@pytest.mark.parametrize(
    ("what", "key", "fails", "holds", "changes"),
    [
        # tan θ = (−0.18 + 0.2)/(−0.39 − 0.1): the frame hangs at −2.3373° from M alone.
        ("tilt off the file's", "hang.tilt_deg", -2.84, -2.83, ALONE),
        ("tilt off the file's", "hang.tilt_deg", -1.83, -1.84, ALONE),
        ("tilt off the file's", "policy.tilt_tolerance_deg", 2.33, 2.34, ALONE),
        # A tenth on F: from u = −0.9, tan θ = 0.72/−0.49, −55.764°; a tenth on R: 0.08/0.49, 9.2726°.
        ("tilt beyond its picks' reach", "hang.tilt_deg", 9.28, 9.27, {}),
        ("tilt beyond its picks' reach", "hang.tilt_deg", -55.77, -55.76, {}),
    ],
)
def test_tilt_binds(rig_finding, what, key, fails, holds, changes):
    assert rig_finding("frame", what, changes | {key: fails}).status == EXCEEDS
    assert rig_finding("frame", what, changes | {key: holds}).status == WITHIN


@pytest.mark.parametrize(("policy", "status"), [(0.179, WITHIN), (0.181, EXCEEDS)])
def test_least_share_of_a_pick_binds(rig_finding, policy, status):
    found = rig_finding("balance", "least share of the weight on a pick", {"policy.least_pick_share": policy})
    assert found.value == pytest.approx(0.18, rel=1e-9, abs=0)
    assert found.status == status


def test_least_share_of_a_pick_side_by_side_binds(rig_finding):
    # 0.34·80/100 = 0.272 m of 0.6 m off the middle: 95.3333 and 4.6667 kg.
    changes = BESIDE | {"box.centre_of_mass_m": [-0.1, 0.34, -0.25]}
    for share, status in ((0.0466, WITHIN), (0.0467, EXCEEDS)):
        found = rig_finding(
            "balance", "least share of the weight on a pick", changes | {"policy.least_pick_share": share}
        )
        assert (found.value, found.status) == (pytest.approx(0.14 / 3, rel=1e-9, abs=0), status)


def test_pick_that_would_have_to_push(judged_rig):
    # F and M are both ahead of a centre of mass at −(10 + 32)/100 = −0.42 m: at a tilt of 0, which they cannot reach.
    changes = {"hang.pick.1.hole": "M", "box.centre_of_mass_m": [-0.4, 0.0, -0.25]}
    first = {found.part: found for found in judged_rig(changes).findings[:2]}
    assert {part: found.status for part, found in first.items()} == {"balance": EXCEEDS, "frame": EXCEEDS}
    assert "pick 1 would have to push" in first["balance"].note
    assert first["frame"].what == "tilt beyond its picks' reach"


@pytest.mark.parametrize(("limit", "engages"), [(7.59, "close by hand"), (7.60, "by itself")])
def test_cart_limit_binds(judged_rig, limit, engages):
    # One box on, from M alone: 60 kg at (−14/60, −9/60), tan θ = (−0.23333 + 0.2)/(−0.15 − 0.1), 7.5946°.
    stages = judged_rig(ALONE | CART_EACH | {"box.cart_limit_deg": limit}).stages
    assert [stage.engages for stage in stages] == [engages, "", ""]
    assert [stage.name for stage in stages] == ["row 1, over the cart", "rows 1–2, over the cart", "rows 1–2, complete"]


def test_two_picks_bring_the_lowest_row_level_for_the_next_cart(judged_rig):
    changes = CART_EACH | {"hang.column.0.splay_deg": 2.0, "hang.tilt_deg": 3.0, "box.cart_limit_deg": 0.0}
    first = judged_rig(changes).stages[0]
    assert first.balance.tilt == pytest.approx(0.0349065850, rel=1e-8, abs=0)  # exact: 2°
    assert first.engages == "by itself"


@pytest.mark.parametrize(("floor", "status"), [(6.49, WITHIN), (6.51, EXCEEDS)])
def test_head_clearance_binds(rig_finding, floor, status):
    # Trim 10 m less two boxes of 0.5 m: 9 m.
    found = rig_finding("clearance", "lowest edge above the floor below", {"hang.floor_below_m": floor})
    assert (found.value, found.status) == (pytest.approx(9.0 - floor, rel=1e-9, abs=0), status)


def test_nothing_is_within_where_no_balance_exists(judged_rig):
    changes = ALONE | {"frame.mass_kg": 1000.0, "frame.centre_of_mass_m": [-0.5, 0.0, 0.1]}
    changes["frame.hole.3.position_m"] = [-0.2, 0.0, 0.0]
    report = judged_rig(changes)
    assert "turn over" in report.findings[0].note
    assert not [found for found in report.findings if found.part.startswith("pick 1") and found.value == 0.0]
