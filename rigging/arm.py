"""The mount of a pick arm: the moment that its picks and its own weight put on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang
from rigging.lifting import PickLine
from rigging.policy import Policy
from rigging.strength import NO_FACTOR, only_exceeds

_WHAT = "moment at its mount"


def arm_findings(hang: Hang, lines: Sequence[PickLine], policy: Policy) -> Iterator[Finding]:
    """The worst loads of an arm's holes and its own weight, each times its distance from the mount, all added up.

    Taken as of a level arm, where the distances are longest, and with the greatest factor of its picks' hoists.
    """
    if hang.arm is None:
        return
    arm = hang.arm[0]
    mine = [line for line in lines if line.pick.on == "arm"]
    out = {hole.name: hole.out_m for hole in arm.hole}
    moment = arm.mass_kg * abs(arm.centre_out_m) + sum(line.worst_kg * out[line.pick.hole] for line in mine)
    factors = [line.factor for line in mine or lines] or [policy.dynamic_factor]
    known = [factor for factor in factors if factor is not None]
    part, state = f"arm {arm.name}", "; ".join(dict.fromkeys(line.worst_stage for line in mine))
    gaps = [line.load_gap for line in mine if line.load_gap] + ([] if len(known) == len(factors) else [NO_FACTOR])
    if not np.isfinite(moment):
        yield unjudged(part, _WHAT, None, "kg m", gaps[0] if gaps else "no balance of the picks is known", state)
        return
    worked = moment * max(known, default=1.0)
    if arm.mount_kg_m is None:
        yield unjudged(part, _WHAT, worked, "kg m", f"{arm.name} gives no mount_kg_m", state)
        return
    found = judged(part, _WHAT, worked, arm.mount_kg_m, "kg m", arm.source, state)
    yield only_exceeds(found, gaps[0] if gaps else "")
