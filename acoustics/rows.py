"""Seat rows: positions of an area that lie equally far back, and what each row gets.

A row is a line of cells of the area's grid. Rows run from front to back: up the rake, or away from the datum where an
area is level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands
from acoustics.listening import GRID_M, Listening, grid_of
from acoustics.venue import Area

Array = npt.NDArray[np.float64]

# Octaves whose balance is told: those of AVIXA A102.01:2017's full range that are whole in our bands.
BALANCE_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
_LEVEL = 0.02  # a rise of less than this for each metre is no rake to tell front from back by


@dataclass(frozen=True)
class SeatRows:
    """R rows of P positions.

    `of` (P,): the row of each position, -1 on sections; `area` (R,) index of the area; `number` (R,) from 1 at the
    front of each area; `seats` (R,) plan area [m²]; `depth_m` (R,) of its middle behind the front edge of the area [m].
    """

    of: npt.NDArray[np.intp]
    area: npt.NDArray[np.intp]
    number: npt.NDArray[np.intp]
    seats: Array
    depth_m: Array


@dataclass(frozen=True)
class RowLevels:
    """What R rows get: `mean`, `low` and `high` (R,) of their seats [dB(A)]; `balance` (R, E): how far each octave is
    off its mean over all rows that count, the row's own difference in dB(A) taken out [dB]. NaN where nothing
    arrives."""

    mean: Array
    low: Array
    high: Array
    balance: Array


def seat_rows(areas: Sequence[Area], listening: Listening, grid_m: float = GRID_M) -> SeatRows:
    """Rows of listening positions that were made with cells of `grid_m` [m]."""
    of = np.full(len(listening.position), -1, dtype=np.intp)
    area_of: list[int] = []
    number: list[int] = []
    depth: list[float] = []
    for index, area in enumerate(areas):
        mine = np.flatnonzero((listening.area == index) & ~listening.on_section)
        if not len(mine):
            continue
        along = listening.position[mine, :2] @ _backwards(area, grid_m)
        front = float((area.corners[:, :2] @ _backwards(area, grid_m)).min())
        cell = _depth_of_cell(area, grid_m)
        # Cells that the outline cuts have their centroid off the line of whole ones, by less than half a cell.
        line = np.floor((along - front) / cell + 1e-9).astype(int)
        for number_in_area, each in enumerate(np.unique(line), start=1):
            row = mine[line == each]
            of[row] = len(area_of)
            area_of.append(index)
            number.append(number_in_area)
            depth.append(float(np.average(along[line == each], weights=listening.seat_weight[row])) - front)
    seats = np.asarray(np.bincount(of[of >= 0], listening.seat_weight[of >= 0], len(area_of)), dtype=float)
    return SeatRows(of, np.array(area_of, dtype=np.intp), np.array(number, dtype=np.intp), seats, np.array(depth))


def loud_and_octaves(level: Array) -> Array:
    """Levels in dB(A), then in the octaves of `BALANCE_HZ`, (1 + E, P), of those in third octaves (29, P). [dB]

    Absent levels (NaN) add nothing.
    """
    energy = np.where(np.isnan(level), 0.0, 10.0 ** (level / 10.0))
    weight = 10.0 ** (bands.weighting(bands.midbands(), "A") / 10.0)
    # No matrix product: the threads that it wakes go on spinning in the way of the next sum.
    summed = [(energy * weight[:, np.newaxis]).sum(axis=0)]
    summed += [energy[bands.octave_bands(hz)].sum(axis=0) for hz in BALANCE_HZ]
    total = np.array(summed)
    return np.asarray(10.0 * np.log10(np.where(total > 0.0, total, np.nan)))


def row_levels(rows: SeatRows, levels: Array, weight: Array, counts: npt.NDArray[np.bool_]) -> RowLevels:
    """What rows get.

    Parameters
    ----------
    rows : SeatRows
    levels : ndarray, shape (1 + E, P)
        As `loud_and_octaves` gives them, NaN where nothing arrives. [dB]
    weight : ndarray, shape (P,)
        Seat weights; 0: a position that does not count.
    counts : ndarray of bool, shape (R,)
        Rows that the mean of each octave is taken over.

    Returns
    -------
    RowLevels
    """
    loud, mean = levels[0], _row_mean(rows, levels[0], weight)
    octaves = np.array([_row_mean(rows, each, weight) for each in levels[1:]]).T
    low, high = np.full(len(mean), np.inf), np.full(len(mean), -np.inf)
    heard = (rows.of >= 0) & np.isfinite(loud) & (weight > 0)
    np.minimum.at(low, rows.of[heard], loud[heard])
    np.maximum.at(high, rows.of[heard], loud[heard])
    known = counts & np.isfinite(mean) & np.isfinite(octaves).all(axis=1)
    if not known.any():
        return RowLevels(mean, _finite(low), _finite(high), np.full(octaves.shape, np.nan))
    usual = np.average(octaves[known], axis=0, weights=rows.seats[known])
    off = mean - np.average(mean[known], weights=rows.seats[known])
    return RowLevels(mean, _finite(low), _finite(high), octaves - usual - off[:, np.newaxis])


def _row_mean(rows: SeatRows, level: Array, weight: Array) -> Array:
    """Weighted mean of the decibels of each row, (R,)."""
    heard = (rows.of >= 0) & np.isfinite(level) & (weight > 0)
    many = len(rows.number)
    total = np.bincount(rows.of[heard], weight[heard], minlength=many)
    summed = np.bincount(rows.of[heard], weight[heard] * level[heard], minlength=many)
    return np.asarray(np.divide(summed, total, out=np.full(many, np.nan), where=total > 0))


def _finite(level: Array) -> Array:
    return np.where(np.isfinite(level), level, np.nan)


def _sides(area: Area, grid_m: float) -> Array:
    """Plan directions of the grid's two axes, (2, 2)."""
    direction = grid_of(area, grid_m).direction
    return np.array([[np.cos(direction), np.sin(direction)], [-np.sin(direction), np.cos(direction)]])


def _backwards(area: Area, grid_m: float) -> Array:
    """The direction of the grid that leads from front to back, (2,)."""
    sides = _sides(area, grid_m)
    both = np.concatenate([sides, -sides])
    return np.asarray(both[int(np.argmax(both @ _wished(area)))])


def _depth_of_cell(area: Area, grid_m: float) -> float:
    sides, back = _sides(area, grid_m), _backwards(area, grid_m)
    return grid_of(area, grid_m).cell_m[int(np.argmax(np.abs(sides @ back)))]


def _wished(area: Area) -> Array:
    """Where the back of an area is: up its rake, or away from the datum; straight ahead if it lies around that."""
    _, axes = area.plane
    rise = -axes[2, :2] / axes[2, 2]
    if np.hypot(*rise) >= _LEVEL:
        return np.asarray(rise)
    middle = area.corners[:, :2].mean(axis=0)
    return middle if np.hypot(*middle) > 0 else np.array([1.0, 0.0])
