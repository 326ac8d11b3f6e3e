"""Work shared out among processes, where a process that dies costs what it was working on and nothing else."""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, TypeVar

from rigging.faults import Fault, FileFaults

T = TypeVar("T")
R = TypeVar("R")

_KILLED_ON_CLUSTER = "KilledWorker"  # of distributed, which is not imported where it is not used
DIED = "its process was ended from outside, or crashed: too little memory, or a fault in a library"
_WORKERS_S = 20.0
_ONE_THREAD = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

# Opens what runs the work, for so many pieces at a time, or for as many as it can; gives it and their number.
Pool = Callable[[int | None], AbstractContextManager[tuple[Executor, int]]]


@dataclass(frozen=True)
class Failed:
    """Why a piece of work gave no result."""

    why: str


def local(processes: int) -> Pool:
    """Pools of processes on this machine, each with one thread for its sums, that end when this process does."""

    @contextlib.contextmanager
    def pool(most: int | None) -> Iterator[tuple[Executor, int]]:
        width = processes if most is None else min(most, processes)
        with _environment(dict.fromkeys(_ONE_THREAD, "1")):
            executor = ProcessPoolExecutor(width, multiprocessing.get_context("spawn"), _end_with_parent)
            try:
                yield executor, width
            except BaseException:
                _kill(executor)
                raise
            finally:
                executor.shutdown(wait=False, cancel_futures=True)

    return pool


@contextlib.contextmanager
def _environment(values: Mapping[str, str]) -> Iterator[None]:
    """Some variables of the environment for a while: processes started then take them over."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


def _end_with_parent() -> None:
    """Watch the parent: a worker whose parent was killed would wait for work for ever."""

    def watch() -> None:
        parent = multiprocessing.parent_process()
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _kill(pool: ProcessPoolExecutor) -> None:
    for process in list((pool._processes or {}).values()):  # there is no public way before Python 3.14
        process.kill()


def cluster(address: str) -> Pool:
    """Pools of the Dask cluster whose scheduler has this address.

    Raises
    ------
    FileFaults
        If the extra is not installed, or nothing answers there.
    """
    try:
        client_of: Any = importlib.import_module("distributed").Client
    except ImportError:
        todo = "install it with pip install 'evenhang[cluster]'"
        raise FileFaults([Fault("--scheduler", "", "needs the extra cluster, which is not installed", todo)]) from None

    @contextlib.contextmanager
    def pool(most: int | None) -> Iterator[tuple[Executor, int]]:
        try:
            client = client_of(address, timeout="10s")
        except (OSError, ValueError) as error:
            todo = "start dask scheduler, and give the address that it prints"
            raise FileFaults([Fault("--scheduler", "", f"does not answer ({error})", todo, address)]) from None
        with client:
            try:
                client.wait_for_workers(1, timeout=_WORKERS_S)  # those that died may be on their way again
            except TimeoutError:
                todo = "start dask worker ADDRESS, where the tour's files are"
                raise FileFaults([Fault("--scheduler", "", "has no workers", todo, address)]) from None
            threads = sum(client.nthreads().values())
            # No more in flight than run at once: the death of a worker is then put down to what ran on it.
            yield client.get_executor(pure=False), threads if most is None else most

    return pool


def run_all(
    work: Callable[[T], R], jobs: Sequence[T], pool: Pool, tell: Callable[[T, R | Failed], None]
) -> list[R | Failed]:
    """What `work` gives for each job, in their order; told of each as it ends.

    A pool that one job breaks may lose all that is in flight: each of these is tried once more, alone.
    """
    found: dict[int, R | Failed] = {}
    waiting = deque(enumerate(jobs))

    def end(index: int, result: R | Failed) -> None:
        found[index] = result
        tell(jobs[index], result)

    while waiting:
        with pool(None) as (executor, most):
            suspects = _until_broken(work, waiting, executor, most, end)
        for index in suspects:
            with pool(1) as (executor, _):
                if _until_broken(work, deque([(index, jobs[index])]), executor, 1, end):
                    end(index, Failed(DIED))
    return [found[index] for index in range(len(jobs))]


def _until_broken(
    work: Callable[[T], R],
    waiting: deque[tuple[int, T]],
    executor: Executor,
    most: int,
    end: Callable[[int, R | Failed], None],
) -> list[int]:
    """Work until all is done or something dies, with so many in flight at most; those that were lost with it."""
    flying: dict[Future[R], int] = {}
    lost: list[int] = []
    while (waiting and not lost) or flying:
        while waiting and not lost and len(flying) < most:
            index, job = waiting.popleft()
            try:
                flying[executor.submit(work, job)] = index
            except BrokenProcessPool:
                lost.append(index)
        for future in wait(flying, return_when=FIRST_COMPLETED).done:
            index = flying.pop(future)
            try:
                result: R | Failed = future.result()
            except Exception as error:  # whatever goes wrong there costs this piece of work alone
                if isinstance(error, BrokenProcessPool) or type(error).__name__ == _KILLED_ON_CLUSTER:
                    lost.append(index)
                    continue
                result = Failed(
                    f"an error of the program, to be reported: {type(error).__name__}: {error}".splitlines()[0]
                )
            end(index, result)
    return lost
