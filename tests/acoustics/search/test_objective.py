"""The objective of a search, by hand: a few seats and bands, all figures exact unless said otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.search.objective import Goal, Seats, score

KHZ = 16  # the third octave of 1 kHz, where the A weighting is 0 dB (IEC 61672-1)
NAN, NONE = float("nan"), float("-inf")


def seats(weight, wished=0.0, quiet=0.0, limit=NAN) -> Seats:
    count = len(weight)
    return Seats(np.array(weight), *(np.broadcast_to(value, count).astype(float) for value in (wished, quiet, limit)))


def goal(bands=(KHZ,), weights=(1.0,), reference=NAN, loss=1.0, spill=0.0) -> Goal:
    return Goal(np.array(bands), np.array(weights), reference, loss, spill)


def judged(level, of, to):
    return score(np.array([level], dtype=float), of, to)


def test_rms_about_the_weighted_mean():
    # Weights 1, 1, 2: mean (90 + 94 + 2·92)/4 = 92, mean square (4 + 4 + 0)/4 = 2.
    found = judged([[90.0, 94.0, 92.0]], seats([1.0, 1.0, 2.0]), goal())
    assert found.j[0] == pytest.approx(np.sqrt(2.0), rel=1e-12, abs=0)
    assert found.mean_a[0] == pytest.approx(92.0, rel=1e-5, abs=0)


def test_bands_are_weighted():
    # RMS 1 in the first band and 3 in the second: 0.25·1 + 0.75·3.
    found = judged([[80.0, 82.0], [70.0, 76.0]], seats([1.0, 1.0]), goal((KHZ, 18), (0.25, 0.75)))
    assert found.j[0] == pytest.approx(2.5, rel=1e-12, abs=0)


def test_a_wished_fall_that_is_met_costs_nothing():
    level, wished = [[100.0, 97.0, 94.0]], np.array([0.0, -3.0, -6.0])
    assert judged(level, seats([1.0, 5.0, 2.0], wished), goal()).j[0] == pytest.approx(0.0, abs=1e-12)
    assert judged(level, seats([1.0, 1.0, 1.0]), goal()).j[0] == pytest.approx(np.sqrt(6.0), rel=1e-12, abs=0)


@pytest.mark.parametrize("missing", [NONE, NAN])
def test_seats_that_hear_nothing_do_not_count(missing):
    found = judged([[90.0, 94.0, missing]], seats([1.0, 1.0, 8.0]), goal())
    assert found.j[0] == pytest.approx(2.0, rel=1e-12, abs=0)


def test_a_band_that_nobody_hears_is_no_answer():
    assert judged([[NONE, NONE], [90.0, 90.0]], seats([1.0, 1.0]), goal((KHZ, 18), (0.5, 0.5))).j[0] == np.inf


# The mean is 90 dB(A): below a reference of 91 nothing is lost, and beyond that all of it.
@pytest.mark.parametrize(("reference", "lost"), [(NAN, 0.0), (90.0, 0.0), (91.0, 0.0), (91.5, 0.5), (96.0, 5.0)])
def test_level_lost_beyond_one_decibel(reference, lost):
    found = judged([[90.0, 90.0]], seats([1.0, 1.0]), goal(reference=reference, loss=2.0))
    assert found.loss[0] == pytest.approx(lost, rel=0, abs=1e-3)  # A at 1 kHz is 0 dB but for its rounding
    assert found.j[0] == pytest.approx(2.0 * lost, rel=0, abs=2e-3)


def test_spill_above_a_limit_and_below_it():
    # Quiet places of weights 1 and 3 at 80 and 60 dB(A), limit 70: (1·10 + 3·0)/4.
    of = seats([1.0, 0.0, 0.0], quiet=np.array([0.0, 1.0, 3.0]), limit=np.array([NAN, 70.0, 70.0]))
    found = judged([[90.0, 80.0, 60.0]], of, goal(spill=0.5))
    assert found.spill[0] == pytest.approx(2.5, rel=0, abs=1e-3)
    assert found.j[0] == pytest.approx(1.25, rel=0, abs=1e-3)


def test_spill_without_a_limit_is_against_the_audience():
    # (1·(80 − 90) + 3·(60 − 90))/4 = −25: less is better still.
    of = seats([1.0, 0.0, 0.0], quiet=np.array([0.0, 1.0, 3.0]))
    assert judged([[90.0, 80.0, 60.0]], of, goal(spill=1.0)).j[0] == pytest.approx(-25.0, rel=1e-4, abs=0)


def test_candidates_are_judged_each_by_itself():
    level = np.array([[[90.0, 94.0]], [[90.0, 90.0]], [[NONE, 90.0]]])
    assert score(level, seats([1.0, 1.0]), goal()).j == pytest.approx([2.0, 0.0, 0.0], rel=0, abs=1e-12)
