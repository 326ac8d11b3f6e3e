"""Loads against the limits of what carries them; what is missing makes them unjudged, unless they exceed as it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rigging.equipment import Catalogue
from rigging.findings import CANNOT, EXCEEDS, Finding, judged, unjudged
from rigging.piece import Piece
from rigging.policy import Policy
from rigging.tackle import Hoist

NO_FACTOR = "no dynamic factor: no hoist with class and speed"


def against(
    part: str,
    what: str,
    load: float,
    limit: float | None,
    factor: float | None,
    source: str,
    holder: str,
    state: str,
    gap: str = "",
) -> Finding:
    """A load at rest, times the dynamic factor, against a limit.

    `gap` says what the load leaves out: it may then be found to exceed, but never to be within.
    """
    if not np.isfinite(load):
        return unjudged(part, what, None, "kg", gap or "no balance of the picks is known", state)
    worked = load * (factor or 1.0)
    if limit is None:
        return unjudged(part, what, worked, "kg", f"{holder} gives no limit", state)
    found = judged(part, what, worked, limit, "kg", source, state)
    if found.status == EXCEEDS or not (gap or factor is None):
        return found
    return unjudged(part, what, worked, "kg", gap or NO_FACTOR, state)


def only_exceeds(found: Finding, gap: str) -> Finding:
    """A finding as it is where nothing is left out or it exceeds anyway; otherwise it cannot be judged."""
    if not gap or found.status == EXCEEDS or (found.status == CANNOT and gap in found.note):
        return found
    return unjudged(found.part, found.what, found.value, found.unit, gap, found.note)


def marked(source: str, policy: Policy) -> str:
    """The source of a marked limit, with the share of it that the policy allows."""
    return source if policy.marked_share == 1.0 else f"{source}, × {policy.marked_share:g} ({policy.name})"


def piece_findings(
    part: str, load_kg: float, pieces: Sequence[Piece], factor: float | None, policy: Policy, state: str, gap: str = ""
) -> Iterator[Finding]:
    """Shackles and slings that carry one load."""
    for piece in pieces:
        limit = None if piece.limit_kg is None else piece.limit_kg * policy.marked_share
        source = marked(piece.source, policy)
        yield against(part, piece.label, load_kg, limit, factor, source, piece.item.name, state, gap)


def hoist_finding(
    part: str, load_kg: float, hoist: Hoist | None, factor: float | None, policy: Policy, state: str, gap: str = ""
) -> Finding:
    """A hoist with a load below its hook."""
    if hoist is None:
        load = load_kg if np.isfinite(load_kg) else None
        return unjudged(part, "hoist", load, "kg", "the hang file names no hoist")
    limit = None if hoist.capacity_kg is None else hoist.capacity_kg * policy.marked_share
    source = marked(hoist.source, policy)
    return against(part, "hoist, load at the hook", load_kg, limit, factor, source, hoist.name, state, gap)


def hoist_of(name: str | None, catalogue: Catalogue) -> Hoist | None:
    """The hoist of a name; None where none is named."""
    item = catalogue.items.get(name or "")
    return item if isinstance(item, Hoist) else None
