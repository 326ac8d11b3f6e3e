"""The sum of a show: coherent inside a programme channel, and between channels by how far these are the same.

Of channels with pressures p_c that are correlated by ρ the mean square is (1 − ρ) Σ |p_c|² + ρ |Σ p_c|²: for ρ = 0 the
energies add, for ρ = 1 the pressures. Both ends are kept, since the truth of a mix lies between them and moves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands, field
from acoustics.charts import Kept
from acoustics.field import Medium, Sources
from acoustics.scene import Scene
from acoustics.show import joined
from acoustics.venue import Area

Array = npt.NDArray[np.float64]
_Way = npt.NDArray[np.bool_] | npt.NDArray[np.float64] | None


@dataclass(frozen=True)
class Together:
    """Levels of U parts at P positions in the 29 bands [dB], NaN where nothing arrives.

    `part` (U, 29, P) of each alone; `apart` and `same` (29, P) of all with different and with the same programme in
    the channels; `hidden` (S, P): of every source; `owner` (S,): the part that it belongs to; `arrival` (U, P): the
    first arrival of each part that is not hidden [s], NaN where all is.
    """

    part: Array
    apart: Array
    same: Array
    hidden: field.Flags
    owner: npt.NDArray[np.intp]
    arrival: Array

    def level(self, correlation: float) -> Array:
        """Level of all for channels that are so correlated, 0 to 1, (29, P). [dB]"""
        return mixed(self.apart, self.same, correlation)


def mixed(apart: Array, same: Array, correlation: float) -> Array:
    """Level of channels that are correlated, 0 to 1, from those with different and with the same programme. [dB]"""
    if correlation in (0.0, 1.0):
        return same if correlation else apart
    shares = np.array([1.0 - correlation, correlation])
    with np.errstate(divide="ignore"):
        weighted = np.stack([apart, same]) + 10.0 * np.log10(shares)[:, np.newaxis, np.newaxis]
    return bands.energy_sum(weighted)


def together(
    parts: Sequence[Sources],
    channel: Sequence[int],
    position: Array,
    medium: Medium,
    areas: tuple[Area, ...],
    over_edges: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Together:
    """Sum the parts of a show.

    Parameters
    ----------
    parts : sequence of Sources
        Of each part.
    channel : sequence of int
        Programme channel of each part.
    position : ndarray, shape (P, 3)
        [m]
    medium : Medium
    areas : tuple of Area
        What hides.
    over_edges : bool
        Weaken hidden sources as behind one edge.
    progress : callable, optional
        Told the number of sums just done and of all, each over all positions.
    """
    owner = _owner(parts)
    everything = joined(parts)
    way = Scene(everything, position, medium, areas, over_edges).way(everything)
    groups, whole = _groups(owner, channel), np.ones(len(owner), dtype=bool)
    alone = [owner == part for part in range(len(parts))]
    cut = _cut(everything, way, [whole, *groups], position, medium, None)
    done: dict[bytes, Array] = {}
    wanted = _different([whole, *groups, *alone])
    for some in wanted:
        sources, hidden = _of(everything, way, some)
        done[some.tobytes()] = field.band_level(sources, position, medium, hidden, parts=cut)
        if progress is not None:
            progress(len(position), len(position) * len(wanted))
    found = [done[group.tobytes()] for group in groups]
    flags = np.zeros((len(owner), len(position)), dtype=bool) if way is None else _flags(way)
    return Together(
        part=np.array([done[some.tobytes()] for some in alone]),
        apart=found[0] if len(found) == 1 else bands.energy_sum(np.array(found)),
        same=done[whole.tobytes()],
        hidden=flags,
        owner=owner,
        arrival=_first(everything, owner, position, medium.c, flags),
    )


def level_together(
    parts: Sequence[Sources],
    channel: Sequence[int],
    scene: Scene,
    correlation: float,
    tell: Callable[[int, int], None] | None = None,
) -> Array:
    """The level that `together` gives, (29, P), and nothing else; `scene` holds positions, air, areas and tables. [dB]

    `tell` as `progress` there.
    """
    owner, everything, position = _owner(parts), joined(parts), scene.position
    way, groups = scene.way(everything), _groups(owner, channel)
    whole = np.ones(len(owner), dtype=bool)
    cut = _cut(everything, way, [whole, *groups], position, scene.medium, scene.kept)
    wanted = [*groups] if correlation == 0.0 or len(groups) == 1 else [*groups, whole]
    levels = []
    for some in wanted:
        sources, hidden = _of(everything, way, some)
        levels.append(field.band_level(sources, position, scene.medium, hidden, parts=cut, kept=scene.kept))
        if tell is not None:
            tell(len(position), len(position) * len(wanted))
    apart = bands.energy_sum(np.array(levels[: len(groups)])) if len(groups) > 1 else levels[0]
    return apart if len(wanted) == len(groups) else mixed(apart, levels[-1], correlation)


def _owner(parts: Sequence[Sources]) -> npt.NDArray[np.intp]:
    """The part that each source belongs to, (S,)."""
    return np.repeat(np.arange(len(parts)), [len(one.kind) for one in parts])


def _groups(owner: npt.NDArray[np.intp], channel: Sequence[int]) -> list[field.Flags]:
    """Sources of each channel."""
    return [np.isin(owner, [part for part, of in enumerate(channel) if of == one]) for one in sorted(set(channel))]


def _cut(
    everything: Sources, way: _Way, some: Sequence[field.Flags], position: Array, medium: Medium, kept: Kept | None
) -> npt.NDArray[np.int64]:
    """The finest cut that any of the sums needs: it serves them all, so that they can be compared."""
    cuts = [_of(everything, way, one) for one in _different(some)]
    return np.asarray(
        np.max([field.sub_bands(sources, position, medium, hidden, kept) for sources, hidden in cuts], axis=0)
    )


def _different(some: Sequence[field.Flags]) -> list[field.Flags]:
    return list({one.tobytes(): one for one in some}.values())


def _of(sources: Sources, way: _Way, some: field.Flags) -> tuple[Sources, _Way]:
    """Some of the sources, and what is between them and the positions."""
    if some.all():
        return sources, way
    return sources.only(some), None if way is None else way[some]


def _flags(way: field.Flags | Array) -> field.Flags:
    return np.asarray(way if way.dtype == bool else ~np.isnan(way), dtype=bool)


def _first(sources: Sources, owner: npt.NDArray[np.intp], position: Array, c: float, hidden: field.Flags) -> Array:
    """First arrival of each part, (U, P); NaN where all of it is hidden. [s]"""
    first = np.full((int(owner.max()) + 1, len(position)), np.nan)
    for index, (part, place) in enumerate(zip(owner, sources.position, strict=True)):
        arrival = np.linalg.norm(position - place, axis=1) / c + sources.delay[index]
        first[part] = np.fmin(first[part], np.where(hidden[index], np.nan, arrival))
    return first
