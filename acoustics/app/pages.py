"""Values into pages: one HTML text each, with its style and pictures inside."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import Any

import jinja2
from markupsafe import Markup

from acoustics.app.imperial import both

PAPERS = ("A4", "letter")


def render(template: str, values: dict[str, Any], paper: str = "A4", *, imperial: bool = False) -> str:
    """The page of a template and its values, for a paper; with feet and pounds where they are asked for."""
    loader = jinja2.PackageLoader("acoustics.app", "templates")
    environment = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    style = environment.get_template("page.css").render(paper=paper, imperial=imperial)
    return environment.get_template(template).render(
        **(both(values) if imperial else values), style=Markup(style), imperial=imperial
    )


@dataclass(frozen=True)
class Picture:
    """A figure that a page shows, and what tells its ids from those of other pictures."""

    figure: Any
    name: str

    def __html__(self) -> Markup:
        """What a template puts in its place."""
        return inside(self.figure, self.name)

    def in_both(self) -> Picture:
        """The same with feet and pounds beside metres and kilograms."""
        from acoustics.app import pictures

        return Picture(pictures.in_both(self.figure), self.name)


def inside(figure: Any, name: str) -> Markup:
    """A figure as SVG to stand inside a page: without prologue, its ids apart from those of other pictures."""
    from acoustics import plots

    written = io.StringIO()
    plots.save_svg(figure, written)
    text = written.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    text = re.sub(r' xmlns(:xlink)?="[^"]*"', "", text).replace("xlink:href", "href")  # HTML needs no namespaces
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\g<1>"', text)
    return Markup(re.sub(r'(url\(|href=")#', rf"\g<1>#{name}-", text))
