"""How good a hang is for the seats that it serves: one figure in decibels, less is better.

Per band, e = (L − T) − mean(L − T) over the seats, T the wished fall with distance. J is the weighted mean over the
bands of the RMS of e, plus what the mean level falls short of that of the warm start by more than 1 dB, plus what
spills onto quiet areas. Without the term for level, the most even answer aims above the audience's heads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands

Array = npt.NDArray[np.float64]

# Of the mean level against the warm start, this much costs nothing. [dB]
FREE_LOSS_DB = 1.0


@dataclass(frozen=True)
class Seats:
    """P positions of the objective.

    `weight` (P,): seat weight of those that the hang serves, 0 of all others; `wished_db` (P,): the level wished,
    up to a constant [dB]; `quiet` (P,): seat weight of quiet positions, 0 of all others; `quiet_limit_db` (P,):
    dB(A) that these may have, NaN where the mean of the audience counts.
    """

    weight: Array
    wished_db: Array
    quiet: Array
    quiet_limit_db: Array

    def only(self, index: npt.NDArray[np.intp]) -> Seats:
        """Some of the positions, by their indices."""
        return Seats(self.weight[index], self.wished_db[index], self.quiet[index], self.quiet_limit_db[index])


@dataclass(frozen=True)
class Goal:
    """What counts: `band` (B,) indices into the 29 and `band_weight` (B,), of sum 1; weights of loss and of spill;
    `reference_db`, the mean A-weighted level of the warm start [dB], NaN for no term of level."""

    band: npt.NDArray[np.intp]
    band_weight: Array
    reference_db: float
    loss_weight: float = 1.0
    spill_weight: float = 0.0


@dataclass(frozen=True)
class Score:
    """J and its parts, each (C,) for C candidates: `uneven`, `loss` and `spill` before their weights [dB];
    `mean_a` the mean A-weighted level over the seats [dB]."""

    j: Array
    uneven: Array
    loss: Array
    spill: Array
    mean_a: Array


def score(level: Array, seats: Seats, goal: Goal) -> Score:
    """Judge levels of candidates.

    Parameters
    ----------
    level : ndarray, shape (C, B, P)
        Levels in the goal's bands [dB]; −inf or NaN where nothing arrives: such a seat does not count in that band.
    seats : Seats
    goal : Goal

    Returns
    -------
    Score
        J is infinite where a band has no level at any seat.
    """
    uneven = deviation(level, seats) @ goal.band_weight
    level_a = a_weighted(level, goal)
    mean_a = _mean(level_a, seats.weight)
    loss = np.nan_to_num(np.maximum(0.0, goal.reference_db - FREE_LOSS_DB - mean_a))
    spill = _spill(level_a, mean_a, seats)
    return Score(uneven + goal.loss_weight * loss + goal.spill_weight * spill, uneven, loss, spill, mean_a)


def deviation(level: Array, seats: Seats) -> Array:
    """RMS over the seats of how far levels (C, B, P) are off the wished fall, (C, B). [dB]

    Infinite in a band of which no seat has a level.
    """
    heard = np.isfinite(level)
    weight = np.where(heard, seats.weight, 0.0)
    total = weight.sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.where(heard, level, 0.0) - seats.wished_db
        mean = np.einsum("cbp,cbp->cb", weight, off) / total
        square = np.einsum("cbp,cbp->cb", weight, (off - mean[..., np.newaxis]) ** 2) / total
    return np.where(np.isfinite(square), np.sqrt(square), np.inf)


def a_weighted(level: Array, goal: Goal) -> Array:
    """A-weighted level of the goal's bands together, (C, B, P) → (C, P); −inf where nothing arrives. [dB]"""
    weight = bands.weighting(bands.midbands()[goal.band], "A")[:, np.newaxis]
    energy = np.where(np.isfinite(level), 10.0 ** ((level + weight) / 10.0), 0.0).sum(axis=1)
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(energy))


def _mean(level: Array, weight: Array) -> Array:
    """Weighted mean of finite levels, (C, P) → (C,); NaN where there are none. [dB]"""
    heard = np.isfinite(level)
    counted = np.where(heard, weight, 0.0)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.einsum("cp,cp->c", counted, np.where(heard, level, 0.0)) / counted.sum(axis=-1))


def _spill(level_a: Array, mean_a: Array, seats: Seats) -> Array:
    """What quiet places get: above their limit, or, without one, their level less the audience's mean. [dB]"""
    if not seats.quiet.any():
        return np.zeros_like(mean_a)
    limited = ~np.isnan(seats.quiet_limit_db)
    over = np.maximum(level_a - np.where(limited, seats.quiet_limit_db, 0.0), 0.0)
    apart = np.where(limited, over, level_a - mean_a[:, np.newaxis])
    return np.nan_to_num(_mean(apart, seats.quiet))
