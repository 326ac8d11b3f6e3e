"""Pages that load nothing from outside: templates filled in, pictures as text inside them."""

from __future__ import annotations

import io
import re
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup


def render(name: str, values: dict[str, Any], **style: float) -> str:
    """The page of a template NAME.html and its NAME.css; `style` fills in the latter."""
    templates = resources.files("acoustics.app") / "templates"
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    css, html = ((templates / f"{name}.{kind}").read_text(encoding="utf-8") for kind in ("css", "html"))
    return environment.from_string(html).render(**values, style=Markup(environment.from_string(css).render(style)))


def inside(figure: Any, name: str) -> str:
    """A figure as SVG without its prologue, its ids apart from those of the other pictures."""
    from acoustics import plots

    written = io.StringIO()
    plots.save_svg(figure, written)
    text = written.getvalue()
    text = text[text.index("<svg") :]
    for old in set(re.findall(r'id="([^"]+)"', text)):
        text = re.sub(rf'(id="|#){re.escape(old)}(?=["\)])', rf"\g<1>{name}-{old}", text)
    return text
