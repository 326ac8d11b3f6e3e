"""`evenhang equipment list`: what equipment there is."""

from __future__ import annotations

import argparse
import json
from typing import Any

from acoustics.app import folder
from acoustics.app.imperial import said
from acoustics.app.sheet import Table
from acoustics.app.status import DONE, refusing
from rigging.equipment import KINDS, Catalogue
from rigging.faults import Fault, FileFaults, nearest


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    kinds = [name.partition("/")[0] for name in KINDS]
    if asked.kind is not None and asked.kind not in kinds:
        todo = nearest(asked.kind, kinds, what="kinds")
        raise FileFaults([Fault("--kind", "", "is no kind of equipment", todo, asked.kind)])
    catalogue = folder.catalogue_of(asked)
    wanted = kinds if asked.kind is None else [asked.kind]
    listed = sorted(map(entry_of, catalogue.items, [catalogue] * len(catalogue.items)), key=_order)
    listed = [one for one in listed if one["kind"] in wanted]
    if asked.json:
        print(json.dumps(listed, indent=2, ensure_ascii=False))
        return DONE
    rows = [[one["name"], one["kind"], _mass(one), one["source"]] for one in listed]
    print(said([Table(["name", "kind", "mass", "source of its data"], rows, "llrl")], imperial=asked.imperial))
    return DONE


def kind_of(name: str, catalogue: Catalogue) -> str:
    """Kind of an item, as its file's format says it: "enclosure"."""
    return str(catalogue.documents[name].data["format"]).partition("/")[0]


def entry_of(name: str, catalogue: Catalogue) -> dict[str, Any]:
    """Name, kind, masses, source and file of an item; no mass for what has none in its file. [kg, kg/m]"""
    item = catalogue.items[name]
    return {
        "name": name,
        "kind": kind_of(name, catalogue),
        "mass_kg": getattr(item, "mass_kg", None),
        "kg_per_m": getattr(item, "kg_per_m", None),
        "source": item.source,
        "file": catalogue.documents[name].file,
    }


def _order(entry: dict[str, Any]) -> tuple[int, str]:
    return [name.partition("/")[0] for name in KINDS].index(entry["kind"]), entry["name"]


def _mass(entry: dict[str, Any]) -> str:
    if entry["kg_per_m"] is not None:
        return f"{entry['kg_per_m']:g} kg/m"
    return "–" if entry["mass_kg"] is None else f"{entry['mass_kg']:g} kg"
