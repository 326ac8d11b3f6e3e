"""`evenhang compare`: hangs, tilts, trims and temperatures side by side, each predicted and judged."""

from __future__ import annotations

import argparse
import csv
import dataclasses
import io
import itertools
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from acoustics.app import check as check_command
from acoustics.app import folder, whatif
from acoustics.app.sheet import number, plain, table
from acoustics.app.status import DONE, EXCEEDS, refusing
from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from acoustics.search.objective import score
from acoustics.search.problem import goal_of, served
from acoustics.search.seats import Wish, seats_of
from acoustics.search.settings import Wanted, wanted_of
from acoustics.venue import Venue
from rigging import findings
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.findings import Finding, counts
from rigging.hang import Hang, load_hang, muted
from rigging.policy import Policy
from rigging.revision import revision

if TYPE_CHECKING:
    import xarray as xr

MOST_OPTIONS = 60
_FIELDS = (
    "option", "hang", "tilt_deg", "trim_m", "temperature_c", "j_db", "level_a_mean_db", "level_a_p5_p95_db",
    "fall_per_doubling_db", "worst_seat_db", "lowest_edge_m", "exceed", "cannot_be_judged", "weakest", "used",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One option: its figures by the names of `_FIELDS`, what it exceeds, and its field."""

    figures: dict[str, Any]
    over: tuple[Finding, ...]
    result: xr.Dataset


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    catalogue, hangs, beside, venue, document, policy = _read(asked)
    options = list(_options(hangs, venue, asked))
    if len(options) > MOST_OPTIONS:
        wrong = f"are {len(options)} options, {MOST_OPTIONS} at most can be compared"
        raise FileFaults([Fault("options", "", wrong, "take wider steps")])
    with folder.progress("options") as tell:
        rows = []
        for name, hang, air in options:
            rows.append(_row(name, hang, air, document, catalogue, policy, beside, asked))
            tell(1, len(options))
    best = _best(rows)
    inputs = {"hangs": [dict(hang.inputs) for _, hang, _ in options], "venue": document.data}
    inputs["beside"] = [dict(hang.inputs) for hang in beside]
    word = revision({**inputs, "asked": _said(asked)})
    data: dict[str, Any] = {"venue": venue.name, "revision": word, "options": [_data(row) for row in rows]}
    data |= {"best": best.figures["option"] if best else None, "why": _why(best, rows), "cautions": list(CAUTIONS)}
    files = _files(rows, data)
    target = folder.write(Path(asked.out), f"compare {hangs[0].name}", word, files)
    if asked.json:
        print(json.dumps(plain({**data, "folder": str(target)}), indent=2, ensure_ascii=False))
    else:
        print(_text(venue, rows, best, word))
        print(f"\nwritten to {target}/: {', '.join(sorted(files))}")
    return DONE if best else EXCEEDS


def _said(asked: argparse.Namespace) -> dict[str, Any]:
    names = ("tilt", "trim", "temperature", "mute", "limit", "grid")
    return {name: getattr(asked, name) for name in names if getattr(asked, name) is not None}


def _read(asked: argparse.Namespace) -> tuple[Catalogue, list[Hang], list[Hang], Venue, Document, Policy]:
    """The files: hangs that are options, then those that hang beside each of them."""
    if len(asked.files) < 2:
        raise FileFaults([Fault("VENUE", "", "is missing", "name hang files, then a venue file")])
    *paths, asked.venue = asked.files
    asked.hang = paths[0]
    catalogue, hangs, loaded, policy = check_command.read(asked)
    assert loaded is not None
    others = [load_hang(path, catalogue) for path in paths[1:]]
    rows = whatif.rows_of(asked.mute)
    return catalogue, [muted(hang, rows) for hang in (hangs[0], *others)], hangs[1:], *loaded, policy


def _options(hangs: Sequence[Hang], venue: Venue, asked: argparse.Namespace) -> Iterator[tuple[str, Hang, Venue]]:
    """Every hang at every tilt, trim and temperature that was asked for, with a name of what differs."""
    for hang in hangs:
        tilts, trims = asked.tilt or (hang.tilt_deg,), asked.trim or (hang.position_m[2],)
        for tilt, trim, warm in itertools.product(tilts, trims, asked.temperature or (venue.air.temperature_c,)):
            x, y, _ = hang.position_m
            inputs = {**hang.inputs, "asked": {"tilt_deg": tilt, "trim_m": trim}}
            there = dataclasses.replace(hang, tilt_deg=tilt, position_m=(x, y, trim), inputs=inputs)
            air = venue.model_copy(update={"air": venue.air.model_copy(update={"temperature_c": warm})})
            words = [hang.name] if len(hangs) > 1 else []
            words += [f"tilt {tilt:+g}°"] if asked.tilt else []
            words += [f"trim {trim:g} m"] if asked.trim else []
            words += [f"{warm:g} °C"] if asked.temperature else []
            yield ", ".join(words) or hang.name, there, air


def _row(
    name: str,
    hang: Hang,
    venue: Venue,
    document: Document,
    catalogue: Catalogue,
    policy: Policy,
    beside: Sequence[Hang],
    asked: argparse.Namespace,
) -> Row:
    result = predict(hang, venue, document, catalogue, Options(grid_m=asked.grid))
    report = check(hang, catalogue, policy, venue, beside, document.data)
    summary, found = summarise(result), counts(report.findings)
    whole, known = summary["whole"], [one for one in report.findings if one.status != findings.CANNOT]
    figures = {
        "option": name, "hang": hang.name, "tilt_deg": hang.tilt_deg, "trim_m": hang.position_m[2],
        "temperature_c": venue.air.temperature_c, "j_db": _uneven(result, hang, venue, wanted_of(hang)),
        **{key: whole[key] for key in ("level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db")},
        "worst_seat_db": whole["worst_seat"]["from_mean_db"] if whole["worst_seat"] else float("nan"),
        "lowest_edge_m": summary["lowest_edge_m"], "exceed": found[findings.EXCEEDS],
        "cannot_be_judged": found[findings.CANNOT],
        "weakest": f"{known[0].part}: {known[0].what}" if known else "", "used": known[0].used if known else None,
    }  # fmt: skip
    return Row(figures, tuple(one for one in report.findings if one.status == findings.EXCEEDS), result)


def _uneven(result: xr.Dataset, hang: Hang, venue: Venue, wanted: Wanted) -> float:
    """J over all seats without its term of level: options are compared with each other, not with a law. [dB]"""
    used = np.where(np.isnan(result["level"].values).all(axis=1), np.nan, 0.0)[np.newaxis]
    goal = goal_of(wanted, used)
    areas = {area.name: area for area in venue.area}
    mine = {area.name for area, is_served in zip(venue.area, served(hang, venue.area), strict=True) if is_served}
    place = np.stack([result[axis].values for axis in "xyz"], axis=-1)
    wish = Wish(wanted.fall_db, wanted.fall_of_db, wanted.front_m, wanted.front_weight)
    of = [areas[str(name)] for name in result["area"].values]
    seats = seats_of(place, result["seat_weight"].values, of, mine, np.array(hang.position_m), wish)
    return float(score(result["level"].values[goal.band][np.newaxis], seats, goal).j[0])


def _best(rows: Sequence[Row]) -> Row | None:
    """The most even of those that exceed no limit; None where all do."""
    able = [row for row in rows if not row.over]
    return min(able, key=lambda row: row.figures["j_db"], default=None)


def _why(best: Row | None, rows: Sequence[Row]) -> str:
    if best is None:
        return "every option exceeds a limit"
    able = sorted((row for row in rows if not row.over), key=lambda row: float(row.figures["j_db"]))
    name, least = best.figures["option"], best.figures["j_db"]
    text = f"{name} is the most even of {len(able)} that exceed no limit, J {least:.2f} dB"
    if len(able) > 1:
        second = able[1].figures
        text += f", {second['j_db'] - least:.2f} dB before {second['option']}"
    open_ones = best.figures["cannot_be_judged"]
    return text + (f"; {open_ones} of its findings cannot be judged" if open_ones else "")


def _data(row: Row) -> dict[str, Any]:
    reasons = [f"{one.part}: {one.what}" for one in row.over]
    return {**row.figures, "not_an_option_because": reasons}


def _files(rows: Sequence[Row], data: dict[str, Any]) -> dict[str, Callable[[Path], None]]:
    from acoustics import compare_plots, plots

    text = io.StringIO()
    writer = csv.DictWriter(text, [*_FIELDS, "not_an_option_because"], lineterminator="\n")
    writer.writeheader()
    for row in rows:
        flat = _data(row)
        writer.writerow(flat | {"not_an_option_because": "; ".join(flat["not_an_option_because"])})
    said = json.dumps(plain(data), indent=2, ensure_ascii=False)
    options = [(row.figures["option"], row.result, bool(row.over)) for row in rows]
    return {
        "compare.csv": partial(check_command.write_text, content=text.getvalue()),
        "compare.json": partial(check_command.write_text, content=f"{said}\n"),
        "distance.svg": lambda path: plots.save_svg(compare_plots.distances(options), path),
        "plans.svg": lambda path: plots.save_svg(compare_plots.plans(options), path),
    }


def _text(venue: Venue, rows: Sequence[Row], best: Row | None, word: str) -> str:
    cells = []
    for row in rows:
        f = row.figures
        mark = "NO " if row.over else "best " if row is best else ""
        used = "" if f["used"] is None else f"{min(f['used'], 9.99):.0%}"
        seat = f"{f['worst_seat_db']:+.1f}"
        levels = [number(f[name]) for name in ("j_db", "level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db")]
        reason = "; ".join(f"{one.part}: {one.what}" for one in row.over[:2]) or f["weakest"]
        judged = [str(f["exceed"]), str(f["cannot_be_judged"])]
        cells.append([mark + f["option"], *levels, seat, f"{f['lowest_edge_m']:.2f}", *judged, used, reason])
    head = ["", "J dB", "mean dB(A)", "5–95 %", "fall", "worst seat", "lowest m", "exceed", "open", "used", "weakest"]
    return "\n".join([
        f"{venue.name}    REVISION {word}",
        *(f"! {caution}" for caution in CAUTIONS),
        "",
        *table(head, cells, "lrrrrrrrrrl"),
        "NO: it exceeds a limit and is no option; open: findings that cannot be judged; J without its term of level",
        "",
        _why(best, rows),
    ])  # fmt: skip
