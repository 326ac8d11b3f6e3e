"""An arc of 30° and 8 m radius as a dense row of points: far field by quadrature, near field by stationary phase."""

import numpy as np

from acoustics.field import band_level, line_pressure

RADIUS_M = 8.0
ANGLE = np.radians(30.0)
C = 343.2


def arc(count: int) -> np.ndarray:
    phi = ANGLE * ((np.arange(count) + 0.5) / count - 0.5)
    return RADIUS_M * np.column_stack([np.cos(phi), np.zeros(count), np.sin(phi)])


def test_far_field(same_sources, still_air):
    """calc: |(1/Θ) ∫ e^{jkR cos(θ−φ)} dφ| at 8 kHz by quadrature, four decimals."""
    theta = np.radians([0.0, 5.0, 10.0, 15.0, 20.0, 30.0])
    expected = [-16.3443, -17.4483, -17.2842, -23.4238, -36.2058, -43.1940]
    far = 1e8  # here the phase still errs by kR²/(4r) < 3e-5 rad, 2e-4 dB of the lowest level
    place = far * np.column_stack([np.cos(theta), np.zeros_like(theta), np.sin(theta)])
    count = 8000
    pressure = line_pressure(same_sources(arc(count), 1.0 / count), place, 8000.0, still_air)[0]
    np.testing.assert_allclose(20.0 * np.log10(np.abs(pressure) * far), expected, rtol=0, atol=3e-4)


def test_inside_its_coverage_it_falls_as_the_law_says(same_sources, still_air):
    """Exact for an endless arc: |∫ e^{−jkR}/R ds| = √(λ/(r(1+κr))), stationary phase.

    The ends add ripple, which a third octave averages away: 0.25 dB is left at 4 kHz and up (calc). The points stand
    4.2 mm apart, a fifth of the shortest wavelength.
    """
    count = 1000
    step = RADIUS_M * ANGLE / count
    distance = np.array([4.0, 8.0, 16.0, 32.0, 64.0])
    place = np.column_stack([RADIUS_M + distance, np.zeros(5), np.zeros(5)])
    level = band_level(same_sources(arc(count), step), place, still_air)[22:]
    wavelength = C / 10.0 ** (np.arange(36, 43) / 10.0)[:, np.newaxis]  # midbands 4 kHz … 16 kHz
    law = 10.0 * np.log10(wavelength / (distance * (1.0 + distance / RADIUS_M)))
    assert level.shape == (7, 5)
    assert np.max(np.abs(level + 20.0 * np.log10(20e-6) - law)) < 0.25
