"""After the splays: gains of drive groups in steps, and a correction of few filters that all rows share."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from acoustics import bands
from acoustics.field import Sources
from acoustics.filters import response
from acoustics.levels import highest_drive
from acoustics.search.columns import Columns
from acoustics.search.discrete import BETTER_DB
from rigging.drive import Filter
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

STEP_DB = 0.5
MOST_BELLS = 4
_GAIN_DB, _Q = (-6.0, 6.0), (0.5, 4.0)
_WORTH_DB = 0.1  # a further bell that lessens the deviation by less is left out


@dataclass(frozen=True)
class Shading:
    """Gains of the groups [dB], J before and after, and what the highest drive changes by; NaN where not known. [dB]"""

    gains_db: tuple[float, ...]
    j_before: float
    j: float
    drive_db: float


@dataclass(frozen=True)
class Correction:
    """Filters for all rows; RMS deviation of the mean spectrum from the target before and after, and what the highest
    drive changes by; NaN where not known. [dB]"""

    filters: tuple[Filter, ...]
    off_before: float
    off: float
    drive_db: float


def shade(columns: Columns, column: Array, low_db: float, high_db: float) -> Shading:
    """Gains of drive groups for the least J of a column, each in steps within a range.

    One group after the other goes up or down while that helps, until none does: groups are few.
    """
    hang = columns.of.hang
    groups = hang.groups
    gains = np.array([hang.drive[group[0]].gain_db for group in groups])
    present = gains.copy()
    best = before = _j(columns, column)
    improved = True
    while improved:
        improved = False
        for index in range(len(groups)):
            for step in (-STEP_DB, STEP_DB):
                trial = present.copy()
                trial[index] = round((trial[index] + step) / STEP_DB) * STEP_DB
                if not low_db <= trial[index] <= high_db:
                    continue
                j = _j(columns.with_sources(_louder(columns.of.sources, hang, groups, trial - gains)), column)
                if j < best - BETTER_DB:
                    present, best, improved = trial, j, True
    louder = _louder(columns.of.sources, hang, groups, present - gains)
    return Shading(tuple(map(float, present)), before, best, _drive(louder) - _drive(columns.of.sources))


def correct(columns: Columns, column: Array, target_db: Array, most: int = MOST_BELLS) -> Correction:
    """Bells that bring the mean spectrum over the seats towards a target, up to a constant.

    Parameters
    ----------
    columns : Columns
    column : ndarray, shape (2 + N,)
    target_db : ndarray, shape (B,)
        Level wished in each of the goal's bands, up to a constant. [dB]
    most : int
        Bells at most.
    """
    weight, level = columns.of.seats.weight, columns.levels(column[np.newaxis])[0]
    heard = np.isfinite(level)
    mean = np.sum(np.where(heard, level, 0.0) * weight, axis=1) / np.sum(heard * weight, axis=1)
    middle = bands.midbands()[columns.goal.band]
    wanted = target_db - mean
    found: tuple[Filter, ...] = ()
    least = first = _deviation(wanted)
    start = np.zeros((0, 3))
    for _ in range(most):
        left = wanted - wanted.mean() - _gain_db(found, middle)
        worst = int(np.argmax(np.abs(left - left.mean())))
        start = np.vstack([start, [np.log(middle[worst]), np.clip((left - left.mean())[worst], *_GAIN_DB), 0.0]])
        fitted = _fit(start, wanted, middle)
        bells = _bells(fitted)
        off = _deviation(wanted - _gain_db(bells, middle))
        if off > least - _WORTH_DB:
            break
        found, least, start = bells, off, fitted
    filtered = dataclasses.replace(columns.of.sources, filters=_with(columns.of.sources, found))
    return Correction(found, first, least, _drive(filtered) - _drive(columns.of.sources))


def with_gains(hang: Hang, gains_db: tuple[float, ...]) -> Hang:
    """A hang with other gains of its groups."""
    drive = list(hang.drive)
    for rows, gain in zip(hang.groups, gains_db, strict=True):
        for row in rows:
            drive[row] = dataclasses.replace(drive[row], gain_db=gain)
    return dataclasses.replace(hang, drive=tuple(drive))


def with_filters(hang: Hang, filters: tuple[Filter, ...]) -> Hang:
    """A hang whose rows all have further filters in line."""
    drive = tuple(dataclasses.replace(one, filters=(*one.filters, *filters)) for one in hang.drive)
    return dataclasses.replace(hang, drive=drive)


def _louder(sources: Sources, hang: Hang, groups: tuple[tuple[int, ...], ...], by_db: Array) -> Sources:
    gain = np.zeros(len(hang.items))
    for rows, more in zip(groups, by_db, strict=True):
        gain[list(rows)] = more
    return dataclasses.replace(sources, gain=sources.gain * 10.0 ** (gain[list(hang.enclosure_rows)] / 20.0))


def _with(sources: Sources, filters: tuple[Filter, ...]) -> tuple[tuple[Filter, ...], ...]:
    own = sources.filters or ((),) * len(sources.kind)
    return tuple((*each, *filters) for each in own)


def _j(columns: Columns, column: Array) -> float:
    return float(columns.scores(column[np.newaxis]).j[0])


def _drive(sources: Sources) -> float:
    return highest_drive(sources.level_1m_db(), sources.max_level_1m_db()).drive_db


def _deviation(off_db: Array) -> float:
    return float(np.std(off_db))


def _gain_db(filters: tuple[Filter, ...], middle: Array) -> Array:
    return np.asarray(20.0 * np.log10(np.abs(response(filters, middle))))


def _bells(values: Array) -> tuple[Filter, ...]:
    """Bells from rows of log frequency, gain and log2 q, rounded to what an engineer types."""
    return tuple(
        Filter(
            kind="bell",
            frequency_hz=float(f"{np.exp(log):.3g}"),
            gain_db=round(float(gain) / STEP_DB) * STEP_DB,
            q=round(float(2.0**power), 1),
        )
        for log, gain, power in values
    )


def _fit(start: Array, wanted: Array, middle: Array) -> Array:
    low = [np.log(middle[0]), _GAIN_DB[0], np.log2(_Q[0])]
    high = [np.log(middle[-1]), _GAIN_DB[1], np.log2(_Q[1])]

    def off(flat: Array) -> Array:
        bells = tuple(
            Filter(kind="bell", frequency_hz=float(np.exp(log)), gain_db=float(gain), q=float(2.0**power))
            for log, gain, power in flat.reshape(-1, 3)
        )
        left = wanted - _gain_db(bells, middle)
        return np.asarray(left - left.mean())

    inside = np.clip(start, np.array(low) + 1e-6, np.array(high) - 1e-6)
    found = least_squares(off, inside.ravel(), bounds=(np.tile(low, len(start)), np.tile(high, len(start))))
    return np.asarray(found.x).reshape(-1, 3)
