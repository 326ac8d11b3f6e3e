"""The base of every file model, and what its keys may hold."""

from __future__ import annotations

import math
import re
import types
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from rigging.faults import Converted, Loc

# International foot and avoirdupois pound, exact by definition (international agreement of 1959).
IMPERIAL = {"_ft": ("_m", 0.3048), "_lb": ("_kg", 0.45359237)}


class Model(BaseModel):
    """Base of every file model: frozen, unknown keys refused, feet and pounds through their own keys."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    FORMAT: ClassVar[str] = ""

    @model_validator(mode="before")
    @classmethod
    def _from_imperial(cls, data: Any) -> Any:
        """Turn `trim_ft` into `trim_m`; where both stand, the foot key stays and is refused."""
        return _one_metric(cls, data)

    @classmethod
    def metric(cls, data: Any) -> Any:
        """Unchecked data with feet and pounds turned to metres and kilograms, tables within tables included."""
        turned = _one_metric(cls, data)
        if not isinstance(turned, dict):
            return turned
        for name, value in turned.items():
            inner = model_in(cls.model_fields[name].annotation) if name in cls.model_fields else None
            if inner is not None:
                listed = isinstance(value, list)
                turned[name] = [inner.metric(item) for item in value] if listed else inner.metric(value)
        return turned

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Faults between keys, found on the unchecked data, in metres and kilograms, so that none hides another."""
        yield from ()


def problem(wrong: str, todo: str) -> PydanticCustomError:
    """An error for a validator to raise; the reader adds file, key and value."""
    return PydanticCustomError("evenhang", "{wrong}; {todo}", {"wrong": wrong, "todo": todo})


def whole_numbers(low: int, high: int | None = None) -> Any:
    """What a schema says of whole numbers that a check of their own accepts."""
    return Annotated[int, Field(ge=low, le=high)]


def quantity(low: float, high: float, unit: str) -> BeforeValidator:
    """Accept a finite number in `low`…`high` `unit`, the plausible range of its key."""
    what = f"a number in {unit}" if unit else "a number"

    def check(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise problem(f"must be {what}", "give the number without quotes or unit")
        if isinstance(value, float) and not math.isfinite(value):
            raise problem("is not a finite number", f"give {what}")
        if not low <= value <= high:
            span = f"{low:g} to {high:g} {unit}".rstrip()
            raise problem(f"lies outside the plausible range {span}", "check the number and its unit")
        return float(value)

    shown = Field(ge=low, le=high, json_schema_extra={"x-unit": unit} if unit else None)
    return BeforeValidator(check, json_schema_input_type=Annotated[float, shown])


def _check_flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise problem("must be true or false", "write true or false without quotes")
    return value


_LONGEST_PATH = 500  # characters; most systems take 4,096 bytes, some 260 characters


def _check_path(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise problem("must be the name of a file", "put it in quotes")
    if len(value) > _LONGEST_PATH:
        raise problem(f"is longer than {_LONGEST_PATH} characters", "name the file from the folder of this one")
    return value


def _check_name(value: Any) -> str:
    if not isinstance(value, str):
        raise problem("must be a text", "put it in quotes")
    if not value.strip() or len(value) > 80 or not value.isprintable():
        raise problem("must be 1 to 80 printable characters", "give it a short name")
    return value


_Short = Annotated[str, Field(min_length=1, max_length=80)]
_NotEmpty = Annotated[str, Field(min_length=1)]
Name = Annotated[str, BeforeValidator(_check_name, json_schema_input_type=_Short)]
FilePath = Annotated[str, BeforeValidator(_check_path, json_schema_input_type=_NotEmpty)]
Flag = Annotated[bool, BeforeValidator(_check_flag)]


def key(text: str, example: str) -> Any:
    """A required key: what it is, and how a line that gives it could read."""
    return Field(description=text, examples=[example])


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


def model_in(annotation: Any) -> type[Model] | None:
    """The model class in an annotation, through lists, tuples and optional ones."""
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return annotation
    if get_origin(annotation) in (Annotated, tuple, list, Union, types.UnionType):
        return next((m for m in map(model_in, get_args(annotation)) if m), None)
    return None


def imperial_keys(model: type[Model]) -> dict[str, str]:
    """Keys in feet and pounds that a model takes for those in metres and kilograms, each with its suffix.

    None for what counts for each metre: a foot's share is no length to be turned.
    """
    return {
        name.removesuffix(metric) + suffix: suffix
        for name in model.model_fields
        for suffix, (metric, _) in IMPERIAL.items()
        if name.endswith(metric) and not name.endswith("_per" + metric)
    }


def _one_metric(model: type[Model], data: Any) -> Any:
    if not isinstance(data, dict):
        return data
    return {_metric_name(model, key, data): _metric_value(model, key, data) for key in data}


def _metric_name(model: type[Model], name: str, data: Mapping[str, Any]) -> str:
    suffix = imperial_keys(model).get(name)
    if suffix is None:
        return name
    twin = name.removesuffix(suffix) + IMPERIAL[suffix][0]
    return name if twin in data else twin


def _metric_value(model: type[Model], name: str, data: Mapping[str, Any]) -> Any:
    if _metric_name(model, name, data) == name:
        return data[name]
    return _scaled(data[name], next(suffix for suffix in IMPERIAL if name.endswith(suffix)))


def _scaled(value: Any, suffix: str) -> Any:
    if isinstance(value, list):
        return [_scaled(item, suffix) for item in value]
    turned = converted(value, suffix)
    return value if turned is None else turned.metric


def converted(value: Any, suffix: str) -> Converted | None:
    """A number of feet or pounds, or a text of feet and inches, as metres or kilograms; None for all else."""
    metric, factor = IMPERIAL[suffix]
    number = feet_of(value) if isinstance(value, str) and suffix == "_ft" else value
    if isinstance(number, bool) or not isinstance(number, int | float):
        return None
    try:
        return Converted(value, suffix[1:], number * factor, metric[1:])
    except OverflowError:
        return None


_FOOT, _INCH = r"(?:'|′|’|ft\.?)", r"(?:\"|″|”|''|′′|in\.?)"
_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_WHOLE = r"\d{1,9}"  # Python refuses to read whole numbers of thousands of digits
_FEET = re.compile(
    rf"(?P<sign>[-+]?)\s*(?:(?P<feet>{_NUMBER})\s*{_FOOT})?"
    rf"(?:\s*-?\s*(?:(?P<inches>{_NUMBER})(?!\s*/))?(?:\s*(?P<top>{_WHOLE})\s*/\s*(?P<bottom>{_WHOLE}))?\s*{_INCH})?",
    re.ASCII,
)


def feet_of(text: str) -> float | None:
    """Feet of a text such as `32' 6"`, `32 ft 6 in`, `-1' 3 1/2"` or `9"`; None where it is no such text.

    Whole feet take less than 12 inches, so that a slip of the pen is no length.
    """
    found = _FEET.fullmatch(text.replace("\u00a0", " ").strip())  # pages hold their lengths together with such spaces
    if found is None or not any(found[name] for name in ("feet", "inches", "top")):
        return None
    if found["top"] and (int(found["bottom"]) == 0 or int(found["top"]) >= int(found["bottom"])):
        return None
    part = int(found["top"]) / int(found["bottom"]) if found["top"] else 0.0
    inches = float(found["inches"] or 0.0) + part
    whole = found["feet"] is None or "." not in found["feet"]
    if found["feet"] is not None and (inches >= 12.0 or (inches and not whole)):
        return None
    return (-1.0 if found["sign"] == "-" else 1.0) * (float(found["feet"] or 0.0) + inches / 12.0)
