"""`evenhang new`: files to start from load as they are, and nothing is judged that they leave out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from acoustics.app.cli import main
from acoustics.app.commands import STARTERS
from acoustics.directivity import load_directivity
from acoustics.show import load_show
from acoustics.tour_file import check_stock, load_tour
from acoustics.venue import check_serves, load_venue
from rigging.equipment import load_catalogue
from rigging.hang import load_hang


@pytest.fixture
def started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """The working folder with each of them; the enclosure in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    Path("equipment").mkdir()
    for kind in STARTERS:
        out = "equipment/enclosure.toml" if kind == "enclosure" else f"{kind}.toml"
        assert main(["new", kind, "--out", out]) == 0
        assert capsys.readouterr().out == f"written to {out}; its numbers are invented: put yours in their place\n"
    return tmp_path


def test_all_load_as_they_are(started):
    catalogue = load_catalogue(["equipment"])
    venue, _ = load_venue("venue.toml")
    assert check_serves(load_hang("hang.toml", catalogue), venue, "venue.toml") == []
    assert [part.name for part in load_show("show.toml", catalogue).parts] == ["main, centre", "fills", "subs"]
    tour = load_tour("tour.toml")
    check_stock(tour, catalogue)
    assert [tour.beside(name) for name in tour.file.stop[0].hangs] == ["hang.toml"]
    directivity = load_directivity(catalogue.items["new-enclosure"], "equipment/enclosure.toml", 343.0)
    assert directivity.level_1m_db[-2] == 101.0  # 12.5 kHz, the last but one of bands to 16 kHz


def test_the_hang_checks_in_the_venue_and_points_stay_open(started, checked):
    code, report, _ = checked("hang.toml", "venue.toml")
    assert code == 4
    found = {status: [one for one in report["findings"] if one["status"] == status] for status in ("exceeds", "within")}
    assert found["exceeds"] == []
    assert len(found["within"]) > 30
    open_ = [one for one in report["findings"] if one["status"] not in found]
    assert [(one["part"], one["what"]) for one in open_] == [
        ("point front", "load on the point"),
        ("point rear", "load on the point"),
    ]


def test_the_show_checks(started, capsys):
    assert main(["check", "show.toml", "--json"]) == 4
    text = capsys.readouterr().out
    assert '"status": "cannot be judged"' in text
    assert '"status": "exceeds"' not in text


def test_the_hang_predicts_in_the_venue(started, capsys):
    asked = ["predict", "hang.toml", "venue.toml", "--grid", "6", "--lines", "500", "--json"]
    assert main(asked) == 0
    assert json.loads(capsys.readouterr().out)["venue"] == "new hall"


@pytest.mark.parametrize("kind", STARTERS)
def test_prints_the_same_and_says_that_it_is_invented(started, capsys, kind):
    assert main(["new", kind]) == 0
    out = capsys.readouterr().out
    assert out.encode() == next(started.rglob(f"{kind}.toml")).read_bytes()
    assert "numbers are invented" in " ".join(line.lstrip("# ") for line in out.splitlines()[:4])


@pytest.mark.parametrize("kind", STARTERS)
def test_no_rated_limit_is_invented(started, kind):
    lines = next(started.rglob(f"{kind}.toml")).read_text().splitlines()
    assert [line for line in lines if line.startswith(("limit_", "link_", "pin_", "[rated"))] == []


@pytest.mark.parametrize(
    ("out", "wrong"),
    [
        ("venue.toml", 'names a file that is there already (got "venue.toml"); name a new one'),
        ("link.toml", 'names a file that is there already (got "link.toml"); name a new one'),
        ("none/venue.toml", "lies in no folder that is there"),
        ("hang.toml/venue.toml", "lies in no folder that is there"),
    ],
)
def test_refusals(refused, files, out, wrong):
    (files / "link.toml").symlink_to("nowhere.toml")
    (line,) = refused("new", "venue", "--out", out)
    assert line.startswith("--out: ")
    assert wrong in line


def test_an_unknown_kind(refused):
    assert "invalid choice: 'hall'" in refused("new", "hall")[-1]
