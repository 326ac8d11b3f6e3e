"""Files that the page touches: hang files below one folder, and beside them what is at work and not yet saved."""

from __future__ import annotations

import hashlib
import json
import os
import time
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acoustics.app.folder import kind_of
from acoustics.app.page.frames import Refused
from acoustics.app.page.work import Ground, Work

AT_WORK = ".at-work.json"
_FORMAT = "at-work/1"
_MOST_LISTED, _MOST_LOOKED_AT, _DEEPEST = 200, 2_000, 4
_MOST_BYTES = 4_000_000


@dataclass(frozen=True)
class LeftOver:
    """Work of an earlier time that was not saved: its file, when it was kept, and what it was; `held` the hang in
    hand; `on_disk` what its files were when they were read."""

    file: Path
    when: str
    work: Work
    held: Path
    on_disk: dict[Path, str]


def inside(root: Path, name: str) -> Path:
    """A file below a folder, given from there.

    Raises
    ------
    Refused
        If it lies elsewhere, is hidden, or is no TOML file.
    """
    try:
        path = (root / name).resolve()
    except (OSError, ValueError):
        raise Refused("that is no file name", "give a name such as left-2.toml") from None
    if not path.is_relative_to(root.resolve()):
        raise Refused(f"{name} lies outside {root}", "name a file below it, or start the page there")
    if path.suffix != ".toml" or any(part.startswith(".") for part in path.relative_to(root.resolve()).parts):
        raise Refused(f"{name} is no name of a hang file", "end it in .toml")
    return path


class HangFiles:
    """Hang files below a folder; a file is read again only when it has changed."""

    def __init__(self, root: Path) -> None:
        self._root, self._known = root, dict[Path, tuple[int, int, bool]]()

    def names(self) -> list[str]:
        """Their names from the folder; what lies too deep, or beyond too many files, is left out."""
        found: list[str] = []
        known: dict[Path, tuple[int, int, bool]] = {}
        for path in self._toml_files():
            try:
                told = path.stat()
            except OSError:
                continue
            before = self._known.get(path)
            same = before is not None and before[:2] == (told.st_mtime_ns, told.st_size)
            is_hang = before[2] if same and before is not None else kind_of(str(path)) == "hang"
            known[path] = told.st_mtime_ns, told.st_size, is_hang
            if is_hang:
                found.append(str(path.relative_to(self._root)))
        self._known = known
        return found[:_MOST_LISTED]

    def _toml_files(self) -> Iterator[Path]:
        looked = 0
        for folder, folders, names in os.walk(self._root):
            depth = len(Path(folder).relative_to(self._root).parts)
            folders[:] = sorted(one for one in folders if not one.startswith(".")) if depth < _DEEPEST else []
            for name in sorted(names):
                looked += 1
                if looked > _MOST_LOOKED_AT:
                    return
                if name.endswith(".toml") and not name.startswith("."):
                    yield Path(folder) / name


def digest(path: Path) -> str:
    """SHA-256 of a file's bytes; empty where it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def write(path: Path, text: str) -> None:
    """Write a hang file whole or not at all, with the line ends that it had.

    Raises
    ------
    Refused
        If it cannot be written.
    """
    try:
        crlf = path.exists() and b"\r\n" in path.read_bytes()
        _put(path, text.replace("\r\n", "\n").replace("\n", "\r\n" if crlf else "\n").encode())
    except OSError as error:
        raise Refused(f"{path} cannot be written ({error.strerror})", "save it under another name") from None


def at_work_file(hang_file: Path) -> Path:
    """Where what is at work is kept: beside the hang file that the page was opened on."""
    return hang_file.with_name(hang_file.stem + AT_WORK)


def keep(hang_file: Path, work: Work, held: Path, on_disk: Mapping[Path, str]) -> None:
    """Keep what is at work, or remove what was kept where nothing is.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    path = at_work_file(hang_file)
    if work == Work():
        path.unlink(missing_ok=True)
        return
    data = {
        "format": _FORMAT,
        "about": "unsaved work of evenhang page; the page offers it at its next start and removes it when it is saved",
        "when": time.strftime("%Y-%m-%d %H:%M:%S"),
        "held": str(held),
        "texts": {str(one): text for one, text in work.texts.items()},
        "on_disk": {str(one): on_disk.get(one, "") for one in work.texts},
        "temperature_c": work.temperature_c,
        "relative_humidity_pct": work.relative_humidity_pct,
        "drive_db": work.drive_db,
    }
    _put(path, json.dumps(data, indent=1, ensure_ascii=False).encode())


def left_over(ground: Ground) -> LeftOver | None:
    """What an earlier time left beside the first file; None where there is nothing, or nothing that can be read.

    Of files that lie elsewhere now, or that a show does not name, the text is left out.
    """
    path = at_work_file(ground.files[0])
    try:
        if path.stat().st_size > _MOST_BYTES:
            return None
        return _read(path, json.loads(path.read_text(encoding="utf-8")), ground)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _read(path: Path, data: Mapping[str, Any], ground: Ground) -> LeftOver | None:
    if data["format"] != _FORMAT:
        return None

    def counts(file: Path) -> bool:
        opened = ground.show_file is None and file.is_relative_to(ground.root) and file.is_file()
        return file in ground.files or opened

    texts = {Path(name): str(text) for name, text in data["texts"].items() if counts(Path(name))}
    on_disk = {Path(name): str(data["on_disk"][name]) for name in data["texts"] if Path(name) in texts}
    temperature, humidity = (_known(data[name]) for name in ("temperature_c", "relative_humidity_pct"))
    work = Work(texts, temperature, humidity, float(data["drive_db"]))
    return LeftOver(path, str(data["when"]), work, Path(data["held"]), on_disk)


def _known(value: object) -> float | None:
    return None if value is None else float(str(value))


def _put(path: Path, content: bytes) -> None:
    staging = path.with_name(f".writing-{uuid.uuid4().hex}")
    try:
        staging.write_bytes(content)
        os.replace(staging, path)
    finally:
        staging.unlink(missing_ok=True)
