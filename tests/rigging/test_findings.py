"""Findings: a value against a limit, what is used of it, and the order that a rigger reads them in."""

from __future__ import annotations

import itertools

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts, judged, unjudged, worst_first, worst_of_each


def most(value: float, limit: float, part: str = "part") -> Finding:
    return judged(part, "load", value, limit, "kg", "typed")


def least(value: float, limit: float) -> Finding:
    return judged("part", "height", value, limit, "m", "typed", least=True)


def blank(value: float | None, part: str = "part") -> Finding:
    return unjudged(part, "load", value, "kg", "no limit is given")


@pytest.mark.parametrize(
    ("finding", "status"),
    [
        (most(99.99, 100.0), WITHIN),
        (most(100.0, 100.0), WITHIN),
        (most(100.01, 100.0), EXCEEDS),
        (most(0.0, 0.0), WITHIN),
        (most(1e-3, 0.0), EXCEEDS),
        (least(2.51, 2.5), WITHIN),
        (least(2.5, 2.5), WITHIN),
        (least(2.49, 2.5), EXCEEDS),
        (least(-0.01, 0.0), EXCEEDS),
        (most(float("nan"), 100.0), EXCEEDS),
        (least(float("nan"), 2.5), EXCEEDS),
        (blank(1e9), CANNOT),
        (blank(None), CANNOT),
    ],
)
def test_status(finding, status):
    assert finding.status == status


def test_the_words_are_those_that_people_read():
    assert (WITHIN, EXCEEDS, CANNOT) == ("within", "exceeds", "cannot be judged")


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_rounding_of_sums_does_not_exceed(sign):
    # 0.1 added ten times misses 1 by an ulp: a limit that is met to the last digits is met.
    total = sum([0.1] * 10) * 1000.0
    assert total != 1000.0
    assert most(total, 1000.0).status == WITHIN
    assert most(1000.0 * (1 + sign * 1e-10), 1000.0).status == WITHIN
    assert least(1000.0 * (1 + sign * 1e-10), 1000.0).status == WITHIN
    # A milligram in a tonne is more than rounding.
    assert most(1000.0 * (1 + 1e-8), 1000.0).status == EXCEEDS
    assert least(1000.0 * (1 - 1e-8), 1000.0).status == EXCEEDS


@pytest.mark.parametrize(
    ("finding", "used"),
    [
        # exact: 80 of 100 kg; 2.5 m wanted of 10 m there
        (most(80.0, 100.0), 0.8),
        (most(150.0, 100.0), 1.5),
        (least(10.0, 2.5), 0.25),
        (least(2.0, 2.5), 1.25),
        (least(0.0, 2.5), float("inf")),
        (least(-1.0, 2.5), float("inf")),
        (most(1.0, 0.0), None),
        (blank(80.0), None),
    ],
)
def test_share_of_the_limit_that_is_used(finding, used):
    assert finding.used == used


@pytest.mark.parametrize("value", [0.5, 0.999, 1.001, 2.0])
@pytest.mark.parametrize("build", [most, least])
def test_more_than_all_is_used_where_it_exceeds(build, value):
    finding = build(value * 40.0, 40.0)
    assert (finding.used > 1.0) == (finding.status == EXCEEDS)


def test_what_cannot_be_judged_has_no_limit_and_says_why():
    finding = unjudged("hoist", "load", 83.0, "kg", "no capacity", "rows 1–4 on")
    assert (finding.value, finding.limit, finding.unit) == (83.0, None, "kg")
    assert finding.note == "no capacity; rows 1–4 on"


def test_worst_come_first_in_any_order_of_finding():
    expected = [
        most(1.0, 0.0, "no part of a limit of zero may be used"),
        most(200.0, 100.0, "double"),
        most(101.0, 100.0, "a little over"),
        blank(5.0, "unknown"),
        most(99.0, 100.0, "nearly"),
        most(10.0, 100.0, "far from it"),
        most(0.0, 0.0, "zero of zero"),
    ]
    for shuffled in itertools.islice(itertools.permutations(expected), 0, None, 97):
        assert [finding.part for finding in worst_first(shuffled)] == [finding.part for finding in expected]


def test_least_limits_take_their_place_among_the_others():
    # exact: 2.5 of 2.6 m uses 96 %, 99 of 100 kg 99 %, 2.5 of 25 m 10 %
    near, over, far = least(2.6, 2.5), most(99.0, 100.0), least(25.0, 2.5)
    assert worst_first([far, near, over]) == [over, near, far]


def test_of_each_part_and_kind_the_worst_stays():
    stages = [most(50.0, 100.0), most(120.0, 100.0), most(80.0, 100.0), most(10.0, 100.0, "other")]
    assert worst_of_each(stages) == [stages[1], stages[3]]


def test_one_stage_that_cannot_be_judged_counts_more_than_one_within():
    assert worst_of_each([most(99.0, 100.0), blank(1.0)]) == [blank(1.0)]
    assert worst_of_each([blank(1.0), most(101.0, 100.0)]) == [most(101.0, 100.0)]


def test_of_what_cannot_be_judged_the_greatest_load_stays():
    # A rigger compares it with the manual by hand: the load to compare is the greatest one.
    assert worst_of_each([blank(5.0), blank(10.0), blank(7.0)]) == [blank(10.0)]


def test_parts_and_kinds_are_kept_apart():
    other_kind = judged("part", "angle", 1.0, 2.0, "°", "typed")
    assert len(worst_of_each([most(1.0, 2.0), other_kind, most(1.0, 2.0, "elsewhere")])) == 3


def test_counts():
    found = [most(1.0, 2.0), most(3.0, 2.0), most(4.0, 2.0), blank(None)]
    assert counts(found) == {EXCEEDS: 2, CANNOT: 1, WITHIN: 1}
    assert counts([]) == {EXCEEDS: 0, CANNOT: 0, WITHIN: 0}
