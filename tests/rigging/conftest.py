"""Fixtures of the rigging checks: invented equipment, and what a faulty file is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from rigging.equipment import Catalogue, load_catalogue
from rigging.faults import Fault, FileFaults

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
