"""`evenhang venue export`: a venue, and hangs in it, as a DXF drawing."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from acoustics.app import folder
from acoustics.app.status import DONE, refusing
from acoustics.drawing_out import drawing_text
from acoustics.venue import Venue, load_venue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.hang import Hang, file_faults, load_hang


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    target = Path(asked.out)
    folder.prepare_new(target, "--out")
    (venue, _), hangs = venue_and_hangs(asked)
    try:
        text, roles = drawing_text(venue, hangs)
    except ImportError:
        wrong = "is to be a drawing, and what writes drawings (ezdxf) is not installed"
        raise FileFaults([Fault(str(target), "", wrong, "pip install 'evenhang[cad]'")]) from None
    folder.write_new(target, "--out", text)
    print(f"written to {target}, in metres: {len(venue.area)} areas, {len(venue.point)} points, {len(hangs)} hangs")
    print("not in it: heights of ears, limits of quiet areas, the air. To read it back:")
    layers = " ".join(f"--layer {shlex.quote(f'{name}={role}')}" for name, role in roles.items())
    print(f"  evenhang venue import {shlex.quote(str(target))} {layers} --out NEW.toml")
    return DONE


def venue_and_hangs(asked: argparse.Namespace) -> tuple[tuple[Venue, Document], list[Hang]]:
    """A venue and the hangs named after it.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    faults: list[Fault] = []
    loaded = catalogue = None
    try:
        loaded = load_venue(asked.venue)
    except FileFaults as error:
        faults.extend(error.faults)
    try:
        catalogue = folder.catalogue_of(asked)
    except FileFaults as error:
        faults.extend(error.faults)
    hangs = []
    for path in asked.hangs:
        try:
            if catalogue is None:
                faults.extend(file_faults(path))
            else:
                hangs.append(load_hang(path, catalogue))
        except FileFaults as error:
            faults.extend(error.faults)
    if faults or loaded is None:
        raise FileFaults(faults)
    return loaded, hangs
