"""Drawings written with a general library, read as venues: every kind of entity, blocks, units and refusals."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from ezdxf.render import MeshBuilder

from acoustics import drawing, drawn_shapes, dxf_text
from acoustics.drawing import Drawing, read_drawing
from acoustics.drawn import Wanted
from rigging.faults import FileFaults

SEATS = {"SEATS": "audience"}
SQUARE = [(5.0, -4.0, 0.0), (15.0, -4.0, 1.0), (15.0, 4.0, 1.0), (5.0, 4.0, 0.0)]
ON = {"layer": "SEATS"}


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Drawing]:
    """Reads what `draw` puts into a new drawing in metres."""

    def run(draw: Callable[[Any, Any], None], roles: dict[str, str] | None = None, **options: Any) -> Drawing:
        document = ezdxf.new(options.pop("version", "R2010"))
        document.header["$INSUNITS"] = options.pop("insunits", 6)
        draw(document, document.modelspace())
        document.saveas(tmp_path / "a.dxf")
        return read_drawing(tmp_path / "a.dxf", Wanted(roles or SEATS, **options))

    return run


def same_outline(found: np.ndarray, expected: Any, atol: float = 0.00051) -> None:
    """The same corners in the same order around, from whichever corner and in either way."""
    wanted = np.asarray(expected, dtype=float)
    assert found.shape == wanted.shape
    ways = [np.roll(way, shift, axis=0) for way in (wanted, wanted[::-1]) for shift in range(len(wanted))]
    assert min(float(np.abs(found - way).max()) for way in ways) <= atol, found


def face(document: Any, model: Any) -> None:
    model.add_3dface(SQUARE, dxfattribs=ON)


def polyline_3d(document: Any, model: Any) -> None:
    model.add_polyline3d(SQUARE, close=True, dxfattribs=ON)


def polyline_back_to_its_start(document: Any, model: Any) -> None:
    model.add_polyline3d([*SQUARE, SQUARE[0]], dxfattribs=ON)


def polyface(document: Any, model: Any) -> None:
    box = MeshBuilder()
    box.vertices, box.faces = list(SQUARE), [(0, 1, 2, 3)]
    box.render_polyface(model, dxfattribs=ON)


def mesh(document: Any, model: Any) -> None:
    with model.add_mesh(dxfattribs=ON).edit_data() as data:
        data.vertices, data.faces = list(SQUARE), [(0, 1, 2, 3)]


def polygon_mesh(document: Any, model: Any) -> None:
    grid = model.add_polymesh((2, 2), dxfattribs=ON)
    for place, corner in zip([(0, 0), (0, 1), (1, 1), (1, 0)], SQUARE, strict=True):
        grid.set_mesh_vertex(place, corner)


def tilted_lwpolyline(document: Any, model: Any) -> None:
    """Drawn in a plane of its own: x' along the slope, y' across, 0 at its lower edge."""
    slope = np.hypot(10.0, 1.0)
    normal = np.array([-1.0, 0.0, 10.0]) / slope
    ocs = ezdxf.math.OCS(normal)
    points = [ocs.from_wcs(corner) for corner in SQUARE]
    style = {**ON, "extrusion": tuple(normal), "elevation": points[0][2]}
    model.add_lwpolyline([(p[0], p[1]) for p in points], close=True, dxfattribs=style)


@pytest.mark.parametrize(
    "draw",
    [face, polyline_3d, polyline_back_to_its_start, polyface, mesh, polygon_mesh, tilted_lwpolyline],
    ids=lambda draw: draw.__name__,
)
def test_every_kind_of_outline(read: Any, draw: Any) -> None:
    (area,) = read(draw).areas
    same_outline(area.corners, SQUARE)
    assert (area.name, area.role) == ("SEATS", "audience")
    assert area.source.startswith('layer "SEATS", ')


def test_a_three_cornered_face_has_three_corners(read: Any) -> None:
    (area,) = read(lambda d, m: m.add_3dface(SQUARE[:3], dxfattribs=ON)).areas
    same_outline(area.corners, SQUARE[:3])


@pytest.mark.parametrize("heavy", [False, True])
def test_bulges_are_flattened_to_the_sag(read: Any, heavy: bool) -> None:
    # A rear edge from (15, −4) to (15, 4) with bulge 0.5: sagitta 2, radius 5, centre (12, 0), by hand.
    points = [(5.0, -4.0, 0.0), (15.0, -4.0, 0.5), (15.0, 4.0, 0.0), (5.0, 4.0, 0.0)]
    add = "add_polyline2d" if heavy else "add_lwpolyline"
    drawn = read(lambda d, m: getattr(m, add)(points, format="xyb", close=True, dxfattribs=ON), sag_m=0.05)
    (area,) = drawn.areas
    rear = area.corners[area.corners[:, 0] >= 14.999]
    np.testing.assert_allclose(np.hypot(rear[:, 0] - 12.0, rear[:, 1]), 5.0, atol=0.001)
    assert area.corners[:, 0].max() > 17.0 - 0.05
    around = np.sort(np.arctan2(rear[:, 1], rear[:, 0] - 12.0))
    assert (5.0 * (1.0 - np.cos(np.diff(around) / 2.0))).max() <= 0.05
    assert len(rear) < 12


def test_the_sag_holds_in_the_venue_and_not_in_the_block(read: Any) -> None:
    def draw(document: Any, model: Any) -> None:
        block = document.blocks.new("B")
        block.add_lwpolyline([(0, -1, 0.5), (0, 1, 0), (-2, 0, 0)], format="xyb", close=True, dxfattribs=ON)
        model.add_blockref("B", (20, 0), dxfattribs={"xscale": 8, "yscale": 8, "zscale": 8})

    (area,) = read(draw, sag_m=0.02).areas
    # Radius 1.25 × 8 = 10, turn 106.26°. A chord of sag 0.02 spans 2 acos(1 − 0.002) = 7.248°: 15 chords.
    assert len(area.corners) == 15 + 1 + 1


def nested(document: Any, model: Any) -> None:
    inner = document.blocks.new("INNER", base_point=(1.0, 0.5, 0.0))
    inner.add_3dface([(0, 0, 0), (3, 0, 0.5), (3, 2, 0.5), (0, 2, 0)], dxfattribs={"layer": "0"})
    inner.add_3dface([(0, 3, 0), (3, 3, 0), (3, 5, 0), (0, 5, 0)], dxfattribs={"layer": "OWN"})
    outer = document.blocks.new("OUTER")
    turned = {"layer": "0", "rotation": 30.0, "xscale": 2.0, "yscale": -1.5, "zscale": 1.2}
    outer.add_blockref("INNER", (4, 1, 0.2), dxfattribs=turned)
    array = {"row_count": 2, "column_count": 3, "row_spacing": 15.0, "column_spacing": 12.0}
    style = {"layer": "SEATS", "rotation": 20.0, "xscale": -1.0}
    model.add_blockref("OUTER", (30, 5, 1), dxfattribs={**style, **array})
    model.add_blockref("OUTER", (60, 5, 1), dxfattribs={**style, "extrusion": (0, 0, -1)})


def by_the_library(insert: Any) -> list[np.ndarray]:
    """Faces of a block reference as the general library places them, by its own explosion."""
    found = []
    for one in insert.multi_insert() if insert.mcount > 1 else [insert]:
        for entity in one.virtual_entities():
            if entity.dxftype() == "INSERT":
                found += by_the_library(entity)
            else:
                found.append(np.array([tuple(v) for v in entity.wcs_vertices()]))
    return found


def test_blocks_in_blocks_turned_scaled_mirrored_and_in_arrays(read: Any) -> None:
    expected: list[np.ndarray] = []

    def draw(document: Any, model: Any) -> None:
        nested(document, model)
        expected.extend(face for insert in model.query("INSERT") for face in by_the_library(insert))

    drawn = read(draw, {"SEATS": "audience", "OWN": "obstacle"})
    assert len(drawn.areas) == len(expected) == 14
    for area, corners in zip(drawn.areas, expected, strict=True):
        same_outline(area.corners, corners)
    # Layer 0 takes the layer of the outermost reference that is not on layer 0 itself.
    assert [area.role for area in drawn.areas] == ["audience", "obstacle"] * 7
    assert [area.name for area in drawn.areas][:3] == ["SEATS 1", "OWN 1", "SEATS 2"]


def test_a_turned_and_scaled_block_by_hand(read: Any) -> None:
    def draw(document: Any, model: Any) -> None:
        block = document.blocks.new("B")
        block.add_3dface([(0, 0, 0), (4, 0, 0), (4, 2, 0), (0, 2, 0)], dxfattribs={"layer": "0"})
        model.add_blockref("B", (10, 0, 1), dxfattribs={**ON, "rotation": 90, "xscale": 2, "yscale": -1})

    # (x, y) → (2x, −y) → turned by 90°: (y, 2x) → (10 + y, 2x).
    same_outline(read(draw).areas[0].corners, [(10, 0, 1), (10, 8, 1), (12, 8, 1), (12, 0, 1)])


UNITS = [(1, 0.0254, "in"), (2, 0.3048, "ft"), (4, 0.001, "mm"), (5, 0.01, "cm"), (10, 0.9144, "yd"), (14, 0.1, "dm")]


@pytest.mark.parametrize(("code", "metres", "name"), UNITS)
def test_units_of_the_header(read: Any, code: int, metres: float, name: str) -> None:
    # Exact by the international agreement of 1959, or decimal.
    corners = [tuple(round(v / metres, 9) for v in corner) for corner in SQUARE]
    drawn = read(lambda d, m: m.add_3dface(corners, dxfattribs=ON), insunits=code)
    same_outline(drawn.areas[0].corners, SQUARE)
    assert (drawn.unit, drawn.unit_from) == (name, "$INSUNITS")


@pytest.mark.parametrize("code", [0, 18, 99])
def test_no_unit_is_guessed(read: Any, code: int) -> None:
    with pytest.raises(FileFaults, match=r"\$INSUNITS: has (no|a) unit in its header.*say what one unit is: --unit"):
        read(face, insunits=code)
    drawn = read(lambda d, m: m.add_3dface([(v[0] / 0.3048, v[1] / 0.3048, v[2] / 0.3048) for v in SQUARE],
                                           dxfattribs=ON), insunits=code, unit="ft")  # fmt: skip
    same_outline(drawn.areas[0].corners, SQUARE)


def test_a_unit_that_is_asked_for_is_taken_and_told(read: Any) -> None:
    drawn = read(face, insunits=1, unit="m")
    same_outline(drawn.areas[0].corners, SQUARE)
    assert drawn.notes == ("the header gives in as unit ($INSUNITS = 1); m was asked for and taken",)


def test_an_old_release_without_units_asks_for_one(read: Any) -> None:
    with pytest.raises(FileFaults, match="has no unit in its header"):
        read(face, version="R12", insunits=0)


def test_origin_and_turn(read: Any) -> None:
    # Stage edge at (100, 50) and the audience along +y of the drawing, in feet: turned by −90°.
    feet = [(100.0 - y, 50.0 + x, z) for x, y, z in SQUARE]
    drawn = read(lambda d, m: m.add_3dface(feet, dxfattribs=ON), insunits=2, origin=(100.0, 50.0, 0.0), turn_deg=-90.0)
    same_outline(drawn.areas[0].corners, np.array(SQUARE) * 0.3048)


def test_points_of_all_kinds_with_names_and_limits(read: Any) -> None:
    def draw(document: Any, model: Any) -> None:
        face(document, model)
        on = {"layer": "HANG"}
        model.add_point((1, 2, 14), dxfattribs=on)
        model.add_circle((3, 4, 15), 0.1, dxfattribs=on)
        block = document.blocks.new("P")
        block.add_point((0, 0), dxfattribs={"layer": "0"})
        for tag in ("NAME", "LIMIT_KG"):
            block.add_attdef(tag, (0, 0))
        model.add_blockref("P", (5, 6, 16), dxfattribs=on).add_auto_attribs({"NAME": "left 1", "LIMIT_KG": "650"})
        model.add_blockref("P", (7, 8, 16), dxfattribs=on).add_auto_attribs({"NAME": "left 2", "LIMIT_KG": ""})
        model.add_line((0, 0), (1, 1), dxfattribs=on)

    drawn = read(draw, {**SEATS, "hang": "points"})  # layers' names know no case
    assert [(p.name, p.position_m, p.limit_kg) for p in drawn.points] == [
        ("HANG 1", (1.0, 2.0, 14.0), None),
        ("HANG 2", (3.0, 4.0, 15.0), None),
        ("left 1", (5.0, 6.0, 16.0), 650.0),
        ("left 2", (7.0, 8.0, 16.0), None),
    ]
    assert drawn.left_out == {("HANG", "LINE", "no point: POINT, CIRCLE and INSERT are"): 1}


@pytest.mark.parametrize("limit", ["one ton", "-5", "nan", "1e9"])
def test_a_limit_that_is_none_is_refused(read: Any, limit: str) -> None:
    def draw(document: Any, model: Any) -> None:
        face(document, model)
        document.blocks.new("P").add_attdef("LIMIT_KG", (0, 0))
        model.add_blockref("P", (5, 6, 16), dxfattribs={"layer": "H"}).add_auto_attribs({"LIMIT_KG": limit})

    with pytest.raises(FileFaults, match=r"has the attribute LIMIT_KG = .*, which is no limit in kg"):
        read(draw, {**SEATS, "H": "points"})


def test_what_is_left_out_is_counted_by_layer_type_and_reason(read: Any) -> None:
    def draw(document: Any, model: Any) -> None:
        face(document, model)
        model.add_lwpolyline([(0, 0), (9, 0), (9, 9)], dxfattribs=ON)
        model.add_line((0, 0), (1, 1), dxfattribs=ON)
        model.add_3dface([(0, 0, 0), (0, 4, 0), (0, 4, 4), (0, 0, 4)], dxfattribs=ON)
        model.add_3dface([(0, 0, 0), (0.001, 0, 0), (0.001, 0.001, 0)], dxfattribs=ON)
        model.add_3dface(SQUARE, dxfattribs={**ON, "invisible": 1})
        for _ in range(3):
            model.add_text("A", dxfattribs={"layer": "NOTES"})

    drawn = read(draw)
    assert len(drawn.areas) == 1
    assert drawn.left_out == {
        ("SEATS", "LWPOLYLINE", "open"): 1,
        ("SEATS", "LINE", "no face or outline"): 1,
        ("SEATS", "3DFACE", "steeper than 60°, too steep to sit or stand on"): 1,
        ("SEATS", "3DFACE", "encloses no area"): 1,
        ("SEATS", "3DFACE", "hidden in the drawing"): 1,
        ("NOTES", "TEXT", "layer not chosen"): 3,
    }


def test_a_bent_face_is_split_and_told(read: Any) -> None:
    bent = [(5, -4, 0), (15, -4, 0), (15, 4, 0), (5, 4, 1)]
    drawn = read(lambda d, m: m.add_3dface(bent, dxfattribs=ON))
    assert [len(area.corners) for area in drawn.areas] == [3, 3]
    assert "1 m off flat, split into 2 areas" in drawn.notes[0]
    whole = read(lambda d, m: m.add_3dface(bent, dxfattribs=ON), flat_within_m=1.5)
    assert len(whole.areas) == 1


def wavy(document: Any, model: Any) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 30, endpoint=False)
    corners = np.column_stack([20 + 10 * np.cos(turn), 10 * np.sin(turn), 2 * np.sin(3 * turn)])
    model.add_polyline3d([tuple(c) for c in corners.tolist()], close=True, dxfattribs=ON)


def crossing(document: Any, model: Any) -> None:
    model.add_lwpolyline([(0, 0), (4, 4), (8, 0), (8, 4), (0, 3)], close=True, dxfattribs=ON)


def far_away(document: Any, model: Any) -> None:
    model.add_3dface([(x + 500_000, y, z) for x, y, z in SQUARE], dxfattribs=ON)


def beyond_all_bounds(document: Any, model: Any) -> None:
    model.add_3dface([(x * 1e307, y, z) for x, y, z in SQUARE], dxfattribs=ON)


def only_lines(document: Any, model: Any) -> None:
    model.add_line((0, 0), (1, 1), dxfattribs=ON)


def holds_itself(document: Any, model: Any) -> None:
    document.blocks.new("A").add_blockref("B", (0, 0))
    document.blocks.new("B").add_blockref("A", (0, 0))
    model.add_blockref("A", (0, 0))


def too_deep(document: Any, model: Any) -> None:
    for index in range(40):
        document.blocks.new(f"B{index}").add_blockref(f"B{index + 1}", (0, 0))
    model.add_blockref("B0", (0, 0))


def copies_of_copies(document: Any, model: Any) -> None:
    """Blocks of 1, 20, 210, 2,110 … 211,111,110 entities: ten references in each, and what these hold."""
    document.blocks.new("B0").add_3dface(SQUARE, dxfattribs=ON)
    for index in range(1, 9):
        block = document.blocks.new(f"B{index}")
        for _ in range(10):
            block.add_blockref(f"B{index - 1}", (0, 0))
    model.add_blockref("B8", (0, 0))


def a_large_array(document: Any, model: Any) -> None:
    document.blocks.new("B").add_3dface(SQUARE, dxfattribs=ON)
    model.add_blockref("B", (0, 0), dxfattribs={"row_count": 30_000, "column_count": 30_000})


def many_faces(document: Any, model: Any) -> None:
    document.blocks.new("B").add_3dface(SQUARE, dxfattribs=ON)
    model.add_blockref("B", (0, 0), dxfattribs={"row_count": 50, "column_count": 41, "row_spacing": 1.0})


def many_corners(document: Any, model: Any) -> None:
    corners = [(10 + 5 * np.cos(t), 5 * np.sin(t)) for t in np.linspace(0.0, 6.28, 20_001)]
    model.add_lwpolyline(corners, close=True, dxfattribs=ON)


REFUSED = [
    (many_corners, r'have 20,001 corners, 20,000 at most are read; take a larger --sag.*20,001 in layer "SEATS"'),
    (wavy, r'"SEATS", POLYLINE \w+: is \d\.\d+ m off flat \(30 corners\), 0.05 m are allowed, and cannot be split'),
    (crossing, r'layer "SEATS", LWPOLYLINE \w+: crosses or touches itself; list the corners'),
    (far_away, r'layer "SEATS", 3DFACE \w+: lies 500,015 m from the datum, 1,000 m at most are read; check the unit'),
    (beyond_all_bounds, r'layer "SEATS", 3DFACE \w+: (lies|has a coordinate)'),
    (only_lines, r'layer "SEATS": holds no face or closed outline of an area: 1 LINE; choose another layer'),
    (holds_itself, r'block "A": holds itself'),
    (too_deep, 'lies more than 32 blocks deep'),
    (copies_of_copies, 'comes to 211,111,111 entities with all copies of its blocks; 200,000 at most are read'),
    (a_large_array, 'comes to 900,000,001 entities'),
    (many_faces, r'has 2,050 faces and outlines on the chosen layers \(2,050 on SEATS\); 2,000 at most are read'),
]  # fmt: skip


@pytest.mark.parametrize(("draw", "message"), REFUSED, ids=lambda one: getattr(one, "__name__", ""))
def test_what_cannot_be_an_area_is_refused_by_name(read: Any, draw: Any, message: str) -> None:
    with pytest.raises(FileFaults, match=message):
        read(draw)


def test_a_layer_that_is_not_there_brings_the_nearest(read: Any) -> None:
    with pytest.raises(FileFaults, match=r'a layer that is not there \(got "SEAT"\); did you mean SEATS\?'):
        read(face, {"SEAT": "audience"})


def test_somebody_must_listen(read: Any) -> None:
    with pytest.raises(FileFaults, match="--layer: leaves no area to listen in"):
        read(face, {"SEATS": "obstacle"})


def text_of(tmp_path: Path, content: bytes) -> Path:
    path = tmp_path / "b.dxf"
    path.write_bytes(content)
    return path


WHOLE = b"  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"AC1032" + bytes(100), "is a DWG, which is not read; save it as DXF, as text"),
        (b"a binary DXF says \r\n\x1a\x00" + bytes(50), "is a binary DXF, which is not read"),
        (b"\x89PNG\r\n\x00\x00", "is not a text file"),
        (b"hello\nworld\n", "b.dxf:1: is no DXF, or is damaged: a group code that is no number"),
        (b"  0\n" + b"x" * 200_000, "a line without end"),
        (WHOLE[:-12], r"is cut off: it ends before its end \(0 EOF\)"),
        (WHOLE[:-4], "is cut off"),
        (WHOLE.replace(b"ENTITIES", b"OBJECTS"), "it has no section ENTITIES"),
        (WHOLE.replace(b"  0\nENDSEC", b"  0\nLINE\n" * 200_001 + b"  0\nENDSEC"), "more than 200,000 entities"),
    ],
)
def test_what_is_no_whole_text_drawing_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(FileFaults, match=message):
        read_drawing(text_of(tmp_path, content), Wanted(SEATS))


def test_a_missing_file_a_folder_and_a_huge_file(tmp_path: Path) -> None:
    with pytest.raises(FileFaults, match="does not exist; check the path"):
        read_drawing(tmp_path / "none.dxf", Wanted(SEATS))
    with pytest.raises(FileFaults, match="is a directory"):
        read_drawing(tmp_path, Wanted(SEATS))
    huge = tmp_path / "huge.dxf"
    with huge.open("wb") as file:
        file.truncate(3_000_000_000)  # sparse: takes no room
    with pytest.raises(FileFaults, match="is too large, 3000 MB; 64 MB at most are read"):
        read_drawing(huge, Wanted(SEATS))


def test_a_million_faces_are_refused_in_little_memory(tmp_path: Path) -> None:
    one = b"  0\n3DFACE\n  8\nS\n"
    path = text_of(tmp_path, WHOLE.replace(b"  0\nENDSEC", one * 1_000_000 + b"  0\nENDSEC"))
    run = (
        "import resource, sys; from acoustics.dxf_text import check_text; from rigging.faults import FileFaults\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try: check_text(sys.argv[1])\n"
        "except FileFaults as e: print(e)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"
    )
    root = str(Path(drawing.__file__).parents[1])
    done = subprocess.run([sys.executable, "-c", run, str(path)], capture_output=True, text=True, check=True, cwd=root)
    message, grown_kb = done.stdout.strip().rsplit("\n", 1)
    assert "holds more than 200,000 entities" in message
    assert int(grown_kb) < 5_000  # the file has 16 MB


def test_the_extra_that_is_missing_is_named(read: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    read(face)
    monkeypatch.setitem(sys.modules, "ezdxf.filemanagement", None)
    with pytest.raises(FileFaults, match=r"ezdxf\) is not installed; pip install 'evenhang\[cad\]'"):
        read(face)


def test_too_many_lines_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dxf_text, "MOST_TAGS", 1_000)
    path = text_of(tmp_path, WHOLE.replace(b"  0\nENDSEC", b"10\n1\n" * 1_000 + b"  0\nENDSEC"))
    with pytest.raises(FileFaults, match="holds more than 2,000 lines, the most that are read"):
        read_drawing(path, Wanted(SEATS))


def test_the_limits_that_are_stated() -> None:
    assert (dxf_text.MOST_ENTITIES, drawing.MOST_AREAS, drawn_shapes.MOST_PLACED) == (200_000, 2_000, 200_000)
    assert (dxf_text.MOST_BYTES, dxf_text.MOST_TAGS, drawing.MOST_CORNERS) == (64_000_000, 4_000_000, 20_000)
