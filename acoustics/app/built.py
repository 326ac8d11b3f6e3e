"""`evenhang compare --built`: what the crew read when a hang was up, against what it was designed to be."""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from acoustics.app import check as check_command
from acoustics.app import folder
from acoustics.app.coverage import coverage, judged_by
from acoustics.app.sheet import plain
from acoustics.app.status import of_findings, refusing
from acoustics.app.summary import summarise
from acoustics.changes import Change, change, first_arrival
from acoustics.prediction import Options, predict
from acoustics.search.correction import Fields, nearest_that, off_design, tilts_to_try
from acoustics.venue import Venue
from rigging.asbuilt import HookMoves, as_measured, moves_of
from rigging.check import Report, check, judge
from rigging.column import column_of
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.findings import CANNOT, EXCEEDS, Finding, counts, worst_first
from rigging.hang import Hang
from rigging.loads import reachable
from rigging.policy import Policy
from rigging.readings import FRAME, TOP, Readings, judge_readings, load_readings, refuse_foreign
from rigging.revision import revision

if TYPE_CHECKING:
    import xarray as xr

_WHAT_IFS = ("count", "tilt", "trim", "temperature", "mute", "limit")


@dataclass(frozen=True)
class Column:
    """A hang in a venue: its field, the figures of `coverage.coverage`, and what a rigger checks."""

    hang: Hang
    venue: Venue
    result: xr.Dataset
    figures: dict[str, Any]
    report: Report


@dataclass(frozen=True)
class Correction:
    """The tilt nearest to the design's field among those that keep all limits, or why there is none.

    `as_is_db`, `left_db`: RMS difference of levels to the design now and with it; `moves` of the hooks; `keeps`:
    whether all limits are kept with the front hook where it is, and with the rear one, since the trim follows; `leave`:
    it is too small to act on; `open_findings`: how many cannot be judged then.
    """

    tilt_deg: float | None
    change_deg: float
    as_is_db: float
    left_db: float
    moves: HookMoves | None
    keeps: tuple[bool, bool]
    leave: bool
    open_findings: int
    why: str = ""


@dataclass(frozen=True)
class AsBuilt:
    """All that a sheet of a hang as built is made from."""

    readings: Readings
    findings: list[Finding]
    design: Column
    built: Column
    level: Change  # dB(A)
    arrival: Change  # s
    correction: Correction
    revision: str


@dataclass(frozen=True)
class _Files:
    """What a hang is predicted and judged from."""

    hang: Hang
    venue: Venue
    document: Document
    beside: tuple[Hang, ...]
    catalogue: Catalogue
    policy: Policy
    grid_m: float

    def column(self, hang: Hang, venue: Venue, report: Report | None = None) -> Column:
        """A hang in a venue, predicted, and judged where it was not yet."""
        result = predict(hang, venue, self.document, self.catalogue, Options(grid_m=self.grid_m))
        report = report or self.check(hang, venue)
        return Column(hang, venue, result, coverage(result, summarise(result), hang, venue), report)

    def check(self, hang: Hang, venue: Venue) -> Report:
        """A hang judged with what hangs beside it."""
        return check(hang, self.catalogue, self.policy, venue, self.beside, self.document.data)


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    from acoustics.app import built_sheet

    folder.prepare(Path(asked.out))
    files = _read(asked)
    readings, read_from = load_readings(asked.built)
    sheet = files.check(files.hang, files.venue)
    refuse_foreign(readings, read_from, sheet, files.venue, other_design=asked.other_design)
    found = _as_built(readings, read_from, files, sheet)
    data, text = plain(built_sheet.data(found)), built_sheet.text(found, imperial=asked.imperial)
    target = folder.write(
        Path(asked.out),
        f"as built {files.hang.name}",
        found.revision,
        _files(found, data, text, imperial=asked.imperial),
    )
    if asked.json:
        print(json.dumps({**data, "folder": str(target)}, indent=2, ensure_ascii=False))
    else:
        print(f"{text}\n\nwritten to {target}/: asbuilt.json, asbuilt.txt, distance.svg")
    return of_findings([*found.findings, *found.built.report.findings])


def _read(asked: argparse.Namespace) -> _Files:
    faults = [
        Fault(f"--{name}", "", "has no meaning with --built: the readings say what is", "leave it out")
        for name in _WHAT_IFS
        if getattr(asked, name)
    ]
    if len(asked.files) != 2:
        faults.append(Fault("HANG VENUE", "", "are not one hang and one venue", "name one hang file, then the venue's"))
    if faults:
        raise FileFaults(faults)
    asked.hang, asked.venue = asked.files
    catalogue, (hang, *beside), loaded, policy = check_command.read(asked)
    assert loaded is not None  # a venue was asked for
    if hang.standing:
        todo = "write what was measured into its file, then predict and check it"
        raise FileFaults([hang.document.fault(("standing",), "makes it a stack: readings are of hangs", todo)])
    return _Files(hang, *loaded, tuple(beside), catalogue, policy, asked.grid)


def _as_built(readings: Readings, read_from: Document, files: _Files, sheet: Report) -> AsBuilt:
    built, site = as_measured(files.hang, files.venue, readings, read_from)
    now = files.venue.model_copy(update={"point": site.point, "air": _air_now(files.venue, readings)})
    design, column = files.column(files.hang, files.venue, sheet), files.column(built, now)
    seats, goal = judged_by(design.result, files.hang, files.venue)
    counted = np.flatnonzero(seats.weight > 0)
    place = np.stack([design.result[axis].values for axis in "xyz"], axis=-1)
    fields = Fields(files.hang, built, files.venue, now, files.catalogue, place[counted], seats.only(counted), goal)
    results = (column.result, design.result)
    arrivals = [first_arrival(each["arrival"].values, each["hidden"].values) for each in results]
    levels = [each["level_a"].values for each in results]
    asked = {
        "grid_m": files.grid_m,
        "policy": files.policy.model_dump(),
        "beside": [one.inputs for one in files.beside],
    }
    return AsBuilt(
        readings=readings,
        findings=worst_first(judge_readings(readings, sheet)),
        design=design,
        built=column,
        level=change(levels[0], levels[1], seats.weight),
        arrival=change(arrivals[0], arrivals[1], seats.weight),
        correction=_correction(fields, readings, column.report, files),
        revision=revision({**built.inputs, "venue": files.document.data, "asked": asked}),
    )


def _air_now(venue: Venue, readings: Readings) -> Any:
    names = ("temperature_c", "relative_humidity_pct")
    read = {name: getattr(readings, name) for name in names if getattr(readings, name) is not None}
    return venue.air.model_copy(update=read)


def _correction(of: Fields, readings: Readings, report: Report, files: _Files) -> Correction:
    """The tilt to recommend; one that exceeds a limit never is."""
    built, policy = of.built, files.policy
    as_is = float(off_design(of, np.array([built.tilt_deg]))[0])
    reach = _reach_deg(built, policy)
    if isinstance(reach, str):
        return _none(as_is, reach)
    if FRAME not in readings.aims_deg and TOP not in readings.aims_deg:
        return _none(as_is, "the tilt was not read: read it on the frame, or on the top enclosure")
    tilts = tilts_to_try(of.design.tilt_deg, built.tilt_deg, reach)
    if not len(tilts):
        return _none(as_is, f"its picks reach {reach[0]:+.1f}° to {reach[1]:+.1f}°, nowhere near what was read")
    rms = off_design(of, tilts)
    if not np.isfinite(rms).any():
        return _none(as_is, "no served seat hears both the design and the column as built in every band")
    passed: dict[float, tuple[tuple[bool, bool], int]] = {}

    def keeps(tilt: float) -> bool:
        moves = moves_of(built, tilt)
        front, rear = (
            counts(judge(_turned(built, tilt, up), of.catalogue, policy, of.now, files.beside).findings)
            for up in (moves.trim_front_stays, moves.trim_rear_stays)
        )
        ways = not front[EXCEEDS], not rear[EXCEEDS]
        passed[tilt] = ways, max(front[CANNOT], rear[CANNOT])
        return any(ways)

    chosen = nearest_that(keeps, tilts, rms)
    if chosen is None:
        return _none(as_is, f"every tilt from {tilts[0]:+.1f}° to {tilts[-1]:+.1f}° exceeds a limit: see the findings")
    tilt = float(tilts[chosen])
    apart = tilt - built.tilt_deg
    leave = abs(apart) <= policy.tilt_tolerance_deg + 1e-9 and not counts(report.findings)[EXCEEDS]
    ways, unjudged = passed[tilt]
    return Correction(tilt, apart, as_is, float(rms[chosen]), moves_of(built, tilt), ways, leave, unjudged)


def _turned(hang: Hang, tilt_deg: float, up_m: float) -> Hang:
    """A hang at another tilt, its front pivot line higher by `up_m`."""
    x, y, z = hang.position_m
    return dataclasses.replace(hang, tilt_deg=tilt_deg, position_m=(x, y, z + up_m))


def _none(as_is_db: float, why: str) -> Correction:
    return Correction(None, 0.0, as_is_db, as_is_db, None, (False, False), leave=False, open_findings=0, why=why)


def _reach_deg(hang: Hang, policy: Policy) -> tuple[float, float] | str:
    """Tilts that the hoists of a hang can set, as `check` judges them, or why there are none. [deg]"""
    if not hang.picks:
        return "the hang file names no picks: what its hoists can do is not known"
    if hang.pullback is not None:
        return "its pull-back sets the tilt: how far to pull for another is not worked out"
    try:
        reach = reachable(hang, column_of(hang), policy.least_pick_share)
    except ValueError as error:
        return f"its picks hold no tilt: {error}"
    if reach is None:
        return "its picks do not set the tilt: the balance does"
    return float(np.degrees(reach[0])), float(np.degrees(reach[1]))


def _files(found: AsBuilt, data: dict[str, Any], text: str, *, imperial: bool) -> dict[str, Callable[[Path], None]]:
    from acoustics import compare_plots
    from acoustics.app.pictures import svg_writer

    options = [("design", found.design.result, ""), ("as built", found.built.result, "")]
    words = f"design {found.design.report.design} · revision {found.revision}"
    title = f"{found.design.hang.name}, design and as built · {words}"
    said = json.dumps(data, indent=2, ensure_ascii=False)
    return {
        "asbuilt.txt": partial(check_command.write_text, content=f"{text}\n"),
        "asbuilt.json": partial(check_command.write_text, content=f"{said}\n"),
        "distance.svg": svg_writer(lambda: compare_plots.distances(options, title), imperial=imperial),
    }
