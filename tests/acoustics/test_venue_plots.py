"""Pictures of a venue, read back from what is plotted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.patches import Polygon

from acoustics import venue_plots
from acoustics.venue import Venue, load_venue
from acoustics.venue_looks import Look, look_at


@pytest.fixture(scope="module")
def theatre(sample_venues: Path) -> tuple[Venue, list[Look]]:
    venue, _ = load_venue(sample_venues / "theatre" / "venue.toml")
    return venue, [look_at(area) for area in venue.area]


def words(ax: Any) -> str:
    return "\n".join(text.get_text() for text in ax.texts)


def test_the_plan_has_areas_and_points(theatre: Any) -> None:
    ax = venue_plots.plan(*theatre)
    drawn = [patch.get_xy()[:-1] for patch in ax.patches if isinstance(patch, Polygon)]
    assert any(np.array_equal(outline, [[3, -9], [3, 9], [26, 12], [26, -12]]) for outline in drawn)
    # By hand: 1.84 m up over 23 m is 4.57°; plan (18 + 24) / 2 × 23 = 483 m², / cos 4.57° = 484.5 m².
    assert "stalls\n4.6°, 485 m²" in words(ax)
    for line in ("left 1: 15.00 m, 650 kg", "left 5: 15.00 m, 400 kg"):
        assert line in words(ax).split("\n")


def test_a_limit_that_is_not_known_is_told(sample_venues: Path) -> None:
    venue, _ = load_venue(sample_venues / "drawn" / "venue.toml")
    assert "right 2: 14.00 m, limit not known" in words(venue_plots.plan(venue, [look_at(a) for a in venue.area]))


def test_the_section_is_cut_along_the_centre_line(theatre: Any) -> None:
    lines = [np.column_stack(line.get_data()).tolist() for line in venue_plots.section(*theatre).lines]
    assert [[3.0, 0.0], [26.0, 1.84]] in lines
    assert [[17.5, 4.9], [17.5, 6.5]] in lines
    ears = [[17.5, 6.8], [29.5, 11.6]]  # 1.2 m above the balcony
    assert any(np.allclose(line, ears) for line in lines if len(line) == 2)


def test_the_sketch_keeps_what_is_parallel_and_draws_the_near_last(theatre: Any) -> None:
    ax = venue_plots.sketch(*theatre)
    outlines = [patch.get_xy()[:-1] for patch in ax.patches if isinstance(patch, Polygon)]
    stalls, *others = outlines  # the farthest first; a trapezium, while the balcony and its front are parallelograms
    assert len(others) == 2
    assert np.abs(stalls[0] - stalls[1] - stalls[3] + stalls[2]).max() > 1.0
    for outline in others:
        np.testing.assert_allclose(outline[0] - outline[1], outline[3] - outline[2], atol=1e-9)


def test_three_directions_stand_upright_on_each_other() -> None:
    view = venue_plots._view()
    np.testing.assert_allclose(view @ view.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(view) == pytest.approx(1.0)
    assert view[0, 2] == pytest.approx(0.0, abs=1e-12)
    assert view[1, 2] > 0
