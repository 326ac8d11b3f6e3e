"""Sample files with random changes: they load, or are told their faults in single lines; nothing else ever happens."""

from __future__ import annotations

import copy
import datetime
import os
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustics.directivity import load_directivity
from acoustics.venue import load_venue
from rigging.equipment import KINDS, Enclosure, load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import read, validate
from rigging.hang import load_hang

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted([*(ROOT / "sample_venues").glob("*/*.toml"), *(ROOT / "rigging/catalogue").glob("*.toml")])


def _read(path: Path) -> dict[str, Any]:
    data = tomllib.loads(path.read_text())
    if "column" in data:
        data |= {"serves": ["stalls"], "group": [{"rows": [1, 2], "gain_db": 1.0, "delay_ms": 2.0}, {"rows": [3]}]}
    return data


SAMPLES: dict[str, list[dict[str, Any]]] = {}
for _path in FILES:
    SAMPLES.setdefault(_read(_path)["format"], []).append(_read(_path))
FORMATS = [kind for kind in SAMPLES if kind in KINDS or kind in ("hang/1", "venue/1")]
MANY = os.environ.get("EVENHANG_FUZZ")  # see DEVELOPERS.md
FUZZ = settings(
    max_examples=int(MANY or 100),
    deadline=None,
    database=None,
    derandomize=not MANY,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
# Words and keys that mean something in some file, so that changes go deeper than the first check.
WORDS = ["large", "medium", "frame-large", "adapter-large-medium", "stalls", "audience", "obstacle", "slot", "circle"]
WORDS += [
    "arm-large",
    "shackle-3-4",
    "hoist-1t",
    "6",
    "left 1",
    "rectangle",
    "point",
    "radiators",
    "front",
    "left.toml",
    "",
    "x" * 100,
]
KEYS = ["position_ft", "mass_lb", "outline_ft", "diameter_ft", "height_ft", "centre_of_mass_ft", "limit_lb", "below"]
KEYS += [
    "mirror_of",
    "mirror_y_ft",
    "serves",
    "group",
    "column",
    "adapter",
    "enclosure",
    "air",
    "area",
    "point",
    "name",
]
KEYS += ["pick", "hole", "arm", "leg", "apex_m", "on", "rated", "pullback", "carts", "groups", "loom", "limit_kg"]
KEYS += ["from_hz", "to_hz", "format", "absorption", "acoustic", "speed_of_sound_m_s", "rows", "flat_within_m"]

letters = st.characters(categories=["L", "N", "P", "S"], include_characters=" ")
dates = st.dates() | st.times() | st.datetimes() | st.datetimes(timezones=st.just(datetime.UTC))
numbers = st.integers(-3, 70) | st.integers(-(2**63), 2**63 - 1) | st.floats() | st.floats(-50.0, 50.0)
words = st.text(letters, min_size=1, max_size=6)
tame = st.recursive(
    st.booleans() | numbers | words | st.sampled_from(WORDS) | dates,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=3),
    max_leaves=6,
)
tame_keys = st.sampled_from(KEYS) | words
# What a file may hold as well, by the letter of TOML.
odd_texts = st.text(st.sampled_from("\n\r\x1b\x85\u2028\x00a"), min_size=1, max_size=3)
wild = st.sampled_from([10**400, -(10**400), int("F" * 5000, 16)]) | odd_texts | st.lists(odd_texts, max_size=2)
wild_keys = odd_texts


def toml(data: dict[str, Any]) -> str:
    """Text of a TOML file; the tables inside are written in one line each."""
    return "".join(f"{_text(key)} = {_inline(value)}\n" for key, value in data.items())


def _text(value: str) -> str:
    plain = (c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08x}" for c in value)
    return f'"{"".join(plain)}"'


def _inline(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_text(key)} = {_inline(inner)}' for key, inner in value.items())}}}"
    return hex(value) if isinstance(value, int) and value > 10**400 else str(value)


def _places(node: Any, path: tuple = ()) -> Iterator[tuple]:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in keys:
        yield (*path, key)
        yield from _places(node[key], (*path, key))


@st.composite
def changed(draw: Callable[..., Any], kind: str, keys: Any, values: Any) -> dict[str, Any]:
    """A sample of some kind with one to three keys deleted, set to another value, or added."""
    data = copy.deepcopy(draw(st.sampled_from(SAMPLES[kind])))
    for _ in range(draw(st.integers(1, 3))):
        places = list(_places(data))
        if not places:
            break
        *path, last = draw(st.sampled_from(places))
        node: Any = data
        for key in path:
            node = node[key]
        what = draw(st.sampled_from(["delete", "set", "set", "add"]))
        if what == "delete":
            del node[last]
        elif what == "set":
            node[last] = draw(values)
        elif isinstance(node, dict):
            node[draw(keys)] = draw(values)
        else:
            node.insert(last, draw(values))
    return data


@pytest.fixture(scope="module")
def packaged():
    return load_catalogue()


@pytest.fixture
def load(tmp_path, packaged):
    """Loads a file of some kind as the command line would, the acoustic part included."""
    (tmp_path / "left.toml").write_text((ROOT / "sample_venues/arena/left.toml").read_text())

    def by_kind(kind: str, path: Path) -> None:
        if kind == "hang/1":
            load_hang(path, packaged)
        elif kind == "venue/1":
            load_venue(path)
        else:
            document = read(path, *KINDS)
            item = validate(document, KINDS[document.data["format"]])
            if isinstance(item, Enclosure):
                load_directivity(item, document.file, 343.2)

    return by_kind


def _opens(path: str, key: str) -> bool:
    key = key or '""'
    return path == key or path.startswith((f"{key}.", f"{key}["))


def check(load: Callable[[str, Path], None], kind: str, data: dict[str, Any], folder: Path) -> None:
    path = folder / "file.toml"
    text = toml(data)
    assert tomllib.loads(text).keys() == data.keys()
    path.write_bytes(text.encode())
    faults: tuple[Fault, ...] = ()
    try:
        load(kind, path)
    except FileFaults as error:
        faults = error.faults
    for fault in faults:
        line = str(fault)
        assert line.startswith((f"{path}: ", f"{path}:{fault.line}: "))
        assert len(line.splitlines()) == 1
        assert line.isprintable()
        assert fault.wrong
        assert fault.todo
        assert len(line) < len(str(path)) + 700
        # Every key of the whole file stands in one line, with all that is inside it.
        start = {number for number, key in enumerate(data, 1) if _opens(fault.key, key)}
        assert fault.line is None or fault.line in start


# Found by such changes before.
HANG = {"format": "hang/1", "name": "a", "frame": "frame-large", "position_m": [0.0, 0.0, 9.0], "tilt_deg": 0.0}
ROW = {"enclosure": "large", "splay_deg": 0.0}
FRAME = _read(ROOT / "rigging/catalogue/frame-large.toml")
ARM = _read(ROOT / "rigging/catalogue/arm-large.toml")
FOUND = {
    "hole of a pick": HANG | {"column": [ROW], "pick": [{"on": [], "hole": "1"}]},
    "name of a hole": FRAME | {"hole": [{"name": [], "position_m": [0.0, 0.0, 0.1]}]},
    "holes of an arm": ARM | {"hole": 3},
    "length of an arm": ARM | {"length_m": -(10**400)},
}


@pytest.mark.parametrize("name", FOUND)
def test_file_that_once_broke_the_reader_is_told_its_faults(tmp_path, load, name):
    path = tmp_path / "file.toml"
    path.write_text(toml(FOUND[name]))
    with pytest.raises(FileFaults):
        load(FOUND[name]["format"], path)
    check(load, FOUND[name]["format"], FOUND[name], tmp_path)


@pytest.mark.parametrize("kind", FORMATS)
def test_file_with_random_changes_loads_or_is_told_its_faults(tmp_path, load, kind):
    @FUZZ
    @given(changed(kind, tame_keys, tame))
    def run(data):
        check(load, kind, data, tmp_path)

    run()


@pytest.mark.parametrize("kind", FORMATS)
def test_file_with_odd_changes_loads_or_is_told_its_faults(tmp_path, load, kind):
    @FUZZ
    @given(changed(kind, wild_keys, wild))
    def run(data):
        check(load, kind, data, tmp_path)

    run()
