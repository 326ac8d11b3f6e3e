"""Plain-text tables and plain data, for what the commands print."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np


class Figure(str):
    """A figure as text whose unit stands elsewhere, as in the head of its column.

    `places`: decimals that it is good for, where its text shows fewer than what it is set against.
    """

    unit: str
    places: int | None

    def __new__(cls, text: str, unit: str, places: int | None = None) -> Figure:
        """The text as it is, with what it is in."""
        made = super().__new__(cls, text)
        made.unit, made.places = unit, places
        return made


@dataclass(frozen=True)
class Table:
    """A table for text and for paper: its head, rows of as many cells, l or r for each column, and lines below."""

    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: str
    notes: Sequence[str] = ()

    @property
    def lines(self) -> list[str]:
        """As plain text."""
        return [*(table(self.head, self.rows, self.align) if self.head else []), *self.notes]


@dataclass(frozen=True)
class Paragraph:
    """A text that is broken into lines of a width, all but the first indented."""

    text: str
    wide: int
    indent: int = 0
    first: int = 0
    hyphens: bool = True  # whether it may be broken behind them

    @property
    def lines(self) -> list[str]:
        """As plain text."""
        return textwrap.wrap(
            self.text,
            self.wide,
            initial_indent=" " * self.first,
            subsequent_indent=" " * self.indent,
            break_on_hyphens=self.hyphens,
        )


Block = str | Table | Paragraph


def table(head: Sequence[str], rows: Sequence[Sequence[str]], align: str) -> list[str]:
    """Lines of a table; `align` has l or r for each column."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    lines = []
    for row in (head, *rows):
        cells = [c.ljust(w) if a == "l" else c.rjust(w) for c, w, a in zip(row, widths, align, strict=True)]
        lines.append("  ".join(cells).rstrip())
    return lines


def number(value: float | None, unit: str = "") -> str:
    """A number with four figures; a dash where there is none. `unit`: what it is in, where its text does not say it."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:.0f}" if abs(value) >= 1000 else f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"
    return Figure(text, unit) if unit else text


def plain(value: Any) -> Any:
    """The same with null in place of NaN, which JSON does not have, and Python's numbers in place of numpy's."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value
