"""`evenhang report`: one page file with everything, the crew's sheet, the sheet for the venue, and the data."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import folder
from acoustics.app.advance import hang_advance
from acoustics.app.crew_sheet import crew
from acoustics.app.data_files import evenness_csv, rigging_json
from acoustics.app.outcome import Outcome, outcome_of
from acoustics.app.pages import render
from acoustics.app.printing import HOW, NotPrinted, pdf_of
from acoustics.app.report_data import hang_values, heading
from acoustics.app.status import of_findings, refusing
from acoustics.prediction import Options
from rigging.faults import Fault, FileFaults

Writers = dict[str, Callable[[Path], None]]


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    if asked.venue is None:
        raise FileFaults([Fault("VENUE", "", "is missing", "name a venue file after the hang, or a show file alone")])
    catalogue, hangs, loaded, policy = check_command.read(asked)
    assert loaded is not None
    options = Options(asked.grid, programme=asked.programme or "pink", drive_db=asked.drive)
    with folder.progress("positions") as tell:
        outcome = outcome_of(hangs[0], loaded, catalogue, policy, hangs[1:], options, tell)
    files = report_files(
        outcome, sheet=asked.sheet, advance=asked.advance, pdf=asked.pdf, paper=asked.paper, imperial=asked.imperial
    )
    target = folder.write(Path(asked.out), hangs[0].name, outcome.summary["revision"], files)
    print(f"written to {target}/: {', '.join(sorted(files))}")
    return of_findings(outcome.report.findings)


def report_files(
    outcome: Outcome,
    *,
    sheet: bool = False,
    advance: bool = False,
    pdf: bool = False,
    paper: str = "A4",
    imperial: bool = False,
) -> Writers:
    """Writers of a hang's report with its data, by file name.

    With `sheet`, `advance` or both: of the crew's sheet and of the sheet for the venue alone. With `pdf` pages as PDF
    too; where that does not work, standard error says why and how to print.
    """
    pages: dict[str, tuple[str, dict[str, Any]]] = {}
    if sheet:
        pages["sheet"] = "sheet.html", {**heading(outcome.summary), "sheets": [crew(outcome.report)]}
    if advance:
        pages["advance"] = "advance.html", hang_advance(outcome)
    if pages:
        return page_writers(pages, pdf=pdf, paper=paper, imperial=imperial)
    from acoustics import results

    data = rigging_json(check_command.as_data(outcome.report))
    files: Writers = {
        "field.nc": partial(results.save, outcome.result),
        "evenness.csv": partial(check_command.write_text, content=evenness_csv(outcome.summary)),
        "rigging.json": partial(check_command.write_text, content=data),
    }
    return files | page_writers(
        {"report": ("report.html", hang_values(outcome))}, pdf=pdf, paper=paper, imperial=imperial
    )


def page_writers(pages: Mapping[str, tuple[str, dict[str, Any]]], *, pdf: bool, paper: str, imperial: bool) -> Writers:
    """Writers of pages, each of a template and its values, and of their PDFs where these are asked for and work."""
    files: Writers = {}
    for name, (template, values) in pages.items():
        page = render(template, values, paper, imperial=imperial)
        files[f"{name}.html"] = partial(check_command.write_text, content=page)
        if not pdf:
            continue
        try:
            printed = pdf_of(page)
        except NotPrinted as why:
            print(f"--pdf: {why}; {name}.html is written: {HOW}", file=sys.stderr)
        else:
            files[f"{name}.pdf"] = partial(_write_bytes, content=printed)
    return files


def _write_bytes(path: Path, content: bytes) -> None:
    path.write_bytes(content)
