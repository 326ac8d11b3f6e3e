"""Far fields of the circular piston and the uniform line, by formula and through the field of one enclosure.

Zeros of J1 as tabulated in Abramowitz & Stegun, Handbook of Mathematical Functions, Table 9.5; half-power points,
lobes and directivity indices computed with scipy from 2 J1(x)/x and sin(u)/u.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import line_pressure
from acoustics.radiators import Radiator, line, piston

C = 343.2
FAR_M = 1000.0
KA = 12.0  # ka, and kL/2, of the enclosures below: the largest x looked at is 10.17
SIZE_M = 0.4
FREQUENCY = KA * C / (np.pi * SIZE_M)

# Published: zeros of J1. Exact: zeros of the sine.
PISTON_NULLS = (3.83170597, 7.01558667, 10.17346814)
LINE_NULLS = (np.pi, 2 * np.pi, 3 * np.pi)
# calc: scipy; x and level [dB]. −3.0103 is half power.
PISTON_LEVELS = [(1.616340, -3.0103), (2.211785, -6.0), (5.135622, -17.5701), (8.417244, -23.8112)]
LINE_LEVELS = [(1.391557, -3.0103), (1.892746, -6.0), (4.493409, -13.2615), (7.725252, -17.8304)]


def decibels(value):
    return 20.0 * np.log10(np.abs(value))


def enclosure(shape: str) -> Directivity:
    """One aperture without rear shading: 0.4 m across, or 0.4 m high and narrow."""
    radiator = Radiator(shape, SIZE_M if shape == "circle" else 0.01, SIZE_M, ((0.0, 0.0, 0.0),))
    return Directivity(shape, (radiator,), 0.5, 0.0, np.full(29, PASCAL_DB), C)


@pytest.fixture
def relative_pressure(same_sources, still_air):
    """Pressure far away at x = KA sinθ below the axis, re that on the axis."""

    def at(shape, x):
        sine = np.append(0.0, x) / KA
        place = FAR_M * np.column_stack([np.sqrt(1.0 - sine**2), np.zeros_like(sine), -sine])
        pressure = line_pressure(same_sources([0, 0, 0], directivity=enclosure(shape)), place, FREQUENCY, still_air)[0]
        return pressure[1:] / pressure[0]

    return at


@pytest.mark.parametrize(("pattern", "nulls"), [(piston, PISTON_NULLS), (line, LINE_NULLS)])
def test_nulls(pattern, nulls):
    """A null is a change of sign within the digits that are given."""
    for x in nulls:
        assert pattern(x - 1e-7) * pattern(x + 1e-7) < 0


@pytest.mark.parametrize(("pattern", "levels"), [(piston, PISTON_LEVELS), (line, LINE_LEVELS)])
def test_levels(pattern, levels):
    """Slopes are below 8 dB per unit of x here: seven digits of x and four decimals of level give 1e-4 dB."""
    for x, level in levels:
        assert decibels(pattern(x)) == pytest.approx(level, rel=0, abs=1e-4)


@pytest.mark.parametrize(("pattern", "levels"), [(piston, PISTON_LEVELS[2:]), (line, LINE_LEVELS[2:])])
def test_lobes_are_where_the_pattern_peaks(pattern, levels):
    for x, _ in levels:
        peak = minimize_scalar(lambda value: -abs(pattern(value)), bounds=(x - 0.5, x + 0.5), method="bounded").x
        assert peak == pytest.approx(x, rel=1e-5)  # a flat top: the search finds it to the root of its tolerance


def test_on_the_axis_and_in_both_senses():
    for pattern in (piston, line):
        assert pattern(0.0) == 1.0
        assert pattern(1e-7) == pytest.approx(1.0, rel=1e-12)
        np.testing.assert_array_equal(pattern([-2.0, -5.0]), pattern([2.0, 5.0]))


@pytest.mark.parametrize(("shape", "nulls"), [("circle", PISTON_NULLS), ("rectangle", LINE_NULLS)])
def test_nulls_of_an_enclosure(relative_pressure, shape, nulls):
    """Without losses or rear shading the pattern is real: it changes sign at a null, and nowhere near."""
    for x in nulls:
        before, after = relative_pressure(shape, [x - 1e-6, x + 1e-6])
        assert before.real * after.real < 0
        assert np.abs(relative_pressure(shape, [x - 0.5, x + 0.5])).min() > 0.01


@pytest.mark.parametrize(("shape", "levels"), [("circle", PISTON_LEVELS), ("rectangle", LINE_LEVELS)])
def test_levels_of_an_enclosure(relative_pressure, shape, levels):
    x, expected = np.transpose(levels)
    np.testing.assert_allclose(decibels(relative_pressure(shape, x)), expected, rtol=0, atol=1e-4)


def test_a_circle_is_as_wide_as_high_and_a_narrow_rectangle_wide(same_sources, still_air):
    """−6 dB, 10^−0.3, at the side of the circle; exact: 0.01 m has sin(u)/u with u = 2.211785/40 at the same angle."""
    sine = 2.211785 / KA
    place = FAR_M * np.array([[1.0, 0.0, 0.0], [np.sqrt(1.0 - sine**2), sine, 0.0]])
    for shape, expected in (("circle", 0.501187), ("rectangle", 0.999490)):
        found = line_pressure(same_sources([0, 0, 0], directivity=enclosure(shape)), place, FREQUENCY, still_air)[0]
        np.testing.assert_allclose(np.abs(found[1] / found[0]), expected, rtol=1e-5, atol=0)


# calc: scipy, 10 lg((ka)²/(1 − J1(2ka)/ka)): a piston in a baffle, which radiates into the half space in front.
@pytest.mark.parametrize(("ka", "index_db"), [(1.0, 3.73377), (2.0, 5.87951), (5.0, 14.01733), (10.0, 20.02912)])
def test_directivity_index(ka, index_db):
    """4π over the integral of the square over all directions in front (Gauss–Legendre over cosθ, even in azimuth)."""
    frequency = ka * C / (np.pi * SIZE_M)
    nodes, weights = np.polynomial.legendre.leggauss(60)
    cosine, weights = (nodes + 1.0) / 2.0, weights / 2.0
    azimuth = np.arange(16) * 2.0 * np.pi / 16
    sine = np.sqrt(1.0 - cosine**2)[:, np.newaxis]
    forward = np.broadcast_to(cosine[:, np.newaxis], (60, 16))
    directions = np.stack([forward, sine * np.cos(azimuth), sine * np.sin(azimuth)], axis=-1)
    square = np.abs(enclosure("circle").at(directions, frequency)) ** 2
    power = 2.0 * np.pi * np.sum(weights * square.mean(axis=1))
    assert 10.0 * np.log10(4.0 * np.pi / power) == pytest.approx(index_db, rel=0, abs=1e-5)
