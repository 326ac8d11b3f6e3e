"""The hang file: which frame and column, at which place, tilt and splays, as it hangs or mirrored."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.equipment import Adapter, Catalogue, Enclosure, Frame, Item, allowed_splays, unknown_item
from rigging.faults import Fault, FileFaults, Loc, key_path
from rigging.files import Document, Model, Name, key, problem, quantity, read, validate
from rigging.site import Coordinate, Place

Problem = tuple[Loc, str, str, object]


def _check_row(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise problem("is not a row number", "count the [[column]] entries from the top, starting at 1")
    return value


class Row(Model):
    """One row of a column: an enclosure or an adapter, and the splay of the joint above it."""

    enclosure: Name | None = Field(None, description="enclosure type")
    adapter: Name | None = Field(None, description="adapter type")
    splay_deg: Annotated[float, quantity(0.0, 45.0, "deg")] = key("splay of the joint above", "0.0")


class Group(Model):
    """Rows that share a drive signal."""

    rows: Annotated[tuple[Annotated[int, BeforeValidator(_check_row)], ...], Field(min_length=1)] = key(
        "row numbers from the top", "[1, 2]"
    )
    gain_db: Annotated[float, quantity(-60.0, 20.0, "dB")] = Field(0.0, description="gain")
    delay_ms: Annotated[float, quantity(0.0, 1000.0, "ms")] = Field(0.0, description="delay")


class HangFile(Model):
    """A hang as its file gives it."""

    format: Literal["hang/1"] = key("kind of file", '"hang/1"')
    name: Name = key("name of the hang", '"main, stage left"')
    description: Name | None = Field(None, description="where the numbers come from")
    frame: Name = key("frame type", '"frame-large"')
    position_m: Place = key("frame reference (front pivot line); the third number is the trim", "[0.0, 6.0, 11.0]")
    azimuth_deg: Annotated[float, quantity(-360.0, 360.0, "deg")] = Field(0.0, description="positive to stage left")
    tilt_deg: Annotated[float, quantity(-90.0, 90.0, "deg")] = key("elevation of the frame", "-2.0")
    serves: tuple[Name, ...] | None = Field(None, description="areas; all when absent")
    column: Annotated[tuple[Row, ...], Field(min_length=1, max_length=64)] = key("rows, top down", "[[column]] ...")
    group: tuple[Group, ...] = Field((), description="rows that share a drive signal")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Rows that are neither or both of enclosure and adapter; rows in no place of the column or in two groups."""
        column = data.get("column")
        rows = column if isinstance(column, list) else []
        for index, row in enumerate(rows):
            if isinstance(row, dict) and ("enclosure" in row) == ("adapter" in row):
                wrong = "names both an enclosure and an adapter" if "adapter" in row else "names no equipment"
                yield ("column", index), wrong, "give the row either enclosure = ... or adapter = ...", row
        yield from _group_faults(data.get("group"), rows)


class MirrorFile(Model):
    """A hang that is the mirror image of another file's."""

    format: Literal["hang/1"] = key("kind of file", '"hang/1"')
    name: Name = key("name of the hang", '"main, stage right"')
    mirror_of: Name = key("the design's file, from this one's folder", '"left.toml"')
    mirror_y_m: Coordinate = Field(0.0, description="the mirror plane: y = this")


@dataclass(frozen=True)
class Hang:
    """A hang with its equipment looked up; rows from the top down, angles in degrees, lengths in metres."""

    name: str
    frame: Frame
    items: tuple[Item, ...]
    splays_deg: tuple[float, ...]
    position_m: tuple[float, float, float]
    azimuth_deg: float
    tilt_deg: float
    serves: tuple[str, ...] | None
    gain_db: tuple[float, ...]
    delay_s: tuple[float, ...]
    document: Document
    inputs: Mapping[str, Any]  # all that the hang was read from, equipment included

    @property
    def enclosure_rows(self) -> tuple[int, ...]:
        """Indices of the rows that are enclosures."""
        return tuple(i for i, item in enumerate(self.items) if isinstance(item, Enclosure))

    @property
    def mass_kg(self) -> float:
        """Mass of frame, enclosures and adapters; nothing above the frame. [kg]"""
        return self.frame.mass_kg + sum(item.mass_kg for item in self.items)


def load_hang(path: str | Path, catalogue: Catalogue) -> Hang:
    """Read a hang file, or the mirror image that it asks for, and look up its equipment.

    Raises
    ------
    FileFaults
        With all faults of the file, those against the equipment included.
    """
    document = read(path, "hang/1")
    if "mirror_of" not in document.data:
        return _resolve(document, catalogue)
    mirror = validate(document, MirrorFile)
    target = document.path.parent / mirror.mirror_of
    try:
        design = read(target, "hang/1")
    except FileFaults as error:
        todo = f"name the design's file, from the folder of this one ({error.faults[0].todo})"
        wrong = f"names a file that {error.faults[0].wrong}"
        raise FileFaults([document.fault(("mirror_of",), wrong, todo, mirror.mirror_of)]) from None
    if "mirror_of" in design.data:
        wrong, todo = "names a file that is a mirror image itself", "name the design that it mirrors"
        raise FileFaults([document.fault(("mirror_of",), wrong, todo, mirror.mirror_of)])
    return _mirrored(_resolve(design, catalogue), mirror, document)


def _mirrored(hang: Hang, mirror: MirrorFile, document: Document) -> Hang:
    x, y, z = hang.position_m
    return dataclasses.replace(
        hang,
        name=mirror.name,
        position_m=(x, 2 * mirror.mirror_y_m - y, z),
        azimuth_deg=-hang.azimuth_deg,
        document=document,
        inputs={**hang.inputs, "mirror": document.data},
    )


def _resolve(document: Document, catalogue: Catalogue) -> Hang:
    faults: list[Fault] = []
    hang: HangFile | None = None
    try:
        hang = validate(document, HangFile)
    except FileFaults as error:
        faults.extend(error.faults)
    said = {fault.key for fault in faults}
    faults.extend(
        document.fault(loc, wrong, todo, value)
        for loc, wrong, todo, value in _equipment_faults(document.data, catalogue)
        if key_path(loc) not in said
    )
    if faults or hang is None:
        raise FileFaults(faults)
    items = tuple(_item(row, catalogue) for row in hang.column)
    names = {hang.frame, *(item.name for item in items)}
    gain, delay = _drive(hang.group, len(items))
    return Hang(
        name=hang.name,
        frame=_frame(hang.frame, catalogue),
        items=items,
        splays_deg=tuple(row.splay_deg for row in hang.column),
        position_m=hang.position_m,
        azimuth_deg=hang.azimuth_deg,
        tilt_deg=hang.tilt_deg,
        serves=hang.serves,
        gain_db=gain,
        delay_s=delay,
        document=document,
        inputs={"hang": document.data, "equipment": {n: catalogue.documents[n].data for n in sorted(names)}},
    )


def _frame(name: str, catalogue: Catalogue) -> Frame:
    frame = catalogue.items[name]
    assert isinstance(frame, Frame)
    return frame


def _item(row: Row, catalogue: Catalogue) -> Item:
    item = catalogue.items[row.enclosure or row.adapter or ""]
    assert isinstance(item, Enclosure | Adapter)
    return item


def _drive(groups: Sequence[Group], count: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    gain, delay = [0.0] * count, [0.0] * count
    for group in groups:
        for row in group.rows:
            gain[row - 1], delay[row - 1] = group.gain_db, group.delay_ms / 1000.0
    return tuple(gain), tuple(delay)


def _group_faults(groups: Any, rows: list[Any]) -> Iterator[Problem]:
    taken: dict[int, int] = {}
    for index, group in enumerate(groups if isinstance(groups, list) else []):
        numbers = group.get("rows") if isinstance(group, dict) else None
        for place, number in enumerate(numbers if isinstance(numbers, list) else []):
            if isinstance(number, bool) or not isinstance(number, int) or number < 1:
                continue  # said by the model
            loc = ("group", index, "rows", place)
            if number > len(rows):
                yield loc, f"is beyond the column's {len(rows)} rows", "count [[column]] entries from the top", number
            elif isinstance(rows[number - 1], dict) and "adapter" in rows[number - 1]:
                yield loc, "is an adapter, which has no drive signal", "leave it out", number
            if number in taken:
                wrong = f"is in group[{taken[number] + 1}] already"
                yield loc, wrong, "a row has one drive signal: keep it in one group", number
            taken.setdefault(number, index)


def _equipment_faults(data: Mapping[str, Any], catalogue: Catalogue) -> Iterator[Problem]:
    """Unknown equipment, neighbours that do not mate, splays that a joint does not allow."""
    upper = _look_up(data.get("frame"), catalogue, Frame)
    if upper is None and isinstance(data.get("frame"), str):
        yield ("frame",), *unknown_item(data["frame"], catalogue, Frame), data["frame"]
    column = data.get("column")
    above = "the frame"
    for index, row in enumerate(column if isinstance(column, list) else []):
        kind = "adapter" if isinstance(row, dict) and "adapter" in row else "enclosure"
        name = row.get(kind) if isinstance(row, dict) else None
        model = Adapter if kind == "adapter" else Enclosure
        lower = _look_up(name, catalogue, model)
        loc: Loc = ("column", index, kind)
        if lower is None and isinstance(name, str):
            yield loc, *unknown_item(name, catalogue, model), name
        if upper is not None and isinstance(lower, Enclosure | Adapter):
            yield from _joint_faults(upper, lower, row.get("splay_deg"), loc, above, catalogue)
        upper, above = lower, f"row {index + 1}"


def _joint_faults(
    upper: Frame | Item, lower: Item, splay: Any, loc: Loc, above: str, catalogue: Catalogue
) -> Iterator[Problem]:
    allowed = allowed_splays(upper, lower)
    if allowed is None:
        takes = ", ".join(below.fitting for below in upper.below) or "nothing"
        wrong = f"does not mate with {upper.name} above it ({above} takes {takes}; this has {lower.top_fitting} on top)"
        yield loc, wrong, _mating_step(upper, lower, catalogue), lower.name
    elif isinstance(splay, int | float) and not isinstance(splay, bool) and splay not in allowed:
        steps = ", ".join(f"{step:g}" for step in allowed)
        wrong = f"is no splay that the joint of {upper.name} and {lower.name} allows"
        yield (*loc[:-1], "splay_deg"), wrong, f"allowed here: {steps}", splay


def _mating_step(upper: Frame | Item, lower: Item, catalogue: Catalogue) -> str:
    joins = [
        name
        for name in catalogue.names(Adapter)
        if isinstance(adapter := catalogue.items[name], Adapter)
        and allowed_splays(upper, adapter) is not None
        and allowed_splays(adapter, lower) is not None
    ]
    return f'put a row with adapter = "{joins[0]}" between' if joins else "no adapter for this is known; change the row"


def _look_up(name: Any, catalogue: Catalogue, kind: type[Frame] | type[Item]) -> Any:
    item = catalogue.items.get(name) if isinstance(name, str) else None
    return item if isinstance(item, kind) else None
