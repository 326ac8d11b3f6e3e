"""What `evenhang compare --built` prints and writes: readings, what to do, what has changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from importlib import metadata
from typing import Any

import numpy as np

from acoustics.app.built import AsBuilt, Correction
from acoustics.app.check import as_data, finding_data
from acoustics.app.check_sheet import findings_table
from acoustics.app.coverage import COVERAGE, rigging
from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Figure, Table, number
from acoustics.changes import Change
from rigging.asbuilt import HookMoves, changed
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.findings import CANNOT, EXCEEDS, WITHIN, counts
from rigging.lifting import PickLine
from rigging.readings import FRAME, TOP, cells_at, joint_name, not_read
from rigging.statics import G

_NAMES = {
    "j_db": "J, without its term of level, dB",
    "level_a_mean_db": "mean, dB(A)",
    "level_a_p5_p95_db": "5th to 95th percentile, dB(A)",
    "fall_per_doubling_db": "fall with each doubling of distance, dB",
    "worst_seat_db": "worst seat, dB(A) from the mean",
    "lowest_edge_m": "lowest edge, m",
}
_BANDS = "third octaves 200 Hz to 10 kHz, all served seats"
_LEAST_MS = 0.005  # below this a delay is as it was


def data(of: AsBuilt) -> dict[str, Any]:
    """The sheet for programs."""
    report = of.built.report
    return {
        "hang": of.design.hang.name,
        "venue": of.design.venue.name,
        "design": of.design.report.design,
        "read_for_design": of.readings.design,
        "revision": of.revision,
        "version": metadata.version("evenhang"),
        "counts": counts(of.findings),
        "readings": [finding_data(finding) for finding in of.findings],
        "not_read": not_read(of.readings, of.design.report, of.design.venue),
        "correction": _correction_data(of),
        "coverage": {
            "design": of.design.figures,
            "as_built": of.built.figures,
            "greatest_change_db": of.level.greatest,
            "greatest_change_at": _place(of, of.level),
            "rms_difference_db": of.correction.as_is_db,
            "places_not_compared": _heard_once(of),
        },
        "delay": {
            "mean_ms": 1000.0 * of.arrival.mean,
            "greatest_ms": 1000.0 * of.arrival.greatest,
            "greatest_at": _place(of, of.arrival),
            "add_ms": -1000.0 * of.arrival.mean,
        },
        "air": {name: _air(getattr(of, name).result) for name in ("design", "built")},
        "rigging": {
            "picks": [_pick_data(of, index) for index in range(len(report.lines))],
            "legs": _legs(of),
            "changed": [vars(one) for one in changed(of.design.report.findings, report.findings)],
            **rigging(report),
            "as_built": as_data(report),
        },
        "cautions": list(CAUTIONS),
    }


def _correction_data(of: AsBuilt) -> dict[str, Any]:
    one = of.correction
    moves = None
    if one.moves is not None:
        moves = {
            "picks": [line.name for line in of.built.report.lines],
            "front_stays_mm": _mm(one.moves.front_stays),
            "rear_stays_mm": _mm(one.moves.rear_stays),
            "front_stays_keeps_limits": one.keeps[0],
            "rear_stays_keeps_limits": one.keeps[1],
            "trim_front_stays_m": of.built.hang.position_m[2] + one.moves.trim_front_stays,
            "trim_rear_stays_m": of.built.hang.position_m[2] + one.moves.trim_rear_stays,
        }
    return {
        "recommended": one.tilt_deg is not None and not one.leave,
        "tilt_now_deg": of.built.hang.tilt_deg,
        "tilt_deg": one.tilt_deg,
        "change_deg": None if one.tilt_deg is None else one.change_deg,
        "rms_now_db": one.as_is_db,
        "rms_then_db": None if one.tilt_deg is None else one.left_db,
        "cannot_be_judged_then": one.open_findings,
        "hooks_up": moves,
        "why_none": one.why,
        "say": _todo(of),
    }


def _mm(moves_m: Any) -> list[float]:
    return [1000.0 * float(one) for one in moves_m]


def _place(of: AsBuilt, change: Change) -> dict[str, Any] | None:
    if change.index is None:
        return None
    result = of.design.result
    place = [float(result[axis].values[change.index]) for axis in "xyz"]
    return {"area": str(result["area"].values[change.index]), "position_m": place}


def _air(result: Any) -> dict[str, float]:
    names = ("temperature_c", "relative_humidity_pct", "speed_of_sound_m_s")
    return {name: float(result.attrs[name]) for name in names}


def _pick_data(of: AsBuilt, index: int) -> dict[str, Any]:
    design, built = of.design.report, of.built.report
    read = cells_at(of.readings, design.lines, design.stages[-1]).get(index)
    lines = (design.lines[index], built.lines[index])
    return {
        "name": lines[1].name,
        "design_hook_kg": lines[0].hook_kg,
        "as_built_hook_kg": lines[1].hook_kg,
        "read_kg": read,
        "design_worst_roof_kg": lines[0].worst_roof_kg,
        "as_built_worst_roof_kg": lines[1].worst_roof_kg,
    }


def _legs(of: AsBuilt) -> list[dict[str, Any]]:
    """Bridle legs of both columns, worst stage."""
    found = []
    for before, after in zip(of.design.report.lines, of.built.report.lines, strict=True):
        for index, leg in enumerate(after.pick.leg):
            was, now = _leg(before, index), _leg(after, index)
            names = ("length_m", "tension_kg", "from_horizontal_deg")
            both = {
                f"{when}_{n}": of_leg.get(n) for when, of_leg in (("design", was), ("as_built", now)) for n in names
            }
            found.append({"pick": after.name, "leg_to": leg.point, **both})
    return found


def _leg(line: PickLine, index: int) -> dict[str, float]:
    if line.legs is None:
        return {}
    legs = line.legs
    return {
        "length_m": float(legs.length[index]),
        "tension_kg": float(legs.tension[index]) / G,
        "from_horizontal_deg": float(np.degrees(legs.from_horizontal[index])),
    }


def text(of: AsBuilt, *, imperial: bool = False) -> str:
    """The sheet for people, with feet and pounds where they are asked for."""
    return said(_blocks(of), imperial=imperial)


def _blocks(of: AsBuilt) -> list[Block]:
    lines: list[Block] = [*_heading(of), "", *(f"! {caution}" for caution in CAUTIONS)]
    lines += ["", "READ, against the sheet, worst first", *_readings(of)]
    lines += ["", "WHAT TO DO", *(f"  {line}" for line in _todo(of))]
    lines += ["", "COVERAGE", *_coverage(of), "", "ARRIVAL", *_arrival(of), "", "RIGGING, as built", *_rigging(of)]
    return lines


def _heading(of: AsBuilt) -> list[str]:
    design = of.design.report
    lines = [
        f"{of.design.hang.name}  in  {of.design.venue.name}, AS BUILT",
        f"DESIGN {design.design}    REVISION {of.revision}    evenhang {metadata.version('evenhang')}",
    ]
    if of.readings.design != design.design:
        lines.append(f"READ FOR ANOTHER DESIGN: {of.readings.design}, taken because --other-design was asked for")
    return [*lines, f"policy: {design.policy.name}; heights above: {of.design.venue.datum}"]


def _readings(of: AsBuilt) -> list[Block]:
    found = counts(of.findings)
    lines: list[Block] = [
        f"{found[EXCEEDS]} beyond tolerance, {found[CANNOT]} cannot be judged, {found[WITHIN]} within"
    ]
    if of.findings:
        lines.append(findings_table(of.findings))
    lines += _taken(of)
    missing = not_read(of.readings, of.design.report, of.design.venue)
    return lines + (["not read, and not judged:", *(f"  {one}" for one in missing)] if missing else [])


def _taken(of: AsBuilt) -> list[str]:
    """What of the readings the column as built is made from."""
    readings, hang = of.readings, of.built.hang
    aims, splays = readings.aims_deg, readings.splays_deg
    taken = [f"tilt {hang.tilt_deg:+.2f}°"] if FRAME in aims or TOP in aims else []
    taken += [] if readings.trim_m is None else [f"trim {hang.position_m[2]:.2f} m"]
    taken += [f"splay {joint_name(row)} {splay:.1f}°" for row, splay in splays.items()]
    taken += [f"point {point.name}" for point in readings.point]
    alone = [str(row) for row in sorted(aims) if row > TOP and row not in splays and row + 1 not in splays]
    lines = [f"the column as built takes from this: {', '.join(taken) or 'nothing'}; all else is as designed"]
    return lines + ([f"read without a neighbour, judged but not taken: row {', '.join(alone)}"] if alone else [])


def _todo(of: AsBuilt) -> list[str]:
    one, built = of.correction, of.built
    cells = [finding for finding in of.findings if finding.status == EXCEEDS and finding.unit == "kg"]
    lines = [f"{finding.part}: {finding.what}: nobody goes on before it is understood" for finding in cells]
    if counts(built.report.findings)[EXCEEDS]:
        lines.append("as built a limit is exceeded, see below: nothing is lifted or left so before that is put right")
    if one.tilt_deg is None:
        return [*lines, f"no tilt is recommended: {one.why}", f"levels differ from the design by {_rms(one.as_is_db)}"]
    now, then = f"{built.hang.tilt_deg:+.2f}°", f"{one.tilt_deg:+.2f}°"
    if one.leave:
        allowed = of.design.report.policy.tilt_tolerance_deg
        nearest = f"the nearest to the design is {then}, {abs(one.change_deg):.2f}° off, within {allowed:g}°"
        return [*lines, f"leave the tilt at {now}: {nearest}", _left(one)]
    assert one.moves is not None
    return [
        *lines,
        f"bring the frame from {now} to {then} ({one.change_deg:+.2f}°), nearest to the design within limits:",
        *_moves(of, one.moves, one.keeps),
        _left(one),
        *([f"at that tilt {one.open_findings} findings cannot be judged"] if one.open_findings else []),
    ]


def _moves(of: AsBuilt, moves: HookMoves, keeps: tuple[bool, bool]) -> list[str]:
    """The ways of turning the frame that keep all limits: about its front hook, or its rear one."""
    lines = of.built.report.lines
    trim, wished = of.built.hang.position_m[2], of.design.hang.position_m[2]
    trims = [trim + moves.trim_front_stays, trim + moves.trim_rear_stays]
    ways = []
    for stays, go, others in (("front", moves.front_stays, "rear"), ("rear", moves.rear_stays, "front")):
        named = [
            f"{'raise' if up > 0 else 'lower'} {_hoist(others, len(lines), line.name)} by {abs(1000 * up):.0f} mm"
            for line, up in zip(lines, go, strict=True)
            if abs(up) > 5e-4
        ]
        ways.append(f"{', '.join(named) or 'move nothing by a millimetre'} and leave the {stays} one where it is")
    said = [f"{way} (trim then {trim:.3f} m)" for way, trim in zip(ways, trims, strict=True)]
    if not all(keeps):
        stays = "rear" if keeps[0] else "front"
        way, other = said if keeps[0] else reversed(said)
        return [f"  {way}", f"  NOT with the {stays} one where it is, a limit would be exceeded: {other}"]
    nearer = "the first" if abs(trims[0] - wished) <= abs(trims[1] - wished) else "the second"
    return [f"  {said[0]}", f"  or {said[1]}", f"  {nearer} leaves the trim nearer to the sheet's {wished:.2f} m"]


def _hoist(end: str, picks: int, name: str) -> str:
    return f"the {end} hoist ({name})" if picks == 2 else name


def _left(one: Correction) -> str:
    return f"levels then differ from the design by {_rms(one.left_db)}; as it hangs by {one.as_is_db:.2f} dB"


def _rms(db: float) -> str:
    return f"{db:.2f} dB rms ({_BANDS})"


def _coverage(of: AsBuilt) -> list[Block]:
    rows: list[list[str]] = []
    for name in (*COVERAGE, "lowest_edge_m"):
        was, now = of.design.figures[name], of.built.figures[name]
        cells = [_two(was), _two(now), _two(now - was, sign=True)]
        rows.append([_NAMES[name], *(Figure(cell, "m" if name.endswith("_m") else "") for cell in cells)])
    columns = [of.design, of.built]
    rows.append(["worst seat is at", *(_seat(one.figures["worst_seat"]) for one in columns), ""])
    lines: list[Block] = [Table(["", "design", "as built", "change"], rows, "lrrr")]
    lines.append(f"levels differ from the design by {_rms(of.correction.as_is_db)}")
    if alone := _heard_once(of):
        lines.append(f"{alone} places hear one of the two alone, and are in no difference")
    at = _place(of, of.level)
    if at is not None:
        lines.append(f"greatest change: {of.level.greatest:+.2f} dB(A) in {_seat(at)}")
    return lines


def _heard_once(of: AsBuilt) -> int:
    """How many places are hidden in one of the fields and not in the other."""
    heard = [np.isfinite(one.result["level_a"].values) for one in (of.design, of.built)]
    return int(((heard[0] != heard[1]) & (of.design.result["seat_weight"].values > 0)).sum())


def _two(value: float, *, sign: bool = False) -> str:
    return "–" if not math.isfinite(value) else f"{value:+.2f}" if sign else f"{value:.2f}"


def _seat(place: dict[str, Any] | None) -> str:
    if place is None:
        return "–"
    x, y, z = (round(value, 1) + 0.0 for value in place["position_m"])  # no minus before a nought
    return f"{place['area']} ({x:.1f}, {y:.1f}, {z:.1f}) m"


def _arrival(of: AsBuilt) -> list[str]:
    then, now = (_air(one.result) for one in (of.design, of.built))
    airs = [
        f"{a['temperature_c']:g} °C, {a['relative_humidity_pct']:g} %, {a['speed_of_sound_m_s']:.2f} m/s"
        for a in (then, now)
    ]
    lines = [f"air of the design: {airs[0]}; as built: {airs[1]}"]
    if of.readings.temperature_c is not None and of.design.venue.air.speed_of_sound_m_s is not None:
        lines.append("the venue file gives the speed of sound: the temperature that was read does not change it")
    mean, most = 1000.0 * of.arrival.mean, 1000.0 * of.arrival.greatest
    at = _place(of, of.arrival)
    if at is None:
        return [*lines, "no seat hears both: the change of arrival is not known"]
    lines.append(f"first arrival: {mean:+.3f} ms in the mean of the seats, {most:+.3f} ms at most, in {_seat(at)}")
    if abs(mean) < _LEAST_MS:
        return [*lines, "to stay aligned with what it was its delay stays"]
    todo = (
        f"add {-mean:.2f} ms to its delay" if mean < 0 else f"take {mean:.2f} ms off its delay, or add it to all else"
    )
    return [*lines, f"to stay aligned with what it was: {todo}; what stands in the same air changes with it"]


def _rigging(of: AsBuilt) -> list[Block]:
    report = of.built.report
    found, figures = counts(report.findings), rigging(report)
    lines: list[Block] = [f"{found[EXCEEDS]} exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within"]
    if figures["weakest"]:
        used = "" if figures["used"] is None else f", {min(figures['used'], 9.99):.0%} of its limit"
        lines.append(f"weakest: {figures['weakest']}{used} ({found[CANNOT]} cannot be judged)")
    lines += [*_picks(of), *_bridles(of), *_changed(of), *_bad(report)]
    return lines


def _picks(of: AsBuilt) -> list[Block]:
    picks = [_pick_data(of, index) for index in range(len(of.built.report.lines))]
    if not picks:
        return ["the hang file names no picks: loads are not known"]
    rows = [
        [str(one["name"]), *(number(value, "kg") for name, value in one.items() if name != "name")] for one in picks
    ]
    head = ["picks, at rest, kg", "hook, design", "hook, as built", "cell read", "roof, worst, design", "as built"]
    return [Table(head, rows, "lrrrrr")]


def _bridles(of: AsBuilt) -> list[Block]:
    legs = _legs(of)
    if not legs:
        return []
    rows = [
        [str(value) if isinstance(value, str) else number(value, _unit_of(name)) for name, value in leg.items()]
        for leg in legs
    ]
    head = [
        "bridle",
        "leg to",
        "length m, design",
        "tension kg",
        "from horizontal °",
        "as built: length m",
        "tension kg",
    ]
    return [Table([*head, "from horizontal °"], rows, "llrrrrrr")]


def _unit_of(name: str) -> str:
    return next((unit for end, unit in (("_kg", "kg"), ("_m", "m")) if name.endswith(end)), "")


def _changed(of: AsBuilt) -> list[Block]:
    found = changed(of.design.report.findings, of.built.report.findings)
    if not found:
        return ["no finding is judged otherwise than in the design"]
    rows: Sequence[Sequence[str]] = [[one.part, one.what, one.was or "–", one.now or "–"] for one in found]
    return ["judged otherwise than in the design:", Table(["part", "what", "design", "as built"], rows, "llll")]


def _bad(report: Report) -> list[Block]:
    bad = [finding for finding in report.findings if finding.status != WITHIN]
    return ["exceeds or cannot be judged, worst first:", findings_table(bad)] if bad else []
