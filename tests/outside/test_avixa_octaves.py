"""AVIXA A102.01:2017: coverage uniformity is judged in octaves, six from 250 Hz (limited) or eight from 125 Hz (full).

Published, abstract only; neither its measure nor the limits of its classes are public, and none is checked.
Edges of octaves: exact, IEC 61260-1 base 10.
"""

import numpy as np
import pytest
from scipy import stats

from acoustics import bands
from acoustics.evenness import octave_evenness, octaves

# Exact: an octave of midband 10^m Hz goes from 10^(m - 0.15) to 10^(m + 0.15).
EXPONENTS = {125: 2.1, 250: 2.4, 500: 2.7, 1000: 3.0, 2000: 3.3, 4000: 3.6, 8000: 3.9, 16000: 4.2}


@pytest.mark.parametrize(("scope", "count", "first"), [("limited", 6, 250), ("full", 8, 125)])
def test_which_octaves(scope, count, first):
    """Published: six from 250 Hz, eight from 125 Hz. Exact: each begins where the one before ends."""
    found = octaves(scope)
    assert [octave.octave_hz for octave in found] == [first * 2**step for step in range(count)]
    for octave in found:
        edges = bands.band_edges()[octave.thirds]
        middle = EXPONENTS[int(octave.octave_hz)]
        np.testing.assert_allclose(edges[0, 0], 10.0 ** (middle - 0.15), rtol=1e-9, atol=0)
        if octave.whole:
            np.testing.assert_allclose(edges[-1, 1], 10.0 ** (middle + 0.15), rtol=1e-9, atol=0)


def test_the_highest_octave_lacks_its_upper_third():
    """Exact: the third octaves end at 10^4.25 Hz, 17.8 kHz; that octave goes to 10^4.35 Hz, 22.4 kHz."""
    assert [octave.octave_hz for octave in octaves("full") if not octave.whole] == [16000.0]
    assert all(octave.whole for octave in octaves("limited"))
    edges = bands.band_edges()[octaves("full")[-1].thirds]
    assert len(edges) == 2
    np.testing.assert_allclose(edges[-1, 1], 10.0**4.25, rtol=1e-9, atol=0)


def test_deviation_and_range_by_hand():
    """One third octave of each octave differs by seat, the others are far below: 90 and 94 dB, weights 1 and 3.

    By hand: deviation √3 dB, range 4 dB, to which thirds 60 dB below add less than a millionth each.
    """
    level = np.full((29, 4), 30.0)
    level[8::3] = [90.0, 94.0, 80.0, np.nan]  # 160, 315, … 10 000 Hz: the upper thirds
    level[27] = [94.0, 90.0, 80.0, np.nan]
    found = octave_evenness(level, [1.0, 3.0, 0.0, 2.0], "full")
    assert [(octave.octave_hz, octave.whole) for octave in found][-2:] == [(8000.0, True), (16000.0, False)]
    for octave in found:
        assert octave.deviation == pytest.approx(3.0**0.5, rel=1e-5)
        assert octave.range == pytest.approx(4.0, rel=1e-5)


def test_thirds_add_by_energy():
    """Second way: mean squares of the thirds summed as pressures, seats repeated by weight, numpy and scipy."""
    rng = np.random.default_rng(3)
    level, weight = rng.normal(85.0, 4.0, (29, 30)), rng.integers(0, 4, 30)
    found = octave_evenness(level, weight, "full")
    square = np.square(10.0 ** (np.repeat(level, weight, axis=1) / 20.0))
    for octave, middle in zip(found, range(7, 29, 3), strict=True):
        summed = 10.0 * np.log10(square[middle - 1 : middle + 2].sum(axis=0))
        assert octave.deviation == pytest.approx(np.sqrt(stats.moment(summed, order=2)), rel=1e-9)
        assert octave.range == pytest.approx(summed.max() - summed.min(), rel=1e-9)


def test_limited_is_part_of_full():
    rng = np.random.default_rng(5)
    level, weight = rng.normal(85.0, 4.0, (29, 12)), rng.uniform(0.5, 2.0, 12)
    assert octave_evenness(level, weight, "limited") == octave_evenness(level, weight, "full")[1:-1]
    louder = octave_evenness(level + 10.0, weight, "limited")
    for before, after in zip(octave_evenness(level, weight, "limited"), louder, strict=True):
        assert (after.deviation, after.range) == pytest.approx((before.deviation, before.range), rel=1e-9)


def test_no_seat_that_counts():
    for octave in octave_evenness(np.full((29, 3), np.nan), np.ones(3), "limited"):
        assert np.isnan([octave.deviation, octave.range]).all()


@pytest.mark.parametrize("shape", [(28, 3), (29,)])
def test_levels_of_other_bands(shape):
    with pytest.raises(ValueError, match=r"levels must have shape \(29, P\), got \("):
        octave_evenness(np.zeros(shape), np.ones(3), "full")
