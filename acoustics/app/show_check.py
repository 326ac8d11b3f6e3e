"""`evenhang check SHOW`: every hang with all others on the points, power, patch and stock."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from acoustics.app import check as single
from acoustics.app import folder, whatif
from acoustics.app.check_sheet import findings_table
from acoustics.app.check_sheet import text as hang_text
from acoustics.app.sheet import number, plain, table
from acoustics.app.status import of_findings, refusing
from acoustics.power import Feed, feeds, power_findings, stock_findings, taken
from acoustics.show import Show, load_show
from rigging.cautions import CAUTIONS
from rigging.check import Report, check
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.findings import CANNOT, WITHIN, Finding, counts, worst_first
from rigging.findings import EXCEEDS as EXCEEDED
from rigging.policy import Policy
from rigging.revision import revision


@dataclass(frozen=True)
class Judged:
    """A show with the reports of its hangs, what all share (power, stock), and how it is patched."""

    show: Show
    revision: str
    reports: tuple[Report, ...]
    shared: tuple[Finding, ...]
    listed: tuple[Feed, ...]
    catalogue: Catalogue
    policy: Policy

    @property
    def findings(self) -> list[Finding]:
        """All findings: of what is shared, and of every hang."""
        return [*self.shared, *(finding for report in self.reports for finding in report.findings)]


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    if asked.out is not None:
        folder.prepare(Path(asked.out))
    _only_of_hangs(asked)
    judged = judge(asked)
    said, data = text(judged), data_text(judged)
    written = None
    if asked.out is not None:
        written = folder.write(Path(asked.out), judged.show.name, judged.revision, result_files(judged))
    print(data if asked.json else said)
    if written is not None and not asked.json:
        print(f"\nwritten to {written}/: check.json, check.txt")
    return of_findings(judged.findings)


def judge(asked: argparse.Namespace) -> Judged:
    """A show as asked for, judged.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    catalogue = folder.catalogue_of(asked)
    policy = single.policy_of(asked.policy)
    show = load_show(asked.hang, catalogue)
    venue, document = whatif.limited(show.venue, show.venue_document, asked.limit)
    reports = tuple(
        check(hang, catalogue, policy, venue, [o for o in show.hangs if o is not hang], document.data)
        for hang in show.hangs
    )
    listed = feeds(show, catalogue)
    shared = worst_first([*power_findings(show, catalogue, listed), *stock_findings(show, listed)])
    inputs = {**show.inputs, "venue": document.data, "policy": policy.model_dump()}
    if show.power is not None:
        inputs["power"] = [catalogue.content(name) for name in (show.power.amplifier, show.power.cable)]
    return Judged(show, revision(inputs), reports, tuple(shared), tuple(listed), catalogue, policy)


def result_files(judged: Judged) -> dict[str, Callable[[Path], None]]:
    """Writers of what is printed, for people and for programs, by file name."""
    files = {"check.txt": f"{text(judged)}\n", "check.json": f"{data_text(judged)}\n"}
    return {name: partial(single.write_text, content=content) for name, content in files.items()}


def _only_of_hangs(asked: argparse.Namespace) -> None:
    given = [(asked.venue is not None, "VENUE"), (bool(asked.beside), "--beside")]
    why = "a show names its venue and all hangs itself"
    faults = [
        Fault(name, "", f"has no meaning for a show: {why}", "leave it out") for is_given, name in given if is_given
    ]
    if faults:
        raise FileFaults(faults)


def text(judged: Judged) -> str:
    """What a rigger checks line by line."""
    show, reports, shared, listed = judged.show, judged.reports, judged.shared, judged.listed
    found = counts(judged.findings)
    lines = [
        f"{show.name}  in  {show.venue.name}",
        f"REVISION {judged.revision}",
        "",
        f"{found[EXCEEDED]} exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within",
        "",
        *(f"! {caution}" for caution in CAUTIONS),
        "",
        "HANGS, each with all others on its points",
        *_hangs(reports),
    ]
    if len(reports) < len(show.parts):
        lines += ["not judged: how placed enclosures stand, and what they stand on"]
    lines += ["", "POWER AND STOCK", *findings_table(list(shared))] if shared else []
    lines += ["", "PATCH", *_patch(listed), "", "TAKEN", *_taken(show, listed)]
    for report in reports:
        lines += ["", "=" * 98, hang_text(report)]
    return "\n".join(lines)


def _hangs(reports: Sequence[Report]) -> list[str]:
    rows = []
    for report in reports:
        found = counts(report.findings)
        judged = [finding for finding in report.findings if finding.status != CANNOT]
        worst = judged[0] if judged else None
        used = "" if worst is None or worst.used is None else f"{min(worst.used, 9.99):.0%}"
        what = "" if worst is None else f"{worst.part}: {worst.what}"
        cells = [str(found[EXCEEDED]), str(found[CANNOT]), str(found[WITHIN])]
        rows.append([report.hang.name, f"{report.hang.mass_kg:.0f}", *cells, used, what])
    return table(["", "kg", "exceed", "cannot be judged", "within", "weakest", ""], rows, "lrrrrrl")


def _patch(listed: Sequence[Feed]) -> list[str]:
    rows = []
    for feed in listed:
        rows_text = ", ".join(map(str, feed.rows))
        ways = "not in its file" if feed.electrical is None else str(feed.electrical.ways)
        outputs = f"{feed.amplifier}: {_span(feed.channels)}" if feed.channels else "–"
        cable = f"{feed.cable}: {_span(feed.pairs)}" if feed.pairs else "–"
        rows.append([feed.part, rows_text, feed.enclosure, feed.programme, ways, number(feed.load_ohm), outputs, cable])
    head = ["", "enclosures", "type", "programme", "ways", "ohm", "amplifier: channels", "cable: pairs"]
    return [*table(head, rows, "llllrrll"), "amplifiers are counted through the show, cables within each part"]


def _span(numbers: tuple[int, ...]) -> str:
    return str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]}–{numbers[-1]}"


def _taken(show: Show, listed: Sequence[Feed]) -> list[str]:
    rows = [[name, str(count), str(show.stock.get(name, "–"))] for name, count in taken(show, listed).items()]
    return table(["", "taken", "stock"], rows, "lrr")


def data_text(judged: Judged) -> str:
    """The same for programs, as JSON."""
    show, listed = judged.show, judged.listed
    data = {
        "show": show.name,
        "venue": show.venue.name,
        "revision": judged.revision,
        "counts": counts(judged.findings),
        "findings": [single.finding_data(finding) for finding in judged.shared],
        "hangs": [single.as_data(report) for report in judged.reports],
        "patch": [{key: value for key, value in vars(feed).items() if key != "electrical"} for feed in listed],
        "taken": taken(show, listed),
        "policy": judged.policy.model_dump(),
        "cautions": list(CAUTIONS),
    }
    return json.dumps(plain(data), indent=2, ensure_ascii=False)
