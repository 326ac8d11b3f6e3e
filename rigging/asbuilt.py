"""A hang as it was measured, and how far hooks go to bring its frame to another tilt."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import statics
from rigging.files import Document
from rigging.findings import Finding
from rigging.hang import Hang
from rigging.loads import pick_holes
from rigging.readings import FRAME, TOP, Readings
from rigging.site import Site

Array = npt.NDArray[np.float64]


def as_measured(hang: Hang, site: Site, readings: Readings, document: Document) -> tuple[Hang, Site]:
    """The hang at its measured tilt, trim and splays, and the site with its points where they were measured.

    A splay is taken where two neighbours were read, the frame being the one above row 1; where the top enclosure alone
    was read, the frame's tilt is that plus the sheet's splay. All else is as the files have it. A row that was read
    without a neighbour is judged, and moves nothing.
    """
    aims, read = readings.aims_deg, readings.splays_deg
    splays = tuple(read.get(row, splay) for row, splay in enumerate(hang.splays_deg, start=TOP))
    tilt = aims.get(FRAME, aims[TOP] + hang.splays_deg[0] if TOP in aims else hang.tilt_deg)
    x, y, trim = hang.position_m
    trim = trim if readings.trim_m is None else readings.trim_m
    inputs = {**hang.inputs, "readings": document.data}
    built = dataclasses.replace(hang, tilt_deg=tilt, splays_deg=splays, position_m=(x, y, trim), inputs=inputs)
    places = {point.name: point.position_m for point in readings.point}
    points = [one.model_copy(update={"position_m": places.get(one.name, one.position_m)}) for one in site.point]
    return built, site.model_copy(update={"point": tuple(points)})


@dataclass(frozen=True)
class HookMoves:
    """How far each hook goes, up positive, and what becomes of the trim. [m]

    `front_stays`, `rear_stays` (K,): with the foremost or the rearmost hook where it is; `trim_front_stays`,
    `trim_rear_stays`: how the front pivot line then moves.
    """

    front_stays: Array
    rear_stays: Array
    trim_front_stays: float
    trim_rear_stays: float


def hook_moves(places_m: npt.ArrayLike, tilt: float, to: float) -> HookMoves:
    """Moves of the hooks that turn a frame about one of them.

    Two holes a distance d apart along the frame change their difference of height by d (sin(β + to) − sin(β + tilt)),
    β the elevation of their line in the frame; exact for vertical chains.

    Parameters
    ----------
    places_m : array_like, shape (K, 2)
        Holes of the picks, forward and up from the front pivot line, at tilt 0. [m]
    tilt, to : float
        Elevation of the frame now and then. [rad]

    Raises
    ------
    ValueError
        If there are fewer than two places, or none is ahead of another: their heights do not set the tilt.
    """
    places = np.asarray(places_m, dtype=float).reshape(-1, 2)
    if len(places) < 2 or np.ptp(places[:, 0]) <= 0:
        raise ValueError("the tilt is not set by the heights of these picks")
    rise = statics.turned(places, to)[:, 1] - statics.turned(places, tilt)[:, 1]  # with the front pivot line in place
    front, rear = int(np.argmax(places[:, 0])), int(np.argmin(places[:, 0]))
    return HookMoves(rise - rise[front], rise - rise[rear], -float(rise[front]), -float(rise[rear]))


def moves_of(hang: Hang, to_deg: float) -> HookMoves:
    """Moves of a hang's hooks from its tilt to another [deg].

    Raises
    ------
    ValueError
        As `hook_moves`.
    """
    places = np.array([hole.place[[0, 2]] for hole in pick_holes(hang)]).reshape(-1, 2)
    return hook_moves(places, float(np.radians(hang.tilt_deg)), float(np.radians(to_deg)))


@dataclass(frozen=True)
class Changed:
    """A part that is judged otherwise as built; an empty status where it is not among the findings."""

    part: str
    what: str
    was: str
    now: str


def changed(before: Sequence[Finding], after: Sequence[Finding]) -> list[Changed]:
    """Findings whose status is not the same in two reports, in the order of the later one."""
    was = {(one.part, one.what): one.status for one in before}
    now = {(one.part, one.what): one.status for one in after}
    return [
        Changed(*key, str(was.get(key, "")), str(now.get(key, "")))
        for key in [*now, *(key for key in was if key not in now)]
        if was.get(key) != now.get(key)
    ]
