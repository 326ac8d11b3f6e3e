"""`evenhang schema`: what its schemas take and refuse, by the jsonschema library; the reader says the same."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import ValidationError

from acoustics.app.cli import main
from acoustics.app.schema import MODELS, of_kind
from rigging.equipment import KINDS

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(
    path
    for folder in ("sample_venues", "rigging", "acoustics/app/starters")
    for path in (ROOT / folder).rglob("*.toml")
)
CATALOGUE, THEATRE, ARENA = ROOT / "rigging/catalogue", ROOT / "sample_venues/theatre", ROOT / "sample_venues/arena"


@pytest.fixture(scope="module")
def checker() -> Callable[[str], jsonschema.Draft202012Validator]:
    """A checker of texts of TOML by the schema of the kind that they say they are."""
    made = {kind: jsonschema.Draft202012Validator(of_kind(kind)) for kind in MODELS}
    return made.__getitem__


def kind_in(data: dict[str, Any]) -> str:
    return str(data["format"]).partition("/")[0]


@pytest.mark.parametrize("kind", MODELS)
def test_is_a_schema_of_its_draft(kind):
    jsonschema.Draft202012Validator.check_schema(of_kind(kind))


def test_every_kind_of_file_has_one():
    assert {name.partition("/")[0] for name in KINDS} < set(MODELS)
    assert {kind_in(tomllib.loads(path.read_text())) for path in FILES} == set(MODELS)


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_files_that_load_are_taken(checker, path):
    data = tomllib.loads(path.read_text())
    assert [error.message for error in checker(kind_in(data)).iter_errors(data)] == []


# What each line of a sound file is changed to; the place where the schema must find it.
@pytest.mark.parametrize(
    ("path", "old", "new", "at"),
    [
        (THEATRE / "venue.toml", 'role = "audience"\n', "", "$.area[0]"),
        (THEATRE / "venue.toml", 'role = "audience"', 'role = "seats"', "$.area[0].role"),
        (THEATRE / "venue.toml", "temperature_c = ", "temperatur_c = ", "$.air"),
        (THEATRE / "venue.toml", "temperature_c = ", "temperature_c = 3", "$.air.temperature_c"),
        (THEATRE / "left.toml", 'frame = "frame-large"\n', "", "$"),
        (THEATRE / "left.toml", "tilt_deg = 2.0", "tilt_deg = 90.1", "$.tilt_deg"),
        (THEATRE / "left.toml", "tilt_deg = 2.0", 'tilt_deg = "2.0"', "$.tilt_deg"),
        (THEATRE / "left.toml", "tilt_deg = 2.0", "tilt_deg = true", "$.tilt_deg"),
        (THEATRE / "left.toml", "10.6]", "151.0]", "$.position_m[2]"),
        (THEATRE / "left.toml", ", 10.6]", "]", "$.position_m"),
        (THEATRE / "left.toml", '["shackle-5-8"]', "[5]", "$.pick[0].hardware[0]"),
        (THEATRE / "left.toml", "splay_deg = 0.0", "splay_deg = 0.0\nsplay = 1", "$.column[0]"),
        (THEATRE / "left.toml", "[loom]", "[search]\ntilt_step_deg = 11.0\n[loom]", "$.search.tilt_step_deg"),
        (THEATRE / "left.toml", "[loom]", "[carts]\ngroups = [5]\n[loom]", "$.carts.groups[0]"),
        (THEATRE / "left.toml", "kg_per_m = 1.4", "kg_per_ft = 1.4", "$.loom"),
        (THEATRE / "right.toml", "mirror_of", 'frame = "frame-large"\nmirror_of', "$"),
        (THEATRE / "right.toml", '"left.toml"', "1", "$.mirror_of"),
        (THEATRE / "readings.toml", "row = 4", "row = 0", "$.row[0].row"),
        (ARENA / "show.toml", 'file = "left.toml"\n', "", "$.hang[0]"),
        (ARENA / "show.toml", "large = 32", "large = -1", "$.stock.large"),
        (ARENA / "show.toml", "count = 3", "count = 65", "$.placed[0].count"),
        (ROOT / "sample_venues/tour.toml", 'name = "three halls"\n', "", "$"),
        (ROOT / "rigging/policies/over_people.toml", "marked_share = 0.5", "marked_share = 1.5", "$.marked_share"),
        (CATALOGUE / "medium.toml", 'shape = "circle"', 'shape = "oval"', "$.acoustic.radiator[0].shape"),
        (CATALOGUE / "medium.toml", "rear_db = -22.0", "rear_db = 1.0", "$.acoustic.rear_db"),
        (CATALOGUE / "medium.toml", "ways = 2", "ways = 7", "$.electrical.ways"),
        (CATALOGUE / "medium.toml", 'pivot = "front"', 'pivot = "rear"', "$.pivot"),
        (CATALOGUE / "frame-large.toml", "mass_kg = ", "mass_kgs = ", "$"),
        (CATALOGUE / "adapter-large-medium.toml", 'top_fitting = "large"\n', "", "$"),
        (CATALOGUE / "arm-large.toml", "\nout_m = ", "\nout_m = 10", "$.hole[0].out_m"),
        (CATALOGUE / "hoist-1t.toml", "falls = 1", "falls = 5", "$.falls"),
        (CATALOGUE / "roundsling-1t.toml", "mass_kg = 0", "mass_kg = -1", "$.mass_kg"),
        (CATALOGUE / "shackle-5-8.toml", 'name = "shackle-5-8"', 'name = ""', "$.name"),
        (CATALOGUE / "rope-6mm.toml", "termination = 0.9", "termination = 1.1", "$.termination"),
        (CATALOGUE / "amp-4.toml", "channels = 4", "channels = 4.5", "$.channels"),
        (CATALOGUE / "cable-8.toml", "pairs = 4", "pairs = 49", "$.pairs"),
    ],
)
def test_broken_files_are_refused_where_they_are_broken(checker, path, old, new, at):
    text = path.read_text()
    assert old in text
    data = tomllib.loads(text.replace(old, new, 1))
    found = [error.json_path for error in checker(kind_in(data)).iter_errors(data)]
    assert at in found
    with pytest.raises(ValidationError):  # the reader's own model says the same
        MODELS[kind_in(data)]["mirror_of" in data].model_validate(data)


# 1 ft = 0.3048 m, 1 lb = 0.45359237 kg, exact (1959): 150 m are 492.126 ft, 100,000 kg are 220,462.26 lb.
@pytest.mark.parametrize(
    ("kind", "data", "wrong"),
    [
        ("venue", {"name": "P", "position_ft": [1, 2, 492.1], "limit_lb": 220_462}, []),
        ("venue", {"name": "P", "position_ft": ["3 ft", 2, "40' 6\""]}, []),
        ("venue", {"name": "P", "position_ft": [1, 2, 492.2]}, ["$.point[0].position_ft[2]"]),
        ("venue", {"name": "P", "position_ft": [1, 2, 3], "limit_lb": 220_463}, ["$.point[0].limit_lb"]),
        ("venue", {"name": "P", "position_ft": [1, 2, 3], "limit_lb": "1 lb"}, ["$.point[0].limit_lb"]),
        ("venue", {"name": "P", "position_ft": [1, 2, 3], "position_m": [1, 2, 3]}, ["$.point[0]"]),
        ("venue", {"name": "P", "position_ft": [1, 2, 3], "limit_lb": 1, "limit_kg": 1}, ["$.point[0]"]),
        ("venue", {"name": "P"}, ["$.point[0]"]),
    ],
)
def test_feet_and_pounds(checker, kind, data, wrong):
    whole = tomllib.loads((THEATRE / "venue.toml").read_text()) | {"point": [data]}
    assert [error.json_path for error in checker(kind).iter_errors(whole)] == wrong


def test_ranges_units_and_examples_are_told():
    mass = of_kind("shackle")["properties"]
    assert mass["mass_kg"] == {
        "description": "own mass; of a hoist without its chain",
        "examples": [1.0],
        "maximum": 1000.0,
        "minimum": 0.0,
        "type": "number",
        "x-unit": "kg",
    }
    assert "null" not in json.dumps([of_kind(kind) for kind in MODELS])


def test_commands(capsys, refused):
    assert main(["schema"]) == 0
    assert capsys.readouterr().out.split() == list(MODELS)
    assert main(["schema", "rope"]) == 0
    assert json.loads(capsys.readouterr().out) == of_kind("rope")
    (line,) = refused("schema", "venu")
    assert line.startswith('KIND: is no kind of file (got "venu"); did you mean venue? known kinds: adapter,')
