"""From hook to roof: bridles by the balance of forces, hoists, ropes, points that two hangs share."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.check import Report, check
from rigging.equipment import Catalogue, load_catalogue
from rigging.hang import load_hang
from rigging.policy import load_policy
from rigging.site import Point, Site
from rigging.suspension import bridle, hoist_weight_kg, stepped_share
from rigging.tackle import Hoist

G = 9.80665
EXAMPLES = settings(max_examples=60, derandomize=True, deadline=None, database=None)


def seeds() -> st.SearchStrategy[np.random.Generator]:
    return st.integers(0, 2**32 - 1).map(np.random.default_rng)


@EXAMPLES
@given(seeds())
def test_two_legs_in_any_plane(rng):
    """Law of sines in the triangle of forces: each tension to the sine of the other leg's angle from plumb."""
    apex, turn = rng.uniform(-5, 5, 3), rng.uniform(0, 2 * math.pi)
    out, up = rng.uniform(0.3, 6.0, 2), rng.uniform(0.5, 6.0, 2)
    along = np.array([math.cos(turn), math.sin(turn), 0.0])
    anchors = [apex - out[0] * along + [0, 0, up[0]], apex + out[1] * along + [0, 0, up[1]]]
    found = bridle(700.0, apex, anchors)
    first, second = np.arctan(out / up)
    expected = 700.0 * np.sin([second, first]) / math.sin(first + second)
    np.testing.assert_allclose(found.tension, expected, rtol=1e-9, atol=0)
    np.testing.assert_allclose(found.included, first + second, rtol=1e-9, atol=0)
    np.testing.assert_allclose(found.from_horizontal, math.pi / 2 - np.array([first, second]), rtol=1e-9, atol=0)
    np.testing.assert_allclose(found.length, np.hypot(out, up), rtol=1e-12, atol=0)
    assert found.off_plane == 0.0


@EXAMPLES
@given(seeds())
def test_three_legs_hold_their_load(rng):
    """Forces on the anchors sum to the load; tensions by Cramer's rule, as ratios of determinants."""
    turns = np.array([0.0, 2.0, 4.2]) + rng.uniform(-0.5, 0.5, 3)
    apart = np.column_stack([np.cos(turns), np.sin(turns), rng.uniform(0.4, 3.0, 3)])
    apart *= rng.uniform(1.0, 5.0, (3, 1))
    apex = rng.uniform(-5, 5, 3)
    found = bridle(900.0, apex, apex + apart)
    unit = apart / np.sqrt((apart**2).sum(axis=1))[:, np.newaxis]
    whole = np.linalg.det(unit.T)
    for index in range(3):
        replaced = unit.T.copy()
        replaced[:, index] = [0.0, 0.0, 900.0]
        np.testing.assert_allclose(found.tension[index], np.linalg.det(replaced) / whole, rtol=1e-9, atol=0)
    np.testing.assert_allclose(found.anchor_force.sum(axis=0), [0.0, 0.0, -900.0], rtol=0, atol=1e-9 * 900)
    pairs = [math.acos(unit[a] @ unit[b]) for a, b in ((0, 1), (0, 2), (1, 2))]
    np.testing.assert_allclose(found.included, max(pairs), rtol=1e-9, atol=0)
    assert np.all(found.tension > 0)


def test_apex_outside_its_anchors():
    """It would hang from the nearer leg alone: the other one goes slack."""
    found = bridle(100.0, (3.0, 0.0, 0.0), [(0.0, 0.0, 4.0), (2.0, 0.0, 4.0)])
    assert found.tension[0] < 0 < found.tension[1]
    np.testing.assert_allclose(found.anchor_force.sum(axis=0), [0.0, 0.0, -100.0], rtol=0, atol=1e-9)


def test_apex_off_the_plane_of_two_legs():
    """Two legs hold nothing sideways: what is left over is reported, here a share of cos 45°."""
    found = bridle(100.0, (0.0, 2.0, 0.0), [(-3.0, 0.0, 2.0), (3.0, 0.0, 2.0)])
    np.testing.assert_allclose(found.off_plane, math.cos(math.radians(45)), rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("anchors", "wrong"),
    [
        ([(0, 0, 1)], "two or three legs, not 1"),
        ([(1, 0, 1), (-1, 0, 1), (0, 1, 1), (0, -1, 1)], "two or three legs, not 4; four are indeterminate"),
        ([(1, 0, 1), (-1, 0, 0)], "above its apex"),
    ],
)
def test_bridles_that_cannot_be(anchors, wrong):
    with pytest.raises(ValueError, match=wrong):
        bridle(1.0, (0.0, 0.0, 0.0), anchors)


def test_a_step_that_is_met_exactly():
    table = ((10.0, 0.9), (20.0, 0.5))
    assert [stepped_share(angle, table) for angle in (0.0, 10.0, 10.0 + 1e-12, 10.1, 20.0, 20.1)] == [
        *[0.9] * 3,
        *[0.5] * 2,
        None,
    ]


@pytest.mark.parametrize(("falls", "mass"), [(1, 54.0 + 1.1 * 12.5), (2, 54.0 + 2 * 1.1 * 12.5)])
def test_chain_of_all_falls(packaged, falls, mass):
    """All of the chain hangs from the roof, be it out or in its bag."""
    hoist = packaged.items["hoist-1t"]
    assert isinstance(hoist, Hoist)
    found = hoist_weight_kg(hoist.model_copy(update={"falls": falls, "chain_m": 12.5}))
    np.testing.assert_allclose(found, mass, rtol=1e-12, atol=0)


# From here on, a hang of the packaged equipment: frame 74 kg, three enclosures of 64 kg, hoist 54 kg with 24 m of
# 1.1 kg/m, class 2 at 4 m/min; shackle 0.36 kg and 0.048 m; rope 0.36 kg/m.
MASS, DYNAMIC = 74.0 + 3 * 64.0, 1.1 + 0.34 * 4 / 60
ROOF = MASS + 0.36 + 54.0 + 24.0 * 1.1


@pytest.fixture(scope="module")
def packaged() -> Catalogue:
    return load_catalogue()


@pytest.fixture
def judge(tmp_path: Path, packaged: Catalogue) -> Callable[..., Report]:
    """One pick at hole 5, (−0.3, 0, 0.11) m in the frame, on what `pick` gives; hung level, azimuth 0."""

    def run(pick: dict[str, Any], points: dict[str, Any], beside: Any = (), **more: Any) -> Report:
        def load(name: str, one: dict[str, Any]) -> Any:
            hang = {
                "format": "hang/1",
                "name": name,
                "frame": "frame-large",
                "position_m": [0.3, 0.0, 6.0],
                "tilt_deg": 0.0,
                "floor_below_m": 0.0,
                "loom": {"kg_per_m": 0.0},
                "column": [{"enclosure": "large", "splay_deg": 0.0}] * 3,
                "pick": [{"hole": "5", "hoist": "hoist-1t", "hardware": ["shackle-1-2"], "top_hardware": []} | one],
            }
            (tmp_path / f"{name}.toml").write_text(tomlkit.dumps(hang | more))
            return load_hang(tmp_path / f"{name}.toml", packaged)

        site = Site(
            name="hall",
            point=tuple(Point(name=name, position_m=at, limit_kg=limit) for name, (at, limit) in points.items()),
        )
        others = [load(f"beside {index}", one) for index, one in enumerate(beside)]
        return check(load("main", pick), packaged, load_policy(), site, others)

    return run


def find(report: Report, part: str, what: str) -> Any:
    (found,) = [f for f in report.findings if (f.part, f.what) == (part, what)]
    return found


def test_from_hole_to_roof(judge):
    """Hook: column and shackle. Roof: hoist and all its chain as well. Point: all of it, moving."""
    report = judge({"point": "P"}, {"P": ((0.0, 0.0, 16.0), 700.0)})
    (line,) = report.lines
    tilt = report.stages[-1].balance.tilt
    hole_z = 6.0 - 0.3 * math.sin(tilt) + 0.11 * math.cos(tilt)
    chain = 16.0 - hole_z - 0.048
    np.testing.assert_allclose(line.hole_kg, MASS, rtol=1e-12, atol=0)
    np.testing.assert_allclose(line.hook_kg, MASS + 0.36, rtol=1e-12, atol=0)
    np.testing.assert_allclose(line.chain_m, chain, rtol=1e-9, atol=0)
    np.testing.assert_allclose(line.roof_kg, ROOF, rtol=1e-12, atol=0)
    found = find(report, "point P", "load on the point")
    np.testing.assert_allclose(found.value, ROOF * DYNAMIC, rtol=1e-9, atol=0)
    assert found.status == "within"
    # Over people half of the marked limits: 1000 kg of the hoist, 1814 kg of the shackle.
    hoist, shackle = (
        find(report, line.name, "hoist, load at the hook"),
        find(report, line.name, "shackle shackle-1-2, in line"),
    )
    np.testing.assert_allclose([hoist.limit, shackle.limit], [500.0, 907.0], rtol=1e-12, atol=0)
    np.testing.assert_allclose([hoist.value, shackle.value], [(MASS + 0.36) * DYNAMIC] * 2, rtol=1e-9, atol=0)


def test_a_point_that_two_hangs_share(judge):
    alone = judge({"point": "P"}, {"P": ((0.0, 0.0, 16.0), 500.0)})
    shared = judge({"point": "P"}, {"P": ((0.0, 0.0, 16.0), 500.0)}, beside=[{"point": "P"}])
    one, both = (find(report, "point P", "load on the point") for report in (alone, shared))
    np.testing.assert_allclose(both.value, 2 * one.value, rtol=1e-12, atol=0)
    assert (one.status, both.status) == ("within", "exceeds")
    assert "main" in both.note
    assert "beside 0" in both.note


LEGS = [{"point": name, "rope": "rope-10mm", "hardware": []} for name in "AB"]
# Apex at 12 m, plumb above where hole 5 is at 0 tilt, (0, 0): legs 4 up and 3 out, 3 up and 4 out.
ANCHORS = {"A": ((-3.0, 0.0, 16.0), 900.0), "B": ((4.0, 0.0, 15.0), 900.0)}


def test_bridle_of_a_hang(judge):
    """The apex is plumb above the hole as it hangs; its legs carry hook, hoist and chain."""
    report = judge({"leg": LEGS, "apex_m": 12.0}, ANCHORS)
    (line,) = report.lines
    tilt = report.stages[-1].balance.tilt
    x = 0.3 - 0.3 * math.cos(tilt) - 0.11 * math.sin(tilt)
    np.testing.assert_allclose(line.top_m, [x, 0.0, 12.0], rtol=0, atol=1e-12)
    first, second = math.atan2(3.0 + x, 4.0), math.atan2(4.0 - x, 3.0)
    expected = ROOF * np.sin([second, first]) / math.sin(first + second)
    np.testing.assert_allclose(line.legs.tension / G, expected, rtol=1e-9, atol=0)
    rope = find(report, f"{line.name}, bridle to B", "tension, largest leg")
    # The greatest strand sizes all: 58.8 kN × 0.9 / 10 over people. A leg of weight w, turned by t from plumb, holds w
    # more at its upper end, and w/2·tan t more sideways.
    own = [0.36 * 4.0 / math.cos(first), 0.36 * 3.0 / math.cos(second)]
    held = [
        math.hypot(tension * math.cos(turn) + w, tension * math.sin(turn) + w / 2 * math.tan(turn))
        for tension, turn, w in zip(expected, (first, second), own, strict=True)
    ]
    np.testing.assert_allclose(rope.value, max(held) * DYNAMIC, rtol=1e-9, atol=0)
    np.testing.assert_allclose(rope.limit, 5292.0 / G, rtol=1e-12, atol=0)
    lower = find(report, f"{line.name}, bridle to B", "leg from the horizontal")
    np.testing.assert_allclose(lower.value, 90.0 - math.degrees(second), rtol=1e-9, atol=0)
    angle = find(report, f"{line.name}, bridle", "angle between legs")
    np.testing.assert_allclose(angle.value, math.degrees(first + second), rtol=1e-9, atol=0)
    # At the anchors the rope's own weight comes on top, and moves with the rest.
    for name, tension, turn, w in zip("AB", expected, (first, second), own, strict=True):
        load = find(report, f"point {name}", "load on the point")
        down = tension * math.cos(turn) + w
        aside = tension * math.sin(turn) + w / 2 * math.tan(turn)
        np.testing.assert_allclose(load.value, math.hypot(aside, down) * DYNAMIC, rtol=1e-9, atol=0)


def test_forces_on_a_shared_anchor_add_as_vectors(judge):
    """The anchor A carries a leg of the bridle and a plumb hoist: less than the sum of their sizes."""
    report = judge({"leg": LEGS, "apex_m": 12.0}, ANCHORS, beside=[{"point": "A"}])
    alone = find(judge({"leg": LEGS, "apex_m": 12.0}, ANCHORS), "point A", "load on the point").value
    legs = report.lines[0].legs
    leg = legs.anchor_force[0] / G * DYNAMIC
    plumb, own = ROOF * DYNAMIC, 0.36 * legs.length[0] * DYNAMIC
    load = find(report, "point A", "load on the point")
    aside = leg[0] + own / 2 / math.tan(legs.from_horizontal[0])
    expected = math.hypot(aside, -leg[2] + own + plumb)
    np.testing.assert_allclose(load.value, expected, rtol=1e-9, atol=0)
    assert max(alone, plumb) < load.value < 0.99 * (alone + plumb)


def test_flat_and_slack_legs_exceed(judge):
    flat = judge({"leg": LEGS, "apex_m": 14.6}, ANCHORS)
    name = f"{flat.lines[0].name}, bridle"
    # 0.4 up and 4 out: 5.7° from the horizontal, less than 30°; 120° between the legs are exceeded too.
    assert find(flat, f"{name} to B", "leg from the horizontal").status == "exceeds"
    assert find(flat, name, "angle between legs").status == "exceeds"
    slack = judge({"leg": LEGS, "apex_m": 12.0}, {"A": ((-9.0, 0.0, 16.0), 900.0), "B": ((-2.0, 0.0, 15.0), 900.0)})
    found = [f for f in slack.findings if f.what == "leg in tension"]
    assert [f.status for f in found] == ["exceeds"]
