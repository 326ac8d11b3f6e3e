"""Wind on a column in the open air and on a stack: forces, swing, load shift, stability, and their rules."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from rigging.column import Column
from rigging.equipment import Frame, Item
from rigging.findings import Finding, judged, unjudged
from rigging.geometry import lay_out
from rigging.hang import Hang
from rigging.loads import PickHole, pick_holes
from rigging.policy import Policy
from rigging.site import Site
from rigging.stages import Stage
from rigging.statics import G, turned

Array = npt.NDArray[np.float64]

WAYS = ("from the front or rear", "from the side")
EXTENTS = ("width_m", "depth_m")  # across a wind along the azimuth, and one from the side
NO_GUST = "the venue is in the open air and gives no gust_m_s: give it in the venue file"
PULLED = "what a gust does to a column with a pull-back is not worked out"
MANY = "more than two picks: how they share the wind is not worked out"
MOST_M_S = 80.0  # faster than any gust that a hang is put into
APART_M = 1e-3  # picks nearer than this are in line
AIR_DENSITY = 1.225  # at 15 °C and 101.325 kPa, ISO 2533:1975 [kg/m³]
# Upper edges of Beaufort 0 to 11, 10-minute means at 10 m (WMO No. 8, from memory). [m/s]
BEAUFORT_EDGES = (0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7)


def wind_force(speed_m_s: npt.ArrayLike, area_m2: npt.ArrayLike, drag: float, density: float = AIR_DENSITY) -> Array:
    """Drag of a steady wind, F = ½ ρ v² C_d A. [N] Speed [m/s], area across the wind [m²], density [kg/m³]."""
    return np.asarray(0.5 * density * drag * np.square(speed_m_s) * np.asarray(area_m2, dtype=float))


def wind_speed(force_n: npt.ArrayLike, area_m2: npt.ArrayLike, drag: float, density: float = AIR_DENSITY) -> Array:
    """Speed at which the drag reaches a force, √(2 F / (ρ C_d A)). [m/s]"""
    return np.asarray(np.sqrt(2.0 * np.asarray(force_n, dtype=float) / (density * drag * np.asarray(area_m2))))


def wind_swing(force_n: npt.ArrayLike, weight_n: npt.ArrayLike) -> Array:
    """Swing from plumb of a body on one free point, tan δ = F / W, the drag at its centre of mass. [rad]"""
    return np.asarray(np.arctan2(force_n, weight_n))


def picks_in_wind(
    weight_n: float, force_n: float, centre_m: npt.ArrayLike, drag_m: npt.ArrayLike, picks_m: npt.ArrayLike
) -> Array:
    """Loads of two picks on parallel chains in a horizontal wind.

    Both chains lean by δ, tan δ = F / W, so that they balance the drag; moments about either pick give the other.

    Parameters
    ----------
    weight_n, force_n : float
        Weight, and drag along the plane of the picks, positive in its first direction. [N]
    centre_m, drag_m : array_like, shape (2,)
        Where they act, (along, up). [m]
    picks_m : array_like, shape (2, 2)
        The picks. [m]

    Returns
    -------
    ndarray, shape (2,)
        Loads along the chains [N]; negative: it goes slack.

    Raises
    ------
    ValueError
        If the picks lie on one chain's line.
    """
    centre, drag, (first, second) = np.asarray(centre_m), np.asarray(drag_m), np.asarray(picks_m, dtype=float)
    whole = float(np.hypot(weight_n, force_n))
    chain = np.array([-force_n, weight_n]) / whole
    arm = _cross(first - second, chain)
    if abs(arm) < 1e-9:
        raise ValueError("the picks lie on one chain's line")
    moment = _cross(centre - second, np.array([0.0, -weight_n])) + _cross(drag - second, np.array([force_n, 0.0]))
    on_first = -moment / arm
    return np.array([on_first, whole - on_first])


def stack_stability(weight_n: float, base_m: float, force_n: float, height_m: float) -> tuple[float, float]:
    """A stack on the ground in the wind: righting over overturning moment W b / (F z), and the friction it needs F / W.

    Parameters
    ----------
    weight_n : float
        [N]
    base_m : float
        Horizontal distance from the centre of mass to the edge it would tip over. [m]
    force_n, height_m : float
        Horizontal force [N] and its height [m].

    Returns
    -------
    stability, friction : float
        Infinite and 0 without force.
    """
    if force_n == 0:
        return float("inf"), 0.0
    return weight_n * base_m / (force_n * height_m), force_n / weight_n


def beaufort(speed_m_s: float) -> int:
    """Beaufort number of a 10-minute mean speed [m/s]; gusts are higher."""
    return int(np.searchsorted(BEAUFORT_EDGES, speed_m_s, side="right"))


@dataclass(frozen=True)
class Face:
    """What the wind meets of the frame and N rows: areas (1 + N,) [m²], middles (1 + N, 2) as (x, z) [m]."""

    area_m2: Array
    place: Array

    @property
    def middle(self) -> Array:
        """Middle of the whole face, (x, z). [m]"""
        return np.asarray(self.area_m2 @ self.place / self.area_m2.sum())


def face_of(hang: Hang, tilt: float, extent: str) -> Face:
    """The face of a hang at a tilt [rad] to a wind along its azimuth (`width_m`) or from its side (`depth_m`).

    The sum of all fronts, or sides: none stands in the lee of another.
    """
    items: list[Frame | Item] = [hang.frame, *hang.items]
    areas = np.array([getattr(item, extent) * item.height_m for item in items])
    level = dataclasses.replace(hang, tilt_deg=float(np.degrees(tilt)), azimuth_deg=0.0, position_m=(0.0, 0.0, 0.0))
    return Face(areas, lay_out(level).outline[..., [0, 2]].mean(axis=1))


def turn_in_wind(centre: Array, drag: Array, pick: Array, weight: float, force: float) -> float:
    """How far a body on one pick turns, from where its parts are given, until a horizontal force is balanced. [rad]

    Moments about the pick, x_c W + z_d F = 0, solved for the turn of `centre` and `drag` (2,).
    """
    (x_c, z_c), (x_d, z_d) = centre - pick, drag - pick
    return float(np.arctan2(-(x_c * weight + z_d * force), -(z_c * weight - x_d * force)))


def roll_in_wind(column: Column, centre: Array, face: Face, y: Array, picks: Array, force: float) -> float:
    """Roll about the line of the picks, (K, 2) in the column's plane and `y` (K,) off it, in a wind from the side."""
    line = picks[np.argmax(picks[:, 0])] - picks[np.argmin(picks[:, 0])] if len(picks) > 1 else np.array([1.0, 0.0])
    line = line / np.linalg.norm(line)

    def above(place: Array) -> float:
        apart = place - picks[0]
        return float(line[0] * apart[1] - line[1] * apart[0])

    mass, drag = np.array([column.balance[1], above(centre)]), np.array([0.0, above(face.middle)])
    # Of the weight only what pulls across the line turns the column about it.
    weight = column.mass_kg * G * float(line[0])
    return turn_in_wind(mass, drag, np.array([y.mean(), 0.0]), weight, force)


def swing_in_wind(hang: Hang, last: Stage, way: int, face: Face, force: float) -> float:
    """Swing of the complete column in a wind: what its chains lean by, or what it turns by if that is more. [rad]

    A column that its picks leave free turns about them, farther than its chains would lean where the drag acts below
    the centre of mass.

    Parameters
    ----------
    hang, last, face
    way : int
        0 for a wind along the azimuth, 1 across it.
    force : float
        Drag of all. [N]
    """
    column, tilt, weight = last.column, last.balance.tilt, last.column.mass_kg * G
    lean = float(wind_swing(force, weight))
    places = np.array([hole.place for hole in pick_holes(hang)])
    picks, centre = turned(places[:, [0, 2]], tilt), turned(column.balance[[0, 2]], tilt)
    if np.ptp((picks[:, 0], places[:, 1])[way]) >= APART_M:
        return lean
    turns = []
    for sign in (1.0, -1.0):
        if way == 0:
            turns.append(turn_in_wind(centre, face.middle, picks[0], weight, sign * force))
        else:
            turns.append(roll_in_wind(column, centre, face, places[:, 1], picks, sign * force) - last.balance.roll)
    return max(lean, *map(abs, turns))


def swing_speed(hang: Hang, last: Stage, policy: Policy, way: int) -> float:
    """The gust at which the complete column swings by the policy's angle, `MOST_M_S` at most. [m/s]"""
    face = face_of(hang, last.balance.tilt, EXTENTS[way])

    def beyond(speed: float) -> float:
        drag = float(wind_force(speed, face.area_m2.sum(), policy.drag))
        return swing_in_wind(hang, last, way, face, drag) - float(np.radians(policy.swing_deg))

    return float(brentq(beyond, 0.0, MOST_M_S)) if beyond(MOST_M_S) > 0 else MOST_M_S


def unknown_wind(site: Site | None) -> Iterator[Finding]:
    """What is not known of the wind: whether there is any, or its gust."""
    if site is None:
        why = "no venue file was given: whether it hangs in the open air is not known"
        yield unjudged("wind", "gust", None, "m/s", why)
    elif site.open_air and site.gust_m_s is None:
        yield unjudged("wind", "gust", None, "m/s", NO_GUST)


def wind_findings(hang: Hang, site: Site, last: Stage, policy: Policy) -> Iterator[Finding]:
    """What a gust does to the complete column in the open air: swing, load shift, slack and heavy picks.

    The drag is taken on the sum of all fronts (or sides), at their middle; a gust (3 s) is higher than the
    10-minute mean that Beaufort numbers stand for. The column is at rest: no dynamic factor.
    """
    if not site.open_air or site.gust_m_s is None:
        return
    pulled = "" if hang.pullback is None else PULLED
    unknown = last.balance.problem or pulled
    if unknown:
        yield from _unknown_findings(unknown, f"gust {site.gust_m_s:g} m/s", several=len(hang.picks) > 1)
        return
    column, tilt = last.column, last.balance.tilt
    weight, centre = column.mass_kg * G, column.balance
    flat = turned(centre[[0, 2]], tilt)
    holes = pick_holes(hang)
    places = np.array([hole.place for hole in holes])
    at = turned(places[:, [0, 2]], tilt)
    gust = f"gust {site.gust_m_s:g} m/s (as a mean Beaufort {beaufort(site.gust_m_s)}), Cd {policy.drag:g}"
    slack = dict(slack_speeds(hang, last, policy)) if len(holes) == 2 else {}
    for way, extent, across, middle in zip(WAYS, EXTENTS, (at[:, 0], places[:, 1]), (flat[0], centre[1]), strict=True):
        face = face_of(hang, tilt, extent)
        area, height = float(face.area_m2.sum()), float(face.middle[1])
        force = float(wind_force(site.gust_m_s, area, policy.drag))
        index = WAYS.index(way)
        swing = float(np.degrees(swing_in_wind(hang, last, index, face, force)))
        reached = swing_speed(hang, last, policy, index)
        note = f"{gust}; reached at {reached:.1f} m/s; the structure's engineer decides"
        yield judged("wind", f"swing, wind {way}", swing, policy.swing_deg, "°", policy.name, note)
        if np.ptp(across) < APART_M:
            continue
        if len(holes) > 2:
            yield unjudged("wind", f"loads of the picks, wind {way}", None, "kg", f"{MANY}; {gust}")
            continue
        picks = np.column_stack([across, at[:, 1]])
        where = ((middle, flat[1]), (middle, height))
        slack_at = f"at {slack[way]:.1f} m/s" if slack[way] < MOST_M_S else f"above {MOST_M_S:g} m/s"
        loads = np.array([picks_in_wind(weight, sign * force, *where, picks) for sign in (1.0, -1.0)]) / G
        yield from _load_findings(loads, holes, way, f"{gust}; a pick goes slack {slack_at}")


def slack_speeds(hang: Hang, last: Stage, policy: Policy) -> Iterator[tuple[str, float]]:
    """The gust at which one of two picks goes slack, for each way that shifts load between them; `MOST_M_S` at most."""
    tilt, weight = last.balance.tilt, last.column.mass_kg * G
    flat = turned(last.column.balance[[0, 2]], tilt)
    places = np.array([hole.place for hole in pick_holes(hang)])
    at = turned(places[:, [0, 2]], tilt)
    middles = (flat[0], float(last.column.balance[1]))
    for way, extent, across, middle in zip(WAYS, EXTENTS, (at[:, 0], places[:, 1]), middles, strict=True):
        if np.ptp(across) < APART_M:
            continue
        face = face_of(hang, tilt, extent)
        picks = np.column_stack([across, at[:, 1]])
        where = ((middle, flat[1]), (middle, float(face.middle[1])))

        def least(speed: float, where: Any = where, picks: Array = picks, face: Face = face) -> float:
            drag = float(wind_force(speed, face.area_m2.sum(), policy.drag))
            return float(min(picks_in_wind(weight, s * drag, where[0], where[1], picks).min() for s in (1.0, -1.0)))

        yield way, float(brentq(least, 0.0, MOST_M_S)) if least(MOST_M_S) < 0 else MOST_M_S


def wind_limit_m_s(hang: Hang, last: Stage, policy: Policy) -> float | None:
    """The gust at which the complete column first swings by the policy's angle or a pick goes slack. [m/s]

    None where that is not worked out, as for a pull-back, more than two picks or a balance that is not known.
    """
    if last.balance.problem or hang.pullback is not None or len(hang.picks) > 2 or not hang.picks:
        return None
    swings = [swing_speed(hang, last, policy, way) for way in range(len(EXTENTS))]
    return min([*swings, *(speed for _, speed in slack_speeds(hang, last, policy))])


def _unknown_findings(why: str, gust: str, *, several: bool) -> Iterator[Finding]:
    for way in WAYS:
        yield unjudged("wind", f"swing, wind {way}", None, "°", why, gust)
        if several:
            yield unjudged("wind", f"loads of the picks, wind {way}", None, "kg", why, gust)


def _load_findings(loads: Array, holes: list[PickHole], way: str, gust: str) -> Iterator[Finding]:
    """Loads (2, 2) of two picks with the wind from either end [kg]: none may go slack, none exceed its hole."""
    what = f"least load of a pick, wind {way}"
    yield judged("wind", what, float(loads.min()), 0.0, "kg", "statics", gust, least=True)
    for hole, load in zip(holes, loads.max(axis=0), strict=True):
        what = f"load on {hole.name}, wind {way}"
        if hole.limit_kg is None:
            yield unjudged("wind", what, float(load), "kg", f"{hole.name} gives no limit", gust)
        else:
            yield judged("wind", what, float(load), hole.limit_kg, "kg", hole.source, gust)


def _cross(a: Array, b: Array) -> float:
    """a_x b_z − a_z b_x."""
    return float(a[0] * b[1] - a[1] * b[0])
