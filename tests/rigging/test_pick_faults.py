"""Picks, bridles, arms, pull-backs and carts of a hang file at fault, and rated data: the key, its line, the cause."""

from __future__ import annotations

from pathlib import Path

import pytest

from rigging.equipment import KINDS, Catalogue, load_catalogue
from rigging.files import read, validate
from rigging.hang import load_hang

HANG = """\
format = "hang/1"
name = "main"
frame = "frame-large"
position_m = [0.0, 6.0, 11.0]
tilt_deg = -2.0
floor_below_m = 0.0

[arm]
type = "arm-large"
end = "rear"

[[pick]]
hole = "2"
apex_m = 12.0
hoist = "hoist-1t"
hardware = ["shackle-5-8"]
[[pick.leg]]
point = "P1"
rope = "rope-10mm"
[[pick.leg]]
point = "P2"
sling = "roundsling-1t"

[[pick]]
hole = "1"
on = "arm"
point = "P3"

[pullback]
to_m = [-4.0, 6.0, 12.0]
hoist = "hoist-500kg"

[loom]
kg_per_m = 1.4

[carts]
groups = [2]

[[column]]
enclosure = "medium"
splay_deg = 0.0

[[column]]
enclosure = "medium"
splay_deg = 1.0
"""
ARM = """\
format = "pick_arm/1"
name = "arm-odd"
description = "fits nothing"
source = "typed"
mass_kg = 5.0
length_m = 1.0
centre_out_m = 0.5
[[hole]]
name = "1"
out_m = 0.5
up_m = 0.0
limit_kg = 100.0
[[hole]]
name = "2"
out_m = 0.9
up_m = 0.0
"""
LEG_1 = '[[pick.leg]]\npoint = "P1"\nrope = "rope-10mm"\n'
LEG_2 = '[[pick.leg]]\npoint = "P2"\nsling = "roundsling-1t"\n'
PICK_2 = 'hole = "1"\non = "arm"\npoint = "P3"\n'
NO_ARM = '[arm]\ntype = "arm-large"\nend = "rear"\n'


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory) -> Catalogue:
    folder = tmp_path_factory.mktemp("equipment")
    (folder / "arm-odd.toml").write_text(ARM)
    return load_catalogue([folder])


@pytest.fixture
def load(catalogue):
    return lambda file: load_hang(file, catalogue)


def changed(old: str, new: str, text: str = HANG) -> str:
    assert old in text
    return text.replace(old, new, 1)


def test_sound_hang_loads(tmp_path, load):
    (tmp_path / "a.toml").write_text(HANG)
    hang = load(tmp_path / "a.toml")
    assert [(pick.on, pick.hole, len(pick.leg)) for pick in hang.picks] == [("frame", "2", 2), ("arm", "1", 0)]


@pytest.mark.parametrize(
    ("old", "new", "key", "wrong", "todo"),
    [
        # holes and arms
        ('hole = "2"', 'hole = "10" # HERE', "pick[1].hole", "is no hole of frame-large", "front to rear: 1, 2, 3"),
        ('hole = "1"', 'hole = "9" # HERE', "pick[2].hole", "is no hole of arm-large", "front to rear: 1, 2, 3, 4"),
        (PICK_2, 'hole = "2" # HERE\npoint = "P3"\n', "pick[2].hole", "is that of pick[1] too", "its own hole"),
        ('hole = "2"\n', "", "pick[1].hole", "key is missing", "add hole"),
        ('on = "arm"', 'on = "beam" # HERE', "pick[2].on", "is not one of the known words", "'frame' or 'arm'"),
        (NO_ARM, "", "pick[2].on", "is on an arm, and the hang has none", "add [arm]"),
        ('"arm-large"', '"arm-larg" # HERE', "arm.type", "is an unknown pick arm", "arm-large"),
        ('"arm-large"', '"hoist-1t" # HERE', "arm.type", "is a hoist, not", "arm-large"),
        ('"arm-large"', '"arm-odd" # HERE', "arm.type", "does not fit frame-large at its rear", "takes arm-large"),
        ('"rear"', '"back" # HERE', "arm.end", "is not one of the known words", "'front' or 'rear'"),
        ('end = "rear"\n', "", "arm.end", "key is missing", "add end"),
        # tackle
        ('"hoist-1t"', '"hoist-3t" # HERE', "pick[1].hoist", "is no known hoist", "did you mean hoist-"),
        ('"hoist-1t"', '"rope-10mm" # HERE', "pick[1].hoist", "is no known hoist", "hoist-1t"),
        ('"hoist-1t"', "1000 # HERE", "pick[1].hoist", "must be a text", "quotes"),
        ('["shackle-5-8"]', '["shackle-9"] # HERE', "pick[1].hardware[1]", "is no known shackle or sling", "shackle-"),
        ('["shackle-5-8"]', '["rope-6mm"] # HERE', "pick[1].hardware[1]", "is no known shackle or sling", "known"),
        ('["shackle-5-8"]', '"shackle-5-8" # HERE', "pick[1].hardware", "must be a list", "[ ]"),
        ('"rope-10mm"', '"rope-10" # HERE', "pick[1].leg[1].rope", "is no known rope", "did you mean rope-10mm?"),
        ('"rope-10mm"', '"roundsling-1t" # HERE', "pick[1].leg[1].rope", "is no known rope", "rope-10mm"),
        ('"roundsling-1t"', '"sling-1t" # HERE', "pick[1].leg[2].sling", "is no known sling", "roundsling-1t"),
        ('"hoist-500kg"', '"hoist-5kg" # HERE', "pullback.hoist", "is no known hoist", "did you mean hoist-500kg?"),
        # bridles
        (LEG_2, "", "pick[1].leg", "is a bridle of one leg", "two or three"),
        (LEG_2, LEG_2 * 3, "pick[1].leg", "entries", "give 3"),
        ("apex_m = 12.0\n", "", "pick[1].apex_m", "key is missing", "the height where they meet"),
        ('point = "P3"', 'point = "P3"\napex_m = 12.0', "pick[2].apex_m", "for a pick below a point", "remove"),
        ("apex_m = 12.0", 'apex_m = 12.0\npoint = "P1"', "pick[1]", "has both a point and bridle legs", "keep one"),
        ("apex_m = 12.0", "apex_m = 1200.0 # HERE", "pick[1].apex_m", "outside the plausible range", "unit"),
        ('"rope-10mm"', '"rope-10mm"\nsling = "roundsling-1t"', "pick[1].leg[1]", "both a rope and a sling", "one of"),
        ('rope = "rope-10mm"\n', "", "pick[1].leg[1]", "names no rope or sling", "one of the two"),
        ('point = "P2"', 'point = "P1" # HERE', "pick[1].leg[2].point", "is the point of leg[1] too", "its own"),
        (LEG_1, '[[pick.leg]]\nrope = "rope-10mm"\n', "pick[1].leg[1].point", "key is missing", "add point"),
        # the number of picks, and what is no key
        (f"[[pick]]\n{PICK_2}", "".join(f'[[pick]]\nhole = "{n}"\npoint = "P3"\n' for n in "3456"),
         "pick", "entries", "give 4"),
        ('hole = "2"', 'hole = "2"\nhoists = "hoist-1t" # HERE', "pick[1].hoists", "is an unknown key", "hoist?"),
        ('"P1"', '"P1"\nlength_m = 4.0 # HERE', "pick[1].leg[1].length_m", "is an unknown key", "known keys: point"),
        ("to_m =", "too_m = [0, 0, 9] # HERE\nto_m =", "pullback.too_m", "is an unknown key", "did you mean to_m?"),
        ("[-4.0, 6.0, 12.0]", "[-4.0, 12.0] # HERE", "pullback.to_m", "entries", "give 3"),
        ("kg_per_m = 1.4", "kg_per_m = -1.4 # HERE", "loom.kg_per_m", "outside the plausible range 0 to 20", "unit"),
        ("floor_below_m = 0.0", 'floor_below_m = "0" # HERE', "floor_below_m", "must be a number in m", "quotes"),
        # carts
        ("groups = [2]", "groups = [1] # HERE", "carts.groups", "holds 1 enclosures of 2", "every enclosure a cart"),
        ("groups = [2]", "groups = [2, 1] # HERE", "carts.groups", "holds 3 enclosures of 2", "every enclosure"),
        ("groups = [2]", "groups = [] # HERE", "carts.groups", "holds 0 enclosures of 2", "every enclosure"),
        ("groups = [2]", "groups = [2]\ndeck_m = -0.1 # HERE", "carts.deck_m", "plausible range 0 to 1.5 m", "unit"),
    ],
)  # fmt: skip
def test_hang_at_fault(fault_of, load, old, new, key, wrong, todo):
    fault = fault_of(load, changed(old, new))
    assert fault.key == key
    assert wrong in fault.wrong
    assert todo in fault.todo


@pytest.mark.parametrize("groups", ["[5, -3]", "[0, 2]", "[1.5, 0.5]", "[true, 1]"])
def test_carts_hold_one_to_four(faults_of, load, groups):
    faults = faults_of(load, changed("groups = [2]", f"groups = {groups}"))
    assert {fault.key.split("[")[0] for fault in faults} == {"carts.groups"}


def test_all_faults_of_a_pick_are_told_at_once(faults_of, load):
    text = changed('"hoist-1t"', '"hoist-9t"', changed('hole = "2"', 'hole = "x"', changed('"rope-10mm"', '"twine"')))
    keys = [fault.key for fault in faults_of(load, text)]
    assert sorted(keys) == ["pick[1].hoist", "pick[1].hole", "pick[1].leg[1].rope"]


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        (f"{LEG_1}{LEG_2}", "", "pick[1].leg"),
        (HANG[HANG.index("[carts]") :], '[[column]]\nadapter = "adapter-large-medium"\nsplay_deg = 0.0\n', "column"),
        (f"{LEG_1}{LEG_2}", "leg = []\n", "pick[1].leg"),
        ("to_m =", 'point = "P4"\nto_m =', "pullback"),
        ("[arm]", "standing = true\n[arm]", "pick"),
        ("[arm]", "standing = true\n[arm]", "pullback"),
        ("[arm]", "standing = true\n[arm]", "arm"),
    ],
)
def test_what_says_nothing_or_too_much_is_refused(faults_of, load, old, new, key):
    assert key in {fault.key for fault in faults_of(load, changed(old, new))}


def test_mirror_image_of_a_point_that_the_design_does_not_name(fault_of, load):
    Path("design.toml").write_text(HANG)
    text = 'format = "hang/1"\nname = "right"\nmirror_of = "design.toml"\n[points]\nP2 = "P5"\nP11 = "P6" # HERE\n'
    fault = fault_of(load, text)
    assert fault.key == "points.P11"
    assert "no venue point that the design names" in fault.wrong
    assert "P1" in fault.todo


def test_mirror_image_that_leads_two_legs_to_one_point(fault_of, load):
    Path("design.toml").write_text(HANG)
    text = 'format = "hang/1"\nname = "right"\nmirror_of = "design.toml"\n[points] # HERE\nP1 = "P9"\nP2 = "P9"\n'
    fault = fault_of(load, text)
    assert fault.key == "points"
    assert "leads two legs of one bridle to the point P9" in fault.wrong


# --- rated data ---

PACKAGED = Path(__file__).resolve().parents[2] / "rigging" / "catalogue"
FIRST_HOLES = 'position_m = [0.1, 0.0, 0.11]\nlimit_kg = 1000.0\n\n[[hole]]\nname = "2"\nposition_m = [0, 0.0, 0.11]'


def equipment(file: str) -> object:
    document = read(file, *KINDS)
    return validate(document, KINDS[document.data["format"]])


@pytest.mark.parametrize(
    ("item", "old", "new", "key", "wrong"),
    [
        ("medium", "mass_kg = 33.0", "mass_kg = 0.0 # HERE", "mass_kg", "outside the plausible range 0.01 to 2000 kg"),
        ("medium", "mass_kg = 33.0", "mass_kg = -33.0 # HERE", "mass_kg", "outside the plausible range"),
        ("frame-large", "mass_kg = 74.0", "mass_kg = 0 # HERE", "mass_kg", "outside the plausible range"),
        ("arm-large", "mass_kg = 14.0", "mass_kg = -1 # HERE", "mass_kg", "outside the plausible range"),
        ("hoist-1t", "mass_kg = 54.0", "mass_kg = -54 # HERE", "mass_kg", "outside the plausible range"),
        ("medium", "[-0.22, 0.0, -0.14]", "[-0.47, 0.0, -0.14] # HERE", "centre_of_mass_m", "lies outside the item"),
        ("medium", "[-0.22, 0.0, -0.14]", "[-0.22, 0.0, 0.14] # HERE", "centre_of_mass_m", "lies outside the item"),
        ("frame-large", "[-0.32, 0.0, 0.07]", "[-0.32, 0.0, -0.07] # HERE", "centre_of_mass_m", "outside the item"),
        ("frame-large", "[0.1, 0.0, 0.11]", "[0.2, 0.0, 0.11] # HERE", "hole[1].position_m", "lies beyond the frame"),
        ("frame-large", "[-0.7, 0.0, 0.11]", "[-0.8, 0.0, 0.11] # HERE", "hole[9].position_m", "beyond the frame"),
        ("frame-large", FIRST_HOLES, FIRST_HOLES.replace("[0, 0.0, 0.11]", "[0.12, 0.0, 0.11] # HERE"),
         "hole[2].position_m", "lies ahead of the hole listed before it"),
        ("frame-large", 'name = "2"', 'name = "1" # HERE', "hole[2].name", "is the name of another hole too"),
        ("frame-large", "limit_kg = 1000.0", "limit_kg = 0 # HERE", "hole[1].limit_kg", "plausible range 1 to 1000"),
        ("frame-large", "link_kg = 1200.0", "link_kg = 0.0 # HERE", "rated.link_kg", "outside the plausible range 1"),
        ("medium", "pin_kg = 600.0", "pin_kg = -600.0 # HERE", "rated.pin_kg", "outside the plausible range 1"),
        ("medium", "link_push_kg = 250.0", "link_push_kg = inf # HERE", "rated.link_push_kg", "is not a finite number"),
        ("frame-large", "locks_both_ways = true", "locks_both_ways = 7 # HERE", "rated.locks_both_ways", "true or"),
        ("frame-large", "mass_kg = 1100.0", "mass_kg = 0.0 # HERE", "rated.below[1].mass_kg", "plausible range 1"),
        ("frame-large", "[-12.0, 12.0]", "[12.0, -12.0] # HERE", "rated.below[1].tilt_deg", "runs from high to low"),
        ("frame-large", "side_spacing_m = 1.1", "side_spacing_m = 0.0 # HERE", "side_spacing_m", "plausible range"),
        ("medium", "cart_limit_deg = 6.0", "cart_limit_deg = -6.0 # HERE", "cart_limit_deg", "plausible range 0 to 45"),
        ("medium", "[-0.36, 0.0, -0.25]", "[-0.36, -0.25] # HERE", "pullback_m", "entries"),
        ("arm-large", "limit_kg = 700.0", "limit_kg = 0.0 # HERE", "hole[1].limit_kg", "plausible range 1"),
        ("arm-large", "out_m = 0.3", "out_m = -0.3 # HERE", "hole[1].out_m", "plausible range 0 to 4 m"),
        ("hoist-1t", "capacity_kg = 1000.0", "capacity_kg = 0 # HERE", "capacity_kg", "plausible range 1 to 100000 kg"),
        ("hoist-1t", '"HC2"', '"HC5" # HERE', "hoisting_class", "is not one of the known words"),
        ("hoist-1t", "speed_m_per_min = 4.0", "speed_m_per_min = 0.0 # HERE", "speed_m_per_min", "plausible range"),
        ("hoist-1t", "falls = 1", "falls = 0 # HERE", "falls", "is no number of falls"),
        ("roundsling-1t", "limit_kg = 1000.0", "limit_kg = 0 # HERE", "limit_kg", "plausible range 1"),
        ("shackle-5-8", "limit_kg = 2947.75", "limit_kg = 0 # HERE", "limit_kg", "plausible range 1"),
        ("rope-10mm", "breaking_kn = 58.8", "breaking_kn = 0 # HERE", "breaking_kn", "plausible range 0.5 to 2000 kN"),
        ("rope-10mm", "termination = 0.9", "termination = 1.1 # HERE", "termination", "plausible range 0.3 to 1"),
        ("rope-10mm", "termination = 0.9\n", "", "termination", "key is missing"),
        ("arm-large", "out_m = 1.15", "out_m = 1.25 # HERE", "hole[4].out_m", "lies beyond the arm"),
        ("arm-large", 'name = "2"', 'name = "1" # HERE', "hole[2].name", "is the name of hole[1] too"),
        ("arm-large", "out_m = 0.45", "out_m = 1.3 # HERE", "centre_out_m", "lies beyond the arm"),
        ("medium", "number = 15\nmass_kg = 500.0\n", "", "rated.below[1]", "permits neither a number nor a mass"),
    ],
)  # fmt: skip
def test_equipment_at_fault(fault_of, item, old, new, key, wrong):
    fault = fault_of(equipment, changed(old, new, (PACKAGED / f"{item}.toml").read_text()))
    assert fault.key == key
    assert wrong in fault.wrong


def test_pull_back_hole_outside_its_box(fault_of):
    text = changed("[-0.36, 0.0, -0.25]", "[-3.0, 0.0, -0.25] # HERE", (PACKAGED / "medium.toml").read_text())
    assert fault_of(equipment, text).key == "pullback_m"
