"""The page over every sample hang and show: what is shown of each, and that hands can be laid on it."""

from __future__ import annotations

import json
import shutil
import struct
import tomllib
from pathlib import Path
from typing import Any

import pytest

from acoustics.app.check import policy_of
from acoustics.app.page import handing
from acoustics.app.page.desk import Desk
from acoustics.app.page.frames import Refused
from acoustics.app.page.showing import Showing
from acoustics.app.page.work import ground_of_hang, ground_of_show
from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from rigging.equipment import load_catalogue

SAMPLES = Path(__file__).resolve().parents[3] / "sample_venues"
GRID_M = 8.0
CATALOGUE = load_catalogue()


def of_kind(kind: str) -> list[Path]:
    return sorted(path for path in SAMPLES.glob("*/*.toml") if tomllib.loads(path.read_text())["format"] == kind)


def head(frame: bytes) -> dict[str, Any]:
    (length,) = struct.unpack("<I", frame[:4])
    return dict(json.loads(frame[4 : 4 + length]))


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SAMPLES, tmp_path / "samples"))


ONE_OF_EACH = [path for path in of_kind("hang/1") if path.stem in ("centre", "front-left", "pulled", "left")]


@pytest.mark.parametrize("path", ONE_OF_EACH, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_hang_of_each_venue_is_shown_as_it_is_predicted(path: Path, copied: Path) -> None:
    folder = copied / path.parent.name
    ground = ground_of_hang(str(folder / path.name), [], str(folder / "venue.toml"), CATALOGUE, policy_of(None), GRID_M)
    desk, showing = Desk(ground), Showing()
    now = desk.snapshot()
    scene = showing.scene(now)
    assert scene is not None
    cover = head(showing.field(now, exact=True))["cover"]
    result = predict(now.hang, ground.venue, ground.document, CATALOGUE, Options(grid_m=GRID_M))
    whole = summarise(result)["whole"]
    assert cover["mean_db"] == pytest.approx(whole["level_a_mean_db"], abs=1e-3)
    assert cover["spread_db"] == pytest.approx(whole["level_a_p5_p95_db"], abs=1e-3)
    state = head(showing.state(desk))
    assert state["hang"] == now.hang.name
    assert len(state["rows"]) == len(now.hang.items)
    assert state["rows"][0]["aim_deg"] == pytest.approx(now.hang.tilt_deg - now.hang.splays_deg[0], abs=0.01)
    assert head(scene)["seat_rows"]
    sheet = handing.made(now, "sheet")
    assert sheet is not None
    assert now.hang.name.encode() in sheet[2]


@pytest.mark.parametrize("path", of_kind("hang/1"), ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_hands_can_be_laid_on_every_hang(path: Path, copied: Path) -> None:
    folder = copied / path.parent.name
    ground = ground_of_hang(str(folder / path.name), [], str(folder / "venue.toml"), CATALOGUE, policy_of(None), GRID_M)
    desk, showing = Desk(ground), Showing()
    before = desk.snapshot()
    asked: list[dict[str, Any]] = [
        {"do": "set", "what": "tilt_deg", "value": before.hang.tilt_deg + 0.5},
        {"do": "set", "what": "trim_m", "value": before.hang.position_m[2] + 0.1},
        {"do": "set", "what": "azimuth_deg", "value": before.hang.azimuth_deg - 2.0},
        {"do": "set", "what": "splay_deg", "row": len(before.hang.items), "step": 1},
        {"do": "add", "end": "bottom"},
        {"do": "add", "end": "top"},
        {"do": "remove", "end": "top"},
    ]
    mirror, done = "mirror_of" in before.hang.document.data, 0
    for number, message in enumerate(asked, start=1):
        try:
            desk.do({"id": number, **message})
            done += 1
        except Refused:  # more than a frame holds, or a mirror image
            assert mirror or message["do"] == "add"
        now = desk.snapshot()
        showing.scene(now)
        field = head(showing.field(now, exact=False))
        assert (field["settled"], field["n"]) == (False, now.n)
        assert head(showing.state(desk))["cautions"]
    assert done == 0 if mirror else done >= 4
    while desk.past:
        desk.do({"id": 99, "do": "undo"})
    assert desk.snapshot().work == before.work


@pytest.mark.parametrize("name", ["meadow", "arena"])
def test_a_show_is_shown_whole(name: str, copied: Path) -> None:
    ground = ground_of_show(str(copied / name / "show.toml"), CATALOGUE, policy_of(None), 20.0)
    desk, showing = Desk(ground), Showing()
    desk.do({"id": 1, "do": "hear", "sum": True})
    now = desk.snapshot()
    showing.scene(now)
    quick, exact = (head(showing.field(now, exact=one))["cover"]["mean_db"] for one in (False, True))
    assert quick == pytest.approx(exact, abs=0.1)
    state = head(showing.state(desk))
    assert (state["show"], len(state["hangs"])) == (now.loaded.show.name, len(now.loaded.hangs))
