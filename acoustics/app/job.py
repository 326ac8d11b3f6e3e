"""A job: a hang in a venue, or a show, predicted and judged for somebody else to read; from its files to what is handed
over."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import folder, whatif
from acoustics.app.figures import Figures, hang_figures, show_figures, weakest_said
from acoustics.app.outcome import outcome_of, show_outcome_of
from acoustics.app.predict import options_of
from acoustics.app.report import Writers, report_files
from acoustics.app.show_report import show_report_files
from acoustics.inputs import InputFile, files_of_hang, files_of_show
from acoustics.show import load_show
from acoustics.show_prediction import ShowOptions
from rigging.faults import Fault, FileFaults
from rigging.findings import Finding
from rigging.hang import muted


@dataclass(frozen=True)
class Job:
    """What is reported: a hang `file` in a `venue`, others `beside` it, or a show `file`, which names all itself."""

    file: str
    venue: str | None = None
    beside: tuple[str, ...] = ()


@dataclass(frozen=True)
class Words:
    """The words on a job's sheets: of what hangs where, and the revision of all."""

    design: str
    revision: str


@dataclass(frozen=True)
class Done:
    """What a job comes to: its words and figures, and the weakest finding; `sheets` gives writers by file name."""

    name: str
    venue: str
    words: Words
    figures: Figures
    weakest: str
    findings: tuple[Finding, ...]
    sheets: Callable[[], Writers]  # drawing takes time, and not everybody wants them


def files_of(job: Job, asked: argparse.Namespace) -> tuple[list[InputFile], dict[str, Any]]:
    """The files of a job, and all that counts of what they hold.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    asked = _asked(job, asked)
    if job.venue is None:
        catalogue, policy = folder.catalogue_of(asked), check_command.policy_of(asked.policy)
        loaded = load_show(job.file, catalogue)
        return files_of_show(loaded, policy, catalogue), {**loaded.inputs, "policy": policy.model_dump()}
    catalogue, hangs, venue, policy = check_command.read(asked)
    document = venue[1] if venue else None
    inputs = {"hangs": [dict(hang.inputs) for hang in hangs], "policy": policy.model_dump()}
    inputs["venue"] = document.data if document else {}
    return files_of_hang(hangs[0], hangs[1:], document, policy, catalogue), inputs


def do(job: Job, asked: argparse.Namespace) -> Done:
    """Predict and judge a job; `asked` holds the options of `commands.add_pack`.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    asked = _asked(job, asked)
    return _hang_done(asked) if job.venue is not None else _show_done(asked)


def _asked(job: Job, asked: argparse.Namespace) -> argparse.Namespace:
    """The options with the files of one job."""
    files = {"hang": job.file, "venue": job.venue, "beside": list(job.beside)}
    return argparse.Namespace(**{**vars(asked), **files, "lines": None})


def _hang_done(asked: argparse.Namespace) -> Done:
    if asked.correlation is not None:
        raise FileFaults(
            [Fault("--correlation", "", "is for the channels of a show, and this is a hang", "leave it out")]
        )
    catalogue, hangs, loaded, policy = check_command.read(asked)
    assert loaded is not None  # a venue was asked for
    hang = muted(hangs[0], whatif.rows_of(asked.mute))
    with folder.progress("positions") as tell:
        outcome = outcome_of(hang, loaded, catalogue, policy, hangs[1:], options_of(asked), tell)
    summary, report = outcome.summary, outcome.report

    return Done(
        hang.name,
        loaded[0].name,
        Words(summary["design"], summary["revision"]),
        hang_figures(outcome),
        weakest_said(report.findings),
        tuple(report.findings),
        lambda: report_files(outcome),
    )


def _show_done(asked: argparse.Namespace) -> Done:
    if asked.points != 1:
        todo = "leave it out"
        raise FileFaults([Fault("--points", "", "has no meaning for a show: it is for one hang", todo)])
    catalogue, policy = folder.catalogue_of(asked), check_command.policy_of(asked.policy)
    show = load_show(asked.hang, catalogue)
    show = show.muted(whatif.rows_of_parts(asked.mute, [part.name for part in show.parts]))
    loaded = whatif.limited(show.venue, show.venue_document, asked.limit)
    options = ShowOptions(asked.grid, asked.programme or "pink", asked.drive, asked.over_edges, asked.correlation)
    with folder.progress("positions") as tell:
        outcome = show_outcome_of(show, loaded, catalogue, policy, options, tell)
    summary, judged = outcome.summary, outcome.judged
    return Done(
        show.name,
        show.venue.name,
        Words(summary["design"], summary["revision"]),
        show_figures(summary, judged),
        weakest_said(judged.findings),
        tuple(judged.findings),
        lambda: show_report_files(outcome),
    )
