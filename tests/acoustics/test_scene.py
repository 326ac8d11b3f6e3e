"""How finely enclosures are divided, what is hidden, and what a finer sum would change."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest

from acoustics import bands, field, scene
from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import Medium, lossless
from acoustics.listening import listen
from acoustics.measured import Measured
from acoustics.scene import Scene
from acoustics.sources import medium, sources_of
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue
from rigging.geometry import lay_out
from rigging.hang import load_hang

C = 343.2
AIR = Medium(C, lossless)
THEATRE = Path(__file__).resolve().parents[2] / "sample_venues" / "theatre"


@pytest.fixture
def pair(enclosures, sources):
    """Two large enclosures one above the other, heard at distances given."""

    def build(*distances, off_m=0.3):
        two = sources([[0.0, 0.0, 0.18], [0.0, 0.0, -0.18]], [enclosures["large"]])
        return Scene(two, np.array([[r, 0.1, off_m] for r in distances]), AIR, ())

    return build


@pytest.fixture
def measured_one(sources):
    """One source with measured data, as an omnidirectional one, 200 to 2000 Hz."""
    direction = np.random.default_rng(1).normal(size=(300, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    hz = np.geomspace(200.0, 2000.0, 8)
    data = Measured(hz, direction, np.ones((300, 8), dtype=complex), np.zeros(3), 4.0)
    middle = bands.midbands()
    level = np.where((middle > 220.0) & (middle < 1800.0), PASCAL_DB, np.nan)
    kind = Directivity("scanned", (), 0.0, 0.0, level, C, measured=data)
    return Scene(sources([[0.0, 0.0, 0.0]], [kind]), np.array([[3.0, 0.0, 0.0]]), AIR, ())


@pytest.mark.parametrize("points", [1, 2, 3])
def test_refinement_is_the_change_of_level_with_twice_the_points(pair, points):
    here = pair(2.0, 5.0, 40.0)
    once, twice = here.bands(points), here.bands(2 * points)
    assert (once.points, twice.points) == (points, 2 * points)
    np.testing.assert_allclose(once.refinement, twice.level - once.level, rtol=0, atol=1e-9)
    change = np.nanmax(np.abs(once.refinement), axis=0)
    assert change[0] > 0.1
    assert change[2] < change[0] / 3.0


def test_bands_that_no_source_is_used_in_have_no_refinement(pair):
    found = pair(3.0).bands()
    np.testing.assert_array_equal(np.isnan(found.refinement[:, 0]), [True] + 28 * [False])
    np.testing.assert_array_equal(found.parts > 0, [False] + 28 * [True])


@pytest.mark.parametrize("distance", [2.0, 4.0, 10.0, 400.0])
def test_auto_doubles_until_no_level_moves(pair, distance):
    here = pair(distance)
    found = here.bands("auto")
    assert found.points in (1, 2, 4, 8)
    np.testing.assert_allclose(found.level, here.bands(found.points).level, rtol=0, atol=1e-9)
    change = field.moved(found.level, found.level + found.refinement).max()
    assert change <= 0.1 or found.points == 8
    if found.points > 1:
        before = here.bands(found.points // 2)
        assert field.moved(before.level, before.level + before.refinement).max() > 0.1


def test_auto_takes_one_point_far_away_and_more_near_by(pair):
    assert pair(400.0).bands("auto").points == 1
    assert pair(2.0).bands("auto").points > 2


def test_auto_stops_at_eight_points(pair, monkeypatch):
    monkeypatch.setattr(scene, "SETTLED_DB", 0.0)
    found = pair(2.0).bands("auto")
    assert found.points == 8
    assert np.isfinite(found.refinement[1:]).all()


def test_progress_reaches_its_end_with_every_pass(pair):
    told: list[tuple[int, int]] = []
    pair(2.0, 3.0, 4.0).bands(1, lambda done, every: told.append((done, every)))
    assert sum(done for done, _ in told) == 6
    assert {every for _, every in told} == {6}


def test_many_positions_are_not_refined(pair, monkeypatch):
    here = pair(2.0, 3.0, 4.0)
    whole = here.bands()
    monkeypatch.setattr(scene, "REFINED_POSITIONS", 2)
    found = here.bands()
    assert np.isnan(found.refinement).all()
    np.testing.assert_array_equal(found.level, whole.level)
    assert np.isfinite(here.bands("auto").refinement[1:]).all()
    monkeypatch.setattr(scene, "REFINED_POSITIONS", 3)
    assert np.isfinite(here.bands().refinement[1:]).all()


# By hand: 1, 2, 4, 8 and 16 points at 10 s for each and 1 s for its square: 310 + 341 s. Levels 29 × 8 bytes twice or
# four times, 28 × 8 of other figures, 9 for each of two sources, and 1 for each point of the last count: 0.4 GB beside.
@pytest.mark.parametrize(
    ("points", "count", "work"),
    [
        (1, 2_000_000, "1.8 GB of memory, 11 s for the sum"),
        (3, 2_000_000, "1.8 GB of memory, 39 s for the sum"),
        ("auto", 2_000_000, "2.8 GB of memory, at most 651 s for the sum"),
    ],
)
def test_an_estimate_counts_points_and_passes(pair, monkeypatch, points, count, work):
    monkeypatch.setattr(Scene, "_seconds", lambda self, points: 10.0 * points + points**2)
    many = dataclasses.replace(pair(2.0), position=np.zeros((count, 3)))
    assert many.estimate(points) == f"{count} positions × 2 sources: some {work}"


def test_an_estimate_measures(pair):
    assert re.fullmatch(r"3 positions × 2 sources: some 0.4 GB of memory, \d+ s .*", pair(2.0, 3.0, 4.0).estimate())


def test_measured_data_are_not_refined(measured_one):
    """Level by hand: 1 Pa at 1 m, 3 m away."""
    for points in (1, "auto"):
        found = measured_one.bands(points)
        assert found.points == 1
        assert np.isnan(found.refinement).all()
        level = found.level[~np.isnan(measured_one.sources.directivities[0].level_1m_db), 0]
        np.testing.assert_allclose(level, PASCAL_DB - 20.0 * np.log10(3.0), rtol=0, atol=1e-6)


def test_measured_data_are_not_cut(measured_one):
    with pytest.raises(ValueError, match=r"^scanned has measured data"):
        measured_one.bands(2)


def test_moved_counts_what_is_within_20_db_of_the_greatest_of_its_band():
    fine = np.array([[100.0, 80.5, 79.5], [60.0, np.nan, 50.0], [np.nan, np.nan, np.nan]])
    change = np.array([[0.1, -0.3, 5.0], [0.2, 1.0, np.nan], [np.nan, np.nan, np.nan]])
    assert field.moved(fine - change, fine).max() == pytest.approx(0.3, rel=1e-12)
    assert (field.moved(np.full((29, 0), np.nan), np.full((29, 0), np.nan)) == 0.0).all()


# --- over an edge ---

# A wall that ends 3 m high, far wider and deeper than the path: its top is the edge.
WALL = [[5.0, -80.0, -60.0], [5.0, 80.0, -60.0], [5.0, 80.0, 3.0], [5.0, -80.0, 3.0]]
# z = √(5² + up²) + √(5² + down²) − r, source at 2 m, positions 10 m away.
SEEN, HIDDEN, DEEP = [10.0, 0.0, 4.5], [10.0, 0.0, 2.5], [10.0, 0.0, -6.0]


@pytest.fixture
def behind_wall(sources, area):
    def build(over_edges):
        one = sources([[0.0, 0.0, 2.0]])
        wall = area(WALL, role="obstacle")
        return Scene(one, np.array([SEEN, HIDDEN, DEEP]), AIR, (wall,), over_edges)

    return build


def test_a_hidden_position_gets_what_one_edge_leaves(behind_wall):
    """By hand: level at the straight distance less 10 lg(3 + 20 z/λ), at most 20 dB, at midbands.

    Mean over the band of 1/(3 + 20 f z/c): its curvature adds less than 0.03 dB to the value at the middle.
    """
    level = behind_wall(True).bands().level
    wavelength = C / 10.0 ** (np.arange(14, 43) / 10.0)
    free = 20.0 * np.log10(1.0 / 20e-6) - 20.0 * np.log10(np.sqrt(100.0 + np.array([6.25, 0.25, 64.0])))
    np.testing.assert_allclose(level[:, 0], free[0], rtol=0, atol=1e-9)
    for column, below_edge, apart in ((1, 0.5, 0.5), (2, 9.0, 8.0)):
        z = np.hypot(5.0, 1.0) + np.hypot(5.0, below_edge) - np.hypot(10.0, apart)
        loss = np.minimum(10.0 * np.log10(3.0 + 20.0 * z / wavelength), 20.0)
        assert loss[0] < 18.0 < loss[-1]
        np.testing.assert_allclose(free[column] - level[:, column], loss, rtol=0, atol=0.03)
        assert np.ptp(free[column] - level[:, column]) > 5.0


def test_a_line_gets_what_one_edge_leaves_as_much_later(behind_wall):
    """By hand: 1 Pa at 1 m, weakened by the rule at the line's own wavelength, over the straight path and z."""
    found = behind_wall(True).lines(1, [250.0, 4000.0], None)
    straight = np.sqrt(100.0 + np.array([6.25, 0.25, 64.0]))
    z = np.array([0.0, *(np.hypot(5.0, 1.0) + np.hypot(5.0, [0.5, 9.0]) - straight[1:])])
    for row, hz in zip(found, (250.0, 4000.0), strict=True):
        loss = np.minimum(10.0 * np.log10(3.0 + 20.0 * z * hz / C), 20.0)
        loss[0] = 0.0  # seen
        expected = 10.0 ** (-loss / 20.0) / straight * np.exp(-2j * np.pi * hz * (straight + z) / C)
        np.testing.assert_allclose(row, expected, rtol=1e-9, atol=0)
    np.testing.assert_array_equal(behind_wall(False).lines(1, [250.0], None)[0, 1:], 0.0)


def test_hidden_positions_are_silent_without_it(behind_wall):
    level = behind_wall(False).bands().level
    np.testing.assert_array_equal(np.isnan(level), np.tile([False, True, True], (29, 1)))


def test_what_comes_over_an_edge_is_as_much_later(sources, area):
    """Two sources, one seen and one hidden: in step when the seen one is late by the straight paths and the detour."""
    place = np.array([HIDDEN])
    upper, lower = np.array([0.0, 0.0, 20.0]), np.array([0.0, 0.0, 2.0])
    straight = np.linalg.norm(place[0] - upper), np.linalg.norm(place[0] - lower)
    z = np.hypot(5.0, 1.0) + np.hypot(5.0, 0.5) - straight[1]
    wall = (area(WALL, role="obstacle"),)
    lag = (straight[1] + z - straight[0]) / C
    found = []
    for seen, hidden in ((0.0, -lag), (-lag, 0.0)) if lag < 0 else ((lag, 0.0), (0.0, lag)):
        both = sources([upper, lower], delay=[seen, hidden], gain=[straight[0], straight[1]])
        found.append(Scene(both, place, AIR, wall, True).bands().level[:, 0])
    # Exact: amplitudes 1 and 10^(−D/20) at 1 m add in step.
    wavelength = C / 10.0 ** (np.arange(14, 43) / 10.0)
    share = 1.0 / np.sqrt(np.minimum(3.0 + 20.0 * z / wavelength, 100.0))
    np.testing.assert_allclose(found[0] - PASCAL_DB, 20.0 * np.log10(1.0 + share), rtol=0, atol=0.03)
    assert np.max(np.abs(found[1] - found[0])) > 1.0


# --- a sample ---


@pytest.fixture(scope="module")
def theatre():
    catalogue = load_catalogue()
    hang = load_hang(str(THEATRE / "left.toml"), catalogue)
    venue, _ = load_venue(str(THEATRE / "venue.toml"))
    air = medium(venue.air)
    listening = listen(venue.area, hang.position_m, float(np.radians(hang.azimuth_deg)), 1.5)
    assert len(listening.position) > field.SAMPLE
    return Scene(sources_of(hang, lay_out(hang), catalogue, air.c), listening.position, air, tuple(venue.area))


def test_bands_of_a_sample_are_cut_finely_enough(theatre):
    """Twice the parts move no level by more than 0.1 dB, of those within 20 dB of the greatest of their band."""
    found = theatre.bands()
    assert found.parts.max() > 1
    assert found.parts.max() <= 16
    hidden = theatre._hidden(theatre.sources)
    fine = field.band_level(theatre.sources, theatre.position, theatre.medium, hidden, parts=2 * found.parts)
    heard = ~np.isnan(fine)
    np.testing.assert_array_equal(np.isnan(found.level), ~heard)
    near = heard & (fine >= np.nanmax(fine, axis=1, keepdims=True, initial=-np.inf) - 20.0)
    assert near.sum() > 10_000
    assert np.max(np.abs(fine - found.level)[near]) <= 0.1
    coarse = field.band_level(
        theatre.sources, theatre.position, theatre.medium, hidden, parts=np.minimum(found.parts, 1)
    )
    assert np.max(np.abs(coarse - fine)[near]) > 0.1
