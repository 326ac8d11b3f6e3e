"""Columns and groups at fault: equipment that is not known or does not mate, splays, rows."""

from __future__ import annotations

import pytest

from rigging.hang import load_hang

HEAD = 'format = "hang/1"\nname = "main"\nposition_m = [0.0, 6.0, 11.0]\ntilt_deg = -2.0\n'


@pytest.fixture
def load(equipment):
    return lambda file: load_hang(file, equipment)


def column(*rows: str, frame: str = '"beam"', groups: str = "") -> str:
    """Text of a hang; a row reads "wide 0"; ! after a word marks its line, or that of the row's header."""
    text = HEAD + f"frame = {frame}\n"
    for row in rows:
        name, splay, *more = row.split()
        kind = "adapter" if name.strip("!") in ("between", "betwen") else "enclosure"
        text += "\n[[column]]" + (" # HERE" if "!" in more else "")
        text += f'\n{kind} = "{name.strip("!")}"' + (" # HERE" if "!" in name else "")
        text += f"\nsplay_deg = {splay.strip('!')}" + (" # HERE" if "!" in splay else "") + "\n"
    return text + groups


def group(rows: str) -> str:
    return f"\n[[group]]\nrows = {rows}\n"


WIDE = "is no splay that the joint of wide and wide allows"
BEAM = "is no splay that the joint of beam and wide allows"


@pytest.mark.parametrize(
    ("text", "key", "wrong", "todo"),
    [
        (column("wide 0", frame='"beem" # HERE'), "frame", "is an unknown frame", "did you mean beam? known frames: "),
        (column("wide 0", frame='"qqqq" # HERE'), "frame", "is an unknown frame", "--equipment DIR adds your own"),
        (column("wide 0", frame='"wide" # HERE'), "frame", "enclosure, not a frame", "known frames: "),
        (column("wide 0", "wides! 1"), "column[2].enclosure", "is an unknown enclosure", "did you mean wide? known"),
        (column("wide 0", "qqqq! 1"), "column[2].enclosure", "is an unknown enclosure", "known enclosures: "),
        (column("wide 0", "beam! 1"), "column[2].enclosure", "is a frame, not a", "known enclosures: "),
        (column("wide 0", "wi! 1"), "column[2].enclosure", "is an unknown enclosure", "did you mean wide? known"),
        (column("wide 0", "betwen! 1", "slim 0"), "column[2].adapter", "unknown adapter", "did you mean between? kn"),
        (column("wide 0", "wide 0", "between 0 !"), "column[3]", "is an adapter with nothing below it", "or add one"),
        (column("wide 0", "slim! 1"), "column[2].enclosure", "does not mate with wide above", 'adapter = "between"'),
        (column("wide 0", "alien! 1"), "column[2].enclosure", "does not mate with wide above it", "no adapter"),
        (column("slim! 0", "slim 4"), "column[1].enclosure", "does not mate with beam above", 'adapter = "between"'),
        (column("wide 0", "between 0", "wide! 0"), "column[3].enclosure", "does not mate with between above it", ""),
        (column("wide 0", "wide 1.5!"), "column[2].splay_deg", WIDE, "allowed here: 0, 1, 2, 3, 5, 8"),
        (column("wide 3!", "wide 3"), "column[1].splay_deg", BEAM, "allowed here: 0, 1, 2, 3.5"),
        (column("wide 0", "wide 45.1!"), "column[2].splay_deg", "outside the plausible range 0 to 45 deg", "check"),
        (column("wide 0", "wide -1!"), "column[2].splay_deg", "outside the plausible range 0 to 45 deg", "check"),
        (column("wide 0", "wide inf!"), "column[2].splay_deg", "is not a finite number", "a number in deg"),
    ],
)  # fmt: skip
def test_equipment_of_a_row(fault_of, load, text, key, wrong, todo):
    fault = fault_of(load, text)
    assert fault.key == key
    assert wrong in fault.wrong
    assert todo in fault.todo


def test_what_does_not_mate_is_explained(fault_of, load):
    assert "(row 1 takes wide; this has slim on top)" in fault_of(load, column("wide 0", "slim! 0")).wrong
    assert "(the frame takes wide; this has slim on top)" in fault_of(load, column("slim! 0")).wrong


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        (column("wide 0", frame='"wide" # HERE'), "is an enclosure, not a frame"),
        (column("wide 0", frame='"between" # HERE'), "is an adapter, not a frame"),
        (column("wide 0", "beam! 1"), "is a frame, not an enclosure"),
    ],
)
def test_article_before_a_vowel(fault_of, load, text, wrong):
    assert fault_of(load, text).wrong == wrong


NEITHER = column("wide 0") + "[[column]] # HERE\nsplay_deg = 1.0\n"
BOTH = '[[column]] # HERE\nadapter = "between"\nenclosure = "wide"\nsplay_deg = 0.0\n'
LAST = '[[column]]\nenclosure = "slim"\nsplay_deg = 0.0\n'


@pytest.mark.parametrize(
    ("text", "key", "wrong", "todo"),
    [
        (NEITHER, "column[2]", "names no equipment", "either enclosure = ... or adapter = ..."),
        (column() + BOTH + LAST, "column[1]", "names both an enclosure and an adapter", "either enclosure = ... or"),
        (column() + BOTH, "column[1]", "names both an enclosure and", "either"),
        (
            column() + "[[column]] # HERE\nsplay_deg = 1.0\n",
            "column[1]",
            "names no equipment",
            "either",
        ),
        (NEITHER + "enclosure = 7", "column[2].enclosure", "must be a text", "quotes"),
        (column() + "column = [] # HERE\n", "column", "needs 1 or more entries", ""),
        (column() + "column = 3 # HERE\n", "column", "must be tables", "[[column]] once for each"),
        (column() + "[column] # HERE\nsplay_deg = 0\n", "column", "must be tables", "[[column]] once for each"),
        (column(), "column", "key is missing", "[[column]]"),
        (column("wide 0 !", *["wide 0"] * 64), "column", "has more than 64 entries", "give 64"),
        (column("wide nan!"), "column[1].splay_deg", "is not a finite", "number"),
        (column("wide true!"), "column[1].splay_deg", "must be a number", ""),
        (NEITHER, "column[2]", "names no equipment (got { splay_deg = 1.0 })", ""),
    ],
)
def test_row(fault_of, load, text, key, wrong, todo):
    if "enclosure = 7" in text:
        text = text.replace(" # HERE", "") + " # HERE\n"
    fault = fault_of(load, text)
    assert fault.key == key
    assert wrong in str(fault)
    assert todo in fault.todo


def test_example_of_a_missing_table_is_toml(fault_of, load):
    todo = fault_of(load, column()).todo
    assert todo.startswith("add [[column]]")
    assert "=" not in todo


@pytest.mark.parametrize("rows", [["between 0 !"], ["between 0 !", "between 0"]])
def test_column_of_adapters_alone(faults_of, load, rows):
    faults = faults_of(load, column(*rows))
    assert ("column", 7, "holds no enclosure") in [(fault.key, fault.line, fault.wrong) for fault in faults]


TWO = ("wide 0", "wide 1")
ADAPTED = ("wide 0", "between 0", "slim 0")


@pytest.mark.parametrize(
    ("rows", "groups", "key", "wrong", "todo"),
    [
        (TWO, group("[1, 3] # HERE"), "group[1].rows[2]", "is beyond the column's 2 rows", "from the top"),
        (TWO, group("[1, 2]") + group("[2] # HERE"), "group[2].rows[1]", "is in group[1] already", "in one group"),
        (TWO, group("[1, 2, 1] # HERE"), "group[1].rows[3]", "is in group[1] already", "in one group"),
        (TWO, group("[0, 2] # HERE"), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group("[-1, 2] # HERE"), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group("[1.0, 2] # HERE"), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group("[true, 2] # HERE"), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group('["1", 2] # HERE'), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group("[[1], 2] # HERE"), "group[1].rows[1]", "is not a row number", "starting at 1"),
        (TWO, group(f"[1, 1{'0' * 400}] # HERE"), "group[1].rows[2]", "is beyond the column's 2 rows", "from the top"),
        (TWO, group("[] # HERE"), "group[1].rows", "needs 1 or more entries", ""),
        (TWO, group("2 # HERE"), "group[1].rows", "must be a list", "[ ]"),
        (TWO, group("[1]\ngain_db = 21 # HERE"), "group[1].gain_db", "outside the plausible range -60 to 20 dB", ""),
        (ADAPTED, group("[1, 2, 3] # HERE"), "group[1].rows[2]", "is an adapter, which has no drive signal", "leave"),
        (TWO, group("[0] # HERE"), "group[1].rows[1]", "is not a row number", ""),
    ],
)  # fmt: skip
def test_group(fault_of, load, rows, groups, key, wrong, todo):
    fault = fault_of(load, column(*rows, groups=groups))
    assert fault.key == key
    assert wrong in fault.wrong
    assert todo in fault.todo
