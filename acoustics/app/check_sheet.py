"""What `evenhang check` prints: for a rigger who checks it line by line."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from importlib import metadata

import numpy as np

from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Figure, Table, number
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts, weakest
from rigging.geometry import lay_out
from rigging.lifting import PickLine
from rigging.stages import groups
from rigging.statics import G

PICKS, STAGES = "PICKS, at rest, kg", "STAGES"


def text(report: Report, *, imperial: bool = False) -> str:
    """The report for people, with feet and pounds where they are asked for."""
    return said(blocks(report), imperial=imperial)


def blocks(report: Report) -> list[Block]:
    """The report for people: what exceeds and cannot be judged first, what is within last."""
    bad = [finding for finding in report.findings if finding.status != WITHIN]
    good = [finding for finding in report.findings if finding.status == WITHIN]
    lines: list[Block] = [*_heading(report), "", *(f"! {caution}" for caution in CAUTIONS)]
    if bad:
        lines += ["", "EXCEEDS OR CANNOT BE JUDGED, worst first", findings_table(bad)]
    lines += ["", *_loads(report)]
    lines += ["", "WITHIN, most used first", findings_table(good)]
    return [*lines, "", "POLICY", *_policy(report), "", *_basis(report)]


def _loads(report: Report) -> list[Block]:
    """Picks, points, bridles, joints and stages."""
    lines: list[Block] = []
    for title, content in loads_tables(report):
        lines += [title, content if content.rows else dataclasses.replace(content, head=[]), ""]
        if title == PICKS:
            lines += [f"holes: {report.advice}", ""]
        if title == STAGES:
            steps = [f"  {step}. {line}" for step, line in enumerate(landing(report), start=1)]
            lines[-1:] = ["landing, in this order:", *steps, ""]
    return lines[:-1]


def loads_tables(report: Report) -> list[tuple[str, Table]]:
    """Picks, points, bridles, joints and stages, each with its title; without what the hang does not have."""
    found: list[tuple[str, Table]] = []
    if not report.hang.standing:
        found.append((PICKS, _picks(report)))
    if report.site is not None and report.loads:
        found.append(("POINTS, moving in still air (dynamic factor once), kg", _points(report)))
    if any(line.legs for line in report.lines):
        found.append(("BRIDLES, worst stage, at rest", _bridles(report.lines)))
    found.append((_joint_heading(report), _joints(report)))
    if report.stages:
        found.append((STAGES, _stages(report)))
    return found


def basis_lines(report: Report) -> list[str]:
    """The policy, and what the rigging figures rest on."""
    return [f"policy: {'; '.join(_policy(report))}", " ".join(_basis(report))]


def _heading(report: Report) -> list[str]:
    hang, found = report.hang, counts(report.findings)
    where = f"  in  {report.site.name}" if report.site else ""
    datum = report.site.datum if report.site else "the origin of the hang file"
    layout = lay_out(hang)
    worst = weakest(report.findings)
    unjudged = f"{found[CANNOT]} cannot be judged"
    lines = [
        f"{hang.name}{where}",
        f"DESIGN {report.design}    REVISION {report.revision}    evenhang {metadata.version('evenhang')}",
        "",
        f"trim {hang.position_m[2]:.2f} m (front pivot line), lowest edge {layout.lowest_m:.2f} m, above: {datum}",
        f"tilt {hang.tilt_deg:+.1f}°, azimuth {hang.azimuth_deg:+.1f}° (positive to stage left, house right); "
        f"{hang.mass_kg:.1f} kg without cables",
        "",
        f"{found[EXCEEDS]} exceed, {unjudged}, {found[WITHIN]} within",
    ]
    if worst is not None:
        used = f", {_used(worst)} of its limit" if worst.used is not None else f": {worst.note}" if worst.note else ""
        lines.append(f"weakest: {worst.part}: {worst.what}{used} ({unjudged})")
    return lines


def findings_table(findings: Sequence[Finding]) -> Table:
    """Findings with value, limit, share used and the source of the limit."""
    rows = [finding_row(finding) for finding in findings]
    return Table(["status", "part", "what", "value", "limit", "used", "source of the limit; note"], rows, "lllrrrl")


def finding_row(finding: Finding) -> list[str]:
    """Status, part, what, value, limit, share used, and where the limit is from with the note."""
    bound = "≥" if finding.least else "≤"
    unit, places = finding.unit, shown_places(finding)
    limit: str = "" if finding.limit is None else Figure(f"{bound} {_figure(finding.limit, unit)}", unit, places)
    value: str = ""
    if finding.value is not None:
        value = Figure(f"{_figure(finding.value, unit)} {unit}".rstrip(), unit, places)
    why = "; ".join(part for part in (finding.source, finding.note) if part)
    mark = finding.status if finding.status == WITHIN else finding.status.upper()
    return [mark, finding.part, finding.what, value, limit, _used(finding), why]


def shown_places(finding: Finding) -> int:
    """Decimals of the finer of value and limit: both keep them in pounds, so none looks kept that is exceeded."""
    shown = [_figure(one, finding.unit) for one in (finding.value, finding.limit) if one is not None]
    return max((len(one.partition(".")[2]) for one in shown), default=0)


def _used(finding: Finding) -> str:
    if finding.used is None:
        return ""
    return f"{finding.used:.0%}" if finding.used < 10 else "> 10 ×"


def _figure(value: float, unit: str) -> str:
    return f"{value:.0f}" if not unit and value == round(value) and value >= 1 else number(value)


def _picks(report: Report) -> Table:
    if not report.lines:
        return Table([], [], "", ("the hang file names no picks: [[pick]] hole, point, hoist",))
    rows = []
    for line in report.lines:
        span = number(line.hole_kg)
        if line.hole_kg - line.low_kg > 0.5:
            span = f"{number(line.low_kg)}–{span}"
        if line.hole_kg < 0:
            span = f"PUSHES {number(-line.hole_kg)}"
        factor = "unknown" if line.factor is None else f"{line.factor:.3f}"
        cells = [line.hook_kg, line.roof_kg, line.worst_hook_kg, line.worst_roof_kg]
        rows.append([line.name, Figure(span, "kg"), *(number(cell, "kg") for cell in cells), factor])
    head = ["", "hole", "at hook (cell reads)", "at roof", "hook, worst stage", "roof, worst stage", "dynamic ×"]
    notes = [
        "at roof: hoist, all of its chain and what it hangs from included; a load cell below the hook sees none of it"
    ]
    notes += [f"{line.name}: {line.roof_gap}" for line in report.lines if line.roof_gap]
    last = report.stages[-1].balance
    if last.indeterminate:
        notes.append("four picks, or three in line, are statically indeterminate: least–greatest possible loads")
    if np.any(last.pull):
        force, angle = np.hypot(*last.pull) / G, np.degrees(np.arctan2(last.pull[0], last.pull[1]))
        lean = np.degrees(last.lean)
        notes.append(f"pull-back {force:.1f} kg at {angle:+.1f}° from plumb; top chain leans {lean:+.1f}°")
    reach = [_reach(line) for line in report.lines if line.chain_m is not None]
    return Table(head, rows, "lrrrrrr", (*notes, *reach))


def _reach(line: PickLine) -> str:
    assert line.chain_m is not None
    if line.hoist is None:
        return f"{line.name}: {line.chain_m:.2f} m from where a hoist hangs to the hook"
    spare = line.chain_m - line.hoist.headroom_m
    trim = f"trim can go up by {spare:.2f} m" if spare >= 0 else f"trim must come down by {-spare:.2f} m"
    chain = "" if line.longest_chain_m is None else f"; longest chain {line.longest_chain_m:.2f} m"
    return (
        f"{line.name}: hook to hook {line.chain_m:.2f} m, needs {line.hoist.headroom_m:.2f} m: "
        f"{trim}{chain} of {line.hoist.chain_m:.2f} m"
    )


def _points(report: Report) -> Table:
    assert report.site is not None
    limits = {point.name: point.limit_kg for point in report.site.point}
    rows = []
    for load in report.loads:
        down, aside = None, None
        if load.force_n is not None:
            down, aside = -float(load.force_n[2]) / G, float(np.hypot(load.force_n[0], load.force_n[1])) / G
        cells = [number(one, "kg") for one in (down, aside, limits.get(load.point))]
        rows.append([load.point, *cells, load.user, load.why])
    return Table(["point", "down", "sideways", "limit", "from", ""], sorted(rows), "lrrrll")


def _bridles(lines: list[PickLine]) -> Table:
    rows = []
    for line in lines:
        if line.legs is None:
            continue
        for index, leg in enumerate(line.pick.leg):
            force = line.legs.anchor_force[index]
            cells = [line.legs.tension[index] / G, np.hypot(force[0], force[1]) / G, -force[2] / G]
            angle = np.degrees(line.legs.from_horizontal[index])
            length = Figure(f"{line.legs.length[index]:.2f}", "m")
            rows.append([line.name, leg.point, length, f"{angle:.1f}°", *(number(cell, "kg") for cell in cells)])
    head = ["pick", "leg to", "length m", "from horizontal", "tension kg", "horizontal kg", "vertical kg"]
    return Table(head, rows, "llrrrrr", ("without the legs' own weight, which findings and points include",))


def _joint_heading(report: Report) -> str:
    if report.hang.standing:
        return "JOINTS, standing, at rest; forces of both sides together, and of one"
    tilt = np.degrees(report.stages[-1].balance.tilt)
    return f"JOINTS, complete, frame at {tilt:+.2f}°, at rest; forces of both sides together, and of the heavier one"


def _joints(report: Report) -> Table:
    rows = []
    joints = report.joints
    for index, splay in enumerate(report.hang.splays_deg):
        if report.hang.standing and index == 0:
            continue  # nothing stands on row 1
        name = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        link = float(joints.link[index])
        pull = "?" if np.isnan(link) else "pulls" if link >= 0 else "PUSHES"
        one_side = abs(link) / 2 + report.beyond[index]
        cells = [abs(link), one_side, joints.pivot_axial[index], joints.pivot_shear[index]]
        shown = [Figure(f"{cell:.0f}" if np.isfinite(cell) else "?", "N") for cell in cells]
        rows.append([name, f"{splay:.1f}°", Figure(f"{joints.link_m[index] * 1000:.1f}", "mm"), pull, *shown])
    head = ["joint", "splay", "link mm", "rear link", "N both", "N one side", "pivot axial N", "pivot shear N"]
    signs = (
        "pivot on the lower part, in the axes of the row above: axial positive pulls up along it, negative presses; "
        "shear positive pushes forward"
    )
    back = "left and right splays are set from one file: a second person reads every splay back, both sides"
    return Table(head, rows, "lrrlrrrr", (signs, back))


def _stages(report: Report) -> Table:
    stages = report.stages
    rows = []
    for stage in stages:
        loads = Figure(" / ".join(number(load / G) for load in stage.balance.high) or "–", "kg")
        reach = "–" if stage.tilts is None else f"{np.degrees(stage.tilts[0]):+.1f}…{np.degrees(stage.tilts[1]):+.1f}°"
        limit = "" if stage.limit_deg is None else f" (limit {stage.limit_deg:g}°)"
        hook = "–" if stage is stages[-1] or not np.isfinite(stage.hook_m) else Figure(f"{stage.hook_m:.2f}", "m")
        tilt, lowest = np.degrees(stage.balance.tilt), np.degrees(stage.lowest_elevation)
        engages = f"{stage.engages}{limit}" if stage.engages else ""
        mass = number(stage.column.mass_kg, "kg")
        rows.append([stage.name, mass, loads, f"{tilt:+.1f}°", reach, f"{lowest:+.1f}°", hook, engages])
    head = ["building", "kg", "picks kg", "frame", "frame can", "lowest row", "hook m", "next group"]
    lean = f"{report.policy.lean_pick_share:.0%}"
    notes = (
        carts_line(report),
        f"over a cart the frame is brought to the tilt nearest to a level lowest row, {lean} or more on each pick",
        "hook m: lowest hook above the floor when the lowest edge is level with the cart's deck",
    )
    return Table(head, rows, "lrrrrrrl", notes)


def carts_line(report: Report) -> str:
    """What the column travels on."""
    hang = report.hang
    assumed = "" if "carts" in hang.document.data else ", assumed: the hang file has no [carts]"
    return f"carts: {', '.join(map(str, groups(hang)))} rows, deck {hang.carts.deck_m:g} m{assumed}"


def landing(report: Report) -> list[str]:
    """The steps of landing, each with where its cart begins to carry."""
    lines = []
    if report.hang.pullback is not None and len(report.stages) > 1:  # stages of building know nothing of it
        alone = np.degrees(report.stages[-2].balance.tilt)
        lines.append(
            f"the pull-back comes off before the first cart carries: without it the frame goes to {alone:+.1f}°"
        )
    for stage in reversed(report.stages[:-1]):
        hook = f"{stage.hook_m:.2f} m" if np.isfinite(stage.hook_m) else "an unknown height"
        tilt, off = np.degrees(stage.balance.tilt), np.degrees(stage.lowest_elevation)
        off_level = f"its lowest row {abs(off):.1f}° off level" if abs(off) > 0.05 else "its lowest row level"
        cart = f"the cart begins to carry with the hook at {hook}; open the joint above the lowest group"
        lines.append(f"{stage.name}, frame at {tilt:+.1f}°, {off_level}: {cart}")
    return lines


def _policy(report: Report) -> list[str]:
    p = report.policy
    dynamic = f"{p.dynamic_factor:g} for all" if p.dynamic_factor else "by hoisting class, EN 13001-2 (from memory)"
    return [
        f"{p.name} ({p.source}); people below: {'yes' if p.over_people else 'no'}",
        f"share of a marked limit {p.marked_share:g}, for hoists, shackles and slings; frames, enclosures and points "
        "are taken at their own limits",
        f"wire rope design factor {p.rope_design_factor:g}; dynamic factor {dynamic}, once",
        f"each pick {p.least_pick_share:.0%} or more, {p.lean_pick_share:.0%} while leaned over a cart; "
        f"chain {p.plumb_deg:g}° or less out of plumb",
        f"bridle legs {p.least_leg_deg:g}° or more from the horizontal, {p.included_angle_deg:g}° or less between them",
        f"as drawn: trim within {p.trim_tolerance_m:g} m, aims within {p.aim_tolerance_deg:g}°; each cell within "
        f"{p.cell_share:.0%} or {p.cell_kg:g} kg, their sum within {p.sum_share:.0%}",
        f"tilt within {p.tilt_tolerance_deg:g}°; clearance {p.clearance_m:g} m; swing {p.swing_deg:g}° or less; "
        f"drag coefficient {p.drag:g}; stack: stability {p.stability:g}, friction {p.friction:g}",
    ]


def _basis(report: Report) -> list[str]:
    return [
        "model: rigid bodies in one plane, vertical chains, exact for the masses and places in the equipment files;",
        "kg stand for the weight of that mass at 9.80665 m/s²; values against limits carry the dynamic factor once",
        "a bridle's leg is taken as straight, half of its weight at each end; slings and shackles as the file says",
        "in the open air also a gust from four ways on the complete column at rest: holes, hooks, legs, points, joints",
        "not in it: loads on the points but those of this hang and of what --beside names; wind while it is built",
        "drag is that of frame and rows alone: hoists, chains, cables and pick arm, winds from a corner, how far gusts",
        "overshoot, how a column on one hook turns about itself are not in it; without VENUE all is for still air",
        "not judged: pulls along the pins; secondary suspension, what is above the points, pins and hooks coming loose",
    ]
