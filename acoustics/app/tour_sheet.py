"""What a tour says as a whole: its table, its index page, its data; computes nothing of its own but stock."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from typing import Any
from urllib.parse import quote

from acoustics.app.imperial import said
from acoustics.app.pages import render
from acoustics.app.sheet import Block, Figure, Table, number
from acoustics.app.stop import AtFault, Done
from acoustics.app.workers import Failed
from acoustics.power import against_stock
from rigging.cautions import CAUTIONS
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, worst_first
from rigging.revision import revision

FIELDS = (
    "stop", "venue", "hang", "status", "enclosures", "types", "splays_deg", "tilt_deg", "trim_m", "lowest_edge_m",
    "j_db", "level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db", "worst_seat_db",
    "exceed", "cannot_be_judged", "weakest", "used", "points", "mass_kg", "stock", "designed", "design", "revision",
    "folder", "fault",
)  # fmt: skip
NOT_DONE = "not worked out"
_MARKS = {EXCEEDS: "exceeds", CANNOT: "open", WITHIN: "", NOT_DONE: "exceeds"}


@dataclass(frozen=True)
class Whole:
    """A tour worked out: its rows by the names of `FIELDS`, what its stops took of the stock, and its word."""

    name: str
    revision: str
    rows: tuple[dict[str, Any], ...]
    stock: tuple[tuple[str, Finding], ...]  # label of the stop
    shared: tuple[tuple[str, str], ...]  # stop and status of a show's findings beside its hangs
    shows: Mapping[str, tuple[str, str]]  # by stop: name of its show, and the folder of its report

    @property
    def faults(self) -> list[dict[str, Any]]:
        """Rows of stops that were not worked out."""
        return [row for row in self.rows if row["status"] == NOT_DONE]

    def has(self, status: str) -> bool:
        """Whether anything of the tour has this status."""
        said = [row["status"] for row in self.rows] + [one.status for _, one in self.stock]
        return status in [*said, *(one for _, one in self.shared)]


def whole_of(
    name: str, stock: Mapping[str, int], labels: Sequence[str], results: Sequence[Done | AtFault | Failed]
) -> Whole:
    """The tour from what its stops gave, in their order."""
    rows: list[dict[str, Any]] = []
    against: list[tuple[str, Finding]] = []
    shared: list[tuple[str, str]] = []
    shows: dict[str, tuple[str, str]] = {}
    words: list[Any] = []
    for label, result in zip(labels, results, strict=True):
        if not isinstance(result, Done):
            why = " | ".join(result.faults) if isinstance(result, AtFault) else result.why
            rows.append(dict.fromkeys(FIELDS) | {"stop": label, "status": NOT_DONE, "fault": why})
            words.append(None)
            continue
        data = result.data
        words.append(data["key"])
        found = list(against_stock(data["taken"], stock, "the tour's [stock]")) if stock else []
        against += [(label, one) for one in found]
        if data["show"] is not None:
            shows[label] = data["show"]["name"], f"{data['folder']}/{data['show']['folder']}"
            shared += [(label, one["status"]) for one in data["show"]["findings"]]
        taken = "; ".join(f"{name} {count} of {stock.get(name, '?')}" for name, count in data["taken"].items())
        rows += [_row(label, data, row, taken if stock else "") for row in data["rows"]]
    word = revision({"stops": words, "stock": dict(stock)})
    return Whole(name, word, tuple(rows), tuple(against), tuple(shared), shows)


def _row(label: str, data: Mapping[str, Any], row: Mapping[str, Any], taken: str) -> dict[str, Any]:
    status = EXCEEDS if row["exceed"] else CANNOT if row["cannot_be_judged"] else WITHIN
    said = {"stop": label, "venue": data["venue"], "status": status, "stock": taken}
    return dict.fromkeys(FIELDS) | dict(row) | said | {"folder": f"{data['folder']}/{row['folder']}"}


def as_data(whole: Whole) -> dict[str, Any]:
    """The tour for programs."""
    folders = [row["folder"] for row in whole.rows if row["folder"]] + [place for _, place in whole.shows.values()]
    short = [_short(label, one) for label, one in whole.stock if one.status != WITHIN]
    return {
        "tour": whole.name,
        "revision": whole.revision,
        "version": metadata.version("evenhang"),
        "runs": [{"folder": place} for place in folders],
        "rows": list(whole.rows),
        "stock": short,
        "power_and_stock_of_shows": [{"stop": label, "status": status} for label, status in _shared(whole)],
        "cautions": list(CAUTIONS),
    }


def _shared(whole: Whole) -> list[tuple[str, str]]:
    """Stops whose shows' own findings, of power and stock, are not all within, each with the worst status."""
    worst: dict[str, str] = {}
    for label, status in whole.shared:
        if status == EXCEEDS or (status == CANNOT and label not in worst):
            worst[label] = status
    return list(worst.items())


def _short(label: str, one: Finding) -> dict[str, Any]:
    return {"stop": label, "type": one.what, "taken": one.value, "there": one.limit, "status": one.status}


def as_csv(whole: Whole) -> str:
    """One row for each venue and hang; one for each stop that was not worked out."""
    text = io.StringIO()
    writer = csv.DictWriter(text, FIELDS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(whole.rows)
    return text.getvalue()


_LEVELS = ("j", "level_a_mean", "level_a_p5_p95", "fall_per_doubling", "worst_seat")
_COLUMNS = ("rows", "tilt", "trim m", "J dB", "mean dB(A)", "5–95 % dB", "fall dB", "worst seat dB", "used", "kg")


def _cells(row: Mapping[str, Any]) -> list[str]:
    """The figures of a row that stand in the index and on the screen."""
    used = "" if row["used"] is None else f"{min(row['used'], 9.99):.0%}"
    levels = [number(row[f"{name}_db"]) for name in _LEVELS]
    place = [str(row["enclosures"]), f"{row['tilt_deg']:+.1f}°", Figure(f"{row['trim_m']:.2f}", "m")]
    return [*place, *levels, used, Figure(f"{row['mass_kg']:.0f}", "kg")]


def page(whole: Whole, *, imperial: bool = False) -> str:
    """The index of all reports, one HTML file; with feet and pounds where they are asked for."""
    done = [row for row in whole.rows if row["status"] != NOT_DONE]
    shared = dict(_shared(whole))
    stops = []
    for label in dict.fromkeys(row["stop"] for row in done):
        rows = [row for row in done if row["stop"] == label]
        show = _link(*whole.shows[label]) if label in whole.shows else None
        status = shared.get(label, "")
        one = {"label": label, "venue": rows[0]["venue"], "show": show, "rows": [_index_row(row) for row in rows]}
        stops.append({**one, "shared": status, "mark": _MARKS[status or WITHIN]})
    return render(
        "tour.html",
        {
            "tour": whole.name,
            "revision": whole.revision,
            "version": metadata.version("evenhang"),
            "head": f"{len(stops)} stops worked out, {len(whole.faults)} not",
            "faults": [{"stop": row["stop"], "why": row["fault"]} for row in whole.faults],
            "columns": _COLUMNS,
            "stops": stops,
            "stock": list(_truck(whole)),
            "cautions": list(CAUTIONS),
        },
        "A4 landscape",
        imperial=imperial,
    )


def _index_row(row: Mapping[str, Any]) -> dict[str, Any]:
    words = [f"weakest: {row['weakest']}"] if row["weakest"] else []
    words += [f"points: {row['points']}"] if row["points"] else []
    words += {"no": [], "yes": ["designed"]}.get(row["designed"], [f"designed: {row['designed']}"])
    found = f"{row['exceed']} exceed, {row['cannot_be_judged']} open" if row["status"] != WITHIN else "all within"
    index = {"mark": _MARKS[row["status"]], "findings": found, "words": "; ".join(words)}
    return index | {"hang": _link(row["hang"], row["folder"]), "cells": _cells(row)}


def _link(name: str, folder: str) -> dict[str, str]:
    return {"name": name, "link": quote(f"{folder}/report.html")}


def _truck(whole: Whole) -> Iterator[dict[str, Any]]:
    """Every type with the stop that takes most of it, what runs out first."""
    seen: set[str] = set()
    for one in worst_first(one for _, one in whole.stock):
        if one.what in seen:
            continue
        seen.add(one.what)
        most = max((other.value or 0.0) for _, other in whole.stock if other.what == one.what)
        where = ", ".join(label for label, other in whole.stock if other.what == one.what and other.value == most)
        there = "not in the tour's stock" if one.limit is None else f"{one.limit:.0f}"
        word = {EXCEEDS: "RUNS OUT", CANNOT: "not counted", WITHIN: "enough"}[one.status]
        row = {"mark": _MARKS[one.status], "status": word, "name": one.what, "there": there}
        yield row | {"most": f"{most:.0f}", "where": where}


def text(whole: Whole, kept: int, *, imperial: bool = False) -> str:
    """What is printed, with feet and pounds where they are asked for."""
    return said(_blocks(whole, kept), imperial=imperial)


def _blocks(whole: Whole, kept: int) -> list[Block]:
    """A line for each hang, what was not worked out, what runs out."""
    done = [row for row in whole.rows if row["status"] != NOT_DONE]
    body = []
    for row in done:
        counted = [str(row["exceed"]), str(row["cannot_be_judged"])]
        body.append([row["venue"], row["hang"], *_cells(row), *counted, row["weakest"]])
    lines: list[Block] = [f"{whole.name}    REVISION {whole.revision}", *(f"! {caution}" for caution in CAUTIONS), ""]
    lines.append(Table(["venue", "hang", *_COLUMNS, "exceed", "open", "weakest"], body, "llrrrrrrrrrrrrl"))
    short = [one for one in _truck(whole) if one["mark"]]
    if short:
        rows = [[one["status"], one["name"], one["most"], one["there"], one["where"]] for one in short]
        lines += ["", Table(["truck", "type", "taken", "there", "where"], rows, "llrrl")]
    lines += [f"{label}: power and stock of the show: {status}" for label, status in _shared(whole)]
    lines += [f"NOT WORKED OUT  {row['stop']}: {row['fault']}" for row in whole.faults]
    stops = len({row["stop"] for row in done})
    return [*lines, "", f"{stops} stops worked out, {kept} of them before; {len(whole.faults)} not"]
