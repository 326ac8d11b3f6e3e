"""`evenhang venue`: import, export and show, from the command line."""

from __future__ import annotations

import hashlib
import json
import math
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest

from acoustics.app import cli
from acoustics.venue import Venue, load_venue

FACE = [(5.0, -4.0, 0.0), (15.0, -4.0, 1.0), (15.0, 4.0, 1.0), (5.0, 4.0, 0.0)]


@pytest.fixture
def venue(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Runs `evenhang venue …`; returns status, what it printed and what it said on standard error."""

    def run(*arguments: object) -> tuple[int, str, str]:
        try:
            code = cli.main(["venue", *map(str, arguments)])
        except SystemExit as end:
            code = int(end.code or 0)
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


@pytest.fixture
def drawn(tmp_path: Path) -> Path:
    """A drawing of one face on the layer SEATS, in metres."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    document.modelspace().add_3dface(FACE, dxfattribs={"layer": "SEATS"})
    document.saveas(tmp_path / "hall.dxf")
    return tmp_path / "hall.dxf"


def test_the_sample_is_what_its_drawing_gives(venue: Any, sample_venues: Path, tmp_path: Path) -> None:
    folder = sample_venues / "drawn"
    roles = [
        "STALLS=audience",
        "BALCONY=audience",
        "SIDE-TIERS=audience",
        "BALCONY-FRONT=obstacle",
        "HANG-POINTS=points",
    ]
    layers = [word for role in roles for word in ("--layer", role)]
    code, out, err = venue("import", folder / "hall.dxf", *layers, "--sag", "0.1", "--out", tmp_path / "venue.toml")
    assert (code, err) == (0, "")
    assert (tmp_path / "venue.toml").read_bytes() == (folder / "venue.toml").read_bytes()
    # By hand from the drawing, in mm: the middle of the balcony, and the side tier mirrored in y = 0.
    areas = {area.name: area for area in load_venue(folder / "venue.toml")[0].area}
    assert areas["BALCONY 1"].outline_m == ((22, -6, 5.2), (22, 6, 5.2), (30, 6, 8.6), (30, -6, 8.6))
    assert areas["SIDE-TIERS 2"].outline_m == ((6, -10, 1), (16, -10, 1), (16, -13, 2.4), (6, -13, 2.4))
    assert "TEXT" in out
    assert "LINE             2  no face or outline" in out


def test_the_file_says_where_it_comes_from(venue: Any, drawn: Path) -> None:
    code, out, _ = venue("import", drawn, "--layer", "SEATS=audience")
    assert code == 0
    assert f"written to {drawn.with_suffix('.toml')}" in out
    text = drawn.with_suffix(".toml").read_text()
    assert hashlib.sha256(drawn.read_bytes()).hexdigest() in text
    for words in ("# Imported from hall.dxf", "Unit of the drawing: m, from $INSUNITS", '# layer "SEATS", 3DFACE'):
        assert words in text
    assert load_venue(drawn.with_suffix(".toml"))[0].area[0].outline_m == tuple(FACE)


def test_it_never_writes_over_a_file(venue: Any, drawn: Path, tmp_path: Path) -> None:
    there = tmp_path / "there.toml"
    there.write_text("mine")
    code, _, err = venue("import", drawn, "--layer", "SEATS=audience", "--out", there)
    assert code == 2
    assert "names a file that is there already" in err
    assert there.read_text() == "mine"
    code, _, err = venue("export", drawn, "--out", there)
    assert code == 2
    assert there.read_text() == "mine"


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--layer", "SEATS"], '--layer: gives no layer and role (got "SEATS"); write NAME=ROLE'),
        (["--layer", "SEATS=audiance"], "gives no role that is known (got \"SEATS=audiance\"); did you mean audience?"),
        (["--layer", "A=audience", "--layer", "a=quiet"], "names a layer twice"),
        (["--layer", "SEATS=audience", "--unit", "foot"], "--unit: is no unit that is known"),
        (["--layer", "SEATS=audience", "--sag", "0"], "must lie in 0.001 to 1"),
        (["--layer", "SEATS=audience", "--origin", "1;2"], "must be X,Y or X,Y,Z"),
        (["--layer", "SEATS=audience", "--origin", "nan,2"], "must be finite numbers"),
        ([], "the following arguments are required: --layer"),
    ],
)  # fmt: skip
def test_what_is_asked_wrongly_is_refused(venue: Any, drawn: Path, options: list[str], message: str) -> None:
    code, _, err = venue("import", drawn, *options)
    assert code == 2
    assert message in err
    assert not drawn.with_suffix(".toml").exists()


def test_import_for_programs(venue: Any, drawn: Path) -> None:
    code, out, _ = venue("import", drawn, "--layer", "SEATS=quiet", "--json")
    data = json.loads(out)
    assert code == 0
    assert data["unit"] == "m"
    assert data["areas"][0]["outline_m"] == [list(corner) for corner in FACE]
    assert data["left_out"] == []


def round_trip(venue: Any, path: Path, target: Path, *hangs: Path) -> tuple[Venue, Venue]:
    """A venue, and what comes back by the command that the export names."""
    code, out, err = venue("export", path, *hangs, "--out", target)
    assert (code, err) == (0, "")
    command = shlex.split(next(line for line in out.splitlines() if "evenhang venue import" in line))
    back = target.with_suffix(".back.toml")
    code, _, err = venue(*command[2:-1], back)
    assert (code, err) == (0, "")
    return load_venue(path)[0], load_venue(back)[0]


SAMPLES = sorted(path.parent.name for path in Path(__file__).parents[2].glob("sample_venues/*/venue.toml"))


@pytest.mark.parametrize("name", SAMPLES)
def test_a_venue_comes_back_from_its_drawing(venue: Any, sample_venues: Path, tmp_path: Path, name: str) -> None:
    before, after = round_trip(venue, sample_venues / name / "venue.toml", tmp_path / "a.dxf")
    assert [(a.name, a.role) for a in after.area] == [(a.name, a.role) for a in before.area]
    for one, other in zip(before.area, after.area, strict=True):
        np.testing.assert_allclose(other.corners, one.corners, rtol=0, atol=0.001)
    assert [(p.name, p.limit_kg) for p in after.point] == [(p.name, p.limit_kg) for p in before.point]
    for mine, theirs in zip(before.point, after.point, strict=True):
        np.testing.assert_allclose(theirs.position_m, mine.position_m, rtol=0, atol=0.001)


def test_odd_names_and_shapes_come_back(venue: Any, tmp_path: Path) -> None:
    names = ["points", "a/b", "a:b", "Points"]
    text = 'format = "venue/1"\nname = "odd"\n'
    for index, name in enumerate(names):
        y = 10.0 * index  # an L, which no two triangles make
        outline = [
            [5.0, y, 0.0],
            [9.0, y, 0.0],
            [9.0, y + 2, 0.0],
            [7.0, y + 2, 0.0],
            [7.0, y + 5, 0.0],
            [5.0, y + 5, 0.0],
        ]
        text += f'[[area]]\nname = "{name}"\nrole = "audience"\noutline_m = {outline}\n'
    text += (
        '[[area]]\nname = "arrow"\nrole = "audience"\noutline_m = [[20, 0, 0], [25, 2, 0], [20, 4, 0], [21, 2, 0]]\n'
    )
    text += '[[point]]\nname = "P 1"\nposition_m = [0.1234, 0.0, 9.0]\n'
    (tmp_path / "odd.toml").write_text(text)
    before, after = round_trip(venue, tmp_path / "odd.toml", tmp_path / "odd.dxf")
    assert [area.name for area in after.area] == ["points", "a_b", "a_b 2", "Points 2", "arrow"]
    for one, other in zip(before.area, after.area, strict=True):
        np.testing.assert_allclose(other.corners, one.corners, rtol=0, atol=0.001)
    assert after.point[0].position_m == (0.123, 0.0, 9.0)
    assert after.point[0].limit_kg is None


BOX_FRAME = """
format = "frame/1"
name = "frame-box"
description = "for checks"
source = "defined, no product"
mass_kg = 30.0
centre_of_mass_m = [-0.2, 0.0, 0.05]
width_m = 1.0
height_m = 0.2
depth_m = 0.8
front_m = 0.1
pivot = "front"
rear_hole_back_m = 0.4
rear_hole_inset_m = 0.03
below = [{ fitting = "box", splays_deg = [0.0, 10.0] }]
"""
BOX = """
format = "enclosure/1"
name = "box"
description = "for checks"
source = "defined, no product"
mass_kg = 30.0
centre_of_mass_m = [-0.2, 0.0, -0.15]
width_m = 0.9
height_m = 0.3
depth_m = 0.6
front_m = 0.1
pivot = "front"
rear_hole_back_m = 0.4
rear_hole_inset_m = 0.03
top_fitting = "box"
reference_m = [0.0, 0.0, -0.15]
below = [{ fitting = "box", splays_deg = [0.0, 10.0] }]

[acoustic]
model = "point"
"""


def test_a_hang_in_the_drawing_stands_where_it_hangs(venue: Any, sample_venues: Path, tmp_path: Path) -> None:
    equipment = tmp_path / "equipment"
    equipment.mkdir()
    (equipment / "frame.toml").write_text(BOX_FRAME)
    (equipment / "box.toml").write_text(BOX)
    column = '[[column]]\nenclosure = "box"\nsplay_deg = 0.0\n[[column]]\nenclosure = "box"\nsplay_deg = 10.0\n'
    head = 'format = "hang/1"\nname = "two"\nframe = "frame-box"\nposition_m = [1.0, 6.0, 10.0]\nazimuth_deg = 90.0\n'
    (tmp_path / "two.toml").write_text(f"{head}tilt_deg = 0.0\n{column}")
    theatre = sample_venues / "theatre" / "venue.toml"
    code, _, err = venue(
        "export", theatre, tmp_path / "two.toml", "--equipment", equipment, "--out", tmp_path / "a.dxf"
    )
    assert (code, err) == (0, "")
    document = ezdxf.readfile(tmp_path / "a.dxf")
    assert document.header["$INSUNITS"] == 6
    assert not document.audit().errors
    boxes = document.modelspace().query('POLYLINE[layer=="two"]')
    assert len(boxes) == 3  # the frame and two rows
    # By hand: aimed along +y from (1, 6, 10), so that left is −x. The first row reaches from 0.5 behind to 0.1 ahead of
    # its pivot, 0.45 to both sides and 0.3 down.
    first = np.array([tuple(v.dxf.location) for v in boxes[1].vertices if not v.is_face_record])
    np.testing.assert_allclose(first.min(axis=0), [0.55, 5.5, 9.7], atol=1e-9)
    np.testing.assert_allclose(first.max(axis=0), [1.45, 6.1, 10.0], atol=1e-9)
    assert len(first) == 8
    aims = document.modelspace().query('LINE[layer=="two aims"]')
    slopes = []
    for line in aims:
        dx, dy, dz = line.dxf.end - line.dxf.start
        assert abs(dx) < 1e-9
        assert math.hypot(dy, dz) == pytest.approx(40.0, rel=1e-9)
        slopes.append(math.degrees(math.atan2(dz, dy)))
    assert slopes == pytest.approx([0.0, -10.0], abs=1e-9)
    # The first line starts at the middle of its front.
    assert tuple(aims[0].dxf.start) == pytest.approx((1.0, 6.1, 9.85), abs=1e-9)


def test_boxes_have_faces_that_look_outwards(venue: Any, sample_venues: Path, tmp_path: Path) -> None:
    theatre = sample_venues / "theatre"
    venue("export", theatre / "venue.toml", theatre / "left.toml", "--out", tmp_path / "a.dxf")
    for box in ezdxf.readfile(tmp_path / "a.dxf").modelspace().query("POLYLINE").filter(lambda e: e.is_poly_face_mesh):
        corners = np.array([tuple(v.dxf.location) for v in box.vertices if not v.is_face_record])
        _, faces = box.indexed_faces()
        volume = 0.0
        for face in faces:
            a, b, c, d = (np.array(tuple(p)) - corners.mean(axis=0) for p in face.points())
            volume += float(a @ np.cross(b, c) + a @ np.cross(c, d)) / 6.0
        sides = [np.linalg.norm(corners[i] - corners[j]) for i, j in ((0, 1), (1, 2), (0, 4))]
        assert volume == pytest.approx(float(np.prod(sides)), rel=1e-9)


def test_show_prints_tables_and_writes_pictures(evenhang: Any, sample_venues: Path) -> None:
    theatre = sample_venues / "theatre"
    run = evenhang("venue", "show", theatre / "venue.toml", theatre / "left.toml", pictures=True)
    assert run.code == 0
    assert sorted(path.name for path in run.folder.iterdir()) == [
        "venue-plan.svg",
        "venue-section.svg",
        "venue-sketch.svg",
    ]
    # By hand: 4.8 m up over 12 m is atan 0.4 = 21.80°; 24 m wide, 12 / cos 21.80° = 12.925 m along: 310.2 m².
    (balcony,) = (line for line in run.out.splitlines() if line.startswith("balcony  "))
    assert balcony.split() == ["balcony", "audience", "310.2", "21.8", "+21.8", "5.60", "10.40", "1.20"]
    assert "left 1   -0.30   6.50      15.00        650" in run.out
    assert "nothing looks wrong" in run.out
    assert all(path.stat().st_size > 5_000 for path in run.folder.iterdir())


def test_show_for_programs_and_warnings_do_not_block(evenhang: Any, tmp_path: Path) -> None:
    falling = [[20.0, -4.0, 0.0], [5.0, -4.0, 3.0], [5.0, 4.0, 3.0], [20.0, 4.0, 0.0]]
    text = f'format = "venue/1"\nname = "v"\n[[area]]\nname = "a"\nrole = "audience"\noutline_m = {falling}\n'
    (tmp_path / "v.toml").write_text(text)
    run = evenhang("venue", "show", tmp_path / "v.toml", "--json")
    assert run.code == 0
    assert run.json["areas"][0]["away_from_stage_deg"] == pytest.approx(-math.degrees(math.atan(0.2)), rel=1e-9)
    (one,) = run.json["looks_wrong"]
    assert one["of"] == "a"
    assert one["wrong"].startswith("falls away from the stage by 11.3°")


def test_show_tells_all_faults_of_its_files(evenhang: Any, tmp_path: Path) -> None:
    run = evenhang("venue", "show", tmp_path / "none.toml", tmp_path / "no-hang.toml")
    assert run.code == 2
    assert len(run.err.splitlines()) == 2
