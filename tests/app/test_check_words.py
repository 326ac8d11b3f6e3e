"""Words that `evenhang check` and all sources must or must not use."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

from acoustics.app import cli
from rigging.cautions import CAUTIONS

G = 9.80665
ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
SOURCES = [*(ROOT / "rigging").rglob("*.py"), *(ROOT / "acoustics").rglob("*.py")]


@pytest.mark.parametrize("name", ["theatre/left", "theatre/steep-bare", "meadow/right"])
@pytest.mark.parametrize("in_venue", [True, False])
def test_cautions_are_always_shown_and_nothing_is_called_safe(checked, name, in_venue):
    venue = [SAMPLES / name.split("/")[0] / "venue.toml"] if in_venue else []
    _, data, text = checked(SAMPLES / f"{name}.toml", *venue)
    assert [line[2:] for line in text.splitlines() if line.startswith("! ")] == list(CAUTIONS)
    assert data["cautions"] == list(CAUTIONS)
    assert "safe" not in (text + json.dumps(data)).lower()


@pytest.mark.parametrize(
    "words",
    [
        "planning aid",
        "qualified person",
        "manufacturers' rated data",
        "local law",
        "venue's rules",
        "nobody stands below a moving load",
        "joint in compression needs a lock that holds both ways",
    ],
)
def test_cautions_say_what_they_must(words):
    assert words in " ".join(CAUTIONS).lower()
    assert words in (ROOT / "README.md").read_text().lower()


# A cited document keeps its title.
TITLES = re.compile("Global standard for safe listening venues and events")


def test_no_text_in_a_source_calls_anything_safe():
    texts = {
        TITLES.sub("", node.value): source.name
        for source in SOURCES
        for node in ast.walk(ast.parse(source.read_text()))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert len(texts) > 1000
    assert {text: name for text, name in texts.items() if re.search("safe", text, re.IGNORECASE)} == {}


@pytest.mark.parametrize("pattern", ["README.md", "rigging/**/*.toml", "sample_venues/**/*.toml", "notebooks/*.ipynb"])
def test_no_other_file_calls_anything_safe(pattern):
    files = list(ROOT.glob(pattern))
    assert files
    assert [file for file in files if "safe" in TITLES.sub("", file.read_text()).lower()] == []


@pytest.mark.parametrize("arguments", [["--help"], ["check", "--help"]])
def test_help_calls_nothing_safe(capsys, arguments):
    with pytest.raises(SystemExit):
        cli.main(arguments)
    out = capsys.readouterr().out
    assert "check" in out
    assert "safe" not in out.lower()


def test_help_tells_the_exit_status(capsys):
    with pytest.raises(SystemExit):
        cli.main(["check", "--help"])
    out = capsys.readouterr().out
    for word in ("0 all within", "1 a limit is exceeded", "2 the input is at fault", "4 something cannot be judged"):
        assert word in out
