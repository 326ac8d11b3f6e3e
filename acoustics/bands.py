"""Third-octave bands of IEC 61260-1 (base 10) and the frequency weightings of IEC 61672-1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# Nominal midbands, IEC 61260-1:2014 annex E. [Hz]
NOMINAL_HZ = (
    25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0,
    800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0,
    12500.0, 16000.0,
)  # fmt: skip
_FIRST = -16  # 25 Hz is x = −16 of 1000·G^(x/3)
G = 10.0**0.3  # octave ratio, IEC 61260-1:2014 (1)

# Octaves whose evenness is reported. [Hz]
OCTAVES_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)

# Pole frequencies of the weightings, IEC 61672-1:2013 annex E (values from memory, checked against Table 3). [Hz]
_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)


def midbands() -> Array:
    """Exact midband frequencies of the third octaves 25 Hz to 16 kHz, 1000·G^(x/3), shape (29,). [Hz]"""
    return 1000.0 * G ** (np.arange(_FIRST, _FIRST + len(NOMINAL_HZ)) / 3.0)


def band_edges() -> Array:
    """Lower and upper edges of the third octaves, midband·G^(∓1/6), shape (29, 2). [Hz]"""
    mid = midbands()[:, np.newaxis]
    return np.asarray(mid * G ** np.array([[-1.0 / 6.0, 1.0 / 6.0]]))


@dataclass(frozen=True)
class SubBands:
    """Third octaves cut into equal parts, linear in frequency; K parts in all, from the first band used to the last.

    `band` (K,) index of the third octave, `share` (K,) of its width, `edge` (K + 1,) [Hz], `middle` (K,) [Hz].
    """

    band: npt.NDArray[np.int64]
    share: Array
    edge: Array
    middle: Array


def cut(parts: Sequence[int] | npt.NDArray[np.int64]) -> SubBands:
    """Sub-bands of the 29 third octaves, `parts` (29,) of each; those before the first and after the last of 0 are out.

    Raises
    ------
    ValueError
        If no band has parts, or one between others has none.
    """
    counts = np.asarray(parts, dtype=np.int64)
    used = np.flatnonzero(counts)
    if len(used) == 0 or np.any(counts[used[0] : used[-1] + 1] == 0):
        raise ValueError("bands that are cut must follow each other without a gap")
    edges = band_edges()
    low = [np.linspace(edges[b, 0], edges[b, 1], counts[b] + 1)[:-1] for b in used]
    edge = np.append(np.concatenate(low), edges[used[-1], 1])
    band = np.repeat(np.arange(len(counts)), counts)
    return SubBands(band, 1.0 / counts[band], edge, (edge[1:] + edge[:-1]) / 2.0)


def octave_bands(octave_hz: float) -> slice:
    """The three third octaves that make up a nominal octave, as a slice of the 29.

    Raises
    ------
    ValueError
        If the octave is not one whose three thirds lie in the range.
    """
    if octave_hz not in NOMINAL_HZ[1:-1:3]:
        raise ValueError(f"{octave_hz:g} Hz is no octave midband; use one of {NOMINAL_HZ[1:-1:3]}")
    middle = NOMINAL_HZ.index(octave_hz)
    return slice(middle - 1, middle + 2)


def weighting(frequency: npt.ArrayLike, kind: Literal["A", "C"]) -> Array:
    """Frequency weighting, IEC 61672-1:2013 annex E.

    Parameters
    ----------
    frequency : array_like, shape (...)
        [Hz]
    kind : "A" or "C"

    Returns
    -------
    ndarray, shape (...)
        [dB], 0 at 1 kHz.

    Raises
    ------
    ValueError
        If `kind` is another one.
    """
    if kind not in ("A", "C"):
        raise ValueError(f"weighting must be A or C, not {kind}")
    low, lower_middle, upper_middle, high = _POLES_HZ

    def response(f: Array) -> Array:
        square = high**2 * f**2 / ((f**2 + low**2) * (f**2 + high**2))
        if kind == "A":
            square = square * f**2 / np.sqrt((f**2 + lower_middle**2) * (f**2 + upper_middle**2))
        return np.asarray(square)

    f = np.asarray(frequency, dtype=float)
    return np.asarray(20.0 * np.log10(response(f) / response(np.array(1000.0))))


def energy_sum(level: npt.ArrayLike, axis: int = 0) -> Array:
    """Level of the sum of energies along an axis; absent levels (NaN) add nothing. [dB]"""
    energy = 10.0 ** (np.asarray(level, dtype=float) / 10.0)
    total = np.nansum(energy, axis=axis)
    return np.asarray(10.0 * np.log10(np.where(total > 0, total, np.nan)))
