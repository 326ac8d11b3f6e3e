"""`evenhang tour`: every stop of a tour worked out side by side, one index, one table; what is done is kept."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import sys
import uuid
from collections.abc import Iterator
from pathlib import Path

from tqdm import tqdm

from acoustics.app import check as check_command
from acoustics.app import folder, tour_sheet
from acoustics.app.sheet import plain
from acoustics.app.status import CANNOT_JUDGE, DONE, EXCEEDS, SOME_FAILED, refusing
from acoustics.app.stop import UNFINISHED, AtFault, Done, Task, work_out
from acoustics.app.tour_sheet import Whole, whole_of
from acoustics.app.workers import Failed, Pool, cluster, local, run_all
from acoustics.prediction import Options
from acoustics.tour_file import Stop, Tour, check_stock, load_tour
from rigging import findings
from rigging.faults import Fault, FileFaults

try:
    import fcntl
except ImportError:  # not on Windows: there nothing keeps two runs out of one folder
    fcntl = None  # type: ignore[assignment]


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    tour = load_tour(asked.tour)
    out = Path(asked.out)
    folder.prepare(out)
    asked.equipment = [*tour.folders, *asked.equipment]
    check_stock(tour, folder.catalogue_of(asked))
    asked.policy = check_command.policy_asked(asked.policy, tour)
    check_command.policy_of(asked.policy)
    into = out.absolute() / folder.slug(tour.file.name)
    options = Options(grid_m=tour.file.grid_m, programme=tour.file.programme)
    tasks = [_task(tour, number, stop, into, asked, options) for number, stop in enumerate(tour.file.stop, start=1)]
    pool = cluster(asked.scheduler) if asked.scheduler else local(asked.processes or _processors())
    with _alone(into):
        results = _work(tasks, pool)
        whole = whole_of(tour.file.name, tour.file.stock, [task.label for task in tasks], results)
        data = json.dumps(plain(tour_sheet.as_data(whole)), indent=2, ensure_ascii=False)
        for name, content in {
            "index.html": tour_sheet.page(whole, imperial=asked.imperial),
            "tour.csv": tour_sheet.as_csv(whole),
            "tour.json": f"{data}\n",
        }.items():
            _replace(into / name, content)
    kept = sum(isinstance(result, Done) and result.kept for result in results)
    print(data if asked.json else tour_sheet.text(whole, kept, imperial=asked.imperial))
    if not asked.json:
        print(f"\nwritten to {Path(asked.out) / into.name}/: index.html, tour.csv, tour.json, a folder for each stop")
    return _status(whole)


def _status(whole: Whole) -> int:
    if whole.faults:
        return SOME_FAILED
    return EXCEEDS if whole.has(findings.EXCEEDS) else CANNOT_JUDGE if whole.has(findings.CANNOT) else DONE


def _task(tour: Tour, number: int, stop: Stop, into: Path, asked: argparse.Namespace, options: Options) -> Task:
    """A stop with its paths made whole, as another process needs them."""

    def path(name: str) -> str:
        return os.path.abspath(tour.beside(name))

    named = stop.name or stop.show or stop.venue or ""
    return Task(
        label=f"{number} {named}",
        into=str(into),
        venue=path(stop.venue) if stop.venue else None,
        hangs=tuple(path(name) for name in stop.hangs),
        show=path(stop.show) if stop.show else None,
        design=stop.design,
        equipment=tuple(os.path.abspath(one) for one in asked.equipment),
        packaged=not asked.only_equipment,
        policy=os.path.abspath(asked.policy) if asked.policy and Path(asked.policy).is_file() else asked.policy,
        options=options,
        imperial=asked.imperial,
    )


def _work(tasks: list[Task], pool: Pool) -> list[Done | AtFault | Failed]:
    """Work out all stops with a bar over them; faults are told as they come."""
    with tqdm(total=len(tasks), unit=" venues", disable=None, leave=False) as bar:

        def tell(task: Task, result: Done | AtFault | Failed) -> None:
            lines = result.faults if isinstance(result, AtFault) else [result.why] if isinstance(result, Failed) else []
            for line in lines:
                bar.write(f"{task.label}: {line}", file=sys.stderr)
            bar.update()

        return run_all(work_out, tasks, pool, tell)


def _processors() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextlib.contextmanager
def _alone(into: Path) -> Iterator[None]:
    """Hold a tour's folder for one run at a time; what a run that was killed left unfinished goes.

    Raises
    ------
    FileFaults
        If it cannot be written, or another run holds it.
    """
    unfinished = into / UNFINISHED
    try:
        unfinished.mkdir(parents=True, exist_ok=True)
        lock = open(into / ".running", "w", encoding="utf-8")  # noqa: SIM115  it is held below
    except OSError as error:
        raise _unwritable(into, error) from None
    with lock:
        if fcntl is not None:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                todo = "wait until it has ended, or name another folder with --out"
                raise FileFaults([Fault(str(into), "", "is being written by another run of this tour", todo)]) from None
            for left in unfinished.iterdir():
                shutil.rmtree(left, ignore_errors=True)
        yield
        shutil.rmtree(unfinished, ignore_errors=True)


def _unwritable(path: Path, error: OSError) -> FileFaults:
    wrong = f"cannot be written ({error.strerror or error})"
    return FileFaults([Fault(str(path), "", wrong, "make room, or name another folder with --out")])


def _replace(path: Path, content: str) -> None:
    """Write a text file whole or not at all.

    Raises
    ------
    FileFaults
        If it cannot be written.
    """
    staging = path.parent / UNFINISHED / uuid.uuid4().hex
    try:
        check_command.write_text(staging, content)
        os.replace(staging, path)
    except OSError as error:
        raise _unwritable(path, error) from None
