"""`acoustics.open_tour`: results of many folders as one Dataset."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import acoustics
from acoustics.app import cli


@pytest.fixture(scope="module")
def kept(sample_venues, tmp_path_factory) -> Path:
    """Reports of two hangs and a show, and of one hang at two drives: two revisions."""
    out = tmp_path_factory.mktemp("tour")
    theatre, arena = sample_venues / "theatre", sample_venues / "arena"
    runs = [
        [theatre / "left.toml", theatre / "venue.toml"],
        [theatre / "left.toml", theatre / "venue.toml", "--drive", "-3"],
        [arena / "left.toml", arena / "venue.toml"],
        [sample_venues / "meadow" / "show.toml"],
    ]
    for run in runs:
        cli.main(["report", *map(str, run), "--grid", "20", "--out", str(out)])
    return out


@pytest.fixture
def tour(kept, tmp_path) -> Path:
    """A copy of them to change."""
    shutil.copytree(kept, tmp_path / "tour")
    return tmp_path / "tour"


def _folders(tour: Path) -> list[str]:
    return sorted(path.name for path in tour.iterdir() if path.is_dir())


def test_positions_of_all_stand_behind_each_other(tour):
    found = acoustics.open_tour(tour)
    folders = _folders(tour)
    assert found["run_folder"].values.tolist() == folders
    parts = [xr.load_dataset(tour / folder / "field.nc", engine="h5netcdf") for folder in folders]
    level = np.concatenate([part["level"].values for part in parts], axis=1)
    assert np.array_equal(found["level"].values, level, equal_nan=True)
    assert found["run"].values.tolist() == [i for i, part in enumerate(parts) for _ in range(part.sizes["position"])]
    for index, part in enumerate(parts):
        mine = found.isel(position=np.flatnonzero(found["run"].values == index))
        assert set(mine["venue"].values) == {part.attrs["venue"]}
        assert set(mine["hang"].values) == {part.attrs["hang"]}
        assert found["run_revision"].values[index] == part.attrs["revision"]
        assert np.array_equal(mine["x"].values, part["x"].values)
    assert found["level"].attrs["units"] == "dB re 20 uPa"


def test_how_bands_were_summed_stays_with_each_result(tour):
    """Every hang has its own number of parts of each band: those of the first would stand for all."""
    for folder in _folders(tour):
        if "sub_bands" not in xr.load_dataset(tour / folder / "field.nc", engine="h5netcdf"):
            shutil.rmtree(tour / folder)  # the show
    assert len(_folders(tour)) == 3
    found = acoustics.open_tour(tour)
    assert "sub_bands" not in found.variables
    assert found["frequency"].dims == ("band",)
    assert all("position" in found[name].dims for name in found.data_vars if not str(name).startswith("run_"))


def test_figures_of_each_run_are_those_of_its_csv(tour):
    found = acoustics.open_tour(tour)
    for index, folder in enumerate(_folders(tour)):
        with (tour / folder / "evenness.csv").open(newline="", encoding="utf-8") as file:
            last = list(csv.DictReader(file))[-1]
        assert found["run_mean"].values[index] == pytest.approx(float(last["level_a_mean_db"]), abs=1e-9)
        assert found["run_spread"].values[index] == pytest.approx(float(last["level_a_p5_p95_db"]), abs=1e-9)
    theatre = found["run_venue"].values == "Gable Theatre"
    assert found["run_trim"].values[theatre].tolist() == [10.6, 10.6]
    assert found["run_tilt"].values[theatre].tolist() == [2.0, 2.0]
    show = found["run_hang"].values == "Larkhill Meadow, whole show"
    assert np.isnan(found["run_mass"].values[show]).all()
    assert (found["run_mass"].values[~show] > 100.0).all()
    assert np.diff(np.sort(found["run_mean"].values[theatre])) == pytest.approx([3.0], abs=1e-6)  # −3 dB of drive


def test_of_a_tour_the_runs_that_it_lists_are_taken_and_no_others(tour):
    twice = [name for name in _folders(tour) if name.startswith("main-stage-left")]
    theatre = [
        n for n in twice if xr.load_dataset(tour / n / "field.nc", engine="h5netcdf").attrs["venue"] == "Gable Theatre"
    ]
    assert len(theatre) == 2
    (tour / "tour.json").write_text(json.dumps({"runs": [{"folder": theatre[1]}]}))
    found = acoustics.open_tour(tour)
    assert list(found["run_folder"].values) == [theatre[1]]
    (tour / "tour.json").write_text(json.dumps({"runs": [{"folder": "elsewhere"}]}))
    with pytest.raises(ValueError, match=r"elsewhere/field\.nc: cannot be read as a result"):
        acoustics.open_tour(tour)


def test_hidden_folders_and_copies_do_not_count(tour):
    first = _folders(tour)[0]
    shutil.copytree(tour / first, tour / ".before" / first)
    shutil.copytree(tour / first, tour / "zz-copy")
    shutil.move(tour / _folders(tour)[1], tour / "inner" / "more")
    found = acoustics.open_tour(tour)
    assert found.sizes["runs"] == 4
    assert "inner/more" in found["run_folder"].values
    assert not any(name.startswith((".", "zz")) for name in found["run_folder"].values)


def test_other_bands_are_refused_by_name(tour, sample_venues):
    theatre = sample_venues / "theatre"
    lines = ["--lines", "125", "--grid", "20", "--out", str(tour / "zz")]
    cli.main(["predict", str(theatre / "left.toml"), str(theatre / "venue.toml"), *lines])
    with pytest.raises(ValueError, match=r"zz/main-.*/field\.nc: has other bands than .*field\.nc"):
        acoustics.open_tour(tour)


def test_what_is_wrong_is_named(tour, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(ValueError, match=r"empty: holds no field\.nc"):
        acoustics.open_tour(tmp_path / "empty")
    (tour / "tour.json").write_text('{"runs": ["left"]}')
    with pytest.raises(ValueError, match=r"tour\.json: is no list of current folders"):
        acoustics.open_tour(tour)
    (tour / "tour.json").unlink()
    (tour / "bad").mkdir()
    (tour / "bad" / "field.nc").write_text("not a field")
    with pytest.raises(ValueError, match=r"bad/field\.nc: cannot be read as a result"):
        acoustics.open_tour(tour)


def test_importing_the_package_stays_light():
    code = "import sys, acoustics; print(sorted({'xarray', 'numpy', 'matplotlib', 'h5netcdf'} & set(sys.modules)))"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout == "[]\n"
