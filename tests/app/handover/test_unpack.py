"""What an opened pack comes to elsewhere, and what is told of what differs."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[3]
THEATRE = ROOT / "sample_venues" / "theatre"
CATALOGUE = ROOT / "rigging" / "catalogue"


def test_another_catalogue_changes_nothing_and_is_told(theatre, other_catalogue, tmp_path, run):
    _, zipped = theatre
    code, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 0
    assert "the same words, the same figures" in out
    assert f"medium: equipment/medium.toml and {other_catalogue / 'medium.toml'} differ" in out
    assert "shackle-5-8: equipment/shackle-5-8.toml describes it, the catalogue here does not know it" in out
    assert "frame-large" not in out
    # and it would have: without the shackle the hang cannot be read there, with a bare one it weighs more
    assert run("check", THEATRE / "left.toml", THEATRE / "venue.toml")[0] == 2


def test_another_release_is_named_beside_the_one_that_packed(theatre, tmp_path, monkeypatch, run):
    _, zipped = theatre
    then = metadata.version("evenhang")
    monkeypatch.setattr(metadata, "version", lambda name: "9.8.7")
    code, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 0
    assert f"release {then} then, 9.8.7 now" in out


def test_a_release_that_does_not_take_a_file_names_both(theatre, changed, tmp_path, monkeypatch, run, said):
    """As a later release's key would: unknown here. The file is named as it lies in the pack."""
    later = (THEATRE / "venue.toml").read_bytes().replace(b'name = "Gable', b'smell = 1\nname = "Gable', 1)

    def work(listing: dict[str, Any]) -> None:
        file = next(file for file in listing["files"] if file["member"] == "inputs/venue.toml")
        file["sha256"], listing["version"] = hashlib.sha256(later).hexdigest(), "9.8.7"

    zipped = changed(theatre[1], work, inputs__venue_toml=later)
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    first, last = said(err)
    assert re.match(rf"{re.escape(str(zipped))}/inputs/venue\.toml:\d+: smell: is an unknown key", first)
    assert f"was packed with release 9.8.7, and this is {metadata.version('evenhang')}" in last
    assert not (tmp_path / "out").exists()


def test_a_changed_file_is_named_and_nothing_written(theatre, changed, tmp_path, run, said):
    heavier = (CATALOGUE / "medium.toml").read_bytes().replace(b"mass_kg = ", b"mass_kg = 1", 1)
    zipped = changed(theatre[1], equipment__medium_toml=heavier)
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    (line,) = said(err)
    assert line.startswith(f"{zipped}/equipment/medium.toml: was changed after it was packed")
    assert not (tmp_path / "out").exists()


def test_a_change_that_the_listing_hides_moves_words_and_figures(theatre, changed, tmp_path, run):
    """The box heavier by 10 kg and its hash set to match: the hang, of twelve, weighs 120 kg more."""
    mass = tomllib.loads((CATALOGUE / "medium.toml").read_text())["mass_kg"]
    text = re.sub(r"^mass_kg = .*$", f"mass_kg = {mass + 10.0}", (CATALOGUE / "medium.toml").read_text(), flags=re.M)

    def work(listing: dict[str, Any]) -> None:
        file = next(file for file in listing["files"] if file["member"] == "equipment/medium.toml")
        file["sha256"] = hashlib.sha256(text.encode()).hexdigest()

    zipped = changed(theatre[1], work, equipment__medium_toml=text.encode())
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, err) == (1, "")
    before = theatre[0]["jobs"][0]["figures"]["mass_kg"]
    assert f"differs: mass_kg: from {before:g} to {before + 120.0:g}" in out
    assert re.search(rf"differs: design word: from {theatre[0]['jobs'][0]['words']['design']} to [a-z]{{10}}", out)
    assert "the same" not in out
    assert "level_a_mean_db" not in out  # what did not move is not told
    assert (tmp_path / "out" / theatre[1].stem).is_dir()


@pytest.mark.parametrize(("by", "same"), [(0.004, True), (0.05, False)])
def test_a_figure_may_move_by_a_hundredth(theatre, changed, tmp_path, by, same, run):
    name = "served audience: level_a_mean_db"
    was = theatre[0]["jobs"][0]["figures"][name]

    def work(listing: dict[str, Any]) -> None:
        listing["jobs"][0]["figures"][name] = was + by

    code, out, _ = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out", "--json")
    data = json.loads(out)
    assert (code, data["same"]) == ((0, True) if same else (1, False))
    assert data["jobs"][0]["figures_differ"] == ([] if same else [f"{name}: from {was + by:.6g} to {was:.6g}"])
    assert data["jobs"][0]["words_differ"] == []


def test_figures_that_appear_or_go_are_told(theatre, changed, tmp_path, run):
    def work(listing: dict[str, Any]) -> None:
        figures = listing["jobs"][0]["figures"]
        figures["luck_pct"] = 1.5
        figures["mass_kg"] = None
        del figures["highest_drive_db"]

    code, out, _ = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out")
    assert code == 1
    assert "luck_pct: was 1.5, is none of this result" in out
    assert re.search(r"highest_drive_db: is [0-9.]+, was none of the pack's", out)
    assert re.search(r"mass_kg: from not known to \d+", out)


def test_a_folder_that_is_there_is_left_alone(theatre, tmp_path, run, said):
    _, zipped = theatre
    (tmp_path / zipped.stem).mkdir()
    (tmp_path / zipped.stem / "mine.txt").write_text("mine")
    code, _, err = run("unpack", zipped, "--out", tmp_path)
    assert code == 2
    assert "exists already; what is in it may have been worked on; name another folder" in said(err)[0]
    assert [path.name for path in (tmp_path / zipped.stem).iterdir()] == ["mine.txt"]
