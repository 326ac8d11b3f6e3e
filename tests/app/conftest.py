"""The command line at fault: exit status 2, messages and nothing else."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustics.app.cli import main

ROOT = Path(__file__).resolve().parents[2]
HERE = "# HERE"
FORM = re.compile(r"(?P<file>[^:]+)(:(?P<line>\d+))?: ((?P<key>[^: ]+): )?(?P<wrong>.+?); (?P<todo>.+)")
HANG = """\
format = "hang/1"
name = "main"
frame = "frame-large"
position_m = [0.0, 6.0, 11.0]
tilt_deg = -2.0

[[column]]
enclosure = "medium"
splay_deg = 0.0

[[column]]
enclosure = "medium"
splay_deg = 1.0
"""
VENUE = """\
format = "venue/1"
name = "hall"

[[area]]
name = "stalls"
role = "audience"
outline_m = [[6.0, -9.0, 0.0], [9.0, -9.0, 0.0], [9.0, 9.0, 0.0], [6.0, 9.0, 0.0]]

[[area]]
name = "balcony"
role = "audience"
outline_m = [[10.0, -9.0, 4.0], [14.0, -9.0, 6.0], [14.0, 9.0, 6.0], [10.0, 9.0, 4.0]]
"""


@pytest.fixture
def hang() -> str:
    """Text of a sound hang file."""
    return HANG


@pytest.fixture
def venue() -> str:
    """Text of a sound venue file."""
    return VENUE


@pytest.fixture
def files(tmp_path, monkeypatch) -> Path:
    """The working folder, with a sound hang and venue in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hang.toml").write_text(HANG)
    (tmp_path / "venue.toml").write_text(VENUE)
    return tmp_path


@pytest.fixture
def refused(files, capsys) -> Callable[..., list[str]]:
    """Runs the command line, which must refuse; returns the lines on standard error."""

    def run(*arguments: object) -> list[str]:
        before = {path: path.lstat().st_mtime_ns for path in sorted(files.rglob("*"))}
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as end:  # how argparse refuses
            status = end.code
        out, err = capsys.readouterr()
        assert status == 2
        assert out == ""
        assert "Traceback" not in err
        assert {path: path.lstat().st_mtime_ns for path in sorted(files.rglob("*"))} == before
        return err.splitlines()

    return run


@pytest.fixture
def faults_of(refused, files) -> Callable[..., list[dict[str, str | None]]]:
    """Runs a prediction with the files given as texts; returns the parts of its messages, one for each line."""

    def find(*more: object, **texts: str | bytes) -> list[dict[str, str | None]]:
        for name, text in texts.items():
            path = files / f"{name.replace('__', '/')}.toml"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        quick = ["--grid", 20, "--lines", 125]  # for what passes where it should not
        lines = refused("predict", "hang.toml", "venue.toml", "--out", "out", *quick, *more)
        found = [FORM.fullmatch(line) for line in lines]
        assert found
        assert None not in found
        return [match.groupdict() for match in found if match]

    return find


@pytest.fixture
def fault_of(faults_of) -> Callable[..., dict[str, str | None]]:
    """The same for one fault; its line must be the one that carries the mark, when there is a mark."""

    def find(*more: object, **texts: str) -> dict[str, str | None]:
        faults = faults_of(*more, **texts)
        assert faults[1:] == []
        for text in texts.values():
            if HERE in text:
                assert faults[0]["line"] == str(text[: text.index(HERE)].count("\n") + 1)
        return faults[0]

    return find


@pytest.fixture
def checking(capsys) -> Callable[..., tuple[int, str, str]]:
    """Runs `check`; returns exit status, standard output and standard error."""

    def go(*arguments: object) -> tuple[int, str, str]:
        try:
            code = main(["check", *map(str, arguments)])
        except SystemExit as end:
            code = int(end.code or 0)
        return code, *capsys.readouterr()

    return go


@pytest.fixture
def in_theatre(checking, tmp_path) -> Callable[..., tuple[int, str, str]]:
    """The same for the theatre sample with some text of its hang, venue or policy replaced."""

    def go(*more: object, **replaced: tuple[str, str]) -> tuple[int, str, str]:
        theatre = ROOT / "sample_venues" / "theatre"
        files = {name: theatre / f"{file}.toml" for name, file in (("hang", "left"), ("venue", "venue"))}
        files["policy"] = ROOT / "rigging" / "policies" / "over_people.toml"
        for name, path in files.items():
            content = path.read_text()
            if name in replaced:
                old, new = replaced[name]
                assert old in content
                content = content.replace(old, new, 1)
            (tmp_path / f"{name}.toml").write_text(content)
        asked = [tmp_path / "hang.toml", tmp_path / "venue.toml", "--policy", tmp_path / "policy.toml"]
        return checking(*asked, *more)

    return go


@pytest.fixture
def checked(capsys) -> Callable[..., tuple[int, Any, str]]:
    """Runs `check` as text and as JSON; returns the exit status, the data and the text."""

    def run(*arguments: object) -> tuple[int, Any, str]:
        outs = []
        for more in ([], ["--json"]):
            code = main(["check", *map(str, arguments), *more])
            out, err = capsys.readouterr()
            assert err == ""
            outs.append(out)
        return code, json.loads(outs[1]), outs[0]

    return run


@pytest.fixture
def sample(checked) -> Callable[..., tuple[int, Any, str]]:
    """The same for a sample hang in its venue."""

    def run(name: str, *more: object) -> tuple[int, Any, str]:
        return checked(
            ROOT / "sample_venues" / f"{name}.toml", ROOT / "sample_venues" / name.split("/")[0] / "venue.toml", *more
        )

    return run
