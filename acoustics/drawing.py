"""A DXF drawing read as the areas and points of a venue."""

from __future__ import annotations

import contextlib
import logging
import os
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics.drawn import DrawnArea, DrawnPoint, Read, Wanted, areas_of, points_of, take
from acoustics.drawn_shapes import NotTaken, Placed, face_count, walk
from acoustics.dxf_text import check_text
from rigging.faults import Fault, FileFaults, nearest

Array = npt.NDArray[np.float64]

AREA_ROLES = ("audience", "quiet", "obstacle")
ROLES = (*AREA_ROLES, "points")
MOST_AREAS = 2_000  # faces and outlines on the chosen layers
MOST_CORNERS = 20_000  # of all of them, arcs flattened: a venue file of some 1 MB

_US_FOOT = 1200.0 / 3937.0  # [m] US survey foot, by its definition (Federal Register 24 FR 5348, 1959)
# Metres in one unit; exact: international inch, foot, yard, mile of 1959.
UNITS_M = {
    "in": 0.0254, "ft": 0.3048, "yd": 0.9144, "mi": 1609.344, "mm": 0.001, "cm": 0.01, "dm": 0.1, "m": 1.0,
    "dam": 10.0, "hm": 100.0, "km": 1000.0, "us-ft": _US_FOOT, "us-in": _US_FOOT / 12.0, "us-yd": 3.0 * _US_FOOT,
}  # fmt: skip
# DXF reference, header variable $INSUNITS; its other values are no units for a building.
INSUNITS = {
    1: "in", 2: "ft", 3: "mi", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 14: "dm", 15: "dam", 16: "hm",
    21: "us-ft", 22: "us-in", 23: "us-yd",
}  # fmt: skip


@dataclass(frozen=True)
class Drawing:
    """What was read: `unit` and whether it was asked for; `left_out`: (layer, type, why) → how many; `notes`."""

    areas: tuple[DrawnArea, ...]
    points: tuple[DrawnPoint, ...]
    unit: str
    unit_from: str
    left_out: Mapping[tuple[str, str, str], int]
    notes: tuple[str, ...]


def read_drawing(path: str | os.PathLike[str], wanted: Wanted) -> Drawing:
    """Read the chosen layers of a DXF file.

    Raises
    ------
    FileFaults
        If it cannot be read or is too large, its unit is not known, a layer is not there or holds nothing of use, or
        an entity on one cannot be an area; all faults of its entities at once.
    """
    file = os.fspath(path)
    check_text(file)
    with _quiet():
        document = _load(file)
        unit, unit_from, notes = _unit(file, document, wanted.unit)
        read = Read(file, wanted, notes=notes)
        placed = _all_placed(file, document, _root(wanted, UNITS_M[unit]), wanted)
        roles = _roles_of(file, document, placed, wanted.roles)
        _check_number(file, placed, roles)
        for one in placed:
            take(read, one, roles.get(one.layer.casefold()))
        _check_corners(read)
    areas, points = areas_of(read), points_of(read)
    _check_found(read, areas)
    if read.faults:
        raise FileFaults(read.faults)
    return Drawing(tuple(areas), tuple(points), unit, unit_from, dict(read.left_out), tuple(read.notes))


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """The reader tells what it mends in a log, and numbers beyond all bounds are refused further down."""
    log = logging.getLogger("ezdxf")
    before = log.disabled
    log.disabled = True
    try:
        with np.errstate(all="ignore"):
            yield
    finally:
        log.disabled = before


def _load(file: str) -> Any:
    try:
        from ezdxf.filemanagement import readfile
    except ImportError:
        wrong = "is a drawing, and what reads drawings (ezdxf) is not installed"
        raise FileFaults([Fault(file, "", wrong, "pip install 'evenhang[cad]'")]) from None
    try:
        return readfile(file)
    except Exception as error:  # whatever damaged text makes the reader trip over
        wrong = f"is damaged, or no DXF that is read ({type(error).__name__}: {error})"
        raise FileFaults([Fault(file, "", wrong, "open the drawing where it was made, and save it again")]) from None


def _unit(file: str, document: Any, asked: str | None) -> tuple[str, str, list[str]]:
    code = document.header.get("$INSUNITS", 0)
    known = INSUNITS.get(code) if isinstance(code, int) else None
    if asked is not None:
        notes = []
        if known not in (None, asked):
            notes.append(f"the header gives {known} as unit ($INSUNITS = {code}); {asked} was asked for and taken")
        return asked, "--unit", notes
    if known is None:
        wrong = "has no unit in its header" if not code else "has a unit in its header that is none for a building"
        todo = f"say what one unit is: --unit {', '.join(UNITS_M)}"
        raise FileFaults([Fault(file, "$INSUNITS", wrong, todo, code)])
    return known, "$INSUNITS", []


def _root(wanted: Wanted, unit_m: float) -> Array:
    """From the drawing's coordinates to the venue's, for row vectors, (4, 4)."""
    cos, sin = np.cos(np.radians(wanted.turn_deg)), np.sin(np.radians(wanted.turn_deg))
    turn = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]]) * unit_m
    root = np.eye(4)
    root[:3, :3] = turn
    root[3, :3] = -np.asarray(wanted.origin) @ turn
    return root


def _all_placed(file: str, document: Any, root: Array, wanted: Wanted) -> list[Placed]:
    symbols = {name.casefold() for name, role in wanted.roles.items() if role == "points"}
    try:
        return list(walk(document, root, symbols))
    except NotTaken as refused:
        raise FileFaults([Fault(file, refused.where, refused.wrong, refused.todo)]) from None
    except Exception as error:  # as in `_load`: blocks that are half there
        wrong = f"has damaged blocks or entities ({type(error).__name__}: {error})"
        raise FileFaults([Fault(file, "", wrong, "open the drawing where it was made, and save it again")]) from None


def _roles_of(file: str, document: Any, placed: list[Placed], asked: Mapping[str, str]) -> dict[str, str]:
    """Roles by layer in lower case: layers' names do not differ by case alone."""
    used = {one.layer for one in placed}
    known = {layer.dxf.name for layer in document.layers} | used
    lower = {name.casefold() for name in known}
    faults = []
    for name in asked:
        if name.casefold() not in lower:
            faults.append(Fault(file, "--layer", "names a layer that is not there", _near(name, used or known), name))
    if faults:
        raise FileFaults(faults)
    return {name.casefold(): role for name, role in asked.items()}


def _near(name: str, known: set[str]) -> str:
    """The next step for a layer that is not there; of a drawing of many layers not all are listed."""
    folded = {one.casefold(): one for one in sorted(known)}
    hint, _, rest = nearest(name.casefold(), folded, what="layers").partition("known layers: ")
    hint = hint and next((f"did you mean {real}? " for low, real in folded.items() if f"mean {low}?" in hint), "")
    names = sorted(known)
    more = f" and {len(names) - 20} more" if len(names) > 20 else ""
    return f"{hint}layers with something on them: {', '.join(names[:20]) or 'none'}{more}" if rest else hint


def _check_number(file: str, placed: list[Placed], roles: Mapping[str, str]) -> None:
    """Count faces before any is built."""
    count: Counter[str] = Counter()
    for one in placed:
        if roles.get(one.layer.casefold()) is not None:
            count[one.layer] += face_count(one.entity)
    if count.total() > MOST_AREAS:
        most = ", ".join(f"{number:,} on {layer}" for layer, number in count.most_common(3))
        many = f"has {count.total():,} faces and outlines on the chosen layers ({most})"
        wrong = f"{many}; {MOST_AREAS:,} at most are read"
        todo = "draw each bank of seats as one outline on a layer of its own, and choose that"
        raise FileFaults([Fault(file, "--layer", wrong, todo)])


def _check_corners(read: Read) -> None:
    """Count corners before anything is worked out from them."""
    count: Counter[str] = Counter()
    for placed, _, shapes in read.shapes:
        count[placed.source] += sum(map(len, shapes))
    if count.total() > MOST_CORNERS:
        source, most = count.most_common(1)[0]
        wrong = f"outlines on the chosen layers have {count.total():,} corners, {MOST_CORNERS:,} at most are read"
        todo = f"take a larger --sag, or draw fewer corners ({most:,} in {source})"
        raise FileFaults([Fault(read.file, "--layer", wrong, todo)])


def _check_found(read: Read, areas: list[DrawnArea]) -> None:
    """Every chosen layer gave something, and somebody listens."""
    if read.faults:
        return
    used = {area.layer.casefold() for area in areas} | {placed.layer.casefold() for placed, *_ in read.points}
    for name, role in read.wanted.roles.items():
        low = name.casefold()
        if low in used:
            continue
        kinds: Counter[str] = Counter()
        for (layer, kind, _), number in read.left_out.items():
            kinds[kind] += number if layer.casefold() == low else 0
        holds = ", ".join(f"{number} {kind}" for kind, number in (+kinds).most_common(6)) or "nothing"
        what = "no point (POINT, CIRCLE, INSERT)" if role == "points" else "no face or closed outline of an area"
        wrong = f"holds {what}: {holds}"
        read.faults.append(Fault(read.file, f'layer "{name}"', wrong, "choose another layer, or draw it there"))
    if not any(area.role in ("audience", "quiet") for area in areas) and not read.faults:
        todo = "choose the layer of the seats with --layer NAME=audience"
        read.faults.append(Fault(read.file, "--layer", "leaves no area to listen in", todo))
