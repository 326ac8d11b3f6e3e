"""Equipment files at fault, and folders of them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from rigging.equipment import KINDS, load_catalogue
from rigging.faults import FileFaults
from rigging.files import read, validate

WIDE = {"wide": [0.0, 1.0, 2.0]}


def load(file: str) -> object:
    document = read(file, *KINDS)
    return validate(document, KINDS[document.data["format"]])


@pytest.fixture
def texts(frame_text, enclosure_text, adapter_text) -> dict[str, str]:
    return {
        "frame": frame_text("mine", WIDE),
        "enclosure": enclosure_text("mine", "wide", WIDE),
        "adapter": adapter_text("mine", "wide", WIDE),
    }


def test_sound_files_load(tmp_path, texts):
    for kind, text in texts.items():
        (tmp_path / "a.toml").write_text(text)
        item = load(str(tmp_path / "a.toml"))
        assert kind == item.KIND


CENTRE = "centre_of_mass_m = [-0.25, 0.0, 0.05]"
BOX_CENTRE = "centre_of_mass_m = [-0.22, 0.0, -0.125]"
POINT = '[acoustic]\nmodel = "point"\n'


def replaced(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("kind", "old", "new", "key", "todo"),
    [
        ("frame", "height_m", "heigt_m = 1 # HERE\nheight_m", "heigt_m", "did you mean height_m?"),
        ("frame", "fitting", "splay_deg = [1.0] # HERE\nfitting", "below[1].splay_deg", "did you mean splays_deg?"),
        ("enclosure", "[acoustic]", "[qqqq] # HERE\n[acoustic]", "qqqq", "known keys: "),
        ("adapter", "[[below]]", "[[bellow]] # HERE\n[[below]]", "bellow", "did you mean below?"),
        ("frame", "splays", "x = 1 # HERE\nsplays", "below[1].x", "known keys: fitting, splays_deg"),
    ],
)
def test_unknown_key(fault_of, texts, kind, old, new, key, todo):
    fault = fault_of(load, replaced(texts[kind], old, new))
    assert (fault.key, fault.wrong) == (key, "is an unknown key")
    assert todo in fault.todo


@pytest.mark.parametrize(
    ("kind", "old", "new", "key"),
    [
        ("frame", "width_m = 1.0\n", "", "width_m"),
        ("frame", "below]]\nfitting = 'wide'".replace("'", '"'), "below]] # HERE", "below[1].fitting"),
        ("enclosure", "reference_m = [0, 0, -0.125]\n", "", "reference_m"),
        ("adapter", 'top_fitting = "wide"\n', "", "top_fitting"),
        ("adapter", "lower_pivot_ahead_m = 0.0\n", "", "lower_pivot_ahead_m"),
    ],
)
def test_missing_key(fault_of, texts, kind, old, new, key):
    fault = fault_of(load, replaced(texts[kind], old, new))
    assert (fault.key, fault.wrong) == (key, "key is missing")
    name = key.split(".")[-1]
    assert fault.todo.startswith(f"add {name}: ")
    assert f"; for example {name} = " in fault.todo


@pytest.mark.parametrize(
    ("kind", "old", "header"),
    [
        ("enclosure", POINT, "[acoustic]"),
        ("frame", '[[below]]\nfitting = "wide"\nsplays_deg = [0.0, 1.0, 2.0]', "[[below]]"),
    ],
)
def test_missing_table(fault_of, texts, kind, old, header):
    fault = fault_of(load, replaced(texts[kind], old, ""))
    assert (fault.key, fault.wrong, fault.line) == (header.strip("[]"), "key is missing", None)
    assert fault.todo.startswith(f"add {header}")


@pytest.mark.parametrize(
    ("kind", "old", "new", "key", "wrong"),
    [
        ("frame", "kg = 30.0", 'kg = "30"', "mass_kg", "must be a number in kg"),
        ("frame", "kg = 30.0", "kg = 2001", "mass_kg", "outside the plausible range 0.01 to 2000 kg"),
        ("frame", "kg = 30.0", "kg = 0.0", "mass_kg", "outside the plausible range 0.01 to 2000 kg"),
        ("frame", "mass_kg = 30.0", "mass_lb = 4410", "mass_lb", "outside the plausible range"),
        ("frame", "kg = 30.0", "kg = 30\nmass_lb = 66", "mass_lb", "stands beside mass_kg"),
        ("frame", CENTRE, "centre_of_mass_m = [-0.25, 0.0]", "centre_of_mass_m", "has too few entries"),
        ("frame", CENTRE, "centre_of_mass_m = [-0.25, 0.0, -0.01]", "centre_of_mass_m", "lies outside the item"),
        ("frame", CENTRE, "centre_of_mass_m = [0.11, 0.0, 0.05]", "centre_of_mass_m", "lies outside the item"),
        ("enclosure", BOX_CENTRE, "centre_of_mass_m = [-0.2, 0.51, -0.1]", "centre_of_mass_m", "lies outside the item"),
        ("enclosure", BOX_CENTRE, "centre_of_mass_m = [-0.2, 0.0, 0.1]", "centre_of_mass_m", "lies outside the item"),
        ("enclosure", "back_m = 0.45", "back_m = 0.51", "rear_hole_back_m", "lies behind the rear face"),
        ("frame", 'pivot = "front"', 'pivot = "rear"', "pivot", "a kind of joint that the statics does not cover"),
        ("frame", 'pivot = "front"', "pivot = 1", "pivot", "a kind of joint that the statics does not cover"),
        ("frame", "[0.0, 1.0, 2.0]", "[0.0, 2.0, 1.0]", "below[1].splays_deg", "must rise"),
        ("frame", "[0.0, 1.0, 2.0]", "[0.0, 1.0, 1.0]", "below[1].splays_deg", "must rise"),
        ("frame", "[0.0, 1.0, 2.0]", "[0.0, nan]", "below[1].splays_deg[2]", "is not a finite number"),
        ("frame", "[0.0, 1.0, 2.0]", "[]", "below[1].splays_deg", "needs 1 or more entries"),
        ("frame", "[[below]]", "[below]", "below", "must be tables"),
        ("enclosure", POINT, "[[acoustic]]", "acoustic", "must be a table"),
        ("enclosure", '"enclosure/1"', '"frame/2"', "format", "is a version that this release does not know"),
        ("enclosure", '"enclosure/1"', '"venue/1"', "format", "is another kind of file"),
        ("frame", CENTRE, CENTRE.replace("-0.25", "nan"), "centre_of_mass_m[1]", "is not a finite"),
        ("frame", "back_m = 0.45", "back_m = inf", "rear_hole_back_m", "is not a finite number"),
        ("frame", "_kg = 30.0", f"_kg = 1{'0' * 400}", "mass_kg", "range"),
        ("frame", "front_m = 0.1", f"front_m = 1{'0' * 400}", "front_m", "range"),
    ],
)  # fmt: skip
def test_value_at_fault(fault_of, texts, kind, old, new, key, wrong):
    fault = fault_of(load, replaced(texts[kind], old, f"{new} # HERE"))
    assert fault.key == key
    assert wrong in fault.wrong
    assert fault.todo


def test_limits_that_are_no_tables(fault_of, texts):
    fault = fault_of(load, texts["frame"] + '\n[rated]\nsource = "invented"\nbelow = 3 # HERE\n')
    assert fault.key == "rated.below"
    assert "[[rated.below]]" in fault.todo


# exact: 3 ft = 0.9144 m, ahead of a face at 0.0 m
@pytest.mark.parametrize(
    ("old", "new"),
    [
        (BOX_CENTRE, "centre_of_mass_ft = [3.0, 0.0, -0.4]"),
        (BOX_CENTRE + "\nwidth_m = 1.0", "centre_of_mass_m = [3.0, 0.0, -0.1]\nwidth_ft = 3.3"),
    ],
)
def test_centre_of_mass_outside_an_item_in_feet(fault_of, texts, old, new):
    fault = fault_of(load, replaced(texts["enclosure"], old, new))
    assert fault.key == new.split(" = ")[0]
    assert fault.line == 6
    assert "lies outside the item (x -0.5 to 0, y ±" in fault.wrong


@pytest.mark.parametrize("kind", ["frame", "enclosure", "adapter"])
def test_fitting_that_stands_twice(fault_of, texts, kind):
    again = '[[below]]\nfitting = "wide"{}\nsplays_deg = [9.0]\n\n'
    text = replaced(texts[kind], "[[below]]", again.format("") + "[[below]]").replace(
        '"wide"\nsplays_deg = [0', '"wide" # HERE\nsplays_deg = [0'
    )
    fault = fault_of(load, text)
    assert fault.key == "below[2].fitting"
    assert fault.wrong == "is the fitting of below[1] too"
    assert fault.todo == "list all its splays in one [[below]]"


def test_fitting_that_stands_three_times(faults_of, texts):
    faults = faults_of(load, texts["frame"] + '\n[[below]]\nfitting = "wide"\nsplays_deg = [9.0]\n' * 2)
    assert [(fault.key, fault.wrong) for fault in faults] == [
        ("below[2].fitting", "is the fitting of below[1] too"),
        ("below[3].fitting", "is the fitting of below[1] too"),
    ]


def test_hole_after_one_that_is_no_table(faults_of, texts):
    holes = 'hole = [1, { name = "1", position_m = [5.0, 0.0, 0.1] }]\n'
    faults = faults_of(load, replaced(texts["frame"], "\n[[below]]", f"{holes}\n[[below]]"))
    assert [(fault.key, fault.wrong.split(" (")[0]) for fault in faults] == [
        ("hole[1]", "must be a table"),
        ("hole[2].position_m", "lies beyond the frame"),
    ]


def test_bounds_of_an_item_are_told(fault_of, texts):
    fault = fault_of(load, texts["frame"].replace(CENTRE, "centre_of_mass_m = [0.2, 0.0, 0.05]"))
    assert "x -0.8 to 0.1, y ±0.5, z 0 to 0.1 m" in fault.wrong


def test_pounds_of_an_item(tmp_path, texts):
    (tmp_path / "a.toml").write_text(texts["frame"].replace("mass_kg = 30.0", "mass_lb = 14"))
    # published: 1 st = 14 lb = 6.35029318 kg, exact since 1959
    assert load(str(tmp_path / "a.toml")).mass_kg == pytest.approx(6.35029318, rel=1e-15, abs=0)


def _faults(*folders: object) -> list:
    with pytest.raises(FileFaults) as caught:
        load_catalogue(folders)
    return list(caught.value.faults)


def test_folder_that_is_none(tmp_path):
    (tmp_path / "file.toml").write_text("x")
    for folder in (tmp_path / "missing", tmp_path / "file.toml", Path(os.devnull)):
        (fault,) = _faults(folder)
        assert (fault.file, fault.key) == (str(folder), "")
        reason = "No such file or directory" if folder.name == "missing" else "Not a directory"
        assert fault.wrong == f"cannot be read as a folder of equipment files ({reason})"
        assert "--equipment" in fault.todo


def test_folder_with_too_long_a_name(tmp_path):
    (fault,) = _faults(tmp_path / ("x" * 300))
    assert fault.file == str(tmp_path / ("x" * 300))
    assert fault.wrong == "cannot be read as a folder of equipment files (File name too long)"


def test_faults_of_all_files_are_told_at_once(tmp_path, texts):
    (tmp_path / "a.toml").write_text("= 1")
    (tmp_path / "b.toml").write_text("")
    (tmp_path / "c.toml").mkdir()
    (tmp_path / "d.toml").write_text(texts["frame"].replace("depth_m", "depht_m"))
    (tmp_path / "e.toml").write_text('format = "hang/1"\n')
    (tmp_path / "ignored.txt").write_text("= 1")
    faults = [(Path(fault.file).name, fault.key, fault.line) for fault in _faults(tmp_path, tmp_path / "missing")]
    assert faults == [
        ("a.toml", "", 1),
        ("b.toml", "", None),
        ("c.toml", "", None),
        ("d.toml", "depth_m", None),
        ("d.toml", "depht_m", 9),
        ("e.toml", "format", 1),
        ("missing", "", None),
    ]


@pytest.mark.parametrize("name", ["large", "frame-large"])
def test_name_of_a_packaged_item(tmp_path, texts, name):
    (tmp_path / "a.toml").write_text(texts["frame"].replace('"mine"', f'"{name}"'))
    (fault,) = _faults(tmp_path)
    assert (Path(fault.file).name, fault.key, fault.line, fault.value) == ("a.toml", "name", 2, name)
    assert f"{name}.toml too" in fault.wrong
    assert "another name" in fault.todo


def test_name_of_an_item_of_another_folder(tmp_path, texts):
    for folder, kind in (("one", "frame"), ("two", "adapter")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.toml").write_text(texts[kind])
    (fault,) = _faults(tmp_path / "one", tmp_path / "two")
    assert fault.file == str(tmp_path / "two" / "a.toml")
    assert (fault.key, fault.line) == ("name", 2)
    assert str(tmp_path / "one" / "a.toml") in fault.wrong


def test_names_that_differ_in_case_are_two(tmp_path, texts):
    (tmp_path / "a.toml").write_text(texts["frame"])
    (tmp_path / "b.toml").write_text(texts["frame"].replace('"mine"', '"Mine"'))
    assert {"mine", "Mine"} <= set(load_catalogue([tmp_path]).items)


def test_own_equipment_is_added(tmp_path, texts):
    (tmp_path / "a.toml").write_text(texts["adapter"])
    assert {"mine", "large", "frame-large"} <= set(load_catalogue([tmp_path]).items)
