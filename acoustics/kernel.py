"""The compiled inner loop of the field: band energies of many sources at many positions, in closed form.

In a sub-band f1…f2 the complex amplitudes A_i (directivity, drive, air, spreading) are held; the mean square over
it is then exact: Σ|A_i|² + 2 Σ_{i<j} Re[A_i A_j* (e^{−j2πf2Δ} − e^{−j2πf1Δ}) / (−j2πΔ(f2−f1))], Δ = t_i − t_j.
Neighbouring sub-bands share an edge: one phasor for each source and edge serves all pairs. With
X_i = A_i e^{−j2πf t_i} the pairs are a strictly upper triangular matrix 1/(t_i − t_j) times the rows X_j. Nothing is
sampled, and nothing is allocated for a position.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit, prange

from acoustics import inner

Array = npt.NDArray[np.float64]

LANES = 8  # rows are padded to whole vectors of this many doubles
_BETWEEN = 1e-9  # cosine of what may count as front or as rear


class Charts(NamedTuple):
    """Cubic B-spline coefficients of directivities, on patches of the sphere without poles.

    Chart 0 is the front half, (y, z)/(1 + x) of a direction in the source's axes; chart 1 the rear half, by 1 − x.
    `node` (N, 2 K'): real parts of K sub-bands, padded, then imaginary ones; single precision, 1e-7 of the axis where
    the tables themselves are good to 2e-3. For each kind and chart: `origin` (kinds, 2, 2), `steps` (kinds, 2) per
    unit, `across` (kinds, 2) nodes in a row and `down` (kinds, 2) rows, `first` (kinds, 2) index of its first node.
    `plain` (kinds,): 1 everywhere, no nodes. `upto` (kinds,): values of a row beyond which all are zero.
    """

    node: npt.NDArray[np.float32]
    origin: Array
    steps: Array
    across: npt.NDArray[np.int64]
    down: npt.NDArray[np.int64]
    first: npt.NDArray[np.int64]
    plain: npt.NDArray[np.bool_]
    upto: npt.NDArray[np.int64]


class Sum(NamedTuple):
    """What is summed: S sources in K sub-bands of B bands.

    `place` (S, 3) [m], `axes` (S, 3, 3), `kind` (S,), `delay` (S,) [s]; `strength` (S, K) complex, drive and level
    [Pa at 1 m]; `neper` (K,) attenuation [1/m]; `edge` (K + 1,) [Hz]; `band` (K,) index and `share` (K,) of the band's
    width; `c` [m/s].
    """

    place: Array
    axes: Array
    kind: npt.NDArray[np.int64]
    delay: Array
    strength: npt.NDArray[np.complex128]
    neper: Array
    edge: Array
    band: npt.NDArray[np.int64]
    share: Array
    c: float


def band_energy(of: Sum, charts: Charts, position: Array, detour: Array, bands: int) -> tuple[Array, int]:
    """Mean square pressure in bands at positions.

    Parameters
    ----------
    of : Sum
    charts : Charts
        Every direction that occurs lies inside them.
    position : ndarray, shape (P, 3)
        [m]
    detour : ndarray, shape (S, P) or (0, 0)
        Path over an edge less the straight path [m]: NaN where the straight path is free, infinite where nothing
        arrives. Empty: all are free.
    bands : int
        B.

    Returns
    -------
    energy : ndarray, shape (B, P)
        [Pa²]
    evaluations : int
        Sines and cosines computed, each pair counted once.
    """
    strength, table = padded(of.strength, of.edge, of.neper)
    energy = np.zeros((bands, len(position)))
    blocks = max(1, min(len(position) // 64, 256))
    counted = np.zeros(blocks, dtype=np.int64)
    with inner.ONE_AT_A_TIME:
        _sum(of, charts, np.ascontiguousarray(position), detour, strength, table, energy, counted)
    return energy, int(counted.sum())


def padding(count: int) -> int:
    """Sub-bands in a row, padded to whole vectors."""
    return -(-count // LANES) * LANES


def padded(strength: npt.NDArray[np.complex128], edge: Array, neper: Array) -> tuple[Array, Array]:
    """Complex strengths (S, K), edges (K + 1,) and attenuations (K,) in rows of whole vectors, K' sub-bands wide.

    Returns
    -------
    strength : ndarray, shape (2, S, K')
        Real and imaginary parts.
    table : ndarray, shape (2, K' + 1)
        Edges and attenuations.
    """
    count = strength.shape[1]
    wide = padding(count)
    both, table = np.zeros((2, len(strength), wide)), np.zeros((2, wide + 1))
    both[:, :, :count] = strength.real, strength.imag
    table[0, : len(edge)], table[1, : len(neper)] = edge, neper
    return both, table


def patches(place: Array, axes: Array, kind: npt.NDArray[np.int64], kinds: int, position: Array) -> Array:
    """Least and greatest chart coordinates of all directions from sources of each kind, (kinds, 2, 2, 2).

    Indices: kind, half, least or greatest, coordinate; NaN where no direction falls in a half.

    Raises
    ------
    ValueError
        If a position coincides with a source.
    """
    found, met = np.full((len(place), 2, 2, 2), np.nan), np.zeros(len(place), dtype=np.bool_)
    with inner.ONE_AT_A_TIME:
        _extents(place, axes, np.ascontiguousarray(position), found, met)
    if met.any():
        raise ValueError("a listening position coincides with a source")
    merged = np.full((kinds, 2, 2, 2), np.nan)
    for index in range(kinds):
        mine = found[kind == index]
        for half in range(2):
            some = mine[~np.isnan(mine[:, half, 0, 0]), half]
            if len(some):
                merged[index, half] = some[:, 0].min(axis=0), some[:, 1].max(axis=0)
    return merged


def look_up(charts: Charts, directions: Array) -> npt.NDArray[np.float32]:
    """Directivity of the first kind towards unit vectors (D, 3), rows of sub-bands as in `Charts.node`."""
    found = np.empty((len(directions), charts.node.shape[1]), dtype=np.float32)
    if charts.plain[0]:
        found[:] = np.repeat([1.0, 0.0], found.shape[1] // 2)
        return found
    _look_up_all(charts, np.ascontiguousarray(directions), found)
    return found


@njit(cache=True, parallel=True, nogil=True, fastmath=inner.FAST, error_model="numpy")
def _sum(
    of: Any, charts: Any, position: Any, detour: Any, strength: Any, table: Any, energy: Any, counted: Any
) -> None:
    many, sources, subs, blocks = len(position), len(of.place), len(of.share), len(counted)
    rows, wide = (sources + 3) // 4 * 4, table.shape[1] - 1
    edge, neper = table[0], table[1, :wide]
    for block in prange(blocks):
        x, held, inverse = np.zeros((rows, 4 * wide)), np.zeros((4, 4 * wide)), np.zeros((4, rows))
        path, travel, over, flat = np.zeros(rows), np.zeros(rows), np.zeros(rows), np.zeros((rows, 3))
        own, cross, air, weight = np.zeros(wide), np.zeros(wide), np.zeros(wide), np.zeros((4, 4), dtype=np.float32)
        toward, cosine, sine = np.zeros(2 * wide, dtype=np.float32), np.zeros(wide + 1), np.zeros(wide + 1)
        work = (toward, cosine, sine, np.zeros(wide), np.zeros(wide))
        calls = 0
        for p in range(block * many // blocks, (block + 1) * many // blocks):
            start, nearest = inner.arrivals(of, position[p], detour, p, (path, travel, over, flat))
            own[:] = 0.0
            cross[:] = 0.0
            for i in range(sources):
                if over[i] == np.inf:
                    x[i, :] = 0.0
                    continue
                if charts.plain[of.kind[i]]:
                    toward[:wide] = 1.0
                    toward[wide:] = 0.0
                else:
                    at, across = inner.find(charts, of.kind[i], flat[i], weight)
                    inner.take(charts.node, at, across, weight, charts.upto[of.kind[i]], toward)
                inner.phasors(travel[i] - start, edge, cosine, sine)
                calls += subs + 1
                inner.fill(x[i], own, work, strength[0, i], strength[1, i], 1.0 / path[i], neper, path[i] - nearest)
                if over[i] > -np.inf:
                    inner.behind(x[i], own, over[i], edge, of.c)
            for i in range(0, sources, 4):
                inner.gaps(x, i, x, (i, rows, sources), travel, edge, own, inverse)
                held[:, :] = 0.0
                inner.gather(x, i, rows, inverse, held)
                inner.pairs(x, i, held, cross)
            for k in range(wide):
                air[k] = inner.decay(-2.0 * neper[k] * nearest)
            for k in range(subs):
                total = own[k] - cross[k] / (np.pi * (edge[k + 1] - edge[k]))
                energy[of.band[k], p] += of.share[k] * air[k] * max(total, 0.0)
        counted[block] = calls


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def _extents(place: Any, axes: Any, position: Any, found: Any, met: Any) -> None:
    for i in prange(len(place)):
        for p in range(len(position)):
            d0 = position[p, 0] - place[i, 0]
            d1 = position[p, 1] - place[i, 1]
            d2 = position[p, 2] - place[i, 2]
            r = np.sqrt(d0 * d0 + d1 * d1 + d2 * d2)
            if r == 0.0:
                met[i] = True
                continue
            ahead = (axes[i, 0, 0] * d0 + axes[i, 0, 1] * d1 + axes[i, 0, 2] * d2) / r
            for half in range(2):
                # In the plane between them, where rounding decides, both halves must hold the direction.
                if (ahead < -_BETWEEN) if half == 0 else (ahead > _BETWEEN):
                    continue
                for a in range(2):
                    flat = (axes[i, a + 1, 0] * d0 + axes[i, a + 1, 1] * d1 + axes[i, a + 1, 2] * d2) / r
                    flat /= 1.0 + abs(ahead)
                    # Written so that NaN gives way to the first value.
                    if not found[i, half, 0, a] <= flat:
                        found[i, half, 0, a] = flat
                    if not found[i, half, 1, a] >= flat:
                        found[i, half, 1, a] = flat


@njit(cache=True, nogil=True)
def _look_up_all(charts: Any, directions: Any, found: Any) -> None:
    weight = np.zeros((4, 4), dtype=np.float32)
    for index in range(len(directions)):
        at, across = inner.find(charts, 0, directions[index], weight)
        inner.take(charts.node, at, across, weight, charts.upto[0], found[index])
