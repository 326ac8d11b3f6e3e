"""Wind on a column in the open air and on a stack: forces, swing, load shift, stability, and their rules."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from rigging.equipment import Frame, Item
from rigging.findings import Finding, judged, unjudged
from rigging.geometry import lay_out
from rigging.hang import Hang
from rigging.loads import pick_holes
from rigging.policy import Policy
from rigging.site import Site
from rigging.stages import Stage
from rigging.statics import G, turned

Array = npt.NDArray[np.float64]

_APART_M = 1e-3  # picks nearer than this are in line
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


def wind_shift(force_n: npt.ArrayLike, below_m: npt.ArrayLike, apart_m: npt.ArrayLike) -> Array:
    """Load that a horizontal force moves from one of two parallel chains to the other, F h / b. [N]

    Parameters
    ----------
    force_n : array_like
        Horizontal force in the plane of the picks. [N]
    below_m : array_like
        How far below the picks it acts. [m]
    apart_m : array_like
        Horizontal distance of the picks. [m]
    """
    return np.asarray(np.asarray(force_n, dtype=float) * np.asarray(below_m) / np.asarray(apart_m))


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


def wind_findings(hang: Hang, site: Site, last: Stage, policy: Policy) -> Iterator[Finding]:
    """What a gust does to the complete column in the open air: swing, load shift, slack and heavy picks.

    The drag is taken on the sum of all fronts (or sides), at their middle; a gust (3 s) is higher than the
    10-minute mean that Beaufort numbers stand for. The column is at rest: no dynamic factor.
    """
    if not site.open_air or not hang.picks or last.balance.problem:
        return
    if site.gust_m_s is None:
        yield unjudged("wind", "gust", None, "m/s", "the venue is in the open air and gives no gust_m_s")
        return
    weight, tilt = last.column.mass_kg * G, last.balance.tilt
    holes = pick_holes(hang)
    places = np.array([hole.place for hole in holes])
    at = turned(places[:, [0, 2]], tilt)
    gust = f"gust {site.gust_m_s:g} m/s (as a mean Beaufort {beaufort(site.gust_m_s)}), Cd {policy.drag:g}"
    for way, extent, across in (
        ("from the front or rear", "width_m", at[:, 0]),
        ("from the side", "depth_m", places[:, 1]),
    ):
        area, middle = exposed(hang, tilt, extent)
        force = float(wind_force(site.gust_m_s, area, policy.drag))
        apart = float(np.ptp(across))
        if apart < _APART_M:
            swing = float(np.degrees(wind_swing(force, weight)))
            reached = float(wind_speed(weight * np.tan(np.radians(policy.swing_deg)), area, policy.drag))
            note = f"{gust}; reached at {reached:.1f} m/s; the structure's engineer decides"
            yield judged("wind", f"swing, wind {way}", swing, policy.swing_deg, "°", policy.name, note)
            continue
        below = float(at[:, 1].mean()) - middle
        shift = float(wind_shift(force, below, apart)) / G
        lightest = float(last.balance.low.min()) / G
        slack = float(wind_speed(lightest * G * apart / below, area, policy.drag))
        note = f"{gust}; a pick goes slack at {slack:.1f} m/s; the structure's engineer decides"
        yield judged("wind", f"load off the lightest pick, wind {way}", shift, lightest, "kg", "statics", note)
        for index, hole in enumerate(holes):
            load, what = float(last.balance.high[index]) / G + shift, f"load on {hole.name}, wind {way}"
            if hole.limit_kg is None:
                yield unjudged("wind", what, load, "kg", f"{hole.name} gives no limit", gust)
            else:
                yield judged("wind", what, load, hole.limit_kg, "kg", hole.source, gust)


def exposed(hang: Hang, tilt: float, extent: str) -> tuple[float, float]:
    """Area across the wind [m²], and the height of its middle from the frame reference [m], at a tilt [rad]."""
    items: list[Frame | Item] = [hang.frame, *hang.items]
    areas = np.array([getattr(item, extent) * item.height_m for item in items])
    layout = lay_out(dataclasses.replace(hang, tilt_deg=float(np.degrees(tilt))))
    heights = layout.outline[..., 2].mean(axis=1) - hang.position_m[2]
    return float(areas.sum()), float(areas @ heights / areas.sum())
