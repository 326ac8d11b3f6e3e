"""How loud sources may play: the highest drive, and what is left at a drive.

Bands are judged one by one: the maximum of a band is the continuous level that the enclosure reaches in it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


class HighestDrive(NamedTuple):
    """The highest drive [dB], and the source and band that reach their maximum at it, counted from 0.

    Where a used band has no maximum, or nothing is used, the drive is NaN and no source or band is named; `unknown`
    holds (source, band) of every used band without a maximum.
    """

    drive_db: float
    source: int | None
    band: int | None
    unknown: tuple[tuple[int, int], ...]


def headroom(drive_db: float, level_1m_db: npt.ArrayLike, max_level_1m_db: npt.ArrayLike) -> Array:
    """What is left in each band of each source at a drive.

    Parameters
    ----------
    drive_db : float
        [dB]
    level_1m_db : array_like, shape (S, 29)
        Level at 1 m at drive 0 dB, programme and filters applied; NaN or −inf where a source is not used. [dB]
    max_level_1m_db : array_like, shape (S, 29)
        Highest continuous level at 1 m, NaN where not known. [dB]

    Returns
    -------
    ndarray, shape (S, 29)
        [dB], negative beyond the maximum; NaN where a source is not used or has no maximum.

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    level, most = _pair(level_1m_db, max_level_1m_db)
    return np.asarray(most - np.where(_used(level), level, np.nan) - drive_db)


def highest_drive(level_1m_db: npt.ArrayLike, max_level_1m_db: npt.ArrayLike) -> HighestDrive:
    """The drive at which the first band of the first source reaches its maximum.

    Parameters
    ----------
    level_1m_db, max_level_1m_db
        As for `headroom`.

    Returns
    -------
    HighestDrive
        Of several bands that reach it at once, the first of the first source.

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    level, most = _pair(level_1m_db, max_level_1m_db)
    missing = np.argwhere(_used(level) & ~np.isfinite(most))
    unknown = tuple((int(source), int(band)) for source, band in missing)
    if unknown or not _used(level).any():
        return HighestDrive(float("nan"), None, None, unknown)
    left = headroom(0.0, level, most)
    source, band = np.unravel_index(int(np.nanargmin(left)), left.shape)
    return HighestDrive(float(left[source, band]), int(source), int(band), ())


def _pair(level: npt.ArrayLike, most: npt.ArrayLike) -> tuple[Array, Array]:
    first, second = np.asarray(level, dtype=float), np.asarray(most, dtype=float)
    if first.ndim != 2 or first.shape != second.shape:
        raise ValueError(f"levels {first.shape} and maxima {second.shape} must be arrays of one shape (S, 29)")
    return first, second


def _used(level: Array) -> npt.NDArray[np.bool_]:
    return np.isfinite(level)
