"""Cables that a hang file says nothing of: what depends on their mass may exceed, but is never within."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator

from rigging.column import NUMBER_BELOW
from rigging.findings import Finding, unjudged
from rigging.hang import Hang
from rigging.points import PointLoad
from rigging.strength import only_exceeds

UNSAID = "the hang file does not say what its cables weigh"
_NEXT = "give [loom] kg_per_m, 0 where none hangs on it"
_COUNTED = {NUMBER_BELOW}
# What follows from places alone, where it is not the balance that sets the tilt.
_PLACED = {
    "angle between legs",
    "base off the floor",
    "chain out of plumb",
    "headroom, hook to hook",
    "leg from the horizontal",
    "length off the leg",
    "lowest edge above the floor below",
}


def cable_gap(hang: Hang) -> str:
    """What is not known of a hang's cables; empty where its file says what they weigh."""
    return "" if hang.loom is not None else UNSAID


def cable_findings(hang: Hang, findings: Iterable[Finding], *, free: bool) -> Iterator[Finding]:
    """Findings of a hang as they are where its cables are known; else what these could change is not within.

    `free`: the tilt follows from the balance, so that places depend on masses too.
    """
    gap = cable_gap(hang)
    if gap:
        yield unjudged("cables", "mass of the cables", None, "kg", f"{gap}: {_NEXT}")
    certain = _COUNTED if free else _COUNTED | _PLACED
    yield from (found if found.what in certain else only_exceeds(found, gap) for found in findings)


def cable_loads(hang: Hang, loads: Iterable[PointLoad]) -> Iterator[PointLoad]:
    """Loads on points, with what is not known of the hang's cables."""
    gap = cable_gap(hang)
    for load in loads:
        why = "; ".join(part for part in (load.why, gap) if part)
        yield dataclasses.replace(load, why=why)
