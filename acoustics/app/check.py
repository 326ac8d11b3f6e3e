"""`evenhang check`: read, judge, print what a rigger checks line by line."""

from __future__ import annotations

import argparse
import json
import sys
from importlib import metadata, resources
from pathlib import Path
from typing import Any

import numpy as np

from acoustics.app.cli import AT_FAULT, CANNOT_JUDGE, DONE, EXCEEDS
from acoustics.app.sheet import number, plain, table
from acoustics.venue import load_venue
from rigging import findings as finding_words
from rigging.cautions import CAUTIONS
from rigging.check import Report, check
from rigging.equipment import load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.findings import Finding, counts
from rigging.hang import file_faults, load_hang
from rigging.lifting import PickLine
from rigging.policy import load_policy
from rigging.stages import Stage
from rigging.statics import G


def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    try:
        report = _check(asked)
    except FileFaults as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return AT_FAULT
    if asked.json:
        print(json.dumps(plain(as_data(report)), indent=2, ensure_ascii=False))
    else:
        print(text(report))
    found = counts(report.findings)
    if found[finding_words.EXCEEDS]:
        return EXCEEDS
    return CANNOT_JUDGE if found[finding_words.CANNOT] else DONE


def _check(asked: argparse.Namespace) -> Report:
    faults: list[Fault] = []
    hangs, venue, policy, catalogue = [], None, None, None
    try:
        catalogue = load_catalogue(asked.equipment)
    except FileFaults as error:
        faults.extend(error.faults)
    for path in (asked.hang, *asked.beside):
        if catalogue is None:
            faults.extend(file_faults(path))
            continue
        try:
            hangs.append(load_hang(path, catalogue))
        except FileFaults as error:
            faults.extend(error.faults)
    try:
        venue = load_venue(asked.venue)[0] if asked.venue else None
    except FileFaults as error:
        faults.extend(error.faults)
    try:
        policy = load_policy(_policy_path(asked.policy))
    except FileFaults as error:
        faults.extend(error.faults)
    if faults or policy is None or catalogue is None:
        raise FileFaults(faults)
    return check(hangs[0], catalogue, policy, venue, hangs[1:])


def _policy_path(asked: str | None) -> Path | None:
    """A file, or the name of a packaged policy."""
    if asked is None:
        return None
    packaged = Path(str(resources.files("rigging") / "policies" / f"{asked}.toml"))
    return packaged if packaged.is_file() and not Path(asked).exists() else Path(asked)


def text(report: Report) -> str:
    """The report for people, about 110 columns wide."""
    hang, found = report.hang, counts(report.findings)
    where = f"  in  {report.site.name}" if report.site else ""
    judged = [finding for finding in report.findings if finding.status != finding_words.CANNOT]
    weakest = judged[0] if judged else None  # they come worst first
    unjudged = f"{found[finding_words.CANNOT]} cannot be judged"
    lines = [
        f"{hang.name}{where}    REVISION {report.revision}    evenhang {metadata.version('evenhang')}",
        "",
        f"{found[finding_words.EXCEEDS]} exceed, {unjudged}, {found[finding_words.WITHIN]} within",
    ]
    if weakest is not None:
        used = "" if weakest.used is None else f", {weakest.used:.0%} of its limit"
        lines.append(f"weakest: {weakest.part}: {weakest.what}{used} ({unjudged})")
    lines += ["", *(f"! {caution}" for caution in CAUTIONS), "", "FINDINGS, worst first", *_findings(report.findings)]
    if not hang.standing:
        lines += ["", "PICKS", *_picks(report), "", f"holes: {report.advice}"]
    if any(line.legs for line in report.lines):
        lines += ["", "BRIDLES", *_bridles(report.lines)]
    lines += ["", *_joint_heading(report), *_joints(report)]
    if report.stages:
        lines += ["", "STAGES", *_stages(report.stages)]
    lines += ["", "POLICY", *_policy(report), "", *_basis(report)]
    return "\n".join(lines)


def as_data(report: Report) -> dict[str, Any]:
    """The report for programs."""
    return {
        "hang": report.hang.name,
        "venue": report.site.name if report.site else None,
        "revision": report.revision,
        "version": metadata.version("evenhang"),
        "counts": counts(report.findings),
        "findings": [_finding_data(finding) for finding in report.findings],
        "picks": [_pick_data(line) for line in report.lines],
        "joints": _joint_data(report),
        "stages": [_stage_data(stage) for stage in report.stages],
        "holes": report.advice,
        "policy": report.policy.model_dump(),
        "cautions": list(CAUTIONS),
    }


def _findings(findings: list[Finding]) -> list[str]:
    rows = []
    for finding in findings:
        limit = (
            "" if finding.limit is None else f"{'≥' if finding.least else '≤'} {_figure(finding.limit, finding.unit)}"
        )
        used = "" if finding.used is None else f"{finding.used:.0%}"
        value = "" if finding.value is None else f"{_figure(finding.value, finding.unit)} {finding.unit}".rstrip()
        why = "; ".join(part for part in (finding.source, finding.note) if part)
        rows.append([finding.status.upper(), finding.part, finding.what, value, limit, used, why])
    return table(["status", "part", "what", "value", "limit", "used", "source of the limit; note"], rows, "lllrrrl")


def _figure(value: float, unit: str) -> str:
    return f"{value:.0f}" if not unit and value == round(value) and value >= 1 else number(value)


def _picks(report: Report) -> list[str]:
    if not report.lines:
        return ["the hang file names no picks: [[pick]] hole, point, hoist"]
    rows = []
    for line in report.lines:
        span = (
            number(line.hole_kg)
            if line.hole_kg - line.low_kg < 0.5
            else f"{number(line.low_kg)}–{number(line.hole_kg)}"
        )
        factor = "unknown" if line.factor is None else f"{line.factor:.3f}"
        moving = None if line.factor is None or line.worst_roof_kg is None else line.worst_roof_kg * line.factor
        cells = [line.hook_kg, line.roof_kg, line.worst_hook_kg, line.worst_roof_kg]
        rows.append([line.name, span, *(number(cell) for cell in cells), factor, number(moving)])
    head = ["kg", "hole", "at hook", "at roof", "hook, worst stage", "roof, worst stage", "dynamic ×", "roof, moving"]
    notes = ["at roof: hoist and chain included; a load cell below the hook does not see them"]
    last = report.stages[-1].balance
    if last.indeterminate:
        notes.append(
            "four picks, or three in line, are statically indeterminate: least and greatest possible loads are given"
        )
    if np.any(last.pull):
        force, angle = np.hypot(*last.pull) / G, np.degrees(np.arctan2(last.pull[0], last.pull[1]))
        notes.append(
            f"pull-back {force:.0f} kg at {angle:+.1f}° from plumb; top chain leans {np.degrees(last.lean):+.1f}°"
        )
    reach = [_reach(line) for line in report.lines if line.chain_m is not None]
    return [*table(head, rows, "lrrrrrrr"), *notes, *reach]


def _reach(line: PickLine) -> str:
    assert line.chain_m is not None
    if line.hoist is None:
        return f"{line.name}: {line.chain_m:.2f} m from where a hoist hangs to the hook"
    spare = line.chain_m - line.hoist.headroom_m
    return (
        f"{line.name}: hook to hook {line.chain_m:.2f} m, needs {line.hoist.headroom_m:.2f} m: "
        f"trim can go up by {spare:.2f} m; longest chain {line.longest_chain_m:.2f} m of {line.hoist.chain_m:.2f} m"
    )


def _bridles(lines: list[PickLine]) -> list[str]:
    rows = []
    for line in lines:
        if line.legs is None:
            continue
        for index, leg in enumerate(line.pick.leg):
            force = line.legs.anchor_force[index]
            cells = [line.legs.tension[index] / G, np.hypot(force[0], force[1]) / G, -force[2] / G]
            angle = np.degrees(line.legs.from_horizontal[index])
            rows.append([line.name, leg.point, f"{line.legs.length[index]:.2f}", f"{angle:.1f}°", *map(number, cells)])
    head = ["pick", "leg to", "length m", "from horizontal", "tension kg", "horizontal kg", "vertical kg"]
    return table(head, rows, "llrrrrr")


def _joint_heading(report: Report) -> list[str]:
    if report.hang.standing:
        return ["JOINTS, standing, at rest; forces of both sides together, and of one"]
    tilt = np.degrees(report.stages[-1].balance.tilt)
    return [f"JOINTS, complete, frame at {tilt:+.2f}°, at rest; forces of both sides together, and of the heavier one"]


def _joints(report: Report) -> list[str]:
    rows = []
    joints = report.joints
    for index, splay in enumerate(report.hang.splays_deg):
        name = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        link = float(joints.link[index])
        pull = "pulls" if link >= 0 else "PUSHES"
        cells = [abs(link), abs(link) * report.shares[index], joints.pivot_axial[index], joints.pivot_shear[index]]
        shown = [f"{cell:.0f}" if np.isfinite(cell) else "?" for cell in cells]
        rows.append([name, f"{splay:.1f}°", f"{joints.link_m[index] * 1000:.1f}", pull, *shown])
    head = ["joint", "splay", "link mm", "rear link", "N both", "N one side", "pivot axial N", "pivot shear N"]
    return table(head, rows, "lrrlrrrr")


def _stages(stages: list[Stage]) -> list[str]:
    rows = []
    for stage in stages:
        loads = " / ".join(number(load / G) for load in stage.balance.high) or "–"
        reach = "–" if stage.tilts is None else f"{np.degrees(stage.tilts[0]):+.1f}…{np.degrees(stage.tilts[1]):+.1f}°"
        limit = "" if stage.limit_deg is None else f" (limit {stage.limit_deg:g}°)"
        rows.append(
            [
                stage.name,
                number(stage.column.mass_kg),
                loads,
                f"{np.degrees(stage.balance.tilt):+.1f}°",
                reach,
                f"{np.degrees(stage.lowest_elevation):+.1f}°",
                "–" if not np.isfinite(stage.hook_m) else f"{stage.hook_m:.2f}",
                f"{stage.engages}{limit}" if stage.engages else "",
            ]
        )
    head = ["building", "kg", "picks kg", "frame", "frame can", "lowest row", "hook m", "next group"]
    lines = table(head, rows, "lrrrrrrl")
    lines.append("hook m: lowest hook above the floor when the lowest edge is level with the cart's deck")
    lines.append("landing, in this order:")
    for number_, stage in enumerate(reversed(stages), start=1):
        hook = f"{stage.hook_m:.2f} m" if np.isfinite(stage.hook_m) else "an unknown height"
        lines.append(
            f"  {number_}. {stage.name}: the cart begins to carry with the hook at {hook}; take the lowest group off"
        )
    lines.append("left and right splays are set from one file; a second person reads every splay back")
    return lines


def _policy(report: Report) -> list[str]:
    policy = report.policy.model_dump(exclude={"format", "name", "source"})
    shown = ", ".join(f"{key} {plain(value)}" for key, value in policy.items() if value is not None)
    lines = [f"{report.policy.name} ({report.policy.source})", shown]
    if report.policy.dynamic_factor is None:
        lines.append("dynamic factor by hoisting class, EN 13001-2 (values from memory)")
    return lines


def _basis(report: Report) -> list[str]:
    return [
        "model: rigid bodies in one plane, vertical chains, exact for the masses and places in the equipment files;",
        "kg stand for the weight of that mass at 9.80665 m/s²; values against limits carry the dynamic factor once",
    ]


def _finding_data(finding: Finding) -> dict[str, Any]:
    fields = ("part", "what", "value", "limit", "unit", "status", "source", "note", "least", "used")
    return {field: getattr(finding, field) for field in fields}


def _pick_data(line: PickLine) -> dict[str, Any]:
    fields = ("name", "low_kg", "hole_kg", "hook_kg", "roof_kg", "worst_kg", "worst_stage", "worst_hook_kg")
    data: dict[str, Any] = {field: getattr(line, field) for field in (*fields, "worst_roof_kg", "factor", "chain_m")}
    if line.legs is not None:
        data["legs"] = [
            {
                "point": leg.point,
                "length_m": float(length),
                "tension_kg": float(tension) / G,
                "from_horizontal_deg": float(np.degrees(angle)),
            }
            for leg, length, tension, angle in zip(
                line.pick.leg, line.legs.length, line.legs.tension, line.legs.from_horizontal, strict=True
            )
        ]
    return data


def _joint_data(report: Report) -> list[dict[str, Any]]:
    joints = report.joints
    return [
        {
            "joint": "frame–1" if index == 0 else f"rows {index}–{index + 1}",
            "splay_deg": splay,
            "link_n": float(joints.link[index]),
            "pivot_n": [float(value) for value in joints.pivot[index]],
            "pivot_axial_n": float(joints.pivot_axial[index]),
            "pivot_shear_n": float(joints.pivot_shear[index]),
            "side_share": float(report.shares[index]),
            "link_m": float(joints.link_m[index]),
        }
        for index, splay in enumerate(report.hang.splays_deg)
    ]


def _stage_data(stage: Stage) -> dict[str, Any]:
    return {
        "stage": stage.name,
        "rows": stage.rows,
        "mass_kg": stage.column.mass_kg,
        "picks_kg": [float(load) / G for load in stage.balance.high],
        "tilt_deg": float(np.degrees(stage.balance.tilt)),
        "reachable_deg": None if stage.tilts is None else [float(np.degrees(tilt)) for tilt in stage.tilts],
        "lowest_elevation_deg": float(np.degrees(stage.lowest_elevation)),
        "hook_m": stage.hook_m,
        "next_group": stage.engages,
    }
