"""Files that cannot be read, or are no TOML: they are refused in one line, and nothing waits or breaks."""

from __future__ import annotations

import os

import pytest

from rigging.faults import FileFaults
from rigging.files import read

THING = 'format = "thing/1"\nname = "one"\n'


def load(file: str) -> object:
    return read(file, "thing/1")


@pytest.mark.parametrize(
    ("content", "wrong"),
    [
        (b"", "is empty"),
        (b" \r\n\n\t", "is empty"),
        (bytes(range(256)), "is not a text file in UTF-8"),
        (THING.encode("utf-16"), "is not a text file in UTF-8"),
        (THING.encode() + b"# caf\xe9\n", "is not a text file in UTF-8"),
        (b"\x00" * 100, "is no valid TOML"),
        (b"a = " + b"[" * 100_000, "is no valid TOML: nested too deeply"),
        (b"a = " + b"[" * 100_000 + b"]" * 100_000, "is no valid TOML: nested too deeply"),
        (b"a = " + b"{a=" * 5_000 + b"1" + b"}" * 5_000, "is no valid TOML: nested too deeply"),
        (b"a = 1" + b"0" * 5_000, "is no valid TOML: a number of thousands of digits"),
        (b'a = """abc', "is no valid TOML"),
        (b"a = 2026-13-45", "is no valid TOML"),
    ],
)
def test_content_that_is_no_toml(faults_of, content, wrong):
    (fault,) = faults_of(load, content)
    assert wrong in fault.wrong
    assert fault.todo


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("start", ["", "\ufeff", "# comment\n\n"])
@pytest.mark.parametrize(
    "text",
    [
        "name = # HERE\n",
        'name = "a"\n\n# again\nname = "b" # HERE\n',
        "[a]\nb = 1\n[a] # HERE\n",
        "a = [\n 1,\n 2,\n]\nb = [1, # HERE\n 2 3]\n",
        "a == 1 # HERE\n",
        'a = "x # HERE\nb = 2\n',
        "a = 2026-13-45 # HERE\n",
    ],
)
def test_line_of_a_syntax_error(faults_of, start, text, end):
    text = start + text
    (fault,) = faults_of(load, text.replace("\n", end).encode())
    assert fault.key == ""
    assert "is no valid TOML: " in fault.wrong
    assert fault.todo == "correct this line, or an earlier one that is not closed"
    here = text[: text.index("# HERE")].count("\n") + 1
    assert fault.line in (here, here + 1)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("a = ", "a value that is no number"),
        ("a = True", "true, false"),
        ("a = b", '"text"'),
        ("a == 1", "a value that is no number"),
        ("a = 1,5", "a decimal comma"),
        ("a = 1 m", "missing quotes"),
        ("a -2", "a line that is no key = value"),
        ("a", "a line that is no key = value"),
        ("name = 'b'", "a key or table stands twice"),
        ("name.b = 1", "a key or table stands twice"),
    ],
)
def test_reason_of_a_syntax_error(faults_of, line, reason):
    (fault,) = faults_of(load, f"{THING}{line} # more\n")
    assert fault.line == 3
    assert fault.wrong.startswith("is no valid TOML: ")
    assert reason in fault.wrong


def _names_what_is_wrong(path: str, wrong: str) -> None:
    with pytest.raises(FileFaults) as caught:
        load(path)
    (fault,) = caught.value.faults
    assert (fault.file, fault.key, fault.line) == (path, "", None)
    assert fault.wrong == wrong
    assert fault.todo


def test_file_that_is_none(tmp_path):
    (tmp_path / "file").write_text(THING)
    _names_what_is_wrong(str(tmp_path / "missing.toml"), "does not exist")
    _names_what_is_wrong(str(tmp_path), "is a directory, not a file")
    _names_what_is_wrong(str(tmp_path / "file" / "below"), "cannot be read (Not a directory)")


def test_path_that_is_too_long(tmp_path):
    _names_what_is_wrong(str(tmp_path / ("x" * 300)), "cannot be read (File name too long)")


def test_file_of_50_mb(tmp_path):
    with (tmp_path / "big.toml").open("wb") as file:
        file.truncate(50_000_000)
    _names_what_is_wrong(str(tmp_path / "big.toml"), "is too large, 50 MB")


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="needs devices")
@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero"])
def test_device(device):
    _names_what_is_wrong(device, "is not a regular file")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs FIFOs")
def test_pipe_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    _names_what_is_wrong(str(tmp_path / "pipe"), "is not a regular file")


needs_rights = pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")


@needs_rights
def test_file_without_rights(tmp_path):
    (tmp_path / "a.toml").write_text(THING)
    (tmp_path / "a.toml").chmod(0)
    _names_what_is_wrong(str(tmp_path / "a.toml"), "cannot be read (Permission denied)")


@needs_rights
def test_file_in_a_folder_without_rights(tmp_path):
    (tmp_path / "locked").mkdir(mode=0)
    _names_what_is_wrong(str(tmp_path / "locked" / "a.toml"), "cannot be read (Permission denied)")
