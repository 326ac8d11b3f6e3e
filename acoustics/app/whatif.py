"""What fails in the field, asked for on the command line: rows that are silent, points that carry less."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence

from acoustics.venue import Venue
from rigging.faults import Fault, FileFaults, nearest
from rigging.files import Document

MOST_KG = 100_000.0


def limited(venue: Venue, document: Document, asked: Sequence[str]) -> tuple[Venue, Document]:
    """A venue with other limits of some points, each asked for as POINT=KG.

    Raises
    ------
    FileFaults
        If a point is unknown, or what follows it is no limit.
    """
    limits: dict[str, float] = {}
    faults: list[Fault] = []
    known = [point.name for point in venue.point]
    for text in asked:
        name, _, kg = text.rpartition("=")
        try:
            limits[name] = float(kg)
        except ValueError:
            faults.append(Fault("--limit", "", "is no POINT=KG", 'write it as --limit "left 1=400"', text))
            continue
        if not 0.0 <= limits[name] <= MOST_KG:
            faults.append(Fault("--limit", "", f"lies outside 0 to {MOST_KG:g} kg", "check the number", text))
        elif name not in known:
            faults.append(Fault("--limit", "", f"names no point of {venue.name}", nearest(name, known), name))
    if faults:
        raise FileFaults(faults)
    if not limits:
        return venue, document
    points = tuple(one.model_copy(update={"limit_kg": limits.get(one.name, one.limit_kg)}) for one in venue.point)
    data = copy.deepcopy(document.data)
    data["asked"] = {"limit_kg": limits}  # so that results of another limit have another revision
    return venue.model_copy(update={"point": points}), dataclasses.replace(document, data=data)


def rows_of(asked: Sequence[str]) -> list[int]:
    """Row numbers of `--mute ROW`.

    Raises
    ------
    FileFaults
        If one is no number.
    """
    wrong = [text for text in asked if not text.isdecimal()]
    if wrong:
        todo = "give a row of the column, counted from 1 at the top"
        raise FileFaults([Fault("--mute", "", "is no row number", todo, text) for text in wrong])
    return [int(text) for text in asked]


def rows_of_parts(asked: Sequence[str], parts: Sequence[str]) -> dict[str, list[int]]:
    """Row numbers by part of `--mute PART:ROW`.

    Raises
    ------
    FileFaults
        If a part is unknown, or what follows it is no number.
    """
    found: dict[str, list[int]] = {}
    faults: list[Fault] = []
    for text in asked:
        name, _, row = text.rpartition(":")
        if name not in parts:
            faults.append(Fault("--mute", "", "names no part of the show, as PART:ROW", nearest(name, parts), text))
        elif not row.isdecimal():
            faults.append(Fault("--mute", "", "is no PART:ROW", "end it with a row number", text))
        else:
            found.setdefault(name, []).append(int(row))
    if faults:
        raise FileFaults(faults)
    return found
