"""Pictures on their way out: as they are drawn, or with feet and pounds beside metres and kilograms."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter

from acoustics import plots
from acoustics.app import feet, sheet

_METRES = ", m"  # what the label of an axis in metres ends in, and the title of axes whose bare figures are in metres
_BARE = re.compile(r"\s*[-−]?\d+(\.\d+)?\s*")


def svg_writer(draw: Callable[[], Any], *, imperial: bool = False) -> Callable[[Path], None]:
    """What draws a figure and writes it as SVG."""
    return lambda path: plots.save_svg(in_both(draw()) if imperial else draw(), path)


def in_both(figure: Drawing) -> Drawing:
    """The figure, whose words, axes and ticks now say feet and pounds beside metres and kilograms."""
    for ax in figure.axes:
        _axes_in_both(ax)
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        words = feet.in_text(text.get_text())
        if words != text.get_text():
            text.set_text(words)
    return figure


def _axes_in_both(ax: Axes) -> None:
    for axis in (ax.xaxis, ax.yaxis):
        label = axis.get_label()
        if label.get_text().endswith(_METRES):
            label.set_text(f"{label.get_text()} (ft)")
            gap = "\n" if axis is ax.xaxis else " "
            axis.set_major_formatter(FuncFormatter(lambda at, _, gap=gap: f"{at:g}{gap}({_feet(at)})"))
    if ax.get_title(loc="left").endswith(_METRES):
        for text in ax.texts:
            if _BARE.fullmatch(text.get_text()):
                text.set_text(f" {feet.of_figure(sheet.Figure(text.get_text().strip(), 'm'))} ")


def _feet(at_m: float) -> str:
    at = at_m / float(feet.FOOT_M)
    return f"{at:.1f}" if 0.0 < abs(at) < 10.0 else f"{at:.0f}"
