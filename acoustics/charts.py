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
    origin, steps = np.zeros((*shape, 2)), np.ones(shape)
    across, first = np.ones(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    plain = np.array([kind.omnidirectional for kind in kinds])
    upto = np.full(len(kinds), wide, dtype=np.int64)
    nodes: list[npt.NDArray[np.float32]] = []
    count = 0
    for index, kind in enumerate(kinds):
        for half in range(2):
            low, high = patches[index, half]
            if plain[index] or np.isnan(low).any():
                continue
            # At the middle of a chart a unit of u is two radians, at the rim one.
            step = coarser * np.radians(kind.step_deg(asked)) / 2.0
            margin = _MARGIN if coarser == 1.0 else _COARSE_MARGIN
            u, v = (_axis(low[i], high[i], step, margin) for i in range(2))
            values = _spline(kind.table(_directions(u, v, half), asked))
            part = np.zeros((len(u) * len(v), 2 * wide), dtype=np.float32)
            part[:, : len(asked)] = values.real.reshape(len(asked), -1).T
            part[:, wide : wide + len(asked)] = values.imag.reshape(len(asked), -1).T
            # Most of a table has no imaginary part: one radiator about the reference point.
            last = np.flatnonzero(values.imag.any(axis=(1, 2)))
            upto[index] = max(upto[index], wide + (last[-1] + 1 if len(last) else 0))
            origin[index, half] = u[0], v[0]
            steps[index, half], across[index, half], first[index, half] = 1.0 / step, len(v), count
            nodes.append(part)
            count += len(part)
    node = np.concatenate(nodes) if nodes else np.zeros((1, 2 * wide), dtype=np.float32)
    return Charts(node, origin, steps, across, first, plain, upto)


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
