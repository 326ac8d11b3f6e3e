"""What is taken from a drawing: entities of the chosen layers as flat areas and points, and what is left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from acoustics.drawn_shapes import NotTaken, Placed, outlines
from acoustics.outlines import MOST_CORNERS_SPLIT, MOST_PARTS, flat_parts, off_flat, size_m2, steepness_deg, tidy
from acoustics.venue import SMALLEST_AREA_M2, STEEPEST_DEG, Area
from rigging.faults import Fault

Array = npt.NDArray[np.float64]

FARTHEST_M = 1_000.0  # from the datum, as in a venue file
DECIMALS = 3  # of the venue file: millimetres


@dataclass(frozen=True)
class Wanted:
    """What is to be read: the role of each layer; the unit, where the drawing does not say it; how far chords lie off
    arcs and corners off planes [m]; the place that becomes the datum [drawing unit], and a turn about it [deg]."""

    roles: Mapping[str, str]
    unit: str | None = None
    sag_m: float = 0.02
    flat_within_m: float = 0.05
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turn_deg: float = 0.0


@dataclass(frozen=True)
class DrawnArea:
    """An area as drawn: corners (N, 3), to the millimetre [m]; `source`: layer, type and handle."""

    name: str
    role: str
    corners: Array
    layer: str
    source: str

    @property
    def off_m(self) -> float:
        """How far its corners lie off its plane. [m]"""
        return off_flat(self.corners)


@dataclass(frozen=True)
class DrawnPoint:
    """A point to hang from, as drawn; a limit that the drawing does not give is not known."""

    name: str
    position_m: tuple[float, ...]
    limit_kg: float | None
    source: str


@dataclass
class Read:
    """What has been read so far."""

    file: str
    wanted: Wanted
    shapes: list[tuple[Placed, str, list[Array]]] = field(default_factory=list)
    points: list[tuple[Placed, Array, str, str]] = field(default_factory=list)
    left_out: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def leave(self, placed: Placed, why: str) -> None:
        """Count an entity that is not taken."""
        self.left_out[placed.layer, placed.kind, why] += 1

    def refuse(self, placed: Placed, wrong: str, todo: str) -> None:
        """A fault of an entity."""
        self.faults.append(Fault(self.file, placed.source, wrong, todo))


def take(read: Read, placed: Placed, role: str | None) -> None:
    """Take an entity by the role of its layer, or count it as left out."""
    if placed.kind == "INSERT" and role != "points":
        return None if placed.block_there else read.leave(placed, "its block is not in the drawing")
    if role is None:
        return read.leave(placed, "layer not chosen")
    if placed.entity.dxf.get("invisible", 0):
        return read.leave(placed, "hidden in the drawing")
    try:
        if role == "points":
            _take_point(read, placed)
        else:
            found = outlines(placed, read.wanted.sag_m)
            if isinstance(found, str):
                return read.leave(placed, found)
            read.shapes.append((placed, role, [_near_enough(read, placed, corners) for corners in found]))
    except NotTaken as refused:
        read.refuse(placed, refused.wrong, refused.todo)
    except Exception as error:  # as in `_load`: an entity that is half there
        wrong = f"is damaged ({type(error).__name__}: {error})"
        read.refuse(placed, wrong, "draw it anew, or move it to another layer")
    return None


def _near_enough(read: Read, placed: Placed, corners: Array) -> Array:
    if not np.isfinite(corners).all():
        raise NotTaken(placed.source, "has a coordinate that is no number", "draw it anew")
    far = float(np.abs(corners).max(initial=0.0))
    if far > FARTHEST_M:
        todo = "check the unit (--unit), or give the middle of the stage's front edge with --origin X,Y,Z"
        raise NotTaken(placed.source, f"lies {far:,.0f} m from the datum, {FARTHEST_M:,.0f} m at most are read", todo)
    return np.round(corners, DECIMALS) + 0.0


def _take_point(read: Read, placed: Placed) -> None:
    kind, entity = placed.kind, placed.entity
    if kind not in ("POINT", "CIRCLE", "INSERT"):
        return read.leave(placed, "no point: POINT, CIRCLE and INSERT are")
    if kind == "POINT":
        place = entity.dxf.location
    else:
        place = entity.ocs().to_wcs(entity.dxf.center if kind == "CIRCLE" else entity.dxf.insert)
    at = np.array([[*place, 1.0]]) @ placed.matrix
    tags = {one.dxf.tag.upper(): one.dxf.text.strip() for one in getattr(entity, "attribs", [])}
    name = tags.get("NAME") or next((text for tag, text in tags.items() if tag != "LIMIT_KG" and text), "")
    read.points.append((placed, _near_enough(read, placed, at[:, :3])[0], name, tags.get("LIMIT_KG", "")))
    return None


def areas_of(read: Read) -> list[DrawnArea]:
    """Flat areas of all shapes, named by layer and number, or by a layer that holds one alone."""
    found: list[tuple[Placed, str, Array]] = []
    for placed, role, drawn in read.shapes:
        for corners in drawn:
            found += [(placed, role, part) for part in _flat(read, placed, role, corners)]
    names = _names(f"{_printable(p.layer)[:60]}" for p, _, _ in found)
    areas = [DrawnArea(name, role, c, p.layer, p.source) for name, (p, role, c) in zip(names, found, strict=True)]
    for (placed, _, _), area in zip(found, areas, strict=True):
        _check_area(read, placed, area)
    return areas


def _names(stems: Iterator[str]) -> list[str]:
    """A name for each stem: itself where it stands once, else with a number; each different from all others."""
    listed = list(stems)
    often, taken, names = Counter(listed), set(listed), []
    count: Counter[str] = Counter()
    for stem in listed:
        name = stem
        while often[stem] > 1 and name in taken:
            count[stem] += 1
            name = f"{stem} {count[stem]}"
        taken.add(name)
        names.append(name)
    return names


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "_" for c in text).strip() or "layer"


def _flat(read: Read, placed: Placed, role: str, drawn: Array) -> list[Array]:
    """An outline as flat areas; none where it is left out or refused."""
    within, corners = read.wanted.flat_within_m, tidy(drawn)
    if len(corners) < 3 or size_m2(corners) < SMALLEST_AREA_M2:
        read.leave(placed, "encloses no area")
        return []
    off = off_flat(corners)
    parts = flat_parts(corners, within)
    if parts is None:
        wrong = f"is {off:.3g} m off flat ({len(corners)} corners), {within:g} m are allowed, and cannot be split"
        todo = (
            f"draw it as flat outlines, or allow more with --flat-within (it is split where it has up to "
            f"{MOST_CORNERS_SPLIT} corners, does not cross itself and needs up to {MOST_PARTS} parts)"
        )
        read.refuse(placed, wrong, todo)
        return []
    if len(parts) > 1:
        read.notes.append(f"{placed.source}: {off:.3g} m off flat, split into {len(parts)} areas")
    kept = [part for part in map(tidy, parts) if len(part) > 2 and size_m2(part) >= SMALLEST_AREA_M2]
    if role == "obstacle":
        return kept
    flat = [part for part in kept if steepness_deg(part) <= STEEPEST_DEG]
    for _ in range(len(kept) - len(flat)):
        read.leave(placed, f"steeper than {STEEPEST_DEG:g}°, too steep to sit or stand on")
    return flat


def _check_area(read: Read, placed: Placed, area: DrawnArea) -> None:
    """What the venue file would refuse is refused here, where the entity is known."""
    try:
        Area.model_validate(area_keys(area))
    except ValidationError as error:
        for one in error.errors(include_url=False):
            said = one.get("ctx", {})
            wrong, todo = said.get("wrong", one["msg"]), said.get("todo", "draw it anew")
            read.refuse(placed, wrong, f"{todo}, in the drawing")


def area_keys(area: DrawnArea) -> dict[str, Any]:
    """An area as its table of a venue file."""
    keys: dict[str, Any] = {"name": area.name, "role": area.role}
    if area.off_m > Area.model_fields["flat_within_m"].default:
        keys["flat_within_m"] = float(np.ceil(area.off_m * 100.0) / 100.0)
    return {**keys, "outline_m": [[float(value) for value in corner] for corner in area.corners]}


def points_of(read: Read) -> list[DrawnPoint]:
    names = _names(_printable(name or p.layer)[:60] for p, _, name, _ in read.points)
    points = []
    for name, (placed, place, _, limit) in zip(names, read.points, strict=True):
        try:
            limit_kg = float(limit) if limit else None
        except ValueError:
            limit_kg = -1.0
        if limit_kg is not None and not 0.0 <= limit_kg <= 100_000.0:
            wrong = f"has the attribute LIMIT_KG = {limit!r}, which is no limit in kg"
            read.refuse(placed, wrong, "write a number, or leave it empty where it is not known")
            continue
        points.append(DrawnPoint(name, tuple(float(value) for value in place), limit_kg, placed.source))
    return points
