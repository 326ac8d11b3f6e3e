"""A venue, and the hangs in it, as a DXF drawing in metres."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from acoustics.venue import Area, Venue
from rigging.geometry import aim_lines, boxes, lay_out
from rigging.hang import Hang
from rigging.site import Point

METRES = 6  # DXF reference, header variable $INSUNITS
METRIC = 1  # DXF reference, header variable $MEASUREMENT
AIM_M = 40.0  # length of the lines that show where enclosures aim
_FORBIDDEN = r'[<>/\\":;?*|=`,]'  # in names of layers
_ROLE_COLOUR = {"audience": 3, "quiet": 5, "obstacle": 8}  # numbers of the DXF colour index: green, blue, grey
_SYMBOL = "HANGING-POINT"


def drawing_text(venue: Venue, hangs: Sequence[Hang]) -> tuple[str, dict[str, str]]:
    """A drawing as text DXF, and the role of each layer that an import takes.

    Every area has a layer of its name, points have one, every hang one for its boxes and one for its aims.

    Raises
    ------
    ImportError
        If ezdxf is not installed.
    """
    from ezdxf.filemanagement import new

    document = new("R2010")
    document.header["$INSUNITS"], document.header["$MEASUREMENT"] = METRES, METRIC
    model, taken = document.modelspace(), {"0", "defpoints"}
    roles: dict[str, str] = {}
    for area in venue.area:
        layer = _layer(document, area.name, taken, _ROLE_COLOUR[area.role])
        roles[layer] = area.role
        _draw_area(model, area, layer)
    if venue.point:
        layer = _layer(document, "points", taken, 1)
        roles[layer] = "points"
        _make_symbol(document)
        for point in venue.point:
            _draw_point(model, point, layer)
    for hang in hangs:
        _draw_hang(model, hang, _layer(document, hang.name, taken, 7), _layer(document, f"{hang.name} aims", taken, 4))
    text = io.StringIO()
    document.write(text)
    return text.getvalue(), roles


def _layer(document: Any, name: str, taken: set[str], colour: int) -> str:
    """A new layer of a name, or of one like it: layers' names know no case and not all characters."""
    stem = re.sub(_FORBIDDEN, "_", name).strip() or "area"
    layer, number = stem, 1
    while layer.casefold() in taken:
        number += 1
        layer = f"{stem} {number}"
    taken.add(layer.casefold())
    document.layers.add(layer, color=colour)
    return layer


def _draw_area(model: Any, area: Area, layer: str) -> None:
    """A face where it has three corners, or four that any diagonal divides; else a closed outline in space."""
    corners = [tuple(corner) for corner in area.outline_m]
    if len(corners) <= 4 and _convex(area):
        model.add_3dface(corners, dxfattribs={"layer": layer})
    else:
        model.add_polyline3d(corners, close=True, dxfattribs={"layer": layer})


def _convex(area: Area) -> bool:
    sides = np.roll(area.corners, -1, axis=0) - area.corners
    turns = np.cross(sides, np.roll(sides, -1, axis=0)) @ area.plane[1][2]
    return bool((turns > 0).all() or (turns < 0).all())


def _make_symbol(document: Any) -> None:
    symbol = document.blocks.new(_SYMBOL)
    symbol.add_circle((0, 0), 0.15)
    symbol.add_point((0, 0))
    symbol.add_attdef("NAME", (0.25, 0.0), dxfattribs={"height": 0.3})
    symbol.add_attdef("LIMIT_KG", (0.25, -0.4), dxfattribs={"height": 0.25})


def _draw_point(model: Any, point: Point, layer: str) -> None:
    symbol = model.add_blockref(_SYMBOL, point.position_m, dxfattribs={"layer": layer})
    limit = "" if point.limit_kg is None else f"{point.limit_kg:.15g}"
    symbol.add_auto_attribs({"NAME": point.name, "LIMIT_KG": limit})
    for attribute in symbol.attribs:
        attribute.dxf.layer = layer


def _draw_hang(model: Any, hang: Hang, layer: str, aims: str) -> None:
    from ezdxf.render.mesh import MeshBuilder

    layout = lay_out(hang)
    for corners in boxes(hang, layout):
        box = MeshBuilder()
        box.vertices = [tuple(map(float, corner)) for corner in corners]
        # Right side 0–3, left side 4–7, each around: front top, front bottom, rear bottom, rear top.
        box.faces = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (2, 3, 7, 6), (0, 4, 7, 3), (1, 2, 6, 5)]
        box.render_polyface(model, dxfattribs={"layer": layer})
    for start, end in aim_lines(hang, layout, AIM_M):
        model.add_line(tuple(map(float, start)), tuple(map(float, end)), dxfattribs={"layer": aims})
