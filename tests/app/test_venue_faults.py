"""Venue files at fault, as the command line tells them."""

from __future__ import annotations

import pytest

from acoustics.venue import load_venue

STALLS = "outline_m = [[6.0, -9.0, 0.0], [9.0, -9.0, 0.0], [9.0, 9.0, 0.0], [6.0, 9.0, 0.0]]"


def replaced(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


def outline(corners: str, more: str = "") -> str:
    return f"outline_m = {corners} # HERE{more}"


def test_sound_venue_loads(files):
    venue, _ = load_venue(files / "venue.toml")
    assert [area.name for area in venue.area] == ["stalls", "balcony"]


AIR = "\n[air]\n{} # HERE\n"
POINT = '\n[[point]]\nname = "P1"\nposition_m = [0.0, 6.0, 14.0]\n'
TOO_BIG = "1" + "0" * 400


@pytest.mark.parametrize(
    ("more", "key", "wrong", "todo"),
    [
        (AIR.format("temperature_f = 68"), "air.temperature_f", "is an unknown key", "did you mean temperature_c?"),
        (AIR.format("humidity = 50"), "air.humidity", "is an unknown key", "relative_humidity_pct"),
        (AIR.format("temp = 20"), "air.temp", "is an unknown key", "did you mean temperature_c?"),
        (AIR.format("rel = 50"), "air.rel", "is an unknown key", "did you mean relative_humidity_pct?"),
        (AIR.format("qqqq = 50"), "air.qqqq", "is an unknown key", "known keys: temperature_c, "),
        (AIR.format("temperature_c = 68.0"), "air.temperature_c", "plausible range -30 to 55 °C", "its unit"),
        (AIR.format("relative_humidity_pct = 0.5"), "air.relative_humidity_pct", "range 1 to 100 %", "its unit"),
        (AIR.format("pressure_kpa = 1013.0"), "air.pressure_kpa", "range 50 to 110 kPa", "its unit"),
        (AIR.format('pressure_kpa = "101"'), "air.pressure_kpa", "must be a number in kPa", "without quotes"),
        (AIR.format("temperature_c = true"), "air.temperature_c", "must be a number in °C", "give the number"),
        (AIR.format("speed_of_sound_m_s = 34.3"), "air.speed_of_sound_m_s", "range 280 to 400 m/s", "its unit"),
        (AIR.format("absorption = []"), "air.absorption", "must be true or false", "without quotes"),
        ("\n[[air]] # HERE\n", "air", "must be a table", "[air]"),
        ("flat_within = 0.1 # HERE\n", "area[2].flat_within", "is an unknown key", "did you mean flat_within_m?"),
        ("qqqq = 0.1 # HERE\n", "area[2].qqqq", "is an unknown key", "known keys: name, role, "),
        ("ear_height_m = 12 # HERE\n", "area[2].ear_height_m", "range 0 to 3 m", "its unit"),
        # exact: 12 ft = 3.6576 m
        ("ear_height_ft = 12 # HERE\n", "area[2].ear_height_ft", "range 0 to 3 m (got 12 ft = 3.6576 m)", "its unit"),
        ("ear = 1.2 # HERE\n", "area[2].ear", "is an unknown key", "did you mean ear_height_m?"),
        ("flat_within_m = -1 # HERE\n", "area[2].flat_within_m", "range 0 to 2 m", "its unit"),
        ("\n[aera] # HERE\n", "aera", "is an unknown key", "did you mean area?"),
        ("\n[[pionts]] # HERE\n", "pionts", "is an unknown key", "did you mean point?"),
        (POINT + "limit_kg = inf # HERE\n", "point[1].limit_kg", "is not a finite number", "a number in kg"),
        (POINT + "limit_kg = -1 # HERE\n", "point[1].limit_kg", "range 0 to 100000 kg", "its unit"),
        # exact: 1e9 lb = 453592370 kg; six digits are shown
        (POINT + "limit_lb = 1e9 # HERE\n", "point[1].limit_lb", "(got 1000000000.0 lb = 4.53592e+08 kg)", "its unit"),
        (POINT + "limit_kg = 500\nlimit_lb = 1100 # HERE\n", "point[1].limit_lb", "stands beside limit_kg", "keep one"),
        (POINT + "limit = 500 # HERE\n", "point[1].limit", "is an unknown key", "did you mean limit_kg?"),
        ('\n[[point]] # HERE\nname = "P1"\n', "point[1].position_m", "key is missing", "for example position_m = ["),
        (POINT + POINT.replace('"P1"', '"P1" # HERE'), "point[2].name", "is the name of point[1] too", "its own name"),
        (POINT.replace("14.0]", "1100.0] # HERE"), "point[1].position_m[3]", "range -100 to 150 m", "its unit"),
        (AIR.format("absorption = 1"), "air.absorption", "must be true or false", "without quotes"),
        (AIR.format('absorption = "no"'), "air.absorption", "must be true or false", "without quotes"),
        (AIR.format(f"pressure_kpa = {TOO_BIG}"), "air.pressure_kpa", "range 50 to 110 kPa", "its unit"),
    ],
)  # fmt: skip
def test_air_area_or_point_at_fault(fault_of, venue, more, key, wrong, todo):
    fault = fault_of(venue=venue + more)
    assert (fault["file"], fault["key"]) == ("venue.toml", key)
    assert wrong in fault["wrong"]
    assert todo in fault["todo"]


@pytest.mark.parametrize(
    ("old", "new", "key", "wrong", "todo"),
    [
        ('name = "hall"\n', "", "name", "key is missing", "for example name = "),
        ('name = "hall"', "name = 7 # HERE", "name", "must be a text", "quotes"),
        ('name = "hall"', f'name = "{"x" * 81}" # HERE', "name", "1 to 80 printable characters", "short name"),
        ('name = "hall"', 'name = "hall"\npoint = 3 # HERE', "point", "must be tables", "[[point]]"),
        ('[[area]]\nname = "stalls"', "[[area]] # HERE", "area[1].name", "key is missing", 'name = "'),
        (f"{STALLS}\n", "", "area[1].outline_m", "key is missing", "for example outline_m = [["),
        ('"audience"', '"stage" # HERE', "area[1].role", "is not one of the known words", "'audience', 'quiet' or"),
        ('"balcony"', '"stalls" # HERE', "area[2].name", "is the name of area[1] too", "its own name"),
        ('"venue/1"', '"hang/1" # HERE', "format", "is another kind of file", 'format = "venue/1"'),
        ('"venue/1"', '"venue/2" # HERE', "format", "is a version that this release does not know", "reads venue/1"),
    ],
)
def test_file_or_area_at_fault(fault_of, venue, old, new, key, wrong, todo):
    fault = fault_of(venue=replaced(venue, old, new))
    assert (fault["file"], fault["key"]) == ("venue.toml", key)
    assert wrong in fault["wrong"]
    assert todo in fault["todo"]


CROSSES = "crosses or touches itself"
NO_AREA = "encloses no area"
STEEP = "is steeper than 60°, too steep to sit or stand on"


@pytest.mark.parametrize(
    ("new", "wrong", "todo"),
    [
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,0.31]]"), "corner 4 lies 0.31 m off the plane", "flat_within_m"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,-0.1]]"), "corner 4 lies 0.10 m off the plane", "flat_within_m"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,0.31]]", "\nflat_within_m = 0.3"), "corner 4 lies 0.31 m", ""),
        # The plane rises by 3 m in 3 m: 0.5 m too high is 0.5 cos 45° = 0.35 m off it (exact).
        (outline("[[6,-9,0], [9,-9,3], [9,9,3], [6,9,0.5]]"), "corner 4 lies 0.35 m off the plane", "flat_within_m"),
        # The first three corners lie on a line, or a centimetre off it, and say little of the plane: the widest three
        # do. Spans of 1, 3 and 5: 3 by 18 m; of 1, 3 and 4: 3 by 17 m. Corner 4 is 0.2 m too high (exact).
        (outline("[[6,-9,0], [7,-9,0], [9,-9,0], [8.5,8,0.2], [6,9,0]]"),
            "corner 4 lies 0.20 m off the plane of corners 1, 3 and 5 (got ", "split the area, or set flat_within_m"),
        (outline("[[6,-9,0], [7,-8.99,0], [9,-9,0], [8.5,8,0.2], [6,9,0]]"),
            "corner 4 lies 0.20 m off the plane of corners 1, 3 and 5 (got ", "split the area, or set flat_within_m"),
        (outline("[[6,-9,0], [7,-9.01,0.1], [9,-9,0], [8.5,8,0], [6,9,0]]"),
            "corner 2 lies 0.10 m off the plane of corners 1, 3 and 5 (got ", "split the area, or set flat_within_m"),
        # One of four may be blamed: corner 5 is 0.2 m too high, or corner 3 is 0.2 m off the plane of the other three.
        (outline("[[6,-9,0], [7,-9,0], [9,-9,0], [9,9,0], [6,9,0.2]]"), "lies 0.20 m off the plane of", "split"),
        # Here they span 3 by 3 m and are the plane, though others span more.
        (outline("[[6,-9,0], [9,-9,0], [9,-6,0], [8.5,8,0.2], [6,9,0]]"),
            "corner 4 lies 0.20 m off the plane of the first three (got ", "split the area, or set flat_within_m"),
        (outline("[[6,-9,0], [9,9,0], [9,-9,0], [6,9,0]]"), CROSSES, "in order around the area"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [9,-9,0], [6,9,0]]"), CROSSES, "each once"),
        (outline("[[6,-9,0], [9,-9,0], [6,-9,0], [9,9,0], [6,9,0]]"), CROSSES, "each once"),
        (outline("[[6,0,0], [7,0,0], [9,0,0]]"), NO_AREA, "three corners"),
        (outline("[[6,0,0], [7,1,1], [8,2,2], [9,3,3]]"), NO_AREA, "three corners"),
        (outline("[[6,0,0], [9,0,0], [7,0,0]]"), NO_AREA, "three corners"),
        (outline("[[6,0,0], [6,0,0], [6,0,0], [6,0,0]]"), "has corner 1 where corner 4 is", "list each corner once"),
        (outline("[[6,0,0], [9,0,0], [6,0,0]]"), "has corner 1 where corner 3 is", "list each corner once"),
        (outline("[[6,-9,0], [9,-9,0], [9,-9,1e-7], [9,9,0]]"), "has corner 3 where corner 2 is", "each corner once"),
        (outline("[[6,0,0], [6.001,0,0], [6.001,0.001,0]]"), NO_AREA, "their unit"),
        (outline("[[6,-9,0], [7,-9,2], [7,9,2], [6,9,0]]"), STEEP, 'role = "obstacle"'),
        (outline("[[6,-9,0], [6,-9,3], [6,9,3], [6,9,0]]"), STEEP, 'role = "obstacle"'),
        (outline("[[6,-9,0], [9,-9,0]]"), "needs 3 or more entries", ""),
        (outline("[]"), "needs 3 or more entries", ""),
        (outline('"6 by 9"'), "must be a list", "[ ]"),
        (outline("{x = 6}"), "must be a list", "[ ]"),
        (outline("[[6,-9,0], [9,-9,0], [9,-9,0], [9,9,0], [6,9,0]]"), "has corner 3 where corner 2 is", "corner once"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,0], [6,-9,0]]"), "has corner 1 where corner 5 is", "corner once"),
    ],
)  # fmt: skip
def test_outline_at_fault(fault_of, venue, new, wrong, todo):
    fault = fault_of(venue=replaced(venue, STALLS, new))
    assert (fault["file"], fault["key"]) == ("venue.toml", "area[1].outline_m")
    assert wrong in fault["wrong"]
    assert todo in fault["todo"]


@pytest.mark.parametrize(
    ("new", "key", "wrong"),
    [
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9]]"), "outline_m[4]", "has too few entries"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,0,0]]"), "outline_m[4]", "has more than 3 entries"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], 6]"), "outline_m[4]", "must be a list"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,'0']]"), "outline_m[4][3]", "must be a number in m"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,nan]]"), "outline_m[4][3]", "is not a finite number"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [1001,9,0]]"), "outline_m[4][1]", "plausible range -1000 to 1000 m"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,0], [6,9,151]]"), "outline_m[4][3]", "plausible range -100 to 150 m"),
        ("outline_ft = [[6,-9,0], [9,-9,0], [9,9,0], [6,9,'0']] # HERE", "outline_ft[4][3]", "must be a number"),
        ("outline_ft = [[6,-9,0], [9,-9,0], [9,9,0], [6,9,1]] # HERE", "outline_ft", "corner 4 lies 0.30 m off"),
        (STALLS + "\noutline_ft = [] # HERE", "outline_ft", "stands beside outline_m"),
        (outline("[[6,-9,0], [9,-9,0], [9]]"), "outline_m[3]", "has too few entries"),
        (outline("[[6,-9,0], [9,-9,0], [9,9,nan]]"), "outline_m[3][3]", "not a finite"),
    ],
)  # fmt: skip
def test_corner_at_fault(fault_of, venue, new, key, wrong):
    fault = fault_of(venue=replaced(venue, STALLS, new))
    assert fault["key"] == f"area[1].{key}"
    assert wrong in fault["wrong"]


@pytest.mark.parametrize("role", ["quiet", "audience"])
def test_steep_area_where_people_are(fault_of, venue, role):
    steep = f'\n[[area]]\nname = "wall"\nrole = "{role}"\noutline_m = [[20,0,0], [21,0,2], [21,5,2], [20,5,0]] # HERE\n'
    assert STEEP in fault_of(venue=venue + steep)["wrong"]


@pytest.mark.parametrize(
    "area",
    [
        'role = "obstacle"\noutline_m = [[20,0,0], [20,0,2], [20,5,2], [20,5,0]]',  # upright
        'role = "audience"\noutline_m = [[20,0,0], [21,0,1.7], [21,5,1.7], [20,5,0]]',  # 59.5°
        'role = "audience"\nflat_within_m = 0.35\noutline_m = [[20,0,0], [29,0,0], [29,5,0], [20,5,0.31]]',
        'role = "audience"\noutline_m = [[20,0,0], [29,0,0], [29,5,0], [20,5,0.049]]',
        'role = "audience"\noutline_m = [[20,0,0], [29,0,0], [29,5,0], [25,1,0]]',  # a notch
        # A centimetre too high or too far out in the middle of a straight edge: a plane of the first three would stand.
        'role = "audience"\noutline_m = [[20,0,0], [24,0.01,0.01], [29,0,0], [29,5,0], [20,5,0]]',
        'role = "audience"\noutline_m = [[20,0,0], [20.02,0,0.01], [29,0,0], [29,5,0], [20,5,0]]',
        'role = "audience"\noutline_m = [[20,5,0], [29,5,0], [29,0,0], [20,0,0]]',  # the other way around
        'role = "audience"\noutline_ft = [[20,0,0], [29,0,0], [29,5,0]]',
    ],
)
def test_unusual_area_that_is_sound(files, venue, area):
    (files / "venue.toml").write_text(f'{venue}\n[[area]]\nname = "own"\n{area}\n')
    assert load_venue(files / "venue.toml")[0].area[-1].name == "own"


# Exact since 1959: 3 ft = 0.9144 m, 14 lb = 6.35029318 kg (published).
def test_feet_and_pounds(files, venue):
    text = replaced(venue, STALLS, "ear_height_ft = 3\noutline_ft = [[3, -3, 0], [30, -3, 0], [30, 3, 0]]")
    text += '\n[[point]]\nname = "P1"\nposition_ft = [0, 3, 30]\nlimit_lb = 1400\n'
    (files / "venue.toml").write_text(text)
    venue, _ = load_venue(files / "venue.toml")
    assert venue.area[0].ear_height_m == pytest.approx(0.9144, rel=1e-15, abs=0)
    corners = ((0.9144, -0.9144, 0.0), (9.144, -0.9144, 0.0), (9.144, 0.9144, 0.0))
    assert venue.area[0].outline_m == tuple(pytest.approx(corner, rel=1e-15, abs=0) for corner in corners)
    assert venue.point[0].position_m == pytest.approx((0.0, 0.9144, 9.144), rel=1e-15, abs=0)
    assert venue.point[0].limit_kg == pytest.approx(635.029318, rel=1e-15, abs=0)


HEAD = 'format = "venue/1"\nname = "hall"\n'
ONE = '[[area]]\nname = "stalls"\nrole = "audience"\noutline_m = [[6,0,0], [9,0,0], [9,5,0]]\n'


@pytest.mark.parametrize(
    ("text", "key", "wrong"),
    [
        (HEAD, "area", "key is missing"),
        (HEAD + "area = 3 # HERE\n", "area", "must be tables"),
        (HEAD + '[area] # HERE\nname = "stalls"\n', "area", "must be tables"),
        (HEAD + ONE.replace("audience", "obstacle").replace("]]", "]] # HERE", 1), "area", "holds no area to"),
        (HEAD + "area = [] # HERE\n", "area", "needs 1 or more entries"),
        (HEAD + ONE + "flat = 1 # HERE\n", "area[1].flat", "is an unknown key"),
        (HEAD + ONE + "ear_height_m = 9 # HERE\n", "area[1].ear_height_m", "range"),
        (HEAD + ONE.replace("5,0]]", "5]] # HERE"), "area[1].outline_m[3]", "has too few entries"),
    ],
)  # fmt: skip
def test_venue_with_one_area_or_none(fault_of, text, key, wrong):
    fault = fault_of(venue=text)
    assert fault["key"] == key
    assert wrong in fault["wrong"]


def test_all_faults_are_told_at_once(faults_of):
    text = """\
format = "venue/1"
nam = "hall"
[air]
temperature_c = "20"
foo = 1

[[area]]
name = "a"
role = "stage"
outline_m = [[0, 0, 0], [1, 0, 0], [2, 0, 0]]
[[area]]
name = "a"
role = "audience"
ear_height_m = 12
outline_m = [
    [0, 0, 0],
    [1, 0, 0],
    [1, 1, 0],
    [0, 1, 1],
]
[[area]]
name = "b"
role = "quiet"
outline_m = [[0, 0, 0], [1, 0, 0], [1, 1, 0]]
[[point]]
position_ft = [0, 0, 1100]
"""
    found = {(fault["key"], fault["line"]) for fault in faults_of(venue=text)}
    assert found == {
        ("name", None),
        ("nam", "2"),
        ("air.temperature_c", "4"),
        ("air.foo", "5"),
        ("area[1].role", "9"),
        ("area[1].outline_m", "10"),
        ("area[2].name", "12"),
        ("area[2].ear_height_m", "14"),
        ("area[2].outline_m", "15"),
        ("point[1].name", "25"),
        ("point[1].position_ft[3]", "26"),
    }
