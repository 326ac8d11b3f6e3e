"""Loads of several vertical chains: three by 3 × 3 equations, more against feasible loads drawn at random."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import null_space

from rigging.statics import vertical_loads

EXAMPLES = settings(max_examples=40, derandomize=True, deadline=None, database=None)
W = 4321.0


def seeds() -> st.SearchStrategy[np.random.Generator]:
    return st.integers(0, 2**32 - 1).map(np.random.default_rng)


def balance_of(picks):
    """Rows: sum of forces, moments about both horizontal axes through the origin."""
    return np.vstack([np.ones(len(picks)), np.asarray(picks).T])


def inside(rng, picks):
    """A centre of mass that the picks can carry: their mean, weighted at random."""
    share = rng.dirichlet(np.ones(len(picks)))
    return share @ picks, share


@EXAMPLES
@given(seeds())
def test_three_picks_are_determinate(rng):
    picks = rng.uniform(-1.5, 1.5, (3, 2))
    if abs(np.linalg.det(balance_of(picks))) < 0.1:
        return
    centre, _ = inside(rng, picks)
    solved = np.linalg.solve(balance_of(picks), W * np.array([1.0, *centre]))
    low, high = vertical_loads(W, centre, picks)
    np.testing.assert_allclose(low, solved, rtol=0, atol=1e-6 * W)
    np.testing.assert_allclose(high, solved, rtol=0, atol=1e-6 * W)


@EXAMPLES
@given(seeds())
def test_three_picks_that_would_tip(rng):
    picks = rng.uniform(-1.5, 1.5, (3, 2))
    if abs(np.linalg.det(balance_of(picks))) < 0.1:
        return
    share = np.array([-0.05, *rng.dirichlet([1.0, 1.0]) * 1.05])
    with pytest.raises(ValueError, match="tip"):
        vertical_loads(W, share @ picks, picks)


def feasible(rng, picks, centre, count):
    """Random loads in balance without a pushing chain: from one solution along the null space to its ends and back."""
    matrix = balance_of(picks)
    aim = np.array([1.0, *centre])
    free = null_space(matrix)
    start = np.linalg.lstsq(matrix, aim, rcond=None)[0]
    found = []
    for _ in range(count):
        along = free @ rng.normal(size=free.shape[1])
        # start + t·along ≥ 0, walked from wherever the interval lies.
        rise, fall = along > 1e-12, along < -1e-12
        least = max(-start[rise] / along[rise], default=-np.inf)
        most = min(-start[fall] / along[fall], default=np.inf)
        if least <= most and np.all(start[~rise & ~fall] >= -1e-12):
            found += [start + t * along for t in (least, most, rng.uniform(least, most))]
    return np.array(found)


def check_envelope(rng, picks, centre):
    """Bounds hold for all feasible loads, and for one free direction its ends attain them."""
    low, high = vertical_loads(W, centre, picks)
    loads = W * feasible(rng, picks, centre, 5)
    assert len(loads) > 0
    np.testing.assert_allclose(loads.sum(axis=1), W, rtol=1e-9)
    assert np.all(loads >= low - 1e-6 * W)
    assert np.all(loads <= high + 1e-6 * W)
    np.testing.assert_allclose(loads.min(axis=0), low, rtol=0, atol=1e-6 * W)
    np.testing.assert_allclose(loads.max(axis=0), high, rtol=0, atol=1e-6 * W)


@EXAMPLES
@given(seeds())
def test_four_picks(rng):
    picks = np.array([(0.5, 0.4), (0.5, -0.4), (-0.5, 0.4), (-0.5, -0.4)]) + rng.uniform(-0.2, 0.2, (4, 2))
    check_envelope(rng, picks, inside(rng, picks)[0])


@EXAMPLES
@given(seeds())
def test_three_picks_in_line(rng):
    """In line front to rear, the centre of mass below their line."""
    x = np.sort(rng.uniform(-1.0, 0.3, 3))[::-1]
    if min(-np.diff(x)) < 0.05:
        return
    picks = np.column_stack([x, np.full(3, 0.25)])
    centre, _ = inside(rng, picks)
    check_envelope(rng, picks, centre)
    # exact: the ends are where one of the three hangs slack, a pair carries all.
    low, high = vertical_loads(W, centre, picks)
    at = centre[0]
    pairs = [(0, 2), (0, 1), (1, 2)]
    carried = []
    for a, b in pairs:
        if x[b] <= at <= x[a]:
            loads = np.zeros(3)
            loads[a] = W * (at - x[b]) / (x[a] - x[b])
            loads[b] = W - loads[a]
            carried.append(loads)
    np.testing.assert_allclose(low, np.min(carried, axis=0), rtol=0, atol=1e-6 * W)
    np.testing.assert_allclose(high, np.max(carried, axis=0), rtol=0, atol=1e-6 * W)


def test_a_square_carries_from_nothing_to_half():
    """exact: a load in the middle of four may rest on either diagonal alone."""
    picks = [(0.5, 0.5), (0.5, -0.5), (-0.5, 0.5), (-0.5, -0.5)]
    low, high = vertical_loads(1000.0, (0.0, 0.0), picks)
    np.testing.assert_allclose(low, np.zeros(4), rtol=0, atol=1e-6)
    np.testing.assert_allclose(high, np.full(4, 500.0), rtol=1e-9, atol=0)
