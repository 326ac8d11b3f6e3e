"""Fills the page templates: one HTML file that loads nothing from outside."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup


def filled(template: str, values: Mapping[str, Any], *, size_pt: float = 12.0, pad_mm: float = 0.55) -> str:
    """A page of some values; `size_pt` and `pad_mm`: letters and space of a column's rows."""
    templates = resources.files("acoustics.app") / "templates"
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    sheet = (templates / "report.css").read_text(encoding="utf-8")
    style = environment.from_string(sheet).render(size=size_pt, pad=pad_mm)
    page = environment.from_string((templates / template).read_text(encoding="utf-8"))
    return str(page.render(**values, style=Markup(style)))
