"""Venue files with laser shots at fault, as the command line tells them."""

from __future__ import annotations

import numpy as np
import pytest

STOOD = {"A": (np.array([0.0, 0.0, 1.5]), 0.0), "B": (np.array([12.0, 6.0, 3.0]), 200.0)}
FLOOR = [(6, -9, 0), (9, -9, 0), (9, 9, 0), (6, 9, 0)]
MARKS = [(2, 6, 0.5), (14, -3, 1.0), (7, 1, 4.0)]


def shot(where: str, place: tuple[float, ...], more: str = "") -> str:
    at, zero = STOOD[where]
    apart = np.asarray(place, dtype=float) - at
    distance = np.linalg.norm(apart)
    up, azimuth = np.degrees(np.arcsin(apart[2] / distance)), np.degrees(np.arctan2(apart[1], apart[0])) - zero
    azimuth = (azimuth + 180.0) % 360.0 - 180.0
    read = f"distance_m = {distance:.6f}, vertical_deg = {up:.6f}, azimuth_deg = {azimuth:.6f}"
    return f'{{ standpoint = "{where}", {read}{more} }}'


def area(
    *places: tuple[float, ...], where: str = "A", mark: int | None = None, name: str = "floor", more: str = ""
) -> str:
    lines = [f"    {shot(where, one)},{' # HERE' if index == mark else ''}" for index, one in enumerate(places)]
    head = f'\n[[area]]\nname = "{name}"\nrole = "audience"\n{more}'
    return head + "\n".join(["shot = [", *lines, "]"]) + "\n"


def tie(place: tuple[float, ...], off: float = 0.0, mark: str = "") -> str:
    moved = (place[0], place[1] + off, place[2])
    return f"\n[[tie]]{mark}\nshot = [\n    {shot('A', place)},\n    {shot('B', moved)},\n]\n"


HEAD = 'format = "venue/1"\nname = "hall"\n'
A = '\n[[standpoint]]\nname = "A"\nposition_m = [0.0, 0.0, 1.5]\nazimuth_deg = 0.0\n'
B = '\n[[standpoint]]\nname = "B"\n'
OPEN = '\n[[standpoint]] # HERE\nname = "B"\n'
BASE = HEAD + A + area(*FLOOR)
PROFILE = """
[[profile]]
name = "tier"
role = "audience"
standpoint = "A"
[[profile.row]]
distance_m = 12.0
vertical_deg = -2.0
width_m = 8.0
[[profile.row]]
distance_m = 14.0
vertical_deg = 1.0
width_m = 8.0
"""


def test_what_the_faults_are_made_from_is_sound(files):
    from acoustics.venue import load_venue

    text = HEAD + A + B + "".join(map(tie, MARKS)) + area(*FLOOR) + PROFILE
    (files / "venue.toml").write_text(text + area((3, 3, 1), (5, 3, 1), (5, 5, 1), where="B", name="side"))
    venue = load_venue(files / "venue.toml")[0]
    assert [one.name for one in venue.area] == ["floor", "side", "tier"]
    assert venue.area[0].corners == pytest.approx(np.array(FLOOR, dtype=float), abs=1e-5)
    assert venue.area[1].corners == pytest.approx(np.array([[3, 3, 1], [5, 3, 1], [5, 5, 1]]), abs=1e-4)


@pytest.mark.parametrize(
    ("venue", "key", "wrong", "todo"),
    [
        # areas
        (BASE.replace("shot = [", "outline_m = [[6,-9,0], [9,-9,0], [9,9,0]]\nshot = [ # HERE"), "area[1].shot",
            "stands beside outline_m", "keep one of the two"),
        (BASE.replace("shot = [", "outline_ft = [[6,-9,0], [9,-9,0], [9,9,0]]\nshot = [ # HERE"), "area[1].shot",
            "stands beside outline_m", "keep one of the two"),
        (HEAD + A + area(*FLOOR[:2]), "area[1].shot", "gives too few corners (got 2)", "shoot 3 corners or more"),
        (HEAD + A + area(*FLOOR[:3]).replace(" },\n]", ", corner = false },\n]"),
            "area[1].shot", "gives too few corners (got 2)", "in order around"),
        (HEAD + A + area((6, -9, 0), (6, 0, 0), (6, 9, 0), (6, 4, 0)), "area[1].shot", "lies on one line", "sides"),
        (HEAD + A + area((6, -9, 0), (6.02, 0, 0), (6, 9, 0)), "area[1].shot", "lies on one line", "both sides"),
        (HEAD + A + area(FLOOR[0], FLOOR[2], FLOOR[1], FLOOR[3]), "area[1].shot",
            "gives an area that crosses or touches itself", "in order around the area"),
        (HEAD + A + area((6, -9, 0), (6, -9, 3), (6, 9, 3), (6, 9, 0)), "area[1].shot", "steeper than 60°", "obstacle"),
        (HEAD + A + area(*FLOOR[:3], (6, 9, 0.3)), "area[1].shot", "has four shots that lie on no plane: shot ",
            "shoot them again, or a place inside as well (corner = false)"),
        (HEAD + A + area(*FLOOR[:3], (6, 9, 0.3), (7.5, 0, 0), (7.5, 5, 0), mark=3), "area[1].shot[4]",
            "lies 0.300 m off the plane of the others, and 0.", "shoot it again or leave it out"),
        (HEAD + A + area(*FLOOR, (7.5, 0, 0.2), mark=4).replace(" }, # HERE", ', name = "desk" }, # HERE'),
            "area[1].shot[5]", "(desk) lies 0.200 m off", "set flat_within_m"),
        (BASE.replace('standpoint = "A", distance_m', 'standpoint = "D", distance_m', 1), "area[1].shot[1].standpoint",
            "is no standpoint of the file", "known: A"),
        (BASE.replace("distance_m", "distance", 1), "area[1].shot[1].distance_m", "key is missing", "slope distance"),
        (BASE.replace("[[standpoint]]", "[instrument]\nangle_deg = 9 # HERE\n[[standpoint]]"), "instrument.angle_deg",
            "range 0 to 5 °", "its unit"),
        (BASE.replace("[[standpoint]]", "[instrument]\ndistance_m = 9 # HERE\n[[standpoint]]"), "instrument.distance_m",
            "is an unknown key", "did you mean distance_mm?"),
        # standpoints
        (BASE + A.replace('"A"', '"A" # HERE'), "standpoint[2].name", "is the name of standpoint[1] too", "its own"),
        (BASE.replace("azimuth_deg = 0.0\n", "azimuth_deg = 0.0\nheight_m = 1.5 # HERE\n"), "standpoint[1].height_m",
            "stands beside position_m", "keep one"),
        (BASE.replace("[[standpoint]]", "[[standpoint]] # HERE").replace("azimuth_deg = 0.0\n", ""), "standpoint[1]",
            "is not tied to a known standpoint: 0 of the 1 ties", "give azimuth_deg, or shoot places"),
        (BASE + OPEN, "standpoint[2]", "0 of the 2 ties that it needs", "give position_m and azimuth_deg, or shoot"),
        (BASE + OPEN + tie(MARKS[0]), "standpoint[2]", "1 of the 2 ties that it needs", "give position_m"),
        (BASE + OPEN + tie(MARKS[0]) + tie((2.2, 6, 0.5)), "standpoint[2]", "too near each other to tell its direction",
            "far apart in plan"),
        (BASE + OPEN + tie(MARKS[0]) + tie((2, 6, 3.5)), "standpoint[2]", "too near each other to tell its direction",
            "far apart in plan"),
        # ties
        (BASE + B + tie(MARKS[0]) + tie(MARKS[1], 0.4), "tie", "contradicts the others: from ", "shoot it again"),
        (BASE + B + tie(MARKS[0]) + tie(MARKS[1], 0.4) + tie(MARKS[2]), "tie", "is allowed", "level the instrument"),
        (BASE + B + "".join(map(tie, MARKS)).replace("shot = [", "position_m = [2.0, 6.4, 0.5]\nshot = [", 1), "tie",
            "contradicts the others", "leave it out"),
        (BASE + f"\n[[tie]]\nshot = [{shot('A', MARKS[0])}] # HERE\n", "tie[1].shot",
            "was not shot from two standpoints (got 1)", "give its position_m"),
        (BASE + "\n[[tie]]\nposition_m = [0, 0, 0]\nshot = [] # HERE\n", "tie[1].shot", "not shot from two", "second"),
        (BASE + f"\n[[tie]]\nshot = [{shot('A', MARKS[0])}, {shot('A', MARKS[0])}] # HERE\n",
            "tie[1].shot[2].standpoint", "has shot it before", "one shot from each"),
        (BASE + tie(MARKS[0]), "tie[1].shot[2].standpoint", "is no standpoint of the file", "known: A"),
        # profiles
        (BASE + PROFILE.replace('standpoint = "A"', 'standpoint = "D" # HERE'), "profile[1].standpoint",
            "is no standpoint of the file", "known: A"),
        (BASE + PROFILE[: PROFILE.rindex("[[profile.row]]")], "profile[1].row", "gives no area (got 1)", "back edge"),
        (BASE + PROFILE.replace("width_m = 8.0\n", "width_m = 8.0\nleft_m = 4.0 # HERE\n", 1),
            "profile[1].row[1].left_m", "stands beside width_m", "keep one"),
        (BASE + PROFILE.replace("width_m = 8.0\n", "left_m = 4.0\n", 1), "profile[1].row[1].right_m", "key is missing",
            "left_m needs it"),
        (BASE + PROFILE[: PROFILE.rindex("width_m")], "profile[1].row[2].width_m", "key is missing", "the last row"),
        (BASE + PROFILE.replace("width_m = 8.0", "width_m = 0.0"), "profile[1].row[1]", "has no width", "wider"),
        (BASE + PROFILE + "step_m = 0.2 # HERE\n", "profile[1].row[2].step_m", "has no area behind it", "remove it"),
        (BASE + PROFILE.replace("14.0", "11.0"), "profile[1].row[2]", "no farther than the row before (11.99 m)", ""),
        (BASE + PROFILE.replace('standpoint = "A"', 'standpoint = "A"\nmirrored = true # HERE'), "profile[1].mirrored",
            "reach across it", "remove mirrored"),
        (BASE + PROFILE.replace('"tier"', '"floor" # HERE'), "profile[1].name", "makes an area floor, and there is one",
            "its own name"),
        (BASE + PROFILE.replace('"tier"', '"tier" # no mark') + PROFILE.replace('"tier"', '"tier" # HERE'),
            "profile[2].name", "is the name of profile[1] too", "its own name"),
        (BASE + PROFILE.replace("1.0\n", "70.0\n").replace("14.0", "100.0"), "profile[1].row", "steeper than 60°", ""),
        (HEAD + A + PROFILE.replace("audience", "obstacle"), "profile", "holds no area to listen in", "audience"),
    ],
)  # fmt: skip
def test_shots_at_fault(faults_of, venue, key, wrong, todo):
    faults = faults_of(venue=venue)
    # A key that is typed wrongly is missing as well.
    fault = next((one for one in faults if one["key"].startswith(key)), faults[0])
    assert len(faults) <= 2
    assert fault["key"] == key or (key == "tie" and fault["key"].startswith("tie["))
    assert wrong in fault["wrong"]
    assert todo in fault["todo"]
    if "# HERE" in venue:
        assert fault["line"] == str(venue[: venue.index("# HERE")].count("\n") + 1)


def test_the_tie_that_is_wrong_is_named(faults_of):
    marks = [*MARKS, (4, -5, 2.0), (9, 5, 0.0)]
    ties = [tie(mark, 0.6 if index == 3 else 0.0) for index, mark in enumerate(marks)]
    assert [one["key"] for one in faults_of(venue=BASE + B + "".join(ties))] == ["tie[4]"]


def test_flat_within_m_lets_a_shot_pass(files):
    from acoustics.venue import load_venue

    uneven = area(*FLOOR, (7.5, 0, 0.2), more="flat_within_m = 0.25\n").replace(" },\n]", ", corner = false },\n]")
    (files / "venue.toml").write_text(HEAD + A + uneven)
    survey = load_venue(files / "venue.toml")[0].survey
    # The plane gives way by a fifth, and all corners are lifted by 40 mm.
    assert survey.greatest_residual == (pytest.approx(0.16, abs=1e-5), "shot 5 of floor")


def test_more_shots_than_are_taken(faults_of):
    many = [area(*FLOOR * 25, name=f"floor {index}") for index in range(6)]
    (fault,) = faults_of(venue=HEAD + A + "".join(many))
    assert fault["wrong"] == "has 600 laser shots"
    assert "give 500 at most" in fault["todo"]
    (fault,) = faults_of(venue=HEAD + A + area(*FLOOR * 26))
    assert fault["key"] == "area[1].shot"
    assert fault["wrong"] == "gives too many shots (got 104)"
    assert "give 100 at most" in fault["todo"]
