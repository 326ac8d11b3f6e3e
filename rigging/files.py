"""The generic TOML reader: every fault of a file at once, each with its key, value and next step.

Faults read `FILE[:LINE]: key.path: what is wrong (got VALUE); what to do`. Elements of a list are
counted from 1, as the rows of a column are. A line is given only where it is certain.
"""

from __future__ import annotations

import codecs
import hashlib
import itertools
import os
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from rigging.explain import Problem, explain, explain_cross
from rigging.faults import NO_VALUE, Fault, FileFaults, Loc, key_path, lines_of
from rigging.models import Model

# A venue of a thousand areas is some 200 kB, the largest that is read from a drawing 1 MB; what is larger than this is
# not one of our files.
MAX_BYTES = 2_000_000
MOST_NESTED = 32  # tables and lists in each other; ours go six deep
MOST_FAULTS = 100  # of one file that are told

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Document:
    """A TOML file as read: `file` as typed, `data` unchecked, `text` for line numbers, `sha256` of its bytes.

    Lines of `text` end with a line feed; most of those of the file end with `line_end`.
    """

    file: str
    path: Path
    text: str
    data: dict[str, Any]
    sha256: str
    line_end: str = "\n"

    @property
    def as_written(self) -> str:
        """The text with the line ends that the file has."""
        return self.text.replace("\n", self.line_end)

    def fault(self, loc: Loc, wrong: str, todo: str, value: object = NO_VALUE) -> Fault:
        """A fault at `loc`, with its line where that is certain."""
        return self.faults([(loc, wrong, todo, value)])[0]

    def faults(self, problems: Iterable[Problem], prefix: Loc = ()) -> list[Fault]:
        """Faults at locations below `prefix`, with their lines where these are certain."""
        placed = [((*prefix, *loc), wrong, todo, value) for loc, wrong, todo, value in _told(problems)]
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
    return _parsed(text.replace("\r\n", "\n"), file, formats, text.encode())


def _parsed(text: str, file: str, formats: tuple[str, ...], content: bytes) -> Document:
    _refuse_deep_keys(file, text)
    try:
        data = tomllib.loads(text)
        _refuse_deep(data)
    except (ValueError, RecursionError) as error:
        raise FileFaults([_syntax_fault(file, error)]) from None
    line_end = "\r\n" if 2 * content.count(b"\r\n") > content.count(b"\n") else "\n"
    document = Document(file, Path(file), text, data, hashlib.sha256(content).hexdigest(), line_end)
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
        details = error.errors(include_url=False, include_input=False)
        problems = list(explain(details[: MOST_FAULTS + 1], data, model, prefix))
        if len(details) > MOST_FAULTS:
            return None, problems
    between = explain_cross(model.cross_faults(model.metric(data)), [loc for loc, *_ in problems], data)
    problems += itertools.islice(between, MOST_FAULTS + 1)
    return (None if problems else checked), problems


def _told(problems: Iterable[Problem]) -> Iterator[Problem]:
    """As many problems as a person reads; of one file there may be hundreds of thousands."""
    rest = iter(problems)
    yield from itertools.islice(rest, MOST_FAULTS)
    if next(rest, None) is not None:
        yield (), f"holds more faults than the {MOST_FAULTS} that are told", "correct these first", NO_VALUE


_TOO_DEEP = f"close what is open; tables and lists lie at most {MOST_NESTED} deep in each other"
# So many parts of a dotted key, bare or quoted: the parser's time and memory grow with the square of their number.
_PART = r"""(?:[\w-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')[ \t]*\.[ \t]*"""
_DEEP_KEY = re.compile(rf"""(?<![\w"'.-])(?:{_PART}){{{MOST_NESTED}}}""", re.ASCII)


def _refuse_deep_keys(file: str, text: str) -> None:
    found = _DEEP_KEY.search(text)
    if found is not None:
        line = text.count("\n", 0, found.start()) + 1
        raise FileFaults([Fault(file, "", "is no valid TOML: nested too deeply", _TOO_DEEP, line=line)])


def _refuse_deep(data: dict[str, Any]) -> None:
    """Refuse tables and lists that lie deeper in each other than any of ours, before anything walks through them."""
    level: list[Any] = [data]
    for _ in range(MOST_NESTED):
        tables = [one.values() if isinstance(one, dict) else one for one in level if isinstance(one, dict | list)]
        level = list(itertools.chain.from_iterable(tables))
        if not level:
            return
    raise RecursionError


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
    if not content.removeprefix(codecs.BOM_UTF8).strip():
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
        todo = _TOO_DEEP if isinstance(error, RecursionError) else "look for a quote or bracket that is not closed"
        return Fault(file, "", f"is no valid TOML: {reason}", todo)
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
