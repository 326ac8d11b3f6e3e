"""Filters of a hang file: how they combine, what they do at the ends, what is refused."""

import numpy as np
import pytest

from acoustics.filters import bell, high_pass, high_shelf, low_pass, low_shelf, response, sections
from rigging.drive import Filter

HZ = np.geomspace(20.0, 20_000.0, 61)
HIGH_PASS = Filter(kind="high-pass", frequency_hz=60.0, order=4)
BELL = Filter(kind="bell", frequency_hz=250.0, gain_db=-4.0, q=2.0)
SHELF = Filter(kind="high-shelf", frequency_hz=4000.0, gain_db=3.0)
ALL = [HIGH_PASS, BELL, SHELF]


def db(filters, frequency):
    return 20.0 * np.log10(np.abs(response(filters, frequency)))


def test_no_filter_changes_nothing():
    assert response([], 100.0) == 1.0
    np.testing.assert_array_equal(response((), HZ), np.ones(61))


def test_filters_in_a_row_multiply_in_any_order():
    each = [response([one], HZ) for one in ALL]
    np.testing.assert_allclose(response(ALL, HZ), each[0] * each[1] * each[2], rtol=1e-12, atol=0)
    np.testing.assert_allclose(response(ALL[::-1], HZ), response(ALL, HZ), rtol=1e-12, atol=0)


def test_shape_is_that_of_the_frequencies():
    grid = HZ[:60].reshape(4, 5, 3)
    found = response(ALL, grid)
    assert found.shape == (4, 5, 3)
    assert found[2, 1, 0] == response(ALL, float(grid[2, 1, 0]))
    assert response(ALL, HZ[7]).shape == ()
    assert response(iter(ALL), grid).tolist() == found.tolist()


def test_real_filters():
    """A filter of real signals has the conjugate response at negative frequencies."""
    np.testing.assert_allclose(response(ALL, -HZ), np.conj(response(ALL, HZ)), rtol=1e-12, atol=0)


def test_constant_part():
    """exact: a high-pass lets nothing of 0 Hz through, a low-pass all of it."""
    assert response([HIGH_PASS], 0.0) == 0.0
    assert response([HIGH_PASS.model_copy(update={"kind": "low-pass"})], 0.0) == 1.0


# exact: 10 lg 2 and twice that.
@pytest.mark.parametrize(
    ("alignment", "corner_db"), [(None, -3.0103), ("butterworth", -3.0103), ("squared-butterworth", -6.0206)]
)
@pytest.mark.parametrize("kind", ["high-pass", "low-pass"])
def test_alignment(kind, alignment, corner_db):
    one = Filter(kind=kind, frequency_hz=60.0, order=4, alignment=alignment)
    assert db([one], 60.0) == pytest.approx(corner_db, rel=1e-6, abs=0)
    octave_above = db([one], 120.0) - db([one], 30.0)
    assert (octave_above > 20.0) == (kind == "high-pass")
    assert abs(octave_above) > 20.0


@pytest.mark.parametrize(
    ("one", "kind"),
    [
        (BELL, "bell"),
        (SHELF, "high-shelf"),
        (SHELF, "low-shelf"),
        (SHELF.model_copy(update={"order": 1}), "low-shelf"),
        (SHELF.model_copy(update={"q": 1.5}), "high-shelf"),
    ],
)
def test_a_cut_undoes_a_boost(one, kind):
    boost = one.model_copy(update={"kind": kind, "gain_db": 7.0})
    cut = one.model_copy(update={"kind": kind, "gain_db": -7.0})
    assert np.ptp(db([boost], HZ)) > 5.0
    np.testing.assert_allclose(response([boost, cut], HZ), 1.0, rtol=1e-12, atol=0)


@pytest.mark.parametrize("order", [1, 2])
def test_low_and_high_shelf_make_a_gain(order):
    """A low and a high shelf of one corner and gain add to that gain everywhere."""
    both = [Filter(kind=k, frequency_hz=500.0, gain_db=-5.0, order=order) for k in ("low-shelf", "high-shelf")]
    np.testing.assert_allclose(response(both, HZ), 10.0 ** (-5.0 / 20.0), rtol=1e-12, atol=0)


def test_shelf_without_order_or_q():
    """It is meant to be of second order with Q = 1/√2, about twice as steep at its corner as one of first order."""
    given = Filter(kind="high-shelf", frequency_hz=4000.0, gain_db=3.0, order=2, q=0.5**0.5)
    np.testing.assert_allclose(response([SHELF], HZ), response([given], HZ), rtol=1e-12, atol=0)
    first, second = (
        float(np.diff(db([SHELF.model_copy(update={"order": order})], [3999.0, 4001.0]))[0]) for order in (1, 2)
    )
    # small gains follow 1/(1 + x²) and 1/(1 + x⁴), whose slopes at x = 1 are 1 : 2; 3 dB is not quite small
    assert second / first == pytest.approx(2.0, rel=0.05, abs=0)


@pytest.mark.parametrize("gain_db", [-12.0, 2.0, 18.0])
def test_shelf_overshoots_beyond_q_of_one_over_root_two(gain_db):
    for build in (low_shelf, high_shelf):
        for q, overshoots in ((0.707, False), (0.75, True)):
            level = 20.0 * np.log10(np.abs(build(500.0, gain_db, q)[0].at(np.geomspace(1.0, 250_000.0, 4001))))
            beyond = np.max(np.abs(level - gain_db / 2.0)) - abs(gain_db) / 2.0
            assert (beyond > 1e-4) == overshoots


def test_gain_of_nothing_is_no_filter():
    for kind, keys in (("bell", {"q": 2.0}), ("low-shelf", {}), ("high-shelf", {"order": 1})):
        one = Filter(kind=kind, frequency_hz=500.0, gain_db=0.0, **keys)
        np.testing.assert_allclose(response([one], HZ), 1.0, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("keys", "missing"),
    [
        ({"kind": "high-pass"}, "a high-pass needs order"),
        ({"kind": "low-pass", "gain_db": 3.0}, "a low-pass needs order"),
        ({"kind": "bell", "gain_db": 3.0}, "a bell needs q"),
        ({"kind": "bell", "q": 3.0}, "a bell needs gain_db"),
        ({"kind": "low-shelf"}, "a low-shelf needs gain_db"),
    ],
)
def test_filter_without_what_it_needs(keys, missing):
    with pytest.raises(ValueError, match=missing):
        sections(Filter(frequency_hz=100.0, **keys))


@pytest.mark.parametrize("order", [0, 9, -1])
def test_order_beyond_what_is_known(order):
    for build in (low_pass, high_pass):
        with pytest.raises(ValueError, match=f"order must be 1 to 8, not {order}"):
            build(100.0, order)


@pytest.mark.parametrize("order", [1, 2, 6, 16])
def test_squared_order_that_is_none(order):
    with pytest.raises(ValueError, match=f"has order 4 or 8, not {order}"):
        low_pass(100.0, order, squared=True)


@pytest.mark.parametrize("hz", [0.0, -50.0, float("nan")])
def test_frequency_that_is_none(hz):
    for build in (
        lambda: low_pass(hz, 2),
        lambda: high_pass(hz, 4, True),
        lambda: bell(hz, 1.0, 1.0),
        lambda: low_shelf(hz, 1.0, None),
        lambda: high_shelf(hz, 1.0),
    ):
        with pytest.raises(ValueError, match="frequency must be positive"):
            build()


@pytest.mark.parametrize("q", [0.0, -1.0])
def test_q_that_is_none(q):
    for build in (bell, low_shelf, high_shelf):
        with pytest.raises(ValueError, match="q must be positive"):
            build(100.0, 3.0, q)
