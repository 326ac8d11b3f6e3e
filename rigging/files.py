"""The generic TOML reader: every fault of a file at once, each with its key, value and next step.

Faults read `FILE[:LINE]: key.path: what is wrong (got VALUE); what to do`. Elements of a list are
counted from 1, as the rows of a column are. A line is given only where it is certain.
"""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from rigging.explain import Problem, explain, explain_cross
from rigging.faults import NO_VALUE, Fault, FileFaults, Loc, key_path, lines_of
from rigging.models import Model

# A venue of a thousand areas is some 200 kB; what is larger than this is not one of our files.
MAX_BYTES = 4_000_000

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Document:
    """A TOML file as read: `file` as typed, `data` unchecked, `text` for line numbers, `sha256` of its bytes."""

    file: str
    path: Path
    text: str
    data: dict[str, Any]
    sha256: str

    def fault(self, loc: Loc, wrong: str, todo: str, value: object = NO_VALUE) -> Fault:
        """A fault at `loc`, with its line where that is certain."""
        return self.faults([(loc, wrong, todo, value)])[0]

    def faults(self, problems: Iterable[Problem], prefix: Loc = ()) -> list[Fault]:
        """Faults at locations below `prefix`, with their lines where these are certain."""
        placed = [((*prefix, *loc), wrong, todo, value) for loc, wrong, todo, value in problems]
        lines = lines_of(self.text, [loc for loc, *_ in placed])
        return [
            Fault(self.file, key_path(loc), wrong, todo, value, lines.get(loc)) for loc, wrong, todo, value in placed
        ]


def read(path: str | os.PathLike[str], *formats: str) -> Document:
    """Read a TOML file and check that its `format` is one of `formats` (all when none is given).

    Raises
    ------
    FileFaults
        If it cannot be read, is no TOML, or is of another kind or version.
    """
    file = os.fspath(path)
    content = _read_bytes(file, formats)
    return _parsed(_text_of(content, file), file, formats, content)


def parse(text: str, file: str, *formats: str) -> Document:
    """The same for a text that would stand in a file of that name.

    Raises
    ------
    FileFaults
        If it is no TOML, or of another kind or version.
    """
    return _parsed(text, file, formats, text.encode())


def _parsed(text: str, file: str, formats: tuple[str, ...], content: bytes) -> Document:
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise FileFaults([_syntax_fault(file, error)]) from None
    document = Document(file, Path(file), text, data, hashlib.sha256(content).hexdigest())
    check_format(document, *formats)
    return document


def validate(document: Document, model: type[M]) -> M:
    """Check a document against its model.

    Raises
    ------
    FileFaults
        With every fault: of single keys, and between keys.
    """
    checked, problems = _check(document.data, model)
    if checked is None:
        raise FileFaults(document.faults(problems))
    return checked


def validate_part(file: str, prefix: str, data: Mapping[str, Any], model: type[M]) -> M:
    """Check one table of an equipment file that another package passed through unread.

    Raises
    ------
    FileFaults
        With every fault, its key path starting with `prefix`.
    """
    checked, problems = _check(dict(data), model, prefix)
    if checked is None:
        raise FileFaults(read(file).faults(problems, (prefix,)))
    return checked


def _check(data: dict[str, Any], model: type[M], prefix: str = "") -> tuple[M | None, list[Problem]]:
    checked: M | None = None
    problems: list[Problem] = []
    try:
        checked = model.model_validate(data)
    except ValidationError as error:
        problems = list(explain(error.errors(include_url=False), data, model, prefix))
    between = explain_cross(model.cross_faults(model.metric(data)), [loc for loc, *_ in problems], data)
    problems += between
    return (None if problems else checked), problems


def _read_bytes(file: str, formats: tuple[str, ...]) -> bytes:
    path = Path(file)

    def refuse(wrong: str, todo: str) -> FileFaults:
        return FileFaults([Fault(file, "", wrong, todo)])

    try:
        if path.is_dir():
            raise refuse("is a directory, not a file", "name the TOML file inside it")
        if path.exists() and not path.is_file():
            raise refuse("is not a regular file", "name a TOML file")
        size = path.stat().st_size
        if size > MAX_BYTES:
            limit = f"files of this project stay under {MAX_BYTES // 1_000_000} MB"
            raise refuse(f"is too large, {size / 1e6:.0f} MB", f"{limit}; check that it is the right one")
        content = path.read_bytes()
    except FileFaults:
        raise
    except FileNotFoundError:
        raise refuse("does not exist", "check the path") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise refuse(f"cannot be read ({reason})", "check path and rights") from None
    if not content.strip():
        raise refuse("is empty", f"start it with {_first_line(formats)}")
    return content


def _text_of(content: bytes, file: str) -> str:
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        wrong, todo = "is not a text file in UTF-8", "save it as plain TOML text"
        raise FileFaults([Fault(file, "", wrong, todo)]) from None


def _first_line(formats: tuple[str, ...]) -> str:
    return " or ".join(f'format = "{name}"' for name in formats or ("kind/1",))


# The reader's words for what a person got wrong → ours.
_SYNTAX = (
    (r"Cannot overwrite a value|Cannot declare .* twice|Cannot mutate.*", "a key or table stands twice"),
    (r"Expected '=' after a key.*", "a line that is no key = value"),
    (r"Expected newline or end of document.*", "more than one value: a decimal comma, or missing quotes"),
    (r"Exceeds the limit .*", "a number of thousands of digits"),
    (r"Invalid value", "a value that is no number, \"text\", true, false, [list] or date"),
)  # fmt: skip


def _syntax_fault(file: str, error: Exception) -> Fault:
    found = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", str(error), re.DOTALL)
    reason = "nested too deeply" if isinstance(error, RecursionError) else found[1] if found else str(error)
    reason = next((ours for theirs, ours in _SYNTAX if re.fullmatch(theirs, reason, re.DOTALL)), reason)
    if found is None:
        return Fault(file, "", f"is no valid TOML: {reason}", "look for a quote or bracket that is not closed")
    line, column = int(found[2]), found[3]
    wrong = f"is no valid TOML: {reason} at column {column}"
    return Fault(file, "", wrong, "correct this line, or an earlier one that is not closed", line=line)


def check_format(document: Document, *formats: str) -> None:
    """Check that the `format` of a document is one of `formats`, or any where none is given.

    Raises
    ------
    FileFaults
        If it has none, or is of another kind or version.
    """
    value = document.data.get("format")
    wanted = _first_line(formats)
    if value is None and (formats or "format" not in document.data):
        raise FileFaults([Fault(document.file, "format", "key is missing", f"start the file with {wanted}")])
    if not formats or value in formats:
        return
    kinds = {name.split("/")[0] for name in formats}
    wrong, todo = "is another kind of file", f"name a file with {wanted}"
    if isinstance(value, str) and value in kinds:
        wrong, todo = "names no version", f"write {wanted}"
    elif isinstance(value, str) and value.split("/")[0] in kinds:
        wrong = "is a version that this release does not know"
        todo = f"this release reads {' or '.join(formats)}; update evenhang, or use the release that wrote the file"
    raise FileFaults([document.fault(("format",), wrong, todo, value)])
