"""IEC 61260-1, third-octave bands, base 10: exact midbands 1000·G^(x/3), edges G^(±1/6) of them, G = 10^0.3."""

import numpy as np
import pytest

from acoustics import bands

# Exact: G = 10^0.3 makes third octaves tenths of a decade. 50 Hz to 16 kHz, [Hz] to four decimals.
MIDBANDS = """50.1187 63.0957 79.4328 100 125.8925 158.4893 199.5262 251.1886 316.2278 398.1072 501.1872 630.9573
    794.3282 1000 1258.9254 1584.8932 1995.2623 2511.8864 3162.2777 3981.0717 5011.8723 6309.5734 7943.2823 10000
    12589.2541 15848.9319"""


def test_midbands():
    expected = np.array(MIDBANDS.split(), dtype=float)
    found = bands.midbands()
    assert found.shape == (29,)
    np.testing.assert_allclose(found[3:], expected, rtol=1e-6, atol=0)  # rounding: 0.00005 of 50 Hz
    np.testing.assert_allclose(found[:3], [25.1189, 31.6228, 39.8107], rtol=2e-6, atol=0)  # exact, a decade below


def test_nominal_names_round_the_exact_midbands():
    """Published: nominal midbands are the exact ones rounded to a preferred number, within 1.3 %."""
    assert len(bands.NOMINAL_HZ) == 29
    np.testing.assert_allclose(bands.NOMINAL_HZ, bands.midbands(), rtol=0.013, atol=0)


def test_edges():
    edges = bands.band_edges()
    assert edges.shape == (29, 2)
    # Exact: 10^2.95 and 10^3.05 Hz.
    np.testing.assert_allclose(edges[16], [891.2509, 1122.0185], rtol=1e-7, atol=0)
    # Exact: a band ends where the next begins.
    np.testing.assert_allclose(edges[:-1, 1], edges[1:, 0], rtol=1e-12, atol=0)


# Exact: an octave's edges are its midband times G^(∓1/2): 10^2.85 … 10^3.15 Hz around 1 kHz, and so on.
@pytest.mark.parametrize(
    ("octave", "low", "high"),
    [
        (31.5, 22.3872, 44.6684),
        (125.0, 89.1251, 177.8279),
        (250.0, 177.8279, 354.8134),
        (1000.0, 707.9458, 1412.5375),
        (8000.0, 5623.4133, 11220.1845),
    ],
)
def test_three_thirds_make_an_octave(octave, low, high):
    thirds = bands.octave_bands(octave)
    edges = bands.band_edges()[thirds]
    assert len(edges) == 3
    np.testing.assert_allclose([edges[0, 0], edges[-1, 1]], [low, high], rtol=2e-6, atol=0)


def test_octaves_that_are_reported_are_neighbours():
    slices = [bands.octave_bands(octave) for octave in bands.OCTAVES_HZ]
    assert [s.start for s in slices[1:]] == [s.stop for s in slices[:-1]]


@pytest.mark.parametrize("octave", [16000.0, 25.0, 800.0, 1001.0])
def test_no_octave(octave):
    with pytest.raises(ValueError, match="is no octave midband"):
        bands.octave_bands(octave)


@pytest.mark.parametrize(("count", "more_db"), [(2, 3.0103), (3, 4.7712), (10, 10.0)])
def test_equal_energies_add(count, more_db):
    """Exact: n equal levels add 10 lg n, and an absent one (NaN) nothing."""
    levels = np.append(np.full(count, 90.0), np.nan)
    np.testing.assert_allclose(bands.energy_sum(levels) - 90.0, more_db, rtol=2e-5, atol=0)


def test_energy_sum_of_nothing_is_absent():
    found = bands.energy_sum(np.array([[np.nan, 80.0, 70.0], [np.nan, np.nan, 70.0]]))
    assert np.isnan(found[0])
    # Exact: 80 alone; 70 twice is 73.0103.
    np.testing.assert_allclose(found[1:], [80.0, 73.0103], rtol=1e-6, atol=0)
    np.testing.assert_allclose(bands.energy_sum([[80.0, 80.0], [70.0, 70.0]], axis=1), [83.0103, 73.0103], rtol=1e-6)
