"""The search over what is allowed: descents by one and by two steps, and kicks out of where they end."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import TILT, TRIM, Choice, Space
from acoustics.search.objective import Score

Array = npt.NDArray[np.float64]
Excess = Callable[[Choice], float]
Tell = Callable[[float, float, float], None]

LEAST_WORK, MOST_WORK = 490.0, 1990.0  # evaluations, with 8 free parts or fewer and with 16 or more
BETTER_DB = 1e-9  # rounding of sums
_APART = (1, 2, 3)  # parts of a choice that are turned against each other
_KICKS = (-2, -1, 1, 2)
_IDLE = 30  # kicks in a row that lead to nothing new: a small space has been seen
_RELAXED, _RELAXED_WORK = 4, 0.5  # starts that are relaxed, while less than this share of the work is done
_WORSE_DB = 0.01  # a kick may end so much worse and be kicked on from


@dataclass
class Trail:
    """All that a search has judged: J of each choice, and by how much it exceeds limits where that was asked."""

    j: dict[bytes, float] = field(default_factory=dict)
    excess: dict[bytes, float] = field(default_factory=dict)
    interrupted: bool = False


@dataclass(frozen=True)
class Limits:
    """When a search ends: evaluations, seconds, or both; the first that is reached."""

    work: float
    seconds: float | None = None


def default_limits(free: int) -> Limits:
    """Limits for so many parts of a choice that are free."""
    share = np.clip((free - 8) / 8.0, 0.0, 1.0)
    return Limits(float(LEAST_WORK + share * (MOST_WORK - LEAST_WORK)))


class Judge(Protocol):
    """What judges columns for a search: `Columns`, or what stands for them."""

    @property
    def space(self) -> Space:
        """What may be chosen."""

    @property
    def work(self) -> float:
        """Evaluations so far, in whole ones."""

    def settle(self, column: Array) -> None:
        """Take a column as what others are compared with."""

    def scores(self, columns: Array) -> Score:
        """The objective of columns."""


class Search:
    """One search over the space of some columns.

    `excess` tells by how much a choice exceeds limits of the rigging, 0 where none: while the present one exceeds,
    a step must lessen that; then none may that exceeds. `tell` is told work done, of how much, and the best J. `hung`
    turns a choice into what it hangs as, where its tilt is not free. `relax` gives a better place to
    begin a descent at.
    """

    def __init__(
        self,
        columns: Judge,
        excess: Excess,
        limits: Limits,
        seed: int = 0,
        tell: Tell | None = None,
        hung: Callable[[Choice], Choice] | None = None,
        relax: Callable[[Choice], Choice] | None = None,
    ) -> None:
        self.columns, self.trail, self._hung, self._relax = columns, Trail(), hung, relax
        self._excess, self._limits, self._tell = excess, limits, tell
        self._random, self._began, self._from = np.random.default_rng(seed), time.monotonic(), columns.work
        self._counts = columns.space.counts
        self._free = np.flatnonzero(self._counts > 1)
        self.asked = 0  # times that limits were asked of: each counts as an evaluation
        self.best: Choice | None = None
        self.best_key = (np.inf, np.inf)

    def run(self, starts: Sequence[Choice]) -> Choice:
        """The best choice found; of what was found before an interruption (control-C), where one comes."""
        self._note(starts[0], float(self._scores(np.array([starts[0]]))[0]))
        try:
            self._explore(starts)
        except KeyboardInterrupt:
            self.trail.interrupted = True
        assert self.best is not None
        return self.best

    def _explore(self, starts: Sequence[Choice]) -> None:
        order = np.argsort(self._scores(np.array(starts)), kind="stable")
        for index in order:
            self._note(starts[index], self.trail.j[starts[index].tobytes()])
        present, key = self._from_starts([starts[index] for index in order])
        assert self.best is not None
        if self.best_key < key:
            present, key = self._descend(self.best)
        if self.best_key[0] > 0 and self._hung is None:
            present, key = self._descend(self._at_best_tilt(self.best))
        idle = 0
        while not self._over() and len(self._free) and idle < _IDLE:
            before = len(self.trail.j)
            tried, reached = self._descend(self._kicked(present))
            idle = idle + 1 if len(self.trail.j) == before else 0
            if reached[1] < key[1] + _WORSE_DB and self._exceeds(tried) <= key[0]:
                present, key = tried, reached

    def _from_starts(self, starts: Sequence[Choice]) -> tuple[Choice, tuple[float, float]]:
        """Where descents end: from the best start, and from some that are relaxed while work is left for kicks."""
        ends = [self._descend(starts[0])]
        for start in starts[:_RELAXED]:
            if self._relax is None or self._over() or self.spent() > _RELAXED_WORK * self._limits.work:
                break
            ends.append(self._descend(self._relax(start)))
        return min(ends, key=lambda end: end[1])

    def _descend(self, start: Choice) -> tuple[Choice, tuple[float, float]]:
        """The local best by one step of one part, and by one step of two parts against each other."""
        present = start
        key = self._settle(present)
        self._note(present, key[1])
        improved = True
        while improved and not self._over():
            improved = False
            for part in self._free[::-1]:  # from the bottom, where least moves
                while (step := self._step(present, key, self._single(present, part))) is not None:
                    (present, key), improved = step, True
            if improved:
                continue
            for pairs in self._pairs(present):
                if self._over():
                    break
                if (step := self._step(present, key, pairs)) is not None:
                    (present, key), improved = step, True
                    break
        return present, key

    def _step(
        self, present: Choice, key: tuple[float, float], trials: Choice
    ) -> tuple[Choice, tuple[float, float]] | None:
        """The best of some choices that is better than the present one, settled on; None where none is."""
        if not len(trials) or self._over():
            return None
        scores = self._scores(trials)
        for index in np.argsort(scores, kind="stable"):
            j = float(scores[index])
            if not self._takes(trials[index], j, key):
                continue
            self._note(trials[index], j)
            return trials[index], self._settle(trials[index])
        return None

    def _takes(self, choice: Choice, j: float, key: tuple[float, float]) -> bool:
        """Whether a choice is a step down from a present one.

        From one that exceeds limits less excess comes first. Otherwise only what would be the best of all is asked
        whether it is within: to ask takes longer than to sum.
        """
        better = j < key[1] - BETTER_DB
        if key[0] > 0:
            excess = self._exceeds(choice)
            return excess < key[0] or (excess == key[0] and better)
        return better and (j >= self.best_key[1] - BETTER_DB or self._exceeds(choice) == 0)

    def _at_best_tilt(self, choice: Choice) -> Choice:
        """Of a choice at every tilt the one that exceeds limits least: where picks reach goes by ranges of tilt, and
        between these one step lessens nothing."""
        trials = np.repeat(choice[np.newaxis], self._counts[TILT], axis=0)
        trials[:, TILT] = np.arange(self._counts[TILT])
        return min(trials, key=lambda trial: (self._exceeds(trial), abs(trial[TILT] - choice[TILT])))

    def _single(self, present: Choice, part: int) -> Choice:
        trials = np.repeat(present[np.newaxis], 2, axis=0)
        trials[:, part] += (-1, 1)
        return self._inside(trials)

    def _pairs(self, present: Choice) -> Iterator[Choice]:
        """Two parts moved so that what hangs below both aims as before, at least nearly."""
        for apart in _APART:
            for first, second in zip(self._free, self._free[apart:], strict=False):
                # A splay turns down what a tilt turns up; with the trim either way may help.
                signs = (-1, 1) if first == TRIM else (1,) if first == TILT else (-1,)
                trials = np.repeat(present[np.newaxis], 2 * len(signs), axis=0)
                steps = [(step, sign * step) for step in (-1, 1) for sign in signs]
                trials[:, [first, second]] += steps
                yield self._inside(trials)

    def _inside(self, trials: Choice) -> Choice:
        inside = trials[((trials >= 0) & (trials < self._counts)).all(axis=1)]
        return inside if self._hung is None else np.array([self._hung(one) for one in inside]).reshape(inside.shape)

    def _kicked(self, present: Choice) -> Choice:
        kicked = present.copy()
        count = min(len(self._free), int(self._random.integers(2, 5)))
        for part in self._random.choice(self._free, size=count, replace=False):
            kicked[part] = np.clip(kicked[part] + self._random.choice(_KICKS), 0, self._counts[part] - 1)
        return kicked if self._hung is None else self._hung(kicked)

    def _settle(self, choice: Choice) -> tuple[float, float]:
        self.columns.settle(self.columns.space.values(choice))
        j = float(self._scores(choice[np.newaxis])[0])
        asked = self.best_key[0] > 0 or j < self.best_key[1] - BETTER_DB
        return (self._exceeds(choice) if asked else 0.0), j

    def _scores(self, choices: Choice) -> Array:
        new = np.array([choice.tobytes() not in self.trail.j for choice in choices])
        if new.any():
            j = self.columns.scores(self.columns.space.values(choices[new])).j
            self.trail.j.update({c.tobytes(): float(value) for c, value in zip(choices[new], j, strict=True)})
        if self._tell is not None:
            self._tell(self.columns.work - self._from, self._limits.work, self.best_key[1])
        return np.array([self.trail.j[choice.tobytes()] for choice in choices])

    def _exceeds(self, choice: Choice) -> float:
        name = choice.tobytes()
        if name not in self.trail.excess:
            self.trail.excess[name] = self._excess(choice)
            self.asked += 1
        return self.trail.excess[name]

    def _note(self, choice: Choice, j: float) -> None:
        if self.best is not None and self.best_key[0] == 0 and j >= self.best_key[1] - BETTER_DB:
            return
        key = (self._exceeds(choice), j)
        if (
            self.best is None
            or key[0] < self.best_key[0]
            or (key[0] == self.best_key[0] and j < self.best_key[1] - BETTER_DB)
        ):
            self.best, self.best_key = choice.copy(), key

    def _over(self) -> bool:
        if self._limits.seconds is not None and time.monotonic() - self._began > self._limits.seconds:
            return True
        return self.spent() >= self._limits.work

    def spent(self) -> float:
        """Evaluations so far in whole ones: sums, columns settled on, and limits asked of."""
        return self.columns.work - self._from + self.asked
