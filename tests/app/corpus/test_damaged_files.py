"""Files of every kind that are cut off, badly encoded, nested without end, twice, empty, or no files at all."""

from __future__ import annotations

import os
import re
import shutil
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
KINDS = tomllib.loads((HERE / "kinds.toml").read_text())
SAMPLES = {kind: (ROOT / one["sample"]).read_text() for kind, one in KINDS.items()}


def cut(pattern: str):
    """A file that ends where a pattern is found last, so that what it opens stays open."""

    def work(text: str) -> bytes | None:
        found = list(re.finditer(pattern, text, re.MULTILINE))
        return text[: found[-1].end()].encode() if found else None

    return work


def with_more(more: str):
    """A file with something more before its first table, so that it is a key of the whole."""

    def work(text: str) -> bytes:
        head, bracket, rest = text.partition("\n[")
        return f"{head}\n{more}\n{bracket[1:]}{rest}".encode()

    return work


def doubled(text: str) -> bytes:
    """A file whose name stands twice, and says something else the second time."""
    return re.sub(r"^(name|hang) = .*$", r"\g<0>\n\1 = 'again'", text, count=1, flags=re.MULTILINE).encode()


NO_TOML = "is no valid TOML"
DEEP = "nested too deeply; close what is open"
# What is done to the text of a good file, and what is said of it.
DAMAGE = {
    "cut after =": (cut(r"^\w+ ="), NO_TOML),
    "cut in a text": (cut(r'^\w+ = "[^"]'), NO_TOML),
    "cut in a list": (cut(r"^\w+ = \[+"), NO_TOML),
    "cut in a number": (cut(r"^\w+ = -?\d+\.(?=\d)"), NO_TOML),
    "cut in a header": (cut(r"^\[+[\w.]+(?=\])"), NO_TOML),
    "cut in a key": (cut(r"^\w\w(?=\w+ = )"), NO_TOML),
    "cut in an inline table": (cut(r"\{ \w+ = "), NO_TOML),
    "a half letter": (lambda text: text.encode() + b"# \xe2\x82", "is not a text file in UTF-8"),
    "Latin-1": (lambda text: text.encode("ascii", "ignore") + "# für".encode("latin-1"), "is not a text file in UTF-8"),
    "UTF-16": (lambda text: text.encode("utf-16"), "is not a text file in UTF-8"),
    "UTF-16 without its mark": (lambda text: text.encode("utf-16-le"), "is n"),
    "a surrogate": (lambda text: text.encode() + b"# \xed\xa0\x80", "is not a text file in UTF-8"),
    "an escaped surrogate": (with_more(r'note = "\ud800"'), NO_TOML),
    "NUL": (lambda text: text.encode() + b"\x00", NO_TOML),
    "old line ends": (lambda text: text.replace("\n", "\r").encode(), NO_TOML),
    "two marks": (lambda text: b"\xef\xbb\xbf\xef\xbb\xbf" + text.encode(), NO_TOML),
    "empty": (lambda text: b"", "is empty; start it with format ="),
    "nothing but a mark": (lambda text: b"\xef\xbb\xbf\r\n", "is empty; start it with format ="),
    "blank": (lambda text: b" \t\r\n" * 9, "is empty; start it with format ="),
    "comments alone": (lambda text: b"# nothing\n", "format: key is missing; start the file with format ="),
    "a picture": (lambda text: b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "is not a text file in UTF-8"),
    "JSON": (lambda text: b'{"format": "venue/1"}', NO_TOML),
    "a key twice": (doubled, "a key or table stands twice"),
    "lists in lists": (with_more("deep = " + "[" * 10_000 + "]" * 10_000), DEEP),
    "lists never closed": (with_more("deep = " + "[" * 10_000), DEEP),
    "tables in tables": (with_more("deep = " + "{a = " * 5_000 + "1" + "}" * 5_000), DEEP),
    "a dotted key": (with_more("a" + ".a" * 5_000 + " = 1"), DEEP),
    "a dotted key in quotes": (with_more('"a b"' + " . 'a'" * 5_000 + " = 1"), DEEP),
    "a dotted header": (lambda text: f"{text}\n[{'a.' * 5_000}a]\nb = 1\n".encode(), DEEP),
    "dotted keys in tables": (with_more("a = " + "{a.a.a.a.a.a.a.a = " * 200 + "1" + "}" * 200), DEEP),
    "a number of 5,000 digits": (with_more("n = 1" + "0" * 5_000), "a number of thousands of digits"),
    "no such day": (with_more("day = 2026-02-30"), NO_TOML),
    "a decimal comma": (with_more("n = 1,5"), "a decimal comma"),
    "another kind": (lambda text: re.sub(r'"\w+/1"', '"letter/1"', text, count=1).encode(), "format: is another kind"),
    "a later version": (lambda text: re.sub(r'"(\w+)/1"', r'"\1/2"', text, count=1).encode(), "format: is a"),
    "no version": (lambda text: re.sub(r'"(\w+)/1"', r'"\1"', text, count=1).encode(), "format: "),
    "a number as format": (lambda text: re.sub(r'"\w+/1"', "1", text, count=1).encode(), "format: is another kind"),
    "no format": (lambda text: re.sub(r"^format = .*$", "", text, flags=re.M).encode(), "format: key is missing"),
    "an unknown key": (with_more("colour = 1"), "colour: is an unknown key (got 1); "),
    "an unknown key in another alphabet": (with_more('"\\u202emanе" = 1'), "is an unknown key"),
    "a key without a name": (with_more('"" = 1'), '"": is an unknown key'),
    "an astral key": (with_more('"\\U0001f3b8" = 1'), "is an unknown key"),
    "a key with a line end": (with_more('"a\\nb" = 1'), "is an unknown key"),
}  # fmt: skip
DAMAGED = [
    (kind, name) for kind, text in SAMPLES.items() for name, (work, _) in DAMAGE.items() if work(text) is not None
]


@pytest.mark.parametrize(("kind", "name"), DAMAGED)
def test_damaged_file(refuse, kind, name):
    work, said = DAMAGE[name]
    lines = refuse(kind, work(SAMPLES[kind]))
    assert any(said in line for line in lines), lines
    if said in (NO_TOML, DEEP) or said.startswith("is "):
        assert len(lines) == 1


@pytest.mark.parametrize("kind", SAMPLES)
@pytest.mark.parametrize("work", [lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text])
def test_the_editors_line_ends_and_mark_are_no_fault(tmp_path, kind, work):
    """CRLF is TOML; a byte order mark is not, strictly, but some editors write one and no person sees it."""
    from rigging.files import read

    (tmp_path / "file.toml").write_bytes(work(SAMPLES[kind]).encode())
    assert read(tmp_path / "file.toml").data == tomllib.loads(SAMPLES[kind])


def a_folder(path: Path) -> None:
    path.mkdir()


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def a_link_to_itself(path: Path) -> None:
    path.symlink_to(path)


def huge(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(200_000_000)


def without_rights(path: Path) -> None:
    path.write_text("x = 1")
    path.chmod(0)


NO_FILES = {
    a_folder: "is a directory, not a file",
    a_pipe: "is not a regular file",
    a_device: "is not a regular file",
    a_link_to_itself: "cannot be read",
    huge: "is too large, 200 MB",
    without_rights: "cannot be read (Permission denied)",
}
ROOT_READS_ALL = not hasattr(os, "geteuid") or os.geteuid() == 0
PLACES = [(kind, work) for kind in SAMPLES for work in NO_FILES if kind != "policy" or work is not a_link_to_itself]


@pytest.mark.parametrize(("kind", "work"), PLACES, ids=lambda one: getattr(one, "__name__", one))
def test_what_is_no_file(refused, where, desk, kind, work):
    if work is without_rights and ROOT_READS_ALL:
        pytest.skip("root may read everything")
    file, command = where(kind)
    work(desk / file)
    try:
        lines = refused(file, command)
    finally:
        shutil.rmtree(desk / file) if work is a_folder else (desk / file).unlink()
    assert len(lines) == 1
    assert NO_FILES[work] in lines[0]


@pytest.mark.parametrize("kind", [kind for kind, text in SAMPLES.items() if kind not in ("policy",)])
def test_what_is_not_there(refused, where, desk, kind):
    file, command = where(kind)
    if file.startswith("kit/"):
        command = [*command[:3], "--equipment", file, "--only-equipment"]
    (line,) = refused(file, command)
    assert "does not exist; check the path" in line or "cannot be read as a folder of equipment files" in line


CASES = [*DAMAGED, *((kind, work.__name__) for kind, work in PLACES)]
