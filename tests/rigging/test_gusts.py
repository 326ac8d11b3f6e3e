"""What a gust does to load paths and joints: by hand on a simple rig, and by balance in space.

The rig is that of `judged_rig`: at a tilt of 0 100 kg with the centre of mass at u = −0.18, v = −0.39. A wind along x
meets 0.1·1.0 m² of frame at v = 0.05 and 0.5·1.0 m² of each box at v = −0.25 and −0.75; at 10 m/s and C_d 1.3 it
pushes with ½·1.225·10²·1.3 = 79.625 N/m²: 7.9625 N and twice 39.8125 N, together 87.5875 N. From the side 0.12 m² and
0.35 m² each: 9.555 N and twice 27.86875 N, together 65.2925 N. Exact; kg stand for the weight of that mass.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from rigging.column import column_of
from rigging.equipment import load_catalogue
from rigging.findings import CANNOT, EXCEEDS, WITHIN
from rigging.gusts import gusts_on, joints_in
from rigging.hang import load_hang
from rigging.loads import pick_holes
from rigging.policy import load_policy
from rigging.site import Site
from rigging.stages import build
from rigging.suspension import bridle

G = 9.80665
GUST = {"site.open_air": True, "site.gust_m_s": 10.0, "policy.swing_deg": 20.0, "policy.tilt_tolerance_deg": 2.0}
PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": [], "point": "A"}
ALONE = {"hang.pick": [PICK | {"hole": "M"}]}
P1, M1 = "pick 1, frame hole F", "pick 1, frame hole M"
HOOK, POINT = "hoist, load at the hook", "load on the point"
TENSION, PIN = "rear link in tension, one side", "front pivot pin, one side"


@pytest.mark.parametrize(
    ("part", "what", "key", "fails", "holds", "changes"),
    [
        # Chains in line lean together: 87.258 kg on F with the wind from the front, 1 kg of shackle more at the hook.
        # Half of a hoist's capacity may be used.
        (P1, HOOK, "hoist.capacity_kg", 176.51, 176.53, {}),
        # At rest: the dynamic factor is for the lift, 82 · 1.05 = 86.1 kg are less than the gust's.
        (P1, "load on the hole", "frame.hole.0.limit_kg", 87.25, 87.27, {"policy.dynamic_factor": 1.05}),
        # With a greater one the lift counts: 82 · 1.25 = 102.5.
        (P1, "load on the hole", "frame.hole.0.limit_kg", 102.49, 102.51, {"policy.dynamic_factor": 1.25}),
        # One pick: √(100² + 8.9314²) = 100.39806 kg.
        (M1, "load on the hole", "frame.hole.3.limit_kg", 100.39, 100.40, ALONE),
        # At the point 100 kg plumb, 1 of shackle and 50 of hoist, and 8.9314 kg sideways: √(151² + 8.9314²) = 151.264.
        ("point A", POINT, "site.point.0.limit_kg", 151.26, 151.27, ALONE),
        # Of one box: (0.1·392.266 + 0.25·39.8125)/0.4 = 122.948 N in the link with the wind from behind, 61.474 on a
        # side; in still air 49.03.
        ("joint rows 1–2", TENSION, "box.rated.link_kg", 6.268, 6.269, {}),
    ],
)
def test_gust_binds(rig_finding, part, what, key, fails, holds, changes):
    assert rig_finding(part, what, GUST | changes | {key: fails}).status == EXCEEDS
    assert rig_finding(part, what, GUST | changes | {key: holds}).status == WITHIN


@pytest.mark.parametrize(("limit", "status"), [(190.8, EXCEEDS), (191.0, WITHIN)])
def test_an_eyebolt_carries_less_in_a_gust(rig_finding, limit, status):
    # At 16 m/s 22.864 kg sideways of 151 plumb: 8.6° from its shank, beyond 5°, where the handbook's table gives 0.8;
    # √(151² + 22.864²) = 152.72 kg. At rest it is straight below.
    eyebolt = {"site.point.0.eyebolt": True, "site.point.0.limit_kg": limit, "site.gust_m_s": 16.0}
    assert rig_finding("point A", POINT, GUST | ALONE | eyebolt).status == status


def test_the_note_names_the_gust(rig_finding):
    assert "complete, gust 10 m/s from the front" in rig_finding(P1, HOOK, GUST).note
    assert "gust" not in rig_finding(P1, HOOK, {}).note


UNKNOWN = [(part, {"site.open_air": True}) for part in (P1, "point A", "joint rows 1–2", "joint frame–1")]
UNKNOWN += [(part, "pull-back") for part in (P1, "point A", "point B", "pull-back", "joint rows 1–2", "joint frame–1")]


@pytest.mark.parametrize(("part", "unknown"), UNKNOWN)
def test_what_a_gust_does_is_not_known(judged_rig, part, unknown):
    rope = {"hang.pick": [PICK | {"hole": "F"}], "hang.pullback": PICK | {"point": "B"}}
    rope |= {"site.point.1.position_m": [-0.4, 0.0, 15.2], "site.open_air": True, "site.gust_m_s": 10.0}
    loads = [HOOK, POINT, TENSION, PIN]
    found = [f for f in judged_rig(rope if unknown == "pull-back" else unknown).findings if f.part == part]
    found = [f for f in found if f.what in loads]
    assert found
    assert {f.status for f in found} == {CANNOT}


def test_a_bridle_swings_with_its_load():
    """Two legs at 45° in the plane x = 0, a load with a third of it forward: as √(1 + 1/9) in a plane that leans.

    In their own plane, a third to the left: T = W (1 ± 1/3)/√2, by hand.
    """
    anchors = [[0.0, 3.0, 3.0], [0.0, -3.0, 3.0]]
    held = bridle(900.0, [0.0, 0.0, 0.0], anchors, [300.0, 0.0])
    np.testing.assert_allclose(held.tension, np.hypot(900.0, 300.0) / np.sqrt(2.0), rtol=1e-12)
    np.testing.assert_allclose(held.anchor_force.sum(axis=0), [300.0, 0.0, -900.0], rtol=0, atol=1e-9)
    assert np.degrees(held.from_horizontal) == pytest.approx(np.degrees(np.arcsin(np.sqrt(0.45))), rel=1e-12)
    aside = bridle(900.0, [0.0, 0.0, 0.0], anchors, [0.0, 300.0])
    # The pull to the left eases the leg to the left, of which the anchor lies there.
    np.testing.assert_allclose(aside.tension, np.array([600.0, 1200.0]) / np.sqrt(2.0), rtol=1e-12)


def test_three_legs_hold_a_load_that_leans():
    anchors = np.array([[2.0, 0.0, 3.0], [-1.0, 2.0, 2.5], [-1.0, -2.0, 2.0]])
    held = bridle(1000.0, [0.0, 0.0, 0.0], anchors, [60.0, -40.0])
    expected = np.linalg.solve((anchors / np.linalg.norm(anchors, axis=1)[:, None]).T, [-60.0, 40.0, 1000.0])
    np.testing.assert_allclose(held.tension, expected, rtol=1e-9)


def test_joint_in_a_gust_from_the_front_and_from_the_side(judged_rig):
    """Rows 1–2: one box below, its weight 392.266 N at u = −0.1 and 0.25 m below the pivot, as the drag.

    From the front: link (0.1·392.266 − 0.25·39.8125)/0.4 = 73.1821 N, pivot 39.8125 N forward and the rest up.
    From the right the column rolls by φ, tan φ = 0.519512·65.2925/(0.49·980.665); of weight and drag 392.266 cos φ and
    27.86875 sin φ pull along it, at u = −0.1 and −0.15: (39.1292 + 0.2944)/0.4 = 98.5589 N in the link. What is left:
    0.25·(392.266 sin φ − 27.86875 cos φ) about the forward axis, over 0.9 m on either pair of a side; and
    0.15·27.86875 cos φ about the upright one, over 0.9 m on the pins, so the force of both is greater by twice it.
    """
    report = judged_rig(GUST)
    gusts = gusts_on(report.hang, report.site, report.stages[-1], report.policy)
    front, right = ((g, *joints_in(report.hang, report.stages[-1], g)) for g in (gusts[1], gusts[2]))
    np.testing.assert_allclose(front[1].link[1], (39.2266 - 9.953125) / 0.4, rtol=1e-9)
    np.testing.assert_allclose(front[1].pivot[1], [39.8125, 392.266 - front[1].link[1]], rtol=1e-9)
    assert front[2][1] == 0.0
    phi = np.arctan(0.51951219512 * 65.2925 / (0.49 * 980.665))
    np.testing.assert_allclose(right[0].roll, phi, rtol=1e-9)
    along = np.array([392.266 * np.cos(phi), 27.86875 * np.sin(phi)])
    np.testing.assert_allclose(right[1].link[1], along @ [0.1, 0.15] / 0.4, rtol=1e-9)
    upright = 2 * 0.15 * 27.86875 * np.cos(phi) / 0.9
    np.testing.assert_allclose(right[1].pivot[1], [0.0, along.sum() - right[1].link[1] + upright], rtol=1e-9, atol=1e-9)
    left = 0.25 * abs(392.266 * np.sin(phi) - 27.86875 * np.cos(phi))
    np.testing.assert_allclose(right[2][1], left / 0.9, rtol=1e-9)


MEADOW = "sample_venues/meadow/left.toml"
ARENA = "sample_venues/arena/left.toml"


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def tilted(points, tilt: float) -> np.ndarray:
    """Points (N, 3) of the untilted frame, turned nose up about y."""
    return Rotation.from_rotvec([0.0, -tilt, 0.0]).apply(points)


@pytest.mark.parametrize("name", [MEADOW, ARENA])
@pytest.mark.parametrize("gust", [3, 11, 25])
@pytest.mark.parametrize("off", [0.0, 0.03])
def test_balance_in_space(catalogue, name, gust, off):
    """Weight, drag and the chains' pulls of every gust cancel, and turn the column about no line of its picks.

    Places of all bodies turned in space, left side up about the line of the picks, or about the forward axis at one.
    """
    hang = load_hang(name, catalogue)
    loom = hang.loom.model_copy(update={"y_m": off})
    hang = hang.__class__(**{**vars(hang), "loom": loom})
    policy, site = load_policy(), Site(name="open", open_air=True, gust_m_s=float(gust))
    last = build(hang, 0.1, 0.25)[-1]
    column = column_of(hang)
    gusts = gusts_on(hang, site, last, policy)
    assert [one.name.rsplit(" ", 1)[1] for one in gusts] == ["rear", "front", "right", "left"]
    for index, one in enumerate(gusts):
        sign = 1.0 if index % 2 == 0 else -1.0
        extent = "width_m" if index < 2 else "depth_m"
        areas = np.array([getattr(item, extent) * item.height_m for item in (hang.frame, *hang.items)])
        force = sign * 0.5 * 1.225 * gust**2 * policy.drag * areas.sum()
        pulls = one.pulls.sum(axis=0)
        pushed = [force, 0.0, -column.mass_kg * G] if index < 2 else [0.0, force, -column.mass_kg * G]
        np.testing.assert_allclose(pulls, pushed, rtol=0, atol=1e-9 * column.mass_kg * G)
        picks = tilted([hole.place for hole in pick_holes(hang)], one.tilt)
        line = picks[0] - picks[-1] if len(picks) > 1 else np.array([1.0, 0.0, 0.0])
        line = line / np.linalg.norm(line)
        roll = Rotation.from_rotvec(one.roll * line)
        mass = picks[0] + roll.apply(tilted(column.centre, one.tilt) - picks[0])
        flat = np.column_stack([one.place[:, 0], np.zeros(len(one.place)), one.place[:, 1]])
        drag = picks[0] + roll.apply(flat - picks[0])
        about = picks[0]
        push = np.zeros((len(drag), 3))
        push[:, index // 2] = one.drag
        moment = np.cross(mass - about, np.outer(column.mass, [0.0, 0.0, -G])).sum(axis=0)
        moment = moment + np.cross(drag - about, push).sum(axis=0)
        moment = moment - np.cross(picks - about, one.pulls).sum(axis=0)
        # About the axis across the plane of the picks, and about their line; their chains hold what turns it upright.
        across = moment[1] if index < 2 else moment @ line
        # A column that a loom off the middle rolls by some 0.1° is taken as upright in its plane: its cosine, 1e-6.
        assert abs(across) < (1e-9 if off == 0 else 1e-6) * column.mass_kg * G
