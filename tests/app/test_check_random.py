"""`evenhang check` of samples with random changes: a report or faults, never anything else."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustics.app.check import as_data, text
from acoustics.app.sheet import plain
from acoustics.venue import load_venue
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import KINDS, Catalogue, load_catalogue
from rigging.faults import FileFaults
from rigging.files import read, validate
from rigging.hang import load_hang
from rigging.policy import load_policy

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
LEFT, VENUE = SAMPLES / "theatre" / "left.toml", SAMPLES / "theatre" / "venue.toml"
POLICIES = ROOT / "rigging" / "policies"


HANGS = [tomllib.loads(path.read_text()) for path in (LEFT, SAMPLES / "theatre/steep-arm.toml")]
HANGS.append(HANGS[0] | {"pullback": {"to_m": [-6.0, 6.5, 12.0]}, "pick": HANGS[0]["pick"][:1]})
HANGS.append({k: v for k, v in HANGS[0].items() if k not in ("pick", "loom")} | {"standing": True})
HANGS.append(tomllib.loads((SAMPLES / "arena/left.toml").read_text()) | {"carts": {"groups": [3, 3, 4, 3, 3]}})
VENUES = [tomllib.loads(path.read_text()) for path in SAMPLES.glob("*/venue.toml")]
values = st.sampled_from([0, 1, -1, 0.0, 1e-3, 45.0, 1e5, float("nan"), True, "", "left 1", "6", [], {}, None])
values = values | st.floats(-30.0, 30.0) | st.integers(-3, 20)
FUZZ = settings(
    max_examples=250,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def _places(node: Any, path: tuple = ()) -> list[tuple]:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    return [place for key in keys for place in ((*path, key), *_places(node[key], (*path, key)))]


@st.composite
def changed(draw: Callable[..., Any], samples: list[dict[str, Any]]) -> dict[str, Any]:
    """A sample with one to three of its keys set to another value, or taken out."""
    data = copy.deepcopy(draw(st.sampled_from(samples)))
    for _ in range(draw(st.integers(1, 3))):
        *path, last = draw(st.sampled_from(_places(data) or [()]))
        node: Any = data
        for key in path:
            node = node[key]
        value = draw(values)
        if isinstance(node[last], float) and draw(st.integers(0, 5)):  # mostly what may pass as sound
            near = st.sampled_from([node[last] * times for times in (-1.0, 0.0, 0.5, 0.9, 1.1, 2.0, 10.0)])
            value = draw(st.integers(0, 6).map(float) if last == "splay_deg" else near)
        if value is None:
            del node[last]
        else:
            node[last] = value
    return data


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{json.dumps(key)} = {_inline(inner)}' for key, inner in value.items())}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    return str(value) if isinstance(value, float) else json.dumps(value)


PACKAGED = load_catalogue()
EQUIPMENT = [dict(document.data) for document in PACKAGED.documents.values()]


@pytest.fixture
def judge(tmp_path) -> Callable[..., None]:
    """Judges a sample with one file changed; it must come to a report or to faults, and the report must be sound."""

    def go(**given: dict[str, Any]) -> None:
        kind, data = next(iter(given.items()))
        path = tmp_path / "file.toml"
        path.write_text("".join(f"{json.dumps(key)} = {_inline(value)}\n" for key, value in data.items()))
        try:
            catalogue = PACKAGED
            if kind == "equipment":
                document = read(path, *KINDS)
                item = validate(document, KINDS[document.data["format"]])
                catalogue = Catalogue({**PACKAGED.items, item.name: item}, {**PACKAGED.documents, item.name: document})
            venue = load_venue(path if kind == "venue" else VENUE)[0]
            policy = load_policy(path if kind == "policy" else None)
            report = check(load_hang(path if kind == "hang" else LEFT, catalogue), catalogue, policy, venue)
        except FileFaults as error:
            told = str(error).splitlines()
            if not told or len(told) != len(error.faults):
                pytest.fail(f"not one line for each fault: {told}")
            return
        printed = text(report)
        assert all(caution in printed for caution in CAUTIONS)
        assert json.loads(json.dumps(plain(as_data(report)), allow_nan=False))["findings"]

    return go


@pytest.mark.parametrize(
    ("kind", "samples"),
    [
        ("hang", HANGS),
        ("venue", VENUES),
        ("policy", [tomllib.loads((POLICIES / "over_people.toml").read_text())]),
        ("equipment", [e for e in EQUIPMENT if e["name"] in ("frame-large", "medium", "hoist-1t", "shackle-5-8")]),
    ],
)
def test_random_changes_come_to_a_report_or_to_faults(judge, kind, samples):
    @FUZZ
    @given(changed(samples))
    def go(data):
        judge(**{kind: data})

    go()
