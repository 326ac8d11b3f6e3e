"""`evenhang report`: one page file with everything, and the crew's sheet, for paper and screen."""

from __future__ import annotations

import argparse
import io
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from acoustics.app import check as check_command
from acoustics.app import folder
from acoustics.app.cli import AT_FAULT, CANNOT_JUDGE, DONE, EXCEEDS
from acoustics.app.report_data import pages
from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from rigging import findings
from rigging.check import check
from rigging.faults import Fault, FileFaults
from rigging.findings import counts

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_PRINT_S = 120


def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    try:
        folder.prepare(Path(asked.out))
        if asked.venue is None:
            raise FileFaults([Fault("VENUE", "", "is missing", "name a venue file after the hang")])
        catalogue, hangs, loaded, policy = check_command.read(asked)
        assert loaded is not None
        venue, document = loaded
        options = Options(grid_m=asked.grid, programme=asked.programme or "pink", drive_db=asked.drive)
        with folder.progress("positions") as tell:
            result = predict(hangs[0], venue, document, catalogue, options, tell)
        judged = check(hangs[0], catalogue, policy, venue, hangs[1:], document.data)
        summary = summarise(result)
        values = {**pages(result, summary, judged), "figures": _figures(result), "sheet_only": False}
        name = "sheet" if asked.sheet else "report"
        page = render(values | {"sheet_only": asked.sheet}, len(hangs[0].items))
        files: dict[str, Callable[[Path], None]] = {f"{name}.html": partial(check_command.write_text, content=page)}
        if asked.pdf:
            files[f"{name}.pdf"] = partial(_print, page=page)
        target = folder.write(Path(asked.out), hangs[0].name, summary["revision"], files)
    except FileFaults as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return AT_FAULT
    print(f"written to {target}/: {', '.join(sorted(files))}")
    found = counts(judged.findings)
    return EXCEEDS if found[findings.EXCEEDS] else CANNOT_JUDGE if found[findings.CANNOT] else DONE


def render(values: dict[str, Any], rows: int) -> str:
    """The page of some values; a long column is set in smaller type, still to be read at arm's length."""
    templates = resources.files("acoustics.app") / "templates"
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    size, pad = (12.0, 0.55) if rows <= 12 else (10.0, 0.3)
    style = environment.from_string((templates / "report.css").read_text(encoding="utf-8")).render(size=size, pad=pad)
    page = environment.from_string((templates / "report.html").read_text(encoding="utf-8"))
    return page.render(**values, style=Markup(style))


def _figures(result: Any) -> dict[str, str]:
    """Pictures as text to stand inside a page."""
    from acoustics import plots

    drawn = {
        "section": plots.section(result).figure,
        "plan": plots.plan_figure(result),
        "distance": plots.distance_figure(result),
    }
    return {name: _inside(figure, name) for name, figure in drawn.items()}


def _inside(figure: Any, name: str) -> str:
    """An SVG without its prologue, its ids apart from those of the other pictures."""
    from acoustics import plots

    written = io.StringIO()
    plots.save_svg(figure, written)
    text = written.getvalue()
    text = text[text.index("<svg") :]
    for old in set(re.findall(r'id="([^"]+)"', text)):
        text = re.sub(rf'(id="|#){re.escape(old)}(?=["\)])', rf"\g<1>{name}-{old}", text)
    return text


def _print(path: Path, page: str) -> None:
    """Print a page to PDF with a browser that is installed.

    Raises
    ------
    FileFaults
        If there is none, or it does not print.
    """
    browser = next((found for found in map(shutil.which, _BROWSERS) if found), None)
    if browser is None:
        todo = "print report.html from any browser, A4 or Letter, without its own header"
        raise FileFaults([Fault("--pdf", "", "needs Chromium, which is not installed", todo)])
    with tempfile.TemporaryDirectory() as work:
        source = Path(work) / "page.html"
        source.write_text(page, encoding="utf-8")
        command = [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            f"--user-data-dir={work}/user",
        ]
        command += [
            "--disable-background-networking",
            "--no-pdf-header-footer",
            f"--print-to-pdf={path}",
            source.as_uri(),
        ]
        try:
            subprocess.run(command, check=True, capture_output=True, timeout=_PRINT_S)
        except (subprocess.SubprocessError, OSError) as error:
            todo = "print the HTML file from a browser"
            raise FileFaults([Fault("--pdf", "", f"{browser} did not print ({error})", todo)]) from None
    if not path.exists():
        raise FileFaults([Fault("--pdf", "", f"{browser} printed nothing", "print the HTML file from a browser")])
