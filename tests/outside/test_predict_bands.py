"""Levels that `predict` writes, against closed forms in bands: two paths, polarity, delays.

Energy of two equal paths that differ by D = c t, mean over linear f of a band of width B about f0: exact, re one path
2 ± 2 cos(2π f0 t) sin(πBt)/(πBt), the sign that of the polarities. Two points of the catalogue, 1 Pa at 1 m each, hang
0.35 m one above the other; 343.2 m/s, no absorption. Below: a uniform line in third octaves, by Fresnel integrals.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from scipy.special import fresnel

from acoustics.field import band_level

C = 343.2
PITCH_M = 0.35
ONE_PA_DB = 20.0 * np.log10(1.0 / 20e-6)
EDGE = 10.0 ** (np.arange(13.5, 43.0) / 10.0)  # IEC 61260-1, base 10: 25 Hz to 16 kHz [Hz]
ROUNDED = 5e-7  # half of the sixth decimal
KHZ = 16  # the 1 kHz band

AHEAD = (20.0, 0.0, 0.0)  # as far from both points
BELOW = (0.0, 0.0, -10.0)  # the upper point is 0.35 m farther away


@pytest.fixture(scope="module")
def pair(evenhang: Any, tmp_path_factory: Any, tiny_area: Callable[..., str]) -> Callable[..., xr.DataArray]:
    """Levels (29,) at one place of an upper and a lower point, each with the keys of its group."""

    def predict(place: Any, upper: str = "", lower: str = "") -> Any:
        folder: Path = tmp_path_factory.mktemp("pair")
        row = '\n[[column]]\nenclosure = "point"\nsplay_deg = 0.0\n'
        hang = (
            'format = "hang/1"\nname = "pair"\nframe = "frame-large"\nposition_m = [0.0, 0.0, 0.35]\ntilt_deg = 0.0\n'
        )
        groups = f"\n[[group]]\nrows = [1]\n{upper}\n[[group]]\nrows = [2]\n{lower}\n"
        air = f"[air]\nabsorption = false\nspeed_of_sound_m_s = {C}\n"
        (folder / "hang.toml").write_text(f"{hang}{row}{row}{groups}")
        (folder / "venue.toml").write_text(f'format = "venue/1"\nname = "v"\n{air}{tiny_area("place", place)}')
        field = evenhang("predict", folder / "hang.toml", folder / "venue.toml").field
        np.testing.assert_allclose(field["source_z"].values, [PITCH_M / 2, -PITCH_M / 2], rtol=0, atol=1e-12)
        level = field["level"].values[:, ~field["on_section"].values]
        assert level.shape == (29, 1)
        return level[:, 0]

    return predict


def delay(path_m: float) -> str:
    return f"delay_ms = {float(path_m / C * 1000.0)!r}"


def apart(place: Any) -> float:
    """Distance from the upper point."""
    return float(np.linalg.norm(np.array(place) - [0.0, 0.0, PITCH_M / 2]))


# Exact: third octave at 1 kHz, edges 10^±0.05, two equal paths that differ by D; dB re one of them.
@pytest.mark.parametrize(("path_m", "level_db"), [(0.5, -4.112308), (2.0, 2.358117), (4.3, 2.886667), (10.0, 2.933375)])
class TestTwoPaths:
    def test_by_delay(self, pair: Any, path_m: float, level_db: float) -> None:
        one = ONE_PA_DB - 20.0 * np.log10(apart(AHEAD))
        for keys in ({"upper": delay(path_m)}, {"lower": delay(path_m)}):
            assert pair(AHEAD, **keys)[KHZ] - one == pytest.approx(level_db, rel=0, abs=2 * ROUNDED)

    def test_turned_round(self, pair: Any, path_m: float, level_db: float) -> None:
        """Exact: with one polarity turned round the energies of both cases make four times that of one path."""
        one = ONE_PA_DB - 20.0 * np.log10(apart(AHEAD))
        level = 10.0 * np.log10(4.0 - 10.0 ** (level_db / 10.0))
        found = pair(AHEAD, delay(path_m), "inverted = true")[KHZ]
        assert found - one == pytest.approx(level, rel=0, abs=2 * ROUNDED)

    def test_by_distance_and_delay(self, pair: Any, path_m: float, level_db: float) -> None:
        """Plumb below, the upper point 0.35 m farther: its delay makes that more, the lower one's less."""
        farther = apart(BELOW)
        gain = f"gain_db = {float(20.0 * np.log10(farther / (farther - PITCH_M)))!r}\n"
        one = ONE_PA_DB - 20.0 * np.log10(farther - PITCH_M)
        more, less = gain + delay(path_m - PITCH_M), (gain, delay(path_m + PITCH_M))
        assert pair(BELOW, more)[KHZ] - one == pytest.approx(level_db, rel=0, abs=2 * ROUNDED)
        assert pair(BELOW, *less)[KHZ] - one == pytest.approx(level_db, rel=0, abs=2 * ROUNDED)


def test_two_at_equal_distance_add_coherently(pair: Any) -> None:
    """Exact: +6.0206 dB in every band."""
    one = ONE_PA_DB - 20.0 * np.log10(apart(AHEAD))
    np.testing.assert_allclose(pair(AHEAD) - one, 6.0206, rtol=0, atol=1e-5)


def test_a_delay_lines_up_what_is_nearer(pair: Any) -> None:
    """Exact: the lower point delayed by the time of 0.35 m, and the upper one raised by what that costs."""
    farther = apart(BELOW)
    gain = f"gain_db = {float(20.0 * np.log10(farther / (farther - PITCH_M)))!r}"
    one = ONE_PA_DB - 20.0 * np.log10(farther - PITCH_M)
    np.testing.assert_allclose(pair(BELOW, gain, delay(PITCH_M)) - one, 6.0206, rtol=0, atol=1e-5)


def test_two_at_equal_distance_of_opposite_polarity_cancel(pair: Any) -> None:
    """Exact: nothing is left, but for rounding 200 dB below one of them; with a delay of half a period it adds up."""
    one = ONE_PA_DB - 20.0 * np.log10(apart(AHEAD))
    left = pair(AHEAD, "inverted = true")
    assert np.all(np.isnan(left) | (left < one - 200.0))
    # 1 kHz: cos(2π f0 t) = −1 at the band's middle f0 = (10^2.95 + 10^3.05)/2 = 1006.63 Hz.
    half = 0.5 / ((EDGE[KHZ] + EDGE[KHZ + 1]) / 2.0)
    loss = np.sinc((EDGE[KHZ + 1] - EDGE[KHZ]) * half)
    found = pair(AHEAD, f"inverted = true\n{delay(half * C)}")[KHZ] - one
    assert found == pytest.approx(10.0 * np.log10(2.0 + 2.0 * loss), rel=0, abs=1e-5)
    assert 5.9 < found < 6.0206


def test_two_far_apart_in_time_add_incoherently(pair: Any) -> None:
    """Exact: +3.0103 dB, to 1/(πBt) of it; and the value of the closed form in every band from 25 Hz on."""
    late, one = 0.25, ONE_PA_DB - 20.0 * np.log10(apart(AHEAD))
    found = pair(AHEAD, f"delay_ms = {late * 1000.0}") - one
    low, high = EDGE[:-1], EDGE[1:]
    sine = (np.sin(2.0 * np.pi * high * late) - np.sin(2.0 * np.pi * low * late)) / (2.0 * np.pi * late * (high - low))
    np.testing.assert_allclose(found, 10.0 * np.log10(2.0 + 2.0 * sine), rtol=0, atol=1e-5)
    assert np.max(np.abs(found - 3.0103)) > 0.2
    rest = 10.0 * np.log10(1.0 + 1.0 / (np.pi * (high - low) * late))
    assert np.all(np.abs(found - 3.0103) < rest + 1e-4)
    np.testing.assert_allclose(found[high - low > 400.0], 3.0103, rtol=0, atol=0.014)


# --- a uniform line, in third octaves ---

LENGTH_M = 4.0


@pytest.fixture
def line_in_bands(same_sources: Any, still_air: Any) -> Callable[..., Any]:
    """Level of (1/L) ∫ e^{−jkR}/R dz on the axis re 1/r in the 8 kHz band, (P,): 1000 points, 4 mm apart."""

    def level(distance: Any) -> Any:
        z = LENGTH_M * ((np.arange(1000) + 0.5) / 1000 - 0.5)
        row = np.column_stack([np.zeros(1000), np.zeros(1000), z])
        place = np.column_stack([distance, np.zeros_like(distance), np.zeros_like(distance)])
        found = band_level(same_sources(row, 1e-3), place, still_air)[25]
        return found - ONE_PA_DB + 20.0 * np.log10(distance)

    return level


def paraxial(distance: float) -> float:
    """10 lg of the mean over 8 kHz's band of |C(w) − jS(w)|²/w², w = L/√(2λr): midpoints of 2000 steps."""
    step = (EDGE[26] - EDGE[25]) / 2000
    w = LENGTH_M / np.sqrt(2.0 * C / (EDGE[25] + step * (np.arange(2000) + 0.5)) * distance)
    s, c = fresnel(w)
    return float(10.0 * np.log10(np.mean((c**2 + s**2) / w**2)))


@pytest.mark.parametrize("borders", [0.5, 1.0, 2.0, 8.0])
def test_border_of_a_line_in_a_band(line_in_bands: Any, borders: float) -> None:
    """calc: Fresnel integrals; r/L is 23 and more, where 1/R instead of 1/r makes (L/r)²/24·8.7 dB < 0.001 dB.

    At the border itself 0.97 dB are lost at a single frequency; the band's spread of borders changes that by little.
    """
    border = LENGTH_M**2 * 8000.0 / (2.0 * C)
    distance = borders * border * np.array([1.0, 2.0**0.05, 2.0**-0.05])
    found, expected = line_in_bands(distance), [paraxial(r) for r in distance]
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.002)
    if borders == 1.0:
        assert found[0] == pytest.approx(-0.9674, rel=0, abs=0.02)


# calc: Fresnel integrals at the border and at eight times it, rounded to 0.01 dB per doubling.
@pytest.mark.parametrize(("borders", "per_doubling"), [(1.0, -4.66), (8.0, -6.00)])
def test_slope_of_a_line_in_a_band(line_in_bands: Any, borders: float, per_doubling: float) -> None:
    """The band's 23 % of width moves the border in it by as much: the slope at its middle changes by up to 0.02 dB."""
    border = LENGTH_M**2 * 8000.0 / (2.0 * C)
    distance = borders * border * np.array([2.0**0.05, 2.0**-0.05])
    found = line_in_bands(distance) - 20.0 * np.log10(distance)
    assert (found[0] - found[1]) / 0.1 == pytest.approx(per_doubling, rel=0, abs=0.03)
