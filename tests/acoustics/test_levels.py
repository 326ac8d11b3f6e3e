"""The highest drive and what is left below it, by hand."""

import numpy as np
import pytest

from acoustics.levels import headroom, highest_drive

NAN = np.nan
LEVEL = np.full((3, 29), 100.0)
MOST = np.full((3, 29), 130.0)


def changed(array, *entries):
    found = array.copy()
    for source, band, value in entries:
        found[source, band] = value
    return found


# By hand: what is left is 30 dB everywhere but in the entries that are changed.
@pytest.mark.parametrize(
    ("level", "most", "expected"),
    [
        (LEVEL, MOST, (30.0, 0, 0)),
        (changed(LEVEL, (1, 4, 107.0)), MOST, (23.0, 1, 4)),
        (LEVEL, changed(MOST, (2, 28, 111.5)), (11.5, 2, 28)),
        (changed(LEVEL, (0, 3, 140.0)), changed(MOST, (2, 0, 101.0)), (-10.0, 0, 3)),
        (changed(LEVEL, (0, 3, 110.0), (0, 9, 110.0), (1, 1, 110.0)), MOST, (20.0, 0, 3)),  # at once: the first
        (changed(LEVEL, (1, 4, NAN), (1, 5, -np.inf)), changed(MOST, (1, 4, NAN), (1, 5, NAN)), (30.0, 0, 0)),
        (changed(LEVEL, (1, 4, NAN), (2, 7, 101.0)), changed(MOST, (1, 4, 20.0)), (29.0, 2, 7)),  # not used there
    ],
)
def test_highest_drive_by_hand(level, most, expected):
    found = highest_drive(level, most)
    assert found == (*expected, ())
    left = headroom(found.drive_db, level, most)
    assert np.nanmin(left) == 0.0
    assert left[found.source, found.band] == 0.0


def test_more_drive_leaves_less():
    """exact: a level that is 5 dB higher has 5 dB less, and so has a drive that is."""
    level = changed(LEVEL, (1, 4, 107.0))
    assert highest_drive(level + 5.0, MOST).drive_db == 18.0
    assert highest_drive(level, MOST + 5.0).drive_db == 28.0
    assert headroom(5.0, level, MOST)[1, 4] == 18.0
    assert headroom(40.0, level, MOST)[1, 4] == -17.0
    np.testing.assert_array_equal(headroom(3.0, level + 2.0, MOST), headroom(5.0, level, MOST))


def test_maximum_that_is_missing_is_named():
    most = changed(MOST, (2, 5, NAN), (0, 11, NAN), (1, 0, NAN))
    found = highest_drive(changed(LEVEL, (1, 0, NAN)), most)  # the last is not used
    assert np.isnan(found.drive_db)
    assert (found.source, found.band) == (None, None)
    assert found.unknown == ((0, 11), (2, 5))


def test_headroom_where_it_is_not_known():
    left = headroom(10.0, changed(LEVEL, (0, 0, NAN), (0, 1, -np.inf)), changed(MOST, (2, 5, NAN)))
    assert left.shape == (3, 29)
    assert np.argwhere(np.isnan(left)).tolist() == [[0, 0], [0, 1], [2, 5]]
    assert (left[~np.isnan(left)] == 20.0).all()


@pytest.mark.parametrize("level", [np.full((2, 29), NAN), np.full((2, 29), -np.inf), np.empty((0, 29))])
def test_nothing_that_plays(level):
    found = highest_drive(level, np.full(level.shape, 130.0))
    assert np.isnan(found.drive_db)
    assert found[1:] == (None, None, ())


@pytest.mark.parametrize(("level", "most"), [(LEVEL, MOST[:2]), (LEVEL, MOST[:, :28]), (LEVEL[0], MOST[0])])
def test_shapes_that_differ(level, most):
    for judge in (highest_drive, lambda a, b: headroom(0.0, a, b)):
        with pytest.raises(ValueError, match=r"must be arrays of one shape \(S, 29\)"):
            judge(level, most)
