"""What must not change a prediction, what must, and what it leaves on the disk."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tomlkit
import xarray as xr
from scipy.spatial import KDTree

from acoustics import plots, results

Array = npt.NDArray[np.float64]
Map = Callable[[Array], Array]

GRID_M = 4
# Tables of directivity are kept in single precision, 6e-8 of the axis: 1e-6 dB measured. The room above that is for
# quieter places; a wrong sign or place is worth whole decibels.
ROUNDING_DB = 1e-5


@pytest.fixture(scope="module")
def theatre(sample_venues: Path) -> dict[str, Any]:
    """The theatre, its left side narrower than its right, and its left hang, as plain data."""
    folder = sample_venues / "theatre"
    venue, hang = (tomllib.loads((folder / f"{name}.toml").read_text()) for name in ("venue", "left"))
    stalls, balcony = venue["area"][:2]
    assert stalls["outline_m"][1] == [3.0, 9.0, 0.0]
    assert balcony["outline_m"][2] == [29.5, 12.0, 10.4]
    stalls["outline_m"][1][1] = 5.0
    balcony["outline_m"][2][1] = 8.0
    return {"venue": venue, "hang": hang}


@pytest.fixture(scope="module")
def predict(evenhang: Any, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., xr.Dataset]:
    """Predict from plain data on a coarse grid; `beside` are further files of the hang's folder."""

    def run(hang: Any, venue: Any, beside: Any = None) -> xr.Dataset:
        folder = tmp_path_factory.mktemp("files")
        for name, data in {"hang": hang, "venue": venue, **(beside or {})}.items():
            (folder / f"{name}.toml").write_text(tomlkit.dumps(data))
        return evenhang("predict", folder / "hang.toml", folder / "venue.toml", "--grid", GRID_M).field

    return run


@pytest.fixture(scope="module")
def reference(theatre: Any, predict: Any) -> xr.Dataset:
    return predict(theatre["hang"], theatre["venue"])


def _moved(venue: Any, move: Map) -> Any:
    """A venue with all its places moved."""

    def moved(entry: Any) -> Any:
        return {
            key: move(np.array(value)).tolist() if key in ("outline_m", "position_m") else value
            for key, value in entry.items()
        }

    return {**venue, "area": [moved(a) for a in venue["area"]], "point": [moved(p) for p in venue["point"]]}


def _places(field: xr.Dataset) -> Array:
    return np.stack([field[axis].values for axis in "xyz"], axis=1)


def _partners(field: xr.Dataset, other: xr.Dataset, move: Map) -> Any:
    """For each position of `field` the one of `other` at its moved place, of the same area and kind."""
    assert field.sizes["position"] == other.sizes["position"]
    partner = np.empty(field.sizes["position"], dtype=int)
    for on_section in (True, False):
        ours, theirs = (np.flatnonzero(f["on_section"].values == on_section) for f in (field, other))
        if not len(ours):
            continue
        apart, found = KDTree(_places(other)[theirs]).query(move(_places(field)[ours]))
        assert apart.max() < 1e-9
        partner[ours] = theirs[found]
    assert len(set(partner)) == len(partner)
    return partner


def _assert_same_levels(field: xr.Dataset, other: xr.Dataset, partner: Any) -> None:
    other = other.isel(position=partner)
    for name in ("level", "octave_level", "level_a", "level_c"):
        np.testing.assert_allclose(other[name].values, field[name].values, rtol=0, atol=ROUNDING_DB)
    np.testing.assert_array_equal(other["hidden"].values, field["hidden"].values)
    np.testing.assert_array_equal(other["area"].values, field["area"].values)
    np.testing.assert_allclose(other["arrival"].values, field["arrival"].values, rtol=1e-9)
    np.testing.assert_allclose(other["seat_weight"].values, field["seat_weight"].values, rtol=1e-9, atol=1e-12)


def _turn(degrees: float) -> Map:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return lambda places: places @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def _shift(places: Array) -> Array:
    return places + np.array([12.3, -41.7, 3.1])


def _mirror(places: Array) -> Array:
    return places * np.array([1.0, -1.0, 1.0])


@pytest.mark.parametrize(
    ("move", "azimuth"),
    [(_turn(33.7), 33.7), (_turn(-151.0), -151.0), (_shift, 0.0)],
    ids=["turned", "turned back", "shifted"],
)
def test_moving_everything_together_changes_no_level(
    theatre: Any, predict: Any, reference: xr.Dataset, move: Map, azimuth: float
) -> None:
    hang = theatre["hang"]
    place = move(np.array(hang["position_m"])).tolist()
    moved = {**hang, "position_m": place, "azimuth_deg": hang["azimuth_deg"] + azimuth}
    field = predict(moved, _moved(theatre["venue"], move))
    _assert_same_levels(reference, field, _partners(reference, field, move))


def test_the_mirror_file_in_the_mirrored_venue_mirrors_the_levels(
    theatre: Any, predict: Any, reference: xr.Dataset
) -> None:
    image = {"format": "hang/1", "name": "image", "mirror_of": "design.toml"}
    field = predict(image, _moved(theatre["venue"], _mirror), {"design": theatre["hang"]})
    _assert_same_levels(reference, field, _partners(reference, field, _mirror))


@pytest.mark.parametrize("move", [_turn(12.0), _mirror], ids=["turned", "mirrored"])
def test_moving_the_venue_alone_changes_levels(theatre: Any, predict: Any, reference: xr.Dataset, move: Map) -> None:
    field = predict(theatre["hang"], _moved(theatre["venue"], move))
    seats, ours = (f.isel(position=~f["on_section"].values) for f in (field, reference))
    partner = _partners(ours, seats, move)
    assert np.nanmax(np.abs(seats["level_a"].values[partner] - ours["level_a"].values)) > 1.0


def test_gain_of_every_row_moves_every_level_alike(theatre: Any, predict: Any, reference: xr.Dataset) -> None:
    rows = range(1, len(theatre["hang"]["column"]) + 1)
    groups = [{"rows": list(rows)[part], "gain_db": 6.0} for part in (slice(0, 5), slice(5, None))]
    field = predict({**theatre["hang"], "group": groups}, theatre["venue"])
    for name in ("level", "octave_level", "level_a", "level_c"):
        np.testing.assert_allclose(field[name].values, reference[name].values + 6.0, rtol=0, atol=1e-9)


def test_a_finer_grid_moves_no_octave_mean_by_more_than_a_third_of_a_decibel(
    evenhang: Any, sample_venues: Path
) -> None:
    files = [sample_venues / "theatre" / f"{name}.toml" for name in ("left", "venue")]
    means = []
    for grid in (1.0, 0.5):
        field = evenhang("predict", *files, "--grid", grid).field
        seats = field.isel(position=~field["on_section"].values)
        means.append(
            {
                area: np.average(part["octave_level"].values, axis=1, weights=part["seat_weight"].values)
                for area, part in seats.groupby("area")
            }
        )
    coarse, fine = means
    assert set(coarse) == {"stalls", "balcony"}
    for area in coarse:
        assert np.isfinite(coarse[area]).all()
        np.testing.assert_allclose(fine[area], coarse[area], rtol=0, atol=0.3)


# --- what a revision stands for ---

# Whole numbers count rows or name bands; an allowed splay that is used cannot change alone.
_NUMBER = re.compile(r"(?<![\w\"/.])-?\d+\.\d+")


def _small_files(folder: Path, texts: dict[str, str]) -> list[object]:
    (folder / "equipment").mkdir(parents=True)
    for name, text in texts.items():
        (folder / f"{name}.toml").write_text(text)
    return [folder / "hang.toml", folder / "venue.toml", "--equipment", folder / "equipment", "--lines", "1000,1100.5"]


@pytest.fixture
def revision(evenhang: Any, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str | None]:
    """Revision that a prediction carries; None where the input is refused. Nothing is saved, for speed."""
    monkeypatch.setattr(results, "save", lambda result, path: path.touch())

    def of(*arguments: object) -> str | None:
        run = evenhang("predict", *arguments, "--json")
        assert run.code in (0, 2)
        return run.json["revision"] if run.code == 0 else None

    return of


def test_comments_layout_and_folders_do_not_count(evenhang: Any, small: dict[str, str], tmp_path: Path) -> None:
    first = evenhang("predict", *_small_files(tmp_path / "a", small)).field
    noted = {name: f"# a note\n\n{text.replace(' = ', '   =  ')}# the end\n" for name, text in small.items()}
    second = evenhang("predict", *_small_files(tmp_path / "b", noted)).field
    assert second.attrs["revision"] == first.attrs["revision"]
    xr.testing.assert_identical(second, first)


@pytest.mark.parametrize("name", ["hang", "venue", "equipment/frame-lopsided", "equipment/lopsided"])
def test_every_number_of_every_file_counts(revision: Any, small: dict[str, str], tmp_path: Path, name: str) -> None:
    text, numbers = small[name], list(_NUMBER.finditer(small[name]))
    found = [revision(*_small_files(tmp_path / "given", small))]
    for index, number in enumerate(numbers):
        changed = f"{text[: number.start()]}{float(number[0]) + 1e-4:.4f}{text[number.end() :]}"
        found.append(revision(*_small_files(tmp_path / f"{index}", {**small, name: changed})))
    # The splay in use is refused where the joint does not allow the changed one.
    in_use = [index for index, number in enumerate(numbers, start=1) if number[0] == "0.5"]
    assert [index for index, word in enumerate(found) if word is None] == in_use
    assert len(set(found)) == 1 + len(numbers)
    assert len(numbers) >= 7


def test_options_count_too(revision: Any, small: dict[str, str], tmp_path: Path) -> None:
    *files, _, _ = _small_files(tmp_path, small)
    options = [(), ("--grid", 2), ("--lines", "1000"), ("--lines", "1000,1100"), ("--lines", "1100,1000")]
    assert len({revision(*files, *asked) for asked in options} - {None}) == len(options)


# --- what is printed and saved ---


@pytest.fixture(scope="module")
def left_files(sample_venues: Path) -> list[object]:
    """Left hang and venue of the theatre, on a coarse grid."""
    return [sample_venues / "theatre" / "left.toml", sample_venues / "theatre" / "venue.toml", "--grid", GRID_M]


def _cell(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f}"


def test_json_equals_what_is_printed(evenhang: Any, left_files: list[object], tmp_path: Path) -> None:
    printed = evenhang("predict", *left_files, into=tmp_path)
    summary = evenhang("predict", *left_files, "--json", into=tmp_path).json
    assert summary["folder"] == str(printed.folder)
    lines = printed.out.splitlines()
    for row in [*summary["areas"], summary["whole"]]:
        cells = [row["level_a_mean_db"], row["level_a_p5_p95_db"], row["fall_per_doubling_db"]]
        expected = [_cell(value) for value in cells] + [
            f"{row['positions_hidden']}/{row['positions_partly_hidden']}/{row['positions']}"
        ]
        expected += [_cell(value) for value in row["octave_deviation_db"].values()]
        assert [line.removeprefix(row["name"]).split() for line in lines if line.startswith(row["name"])] == [expected]
    assert lines[1].split()[:4] == ["DESIGN", summary["design"], "REVISION", summary["revision"]]
    heading = " ".join(lines[2:10])
    of_air = summary["air"]
    for text in (
        f"trim {summary['trim_m']:.2f} m",
        f"lowest edge {summary['lowest_edge_m']:.2f} m",
        f"tilt {summary['tilt_deg']:+.1f}° azimuth {summary['azimuth_deg']:+.1f}°",
        f"mass {summary['mass_kg']:.1f} kg",
        f"{of_air['temperature_c']:g} °C, {of_air['relative_humidity_pct']:g} %, {of_air['pressure_kpa']:g} kPa",
        f"sound {of_air['speed_of_sound_m_s']:.1f} m/s",
    ):
        assert text in " ".join(heading.split())


def test_json_follows_from_the_saved_field(evenhang: Any, left_files: list[object]) -> None:
    run = evenhang("predict", *left_files, "--json")
    seats = run.field.isel(position=~run.field["on_section"].values)
    for row in run.json["areas"]:
        part = seats.isel(position=seats["area"].values == row["name"])
        weight = part["seat_weight"].values
        assert row["positions"] == len(weight)
        assert row["area_m2"] == pytest.approx(weight.sum(), rel=1e-12)
        assert row["level_a_mean_db"] == pytest.approx(np.average(part["level_a"].values, weights=weight), rel=1e-12)
        for hz, deviation in row["octave_deviation_db"].items():
            level = part["octave_level"].sel(octave=float(hz)).values
            assert deviation == pytest.approx(np.sqrt(np.cov(level, aweights=weight, ddof=0)), rel=1e-9)


@pytest.mark.parametrize("asked", [(), ("--lines", "250,4000")], ids=["bands", "lines"])
def test_the_saved_field_reads_back_as_it_was(
    evenhang: Any, left_files: list[object], monkeypatch: pytest.MonkeyPatch, asked: tuple[str, ...]
) -> None:
    saved: list[xr.Dataset] = []
    save = results.save
    monkeypatch.setattr(
        results, "save", lambda result, path: (saved.append(result.copy(deep=True)), save(result, path))
    )
    run = evenhang("predict", *left_files, *asked)
    xr.testing.assert_identical(run.field, saved[0])
    units = {name for name in run.field.variables if run.field[name].attrs != saved[0][name].attrs}
    assert not units


def test_the_saved_field_alone_repeats_the_sum(
    evenhang: Any, points_hang: str, points_venue: str, tmp_path: Path
) -> None:
    (tmp_path / "hang.toml").write_text(f"{points_hang}\n[[group]]\nrows = [1, 7]\ngain_db = -6.0\ndelay_ms = 1.3\n")
    (tmp_path / "venue.toml").write_text(points_venue)
    run = evenhang("predict", tmp_path / "hang.toml", tmp_path / "venue.toml", "--lines", "1000")
    with xr.open_dataset(run.folder / "field.nc", engine="h5netcdf") as saved:
        settings = tomllib.loads(saved.attrs["settings"])
        assert {settings["equipment"][name]["acoustic"]["model"] for name in np.unique(saved["source_type"])} == {
            "point"
        }
        assert saved.attrs["absorption"] == "none"
        hz, c = float(saved["line"].item()), float(saved.attrs["speed_of_sound_m_s"])
        apart = np.stack([saved[axis].values - saved[f"source_{axis}"].values[:, None] for axis in "xyz"])
        r = np.sqrt((apart**2).sum(axis=0))
        travel = r / c + saved["source_delay"].values[:, None]
        pressure = (saved["source_gain"].values[:, None] * np.exp(-2j * np.pi * hz * travel) / r).sum(axis=0)
        expected = saved["pressure_real"].values[0] + 1j * saved["pressure_imag"].values[0]
        np.testing.assert_allclose(pressure, expected, rtol=1e-9)
        np.testing.assert_allclose(saved["arrival"].values, travel, rtol=1e-12)


def test_lines_have_no_octaves(evenhang: Any, left_files: list[object]) -> None:
    run = evenhang("predict", *left_files, "--lines", "1000")
    assert not {"octave", "octave_level", "band", "level_a", "level_c"} & {*run.field.variables, *run.field.dims}
    assert {path.name for path in run.folder.iterdir()} == {"field.nc", "section.svg"}
    assert "octave" not in run.out


# --- what is left on the disk ---


def _contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_twice_the_same_gives_the_same_folder_and_pictures(
    evenhang: Any, left_files: list[object], tmp_path: Path
) -> None:
    first, second = (evenhang("predict", *left_files, into=tmp_path / name, pictures=True) for name in "ab")
    assert first.folder.name == second.folder.name
    xr.testing.assert_identical(first.field, second.field)
    before = {path.name: path.read_bytes() for path in first.folder.iterdir()}
    evenhang("predict", *left_files, into=tmp_path / "a", pictures=True)
    assert [path.name for path in (tmp_path / "a").iterdir()] == [first.folder.name]
    for name in ("section.svg", "distance.svg", "plan.svg"):
        assert b"<svg" in before[name]
        assert (first.folder / name).read_bytes() == before[name] == (second.folder / name).read_bytes()


def test_other_files_and_revisions_stay_untouched(evenhang: Any, left_files: list[object], tmp_path: Path) -> None:
    other = evenhang("predict", *left_files, "--lines", "500", into=tmp_path).folder
    target = evenhang("predict", *left_files, "--lines", "1000", into=tmp_path).folder
    assert other != target
    (target / "notes.txt").write_text("delay towers: ask the house")
    (tmp_path / "field.nc").write_text("of somebody else")
    before = _contents(tmp_path)
    evenhang("predict", *left_files, "--lines", "1000", into=tmp_path)
    after = _contents(tmp_path)
    own = {f"{target.name}/field.nc", f"{target.name}/section.svg"}
    assert after.keys() == before.keys()
    assert {name for name in after if after[name] != before[name]} <= own


@pytest.mark.parametrize("module", [results, plots], ids=["data", "pictures"])
@pytest.mark.parametrize("earlier", [False, True], ids=["new", "over an earlier one"])
def test_interrupted_writing_leaves_what_was_there(
    evenhang: Any, left_files: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: Any, earlier: bool
) -> None:
    asked = [*left_files, "--lines", "1000"]
    if earlier:
        assert evenhang("predict", *asked, into=tmp_path).code == 0
    before = _contents(tmp_path)

    def half(first: Any, path: Path) -> None:
        path.write_bytes(b"half of i")
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "save" if module is results else "save_svg", half)
    run = evenhang("predict", *asked, into=tmp_path, pictures=True)
    assert run.code == 130
    assert "interrupted" in run.err
    assert "Traceback" not in run.err
    assert _contents(tmp_path) == before
    assert len(list(tmp_path.iterdir())) == int(earlier)
