"""What quiet areas get, as a range: direct sound with and without the ground, and how far that may be off.

The ground is that of ISO 9613-2:1996, 7.3.1, Table 3 (values from memory): moderate downwind, flat ground between. Its
accuracy is that of Table 5 there, for broadband noise up to 1000 m; beyond that, and in other weather, nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands

Array = npt.NDArray[np.float64]

OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
FARTHEST_M = 1000.0
HARD, POROUS = 0.0, 1.0


def ground_effect(
    source_m: npt.ArrayLike, receiver_m: npt.ArrayLike, distance_m: npt.ArrayLike, ground: float
) -> Array:
    """Attenuation by the ground in the octaves 63 Hz to 8 kHz, negative where it adds.

    A_gr = A_s + A_r + A_m with one factor G for all three regions (ISO 9613-2:1996, 7.3.1).

    Parameters
    ----------
    source_m, receiver_m, distance_m : array_like, broadcastable to shape (...)
        Heights above the ground and horizontal distance. [m]
    ground : float
        0 hard … 1 porous.

    Returns
    -------
    ndarray, shape (8, ...)
        [dB]

    Raises
    ------
    ValueError
        If the factor lies outside 0 to 1.
    """
    if not 0.0 <= ground <= 1.0:
        raise ValueError(f"a ground factor lies in 0 to 1, not {ground:g}")
    high, low, far = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (source_m, receiver_m, distance_m))
    )
    reach = 30.0 * (high + low)
    q = np.where(far <= reach, 0.0, 1.0 - reach / np.maximum(far, 1e-9))
    middle = np.stack([-3.0 * q, *[-3.0 * q * (1.0 - ground)] * 7])
    return np.asarray(_end(high, far, ground) + _end(low, far, ground) + middle)


def _end(height: Array, far: Array, ground: float) -> Array:
    """A_s or A_r of Table 3."""
    near = 1.0 - np.exp(-far / 50.0)
    square = height**2
    a = 1.5 + 3.0 * np.exp(-0.12 * (height - 5.0) ** 2) * near
    a = a + 5.7 * np.exp(-0.09 * square) * (1.0 - np.exp(-2.8e-6 * far**2))
    b = 1.5 + 8.6 * np.exp(-0.09 * square) * near
    c = 1.5 + 14.0 * np.exp(-0.46 * square) * near
    d = 1.5 + 5.0 * np.exp(-0.9 * square) * near
    hard = np.full_like(height, -1.5)
    return np.stack([hard, *(hard + ground * one for one in (a, b, c, d)), *[hard * (1.0 - ground)] * 3])


def accuracy_db(mean_height_m: npt.ArrayLike, distance_m: npt.ArrayLike) -> Array:
    """Half of the range that a level lies in, Table 5: 1 dB up to 100 m and above 5 m, else 3 dB; NaN beyond 1000 m.

    `mean_height_m`: of source and receiver [m].
    """
    height, far = np.broadcast_arrays(np.asarray(mean_height_m, dtype=float), np.asarray(distance_m, dtype=float))
    known = np.where((height >= 5.0) & (far <= 100.0), 1.0, 3.0)
    return np.where(far <= FARTHEST_M, known, np.nan)


@dataclass(frozen=True)
class Span:
    """The least and the greatest level that a place may get, accuracy included [dB]; NaN where that is not known."""

    low: float
    high: float


def spans(low: Array, high: Array, accuracy: Array) -> Span:
    """Over the places of an area (P,): of the loudest one; NaN where its range is not known.

    `low`, `high` (P,): levels without and with the ground, the least and greatest of all ways to take it [dB].
    """
    if not len(high) or not np.isfinite(high).any():
        return Span(float("nan"), float("nan"))
    loudest = int(np.nanargmax(high))
    return Span(float(low[loudest] - accuracy[loudest]), float(high[loudest] + accuracy[loudest]))


def with_ground(part_level: Array, source_m: Array, receiver_m: Array, distance_m: Array, ground: float) -> Array:
    """Levels of U parts at P places with the ground, their energies added, (29, P).

    Parameters
    ----------
    part_level : ndarray, shape (U, 29, P)
        Of each part in free field. [dB]
    source_m : ndarray, shape (U,)
        Mean height of each part. [m]
    receiver_m : ndarray, shape (P,)
        [m]
    distance_m : ndarray, shape (U, P)
        Horizontal, from each part. [m]
    ground : float

    Returns
    -------
    ndarray, shape (29, P)
        [dB]; third octaves below and above the octaves of the rule take that of the nearest.
    """
    octave = np.abs(np.log(bands.midbands()[:, np.newaxis] / np.array(OCTAVES_HZ))).argmin(axis=1)
    found = [
        level - ground_effect(height, receiver_m, far, ground)[octave]
        for level, height, far in zip(part_level, source_m, distance_m, strict=True)
    ]
    return bands.energy_sum(np.array(found))
