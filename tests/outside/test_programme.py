"""Programme spectra by their definitions: pink noise has a power density that falls as 1/f.

Bands as in IEC 61260-1, base 10: edges at 10^((n ± 1/2)/10) Hz, n = 14 … 42. The sloped programme is the project's own;
it is checked through scipy's filters.
"""

import numpy as np
import pytest
from scipy import integrate, signal

from acoustics.bands import band_edges
from acoustics.programme import PINK, SLOPED, against_pink, sloped_levels


def test_pink_noise_by_its_density():
    """calc: scipy quadrature of 1/f over each band and over all of them."""
    edges = [(10.0 ** ((n - 0.5) / 10.0), 10.0 ** ((n + 0.5) / 10.0)) for n in range(14, 43)]
    energy = np.array([integrate.quad(lambda f: 1.0 / f, *pair)[0] for pair in edges])
    expected = 10.0 * np.log10(energy / integrate.quad(lambda f: 1.0 / f, edges[0][0], edges[-1][1], limit=200)[0])
    np.testing.assert_allclose(PINK.relative_db, expected, rtol=1e-9, atol=0)
    np.testing.assert_allclose(band_edges(), edges, rtol=1e-12, atol=0)


def test_pink_noise_of_100_db():
    """exact: each of 29 bands lies 10 lg 29 = 14.6240 dB below the sum."""
    np.testing.assert_allclose(np.add(PINK.relative_db, 100.0), np.full(29, 85.3760), rtol=1e-6, atol=0)


def test_crest_factor_of_pink_noise():
    """Common practice, no source: 12 dB. Of a sloped programme none is known."""
    assert PINK.crest_db == 12.0
    assert SLOPED.crest_db is None


# exact: 10 lg (17 · 1.02), (2 · 1.04), (1.0256 · 1.1), 2 and 10; at 1 and 9 kHz the low end is 2.6e-6 and nothing.
@pytest.mark.parametrize(
    ("hz", "fall_db"), [(20.0, 12.39049), (40.0, 3.18063), (100.0, 0.523707), (1000.0, 3.01031), (9000.0, 10.0)]
)
def test_sloped_programme_by_hand(hz, fall_db):
    assert sloped_levels(hz) == pytest.approx(-fall_db, rel=3e-6, abs=0)


def test_sloped_programme_through_filters():
    """calc: scipy. Its low end is a Butterworth high-pass; its high end halves the decibels of a first-order low-pass
    whose frequency goes as √f.
    """
    hz = 10.0 ** (np.arange(14, 43) / 10.0)
    _, low = signal.freqs(*signal.butter(2, 40.0, "highpass", analog=True), worN=hz)
    _, high = signal.freqs(*signal.butter(1, 1000.0**0.5, analog=True), worN=hz**0.5)
    shape = 20.0 * np.log10(np.abs(low * high))
    found = against_pink(SLOPED)
    np.testing.assert_allclose(np.diff(found), np.diff(shape), rtol=1e-9, atol=0)
    # of the same total, the middle is louder than pink noise and the ends are softer
    assert (found[[0, 12, 28]] * [-1.0, 1.0, -1.0] > 1.0).all()
