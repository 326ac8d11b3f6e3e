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
from rigging.loads import PickHole, pick_holes
from rigging.picks import Leg, Pick
from rigging.policy import Policy
from rigging.site import Point, Site
from rigging.stages import Stage
from rigging.statics import G
from rigging.suspension import Bridle, bridle, hoist_factor, hoist_weight_kg, rope_limit_kg
from rigging.tackle import Hoist, Rope, Shackle, Sling

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PickLine:
    """One pick from its hole to the roof; masses in kg, at rest unless a name says otherwise.

    `hole_kg`, `low_kg`: greatest and least load of its hole when complete; `worst_kg` the greatest over all
    stages, at `worst_stage`; `below_hook_kg` what hangs between hook and hole, `drop_m` its length. `above_hook_kg`:
    hoist and all its chain, None without a hoist. `factor`: dynamic, None where unknown. `place_m` (3,): the
    hole in the venue; `top_m` (3,): where the hoist hangs, None without a venue. `chain_m`: hook to hook when
    complete, `longest_chain_m` over all stages, None where the floor is not known. `legs_problem`: why a bridle's
    legs are not known.
    """

    name: str
    hole: PickHole
    pick: Pick
    hoist: Hoist | None
    hardware: tuple[Shackle | Sling, ...]
    factor: float | None
    low_kg: float
    hole_kg: float
    worst_kg: float
    worst_stage: str
    place_m: Array
    top_m: Array | None
    chain_m: float | None
    longest_chain_m: float | None
    legs: Bridle | None
    legs_problem: str

    @property
    def below_hook_kg(self) -> float:
        """Mass between hook and hole. [kg]"""
        return sum(item.mass_kg for item in self.hardware)

    @property
    def above_hook_kg(self) -> float | None:
        """Mass of the hoist and all its chain. [kg]"""
        return None if self.hoist is None else hoist_weight_kg(self.hoist)

    @property
    def hook_kg(self) -> float:
        """Load below the hoist's hook when complete. [kg]"""
        return self.hole_kg + self.below_hook_kg

    @property
    def worst_hook_kg(self) -> float:
        """Greatest load below the hook over all stages. [kg]"""
        return self.worst_kg + self.below_hook_kg

    @property
    def roof_kg(self) -> float | None:
        """Load at the roof when complete, where a hoist is named and the pick pulls. [kg]"""
        return _at_roof(self.hole_kg, self.hook_kg, self.above_hook_kg)

    @property
    def worst_roof_kg(self) -> float | None:
        """Greatest load at the roof over all stages. [kg]"""
        return _at_roof(self.worst_kg, self.worst_hook_kg, self.above_hook_kg)


def hardware_of(hang: Hang, catalogue: Catalogue) -> list[tuple[Shackle | Sling, ...]]:
    """What is between hook and hole of every pick."""
    return [_hardware(pick.hardware, catalogue) for pick in hang.picks]


def drops_m(hang: Hang, catalogue: Catalogue) -> list[float]:
    """Length of what is between hook and hole of every pick. [m]"""
    return [sum(item.length_m for item in items) for items in hardware_of(hang, catalogue)]


def pick_lines(
    hang: Hang, site: Site | None, stages: Sequence[Stage], policy: Policy, catalogue: Catalogue
) -> list[PickLine]:
    """The load paths of a hang's picks; without a venue what is above the hook stays open."""
    points = {point.name: point for point in site.point} if site else {}
    return [_line(hang, index, stages, policy, catalogue, points) for index in range(len(hang.picks))]


def _line(
    hang: Hang,
    index: int,
    stages: Sequence[Stage],
    policy: Policy,
    catalogue: Catalogue,
    points: Mapping[str, Point],
) -> PickLine:
    pick, hole, last = hang.picks[index], pick_holes(hang)[index], stages[-1]
    hoist = hoist_of(pick.hoist, catalogue)
    hardware = _hardware(pick.hardware, catalogue)
    high = [float(stage.balance.high[index]) / G for stage in stages]
    worst = int(np.nanargmax(high)) if np.isfinite(high).any() else -1
    place = _in_venue(hang, hole, last.balance.tilt)
    top = _top(pick, points, place)
    chain = None if top is None else float(top[2] - place[2] - sum(item.length_m for item in hardware))
    longest = None
    if top is not None and chain is not None and hang.floor_below_m is not None:
        floor = hang.floor_below_m
        longest = max(chain, *(float(top[2] - floor - stage.hook_m) for stage in stages[:-1]))
    line = PickLine(
        name=f"pick {index + 1}, {hole.name}",
        hole=hole,
        pick=pick,
        hoist=hoist,
        hardware=hardware,
        factor=hoist_factor(hoist, policy.dynamic_factor),
        low_kg=float(last.balance.low[index]) / G,
        hole_kg=high[-1],
        worst_kg=high[worst],
        worst_stage=stages[worst].name,
        place_m=place,
        top_m=top,
        chain_m=chain,
        longest_chain_m=longest,
        legs=None,
        legs_problem="",
    )
    if not pick.leg or top is None or line.worst_roof_kg is None:
        return line
    try:
        legs = bridle(line.worst_roof_kg * G, top, [points[leg.point].position_m for leg in pick.leg])
    except ValueError as error:
        return dataclasses.replace(line, legs_problem=str(error))
    return dataclasses.replace(line, legs=legs)


def pick_findings(line: PickLine, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """Hole, hardware, hoist, reach, plumb and bridle of one pick."""
    state = line.worst_stage
    limit = line.hole.limit_kg
    hole = line.hole
    yield against(line.name, "load on the hole", line.worst_kg, limit, line.factor, hole.source, hole.name, state)
    if line.pick.hardware is None:
        yield unjudged(line.name, "hardware", line.worst_hook_kg, "kg", "none is named between hook and hole")
    yield from hoist_findings(line.name, line.worst_hook_kg, line.hoist, line.hardware, line.factor, policy, state)
    if line.hoist is not None:
        yield from _reach_findings(line, line.hoist, policy)
    if line.legs is not None:
        yield from _leg_findings(line, line.legs, policy, catalogue)
    elif line.pick.leg:
        why = line.legs_problem or "its load or its points are not known"
        yield unjudged(f"{line.name}, bridle", "tension of its legs", None, "kg", why)


def hoist_findings(
    part: str,
    load_kg: float,
    hoist: Hoist | None,
    hardware: Sequence[Shackle | Sling],
    factor: float | None,
    policy: Policy,
    state: str,
) -> Iterator[Finding]:
    """Hardware and hoist that carry one load below the hook."""
    for item in hardware:
        limit = item.limit_kg and item.limit_kg * policy.marked_share
        source = _marked(item.source, policy)
        yield against(part, f"{item.KIND} {item.name}", load_kg, limit, factor, source, item.name, state)
    if hoist is None:
        yield unjudged(part, "hoist", load_kg, "kg", "the hang file names no hoist")
        return
    limit = hoist.capacity_kg and hoist.capacity_kg * policy.marked_share
    source = _marked(hoist.source, policy)
    yield against(part, "hoist, load at the hook", load_kg, limit, factor, source, hoist.name, state)


def _reach_findings(line: PickLine, hoist: Hoist, policy: Policy) -> Iterator[Finding]:
    if line.top_m is None or line.chain_m is None:
        yield unjudged(line.name, "reach of the hoist", None, "m", "no venue point is known above it")
        return
    note = f"the trim is {-line.chain_m:.2f} m too high for its point" if line.chain_m < 0 else ""
    what = "headroom, hook to hook"
    yield judged(line.name, what, line.chain_m, hoist.headroom_m, "m", hoist.source, note, least=True)
    what = "chain out, lowest hook"
    if line.longest_chain_m is None:
        yield unjudged(line.name, what, None, "m", "the hang file gives no floor_below_m")
    else:
        yield judged(line.name, what, line.longest_chain_m, hoist.chain_m, "m", hoist.source)
    apart = line.top_m - line.place_m
    if apart[2] > 0:
        aside = float(np.hypot(apart[0], apart[1]))
        note = f"hole {aside:.2f} m off plumb below its point"
        off = float(np.degrees(np.arctan2(aside, apart[2])))
        yield judged(line.name, "chain out of plumb", off, policy.plumb_deg, "°", policy.name, note)


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


def against(
    part: str, what: str, load: float, limit: float | None, factor: float | None, source: str, holder: str, state: str
) -> Finding:
    """A load at rest, times the dynamic factor, against a limit; what is missing makes it unjudged."""
    if not np.isfinite(load):
        return unjudged(part, what, None, "kg", "no balance of the picks is known", state)
    worked = load * (factor or 1.0)
    if limit is None:
        return unjudged(part, what, worked, "kg", f"{holder} gives no limit", state)
    if factor is None and worked <= limit:
        return unjudged(part, what, worked, "kg", "no dynamic factor: no hoist with class and speed", state)
    return judged(part, what, worked, limit, "kg", source, state)


def hoist_of(name: str | None, catalogue: Catalogue) -> Hoist | None:
    """The hoist of a name; None where none is named."""
    item = catalogue.items.get(name or "")
    return item if isinstance(item, Hoist) else None


def _hardware(names: Sequence[str] | None, catalogue: Catalogue) -> tuple[Shackle | Sling, ...]:
    items = (catalogue.items[name] for name in names or ())
    return tuple(item for item in items if isinstance(item, Shackle | Sling))


def _marked(source: str, policy: Policy) -> str:
    return source if policy.marked_share == 1.0 else f"{source}, × {policy.marked_share:g} ({policy.name})"


def _leg_findings(line: PickLine, legs: Bridle, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    part = f"{line.name}, bridle"
    included = float(np.degrees(legs.included))
    yield judged(part, "angle between legs", included, policy.included_angle_deg, "°", policy.name)
    largest = float(legs.tension.max()) / G
    for index, leg in enumerate(line.pick.leg):
        name = f"{part} to {leg.point}"
        angle = float(np.degrees(legs.from_horizontal[index]))
        yield judged(name, "leg from the horizontal", angle, policy.least_leg_deg, "°", policy.name, least=True)
        if legs.tension[index] <= 1e-6 * legs.tension.max():
            yield Finding(name, "leg in tension", None, None, "", EXCEEDS, "statics", "the leg would go slack")
        limit, source, holder = _leg_limit(leg, policy, catalogue)
        # The largest strand load sizes all strands (DGUV Information 215-313).
        yield against(name, "tension, largest leg", largest, limit, line.factor, source, holder, line.worst_stage)


def _leg_limit(leg: Leg, policy: Policy, catalogue: Catalogue) -> tuple[float | None, str, str]:
    item = catalogue.items[leg.rope or leg.sling or ""]
    if isinstance(item, Rope):
        limit = rope_limit_kg(item, policy.rope_design_factor)
        return limit, f"{item.source}, design factor {policy.rope_design_factor:g}", item.name
    assert isinstance(item, Sling)
    return item.limit_kg and item.limit_kg * policy.marked_share, _marked(item.source, policy), item.name


def _in_venue(hang: Hang, hole: PickHole, tilt: float) -> Array:
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


def _at_roof(hole_kg: float, hook_kg: float, above_kg: float | None) -> float | None:
    return None if above_kg is None or not hole_kg > 0 else hook_kg + above_kg
