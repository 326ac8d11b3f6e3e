"""The load path of every pick, from hole to roof, and the rules that it is judged by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import geometry
from rigging.equipment import Catalogue
from rigging.findings import EXCEEDS, Finding, judged, unjudged
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
    stages, at `worst_stage`; `below_hook_kg` what hangs between hook and hole. `roof_kg` is for the complete
    column, `worst_roof_kg` over all stages. `factor`: dynamic, None where unknown. `place_m` (3,): the hole
    in the venue; `top_m` (3,): where the hoist hangs, None without a venue. `chain_m`: hook to hook when
    complete, `longest_chain_m` over all stages.
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
    below_hook_kg: float
    roof_kg: float | None
    worst_roof_kg: float | None
    place_m: Array
    top_m: Array | None
    chain_m: float | None
    longest_chain_m: float | None
    legs: Bridle | None

    @property
    def hook_kg(self) -> float:
        """Load below the hoist's hook when complete. [kg]"""
        return self.hole_kg + self.below_hook_kg

    @property
    def worst_hook_kg(self) -> float:
        """Greatest load below the hook over all stages. [kg]"""
        return self.worst_kg + self.below_hook_kg


def pick_lines(
    hang: Hang, site: Site | None, stages: Sequence[Stage], policy: Policy, catalogue: Catalogue
) -> list[PickLine]:
    """The load paths of a hang's picks; without a venue what is above the hook stays open."""
    points = {point.name: point for point in site.point} if site else {}
    return [_line(hang, index, hole, stages, policy, catalogue, points) for index, hole in enumerate(pick_holes(hang))]


def _line(
    hang: Hang,
    index: int,
    hole: PickHole,
    stages: Sequence[Stage],
    policy: Policy,
    catalogue: Catalogue,
    points: Mapping[str, Point],
) -> PickLine:
    pick, last = hang.picks[index], stages[-1]
    hoist = catalogue.items.get(pick.hoist or "")
    hoist = hoist if isinstance(hoist, Hoist) else None
    hardware = tuple(item for name in pick.hardware if isinstance(item := catalogue.items[name], Shackle | Sling))
    high = [float(stage.balance.high[index]) / G for stage in stages]
    worst = int(np.argmax(high))
    below = sum(item.mass_kg for item in hardware)
    place = _in_venue(hang, hole, last.balance.tilt)
    top = _top(pick, points, place)
    drop = sum(item.length_m for item in hardware)
    chain = None if top is None else float(top[2] - place[2] - drop)
    floor = hang.floor_below_m or 0.0
    chains = [None if top is None else float(top[2] - floor - stage.hook_m - drop) for stage in stages[:-1]] + [chain]
    roofs = [_at_roof(load + below, hoist, out) for load, out in zip(high, chains, strict=True)]
    known = [roof for roof in roofs if roof is not None]
    legs = None
    if pick.leg and top is not None and known and all(leg.point in points for leg in pick.leg):
        anchors = [points[leg.point].position_m for leg in pick.leg]
        legs = bridle(max(known) * G, top, anchors)
    return PickLine(
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
        below_hook_kg=below,
        roof_kg=roofs[-1],
        worst_roof_kg=max(known, default=None),
        place_m=place,
        top_m=top,
        chain_m=chain,
        longest_chain_m=max((c for c in chains if c is not None), default=None),
        legs=legs,
    )


def pick_findings(line: PickLine, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """Hole, hardware, hoist, reach, plumb and bridle of one pick."""
    state = line.worst_stage
    holder = line.hole.name
    yield _against(
        line.name, "load on the hole", line.worst_kg, line.hole.limit_kg, line, line.hole.source, holder, state
    )
    for item in line.hardware:
        limit = item.limit_kg and item.limit_kg * policy.marked_share
        what = f"{item.KIND} {item.name}"
        yield _against(line.name, what, line.worst_hook_kg, limit, line, _marked(item.source, policy), item.name, state)
    if line.hoist is None:
        yield unjudged(line.name, "hoist", line.worst_hook_kg, "kg", "the hang file names no hoist")
        return
    limit = line.hoist.capacity_kg and line.hoist.capacity_kg * policy.marked_share
    source = _marked(line.hoist.source, policy)
    yield _against(
        line.name, "hoist, load at the hook", line.worst_hook_kg, limit, line, source, line.hoist.name, state
    )
    if line.top_m is None or line.chain_m is None or line.longest_chain_m is None:
        yield unjudged(line.name, "reach of the hoist", None, "m", "no venue point is known above it")
        return
    yield judged(
        line.name, "headroom, hook to hook", line.chain_m, line.hoist.headroom_m, "m", line.hoist.source, least=True
    )
    out, most = line.longest_chain_m, line.hoist.chain_m
    yield judged(line.name, "chain out, lowest hook", out, most, "m", line.hoist.source, "first stage")
    yield _plumb(line, policy)
    if line.legs is not None:
        yield from _leg_findings(line, line.legs, policy, catalogue)


def share_findings(hang: Hang, stages: Sequence[Stage], policy: Policy) -> Iterator[Finding]:
    """Whether each of several picks carries its least share at every stage, and a balance exists at all."""
    for stage in stages:
        if stage.balance.problem and hang.picks:
            yield Finding(
                "balance",
                "picks in balance",
                None,
                None,
                "",
                EXCEEDS,
                "statics",
                f"{stage.balance.problem}; {stage.name}",
            )
        elif len(hang.picks) > 1 and not stage.balance.free and stage is stages[-1]:
            # Before, the frame is only brought as far as the least share allows.
            share = float(stage.balance.low.min() / (stage.column.mass_kg * G))
            what = "least share of the weight on a pick"
            yield judged("balance", what, share, policy.least_pick_share, "", policy.name, stage.name, least=True)


def point_forces(line: PickLine) -> dict[str, Array]:
    """Force of a pick on each of its venue points, dynamic factor included once, (x, y, z). [N]"""
    if line.worst_roof_kg is None:
        return {}
    factor = line.factor or 1.0
    if line.legs is None:
        down = np.array([0.0, 0.0, -line.worst_roof_kg * G * factor])
        return {line.pick.point: down} if line.pick.point else {}
    forces: dict[str, Array] = {}
    for leg, force in zip(line.pick.leg, line.legs.anchor_force, strict=True):
        forces[leg.point] = forces.get(leg.point, np.zeros(3)) + force * factor
    return forces


def point_findings(lines: Sequence[tuple[str, PickLine]], site: Site | None) -> Iterator[Finding]:
    """Load of every venue point, summed over all hangs that share it, against its limit."""
    if site is None:
        for hang, line in lines:
            yield unjudged(f"{hang}: {line.name}", "load at the roof", None, "kg", "no venue file was given")
        return
    total: dict[str, Array] = {}
    users: dict[str, list[str]] = {}
    unknown: dict[str, bool] = {}
    for hang, line in lines:
        if line.worst_roof_kg is None:
            yield unjudged(f"{hang}: {line.name}", "load at the roof", None, "kg", "no hoist or no point is named")
        for point, force in point_forces(line).items():
            total[point] = total.get(point, np.zeros(3)) + force
            users.setdefault(point, []).append(f"{hang}, {line.name}")
            unknown[point] = unknown.get(point, False) or line.factor is None
    limits = {point.name: point.limit_kg for point in site.point}
    for point, force in sorted(total.items()):
        load = float(np.linalg.norm(force)) / G
        part, note = f"point {point}", f"carries {' and '.join(users[point])}"
        limit = limits[point]
        if limit is None:
            yield unjudged(part, "load on the point", load, "kg", "the venue file gives no limit", note)
        elif unknown[point] and load <= limit:
            yield unjudged(part, "load on the point", load, "kg", "no dynamic factor is known", note)
        else:
            yield judged(part, "load on the point", load, limit, "kg", f"venue file {site.name}", note)


def _against(
    part: str, what: str, load: float, limit: float | None, line: PickLine, source: str, holder: str, state: str
) -> Finding:
    worked = load * (line.factor or 1.0)
    if limit is None:
        return unjudged(part, what, worked, "kg", f"{holder} gives no limit", state)
    if line.factor is None and worked <= limit:
        return unjudged(part, what, worked, "kg", "no dynamic factor: no hoist with class and speed", state)
    return judged(part, what, worked, limit, "kg", source, state)


def _marked(source: str, policy: Policy) -> str:
    return source if policy.marked_share == 1.0 else f"{source}, × {policy.marked_share:g} ({policy.name})"


def _plumb(line: PickLine, policy: Policy) -> Finding:
    assert line.top_m is not None
    apart = line.top_m - line.place_m
    off = float(np.degrees(np.arctan2(np.hypot(apart[0], apart[1]), apart[2])))
    note = f"hole {np.hypot(apart[0], apart[1]):.2f} m off plumb below its point"
    return judged(line.name, "chain out of plumb", off, policy.plumb_deg, "°", policy.name, note)


def _leg_findings(line: PickLine, legs: Bridle, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    part = f"{line.name}, bridle"
    included = float(np.degrees(legs.included))
    yield judged(part, "angle between legs", included, policy.included_angle_deg, "°", policy.name)
    largest = float(legs.tension.max()) / G
    for index, leg in enumerate(line.pick.leg):
        name = f"{part} to {leg.point}"
        angle = float(np.degrees(legs.from_horizontal[index]))
        yield judged(name, "leg from the horizontal", angle, policy.least_leg_deg, "°", policy.name, least=True)
        if legs.tension[index] < 0:
            yield Finding(name, "leg in tension", None, None, "", EXCEEDS, "statics", "the leg would go slack")
        limit, source, holder = _leg_limit(leg, policy, catalogue)
        # The largest strand load sizes all strands (DGUV Information 215-313).
        yield _against(name, "tension, largest leg", largest, limit, line, source, holder, line.worst_stage)


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
        apex = anchors[0][:2] + line * float((apex - anchors[0][:2]) @ line / (line @ line))
    return np.array([*apex, pick.apex_m])


def _at_roof(hook_kg: float, hoist: Hoist | None, out_m: float | None) -> float | None:
    if hoist is None or out_m is None:
        return None
    return hook_kg + hoist_weight_kg(hoist, max(out_m, 0.0))
