"""What is wrong with an input file, and where: the faults that a person reads."""

from __future__ import annotations

import difflib
import itertools
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

# Locating a fault parses growing prefixes, which is quadratic: beyond these no line is given.
MAX_LOCATED_LINES = 600
MAX_LOCATED_WORK = 8_000_000  # characters times lines

Loc = tuple[str | int, ...]


class _NoValue:
    pass


NO_VALUE = _NoValue()


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one file; `str()` gives the line that a person reads."""

    file: str
    key: str
    wrong: str
    todo: str
    value: object = NO_VALUE
    line: int | None = None

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        key = f" {self.key}:" if self.key else ""
        got = "" if self.value is NO_VALUE else f" (got {show(self.value)})"
        # Escapes, so that a name with a line end or a terminal code stays one harmless line.
        return _printable(f"{place}:{key} {self.wrong}{got}; {self.todo}")


@dataclass(frozen=True)
class Converted:
    """A value that was typed in feet or pounds, with what it comes to."""

    typed: object
    unit: str
    metric: float
    metric_unit: str


class FileFaults(ValueError):
    """Raised when input is at fault; `faults` holds every fault that was found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


_LONGEST = 60  # characters of a value that are shown
_SHOWN = 30  # entries of a list or table that are looked at for it: they take more characters than that


def show(value: object) -> str:
    """A value as it stands in TOML, shortened to a readable length."""
    try:
        text = _toml(value)
    except (ValueError, RecursionError):  # whole numbers of thousands of digits, endless nesting
        return "something too large to print"
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _toml(value: object) -> str:
    if isinstance(value, Converted):
        typed = value.typed if isinstance(value.typed, str) else f"{value.typed} {value.unit}"
        return f"{typed} = {value.metric:.6g} {value.metric_unit}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value[:80]}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(value[key])}" for key in itertools.islice(value, _SHOWN)) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value[:_SHOWN]) + "]"
    return f"{value}"


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def key_path(loc: Loc) -> str:
    """`("area", 1, "outline_m")` → `area[2].outline_m`, counted from 1."""
    path = ""
    for part in loc:
        word = part if part != "" else '""'
        path += f"[{part + 1}]" if isinstance(part, int) else f".{word}" if path else f"{word}"
    return path


def nearest(word: str, known: Iterable[str], *, what: str = "") -> str:
    """The next step for an unknown word: the nearest known one and the list of all."""
    names = sorted(known)
    close = closest(word, names)
    hint = f"did you mean {close}? " if close else ""
    return f"{hint}known{' ' + what if what else ''}: {', '.join(names) or 'none'}"


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is most like another: by its letters, or because it begins alike."""
    names = list(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.5)
    begins = [name for name in names if len(word) > 2 and name.startswith(word)]
    return next(iter(close or begins), None)


def value_at(data: Any, loc: Loc) -> Any:
    """The value at a location of parsed TOML; `NO_VALUE` where there is none."""
    for part in loc:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return NO_VALUE
    return data


def lines_of(text: str, locs: Iterable[Loc]) -> dict[Loc, int]:
    """Line of each location in a TOML text, for those where it is certain.

    A prefix of the text that parses ends with a whole statement; the first such prefix that holds a
    location ends with the statement that set it. A key that is missing is placed at the header of
    its table.
    """
    lines = text.split("\n")
    wanted = {loc for loc in locs if loc}
    found: dict[Loc, int] = {}
    if not wanted or len(lines) > MAX_LOCATED_LINES or len(lines) * len(text) > MAX_LOCATED_WORK:
        return found
    whole = tomllib.loads(text)
    held = {loc: loc if value_at(whole, loc) is not NO_VALUE else loc[:-1] for loc in wanted}
    for first, last, data in _statements(lines):
        for loc in [loc for loc in wanted if value_at(data, held[loc]) is not NO_VALUE]:
            wanted.discard(loc)
            if _sets(lines[first], last - first, loc, held[loc]):
                found[loc] = first + 1
            elif (line := _line_inside(lines, first, last, held[loc])) is not None:
                found[loc] = line + 1
        if not wanted:
            break
    return found


def _statements(lines: list[str]) -> Iterator[tuple[int, int, dict[str, Any]]]:
    """First and last line of every TOML statement, with all that has been set by its end."""
    first, inside = 0, False
    for last, line in enumerate(lines):
        if not inside and (not line.strip() or line.lstrip().startswith("#")):
            first = last + 1
            continue
        try:
            data = tomllib.loads("\n".join(lines[: last + 1]))
        except (ValueError, RecursionError):
            inside = True
            continue
        yield first, last, data
        first, inside = last + 1, False


def _line_inside(lines: list[str], first: int, last: int, held: Loc) -> int | None:
    """The line of an array over several lines that sets an element: the first that, with its brackets closed, does."""
    if not any(isinstance(part, int) for part in held[-2:]):
        return None
    for end in range(first, last + 1):
        for brackets in ("]", "]]", "]]]"):
            try:
                data = tomllib.loads("\n".join([*lines[: end + 1], brackets]))
            except (ValueError, RecursionError):
                continue
            if value_at(data, held) is not NO_VALUE:
                return end
    return None


def _sets(line: str, more_lines: int, loc: Loc, held: Loc) -> bool:
    """Whether the statement that opens with `line` is the one that a reader would look for."""
    name = ".".join(part for part in held if isinstance(part, str))
    if name and re.match(rf"\s*\[\[?\s*{re.escape(name)}\s*\]\]?", line):
        return True
    if held != loc:
        # A key that an inline table lacks is looked for where that table stands, on a line of its own.
        name = next((part for part in reversed(held) if isinstance(part, str)), "")
        inline = bool(name) and isinstance(held[-1], int)
        return inline and more_lines == 0 and re.match(rf"\s*{re.escape(name)}\s*=", line) is not None
    last = loc[-1]
    named = isinstance(last, str) and re.match(rf'\s*"?{re.escape(last)}"?\s*=', line) is not None
    return more_lines == 0 or named
