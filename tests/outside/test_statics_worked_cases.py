"""A column of six boxes, one of twelve and a build-up, worked through outside the project and read here from files.

calc: moments by hand and two finite-element libraries, anastruct 1.7.0 and PyNiteFEA 3.2.0, which agree to 1e-4 N.
Box: 40 kg, height 0.25 m, rear holes 0.45 m behind the pivots and 0.05 m inside the faces, centre of mass
(−0.22, −0.125) m from the upper front pivot. Frame: 30 kg, centre of mass (−0.25, 0.05) m, rear hole (−0.45, 0.05) m,
picks (0.10, 0.10) and (−0.70, 0.10) m. g = 9.80665 m/s². Forces in N, both sides together.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from acoustics.app import cli
from rigging.check import Report, check
from rigging.column import column_of
from rigging.equipment import load_catalogue
from rigging.geometry import lay_out
from rigging.hang import load_hang
from rigging.loads import reachable
from rigging.policy import load_policy
from rigging.statics import turned

G = 9.80665

COMMON = """
description = "for checks"
source = "worked case"
width_m = 1.0
pivot = "front"
rear_hole_back_m = 0.45
rear_hole_inset_m = 0.05
"""
FRAME = f"""
format = "frame/1"
name = "case frame"
mass_kg = 30.0
centre_of_mass_m = [-0.25, 0.0, 0.05]
height_m = 0.1
depth_m = 0.9
front_m = 0.1
{COMMON}
below = [{{ fitting = "case", splays_deg = [0.0] }}]
hole = [
    {{ name = "front", position_m = [0.1, 0.0, 0.1] }},
    {{ name = "at 0", position_m = [0.0, 0.0, 0.1] }},
    {{ name = "at -0.2", position_m = [-0.2, 0.0, 0.1] }},
    {{ name = "at -0.3", position_m = [-0.3, 0.0, 0.1] }},
    {{ name = "at -0.5", position_m = [-0.5, 0.0, 0.1] }},
    {{ name = "rear", position_m = [-0.7, 0.0, 0.1] }},
]
"""
BOX = f"""
format = "enclosure/1"
name = "case box"
mass_kg = 40.0
centre_of_mass_m = [-0.22, 0.0, -0.125]
height_m = 0.25
depth_m = 0.5
front_m = 0.0
top_fitting = "case"
reference_m = [0.0, 0.0, -0.125]
{COMMON}
below = [{{ fitting = "case", splays_deg = [0.0, 1.0, 2.0, 3.0, 5.0, 8.0] }}]
[acoustic]
model = "point"
"""
A, G_STRAIGHT = (0.0, 1.0, 2.0, 3.0, 5.0, 8.0), (0.0,) * 12

# Rounded to 1e-3 N, calculated to 1e-4 N.
NEWTON = {"rtol": 0, "atol": 6e-4}
LINKS_MM = [100.000, 92.142, 84.278, 76.406, 60.647, 36.976]  # exact: 2R sin(φ − s/2), rounded to 1e-3 mm
PIVOTS_M = [(0, 0), (-0.0131, -0.2497), (-0.0305, -0.4990), (-0.0567, -0.7477), (-0.0958, -0.9946), (-0.1562, -1.2372)]
A_PICKS = [1339.465, 1308.331]
A_REAR = [1542.837, 1287.397, 1027.046, 756.488, 481.911, 217.473]
A_FRONT = [(-80.7, 812.9), (-78.6, 676.3), (-89.5, 545.9), (-98.7, 426.8), (-96.1, 312.3), (-67.2, 185.4)]
G_PICKS = [4653.055, 348.337]
G_REAR = [-458.319, -211.993, -3.509, 167.133, 299.932, 394.889, 452.003, 471.275, 452.705, 396.292, 302.037, 169.940]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Equipment of the cases, and a policy that leaves every share of the weight to a pick."""
    path = tmp_path_factory.mktemp("case")
    (path / "equipment").mkdir()
    (path / "equipment" / "frame.toml").write_text(FRAME)
    (path / "equipment" / "box.toml").write_text(BOX)
    policy = tomlkit.parse((resources.files("rigging") / "policies" / "no_people.toml").read_text())
    policy["least_pick_share"] = 0.0
    (path / "policy.toml").write_text(tomlkit.dumps(policy))
    return path


@pytest.fixture
def write(folder: Path) -> Callable[..., Path]:
    """A hang file of the case's boxes."""

    def text(splays: Any, tilt: float, holes: Any, extra: str = "") -> Path:
        picks = "".join(f'[[pick]]\nhole = "{hole}"\n' for hole in holes)
        rows = "".join(f'[[column]]\nenclosure = "case box"\nsplay_deg = {splay}\n' for splay in splays)
        head = 'format = "hang/1"\nname = "case"\nframe = "case frame"\nposition_m = [0.0, 0.0, 8.0]\n'
        path = folder / "hang.toml"
        path.write_text(f"{head}tilt_deg = {tilt}\nfloor_below_m = 0.0\n{picks}{extra}\n{rows}")
        return path

    return text


@pytest.fixture
def judge(folder: Path, write: Callable[..., Path]) -> Callable[..., Report]:
    """The report of `rigging.check.check`."""

    def report(*hang: Any) -> Report:
        catalogue = load_catalogue([folder / "equipment"])
        return check(load_hang(write(*hang), catalogue), catalogue, load_policy(folder / "policy.toml"))

    return report


@pytest.fixture
def printed(
    folder: Path, write: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> Callable[..., dict[str, Any]]:
    """What `evenhang check --json` prints."""

    def data(*hang: Any) -> dict[str, Any]:
        options = ["--equipment", str(folder / "equipment"), "--policy", str(folder / "policy.toml"), "--json"]
        code = cli.main(["check", str(write(*hang)), *options])
        found = capsys.readouterr()
        # Nothing here is rated and nothing is exceeded: it ends as what cannot be judged.
        assert code == 4, found.err
        answer: dict[str, Any] = json.loads(found.out)
        return answer

    return data


def test_six_boxes_in_space(judge):
    """Pivots, links, centre of mass and lowest edge of the six boxes, frame at −3°."""
    hang = judge(A, -3.0, ["front", "rear"]).hang
    layout, column = lay_out(hang), column_of(hang)
    np.testing.assert_allclose(layout.rows.origin[:, [0, 2]] - [0.0, 8.0], PIVOTS_M, rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(turned(column.pivot, np.radians(-3.0)), PIVOTS_M, rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(layout.lowest_m, 8.0 - 1.46897, rtol=0, atol=5.1e-6)
    np.testing.assert_allclose(column.lowest_m(np.radians(-3.0)), -1.46897, rtol=0, atol=5.1e-6)
    np.testing.assert_allclose(column.mass_kg, 270.0, rtol=1e-12, atol=0)  # exact
    np.testing.assert_allclose(column.balance, [-0.25673, 0.0, -0.63586], rtol=0, atol=5.1e-6)


def test_six_boxes_judged(judge):
    report = judge(A, -3.0, ["front", "rear"])
    held = report.stages[-1].balance
    np.testing.assert_allclose(held.low, A_PICKS, **NEWTON)
    np.testing.assert_allclose(held.high, A_PICKS, **NEWTON)
    np.testing.assert_allclose(report.joints.link_m * 1000.0, LINKS_MM, rtol=0, atol=5.1e-4)
    np.testing.assert_allclose(report.joints.link, A_REAR, **NEWTON)
    np.testing.assert_allclose(report.joints.pivot, A_FRONT, rtol=0, atol=0.051)


def test_six_boxes_printed(printed):
    answer = printed(A, -3.0, ["front", "rear"])
    np.testing.assert_allclose([pick["hole_kg"] * G for pick in answer["picks"]], A_PICKS, **NEWTON)
    np.testing.assert_allclose([pick["low_kg"] * G for pick in answer["picks"]], A_PICKS, **NEWTON)
    np.testing.assert_allclose([joint["link_n"] for joint in answer["joints"]], A_REAR, **NEWTON)
    np.testing.assert_allclose([joint["pivot_n"] for joint in answer["joints"]], A_FRONT, rtol=0, atol=0.051)
    np.testing.assert_allclose([joint["link_m"] * 1e3 for joint in answer["joints"]], LINKS_MM, rtol=0, atol=5.1e-4)
    assert [joint["beyond_half_n"] for joint in answer["joints"]] == [0.0] * 6
    (lowest,) = [f["value"] for f in answer["findings"] if f["what"] == "lowest edge above the floor below"]
    np.testing.assert_allclose(lowest, 8.0 - 1.46897, rtol=0, atol=5.1e-6)


def test_tilts_that_two_picks_reach(judge, printed):
    reach = [-31.064, 25.863]
    stage = printed(A, -3.0, ["front", "rear"])["stages"][-1]
    assert stage["rows"] == 6
    np.testing.assert_allclose(stage["reachable_deg"], reach, rtol=0, atol=5.1e-4)
    hang = judge(A, -3.0, ["front", "rear"]).hang
    np.testing.assert_allclose(np.degrees(reachable(hang, column_of(hang))), reach, rtol=0, atol=5.1e-4)


@pytest.mark.parametrize(
    ("hole", "tilt"),
    [("front", 25.863), ("at 0", 19.233), ("at -0.2", 4.409), ("at -0.3", -3.365), ("at -0.5", -18.293)],
)
def test_tilt_of_a_single_hole(printed, judge, hole, tilt):
    """The file asks for a tilt near by; the balance decides."""
    asked = round(tilt)
    stage = printed(A, asked, [hole])["stages"][-1]
    np.testing.assert_allclose(stage["tilt_deg"], tilt, rtol=0, atol=5.1e-4)
    np.testing.assert_allclose(stage["picks_kg"], [270.0], rtol=1e-9, atol=0)  # exact
    assert stage["reachable_deg"] is None
    report = judge(A, asked, [hole])
    np.testing.assert_allclose(np.degrees(report.stages[-1].balance.tilt), tilt, rtol=0, atol=5.1e-4)


def test_twelve_straight_boxes_judged(judge):
    """Up-tilted: the upper joints push, and each of them asks for its lock."""
    report = judge(G_STRAIGHT, 10.0, ["front", "rear"])
    np.testing.assert_allclose(report.stages[-1].balance.high, G_PICKS, **NEWTON)
    np.testing.assert_allclose(report.joints.link, G_REAR, **NEWTON)
    locks = {f.part for f in report.findings if f.what == "lock that holds both ways"}
    assert {"joint frame–1", "joint rows 1–2", "joint rows 2–3"} <= locks


def test_twelve_straight_boxes_printed(printed):
    answer = printed(G_STRAIGHT, 10.0, ["front", "rear"])
    np.testing.assert_allclose([pick["hole_kg"] * G for pick in answer["picks"]], G_PICKS, **NEWTON)
    np.testing.assert_allclose([joint["link_n"] for joint in answer["joints"]], G_REAR, **NEWTON)


BUILD_UP = [-24.11, -14.91, -10.37, -7.49, -5.30, -3.37]  # with 1 … 6 boxes on, rounded to 0.01°


def test_build_up_on_a_single_hole(judge, printed):
    """Box by box: what hangs half built tilts otherwise than the complete column, which comes last once more."""
    case = (A, -3.0, ["at -0.3"], "[carts]\ngroups = [1, 1, 1, 1, 1, 1]")
    stages = printed(*case)["stages"]
    assert [stage["rows"] for stage in stages] == [1, 2, 3, 4, 5, 6, 6]
    tilts = [stage["tilt_deg"] for stage in stages]
    np.testing.assert_allclose(tilts, [*BUILD_UP, BUILD_UP[-1]], rtol=0, atol=5.1e-3)
    masses = [stage["mass_kg"] for stage in stages[:-1]]
    np.testing.assert_allclose(masses, 30.0 + 40.0 * np.arange(1, 7), rtol=1e-12, atol=0)
    tilts = np.degrees([stage.balance.tilt for stage in judge(*case).stages[:-1]])
    np.testing.assert_allclose(tilts, BUILD_UP, rtol=0, atol=5.1e-3)
