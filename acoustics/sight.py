"""Which source is hidden from which position: straight paths against areas and obstacles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

from acoustics.venue import Area

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# A path ends on the surface that its listener stands on when the ear height is 0: that is no crossing.
_ENDS = 1e-6
_BLOCK = 500_000  # paths at a time, some 50 MB


def hidden(source: Array, position: Array, areas: Sequence[Area]) -> Flags:
    """Whether an area or obstacle crosses the straight path.

    Quiet areas are places, not surfaces, and hide nothing. Diffraction is not modelled.

    Parameters
    ----------
    source : ndarray, shape (S, 3)
    position : ndarray, shape (P, 3)
        [m]
    areas : sequence of Area

    Returns
    -------
    ndarray of bool, shape (S, P)
    """
    blocked = np.zeros((len(source), len(position)), dtype=bool)
    step = max(1, _BLOCK // max(1, len(source)))
    for area in areas:
        if area.role == "quiet":
            continue
        for first in range(0, len(position), step):
            part = slice(first, first + step)
            blocked[:, part] |= _crosses(source, position[part], area)
    return blocked


def _crosses(source: Array, position: Array, area: Area) -> Flags:
    origin, axes = area.plane
    start = (source - origin) @ axes[2]
    end = (position - origin) @ axes[2]
    drop = start[:, np.newaxis] - end[np.newaxis, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = start[:, np.newaxis] / drop
    crossing = (share > _ENDS) & (share < 1.0 - _ENDS)
    s, p = np.nonzero(crossing)
    hit = source[s] + share[s, p, np.newaxis] * (position[p] - source[s])
    polygon = shapely.Polygon((area.corners - origin) @ axes[:2].T)
    shapely.prepare(polygon)
    plane = (hit - origin) @ axes[:2].T
    crossing[s, p] = shapely.contains_xy(polygon, plane[:, 0], plane[:, 1])
    return np.asarray(crossing)
