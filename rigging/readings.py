"""The readings file: what the crew measured when a hang was up, and whether it is as drawn.

It names the hang and the DESIGN word of the sheet that it was built from. The design word, not the revision, ties
readings to a hang: it changes with what hangs and where, while the revision also changes with a grid or a policy that
a later print was asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator, Field

from rigging.cables import cable_gap
from rigging.check import Report
from rigging.faults import FileFaults, Loc, nearest
from rigging.files import Document, read, validate
from rigging.findings import Finding, judged, unjudged
from rigging.lifting import NOT_BELOW, PickLine
from rigging.models import Model, Name, duplicate_faults, key, problem, quantity, whole_numbers
from rigging.policy import cell_allowance_kg
from rigging.site import Height, Place, Site
from rigging.stages import Stage
from rigging.statics import G

Problem = tuple[Loc, str, str, object]

FRAME, TOP = 0, 1  # where the frame and the top row stand among the aims
CELL, SUM = "cell off the expected load", "sum of the cells off the whole"
SPLAY, AIM, TILT, TRIM = "splay off the sheet's", "aim off the sheet's", "tilt off the sheet's", "trim off the sheet's"


def _check_row(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise problem("is not a row number", "count the rows from the top, starting at 1")
    return value


Tilt = Annotated[float, quantity(-90.0, 90.0, "deg")]


class RowAim(Model):
    """Aim elevation of one row, as read on it."""

    row: Annotated[int, BeforeValidator(_check_row, json_schema_input_type=whole_numbers(1))] = key(
        "row, from the top", "12"
    )
    aim_deg: Annotated[float, quantity(-180.0, 90.0, "deg")] = key("its aim elevation, + looks up", "-9.5")


class MeasuredPoint(Model):
    """Where a venue point is in truth."""

    name: Name = key("venue point", '"left 1"')
    position_m: Place = key("where it is, as measured", "[-0.3, 6.5, 15.0]")


class Cell(Model):
    """What a load cell below a hook read, at a stage of building."""

    pick: Name = key("pick, as the crew's sheet names it", '"pick 1, frame hole 2"')
    stage: Name = key("stage, as the crew's sheet names it", '"rows 1–12, complete"')
    load_kg: Annotated[float, quantity(0.0, 100_000.0, "kg")] = key("what it read", "220.0")


class Readings(Model):
    """A readings file; what is absent was not read."""

    format: Literal["readings/1"] = key("kind of file", '"readings/1"')
    hang: Name = key("name of the hang, as its file gives it", '"main, stage left"')
    design: Name = key("DESIGN word of the sheet that it was built from", '"bagotilufo"')
    description: Name | None = Field(None, description="who read it, with what")
    tilt_deg: Tilt | None = Field(None, description="read on the frame, + looks up")
    top_tilt_deg: Tilt | None = Field(None, description="read on the top enclosure, + looks up")
    trim_m: Height | None = Field(None, description="height of the front pivot line")
    temperature_c: Annotated[float, quantity(-30.0, 55.0, "°C")] | None = Field(None, description="of the air now")
    relative_humidity_pct: Annotated[float, quantity(1.0, 100.0, "%")] | None = Field(None, description="the same")
    row: tuple[RowAim, ...] = Field((), description="aim elevations of rows: [[row]]")
    point: tuple[MeasuredPoint, ...] = Field((), description="points as measured: [[point]]")
    cell: tuple[Cell, ...] = Field((), description="load cells: [[cell]]")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """What was read twice."""
        yield from duplicate_faults(data, "point")
        yield from _twice(data, "row", ("row",))
        yield from _twice(data, "cell", ("pick", "stage"))
        for index, entry in enumerate(_entries(data, "row")):
            if entry.get("row") == TOP and "top_tilt_deg" in data:
                yield ("row", index, "row"), "stands in top_tilt_deg too", "keep one of the two", TOP

    @property
    def aims_deg(self) -> dict[int, float]:
        """Elevations that were read: of the frame (0) and of rows, from 1."""
        found = {one.row: one.aim_deg for one in self.row}
        ends = {FRAME: self.tilt_deg, TOP: self.top_tilt_deg}
        return {**found, **{row: aim for row, aim in ends.items() if aim is not None}}

    @property
    def splays_deg(self) -> dict[int, float]:
        """Splays, by the row below the joint, where both neighbours were read: the upper aim less the lower."""
        aims = self.aims_deg
        return {row: aims[row - 1] - aims[row] for row in sorted(aims) if row - 1 in aims}


def load_readings(path: str | Path) -> tuple[Readings, Document]:
    """Read a readings file.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    document = read(path, "readings/1")
    return validate(document, Readings), document


def refuse_foreign(
    readings: Readings, document: Document, report: Report, site: Site, *, other_design: bool = False
) -> None:
    """Refuse readings of another hang or design, and rows, picks, stages and points that this one does not have.

    `other_design`: readings for another design word are taken all the same.

    Raises
    ------
    FileFaults
        With all of them.
    """
    faults = document.faults(_foreign(readings, report, site, other_design))
    if faults:
        raise FileFaults(faults)


def _foreign(readings: Readings, report: Report, site: Site, other_design: bool) -> Iterator[Problem]:
    rows = len(report.hang.items)
    if readings.hang != report.hang.name:
        wrong = f"is another hang than {report.hang.name}"
        yield ("hang",), wrong, "name the file of the hang that was read", readings.hang
    if readings.design != report.design and not other_design:
        wrong = f"is not the design word of this hang in this venue, {report.design}"
        todo = "take the sheet's files, or say --other-design if what was read is this column all the same"
        yield ("design",), wrong, todo, readings.design
    for index, one in enumerate(readings.row):
        if one.row > rows:
            yield ("row", index, "row"), "is no row of this hang", f"its rows are 1 to {rows}", one.row
    known = {"pick": [line.name for line in report.lines], "stage": [stage.name for stage in report.stages]}
    for index, cell in enumerate(readings.cell):
        for name, names in known.items():
            said = getattr(cell, name)
            if _spelled(said) not in map(_spelled, names):
                todo = nearest(said, [f'"{one}"' for one in names], what=f"{name}s")
                yield ("cell", index, name), f"is no {name} of this hang", todo, said
    points = [point.name for point in site.point]
    for index, point in enumerate(readings.point):
        if point.name not in points:
            wrong = f"is no point of {site.name}"
            yield ("point", index, "name"), wrong, nearest(point.name, points, what="points"), point.name


def judge_readings(readings: Readings, report: Report) -> list[Finding]:
    """Angles, trim and cells against the sheet, which `report` judged; what was not read is not judged."""
    return [*_angle_findings(readings, report), *_trim_findings(readings, report), *_cell_findings(readings, report)]


def _angle_findings(readings: Readings, report: Report) -> Iterator[Finding]:
    hang, policy = report.hang, report.policy
    sheet = report.tilt_deg - np.concatenate([[0.0], np.cumsum(hang.splays_deg)])
    last = report.stages[-1].balance
    gap = last.unknown or (cable_gap(hang) if last.free else "")
    names = {FRAME: ("frame", TILT), TOP: ("top enclosure", TILT)}
    for row, aim in sorted(readings.aims_deg.items()):
        part, what = names.get(row, (f"row {row}", AIM))
        allowed = policy.tilt_tolerance_deg if what == TILT else policy.aim_tolerance_deg
        off, note = abs(aim - float(sheet[row])), f"read {aim:+.1f}°, the sheet has {sheet[row]:+.1f}°"
        if gap:
            yield unjudged(part, what, None, "°", gap, f"read {aim:+.1f}°")
        else:
            yield judged(part, what, off, allowed, "°", policy.name, note)
    for row, splay in readings.splays_deg.items():
        drawn = hang.splays_deg[row - 1]
        note = f"read {splay:.1f}°, the sheet has {drawn:.1f}°"
        yield judged(joint_name(row), SPLAY, abs(splay - drawn), policy.aim_tolerance_deg, "°", policy.name, note)


def _trim_findings(readings: Readings, report: Report) -> Iterator[Finding]:
    if readings.trim_m is not None:
        policy, drawn = report.policy, report.hang.position_m[2]
        note = f"read {readings.trim_m:.2f} m, the sheet has {drawn:.2f} m"
        yield judged("trim", TRIM, abs(readings.trim_m - drawn), policy.trim_tolerance_m, "m", policy.name, note)


def _cell_findings(readings: Readings, report: Report) -> Iterator[Finding]:
    policy = report.policy
    for stage in report.stages:
        read_kg = cells_at(readings, report.lines, stage)
        for index, load in read_kg.items():
            line = report.lines[index]
            low, high, why = expected_kg(report, index, stage)
            allowed = (cell_allowance_kg(low, policy), cell_allowance_kg(high, policy))
            yield _cell_finding(f"{line.name}, {stage.name}", CELL, load, (low, high), allowed, policy.name, why)
        if len(report.lines) > 1 and len(read_kg) == len(report.lines):
            low, high, why = _expected_sum_kg(report, stage)
            allowed = (policy.sum_share * low, policy.sum_share * high)
            total = sum(read_kg.values())
            yield _cell_finding(f"all picks, {stage.name}", SUM, total, (low, high), allowed, policy.name, why)


def _cell_finding(
    part: str,
    what: str,
    read_kg: float,
    expected: tuple[float, float],
    allowed: tuple[float, float],
    source: str,
    why: str,
) -> Finding:
    """A cell against a load that is known, or that lies in a range: then only a reading beyond it is judged."""
    (low, high), note = expected, f"read {read_kg:.1f} kg"
    if np.isnan(low):
        return unjudged(part, what, None, "kg", why, note)
    below, above = low - read_kg, read_kg - high
    off, most = (below, allowed[0]) if below > above else (above, allowed[1])
    if low == high:
        return judged(part, what, abs(off), most, "kg", source, f"{note}, expected {low:.1f} kg")
    span = f"{note}, expected " + (f"{low:.1f} to {high:.1f} kg" if np.isfinite(high) else f"{low:.1f} kg or more")
    if off > most:
        return judged(part, what, off, most, "kg", source, span)
    return unjudged(part, what, None, "kg", why, span)


def cells_at(readings: Readings, lines: Sequence[PickLine], stage: Stage) -> dict[int, float]:
    """What the cells of picks, by their index, read at a stage. [kg]"""
    of = {_spelled(cell.pick): cell.load_kg for cell in readings.cell if _spelled(cell.stage) == _spelled(stage.name)}
    return {index: of[_spelled(line.name)] for index, line in enumerate(lines) if _spelled(line.name) in of}


def expected_kg(report: Report, index: int, stage: Stage) -> tuple[float, float, str]:
    """What a cell below the hook of a pick reads at rest at a stage: least, greatest, and why they differ. [kg]

    NaN where not even a range is known.
    """
    line, held = report.lines[index], stage.balance
    low, high = (float(loads[index]) / G + line.below_hook_kg for loads in (held.low, held.high))
    gap = held.problem or cable_gap(report.hang)
    if gap or np.isnan(high):
        return np.nan, np.nan, gap or "its load is not known"
    if line.pick.hardware is None:
        return low, np.inf, NOT_BELOW
    if held.indeterminate:
        return low, high, "statics leaves it open, four picks or three in line"
    return high, high, ""


def _expected_sum_kg(report: Report, stage: Stage) -> tuple[float, float, str]:
    """What all cells read together; vertical chains carry the whole, however they share it. [kg]"""
    held = stage.balance
    if held.problem:
        return np.nan, np.nan, held.problem
    whole = float(held.high.sum()) / G if np.any(held.pull) else stage.column.mass_kg
    whole += sum(line.below_hook_kg for line in report.lines)
    gaps = [cable_gap(report.hang)] + [NOT_BELOW for line in report.lines if line.pick.hardware is None]
    gap = next((one for one in gaps if one), "")
    return whole, np.inf if gap else whole, gap


def not_read(readings: Readings, report: Report, site: Site) -> list[str]:
    """What a sheet expects and was not read: it is not judged."""
    rows = [row for row in range(TOP + 1, len(report.hang.items) + 1) if row not in readings.aims_deg]
    named = [leg.point for line in report.lines for leg in line.pick.leg] + [line.pick.point for line in report.lines]
    measured = {point.name for point in readings.point}
    points = [point.name for point in site.point if point.name in named and point.name not in measured]
    cells = [one for stage in report.stages for one in _cells_missing(readings, report, stage)]
    single = {
        "tilt on the frame": readings.aims_deg.get(FRAME),
        "tilt on the top enclosure": readings.aims_deg.get(TOP),
        "trim": readings.trim_m,
        "temperature": readings.temperature_c,
        "humidity": readings.relative_humidity_pct,
    }
    lists = {
        "aim of rows": ", ".join(map(str, rows)),
        "place of points": ", ".join(points),
        "cells at": "; ".join(cells),
    }
    return [name for name, value in single.items() if value is None] + [f"{n} {v}" for n, v in lists.items() if v]


def _cells_missing(readings: Readings, report: Report, stage: Stage) -> list[str]:
    """The stage, where none of its cells was read, or each pick that lacks one."""
    read_kg = cells_at(readings, report.lines, stage)
    if not read_kg:
        return [stage.name] if report.lines else []
    return [f"{line.name} ({stage.name})" for index, line in enumerate(report.lines) if index not in read_kg]


def joint_name(row: int) -> str:
    """The joint above a row, counted from 1, as the crew's sheet names it."""
    return "frame–row 1" if row == TOP else f"rows {row - 1}–{row}"


def _spelled(name: str) -> str:
    """A name with the hyphen that keyboards have in place of a dash."""
    return " ".join(name.replace("–", "-").split())


def _entries(data: Mapping[str, Any], table: str) -> list[dict[str, Any]]:
    entries = data.get(table)
    return [entry if isinstance(entry, dict) else {} for entry in (entries if isinstance(entries, list) else [])]


def _twice(data: Mapping[str, Any], table: str, keys: Sequence[str]) -> Iterator[Problem]:
    seen: dict[tuple[str | int, ...], int] = {}
    for index, entry in enumerate(_entries(data, table)):
        if not all(name in entry for name in keys):
            continue
        said = tuple(_spelled(v) if isinstance(v := entry[name], str) else v for name in keys)
        if not all(isinstance(one, str | int) for one in said):
            continue  # said by the model
        if said in seen:
            wrong = f"was read in {table}[{seen[said] + 1}] too"
            yield (table, index, keys[0]), wrong, "keep one reading of each", entry[keys[0]]
        seen.setdefault(said, index)
