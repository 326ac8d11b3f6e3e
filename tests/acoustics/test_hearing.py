"""What is printed of the limits for audiences: statuses, figures, assumptions."""

import math

import pytest

from acoustics.hearing import LIMITS, assumptions, equivalent, judge, lines

NAN = float("nan")
UNKNOWN = "cannot be judged"
CASES = [
    (103.2, 112.0, 12.0, 6.0),
    (98.0, 105.0, None, 0.0),
    (112.0, 125.0, 12.0, 3.0),
    (NAN, NAN, 12.0, 3.0),
    (100.0, 123.0, 12.0, 0.0),
    (-math.inf, -math.inf, 12.0, 0.0),
]


@pytest.mark.parametrize("case", CASES)
def test_nothing_is_called_safe_or_kept_and_local_rules_govern(case):
    text = "\n".join(lines(judge(*case)))
    assert "safe" not in text.lower()
    assert "within" not in text
    assert "full drive" not in text
    assert "WHO 2022 standard for venues and events, 100 dB LAeq,15min: " in text
    assert "DIN 15905-5:2007, 99 dB LAeq,30min: " in text
    assert "DIN 15905-5:2007, 135 dB LCpeak: " in text
    assert "Local rules govern." in text
    assert "direct sound of one hang alone" in text
    assert f"the average lies {case[3]:.1f} dB below the drive asked for" in text
    assert "nan" not in text


@pytest.mark.parametrize(
    ("case", "who", "din", "peak"),
    [
        ((103.2, 112.0, 12.0, 6.0), UNKNOWN, UNKNOWN, UNKNOWN),
        ((100.0, 123.0, 12.0, 0.0), UNKNOWN, "exceeds", UNKNOWN),
        ((105.0, 123.1, 12.0, 5.5), UNKNOWN, "exceeds", "exceeds"),
        ((112.0, 125.0, 12.0, 3.0), "exceeds", "exceeds", "exceeds"),
        ((98.0, 105.0, None, 0.0), UNKNOWN, UNKNOWN, UNKNOWN),
        ((98.0, NAN, 12.0, 0.0), UNKNOWN, UNKNOWN, UNKNOWN),
        ((NAN, 105.0, 12.0, 0.0), UNKNOWN, UNKNOWN, UNKNOWN),
    ],
)
def test_status(case, who, din, peak):
    found = judge(*case)
    assert [average.status for average in found.averages] == [who, din]
    assert found.peak_status == peak
    assert [line.split(": ")[1].split(";")[0] for line in lines(found)[:3]] == [who, din, peak]


# By hand: 15 · 10^(−0.32) = 7.18, 30 · 10^(−0.42) = 11.41; 15 · 10^(−1.2) = 0.946 min = 57 s, · 10^(−0.9) = 1.888;
# 30 · 10^(−1.3) = 1.504, · 10^(−1) = 3.0.
@pytest.mark.parametrize(
    ("case", "line", "parts"),
    [
        ((103.2, 112.0, 12.0, 6.0), 0, ["alone, 2.8 dB below with an average of 97.2", "dB, 7.2 min of every 15 min"]),
        ((103.2, 112.0, 12.0, 6.0), 1, ["alone, 1.8 dB below with an average of 97.2", "dB, 11.4 min of every 30 min"]),
        ((103.2, 112.0, 12.0, 6.0), 2, ["one hang alone, 11.0 dB below with a peak of 124.0 dB"]),
        ((112.0, 125.0, 12.0, 3.0), 0, ["9.0 dB over", "112.0 dB, 57 s of every 15 min", "at the average 1.9 min"]),
        ((112.0, 125.0, 12.0, 3.0), 1, ["10.0 dB over", "112.0 dB, 1.5 min of every 30 min", "at the average 3.0 min"]),
        ((112.0, 125.0, 12.0, 3.0), 2, ["2.0 dB over with a peak of 137.0 dB"]),
        ((98.0, 105.0, 12.0, 0.0), 0, ["one hang alone, 2.0 dB below", "at the drive asked for, 98.0 dB"]),
        ((100.02, 105.0, 12.0, 0.0), 0, ["exceeds; less than 0.1 dB over"]),
        ((NAN, 105.0, 12.0, 0.0), 0, ["the A-weighted level at the loudest seat is not known"]),
        ((98.0, 105.0, None, 0.0), 2, ["the C-weighted level or the programme's crest factor is not known"]),
    ],
)  # fmt: skip
def test_figures(case, line, parts):
    text = lines(judge(*case))[line]
    for part in parts:
        assert part in text


def test_average_without_pauses_is_told_once():
    """Without a difference between average and drive there is one number of minutes."""
    assert "at the average" not in lines(judge(112.0, 125.0, 12.0, 0.0))[0]
    assert "at the average" not in lines(judge(101.0, 125.0, 12.0, 6.0))[0]


def test_lines_are_the_limits_and_the_assumptions():
    found = judge(103.2, 112.0, 12.0, 6.0)
    assert lines(found)[3:] == assumptions(6.0)
    assert len(lines(found)) == len(LIMITS) + 1 + len(assumptions(6.0))


def test_result_holds_its_inputs():
    found = judge(103.0, 112.0, 12.0, 6.0)
    assert (found.at_drive_db, found.average_below_db, found.average_db, found.peak_db) == (103.0, 6.0, 97.0, 124.0)
    with pytest.raises(AttributeError):
        found.at_drive_db = 90.0


def test_equivalent_of_nothing_and_of_all():
    assert equivalent(110.0, 0.0, 15.0) == -math.inf
    assert equivalent(110.0, 15.0, 15.0) == 110.0


@pytest.mark.parametrize(("minutes", "window"), [(-1.0, 15.0), (16.0, 15.0), (0.0, 0.0), (NAN, 15.0)])
def test_minutes_outside_their_window(minutes, window):
    with pytest.raises(ValueError, match="do not lie in a window of"):
        equivalent(100.0, minutes, window)


@pytest.mark.parametrize("below", [-0.1, math.inf, NAN])
def test_average_above_the_drive(below):
    with pytest.raises(ValueError, match="0 dB or more below the drive"):
        judge(100.0, 110.0, 12.0, below)


@pytest.mark.parametrize("crest", [-0.1, math.inf, NAN])
def test_crest_factor_that_is_none(crest):
    with pytest.raises(ValueError, match="a crest factor is 0 dB or more"):
        judge(100.0, 110.0, crest, 0.0)
