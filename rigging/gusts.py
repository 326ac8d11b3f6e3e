"""What a gust does to a complete column: the pull on every pick, joints, load paths and points, from four ways.

The drag of every item acts at the middle of its face; the column is at rest, so that no dynamic factor holds. The
chains lean with what the gust pushes; a column that its picks leave free to turn turns until its own moment
balances the gust's.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import statics
from rigging.column import beyond_half, joint_findings, side_moment
from rigging.equipment import Catalogue
from rigging.findings import Finding
from rigging.hang import Hang
from rigging.lifting import PickLine, on_legs
from rigging.loads import pick_holes
from rigging.policy import Policy
from rigging.site import Site
from rigging.stages import Stage
from rigging.statics import G, Joints, turned
from rigging.wind import (
    APART_M,
    EXTENTS,
    MANY,
    NO_GUST,
    PULLED,
    Face,
    face_of,
    picks_in_wind,
    roll_in_wind,
    turn_in_wind,
    wind_force,
)

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Gust:
    """A gust on a complete column from one of four ways.

    `name`: for the notes. `way`: 0 along the azimuth, 1 across it. `pulls` (K, 3): of the column on its picks, forward,
    left and up [N]. `tilt`, `roll`: at which it then hangs [rad]. `drag` (1 + N,) on the frame and every row, positive
    forward or to the left [N], at `place` (1 + N, 2), forward and up from the frame reference, so hanging [m].
    `problem`: why nothing of this is known, empty where it is.
    """

    name: str
    way: int
    pulls: Array
    tilt: float
    roll: float
    drag: Array
    place: Array
    problem: str

    @property
    def loads_kg(self) -> Array:
        """Along the chains, negative where one would have to push, (K,). [kg]"""
        return np.asarray(np.linalg.norm(self.pulls, axis=1) * np.sign(-self.pulls[:, 2])) / G


def gusts_on(hang: Hang, site: Site | None, last: Stage, policy: Policy) -> list[Gust]:
    """The gusts that a complete column is judged in; none indoors, where no venue says so, and without picks."""
    if site is None or not site.open_air or not hang.picks:
        return []
    unknown = last.balance.problem or ("" if hang.pullback is None else PULLED) or (MANY if len(hang.picks) > 2 else "")
    if site.gust_m_s is None:
        return [_unknown(hang, last, "complete", unknown or NO_GUST)]
    words = f"complete, gust {site.gust_m_s:g} m/s"
    if unknown:
        return [_unknown(hang, last, words, unknown)]
    ends = (("rear", "front"), ("right", "left"))
    found = []
    for way, extent in enumerate(EXTENTS):
        face = face_of(hang, last.balance.tilt, extent)
        drag = wind_force(site.gust_m_s, face.area_m2, policy.drag)
        names = [f"{words} from the {end}" for end in ends[way]]
        found += [
            _gust(hang, last, way, face, sign * drag, name) for sign, name in zip((1.0, -1.0), names, strict=True)
        ]
    return found


def _unknown(hang: Hang, last: Stage, name: str, why: str) -> Gust:
    nowhere, none = np.full((len(hang.picks), 3), np.nan), np.zeros((0, 2))
    return Gust(name, 0, nowhere, last.balance.tilt, last.balance.roll, none[:, 0], none, why)


def _gust(hang: Hang, last: Stage, way: int, face: Face, drag: Array, name: str) -> Gust:
    column, balance = last.column, last.balance
    places = np.array([hole.place for hole in pick_holes(hang)])
    picks = turned(places[:, [0, 2]], balance.tilt)
    weight, force = column.mass_kg * G, float(drag.sum())
    centre = turned(column.balance[[0, 2]], balance.tilt)
    along, middle = ((picks[:, 0], centre[0]), (places[:, 1], float(column.balance[1])))[way]
    tilt, roll = balance.tilt, balance.roll
    if np.ptp(along) >= APART_M:
        heights = np.column_stack([along, picks[:, 1]])
        loads = picks_in_wind(weight, force, (middle, centre[1]), (middle, face.middle[1]), heights)
        lean = np.arctan2(force, weight)
        plumb, aside = loads * np.cos(lean), loads * np.sin(lean)
    else:
        # Across the line of the picks each chain leans with the drag that it holds.
        plumb = balance.high
        aside = force * _shares(*((0.0, places[:, 1]), (face.middle[0], picks[:, 0]))[way])
        if way == 0:
            tilt += turn_in_wind(centre, face.middle, picks[0], weight, force)
        else:
            roll = roll_in_wind(column, centre, face, places[:, 1], picks, force)
    pulls = np.zeros((len(places), 3))
    pulls[:, way], pulls[:, 2] = aside, -plumb
    return Gust(name, way, pulls, tilt, roll, drag, turned(face.place, tilt - balance.tilt), "")


def _shares(at: float, picks: Array) -> Array:
    """Shares of a sideways force among one or two picks, by its place between them."""
    if len(picks) == 1 or np.ptp(picks) < APART_M:
        return np.full(len(picks), 1.0 / len(picks))
    first = (at - picks[1]) / (picks[0] - picks[1])
    return np.array([first, 1.0 - first])


def joints_in(hang: Hang, last: Stage, gust: Gust) -> tuple[Joints, Array]:
    """Joint forces of the complete column in a gust, and what one side gets beyond half. [N]

    From the side, weight and drag below a joint pull along the rolled column; the moment that is left about its
    forward axis either pair of the joint's sides may carry, as `side_beyond` has it, that about its upright one the
    pins, whose force `pivot` is greater by it.
    """
    column = last.column
    parts = (column.pivot, column.upper_hole, column.lower_hole, column.up, column.centre[1:, [0, 2]])
    pivot, upper, lower, up, centre = (turned(part, gust.tilt) for part in parts)
    mass, drag = column.mass[1:], gust.drag[1:]
    weight, force = _below(mass * G), _below(drag)
    at = _below(drag[:, np.newaxis] * gust.place[1:]) / force[:, np.newaxis]
    cos, sin = np.cos(gust.roll), np.sin(gust.roll)
    extra = np.column_stack([force, np.zeros_like(force)]) * (1.0 - gust.way)
    extra[:, 1] -= force * sin * gust.way
    joints = statics.joint_forces(pivot, upper, lower, up, mass * (cos if gust.way else 1.0), centre, extra, at)
    across = side_moment(column, gust.tilt, gust.roll)
    if gust.way == 0:
        return joints, beyond_half(hang, np.abs(across) / weight, weight)
    across = across + force * (at[:, 1] - pivot[:, 1]) * cos
    beyond = beyond_half(hang, np.abs(across) / weight, weight)
    if len(gust.pulls) == 1:
        return joints, beyond  # one chain holds nothing that turns the column about its upright axis
    # The links pull along themselves: what turns the part below about its upright axis only the pins hold.
    about = 2.0 * beyond_half(hang, np.abs(force * cos * (at[:, 0] - pivot[:, 0])) / weight, weight)
    size = np.maximum(np.linalg.norm(joints.pivot, axis=1), 1e-9)
    return dataclasses.replace(joints, pivot=joints.pivot * (1.0 + about / size)[:, np.newaxis]), beyond


def _below(values: Array) -> Array:
    """Sums over every row and those below it."""
    return np.asarray(np.cumsum(values[::-1], axis=0)[::-1])


def gust_joint_findings(hang: Hang, last: Stage, gusts: Sequence[Gust]) -> Iterator[Finding]:
    """Links, pins and locks of all joints in every gust."""
    for gust in gusts:
        if gust.problem:
            nowhere = np.full(len(hang.items), np.nan)
            none = Joints(nowhere, np.column_stack([nowhere, nowhere]), nowhere, nowhere, nowhere)
            yield from joint_findings(hang, none, nowhere, 1.0, gust.name, gust.problem)
            continue
        joints, beyond = joints_in(hang, last, gust)
        yield from joint_findings(hang, joints, beyond, 1.0, gust.name)


def lines_in(hang: Hang, lines: Sequence[PickLine], gust: Gust, site: Site, catalogue: Catalogue) -> list[PickLine]:
    """The load paths in a gust: at rest, with no dynamic factor, their chains leaning."""
    return [_line_in(hang, line, index, gust, site, catalogue) for index, line in enumerate(lines)]


def _line_in(hang: Hang, line: PickLine, index: int, gust: Gust, site: Site, catalogue: Catalogue) -> PickLine:
    if gust.problem:
        gap = "; ".join(part for part in (line.load_gap, gust.problem) if part)
        return dataclasses.replace(line, factor=1.0, worst_stage=gust.name, load_gap=gap)
    load, azimuth = float(gust.loads_kg[index]), np.radians(hang.azimuth_deg)
    forward, left = gust.pulls[index, :2] / G
    axes = np.array([[np.cos(azimuth), np.sin(azimuth)], [-np.sin(azimuth), np.cos(azimuth)]])
    aside = np.array([forward, left]) @ axes
    blown = dataclasses.replace(
        line, factor=1.0, low_kg=load, hole_kg=load, worst_kg=load, worst_stage=gust.name, aside_kg=aside, leans=True
    )
    return on_legs(blown, site, catalogue)
