"""Where files come to lie in a pack, so that they still find each other there."""

from __future__ import annotations

import os
import posixpath
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from acoustics.app.pack_file import POLICY, PackedFile, member_problem
from acoustics.inputs import InputFile
from rigging.content import sha256_of
from rigging.faults import Fault, FileFaults, Loc, key_path
from rigging.files import read

_EQUIPMENT = "equipment"


def places(files: Sequence[InputFile]) -> dict[Path, str]:
    """The member that each file becomes, by its resolved path.

    Files that name each other keep the folders that they have among each other; those of other places lie in a folder
    called as theirs. Equipment goes into one folder, with its data below it as it was where that is possible.

    Raises
    ------
    FileFaults
        If a name cannot stand in a pack.
    """
    wanted = _input_places([file for file in files if file.role not in (_EQUIPMENT, "data", "policy")])
    for file in files:
        path = file.path.resolve()
        if file.role == _EQUIPMENT:
            wanted.setdefault(path, f"{_EQUIPMENT}/{file.path.name}")
            for _, data in file.names:
                below = Path(os.path.relpath(data, file.path.parent)).as_posix()
                wanted.setdefault(data.resolve(), f"{_EQUIPMENT}/{data.name if below.startswith('..') else below}")
        elif file.role == "policy":
            wanted.setdefault(path, POLICY)
    found = _apart(wanted)
    faults = [
        Fault(str(path), "", wrong, "rename it") for path, name in found.items() if (wrong := member_problem(name))
    ]
    if faults:
        raise FileFaults(faults)
    return found


def _input_places(files: Sequence[InputFile]) -> dict[Path, str]:
    """Wanted places of hangs, shows and venues: no folder above those that they share is told."""
    bases: dict[Path, Path] = {}
    for together in _together(files):
        base = Path(os.path.commonpath([path.parent for path in together]))
        bases |= dict.fromkeys(together, base)
    one = len(set(bases.values())) == 1
    folders = {path: "inputs" if one else f"inputs/{base.name or 'top'}" for path, base in bases.items()}
    return {path: f"{folders[path]}/{path.relative_to(base).as_posix()}" for path, base in bases.items()}


def _together(files: Sequence[InputFile]) -> list[set[Path]]:
    """Resolved paths, those that name each other from their own folders together."""
    groups: list[set[Path]] = []
    for file in files:
        linked = {file.path.resolve()}
        linked |= {other.resolve() for loc, other in file.names if not Path(_said(file.path, loc)).is_absolute()}
        for group in [group for group in groups if group & linked]:
            groups.remove(group)
            linked |= group
        groups.append(linked)
    return groups


def _apart(wanted: Mapping[Path, str]) -> dict[Path, str]:
    """Names that every system takes and tells apart; a second one of a name is numbered."""
    found: dict[Path, str] = {}
    taken: set[str] = set()
    for path, name in sorted(wanted.items(), key=lambda pair: (pair[1], pair[0])):
        plain = PurePosixPath(re.sub(r'[\\:*?"<>|]', "_", name))
        names = (str(plain.with_stem(f"{plain.stem}{end}")) for end in ("", *(f"-{n}" for n in range(2, 10_000))))
        found[path] = next(one for one in names if one.casefold() not in taken)
        taken.add(found[path].casefold())
    return found


def stage(files: Sequence[InputFile], at: Mapping[Path, str], home: Path) -> list[PackedFile]:
    """Write a copy of every file to its place below a folder, the names of other files in it set to theirs.

    Raises
    ------
    FileFaults
        If a file cannot be read, has changed since it was listed, or cannot be rewritten.
    """
    listed = []
    for file in files:
        member = at[file.path.resolve()]
        try:
            held = file.path.read_bytes()
        except OSError as error:
            raise FileFaults([Fault(str(file.path), "", f"cannot be read ({error.strerror})", "check it")]) from None
        changes = _changes(file, at, member)
        target = home.joinpath(*member.split("/"))
        target.parent.mkdir(parents=True, exist_ok=True)
        rewritten = _rewritten(file.path, changes, file.own).encode() if changes or file.own else held
        target.write_bytes(rewritten)
        original = file.sha256 if changes or file.own else None
        listed.append(PackedFile(member=member, role=file.role, sha256=sha256_of(target), original_sha256=original))
    return listed


def _changes(file: InputFile, at: Mapping[Path, str], member: str) -> dict[Loc, str]:
    """What a file has to call those that it names, where they lie elsewhere from its own place."""
    folder, changes = posixpath.dirname(member), {}
    for loc, target in file.names:
        place = at[target.resolve()]
        said = str(_said(file.path, loc))
        if posixpath.isabs(said) or posixpath.normpath(posixpath.join(folder, said)) != place:
            changes[loc] = posixpath.relpath(place, folder)
    return changes


def _said(path: Path, loc: Loc) -> Any:
    value: Any = read(path).data
    for part in loc:
        value = value[part]
    return value


def _rewritten(path: Path, changes: Mapping[Loc, str], without: Sequence[str]) -> str:
    """The text of a TOML file with other texts at some locations, without some keys, and nothing else changed.

    Raises
    ------
    FileFaults
        If that cannot be done.
    """
    document = read(path)
    wanted: Any = tomllib.loads(document.text)
    try:
        file: Any = tomlkit.parse(document.text)
        for loc, name in changes.items():
            for whole in (file, wanted):
                inner = whole
                for part in loc[:-1]:
                    inner = inner[part]
                inner[loc[-1]] = name
        for name in without:
            del file[name], wanted[name]
        text = tomlkit.dumps(file)
        sound = tomllib.loads(text) == wanted
    except (TOMLKitError, ValueError, KeyError, TypeError):
        sound = False
    if not sound:
        keys = ", ".join(map(key_path, changes))
        wrong = f"names a file at {keys} that lies elsewhere in a pack, and the name cannot be rewritten"
        raise FileFaults([Fault(str(path), "", wrong, "write the name from this file's folder, and pack again")])
    return text.replace("\n", document.line_end)
