"""Pictures of a result: each takes a Dataset and axes, returns the axes, and computes no physics."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PathCollection, PolyCollection
from matplotlib.colors import BoundaryNorm, to_rgba
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Polygon
from matplotlib.path import Path

from rigging.cautions import CAUTIONS

COLOURS = "viridis"  # perceptually uniform, and ordered in grey as well
STEP_DB = 3.0
STEPS = 8  # classes of the map: 24 dB below its top
# Beyond this many cells the map goes into the SVG as a picture, so that viewers can open it.
_MOST_VECTORS = 20_000
_HIDDEN = "0.85"
_LINE_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)), (0, (1, 1)), (0, (4, 1)))


def new_axes(width: float = 12.0, height: float = 6.75) -> Axes:
    """Axes in a figure of their own, sized [in]."""
    return Figure(figsize=(width, height), layout="constrained").subplots()


def title(result: xr.Dataset, what: str) -> str:
    """What a picture shows, of which hang in which venue, and the revision."""
    a = result.attrs
    return f"{what}\n{a['hang']} · {a['venue']} · design {a['design']} · revision {a['revision']}"


def section(result: xr.Dataset, ax: Axes | None = None) -> Axes:
    """The venue cut along the hang's aim: areas, ears, the column to scale, and where its rows aim."""
    if ax is None:
        heights = np.concatenate([result["cut_height"].values.ravel(), result["outline_height"].values.ravel()])
        alongs = np.concatenate([result["cut_along"].values.ravel(), result["outline_along"].values.ravel()])
        ax = new_axes(12.0, float(np.clip(1.8 + 12.0 * np.ptp(heights) / max(np.ptp(alongs), 1.0), 3.5, 9.0)))
    ears = result.isel(position=np.flatnonzero(result["on_section"].values))
    cuts = zip(result["cut_surface"].values, result["cut_along"].values, result["cut_height"].values, strict=True)
    for index, along, height in cuts:
        obstacle = result["surface_role"].values[index] == "obstacle"
        name = str(result["surface"].values[index])
        colour = "0.45" if obstacle else "black"
        ax.plot(along, height, color=colour, linewidth=5.0 if obstacle else 3.0, solid_capstyle="butt")
        # Below and to the right of the middle: clear of a rake that rises to the right.
        place = (along[np.argmin(height)], height.min()) if obstacle else (along.mean(), height.mean())
        offset, align = ((-6, -4), "right") if obstacle else ((6, -6), "left")
        box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.0}
        style: dict[str, Any] = {"fontsize": 13, "color": colour, "ha": align, "va": "top", "bbox": box, "zorder": 4}
        ax.annotate(name, place, xytext=offset, textcoords="offset points", **style)
    for name in result["surface"].values:
        part = ears.isel(position=np.flatnonzero(ears["area"].values == name))
        if part.sizes["position"]:
            ax.plot(part["along"].values, part["z"].values, color="black", linewidth=1.0, linestyle=(0, (4, 3)))
    ends = zip(
        result["outline_along"].values[result["source_row"].values, :2].mean(axis=1),
        result["outline_height"].values[result["source_row"].values, :2].mean(axis=1),
        result["aim_end_along"].values,
        result["aim_end_height"].values,
        strict=True,
    )
    for along, height, end_along, end_height in ends:
        ax.plot([along, end_along], [height, end_height], color="tab:blue", linewidth=1.2)
    corners = np.stack([result["outline_along"].values, result["outline_height"].values], axis=-1)
    ax.add_collection(PolyCollection(list(corners), facecolors="0.75", edgecolors="black", linewidths=0.8))
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    ax.margins(0.05)
    ax.grid(color="0.85", linewidth=0.6)
    _label(ax, "along the hang's azimuth from its frame reference, m", "height above datum, m")
    a = result.attrs
    places = f"trim {a['trim_m']:.2f} m, lowest edge {a['lowest_edge_m']:.2f} m"
    what = f"Section: {places}, tilt {a['tilt_deg']:+.1f}°; ears dashed"
    ax.set_title(title(result, what), loc="left", fontsize=14)
    _number_rows(result, ax)
    caution(ax.figure)
    return ax


def _number_rows(result: xr.Dataset, ax: Axes) -> None:
    """Numbers of the first and last row at the rear of the column."""
    for index in (1, len(result["element"]) - 1):
        place = result["outline_along"].values[index, 2:].mean(), result["outline_height"].values[index, 2:].mean()
        style: dict[str, Any] = {"ha": "right", "va": "center", "fontsize": 12}
        ax.annotate(str(index), place, xytext=(-6, 0), textcoords="offset points", **style)


def caution(figure: Any) -> None:
    """The first caution, and what the levels hold for, below a picture."""
    figure.supxlabel(f"{CAUTIONS[0]} Free field, direct sound.", x=0.01, ha="left", fontsize=10, color="0.3")


def distance(result: xr.Dataset, area: str, ax: Axes | None = None) -> Axes:
    """Octave levels over distance where the section cuts one area."""
    ax = new_axes() if ax is None else ax
    chosen = result["on_section"].values & (result["area"].values == area)
    part = result.isel(position=np.flatnonzero(chosen)).sortby("distance")
    octaves = part["octave"].values
    colours = colormaps[COLOURS](np.linspace(0.0, 0.72, len(octaves)))
    for index, octave in enumerate(octaves):
        ax.plot(
            part["distance"].values,
            part["octave_level"].values[index],
            color=colours[index],
            linestyle=_LINE_STYLES[index % len(_LINE_STYLES)],
            linewidth=2.0,
            label=frequency_text(float(octave)),
        )
    ax.grid(color="0.85", linewidth=0.6)
    _label(ax, "distance, m", "")
    ax.set_title(area, loc="left", fontsize=13)
    return ax


def distance_figure(result: xr.Dataset) -> Figure:
    """`distance` for every area that the section cuts, side by side on one scale of level."""
    on_section = result["area"].values[result["on_section"].values]
    areas = [str(name) for name in result["surface"].values if name in on_section]
    figure = Figure(figsize=(12.0, 6.75), layout="constrained")
    panels = figure.subplots(1, max(1, len(areas)), sharey=True, squeeze=False)[0]
    for ax, area in zip(panels, areas, strict=False):
        distance(result, area, ax)
    panels[0].set_ylabel("octave level, dB re 20 µPa", fontsize=13)
    if areas:
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, title="octave, Hz", fontsize=12, title_fontsize=12, loc="outside right upper")
    heading = title(result, f"Level over horizontal distance, along the section ({_drive(result)})")
    figure.suptitle(heading, x=0.01, ha="left", fontsize=14)
    caution(figure)
    return figure


def plan(
    result: xr.Dataset,
    quantity: float | None = None,
    layer: int = 0,
    ax: Axes | None = None,
    scale: BoundaryNorm | None = None,
) -> Axes:
    """Map of the level over the areas of one layer: A-weighted, or of one octave [Hz]; on its own scale if none."""
    ax = new_axes() if ax is None else ax
    level, _ = _mapped(result, quantity)
    scale = scale or level_scale(result, quantity)
    for index, name in enumerate(result["surface"].values):
        corners = result["surface_corner"].values[index]
        plan_corners = corners[~np.isnan(corners[:, 0]), :2]
        of_layer = int(result["surface_layer"].values[index])
        if of_layer not in (layer, -1):
            continue
        style = {"edgecolor": "black", "linewidth": 1.2} if of_layer == layer else {"edgecolor": "0.45", "linewidth": 4}
        outline = Polygon(plan_corners, closed=True, fill=False, zorder=3, **style)
        ax.add_patch(outline)
        chosen = (result["area"].values == name) & ~result["on_section"].values
        if of_layer == layer and chosen.any():
            draw_cells(ax, cells_around(result, index, chosen), level[chosen], scale, outline)
            box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 2.0}
            x, y = (float(value) for value in plan_corners.mean(axis=0))
            ax.text(x, y, str(name), ha="center", va="center", zorder=4, bbox=box, fontsize=13)
    _draw_hang(result, ax)
    ax.set_aspect("equal", adjustable="box")
    ax.autoscale_view()
    ax.margins(0.04)
    ax.grid(color="0.85", linewidth=0.6, zorder=0)
    _label(ax, "x from the datum, m", "")
    return ax


def plan_figure(result: xr.Dataset, quantity: float | None = None) -> Figure:
    """`plan` with a panel for every layer, so that no area covers another, on one scale of level."""
    level, what = _mapped(result, quantity)
    count = int(result["surface_layer"].values.max()) + 1
    figure = Figure(figsize=(12.0, 6.75), layout="constrained")
    panels = figure.subplots(1, count, sharex=True, sharey=True, squeeze=False)[0]
    for layer, ax in enumerate(panels):
        plan(result, quantity, layer, ax)
    panels[0].set_ylabel("y to stage left (house right), m", fontsize=13)
    scale = level_scale(result, quantity)
    bar = figure.colorbar(
        ScalarMappable(scale, colormaps[COLOURS]), ax=list(panels), shrink=0.9, ticks=scale.boundaries
    )
    bar.set_label(f"{what} re 20 µPa\n{_drive(result)}", fontsize=13)
    bar.ax.tick_params(labelsize=12)
    if not np.isfinite(level[~result["on_section"].values]).all():
        panels[0].legend(handles=[Patch(facecolor=_HIDDEN, label="hidden")], loc="upper left", fontsize=12)
    figure.suptitle(title(result, f"Plan: {what}"), x=0.01, ha="left", fontsize=14)
    caution(figure)
    return figure


def level_scale(result: xr.Dataset, quantity: float | None = None) -> BoundaryNorm:
    """Classes of 3 dB, down from the first multiple above the loudest one percent of the positions."""
    level, _ = _mapped(result, quantity)
    counted = level[np.isfinite(level) & ~result["on_section"].values]
    loud = float(np.quantile(counted, 0.99)) if len(counted) else 0.0
    edges = STEP_DB * np.ceil(loud / STEP_DB) - STEP_DB * np.arange(STEPS, -1, -1)
    return BoundaryNorm(edges, colormaps[COLOURS].N, extend="both")


def frequency_text(hz: float) -> str:
    """250, 1k, 2.5k."""
    return f"{hz:g}" if hz < 1000 else f"{hz / 1000:g}k"


def _drive(result: xr.Dataset) -> str:
    a = result.attrs
    over = ", above the highest" if a["drive_db"] > a["highest_drive_db"] + 1e-9 else ""
    return f"drive {a['drive_db']:+g} dB{over}, {a['programme']} programme"


def save_svg(figure: Any, path: Any) -> None:
    """Write a figure as SVG, the same bytes for the same figure."""
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "evenhang"}):
        figure.savefig(path, format="svg", metadata={"Date": None})


def _mapped(result: xr.Dataset, quantity: float | None) -> tuple[np.ndarray[Any, Any], str]:
    if quantity is None:
        return result["level_a"].values, "A-weighted level, dB(A)"
    level = result["octave_level"].sel(octave=quantity).values
    unit = "Hz" if quantity < 1000 else "kHz"
    return level, f"level of the {frequency_text(quantity).removesuffix('k')} {unit} octave, dB"


def draw_cells(
    ax: Axes,
    cells: np.ndarray[Any, Any],
    level: np.ndarray[Any, Any],
    scale: BoundaryNorm,
    outline: Polygon,
    colour_map: Any = None,
) -> None:
    """Cells (P, 4, 2) in the colour of their level, all of one colour as one path: many small ones draw slowly."""
    heard = np.isfinite(level)
    faces = (colour_map or colormaps[COLOURS])(scale(np.where(heard, level, 0.0)))
    faces[~heard] = to_rgba(_HIDDEN)
    colours, of = np.unique(faces, axis=0, return_inverse=True)
    paths = [_one_path(cells[of == index]) for index in range(len(colours))]
    raster = len(level) > _MOST_VECTORS
    style: dict[str, Any] = {"facecolors": colours, "edgecolors": colours, "linewidths": 0.3}
    drawn = PathCollection(paths, **style, rasterized=raster, zorder=2)
    ax.add_collection(drawn)
    drawn.set_clip_path(outline)


def _one_path(cells: np.ndarray[Any, Any]) -> Path:
    corners = np.concatenate([cells, cells[:, :1]], axis=1)
    codes = np.tile([Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY], len(cells))
    return Path(corners.reshape(-1, 2), codes)


def cells_around(result: xr.Dataset, surface: int, chosen: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """The grid's cells that hold the chosen positions, (N, 4, 2); the outline clips those at its edge."""
    direction = float(result["surface_direction"].values[surface])
    turn = np.array([[np.cos(direction), np.sin(direction)], [-np.sin(direction), np.cos(direction)]])
    low = np.nanmin(result["surface_corner"].values[surface][:, :2] @ turn.T, axis=0)
    sides = result["surface_cell"].values[surface]
    # At the edge a position is the centroid of what lies inside, not the middle of its cell.
    place = np.column_stack([result["x"].values[chosen], result["y"].values[chosen]]) @ turn.T
    number = np.floor((place - low) / sides)
    corner = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    return np.asarray((low + (number[:, np.newaxis, :] + corner) * sides) @ turn)


def _draw_hang(result: xr.Dataset, ax: Axes) -> None:
    x, y, _ = result.attrs["frame_xyz_m"]
    azimuth = np.radians(result.attrs["azimuth_deg"])
    end = (x + 4.0 * np.cos(azimuth), y + 4.0 * np.sin(azimuth))
    arrow = {"arrowstyle": "-|>", "linewidth": 2.0, "color": "tab:red"}
    ax.annotate("", xy=end, xytext=(x, y), arrowprops=arrow, zorder=5)
    ax.plot([x], [y], marker="o", color="tab:red", markersize=9, zorder=5)


def _label(ax: Axes, x: str, y: str) -> None:
    ax.set_xlabel(x, fontsize=13)
    ax.set_ylabel(y, fontsize=13)
    ax.tick_params(labelsize=12)
