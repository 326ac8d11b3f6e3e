"""Detours over one edge: by hand, against numerical minimisation, and under changes that must not matter."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from acoustics import barrier
from acoustics.barrier import bend, detour, over_edge
from acoustics.sight import hidden


def upright(x, y_from, y_to, low, high):
    """A wall across the hall."""
    return [(x, y_from, low), (x, y_to, low), (x, y_to, high), (x, y_from, high)]


def found(source, position, areas):
    """Path differences of all pairs that are blocked."""
    source, position = np.atleast_2d(np.asarray(source, float)), np.atleast_2d(np.asarray(position, float))
    return detour(source, position, areas, hidden(source, position, areas))


def shortest(source, position, edge):
    """The way over an edge, found by search along it."""

    def way(share):
        at = edge[0] + share * (edge[1] - edge[0])
        return np.linalg.norm(at - source) + np.linalg.norm(position - at)

    inside = minimize_scalar(way, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-9})
    return min(inside.fun, way(0.0), way(1.0))


def test_one_edge_against_minimisation():
    rng = np.random.default_rng(1)
    at_ends = 0
    for _ in range(60):
        edge = rng.uniform(-5.0, 5.0, (2, 3))
        source, position = rng.uniform(-10.0, 10.0, (2, 4, 3))
        before, after = over_edge(source, position, edge)
        expected = [shortest(*pair, edge) for pair in zip(source, position, strict=True)]
        np.testing.assert_allclose(before + after, expected, rtol=1e-9, atol=0)
        legs = np.linalg.norm(source[:, np.newaxis] - edge, axis=2)
        at_ends += int(np.isclose(before[:, np.newaxis], legs, rtol=1e-12, atol=0).any(axis=1).sum())
    assert 40 < at_ends < 200  # both kinds of path were tried


# By hand: 3-4-5 triangles on both sides. The straight ways over the whole line would be shorter.
@pytest.mark.parametrize(
    ("edge", "before", "after"),
    [
        ([(0, -9, 3), (0, 9, 3)], 5.0, 5.0),
        ([(0, 0, 3), (0, 9, 3)], 5.0, 5.0),
        ([(0, 3, 0), (0, 9, 0)], 5.0, 5.0),  # the nearer end
        ([(0, -9, 0), (0, -3, 0)], 5.0, 5.0),
        ([(0, 3, 0), (0, 3, 0)], 5.0, 5.0),  # no length
        ([(1, 0, -4), (1, 0, -4)], 41.0**0.5, 5.0),
        ([(0, 5, 7), (0, -5, 7)], 65.0**0.5, 65.0**0.5),
    ],
)
def test_one_edge_by_hand(edge, before, after):
    legs = over_edge(np.array([[-4.0, 0.0, 0.0]]), np.array([[4.0, 0.0, 0.0]]), np.array(edge, dtype=float))
    np.testing.assert_allclose(np.ravel(legs), [before, after], rtol=1e-12, atol=0)


def test_a_path_along_the_edge_itself():
    legs = over_edge(np.array([[0.0, 1.0, 0.0]]), np.array([[0.0, 4.0, 0.0]]), np.array([[0.0, 0, 0], [0.0, 9.0, 0]]))
    assert sum(leg[0] for leg in legs) == pytest.approx(3.0, rel=1e-12)


# By hand, source and position 4 m before and behind a wall whose top is 3 m above them: 5 + 5 m over the top.
@pytest.mark.parametrize(
    ("source", "position", "expected"),
    [
        ((-4, 0, 1), (4, 0, 1), 10.0 - 8.0),
        # 12 m aside: unfolded, 10 m across and 12 m along, √244 = 15.6205; straight √(64 + 144) = 14.4222.
        ((-4, -6, 1), (4, 6, 1), 15.620499 - 14.422205),
        # Not alike: 5 m to the edge, 10 m on; straight √(12² + 3²) = 12.3693. The place is at -2 m.
        ((-4, 0, 1), (8, 0, -2), 15.0 - 12.369317),
    ],
)
def test_thin_wall_by_hand(area, source, position, expected):
    wall = area(upright(0, -30, 30, -10, 4), role="obstacle")
    z = found(source, position, [wall])
    np.testing.assert_allclose(z, [[expected]], rtol=1e-6, atol=0)
    np.testing.assert_allclose(found(position, source, [wall]), z, rtol=1e-12, atol=0)  # there and back


def test_around_the_side(area):
    """The side of a high wall is 3 m from a path 2 m off its middle."""
    z = found((-4, 2, 1), (4, 2, 1), [area(upright(0, -5, 5, 0, 12), role="obstacle")])
    np.testing.assert_allclose(z, [[2.0]], rtol=1e-12, atol=0)


def test_lowest_edge_of_an_upright_wall_stands_on_the_floor(area):
    """The path runs 1 m above the lowest edge, which would cost 2√17 - 8 = 0.246 m, and 3 m below the top."""
    for low in (0.0, 0.0005):
        corners = upright(0, -30, 30, 0, 4)
        corners[1] = (0, 30, low)
        z = found((-4, 0, 1), (4, 0, 1), [area(corners, role="obstacle")])
        np.testing.assert_allclose(z, [[2.0]], rtol=1e-12, atol=0)


def test_lowest_edge_of_a_slope_is_free(area):
    """The front of a raked balcony: from 10 m up to 1 m, past a front edge at (10, 4): √136 + √109 - √481."""
    corners = [(10, -30, 4), (10, 30, 4), (30, 30, 8), (30, -30, 8)]
    for role in ("audience", "obstacle"):
        z = found((0, 0, 10), (20, 0, 1), [area(corners, role=role)])
        np.testing.assert_allclose(z, [[136.0**0.5 + 109.0**0.5 - 481.0**0.5]], rtol=1e-9, atol=0)


def test_level_slab(area):
    """All edges of a level one count: here the rear one, √(7² + 1) + √(1 + 1) - √(8² + 2²) from the side above it."""
    slab = area([(-20, -30, 4), (7, -30, 4), (7, 30, 4), (-20, 30, 4)], role="obstacle")
    z = found((0, 0, 5), (8, 0, 3), [slab])
    np.testing.assert_allclose(z, [[50.0**0.5 + 2.0**0.5 - 68.0**0.5]], rtol=1e-9, atol=0)


def test_a_notch_is_the_easiest_way(area):
    """An upright U with a gap 2 m wide: the path 3 m beside the gap's edge goes through it, 5 + 5 m."""
    corners = [(0, -9, 0), (0, 9, 0), (0, 9, 20), (0, 1, 20), (0, 1, 1), (0, -1, 1), (0, -1, 20), (0, -9, 20)]
    z = found((-4, 4, 6), [(4, 4, 6), (4, -4, 6)], [area(corners, role="obstacle")])
    assert z[0, 0] == pytest.approx(2.0, rel=1e-12)
    assert np.isnan(z[0, 1])  # through the gap


def test_greatest_of_two_walls(area):
    low, high = area(upright(0, -30, 30, 0, 4), role="obstacle"), area(upright(1, -30, 30, 0, 7), role="obstacle")
    ends = (-4, 0, 1), (4, 0, 1)
    expected = 61.0**0.5 + 45.0**0.5 - 8.0  # 5 and 3 m from the second, whose top is 6 m above
    for areas in ([low, high], [high, low]):
        np.testing.assert_allclose(found(*ends, areas), [[expected]], rtol=1e-12, atol=0)


def test_quiet_areas_bend_nothing(area):
    """A wide slope through the path: as an obstacle its sides, 30 m away, cost 2 √(4² + 30²) - 8 = 52.53 m."""
    corners, wall = [(-50, -30, 0), (50, -30, 2), (50, 30, 2), (-50, 30, 0)], upright(1, -90, 90, 0, 4)
    for role, expected in (("quiet", 34.0**0.5 + 18.0**0.5 - 8.0), ("obstacle", 52.531)):
        areas = [area(corners, role=role), area(wall, role="obstacle")]
        np.testing.assert_allclose(found((-4, 0, 1), (4, 0, 1), areas), [[expected]], rtol=1e-4, atol=0)


def scene(area):
    """Two walls and a raked tier before many places, most of them hidden from some of the sources."""
    areas = [
        area(upright(8, -6, 4, 0, 5), role="obstacle"),
        area([(10, 1, 0), (12, 9, 0), (12, 9, 7), (10, 1, 6)], role="obstacle"),
        area([(13, -8, 3), (13, 8, 3), (25, 8, 7), (25, -8, 7)]),
    ]
    x, y = np.meshgrid(np.linspace(5.0, 24.0, 12), np.linspace(-8.0, 8.0, 9))
    position = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 1.3)])
    source = np.column_stack([np.zeros(5), np.full(5, 0.5), [12.0, 10.0, 7.0, 4.0, 2.0]])
    return source, position, areas


def test_nan_exactly_where_not_blocked(area):
    source, position, areas = scene(area)
    blocked = hidden(source, position, areas)
    z = detour(source, position, areas, blocked)
    assert z.shape == blocked.shape
    assert 0.2 < blocked.mean() < 0.8
    np.testing.assert_array_equal(np.isnan(z), ~blocked)
    assert (z[blocked] > 0).all()
    some = blocked & (np.indices(blocked.shape).sum(axis=0) % 3 > 0)
    fewer = detour(source, position, areas, some)
    np.testing.assert_array_equal(np.isnan(fewer), ~some)
    np.testing.assert_array_equal(fewer[some], z[some])
    assert np.isnan(detour(source, position, areas, np.zeros_like(blocked))).all()
    assert np.isnan(detour(source, position, [], blocked)).all()


def test_blocks(area, monkeypatch):
    source, position, areas = scene(area)
    whole = bend(source, position, areas, hidden(source, position, areas))
    monkeypatch.setattr(barrier, "_BLOCK", 11)
    parts = bend(source, position, areas, hidden(source, position, areas))
    np.testing.assert_array_equal(parts.path_difference, whole.path_difference)
    np.testing.assert_array_equal(parts.weather, whole.weather)


def test_scene_against_minimisation(area):
    """Triangles, all edges of which count since none is level: the easiest edge of each, the greatest of all."""
    rng = np.random.default_rng(8)
    source, position = rng.uniform(-10.0, 10.0, (2, 6, 3))
    corners = rng.uniform(-10.0, 10.0, (5, 3, 3))
    areas = [area(three, role="obstacle") for three in corners]
    z = found(source, position, areas)
    checked = 0
    for s, p in zip(*np.nonzero(np.isfinite(z)), strict=True):
        straight = np.linalg.norm(position[p] - source[s])
        ways = [
            min(shortest(source[s], position[p], three[[i, i - 1]]) for i in range(3)) - straight
            for three, one in zip(corners, areas, strict=True)
            if hidden(source[[s]], position[[p]], [one])[0, 0]
        ]
        assert z[s, p] == pytest.approx(max(ways), rel=1e-6)
        checked += 1
    assert checked > 10


def test_there_and_back(area):
    source, position, areas = scene(area)
    z = found(source, position, areas)
    np.testing.assert_allclose(found(position, source, areas).T, z, rtol=1e-9, atol=0)


@pytest.mark.parametrize("azimuth", [0.4, 2.0, -3.0])
def test_turned_moved_mirrored_and_scaled(area, azimuth):
    source, position, areas = scene(area)
    z = found(source, position, areas)
    turn = np.array([[np.cos(azimuth), np.sin(azimuth), 0], [-np.sin(azimuth), np.cos(azimuth), 0], [0, 0, 1]])
    for change, scale in (
        (lambda points: points @ turn + [3.0, -7.0, 5.0], 1.0),
        (lambda points: points * [1.0, -1.0, 1.0], 1.0),
        (lambda points: points * 2.0, 2.0),
    ):
        moved = [area(change(one.corners), role=one.role) for one in areas]
        np.testing.assert_allclose(found(change(source), change(position), moved), scale * z, rtol=1e-7, atol=1e-12)


@pytest.mark.parametrize("warp", [0.0, 0.3])
def test_no_step_at_the_border_of_the_shadow(area, warp):
    """The detour vanishes where the path grazes the edge, also of an outline that is not quite flat."""
    corners = [(10, -9, 4), (30, -9, 4), (30, 9, 4 + warp), (10, 9, 4)]
    slab = area(corners, role="obstacle", flat_within_m=0.5)
    x = np.linspace(10.0, 30.0, 4001)
    position = np.column_stack([x, np.full_like(x, -6.0), np.full_like(x, 1.0)])
    z = found((0, -6, 10), position, [slab])[0]
    first = np.flatnonzero(np.isfinite(z))[0]
    assert 0 < first < 3000
    assert 0 < z[first] < 1e-5
    assert (np.diff(z[first : first + 500]) > 0).all()


# By hand: 100 m to the edge and on, 1 m above the straight path: z = 2 √(100² + 1²) - 200 = 0.0099998 m, and
# √(100.005² · 200 / (2 z)) = 10 000.5, over 2000: e^-5.00025 = 0.0067363.
def test_weather_over_a_top_but_not_around_a_side(area):
    far = np.array([[-100.0, 0.0, 3.0]]), np.array([[100.0, 0.0, 3.0]])
    over = bend(*far, [area(upright(0, -30, 30, 0, 4), role="obstacle")], np.array([[True]]))
    np.testing.assert_allclose(over.path_difference, [[0.0099998]], rtol=1e-5, atol=0)
    np.testing.assert_allclose(over.weather, [[0.0067363]], rtol=1e-3, atol=0)
    aside = bend(*far, [area(upright(0, -1, 30, 0, 40), role="obstacle")], np.array([[True]]))
    np.testing.assert_allclose(aside.path_difference, over.path_difference, rtol=1e-9, atol=0)
    assert aside.weather.tolist() == [[1.0]]
    free = bend(*far, [area(upright(0, 5, 30, 0, 40), role="obstacle")], np.array([[False]]))
    assert np.isnan(free.weather).all()


def test_the_greater_detour_brings_its_own_weather(area):
    """Over a top 1 m above the path, or 3 m around the side of a higher wall beside it: the latter counts, K_met 1."""
    far = np.array([[-100.0, 0.0, 3.0]]), np.array([[100.0, 0.0, 3.0]])
    top, side = area(upright(0, -30, 30, 0, 4), role="obstacle"), area(upright(1, -3, 30, 0, 40), role="obstacle")
    for areas in ([top, side], [side, top]):
        found_bend = bend(*far, areas, np.array([[True]]))
        assert found_bend.weather.tolist() == [[1.0]]
        assert found_bend.path_difference[0, 0] == pytest.approx(0.09, rel=1e-3)  # 3² / 2 · (1/101 + 1/99) = 0.0900


def test_weather_is_calm_below_100_m(area):
    source, position, areas = scene(area)
    blocked = hidden(source, position, areas)
    weather = bend(source, position, areas, blocked).weather
    assert (weather[blocked] == 1.0).all()
    assert np.isnan(weather[~blocked]).all()
