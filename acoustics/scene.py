"""Sources and listeners in a venue: what is hidden, how finely each enclosure must be divided, and the sum."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from acoustics import barrier, charts, field, sight
from acoustics.field import Medium, Sources
from acoustics.sources import split
from acoustics.venue import Area

Array = npt.NDArray[np.float64]

# Up to here every prediction is summed once more with twice the points, to see what that changes.
REFINED_POSITIONS = 50_000
MOST_POINTS = 8
NEAREST_M = 0.05  # nearer than this to a point source its level has no meaning
SETTLED_DB = 0.1  # change of level within 20 dB of the greatest of a band that doubling the points may make
_TRIED = 2000


@dataclass(frozen=True)
class Summed:
    """Levels (29, P) [dB]; `refinement` (29, P) their change with twice the `points` per enclosure, NaN where that is
    not known [dB]; `unknown`: why, empty where it is known; `parts` (29,) of each band."""

    level: Array
    refinement: Array
    points: int
    parts: npt.NDArray[np.int64]
    unknown: str = ""


@dataclass(frozen=True)
class Scene:
    """What sounds (one source for each enclosure), where it is heard (P, 3) [m], and what is between."""

    sources: Sources
    position: Array
    medium: Medium
    areas: tuple[Area, ...]
    over_edges: bool = False
    kept: charts.Kept | None = None  # tables from scene to scene

    def bands(
        self,
        points: int | Literal["auto"] = 1,
        progress: Callable[[int, int], None] | None = None,
        *,
        refined: bool = True,
    ) -> Summed:
        """Levels in bands, each enclosure as some points.

        Parameters
        ----------
        points : int or "auto"
            Points for each enclosure; "auto" doubles them from one until that moves no level by `SETTLED_DB`.
        progress : callable, optional
            Told the number of positions just summed and of all that will be.
        refined : bool
            Sum once more with twice the points, to see what that changes.

        Raises
        ------
        ValueError
            If more than one point is asked for and an enclosure has measured data.
        """
        count, unknown = 1 if points == "auto" else points, self._not_refined(points)
        if not refined:
            unknown = unknown or "it was not asked for"
        refine = not unknown
        passes, done = 2 if refine else 1, len(self.position)
        tell = None if progress is None else (lambda some: progress(some, passes * done))
        level, parts = self._level(count, tell)
        refinement = np.broadcast_to(np.nan, level.shape)  # takes no memory
        while refine:
            if not self.apart(2 * count):
                unknown = f"one of them would be nearer than {NEAREST_M:g} m to a position"
                break
            finer, finer_parts = self._level(2 * count, tell)
            refinement = finer - level
            if points != "auto" or 2 * count > MOST_POINTS or field.moved(level, finer).max() <= SETTLED_DB:
                break
            level, parts, count = finer, finer_parts, 2 * count
            refinement = np.broadcast_to(np.nan, level.shape)  # of this count it is not known yet
            passes += 1
        return Summed(level, refinement, count, parts, unknown)

    def at(self, position: Array, points: int) -> Array:
        """Levels at other places (P, 3) [m], (29, P) [dB]."""
        return dataclasses.replace(self, position=position)._level(points, None)[0]

    def estimate(self, points: int | Literal["auto"] = 1) -> str:
        """What the levels of all positions will take: memory, and time by summing some of them.

        `points` as for `bands`; for "auto" what it takes if no count before the last will do.
        """
        many, sources = self.position.shape[0], len(self.sources.kind)
        first, refine = 1 if points == "auto" else points, not self._not_refined(points)
        counts = [first, 2 * first] if refine else [first]
        while refine and points == "auto" and counts[-1] <= MOST_POINTS:
            counts.append(2 * counts[-1])
        measured = [self._seconds(count) for count in counts[:2]]
        # Sources cost as many look-ups, and pairs as their square.
        square = max(0.0, (measured[-1] - 2.0 * measured[0]) / 2.0) if refine else 0.0
        share = [count / first for count in counts]
        seconds = sum((measured[0] - square) * n + square * n**2 for n in share)
        # Levels, a copy while they are summarised (or finer ones and the change), octaves and places; arrivals, what
        # is hidden and by how much; the program itself.
        level, way = 29 * (4 if refine else 2), sources * counts[-1] * (25 if self.over_edges else 1)
        gigabytes = 0.4 + many * (8 * (level + 2 * 6 + 16) + 9 * sources + way) / 1e9
        most = "at most " if points == "auto" and refine else ""
        work = f"{gigabytes:.1f} GB of memory, {most}{max(1.0, seconds):.0f} s for the sum"
        return f"{many} positions × {sources} sources: some {work}"

    def _seconds(self, count: int) -> float:
        """Time of the sum over all positions, by summing some of them."""
        sources, many = split(self.sources, count)[0], len(self.position)
        parts = field.sub_bands(sources, self.position[:: max(1, many // _TRIED)], self.medium)
        some = self.position[many // 2 : many // 2 + _TRIED]  # neighbours, as they will come
        spent = []
        for position in (some[: len(some) // 10], some, some[: len(some) // 10], some):  # the first loads compiled code
            before = time.perf_counter()
            field.band_level(sources, position, self.medium, parts=parts)
            spent.append(time.perf_counter() - before)
        return spent[3] + max(0.0, spent[3] - spent[2]) / (0.9 * len(some)) * many

    def lines(
        self, points: int | Literal["auto"], frequency: Sequence[float], tell: field.Progress | None
    ) -> field.Complex:
        """Complex pressures at single frequencies, (F, P) [Pa]; "auto" is one point: there are no bands to settle."""
        sources, _ = split(self.sources, 1 if points == "auto" else points)
        return field.line_pressure(sources, self.position, frequency, self.medium, self.way(sources), tell)

    def _level(self, count: int, tell: field.Progress | None) -> tuple[Array, npt.NDArray[np.int64]]:
        sources, _ = split(self.sources, count)
        way = self.way(sources)
        parts = field.sub_bands(sources, self.position, self.medium, way, self.kept)
        return field.band_level(sources, self.position, self.medium, way, tell, parts, self.kept), parts

    def apart(self, points: int) -> bool:
        """Whether no position is nearer than `NEAREST_M` to a source that is as many points."""
        place = split(self.sources, points)[0].position
        return all(float(np.linalg.norm(self.position - one, axis=1).min(initial=np.inf)) >= NEAREST_M for one in place)

    def _not_refined(self, points: int | Literal["auto"]) -> str:
        """Why twice the points are not tried; empty where they are."""
        if any(kind.measured is not None for kind in self.sources.directivities):
            return "measured data do not say which part of an enclosure radiates what"
        if len(self.position) > REFINED_POSITIONS and points != "auto":
            return f"more than {REFINED_POSITIONS} positions are summed once"
        return ""

    def _hidden(self, sources: Sources) -> field.Flags | None:
        hidden = sight.hidden(sources.position, self.position, self.areas)
        return hidden if hidden.any() else None

    def way(self, sources: Sources) -> field.Flags | Array | None:
        """What is between sources and positions, as `field` takes it: hidden, or how much longer the path is."""
        hidden = self._hidden(sources)
        if hidden is None or not self.over_edges:
            return hidden
        bend = barrier.bend(sources.position, self.position, self.areas, hidden)
        # The weather's factor belongs to the loss; where it is not 1 the path is some centimetres longer than so.
        return np.asarray(bend.path_difference * bend.weather)
