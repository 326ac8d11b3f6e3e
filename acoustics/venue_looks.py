"""What a venue file comes to: sizes and slopes of its areas, and what looks wrong with them. Nothing here refuses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from acoustics.outlines import size_m2, steepness_deg
from acoustics.venue import STEEPEST_DEG, Area, Venue
from rigging.geometry import Layout

Array = npt.NDArray[np.float64]

# Rules of what looks wrong: common practice, no source.
FALLS_DEG = 2.0  # an area that falls away from the stage by more
OVERLAP_M2 = 0.5  # areas that share more of their plan …
SAME_LEVEL_M = 0.5  # … where their heights differ by less
TINY_M2 = 1.0  # an area to listen in that is smaller
EARS_M = (0.9, 1.9)  # seated and standing ears lie between
ROOM_M, ROOM_HEIGHT_M = 200.0, 45.0  # no room for an audience extends further, or has points higher
FIELD_M, FIELD_HEIGHT_M = 800.0, 60.0  # the same in the open air
SMALL_M = 4.0  # an audience that extends less in plan
CEILING_FROM_M = 3.0  # an obstacle over a hang and higher than this above the areas' lowest corner is a ceiling


@dataclass(frozen=True)
class Look:
    """An area: `size_m2` along its slope; `rise_deg` its steepest angle; `away_deg` its rise straight away from the
    stage, NaN where it stands upright; lowest and highest corner [m]."""

    area: Area
    size_m2: float
    rise_deg: float
    away_deg: float
    low_m: float
    high_m: float


@dataclass(frozen=True)
class Warned:
    """Something that looks wrong: of what, why, and what to check."""

    of: str
    wrong: str
    check: str

    def __str__(self) -> str:
        return f"{self.of}: {self.wrong}; {self.check}"


def look_at(area: Area) -> Look:
    """Size and slope of an area."""
    heights = area.corners[:, 2]
    rise = steepness_deg(area.corners)
    return Look(area, size_m2(area.corners), rise, _away_deg(area), float(heights.min()), float(heights.max()))


def _away_deg(area: Area) -> float:
    """Rise of an area along the plan direction from the datum to its middle. [deg]"""
    middle, axes = area.plane
    normal = axes[2]
    reach = float(np.hypot(middle[0], middle[1]))
    if abs(normal[2]) < 1e-6 or reach < 1e-6:
        return float("nan")
    # Zero of a level area comes without a sign.
    return float(np.degrees(np.arctan(-(normal[:2] @ middle[:2]) / reach / normal[2]))) + 0.0


def warnings_of(venue: Venue, hangs: Sequence[tuple[str, float, Layout]] = ()) -> list[Warned]:
    """All that looks wrong with a venue, and with hangs in it, given by name, trim [m] and layout."""
    looks = [look_at(area) for area in venue.area]
    listening = [look for look in looks if look.area.role != "obstacle"]
    return [
        *_extents(venue, looks),
        *_single(listening),
        *_overlaps(listening),
        *_low_points(venue, listening),
        *_ceilings(looks, hangs),
    ]


def _extents(venue: Venue, looks: Sequence[Look]) -> Iterator[Warned]:
    """Numbers that read like feet, or like millimetres taken for larger units."""
    widest, highest = (FIELD_M, FIELD_HEIGHT_M) if venue.open_air else (ROOM_M, ROOM_HEIGHT_M)
    corners = np.concatenate([look.area.corners for look in looks if look.area.role != "quiet"] or [np.zeros((1, 3))])
    span, top = float(np.ptp(corners[:, :2], axis=0).max()), float(np.ptp(corners[:, 2]))
    unit = "check whether feet, or a smaller unit, were taken for metres (1 ft = 0.3048 m)"
    if span > widest:
        yield Warned("venue", f"extends {span:.0f} m, more than {widest:g} m", unit)
    if top > highest:
        yield Warned("venue", f"has areas {top:.0f} m above each other, more than {highest:g} m", unit)
    for point in venue.point:
        above = point.position_m[2] - float(corners[:, 2].min())
        if above > highest:
            yield Warned(f"point {point.name}", f"lies {above:.0f} m above the lowest area", unit)
    heard = [look.area.corners for look in looks if look.area.role == "audience"]
    if heard:
        wide = float(np.ptp(np.concatenate(heard)[:, :2], axis=0).max())
        if wide < SMALL_M:
            yield Warned("venue", f"has an audience of {wide:.2f} m at most in plan", "check the unit of its numbers")


def _single(looks: Sequence[Look]) -> Iterator[Warned]:
    for look in looks:
        area = look.area
        if look.away_deg < -FALLS_DEG:
            wrong = f"falls away from the stage by {-look.away_deg:.1f}°, so that its front faces away from it"
            yield Warned(area.name, wrong, "check its heights, and that x leads from the stage to the audience")
        if look.size_m2 < TINY_M2:
            wrong = f"has {look.size_m2:.2g} m², less than {TINY_M2:g} m²"
            yield Warned(area.name, wrong, "check its corners and their unit, or remove it")
        if area.role == "audience" and not EARS_M[0] <= area.ear_height_m <= EARS_M[1]:
            wrong = f"has ears {area.ear_height_m:g} m above it"
            yield Warned(area.name, wrong, "some 1.2 m are usual seated, 1.65 m standing")


def _plan(area: Area) -> shapely.Polygon:
    return shapely.Polygon(area.corners[:, :2])


def height_at(area: Area, plan: npt.ArrayLike) -> Array:
    """Heights (P,) of an area's plane at places in plan (P, 2); not of upright ones. [m]"""
    middle, axes = area.plane
    return np.asarray(middle[2] - (np.asarray(plan, dtype=float) - middle[:2]) @ axes[2, :2] / axes[2, 2])


def _overlaps(looks: Sequence[Look]) -> Iterator[Warned]:
    plans = [_plan(look.area) for look in looks]
    tree = shapely.STRtree(plans)
    for i, j in sorted({(min(p), max(p)) for p in tree.query(plans, predicate="intersects").T.tolist()}):
        if i == j:
            continue
        shared = shapely.intersection(plans[i], plans[j])
        if shared.area <= OVERLAP_M2:
            continue
        corners = shapely.get_coordinates(shared)
        apart = height_at(looks[i].area, corners) - height_at(looks[j].area, corners)
        # Planes: where one is above the other at one corner and below at another, they meet between.
        nearest = 0.0 if apart.min() < 0.0 < apart.max() else float(np.abs(apart).min())
        if nearest < SAME_LEVEL_M:
            wrong = f"overlaps {looks[j].area.name} by {shared.area:.1f} m² in plan, {nearest:.2f} m apart in height"
            yield Warned(looks[i].area.name, wrong, "its seats count twice; cut one of the two")


def _low_points(venue: Venue, looks: Sequence[Look]) -> Iterator[Warned]:
    for point in venue.point:
        x, y, z = point.position_m
        for look in looks:
            if shapely.intersects_xy(_plan(look.area), x, y):
                below = float(height_at(look.area, [[x, y]])[0]) - z
                if below > 0.0:
                    wrong = f"lies {below:.2f} m below {look.area.name}"
                    yield Warned(f"point {point.name}", wrong, "check its height; under a balcony it may be right")


def _ceilings(looks: Sequence[Look], hangs: Sequence[tuple[str, float, Layout]]) -> Iterator[Warned]:
    """Obstacles over a hang that lie below its trim."""
    floor = min((look.low_m for look in looks if look.area.role != "obstacle"), default=0.0)
    flat = [look for look in looks if look.area.role == "obstacle" and look.rise_deg < STEEPEST_DEG]
    for name, trim_m, layout in hangs:
        place = layout.frame.origin[0, :2]
        for look in flat:
            if not shapely.intersects_xy(_plan(look.area), *place):
                continue
            height = float(height_at(look.area, [place])[0])
            if floor + CEILING_FROM_M < height < trim_m:
                wrong = f"has its trim at {trim_m:.2f} m, above {look.area.name} at {height:.2f} m over it"
                yield Warned(name, wrong, "lower the trim, or check the ceiling's height")
