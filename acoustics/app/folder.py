"""Files that commands are given and folders they write, each file whole or not at all; and the progress bar."""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import shutil
import uuid
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from tqdm import tqdm

from rigging.equipment import Catalogue, load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import read

_LONGEST_NAME = 255  # bytes that file systems take for one name
_TURNS = 20  # runs into one folder at the same time


def prepare(parent: Path) -> None:
    """Find out before the work, without a trace, whether results can be written to `parent`.

    Raises
    ------
    FileFaults
        If they cannot.
    """
    if any(len(os.fsencode(part)) > _LONGEST_NAME for part in parent.parts):
        raise FileFaults([Fault(str(parent), "", "is too long a name", "name another folder with --out")])
    try:
        nearest = next(folder for folder in (parent, *parent.absolute().parents) if folder.exists())
    except OSError as error:
        raise FileFaults([_unwritable(parent, error)]) from None
    if not nearest.is_dir():
        where = "" if nearest == parent else f" ({nearest.name} is one)"
        raise FileFaults([Fault(str(parent), "", f"is no folder but a file{where}", "name a folder with --out")])
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise FileFaults([_unwritable(parent, PermissionError(0, "permission denied"))])


def _unwritable(target: Path, error: OSError) -> Fault:
    wrong = f"cannot be written ({error.strerror or error})"
    return Fault(str(target), "", wrong, "name another folder with --out")


def write(parent: Path, name: str, revision: str, writers: Mapping[str, Callable[[Path], None]]) -> Path:
    """Write files into `parent`/HANG-REVISION and return that folder.

    All are made in a temporary folder, which takes the place of the old one when complete; a folder of
    another revision is not touched, other files in this one are kept.

    Raises
    ------
    FileFaults
        If the folder cannot be written.
    """
    target = parent / f"{slug(name)}-{revision}"
    staging, before = (parent / f".{kind}-{uuid.uuid4().hex}" for kind in ("writing", "before"))
    try:
        staging.mkdir(parents=True)
        for file, writer in writers.items():
            writer(staging / file)
        _swap(staging, target, before, set(writers))
    except OSError as error:
        raise FileFaults([_unwritable(target, error)]) from None
    finally:
        if os.path.exists(before) and not os.path.exists(target):
            os.rename(before, target)
        for left in (staging, before):
            shutil.rmtree(left, ignore_errors=True)
    return target


def _swap(staging: Path, target: Path, before: Path, written: set[str]) -> None:
    """Put the new folder in place of the old; where another run was quicker, its turn comes again."""
    for attempt in range(_TURNS):
        try:
            if target.exists():
                _keep_others(target, staging, written)
                os.rename(target, before)
            os.rename(staging, target)
            return
        except OSError:
            if attempt == _TURNS - 1 or not staging.exists():
                raise
            shutil.rmtree(before, ignore_errors=True)


def _keep_others(target: Path, staging: Path, written: set[str]) -> None:
    """Copy what else lies in the folder that is about to be replaced."""
    for other in target.iterdir():
        if other.name not in written and not (staging / other.name).exists():
            (shutil.copytree if other.is_dir() else shutil.copy2)(other, staging / other.name)


def prepare_new(path: Path, option: str) -> None:
    """Find out before the work whether a file that is not there yet can be written.

    Raises
    ------
    FileFaults
        If it is there, or its folder cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise FileFaults([Fault(option, "", "names a file that is there already", "name a new one", str(path))])
    if not path.parent.is_dir():
        todo = "name a file in a folder that is there"
        raise FileFaults([Fault(option, "", "lies in no folder that is there", todo, str(path))])
    prepare(path.parent)


def write_new(path: Path, option: str, content: str) -> None:
    """Write a text file whole or not at all, and never over another.

    Raises
    ------
    FileFaults
        If it is there meanwhile, or its folder cannot be written.
    """
    staging = path.parent / f".writing-{uuid.uuid4().hex}"
    try:
        staging.write_text(content, encoding="utf-8", newline="")
        _put_new(staging, path)
    except FileExistsError:
        raise FileFaults(
            [Fault(option, "", "names a file that is there already", "name a new one", str(path))]
        ) from None
    except OSError as error:
        raise FileFaults([_unwritable(path, error)]) from None
    finally:
        staging.unlink(missing_ok=True)


def catalogue_of(asked: argparse.Namespace) -> Catalogue:
    """The equipment that a command was asked to use: packaged, and of the folders named beside it or in its place.

    Raises
    ------
    FileFaults
        With the faults of all its files, or where none is left.
    """
    if asked.only_equipment and not asked.equipment:
        todo = "name a folder with --equipment DIR as well"
        raise FileFaults([Fault("--only-equipment", "", "leaves no equipment at all", todo)])
    return load_catalogue(asked.equipment, packaged=not asked.only_equipment)


def _put_new(staging: Path, path: Path) -> None:
    """Give a file its name where no other has it."""
    try:
        os.link(staging, path)  # unlike a rename it takes no other file's place
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path.exists():
            raise FileExistsError(path) from None
        os.rename(staging, path)


def kind_of(path: str) -> str:
    """What a file says that it is, such as "show"; empty where it cannot be read, which its reader then tells."""
    try:
        return str(read(path).data.get("format", "")).partition("/")[0]
    except FileFaults:
        return ""


def is_show(path: str) -> bool:
    """Whether a file is a show."""
    return kind_of(path) == "show"


def slug(name: str) -> str:
    """A name as part of a file name: letters and digits of any script, joined by hyphens."""
    words = re.sub(r"[^\w]+", "-", name.lower()).strip("-_")
    return words.encode()[:120].decode(errors="ignore") or "hang"


@contextlib.contextmanager
def progress(unit: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error for work that takes longer than a second; silent where nobody watches."""
    bar = tqdm(unit=f" {unit}", delay=1.0, disable=None, leave=False)

    def tell(done: int, total: int) -> None:
        bar.total = total
        bar.update(done)

    with bar:
        yield tell
