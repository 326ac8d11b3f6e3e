"""`evenhang venue show`: what a venue file comes to, as tables and pictures, and what looks wrong with it."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from acoustics.app import folder
from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Figure, Table, number, plain
from acoustics.app.status import DONE, refusing
from acoustics.app.venue_export import venue_and_hangs
from acoustics.venue import Venue
from acoustics.venue_looks import Look, Warned, look_at, warnings_of
from rigging.cautions import CAUTIONS
from rigging.geometry import lay_out
from rigging.revision import revision


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    (venue, document), hangs = venue_and_hangs(asked)
    layouts = [lay_out(hang) for hang in hangs]
    looks = [look_at(area) for area in venue.area]
    placed = [(hang.name, hang.position_m[2], one) for hang, one in zip(hangs, layouts, strict=True)]
    warned = warnings_of(venue, placed)
    word = revision({"venue": document.data, "hangs": [dict(hang.inputs) for hang in hangs]})
    data = plain(_data(venue, looks, warned, word))
    writers = _writers(venue, looks, [layout.outline for layout in layouts], imperial=asked.imperial)
    target = folder.write(Path(asked.out), venue.name, word, writers)
    if asked.json:
        print(json.dumps({**data, "folder": str(target)}, indent=2, ensure_ascii=False))
    else:
        print(said(_blocks(venue, looks, warned, word), imperial=asked.imperial))
        print(f"\nwritten to {target}/: {', '.join(sorted(writers))}")
    return DONE


def _writers(
    venue: Venue, looks: Sequence[Look], outlines: Sequence[Any], *, imperial: bool
) -> dict[str, Callable[[Path], None]]:
    from acoustics import venue_plots
    from acoustics.app.pictures import svg_writer

    def drawn(draw: Callable[..., Any]) -> Callable[[Path], None]:
        return svg_writer(lambda: venue_plots.figure_of(draw(venue, looks, outlines)), imperial=imperial)

    pictures = {"plan": venue_plots.plan, "section": venue_plots.section, "sketch": venue_plots.sketch}
    return {f"venue-{name}.svg": drawn(draw) for name, draw in pictures.items()}


def _blocks(venue: Venue, looks: Sequence[Look], warned: Sequence[Warned], word: str) -> list[Block]:
    rows: list[list[str]] = []
    for look in looks:
        ears = "–" if look.area.role == "obstacle" else Figure(f"{look.area.ear_height_m:.2f}", "m")
        slopes = [
            f"{look.rise_deg:.1f}",
            "–" if look.away_deg != look.away_deg else f"{round(look.away_deg, 1) + 0.0:+.1f}",
        ]
        heights = [Figure(f"{height:.2f}", "m") for height in (look.low_m, look.high_m)]
        rows.append([look.area.name, look.area.role, number(look.size_m2, "m²"), *slopes, *heights, ears])
    head = ["area", "role", "size, m²", "rise, °", "away from stage, °", "lowest, m", "highest, m", "ears, m"]
    lines: list[Block] = [f"{venue.name}: revision {word}", f"datum: {venue.datum}", ""]
    lines.append(Table(head, rows, "llrrrrrr"))
    if venue.point:
        rows = []
        for point in venue.point:
            limit = "not known" if point.limit_kg is None else Figure(f"{point.limit_kg:g}", "kg")
            rows.append([point.name, *(Figure(f"{value:.2f}", "m") for value in point.position_m), limit])
        lines += ["", Table(["point", "x, m", "y, m", "height, m", "limit, kg"], rows, "lrrrr")]
    found = [f"looks wrong: {one}" for one in warned] or ["nothing looks wrong by the rules that are looked at"]
    return [*lines, "", *found, "", CAUTIONS[0]]


def _data(venue: Venue, looks: Sequence[Look], warned: Sequence[Warned], word: str) -> dict[str, Any]:
    return {
        "venue": venue.name,
        "revision": word,
        "areas": [
            {
                "name": look.area.name,
                "role": look.area.role,
                "size_m2": look.size_m2,
                "rise_deg": look.rise_deg,
                "away_from_stage_deg": look.away_deg,
                "lowest_m": look.low_m,
                "highest_m": look.high_m,
                "ear_height_m": None if look.area.role == "obstacle" else look.area.ear_height_m,
            }
            for look in looks
        ],
        "points": [{"name": p.name, "position_m": p.position_m, "limit_kg": p.limit_kg} for p in venue.point],
        "looks_wrong": [{"of": one.of, "wrong": one.wrong, "check": one.check} for one in warned],
        "cautions": list(CAUTIONS),
    }
