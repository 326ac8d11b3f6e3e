"""A column that stands on the ground, its frame below it as a base: stability, friction, locks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from rigging import statics
from rigging.column import LOCK, Column, beyond_half, compressed_lock, side_findings
from rigging.equipment import lower_pivot_m
from rigging.findings import EXCEEDS, Finding, judged, unjudged
from rigging.hang import Hang
from rigging.policy import Policy
from rigging.site import Site
from rigging.statics import G, Joints, turned
from rigging.wind import exposed, stack_stability, wind_force

Array = npt.NDArray[np.float64]

_ON_FLOOR_M = 0.02


def base_pivot(hang: Hang, column: Column) -> Array:
    """The bottom row's lower front pivot from the frame reference, which is that of the base, (x, z). [m]"""
    bent = float(np.sum(np.radians(hang.splays_deg)))
    tilt = float(np.radians(hang.tilt_deg))
    lower = np.array(lower_pivot_m(hang.items[-1]))
    return np.asarray(turned(column.pivot[-1], tilt) + turned(lower, tilt - bent))


def stack_joints(hang: Hang, column: Column) -> Joints:
    """Links and pivots between the rows of a stack, from the balance of what stands above each joint.

    The joint above row 1 carries nothing; the bottom row stands on the base.
    """
    tilt = float(np.radians(hang.tilt_deg))
    pivot, upper, lower, up = (turned(p, tilt) for p in (column.pivot, column.upper_hole, column.lower_hole, column.up))
    centre = turned(column.centre[1:, [0, 2]], tilt)
    mass = column.mass[1:]
    above = np.concatenate([[0.0], np.cumsum(mass)[:-1]])
    moment_of = np.concatenate([np.zeros((1, 2)), np.cumsum(mass[:, np.newaxis] * centre, axis=0)[:-1]])
    length = np.linalg.norm(upper - lower, axis=1)
    along = (upper - lower) / length[:, np.newaxis]
    reach = upper - pivot
    # Moments of the part above about H: its weights, and the link's pull −T e at the upper hole.
    arm = reach[:, 0] * along[:, 1] - reach[:, 1] * along[:, 0]
    link = -G * (moment_of[:, 0] - above * pivot[:, 0]) / arm
    force = -np.column_stack([np.zeros_like(above), G * above]) - link[:, np.newaxis] * along
    forward = np.column_stack([up[:, 1], -up[:, 0]])
    return Joints(link, force, np.sum(force * up, axis=1), np.sum(force * forward, axis=1), length)


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
    beyond = stack_beyond(hang, column)
    for index in range(1, len(hang.items)):
        upper, lower = hang.items[index - 1], hang.items[index]
        part, state = f"joint rows {index}–{index + 1}", "standing"
        force = float(joints.link[index]), float(np.hypot(*joints.pivot[index])), float(beyond[index])
        found = list(side_findings(part, upper, lower, force, 1.0, state))
        if not any(finding.what == LOCK for finding in found):
            found.append(compressed_lock(part, upper, lower, "every joint of a stack carries what stands on it"))
        yield from found


def stack_beyond(hang: Hang, column: Column) -> Array:
    """What a load off the middle can add to one side of a joint of a stack, from what stands above it, (N,). [N]"""
    mass, y = column.mass[1:], column.centre[1:, 1]
    above = np.concatenate([[0.0], np.cumsum(mass)[:-1]])
    offset = np.abs(np.concatenate([[0.0], np.cumsum(mass * y)[:-1]])) / np.maximum(above, 1e-9)
    return beyond_half(hang, offset, above * G)


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
    if site is None or not site.open_air:
        return
    if site.gust_m_s is None:
        yield unjudged("wind", "gust", None, "m/s", "the venue is in the open air and gives no gust_m_s")
        return
    tilt, ground = float(np.radians(hang.tilt_deg)), float(pivot[1]) - hang.frame.height_m
    note = f"gust {site.gust_m_s:g} m/s, Cd {policy.drag:g}; nothing else holds it"
    for way, extent, base in (("over an edge", "width_m", edges[0]), ("sideways", "depth_m", edges[1])):
        area, middle = exposed(hang, tilt, extent)
        force = float(wind_force(site.gust_m_s, area, policy.drag))
        if base <= 0:
            yield Finding("wind", f"stability {way}", None, None, "", EXCEEDS, "statics", "it stands outside its base")
        elif force > 0:
            stability, friction = stack_stability(mass * G, base, force, middle - ground)
            yield judged("wind", f"stability {way}", stability, policy.stability, "", policy.name, note, least=True)
            yield judged("wind", f"friction it needs, wind {way}", friction, policy.friction, "", policy.name, note)
