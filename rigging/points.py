"""Loads of venue points, summed over all picks, bridles and pull-backs that share them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging.equipment import Catalogue, Enclosure
from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang
from rigging.lifting import PickLine, against, hoist_findings, hoist_of
from rigging.policy import Policy
from rigging.site import Site
from rigging.stages import Stage
from rigging.statics import G
from rigging.suspension import hoist_factor, hoist_weight_kg
from rigging.tackle import Rope, Shackle, Sling

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PointLoad:
    """What one user puts on a point: `force_n` (3,) with the dynamic factor once, None where not known and `why`."""

    point: str
    user: str
    force_n: Array | None
    why: str = ""


def pick_point_loads(hang: Hang, lines: Sequence[PickLine], catalogue: Catalogue) -> Iterator[PointLoad]:
    """Loads that the picks of a hang put on venue points; the legs of a bridle add their own weight."""
    for line in lines:
        user = f"{hang.name}, {line.name}"
        named = [line.pick.point] if line.pick.point else [leg.point for leg in line.pick.leg]
        why = _missing(line)
        if why:
            yield from (PointLoad(point, user, None, why) for point in named)
            continue
        assert line.worst_roof_kg is not None
        assert line.factor is not None
        if line.legs is None:
            yield from (PointLoad(p, user, np.array([0.0, 0.0, -line.worst_roof_kg * G * line.factor])) for p in named)
            continue
        for leg, force, length in zip(line.pick.leg, line.legs.anchor_force, line.legs.length, strict=True):
            item = catalogue.items[leg.rope or leg.sling or ""]
            own = item.kg_per_m * float(length) if isinstance(item, Rope) else getattr(item, "mass_kg", 0.0)
            yield PointLoad(leg.point, user, force * line.factor - np.array([0.0, 0.0, own * G]))


def _missing(line: PickLine) -> str:
    if line.hoist is None:
        return "no hoist is named"
    if line.worst_roof_kg is None:
        return "the load of the pick is not known, or it would push"
    if line.pick.leg and line.legs is None:
        return line.legs_problem or "the bridle's points are not known"
    return "" if line.factor is not None else "no dynamic factor is known"


def pullback_findings(hang: Hang, last: Stage, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """Hole, hardware and hoist of a pull-back, and the lean that it gives the top chain."""
    if hang.pullback is None or last.balance.problem:
        return
    force = float(np.hypot(*last.balance.pull)) / G
    hoist = hoist_of(hang.pullback.hoist, catalogue)
    factor = hoist_factor(hoist, policy.dynamic_factor)
    bottom = hang.items[-1]
    rated = bottom.rated if isinstance(bottom, Enclosure) else None
    limit, source = (rated.pullback_kg, rated.source) if rated else (None, "")
    holder = f"{bottom.name}: pullback_kg"
    yield against("pull-back", "load on its hole", force, limit, factor, source, holder, "complete")
    if hang.pullback.hardware is None:
        yield unjudged("pull-back", "hardware", force, "kg", "none is named between hook and hole")
    hardware = [catalogue.items[name] for name in hang.pullback.hardware or ()]
    tackle = [item for item in hardware if isinstance(item, Shackle | Sling)]
    yield from hoist_findings("pull-back", force, hoist, tackle, factor, policy, "complete")
    if hang.pullback.point is None:
        why = "to_m is a place, no venue point with a limit"
        yield unjudged("pull-back", "load on what it pulls at", force, "kg", why)
    lean = abs(float(np.degrees(last.balance.lean)))
    note = "the top chain leans: its point must be that far off the hole"
    yield judged("pull-back", "lean of the top chain", lean, policy.plumb_deg, "°", policy.name, note)


def pullback_point_loads(hang: Hang, last: Stage, policy: Policy, catalogue: Catalogue) -> Iterator[PointLoad]:
    """Load that a pull-back puts on its venue point: its pull, and the hoist with all its chain."""
    if hang.pullback is None or hang.pullback.point is None:
        return
    user = f"{hang.name}, pull-back"
    hoist = hoist_of(hang.pullback.hoist, catalogue)
    factor = hoist_factor(hoist, policy.dynamic_factor)
    if last.balance.problem or factor is None or hoist is None:
        why = last.balance.problem or "no hoist with class and speed is named"
        yield PointLoad(hang.pullback.point, user, None, why)
        return
    azimuth = float(np.radians(hang.azimuth_deg))
    along, up = last.balance.pull
    pull = -np.array([along * np.cos(azimuth), along * np.sin(azimuth), up])
    yield PointLoad(hang.pullback.point, user, (pull - [0.0, 0.0, hoist_weight_kg(hoist) * G]) * factor)


def point_findings(loads: Sequence[PointLoad], site: Site | None) -> Iterator[Finding]:
    """Every point's load against its limit: the sum of what pulls down, with all that pulls sideways added up.

    Sideways pulls of several hangs are not set against each other: one may hang before the other.
    """
    if site is None:
        for user in dict.fromkeys(load.user for load in loads):
            yield unjudged(user, "load at the roof", None, "kg", "no venue file was given")
        return
    limits = {point.name: point.limit_kg for point in site.point}
    for point in sorted({load.point for load in loads}):
        mine = [load for load in loads if load.point == point]
        forces = [load.force_n for load in mine if load.force_n is not None]
        down = sum(-float(force[2]) for force in forces)
        aside = sum(float(np.hypot(force[0], force[1])) for force in forces)
        total = float(np.hypot(max(down, 0.0), aside)) / G
        part, what = f"point {point}", "load on the point"
        note = f"carries {' and '.join(load.user for load in mine)}"
        limit, unknown = limits[point], [load.why for load in mine if load.force_n is None]
        if limit is None:
            yield unjudged(part, what, total, "kg", "the venue file gives no limit", note)
        elif unknown and total <= limit:
            yield unjudged(part, what, total, "kg", unknown[0], note)
        else:
            yield judged(part, what, total, limit, "kg", f"venue file {site.name}", note)
