"""Poses of a hang, against a published-style worked case, hand trigonometry and rotations by another library."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from rigging.equipment import load_catalogue
from rigging.geometry import chain, item_axes, lay_out
from rigging.hang import load_hang

STEPS = {"case": [0.0, 1.0, 2.0, 3.0, 5.0, 8.0]}
PLACE = (2.5, -4.0, 9.0)
OFF_CENTRE = (0.12, -0.08, -0.10)  # a reference point that is off centre in all three directions


def hang_text(rows: list[tuple[str, str, float]], tilt: float, azimuth: float, place=PLACE) -> str:
    head = f'format = "hang/1"\nname = "check"\nframe = "case-frame"\nposition_m = {list(place)}\n'
    head += f"tilt_deg = {tilt}\nazimuth_deg = {azimuth}\n"
    return head + "".join(f'[[column]]\n{kind} = "{name}"\nsplay_deg = {splay}\n' for kind, name, splay in rows)


@pytest.fixture(scope="module")
def own(tmp_path_factory, frame_text, enclosure_text, adapter_text):
    """Equipment with the dimensions of the worked case, an enclosure off centre, and an adapter that steps ahead."""
    folder = tmp_path_factory.mktemp("case")
    fits = {"case": STEPS["case"], "step": STEPS["case"]}
    texts = {
        "frame": frame_text("case-frame", fits),
        "box": enclosure_text("case-box", "case", fits),
        "off": enclosure_text("off-box", "case", fits, reference_m=OFF_CENTRE),
        "step": adapter_text("step", "step", STEPS, ahead_m=0.07, height_m=0.12),
    }
    for name, text in texts.items():
        (folder / f"{name}.toml").write_text(text)
    return load_catalogue([folder])


@pytest.fixture
def laid_out(tmp_path, own):
    def make(*arguments, **keywords):
        (tmp_path / "hang.toml").write_text(hang_text(*arguments, **keywords))
        return lay_out(load_hang(tmp_path / "hang.toml", own))

    return make


# Worked case of a column of six boxes, height 0.25 m, splays 0 at the frame, then 1, 2, 3, 5, 8°, frame at −3°:
# front pivots and lowest point by hand moments and two finite-element libraries [calc: anastruct, PyNiteFEA].
# Tolerance: half of the last printed digit.
CASE_X = [0.0, -0.0131, -0.0305, -0.0567, -0.0958, -0.1562]
CASE_Z = [0.0, -0.2497, -0.4990, -0.7477, -0.9946, -1.2372]
CASE_LOWEST = -1.46897


def test_worked_case(laid_out):
    rows = [("enclosure", "case-box", splay) for splay in (0.0, 1.0, 2.0, 3.0, 5.0, 8.0)]
    layout = laid_out(rows, tilt=-3.0, azimuth=0.0, place=(0.0, 0.0, 0.0))
    assert layout.rows.origin[:, 0] == pytest.approx(CASE_X, abs=5e-5, rel=0)
    assert layout.rows.origin[:, 1] == pytest.approx(np.zeros(6), abs=1e-12)
    assert layout.rows.origin[:, 2] == pytest.approx(CASE_Z, abs=5e-5, rel=0)
    assert layout.lowest_m == pytest.approx(CASE_LOWEST, abs=5e-6, rel=0)


def test_worked_case_elsewhere(laid_out):
    """The same column at azimuth 90°: what lay ahead lies to stage left."""
    rows = [("enclosure", "case-box", splay) for splay in (0.0, 1.0, 2.0, 3.0, 5.0, 8.0)]
    layout = laid_out(rows, tilt=-3.0, azimuth=90.0, place=(7.0, -5.0, 12.0))
    assert layout.rows.origin[:, 0] == pytest.approx(np.full(6, 7.0), abs=1e-12)
    assert layout.rows.origin[:, 1] + 5.0 == pytest.approx(CASE_X, abs=5e-5, rel=0)
    assert layout.rows.origin[:, 2] - 12.0 == pytest.approx(CASE_Z, abs=5e-5, rel=0)
    assert layout.lowest_m - 12.0 == pytest.approx(CASE_LOWEST, abs=5e-6, rel=0)


# By hand, six decimals. Azimuth 37°: cos 0.798636, sin 0.601815. Frame −6°, splays 2 and 5°: elevations −8 and −13°.
#   cos 8° 0.990268, sin 8° 0.139173;  cos 13° 0.974370, sin 13° 0.224951
# forward = (cos el cos az, cos el sin az, sin el):
#   row 1 (0.990268·0.798636, 0.990268·0.601815, −0.139173) = (0.790863, 0.595958, −0.139173)
#   row 2 (0.974370·0.798636, 0.974370·0.601815, −0.224951) = (0.778167, 0.586391, −0.224951)
# left = (−sin az, cos az, 0) = (−0.601815, 0.798636, 0)
# up = (−sin el cos az, −sin el sin az, cos el):
#   row 1 (0.139173·0.798636, 0.139173·0.601815, 0.990268) = (0.111149, 0.083756, 0.990268)
#   row 2 (0.224951·0.798636, 0.224951·0.601815, 0.974370) = (0.179654, 0.135379, 0.974370)
FORWARD = [(0.790863, 0.595958, -0.139173), (0.778167, 0.586391, -0.224951)]
LEFT = (-0.601815, 0.798636, 0.0)
UP = [(0.111149, 0.083756, 0.990268), (0.179654, 0.135379, 0.974370)]
# Row 1 hangs at the place (2.5, −4, 9); row 2 lower by 0.25 up(1) = (0.027787, 0.020939, 0.247567):
ORIGIN = [(2.5, -4.0, 9.0), (2.472213, -4.020939, 8.752433)]
# Reference = origin + 0.12 forward − 0.08 left − 0.10 up:
#   row 1 x 2.5 + 0.094904 + 0.048145 − 0.011115, y −4 + 0.071515 − 0.063891 − 0.008376, z 9 − 0.016701 − 0.099027
#   row 2 x 2.472213 + 0.093380 + 0.048145 − 0.017965, y −4.020939 + 0.070367 − 0.063891 − 0.013538,
#         z 8.752433 − 0.026994 − 0.097437
REFERENCE = [(2.631934, -4.000752, 8.884272), (2.595773, -4.028001, 8.628002)]
ROUNDING = 3e-6  # of several terms of six decimals


def test_asymmetric_pose(laid_out):
    layout = laid_out([("enclosure", "off-box", 2.0), ("enclosure", "off-box", 5.0)], tilt=-6.0, azimuth=37.0)
    for row in range(2):
        forward, left, up = layout.rows.axes[row]
        assert forward == pytest.approx(FORWARD[row], abs=ROUNDING, rel=0)
        assert left == pytest.approx(LEFT, abs=ROUNDING, rel=0)
        assert up == pytest.approx(UP[row], abs=ROUNDING, rel=0)
        assert layout.rows.origin[row] == pytest.approx(ORIGIN[row], abs=ROUNDING, rel=0)
        assert layout.reference[row] == pytest.approx(REFERENCE[row], abs=ROUNDING, rel=0)


# By hand: frame 0°, adapter at 2°, azimuth 0°: forward (cos 2°, 0, −sin 2°), up (sin 2°, 0, cos 2°) with
# sin 2° 0.034899, cos 2° 0.999391. Its lower pivot lies 0.07 ahead and 0.12 below its upper:
#   x 0.07·0.999391 − 0.12·0.034899 = 0.065769, z −0.07·0.034899 − 0.12·0.999391 = −0.122370
def test_adapter_that_steps_ahead(laid_out):
    layout = laid_out([("adapter", "step", 2.0), ("enclosure", "case-box", 3.0)], tilt=0.0, azimuth=0.0)
    step = layout.rows.origin[1] - layout.rows.origin[0]
    assert step == pytest.approx((0.065769, 0.0, -0.122370), abs=1e-6, rel=0)
    assert np.degrees(layout.rows.aim_elevation) == pytest.approx([-2.0, -5.0], rel=1e-12, abs=0)
    assert np.isnan(layout.reference[0]).all()
    # 0.125 m below the enclosure's pivot, along its own up direction at −5°
    below = layout.reference[1] - layout.rows.origin[1]
    assert below == pytest.approx((-0.125 * 0.087156, 0.0, -0.125 * 0.996195), abs=1e-6, rel=0)


def test_frame_is_not_turned_by_the_splay_below_it(laid_out):
    layout = laid_out([("enclosure", "case-box", 5.0)], tilt=-6.0, azimuth=37.0)
    assert np.degrees(layout.frame.aim_elevation) == pytest.approx([-6.0], rel=1e-12, abs=0)
    assert layout.frame.origin[0] == pytest.approx(PLACE, rel=1e-12, abs=0)


angles = st.floats(-np.pi / 2, np.pi / 2)


@settings(max_examples=60, database=None, derandomize=True)
@given(st.lists(st.floats(0.0, 45.0), min_size=1, max_size=24), st.floats(-90.0, 90.0), st.floats(-360.0, 360.0))
def test_aim_is_tilt_less_all_splays_down_to_it(splays, tilt, azimuth):
    pivots = np.tile([0.0, -0.25], (len(splays), 1))
    poses = chain(PLACE, np.radians(azimuth), np.radians(tilt), np.radians(splays), pivots)
    aim, total = [], tilt
    for splay in splays:
        total -= splay
        aim.append(total)
    assert np.degrees(poses.aim_elevation) == pytest.approx(aim, abs=1e-9)
    # neighbours stay joined: every step is one box height long
    steps = np.diff(poses.origin, axis=0)
    assert np.linalg.norm(steps, axis=1) == pytest.approx(np.full(len(splays) - 1, 0.25), rel=1e-9)


@settings(max_examples=60, database=None, derandomize=True)
@given(st.floats(-2 * np.pi, 2 * np.pi), angles)
def test_axes_are_those_of_two_rotations(azimuth, elevation):
    """Elevation is a negative right-handed turn about +y, then azimuth a positive one about +z."""
    axes = item_axes(azimuth, elevation)
    turn = Rotation.from_rotvec([0, 0, azimuth]) * Rotation.from_rotvec([0, -elevation, 0])
    assert axes == pytest.approx(turn.apply(np.eye(3)), abs=1e-12)


@settings(max_examples=60, database=None, derandomize=True)
@given(st.floats(-2 * np.pi, 2 * np.pi), angles)
def test_axes_are_orthonormal_and_right_handed(azimuth, elevation):
    axes = item_axes(azimuth, elevation)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0, rel=1e-12)
    assert axes[1, 2] == 0.0  # left stays level
    assert axes[2, 2] >= -1e-12  # up never points down


def test_axes_of_many_are_those_of_each():
    azimuth, elevation = np.array([0.3, -1.0, 2.0]), np.array([-0.2, 0.0, 0.5])
    together = item_axes(azimuth, elevation)
    assert together.shape == (3, 3, 3)
    for index in range(3):
        assert together[index] == pytest.approx(item_axes(azimuth[index], elevation[index]), rel=1e-15)


ROWS = [("enclosure", "off-box", 2.0), ("adapter", "step", 3.0), ("enclosure", "case-box", 5.0)]
GROUPS = "[[group]]\nrows = [1]\ngain_db = 1.5\ndelay_ms = 2.5\n"


@pytest.mark.parametrize(("key", "plane"), [("", 0.0), ("mirror_y_m = 1.5\n", 1.5), ("mirror_y_ft = 3\n", 0.9144)])
def test_mirror_image(tmp_path, own, key, plane):
    (tmp_path / "left.toml").write_text('serves = ["stalls"]\n' + hang_text(ROWS, tilt=-6.0, azimuth=37.0) + GROUPS)
    (tmp_path / "right.toml").write_text(f'format = "hang/1"\nname = "other side"\nmirror_of = "left.toml"\n{key}')
    left, right = (load_hang(tmp_path / f"{side}.toml", own) for side in ("left", "right"))
    assert (left.name, right.name) == ("check", "other side")
    assert (left.side, right.side) == (1.0, -1.0)
    assert right.azimuth_deg == -37.0
    # y = −4 lies as far on the other side of the plane: 2·plane + 4 (exact)
    assert right.position_m == pytest.approx((2.5, 2 * plane + 4.0, 9.0), rel=1e-12, abs=0)
    differ = {"name", "azimuth_deg", "position_m", "side", "document", "inputs"}
    for field in dataclasses.fields(left):
        if field.name not in differ:
            assert getattr(right, field.name) == getattr(left, field.name), field.name
    assert [drive.gain_db for drive in right.drive] == [1.5, 0.0, 0.0]
    assert [drive.delay_s for drive in right.drive] == pytest.approx([0.0025, 0.0, 0.0], rel=1e-12)
    assert right.serves == ("stalls",)


def test_mirror_image_in_the_venue(tmp_path, own):
    (tmp_path / "left.toml").write_text(hang_text(ROWS, tilt=-6.0, azimuth=37.0))
    (tmp_path / "right.toml").write_text('format = "hang/1"\nname = "r"\nmirror_of = "left.toml"\nmirror_y_m = 1.5\n')
    left, right = (lay_out(load_hang(tmp_path / f"{side}.toml", own)) for side in ("left", "right"))
    flip = np.array([1.0, -1.0, 1.0])
    assert right.rows.origin == pytest.approx(left.rows.origin * flip + [0.0, 3.0, 0.0], rel=1e-12)
    assert right.outline == pytest.approx(left.outline * flip + [0.0, 3.0, 0.0], rel=1e-12)
    assert right.rows.axes[:, 0] == pytest.approx(left.rows.axes[:, 0] * flip, rel=1e-12)
    assert right.rows.axes[:, 2] == pytest.approx(left.rows.axes[:, 2] * flip, rel=1e-12)
    # the enclosure itself is not mirrored: its left stays its left
    assert right.rows.axes[:, 1] == pytest.approx(-left.rows.axes[:, 1] * flip, abs=1e-15)
    assert right.lowest_m == pytest.approx(left.lowest_m, rel=1e-12)


# Outline of a frame that stands 0.1 m high, reaches 0.1 m ahead and 0.8 m behind, level, azimuth 90° (exact).
def test_outline_of_the_frame(laid_out):
    layout = laid_out([("enclosure", "case-box", 0.0)], tilt=0.0, azimuth=90.0)
    x, y, z = PLACE
    corners = [(x, y + 0.1, z + 0.1), (x, y + 0.1, z), (x, y - 0.8, z), (x, y - 0.8, z + 0.1)]
    assert layout.outline[0] == pytest.approx(np.array(corners), rel=1e-12)
    # and of the box below: 0.25 m high, 0.5 m deep
    corners = [(x, y, z), (x, y, z - 0.25), (x, y - 0.5, z - 0.25), (x, y - 0.5, z)]
    assert layout.outline[1] == pytest.approx(np.array(corners), rel=1e-12)
    assert layout.lowest_m == pytest.approx(8.75, rel=1e-12)
