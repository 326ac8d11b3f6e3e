"""Tilts against potential energy and brute force; a leaning top chain against three lines that meet."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from rigging.statics import hanging_tilt, pick_loads, pullback, reachable_tilts, turned

EXAMPLES = settings(max_examples=60, derandomize=True, deadline=None, database=None)


def milli(low: int, high: int) -> st.SearchStrategy[float]:
    return st.integers(low, high).map(lambda n: n / 1000)


CENTRES = st.tuples(milli(-900, 300), milli(-4000, -150))
PICKS = st.tuples(milli(-900, 500), milli(50, 400))


@EXAMPLES
@given(CENTRES, PICKS)
def test_a_body_hangs_where_its_energy_is_least(centre, pick):
    """The height of the centre of mass below a fixed pick. A minimum is flat: its place is good to 1e-8 of a turn."""

    def height(tilt: float) -> float:
        (du, dv) = (centre[0] - pick[0], centre[1] - pick[1])
        return (complex(du, dv) * complex(math.cos(tilt), math.sin(tilt))).imag

    least = minimize_scalar(height, bounds=(-math.pi, math.pi), method="bounded", options={"xatol": 1e-12})
    np.testing.assert_allclose(hanging_tilt(centre, pick), least.x, rtol=0, atol=2e-7)


def test_a_body_above_its_pick_turns_over():
    with pytest.raises(ValueError, match="turn over"):
        hanging_tilt((0.0, 0.1), (0.1, 0.1))


def test_tilts_of_many_picks_at_once():
    centres, picks = np.array([[-0.2, -1.0], [0.1, -2.0]]), np.array([[-0.3, 0.1], [0.0, 0.2]])
    single = [float(hanging_tilt(c, p)) for c, p in zip(centres, picks, strict=True)]
    np.testing.assert_array_equal(hanging_tilt(centres, picks), single)
    assert single[0] < 0 < abs(single[1])


STEP = math.radians(0.02)


@EXAMPLES
@given(CENTRES, PICKS, milli(100, 1500), milli(-60, 60), st.sampled_from([0.0, 0.05, 0.1, 0.25, 0.4, 0.5]))
def test_reachable_tilts_by_brute_force(centre, front, apart, rise, share):
    """Every tilt of a fine grid is inside where both loads are at least their share, and outside where not."""
    rear = (front[0] - apart, front[1] + rise)
    low, high = reachable_tilts(centre, front, rear, share)
    assert low <= high
    tilts = np.arange(-math.pi / 2, math.pi / 2, STEP)
    c, s = np.cos(tilts), np.sin(tilts)
    x_front, x_rear, x_centre = (u * c - v * s for u, v in (front, rear, centre))
    ahead = x_front - x_rear > 0.01 * apart  # further over, the picks pass each other
    on_front = (x_centre - x_rear) / np.where(ahead, x_front - x_rear, 1.0)
    holds = ahead & (on_front >= share) & (on_front <= 1 - share)
    inside, outside = (tilts > low + STEP) & (tilts < high - STEP), (tilts < low - STEP) | (tilts > high + STEP)
    assert np.all(holds[inside & ahead])
    assert not np.any(holds[outside])
    if share == 0.5:
        np.testing.assert_allclose(low, high, rtol=0, atol=1e-12)


@EXAMPLES
@given(CENTRES, PICKS, milli(100, 1500), st.sampled_from([0.0, 0.1, 0.3]))
def test_ends_of_reach_carry_their_share(centre, front, apart, share):
    rear = (front[0] - apart, front[1])
    for tilt, name in zip(reachable_tilts(centre, front, rear, share), ("rear", "front"), strict=True):
        at = [float(turned(place, tilt)[0]) for place in (centre, front, rear)]
        loads = dict(zip(("front", "rear"), pick_loads(1.0, *at), strict=True))
        # Nose down the centre of mass swings back: the rear pick carries most.
        np.testing.assert_allclose(loads[name], 1.0 - share, rtol=0, atol=1e-9)


@pytest.mark.parametrize("share", [-0.01, 0.51, math.nan])
def test_shares_that_two_picks_cannot_carry(share):
    with pytest.raises(ValueError, match=r"share of 0 to 0\.5"):
        reachable_tilts((0.0, -1.0), (0.1, 0.1), (-0.7, 0.1), share)


LOW_ENDS = st.tuples(milli(-2000, 500), milli(-6000, -500))


@EXAMPLES
@given(CENTRES, LOW_ENDS, st.integers(-75, 75))
def test_three_forces_meet_in_a_point(centre, low, from_plumb_deg):
    """The lines of weight and rope meet in a point; the top chain's line leads there, and their triangle closes."""
    weight = 1234.5
    toward = np.array([math.sin(math.radians(from_plumb_deg)), math.cos(math.radians(from_plumb_deg))])
    arm = low[0] * toward[1] - low[1] * toward[0]
    if abs(arm) < 0.05 or from_plumb_deg == 0:
        return
    pull, on_pick, lean = pullback(weight, centre, (0.0, 0.0), low, 3.0 * toward)
    meet = np.array(low) + toward * (centre[0] - low[0]) / toward[0]
    np.testing.assert_allclose(meet[0], centre[0], rtol=0, atol=1e-9)
    # Direction of the chain's line, up: from the meeting point, wherever that lies, through the pick.
    line = meet / np.linalg.norm(meet)
    # Triangle of forces: weight down, pull along the rope, chain along its line.
    solved = np.linalg.solve(np.column_stack([toward, line]), [0.0, weight])
    size = weight + abs(pull)
    np.testing.assert_allclose(pull, solved[0], rtol=0, atol=1e-7 * size)
    np.testing.assert_allclose(on_pick, solved[1] * line, rtol=0, atol=1e-7 * size)
    assert math.isclose(math.tan(lean) * on_pick[1], on_pick[0], abs_tol=1e-7 * size)
    if on_pick[1] > 0 and pull > 0:
        # A rope that pulls back leans the chain forward at its upper end.
        assert np.sign(lean) == -np.sign(from_plumb_deg)


@EXAMPLES
@given(CENTRES, LOW_ENDS)
def test_plumb_pullback_shares_the_weight(centre, low):
    """Moments about where the rope takes hold, the other way round: the pick carries W (x_c − x_B)/(x_P − x_B)."""
    if abs(low[0]) < 0.05:
        return
    pull, on_pick, lean = pullback(500.0, centre, (0.0, 0.0), low, (0.0, 1.0))
    top = 500.0 * (centre[0] - low[0]) / (0.0 - low[0])
    np.testing.assert_allclose(on_pick, [0.0, top], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(pull, 500.0 - top, rtol=1e-9, atol=1e-9)
    assert abs(math.sin(lean)) < 1e-9


def test_a_rope_in_line_with_the_pick_holds_nothing():
    with pytest.raises(ValueError, match="passes through the pick"):
        pullback(1.0, (-0.2, -1.0), (0.0, 0.0), (0.0, -2.0), (0.0, 1.0))
