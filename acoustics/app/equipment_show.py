"""`evenhang equipment show`: all data of one item, and what cannot be judged without more."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from typing import Any

from acoustics.app import folder
from acoustics.app.equipment_list import entry_of, kind_of
from acoustics.app.imperial import said
from acoustics.app.schema import MODELS
from acoustics.app.sheet import Block, Paragraph, plain
from acoustics.app.status import DONE, refusing
from acoustics.directivity import AcousticPart
from rigging.cautions import CAUTIONS
from rigging.equipment import Catalogue, Enclosure
from rigging.faults import Fault, FileFaults, nearest
from rigging.files import validate_part
from rigging.lacking import Lack, lacks
from rigging.models import Model, model_in

# The unit that a key ends in; the longer ending first.
_UNITS = {
    "kg_per_m": "kg/m",
    "_m_per_min": "m/min",
    "_kg_m": "kg m",
    "_kg": "kg",
    "_kn": "kN",
    "_deg": "°",
    "_db": "dB",
    "_hz": "Hz",
    "_m": "m",
    "ohm": "ohm",
}
_WIDE = 120


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    catalogue = folder.catalogue_of(asked)
    name = asked.name
    if name not in catalogue.items:
        todo = f"{nearest(name, catalogue.items)}; --equipment DIR adds your own"
        raise FileFaults([Fault("NAME", "", "is no known equipment", todo, name)])
    item, document = catalogue.items[name], catalogue.documents[name]
    if isinstance(item, Enclosure):
        validate_part(document.file, "acoustic", item.acoustic, AcousticPart)
    open_ = lacks(item)
    if asked.json:
        cannot = [{"key": one.key, "cannot_be_judged": one.open} for one in open_]
        data = {**entry_of(name, catalogue), "data": item.model_dump(exclude_unset=True), "lacks": cannot}
        print(json.dumps({**plain(data), "cautions": list(CAUTIONS)}, indent=2, ensure_ascii=False))
    else:
        print(said(blocks_of(name, catalogue, open_), imperial=asked.imperial))
    return DONE


def blocks_of(name: str, catalogue: Catalogue, open_: list[Lack]) -> Iterator[Block]:
    """All data of an item and what they leave open, as lines and tables."""
    item, kind = catalogue.items[name], kind_of(name, catalogue)
    yield f"{name}  ({kind})"
    yield item.description
    yield f"source: {item.source}"
    yield f"file: {catalogue.documents[name].file}"
    yield ""
    data = item.model_dump(exclude_unset=True, exclude={"format", "name", "description", "source"})
    lines = list(_lines(data, MODELS[kind][0]))
    wide = max(len(key) for key, *_ in lines)
    for key, value, what in lines:
        words = f"{key.ljust(wide)}  {value} – {what}".removesuffix(" – ")
        yield Paragraph(words, _WIDE, indent=wide + 2, hyphens=False)
    yield ""
    if open_:
        yield "CANNOT BE JUDGED, because its file leaves out"
        wide = max(len(one.key) for one in open_)
        yield from (f"{one.key.ljust(wide)}  {one.open}" for one in open_)
    else:
        yield "its file has all rated data that findings look for in it; what hangs and venues leave out, check says"
    yield ""
    yield from (f"! {one}" for one in CAUTIONS)


def _lines(data: dict[str, Any], model: type[Model], prefix: str = "") -> Iterator[tuple[str, str, str]]:
    """Key path, value with its unit, and what the key is, of all that a file gives."""
    for key, value in data.items():
        field = model.model_fields[key]
        inner = model_in(field.annotation)
        if value is None:
            continue
        if inner is None:
            yield prefix + key, with_unit(key, value), field.description or ""
        elif isinstance(value, dict):
            yield from _lines(value, inner, f"{prefix}{key}.")
        else:
            for index, one in enumerate(value):
                yield from _lines(one, inner, f"{prefix}{key}[{index + 1}].")


def with_unit(key: str, value: Any) -> str:
    """A value as text, with the unit that its key ends in."""
    unit = next((unit for end, unit in _UNITS.items() if key.endswith(end)), "")
    gap = "" if unit == "°" or not unit else " "
    return f"{_plain(value)}{gap}{unit}"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        listed = ", ".join(map(_plain, value))
        return f"({listed})" if len(value) == 3 and not isinstance(value[0], list | tuple) else listed
    return f"{value:g}" if isinstance(value, float) else str(value)
