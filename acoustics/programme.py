"""Spectra of programmes in the third octaves 25 Hz to 16 kHz, and their crest factors.

The levels of a programme are relative: together they are 0 dB. They say what a signal is made of before any filter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Programme:
    """A signal by its third octaves.

    `relative_db` (29,): level of each band, 0 dB in sum, −inf where a band is silent. `crest_db`: peak over
    root mean square [dB], None where it is not known. `source`: where both come from.
    """

    name: str
    relative_db: tuple[float, ...]
    crest_db: float | None
    source: str


def programme(name: str, level_db: npt.ArrayLike, crest_db: float | None, source: str) -> Programme:
    """A programme from band levels of any reference.

    Parameters
    ----------
    name : str
    level_db : array_like, shape (29,)
        [dB], −inf for a silent band.
    crest_db : float or None
        [dB]
    source : str

    Returns
    -------
    Programme
        With the sum of its bands at 0 dB.

    Raises
    ------
    ValueError
        If there are not 29 levels, one is no number, all bands are silent, or a crest factor is negative.
    """
    level = np.asarray(level_db, dtype=float)
    count = len(bands.NOMINAL_HZ)
    if level.shape != (count,):
        raise ValueError(f"a programme has {count} band levels, 25 Hz to 16 kHz, not an array of shape {level.shape}")
    if np.any(np.isnan(level) | np.isposinf(level)):
        raise ValueError("a programme's band levels must be numbers, or −inf for a silent band")
    if np.all(np.isneginf(level)):
        raise ValueError("a programme needs a band that is not silent")
    if crest_db is not None and not 0.0 <= crest_db < np.inf:
        raise ValueError(f"a crest factor is 0 dB or more, not {crest_db:g} dB")
    highest = level.max()
    relative = level - highest - bands.energy_sum(level - highest)
    return Programme(name, tuple(float(value) for value in relative), crest_db, source)


def sloped_levels(frequency: npt.ArrayLike) -> Array:
    """Third-octave levels of the `sloped` programme against pink noise, a model of our own.

    −10 lg(1 + (40 Hz/f)⁴) − 10 lg(1 + f/1 kHz): as pink noise in the middle, a second-order Butterworth high-pass
    below 40 Hz, and a slope that reaches 3 dB per octave above 1 kHz.

    Parameters
    ----------
    frequency : array_like, shape (...)
        [Hz]

    Returns
    -------
    ndarray, shape (...)
        [dB]
    """
    f = np.asarray(frequency, dtype=float)
    return np.asarray(-10.0 * np.log10(1.0 + (40.0 / f) ** 4) - 10.0 * np.log10(1.0 + f / 1000.0))


def against_pink(of: Programme) -> Array:
    """What a programme adds to band levels that were stated for pink noise of the same broadband level, (29,). [dB]"""
    return np.asarray(np.subtract(of.relative_db, PINK.relative_db))


PINK = programme(
    "pink",
    np.zeros(len(bands.NOMINAL_HZ)),
    12.0,
    "equal in every third octave (definition); crest factor: common practice, no source",
)
SLOPED = programme(
    "sloped",
    sloped_levels(bands.midbands()),
    None,
    "a model of our own, no standard: less low bass and treble than pink noise; crest factor not known",
)
PROGRAMMES = {item.name: item for item in (PINK, SLOPED)}
