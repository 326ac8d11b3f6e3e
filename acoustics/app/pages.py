"""Values into pages: one HTML text each, with its style and pictures inside."""

from __future__ import annotations

import io
import re
from typing import Any

import jinja2
from markupsafe import Markup

PAPERS = ("A4", "letter")


def render(template: str, values: dict[str, Any], paper: str = "A4") -> str:
    """The page of a template and its values, to be printed on a paper."""
    loader = jinja2.PackageLoader("acoustics.app", "templates")
    environment = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    style = environment.get_template("page.css").render(paper=paper)
    return environment.get_template(template).render(**values, style=Markup(style))


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
