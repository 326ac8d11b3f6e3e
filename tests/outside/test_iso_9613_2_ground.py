"""ISO 9613-2:1996, 7.3.1 (Table 3), 7.3.2 (equation 10) and Table 5; all values from memory.

The functions a', b', c', d' of Table 3 at some heights and distances, worked by hand; limits of hard ground; and the
standard's other method for A-weighted levels over porous ground, equation 10, as a second way.
"""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.bands import weighting
from acoustics.neighbours import OCTAVES_HZ, accuracy_db, ground_effect


@pytest.mark.parametrize(
    ("height", "far", "ends"),
    [
        # One end over porous ground, 63 Hz to 8 kHz: −1.5, −1.5 + a', −1.5 + b', −1.5 + c', −1.5 + d', 0, 0, 0.
        # h = 1.5 m, d = 100 m: a' = 1.5 + 3.0 e^(−1.47)·0.864665 + 5.7 e^(−0.2025)·0.0276117 = 2.225; b' = 7.573;
        # c' = 5.800; d' = 2.071.
        (1.5, 100.0, [-1.5, 0.725, 6.073, 4.300, 0.571, 0.0, 0.0, 0.0]),
        # h = 5 m, d = 1000 m: a' = 1.5 + 3.0 + 5.7·0.1054·0.9392 = 5.064; b' = 1.5 + 8.6·0.1054 = 2.406; c' and d' 1.5.
        (5.0, 1000.0, [-1.5, 3.564, 0.906, 0.000, 0.000, 0.0, 0.0, 0.0]),
    ],
)
def test_ends_over_porous_ground(height, far, ends):
    # Twice the same end: no middle region as long as d ≤ 30 (h + h); beyond, −3 q at 63 Hz alone.
    q = max(0.0, 1.0 - 60.0 * height / far)
    expected = 2.0 * np.array(ends) + np.array([-3.0 * q, *[0.0] * 7])
    np.testing.assert_allclose(ground_effect(height, height, far, 1.0), expected, rtol=0, atol=2e-3)


@pytest.mark.parametrize(("far", "loss"), [(100.0, -3.0), (300.0, -3.0), (600.0, -4.5), (3e6, -6.0)])
def test_hard_ground_adds_three_to_six_decibels(far, loss):
    """Exact: −1.5 for each end, and −3 q with q = 1 − 30·10/d for heights of 5 m."""
    np.testing.assert_allclose(ground_effect(5.0, 5.0, far, 0.0), np.full(8, loss), rtol=0, atol=1e-3)


@pytest.mark.parametrize("far", [100.0, 200.0, 400.0])
def test_the_other_method_of_the_standard(far):
    """A_gr = 4.8 − (2 h_m/d)(17 + 300/d), for levels in dB(A) over porous ground: within 3 dB, as the standard rates.

    For a spectrum that falls by 3 dB an octave above 250 Hz, source and receiver at 2 m: h_m = 2 m. With that method
    goes D_Ω = 10 lg(1 + (d² + 0)/(d² + 16)) ≈ 3 dB, which the first holds in its −1.5 for each end.
    """
    level = -3.0 * np.maximum(np.log2(np.array(OCTAVES_HZ) / 250.0), 0.0)
    octave_a = weighting(np.array(OCTAVES_HZ), "A")
    without = 10 * np.log10(np.sum(10 ** ((level + octave_a) / 10)))
    with_it = 10 * np.log10(np.sum(10 ** ((level + octave_a - ground_effect(2.0, 2.0, far, 1.0)) / 10)))
    other = 4.8 - (2 * 2.0 / far) * (17 + 300 / far) - 10 * np.log10(1 + far**2 / (far**2 + 16.0))
    assert without - with_it == pytest.approx(other, rel=0, abs=3.0)


def test_accuracy():
    height, far = [2.0, 2.0, 10.0, 10.0, 2.0], [50.0, 500.0, 50.0, 500.0, 1200.0]
    np.testing.assert_array_equal(accuracy_db(height, far), [3.0, 3.0, 1.0, 3.0, np.nan])


def test_a_factor_that_is_none():
    with pytest.raises(ValueError, match=r"0 to 1, not 1\.2"):
        ground_effect(1.0, 1.0, 100.0, 1.2)
