"""What the options of `predict` do: drive, programme, points, hidden rows; and filters of a group."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

from acoustics import scene
from acoustics.app import summary

COMPACT_HANG = """\
format = "hang/1"
name = "two"
frame = "frame-compact"
position_m = [0.0, 0.0, 4.0]
tilt_deg = -8.0

[[column]]
enclosure = "compact"
splay_deg = 0.0

[[column]]
enclosure = "compact"
splay_deg = 4.0
"""
AREA = """\
format = "venue/1"
name = "v"

[[area]]
name = "stalls"
role = "audience"
outline_m = [[4.0, -4.0, 0.0], [16.0, -4.0, 0.0], [16.0, 4.0, 0.0], [4.0, 4.0, 0.0]]
"""
# Hides what lies behind it from both enclosures.
WALL = """
[[area]]
name = "wall"
role = "obstacle"
outline_m = [[9.0, -30.0, 0.0], [9.0, 30.0, 0.0], [9.0, 30.0, 5.0], [9.0, -30.0, 5.0]]
"""
MIDDLE = 10.0 ** (np.arange(14, 43) / 10.0)  # IEC 61260-1, base 10 [Hz]
LEVELS = ("level", "octave_level", "level_a", "level_c")


@pytest.fixture(scope="module")
def predict(evenhang: Any, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Any]:
    """Runs a prediction of two compact enclosures; what is added to their files may be given."""

    def run(*options: object, hang: str = COMPACT_HANG, group: str = "", venue: str = AREA) -> Any:
        folder: Path = tmp_path_factory.mktemp("files")
        (folder / "hang.toml").write_text(hang + group)
        (folder / "venue.toml").write_text(venue)
        return evenhang("predict", folder / "hang.toml", folder / "venue.toml", "--grid", 2, *options)

    return run


@pytest.fixture(scope="module")
def bare(predict: Any) -> Any:
    return predict()


def test_drive_moves_every_level_and_takes_headroom(predict: Any, bare: Any) -> None:
    louder = predict("--drive", 6).field
    for name in LEVELS:
        np.testing.assert_allclose(louder[name].values, bare.field[name].values + 6.0, rtol=0, atol=1e-9)
    np.testing.assert_allclose(louder["headroom"].values, bare.field["headroom"].values - 6.0, rtol=0, atol=1e-9)
    np.testing.assert_allclose(louder["refinement"].values, bare.field["refinement"].values, rtol=0, atol=1e-9)
    assert louder.attrs["drive_db"] == 6.0
    assert louder.attrs["highest_drive_db"] == pytest.approx(bare.field.attrs["highest_drive_db"], rel=1e-12)


def test_the_highest_drive_leaves_no_headroom(predict: Any, bare: Any) -> None:
    """By the catalogue's numbers: at 50 Hz a compact one gives 86 dB at drive 0 dB and 97 dB at most, 11 dB more."""
    assert bare.field.attrs["highest_drive_db"] == pytest.approx(11.0, rel=1e-12)
    assert bare.field.attrs["limited_by"] == "row 1 at 50 Hz"
    assert re.search(
        r"^drive +\+0 dB; highest: \+11\.0 dB, where row 1 at 50 Hz reaches its maximum$", bare.out, re.MULTILINE
    )
    headroom = predict("--drive", bare.field.attrs["highest_drive_db"]).field["headroom"]
    assert float(headroom.min()) == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(headroom.sel(band=50.0).values, [0.0, 0.0], rtol=0, atol=1e-9)
    np.testing.assert_allclose(headroom.sel(band=1000.0).values, [7.0, 7.0], rtol=1e-12)
    group = "\n[[group]]\nrows = [2]\ngain_db = 3.0\n"
    louder = predict(group=group).field
    assert louder.attrs["highest_drive_db"] == pytest.approx(8.0, rel=1e-12)
    assert louder.attrs["limited_by"] == "row 2 at 50 Hz"


def test_a_drive_above_the_highest_is_flagged(predict: Any) -> None:
    """The highest is 11 dB; at it nothing is flagged, though −11 + 11 may round to a little more than nothing."""
    for drive, above in ((11, 0.0), (12.5, 1.5)):
        run, data = predict("--drive", drive), predict("--drive", drive, "--json").json["drive"]
        flag = (
            f"at drive {drive:+g} dB (ABOVE THE HIGHEST by 1.5 dB), pink" if above else f"at drive {drive:+g} dB, pink"
        )
        assert flag in run.out
        assert run.out.count("ABOVE THE HIGHEST") == (2 if above else 0)
        assert data["above_highest_db"] == pytest.approx(above, abs=1e-9)
        assert "highest" not in run.err


def test_what_has_no_maximum_has_no_highest_drive(predict: Any) -> None:
    hang = COMPACT_HANG.replace('"compact"', '"point"').replace("frame-compact", "frame-large")
    run = predict(hang=hang.replace("= 4.0\n", "= 0.0\n"))
    assert np.isnan(run.field.attrs["highest_drive_db"])
    assert np.isnan(run.field["headroom"].values).all()
    assert "highest: not known: no max_level_1m_db for point" in run.out


def sloped() -> Any:
    """By hand: −10 lg(1 + (40/f)⁴) − 10 lg(1 + f/1000), with the sum of 29 equal bands."""
    share = 1.0 / ((1.0 + (40.0 / MIDDLE) ** 4) * (1.0 + MIDDLE / 1000.0))
    return 10.0 * np.log10(share * 29.0 / share.sum())


def test_the_sloped_programme_moves_bands(predict: Any, bare: Any) -> None:
    run = predict("--programme", "sloped")
    moves = sloped()
    assert moves[0] < -5.0 < 1.0 < moves.max()
    change = (run.field["level"] - bare.field["level"]).values
    np.testing.assert_allclose(change[3:], np.tile(moves[3:, np.newaxis], change.shape[1]), rtol=0, atol=1e-9)
    assert np.isnan(change[:3]).all()  # compact is used from 50 Hz
    less = (run.field["headroom"] - bare.field["headroom"]).values
    np.testing.assert_allclose(less[:, 3:], np.tile(-moves[3:], (2, 1)), rtol=0, atol=1e-9)
    assert run.field.attrs["programme"] == "sloped"
    assert "sloped programme" in run.out
    assert "dB LCpeak: cannot be judged" in run.out  # no crest factor


# --- filters ---

HIGH_PASS = '\n[[group.filter]]\nkind = "high-pass"\nfrequency_hz = 1000.0\norder = 4\n'
ONE_POINT = """\
format = "hang/1"
name = "one"
frame = "frame-large"
position_m = [0.0, 0.0, 4.0]
tilt_deg = 0.0
[[column]]
enclosure = "point"
splay_deg = 0.0
"""


def high_pass_db(hz: Any) -> Any:
    """Butterworth of fourth order: |H|² = 1/(1 + (1000/f)⁸)."""
    return -10.0 * np.log10(1.0 + (1000.0 / np.asarray(hz)) ** 8)


def test_a_filter_lowers_lines_by_its_response(predict: Any) -> None:
    asked = ("--lines", "500,1000,2000")
    group = f"\n[[group]]\nrows = [1, 2]\n{HIGH_PASS}"
    change = predict(*asked, group=group).field["level"].values - predict(*asked).field["level"].values
    expected = high_pass_db([500.0, 1000.0, 2000.0])
    np.testing.assert_allclose(expected, [-24.0993, -3.0103, -0.0169], rtol=0, atol=1e-4)
    np.testing.assert_allclose(change, np.tile(expected[:, np.newaxis], change.shape[1]), rtol=0, atol=1e-9)


def test_a_filter_lowers_bands_by_its_mean(predict: Any) -> None:
    """Of a point without absorption; bands are cut until no level moves by 0.1 dB."""
    venue = AREA + "\n[air]\nabsorption = false\n"
    with_filter = predict(hang=ONE_POINT, group=f"\n[[group]]\nrows = [1]\n{HIGH_PASS}", venue=venue).field
    change = with_filter["level"].values - predict(hang=ONE_POINT, venue=venue).field["level"].values
    edge = 10.0 ** (np.arange(13.5, 43.0) / 10.0)
    inside = edge[:-1, np.newaxis] + np.diff(edge)[:, np.newaxis] * (np.arange(500) + 0.5) / 500
    expected = 10.0 * np.log10(np.mean(10.0 ** (high_pass_db(inside) / 10.0), axis=1))
    np.testing.assert_allclose(change, np.tile(expected[:, np.newaxis], change.shape[1]), rtol=0, atol=0.1)
    assert np.ptp(expected) > 100.0


def test_a_filter_leaves_headroom(predict: Any, bare: Any) -> None:
    """At midbands, and of the rows of its group alone.

    By the catalogue's numbers 16 dB are left at 10 kHz and up, the least once 50 Hz is out of the way.
    """
    field = predict(group=f"\n[[group]]\nrows = [1]\n{HIGH_PASS}").field
    change = (field["headroom"] - bare.field["headroom"]).values
    np.testing.assert_allclose(change[0, 3:], -high_pass_db(MIDDLE[3:]), rtol=0, atol=1e-9)
    np.testing.assert_allclose(change[1, 3:], 0.0, rtol=0, atol=1e-12)
    assert field.attrs["limited_by"] == "row 2 at 50 Hz"
    both = predict(group=f"\n[[group]]\nrows = [1, 2]\n{HIGH_PASS}").field
    assert both.attrs["highest_drive_db"] == pytest.approx(16.0, rel=1e-9)
    assert re.fullmatch("row 1 at (10000|12500|16000) Hz", both.attrs["limited_by"])


def test_inverting_all_moves_no_level(predict: Any, bare: Any) -> None:
    both = predict(group="\n[[group]]\nrows = [1, 2]\ninverted = true\n").field
    np.testing.assert_allclose(both["level"].values, bare.field["level"].values, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(both["source_gain"].values, -bare.field["source_gain"].values)
    assert both.attrs["revision"] != bare.field.attrs["revision"]
    one = predict(group="\n[[group]]\nrows = [2]\ninverted = true\n").field
    assert np.nanmax(np.abs(one["level"].values - bare.field["level"].values)) > 10.0


GROUP = "\n[[group]]\nrows = [1]\n"
FILTER = "[[group.filter]]\n"


@pytest.mark.parametrize(
    ("text", "key", "wrong"),
    [
        (f'{GROUP}{FILTER}kind = "notch" # HERE\nfrequency_hz = 90.0\n', "group[1].filter[1].kind", '"notch"'),
        (f'{GROUP}{FILTER}kind = "bell"\nfrequency_hz = 5.0 # HERE\nq = 1.0\ngain_db = 1.0\n', "frequency_hz", "5"),
        (f'{GROUP}{FILTER}kind = "high-pass"\nfrequency_hz = 90.0\norder = 9 # HERE\n', "filter[1].order", "9"),
        (f'{GROUP}{FILTER}kind = "bell"\nfrequency_hz = 90.0\nq = 1.0\n', "filter[1].gain_db", "key is missing"),
        (
            f'{GROUP}{FILTER}kind = "bell"\nfrequency_hz = 90.0\nq = 1.0\ngain_db = 1.0\norder = 2 # HERE\n',
            "filter[1].order",
            "has no meaning for a bell",
        ),
        (f"{GROUP}inverted = 1 # HERE\n", "group[1].inverted", "1"),
    ],
)
def test_faults_of_filters(fault_of: Any, hang: str, text: str, key: str, wrong: str) -> None:
    fault = fault_of(hang=hang + text)
    assert fault["file"] == "hang.toml"
    assert fault["key"].endswith(key)
    assert wrong in fault["wrong"]


# --- points, hidden rows ---


@pytest.mark.parametrize("value", ["0", "9", "-1", "2.5", "x", "", "AUTO"])
def test_points_that_are_refused(predict: Any, value: str) -> None:
    run = predict(f"--points={value}")
    assert run.code == 2
    assert run.folder is None
    assert f"argument --points: must be 1 to 8, or auto (got {value!r})" in run.err


def test_points_are_told(predict: Any, bare: Any) -> None:
    twice = predict("--points", 2)
    assert (bare.field.attrs["points_per_enclosure"], twice.field.attrs["points_per_enclosure"]) == (1, 2)
    change = twice.field["level"].values - bare.field["level"].values
    np.testing.assert_allclose(bare.field["refinement"].values, change, rtol=0, atol=1e-9)
    assert "1 point per enclosure; twice as many move" in bare.out
    assert "2 points per enclosure; twice as many move" in twice.out
    assert twice.field.sizes["source"] == 2
    few = predict("--points", "auto").field
    assert np.nanmax(np.abs(few["refinement"].values)) > 0.0
    counts = few["level"].values >= np.nanmax(few["level"].values, axis=1, keepdims=True, initial=-np.inf) - 20.0
    assert np.max(np.abs(few["refinement"].values[counts])) <= 0.1 or few.attrs["points_per_enclosure"] == 8


def told(run: Any, name: str) -> str:
    """What the summary says on a line and those that continue it; no line is wider than the others."""
    lines = run.out.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith(f"{name:13}"))
    more = itertools.takewhile(lambda line: line.startswith(13 * " "), lines[first + 1 :])
    found = [lines[first], *more]
    assert max(len(line) for line in found) <= 98
    return " ".join(line[13:] for line in found)


def test_more_points_are_advised_where_there_are_more(predict: Any, bare: Any, monkeypatch: Any) -> None:
    moved = re.compile(r"1 point per enclosure; twice as many move levels by .* at most: --points auto doubles them")
    assert moved.fullmatch(told(bare, "close"))
    monkeypatch.setattr(scene, "SETTLED_DB", 0.0)
    monkeypatch.setattr(summary, "SETTLED_DB", 0.0)
    for asked in (8, "auto"):
        run = predict("--points", asked)
        most = re.compile(r"8 points per enclosure, the most there are; twice as many still move levels .* dB at most")
        assert most.fullmatch(told(run, "close"))
        assert (run.field.attrs["points_asked"], run.field.attrs["points_per_enclosure"]) == (str(asked), 8)


def test_why_closeness_is_not_known(predict: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(scene, "REFINED_POSITIONS", 2)
    assert told(predict(), "close").endswith("is not known: more than 2 positions are summed once")
    assert predict("--json").json["refinement"]["why"] == "more than 2 positions are summed once"


def test_bands_without_a_level_are_named(predict: Any, bare: Any) -> None:
    """The catalogue's compact one begins at 50 Hz."""
    assert told(bare, "bands") == "no level in its file: compact 25–40 Hz"
    assert predict("--json").json["bands"] == {"left_out_hz": {}, "without_level_hz": {"compact": [25.0, 31.5, 40.0]}}


def test_hidden_rows_are_weakened_where_that_is_asked_for(predict: Any) -> None:
    out, over = (predict(*options, venue=AREA + WALL) for options in ((), ("--over-edges",)))
    hidden = out.field["hidden"].values.all(axis=0)
    assert 0 < hidden.sum() < len(hidden)
    assert np.isnan(out.field["level"].values[:, hidden]).all()
    assert np.isfinite(over.field["level"].values[3:, hidden]).all()
    np.testing.assert_allclose(
        over.field["level"].values[:, ~hidden], out.field["level"].values[:, ~hidden], rtol=0, atol=1e-6
    )
    np.testing.assert_array_equal(over.field["hidden"].values, out.field["hidden"].values)
    assert out.field.attrs["model"].endswith("hidden sources left out")
    assert over.field.attrs["model"].endswith("hidden sources weakened as behind one edge, ISO 9613-2:1996, 7.4")


def test_the_model_says_what_lines_do_with_hidden_rows(predict: Any) -> None:
    field = predict("--over-edges", "--lines", "500", venue=AREA + WALL).field
    hidden = field["hidden"].values.all(axis=0)
    assert np.isfinite(field["level"].values[0, hidden]).all()
    assert field.attrs["model"].endswith("hidden sources weakened as behind one edge, ISO 9613-2:1996, 7.4")
    left_out = predict("--lines", "500", venue=AREA + WALL).field
    assert np.isnan(left_out["level"].values[0, hidden]).all()
    assert left_out.attrs["model"].endswith("hidden sources left out")


def test_the_model_says_how_many_points_there_are(predict: Any) -> None:
    assert "one directional point source per enclosure" not in predict("--points", 4).field.attrs["model"]


# --- hearing ---


@pytest.mark.parametrize("drive", [-40, 0, 12, 30])
def test_the_note_on_hearing(predict: Any, drive: int) -> None:
    """It judges against limits and promises nothing. By hand: equal energy, 15 min at 100 dB."""
    run = predict("--drive", drive, "--average-below", 4.5)
    assert "safe" not in run.out.lower()
    assert run.out.count("dB LAeq,15min") == run.out.count("dB LCpeak") == 1
    seats = ~run.field["on_section"].values
    loudest = float(np.nanmax(run.field["level_a"].values[seats]))
    note = " ".join(run.out.split())
    word = "exceeds; " if loudest - 4.5 > 100.0 else "cannot be judged; one hang alone, "
    assert f"100 dB LAeq,15min: {word}{abs(loudest - 104.5):.1f} dB" in note
    assert "within" not in note[note.index("hearing,") : note.index("Local rules govern")]
    if loudest > 100.0:
        minutes = 15.0 * 10.0 ** ((100.0 - loudest) / 10.0)
        told = f"{minutes:.1f} min" if minutes >= 1.0 else f"{minutes * 60.0:.0f} s"
        assert f"{loudest:.1f} dB, {told} of every 15 min" in note
    assert "the average lies 4.5 dB below the drive asked for" in note
    assert "Local rules govern" in note


# --- what a result says of its options ---

OPTIONS = {
    "drive_db": ("--drive", 6),
    "programme": ("--programme", "sloped"),
    "points": ("--points", 2),
    "over_edges": ("--over-edges",),
}


def settings(field: xr.Dataset) -> Any:
    return tomllib.loads(field.attrs["settings"])["options"]


def test_options_are_in_the_settings_and_the_revision(predict: Any, bare: Any) -> None:
    assert settings(bare.field) == {"grid_m": 2.0}
    found = {name: predict(*options).field for name, options in OPTIONS.items()}
    found["auto"] = predict("--points", "auto").field
    expected = {"drive_db": 6.0, "programme": "sloped", "points": 2, "over_edges": True}
    for name, value in expected.items():
        assert settings(found[name]) == {"grid_m": 2.0, name: value}
    assert settings(found["auto"]) == {"grid_m": 2.0, "points": "auto"}
    words = {field.attrs["revision"] for field in (bare.field, *found.values())}
    assert len(words) == len(found) + 1
    assert {field.attrs["design"] for field in found.values()} == {bare.field.attrs["design"]}


def test_a_bare_call_is_one_with_every_default(predict: Any, bare: Any) -> None:
    asked = ("--drive", 0, "--programme", "pink", "--points", 1, "--average-below", 0)
    xr.testing.assert_identical(predict(*asked).field, bare.field)
    attributes = bare.field.attrs
    assert (attributes["programme"], attributes["drive_db"], attributes["over_edges"]) == ("pink", 0.0, 0)
    assert "at drive +0 dB, pink programme" in bare.out


def test_an_average_below_the_drive_is_for_the_note_alone(predict: Any, bare: Any) -> None:
    below = predict("--average-below", 10)
    xr.testing.assert_identical(below.field, bare.field)
    assert below.out != bare.out
