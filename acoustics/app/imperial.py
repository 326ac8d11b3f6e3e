"""The door through which words leave: as they are, or with feet and pounds beside metres and kilograms.

What is said is made metric alone; here, at the end, its figures get their counterparts where
`--imperial` asks for them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from markupsafe import Markup

from acoustics.app import feet
from acoustics.app.sheet import Block, Figure, Paragraph, Table

# Values of pages that are names, words or links: a hall called "Hall 3 m" keeps its name.
_VERBATIM = ("hang", "venue", "tour", "design", "revision", "version", "side", "hashes", "link", "label", "mark")


def said(blocks: Iterable[Block], *, imperial: bool = False) -> str:
    """Lines, tables and paragraphs as one text."""
    lines: list[str] = []
    for block in blocks:
        shown = both(block) if imperial else block
        lines += [shown] if isinstance(shown, str) else shown.lines
    text = "\n".join(lines)
    return text.replace(feet.KEPT, " ") if imperial else text


def both(value: Any) -> Any:
    """The same with feet and pounds beside every figure: texts, figures, tables, and what lists and dicts hold of them.

    What is marked up already stays as it is, and what is neither; a picture is drawn anew by `pages.Picture`.
    """
    if isinstance(value, Figure):
        return feet.of_figure(value)
    if isinstance(value, str):
        return value if isinstance(value, Markup) else feet.in_text(value)
    if isinstance(value, Table):
        return Table(both(value.head), both(value.rows), value.align, both(value.notes))
    if isinstance(value, Paragraph):
        return dataclasses.replace(value, text=both(value.text))
    if isinstance(value, dict):
        return {key: item if key in _VERBATIM else both(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [both(item) for item in value]
    return value.in_both() if hasattr(value, "in_both") else value
