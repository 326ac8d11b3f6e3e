"""Arrival times of several parts of a show: what delays would bring them together, and what stays apart.

Times are those of first arrivals, r/c and delays; they hold for the air as given: 10 K change them by some 1.7 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics.evenness import percentile

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

# Where two parts differ by less than this they overlap: each changes what the other sounds like. [dB]
OVERLAP_DB = 3.0
NEAREST_SHARE = 0.05  # of the seats, where the level of one comes nearest to the other's, if they overlap nowhere
# An arrival so much later than the first and no more than so much below all before it may be heard as an echo
# (speech; after Haas, Acustica 1 (1951), values from memory). [s], [dB]
ECHO_S, ECHO_DB = 0.050, 10.0
_LATEST_S, _STEP_S = 0.040, 2e-5
_LINES = 33  # across an octave about a crossover


@dataclass(frozen=True)
class Apart:
    """How two parts come together at P seats.

    `late` (P,): how much later `of` arrives than `to` [s], NaN where one is hidden; `overlap` (P,): seats where both
    are about equally loud, or else where they come nearest to that; `off_db`: the greatest difference there [dB].
    """

    late: Array
    overlap: npt.NDArray[np.bool_]
    off_db: float


def apart(arrival_of: Array, arrival_to: Array, level_of: Array, level_to: Array, counts: Array) -> Apart:
    """Compare two parts at seats, all (P,): arrivals [s], levels [dB], and a weight that is 0 where no seat counts."""
    late = arrival_of - arrival_to
    off = np.abs(level_of - level_to)
    known = np.isfinite(late) & np.isfinite(off) & (counts > 0)
    if not known.any():
        return Apart(late, known, float("nan"))
    most = max(OVERLAP_DB, percentile(off[known], counts[known], 100.0 * NEAREST_SHARE))
    if (off[known] <= OVERLAP_DB).any():
        most = OVERLAP_DB
    overlap = known & (off <= most)
    return Apart(late, overlap, float(off[overlap].max()))


def delay_for(found: Apart, weight: Array, lead_s: float = 0.0) -> float:
    """What `of` must be delayed by so that half of the overlap hears `to` first by at least a lead.

    The weighted median over the overlap: the delay that leaves the least mean difference.

    Returns
    -------
    float
        [s]; negative where `of` is late as it is, NaN where nothing overlaps.
    """
    early = -found.late[found.overlap]
    return percentile(early, weight[found.overlap], 50.0) + lead_s


@dataclass(frozen=True)
class InPhase:
    """A delay [s] and polarity that bring two parts together through a crossover, and the level that their sum then
    falls short of the sum of both pressures over an octave: `as_is_db` now, `short_db` so. [dB]"""

    delay_s: float
    inverted: bool
    as_is_db: float
    short_db: float


def crossover_lines(crossover_hz: float) -> Array:
    """Frequencies over the octave about a crossover, at equal ratios. [Hz]"""
    return np.asarray(crossover_hz * 2.0 ** np.linspace(-0.5, 0.5, _LINES))


def in_phase(mine: Complex, other: Complex, lines: Array) -> InPhase:
    """The delay of one part, 0 to 40 ms, and polarity that give the most energy together with another at a place.

    Parameters
    ----------
    mine, other : ndarray, shape (F,)
        Complex pressures of the part that gets the delay, and of the other. [Pa]
    lines : ndarray, shape (F,)
        [Hz]

    Raises
    ------
    ValueError
        If one of them is silent there.
    """
    if not np.abs(mine).any() or not np.abs(other).any():
        raise ValueError("one of the two is silent there about the crossover")
    most = float(np.sum((np.abs(mine) + np.abs(other)) ** 2))
    delays = np.arange(0.0, _LATEST_S, _STEP_S)
    turned = mine * np.exp(-2j * np.pi * delays[:, np.newaxis] * lines)
    sums = np.array([(np.abs(other + sign * turned) ** 2).sum(axis=1) for sign in (1.0, -1.0)])
    sign, best = np.unravel_index(int(np.argmax(np.round(sums / most, 9))), sums.shape)

    def short(energy: float) -> float:
        return float(-10.0 * np.log10(energy / most))

    return InPhase(float(delays[best]), bool(sign), short(float(sums[0, 0])), short(float(sums[sign, best])))


def echoes(arrival: Array, level: Array) -> tuple[Array, Array]:
    """The latest arrival of a part that may be heard as an echo, at each position.

    Parameters
    ----------
    arrival, level : ndarray, shape (U, P)
        First arrivals of U parts [s] and their levels [dB]; NaN where one is hidden.

    Returns
    -------
    late : ndarray, shape (P,)
        How much later than the first arrival [s]; NaN where none may be.
    below : ndarray, shape (P,)
        Its level less that of all before it [dB].
    """
    known = np.isfinite(arrival) & np.isfinite(level)
    time = np.where(known, arrival, np.inf)
    order = np.argsort(time, axis=0)
    time = np.take_along_axis(time, order, axis=0)
    energy = np.take_along_axis(np.where(known, 10.0 ** (level / 10.0), 0.0), order, axis=0)
    before = np.cumsum(energy, axis=0) - energy
    with np.errstate(divide="ignore", invalid="ignore"):
        after, below = time - time[0], 10.0 * np.log10(energy / before)
        heard = np.isfinite(time) & (after >= ECHO_S) & (below > -ECHO_DB)
    last = len(time) - 1 - np.argmax(heard[::-1], axis=0)
    some, at = heard.any(axis=0), np.arange(time.shape[1])
    return np.where(some, after[last, at], np.nan), np.where(some, below[last, at], np.nan)
