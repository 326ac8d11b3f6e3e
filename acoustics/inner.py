"""What the compiled sums of a position are made of, for one source or one pair at a time; see `kernel`.

All are inlined into the loops that call them: loops of one result each over views that start at 0, or the compiler
gives up vectors. numba keeps compiled callers by their own file alone: after a change here, touch them.
"""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
from numba import njit

# Nearer arrivals than this (34 µm of path) take the pair term's limit: dividing by a smaller Δ would lose digits.
# At this Δ the plain term is good to some 1e-9 of |A_i A_j| even in the narrowest band.
_NEAR_S = 1e-7
# `nnan` and `ninf` are left out: what is no number shows.
FAST = {"contract", "nsz", "reassoc", "arcp"}
# numba's simplest threading layer ends the process when two threads enter it at once.
ONE_AT_A_TIME = threading.Lock()

# sin(πx)/x and cos(πx) in x², |x| ≤ ½: interpolated at Chebyshev nodes, within 2e-15. [calc: mpmath]
_SIN = (3.1415926535897927, -5.1677127800497855, 2.5501640398618677, -0.599264528825224,
        0.08214587881631043, -0.0073703643265304155, 0.0004659870158043378, -2.113362735205297e-05)  # fmt: skip
_COS = (0.9999999999999981, -4.934802200543686, 4.058712126333295, -1.3352627661817635,
        0.23533058831317874, -0.025806531975921563, 0.0019278700526981333, -0.0001004164642205389)  # fmt: skip


@njit(inline="always")
def phasors(time: float, edge: Any, cosine: Any, sine: Any) -> None:
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
def decay(x: float) -> float:
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
def find(charts: Any, kind: int, n: Any, weight: Any) -> tuple[int, int]:
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
def take(node: Any, at: int, across: int, weight: Any, upto: int, toward: Any) -> None:
    """Directivity in the first `upto` values of a row: real parts of all sub-bands, then imaginary ones."""
    toward[:] = 0.0
    for a in range(4):
        w0, w1, w2, w3 = weight[a, 0], weight[a, 1], weight[a, 2], weight[a, 3]
        row = at + a * across
        t0, t1, t2, t3 = node[row], node[row + 1], node[row + 2], node[row + 3]
        for k in range(upto):
            toward[k] += w0 * t0[k] + w1 * t1[k] + w2 * t2[k] + w3 * t3[k]


@njit(inline="always")
def arrivals(of: Any, where: Any, detour: Any, p: int, way: Any) -> tuple[float, float]:
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
def fill(xi: Any, own: Any, work: Any, s0: Any, s1: Any, spread: float, neper: Any, further: float) -> None:
    """One source's row: amplitude times the phasor of each sub-band's lower edge, then of its upper edge.

    Loops with few results each: with more, the compiler finds too many arrays to tell apart and gives up vectors.
    """
    toward, cosine, sine, re, im = work
    wide = len(own)
    real, imaginary, upper, upper_sine = toward[:wide], toward[wide:], cosine[1:], sine[1:]
    x0, x1, x2, x3 = xi[:wide], xi[wide : 2 * wide], xi[2 * wide : 3 * wide], xi[3 * wide :]
    for k in range(wide):
        loss = spread * decay(-neper[k] * further)
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
def behind(xi: Any, own: Any, detour: float, edge: Any, c: float) -> None:
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
def gaps(x: Any, i: int, y: Any, span: Any, travel: Any, edge: Any, own: Any, inverse: Any) -> None:
    """1/(t_i − t_j) of four rows of x from i on with rows of y in a span, 0 where j is no later row of the sources.

    `span`: first row, row after the last, and number of sources. Near arrivals are added at once.
    """
    first, last, sources = span
    for a in range(4):
        for j in range(first, last):
            inverse[a, j] = 0.0
        for j in range(max(first, i + a + 1), min(last, sources)):
            gap = travel[i + a] - travel[j]
            if abs(gap) > _NEAR_S:
                inverse[a, j] = 1.0 / gap
            else:
                _near(x[i + a], y[j], gap, edge, own)


@njit(inline="always")
def gather(y: Any, first: int, last: int, inverse: Any, held: Any) -> None:
    """Add to four rows held those of y in a span, weighted with 1/(t_i − t_j), four by four at a time."""
    h0, h1, h2, h3 = held[0], held[1], held[2], held[3]
    for j in range(first, last, 4):
        p0, p1, p2, p3 = inverse[0, j], inverse[0, j + 1], inverse[0, j + 2], inverse[0, j + 3]
        q0, q1, q2, q3 = inverse[1, j], inverse[1, j + 1], inverse[1, j + 2], inverse[1, j + 3]
        r0, r1, r2, r3 = inverse[2, j], inverse[2, j + 1], inverse[2, j + 2], inverse[2, j + 3]
        s0, s1, s2, s3 = inverse[3, j], inverse[3, j + 1], inverse[3, j + 2], inverse[3, j + 3]
        y0, y1, y2, y3 = y[j], y[j + 1], y[j + 2], y[j + 3]
        for k in range(len(h0)):
            h0[k] += p0 * y0[k] + p1 * y1[k] + p2 * y2[k] + p3 * y3[k]
            h1[k] += q0 * y0[k] + q1 * y1[k] + q2 * y2[k] + q3 * y3[k]
            h2[k] += r0 * y0[k] + r1 * y1[k] + r2 * y2[k] + r3 * y3[k]
            h3[k] += s0 * y0[k] + s1 * y1[k] + s2 * y2[k] + s3 * y3[k]


@njit(inline="always")
def pairs(x: Any, i: int, held: Any, cross: Any) -> None:
    """Add the pairs of four rows of x from i on with what was gathered for them."""
    wide = len(cross)
    for a in range(4):
        xi, h = x[i + a], held[a]
        x0, x1, x2, x3 = xi[:wide], xi[wide : 2 * wide], xi[2 * wide : 3 * wide], xi[3 * wide :]
        h0, h1, h2, h3 = h[:wide], h[wide : 2 * wide], h[2 * wide : 3 * wide], h[3 * wide :]
        for k in range(wide):
            cross[k] += x3[k] * h2[k] - x2[k] * h3[k]
        for k in range(wide):
            cross[k] += x0[k] * h1[k] - x1[k] * h0[k]
