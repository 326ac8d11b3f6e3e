"""How one field differs from another at the same seats: levels and times of arrival."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def rms_difference(level: Array, reference: Array, weight: Array, band_weight: Array) -> Array:
    """RMS over the seats of how far levels are off others, averaged over the bands as J averages them.

    Unlike J it keeps what is common to all seats: a field that is louder everywhere is another field.

    Parameters
    ----------
    level : ndarray, shape (..., B, P)
        [dB]
    reference : ndarray, shape (B, P)
        [dB] A seat that has no level in one of the two does not count in that band.
    weight : ndarray, shape (P,)
        Seat weights.
    band_weight : ndarray, shape (B,)
        Of sum 1.

    Returns
    -------
    ndarray, shape (...)
        [dB]; infinite where a band has no seat to compare.
    """
    known = np.isfinite(level) & np.isfinite(reference)
    counted = np.where(known, weight, 0.0)
    off = np.where(known, level, 0.0) - np.where(known, reference, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        square = (counted * off**2).sum(axis=-1) / counted.sum(axis=-1)
    return np.asarray(np.where(np.isfinite(square), np.sqrt(square), np.inf) @ band_weight)


@dataclass(frozen=True)
class Change:
    """What became of a figure at the seats: weighted `mean`, and `greatest` to either side at seat `index`.

    In the figure's own unit; NaN, and None for the index, where no seat has it in both fields.
    """

    mean: float
    greatest: float
    index: int | None


def change(value: Array, reference: Array, weight: Array) -> Change:
    """The change of a figure (P,) against the same in another field (P,), by seat weights (P,)."""
    apart = np.asarray(value, dtype=float) - np.asarray(reference, dtype=float)
    counted = np.flatnonzero(np.isfinite(apart) & (weight > 0))
    if not len(counted):
        return Change(float("nan"), float("nan"), None)
    index = int(counted[np.argmax(np.abs(apart[counted]))])
    return Change(float(np.average(apart[counted], weights=weight[counted])), float(apart[index]), index)


def first_arrival(arrival: Array, hidden: npt.NDArray[np.bool_]) -> Array:
    """The first arrival at each place, (S, P) → (P,) [s]; NaN where every source is `hidden` (S, P)."""
    first = np.where(hidden, np.inf, arrival).min(axis=0)
    return np.where(np.isfinite(first), first, np.nan)
