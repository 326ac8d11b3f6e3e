"""The start of the command line: whether the package that it finds is its own, help and version."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

from acoustics.app.cli import main

START = "import sys; from rigging.launch import main; sys.exit(main())"
IN_THE_WAY = {
    "harmless": '"""Another package of this name."""\nVERSION = "1.0"\n',
    "empty": "",
    "fails": 'raise RuntimeError("needs a part that is not here")\n',
    "lacks a part": "import no_such_package_at_all\n",
    "is no Python": "this is = not Python\n",
    "says no": "EVENHANG = False\n",
}


def start(*arguments: str, **settings: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONIOENCODING": "utf-8"} | settings
    command = [sys.executable, "-P", "-c", START, *arguments]
    done = subprocess.run(command, capture_output=True, env=environment, timeout=60)
    out, err = (stream.decode("utf-8", "replace") for stream in (done.stdout, done.stderr))
    return subprocess.CompletedProcess(command, done.returncode, out, err)


@pytest.mark.parametrize("kind", IN_THE_WAY)
def test_another_package_of_the_name_in_the_way(tmp_path, kind):
    (tmp_path / "acoustics").mkdir()
    (tmp_path / "acoustics" / "__init__.py").write_text(IN_THE_WAY[kind])
    done = start("predict", "hang.toml", "venue.toml", PYTHONPATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert line.startswith("evenhang: the package 'acoustics' found here is not evenhang's (")
    assert "install evenhang into an environment of its own" in line
    assert f"({tmp_path / 'acoustics' / '__init__.py'})" in line


@pytest.mark.parametrize("content", ["sys.exit(0)", "sys.exit(1)", 'sys.exit("gone")'])
def test_another_package_that_exits(tmp_path, content):
    (tmp_path / "acoustics").mkdir()
    (tmp_path / "acoustics" / "__init__.py").write_text(f"import sys\n{content}\n")
    done = start("--version", PYTHONPATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    assert f"is not evenhang's ({tmp_path / 'acoustics' / '__init__.py'})" in done.stderr


def test_version():
    done = start("--version")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"evenhang {metadata.version('evenhang')}\n"
    assert re.fullmatch(r"evenhang \d+\.\d+\S*\n", done.stdout)


def test_script_starts_the_launcher():
    (script,) = metadata.entry_points(group="console_scripts", name="evenhang")
    assert script.value == "rigging.launch:main"


def _printed(capsys, *arguments: str) -> str:
    with pytest.raises(SystemExit) as end:
        main(arguments)
    assert end.value.code == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_help_of_the_whole(capsys):
    out = _printed(capsys, "--help")
    assert "predict" in out
    example = re.search(r"^ +evenhang predict \S+ \S+.*$", out, re.MULTILINE)
    assert example is not None


def test_help_of_predict(capsys):
    out = _printed(capsys, "predict", "--help")
    for option in ("HANG", "VENUE", "--out", "--equipment", "--grid", "--lines", "--map", "--json"):
        assert option in out
    example = re.search(r"^ +evenhang predict (\S+) (\S+) --out \S+$", out, re.MULTILINE)
    assert example is not None
    root = Path(__file__).resolve().parents[2]
    assert all((root / name).is_file() for name in example.groups())


def test_no_command_shows_the_help_and_ends_with_2(capsys):
    assert main([]) == 2
    out, err = capsys.readouterr()
    assert "evenhang predict" in out + err


@pytest.mark.parametrize("letters", ["ascii", "latin-1", "cp437", "cp850"])
def test_help_on_a_terminal_without_its_letters(letters):
    done = start("predict", "--help", PYTHONIOENCODING=letters)
    assert (done.returncode, done.stderr) == (0, "")
    assert "--lines F,F," in done.stdout


def test_summary_on_a_terminal_without_its_letters(files):
    quick = ["--grid", "20", "--lines", "125", "--out", "out"]
    done = start("predict", "hang.toml", "venue.toml", *quick, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert "mean level, dB" in done.stdout
    assert "written to out/main-" in done.stdout
