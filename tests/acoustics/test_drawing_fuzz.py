"""Damaged drawings: each ends with a refusal or with a venue that loads, never with a traceback."""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustics.app.venue_import import venue_text
from acoustics.drawing import read_drawing
from acoustics.drawn import Wanted
from acoustics.venue import load_venue
from rigging.faults import FileFaults

ROLES = {"SEATS": "audience", "WALL": "obstacle", "HANG": "points"}
CORNERS = [(5.0, -4.0, 0.0), (15.0, -4.0, 1.0), (15.0, 4.0, 1.0), (5.0, 4.0, 0.0)]


def whole() -> bytes:
    """A drawing with every kind of entity that is read."""
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 6
    model = document.modelspace()
    seats, wall, hang = ({"layer": layer} for layer in ROLES)
    model.add_3dface(CORNERS, dxfattribs=seats)
    model.add_lwpolyline([(20, -4, 0.5), (30, -4, 0), (30, 4, 0)], format="xyb", close=True, dxfattribs=seats)
    model.add_polyline3d([(x + 30, y, z) for x, y, z in CORNERS], close=True, dxfattribs=seats)
    model.add_polymesh((2, 3), dxfattribs=wall)
    with model.add_mesh(dxfattribs=wall).edit_data() as data:
        data.vertices, data.faces = [(x, y, z + 9) for x, y, z in CORNERS], [(0, 1, 2), (0, 2, 3)]
    block = document.blocks.new("B")
    block.add_3dface(CORNERS)
    for tag in ("NAME", "LIMIT_KG"):
        block.add_attdef(tag, (0, 0))
    model.add_blockref("B", (0, 20), dxfattribs={**seats, "rotation": 30, "xscale": -1, "column_count": 2})
    model.add_blockref("B", (0, 5, 14), dxfattribs=hang).add_auto_attribs({"NAME": "P", "LIMIT_KG": "500"})
    model.add_point((0, -5, 14), dxfattribs=hang)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


WHOLE = whole()
LINES = WHOLE.split(b"\n")
# From the blocks on: what comes before is tables that hardly matter here.
FIRST = LINES.index(b"BLOCKS")
WORDS = [b"", b"0", b"-1", b"1", b"70", b"8", b"10", b"42", b"1e308", b"-1e308", b"nan", b"inf", b"99999999", b"3DFACE",
         b"POLYLINE", b"VERTEX", b"SEQEND", b"INSERT", b"MESH", b"B", b"*Model_Space", b"\xff\xfe", b"\x00", b"SEATS",
         b"ENDSEC", b"EOF", b"\xc2\xa0", b"-2147483648", b"1" * 40]  # fmt: skip
change = st.tuples(st.sampled_from(["set", "cut", "copy", "swap"]), st.floats(0.0, 1.0), st.sampled_from(WORDS))


def read(path: Path, content: bytes) -> str:
    """What becomes of a drawing: "refused", or "loads"."""
    source, target = path / "a.dxf", path / "a.toml"
    source.write_bytes(content)
    wanted = Wanted(ROLES)
    drawing, faults = None, ()
    try:
        drawing = read_drawing(source, wanted)
    except FileFaults as error:
        faults = error.faults
    if drawing is None:
        assert faults
        assert all(fault.file == str(source) and fault.todo and str(fault).isprintable() for fault in faults)
        return "refused"
    target.write_text(venue_text(drawing, source, wanted), encoding="utf-8")
    venue, _ = load_venue(target)
    assert len(venue.area) == len(drawing.areas)
    return "loads"


def changed(changes: list[tuple[str, float, bytes]]) -> bytes:
    lines = list(LINES)
    for kind, where, word in changes:
        index = FIRST + int(where * (len(lines) - FIRST - 1))
        if kind == "set":
            lines[index] = word
        elif kind == "cut":
            del lines[index]
        elif kind == "copy":
            lines[index:index] = lines[index : index + 6]
        else:
            lines[index], lines[-index % len(lines)] = lines[-index % len(lines)], lines[index]
    return b"\n".join(lines)


def test_the_whole_drawing_loads(tmp_path: Path) -> None:
    assert read(tmp_path, WHOLE) == "loads"


MANY = os.environ.get("EVENHANG_FUZZ")  # see DEVELOPERS.md
shared = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.function_scoped_fixture],
    "derandomize": not MANY,
    "database": None,
}


@settings(max_examples=int(MANY or 150), **shared)
@given(st.lists(change, min_size=1, max_size=4))
def test_a_changed_drawing_is_refused_or_loads(tmp_path: Path, changes: Any) -> None:
    assert read(tmp_path, changed(changes)) in ("refused", "loads")


@settings(max_examples=int(MANY or 40), **shared)
@given(st.integers(0, len(WHOLE.rstrip()) - 4))
def test_a_truncated_drawing_is_refused(tmp_path: Path, length: int) -> None:
    assert read(tmp_path, WHOLE[:length]) == "refused"


@settings(max_examples=int(MANY or 60), **shared)
@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), min_size=1, max_size=20))
def test_changed_bytes_are_refused_or_load(tmp_path: Path, bytes_changed: Any) -> None:
    content = bytearray(WHOLE)
    for index, value in bytes_changed:
        content[index] = value
    assert read(tmp_path, bytes(content)) in ("refused", "loads")


@pytest.mark.parametrize("name", ["a\x1bb", "[[area]]", "'''", "#", "Ränge", "x" * 90])
def test_odd_names_of_layers_make_a_file_that_loads(tmp_path: Path, name: str) -> None:
    content = WHOLE.replace(b"SEATS", name.encode("cp1252"))
    wanted = Wanted({name: "audience"})
    (tmp_path / "a.dxf").write_bytes(content)
    drawing = read_drawing(tmp_path / "a.dxf", wanted)
    (tmp_path / "a.toml").write_text(venue_text(drawing, tmp_path / "a.dxf", wanted), encoding="utf-8")
    assert len(load_venue(tmp_path / "a.toml")[0].area) == len(drawing.areas) == 5
