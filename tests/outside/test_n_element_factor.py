"""N equal elements at equal pitch, sin(Nψ/2)/(N sin(ψ/2)): lobes found in the field of N sources far away.

First side lobes computed with scipy; grating lobes exact, sinθ = mλ/d, at 343.2 m/s.
"""

import numpy as np
import pytest

from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import line_pressure
from acoustics.radiators import Radiator

C = 343.2
PITCH_M = 0.35
FAR_M = 1e6  # the phase error of a finite distance is k (aperture/2)²/(2r) < 6e-4 rad, 2e-6 of a level on a lobe


def row(count: int) -> np.ndarray:
    z = PITCH_M * (np.arange(count) - (count - 1) / 2.0)
    return np.column_stack([np.zeros(count), np.zeros(count), z])


@pytest.fixture
def level(same_sources, still_air):
    """Level at angles from the axis [deg] re the axis [dB]."""

    def at(count, frequency, angle, directivity=None):
        angle = np.radians(np.append(0.0, angle))
        place = FAR_M * np.column_stack([np.cos(angle), np.zeros_like(angle), np.sin(angle)])
        pressure = line_pressure(same_sources(row(count), directivity=directivity), place, frequency, still_air)[0]
        assert np.abs(pressure[0]) * FAR_M == pytest.approx(count, rel=1e-6)  # 1 Pa at 1 m each
        return 20.0 * np.log10(np.abs(pressure[1:] / pressure[0]))

    return at


# calc: scipy.
@pytest.mark.parametrize(("count", "lobe_db"), [(4, -11.3033), (8, -12.7973), (16, -13.1468)])
def test_first_side_lobe(level, count, lobe_db):
    """The highest level between the first null and the second, exact: sinθ = λ/(N d) and 2λ/(N d)."""
    frequency = 500.0
    nulls = np.degrees(np.arcsin(np.array([1.0, 2.0]) * C / frequency / (count * PITCH_M)))
    angles = np.linspace(*nulls, 2001)
    found = level(count, frequency, angles)
    assert found[[0, -1]].max() < -60.0
    assert found.max() == pytest.approx(lobe_db, rel=0, abs=1e-4)


# Exact, three decimals: first grating lobe of pitch 0.35 m.
@pytest.mark.parametrize(("frequency", "degrees"), [(2000.0, 29.359), (4000.0, 14.190), (8000.0, 7.041)])
def test_grating_lobe_of_points_is_as_loud_as_the_axis(level, frequency, degrees):
    angles = np.linspace(degrees - 2.0, degrees + 2.0, 4001)
    found = level(16, frequency, angles)
    assert angles[np.argmax(found)] == pytest.approx(degrees, rel=0, abs=0.001)
    assert abs(found.max()) < 1e-4


# calc: sinc(e m) for m = 1, the height that radiates being the share e of the pitch.
@pytest.mark.parametrize(("share", "lobe_db"), [(0.80, -12.620), (0.90, -19.228)])
@pytest.mark.parametrize("frequency", [2000.0, 8000.0])
def test_grating_lobe_of_radiating_heights(level, frequency, share, lobe_db):
    """At the angle of the lobe itself; the steep element pattern moves the peak of the product a little."""
    aperture = Radiator("rectangle", 0.01, share * PITCH_M, ((0.0, 0.0, 0.0),))
    element = Directivity("aperture", (aperture,), 0.5, 0.0, np.full(29, PASCAL_DB), C)
    angle = np.degrees(np.arcsin(C / frequency / PITCH_M))
    assert level(12, frequency, [angle], element)[0] == pytest.approx(lobe_db, rel=0, abs=6e-4)


def test_higher_orders_come_at_higher_frequencies(level):
    """Exact: at 8 kHz the lobes of orders 1 to 8 lie at arcsin(m λ/d); half way between them it is quiet."""
    sines = np.arange(1, 9) * C / 8000.0 / PITCH_M
    np.testing.assert_allclose(level(16, 8000.0, np.degrees(np.arcsin(sines))), 0.0, atol=1e-4)
    # Exact: with N even the factor is nil at ψ = π.
    assert level(16, 8000.0, np.degrees(np.arcsin(sines - sines[0] / 2.0))).max() < -60.0
