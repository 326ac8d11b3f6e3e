"""From a pick to the roof: bridles, hoists, what hangs in line; loads at the hook and at the roof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging.policy import hoisting_factor
from rigging.statics import G
from rigging.tackle import Hoist, Rope, Sling

Array = npt.NDArray[np.float64]

# Legs of a bridle hold an apex only in the plane of their anchors; off by more than this share of the
# load sideways, the apex would move to where they do.
_IN_PLANE = 1e-6
# Six times the volume of what three legs of unit length span: below it a small error of place decides how they share.
_NEARLY_IN_PLANE = 0.01
# Two legs that part by less run side by side. [rad]
_SIDE_BY_SIDE = 1e-3

# Strength of textile slings by use, EN 1492-2:2000, as a multiple of the straight limit.
SLING_MODES = {"straight": 1.0, "choked": 0.8, "basket parallel": 2.0, "basket to 45°": 1.4, "basket 45 to 60°": 1.0}
# Share of the rated load of a shoulder eyebolt by angle from its shank (handbook table). [deg]
EYEBOLT = ((5.0, 1.0), (15.0, 0.8), (30.0, 0.65), (45.0, 0.3))
# Share of the rated load of a shackle by side load from its line (ASME B30.26, as quoted). [deg]
SHACKLE_SIDE = ((0.0, 1.0), (45.0, 0.7), (90.0, 0.5))


@dataclass(frozen=True)
class Bridle:
    """Legs from an apex to K anchors.

    `tension` (K,) [N], `length` (K,) [m], `from_horizontal` (K,) [rad], `toward` (K, 3) the directions from apex to
    anchor, `anchor_force` (K, 3) on the anchors [N]; `included` the greatest angle between two legs [rad];
    `off_plane` the share of the load that the legs cannot hold sideways where the apex is drawn.
    """

    tension: Array
    length: Array
    from_horizontal: Array
    toward: Array
    anchor_force: Array
    included: float
    off_plane: float


def bridle(
    load_n: float, apex_m: npt.ArrayLike, anchor_m: npt.ArrayLike, aside_n: npt.ArrayLike = (0.0, 0.0)
) -> Bridle:
    """Tensions of a bridle of two or three legs that carries a load at its apex.

    Balance of forces at the apex, Σ T_i e_i = W ẑ; for two legs this is T1 = W L1 H2/(V1 H2 + V2 H1). A load that
    also pulls sideways swings two legs about the line of their anchors, into the plane of the load.

    Parameters
    ----------
    load_n : float
        Plumb part of the load. [N]
    apex_m : array_like, shape (3,)
        Where it hangs at rest.
    anchor_m : array_like, shape (K, 3)
        [m]
    aside_n : array_like, shape (2,)
        What the load pulls sideways, (x, y). [N]

    Returns
    -------
    Bridle
        A negative tension means that the leg goes slack: the others hold another apex.

    Raises
    ------
    ValueError
        If there are not two or three legs, an anchor is not above the apex, three legs lie in one plane or nearly
        so, or two run side by side.
    """
    apart = np.asarray(anchor_m, dtype=float) - np.asarray(apex_m, dtype=float)
    if len(apart) not in (2, 3):
        raise ValueError(f"a bridle has two or three legs, not {len(apart)}; four are indeterminate")
    if np.any(apart[:, 2] <= 0):
        raise ValueError("every anchor of a bridle must be above its apex")
    lean = -np.asarray(aside_n, dtype=float) / load_n
    if len(apart) == 2 and np.any(lean):
        apart = _swung(apart, np.array([*lean, 1.0]))
    length = np.linalg.norm(apart, axis=1)
    toward = apart / length[:, np.newaxis]
    spanned = abs(float(np.linalg.det(toward))) if len(apart) == 3 else 1.0
    if spanned < _NEARLY_IN_PLANE:
        how = "" if spanned < _IN_PLANE else "nearly "
        raise ValueError(f"three legs {how}in one plane are indeterminate: how they share depends on their lengths")
    pairs = (toward @ toward.T)[np.triu_indices(len(apart), 1)]
    if pairs.max() > np.cos(_SIDE_BY_SIDE):
        raise ValueError("two legs run side by side: how they share depends on their lengths")
    held = np.array([*lean, 1.0])
    share, *_ = np.linalg.lstsq(toward.T, held, rcond=None)
    off = np.linalg.norm(toward.T @ share - held)
    tension = load_n * share
    return Bridle(
        tension=tension,
        length=length,
        from_horizontal=np.arcsin(toward[:, 2]),
        toward=toward,
        anchor_force=-tension[:, np.newaxis] * toward,
        included=float(np.arccos(np.clip(pairs.min(), -1.0, 1.0))),
        off_plane=0.0 if off < _IN_PLANE else float(off),
    )


def _swung(apart: Array, held: Array) -> Array:
    """Two legs (2, 3), turned about the line of their anchors until the force that holds the load lies between them."""
    line = (apart[1] - apart[0]) / np.linalg.norm(apart[1] - apart[0])
    across = held - (held @ line) * line
    across = across / np.linalg.norm(across)
    along = apart @ line
    reach = np.linalg.norm(apart - along[:, np.newaxis] * line, axis=1)
    return np.asarray(along[:, np.newaxis] * line + reach[:, np.newaxis] * across)


def beam_loads(span_m: float, at_m: npt.ArrayLike, load_n: npt.ArrayLike) -> tuple[float, float]:
    """Reactions of a beam on its two ends [N]; a third support would make it indeterminate."""
    at, load = np.asarray(at_m, dtype=float), np.asarray(load_n, dtype=float)
    right = float(np.sum(load * at) / span_m)
    return float(load.sum()) - right, right


def leg_factor(from_horizontal: npt.ArrayLike) -> Array:
    """Tension of a leg over its share of the load, 1/sin of its angle from the horizontal [rad]."""
    return np.asarray(1.0 / np.sin(from_horizontal))


def stepped_share(angle_deg: float, table: tuple[tuple[float, float], ...]) -> float | None:
    """Share of the rated load at an angle by a table: that of the next angle listed; None beyond the last."""
    return next((share for limit, share in table if angle_deg <= limit + 1e-9), None)


def sling_limit_kg(sling: Sling, mode: str = "straight") -> float | None:
    """Working load limit of a textile sling in a way of use (EN 1492-2). [kg]

    Raises
    ------
    KeyError
        If the mode is not one of `SLING_MODES`.
    """
    return None if sling.limit_kg is None else sling.limit_kg * SLING_MODES[mode]


def rope_breaking_n(diameter_mm: float, grade_n_mm2: float, k: float) -> float:
    """Minimum breaking force of wire rope, d² R_r K (EN 12385-4). [N] K is .330 for 6x19 and 6x36 with fibre core."""
    return diameter_mm**2 * grade_n_mm2 * k


def rope_limit_kg(rope: Rope, design_factor: float) -> float | None:
    """Working load limit of a rope: breaking force × termination / design factor. [kg]"""
    return None if rope.breaking_kn is None else rope.breaking_kn * 1000.0 * rope.termination / design_factor / G


def hoist_factor(hoist: Hoist | None, dynamic_factor: float | None) -> float | None:
    """Dynamic factor of a hoist's load: the policy's one, or that of its hoisting class; None where unknown."""
    if dynamic_factor is not None:
        return dynamic_factor
    if hoist is None or hoist.hoisting_class is None or hoist.speed_m_per_min is None:
        return None
    return hoisting_factor(hoist.hoisting_class, hoist.speed_m_per_min / 60.0)


def leg_own_n(legs: Bridle, own_n: npt.ArrayLike) -> Array:
    """What the own weight of legs adds to the pull on their anchors, (K, 3) [N].

    Of a leg of weight w its anchor holds all, and sideways w / 2 over the tangent of its angle from the horizontal: an
    approximation for a taut leg, half of its weight at each end, balanced along the leg.

    Parameters
    ----------
    legs : Bridle
    own_n : array_like, shape (K,)
        Weight of each leg. [N]
    """
    own = np.asarray(own_n, dtype=float)
    aside = -legs.toward[:, :2] * (own / 2.0 / legs.toward[:, 2])[:, np.newaxis]
    return np.column_stack([aside, -own])


def hoist_weight_kg(hoist: Hoist) -> float:
    """Mass that a hoist adds at the roof: its own and that of all its chain, out or in the bag. [kg]"""
    return hoist.mass_kg + hoist.chain_kg_per_m * hoist.falls * hoist.chain_m
