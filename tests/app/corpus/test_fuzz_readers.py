"""Files of every kind with random changes, of what they hold and of their text: they load, or their faults are told.

`EVENHANG_FUZZ=20000` tries so many of each kind, each time others; see DEVELOPERS.md.
"""

from __future__ import annotations

import copy
import os
import shutil
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustics.app.equipment_show import blocks_of
from acoustics.app.imperial import said
from acoustics.directivity import load_directivity
from acoustics.search.settings import wanted_of
from acoustics.show import load_show
from acoustics.tour_file import check_stock, load_tour
from acoustics.venue import load_venue
from rigging.check import check
from rigging.equipment import KINDS as EQUIPMENT
from rigging.equipment import Catalogue, Enclosure, load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import read, validate
from rigging.hang import load_hang
from rigging.lacking import lacks
from rigging.policy import load_policy
from rigging.readings import load_readings, refuse_foreign
from rigging.revision import revision

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
KINDS = tomllib.loads((HERE / "kinds.toml").read_text())
TEXTS = {kind: (ROOT / one["sample"]).read_text() for kind, one in KINDS.items()}
MANY = os.environ.get("EVENHANG_FUZZ")
FUZZ = settings(
    max_examples=int(MANY or 60),
    derandomize=not MANY,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
LONGEST_S = 10.0


class Raw(str):
    """A value as it stands in TOML."""


def toml(value: Any, top: bool = False) -> str:
    """Unchecked data as TOML, the tables inside in one line each."""
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, dict):
        lines = [f"{text(key)} = {toml(one)}" for key, one in value.items()]
        return "\n".join(lines) + "\n" if top else "{" + ", ".join(lines) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, str):
        return text(value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def text(value: str) -> str:
    plain = (c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08x}" for c in value)
    return f'"{"".join(plain)}"'


def places(node: Any, loc: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    for key in node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
        yield (*loc, key)
        yield from places(node[key], (*loc, key))


def words(node: Any) -> set[str]:
    """All keys and texts of unchecked data: what means something somewhere."""
    inner = [one for key in node for one in (key, node[key])] if isinstance(node, dict) else node
    if isinstance(node, str):
        return {node}
    return set().union(*map(words, inner)) if isinstance(node, dict | list) else set()


SAMPLES = {kind: tomllib.loads(text) for kind, text in TEXTS.items()}
# What no sample says.
SAMPLES["hang"] |= {
    "group": [{"rows": [1], "filter": [{"kind": "bell", "frequency_hz": 99.0, "gain_db": 1.0, "q": 1.0}]}],
    "search": {
        "tilt_deg": [-4.0, 4.0], "splays_deg": [0.0, 1.0], "trim_m": [9.0, 11.0], "gain_db": [-6.0, 0.0],
        "fall_of_db": {"stalls": 2.0}, "band_weights": {"500": 1.0}, "target_db": {"500": 1.0}, "count": [10, 12],
    },
}  # fmt: skip
WORDS = sorted(set().union(*map(words, SAMPLES.values())))
ODD = ["1e308", "-1e308", "5e-324", "inf", "nan", "-0.0", "1" + "0" * 400, "0x" + "f" * 4200, "1979-05-27", "07:32:00",
       '""', r'"\u0000"', r'"\u202e"', r'"\U0001f3b8"', r'"a\nb"', '"' + "x" * 5_000 + '"', "[]", "{}", "[[[[[]]]]]",
       '"9' + "9" * 400 + ' ft"', '"1 ft 3/0 in"', "[1, 2, 3]", "[nan, nan, nan]", "9223372036854775808"]  # fmt: skip
plain = st.integers(-3, 70) | st.floats(-1e3, 1e3) | st.booleans() | st.sampled_from(WORDS) | st.text(max_size=4)
values = plain | st.sampled_from(ODD).map(Raw) | st.lists(plain, max_size=4)
values |= st.dictionaries(st.sampled_from(WORDS), plain, max_size=3)
keys = st.sampled_from(WORDS) | st.text(max_size=3)


@st.composite
def changed(draw: Callable[..., Any], kind: str) -> bytes:
    """A sample of which one to four keys are dropped, set, renamed, moved from elsewhere, or stand twice."""
    data = copy.deepcopy(SAMPLES[kind])
    for _ in range(draw(st.integers(1, 4))):
        found = list(places(data))
        if not found:
            break
        *above, last = draw(st.sampled_from(found))
        node: Any = data
        for key in above:
            node = node[key]
        what = draw(st.sampled_from(["drop", "set", "rename", "move", "twice"]))
        if what == "set":
            node[last] = draw(values)
        elif what == "drop" or (what == "rename" and isinstance(node, list)):
            del node[last]
        elif what == "rename":
            node[draw(keys)] = node.pop(last)
        elif what == "move":
            other: Any = data
            for key in draw(st.sampled_from(found)):
                other = other[key]
            node[last] = copy.deepcopy(other)
        elif isinstance(node, list):
            node.insert(last, copy.deepcopy(node[last]))
        else:
            node[draw(keys)] = copy.deepcopy(node[last])
    return toml(data, top=True).encode()


SNIPPETS = [*"[]{}=.,#\\_+-e", '"', "'", '"""', "'''", "[[", "]]", "\n", "\r", "\r\n", "\t", "\x00", "\x1b", "\u2028",
            "\ufeff", "a.b.c = 1\n", "[a]\n", "[[a]]\n", "0x", "nan", "true", *ODD]  # fmt: skip
CUTS = st.floats(0.0, 1.0)
EDITS = st.tuples(
    st.sampled_from(["cut", "put", "put", "repeat", "swap"]),
    CUTS,
    CUTS,
    st.sampled_from(SNIPPETS) | st.text(max_size=5),
)


def edited(whole: str, edits: list[tuple[str, float, float, str]]) -> bytes:
    """A text with some of it cut out, put in, repeated, or its ends swapped."""
    for what, where, far, more in edits:
        start = int(where * len(whole))
        end = min(len(whole), start + int(far**4 * len(whole)))
        if what == "cut":
            whole = whole[:start] + whole[end:]
        elif what == "put":
            whole = whole[:start] + more + whole[start:]
        elif what == "repeat":
            whole = whole[:end] + whole[start:end] + whole[end:]
        else:
            whole = whole[end:] + whole[start:end] + whole[:start]
    return whole.encode("utf-8", "surrogatepass")


@pytest.fixture(scope="module")
def packaged() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def load(tmp_path_factory, packaged) -> Callable[[str, bytes], str]:
    """Reads a file of a kind, with all that the commands read of it; "loads" or "refused"."""
    home = tmp_path_factory.mktemp("fuzz") / "venues"
    shutil.copytree(ROOT / "sample_venues", home)
    hang, (venue, document) = load_hang(home / "theatre/left.toml", packaged), load_venue(home / "theatre/venue.toml")
    report = check(hang, packaged, load_policy(), venue, (), document.data)

    def hang_of(path: Path) -> None:
        found = load_hang(path, packaged)
        revision(found.inputs)
        wanted_of(found)

    def readings_of(path: Path) -> None:
        refuse_foreign(*load_readings(path), report, venue)

    def item_of(path: Path) -> None:
        found = read(path, *EQUIPMENT)
        item = validate(found, EQUIPMENT[found.data["format"]])
        one = Catalogue({item.name: item}, {item.name: found})
        revision(one.content(item.name))
        if isinstance(item, Enclosure):
            load_directivity(item, found.file, 343.2)
        said(blocks_of(item.name, one, lacks(item)), imperial=True)

    readers: dict[str, Callable[[Path], Any]] = {
        "venue": load_venue,
        "survey": load_venue,
        "hang": hang_of,
        "mirror": hang_of,
        "show": lambda path: revision(load_show(path, packaged).inputs),
        "tour": lambda path: check_stock(load_tour(path), packaged),
        "readings": readings_of,
        "policy": load_policy,
    }

    def run(kind: str, content: bytes) -> str:
        sample = Path(KINDS[kind]["sample"])
        beside = home / sample.parent.name if (home / sample.parent.name).is_dir() else home
        path, start = beside / "bad.toml", time.monotonic()
        path.write_bytes(content)
        faults: tuple[Fault, ...] | None = None
        try:
            readers.get(kind, item_of)(path)
        except FileFaults as error:
            faults = error.faults
        assert time.monotonic() - start < LONGEST_S
        assert faults is None or faults
        for fault in faults or ():
            assert str(fault).isprintable()
            assert fault.wrong
            assert fault.todo
            assert len(str(fault)) < 3_000
        return "loads" if faults is None else "refused"

    return run


@pytest.mark.parametrize("kind", KINDS)
def test_the_sample_itself_loads(load, kind):
    assert load(kind, toml(SAMPLES[kind], top=True).encode()) == "loads"


@pytest.mark.parametrize("kind", KINDS)
def test_changed_data(load, kind):
    @FUZZ
    @given(changed(kind))
    def run(content):
        assert load(kind, content) in ("loads", "refused")

    run()


@pytest.mark.parametrize("kind", KINDS)
def test_changed_text(load, kind):
    @FUZZ
    @given(st.lists(EDITS, min_size=1, max_size=4))
    def run(edits):
        assert load(kind, edited(TEXTS[kind], edits)) in ("loads", "refused")

    run()
