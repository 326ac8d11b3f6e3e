"""Limits for audiences, as quoted in public material.

WHO, Global standard for safe listening venues and events (2022): 100 dB LAeq over 15 minutes.
DIN 15905-5:2007: 99 dB LAeq in each half hour, 135 dB LCpeak at the loudest place of the audience.
Equal energy: IEC 61672-1, the time-average level, 10 lg of the mean of 10^(L/10).
"""

import numpy as np
import pytest

from acoustics.hearing import LIMITS, PEAK_LIMIT_DB, equivalent, judge, minutes_allowed

WHO, DIN = LIMITS


def test_limits():
    """Published."""
    assert (WHO.level_db, WHO.window_min) == (100.0, 15.0)
    assert (DIN.level_db, DIN.window_min) == (99.0, 30.0)
    assert PEAK_LIMIT_DB == 135.0


# exact: 10 dB more is a tenth of the time, 10 lg 2 = 3.0103 dB more is half, 10 lg 4 less is four times.
@pytest.mark.parametrize(("over_db", "share"), [(0.0, 1.0), (3.0103, 0.5), (10.0, 0.1), (20.0, 0.01), (-6.0206, 4.0)])
@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name[:3])
def test_minutes_that_use_up_an_allowance(limit, over_db, share):
    level, window = {"WHO": (100.0, 15.0), "DIN": (99.0, 30.0)}[limit.name[:3]]
    assert minutes_allowed(level + over_db, limit) == pytest.approx(share * window, rel=1e-5, abs=0)


@pytest.mark.parametrize(
    ("level", "minutes", "window"), [(112.0, 1, 15), (96.5, 20, 30), (101.0, 15, 15), (99.0, 7, 60)]
)
def test_average_of_a_level_second_by_second(level, minutes, window):
    """Definition of the time average, over every second of the window."""
    energy = np.zeros(window * 60)
    energy[: minutes * 60] = 10.0 ** (level / 10.0)
    assert equivalent(level, minutes, window) == pytest.approx(10.0 * np.log10(energy.mean()), rel=1e-12, abs=0)


@pytest.mark.parametrize("level", [101.0, 104.5, 113.0])
def test_that_many_minutes_just_reach_the_limit(level):
    """Second by second again, the last one in part."""
    found = judge(level, level, None, 2.0)
    for average, limit_db, window in zip(found.averages, (100.0, 99.0), (15, 30), strict=True):
        for minutes, loud in ((average.minutes_at_drive, level), (average.minutes_average, level - 2.0)):
            share = np.clip(minutes * 60.0 - np.arange(window * 60), 0.0, None)
            share = np.minimum(share, 1.0) if loud > limit_db else np.full(window * 60, minutes / window)
            assert 10.0 * np.log10(np.mean(share * 10.0 ** (loud / 10.0))) == pytest.approx(limit_db, rel=1e-9, abs=0)


def test_over_by_how_much():
    """exact: 103.5 dB less 2 dB is 1.5 and 2.5 dB over; 124.5 dB and a crest factor of 12 dB is 1.5 dB over 135."""
    found = judge(103.5, 124.5, 12.0, 2.0)
    assert [average.over_db for average in found.averages] == pytest.approx([1.5, 2.5], rel=1e-12, abs=0)
    assert found.peak_db == pytest.approx(136.5, rel=1e-12, abs=0)
    assert found.peak_over_db == pytest.approx(1.5, rel=1e-12, abs=0)
