"""What is said of a venue that was measured by laser."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from acoustics.app.sheet import Paragraph

if TYPE_CHECKING:
    import xarray as xr


def told(a: Mapping[str, Any]) -> dict[str, Any] | None:
    """What a result's attributes say of the survey; None where the venue's file gives no shots."""
    if "measured_shots" not in a:
        return None
    found = {key.removeprefix("measured_"): value for key, value in a.items() if key.startswith("measured_")}
    found["unchecked"] = found["unchecked"].split("; ") if found["unchecked"] else []
    return found


def measured(result: xr.Dataset) -> dict[str, Any]:
    """The venue's survey as plain data, as `measured` of a summary; nothing where its file gives no shots.

    A figure that does not exist is NaN.
    """
    found = told(result.attrs)
    if found is None:
        return {}
    within = result["surface_corner_within"].values
    found["corners_m"] = {
        str(name): [[float(value) for value in corner] for corner in rows if not math.isnan(corner[0])]
        for name, rows in zip(result["surface"].values, within, strict=True)
        if not math.isnan(rows[0][0])
    }
    names = ("shot", "shot_off", "shot_off_others", "shot_limit")
    rows = zip(*(result[name].values for name in names), strict=True) if "shot" in result else ()
    found["residuals"] = [
        {"shot": str(shot), "off_m": float(off), "off_others_m": float(others), "limit_m": float(limit)}
        for shot, off, others, limit in rows
    ]
    return {"measured": found}


def measured_text(summary: Mapping[str, Any]) -> list[Paragraph]:
    """Lines of a summary: the sentence, and how far each shot lies off the plane of its area."""
    if "measured" not in summary:
        return []
    of: dict[str, list[str]] = {}
    for one in summary["measured"]["residuals"]:
        of.setdefault(one["shot"].rpartition(": ")[0], []).append(f"{round(1000.0 * one['off_m']):+d}")
    planes = "; ".join(f"{name} {' '.join(off)}" for name, off in of.items())
    lines = [measured_line(summary["measured"])]
    found = summary["measured"]["standpoints"]
    lines += [f"standpoints found: {found}"] if found else []
    lines += [f"off their planes, shots in order, mm: {planes}"] if planes else []
    return [Paragraph(f"{'' if index else 'measured':13}{text}", 98, indent=13) for index, text in enumerate(lines)]


def measured_line(of: Mapping[str, Any]) -> str:
    """The survey in a sentence."""
    residual = "no shot checks another"
    if of["residual_of"]:
        residual = f"greatest residual {1000.0 * of['residual_m']:.0f} mm ({of['residual_of']})"
    level = f"level at 8 kHz within ±{of['level_db']:.1f} dB ({of['level_of']})"
    if math.isnan(of["level_db"]):
        level = "what it means for the level at 8 kHz is not known"
    ties = [] if math.isnan(of["tie_m"]) else [f"ties within {1000.0 * of['tie_m']:.0f} mm"]
    parts = [f"{of['shots']} shots", residual, *ties, f"corners within ±{1000.0 * of['corner_m']:.0f} mm", level]
    unchecked = f"; nothing checks the shots of {', '.join(of['unchecked'])}" if of["unchecked"] else ""
    by = f"one standard deviation, for ±{of['distance_mm']:g} mm and ±{of['angle_deg']:g}° of the instrument"
    return f"{', '.join(parts)}: {by}{unchecked}"
