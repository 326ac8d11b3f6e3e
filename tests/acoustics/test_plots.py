"""Pictures draw what the Dataset holds, computed nowhere else."""

from __future__ import annotations

import pathlib
from typing import Any

import numpy as np
import pytest
import shapely
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.path import Path

from acoustics import plots


@pytest.fixture(scope="module")
def theatre(evenhang: Any, sample_venues: pathlib.Path) -> xr.Dataset:
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


def cells_of(ax: Axes) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Cells of a plan of one area, (N, 4, 2), and the colour of each, (N, 4)."""
    drawn = next(c for c in ax.collections if isinstance(c, PathCollection))
    assert len(drawn.get_paths()) == len(drawn.get_facecolors())
    cells, colours = [], []
    for path, colour in zip(drawn.get_paths(), drawn.get_facecolors(), strict=True):
        assert (path.codes.reshape(-1, 5) == [Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY]).all()
        cells.append(path.vertices.reshape(-1, 5, 2)[:, :4])
        colours.append(np.tile(colour, (len(cells[-1]), 1)))
    return np.concatenate(cells), np.concatenate(colours)


def colours_at(ax: Axes, positions: xr.Dataset) -> np.ndarray[Any, Any]:
    """Colour of the one cell that holds each position, (N, 4)."""
    corners, colours = cells_of(ax)
    places = shapely.points(np.column_stack([positions["x"].values, positions["y"].values]))
    holds = shapely.contains_properly(shapely.polygons(corners)[:, np.newaxis], places)
    assert holds.shape == (len(places), len(places))
    assert (holds.sum(axis=0) == 1).all()
    assert (holds.sum(axis=1) == 1).all()
    return np.asarray(colours[holds.argmax(axis=0)])


def positions_of(result: xr.Dataset, area: str) -> np.ndarray[Any, Any]:
    return np.flatnonzero((result["area"].values == area) & ~result["on_section"].values)


@pytest.mark.parametrize(("layer", "area"), [(0, "stalls"), (1, "balcony")])
def test_plan_colours_every_position_by_its_level(theatre: xr.Dataset, layer: int, area: str) -> None:
    ax = plots.plan(theatre, None, layer)
    part = theatre.isel(position=positions_of(theatre, area))
    scale = plots.level_scale(theatre)
    expected = plots.colormaps[plots.COLOURS](scale(part["level_a"].values))
    assert len(np.unique(expected, axis=0)) > 2
    np.testing.assert_allclose(colours_at(ax, part), expected, rtol=0, atol=1e-12)
    assert np.allclose(np.diff(scale.boundaries), 3.0)


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, -135.0])
def test_cells_of_a_plan_cover_the_area_once(theatre: xr.Dataset, turn_deg: float) -> None:
    """Inside the outline a cell is as large as what its position stands for: none covers another, none is missing."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turned = theatre.copy(deep=True)
    x, y = theatre["x"].values, theatre["y"].values
    turned["x"].values[:], turned["y"].values[:] = c * x - s * y, s * x + c * y
    turned["surface_corner"].values[..., :2] = theatre["surface_corner"].values[..., :2] @ [[c, s], [-s, c]]
    turned["surface_direction"].values[:] += np.radians(turn_deg)
    part = turned.isel(position=positions_of(turned, "stalls"))
    cells = shapely.polygons(cells_of(plots.plan(turned, None, layer=0))[0])
    outline = turned["surface_corner"].values[list(turned["surface"].values).index("stalls")]
    within = shapely.intersection(cells, shapely.Polygon(outline[~np.isnan(outline[:, 0]), :2]))
    places = shapely.points(np.column_stack([part["x"].values, part["y"].values]))
    cell_of = shapely.contains_properly(cells[:, np.newaxis], places).argmax(axis=0)
    np.testing.assert_allclose(shapely.area(within)[cell_of], part["seat_weight"].values, rtol=1e-6, atol=0)
    # 23 m long, 18 m wide in front and 24 m behind (by hand).
    assert shapely.area(shapely.union_all(within)) == pytest.approx(483.0, rel=1e-6)


def test_cells_of_one_colour_are_one_path(theatre: xr.Dataset) -> None:
    """Few paths: a viewer opens the plan of a large hall, and it is drawn fast."""
    drawn = next(c for c in plots.plan(theatre, None, 0).collections if isinstance(c, PathCollection))
    assert len(drawn.get_paths()) <= plots.STEPS + 3  # 8 classes, above, below, hidden


def test_areas_above_each_other_get_a_panel_each(theatre: xr.Dataset) -> None:
    figure = plots.plan_figure(theatre, 2000.0)
    texts = [{text.get_text() for text in ax.texts} for ax in figure.axes]
    assert {"stalls"} <= texts[0]
    assert "balcony" not in texts[0]
    assert {"balcony"} <= texts[1]


def test_hidden_positions_are_grey(theatre: xr.Dataset) -> None:
    hidden = theatre.copy(deep=True)
    chosen = positions_of(hidden, "stalls")
    hidden["level_a"].values[chosen[:7]] = np.nan
    colours = colours_at(plots.plan(hidden, None, layer=0), hidden.isel(position=chosen))
    grey = np.all(np.isclose(colours, [0.85, 0.85, 0.85, 1.0]), axis=1)
    assert grey[:7].all()
    assert grey.sum() == 7


def test_a_legend_says_what_grey_is_where_positions_are_hidden(theatre: xr.Dataset) -> None:
    assert all(ax.get_legend() is None for ax in plots.plan_figure(theatre).axes)
    hidden = theatre.copy(deep=True)
    hidden["level_a"].values[positions_of(hidden, "stalls")[:7]] = np.nan
    legend = plots.plan_figure(hidden).axes[0].get_legend()
    assert legend is not None
    assert [text.get_text() for text in legend.get_texts()] == ["hidden"]
    np.testing.assert_allclose(legend.get_patches()[0].get_facecolor()[:3], 0.85)


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
