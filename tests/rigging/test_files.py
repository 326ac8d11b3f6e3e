"""The generic reader: every fault of a file, its key, its cause, the next step."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from pydantic import Field

from rigging.faults import Fault, FileFaults, closest, nearest
from rigging.files import read, validate
from rigging.models import Flag, Model, Name, key, quantity

Length = Annotated[float, quantity(-10.0, 100.0, "m")]


class Inner(Model):
    """A table inside a table."""

    size_m: Length = key("size", "2.5")


class Part(Model):
    """One of several tables."""

    name: Name = key("what it is called", '"a"')
    size_m: Length = Field(1.0)
    inner: Inner | None = None


class Thing(Model):
    """A file with one key of every type."""

    format: Literal["thing/1"] = key("kind", '"thing/1"')
    name: Name = key("its name", '"one"')
    place_m: tuple[Length, Length, Length] = key("its place", "[1.0, 2.0, 3.0]")
    height_m: Length = Field(1.0)
    mass_kg: Annotated[float, quantity(0.0, 1000.0, "kg")] = Field(1.0)
    flag: Flag = Field(True)
    role: Literal["up", "down"] = "up"
    inner: Inner | None = None
    part: tuple[Part, ...] = ()


THING = """\
format = "thing/1"
name = "one"
place_m = [1.0, 2.0, 3.0]
"""
TOO_BIG = "1" + "0" * 400


def load(file: str) -> Thing:
    return validate(read(file, "thing/1"), Thing)


def test_sound_file_loads(tmp_path):
    (tmp_path / "a.toml").write_text(THING)
    assert load(str(tmp_path / "a.toml")).place_m == (1.0, 2.0, 3.0)


def test_form_of_a_message():
    assert str(Fault("a.toml", "b.c[2]", "is wrong", "mend it", "x", 7)) == (
        'a.toml:7: b.c[2]: is wrong (got "x"); mend it'
    )
    assert str(Fault("a.toml", "", "is wrong", "mend it")) == "a.toml: is wrong; mend it"


def test_message_of_all_faults_has_a_line_for_each(tmp_path):
    (tmp_path / "a.toml").write_text(THING + 'height_m = "x"\nheigt_m = 2\n')
    with pytest.raises(FileFaults) as caught:
        load(str(tmp_path / "a.toml"))
    assert len(str(caught.value).splitlines()) == 2


NUMBER = "must be a number in m"
FINITE = "is not a finite number"
RANGE = "outside the plausible range -10 to 100 m"


@pytest.mark.parametrize(
    ("value", "wrong", "todo"),
    [
        ('"3.0"', NUMBER, "without quotes"),
        ("true", NUMBER, "give the number"),
        ("[3.0]", NUMBER, "give the number"),
        ("{a = 1}", NUMBER, "give the number"),
        ("2026-11-25", NUMBER, "give the number"),
        ("07:30:00", NUMBER, "give the number"),
        ("2026-11-25T07:30:00Z", NUMBER, "give the number"),
        ("inf", FINITE, "give a number in m"),
        ("-inf", FINITE, "give a number in m"),
        ("nan", FINITE, "give a number in m"),
        ("1e400", FINITE, "give a number in m"),
        ("100.1", RANGE, "check the number and its unit"),
        ("-10.1", RANGE, "check the number and its unit"),
        ("1" + "0" * 300, RANGE, "check the number and its unit"),
        (TOO_BIG, RANGE, "check the number and its unit"),
        ("-" + TOO_BIG, RANGE, "check the number and its unit"),
        ("0x" + "F" * 5000, RANGE, "check the number and its unit"),
    ],
)
def test_number_at_fault(fault_of, value, wrong, todo):
    fault = fault_of(load, THING + f"\nheight_m = {value} # HERE\n")
    assert fault.key == "height_m"
    assert wrong in fault.wrong
    assert todo in fault.todo
    assert len(str(fault)) < 300


def test_least_and_greatest_number_are_allowed(tmp_path):
    (tmp_path / "a.toml").write_text(THING.replace("[1.0, 2.0, 3.0]", "[-10, 100, 1e-400]"))
    assert load(str(tmp_path / "a.toml")).place_m == (-10.0, 100.0, 0.0)


@pytest.mark.parametrize(
    ("line", "wrong", "todo"),
    [
        ("name = 3", "must be a text", "quotes"),
        ("name = true", "must be a text", "quotes"),
        ('name = ["a"]', "must be a text", "quotes"),
        ("name = 2026-11-25", "must be a text", "quotes"),
        ('name = ""', "1 to 80 printable characters", "short name"),
        ('name = "  "', "1 to 80 printable characters", "short name"),
        (f'name = "{"x" * 81}"', "1 to 80 printable characters", "short name"),
        (f'name = "{"x" * 1_000_000}"', "1 to 80 printable characters", "short name"),
        ('role = "sideways"', "is not one of the known words", "'up' or 'down'"),
        ("role = 3", "is not one of the known words", "'up' or 'down'"),
        ("flag = [true]", "must be true or false", "without quotes"),
        ("inner = 3", "must be a table", "[inner]"),
        ("inner = []", "must be a table", "[inner]"),
        ("part = 3", "must be tables", "[[part]] once for each"),
        ("part = {name = 'a'}", "must be tables", "[[part]] once for each"),
        ("place_m = 3.0", "must be a list", "[ ]"),
        ("place_m = {x = 1.0}", "must be a list", "[ ]"),
        ("place_m = [1.0, 2.0, 3.0, 4.0]", "has more than 3 entries", "give 3"),
        ("place_m = [1.0, 2.0]", "has too few entries", "give 3"),
        ("place_m = []", "has too few entries", "give 3"),
        ("place_m = [1.0]", "has too few entries", "give 3"),
        ("place_ft = [1.0]", "has too few entries", "give 3"),
        ("flag = 1", "must be true or false", "without quotes"),
        ('flag = "no"', "must be true or false", "without quotes"),
        ('flag = "perhaps"', "must be true or false", "without quotes"),
        (f"name = 0x{'F' * 5000}", "must be a text", "quotes"),
    ],
)
def test_value_of_another_type(fault_of, line, wrong, todo):
    name = line.split(" = ")[0]
    kept = [old for old in THING.splitlines() if not old.startswith(f"{name.replace('_ft', '_m')} =")]
    fault = fault_of(load, "\n".join([*kept, f"{line} # HERE", ""]))
    assert fault.key == name
    assert wrong in fault.wrong
    assert todo in fault.todo
    assert len(str(fault)) < 300


@pytest.mark.parametrize(
    ("entry", "key_path", "wrong"),
    [
        ('[1.0, "2", 3.0]', "place_m[2]", "must be a number in m"),
        ("[1.0, 2.0, true]", "place_m[3]", "must be a number in m"),
        ("[nan, 2.0, 3.0]", "place_m[1]", "is not a finite number"),
        ("[1.0, 2.0, 1100.0]", "place_m[3]", "lies outside the plausible range -10 to 100 m"),
        (f"[1.0, 2.0, {TOO_BIG}]", "place_m[3]", "lies outside the plausible range -10 to 100 m"),
    ],
)
def test_entry_of_a_list_at_fault(fault_of, entry, key_path, wrong):
    fault = fault_of(load, THING.replace("[1.0, 2.0, 3.0]", f"{entry} # HERE"))
    assert fault.key == key_path
    assert wrong in fault.wrong


def test_number_in_place_of_a_table_of_a_list(fault_of):
    fault = fault_of(load, THING + "part = [3] # HERE\n")
    assert fault.key == "part[1]"
    assert fault.wrong == "must be a table"
    assert "[[part]]" in fault.todo


def test_number_in_place_of_a_table_in_a_table(fault_of):
    fault = fault_of(load, THING + '[[part]]\nname = "a"\ninner = 3 # HERE\n')
    assert (fault.key, fault.wrong) == ("part[1].inner", "must be a table")
    assert "[part.inner]" in fault.todo


@pytest.mark.parametrize(
    ("text", "key_path", "todo"),
    [
        ("heigth_m = 1.0 # HERE\n", "heigth_m", "did you mean height_m?"),
        ("qqqq = 1.0 # HERE\n", "qqqq", "known keys: format, name, place_m, height_m"),
        ("[inner]\nsize_m = 1.0\nsize_mm = 2 # HERE\n", "inner.size_mm", "did you mean size_m?"),
        ('[[part]]\nname = "a"\n[[part]]\nname = "b"\nsize = 2 # HERE\n', "part[2].size", "did you mean size_m?"),
        ('[[part]]\nname = "a"\n[part.inner]\nsiz_m = 2 # HERE\nsize_m = 1\n', "part[1].inner.siz_m", "did you mean"),
        ("[innner] # HERE\nsize_m = 1.0\n", "innner", "did you mean inner?"),
        ("hei = 1.0 # HERE\n", "hei", "did you mean height_m?"),  # the beginning alone
        ('"высота" = 1.0 # HERE\n', "высота", "known keys"),
        ('"schräg °" = 1.0 # HERE\n', "schräg °", "known keys"),
    ],
)
def test_unknown_key(fault_of, text, key_path, todo):
    fault = fault_of(load, THING + text)
    assert (fault.key, fault.wrong) == (key_path, "is an unknown key")
    assert todo in fault.todo


ODD = [
    (r'"a\nb"', r"a\nb"),
    (r'"a\u0085b"', r"a\x85b"),
    (r'"a\u001b[31mb"', r"a\x1b[31mb"),
    (r'"a\rb"', r"a\rb"),
    (r'"a\u2028b"', r"a\u2028b"),
]


@pytest.mark.parametrize(("name", "shown"), [*ODD, ('""', '""')])
def test_unknown_key_of_odd_characters(fault_of, name, shown):
    fault = fault_of(load, THING + f"{name} = 1.0 # HERE\n")
    assert str(fault).startswith(f"file.toml:4: {shown}: is an unknown key (got 1.0); known keys: ")


@pytest.mark.parametrize(("value", "shown"), ODD)
def test_value_of_odd_characters(fault_of, value, shown):
    fault = fault_of(load, THING + f"role = {value} # HERE\n")
    assert str(fault).startswith(f'file.toml:4: role: is not one of the known words (got "{shown}"); ')


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("[true]", "[true]"),
        ("{a = 1, b = false}", "{ a = 1, b = false }"),
        ('[1, "b", [2.5]]', '[1, "b", [2.5]]'),
        ("2026-11-25", "2026-11-25"),
        (f"[{', '.join(['1'] * 90)}]", f"[{'1, ' * 18}1,..."),  # cut after 57 of its letters
        ("0x" + "F" * 5000, "something too large to print"),
    ],
)
def test_value_is_shown_as_it_stands(fault_of, value, shown):
    assert f"(got {shown})" in str(fault_of(load, THING.replace('"one"', f"{value} # HERE")))


@pytest.mark.parametrize("name", ["name", "place_m"])
def test_missing_key(fault_of, name):
    text = "\n".join(line for line in THING.splitlines() if not line.startswith(name))
    fault = fault_of(load, text)
    assert (fault.key, fault.line, fault.wrong) == (name, None, "key is missing")
    example = {"name": '"one"', "place_m": "[1.0, 2.0, 3.0]"}[name]
    assert fault.todo == f"add {name}: its {name.split('_')[0]}; for example {name} = {example}"


def test_missing_key_of_a_table_is_placed_at_its_header(fault_of):
    fault = fault_of(load, THING + '[[part]]\nname = "a"\n\n[[part]] # HERE\nsize_m = 2.0\n')
    assert (fault.key, fault.wrong) == ("part[2].name", "key is missing")
    assert fault.todo == 'add name: what it is called; for example name = "a"'


def test_all_faults_are_told_at_once(faults_of):
    text = """\
format = "thing/1"
name = 3
heigth_m = 1.0
place_m = [1.0, "b", nan]
flag = []
mass_kg = 1e9
[inner]
[[part]]
size_m = "x"
"""
    found = {(fault.key, fault.line, fault.wrong.split(" (")[0]) for fault in faults_of(load, text)}
    assert found == {
        ("name", 2, "must be a text"),
        ("heigth_m", 3, "is an unknown key"),
        ("place_m[2]", 4, "must be a number in m"),
        ("place_m[3]", 4, "is not a finite number"),
        ("flag", 5, "must be true or false"),
        ("mass_kg", 6, "lies outside the plausible range 0 to 1000 kg"),
        ("inner.size_m", 7, "key is missing"),
        ("part[1].name", 8, "key is missing"),
        ("part[1].size_m", 9, "must be a number in m"),
    }


@pytest.mark.parametrize(
    ("first", "wrong", "todo"),
    [
        ("", "key is missing", 'format = "thing/1"'),
        ('format = "venue/1" # HERE\n', "is another kind of file", 'format = "thing/1"'),
        ("format = 1 # HERE\n", "is another kind of file", 'format = "thing/1"'),
        ('format = ["thing/1"] # HERE\n', "is another kind of file", 'format = "thing/1"'),
        ('\n\nformat = "thing/2" # HERE\n', "is a version that this release does not know", "reads thing/1"),
        ('format = "thing/0" # HERE\n', "is a version that this release does not know", "reads thing/1"),
    ],
)
def test_format(fault_of, first, wrong, todo):
    fault = fault_of(load, first + THING.split("\n", 1)[1])
    assert fault.key == "format"
    assert wrong in fault.wrong
    assert todo in fault.todo


# Exact by the agreement of 1959 (published): 1 yd = 3 ft = 0.9144 m, 1 st = 14 lb = 6.35029318 kg.
def test_feet_and_pounds(tmp_path):
    (tmp_path / "a.toml").write_text(
        THING.replace("place_m = [1.0, 2.0, 3.0]", "place_ft = [3, -3.0, 300]") + "height_ft = 3\nmass_lb = 14\n"
    )
    thing = load(str(tmp_path / "a.toml"))
    assert thing.place_m == pytest.approx((0.9144, -0.9144, 91.44), rel=1e-15, abs=0)
    assert thing.height_m == pytest.approx(0.9144, rel=1e-15, abs=0)
    assert thing.mass_kg == pytest.approx(6.35029318, rel=1e-15, abs=0)


# exact: 100 m = 328.0839895… ft, 1000 kg = 2204.6226218… lb
@pytest.mark.parametrize(
    ("text", "name", "wrong"),
    [
        ("height_ft = 328.1", "height_ft", "lies outside the plausible range"),
        ("mass_lb = 2204.7", "mass_lb", "lies outside the plausible range"),
        ("height_ft = nan", "height_ft", "is not a finite number"),
        ('height_ft = "3"', "height_ft", "must be a number"),
        ("height_ft = true", "height_ft", "must be a number"),
        ("height_m = 1.0\nheight_ft = 3.0", "height_ft", "stands beside height_m"),
        ("height_ft = 3.0 # HERE\nheight_m = 1.0", "height_ft", "stands beside height_m"),
        ("flag_ft = 3.0", "flag_ft", "is an unknown key"),
        (
            f"height_ft = {TOO_BIG}",
            "height_ft",
            "lies outside the plausible range",
        ),
    ],
)
def test_feet_or_pounds_at_fault(fault_of, text, name, wrong):
    fault = fault_of(load, THING + text + ("\n" if "HERE" in text else " # HERE\n"))
    assert fault.key == name
    assert wrong in fault.wrong


# exact: an inch is 25.4 mm (agreement of 1959); 32 ft 6 in = 390 in = 9.906 m
@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        ("32' 6\"", 9.906),
        ("32 ft 6 in", 9.906),
        ("32'6\"", 9.906),
        ("32' 6''", 9.906),
        ("32′ 6″", 9.906),
        ("32'-6\"", 9.906),
        ("30 ft", 9.144),
        ('9"', 0.2286),
        ("-1' 3 1/2\"", -0.3937),
        ("1' 0.5\"", 0.3175),
        ('1/2"', 0.0127),
        ("10' 1/4\"", 3.05435),
        ("2.5 ft", 0.762),
    ],
)
def test_feet_and_inches(tmp_path, typed, metres):
    typed = f"'''{typed}'''"
    (tmp_path / "a.toml").write_text(
        THING.replace("place_m = [1.0, 2.0, 3.0]", f"place_ft = [1, {typed}, 3]") + f"height_ft = {typed}\n"
    )
    thing = load(str(tmp_path / "a.toml"))
    assert thing.height_m == pytest.approx(metres, rel=1e-14, abs=0)
    assert thing.place_m == pytest.approx((0.3048, metres, 0.9144), rel=1e-14, abs=0)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "32",
        "32 6",
        "32' 12\"",
        "32.5' 6\"",
        "6\" 32'",
        "32 m",
        "3' 1/0\"",
        "3' 5/4\"",
        "- '",
        "1e3 ft",
        "٣ ft",
        "32' six\"",
        "'",
    ],
)
def test_texts_that_are_no_feet_and_inches(fault_of, typed):
    fault = fault_of(load, THING + f"height_ft = '''{typed}''' # HERE\n")
    assert fault.key == "height_ft"
    assert fault.wrong == "must be a number in ft"
    assert fault.todo == 'give the number without quotes or unit, or as "32 ft 6 in"'


def test_a_text_in_a_list_of_feet_is_refused_by_its_place(fault_of):
    fault = fault_of(load, THING.replace("place_m = [1.0, 2.0, 3.0]", "place_ft = [1, 'x', 3] # HERE"))
    assert fault.key == "place_ft[2]"
    assert "number in ft" in fault.wrong


@pytest.mark.parametrize(("text", "unit"), [("height_ft = 328.0", "m"), ("mass_lb = 2204.6", "kg")])
def test_feet_and_pounds_up_to_the_limit(tmp_path, text, unit):
    (tmp_path / "a.toml").write_text(THING + text)
    thing = load(str(tmp_path / "a.toml"))
    assert {"m": thing.height_m > 99.97, "kg": thing.mass_kg > 999.98}[unit]


# exact: 3609 ft = 1100.0232 m, 400 ft = 121.92 m, 4410 lb = 2000.3423517 kg; six digits are shown
@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("height_ft = 3609", "range -10 to 100 m (got 3609 ft = 1100.02 m); check the number and its unit"),
        ("height_ft = 400.0", "range -10 to 100 m (got 400.0 ft = 121.92 m); check the number and its unit"),
        ("mass_lb = 4410", "range 0 to 1000 kg (got 4410 lb = 2000.34 kg); check the number and its unit"),
        (
            'height_ft = "x"',
            'height_ft: must be a number in ft (got "x"); give the number without quotes or unit, or as "32 ft 6 in"',
        ),
        (
            'height_ft = "400 ft 6 in"',
            "range -10 to 100 m (got 400 ft 6 in = 122.072 m); check the number and its unit",
        ),
        ('mass_lb = "3 ft"', 'mass_lb: must be a number in lb (got "3 ft"); give the number without quotes or unit'),
        ("mass_lb = nan", "mass_lb: is not a finite number (got nan lb = nan kg); give a number in lb"),
    ],
)
def test_feet_and_pounds_are_told_their_own_unit_and_what_it_comes_to(fault_of, text, shown):
    assert shown in str(fault_of(load, THING + f"{text} # HERE\n"))


def test_entry_of_a_list_in_feet_is_told_what_it_comes_to(fault_of):
    fault = fault_of(load, THING.replace("place_m = [1.0, 2.0, 3.0]", "place_ft = [0, 20, 3609] # HERE"))
    assert fault.key == "place_ft[3]"
    assert "(got 3609 ft = 1100.02 m)" in str(fault)


@pytest.mark.parametrize("name", ["q", "name"])
def test_deeply_nested_table(fault_of, name):
    text = THING.replace('name = "one"\n', "") if name == "name" else THING
    fault = fault_of(load, text + f"{name}{'.a' * 25} = 1 # HERE\n")
    assert fault.key == name
    assert "(got { a = { a = { a = " in str(fault)
    fault = fault_of(load, text + f"{name}{'.a' * 2000} = 1 # HERE\n")
    assert (fault.key, fault.wrong) == ("", "is no valid TOML: nested too deeply")


def test_deeply_nested_table_in_a_table(faults_of):
    missing, unknown = faults_of(load, THING + f"inner.q{'.a' * 25} = 1\n")
    assert (missing.key, missing.wrong, missing.line) == ("inner.size_m", "key is missing", None)
    assert (unknown.key, unknown.wrong, unknown.line) == ("inner.q", "is an unknown key", 4)


@pytest.mark.parametrize(
    ("word", "close"),
    [
        ("tilt", "tilt_deg"),  # by its letters
        ("spaly_deg", "splay_deg"),
        ("pos", "position_m"),  # by its beginning: too short for its letters to be alike
        ("po", None),  # too short to say anything
        ("osition", "position_m"),
        ("qqqq", None),
    ],
)
def test_nearest_known_word(word, close):
    assert closest(word, ["name", "tilt_deg", "position_m", "splay_deg"]) == close


def test_all_known_words_are_told_with_the_nearest():
    assert nearest("ab", ["b", "abc"], what="words") == "did you mean abc? known words: abc, b"
    assert nearest("zz", ["b", "abc"], what="words") == "known words: abc, b"
    assert nearest("zz", []) == "known: none"
