"""The venue file: the site, the areas to listen in or to keep quiet, and the air."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
import shapely
from pydantic import Field, ValidationInfo, field_validator

from acoustics.air import speed_of_sound
from rigging.faults import Loc
from rigging.files import Document, Model, Name, duplicate_faults, key, problem, quantity, read, validate
from rigging.site import Coordinate, Height, Site

Array = npt.NDArray[np.float64]

SMALLEST_AREA_M2 = 1e-4
STEEPEST_DEG = 60.0


class Air(Model):
    """The air of a venue; what is absent is 20 °C, 50 %, 101.325 kPa, and the output says so."""

    temperature_c: Annotated[float, quantity(-30.0, 55.0, "°C")] = Field(20.0, description="temperature")
    relative_humidity_pct: Annotated[float, quantity(1.0, 100.0, "%")] = Field(50.0, description="humidity")
    pressure_kpa: Annotated[float, quantity(50.0, 110.0, "kPa")] = Field(101.325, description="static pressure")
    absorption: bool = Field(True, description="ISO 9613-1, or none")
    speed_of_sound_m_s: Annotated[float, quantity(280.0, 400.0, "m/s")] | None = Field(
        None, description="in place of the formula"
    )

    @property
    def c(self) -> float:
        """Speed of sound. [m/s]"""
        return self.speed_of_sound_m_s or float(speed_of_sound(self.temperature_c))


class Area(Model):
    """A flat area: where people listen, where it is to be quiet, or what only stands in the way."""

    name: Name = key("name of the area", '"stalls"')
    role: Literal["audience", "quiet", "obstacle"] = key("audience, quiet or obstacle", '"audience"')
    ear_height_m: Annotated[float, quantity(0.0, 3.0, "m")] = Field(1.2, description="ears above the area")
    flat_within_m: Annotated[float, quantity(0.0, 2.0, "m")] = Field(0.05, description="how far corners may be off")
    outline_m: Annotated[tuple[tuple[Coordinate, Coordinate, Height], ...], Field(min_length=3)] = key(
        "corners, around", "[[6, -12, 0], [40, -12, 0], [40, 12, 0], [6, 12, 0]]"
    )

    @field_validator("outline_m")
    @classmethod
    def _check_outline(
        cls, outline: tuple[tuple[float, float, float], ...], info: ValidationInfo
    ) -> tuple[tuple[float, float, float], ...]:
        corners = np.asarray(outline)
        basis = outline_basis(corners)
        if basis is None:
            raise problem("encloses no area (its corners lie on one line)", "give at least three corners around")
        origin, axes = basis
        off = (corners - origin) @ axes[2]
        worst = int(np.argmax(np.abs(off)))
        within = info.data.get("flat_within_m", 0.05)
        if abs(off[worst]) > within:
            raise problem(
                f"corner {worst + 1} lies {abs(off[worst]):.2f} m off the plane of the first three",
                "split the area, or set flat_within_m",
            )
        polygon = shapely.Polygon((corners - origin) @ axes[:2].T)
        if not shapely.is_valid(polygon):
            raise problem("crosses or touches itself", "list the corners in order around the area, each once")
        if polygon.area < SMALLEST_AREA_M2:
            raise problem(f"encloses no area ({polygon.area:.2g} m²)", "check the corners and their unit")
        if info.data.get("role") in ("audience", "quiet") and abs(axes[2, 2]) < np.cos(np.radians(STEEPEST_DEG)):
            raise problem(
                f"is steeper than {STEEPEST_DEG:g}°, too steep to sit or stand on",
                'check the heights, or set role = "obstacle"',
            )
        return outline

    @property
    def corners(self) -> Array:
        """Corners, (N, 3). [m]"""
        return np.asarray(self.outline_m)

    @property
    def plane(self) -> tuple[Array, Array]:
        """The plane that fits the corners best: origin (3,) [m] and axes (3, 3), two in the plane, then its normal.

        Ears stand on it and paths are cut by it, so that no area hides its own listeners.
        """
        centre = self.corners.mean(axis=0)
        return centre, np.linalg.svd(self.corners - centre)[2]


class Venue(Site):
    """A venue file."""

    format: Literal["venue/1"] = key("kind of file", '"venue/1"')
    air: Air = Field(Air(), description="the air")
    area: Annotated[tuple[Area, ...], Field(min_length=1)] = key("areas", "[[area]] ...")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Names that stand twice; no area to listen in."""
        yield from duplicate_faults(data, "area")
        yield from duplicate_faults(data, "point")
        areas = data.get("area")
        if isinstance(areas, list) and not any(isinstance(a, dict) and a.get("role") != "obstacle" for a in areas):
            yield ("area",), "holds no area to listen in", 'add one with role = "audience"', len(areas)


def load_venue(path: str | Path) -> tuple[Venue, Document]:
    """Read a venue file.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    document = read(path, "venue/1")
    return validate(document, Venue), document


def outline_basis(corners: Array) -> tuple[Array, Array] | None:
    """Origin and axes (3, 3; rows: two in the plane, then its normal) of an outline's plane.

    The plane of its first three corners, or of the first three that are not on one line; None where
    all are.
    """
    origin = corners[0]
    size = float(np.abs(corners - origin).max())
    for i in range(1, len(corners)):
        for j in range(i + 1, len(corners)):
            normal = np.cross(corners[i] - origin, corners[j] - origin)
            length = float(np.linalg.norm(normal))
            if length > 1e-9 * max(size, 1e-9) ** 2:
                first = (corners[i] - origin) / np.linalg.norm(corners[i] - origin)
                normal = normal / length
                return origin, np.stack([first, np.cross(normal, first), normal])
    return None
