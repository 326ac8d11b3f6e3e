"""Delbert Hall, Rigging Math: bridles and loads on a truss; and handbook tables of sling legs by angle."""

import numpy as np
import pytest

from rigging.suspension import beam_loads, bridle, leg_factor

APEX = (0.0, 0.0, 0.0)


def test_bridle_of_hall():
    """500 lb on legs 4 ft up, 3 ft out and 3 ft up, 6 ft out. Published; recomputed to 1e-3 lb."""
    found = bridle(500.0, APEX, [(-3.0, 0.0, 4.0), (6.0, 0.0, 3.0)])
    np.testing.assert_allclose(found.tension, [454.545, 304.918], rtol=0, atol=5.1e-4)
    np.testing.assert_allclose(found.anchor_force[:, 0], [272.727, -272.727], rtol=0, atol=5.1e-4)
    np.testing.assert_allclose(found.length, [5.0, np.sqrt(45.0)], rtol=1e-12, atol=0)  # exact
    np.testing.assert_allclose(found.anchor_force[:, 2].sum(), -500.0, rtol=1e-12, atol=0)  # exact


def test_legs_of_three_four_and_five():
    """10 kN on legs 4 up, 3 out and 3 up, 4 out: 8 and 6 kN, 4.8 kN to the side, a right angle. exact"""
    found = bridle(10.0, (2.0, -1.0, 3.0), [(2.0, -4.0, 7.0), (2.0, 3.0, 6.0)])
    np.testing.assert_allclose(found.tension, [8.0, 6.0], rtol=1e-12, atol=0)
    np.testing.assert_allclose(found.anchor_force[:, 1], [4.8, -4.8], rtol=1e-12, atol=0)
    np.testing.assert_allclose(found.included, np.pi / 2, rtol=1e-12, atol=0)
    np.testing.assert_allclose(np.sin(found.from_horizontal), [0.8, 0.6], rtol=1e-12, atol=0)
    assert found.off_plane == 0.0


def test_three_legs():
    """10 kN below three anchors. calc: balance of forces at the apex, 1e-5 kN."""
    anchors = [(-4.0, -3.0, 8.0), (-3.0, 3.0, 8.0), (5.0, 0.0, 8.0)]
    found = bridle(10.0, APEX, anchors)
    np.testing.assert_allclose(found.tension, [3.46838, 3.32919, 4.85573], rtol=0, atol=5.1e-6)


def test_off_centre_loads_on_a_truss():
    """20 ft, 100 at 17.5 ft and 200 at 5 ft from its left end. Published: 137.5 and 162.5, the greater on the left."""
    np.testing.assert_allclose(beam_loads(20.0, [17.5, 5.0], [100.0, 200.0]), (162.5, 137.5), rtol=1e-12, atol=0)


# Published in handbooks, three decimals; exact: 1/sin.
@pytest.mark.parametrize(("degrees", "factor"), [(90, 1.0), (75, 1.035), (60, 1.155), (45, 1.414), (30, 2.0)])
def test_leg_factor(degrees, factor):
    np.testing.assert_allclose(leg_factor(np.radians(degrees)), factor, rtol=0, atol=5.1e-4)
    # Two such legs that share a load: each carries its half times the factor.
    side, up = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    if side > 1e-6:
        found = bridle(2.0, APEX, [(-side, 0.0, up), (side, 0.0, up)])
        np.testing.assert_allclose(found.tension, [factor, factor], rtol=0, atol=5.1e-4)
        np.testing.assert_allclose(np.degrees(found.from_horizontal), [degrees, degrees], rtol=1e-9, atol=0)
