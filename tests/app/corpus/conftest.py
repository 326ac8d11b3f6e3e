"""Bad files of every kind, given to the command that reads them."""

from __future__ import annotations

import shutil
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from acoustics.app.cli import main

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
KINDS: dict[str, Any] = tomllib.loads((HERE / "kinds.toml").read_text())
LONGEST_S = 10.0  # of one command, on a machine that has other work to do


def arguments_for(kind: str) -> tuple[str, list[str]]:
    """Where a bad file of a kind is put, and the command that reads it there."""
    command, name = KINDS[kind]["command"], Path(KINDS[kind]["sample"]).name
    if command[0] == "equipment":
        return f"kit/{name}", [*command, "--equipment", "kit", "--only-equipment"]
    # Beside the files that its sample names.
    file = str(Path(KINDS[kind]["sample"]).parent.relative_to("sample_venues") / "bad.toml") if kind != "policy" else ""
    file = file or "bad.toml"
    return file, [*(file if word == "FILE" else word for word in command), "--out", "out"]


def laid_out(place: Path) -> Path:
    """A working folder: the sample venues with what belongs to them, and an empty folder for equipment."""
    shutil.copytree(ROOT / "sample_venues", place, dirs_exist_ok=True)
    (place / "kit").mkdir()
    return place


def held(folder: Path) -> dict[str, tuple[int, int, int]]:
    """What lies in a folder, so that any change to it shows."""
    found = ((path, path.lstat()) for path in sorted(folder.rglob("*")))
    return {str(path): (stat.st_mode, stat.st_size, stat.st_mtime_ns) for path, stat in found}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The working folder; it is what the process stands in."""
    place = laid_out(tmp_path_factory.mktemp("desk"))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        yield place


@pytest.fixture(scope="session")
def where() -> Callable[[str], tuple[str, list[str]]]:
    """`where(kind)`: the place of a bad file of a kind, and the command that reads it there."""
    return arguments_for


@pytest.fixture
def refused(desk: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., list[str]]:
    """Runs a command that must refuse a file: status 2, messages that name the file and a next step, nothing else.

    Returns the messages, without the file's name. `inside`: they may be about what lies in it.
    """

    def run(file: str, command: list[str], *, inside: bool = False) -> list[str]:
        before, start = held(desk), time.monotonic()
        try:
            code = main(command)
        except SystemExit as end:
            code = int(end.code or 0)
        took = time.monotonic() - start
        out, err = capsys.readouterr()
        assert (code, out) == (2, ""), err or out[:500]
        assert took < LONGEST_S
        assert held(desk) == before
        lines = err.splitlines()
        assert lines
        for line in lines:
            assert line.startswith((f"{file}:", *([f"{file}/"] if inside else []))), line
            assert line.isprintable()
            assert "; " in line
            assert len(line) < 1000
        assert "Traceback" not in err
        return [line.removeprefix(file).removeprefix(":") for line in lines]

    return run


@pytest.fixture
def refuse(refused: Callable[..., list[str]], desk: Path) -> Iterator[Callable[[str, bytes], list[str]]]:
    """The same for a file of a kind, given by what it holds; it is gone afterwards."""
    made: list[Path] = []

    def run(kind: str, content: bytes) -> list[str]:
        file, command = arguments_for(kind)
        made.append(desk / file)
        made[-1].write_bytes(content)
        return refused(file, command)

    yield run
    for path in made:
        path.unlink(missing_ok=True)
