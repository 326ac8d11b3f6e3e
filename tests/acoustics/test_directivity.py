"""Directivities of the catalogue's enclosures: table against formula, symmetry, poles, limits, crossovers."""

import numpy as np
import pytest

from acoustics import bands, charts, radiators
from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import Medium, band_level, lossless

C = 343.2
NAMES = ("compact", "large", "medium", "point", "sub")
CABINETS = NAMES[:3]


def sphere(count: int, seed: int = 0) -> np.ndarray:
    """Directions that are uniform over the sphere."""
    vectors = np.random.default_rng(seed).normal(size=(count, 3))
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


def decibels(value):
    return 20.0 * np.log10(np.abs(value))


def in_band(directivity: Directivity, directions, band: int):
    """As the sum looks it up at a midband."""
    return charts.look_up(directivity, directions, bands.midbands()[band])[0]


def test_catalogue_is_covered(enclosures):
    assert tuple(enclosures) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_table_against_formula(enclosures, name):
    """Stated: within 0.1 dB down to −20 dB, in all bands; and 0.01 dB of the axis level at any level."""
    directions = sphere(5000)
    for frequency, looked_up in zip(
        bands.midbands(), charts.look_up(enclosures[name], directions, bands.midbands()), strict=True
    ):
        exact = enclosures[name].at(directions, float(frequency))
        counted = np.abs(exact) > 0.1
        assert counted.any()
        assert np.max(np.abs(decibels(looked_up[counted] / exact[counted]))) < 0.1
        assert decibels(1.0 + np.max(np.abs(looked_up - exact))) < 0.01


@pytest.mark.parametrize("shape", ["circle", "rectangle"])
def test_table_of_the_largest_aperture(shape):
    """Stated: apertures up to 0.4 m at 16 kHz, 0.01 dB of the axis level."""
    aperture = radiators.Radiator(shape, 0.4, 0.4, ((0.0, 0.0, 0.0),))
    directivity = Directivity(shape, (aperture,), 0.5, -20.0, np.full(29, PASCAL_DB), C)
    directions = sphere(5000)
    difference = in_band(directivity, directions, 28) - directivity.at(directions, 10.0**4.2)
    assert 0 < decibels(1.0 + np.max(np.abs(difference))) < 0.01


def test_a_point_is_exactly_one(enclosures):
    directions = sphere(50)
    np.testing.assert_array_equal(enclosures["point"].at(directions, 8000.0), np.ones(50))
    np.testing.assert_array_equal(in_band(enclosures["point"], directions, 28), np.ones(50))
    # Exact: 1 Pa is 93.9794 dB re 20 µPa.
    np.testing.assert_allclose(enclosures["point"].level_1m_db, 93.9794, rtol=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_one_on_the_reference_axis(enclosures, name):
    axis = np.array([[1.0, 0.0, 0.0]])
    for band, frequency in enumerate(bands.midbands()):
        assert enclosures[name].at(axis, float(frequency))[0] == pytest.approx(1.0, rel=1e-12)
        assert in_band(enclosures[name], axis, band)[0] == pytest.approx(1.0, rel=1e-6)  # single precision


@pytest.mark.parametrize("name", CABINETS)
def test_left_is_as_right(enclosures, name):
    """The catalogue's enclosures are symmetric; the table keeps that to rounding."""
    directions = sphere(300)
    for band in (0, 10, 16, 22, 28):
        frequency = float(bands.midbands()[band])
        mirrored = directions * [1.0, -1.0, 1.0]
        found, other = enclosures[name].at(directions, frequency), enclosures[name].at(mirrored, frequency)
        np.testing.assert_allclose(found, other, rtol=0, atol=1e-12)
        found, other = in_band(enclosures[name], directions, band), in_band(enclosures[name], mirrored, band)
        np.testing.assert_allclose(found, other, rtol=0, atol=1e-6)  # single precision


@pytest.mark.parametrize("pole", [1.0, -1.0])
@pytest.mark.parametrize("name", CABINETS)
def test_poles_and_seam(enclosures, name, pole):
    """Around the poles and across azimuth 0 the table follows the formula as closely as elsewhere."""
    turn = np.radians(np.append(np.linspace(0.0, 360.0, 37), [-1e-9, 359.9999]))
    for small in (0.0, 1e-7, 0.3, 0.5, 1.2):
        angle = np.full_like(turn, np.radians(small))
        directions = np.column_stack([pole * np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn)])
        for band in (16, 28):
            exact = enclosures[name].at(directions, float(bands.midbands()[band]))
            assert np.max(np.abs(decibels(in_band(enclosures[name], directions, band) / exact))) < 0.1
            if small <= 1e-7:
                assert np.ptp(np.abs(in_band(enclosures[name], directions, band))) < 1e-6


@pytest.mark.parametrize(("name", "rear_db"), [("compact", -20.0), ("large", -24.0), ("medium", -22.0)])
def test_straight_behind(enclosures, name, rear_db):
    """The catalogue's rear level at high frequencies; as in front at low ones."""
    behind = np.array([[-1.0, 0.0, 0.0]])
    assert decibels(enclosures[name].at(behind, 16000.0))[0] == pytest.approx(rear_db, rel=0, abs=0.05)
    levels = decibels(charts.look_up(enclosures[name], behind, bands.midbands())[:, 0])
    assert np.all(np.diff(levels) < 0)
    assert levels[0] > -1.0


@pytest.mark.parametrize("name", CABINETS)
def test_omnidirectional_where_it_is_small(enclosures, name):
    assert np.max(np.abs(decibels(enclosures[name].at(sphere(500), 1.0)))) < 0.01


# Computed by hand: ρ = 0.1; kw/2 = 1 leaves R = 0.1 + 0.9/2 = 0.55 straight behind, and 60° from there
# (sin² = 0.75) 0.55 + 0.45·0.75.
@pytest.mark.parametrize(("forward", "share"), [(1.0, 1.0), (0.2, 1.0), (0.0, 1.0), (-0.5, 0.8875), (-1.0, 0.55)])
def test_rear_by_hand(forward, share):
    width = 0.5
    frequency = C / (np.pi * width)
    assert radiators.rear(forward, frequency, width, -20.0, C) == pytest.approx(share, rel=1e-12)


@pytest.mark.parametrize(("frequency", "share"), [(1e-3, 1.0), (1e7, 0.1)])
def test_rear_limits(frequency, share):
    assert radiators.rear(-1.0, frequency, 0.5, -20.0, C) == pytest.approx(share, rel=1e-5)


def test_crossover():
    """Half at the crossover, 1/17 an octave beyond it, and the two halves add up to one everywhere."""
    frequency = np.array([100.0, 500.0, 1000.0, 2000.0, 16000.0])
    above = radiators.crossover(frequency, 1000.0, None)
    below = radiators.crossover(frequency, None, 1000.0)
    np.testing.assert_allclose(above[1:4], [1 / 17, 1 / 2, 16 / 17], rtol=1e-12)
    np.testing.assert_allclose(above + below, 1.0, rtol=1e-12)
    np.testing.assert_array_equal(radiators.crossover(frequency, None, None), np.ones(5))
    # Between two crossovers of 500 and 2000 Hz: (16/17)² at 1 kHz.
    assert radiators.crossover(1000.0, 500.0, 2000.0) == pytest.approx((16 / 17) ** 2, rel=1e-12)


@pytest.mark.parametrize("coverage", [60.0, 90.0, 110.0])
def test_coverage_is_where_the_horn_falls_to_half(coverage):
    """Common practice, no source: nominal coverage is the angle between the −6 dB directions."""
    side = np.sin(np.radians(coverage / 2.0))
    np.testing.assert_allclose(radiators.horn([0.0, side, -side], coverage), [1.0, 0.5, 0.5], rtol=1e-12)


@pytest.mark.parametrize(("name", "coverage"), [("compact", 110.0), ("large", 90.0), ("medium", 100.0)])
def test_coverage_of_an_enclosure(enclosures, name, coverage):
    """At 10 kHz the horn is alone: −6 dB at half the nominal coverage, to either side."""
    angle = np.radians([coverage / 2.0, -coverage / 2.0])
    directions = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(2)])
    np.testing.assert_allclose(decibels(in_band(enclosures[name], directions, 26)), -6.02, rtol=0, atol=0.05)


def test_a_place_ahead_is_ahead_in_phase():
    """e^{+jk n·d}: a radiator 10 cm towards the listener leads by kd; to its side it does not."""
    frequency = C / 0.4  # a quarter of a wavelength
    ahead = radiators.Radiator("circle", 0.01, 0.0, ((0.1, 0.0, 0.0),))
    found = radiators.radiation([ahead], [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], frequency, C)
    np.testing.assert_allclose(found, [1.0j, 1.0], rtol=0, atol=0.01)
    assert abs(found[0] - 1.0j) < 1e-12


def test_kinds_are_averaged_over_their_places():
    """At a crossover half of two circles and half of a rectangle, all tiny: by hand cos(kd n_y)/2 + 1/2."""
    apart, frequency = 0.2, 800.0
    low = radiators.Radiator("circle", 1e-4, 0.0, ((0.0, apart, 0.0), (0.0, -apart, 0.0)), None, frequency)
    high = radiators.Radiator("rectangle", 1e-4, 1e-4, ((0.0, 0.0, 0.0),), frequency, None)
    angle = np.radians([0.0, 25.0, 90.0])
    directions = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(3)])
    expected = np.cos(2.0 * np.pi * frequency / C * apart * np.sin(angle)) / 2.0 + 0.5
    np.testing.assert_allclose(radiators.radiation([low, high], directions, frequency, C), expected, rtol=1e-4)


@pytest.mark.parametrize(("wavelengths", "share"), [(0.0, 1.0), (0.25, 0.70711), (1.0 / 3.0, 0.5), (0.5, 0.0)])
def test_what_is_left_on_the_axis(wavelengths, share):
    """Two radiators one behind the other: by hand |cos(π d/λ)| of their sum is left on the axis."""
    places = ((0.0, 0.0, 0.0), (-wavelengths, 0.0, 0.0))
    pair = radiators.Radiator("circle", 0.01, 0.0, places)
    directivity = Directivity("pair", (pair,), 0.5, -20.0, np.full(29, PASCAL_DB), C)
    assert directivity.axis_share(C) == pytest.approx(share, rel=1e-5, abs=1e-12)  # a wavelength of 1 m


def test_table_of_an_enclosure_without_symmetry():
    """One aperture up and left of the reference point, tabulated as well as others, the poles included."""
    aside = radiators.Radiator("rectangle", 0.1, 0.15, ((0.02, 0.11, 0.08),))
    directivity = Directivity("aside", (aside,), 0.5, -20.0, np.full(29, PASCAL_DB), C)
    angle = np.radians(np.linspace(0.0, 2.5, 26))
    aslant = np.column_stack([np.cos(angle), 0.6 * np.sin(angle), 0.8 * np.sin(angle)])
    for directions in (sphere(2000), aslant, aslant * [-1.0, 1.0, 1.0], aslant * [1.0, -1.0, 1.0]):
        exact = directivity.at(directions, 10.0**4.2)
        assert np.max(np.abs(in_band(directivity, directions, 28) - exact)) < 0.003


def test_levels_of_the_catalogue(enclosures):
    """As typed in the file of the item: `large` is used from 31.5 Hz, with 109 dB at 1 kHz and 103 dB at 16 kHz."""
    level = enclosures["large"].level_1m_db
    assert np.isnan(level[0])
    np.testing.assert_array_equal(level[[1, 16, 28]], [90.0, 109.0, 103.0])


@pytest.mark.parametrize("azimuth", [-30.0, 0.0, 17.0])
def test_seats_in_the_plane_of_a_turned_front(azimuth, sources):
    """Where rounding alone tells front from rear: the band sum has the formula's directivity there too."""
    aperture = radiators.Radiator("rectangle", 0.1, 0.5, ((0.0, 0.0, 0.0),))
    tall = Directivity("tall", (aperture,), 0.5, -20.0, np.full(29, PASCAL_DB), C)
    turn = np.radians(azimuth)
    ahead, left = np.array([np.cos(turn), np.sin(turn), 0.0]), np.array([-np.sin(turn), np.cos(turn), 0.0])
    axes = np.array([[ahead, left, [0.0, 0.0, 1.0]]])
    angle = np.radians(np.arange(-85.0, 86.0, 2.3))[:, np.newaxis]
    places = 10.0 * (np.cos(angle) * left + np.sin(angle) * np.array([0.0, 0.0, 1.0]))
    one = sources([0, 0, 0], [tall], axes=axes)
    for place in places:
        found = band_level(one, place[np.newaxis], Medium(C, lossless), parts=np.ones(29, dtype=int))[16, 0]
        middle = float(bands.band_edges()[16].mean())
        exact = tall.at(axes[0] @ place / 10.0, middle)
        # Within 0.01 of the axis: 0.1 dB where it is 20 dB down.
        assert abs(10.0 ** ((found - PASCAL_DB) / 20.0) * 10.0 - abs(exact)) < 0.01


def test_bands_far_beyond_an_only_crossover_are_kept(sources):
    """One circle up to 80 Hz, given levels in all bands: normalised on its axis, it has them all."""
    low = radiators.Radiator("circle", 0.05, 0.0, ((0.0, 0.0, 0.0),), None, 80.0)
    directivity = Directivity("low", (low,), 0.5, -20.0, np.full(29, 100.0), C)
    level = band_level(sources([0, 0, 0], [directivity]), np.array([[10.0, 0.0, 0.0]]), Medium(C, lossless))
    np.testing.assert_allclose(level[:, 0], 80.0, rtol=0, atol=1e-5)  # exact: 20 dB down at 10 m
