"""From a hang (frame, column, splays, tilt, place) to the pose of everything in it.

Venue axes: x from the stage to the audience, y to stage left, z up. Elevation is positive upwards,
azimuth positive towards +y; a splay turns the lower item further down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging.equipment import Adapter, Enclosure, Frame, lower_pivot_m
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

CENTRE_WITHIN_M = 0.1  # off the venue's middle; what hangs nearer to it hangs in the centre


@dataclass(frozen=True)
class Poses:
    """Poses of N rigid items, or of N in each of many chains.

    `origin` (..., N, 3): their upper front pivots [m]. `axes` (..., N, 3, 3): rows are the forward, left and up
    directions of each item. `aim_elevation` (..., N): elevation of the forward direction [rad].
    """

    origin: Array
    axes: Array
    aim_elevation: Array

    def place(self, index: int, point_m: npt.ArrayLike) -> Array:
        """Points (..., 3) in the axes of item `index` → venue axes. [m]"""
        return np.asarray(self.origin[index] + np.asarray(point_m, dtype=float) @ self.axes[index])


@dataclass(frozen=True)
class Layout:
    """A hang in space: poses of the frame and of every row (enclosures and adapters), top down."""

    frame: Poses
    rows: Poses
    reference: Array  # (rows, 3): reference points [m]; NaN for adapters
    outline: Array  # (1 + rows, 4, 3): side outlines in the middle plane, the frame's first [m]
    lowest_m: float  # height of the lowest edge [m]


def item_axes(azimuth: npt.ArrayLike, elevation: npt.ArrayLike) -> Array:
    """Forward, left and up directions of items that look to an azimuth and an elevation.

    Parameters
    ----------
    azimuth, elevation : array_like, broadcastable to shape (...)
        [rad]

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Rows: forward, left, up, in venue axes.
    """
    az, el = np.broadcast_arrays(np.asarray(azimuth, dtype=float), np.asarray(elevation, dtype=float))
    zero = np.zeros_like(az)
    forward = np.stack([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)], axis=-1)
    left = np.stack([-np.sin(az), np.cos(az), zero], axis=-1)
    return np.stack([forward, left, np.cross(forward, left)], axis=-2)


def chain(
    position_m: npt.ArrayLike, azimuth: float, tilt: npt.ArrayLike, splays: npt.ArrayLike, pivots_m: npt.ArrayLike
) -> Poses:
    """Poses of a chain of items joined at their front pivots, or of many such chains.

    Parameters
    ----------
    position_m : array_like, shape (..., 3)
        The first upper pivot. [m]
    azimuth : float
        Azimuth of the whole. [rad]
    tilt : array_like, shape (...)
        Elevation of the frame above the first item. [rad]
    splays : array_like, shape (..., N)
        Turn at the joint above each item, positive downwards. [rad]
    pivots_m : array_like, shape (N, 2)
        Lower pivot of each item, forward and up from its upper one. [m]

    Returns
    -------
    Poses
        Aim elevation(i) = tilt − sum of splays down to i.
    """
    elevation = np.asarray(tilt, dtype=float)[..., np.newaxis] - np.cumsum(np.asarray(splays, dtype=float), axis=-1)
    axes = item_axes(azimuth, elevation)
    pivots = np.asarray(pivots_m, dtype=float).reshape(-1, 2)
    steps = pivots[:, :1] * axes[..., 0, :] + pivots[:, 1:] * axes[..., 2, :]
    below = np.cumsum(steps, axis=-2) - steps
    origin = np.asarray(position_m, dtype=float)[..., np.newaxis, :] + below
    return Poses(origin, axes, elevation)


def lay_out(hang: Hang) -> Layout:
    """Place a hang in the venue."""
    azimuth, tilt = np.radians(hang.azimuth_deg), np.radians(hang.tilt_deg)
    rows = chain(
        hang.position_m,
        azimuth,
        tilt,
        np.radians(hang.splays_deg),
        [lower_pivot_m(item) for item in hang.items],
    )
    reference = np.full((len(hang.items), 3), np.nan)
    for index, item in enumerate(hang.items):
        if isinstance(item, Enclosure):
            reference[index] = rows.place(index, item.reference_m)
    if hang.standing:
        # The frame lies upside down below the last row, level on the floor.
        foot = rows.place(-1, np.array([*lower_pivot_m(hang.items[-1]), 0.0])[[0, 2, 1]])
        frame = chain(foot, azimuth, 0.0, [0.0], [[0.0, 0.0]])
        sides = [frame.place(0, side_outline(hang.frame) * [1.0, 1.0, -1.0])]
    else:
        frame = chain(hang.position_m, azimuth, tilt, [0.0], [[0.0, 0.0]])
        sides = [frame.place(0, side_outline(hang.frame))]
    sides += [rows.place(index, side_outline(item)) for index, item in enumerate(hang.items)]
    outline = np.stack(sides)
    return Layout(frame, rows, reference, outline, float(outline[..., 2].min()))


def side_of(hang: Hang) -> str:
    """The side of the stage that a hang belongs to, the house's name in brackets.

    From its y against the venue's middle, y = 0, to which the centre extends by `CENTRE_WITHIN_M`.
    """
    y = hang.position_m[1]
    if abs(y) <= CENTRE_WITHIN_M:
        return "centre"
    return "stage left (house right)" if y > 0 else "stage right (house left)"


def side_outline(item: Frame | Adapter | Enclosure) -> Array:
    """Corners (4, 3) of an item's side in the middle plane: front top, front bottom, rear bottom, rear top."""
    front, rear = item.front_m, item.front_m - item.depth_m
    top, bottom = (item.height_m, 0.0) if item.ABOVE_ORIGIN else (0.0, -item.height_m)
    return np.array([[front, 0, top], [front, 0, bottom], [rear, 0, bottom], [rear, 0, top]], dtype=float)


def boxes(hang: Hang, layout: Layout) -> Array:
    """Corners of frame and rows as boxes, (1 + rows, 8, 3): the right side's four, then the left side's. [m]"""
    items = [hang.frame, *hang.items]
    axes = np.concatenate([layout.frame.axes, layout.rows.axes])
    half = np.array([item.width_m / 2.0 for item in items])[:, np.newaxis, np.newaxis] * axes[:, np.newaxis, 1]
    return np.concatenate([layout.outline - half, layout.outline + half], axis=1)


def aim_lines(hang: Hang, layout: Layout, length_m: float) -> Array:
    """From the middle of every enclosure's front along its aim, (S, 2, 3). [m]"""
    rows = list(hang.enclosure_rows)
    start = layout.outline[[row + 1 for row in rows], :2].mean(axis=1)
    return np.stack([start, start + length_m * layout.rows.axes[rows, 0]], axis=1)
