"""What `evenhang compare` prints and writes: one table, and which is the most even of those that may hang."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acoustics.app.check import write_text
from acoustics.app.imperial import said as said_as
from acoustics.app.pages import inside, render
from acoustics.app.sheet import Block, Figure, Table, number
from rigging.cautions import CAUTIONS
from rigging.findings import Finding

if TYPE_CHECKING:
    import xarray as xr

FIELDS = (
    "option", "hang", "enclosures", "tilt_deg", "trim_m", "temperature_c", "j_db", "level_a_mean_db",
    "level_a_p5_p95_db", "fall_per_doubling_db", "worst_seat_db", "lowest_edge_m", "exceed", "cannot_be_judged",
    "weakest", "used",
)  # fmt: skip
_HEAD = ("", "J dB", "mean dB(A)", "5–95 %", "fall", "worst seat", "lowest m", "exceed", "open", "used", "weakest")
_LEGEND = "NO: it exceeds a limit and is no option; open: findings that cannot be judged; J without its term of level"


@dataclass(frozen=True)
class Row:
    """One option: its figures by the names of `FIELDS`, what it exceeds, and its field."""

    figures: dict[str, Any]
    over: tuple[Finding, ...]
    result: xr.Dataset

    @property
    def reasons(self) -> list[str]:
        """Why it is no option; empty where it is one."""
        return [f"{one.part}: {one.what}" for one in self.over]


def best_of(rows: Sequence[Row]) -> Row | None:
    """The most even of those that exceed no limit; None where there is none."""
    return next(iter(_able(rows)), None)


def _able(rows: Sequence[Row]) -> list[Row]:
    """Options that exceed no limit and are heard, the most even first."""
    able = [row for row in rows if not row.over and math.isfinite(row.figures["j_db"])]
    return sorted(able, key=lambda row: float(row.figures["j_db"]))


def why(rows: Sequence[Row]) -> str:
    """Which option is the best, and why; or why none is."""
    able = _able(rows)
    if not able and all(row.over for row in rows):
        nearest = min(rows, key=lambda row: len(row.over))
        count = f"{len(nearest.over)} finding{'s' if len(nearest.over) > 1 else ''}"
        fewest = f"; {nearest.figures['option']} by the fewest, {count}" if len(rows) > 1 else ""
        return f"every option exceeds a limit{fewest}"
    if not able:
        return "of the options that exceed no limit none has a level at the seats"
    first, *others = able
    text = f"{first.figures['option']} is the most even of {len(able)} that exceed no limit"
    text += f", J {first.figures['j_db']:.2f} dB"
    if others:
        text += f", {others[0].figures['j_db'] - first.figures['j_db']:.2f} dB before {others[0].figures['option']}"
    unjudged = first.figures["cannot_be_judged"]
    if not unjudged:
        return text
    text += f"; {unjudged} of its findings cannot be judged, and may exceed"
    known = next((row.figures for row in others if not row.figures["cannot_be_judged"]), None)
    if known is None:
        return f"{text}; no option has all of them judged and within"
    return f"{text}; of those with all judged and within it is {known['option']}, J {known['j_db']:.2f} dB"


def data(rows: Sequence[Row], venue: str, word: str) -> dict[str, Any]:
    """The table for programs."""
    best = best_of(rows)
    return {
        "venue": venue,
        "revision": word,
        "version": metadata.version("evenhang"),
        "options": [{**row.figures, "not_an_option_because": row.reasons} for row in rows],
        "best": best.figures["option"] if best else None,
        "why": why(rows),
        "cautions": list(CAUTIONS),
    }


def files(rows: Sequence[Row], said: dict[str, Any], *, imperial: bool = False) -> dict[str, Callable[[Path], None]]:
    """Writers of the table and its pictures, by file name; `said`: what `data` gives, for JSON."""
    from acoustics import compare_plots, plots
    from acoustics.app import pictures

    options = [(row.figures["option"], row.result, "; ".join(row.reasons[:2])) for row in rows]
    drawn = {"distance": compare_plots.distances(options), "plans": compare_plots.plans(options)}
    if imperial:
        drawn = {name: pictures.in_both(figure) for name, figure in drawn.items()}
    content = {
        "compare.csv": _csv(said["options"]),
        "compare.json": f"{json.dumps(said, indent=2, ensure_ascii=False)}\n",
        "compare.html": _page(
            rows, said, {name: inside(figure, name) for name, figure in drawn.items()}, imperial=imperial
        ),
    }
    written = {f"{name}.svg": partial(plots.save_svg, figure) for name, figure in drawn.items()}
    return {**{name: partial(write_text, content=text) for name, text in content.items()}, **written}


def _csv(options: Sequence[dict[str, Any]]) -> str:
    written = io.StringIO()
    writer = csv.DictWriter(written, [*FIELDS, "not_an_option_because"], lineterminator="\n")
    writer.writeheader()
    writer.writerows({**one, "not_an_option_because": "; ".join(one["not_an_option_because"])} for one in options)
    return written.getvalue()


def _page(rows: Sequence[Row], said: dict[str, Any], figures: dict[str, str], *, imperial: bool) -> str:
    best = best_of(rows)
    body = [
        {"mark": "no" if row.over else "best" if row is best else "", "cells": _cells(row), "reasons": row.reasons}
        for row in rows
    ]
    values = {**said, "cautions_": said["cautions"], "head": _HEAD, "body": body, "legend": _LEGEND, "figures": figures}
    return render("compare.html", values, "A4 landscape", imperial=imperial)


def _cells(row: Row) -> list[str]:
    f = row.figures
    used = "" if f["used"] is None else f"{min(f['used'], 9.99):.0%}"
    levels = [number(f[name]) for name in ("j_db", "level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db")]
    seat = f"{f['worst_seat_db']:+.1f}" if math.isfinite(f["worst_seat_db"]) else "–"
    judged = [str(f["exceed"]), str(f["cannot_be_judged"])]
    return [f["option"], *levels, seat, Figure(f"{f['lowest_edge_m']:.2f}", "m"), *judged, used, f["weakest"]]


def text(rows: Sequence[Row], venue: str, word: str, *, imperial: bool = False) -> str:
    """The table for people, with feet and pounds where they are asked for."""
    best, cells = best_of(rows), []
    for row in rows:
        name, *middle, weakest = _cells(row)
        mark = "NO " if row.over else "best " if row is best else ""
        cells.append([mark + name, *middle, "; ".join(row.reasons[:2]) or weakest])
    blocks: list[Block] = [
        f"{venue}    REVISION {word}",
        *(f"! {caution}" for caution in CAUTIONS),
        "",
        Table(_HEAD, cells, "lrrrrrrrrrl"),
        _LEGEND,
        "",
        why(rows),
    ]
    return said_as(blocks, imperial=imperial)
