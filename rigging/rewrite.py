"""A hang file with other splays, tilt, trim, picks or rows; comments, layout and line ends stay as they are."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import tomlkit

from rigging.hang import Hang
from rigging.models import IMPERIAL, feet_of


def rewritten(text: str, hang: Hang) -> str:
    """The text of a design's file with what a search may choose taken from a hang: it comes to that hang.

    Parameters
    ----------
    text : str
        Of a hang file with as many rows.
    hang : Hang
        Its trim, tilt, splays, the holes and points of its picks, its arm, gains and filters of its drive.
    """
    file = _parsed(text)
    file["tilt_deg"] = hang.tilt_deg
    set_place(file, 2, hang.position_m[2])
    for row, splay in zip(_listed(file, "column"), hang.splays_deg, strict=True):
        row["splay_deg"] = splay
    for entry, pick in zip(_listed(file, "pick"), hang.picks, strict=True):
        entry["hole"] = pick.hole
        if pick.on != entry.get("on", "frame"):
            entry["on"] = pick.on
        if pick.point is not None:
            entry["point"] = pick.point
    set_arm(file, *((hang.arm[1].type, hang.arm[1].end) if hang.arm else (None, "")))
    _set_drive(file, hang)
    return _dumped(file, text)


def with_count(text: str, count: int) -> str:
    """The text of a hang file with another number of enclosures: rows taken from the bottom, or the last one repeated.

    Rows that go leave their drive groups, rows that come join that of the last one; numbers on carts, which no longer
    fit, go.

    Raises
    ------
    ValueError
        If there is no enclosure in its column.
    """
    file = _parsed(text)
    rows = _listed(file, "column")
    if not any("enclosure" in row for row in rows):
        raise ValueError("the column holds no enclosure")
    while sum("enclosure" in row for row in rows) > count or "adapter" in rows[-1]:
        del rows[-1]
    last, there = rows[-1].unwrap(), len(rows)
    while sum("enclosure" in row for row in rows) < count:
        rows.append(tomlkit.item(dict(last)))
    renumber(file, partial(_of_column, there=there, rows=len(rows)))
    return _dumped(file, text)


def _parsed(text: str) -> Any:
    return tomlkit.parse(text.replace("\r\n", "\n"))


def _dumped(file: Any, text: str) -> str:
    """A file as text, its lines ending as those of another text do."""
    return tomlkit.dumps(file).replace("\n", "\r\n" if "\r\n" in text else "\n")


def _of_column(of_group: list[int], there: int, rows: int) -> list[int]:
    """Rows of a drive group in a column of `rows`, of which the first `there` are as they were."""
    kept = [row for row in of_group if row <= there]
    return [*kept, *(range(there + 1, rows + 1) if there in kept else ())]


def renumber(file: Any, of: Callable[[list[int]], list[int]]) -> None:
    """Other rows of the drive groups; groups that none is left of, and numbers on carts that no longer fit, go."""
    groups = _listed(file, "group")
    for group in groups:
        kept = of(list(group["rows"]))
        if kept != list(group["rows"]):
            group["rows"] = kept
    for index in [index for index, group in enumerate(groups) if not group["rows"]][::-1]:
        del groups[index]
    if "group" in file and not groups:
        del file["group"]
    count = sum("enclosure" in row for row in file["column"])
    if "groups" in file.get("carts", {}) and sum(file["carts"]["groups"]) != count:
        del file["carts"]["groups"]


def _listed(file: Any, name: str) -> Any:
    return file.get(name, [])


def set_place(file: Any, axis: int, value_m: float) -> None:
    """Another x, y or z (`axis` 0 to 2) of the hang [m], in the unit of its file."""
    for key, factor in (("position_m", 1.0), ("position_ft", IMPERIAL["_ft"][1])):
        if key in file:
            old, new = file[key][axis], round(value_m / factor, 6)
            # A text of feet and inches that says the same stays as it stood.
            if not isinstance(old, str) or round(feet_of(old) or 0.0, 6) != new:
                file[key][axis] = new


def set_arm(file: Any, kind: str | None, end: str) -> None:
    """Another pick arm on an end of the frame, or none."""
    if kind is None:
        if "arm" in file:
            del file["arm"]
        return
    if "arm" not in file:
        # Before the first table of its kind, so that it belongs to none of them.
        file.append("arm", tomlkit.table())
    for key, value in (("type", kind), ("end", end)):
        if file["arm"].get(key) != value:
            file["arm"][key] = value


def _set_drive(file: Any, hang: Hang) -> None:
    """Gains of groups, and filters that stand behind those of the file; rows in no group get one where they need it."""
    grouped = {row for group in _listed(file, "group") for row in group["rows"]}
    rows = [row + 1 for row in hang.enclosure_rows if row + 1 not in grouped and hang.drive[row].filters]
    if rows:
        group = tomlkit.table()
        group["rows"] = rows
        if "group" not in file:
            file["group"] = tomlkit.aot()
        file["group"].append(group)
    for group in _listed(file, "group"):
        drive = hang.drive[group["rows"][0] - 1]
        if drive.gain_db != group.get("gain_db", 0.0):
            group["gain_db"] = drive.gain_db
        for one in drive.filters[len(group.get("filter", [])) :]:
            if "filter" not in group:
                group["filter"] = tomlkit.aot()
            entry = tomlkit.table()
            entry.update(one.model_dump(exclude_none=True))
            group["filter"].append(entry)
