"""What a file holds, apart from where it lies: hashes, and data files that an equipment file names.

A text under a key that ends in `_file` names a file, from the folder of the one that it stands in. What counts of it is
what it holds, not what it is called.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rigging.faults import Loc
from rigging.files import Document

FILE_KEY = "_file"


def sha256_of(path: Path) -> str:
    """SHA-256 of what a file holds, as 64 hexadecimal digits.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def named_files(document: Document) -> list[tuple[Loc, Path]]:
    """Where a document names data files, and these files."""
    return [(loc, document.path.parent / name) for loc, name in _names(document.data, ())]


def content_of(document: Document) -> dict[str, Any]:
    """The data of a document, with a SHA-256 of what it holds in place of the name of every data file.

    The name of a file that cannot be read stays: its reader tells what is wrong. Data without such keys come back as
    they are.
    """
    data = document.data
    for loc, path in named_files(document):
        try:
            digest = sha256_of(path)
        except (OSError, ValueError):  # a name with a null character is no path
            continue
        data = _with(data, loc, f"sha256:{digest}")
    return data


def _names(data: Any, loc: Loc) -> Iterator[tuple[Loc, str]]:
    """Location and text of every key that names a file."""
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in pairs:
        if isinstance(value, str) and isinstance(key, str) and key.endswith(FILE_KEY):
            yield (*loc, key), value
        else:
            yield from _names(value, (*loc, key))


def _with(data: Any, loc: Loc, value: str) -> Any:
    """A copy of tables and lists along a location, with another value there."""
    if not loc:
        return value
    copied = data.copy()
    copied[loc[0]] = _with(data[loc[0]], loc[1:], value)
    return copied
