"""Laser shots to places, standpoints and planes, with how far each may be off: pure functions over arrays.

Uncertainty is propagated to first order (JCGM 100:2008, 5.1.2). Every place is carried with its derivatives by all
readings of the file, so that what two corners share, such as the direction of their standpoint, is counted as shared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Places:
    """Places (N, 3) [m], and their derivatives by M readings, (N, 3, M) [m per m or rad]."""

    at: Array
    by: Array

    def covariance(self, sigma: Array) -> Array:
        """Of each place, (N, 3, 3) [m²]; `sigma` (M,): standard uncertainties of the readings."""
        spread = self.by * sigma
        return np.asarray(spread @ spread.transpose(0, 2, 1))

    def some(self, chosen: Sequence[int] | Sequence[bool] | npt.NDArray[np.bool_]) -> Places:
        """Those that are chosen, by indices or flags."""
        kept = np.asarray(chosen)
        return Places(self.at[kept], self.by[kept])


@dataclass(frozen=True, eq=False)
class Pose:
    """Where a levelled instrument stands, (3,) [m], and the azimuth of its zero [rad]; derivatives (3, M) and (M,)."""

    at: Array
    azimuth: float
    at_by: Array
    azimuth_by: Array


@dataclass(frozen=True, eq=False)
class Plane:
    """A plane through `centre` (3,) [m] with its upward unit `normal` (3,); derivatives (3, M) each.

    `width`, `length`: RMS extent of its places across and along [m]; where the width is nothing, they lie on a line.
    """

    centre: Array
    normal: Array
    centre_by: Array
    normal_by: Array
    width: float
    length: float


def known_pose(position_m: npt.ArrayLike, azimuth: float, readings: int) -> Pose:
    """A standpoint that is given, and so taken as exact."""
    return Pose(np.asarray(position_m, dtype=float), azimuth, np.zeros((3, readings)), np.zeros(readings))


def polar(readings: Array, index: Indices) -> Places:
    """Shots in the axes of their instrument: x along its zero, y at azimuth 90°, z up.

    Parameters
    ----------
    readings : ndarray, shape (M,)
        All readings. [m], [rad]
    index : ndarray, shape (N, 3)
        Where slope distance, vertical angle (positive up) and azimuth of each shot stand in them.
    """
    distance, vertical, azimuth = readings[index].T
    cv, sv, ca, sa = np.cos(vertical), np.sin(vertical), np.cos(azimuth), np.sin(azimuth)
    none = np.zeros_like(sv)
    toward = np.stack([cv * ca, cv * sa, sv], axis=1)
    by = np.zeros((len(index), 3, len(readings)))
    rows = np.arange(len(index))
    by[rows, :, index[:, 0]] = toward
    by[rows, :, index[:, 1]] = distance[:, np.newaxis] * np.stack([-sv * ca, -sv * sa, cv], axis=1)
    by[rows, :, index[:, 2]] = distance[:, np.newaxis] * np.stack([-cv * sa, cv * ca, none], axis=1)
    return Places(distance[:, np.newaxis] * toward, by)


def placed(pose: Pose, local: Places) -> Places:
    """Places in venue axes, of those in the axes of an instrument."""
    turn, slope = _turn(pose.azimuth), _turn_slope(pose.azimuth)
    moved = (local.at @ slope.T)[:, :, np.newaxis] * pose.azimuth_by
    return Places(pose.at + local.at @ turn.T, pose.at_by + turn @ local.by + moved)


def tied(local: Places, there: Places, position_m: Array | None, height_m: float | None, azimuth: float | None) -> Pose:
    """The standpoint from which shots meet places that are known: least squares, in plan and in height apart.

    A levelled instrument is free to turn about the vertical alone: in plan this is the rotation and shift that bring
    one set of points nearest to another, in closed form (the planar case of the orthogonal Procrustes problem).

    Parameters
    ----------
    local, there : Places, N
        The same places in the axes of the instrument, and in those of the venue.
    position_m, height_m, azimuth
        What is given of the standpoint, `None` where it is to be found.

    Raises
    ------
    ValueError
        If the azimuth is to be found and all places lie above each other, or above the instrument.
    """
    if position_m is None:
        p, q = _centred(local), _centred(there)
    else:
        p, q = local, Places(there.at - position_m, there.by)
    if azimuth is None:
        azimuth, azimuth_by = _azimuth(p, q)
    else:
        azimuth_by = np.zeros(local.by.shape[-1])
    turn, slope = _turn(azimuth), _turn_slope(azimuth)
    if position_m is not None:
        return Pose(np.asarray(position_m), azimuth, np.zeros_like(local.by[0]), azimuth_by)
    mean = Places(local.at.mean(axis=0, keepdims=True), local.by.mean(axis=0, keepdims=True))
    at = there.at.mean(axis=0) - turn @ mean.at[0]
    by = there.by.mean(axis=0) - turn @ mean.by[0] - np.outer(slope @ mean.at[0], azimuth_by)
    if height_m is not None:
        at[2], by[2] = height_m, 0.0
    return Pose(at, azimuth, by, azimuth_by)


def _azimuth(p: Places, q: Places) -> tuple[float, Array]:
    """The turn about the vertical that brings places nearest to others, and its derivatives."""
    inner = float((p.at[:, :2] * q.at[:, :2]).sum())
    outer = float((p.at[:, 0] * q.at[:, 1] - p.at[:, 1] * q.at[:, 0]).sum())
    square = inner**2 + outer**2
    if square < 1e-12:
        raise ValueError("the places lie above each other: they tell no direction")
    px, py, qx, qy = p.at[:, 0], p.at[:, 1], q.at[:, 0], q.at[:, 1]
    dpx, dpy, dqx, dqy = p.by[:, 0], p.by[:, 1], q.by[:, 0], q.by[:, 1]
    inner_by = qx @ dpx + qy @ dpy + px @ dqx + py @ dqy
    outer_by = qy @ dpx - qx @ dpy + px @ dqy - py @ dqx
    return float(np.arctan2(outer, inner)), (inner * outer_by - outer * inner_by) / square


def fit_plane(places: Places) -> Plane:
    """The plane from which the sum of squared distances is least (total least squares, by eigenvectors).

    Distances are taken at right angles to the plane, not as heights: a shot is off in every direction, and so walls
    are fitted by the same rule as floors. The derivative of the normal is that of an eigenvector.

    Parameters
    ----------
    places : Places, N ≥ 3
    """
    p = _centred(places)
    values, vectors = np.linalg.eigh(p.at.T @ p.at)
    values = np.maximum(values, 0.0)
    if (vectors[2, 0] or vectors[1, 0] or vectors[0, 0]) < 0.0:
        vectors = -vectors
    normal = vectors[:, 0]
    off = p.at @ normal
    # d(DᵀD) n = Σ dD_i (D_i·n) + D_i (dD_i·n)
    change = np.einsum("nim,n->im", p.by, off) + np.einsum("ni,njm,j->im", p.at, p.by, normal)
    normal_by = np.zeros_like(change)
    for other in (1, 2):
        gap = values[0] - values[other]
        if gap < 0.0:
            normal_by += np.outer(vectors[:, other], vectors[:, other] @ change) / gap
    width, length = np.sqrt(values[1:] / len(p.at))
    return Plane(
        places.at.mean(axis=0), normal, places.by.mean(axis=0), normal_by, width=float(width), length=float(length)
    )


def off_plane(plane: Plane, places: Places) -> tuple[Array, Array]:
    """Distances of places from a plane, positive above it, (N,) [m], and their derivatives (N, M)."""
    apart = places.at - plane.centre
    by = apart @ plane.normal_by + np.einsum("i,nim->nm", plane.normal, places.by - plane.centre_by)
    return apart @ plane.normal, by


def off_others(places: Places) -> tuple[Array, Array]:
    """How far each place lies off the plane through all others, (N,) [m], and the derivatives (N, M).

    NaN where the others are fewer than three or lie on a line: nothing then checks the place. Of all ways to look
    for one that is wrong this one shows its error in full, and not the share that a fit through it leaves.
    """
    count, readings = len(places.at), places.by.shape[-1]
    off, by = np.full(count, np.nan), np.zeros((count, readings))
    for one in range(count if count > 3 else 0):
        plane = fit_plane(places.some(np.arange(count) != one))
        if plane.width > 0.02 * plane.length:
            value, slope = off_plane(plane, places.some([one]))
            off[one], by[one] = value[0], slope[0]
    return off, by


def on_plane(plane: Plane, places: Places, steepest: float) -> Places:
    """Places moved onto a plane: straight up or down, so that they keep their place in plan.

    Where it is steeper than `steepest` [rad], at right angles to it.
    """
    off, off_by = off_plane(plane, places)
    up = plane.normal[2]
    if abs(up) >= np.cos(steepest):
        height, height_by = off / up, off_by / up - np.outer(off, plane.normal_by[2]) / up**2
        at, by = places.at.copy(), places.by.copy()
        at[:, 2] -= height
        by[:, 2] -= height_by
        return Places(at, by)
    at = places.at - off[:, np.newaxis] * plane.normal
    by = places.by - off_by[:, np.newaxis] * plane.normal[:, np.newaxis]
    return Places(at, by - off[:, np.newaxis, np.newaxis] * plane.normal_by)


def beside(pose: Pose, readings: Array, azimuth: int, places: Places, left_m: Array, up_m: Array) -> Places:
    """Places to the left of a line of shots, seen along it, and above it, by lengths that are taken as exact.

    `azimuth`: index of the reading that is the direction of the line.
    """
    direction = pose.azimuth + readings[azimuth]
    direction_by = pose.azimuth_by.copy()
    direction_by[azimuth] += 1.0
    left = np.array([-np.sin(direction), np.cos(direction), 0.0])
    slope = np.array([-np.cos(direction), -np.sin(direction), 0.0])
    at = places.at + np.outer(left_m, left) + np.outer(up_m, [0.0, 0.0, 1.0])
    return Places(at, places.by + np.outer(left_m, slope)[:, :, np.newaxis] * direction_by)


def _centred(places: Places) -> Places:
    return Places(places.at - places.at.mean(axis=0), places.by - places.by.mean(axis=0))


def _turn(azimuth: float) -> Array:
    c, s = np.cos(azimuth), np.sin(azimuth)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _turn_slope(azimuth: float) -> Array:
    c, s = np.cos(azimuth), np.sin(azimuth)
    return np.array([[-s, -c, 0.0], [c, -s, 0.0], [0.0, 0.0, 0.0]])
