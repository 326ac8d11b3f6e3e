"""How one field differs from another, by hand arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.changes import change, first_arrival, rms_difference

NAN = np.nan


def test_rms_difference_by_hand():
    # Band 1: 3 dB at a seat of weight 1, 0 dB at one of weight 3: √(9/4) = 1.5. Band 2: 2 dB at both: 2.
    # Weighted ¼ and ¾: 0.375 + 1.5 = 1.875.
    level, reference = np.array([[93.0, 80.0], [72.0, 62.0]]), np.array([[90.0, 80.0], [70.0, 60.0]])
    found = rms_difference(level, reference, np.array([1.0, 3.0]), np.array([0.25, 0.75]))
    assert found == pytest.approx(1.875, rel=1e-12)
    many = rms_difference(np.stack([level, reference]), reference, np.array([1.0, 3.0]), np.array([0.25, 0.75]))
    assert many == pytest.approx([1.875, 0.0], rel=1e-12)


def test_a_seat_that_hears_nothing_in_one_of_the_fields_does_not_count():
    level, reference = np.array([[93.0, -np.inf, 70.0]]), np.array([[90.0, 80.0, NAN]])
    assert rms_difference(level, reference, np.ones(3), np.ones(1)) == pytest.approx(3.0, rel=1e-12)


def test_a_band_that_nobody_hears_in_both_has_no_difference_that_is_known():
    assert rms_difference(np.array([[NAN]]), np.array([[90.0]]), np.ones(1), np.ones(1)) == np.inf


def test_change_by_hand():
    # +1 at weight 1, −2 at weight 3, hidden, and +9 where nobody sits: mean (1 − 6)/4 = −1.25, greatest −2.
    value, reference = np.array([91.0, 78.0, NAN, 99.0]), np.array([90.0, 80.0, 70.0, 90.0])
    found = change(value, reference, np.array([1.0, 3.0, 1.0, 0.0]))
    assert (found.mean, found.greatest, found.index) == (-1.25, -2.0, 1)
    nothing = change(value[2:3], reference[2:3], np.ones(1))
    assert nothing.index is None
    assert np.isnan([nothing.mean, nothing.greatest]).all()


def test_first_arrival_is_that_of_what_is_not_hidden():
    arrival, hidden = np.array([[1.0, 1.0, 1.0], [2.0, 0.5, 2.0]]), np.array([[1, 0, 1], [0, 0, 1]], dtype=bool)
    assert first_arrival(arrival, hidden) == pytest.approx([2.0, 0.5, NAN], nan_ok=True)
