"""Levels of a work as the page draws them: quickly while a hand moves, as `evenhang predict` has them when it rests."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics import bands, evenness
from acoustics.app.page.scene import Seen
from acoustics.app.page.work import Loaded
from acoustics.charts import Kept
from acoustics.field import Sources
from acoustics.live import near_c, quick_level
from acoustics.prediction import limits_of
from acoustics.programme import PROGRAMMES
from acoustics.rows import BALANCE_HZ, RowLevels, loud_and_octaves, row_levels
from acoustics.scene import Scene
from acoustics.search.objective import score
from acoustics.search.problem import goal_of
from acoustics.search.settings import wanted_of
from acoustics.show import Part, joined
from acoustics.show import sources_of as sources_of_part
from acoustics.show_file import Unit
from acoustics.sources import medium, sources_of
from acoustics.together import level_together, mixed
from acoustics.values import aim_ends, along, cut_values
from rigging.equipment import Catalogue
from rigging.geometry import lay_out
from rigging.hang import Hang

Array = npt.NDArray[np.float64]

TARGET_DB = 3.0  # seats that lie so near to the wish are counted (a choice, no source)
NAMES = ("A", *(f"{hz:g}" for hz in BALANCE_HZ))


class Quicks:
    """What sums quickly: for the hang in hand, for each programme channel and for all together; what did not change
    since the last time is not summed again."""

    def __init__(self) -> None:
        self.kept = Kept()
        self._last: dict[str, tuple[bytes, Array]] = {}

    def level(self, name: str, scene: Scene) -> Array:
        """Levels (29, P) of a scene. [dB]"""
        sources, air = scene.sources, scene.medium.attenuation(np.array([1000.0, 8000.0]))
        told = [sources.position, sources.axes, sources.gain, sources.delay, scene.position, air]
        sign = (
            b"".join(np.ascontiguousarray(one).tobytes() for one in told)
            + repr((sources.filters, scene.medium.c)).encode()
        )
        if name not in self._last or self._last[name][0] != sign:
            self._last[name] = sign, quick_level(scene)
        return self._last[name][1]


@dataclass(frozen=True)
class Heard:
    """Levels in third octaves at all positions of a scene (29, P) [dB], exact or quick; sources of the hang in hand."""

    level: Array
    settled: bool
    sources: Sources


def hear(
    loaded: Loaded,
    hang: Hang,
    view: Seen,
    catalogue: Catalogue,
    drive_db: float,
    sums: Kept | Quicks,
    *,
    all_parts: bool = False,
    tell: Callable[[int, int], None] | None = None,
) -> Heard:
    """What is heard of one hang, or of all together.

    `sums`: what sums quickly, or tables for the exact sum, which is told to `tell` block by block. Parts of a show are
    summed by its channels and their correlation, hangs without a show as different programmes.
    """
    through, areas = medium(loaded.venue.air), tuple(loaded.venue.area)
    quicks = sums if isinstance(sums, Quicks) else None
    c, signal = near_c(through.c) if quicks else through.c, PROGRAMMES["pink"]
    mine = sources_of(hang, lay_out(hang), catalogue, c, (), signal, drive_db)
    position = view.listening.position
    scene = Scene(mine, position, through, areas, kept=sums.kept if isinstance(sums, Quicks) else sums)
    if not all_parts:
        if quicks is None:
            return Heard(scene.bands(1, tell, refined=False).level, True, mine)
        return Heard(quicks.level("hand", scene), False, mine)
    parts, channel, correlation = _parts(loaded)
    sources = [sources_of_part(part, catalogue, c, (), signal, drive_db) for part in parts]
    if quicks is None:
        return Heard(level_together(sources, channel, scene, correlation, tell), True, mine)
    groups = sorted(set(channel))
    each = [joined([one for one, of in zip(sources, channel, strict=True) if of == name]) for name in groups]
    alone = [
        quicks.level(f"channel {index}", dataclasses.replace(scene, sources=one)) for index, one in enumerate(each)
    ]
    apart = bands.energy_sum(np.array(alone))
    if correlation == 0.0 or len(each) == 1:
        return Heard(apart, False, mine)
    same = quicks.level("all", dataclasses.replace(scene, sources=joined(each)))
    return Heard(mixed(apart, same, correlation), False, mine)


def _parts(loaded: Loaded) -> tuple[list[Part], list[int], float]:
    """Parts, the channel of each, and how far channels are the same."""
    show = loaded.show
    if show is not None:
        return list(show.parts), [show.channels.index(part.channel) for part in show.parts], show.correlation
    hangs = list(loaded.hangs.values())
    parts = [Part(hang.name, hang.name, Unit(channel=hang.name), hang, None, hang.serves) for hang in hangs]
    return parts, list(range(len(parts))), 0.0


def cover(loaded: Loaded, hang: Hang, view: Seen, heard: Heard) -> tuple[dict[str, Any], RowLevels, Array]:
    """What the page says of coverage, what rows get, and levels A and in octaves (1 + E, P). [dB]"""
    level, counts = heard.level, view.counts
    levels_a = loud_and_octaves(level)
    loud, rows = levels_a[0], row_levels(view.rows, levels_a, view.listening.seat_weight, view.rows_count)
    found = evenness.measure(loud, view.distance, counts)
    head = {
        "mean_db": found.mean,
        "spread_db": found.p95 - found.p5,
        "fall_db": found.fall_per_doubling,
        "worst": _worst(loaded, view, found),
        "near_target_pct": 100.0 * _near(loud, view),
        "hidden_pct": 100.0 * float(counts[np.isnan(loud)].sum() / max(counts.sum(), 1e-9)),
        "j_db": _j(hang, view, level),
        "areas": [_of_area(name, loud, view, index) for index, name in _served(loaded, view)],
    }
    return {**head, "words": _words(head)}, rows, levels_a


def _worst(loaded: Loaded, view: Seen, found: evenness.Evenness) -> dict[str, Any] | None:
    if found.worst is None:
        return None
    row, place = int(view.rows.of[found.worst]), view.listening.position[found.worst]
    return {
        "area": loaded.venue.area[int(view.listening.area[found.worst])].name,
        "row": int(view.rows.number[row]),
        "from_mean_db": found.worst_deviation,
        "x": float(place[0]),
        "y": float(place[1]),
    }


def _near(loud: Array, view: Seen) -> float:
    """Share of the seats within `TARGET_DB` of the wish; those without a level are not."""
    heard = np.isfinite(loud) & (view.counts > 0)
    if not heard.any():
        return 0.0
    off = loud - view.seats.wished_db
    off = off - np.average(off[heard], weights=view.counts[heard])
    return float(view.counts[heard & (np.abs(off) <= TARGET_DB)].sum() / view.counts.sum())


def _j(hang: Hang, view: Seen, level: Array) -> float:
    used = np.where(np.isnan(level).all(axis=1), np.nan, 0.0)[np.newaxis]
    goal = goal_of(wanted_of(hang), used)
    return float(score(level[goal.band][np.newaxis], view.seats, goal).j[0])


def _served(loaded: Loaded, view: Seen) -> list[tuple[int, str]]:
    mine = sorted({int(area) for area in view.rows.area[view.rows_count]})
    return [(index, loaded.venue.area[index].name) for index in mine]


def _of_area(name: str, loud: Array, view: Seen, index: int) -> dict[str, Any]:
    weight = np.where(view.listening.area == index, view.counts, 0.0)
    low, _, high = evenness.percentiles(loud, weight)
    return {"name": name, "mean_db": evenness.mean(loud, weight), "spread_db": float(high - low)}


def _words(head: Mapping[str, Any]) -> str:
    if not np.isfinite(head["mean_db"]):
        return "nothing arrives at the seats that it serves"
    worst = head["worst"]
    off = f"{worst['from_mean_db']:+.1f}".replace("-", "−") if worst else ""
    at = f"worst seat {off} dB, {worst['area']} row {worst['row']}" if worst else ""
    hidden = f"; {head['hidden_pct']:.0f} % of seats hidden" if head["hidden_pct"] >= 0.5 else ""
    near = f"{head['near_target_pct']:.0f} % of seats within ±{TARGET_DB:g} dB"
    return f"{near}; spread {head['spread_db']:.1f} dB; {at}{hidden}"


def outlines(hang: Hang) -> Array:
    """Outlines of frame and rows (N + 1, 4, 2), along the aim and up. [m]"""
    outline = lay_out(hang).outline
    return np.stack([along(outline, hang), outline[..., 2]], axis=-1)


def _aims(loaded: Loaded, hang: Hang, outline: Array) -> Array:
    """Aim lines of the enclosures (S, 2, 2) in the section, up to where they first meet something. [m]"""
    rows = np.array(hang.enclosure_rows)
    values = {
        **cut_values(loaded.venue.area, hang),
        "source_row": rows + 1,
        "aim_elevation": np.degrees(lay_out(hang).rows.aim_elevation[rows]),
        "outline_along": outline[..., 0],
        "outline_height": outline[..., 1],
    }
    ends = aim_ends(values, loaded.venue.area)
    start = outline[rows + 1, :2].mean(axis=1)
    return np.stack([start, np.column_stack([ends["aim_end_along"], ends["aim_end_height"]])], axis=1)


def drive(hang: Hang, sources: Sources, drive_db: float) -> dict[str, Any]:
    """The highest drive, and what limits it."""
    found = limits_of(hang, sources, drive_db)
    return {"highest_db": found["highest_drive_db"], "limited_by": found["limited_by"]}


def arrays(
    loaded: Loaded, hang: Hang, view: Seen, rows: RowLevels, levels_a: Array, of: str
) -> dict[str, npt.ArrayLike]:
    """Arrays of a field's frame; `of`: what the map shows, a name in `NAMES`."""
    line = view.listening.on_section
    outline = outlines(hang)
    return {
        "level": levels_a[NAMES.index(of)][~line],
        "row_mean": rows.mean,
        "row_low": rows.low,
        "row_high": rows.high,
        "balance": rows.balance,
        "curve": levels_a[:, line],
        "shape": outline,
        "aims": _aims(loaded, hang, outline),
    }


def pinned_arrays(view: Seen, rows: RowLevels, levels_a: Array, hang: Hang) -> dict[str, npt.ArrayLike]:
    """The same of a pinned option, as far as it is drawn beside the present one."""
    return {
        "pinned_row_mean": rows.mean,
        "pinned_row_low": rows.low,
        "pinned_row_high": rows.high,
        "pinned_curve": levels_a[:, view.listening.on_section],
        "pinned_shape": outlines(hang),
    }
