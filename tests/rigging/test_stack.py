"""A stack on the ground, its frame upside down below it: every body in balance by itself, as complex numbers x + jz."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from rigging.check import Report, check
from rigging.column import column_of
from rigging.equipment import load_catalogue
from rigging.findings import Finding
from rigging.geometry import lay_out
from rigging.hang import load_hang
from rigging.policy import load_policy
from rigging.site import Site
from rigging.stack import base_pivot

G, FLOOR = 9.80665, 1.4
BACK, INSET, HEIGHT = 0.45, 0.05, 0.25
SPLAYS = [0.0, 5.0, 3.0, 2.0, 1.0]
COMMON: dict[str, Any] = {
    "description": "for checks",
    "source": "for checks",
    "pivot": "front",
    "rear_hole_back_m": BACK,
    "rear_hole_inset_m": INSET,
    "below": [{"fitting": "box", "splays_deg": [0.0, 1.0, 2.0, 3.0, 5.0]}],
}
FRAME = COMMON | {
    "format": "frame/1",
    "name": "base",
    "mass_kg": 60.0,
    "centre_of_mass_m": [-0.3, 0.0, 0.04],
    "width_m": 1.1,
    "height_m": 0.12,
    "depth_m": 0.7,
    "front_m": 0.2,
}
BOX = COMMON | {
    "format": "enclosure/1",
    "name": "box",
    "mass_kg": 40.0,
    "centre_of_mass_m": [-0.22, 0.0, -0.125],
    "width_m": 0.9,
    "height_m": HEIGHT,
    "depth_m": 0.5,
    "front_m": 0.0,
    "top_fitting": "box",
    "reference_m": [0.0, 0.0, 0.0],
    "acoustic": {"model": "point"},
}
RATED = {"source": "for checks", "link_kg": 60.0, "link_push_kg": 55.0, "pin_kg": 100.0}


@dataclass(frozen=True)
class Box:
    """Places of one box from the upper pivot of row 1, its mass centre and its own direction."""

    pivot: complex
    upper_hole: complex
    lower_hole: complex
    centre: complex
    foot: complex
    corners: list[complex]


def boxes(tilt_deg: float) -> list[Box]:
    """From row 1 downwards; the joint above row 1 is empty."""
    turn, pivot, found = cmath.exp(1j * math.radians(tilt_deg)), 0j, []
    for splay in SPLAYS:
        above, turn = turn, turn * cmath.exp(-1j * math.radians(splay))
        upper, lower = pivot + above * (-BACK + 1j * INSET), pivot - turn * (BACK + 1j * INSET)
        foot = pivot - turn * 1j * HEIGHT
        corners = [pivot + turn * c for c in (0j, -1j * HEIGHT, -0.5 - 1j * HEIGHT, -0.5 + 0j)]
        found.append(Box(pivot, upper, lower, pivot + turn * (-0.22 - 0.125j), foot, corners))
        pivot = foot
    return found


@pytest.fixture
def case(tmp_path: Path) -> Callable[..., Report]:
    """Five boxes that stand on the floor at 1.4 m, unless they are lifted."""

    def build(
        tilt: float = 4.0,
        lift: float = 0.0,
        gust: float | None = None,
        lock: Any = True,
        box: dict[str, Any] | None = None,
        **more: Any,
    ) -> Report:
        (tmp_path / "equipment").mkdir(exist_ok=True)
        rated = RATED if lock is None else RATED | {"locks_both_ways": lock}
        for data in (FRAME, BOX | (box or {})):
            (tmp_path / "equipment" / f"{data['name']}.toml").write_text(tomlkit.dumps(data | {"rated": rated}))
        z = FLOOR + FRAME["height_m"] - boxes(tilt)[-1].foot.imag + lift
        hang = {
            "format": "hang/1",
            "name": "stack",
            "frame": "base",
            "position_m": [1.0, -4.0, z],
            "azimuth_deg": 20.0,
            "tilt_deg": tilt,
            "standing": True,
            "floor_below_m": FLOOR,
            "loom": {"kg_per_m": 0.0},
            "column": [{"enclosure": "box", "splay_deg": splay} for splay in SPLAYS],
        }
        (tmp_path / "hang.toml").write_text(tomlkit.dumps(hang | more))
        catalogue = load_catalogue([tmp_path / "equipment"])
        site = None if gust is None else Site(name="meadow", open_air=True, gust_m_s=gust)
        return check(load_hang(tmp_path / "hang.toml", catalogue), catalogue, load_policy(), site)

    return build


def find(report: Report, what: str) -> Finding:
    (found,) = [f for f in report.findings if f.what == what]
    return found


def moment(place: complex, force: complex) -> float:
    return (place.conjugate() * force).imag


@pytest.mark.parametrize("tilt", [-10.0, 0.0, 4.0, 15.0])
def test_every_box_is_in_balance(case, tilt):
    """Joint forces are those on the part below; the box above feels them reversed, and its weight."""
    report = case(tilt)
    joints, placed = report.joints, boxes(tilt)
    w = len(placed) * 40.0 * G
    along = [(b.upper_hole - b.lower_hole) / abs(b.upper_hole - b.lower_hole) for b in placed]
    pivots = [complex(*force) for force in joints.pivot]
    # Nothing stands above row 1.
    assert abs(joints.link[0]) + abs(pivots[0]) < 1e-9
    for index, box in enumerate(placed[:-1]):
        under = placed[index + 1]
        acts = [
            (box.centre, -1j * 40.0 * G),
            (box.pivot, pivots[index]),
            (box.lower_hole, joints.link[index] * along[index]),
            (under.pivot, -pivots[index + 1]),
            (under.upper_hole, -joints.link[index + 1] * along[index + 1]),
        ]
        assert abs(sum(force for _, force in acts)) < 1e-12 * w
        assert abs(sum(moment(place, force) for place, force in acts)) < 1e-12 * w
    np.testing.assert_allclose(joints.link_m[1:], [abs(b.upper_hole - b.lower_hole) for b in placed[1:]], rtol=1e-12)
    # exact: together link and pivot press down with the weight of what stands above, 40 kg more each row.
    press = [(p + t * e).imag for p, t, e in zip(pivots, joints.link, along, strict=True)]
    np.testing.assert_allclose(press, -40.0 * G * np.arange(5), rtol=1e-9, atol=1e-9)
    # No link is idle, so that a sign shows.
    assert np.all(np.abs(joints.link[1:]) > 1.0)


def test_forces_judged_are_those_of_one_side(case):
    """Half of both; the rated push and pull of the lower item and the upper are the same here."""
    report = case(4.0)
    for index in range(1, 5):
        link, pin = report.joints.link[index], abs(complex(*report.joints.pivot[index]))
        found = {f.what: f.value for f in report.findings if f.part == f"joint rows {index}–{index + 1}"}
        what = f"rear link in {'compression' if link < 0 else 'tension'}, one side"
        np.testing.assert_allclose(found[what], abs(link) / 2 / G, rtol=1e-12, atol=0)
        np.testing.assert_allclose(found["front pivot pin, one side"], pin / 2 / G, rtol=1e-12, atol=0)


@pytest.mark.parametrize(("lock", "status"), [(True, "within"), (False, "exceeds"), (None, "cannot be judged")])
def test_every_joint_needs_its_lock(case, lock, status):
    report = case(lock=lock)
    found = {f.part: f.status for f in report.findings if f.what == "lock that holds both ways"}
    assert found == {f"joint rows {i}–{i + 1}": status for i in range(1, 5)}


def test_base_on_the_floor(case):
    report = case()
    hang = report.hang
    foot = boxes(4.0)[-1].foot
    np.testing.assert_allclose(base_pivot(hang, column_of(hang)), [foot.real, foot.imag], rtol=1e-12, atol=0)
    layout = lay_out(hang)
    np.testing.assert_allclose(layout.lowest_m, FLOOR, rtol=1e-12, atol=0)
    np.testing.assert_allclose(layout.outline[0, :, 2].max(), FLOOR + FRAME["height_m"], rtol=1e-12, atol=0)
    assert find(report, "base off the floor").status == "within"
    assert find(report, "base off the floor").value == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("lift", "status"), [(0.019, "within"), (0.021, "exceeds"), (-0.3, "exceeds")])
def test_base_off_the_floor(case, lift, status):
    """The note says which height would set it down."""
    report = case(lift=lift)
    found = find(report, "base off the floor")
    np.testing.assert_allclose(found.value, abs(lift), rtol=1e-9, atol=0)
    assert found.status == status
    right = FLOOR + FRAME["height_m"] - boxes(4.0)[-1].foot.imag
    assert found.note == f"set the third number of position_m to {right:.2f}"


def test_floor_that_is_not_known(case):
    report = case()
    text = dict(report.hang.document.data)
    del text["floor_below_m"]
    report.hang.document.path.write_text(tomlkit.dumps(text))
    catalogue = load_catalogue([report.hang.document.path.parent / "equipment"])
    again = check(load_hang(report.hang.document.path, catalogue), catalogue, load_policy())
    assert find(again, "base off the floor").status == "cannot be judged"


def standing(tilt: float) -> tuple[float, float, float, float]:
    """Mass, distances of the centre of mass from the base's front and rear edges, height of the base's pivots."""
    placed = boxes(tilt)
    foot = placed[-1].foot
    base = foot + complex(-0.3, -0.04)  # upside down
    mass = 60.0 + 40.0 * len(placed)
    x = (60.0 * base + 40.0 * sum(box.centre for box in placed)).real / mass
    return mass, foot.real + 0.2 - x, x - (foot.real + 0.2 - 0.7), foot.imag


@pytest.mark.parametrize(("tilt", "inside"), [(-10.0, True), (4.0, True), (15.0, True), (-60.0, False), (65.0, False)])
def test_centre_of_mass_inside_the_base(case, tilt, inside):
    _, ahead, behind, _ = standing(tilt)
    assert (min(ahead, behind) > 0) == inside
    found = find(case(tilt), "centre of mass inside its base")
    np.testing.assert_allclose(found.value, min(ahead, behind), rtol=1e-9, atol=0)
    assert found.status == ("within" if inside else "exceeds")


# Boxes whose mass lies to the left, on a base whose own lies in the middle.
ASIDE = {"centre_of_mass_m": [-0.22, 0.12, -0.125], "side_spacing_m": 0.8}


def test_boxes_off_the_middle(case):
    """The base's side edge may be the nearest, and it is the one that the wind from the side tips it over."""
    report = case(gust=14.0, box=ASIDE)
    mass, ahead, behind, _ = standing(4.0)
    aside = 1.1 / 2 - 0.12 * 200.0 / mass
    found = find(report, "centre of mass inside its base")
    np.testing.assert_allclose(found.value, min(ahead, behind, aside), rtol=1e-9, atol=0)
    middle = find(case(gust=14.0), "stability sideways").value
    np.testing.assert_allclose(find(report, "stability sideways").value, middle * aside / 0.55, rtol=1e-9, atol=0)


def test_heavier_side_of_a_stack(case):
    """One side bears half the link and, at most, all of the lateral moment of what stands above."""
    report = case(box=ASIDE)
    for index in range(1, 5):
        link = report.joints.link[index]
        what = f"rear link in {'compression' if link < 0 else 'tension'}, one side"
        (found,) = [f for f in report.findings if (f.part, f.what) == (f"joint rows {index}–{index + 1}", what)]
        # Half of the link, and all of the lateral moment of what stands above: W · 0.12 m / 0.8 m.
        above = report.hang.items[0].mass_kg * index
        np.testing.assert_allclose(found.value, abs(link) / 2 / G + above * 0.12 / 0.8, rtol=1e-12, atol=0)


def test_sides_that_the_report_of_a_stack_states(case):
    report = case(box=ASIDE)
    above = report.hang.items[0].mass_kg * G * np.arange(1, len(report.hang.items))
    np.testing.assert_allclose(report.beyond[1:], above * 0.12 / 0.8, rtol=1e-12, atol=0)


def drag(gust: float, extent: str) -> float:
    area = FRAME[extent] * FRAME["height_m"] + len(SPLAYS) * BOX[extent] * HEIGHT
    return 0.5 * 1.225 * gust**2 * 1.3 * area


def test_friction_in_the_wind(case):
    """Force over weight, from the front and from the side; 0.3 may be counted on."""
    report = case(gust=14.0)
    mass, *_ = standing(4.0)
    for way, extent in (("over an edge", "width_m"), ("sideways", "depth_m")):
        found = find(report, f"friction it needs, wind {way}")
        np.testing.assert_allclose(found.value, drag(14.0, extent) / (mass * G), rtol=1e-9, atol=0)
        assert found.status == "within"


def test_stability_in_the_wind(case):
    """Righting over overturning moment, the drag at the middle of all fronts and sides above the floor."""
    report = case(gust=14.0)
    mass, ahead, behind, foot = standing(4.0)
    ground = foot - FRAME["height_m"]
    middles = [sum(c.imag for c in box.corners) / 4 - ground for box in boxes(4.0)]
    for way, extent, base in (("over an edge", "width_m", min(ahead, behind)), ("sideways", "depth_m", 1.1 / 2)):
        areas = [FRAME[extent] * FRAME["height_m"], *[BOX[extent] * HEIGHT] * len(SPLAYS)]
        height = np.average([FRAME["height_m"] / 2, *middles], weights=areas)
        expected = mass * G * base / (drag(14.0, extent) * height)
        np.testing.assert_allclose(find(report, f"stability {way}").value, expected, rtol=1e-9, atol=0)


def test_a_gust_that_is_not_given(case, tmp_path):
    hang = case().hang
    catalogue = load_catalogue([tmp_path / "equipment"])
    report = check(hang, catalogue, load_policy(), Site(name="meadow", open_air=True))
    assert find(report, "gust").status == "cannot be judged"
    assert not [f for f in report.findings if f.what.startswith("stability")]
