"""The same worked column through the functions of statics alone, its places turned here by matrices.

calc: moments by hand and two finite-element libraries, anastruct 1.7.0 and PyNiteFEA 3.2.0, which agree to 1e-4 N.
Forces in N, both sides together; g = 9.80665 m/s².
"""

import numpy as np
import pytest

from rigging.statics import (
    centre_of_mass,
    hanging_tilt,
    joint_forces,
    pick_loads,
    pullback,
    reachable_tilts,
    vertical_loads,
)

W = 270.0 * 9.80665
CENTRE = (-0.25673, -0.63586)  # of six boxes and frame, in frame axes, rounded to 1e-5 m
FRONT, REAR = (0.1, 0.1), (-0.7, 0.1)


def matrix(degrees, u=0.0, v=0.0):
    """Homogeneous matrix of a move by (u, v), then a turn nose up."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[1, 0, u], [0, 1, v], [0, 0, 1]]) @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def column(tilt, splays):
    """Pivot, upper and lower hole, up direction and centre of mass of each box, (x, z)."""
    above, found = matrix(tilt), []
    lower_pivot = np.eye(3)
    for splay in splays:
        box = above @ lower_pivot @ matrix(-splay)
        holder = above @ lower_pivot
        points = (holder @ [0, 0, 1], holder @ [-0.45, 0.05, 1], box @ [-0.45, -0.05, 1])
        found.append([*points, holder @ [0, 1, 0], box @ [-0.22, -0.125, 1]])
        above, lower_pivot = box, matrix(0.0, 0.0, -0.25)
    return np.moveaxis(np.array(found), 1, 0)[..., :2]


CASES = [
    (-3.0, (0, 1, 2, 3, 5, 8), [1542.837, 1287.397, 1027.046, 756.488, 481.911, 217.473]),
    (
        10.0,
        (0,) * 12,
        [-458.319, -211.993, -3.509, 167.133, 299.932, 394.889, 452.003, 471.275, 452.705, 396.292, 302.037, 169.940],
    ),
]


@pytest.mark.parametrize(("tilt", "splays", "rear"), CASES)
def test_rear_links(tilt, splays, rear):
    pivot, upper, lower, up, centre = column(tilt, splays)
    joints = joint_forces(pivot, upper, lower, up, np.full(len(splays), 40.0), centre)
    np.testing.assert_allclose(joints.link, rear, rtol=0, atol=6e-4)


def test_front_pivots_and_lengths():
    pivot, upper, lower, up, centre = column(-3.0, (0, 1, 2, 3, 5, 8))
    joints = joint_forces(pivot, upper, lower, up, np.full(6, 40.0), centre)
    front = [(-80.7, 812.9), (-78.6, 676.3), (-89.5, 545.9), (-98.7, 426.8), (-96.1, 312.3), (-67.2, 185.4)]
    np.testing.assert_allclose(joints.pivot, front, rtol=0, atol=0.051)
    lengths = [100.000, 92.142, 84.278, 76.406, 60.647, 36.976]  # exact, 2R sin(φ − s/2)
    np.testing.assert_allclose(joints.link_m * 1000.0, lengths, rtol=0, atol=5.1e-4)


def test_centre_of_mass():
    *_, centre = column(0.0, (0, 1, 2, 3, 5, 8))
    mass, place = centre_of_mass([30.0, *[40.0] * 6], [(-0.25, 0.05), *centre])
    np.testing.assert_allclose(mass, 270.0, rtol=1e-12, atol=0)  # exact
    np.testing.assert_allclose(place, CENTRE, rtol=0, atol=5.1e-6)


@pytest.mark.parametrize("loads", [pick_loads, lambda w, c, a, b: vertical_loads(w, (c, 0.0), [(a, 0.0), (b, 0.0)])[0]])
def test_two_picks(loads):
    """The centre of mass is rounded to 1e-5 m of 0.8 m between the picks: 0.033 N of 2648 N."""
    at, front, rear = ((matrix(-3.0) @ [*place, 1.0])[0] for place in (CENTRE, FRONT, REAR))
    np.testing.assert_allclose(loads(W, at, front, rear), [1339.465, 1308.331], rtol=0, atol=0.04)


# 1e-5 m of some 0.74 m below the picks is 4e-4°, the rounding of the angle 5e-4°.
ANGLE = {"rtol": 0, "atol": 1e-3}


@pytest.mark.parametrize(("u", "tilt"), [(0.1, 25.863), (0.0, 19.233), (-0.2, 4.409), (-0.3, -3.365), (-0.5, -18.293)])
def test_tilt_of_a_single_hole(u, tilt):
    np.testing.assert_allclose(np.degrees(hanging_tilt(CENTRE, (u, 0.1))), tilt, **ANGLE)


def test_tilts_that_two_picks_reach():
    np.testing.assert_allclose(np.degrees(reachable_tilts(CENTRE, FRONT, REAR)), [-31.064, 25.863], **ANGLE)


# exact: R_B = W (x_P − x_c)/(x_P − x_B) for a vertical pull-back; 1000 N, pick at 0, centre of mass 0.3 m and pull-back
# 0.5 m behind it: 600 N, which leaves 400 N for the pick.
def test_vertical_pullback():
    pull, on_pick, lean = pullback(1000.0, (-0.3, -1.0), (0.0, 0.0), (-0.5, -2.0), (0.0, 3.0))
    np.testing.assert_allclose([pull, on_pick[1]], [600.0, 400.0], rtol=1e-12, atol=0)
    assert abs(on_pick[0]) < 1e-9
    assert abs(lean) < 1e-9
