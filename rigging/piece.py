"""A shackle or sling as it is used: what it may carry that way, what it takes up, what it weighs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rigging.equipment import Catalogue
from rigging.picks import Use
from rigging.suspension import SHACKLE_SIDE, SLING_MODES, sling_limit_kg, stepped_share
from rigging.tackle import Shackle, Sling

_BASKET_45_DEG = 45.0  # up to here 1.4, beyond it 1.0: EN 1492-2


@dataclass(frozen=True)
class Piece:
    """One shackle or sling in a load path.

    `limit_kg`: what its file and its use allow, before any policy; None where the file gives none. `length_m`: what
    it takes up between its ends. `label`: kind, name and use. `source`: of the limit, with the factor of its use.
    """

    item: Shackle | Sling
    limit_kg: float | None
    length_m: float
    label: str
    source: str

    @property
    def mass_kg(self) -> float:
        """Own mass. [kg]"""
        return self.item.mass_kg


def pieces_of(uses: Sequence[Use] | None, catalogue: Catalogue) -> tuple[Piece, ...]:
    """What a list of uses comes to; nothing where none is given."""
    found = ((catalogue.items[use.type], use) for use in uses or ())
    return tuple(piece_of(item, use) for item, use in found if isinstance(item, Shackle | Sling))


def piece_of(item: Shackle | Sling, use: Use) -> Piece:
    """One item in its use."""
    if isinstance(item, Shackle):
        return _shackle(item, use.side_deg or 0.0)
    return _sling(item, use)


def mass_of(pieces: Sequence[Piece]) -> float:
    """Mass of all. [kg]"""
    return sum(piece.mass_kg for piece in pieces)


def length_of(pieces: Sequence[Piece]) -> float:
    """Length of all in line. [m]"""
    return sum(piece.length_m for piece in pieces)


def sling_mode(use: Use) -> str:
    """The way of use of a sling, one of `SLING_MODES`."""
    if use.hitch != "basket":
        return use.hitch or "straight"
    spread = use.spread_deg or 0.0
    if spread == 0:
        return "basket parallel"
    return "basket to 45°" if spread <= _BASKET_45_DEG else "basket 45 to 60°"


def _sling(item: Sling, use: Use) -> Piece:
    mode = sling_mode(use)
    label, source = f"{item.KIND} {item.name}, {use.hitch or mode}", item.source
    if mode != "straight":
        source = f"{source}, × {SLING_MODES[mode]:g} {mode} (EN 1492-2)"
    if use.hitch == "basket":
        label = f"{label}, legs {use.spread_deg or 0.0:g}° from plumb"
    return Piece(
        item, sling_limit_kg(item, mode), item.length_m if use.length_m is None else use.length_m, label, source
    )


def _shackle(item: Shackle, side_deg: float) -> Piece:
    label, source, share = f"{item.KIND} {item.name}, in line", item.source, 1.0
    if side_deg > 0:
        share = stepped_share(side_deg, SHACKLE_SIDE) or 0.0
        label = f"{item.KIND} {item.name}, pulled {side_deg:g}° off its line"
        source = f"{source}, × {share:g} pulled {side_deg:g}° off its line (ASME B30.26)"
    limit = None if item.limit_kg is None else item.limit_kg * share
    return Piece(item, limit, item.length_m, label, source)
