"""Venue points that are eyebolts: the share of their limit by the angle of the pull from a vertical shank.

Shares of a handbook table, published: to 5° all, to 15° 80 %, to 30° 65 %, to 45° 30 %, beyond it nothing. The rig of
the fixtures has 133 kg above F and 69 above R; the rest is exact, by hand.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN
from rigging.points import PointLoad, point_findings
from rigging.site import Point, Site

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
ROOF, G = "load on the point", 9.80665


def pull(kg: float, degrees: float, user: str = "one", turn: float = 0.0, why: str = "") -> PointLoad:
    """A pull of so many kg, so far from plumb."""
    aside = math.sin(math.radians(degrees))
    across = (aside * math.cos(math.radians(turn)), aside * math.sin(math.radians(turn)))
    return PointLoad("P", user, [kg * G * v for v in (*across, -math.cos(math.radians(degrees)))], why)


def judge(*loads: PointLoad, limit: float | None = 100.0, eyebolt: bool = True) -> Any:
    point = Point(name="P", position_m=(0.0, 0.0, 9.0), limit_kg=limit, eyebolt=eyebolt)
    (found,) = point_findings(loads, Site(name="hall", point=(point,)))
    return found


@pytest.mark.parametrize(
    ("degrees", "share"),
    [(0.0, 1.0), (4.9, 1.0), (5.1, 0.8), (14.9, 0.8), (15.1, 0.65), (29.9, 0.65), (30.1, 0.3), (44.9, 0.3)],
)
def test_share_by_angle_binds(degrees, share):
    low, high = (judge(pull(100.0 * share + more, degrees)) for more in (-0.01, 0.01))
    assert (low.status, high.status) == (WITHIN, EXCEEDS)
    assert low.limit == pytest.approx(100.0 * share, rel=1e-9, abs=0)
    assert f"eyebolt × {share:g} at {degrees:.1f}° from its shank" in low.source


@pytest.mark.parametrize("degrees", [45.1, 60.0, 89.0])
def test_pull_beyond_its_table_exceeds(degrees):
    found = judge(pull(1.0, degrees))
    assert (found.limit, found.status) == (0.0, EXCEEDS)
    assert "no load beyond 45° from its shank" in found.source


def test_point_that_is_no_eyebolt_holds_its_limit_either_way():
    assert judge(pull(99.9, 60.0), eyebolt=False).status == WITHIN


@pytest.mark.parametrize(
    ("loads", "value", "limit", "status"),
    [
        # Together 60 + 20·cos 40° = 75.32 kg down and 12.86 aside, at 9.7°: 80; alone the second, at 40°, has 30.
        ((pull(60.0, 0.0), pull(20.0, 40.0, "two")), 76.410, 80.0, WITHIN),
        # The second alone: 32 kg of 30.
        ((pull(40.0, 0.0), pull(32.0, 40.0, "two")), 32.0, 30.0, EXCEEDS),
        # Two that pull to opposite sides are not set off: 40·cos 25° and 40·sin 25°, twice.
        ((pull(40.0, 25.0), pull(40.0, 25.0, "two", 180.0)), 80.0, 65.0, EXCEEDS),
    ],
)
def test_any_of_its_users_may_hang_alone(loads, value, limit, status):
    found = judge(*loads)
    assert (found.value, found.limit) == pytest.approx((value, limit), rel=1e-4, abs=0)
    assert found.status == status


def test_many_users_are_taken_at_the_worst_angle():
    # Twelve of 5 kg, one of them at 40°: 60 kg nearly, against 30.
    loads = [pull(5.0, 0.0, f"user {i}") for i in range(11)]
    assert judge(*loads, pull(5.0, 40.0, "aside")).limit == pytest.approx(30.0, rel=1e-9, abs=0)
    assert judge(*loads, pull(5.0, 0.0, "plumb")).status == WITHIN


def test_what_is_not_known_cannot_be_judged_on_an_eyebolt():
    assert judge(pull(10.0, 20.0, why="no hoist")).status == CANNOT
    assert judge(pull(66.0, 20.0, why="no hoist")).status == EXCEEDS
    assert judge(pull(10.0, 20.0), limit=None).status == CANNOT
    assert judge(PointLoad("P", "one", None, "no hoist")).status == CANNOT


def test_leg_of_a_bridle_on_an_eyebolt(rig_finding):
    # Ropes of 5 m, 3 up and 4 out: 53.13° from plumb without their own weight.
    leg = {"rope": "rope", "hardware": []}
    keys = {"hole": "F", "apex_m": 15.2, "leg": [{"point": p} | leg for p in "CD"]}
    points: list[dict[str, Any]] = [
        {"name": name, "position_m": at, "limit_kg": 900.0, "eyebolt": name == "C"}
        for name, at in {"B": [-1.0, 0.0, 15.2], "C": [0.0, 4.0, 18.2], "D": [0.0, -4.0, 18.2]}.items()
    ]
    changes = {"hang.pick.0": PICK | keys, "site.point": points}
    assert rig_finding("point C", ROOF, changes).status == EXCEEDS
    assert rig_finding("point D", ROOF, changes).status == WITHIN


@pytest.mark.parametrize(("limit", "status"), [(132.9, EXCEEDS), (133.1, WITHIN)])
def test_plumb_pick_on_an_eyebolt(rig_finding, limit, status):
    found = rig_finding("point A", ROOF, {"site.point.0.eyebolt": True, "site.point.0.limit_kg": limit})
    assert (found.value, found.status) == (pytest.approx(133.0, rel=1e-9, abs=0), status)
    assert found.source == "venue file hall, eyebolt × 1 at 0.0° from its shank (handbook table)"
