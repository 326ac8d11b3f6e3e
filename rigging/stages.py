"""Building and landing, cart by cart: what hangs, how it tilts, whether the next group engages."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rigging import statics
from rigging.column import Column, column_of
from rigging.equipment import Enclosure
from rigging.findings import EXCEEDS, Finding, judged, unjudged
from rigging.hang import Hang
from rigging.loads import Balance, balance, pick_holes, reachable
from rigging.policy import Policy

_UPRIGHT = 1e-6  # a lean to the side below this is rounding [rad]
GROUP = 4  # columns travel in groups of up to four on a cart (common practice, no source)


@dataclass(frozen=True)
class Stage:
    """One step of building: `rows` are on and hang at `balance`.

    `tilts` [rad]: what the picks can reach, None where the tilt is free. `lowest_elevation` [rad]: aim
    elevation of the lowest row. `hook_m`: height of the lowest hook above the floor when the lowest edge
    is level with the cart's deck. `engages`: whether the next group joins by itself, by hand, or cannot be
    judged; empty where all are on. `limit_deg`: the limit angle of the lowest enclosure's file.
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
    """Rows on each cart, the top one first; an adapter travels with the enclosures below it and does not count."""
    rows = hang.enclosure_rows
    counts = hang.carts.groups or tuple(min(GROUP, len(rows) - first) for first in range(0, len(rows), GROUP))
    ends = [int(rows[end - 1]) + 1 for end in np.cumsum(counts)]
    ends[-1] = len(hang.items)
    return tuple(end - start for start, end in zip([0, *ends], ends, strict=False))


def build(hang: Hang, least_share: float, lean_share: float, drops_m: Sequence[float] = ()) -> list[Stage]:
    """The stages of building, cart by cart, and at last the complete column at the tilt of the hang.

    Over its cart the frame is brought as near as its picks allow, each with `lean_share` of the weight or
    more, to the tilt that levels the lowest row. `least_share`: that of each pick when complete. `drops_m`:
    length of the hardware between hook and hole of each pick. [m]
    """
    steps = [int(rows) for rows in np.cumsum(groups(hang))]
    over_carts = [_stage(hang, rows, lean_share, drops_m, at_trim=False) for rows in steps]
    return [*over_carts, _stage(hang, steps[-1], least_share, drops_m, at_trim=True)]


def _stage(hang: Hang, rows: int, share: float, drops_m: Sequence[float], *, at_trim: bool) -> Stage:
    column = column_of(hang, rows)
    bent = float(np.sum(np.radians(hang.splays_deg[:rows])))
    if not at_trim:
        hang = dataclasses.replace(hang, pullback=None)  # it goes on when the column is complete
    wished = float(np.radians(hang.tilt_deg)) if at_trim else bent
    try:
        tilts = reachable(hang, column, share)
    except ValueError:
        tilts = None
    if tilts is not None and not at_trim:
        wished = float(np.clip(bent, *tilts))
    held = balance(hang, column, wished)
    elevation = held.tilt - bent
    limit = _cart_limit(hang, rows)
    heights = [float(statics.turned(hole.place[[0, 2]], held.tilt)[1]) for hole in pick_holes(hang)]
    if drops_m:
        heights = [height + drop for height, drop in zip(heights, drops_m, strict=True)]
    hook = hang.carts.deck_m - column.lowest_m(held.tilt) + min(heights, default=np.nan)
    on = "row 1" if rows == 1 else f"rows 1–{rows}"
    name = f"{on}, complete" if at_trim else f"{on}, over the cart"
    last = rows == len(hang.items)
    return Stage(name, rows, column, held, tilts, elevation, hook, "" if last else _engages(elevation, limit), limit)


def _cart_limit(hang: Hang, rows: int) -> float | None:
    bottom = hang.items[rows - 1]
    return bottom.cart_limit_deg if isinstance(bottom, Enclosure) else None


def _engages(elevation: float, limit_deg: float | None) -> str:
    if limit_deg is None:
        return "cannot be judged"
    # A thousandth of a degree: at the limit is within it.
    return "by itself" if abs(np.degrees(elevation)) <= limit_deg + 1e-3 else "close by hand"


def tilt_findings(hang: Hang, stages: list[Stage], policy: Policy) -> Iterator[Finding]:
    """Whether the complete column takes the file's tilt and hangs upright, and how high its lowest edge stays."""
    last = stages[-1]
    tilt = float(np.degrees(last.balance.tilt))
    if hang.picks and last.balance.free:
        note = f"the balance hangs it at {tilt:+.2f}°, the file wants {hang.tilt_deg:+g}°"
        off = abs(tilt - hang.tilt_deg)
        if last.balance.unknown:
            yield unjudged("frame", "tilt off the file's", None, "°", last.balance.unknown)
        else:
            yield judged("frame", "tilt off the file's", off, policy.tilt_tolerance_deg, "°", policy.name, note)
    elif last.tilts is not None:
        low, high = np.degrees(last.tilts)
        note = f"its picks reach {low:+.1f}° to {high:+.1f}° with {policy.least_pick_share:.0%} on each"
        outside = max(low - hang.tilt_deg, hang.tilt_deg - high, 0.0)
        yield judged("frame", "tilt beyond its picks' reach", float(outside), 0.0, "°", "statics", note)
    if abs(last.balance.roll) > _UPRIGHT:
        note = "its centre of mass hangs plumb below its picks, off the middle of the column"
        lean = abs(float(np.degrees(last.balance.roll)))
        yield judged("frame", "lean to the side", lean, policy.tilt_tolerance_deg, "°", policy.name, note)
    for stage in stages[:-2]:
        elevation = float(np.degrees(stage.lowest_elevation))
        if stage.limit_deg is None:
            why = f"{hang.items[stage.rows - 1].name} gives no cart_limit_deg for the next group"
            yield unjudged(stage.name, "lowest row off level", abs(elevation), "°", why)
    lowest = hang.position_m[2] + last.column.lowest_m(last.balance.tilt)
    what = "lowest edge above the floor below"
    if hang.floor_below_m is None:
        yield unjudged("clearance", what, None, "m", "the hang file gives no floor_below_m")
    else:
        above = lowest - hang.floor_below_m
        found = judged("clearance", what, above, policy.clearance_m, "m", policy.name, least=True)
        if last.balance.unknown and found.status != EXCEEDS:
            found = unjudged("clearance", what, above, "m", last.balance.unknown)
        yield found
