"""The files that a result was made from, each with the SHA-256 of what was read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from acoustics.show import Show
from rigging.equipment import Catalogue
from rigging.faults import FileFaults
from rigging.files import Document
from rigging.hang import Hang
from rigging.policy import Policy


@dataclass(frozen=True)
class Input:
    """A file: what it is to the result, its name without folders, and the SHA-256 of its bytes in hexadecimal."""

    role: str
    file: str
    sha256: str


def of_hang(hang: Hang, others: Iterable[Hang], venue: Document, policy: Policy, catalogue: Catalogue) -> list[Input]:
    """The files of a hang in a venue: its own, its design's, those of what loads its points, equipment, policy.

    Raises
    ------
    FileFaults
        If a file of measured directivity cannot be read.
    """
    beside = list(others)
    found = [*_hang(hang, "hang"), *(one for other in beside for one in _hang(other, "beside"))]
    names = {name for each in (hang, *beside) for name in each.inputs["equipment"]}
    return _once([*found, _of("venue", venue), *_equipment(names, catalogue), *_policy(policy)])


def of_show(show: Show, policy: Policy, catalogue: Catalogue) -> list[Input]:
    """The files of a show: its own, its venue, all hangs with their designs, equipment, policy.

    Raises
    ------
    FileFaults
        If a file of measured directivity cannot be read.
    """
    found = [_of("show", show.document), _of("venue", show.venue_document)]
    found += [one for hang in show.hangs for one in _hang(hang, "hang")]
    names = {name for hang in show.hangs for name in hang.inputs["equipment"]}
    names |= {part.placed.enclosure for part in show.parts if part.placed is not None}
    names |= {show.power.amplifier, show.power.cable} if show.power is not None else set()
    return _once([*found, *_equipment(names, catalogue), *_policy(policy)])


def _of(role: str, document: Document) -> Input:
    return Input(role, document.path.name, document.sha256)


def _hang(hang: Hang, role: str) -> Iterator[Input]:
    yield _of(f"{role}, {hang.name}", hang.document)
    if hang.design is not hang.document:
        yield _of(f"design that {hang.name} mirrors", hang.design)


def _policy(policy: Policy) -> Iterator[Input]:
    if policy.document is not None:
        yield _of(f"policy, {policy.name}", policy.document)


def _equipment(names: Iterable[str], catalogue: Catalogue) -> Iterator[Input]:
    for name in sorted(names):
        document = catalogue.documents[name]
        yield _of(f"equipment, {name}", document)
        acoustic = document.data.get("acoustic")
        measured = acoustic.get("aes69_file") if isinstance(acoustic, dict) else None
        if measured:
            yield _measured(name, document, measured)


def _measured(name: str, document: Document, file: str) -> Input:
    path = document.path.parent / file
    try:
        with open(path, "rb") as opened:
            word = hashlib.file_digest(opened, "sha256").hexdigest()
    except OSError as error:
        wrong = f"cannot be read ({error.strerror or error})"
        raise FileFaults([document.fault(("acoustic", "aes69_file"), wrong, "check path and rights", file)]) from None
    return Input(f"AES69 data of {name}", path.name, word)


def _once(found: Iterable[Input]) -> list[Input]:
    return list(dict.fromkeys(found))
