"""Building and landing, cart by cart: what hangs, how it tilts, whether the next group engages."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from rigging import statics
from rigging.column import Column, column_of
from rigging.equipment import Enclosure
from rigging.hang import Hang
from rigging.loads import Balance, balance, pick_holes, reachable

GROUP = 4  # columns travel in groups of up to four on a cart (common practice, no source)


@dataclass(frozen=True)
class Stage:
    """One step of building: `rows` are on and hang at `balance`.

    `tilts` [rad]: what the picks can reach, None where the tilt is free. `lowest_elevation` [rad]: aim
    elevation of the lowest row. `hook_m`: height of the lowest hook above the floor when the lowest edge
    is level with the cart's deck. `engages`: whether the next group joins by itself, by hand, or cannot be
    judged; empty at the last stage. `limit_deg`: the limit angle of the lowest enclosure's file.
    """

    name: str
    rows: int
    column: Column
    balance: Balance
    tilts: tuple[float, float] | None
    lowest_elevation: float
    hook_m: float
    engages: str
    limit_deg: float | None


def groups(hang: Hang) -> tuple[int, ...]:
    """Rows on each cart, the top one first."""
    if hang.carts.groups is not None:
        return hang.carts.groups
    count = len(hang.items)
    return tuple(min(GROUP, count - first) for first in range(0, count, GROUP))


def build(hang: Hang, least_share: float) -> list[Stage]:
    """The stages of building, cart by cart; landing goes through them from the last to the first.

    While a group hangs over its cart the frame is brought as near as its picks allow, each with its
    least share, to the tilt that levels the lowest enclosure; complete, it takes the tilt of the hang.
    """
    steps = np.cumsum(groups(hang))
    stages = [_stage(hang, int(rows), least_share, last=bool(rows == steps[-1])) for rows in steps]
    return stages


def _stage(hang: Hang, rows: int, least_share: float, *, last: bool) -> Stage:
    column = column_of(hang, rows)
    bent = float(np.sum(np.radians(hang.splays_deg[:rows])))
    if not last:
        hang = dataclasses.replace(hang, pullback=None)  # it goes on when the bottom enclosure has come
    wished = np.radians(hang.tilt_deg) if last else bent
    try:
        tilts = reachable(hang, column, least_share)
    except ValueError:
        tilts = None
    if tilts is not None and not last:
        wished = float(np.clip(bent, *tilts))
    held = balance(hang, column, float(wished))
    elevation = held.tilt - bent
    limit = _cart_limit(hang, rows)
    heights = [statics.turned(hole.place[[0, 2]], held.tilt)[1] for hole in pick_holes(hang)]
    hook = hang.carts.deck_m - column.lowest_m(held.tilt) + float(min(heights, default=np.nan))
    name = f"rows 1–{rows} on" + (", complete" if last else "")
    engages = "" if last else _engages(elevation, limit)
    return Stage(name, rows, column, held, tilts, elevation, hook, engages, limit)


def _cart_limit(hang: Hang, rows: int) -> float | None:
    bottom = hang.items[rows - 1]
    return bottom.cart_limit_deg if isinstance(bottom, Enclosure) else None


def _engages(elevation: float, limit_deg: float | None) -> str:
    if limit_deg is None:
        return "cannot be judged"
    # A thousandth of a degree: at the limit is within it.
    return "by itself" if abs(np.degrees(elevation)) <= limit_deg + 1e-3 else "close by hand"
