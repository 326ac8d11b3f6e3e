"""What levels at the loudest seat mean against the limits for audiences.

Two documents, both as quoted in public material:

WHO, Global standard for safe listening venues and events (2022): 100 dB LAeq over 15 min.
DIN 15905-5:2007: 99 dB LAeq in each half hour, 135 dB LCpeak, at the loudest place of the audience.

No limit is ever said to be kept: a prediction is of one hang, at a grid of positions, without bands that have no data,
without reflections. It may show that a limit is exceeded.

Equal energy: a level L for t of T minutes and silence for the rest gives LAeq,T = L + 10 lg(t/T).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Status = Literal["exceeds", "cannot be judged"]


@dataclass(frozen=True)
class Limit:
    """An average A-weighted level [dB re 20 µPa] over a window [min]."""

    name: str
    level_db: float
    window_min: float


LIMITS = (
    Limit("WHO 2022 standard for venues and events", 100.0, 15.0),
    Limit("DIN 15905-5:2007", 99.0, 30.0),
)
PEAK_LIMIT_NAME = "DIN 15905-5:2007"
ONE_HANG = "one hang alone"
PEAK_LIMIT_DB = 135.0  # C-weighted peak, DIN 15905-5:2007 [dB re 20 µPa]


@dataclass(frozen=True)
class Average:
    """One limit of an average level.

    `over_db`: the average level over it, negative below it. `minutes_at_drive`: minutes at the drive asked for that
    use up the allowance of one window, silence in the rest; `minutes_average`: the same at the average level. Both may
    exceed the window. NaN where the level is not known.
    """

    limit: Limit
    over_db: float
    minutes_at_drive: float
    minutes_average: float

    @property
    def status(self) -> Status:
        return _status(self.over_db)


@dataclass(frozen=True)
class Hearing:
    """Levels at the loudest seat against all limits [dB re 20 µPa]; NaN where not known.

    `at_drive_db`: A-weighted level at the drive asked for; `average_below_db`: how far the average is assumed to lie
    below it; `peak_db`: C-weighted peak; `peak_over_db`: peak over its limit.
    """

    at_drive_db: float
    average_below_db: float
    peak_db: float
    averages: tuple[Average, ...]
    peak_over_db: float
    of: str = ONE_HANG

    @property
    def average_db(self) -> float:
        return self.at_drive_db - self.average_below_db

    @property
    def peak_status(self) -> Status:
        return _status(self.peak_over_db)


def equivalent(level_db: float, minutes: float, window_min: float) -> float:
    """Average level over a window of a level that lasts for some minutes, silence in the rest.

    Parameters
    ----------
    level_db : float
        [dB]
    minutes, window_min : float
        [min]

    Returns
    -------
    float
        [dB], L + 10 lg(t/T); −inf for no minutes.

    Raises
    ------
    ValueError
        If the minutes are negative or more than the window.
    """
    if not 0.0 <= minutes <= window_min or window_min <= 0.0:
        raise ValueError(f"{minutes:g} min do not lie in a window of {window_min:g} min")
    return level_db + 10.0 * math.log10(minutes / window_min) if minutes else -math.inf


def minutes_allowed(level_db: float, limit: Limit) -> float:
    """Minutes at a level [dB] that use up a limit's allowance; more than its window below the limit. [min]"""
    return float(limit.window_min * 10.0 ** ((limit.level_db - level_db) / 10.0))


def judge(
    level_a_db: float, level_c_db: float, crest_db: float | None, average_below_db: float, of: str = ONE_HANG
) -> Hearing:
    """The loudest seat against all limits.

    Parameters
    ----------
    level_a_db, level_c_db : float
        A- and C-weighted level at the loudest seat at the drive asked for. [dB re 20 µPa]
    crest_db : float or None
        Peak over root mean square, of the programme; None where it is not known. [dB]
    average_below_db : float
        How far the average level lies below that at the drive. [dB]
    of : str
        What the levels are of, in words.

    Returns
    -------
    Hearing

    Raises
    ------
    ValueError
        If the average is said to lie above the drive, or the crest factor is negative.
    """
    if not 0.0 <= average_below_db < math.inf:
        raise ValueError(f"the average lies 0 dB or more below the drive, not {average_below_db:g} dB")
    if crest_db is not None and not 0.0 <= crest_db < math.inf:
        raise ValueError(f"a crest factor is 0 dB or more, not {crest_db:g} dB")
    average = level_a_db - average_below_db
    averages = tuple(
        Average(limit, average - limit.level_db, minutes_allowed(level_a_db, limit), minutes_allowed(average, limit))
        for limit in LIMITS
    )
    peak = math.nan if crest_db is None else level_c_db + crest_db
    return Hearing(level_a_db, average_below_db, peak, averages, peak - PEAK_LIMIT_DB, of)


def lines(result: Hearing) -> list[str]:
    """The result as lines of text: a status and figures for each limit, then the assumptions."""
    return [
        *(_average_line(result, average) for average in result.averages),
        _peak_line(result),
        *assumptions(result.average_below_db, result.of),
    ]


def assumptions(average_below_db: float, of: str = ONE_HANG) -> list[str]:
    """What the figures rest on, and what governs."""
    return [
        f"Assumed: the average lies {average_below_db:.1f} dB below the drive asked for; the loudest seat stands for"
        " all; minutes are by equal energy, with silence for the rest of the window; the peak is the C-weighted level"
        " at the drive plus the programme's crest factor.",
        f"Levels are predicted, direct sound of {of}: reflections, other sources and the audience add to them,"
        " as do bands without data and seats between the positions. So no limit is said to be kept.",
        "A planning aid: measure during the event. Local rules govern.",
    ]


def _average_line(result: Hearing, average: Average) -> str:
    limit = average.limit
    head = f"{limit.name}, {limit.level_db:g} dB LAeq,{limit.window_min:g}min: {average.status}"
    if math.isnan(average.over_db):
        return f"{head}; the A-weighted level at the loudest seat is not known"
    figures = f"{_beside(average.over_db, result.of)} with an average of {result.average_db:.1f} dB"
    spent = f"at the drive asked for, {result.at_drive_db:.1f} dB"
    if average.minutes_at_drive < limit.window_min:
        spent += f", {_minutes(average.minutes_at_drive)} of every {limit.window_min:g} min use up the allowance"
    if average.over_db > 0.0 and result.average_below_db > 0.0:
        spent += f", at the average {_minutes(average.minutes_average)}"
    return f"{head}; {figures}; {spent}"


def _peak_line(result: Hearing) -> str:
    head = f"{PEAK_LIMIT_NAME}, {PEAK_LIMIT_DB:g} dB LCpeak: {result.peak_status}"
    if math.isnan(result.peak_over_db):
        return f"{head}; the C-weighted level or the programme's crest factor is not known"
    return f"{head}; {_beside(result.peak_over_db, result.of)} with a peak of {result.peak_db:.1f} dB"


def _status(over_db: float) -> Status:
    return "exceeds" if over_db > 0.0 else "cannot be judged"


def _beside(over_db: float, of: str) -> str:
    if over_db <= 0.0:
        return f"{of}, {abs(over_db):.1f} dB below"
    return "less than 0.1 dB over" if over_db < 0.05 else f"{over_db:.1f} dB over"


def _minutes(minutes: float) -> str:
    return f"{minutes * 60.0:.0f} s" if minutes < 1.0 else f"{minutes:.1f} min"
