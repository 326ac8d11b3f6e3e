"""What quiet areas get of a show, against what they may get."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from acoustics import bands, neighbours
from acoustics.app.sheet import Table, number
from acoustics.neighbours import HARD, OCTAVES_HZ, POROUS, Span
from acoustics.show import Show
from acoustics.venue import Area
from rigging.findings import CANNOT, EXCEEDS, WITHIN

if TYPE_CHECKING:
    import xarray as xr

Array = npt.NDArray[np.float64]


def neighbours_of(show: Show, seats: xr.Dataset) -> list[dict[str, Any]]:
    """Ranges of level at the loudest place of each quiet area, with limits and status where the venue gives limits."""
    found: list[dict[str, Any]] = []
    for area in show.venue.area:
        mine = np.flatnonzero((seats["area"].values == area.name) & (area.role == "quiet"))
        if len(mine):
            found += _of_area(show, area, seats.isel(position=mine))
    return found


def _of_area(show: Show, area: Area, some: xr.Dataset) -> list[dict[str, Any]]:
    place = np.column_stack([some[axis].values for axis in "xyz"])
    of = some["source_part"].values
    sources = np.column_stack([some[f"source_{axis}"].values for axis in "xyz"])
    middle = np.array([sources[of == part].mean(axis=0) for part in range(int(of.max()) + 1)])
    far = np.hypot(*(place[np.newaxis, :, :2] - middle[:, np.newaxis, :2]).transpose(2, 0, 1))
    receiver = np.full(len(place), area.ear_height_m)
    source = np.maximum(middle[:, 2], 0.0)
    grounds = (HARD, POROUS) if show.venue.ground is None else (show.venue.ground,)
    level = some["part_level"].values
    ways = [some["level_apart"].values, some["level_same"].values]
    ways += [neighbours.with_ground(level, source, receiver, far, ground) for ground in grounds]
    accuracy = neighbours.accuracy_db((source.mean() + receiver) / 2.0, far.max(axis=0))
    rows = []
    for name, unit, limit, quantity in _quantities(area):
        values = np.array([quantity(way) for way in ways])
        if not np.isfinite(values).any():
            continue
        span = neighbours.spans(np.nanmin(values, axis=0), np.nanmax(values, axis=0), accuracy)
        rows.append({
            "area": area.name, "what": name, "unit": unit, "low_db": span.low, "high_db": span.high,
            "limit_db": limit, "status": _status(span, limit),
        })  # fmt: skip
    return rows


def _quantities(area: Area) -> Iterator[tuple[str, str, float | None, Any]]:
    """What is told of an area: both weighted levels, and the octaves that have a limit."""
    kinds: tuple[tuple[Literal["A", "C"], float | None], ...] = (("A", area.limit_db), ("C", area.limit_c_db))
    for kind, limit in kinds:
        weight = bands.weighting(bands.midbands(), kind)[:, np.newaxis]
        yield f"level, {kind}", f"dB({kind})", limit, lambda level, weight=weight: bands.energy_sum(level + weight)
    for hz in OCTAVES_HZ:
        limit = area.limit_octave_db.get(f"{hz:g}")
        if limit is not None:
            thirds = bands.octave_bands(hz)
            yield f"octave {hz:g} Hz", "dB", limit, lambda level, thirds=thirds: bands.energy_sum(level[thirds])


def _status(span: Span, limit: float | None) -> str:
    """Within only where all of the range is; exceeding only where all of it does."""
    if limit is None:
        return ""
    if np.isnan(span.high) or (span.low <= limit < span.high):
        return CANNOT
    return WITHIN if span.high <= limit else EXCEEDS


def neighbours_table(rows: list[dict[str, Any]]) -> Table:
    """The ranges, and what they hold for."""
    cells = []
    for row in rows:
        limit = "" if row["limit_db"] is None else f"≤ {number(row['limit_db'])}"
        mark = row["status"] if row["status"] in ("", WITHIN) else row["status"].upper()
        span = "not known" if np.isnan(row["high_db"]) else f"{number(row['low_db'])} to {number(row['high_db'])}"
        cells.append([row["area"], row["what"], f"{span} {row['unit']}", limit, mark])
    notes = (
        "range: direct sound without ground and with it (ISO 9613-2:1996, 7.3.1, from memory; moderate downwind,",
        "flat), channels of different and of the same programme, and the accuracy that the standard states (Table 5:",
        "1 or 3 dB, to 1000 m). Wind and temperature layers can move levels by more; reflections and a crowd are not",
        "in it, and of what is hidden only what --over-edges lets come",
    )
    return Table(["", "", "range", "limit", ""], cells, "llrrl", notes)
