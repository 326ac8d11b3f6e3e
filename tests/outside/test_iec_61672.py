"""IEC 61672-1:2013, Table 3: frequency weightings A and C at nominal frequencies."""

import numpy as np
import pytest

from acoustics.bands import midbands, weighting

# Nominal Hz, exponent of the exact midband 10^(n/10) Hz, A, C [dB]. Published: Table 3, rounded to 0.1 dB.
TABLE_3 = [
    (31.5, 15, -39.4, -3.0),
    (63, 18, -26.2, -0.8),
    (125, 21, -16.1, -0.2),
    (250, 24, -8.6, 0.0),
    (500, 27, -3.2, 0.0),
    (1000, 30, 0.0, 0.0),
    (2000, 33, 1.2, -0.2),
    (4000, 36, 1.0, -0.8),
    (8000, 39, -1.1, -3.0),
    (16000, 42, -6.6, -8.5),
]
HALF_DIGIT_DB = 0.05 + 1e-9


@pytest.mark.parametrize(("nominal", "tenths", "a", "c"), TABLE_3)
def test_table_3(nominal, tenths, a, c):
    exact = 10.0 ** (tenths / 10.0)
    assert abs(weighting(exact, "A") - a) <= HALF_DIGIT_DB
    assert abs(weighting(exact, "C") - c) <= HALF_DIGIT_DB


def test_bands_are_weighted_at_their_midbands():
    """The third-octave midbands hold all the octave ones of the table."""
    found = weighting(midbands()[1::3], "A")
    np.testing.assert_array_less(np.abs(found - [row[2] for row in TABLE_3]), HALF_DIGIT_DB)


def test_unknown_weighting():
    with pytest.raises(ValueError, match="must be A or C, not Z"):
        weighting(1000.0, "Z")
