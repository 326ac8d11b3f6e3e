"""A show: several hangs and placed enclosures in one venue, each carrying a programme channel."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics import sources as single
from acoustics.field import Sources
from acoustics.programme import Programme
from acoustics.show_file import Align, Placed, Power, ShowFile, Unit
from acoustics.venue import Venue, check_serves, load_venue
from rigging.electrical import Amplifier, Cable
from rigging.equipment import Catalogue, Enclosure, unknown_item
from rigging.faults import NO_VALUE, Fault, FileFaults, nearest
from rigging.files import Document, read, validate
from rigging.geometry import item_axes, lay_out
from rigging.hang import Drive, Hang, load_hang, muted
from rigging.site import Place

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Part:
    """What sounds together and is driven as a whole: a hang, or placed enclosures.

    `asked`: what the show file says of it; `hang`, or `placed` with its enclosure; `serves`: areas, None where the
    show leaves that to the levels.
    """

    name: str
    channel: str
    asked: Unit
    hang: Hang | None
    placed: Placed | None
    serves: tuple[str, ...] | None
    silent: tuple[int, ...] = ()  # placed enclosures, from 1, whose drive is silent

    def muted(self, rows: Sequence[int]) -> Part:
        """The part with some rows, counted from 1, whose drive is silent."""
        if self.hang is not None:
            return dataclasses.replace(self, hang=muted(self.hang, rows))
        assert self.placed is not None
        for row in rows:
            if not 1 <= row <= self.placed.count:
                todo = f"it has {self.placed.count}"
                raise FileFaults([Fault("--mute", "", f"is no enclosure of {self.name}", todo, row)])
        return dataclasses.replace(self, silent=(*self.silent, *rows))

    @property
    def position_m(self) -> Place:
        """Its frame reference, or the reference point of its first enclosure. [m]"""
        return self.hang.position_m if self.hang is not None else self.placed.position_m  # type: ignore[union-attr]

    @property
    def azimuth_deg(self) -> float:
        """Where it aims in plan. [deg]"""
        return self.hang.azimuth_deg if self.hang is not None else self.placed.azimuth_deg  # type: ignore[union-attr]


@dataclass(frozen=True)
class Show:
    """A show as read, with everything that it names."""

    name: str
    venue: Venue
    venue_document: Document
    document: Document
    channels: tuple[str, ...]
    correlation: float
    parts: tuple[Part, ...]
    aligns: tuple[Align, ...]
    power: Power | None
    stock: Mapping[str, int]
    inputs: Mapping[str, Any]  # all that it was read from; not where it lies

    def muted(self, rows: Mapping[str, Sequence[int]]) -> Show:
        """The show with rows of some parts, counted from 1, whose drive is silent.

        Raises
        ------
        FileFaults
            If a part has no such row.
        """
        if not rows:
            return self
        parts = tuple(part.muted(rows.get(part.name, ())) for part in self.parts)
        listed = {name: sorted(set(some)) for name, some in rows.items()}
        return dataclasses.replace(self, parts=parts, inputs={**self.inputs, "muted": listed})

    @property
    def hangs(self) -> tuple[Hang, ...]:
        """Its hangs, in the order of the file."""
        return tuple(part.hang for part in self.parts if part.hang is not None)


def load_show(path: str | Path, catalogue: Catalogue, texts: Mapping[Path, str] = MappingProxyType({})) -> Show:
    """Read a show file, its venue and its hangs; `texts` as in `load_hang`.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    document = read(path, "show/1")
    file = validate(document, ShowFile)
    folder = document.path.parent
    faults: list[Fault] = []
    venue = _kept(faults, document, ("venue",), lambda: load_venue(folder / file.venue))
    parts = list(_parts(file, document, partial(load_hang, catalogue=catalogue, texts=texts), catalogue, faults))
    names = [part.name for part in parts]
    faults += document.faults(_twice(names, len(file.hang)))
    faults += document.faults(
        (("align", index, key), "is nothing of the show", nearest(name, names), name)
        for index, align in enumerate(file.align)
        for key, name in (("of", align.of), ("to", align.to))
        if name not in names
    )
    faults += document.faults(_equipment_faults(file, catalogue))
    if venue is not None:
        faults += [fault for part in parts for fault in _serves_faults(part, venue[0], document, file)]
    if faults or venue is None:
        raise FileFaults(faults)
    inputs: dict[str, Any] = {"show": _said(document.data), "venue": venue[1].data}
    inputs["hangs"] = [dict(part.hang.inputs) for part in parts if part.hang is not None]
    placed = sorted({part.placed.enclosure for part in parts if part.placed is not None})
    inputs["placed"] = {name: catalogue.content(name) for name in placed}
    channels = tuple(channel.name for channel in file.channel)
    return Show(
        file.name,
        venue[0],
        venue[1],
        document,
        channels,
        file.correlation,
        tuple(parts),
        file.align,
        file.power,
        file.stock,
        inputs,
    )


def _said(data: Mapping[str, Any]) -> dict[str, Any]:
    """What a show file says, without the names of its files: what these hold is beside it."""
    hangs = [{key: value for key, value in one.items() if key != "file"} for one in data.get("hang", [])]
    return {key: value for key, value in data.items() if key not in ("venue", "hang")} | {"hang": hangs}


def _kept(faults: list[Fault], document: Document, loc: tuple[str | int, ...], load: Any) -> Any:
    """What a file holds that the show names; None where it is at fault, which is added to the faults."""
    try:
        return load()
    except FileFaults as error:
        missing = [fault for fault in error.faults if not fault.key and "does not exist" in fault.wrong]
        if missing:
            todo = "name the file from the folder of this one"
            faults.append(document.fault(loc, "names a file that does not exist", todo, missing[0].file))
        else:
            faults.extend(error.faults)
        return None


def _parts(
    file: ShowFile, document: Document, load: Callable[[Path], Hang], catalogue: Catalogue, faults: list[Fault]
) -> Iterator[Part]:
    for index, asked in enumerate(file.hang):
        path = document.path.parent / asked.file
        hang = _kept(faults, document, ("hang", index, "file"), partial(load, path))
        if hang is not None:
            serves = asked.serves if asked.serves is not None else hang.serves
            yield Part(hang.name, asked.channel, asked, dataclasses.replace(hang, serves=serves), None, serves)
    for index, placed in enumerate(file.placed):
        if not isinstance(catalogue.items.get(placed.enclosure), Enclosure):
            todo = f"{nearest(placed.enclosure, catalogue.names(Enclosure))}; --equipment DIR adds yours"
            loc = ("placed", index, "enclosure")
            faults.append(document.fault(loc, "is no known enclosure", todo, placed.enclosure))
            continue
        yield Part(placed.name, placed.channel, placed, None, placed, placed.serves)


def _twice(names: Sequence[str], hangs: int) -> Iterator[tuple[tuple[str | int, ...], str, str, object]]:
    for index, name in enumerate(names):
        if name in names[:index]:
            loc = ("hang", index, "file") if index < hangs else ("placed", index - hangs, "name")
            yield loc, f"is the second of the name {name}", "give each its own name", name


def _equipment_faults(file: ShowFile, catalogue: Catalogue) -> Iterator[tuple[tuple[str | int, ...], str, str, object]]:
    """Amplifiers, cables and stock that no equipment file describes."""
    kinds: list[tuple[str, type[Amplifier] | type[Cable]]] = [("amplifier", Amplifier), ("cable", Cable)]
    for key, kind in kinds if file.power is not None else []:
        name = getattr(file.power, key)
        if not isinstance(catalogue.items.get(name), kind):
            wrong, todo = unknown_item(name, catalogue, kind)
            yield ("power", key), wrong, todo, name
    for name in file.stock:
        if name not in catalogue.items:
            yield ("stock", name), "is no known equipment", nearest(name, catalogue.items), NO_VALUE


def _serves_faults(part: Part, venue: Venue, document: Document, file: ShowFile) -> list[Fault]:
    """Areas that a part serves and the venue does not have, told where they stand."""
    if part.asked.serves is None:
        return [] if part.hang is None else check_serves(part.hang, venue, file.venue)
    known = [area.name for area in venue.area if area.role == "audience"]
    table, listed = ("hang", file.hang) if part.hang is not None else ("placed", file.placed)
    place = next(index for index, one in enumerate(listed) if one is part.asked)
    return document.faults(
        ((table, place, "serves", index), f"is no audience area of {file.venue}", nearest(name, known), name)
        for index, name in enumerate(part.asked.serves)
        if name not in known
    )


def sources_of(
    part: Part,
    catalogue: Catalogue,
    c: float,
    lines: Sequence[float] = (),
    programme: Programme | None = None,
    drive_db: float = 0.0,
) -> Sources:
    """Sources of a part, its own drive and that of the whole applied; arguments as `sources.sources_of`."""
    if part.hang is not None:
        found = single.sources_of(part.hang, lay_out(part.hang), catalogue, c, lines, programme, drive_db)
    else:
        found = single.placed(*_places(part), catalogue, c, lines, programme, drive_db)
    asked = part.asked
    factor = 10.0 ** (asked.gain_db / 20.0) * (-1.0 if asked.inverted else 1.0)
    return dataclasses.replace(found, gain=found.gain * factor, delay=found.delay + asked.delay_ms / 1000.0)


def _places(part: Part) -> tuple[list[str], Array, Array, list[Drive]]:
    """Types, reference points (N, 3) [m], axes (N, 3, 3) and drives of placed enclosures."""
    placed = part.placed
    assert placed is not None
    step = np.array(placed.step_m or (0.0, 0.0, 0.0))
    places = np.array(placed.position_m) + np.arange(placed.count)[:, np.newaxis] * step
    axes = item_axes(np.radians(placed.azimuth_deg), np.radians(placed.elevation_deg))
    drives = [Drive(filters=placed.filter, muted=row + 1 in part.silent) for row in range(placed.count)]
    return [placed.enclosure] * placed.count, places, np.tile(axes, (placed.count, 1, 1)), drives


def joined(some: Sequence[Sources]) -> Sources:
    """Sources of several parts as one; the first's programme, directivities of one name once."""
    names = list(dict.fromkeys(kind.name for one in some for kind in one.directivities))
    kinds = {kind.name: kind for one in some for kind in one.directivities}
    filters = tuple(each for one in some for each in (one.filters or ((),) * len(one.kind)))
    return dataclasses.replace(
        some[0],
        position=np.concatenate([one.position for one in some]),
        axes=np.concatenate([one.axes for one in some]),
        kind=np.concatenate([[names.index(one.directivities[kind].name) for kind in one.kind] for one in some]),
        directivities=tuple(kinds[name] for name in names),
        gain=np.concatenate([one.gain for one in some]),
        delay=np.concatenate([one.delay for one in some]),
        filters=filters if any(filters) else (),
    )
