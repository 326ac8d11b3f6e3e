"""Building cart by cart: groups, tilts, hooks and loads of every stage, by homogeneous matrices from the files."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tomlkit
from scipy.optimize import brentq

from acoustics.app import cli
from rigging.check import Report, check
from rigging.equipment import load_catalogue
from rigging.hang import load_hang
from rigging.policy import load_policy
from rigging.site import Point, Site
from rigging.stages import groups

Array = npt.NDArray[np.float64]

G, DECK, HIGH = 9.80665, 0.23, 12.0
BACK, INSET = 0.45, 0.05
COMMON: dict[str, Any] = {
    "description": "for checks",
    "source": "for checks",
    "width_m": 1.0,
    "pivot": "front",
    "rear_hole_back_m": BACK,
    "rear_hole_inset_m": INSET,
}
RATED = {"source": "for checks", "link_kg": 900.0, "link_push_kg": 800.0, "pin_kg": 900.0, "locks_both_ways": True}
ANY = {"splays_deg": [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]}
FRAME = COMMON | {
    "format": "frame/1",
    "name": "frame",
    "mass_kg": 31.0,
    "centre_of_mass_m": [-0.25, 0.0, 0.05],
    "height_m": 0.1,
    "depth_m": 0.9,
    "front_m": 0.1,
    "below": [{"fitting": "tall", **ANY}],
    "hole": [{"name": str(i), "position_m": [0.1 - 0.1 * i, 0.0, 0.08 + 0.01 * i]} for i in range(9)],
}
TALL = COMMON | {
    "format": "enclosure/1",
    "name": "tall",
    "mass_kg": 41.0,
    "centre_of_mass_m": [-0.22, 0.0, -0.13],
    "height_m": 0.27,
    "depth_m": 0.52,
    "front_m": 0.03,
    "top_fitting": "tall",
    "reference_m": [0.0, 0.0, 0.0],
    "below": [{"fitting": "tall", **ANY}, {"fitting": "joiner", **ANY}],
    "acoustic": {"model": "point"},
}
JOINER = COMMON | {
    "format": "adapter/1",
    "name": "joiner",
    "mass_kg": 12.0,
    "centre_of_mass_m": [-0.2, 0.0, -0.05],
    "height_m": 0.11,
    "depth_m": 0.5,
    "front_m": 0.0,
    "top_fitting": "joiner",
    "lower_pivot_ahead_m": 0.02,
    "lower_rear_hole_back_m": BACK,
    "below": [{"fitting": "small", **ANY}],
}
SMALL = TALL | {
    "name": "small",
    "mass_kg": 19.0,
    "height_m": 0.2,
    "centre_of_mass_m": [-0.2, 0.0, -0.09],
    "top_fitting": "small",
    "below": [{"fitting": "small", **ANY}],
    "pullback_m": [-0.4, 0.0, -0.15],
}
BOTH = [*["tall"] * 6, "joiner", *["small"] * 4]
BENT = [0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 5.0, 7.0, 9.0]


@pytest.fixture
def case(tmp_path: Path) -> Callable[..., Report]:
    """Six tall boxes, an adapter and four small ones, unless other names and splays are given."""

    def build(
        picks: Any,
        names: Any = BOTH,
        splays: Any = BENT,
        limit: float | None = None,
        rated: bool = True,
        **more: Any,
    ) -> Report:
        (tmp_path / "equipment").mkdir(exist_ok=True)
        boxes = [box if limit is None else box | {"cart_limit_deg": limit} for box in (TALL, SMALL)]
        for data in (FRAME, JOINER, *boxes):
            if rated:
                data = data | {"rated": RATED}
            (tmp_path / "equipment" / f"{data['name']}.toml").write_text(tomlkit.dumps(data))
        hang = {
            "format": "hang/1",
            "name": "built",
            "frame": "frame",
            "position_m": [0.0, 0.0, 9.0],
            "tilt_deg": -2.0,
            "floor_below_m": 0.0,
            "loom": {"kg_per_m": 0.0},
            "carts": {"deck_m": DECK},
            "pick": [{"hole": hole, "point": f"above {hole}", "hoist": "hoist-1t"} for hole in picks],
            "column": [{_kind(n): n, "splay_deg": s} for n, s in zip(names, splays, strict=True)],
        }
        (tmp_path / "hang.toml").write_text(tomlkit.dumps(hang | more))
        catalogue = load_catalogue([tmp_path / "equipment"])
        points = tuple(Point(name=f"above {hole}", position_m=(0.0, 0.0, HIGH)) for hole in picks)
        site = Site(name="hall", point=points)
        return check(load_hang(tmp_path / "hang.toml", catalogue), catalogue, load_policy(), site)

    return build


def _kind(name: str) -> str:
    return "adapter" if name == "joiner" else "enclosure"


def move(degrees: float, u: float = 0.0, v: float = 0.0) -> Array:
    """Homogeneous matrix: shifted by (u, v), then turned nose up."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, u], [s, c, v], [0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class Half:
    """What hangs at a stage, in frame axes: mass, centre of mass, corners (K, 3) and joints."""

    mass: float
    centre: Array
    corners: Array
    bent: float

    def at(self, tilt: float, place: Any) -> Array:
        return (move(tilt) @ np.array([*place, 1.0]))[:2]

    def lowest(self, tilt: float) -> float:
        return float((move(tilt) @ self.corners.T)[1].min())

    def share(self, tilt: float, front: str, rear: str) -> float:
        """Share of the weight on the front one of two picks."""
        x, x1, x2 = (self.at(tilt, p)[0] for p in (self.centre, hole(front), hole(rear)))
        return float((x - x2) / (x1 - x2))


def hole(name: str) -> list[float]:
    (place,) = [h["position_m"] for h in FRAME["hole"] if h["name"] == name]
    return [place[0], place[2]]


def half_built(rows: int, names: Any = BOTH, splays: Any = BENT) -> Half:
    items = {"tall": TALL, "joiner": JOINER, "small": SMALL}
    x, _, z = FRAME["centre_of_mass_m"]
    masses, centres = [FRAME["mass_kg"]], [np.array([x, z, 1.0])]
    corners = [np.array([u, v, 1.0]) for u in (0.1, -0.8) for v in (0.0, 0.1)]
    pose = np.eye(3)
    for name, splay in zip(names[:rows], splays[:rows], strict=True):
        item = items[name]
        pose = pose @ move(-splay)
        x, _, z = item["centre_of_mass_m"]
        masses.append(item["mass_kg"])
        centres.append(pose @ [x, z, 1.0])
        front, rear = item["front_m"], item["front_m"] - item["depth_m"]
        corners += [pose @ [u, v, 1.0] for u in (front, rear) for v in (0.0, -item["height_m"])]
        pose = pose @ move(0.0, item.get("lower_pivot_ahead_m", 0.0), -item["height_m"])
    mass = np.array(masses)
    return Half(float(mass.sum()), (mass @ np.array(centres) / mass.sum())[:2], np.array(corners), sum(splays[:rows]))


@pytest.mark.parametrize(
    ("names", "carts", "rows"),
    [
        (["tall"] * 10, None, (4, 4, 2)),
        (["tall"] * 4, None, (4,)),
        (["tall"] * 3, [1, 1, 1], (1, 1, 1)),
        (BOTH, None, (4, 5, 2)),  # tall 1–4; tall 5–6, the adapter, small 1–2; small 3–4
        (BOTH, [3, 3, 4], (3, 3, 5)),  # the adapter rides on top of the four small ones
    ],
)
def test_groups(case, names, carts, rows):
    """An adapter travels with what hangs below it, and does not count."""
    more = {} if carts is None else {"carts": {"groups": carts}}
    report = case(["0", "8"], names, [0.0] * len(names), **more)
    assert groups(report.hang) == rows
    # Over each cart in turn, and at last complete.
    assert [stage.rows for stage in report.stages] == [*np.cumsum(rows), len(names)]


def test_two_picks_level_the_lowest_row_as_far_as_they_reach(case):
    """Over a cart the tilt nearest to level that leaves the policy's share on each pick; complete, the file's."""
    lean, rest = load_policy().lean_pick_share, load_policy().least_pick_share
    assert 0.0 < rest < lean < 0.5
    stages = case(["2", "6"]).stages
    assert [stage.rows for stage in stages] == [4, 9, 11, 11]
    clipped = []
    for stage in stages:
        half = half_built(stage.rows)
        least = rest if stage is stages[-1] else lean
        shares = (least, 1 - least)
        ends = [brentq(lambda t, s=s, h=half: h.share(t, "2", "6") - s, -60.0, 60.0, xtol=1e-12) for s in shares]
        np.testing.assert_allclose(np.degrees(stage.tilts), sorted(ends), rtol=0, atol=1e-9)
        last = stage is stages[-1]
        wished = -2.0 if last else half.bent
        tilt = wished if last else min(max(wished, min(ends)), max(ends))
        clipped.append(tilt != wished)
        np.testing.assert_allclose(np.degrees(stage.balance.tilt), tilt, rtol=0, atol=1e-9)
        np.testing.assert_allclose(np.degrees(stage.lowest_elevation), tilt - half.bent, rtol=0, atol=1e-9)
        front = half.share(tilt, "2", "6") * half.mass * G
        np.testing.assert_allclose(stage.balance.high, [front, half.mass * G - front], rtol=1e-9, atol=0)
        low_hook = min(half.at(tilt, hole(name))[1] for name in "26")
        np.testing.assert_allclose(stage.hook_m, DECK + low_hook - half.lowest(tilt), rtol=1e-12, atol=0)
    assert clipped == [False, True, True, False]  # the case shows both


@pytest.mark.parametrize("name", ["0", "3", "5"])
def test_single_pick_at_every_stage(case, name):
    """The tilt is where the centre of mass of what is on comes plumb below the hole."""
    for stage in case([name]).stages:
        half = half_built(stage.rows)
        tilt = brentq(lambda t, h=half: h.at(t, h.centre)[0] - h.at(t, hole(name))[0], -89.0, 89.0, xtol=1e-12)
        np.testing.assert_allclose(np.degrees(stage.balance.tilt), tilt, rtol=0, atol=1e-9)
        np.testing.assert_allclose(np.degrees(stage.lowest_elevation), tilt - half.bent, rtol=0, atol=1e-9)
        np.testing.assert_allclose(stage.balance.high, [half.mass * G], rtol=1e-12, atol=0)
        height = DECK + half.at(tilt, hole(name))[1] - half.lowest(tilt)
        np.testing.assert_allclose(stage.hook_m, height, rtol=1e-12, atol=0)
        assert stage.tilts is None


@pytest.mark.parametrize(("beyond", "engages"), [(0.01, "by itself"), (-0.01, "close by hand"), (None, "")])
def test_limit_of_the_lowest_row(case, beyond, engages):
    """A hundredth of a degree inside the limit angle it engages by itself, a hundredth outside by hand."""
    half = half_built(4)
    tilt = math.degrees(math.atan((half.centre[0] - hole("5")[0]) / (half.centre[1] - hole("5")[1])))
    off = abs(tilt - half.bent)
    assert off > 1.0
    limit = None if beyond is None else off + beyond
    report = case(["5"], limit=limit)
    first, last = report.stages[0], report.stages[-2:]
    np.testing.assert_allclose(abs(np.degrees(first.lowest_elevation)), off, rtol=1e-9, atol=0)
    assert first.engages == (engages or "cannot be judged")
    assert [stage.engages for stage in last] == ["", ""]  # nothing follows
    unjudged = [f for f in report.findings if f.what == "lowest row off level"]
    assert bool(unjudged) == (limit is None)
    assert all(f.status == "cannot be judged" and "cart_limit_deg" in f.note for f in unjudged)


def test_worst_stage_of_a_pick(case):
    """The front pick carries most over the last cart, where the frame tilts up to level the lowest row."""
    report = case(["2", "6"])
    half = half_built(11)
    tilt = float(np.degrees(report.stages[2].balance.tilt))
    np.testing.assert_allclose(report.lines[0].worst_kg, half.share(tilt, "2", "6") * half.mass, rtol=1e-9, atol=0)
    assert report.lines[0].worst_stage == report.stages[2].name
    assert report.lines[0].hole_kg < report.lines[0].worst_kg
    assert report.lines[1].worst_stage == report.stages[3].name
    np.testing.assert_allclose(report.lines[1].worst_kg, report.lines[1].hole_kg, rtol=1e-12, atol=0)
    (found,) = [f for f in report.findings if f.part == "pick 1, frame hole 2" and f.what == "load on the hole"]
    # Hoisting class 2 at 4 m/min: 1.10 + 0.34 · 4/60.
    np.testing.assert_allclose(found.value, report.lines[0].worst_kg * (1.1 + 0.34 * 4 / 60), rtol=1e-12, atol=0)
    assert report.stages[2].name in found.note


CURVED = [0.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]


@pytest.mark.parametrize("rated", [True, False])
def test_worst_stage_of_the_links(case, rated):
    """Eight equal boxes on a front hole, which tilts the short column most: T = M/(R cos(φ − s/2)) at every stage."""
    names = ["tall"] * 8
    report = case(["1"], names, CURVED, rated=rated)
    worst: dict[tuple[str, str], tuple[float, str]] = {}
    for stage in report.stages:
        tilt = float(np.degrees(stage.balance.tilt))
        for joint in range(stage.rows):
            upper, half = half_built(joint, names, CURVED), half_built(stage.rows, names, CURVED)
            weight = (half.mass - upper.mass) * G
            centre = (half.mass * half.centre - upper.mass * upper.centre) / (half.mass - upper.mass)
            pivot = np.eye(3)
            for splay in CURVED[:joint]:
                pivot = pivot @ move(-splay) @ move(0.0, 0.0, -TALL["height_m"])
            lever = (half.at(tilt, pivot[:2, 2]) - half.at(tilt, centre))[0]
            phi, half_splay = math.atan(INSET / BACK), math.radians(CURVED[joint]) / 2
            link = weight * lever / (math.hypot(BACK, INSET) * math.cos(phi - half_splay))
            part = "joint frame–1" if joint == 0 else f"joint rows {joint}–{joint + 1}"
            what = f"rear link in {'tension' if link >= 0 else 'compression'}, one side"
            # At a free tilt the column over its last cart hangs as the complete one does: the first of equals.
            if abs(link) > worst.get((part, what), (0.0, ""))[0] * (1 + 1e-9):
                worst[part, what] = abs(link), stage.name
    found = {(f.part, f.what): f for f in report.findings if f.what.startswith("rear link")}
    assert found.keys() == worst.keys()
    factor = 1.1 + 0.34 * 4 / 60
    for key, (force, stage) in worst.items():
        np.testing.assert_allclose(found[key].value, force / 2 / G * factor, rtol=1e-9, atol=0)
        assert found[key].note.endswith(stage)
        assert found[key].status == ("within" if rated else "cannot be judged")
    # The case is of use: not all of it is worst when complete, and joints push that pull in the end.
    assert len({stage for _, stage in worst.values()}) == 2
    assert any("compression" in what for _, what in worst)


def test_chain_out_at_the_lowest_hook(case):
    """From the point at 12 m down to the hook of the first stage; a floor of 0 m."""
    report = case(["2", "6"])
    first = report.stages[0].hook_m
    for line in report.lines:
        np.testing.assert_allclose(line.longest_chain_m, HIGH - first, rtol=1e-12, atol=0)
        assert line.chain_m < line.longest_chain_m


def test_pullback_goes_on_last(case):
    """What hangs before is on its pick alone."""
    report = case(["3"], tilt_deg=-8.0, pullback={"to_m": [-1.0, 0.0, 11.0]})
    assert [bool(np.any(stage.balance.pull)) for stage in report.stages] == [False, False, False, True]
    assert [stage.balance.free for stage in report.stages] == [True, True, True, False]
    np.testing.assert_allclose(np.degrees(report.stages[-1].balance.tilt), -8.0, rtol=1e-12, atol=0)


def test_landing_is_building_in_reverse(case, tmp_path, capsys):
    stages = case(["2", "6"]).stages
    cli.main(["check", str(tmp_path / "hang.toml"), "--equipment", str(tmp_path / "equipment")])
    lines = capsys.readouterr().out.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("landing"))
    over_carts = stages[:-1]
    assert [stage.rows for stage in over_carts] == [4, 9, 11]
    for index, (line, stage) in enumerate(zip(lines[start + 1 :], reversed(over_carts), strict=False), start=1):
        assert line.strip().startswith(f"{index}. {stage.name}")
        assert f"hook at {stage.hook_m:.2f} m" in line
