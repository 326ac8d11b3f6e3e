"""A hang as rigid bodies for the statics, and the rules that its joints are judged by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging import geometry, statics
from rigging.equipment import Enclosure, Frame, Item, lower_pivot_m, rear_hole_back_m
from rigging.findings import EXCEEDS, Finding, judged, unjudged
from rigging.hang import Hang
from rigging.ratings import PermittedBelow
from rigging.statics import G, Joints

Array = npt.NDArray[np.float64]

# Lateral offsets below this are rounding of the file's numbers.
CENTRED_M = 1e-6
LOCK = "lock that holds both ways"
TENSION, COMPRESSION = "rear link in tension, one side", "rear link in compression, one side"
PIN = "front pivot pin, one side"
NUMBER_BELOW = "enclosures below"


@dataclass(frozen=True)
class Column:
    """N rows below a frame, all in frame axes at tilt 0: u forward, y left, v up, origin at its front pivot.

    `mass` (1 + N,) [kg] and `centre` (1 + N, 3) [m]: the frame with its arm, then the rows, each with its
    length of the loom. `pivot`, `upper_hole`, `lower_hole`, `up` (N, 2): of the joint above each row.
    `corners` (K, 2): of the sides of all.
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


def side_beyond(column: Column, hang: Hang, tilt: float, roll: float) -> Array:
    """What a load off the middle can add to one side of a joint beyond half, (N,) [N]; NaN where it cannot be told.

    W |y| / b, with W the weight below, b the distance of the sides and y how far the centre of mass below lies
    from the joint's middle across the plumb line. Two pivots and two links share that lateral moment in a way
    that statics does not determine: either pair may carry all of it.

    Parameters
    ----------
    tilt, roll : float
        Tilt of the frame; roll of the whole about the forward axis, positive left side up. [rad]
    """
    below = np.cumsum(column.mass[:0:-1])[::-1] * G
    return beyond_half(hang, np.abs(side_moment(column, tilt, roll)) / below, below)


def side_moment(column: Column, tilt: float, roll: float) -> Array:
    """Moment of what hangs below each joint about the joint's forward axis, (N,), positive where it lies left. [N m]

    `tilt`, `roll` as for `side_beyond`.
    """
    weight, centre = column.mass[1:] * G, column.centre[1:]
    flat = statics.turned(centre[:, [0, 2]], tilt)[:, 1]
    height = statics.turned(column.pivot, tilt)[:, 1]
    below, y, z = (np.cumsum(n[::-1])[::-1] for n in (weight, weight * centre[:, 1], weight * flat))
    return np.asarray(y * np.cos(roll) - (z - below * height) * np.sin(roll))


def beyond_half(hang: Hang, offset_m: Array, weight_n: Array) -> Array:
    """W |y| / b for the joint above each row, (N,) [N]; NaN where it is off the middle and b is not given."""
    spacing = np.array([item.side_spacing_m or np.nan for item in hang.items[: len(offset_m)]])
    return np.where(offset_m < CENTRED_M, 0.0, weight_n * offset_m / spacing)


def joint_findings(
    hang: Hang, joints: Joints, beyond: Array, factor: float | None, state: str, gap: str = ""
) -> Iterator[Finding]:
    """Links, pins and locks of all joints at one stage.

    `beyond` (N,): what a load off the middle adds to one side [N]. `factor`: the dynamic factor, None where it is
    not known. `state`: the stage, for the note. `gap`: why it is not known how the column hangs, if so.
    """
    above: list[Frame | Item] = [hang.frame, *hang.items]
    for index in range(len(joints.link)):
        part = f"joint {_joint_name(index)}"
        if gap:
            yield from unknown_joint(part, above[index], hang.items[index], f"{gap}; {state}")
            continue
        force = float(joints.link[index]), float(np.hypot(*joints.pivot[index])), float(beyond[index])
        yield from side_findings(part, above[index], hang.items[index], force, factor, state)


def unknown_joint(part: str, upper: Frame | Item, lower: Item, why: str) -> Iterator[Finding]:
    """A joint of a column of which it is not known how it hangs: its link may pull or push."""
    for what in (TENSION, COMPRESSION, PIN):
        yield unjudged(part, what, None, "kg", why)
    if not all(item.rated and item.rated.locks_both_ways for item in (upper, lower)):
        yield unjudged(part, LOCK, None, "", f"not known whether the joint is in compression: {why}")


def side_findings(
    part: str, upper: Frame | Item, lower: Item, force_n: tuple[float, float, float], factor: float | None, state: str
) -> Iterator[Finding]:
    """Link, pin and lock of one joint; `force_n`: link with sign and pivot, both sides, and what one side adds. [N]"""
    link, pin, beyond = force_n
    pulls, pushes = link / 2 + beyond, link / 2 - beyond
    unknown = np.isnan(beyond)
    if pulls > 0 or pushes >= 0 or unknown:
        yield rated_finding(part, TENSION, pulls / G, factor, upper, lower, "link_kg", state)
    if pushes < 0 or unknown:
        yield rated_finding(part, COMPRESSION, -pushes / G, factor, upper, lower, "link_push_kg", state)
    yield rated_finding(part, PIN, (pin / 2 + beyond) / G, factor, upper, lower, "pin_kg", state)
    if pushes < 0:
        yield compressed_lock(part, upper, lower, state)
    elif unknown and not all(item.rated and item.rated.locks_both_ways for item in (upper, lower)):
        why = "not known whether one side of the joint is in compression, nor that its link locks"
        yield unjudged(part, LOCK, None, "", why, state)


def permitted_findings(
    hang: Hang, loom_kg: Array, tilt_deg: float, rows: int, state: str = "", gap: str = ""
) -> Iterator[Finding]:
    """Permitted number and mass below the frame and every row of the first `rows`, by tilt and splay where given.

    `loom_kg` (N,): mass of the loom at each row [kg]. `tilt_deg`: at which the frame hangs; `gap`: why that is not
    known, if so: then entries that hold for some tilts cannot be judged. `state`: the stage, for the notes.
    """
    above: list[Frame | Item] = [hang.frame, *hang.items[: rows - 1]]
    for index, upper in enumerate(above):
        below = hang.items[index:rows]
        number = sum(isinstance(item, Enclosure) for item in below)
        mass = sum(item.mass_kg for item in below) + float(loom_kg[index:rows].sum())
        part = f"below {upper.name}" + (f", row {index}" if index else "")
        entries = upper.rated.below if upper.rated else ()
        if not entries:
            why = f"{upper.name} gives no permitted number or mass below"
            yield unjudged(part, "mass below", mass, "kg", why, state)
            continue
        if gap and any(entry.tilt_deg for entry in entries):
            certain = [entry for entry in entries if not entry.tilt_deg and entry.holds(0.0, hang.splays_deg[index])]
            found = _permitted(part, number, mass, certain, upper, state)
            yield from (finding for finding in found if finding.status == EXCEEDS)
            yield unjudged(part, "mass below", mass, "kg", f"{upper.name} has entries by tilt: {gap}", state)
            continue
        matching = [entry for entry in entries if entry.holds(tilt_deg, hang.splays_deg[index])]
        yield from _permitted(part, number, mass, matching, upper, state)
        if not matching:
            at = f"a tilt of {tilt_deg:.1f}° with a splay of {hang.splays_deg[index]:g}°"
            yield unjudged(part, "mass below", mass, "kg", f"{upper.name} has no entry for {at}", state)


def _permitted(
    part: str, number: int, mass: float, entries: list[PermittedBelow], upper: Frame | Item, state: str
) -> Iterator[Finding]:
    source = upper.rated.source if upper.rated else ""
    numbers = [entry.number for entry in entries if entry.number is not None]
    masses = [entry.mass_kg for entry in entries if entry.mass_kg is not None]
    if numbers:
        yield judged(part, NUMBER_BELOW, float(number), float(min(numbers)), "", source, state)
    if masses:
        yield judged(part, "mass below", mass, min(masses), "kg", source, state)
    if entries and not numbers and not masses:
        yield unjudged(part, "mass below", mass, "kg", f"{upper.name}: its entry gives neither number nor mass", state)


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
        why = f"one side gets more than half, and {lower.name} gives no side_spacing_m: give it in its file"
        return unjudged(part, what, None, "kg", why, state)
    limit, source = min(given.values(), default=(None, ""))
    if limit is not None and (worked > limit or (not missing and factor is not None)):
        return judged(part, what, worked, limit, "kg", source, state)
    if missing:
        return unjudged(part, what, worked, "kg", f"{' and '.join(missing)}: no {kind}", state)
    return unjudged(part, what, worked, "kg", "no dynamic factor: the hoist gives no class or speed", state)


def compressed_lock(part: str, upper: Frame | Item, lower: Item, state: str) -> Finding:
    """A joint in compression holds only with a lock that works both ways: a finding of its own."""
    known = [item.rated.locks_both_ways if item.rated else None for item in (upper, lower)]
    if False in known:
        names = [item.name for item, lock in zip((upper, lower), known, strict=True) if lock is False]
        return Finding(part, LOCK, None, None, "", "exceeds", "", f"{' and '.join(names)}: no such lock; {state}")
    if None in known:
        return unjudged(part, LOCK, None, "", "the joint is in compression; no data say whether its link locks", state)
    return Finding(part, LOCK, None, None, "", "within", "equipment files", f"in compression: set the locks; {state}")


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
