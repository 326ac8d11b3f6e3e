"""The load path of every pick, from hole to roof, and the rules that it is judged by."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import geometry
from rigging.equipment import Catalogue
from rigging.findings import CANNOT, EXCEEDS, Finding, Status, judged, unjudged
from rigging.hang import Hang
from rigging.legs import LegLoads, leg_findings, leg_loads
from rigging.loads import PickHole, pick_holes
from rigging.picks import Pick
from rigging.piece import Piece, length_of, mass_of, pieces_of
from rigging.policy import Policy
from rigging.site import Point, Site
from rigging.stages import Stage
from rigging.statics import G
from rigging.strength import against, hoist_finding, hoist_of, only_exceeds, piece_findings
from rigging.suspension import Bridle, bridle, hoist_factor, hoist_weight_kg
from rigging.tackle import Hoist

Array = npt.NDArray[np.float64]

# A chain that leans by less hangs plumb. [rad]
_PLUMB = 1e-6
NOT_BELOW = "what is between hook and hole is not named, and not in this"
NOT_ABOVE = "what is between hoist and point is not named, and not in this"
NO_HOIST = "no hoist is named: it is not in this"


@dataclass(frozen=True)
class PickLine:
    """One pick from its hole to the roof; masses in kg, at rest unless a name says otherwise.

    `hole_kg`, `low_kg`: greatest and least load of its hole when complete; `worst_kg` the greatest over all stages, at
    `worst_stage`; `load_gap` why it is not known at some stage, or does not hold there, else empty. `aside_kg` (2,):
    what a leaning chain pulls its point sideways when complete, (x, y). `hardware`, `top_hardware`: below its
    hoist and above. `factor`: dynamic, None where unknown. `place_m` (3,): the hole in the venue; `top_m` (3,): its
    point or its bridle's apex, None without a venue. `chain_m`: hook to hook when complete, `longest_chain_m` over
    all stages, None where the floor is not known. `leg_loads`: a bridle's; `legs_problem`: why they are not known.
    `leans`: the loads are along a chain that `aside_kg` leans.
    """

    name: str
    hole: PickHole
    pick: Pick
    hoist: Hoist | None
    hardware: tuple[Piece, ...]
    top_hardware: tuple[Piece, ...]
    factor: float | None
    low_kg: float
    hole_kg: float
    worst_kg: float
    worst_stage: str
    load_gap: str
    aside_kg: Array
    place_m: Array
    top_m: Array | None
    chain_m: float | None
    longest_chain_m: float | None
    leg_loads: LegLoads | None
    legs_problem: str
    leans: bool = False

    @property
    def legs(self) -> Bridle | None:
        """The balance of its bridle, where it has one and that is known."""
        return None if self.leg_loads is None else self.leg_loads.held

    @property
    def below_hook_kg(self) -> float:
        """Mass between hook and hole. [kg]"""
        return mass_of(self.hardware)

    @property
    def above_hook_kg(self) -> float | None:
        """Mass of the hoist, all its chain and what it hangs from. [kg]"""
        return None if self.hoist is None else hoist_weight_kg(self.hoist) + mass_of(self.top_hardware)

    @property
    def hook_kg(self) -> float | None:
        """Load below the hoist's hook when complete, None where the pick pushes. [kg]"""
        return None if self.hole_kg < 0 else self.hole_kg + self.below_hook_kg

    @property
    def worst_hook_kg(self) -> float:
        """Greatest load below the hook over all stages. [kg]"""
        return self.worst_kg + self.below_hook_kg

    @property
    def roof_kg(self) -> float | None:
        """Load at the roof when complete, where a hoist is named and the pick does not push. [kg]"""
        return _at_roof(self.hole_kg, self.below_hook_kg, self.above_hook_kg)

    @property
    def worst_roof_kg(self) -> float | None:
        """Greatest load at the roof over all stages. [kg]"""
        return _at_roof(self.worst_kg, self.below_hook_kg, self.above_hook_kg)

    @property
    def least_roof_kg(self) -> float:
        """What of the greatest load at the roof is known, a hoist that is not named left out; NaN if it pushes. [kg]"""
        above = mass_of(self.top_hardware) if self.above_hook_kg is None else self.above_hook_kg
        return self.worst_hook_kg + above if self.worst_kg >= 0 else np.nan

    @property
    def roof_plumb_kg(self) -> float:
        """The plumb part of the greatest load at the roof; NaN if it pushes. [kg]"""
        if not self.leans:
            return self.least_roof_kg
        plumb = float(np.sqrt(max(self.worst_kg**2 - float(self.aside_kg @ self.aside_kg), 0.0)))
        return self.least_roof_kg - self.worst_kg + plumb

    @property
    def hook_gap(self) -> str:
        """What is left out of the load at the hook; empty where nothing is."""
        return _joined(self.load_gap, "" if self.pick.hardware is not None else NOT_BELOW)

    @property
    def roof_gap(self) -> str:
        """What is left out of the load at the roof; empty where nothing is."""
        above = "" if self.pick.top_hardware is not None else NOT_ABOVE
        return _joined(self.hook_gap, above, "" if self.hoist is not None else NO_HOIST)


def off_plumb_deg(top_m: Array, place_m: Array) -> float:
    """Angle of a chain from plumb, from a hole to what it hangs from. [deg]"""
    apart = top_m - place_m
    return float(np.degrees(np.arctan2(np.hypot(apart[0], apart[1]), apart[2])))


def drops_m(hang: Hang, catalogue: Catalogue) -> list[float]:
    """Length of what is between hook and hole of every pick. [m]"""
    return [length_of(pieces_of(pick.hardware, catalogue)) for pick in hang.picks]


def pick_lines(
    hang: Hang, site: Site | None, stages: Sequence[Stage], policy: Policy, catalogue: Catalogue
) -> list[PickLine]:
    """The load paths of a hang's picks; without a venue what is above the hook stays open."""
    return [_line(hang, index, stages, policy, catalogue, site) for index in range(len(hang.picks))]


def _line(
    hang: Hang,
    index: int,
    stages: Sequence[Stage],
    policy: Policy,
    catalogue: Catalogue,
    site: Site | None,
) -> PickLine:
    pick, hole, last = hang.picks[index], pick_holes(hang)[index], stages[-1].balance
    azimuth = np.radians(hang.azimuth_deg)
    hoist = hoist_of(pick.hoist, catalogue)
    hardware, above = pieces_of(pick.hardware, catalogue), pieces_of(pick.top_hardware, catalogue)
    high = [float(stage.balance.high[index]) / G for stage in stages]
    worst = int(np.nanargmax(high)) if np.isfinite(high).any() else -1
    place = hole_in_venue(hang, hole, last.tilt)
    top = _top(pick, _points(site), place)
    chain, longest = _chains(hang, stages, place, top, length_of(hardware), length_of(above))
    line = PickLine(
        name=f"pick {index + 1}, {hole.name}",
        hole=hole,
        pick=pick,
        hoist=hoist,
        hardware=hardware,
        top_hardware=above,
        factor=hoist_factor(hoist, policy.dynamic_factor),
        low_kg=float(last.low[index]) / G,
        hole_kg=high[-1],
        worst_kg=high[worst],
        worst_stage=stages[worst].name,
        load_gap=_joined(*(f"{stage.balance.problem} ({stage.name})" for stage in stages if stage.balance.problem)),
        aside_kg=-high[-1] * np.sin(last.lean) * np.array([np.cos(azimuth), np.sin(azimuth)]),
        place_m=place,
        top_m=top,
        chain_m=chain,
        longest_chain_m=longest,
        leg_loads=None,
        legs_problem="",
    )
    if np.any(np.abs(line.aside_kg) > _PLUMB * abs(line.hole_kg)):
        return dataclasses.replace(line, legs_problem="the chain leans: how the legs share that is not worked out")
    return on_legs(line, site, catalogue)


def on_legs(line: PickLine, site: Site | None, catalogue: Catalogue) -> PickLine:
    """A load path with the balance of its bridle, where it has one, or why that is not known."""
    if not line.pick.leg or line.top_m is None or line.worst_roof_kg is None:
        return line
    points = _points(site)
    anchors = [points[leg.point].position_m for leg in line.pick.leg]
    try:
        held = bridle(line.roof_plumb_kg * G, line.top_m, anchors, line.aside_kg * G)
    except ValueError as error:
        return dataclasses.replace(line, legs_problem=str(error))
    return dataclasses.replace(line, leg_loads=leg_loads(line.pick.leg, held, catalogue))


def _points(site: Site | None) -> dict[str, Point]:
    return {point.name: point for point in site.point} if site else {}


def _chains(
    hang: Hang, stages: Sequence[Stage], place: Array, top: Array | None, below_m: float, above_m: float
) -> tuple[float | None, float | None]:
    """Hook to hook when complete, and the longest over all stages. [m]"""
    if top is None:
        return None, None
    hangs_at = float(top[2]) - above_m
    chain = hangs_at - float(place[2]) - below_m
    if hang.floor_below_m is None:
        return chain, None
    floor = hang.floor_below_m
    return chain, max(chain, *(float(hangs_at - floor - stage.hook_m) for stage in stages[:-1]))


def pick_findings(line: PickLine, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """Hole, hardware, hoist, reach, plumb and bridle of one pick."""
    yield from load_findings(line, policy, catalogue)
    if line.hoist is not None:
        yield from _reach_findings(line, line.hoist, policy)


def load_findings(line: PickLine, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """What its load does to hole, hardware, hoist and bridle of one pick."""
    state, hole, name = line.worst_stage, line.hole, line.name
    what, gap = "load on the hole", line.load_gap
    yield against(name, what, line.worst_kg, hole.limit_kg, line.factor, hole.source, hole.name, state, gap)
    load = line.worst_hook_kg
    if line.pick.hardware is None:
        yield unjudged(name, "hardware", _known(load), "kg", "none is named between hook and hole")
    yield from piece_findings(name, load, line.hardware, line.factor, policy, state, gap)
    yield hoist_finding(name, load, line.hoist, line.factor, policy, state, line.hook_gap)
    yield from _top_findings(line, policy)
    if line.leg_loads is not None:
        part, gap = f"{name}, bridle", line.roof_gap
        if line.top_m is not None and off_plumb_deg(line.top_m, line.place_m) > policy.plumb_deg:
            gap = _joined(gap, "the hole is not plumb below the apex as drawn")
        yield from leg_findings(part, line.leg_loads, line.factor, policy, catalogue, state, gap)
    elif line.pick.leg:
        why = line.legs_problem or line.load_gap or "its load or its points are not known"
        yield unjudged(f"{name}, bridle", "tension of its legs", None, "kg", why)


def _top_findings(line: PickLine, policy: Policy) -> Iterator[Finding]:
    """What is between hoist and point, or at the apex, carries the load at the roof."""
    place = "apex" if line.pick.leg else "point"
    load = line.least_roof_kg
    if line.pick.top_hardware is None:
        what = "hardware at the apex" if line.pick.leg else "hardware between hoist and point"
        yield unjudged(line.name, what, _known(load), "kg", "none is named: top_hardware; [] if there is none")
    part, state = f"{line.name}, at the {place}", line.worst_stage
    yield from piece_findings(part, load, line.top_hardware, line.factor, policy, state, line.roof_gap)


def _known(load: float) -> float | None:
    return load if np.isfinite(load) else None


def _joined(*parts: str) -> str:
    return "; ".join(dict.fromkeys(part for part in parts if part))


def _reach_findings(line: PickLine, hoist: Hoist, policy: Policy) -> Iterator[Finding]:
    if line.top_m is None or line.chain_m is None:
        yield unjudged(line.name, "reach of the hoist", None, "m", "no venue point is known above it")
        return
    note = f"the trim is {-line.chain_m:.2f} m too high for its point" if line.chain_m < 0 else ""
    what = "headroom, hook to hook"
    headroom = judged(line.name, what, line.chain_m, hoist.headroom_m, "m", hoist.source, note, least=True)
    unnamed = line.pick.hardware is None or line.pick.top_hardware is None
    missing = "hardware that is not named takes up headroom too" if unnamed else ""
    yield only_exceeds(headroom, _joined(line.load_gap, missing))
    what = "chain out, lowest hook"
    if line.longest_chain_m is None:
        yield unjudged(line.name, what, None, "m", "the hang file gives no floor_below_m")
    else:
        longest = judged(line.name, what, line.longest_chain_m, hoist.chain_m, "m", hoist.source)
        yield only_exceeds(longest, line.load_gap)
    apart = line.top_m - line.place_m
    if apart[2] > 0:
        note = f"hole {float(np.hypot(apart[0], apart[1])):.2f} m off plumb below its point"
        off = off_plumb_deg(line.top_m, line.place_m)
        plumb = judged(line.name, "chain out of plumb", off, policy.plumb_deg, "°", policy.name, note)
        yield only_exceeds(plumb, line.load_gap)


def share_findings(hang: Hang, stages: Sequence[Stage], policy: Policy) -> Iterator[Finding]:
    """Whether a balance exists at every stage, and whether each of several picks carries its least share."""
    if not hang.picks:
        yield unjudged("picks", "loads of the picks", None, "kg", "the hang file names no picks: [[pick]]")
        return
    for stage in stages:
        if stage.balance.problem:
            status: Status = EXCEEDS if stage.balance.known else CANNOT
            note = f"{stage.balance.problem}; {stage.name}"
            yield Finding("balance", "picks in balance", None, None, "", status, "statics", note)
    last = stages[-1]
    if len(hang.picks) > 1 and not last.balance.problem and hang.pullback is None:
        # While it is built the frame is only brought as far as the least share allows.
        share = float(last.balance.low.min() / (last.column.mass_kg * G))
        what = "least share of the weight on a pick"
        if last.balance.indeterminate:
            why = "statics leaves it open, four picks or three in line: weigh each"
            yield unjudged("balance", what, share, "", why, last.name)
            return
        yield judged("balance", what, share, policy.least_pick_share, "", policy.name, last.name, least=True)


def hole_in_venue(hang: Hang, hole: PickHole, tilt: float) -> Array:
    """A hole in venue axes at a tilt [rad]; the frame reference stays at the hang's position. [m]"""
    azimuth = float(np.radians(hang.azimuth_deg))
    axes = geometry.item_axes(azimuth, tilt)
    return np.asarray(np.array(hang.position_m) + hole.place @ axes)


def _top(pick: Pick, points: Mapping[str, Point], place: Array) -> Array | None:
    """Where a pick's hoist hangs: its point, or its bridle's apex, above the hole or as near as two legs allow. [m]"""
    if pick.point is not None:
        return np.array(points[pick.point].position_m) if pick.point in points else None
    anchors = [np.array(points[leg.point].position_m) for leg in pick.leg if leg.point in points]
    if not anchors or pick.apex_m is None or len(anchors) < len(pick.leg):
        return None
    apex = place[:2]
    if len(anchors) == 2:
        line = anchors[1][:2] - anchors[0][:2]
        span = float(line @ line)
        share = float((apex - anchors[0][:2]) @ line) / span if span > 0 else 0.0
        apex = anchors[0][:2] + line * share
    return np.array([*apex, pick.apex_m])


def _at_roof(hole_kg: float, below_kg: float, above_kg: float | None) -> float | None:
    return None if above_kg is None or not hole_kg >= 0 else hole_kg + below_kg + above_kg
