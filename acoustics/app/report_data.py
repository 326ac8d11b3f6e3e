"""What a report says of a hang: plain values for its pages, computed nowhere else."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from acoustics.app import check_sheet
from acoustics.app.crew_sheet import crew
from acoustics.app.outcome import Outcome
from acoustics.app.pages import Picture
from acoustics.app.sheet import number
from acoustics.app.survey_sheet import measured_line, told
from acoustics.bands import OCTAVES_HZ
from acoustics.inputs import InputFile
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts, weakest
from rigging.geometry import CENTRE_WITHIN_M

if TYPE_CHECKING:
    import xarray as xr

_MARKS = {EXCEEDS: "exceeds", CANNOT: "open", WITHIN: ""}


def hang_values(outcome: Outcome) -> dict[str, Any]:
    """Values of all pages of a hang's report."""
    summary, report = outcome.summary, outcome.report
    return {
        **heading(summary),
        "sheets": [crew(report)],
        "decision": [*decision(report.findings), *_coverage(summary)],
        "figures": _figures(outcome.result),
        "evenness": _evenness(summary),
        "headroom": _headroom(summary),
        "hearing": summary["drive"]["hearing"],
        "riggings": [rigging(report)],
        "basis": [*basis(outcome.result.attrs, outcome.asked), *check_sheet.basis_lines(report)],
        "hashes": hashes(outcome.inputs),
    }


def heading(summary: dict[str, Any]) -> dict[str, Any]:
    """What stands at the head of every page, and the cautions."""
    names = ("hang", "venue", "design", "revision", "version")
    return {**{name: summary[name] for name in names}, "cautions_": list(CAUTIONS)}


def hashes(files: Iterable[InputFile]) -> list[list[str]]:
    """What each file is, its name, its SHA-256."""
    return [[one.role, one.path.name, one.sha256] for one in files]


def rigging(report: Report) -> dict[str, Any]:
    """Findings, loads, joints and stages of a hang."""
    titled = [(title.partition(" "), table) for title, table in check_sheet.loads_tables(report)]
    tables = [{"title": f"{word.capitalize()}{space}{rest}", "table": table} for (word, space, rest), table in titled]
    return {
        "findings": [finding_values(finding) for finding in report.findings],
        "tables": tables,
        "advice": "" if report.hang.standing else report.advice,
    }


def finding_values(finding: Finding) -> dict[str, str]:
    """A finding as its cells, with the mark of its status."""
    status, part, what, value, limit, used, why = check_sheet.finding_row(finding)
    return {
        "mark": _MARKS[finding.status], "status": status, "part": part, "what": what, "value": value, "limit": limit,
        "used": used, "why": why,
    }  # fmt: skip


def decision(findings: Sequence[Finding]) -> list[dict[str, str]]:
    """Whether a limit is exceeded or something cannot be judged; findings come worst first."""
    found = counts(findings)
    mark = "exceeds" if found[EXCEEDS] else "open" if found[CANNOT] else ""
    head = "A limit is exceeded." if found[EXCEEDS] else "Not all can be judged." if found[CANNOT] else "All within."
    said = f"{found[EXCEEDS]} findings exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within"
    worst = weakest(findings)
    if worst is not None:
        used = "" if worst.used is None or worst.used >= 10 else f", {worst.used:.0%} of its limit"
        said += f"; weakest: {worst.part}, {worst.what}{used}"
    return [{"mark": mark, "head": head, "text": f"{said}."}]


def highest_drive(most: float, at: str) -> dict[str, str]:
    """The highest drive, and what limits it."""
    text = at if math.isnan(most) else f"{most:+.1f} dB, where {at} reaches its maximum"
    return {"mark": "", "head": "Highest drive:", "text": f"{text}."}


def _coverage(summary: dict[str, Any]) -> list[dict[str, str]]:
    whole, drive = summary["whole"], summary["drive"]
    seat = whole["worst_seat"]
    worst_seat = "" if seat is None else f"; worst seat {seat['from_mean_db']:+.1f} dB(A), {seat['area']}"
    spread = f"mean {number(whole['level_a_mean_db'])} dB(A), 5–95 % of the seats within "
    spread += f"{number(whole['level_a_p5_p95_db'])} dB(A){worst_seat}"
    place = f"trim {summary['trim_m']:.2f} m, lowest edge {summary['lowest_edge_m']:.2f} m, "
    place += f"tilt {summary['tilt_deg']:+.1f}°, azimuth {summary['azimuth_deg']:+.1f}°, {summary['mass_kg']:.0f} kg"
    return [
        {"mark": "", "head": "Coverage:", "text": f"{spread}."},
        highest_drive(drive["highest_drive_db"], drive["limited_by"]),
        {"mark": "", "head": "Where:", "text": f"{place} without cables."},
    ]


def _figures(result: xr.Dataset) -> dict[str, Any]:
    from acoustics import plots

    return {
        "section": Picture(plots.section(result).figure, "section"),
        "plan": Picture(plots.plan_figure(result), "plan"),
        "distance": Picture(plots.distance_figure(result), "distance"),
    }


def octave_names() -> list[str]:
    """Heads of columns of octaves: 250, 1k."""
    return [f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}" for hz in OCTAVES_HZ]


def _evenness(summary: dict[str, Any]) -> dict[str, Any]:
    head = ["", "mean dB(A)", "5–95 %", "fall", "hidden", *octave_names()]
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
    if drive["above_highest_db"] > 0:
        lines.append(f"That is {drive['above_highest_db']:.1f} dB above the highest drive.")
    if least:
        hz = min(least, key=lambda name: least[name])
        margin = number(drive["peak_margin_db"])
        lines.append(f"Least headroom: {least[hz]:.1f} dB in the band of {hz} Hz; peak margin {margin} dB.")
    else:
        lines.append("Headroom: not known, the equipment files give no greatest levels.")
    return lines


def basis(a: Mapping[str, Any], asked: Iterable[str]) -> list[str]:
    """What a result rests on, from its attributes, and what was asked for beyond the files."""
    assumed = ", assumed: the venue file gives none" if a["air_assumed"] else ""
    return [
        *asked,
        f"heights above: {a['datum']}",
        f"sides: by y against the venue's middle, y = 0; within {CENTRE_WITHIN_M:g} m of it a hang is in the centre",
        f"air: {a['temperature_c']:g} °C, {a['relative_humidity_pct']:g} %, {a['pressure_kpa']:g} kPa{assumed}; "
        f"absorption {a['absorption']}; sound {a['speed_of_sound_m_s']:.1f} m/s ({a['speed_of_sound_source']})",
        *([] if (of := told(a)) is None else [f"venue measured by laser: {measured_line(of)}"]),
        f"model: {a['model']}",
        f"versions: evenhang {a['version']}",
    ]
