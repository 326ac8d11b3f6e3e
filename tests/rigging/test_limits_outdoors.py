"""Limits of a hang in the wind and of a stack that bind: a little below them and a little above, by hand.

A frame of 20 kg and two boxes of 40 kg, the numbers of which make the sums easy. At a tilt of 0, in m from the front
pivot, the centre of mass of all 100 kg lies at u = (−0.5·20 − 0.1·80)/100 = −0.18 and
v = (0.05·20 − 0.25·40 − 0.75·40)/100 = −0.39; picks F at u = 0 and R at u = −1 are at v = 0.1. All exact; forces in kg,
the weight of that mass at 9.80665 m/s².
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from typing import Any

import pytest
import tomlkit

from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.findings import EXCEEDS, WITHIN, Finding
from rigging.hang import load_hang
from rigging.policy import Policy
from rigging.site import Site

# fmt: off
BODY = {"description": "for checks", "source": "typed", "width_m": 1.0, "pivot": "front", "rear_hole_back_m": 0.4,
        "rear_hole_inset_m": 0.05, "side_spacing_m": 0.9, "below": [{"fitting": "box", "splays_deg": [0.0]}],
        "rated": {"source": "typed", "link_kg": 500.0, "link_push_kg": 500.0, "pin_kg": 500.0, "locks_both_ways": True}}
HOLES = {"F": (0.0, 0.0), "L": (-0.18, 0.3), "Q": (-0.18, -0.3), "M": (-0.2, 0.0), "R": (-1.0, 0.0)}
RIG: dict[str, dict[str, Any]] = {
    "frame": BODY | {"format": "frame/1", "name": "bar", "mass_kg": 20.0, "centre_of_mass_m": [-0.5, 0.0, 0.05],
                     "height_m": 0.1, "depth_m": 1.2, "front_m": 0.1,
                     "hole": [{"name": n, "position_m": [x, y, 0.1], "limit_kg": 900.0}
                              for n, (x, y) in HOLES.items()]},
    "box": BODY | {"format": "enclosure/1", "name": "box", "mass_kg": 40.0, "centre_of_mass_m": [-0.1, 0.0, -0.25],
                   "height_m": 0.5, "depth_m": 0.7, "front_m": 0.2, "top_fitting": "box",
                   "reference_m": [0.0, 0.0, -0.25], "acoustic": {}},
    "policy": {"format": "policy/1", "name": "house", "source": "typed", "over_people": True,
               "rope_design_factor": 5.0, "marked_share": 0.5, "dynamic_factor": 1.25, "least_pick_share": 0.1,
               "lean_pick_share": 0.1, "least_leg_deg": 30.0, "included_angle_deg": 120.0, "plumb_deg": 3.0,
               "tilt_tolerance_deg": 0.5,
               "trim_tolerance_m": 0.1, "aim_tolerance_deg": 0.5, "cell_share": 0.1, "cell_kg": 25.0,
               "sum_share": 0.05, "clearance_m": 2.5, "swing_deg": 5.0, "drag": 1.3, "stability": 1.5,
               "friction": 0.3},
    "site": {"name": "hall"},
    "hang": {"format": "hang/1", "name": "main", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
             "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
             "pick": [{"hole": "F"}, {"hole": "R"}]},
}
# fmt: on
ALONE = {"hang.pick": [{"hole": "M"}]}
BESIDE = {"hang.pick": [{"hole": "L"}, {"hole": "Q"}]}
OFF_MIDDLE = {"box.centre_of_mass_m": [-0.1, 0.09, -0.25]}
ROWS, PIN, COMPRESSION = "joint rows 1–2", "front pivot pin, one side", "rear link in compression, one side"


@pytest.fixture
def finding(tmp_path) -> Callable[..., Finding]:
    """The one finding of a part and kind, of the rig with some keys set or, by None, taken out."""

    def find(part: str, what: str, changes: Mapping[str, Any]) -> Finding:
        rig = json.loads(json.dumps(RIG))
        for path, value in changes.items():
            *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
            node: Any = rig
            for step in way:
                node = node[step]
            node[last] = copy.deepcopy(value)
            if value is None:
                del node[last]
        (tmp_path / "equipment").mkdir(exist_ok=True)
        for name in ("frame", "box"):
            (tmp_path / "equipment" / f"{name}.toml").write_text(tomlkit.dumps(rig[name]))
        (tmp_path / "hang.toml").write_text(tomlkit.dumps(rig["hang"]))
        catalogue = load_catalogue([tmp_path / "equipment"])
        report = check(
            load_hang(tmp_path / "hang.toml", catalogue), catalogue, Policy(**rig["policy"]), Site(**rig["site"])
        )
        (found,) = (f for f in report.findings if (f.part, f.what) == (part, what))
        return found

    return find


# Across a wind along x: 0.1·1.0 + 2·0.5·1.0 = 1.1 m², its middle (0.05·0.1 − 0.25·0.5 − 0.75·0.5)/1.1 = −0.45 m high;
# from the side 0.1·1.2 + 2·0.5·0.7 = 0.82 m². Drag ½·1.225·v²·1.3·A: at 10 m/s 87.5875 and 65.2925 N.
GUST = {"site.open_air": True, "site.gust_m_s": 10.0}
FRONT, SIDE = "wind from the front or rear", "wind from the side"


@pytest.mark.parametrize(
    ("what", "key", "fails", "holds", "changes"),
    [
        # On one pick the column turns about it: at rest nose down by atan(0.02/0.49), its centre of mass then
        # 0.490408 m plumb below; the drag 0.550284 m below and 0.004264 m behind from the front:
        # tan δ = 0.550284·87.5875/(0.490408·980.665 − 0.004264·87.5875), 5.7274°.
        (f"swing, {FRONT}", "policy.swing_deg", 5.72, 5.73, ALONE),
        # From the side the drag is 0.519030 m below: tan δ = 0.519030·65.2925/(0.490408·980.665), 4.0308°.
        (f"swing, {SIDE}", "policy.swing_deg", 4.03, 4.04, ALONE),
        # About the level line of F and R: tan δ = 0.519512·65.2925/(0.49·980.665), 4.0378°.
        (f"swing, {SIDE}", "policy.swing_deg", 4.03, 4.04, {}),
        # Along the line of its picks the chains lean together: tan δ = 87.5875/980.665, 5.1037°.
        (f"swing, {FRONT}", "policy.swing_deg", 5.10, 5.11, {}),
        # About pick F: the weight, 0.18 m behind it, and the drag, 0.55 m below it, leave R's chain nothing at
        # 980.665·0.18/0.55 = 320.945 N, at 19.1424 m/s.
        (f"least load of a pick, {FRONT}", "site.gust_m_s", 19.15, 19.13, {}),
        # Side by side 0.6 m apart, 50 kg each; from the side 0.82 m² at (0.05·0.12 − 0.25·0.35 − 0.75·0.35)/0.82, which
        # is 0.519512 m below the picks: 50·9.80665·0.6/0.519512 = 566.297 N, at 29.450 m/s.
        (f"least load of a pick, {SIDE}", "site.gust_m_s", 29.46, 29.44, BESIDE),
        # As below.
        (f"load on frame hole F, {FRONT}", "frame.hole.0.limit_kg", 87.257, 87.259, {}),
        (f"load on frame hole R, {FRONT}", "frame.hole.4.limit_kg", 23.003, 23.004, {}),
    ],
)
def test_wind_on_a_hang_binds(finding, what, key, fails, holds, changes):
    assert finding("wind", what, GUST | changes | {key: fails}).status == EXCEEDS
    assert finding("wind", what, GUST | changes | {key: holds}).status == WITHIN


def test_load_in_the_wind_is_in_kilograms(finding):
    # About pick F, R's chain holds (0.18·980.665 ∓ 0.55·87.5875) N m at 1 m, about R F's 0.82 and 0.55, both along
    # chains that lean by tan δ = 87.5875/980.665, so √(1 + tan²δ) = 1.0039806 times their plumb parts.
    found = finding("wind", f"least load of a pick, {FRONT}", GUST)
    assert found.value == pytest.approx(13.139804, rel=1e-6, abs=0)
    assert (found.limit, found.used, found.status) == (0.0, None, WITHIN)
    assert "slack at 19.1 m/s" in found.note
    for hole, kg in (("F", 87.258261), ("R", 23.003497)):
        found = finding("wind", f"load on frame hole {hole}, {FRONT}", GUST)
        assert found.value == pytest.approx(kg, rel=1e-6, abs=0)


# The boxes stand on the frame, which lies upside down: its top is the floor.
STACK = {"hang.standing": True, "hang.pick": None, "hang.position_m": [0.0, 0.0, 1.1]}
AHEAD = {"box.centre_of_mass_m": [0.2, 0.0, -0.25]}


@pytest.mark.parametrize(
    ("part", "what", "key", "fails", "holds", "changes"),
    [
        ("stack", "base off the floor", "hang.position_m", [0.0, 0.0, 1.121], [0.0, 0.0, 1.119], {}),
        ("stack", "base off the floor", "hang.position_m", [0.0, 0.0, 1.079], [0.0, 0.0, 1.081], {}),
        # The front edge is at u = 0.1: (−0.5·m + 0.2·80)/(m + 80) with a frame of m = 13.33 kg.
        ("stack", "centre of mass inside its base", "frame.mass_kg", 13.3, 13.4, AHEAD),
        # 0.4·80/100 = 0.32 m off the middle of the base.
        ("stack", "centre of mass inside its base", "frame.width_m", 0.63, 0.65,
         {"box.centre_of_mass_m": [-0.1, 0.4, -0.25]}),
        # 87.5875 N / 980.665 N, and 65.2925 N.
        ("wind", "friction it needs, wind over an edge", "policy.friction", 0.0893, 0.0894, GUST),
        ("wind", "friction it needs, wind sideways", "policy.friction", 0.0665, 0.0667, GUST),
        # (0.05·0.1 + 0.35·0.5 + 0.85·0.5)/1.1 = 0.55 m high: 980.665·0.28/(87.5875·0.55) = 5.7000.
        ("wind", "stability over an edge", "policy.stability", 5.71, 5.69, GUST),
        # (0.05·0.12 + 0.35·0.35 + 0.85·0.35)/0.82 = 0.519512 m high: 980.665·0.5/(65.2925·0.519512) = 14.4554.
        ("wind", "stability sideways", "policy.stability", 14.46, 14.45, GUST),
        # 40 kg stand at u = −0.1: the link pushes with 10 kg, the pins carry 30.
        (ROWS, COMPRESSION, "box.rated.link_push_kg", 4.99, 5.01, {}),
        (ROWS, PIN, "box.rated.pin_kg", 14.99, 15.01, {}),
        # A gust from the front, 39.8125 N at 0.25 m above the joint: (39.2266 + 9.9531)/0.4 = 122.949 N in the link,
        # 61.475 on a side; from behind the pins carry 392.266 − 73.184 plumb and 39.8125 across, 160.78 on a side.
        # From the side 27.86875·(0.25 + 0.15)/0.9 = 12.386 N more than in still air: less than either.
        (ROWS, COMPRESSION, "box.rated.link_push_kg", 6.268, 6.269, GUST),
        (ROWS, PIN, "box.rated.pin_kg", 16.394, 16.396, GUST),
        # 0.09 m off the middle: 40·0.09/0.9 = 4 kg more.
        (ROWS, COMPRESSION, "box.rated.link_push_kg", 8.99, 9.01, OFF_MIDDLE),
        (ROWS, PIN, "box.rated.pin_kg", 18.99, 19.01, OFF_MIDDLE),
    ],
)  # fmt: skip
def test_stack_binds(finding, part, what, key, fails, holds, changes):
    assert finding(part, what, STACK | changes | {key: fails}).status == EXCEEDS
    assert finding(part, what, STACK | changes | {key: holds}).status == WITHIN
