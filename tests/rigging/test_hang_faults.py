"""Hang files at fault: the key, its line, the cause, and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from rigging.faults import FileFaults
from rigging.hang import load_hang

HANG = """\
# A hang for checks.
format = "hang/1"
name = "main"

frame = "beam"
position_m = [0.0, 6.0, 11.0]
tilt_deg = -2.0

[[column]]
enclosure = "wide"
splay_deg = 0.0

[[column]]
enclosure = "wide"
splay_deg = 1.0

[[group]]
rows = [1, 2]
"""
SECOND = 'enclosure = "wide"\nsplay_deg = 1.0\n'
Loaded = pytest.fail.Exception  # what pytest.raises raises when nothing was


@pytest.fixture
def load(equipment):
    return lambda file: load_hang(file, equipment)


def changed(old: str, new: str, text: str = HANG) -> str:
    assert old in text
    return text.replace(old, new, 1)


def test_sound_hang_loads(tmp_path, load):
    (tmp_path / "a.toml").write_text(HANG)
    hang = load(tmp_path / "a.toml")
    assert [item.name for item in hang.items] == ["wide", "wide"]
    # exact: 30 kg and twice 40 kg
    assert hang.mass_kg == pytest.approx(110.0, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("old", "new", "key", "wrong", "todo"),
    [
        ('name = "main"', 'name = "main"\ntilt_degs = 1 # HERE', "tilt_degs", "unknown key", "did you mean tilt_deg?"),
        ('name = "main"', 'name = "main"\nqqqq = 1 # HERE', "qqqq", "unknown key", "known keys: format, name, "),
        (SECOND, SECOND + "splay = 1 # HERE\n", "column[2].splay", "unknown key", "did you mean splay_deg?"),
        ("rows = [1, 2]", "rows = [1, 2]\ngain = 1 # HERE", "group[1].gain", "unknown key", "did you mean gain_db?"),
        ("[[group]]", "[[gruop]] # HERE", "gruop", "unknown key", "did you mean group?"),
        ("tilt_deg", "pos = 3 # HERE\ntilt_deg", "pos", "unknown key", "did you mean position_m?"),
        ("tilt_deg = -2.0\n", "", "tilt_deg", "key is missing", "; for example tilt_deg = "),
        ("position_m = [0.0, 6.0, 11.0]\n", "", "position_m", "key is missing", "; for example position_m = ["),
        ('frame = "beam"\n', "", "frame", "key is missing", "; for example frame = "),
        (
            "[[column]]\n" + SECOND,
            '[[column]] # HERE\nenclosure = "wide"\n',
            "column[2].splay_deg",
            "key is missing",
            "; for example splay_deg = ",
        ),
        ("[[group]]\nrows = [1, 2]", "[[group]] # HERE", "group[1].rows", "key is missing", "; for example rows = ["),
        ("-2.0", '"-2.0" # HERE', "tilt_deg", "must be a number in deg", "without quotes"),
        ("-2.0", "true # HERE", "tilt_deg", "must be a number in deg", "give the number"),
        ("-2.0", "-91.0 # HERE", "tilt_deg", "outside the plausible range -90 to 90 deg", "check the number"),
        ('"beam"', "7 # HERE", "frame", "must be a text", "quotes"),
        ("[0.0, 6.0, 11.0]", "[0.0, 6.0] # HERE", "position_m", "has too few entries", "give 3"),
        ("[0.0, 6.0, 11.0]", "[0.0, 6.0, 11.0, 0.0] # HERE", "position_m", "has more than 3 entries", "give 3"),
        ("[0.0, 6.0, 11.0]", "11.0 # HERE", "position_m", "must be a list", "[ ]"),
        ("11.0]", "1100.0] # HERE", "position_m[3]", "outside the plausible range -100 to 150 m", "its unit"),
        ("11.0]", "inf] # HERE", "position_m[3]", "is not a finite number", "a number in m"),
        ("11.0]", "nan] # HERE", "position_m[3]", "is not a finite number", "a number in m"),
        ("position_m = [0.0, 6.0, 11.0]", "position_ft = [0, 20, 1100] # HERE", "position_ft[3]", "outside", "unit"),
        ("11.0]", "11.0]\nposition_ft = [0, 20, 36] # HERE", "position_ft", "stands beside position_m", "keep one"),
        ("-2.0", "-2.0\nserves = 'stalls' # HERE", "serves", "must be a list", "[ ]"),
        ("-2.0", "-2.0\nserves = ['stalls', 2] # HERE", "serves[2]", "must be a text", "quotes"),
        ("-2.0", "-2.0\nserves = ['a', 'b', 'a'] # HERE", "serves[3]", "stands twice", "name each area once"),
        ("tilt_deg", "azimuth_deg = 361.0 # HERE\ntilt_deg", "azimuth_deg", "range -360 to 360 deg", "check"),
        ("[1, 2]", "[1, 2]\ndelay_ms = -1.0 # HERE", "group[1].delay_ms", "range 0 to 1000 ms", "check"),
    ],
)  # fmt: skip
def test_key_at_fault(fault_of, load, old, new, key, wrong, todo):
    fault = fault_of(load, changed(old, new))
    assert fault.key == key
    assert wrong in fault.wrong
    assert todo in fault.todo


def test_place_in_feet_is_told_what_it_comes_to(fault_of, load):
    # exact: 3609 ft = 1100.0232 m; six digits are shown
    fault = fault_of(load, changed("position_m = [0.0, 6.0, 11.0]", "position_ft = [0, 20, 3609] # HERE"))
    assert str(fault) == (
        "file.toml:6: position_ft[3]: lies outside the plausible range -100 to 150 m "
        "(got 3609 ft = 1100.02 m); check the number and its unit"
    )


def test_all_faults_are_told_at_once(faults_of, load):
    text = """\
format = "hang/1"
name = 7
frame = "beem"
position_m = [0.0, "6", 1100.0]
tilt = -2.0

[[column]]
enclosure = "wide"
splay_deg = 0.0

[[column]]
enclosure = "wide"
splay_deg = 1.5

[[column]]
enclosure = "slim"
splay_deg = 4.0

[[column]]
splay_deg = 4.0

[[group]]
rows = [1, 9]
[[group]]
rows = [1]
gain_db = 21
"""
    found = {(fault.key, fault.line) for fault in faults_of(load, text)}
    assert found == {
        ("name", 2),
        ("frame", 3),
        ("position_m[2]", 4),
        ("position_m[3]", 4),
        ("tilt", 5),
        ("tilt_deg", None),
        ("column[2].splay_deg", 13),
        ("column[3].enclosure", 16),
        ("column[4]", 19),
        ("group[1].rows[2]", 23),
        ("group[2].rows[1]", 25),
        ("group[2].gain_db", 26),
    }


MIRROR = 'format = "hang/1"\nname = "right"\nmirror_of = "{}" # HERE\n'
PLAIN_MIRROR = MIRROR.format("design.toml").replace(" # HERE", "")


@pytest.mark.parametrize(
    ("target", "wrong", "todo"),
    [
        ("missing.toml", "names a file that cannot be used: missing.toml: does not exist", "the folder of this one"),
        ("right.toml", "names a file that is a mirror image itself", "name the design that it mirrors"),
        ("other.toml", "names a file that is a mirror image itself", "name the design that it mirrors"),
        ("venue.toml", "used: venue.toml:1: format: is another kind of file (got", "name the design's file"),
        ("empty.toml", "used: empty.toml: is empty", "name the design's file"),
        (".", "used: .: is a directory", "name the design's file"),
        ("sub/missing.toml", "used: sub/missing.toml: does not exist", "name the design's file"),
        ("./" * 40 + "missing.toml", "used: missing.toml: does not exist", "name the design's file"),
        ("syntax.toml", "used: syntax.toml:2: is no valid TOML: ", "name the design's file"),
    ],
)
def test_mirror_of_what_is_no_design(fault_of, load, tmp_path, target, wrong, todo):
    (tmp_path / "other.toml").write_text(MIRROR.format("design.toml"))
    (tmp_path / "venue.toml").write_text('format = "venue/1"\n')
    (tmp_path / "empty.toml").write_text("")
    (tmp_path / "syntax.toml").write_text('format = "hang/1"\nname = \n')
    fault = fault_of(load, MIRROR.format(target), "right.toml")
    assert fault.file == "right.toml"
    assert fault.key == "mirror_of"
    assert wrong in fault.wrong
    assert todo in fault.todo


@pytest.mark.parametrize(
    ("text", "key", "wrong"),
    [
        (PLAIN_MIRROR.replace('"design.toml"', "3 # HERE"), "mirror_of", "must be the name of a file"),
        (PLAIN_MIRROR.replace('"design.toml"', '"" # HERE'), "mirror_of", "must be the name of a file"),
        ('format = "hang/1"\nmirror_of = "design.toml"\n', "name", "key is missing"),
        (PLAIN_MIRROR + "mirror_y = 3 # HERE\n", "mirror_y", "is an unknown key"),
        (PLAIN_MIRROR + "mirror_y_ft = 9e9 # HERE\n", "mirror_y_ft", "lies outside the plausible range"),
        (PLAIN_MIRROR + "serves = ['stalls', 3] # HERE\n", "serves[2]", "must be a text"),
        (
            PLAIN_MIRROR + "serves = ['a', 'a'] # HERE\n",
            "serves[2]",
            "stands twice",
        ),
    ],
)
def test_mirror_file_at_fault(fault_of, load, text, key, wrong):
    Path("design.toml").write_text(HANG)
    fault = fault_of(load, text, "right.toml")
    assert fault.key == key
    assert wrong in fault.wrong


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("tilt_deg = 3 # HERE", "tilt_deg"),
        ('frame = "beam" # HERE', "frame"),
        ("position_m = [0.0, 6.0, 11.0] # HERE", "position_m"),
        ("[[group]] # HERE\nrows = [1]", "group"),
        ("[arm] # HERE\ntype = 'arm-large'", "arm"),
        (
            '[[column]] # HERE\nenclosure = "wide"\nsplay_deg = 0.0',
            "column",
        ),
    ],
)
def test_key_of_a_design_in_a_mirror_file(fault_of, load, line, key):
    Path("design.toml").write_text(HANG)
    fault = fault_of(load, f"{PLAIN_MIRROR}{line}\n", "right.toml")
    assert fault.key == key
    assert fault.todo == "remove it: a mirror image takes it from its design"


def test_faults_of_the_design_name_the_design(tmp_path, load):
    (tmp_path / "design.toml").write_text(changed("= 1.0", "= 1.5"))
    (tmp_path / "right.toml").write_text(MIRROR.format("design.toml"))
    with pytest.raises(FileFaults) as caught:
        load(str(tmp_path / "right.toml"))
    (fault,) = caught.value.faults
    assert (Path(fault.file).name, fault.key, fault.line) == ("design.toml", "column[2].splay_deg", 15)


@pytest.mark.parametrize("wrong_key", ["miror_of", "mirrorof", "mirror", "Mirror_of"])
def test_misspelt_mirror(faults_of, load, wrong_key):
    text = f'format = "hang/1"\nname = "right"\n{wrong_key} = "design.toml"\n'
    missing, unknown = faults_of(load, text)
    assert (missing.key, missing.line, missing.wrong) == ("mirror_of", None, "key is missing")
    assert (unknown.key, unknown.line, unknown.todo) == (wrong_key, 3, "did you mean mirror_of?")


@pytest.mark.parametrize("line", ["", "floor_below_m = 0.0\n", "loom_m = 3\n", "form = 3\n"])
def test_design_without_its_column_is_not_taken_for_a_mirror_image(faults_of, load, line):
    faults = faults_of(load, HANG.split("[[column]]")[0] + line)
    assert ("column", "key is missing") in [(fault.key, fault.wrong) for fault in faults]
    assert not any("mirror" in str(fault) for fault in faults)


# 1 kg per foot are 3.28 kg per metre, not the 0.3048 that a length of one foot is.
def test_mass_for_each_foot_is_no_key(tmp_path, load):
    (tmp_path / "a.toml").write_text(HANG + "[loom]\nkg_per_ft = 1.0\n")
    with pytest.raises(FileFaults) as raised:
        load(tmp_path / "a.toml")
    assert [(fault.key, fault.wrong) for fault in raised.value.faults] == [
        ("loom.kg_per_m", "key is missing"),
        ("loom.kg_per_ft", "is an unknown key"),
    ]
