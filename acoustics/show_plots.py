"""Pictures of a show: levels, who is loudest where, and how far arrivals lie apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
import xarray as xr
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Polygon
from matplotlib.patheffects import withStroke

from acoustics import plots

# Apart in colour for all eyes; a ninth part begins again with the first.
_COLOURS = ("#0072B2", "#E69F00", "#56B4E9", "#D55E00", "#009E73", "#F0E442", "#CC79A7", "#999999")
_MARKS = 14.0  # numbers over the longer side of a plan, so that it can be read without colours
_HEARD_DB = 10.0  # parts that differ by less are both heard
_LATE_MS = np.array([-40.0, -20.0, -10.0, -5.0, -2.0, 2.0, 5.0, 10.0, 20.0, 40.0])


class Pair(Protocol):
    """Two parts of a show that are aligned."""

    @property
    def of(self) -> str:
        """What gets a delay."""

    @property
    def to(self) -> str:
        """What it is aligned to."""

    @property
    def delay_s(self) -> float:
        """[s]"""


def levels_figure(result: xr.Dataset) -> Figure:
    """The A-weighted level of the whole show over all areas."""
    scale = plots.level_scale(result)
    colours = colormaps[plots.COLOURS]
    figure, panels = _panels(result, f"Plan: A-weighted level, channels correlated by {result.attrs['correlation']:g}")
    for layer, ax in enumerate(panels):
        _draw(result, ax, layer, result["level_a"].values, scale, colours)
    bar = figure.colorbar(ScalarMappable(scale, colours), ax=panels, shrink=0.9, ticks=scale.boundaries)
    bar.set_label(f"dB(A) re 20 µPa\ndrive {result.attrs['drive_db']:+g} dB, {result.attrs['programme']}", fontsize=13)
    return figure


def loudest_figure(result: xr.Dataset) -> Figure:
    """Which part is the loudest at each seat."""
    names = [str(name) for name in result["part"].values]
    colours = ListedColormap([_COLOURS[index % len(_COLOURS)] for index in range(len(names))])
    scale = BoundaryNorm(np.arange(len(names) + 1) - 0.5, len(names))
    loudest = np.where(result["loudest_part"].values < 0, np.nan, result["loudest_part"].values)
    figure, panels = _panels(result, "Plan: the loudest part, dB(A)")
    for layer, ax in enumerate(panels):
        _draw(result, ax, layer, loudest, scale, colours)
        _mark(result, ax, layer, loudest + 1.0, "{:.0f}", _MARKS)
    seen = sorted({int(one) for one in loudest[np.isfinite(loudest)]})
    handles = [Patch(facecolor=colours(index), label=f"{index + 1}  {names[index]}") for index in seen]
    figure.legend(handles=handles, fontsize=12, loc="outside right upper")
    return figure


def apart_figure(result: xr.Dataset, pairs: Sequence[Pair], shown: Sequence[Pair] | None = None) -> Figure:
    """For each aligned pair, with all delays set: how much later the one arrives, over the seats and as a histogram.

    `shown`: those of the pairs that are drawn; all when absent.
    """
    shown = pairs if shown is None else shown
    names = [str(name) for name in result["part"].values]
    figure = Figure(figsize=(12.0, 3.6 * len(shown)), layout="constrained")
    axes = figure.subplots(len(shown), 2, squeeze=False)
    colours = colormaps["PuOr"]
    scale = BoundaryNorm(_LATE_MS, colours.N, extend="both")
    moved = {pair.of: pair.delay_s - _had(result, names.index(pair.of)) for pair in pairs}
    for (plan, histogram), pair in zip(axes, shown, strict=True):
        of, to = names.index(pair.of), names.index(pair.to)
        arrival, level = result["part_arrival"].values, result["part_level_a"].values
        late = (arrival[of] + moved[pair.of] - arrival[to] - moved.get(pair.to, 0.0)) * 1000.0
        served = result["surface"].values[result["part_serves"].values[of].astype(bool)]
        with np.errstate(invalid="ignore"):
            near = (np.abs(level[of] - level[to]) <= _HEARD_DB) & np.isin(result["area"].values, served)
        near_late = np.where(near, late, np.nan)
        for layer in range(int(result["surface_layer"].values.max()) + 1):
            _draw(result, plan, layer, near_late, scale, colours)
            _mark(result, plan, layer, near_late, "{:+.0f}", _MARKS / 2.0)
        _finish(plan)
        plan.set_title(f"{pair.of} after {pair.to}", loc="left", fontsize=12)
        chosen = near & np.isfinite(late) & (result["seat_weight"].values > 0)
        weight = result["seat_weight"].values[chosen]
        histogram.hist(np.clip(late[chosen], -50, 50), bins=np.arange(-50, 51, 2.5), weights=weight, color="0.35")
        where = f"later by, ms, in {', '.join(served)}, levels within {_HEARD_DB:g} dB"
        histogram.set_xlabel(where, fontsize=12)
        histogram.set_ylabel("seats, m²", fontsize=12)
        histogram.grid(color="0.85", linewidth=0.6)
    bar = figure.colorbar(ScalarMappable(scale, colours), ax=axes, location="bottom", aspect=60, ticks=_LATE_MS)
    bar.set_label("later by, ms; grey: not served, or levels differ by more", fontsize=12)
    figure.suptitle(plots.title(result, "Arrivals with the proposed delays"), x=0.01, ha="left", fontsize=14)
    return figure


def _had(result: xr.Dataset, part: int) -> float:
    """The delay that a part as a whole has. [s]"""
    return float(result["part_delay"].values[part])


def _panels(result: xr.Dataset, what: str) -> tuple[Figure, list[Axes]]:
    count = int(result["surface_layer"].values.max()) + 1
    figure = Figure(figsize=(12.0, 6.75), layout="constrained")
    panels = list(figure.subplots(1, count, sharex=True, sharey=True, squeeze=False)[0])
    for ax in panels:
        _finish(ax)
    figure.suptitle(plots.title(result, what), x=0.01, ha="left", fontsize=14)
    plots.caution(figure)
    return figure, panels


def _finish(ax: Axes) -> None:
    ax.set_aspect("equal", adjustable="box")
    ax.margins(0.04)
    ax.grid(color="0.85", linewidth=0.6, zorder=0)
    ax.set_xlabel("x from the datum, m", fontsize=13)
    ax.set_ylabel("y to stage left (house right), m", fontsize=13)
    ax.tick_params(labelsize=12)


def _mark(result: xr.Dataset, ax: Axes, layer: int, value: np.ndarray[Any, Any], form: str, across: float) -> None:
    """Values as numbers, some `across` the longer side of all areas."""
    of_layer = result["surface"].values[result["surface_layer"].values == layer]
    chosen = np.isin(result["area"].values, of_layer) & ~result["on_section"].values & np.isfinite(value)
    if not chosen.any():
        return
    place = np.column_stack([result["x"].values, result["y"].values])
    step = float(np.max(np.ptp(place[np.isfinite(place).all(axis=1)], axis=0))) / across
    off = np.linalg.norm(place / step - np.floor(place / step) - 0.5, axis=1)
    first: dict[tuple[int, int], int] = {}
    for index in np.flatnonzero(chosen)[np.argsort(off[chosen], kind="stable")]:
        x, y = (int(cell) for cell in np.floor(place[index] / step))
        first.setdefault((x, y), int(index))
    halo = [withStroke(linewidth=2.0, foreground="white")]
    for x, y, shown in ((*place[index], value[index]) for index in first.values()):
        style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 11, "path_effects": halo, "zorder": 6}
        ax.text(float(x), float(y), form.format(shown), **style)


def _draw(
    result: xr.Dataset, ax: Axes, layer: int, value: np.ndarray[Any, Any], scale: BoundaryNorm, colours: Any
) -> None:
    """Cells of one layer's areas in the colours of values at all positions, with every source as a dot."""
    for index, name in enumerate(result["surface"].values):
        of_layer = int(result["surface_layer"].values[index])
        if of_layer not in (layer, -1):
            continue
        corners = result["surface_corner"].values[index]
        style = {"edgecolor": "black", "linewidth": 1.2} if of_layer == layer else {"edgecolor": "0.45", "linewidth": 4}
        outline = Polygon(corners[~np.isnan(corners[:, 0]), :2], closed=True, fill=False, zorder=3, **style)
        ax.add_patch(outline)
        chosen = (result["area"].values == name) & ~result["on_section"].values
        if of_layer == layer and chosen.any():
            plots.draw_cells(ax, plots.cells_around(result, index, chosen), value[chosen], scale, outline, colours)
    ax.plot(result["source_x"].values, result["source_y"].values, "o", color="tab:red", markersize=3.5, zorder=5)
    ax.autoscale_view()
