"""Which path is hidden: cases worked out by hand, and triangles against signed volumes."""

import numpy as np
import pytest

from acoustics import sight
from acoustics.listening import sample_area
from acoustics.sight import hidden

LOW, HIGH = np.array([[0.0, 0.0, 2.0]]), np.array([[0.0, 0.0, 12.0]])
SEAT = np.array([[20.0, 0.0, 1.2]])


def wall(y_from, y_to, height):
    """Upright, across the hall at x = 10."""
    return [(10, y_from, 0), (10, y_to, 0), (10, y_to, height), (10, y_from, height)]


# Half way the path from 2 m to 1.2 m is at 1.6 m, that from 12 m at 6.6 m, both at y = 0.
@pytest.mark.parametrize(
    ("source", "y_from", "y_to", "height", "expected"),
    [
        (LOW, -5, 5, 3.0, True),
        (LOW, -5, 5, 1.61, True),
        (LOW, -5, 5, 1.59, False),
        (LOW, 0.1, 5, 3.0, False),
        (LOW, -5, -0.1, 3.0, False),
        (HIGH, -5, 5, 6.61, True),
        (HIGH, -5, 5, 6.59, False),
    ],
)
def test_wall(area, source, y_from, y_to, height, expected):
    obstacle = area(wall(y_from, y_to, height), role="obstacle")
    assert hidden(source, SEAT, [obstacle]).tolist() == [[expected]]
    assert hidden(SEAT, source, [obstacle]).tolist() == [[expected]]  # there and back


def test_wall_behind_either_end(area):
    obstacle = area(wall(-5, 5, 20.0), role="obstacle")
    front, rear = np.array([[9.0, 0.0, 1.2]]), np.array([[11.0, 0.0, 8.0]])
    assert not hidden(HIGH, front, [obstacle]).any()
    assert not hidden(rear, SEAT, [obstacle]).any()


def test_balcony_over_rear_seats(area):
    """From 10 m to ears at 1.2 m the height 4 m is passed at 6/8.8 of the way: the edge at 20 m hides from 29⅓ m."""
    balcony = area([(20, -8, 4), (40, -8, 4), (40, 8, 4), (20, 8, 4)])
    source = np.array([[0.0, 0.0, 10.0]])
    under = np.array([[x, 0.0, 1.2] for x in (10.0, 25.0, 29.3, 29.4, 35.0)])
    assert hidden(source, under, [balcony]).tolist() == [[False, False, False, True, True]]
    above = np.array([[25.0, 0.0, 5.2], [39.0, 7.0, 5.2]])
    assert not hidden(source, above, [balcony]).any()
    beside = np.array([[35.0, 14.0, 1.2]])  # there the path crosses at y = 9.5 m
    assert not hidden(source, beside, [balcony]).any()


def test_each_source_has_its_own_path(area):
    """A column from 12 m down to 2 m before a wall of 5 m: by hand paths above 8.8 m are clear, (z + 1.2)/2 > 5."""
    source = np.column_stack([np.zeros(6), np.zeros(6), [12.0, 10.0, 8.9, 8.7, 6.0, 2.0]])
    found = hidden(source, np.vstack([SEAT, [[5.0, 0.0, 1.2]]]), [area(wall(-5, 5, 5.0), role="obstacle")])
    assert found.shape == (6, 2)
    assert found[:, 0].tolist() == [False, False, False, True, True, True]
    assert not found[:, 1].any()


@pytest.mark.parametrize("rise", [0.0, 3.0, -1.0])
def test_ears_on_the_floor_are_not_hidden_by_it(area, rise):
    floor = area([(5, -5, 0), (25, -5, rise), (25, 5, rise), (5, 5, 0)], ear_height_m=0.0)
    x, y = np.meshgrid(np.linspace(5.5, 24.5, 20), np.linspace(-4.5, 4.5, 10))
    place = np.column_stack([x.ravel(), y.ravel(), rise * (x.ravel() - 5.0) / 20.0])
    assert not hidden(HIGH, place, [floor]).any()
    assert hidden(HIGH, place - [0.0, 0.0, 0.5], [floor]).all()


@pytest.mark.parametrize("lift", [0.2, -0.2])
@pytest.mark.parametrize("rise", [0.0, 4.0])
def test_a_warped_floor_does_not_hide_its_own_listeners(area, rise, lift):
    """One corner 20 cm off the plane of the others: ears at floor height still see a source above."""
    corners = [(5, -5, 0), (25, -5, rise), (25, 5, rise + lift), (5, 5, 0)]
    floor = area(corners, ear_height_m=0.0, flat_within_m=0.3)
    place, _ = sample_area(floor)
    assert len(place) == 200
    assert not hidden(HIGH, place, [floor]).any()
    assert hidden(HIGH, place - [0.0, 0.0, 0.5], [floor]).all()


def test_a_quiet_area_hides_nothing(area):
    corners = [(5, -5, 3), (25, -5, 3), (25, 5, 3), (5, 5, 3)]
    assert not hidden(HIGH, SEAT, [area(corners, role="quiet")]).any()
    for role in ("audience", "obstacle"):
        assert hidden(HIGH, SEAT, [area(corners, role=role)]).all()
    assert not hidden(HIGH, SEAT, []).any()


def test_through_the_gap_of_a_concave_wall(area):
    """An upright U: its gap is 2 m wide above 1 m."""
    corners = [(10, -5, 0), (10, 5, 0), (10, 5, 9), (10, 1, 9), (10, 1, 1), (10, -1, 1), (10, -1, 9), (10, -5, 9)]
    obstacle = area(corners, role="obstacle")
    place = np.array([[20.0, 0.0, 1.2], [20.0, 3.0, 1.2], [20.0, -3.0, 1.2], [20.0, 1.9, 1.2], [20.0, 2.1, 1.2]])
    assert hidden(LOW, place, [obstacle]).tolist() == [[False, True, True, False, True]]


def test_triangles_against_signed_volumes(area):
    """A path meets a triangle if its ends are on two sides of it and it passes all three edges on one side."""
    rng = np.random.default_rng(4)
    source, place = rng.uniform(-10.0, 10.0, (2, 30, 3))

    def volume(a, b, c, d):
        return np.sign(np.linalg.det(np.stack([b - a, c - a, d - a], axis=-1)))

    start = np.repeat(source, 30, axis=0)
    end = np.tile(place, (30, 1))
    some = 0
    for _ in range(10):
        corners = rng.uniform(-10.0, 10.0, (3, 3))
        p, q, r = (np.broadcast_to(corner, start.shape) for corner in corners)
        turns = volume(start, end, p, q) + volume(start, end, q, r) + volume(start, end, r, p)
        expected = (volume(start, p, q, r) != volume(end, p, q, r)) & (np.abs(turns) == 3)
        found = hidden(source, place, [area(corners, role="obstacle")])
        np.testing.assert_array_equal(found, expected.reshape(30, 30))
        some += int(expected.sum())
    assert 100 < some < 8000


def test_any_of_several_and_in_blocks(area, monkeypatch):
    areas = [
        area(wall(0.5, 5, 3.0), role="obstacle"),
        area(wall(-5, -0.5, 3.0), role="obstacle"),
        area([(12, -5, 1.3), (30, -5, 1.3), (30, 5, 1.3), (12, 5, 1.3)]),
    ]
    y = np.linspace(-6.0, 6.0, 25)
    place = np.column_stack([np.full(25, 20.0), y, np.full(25, 1.4)])
    source = np.vstack([LOW, HIGH])
    whole = hidden(source, place, areas)
    # By hand: from 2 m the path is at y/2 where it meets the wall's plane, 1.7 m up; from 12 m it passes above it.
    np.testing.assert_array_equal(whole[0], (np.abs(y) / 2 > 0.5) & (np.abs(y) / 2 < 5.0))
    assert not whole[1].any()
    monkeypatch.setattr(sight, "_BLOCK", 7)
    np.testing.assert_array_equal(hidden(source, place, areas), whole)
