"""`evenhang report SHOW`: the show, then each hang's rigging and crew sheet."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import check_sheet, folder, whatif
from acoustics.app.advance import show_advance
from acoustics.app.crew_sheet import crew
from acoustics.app.data_files import evenness_csv, rigging_json
from acoustics.app.neighbours_sheet import neighbours_table
from acoustics.app.outcome import ShowOutcome, show_outcome_of
from acoustics.app.pages import Picture
from acoustics.app.report import Writers, page_writers
from acoustics.app.report_data import basis, decision, finding_values, hashes, heading, highest_drive, rigging
from acoustics.app.sheet import number
from acoustics.app.show_check import PLACED, as_data, hangs_table, patch_table, refuse_of_one_hang, taken_table
from acoustics.app.show_sheet import delays_table, echo_lines, levels_table, overlap_lines, parts_table
from acoustics.app.status import of_findings, refusing
from acoustics.show import load_show
from acoustics.show_prediction import ShowOptions
from rigging.findings import CANNOT, EXCEEDS, WITHIN, worst_first

_PAIRS = 3  # of parts that are aligned, in one picture


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    refuse_of_one_hang(asked)
    catalogue = folder.catalogue_of(asked)
    policy = check_command.policy_of(asked.policy)
    show = load_show(asked.hang, catalogue)
    loaded = whatif.limited(show.venue, show.venue_document, asked.limit)
    options = ShowOptions(asked.grid, asked.programme or "pink", asked.drive)
    with folder.progress("positions") as tell:
        outcome = show_outcome_of(show, loaded, catalogue, policy, options, tell)
    files = show_report_files(
        outcome, sheet=asked.sheet, advance=asked.advance, pdf=asked.pdf, paper=asked.paper, imperial=asked.imperial
    )
    target = folder.write(Path(asked.out), show.name, outcome.summary["revision"], files)
    print(f"written to {target}/: {', '.join(sorted(files))}")
    return of_findings(outcome.judged.findings)


def show_report_files(
    outcome: ShowOutcome,
    *,
    sheet: bool = False,
    advance: bool = False,
    pdf: bool = False,
    paper: str = "A4",
    imperial: bool = False,
) -> Writers:
    """Writers of a show's report with its data, by file name; as `report.report_files`."""
    pages: dict[str, Any] = {}
    if sheet:
        pages["sheet"] = "sheet.html", {**heading(outcome.summary), "sheets": _sheets(outcome)}
    if advance:
        pages["advance"] = "advance.html", show_advance(outcome)
    if pages:
        return page_writers(pages, pdf=pdf, paper=paper, imperial=imperial)
    from acoustics import results

    data = rigging_json(as_data(outcome.show, outcome.judged))
    files: Writers = {
        "field.nc": partial(results.save, outcome.result),
        "evenness.csv": partial(check_command.write_text, content=evenness_csv(outcome.summary)),
        "rigging.json": partial(check_command.write_text, content=data),
    }
    return files | page_writers({"report": ("show.html", _values(outcome))}, pdf=pdf, paper=paper, imperial=imperial)


def _sheets(outcome: ShowOutcome) -> list[dict[str, Any]]:
    return [crew(one) for one in outcome.judged.reports]


def _values(outcome: ShowOutcome) -> dict[str, Any]:
    show, summary, judged = outcome.show, outcome.summary, outcome.judged
    neighbours = summary["neighbours"]
    of_policy = check_sheet.basis_lines(judged.reports[0]) if judged.reports else []
    return {
        **heading(outcome.summary),
        "decision": [*decision(worst_first(judged.findings)), *_quiet(neighbours), *_levels(summary)],
        "hangs": hangs_table(judged.reports),
        "placed": PLACED if len(judged.reports) < len(show.parts) else "",
        "levels": levels_table(summary),
        "parts": parts_table(summary),
        "overlap": overlap_lines(summary["overlap"]),
        "figures": _figures(outcome),
        "delays": delays_table(summary) if summary["delays"] else None,
        "echoes": echo_lines(summary["echo"]),
        "neighbours": neighbours_table(neighbours) if neighbours else None,
        "hearing": summary["hearing"],
        "shared": [finding_values(finding) for finding in judged.shared],
        "patch": patch_table(judged.feeds),
        "taken": taken_table(show, judged.feeds),
        "riggings": [rigging(one) for one in judged.reports],
        "sheets": _sheets(outcome),
        "basis": [*basis(outcome.result.attrs, outcome.asked), *of_policy],
        "hashes": hashes(outcome.inputs),
    }


def _quiet(rows: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Whether limits of quiet areas are exceeded, where the venue gives some."""
    status = [row["status"] for row in rows if row["status"]]
    if not status:
        return []
    over, unknown = status.count(EXCEEDS), status.count(CANNOT)
    mark = "exceeds" if over else "open" if unknown else ""
    said = f"{over} limits exceeded, {unknown} cannot be judged, {status.count(WITHIN)} within."
    return [{"mark": mark, "head": "Quiet areas:", "text": said}]


def _levels(summary: dict[str, Any]) -> list[dict[str, str]]:
    whole = summary["areas"][-1]
    ends = f"{number(whole['level_a_apart_db'])} to {number(whole['level_a_same_db'])}"
    text = f"mean {number(whole['level_a_mean_db'])} dB(A) ({ends} by how far the channels are the same), 5–95 % of "
    text += f"the seats within {number(whole['level_a_p5_p95_db'])} dB(A)."
    return [
        {"mark": "", "head": "Levels:", "text": text},
        highest_drive(summary["highest_drive_db"], summary["limited_by"]),
    ]


def _figures(outcome: ShowOutcome) -> dict[str, Any]:
    from acoustics import show_plots

    pairs = [proposal for proposal in outcome.proposals if proposal.overlap_m2 > 0]
    pages = [pairs[first : first + _PAIRS] for first in range(0, len(pairs), _PAIRS)]
    apart = [show_plots.apart_figure(outcome.result, pairs, some) for some in pages]
    return {
        "plan": Picture(show_plots.levels_figure(outcome.result), "plan"),
        "loudest": Picture(show_plots.loudest_figure(outcome.result), "loudest"),
        "apart": [Picture(figure, f"apart-{index}") for index, figure in enumerate(apart)],
    }
