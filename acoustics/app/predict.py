"""`evenhang predict`: read, predict, print the summary, write data and pictures."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from acoustics import air, evenness
from acoustics.app import folder
from acoustics.app.cli import AT_FAULT, DONE
from acoustics.app.sheet import plain
from acoustics.bands import OCTAVES_HZ
from acoustics.prediction import Options, predict
from acoustics.venue import load_venue
from rigging.cautions import CAUTIONS
from rigging.equipment import load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.hang import file_faults, load_hang


def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    try:
        result = _predict(asked)
        summary = summarise(result)
        target = folder.write(Path(asked.out), summary["hang"], summary["revision"], _writers(result, asked.map))
    except FileFaults as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return AT_FAULT
    if asked.json:
        print(json.dumps(plain({**summary, "folder": str(target)}), indent=2, ensure_ascii=False))
    else:
        print(text(summary))
        print(f"\nwritten to {target}/: {', '.join(sorted(_writers(result, asked.map)))}")
    return DONE


def _predict(asked: argparse.Namespace) -> xr.Dataset:
    faults: list[Fault] = []
    catalogue = hang = venue = None
    try:
        folder.prepare(Path(asked.out))
    except FileFaults as error:
        faults.extend(error.faults)
    try:
        catalogue = load_catalogue(asked.equipment)
        hang = load_hang(asked.hang, catalogue)
    except FileFaults as error:
        faults.extend(error.faults)
        if catalogue is None:
            faults.extend(file_faults(asked.hang))
    try:
        venue = load_venue(asked.venue)
    except FileFaults as error:
        faults.extend(error.faults)
    if faults or catalogue is None or hang is None or venue is None:
        raise FileFaults(faults)
    with folder.progress("positions") as tell:
        return predict(hang, *venue, catalogue, Options(asked.grid, asked.lines), tell)


def summarise(result: xr.Dataset) -> dict[str, Any]:
    """The summary of a result as plain data; a figure that does not exist is NaN."""
    a = result.attrs
    seats = result.isel(position=np.flatnonzero(~result["on_section"].values))
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
    summary["areas"] = [_figures(seats, *row) for row in rows]
    summary["whole"] = _figures(seats, "served audience", "audience", list(served))
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
    level = part["level_a"].values
    figures |= {
        "level_a_mean_db": evenness.mean(level, weight),
        "level_a_p5_p95_db": evenness.percentile(level, weight, 95) - evenness.percentile(level, weight, 5),
        "fall_per_doubling_db": evenness.fall_per_doubling(level, part["distance"].values, weight),
        "octave_deviation_db": {
            f"{hz:g}": evenness.deviation(values, weight)
            for hz, values in zip(OCTAVES_HZ, part["octave_level"].values, strict=True)
        },
    }
    return figures


def text(summary: dict[str, Any]) -> str:
    """The summary for people, 80 to 100 columns wide."""
    s, of_air = summary, summary["air"]
    speed = "ISO 9613-1" if of_air["speed_of_sound_source"] == "ISO 9613-1" else "given in the venue file"
    absorbed = (
        f"absorption ISO 9613-1 {air.ACCURACY.split(' (')[0]}" if of_air["absorption"] != "none" else "no absorption"
    )
    assumed = ", assumed: the venue file gives none" if of_air["assumed"] else ""
    lines = [
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
        "",
        *_table(s),
        "",
        "mean: of dB over the seats; fall: per doubling of the horizontal distance from the frame;",
        "hidden, partly: positions that no row, or not every row, reaches in a straight line",
        "levels: dB re 20 µPa at drive 0 dB, pink programme, from the level data in the equipment files",
        f"model:  {s['model']}",
        "",
        *(f"! {caution}" for caution in s["cautions"]),
    ]
    return "\n".join(lines)


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


def _writers(result: xr.Dataset, map_octave: float | None) -> dict[str, Callable[[Path], None]]:
    from acoustics import plots, results

    writers: dict[str, Callable[[Path], None]] = {
        "field.nc": lambda path: results.save(result, path),
        "section.svg": lambda path: plots.save_svg(plots.section(result).figure, path),
    }
    if "line" not in result.dims:
        plan = "plan.svg" if map_octave is None else f"plan-{map_octave:g}.svg"
        writers["distance.svg"] = lambda path: plots.save_svg(plots.distance_figure(result), path)
        writers[plan] = lambda path: plots.save_svg(plots.plan_figure(result, map_octave), path)
    return writers
