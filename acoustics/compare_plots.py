"""Pictures of options side by side: level over distance on one axis, small plans on one scale."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib import colormaps
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure

from acoustics import plots

Options = Sequence[tuple[str, xr.Dataset, bool]]  # name, field, whether it exceeds a limit

_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
_MOST_PLANS = 12


def distances(options: Options) -> Figure:
    """A-weighted level over distance along the section, a panel for each area; what exceeds a limit is grey."""
    first = options[0][1]
    on_section = first["area"].values[first["on_section"].values]
    areas = [str(name) for name in first["surface"].values if name in on_section]
    figure = Figure(figsize=(12.0, 6.75), layout="constrained")
    panels = figure.subplots(1, max(1, len(areas)), sharey=True, squeeze=False)[0]
    colours = colormaps[plots.COLOURS](np.linspace(0.0, 0.85, len(options)))
    for index, (name, result, over) in enumerate(options):
        look = {"color": "0.7", "linewidth": 1.0} if over else {"color": colours[index], "linewidth": 2.2}
        for ax, area in zip(panels, areas, strict=False):
            chosen = result["on_section"].values & (result["area"].values == area)
            part = result.isel(position=np.flatnonzero(chosen)).sortby("distance")
            label = f"{name} (exceeds)" if over else name
            ax.plot(part["distance"], part["level_a"], linestyle=_STYLES[index % len(_STYLES)], label=label, **look)
            ax.set_title(area, loc="left", fontsize=13)
            ax.set_xlabel("distance, m", fontsize=13)
            ax.grid(color="0.85", linewidth=0.6)
    panels[0].set_ylabel("A-weighted level, dB re 20 µPa", fontsize=13)
    figure.legend(*panels[0].get_legend_handles_labels(), fontsize=11, loc="outside right upper")
    heading = f"Options in {first.attrs['venue']}: level over horizontal distance, along the section"
    figure.suptitle(heading, x=0.01, ha="left", fontsize=14)
    plots.caution(figure)
    return figure


def plans(options: Options) -> Figure:
    """Small plans of the A-weighted level on one scale, the first dozen options."""
    shown = options[:_MOST_PLANS]
    columns = min(4, len(shown))
    lines = -(-len(shown) // columns)
    figure = Figure(figsize=(12.0, 1.6 + 2.5 * lines), layout="constrained")
    panels = figure.subplots(lines, columns, squeeze=False).ravel()
    scale, colours = plots.level_scale(shown[0][1]), colormaps[plots.COLOURS]
    for ax, (name, result, over) in zip(panels, shown, strict=False):
        for layer in range(int(result["surface_layer"].values.max()) + 1):
            plots.plan(result, None, layer, ax, scale)
        title = "\n".join(textwrap.wrap(f"{name} (exceeds)" if over else name, 30))
        ax.set_title(title, loc="left", fontsize=9, color="0.45" if over else "black")
        ax.set_xlabel("")
        for text in list(ax.texts):
            text.set_fontsize(8)
    for ax in panels[len(shown) :]:
        ax.set_visible(False)
    bar = figure.colorbar(ScalarMappable(scale, colours), ax=list(panels), shrink=0.8, ticks=scale.boundaries)
    bar.set_label("dB(A) re 20 µPa", fontsize=12)
    figure.suptitle(
        f"Options in {shown[0][1].attrs['venue']}: plans, m; upper areas cover lower ones",
        x=0.01,
        ha="left",
        fontsize=14,
    )
    plots.caution(figure)
    return figure
