"""Pictures of a result: each takes a Dataset and axes, returns the axes, and computes no physics."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PolyCollection
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Polygon

COLOURS = "viridis"  # perceptually uniform, and ordered in grey as well
STEP_DB = 3.0
STEPS = 8  # classes of the map: 24 dB below its top
# Beyond this many cells the map goes into the SVG as a picture, so that viewers can open it.
_MOST_VECTORS = 20_000
_LINE_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)), (0, (1, 1)), (0, (4, 1)))


def new_axes(width: float = 12.0, height: float = 6.75) -> Axes:
    """Axes in a figure of their own, sized [in]."""
    return Figure(figsize=(width, height), layout="constrained").subplots()


def title(result: xr.Dataset, what: str) -> str:
    """What a picture shows, of which hang in which venue, and the revision."""
    a = result.attrs
    return f"{what}\n{a['hang']} · {a['venue']} · revision {a['revision']}"


def section(result: xr.Dataset, ax: Axes | None = None) -> Axes:
    """The venue cut along the hang's aim: areas, ears, the column to scale, and where its rows aim."""
    ax = new_axes() if ax is None else ax
    cut = result.isel(position=np.flatnonzero(result["on_section"].values))
    names = [str(name) for name in result["surface"].values]
    for name in names:
        part = cut.isel(position=np.flatnonzero(cut["area"].values == name))
        if part.sizes["position"]:
            along = part["along"].values
            ax.plot(along, part["floor"].values, color="black", linewidth=3.0, solid_capstyle="butt")
            ax.plot(along, part["z"].values, color="black", linewidth=1.0, linestyle=(0, (4, 3)))
            middle = part.sizes["position"] // 2
            place = (along[middle], part["floor"].values[middle])
            ax.annotate(name, place, xytext=(0, -8), textcoords="offset points", ha="center", va="top", fontsize=13)
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
    ax.set_title(title(result, "Section: areas, ears (dashed), column to scale, aim lines"), loc="left", fontsize=14)
    return ax


def distance(result: xr.Dataset, area: str, ax: Axes | None = None) -> Axes:
    """Octave levels over distance where the section cuts one area."""
    ax = new_axes() if ax is None else ax
    chosen = result["on_section"].values & (result["area"].values == area)
    part = result.isel(position=np.flatnonzero(chosen)).sortby("distance")
    octaves = part["octave"].values
    colours = colormaps[COLOURS](np.linspace(0.0, 0.85, len(octaves)))
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
        panels[-1].legend(title="octave, Hz", fontsize=12, title_fontsize=12, loc="upper right")
    heading = title(result, "Level over horizontal distance, along the section (drive 0 dB, pink programme)")
    figure.suptitle(heading, x=0.01, ha="left", fontsize=14)
    return figure


def plan(result: xr.Dataset, quantity: float | None = None, ax: Axes | None = None) -> Axes:
    """Map of the level over the areas: A-weighted, or of one octave [Hz]."""
    ax = new_axes() if ax is None else ax
    level = result["level_a"].values if quantity is None else result["octave_level"].sel(octave=quantity).values
    what = "A-weighted level, dB(A)" if quantity is None else f"level of the {frequency_text(quantity)} Hz octave, dB"
    scale = _scale(level[np.isfinite(level) & ~result["on_section"].values])
    shades = colormaps[COLOURS]
    for index, name in enumerate(result["surface"].values):
        corners = result["surface_corner"].values[index]
        outline = Polygon(corners[~np.isnan(corners[:, 0]), :2], closed=True, fill=False, edgecolor="black", zorder=3)
        ax.add_patch(outline)
        chosen = (result["area"].values == name) & ~result["on_section"].values
        if chosen.any():
            cells = _cells(result, index, chosen)
            faces = shades(scale(np.nan_to_num(level[chosen], nan=0.0)))
            faces[~np.isfinite(level[chosen])] = (0.85, 0.85, 0.85, 1.0)
            drawn = PolyCollection(
                list(cells), facecolors=faces, edgecolors=faces, linewidths=0.3, rasterized=chosen.sum() > _MOST_VECTORS
            )
            ax.add_collection(drawn)
            drawn.set_clip_path(outline)
        centre = np.nanmean(corners[:, :2], axis=0)
        box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 2.0}
        ax.text(
            float(centre[0]), float(centre[1]), str(name), ha="center", va="center", zorder=4, bbox=box, fontsize=13
        )
    _draw_hang(result, ax)
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    ax.margins(0.04)
    bar = ax.figure.colorbar(ScalarMappable(scale, shades), ax=ax, shrink=0.9, ticks=scale.boundaries)
    bar.set_label(f"{what} re 20 µPa, drive 0 dB", fontsize=13)
    if not np.isfinite(level).all():
        ax.legend(handles=[Patch(facecolor="0.85", label="hidden from all sources")], loc="upper left", fontsize=12)
    _label(ax, "x from the datum, m", "y to stage left (house right), m")
    ax.set_title(title(result, f"Plan: {what}"), loc="left", fontsize=14)
    return ax


def frequency_text(hz: float) -> str:
    """250, 1k, 2.5k."""
    return f"{hz:g}" if hz < 1000 else f"{hz / 1000:g}k"


def save_svg(figure: Any, path: Any) -> None:
    """Write a figure as SVG, the same bytes for the same figure."""
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "evenhang"}):
        figure.savefig(path, format="svg", metadata={"Date": None})


def _scale(level: np.ndarray[Any, Any]) -> BoundaryNorm:
    """Classes of 3 dB down from the first multiple above the loudest one percent."""
    loud = float(np.quantile(level, 0.99)) if len(level) else 0.0
    top = STEP_DB * np.ceil(loud / STEP_DB)
    edges = top - STEP_DB * np.arange(STEPS, -1, -1)
    return BoundaryNorm(edges, colormaps[COLOURS].N, extend="both")


def _cells(result: xr.Dataset, surface: int, chosen: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Grid cells around the chosen positions; the outline clips those at its edge."""
    direction = float(result["surface_direction"].values[surface])
    across = np.array([[np.cos(direction), np.sin(direction)], [-np.sin(direction), np.cos(direction)]])
    sides = result["surface_cell"].values[surface][:, np.newaxis] * across
    corner = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) @ sides
    centre = np.column_stack([result["x"].values[chosen], result["y"].values[chosen]])
    return np.asarray(centre[:, np.newaxis, :] + corner)


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
