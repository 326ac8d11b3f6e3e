"""The compiled inner loop of the field: band energies of many sources at many positions, in closed form.

In a sub-band f1…f2 the complex amplitudes A_i (directivity, drive, air, spreading) are held; the mean square over
it is then exact: Σ|A_i|² + 2 Σ_{i<j} Re[A_i A_j* (e^{−j2πf2Δ} − e^{−j2πf1Δ}) / (−j2πΔ(f2−f1))], Δ = t_i − t_j.
Neighbouring sub-bands share an edge: one phasor for each source and edge serves all pairs. With
X_i = A_i e^{−j2πf t_i} the pairs are a strictly upper triangular matrix 1/(t_i − t_j) times the rows X_j. Nothing is
sampled, and nothing is allocated for a position.
"""

from __future__ import annotations

import threading
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit, prange

Array = npt.NDArray[np.float64]

LANES = 8  # rows are padded to whole vectors of this many doubles
# Nearer arrivals than this (34 µm of path) take the pair term's limit: dividing by a smaller Δ would lose digits.
# At this Δ the plain term is good to some 1e-9 of |A_i A_j| even in the narrowest band.
_NEAR_S = 1e-7
_BETWEEN = 1e-9  # cosine of what may count as front or as rear
# `nnan` and `ninf` are left out: what is no number shows.
_FAST = {"contract", "nsz", "reassoc", "arcp"}
# numba's simplest threading layer ends the process when two threads enter it at once.
_ONE_AT_A_TIME = threading.Lock()

# sin(πx)/x and cos(πx) in x², |x| ≤ ½: interpolated at Chebyshev nodes, within 2e-15. [calc: mpmath]
_SIN = (3.1415926535897927, -5.1677127800497855, 2.5501640398618677, -0.599264528825224,
        0.08214587881631043, -0.0073703643265304155, 0.0004659870158043378, -2.113362735205297e-05)  # fmt: skip
_COS = (0.9999999999999981, -4.934802200543686, 4.058712126333295, -1.3352627661817635,
        0.23533058831317874, -0.025806531975921563, 0.0019278700526981333, -0.0001004164642205389)  # fmt: skip


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
    padded = padding(len(of.share))
    table = np.zeros((2, padded + 1))
    table[0, : len(of.edge)] = of.edge
    table[1, : len(of.neper)] = of.neper
    strength = np.zeros((2, len(of.place), padded))
    strength[0, :, : len(of.share)] = of.strength.real
    strength[1, :, : len(of.share)] = of.strength.imag
    energy = np.zeros((bands, len(position)))
    blocks = max(1, min(len(position) // 64, 256))
    counted = np.zeros(blocks, dtype=np.int64)
    with _ONE_AT_A_TIME:
        _sum(of, charts, np.ascontiguousarray(position), detour, strength, table, energy, counted)
    return energy, int(counted.sum())


def padding(count: int) -> int:
    """Sub-bands in a row, padded to whole vectors."""
    return -(-count // LANES) * LANES


def patches(place: Array, axes: Array, kind: npt.NDArray[np.int64], kinds: int, position: Array) -> Array:
    """Least and greatest chart coordinates of all directions from sources of each kind, (kinds, 2, 2, 2).

    Indices: kind, half, least or greatest, coordinate; NaN where no direction falls in a half.

    Raises
    ------
    ValueError
        If a position coincides with a source.
    """
    found, met = np.full((len(place), 2, 2, 2), np.nan), np.zeros(len(place), dtype=np.bool_)
    with _ONE_AT_A_TIME:
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


@njit(inline="always")
def _phasors(time: float, edge: Any, cosine: Any, sine: Any) -> None:
    """Cosine and sine of 2π f t by half angles; no branches, so that it runs in vectors."""
    for k in range(len(sine)):
        x = edge[k] * time
        x = x - np.floor(x + 0.5)
        z = x * x
        s = _SIN[4] + z * (_SIN[5] + z * (_SIN[6] + z * _SIN[7]))
        s = x * (_SIN[0] + z * (_SIN[1] + z * (_SIN[2] + z * (_SIN[3] + z * s))))
        c = _COS[4] + z * (_COS[5] + z * (_COS[6] + z * _COS[7]))
        c = _COS[0] + z * (_COS[1] + z * (_COS[2] + z * (_COS[3] + z * c)))
        sine[k] = 2.0 * s * c
        cosine[k] = 1.0 - 2.0 * s * s


@njit(inline="always")
def _decay(x: float) -> float:
    """e^x for −80 < x ≤ 0: the series of e^{x/64} to its eighth power, squared six times.

    Relative error below 5e-11 down to −100 dB (x = −11.5), 2e-6 to −300 dB, 4.1e-3 at −80 (−695 dB). [calc: numpy]
    """
    y = max(x, -80.0) / 64.0
    e = 1.0 + y / 5 * (1.0 + y / 6 * (1.0 + y / 7 * (1.0 + y / 8)))
    e = 1.0 + y * (1.0 + y / 2 * (1.0 + y / 3 * (1.0 + y / 4 * e)))
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    return e * e


@njit(inline="always")
def _weights(t: float) -> tuple[float, float, float, float]:
    """Weights of the four coefficients of a cubic B-spline, t past the second of them."""
    r = 1.0 - t
    near, far = (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0, (4.0 - 6.0 * r * r + 3.0 * r * r * r) / 6.0
    return r * r * r / 6.0, near, far, t * t * t / 6.0


@njit(inline="always")
def _find(charts: Any, kind: int, n: Any, weight: Any) -> tuple[int, int]:
    """Where a direction lies in its chart: the first of its 4 × 4 nodes, nodes in a row; their weights (4, 4)."""
    half = 0 if n[0] >= 0.0 else 1
    scale = charts.steps[kind, half] / (1.0 + abs(n[0]))
    u = n[1] * scale - charts.origin[kind, half, 0] * charts.steps[kind, half]
    v = n[2] * scale - charts.origin[kind, half, 1] * charts.steps[kind, half]
    across = charts.across[kind, half]
    # Nothing is read beyond the chart, whatever the direction.
    iu, iv = min(max(int(np.floor(u)), 1), charts.down[kind, half] - 3), min(max(int(np.floor(v)), 1), across - 3)
    row, column = _weights(u - iu), _weights(v - iv)
    for a in range(4):
        for b in range(4):
            weight[a, b] = row[a] * column[b]
    return charts.first[kind, half] + (iu - 1) * across + iv - 1, across


@njit(inline="always")
def _look_up(node: Any, at: int, across: int, weight: Any, upto: int, toward: Any) -> None:
    """Directivity in the first `upto` values of a row: real parts of all sub-bands, then imaginary ones."""
    toward[:] = 0.0
    for a in range(4):
        w0, w1, w2, w3 = weight[a, 0], weight[a, 1], weight[a, 2], weight[a, 3]
        row = at + a * across
        t0, t1, t2, t3 = node[row], node[row + 1], node[row + 2], node[row + 3]
        for k in range(upto):
            toward[k] += w0 * t0[k] + w1 * t1[k] + w2 * t2[k] + w3 * t3[k]


@njit(inline="always")
def _arrivals(of: Any, where: Any, detour: Any, p: int, way: Any) -> tuple[float, float]:
    """Paths, times and directions from all sources to a position; the earliest time and the shortest path."""
    path, travel, over, flat = way
    start, nearest = np.inf, np.inf
    for i in range(len(of.place)):
        d0, d1, d2 = where[0] - of.place[i, 0], where[1] - of.place[i, 1], where[2] - of.place[i, 2]
        r = np.sqrt(d0 * d0 + d1 * d1 + d2 * d2)
        over[i] = detour[i, p] if detour.shape[0] > 0 else np.nan
        longer = over[i] if over[i] < np.inf else 0.0
        path[i] = r
        travel[i] = (r + longer) / of.c + of.delay[i]
        start, nearest = min(start, travel[i]), min(nearest, r)
        for a in range(3):
            flat[i, a] = (of.axes[i, a, 0] * d0 + of.axes[i, a, 1] * d1 + of.axes[i, a, 2] * d2) / r
    return start, nearest


@njit(inline="always")
def _fill(xi: Any, own: Any, work: Any, s0: Any, s1: Any, spread: float, neper: Any, further: float) -> None:
    """One source's row: amplitude times the phasor of each sub-band's lower edge, then of its upper edge.

    Loops with few results each: with more, the compiler finds too many arrays to tell apart and gives up vectors.
    """
    toward, cosine, sine, re, im = work
    wide = len(own)
    real, imaginary, upper, upper_sine = toward[:wide], toward[wide:], cosine[1:], sine[1:]
    x0, x1, x2, x3 = xi[:wide], xi[wide : 2 * wide], xi[2 * wide : 3 * wide], xi[3 * wide :]
    for k in range(wide):
        loss = spread * _decay(-neper[k] * further)
        re[k] = loss * (real[k] * s0[k] - imaginary[k] * s1[k])
        im[k] = loss * (real[k] * s1[k] + imaginary[k] * s0[k])
    for k in range(wide):
        own[k] += re[k] * re[k] + im[k] * im[k]
    for k in range(wide):
        x0[k] = re[k] * cosine[k] + im[k] * sine[k]
    for k in range(wide):
        x1[k] = im[k] * cosine[k] - re[k] * sine[k]
    for k in range(wide):
        x2[k] = re[k] * upper[k] + im[k] * upper_sine[k]
    for k in range(wide):
        x3[k] = im[k] * upper[k] - re[k] * upper_sine[k]


@njit(inline="always")
def _behind(xi: Any, own: Any, detour: float, edge: Any, c: float) -> None:
    """Weaken a source behind an edge: ISO 9613-2:1996, 7.4, 10 lg(3 + 20 z/λ), at most 20 dB."""
    wide = len(own)
    for k in range(wide):
        wave_number = (edge[k] + edge[k + 1]) / (2.0 * c)
        less = 1.0 / min(3.0 + 20.0 * detour * wave_number, 100.0)
        own[k] -= (1.0 - less) * (xi[k] * xi[k] + xi[wide + k] * xi[wide + k])
        root = np.sqrt(less)
        for part in range(4):
            xi[part * wide + k] *= root


@njit(inline="always")
def _near(xi: Any, xj: Any, gap: float, edge: Any, own: Any) -> None:
    """Add a pair whose arrivals all but coincide: 2 Re[A_i A_j* e^{−j2πfmΔ}] sinc(BΔ), within 3e-10."""
    wide = len(own)
    for k in range(wide):
        h = np.pi * (edge[k + 1] - edge[k]) * gap
        re = xi[k] * xj[k] + xi[wide + k] * xj[wide + k]
        im = xi[wide + k] * xj[k] - xi[k] * xj[wide + k]
        own[k] += 2.0 * (re * (1.0 - h * h / 2.0) + im * h) * (1.0 - h * h / 6.0)


@njit(inline="always")
def _gaps(x: Any, travel: Any, i: int, sources: int, edge: Any, own: Any, inverse: Any) -> None:
    """1/(t_i − t_j) of four rows from i on, 0 where j is no later row; near arrivals are added at once."""
    for a in range(4):
        for j in range(i, len(x)):
            inverse[a, j] = 0.0
        for j in range(i + a + 1, sources):
            gap = travel[i + a] - travel[j]
            if abs(gap) > _NEAR_S:
                inverse[a, j] = 1.0 / gap
            else:
                _near(x[i + a], x[j], gap, edge, own)


@njit(inline="always")
def _pairs(x: Any, i: int, inverse: Any, held: Any, cross: Any) -> None:
    """Four rows from i on with all later ones: rows of x weighted with 1/(t_i − t_j), four by four at a time."""
    h0, h1, h2, h3, wide = held[0], held[1], held[2], held[3], len(cross)
    held[:, :] = 0.0
    for j in range(i, len(x), 4):
        p0, p1, p2, p3 = inverse[0, j], inverse[0, j + 1], inverse[0, j + 2], inverse[0, j + 3]
        q0, q1, q2, q3 = inverse[1, j], inverse[1, j + 1], inverse[1, j + 2], inverse[1, j + 3]
        r0, r1, r2, r3 = inverse[2, j], inverse[2, j + 1], inverse[2, j + 2], inverse[2, j + 3]
        s0, s1, s2, s3 = inverse[3, j], inverse[3, j + 1], inverse[3, j + 2], inverse[3, j + 3]
        x0, x1, x2, x3 = x[j], x[j + 1], x[j + 2], x[j + 3]
        for k in range(4 * wide):
            h0[k] += p0 * x0[k] + p1 * x1[k] + p2 * x2[k] + p3 * x3[k]
            h1[k] += q0 * x0[k] + q1 * x1[k] + q2 * x2[k] + q3 * x3[k]
            h2[k] += r0 * x0[k] + r1 * x1[k] + r2 * x2[k] + r3 * x3[k]
            h3[k] += s0 * x0[k] + s1 * x1[k] + s2 * x2[k] + s3 * x3[k]
    for a in range(4):
        xi, h = x[i + a], held[a]
        x0, x1, x2, x3 = xi[:wide], xi[wide : 2 * wide], xi[2 * wide : 3 * wide], xi[3 * wide :]
        h0, h1, h2, h3 = h[:wide], h[wide : 2 * wide], h[2 * wide : 3 * wide], h[3 * wide :]
        for k in range(wide):
            cross[k] += x3[k] * h2[k] - x2[k] * h3[k]
        for k in range(wide):
            cross[k] += x0[k] * h1[k] - x1[k] * h0[k]


@njit(cache=True, parallel=True, nogil=True, fastmath=_FAST, error_model="numpy")
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
            start, nearest = _arrivals(of, position[p], detour, p, (path, travel, over, flat))
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
                    at, across = _find(charts, of.kind[i], flat[i], weight)
                    _look_up(charts.node, at, across, weight, charts.upto[of.kind[i]], toward)
                _phasors(travel[i] - start, edge, cosine, sine)
                calls += subs + 1
                _fill(x[i], own, work, strength[0, i], strength[1, i], 1.0 / path[i], neper, path[i] - nearest)
                if over[i] > -np.inf:
                    _behind(x[i], own, over[i], edge, of.c)
            for i in range(0, sources, 4):
                _gaps(x, travel, i, sources, edge, own, inverse)
                _pairs(x, i, inverse, held, cross)
            for k in range(wide):
                air[k] = _decay(-2.0 * neper[k] * nearest)
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
        at, across = _find(charts, 0, directions[index], weight)
        _look_up(charts.node, at, across, weight, charts.upto[0], found[index])
