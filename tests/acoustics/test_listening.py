"""Listening positions: weights, places on tilted areas, turning and mirroring, and the section."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull, Delaunay, cKDTree

from acoustics.listening import grid_of, listen, sample_area, section_line

RECTANGLE = [(6, -5, 0), (16, -5, 0), (16, 5, 0), (6, 5, 0)]
RAKED = [(6, -5, 0), (16, -5, 2), (16, 5, 2), (6, 5, 0)]  # rises 0.2 m per metre of x
U_SHAPE = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (7, 10, 0), (7, 3, 0), (3, 3, 0), (3, 10, 0), (0, 10, 0)]


def shoelace(plan):
    """Area and centroid of a polygon, by hand."""
    x, y = np.transpose(plan)
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2.0
    centre = [((v + np.roll(v, -1)) * cross).sum() / (6.0 * area) for v in (x, y)]
    return abs(area), np.array(centre)


def random_plan(seed: int) -> np.ndarray:
    """A convex polygon from an even seed, a star-shaped and mostly concave one from an odd seed."""
    rng = np.random.default_rng(seed)
    if seed % 2 == 0:
        points = rng.uniform(-12.0, 12.0, (12, 2))
        return points[ConvexHull(points).vertices]
    angle = (np.arange(9) + rng.uniform(0.1, 0.9, 9)) * 2.0 * np.pi / 9
    return rng.uniform(2.0, 15.0, 9)[:, np.newaxis] * np.column_stack([np.cos(angle), np.sin(angle)])


def tilted(plan) -> np.ndarray:
    """On the plane z = 1 + 0.2 x − 0.1 y, put to x ≥ 20."""
    plan = np.asarray(plan) + np.array([40.0, 0.0])
    return np.column_stack([plan, 1.0 + 0.2 * plan[:, 0] - 0.1 * plan[:, 1]])


@pytest.mark.parametrize("grid_m", [0.7, 1.0, 3.0])
@pytest.mark.parametrize("seed", range(8))
def test_weights_and_places(area, seed, grid_m):
    """Weights sum to the plan area and balance at its centroid; places lie within the hull, 1.3 m above the plane."""
    corners = tilted(random_plan(seed))
    size, centre = shoelace(corners[:, :2])
    position, weight = sample_area(area(corners, ear_height_m=1.3), grid_m)
    assert weight.sum() == pytest.approx(size, rel=1e-9)
    assert weight.min() > 0
    assert weight.max() <= grid_m**2 * (1 + 1e-9)
    np.testing.assert_allclose(weight @ position[:, :2] / size, centre, rtol=1e-9)
    assert np.all(Delaunay(corners[:, :2]).find_simplex(position[:, :2]) >= 0)
    np.testing.assert_allclose(position[:, 2], 2.3 + 0.2 * position[:, 0] - 0.1 * position[:, 1], rtol=1e-9)


def test_rectangle_by_hand(area):
    """3.5 m × 2 m in cells of at most 1 m: 4 × 2 of 0.875 m × 1 m, a position in the middle of each."""
    corners = [(1, 1, 0), (4.5, 1, 0), (4.5, 3, 0), (1, 3, 0)]
    position, weight = sample_area(area(corners))
    assert position.shape == (8, 3)
    np.testing.assert_allclose(weight, 0.875, rtol=1e-12)
    np.testing.assert_allclose(np.unique(position[:, 0].round(9)), [1.4375, 2.3125, 3.1875, 4.0625], rtol=1e-9)
    np.testing.assert_allclose(np.unique(position[:, 1].round(9)), [1.5, 2.5], rtol=1e-9)
    np.testing.assert_allclose(position[:, 2], 1.2, rtol=1e-12)
    grid = grid_of(area(corners))
    np.testing.assert_allclose(grid.cell_m, (0.875, 1.0), rtol=1e-12)
    assert grid.direction == 0.0


def test_cells_that_the_outline_cuts(area):
    """A right triangle of 2 m: by hand one whole cell, two halves with their centroids a third in."""
    position, weight = sample_area(area([(0, 0, 0), (2, 0, 0), (0, 2, 0)], ear_height_m=1.0))
    order = np.argsort(position[:, 0])
    np.testing.assert_allclose(weight[order], [0.5, 1.0, 0.5], rtol=1e-12)
    expected = [[1 / 3, 4 / 3, 1.0], [0.5, 0.5, 1.0], [4 / 3, 1 / 3, 1.0]]
    np.testing.assert_allclose(position[order], expected, rtol=1e-9)


def test_whole_grid_of_a_concave_area(area):
    """The gap of the U, 4 m × 7 m of 10 m × 10 m, holds no position."""
    position, weight = sample_area(area(U_SHAPE))
    assert len(position) == 72
    assert weight.sum() == pytest.approx(72.0, rel=1e-12)
    in_gap = (position[:, 0] > 3) & (position[:, 0] < 7) & (position[:, 1] > 3)
    assert not in_gap.any()


def turned(corners, degrees):
    cosine, sine = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(corners) @ np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])


MOVES = {
    "turn 37°": lambda corners: turned(corners, 37.0),
    "turn 180°": lambda corners: turned(corners, 180.0),
    "mirror": lambda corners: np.asarray(corners) * [1.0, -1.0, 1.0],
    "mirror and turn": lambda corners: turned(np.asarray(corners) * [1.0, -1.0, 1.0], -72.0),
}


@pytest.mark.parametrize("move", MOVES.values(), ids=MOVES)
@pytest.mark.parametrize("seed", [0, 1, 3])
def test_the_grid_goes_with_the_area(area, move, seed):
    corners = tilted(random_plan(seed))
    position, weight = sample_area(area(corners))
    moved, moved_weight = sample_area(area(move(corners)))
    assert len(moved) == len(position)
    apart, match = cKDTree(moved).query(move(position))
    assert apart.max() < 1e-8
    assert len(set(match)) == len(position)
    np.testing.assert_allclose(moved_weight[match], weight, rtol=1e-6)


def test_tiny_area_has_one_position_at_its_centre(area):
    """A triangle 0.3 m wide: the mean of its corners."""
    position, weight = sample_area(area([(10, 0, 3), (10.3, 0, 3), (10, 0.3, 3)], ear_height_m=0.0))
    np.testing.assert_allclose(position, [[10.1, 0.1, 3.0]], rtol=1e-9)
    np.testing.assert_allclose(weight, [0.045], rtol=1e-9)


def test_section_of_a_rectangle(area):
    """Along x from 6 m to 16 m, every 0.25 m, at the ears; the plane goes on behind a hang that stands in the area."""
    for place in ([0, 0, 10], [8, 0, 10]):
        points = section_line(area(RECTANGLE), place, 0.0)
        np.testing.assert_allclose(points[:, 0], 6.0 + 0.25 * np.arange(41), rtol=1e-12)
        np.testing.assert_allclose(points[:, 1:], np.broadcast_to([0.0, 1.2], (41, 2)), rtol=0, atol=1e-12)


def test_section_of_a_raked_area_aslant(area):
    """Azimuth 30° from (0, 0): by hand in at x = 6, out at y = 5; heights 0.2 (x − 6) + 1.2 m."""
    points = section_line(area(RAKED), [0.0, 0.0, 9.0], np.radians(30.0))
    slope = np.tan(np.radians(30.0))
    np.testing.assert_allclose(points[0], [6.0, 6.0 * slope, 1.2], rtol=1e-9)
    np.testing.assert_allclose(points[-1], [5.0 / slope, 5.0, 0.2 * (5.0 / slope - 6.0) + 1.2], rtol=1e-9)
    np.testing.assert_allclose(points[:, 1], slope * points[:, 0], rtol=1e-9)
    np.testing.assert_allclose(points[:, 2], 0.2 * points[:, 0], rtol=1e-9)
    steps = np.hypot(*np.diff(points[:, :2], axis=0).T)
    np.testing.assert_allclose(steps, steps[0], rtol=1e-9)
    assert 0.2 < steps[0] <= 0.25


def test_section_that_cuts_an_area_twice(area):
    """Across the arms of the U: 0 to 3 m and 7 to 10 m, nothing in between; through its base once."""
    points = section_line(area(U_SHAPE), [-5.0, 8.0, 10.0], 0.0)
    np.testing.assert_allclose(
        points[:, 0], np.concatenate([0.25 * np.arange(13), 7.0 + 0.25 * np.arange(13)]), rtol=1e-12, atol=1e-12
    )
    np.testing.assert_allclose(points[:, 1:], np.broadcast_to([8.0, 1.2], (26, 2)), rtol=1e-12)
    assert len(section_line(area(U_SHAPE), [-5.0, 1.0, 10.0], 0.0)) == 41


@pytest.mark.parametrize("azimuth", [-90.0, -20.0, 0.0, 45.0, 90.0, 170.0])
def test_section_lies_on_its_plane(area, azimuth):
    place = np.array([43.0, 1.0, 12.0])
    points = section_line(area(tilted(random_plan(5))), place, np.radians(azimuth))
    normal = np.array([-np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
    assert len(points) > 5
    assert np.max(np.abs((points[:, :2] - place[:2]) @ normal)) < 1e-9
    steps = np.diff((points[:, :2] - place[:2]) @ [normal[1], -normal[0]])
    assert np.all(steps > 0)
    np.testing.assert_allclose(points[:, 2], 2.2 + 0.2 * points[:, 0] - 0.1 * points[:, 1], rtol=1e-9)


def test_section_that_misses(area):
    assert section_line(area(RECTANGLE), [0.0, 20.0, 10.0], 0.0).shape == (0, 3)


def test_listen_in_all_areas_but_obstacles(area):
    """Grids first, then sections, which weigh nothing; the floor is below the ears of each area."""
    stalls = area(RAKED, ear_height_m=1.2)
    wall = area([(5, -1, 0), (5, 1, 0), (5, 1, 3), (5, -1, 3)], role="obstacle")
    street = area([(30, -5, 0), (34, -5, 0), (34, 5, 0), (30, 5, 0)], role="quiet", ear_height_m=1.7)
    found = listen([stalls, wall, street], [0.0, 0.0, 9.0], 0.0)
    assert set(found.area) == {0, 2}
    grid = ~found.on_section
    assert found.seat_weight[found.on_section].sum() == 0.0
    assert found.on_section.sum() == 41 + 17
    assert np.all(np.diff(found.on_section.astype(int)) >= 0)
    for index, size in ((0, 100.0), (2, 40.0)):
        assert found.seat_weight[grid & (found.area == index)].sum() == pytest.approx(size, rel=1e-9)
    np.testing.assert_allclose(
        found.floor, np.where(found.area == 0, 0.2 * (found.position[:, 0] - 6.0), 0.0), rtol=0, atol=1e-9
    )
    np.testing.assert_allclose(found.position[:, 2] - found.floor, np.where(found.area == 0, 1.2, 1.7), rtol=1e-9)
