"""A hang as rigid bodies for the statics, and the rules that its joints are judged by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import geometry, statics
from rigging.equipment import Enclosure, Frame, Item, lower_pivot_m, rear_hole_back_m
from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang
from rigging.ratings import PermittedBelow
from rigging.statics import G, Joints

Array = npt.NDArray[np.float64]

# Lateral offsets below this are rounding of the file's numbers.
CENTRED_M = 1e-6


@dataclass(frozen=True)
class Column:
    """N rows below a frame, all in frame axes at tilt 0: u forward, y left, v up, origin at its front pivot.

    `mass` (1 + N,) [kg] and `centre` (1 + N, 3) [m]: the frame with its arm, then the rows, each with its
    length of the loom. `pivot`, `upper_hole`, `lower_hole`, `up` (N, 2): of the joint above each row.
    `lowest` (K, 2): corners that may be the lowest.
    """

    mass: Array
    centre: Array
    pivot: Array
    upper_hole: Array
    lower_hole: Array
    up: Array
    corners: Array

    @property
    def mass_kg(self) -> float:
        """Mass of all. [kg]"""
        return float(self.mass.sum())

    @property
    def balance(self) -> Array:
        """Centre of mass of all, (u, y, v). [m]"""
        return statics.centre_of_mass(self.mass, self.centre)[1]

    def lowest_m(self, tilt: float) -> float:
        """Lowest edge below the frame reference at a tilt [rad], negative. [m]"""
        return float(statics.turned(self.corners, tilt)[..., 1].min())


def column_of(hang: Hang, rows: int | None = None) -> Column:
    """The bodies of a hang with its first `rows` rows on (all when absent)."""
    items = hang.items[: len(hang.items) if rows is None else rows]
    splays = np.radians(hang.splays_deg[: len(items)])
    poses = geometry.chain([0.0, 0.0, 0.0], 0.0, 0.0, splays, [lower_pivot_m(item) for item in items])
    origin, forward, up = (a[:, [0, 2]] for a in (poses.origin, poses.axes[:, 0], poses.axes[:, 2]))
    frame_mass, frame_centre = _frame_body(hang)
    masses, centres = [frame_mass], [frame_centre]
    for index, item in enumerate(items):
        mass, centre = _row_body(item, hang)
        masses.append(mass)
        centres.append(poses.place(index, centre))
    above: list[Frame | Item] = [hang.frame, *items[:-1]]
    above_forward = np.vstack([[1.0, 0.0], forward[:-1]])[: len(items)]
    above_up = np.vstack([[0.0, 1.0], up[:-1]])[: len(items)]
    back = np.array([rear_hole_back_m(a, b) for a, b in zip(above, items, strict=False)])[:, np.newaxis]
    inset = np.array([item.rear_hole_inset_m for item in above[: len(items)]])[:, np.newaxis]
    own_back = np.array([item.rear_hole_back_m for item in items])[:, np.newaxis]
    own_inset = np.array([item.rear_hole_inset_m for item in items])[:, np.newaxis]
    outlines = [geometry.side_outline(hang.frame)]
    outlines += [poses.place(index, geometry.side_outline(item)) for index, item in enumerate(items)]
    return Column(
        mass=np.array(masses),
        centre=np.array(centres),
        pivot=origin,
        upper_hole=origin - back * above_forward + inset * above_up,
        lower_hole=origin - own_back * forward - own_inset * up,
        up=above_up,
        corners=np.concatenate(outlines)[:, [0, 2]],
    )


def joints_of(
    column: Column, tilt: float, force_n: npt.ArrayLike = (0.0, 0.0), at_m: npt.ArrayLike = (0.0, 0.0)
) -> Joints:
    """Joint forces at a tilt [rad]; an outside force (x, z) [N] may act at a place in frame axes (u, v) [m]."""
    places = (column.pivot, column.upper_hole, column.lower_hole, column.up)
    pivot, upper, lower, up = (statics.turned(p, tilt) for p in places)
    centre = statics.turned(column.centre[1:, [0, 2]], tilt)
    return statics.joint_forces(pivot, upper, lower, up, column.mass[1:], centre, force_n, statics.turned(at_m, tilt))


def side_shares(column: Column, hang: Hang, roll: float) -> Array:
    """Share of each joint's force that the heavier side may carry, (N,); NaN where it cannot be told.

    Half where all below is centred. Off the middle, two pivots and two links share a lateral moment in a
    way that statics does not determine: ½ + |y|/b, with b the distance of the sides and y that of the
    centre of mass below from the joint's middle across the plumb line, is the most that one side can carry.

    Parameters
    ----------
    roll : float
        Roll of the whole about the forward axis, positive left side up. [rad]
    """
    mass, centre = column.mass[1:], column.centre[1:]
    below = np.cumsum(mass[::-1])[::-1]
    y, v = (np.cumsum((mass * centre[:, axis])[::-1])[::-1] / below for axis in (1, 2))
    offset = np.abs(y * np.cos(roll) - (v - column.pivot[:, 1]) * np.sin(roll))
    spacing = np.array([item.side_spacing_m or np.nan for item in hang.items[: len(mass)]])
    return np.where(offset < CENTRED_M, 0.5, 0.5 + offset / spacing)


def joint_findings(hang: Hang, joints: Joints, shares: Array, factor: float | None, state: str) -> Iterator[Finding]:
    """Links, pins and locks of all joints at one stage.

    `factor`: the dynamic factor, None where it is not known. `state`: the stage, for the note.
    """
    above: list[Frame | Item] = [hang.frame, *hang.items]
    for index in range(len(joints.link)):
        upper, lower = above[index], hang.items[index]
        part = f"joint {_joint_name(index)}"
        share = float(shares[index])
        link = float(joints.link[index]) / G
        pin = float(np.hypot(*joints.pivot[index])) / G
        kind, what = ("link_push_kg", "rear link in compression") if link < 0 else ("link_kg", "rear link in tension")
        yield rated_finding(part, f"{what}, one side", abs(link) * share, factor, upper, lower, kind, state)
        yield rated_finding(part, "front pivot pin, one side", pin * share, factor, upper, lower, "pin_kg", state)
        if link < 0:
            yield compressed_lock(part, upper, lower, state)


def permitted_findings(hang: Hang, loom_kg: Array) -> Iterator[Finding]:
    """Permitted number and mass below the frame and every row, by tilt and splay where given.

    `loom_kg` (N,): mass of the loom at each row. [kg]
    """
    above: list[Frame | Item] = [hang.frame, *hang.items[:-1]]
    for index, upper in enumerate(above):
        below = hang.items[index:]
        number = sum(isinstance(item, Enclosure) for item in below)
        mass = sum(item.mass_kg for item in below) + float(loom_kg[index:].sum())
        part = f"below {upper.name}" + (f", row {index}" if index else "")
        entries = upper.rated.below if upper.rated else ()
        if not entries:
            yield unjudged(part, "mass below", mass, "kg", f"{upper.name} gives no permitted number or mass below")
            continue
        matching = [entry for entry in entries if entry.holds(hang.tilt_deg, hang.splays_deg[index])]
        yield from _permitted(part, number, mass, matching, upper)
        if not matching:
            at = f"a tilt of {hang.tilt_deg:g}° with a splay of {hang.splays_deg[index]:g}°"
            yield unjudged(part, "mass below", mass, "kg", f"{upper.name} has no entry for {at}")


def _permitted(
    part: str, number: int, mass: float, entries: list[PermittedBelow], upper: Frame | Item
) -> Iterator[Finding]:
    source = upper.rated.source if upper.rated else ""
    numbers = [entry.number for entry in entries if entry.number is not None]
    masses = [entry.mass_kg for entry in entries if entry.mass_kg is not None]
    if numbers:
        yield judged(part, "enclosures below", float(number), float(min(numbers)), "", source)
    if masses:
        yield judged(part, "mass below", mass, min(masses), "kg", source)
    if entries and not numbers and not masses:
        yield unjudged(part, "mass below", mass, "kg", f"{upper.name}: its entry gives neither number nor mass")


def rated_finding(
    part: str, what: str, value: float, factor: float | None, upper: Frame | Item, lower: Item, kind: str, state: str
) -> Finding:
    """A force on one side against the lower of the two items' ratings; missing where one of them is."""
    given = {}
    for item in (upper, lower):
        limit = getattr(item.rated, kind, None) if item.rated else None
        if limit is not None:
            given[item.name] = (limit, item.rated.source if item.rated else "")
    missing = sorted({item.name for item in (upper, lower)} - set(given))
    worked = value * (factor or 1.0)
    if np.isnan(value):
        why = f"the load is off the middle and {lower.name} gives no side_spacing_m"
        return unjudged(part, what, None, "kg", why, state)
    limit, source = min(given.values(), default=(None, ""))
    if limit is not None and (worked > limit or (not missing and factor is not None)):
        return judged(part, what, worked, limit, "kg", source, state)
    if missing:
        return unjudged(part, what, worked, "kg", f"{' and '.join(missing)}: no {kind}", state)
    return unjudged(part, what, worked, "kg", "no dynamic factor: the hoist gives no class or speed", state)


def compressed_lock(part: str, upper: Frame | Item, lower: Item, state: str) -> Finding:
    """A joint in compression holds only with a lock that works both ways: a finding of its own."""
    what = "lock that holds both ways"
    known = [item.rated.locks_both_ways if item.rated else None for item in (upper, lower)]
    if False in known:
        names = [item.name for item, lock in zip((upper, lower), known, strict=True) if lock is False]
        return Finding(part, what, None, None, "", "exceeds", "", f"{' and '.join(names)}: no such lock; {state}")
    if None in known:
        return unjudged(part, what, None, "", "the joint is in compression; no data say whether its link locks", state)
    return Finding(part, what, None, None, "", "within", "equipment files", f"in compression: set the locks; {state}")


def loom_masses(hang: Hang) -> Array:
    """Mass of the loom at each row, (N,). [kg]"""
    per_m = hang.loom.kg_per_m if hang.loom else 0.0
    return np.array([per_m * item.height_m for item in hang.items])


def _joint_name(index: int) -> str:
    return "frame–1" if index == 0 else f"rows {index}–{index + 1}"


def _row_body(item: Item, hang: Hang) -> tuple[float, Array]:
    """A row with its length of the loom, which hangs at its rear face, in box axes."""
    masses, places = [item.mass_kg], [np.array(item.centre_of_mass_m) * (1.0, hang.side, 1.0)]
    if hang.loom and hang.loom.kg_per_m:
        masses.append(hang.loom.kg_per_m * item.height_m)
        places.append(np.array([item.front_m - item.depth_m, hang.loom.y_m, -item.height_m / 2.0]))
    return statics.centre_of_mass(masses, places)


def _frame_body(hang: Hang) -> tuple[float, Array]:
    masses, places = [hang.frame.mass_kg], [np.array(hang.frame.centre_of_mass_m) * (1.0, hang.side, 1.0)]
    if hang.arm:
        arm, use = hang.arm
        masses.append(arm.mass_kg)
        places.append(arm_place(hang.frame, use.end, arm.centre_out_m, 0.0))
    return statics.centre_of_mass(masses, places)


def arm_place(frame: Frame, end: str, out_m: float, up_m: float) -> Array:
    """A place on a pick arm in frame axes (u, y, v). [m]

    Raises
    ------
    ValueError
        If the frame has no mount at that end.
    """
    mount = frame.arm_front if end == "front" else frame.arm_rear
    if mount is None:
        raise ValueError(f"{frame.name} has no mount for an arm at its {end}")
    return np.array([mount.x_m + (out_m if end == "front" else -out_m), 0.0, mount.z_m + up_m])
