"""What is between hoist and point, at a bridle's apex and at its legs' ends, and the mount of a pick arm.

The rig of the fixtures: 133 kg at the roof above F, 69 above R. All exact, by hand; the policy lets half of what is
marked on a shackle or sling be used; forces in kg.
"""

from __future__ import annotations

from typing import Any

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
PICK_1, PICK_2, ROOF, HOIST = (
    "pick 1, frame hole F",
    "pick 2, frame hole R",
    "load on the point",
    "hoist, load at the hook",
)
TENSION, HEADROOM = "tension, largest leg", "headroom, hook to hook"
ABOVE = {"hang.pick.0.top_hardware": ["shackle", "sling"]}


def point(name: str, x: float, y: float, z: float) -> dict[str, Any]:
    return {"name": name, "position_m": [x, y, z], "limit_kg": 900.0}


def bridled(use: str = "sling", hardware: Any = (), top: Any = ()) -> dict[str, Any]:
    """Pick F below an apex at 15.2 m; anchors 4 m to either side and 3 m up: legs of 5 m."""
    leg = {use: "strop" if use == "sling" else use, "hardware": list(hardware)}
    keys = {"hole": "F", "apex_m": 15.2, "top_hardware": list(top), "leg": [{"point": p} | leg for p in "CD"]}
    points = [point("B", -1.0, 0.0, 15.2), point("C", 0.0, 4.0, 18.2), point("D", 0.0, -4.0, 18.2)]
    return {"hang.pick.0": PICK | keys, "site.point": points}


@pytest.mark.parametrize("changes", [{}, ABOVE, bridled(), bridled("rope", ["shackle"], ["shackle"])])
def test_nothing_else_is_in_the_way(judged_rig, changes):
    assert {found.status for found in judged_rig(changes).findings} == {WITHIN}


@pytest.mark.parametrize(("dynamic", "column"), [(1.0, 0), (1.25, 1)])
@pytest.mark.parametrize(
    ("part", "what", "key", "limits", "share", "changes"),
    [
        # Shackle and sling of 1 and 2 kg hang in the point with all that is below: 133 + 3.
        ("point A", ROOF, "site.point.0.limit_kg", (136.0, 170.0), 1.0, ABOVE),
        (f"{PICK_1}, at the point", "shackle shackle, in line", "shackle.limit_kg", (272.0, 340.0), 0.5, ABOVE),
        (f"{PICK_1}, at the point", "sling sling, straight", "sling.limit_kg", (272.0, 340.0), 0.5, ABOVE),
        # What is below the hook does not carry what is above it.
        (PICK_1, "shackle shackle, in line", "shackle.limit_kg", (166.0, 207.5), 0.5, ABOVE),
        (PICK_1, HOIST, "hoist.capacity_kg", (166.0, 207.5), 0.5, ABOVE),
        # At the apex 133 + 1 kg.
        (f"{PICK_1}, at the apex", "shackle shackle, in line", "shackle.limit_kg", (268.0, 335.0), 0.5,
         bridled(top=["shackle"])),
        # Each leg down 67 kg and 1 of its own, sideways 4/3 of 67 and of half its own: √(68² + 90²) = 112.800709.
        (f"{PICK_1}, bridle to C", TENSION, "strop.limit_kg", (225.601418, 282.001773), 0.5, bridled(top=["shackle"])),
        # A shackle of 1 kg at each leg: 66.5 + 2 down and 4/3·(66.5 + 1) sideways, √(68.5² + 90²) = 113.102829.
        (f"{PICK_1}, bridle to C", "shackle shackle, in line", "shackle.limit_kg", (226.205659, 282.757073), 0.5,
         bridled(hardware=["shackle"])),
        (f"{PICK_1}, bridle to D", "shackle shackle, in line", "shackle.limit_kg", (226.205659, 282.757073), 0.5,
         bridled(hardware=["shackle"])),
        # On its point the same.
        ("point C", ROOF, "site.point.1.limit_kg", (113.102829, 141.378536), 1.0, bridled(hardware=["shackle"])),
    ],
)  # fmt: skip
def test_limit_binds(rig_finding, dynamic, column, part, what, key, limits, share, changes):
    changes = changes | {"policy.dynamic_factor": dynamic}
    low, high = (rig_finding(part, what, changes | {key: limits[column] + more}) for more in (-0.01, 0.01))
    assert low.value == pytest.approx(limits[column] * share, rel=2e-8, abs=0)
    assert (low.status, high.status) == (EXCEEDS, WITHIN)
    assert share == 1.0 or "× 0.5 (house)" in low.source


def test_what_is_above_is_carried_at_the_worst_stage(rig_finding):
    # Boxes at u = +0.1: complete R carries 2 kg of 100; leaned over the cart 10, 61 kg at the roof with the shackle's.
    changes = {"box.centre_of_mass_m": [0.1, 0.0, -0.25], "policy.least_pick_share": 0.0}
    found = rig_finding(
        f"{PICK_2}, at the point", "shackle shackle, in line", changes | {"hang.pick.1.top_hardware": ["shackle"]}
    )
    assert (found.value, found.note) == (pytest.approx(62.0, rel=1e-9, abs=0), "rows 1–2, over the cart")


@pytest.mark.parametrize(("apex", "status"), [(11.79, EXCEEDS), (11.81, WITHIN)])
def test_what_is_at_the_apex_takes_up_headroom(rig_finding, apex, status):
    # The hook at 10.2 m, 0.5 m of headroom, a shackle and a sling: 10.2 + 0.5 + 1.1 m.
    changes = bridled(top=["shackle", "sling"]) | {"hang.pick.0.apex_m": apex}
    assert rig_finding(PICK_1, HEADROOM, changes).status == status


# --- what is not named ---


@pytest.mark.parametrize("named", [None, []])
@pytest.mark.parametrize(
    ("part", "what", "changes", "missing"),
    [
        (PICK_1, "hardware between hoist and point", {}, "hang.pick.0.top_hardware"),
        (PICK_1, HEADROOM, {}, "hang.pick.0.top_hardware"),
        ("point A", ROOF, {}, "hang.pick.0.top_hardware"),
        (PICK_1, "hardware at the apex", bridled(), "hang.pick.0.top_hardware"),
        (f"{PICK_1}, bridle to C", TENSION, bridled(), "hang.pick.0.top_hardware"),
        ("point D", ROOF, bridled(), "hang.pick.0.top_hardware"),
        (f"{PICK_1}, bridle to C", "hardware of the leg", bridled(), "hang.pick.0.leg.0.hardware"),
        (f"{PICK_1}, bridle to D", TENSION, bridled(), "hang.pick.0.leg.0.hardware"),
        ("point C", ROOF, bridled(), "hang.pick.0.leg.0.hardware"),
        (PICK_1, "hardware", {}, "hang.pick.0.hardware"),
        (PICK_1, HOIST, {}, "hang.pick.0.hardware"),
        (PICK_1, HEADROOM, {}, "hang.pick.0.hardware"),
        ("point A", ROOF, {}, "hang.pick.0.hardware"),
        (f"{PICK_1}, at the point", "shackle shackle, in line", ABOVE, "hang.pick.0.hardware"),
    ],
)
def test_hardware_that_is_not_named_cannot_be_judged(judged_rig, part, what, changes, missing, named):
    found = [f for f in judged_rig(changes | {missing: named}).findings if (f.part, f.what) == (part, what)]
    if named is None:
        assert [f.status for f in found] == [CANNOT]
        assert "named" in found[0].note
        assert found[0].value is not None
    else:
        assert {f.status for f in found} <= {WITHIN}


@pytest.mark.parametrize("missing", ["hardware", "top_hardware"])
def test_what_exceeds_without_unnamed_hardware_exceeds(rig_finding, missing):
    # 132 or 133 kg at A without it; 82 or 83 kg at the hook.
    changes = {f"hang.pick.0.{missing}": None}
    assert rig_finding("point A", ROOF, changes | {"site.point.0.limit_kg": 131.9}).status == EXCEEDS
    assert rig_finding("point A", ROOF, changes | {"site.point.0.limit_kg": 133.1}).status == CANNOT
    short = {"site.point.0.position_m": [0.0, 0.0, 10.5]}
    assert rig_finding(PICK_1, HEADROOM, changes | short).status == EXCEEDS
    if missing == "hardware":
        assert rig_finding(PICK_1, HOIST, changes | {"hoist.capacity_kg": 163.9}).status == EXCEEDS


# --- legs that cannot be as drawn ---


@pytest.mark.parametrize(
    ("length", "hardware", "status"),
    [
        # 5 m to span; 2 % and 0.05 m: 0.15 m off at most.
        (4.84, [], EXCEEDS),
        (4.86, [], WITHIN),
        (5.14, [], WITHIN),
        (5.16, [], EXCEEDS),
        (4.76, ["shackle"], WITHIN),
        (5.06, ["shackle"], EXCEEDS),
        # Whatever its hardware takes up, it is too long, or may be as long as it should.
        (5.16, None, EXCEEDS),
        (5.0, None, CANNOT),
        (1.0, None, CANNOT),
    ],
)
def test_length_of_a_sling_as_a_leg(rig_finding, length, hardware, status):
    changes = bridled() | {"strop.length_m": length, "hang.pick.0.leg.1.hardware": hardware}
    found = rig_finding(f"{PICK_1}, bridle to D", "length off the leg", changes)
    assert found.status == status
    assert "the leg spans 5.00 m" in found.note


def test_rope_is_cut_to_its_leg(judged_rig):
    assert "length off the leg" not in {found.what for found in judged_rig(bridled("rope")).findings}


@pytest.mark.parametrize(("y", "unknown"), [(0.0, 1), (0.05, 1), (0.06, 0)])
def test_three_legs_nearly_in_one_plane(judged_rig, y, unknown):
    """Legs (4, 0, 3), (−4, 0, 3) and (0, y, 5): their unit vectors span 24·y/(25·√(25 + y²)); 0.0096 and 0.0115."""
    places = [(4.0, 0.0, 18.2), (-4.0, 0.0, 18.2), (0.0, y, 20.2)]
    legs = [{"point": name, "rope": "rope", "hardware": []} for name in "CDE"]
    points = [point("B", -1.0, 0.0, 15.2), *(point(n, *p) for n, p in zip("CDE", places, strict=True))]
    changes = bridled("rope") | {"hang.pick.0.leg": legs, "site.point": points}
    found = [f for f in judged_rig(changes).findings if f.what == "tension of its legs"]
    assert [f.status for f in found] == [CANNOT] * unknown
    assert all("in one plane are indeterminate" in f.note for f in found)
    assert all(("nearly" in f.note) == (y > 0) for f in found)


def test_two_legs_to_one_place_cannot_be_told_apart(rig_finding):
    # Points of two names, both 4 m to the left.
    changes = bridled("rope") | {"site.point.2.position_m": [0.0, 4.0, 18.2]}
    found = rig_finding(f"{PICK_1}, bridle", "tension of its legs", changes)
    assert found.status == CANNOT
    assert "side by side" in found.note


# --- the mount of a pick arm ---

# R on the arm instead, 0.4 m behind the frame's rear at −1.1: 1.5 m behind F. With the arm's 5 kg at −1.6 the moments
# about F are 18 + 8 = 26 kg m: 26/1.5 = 17.333333 kg. About the mount 17.333333·0.4 + 5·0.5 = 9.433333 kg m.
ON_ARM = {
    "hang.arm": {"type": "arm", "end": "rear"},
    "hang.pick.1": PICK | {"on": "arm", "hole": "1", "point": "B"},
    "site.point.1.position_m": [-1.5, 0.0, 15.2],
}
MOMENT = ("arm arm", "moment at its mount")


@pytest.mark.parametrize(("dynamic", "kg_m"), [(1.0, 9.433333), (1.25, 11.791667)])
def test_moment_at_the_mount_binds(rig_finding, dynamic, kg_m):
    changes = ON_ARM | {"policy.dynamic_factor": dynamic}
    low, high = (rig_finding(*MOMENT, changes | {"arm.mount_kg_m": kg_m + more}) for more in (-0.001, 0.001))
    assert (low.value, low.unit, low.source) == (pytest.approx(kg_m, rel=1e-7, abs=0), "kg m", "typed")
    assert (low.status, high.status) == (EXCEEDS, WITHIN)


def test_moment_of_two_picks_adds_up(judged_rig):
    # Both on the arm, at 1.5 and 2.0 m behind F, over F: three in line, each may carry the most that statics allows.
    third = PICK | {"on": "arm", "hole": "2", "point": "B"}
    report = judged_rig(ON_ARM | {"hang.pick": [PICK | {"hole": "F", "point": "A"}, ON_ARM["hang.pick.1"], third]})
    (found,) = (f for f in report.findings if (f.part, f.what) == MOMENT)
    near, far = (line.worst_kg for line in report.lines[1:])
    assert (near, far) == (pytest.approx(26 / 1.5, rel=1e-6, abs=0), pytest.approx(26 / 2.0, rel=1e-6, abs=0))
    assert found.value == pytest.approx(26 / 1.5 * 0.4 + 13.0 * 0.9 + 2.5, rel=1e-6, abs=0)


def test_arm_that_carries_nothing_holds_itself(rig_finding):
    found = rig_finding(*MOMENT, {"hang.arm": {"type": "arm", "end": "rear"}})
    assert (found.value, found.status) == (pytest.approx(2.5, rel=1e-9, abs=0), WITHIN)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"arm.mount_kg_m": None}, "arm gives no mount_kg_m"),
        ({"policy.dynamic_factor": None}, "no dynamic factor"),
    ],
)
def test_mount_of_unknown_limit_or_factor_cannot_be_judged(rig_finding, changes, why):
    found = rig_finding(*MOMENT, ON_ARM | changes)
    assert (found.value, found.status) == (pytest.approx(9.433333, rel=1e-7, abs=0), CANNOT)
    assert why in found.note
