"""`evenhang venue import`: a DXF drawing becomes a venue file that a person goes on with."""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from acoustics.app import folder
from acoustics.app.sheet import plain, table
from acoustics.app.status import DONE, refusing
from acoustics.drawing import ROLES, UNITS_M, Drawing, read_drawing
from acoustics.drawn import Wanted, area_keys
from acoustics.venue import Venue
from rigging.faults import Fault, FileFaults, nearest
from rigging.files import parse, validate
from rigging.site import DATUM

_WIDEST = 110  # of a line with an outline


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    target = Path(asked.out) if asked.out else Path(asked.file).with_suffix(".toml")
    folder.prepare_new(target, "--out")
    wanted = _wanted(asked)
    drawing = read_drawing(asked.file, wanted)
    text = venue_text(drawing, Path(asked.file), wanted)
    validate(parse(text, str(target), "venue/1"), Venue)
    folder.write_new(target, "--out", text)
    data = plain(_data(drawing, target))
    print(json.dumps(data, indent=2, ensure_ascii=False) if asked.json else _report(drawing, target))
    return DONE


def _wanted(asked: argparse.Namespace) -> Wanted:
    """What was asked for.

    Raises
    ------
    FileFaults
        With every `--layer` that is none, and a unit that is not known.
    """
    roles: dict[str, str] = {}
    faults = []
    for text in asked.layer:
        name, found, role = text.rpartition("=")
        if not found or not name:
            todo = f"write NAME=ROLE; roles: {', '.join(ROLES)}"
            faults.append(Fault("--layer", "", "gives no layer and role", todo, text))
        elif role not in ROLES:
            faults.append(Fault("--layer", "", "gives no role that is known", nearest(role, ROLES, what="roles"), text))
        elif name.casefold() in {one.casefold() for one in roles}:
            faults.append(Fault("--layer", "", "names a layer twice", "give each layer one role", text))
        else:
            roles[name] = role
    if asked.unit is not None and asked.unit not in UNITS_M:
        faults.append(Fault("--unit", "", "is no unit that is known", nearest(asked.unit, UNITS_M), asked.unit))
    if faults:
        raise FileFaults(faults)
    return Wanted(roles, asked.unit, asked.sag, asked.flat_within, asked.origin, asked.turn)


def venue_text(drawing: Drawing, source: Path, wanted: Wanted) -> str:
    """A venue file of what a drawing holds, with comments that say where each part comes from."""
    sha = hashlib.sha256(source.read_bytes()).hexdigest()
    file = tomlkit.document()
    for line in _head(drawing, source, wanted, sha):
        file.add(tomlkit.comment(line))
    file.add("format", tomlkit.item("venue/1"))
    file.add("name", tomlkit.item(_name(source)))
    file.add("description", tomlkit.item(f"imported from {_name(source)}"[:80]))
    file.add("datum", tomlkit.item(DATUM))
    file["datum"].comment("check that the drawing's origin is there")
    areas = tomlkit.aot()
    for area in drawing.areas:
        entry = tomlkit.table()
        entry.add(tomlkit.comment(_one_line(area.source)))
        for key, value in area_keys(area).items():
            entry.add(key, _outline(value) if key == "outline_m" else tomlkit.item(value))
            if key == "role" and area.role != "obstacle":
                entry.add("ear_height_m", tomlkit.item(1.2))
                entry["ear_height_m"].comment("not drawn: seated; 1.65 standing")
        areas.append(entry)
    file.add("area", areas)
    points = tomlkit.aot()
    for point in drawing.points:
        entry = tomlkit.table()
        entry.add(tomlkit.comment(_one_line(point.source)))
        entry.add("name", tomlkit.item(point.name))
        entry.add("position_m", tomlkit.item(list(point.position_m)))
        if point.limit_kg is None:
            entry.add(tomlkit.comment("limit_kg is not in the drawing: ask the venue"))
        else:
            entry.add("limit_kg", tomlkit.item(point.limit_kg))
        points.append(entry)
    if drawing.points:
        file.add("point", points)
    return tomlkit.dumps(file)


def _head(drawing: Drawing, source: Path, wanted: Wanted, sha: str) -> Iterator[str]:
    yield f"Imported from {_one_line(source.name)}, SHA-256 {sha}."
    layers = ", ".join(f"{name} as {role}" for name, role in wanted.roles.items())
    yield f"Layers: {_one_line(layers)}."
    yield f"Unit of the drawing: {drawing.unit}, from {drawing.unit_from}. Numbers are rounded to 1 mm."
    yield f"Chords lie within {wanted.sag_m:g} m of arcs, corners within {wanted.flat_within_m:g} m of planes."
    if any(wanted.origin) or wanted.turn_deg:
        x, y, z = wanted.origin
        yield f"Datum at {x:g}, {y:g}, {z:g} of the drawing, turned by {wanted.turn_deg:g}° about it."
    yield "Check: heights of ears, limits of points and of quiet areas, the air; these are not in a drawing."


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else "_" for c in text)


def _name(source: Path) -> str:
    return _one_line(source.stem).strip()[:60] or "venue"


def _outline(corners: Sequence[Sequence[float]]) -> Any:
    array = tomlkit.item([list(corner) for corner in corners])
    if len(array.as_string()) > _WIDEST:
        array.multiline(True)
    return array


def _report(drawing: Drawing, target: Path) -> str:
    rows = [[a.name, a.role, str(len(a.corners)), a.source] for a in drawing.areas]
    lines = table(["area", "role", "corners", "from"], rows, "llrl")
    if drawing.points:
        at = [", ".join(f"{value:.3f}" for value in p.position_m) for p in drawing.points]
        limits = ["not known" if p.limit_kg is None else f"{p.limit_kg:g}" for p in drawing.points]
        rows = [[p.name, where, limit, p.source] for p, where, limit in zip(drawing.points, at, limits, strict=True)]
        lines += ["", *table(["point", "x, y, z, m", "limit, kg", "from"], rows, "lrrl")]
    if drawing.left_out:
        rows = [[layer, kind, str(n), why] for (layer, kind, why), n in sorted(drawing.left_out.items())]
        lines += ["", "left out:", *table(["layer", "type", "number", "why"], rows, "llrl")]
    lines += ["", *(f"note: {note}" for note in drawing.notes)] if drawing.notes else []
    lines += ["", f"unit {drawing.unit} (from {drawing.unit_from}); written to {target}"]
    return "\n".join([*map(_one_line, lines), f"look at it with: evenhang venue show {target}"])


def _data(drawing: Drawing, target: Path) -> dict[str, Any]:
    return {
        "file": str(target),
        "unit": drawing.unit,
        "unit_from": drawing.unit_from,
        "areas": [{**area_keys(area), "from": area.source} for area in drawing.areas],
        "points": [
            {"name": p.name, "position_m": p.position_m, "limit_kg": p.limit_kg, "from": p.source}
            for p in drawing.points
        ],
        "left_out": [
            {"layer": layer, "type": kind, "number": number, "why": why}
            for (layer, kind, why), number in sorted(drawing.left_out.items())
        ],
        "notes": list(drawing.notes),
    }
