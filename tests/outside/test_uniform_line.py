"""A uniform line 4 m long, as a dense row of points: on its axis near and far, and where one turns into the other.

Levels computed by quadrature, the border's values with Fresnel integrals (paraxial), both at 343.2 m/s.
"""

import numpy as np
import pytest

from acoustics.field import line_pressure

LENGTH_M = 4.0
C = 343.2


@pytest.fixture
def on_axis(same_sources, still_air):
    """Level of (1/L) ∫ e^{−jkR}/R dz on the axis [dB re 1 Pa]: equal steps, a point in the middle of each."""

    def level(frequency, distance, count):
        z = LENGTH_M * ((np.arange(count) + 0.5) / count - 0.5)
        row = np.column_stack([np.zeros(count), np.zeros(count), z])
        place = np.column_stack([distance, np.zeros_like(distance), np.zeros_like(distance)])
        pressure = line_pressure(same_sources(row, 1.0 / count), place, frequency, still_air)[0]
        return 20.0 * np.log10(np.abs(pressure))

    return level


def test_levels_at_1_khz(on_axis):
    """calc: quadrature, six decimals; steps of 0.5 mm err by less than half of the last one (error ~ step²)."""
    distance = np.array([5.0, 10.0, 20.0, 50.0, 200.0])
    expected = [-23.644393, -25.497337, -27.349375, -34.189268, -46.033686]
    np.testing.assert_allclose(on_axis(1000.0, distance, 8000), expected, rtol=0, atol=1e-6)


# calc: Fresnel integrals, rounded to 0.0001 and 0.001 dB, slopes to 0.01; border rB = L² f/(2c).
@pytest.mark.parametrize(
    ("borders", "level_db", "level_digits", "per_doubling"), [(1.0, -0.9674, 5e-5, -4.66), (8.0, -0.015, 5e-4, -6.00)]
)
def test_border(on_axis, borders, level_db, level_digits, per_doubling):
    """At 8 kHz, where r/L is 46 and more: 1/R instead of 1/r adds (L/r)²/24·8.7 dB < 2e-4 dB to what is paraxial."""
    frequency = 8000.0
    border = LENGTH_M**2 * frequency / (2.0 * C)
    step = 0.01
    distance = borders * border * 2.0 ** np.array([0.0, step, -step])
    level = on_axis(frequency, distance, 4000)
    assert level[0] + 20.0 * np.log10(distance[0]) == pytest.approx(level_db, rel=0, abs=level_digits + 2e-4)
    assert (level[1] - level[2]) / (2.0 * step) == pytest.approx(per_doubling, rel=0, abs=0.006)
