"""Laser shots of a venue file: places by hand arithmetic, and uncertainties against random draws."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.survey_file import Instrument, Profile, Standpoint, Tie
from acoustics.survey_values import level_within
from acoustics.surveyed import survey_of
from acoustics.venue import Area, load_venue

# A right-angled triangle of 3, 4 and 5 m: 36.8698976…° is the angle of tan 3/4.
DOWN_DEG = -36.86989764584402
HEAD = 'format = "venue/1"\nname = "hall"\n'


def loaded(tmp_path, text):
    (tmp_path / "venue.toml").write_text(HEAD + text)
    return load_venue(tmp_path / "venue.toml")[0]


def shots(*angles, where="A"):
    lines = [
        f'{{ standpoint = "{where}", distance_m = 5.0, vertical_deg = {DOWN_DEG}, azimuth_deg = {angle} }}'
        for angle in angles
    ]
    return "shot = [" + ", ".join(lines) + "]\n"


FLOOR = '[[area]]\nname = "floor"\nrole = "audience"\n'
A = '[[standpoint]]\nname = "A"\nposition_m = [1.0, 2.0, 1.5]\nazimuth_deg = 90.0\n'


# By hand: each shot ends 4 m away in plan and 3 m down, at z = −1.5; the zero looks along y. At 0° it is 4 m on in
# y, at 90° 4 m back in x; on a clockwise instrument the other way.
@pytest.mark.parametrize(
    ("instrument", "corners"),
    [
        ("", [(1, 6, -1.5), (-3, 2, -1.5), (1, -2, -1.5)]),
        ("[instrument]\nclockwise = true\n", [(1, 6, -1.5), (5, 2, -1.5), (1, -2, -1.5)]),
    ],
)
def test_corners_by_hand(tmp_path, instrument, corners):
    venue = loaded(tmp_path, instrument + A + FLOOR + shots(0, 90, 180))
    assert venue.area[0].corners == pytest.approx(np.array(corners, dtype=float), abs=1e-9)
    assert venue.area[0].name == "floor"
    assert venue.survey is not None
    assert venue.survey.unchecked == ("floor",)  # three shots lie on a plane whatever they are


# exact: 5 m = 16 ft 4.8503937 in; inches are 25.4 mm
def test_shots_in_feet_and_inches(tmp_path):
    text = (A + FLOOR + shots(0, 90, 180)).replace("distance_m = 5.0", 'distance_ft = "16\' 4.8503937\\""')
    venue = loaded(tmp_path, text.replace("position_m = [1.0, 2.0, 1.5]", "position_ft = [1.0, '2 ft', '5 in']"))
    first = np.array([0.3048, 0.6096 + 4.0, 0.127 - 3.0])
    assert venue.area[0].corners[0] == pytest.approx(first, abs=1e-7)


# B is 6 m behind A's mark at (1, 6, −1.5) and looks along −y. Its shots of the marks of A at 0° and 180° (by hand, from
# (1, 10, 2.5) 4 m down): 4 m away, so at 45° down and √32 m; and 12 m away, √160 m at −18.434948823° (tan 1/3).
TIES = """
[[tie]]
shot = [
    { standpoint = "A", distance_m = 5.0, vertical_deg = DOWN, azimuth_deg = 0.0 },
    { standpoint = "B", distance_m = 5.656854249, vertical_deg = -45.0, azimuth_deg = 0.0 },
]
[[tie]]
name = "the far one"
shot = [
    { standpoint = "B", distance_m = 12.64911064, vertical_deg = -18.434948823, azimuth_deg = 0.0 },
    { standpoint = "A", distance_m = 5.0, vertical_deg = DOWN, azimuth_deg = 180.0 },
]
""".replace("DOWN", str(DOWN_DEG))


@pytest.mark.parametrize("more", ["", "height_m = 2.5\n", "azimuth_deg = 270.0\n", "position_m = [1.0, 10.0, 2.5]\n"])
def test_a_standpoint_from_ties_by_hand(tmp_path, more):
    venue = loaded(tmp_path, A + '[[standpoint]]\nname = "B"\n' + more + TIES + FLOOR + shots(0, 90, 180))
    stood = venue.survey.standpoints[1]
    assert stood.name == "B"
    assert stood.position_m == pytest.approx([1.0, 10.0, 2.5], abs=1e-6)
    assert np.cos(np.radians(stood.azimuth_deg + 90.0)) == pytest.approx(1.0, abs=1e-9)
    assert max(venue.survey.tie_off_m) < 1e-6
    assert (stood.azimuth_within_deg > 0.0) is ("azimuth" not in more)


def test_a_chain_of_standpoints_and_a_known_place(tmp_path):
    text = A + '[[standpoint]]\nname = "B"\nazimuth_deg = 0.0\n[[standpoint]]\nname = "C"\nazimuth_deg = 0.0\n'
    text += '[[tie]]\nposition_m = [0.0, 0.0, 0.0]\nshot = [{ standpoint = "C", distance_m = 2.0, vertical_deg = 0.0, '
    text += (
        'azimuth_deg = 0.0 }]\n[[tie]]\nshot = [{ standpoint = "B", distance_m = 3.0, vertical_deg = 0.0, azimuth_deg'
    )
    text += ' = 90.0 }, { standpoint = "C", distance_m = 1.0, vertical_deg = 90.0, azimuth_deg = 0.0 }]\n'
    venue = loaded(tmp_path, text + FLOOR + shots(0, 90, 180, where="B"))
    stood = {one.name: one.position_m for one in venue.survey.standpoints}
    # C looks at the origin from 2 m behind it, and at a place 1 m above itself; B sees that 3 m to its left.
    assert stood["C"] == pytest.approx([-2.0, 0.0, 0.0], abs=1e-12)
    assert stood["B"] == pytest.approx([-2.0, -3.0, 1.0], abs=1e-12)


PROFILE = f"""
[[profile]]
name = "tier"
role = "audience"
standpoint = "A"
azimuth_deg = 0.0
[[profile.row]]
distance_m = 5.0
vertical_deg = {DOWN_DEG}
left_m = 3.0
right_m = 1.0
[[profile.row]]
distance_m = 6.7082039325
vertical_deg = -26.565051177
step_m = 0.4
[[profile.row]]
distance_m = 8.544003745
vertical_deg = -20.556045219
width_m = 6.0
"""


# By hand: rows 4, 6 and 8 m out (√45 at tan 1/2, √73 at tan 3/8), all 3 m down, along y from (1, 2, 1.5). The middle
# row's widths lie half way between those of its neighbours: 3 and 2 m. Left of a line along +y is −x.
def test_a_profile_by_hand(tmp_path):
    venue = loaded(tmp_path, A + PROFILE)
    assert [area.name for area in venue.area] == ["tier 1", "tier 2"]
    first = [(-2, 6, -1.5), (2, 6, -1.5), (3, 8, -1.5), (-2, 8, -1.5)]
    second = [(-2, 8, -1.1), (3, 8, -1.1), (4, 10, -1.5), (-2, 10, -1.5)]
    assert venue.area[0].corners == pytest.approx(np.array(first, dtype=float), abs=1e-8)
    assert venue.area[1].corners == pytest.approx(np.array(second, dtype=float), abs=1e-8)


def test_a_profile_to_one_side_is_mirrored(tmp_path):
    side = A.replace("[1.0, 2.0", "[1.0, 5.0").replace("90.0", "0.0")
    venue = loaded(tmp_path, side + PROFILE.replace('standpoint = "A"', 'standpoint = "A"\nmirrored = true'))
    assert [area.name for area in venue.area] == ["tier 1", "tier 1 mirrored", "tier 2", "tier 2 mirrored"]
    for one, other in ((0, 1), (2, 3)):
        flipped = venue.area[one].corners * [1.0, -1.0, 1.0]
        assert venue.area[other].corners == pytest.approx(flipped, abs=1e-12)
        assert venue.area[one].corners[:, 1].min() > 0.0


def test_a_place_inside_helps_with_the_plane_and_is_no_corner(tmp_path):
    inside = shots(0, 90, 180, 270, 45)[:-3] + ", corner = false }]\n"
    venue = loaded(tmp_path, A + FLOOR + inside)
    assert len(venue.area[0].outline_m) == 4
    assert len(venue.survey.areas[0].shots) == 5
    assert venue.survey.unchecked == ()


# ------------------------------------------------------------------------------------------------ uncertainties

TRUE_B = np.array([6.0, -5.0, 2.2])


def readings_of(place, stood, azimuth_deg):
    apart = np.asarray(place, dtype=float) - stood
    distance = np.linalg.norm(apart)
    azimuth = np.degrees(np.arctan2(apart[1], apart[0])) - azimuth_deg
    return {
        "distance_m": distance,
        "vertical_deg": np.degrees(np.arcsin(apart[2] / distance)),
        "azimuth_deg": (azimuth + 180.0) % 360.0 - 180.0,
    }


def drawn(one, rng, instrument):
    """The same shot, read once more."""
    if rng is None:
        return one
    scatter = {"distance_m": instrument.distance_mm / 1000.0, "vertical_deg": instrument.angle_deg}
    scatter["azimuth_deg"] = instrument.angle_deg
    return {key: value + rng.normal(0.0, scatter[key]) if key in scatter else value for key, value in one.items()}


def surveyed(instrument, rng=None):
    """A floor shot from B, which three ties join to A, and a profile from B."""
    stood_a = np.array([0.0, 0.0, 1.5])
    marks = [(2.0, 6.0, 0.5), (12.0, 3.0, 1.0), (5.0, 2.0, 4.0)]
    ties = [
        Tie.model_validate(
            {
                "shot": [
                    drawn({"standpoint": "A", **readings_of(mark, stood_a, 10.0)}, rng, instrument),
                    drawn({"standpoint": "B", **readings_of(mark, TRUE_B, 75.0)}, rng, instrument),
                ]
            }
        )
        for mark in marks
    ]
    floor = [(3, -2, 0), (14, -3, 1.1), (14, 4, 1.1), (3, 3, 0.0), (9, 1, 0.6)]
    shot = [drawn({"standpoint": "B", **readings_of(p, TRUE_B, 75.0)}, rng, instrument) for p in floor]
    area = Area.model_validate({"name": "floor", "role": "audience", "flat_within_m": 1.0, "shot": shot})
    line = [readings_of((6.0, y, z), TRUE_B, 75.0) for y, z in ((6.0, 0.4), (9.0, 1.2))]
    azimuth = line[0]["azimuth_deg"] + (0.0 if rng is None else rng.normal(0.0, instrument.angle_deg))
    rows = [drawn({**one, "width_m": 8.0}, rng, instrument) for one in line]
    profile = Profile.model_validate(
        {
            "name": "tier",
            "role": "audience",
            "standpoint": "B",
            "azimuth_deg": azimuth,
            "row": [{key: value for key, value in row.items() if key != "azimuth_deg"} for row in rows],
        }
    )
    standpoints = (Standpoint(name="A", position_m=(0.0, 0.0, 1.5), azimuth_deg=10.0), Standpoint(name="B"))
    found, problems = survey_of(instrument, standpoints, ties, [area], [profile], 60.0)
    assert problems == []
    return found


# 600 draws tell a standard deviation within 2.9 % (one standard deviation of its own); four of these are allowed.
@pytest.mark.parametrize("instrument", [Instrument(), Instrument(distance_mm=20.0, angle_deg=0.01)])
def test_uncertainties_against_random_draws(instrument):
    rng = np.random.default_rng(3)
    told = surveyed(instrument)
    draws = [surveyed(instrument, rng) for _ in range(600)]
    for index in (0, 1):
        corners = np.array([one.areas[index].corners for one in draws])
        assert told.areas[index].corner_within_m == pytest.approx(corners.std(axis=0), rel=0.12, abs=1e-6)
        middle = np.sqrt(np.diag(told.areas[index].middle_covariance))
        assert middle == pytest.approx(corners.mean(axis=1).std(axis=0), rel=0.12)
        # What the axes share: the whole covariance of the corner that is farthest away.
        matrix = np.cov(corners[:, 1].T)
        assert told.areas[index].covariance[1] == pytest.approx(matrix, abs=0.12 * np.trace(matrix))
    stood = np.array([one.standpoints[1].position_m for one in draws])
    assert told.standpoints[1].position_within_m == pytest.approx(stood.std(axis=0), rel=0.12)
    turned = np.array([one.standpoints[1].azimuth_deg for one in draws])
    assert told.standpoints[1].azimuth_within_deg == pytest.approx(turned.std(), rel=0.12)
    assert told.standpoints[0].position_within_m == pytest.approx(np.zeros(3))
    assert told.corner_within_m > 1e-3


# By hand: A at the origin's height looks along x at a mark 20 m away. Along the path it is ± 3 mm; across it and up
# ± 20 · 0.05 · π/180 = 17.45 mm.
def test_uncertainty_of_one_shot_by_hand():
    standpoint = Standpoint(name="A", position_m=(0.0, 0.0, 0.0), azimuth_deg=0.0)
    shot = [
        {"standpoint": "A", "distance_m": distance, "vertical_deg": 0.0, "azimuth_deg": azimuth}
        for distance, azimuth in ((20.0, 0.0), (20.0, 90.0), (20.0, 180.0))
    ]
    area = Area.model_validate({"name": "floor", "role": "audience", "shot": shot})
    found, _ = survey_of(Instrument(), (standpoint,), (), [area], (), 60.0)
    assert found.areas[0].corner_within_m[0] == pytest.approx([0.003, 0.017453, 0.017453], rel=1e-4)
    assert found.areas[0].corner_within_m[1] == pytest.approx([0.017453, 0.003, 0.017453], rel=1e-4)


# A point source 30 m up in a free field: the level falls by 20 lg r, so ± u along the path moves it by 8.686 u / r dB,
# and by nothing to first order across it. Ears are at 1.2 m.
def test_level_for_a_point_source_by_hand(tmp_path):
    text = A.replace("[1.0, 2.0, 1.5]", "[0.0, 0.0, 3.0]") + FLOOR + shots(0, 90, 180, 270)
    venue = loaded(tmp_path, text)
    one = venue.survey.areas[0]

    def hear(place):
        level = np.zeros((29, len(place)))
        level[25] = -20.0 * np.log10(np.linalg.norm(place - [0.0, 0.0, 30.0], axis=1))
        return level

    within, name = level_within(venue.survey, venue.area, hear)
    assert name == "floor"
    # The corners are 4 m out and 28.8 m below: the path is √(4² + 28.8²) = 29.08 m, along (±4, 0, −28.8).
    path = np.array([[0, 4, -28.8], [-4, 0, -28.8], [0, -4, -28.8], [4, 0, -28.8]]) / np.hypot(4.0, 28.8)
    along = np.sqrt(np.einsum("ni,nij,nj->n", path, one.covariance, path))
    assert within == pytest.approx(8.685889638 * along.max() / np.hypot(4.0, 28.8), rel=2e-3)
    middle = np.sqrt(one.middle_covariance[2, 2])
    assert 8.685889638 * middle / 28.8 < within


def test_no_level_is_told_where_none_arrives(tmp_path):
    venue = loaded(tmp_path, A + FLOOR + shots(0, 90, 180, 270))
    within, name = level_within(venue.survey, venue.area, lambda place: np.full((29, len(place)), np.nan))
    assert np.isnan(within)
    assert name == ""
