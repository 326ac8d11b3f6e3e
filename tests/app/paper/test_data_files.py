"""The data beside a report: names and units from one table, readable with other tools."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr

from acoustics import results
from acoustics.app import cli, compare_sheet, tour_sheet
from acoustics.app.data_files import number_keys, rigging_json
from acoustics.app.show_check import as_data, judge_show
from acoustics.names import COLUMNS, KEYS, MEASURED, NAMES, RUNS, TABLES
from acoustics.show import load_show
from rigging.equipment import load_catalogue
from rigging.policy import load_policy

WHAT = {
    "left": ("theatre/left.toml", "theatre/venue.toml"),
    "pulled": ("theatre/pulled.toml", "theatre/venue.toml"),
    "bridle": ("arena/delay.toml", "arena/venue.toml"),
    "stack": ("meadow/front-left.toml", "meadow/venue.toml"),
    "show": ("meadow/show.toml",),
}


@pytest.fixture(scope="module")
def folders(sample_venues, tmp_path_factory) -> dict[str, Path]:
    """Folders of reports of hangs of every kind, and of a show."""
    found = {}
    for name, files in WHAT.items():
        out = tmp_path_factory.mktemp(name)
        cli.main(["report", *(str(sample_venues / file) for file in files), "--grid", "20", "--out", str(out)])
        (found[name],) = out.iterdir()
    return found


@pytest.mark.parametrize("fields", [tour_sheet.FIELDS, compare_sheet.FIELDS])
def test_columns_of_tables_are_in_the_table_of_names(fields):
    assert [field for field in fields if field not in NAMES] == []
    units = {"deg": "deg", "m": "m", "db": "dB", "kg": "kg", "c": "degC"}
    for field in fields:  # the unit that ends a column's name is that of the table
        end = field.rpartition("_")[2]
        if end in units and "_" in field:
            assert NAMES[field].units.split()[0] == units[end]


@pytest.mark.parametrize("name", WHAT)
def test_every_column_and_every_number_is_in_the_table(folders, name):
    with (folders[name] / "evenness.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert rows
    for column in rows[0]:
        assert column in COLUMNS
        values = [row[column] for row in rows if row[column]]
        if COLUMNS[column].units:
            assert values == [value for value in values if np.isfinite(float(value))]
    data = json.loads((folders[name] / "rigging.json").read_text())
    units = data.pop("units")
    keys = set(number_keys(data))
    assert keys == set(units)
    assert {key: KEYS[key].units for key in keys} == units
    assert all(units.values())


def test_keys_of_all_samples_are_all_of_the_table(folders, sample_venues):
    """No name stands in the table that no file has: a policy's own dynamic factor is null in the packaged ones."""
    files = [json.loads((folder / "rigging.json").read_text()) for folder in folders.values()]
    catalogue = load_catalogue()
    show = load_show(sample_venues / "arena" / "show.toml", catalogue)
    judged = judge_show(show, (show.venue, show.venue_document), catalogue, load_policy())
    files.append(json.loads(rigging_json(as_data(show, judged))))  # it has amplifiers and stock
    seen = {key for data in files for key in number_keys(data)}
    assert set(KEYS) - seen == {"dynamic_factor"}
    columns = set()
    for folder in folders.values():
        columns |= set((folder / "evenness.csv").read_text().splitlines()[0].split(","))
    assert columns == set(COLUMNS)


def test_one_name_has_one_meaning():
    tables = [set(results.VARIABLES), set(COLUMNS), set(KEYS), set(TABLES), set(RUNS), set(MEASURED)]
    assert sum(map(len, tables)) == len(NAMES)


def test_suffixes_are_the_units():
    """A suffix of a name is its unit; levels are in dB re 20 µPa."""
    suffixes = {"_kg": "kg", "_m": "m", "_deg": "deg", "_n": "N", "_m2": "m2"}
    for name, (units, _) in {**COLUMNS, **KEYS}.items():
        for suffix, unit in suffixes.items():
            if name.endswith(suffix):
                assert units == unit, name
        if name.endswith("_db"):
            assert units.startswith("dB"), name


def test_the_field_is_read_with_h5py_alone(folders):
    path = folders["left"] / "field.nc"
    with h5py.File(path) as file, xr.open_dataset(path, engine="h5netcdf") as opened:
        level = file["level"]
        assert level.shape == (29, opened.sizes["position"])
        assert level.attrs["units"] == "dB re 20 uPa"
        assert [level.dims[axis].keys()[0] or level.dims[axis][0].name.strip("/") for axis in (0,)] == ["band"]
        assert np.array_equal(level[()], opened["level"].values, equal_nan=True)
        for name in ("band", "frequency", "x", "y", "z", "distance", "seat_weight", "level_a"):
            assert np.array_equal(file[name][()], opened[name].values, equal_nan=True)
            assert file[name].attrs["units"] == results.VARIABLES[name][1]
        assert file["band"][()][[0, -1]].tolist() == [25.0, 16000.0]
        assert file.attrs["revision"] == folders["left"].name.rsplit("-", 1)[1]


def test_figures_agree_between_the_files(folders):
    """The mean of evenness.csv is that of field.nc, by a plain weighted sum over the seats that are reached."""
    with (folders["left"] / "evenness.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    with xr.open_dataset(folders["left"] / "field.nc", engine="h5netcdf") as opened:
        stalls = (opened["area"] == "stalls") & ~opened["hidden"].values.astype(bool).all(axis=0)
        weight = opened["seat_weight"].where(stalls, 0.0)
        mean = float((opened["level_a"].fillna(0.0) * weight).sum() / weight.sum())
    assert float(rows["stalls"]["level_a_mean_db"]) == pytest.approx(mean, abs=1e-9)
    assert list(rows) == ["stalls", "balcony", "served audience"]
