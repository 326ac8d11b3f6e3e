"""The line that a message gives is the right one, or there is none: a wrong line is worse."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import Field

from rigging.equipment import KINDS, load_catalogue
from rigging.faults import MAX_LOCATED_LINES
from rigging.files import read, validate
from rigging.hang import load_hang
from rigging.models import Model, Name, key, quantity

ROOT = Path(__file__).resolve().parents[2]
Length = Annotated[float, quantity(-10.0, 100.0, "m")]


class Inner(Model):
    """A table inside a table."""

    size_m: Length = key("size", "2.5")
    depth_m: Length = Field(1.0)


class Part(Model):
    """One of several tables."""

    name: Name = Field("a")
    size_m: Length = key("size", "2.5")
    inner: Inner | None = None
    place_m: tuple[Length, Length] = Field((0.0, 0.0))


class Thing(Model):
    """A file of tables."""

    format: Literal["t/1"] = key("kind", '"t/1"')
    text: str = Field("")
    size_m: Length = Field(1.0)
    place_m: tuple[Length, Length] = Field((0.0, 0.0))
    inner: Inner | None = None
    part: tuple[Part, ...] = ()


def load(file: str) -> Thing:
    return validate(read(file, "t/1"), Thing)


# Each with one fault, at the line marked HERE.
CERTAIN = {
    "after comments that look the same": 'format = "t/1"\n# size_m = "x"\n\n  # size_m\nsize_m = "x" # HERE\n',
    "after a text that looks the same": 'format = "t/1"\ntext = """\nsize_m = "x"\n[part]\n"""\nsize_m = "x" # HERE\n',
    "after a text of quotes": "format = \"t/1\"\ntext = '''\n\"\"\"\n'''\nsize_m = \"x\" # HERE\n",
    "after a text that looks like a header": 'format = "t/1"\ntext = "[inner]"\n[inner] # HERE\ndepth_m = 1\n',
    "after a list over several lines": 'format = "t/1"\nplace_m = [\n  1, # one\n\n  2\n]\nsize_m = "x" # HERE\n',
    "whole list over several lines": 'format = "t/1"\n\nplace_m = [ # HERE\n  1,\n  2,\n  3,\n]\n',
    "whole list, key in quotes": 'format = "t/1"\n\n"place_m" = [ # HERE\n  1,\n  2,\n  3,\n]\n',
    "entry of a list": 'format = "t/1"\nplace_m = [1, "x"] # HERE\n',
    "key in quotes": 'format = "t/1"\n"size_m" = "x" # HERE\n',
    "key in single quotes": "format = \"t/1\"\n'size_m' = \"x\" # HERE\n",
    "no spaces": 'format="t/1"\nsize_m="x"# HERE\n',
    "tabs": '\tformat\t=\t"t/1"\n\tsize_m\t=\t"x"\t# HERE\n',
    "inline table": 'format = "t/1"\ninner = { depth_m = 1, size_m = "x" } # HERE\n',
    "inline list of tables": 'format = "t/1"\npart = [{ size_m = 1 }, { size_m = "x" }] # HERE\n',
    "dotted key": 'format = "t/1"\ninner.depth_m = 1\ninner.size_m = "x" # HERE\n',
    "unknown dotted key": 'format = "t/1"\ninner.size_m = 1\ninner.size = 2 # HERE\n',
    "table": 'format = "t/1"\n[inner]\ndepth_m = 1\nsize_m = "x" # HERE\n',
    "table, missing key": 'format = "t/1"\n\n[inner] # HERE\n\ndepth_m = 1\n',
    "dotted header": 'format = "t/1"\n[[part]]\nsize_m = 1\n[part.inner]\nsize_m = "x" # HERE\n',
    "dotted header, missing key": 'format = "t/1"\n[[part]]\nsize_m = 1\n[part.inner] # HERE\ndepth_m = 1\n',
    "second of several tables": 'format = "t/1"\n[[part]]\nsize_m = 1\n[[part]]\nsize_m = "x" # HERE\n',
    "second, missing key": 'format = "t/1"\n[[part]]\nsize_m = 1\n\n# b\n[[ part ]] # HERE\n[[part]]\nsize_m = 1\n',
    "table between": 'format = "t/1"\n[[part]]\nsize_m = 1\n[inner]\nsize_m = 1\n[[part]]\nsize_m = "x" # HERE\n',
    "tables of different parts": (
        'format = "t/1"\n[[part]]\nsize_m = 1\ninner.size_m = 1\n[[part]]\nsize_m = 1\n[part.inner]\n'
        'size_m = "x" # HERE\n[[part]]\nsize_m = 1\n'
    ),
    "unknown table": 'format = "t/1"\n\n[innner] # HERE\nsize_m = 1\n',
    "unknown list of tables": 'format = "t/1"\n\n[[prat]] # HERE\nsize_m = 1\n[[prat]]\n',
    "format not at the top": '\n\nsize_m = 1\nformat = "t/2" # HERE\n',
    "last line without an end": 'format = "t/1"\nsize_m = "x" # HERE',
    "entry of a list over several lines": 'format = "t/1"\nplace_m = [\n  1,\n  "x", # HERE\n]\n',
    "missing key in a list over several lines": (
        'format = "t/1"\npart = [\n  { size_m = 1 },\n  { name = "b" }, # HERE\n  { size_m = 1 },\n]\n'
    ),
    "value in a list over several lines": (
        'format = "t/1"\npart = [\n  { size_m = 1 },\n  { size_m = "x" }, # HERE\n  { size_m = 1 },\n]\n'
    ),
}  # fmt: skip
# Here no line is fine as well.
UNCERTAIN = {
    "missing key of an inline table": 'format = "t/1"\ninner = { depth_m = 1 } # HERE\n',
    "missing key of a dotted key": 'format = "t/1"\ninner.depth_m = 1 # HERE\n',
    "missing key, header in quotes": 'format = "t/1"\n["inner"] # HERE\ndepth_m = 1\n',
    "missing key, dotted header with spaces": (
        'format = "t/1"\n[[part]]\nsize_m = 1\n[ part . inner ] # HERE\ndepth_m = 1\n'
    ),
}


@pytest.mark.parametrize("start", ["", "\ufeff", "# one\n\n\t\n# two\n"], ids=["", "BOM", "comments"])
@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("layout", CERTAIN)
def test_line_is_exact(faults_of, layout, end, start):
    text = start + CERTAIN[layout]
    (fault,) = faults_of(load, text.replace("\n", end).encode())
    assert fault.line == text[: text.index("# HERE")].count("\n") + 1


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("layout", UNCERTAIN)
def test_line_is_exact_or_absent(faults_of, layout, end):
    text = UNCERTAIN[layout]
    (fault,) = faults_of(load, text.replace("\n", end).encode())
    assert fault.line in (None, text[: text.index("# HERE")].count("\n") + 1)


def test_missing_key_of_a_file_has_no_line(faults_of):
    assert [fault.line for fault in faults_of(load, "size_m = 1.0\n")] == [None]


@pytest.mark.parametrize("lines", [MAX_LOCATED_LINES // 10, MAX_LOCATED_LINES + 10])
def test_line_in_a_long_file(faults_of, lines):
    (fault,) = faults_of(load, 'format = "t/1"\n' + "# more\n" * lines + 'size_m = "x"\n')
    assert fault.line in (None, lines + 2)
    assert fault.key == "size_m"


def _load_equipment(file: str) -> object:
    document = read(file, *KINDS)
    return validate(document, KINDS[document.data["format"]])


@pytest.fixture(scope="module")
def packaged():
    return load_catalogue()


def _is_whole(line: str) -> bool:
    try:
        return bool(tomllib.loads(line))
    except tomllib.TOMLDecodeError:
        return False


SAMPLES = sorted((ROOT / "sample_venues").glob("*/left.toml"))[:1] + sorted((ROOT / "rigging/catalogue").glob("*.toml"))


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_every_key_of_the_samples_is_found_at_its_line(faults_of, packaged, sample, end):
    """All keys that stand in one line are spoilt at once; each must be told, at its own line and nowhere else."""
    lines = sample.read_text().splitlines()
    acoustic = next((n for n, line in enumerate(lines) if line.startswith("[acoustic]")), len(lines))
    names = {
        n + 1: line.split(" = ")[0]
        for n, line in enumerate(lines[:acoustic])  # what follows is read by the acoustic side
        if " = " in line and _is_whole(line) and not line.startswith("format")
    }
    assert len(names) >= 4
    text = end.join(f'{names[n]} = [[["x"]]]' if n in names else line for n, line in enumerate(lines, 1))
    is_hang = 'format = "hang/1"' in text
    faults = faults_of((lambda file: load_hang(file, packaged)) if is_hang else _load_equipment, text)
    assert {fault.line for fault in faults} == set(names)
    for fault in faults:
        assert re.search(rf"(^|\.){names[fault.line]}(\[\d+\])*$", fault.key)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_format_of_the_samples_is_found_at_its_line(faults_of, sample):
    lines = sample.read_text().splitlines()
    (n,) = [n for n, line in enumerate(lines) if line.startswith("format = ")]
    text = "\n".join([*lines[:n], 'format = [[["x"]]]', *lines[n + 1 :]])
    (fault,) = faults_of(_load_equipment, text)
    assert (fault.key, fault.line) == ("format", n + 1)
