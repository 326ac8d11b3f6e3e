"""The legs of a bridle: what they weigh, what they pull with, and the rules that they are judged by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging.equipment import Catalogue
from rigging.findings import EXCEEDS, Finding, judged, unjudged
from rigging.picks import Leg
from rigging.piece import Piece, length_of, mass_of, pieces_of
from rigging.policy import Policy
from rigging.statics import G
from rigging.strength import against, marked, only_exceeds, piece_findings
from rigging.suspension import Bridle, leg_own_n, rope_limit_kg
from rigging.tackle import Rope, Sling

Array = npt.NDArray[np.float64]

# A sling may be off the leg that it spans by this share and this much: the apex moves little. [–, m]
_SLACK, _SLACK_M = 0.02, 0.05
# A leg with less than this share of the greatest tension carries nothing.
_SLACK_SHARE = 1e-6
_BETWEEN = "bring the hole plumb below the span of the points, or lead the legs to others"
SLACK = "a leg would go slack: the apex is not where it is drawn"
UNNAMED = "the hardware of its legs is not named, its weight is not in this"


@dataclass(frozen=True)
class LegLoads:
    """How a load at the apex is held: legs as files name them, their balance, own masses (K,) [kg], hardware."""

    named: tuple[Leg, ...]
    held: Bridle
    own_kg: Array
    hardware: tuple[tuple[Piece, ...], ...]

    @property
    def gap(self) -> str:
        """What is left out of the loads of the legs; empty where nothing is."""
        unnamed = UNNAMED if any(leg.hardware is None for leg in self.named) else ""
        return "; ".join(part for part in (unnamed, SLACK if any(self.slack) else "") if part)

    @property
    def slack(self) -> tuple[bool, ...]:
        """Whether each leg would go slack: then the apex is not where it is drawn, and no tension is what it says."""
        tension = self.held.tension
        return tuple(bool(slack) for slack in tension <= _SLACK_SHARE * tension.max())

    def pulls_n(self, factor: float) -> Array:
        """Pulls on the points of the load and of the legs' own weight, with a dynamic factor, (K, 3). [N]"""
        return np.asarray(self.held.anchor_force + leg_own_n(self.held, self.own_kg * G)) * factor


def leg_loads(named: tuple[Leg, ...], held: Bridle, catalogue: Catalogue) -> LegLoads:
    """The legs of a bridle of known balance."""
    hardware = tuple(pieces_of(leg.hardware, catalogue) for leg in named)
    own = [
        _mass_kg(leg, float(length), catalogue) + mass_of(pieces)
        for leg, length, pieces in zip(named, held.length, hardware, strict=True)
    ]
    return LegLoads(named, held, np.array(own), hardware)


def leg_findings(
    part: str, legs: LegLoads, factor: float | None, policy: Policy, catalogue: Catalogue, state: str, gap: str
) -> Iterator[Finding]:
    """Angles, slack, tension, hardware and length of all legs; `gap`: what is left out of the load at the apex."""
    held = legs.held
    included = float(np.degrees(held.included))
    yield judged(part, "angle between legs", included, policy.included_angle_deg, "°", policy.name, state)
    # The largest strand load sizes all strands (DGUV Information 215-313); each with its own weight at its upper end.
    largest = float(np.linalg.norm(legs.pulls_n(1.0), axis=1).max()) / G
    unknown = "; ".join(part for part in (gap, legs.gap) if part)
    for index, leg in enumerate(legs.named):
        name = f"{part} to {leg.point}"
        angle = float(np.degrees(held.from_horizontal[index]))
        yield judged(name, "leg from the horizontal", angle, policy.least_leg_deg, "°", policy.name, state, least=True)
        if legs.slack[index]:
            would = "push" if held.tension[index] < 0 else "carry nothing"
            note = f"it would have to {would} for the apex to be where it is drawn ({state}); {_BETWEEN}"
            value = float(held.tension[index]) / G
            yield Finding(name, "leg in tension", value, 0.0, "kg", EXCEEDS, "statics", note, least=True)
        limit, source, holder = _limit(leg, policy, catalogue)
        what = "tension, largest leg"
        yield against(name, what, largest, limit, factor, source, holder, state, unknown)
        if leg.hardware is None:
            yield unjudged(name, "hardware of the leg", largest, "kg", "none is named at its ends")
        yield from piece_findings(name, largest, legs.hardware[index], factor, policy, state, unknown)
        item = catalogue.items.get(leg.sling or "")
        if isinstance(item, Sling):
            yield _length(name, item, leg, legs.hardware[index], float(held.length[index]))


def _length(name: str, sling: Sling, leg: Leg, hardware: Sequence[Piece], spans: float) -> Finding:
    """Whether a sling with its hardware is as long as the leg: or else the apex lies elsewhere than drawn."""
    given, what = sling.length_m + length_of(hardware), "length off the leg"
    note = f"sling and hardware are {given:.2f} m, the leg spans {spans:.2f} m"
    unnamed = "" if leg.hardware is not None else "its hardware is not named"
    if unnamed and given < spans:
        return unjudged(name, what, spans - given, "m", unnamed, note)
    allowed = _SLACK * spans + _SLACK_M
    return only_exceeds(judged(name, what, abs(given - spans), allowed, "m", "geometry", note), unnamed)


def _mass_kg(leg: Leg, length_m: float, catalogue: Catalogue) -> float:
    item = catalogue.items[leg.rope or leg.sling or ""]
    assert isinstance(item, Rope | Sling)  # what is unknown was refused before
    return item.mass_kg + (item.kg_per_m * length_m if isinstance(item, Rope) else 0.0)


def _limit(leg: Leg, policy: Policy, catalogue: Catalogue) -> tuple[float | None, str, str]:
    item = catalogue.items[leg.rope or leg.sling or ""]
    if isinstance(item, Rope):
        limit = rope_limit_kg(item, policy.rope_design_factor)
        return limit, f"{item.source}, design factor {policy.rope_design_factor:g}", item.name
    assert isinstance(item, Sling)
    limit = None if item.limit_kg is None else item.limit_kg * policy.marked_share
    return limit, marked(item.source, policy), item.name
