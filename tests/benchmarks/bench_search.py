"""The splay search beside general optimisers over the same objective, run by hand; nothing is asserted.

    python tests/benchmarks/bench_search.py [--quick] [--venue NAME]...

Each sample's main hang, without limits of the rigging, from three seeds: the search with its usual number of
evaluations, scipy's `differential_evolution` and `dual_annealing` with ten times as many or more. Then how fast the
objective of columns is against plain whole sums of the same places, in the same run.
"""

from __future__ import annotations

import argparse
import time
from functools import partial
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution, dual_annealing

from acoustics import field
from acoustics.search.columns import MOST_PARTS
from acoustics.search.discrete import Search, default_limits
from acoustics.search.problem import Problem, pose
from acoustics.search.reference import relaxed
from acoustics.search.rigged import at_column
from acoustics.search.settings import wanted_of
from acoustics.sources import sources_of
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue
from rigging.geometry import lay_out
from rigging.hang import load_hang

SAMPLES = Path(__file__).resolve().parents[2] / "sample_venues"
VENUES = ("theatre", "arena", "meadow")


def load(venue: str) -> Problem:
    """The search of a sample's main hang."""
    catalogue = load_catalogue()
    hang = load_hang(SAMPLES / venue / "left.toml", catalogue)
    return pose(hang, load_venue(SAMPLES / venue / "venue.toml")[0], catalogue, wanted_of(hang))


def searched(problem: Problem, seed: int) -> tuple[float, float, float]:
    """J, evaluations and seconds of the search."""
    began, work = time.perf_counter(), problem.columns.work
    relax = partial(relaxed, problem.columns)
    search = Search(problem.columns, lambda choice: 0.0, default_limits(problem.free), seed, relax=relax)
    search.run(problem.starts)
    return search.best_key[1], problem.columns.work - work, time.perf_counter() - began


def general(problem: Problem, seed: int, most: int, way: str) -> tuple[float, float, float]:
    """J, evaluations and seconds of a general optimiser over the indices of all choices."""
    columns, space = problem.columns, problem.columns.space
    counts = space.counts
    free = np.flatnonzero(counts > 1)

    def judge(values: np.ndarray) -> np.ndarray:
        choices = np.zeros((values.shape[1], len(counts)), dtype=np.intp)
        choices[:, free] = np.clip(np.floor(values.T), 0, counts[free] - 1)
        return columns.scores(space.values(choices)).j

    bounds = [(0.0, count - 1e-9) for count in counts[free]]
    began = time.perf_counter()
    if way == "differential_evolution":
        each = 15 * len(free)
        found = differential_evolution(
            judge, bounds, rng=seed, maxiter=max(1, most // each - 1), polish=False, vectorized=True,
            updating="deferred", tol=0.0,
        )  # fmt: skip
        count = (found.nit + 1) * each
    else:
        one = lambda value: float(judge(value[:, np.newaxis])[0])  # noqa: E731
        found = dual_annealing(one, bounds, rng=seed, maxfun=most, no_local_search=True)
        count = found.nfev
    return float(found.fun), float(count), time.perf_counter() - began


def rates(problem: Problem) -> tuple[float, float, float]:
    """Columns per second: by one step from a settled one, and as whole plain sums with and without their tables."""
    columns, space = problem.columns, problem.columns.space
    start = space.nearest(columns.file_column)
    columns.settle(space.values(start))
    trials = np.repeat(start[np.newaxis], 2, axis=0)
    random, times = np.random.default_rng(0), 300
    began = time.perf_counter()
    for _ in range(times):
        part = random.choice(np.flatnonzero(space.counts > 1))
        moved = trials.copy()
        moved[:, part] = np.clip(moved[:, part] + (-1, 1), 0, space.counts[part] - 1)
        columns.scores(space.values(moved))
    fast = 2 * times / (time.perf_counter() - began)
    of = columns.of
    hang = at_column(of.hang, space.values(start))
    sources = sources_of(hang, lay_out(hang), load_catalogue(), of.medium.c)
    parts = np.minimum(field.sub_bands(sources, of.position, of.medium), MOST_PARTS)
    parts[: columns.goal.band.min()], parts[columns.goal.band.max() + 1 :] = 0, 0
    began = time.perf_counter()
    for _ in range(5):
        field.band_level(sources, of.position, of.medium, parts=parts)
    whole = 5 / (time.perf_counter() - began)
    # The same with the tables of directivity kept: as when every column were summed anew.
    columns.settle(space.values(start))
    far = space.values(np.repeat(start[np.newaxis], 2, axis=0))
    far[:, 1] += 0.01
    began = time.perf_counter()
    for _ in range(100):
        columns.scores(far)
    return fast, whole, 200 / (time.perf_counter() - began)


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--quick", action="store_true", help="one seed, few evaluations: only to see that it runs")
    asked.add_argument("--venue", action="append", choices=VENUES, help="only this one")
    given = asked.parse_args()
    seeds, most = (1, 600) if given.quick else (3, 20_000)
    ways = ("differential_evolution", "dual_annealing")
    print("venue     way                      seed       J   evaluations  seconds")
    for venue in given.venue or VENUES:
        problem = load(venue)
        for seed in range(seeds):
            rows = [("search", searched(problem, seed)), *((way, general(problem, seed, most, way)) for way in ways)]
            for way, (j, count, seconds) in rows:
                print(f"{venue:9} {way:24} {seed:4} {j:8.4f} {count:12.0f} {seconds:8.1f}", flush=True)
        fast, whole, anew = rates(problem)
        print(
            f"{venue:9} columns per second: {fast:.0f} by steps, {anew:.0f} anew, {whole:.1f} by whole sums with tables"
        )


if __name__ == "__main__":
    main()
