"""Sound that reaches hidden positions over one edge: ISO 9613-2:1996 clause 7.4, and the detour that it asks for.

The clause stands for octave bands of noise outdoors, and for a thing that is closed, of at least 10 kg/m², and
across the path longer than the wavelength (values from memory). Simplifications here:

- One edge bends the path. Where several surfaces block it, the one with the greatest detour counts alone.
- A bent path is not checked against other surfaces.
- The air absorbs along the straight path, some centimetres to metres shorter than the bent one; the sum over bands and
  lines spreads by it, too.
- A path that nothing blocks loses nothing, though the clause gives 4.8 dB at the border of the shadow and less
  than that beyond it: the level jumps there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from acoustics.sight import _crosses
from acoustics.venue import STEEPEST_DEG, Area

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

C2 = 20.0  # clause 7.4, reflections from the ground included (value from memory)
C3 = 1.0  # clause 7.4, one edge (value from memory)
AT_BORDER = 3.0  # clause 7.4, equation (14): 10 lg 3 dB without a detour (value from memory)
MOST_DB = 20.0  # clause 7.4, one edge, in any octave (value from memory)
WEATHER_M = 2000.0  # clause 7.4, equation (18) (value from memory)
CALM_M = 100.0  # clause 7.4: below this distance K_met may be taken as 1, to 1 dB (value from memory)

_SAME_HEIGHT_M = 1e-3
_STANDS_M = 0.3  # an edge nearer above a floor than this stands on it
_BLOCK = 100_000  # paths at a time, some 20 MB


@dataclass(frozen=True)
class Bend:
    """How S × P hidden paths bend over an edge; NaN where a path is not blocked.

    `path_difference` (S, P): bent less straight path [m]; `weather` (S, P): the clause's K_met.
    """

    path_difference: Array
    weather: Array


def loss(path_difference: npt.ArrayLike, wavelength: npt.ArrayLike, weather: npt.ArrayLike = 1.0) -> Array:
    """Loss by one edge, D_z = 10 lg[3 + (C2/λ) C3 z K_met], at most 20 dB. ISO 9613-2:1996 (14).

    Parameters
    ----------
    path_difference : array_like, shape (...)
        z, bent less straight path; NaN where no edge counts. [m]
    wavelength : array_like, broadcastable
        At the midband. [m]
    weather : array_like, broadcastable
        K_met.

    Returns
    -------
    ndarray, shape (...)
        [dB], 10 lg 3 = 4.8 to 20; NaN where the path difference is.

    Raises
    ------
    ValueError
        If a path difference is negative or a wavelength is not positive.
    """
    z, length = np.asarray(path_difference, dtype=float), np.asarray(wavelength, dtype=float)
    if np.any(z < 0):
        raise ValueError(f"path difference must not be negative, got {np.nanmin(z):g} m: such a path is not blocked")
    if not np.all(length > 0):
        raise ValueError(f"wavelength must be positive, got {np.min(length):g} m")
    return np.asarray(np.minimum(10.0 * np.log10(AT_BORDER + C2 / length * C3 * z * np.asarray(weather)), MOST_DB))


def weather_factor(
    before: npt.ArrayLike, after: npt.ArrayLike, straight: npt.ArrayLike, path_difference: npt.ArrayLike
) -> Array:
    """K_met = exp[−(1/2000) √(d_ss d_sr d/(2z))], ISO 9613-2:1996 (18): the wind bends sound down behind an edge.

    Parameters
    ----------
    before, after : array_like, shape (...)
        Path from the source to the edge and on from there. [m]
    straight : array_like, shape (...)
        [m]
    path_difference : array_like, shape (...)
        Not negative. [m]

    Returns
    -------
    ndarray, shape (...)
        1 where the straight path is below 100 m.
    """
    d, z = np.asarray(straight, dtype=float), np.asarray(path_difference, dtype=float)
    with np.errstate(divide="ignore"):
        factor = np.exp(-np.sqrt(np.asarray(before) * np.asarray(after) * d / (2.0 * z)) / WEATHER_M)
    return np.where(d < CALM_M, 1.0, factor)


def detour(source: Array, position: Array, areas: Sequence[Area], blocked: Flags) -> Array:
    """Path difference of hidden paths, (S, P) [m]; NaN where not blocked. See `bend`."""
    return bend(source, position, areas, blocked).path_difference


def bend(source: Array, position: Array, areas: Sequence[Area], blocked: Flags) -> Bend:
    """The shortest paths over an edge of what blocks the straight ones.

    All edges of an area or obstacle let sound pass, along their whole length, but one kind: the lowest edge of
    an upright obstacle (steeper than 60°; both ends at its least height) is taken to stand on the floor, unless an
    area lies plumb below its middle by more than 0.3 m: then it hangs in the air, as a balcony's front does. What
    blocks is flat, so a path that touches its outline once crosses it nowhere else, be it concave. K_met is 1
    along edges that rise more than they run, as the clause says of paths around the side (value from memory).

    Parameters
    ----------
    source : ndarray, shape (S, 3)
    position : ndarray, shape (P, 3)
        [m]
    areas : sequence of Area
        Quiet ones are no surfaces.
    blocked : ndarray of bool, shape (S, P)
        From `sight.hidden` with the same areas; only these are computed.

    Returns
    -------
    Bend
    """
    difference, weather = np.full(blocked.shape, np.nan), np.full(blocked.shape, np.nan)
    rows, columns = np.flatnonzero(blocked.any(axis=1)), np.flatnonzero(blocked.any(axis=0))
    step = max(1, _BLOCK // max(1, len(rows)))
    for area in areas:
        if area.role == "quiet":
            continue
        edges = np.array(list(_edges(area, areas)))
        for first in range(0, len(columns), step):
            part = columns[first : first + step]
            crossed = _crosses(source[rows], position[part], area) & blocked[np.ix_(rows, part)]
            i, j = np.nonzero(crossed)
            s, p = rows[i], part[j]
            z, factor = _least(source[s], position[p], edges)
            more = ~(z <= difference[s, p])  # NaN: the first that blocks
            difference[s[more], p[more]] = z[more]
            weather[s[more], p[more]] = factor[more]
    return Bend(difference, weather)


def over_edge(source: Array, position: Array, edge: Array) -> tuple[Array, Array]:
    """The shortest path over a straight edge: both half-planes unfold about its line into one plane.

    There the path is straight. Where it would pass beside the edge, it goes over the nearer end.

    Parameters
    ----------
    source, position : ndarray, shape (N, 3)
        [m]
    edge : ndarray, shape (2, 3)
        Its ends. [m]

    Returns
    -------
    before, after : ndarray, shape (N,)
        Lengths from the source to the edge and on to the position. [m]
    """
    length = float(np.linalg.norm(edge[1] - edge[0]))
    along = (edge[1] - edge[0]) / length if length > 0 else np.zeros(3)
    at_source, off_source = _foot(source - edge[0], along)
    at_position, off_position = _foot(position - edge[0], along)
    off = off_source + off_position
    share = np.divide(off_source, off, out=np.zeros_like(off), where=off > 0)
    turn = np.clip(at_source + share * (at_position - at_source), 0.0, length)
    return np.hypot(off_source, turn - at_source), np.hypot(off_position, turn - at_position)


def _foot(point: Array, along: Array) -> tuple[Array, Array]:
    """How far along a line points lie, and how far off it."""
    at = point @ along
    return at, np.linalg.norm(point - at[:, np.newaxis] * along, axis=1)


def _least(source: Array, position: Array, edges: Array) -> tuple[Array, Array]:
    """Path difference over the easiest of edges (E, 2, 3), and its K_met, both (N,)."""
    straight = np.linalg.norm(position - source, axis=1)
    difference, weather = np.full(len(straight), np.inf), np.ones(len(straight))
    for edge in edges:
        before, after = over_edge(source, position, edge)
        z = np.maximum(before + after - straight, 0.0)
        rise = edge[1] - edge[0]
        upright = abs(rise[2]) > np.hypot(rise[0], rise[1])
        factor = np.ones_like(z) if upright else weather_factor(before, after, straight, z)
        weather = np.where(z < difference, factor, weather)
        difference = np.minimum(difference, z)
    return difference, weather


def _edges(area: Area, areas: Sequence[Area]) -> Iterator[Array]:
    """Edges that sound can pass, (2, 3) each, in the plane that blocks."""
    origin, axes = area.plane
    corners = area.corners
    flat = corners - ((corners - origin) @ axes[2])[:, np.newaxis] * axes[2]
    upright = _upright(area)
    low = corners[:, 2] < corners[:, 2].min() + _SAME_HEIGHT_M
    for one in range(len(corners)):
        other = (one + 1) % len(corners)
        lowest = upright and low[one] and low[other]
        if not lowest or _hangs((corners[one] + corners[other]) / 2.0, areas):
            yield flat[[one, other]]


def _upright(area: Area) -> bool:
    return bool(abs(area.plane[1][2, 2]) < np.cos(np.radians(STEEPEST_DEG)))


def _hangs(place: Array, areas: Sequence[Area]) -> bool:
    """Whether the nearest floor plumb below a place is clearly below it; where there is none, it stands."""
    below = []
    for area in areas:
        origin, axes = area.plane
        if not _upright(area) and shapely.contains_xy(shapely.Polygon(area.corners[:, :2]), *place[:2]):
            height = origin[2] - (place[:2] - origin[:2]) @ axes[2, :2] / axes[2, 2]
            if height <= place[2] + _STANDS_M:
                below.append(place[2] - height)
    return bool(below) and min(below) > _STANDS_M
