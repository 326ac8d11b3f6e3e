"""Outlines as drawings have them, made into what a venue file holds: arcs into corners, bent ones into flat ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from acoustics.venue import SAME_CORNER_M, outline_basis

Array = npt.NDArray[np.float64]

MOST_CORNERS_SPLIT = 40  # of an outline that is not flat; more than these take too long to try
MOST_PARTS = 8  # that one outline is split into: what needs more is no area that somebody drew flat


@dataclass(frozen=True)
class Arc:
    """A circular arc in its plane: `centre` (2,), `radius`, direction of its start [rad], and the angle that it turns
    through, positive counter-clockwise [rad]; lengths in the unit of the drawing."""

    centre: Array
    radius: float
    start: float
    turn: float


def bulge_arc(start: npt.ArrayLike, end: npt.ArrayLike, bulge: float) -> Arc:
    """The arc from one vertex of a polyline to the next.

    DXF reference, group code 42: the bulge is the tangent of a quarter of the included angle, negative where the arc
    goes clockwise.

    Parameters
    ----------
    start, end : array_like, shape (2,)
        Vertices, apart from each other. [drawing unit]
    bulge : float
        Not zero.

    Raises
    ------
    ValueError
        If the vertices coincide, or the bulge is zero.
    """
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    chord = b - a
    length = float(np.hypot(*chord))
    if length == 0.0 or bulge == 0.0:
        raise ValueError("no arc between vertices that coincide, or of no bulge")
    turn = 4.0 * np.arctan(bulge)
    # Sagitta: half the chord times the bulge. The centre lies on the left of the chord for 0 < bulge < 1.
    left = np.array([-chord[1], chord[0]]) / length
    centre = (a + b) / 2.0 + left * length * (1.0 - bulge**2) / (4.0 * bulge)
    radius = length * (1.0 + bulge**2) / (4.0 * abs(bulge))
    from_centre = a - centre
    return Arc(centre, radius, float(np.arctan2(from_centre[1], from_centre[0])), float(turn))


def along_arc(arc: Arc, sag: float, most: int) -> Array:
    """Corners along an arc, both ends included, so that no chord lies further from it than `sag`.

    The sagitta of a chord that spans an angle φ is r (1 − cos φ/2).

    Parameters
    ----------
    arc : Arc
    sag : float
        In the arc's unit.
    most : int
        Chords at most, which then lie further off.

    Returns
    -------
    ndarray, shape (N, 2)
    """
    widest = 2.0 * np.arccos(max(-1.0, 1.0 - sag / arc.radius)) if sag < 2.0 * arc.radius else np.pi
    count = int(min(max(1.0, np.ceil(abs(arc.turn) / widest - 1e-9)), most))
    angle = arc.start + np.linspace(0.0, arc.turn, count + 1)
    return np.asarray(arc.centre + arc.radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def tidy(corners: Array, within_m: float = SAME_CORNER_M) -> Array:
    """An outline (N, 3) without corners where the one before, or the first, is already. [m]"""
    if not len(corners):
        return corners
    apart = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1) > within_m
    return corners[apart] if apart.any() else corners[:1]


def off_flat(corners: Array) -> float:
    """How far the corner that is worst lies off the plane that a venue file judges an outline by. [m]

    Infinite where all corners lie on one line.
    """
    basis = outline_basis(corners)
    if basis is None:
        return float("inf")
    origin, axes, _ = basis
    return float(np.abs((corners - origin) @ axes[2]).max())


def size_m2(corners: Array) -> float:
    """Size of an outline (N, 3), flat or nearly so. [m²]"""
    return float(np.linalg.norm(_normal(corners))) / 2.0


def _normal(corners: Array) -> Array:
    """Twice the area of an outline along its normal (Newell's sum). [m²]"""
    return np.asarray(np.cross(corners - corners[0], np.roll(corners, -1, axis=0) - corners[0]).sum(axis=0))


def steepness_deg(corners: Array) -> float:
    """Angle of an outline's plane from the horizontal. [deg]"""
    normal = _normal(corners)
    return float(np.degrees(np.arctan2(np.hypot(normal[0], normal[1]), abs(normal[2]))))


def flat_parts(corners: Array, within_m: float) -> list[Array] | None:
    """An outline as flat ones, each within a distance of its plane, cut along diagonals.

    Parameters
    ----------
    corners : ndarray, shape (N, 3)
        [m]
    within_m : float
        How far corners may be off. [m]

    Returns
    -------
    list of ndarray, or None
        The outline alone where it is flat; None where it crosses itself, has more than `MOST_CORNERS_SPLIT` corners or
        needs more than `MOST_PARTS` parts.
    """
    if off_flat(corners) <= within_m:
        return [corners]
    if len(corners) < 4 or len(corners) > MOST_CORNERS_SPLIT:
        return None
    polygon = shapely.Polygon(_flattened(corners))
    if not polygon.is_valid or polygon.area == 0.0:
        return None
    todo, done = [corners], []
    while todo:
        part = todo.pop()
        if off_flat(part) <= within_m:
            done.append(part)
            continue
        halves = _best_cut(part)
        if halves is None or len(done) + len(todo) + 2 > MOST_PARTS:
            return None
        todo += halves
    return done


def _flattened(corners: Array) -> Array:
    """Corners in the plane that fits them best, (N, 2)."""
    middle = corners - corners.mean(axis=0)
    return np.asarray(middle @ np.linalg.svd(middle)[2][:2].T)


def _best_cut(corners: Array) -> list[Array] | None:
    """The diagonal inside an outline that leaves the flattest halves; the shorter one where two are alike."""
    flat = _flattened(corners)
    polygon = shapely.Polygon(flat)
    shapely.prepare(polygon)
    found: tuple[float, float] | None = None
    best: list[Array] | None = None
    for i in range(len(corners)):
        for j in range(i + 2, len(corners) - (i == 0)):
            if not shapely.covers(polygon, shapely.LineString(flat[[i, j]])):
                continue
            halves = [corners[i : j + 1], np.concatenate([corners[j:], corners[: i + 1]])]
            worst = max(_off_best(half) for half in halves)
            rank = (round(worst, 6), float(np.linalg.norm(corners[i] - corners[j])))
            if found is None or rank < found:
                found, best = rank, halves
    return best


def _off_best(corners: Array) -> float:
    """How far the worst corner lies off the plane that fits all best; infinite where they lie on one line. [m]"""
    middle = corners - corners.mean(axis=0)
    size, axes = np.linalg.svd(middle)[1:]
    return float(np.abs(middle @ axes[2]).max()) if size[1] > 1e-9 * max(size[0], 1e-9) else float("inf")
