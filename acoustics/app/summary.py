"""The summary of a prediction: as plain data, and as text."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from acoustics import air, evenness, hearing
from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Paragraph
from acoustics.app.survey_sheet import measured, measured_text
from acoustics.bands import NOMINAL_HZ, OCTAVES_HZ, octave_bands
from acoustics.programme import PROGRAMMES
from acoustics.scene import MOST_POINTS, SETTLED_DB
from rigging.cautions import CAUTIONS

if TYPE_CHECKING:
    import xarray as xr


_SUMMARISED = ("level", "level_a", "level_c", "octave_level", "hidden")
# The third octaves of the octaves that are reported, 200 Hz to 10 kHz.
_OCTAVE_BANDS = slice(octave_bands(OCTAVES_HZ[0]).start, octave_bands(OCTAVES_HZ[-1]).stop)


def summarise(result: xr.Dataset, average_below_db: float = 0.0) -> dict[str, Any]:
    """The summary of a result as plain data; a figure that does not exist is NaN.

    `average_below_db`: how far the average of the event is assumed to lie below the drive, for the note on hearing.
    """
    a = result.attrs
    kept = [name for name in _SUMMARISED if name in result]
    seats = result[kept].isel(position=np.flatnonzero(~result["on_section"].values))
    served = result["surface"].values[result["surface_served"].values]
    summary: dict[str, Any] = {
        key: a[key] for key in ("hang", "venue", "design", "revision", "version", "datum", "model", "trim_m")
    }
    summary |= {key: a[key] for key in ("tilt_deg", "azimuth_deg", "lowest_edge_m", "mass_kg")}
    summary["air"] = {
        key: a[key]
        for key in ("temperature_c", "relative_humidity_pct", "pressure_kpa", "absorption", "speed_of_sound_m_s")
    } | {"assumed": bool(a["air_assumed"]), "speed_of_sound_source": a["speed_of_sound_source"]}
    rows = [
        (str(name), str(role), [name])
        for name, role in zip(result["surface"].values, result["surface_role"].values, strict=True)
    ]
    rows = [row for row in rows if row[1] != "obstacle"]
    summary |= measured(result)
    summary["areas"] = [_figures(seats, *row) for row in rows]
    summary["whole"] = _figures(seats, "served audience", "audience", list(served))
    if "line" in result.dims:
        summary["drive"] = {"drive_db": a["drive_db"]}
    else:
        summary["drive"] = _drive(result, seats, list(served), average_below_db)
        summary["contrast"] = _contrasts(seats, list(served), [row[0] for row in rows if row[1] == "quiet"])
        summary["refinement"] = _refinement(result)
        summary["bands"] = {
            "left_out_hz": _bands(a["bands_left_out"]),
            "without_level_hz": _bands(a["bands_without_level"]),
        }
    summary["cautions"] = list(CAUTIONS)
    return summary


def _figures(seats: xr.Dataset, name: str, role: str, areas: list[Any]) -> dict[str, Any]:
    part = seats.isel(position=np.flatnonzero(np.isin(seats["area"].values, areas)))
    hidden = part["hidden"].values.all(axis=0)
    weight = part["seat_weight"].values
    figures: dict[str, Any] = {
        "name": name,
        "role": role,
        "area_m2": float(weight.sum()),
        "positions": int(part.sizes["position"]),
        "positions_hidden": int(hidden.sum()),
        "positions_partly_hidden": int((part["hidden"].values.any(axis=0) & ~hidden).sum()),
    }
    if "line" in part.dims:
        means = {
            f"{hz:.10g}": evenness.mean(level, weight)
            for hz, level in zip(part["line"].values, part["level"].values, strict=True)
        }
        return figures | {"line_mean_db": means}
    # Where no row reaches in a straight line, what comes over an edge does not count for evenness.
    counted = np.where(hidden & (role == "audience"), 0.0, weight)
    found = evenness.measure(part["level_a"].values, part["distance"].values, counted)
    rms, p95 = evenness.shape_spread(part["level"].values[_OCTAVE_BANDS], counted)
    return figures | {
        "level_a_mean_db": found.mean,
        "level_a_deviation_db": found.deviation,
        "level_a_percentiles_db": {"5": found.p5, "50": found.p50, "95": found.p95},
        "level_a_p5_p95_db": found.p95 - found.p5,
        "fall_per_doubling_db": found.fall_per_doubling,
        "worst_seat": _seat(part, found),
        "shape_spread_db": {"rms": rms, "p95": p95},
        "octave_deviation_db": _octaves(part, counted, OCTAVES_HZ),
        "octaves_avixa_full": [
            dataclasses.asdict(octave) for octave in evenness.octave_evenness(part["level"].values, counted, "full")
        ],
    }


def _octaves(part: xr.Dataset, weight: npt.NDArray[np.float64], octaves: Sequence[float]) -> dict[str, float]:
    values = part["octave_level"].values
    return {f"{hz:g}": evenness.deviation(level, weight) for hz, level in zip(octaves, values, strict=True)}


def _seat(part: xr.Dataset, found: evenness.Evenness) -> dict[str, Any] | None:
    """The seat farthest from the mean, and where it is."""
    if found.worst is None:
        return None
    place = [float(part[axis].values[found.worst]) for axis in "xyz"]
    area = str(part["area"].values[found.worst])
    return {"area": area, "position_m": place, "from_mean_db": found.worst_deviation}


def _contrasts(seats: xr.Dataset, served: list[Any], quiet: list[str]) -> list[dict[str, Any]]:
    """How much louder the served audience is than each quiet area."""

    def of(areas: list[Any]) -> tuple[Any, Any]:
        part = seats.isel(position=np.flatnonzero(np.isin(seats["area"].values, areas)))
        return part["level_a"].values, part["seat_weight"].values

    found = [(name, evenness.contrast(*of(served), *of([name]))) for name in quiet]
    return [{"quiet": name, "to_mean_db": mean, "to_greatest_db": greatest} for name, (mean, greatest) in found]


def _drive(result: xr.Dataset, seats: xr.Dataset, served: list[Any], average_below_db: float) -> dict[str, Any]:
    """The drive, the highest one and what it gives at the loudest seat, and what that means for hearing."""
    a = result.attrs
    audience = seats.isel(position=np.flatnonzero(np.isin(seats["area"].values, served)))
    loudest = {kind: _greatest(audience[f"level_{kind}"].values) for kind in ("a", "c")}
    of = PROGRAMMES[a["programme"]]
    headroom = result["headroom"].values
    known = ~np.isnan(headroom).all(axis=0)
    least = {f"{hz:g}": float(np.nanmin(headroom[:, i])) for i, hz in enumerate(result["band"].values) if known[i]}
    judged = hearing.judge(loudest["a"], loudest["c"], of.crest_db, average_below_db)
    return {
        "drive_db": a["drive_db"],
        "programme": of.name,
        "programme_source": of.source,
        "highest_drive_db": a["highest_drive_db"],
        "above_highest_db": max(a["drive_db"] - a["highest_drive_db"], 0.0),
        "limited_by": a["limited_by"],
        "peak_margin_db": a["peak_margin_db"],
        "least_headroom_db": least,
        "loudest_seat_a_db": loudest["a"],
        "loudest_seat_c_db": loudest["c"],
        "hearing": hearing.lines(judged),
    }


def _bands(text: str) -> dict[str, list[float]]:
    """Bands of each type from an attribute such as "large: 25 Hz; large: 31.5 Hz"."""
    found: dict[str, list[float]] = {}
    for entry in text.split("; ") if text else ():
        name, _, hz = entry.removesuffix(" Hz").rpartition(": ")
        found.setdefault(name, []).append(float(hz))
    return found


def _greatest(level: npt.NDArray[np.float64]) -> float:
    known = level[~np.isnan(level)]
    return float(known.max()) if len(known) else math.nan


def _refinement(result: xr.Dataset) -> dict[str, Any]:
    """At how many positions twice the points per enclosure move a level within 20 dB of its band's greatest."""
    change, a = result["refinement"].values, result.attrs
    told = {"points_per_enclosure": a["points_per_enclosure"], "asked": a["points_asked"]}
    if a["refinement_unknown"]:
        return {**told, "known": False, "why": a["refinement_unknown"]}
    finer = result["level"].values + change
    counts = finer >= np.nanmax(finer, axis=1, keepdims=True, initial=-np.inf) - 20.0
    change = np.abs(change)
    return {
        **told,
        "known": True,
        "positions_moved": int(((change > SETTLED_DB) & counts).any(axis=0).sum()),
        "positions": int(change.shape[1]),
        "greatest_db": float(np.max(change, initial=0.0, where=counts)),
    }


def text(summary: dict[str, Any], *, imperial: bool = False) -> str:
    """The summary for people, 80 to 100 columns wide; with feet and pounds where they are asked for."""
    return said(_blocks(summary), imperial=imperial)


def _blocks(summary: dict[str, Any]) -> list[Block]:
    s, of_air = summary, summary["air"]
    speed = "ISO 9613-1" if of_air["speed_of_sound_source"] == "ISO 9613-1" else "given in the venue file"
    absorbed = (
        f"absorption ISO 9613-1 {air.ACCURACY.split(' (')[0]}" if of_air["absorption"] != "none" else "no absorption"
    )
    assumed = ", assumed: the venue file gives none" if of_air["assumed"] else ""
    return [
        f"{s['hang']}  in  {s['venue']}",
        f"DESIGN {s['design']}    REVISION {s['revision']}    evenhang {s['version']}",
        "",
        f"trim         {s['trim_m']:.2f} m  (frame reference, its front pivot line)",
        f"lowest edge  {s['lowest_edge_m']:.2f} m",
        f"heights above: {s['datum']}",
        f"tilt {s['tilt_deg']:+.1f}°  azimuth {s['azimuth_deg']:+.1f}° (positive to stage left, house right)",
        f"mass         {s['mass_kg']:.1f} kg  (frame, enclosures, adapters; no hoists, cables or hardware)",
        f"air          {of_air['temperature_c']:g} °C, {of_air['relative_humidity_pct']:g} %, "
        f"{of_air['pressure_kpa']:g} kPa{assumed}; {absorbed}",
        f"sound        {of_air['speed_of_sound_m_s']:.1f} m/s, {speed}",
        *measured_text(s),
        "",
        *_table(s),
        "",
        *_legend(s),
        *_more(s),
        Paragraph(f"model:  {s['model']}", 98, 8),
        "",
        *(f"! {caution}" for caution in s["cautions"]),
    ]


def _legend(summary: dict[str, Any]) -> list[str]:
    """What the columns are, and what the levels hold for."""
    drive = summary["drive"]
    at = f"levels: dB re 20 µPa at drive {drive['drive_db']:+g} dB"
    hidden = "hidden, partly: positions that no row, or not every row, reaches in a straight line"
    if "refinement" not in summary:
        return [
            "mean: of dB over the seats;",
            hidden,
            f"{at}; a single frequency has no programme: it has the level that",
            "the equipment files give for its band",
        ]
    return [
        "mean: of dB over the seats; fall: per doubling of the horizontal distance from the frame;",
        hidden,
        f"{at}{_over(drive['above_highest_db'])}, {drive['programme']} programme,",
        "from the level data in the equipment files",
    ]


def _more(summary: dict[str, Any]) -> list[Block]:
    if "refinement" not in summary:
        return [""]
    drive, near, worst = summary["drive"], summary["refinement"], summary["whole"]["worst_seat"]
    lines: list[Block] = [""]
    if worst is not None:
        x, y, z = worst["position_m"]
        where = f"{worst['area']}, x {x:.1f}, y {y:.1f}, z {z:.1f} m"
        lines.append(_entry("worst seat", f"{worst['from_mean_db']:+.1f} dB(A) from the mean: {where}"))
    spread = summary["whole"]["shape_spread_db"]
    lines.append(
        f"tone         differs between seats by {_db(spread['rms'])} dB rms over the third octaves 200 Hz to 10 kHz"
    )
    for row in summary["contrast"]:
        below = f"{_db(row['to_mean_db'])} dB(A) below the audience, its loudest place {_db(row['to_greatest_db'])}"
        lines.append(_entry("quiet", f"{row['quiet']}: {below}"))
    most = drive["highest_drive_db"]
    highest = (
        drive["limited_by"] if math.isnan(most) else f"{most:+.1f} dB, where {drive['limited_by']} reaches its maximum"
    )
    over = _over(drive["above_highest_db"])
    lines.append(_entry("drive", f"{drive['drive_db']:+g} dB{over}; highest: {highest}"))
    lines.append(_entry("close", _close(near)))
    lines += [_entry("bands", line) for line in _without(summary["bands"])]
    noted = [Paragraph(line, 98, indent=4, first=2) for line in drive["hearing"]]
    return [*lines, "", "hearing, loudest served seat:", *noted, ""]


def _entry(name: str, value: str) -> Paragraph:
    return Paragraph(f"{name:13}{value}", 98, indent=13)


def _over(above_db: float) -> str:
    """The flag of a drive that the enclosures cannot follow; nothing where the highest drive is not known."""
    return f" (ABOVE THE HIGHEST by {max(above_db, 0.1):.1f} dB)" if above_db > 1e-9 else ""


def _close(near: dict[str, Any]) -> str:
    count = near["points_per_enclosure"]
    points = f"{count} point{'s' if count > 1 else ''} per enclosure"
    if not near["known"]:
        return f"{points}; what twice as many would change is not known: {near['why']}"
    if not near["positions_moved"]:
        return f"{points}; twice as many move no level within 20 dB of the greatest by {SETTLED_DB:g} dB"
    still = ""
    if count >= MOST_POINTS:
        points += ", the most there are"
        still = "still "
    advice = "" if near["asked"] == "auto" or count >= MOST_POINTS else ": --points auto doubles them"
    return (
        f"{points}; twice as many {still}move levels by more than {SETTLED_DB:g} dB at {near['positions_moved']} of "
        f"{near['positions']} positions, by {near['greatest_db']:.1f} dB at most{advice}"
    )


def _without(of: dict[str, dict[str, list[float]]]) -> list[str]:
    """Lines that name the bands that are not in the result, by type."""
    reasons = (("left_out_hz", "left out, outside its measured data"), ("without_level_hz", "no level in its file"))
    return [f"{why}: {name} {_ranges(hz)} Hz" for key, why in reasons for name, hz in of[key].items()]


def _ranges(hz: Sequence[float]) -> str:
    """Third octaves as ranges, such as "25–40, 12500–16000"."""
    index = [NOMINAL_HZ.index(value) for value in hz]
    starts = [i for i in index if i - 1 not in index]
    ends = [i for i in index if i + 1 not in index]
    pairs = zip(starts, ends, strict=True)
    return ", ".join(f"{NOMINAL_HZ[i]:g}–{NOMINAL_HZ[j]:g}" if j > i else f"{NOMINAL_HZ[i]:g}" for i, j in pairs)


def _table(summary: dict[str, Any]) -> list[str]:
    rows = [*summary["areas"], summary["whole"]]
    width = max(len(row["name"]) + (8 if row["role"] == "quiet" else 0) for row in rows)
    if "line_mean_db" in rows[0]:
        lines = list(rows[0]["line_mean_db"])
        lines_head = f"{'mean level, dB':{width}}  hidden/partly/all" + "".join(f"{hz + ' Hz':>12}" for hz in lines)
        body = [
            f"{_row_name(row):{width}}  {_hidden(row):>17}"
            + "".join(f"{_db(row['line_mean_db'][hz]):>12}" for hz in lines)
            for row in rows
        ]
        return [lines_head, *body]
    octaves = list(rows[0]["octave_deviation_db"])
    pad = " " * width
    head = [
        f"{pad}    mean  spread    fall/     hidden/    standard deviation of the octave, dB",
        f"{pad}   dB(A)  5–95 %  doubling  partly/all" + "".join(f"{hz:>7}" for hz in octaves),
    ]
    body = [
        f"{_row_name(row):{width}}  {_db(row['level_a_mean_db']):>6}  {_db(row['level_a_p5_p95_db']):>6}"
        f"  {_db(row['fall_per_doubling_db']):>8}  {_hidden(row):>10}"
        + "".join(f"{_db(row['octave_deviation_db'][hz]):>7}" for hz in octaves)
        for row in rows
    ]
    return [*head, *body]


def _row_name(row: dict[str, Any]) -> str:
    return f"{row['name']} (quiet)" if row["role"] == "quiet" else str(row["name"])


def _hidden(row: dict[str, Any]) -> str:
    return f"{row['positions_hidden']}/{row['positions_partly_hidden']}/{row['positions']}"


def _db(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.1f}"
