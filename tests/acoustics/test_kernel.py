"""The compiled band energies against sums over thousands of lines, plain closed forms and exact directivities.

The second ways are numpy alone: paths, times, decay and interference are written out anew, one position at a time.
"""

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from acoustics import bands, charts, inner, kernel
from acoustics.directivity import PASCAL_DB, QUIET, TABLE_ERROR, Directivity
from acoustics.radiators import Radiator

C = 343.2  # [m/s]
POINT = Directivity("point", (), 0.0, 0.0, np.full(29, PASCAL_DB), C)
WHOLE = np.ones(29, dtype=np.int64)
# Nothing about it is symmetric, hence its directivity is complex.
LOW = Radiator("rectangle", 0.29, 0.17, ((0.05, 0.15, -0.08), (0.03, -0.17, 0.05)), to_hz=900.0)
HIGH = Radiator("rectangle", 0.05, 0.11, ((0.07, 0.08, 0.06),), from_hz=900.0)
LOPSIDED = Directivity("lopsided", (LOW, HIGH), 0.87, -9.0, np.full(29, PASCAL_DB), C)
PLACES = np.random.default_rng(3).uniform([4.0, -12.0, -8.0], [50.0, 12.0, 4.0], (40, 3))
FREE = np.zeros((0, 0))


def column(rng, count):
    """An uneven, somewhat bent column about the origin."""
    height = -np.cumsum(rng.uniform(0.1, 0.5, count))
    return np.column_stack([rng.uniform(-0.4, 0.0, count), rng.uniform(-0.1, 0.1, count), height - height.mean()])


def strengths(rng, count, subs):
    """Drives of either sign from −20 to +10 dB, times filters of any phase in each sub-band."""
    drive = 10.0 ** rng.uniform(-1.0, 0.5, (count, 1)) * rng.choice([-1.0, 1.0], (count, 1))
    return drive * np.exp(1j * rng.uniform(0.0, 2.0 * np.pi, (count, len(subs.middle))))


def summed(place, strength, subs, delay=None, axes=None, kind=None, neper=None):
    """What the kernel sums; in phase, facing +x, without air where nothing is given."""
    place = np.atleast_2d(np.asarray(place, dtype=float))
    count = len(place)
    return kernel.Sum(
        place=place,
        axes=np.tile(np.eye(3), (count, 1, 1)) if axes is None else np.ascontiguousarray(axes),
        kind=np.zeros(count, dtype=np.int64) if kind is None else np.asarray(kind, dtype=np.int64),
        delay=np.zeros(count) if delay is None else np.asarray(delay, dtype=float),
        strength=np.array(np.broadcast_to(strength, (count, len(subs.middle))), dtype=complex),
        neper=np.zeros(len(subs.middle)) if neper is None else np.asarray(neper, dtype=float),
        edge=subs.edge,
        band=subs.band,
        share=subs.share,
        c=C,
    )


def plain(subs):
    """Charts of points alone."""
    return charts.build((POINT,), np.full((1, 2, 2, 2), np.nan), subs.middle)


def energy(of, subs, position, detour=FREE, tables=None):
    found, _ = kernel.band_energy(of, plain(subs) if tables is None else tables, np.asarray(position), detour, 29)
    return found


def by_lines(of, subs, position, lines=4000, late=0.0, weaker=1.0, toward=1.0):
    """Mean square of the lines at the middle of equal steps, amplitudes held in each sub-band, (29, P).

    `late` (S, P) [s], `weaker` (S, K, P) in amplitude, `toward` (S, K, P): directivity.
    """
    sources, subcount = of.strength.shape
    late = np.broadcast_to(late, (sources, len(position)))
    factor = np.broadcast_to(np.multiply(weaker, toward), (sources, subcount, len(position)))
    total = np.zeros((29, len(position)))
    for p, where in enumerate(position):
        path = np.sqrt(np.sum((where - of.place) ** 2, axis=1))
        arrival = path / C + of.delay + late[:, p]
        for k, (low, high) in enumerate(pairwise(subs.edge)):
            line = low + (high - low) * (np.arange(lines) + 0.5) / lines
            held = of.strength[:, k] * factor[:, k, p] * np.exp(-of.neper[k] * path) / path
            pressure = np.exp(-2j * np.pi * line[:, np.newaxis] * arrival) @ held
            total[subs.band[k], p] += subs.share[k] * np.mean(pressure.real**2 + pressure.imag**2)
    return total


def assert_levels(found, expected, tolerance_db):
    """Levels within 60 dB of the greatest."""
    loud = expected > 1e-6 * expected.max()
    np.testing.assert_allclose(10.0 * np.log10(found[loud] / expected[loud]), 0.0, rtol=0, atol=tolerance_db)
    assert np.all(found >= 0)


# The kernel works four sources and eight sub-bands at a time: counts on both sides of whole groups.
@pytest.mark.parametrize("count", [1, 2, 4, 5, 16, 17, 48])
def test_against_lines(count):
    """Random columns, drives, filters and delays of up to 50 ms; bands in one part or in two."""
    rng = np.random.default_rng(count)
    subs = bands.cut(rng.integers(1, 3, 29) if count < 48 else WHOLE)
    of = summed(column(rng, count), strengths(rng, count, subs), subs, delay=rng.uniform(0.0, 0.05, count))
    position = PLACES[:4] if count < 48 else PLACES[:2]
    # Midpoint lines are off by (πBΔ/N)²/6 of a pair's sinc(BΔ) ≤ 1/(πBΔ): at most πBΔ/(6N²) = 8e-6 of it for the
    # widest band, 3.7 kHz, and 65 ms; 3e-5 dB for two sources, and 1e-4 dB leaves room for partial cancellation.
    assert_levels(energy(of, subs, position), by_lines(of, subs, position), 1e-4)


def test_one_source_alone_is_its_amplitude():
    subs, rng = bands.cut(WHOLE), np.random.default_rng(1)
    strength = strengths(rng, 1, subs)
    place, position = np.array([[0.3, -0.2, 7.0]]), PLACES
    found = energy(summed(place, strength, subs, delay=[0.04]), subs, position)
    square = np.abs(strength[0, :, np.newaxis]) ** 2 / np.sum((position - place) ** 2, axis=1)
    np.testing.assert_allclose(found, square, rtol=1e-13, atol=0)  # rounding alone


def two_in_closed_form(subs, apart_s, ratio):
    """Mean square of 1 and `ratio` that arrive so much apart, exact: 1 + |a|² + 2 Re[a e^{j2πf_mΔ}] sin(πBΔ)/(πBΔ)."""
    width = np.diff(subs.edge)
    turned = ratio * np.exp(2j * np.pi * subs.middle * apart_s)
    mean = 1.0 + np.abs(ratio) ** 2 + 2.0 * turned.real * np.sinc(width * apart_s)
    return np.bincount(subs.band, weights=subs.share * mean, minlength=29)


@pytest.mark.parametrize("ratio", [1.0, -1.0, 0.3j, -0.5 + 0.2j])
@pytest.mark.parametrize("metres", [0.0, 1e-12, 1e-9, 1e-7, 1e-6, 1e-5, 3e-5, 4e-5, 1e-4, 1e-3])
def test_paths_that_are_all_but_equal(metres, ratio):
    """Two sources in line with the listener, as much apart as the paths; the nearer one arrives earlier."""
    subs, position = bands.cut(WHOLE), np.array([[20.0, 0.0, 0.0]])
    place = np.array([[0.0, 0.0, 0.0], [-metres, 0.0, 0.0]])
    strength = np.array([[20.0], [20.0 * (1.0 + metres / 20.0) * ratio]])  # 1 and `ratio` at the listener
    found = energy(summed(place, strength, subs), subs, position)[:, 0]
    # Of the two energies' sum: rounding of a phasor, some 2e-15, over πBΔ ≥ 2e-6 in the narrowest band.
    np.testing.assert_allclose(found, two_in_closed_form(subs, -metres / C, ratio), rtol=0, atol=2e-9)


@pytest.mark.parametrize("parts", [1, 16])
@pytest.mark.parametrize("ratio", [1.0, -0.7j])
def test_no_step_where_near_arrivals_begin(parts, ratio):
    """Well to either side, and just before and after the kernel goes over from the limit to the whole term."""
    subs, position = bands.cut(parts * WHOLE), np.array([[1.0, 0.0, 0.0]])
    found = {}
    for share in (0.5, 1.0 - 1e-9, 1.0, 1.0 + 1e-9, 1.5):
        apart = inner._NEAR_S * share
        of = summed(np.zeros((2, 3)), np.array([[1.0], [ratio]]), subs, delay=[0.0, apart])
        found[share] = energy(of, subs, position)[:, 0]
        # Rounding of a phasor over πBΔ: parts are 0.36 Hz wide at the least. The series leaves (πBΔ)³/6 = 3e-10.
        np.testing.assert_allclose(found[share], two_in_closed_form(subs, -apart, ratio), rtol=0, atol=2e-9 * parts)
    np.testing.assert_allclose(found[1.0 - 1e-9], found[1.0 + 1e-9], rtol=0, atol=2e-9 * parts)


@pytest.mark.parametrize("count", [2, 6])
def test_coincident_sources_of_opposite_polarity_are_silent(count):
    subs = bands.cut(2 * WHOLE)
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)[:, np.newaxis]
    place = np.tile([0.1, 0.2, 0.3], (count, 1))
    silent = energy(summed(place, sign, subs, delay=np.full(count, 0.013)), subs, PLACES)
    loud = energy(summed(place, np.abs(sign), subs), subs, PLACES)
    np.testing.assert_allclose(loud[0] * np.sum((PLACES - place[0]) ** 2, axis=1), count**2, rtol=1e-12, atol=0)
    assert np.all(silent >= 0)  # nor is it NaN
    assert np.all(silent < 1e-14 * loud)


def test_nulls_between_two_sources_do_not_go_negative():
    """On the plane midway between opposite sources everything cancels but rounding."""
    subs = bands.cut(WHOLE)
    of = summed([[0.0, 0.0, 1.7], [0.0, 0.0, -1.7]], np.array([[1.0], [-1.0]]), subs)
    midway = np.column_stack([PLACES[:, :2], np.zeros(len(PLACES))])
    found = energy(of, subs, midway)
    assert np.all(found >= 0)
    assert np.all(found < 1e-14)
    raised = energy(of, subs, midway + np.array([0.0, 0.0, 0.5]))
    assert np.all(raised[10:] > 1e-6)


def test_parts_of_equal_amplitude_change_nothing():
    rng, delay = np.random.default_rng(8), np.random.default_rng(9).uniform(0.0, 0.02, 12)
    place, drive = column(rng, 12), rng.uniform(0.5, 2.0, (12, 1))
    whole = bands.cut(WHOLE)
    once = energy(summed(place, drive, whole, delay), whole, PLACES)
    for parts in (2, 3, 16):
        subs = bands.cut(parts * WHOLE)
        again = energy(summed(place, drive, subs, delay), subs, PLACES)
        np.testing.assert_allclose(again, once, rtol=1e-9, atol=0)


def rows_turned(rng, count):
    """Axes of sources that look at random somewhat forward, rows forward, left, up."""
    turn = Rotation.from_euler("ZYX", rng.uniform(-25.0, 25.0, (count, 3)), degrees=True)
    return np.swapaxes(turn.as_matrix(), 1, 2)


def charted(of, kinds, subs, position):
    return charts.build(kinds, kernel.patches(of.place, of.axes, of.kind, len(kinds), position), subs.middle)


def exactly(of, kinds, subs, position):
    """Directivity of each source towards each position at the middle of each sub-band, (S, K, P)."""
    found = np.empty((len(of.place), len(subs.middle), len(position)), dtype=complex)
    for s, (place, axes) in enumerate(zip(of.place, of.axes, strict=True)):
        away = position - place
        local = np.stack([away @ axis for axis in axes], axis=1) / np.linalg.norm(away, axis=1)[:, np.newaxis]
        for k, hz in enumerate(subs.middle):
            found[s, k] = kinds[of.kind[s]].at(local, hz)
    return found


@pytest.mark.parametrize("name", ["compact", "medium", "large"])
def test_directivity_of_one_source(enclosures, name):
    """Positions all around: both charts, their rims and their middles."""
    rng = np.random.default_rng(12)
    subs = bands.cut(np.where(np.arange(29) < 20, 1, 2))
    around = 7.0 * Rotation.random(60, rng=rng).as_matrix()[:, 0]
    around[:4] = [[5.0, 0.0, 0.0], [-5.0, 0.0, 0.0], [0.0, 5.0, 0.0], [0.0, 0.0, -5.0]]
    of, kinds = summed(np.zeros((1, 3)), 1.0, subs), (enclosures[name],)
    amplitude = np.abs(exactly(of, kinds, subs, around)[0])
    expected = np.sqrt([np.bincount(subs.band, subs.share * column**2, 29) for column in amplitude.T]).T
    found = np.sqrt(energy(of, subs, around, tables=charted(of, kinds, subs, around)))
    found *= np.linalg.norm(around, axis=1)
    # The tables' own error, of the axis, and what they leave out; single precision adds 1e-7.
    np.testing.assert_allclose(found, expected, rtol=0, atol=TABLE_ERROR + QUIET)
    assert expected.min() < 0.1  # there is a pattern


def test_directivity_of_a_column(enclosures):
    """Three kinds, one of them a point, turned this way and that: their complex directivities add."""
    rng = np.random.default_rng(13)
    subs, kinds = bands.cut(WHOLE), (enclosures["large"], POINT, LOPSIDED)
    kind, position = np.array([0, 1, 2, 2, 0, 1, 0]), PLACES[:4]
    of = summed(column(rng, 7), strengths(rng, 7, subs), subs, rng.uniform(0, 0.01, 7), rows_turned(rng, 7), kind)
    toward = exactly(of, kinds, subs, position)
    found = energy(of, subs, position, tables=charted(of, kinds, subs, position))
    path = np.linalg.norm(position[:, np.newaxis] - of.place, axis=2)
    # Errors of the tables at most add up, each with its source's amplitude at the listener.
    most = (TABLE_ERROR + QUIET) * np.sum(np.abs(of.strength)[:, :, np.newaxis] / path.T[:, np.newaxis], axis=0)
    root = np.sqrt(by_lines(of, subs, position, toward=toward))
    assert np.all(np.abs(np.sqrt(found) - root) < most)
    assert np.median(most / root) < 0.02  # hence it could fail


def test_hidden_sources_are_left_out():
    rng, subs = np.random.default_rng(14), bands.cut(WHOLE)
    of = summed(column(rng, 6), strengths(rng, 6, subs), subs, delay=rng.uniform(0.0, 0.02, 6))
    hidden = rng.random((6, len(PLACES))) < 0.5
    hidden[:, 0] = True
    found = energy(of, subs, PLACES, np.where(hidden, np.inf, np.nan))
    assert np.all(found[:, 0] == 0)
    for p in range(1, len(PLACES)):
        left = np.flatnonzero(~hidden[:, p])
        if len(left):
            rest = summed(of.place[left], of.strength[left], subs, of.delay[left])
            np.testing.assert_allclose(found[:, p], energy(rest, subs, PLACES[p : p + 1])[:, 0], rtol=1e-10, atol=0)
    assert np.all(energy(of, subs, PLACES, np.full((6, len(PLACES)), np.inf)) == 0)


@pytest.mark.parametrize(("z", "hz", "loss_db"), [(0.0, 1000.0, 4.771), (0.1, 1000.0, 9.477), (2.0, 8000.0, 20.0)])
def test_one_source_over_an_edge(z, hz, loss_db):
    """10 lg(3 + 20 z/λ), at most 20 dB, at the middle of the band, ISO 9613-2:1996, 7.4. Values [exact]."""
    subs = bands.cut(WHOLE)
    of, place, band = summed(np.zeros((1, 3)), 1.0, subs), PLACES[:1], bands.NOMINAL_HZ.index(hz)
    loss = -10.0 * np.log10(energy(of, subs, place, np.array([[z]])) / energy(of, subs, place))[band, 0]
    # The middle of 10^±0.05 kHz is 1006.6 Hz: 20 · 0.1 · 1006.6/343.2 = 5.866. Values have three decimals.
    assert loss == pytest.approx(loss_db, abs=1e-3)


def test_sources_over_an_edge_are_weaker_and_late():
    """Some paths free, some over an edge, some stopped: an own sum over lines."""
    rng, subs = np.random.default_rng(15), bands.cut(WHOLE)
    of = summed(column(rng, 7), strengths(rng, 7, subs), subs, delay=rng.uniform(0.0, 0.01, 7))
    detour = rng.choice([np.nan, 0.0, 0.01, 0.3, 3.0, np.inf], (7, 4), p=[0.2, 0.1, 0.2, 0.2, 0.1, 0.2])
    over = np.nan_to_num(detour, posinf=0.0)
    loss_db = 10.0 * np.log10(3.0 + 20.0 * over[:, np.newaxis] * subs.middle[:, np.newaxis] / C)
    weaker = 10.0 ** (-np.minimum(loss_db, 20.0) / 20.0)
    weaker = np.where(np.isnan(detour)[:, np.newaxis], 1.0, weaker)
    weaker = np.where(np.isposinf(detour)[:, np.newaxis], 0.0, weaker)
    expected = by_lines(of, subs, PLACES[:4], late=over / C, weaker=weaker)
    assert_levels(energy(of, subs, PLACES[:4], detour), expected, 1e-4)


@pytest.mark.parametrize("neper", [1e-6, 1e-3, 0.02, 0.05])
def test_air_on_one_path(neper):
    """e^{−2αr} of the energy, up to 300 m at 0.05/m: 130 dB."""
    subs, metres = bands.cut(WHOLE), np.geomspace(0.5, 300.0, 40)
    position = metres[:, np.newaxis] * np.array([[0.6, 0.0, -0.8]])
    found = energy(summed(np.zeros((1, 3)), 1.0, subs, neper=np.full(29, neper)), subs, position)
    # The series for e^x is good to 1e-5 (4e-5 dB).
    np.testing.assert_allclose(found, np.tile(np.exp(-2.0 * neper * metres) / metres**2, (29, 1)), rtol=1e-5, atol=0)


def test_air_on_unequal_paths():
    """A source 2 m away and others up to 300 m further: each loses on its own path."""
    rng, subs = np.random.default_rng(16), bands.cut(WHOLE)
    place = np.array([[0.0, 0.0, 0.0], [-20.0, 3.0, 0.0], [-100.0, 0.0, 9.0], [-300.0, -5.0, 1.0]])
    neper = np.geomspace(1e-5, 0.05, 29)
    reach = np.array([[1.0], [20.0], [100.0], [300.0]]) * np.exp(neper * [[0.0], [20.0], [100.0], [300.0]])
    # Driven so that all arrive alike, as far as that goes.
    of = summed(place, reach * np.exp(2j * np.pi * rng.random((4, 29))), subs, neper=neper)
    position = np.array([[2.0, 0.0, 0.0], [1.5, 1.0, 0.5]])
    # Delays of 0.9 s need more lines: πBΔ/(6N²) = 7e-7 at 50 000 for the widest band. The series adds 1e-5.
    few = bands.cut(np.where(np.arange(29) < 20, 0, 1))
    assert_levels(energy(of, subs, position)[:20], by_lines(of, subs, position, 8000)[:20], 3e-4)
    loud = summed(place, of.strength[:, 20:], few, neper=neper[20:])
    assert_levels(energy(loud, few, position), by_lines(loud, few, position, 50_000), 3e-4)


def test_absorbed_entirely():
    """Beyond what can be heard nothing overflows, and nothing comes back."""
    subs = bands.cut(WHOLE)
    found = energy(summed(np.zeros((1, 3)), 1.0, subs, neper=np.full(29, 0.3)), subs, np.array([[5000.0, 0.0, 0.0]]))
    assert np.all((found >= 0) & (found < 1e-30))


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 20))
def test_order_of_sources(seed, count):
    rng, subs = np.random.default_rng(seed), bands.cut(WHOLE)
    of = summed(column(rng, count), strengths(rng, count, subs), subs, delay=rng.uniform(0.0, 0.05, count))
    mixed = rng.permutation(count)
    other = summed(of.place[mixed], of.strength[mixed], subs, of.delay[mixed])
    expected = energy(of, subs, PLACES)
    # Of the greatest: what all but cancels keeps fewer digits.
    np.testing.assert_allclose(energy(other, subs, PLACES), expected, rtol=0, atol=1e-9 * expected.max())


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 9))
def test_moved_as_a_whole(seed, count):
    rng, subs = np.random.default_rng(seed), bands.cut(WHOLE)
    of = summed(column(rng, count), strengths(rng, count, subs), subs, delay=rng.uniform(0.0, 0.05, count))
    shift = rng.uniform(-200.0, 200.0, 3)
    expected = energy(of, subs, PLACES)
    found = energy(of._replace(place=of.place + shift), subs, PLACES + shift)
    # 200 m are known to 3e-14 m, a phase of 1e-11 at 16 kHz; near arrivals magnify it, as above.
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-8 * expected.max())


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_mirror_images(enclosures, seed):
    """The catalogue's enclosures have a left and a right that are alike: left and right swap, levels do not."""
    rng, subs = np.random.default_rng(seed), bands.cut(WHOLE)
    kinds, kind, flip = (enclosures["medium"], enclosures["compact"]), [0, 0, 1, 0, 1], np.array([1.0, -1.0, 1.0])
    of = summed(column(rng, 5), strengths(rng, 5, subs), subs, axes=rows_turned(rng, 5), kind=kind)
    # A mirrored left points to the right.
    other = of._replace(place=of.place * flip, axes=of.axes * flip * flip[:, np.newaxis])
    expected = energy(of, subs, PLACES, tables=charted(of, kinds, subs, PLACES))
    found = energy(other, subs, PLACES * flip, tables=charted(other, kinds, subs, PLACES * flip))
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-5 * expected.max())  # tables in single precision


@pytest.mark.parametrize("count", [1, 63, 65, 1000])
def test_one_position_as_many(enclosures, count):
    """Whatever blocks positions are dealt out in."""
    rng, subs = np.random.default_rng(17), bands.cut(WHOLE)
    position = rng.uniform([4.0, -12.0, -8.0], [50.0, 12.0, 4.0], (count, 3))
    of, kinds = summed(column(rng, 5), strengths(rng, 5, subs), subs, axes=rows_turned(rng, 5)), (enclosures["large"],)
    tables = charted(of, kinds, subs, position)
    detour = rng.choice([np.nan, 0.1, np.inf], (5, count))
    together = energy(of, subs, position, detour, tables)
    for p in range(0, count, 1 + count // 50):
        alone = energy(of, subs, position[p : p + 1], detour[:, p : p + 1].copy(), tables)
        np.testing.assert_allclose(alone[:, 0], together[:, p], rtol=1e-12, atol=0)


@pytest.mark.parametrize("parts", [1, 2])
def test_sines_and_cosines_are_counted(parts):
    """One pair for each position, source that arrives, and edge of sub-bands; none for what is hidden."""
    subs = bands.cut(parts * WHOLE)
    of, tables = summed(column(np.random.default_rng(18), 11), 1.0, subs), plain(subs)
    _, calls = kernel.band_energy(of, tables, PLACES, FREE, 29)
    assert calls == len(PLACES) * 11 * (29 * parts + 1)
    detour = np.full((11, len(PLACES)), np.nan)
    detour[3], detour[7, :5], detour[8] = np.inf, np.inf, 0.2
    _, calls = kernel.band_energy(of, tables, PLACES, detour, 29)
    assert calls == (len(PLACES) * 10 - 5) * (29 * parts + 1)


def test_two_threads_at_once():
    rng, subs = np.random.default_rng(19), bands.cut(WHOLE)
    position = rng.uniform([4.0, -12.0, -8.0], [50.0, 12.0, 4.0], (2000, 3))
    tasks = [summed(column(rng, n), strengths(rng, n, subs), subs) for n in (5, 24)]
    alone = [energy(of, subs, position) for of in tasks]
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda of: energy(of, subs, position), tasks * 6))
    for index, result in enumerate(found):
        np.testing.assert_array_equal(result, alone[index % 2])


def test_patches_hold_every_direction():
    """(y, z)/(1 + |x|) of unit vectors by half: a listener on the left, one plumb below in both halves, one behind."""
    position = np.array([[3.0, 4.0, 0.0], [0.0, 0.0, -2.0], [-1.0, 0.0, 0.0]])
    found = kernel.patches(np.zeros((1, 3)), np.eye(3)[np.newaxis], np.zeros(1, dtype=np.int64), 1, position)
    # Exact: (0.8, 0)/1.6 in front, (0, −1)/1 in the plane between the halves, (0, 0) behind.
    np.testing.assert_allclose(found[0], [[[0.0, -1.0], [0.5, 0.0]], [[0.0, -1.0], [0.0, 0.0]]], rtol=0, atol=1e-15)
    front = kernel.patches(np.zeros((1, 3)), np.eye(3)[np.newaxis], np.zeros(1, dtype=np.int64), 1, position[:1])
    assert np.isnan(front[0, 1]).all()
    assert not np.isnan(front[0, 0]).any()
