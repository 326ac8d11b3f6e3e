"""Statistics of levels over weighted positions, by hand and against numpy and scipy on repeated values."""

import numpy as np
import pytest
from scipy import stats

from acoustics.evenness import deviation, fall_per_doubling, mean, percentile

LEVEL = np.array([90.0, 94.0, 97.0, 88.0])
WEIGHT = np.array([1.0, 2.0, 1.0, 0.0])


def test_by_hand():
    """90, 94 twice and 97: mean 93.75, squares 14.0625 + 2·0.0625 + 10.5625 over 4."""
    assert mean(LEVEL, WEIGHT) == pytest.approx(93.75, rel=1e-12)
    assert deviation(LEVEL, WEIGHT) == pytest.approx(np.sqrt(24.75 / 4.0), rel=1e-12)


# By hand: a quarter of the weight is at 90, three quarters at 94 or less.
@pytest.mark.parametrize(
    ("percent", "expected"),
    [(0.0, 90.0), (10.0, 90.0), (25.0, 90.0), (26.0, 94.0), (50.0, 94.0), (75.0, 94.0), (76.0, 97.0), (100.0, 97.0)],
)
def test_percentile_by_hand(percent, expected):
    assert percentile(LEVEL, WEIGHT, percent) == expected


@pytest.mark.parametrize("seed", range(4))
def test_whole_weights_are_repetition(seed):
    """A weight of 3 counts as three positions: numpy on repeated values, and scipy's regression."""
    rng = np.random.default_rng(seed)
    count = rng.integers(0, 6, 40)
    level, distance = rng.normal(95.0, 3.0, 40), rng.uniform(5.0, 80.0, 40)
    repeated = np.repeat(level, count)
    assert mean(level, count) == pytest.approx(repeated.mean(), rel=1e-12)
    assert deviation(level, count) == pytest.approx(repeated.std(), rel=1e-9)
    for percent in (5.5, 50.5, 95.5):
        assert percentile(level, count, percent) == np.percentile(repeated, percent, method="inverted_cdf")
    slope = stats.linregress(np.repeat(np.log2(distance), count), repeated).slope
    assert fall_per_doubling(level, distance, count) == pytest.approx(-slope, rel=1e-9)


@pytest.mark.parametrize("weight", [np.ones(30), np.linspace(0.1, 4.0, 30)])
def test_fall_of_a_point_and_of_a_line(weight):
    """Exact: 1/r falls 20 lg 2 = 6.0206 dB per doubling, 1/√r half as much, an even level not at all."""
    distance = np.geomspace(4.0, 70.0, 30)
    assert fall_per_doubling(100.0 - 20.0 * np.log10(distance), distance, weight) == pytest.approx(6.0206, rel=1e-6)
    assert fall_per_doubling(100.0 - 10.0 * np.log10(distance), distance, weight) == pytest.approx(3.0103, rel=1e-6)
    assert abs(fall_per_doubling(np.full(30, 95.0), distance, weight)) < 1e-12


def test_only_proportions_of_weights_count():
    distance = np.array([5.0, 10.0, 20.0, 40.0])
    for scale in (1e-3, 7.0):
        assert mean(LEVEL, scale * WEIGHT) == pytest.approx(93.75, rel=1e-12)
        assert deviation(LEVEL, scale * WEIGHT) == pytest.approx(np.sqrt(24.75 / 4.0), rel=1e-12)
        # By hand: 90, 94 twice, 97 at 0, 1, 1, 2 octaves rise by 7/2 dB per doubling.
        assert fall_per_doubling(LEVEL, distance, scale * WEIGHT) == pytest.approx(-3.5, rel=1e-9)


def test_hidden_positions_do_not_count():
    """A level that is absent, or a weight of nothing, leaves the result of the others."""
    level = np.append(LEVEL, [np.nan, np.nan])
    weight = np.append(WEIGHT, [50.0, 0.0])
    distance = np.array([5.0, 10.0, 20.0, 40.0, 80.0, 3.0])
    assert mean(level, weight) == pytest.approx(93.75, rel=1e-12)
    assert deviation(level, weight) == pytest.approx(np.sqrt(24.75 / 4.0), rel=1e-12)
    assert percentile(level, weight, 50.0) == 94.0
    assert fall_per_doubling(level, distance, weight) == pytest.approx(-3.5, rel=1e-9)


@pytest.mark.parametrize(("level", "weight"), [([np.nan, np.nan], [1.0, 1.0]), ([90.0, 91.0], [0.0, 0.0]), ([], [])])
def test_nothing_that_counts(level, weight):
    assert np.isnan(mean(level, weight))
    assert np.isnan(deviation(level, weight))
    assert np.isnan(percentile(level, weight, 50.0))
    assert np.isnan(fall_per_doubling(level, np.full(len(level), 10.0) + np.arange(len(level)), weight))


@pytest.mark.parametrize("distance", [[10.0, 10.0, 10.0], [0.0, 0.01, 10.0]])
def test_no_fall_without_two_distances(distance):
    """Places below the hang itself have no distance to speak of."""
    assert np.isnan(fall_per_doubling([90.0, 91.0, 95.0], distance, [1.0, 1.0, 1.0]))


def test_place_below_the_hang_leaves_the_fall_of_the_others():
    distance = np.array([0.0, 5.0, 10.0, 20.0])
    assert fall_per_doubling([120.0, 96.0, 93.0, 90.0], distance, np.ones(4)) == pytest.approx(3.0, rel=1e-9)
