"""Whether it may hang, and how it is built, as the page says it: what `rigging.check` finds, in plain data."""

from __future__ import annotations

from typing import Any

import numpy as np

from acoustics.app.check import as_data
from acoustics.app.page.changes import DRIVE_DB, not_editable, splays_of
from acoustics.app.page.work import Loaded, Work
from acoustics.search.settings import wanted_of
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.equipment import Adapter, Catalogue, Enclosure, PickArm
from rigging.findings import CANNOT, EXCEEDS, WITHIN, counts, weakest
from rigging.geometry import lay_out
from rigging.hang import Hang
from rigging.loads import all_holes
from rigging.stages import groups

# How far the sliders go; a number typed may go as far as its key allows.
_SPAN = {
    "tilt_deg": (-20.0, 20.0, 0.1), "azimuth_deg": (-90.0, 90.0, 0.5), "temperature_c": (-10.0, 45.0, 0.5),
    "relative_humidity_pct": (5.0, 100.0, 1.0), "drive_db": (*DRIVE_DB, 0.5), "fall_db": (-3.0, 6.0, 0.1),
}  # fmt: skip
_BESIDE_M, _ABOVE_M = 5.0, 30.0


def hang_values(loaded: Loaded, work: Work, hang: Hang, report: Report, catalogue: Catalogue) -> dict[str, Any]:
    """The hang in hand: its numbers, what each may be, its rows, holes and arms."""
    why, layout = not_editable(hang), lay_out(hang)
    return {
        "hang": hang.name,
        "tilt_deg": hang.tilt_deg,
        "trim_m": hang.position_m[2],
        "azimuth_deg": hang.azimuth_deg,
        "x_m": hang.position_m[0],
        "y_m": hang.position_m[1],
        "lowest_m": layout.lowest_m,
        "mass_kg": hang.mass_kg,
        "standing": hang.standing,
        "editable": not why,
        "why_not": why,
        "limits": _limits(loaded),
        "rows": _rows(hang, np.degrees(layout.rows.aim_elevation).tolist()),
        "types": catalogue.names(Enclosure),
        "holes": [] if hang.standing else [_hole(hole.name, float(hole.place[0])) for hole in all_holes(hang)],
        "picks": [
            {"pick": index, "hole": f"{pick.on} {pick.hole}", "point": pick.point or "bridle"}
            for index, pick in enumerate(hang.picks, start=1)
        ],
        "arms": [] if hang.standing else catalogue.names(PickArm),
        "arm": None if hang.arm is None else {"type": hang.arm[1].type, "end": hang.arm[1].end},
        "air": {
            "temperature_c": loaded.venue.air.temperature_c,
            "relative_humidity_pct": loaded.venue.air.relative_humidity_pct,
            "as_file": work.temperature_c is None and work.relative_humidity_pct is None,
        },
        "drive_db": work.drive_db,
        "fall_db": wanted_of(hang).fall_db,
        "hang_verdict": verdict(report),
        "built": _built(hang, report),
        "cautions": list(CAUTIONS),
    }


def _limits(loaded: Loaded) -> dict[str, Any]:
    """Lowest and highest value and the step of each slider."""
    corners = np.concatenate([area.corners for area in loaded.venue.area])
    points = [point.position_m for point in loaded.venue.point]
    top = max((place[2] for place in points), default=_ABOVE_M)
    low, high = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    for place in points:
        low, high = np.minimum(low, np.floor(place)), np.maximum(high, np.ceil(place))
    return {
        **{name: list(span) for name, span in _SPAN.items()},
        "trim_m": [0.0, float(np.ceil(top)), 0.05],
        "x_m": [float(low[0]) - _BESIDE_M, float(high[0]), 0.1],
        "y_m": [float(low[1]), float(high[1]), 0.1],
    }


def _rows(hang: Hang, aims: list[float]) -> list[dict[str, Any]]:
    cart_of = np.repeat(np.arange(len(groups(hang))), groups(hang)) + 1
    return [
        {
            "row": row,
            "type": item.name,
            "adapter": isinstance(item, Adapter),
            "splay_deg": splay,
            "splays": list(splays_of(hang, row)),
            "joint": "frame–1" if row == 1 else f"rows {row - 1}–{row}",
            "aim_deg": round(aim, 2),
            "cart": int(cart_of[row - 1]),
        }
        for row, (item, splay, aim) in enumerate(zip(hang.items, hang.splays_deg, aims, strict=True), start=1)
    ]


def _hole(name: str, x_m: float) -> dict[str, Any]:
    """A hole by the name that a message gives it: "frame 3", "arm 5"."""
    on, _, hole = name.partition(" hole ")
    return {"name": f"{on} {hole}", "x_m": round(x_m, 4)}


def verdict(report: Report) -> dict[str, Any]:
    """What the findings come to, all of them worst first, picks and stages."""
    found, worst = counts(report.findings), weakest(report.findings)
    said, tilts = as_data(report), report.stages[-1].tilts if report.stages else None
    return {
        "exceeds": found[EXCEEDS],
        "open": found[CANNOT],
        "within": found[WITHIN],
        "words": _words(found[EXCEEDS], found[CANNOT], found[WITHIN]),
        "worst": None if worst is None else {"part": worst.part, "what": worst.what, "used": worst.used},
        "reach_deg": None if tilts is None else [float(np.degrees(tilt)) for tilt in tilts],
        **{name: said[name] for name in ("findings", "picks", "stages")},
    }


def _words(exceeds: int, cannot: int, within: int) -> str:
    if exceeds:
        return f"{exceeds} {'limit' if exceeds == 1 else 'limits'} exceeded; {cannot} cannot be judged"
    if cannot:
        return f"nothing exceeds; {cannot} cannot be judged"
    return f"all {within} within"


def _built(hang: Hang, report: Report) -> dict[str, Any]:
    carts, lowest = list(groups(hang)), lay_out(hang).lowest_m
    count = len(hang.enclosure_rows)
    words = f"{count} enclosures on {len(carts)} carts; trim {hang.position_m[2]:.2f} m; lowest edge {lowest:.2f} m"
    if hang.standing:
        words = f"{count} enclosures stacked; lowest edge {lowest:.2f} m"
    return {"words": words, "design": report.design, "rows": len(hang.items), "carts": carts}
