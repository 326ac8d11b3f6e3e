"""How even and how loud: statistics of levels over seats.

Levels are averaged in decibels, each position weighted by the plan area that it stands for; positions
without a level (NaN: hidden) do not count.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# Directly below a hang the horizontal distance says nothing of the path.
_NEAREST_M = 0.1


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


def _counted(level: npt.ArrayLike, weight: npt.ArrayLike) -> tuple[Array, Array]:
    values, weights = np.asarray(level, dtype=float), np.asarray(weight, dtype=float)
    keep = np.isfinite(values) & (weights > 0)
    return values[keep], weights[keep]
