"""Filters against scipy.signal, closed forms of Butterworth, and the relation of gain and phase of Bode.

Squared Butterworth pairs: Linkwitz, JAES 24(1), 1976 (from memory). Gain and phase: Bode, Network Analysis and Feedback
Amplifier Design (1945), from memory: phase = (1/π) ∫ (d ln|H|/du) ln coth(|u|/2) du, u = ln(f/f0).
"""

import numpy as np
import pytest
from scipy import integrate, signal

from acoustics.filters import bell, high_pass, high_shelf, low_pass, low_shelf

HZ = np.geomspace(1.0, 60_000.0, 97)
PASSES = {"lowpass": low_pass, "highpass": high_pass}


def through(sections, frequency):
    return np.prod([section.at(frequency) for section in sections], axis=0)


def db(sections, frequency):
    return 20.0 * np.log10(np.abs(through(sections, frequency)))


@pytest.mark.parametrize("kind", PASSES)
@pytest.mark.parametrize("order", range(1, 9))
def test_butterworth_against_scipy(kind, order):
    """calc: scipy. Complex response; both are exact but for rounding."""
    b, a = signal.butter(order, 2.0 * np.pi * 80.0, kind, analog=True)
    _, expected = signal.freqs(b, a, 2.0 * np.pi * HZ)
    np.testing.assert_allclose(through(PASSES[kind](80.0, order), HZ), expected, rtol=1e-9, atol=0)


@pytest.mark.parametrize("kind", PASSES)
@pytest.mark.parametrize("order", [4, 8])
def test_squared_butterworth_against_scipy(kind, order):
    """calc: scipy, the square of a filter of half the order."""
    z, p, k = signal.butter(order // 2, 2.0 * np.pi * 800.0, kind, analog=True, output="zpk")
    _, half = signal.freqs_zpk(z, p, k, 2.0 * np.pi * HZ)
    np.testing.assert_allclose(through(PASSES[kind](800.0, order, True), HZ), half**2, rtol=1e-9, atol=0)


# exact: 10 lg(1 + 4^n) dB an octave beyond the corner, and 3.0103 dB, 10 lg 2, at it.
@pytest.mark.parametrize(
    ("order", "octave_db"),
    [
        (1, 6.98970),
        (2, 12.30449),
        (3, 18.12913),
        (4, 24.09933),
        (5, 30.10724),
        (6, 36.12466),
        (7, 42.14446),
        (8, 48.16487),
    ],
)
def test_butterworth_at_its_corner_and_an_octave_beyond(order, octave_db):
    np.testing.assert_allclose(db(low_pass(500.0, order), [500.0, 1000.0]), [-3.0103, -octave_db], rtol=1e-6, atol=0)
    np.testing.assert_allclose(db(high_pass(500.0, order), [500.0, 250.0]), [-3.0103, -octave_db], rtol=1e-6, atol=0)


# Q of the sections of Butterworth filters, as in filter tables. Value from memory, rounded to four decimals.
@pytest.mark.parametrize(
    ("order", "q"),
    [(2, [0.7071]), (4, [0.5412, 1.3066]), (6, [0.5176, 0.7071, 1.9319]), (8, [0.5098, 0.6013, 0.9, 2.5629])],
)
def test_sections_of_butterworth_filters(order, q):
    found = sorted((a0 * a2) ** 0.5 / a1 for a0, a1, a2 in (s.denominator for s in low_pass(1000.0, order)))
    np.testing.assert_allclose(found, q, rtol=1.1e-4, atol=0)


@pytest.mark.parametrize("order", [4, 8])
def test_squared_pair(order):
    """exact: −6.0206 dB each at the corner, in phase everywhere, and together an allpass."""
    low, high = low_pass(1200.0, order, True), high_pass(1200.0, order, True)
    np.testing.assert_allclose([db(low, 1200.0), db(high, 1200.0)], -6.0206, rtol=1e-6, atol=0)
    np.testing.assert_allclose(np.abs(through(low, HZ) + through(high, HZ)), 1.0, rtol=1e-12, atol=0)
    assert np.abs(np.angle(through(low, HZ) / through(high, HZ))).max() < 1e-9


def test_phase_of_the_squared_pair_of_fourth_order():
    """exact: the sum is (1 − √2 x + x²)/(1 + √2 x + x²), whose phase is −180° at the corner."""
    x = HZ / 1200.0
    expected = -2.0 * np.arctan2(2.0**0.5 * x, 1.0 - x**2)
    found = through(low_pass(1200.0, 4, True), HZ) + through(high_pass(1200.0, 4, True), HZ)
    np.testing.assert_allclose(found, np.exp(1j * expected), rtol=1e-9, atol=0)


def test_pair_that_is_not_squared_does_not_add_to_an_allpass():
    """exact: Butterworth of fourth order adds to √2 at the corner, +3.0103 dB."""
    both = through(low_pass(1200.0, 4), 1200.0) + through(high_pass(1200.0, 4), 1200.0)
    assert 20.0 * np.log10(abs(both)) == pytest.approx(3.0103, rel=1e-5, abs=0)


@pytest.mark.parametrize("gain_db", [12.0, 3.0])
@pytest.mark.parametrize("q", [0.3, 2.0, 9.0])
def test_bell_is_one_and_a_resonance(gain_db, q):
    """calc: scipy. A boost is 1 + (g − 1) times a band-pass of Q√g; a cut is its inverse."""
    gain, w = 10.0 ** (gain_db / 20.0), 2.0 * np.pi * 250.0
    damping = w / (q * gain**0.5)
    _, band_pass = signal.freqs([damping, 0.0], [1.0, damping, w**2], 2.0 * np.pi * HZ)
    boost = 1.0 + (gain - 1.0) * band_pass
    np.testing.assert_allclose(through(bell(250.0, gain_db, q), HZ), boost, rtol=1e-9, atol=0)
    np.testing.assert_allclose(through(bell(250.0, -gain_db, q), HZ), 1.0 / boost, rtol=1e-9, atol=0)


@pytest.mark.parametrize("gain_db", [9.0, -4.0, -30.0])
@pytest.mark.parametrize("q", [0.4, 1.0, 6.0])
def test_bell_at_its_centre_and_width(gain_db, q):
    """exact: the gain at f0, half its decibels at f0(√(1 + 1/4Q²) ± 1/2Q), which lie f0/Q apart."""
    middle, half = np.sqrt(1.0 + 0.25 / q**2), 0.5 / q
    found = db(bell(630.0, gain_db, q), 630.0 * np.array([1.0, middle - half, middle + half]))
    np.testing.assert_allclose(found, [gain_db, gain_db / 2.0, gain_db / 2.0], rtol=1e-9, atol=0)


@pytest.mark.parametrize("gain_db", [12.0, -7.0])
@pytest.mark.parametrize("q", [0.3, 0.5, 0.7071, 1.2])
def test_shelves_of_second_order_by_their_roots(gain_db, q):
    """calc: scipy. Roots of one Q; the natural frequencies of zeros and poles lie g^(±1/4) off the corner."""
    off, w = 10.0 ** (gain_db / 80.0), 2.0 * np.pi * 125.0
    turn = -np.exp(1j * np.array([1.0, -1.0]) * np.emath.arccos(0.5 / q))  # double or real roots too
    _, low = signal.freqs_zpk(w * off * turn, w / off * turn, 1.0, 2.0 * np.pi * HZ)
    _, high = signal.freqs_zpk(w / off * turn, w * off * turn, 10.0 ** (gain_db / 20.0), 2.0 * np.pi * HZ)
    np.testing.assert_allclose(through(low_shelf(125.0, gain_db, q), HZ), low, rtol=1e-9, atol=0)
    np.testing.assert_allclose(through(high_shelf(125.0, gain_db, q), HZ), high, rtol=1e-9, atol=0)


@pytest.mark.parametrize("gain_db", [12.0, -7.0])
def test_shelves_of_first_order_by_their_roots(gain_db):
    """calc: scipy. One zero and one pole, g^(±1/2) off the corner."""
    off, w = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * 125.0
    _, low = signal.freqs_zpk([-w * off], [-w / off], 1.0, 2.0 * np.pi * HZ)
    _, high = signal.freqs_zpk([-w / off], [-w * off], 10.0 ** (gain_db / 20.0), 2.0 * np.pi * HZ)
    np.testing.assert_allclose(through(low_shelf(125.0, gain_db, None), HZ), low, rtol=1e-9, atol=0)
    np.testing.assert_allclose(through(high_shelf(125.0, gain_db, None), HZ), high, rtol=1e-9, atol=0)


@pytest.mark.parametrize("gain_db", [15.0, -2.5, -40.0])
@pytest.mark.parametrize("q", [None, 0.35, 0.7071, 3.0])
def test_shelves_at_their_corner_and_far_from_it(gain_db, q):
    """exact: half the decibels at the corner, all of them far on one side, none on the other."""
    low = db(low_shelf(1000.0, gain_db, q), [1e-4, 1000.0, 1e10])
    high = db(high_shelf(1000.0, gain_db, q), [1e10, 1000.0, 1e-4])
    for found in (low, high):
        np.testing.assert_allclose(found[:2], [gain_db, gain_db / 2.0], rtol=1e-9, atol=0)
        assert abs(found[2]) < 1e-9


EVERY_KIND = {
    "low-pass 5": low_pass(900.0, 5),
    "high-pass 8": high_pass(60.0, 8),
    "squared 4": high_pass(300.0, 4, True),
    "squared 8": low_pass(2000.0, 8, True),
    "low shelf": low_shelf(200.0, 9.0, 0.9),
    "low shelf 1": low_shelf(200.0, -12.0, None),
    "high shelf": high_shelf(4000.0, -6.0, 0.5),
    "high shelf 1": high_shelf(4000.0, 10.0, None),
    "bell": bell(1000.0, 8.0, 3.0),
    "cut": bell(1000.0, -18.0, 0.7),
}


@pytest.mark.parametrize("name", EVERY_KIND)
def test_poles_and_zeros_lie_in_the_left_half_plane(name):
    """Minimum phase: no pole on or right of the axis, no zero right of it."""
    for section in EVERY_KIND[name]:
        poles, zeros = (np.roots(c[::-1]) for c in (section.denominator, section.numerator))
        assert len(poles) >= len(zeros)
        assert (poles.real < 0.0).all()
        assert (zeros.real <= 0.0).all()


@pytest.mark.parametrize("name", EVERY_KIND)
@pytest.mark.parametrize("hz", [70.0, 700.0, 3000.0])
def test_phase_follows_from_the_slope_of_the_gain(name, hz):
    """Bode's relation, by quadrature over ±20 nepers of frequency; slopes by differences, 1e-7 of a neper."""
    sections, step = EVERY_KIND[name], 1e-4

    def slope(u):
        return np.diff(np.log(np.abs(through(sections, hz * np.exp(u + step * np.array([-1.0, 1.0]))))))[0] / (
            2.0 * step
        )

    def part(u):
        return (slope(u) + slope(-u)) * np.log(1.0 / np.tanh(u / 2.0)) / np.pi

    pieces = [
        integrate.quad(part, *ends, limit=200, epsabs=1e-7)[0] for ends in ((1e-12, 0.1), (0.1, 5.0), (5.0, 20.0))
    ]
    found = through(sections, hz)
    assert abs(np.angle(found * np.exp(-1j * sum(pieces)))) < 2e-5
