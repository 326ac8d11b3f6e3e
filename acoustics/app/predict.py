"""`evenhang predict`: read, predict, print the summary, write data and pictures."""

from __future__ import annotations

import argparse
import json
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from acoustics.app import folder, whatif
from acoustics.app.sheet import plain
from acoustics.app.status import DONE, refusing
from acoustics.app.summary import summarise, text
from acoustics.prediction import Options, predict
from acoustics.venue import load_venue
from rigging.faults import Fault, FileFaults
from rigging.hang import file_faults, load_hang, muted

if TYPE_CHECKING:
    import xarray as xr


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    result = _predict(asked)
    summary = summarise(result, asked.average_below or 0.0)
    writers = result_files(result, None if asked.map == "A" else asked.map, imperial=asked.imperial)
    target = folder.write(Path(asked.out), summary["hang"], summary["revision"], writers)
    if asked.json:
        print(json.dumps(plain({**summary, "folder": str(target)}), indent=2, ensure_ascii=False))
    else:
        print(text(summary, imperial=asked.imperial))
        print(f"\nwritten to {target}/: {', '.join(sorted(writers))}")
    return DONE


def _predict(asked: argparse.Namespace) -> xr.Dataset:
    faults = _bands_only(asked)
    catalogue = hang = venue = None
    try:
        folder.prepare(Path(asked.out))
    except FileFaults as error:
        faults.extend(error.faults)
    try:
        catalogue = folder.catalogue_of(asked)
        hang = muted(load_hang(asked.hang, catalogue), whatif.rows_of(asked.mute))
    except FileFaults as error:
        faults.extend(error.faults)
        if catalogue is None:
            faults.extend(file_faults(asked.hang))
    try:
        venue = load_venue(asked.venue) if asked.venue else None
        if venue is None:
            faults.append(Fault("VENUE", "", "is missing", "name a venue file after the hang, or a show file alone"))
    except FileFaults as error:
        faults.extend(error.faults)
    if asked.correlation is not None:
        faults.append(Fault("--correlation", "", "is for the channels of a show, and this is a hang", "leave it out"))
    if faults or catalogue is None or hang is None or venue is None:
        raise FileFaults(faults)
    threading.Thread(target=_import_meanwhile, daemon=True).start()
    with folder.progress("positions") as tell:
        return predict(hang, *venue, catalogue, options_of(asked), tell, lambda text: print(text, file=sys.stderr))


def _import_meanwhile() -> None:
    """Import what writes and draws while the sum runs, which leaves the interpreter free."""
    from acoustics import plots, results  # noqa: F401


def options_of(asked: argparse.Namespace) -> Options:
    """What was asked for on the command line."""
    return Options(asked.grid, asked.lines, asked.points, asked.programme or "pink", asked.drive, asked.over_edges)


def _bands_only(asked: argparse.Namespace) -> list[Fault]:
    """Options that mean nothing for single frequencies."""
    if asked.lines is None:
        return []
    given = [
        (asked.map is not None, "--map", "shows levels of bands"),
        (asked.programme is not None, "--programme", "is a spectrum of bands"),
        (asked.points == "auto", "--points auto", "watches levels of bands"),
        (asked.average_below is not None, "--average-below", "is for the A-weighted level of all bands"),
    ]
    todo = {"--points auto": "give --points a number, or leave out --lines"}
    return [
        Fault(name, "", f"{what}, and --lines asks for single frequencies", todo.get(name, "leave out one of the two"))
        for is_given, name, what in given
        if is_given
    ]


def result_files(
    result: xr.Dataset, map_octave: float | None, *, imperial: bool = False
) -> dict[str, Callable[[Path], None]]:
    """Writers of a result's data and pictures, by file name."""
    from acoustics import plots, results
    from acoustics.app.pictures import svg_writer

    writers: dict[str, Callable[[Path], None]] = {
        "field.nc": lambda path: results.save(result, path),
        "section.svg": svg_writer(lambda: plots.section(result).figure, imperial=imperial),
    }
    if "line" not in result.dims:
        plan = "plan.svg" if map_octave is None else f"plan-{map_octave:g}.svg"
        writers["distance.svg"] = svg_writer(lambda: plots.distance_figure(result), imperial=imperial)
        writers[plan] = svg_writer(lambda: plots.plan_figure(result, map_octave), imperial=imperial)
    return writers
