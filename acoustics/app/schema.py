"""`evenhang schema`: the JSON Schema of a kind of file."""

from __future__ import annotations

import argparse
import json
from typing import Any

from acoustics.app.status import DONE, refusing
from acoustics.directivity import AcousticPart
from acoustics.search.settings import Wanted
from acoustics.show_file import ShowFile
from acoustics.tour_file import TourFile
from acoustics.venue import Venue
from rigging.equipment import KINDS as EQUIPMENT
from rigging.equipment import Enclosure
from rigging.faults import Fault, FileFaults, nearest
from rigging.hang_file import HangFile, MirrorFile
from rigging.models import Model
from rigging.policy import Policy
from rigging.readings import Readings
from rigging.schema import schema_of, with_part

MODELS: dict[str, tuple[type[Model], ...]] = {
    "venue": (Venue,),
    "hang": (with_part(HangFile, "search", Wanted), MirrorFile),
    "show": (ShowFile,),
    "tour": (TourFile,),
    "readings": (Readings,),
    "policy": (Policy,),
    **{name.partition("/")[0]: (model,) for name, model in EQUIPMENT.items()},
    "enclosure": (with_part(Enclosure, "acoustic", AcousticPart),),
}


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    if asked.kind is None:
        print("\n".join(MODELS))
        return DONE
    print(json.dumps(of_kind(asked.kind), indent=2, ensure_ascii=False))
    return DONE


def of_kind(kind: str) -> dict[str, Any]:
    """Schema (draft 2020-12) of a kind of file, such as "hang".

    Raises
    ------
    FileFaults
        If there is no such kind.
    """
    if kind not in MODELS:
        raise FileFaults([Fault("KIND", "", "is no kind of file", nearest(kind, MODELS, what="kinds"), kind)])
    return schema_of(*MODELS[kind], told_by="mirror_of")
