"""Twelve omnidirectional sources summed exactly, computed beforehand in a program of its own; and pairs of equals."""

import numpy as np
import pytest

from acoustics.field import band_level, line_pressure

RECEIVER = np.array([[30.0, 0.0, -2.0]])
TWELVE = np.column_stack([np.zeros(12), np.zeros(12), 0.35 * (np.arange(12) - 5.5)])


# calc: Σ e^{−jkr}/r, pitch 0.35 m on z, centred at 0, 343.2 m/s; magnitude to 1e-9, phase to 1e-4°.
@pytest.mark.parametrize(
    ("frequency", "magnitude", "degrees"),
    [
        (125.0, 0.391652909245, 14.6083),
        (1000.0, 0.125804548678, 161.4427),
        (8000.0, 0.142328285585, -128.8591),
    ],
)
def test_twelve_sources(same_sources, still_air, frequency, magnitude, degrees):
    found = line_pressure(same_sources(TWELVE), RECEIVER, frequency, still_air)[0, 0]
    assert np.abs(found) == pytest.approx(magnitude, rel=1e-9)
    assert np.degrees(np.angle(found)) == pytest.approx(degrees, rel=0, abs=1e-4)


def test_one_source_turns_by_its_path(same_sources, still_air):
    """Exact: 1 Pa at 1 m, and a quarter of a wavelength farther the phase is 90° later, e^{−jkr}."""
    wavelength = 343.2 / 500.0
    place = np.array([[wavelength, 0.0, 0.0], [1.25 * wavelength, 0.0, 0.0]])
    found = line_pressure(same_sources([0, 0, 0]), place, 500.0, still_air)[0]
    np.testing.assert_allclose(found * np.linalg.norm(place, axis=1), [1.0, -1.0j], rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(("delay_ms", "more_db"), [(0.0, 6.0206), (0.25, 3.0103)])
def test_two_equal_sources(same_sources, still_air, delay_ms, more_db):
    """Exact: in phase +6.0206 dB; a quarter of a period apart +3.0103 dB, as if incoherent."""
    place = np.array([[7.0, 0.0, 0.0]])
    pair = same_sources([[0, 0.2, 0], [0, -0.2, 0]], delay=[0.0, delay_ms / 1000.0])
    one = line_pressure(same_sources([0, 0.2, 0]), place, 1000.0, still_air)
    both = line_pressure(pair, place, 1000.0, still_air)
    assert 20.0 * np.log10(np.abs(both / one))[0, 0] == pytest.approx(more_db, rel=1e-5)


def test_two_equal_sources_in_bands(same_sources, still_air):
    """Exact: +6.0206 dB in every band where the paths are equal."""
    place = np.array([[7.0, 0.0, 0.0], [20.0, 0.0, 3.0]])
    one = band_level(same_sources([0, 0.2, 0]), place, still_air)
    both = band_level(same_sources([[0, 0.2, 0], [0, -0.2, 0]]), place, still_air)
    assert both.shape == (29, 2)
    np.testing.assert_allclose(both - one, 6.0206, rtol=1e-5, atol=0)


def test_one_source_is_94_db_at_1_m(same_sources, still_air):
    """Exact: 1 Pa is 93.9794 dB re 20 µPa, and falls by 20 dB to 10 m, in every band."""
    level = band_level(same_sources([0, 0, 0]), np.array([[1.0, 0.0, 0.0], [0.0, 8.0, -6.0]]), still_air)
    np.testing.assert_allclose(level, np.broadcast_to([93.9794, 73.9794], (29, 2)), rtol=1e-6, atol=0)
