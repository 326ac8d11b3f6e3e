"""Directivities tabulated for the compiled sum: spline coefficients on two maps of the sphere.

Each half of the sphere about a source's axis is laid flat by (y, z)/(1 ± x) of the direction in the source's axes
(stereographic projection): no poles, no trigonometry to look up, and everywhere smooth. Only the patch in which
listeners lie is tabulated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from acoustics import kernel
from acoustics.directivity import Directivity
from acoustics.kernel import Charts

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

# Nodes beyond a patch: what the spline assumes at its border fades by 0.27 from node to node.
_MARGIN = 10
_COARSE_MARGIN = 5
# Nodes ahead of all charts, no numbers: what a direction finds where there is no chart for its half.
_NOWHERE = 16
_SLICE = 1_000_000  # values of a table that are computed at a time; some ten arrays of them are alive at once


@dataclass
class _Grid:
    """Nodes of one chart, `step` apart, and what was tabulated on them: coefficients by frequency [Hz], flat."""

    u: Array
    v: Array
    step: float
    columns: dict[float, npt.NDArray[np.complex64]] = field(default_factory=dict)


_Grids = dict[tuple[int, int], _Grid]  # by kind and half


class Kept:
    """Tables that are kept from call to call, over the directions that came up and some way beyond.

    Nodes lie at whole steps from the axis whatever the patch, so that what is kept is what would be made anew. Kinds
    are told apart by name and speed of sound: one catalogue for each. For one thread at a time.
    """

    BEYOND = 0.1  # in the charts' coordinates: 6° and more
    MOST = 8  # charts that are kept whole; what they are made of is kept for all frequencies that came up

    def __init__(self) -> None:
        self._grids: dict[tuple[str, float, float, int], _Grid] = {}
        self._steps: dict[tuple[str, float, bytes], float] = {}
        self._whole: dict[tuple[bytes, tuple[int, ...]], tuple[_Grids, Charts]] = {}

    def step_deg(self, kind: Directivity, asked: Array) -> float:
        """`Directivity.step_deg`, worked out once."""
        name = (kind.name, kind.c, asked.tobytes())
        if name not in self._steps:
            self._steps[name] = kind.step_deg(asked)
        return self._steps[name]

    def grid(self, kind: Directivity, half: int, patch: Array, step: float, margin: int) -> _Grid:
        """Nodes that hold a patch (2, 2), least and greatest (u, v), with a margin of as many beyond it."""
        name = (kind.name, kind.c, step, half)
        there, needed = self._grids.get(name), _laid(patch, step, margin)
        low, high = patch
        if there is not None:
            axes = ((there.u, needed.u), (there.v, needed.v))
            if all(kept[0] <= one[0] and one[-1] <= kept[-1] for kept, one in axes):
                return there
            low = np.minimum(low, [there.u[margin], there.v[margin]])
            high = np.maximum(high, [there.u[-1 - margin], there.v[-1 - margin]])
        low = np.maximum(low - self.BEYOND, np.minimum(low, -1.0))  # the rim of a half is at 1
        high = np.minimum(high + self.BEYOND, np.maximum(high, 1.0))
        made = _laid(np.stack([low, high]), step, margin)
        self._grids = {one: grid for one, grid in self._grids.items() if one[0] != kind.name or one[1] == kind.c}
        self._grids[name] = made
        return made

    def charts(self, kinds: Sequence[Directivity], grids: _Grids, asked: Array) -> Charts:
        """Charts on grids of this; the same ones where they were asked for before."""
        name = (asked.tobytes(), tuple(id(grid) for grid in grids.values()))
        if name not in self._whole:
            while len(self._whole) >= self.MOST:
                del self._whole[next(iter(self._whole))]
            self._whole[name] = grids, _tabulated(kinds, grids, asked, keeps=True)
        return self._whole[name][1]


def build(
    kinds: Sequence[Directivity],
    patches: Array,
    frequencies: npt.ArrayLike,
    coarser: float = 1.0,
    kept: Kept | None = None,
) -> Charts:
    """Charts of some kinds of source.

    Parameters
    ----------
    kinds : sequence of Directivity
    patches : ndarray, shape (kinds, 2, 2, 2)
        For each kind and half (front, rear) the least and greatest (u, v) needed; NaN where no direction falls.
    frequencies : array_like, shape (K,)
        One for each sub-band. [Hz]
    coarser : float
        Times the step that keeps within `directivity.TABLE_ERROR`.
    kept : Kept, optional
        What was tabulated before, and takes what is tabulated now.

    Returns
    -------
    Charts
    """
    asked, grids = np.asarray(frequencies, dtype=float), _Grids()
    margin = _MARGIN if coarser == 1.0 else _COARSE_MARGIN
    for index, half in np.ndindex((len(kinds), 2)):
        kind, patch = kinds[index], patches[index, half]
        if kind.omnidirectional or np.isnan(patch).any():
            continue
        # At the middle of a chart a unit of u is two radians, at the rim one.
        step = coarser * np.radians(kind.step_deg(asked) if kept is None else kept.step_deg(kind, asked)) / 2.0
        laid = _laid(patch, step, margin) if kept is None else kept.grid(kind, half, patch, step, margin)
        grids[index, half] = laid
    return _tabulated(kinds, grids, asked, keeps=False) if kept is None else kept.charts(kinds, grids, asked)


def _laid(patch: Array, step: float, margin: int) -> _Grid:
    """Nodes that hold a patch, and a margin beyond it."""
    low, high = patch
    return _Grid(_axis(low[0], high[0], step, margin), _axis(low[1], high[1], step, margin), step)


def _tabulated(kinds: Sequence[Directivity], grids: _Grids, asked: Array, *, keeps: bool) -> Charts:
    """Charts on their grids, whose columns stay only where they are kept."""
    wide, shape = kernel.padding(len(asked)), (len(kinds), 2)
    origin, steps, first = np.zeros((*shape, 2)), np.ones(shape), np.zeros(shape, dtype=np.int64)
    across, down = np.full(shape, 4, dtype=np.int64), np.full(shape, 4, dtype=np.int64)
    plain = np.array([kind.omnidirectional for kind in kinds])
    upto = np.full(len(kinds), wide, dtype=np.int64)
    count = _NOWHERE
    for place, grid in grids.items():
        origin[place] = grid.u[0], grid.v[0]
        steps[place], first[place] = 1.0 / grid.step, count
        down[place], across[place] = len(grid.u), len(grid.v)
        count += len(grid.u) * len(grid.v)
    node = np.zeros((count, 2 * wide), dtype=np.float32)
    node[:_NOWHERE] = np.nan
    for (index, half), grid in grids.items():
        part = node[first[index, half] :][: len(grid.u) * len(grid.v)]
        # Most of a table has no imaginary part: one radiator about the reference point.
        upto[index] = max(upto[index], wide + _fill(part, grid, kinds[index], half, asked, keeps=keeps))
    return Charts(node, origin, steps, across, down, first, plain, upto)


def _fill(
    node: npt.NDArray[np.float32], grid: _Grid, kind: Directivity, half: int, asked: Array, *, keeps: bool
) -> int:
    """Fill the nodes of one chart, some frequencies at a time; how many of these have the last imaginary part."""
    wide, last, together = node.shape[1] // 2, 0, max(1, _SLICE // len(node))
    for start in range(0, len(asked), together):
        some = asked[start : start + together]
        _tabulate(grid, kind, half, some)
        columns = np.stack([grid.columns[hz] for hz in some.tolist()])
        node[:, start : start + len(some)] = columns.real.T
        complex_ones = np.flatnonzero(columns.imag.any(axis=1))
        if len(complex_ones):
            node[:, wide + start : wide + start + len(some)] = columns.imag.T
            last = start + int(complex_ones[-1]) + 1
        if not keeps:
            grid.columns.clear()
    return last


def _tabulate(grid: _Grid, kind: Directivity, half: int, asked: Array) -> None:
    """Add the frequencies that are not there yet to the columns of a grid."""
    missing = np.array([hz for hz in asked.tolist() if hz not in grid.columns])
    if len(missing):
        values = _spline(kind.table(_directions(grid.u, grid.v, half), missing)).reshape(len(missing), -1)
        grid.columns.update(zip(missing.tolist(), values.astype(np.complex64), strict=True))


def look_up(kind: Directivity, directions: npt.ArrayLike, frequencies: npt.ArrayLike) -> Complex:
    """Directivity of one kind as the sum has it, from a table over the patch that holds the directions.

    Parameters
    ----------
    kind : Directivity
    directions : array_like, shape (..., 3)
        Unit vectors in the source's axes.
    frequencies : array_like, shape (K,)
        [Hz]

    Returns
    -------
    ndarray, shape (K, ...)
    """
    n = np.asarray(directions, dtype=float).reshape(-1, 3)
    asked = np.atleast_1d(np.asarray(frequencies, dtype=float))
    place, axes = np.zeros((1, 3)), np.eye(3)[np.newaxis]
    patches = kernel.patches(place, axes, np.zeros(1, dtype=np.int64), 1, n)
    found, wide = kernel.look_up(build([kind], patches, asked), n), kernel.padding(len(asked))
    both = found[:, : len(asked)] + 1j * found[:, wide : wide + len(asked)]
    return np.asarray(both.T.reshape(len(asked), *np.shape(directions)[:-1]))


def _axis(low: float, high: float, step: float, margin: int) -> Array:
    """Nodes at whole steps from the axis, so that a table has the symmetry of what it holds."""
    return np.asarray(step * np.arange(np.floor(low / step) - margin, np.ceil(high / step) + margin + 1))


def _directions(u: Array, v: Array, half: int) -> Array:
    """Unit vectors at the nodes of a chart, (U, V, 3)."""
    across, up = np.meshgrid(u, v, indexing="ij")
    square = across**2 + up**2
    ahead = (1.0 - square) / (1.0 + square)
    sideways = 2.0 / (1.0 + square)
    return np.stack([ahead if half == 0 else -ahead, across * sideways, up * sideways], axis=-1)


def _spline(values: Complex) -> Complex:
    """Coefficients of cubic splines through (K, U, V)."""
    parts = [values.real, values.imag]
    for axis in (1, 2):
        parts = [ndimage.spline_filter1d(p, order=3, axis=axis, mode="mirror") if p.any() else p for p in parts]
    return np.asarray(parts[0] + 1j * parts[1])
