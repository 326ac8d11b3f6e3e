"""Policies: the packaged ones, their files at fault, and the dynamic factor of a hoisting class."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rigging import policy as policies
from rigging.policy import Policy, hoisting_factor, load_policy
from rigging.suspension import hoist_factor
from rigging.tackle import Hoist

PACKAGED = Path(policies.__file__).parent / "policies"
TEXT = """\
format = "policy/1"
name = "house"
source = "the house engineer"
over_people = true
rope_design_factor = 10.0
marked_share = 0.5
dynamic_factor = 1.25
least_pick_share = 0.1
lean_pick_share = 0.25
least_leg_deg = 30.0
included_angle_deg = 120.0
plumb_deg = 3.0
tilt_tolerance_deg = 0.5
trim_tolerance_m = 0.1
aim_tolerance_deg = 0.6
cell_share = 0.11
cell_kg = 24.0
sum_share = 0.06
clearance_m = 2.5
swing_deg = 5.0
drag = 1.3
stability = 1.5
friction = 0.3
"""
KEYS = [line.split(" = ")[0] for line in TEXT.splitlines()]


def with_value(key: str, value: str) -> str:
    return re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", TEXT)


def test_over_people_is_what_counts_when_nothing_is_asked_for():
    # DGUV Information 215-313: wire rope 10 over people; nothing above half its marked limit. [std]
    # ASME B30.26: no more than 120° between two legs. [std as quoted]
    policy = load_policy()
    assert (policy.name, policy.over_people) == ("over people", True)
    assert (policy.rope_design_factor, policy.marked_share, policy.included_angle_deg) == (10.0, 0.5, 120.0)
    assert policy == load_policy(PACKAGED / "over_people.toml")


def test_no_people():
    # DGUV Information 215-313 and Directive 2006/42/EC: wire rope 5 without people. [std]
    policy = load_policy(PACKAGED / "no_people.toml")
    assert (policy.over_people, policy.rope_design_factor, policy.marked_share) == (False, 5.0, 1.0)
    assert policy.included_angle_deg == 120.0


def test_nothing_is_looser_over_people():
    over, without = load_policy(), load_policy(PACKAGED / "no_people.toml")
    assert over.rope_design_factor > without.rope_design_factor
    assert over.marked_share < without.marked_share
    assert over.clearance_m > without.clearance_m
    for key in ("least_pick_share", "lean_pick_share", "least_leg_deg", "stability"):
        assert getattr(over, key) >= getattr(without, key)
    for key in (
        "plumb_deg",
        "tilt_tolerance_deg",
        "aim_tolerance_deg",
        "cell_kg",
        "sum_share",
        "swing_deg",
        "friction",
        "included_angle_deg",
    ):
        assert getattr(over, key) <= getattr(without, key)


@pytest.mark.parametrize("name", ["over_people", "no_people"])
def test_every_number_of_a_packaged_policy_says_where_it_comes_from(name):
    numbers = [line for line in (PACKAGED / f"{name}.toml").read_text().splitlines() if re.search(r"= [\d.]+", line)]
    assert len(numbers) >= 10
    silent = [line for line in numbers if "#" not in line]
    # The share of a marked limit without people is all of it, which needs no source; so does no clearance.
    assert [line for line in silent if not re.match(r"(marked_share = 1\.0|clearance_m = 0\.0)$", line)] == []


def test_keys_of_the_text_are_those_of_the_model():
    assert set(KEYS) == set(Policy.model_fields)


def test_a_policy_is_read_as_written(tmp_path):
    file = tmp_path / "house.toml"
    file.write_text(TEXT)
    read = load_policy(file).model_dump()
    assert read["source"] == "the house engineer"
    numbers = [10.0, 0.5, 1.25, 0.1, 0.25, 30.0, 120.0, 3.0, 0.5, 0.1, 0.6, 0.11, 24.0, 0.06, 2.5, 5.0, 1.3, 1.5, 0.3]
    assert [read[key] for key in KEYS[4:]] == numbers


@pytest.mark.parametrize("key", [key for key in KEYS if key != "dynamic_factor"])
def test_a_missing_key_is_told_and_never_a_default(fault_of, key):
    fault = fault_of(load_policy, re.sub(rf"(?m)^{key} = .*\n", "", TEXT))
    assert (fault.key, fault.wrong) == (key, "key is missing")
    assert key in fault.todo


def test_without_a_dynamic_factor_the_hoisting_class_decides(tmp_path):
    file = tmp_path / "house.toml"
    file.write_text(TEXT.replace("dynamic_factor = 1.25\n", ""))
    assert load_policy(file).dynamic_factor is None


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("rope_design_factor", 1.0, 20.0),
        ("marked_share", 0.05, 1.0),
        ("dynamic_factor", 1.0, 20.0),
        ("least_pick_share", 0.0, 0.5),
        ("lean_pick_share", 0.0, 0.5),
        ("least_leg_deg", 1.0, 89.0),
        ("included_angle_deg", 0.0, 180.0),
        ("plumb_deg", 0.0, 30.0),
        ("tilt_tolerance_deg", 0.0, 5.0),
        ("trim_tolerance_m", 0.0, 2.0),
        ("aim_tolerance_deg", 0.0, 5.0),
        ("cell_share", 0.0, 1.0),
        ("cell_kg", 0.0, 500.0),
        ("sum_share", 0.0, 1.0),
        ("clearance_m", 0.0, 20.0),
        ("swing_deg", 0.0, 45.0),
        ("drag", 0.1, 3.0),
        ("stability", 1.0, 20.0),
        ("friction", 0.0, 1.0),
    ],
)
def test_range_of_a_key(fault_of, tmp_path, key, low, high):
    for value in (low - 0.01, high + 0.01):
        fault = fault_of(load_policy, with_value(key, f"{value} # HERE"))
        assert fault.key == key
        assert f"outside the plausible range {low:g} to {high:g}" in fault.wrong
    for value in (low, high):
        (tmp_path / "edge.toml").write_text(with_value(key, str(value)))
        assert getattr(load_policy(tmp_path / "edge.toml"), key) == value


@pytest.mark.parametrize(
    ("text", "key", "wrong", "todo"),
    [
        (
            TEXT + "design_factor = 5.0 # HERE\n",
            "design_factor",
            "is an unknown key",
            "did you mean rope_design_factor",
        ),
        (TEXT + "clearance_ft = 8.0 # HERE\n", "clearance_ft", "stands beside clearance_m", "keep one of the two"),
        (with_value("marked_share", '"half" # HERE'), "marked_share", "must be a number", "without quotes"),
        (with_value("marked_share", "nan # HERE"), "marked_share", "is not a finite number", "give a number"),
        (with_value("friction", "true # HERE"), "friction", "must be a number", "without quotes"),
        (with_value("over_people", '"maybe" # HERE'), "over_people", "must be true or false", "without quotes"),
        (with_value("name", "7 # HERE"), "name", "must be a text", "quotes"),
        (with_value("source", '"" # HERE'), "source", "must be 1 to 80 printable characters", "short"),
        (with_value("format", '"venue/1" # HERE'), "format", "is another kind of file", 'format = "policy/1"'),
        (with_value("format", '"policy/2" # HERE'), "format", "version that this release does not know", "policy/1"),
        (TEXT.replace('format = "policy/1"\n', ""), "format", "key is missing", 'format = "policy/1"'),
        ("[[[", "", "is no valid TOML", "correct"),
        ("\n", "", "is empty", 'format = "policy/1"'),
    ],
)
def test_policy_at_fault(fault_of, text, key, wrong, todo):
    fault = fault_of(load_policy, text)
    assert fault.key == key
    assert wrong in fault.wrong
    assert todo in fault.todo


def test_all_faults_at_once(faults_of):
    text = with_value("drag", "9.0").replace("friction = 0.3\n", "grip = 0.3\n")
    assert {fault.key for fault in faults_of(load_policy, text)} == {"drag", "friction", "grip"}


# --- the dynamic factor ---


@pytest.mark.parametrize(
    ("kind", "m_per_min", "factor"),
    [
        # EN 13001-2, values from memory; HC2 at 4, 8 and 16 m/min: 1.123, 1.145, 1.191.
        ("HC2", 4.0, 1.123),
        ("HC2", 8.0, 1.145),
        ("HC2", 16.0, 1.191),
        # 1.05 + 0.17·0.1, 1.15 + 0.51·0.1, 1.20 + 0.68·0.1
        ("HC1", 6.0, 1.067),
        ("HC3", 6.0, 1.201),
        ("HC4", 6.0, 1.268),
    ],
)
def test_factor_of_a_hoisting_class(kind, m_per_min, factor):
    # Tolerance: the rounding of the table's last figure.
    assert hoisting_factor(kind, m_per_min / 60.0) == pytest.approx(factor, rel=0, abs=0.0005)


def test_unknown_class():
    with pytest.raises(ValueError, match="HC5 is none of HC1, HC2, HC3, HC4"):
        hoisting_factor("HC5", 0.1)


def hoist(**changes: object) -> Hoist:
    keys = {"format": "hoist/1", "name": "h", "description": "h", "source": "typed", "mass_kg": 1.0}
    keys |= {"chain_kg_per_m": 1.0, "falls": 1, "chain_m": 20.0, "headroom_m": 0.5}
    return Hoist.model_validate(keys | changes)


@pytest.mark.parametrize(
    ("item", "factor", "expected"),
    [
        # The policy's factor takes the place of the class, it does not come on top: 1.25, not 1.25 · 1.134.
        (hoist(hoisting_class="HC2", speed_m_per_min=6.0), 1.25, 1.25),
        (hoist(hoisting_class="HC2", speed_m_per_min=6.0), None, 1.134),
        (hoist(), 1.25, 1.25),
        (None, 1.25, 1.25),
        (hoist(hoisting_class="HC2"), None, None),
        (hoist(speed_m_per_min=6.0), None, None),
        (None, None, None),
    ],
)
def test_factor_of_a_hoist(item, factor, expected):
    found = hoist_factor(item, factor)
    assert (found is None) == (expected is None)
    assert expected is None or found == pytest.approx(expected, rel=1e-12, abs=0)
