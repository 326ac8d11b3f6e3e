"""Outlines of drawings: arcs against figures worked out by hand, and outlines that are not flat."""

from __future__ import annotations

import numpy as np
import pytest
from ezdxf.math import bulge_to_arc
from hypothesis import given, settings
from hypothesis import strategies as st

from acoustics import outlines

# Chord 8 along x. Sagitta = 4 |bulge|, radius = (4² + s²) / 2s, centre a radius less the sagitta from the chord's
# middle; a positive bulge turns counter-clockwise, so that its arc lies to the right of the chord. By hand.
BY_HAND = [
    (0.5, (4.0, 3.0), 5.0, 106.2602, (4.0, -2.0)),
    (-0.5, (4.0, -3.0), 5.0, -106.2602, (4.0, 2.0)),
    (1.0, (4.0, 0.0), 4.0, 180.0, (4.0, -4.0)),
    (2.0, (4.0, -3.0), 5.0, 253.7398, (4.0, -8.0)),
    (0.25, (4.0, 7.5), 8.5, 56.1449, (4.0, -1.0)),
]


@pytest.mark.parametrize(("bulge", "centre", "radius", "turn_deg", "farthest"), BY_HAND)
def test_an_arc_by_hand(bulge: float, centre: tuple, radius: float, turn_deg: float, farthest: tuple) -> None:
    arc = outlines.bulge_arc((0.0, 0.0), (8.0, 0.0), bulge)
    np.testing.assert_allclose(arc.centre, centre, rtol=0, atol=1e-12)
    assert arc.radius == pytest.approx(radius, rel=1e-12)
    assert np.degrees(arc.turn) == pytest.approx(turn_deg, abs=1e-4)  # typed to four decimals
    corners = outlines.along_arc(arc, 1e-6, 2)
    np.testing.assert_allclose(corners, [(0.0, 0.0), farthest, (8.0, 0.0)], rtol=0, atol=1e-12)


coordinate = st.floats(-50.0, 50.0)


@settings(max_examples=60, deadline=None)
@given(coordinate, coordinate, coordinate, coordinate, st.floats(0.01, 5.0), st.booleans())
def test_arcs_are_those_of_a_general_library(
    x0: float, y0: float, x1: float, y1: float, bulge: float, clockwise: bool
) -> None:
    if np.hypot(x1 - x0, y1 - y0) < 0.01:
        return
    bulge = -bulge if clockwise else bulge
    centre, start, end, radius = bulge_to_arc((x0, y0), (x1, y1), bulge)  # always counter-clockwise
    arc = outlines.bulge_arc((x0, y0), (x1, y1), bulge)
    tolerance = 1e-9 * (1.0 + radius)
    np.testing.assert_allclose(arc.centre, (centre.x, centre.y), rtol=0, atol=tolerance)
    assert arc.radius == pytest.approx(radius, rel=1e-9)
    assert abs(arc.turn) == pytest.approx((end - start) % (2.0 * np.pi), rel=1e-6)


@pytest.mark.parametrize("sag", [0.5, 0.05, 0.005])
def test_chords_keep_the_sag_and_no_more_corners_than_needed(sag: float) -> None:
    arc = outlines.bulge_arc((0.0, 0.0), (8.0, 0.0), 0.5)
    corners = outlines.along_arc(arc, sag, 1000)
    middles = (corners[1:] + corners[:-1]) / 2.0
    off = 5.0 - np.hypot(*(middles - [4.0, 3.0]).T)
    assert off.max() <= sag
    fewer = np.radians(106.2602) / (len(corners) - 2)  # with one chord less
    assert 5.0 * (1.0 - np.cos(fewer / 2.0)) > sag


def test_no_arc_without_a_chord_or_a_bulge() -> None:
    with pytest.raises(ValueError, match="no arc"):
        outlines.bulge_arc((1.0, 1.0), (1.0, 1.0), 0.5)
    with pytest.raises(ValueError, match="no arc"):
        outlines.bulge_arc((0.0, 0.0), (1.0, 1.0), 0.0)


def area_of(parts: list[np.ndarray]) -> float:
    """Sizes by fans of triangles: the parts are convex. [m²]"""
    return sum(
        float(np.linalg.norm(np.cross(p[i] - p[0], p[i + 1] - p[0]))) / 2 for p in parts for i in range(1, len(p) - 1)
    )


def test_a_folded_outline_is_split_along_its_fold() -> None:
    # Level for 4 m, then rising by 3 m over 4 m: 8 × 4 + 8 × 5 = 72 m².
    folded = np.array([[0, 0, 0], [4, 0, 0], [8, 0, 3], [8, 8, 3], [4, 8, 0], [0, 8, 0]], dtype=float)
    parts = outlines.flat_parts(folded, 0.01)
    assert parts is not None
    assert len(parts) == 2
    assert area_of(parts) == pytest.approx(72.0, rel=1e-12)
    assert all(outlines.off_flat(part) < 1e-12 for part in parts)
    assert sorted(float(np.ptp(part[:, 2])) for part in parts) == [0.0, 3.0]


def test_a_warped_square_is_off_by_what_it_is_and_becomes_two() -> None:
    # Plane of the first three corners is z = 0; the fourth lies 0.3 m above it.
    square = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0.3]], dtype=float)
    assert outlines.off_flat(square) == pytest.approx(0.3, rel=1e-12)
    assert len(outlines.flat_parts(square, 0.31) or []) == 1
    assert [len(part) for part in outlines.flat_parts(square, 0.29) or []] == [3, 3]


def test_what_is_no_flat_area_is_not_split() -> None:
    crossed = np.array([[0, 0, 0], [4, 4, 1], [4, 0, 0], [0, 4, 2]], dtype=float)
    assert outlines.flat_parts(crossed, 0.01) is None
    turn = np.linspace(0.0, 2.0 * np.pi, 30, endpoint=False)
    wavy = np.column_stack([10.0 * np.cos(turn), 10.0 * np.sin(turn), np.sin(3.0 * turn)])
    assert outlines.flat_parts(wavy, 0.01) is None


def test_slopes_and_sizes_by_hand() -> None:
    # 4 along x rising 3: a slope of atan(3/4), 5 long and 2 wide.
    ramp = np.array([[0, 0, 0], [4, 0, 3], [4, 2, 3], [0, 2, 0]], dtype=float)
    assert outlines.size_m2(ramp) == pytest.approx(10.0, rel=1e-12)
    assert outlines.steepness_deg(ramp) == pytest.approx(36.8699, abs=1e-4)
    assert outlines.steepness_deg(ramp[::-1]) == pytest.approx(36.8699, abs=1e-4)
