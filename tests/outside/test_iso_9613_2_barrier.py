"""ISO 9613-2:1996, clause 7.4, screening by one edge: equations (14), (16) and (18).

D_z = 10 lg[3 + (C2/λ) C3 z K_met] with C2 = 20, C3 = 1, at most 20 dB;
K_met = exp[-(1/2000) √(d_ss d_sr d/(2z))], 1 below 100 m and around the side. All values from memory; the
worked figures below are arithmetic by hand.
"""

import numpy as np
import pytest

from acoustics.barrier import bend, detour, loss, weather_factor
from acoustics.sight import hidden
from acoustics.venue import Area


# z [m], λ [m], dB. Arithmetic by hand; half of the last digit.
@pytest.mark.parametrize(
    ("z", "wavelength", "expected"),
    [
        (0.0, 0.34, 4.77),  # 10 lg 3
        (0.05, 1.0, 6.02),  # 20 · 0.05 = 1; 10 lg 4
        (0.35, 1.0, 10.00),  # 20 · 0.35 = 7; 10 lg 10
        (0.17, 0.34, 11.14),  # 20 · 0.5 = 10; 10 lg 13 = 11.139
        (0.5, 0.68, 12.48),  # 20 · 0.5/0.68 = 14.706; 10 lg 17.706 = 12.481
        (2.0, 2.72, 12.48),  # the same in wavelengths
        (1.6, 0.34, 19.87),  # 20 · 1.6/0.34 = 94.118; 10 lg 97.118 = 19.873
    ],
)
def test_loss(z, wavelength, expected):
    assert float(loss(z, wavelength)) == pytest.approx(expected, abs=0.005)


def test_at_most_20_db():
    """20 z/λ = 97 makes 10 lg 100: z = 4.85 λ is where the limit starts to count."""
    assert float(loss(4.84, 1.0)) < 20.0
    np.testing.assert_array_equal(loss([4.86, 5.0, 50.0, np.inf], 1.0), 20.0)


def test_grows_with_detour_and_frequency():
    z, wavelength = np.linspace(0.0, 1.0, 50), np.array([[3.0], [1.0], [0.3]])
    found = loss(z, wavelength)
    assert found.shape == (3, 50)
    assert (np.diff(found, axis=1)[found[:, 1:] < 20.0] > 0).all()
    assert (np.diff(found[:, 1:], axis=0)[found[1:, 1:] < 20.0] > 0).all()


def test_no_edge_no_loss_to_speak_of():
    found = loss([np.nan, 0.35], 1.0)
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(10.0, rel=1e-9)


@pytest.mark.parametrize(
    ("z", "wavelength", "words"),
    [
        ([0.1, -0.02], 1.0, "path difference must not be negative, got -0.02 m"),
        (0.1, [1.0, 0.0], "wavelength must be positive, got 0 m"),
        (0.1, np.nan, "wavelength must be positive, got nan m"),
    ],
)
def test_refused(z, wavelength, words):
    with pytest.raises(ValueError, match=words):
        loss(z, wavelength)


# d_ss, d_sr, d, z [m]. By hand, each root over 2000.
@pytest.mark.parametrize(
    ("before", "after", "straight", "z", "expected"),
    [
        (100.0, 100.0, 200.0, 0.25, 0.36788),  # 2·10⁶/0.5 = 4·10⁶, root 2000: e^-1
        (50.0, 200.0, 200.0, 1.0, 0.60653),  # 2·10⁶/2 = 10⁶, root 1000: e^-0.5
        (60.0, 60.0, 100.0, 20.0, 0.95367),  # 3.6·10⁵/40 = 9000, root 94.868: e^-0.047434
        (50.0, 50.5, 99.9, 0.6, 1.0),  # below 100 m; else √210 206 = 458.5: e^-0.22924 = 0.795
    ],
)
def test_weather(before, after, straight, z, expected):
    assert float(weather_factor(before, after, straight, z)) == pytest.approx(expected, rel=1e-4, abs=0)


def test_weather_undoes_a_grazing_edge():
    """As z falls K_met does, to nothing: z = 10⁻⁴ m at 100 m twice makes √10¹⁰ = 10⁵ over 2000, e^-50."""
    assert float(weather_factor(100.0, 100.0, 200.0, 1e-4)) == pytest.approx(1.9287e-22, rel=1e-4, abs=0)
    assert float(weather_factor(100.0, 100.0, 200.0, 0.0)) == 0.0


def test_weather_lessens_the_loss():
    """20 · 0.25 · e^-1 / 0.34 = 5.4100; 10 lg 8.4100 = 9.248. Without: 14.706, 10 lg 17.706 = 12.481."""
    factor = weather_factor(100.0, 100.0, 200.0, 0.25)
    assert float(loss(0.25, 0.34, factor)) == pytest.approx(9.248, abs=0.0005)
    assert float(loss(0.25, 0.34)) == pytest.approx(12.481, abs=0.0005)


def wall(y_from, y_to, top):
    """Upright at x = 0, from the floor."""
    corners = ((0.0, y_from, 0.0), (0.0, y_to, 0.0), (0.0, y_to, top), (0.0, y_from, top))
    return Area(name="wall", role="obstacle", outline_m=corners)


# Equation (16): z = √((d_ss + d_sr)² + a²) - d, a along the edge. Source and position 1 m high, 4 m before and
# 4 m behind a wall of 4 m: d_ss = d_sr = 5 m, d = √(8² + a²).
@pytest.mark.parametrize(
    ("along", "z"),
    [
        (0.0, 2.0),  # 10 - 8
        (6.0, 1.661904),  # √136 - √100 = 11.661904 - 10
        (15.0, 1.027756),  # √325 - 17 = 18.027756 - 17
    ],
)
def test_path_difference_of_a_thin_wall(along, z):
    source, position = np.array([[-4.0, -along / 2, 1.0]]), np.array([[4.0, along / 2, 1.0]])
    areas = [wall(-50.0, 50.0, 4.0)]
    found = detour(source, position, areas, hidden(source, position, areas))
    np.testing.assert_allclose(found, [[z]], rtol=1e-6, atol=0)


def test_thin_wall_at_three_frequencies():
    """A wall 0.5 m above the path, 4 m from both: z = 2 √16.25 - 8 = 0.062258 m; 340 m/s.

    125, 1000, 8000 Hz: 20 z/λ = 0.45778, 3.6622, 29.298; 10 lg 3.45778 = 5.388, 10 lg 6.6622 = 8.236,
    10 lg 32.298 = 15.092.
    """
    source, position, areas = np.array([[-4.0, 0.0, 1.0]]), np.array([[4.0, 0.0, 1.0]]), [wall(-50.0, 50.0, 1.5)]
    bent = bend(source, position, areas, hidden(source, position, areas))
    wavelength = 340.0 / np.array([125.0, 1000.0, 8000.0])
    found = loss(bent.path_difference[0, 0], wavelength, bent.weather[0, 0])
    np.testing.assert_allclose(found, [5.388, 8.236, 15.092], atol=0.0005, rtol=0)
