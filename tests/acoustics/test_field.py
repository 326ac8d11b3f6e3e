"""The sum of sources: one position as many, losses, gains and delays, hidden sources, turned axes, what is absent."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from acoustics import air, field
from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import Medium, band_level, line_pressure, lossless

C = 343.2
STILL = Medium(C, lossless)
PLACES = np.random.default_rng(5).uniform([4.0, -12.0, 0.0], [50.0, 12.0, 4.0], (23, 3))


def column(count, pitch=0.36, height=9.0):
    return np.column_stack([np.zeros(count), np.zeros(count), height - pitch * np.arange(count)])


@pytest.fixture
def hang(sources, enclosures):
    """Six enclosures of two types that look further and further down, with gains and delays."""
    tilt = Rotation.from_euler("y", 4.0 * np.arange(6)[:, np.newaxis], degrees=True).as_matrix()
    return sources(
        column(6),
        directivities=(enclosures["large"], enclosures["medium"]),
        kind=[0, 0, 0, 0, 1, 1],
        axes=np.swapaxes(tilt, 1, 2),  # rows: forward, left, up
        gain=[1.0, 1.0, 1.0, 0.7, 0.7, 0.5],
        delay=[0.0, 0.0, 1e-4, 2e-4, 0.0, 0.0],
    )


def test_line_pressure_one_position_as_many(hang, monkeypatch):
    medium = Medium(C, air.absorption)
    lines = [125.0, 1000.0, 7943.0]
    together = line_pressure(hang, PLACES, lines, medium)
    assert together.shape == (3, 23)
    one_by_one = np.hstack([line_pressure(hang, place[np.newaxis], lines, medium) for place in PLACES])
    np.testing.assert_allclose(one_by_one, together, rtol=1e-12)
    by_line = np.vstack([line_pressure(hang, PLACES, line, medium) for line in lines])
    np.testing.assert_allclose(by_line, together, rtol=1e-12)
    monkeypatch.setattr(field, "_BLOCK", 30)  # five positions at a time, and a rest of three
    np.testing.assert_allclose(line_pressure(hang, PLACES, lines, medium), together, rtol=1e-12)


def test_band_level_one_position_as_many(sources, monkeypatch):
    """Paths that differ by no more than 0.15 m ask for the least number of lines, whichever positions share a block."""
    cluster = sources(column(4, pitch=0.05), gain=[1.0, 0.5, 0.8, 1.0])
    together = band_level(cluster, PLACES, STILL)
    assert together.shape == (29, 23)
    one_by_one = np.hstack([band_level(cluster, place[np.newaxis], STILL) for place in PLACES])
    np.testing.assert_allclose(one_by_one, together, rtol=1e-10)
    monkeypatch.setattr(field, "_BLOCK", 20)
    np.testing.assert_allclose(band_level(cluster, PLACES, STILL), together, rtol=1e-10)


def test_band_level_of_a_hang_hardly_depends_on_blocks(hang, monkeypatch):
    """The number of lines follows the widest paths of a block: both counts are within 0.05 dB, so within 0.1 dB."""
    together = band_level(hang, PLACES, STILL)
    monkeypatch.setattr(field, "_BLOCK", 6)
    in_blocks = band_level(hang, PLACES, STILL)
    np.testing.assert_allclose(in_blocks[1:], together[1:], rtol=0, atol=0.1)
    assert np.isnan(together[0]).all()  # 25 Hz: neither type is used there


def test_bands_are_means_of_lines(hang):
    """Where the directivity hardly changes in the band, the mean square of 400 lines gives the band's level."""
    low, high = 10.0**1.85, 10.0**1.95  # the third octave of 80 Hz
    lines = low + (high - low) * (np.arange(400) + 0.5) / 400
    square = np.mean(np.abs(line_pressure(hang, PLACES, lines, STILL)) ** 2, axis=0)
    level = band_level(hang, PLACES, STILL)[5]
    np.testing.assert_allclose(level, 10.0 * np.log10(square) + PASCAL_DB, rtol=0, atol=0.1)


@pytest.mark.parametrize("metres", [2.0, 100.0])
def test_absorption_of_one_source(sources, metres):
    """One path loses its length times the attenuation in the middle of the band (parts refine it), or of the line."""
    place, source = np.array([[0.0, 0.6 * metres, -0.8 * metres]]), sources([0, 0, 0])
    steady = Medium(C, lambda frequency: np.asarray(frequency) * 1e-6)
    whole = np.ones(29, dtype=int)
    loss = band_level(source, place, STILL, parts=whole)[:, 0] - band_level(source, place, steady, parts=whole)[:, 0]
    # Midbands 10^(x/10) kHz, and the mean of the band's edges 10^(x/10 ± 1/20) instead of their geometric mean.
    middle = 10.0 ** (np.arange(-16, 13) / 10.0) * (10.0**0.05 + 10.0**-0.05) / 2.0
    np.testing.assert_allclose(loss, metres * 1e-3 * middle, rtol=1e-6)
    ratio = line_pressure(source, place, 4000.0, steady) / line_pressure(source, place, 4000.0, STILL)
    assert ratio[0, 0] == pytest.approx(10.0 ** (-metres * 0.004 / 20.0), rel=1e-9)


def test_gain_and_polarity(sources):
    pair = column(2)
    level = band_level(sources(pair), PLACES, STILL)
    np.testing.assert_allclose(band_level(sources(pair, gain=[2, 2]), PLACES, STILL) - level, 6.0206, rtol=1e-5)
    np.testing.assert_allclose(band_level(sources(pair, gain=[-1, -1]), PLACES, STILL), level, rtol=1e-12)
    middle = np.array([[20.0, 3.0, 9.0 - 0.18]])  # as far from either
    assert np.max(np.abs(line_pressure(sources(pair, gain=[1, -1]), middle, [500.0, 8000.0], STILL))) < 1e-12


def test_delay(sources):
    """A delay turns the phase by −2πfτ; one that all share leaves levels; distance and delay are the same."""
    place = np.array([[12.0, 0.0, 9.0]])
    plain = line_pressure(sources([0, 0, 9]), place, 250.0, STILL)
    late = line_pressure(sources([0, 0, 9], delay=[1e-3]), place, 250.0, STILL)
    np.testing.assert_allclose(late / plain, -1j, rtol=0, atol=1e-9)  # a quarter of the period
    shared = band_level(sources(column(3), delay=[0.02, 0.02, 0.02]), PLACES, STILL)
    np.testing.assert_allclose(shared, band_level(sources(column(3)), PLACES, STILL), rtol=1e-9)
    moved = sources([[0, 0, 9], [-3, 0, 9]], gain=[1.0, 15.0 / 12.0])
    delayed = sources([[0, 0, 9], [0, 0, 9]], delay=[0.0, 3.0 / C])
    np.testing.assert_allclose(band_level(moved, place, STILL), band_level(delayed, place, STILL), rtol=1e-9)


def test_hidden_sources_drop_out(sources):
    """Four sources, of which a position receives those that are not blocked."""
    blocked = np.random.default_rng(6).random((4, len(PLACES))) < 0.5
    blocked[:, 0], blocked[:, 1] = True, False
    everything = sources(column(4))
    level = band_level(everything, PLACES, STILL, blocked)
    pressure = line_pressure(everything, PLACES, [300.0, 3000.0], STILL, blocked)
    assert np.isnan(level[:, 0]).all()
    for index in range(1, len(PLACES)):
        left = ~blocked[:, index]
        place = PLACES[index : index + 1]
        if not left.any():
            assert np.isnan(level[:, index]).all()
            continue
        rest = sources(column(4)[left])
        np.testing.assert_allclose(
            pressure[:, index], line_pressure(rest, place, [300.0, 3000.0], STILL)[:, 0], rtol=1e-12
        )
        # The blocked sources still ask for lines: both counts are within 0.05 dB.
        np.testing.assert_allclose(level[:, index], band_level(rest, place, STILL)[:, 0], rtol=0, atol=0.1)


def test_blocked_follows_the_positions_through_blocks(sources, monkeypatch):
    blocked = np.random.default_rng(7).random((4, len(PLACES))) < 0.5
    source = sources(column(4, pitch=0.05))
    together = band_level(source, PLACES, STILL, blocked)
    lines = line_pressure(source, PLACES, 1000.0, STILL, blocked)
    monkeypatch.setattr(field, "_BLOCK", 12)
    np.testing.assert_allclose(band_level(source, PLACES, STILL, blocked), together, rtol=1e-10)
    np.testing.assert_allclose(line_pressure(source, PLACES, 1000.0, STILL, blocked), lines, rtol=1e-12)


def test_turning_everything_changes_nothing(hang, sources):
    """A column and its audience, turned together about any axis and moved, give the same field."""
    turn, shift = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix(), np.array([5.0, -3.0, 2.0])
    moved = sources(
        hang.position @ turn.T + shift, hang.directivities, hang.kind, hang.axes @ turn.T, hang.gain, hang.delay
    )
    there = PLACES @ turn.T + shift
    np.testing.assert_allclose(
        line_pressure(moved, there, 2000.0, STILL), line_pressure(hang, PLACES, 2000.0, STILL), rtol=1e-9
    )
    np.testing.assert_allclose(band_level(moved, there, STILL), band_level(hang, PLACES, STILL), rtol=0, atol=1e-6)


def test_an_aimed_enclosure_is_loudest_where_it_looks(sources, enclosures):
    """Aimed 20° down and 30° to the left, 10 m away on its axis: level at 1 m less 20 dB."""
    axes = Rotation.from_euler("ZY", [30.0, 20.0], degrees=True).as_matrix().T
    ahead = [np.cos(np.radians(20)) * np.cos(np.radians(30)), np.cos(np.radians(20)) * 0.5, -np.sin(np.radians(20))]
    source = sources([0, 0, 5], directivities=(enclosures["large"],), axes=[axes])
    level = band_level(source, np.array([[0.0, 0.0, 5.0]]) + 10.0 * np.array([ahead]), STILL)[:, 0]
    # As typed in the file of the item: 90 dB at 31.5 Hz, 109 dB at 1 kHz, 103 dB at 16 kHz.
    np.testing.assert_allclose(level[[1, 16, 28]], [70.0, 89.0, 83.0], rtol=0, atol=1e-5)  # single precision
    around = np.array([[0.0, 0.0, 5.0]]) + 10.0 * np.array([[1, 0, 0], [0, 1, 0], [0, 0, -1], [-1, 0, 0]])
    assert band_level(source, around, STILL)[28].max() < level[28] - 3.0


def partly_used() -> Directivity:
    """100 dB at 1 m from 1 kHz up, not used below."""
    level = np.where(np.arange(29) >= 16, 100.0, np.nan)
    return Directivity("upper", (), 0.0, 0.0, level, C)


def test_bands_that_no_source_is_used_in(sources):
    source = sources([0, 0, 0], directivities=(partly_used(),))
    place = np.array([[10.0, 0.0, 0.0]])
    level = band_level(source, place, STILL)[:, 0]
    assert np.isnan(level[:16]).all()
    np.testing.assert_allclose(level[16:], 80.0, rtol=1e-9)
    pressure = line_pressure(source, place, [500.0, 890.0, 893.0, 2000.0], STILL)[:, 0]
    assert np.isnan(pressure[:2]).all()
    # Exact: 80 dB is 0.2 Pa; the band of 1 kHz begins at 891 Hz.
    np.testing.assert_allclose(np.abs(pressure[2:]), 0.2, rtol=1e-9)


def test_a_source_that_is_not_used_leaves_the_others(sources):
    point = Directivity("point", (), 0.0, 0.0, np.full(29, PASCAL_DB), C)
    both = sources([[0, 1, 0], [0, -1, 0]], directivities=(partly_used(), point), kind=[0, 1])
    place = np.array([[10.0, 0.0, 0.0]])
    alone = 93.9794 - 10.0 * np.log10(101.0)  # exact: 1 Pa at 1 m, √101 m away
    np.testing.assert_allclose(band_level(both, place, STILL)[:16, 0], alone, rtol=1e-6)
    # Exact: as far away, in phase, amplitudes of 2 Pa and 1 Pa add to 3 Pa at 1 m.
    np.testing.assert_allclose(band_level(both, place, STILL)[16:, 0], alone + 9.5424, rtol=1e-6)


@pytest.mark.parametrize("call", [lambda s, p: band_level(s, p, STILL), lambda s, p: line_pressure(s, p, 1e3, STILL)])
def test_a_position_in_a_source(sources, call):
    with pytest.raises(ValueError, match="a listening position coincides with a source"):
        call(sources(column(3)), np.vstack([PLACES, column(3)[1]]))


def test_progress_is_told(sources, monkeypatch):
    monkeypatch.setattr(field, "BLOCK", 10)
    monkeypatch.setattr(field, "_BLOCK", 30)  # times three sources
    done: list[int] = []
    band_level(sources(column(3)), PLACES, STILL, progress=done.append)
    assert done == [10, 10, 3]
    line_pressure(sources(column(3)), PLACES, 1000.0, STILL, progress=done.append)
    assert done[3:] == [10, 10, 3]


def test_bands_are_cut_for_the_few_positions_at_the_extremes(sources):
    """Thousands of seats far ahead, and one near by, or far to the side or above, that evenly chosen ones miss."""
    rng = np.random.default_rng(8)
    far = np.column_stack([rng.uniform(40.0, 41.0, (4001, 1)), rng.uniform(-1.0, 1.0, (4001, 2))])
    for extreme in ([0.5, 0.0, -0.5], [0.5, 38.0, 0.0], [0.5, 0.0, 38.0]):
        place = far.copy()
        place[7] = extreme
        chosen = field._sample(sources([0.0, 0.0, 0.0]), place)
        assert 7 in chosen
        assert 7 not in np.linspace(0, 4000, field.SAMPLE).round()
        assert len(chosen) <= field.SAMPLE + 5
    assert len(field._sample(sources([0.0, 0.0, 0.0]), far[:20])) == 20
