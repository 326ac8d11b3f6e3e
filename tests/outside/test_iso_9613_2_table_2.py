"""ISO 9613-2:1996, Table 2: atmospheric attenuation coefficient for octave bands of noise [dB/km].

Its columns are the nominal midbands 63 Hz to 8 kHz; the coefficients are those of ISO 9613-1 at the exact midbands.
"""

import numpy as np
import pytest

from acoustics.air import absorption

OCTAVES = 10.0 ** (0.3 * np.arange(-4, 4) + 3.0)  # exact midbands of 63 Hz … 8 kHz, base 10

# °C, % relative humidity, dB/km. Published.
TABLE_2 = [
    (10, 70, "0.1 0.4 1.0 1.9 3.7 9.7 32.8 117"),
    (20, 70, "0.1 0.3 1.1 2.8 5.0 9.0 22.9 76.6"),
    (30, 70, "0.1 0.3 1.0 3.1 7.4 12.7 23.1 59.3"),
    (15, 20, "0.3 0.6 1.2 2.7 8.2 28.2 88.8 202"),
    (15, 50, "0.1 0.5 1.2 2.2 4.2 10.8 36.2 129"),
]


@pytest.mark.parametrize(("celsius", "humidity", "printed"), TABLE_2)
def test_row(celsius, humidity, printed):
    """Within half of the last digit that is printed; no further deviation is needed."""
    digits = printed.split()
    half = np.array([0.05 if "." in digit else 0.5 for digit in digits])
    found = 1000.0 * absorption(OCTAVES, celsius, humidity)
    assert np.all(np.abs(found - np.array(digits, dtype=float)) <= half)
