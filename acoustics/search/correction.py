"""The tilt that brings a hang, as it was built, nearest to the field of its design."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics.changes import rms_difference
from acoustics.search.columns import Columns, Setting, Space
from acoustics.search.objective import Goal, Seats
from acoustics.sources import medium, sources_of
from acoustics.venue import Venue
from rigging.equipment import Catalogue
from rigging.geometry import lay_out
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

STEP_DEG = 0.05  # finer than a frame can be read or set
BEYOND_DEG = 2.0  # how far past design and measured tilt is looked
_AT_ONCE = 16  # tilts; of some thousand seats this stays below 10 MB


@dataclass(frozen=True)
class Fields:
    """A hang as designed and as built, each in its air (that of its venue), heard at `position` (P, 3) [m]."""

    design: Hang
    built: Hang
    then: Venue
    now: Venue
    catalogue: Catalogue
    position: Array
    seats: Seats
    goal: Goal


def tilts_to_try(design_deg: float, built_deg: float, reach_deg: tuple[float, float]) -> Array:
    """Tilts in steps from the measured one, past it and the design's by 2° to both sides, within reach. [deg]"""
    span = abs(design_deg - built_deg) + BEYOND_DEG
    count = int(np.floor(span / STEP_DEG + 1e-9))
    tilts = built_deg + STEP_DEG * np.arange(-count, count + 1)
    low, high = reach_deg
    return np.asarray(tilts[(tilts >= low - 1e-9) & (tilts <= high + 1e-9)])


def off_design(of: Fields, tilts_deg: Array) -> Array:
    """RMS difference to the design's field of the hang as built, at each tilt (T,) in place of its own. [dB]

    Bands and seats are those of J; both fields are summed over the same parts of the bands, so that no difference
    comes from how they are cut. Its trim stays that of the front pivot line.

    Raises
    ------
    FileFaults
        If an enclosure's acoustic part is at fault.
    """
    design, built = (np.array([h.position_m[2], h.tilt_deg, *h.splays_deg]) for h in (of.design, of.built))
    wished = np.repeat(built[np.newaxis], len(tilts_deg), axis=0)
    wished[:, 1] = tilts_deg
    pairs = zip(of.design.splays_deg, of.built.splays_deg, strict=True)
    tilts = sorted({design[1], built[1], *map(float, tilts_deg)})
    space = Space(tuple(sorted({design[0], built[0]})), tuple(tilts), tuple(tuple(sorted({*pair})) for pair in pairs))
    through = medium(of.then.air)
    sources = sources_of(of.design, lay_out(of.design), of.catalogue, through.c)
    setting = Setting(of.design, sources, through, tuple(of.then.area), of.position, of.seats)
    then = Columns(setting, of.goal, space)
    reference = then.levels(design[np.newaxis])[0]
    now = then if of.now.air == of.then.air else then.in_medium(medium(of.now.air))
    parts = [
        rms_difference(now.levels(some), reference, of.seats.weight, of.goal.band_weight)
        for some in np.array_split(wished, -(-len(wished) // _AT_ONCE))
    ]
    return np.concatenate(parts)


def nearest_that(keeps: Callable[[float], bool], tilts_deg: Array, rms_db: Array) -> int | None:
    """Index of the tilt of least difference that keeps what it must; None where none does."""
    ranked = (int(index) for index in np.argsort(rms_db, kind="stable"))
    return next((index for index in ranked if np.isfinite(rms_db[index]) and keeps(float(tilts_deg[index]))), None)
