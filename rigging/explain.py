"""From the errors of the model checker to faults that a person can act on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rigging.faults import NO_VALUE, Loc, closest, value_at
from rigging.models import IMPERIAL, Model, converted, imperial_keys, model_in

Problem = tuple[Loc, str, str, object]

_QUOTED = {"_ft": 'without quotes or unit, or as "32 ft 6 in"', "_lb": "without quotes or unit"}
_WORDS = {
    "dict_type": ("must be a table", "write it as [name]"),
    "int_type": ("must be a whole number", "write it without a decimal point"),
    "int_from_float": ("must be a whole number", "write it without a decimal point"),
    "bool_type": ("must be true or false", "write true or false without quotes"),
    "bool_parsing": ("must be true or false", "write true or false without quotes"),
    "string_type": ("must be a text", "put it in quotes"),
}


def explain(details: Iterable[Any], data: Any, model: type[Model], prefix: str = "") -> Iterator[Problem]:
    """Problems of an unchecked document, or of its table `prefix`, each told once, at the keys as typed.

    A list that is too short only because its entries are at fault is not a fault of its own.
    """
    listed = list(details)
    at = [tuple(detail["loc"]) for detail in listed]
    short: set[Loc] = set()
    for detail, loc in zip(listed, at, strict=True):
        if detail["type"] == "too_short" and any(other[: len(loc)] == loc and other != loc for other in at):
            continue
        if detail["type"] == "missing" and isinstance(loc[-1], int):
            if loc[:-1] in short:
                continue
            short.add(loc[:-1])
            count = 1 + max(o[-1] for o in at if o[:-1] == loc[:-1] and isinstance(o[-1], int))
            typed, value = as_typed(loc[:-1], data)
            yield typed, "has too few entries", f"give {count}", value
            continue
        yield _explain_one(detail, loc, data, model, prefix)


def explain_cross(problems: Iterable[Problem], said: Iterable[Loc], data: Any) -> Iterator[Problem]:
    """Problems between keys, but for those at keys that are at fault themselves."""
    faulty = list(said)
    for loc, wrong, todo, value in problems:
        typed, as_written = as_typed(loc, data)
        if not any(typed[: len(other)] == other or other[: len(typed)] == typed for other in faulty):
            shown = as_written if value is not NO_VALUE and typed != loc else value
            yield typed, wrong, todo, shown


def as_typed(loc: Loc, data: Any) -> tuple[Loc, object]:
    """Where the metric key of a location is not in the file, name the imperial one that is, and its value."""
    typed: list[str | int] = []
    node, unit = data, None
    for part in loc:
        if isinstance(part, str) and isinstance(node, dict) and part not in node:
            for suffix, (metric, _) in IMPERIAL.items():
                twin = part.removesuffix(metric) + suffix
                if part.endswith(metric) and twin in node:
                    part, unit = twin, suffix
        typed.append(part)
        node = value_at(node, (part,))
    turned = None if unit is None else converted(node, unit)
    return tuple(typed), node if turned is None else turned


def _explain_one(detail: Any, loc: Loc, data: Any, model: type[Model], prefix: str) -> Problem:
    kind, context = detail["type"], detail.get("ctx", {})
    owner = _model_at(model, loc[:-1])
    if kind == "missing":
        return _missing(loc, owner)
    if kind == "extra_forbidden":
        return _unknown(loc, owner, value_at(data, loc), value_at(data, loc[:-1]))
    typed, value = as_typed(loc, data)
    if kind == "evenhang":
        return typed, _in_typed_unit(context["wrong"], loc, typed), _in_typed_unit(context["todo"], loc, typed), value
    if kind == "too_short":
        return typed, f"needs {context['min_length']} or more entries", "add what is missing", value
    if kind == "too_long":
        most = context["max_length"]
        return typed, f"has more than {most} entries", f"give {most}", value
    if kind == "literal_error":
        return typed, "is not one of the known words", f"use {context['expected']}", value
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = context.get("ge", context.get("le"))
        word = "at least" if "ge" in context else "at most"
        return typed, "lies outside the plausible range", f"give {word} {limit}", value
    if kind in ("model_type", "tuple_type", "list_type"):
        return typed, *_wrong_kind(kind, loc, owner, prefix), value
    wrong, todo = _WORDS.get(kind, (detail["msg"], "correct the value"))
    return typed, wrong, todo, value


def _wrong_kind(kind: str, loc: Loc, owner: type[Model] | None, prefix: str) -> tuple[str, str]:
    """For what should be a table, a list of tables, or a list."""
    name = next((part for part in reversed(loc) if isinstance(part, str)), "")
    header = ".".join(part for part in (prefix, *loc) if isinstance(part, str) and part)
    if kind == "model_type":
        header = f"[[{header}]]" if isinstance(loc[-1], int) else f"[{header}]"
        return "must be a table", f"write it as {header}"
    field = owner.model_fields.get(name) if owner and isinstance(loc[-1], str) else None
    if field is not None and model_in(field.annotation) is not None:
        return "must be tables", f"write [[{header}]] once for each"
    return "must be a list", "put it in [ ]"


def _missing(loc: Loc, owner: type[Model] | None) -> Problem:
    name = str(loc[-1])
    field = owner.model_fields.get(name) if owner else None
    example = field.examples[0] if field and field.examples else "..."
    what = (field.description or "") if field else ""
    if example.startswith((f"[{name}]", f"[[{name}]]")):
        header = example.removesuffix(" ...")
        return loc, "key is missing", f"add {header}: {what.removesuffix(f': {header}')}", NO_VALUE
    return loc, "key is missing", f"add {name}: {what}; for example {name} = {example}", NO_VALUE


def _unknown(loc: Loc, owner: type[Model] | None, value: object, table: object) -> Problem:
    name = str(loc[-1])
    for suffix, (metric, _) in IMPERIAL.items():
        twin = name.removesuffix(suffix) + metric
        if owner and imperial_keys(owner).get(name) == suffix and isinstance(table, Mapping) and twin in table:
            return loc, f"stands beside {twin}", "keep one of the two", value
    known = owner.model_fields if owner else {}
    close = closest(name, known)
    todo = f"did you mean {close}?" if close else f"known keys: {', '.join(known)}"
    return loc, "is an unknown key", todo, value


def _in_typed_unit(text: str, loc: Loc, typed: Loc) -> str:
    """A message about a key in feet asks for feet; ranges stay in metres and say so."""
    for suffix, (metric, _) in IMPERIAL.items():
        if loc != typed and any(isinstance(part, str) and part.endswith(suffix) for part in typed):
            text = text.replace("without quotes or unit", _QUOTED[suffix])
            return text.replace(f"a number in {metric[1:]}", f"a number in {suffix[1:]}")
    return text


def _model_at(model: type[Model], loc: Loc) -> type[Model] | None:
    """The model class at a location."""
    found: type[Model] | None = model
    for part in loc:
        if isinstance(part, str):
            field = found.model_fields.get(part) if found else None
            found = model_in(field.annotation) if field else None
    return found
