"""The generic TOML reader: every fault of a file at once, each with its key, value and next step.

Faults read `FILE[:LINE]: key.path: what is wrong (got VALUE); what to do`. Elements of a list are
counted from 1, as the rows of a column are. A line is given only where it is certain.
"""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar, TypeVar, Union, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)
from pydantic_core import PydanticCustomError

from rigging.faults import NO_VALUE, Fault, FileFaults, Loc, key_path, lines_of, value_at

# A venue of a thousand areas is some 200 kB; what is larger than this is not one of our files.
MAX_BYTES = 4_000_000
# International foot and avoirdupois pound, exact by definition (international agreement of 1959).
IMPERIAL = {"_ft": ("_m", 0.3048), "_lb": ("_kg", 0.45359237)}


@dataclass(frozen=True)
class Document:
    """A TOML file as read: `file` as the user typed it, `data` unchecked, `text` for line numbers."""

    file: str
    path: Path
    text: str
    data: dict[str, Any]

    def fault(self, loc: Loc, wrong: str, todo: str, value: object = NO_VALUE) -> Fault:
        """A fault at `loc`, with its line where that is certain."""
        line = lines_of(self.text, [loc]).get(loc)
        return Fault(self.file, key_path(loc), wrong, todo, value, line)


class Model(BaseModel):
    """Base of every file model: frozen, unknown keys refused, feet and pounds through their own keys."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    FORMAT: ClassVar[str] = ""

    @model_validator(mode="before")
    @classmethod
    def _from_imperial(cls, data: Any) -> Any:
        """Turn `trim_ft` into `trim_m`; where both stand, the foot key stays and is refused."""
        if not isinstance(data, dict):
            return data
        return {_metric_name(cls, key, data): _metric_value(cls, key, data) for key in data}

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Faults between keys, found on the unchecked data so that none hides behind another."""
        yield from ()


M = TypeVar("M", bound=Model)


def problem(wrong: str, todo: str) -> PydanticCustomError:
    """An error for a validator to raise; the reader adds file, key and value."""
    return PydanticCustomError("evenhang", "{wrong}; {todo}", {"wrong": wrong, "todo": todo})


def quantity(low: float, high: float, unit: str) -> BeforeValidator:
    """Accept a finite number in `low`…`high` `unit`, the plausible range of its key."""
    what = f"a number in {unit}" if unit else "a number"

    def check(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise problem(f"must be {what}", "give the number without quotes or unit")
        if not math.isfinite(value):
            raise problem("is not a finite number", f"give {what}")
        if not low <= value <= high:
            span = f"{low:g} to {high:g} {unit}".rstrip()
            raise problem(f"lies outside the plausible range {span}", "check the number and its unit")
        return float(value)

    return BeforeValidator(check)


def _check_name(value: Any) -> str:
    if not isinstance(value, str):
        raise problem("must be a text", "put it in quotes")
    if not value.strip() or len(value) > 80 or not value.isprintable():
        raise problem("must be 1 to 80 printable characters", "give it a short name")
    return value


Name = Annotated[str, BeforeValidator(_check_name)]


def key(text: str, example: str) -> Any:
    """A required key: what it is, and how a line that gives it could read."""
    return Field(description=text, examples=[example])


def read(path: str | os.PathLike[str], *formats: str) -> Document:
    """Read a TOML file and check that its `format` is one of `formats` (all when none is given).

    Raises
    ------
    FileFaults
        If it cannot be read, is no TOML, or is of another kind or version.
    """
    file = os.fspath(path)
    text = _read_text(file, formats)
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise FileFaults([_syntax_fault(file, error)]) from None
    document = Document(file, Path(file), text, data)
    _check_format(document, formats)
    return document


def validate(document: Document, model: type[M]) -> M:
    """Check a document against its model.

    Raises
    ------
    FileFaults
        With every fault: of single keys, and between keys.
    """
    faults = [(loc, wrong, todo, value) for loc, wrong, todo, value in model.cross_faults(document.data)]
    checked: M | None = None
    try:
        checked = model.model_validate(document.data)
    except ValidationError as error:
        details = error.errors(include_url=False)
        faults = [_explain(detail, document.data, model) for detail in details] + faults
    if faults or checked is None:
        lines = lines_of(document.text, [fault[0] for fault in faults])
        raise FileFaults(
            Fault(document.file, key_path(loc), wrong, todo, value, lines.get(loc))
            for loc, wrong, todo, value in faults
        )
    return checked


def validate_part(file: str, prefix: str, data: Mapping[str, Any], model: type[M]) -> M:
    """Check one table of an equipment file that another package passed through unread.

    Raises
    ------
    FileFaults
        With every fault, its key path starting with `prefix`.
    """
    try:
        return validate(Document(file, Path(file), "", dict(data)), model)
    except FileFaults as error:
        raise FileFaults(
            Fault(file, f"{prefix}.{f.key}" if f.key else prefix, f.wrong, f.todo, f.value) for f in error.faults
        ) from None


def duplicate_faults(data: Mapping[str, Any], table: str) -> Iterator[tuple[Loc, str, str, object]]:
    """A fault for every entry of `[[table]]` whose name another one has already."""
    entries = data.get(table)
    seen: dict[str, int] = {}
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        name = entry.get("name") if isinstance(entry, dict) else None
        if not isinstance(name, str):
            continue
        if name in seen:
            wrong = f"is the name of {table}[{seen[name] + 1}] too"
            yield (table, index, "name"), wrong, "give each its own name", name
        seen.setdefault(name, index)


def _read_text(file: str, formats: tuple[str, ...]) -> str:
    path = Path(file)

    def refuse(wrong: str, todo: str) -> FileFaults:
        return FileFaults([Fault(file, "", wrong, todo)])

    if path.is_dir():
        raise refuse("is a directory, not a file", "name the TOML file inside it")
    try:
        if path.exists() and not path.is_file():
            raise refuse("is not a regular file", "name a TOML file")
        size = path.stat().st_size
        if size > MAX_BYTES:
            limit = f"files of this project stay under {MAX_BYTES // 1_000_000} MB"
            raise refuse(f"is too large, {size / 1e6:.0f} MB", f"{limit}; check that it is the right one")
        content = path.read_bytes()
    except FileNotFoundError:
        raise refuse("does not exist", "check the path") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise refuse(f"cannot be read ({reason})", "check path and rights") from None
    if not content.strip():
        raise refuse("is empty", f"start it with {_first_line(formats)}")
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise refuse("is not a text file in UTF-8", "save it as plain TOML text") from None


def _first_line(formats: tuple[str, ...]) -> str:
    return " or ".join(f'format = "{name}"' for name in formats or ("kind/1",))


def _syntax_fault(file: str, error: Exception) -> Fault:
    found = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", str(error), re.DOTALL)
    if found is None:
        reason = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        return Fault(file, "", f"is no valid TOML: {reason}", "correct the file")
    reason, line, column = found[1], int(found[2]), found[3]
    wrong = f"is no valid TOML: {reason} at column {column}"
    return Fault(file, "", wrong, "correct this line or the one before it", line=line)


def _check_format(document: Document, formats: tuple[str, ...]) -> None:
    value = document.data.get("format")
    wanted = _first_line(formats)
    if value is None and (formats or "format" not in document.data):
        todo = f"start the file with {wanted}"
        raise FileFaults([Fault(document.file, "format", "key is missing", todo)])
    if formats and value not in formats:
        versions = {name.split("/")[0] for name in formats}
        if isinstance(value, str) and value.split("/")[0] in versions:
            todo = f"this release reads {' or '.join(formats)}; use the release that wrote the file"
            wrong = "is a version that this release does not know"
        else:
            wrong, todo = "is another kind of file", f"name a file with {wanted}"
        raise FileFaults([document.fault(("format",), wrong, todo, value)])


def _explain(detail: Any, data: Any, model: type[Model]) -> tuple[Loc, str, str, object]:
    """A pydantic error → location as typed, what is wrong, what to do, the value as typed."""
    loc, kind, context = tuple(detail["loc"]), detail["type"], detail.get("ctx", {})
    owner = _model_at(model, loc[:-1])
    if kind == "missing" and loc and isinstance(loc[-1], str):
        field = owner.model_fields[loc[-1]] if owner else None
        example = field.examples[0] if field and field.examples else "..."
        return loc, "key is missing", f"add {loc[-1]} = {example}", NO_VALUE
    if kind == "extra_forbidden":
        return _explain_unknown(loc, owner, value_at(data, loc), value_at(data, loc[:-1]))
    loc, value = _as_typed(loc, data)
    if kind == "evenhang":
        return loc, context["wrong"], context["todo"], value
    if kind in ("missing", "too_long", "too_short"):
        return (loc[:-1] if kind == "missing" else loc), *_explain_length(kind, context, loc, data)
    if kind == "literal_error":
        return loc, "is not one of the known words", f"use {context['expected']}", value
    kinds = {
        "model_type": ("must be a table", f"write it as [{loc[-1]}]" if loc else "write a table"),
        "tuple_type": ("must be a list", "put it in [ ]; for tables write [[name]] once for each"),
        "list_type": ("must be a list", "put it in [ ]"),
        "dict_type": ("must be a table", "write it as [name]"),
        "bool_type": ("must be true or false", "write true or false without quotes"),
        "int_type": ("must be a whole number", "write it without a decimal point"),
        "string_type": ("must be a text", "put it in quotes"),
    }
    wrong, todo = kinds.get(kind, (detail["msg"], "correct the value"))
    return loc, wrong, todo, value


def _explain_length(kind: str, context: Any, loc: Loc, data: Any) -> tuple[str, str, object]:
    whole = loc[:-1] if kind == "missing" else loc
    value = value_at(data, whole)
    if kind == "too_short":
        count = context["min_length"]
        return f"needs {count} or more entries", "add what is missing", value
    entries = context.get("max_length", (loc[-1] + 1) if loc and isinstance(loc[-1], int) else 0)
    return "has the wrong number of entries", f"give {max(entries, 2)}", value


def _explain_unknown(loc: Loc, owner: type[Model] | None, value: object, table: object) -> tuple[Loc, str, str, object]:
    name = str(loc[-1])
    for suffix, (metric, _) in IMPERIAL.items():
        twin = name.removesuffix(suffix) + metric
        if name.endswith(suffix) and isinstance(table, dict) and twin in table:
            return loc, f"stands beside {twin}", "keep one of the two", value
    known = owner.model_fields if owner else {}
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    todo = f"did you mean {close[0]}?" if close else f"known keys: {', '.join(known)}"
    return loc, "is an unknown key", todo, value


def _as_typed(loc: Loc, data: Any) -> tuple[Loc, object]:
    """Where the metric key of a location is not in the file, name the imperial one that is."""
    typed: list[str | int] = []
    node = data
    for part in loc:
        if isinstance(part, str) and isinstance(node, dict) and part not in node:
            for suffix, (metric, _) in IMPERIAL.items():
                twin = part.removesuffix(metric) + suffix
                part = twin if part.endswith(metric) and twin in node else part
        typed.append(part)
        node = value_at(node, (part,))
    return tuple(typed), node


def _model_at(model: type[Model], loc: Loc) -> type[Model] | None:
    """The model class at a location, through lists, tuples and optional annotations."""
    found: type[Model] | None = model
    for part in loc:
        if isinstance(part, str):
            field = found.model_fields.get(part) if found else None
            found = _model_in(field.annotation) if field else None
    return found


def _model_in(annotation: Any) -> type[Model] | None:
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return annotation
    if get_origin(annotation) in (tuple, list, Union, types.UnionType):
        return next((m for m in map(_model_in, get_args(annotation)) if m), None)
    return None


def _metric_name(model: type[Model], name: str, data: Mapping[str, Any]) -> str:
    for suffix, (metric, _) in IMPERIAL.items():
        twin = name.removesuffix(suffix) + metric
        if name.endswith(suffix) and twin in model.model_fields and twin not in data:
            return twin
    return name


def _metric_value(model: type[Model], name: str, data: Mapping[str, Any]) -> Any:
    twin = _metric_name(model, name, data)
    if twin == name:
        return data[name]
    factor = next(factor for suffix, (_, factor) in IMPERIAL.items() if name.endswith(suffix))
    return _scaled(data[name], factor)


def _scaled(value: Any, factor: float) -> Any:
    if isinstance(value, list):
        return [_scaled(item, factor) for item in value]
    return value * factor if isinstance(value, int | float) and not isinstance(value, bool) else value
