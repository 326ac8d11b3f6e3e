"""Packs made and opened in-process, and packs that were tampered with."""

from __future__ import annotations

import contextlib
import io
import json
import re
import shutil
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from acoustics import plots
from acoustics.app import cli
from rigging import equipment

ROOT = Path(__file__).resolve().parents[3]
THEATRE = ROOT / "sample_venues" / "theatre"
CATALOGUE = ROOT / "rigging" / "catalogue"
GRID = ("--grid", "8")


def _run(*asked: object) -> tuple[int, str, str]:
    """Status, output and errors of a command, its pictures left empty: they take most of the time."""

    def empty(figure: Any, target: Any) -> None:
        target.write_text("<svg/>") if isinstance(target, Path) else target.write("<svg/>")

    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        patch.setattr(plots, "save_svg", empty)
        try:
            code = cli.main([*map(str, asked)])
        except SystemExit as end:
            code = int(end.code or 0)
    return code, out.getvalue(), err.getvalue()


def _packed(*asked: object, into: Path) -> tuple[dict[str, Any], Path]:
    """The listing that `evenhang pack` prints, and the zip."""
    code, out, err = _run("pack", *asked, *GRID, "--out", into, "--json")
    assert code in (0, 4), err
    listing = json.loads(out)
    return listing, Path(listing["pack"])


@pytest.fixture(scope="session")
def run() -> Callable[..., tuple[int, str, str]]:
    """`run("pack", …)`: status, output and errors of a command."""
    return _run


@pytest.fixture(scope="session")
def packed() -> Callable[..., tuple[dict[str, Any], Path]]:
    """`packed(HANG, VENUE, into=folder)`: the listing that `evenhang pack` prints, and the zip."""
    return _packed


@pytest.fixture(scope="session")
def said() -> Callable[[str], list[str]]:
    """Messages, each of one line."""
    return _said


@pytest.fixture(scope="session")
def used_in() -> Callable[[Path], set[str]]:
    """All equipment that a hang's file names."""
    return _used_in


@pytest.fixture(scope="session")
def theatre(tmp_path_factory, packed) -> tuple[dict[str, Any], Path]:
    """A pack of the theatre's left main beside the right one."""
    into = tmp_path_factory.mktemp("theatre")
    return packed(THEATRE / "left.toml", THEATRE / "venue.toml", "--beside", THEATRE / "right.toml", into=into)


@pytest.fixture
def changed(tmp_path) -> Callable[..., Path]:
    """A zip with some members replaced (None: left out), others added, and its listing worked on."""

    def write(zipped: Path, work: Callable[[dict[str, Any]], Any] | None = None, **members: bytes | None) -> Path:
        with zipfile.ZipFile(zipped) as opened:
            held: dict[str, bytes | None] = {name: opened.read(name) for name in opened.namelist()}
        held |= {name.replace("__", "/").replace("_toml", ".toml"): content for name, content in members.items()}
        if work is not None:
            listing = json.loads(held["pack.json"] or b"")
            work(listing)
            held["pack.json"] = json.dumps(listing).encode()
        target = tmp_path / "changed.zip"
        with zipfile.ZipFile(target, "w") as opened:
            for name, content in held.items():
                if content is not None:
                    opened.writestr(name, content)
        return target

    return write


def _said(err: str) -> list[str]:
    """Messages, each of one line."""
    lines = err.splitlines()
    assert lines
    assert "Traceback" not in err
    return lines


def _used_in(path: Path) -> set[str]:
    """All equipment that a hang's file names, read off its text, and the pick arms that its frame's file does: what the
    report says of other holes tries these."""
    known = {path.stem for path in CATALOGUE.glob("*.toml")}
    names = known & set(re.findall(r'"([^"]+)"', path.read_text()))
    frames = [(CATALOGUE / f"{name}.toml").read_text() for name in names if name.startswith("frame")]
    return names | (known & set(re.findall(r'"(arm-[^"]+)"', " ".join(frames))))


@pytest.fixture
def other_catalogue(tmp_path, monkeypatch) -> Path:
    """Another machine: its packaged `medium` is heavier and 3 dB louder, and it has no `shackle-5-8`."""
    folder = tmp_path / "catalogue"
    shutil.copytree(CATALOGUE, folder)
    medium = tomllib.loads((folder / "medium.toml").read_text())
    medium["mass_kg"] += 5.0
    medium["acoustic"]["level_1m_db"] = [level + 3.0 for level in medium["acoustic"]["level_1m_db"]]
    (folder / "medium.toml").write_text(tomlkit.dumps(medium))
    (folder / "shackle-5-8.toml").unlink()
    monkeypatch.setattr(equipment, "packaged_folder", lambda: folder)
    return folder
