"""What a result says of positions, areas, bands and air, whatever was predicted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from acoustics import bands, field
from acoustics.listening import Listening, cut_segments, grid_of, layers
from acoustics.venue import Area, Venue
from rigging.files import Document

Array = npt.NDArray[np.float64]


class Aimed(Protocol):
    """What stands somewhere and looks somewhere: a hang, or a part of a show."""

    @property
    def position_m(self) -> tuple[float, float, float]:
        """[m]"""

    @property
    def azimuth_deg(self) -> float:
        """[deg]"""


def position_values(listening: Listening, areas: Sequence[Area], aimed: Aimed) -> dict[str, Any]:
    """Places, areas and weights of positions, with their distance from where something stands and aims."""
    apart = listening.position[:, :2] - np.array(aimed.position_m[:2])
    names = np.array([area.name for area in areas])
    return {
        "x": listening.position[:, 0],
        "y": listening.position[:, 1],
        "z": listening.position[:, 2],
        "floor": listening.floor,
        "area": names[listening.area],
        "distance": np.hypot(apart[:, 0], apart[:, 1]),
        "along": along(listening.position, aimed),
        "seat_weight": listening.seat_weight,
        "on_section": listening.on_section,
    }


def band_values(level: Array) -> dict[str, Any]:
    """Levels (29, P) with their octaves and weighted sums. [dB]"""
    middle, many = bands.midbands(), level.shape[1]
    weights = [bands.weighting(middle, kind)[:, np.newaxis] for kind in ("A", "C")]
    weighted, octaves = np.empty((2, many)), np.empty((len(bands.OCTAVES_HZ), many))
    for first in range(0, many, field.BLOCK):  # in blocks: a copy of all levels would double the memory
        part = slice(first, first + field.BLOCK)
        for row, weight in enumerate(weights):
            weighted[row, part] = bands.energy_sum(level[:, part] + weight)
        for row, hz in enumerate(bands.OCTAVES_HZ):
            octaves[row, part] = bands.energy_sum(level[bands.octave_bands(hz), part])
    return {
        "band": bands.NOMINAL_HZ,
        "frequency": middle,
        "level": level,
        "octave": bands.OCTAVES_HZ,
        "octave_level": octaves,
        "level_a": weighted[0],
        "level_c": weighted[1],
    }


def surface_values(areas: Sequence[Area], serves: Sequence[str] | None, grid_m: float) -> dict[str, Any]:
    """Corners, cells and roles of areas; `serves`: the audience areas that count, all where None."""
    corners = np.full((len(areas), max(len(area.outline_m) for area in areas), 3), np.nan)
    cells, direction = np.full((len(areas), 2), np.nan), np.full(len(areas), np.nan)
    for index, area in enumerate(areas):
        corners[index, : len(area.outline_m)] = area.corners
        if area.role != "obstacle":
            grid = grid_of(area, grid_m)
            cells[index], direction[index] = grid.cell_m, grid.direction
    return {
        "surface": [area.name for area in areas],
        "surface_role": [area.role for area in areas],
        "surface_served": [area.role == "audience" and (serves is None or area.name in serves) for area in areas],
        "surface_layer": layers(areas),
        "surface_corner": corners,
        "surface_cell": cells,
        "surface_direction": direction,
    }


def along(position: Array, aimed: Aimed) -> Array:
    """Distance of places (..., 3) from where something stands, along its azimuth, (...). [m]"""
    azimuth = np.radians(aimed.azimuth_deg)
    apart = position[..., :2] - np.array(aimed.position_m[:2])
    return np.asarray(apart[..., 0] * np.cos(azimuth) + apart[..., 1] * np.sin(azimuth))


def cut_values(areas: Sequence[Area], aimed: Aimed) -> dict[str, Any]:
    """Where the vertical plane through an aim cuts areas and obstacles."""
    azimuth = float(np.radians(aimed.azimuth_deg))
    cuts = [cut_segments(area.corners, aimed.position_m, azimuth) for area in areas]
    ends = np.concatenate(cuts)
    surface = np.repeat(np.arange(len(areas)), [len(cut) for cut in cuts])
    return {"cut_surface": surface, "cut_along": ends[..., 0], "cut_height": ends[..., 1]}


def aim_ends(values: Mapping[str, Any], areas: Sequence[Area]) -> dict[str, Any]:
    """Where the aim lines first meet ears, areas or obstacles in the section, or else where the last cut ends.

    `values`: those of `cut_values`, with `source_row`, `aim_elevation`, `outline_along` and `outline_height`.
    """
    # Enclosures lie in the section's plane: their lines start at the middle of their fronts.
    rows = values["source_row"]
    start = values["outline_along"][rows, :2].mean(axis=1)
    height = values["outline_height"][rows, :2].mean(axis=1)
    ahead, up = (trig(np.radians(values["aim_elevation"])) for trig in (np.cos, np.sin))
    reach = np.full(len(rows), max(values["cut_along"].max(initial=-np.inf) - start.min(), 10.0))
    ears = np.array([0.0 if area.role == "obstacle" else area.ear_height_m for area in areas])
    raised = values["cut_height"] + ears[values["cut_surface"], np.newaxis]
    alongs, heights = np.tile(values["cut_along"], (2, 1)), np.concatenate([raised, values["cut_height"]])
    for (a0, a1), (z0, z1) in zip(alongs, heights, strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            across = ahead * (z1 - z0) - up * (a1 - a0)
            ray = ((a0 - start) * (z1 - z0) - (z0 - height) * (a1 - a0)) / across
            share = ((a0 - start) * up - (z0 - height) * ahead) / across
        meets = (ray > 0) & (share >= 0) & (share <= 1)
        reach = np.where(meets, np.minimum(reach, ray), reach)
    return {"aim_end_along": start + reach * ahead, "aim_end_height": height + reach * up}


def air_attributes(venue: Venue, venue_document: Document) -> dict[str, Any]:
    """The air that a result holds for."""
    return {
        "temperature_c": venue.air.temperature_c,
        "relative_humidity_pct": venue.air.relative_humidity_pct,
        "pressure_kpa": venue.air.pressure_kpa,
        "air_assumed": int("air" not in venue_document.data),
        "absorption": "ISO 9613-1" if venue.air.absorption else "none",
        "speed_of_sound_m_s": venue.air.c,
        "speed_of_sound_source": "ISO 9613-1" if venue.air.speed_of_sound_m_s is None else "venue file",
    }
