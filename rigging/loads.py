"""What each pick of a hang carries at a tilt, with how much of the column on."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from rigging import statics
from rigging.column import Column, arm_place, column_of
from rigging.equipment import Enclosure, Frame, PickArm
from rigging.hang import Hang
from rigging.picks import ArmUse
from rigging.ratings import ArmMount
from rigging.statics import G

Array = npt.NDArray[np.float64]

# Picks nearer to each other than this are at one place for the balance: no pair of holes is.
_APART_M = 1e-3
# A pick that pushes with less than this share of the weight carries nothing: rounding of the files' numbers.
_ROUNDING = 1e-9
# A pull-back may leave the column's plane by this share of its length: some 3°.
_ASIDE = 0.05


@dataclass(frozen=True)
class PickHole:
    """Where a pick takes hold: frame axes (u, y, v) [m], its working load and the source of that."""

    name: str
    place: Array
    limit_kg: float | None
    source: str


@dataclass(frozen=True)
class Balance:
    """How a hang hangs: `tilt` and `roll` [rad], least and greatest load of each pick (K,) [N].

    `pull` (2,): the pull-back's force on the column, (x, z) [N]; `lean` the top chain's lean from plumb [rad];
    `problem` why no balance exists, empty where it does; `known`: whether it is the balance that fails, and
    not the data; `free`: the tilt follows from the balance. Loads are NaN where there is none.
    """

    tilt: float
    roll: float
    low: Array
    high: Array
    pull: Array
    lean: float
    problem: str
    free: bool
    known: bool = True

    @property
    def unknown(self) -> str:
        """Why loads, tilt and roll are not known; empty where they are, though the balance may fail."""
        return self.problem if not self.known or bool(np.isnan(self.high).any()) else ""

    @property
    def indeterminate(self) -> bool:
        """Whether statics leaves the loads open: the envelope counts."""
        return bool(np.any(self.high - self.low > 1e-6 * max(float(self.high.max(initial=0.0)), 1.0)))


class _DataMissing(ValueError):
    """The files leave open what the balance needs."""


def all_holes(hang: Hang) -> list[PickHole]:
    """The holes of a hang's frame, and of its arm."""
    return _frame_holes(hang) + _arm_holes(hang)


def pick_holes(hang: Hang) -> list[PickHole]:
    """The holes of a hang's picks, in their order."""
    options = {hole.name: hole for hole in all_holes(hang)}
    return [options[_hole_name(pick.on, pick.hole)] for pick in hang.picks]


def balance(hang: Hang, column: Column, tilt: float) -> Balance:
    """How the picks carry a column at a wished tilt [rad].

    One pick, or two side by side, leave the tilt to the balance, unless a pull-back sets it.
    """
    places = np.array([hole.place for hole in pick_holes(hang)]).reshape(-1, 3)
    weight, centre = column.mass_kg * G, column.balance
    none = np.full(len(places), np.nan)
    if not len(places):
        return Balance(tilt, 0.0, none, none, np.zeros(2), 0.0, "the hang file names no picks", False, known=False)
    flat = centre[[0, 2]]
    free = float(np.ptp(places[:, 0])) < _APART_M and hang.pullback is None
    try:
        if free:
            tilt = float(statics.hanging_tilt(flat, places[0, [0, 2]]))
        roll = _roll(places, centre, tilt)
        if hang.pullback is not None:
            return _with_pullback(hang, column, places, tilt, roll)
        low, high = _shares(weight, centre, places, tilt)
    except ValueError as error:
        known = not isinstance(error, _DataMissing)
        return Balance(tilt, 0.0, none, none, np.zeros(2), 0.0, str(error), free, known)
    low, high = (np.where(np.abs(loads) < _ROUNDING * weight, 0.0, loads) for loads in (low, high))
    return Balance(tilt, roll, low, high, np.zeros(2), 0.0, _tips(low), free)


def reachable(hang: Hang, column: Column, share: float = 0.0) -> tuple[float, float] | None:
    """Lowest and highest tilt [rad] with every pick loaded at least by a share.

    None where the tilt is not the picks' to set: one pick, picks side by side, a pull-back.
    """
    places = np.array([hole.place for hole in pick_holes(hang)]).reshape(-1, 3)
    if len(places) < 2 or float(np.ptp(places[:, 0])) < _APART_M or hang.pullback is not None:
        return None
    front, rear = places[np.argmax(places[:, 0])], places[np.argmin(places[:, 0])]
    return statics.reachable_tilts(column.balance[[0, 2]], front[[0, 2]], rear[[0, 2]], share)


def best_picks(hang: Hang, arms: Sequence[PickArm], share: float) -> str:
    """Which two holes bring the complete column to its tilt with the best balance, and which one alone, in words.

    Where no two holes of the frame and its arm do, the arms that the frame takes are tried.
    """
    tilt = float(np.radians(hang.tilt_deg))
    found = best_pair(hang, tilt, share)
    if not found and hang.arm is None:
        tried = [(best_pair(other, tilt, share), other) for other in with_arms(hang, arms)]
        words = [f"with {o.arm[0].name} at the {o.arm[1].end}, {pair.words}" for pair, o in tried if pair and o.arm]
        reach = f"no two holes of the bare frame reach {hang.tilt_deg:+g}° with {share:.0%} on each"
        return "; ".join([reach, *(words or ["no pick arm that it takes does either"])])
    words = [found.words if found else f"no two holes reach {hang.tilt_deg:+g}° with {share:.0%} on each"]
    column = column_of(hang)
    alone = [(hole, natural_tilt(column, hole)) for hole in all_holes(hang)]
    hole, natural = min(alone, key=lambda one: abs(one[1] - tilt), default=(None, float("inf")))
    if hole is not None and np.isfinite(natural):
        words.append(f"alone, {hole.name} hangs nearest, at {np.degrees(natural):+.1f}°")
    return "; ".join(words)


@dataclass(frozen=True)
class Pair:
    """Two holes in line, and the share of the weight that the front one carries at a tilt."""

    front: PickHole
    rear: PickHole
    on_front: float

    @property
    def words(self) -> str:
        """Who carries what."""
        return f"{self.front.name} and {self.rear.name} carry {self.on_front:.0%} and {1 - self.on_front:.0%}"


def pairs(hang: Hang, tilt: float, share: float) -> list[Pair]:
    """Pairs of holes that hold the complete column at a tilt [rad] with a share on each, the best balance first."""
    holes = [hole for hole in all_holes(hang) if abs(hole.place[1]) < _APART_M]
    centre = statics.turned(column_of(hang).balance[[0, 2]], tilt)[0]
    places = {hole.name: float(statics.turned(hole.place[[0, 2]], tilt)[0]) for hole in holes}
    found: list[tuple[tuple[float, float], Pair]] = []
    for front, rear in combinations(sorted(holes, key=lambda hole: -hole.place[0]), 2):
        x1, x2 = places[front.name], places[rear.name]
        if x1 - x2 < _APART_M:
            continue
        on_front = float((centre - x2) / (x1 - x2))
        least = min(on_front, 1.0 - on_front)
        if least >= share:
            # Of equal balances the wider pair: its loads move less when the tilt does.
            found.append(((-round(least, 3), x2 - x1), Pair(front, rear, on_front)))
    return [pair for _, pair in sorted(found, key=lambda one: one[0])]


def best_pair(hang: Hang, tilt: float, share: float) -> Pair | None:
    """The first of `pairs`, if there is one."""
    return next(iter(pairs(hang, tilt, share)), None)


def with_arms(hang: Hang, arms: Sequence[PickArm]) -> list[Hang]:
    """The hang with each pick arm that its frame takes, at each end."""
    return [dataclasses.replace(hang, arm=(arm, use)) for arm in arms for use in _arm_uses(hang.frame, arm)]


def _arm_uses(frame: Frame, arm: PickArm) -> list[ArmUse]:
    """Ends of a frame that take an arm."""
    mounts: list[tuple[Literal["front", "rear"], ArmMount | None]] = [
        ("front", frame.arm_front),
        ("rear", frame.arm_rear),
    ]
    return [ArmUse(type=arm.name, end=end) for end, mount in mounts if mount is not None and arm.name in mount.takes]


def pullback_place(hang: Hang, column: Column) -> Array | None:
    """Where a pull-back takes hold of the bottom row, in frame axes (u, v) [m]; None where no hole is given."""
    bottom = hang.items[len(column.pivot) - 1]
    if not isinstance(bottom, Enclosure) or bottom.pullback_m is None:
        return None
    elevation = -float(np.sum(np.radians(hang.splays_deg[: len(column.pivot)])))
    return np.asarray(column.pivot[-1] + statics.turned(np.array(bottom.pullback_m)[[0, 2]], elevation))


def _with_pullback(hang: Hang, column: Column, places: Array, tilt: float, roll: float) -> Balance:
    hold = pullback_place(hang, column)
    if hold is None:
        raise _DataMissing("the bottom row's file gives no pullback_m: where the rope takes hold is not known")
    if hang.pullback is None or hang.pullback.to_m is None:
        raise _DataMissing("the pull-back's upper end is not known: give it point with a venue file, or to_m")
    if np.ptp(places[:, 0]) >= _APART_M:
        raise _DataMissing("picks in front and behind with a pull-back share the load as statics does not determine")
    if abs(roll) > _ROUNDING:
        raise _DataMissing("the column is off the middle: how it rolls between pick and pull-back is not worked out")
    low = statics.turned(hold, tilt)
    azimuth = np.radians(hang.azimuth_deg)
    apart = np.array(hang.pullback.to_m) - np.array(hang.position_m)
    to = np.array([apart[0] * np.cos(azimuth) + apart[1] * np.sin(azimuth), apart[2]])
    top = statics.turned(places[:, [0, 2]].mean(axis=0), tilt)
    centre = statics.turned(column.balance[[0, 2]], tilt)
    aside = apart[1] * np.cos(azimuth) - apart[0] * np.sin(azimuth)
    if abs(aside) > _ASIDE * float(np.hypot(*(to - low))):
        raise _DataMissing("the pull-back pulls sideways, out of the column's plane: that is not worked out")
    weight = column.mass_kg * G
    pull, on_pick, lean = statics.pullback(weight, centre, top, low, to - low)
    whole = float(np.hypot(*on_pick))
    carried = np.array([whole])
    if len(places) > 1:
        # Side by side: moments about the forward axis of what hangs off the middle; the rope is in the middle.
        across = weight * float(column.balance[1]) / float(on_pick[1])
        first, second = statics.pick_loads(whole, across, places[0, 1], places[1, 1])
        carried = np.array([float(first), float(second)])
    carried = np.where(np.abs(carried) < _ROUNDING * weight, 0.0, carried)
    problem = "the pull-back would have to push" if pull < 0 else _tips(carried)
    toward = (to - low) / np.linalg.norm(to - low)
    return Balance(tilt, roll, carried, carried, pull * toward, lean, problem, False)


def _tips(loads: Array) -> str:
    tips = " and ".join(f"pick {i + 1}" for i in np.flatnonzero(loads < 0))
    return f"{tips} would have to push: the column tips" if tips else ""


def _shares(weight: float, centre: Array, places: Array, tilt: float) -> tuple[Array, Array]:
    x = statics.turned(places[:, [0, 2]], tilt)[:, 0]
    if len(places) == 1:
        return np.array([weight]), np.array([weight])
    at = float(statics.turned(centre[[0, 2]], tilt)[0])
    in_line, side_by_side = np.ptp(places[:, 1]) < _APART_M, np.ptp(x) < _APART_M
    if len(places) == 2:
        if not in_line and not side_by_side:
            raise _DataMissing("two picks askew, neither in line nor side by side: their tilt is not worked out")
        along, where = (places[:, 1], float(centre[1])) if side_by_side else (x, at)
        first, second = statics.pick_loads(weight, where, along[0], along[1])
        loads = np.array([float(first), float(second)])
        return loads, loads
    # Picks in line let the column roll until its centre of mass is plumb below their line.
    y = places[0, 1] if in_line else centre[1]
    return statics.vertical_loads(weight, (at, float(y)), np.column_stack([x, places[:, 1]]))


def _roll(places: Array, centre: Array, tilt: float) -> float:
    """Roll at which the centre of mass is plumb below picks that are in line front to rear, 0 for wider ones. [rad]"""
    if np.ptp(places[:, 1]) >= _APART_M:
        return 0.0
    flat = statics.turned(places[:, [0, 2]], tilt)
    below = flat.mean(axis=0) - statics.turned(centre[[0, 2]], tilt)
    line = flat[np.argmax(flat[:, 0])] - flat[np.argmin(flat[:, 0])]
    length = float(np.hypot(*line))
    # The column rolls about the line of its picks: what counts is the distance from that line.
    drop = abs(line[0] * below[1] - line[1] * below[0]) / length if length > _APART_M else below[1]
    return float(np.arctan2(places[:, 1].mean() - centre[1], drop))


def natural_tilt(column: Column, hole: PickHole) -> float:
    """The tilt at which a column hangs from one hole [rad]; infinite where it has none."""
    try:
        return float(statics.hanging_tilt(column.balance[[0, 2]], hole.place[[0, 2]]))
    except ValueError:
        return float("inf")


def _hole_name(on: str, name: str) -> str:
    return f"{on} hole {name}"


def _frame_holes(hang: Hang) -> list[PickHole]:
    places = np.array([hole.position_m for hole in hang.frame.hole]).reshape(-1, 3) * [1.0, hang.side, 1.0]
    return [
        PickHole(_hole_name("frame", hole.name), place, hole.limit_kg, hang.frame.source)
        for hole, place in zip(hang.frame.hole, places, strict=True)
    ]


def _arm_holes(hang: Hang) -> list[PickHole]:
    if hang.arm is None:
        return []
    arm, use = hang.arm
    return [
        PickHole(
            _hole_name("arm", hole.name),
            arm_place(hang.frame, use.end, hole.out_m, hole.up_m),
            hole.limit_kg,
            arm.source,
        )
        for hole in arm.hole
    ]
