"""Pictures on their way out: as they are drawn, or with feet and pounds beside metres and kilograms."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure as Drawing
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter

from acoustics import plots
from acoustics.app import feet, sheet

# What the label of an axis ends in: the name of what stands beside its ticks, and one such unit.
_AXES = {", m": ("ft", float(feet.FOOT_M)), ", m²": ("ft²", float(feet.FOOT_M) ** 2)}
_METRES = ", m"
_ALL_METRES = re.compile(r"(?<=, m)(?=;|$)")  # in the title of a figure whose axes have no labels
_BARE = re.compile(r"\s*[-−]?\d+\.\d+\s*")  # not what marks a place, which is whole
_UPRIGHT = 26  # letters in a line of the label of an upright axis
_ROOMIER = (1.4, 1.15)  # a picture whose bare figures grow longer grows with them


def svg_writer(draw: Callable[[], Any], *, imperial: bool = False) -> Callable[[Path], None]:
    """What draws a figure and writes it as SVG."""
    return lambda path: plots.save_svg(in_both(draw()) if imperial else draw(), path)


def in_both(figure: Drawing) -> Drawing:
    """The figure, whose words, axes and ticks now say feet and pounds beside metres and kilograms."""
    title = figure.get_suptitle()
    for ax in figure.axes:
        for axis, gap in ((ax.xaxis, "\n"), (ax.yaxis, " ")):
            words = axis.get_label_text()
            if not words and _ALL_METRES.search(title):
                _ticks_in_both(axis, gap, _AXES[_METRES][1])
            for end, (name, size) in _AXES.items():
                if words.endswith(end):
                    label = f"{words} ({name})"
                    axis.get_label().set_text(label if axis is ax.xaxis else textwrap.fill(label, _UPRIGHT))
                    _ticks_in_both(axis, gap, size)
        if ax.get_title(loc="left").endswith(_METRES):
            _bare_in_both(figure, ax)
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        words = text.get_text()
        both = _ALL_METRES.sub(" (ft)", words) if words == title else feet.in_text(words)
        if both != words:
            text.set_text(both)
    return figure


def _ticks_in_both(axis: Axis, gap: str, size: float) -> None:
    """Every tick in both units, of which the other is so large, with a gap between them. [m or m²]"""

    def say(at: float, _: int | None) -> str:
        other = at / size
        small = 0.0 < abs(other) < 10.0
        return f"{at:g}{gap}({other:.{1 if small else 0}f})".replace("-", "−")

    axis.set_major_formatter(FuncFormatter(say))


def _bare_in_both(figure: Drawing, ax: Axes) -> None:
    """Bare figures of axes whose title says that they are in metres."""
    figure.set_size_inches(*(side * more for side, more in zip(figure.get_size_inches(), _ROOMIER, strict=True)))
    for text in ax.texts:
        if _BARE.fullmatch(text.get_text()):
            text.set_text(f" {feet.of_figure(sheet.Figure(text.get_text().strip(), 'm'))} ")
