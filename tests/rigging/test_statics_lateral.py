"""Loads off the middle: roll, sides and mirror images, by balances in three dimensions written here.

Axes x forward, y to the left, z up, as 3 × 3 rotations: first the tilt (nose up, about −y), then the roll
(left side up, about +x). The file's numbers are read again from what was written.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tomlkit
from scipy.spatial.transform import Rotation

from rigging.check import Report, check
from rigging.column import column_of, joints_of, side_beyond
from rigging.equipment import load_catalogue
from rigging.hang import Hang, load_hang
from rigging.loads import balance
from rigging.policy import load_policy

Array = npt.NDArray[np.float64]

G, WIDE = 9.80665, 0.9
BACK, INSET, HEIGHT, DEPTH = 0.45, 0.05, 0.25, 0.5
BOX_KG, FRAME_KG = 40.0, 30.0
BOX_CENTRE, FRAME_CENTRE = [-0.22, 0.0, -0.125], [-0.25, 0.0, 0.05]
SPLAYS = [0.0, 1.0, 2.0, 3.0, 5.0, 8.0]

COMMON: dict[str, Any] = {
    "description": "for checks",
    "source": "for checks",
    "width_m": 1.0,
    "front_m": 0.0,
    "pivot": "front",
    "rear_hole_back_m": BACK,
    "rear_hole_inset_m": INSET,
    "side_spacing_m": WIDE,
    "below": [{"fitting": "box", "splays_deg": SPLAYS}],
}
FRAME = COMMON | {
    "format": "frame/1",
    "name": "frame",
    "mass_kg": FRAME_KG,
    "centre_of_mass_m": FRAME_CENTRE,
    "height_m": 0.1,
    "depth_m": 1.0,
    "front_m": 0.2,
}
BOX = COMMON | {
    "format": "enclosure/1",
    "name": "box",
    "mass_kg": BOX_KG,
    "centre_of_mass_m": BOX_CENTRE,
    "height_m": HEIGHT,
    "depth_m": DEPTH,
    "top_fitting": "box",
    "reference_m": [0.0, 0.0, 0.0],
    "pullback_m": [-0.45, 0.0, -0.2],
    "acoustic": {"model": "point"},
}


@dataclass(frozen=True)
class Case:
    """A hang, and its masses (7,) [kg], centres of mass (7, 3), pivots (6, 3) and picks (K, 3) at no tilt. [m]"""

    hang: Hang
    report: Report
    mirrored: Hang
    mass: Array
    centre: Array
    pivot: Array
    picks: Array

    @property
    def balance_point(self) -> Array:
        return np.asarray(self.mass @ self.centre / self.mass.sum())


@pytest.fixture
def case(tmp_path: Any) -> Callable[..., Case]:
    """Six boxes on picks at places (u, y, v), with a loom (kg/m, y)."""

    def build(picks: Any, tilt: float = 0.0, loom: tuple[float, float] = (0.0, 0.0), spacing: bool = True, **more: Any):
        (tmp_path / "equipment").mkdir(exist_ok=True)
        holes = [{"name": str(i), "position_m": list(place)} for i, place in enumerate(picks)]
        rows = [{"enclosure": "box", "splay_deg": splay} for splay in SPLAYS]
        hang = {
            "format": "hang/1",
            "name": "off the middle",
            "frame": "frame",
            "position_m": [1.0, 2.0, 9.0],
            "tilt_deg": tilt,
            "loom": {"kg_per_m": loom[0], "y_m": loom[1]},
            "pick": [{"hole": hole["name"]} for hole in holes],
            "column": rows,
        }
        box = BOX if spacing else {key: value for key, value in BOX.items() if key != "side_spacing_m"}
        files = {"equipment/frame": FRAME | {"hole": holes}, "equipment/box": box, "hang": hang | more}
        files["mirror"] = {"format": "hang/1", "name": "mirror", "mirror_of": "hang.toml"}
        for name, data in files.items():
            (tmp_path / f"{name}.toml").write_text(tomlkit.dumps(data))
        catalogue = load_catalogue([tmp_path / "equipment"])
        loaded, mirror = (load_hang(tmp_path / f"{name}.toml", catalogue) for name in ("hang", "mirror"))
        return Case(
            loaded, check(loaded, catalogue, load_policy()), mirror, *solids(loom), np.array(picks, dtype=float)
        )

    return build


def solids(loom: tuple[float, float]) -> tuple[Array, Array, Array]:
    masses, centres, pivots = [FRAME_KG], [np.array(FRAME_CENTRE)], []
    pivot, turn = np.zeros(3), Rotation.identity()
    cable = loom[0] * HEIGHT
    for splay in SPLAYS:
        turn = turn * Rotation.from_euler("y", splay, degrees=True)
        pivots.append(pivot)
        masses.append(BOX_KG + cable)
        first = BOX_KG * np.array(BOX_CENTRE) + cable * np.array([-DEPTH, loom[1], -HEIGHT / 2])
        centres.append(pivot + turn.apply(first / masses[-1]))
        pivot = pivot + turn.apply([0.0, 0.0, -HEIGHT])
    return np.array(masses), np.array(centres), np.array(pivots)


def tilted(tilt: float) -> Rotation:
    return Rotation.from_euler("y", -tilt)


def heavier_side(case: Case, tilt: float, roll: float) -> Array:
    """Force that the heavier side takes along the tilted up direction beyond its half, over the weight below, (6,).

    Moments of the weight below about the forward axis through a joint's middle, in axes that roll with the column.
    """
    down = Rotation.from_euler("x", -roll).apply([0.0, 0.0, -1.0])
    found = []
    for joint in range(len(case.pivot)):
        mass = case.mass[joint + 1 :]
        centre = mass @ case.centre[joint + 1 :] / mass.sum()
        arm = tilted(tilt).apply(centre - case.pivot[joint])
        found.append(abs(np.cross(arm, down)[0]) / WIDE)
    return np.array(found)


OUTER = [(u, y, 0.1) for u in (-0.5, -0.3, 0.1) for y in (-0.3, 0.2)]


@pytest.mark.parametrize("place", OUTER)
@pytest.mark.parametrize("loom", [(0.0, 0.0), (4.0, 0.4)])
def test_single_outer_hole(case, place, loom):
    """Tilted and rolled as the balance says, the centre of mass is plumb below the pick."""
    given = case([place], loom=loom)
    held = given.report.stages[-1].balance
    apart = (Rotation.from_euler("x", held.roll) * tilted(held.tilt)).apply(given.balance_point - given.picks[0])
    np.testing.assert_allclose(apart[:2], [0.0, 0.0], rtol=0, atol=1e-12)
    assert apart[2] < 0
    # The side of the hole goes up.
    assert np.sign(held.roll) == np.sign(place[1] - given.balance_point[1])
    np.testing.assert_allclose(held.low, [given.mass.sum() * G], rtol=1e-12, atol=0)


SIDEWAYS = [
    ([(0.1, 0.2, 0.1), (-0.7, 0.2, 0.1)], (0.0, 0.0)),
    ([(0.1, -0.25, 0.1), (-0.7, -0.25, 0.1)], (1.5, 0.3)),
    ([(0.1, 0.0, 0.1), (-0.7, 0.0, 0.1)], (4.0, -0.45)),
]


@pytest.mark.parametrize(("picks", "loom"), SIDEWAYS)
def test_sides_of_a_level_frame(case, picks, loom):
    """Picks in line off the middle, or a loom on one side: no joint is halved."""
    given = case(picks, loom=loom)
    held = given.report.stages[-1].balance
    # exact: the plumb line through the line of the picks holds the centre of mass.
    y, drop = picks[0][1] - given.balance_point[1], 0.1 - given.balance_point[2]
    np.testing.assert_allclose(math.tan(held.roll), y / drop, rtol=1e-12, atol=0)
    beyond = given.report.beyond
    assert np.all(beyond > 0)
    assert off_plane(given, Rotation.from_euler("x", held.roll)) < 1e-12
    expected = heavier_side(given, 0.0, held.roll) * weight_below(given)
    np.testing.assert_allclose(beyond, expected, rtol=1e-9, atol=0)


def weight_below(case: Case) -> np.ndarray:
    """Weight below each joint of the complete column. [N]"""
    return G * np.cumsum(case.mass[:0:-1])[::-1]


def test_sides_in_the_middle_are_halves(case):
    given = case([(0.1, 0.0, 0.1), (-0.7, 0.0, 0.1)], -3.0, (2.0, 0.0))
    np.testing.assert_array_equal(given.report.beyond, np.zeros(6))
    assert given.report.stages[-1].balance.roll == 0.0


def test_findings_judge_the_heavier_side(case):
    given = case([(0.1, 0.2, 0.1), (-0.7, 0.2, 0.1)])
    joints, beyond = given.report.joints, given.report.beyond
    found = {f.part: f.value for f in given.report.findings if f.what == "rear link in tension, one side"}
    names = ["frame–1", *(f"rows {i}–{i + 1}" for i in range(1, 6))]
    complete = {
        f"joint {name}": (force / 2 + extra) / G for name, force, extra in zip(names, joints.link, beyond, strict=True)
    }
    for part in ("joint rows 4–5", "joint rows 5–6"):  # which hang at the last stage only
        np.testing.assert_allclose(found[part], complete[part], rtol=1e-12, atol=0)


def test_sides_of_unknown_spacing_cannot_be_judged(case):
    given = case([(0.1, 0.2, 0.1), (-0.7, 0.2, 0.1)], spacing=False)
    assert np.all(np.isnan(given.report.beyond))
    found = [f for f in given.report.findings if "one side" in f.what]
    assert found
    assert {f.status for f in found} == {"cannot be judged"}
    assert all("gives no side_spacing_m" in f.note and f.value is None for f in found)


def test_sides_of_a_tilted_frame(case):
    """Hung from its front corner at +26°: the lateral arms are those of the tilted column."""
    given = case([(0.1, 0.2, 0.1)])
    held = given.report.stages[-1].balance
    assert held.tilt > math.radians(25)
    expected = heavier_side(given, held.tilt, held.roll)
    np.testing.assert_allclose(given.report.beyond, expected * weight_below(given), rtol=1e-3, atol=1e-3)


def off_plane(case: Case, turn: Rotation) -> float:
    """How far the centre of mass lies off the upright plane through the first two picks. [m]"""
    along = turn.apply(case.picks[0] - case.picks[1])
    apart = turn.apply(case.balance_point - case.picks[1])
    return abs(along[0] * apart[1] - along[1] * apart[0]) / math.hypot(*along[:2])


def test_roll_about_a_sloping_line_of_picks(case):
    """Upright chains put the centre of mass below their line, be the roll counted before or after the tilt."""
    given = case([(0.1, 0.2, 0.1), (-0.7, 0.2, 0.1)], 20.0)
    held = given.report.stages[-1].balance
    roll, tilt = Rotation.from_euler("x", held.roll), tilted(held.tilt)
    assert held.roll > math.radians(10)
    assert min(off_plane(given, roll * tilt), off_plane(given, tilt * roll)) < 0.002


def test_most_that_one_link_can_carry(case):
    """Where the pivots share evenly, the links hold the whole lateral moment: T/2 + W |y| / b on one."""
    given = case([(0.1, 0.2, 0.1), (-0.7, 0.2, 0.1)], 10.0)
    held, joints = given.report.stages[-1].balance, given.report.joints
    beyond = heavier_side(given, held.tilt, held.roll) * weight_below(given)
    found = {f.part: f.value for f in given.report.findings if f.what == "rear link in tension, one side"}
    assert found["joint frame–1"] * G >= 0.99 * (joints.link[0] / 2 + beyond[0])
    np.testing.assert_allclose(given.report.beyond, beyond, rtol=1e-2, atol=0)


def test_picks_side_by_side(case):
    """They share by the lateral place of the centre of mass; the tilt is the balance's."""
    given = case([(-0.3, 0.35, 0.1), (-0.3, -0.45, 0.1)], loom=(4.0, 0.4))
    held = given.report.stages[-1].balance
    assert held.free
    weight, y = given.mass.sum() * G, given.balance_point[1]
    # Moments about the right pick, then about the left one.
    np.testing.assert_allclose(held.low, weight * np.array([y + 0.45, 0.35 - y]) / 0.8, rtol=1e-12, atol=0)
    assert tilted(held.tilt).apply(given.balance_point - given.picks[0])[0] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("tilt", [0.0, 7.0])
def test_three_picks_by_moments(case, tilt):
    """Two in front, one behind, a loom on the left: 3 × 3 equations at the tilted places."""
    given = case([(0.1, 0.4, 0.1), (0.1, -0.4, 0.1), (-0.7, 0.05, 0.1)], tilt, (3.0, 0.4))
    held = given.report.stages[-1].balance
    turn = tilted(math.radians(tilt))
    x, y, _ = turn.apply(given.balance_point)
    places = turn.apply(given.picks)
    matrix = np.vstack([np.ones(3), places[:, 0], places[:, 1]])
    solved = np.linalg.solve(matrix, given.mass.sum() * G * np.array([1.0, x, y]))
    assert min(solved) > 0
    np.testing.assert_allclose(held.low, solved, rtol=1e-7, atol=0)
    np.testing.assert_allclose(held.high, solved, rtol=1e-7, atol=0)


MIRRORED = [
    ([(0.1, 0.2, 0.1)], 0.0),
    ([(0.1, -0.25, 0.1), (-0.7, -0.25, 0.1)], -4.0),
    ([(0.1, 0.4, 0.1), (0.1, -0.4, 0.1), (-0.7, 0.05, 0.1)], 7.0),
]


@pytest.mark.parametrize(("picks", "tilt"), MIRRORED)
def test_mirror_image(case, picks, tilt):
    """The same tilt, loads, forces and shares; the roll and all lateral places turn over."""
    given = case(picks, tilt, (3.0, 0.4))
    columns = [column_of(hang) for hang in (given.hang, given.mirrored)]
    one, other = (balance(h, c, math.radians(tilt)) for h, c in zip((given.hang, given.mirrored), columns, strict=True))
    assert one.tilt == other.tilt
    np.testing.assert_allclose(other.low, one.low, rtol=1e-9, atol=0)
    np.testing.assert_allclose(other.high, one.high, rtol=1e-9, atol=0)
    np.testing.assert_array_equal(columns[1].centre, columns[0].centre * [1.0, -1.0, 1.0])
    assert other.roll == -one.roll
    assert (one.roll != 0.0) == (len(picks) < 3)
    forces = [joints_of(column, one.tilt).link for column in columns]
    np.testing.assert_array_equal(forces[1], forces[0])
    beyond = [side_beyond(c, given.hang, one.tilt, r) for c, r in zip(columns, (one.roll, other.roll), strict=True)]
    np.testing.assert_allclose(beyond[1], beyond[0], rtol=1e-12, atol=0)
    assert np.all(beyond[0] > 0)


def test_three_picks_in_line_and_a_loom_on_one_side(case):
    """As two picks in line do, it rolls until the centre of mass is below the line: here by 0.13°."""
    given = case([(0.1, 0.0, 0.1), (-0.3, 0.0, 0.1), (-0.7, 0.0, 0.1)], loom=(1.0, 0.3))
    assert given.report.stages[-1].balance.problem == ""


def test_two_picks_askew(case):
    """One on the left in front, one in the middle behind: the centre of mass must come below their line."""
    given = case([(0.1, 0.4, 0.1), (-0.7, 0.0, 0.1)])
    held = given.report.stages[-1].balance
    assert held.problem or off_plane(given, Rotation.from_euler("x", held.roll) * tilted(held.tilt)) < 0.01


def test_two_picks_and_a_pullback_are_indeterminate(case):
    """At −10° two picks, one ahead of the other, hold the column alone as well as with any small pull."""
    given = case([(0.1, 0.0, 0.1), (-0.7, 0.0, 0.1)], -10.0, pullback={"to_m": [-1.0, 2.0, 14.0]})
    held = given.report.stages[-1].balance
    assert held.problem or held.indeterminate
    assert [f.status for f in given.report.findings if f.what == "picks in balance"] == ["cannot be judged"]


def test_picks_side_by_side_with_a_pullback(case):
    """The rope pulls in the middle plane: about the forward axis the loom on the left is all that the picks feel."""
    given = case([(-0.3, 0.4, 0.1), (-0.3, -0.4, 0.1)], -10.0, (20.0, 0.5), pullback={"to_m": [-1.0, 2.0, 12.0]})
    left, right = given.report.stages[-1].balance.low
    moment = given.mass.sum() * G * given.balance_point[1]
    np.testing.assert_allclose(left - right, moment / 0.4, rtol=0.02, atol=0)  # the chains lean by some 2°


def test_pullback_to_the_side(case):
    """Six metres aside the same moment asks for a harder pull along the rope, or the case is refused."""
    hangs = [case([(-0.3, 0.0, 0.1)], -10.0, pullback={"to_m": [-1.0, y, 12.0]}) for y in (2.0, 8.0)]
    straight, aside = (given.report.stages[-1].balance for given in hangs)
    assert not straight.problem
    assert aside.problem or np.linalg.norm(aside.pull) > 1.2 * np.linalg.norm(straight.pull)
