"""The acoustic part of enclosure files at fault, and areas that a hang serves, as the command line tells them."""

from __future__ import annotations

from pathlib import Path

import pytest

from acoustics.directivity import load_directivity
from rigging.equipment import Enclosure
from rigging.faults import FileFaults
from rigging.files import read, validate

PACKAGED = Path(__file__).resolve().parents[2] / "rigging" / "catalogue" / "medium.toml"


@pytest.fixture(scope="module")
def own() -> str:
    """Text of an enclosure that fits below its like and, by the name of its fitting, below the packaged frame."""
    return PACKAGED.read_text().split("[acoustic]")[0].replace('name = "medium"', 'name = "own"')


ACOUSTIC = """\
[acoustic]
model = "radiators"
rear_db = -20.0
level_band_hz = [125, 160, 200]
level_1m_db = [100.0, 101.0, 102.0]

[[acoustic.radiator]]
name = "low"
shape = "circle"
diameter_m = 0.2
places_m = [[0.0, 0.0, -0.1]]
to_hz = 800.0

[[acoustic.radiator]]
name = "high"
shape = "slot"
height_m = 0.2
coverage_deg = 90.0
places_m = [[0.0, 0.0, -0.1]]
from_hz = 800.0
"""
LEVELS = "level_1m_db = [100.0, 101.0, 102.0]"
TO = "to_hz = 800.0"
PLACES = "[[0.0, 0.0, -0.1]]"  # those of the first radiator, where they are replaced


@pytest.fixture
def acoustic_faults(faults_of, hang, own):
    """Faults of a prediction with an enclosure of this acoustic part: key, line of the acoustic part, wrong, todo."""

    def find(acoustic: str) -> list[tuple[str, int | None, str, str]]:
        faults = faults_of(
            "--equipment", "equipment", hang=hang.replace('"medium"', '"own"'), equipment__own=own + acoustic
        )
        assert {fault["file"] for fault in faults} == {"equipment/own.toml"}
        assert all(fault["key"].startswith("acoustic.") for fault in faults)
        before = own.count("\n")
        lines = [fault["line"] and int(fault["line"]) - before for fault in faults]
        return [
            (fault["key"].removeprefix("acoustic."), line, fault["wrong"], fault["todo"])
            for fault, line in zip(faults, lines, strict=True)
        ]

    return find


def replaced(old: str, new: str, text: str = ACOUSTIC) -> str:
    assert old in text
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("acoustic", "key", "line", "wrong", "todo"),
    [
        (replaced('"radiators"', '"radiator"'), "model", 2,
            "is not one of the known", "'point', 'radiators' or 'measured'"),
        (replaced('model = "radiators"\n', ""), "model", 1, "key is missing", 'model = "radiators"'),
        ("[acoustic]\n", "model", 1, "key is missing", 'model = "radiators"'),
        (replaced("rear_db = -20.0\n", ""), "rear_db", 1, "key is missing", 'model = "radiators" needs it'),
        (replaced("-20.0", "0.1"), "rear_db", 3, "plausible range -60 to 0 dB (got 0.1)", "its unit"),
        (replaced("-20.0", "-20.0\nrear = 3"), "rear", 4, "is an unknown key", "did you mean rear_db?"),
        (replaced("[125,", "[126,"), "level_band_hz[1]", 4, "is no third-octave band", "nominal third octaves"),
        (replaced("[125,", "[[125],"), "level_band_hz[1]", 4,
            "must be a number in Hz", ""),
        (replaced("[125,", '["125",'), "level_band_hz[1]", 4, "must be a number in Hz", "quotes"),
        (replaced("[125,", "[true,"), "level_band_hz[1]", 4, "must be a number in Hz", ""),
        (replaced("200]", "315]"), "level_band_hz", 4, "leaves out 200, 250 Hz between", "give every third octave"),
        (replaced("200]", "160]"), "level_band_hz[3]", 4, "stands twice", "each band once"),
        (replaced("[125, 160,", "[160,"), "level_1m_db", 5, "has 3 entries for 2 bands", "one level for each band"),
        (replaced(LEVELS, "level_1m_db = [\n  1.0,\n]").replace("1.0", "100.0"), "level_1m_db", 5, "has 1 entries", ""),
        (replaced("101.0", "1010"), "level_1m_db[2]", 5, "plausible range 40 to 150 dB", "its unit"),
        (replaced("100.0, 101.0,", "\n100.0,\n1010,\n"), "level_1m_db[2]", 7, "range 40 to 150 dB", "its unit"),
        (replaced("101.0", '"101"'), "level_1m_db[2]", 5, "must be a number in dB", "without quotes"),
        (replaced(f"{LEVELS}\n", ""), "level_1m_db", 1, "key is missing", "needs it"),
        (replaced('"slot"', '"slit"'), "radiator[2].shape", 16, "is not one of the known", "'circle', 'rect"),
        (replaced("diameter_m", "diameter = 3\ndiameter_m"), "radiator[1].diameter", 10, "unknown key", "diameter_m?"),
        (replaced("diameter_m = 0.2\n", ""), "radiator[1].diameter_m", 7, "key is missing", "a circle needs it"),
        (replaced("diameter_m = 0.2", "diameter_ft = 30"), "radiator[1].diameter_ft", 10, "30 ft = 9.144 m", "unit"),
        (replaced("coverage_deg = 90.0\n", ""), "radiator[2].coverage_deg", 14, "key is missing", "a slot needs it"),
        (replaced("height_m", "diameter_m = 0.2\nheight_m"), "radiator[2].diameter_m", 17, "no meaning for a slot", ""),
        (replaced("90.0", "181"), "radiator[2].coverage_deg", 18, "range 10 to 180 deg", "its unit"),
        (replaced(TO, "to_hz = 0.8"), "radiator[1].to_hz", 12, "range 10 to 30000 Hz", "its unit"),
        (replaced(TO, "to_hz = 80\nfrom_hz = 90"), "radiator[1].to_hz", 12, "is not above from_hz = 90", "order"),
        (replaced("from_hz", "to_hz = 800\nfrom_hz"), "radiator[2].to_hz", 20, "is not above from_hz = 800.0", "order"),
        (replaced(TO, "to_hz = true\nfrom_hz = 900.0"), "radiator[1].to_hz", 12, "must be a number in Hz", ""),
        (replaced(TO, f"from_hz = 1{'0' * 400}"), "radiator[1].from_hz", 12, "range 10 to 30000 Hz", "unit"),
        (replaced("800.0", "900\nfrom_hz = 1e6"), "radiator[1].from_hz", 13,
            "range 10 to 30000 Hz", "unit"),
        (replaced(PLACES, "[[0.0, 0.0]]"), "radiator[1].places_m[1]", 11, "has too few entries", "give 3"),
        (replaced("-0.1]]", "-0.1], [0.0, 0.0]]"), "radiator[1].places_m[2]", 11, "has too few entries", "give 3"),
        (replaced(PLACES, "[[0.0, 0.0, nan]]"), "radiator[1].places_m[1][3]", 11, "is not a finite number", "in m"),
        (replaced(PLACES, "[]"), "radiator[1].places_m", 11, "needs 1 or more entries", "add what is missing"),
        (ACOUSTIC.split("[[")[0] + "radiator = []\n", "radiator", 7, "is empty", 'model = "radiators" needs it'),
        (ACOUSTIC.split("[[")[0], "radiator", 1, "key is missing", 'model = "radiators" needs it'),
        (ACOUSTIC.split("[[")[0] + "radiator = 3\n", "radiator", 7, "must be tables", "radiator]] once for each"),
        (ACOUSTIC.split("[[")[0] + "radiator = 3\n", "radiator", 7,
            "must be tables", "[[acoustic.radiator]]"),
        ('[acoustic]\nmodel = "point"\nrear_db = -20.0\n', "rear_db", 3,
            'has no meaning for model = "point"', "remove it"),
    ],
)  # fmt: skip
def test_acoustic_part_at_fault(acoustic_faults, acoustic, key, line, wrong, todo):
    """Lines are those of the acoustic part, counted by hand; a missing key stands at the header of its table."""
    faults = acoustic_faults(acoustic)
    assert [fault[:2] for fault in faults] == [(key, line)]
    assert wrong in faults[0][2]
    assert todo in faults[0][3]


def test_all_acoustic_faults_are_told_at_once(acoustic_faults):
    text = replaced("-20.0", "20.0").replace("[125,", "[126,").replace('"slot"', '"slit"')
    text = text.replace("diameter_m = 0.2", "diameter_m = 9.0").replace("places_m", "place_m")
    assert sorted(fault[:2] for fault in acoustic_faults(text)) == [
        ("level_band_hz[1]", 4),
        ("radiator[1].diameter_m", 10),
        ("radiator[1].place_m", 11),
        ("radiator[1].places_m", 7),
        ("radiator[2].place_m", 19),
        ("radiator[2].places_m", 14),
        ("radiator[2].shape", 16),
        ("rear_db", 3),
    ]


def loaded(path: Path):
    document = read(path, "enclosure/1")
    return load_directivity(validate(document, Enclosure), document.file, 343.2)


@pytest.mark.parametrize("name", ["large", "medium", "compact"])
def test_every_acoustic_key_of_the_packaged_enclosures_is_found_at_its_line(tmp_path, name):
    """All values from [acoustic] on are spoilt at once; each must be told, at its own line and nowhere else."""
    before, acoustic = (PACKAGED.parent / f"{name}.toml").read_text().split("[acoustic]\n")
    lines = [*before.splitlines(), "[acoustic]"]
    names = {}
    for line in acoustic.splitlines():
        if " = " in line:
            names[len(lines) + 1] = line.split(" = ")[0]
            lines.append(f"{line.split(' = ')[0]} = true")
        elif not line or line[0] in "[#":  # what else there is goes on with a list
            lines.append(line)
    assert len(names) > 12
    (tmp_path / "a.toml").write_text("\n".join(lines))
    with pytest.raises(FileFaults) as caught:
        loaded(tmp_path / "a.toml")
    assert {fault.line: fault.key.split(".")[-1] for fault in caught.value.faults} == names


@pytest.mark.parametrize(
    ("old", "new"), [("diameter_m = 0.2", "diameter_ft = 0.6"), ("height_m = 0.2", "height_ft = 0.6")]
)
def test_length_in_feet(tmp_path, own, old, new):
    (tmp_path / "a.toml").write_text(own + replaced(old, new))
    circle, slot = loaded(tmp_path / "a.toml").radiators
    # exact: 0.6 ft = 0.18288 m
    length = circle.width_m if "diameter" in new else slot.height_m
    assert length == pytest.approx(0.18288, rel=1e-15, abs=0)


@pytest.mark.parametrize(("rear_db", "behind"), [("0.0", 1.0), ("0", 1.0), ("-0.0", 1.0), ("-20.0", 0.1)])
def test_level_behind_may_be_that_in_front(tmp_path, own, rear_db, behind):
    """Behind a circle about the reference point, far above where the cabinet is small; exact at 0 dB."""
    circle = ACOUSTIC.split('\n[[acoustic.radiator]]\nname = "high"')[0].replace("-0.1]]", "-0.14]]")
    (tmp_path / "a.toml").write_text(own + circle.replace("-20.0", rear_db).replace("to_hz = 800.0\n", ""))
    pressure = loaded(tmp_path / "a.toml").at([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]], 1e6)
    # at 1 MHz the share that a small cabinet lets through is 1/(1 + (kw/2)²) = 2e-8
    assert abs(pressure) == pytest.approx([1.0, behind], rel=1e-6, abs=0)


@pytest.mark.parametrize(
    ("serves", "key", "wrong", "todo"),
    [
        ('["stals"]', "serves[1]", "is no audience area of venue.toml", "did you mean stalls? known: balcony, stalls"),
        ('["stalls", "circle"]', "serves[2]", "is no audience area of venue.toml", "known: balcony, stalls"),
        ('["lawn"]', "serves[1]", "is no audience area of venue.toml", "known: balcony, stalls"),  # it is to be quiet
        ("[]", "serves", "names no area", "remove the key"),
    ],
)
def test_served_area_at_fault(fault_of, hang, venue, serves, key, wrong, todo):
    lawn = '\n[[area]]\nname = "lawn"\nrole = "quiet"\noutline_m = [[50,0,0], [60,0,0], [60,5,0]]\n'
    fault = fault_of(hang=hang.replace("tilt_deg", f"serves = {serves}\ntilt_deg"), venue=venue + lawn)
    assert (fault["file"], fault["key"]) == ("hang.toml", key)
    assert fault["line"] in (None, "5")  # a hang keeps no lines
    assert wrong in fault["wrong"]
    assert todo in fault["todo"]


def test_served_area_of_a_mirror_image(files, fault_of, hang):
    (files / "left.toml").write_text(hang.replace("tilt_deg", 'serves = ["stals"]\ntilt_deg'))
    fault = fault_of(hang='format = "hang/1"\nname = "right"\nmirror_of = "left.toml"\n')
    assert (fault["file"], fault["key"]) == ("left.toml", "serves[1]")


def test_served_areas_and_acoustic_part_are_told_at_once(faults_of, hang, own):
    text = hang.replace('"medium"', '"own"').replace("tilt_deg", 'serves = ["stals"]\ntilt_deg')
    acoustic = replaced("-20.0", "20.0")
    faults = faults_of("--equipment", "equipment", hang=text, equipment__own=own + acoustic)
    assert [(fault["file"], fault["key"]) for fault in faults] == [
        ("hang.toml", "serves[1]"),
        ("equipment/own.toml", "acoustic.rear_db"),
    ]
