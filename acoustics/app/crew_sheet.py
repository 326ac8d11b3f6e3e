"""What a crew sheet says of a hang: plain values for its pages, for a rigger at arm's length."""

from __future__ import annotations

import math
from itertools import groupby
from typing import Any

import numpy as np

from acoustics.app import check_sheet
from acoustics.app.sheet import Figure
from rigging.cables import cable_gap
from rigging.check import Report
from rigging.column import LOCK
from rigging.equipment import Adapter
from rigging.findings import CANNOT, EXCEEDS, counts
from rigging.geometry import lay_out, side_of
from rigging.hang import Hang
from rigging.lifting import PickLine
from rigging.policy import cell_allowance_kg
from rigging.stages import groups
from rigging.statics import G
from rigging.wind import wind_limit_m_s

NOT_KNOWN, PUSHES = "not known", "PUSHES"
_ROOMY = 12  # rows that stand on one page in the larger type


def crew(report: Report) -> dict[str, Any]:
    """Values of the crew sheet of a hang."""
    hang = report.hang
    return {
        "hang": hang.name,
        "side": side_of(hang),
        "design": report.design,
        "small": len(hang.items) > _ROOMY,
        "standing": hang.standing,
        "keys": _stack_keys(report) if hang.standing else _keys(report),
        "flags": _flags(report),
        "column": _column(report),
        "stacking": _stacking(hang) if hang.standing else [],
        "building": _building(report),
        "cells": _cells(report),
        "landing": _unstacking(hang) if hang.standing else check_sheet.landing(report),
    }


def _key(name: str, value: str, note: str = "") -> dict[str, str]:
    return {"name": name, "value": value, "note": note}


def _keys(report: Report) -> list[dict[str, str]]:
    """What a rigger reads first of a column that hangs, in large type."""
    hang, within = report.hang, f"within {report.policy.tilt_tolerance_deg:g}°; + looks up"
    balance = report.stages[-1].balance
    tilt = math.degrees(balance.tilt)
    if balance.free and (balance.unknown or cable_gap(hang)):
        within = f"NOT KNOWN how far off: {balance.unknown or cable_gap(hang)}; + looks up"
    arm = f"with {hang.arm[0].name} at the {hang.arm[1].end}" if hang.arm else "no pick arm"
    found = [
        *_heights(report, "trim, front pivot line"),
        _key("tilt to read on the frame", f"{tilt:+.1f}°", within),
        _key("tilt to read on the top enclosure", f"{tilt - hang.splays_deg[0]:+.1f}°", within),
        _key("frame", hang.frame.name, arm),
        *(_pick(line) for line in report.lines),
    ]
    if not report.lines:
        found.append(_key("picks", NOT_KNOWN, "the hang file names none"))
    if hang.pullback is not None:
        to = hang.pullback.point or "a place that is no point"
        found.append(_key("pull-back, bottom row", hang.pullback.hoist or "hoist not named", f"to {to}"))
    return [*found, _key("wind limit", *_wind(report))]


def _pick(line: PickLine) -> dict[str, str]:
    hoist = "hoist not named" if line.hoist is None else line.hoist.name
    legs = " and ".join(leg.point for leg in line.pick.leg)
    to = f"bridle to {legs}, apex {line.pick.apex_m:.2f} m" if legs else f"to {line.pick.point or 'a point not named'}"
    return _key(line.name, hoist, to)


def _stack_keys(report: Report) -> list[dict[str, str]]:
    """The same of a stack on the ground."""
    hang, within = report.hang, f"within {report.policy.tilt_tolerance_deg:g}°; + looks up"
    lowest = hang.tilt_deg - sum(hang.splays_deg)
    return [
        *_heights(report, "front pivot line of the top row"),
        _key("base, on the ground", hang.frame.name, "level both ways before the first row goes on"),
        _key(f"tilt to read on row {len(hang.items)}, lowest", f"{lowest:+.1f}°", within),
        _key("tilt to read on the top enclosure", f"{hang.tilt_deg - hang.splays_deg[0]:+.1f}°", within),
        _key("wind limit", *_wind(report)),
    ]


def _heights(report: Report, trim: str) -> list[dict[str, str]]:
    hang = report.hang
    datum = report.site.datum if report.site else "the origin of the hang file"
    return [
        _key(trim, f"{hang.position_m[2]:.2f} m", f"above the {datum.removeprefix('the ')}"),
        _key("lowest edge", f"{lay_out(hang).lowest_m:.2f} m", "above the same"),
        _key("azimuth", f"{hang.azimuth_deg:+.1f}°", "+ turns to stage left (house right)"),
    ]


def _wind(report: Report) -> tuple[str, str]:
    if report.site is None:
        return NOT_KNOWN, "no venue file was given"
    if not report.site.open_air:
        return "indoors", "the venue is not in the open air"
    over = [one for one in report.findings if one.status == EXCEEDS and ("gust" in one.note or one.part == "wind")]
    if over:
        return "EXCEEDED", f"at {report.site.gust_m_s:g} m/s: {over[0].part}, {over[0].what}"
    limit = None if report.hang.standing else wind_limit_m_s(report.hang, report.stages[-1], report.policy)
    if limit is None:
        return NOT_KNOWN, "ask the structure's engineer"
    known = "nothing else judged"
    if report.site.gust_m_s:
        unjudged = counts(report.findings)[CANNOT]
        known = f"all else judged to {report.site.gust_m_s:g} m/s"
        known = f"not all else can be judged at {report.site.gust_m_s:g} m/s" if unjudged else known
    return f"{math.floor(limit)} m/s gust", f"swing {report.policy.swing_deg:g}° or a pick slack, 3 s; {known}"


def _flags(report: Report) -> list[str]:
    """What must not be overlooked."""
    found, hang = counts(report.findings), report.hang
    lines = []
    if found[EXCEEDS]:
        which = "1 FINDING EXCEEDS" if found[EXCEEDS] == 1 else f"{found[EXCEEDS]} FINDINGS EXCEED"
        lines.append(f"{which} A LIMIT: see the report before anything is lifted")
    if found[CANNOT]:
        lines.append(f"{found[CANNOT]} finding{'s' * (found[CANNOT] > 1)} cannot be judged: see the report")
    locks = [finding.part.removeprefix("joint ") for finding in report.findings if finding.what == LOCK]
    if locks and hang.standing:
        lines.append("EVERY JOINT STANDS IN COMPRESSION: locks that hold both ways")
    elif locks:
        lines.append(f"IN COMPRESSION, locks that hold both ways: {', '.join(locks)}")
    if cable_gap(hang):
        lines.append(f"loads without cables: {cable_gap(hang)}")
    if not hang.standing and "carts" not in hang.design.data:
        lines.append("carts assumed: the hang file has no [carts]")
    return lines


def _column(report: Report) -> list[dict[str, Any]]:
    """Rows from the top down, each with its cart and the joint above it."""
    hang = report.hang
    locks = {finding.part for finding in report.findings if finding.what == LOCK}
    carts = [cart for cart, rows in enumerate(groups(hang), start=1) for _ in range(rows)]
    rows, aim = [], hang.tilt_deg
    if report.stages and not hang.standing:
        aim = math.degrees(report.stages[-1].balance.tilt)
    for index, (item, splay) in enumerate(zip(hang.items, hang.splays_deg, strict=True)):
        aim -= splay
        joint, part = f"rows {index}–{index + 1}", f"joint rows {index}–{index + 1}"
        if index == 0:
            joint, part = "frame–row 1", "joint frame–1"
        rows.append({
            "number": index + 1, "type": item.name + (" (adapter)" if isinstance(item, Adapter) else ""),
            "aim": f"{aim:+.1f}°", "joint": "" if hang.standing and index == 0 else joint,
            "splay": f"{splay:.1f}°", "lock": part in locks, "cart": "" if hang.standing else str(carts[index]),
            "last": not hang.standing and carts[index + 1 : index + 2] != [carts[index]],
        })  # fmt: skip
    return rows


def _building(report: Report) -> dict[str, Any]:
    """Every stage: what comes up on which cart, and what each hook then carries."""
    hang = report.hang
    head = ["stage", "comes up", "kg", *(f"pick {i + 1}, kg" for i in range(len(report.lines)))]
    head += ["frame", "lowest row", "hook", "next group"]
    body = []
    firsts = [0, *(stage.rows for stage in report.stages[:-1])]
    for index, stage in enumerate(report.stages):
        last = index == len(report.stages) - 1
        at_trim = "to trim" if hang.pullback is None else "the pull-back on, to trim"
        comes = at_trim if last else f"cart {index + 1}: {_rows(hang, firsts[index], stage.rows)}"
        loads = [_hook(float(n) / G, line) for n, line in zip(stage.balance.high, report.lines, strict=False)]
        hook = f"{stage.hook_m:.2f} m" if not last and np.isfinite(stage.hook_m) else "–"
        tilt, low = math.degrees(stage.balance.tilt), math.degrees(stage.lowest_elevation)
        cells = [f"{tilt:+.1f}°", f"{low:+.1f}°", hook, stage.engages or "–"]
        body.append([str(index + 1), comes, Figure(f"{stage.column.mass_kg:.0f}", "kg"), *loads, *cells])
    note = "Loads at the hook, at rest. Hook: the lowest one's height above the floor when the cart begins to carry."
    if report.stages:
        return {"head": head, "body": body, "notes": [note, f"{check_sheet.carts_line(report)}."]}
    return {"head": head, "body": [], "notes": []}


def _rows(hang: Hang, start: int, end: int) -> str:
    """Rows from the top with their types: "rows 5–8, 4 medium"."""
    kinds = [(name, len(list(some))) for name, some in groupby(item.name for item in hang.items[start:end])]
    numbers = f"row {end}" if end == start + 1 else f"rows {start + 1}–{end}"
    return f"{numbers}, {', '.join(f'{count} {name}' for name, count in kinds)}"


def _hook(hole_kg: float, line: PickLine) -> str:
    if not np.isfinite(hole_kg):
        return NOT_KNOWN
    return Figure(f"{hole_kg + line.below_hook_kg:.0f}", "kg") if hole_kg >= 0 else PUSHES


def _cells(report: Report) -> dict[str, Any]:
    """What load cells below the hooks are to read when complete, and how far off that they may be."""
    policy, body, spans = report.policy, [], []
    for name, low, high in _expected(report):
        if low is None or high is None:
            body.append([name, NOT_KNOWN if high is None or high >= 0 else PUSHES, "–", ""])
            continue
        spans.append((low, high))
        span = Figure(f"{high:.0f}" if high - low < 0.5 else f"{low:.0f} to {high:.0f}", "kg")
        lowest, most = low - cell_allowance_kg(low, policy), high + cell_allowance_kg(high, policy)
        body.append([name, span, Figure(f"{max(lowest, 0.0):.0f} to {most:.0f}", "kg"), ""])
    if len(report.lines) > 1 and len(spans) == len(body) == len(report.lines):
        fixed = all(high - low < 0.5 for low, high in spans)
        own = report.stages[-1].column.mass_kg + sum(line.below_hook_kg for line in report.lines)
        total = sum(high for _, high in spans) if fixed else own
        body.append(["sum", Figure(f"{total:.0f}", "kg"), _around(total, policy.sum_share), ""])
    gaps = dict.fromkeys(f"{line.name}: {line.hook_gap}" for line in report.lines if line.hook_gap)
    gaps |= {f"cables are not in these loads: {gap}": None for gap in [cable_gap(report.hang)] if gap}
    notes = [
        f"Below the hook, complete, at rest. Each within {policy.cell_share:.0%} or {policy.cell_kg:g} kg, the sum "
        f"within {policy.sum_share:.0%} (policy {policy.name}): beyond that nobody goes on before it is understood.",
        *gaps,
    ]
    return {"head": ["", "expected", "from … to", "read"], "body": body, "notes": notes if body else []}


def _around(load_kg: float, share: float) -> str:
    return Figure(f"{load_kg * (1 - share):.0f} to {load_kg * (1 + share):.0f}", "kg")


def _expected(report: Report) -> list[tuple[str, float | None, float | None]]:
    """Least and greatest load of every cell [kg]; None where not known, the greatest negative where it pushes."""
    found: list[tuple[str, float | None, float | None]] = []
    fails = any(stage.balance.problem for stage in report.stages[-1:])  # then no cell reads its share
    for line in report.lines:
        if not np.isfinite(line.hole_kg) or (fails and line.hole_kg >= 0):
            found.append((line.name, None, None))
        elif line.hole_kg < 0:
            found.append((line.name, None, line.hole_kg))
        else:
            low = max(min(line.low_kg, line.hole_kg), 0.0)
            found.append((line.name, low + line.below_hook_kg, line.hole_kg + line.below_hook_kg))
    if report.hang.pullback is not None:
        pull = float(np.hypot(*report.stages[-1].balance.pull)) / G
        known = pull if np.isfinite(pull) and not report.stages[-1].balance.problem else None
        found.append(("pull-back, at its hole", known, known))
    return found


def _stacking(hang: Hang) -> list[str]:
    """The order in which a stack goes up: from the base, which lies below the last row."""
    count, x, y = len(hang.items), hang.position_m[0], hang.position_m[1]
    steps = [
        f"Base {hang.frame.name} on ground that carries it, level; the top row's front pivot line comes to "
        f"x {x:.2f} m, y {y:.2f} m.",
        f"Row {count} ({hang.items[-1].name}) onto the base, at {hang.tilt_deg - sum(hang.splays_deg):+.1f}°. "
        "How it is joined to the base is in no file: by its maker's instructions.",
    ]
    for index in range(count - 2, -1, -1):
        splay = hang.splays_deg[index + 1]
        steps.append(
            f"Row {index + 1} ({hang.items[index].name}) onto row {index + 2}: rows {index + 1}–{index + 2} at "
            f"{splay:.1f}°, left and right; set the locks before the next goes on."
        )
    return steps


def _unstacking(hang: Hang) -> list[str]:
    return [
        "Row 1 comes off first, then the next below; no lock is opened while a row stands on top of its own.",
        f"Row {len(hang.items)} and the base {hang.frame.name} last.",
    ]
