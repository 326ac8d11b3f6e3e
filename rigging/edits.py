"""A hang file with one thing changed by hand; comments and layout stay as they are.

Each change takes the text of a design's file and gives the new one. Whether that holds together is told when it is
loaded: `hang_from` names what does not.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import tomlkit

from rigging.equipment import Catalogue, Frame, allowed_splays
from rigging.rewrite import renumber, set_arm, set_place, with_count

# Steps that a hand can make are coarser than this; binary rounding is finer.
_DIGITS = 6


def with_value(text: str, key: str, value: float) -> str:
    """Another value of a key at the top of the file, such as `tilt_deg`; a new one stands below the tilt."""
    number, file = round(float(value), _DIGITS), tomlkit.parse(text)
    if key not in file:
        # What tomlkit adds stands below the comment of the first table.
        added, count = re.subn(r"(?m)^(tilt_deg[ \t]*=.*)$", rf"\g<1>\n{key} = {number}", text, count=1)
        if count:
            return added
    file[key] = number
    return tomlkit.dumps(file)


def with_place(text: str, axis: int, value_m: float) -> str:
    """Another x, y or z (`axis` 0 to 2) of the hang [m], written in the unit of its file."""

    return _changed(text, lambda file: set_place(file, axis, float(value_m)))


def with_splay(text: str, row: int, splay_deg: float) -> str:
    """Another splay of the joint above a row, counted from 1."""
    return _changed(text, lambda file: file["column"][row - 1].__setitem__("splay_deg", float(splay_deg)))


def with_wish(text: str, key: str, value: float) -> str:
    """Another value of a key of `[search]`."""

    def change(file: Any) -> None:
        if "search" not in file:
            file.append("search", tomlkit.table())
        file["search"][key] = round(float(value), _DIGITS)

    return _changed(text, change)


def with_hole(text: str, pick: int, on: str, hole: str) -> str:
    """A pick, counted from 1, at another hole of the frame or of the arm."""

    def change(file: Any) -> None:
        entry = file["pick"][pick - 1]
        entry["hole"] = hole
        if on != entry.get("on", "frame"):
            entry["on"] = on

    return _changed(text, change)


def with_arm(text: str, kind: str | None, end: str) -> str:
    """Another pick arm on an end of the frame, or none."""

    return _changed(text, lambda file: set_arm(file, kind, end))


def with_type(text: str, row: int, enclosure: str, catalogue: Catalogue) -> str:
    """Another type of a row, counted from 1, or of all enclosures where it is 0; splays go to the nearest allowed."""

    def change(file: Any) -> None:
        rows = file["column"] if row == 0 else [file["column"][row - 1]]
        for each in rows:
            if "enclosure" in each:
                each["enclosure"] = enclosure
        _fit(file, catalogue)

    return _changed(text, change)


def with_one_more(text: str, end: str, catalogue: Catalogue) -> str:
    """One enclosure more at the top or at the bottom, of the type that is there; it joins the drive of that row."""
    if end == "bottom":
        more = with_count(text, _enclosures(text) + 1)
        return _changed(more, lambda file: _fit(file, catalogue))

    def change(file: Any) -> None:
        first = tomlkit.table()
        first.update(file["column"][0].unwrap())
        first.add(tomlkit.nl())
        file["column"].insert(0, first)
        file["column"][1]["splay_deg"] = 0.0
        renumber(file, lambda rows: ([1] if 1 in rows else []) + [row + 1 for row in rows])
        _fit(file, catalogue)

    return _changed(text, change)


def with_one_less(text: str, end: str, catalogue: Catalogue) -> str:
    """One enclosure less at the top or at the bottom; an adapter that nothing is left beyond goes with it.

    Raises
    ------
    ValueError
        If it is the last one.
    """
    if _enclosures(text) < 2:
        raise ValueError("one enclosure is left")
    if end == "bottom":
        return with_count(text, _enclosures(text) - 1)

    def change(file: Any) -> None:
        gone, first = 0, file["column"][0].get("splay_deg", 0.0)
        while "adapter" in file["column"][0] or gone == 0:
            gone += "enclosure" in file["column"][0]
            del file["column"][0]
            renumber(file, lambda rows: [row - 1 for row in rows if row > 1])
        file["column"][0]["splay_deg"] = first
        _fit(file, catalogue)

    return _changed(text, change)


def _changed(text: str, change: Callable[[Any], None]) -> str:
    file = tomlkit.parse(text)
    change(file)
    return tomlkit.dumps(file)


def _enclosures(text: str) -> int:
    return sum("enclosure" in row for row in tomlkit.parse(text).get("column", []))


def _fit(file: Any, catalogue: Catalogue) -> None:
    """Splays that a joint does not allow go to the nearest one that it does; joints that do not mate are left alone."""
    upper: Any = catalogue.items.get(file["frame"])
    for row in file["column"]:
        lower: Any = catalogue.items.get(row.get("enclosure") or row.get("adapter"))
        if lower is None or upper is None or isinstance(lower, Frame):
            return
        allowed = allowed_splays(upper, lower)
        if allowed and row["splay_deg"] not in allowed:
            row["splay_deg"] = float(min(allowed, key=lambda one: abs(one - row["splay_deg"])))
        upper = lower
