"""From a hang, a venue and what is wanted to a search: space, seats, goal, starts."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands
from acoustics.listening import section_line
from acoustics.search import warm
from acoustics.search.columns import Choice, Columns, Setting, Space
from acoustics.search.objective import Goal, Seats
from acoustics.search.seats import Wish, coarse, seats_of
from acoustics.search.settings import FIRST_HZ, LAST_HZ, TILT_RANGE_DEG, Wanted
from acoustics.sources import medium, sources_of
from acoustics.venue import Area, Venue
from rigging.equipment import Catalogue, allowed_splays, lower_pivot_m
from rigging.geometry import lay_out
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

_DB_PER_BETA = 20.0 * np.log10(2.0)  # a fall of 6.02 dB with each doubling is β = 1


@dataclass(frozen=True)
class Problem:
    """A search to be done: its columns, where it starts (the law first), and the wish behind it."""

    columns: Columns
    starts: tuple[Choice, ...]
    wish: Wish

    @property
    def free(self) -> int:
        """Parts of a choice that are free."""
        return int((self.columns.space.counts > 1).sum())

    def everywhere(self, position: Array, area: npt.NDArray[np.str_], seat_weight: Array) -> Seats:
        """Seats of the objective for the positions of a prediction: places (P, 3) [m], area names, weights."""
        of = self.columns.of
        return seats_at(position, area, seat_weight, of.hang, of.areas, self.wish)


def seats_at(
    position: Array,
    area: npt.NDArray[np.str_],
    seat_weight: Array,
    hang: Hang,
    areas: Sequence[Area],
    wish: Wish,
) -> Seats:
    """Seats of the objective for places (P, 3) [m] with the names of their areas (P,) and their weights (P,)."""
    named = {each.name: each for each in areas}
    mine = {each.name for each, serves in zip(areas, served(hang, areas), strict=True) if serves}
    origin = np.array(hang.position_m)
    return seats_of(position, seat_weight, [named[str(name)] for name in area], mine, origin, wish)


def pose(hang: Hang, venue: Venue, catalogue: Catalogue, wanted: Wanted) -> Problem:
    """Set up the search for a hang in a venue.

    Raises
    ------
    FileFaults
        If an enclosure's acoustic part is at fault.
    """
    through = medium(venue.air)
    sources = sources_of(hang, lay_out(hang), catalogue, through.c)
    areas = tuple(venue.area)
    mine = [area for area, serves in zip(areas, served(hang, areas), strict=True) if serves]
    wish = Wish(wanted.fall_db, wanted.fall_of_db, wanted.front_m, wanted.front_weight)
    position, seats = coarse(areas, mine, np.array(hang.position_m), wish)
    goal, space = goal_of(wanted, sources.level_1m_db()), space_of(hang, wanted)
    columns = Columns(Setting(hang, sources, through, areas, position, seats), goal, space)
    starts = _starts(hang, venue, wanted, space)
    law = columns.scores(space.values(starts[0])[np.newaxis])
    columns.goal = dataclasses.replace(goal, reference_db=float(law.mean_a[0]))
    return Problem(columns, (*starts, space.nearest(columns.file_column)), wish)


def served(hang: Hang, areas: Sequence[Area]) -> list[bool]:
    """Which areas a hang serves."""
    return [area.role == "audience" and (hang.serves is None or area.name in hang.serves) for area in areas]


def space_of(hang: Hang, wanted: Wanted) -> Space:
    """What may be chosen: allowed splays where a joint is not fixed, tilts and trims on their steps."""
    above = [hang.frame, *hang.items[:-1]]
    splays = []
    for upper, lower, splay, fixed in zip(above, hang.items, hang.splays_deg, hang.fixed, strict=True):
        allowed = allowed_splays(upper, lower) or ()
        listed = tuple(one for one in allowed if wanted.splays_deg is None or one in wanted.splays_deg)
        splays.append((splay,) if fixed or not listed else listed)
    low, high = wanted.tilt_deg or (hang.tilt_deg - TILT_RANGE_DEG, hang.tilt_deg + TILT_RANGE_DEG)
    tilts = _steps(low, high, wanted.tilt_step_deg, hang.tilt_deg)
    trims: tuple[float, ...] = (hang.position_m[2],)
    if wanted.trim_m is not None:
        trims = _steps(*wanted.trim_m, wanted.trim_step_m, hang.position_m[2])
    return Space(trims, tilts, tuple(splays))


def goal_of(wanted: Wanted, level_db: Array) -> Goal:
    """Bands that count and their weights; bands that no source is used in do not."""
    used: npt.NDArray[np.bool_] = np.any(np.isfinite(level_db), axis=0)
    band, weight = [], []
    for index, hz in enumerate(bands.NOMINAL_HZ):
        octave = next((o for o in bands.OCTAVES_HZ if index in range(*bands.octave_bands(o).indices(29))), None)
        asked = 0.0 if octave is None else wanted.band_weights.get(f"{octave:g}", 1.0)
        if FIRST_HZ <= hz <= LAST_HZ and used[index] and asked > 0:
            band.append(index)
            weight.append(asked)
    return Goal(
        np.array(band, dtype=np.intp), np.array(weight) / sum(weight), np.nan, wanted.level_weight, wanted.quiet_weight
    )


def target_of(wanted: Wanted, goal: Goal) -> Array:
    """The wished spectrum in the goal's bands: between the octaves that are named along log frequency. [dB]"""
    named = sorted((float(hz), level) for hz, level in wanted.target_db.items()) or [(1000.0, 0.0)]
    middle = np.log(bands.midbands()[goal.band])
    return np.interp(middle, np.log([hz for hz, _ in named]), [level for _, level in named])


def _starts(hang: Hang, venue: Venue, wanted: Wanted, space: Space) -> list[Choice]:
    azimuth = float(np.radians(hang.azimuth_deg))
    areas = [area for area, mine in zip(venue.area, served(hang, venue.area), strict=True) if mine]
    ears = np.concatenate([section_line(area, hang.position_m, azimuth) for area in areas])
    if not len(ears):
        ears = np.concatenate([area.corners + np.array([0.0, 0.0, area.ear_height_m]) for area in areas])
    apart = ears[:, :2] - np.array(hang.position_m[:2])
    profile = warm.Profile(apart[:, 0] * np.cos(azimuth) + apart[:, 1] * np.sin(azimuth), ears[:, 2])
    pitches = [float(np.hypot(*lower_pivot_m(item))) for item in hang.items]
    beta = float(np.clip(wanted.fall_db / _DB_PER_BETA, 0.0, 0.95))
    return warm.starts(profile, pitches, space, beta, hang.position_m[2])


def _steps(low: float, high: float, step: float, through: float) -> tuple[float, ...]:
    """Values from low to high, a step apart, one of which is the file's where it lies between."""
    start = through if low <= through <= high else low
    down, up = int(np.floor((start - low) / step + 1e-9)), int(np.floor((high - start) / step + 1e-9))
    return tuple(round(start + index * step, 9) for index in range(-down, up + 1))
