"""How even and how loud: statistics of levels over seats.

Levels are averaged in decibels, each position weighted by the plan area that it stands for; positions
without a level (NaN: hidden) do not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from acoustics import bands

Array = npt.NDArray[np.float64]
Scope = Literal["limited", "full"]

PERCENTS = (5.0, 50.0, 95.0)

# Octaves that AVIXA A102.01:2017 counts: six from 250 Hz, or eight from 125 Hz (known from its abstract). [Hz]
SCOPES_HZ: dict[Scope, tuple[float, ...]] = {
    "limited": (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0),
    "full": (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0),
}

# Directly below a hang the horizontal distance says nothing of the path.
_NEAREST_M = 0.1


@dataclass(frozen=True)
class Evenness:
    """Levels of some seats in figures.

    `mean`, `deviation` (standard), percentiles `p5`, `p50`, `p95` [dB]; `fall_per_doubling` of distance [dB];
    `worst`, the index of the seat farthest from the mean, and by how much: `worst_deviation` [dB]. NaN, and
    None for the index, where nothing counts.
    """

    mean: float
    deviation: float
    p5: float
    p50: float
    p95: float
    fall_per_doubling: float
    worst: int | None
    worst_deviation: float


@dataclass(frozen=True)
class Octave:
    """A nominal octave [Hz], its third octaves among the 29, and whether all three are there."""

    octave_hz: float
    thirds: slice
    whole: bool


@dataclass(frozen=True)
class OctaveEvenness:
    """How even an octave is: standard `deviation`, and `range` from the lowest to the highest seat [dB].

    Of an octave that is not `whole` they stand for the third octaves that are there.
    """

    octave_hz: float
    whole: bool
    deviation: float
    range: float


def mean(level: npt.ArrayLike, weight: npt.ArrayLike) -> float:
    """Weighted mean of levels (P,) [dB]; NaN where nothing counts."""
    values, weights = _counted(level, weight)
    return float(np.average(values, weights=weights)) if len(values) else float("nan")


def deviation(level: npt.ArrayLike, weight: npt.ArrayLike) -> float:
    """Weighted standard deviation of levels (P,) about their mean [dB], that of the whole population."""
    values, weights = _counted(level, weight)
    if not len(values):
        return float("nan")
    return float(np.sqrt(np.average((values - np.average(values, weights=weights)) ** 2, weights=weights)))


def percentile(level: npt.ArrayLike, weight: npt.ArrayLike, percent: float) -> float:
    """Level [dB] that `percent` of the weight does not exceed; NaN where nothing counts."""
    values, weights = _counted(level, weight)
    if not len(values):
        return float("nan")
    return float(np.quantile(values, percent / 100.0, weights=weights, method="inverted_cdf"))


def fall_per_doubling(level: npt.ArrayLike, distance: npt.ArrayLike, weight: npt.ArrayLike) -> float:
    """Fall of level with each doubling of distance: the weighted least-squares line over log2 of it.

    Parameters
    ----------
    level : array_like, shape (P,)
        [dB]
    distance : array_like, shape (P,)
        [m]
    weight : array_like, shape (P,)

    Returns
    -------
    float
        [dB per doubling], positive where the level falls; NaN for fewer than two distances.
    """
    far = np.asarray(distance, dtype=float) > _NEAREST_M
    values, weights = _counted(level, np.where(far, weight, 0.0))
    counted = np.isfinite(np.asarray(level, dtype=float)) & far & (np.asarray(weight, dtype=float) > 0)
    octaves = np.log2(np.asarray(distance, dtype=float)[counted])
    if len(values) < 2 or np.ptp(octaves) < 1e-6:
        return float("nan")
    centred = octaves - np.average(octaves, weights=weights)
    return float(-np.sum(weights * centred * values) / np.sum(weights * centred**2))


def percentiles(level: npt.ArrayLike, weight: npt.ArrayLike) -> Array:
    """Levels [dB] that 5, 50 and 95 % of the weight do not exceed: (P,) → (3,), (B, P) → (B, 3)."""
    levels = np.asarray(level, dtype=float)
    if levels.ndim > 1:
        return np.stack([percentiles(one, weight) for one in levels])
    return np.array([percentile(levels, weight, percent) for percent in PERCENTS])


def worst_seat(level: npt.ArrayLike, weight: npt.ArrayLike) -> tuple[int | None, float]:
    """The seat whose level is farthest from the weighted mean; the first of several.

    Returns
    -------
    index : int or None
        Into the levels (P,); None where nothing counts.
    deviation : float
        Its level less the mean. [dB]
    """
    levels = np.asarray(level, dtype=float)
    counted = np.flatnonzero(_counts(levels, weight))
    if not len(counted):
        return None, float("nan")
    off = levels[counted] - mean(levels, weight)
    worst = int(np.argmax(np.abs(off)))
    return int(counted[worst]), float(off[worst])


def measure(level: npt.ArrayLike, distance: npt.ArrayLike, weight: npt.ArrayLike) -> Evenness:
    """All figures of levels (P,) [dB] at distances (P,) [m]."""
    p5, p50, p95 = (percentile(level, weight, percent) for percent in PERCENTS)
    fall = fall_per_doubling(level, distance, weight)
    return Evenness(mean(level, weight), deviation(level, weight), p5, p50, p95, fall, *worst_seat(level, weight))


def shape_departure(level: npt.ArrayLike, weight: npt.ArrayLike) -> Array:
    """How far the shape of each seat's spectrum is from the mean shape.

    A shape is the level of each band less the seat's mean over the bands; the mean shape is weighted by seat.

    Parameters
    ----------
    level : array_like, shape (B, P)
        [dB]
    weight : array_like, shape (P,)

    Returns
    -------
    ndarray, shape (P,)
        RMS over the bands [dB]; NaN where a band has no level, and everywhere if no seat counts.
    """
    levels, weights = np.asarray(level, dtype=float), np.asarray(weight, dtype=float)
    known = np.isfinite(levels).all(axis=0)
    departure = np.full(levels.shape[1], np.nan)
    counts = weights[known] > 0
    if counts.any():
        shape = levels[:, known] - levels[:, known].mean(axis=0)
        usual = np.average(shape[:, counts], axis=1, weights=weights[known][counts])
        departure[known] = np.sqrt(np.mean((shape - usual[:, np.newaxis]) ** 2, axis=0))
    return departure


def shape_spread(level: npt.ArrayLike, weight: npt.ArrayLike) -> tuple[float, float]:
    """Spread of spectral shape between seats: weighted RMS of `shape_departure`, and its 95th percentile. [dB]"""
    departure = shape_departure(level, weight)
    values, weights = _counted(departure, weight)
    if not len(values):
        return float("nan"), float("nan")
    return float(np.sqrt(np.average(values**2, weights=weights))), percentile(departure, weight, 95.0)


def energy_mean(level: npt.ArrayLike, weight: npt.ArrayLike) -> float:
    """Level [dB] of the weighted mean energy of levels (P,); NaN where nothing counts."""
    values, weights = _counted(level, weight)
    return float(10.0 * np.log10(np.average(10.0 ** (values / 10.0), weights=weights))) if len(values) else float("nan")


def contrast(
    audience_level: npt.ArrayLike,
    audience_weight: npt.ArrayLike,
    quiet_level: npt.ArrayLike,
    quiet_weight: npt.ArrayLike,
) -> tuple[float, float]:
    """How much louder it is where people listen than where it is to be quiet.

    Quiet places without a level (hidden) do not count: the energy mean is that of the others.

    Parameters
    ----------
    audience_level, audience_weight : array_like, shape (P,)
        Level in dB(A), seat weight.
    quiet_level, quiet_weight : array_like, shape (Q,)
        The same of the quiet places.

    Returns
    -------
    to_mean, to_greatest : float
        Mean level of the audience less energy mean and less greatest level of the quiet places. [dB]
    """
    loud = mean(audience_level, audience_weight)
    values, _ = _counted(quiet_level, quiet_weight)
    greatest = float(values.max()) if len(values) else float("nan")
    return loud - energy_mean(quiet_level, quiet_weight), loud - greatest


def octaves(scope: Scope) -> tuple[Octave, ...]:
    """The octaves of a scope, and what the third octaves up to 16 kHz hold of each: 16 kHz lacks its upper third."""
    found = []
    for hz in SCOPES_HZ[scope]:
        middle = bands.NOMINAL_HZ.index(hz)
        last = min(middle + 2, len(bands.NOMINAL_HZ))
        found.append(Octave(hz, slice(middle - 1, last), last == middle + 2))
    return tuple(found)


def octave_evenness(level: npt.ArrayLike, weight: npt.ArrayLike, scope: Scope) -> tuple[OctaveEvenness, ...]:
    """How even each octave of a scope is.

    The octaves are those that AVIXA A102.01:2017 counts; the figures are ours. Its own measure and limits of
    its classes are not public, and no class follows from these.

    Parameters
    ----------
    level : array_like, shape (29, P)
        Levels in the third octaves; a seat that lacks one does not count in its octave. [dB]
    weight : array_like, shape (P,)
    scope : "limited" or "full"
        Six octaves from 250 Hz or eight from 125 Hz.

    Raises
    ------
    ValueError
        If the levels are not those of the 29 third octaves.
    """
    levels = np.asarray(level, dtype=float)
    if levels.ndim != 2 or len(levels) != len(bands.NOMINAL_HZ):
        raise ValueError(f"levels must have shape (29, P), got {levels.shape}")
    found = []
    for octave in octaves(scope):
        thirds = levels[octave.thirds]
        summed = np.where(np.isnan(thirds).any(axis=0), np.nan, bands.energy_sum(thirds))
        values, _ = _counted(summed, weight)
        spread = float(np.ptp(values)) if len(values) else float("nan")
        found.append(OctaveEvenness(octave.octave_hz, octave.whole, deviation(summed, weight), spread))
    return tuple(found)


def _counts(level: Array, weight: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    return np.asarray(np.isfinite(level) & (np.asarray(weight, dtype=float) > 0))


def _counted(level: npt.ArrayLike, weight: npt.ArrayLike) -> tuple[Array, Array]:
    values, weights = np.asarray(level, dtype=float), np.asarray(weight, dtype=float)
    keep = _counts(values, weights)
    return values[keep], weights[keep]
