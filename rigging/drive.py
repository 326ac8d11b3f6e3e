"""How a hang file says what a group of rows is driven through: its filters. What they do is for acoustics."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.faults import NO_VALUE, Loc
from rigging.models import Model, key, problem, quantity, whole_numbers

Problem = tuple[Loc, str, str, object]

HIGHEST_ORDER = 8
SQUARED_ORDERS = (4, 8)
SHELF_ORDERS = (1, 2)

# Of each kind: the keys it needs and those it may have, besides kind and frequency_hz.
_KEYS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "high-pass": (("order",), ("alignment",)),
    "low-pass": (("order",), ("alignment",)),
    "low-shelf": (("gain_db",), ("order", "q")),
    "high-shelf": (("gain_db",), ("order", "q")),
    "bell": (("gain_db", "q"), ()),
}
_EXAMPLES = {
    "order": f"1 to {HIGHEST_ORDER}, for example order = 4",
    "gain_db": "-40 to 20 dB, for example gain_db = -4.0",
    "q": "0.1 to 20, for example q = 2.0",
}


def _check_order(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= HIGHEST_ORDER:
        raise problem("is no order of a filter", f"give a whole number, 1 to {HIGHEST_ORDER}")
    return value


class Filter(Model):
    """One filter of a drive group: `[[group.filter]]`. Which keys a kind needs is told by `cross_faults`."""

    kind: Literal["high-pass", "low-pass", "low-shelf", "high-shelf", "bell"] = key("what it does", '"high-pass"')
    frequency_hz: Annotated[float, quantity(10.0, 30_000.0, "Hz")] = key("corner or centre", "60.0")
    order: (
        Annotated[int, BeforeValidator(_check_order, json_schema_input_type=whole_numbers(1, HIGHEST_ORDER))] | None
    ) = Field(None, description="of a high-pass or low-pass; of a shelf 1 or 2, 2 when absent")
    alignment: Literal["butterworth", "squared-butterworth"] | None = Field(
        None, description="of a high-pass or low-pass; butterworth when absent"
    )
    gain_db: Annotated[float, quantity(-40.0, 20.0, "dB")] | None = Field(None, description="of a shelf or bell")
    q: Annotated[float, quantity(0.1, 20.0, "")] | None = Field(
        None, description="of a bell, or of a shelf of order 2, there 0.707 when absent"
    )

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Keys that the kind needs or does not know; orders that the kind or its alignment does not have."""
        kind = data.get("kind")
        if not isinstance(kind, str) or kind not in _KEYS:
            return
        needs, may = _KEYS[kind]
        for name in needs:
            if name not in data:
                yield (name,), "key is missing", f"a {kind} needs it: {_EXAMPLES[name]}", NO_VALUE
        for name in ("order", "alignment", "gain_db", "q"):
            if name in data and name not in needs + may:
                known = ", ".join(needs + may)
                todo = f"remove it; beside kind and frequency_hz a {kind} has {known}"
                yield (name,), f"has no meaning for a {kind}", todo, data[name]
        yield from _order_faults(kind, data)


def filter_faults(entries: Any, loc: Loc) -> Iterator[Problem]:
    """Faults between the keys of each filter in a list that stands at `loc` of a file."""
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        if isinstance(entry, dict):
            for inner, wrong, todo, value in Filter.cross_faults(entry):
                yield (*loc, index, *inner), wrong, todo, value


def _order_faults(kind: str, data: Mapping[str, Any]) -> Iterator[Problem]:
    if "order" not in data:
        return
    order = data["order"]
    if kind in ("low-shelf", "high-shelf"):
        if order not in SHELF_ORDERS:
            yield ("order",), "is no order of a shelf", "give 1 or 2, or remove it for 2", order
        elif order == 1 and "q" in data:
            yield ("q",), "has no meaning for a shelf of order 1", "remove it, or set order = 2", data["q"]
    squared = kind in ("high-pass", "low-pass") and data.get("alignment") == "squared-butterworth"
    if squared and order not in SQUARED_ORDERS:
        todo = 'give 4 or 8, or set alignment = "butterworth"'
        yield ("order",), "is no order of a squared-butterworth filter", todo, order
