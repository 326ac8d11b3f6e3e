"""Small searches end in the optimum of their whole space, with few evaluations."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.search.prove import prove
from acoustics.search.solve import Fitted

# Venue, enclosure, trim, splays of the file, tilts of the frame, rows that are held, splays to choose from.
STEPS = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
# fmt: off
PROBLEMS = {
    "theatre, six rows": ("theatre", "medium-few", 10.6, (0, 2, 4, 6, 8, 10), (2.0, 2.0), (0,), 5),
    "theatre, eight rows": ("theatre", "medium-few", 10.6, (0, 2, 2, 2, 4, 4, 6, 8), (1.0, 2.0), (0, 1, 2, 3), 6),
    "arena, six rows": ("arena", "large-few", 15.0, (0, 0, 2, 4, 6, 8), (4.0, 4.0), (0,), 5),
    "arena, seven rows": ("arena", "large-few", 15.0, (0, 0, 0, 2, 4, 6, 8), (3.5, 4.5), (0, 1, 2), 6),
    "meadow, six rows": ("meadow", "large-few", 11.5, (0, 0, 2, 4, 6, 8), (-2.0, -2.0), (0,), 5),
    "meadow, eight rows": ("meadow", "large-few", 11.5, (0, 0, 0, 0, 2, 4, 6, 8), (-2.0, -1.0), (0, 1, 2, 3), 5),
}
# fmt: on


@pytest.mark.parametrize("name", PROBLEMS)
def test_the_search_returns_the_proven_optimum(name, column_text, strip, solved, rigging):
    place, enclosure, trim, splays, tilts, held, count = PROBLEMS[name]
    venue = strip(place)
    more = f"[search]\ntilt_deg = {list(tilts)}\ntilt_step_deg = 0.5\nsplays_deg = {STEPS[:count]}\n"
    text = column_text(enclosure, splays, (0.0, 6.5, trim), tilts[0], held, more)
    problem, answer = solved(text, venue)
    # So many splays at each free joint, half degrees of tilt: so many choices, none left out.
    joints = len(splays) - len(held)
    size = count**joints * round((tilts[1] - tilts[0]) / 0.5 + 1)
    proof = prove(problem.columns, Fitted(problem, rigging(venue)).excess)
    assert proof.judged == size
    assert answer.best is not None
    assert proof.best is not None
    # Equal columns differ by rounding of sums kept from others.
    assert answer.best.j == pytest.approx(proof.j, rel=0, abs=1e-6)
    assert np.array_equal(answer.best.choice, proof.best)
    assert answer.work <= max(500.0, 0.005 * proof.work)
