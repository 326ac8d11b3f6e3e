"""`evenhang check SHOW`: every hang with all others on the points, power, patch and stock."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from acoustics.app import check as single
from acoustics.app import folder, whatif
from acoustics.app.check_sheet import blocks as hang_blocks
from acoustics.app.check_sheet import findings_table
from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Figure, Table, number, plain
from acoustics.app.status import of_findings, refusing
from acoustics.power import Feed, feeds, power_findings, stock_findings, taken
from acoustics.show import Show, load_show
from acoustics.venue import Venue
from rigging.cautions import CAUTIONS
from rigging.check import Report, check
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.findings import CANNOT, WITHIN, Finding, counts, weakest, worst_first
from rigging.findings import EXCEEDS as EXCEEDED
from rigging.policy import Policy
from rigging.revision import revision

PLACED = "not judged: how placed enclosures stand, and what they stand on"


@dataclass(frozen=True)
class JudgedShow:
    """What is judged of a show: every hang with all others on its points, then power and stock; how it is patched."""

    reports: tuple[Report, ...]
    shared: tuple[Finding, ...]
    feeds: tuple[Feed, ...]
    policy: Policy
    revision: str

    @property
    def findings(self) -> list[Finding]:
        """Those of the show, then those of its hangs."""
        return [*self.shared, *(finding for report in self.reports for finding in report.findings)]


def judge_show(show: Show, loaded: tuple[Venue, Document], catalogue: Catalogue, policy: Policy) -> JudgedShow:
    """Judge a show in its venue, with the limits that were asked for.

    Raises
    ------
    FileFaults
        If a hang names a point that the venue does not have.
    """
    venue, document = loaded
    reports = [
        check(hang, catalogue, policy, venue, [o for o in show.hangs if o is not hang], document.data)
        for hang in show.hangs
    ]
    listed = feeds(show, catalogue)
    shared = worst_first([*power_findings(show, catalogue, listed), *stock_findings(show, listed)])
    inputs = {**show.inputs, "venue": document.data, "policy": policy.model_dump()}
    if show.power is not None:
        inputs["power"] = [catalogue.content(name) for name in (show.power.amplifier, show.power.cable)]
    word = revision(inputs)
    return JudgedShow(tuple(reports), tuple(shared), tuple(listed), policy, word)


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    if asked.out is not None:
        folder.prepare(Path(asked.out))
    refuse_of_one_hang(asked)
    catalogue = folder.catalogue_of(asked)
    policy = single.policy_of(asked.policy)
    show = load_show(asked.hang, catalogue)
    loaded = whatif.limited(show.venue, show.venue_document, asked.limit)
    judged = judge_show(show, loaded, catalogue, policy)
    text = said(_blocks(show, judged), imperial=asked.imperial)
    data = json.dumps(plain(as_data(show, judged)), indent=2, ensure_ascii=False)
    written = None
    if asked.out is not None:
        files = {"check.txt": f"{text}\n", "check.json": f"{data}\n"}
        writers = {name: partial(single.write_text, content=content) for name, content in files.items()}
        written = folder.write(Path(asked.out), show.name, judged.revision, writers)
    print(data if asked.json else text)
    if written is not None and not asked.json:
        print(f"\nwritten to {written}/: check.json, check.txt")
    return of_findings(judged.findings)


def refuse_of_one_hang(asked: argparse.Namespace) -> None:
    """Refuse options that hold for a single hang."""
    given = [(asked.venue is not None, "VENUE"), (bool(asked.beside), "--beside")]
    why = "a show names its venue and all hangs itself"
    faults = [
        Fault(name, "", f"has no meaning for a show: {why}", "leave it out") for is_given, name in given if is_given
    ]
    if faults:
        raise FileFaults(faults)


def _blocks(show: Show, judged: JudgedShow) -> list[Block]:
    found = counts(judged.findings)
    lines: list[Block] = [
        f"{show.name}  in  {show.venue.name}",
        f"REVISION {judged.revision}",
        "",
        f"{found[EXCEEDED]} exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within",
        "",
        *(f"! {caution}" for caution in CAUTIONS),
        "",
        "HANGS, each with all others on its points",
        hangs_table(judged.reports),
    ]
    if len(judged.reports) < len(show.parts):
        lines += [PLACED]
    lines += ["", "POWER AND STOCK", findings_table(judged.shared)] if judged.shared else []
    lines += ["", "PATCH", patch_table(judged.feeds), "", "TAKEN", taken_table(show, judged.feeds)]
    for report in judged.reports:
        lines += ["", "=" * 98, *hang_blocks(report)]
    return lines


def hangs_table(reports: Sequence[Report]) -> Table:
    """Each hang's mass, findings and weakest part."""
    rows = []
    for report in reports:
        found = counts(report.findings)
        worst = weakest(report.findings)
        used = "" if worst is None or worst.used is None else f"{min(worst.used, 9.99):.0%}"
        what = "" if worst is None else f"{worst.part}: {worst.what}"
        cells = [str(found[EXCEEDED]), str(found[CANNOT]), str(found[WITHIN])]
        rows.append([report.hang.name, Figure(f"{report.hang.mass_kg:.0f}", "kg"), *cells, used, what])
    return Table(["", "kg", "exceed", "cannot be judged", "within", "weakest", ""], rows, "lrrrrrl")


def patch_table(listed: Sequence[Feed]) -> Table:
    """Which enclosures go where, and in parallel with which."""
    rows = []
    for feed in listed:
        rows_text = ", ".join(map(str, feed.rows))
        ways = "not in its file" if feed.electrical is None else str(feed.electrical.ways)
        outputs = f"{feed.amplifier}: {_span(feed.channels)}" if feed.channels else "–"
        cable = f"{feed.cable}: {_span(feed.pairs)}" if feed.pairs else "–"
        rows.append([feed.part, rows_text, feed.enclosure, feed.programme, ways, number(feed.load_ohm), outputs, cable])
    head = ["", "enclosures", "type", "programme", "ways", "ohm", "amplifier: channels", "cable: pairs"]
    return Table(head, rows, "llllrrll", ("amplifiers are counted through the show, cables within each part",))


def _span(numbers: tuple[int, ...]) -> str:
    return str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]}–{numbers[-1]}"


def taken_table(show: Show, listed: Sequence[Feed]) -> Table:
    """What the show takes of each type, and the stock."""
    rows = [[name, str(count), str(show.stock.get(name, "–"))] for name, count in taken(show, listed).items()]
    return Table(["", "taken", "stock"], rows, "lrr")


def as_data(show: Show, judged: JudgedShow) -> dict[str, Any]:
    """What is judged of a show for programs."""
    patch = [{key: value for key, value in vars(feed).items() if key != "electrical"} for feed in judged.feeds]
    return {
        "show": show.name,
        "venue": show.venue.name,
        "revision": judged.revision,
        "counts": counts(judged.findings),
        "findings": [single.finding_data(finding) for finding in judged.shared],
        "hangs": [single.as_data(report) for report in judged.reports],
        "patch": patch,
        "taken": taken(show, judged.feeds),
        "policy": judged.policy.model_dump(),
        "cautions": list(CAUTIONS),
    }
