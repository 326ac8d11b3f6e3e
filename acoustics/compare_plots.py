"""Pictures of options side by side: level over distance on one axis, small plans on one scale."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure

from acoustics import plots

Options = Sequence[tuple[str, xr.Dataset, str]]  # name, field, and why it is no option: empty where it is one

_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
_NO_STYLES = ((0, (1, 3)), (0, (3, 3)), (0, (6, 4)))
_NO_GREYS = ("0.3", "0.5", "0.65")
_COLOURS = 8
# Beyond so many options colours begin again, with another mark on the line.
_MARKS = ("", "o", "s", "^", "D", "v", "x", "+")
_MOST_PLANS = 24
_WIDTH = 34  # of a legend's line, characters


def looks(count: int) -> list[dict[str, Any]]:
    """How the lines of so many options are drawn, no two alike up to 64; also apart without colour up to 32."""
    colours = colormaps[plots.COLOURS](np.linspace(0.0, 0.85 if count > 3 else 0.6, min(count, _COLOURS)))
    found = []
    for index in range(count):
        again, colour = divmod(index, _COLOURS)
        style = {"color": colours[colour], "linestyle": _STYLES[index % len(_STYLES)], "linewidth": 2.2}
        marked = {"marker": _MARKS[again % len(_MARKS)], "markevery": 8 + colour, "markersize": 6}
        found.append(style | marked if again else style)
    return found


def looks_of_no(count: int) -> list[dict[str, Any]]:
    """The same for options that exceed a limit: thin, grey and dashed with hollow marks, no two alike up to 63."""
    marks, styles = len(_MARKS) - 1, len(_NO_STYLES)
    return [
        {
            "color": _NO_GREYS[index // (marks * styles) % len(_NO_GREYS)],
            "linestyle": _NO_STYLES[index // marks % styles],
            "linewidth": 1.2,
            "marker": _MARKS[1 + index % marks],
            "markevery": 9 + index % marks,
            "markersize": 6,
            "markerfacecolor": "white",
        }
        for index in range(count)
    ]


def distances(options: Options, what: str = "") -> Figure:
    """A-weighted level over distance along the section, a panel for each area, all on one scale.

    `what`: a second line of the heading. What exceeds a limit is a thin dashed line, and the legend says why.
    """
    first = options[0][1]
    on_section = first["area"].values[first["on_section"].values]
    areas = [str(name) for name in first["surface"].values if name in on_section]
    labels = [_label(name, reason) for name, _, reason in options]
    height = max(6.75, 1.2 + 0.19 * sum(label.count("\n") + 1.3 for label in labels))
    figure = Figure(figsize=(12.0, height), layout="constrained")
    panels = figure.subplots(1, max(1, len(areas)), sharey=True, squeeze=False)[0]
    able, no = iter(looks(sum(not reason for *_, reason in options))), iter(looks_of_no(len(options)))
    for label, (_, result, reason) in zip(labels, options, strict=True):
        drawn = next(no if reason else able)
        for ax, area in zip(panels, areas, strict=False):
            chosen = result["on_section"].values & (result["area"].values == area)
            part = result.isel(position=np.flatnonzero(chosen)).sortby("distance")
            ax.plot(part["distance"], part["level_a"], label=label, **drawn)
            ax.set_title(area, loc="left", fontsize=13)
            ax.set_xlabel("distance, m", fontsize=13)
            ax.grid(color="0.85", linewidth=0.6)
    panels[0].set_ylabel("A-weighted level, dB re 20 µPa", fontsize=13)
    figure.legend(*panels[0].get_legend_handles_labels(), fontsize=10, loc="outside right upper", handlelength=3.5)
    heading = f"Level over horizontal distance in {first.attrs['venue']}, along the section\n{what}"
    figure.suptitle(heading.strip(), x=0.01, ha="left", fontsize=14)
    plots.caution(figure)
    return figure


def _label(name: str, reason: str) -> str:
    text = f"NO: {name}: {reason}" if reason else name
    return "\n".join(textwrap.wrap(text, _WIDTH))


def plans(options: Options) -> Figure:
    """Small plans of the A-weighted level on one scale, the first two dozen; what exceeds a limit is struck through."""
    shown = options[:_MOST_PLANS]
    columns = min(4, len(shown))
    lines = -(-len(shown) // columns)
    figure = Figure(figsize=(12.0, 1.6 + 2.9 * lines), layout="constrained")
    panels = figure.subplots(lines, columns, squeeze=False).ravel()
    # One scale: that of the loudest, so that none is clipped at its top.
    scales = [plots.level_scale(result) for _, result, _ in shown]
    scale, colours = max(scales, key=lambda one: float(one.boundaries[-1])), colormaps[plots.COLOURS]
    for ax, (name, result, reason) in zip(panels, shown, strict=False):
        for layer in range(int(result["surface_layer"].values.max()) + 1):
            plots.plan(result, None, layer, ax, scale)
        for text in list(ax.texts):
            text.set_fontsize(8)
        title = textwrap.wrap(f"NO: {name}" if reason else name, 30)
        ax.set_title("\n".join(title), loc="left", fontsize=9)
        ax.set_xlabel("")
        if reason:
            _strike(ax, reason)
    for ax in panels[len(shown) :]:
        ax.set_visible(False)
    bar = figure.colorbar(ScalarMappable(scale, colours), ax=list(panels), shrink=0.8, ticks=scale.boundaries)
    bar.set_label("dB(A) re 20 µPa", fontsize=12)
    some = f", the first {len(shown)} of {len(options)}" if len(options) > len(shown) else ""
    heading = f"Options in {shown[0][1].attrs['venue']}{some}: plans, m; upper areas cover lower ones"
    figure.suptitle(heading, x=0.01, ha="left", fontsize=14)
    plots.caution(figure)
    return figure


def _strike(ax: Axes, reason: str) -> None:
    """Two strokes across a panel, and why, in words, over them."""
    for (x0, x1), colour_width in itertools.product([(0.0, 1.0), (1.0, 0.0)], [("white", 5.0), ("black", 2.2)]):
        colour, width = colour_width
        ax.plot([x0, x1], [0.0, 1.0], transform=ax.transAxes, color=colour, linewidth=width, zorder=7, scalex=False,
                scaley=False)  # fmt: skip
    box = {"facecolor": "white", "edgecolor": "black", "pad": 2.5}
    words = "\n".join(textwrap.wrap(reason, 30))
    ax.text(0.5, 0.5, words, transform=ax.transAxes, ha="center", va="center", fontsize=8, bbox=box, zorder=8)
