"""Keys at fault, one at a time, in files of every kind: those of `keys.toml`, and every key of every sample retyped."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
KINDS = tomllib.loads((HERE / "kinds.toml").read_text())
SAMPLES = {kind: tomllib.loads((ROOT / one["sample"]).read_text()) for kind, one in KINDS.items()}
TABLE = tomllib.loads((HERE / "keys.toml").read_text())
BY_HAND = [(kind, *row) for kind, rows in TABLE.items() for row in rows]

# Values that are too long, or too odd, to stand in the table.
VALUES = {
    "$power": "1" + "0" * 400,
    "$hex": "0x" + "f" * 4200,  # some 5,000 decimal digits: TOML may write them so
    "$text": '"' + "x" * 5_000 + '"',
    "$long": '"' + "x" * 300 + '"',
    "$bidi": '"left \\u202e right"',
    "$nul": '"a\\u0000b"',
    "$surrogates": '"\\U000e0001 tag"',
    "$deepish": "[" * 25 + "]" * 25,
    "$many": "[" + '{ enclosure = "medium", splay_deg = 0.0 }, ' * 65 + "]",
    "$feet": '["' + "9" * 400 + " ft\", \"1 ft 3/" + "9" * 5_000 + ' in", 1.0]',
}  # fmt: skip


class Raw(str):
    """A value as it stands in TOML."""


def toml(value: Any, top: bool = False) -> str:
    """Unchecked data as TOML, the tables inside in one line each."""
    if isinstance(value, Raw):
        return re.sub(r"\$[a-z]+", lambda found: VALUES[found[0]], value)
    if isinstance(value, dict):
        lines = [f"{json.dumps(key)} = {toml(one)}" for key, one in value.items()]
        return "\n".join(lines) + "\n" if top else "{" + ", ".join(lines) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return str(value).lower() if isinstance(value, bool) else str(value)


def loc_of(path: str) -> list[str | int]:
    """`area[2].name` → ["area", 1, "name"]."""
    return [int(n) - 1 if n else word for n, word in re.findall(r"\[(\d+)\]|([^.\[\]]+)", path)]


def key_of(loc: list[str | int]) -> str:
    """["area", 1, "name"] → `area[2].name`."""
    return "".join(f"[{one + 1}]" if isinstance(one, int) else f".{one}" for one in loc).lstrip(".")


def changed(kind: str, path: str, value: str) -> bytes:
    """The sample of a kind with a key set, or taken out."""
    data = copy.deepcopy(SAMPLES[kind])
    node: Any = data
    *above, last = loc_of(path)
    for one in above:
        node = node.setdefault(one, {}) if isinstance(node, dict) else node[one]
    if value == "NONE":
        del node[last]
    else:
        node[last] = Raw(value)
    return toml(data, top=True).encode()


def at(line: str, key: str) -> bool:
    """Whether a message, without the name of its file, is about a key, or about what is inside it."""
    told = re.match(r"(?:\d+:)? ([^:]+): ", line)
    return told is not None and re.match(rf"{re.escape(key)}(?![\w])", told[1].strip()) is not None


@pytest.mark.parametrize("case", BY_HAND, ids=lambda case: f"{case[0]}-{case[1]}-{case[2][:20]}")
def test_key_at_fault(refuse, case):
    kind, key, value, said, *other = case
    lines = refuse(kind, changed(kind, key, value))
    hit = [line for line in lines if at(line, other[0] if other else key)]
    assert hit, lines
    assert any(said in line for line in hit), hit


def keys_in(node: Any, loc: list[str | int]) -> Iterator[list[str | int]]:
    """Locations of all that stands in unchecked data, but for the second and later entries of a list."""
    for key in node if isinstance(node, dict) else range(min(len(node), 1)) if isinstance(node, list) else ():
        yield [*loc, key]
        yield from keys_in(node[key], [*loc, key])


def wrong_for(value: Any) -> str:
    """A value of another type."""
    return "7" if isinstance(value, str | bool | dict | list) else '"seven"'


def value_at(data: Any, loc: list[str | int]) -> Any:
    for one in loc:
        data = data[one]
    return data


# What a search may choose is read by `design` alone.
RETYPED = [
    (kind, key_of(loc), wrong_for(value_at(data, loc)))
    for kind, data in SAMPLES.items()
    for loc in keys_in(data, [])
    if loc[0] not in ("format", "search")
]


@pytest.mark.parametrize(("kind", "key", "value"), RETYPED)
def test_key_of_another_type(refuse, kind, key, value):
    lines = refuse(kind, changed(kind, key, value))
    # What should be a list of tables is told at the list where its entry is none.
    assert any(at(line, key) for line in lines), lines


CASES = list(dict.fromkeys([*((kind, key, value) for kind, key, value, *_ in BY_HAND), *RETYPED]))
