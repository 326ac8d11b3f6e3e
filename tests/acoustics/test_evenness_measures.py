"""Measures of evenness: closed forms by hand, numpy and scipy on repeated seats, and what must not change them."""

import math
from dataclasses import FrozenInstanceError, astuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from acoustics.evenness import contrast, energy_mean, measure, percentiles, shape_departure, shape_spread, worst_seat

LEVELS = st.integers(-40, 40).map(lambda quarter: 90.0 + quarter / 4)


@st.composite
def seats(draw):
    """Levels, distances and whole weights of 2 to 12 seats, at least one of which counts; some are hidden."""
    count = draw(st.integers(2, 12))
    level = np.array(draw(st.lists(LEVELS | st.just(math.nan), min_size=count, max_size=count)))
    weight = np.array(draw(st.lists(st.integers(0, 4), min_size=count, max_size=count)))
    level[0], weight[0] = 91.25, 3
    distance = np.array(draw(st.lists(st.integers(2, 60), min_size=count, max_size=count)), dtype=float)
    return level, distance, weight


def repeated(values, level, weight):
    """Each seat that has a level, as often as its weight says."""
    return np.repeat(values, np.where(np.isfinite(level), weight, 0))


def at_rank(values, percent):
    """The least value that so many percent of the values do not exceed."""
    return np.sort(values)[max(0, -(-len(values) * percent // 100) - 1)]


def without_worst(found):
    return astuple(found)[:6]


@settings(max_examples=60, deadline=None)
@given(seats())
def test_numpy_and_scipy_on_repeated_seats(drawn):
    level, distance, weight = drawn
    values, far = repeated(level, level, weight), repeated(distance, level, weight)
    found = measure(level, distance, weight)
    assert found.mean == pytest.approx(stats.tmean(values), rel=1e-12)
    assert found.deviation == pytest.approx(np.std(values), rel=1e-9, abs=1e-9)
    assert (found.p5, found.p50, found.p95) == tuple(at_rank(values, percent) for percent in (5, 50, 95))
    np.testing.assert_array_equal(percentiles(level, weight), [found.p5, found.p50, found.p95])
    if np.ptp(far) > 0:
        slope = stats.linregress(np.log2(far), values).slope
        assert found.fall_per_doubling == pytest.approx(-slope, rel=1e-9, abs=1e-9)
    else:
        assert math.isnan(found.fall_per_doubling)
    assert abs(found.worst_deviation) == pytest.approx(np.abs(values - values.mean()).max(), abs=1e-9)
    assert weight[found.worst] > 0
    assert level[found.worst] - values.mean() == pytest.approx(found.worst_deviation, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(seats(), st.randoms(use_true_random=False))
def test_the_order_of_seats_is_nothing(drawn, random):
    order = list(range(len(drawn[0])))
    random.shuffle(order)
    before, after = measure(*drawn), measure(*(values[order] for values in drawn))
    np.testing.assert_allclose(without_worst(after), without_worst(before), rtol=1e-9, atol=1e-9)
    assert abs(after.worst_deviation) == pytest.approx(abs(before.worst_deviation), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(seats(), st.integers(0, 11))
def test_a_doubled_weight_is_a_seat_twice(drawn, which):
    level, distance, weight = drawn
    which %= len(level)
    double = weight.copy()
    double[which] *= 2
    twice = (np.append(values, values[which]) for values in drawn)
    np.testing.assert_allclose(
        without_worst(measure(level, distance, double)), without_worst(measure(*twice)), rtol=1e-9, atol=1e-9
    )


@settings(max_examples=40, deadline=None)
@given(seats(), st.integers(-60, 60).map(lambda half: half / 2))
def test_a_louder_programme_moves_only_the_levels(drawn, more):
    level, distance, weight = drawn
    before, after = measure(level, distance, weight), measure(level + more, distance, weight)
    moved = (before.mean + more, before.deviation, before.p5 + more, before.p50 + more, before.p95 + more)
    np.testing.assert_allclose(astuple(after)[:5], moved, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(after.fall_per_doubling, before.fall_per_doubling, rtol=1e-9, atol=1e-9)
    assert abs(after.worst_deviation) == pytest.approx(abs(before.worst_deviation), abs=1e-9)


def test_two_valued_levels():
    """By hand, 90 dB on a quarter and 94 dB on the rest: mean 93, deviation 4 √(¼ · ¾) = √3, worst 3 below."""
    found = measure([94.0, 90.0, 94.0], [10.0, 20.0, 10.0], [2.0, 1.0, 1.0])
    assert astuple(found) == pytest.approx((93.0, math.sqrt(3.0), 90.0, 94.0, 94.0, 4.0, 1, -3.0), rel=1e-9)
    with pytest.raises(FrozenInstanceError):
        found.mean = 0.0


def test_a_level_that_falls_evenly():
    """Exact: 3 dB per doubling over 4 octaves in 101 steps of 0.12 dB: deviation 0.12 √((101² - 1)/12) = 3.4986."""
    octaves = np.linspace(0.0, 4.0, 101)
    found = measure(100.0 - 3.0 * octaves, 5.0 * 2.0**octaves, np.full(101, 0.5))
    assert found.mean == pytest.approx(94.0, rel=1e-12)
    assert found.deviation == pytest.approx(3.498571, rel=1e-6)
    # The 6th, 51st and 96th of 101 from below: 5.05, 50.5 and 95.95 of them at least.
    assert (found.p5, found.p50, found.p95) == pytest.approx((88.6, 94.0, 99.4), rel=1e-12)
    assert found.fall_per_doubling == pytest.approx(3.0, rel=1e-9)
    assert abs(found.worst_deviation) == pytest.approx(6.0, rel=1e-9)
    assert found.worst in (0, 100)


def test_percentiles_of_bands():
    levels = np.array([[90.0, 91.0, 99.0, 95.0], [80.0, 70.0, 60.0, np.nan]])
    # By hand: weights 1, 8, 1 and none, so 10, 80 and 10 %; in the second band 10 % at 60 dB.
    found = percentiles(levels, [1.0, 8.0, 1.0, 0.0])
    np.testing.assert_array_equal(found, [[90.0, 91.0, 99.0], [60.0, 70.0, 80.0]])


def test_worst_seat_by_hand():
    """Mean (90 + 2 · 96 + 96)/4 = 94.5. The first seat has no weight, the last no level."""
    level, weight = [60.0, 90.0, 96.0, 96.0, np.nan], [0.0, 1.0, 2.0, 1.0, 5.0]
    index, off = worst_seat(level, weight)
    assert (index, off) == (1, pytest.approx(-4.5, rel=1e-12))
    index, off = worst_seat([90.0, 96.0, 90.0], [1.0, 1.0, 1.0])
    assert (index, off) == (1, pytest.approx(4.0, rel=1e-12))


def test_nothing_that_counts():
    for level, weight in (([np.nan, np.nan], [1.0, 1.0]), ([90.0, 91.0], [0.0, 0.0]), ([], [])):
        found = measure(level, np.full(len(level), 10.0), weight)
        assert found.worst is None
        assert np.isnan([value for value in astuple(found) if value is not None]).all()
        assert np.isnan(shape_spread(np.array([level, level]), weight)).all()
        assert np.isnan(contrast(level, weight, [50.0], [1.0])).all()
        assert np.isnan(contrast([90.0], [1.0], level, weight)).all()
        assert np.isnan(energy_mean(level, weight))


def test_shapes_by_hand():
    """Two bands. Shapes ±1 (weight 1) and ±3 (weight 3), mean shape ±2.5: departures 1.5 and 0.5 dB.

    Weighted RMS √((1 · 1.5² + 3 · 0.5²)/4) = √0.75.
    """
    level = np.array([[91.0, 73.0, 10.0, 95.0], [89.0, 67.0, np.nan, 91.0]])
    weight = np.array([1.0, 3.0, 9.0, 0.0])
    # The seat without weight has the shape ±2: 0.5 dB off as well.
    np.testing.assert_allclose(shape_departure(level, weight), [1.5, 0.5, np.nan, 0.5], rtol=1e-12)
    spread, p95 = shape_spread(level, weight)
    assert spread == pytest.approx(math.sqrt(0.75), rel=1e-12)
    assert p95 == pytest.approx(1.5, rel=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_shape_has_nothing_to_do_with_level(seed):
    """Seats louder as a whole and one equalisation for all leave it alone; so does their order."""
    rng = np.random.default_rng(seed)
    level, weight = rng.normal(90.0, 3.0, (7, 15)), rng.integers(1, 5, 15)
    found = shape_spread(level, weight)
    other = level + rng.normal(0.0, 9.0, 15) + rng.normal(0.0, 9.0, (7, 1))
    order = rng.permutation(15)
    for changed, weights in ((other, weight), (level[:, order], weight[order]), (level[::-1], weight)):
        np.testing.assert_allclose(shape_spread(changed, weights), found, rtol=1e-9)
    # Second way: analysis of variance of repeated seats, what neither band nor seat explains.
    every = np.repeat(level, weight, axis=1)
    rest = every - every.mean(axis=0) - every.mean(axis=1, keepdims=True) + every.mean()
    assert found[0] == pytest.approx(rest.std(), rel=1e-9)
    assert found[1] == pytest.approx(at_rank(rest.std(axis=0), 95), rel=1e-9)


def test_same_shape_everywhere():
    level = np.array([[3.0], [-1.0], [0.5]]) + np.array([90.0, 70.0, 95.5])
    np.testing.assert_allclose(shape_spread(level, np.ones(3)), 0.0, atol=1e-12)


def test_contrast_by_hand():
    """Mean (94 + 3 · 98)/4 = 97. Quiet: 70 and 60 dB, weights 1 and 9: energy (10 + 9)/10 of 60 dB, 62.788 dB."""
    found = contrast([94.0, 98.0, np.nan], [1.0, 3.0, 1.0], [70.0, 60.0, np.nan, 99.0], [1.0, 9.0, 4.0, 0.0])
    assert found == pytest.approx((97.0 - 62.787536, 27.0), rel=1e-6)


@pytest.mark.parametrize("more", [-20.0, 7.5])
def test_contrast_of_a_louder_programme(more):
    rng = np.random.default_rng(2)
    loud, quiet, weight = rng.normal(95.0, 2.0, 20), rng.normal(60.0, 5.0, 20), rng.uniform(0.1, 2.0, 20)
    before, after = contrast(loud, weight, quiet, weight), contrast(loud + more, weight, quiet + more, weight)
    assert after == pytest.approx(before, rel=1e-9)
    assert 10.0 < before[1] < before[0]
    # The mean energy lies above the mean level and below the greatest.
    assert np.average(quiet, weights=weight) < energy_mean(quiet, weight) < quiet.max()
