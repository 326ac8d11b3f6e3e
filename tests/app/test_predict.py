"""What `evenhang predict` refuses, keeps and prints beyond the sum itself."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustics.app import folder

FLAT = [[5.0, -5.0, 0.0], [15.0, -5.0, 0.0], [15.0, 5.0, 0.0], [5.0, 5.0, 0.0]]


def venue_text(outline: list[list[float]], ear_m: float = 0.0, extra: str = "") -> str:
    area = f'[[area]]\nname = "a"\nrole = "audience"\near_height_m = {ear_m}\noutline_m = {outline}\n{extra}'
    return f'format = "venue/1"\nname = "v"\n{area}'


def hang_text(position: list[float], count: int = 1, extra: str = "") -> str:
    head = f'format = "hang/1"\nname = "p"\nframe = "frame-large"\nposition_m = {position}\ntilt_deg = 0.0\n{extra}'
    return head + '[[column]]\nenclosure = "point"\nsplay_deg = 0.0\n' * count


@pytest.fixture
def files(tmp_path: Path) -> Any:
    def write(**texts: str) -> list[Path]:
        paths = []
        for name, text in texts.items():
            paths.append(tmp_path / f"{name}.toml")
            paths[-1].write_text(text)
        return paths

    return write


@pytest.mark.parametrize("off_m", [-0.04, 0.0, 0.04])
def test_an_area_does_not_hide_its_own_listeners(evenhang: Any, files: Any, off_m: float) -> None:
    # Within the 0.05 m that corners may be off by default; ears at the level of the area itself.
    outline = [*FLAT[:2], [15.0, 5.0, off_m], FLAT[3]]
    run = evenhang("predict", *files(hang=hang_text([0.0, 0.0, 4.0]), venue=venue_text(outline)), "--json")
    assert run.json["areas"][0]["positions_hidden"] == 0
    assert run.json["areas"][0]["positions"] == 100


def test_a_position_in_a_source_is_refused(evenhang: Any, files: Any) -> None:
    outline = [[-0.5, -0.5, 2.825], [0.5, -0.5, 2.825], [0.5, 0.5, 2.825], [-0.5, 0.5, 2.825]]
    run = evenhang("predict", *files(hang=hang_text([0.0, 0.0, 4.0]), venue=venue_text(outline, 1.0)))
    assert run.code == 2
    assert "hang.toml: position_m: puts row 1 within 0.05 m of a listening position in a;" in run.err


def test_lines_close_to_each_other_stay_apart(evenhang: Any, files: Any) -> None:
    paths = files(hang=hang_text([0.0, 0.0, 4.0]), venue=venue_text(FLAT))
    run = evenhang("predict", *paths, "--lines", "10000.01,10000.02", "--json")
    assert list(run.json["whole"]["line_mean_db"]) == ["10000.01", "10000.02"]


@pytest.mark.parametrize("lines", ["20", "18000", "0", "-5", "nan", "inf", "1k", "", ",", "125,125"])
def test_lines_outside_the_data_are_refused(evenhang: Any, files: Any, lines: str) -> None:
    paths = files(hang=hang_text([0.0, 0.0, 4.0]), venue=venue_text(FLAT))
    run = evenhang("predict", *paths, f"--lines={lines}")
    assert run.code == 2
    assert "--lines" in run.err
    assert run.folder is None


def test_a_mirror_image_may_serve_other_areas(evenhang: Any, files: Any) -> None:
    other = '[[area]]\nname = "b"\nrole = "audience"\noutline_m = [[5, -9, 0], [9, -9, 0], [9, -6, 0], [5, -6, 0]]\n'
    mirror = 'format = "hang/1"\nname = "m"\nmirror_of = "hang.toml"\nserves = ["b"]\n'
    design = hang_text([0.0, 2.0, 4.0], extra='serves = ["a"]\n')
    hang, mirrored, venue = files(hang=design, mirror=mirror, venue=venue_text(FLAT, extra=other))
    areas = {path: evenhang("predict", path, venue, "--json").json["whole"]["area_m2"] for path in (hang, mirrored)}
    assert areas[hang] == pytest.approx(100.0, rel=1e-9)
    assert areas[mirrored] == pytest.approx(12.0, rel=1e-9)


def test_no_minus_zero_is_printed(evenhang: Any, files: Any) -> None:
    mirror = 'format = "hang/1"\nname = "m"\nmirror_of = "hang.toml"\n'
    _, mirrored, venue = files(hang=hang_text([0.0, 2.0, 4.0]), mirror=mirror, venue=venue_text(FLAT))
    assert "azimuth +0.0°" in evenhang("predict", mirrored, venue).out


def test_radiators_that_cancel_on_the_axis_are_refused(evenhang: Any, files: Any, catalogue: Path) -> None:
    # Two equal circles, one 0.0215 m behind the other: half a wave at 343.2 / 0.043 = 7981 Hz.
    text = (catalogue / "compact.toml").read_text().split("[acoustic]")[0].replace('"compact"', '"null"')
    text += (
        '[acoustic]\nmodel = "radiators"\nrear_db = -20.0\nlevel_band_hz = [8000]\nlevel_1m_db = [100.0]\n'
        '[[acoustic.radiator]]\nname = "r"\nshape = "circle"\ndiameter_m = 0.02\n'
        "places_m = [[0.0, 0.0, -0.11], [-0.0215, 0.0, -0.11]]\n"
    )
    text = text.replace('fitting = "null"', 'fitting = "large"').replace(
        'top_fitting = "null"', 'top_fitting = "large"'
    )
    hang = hang_text([0.0, 0.0, 4.0]).replace('"point"', '"null"')
    hang_path, venue = files(hang=hang, venue=venue_text(FLAT))
    equipment = hang_path.parent / "equipment"
    equipment.mkdir()
    (equipment / "null.toml").write_text(text)
    run = evenhang("predict", hang_path, venue, "--equipment", equipment)
    assert run.code == 2
    assert re.search(r"null\.toml: acoustic\.radiator: cancel each other on the reference axis at \d+ Hz", run.err)


def test_an_interrupt_between_the_renames_leaves_the_old_folder(
    evenhang: Any, files: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = files(hang=hang_text([0.0, 0.0, 4.0]), venue=venue_text(FLAT))
    out = tmp_path / "out"
    first = evenhang("predict", *paths, into=out)
    assert first.folder is not None
    (first.folder / "notes.txt").write_text("mine")
    before = {path.name: path.read_bytes() for path in first.folder.iterdir()}
    rename, calls = os.rename, []

    def interrupted(source: Any, target: Any) -> None:
        calls.append(target)
        if len(calls) == 2:  # the old folder is aside, the new one not yet in place
            raise KeyboardInterrupt
        rename(source, target)

    monkeypatch.setattr(folder.os, "rename", interrupted)
    run = evenhang("predict", *paths, into=out)
    assert run.code == 130
    assert {path.name: path.read_bytes() for path in first.folder.iterdir()} == before
    assert [path.name for path in out.iterdir()] == [first.folder.name]


def test_the_theatre_summary_reads_as_its_field_says(evenhang: Any, sample_venues: Path) -> None:
    theatre = sample_venues / "theatre"
    run = evenhang("predict", theatre / "left.toml", theatre / "venue.toml", "--json")
    field = run.field
    stalls = (field["area"].values == "stalls") & ~field["on_section"].values
    # 23 m long, 18 m wide in front and 24 m behind: 483 m² of plan (by hand).
    assert float(field["seat_weight"].values[stalls].sum()) == pytest.approx(483.0, rel=1e-9)
    assert run.json["areas"][0]["area_m2"] == pytest.approx(483.0, rel=1e-9)
    # Frame 74 kg and 12 × 33 kg (by hand).
    assert run.json["mass_kg"] == pytest.approx(470.0, rel=1e-12)
    hidden = field["hidden"].values[:, stalls].any(axis=0)
    under = field["x"].values[stalls] > 17.5
    # The balcony and its front can only hide seats behind it.
    assert hidden.any()
    assert not hidden[~under].any()
    assert np.isfinite(field["level_a"].values).all()
