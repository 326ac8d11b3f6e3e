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
    starts, ends = (source - origin) @ axes.T, (position - origin) @ axes.T  # in the plane, and above it
    start, end = starts[:, 2], ends[:, 2]
    crossing = (start > 0.0)[:, np.newaxis] != (end > 0.0)[np.newaxis, :]
    s, p = np.nonzero(crossing)
    share = start[s] / (start[s] - end[p])
    inside = (share > _ENDS) & (share < 1.0 - _ENDS)
    crossing[s[~inside], p[~inside]] = False
    s, p, share = s[inside], p[inside], share[inside]
    u, v = (starts[s, axis] + share * (ends[p, axis] - starts[s, axis]) for axis in (0, 1))
    polygon = shapely.Polygon((area.corners - origin) @ axes[:2].T)
    shapely.prepare(polygon)
    crossing[s, p] = shapely.contains_xy(polygon, u, v)
    return np.asarray(crossing)
