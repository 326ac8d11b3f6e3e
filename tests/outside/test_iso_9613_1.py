"""ISO 9613-1:1993, Attenuation of sound during propagation outdoors, part 1: absorption by the atmosphere.

Table 1 (pure-tone attenuation at one standard atmosphere), the dependence on pressure, and the speed of sound.
"""

import math

import numpy as np
import pytest

from acoustics.air import absorption, speed_of_sound


def exact_midband(nominal_hz: float) -> float:
    """The table names nominal midbands; it was computed at the exact ones, 10^(n/10) Hz."""
    return 10.0 ** (round(10.0 * math.log10(nominal_hz)) / 10.0)


# °C, % relative humidity, nominal Hz, dB/km. Published: Table 1, three digits. The equations meet these rows within
# 0.39 %, the table's rounding included (which alone may be 0.5 %); the standard claims ±10 % for the true attenuation.
TABLE_1 = [
    (-20, 10, 50, 0.589),
    (-20, 50, 1000, 9.14),
    (-20, 70, 8000, 27.8),
    (0, 10, 50, 0.302),
    (0, 50, 1000, 6.83),
    (0, 20, 2000, 34.6),
    (0, 100, 6300, 88.0),
    (5, 50, 1000, 5.08),
    (10, 70, 1000, 3.66),
    (10, 50, 4000, 46.7),
    (15, 50, 1000, 4.16),
    (15, 100, 10000, 105.0),
    (20, 50, 1000, 4.66),
    (20, 50, 2000, 9.86),
    (25, 50, 1000, 5.68),
    (25, 100, 2000, 11.4),
    (30, 50, 1000, 7.03),
    (30, 50, 4000, 24.5),
    (35, 50, 1000, 8.43),
    (40, 50, 1000, 9.52),
    (50, 50, 2000, 24.8),
]


@pytest.mark.parametrize(("celsius", "humidity", "nominal", "db_per_km"), TABLE_1)
def test_table_1(celsius, humidity, nominal, db_per_km):
    found = 1000.0 * absorption(exact_midband(nominal), celsius, humidity)
    np.testing.assert_allclose(found, db_per_km, rtol=0.004, atol=0)


# 80 kPa, 20 °C, 50 %. calc: two independent libraries that both implement the standard; six digits,
# so the largest value is rounded by 4.9e-6 of itself.
@pytest.mark.parametrize(("nominal", "db_per_km"), [(1000, 4.61884), (4000, 28.9305), (8000, 102.482)])
def test_lower_pressure(nominal, db_per_km):
    found = 1000.0 * absorption(exact_midband(nominal), 20.0, 50.0, 80.0)
    np.testing.assert_allclose(found, db_per_km, rtol=5e-6, atol=0)


def test_arrays_broadcast():
    """A row of temperatures against a column of frequencies gives the rows of Table 1 again."""
    found = 1000.0 * absorption(np.array([[1000.0], [10.0**3.3]]), np.array([20.0, 25.0]), np.array([50.0, 50.0]))
    assert found.shape == (2, 2)
    np.testing.assert_allclose([found[0, 0], found[1, 0], found[0, 1]], [4.66, 9.86, 5.68], rtol=0.004, atol=0)


# calc: pyfar 0.8.1, the standard's form 343.2 √(T/293.15 K), three decimals.
@pytest.mark.parametrize(("celsius", "speed"), [(0.0, 331.286), (20.0, 343.200), (30.0, 349.005)])
def test_speed_of_sound(celsius, speed):
    np.testing.assert_allclose(speed_of_sound(celsius), speed, rtol=0.0005 / 331.0, atol=0)


# calc: pyfar 0.8.1 after Cramer, JASA 93(5) 2510 (1993), and CoolProp 8.0.0: humid air of 50 %. The standard's form
# leaves humidity out; the library states that this costs no more than 0.4 % up to 30 °C.
@pytest.mark.parametrize(
    ("celsius", "cramer", "coolprop"), [(0.0, 331.602, 331.594), (20.0, 343.985, 343.963), (30.0, 350.308, 350.280)]
)
def test_humid_air_is_at_most_0_4_percent_faster(celsius, cramer, coolprop):
    dry = float(speed_of_sound(celsius))
    assert 1.0005 < cramer / dry < 1.004
    assert 1.0005 < coolprop / dry < 1.004


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ((0.0, 20.0, 50.0, 101.325), "frequency"),
        ((1000.0, -274.0, 50.0, 101.325), "temperature"),
        ((1000.0, 20.0, 0.0, 101.325), "humidity"),
        ((1000.0, 20.0, 50.0, -1.0), "pressure"),
    ],
)
def test_air_that_cannot_be(arguments, what):
    with pytest.raises(ValueError, match=f"{what} must be positive"):
        absorption(*arguments)
