"""Seat rows of areas, and what they get: against fields whose rows are known beforehand."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics import bands
from acoustics.listening import listen
from acoustics.rows import BALANCE_HZ, loud_and_octaves, row_levels, seat_rows
from acoustics.venue import Area

FLAT = [[5.0, -4.0, 0.0], [5.0, 4.0, 0.0], [15.0, 4.0, 0.0], [15.0, -4.0, 0.0]]


def area(corners: list[list[float]], name: str = "stalls") -> Area:
    return Area.model_validate({"name": name, "role": "audience", "outline_m": corners})


def rows_of(*areas: Area, grid_m: float = 1.0):  # type: ignore[no-untyped-def]
    listening = listen(areas, (0.0, 0.0, 8.0), 0.0, grid_m)
    return listening, seat_rows(areas, listening, grid_m)


@pytest.mark.parametrize("first", range(4))
def test_rows_of_a_level_floor_run_away_from_the_stage(first: int) -> None:
    turned = FLAT[first:] + FLAT[:first]  # whichever side the outline begins with
    listening, rows = rows_of(area(turned))
    assert rows.number.tolist() == list(range(1, 11))
    np.testing.assert_allclose(rows.depth_m, np.arange(10) + 0.5, atol=1e-9)
    np.testing.assert_allclose(rows.seats, 8.0)
    for row in range(10):
        np.testing.assert_allclose(listening.position[rows.of == row, 0], 5.5 + row)


def test_rows_of_a_rake_run_up_it_wherever_the_stage_is() -> None:
    corners = [[15.0, -4.0, 0.0], [15.0, 4.0, 0.0], [5.0, 4.0, 3.0], [5.0, -4.0, 3.0]]  # rises towards the stage
    listening, rows = rows_of(area(corners))
    heights = [listening.position[rows.of == row, 2].mean() for row in range(len(rows.number))]
    assert len(heights) == 10
    assert np.all(np.diff(heights) > 0)


def test_rows_of_several_areas_begin_anew_and_weigh_their_plan() -> None:
    wedge = area([[20.0, -3.0, 5.0], [20.0, 3.0, 5.0], [26.0, 8.0, 8.0], [26.0, -8.0, 8.0]], "balcony")
    listening, rows = rows_of(area(FLAT), wedge)
    assert rows.number[rows.area == 1].tolist() == list(range(1, 7))
    assert rows.seats[rows.area == 1].sum() == pytest.approx((6.0 + 16.0) / 2.0 * 6.0)  # a trapezium
    assert np.all(np.diff(rows.seats[rows.area == 1]) > 0)  # it widens to the back
    assert np.all(rows.of[listening.on_section] == -1)
    assert np.all(rows.of[~listening.on_section] >= 0)


def flat_spectrum(level_a: np.ndarray) -> np.ndarray:
    """Third octaves, all equal, that sum to a level in dB(A)."""
    weight = bands.weighting(bands.midbands(), "A")
    return level_a - 10.0 * np.log10(np.sum(10.0 ** (weight / 10.0))) + np.zeros((29, 1))


def test_a_row_gets_the_mean_of_its_decibels_and_its_extremes() -> None:
    listening, rows = rows_of(area(FLAT))
    level = flat_spectrum(80.0 - listening.position[:, 0] + 0.5 * listening.position[:, 1])
    found = row_levels(rows, loud_and_octaves(level), listening.seat_weight, np.ones(10, dtype=bool))
    np.testing.assert_allclose(found.mean, 80.0 - 5.5 - np.arange(10), atol=1e-9)
    np.testing.assert_allclose(found.high - found.low, 0.5 * 7.0, atol=1e-9)  # seats 7 m apart at the ends
    np.testing.assert_allclose(found.balance, 0.0, atol=1e-9)  # one spectrum everywhere, whatever its level


def test_balance_tells_which_octave_is_missing_where() -> None:
    listening, rows = rows_of(area(FLAT))
    level = np.tile(flat_spectrum(np.zeros(1)), (1, len(listening.position)))
    last = rows.of == 9
    octave = bands.octave_bands(125.0)  # hardly part of the A-weighted level
    level[octave, last] -= 6.0
    balance = row_levels(rows, loud_and_octaves(level), listening.seat_weight, np.ones(10, dtype=bool)).balance
    low = BALANCE_HZ.index(125.0)
    assert balance[9, low] == pytest.approx(-6.0 * 0.9, abs=0.05)  # against the mean of ten rows
    np.testing.assert_allclose(balance[:9, low], 0.6, atol=0.05)
    assert np.abs(np.delete(balance, low, axis=1)).max() < 0.05


def test_rows_without_sound_have_no_level_and_do_not_count() -> None:
    listening, rows = rows_of(area(FLAT))
    level = flat_spectrum(70.0 + np.zeros(len(listening.position)))
    level[:, rows.of == 3] = np.nan
    found = row_levels(rows, loud_and_octaves(level), listening.seat_weight, np.ones(10, dtype=bool))
    assert np.isnan([found.mean[3], found.low[3], found.high[3]]).all()
    assert np.isfinite(np.delete(found.balance, 3, axis=0)).all()


def test_levels_of_bands_are_summed_as_energies() -> None:
    level = np.full((29, 3), np.nan)
    level[bands.octave_bands(1000.0), 0] = [70.0, 70.0, 70.0]
    level[bands.NOMINAL_HZ.index(1000.0), 1] = 80.0
    found = loud_and_octaves(level)
    at = 1 + BALANCE_HZ.index(1000.0)
    assert found[at, 0] == pytest.approx(70.0 + 10.0 * np.log10(3.0))
    # IEC 61672-1: the A-weighting at 800, 1000 and 1250 Hz is -0.8, 0.0 and +0.6 dB.
    assert found[0, 0] == pytest.approx(10.0 * np.log10(10.0**6.92 + 10.0**7.0 + 10.0**7.06), abs=0.06)
    assert (found[at, 1], found[0, 1]) == (pytest.approx(80.0), pytest.approx(80.0))
    assert np.isnan(found[:, 2]).all()
