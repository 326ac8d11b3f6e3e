"""`evenhang design`: read, search, judge what was found, print before and after, write the hang and its prediction."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import json
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from tqdm import tqdm

from acoustics.app import folder
from acoustics.app.check_sheet import text as check_text
from acoustics.app.design_input import Ask, Read, ask_of
from acoustics.app.design_input import read as read_all
from acoustics.app.design_sheet import Before, Found, as_data, none_as_data, text
from acoustics.app.predict import result_files
from acoustics.app.sheet import plain
from acoustics.app.status import EXCEEDS, INTERRUPTED, of_findings, refusing
from acoustics.app.summary import summarise
from acoustics.prediction import Options, predict
from acoustics.search.discrete import Tell
from acoustics.search.objective import score
from acoustics.search.problem import Problem, pose, target_of
from acoustics.search.prove import MOST_CHOICES, prove
from acoustics.search.reference import reference
from acoustics.search.rigged import Rigging, in_front_first
from acoustics.search.shading import correct, shade, with_filters, with_gains
from acoustics.search.solve import Effort, Fitted, solve
from acoustics.search.tolerance import in_airs, tolerance
from rigging.check import check, judge
from rigging.column import NUMBER_BELOW
from rigging.faults import Fault, FileFaults
from rigging.findings import CANNOT, Finding
from rigging.findings import EXCEEDS as EXCEEDED
from rigging.hang import Hang
from rigging.rewrite import rewritten

if TYPE_CHECKING:
    import xarray as xr


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    if asked.save is not None:
        folder.prepare_new(Path(asked.save), "--save")
    read = read_all(asked)
    found, tried = search(read, ask_of(asked))
    before = _judged(read.hang, found.problem, read, asked.grid)
    if found.answer.best is None:
        _print_none(found, tried, before, _in_the_way(found, read), asked)
        return INTERRUPTED if found.answer.interrupted else EXCEEDS
    return _deliver(found, tried, before, read, asked)


def _in_the_way(found: Found, read: Read) -> list[Finding]:
    """What the nearest hang exceeds."""
    report = check(found.answer.nearest.hang, read.catalogue, read.policy, read.venue, read.others)
    return [finding for finding in report.findings if finding.status == EXCEEDED]


def _print_none(
    found: Found, tried: list[Found], before: Before, over: list[Finding], asked: argparse.Namespace
) -> None:
    """That there is no answer, and what stands in its way."""
    if asked.json:
        print(json.dumps(plain(none_as_data(found, before, over)), indent=2, ensure_ascii=False))
    else:
        print(text(found, tried, before, None, over, imperial=asked.imperial))


def _deliver(found: Found, tried: list[Found], before: Before, read: Read, asked: argparse.Namespace) -> int:
    """Write what was found, print it, and tell its status."""
    designed = rewritten(found.text, found.answer.nearest.hang)
    after = _judged(read.loaded(designed), found.problem, read, asked.grid)
    over = [finding for finding in after.report.findings if finding.status == EXCEEDED]
    if over:  # judged once more as it would be read from its file: what exceeds is no answer
        _print_none(found, tried, before, over, asked)
        return EXCEEDS
    files: dict[str, Callable[[Path], None]] = {
        "designed.toml": partial(_write_text, content=designed),
        "check.txt": partial(_write_text, content=f"{check_text(after.report, imperial=asked.imperial)}\n"),
        **result_files(after.result, None, imperial=asked.imperial),
    }
    for index, runner in enumerate(found.answer.runners, start=1):
        files[f"runner-{index}.toml"] = partial(_write_text, content=rewritten(found.text, runner.hang))
    target = folder.write(Path(asked.out), read.hang.name, after.summary["revision"], files)
    if asked.save is not None:
        folder.write_new(Path(asked.save), "--save", designed)
    if asked.json:
        data = as_data(found, tried, before, after)
        print(json.dumps(plain({**data, "folder": str(target)}), indent=2, ensure_ascii=False))
    else:
        print(text(found, tried, before, after, imperial=asked.imperial))
        saved = "" if asked.save is None else f"; the hang to {asked.save}"
        print(f"\nwritten to {target}/: {', '.join(sorted(files))}{saved}")
    if found.answer.interrupted:
        return INTERRUPTED
    return of_findings(after.report.findings)  # nothing exceeds here


def _write_text(path: Path, content: str) -> None:
    path.write_text(content, encoding="utf-8", newline="")


def search(read: Read, ask: Ask) -> tuple[Found, list[Found]]:
    """What was found, the best of the numbers of enclosures to try, and what was found with each of them.

    Raises
    ------
    FileFaults
        If an enclosure's acoustic part is at fault, or there are too many choices to go through all.
    """
    tried = [_search(each, read, ask) for each in read.columns()]
    return min(tried, key=lambda one: (one.answer.nearest.excess, one.answer.nearest.j)), tried


def _search(hang_text: str, read: Read, ask: Ask) -> Found:
    hang = read.loaded(hang_text)
    problem = pose(hang, read.venue, read.catalogue, read.wanted)
    if ask.prove and problem.columns.space.size > MOST_CHOICES:
        wrong = f"has {problem.columns.space.size:,} choices to go through, {MOST_CHOICES:,} at most can be"
        raise FileFaults(
            [Fault(read.hang.document.file, "search", wrong, "hold joints with fixed = true, or narrow the tilt")]
        )
    points = read.wanted.points or ()
    rigging = Rigging(read.catalogue, read.policy, read.venue, read.others, points, in_front_first(hang))
    with _bar() as tell:
        answer = solve(problem, rigging, Effort(ask.seed, ask.seconds, robust=ask.robust), tell)
    found = Found(hang_text, problem, answer)
    if answer.best is None or answer.interrupted:
        return found
    column = problem.columns.space.values(answer.best.choice)
    law = problem.columns.space.values(problem.starts[0])
    shares = tuple(_share(one.hang, read) for one in (answer.best, *answer.runners))
    least = min(reference(problem.columns, start).j for start in (law, column))
    off = tolerance(in_airs(problem.columns, read.venue.air), column, seed=ask.seed)
    found = _driven(dataclasses.replace(found, reference_j=least, tolerance=off, shares=shares), column, read, ask)
    if not ask.prove:
        return found
    with _bar() as tell:
        proof = prove(problem.columns, Fitted(problem, rigging).excess, tell)
    return dataclasses.replace(found, proof=proof)


def _share(hang: Hang, read: Read) -> float:
    """The greatest share of a limit that a hang uses, other than of numbers of enclosures, which all have the same."""
    found = judge(hang, read.catalogue, read.policy, read.venue, read.others).findings
    counted = [one.used for one in found if one.what != NUMBER_BELOW and one.status != CANNOT]
    return max((used for used in counted if used is not None), default=0.0)


def _driven(found: Found, column: npt.NDArray[np.float64], read: Read, ask: Ask) -> Found:
    """What was found with gains of its groups and a shared correction, where these are asked for."""
    columns, answer = found.problem.columns, found.answer
    assert answer.best is not None
    hang, shading, correction = answer.best.hang, None, None
    if ask.shade:
        shading = shade(columns, column, *read.wanted.gain_db)
        hang = with_gains(hang, shading.gains_db)
    if ask.correct:
        correction = correct(columns, column, target_of(read.wanted, columns.goal))
        hang = with_filters(hang, correction.filters)
    best = dataclasses.replace(answer.best, hang=hang)
    answer = dataclasses.replace(answer, best=best, nearest=best)
    return dataclasses.replace(found, answer=answer, shading=shading, correction=correction)


def _judged(hang: Hang, problem: Problem, read: Read, grid_m: float) -> Before:
    """A hang predicted everywhere and checked, with J over all seats."""
    with folder.progress("positions") as tell:
        result = predict(hang, read.venue, read.document, read.catalogue, Options(grid_m=grid_m), tell)
    report = check(hang, read.catalogue, read.policy, read.venue, read.others, read.document.data)
    return Before(result, summarise(result), report, _everywhere(result, problem))


def _everywhere(result: xr.Dataset, problem: Problem) -> float:
    place = np.stack([result[axis].values for axis in "xyz"], axis=-1)
    seats = problem.everywhere(place, result["area"].values, result["seat_weight"].values)
    level = result["level"].values[problem.columns.goal.band]
    return float(score(level[np.newaxis], seats, problem.columns.goal).j[0])


@contextlib.contextmanager
def _bar() -> Iterator[Tell]:
    """A bar on standard error for a search that takes longer than a second: evaluations, and the best J so far."""
    bar = tqdm(unit=" evaluations", delay=1.0, disable=None, leave=False)

    def tell(done: float, total: float, best: float) -> None:
        bar.total = None if np.isinf(total) else round(total)
        bar.set_postfix_str(f"J {best:.3f} dB" if np.isfinite(best) else "", refresh=False)
        bar.update(round(done) - bar.n)

    with bar:
        yield tell
