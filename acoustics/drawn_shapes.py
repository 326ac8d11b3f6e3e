"""Entities of a drawing where they stand, through blocks in blocks, and the outlines that they are."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics.outlines import along_arc, bulge_arc

Array = npt.NDArray[np.float64]

MOST_PLACED = 200_000  # entities, with every copy of those in blocks
DEEPEST = 32  # blocks in blocks
_MOST_CHORDS = 180  # of one arc
_SPLINE_FRAME = 16  # DXF reference, VERTEX, group code 70: control point of a smoothed polyline, not on it
_SMOOTHED = 2 | 4  # DXF reference, POLYLINE, group code 70


class NotTaken(Exception):
    """Why an entity cannot be taken: where it is, what is wrong, and the next step."""

    def __init__(self, where: str, wrong: str, todo: str) -> None:
        super().__init__(wrong)
        self.where, self.wrong, self.todo = where, wrong, todo


@dataclass(frozen=True)
class Placed:
    """An entity, the layer that it counts for, and the way from its coordinates to the venue's [m], for row vectors
    (4, 4); `handle`: its own, after those of the block references that it lies in;
    `block_there`: whether the block of a reference is in the drawing."""

    entity: Any
    layer: str
    matrix: Array
    handle: str
    block_there: bool = False

    @property
    def kind(self) -> str:
        """Type of the entity."""
        return str(self.entity.dxftype())

    @property
    def source(self) -> str:
        """Layer, type and handle, as they are told."""
        return f'layer "{self.layer}", {self.kind} {self.handle}'


def walk(document: Any, root: Array, symbols: Collection[str] = ()) -> Iterator[Placed]:
    """All entities of the model where they stand, those of blocks in place of the references.

    A reference is given too, before what its block holds, since it may be a point; entities on layer 0 of a block
    count for the layer of the reference.

    Parameters
    ----------
    document : ezdxf.document.Drawing
    root : ndarray, shape (4, 4)
        From the drawing's coordinates to the venue's, for row vectors.
    symbols : collection of str
        Layers, in lower case, whose references are symbols: what their blocks hold is not given.

    Raises
    ------
    NotTaken
        Before anything is given, where that is more than `MOST_PLACED`, where blocks hold themselves, or lie deeper in
        each other than `DEEPEST`.
    """
    many = _count(document, document.modelspace(), {}, ())
    if many > MOST_PLACED:
        wrong = f"comes to {many:,} entities with all copies of its blocks; {MOST_PLACED:,} at most are read"
        raise NotTaken("", wrong, "export the layers that are needed alone")
    yield from _walk(document, document.modelspace(), root, None, "", symbols)


def _count(document: Any, entities: Any, known: dict[str, int], trail: tuple[str, ...]) -> int:
    """Entities with every copy of those in blocks."""
    total = 0
    for entity in entities:
        total += 1
        if entity.dxftype() != "INSERT":
            continue
        name = str(entity.dxf.get("name", ""))
        key = name.casefold()
        if key in trail:
            raise NotTaken(f'block "{name}"', "holds itself", "purge or redraw the block")
        if len(trail) >= DEEPEST:
            raise NotTaken(f'block "{name}"', f"lies more than {DEEPEST} blocks deep", "explode some of them")
        block = document.blocks.get(name)
        if key not in known:
            known[key] = _count(document, block, known, (*trail, key)) if block is not None else 0
        total += known[key] * _copies(entity)
    return total


def _copies(insert: Any) -> int:
    return max(1, int(insert.dxf.get("row_count", 1))) * max(1, int(insert.dxf.get("column_count", 1)))


def _walk(
    document: Any, entities: Any, matrix: Array, within: str | None, handles: str, symbols: Collection[str]
) -> Iterator[Placed]:
    for entity in entities:
        layer = str(entity.dxf.get("layer", "0"))
        if layer == "0" and within is not None:
            layer = within
        own = str(entity.dxf.handle)
        handle = f"{handles} > {own}" if handles else own
        if entity.dxftype() != "INSERT":
            yield Placed(entity, layer, matrix, handle)
            continue
        block = document.blocks.get(str(entity.dxf.get("name", "")))
        yield Placed(entity, layer, matrix, handle, block is not None)
        for step in _steps(entity) if block is not None and layer.casefold() not in symbols else ():
            yield from _walk(document, block, step @ matrix, layer, handle, symbols)


def _steps(insert: Any) -> Iterator[Array]:
    """From a block's coordinates to those around its reference, for each copy of an array of them."""
    first = np.array(list(insert.matrix44().rows()), dtype=float)
    dxf = insert.dxf
    turn = np.radians(dxf.get("rotation", 0.0))
    for row in range(max(1, int(dxf.get("row_count", 1)))):
        for column in range(max(1, int(dxf.get("column_count", 1)))):
            x, y = column * dxf.get("column_spacing", 0.0), row * dxf.get("row_spacing", 0.0)
            aside = (x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), 0.0)
            step = first.copy()
            step[3, :3] += np.array(tuple(insert.ocs().to_wcs(aside)))
            yield step


def face_count(entity: Any) -> int:
    """How many outlines an entity is, at most; without building them."""
    kind = entity.dxftype()
    if kind == "MESH":
        return len(entity.faces)
    if kind == "POLYLINE" and entity.is_poly_face_mesh:
        return sum(1 for vertex in entity.vertices if vertex.is_face_record)
    if kind == "POLYLINE" and entity.is_polygon_mesh:
        return int(entity.dxf.m_count) * int(entity.dxf.n_count)
    return 1 if kind in ("3DFACE", "LWPOLYLINE", "POLYLINE") else 0


def outlines(placed: Placed, sag_m: float) -> list[Array] | str:
    """Outlines (N, 3) that an entity is [m], arcs flattened; or in words why it is none.

    Raises
    ------
    NotTaken
        If a face names a corner that is not there, or the entity lies nowhere.
    """
    entity = placed.entity
    if not np.isfinite(placed.matrix).all():
        raise NotTaken(
            placed.source, "lies in a block whose place, scale or turn is no number", "insert the block anew"
        )
    # An arc may be stretched: its sag grows with the longest of the axes that it is scaled along.
    stretch = float(np.linalg.norm(placed.matrix[:3, :3], 2))
    sag = sag_m / stretch if stretch > 0.0 else np.inf
    if placed.kind == "3DFACE":
        found: list[Any] | str = [entity.wcs_vertices()]
    elif placed.kind == "LWPOLYLINE":
        corners = np.array([(x, y, bulge) for x, y, bulge in entity.get_points("xyb")], dtype=float).reshape(-1, 3)
        found = _flattened(entity, corners, float(entity.dxf.get("elevation", 0.0)), sag)
    elif placed.kind == "POLYLINE":
        found = _polyline(placed, sag)
    elif placed.kind == "MESH":
        found = _faces(placed, [tuple(vertex) for vertex in entity.vertices], [list(face) for face in entity.faces])
    else:
        return "no face or outline"
    return found if isinstance(found, str) else [_moved(corners, placed.matrix) for corners in found]


def _moved(corners: Any, matrix: Array) -> Array:
    local = np.array([tuple(corner) for corner in corners], dtype=float).reshape(-1, 3)
    return np.column_stack([local, np.ones(len(local))]) @ matrix[:, :3]


def _flattened(entity: Any, corners: Array, elevation: float, sag: float) -> list[Any] | str:
    """The outline of a polyline in a plane: corners (N, 3) of x, y and bulge, in its own axes."""
    if len(corners) < 2:
        return "has no corners"
    if np.array_equal(corners[0, :2], corners[-1, :2]):  # drawn back to its start
        corners = corners[:-1]
    elif not entity.is_closed:
        return "open"
    flat: list[Array] = []
    for (x, y, bulge), after in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        start = np.array([x, y])
        if bulge == 0.0 or np.array_equal(start, after[:2]):
            flat.append(start[np.newaxis])
        else:
            flat.append(along_arc(bulge_arc(start, after[:2], bulge), sag, _MOST_CHORDS)[:-1])
    ocs = entity.ocs()
    return [[ocs.to_wcs((x, y, elevation)) for x, y in np.concatenate(flat)]]


def _polyline(placed: Placed, sag: float) -> list[Any] | str:
    entity = placed.entity
    if entity.is_poly_face_mesh:
        corners = [tuple(v.dxf.location) for v in entity.vertices if not v.is_face_record]
        names = ("vtx0", "vtx1", "vtx2", "vtx3")
        records = [[v.dxf.get(name, 0) for name in names] for v in entity.vertices if v.is_face_record]
        # Counted from 1; negative where the edge that follows is not shown, 0 where there is no fourth corner.
        return _faces(placed, corners, [[abs(int(i)) - 1 for i in record if i] for record in records])
    if entity.is_polygon_mesh:
        return _grid(placed)
    vertices: list[Any] = [v for v in entity.vertices if not v.dxf.get("flags", 0) & _SPLINE_FRAME]
    if not vertices:
        return "has no corners"
    if entity.is_2d_polyline:
        flat = [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in vertices]
        return _flattened(
            entity, np.array(flat, dtype=np.float64), float(entity.dxf.get("elevation", (0, 0, 0))[2]), sag
        )
    places = [v.dxf.location for v in vertices]
    return [places] if entity.is_closed or (len(places) > 3 and places[0] == places[-1]) else "open"


def _faces(placed: Placed, vertices: list[Any], faces: list[list[int]]) -> list[Any]:
    """Faces by the numbers of their corners, from 0."""
    for face in faces:
        if any(not 0 <= index < len(vertices) for index in face):
            raise NotTaken(placed.source, "has a face with a corner that is not there", "draw it anew")
    return [[vertices[index] for index in face] for face in faces]


def _grid(placed: Placed) -> list[Any]:
    """Faces of a polygon mesh of M by N vertices."""
    dxf, entity = placed.entity.dxf, placed.entity
    m, n = int(dxf.m_count), int(dxf.n_count)
    if entity.dxf.get("flags", 0) & _SMOOTHED:
        m, n = int(dxf.get("m_smooth_density", m)), int(dxf.get("n_smooth_density", n))
    places = [v.dxf.location for v in entity.vertices if not v.dxf.get("flags", 0) & _SPLINE_FRAME]
    if m * n > len(places):
        raise NotTaken(placed.source, f"has {len(places)} of {m} by {n} vertices", "draw it anew")
    across = range(m if entity.is_m_closed else m - 1), range(n if entity.is_n_closed else n - 1)
    corners = ((0, 0), (0, 1), (1, 1), (1, 0))
    return [[places[(i + a) % m * n + (j + b) % n] for a, b in corners] for i in across[0] for j in across[1]]
