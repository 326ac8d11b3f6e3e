"""A first look at a DXF file, line by line, before anything is built from it: is it one, whole, and not too much."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from rigging.faults import Fault, FileFaults

MOST_BYTES = 64_000_000
MOST_ENTITIES = 200_000  # drawn ones, vertices of polylines and what blocks hold included
MOST_TAGS = 4_000_000  # pairs of lines; the reader takes up to 200 bytes for each
_LONGEST_LINE = 100_000  # bytes; DXF allows some 2,000
_SIMPLER = "export the layers that are needed alone"


def check_text(path: str | os.PathLike[str]) -> None:
    """Go through a text DXF file once, in constant memory.

    Raises
    ------
    FileFaults
        If it cannot be read, is no text DXF, is not whole, or holds more than `MOST_BYTES`, `MOST_TAGS` or
        `MOST_ENTITIES`.
    """
    file = os.fspath(path)
    try:
        _check_size(file)
        with open(file, "rb") as lines:
            _check_kind(file, lines.read(512))
            lines.seek(0)
            _check_tags(file, lines)
    except FileNotFoundError:
        raise _refused(file, "does not exist", "check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, FileFaults):
            raise
        reason = getattr(error, "strerror", None) or error
        raise _refused(file, f"cannot be read ({reason})", "check path and rights") from None


def _refused(file: str, wrong: str, todo: str, line: int | None = None) -> FileFaults:
    return FileFaults([Fault(file, "", wrong, todo, line=line)])


def _check_size(file: str) -> None:
    path = Path(file)
    size = path.stat().st_size
    if path.is_dir():
        raise _refused(file, "is a directory, not a file", "name the DXF file inside it")
    if not path.is_file():
        raise _refused(file, "is not a regular file", "name a DXF file")
    if size > MOST_BYTES:
        wrong = f"is too large, {size / 1e6:.0f} MB; {MOST_BYTES // 1_000_000} MB at most are read"
        raise _refused(file, wrong, _SIMPLER)


def _check_kind(file: str, head: bytes) -> None:
    if not head.strip():
        raise _refused(file, "is empty", "name a DXF file")
    if head.startswith(b"AC10"):  # with a release number of two digits, this opens every DWG since 1992
        raise _refused(file, "is a DWG, which is not read", "save it as DXF, as text")
    if head[18:22] == b"\r\n\x1a\x00":
        raise _refused(file, "is a binary DXF, which is not read", "save it as DXF, as text")
    if b"\x00" in head:
        raise _refused(file, "is not a text file", "save the drawing as DXF, as text")


def _tags(file: str, lines: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """Group codes and values; where the file ends in the middle of one, it is cut off."""
    for number in itertools.count(1, 2):
        code, value = lines.readline(_LONGEST_LINE), lines.readline(_LONGEST_LINE)
        if not code.strip() and not value:
            return
        if not value:
            raise _cut_off(file)
        if number > 2 * MOST_TAGS:
            raise _refused(file, f"holds more than {2 * MOST_TAGS:,} lines, the most that are read", _SIMPLER)
        if len(code) == _LONGEST_LINE or len(value) == _LONGEST_LINE:
            raise _refused(file, "is no DXF: a line without end", "save the drawing as DXF, as text", number)
        try:
            yield int(code), value.strip()
        except ValueError:
            wrong = "is no DXF, or is damaged: a group code that is no number"
            raise _refused(file, wrong, "save the drawing as DXF, as text", number) from None


def _cut_off(file: str) -> FileFaults:
    return _refused(file, "is cut off: it ends before its end (0 EOF)", "copy or save it again")


def _check_tags(file: str, lines: BinaryIO) -> None:
    entities = 0
    section, opens, ended, model = b"", False, False, False
    for code, value in _tags(file, lines):
        if opens and code == 2:
            section, model = value, model or value == b"ENTITIES"
        opens = code == 0 and value == b"SECTION"
        ended = code == 0 and value == b"EOF"
        if ended:
            break
        if code == 0 and section in (b"ENTITIES", b"BLOCKS"):
            entities += 1
            if entities > MOST_ENTITIES:
                raise _refused(file, f"holds more than {MOST_ENTITIES:,} entities, the most that are read", _SIMPLER)
    if not ended:
        raise _cut_off(file)
    if not model:
        raise _refused(file, "is no drawing: it has no section ENTITIES", "save the drawing as DXF, as text")
