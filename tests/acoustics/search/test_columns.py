"""Levels of many columns: those of the field, whatever was settled on before."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from acoustics import field, sight
from acoustics.search.columns import MOST_PARTS
from acoustics.search.rigged import at_column
from acoustics.sources import sources_of
from rigging.equipment import load_catalogue
from rigging.geometry import lay_out

ROWS = {"theatre": 12, "arena": 16, "meadow": 13}  # the meadow's column is mixed, through an adapter


@pytest.fixture(params=ROWS)
def problem(request, short):
    return short(request.param, ROWS[request.param], trim_m=[10.0, 16.0], trim_step_m=1.0)


def drawn(problem, count: int) -> np.ndarray:
    """Columns of the space, drawn; the first few differ in one joint from the file's."""
    random, space = np.random.default_rng(5), problem.columns.space
    start = space.nearest(problem.columns.file_column)
    choices = np.array([random.integers(0, space.counts) for _ in range(count)])
    for index in range(count // 2):
        part = random.choice(np.flatnonzero(space.counts > 1))
        choices[index] = start
        choices[index, part] = random.integers(space.counts[part])
    return space.values(choices)


def test_levels_are_those_of_the_field(problem):
    columns = problem.columns
    of, band = columns.of, columns.goal.band
    parts = np.minimum(field.sub_bands(of.sources, of.position, of.medium), MOST_PARTS)
    for column in drawn(problem, 6):
        hang = at_column(of.hang, column)
        sources = sources_of(hang, lay_out(hang), load_catalogue(), of.medium.c)
        # What is hidden is that of the file's column at this trim.
        still = at_column(of.hang, np.array([column[0], *columns.file_column[1:]]))
        places = sources_of(still, lay_out(still), load_catalogue(), of.medium.c).position
        hidden = sight.hidden(places, of.position, of.areas)
        expected = field.band_level(sources, of.position, of.medium, hidden, parts=parts)[band]
        found = columns.levels(column[np.newaxis])[0]
        np.testing.assert_array_equal(np.isfinite(found), np.isfinite(expected))
        # Tables over other patches: within 1e-6 of the axis, some 1e-4 dB where a level is 40 dB below it.
        np.testing.assert_allclose(found[np.isfinite(found)], expected[np.isfinite(expected)], rtol=0, atol=2e-3)


def test_what_was_settled_on_before_does_not_matter(problem):
    columns = problem.columns
    trials = drawn(problem, 12)
    fresh = columns.levels(trials)
    for column in trials[:4]:
        columns.settle(column)
        # Rounding of sums that run in another order.
        np.testing.assert_allclose(columns.levels(trials), fresh, rtol=0, atol=1e-9)


def test_work_counts_the_pairs_that_are_summed_again(short):
    columns = short("theatre", 8).columns
    start = columns.file_column
    for row, moved in ((0, 8), (4, 4), (7, 1)):
        column, before = start.copy(), columns.work
        column[2 + row] += 1.0
        columns.levels(column[np.newaxis])
        assert columns.work - before == pytest.approx(1.0 - ((8 - moved) / 8) ** 2, rel=1e-12, abs=0)
    before = columns.work
    columns.levels(start[np.newaxis])
    assert columns.work == before


def test_other_air_is_that_of_the_field(short):
    columns = short("theatre", 6).columns
    slow = dataclasses.replace(columns.of.medium, c=330.0)
    other = columns.in_medium(slow)
    of = columns.of
    parts = np.minimum(field.sub_bands(of.sources, of.position, of.medium), MOST_PARTS)
    hidden = sight.hidden(of.sources.position, of.position, of.areas)
    expected = field.band_level(of.sources, of.position, slow, hidden, parts=parts)[columns.goal.band]
    found = other.levels(other.file_column[np.newaxis])[0]
    heard = np.isfinite(found)
    np.testing.assert_allclose(found[heard], expected[heard], rtol=0, atol=2e-3)
    assert np.abs(found[heard] - columns.levels(columns.file_column[np.newaxis])[0][heard]).max() > 0.1
