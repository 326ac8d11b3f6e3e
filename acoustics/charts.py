"""Directivities tabulated for the compiled sum: spline coefficients on two maps of the sphere.

Each half of the sphere about a source's axis is laid flat by (y, z)/(1 ± x) of the direction in the source's axes
(stereographic projection): no poles, no trigonometry to look up, and everywhere smooth. Only the patch in which
listeners lie is tabulated.
"""

from __future__ import annotations

from collections.abc import Sequence

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


def build(kinds: Sequence[Directivity], patches: Array, frequencies: npt.ArrayLike, coarser: float = 1.0) -> Charts:
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

    Returns
    -------
    Charts
    """
    asked = np.asarray(frequencies, dtype=float)
    wide = kernel.padding(len(asked))
    shape = (len(kinds), 2)
    origin, steps, first = np.zeros((*shape, 2)), np.ones(shape), np.zeros(shape, dtype=np.int64)
    across, down = np.full(shape, 4, dtype=np.int64), np.full(shape, 4, dtype=np.int64)
    plain = np.array([kind.omnidirectional for kind in kinds])
    upto = np.full(len(kinds), wide, dtype=np.int64)
    grids: dict[tuple[int, int], tuple[Array, Array]] = {}
    count = _NOWHERE
    for index, half in np.ndindex(shape):
        low, high = patches[index, half]
        if plain[index] or np.isnan(low).any():
            continue
        # At the middle of a chart a unit of u is two radians, at the rim one.
        step = coarser * np.radians(kinds[index].step_deg(asked)) / 2.0
        margin = _MARGIN if coarser == 1.0 else _COARSE_MARGIN
        u, v = grids[index, half] = _axis(low[0], high[0], step, margin), _axis(low[1], high[1], step, margin)
        origin[index, half] = u[0], v[0]
        steps[index, half], first[index, half] = 1.0 / step, count
        down[index, half], across[index, half] = len(u), len(v)
        count += len(u) * len(v)
    node = np.zeros((count, 2 * wide), dtype=np.float32)
    node[:_NOWHERE] = np.nan
    for (index, half), (u, v) in grids.items():
        part = node[first[index, half] :][: len(u) * len(v)]
        # Most of a table has no imaginary part: one radiator about the reference point.
        upto[index] = max(upto[index], wide + _fill(part, kinds[index], _directions(u, v, half), asked))
    return Charts(node, origin, steps, across, down, first, plain, upto)


def _fill(node: npt.NDArray[np.float32], kind: Directivity, directions: Array, asked: Array) -> int:
    """Fill the nodes of one chart, some frequencies at a time; how many of these have the last imaginary part."""
    wide, last, together = node.shape[1] // 2, 0, max(1, _SLICE // len(node))
    for start in range(0, len(asked), together):
        some = asked[start : start + together]
        values = _spline(kind.table(directions, some)).reshape(len(some), -1)
        node[:, start : start + len(some)] = values.real.T
        node[:, wide + start : wide + start + len(some)] = values.imag.T
        complex_ones = np.flatnonzero(values.imag.any(axis=1))
        last = start + int(complex_ones[-1]) + 1 if len(complex_ones) else last
    return last


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
