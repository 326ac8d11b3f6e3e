"""Many columns of one hang, judged fast: what does not move is not computed again."""

from __future__ import annotations

import copy
import dataclasses
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands, charts, field, kernel, sight
from acoustics.field import Medium, Sources
from acoustics.search import moves
from acoustics.search.objective import Goal, Score, Seats, score
from acoustics.venue import Area
from rigging import geometry
from rigging.equipment import Enclosure, lower_pivot_m
from rigging.hang import Hang

Array = npt.NDArray[np.float64]
Choice = npt.NDArray[np.intp]

TRIM, TILT, SPLAYS = 0, 1, 2  # where a column, in values or as a choice, has what
# Directivity and air are held in so many parts of a band at most: against all parts that moves no figure of the
# sample hangs by 0.01 dB.
MOST_PARTS = 2


@dataclass(frozen=True)
class Space:
    """What may be chosen: trims [m], tilts [deg] and the splay of the joint above each of N rows [deg].

    A choice is a row of indices: trim, tilt, then the splays from the top.
    """

    trims_m: tuple[float, ...]
    tilts_deg: tuple[float, ...]
    splays_deg: tuple[tuple[float, ...], ...]

    @property
    def counts(self) -> Choice:
        """How many values each part of a choice may take, (2 + N,)."""
        return np.array([len(self.trims_m), len(self.tilts_deg), *map(len, self.splays_deg)])

    @property
    def size(self) -> int:
        """Number of all choices."""
        return int(np.prod([int(count) for count in self.counts], dtype=object))

    def values(self, choice: Choice) -> Array:
        """Choices as columns: trim [m], tilt and splays [deg], (..., 2 + N)."""
        listed = (self.trims_m, self.tilts_deg, *self.splays_deg)
        return np.stack([np.array(one)[choice[..., index]] for index, one in enumerate(listed)], axis=-1)

    def nearest(self, values: Array) -> Choice:
        """The choice whose every part is nearest to a column's, (2 + N,)."""
        listed = (self.trims_m, self.tilts_deg, *self.splays_deg)
        return np.array([int(np.argmin(np.abs(np.array(one) - v))) for one, v in zip(listed, values, strict=True)])


@dataclass(frozen=True)
class Setting:
    """A hang's sources, where they are heard (P, 3) [m], in what air, and what stands in the way."""

    hang: Hang
    sources: Sources
    medium: Medium
    areas: tuple[Area, ...]
    position: Array
    seats: Seats


class Columns:
    """The objective of columns (trim, tilt, splays), found by what has moved against the one last settled on.

    `work` counts evaluations in whole ones: where m of S sources moved, 1 − ((S − m)/S)² of all pairs are summed; to
    settle on a column is a whole one.
    What is hidden at a trim is taken from the file's column there, whatever the shape.
    """

    def __init__(self, of: Setting, goal: Goal, space: Space) -> None:
        self.of, self.goal, self.space, self.work = of, goal, space, 0.0
        rows = list(of.hang.enclosure_rows)[::-1]
        self._rows, self._pivots = np.array(rows), np.array([lower_pivot_m(item) for item in of.hang.items])
        kinds = [of.sources.directivities[kind] for kind in of.sources.kind[::-1]]
        items = [item for item in (of.hang.items[row] for row in rows) if isinstance(item, Enclosure)]
        self._offset = np.array(
            [np.array(item.reference_m) + kind.from_reference_m for item, kind in zip(items, kinds, strict=True)]
        )
        self._subs = _sub_bands(of, goal)
        self._charts = charts.build(of.sources.directivities, self._patches(), self._subs.middle)
        self._begin()

    def _begin(self) -> None:
        self._listeners = self._listen(self._subs)
        self._state = moves.blank(self._listeners)
        self.at = self.file_column
        self.settle(self.at)

    def in_medium(self, medium: Medium) -> Columns:
        """The same columns in other air, with the directivities that they have in this one."""
        return self._other(dataclasses.replace(self.of, medium=medium))

    def with_sources(self, sources: Sources) -> Columns:
        """The same columns from sources that differ in their drive alone."""
        return self._other(dataclasses.replace(self.of, sources=sources))

    def _other(self, of: Setting) -> Columns:
        other = copy.copy(self)
        other.of, other.work = of, 0.0
        other._begin()
        return other

    @property
    def file_column(self) -> Array:
        """The hang as its file has it: trim, tilt and splays."""
        hang = self.of.hang
        return np.array([hang.position_m[2], hang.tilt_deg, *hang.splays_deg])

    def settle(self, column: Array) -> None:
        """Take a column as what others are compared with."""
        place, axes = self._poses(column[np.newaxis])
        trim = int(self._trims(column[np.newaxis])[0])
        moves.settle(self._listeners, self._charts, self._state, place[0], axes[0], trim)
        self.at = column.copy()
        self.work += 1.0

    def levels(self, columns: Array) -> Array:
        """Levels of columns (C, 2 + N) in the goal's bands at all places, (C, B, P). [dB]"""
        place, axes = self._poses(columns)
        moved, count = self._moved(columns), len(self._rows)
        self.work += float((1.0 - ((count - moved) / count) ** 2).sum())
        trims = self._trims(columns)
        energy = moves.energies(
            self._listeners, self._charts, self._state, place, axes, trims, moved, len(bands.NOMINAL_HZ)
        )
        with np.errstate(divide="ignore"):
            return np.asarray(10.0 * np.log10(energy[:, self.goal.band] / field.P0**2))

    def scores(self, columns: Array) -> Score:
        """The objective of columns (C, 2 + N)."""
        return score(self.levels(columns), self.of.seats, self.goal)

    def _moved(self, columns: Array) -> Choice:
        """Sources that are not where the settled column has them, (C,)."""
        differs = columns != self.at
        splays = differs[:, SPLAYS:]
        first = np.where(splays.any(axis=1), splays.argmax(axis=1), splays.shape[1])
        first = np.where(differs[:, :SPLAYS].any(axis=1), 0, first)
        return np.asarray((self._rows >= first[:, np.newaxis]).sum(axis=1))

    def _trims(self, columns: Array) -> Choice:
        return np.asarray(np.argmin(np.abs(columns[:, TRIM, np.newaxis] - np.array(self.space.trims_m)), axis=1))

    def _poses(self, columns: Array) -> tuple[Array, Array]:
        """Places (C, S, 3) and axes (C, S, 3, 3) of the sources, from the bottom up."""
        position = np.tile(np.array(self.of.hang.position_m), (len(columns), 1))
        position[:, 2] = columns[:, TRIM]
        tilt, splays = np.radians(columns[:, TILT]), np.radians(columns[:, SPLAYS:])
        poses = geometry.chain(position, np.radians(self.of.hang.azimuth_deg), tilt, splays, self._pivots)
        axes = np.ascontiguousarray(poses.axes[:, self._rows])
        return poses.origin[:, self._rows] + np.einsum("si,csij->csj", self._offset, axes), axes

    def _listen(self, subs: bands.SubBands) -> moves.Listeners:
        of = self.of
        neper = of.medium.attenuation(subs.middle) * (np.log(10.0) / 20.0)
        strength, table = kernel.padded(field.strengths(of.sources, subs)[::-1], subs.edge, neper)
        pivot, trims = np.array(of.hang.position_m), np.array(self.space.trims_m)
        reach = np.hypot(*self._pivots.T).sum() + np.abs(trims - pivot[2]).max() + 3.0
        columns = np.repeat(self.file_column[np.newaxis], len(trims), axis=0)
        columns[:, TRIM] = trims
        hidden = [sight.hidden(place, of.position, of.areas) for place in self._poses(columns)[0]]
        return moves.Listeners(
            position=np.ascontiguousarray(of.position),
            reference=np.maximum(np.linalg.norm(of.position - pivot, axis=1) - reach, 0.0),
            blocked=np.array(hidden),
            kind=np.asarray(of.sources.kind[::-1], dtype=np.int64),
            strength=strength,
            delay=np.asarray(of.sources.delay[::-1], dtype=float),
            table=table,
            band=subs.band,
            share=subs.share,
            c=of.medium.c,
        )

    def _patches(self) -> Array:
        """Parts of the charts that any column of the space may look at."""
        low = min(self.space.tilts_deg) - sum(max(values) for values in self.space.splays_deg)
        high = max(self.space.tilts_deg)
        aims = np.radians(np.arange(max(low, -180.0) - 2.0, high + 4.0, 2.0))
        axes = geometry.item_axes(np.radians(self.of.hang.azimuth_deg), aims)
        (x, y, _), length = self.of.hang.position_m, float(np.abs(self._pivots).sum())
        heights = np.arange(min(self.space.trims_m) - length, max(self.space.trims_m) + 0.5, 0.5)
        place = np.repeat([[x, y, height] for height in heights], len(aims), axis=0)
        kind = np.zeros(len(place), dtype=np.int64)
        found = kernel.patches(place, np.tile(axes, (len(heights), 1, 1)), kind, 1, self.of.position)
        return np.repeat(found, len(self.of.sources.directivities), axis=0)


def _sub_bands(of: Setting, goal: Goal) -> bands.SubBands:
    parts = np.minimum(field.sub_bands(of.sources, of.position, of.medium), MOST_PARTS)
    parts[: goal.band.min()] = 0
    parts[goal.band.max() + 1 :] = 0
    return bands.cut(parts)
