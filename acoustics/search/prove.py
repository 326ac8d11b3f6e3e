"""The best of a whole space, by going through all of it: a proof, for columns that are small enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from acoustics.search.columns import Choice, Columns
from acoustics.search.discrete import Excess

MOST_CHOICES = 3_000_000  # some ten minutes on two cores
_TOGETHER = 1000


@dataclass(frozen=True)
class Proof:
    """The best choice within limits, its J, and what was gone through: `judged` choices, by `work` evaluations."""

    best: Choice | None
    j: float
    judged: int
    work: float


def prove(columns: Columns, excess: Excess, tell: Callable[[float, float, float], None] | None = None) -> Proof:
    """Judge every choice of a space; none is left out. Limits are asked of only where J is better than the best so far.

    Raises
    ------
    ValueError
        If the space holds more than `MOST_CHOICES`.
    """
    space, counts = columns.space, columns.space.counts
    if space.size > MOST_CHOICES:
        raise ValueError(f"{space.size:,} choices are too many to go through: at most {MOST_CHOICES:,}")
    free = np.flatnonzero(counts > 1)
    # The last parts together make a batch: they move the least of a column that is settled on.
    split = len(free)
    while split > 0 and np.prod(counts[free[split - 1 :]]) <= _TOGETHER:
        split -= 1
    head, tail = free[:split], free[split:]
    ends = np.array(list(product(*(range(counts[part]) for part in tail))), dtype=np.intp)
    began, best, least, judged = columns.work, None, np.inf, 0
    for start in product(*(range(counts[part]) for part in head)):
        choices = np.zeros((len(ends), len(counts)), dtype=np.intp)
        choices[:, head] = start
        choices[:, tail] = ends
        columns.settle(space.values(choices[0]))
        j = columns.scores(space.values(choices)).j
        judged += len(choices)
        for index in np.argsort(j, kind="stable"):
            if j[index] >= least:
                break
            if excess(choices[index]) == 0:
                best, least = choices[index].copy(), float(j[index])
                break
        if tell is not None:
            tell(judged, space.size, least)
    return Proof(best, least, judged, columns.work - began)
