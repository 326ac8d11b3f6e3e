"""Fixtures of the rigging checks: invented equipment, and what a faulty file is told."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from rigging.check import Report, check
from rigging.equipment import Catalogue, load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.findings import Finding
from rigging.hang import load_hang
from rigging.policy import Policy
from rigging.site import Site

HERE = "# HERE"

HARDWARE = """\
format = "{format}"
name = "{name}"
description = "invented for checks"
source = "invented"
mass_kg = {mass_kg}
centre_of_mass_m = {centre_of_mass_m}
width_m = {width_m}
height_m = {height_m}
depth_m = {depth_m}
front_m = {front_m}
pivot = "front"
rear_hole_back_m = {rear_hole_back_m}
rear_hole_inset_m = 0.05
"""
FRAME = {
    "format": "frame/1",
    "mass_kg": 30.0,
    "centre_of_mass_m": [-0.25, 0.0, 0.05],
    "width_m": 1.0,
    "height_m": 0.1,
    "depth_m": 0.9,
    "front_m": 0.1,
    "rear_hole_back_m": 0.45,
}
ENCLOSURE = {
    "format": "enclosure/1",
    "mass_kg": 40.0,
    "centre_of_mass_m": [-0.22, 0.0, -0.125],
    "width_m": 1.0,
    "height_m": 0.25,
    "depth_m": 0.5,
    "front_m": 0.0,
    "rear_hole_back_m": 0.45,
}
ADAPTER = ENCLOSURE | {"format": "adapter/1", "height_m": 0.12, "centre_of_mass_m": [-0.22, 0.0, -0.06]}


def _below(fittings: dict[str, list[float]]) -> str:
    return "".join(
        f'\n[[below]]\nfitting = "{fitting}"\nsplays_deg = {splays}\n' for fitting, splays in fittings.items()
    )


@pytest.fixture(scope="session")
def frame_text() -> Callable[..., str]:
    """Text of a frame file."""

    def text(name: str, below: dict[str, list[float]], **changes: object) -> str:
        return HARDWARE.format(name=name, **FRAME | changes) + _below(below)

    return text


@pytest.fixture(scope="session")
def enclosure_text() -> Callable[..., str]:
    """Text of an enclosure file; its acoustic part is that of a point."""

    def text(
        name: str, top: str, below: dict[str, list[float]], reference_m: object = (0, 0, -0.125), **changes
    ) -> str:
        own = f'top_fitting = "{top}"\nreference_m = {list(reference_m)}\n'
        return (
            HARDWARE.format(name=name, **ENCLOSURE | changes) + own + _below(below) + '\n[acoustic]\nmodel = "point"\n'
        )

    return text


@pytest.fixture(scope="session")
def adapter_text() -> Callable[..., str]:
    """Text of an adapter file."""

    def text(name: str, top: str, below: dict[str, list[float]], ahead_m: float = 0.0, **changes: object) -> str:
        own = f'top_fitting = "{top}"\nlower_pivot_ahead_m = {ahead_m}\nlower_rear_hole_back_m = 0.35\n'
        return HARDWARE.format(name=name, **ADAPTER | changes) + own + _below(below)

    return text


@pytest.fixture(scope="session")
def equipment(tmp_path_factory, frame_text, enclosure_text, adapter_text) -> Catalogue:
    """Invented equipment beside the packaged one: a frame "beam", boxes "wide" and "slim", the adapter "between"."""
    folder = tmp_path_factory.mktemp("equipment")
    texts = [
        frame_text("beam", {"wide": [0.0, 1.0, 2.0, 3.5]}),
        enclosure_text("wide", "wide", {"wide": [0.0, 1.0, 2.0, 3.0, 5.0, 8.0]}),
        enclosure_text("slim", "slim", {"slim": [0.0, 4.0]}),
        enclosure_text("alien", "alien", {"alien": [0.0]}),
        adapter_text("between", "wide", {"slim": [0.0, 2.0]}),
    ]
    for index, text in enumerate(texts):
        (folder / f"{index}.toml").write_text(text)
    return load_catalogue([folder])


@pytest.fixture
def faults_of(tmp_path, monkeypatch) -> Callable[..., list[Fault]]:
    """Writes a file and loads it; returns its faults, each of which must read as one line that opens with the file."""
    monkeypatch.chdir(tmp_path)

    def find(load: Callable[[str], object], content: str | bytes, name: str = "file.toml") -> list[Fault]:
        Path(name).write_bytes(content if isinstance(content, bytes) else content.encode())
        with pytest.raises(FileFaults) as caught:
            load(name)
        for fault in caught.value.faults:
            assert str(fault).startswith(fault.file)
            assert ": " in str(fault)
            assert "; " in str(fault)
            assert len(str(fault).splitlines()) == 1
            assert str(fault).isprintable()
        return list(caught.value.faults)

    return find


@pytest.fixture
def fault_of(faults_of) -> Callable[..., Fault]:
    """The same for a file with one fault. Its line must be the one that carries the mark, when there is a mark."""

    def find(load: Callable[[str], object], content: str, name: str = "file.toml") -> Fault:
        faults = faults_of(load, content, name)
        assert [str(fault) for fault in faults[1:]] == []
        if HERE in content:
            assert faults[0].line == content[: content.index(HERE)].count("\n") + 1
        return faults[0]

    return find


# A frame of 20 kg and two boxes of 40 kg. At a tilt of 0, in m from the front pivot, the centre of mass of all 100 kg
# lies at u = (−0.5·20 − 0.1·80)/100 = −0.18 and v = (0.05·20 − 0.25·40 − 0.75·40)/100 = −0.39: of the picks at u = 0
# and −1 F carries 82 kg and R 18. A shackle of 1 kg and 0.1 m below each hook, the hook straight in the point: 5 m from
# hook to hook. Hoists of 30 kg and 20 m of chain at 1 kg/m: 133 and 69 kg at the roof.
# fmt: off
ABOUT = {"description": "for checks", "source": "typed"}
BODY = ABOUT | {"width_m": 1.0, "pivot": "front", "rear_hole_back_m": 0.4, "rear_hole_inset_m": 0.05,
                "side_spacing_m": 0.9, "below": [{"fitting": "box", "splays_deg": [0.0, 1.0, 2.0, 5.0]}],
                "rated": {"source": "typed", "link_kg": 500.0, "link_push_kg": 500.0, "pin_kg": 500.0,
                          "pullback_kg": 500.0, "locks_both_ways": True, "below": [{"number": 20, "mass_kg": 900.0}]}}
HOLES = {"F": (0.0, 0.0), "L": (-0.18, 0.3), "Q": (-0.18, -0.3), "M": (-0.2, 0.0), "R": (-1.0, 0.0)}
PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
RIG: dict[str, dict[str, Any]] = {
    "frame": BODY | {"format": "frame/1", "name": "bar", "mass_kg": 20.0, "centre_of_mass_m": [-0.5, 0.0, 0.05],
                     "height_m": 0.1, "depth_m": 1.2, "front_m": 0.1,
                     "arm_rear": {"takes": ["arm"], "x_m": -1.1, "z_m": 0.1},
                     "hole": [{"name": n, "position_m": [x, y, 0.1], "limit_kg": 900.0}
                              for n, (x, y) in HOLES.items()]},
    "box": BODY | {"format": "enclosure/1", "name": "box", "mass_kg": 40.0, "centre_of_mass_m": [-0.1, 0.0, -0.25],
                   "height_m": 0.5, "depth_m": 0.7, "front_m": 0.2, "top_fitting": "box", "cart_limit_deg": 6.0,
                   "reference_m": [0.0, 0.0, -0.25], "pullback_m": [-0.4, 0.0, -0.45], "acoustic": {}},
    "arm": ABOUT | {"format": "pick_arm/1", "name": "arm", "mass_kg": 5.0, "length_m": 1.0, "centre_out_m": 0.5,
                    "mount_kg_m": 500.0,
                    "hole": [{"name": n, "out_m": out, "up_m": 0.0, "limit_kg": 900.0}
                             for n, out in (("1", 0.4), ("2", 0.9))]},
    "hoist": ABOUT | {"format": "hoist/1", "name": "hoist", "mass_kg": 30.0, "capacity_kg": 2000.0,
                      "chain_kg_per_m": 1.0, "falls": 1, "chain_m": 20.0, "headroom_m": 0.5},
    "shackle": ABOUT | {"format": "shackle/1", "name": "shackle", "mass_kg": 1.0, "limit_kg": 2000.0, "length_m": 0.1},
    "sling": ABOUT | {"format": "sling/1", "name": "sling", "mass_kg": 2.0, "limit_kg": 2000.0, "length_m": 1.0},
    "strop": ABOUT | {"format": "sling/1", "name": "strop", "mass_kg": 1.0, "limit_kg": 2000.0, "length_m": 5.0},
    "rope": ABOUT | {"format": "rope/1", "name": "rope", "mass_kg": 0.0, "breaking_kn": 200.0, "termination": 0.9,
                     "kg_per_m": 0.5},
    "policy": {"format": "policy/1", "name": "house", "source": "typed", "over_people": True,
               "rope_design_factor": 5.0, "marked_share": 0.5, "dynamic_factor": 1.0, "least_pick_share": 0.1,
               "lean_pick_share": 0.1, "least_leg_deg": 30.0, "included_angle_deg": 120.0, "plumb_deg": 3.0,
               "tilt_tolerance_deg": 0.5,
               "trim_tolerance_m": 0.1, "aim_tolerance_deg": 0.5, "cell_share": 0.1, "cell_kg": 25.0,
               "sum_share": 0.05, "clearance_m": 2.5, "swing_deg": 5.0, "drag": 1.3, "stability": 1.5,
               "friction": 0.3},
    "site": {"name": "hall", "point": [{"name": "A", "position_m": [0.0, 0.0, 15.2], "limit_kg": 900.0},
                                       {"name": "B", "position_m": [-1.0, 0.0, 15.2], "limit_kg": 900.0}]},
    "hang": {"format": "hang/1", "name": "main", "frame": "bar", "position_m": [0.0, 0.0, 10.0], "tilt_deg": 0.0,
             "floor_below_m": 0.0, "loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}] * 2,
             "pick": [PICK | {"hole": "F", "point": "A"}, PICK | {"hole": "R", "point": "B"}]},
}
# fmt: on


@pytest.fixture
def judged_rig(tmp_path) -> Callable[..., Report]:
    """Judges the rig above with some keys set, such as `{"site.point.0.limit_kg": 80.0}`, or taken out by None.

    Other hangs may be beside it, each given as the keys of its file.
    """

    def judge(changes: Mapping[str, Any], beside: Sequence[Mapping[str, Any]] = ()) -> Report:
        rig = json.loads(json.dumps(RIG))
        for path, value in changes.items():
            *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
            node: Any = rig
            for step in way:
                node = node[step]
            node[last] = copy.deepcopy(value)
            if value is None:
                del node[last]
        policy, site, hang = (rig.pop(name) for name in ("policy", "site", "hang"))
        (tmp_path / "rig").mkdir(exist_ok=True)
        for name, data in rig.items():
            (tmp_path / "rig" / f"{name}.toml").write_text(tomlkit.dumps(data))
        catalogue = load_catalogue([tmp_path / "rig"])
        hangs = []
        for index, keys in enumerate([hang, *beside]):
            (tmp_path / f"hang{index}.toml").write_text(tomlkit.dumps(keys))
            hangs.append(load_hang(tmp_path / f"hang{index}.toml", catalogue))
        return check(hangs[0], catalogue, Policy(**policy), Site(**site), hangs[1:])

    return judge


@pytest.fixture
def rig_finding(judged_rig) -> Callable[..., Finding]:
    """The one finding of a part and kind."""

    def find(part: str, what: str, changes: Mapping[str, Any], beside: Sequence[Mapping[str, Any]] = ()) -> Finding:
        (found,) = (f for f in judged_rig(changes, beside).findings if (f.part, f.what) == (part, what))
        return found

    return find
