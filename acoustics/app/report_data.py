"""What a report and a crew sheet say of a hang: plain values for their pages, computed nowhere else."""

from __future__ import annotations

import hashlib
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from acoustics.app import check_sheet
from acoustics.app.sheet import number
from acoustics.bands import OCTAVES_HZ
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.column import LOCK
from rigging.equipment import Adapter
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts
from rigging.geometry import lay_out
from rigging.policy import cell_allowance_kg
from rigging.stages import groups
from rigging.statics import G
from rigging.wind import wind_limit_m_s

if TYPE_CHECKING:
    import xarray as xr

_MARKS = {EXCEEDS: "exceeds", CANNOT: "open", WITHIN: ""}


def pages(result: xr.Dataset, summary: dict[str, Any], report: Report) -> dict[str, Any]:
    """Values of all pages but their pictures."""
    return {
        "hang": report.hang.name,
        "venue": summary["venue"],
        "design": summary["design"],
        "revision": summary["revision"],
        "version": summary["version"],
        "cautions_": list(CAUTIONS),
        "decision": _decision(summary, report),
        "evenness": _evenness(summary),
        "headroom": _headroom(summary),
        "hearing": summary["drive"]["hearing"],
        "findings": [_finding(finding) for finding in report.findings],
        "rigging_text": check_sheet.loads_text(report),
        "basis": [*_basis(summary), *check_sheet.basis_lines(report)],
        "hashes": _hashes(result),
        **crew(report),
    }


def crew(report: Report) -> dict[str, Any]:
    """Values of the crew sheet."""
    return {
        "keys": _keys(report),
        "flags": _flags(report),
        "column": _column(report),
        "building": _building(report),
        "cells": _cells(report),
        "landing": check_sheet.landing(report),
    }


def _decision(summary: dict[str, Any], report: Report) -> list[dict[str, str]]:
    found, whole, drive = counts(report.findings), summary["whole"], summary["drive"]
    mark = "exceeds" if found[EXCEEDS] else "open" if found[CANNOT] else ""
    head = "A limit is exceeded." if found[EXCEEDS] else "Not all can be judged." if found[CANNOT] else "All within."
    rigging = f"{found[EXCEEDS]} findings exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within"
    known = [finding for finding in report.findings if finding.status != CANNOT]
    if known:
        worst = known[0]
        used = "" if worst.used is None or worst.used >= 10 else f", {worst.used:.0%} of its limit"
        rigging += f"; weakest: {worst.part}, {worst.what}{used}"
    seat = whole["worst_seat"]
    worst_seat = "" if seat is None else f"; worst seat {seat['from_mean_db']:+.1f} dB(A), {seat['area']}"
    spread = f"mean {number(whole['level_a_mean_db'])} dB(A), 5–95 % of the seats within "
    spread += f"{number(whole['level_a_p5_p95_db'])} dB(A){worst_seat}"
    most, at = drive["highest_drive_db"], drive["limited_by"]
    highest = at if math.isnan(most) else f"{most:+.1f} dB, where {at} reaches its maximum"
    return [
        {"mark": mark, "head": head, "text": f"{rigging}."},
        {"mark": "", "head": "Coverage:", "text": f"{spread}."},
        {"mark": "", "head": "Highest drive:", "text": f"{highest}."},
    ]


def _evenness(summary: dict[str, Any]) -> dict[str, Any]:
    octaves = [f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}" for hz in OCTAVES_HZ]
    head = ["", "mean dB(A)", "5–95 %", "fall", "hidden", *octaves]
    body = []
    for row in (*summary["areas"], summary["whole"]):
        cells = [number(row[f"{name}_db"]) for name in ("level_a_mean", "level_a_p5_p95", "fall_per_doubling")]
        hidden = f"{row['positions_hidden']} of {row['positions']}"
        deviations = [number(value) for value in row["octave_deviation_db"].values()]
        body.append([row["name"] + (" (quiet)" if row["role"] == "quiet" else ""), *cells, hidden, *deviations])
    return {"head": head, "body": body}


def _headroom(summary: dict[str, Any]) -> list[str]:
    drive = summary["drive"]
    least = drive["least_headroom_db"]
    lines = [f"Drive {drive['drive_db']:+g} dB, {drive['programme']} programme."]
    if least:
        hz = min(least, key=lambda name: least[name])
        margin = number(drive["peak_margin_db"])
        lines.append(f"Least headroom: {least[hz]:.1f} dB in the band of {hz} Hz; peak margin {margin} dB.")
    return lines


def _finding(finding: Finding) -> dict[str, str]:
    status, part, what, value, limit, used, why = check_sheet.finding_row(finding)
    return {
        "mark": _MARKS[finding.status], "status": status, "part": part, "what": what, "value": value, "limit": limit,
        "used": used, "why": why,
    }  # fmt: skip


def _basis(summary: dict[str, Any]) -> list[str]:
    air = summary["air"]
    assumed = ", assumed: the venue file gives none" if air["assumed"] else ""
    return [
        f"Heights above: {summary['datum']}.",
        f"Air: {air['temperature_c']:g} °C, {air['relative_humidity_pct']:g} %, {air['pressure_kpa']:g} kPa{assumed}; "
        f"absorption {air['absorption']}; sound {air['speed_of_sound_m_s']:.1f} m/s ({air['speed_of_sound_source']}).",
        f"Model: {summary['model']}.",
    ]


def _hashes(result: xr.Dataset) -> list[list[str]]:
    """A hash of all inputs as the result holds them."""
    settings = str(result.attrs["settings"])
    return [["all inputs of the prediction", hashlib.sha256(settings.encode()).hexdigest()]]


def _keys(report: Report) -> list[dict[str, str]]:
    """What a rigger reads first, in large type."""
    hang, policy = report.hang, report.policy
    tilt = report.tilt_deg
    top = tilt - hang.splays_deg[0]
    datum = report.site.datum if report.site else "the origin of the hang file"
    found = [
        ("trim, front pivot line", f"{hang.position_m[2]:.2f} m", f"above {datum}"),
        ("lowest edge", f"{lay_out(hang).lowest_m:.2f} m", f"above {datum}"),
        ("azimuth", f"{hang.azimuth_deg:+.1f}°", "positive to stage left (house right)"),
        ("tilt to read on the frame", f"{tilt:+.1f}°", f"within {policy.tilt_tolerance_deg:g}°; + looks up"),
        ("tilt on the top enclosure", f"{top:+.1f}°", f"within {policy.tilt_tolerance_deg:g}°; + looks up"),
        ("frame", hang.frame.name, f"{hang.arm[0].name} at the {hang.arm[1].end}" if hang.arm else "no pick arm"),
    ]
    for line in report.lines:
        hoist = "hoist not named" if line.hoist is None else line.hoist.name
        to = ", ".join(leg.point for leg in line.pick.leg) or line.pick.point or "point not named"
        found.append((line.name, hoist, f"to {to}"))
    if hang.pullback is not None:
        found.append(("pull-back", hang.pullback.hoist or "hoist not named", f"to {hang.pullback.point or 'a place'}"))
    found.append(("wind limit", *_wind(report)))
    return [dict(zip(("name", "value", "note"), one, strict=True)) for one in found]


def _wind(report: Report) -> tuple[str, str]:
    if report.site is None:
        return "not known", "no venue file was given"
    if not report.site.open_air:
        return "indoors", "the venue is not in the open air"
    over = [one for one in report.findings if one.status == EXCEEDS and ("gust" in one.note or one.part == "wind")]
    if over:
        return "EXCEEDED", f"at {report.site.gust_m_s:g} m/s: {over[0].part}, {over[0].what}"
    limit = None if report.hang.standing else wind_limit_m_s(report.hang, report.stages[-1], report.policy)
    if limit is None:
        return "not known", "ask the structure's engineer"
    known = f"all else judged to {report.site.gust_m_s:g} m/s" if report.site.gust_m_s else "nothing else judged"
    return f"{math.floor(limit)} m/s gust", f"swing {report.policy.swing_deg:g}° or a pick slack, 3 s; {known}"


def _flags(report: Report) -> list[str]:
    """What must not be overlooked."""
    found = counts(report.findings)
    lines = []
    if found[EXCEEDS]:
        lines.append(f"{found[EXCEEDS]} FINDINGS EXCEED A LIMIT: see the report before anything is lifted")
    if found[CANNOT]:
        lines.append(f"{found[CANNOT]} findings cannot be judged: see the report")
    locks = [finding.part.removeprefix("joint ") for finding in report.findings if finding.what == LOCK]
    if locks:
        lines.append(f"in compression, locks that hold both ways: {', '.join(locks)}")
    if "carts" not in report.hang.document.data:
        lines.append("carts assumed: the hang file has no [carts]")
    return lines


def _column(report: Report) -> list[dict[str, Any]]:
    """Rows from the top down, each with the joint above it, and the cart that it travels on where it is the last."""
    hang = report.hang
    locks = {finding.part for finding in report.findings if finding.what == LOCK}
    ends = list(np.cumsum(groups(hang))) if not hang.standing else []
    rows, aim = [], hang.tilt_deg
    for index, (item, splay) in enumerate(zip(hang.items, hang.splays_deg, strict=True)):
        aim -= splay
        joint = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        part = "joint frame–1" if index == 0 else f"joint rows {index}–{index + 1}"
        cart = f"end of cart {ends.index(index + 1) + 1}" if index + 1 in ends else ""
        rows.append({
            "number": index + 1, "type": item.name + (" (adapter)" if isinstance(item, Adapter) else ""),
            "aim": f"{aim:+.1f}°", "joint": joint, "splay": f"{splay:.1f}°", "lock": part in locks, "cart": cart,
        })  # fmt: skip
    return rows


def _building(report: Report) -> dict[str, Any]:
    head = [
        "comes up",
        "kg",
        *[f"{line.name}, kg" for line in report.lines],
        "frame",
        "lowest row",
        "hook",
        "next group",
    ]
    body = []
    for stage in report.stages:
        loads = [number(float(load) / G) for load in stage.balance.high]
        hook = f"{stage.hook_m:.2f} m" if stage is not report.stages[-1] and np.isfinite(stage.hook_m) else "–"
        tilt, low = math.degrees(stage.balance.tilt), math.degrees(stage.lowest_elevation)
        joined = stage.engages or "–"
        body.append([stage.name, number(stage.column.mass_kg), *loads, f"{tilt:+.1f}°", f"{low:+.1f}°", hook, joined])
    return {"head": head, "body": body, "note": check_sheet.carts_line(report) if report.stages else "a stack stands"}


def _cells(report: Report) -> dict[str, Any]:
    policy, body, total = report.policy, [], 0.0
    for line in report.lines:
        load = line.hook_kg
        if load is None or not np.isfinite(load):
            body.append([line.name, "not known", "", ""])
            continue
        total += load
        body.append([line.name, number(load), _from_to(load, cell_allowance_kg(load, policy)), ""])
    if len(body) > 1 and all(row[1] != "not known" for row in body):
        body.append(["sum", number(total), _from_to(total, policy.sum_share * total), ""])
    note = (
        f"Below the hook, at rest. Each within {policy.cell_share:.0%} or {policy.cell_kg:g} kg, the sum within "
        f"{policy.sum_share:.0%} (policy {policy.name}): beyond that nobody goes on before it is understood."
    )
    return {"head": ["", "expected", "from … to", "read"], "body": body, "note": note}


def _from_to(load_kg: float, allowed_kg: float) -> str:
    return f"{number(max(load_kg - allowed_kg, 0.0))} to {number(load_kg + allowed_kg)}"
