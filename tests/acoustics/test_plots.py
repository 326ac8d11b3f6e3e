"""Pictures draw what the Dataset holds, computed nowhere else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection, PolyCollection
from matplotlib.figure import Figure

from acoustics import plots


@pytest.fixture(scope="module")
def theatre(evenhang: Any, sample_venues: Path) -> xr.Dataset:
    folder = sample_venues / "theatre"
    field: xr.Dataset = evenhang("predict", folder / "left.toml", folder / "venue.toml", "--grid", 2).field
    return field


def test_distance_draws_the_octave_levels_of_the_section(theatre: xr.Dataset) -> None:
    ax = plots.distance(theatre, "balcony")
    chosen = theatre["on_section"].values & (theatre["area"].values == "balcony")
    order = np.argsort(theatre["distance"].values[chosen])
    assert len(ax.lines) == 6
    for line, levels in zip(ax.lines, theatre["octave_level"].values, strict=True):
        np.testing.assert_array_equal(line.get_xdata(), theatre["distance"].values[chosen][order])
        np.testing.assert_array_equal(line.get_ydata(), levels[chosen][order])
    assert [line.get_label() for line in ax.lines] == ["250", "500", "1k", "2k", "4k", "8k"]


def test_section_draws_every_aim_line_and_the_column_to_scale(theatre: xr.Dataset) -> None:
    ax = plots.section(theatre)
    drawn = [line.get_xydata()[-1] for line in ax.lines]
    for along, height in zip(theatre["aim_end_along"].values, theatre["aim_end_height"].values, strict=True):
        assert any(np.allclose(end, (along, height), rtol=0, atol=1e-12) for end in drawn)
    boxes = next(c for c in ax.collections if isinstance(c, PolyCollection)).get_paths()
    assert len(boxes) == 13  # frame and twelve rows
    # A medium enclosure is 0.46 m deep and 0.28 m high.
    sides = np.linalg.norm(np.diff(boxes[1].vertices[:4], axis=0), axis=1)
    np.testing.assert_allclose(sides, [0.28, 0.46, 0.28], rtol=1e-9)
    assert ax.get_aspect() == 1.0


def test_aim_lines_end_on_what_they_meet(theatre: xr.Dataset) -> None:
    ends = np.column_stack([theatre["aim_end_along"].values, theatre["aim_end_height"].values])
    starts_down = theatre["aim_elevation"].values < -30.0
    # The stalls rise from 0 at x = 3 to 1.84 m at x = 26, ears 1.2 m above; along the azimuth x = along·cos 4° − 0.3.
    ears = (ends[starts_down, 0] * np.cos(np.radians(4.0)) - 0.3 - 3.0) * 1.84 / 23.0 + 1.2
    assert starts_down.sum() >= 2
    np.testing.assert_allclose(ends[starts_down, 1], ears, rtol=0, atol=1e-9)


def cells_of(ax: Axes) -> tuple[np.ndarray, np.ndarray]:
    """Corners (P, 4, 2) of all cells of a plan, and the colour (P, 4) that each is filled with."""
    drawn = next(c for c in ax.collections if isinstance(c, PathCollection))
    corners = [path.vertices.reshape(-1, 5, 2)[:, :4] for path in drawn.get_paths()]
    colours = [np.tile(c, (len(some), 1)) for c, some in zip(drawn.get_facecolors(), corners, strict=True)]
    return np.concatenate(corners), np.concatenate(colours)


def test_plan_colours_every_position_by_its_level(theatre: xr.Dataset) -> None:
    corners, colours = cells_of(plots.plan(theatre, None, layer=1))
    chosen = np.flatnonzero((theatre["area"].values == "balcony") & ~theatre["on_section"].values)
    scale = plots.level_scale(theatre)
    assert len(corners) == len(chosen) > 20
    place = np.column_stack([theatre["x"].values, theatre["y"].values])[chosen]
    # The cell whose middle is at a position has the colour of its level; each cell 2 m square in the area's plane.
    apart = np.linalg.norm(corners.mean(axis=1)[:, np.newaxis] - place, axis=-1)
    at = apart.argmin(axis=0)
    assert sorted(at) == list(range(len(chosen)))
    assert apart.min(axis=0).max() < 1e-9
    expected = plots.colormaps[plots.COLOURS](scale(theatre["level_a"].values[chosen]))
    np.testing.assert_allclose(colours[at], expected, rtol=0, atol=1e-12)
    assert len(np.unique(colours, axis=0)) > 2
    assert np.allclose(np.diff(scale.boundaries), 3.0)


def test_cells_of_one_colour_are_one_path(theatre: xr.Dataset) -> None:
    """Few paths: a viewer opens the plan of a large hall, and it is drawn fast."""
    ax = plots.plan(theatre, None, layer=0)
    drawn = next(c for c in ax.collections if isinstance(c, PathCollection))
    assert len(drawn.get_paths()) <= plots.STEPS + 3  # 8 classes, above, below, hidden
    assert len(cells_of(ax)[0]) > 100


def test_areas_above_each_other_get_a_panel_each(theatre: xr.Dataset) -> None:
    figure = plots.plan_figure(theatre, 2000.0)
    texts = [{text.get_text() for text in ax.texts} for ax in figure.axes]
    assert {"stalls"} <= texts[0]
    assert "balcony" not in texts[0]
    assert {"balcony"} <= texts[1]


def test_hidden_positions_are_grey(theatre: xr.Dataset) -> None:
    hidden = theatre.copy(deep=True)
    chosen = np.flatnonzero((hidden["area"].values == "stalls") & ~hidden["on_section"].values)
    hidden["level_a"].values[chosen[:7]] = np.nan
    corners, colours = cells_of(plots.plan(hidden, None, layer=0))
    grey = np.all(np.isclose(colours[:, :3], 0.85), axis=1)
    place = np.column_stack([theatre["x"].values, theatre["y"].values])[chosen[:7]]
    assert grey.sum() == 7
    middle = corners[grey].mean(axis=1)
    np.testing.assert_allclose(middle[np.lexsort(middle.T)], place[np.lexsort(place.T)], rtol=0, atol=1e-9)


def test_given_axes_are_drawn_on_and_returned(theatre: xr.Dataset) -> None:
    ax = Figure().subplots()
    assert plots.section(theatre, ax) is ax
    assert plots.distance(theatre, "stalls", ax) is ax
    assert plots.plan(theatre, ax=ax) is ax


def test_every_picture_carries_hang_venue_and_revision(theatre: xr.Dataset) -> None:
    words = f"design {theatre.attrs['design']} · revision {theatre.attrs['revision']}"
    titles = [plots.section(theatre).get_title(loc="left")]
    titles += [figure.get_suptitle() for figure in (plots.distance_figure(theatre), plots.plan_figure(theatre))]
    for text in titles:
        assert f"main, stage left (house right) · Gable Theatre · {words}" in text


def test_pictures_carry_drive_and_programme(theatre: xr.Dataset) -> None:
    louder = theatre.assign_attrs(drive_db=6.0, programme="sloped")
    words = "drive +6 dB, sloped programme"
    assert words in "".join(ax.get_ylabel() for ax in plots.plan_figure(louder, None).axes)
    assert words in plots.distance_figure(louder).get_suptitle()


def test_pictures_say_where_the_drive_is_above_the_highest(theatre: xr.Dataset) -> None:
    highest = theatre.attrs["highest_drive_db"]
    for drive, flagged in ((highest, False), (highest + 3.0, True)):
        figure = plots.plan_figure(theatre.assign_attrs(drive_db=drive))
        texts = " ".join(axes.get_ylabel() for axes in figure.axes)
        assert ("above the highest" in texts) == flagged
