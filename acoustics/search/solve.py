"""A search from start to answer: what may hang, how good it is, and what else there is to choose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import TILT, Choice
from acoustics.search.discrete import Limits, Search, Tell, Trail, default_limits
from acoustics.search.problem import Problem
from acoustics.search.rigged import Rigging, at_column
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

RUNNERS = 5
STARTS = 3  # independent searches, of which the best is the answer
_DISTINCT = 3  # steps that runners-up differ by, all parts together
_LOOKED_AT = 400


@dataclass(frozen=True)
class Option:
    """A column that was judged: as a hang with the picks it needs, its choice, J on the search's places [dB], and how
    far it exceeds limits, 0 where it does not."""

    hang: Hang
    choice: Choice
    j: float
    excess: float


@dataclass(frozen=True)
class Answer:
    """What came of a search.

    `best` within limits, None where none is; `nearest` to them, the same where one is within; `runners` within
    limits, each several steps from all better ones; `j_of_starts` of the independent searches; `j_law` of the law
    and `j_file` of the file's column, which may lie off the search's steps; `work` in whole evaluations.
    """

    best: Option | None
    nearest: Option
    runners: tuple[Option, ...]
    j_of_starts: tuple[float, ...]
    j_law: float
    j_file: float
    work: float
    interrupted: bool


class Fitted:
    """Hangs of choices with the picks that they need, each found once."""

    def __init__(self, problem: Problem, rigging: Rigging) -> None:
        self._problem, self._rigging = problem, rigging
        self._known: dict[bytes, tuple[Hang, float]] = {}

    def __call__(self, choice: Choice) -> tuple[Hang, float]:
        """The hang and how far it exceeds limits."""
        name = choice.tobytes()
        if name not in self._known:
            columns = self._problem.columns
            self._known[name] = self._rigging.fitted(at_column(columns.of.hang, columns.space.values(choice)))
        return self._known[name]

    def excess(self, choice: Choice) -> float:
        """How far a choice exceeds limits."""
        return self(choice)[1]

    def hung(self, choice: Choice) -> Choice:
        """A choice at the tilt that it hangs at, where one pick leaves that to the balance."""
        space = self._problem.columns.space
        tilt = self._rigging.own_tilt(at_column(self._problem.columns.of.hang, space.values(choice)))
        if tilt is None or not np.isfinite(tilt):
            return choice
        settled = choice.copy()
        settled[TILT] = int(np.argmin(np.abs(np.array(space.tilts_deg) - tilt)))
        return settled


def solve(
    problem: Problem,
    rigging: Rigging,
    seed: int = 0,
    seconds: float | None = None,
    starts: int = STARTS,
    tell: Tell | None = None,
) -> Answer:
    """Search from the law and from the file's column, then from independent seeds.

    Parameters
    ----------
    problem : Problem
    rigging : Rigging
    seed : int
        Equal seeds give equal answers, unless seconds end the search.
    seconds : float, optional
        Budget in place of the usual number of evaluations; shared by the independent searches.
    starts : int
        How many of these.
    tell : callable, optional
        Told evaluations done, of how many, and the best J so far.
    """
    columns, fitted = problem.columns, Fitted(problem, rigging)
    limits = default_limits(problem.free)
    one_pick = len(columns.of.hang.picks) == 1 and columns.of.hang.pullback is None
    hung = fitted.hung if one_pick else None
    if seconds is not None:
        limits = Limits(np.inf, seconds / starts)
    began, trail, found = columns.work, Trail(), list[float]()
    best: tuple[tuple[float, float], Choice] | None = None
    for index in range(starts):
        search = Search(columns, fitted.excess, limits, seed + index, tell, hung)
        search.trail = trail if index else search.trail
        trail = search.trail
        choice = search.run(problem.starts if index == 0 else _elsewhere(problem, seed + index))
        found.append(search.best_key[1] if search.best_key[0] == 0 else np.inf)
        if best is None or search.best_key < best[0]:
            best = search.best_key, choice
        if trail.interrupted:
            break
    assert best is not None
    nearest = _option(best[1], trail, fitted)
    within = nearest if nearest.excess == 0 else None
    law = trail.j[problem.starts[0].tobytes()]
    file = float(columns.scores(columns.file_column[np.newaxis]).j[0])
    runners = _runners(best[1], trail, fitted) if within else ()
    return Answer(within, nearest, runners, tuple(found), law, file, columns.work - began, trail.interrupted)


def _elsewhere(problem: Problem, seed: int) -> list[Choice]:
    """Where an independent search starts: the law's variants far off, each part by up to two steps."""
    random, counts = np.random.default_rng(seed), problem.columns.space.counts
    some = [start + random.integers(-2, 3, len(counts)) for start in problem.starts]
    return [np.clip(one, 0, counts - 1) for one in some]


def _option(choice: Choice, trail: Trail, fitted: Fitted) -> Option:
    hang, excess = fitted(choice)
    return Option(hang, choice, trail.j[choice.tobytes()], excess)


def _runners(best: Choice, trail: Trail, fitted: Fitted) -> tuple[Option, ...]:
    """The next best within limits, each at least some steps from the best and from each other."""
    chosen: list[Choice] = [best]
    found: list[Option] = []
    names: Sequence[bytes] = sorted(trail.j, key=lambda name: trail.j[name])[: len(trail.j)]
    looked = 0
    for name in names:
        choice = np.frombuffer(name, dtype=np.intp)
        if min(int(np.abs(choice - other).sum()) for other in chosen) < _DISTINCT:
            continue
        looked += 1
        if len(found) == RUNNERS or looked > _LOOKED_AT:
            break
        if fitted.excess(choice) == 0:
            chosen.append(choice)
            found.append(_option(choice, trail, fitted))
    return tuple(found)
