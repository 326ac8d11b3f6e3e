"""`evenhang predict SHOW`: the whole show at every seat, who is loudest where, delays to set."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import tomlkit

from acoustics.app import folder, whatif
from acoustics.app.sheet import plain
from acoustics.app.show_sheet import summarise_show, text
from acoustics.app.status import DONE, refusing
from acoustics.show import Show, load_show
from acoustics.show_prediction import Proposal, ShowOptions, predict_show, proposals
from rigging.faults import Fault, FileFaults

if TYPE_CHECKING:
    import xarray as xr


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    _only_of_hangs(asked)
    catalogue = folder.catalogue_of(asked)
    show = load_show(asked.hang, catalogue)
    show = show.muted(whatif.rows_of_parts(asked.mute, [part.name for part in show.parts]))
    options = ShowOptions(asked.grid, asked.programme or "pink", asked.drive, asked.over_edges, asked.correlation)
    with folder.progress("positions") as tell:
        result, parts = predict_show(show, catalogue, options, tell)
    found = proposals(show, result, parts)
    summary = summarise_show(show, result, found, asked.average_below or 0.0)
    writers = _files(show, result, found, imperial=asked.imperial)
    target = folder.write(Path(asked.out), show.name, result.attrs["revision"], writers)
    if asked.json:
        print(json.dumps(plain({**summary, "folder": str(target)}), indent=2, ensure_ascii=False))
    else:
        print(text(summary, imperial=asked.imperial))
        print(f"\nwritten to {target}/: {', '.join(sorted(writers))}")
    return DONE


def _only_of_hangs(asked: argparse.Namespace) -> None:
    """Refuse options that hold for a single hang."""
    given = [
        (asked.venue is not None, "VENUE", "a show names its venue itself"),
        (asked.lines is not None, "--lines", "single frequencies are for one hang"),
        (asked.points != 1, "--points", "several points for each enclosure are for one hang"),
        (asked.map is not None, "--map", "its plan shows the A-weighted level"),
    ]
    faults = [
        Fault(name, "", f"has no meaning for a show: {why}", "leave it out")
        for is_given, name, why in given
        if is_given
    ]
    if faults:
        raise FileFaults(faults)


def _files(
    show: Show, result: xr.Dataset, found: list[Proposal], *, imperial: bool
) -> dict[str, Callable[[Path], None]]:
    from acoustics import results, show_plots
    from acoustics.app.pictures import svg_writer

    files: dict[str, Callable[[Path], None]] = {
        "field.nc": lambda path: results.save(result, path),
        "plan.svg": svg_writer(lambda: show_plots.levels_figure(result), imperial=imperial),
        "loudest.svg": svg_writer(lambda: show_plots.loudest_figure(result), imperial=imperial),
    }
    if any(proposal.delay_s >= 0 for proposal in found):
        files["aligned.toml"] = partial(_write_aligned, show=show, found=found)
    pairs = [proposal for proposal in found if proposal.overlap_m2 > 0]
    if pairs:
        files["apart.svg"] = svg_writer(lambda: show_plots.apart_figure(result, pairs), imperial=imperial)
    return files


def _write_aligned(path: Path, show: Show, found: list[Proposal]) -> None:
    path.write_text(aligned(show, found), encoding="utf-8")


def aligned(show: Show, found: list[Proposal]) -> str:
    """The text of the show's file with the proposed delays and polarities; comments stay, files are named in full."""
    file = tomlkit.parse(show.document.text)
    home = show.document.path.parent.resolve()
    names = [part.name for part in show.parts]
    entries = [*file.get("hang", []), *file.get("placed", [])]
    file["venue"] = str(home / str(file["venue"]))
    for entry in file.get("hang", []):
        entry["file"] = str(home / str(entry["file"]))
    for proposal in found:
        if not proposal.delay_s >= 0:
            continue
        entry = entries[names.index(proposal.of)]
        entry["delay_ms"] = round(proposal.delay_s * 1000.0, 2)
        if proposal.inverted:
            entry["inverted"] = not entry.get("inverted", False)
    return tomlkit.dumps(file)
