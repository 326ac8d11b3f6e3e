"""Result folders: named after hang and revision, each file whole or not at all; and the progress bar."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import xarray as xr
from tqdm import tqdm

from rigging.faults import Fault, FileFaults


def write(parent: Path, result: xr.Dataset, writers: Mapping[str, Callable[[Path], None]]) -> Path:
    """Write files into `parent`/HANG-REVISION and return that folder.

    All are made in a temporary folder first and moved when complete; a folder of another revision and
    other files in this one are not touched.

    Raises
    ------
    FileFaults
        If the folder cannot be written.
    """
    target = parent / f"{slug(result.attrs['hang'])}-{result.attrs['revision']}"
    try:
        parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".writing-", dir=parent))
        try:
            for name, writer in writers.items():
                writer(staging / name)
            target.mkdir(exist_ok=True)
            for name in writers:
                os.replace(staging / name, target / name)
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    except OSError as error:
        reason = error.strerror or str(error)
        fault = Fault(str(target), "", f"cannot be written ({reason})", "name another folder with --out")
        raise FileFaults([fault]) from None
    return target


def slug(name: str) -> str:
    """A name as part of a file name: letters and digits of any script, joined by hyphens."""
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-_") or "hang"


@contextlib.contextmanager
def progress(unit: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error for work that takes longer than a second; silent where nobody watches."""
    bar = tqdm(unit=f" {unit}", delay=1.0, disable=None, leave=False)

    def tell(done: int, total: int) -> None:
        bar.total = total
        bar.update(done)

    with bar:
        yield tell
