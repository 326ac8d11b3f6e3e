"""Pressures from `evenhang predict --lines` against sums worked out here by another route.

Quaternions carry the chain of boxes, quadrature over each radiating face gives its directivity, and all
numbers come from the files. Every convention reversed must spoil the agreement.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal
from scipy.spatial.transform import Rotation

from acoustics import air

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

# Exact sum of e^{−jkr}/r over 12 sources, pitch 0.35 m about the origin, at (30, 0, −2) m, c = 343.2 m/s:
# magnitude, phase in degrees. calc: a direct sum, to 1e-9 and 1e-4°
TWELVE_POINTS = {
    125.0: (0.391652909245, 14.6083),
    1000.0: (0.125804548678, 161.4427),
    8000.0: (0.142328285585, -128.8591),
}

# All rows turn: also the one at the frame.
HANG = """
format = "hang/1"
name = "no sign forgiven"
frame = "frame-lopsided"
position_m = [3.0, -7.0, 24.0]
azimuth_deg = 37.0
tilt_deg = -7.0
column = [
    { enclosure = "lopsided", splay_deg = 0.5 },
    { enclosure = "lopsided", splay_deg = 0.0 },
    { enclosure = "lopsided", splay_deg = 2.0 },
    { enclosure = "lopsided", splay_deg = 3.0 },
    { enclosure = "lopsided", splay_deg = 5.0 },
    { enclosure = "lopsided", splay_deg = 8.0 },
]
"""
DRIVE = """
[[group]]
rows = [2, 5]
gain_db = -4.5
delay_ms = 0.73
[[group]]
rows = [6]
gain_db = 3.0
"""
DRY = "[air]\nabsorption = false\nspeed_of_sound_m_s = 339.0\n"
WARM = "[air]\ntemperature_c = 31.0\nrelative_humidity_pct = 23.0\npressure_kpa = 93.0\n"
CASES = {"plain": ("", DRY), "drive": (DRIVE, DRY), "air": ("", WARM), "drive and air": (DRIVE, WARM)}

# Midbands of IEC 61260-1 for nominal 125, 500, 2000 and 8000 Hz, 1000·10^(x/10). exact
LINES = {125: 10**2.1, 500: 10**2.7, 2000: 10**3.3, 8000: 10**3.9}


@dataclass(frozen=True)
class Oracle:
    """The conventions of the sum; each factor turns one of them round."""

    azimuth: float = 1.0
    tilt: float = 1.0
    splay: float = 1.0
    position_left: float = 1.0
    reference_left: float = 1.0
    reference_up: float = 1.0
    radiator_left: float = 1.0
    radiator_up: float = 1.0
    radiator_phase: float = 1.0
    wave: float = 1.0
    time: float = 1.0
    delay: float = 1.0
    gain: float = 1.0
    absorption: float = 1.0
    rear: bool = True
    rows_reversed: bool = False
    splay_below: bool = False

    def pressure(self, given: Given, nominal_hz: int, places: Array) -> Complex:
        """Complex pressure at places (P, 3). [Pa]"""
        hz = LINES[nominal_hz]
        total = np.zeros(len(places), dtype=complex)
        for row, item, reference, turn in self.poses(given.hang, given.equipment):
            path = places - reference
            r = np.sqrt((path**2).sum(axis=1))
            drive = next((group for group in given.hang.get("group", []) if row in group["rows"]), {})
            level = dict(zip(item["acoustic"]["level_band_hz"], item["acoustic"]["level_1m_db"], strict=True))
            db = level[nominal_hz] + self.gain * drive.get("gain_db", 0.0) - self.absorption * given.alpha(hz) * r
            turns = self.wave * r / given.c + self.delay * drive.get("delay_ms", 0.0) / 1000.0
            towards = self.directivity(item, turn.inv().apply(path / r[:, np.newaxis]), hz, given.c)
            total += 20e-6 * 10.0 ** (db / 20.0) / r * towards * np.exp(-2j * np.pi * hz * turns)
        return total.real + 1j * self.time * total.imag

    def poses(self, hang: Any, equipment: Any) -> list[tuple[int, Any, Array, Rotation]]:
        """Row, enclosure, reference point and turn of each enclosure: every item hangs from the one above it."""
        turn = _about((0, 0, 1), self.azimuth * hang["azimuth_deg"])
        turn = turn * _about((0, -1, 0), self.tilt * hang["tilt_deg"])
        pivot = np.array(hang["position_m"]) * [1.0, self.position_left, 1.0]
        rows = list(enumerate(hang["column"], start=1))[:: -1 if self.rows_reversed else 1]
        splays = [row["splay_deg"] for _, row in rows]
        poses = []
        for index, (number, row) in enumerate(rows):
            turn = turn * _about((0, 1, 0), self.splay * ([*splays, 0.0][index + self.splay_below]))
            item = equipment[row.get("enclosure") or row["adapter"]]
            if "enclosure" in row:
                reference = np.array(item["reference_m"]) * [1.0, self.reference_left, self.reference_up]
                poses.append((number, item, pivot + turn.apply(reference), turn))
            pivot = pivot + turn.apply([item.get("lower_pivot_ahead_m", 0.0), 0.0, -item["height_m"]])
        return poses

    def directivity(self, item: Any, n: Array, hz: float, c: float) -> Complex:
        """Of an enclosure towards n (P, 3) in its own axes; 1 straight ahead."""
        k = 2.0 * np.pi * hz / c
        field = self._radiation(item, np.vstack([[1.0, 0.0, 0.0], n]), hz, k)
        floor = 10.0 ** (item["acoustic"]["rear_db"] / 20.0)
        straight = floor + (1.0 - floor) / (1.0 + (k * item["width_m"] / 2.0) ** 2)
        behind = straight + (1.0 - straight) * (n[:, 1] ** 2 + n[:, 2] ** 2)
        return field[1:] / field[0] * np.where((n[:, 0] < 0) & self.rear, behind, 1.0)

    def _radiation(self, item: Any, n: Array, hz: float, k: float) -> Complex:
        """Gauss-Legendre quadrature of e^{jk n·d} over each face, d from the reference point."""
        node, weight = np.polynomial.legendre.leggauss(20)
        left, up = (axis.ravel() / 2.0 for axis in np.meshgrid(node, node))
        weights = np.outer(weight, weight).ravel() / 4.0
        total = np.zeros(len(n), dtype=complex)
        for part in item["acoustic"]["radiator"]:
            face = np.stack([0.0 * left, part["width_m"] * left, part["height_m"] * up], axis=1)
            for place in part["places_m"]:
                d = (np.array(place) - item["reference_m"] + face) * [1.0, self.radiator_left, self.radiator_up]
                phase = np.exp(1j * self.radiator_phase * k * (n @ d.T))
                total += _share(part, hz) / len(part["places_m"]) * (phase @ weights)
        return total


@dataclass(frozen=True)
class Given:
    """What the files of a case say, and what the program made of them."""

    hang: Any
    equipment: Any
    venue: Any
    field: Any

    @property
    def c(self) -> float:
        """Speed of sound: as given, or 343.2 √(T/293.15 K). [m/s]"""
        of_air = self.venue["air"]
        given = of_air.get("speed_of_sound_m_s")
        return float(given or 343.2 * np.sqrt((of_air["temperature_c"] + 273.15) / 293.15))

    def alpha(self, hz: float) -> float:
        """Absorption, which has checks of its own elsewhere. [dB/m]"""
        of_air = self.venue["air"]
        if not of_air.get("absorption", True):
            return 0.0
        keys = ("temperature_c", "relative_humidity_pct", "pressure_kpa")
        return float(air.absorption(hz, *(of_air[key] for key in keys)))


def _about(axis: tuple[int, int, int], degrees: float) -> Rotation:
    half = np.radians(degrees) / 2.0
    return Rotation.from_quat([*(np.array(axis) * np.sin(half)), np.cos(half)])


def _share(part: Any, hz: float) -> float:
    """Magnitude of two second-order Butterworth filters in a row."""
    share = 1.0
    for key, kind in (("from_hz", "highpass"), ("to_hz", "lowpass")):
        if key in part:
            _, response = signal.freqs(*signal.butter(2, part[key], kind, analog=True), worN=[hz])
            share *= abs(response[0]) ** 2
    return share


def _places_all_round() -> Array:
    """40 places on all sides of (3, −7, 23): spread evenly over a sphere, at 4 to 70 m in no order."""
    index = np.arange(40)
    up = 1.0 - (2.0 * index + 1.0) / 40.0
    turn = np.pi * (1.0 + np.sqrt(5.0)) * index
    flat = np.sqrt(1.0 - up**2)
    away = np.stack([flat * np.cos(turn), flat * np.sin(turn), up], axis=1)
    return np.array([3.0, -7.0, 23.0]) + (4.0 + 66.0 * np.mod(index * 0.618, 1.0) ** 2)[:, np.newaxis] * away


PLACES = _places_all_round()


@pytest.fixture(scope="module")
def case(
    evenhang: Any, tiny_area: Any, lopsided: dict[str, str], tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], Given]:
    """Each of CASES, predicted once."""

    @cache
    def predict(name: str) -> Given:
        folder = tmp_path_factory.mktemp("case")
        drive, of_air = CASES[name]
        areas = "".join(tiny_area(f"{i}", place) for i, place in enumerate(PLACES))
        texts = {"hang": HANG + drive, "venue": f'format = "venue/1"\nname = "round"\n{of_air}{areas}'}
        texts |= {f"equipment/{file}": text for file, text in lopsided.items()}
        (folder / "equipment").mkdir()
        for file, text in texts.items():
            (folder / f"{file}.toml").write_text(text)
        lines = ",".join(repr(hz) for hz in LINES.values())
        files = (folder / "hang.toml", folder / "venue.toml", "--equipment", folder / "equipment")
        field = evenhang("predict", *files, "--lines", lines).field
        read = {file: tomllib.loads(text) for file, text in texts.items()}
        return Given(read["hang"], {"lopsided": read["equipment/lopsided"]}, read["venue"], field)

    return predict


def _predicted(given: Given, nominal_hz: int) -> Complex:
    """Pressures at PLACES, in their order."""
    heard = given.field.isel(position=~given.field["on_section"].values)
    order = np.argsort(heard["area"].values.astype(int))
    assert len(order) == len(PLACES)
    return heard["pressure"].sel(line=LINES[nominal_hz], method="nearest").values[order]


def test_twelve_points_meet_the_exact_sum(evenhang: Any, points_hang: str, points_venue: str, tmp_path: Path) -> None:
    (tmp_path / "hang.toml").write_text(points_hang)
    (tmp_path / "venue.toml").write_text(points_venue)
    field = evenhang("predict", tmp_path / "hang.toml", tmp_path / "venue.toml", "--lines", "125,1000,8000").field
    field = field.isel(position=~field["on_section"].values)
    for hz, (magnitude, degrees) in TWELVE_POINTS.items():
        pressure = complex(field["pressure"].sel(line=hz).item())
        assert abs(pressure) == pytest.approx(magnitude, rel=1e-9, abs=0)
        assert np.degrees(np.angle(pressure)) == pytest.approx(degrees, rel=0, abs=1e-4)


@pytest.mark.parametrize("name", CASES)
def test_places_are_on_all_sides_and_none_is_hidden(case: Callable[[str], Given], name: str) -> None:
    given = case(name)
    heard = given.field.isel(position=~given.field["on_section"].values)
    order = np.argsort(heard["area"].values.astype(int))
    seen = np.stack([heard[axis].values[order] for axis in "xyz"], axis=1)
    np.testing.assert_allclose(seen, PLACES, rtol=0, atol=1e-9)  # rounding of corners near 100 m
    assert not heard["hidden"].values.any()
    turn = _about((0, 0, 1), 37.0) * _about((0, -1, 0), -7.0)
    in_frame = turn.inv().apply(PLACES - [3.0, -7.0, 23.0])
    assert (in_frame.min(axis=0) < -10.0).all()
    assert (in_frame.max(axis=0) > 10.0).all()


@pytest.mark.parametrize("nominal_hz", LINES)
@pytest.mark.parametrize("name", CASES)
def test_a_turned_column_meets_the_sum_by_another_route(
    case: Callable[[str], Given], name: str, nominal_hz: int
) -> None:
    given = case(name)
    expected = Oracle().pressure(given, nominal_hz, PLACES)
    # Two sums of the same few terms, in different order: rounding of phases of some 10⁴ rad, and nulls.
    np.testing.assert_allclose(_predicted(given, nominal_hz), expected, rtol=1e-6, atol=0)


WRONG = {
    "azimuth": {"azimuth": -1},
    "tilt": {"tilt": -1},
    "splay": {"splay": -1},
    "place": {"position_left": -1},
    "reference left": {"reference_left": -1},
    "reference up": {"reference_up": -1},
    "radiators left for right": {"radiator_left": -1},
    "radiators up for down": {"radiator_up": -1},
    "phase of radiators": {"radiator_phase": -1},
    "wave": {"wave": -1},
    "time": {"time": -1},
    "delay": {"delay": -1},
    "gain": {"gain": -1},
    "absorption": {"absorption": -1},
    "no absorption": {"absorption": 0},
    "no rear": {"rear": False},
    "rows": {"rows_reversed": True},
    "splay of the row below": {"splay_below": True},
}


@pytest.mark.parametrize("wrong", WRONG)
def test_each_convention_turned_round_is_noticed(case: Callable[[str], Given], wrong: str) -> None:
    given = case("drive and air")
    predicted = _predicted(given, 2000)
    off = np.abs(replace(Oracle(), **WRONG[wrong]).pressure(given, 2000, PLACES) / predicted - 1.0)
    assert off.max() > 1e-3


# Lower pivot ahead of the upper or behind it: the packaged adapter has both on one line.
ADAPTER = """
format = "adapter/1"
name = "adapter-offset"
description = "for checks"
source = "defined, no product"
mass_kg = 16.0
centre_of_mass_m = [-0.24, 0.0, -0.06]
width_m = 1.1
height_m = 0.14
depth_m = 0.62
front_m = 0.0
pivot = "front"
rear_hole_back_m = 0.5
rear_hole_inset_m = 0.05
top_fitting = "large"
lower_pivot_ahead_m = -0.09
lower_rear_hole_back_m = 0.36
below = [{ fitting = "medium", splays_deg = [0.0, 4.0] }]
"""
MIXED = """
format = "hang/1"
name = "mixed"
frame = "frame-large"
position_m = [-2.0, 5.0, 13.0]
azimuth_deg = -21.0
tilt_deg = 3.0
column = [
    { enclosure = "large", splay_deg = 2.0 },
    { enclosure = "large", splay_deg = 5.0 },
    { adapter = "ADAPTER", splay_deg = 3.0 },
    { enclosure = "medium", splay_deg = 4.0 },
    { enclosure = "medium", splay_deg = 12.0 },
]
"""


@pytest.mark.parametrize("adapter", ["adapter-large-medium", "adapter-offset"])
def test_a_mixed_column_hangs_as_its_boxes_do(
    evenhang: Any, points_venue: str, catalogue: Path, tmp_path: Path, adapter: str
) -> None:
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "adapter.toml").write_text(ADAPTER)
    (tmp_path / "hang.toml").write_text(MIXED.replace("ADAPTER", adapter))
    (tmp_path / "venue.toml").write_text(points_venue)
    files = (tmp_path / "hang.toml", tmp_path / "venue.toml", "--equipment", tmp_path / "more")
    field = evenhang("predict", *files, "--lines", "1000").field
    equipment = {name: tomllib.loads((catalogue / f"{name}.toml").read_text()) for name in ("large", "medium")}
    equipment |= {"adapter-offset": tomllib.loads(ADAPTER)}
    equipment |= {"adapter-large-medium": tomllib.loads((catalogue / "adapter-large-medium.toml").read_text())}
    poses = Oracle().poses(tomllib.loads(MIXED.replace("ADAPTER", adapter)), equipment)
    places = np.stack([field[f"source_{axis}"].values for axis in "xyz"], axis=1)
    np.testing.assert_allclose(places, [place for _, _, place, _ in poses], rtol=0, atol=1e-9)
    axes = [turn.apply(np.eye(3)) for _, _, _, turn in poses]  # rows: forward, left, up in venue axes
    np.testing.assert_allclose(field["source_axes"].values, axes, rtol=0, atol=1e-12)
    # Tilt less all splays so far, the adapter's joint included. exact
    np.testing.assert_allclose(field["aim_elevation"].values, [1.0, -4.0, -11.0, -23.0], rtol=0, atol=1e-9)
    np.testing.assert_allclose(field["aim_azimuth"].values, -21.0, rtol=1e-12)
    assert list(field["source_row"].values) == [1, 2, 4, 5]
    assert list(field["source_type"].values) == ["large", "large", "medium", "medium"]
