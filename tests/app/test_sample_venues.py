"""Every sample venue as a user meets it: looked at, predicted, judged as a show; and the tour over all of them."""

from __future__ import annotations

import json
import math
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import tomlkit

from acoustics.app import cli
from acoustics.tour_file import load_tour
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue
from rigging.hang import load_hang

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
VENUES = ["arena", "ballroom", "bowl", "club", "drawn", "heath", "meadow", "opera", "theatre"]
# Shows, exit status of `check`, findings that exceed and that cannot be judged. How a stack is joined to its base is in
# no file: one for each stack. The meadow's show names no amplifier and no stock.
SHOWS = [("arena", 0, 0, 0), ("opera", 0, 0, 0), ("heath", 4, 0, 2), ("bowl", 0, 0, 0)]
# Hang, and the widest spread of A-weighted levels (5th to 95th percentile) over what it serves alone: what the ear of a
# user who opens the sample is to find; a side or delay hang does not cover what it serves to the last seat.
SPREADS = [("ballroom/left", 9.0), ("drawn/left", 8.5), ("opera/left", 10.0), ("heath/left", 6.5), ("bowl/left", 8.0)]


def test_no_venue_is_left_out():
    assert sorted(path.parent.name for path in SAMPLES.glob("*/venue.toml")) == VENUES


@pytest.mark.parametrize("name", VENUES)
def test_nothing_about_it_looks_wrong(capsys, tmp_path, name):
    """Also of the one in feet: its feet are not taken for metres."""
    assert cli.main(["venue", "show", str(SAMPLES / name / "venue.toml"), "--out", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "nothing looks wrong by the rules that are looked at" in out


@pytest.mark.parametrize("name", VENUES)
def test_says_that_it_is_invented(name):
    assert "invented" in (SAMPLES / name / "venue.toml").read_text() or name == "drawn"  # that one is as imported
    for path in (SAMPLES / name).glob("*.toml"):
        text = path.read_text()
        assert "nvented" in text or "mirror_of" in text or path.stem in ("venue", "readings")


def test_the_ballroom_is_what_its_feet_say():
    """64 ft square of floor; the balcony 64 ft wide, 25.5 ft deep, rising 10.25 ft; 1 ft = 0.3048 m, exact."""
    venue, _ = load_venue(SAMPLES / "ballroom" / "venue.toml")
    floor, balcony, _ = venue.area
    assert shapely.Polygon(floor.corners[:, :2]).area == pytest.approx(64 * 64 * 0.3048**2, rel=1e-9)
    assert np.ptp(balcony.corners, axis=0) == pytest.approx([25.5 * 0.3048, 64 * 0.3048, 10.25 * 0.3048], rel=1e-9)
    assert balcony.ear_height_m == pytest.approx((3 + 11 / 12) * 0.3048, rel=1e-9)
    # 1 lb = 0.45359237 kg, exact; 3 ft 3 1/2 in.
    assert [point.limit_kg for point in venue.point] == pytest.approx([1200 * 0.45359237] * 4, rel=1e-9)
    assert venue.point[1].position_m[0] == pytest.approx(-39.5 * 0.0254, rel=1e-9)
    hang = load_hang(SAMPLES / "ballroom" / "left.toml", load_catalogue())
    assert hang.position_m == pytest.approx((-0.3048, 256 * 0.0254, 374 * 0.0254), rel=1e-9)


def test_the_bowl_holds_some_40_000():
    """By the edges of its tiers, not by the program's own sizes: 0.5 m² each that stands, 0.55 m² a seat."""
    venue, _ = load_venue(SAMPLES / "bowl" / "venue.toml")
    pitch, *tiers = (area.corners for area in venue.area)
    assert len(tiers) == 10
    # The shoelace formula; a trapezoid of half its parallel edges' sum times its height.
    x, y = pitch[:, 0], pitch[:, 1]
    standing = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    assert standing == pytest.approx(90 * 66 - 16 * 16, rel=1e-12)  # two triangles of 16 × 16 m off its far corners
    seated = 0.0
    for inner_a, inner_b, outer_b, outer_a in tiers:
        along = (inner_b - inner_a) / math.dist(inner_a, inner_b)
        up = (outer_a - inner_a) - ((outer_a - inner_a) @ along) * along
        seated += (math.dist(inner_a, inner_b) + math.dist(outer_a, outer_b)) / 2 * float(np.linalg.norm(up))
    assert standing / 0.5 + seated / 0.55 == pytest.approx(40_000, rel=0.01)


@pytest.mark.parametrize(("name", "spread"), SPREADS)
def test_covers_what_it_serves(evenhang, name, spread):
    folder = SAMPLES / name.split("/")[0]
    grid = 8 if folder.name in ("bowl", "heath") else 3
    run = evenhang("predict", SAMPLES / f"{name}.toml", folder / "venue.toml", "--grid", grid, "--json")
    assert run.code == 0, run.err
    field = run.field
    venue, _ = load_venue(folder / "venue.toml")
    heard = tuple(area.name for area in venue.area if area.role == "audience")
    served = np.isin(field["area"].values, load_hang(SAMPLES / f"{name}.toml", load_catalogue()).serves or heard)
    served &= ~field["on_section"].values
    level = field["level_a"].values[served]
    assert level.size > 50
    low, high = np.percentile(level[np.isfinite(level)], [5.0, 95.0])
    assert 1.0 < high - low < spread


@pytest.mark.parametrize(("name", "code", "exceeds", "unknown"), SHOWS)
def test_show_is_judged(capsys, name, code, exceeds, unknown):
    assert cli.main(["check", str(SAMPLES / name / "show.toml"), "--json"]) == code
    data = json.loads(capsys.readouterr().out)
    found = Counter(f["status"] for hang in data["hangs"] for f in hang["findings"])
    found += Counter(f["status"] for f in data["findings"])
    assert (found["exceeds"], found["cannot be judged"]) == (exceeds, unknown)


def test_the_house_of_the_heath_gets_what_its_licence_allows(evenhang):
    run = evenhang("predict", SAMPLES / "heath" / "show.toml", "--grid", 10, "--json")
    assert run.code == 0, run.err
    rows = {row["what"]: row for row in run.json["neighbours"]}
    assert rows["level, A"]["status"] == rows["level, C"]["status"] == "within"
    # 400 m against some 60 m of the audience's middle are 16 dB by the distance law, the air takes more.
    audience = run.field["level_a"].values[run.field["area"].values == "far field"].mean()
    assert 12.0 < audience - rows["level, A"]["low_db"] < 25.0


def test_the_season_stops_at_every_sample_venue():
    tour = load_tour(SAMPLES / "season.toml")
    where = {Path(stop.show or stop.venue or "").parts[0] for stop in tour.file.stop}
    assert sorted(where) == VENUES
    for stop in tour.file.stop:
        for name in [*stop.hangs, *(one for one in (stop.venue, stop.show) if one)]:
            assert Path(tour.beside(name)).is_file()


def test_the_season_has_enough_on_its_trucks(tmp_path, capsys):
    """Its small stops, on a coarse grid and without a search: all worked out, nothing short."""
    file = tomlkit.loads((SAMPLES / "season.toml").read_text()).unwrap()
    file["grid_m"] = 10.0
    file["stop"] = [stop for stop in file["stop"] if stop.get("venue", "").startswith(("club", "drawn"))]
    for stop in file["stop"]:
        stop.pop("design", None)
        stop |= {key: str(SAMPLES / stop[key]) for key in ("venue",)}
        stop["hangs"] = [str(SAMPLES / name) for name in stop["hangs"]]
    (tmp_path / "season.toml").write_text(tomlkit.dumps(file))
    code = cli.main(["tour", str(tmp_path / "season.toml"), "--out", str(tmp_path), "--processes", "1", "--json"])
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == 4
    assert data["stock"] == []
    # The drawing's point without a limit, which each of its two hangs is judged with.
    assert [row["status"] for row in data["rows"]].count("cannot be judged") == 2
    assert len(data["rows"]) == 3
    assert (tmp_path / "a-season" / "index.html").is_file()


@pytest.mark.parametrize("name", [show for show, *_ in SHOWS])
def test_the_season_has_what_a_show_takes(capsys, name):
    cli.main(["check", str(SAMPLES / name / "show.toml"), "--json"])
    taken = json.loads(capsys.readouterr().out)["taken"]
    stock = load_tour(SAMPLES / "season.toml").file.stock
    short = {kind: (count, stock.get(kind)) for kind, count in taken.items() if count > stock.get(kind, 0)}
    assert taken
    assert short == {}
