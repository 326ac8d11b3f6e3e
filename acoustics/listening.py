"""From areas to listening positions: a grid at ear height with seat weights, and the section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from acoustics.venue import Area

Array = npt.NDArray[np.float64]

GRID_M = 1.0
SECTION_STEP_M = 0.25
# Slivers of cells that the outline cuts off, below this share of a whole cell, count for nothing.
_SLIVER = 1e-9


@dataclass(frozen=True)
class Listening:
    """P positions where somebody listens.

    `position` (P, 3) at ear height [m]; `floor` (P,) height of the area below [m]; `area` (P,) index
    of the area; `seat_weight` (P,) plan area that a position stands for [m²], 0 on the section;
    `on_section` (P,) bool.
    """

    position: Array
    floor: Array
    area: npt.NDArray[np.intp]
    seat_weight: Array
    on_section: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Grid:
    """How an area was cut into cells, for drawing: `cell_m` (2,), and the plan direction of its first side [rad]."""

    cell_m: tuple[float, float]
    direction: float


def grid_of(area: Area, grid_m: float = GRID_M) -> Grid:
    """Cells of an area: along its first side and across, none larger than `grid_m` [m]."""
    direction = _first_side(area)
    low, high = _extent(area, direction)
    counts = np.maximum(1, np.ceil((high - low) / grid_m - 1e-9))
    cell = (high - low) / counts
    return Grid((float(cell[0]), float(cell[1])), direction)


def sample_area(area: Area, grid_m: float = GRID_M) -> tuple[Array, Array]:
    """Listening positions of an area.

    Its plan is cut into equal cells along its first side; each position is the centroid of a cell's
    part inside the outline, and weighs as much as that part, so that the weights sum to the area.

    Parameters
    ----------
    area : Area
    grid_m : float
        Largest cell. [m]

    Returns
    -------
    position : ndarray, shape (P, 3)
        At ear height. [m]
    weight : ndarray, shape (P,)
        Plan area. [m²]
    """
    grid = grid_of(area, grid_m)
    turn = _turn(grid.direction)
    plan = area.corners[:, :2] @ turn.T
    low, high = _extent(area, grid.direction)
    counts = np.round((high - low) / np.array(grid.cell_m)).astype(int)
    u = low[0] + grid.cell_m[0] * np.arange(counts[0])
    v = low[1] + grid.cell_m[1] * np.arange(counts[1])
    left, bottom = (corner.ravel() for corner in np.meshgrid(u, v, indexing="ij"))
    cells = shapely.box(left, bottom, left + grid.cell_m[0], bottom + grid.cell_m[1])
    polygon = shapely.Polygon(plan)
    shapely.prepare(polygon)
    inside = shapely.contains_properly(polygon, cells)
    cells[~inside] = shapely.intersection(cells[~inside], polygon)
    weight = shapely.area(cells)
    keep = weight > _SLIVER * grid.cell_m[0] * grid.cell_m[1]
    centre = shapely.get_coordinates(shapely.centroid(cells[keep])) @ turn
    return _at_ears(area, centre)[0], weight[keep]


def section_line(area: Area, position_m: npt.ArrayLike, azimuth: float, step_m: float = SECTION_STEP_M) -> Array:
    """Positions where a vertical plane through a place and azimuth [rad] cuts an area, (P, 3), every `step_m` [m]."""
    place = np.asarray(position_m, dtype=float)[:2]
    direction = np.array([np.cos(azimuth), np.sin(azimuth)])
    polygon = shapely.Polygon(area.corners[:, :2])
    reach = float(np.abs(area.corners[:, :2] - place).sum(axis=1).max()) + 1.0
    cut = shapely.intersection(polygon, shapely.LineString([place - reach * direction, place + reach * direction]))
    along: list[Array] = []
    for part in shapely.get_parts(cut):
        ends = (shapely.get_coordinates(part) - place) @ direction
        if len(ends) > 1:
            count = max(2, int(np.ceil((ends.max() - ends.min()) / step_m - 1e-9)) + 1)
            along.append(np.linspace(ends.min(), ends.max(), count))
    distances = np.sort(np.concatenate(along)) if along else np.zeros(0)
    return _at_ears(area, place + distances[:, np.newaxis] * direction)[0]


def cut_segments(corners: Array, position_m: npt.ArrayLike, azimuth: float) -> Array:
    """Where a vertical plane through a place and azimuth [rad] cuts a flat outline.

    Returns
    -------
    ndarray, shape (K, 2, 2)
        Ends of K segments as (distance along the azimuth, height). [m]
    """
    along_axis = np.array([np.cos(azimuth), np.sin(azimuth)])
    apart = corners[:, :2] - np.asarray(position_m, dtype=float)[:2]
    aside = apart @ np.array([-along_axis[1], along_axis[0]])
    points = np.column_stack([apart @ along_axis, corners[:, 2]])
    # A corner on the plane counts as on its left, so that every outline crosses an even number of times.
    left = aside >= 0
    crossing = np.flatnonzero(left != np.roll(left, -1))
    after = (crossing + 1) % len(corners)
    share = (aside[crossing] / (aside[crossing] - aside[after]))[:, np.newaxis]
    hits = points[crossing] + share * (points[after] - points[crossing])
    return np.asarray(hits[np.lexsort((hits[:, 1], hits[:, 0]))]).reshape(-1, 2, 2)


def layers(areas: Sequence[Area]) -> list[int]:
    """A number for each area, so that no two of one number overlap in plan; -1 for obstacles."""
    found: list[int] = []
    plans = [shapely.Polygon(area.corners[:, :2]).buffer(-1e-6) for area in areas]
    for index, area in enumerate(areas):
        taken = {found[i] for i in range(index) if plans[index].intersects(plans[i])}
        layer = next(n for n in range(len(areas) + 1) if n not in taken)
        found.append(-1 if area.role == "obstacle" else layer)
    return found


def listen(areas: Sequence[Area], position_m: npt.ArrayLike, azimuth: float, grid_m: float = GRID_M) -> Listening:
    """All positions of the areas that are no obstacles: their grids, then their sections.

    Parameters
    ----------
    areas : sequence of Area
    position_m : array_like, shape (3,)
        Frame reference of the hang, for the section. [m]
    azimuth : float
        Its azimuth. [rad]
    grid_m : float
        Largest cell. [m]
    """
    position, weight, index, section = [], [], [], []
    heard = [i for i, area in enumerate(areas) if area.role != "obstacle"]
    for on_section in (False, True):
        for i in heard:
            if on_section:
                points = section_line(areas[i], position_m, azimuth)
                weights = np.zeros(len(points))
            else:
                points, weights = sample_area(areas[i], grid_m)
            position.append(points)
            weight.append(weights)
            index.append(np.full(len(points), i))
            section.append(np.full(len(points), on_section))
    ears = np.array([area.ear_height_m for area in areas])
    everywhere, area_index = np.concatenate(position), np.concatenate(index)
    floor = everywhere[:, 2] - ears[area_index]
    return Listening(everywhere, floor, area_index, np.concatenate(weight), np.concatenate(section))


def _first_side(area: Area) -> float:
    """Plan direction of the first side that is not vertical [rad]: the grid turns and mirrors with the area."""
    plan = area.corners[:, :2]
    sides = np.roll(plan, -1, axis=0) - plan
    longest = np.hypot(*sides.T).max()
    side = next(s for s in sides if np.hypot(*s) > 1e-6 * longest)
    return float(np.arctan2(side[1], side[0]))


def _turn(direction: float) -> Array:
    return np.array([[np.cos(direction), np.sin(direction)], [-np.sin(direction), np.cos(direction)]])


def _extent(area: Area, direction: float) -> tuple[Array, Array]:
    plan = area.corners[:, :2] @ _turn(direction).T
    return plan.min(axis=0), plan.max(axis=0)


def _at_ears(area: Area, plan: Array) -> tuple[Array, Array]:
    """Plan points (P, 2) → ears (P, 3) and floor heights (P,), on the plane that fits the corners best."""
    origin, axes = area.plane
    floor = origin[2] - (plan - origin[:2]) @ axes[2, :2] / axes[2, 2]
    return np.column_stack([plan, floor + area.ear_height_m]), floor
