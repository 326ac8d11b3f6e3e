"""The figures that a result comes to, flat, so that two runs can be set beside each other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from acoustics.app.outcome import Outcome
from acoustics.app.sheet import plain
from acoustics.app.show_check import JudgedShow
from rigging.check import Report
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts, weakest

# Two machines may round a sum differently; what differs by more is another result (a choice, no source).
WITHIN_OF, WITHIN_SHARE = 0.01, 1e-4

Figures = dict[str, float | None]

_AREA = ("level_a_mean_db", "level_a_deviation_db", "level_a_p5_p95_db", "fall_per_doubling_db")


def hang_figures(outcome: Outcome) -> Figures:
    """Numbers of a hang's evenness table and drive, its rigging counts, weakest finding and loads; None: not known."""
    summary = outcome.summary
    found: dict[str, Any] = {}
    for row in (*summary["areas"], summary["whole"]):
        found |= {f"{row['name']}: {name}": row[name] for name in _AREA}
        found[f"{row['name']}: worst_seat_db"] = (row["worst_seat"] or {}).get("from_mean_db")
        found[f"{row['name']}: positions_hidden"] = row["positions_hidden"]
        found |= {f"{row['name']}: {hz} Hz deviation_db": value for hz, value in row["octave_deviation_db"].items()}
    found["highest_drive_db"] = summary["drive"]["highest_drive_db"]
    return _numbers({**found, **_rigging(outcome.report)})


def show_figures(summary: Mapping[str, Any], judged: JudgedShow) -> Figures:
    """The same of a show, with what each part does and the delays that it proposes."""
    found: dict[str, Any] = {}
    for row in summary["areas"]:
        names = [name for name in row if name.startswith("level_a")]
        found |= {f"{row['name']}: {name}": row[name] for name in names}
        found |= {f"{row['name']}: {hz} Hz deviation_db": value for hz, value in row["octave_deviation_db"].items()}
    for part in summary["parts"]:
        for area, of in part["areas"].items():
            found[f"{part['name']}, {area}: level_a_mean_db"] = of["level_a_mean_db"]
    for delay in summary["delays"]:
        found[f"{delay['of']} to {delay['to']}: delay_ms"] = delay["delay_s"] * 1000.0
    found["highest_drive_db"] = summary["highest_drive_db"]
    for report in judged.reports:
        found |= {f"{report.hang.name}: {name}": value for name, value in _rigging(report).items()}
    return _numbers({**found, **_counted(judged.findings)})


def weakest_said(findings: list[Finding]) -> str:
    """The finding that uses most of its limit, in words; empty where none can be judged."""
    worst = weakest(findings)
    if worst is None:
        return ""
    used = "" if worst.used is None or worst.used >= 10 else f", {worst.used:.0%} of its limit"
    return f"{worst.part}: {worst.what}, {worst.status}{used}"


def moved(before: Mapping[str, float | None], now: Mapping[str, float | None]) -> list[str]:
    """What differs between two runs' figures by more than the tolerance: a line for each, from what to what."""
    lines = [f"{name}: was {_said(before[name])}, is none of this result" for name in before if name not in now]
    lines += [f"{name}: is {_said(now[name])}, was none of the pack's" for name in now if name not in before]
    for name in before:
        if name in now and not _same(before[name], now[name]):
            lines.append(f"{name}: from {_said(before[name])} to {_said(now[name])}")
    return lines


def _same(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=WITHIN_SHARE, abs_tol=WITHIN_OF)


def _said(value: float | None) -> str:
    return "not known" if value is None else f"{value:.6g}"


def _numbers(found: Mapping[str, Any]) -> Figures:
    return {name: None if (number := plain(value)) is None else float(number) for name, value in found.items()}


def _rigging(report: Report) -> dict[str, Any]:
    found: dict[str, Any] = {"mass_kg": report.hang.mass_kg, **_counted(report.findings)}
    for line in report.lines:
        found |= {f"{line.name}: hook_kg": line.hook_kg, f"{line.name}: worst_roof_kg": line.worst_roof_kg}
    return found


def _counted(findings: list[Finding]) -> dict[str, Any]:
    found, worst = counts(findings), weakest(findings)
    used = None if worst is None or worst.used is None else 100.0 * worst.used
    words = {"findings that exceed": EXCEEDS, "findings that cannot be judged": CANNOT, "findings within": WITHIN}
    return {name: found[status] for name, status in words.items()} | {"weakest: used_pct": used}
