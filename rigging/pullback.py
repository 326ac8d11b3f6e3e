"""A pull-back: what it pulls with, what it is judged by, and what it puts on its point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rigging.equipment import Catalogue, Enclosure
from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang
from rigging.lifting import NO_HOIST, NOT_ABOVE, NOT_BELOW
from rigging.loads import pullback_place
from rigging.picks import PullBack
from rigging.piece import length_of, mass_of, pieces_of
from rigging.points import PointLoad
from rigging.policy import Policy
from rigging.stages import Stage
from rigging.statics import G, turned
from rigging.strength import against, hoist_finding, hoist_of, only_exceeds, piece_findings
from rigging.suspension import hoist_factor, hoist_weight_kg
from rigging.tackle import Hoist

_PART, _STATE = "pull-back", "complete"


def pullback_findings(hang: Hang, stages: Sequence[Stage], policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """Hole, hardware, hoist and reach of a pull-back, and the lean that it gives the top chain."""
    use, balance = hang.pullback, stages[-1].balance
    if use is None or (balance.problem and not balance.unknown):
        return  # a balance that fails is found by itself
    gap = balance.unknown
    force = np.nan if gap else float(np.hypot(*balance.pull)) / G
    hoist = hoist_of(use.hoist, catalogue)
    factor = hoist_factor(hoist, policy.dynamic_factor)
    bottom = hang.items[-1]
    rated = bottom.rated if isinstance(bottom, Enclosure) else None
    limit, source = (rated.pullback_kg, rated.source) if rated else (None, "")
    holder = f"{bottom.name}: pullback_kg"
    yield against(_PART, "load on its hole", force, limit, factor, source, holder, _STATE, gap)
    hardware = pieces_of(use.hardware, catalogue)
    load = force + mass_of(hardware)
    shown = None if gap else load
    if use.hardware is None:
        yield unjudged(_PART, "hardware", shown, "kg", "none is named between hook and hole")
    yield from piece_findings(_PART, load, hardware, factor, policy, _STATE, gap)
    yield hoist_finding(_PART, load, hoist, factor, policy, _STATE, gap or _below(use))
    above = pieces_of(use.top_hardware, catalogue)
    whole = load + mass_of(above) + (hoist_weight_kg(hoist) if hoist else 0.0)
    if use.top_hardware is None:
        what = "hardware between hoist and point"
        yield unjudged(_PART, what, None if gap else whole, "kg", "none is named: top_hardware; [] if there is none")
    unknown = gap or _below(use) or ("" if hoist else NO_HOIST)
    yield from piece_findings(f"{_PART}, at the point", whole, above, factor, policy, _STATE, unknown)
    if use.point is None:
        why = "to_m is a place, no venue point with a limit"
        yield unjudged(_PART, "load on what it pulls at", shown, "kg", gap or why)
    yield _lean(balance.lean, policy, gap)
    if hoist is not None:
        yield from _reach(hang, stages, hoist, length_of([*hardware, *above]), gap)


def _reach(hang: Hang, stages: Sequence[Stage], hoist: Hoist, hardware_m: float, gap: str) -> Iterator[Finding]:
    """Headroom when complete, and the longest chain: it takes hold while the last row is over its cart."""
    use = hang.pullback
    assert use is not None
    apart = _apart(hang, stages[-1], hang.position_m[2])
    if apart is None:
        yield unjudged(_PART, "reach of the hoist", None, "m", gap or "its upper end or its hole is not known")
        return
    chain = apart - hardware_m
    unnamed = use.hardware is None or use.top_hardware is None
    missing = gap or ("hardware that is not named takes up headroom too" if unnamed else "")
    headroom = judged(_PART, "headroom, hook to hook", chain, hoist.headroom_m, "m", hoist.source, _STATE, least=True)
    yield only_exceeds(headroom, missing)
    what = "chain out, longest"
    if hang.floor_below_m is None:
        yield unjudged(_PART, what, None, "m", "the hang file gives no floor_below_m")
        return
    on_cart = stages[-2]
    low = _apart(hang, on_cart, hang.floor_below_m + hang.carts.deck_m - on_cart.column.lowest_m(on_cart.balance.tilt))
    longest = max(chain, (low or 0.0) - hardware_m)
    note = f"{_STATE} or {on_cart.name}"
    yield only_exceeds(judged(_PART, what, longest, hoist.chain_m, "m", hoist.source, note), gap)


def _apart(hang: Hang, stage: Stage, trim_m: float) -> float | None:
    """From a pull-back's hole to its upper end with the frame at a height; None where one of them is not known. [m]"""
    hold = pullback_place(hang, stage.column)
    if hold is None or hang.pullback is None or hang.pullback.to_m is None:
        return None
    ahead, up = turned(hold, stage.balance.tilt)
    azimuth = float(np.radians(hang.azimuth_deg))
    x, y, _ = hang.position_m
    place = np.array([x + ahead * np.cos(azimuth), y + ahead * np.sin(azimuth), trim_m + up])
    return float(np.linalg.norm(np.array(hang.pullback.to_m) - place))


def pullback_point_loads(
    hang: Hang, last: Stage, policy: Policy, catalogue: Catalogue, *, at_rest: bool = False
) -> Iterator[PointLoad]:
    """Load that a pull-back puts on its venue point: its pull, its hardware, and the hoist with all its chain.

    Where it pulls upwards, its weight is a load of its own: it may rest on the floor, and takes nothing off. `at_rest`:
    without a dynamic factor.
    """
    use, balance = hang.pullback, last.balance
    if use is None or use.point is None:
        return
    user = f"{hang.name}, pull-back"
    hoist = hoist_of(use.hoist, catalogue)
    factor = 1.0 if at_rest else hoist_factor(hoist, policy.dynamic_factor)
    if balance.problem:
        yield PointLoad(use.point, user, None, balance.problem)
        return
    azimuth = float(np.radians(hang.azimuth_deg))
    along, up = balance.pull
    pull = -np.array([along * np.cos(azimuth), along * np.sin(azimuth), up]) * (factor or 1.0)
    own = mass_of([*pieces_of(use.hardware, catalogue), *pieces_of(use.top_hardware, catalogue)])
    own += hoist_weight_kg(hoist) if hoist else 0.0
    weight = np.array([0.0, 0.0, -own * G]) * (factor or 1.0)
    missing = ["" if hoist and factor else "no hoist with class and speed is named", _below(use)]
    missing.append("" if use.top_hardware is not None else NOT_ABOVE)
    why = "; ".join(part for part in missing if part)
    if pull[2] <= 0:
        yield PointLoad(use.point, user, pull + weight, why)
        return
    yield PointLoad(use.point, user, pull, why)
    yield PointLoad(use.point, f"{user}, its weight", weight, why)


def _below(use: PullBack) -> str:
    return "" if use.hardware is not None else NOT_BELOW


def _lean(lean: float, policy: Policy, gap: str) -> Finding:
    what = "lean of the top chain"
    if gap:
        return unjudged(_PART, what, None, "°", gap)
    note = "the top chain leans: its point must be that far off the hole"
    return judged(_PART, what, abs(float(np.degrees(lean))), policy.plumb_deg, "°", policy.name, note)
