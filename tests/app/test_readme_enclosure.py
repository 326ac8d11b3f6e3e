"""The enclosure that README.md describes from a data sheet: it loads, and leaves open what is said there."""

from __future__ import annotations

import json
import re
import textwrap
from pathlib import Path

import pytest

from acoustics.app import cli

ROOT = Path(__file__).resolve().parents[2]
SECTION = re.search(r"## Describe your own enclosure\n(.*?)\n## ", (ROOT / "README.md").read_text("utf-8"), re.S)[1]


@pytest.fixture
def folder(tmp_path, sample_venues):
    """A folder of equipment with the file that README.md shows, and the club's hang made of it."""
    blocks = re.findall(r"```toml\n(.*?)```", SECTION, re.S)
    assert len(blocks) == 1
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "example-10.toml").write_text(blocks[0], "utf-8")
    hang = (sample_venues / "club" / "centre.toml").read_text("utf-8")
    (tmp_path / "hang.toml").write_text(hang.replace('"compact"', '"example-10"'), "utf-8")
    return tmp_path


def test_what_stays_open_is_what_equipment_show_lists(folder, capsys):
    assert cli.main(["equipment", "show", "example-10", "--equipment", str(folder / "mine")]) == 0
    printed = capsys.readouterr().out
    listed = printed[printed.index("CANNOT BE JUDGED") : printed.index("\n\n!")]
    assert textwrap.indent(listed, "    ") in SECTION


def test_it_is_predicted_without_a_highest_drive(folder, sample_venues, capsys):
    """Its file has no greatest continuous levels; the bands that it does not list are named."""
    venue = str(sample_venues / "club" / "venue.toml")
    asked = ["predict", str(folder / "hang.toml"), venue, "--grid", "4", "--equipment", str(folder / "mine")]
    assert cli.main([*asked, "--out", str(folder / "out"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["drive"]["highest_drive_db"] is None
    assert said["whole"]["level_a_mean_db"] > 80.0
    assert said["bands"]["without_level_hz"]["example-10"] == [25, 31.5, 40, 50]


def test_its_joints_cannot_be_judged(folder, sample_venues, capsys):
    venue = str(sample_venues / "club" / "venue.toml")
    asked = ["check", str(folder / "hang.toml"), venue, "--equipment", str(folder / "mine"), "--json"]
    assert cli.main(asked) == 4
    found = json.loads(capsys.readouterr().out)["findings"]
    opened = {one["what"] for one in found if one["status"] == "cannot be judged" and "example-10" in one["note"]}
    assert {"rear link in tension, one side", "front pivot pin, one side", "mass below"} <= opened


def test_a_place_for_the_pull_back_leaves_its_rating_open(folder, capsys):
    path = folder / "mine" / "example-10.toml"
    path.write_text(
        path.read_text("utf-8").replace("\n[[below]]", "\npullback_m = [-0.3, 0, -0.2]\n[[below]]"), "utf-8"
    )
    assert cli.main(["equipment", "show", "example-10", "--equipment", str(folder / "mine"), "--json"]) == 0
    keys = [one["key"] for one in json.loads(capsys.readouterr().out)["lacks"]]
    assert "rated.pullback_kg" in keys
    assert "pullback_m" not in keys


def test_the_section_says_that_it_is_invented_and_names_its_commands():
    assert "invented" in SECTION
    for command in ("evenhang new enclosure", "evenhang schema enclosure", "evenhang equipment show", "--equipment"):
        assert command in SECTION
