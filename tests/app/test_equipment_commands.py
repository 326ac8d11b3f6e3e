"""`evenhang equipment`: the list, one item with its units, and what its file leaves open."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from acoustics.app.cli import main
from acoustics.app.equipment_show import with_unit

ROOT = Path(__file__).resolve().parents[2]
CATALOGUE = ROOT / "rigging" / "catalogue"


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """Runs `equipment`, which must be done; returns what it printed."""

    def run(*arguments: object) -> str:
        assert main(["equipment", *map(str, arguments)]) == 0
        out, err = capsys.readouterr()
        assert err == ""
        return str(out)

    return run


@pytest.fixture
def own(tmp_path: Path) -> Callable[..., Path]:
    """A folder with one packaged item under a name of its own, and without the lines that start with some keys."""

    def write(name: str, *left_out: str) -> Path:
        lines = (CATALOGUE / f"{name}.toml").read_text().replace(f'name = "{name}"', 'name = "mine"').splitlines()
        assert all(any(line.startswith(key) for line in lines) for key in left_out)
        kept = [line for line in lines if not line.startswith(left_out)] if left_out else lines
        (tmp_path / "own").mkdir()
        (tmp_path / "own" / "mine.toml").write_text("\n".join(kept))
        return tmp_path / "own"

    return write


def test_list_has_every_file_once(said):
    listed = json.loads(said("list", "--json"))
    assert sorted(one["name"] for one in listed) == sorted(path.stem for path in CATALOGUE.glob("*.toml"))
    assert {(one["name"], one["kind"], one["mass_kg"]) for one in listed} >= {
        ("medium", "enclosure", 33.0),
        ("frame-large", "frame", 74.0),
        ("cable-8", "cable", None),
    }


def test_list_as_a_table(said):
    head, *rows = said("list", "--kind", "rope").splitlines()
    assert head.split() == ["name", "kind", "mass", "source", "of", "its", "data"]
    assert [row.split()[:4] for row in rows][-1] == ["rope-6mm", "rope", "0.13", "kg/m"]
    assert len(rows) == 3


def test_own_equipment_is_listed_too(said, own):
    folder = own("medium")
    names = [line.split()[0] for line in said("list", "--kind", "enclosure", "--equipment", folder).splitlines()]
    assert names == ["name", "compact", "large", "medium", "mine", "point", "sub"]
    alone = said("list", "--equipment", folder, "--only-equipment").splitlines()
    assert [line.split()[0] for line in alone] == ["name", "mine"]


def test_show_gives_values_with_their_units(said):
    lines = [" ".join(line.split()) for line in said("show", "medium").splitlines()]
    for line in (
        "mass_kg 33 kg – mass",
        "centre_of_mass_m (-0.22, 0, -0.14) m – centre of mass in box axes",
        "rated.locks_both_ways yes – whether the link holds in tension and compression",
        "acoustic.radiator[2].coverage_deg 100° – of a slot",
        "electrical.ohm 8 ohm – nominal impedance of each way",
    ):
        assert line in lines
    assert max(map(len, lines)) <= 120


def test_show_gives_every_number_of_the_file(said):
    shown = json.loads(said("show", "hoist-1t", "--json"))
    assert shown["data"]["chain_kg_per_m"] == 1.1
    assert shown["lacks"] == []
    assert shown["cautions"][0].startswith("A planning aid")


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("chain_kg_per_m", 1.1, "1.1 kg/m"),
        ("speed_m_per_min", 4.0, "4 m/min"),
        ("mount_kg_m", 300.0, "300 kg m"),
        ("breaking_kn", 21.2, "21.2 kN"),
        ("level_1m_db", (1.0, 2.5), "1, 2.5 dB"),
        ("tilt_deg", (-12.0, 12.0), "-12, 12°"),
        ("termination", 0.9, "0.9"),
    ],
)
def test_units(key, value, text):
    assert with_unit(key, value) == text


@pytest.mark.parametrize(
    ("name", "left_out", "lacking"),
    [
        ("hoist-1t", ("capacity_kg", "speed_"), ["capacity_kg", "speed_m_per_min"]),
        ("shackle-5-8", ("limit_kg",), ["limit_kg"]),
        ("roundsling-1t", ("limit_kg",), ["limit_kg"]),
        ("rope-6mm", ("breaking_kn",), ["breaking_kn"]),
        ("amp-4", ("least_ohm",), ["least_ohm"]),
        ("arm-large", ("mount_kg_m",), ["mount_kg_m"]),
        ("medium", ("pin_kg", "ohm"), ["rated.pin_kg", "electrical.ohm"]),
        ("medium", ("pullback_kg",), ["rated.pullback_kg"]),
        ("cable-8", (), []),
    ],
)
def test_what_is_left_out_is_told(said, own, name, left_out, lacking):
    folder = own(name, *left_out)
    shown = json.loads(said("show", "mine", "--equipment", folder, "--json"))
    assert [one["key"] for one in shown["lacks"]] == lacking
    assert ("CANNOT BE JUDGED" in said("show", "mine", "--equipment", folder)) == bool(lacking)


# The finding that is told is one that `check` then leaves open, in its own words.
@pytest.mark.parametrize(
    ("name", "left_out"),
    [("medium", "pin_kg"), ("medium", "link_kg"), ("hoist-1t", "capacity_kg"), ("frame-large", "pin_kg")],
)
def test_check_leaves_the_same_open(said, own, checked, tmp_path, name, left_out):
    folder = own(name, left_out)
    told = [
        one["cannot_be_judged"] for one in json.loads(said("show", "mine", "--equipment", folder, "--json"))["lacks"]
    ]
    theatre = ROOT / "sample_venues" / "theatre"
    hang = tmp_path / "hang" / "left.toml"
    hang.parent.mkdir()
    hang.write_text((theatre / "left.toml").read_text().replace(f'"{name}"', '"mine"'))
    code, report, _ = checked(hang, theatre / "venue.toml", "--equipment", folder)
    assert code == 4
    open_ = {one["what"] for one in report["findings"] if one["status"] not in ("within", "exceeds")}
    assert open_ == set(told)


def test_refusals(refused, own):
    (line,) = refused("equipment", "show", "mediun")
    assert line.startswith('NAME: is no known equipment (got "mediun"); did you mean medium? known: adapter-')
    (line,) = refused("equipment", "list", "--kind", "frames")
    assert line.startswith('--kind: is no kind of equipment (got "frames"); did you mean frame? known kinds: adapter,')
    (line,) = refused("equipment", "list", "--equipment", "none")
    assert line.startswith("none: cannot be read as a folder of equipment files")
    (line,) = refused("equipment", "list", "--only-equipment")
    assert line.startswith("--only-equipment: leaves no equipment at all")
    assert "required: ACTION" in refused("equipment")[-1]


def test_a_fault_of_the_acoustic_part_is_told(refused, own):
    folder = own("medium", "shape")
    lines = refused("equipment", "show", "mine", "--equipment", folder)
    assert "acoustic.radiator[1].shape: key is missing" in lines[0]
