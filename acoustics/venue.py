"""The venue file: the site, the areas to listen in or to keep quiet, and the air."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
import shapely
from pydantic import BeforeValidator, Field, PrivateAttr, ValidationError, ValidationInfo, field_validator

from acoustics.air import speed_of_sound
from acoustics.neighbours import OCTAVES_HZ
from acoustics.survey_file import AreaShot, Instrument, Profile, Standpoint, Tie, survey_faults
from acoustics.surveyed import MeasuredArea, Survey, survey_of
from rigging.explain import Problem, explain
from rigging.faults import NO_VALUE, Fault, FileFaults, Loc, nearest
from rigging.files import Document, read, validate
from rigging.hang import Hang
from rigging.models import Flag, Model, Name, duplicate_faults, key, problem, quantity
from rigging.site import Coordinate, Height, Site

Array = npt.NDArray[np.float64]

SMALLEST_AREA_M2 = 1e-4
STEEPEST_DEG = 60.0
SAME_CORNER_M = 1e-6
# Three corners that span less than this share of the outline's size squared do not tell its plane well.
_NEARLY_ON_A_LINE = 0.02
_MOST_PAIRED = 200  # corners that are paired to find the widest three


def _check_octaves(value: Any) -> Any:
    known = [f"{hz:g}" for hz in OCTAVES_HZ]
    if not isinstance(value, dict) or any(name not in known for name in value):
        raise problem("must be a table of octaves", f"write it as {{ 63 = 60.0 }}; known: {', '.join(known)}")
    return value


_OctaveLimit = Annotated[float, quantity(0.0, 130.0, "dB")]
OctaveLimits = Annotated[dict[str, _OctaveLimit], BeforeValidator(_check_octaves)]


class Air(Model):
    """The air of a venue; what is absent is 20 °C, 50 %, 101.325 kPa, and the output says so."""

    temperature_c: Annotated[float, quantity(-30.0, 55.0, "°C")] = Field(20.0, description="temperature")
    relative_humidity_pct: Annotated[float, quantity(1.0, 100.0, "%")] = Field(50.0, description="humidity")
    pressure_kpa: Annotated[float, quantity(50.0, 110.0, "kPa")] = Field(101.325, description="static pressure")
    absorption: Flag = Field(True, description="ISO 9613-1, or none")
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
    limit_db: Annotated[float, quantity(20.0, 130.0, "dB(A)")] | None = Field(
        None, description="of a quiet area: what it may get, dB(A)"
    )
    limit_c_db: Annotated[float, quantity(20.0, 130.0, "dB(C)")] | None = Field(
        None, description="of a quiet area: what it may get, dB(C)"
    )
    limit_octave_db: OctaveLimits = Field({}, description="of a quiet area: what it may get in octaves, 63 to 8000")
    shot: tuple[AreaShot, ...] = Field((), description="laser shots of corners, around, in place of outline_m")
    outline_m: Annotated[tuple[tuple[Coordinate, Coordinate, Height], ...], Field(min_length=3)] = Field(
        (), description="corners, around"
    )

    @field_validator("outline_m")
    @classmethod
    def _check_outline(
        cls, outline: tuple[tuple[float, float, float], ...], info: ValidationInfo
    ) -> tuple[tuple[float, float, float], ...]:
        corners = np.asarray(outline)
        for index, corner in enumerate(outline):
            if np.linalg.norm(corners[index - 1] - corner) < SAME_CORNER_M:
                other = index or len(outline)
                raise problem(f"has corner {index + 1} where corner {other} is", "list each corner once")
        basis = outline_basis(corners)
        if basis is None:
            raise problem("encloses no area (its corners lie on one line)", "give at least three corners around")
        origin, axes, three = basis
        off = (corners - origin) @ axes[2]
        worst = int(np.argmax(np.abs(off)))
        within = info.data.get("flat_within_m", 0.05)
        if abs(off[worst]) > within:
            raise problem(
                f"corner {worst + 1} lies {abs(off[worst]):.2f} m off the plane of {three}",
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
    ground: Annotated[float, quantity(0.0, 1.0, "")] | None = Field(
        None, description="ground towards the neighbours, 0 hard, 1 porous; both ends when absent"
    )
    area: Annotated[tuple[Area, ...], Field(min_length=1)] = Field((), description="areas: [[area]]")
    instrument: Instrument = Field(Instrument(), description="how well the laser reads: [instrument]")
    standpoint: tuple[Standpoint, ...] = Field((), description="where the laser stood: [[standpoint]]")
    tie: tuple[Tie, ...] = Field((), description="places shot from several standpoints: [[tie]]")
    profile: tuple[Profile, ...] = Field((), description="areas shot along a line: [[profile]]")
    _survey: Survey | None = PrivateAttr(None)

    @property
    def survey(self) -> Survey | None:
        """What its laser shots come to; None where it has none."""
        return self._survey

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Names that stand twice; no area to listen in; a gust where no wind acts."""
        yield from duplicate_faults(data, "area")
        yield from duplicate_faults(data, "point")
        yield from survey_faults(data)
        if "gust_m_s" in data and data.get("open_air", False) is False:
            wrong = "has no meaning for a venue that is not in the open air"
            yield ("gust_m_s",), wrong, "add open_air = true, or remove it", data["gust_m_s"]
        areas, profiles = data.get("area"), data.get("profile", [])
        if "area" not in data and not profiles:
            yield ("area",), "key is missing", "add [[area]]: areas", NO_VALUE
        told = [*(areas if isinstance(areas, list) else ()), *(profiles if isinstance(profiles, list) else ())]
        if told and all(isinstance(one, dict) and one.get("role") == "obstacle" for one in told):
            loc = "area" if "area" in data else "profile"
            yield (loc,), "holds no area to listen in", 'add one with role = "audience"', len(told)


def load_venue(path: str | Path) -> tuple[Venue, Document]:
    """Read a venue file.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    document = read(path, "venue/1")
    return _surveyed(validate(document, Venue), document), document


def _surveyed(venue: Venue, document: Document) -> Venue:
    """The same with outlines in place of laser shots: areas in the order of the file, then those of profiles."""
    if not (venue.standpoint or venue.tie or venue.profile or any(area.shot for area in venue.area)):
        return venue
    survey, problems = survey_of(venue.instrument, venue.standpoint, venue.tie, venue.area, venue.profile, STEEPEST_DEG)
    if survey is None:
        raise FileFaults(document.faults(problems))
    if not survey.areas:
        return venue
    areas = list(venue.area)
    for one in survey.areas:
        made = _outlined(one, areas)
        if not isinstance(made, Area):
            problems += made
        elif one.profile is None:
            areas[int(one.loc[1])] = made
        else:
            areas.append(made)
    if problems:
        raise FileFaults(document.faults(problems))
    found = venue.model_copy(update={"area": tuple(areas)})
    found._survey = survey
    return found


def _outlined(one: MeasuredArea, areas: list[Area]) -> Area | list[Problem]:
    """An area with the outline that was measured, or what is wrong with it."""
    if one.profile is None:
        data = areas[int(one.loc[1])].model_dump(exclude={"shot"}, exclude_unset=True)
    else:
        data = {"name": one.name, **one.profile.model_dump(include={"role", "ear_height_m"})}
        if one.name in [area.name for area in areas]:
            return [
                ((*one.loc, "name"), f"makes an area {one.name}, and there is one", "give it its own name", NO_VALUE)
            ]
    data["outline_m"] = one.corners.tolist()
    try:
        return Area.model_validate(data)
    except ValidationError as error:
        told = explain(error.errors(include_url=False), data, Area)
        part = "row" if one.profile is not None else "shot"
        return [((*one.loc, part), f"gives an area that {wrong}", todo, NO_VALUE) for _, wrong, todo, _ in told]


def check_serves(hang: Hang, venue: Venue, venue_file: str) -> list[Fault]:
    """Faults of a hang file against the venue: areas that it serves and the venue does not have."""
    known = [area.name for area in venue.area if area.role == "audience"]
    faults = []
    for index, name in enumerate(hang.serves or ()):
        if name not in known:
            wrong = f"is no audience area of {venue_file}"
            faults.append(Fault(hang.serves_file, f"serves[{index + 1}]", wrong, nearest(name, known), name))
    if hang.serves == ():
        faults.append(Fault(hang.serves_file, "serves", "names no area", "remove the key to serve all areas"))
    return faults


def outline_basis(corners: Array) -> tuple[Array, Array, str] | None:
    """Origin, axes (3, 3; rows: two in the plane, then its normal) and corners, in words, of an outline's plane.

    The plane of its first three corners, unless these lie nearly on one line and say little of it: then of
    the first one and the two that span most with it. None where all lie on one line.
    """
    origin = corners[0]
    size = float(np.abs(corners - origin).max())
    pairs, spans, chosen = [(1, 2)], [_span(corners, 1, 2)], 0
    if spans[0] <= _NEARLY_ON_A_LINE * size**2:
        pairs += itertools.combinations(range(1, min(len(corners), _MOST_PAIRED)), 2)
        spans += [_span(corners, i, j) for i, j in pairs[1:]]
        chosen = int(np.argmax(spans))
    if spans[chosen] <= 1e-9 * max(size, 1e-9) ** 2:
        return None
    i, j = pairs[chosen]
    first = (corners[i] - origin) / np.linalg.norm(corners[i] - origin)
    normal = np.cross(corners[i] - origin, corners[j] - origin) / spans[chosen]
    three = "the first three" if chosen == 0 else f"corners 1, {i + 1} and {j + 1}"
    return origin, np.stack([first, np.cross(normal, first), normal]), three


def _span(corners: Array, i: int, j: int) -> float:
    """Twice the area of the triangle of the first corner and two others. [m²]"""
    return float(np.linalg.norm(np.cross(corners[i] - corners[0], corners[j] - corners[0])))
