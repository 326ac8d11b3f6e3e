"""What the machine can do at most: multiply–adds, loads and stores; for `bench_field.py`."""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable

import numba
import numpy as np
from numba import njit, prange


@njit(parallel=True, fastmath={"contract"})
def fused(blocks, rounds, result):
    """Polynomials of degree 16 in numbers that stay in the nearest cache: 16 multiply–adds each."""
    for block in prange(blocks):
        x = np.linspace(0.1, 0.9, 1024)
        y = np.zeros(1024)
        for _ in range(rounds):
            for k in range(1024):
                t = x[k]
                s = 0.5 + y[k] * 1e-9
                s = 0.1 + t * (0.2 + t * (0.3 + t * (0.4 + t * (0.5 + t * s))))
                s = 0.1 + t * (0.2 + t * (0.3 + t * (0.4 + t * (0.5 + t * s))))
                y[k] = 0.1 + t * (0.2 + t * (0.3 + t * (0.4 + t * (0.5 + t * s))))
        result[block] = y.sum()


@njit(parallel=True, fastmath={"contract"})
def copied(blocks, rounds, result):
    """To and fro between two rows that stay in the nearest cache: two loads and two stores each."""
    for block in prange(blocks):
        x, y = np.ones(1024), np.zeros(1024)
        for _ in range(rounds):
            for k in range(1024):
                y[k] = x[k] + 1.0
            for k in range(1024):
                x[k] = y[k] - 1.0
        result[block] = y.sum()


def timed(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def peaks(runs: int) -> dict[str, float]:
    """Best of some runs: multiply–adds in 1/s, doubles moved in 1/s."""
    size, rounds, blocks = 1200, 4000, 4 * numba.get_num_threads()
    rng, result = np.random.default_rng(1), np.zeros(blocks)
    a, b = rng.random((size, size)), rng.random((size, size))
    big, other = np.ones(20_000_000), np.ones(20_000_000)
    fused(blocks, 1, result)
    copied(blocks, 1, result)
    best = {
        "multiply–adds, matrix product": lambda: size**3 / timed(lambda: a @ b),
        "multiply–adds, fused loop": lambda: 16 * 1024 * rounds * blocks / timed(lambda: fused(blocks, rounds, result)),
        "loads and stores, nearest cache": lambda: (
            4 * 1024 * rounds * blocks / timed(lambda: copied(blocks, rounds, result))
        ),
        "loads and stores, main memory": lambda: 2 * len(big) / timed(lambda: np.copyto(other, big)),
    }
    return {what: max(measure() for _ in range(max(runs, 3))) for what, measure in best.items()}


def most_held_mb() -> float:
    """The most that the process held, by its operating system [MB]; NaN where that is not told."""
    try:
        import resource
    except ImportError:
        return float("nan")
    unit = 1 if platform.system() == "Darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def load() -> str:
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
