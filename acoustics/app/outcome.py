"""What reports are made from: a hang or a show, predicted in its venue, and judged."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from acoustics.app.show_check import JudgedShow, judge_show
from acoustics.app.show_sheet import summarise_show
from acoustics.app.summary import summarise
from acoustics.inputs import InputFile, files_of_hang, files_of_show
from acoustics.prediction import Options, predict, settings_of
from acoustics.show import Show
from acoustics.show_prediction import Proposal, ShowOptions, predict_show, proposals
from acoustics.venue import Venue
from rigging.check import Report, check
from rigging.equipment import Catalogue
from rigging.files import Document
from rigging.hang import Hang
from rigging.policy import Policy
from rigging.revision import revision

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class Outcome:
    """A hang's field, its summary as `summary.summarise` gives it, and what a rigger checks; all under one revision.

    `others`: the other hangs on its points. `inputs`: the files that it was made from; `asked`: what was
    asked for beyond them.
    """

    result: xr.Dataset
    summary: dict[str, Any]
    report: Report
    others: tuple[Hang, ...]
    inputs: tuple[InputFile, ...]
    asked: tuple[str, ...]
    catalogue: Catalogue


@dataclass(frozen=True)
class ShowOutcome:
    """A show's field, its summary as `show_sheet.summarise_show` gives it, delays, and what is judged of it."""

    show: Show
    result: xr.Dataset
    summary: dict[str, Any]
    proposals: tuple[Proposal, ...]
    judged: JudgedShow
    inputs: tuple[InputFile, ...]
    asked: tuple[str, ...]
    catalogue: Catalogue


def outcome_of(
    hang: Hang,
    loaded: tuple[Venue, Document],
    catalogue: Catalogue,
    policy: Policy,
    others: Sequence[Hang],
    options: Options,
    tell: Callable[[int, int], None] | None = None,
) -> Outcome:
    """Predict a hang in a venue and judge it, with the other hangs that load its points.

    Raises
    ------
    FileFaults
        If what the hang names is not in the venue, or an enclosure's acoustic part is at fault.
    """
    venue, document = loaded
    files = files_of_hang(hang, others, document, policy, catalogue)
    result = predict(hang, venue, document, catalogue, options, tell)
    asked = {"policy": policy.model_dump(), "others": [dict(other.inputs) for other in others]}
    word = revision({**settings_of(hang, document, options), **asked})
    result.attrs["revision"] = word
    report = dataclasses.replace(check(hang, catalogue, policy, venue, others, document.data), revision=word)
    said = tuple(_asked(document, hang))
    return Outcome(result, summarise(result), report, tuple(others), tuple(files), said, catalogue)


def _asked(venue: Document, *hangs: Hang) -> Iterator[str]:
    """What was asked for beyond the files, in words."""
    for point, limit in venue.data.get("asked", {}).get("limit_kg", {}).items():
        yield f"what if: point {point} carries no more than {limit:g} kg"
    for hang in hangs:
        if "muted" in hang.inputs:
            yield f"what if: silent in {hang.name}: row {', '.join(map(str, hang.inputs['muted']))}"


def show_outcome_of(
    show: Show,
    loaded: tuple[Venue, Document],
    catalogue: Catalogue,
    policy: Policy,
    options: ShowOptions,
    tell: Callable[[int, int], None] | None = None,
) -> ShowOutcome:
    """Predict a show and judge every hang of it with all others; `loaded`: its venue, with limits asked for.

    Raises
    ------
    FileFaults
        As `outcome_of`.
    """
    files = files_of_show(show, policy, catalogue)
    judged = judge_show(show, loaded, catalogue, policy)
    result, parts = predict_show(show, catalogue, options, tell)
    word = revision({"judged": judged.revision, "options": vars(options)})
    result.attrs["revision"] = word
    reports = tuple(dataclasses.replace(one, revision=word) for one in judged.reports)
    judged = dataclasses.replace(judged, reports=reports, revision=word)
    found = proposals(show, result, parts)
    summary = summarise_show(show, result, found)
    said = tuple(_asked(loaded[1], *show.hangs))
    return ShowOutcome(show, result, summary, tuple(found), judged, tuple(files), said, catalogue)
