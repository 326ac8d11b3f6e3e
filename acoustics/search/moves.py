"""Sums of columns that differ in what hangs below a joint: what did not move is not computed again.

The mean square of a band is a sum over sources and pairs of them (`acoustics.kernel`). Sources count from the bottom:
turning a joint moves the first of them, and the energy of all pairs among the others is kept from the current column.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit, prange

from acoustics import inner, kernel

Array = npt.NDArray[np.float64]

ROWS = 4  # sources are summed in blocks of this many


class Listeners(NamedTuple):
    """What is the same for all columns: P positions, K sub-bands of B bands, S sources from the bottom up.

    `position` (P, 3) [m]; `reference` (P,) a path that none is shorter than [m]; `blocked` (T, S, P) for each of T
    trims; `kind` (S,); `strength` (2, S, K') real and imaginary, padded; `delay` (S,) [s]; `table` (2, K' + 1):
    edges [Hz] and attenuations [1/m]; `band` (K,), `share` (K,); `c` [m/s].
    """

    position: Array
    reference: Array
    blocked: npt.NDArray[np.bool_]
    kind: npt.NDArray[np.int64]
    strength: Array
    delay: Array
    table: Array
    band: npt.NDArray[np.int64]
    share: Array
    c: float


class State(NamedTuple):
    """The current column as summed: `x` (P, S', 4 K') rows of amplitudes, `travel` (P, S') [s], and `above`
    (P, S'/4 + 1, K) the energy of all sources from each block on [Pa²]."""

    x: Array
    travel: Array
    above: Array


def blank(listeners: Listeners) -> State:
    """Room for a state."""
    many, rows = len(listeners.position), -(-len(listeners.kind) // ROWS) * ROWS
    wide, subs = listeners.table.shape[1] - 1, len(listeners.band)
    return State(np.zeros((many, rows, 4 * wide)), np.zeros((many, rows)), np.zeros((many, rows // ROWS + 1, subs)))


def energies(
    listeners: Listeners,
    charts: kernel.Charts,
    state: State,
    place: Array,
    axes: Array,
    trim: Any,
    moved: Any,
    bands: int,
) -> Array:
    """Mean square pressure of columns whose first `moved` sources lie elsewhere than in the state.

    Parameters
    ----------
    place : ndarray, shape (C, S, 3)
        [m]
    axes : ndarray, shape (C, S, 3, 3)
    trim : ndarray of int, shape (C,)
        Which of the trims each has.
    moved : ndarray of int, shape (C,)
        Sources from the bottom that moved; all others must be where the state has them.
    bands : int

    Returns
    -------
    ndarray, shape (C, B, P)
        [Pa²]
    """
    order = np.argsort(moved, kind="stable")
    energy = np.zeros((len(place), bands, len(listeners.position)))
    with inner.ONE_AT_A_TIME:
        _energies(listeners, charts, *state, place, axes, trim, moved, order, energy)
    return energy


def settle(listeners: Listeners, charts: kernel.Charts, state: State, place: Array, axes: Array, trim: int) -> None:
    """Make a column (S, 3), (S, 3, 3) the current one of a state."""
    with inner.ONE_AT_A_TIME:
        _settle(
            listeners, charts, *state, np.ascontiguousarray(place), np.ascontiguousarray(axes), listeners.blocked[trim]
        )


@njit(inline="always")
def _row(
    of: Any, charts: Any, blocked: Any, p: int, i: int, place: Any, axes: Any, x: Any, travel: Any, own: Any, work: Any
) -> None:
    """Amplitudes and phasors of one source at one position, and its own energy."""
    flat, weight, lookup = work
    toward, cosine, sine, _, _ = lookup
    if blocked[i, p]:
        x[:] = 0.0
        travel[i] = of.reference[p] / of.c + 1.0 + i  # apart from all others
        return
    d0 = of.position[p, 0] - place[0]
    d1 = of.position[p, 1] - place[1]
    d2 = of.position[p, 2] - place[2]
    r = np.sqrt(d0 * d0 + d1 * d1 + d2 * d2)
    wide = of.table.shape[1] - 1
    kind = of.kind[i]
    if charts.plain[kind]:
        toward[:wide] = 1.0
        toward[wide:] = 0.0
    else:
        for a in range(3):
            flat[a] = (axes[a, 0] * d0 + axes[a, 1] * d1 + axes[a, 2] * d2) / r
        at, across = inner.find(charts, kind, flat, weight)
        inner.take(charts.node, at, across, weight, charts.upto[kind], toward)
    travel[i] = (r - of.reference[p]) / of.c + of.delay[i]
    inner.phasors(travel[i], of.table[0], cosine, sine)
    neper = of.table[1, :wide]
    inner.fill(x, own, lookup, of.strength[0, i], of.strength[1, i], 1.0 / r, neper, r - of.reference[p])


@njit(inline="always")
def _closed(of: Any, own: Any, cross: Any, total: Any) -> None:
    for k in range(len(total)):
        total[k] += own[k] - cross[k] / (np.pi * (of.table[0, k + 1] - of.table[0, k]))


@njit(cache=True, parallel=True, nogil=True, fastmath=inner.FAST, error_model="numpy")
def _settle(of: Any, charts: Any, kept: Any, times: Any, above: Any, place: Any, axes: Any, blocked: Any) -> None:
    many, sources, rows = len(of.position), len(of.kind), kept.shape[1]
    wide, subs, blocks = of.table.shape[1] - 1, len(of.band), kept.shape[1] // 4
    chunks = min(64, many)
    for chunk in prange(chunks):
        held, inverse = np.zeros((4, 4 * wide)), np.zeros((4, rows))
        own, cross, total = np.zeros(wide), np.zeros(wide), np.zeros(subs)
        toward, cosine, sine = np.zeros(2 * wide, dtype=np.float32), np.zeros(wide + 1), np.zeros(wide + 1)
        lookup = (toward, cosine, sine, np.zeros(wide), np.zeros(wide))
        work = (np.zeros(3), np.zeros((4, 4), dtype=np.float32), lookup)
        for p in range(chunk * many // chunks, (chunk + 1) * many // chunks):
            x, travel = kept[p], times[p]
            total[:] = 0.0
            for back in range(blocks):
                block = blocks - 1 - back
                own[:] = 0.0
                cross[:] = 0.0
                for i in range(4 * block, min(4 * block + 4, sources)):
                    _row(of, charts, blocked, p, i, place[i], axes[i], x[i], travel, own, work)
                inner.gaps(x, 4 * block, x, (4 * block, rows, sources), travel, of.table[0], own, inverse)
                held[:, :] = 0.0
                inner.gather(x, 4 * block, rows, inverse, held)
                inner.pairs(x, 4 * block, held, cross)
                _closed(of, own, cross, total)
                for k in range(subs):
                    above[p, block, k] = total[k]


@njit(cache=True, parallel=True, nogil=True, fastmath=inner.FAST, error_model="numpy")
def _energies(
    of: Any,
    charts: Any,
    kept: Any,
    times: Any,
    above: Any,
    place: Any,
    axes: Any,
    trim: Any,
    moved: Any,
    order: Any,
    energy: Any,
) -> None:
    many, sources, rows = len(of.position), len(of.kind), kept.shape[1]
    wide, subs = of.table.shape[1] - 1, len(of.band)
    chunks = min(64, many)
    for chunk in prange(chunks):
        held, inverse = np.zeros((4, 4 * wide)), np.zeros((4, rows))
        own, cross, total = np.zeros(wide), np.zeros(wide), np.zeros(subs)
        x, travel, air = np.zeros((rows, 4 * wide)), np.zeros(rows), np.zeros(wide)
        toward, cosine, sine = np.zeros(2 * wide, dtype=np.float32), np.zeros(wide + 1), np.zeros(wide + 1)
        lookup = (toward, cosine, sine, np.zeros(wide), np.zeros(wide))
        work = (np.zeros(3), np.zeros((4, 4), dtype=np.float32), lookup)
        for p in range(chunk * many // chunks, (chunk + 1) * many // chunks):
            travel[:] = times[p]
            for k in range(wide):
                air[k] = inner.decay(-2.0 * of.table[1, k] * of.reference[p])
            for c in order:  # those that move least come first: arrivals of what they leave are as in the state
                last = (moved[c] + 3) // 4
                total[:] = above[p, last]
                own[:] = 0.0
                cross[:] = 0.0
                for i in range(min(4 * last, sources)):
                    _row(of, charts, of.blocked[trim[c]], p, i, place[c, i], axes[c, i], x[i], travel, own, work)
                for block in range(last):
                    i, edge = 4 * block, of.table[0]
                    inner.gaps(x, i, x, (i, 4 * last, sources), travel, edge, own, inverse)
                    inner.gaps(x, i, kept[p], (4 * last, rows, sources), travel, edge, own, inverse)
                    held[:, :] = 0.0
                    inner.gather(x, i, 4 * last, inverse, held)
                    inner.gather(kept[p], 4 * last, rows, inverse, held)
                    inner.pairs(x, i, held, cross)
                _closed(of, own, cross, total)
                for k in range(subs):
                    energy[c, of.band[k], p] += of.share[k] * air[k] * max(total[k], 0.0)
