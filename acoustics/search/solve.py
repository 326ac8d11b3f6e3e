"""A search from start to answer: what may hang, how good it is, and what else there is to choose."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import SPLAYS, TILT, TRIM, Choice, Columns, Space
from acoustics.search.discrete import Limits, Search, Tell, Trail, default_limits
from acoustics.search.problem import Problem
from acoustics.search.reference import relaxed
from acoustics.search.rigged import Rigging, at_column
from acoustics.search.robust import Robust
from rigging.hang import Hang

Array = npt.NDArray[np.float64]
_Way = Callable[[Choice], Choice]

RUNNERS = 5
ROBUST_WORK = 5000.0  # evaluations of the search among columns as built
STARTS = 3  # independent searches, of which the best is the answer
_ELSEWHERE_DEG = 0.5  # aims that differ by less are the same to the ear
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
    limits, each unlike all better ones; `j_of_starts` of the independent searches; `j_law` of the law
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

    @property
    def space(self) -> Space:
        """What may be chosen."""
        return self._problem.columns.space

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

    @property
    def follows(self) -> bool:
        """Whether one pick leaves the tilt to the balance."""
        hang = self._problem.columns.of.hang
        return len(hang.picks) == 1 and hang.pullback is None

    def hung(self, choice: Choice) -> Choice:
        """A choice at the tilt that it hangs at, where that follows from the balance."""
        space = self._problem.columns.space
        tilt = self._rigging.own_tilt(at_column(self._problem.columns.of.hang, space.values(choice)))
        if tilt is None or not np.isfinite(tilt):
            return choice
        settled = choice.copy()
        settled[TILT] = int(np.argmin(np.abs(np.array(space.tilts_deg) - tilt)))
        return settled


@dataclass(frozen=True)
class Effort:
    """How a search is done: equal seeds give equal answers, unless seconds end it.

    `seconds`: budget in place of the usual number of evaluations, for all independent searches together; `starts`: how
    many of these, of which the later ones take half of the first one's evaluations; `robust`: choose at last by what a
    column is worth as built.
    """

    seed: int = 0
    seconds: float | None = None
    starts: int = STARTS
    robust: bool = False


def solve(problem: Problem, rigging: Rigging, effort: Effort = Effort(), tell: Tell | None = None) -> Answer:
    """Search from the law and from the file's column, then from independent seeds.

    Parameters
    ----------
    problem : Problem
    rigging : Rigging
    effort : Effort
    tell : callable, optional
        Told evaluations done, of how many, and the best J so far.
    """
    columns, fitted = problem.columns, Fitted(problem, rigging)
    trail, work = Trail(), 0.0
    ends: list[tuple[tuple[float, float], Choice]] = []
    while len(ends) < effort.starts and not trail.interrupted:
        later = len(ends)
        limits, seed = _limits(problem, effort, later), effort.seed + later
        search = Search(columns, fitted.excess, limits, seed, tell, *_ways(fitted, columns))
        search.trail = trail
        choice = search.run(_elsewhere(problem, effort.seed + later) if later else problem.starts)
        ends.append((search.best_key, choice))
        work += search.spent()
    key, chosen = min(ends, key=lambda end: end[0])
    runners = _runners(chosen, trail, fitted) if key[0] == 0 else ()
    if runners and effort.robust and not trail.interrupted:
        chosen = _robust([chosen, *(runner.choice for runner in runners)], problem, fitted, effort.seed, trail, tell)
        runners = _runners(chosen, trail, fitted)
    nearest = _option(chosen, problem, fitted)
    return Answer(
        best=nearest if nearest.excess == 0 else None,
        nearest=nearest,
        runners=runners,
        j_of_starts=tuple(end[0][1] if end[0][0] == 0 else np.inf for end in ends),
        j_law=trail.j[problem.starts[0].tobytes()],
        j_file=_j(problem, columns.file_column),
        work=work,
        interrupted=trail.interrupted,
    )


def _ways(fitted: Fitted, columns: Columns) -> tuple[_Way | None, _Way | None]:
    """What a choice hangs as, where its tilt follows from the balance; else how a start is relaxed."""
    return (fitted.hung, None) if fitted.follows else (None, partial(relaxed, columns))


def _limits(problem: Problem, effort: Effort, later: int) -> Limits:
    if effort.seconds is not None:
        return Limits(np.inf, effort.seconds / effort.starts)
    usual = default_limits(problem.free)
    return Limits(usual.work / 2.0) if later else usual


def _robust(
    starts: Sequence[Choice], problem: Problem, fitted: Fitted, seed: int, trail: Trail, tell: Tell | None
) -> Choice:
    """The best choice as built, from the best ones as drawn on paper."""
    limits = Limits(ROBUST_WORK)
    search = Search(Robust(problem.columns, seed), fitted.excess, limits, seed, tell, _ways(fitted, problem.columns)[0])
    choice = search.run(starts)
    trail.interrupted = search.trail.interrupted
    return choice


def _j(problem: Problem, column: Array) -> float:
    return float(problem.columns.scores(column[np.newaxis]).j[0])


def _elsewhere(problem: Problem, seed: int) -> list[Choice]:
    """Where an independent search starts: the law's variants far off, each part by up to two steps."""
    random, counts = np.random.default_rng(seed), problem.columns.space.counts
    some = [start + random.integers(-2, 3, len(counts)) for start in problem.starts]
    return [np.clip(one, 0, counts - 1) for one in some]


def _option(choice: Choice, problem: Problem, fitted: Fitted) -> Option:
    hang, excess = fitted(choice)
    return Option(hang, choice, _j(problem, problem.columns.space.values(choice)), excess)


def _differ(one: Array, other: Array) -> bool:
    """Whether columns are at different trims, or a quarter of their rows, two at least, aim elsewhere."""
    aims = [column[TILT] - np.cumsum(column[SPLAYS:]) for column in (one, other)]
    elsewhere = np.abs(aims[0] - aims[1]) >= _ELSEWHERE_DEG
    return bool(one[TRIM] != other[TRIM] or elsewhere.sum() >= max(2, len(elsewhere) // 4))


def _runners(best: Choice, trail: Trail, fitted: Fitted) -> tuple[Option, ...]:
    """The next best within limits, each with some rows that aim elsewhere than in the best and in each other."""
    space = fitted.space
    chosen: list[Array] = [space.values(best)]
    found: list[Option] = []
    looked = 0
    for name in sorted(trail.j, key=lambda name: trail.j[name]):
        choice = np.frombuffer(name, dtype=np.intp)
        column = space.values(choice)
        if not all(_differ(column, other) for other in chosen):
            continue
        looked += 1
        if len(found) == RUNNERS or looked > _LOOKED_AT:
            break
        if fitted.excess(choice) == 0:
            chosen.append(column)
            found.append(Option(fitted(choice)[0], choice, trail.j[name], 0.0))
    return tuple(found)
