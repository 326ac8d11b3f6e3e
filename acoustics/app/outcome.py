"""What reports are made from: a hang predicted in its venue, and judged."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from acoustics.venue import Venue
from rigging.check import Report, check
from rigging.equipment import Catalogue
from rigging.files import Document
from rigging.hang import Hang
from rigging.policy import Policy

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class Outcome:
    """A hang's field, its summary as `summary.summarise` gives it, and what a rigger checks."""

    result: xr.Dataset
    summary: dict[str, Any]
    report: Report


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
    result = predict(hang, venue, document, catalogue, options, tell)
    report = check(hang, catalogue, policy, venue, others, document.data)
    return Outcome(result, summarise(result), report)
