"""Small problems, whose best choice is known because all were gone through; and what holds of any search."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from acoustics.search.discrete import Limits, Search
from acoustics.search.prove import MOST_CHOICES, prove

# Venue, enclosures, splays, tilts, rows held: six enclosures, five or six steps.
SMALL = {
    "theatre, 6": ("theatre", 6, [1.0, 3.0, 5.0, 7.0, 10.0], [2.0, 2.0], (0,)),
    "arena, 6": ("arena", 6, [0.0, 1.0, 2.0, 4.0, 7.0, 10.0], [4.0, 4.0], (0,)),
    "meadow, 6": ("meadow", 6, [0.0, 1.0, 2.0, 4.0, 7.0], [-2.0, 2.0], (0,)),
}


def free_of_limits(choice) -> float:
    return 0.0


@pytest.fixture
def small(short):
    def make(name: str):
        venue, count, splays, tilts, fixed = SMALL[name]
        return short(venue, count, [0.0] * count, fixed, splays_deg=splays, tilt_deg=tilts, tilt_step_deg=2.0)

    return make


def test_the_proof_goes_through_all(small):
    """Three joints of five: against a plain loop over all of them, one at a time, from another settled column."""
    problem = small("meadow, 6")
    columns, space = problem.columns, problem.columns.space
    counts = space.counts.copy()
    free = np.flatnonzero(counts > 1)[-3:]
    plain = []
    for values in itertools.product(*(range(counts[part]) for part in free)):
        choice = np.zeros(len(counts), dtype=np.intp)
        choice[free] = values
        columns.settle(columns.file_column + 0.01)
        plain.append(float(columns.scores(space.values(choice)[np.newaxis]).j[0]))
    held = [values if index + 2 in free else values[:1] for index, values in enumerate(space.splays_deg)]
    columns.space = type(space)(space.trims_m, space.tilts_deg[:1], tuple(held))
    proof = prove(columns, free_of_limits)
    assert proof.judged == 5**3
    assert proof.j == pytest.approx(min(plain), rel=1e-12, abs=0)


def test_the_proof_asks_for_limits(small):
    problem = small("theatre, 6")
    columns = problem.columns
    best = prove(columns, free_of_limits)

    def not_the_best(choice) -> float:
        return float(np.array_equal(choice, best.best))

    second = prove(columns, not_the_best)
    assert second.j > best.j
    assert not np.array_equal(second.best, best.best)
    assert prove(columns, lambda choice: 1.0).best is None


def test_too_large_a_space_is_refused(short):
    columns = short("arena", 16).columns
    assert columns.space.size > MOST_CHOICES
    with pytest.raises(ValueError, match="too many to go through"):
        prove(columns, free_of_limits)


def test_equal_seeds_give_equal_answers(short):
    found = []
    for _ in range(2):
        problem = short("theatre", 8)
        search = Search(problem.columns, free_of_limits, Limits(150.0), seed=3)
        found.append((search.run(problem.starts).tolist(), search.best_key))
    assert found[0] == found[1]


def test_the_best_is_left_alone(small):
    problem = small("arena, 6")
    proof = prove(problem.columns, free_of_limits)
    assert proof.best is not None
    found = Search(problem.columns, free_of_limits, Limits(80.0)).run([proof.best])
    assert found.tolist() == proof.best.tolist()


def test_control_c_keeps_the_best_so_far(short):
    problem = short("theatre", 8)
    told = []

    def tell(done: float, total: float, best: float) -> None:
        told.append(best)
        if done > 60.0:
            raise KeyboardInterrupt

    search = Search(problem.columns, free_of_limits, Limits(500.0), tell=tell)
    found = search.run(problem.starts)
    assert search.trail.interrupted
    assert float(problem.columns.scores(problem.columns.space.values(found)[np.newaxis]).j[0]) == pytest.approx(
        min(told), rel=1e-9, abs=0
    )


def test_a_space_that_has_been_seen_ends_the_search(small):
    """One joint of six steps, all others held: there is no more to do than six evaluations."""
    problem = small("arena, 6")
    columns, space = problem.columns, problem.columns.space
    held = [values if row == 3 else values[:1] for row, values in enumerate(space.splays_deg)]
    columns.space = type(space)(space.trims_m, space.tilts_deg[:1], tuple(held))
    search = Search(columns, free_of_limits, Limits(500.0))
    search.run([np.zeros(len(space.counts), dtype=np.intp)])
    assert search.best_key[1] == pytest.approx(prove(columns, free_of_limits).j, rel=1e-12, abs=0)
