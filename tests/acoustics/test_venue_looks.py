"""What looks wrong with a venue: each rule on a venue that breaks it alone, and on one that does not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustics.venue import Venue
from acoustics.venue_looks import height_at, look_at, warnings_of
from rigging.equipment import load_catalogue
from rigging.geometry import lay_out
from rigging.hang import load_hang

FLOOR = [[5, -5, 0], [25, -5, 0], [25, 5, 0], [5, 5, 0]]


def area(name: str, outline: Any, role: str = "audience", **keys: Any) -> dict[str, Any]:
    return {"name": name, "role": role, "outline_m": outline, **keys}


def venue(*areas: dict[str, Any], points: Any = (), **keys: Any) -> Venue:
    listed = [{"name": f"P{i + 1}", "position_m": list(place)} for i, place in enumerate(points)]
    return Venue.model_validate({"format": "venue/1", "name": "v", "area": list(areas), "point": listed, **keys})


def said(*areas: dict[str, Any], **keys: Any) -> list[str]:
    return [f"{one.of}: {one.wrong}" for one in warnings_of(venue(*areas, **keys))]


def moved(outline: Any, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> list[list[float]]:
    return (np.array(outline, dtype=float) + np.array([x, y, z])).tolist()


def test_nothing_is_wrong_with_a_plain_floor() -> None:
    assert said(area("a", FLOOR), points=[(0.0, 6.0, 12.0)]) == []


@pytest.mark.parametrize(("fall", "told"), [(0.5, False), (0.9, True)])
def test_an_area_that_falls_away_from_the_stage(fall: float, told: bool) -> None:
    # Over 20 m, 2° are 0.698 m.
    outline = [[x, y, fall * (25 - x) / 20] for x, y, _ in FLOOR]
    found = said(area("a", outline))
    assert bool(found) == told
    if told:
        assert found == ["a: falls away from the stage by 2.6°, so that its front faces away from it"]


def test_a_side_tier_that_rises_outwards_is_right_and_inwards_is_not() -> None:
    outwards = [[8, 10, 0], [18, 10, 0], [18, 14, 2], [8, 14, 2]]
    assert said(area("a", outwards)) == []
    inwards = [[8, 10, 2], [18, 10, 2], [18, 14, 0], [8, 14, 0]]
    assert "falls away from the stage" in said(area("a", inwards))[0]


def test_rises_by_hand() -> None:
    # Middle at (13, 12): straight away is (13, 12) / √313; the slope is 0.5 along y: 0.5 × 12 / √313 = 0.33914.
    look = look_at(venue(area("a", [[8, 10, 0], [18, 10, 0], [18, 14, 2], [8, 14, 2]])).area[0])
    assert look.rise_deg == pytest.approx(26.5651, abs=1e-4)
    assert look.away_deg == pytest.approx(18.7343, abs=1e-3)
    assert look.size_m2 == pytest.approx(10.0 * np.sqrt(20.0), rel=1e-12)
    np.testing.assert_allclose(height_at(look.area, [[9.0, 12.0]]), [1.0], atol=1e-12)


@pytest.mark.parametrize(("apart", "told"), [(0.0, True), (0.4, True), (0.6, False)])
def test_areas_that_overlap_at_nearly_one_height(apart: float, told: bool) -> None:
    found = said(area("a", FLOOR), area("b", moved(FLOOR, x=15.0, z=apart)))
    assert found == ([f"a: overlaps b by 50.0 m² in plan, {apart:.2f} m apart in height"] if told else [])


def test_areas_that_cross_each_other_overlap() -> None:
    ramp = [[x, y, (x - 15) * 0.2] for x, y, _ in FLOOR]
    assert said(area("a", FLOOR), area("b", ramp)) == ["a: overlaps b by 200.0 m² in plan, 0.00 m apart in height"]


def test_areas_side_by_side_and_obstacles_do_not_overlap() -> None:
    assert said(area("a", FLOOR), area("b", moved(FLOOR, x=20.0)), area("c", FLOOR, "obstacle")) == []


def test_a_point_below_an_area() -> None:
    assert said(area("a", moved(FLOOR, z=5.0)), points=[(10.0, 0.0, 4.5)]) == ["point P1: lies 0.50 m below a"]
    assert said(area("a", moved(FLOOR, z=5.0)), points=[(10.0, 6.0, 4.5), (10.0, 0.0, 5.5)]) == []


def test_feet_taken_for_metres() -> None:
    # A hall of 80 × 30 m with points at 15 m, its numbers in feet: 262 by 98, points at 49.
    hall = [[5, -15, 0], [85, -15, 0], [85, 15, 0], [5, 15, 0]]
    assert said(area("a", hall), points=[(0, 6, 15)]) == []
    feet = (np.array(hall) / 0.3048).round(2).tolist()
    found = said(area("a", feet), points=[(0.0, 20.0, 49.2)])
    assert found == ["venue: extends 262 m, more than 200 m", "point P1: lies 49 m above the lowest area"]
    assert said(area("a", feet), points=[(0.0, 20.0, 49.2)], open_air=True) == []


def test_an_audience_of_the_size_of_a_table() -> None:
    small = (np.array(FLOOR) * 0.1).tolist()
    assert said(area("a", small)) == ["venue: has an audience of 2.00 m at most in plan"]


def test_tiny_areas() -> None:
    tiny = [[30, 0, 0], [30.5, 0, 0], [30.5, 0.5, 0], [30, 0.5, 0]]
    assert said(area("a", FLOOR), area("b", tiny)) == ["b: has 0.25 m², less than 1 m²"]


@pytest.mark.parametrize(("ears", "told"), [(0.0, True), (0.89, True), (1.2, False), (1.65, False), (2.5, True)])
def test_odd_ears(ears: float, told: bool) -> None:
    found = said(area("a", FLOOR, ear_height_m=ears))
    assert found == ([f"a: has ears {ears:g} m above it"] if told else [])


@pytest.mark.parametrize(("height", "told"), [(10.0, True), (10.7, False), (2.0, False)])
def test_a_ceiling_below_the_trim(sample_venues: Path, height: float, told: bool) -> None:
    hang = load_hang(sample_venues / "theatre" / "left.toml", load_catalogue([]))  # trim 10.6 m at (−0.3, 6.5)
    above = [[-5, 0, height], [5, 0, height], [5, 12, height], [-5, 12, height]]
    of = venue(area("a", FLOOR), area("ceiling", above, "obstacle"))
    found = [str(one) for one in warnings_of(of, [(hang.name, hang.position_m[2], lay_out(hang))])]
    assert bool(found) == told
    if told:
        assert "has its trim at 10.60 m, above ceiling at 10.00 m over it; lower the trim" in found[0]
    beside = venue(area("a", FLOOR), area("ceiling", moved(above, y=20.0), "obstacle"))
    assert warnings_of(beside, [(hang.name, hang.position_m[2], lay_out(hang))]) == []
