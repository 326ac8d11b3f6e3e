"""An enclosure as several points: far away they are the whole, whatever it is made of."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import Medium, line_pressure, lossless
from acoustics.measured import Measured
from acoustics.radiators import Radiator, between
from acoustics.sources import split

C = 343.2
AIR = Medium(C, lossless)
NAMES = ["compact", "large", "medium"]
COUNTS = [2, 3, 5, 8]


def cartesian(azimuth_deg, elevation_deg):
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    flat = np.cos(elevation)
    return np.stack([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)], axis=-1)


# Ahead, up, down, aside, behind, straight up.
TOWARDS = cartesian(np.array([0.0, 0, 0, 40, -75, 150, 180, 0]), np.array([0.0, 11, -37, 5, 20, -30, 0, 90]))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("hz", [63.0, 400.0, 1100.0, 4000.0, 12500.0])
def test_parts_add_up_to_the_whole(enclosures, name, count, hz):
    """Exact far away: each part's directivity times e^{+jk n·d}, d its place."""
    whole = enclosures[name]
    k = 2.0 * np.pi * hz / C
    parts = whole.parts(count)
    assert 1 < len(parts) <= count
    total = sum(part.at(TOWARDS, hz) * np.exp(1j * k * TOWARDS @ np.array(part.from_reference_m)) for part in parts)
    np.testing.assert_allclose(total, whole.at(TOWARDS, hz), rtol=0, atol=1e-12)
    assert abs(total[0]) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("hz", [250.0, 1000.0, 8000.0])
def test_pressures_at_500_m(enclosures, sources, name, hz):
    """An offset d of 0.16 m at most leaves d/r of the amplitude and kd²/(2r) of the phase: 0.004 at 8 kHz."""
    one = sources([[0.0, 0.0, 0.0]], [enclosures[name]])
    pressure, finer = (line_pressure(split(one, count)[0], 500.0 * TOWARDS, hz, AIR)[0] for count in (1, 4))
    axis = np.abs(pressure[0])
    assert 20.0 * np.log10(axis * 500.0 / 20e-6) > 90.0
    np.testing.assert_allclose(finer / axis, pressure / axis, rtol=0, atol=4.5e-3)


def test_parts_move_levels_near_by(enclosures, sources):
    """At 1 m it matters, ahead and 11° up, so the far field's agreement says something."""
    one = sources([[0.0, 0.0, 0.0]], [enclosures["large"]])
    pressure, finer = (line_pressure(split(one, count)[0], TOWARDS[:2], 8000.0, AIR)[0] for count in (1, 4))
    assert np.all(np.abs(20.0 * np.log10(np.abs(finer / pressure))) > 1.0)


def test_parts_stand_at_the_middles_of_their_shares(enclosures):
    """The large one is 0.36 m high, its reference in the middle."""
    heights = [part.from_reference_m for part in enclosures["large"].parts(4)]
    np.testing.assert_allclose(heights, [[0, 0, z] for z in (-0.135, -0.045, 0.045, 0.135)], rtol=0, atol=1e-12)


def test_a_circle_belongs_to_one_part_and_a_slot_to_all():
    """By hand: a slot 0.4 m high cut at −0.1 m, about −0.15 m and 0.05 m; circles at ±0.15 m."""
    slot = Radiator("slot", 0.0, 0.4, ((0.0, 0.0, 0.0),), coverage_deg=90.0)
    circles = Radiator("circle", 0.1, 0.0, ((0.0, 0.0, -0.15), (0.02, 0.1, 0.15)))
    low, high = between([slot, circles], -np.inf, -0.1, -0.15), between([slot, circles], -0.1, np.inf, 0.05)
    for found, expected in (
        (low, [(0.1, 0.25, (0.0, 0.0, 0.0)), (0.0, 0.5, (0.0, 0.0, 0.0))]),
        (high, [(0.3, 0.75, (0.0, 0.0, 0.0)), (0.0, 0.5, (0.02, 0.1, 0.1))]),
    ):
        assert len(found) == 2
        for radiator, (height, weight, place) in zip(found, expected, strict=True):
            assert radiator.height_m == pytest.approx(height, rel=1e-12)
            assert radiator.weight == pytest.approx(weight, rel=1e-12)
            np.testing.assert_allclose(radiator.places_m, [place], rtol=0, atol=1e-12)


def test_a_part_that_radiates_nothing_is_left_out():
    """Circles at the ends alone: of three parts two remain."""
    circles = Radiator("circle", 0.1, 0.0, ((0.0, 0.0, -0.15), (0.0, 0.0, 0.15)))
    whole = Directivity("two", (circles,), 0.3, -20.0, np.full(29, PASCAL_DB), C, extent_m=(-0.2, 0.2))
    middles = [part.from_reference_m[2] for part in whole.parts(3)]
    np.testing.assert_allclose(middles, [-0.4 / 3, 0.4 / 3], rtol=1e-12)


def test_a_point_remains_one(enclosures, sources):
    assert enclosures["point"].parts(8) == (enclosures["point"],)
    pair = sources([[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]], gain=[1.0, -0.5], delay=[0.0, 0.002])
    cut, owner = split(pair, 8)
    np.testing.assert_array_equal(owner, [0, 1])
    for name in ("position", "gain", "delay"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(pair, name))


def test_one_part_is_the_whole(enclosures):
    assert enclosures["large"].parts(1) == (enclosures["large"],)


def test_parts_keep_the_drive_of_their_enclosure(enclosures, sources):
    """Two enclosures, one turned upside down: its parts stand the other way round."""
    kinds = [enclosures["large"], enclosures["point"]]
    axes = [np.eye(3), np.diag([1.0, -1.0, -1.0]), np.eye(3)]
    places = [[0.0, 0.0, 0.0], [0.0, 0.0, 5.0], [0.0, 0.0, 9.0]]
    cut, owner = split(sources(places, kinds, [0, 0, 1], axes, [1.0, -2.0, 3.0], [0.0, 0.1, 0.2]), 2)
    np.testing.assert_array_equal(owner, [0, 0, 1, 1, 2])
    np.testing.assert_array_equal(cut.gain, [1.0, 1.0, -2.0, -2.0, 3.0])
    np.testing.assert_array_equal(cut.delay, [0.0, 0.0, 0.1, 0.1, 0.2])
    np.testing.assert_allclose(cut.position[:, 2], [-0.09, 0.09, 5.09, 4.91, 9.0], rtol=1e-12)


def test_measured_data_are_not_cut(sources):
    rng = np.random.default_rng(1)
    direction = rng.normal(size=(200, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    hz = np.array([100.0, 1000.0])
    data = Measured(hz, direction, np.ones((200, 2), dtype=complex), np.zeros(3), 4.0)
    kind = Directivity("scanned", (), 0.0, 0.0, np.full(29, PASCAL_DB), C, measured=data)
    reason = "^scanned has measured data, which do not say which part of it radiates what$"
    with pytest.raises(ValueError, match=reason):
        kind.parts(2)
    with pytest.raises(ValueError, match=reason):
        split(dataclasses.replace(sources([[0.0, 0.0, 0.0]], [kind])), 2)
