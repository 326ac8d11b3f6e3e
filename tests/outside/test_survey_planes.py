"""Planes, standpoints and their uncertainties against Pearson's line, and against scipy as a second way.

K. Pearson, "On lines and planes of closest fit to systems of points in space", Philosophical Magazine 2 (1901), 559:
the ten points of its example, and the slope −0.5456 and intercept 5.784 of their line of closest fit, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from acoustics import survey
from acoustics.survey import Places

PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]


SHIFT = np.array([4.0, -2.0, 1.4])


def places(at) -> Places:
    at = np.asarray(at, dtype=float)
    return Places(at, np.eye(3 * len(at)).reshape(len(at), 3, -1))


def rotated(angle: float, at: np.ndarray) -> np.ndarray:
    return Rotation.from_euler("z", angle).apply(at)


# The line becomes a plane when each of its points stands 5 m to the left and to the right: what is across it, the line
# has no part in. Four digits are remembered: half of the last is the tolerance.
@pytest.mark.parametrize("across", [0, 1])
def test_pearsons_line_of_closest_fit(across):
    columns = [np.tile(PEARSON_X, 2), np.tile(PEARSON_Y, 2)]
    columns.insert(across, np.repeat([-5.0, 5.0], 10))
    plane = survey.fit_plane(places(np.column_stack(columns)))
    along = 1 - across
    slope = -plane.normal[along] / plane.normal[2]
    assert slope == pytest.approx(-0.5456, abs=5e-5)
    assert plane.centre[2] - slope * plane.centre[along] == pytest.approx(5.784, abs=5e-4)
    # An ordinary line of heights has another slope: Σ(x−x̄)(y−ȳ)/Σ(x−x̄)², −0.5396 by hand.
    assert abs(slope + 0.5396) > 5e-3


# Second way: search the two angles and the offset of a plane for the least sum of squared distances.
@pytest.mark.parametrize("seed", range(4))
def test_a_plane_against_a_search(seed):
    rng = np.random.default_rng(seed)
    at = np.column_stack([rng.uniform(5, 20, 9), rng.uniform(-8, 8, 9), np.zeros(9)])
    at[:, 2] = [0.0, 0.3, 1.0, 2.5][seed] * at[:, 0] + 0.2 * at[:, 1] + rng.normal(0, 0.05, 9)

    def normal(unknown):
        tilt, turn = unknown[:2]
        return np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])

    found = least_squares(lambda u: at @ normal(u) - u[2], [0.8, 2.8, 0.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    sought = normal(found.x) * np.sign(normal(found.x)[2])
    plane = survey.fit_plane(places(at))
    assert plane.normal == pytest.approx(sought, abs=1e-6)
    off, _ = survey.off_plane(plane, places(at))
    assert np.square(off).sum() == pytest.approx(2.0 * found.cost, rel=1e-9)
    assert np.abs(off).max() > 0.01


# Residuals that are known: ±h in turn at the corners of a rectangle are orthogonal to every plane through its middle,
# so that the plane stays and leaves them (exact). SVD as a second way: least singular value² is their sum of squares.
@pytest.mark.parametrize("turn", [(0.0, 0.0), (0.4, 0.0), (-0.2, 1.0), (1.5, 0.3)])
@pytest.mark.parametrize("h", [0.004, 0.25])
def test_a_plane_of_known_residuals(turn, h):
    flat = np.array([[-3.0, -2.0, h], [3.0, -2.0, -h], [3.0, 2.0, h], [-3.0, 2.0, -h]])
    at = Rotation.from_euler("yz", turn).apply(flat) + SHIFT
    plane = survey.fit_plane(places(at))
    normal = Rotation.from_euler("yz", turn).apply([0.0, 0.0, 1.0])
    assert plane.normal == pytest.approx(normal, abs=1e-12)
    assert plane.centre == pytest.approx(SHIFT, abs=1e-12)
    off, _ = survey.off_plane(plane, places(at))
    assert off == pytest.approx([h, -h, h, -h], abs=1e-12)
    assert np.linalg.svd(at - at.mean(axis=0), compute_uv=False)[2] ** 2 == pytest.approx(
        np.square(off).sum(), rel=1e-9
    )


# Second way for the turn alone: scipy's solution of Wahba's problem; levelled, with all vectors in plan.
@pytest.mark.parametrize("seed", range(5))
def test_ties_against_align_vectors(seed):
    rng = np.random.default_rng(seed)
    local = np.column_stack([rng.uniform(-9, 9, (4, 2)), rng.uniform(-1, 3, 4)])
    angle = rng.uniform(-3, 3)
    there = rotated(angle, local) + SHIFT + rng.normal(0, 0.05, (4, 3))
    pose = survey.tied(places(local), places(there), None, None, None)
    flat = [one - one.mean(axis=0) for one in (local, there)]
    for one in flat:
        one[:, 2] = 0.0
    turn, _ = Rotation.align_vectors(flat[1], flat[0])
    assert pose.azimuth == pytest.approx(turn.as_euler("zyx")[0], abs=1e-9)
    assert pose.at == pytest.approx(there.mean(axis=0) - rotated(pose.azimuth, local).mean(axis=0), abs=1e-9)


@pytest.mark.parametrize(
    ("position", "height", "azimuth"),
    [(None, None, None), (None, 1.5, None), (None, None, 0.7), (None, 1.5, 0.7), ([4.0, -2.0, 1.4], None, None)],
)
def test_ties_against_a_search(position, height, azimuth):
    rng = np.random.default_rng(8)
    local = np.column_stack([rng.uniform(-9, 9, (3, 2)), rng.uniform(-1, 3, 3)])
    there = rotated(0.7, local) + SHIFT + rng.normal(0, 0.05, (3, 3))

    def whole(u):
        x, y, z, turn = u
        at = np.array([x, y, z if height is None else height]) if position is None else np.array(position)
        return at, turn if azimuth is None else azimuth

    def off(u):
        at, turn = whole(u)
        return (rotated(turn, local) + at - there).ravel()

    found = least_squares(off, [4.0, -2.0, 1.4, 0.6], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    at, turn = whole(found.x)
    pose = survey.tied(places(local), places(there), None if position is None else np.array(position), height, azimuth)
    assert pose.azimuth == pytest.approx(turn, abs=1e-7)
    assert pose.at == pytest.approx(at, abs=1e-6)


def numbers(function, at: np.ndarray, step: float = 1e-6) -> np.ndarray:
    """Derivatives by central differences."""
    columns = []
    for index in range(at.size):
        shift = np.zeros(at.size)
        shift[index] = step
        up, down = (np.ravel(function(at + sign * shift.reshape(at.shape))) for sign in (1.0, -1.0))
        columns.append((up - down) / (2.0 * step))
    return np.array(columns).T


# Derivatives by hand against differences: second-order terms of steps of 1e-6 are some 1e-9.
@pytest.mark.parametrize("wall", [False, True])
def test_derivatives_of_planes(wall):
    rng = np.random.default_rng(1)
    at = np.column_stack([rng.uniform(5, 20, 6), rng.uniform(-8, 8, 6), rng.normal(0, 0.1, 6)])
    at[:, 2] += 0.3 * at[:, 0]
    at = at[:, [2, 1, 0]] if wall else at
    steepest = np.radians(60.0)

    def corners(of):
        return survey.on_plane(survey.fit_plane(places(of)), places(of), steepest).at

    def others(of):
        return survey.off_others(places(of))[0]

    moved = survey.on_plane(survey.fit_plane(places(at)), places(at), steepest)
    assert moved.by.reshape(18, -1) == pytest.approx(numbers(corners, at), abs=1e-7)
    assert survey.off_others(places(at))[1] == pytest.approx(numbers(others, at), abs=1e-6)
    assert (np.abs(moved.at - at)[:, :2].max() < 1e-12) is not wall  # only up and down, but for walls


@pytest.mark.parametrize(
    ("position", "height", "azimuth"),
    [(None, None, None), (None, 1.5, None), (None, None, 0.7), ([4.0, -2.0, 1.4], None, None)],
)
def test_derivatives_of_standpoints(position, height, azimuth):
    rng = np.random.default_rng(2)
    readings = np.concatenate([rng.uniform(5, 12, 3), rng.uniform(-0.3, 0.3, 3), rng.uniform(-2, 2, 3)])
    index = np.arange(9).reshape(3, 3).T
    there = rotated(0.7, survey.polar(readings, index).at) + SHIFT

    def pose(of):
        given = None if position is None else np.array(position)
        known = Places(there, np.zeros((3, 3, 9)))
        return survey.tied(survey.polar(of, index), known, given, height, azimuth)

    def seen(of):
        return survey.placed(pose(of), survey.polar(of, index)).at

    def stood(of):
        return np.append(pose(of).at, pose(of).azimuth)

    found = pose(readings)
    by = np.append(found.at_by, found.azimuth_by[np.newaxis], axis=0)
    assert by == pytest.approx(numbers(stood, readings), abs=1e-6)
    through = survey.placed(found, survey.polar(readings, index)).by.reshape(9, -1)
    assert through == pytest.approx(numbers(seen, readings), abs=1e-6)
    assert np.abs(by).max() > 0.1


# What the others say of one: 0.3 m above the middle of a square, exact.
def test_the_error_of_one_shot_shows_in_full():
    at = [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0], [2, 2, 0.3]]
    off, _ = survey.off_others(places(at))
    assert off[4] == pytest.approx(0.3, rel=1e-12)
    assert np.abs(off[:4]).max() < 0.25  # of the others less
    within, _ = survey.off_plane(survey.fit_plane(places(at)), places(at))
    assert within[4] == pytest.approx(0.24, rel=1e-9)  # 4/5 of it: the fit itself gives way by a fifth


def test_nothing_checks_three_shots_or_the_one_beside_a_line():
    assert np.isnan(survey.off_others(places([[0, 0, 0], [4, 0, 0], [4, 4, 0]]))[0]).all()
    off, _ = survey.off_others(places([[0, 0, 0], [4, 0, 0], [8, 0, 0], [4, 4, 1]]))
    assert np.isnan(off[3])


def test_places_above_each_other_tell_no_direction():
    above = places([[3.0, 2.0, 0.0], [3.0, 2.0, 4.0]])
    with pytest.raises(ValueError, match="tell no direction"):
        survey.tied(above, above, None, None, None)
