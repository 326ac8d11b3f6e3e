"""A column that stands on the ground, its frame below it as a base: stability, friction, locks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from rigging import statics
from rigging.column import LOCK, Column, beyond_half, compressed_lock, side_findings, unknown_joint
from rigging.equipment import lower_pivot_m
from rigging.findings import EXCEEDS, Finding, judged, unjudged
from rigging.hang import Hang
from rigging.policy import Policy
from rigging.site import Site
from rigging.statics import G, Joints, turned
from rigging.wind import EXTENTS, NO_GUST, face_of, stack_stability, unknown_wind, wind_force

Array = npt.NDArray[np.float64]

_ON_FLOOR_M = 0.02


def base_pivot(hang: Hang, column: Column) -> Array:
    """The bottom row's lower front pivot from the frame reference, which is that of the base, (x, z). [m]"""
    bent = float(np.sum(np.radians(hang.splays_deg)))
    tilt = float(np.radians(hang.tilt_deg))
    lower = np.array(lower_pivot_m(hang.items[-1]))
    return np.asarray(turned(column.pivot[-1], tilt) + turned(lower, tilt - bent))


def stack_joints(
    hang: Hang, column: Column, extra_force_n: npt.ArrayLike = (0.0, 0.0), extra_at_m: npt.ArrayLike = (0.0, 0.0)
) -> Joints:
    """Links and pivots between the rows of a stack, from the balance of what stands above each joint.

    The joint above row 1 carries nothing; the bottom row stands on the base.

    Parameters
    ----------
    hang : Hang
    column : Column
    extra_force_n, extra_at_m : array_like, shape (2,) or (N, 2)
        Outside force on the part above each joint, (x, z), such as the wind's, and where it acts. [N], [m]
    """
    tilt = float(np.radians(hang.tilt_deg))
    pivot, upper, lower, up = (turned(p, tilt) for p in (column.pivot, column.upper_hole, column.lower_hole, column.up))
    centre = turned(column.centre[1:, [0, 2]], tilt)
    mass = column.mass[1:]
    extra, at = (np.broadcast_to(np.asarray(v, dtype=float), pivot.shape) for v in (extra_force_n, extra_at_m))
    above, moment_of = _above(mass), _above(mass[:, np.newaxis] * centre)
    length = np.linalg.norm(upper - lower, axis=1)
    along = (upper - lower) / length[:, np.newaxis]
    # Moments of the part above about H: its weights, what acts on it, and the link's pull −T e at the upper hole.
    moment = -G * (moment_of[:, 0] - above * pivot[:, 0]) + _cross(at - pivot, extra)
    link = moment / _cross(upper - pivot, along)
    force = extra - np.column_stack([np.zeros_like(above), G * above]) - link[:, np.newaxis] * along
    forward = np.column_stack([up[:, 1], -up[:, 0]])
    return Joints(link, force, np.sum(force * up, axis=1), np.sum(force * forward, axis=1), length)


def _above(values: Array) -> Array:
    """Sums over all rows above the joint above each."""
    return np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)[:-1]])


def _cross(a: Array, b: Array) -> Array:
    """a_x b_z − a_z b_x."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def stack_findings(hang: Hang, column: Column, joints: Joints, site: Site | None, policy: Policy) -> Iterator[Finding]:
    """Whether a stack stands: on the floor, within its base, in the wind, with every joint locked."""
    pivot = base_pivot(hang, column)
    yield _on_floor(hang, pivot)
    tilt = float(np.radians(hang.tilt_deg))
    frame = hang.frame.centre_of_mass_m
    masses = np.array([hang.frame.mass_kg, *column.mass[1:]])
    x = np.array([pivot[0] + frame[0], *turned(column.centre[1:, [0, 2]], tilt)[:, 0]])
    y = np.array([frame[1] * hang.side, *column.centre[1:, 1]])
    mass, (ahead_of, left_of) = statics.centre_of_mass(masses, np.column_stack([x, y]))
    ahead = float(pivot[0] + hang.frame.front_m - ahead_of)
    behind = float(ahead_of - (pivot[0] + hang.frame.front_m - hang.frame.depth_m))
    aside = hang.frame.width_m / 2 - abs(float(left_of))
    note = "centre of mass to the nearest edge of the base, without wind"
    inside = min(ahead, behind, aside)
    yield judged("stack", "centre of mass inside its base", inside, 0.0, "m", "statics", note, least=True)
    yield from _wind(hang, mass, (min(ahead, behind), aside), pivot, site, policy)
    level = hang.tilt_deg - sum(hang.splays_deg)
    why = f"row {len(hang.items)} stands at {level:+.1f}° on the base; how base and row are joined is not in the files"
    yield unjudged("joint of the base", "what holds the lowest row", None, "", why)
    yield from _joint_findings(hang, joints, stack_beyond(hang, column), "standing")
    yield from _gust_findings(hang, column, site, policy)


def stack_beyond(hang: Hang, column: Column) -> Array:
    """What a load off the middle can add to one side of a joint of a stack, from what stands above it, (N,). [N]"""
    above = np.maximum(_above(column.mass[1:] * G), 1e-9)
    moment = _above(column.mass[1:] * G * column.centre[1:, 1])
    return beyond_half(hang, np.abs(moment) / above, above)


def _joint_findings(hang: Hang, joints: Joints, beyond: Array, state: str) -> Iterator[Finding]:
    for index in range(1, len(hang.items)):
        upper, lower = hang.items[index - 1], hang.items[index]
        part = f"joint rows {index}–{index + 1}"
        force = float(joints.link[index]), float(np.hypot(*joints.pivot[index])), float(beyond[index])
        found = list(side_findings(part, upper, lower, force, 1.0, state))
        if not any(finding.what == LOCK for finding in found):
            found.append(compressed_lock(part, upper, lower, "every joint of a stack carries what stands on it"))
        yield from found


def _gust_findings(hang: Hang, column: Column, site: Site | None, policy: Policy) -> Iterator[Finding]:
    """Joints in a gust from either end, and from the side, where it adds to what one side gets beyond half."""
    if site is None or not site.open_air:
        return
    if site.gust_m_s is None:
        for index in range(1, len(hang.items)):
            upper, lower = hang.items[index - 1], hang.items[index]
            yield from unknown_joint(f"joint rows {index}–{index + 1}", upper, lower, NO_GUST)
        return
    gust, beyond = f"standing, gust {site.gust_m_s:g} m/s", stack_beyond(hang, column)
    force, at = _drag_above(hang, EXTENTS[0], site.gust_m_s, policy)
    for sign, end in ((1.0, "rear"), (-1.0, "front")):
        joints = stack_joints(hang, column, np.column_stack([sign * force, np.zeros_like(force)]), at)
        yield from _joint_findings(hang, joints, beyond, f"{gust} from the {end}")
    force, at = _drag_above(hang, EXTENTS[1], site.gust_m_s, policy)
    apart = np.abs(at - turned(column.pivot, float(np.radians(hang.tilt_deg)))).sum(axis=1)
    weight = np.maximum(_above(column.mass[1:] * G), 1e-9)
    beyond = beyond + beyond_half(hang, force * apart / weight, weight)
    yield from _joint_findings(hang, stack_joints(hang, column), beyond, f"{gust} from the side")


def _drag_above(hang: Hang, extent: str, gust: float, policy: Policy) -> tuple[Array, Array]:
    """Drag on what stands above each joint, (N,) [N], and where it acts, (x, z) from the frame reference. [m]"""
    face = face_of(hang, float(np.radians(hang.tilt_deg)), extent)
    drag = wind_force(gust, face.area_m2[1:], policy.drag)
    force = _above(drag)
    return force, _above(drag[:, np.newaxis] * face.place[1:]) / np.maximum(force, 1e-9)[:, np.newaxis]


def _on_floor(hang: Hang, pivot: Array) -> Finding:
    what = "base off the floor"
    if hang.floor_below_m is None:
        return unjudged("stack", what, None, "m", "the hang file gives no floor_below_m")
    off = hang.position_m[2] + float(pivot[1]) - hang.frame.height_m - hang.floor_below_m
    note = f"set the third number of position_m to {hang.position_m[2] - off:.2f}"
    return judged("stack", what, abs(off), _ON_FLOOR_M, "m", "geometry", note)


def _wind(
    hang: Hang, mass: float, edges: tuple[float, float], pivot: Array, site: Site | None, policy: Policy
) -> Iterator[Finding]:
    yield from unknown_wind(site)
    if site is None or not site.open_air or site.gust_m_s is None:
        return
    tilt, ground = float(np.radians(hang.tilt_deg)), float(pivot[1]) - hang.frame.height_m
    note = f"gust {site.gust_m_s:g} m/s, Cd {policy.drag:g}; nothing else holds it"
    for way, extent, base in zip(("over an edge", "sideways"), EXTENTS, edges, strict=True):
        face = face_of(hang, tilt, extent)
        force = float(wind_force(site.gust_m_s, face.area_m2.sum(), policy.drag))
        if base <= 0:
            yield Finding("wind", f"stability {way}", None, None, "", EXCEEDS, "statics", "it stands outside its base")
        elif force > 0:
            stability, friction = stack_stability(mass * G, base, force, float(face.middle[1]) - ground)
            yield judged("wind", f"stability {way}", stability, policy.stability, "", policy.name, note, least=True)
            yield judged("wind", f"friction it needs, wind {way}", friction, policy.friction, "", policy.name, note)
