"""A search that the page started: in a thread of its own, told about while it runs, stopped when asked."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from acoustics.app.design_input import read_from
from acoustics.app.page.work import Ground, Loaded
from acoustics.search.problem import pose
from acoustics.search.rigged import Rigging, in_front_first
from acoustics.search.solve import Answer, Effort, Option, solve
from rigging.faults import FileFaults
from rigging.hang import Hang
from rigging.rewrite import rewritten

FIRST = "searching; the first search after an installation is compiled first, half a minute"


class Searching:
    """One search for the hang in hand; `told` is called from its thread whenever there is something to tell."""

    def __init__(
        self, ground: Ground, loaded: Loaded, hang: Hang, seconds: float | None, told: Callable[[], object]
    ) -> None:
        self.text, self.running, self.wrong = hang.document.text, True, ""
        self.done, self.total, self.best = 0.0, None, None  # type: float, float | None, float | None
        self.found: list[Option] = []
        self.path = hang.document.path.resolve()
        self._stop, self._told = threading.Event(), told
        self._thread = threading.Thread(target=self._run, args=(ground, loaded, hang, seconds), daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End it soon; what was found so far is its answer."""
        self._stop.set()

    def join(self, timeout: float) -> None:
        """Wait for its end."""
        self._thread.join(timeout)

    def taken(self, index: int) -> str:
        """The text of the hang file with one of the columns found.

        Raises
        ------
        IndexError
            If there is none of that number.
        """
        if index < 0:
            raise IndexError(index)
        return rewritten(self.text, self.found[index].hang)

    def data(self) -> dict[str, Any]:
        """How far it is, and what was found."""
        return {
            "kind": "search",
            "running": self.running,
            "done": self.done,
            "total": self.total,
            "best_db": self.best,
            "found": [{"found": index, "j_db": one.j, "words": _words(one)} for index, one in enumerate(self.found)],
            "words": self._words(),
        }

    def _words(self) -> str:
        if self.wrong:
            return self.wrong
        if self.running:
            return FIRST if self.best is None else f"searching; best so far J {self.best:.2f} dB"
        if not self.found:
            return "nothing found that stays within limits"
        return f"best J {self.found[0].j:.2f} dB; {len(self.found) - 1} others"

    def _tell(self, done: float, total: float, best: float) -> None:
        if self._stop.is_set():
            raise KeyboardInterrupt  # what a search takes as the wish to end with what it has
        self.done, self.total = done, total if total < float("inf") else None
        self.best = best if best < float("inf") else None
        self._told()

    def _run(self, ground: Ground, loaded: Loaded, hang: Hang, seconds: float | None) -> None:
        try:
            answer = self._answer(ground, loaded, hang, seconds)
            self.found = [one for one in (answer.best, *answer.runners) if one is not None]
        except KeyboardInterrupt:
            self.wrong = "stopped before anything was found"
        except FileFaults as error:
            self.wrong = "; ".join(str(fault) for fault in error.faults)
        except Exception as error:  # a search must not take the page with it
            self.wrong = f"the search failed: {error}"
        self.running = False
        self._told()

    def _answer(self, ground: Ground, loaded: Loaded, hang: Hang, seconds: float | None) -> Answer:
        others = tuple(other for other in loaded.hangs.values() if other is not hang)
        read = read_from(hang, others, (loaded.venue, loaded.document), ground.catalogue, ground.policy)
        problem = pose(hang, read.venue, read.catalogue, read.wanted)
        points = read.wanted.points or ()
        rigging = Rigging(read.catalogue, read.policy, read.venue, read.others, points, in_front_first(hang))
        return solve(problem, rigging, Effort(seconds=seconds), self._tell)


def _words(option: Option) -> str:
    hang = option.hang
    splays = " ".join(f"{splay:g}" for splay in hang.splays_deg)
    return f"tilt {hang.tilt_deg:+.1f}°, trim {hang.position_m[2]:.2f} m, splays {splays}"
