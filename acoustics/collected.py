"""All results below a folder as one Dataset: positions of all venues behind each other."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from acoustics import evenness, results
from acoustics.names import NAMES

FILE = "field.nc"
LISTED = "tour.json"
_DIMS = {"band", "octave", "position"}
_OF_BANDS = {"band", "octave", "frequency"}  # the same in all results of one set of bands


@dataclass(frozen=True)
class _Run:
    """A result, the folder that it lies in from where the search began, and its file."""

    folder: str
    file: Path
    result: xr.Dataset


def collect(folder: str | os.PathLike[str]) -> xr.Dataset:
    """All results (`field.nc`) in a folder and those inside it; folders that begin with a dot are left out.

    Where the folder has a `tour.json`, the runs that it names are taken and no others. Of folders with one hang in one
    venue and one revision, which hold the same numbers, the first.

    Returns
    -------
    xarray.Dataset
        Levels and places of all positions along `position`, with `venue`, `hang` and `run` of each; along `runs` what
        each run was, by the names of `acoustics.names.RUNS`. Variables of single sources or parts are left out,
        those that not all results have, and those of the bands of one result.

    Raises
    ------
    ValueError
        If there is no result, one is none of this project's or has other bands than the first, or `tour.json` is at
        fault; the file is named.
    """
    top = Path(folder)
    runs = _runs(top)
    if not runs:
        raise ValueError(f"{top}: holds no {FILE}; name the folder that results were written to")
    first = runs[0]
    for run in runs:
        if "band" not in run.result.coords or not np.array_equal(run.result["band"], first.result["band"]):
            raise ValueError(f"{run.file}: has other bands than {first.file}; move it elsewhere")
    common = set.intersection(*(_of_positions(run.result) for run in runs))
    parts = [_part(run, index, common) for index, run in enumerate(runs)]
    joined = xr.concat(parts, dim="position", data_vars="minimal", coords="minimal", compat="override", join="exact")
    joined.attrs = {"format": results.FORMAT}
    return joined.assign({name: ("runs", values, _said(name)) for name, values in _figures(runs).items()})


def _runs(top: Path) -> list[_Run]:
    """Those that are listed, or else all, of equal ones the first."""
    listed = _listed(top / LISTED)
    found: dict[tuple[str, ...], _Run] = {}
    for folder in _folders(top) if listed is None else listed:
        file = top / folder / FILE
        try:
            result = results.load(file)
        except OSError as error:
            raise ValueError(f"{file}: cannot be read as a result ({error})") from None
        name = tuple(str(result.attrs[name]) for name in ("hang", "venue", "revision"))
        found.setdefault(name, _Run(folder, file, result))
    return list(found.values())


def _folders(top: Path) -> Iterator[str]:
    """Folders that hold a result, from `top`."""
    for here, folders, files in os.walk(top):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if FILE in files:
            yield Path(here).relative_to(top).as_posix()


def _listed(path: Path) -> list[str] | None:
    """Folders that a tour's file names, from its own; None where there is none."""
    if not path.exists():
        return None
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return [Path(run["folder"]).as_posix() for run in data["runs"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        wrong = f"is no list of current folders ({type(error).__name__}: {error})"
        raise ValueError(f'{path}: {wrong}; write {{"runs": [{{"folder": "NAME"}}]}}, or remove it') from None


def _of_positions(result: xr.Dataset) -> set[str]:
    """Names of what has a value at every position, and of the bands; how each was summed is its own."""
    dims = {str(name): set(map(str, array.dims)) for name, array in result.variables.items()}
    return {name for name, over in dims.items() if over <= _DIMS and ("position" in over or name in _OF_BANDS)}


def _part(run: _Run, index: int, common: set[str]) -> xr.Dataset:
    part = run.result.drop_vars([name for name in run.result.variables if name not in common])
    count = part.sizes["position"]
    texts = {name: np.full(count, str(run.result.attrs[name])) for name in ("venue", "hang")}
    coordinates = {**texts, "run": np.full(count, index)}
    return part.assign_coords({name: ("position", values, _said(name)) for name, values in coordinates.items()})


def _said(name: str) -> dict[str, str]:
    units, text = NAMES[name]
    return {"long_name": text, **({"units": units} if units else {})}


def _figures(runs: Sequence[_Run]) -> dict[str, Any]:
    """What each run was, and how loud and even its served seats are."""
    attributes = [run.result.attrs for run in runs]
    served = [served_evenness(run.result) for run in runs]
    texts = ("venue", "hang", "revision", "design")
    numbers = {"mass": "mass_kg", "tilt": "tilt_deg", "trim": "trim_m"}
    return {
        **{f"run_{name}": [str(a[name]) for a in attributes] for name in texts},
        "run_folder": [run.folder for run in runs],
        "run_mean": [found.mean for found in served],
        "run_spread": [found.p95 - found.p5 for found in served],
        "run_fall": [found.fall_per_doubling for found in served],
        **{f"run_{name}": [float(a.get(key, np.nan)) for a in attributes] for name, key in numbers.items()},
    }


def served_evenness(result: xr.Dataset) -> evenness.Evenness:
    """Figures of the A-weighted level over the seats that a hang serves, without those that it does not reach
    in a straight line."""
    served = result["surface"].values[result["surface_served"].values.astype(bool)]
    counted = np.isin(result["area"].values, served) & ~result["on_section"].values.astype(bool)
    counted &= ~result["hidden"].values.all(axis=0)
    weight = np.where(counted, result["seat_weight"].values, 0.0)
    return evenness.measure(result["level_a"].values, result["distance"].values, weight)
