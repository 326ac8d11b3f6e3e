"""`evenhang compare`: hangs, counts, tilts, trims and temperatures side by side, each predicted and judged."""

from __future__ import annotations

import argparse
import dataclasses
import itertools
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import compare_sheet, folder, whatif
from acoustics.app.compare_sheet import FIELDS, Row, best_of
from acoustics.app.coverage import coverage, rigging
from acoustics.app.sheet import plain
from acoustics.app.status import CANNOT_JUDGE, DONE, EXCEEDS, refusing
from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from acoustics.venue import Venue
from rigging import findings
from rigging.check import check
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.hang import Hang, hang_from, load_hang, muted
from rigging.policy import Policy
from rigging.revision import revision
from rigging.rewrite import with_count

MOST_OPTIONS = 60
_ASKED = ("count", "tilt", "trim", "temperature", "mute", "limit", "grid")


@dataclass(frozen=True)
class _Read:
    """The files: hangs that are options, then those that hang beside each of them."""

    catalogue: Catalogue
    hangs: tuple[Hang, ...]
    beside: tuple[Hang, ...]
    venue: Venue
    document: Document
    policy: Policy


def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    if asked.built is not None:
        from acoustics.app import built

        return built.run(asked)
    return _run(asked)


@refusing
def _run(asked: argparse.Namespace) -> int:
    folder.prepare(Path(asked.out))
    if asked.other_design:
        raise FileFaults([Fault("--other-design", "", "has a meaning with --built alone", "leave it out")])
    read = _read(asked)
    options = list(_options(read.hangs, read.venue, asked))
    if len(options) > MOST_OPTIONS:
        wrong = f"are {len(options)} options, {MOST_OPTIONS} at most can be compared"
        raise FileFaults([Fault("options", "", wrong, "take wider steps")])
    with folder.progress("options") as tell:
        rows = []
        for name, hang, air in options:
            rows.append(_row(name, hang, air, read, asked.grid))
            tell(1, len(options))
    inputs: dict[str, Any] = {"hangs": [dict(hang.inputs) for _, hang, _ in options], "venue": read.document.data}
    inputs["beside"] = [dict(hang.inputs) for hang in read.beside]
    said = {name: getattr(asked, name) for name in _ASKED if getattr(asked, name) is not None}
    word = revision({**inputs, "asked": said, "policy": read.policy.model_dump()})
    data = plain(compare_sheet.data(rows, read.venue.name, word))
    files = compare_sheet.files(rows, data, imperial=asked.imperial)
    target = folder.write(Path(asked.out), f"compare {read.hangs[0].name}", word, files)
    if asked.json:
        print(json.dumps({**data, "folder": str(target)}, indent=2, ensure_ascii=False))
    else:
        print(compare_sheet.text(rows, read.venue.name, word, imperial=asked.imperial))
        print(f"\nwritten to {target}/: {', '.join(sorted(files))}")
    best = best_of(rows)
    if best is None:
        return EXCEEDS
    return CANNOT_JUDGE if best.figures["cannot_be_judged"] else DONE


def _read(asked: argparse.Namespace) -> _Read:
    if len(asked.files) < 2:
        raise FileFaults([Fault("VENUE", "", "is missing", "name hang files, then a venue file")])
    *paths, asked.venue = asked.files
    asked.hang = paths[0]
    catalogue, (first, *beside), loaded, policy = check_command.read(asked)
    assert loaded is not None
    hangs = [first, *(load_hang(path, catalogue) for path in paths[1:])]
    if asked.count:
        hangs = [counted for hang in hangs for counted in _counted(hang, asked.count, catalogue)]
    rows = whatif.rows_of(asked.mute)
    return _Read(catalogue, tuple(muted(hang, rows) for hang in hangs), tuple(beside), *loaded, policy)


def _counted(hang: Hang, counts: Sequence[int], catalogue: Catalogue) -> list[Hang]:
    """The column of a hang's file with each number of enclosures."""
    document = hang.document
    if "mirror_of" in document.data:
        wrong, todo = "makes it a mirror image: --count changes a design", "name the file that it mirrors"
        raise FileFaults([document.fault(("mirror_of",), wrong, todo)])
    if not hang.enclosure_rows:
        raise FileFaults([document.fault(("column",), "holds no enclosure", "leave out --count")])
    return [hang_from(with_count(document.text, count), document.file, catalogue) for count in counts]


def _options(hangs: Sequence[Hang], venue: Venue, asked: argparse.Namespace) -> Iterator[tuple[str, Hang, Venue]]:
    """Every hang at every tilt, trim and temperature that was asked for, with a name of what differs."""
    several = len({hang.document.file for hang in hangs}) > 1
    for hang in hangs:
        tilts, trims = asked.tilt or (hang.tilt_deg,), asked.trim or (hang.position_m[2],)
        for tilt, trim, warm in itertools.product(tilts, trims, asked.temperature or (venue.air.temperature_c,)):
            x, y, _ = hang.position_m
            inputs = {**hang.inputs, "asked": {"tilt_deg": tilt, "trim_m": trim}}
            there = dataclasses.replace(hang, tilt_deg=tilt, position_m=(x, y, trim), inputs=inputs)
            air = venue.model_copy(update={"air": venue.air.model_copy(update={"temperature_c": warm})})
            words = [hang.name] if several else []
            words += [f"{len(hang.enclosure_rows)} enclosures"] if asked.count else []
            words += [f"tilt {tilt:+g}°"] if asked.tilt else []
            words += [f"trim {trim:g} m"] if asked.trim else []
            words += [f"{warm:g} °C"] if asked.temperature else []
            yield ", ".join(words) or hang.name, there, air


def _row(name: str, hang: Hang, venue: Venue, read: _Read, grid_m: float) -> Row:
    result = predict(hang, venue, read.document, read.catalogue, Options(grid_m=grid_m))
    report = check(hang, read.catalogue, read.policy, venue, read.beside, read.document.data)
    found = {**coverage(result, summarise(result), hang, venue), **rigging(report)}
    figures = {
        "option": name, "hang": hang.name, "enclosures": len(hang.enclosure_rows), "tilt_deg": hang.tilt_deg,
        "trim_m": hang.position_m[2], "temperature_c": venue.air.temperature_c,
        **{field: found[field] for field in FIELDS if field in found},
    }  # fmt: skip
    return Row(figures, tuple(one for one in report.findings if one.status == findings.EXCEEDS), result)
