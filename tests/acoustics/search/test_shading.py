"""Gains of drive groups and a shared correction: against all gains gone through, and a filter that is known."""

from __future__ import annotations

import dataclasses
from itertools import product

import numpy as np
import pytest

from acoustics import bands, field, sight
from acoustics.filters import response
from acoustics.levels import highest_drive
from acoustics.search.columns import MOST_PARTS
from acoustics.search.objective import score
from acoustics.search.problem import pose, target_of
from acoustics.search.settings import Wanted, wanted_of
from acoustics.search.shading import correct, shade, with_filters, with_gains
from acoustics.venue import load_venue
from rigging.drive import Filter
from rigging.equipment import load_catalogue
from rigging.hang import hang_from

GROUPS = "\n[[group]]\nrows = [1, 2, 3]\n[[group]]\nrows = [4, 5, 6]\n"


@pytest.fixture(scope="module")
def problem(posed):
    """Six rows of the theatre's main hang in two groups."""
    return posed(GROUPS)


@pytest.fixture(scope="module")
def posed(sample_venues):
    return lambda groups: in_groups(sample_venues, groups)


def in_groups(sample_venues, groups):
    text = (sample_venues / "theatre" / "left.toml").read_text()
    rows = text.split("[[column]]")
    catalogue = load_catalogue()
    hang = hang_from("[[column]]".join(rows[:7]) + groups, "short.toml", catalogue)
    venue, _ = load_venue(sample_venues / "theatre" / "venue.toml")
    return pose(hang, venue, catalogue, Wanted(tilt_deg=(-2.0, 2.0)))


def summed(columns, sources) -> np.ndarray:
    """Levels of the file's column in the goal's bands, by the field itself."""
    of = columns.of
    parts = np.minimum(field.sub_bands(of.sources, of.position, of.medium), MOST_PARTS)
    hidden = sight.hidden(sources.position, of.position, of.areas)
    return field.band_level(sources, of.position, of.medium, hidden, parts=parts)[columns.goal.band]


def test_gains_are_the_best_of_all(posed):
    # The first group 1 dB low in the file: shading that does nothing is not the best.
    columns = posed(GROUPS.replace("3]\n", "3]\ngain_db = -1.0\n")).columns
    sources = columns.of.sources
    best = np.inf
    for gains in product(np.arange(-3.0, 0.1, 0.5), repeat=2):
        louder = dataclasses.replace(sources, gain=10.0 ** (np.repeat(gains, 3) / 20.0))
        level = summed(columns, louder)
        found = float(score(level[np.newaxis], columns.of.seats, columns.goal).j[0])
        if found < best - 1e-6:
            best, chosen = found, gains
    shading = shade(columns, columns.file_column, -3.0, 0.0)
    assert shading.gains_db == pytest.approx(chosen, rel=0, abs=1e-12)
    # Tables in single precision: 1e-6 of the axis.
    assert shading.j == pytest.approx(best, rel=0, abs=1e-5)
    assert tuple(chosen) != (-1.0, 0.0)
    assert shading.j < shading.j_before


def test_gains_stay_in_their_range_and_cost_what_the_loudest_row_loses(problem):
    columns = problem.columns
    shading = shade(columns, columns.file_column, 0.5, 1.0)
    # The range begins above the file's 0 dB: one step reaches it, or none does.
    assert all(gain == 0.0 or 0.5 <= gain <= 1.0 for gain in shading.gains_db)
    # Rows of one type: the highest drive falls by the greatest gain (exact).
    assert shading.drive_db == pytest.approx(-max(*shading.gains_db, 0.0), rel=0, abs=1e-9)


KNOWN = Filter(kind="bell", frequency_hz=1000.0, gain_db=-4.0, q=1.0)


def test_a_known_filter_is_found(problem):
    """The target is what the column gives through a bell that is known: the correction is that bell."""
    columns = problem.columns
    of, middle = columns.of, bands.midbands()[columns.goal.band]
    level = summed(columns, of.sources)
    weight = of.seats.weight
    mean = np.array([np.average(band[np.isfinite(band)], weights=weight[np.isfinite(band)]) for band in level])
    target = mean + 20.0 * np.log10(np.abs(response([KNOWN], middle)))
    found = correct(columns, columns.file_column, target, most=3)
    (bell,) = found.filters
    assert (bell.frequency_hz, bell.gain_db, bell.q) == pytest.approx((1000.0, -4.0, 1.0), rel=0.01, abs=0)
    assert found.off_before == pytest.approx(np.std(target - mean), rel=1e-3, abs=0)
    assert found.off < 0.02
    # What it costs: of all bands up to 16 kHz the first to limit, before and after.
    filtered = dataclasses.replace(of.sources, filters=((KNOWN,),) * 6)
    drives = [highest_drive(s.level_1m_db(), s.max_level_1m_db()).drive_db for s in (of.sources, filtered)]
    assert found.drive_db == pytest.approx(drives[1] - drives[0], rel=0, abs=0.02)


def test_an_even_spectrum_needs_no_filter(problem):
    columns = problem.columns
    level = summed(columns, columns.of.sources)
    weight = columns.of.seats.weight
    mean = np.array([np.average(band[np.isfinite(band)], weights=weight[np.isfinite(band)]) for band in level])
    found = correct(columns, columns.file_column, mean)
    assert found.filters == ()
    assert found.off == pytest.approx(0.0, abs=1e-4)


def test_target_lies_between_octaves_on_a_log_axis(problem):
    goal = problem.columns.goal
    target = target_of(Wanted(target_db={"500": 3.0, "2000": -3.0}), goal)
    named = dict(zip((bands.NOMINAL_HZ[band] for band in goal.band), target, strict=True))
    # Two octaves with a fall of 6 dB: 1 dB for each third.
    assert [named[hz] for hz in (200.0, 500.0, 1000.0, 1250.0, 2000.0, 8000.0)] == pytest.approx(
        [3.0, 3.0, 0.0, -1.0, -3.0, -3.0], rel=0, abs=0.02
    )


def test_hangs_with_gains_and_filters(problem):
    hang = problem.columns.of.hang
    louder = with_gains(hang, (-1.5, 0.5))
    assert [drive.gain_db for drive in louder.drive] == [-1.5] * 3 + [0.5] * 3
    filtered = with_filters(louder, (KNOWN,))
    assert all(drive.filters == (KNOWN,) for drive in filtered.drive)
    assert wanted_of(hang) == Wanted()
