"""`evenhang report`: one page file with everything, and the crew's sheet, for paper and screen."""

from __future__ import annotations

import argparse
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import folder
from acoustics.app.markup import inside, render
from acoustics.app.outcome import Outcome, outcome_of
from acoustics.app.report_data import pages
from acoustics.app.status import of_findings, refusing
from acoustics.prediction import Options
from rigging.faults import Fault, FileFaults

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_PRINT_S = 120


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    if asked.venue is None:
        raise FileFaults([Fault("VENUE", "", "is missing", "name a venue file after the hang")])
    catalogue, hangs, loaded, policy = check_command.read(asked)
    assert loaded is not None
    options = Options(grid_m=asked.grid, programme=asked.programme or "pink", drive_db=asked.drive)
    with folder.progress("positions") as tell:
        outcome = outcome_of(hangs[0], loaded, catalogue, policy, hangs[1:], options, tell)
    files = report_files(outcome, sheet=asked.sheet, pdf=asked.pdf)
    target = folder.write(Path(asked.out), hangs[0].name, outcome.summary["revision"], files)
    print(f"written to {target}/: {', '.join(sorted(files))}")
    return of_findings(outcome.report.findings)


def report_files(outcome: Outcome, *, sheet: bool = False, pdf: bool = False) -> dict[str, Callable[[Path], None]]:
    """Writers of a report, or of the crew's `sheet` alone, by file name; as PDF too where asked for."""
    values = pages(outcome.result, outcome.summary, outcome.report)
    values |= {"figures": _figures(outcome.result), "sheet_only": sheet}
    name, page = "sheet" if sheet else "report", render("report", values, **_type(len(outcome.report.hang.items)))
    files: dict[str, Callable[[Path], None]] = {f"{name}.html": partial(check_command.write_text, content=page)}
    if pdf:
        files[f"{name}.pdf"] = partial(_print, page=page)
    return files


def _type(rows: int) -> dict[str, float]:
    """Type of the column's table: a long one is set smaller, still to be read at arm's length."""
    return {"size": 12.0, "pad": 0.55} if rows <= 12 else {"size": 10.0, "pad": 0.3}


def _figures(result: Any) -> dict[str, str]:
    """Pictures as text to stand inside a page."""
    from acoustics import plots

    drawn = {
        "section": plots.section(result).figure,
        "plan": plots.plan_figure(result),
        "distance": plots.distance_figure(result),
    }
    return {name: inside(figure, name) for name, figure in drawn.items()}


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
