"""A hang as built against its design: readings in, a sheet out."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustics.app import cli
from rigging.cautions import CAUTIONS
from rigging.equipment import load_catalogue
from rigging.files import read
from rigging.hang import load_hang
from rigging.revision import design_word

CATALOGUE = load_catalogue()


@pytest.fixture
def built(sample_venues: Path, tmp_path: Path, capsys: Any) -> Callable[..., tuple[int, Any, str]]:
    """Status, data (or text) and messages of `compare --built` of the theatre's main with some readings and changes."""

    def run(
        body: str = "", *options: str, text: bool = False, hang: Any = (), venue: Any = (), design: str | None = None
    ) -> tuple[int, Any, str]:
        for name, file, changes in (("hang", "left", hang), ("venue", "venue", venue)):
            content = (sample_venues / "theatre" / f"{file}.toml").read_text()
            for old, new in changes:
                assert old in content
                content = content.replace(old, new, 1)
            (tmp_path / f"{name}.toml").write_text(content)
        files = [tmp_path / "hang.toml", tmp_path / "venue.toml"]
        one = load_hang(files[0], CATALOGUE)
        word = design or design_word(one, read(files[1]).data)
        head = f'format = "readings/1"\nhang = "{one.name}"\ndesign = "{word}"\n'
        (tmp_path / "readings.toml").write_text(head + body)
        more = [*options, "--grid", "5", "--out", str(tmp_path / "out"), *([] if text else ["--json"])]
        code = cli.main(["compare", "--built", str(tmp_path / "readings.toml"), *map(str, files), *more])
        said = capsys.readouterr()
        return code, said.out if text or not said.out else json.loads(said.out), said.err

    return run


SECOND = '[[pick]]\nhole = "9"\npoint = "left 2"\nhoist = "hoist-1t"\nhardware = ["shackle-5-8"]\n'
SECOND += 'top_hardware = ["shackle-5-8"]\n'
ALONE = ((SECOND, ""), ('hole = "2"', 'hole = "6"'))
AS_DRAWN = """
tilt_deg = 2.0
top_tilt_deg = 2.0
trim_m = 10.6
temperature_c = 21.0
relative_humidity_pct = 45.0
[[row]]
row = 2
aim_deg = 1.0
[[row]]
row = 3
aim_deg = 0.0
[[point]]
name = "left 1"
position_m = [-0.3, 6.5, 15.0]
"""


def test_readings_equal_to_the_design_change_nothing(built):
    code, data, _ = built(AS_DRAWN)
    assert (code, {one["status"] for one in data["readings"]}) == (0, {"within"})
    assert len(data["readings"]) == 8  # frame, top, rows 2 and 3; three splays; trim
    assert data["coverage"]["design"] == data["coverage"]["as_built"]
    assert data["coverage"]["rms_difference_db"] == pytest.approx(0.0, abs=1e-9)
    assert data["coverage"]["greatest_change_db"] == 0.0
    assert (data["delay"]["mean_ms"], data["delay"]["greatest_ms"]) == (0.0, 0.0)
    assert data["coverage"]["places_not_compared"] == 0
    assert data["rigging"]["changed"] == []
    for pick in data["rigging"]["picks"]:
        assert pick["design_hook_kg"] == pick["as_built_hook_kg"]
    correction = data["correction"]
    assert (correction["recommended"], correction["tilt_deg"]) == (False, pytest.approx(2.0, abs=1e-9))
    assert correction["say"][0].startswith("leave the tilt at +2.00°")


@pytest.mark.parametrize(("read", "way"), [(3.0, -1.0), (1.0, 1.0)])
def test_a_frame_one_degree_off_is_brought_back_by_one_degree(built, read, way):
    code, data, _ = built(f"tilt_deg = {read}\n")
    correction = data["correction"]
    assert (code, correction["recommended"]) == (1, True)
    assert correction["change_deg"] == pytest.approx(way, abs=1e-9)
    assert correction["tilt_deg"] == pytest.approx(2.0, abs=1e-9)
    assert correction["rms_then_db"] == pytest.approx(0.0, abs=1e-9)
    assert correction["rms_now_db"] > 0.3
    # Holes 2 and 9 are 0.7 m apart and level: 0.7 (sin 3° − sin 2°) = 12.206 mm, 0.7 (sin 2° − sin 1°) = 12.213 mm.
    rise = 12.206 if way < 0 else -12.213
    assert correction["hooks_up"]["front_stays_mm"] == pytest.approx([0.0, rise], abs=2e-3)
    assert correction["hooks_up"]["rear_stays_mm"] == pytest.approx([-rise, 0.0], abs=2e-3)
    up, down = ("raise", "lower") if way < 0 else ("lower", "raise")
    said = " ".join(correction["say"])
    assert f"{up} the rear hoist (pick 2, frame hole 9) by 12 mm" in said
    assert f"{down} the front hoist (pick 1, frame hole 2) by 12 mm" in said


def test_the_difference_is_that_of_two_predictions(built, evenhang, tmp_path, sample_venues):
    """Against plain statistics of two fields; the search holds directivity over wider parts of a band: 0.02 dB."""
    _, data, _ = built("tilt_deg = 3.0\n")
    venue, levels = sample_venues / "theatre" / "venue.toml", []
    for tilt in ("2.0", "3.0"):
        text = (sample_venues / "theatre" / "left.toml").read_text().replace("tilt_deg = 2.0", f"tilt_deg = {tilt}")
        (tmp_path / "one.toml").write_text(text)
        levels.append(evenhang("predict", tmp_path / "one.toml", venue, "--grid", 5).field)
    weight, a = levels[0]["seat_weight"].values, [one["level_a"].values for one in levels]
    thirds = [one["level"].sel(band=slice(200, 10_000)).values for one in levels]
    off = []
    for before, after in zip(*thirds, strict=True):
        known = np.isfinite(before) & np.isfinite(after) & (weight > 0)
        off.append(np.sqrt(np.average((after - before)[known] ** 2, weights=weight[known])))
    assert data["coverage"]["rms_difference_db"] == pytest.approx(np.mean(off), abs=0.02)
    change = np.where(weight > 0, a[1] - a[0], 0.0)
    assert data["coverage"]["greatest_change_db"] == pytest.approx(change[np.nanargmax(np.abs(change))], abs=1e-9)
    at = np.nanargmax(np.abs(change))
    place = [float(levels[0][axis].values[at]) for axis in "xyz"]
    assert data["coverage"]["greatest_change_at"]["position_m"] == pytest.approx(place, abs=1e-9)


def test_arrival_in_warmer_air(tmp_path, points_hang, tiny_area, capsys):
    """Closed form: r (1/c − 1/c₀), c = 343.2 √(T/293.15 K); the lowest of twelve points is 1.925 m below the origin,
    as far from (30, 0, −2) m as √(30² + 0.075²) = 30.0001 m."""
    (tmp_path / "hang.toml").write_text(points_hang)
    (tmp_path / "venue.toml").write_text(f'format = "venue/1"\nname = "one"\n{tiny_area("place", [30.0, 0.0, -2.0])}')
    word = design_word(load_hang(tmp_path / "hang.toml", CATALOGUE), read(tmp_path / "venue.toml").data)
    text = f'format = "readings/1"\nhang = "twelve points"\ndesign = "{word}"\ntemperature_c = 30.0\n'
    (tmp_path / "readings.toml").write_text(text)
    files = [str(tmp_path / name) for name in ("readings.toml", "hang.toml", "venue.toml")]
    code = cli.main(["compare", "--built", *files, "--out", str(tmp_path / "out"), "--json"])
    data = json.loads(capsys.readouterr().out)
    late = 1000.0 * 30.0001 / 343.2 * (1.0 / np.sqrt(303.15 / 293.15) - 1.0)  # −1.454 ms
    assert data["delay"]["mean_ms"] == pytest.approx(late, abs=1e-4)
    assert data["delay"]["add_ms"] == pytest.approx(-late, abs=1e-4)
    # Nothing was read but the air, and nothing is said of what holds it: 4, and no tilt to take.
    assert code == 4
    assert data["correction"]["why_none"].startswith("the hang file names no picks")


def test_loads_are_those_that_check_has_for_the_column_as_measured(built, checked, tmp_path, sample_venues):
    body = 'tilt_deg = 3.5\ntrim_m = 10.4\n[[point]]\nname = "left 2"\nposition_m = [-1.3, 6.5, 15.0]\n'
    _, data, _ = built(body)
    for name, file, old, new in (
        ("h", "left", ("tilt_deg = 2.0", "6.5, 10.6]"), ("tilt_deg = 3.5", "6.5, 10.4]")),
        ("v", "venue", ("[-1.0, 6.5, 15.0]",), ("[-1.3, 6.5, 15.0]",)),
    ):
        text = (sample_venues / "theatre" / f"{file}.toml").read_text()
        for one, other in zip(old, new, strict=True):
            assert one in text
            text = text.replace(one, other, 1)
        (tmp_path / f"{name}.toml").write_text(text)
    _, other, _ = checked(tmp_path / "h.toml", tmp_path / "v.toml")
    assert [one["as_built_hook_kg"] for one in data["rigging"]["picks"]] == [one["hook_kg"] for one in other["picks"]]
    of_check = {(one["part"], one["what"]): one["value"] for one in other["findings"]}
    of_built = {(one["part"], one["what"]): one["value"] for one in data["rigging"]["as_built"]["findings"]}
    assert of_built == of_check
    # The rear hole is at x = −1.0; its point now 0.3 m further back, some 4.4 m above it: more than 3° out of plumb.
    changed = {(one["part"], one["what"]): (one["was"], one["now"]) for one in data["rigging"]["changed"]}
    assert changed[("pick 2, frame hole 9", "chain out of plumb")] == ("within", "exceeds")


def test_what_exceeds_is_never_recommended(built):
    """A clearance that no tilt keeps; then one that high tilts break, with the design's among them."""
    high = (("floor_below_m = 1.0", "floor_below_m = 6.0"),)
    code, data, _ = built("tilt_deg = 3.0\n", hang=high)
    assert (code, data["correction"]["recommended"], data["correction"]["tilt_deg"]) == (1, False, None)
    assert "exceeds a limit" in data["correction"]["why_none"]
    # The lowest edge falls with a tilt up: 7.524 m at 2°, 7.498 m at 4°. With 2.5 m above 5.008 m, 7.508 m is a limit
    # that the column as it hangs at 4° breaks, and the design does not: it is brought to where it keeps the limit.
    near = (("floor_below_m = 1.0", "floor_below_m = 5.008"),)
    code, data, _ = built("tilt_deg = 4.0\n", hang=near)
    assert data["correction"]["recommended"]
    assert data["correction"]["tilt_deg"] == pytest.approx(2.0, abs=1e-9)
    # Hole 2 is above the front pivot line, hole 9 is 0.7 m behind it: from 4° to 2° the line stays with the first where
    # it is, and sinks by 0.7 (sin 4° − sin 2°) = 24.4 mm with the second; 7.524 − 0.0244 m is not above 7.508 m.
    hooks, said = data["correction"]["hooks_up"], data["correction"]["say"]
    assert (hooks["front_stays_keeps_limits"], hooks["rear_stays_keeps_limits"]) == (True, False)
    assert hooks["trim_rear_stays_m"] == pytest.approx(10.6 - 0.0244, abs=1e-3)
    assert any(line.startswith("  raise the rear hoist") and "leave the front one" in line for line in said)
    assert any("NOT with the rear one where it is, a limit would be exceeded" in line for line in said)


@pytest.mark.parametrize(
    ("hang", "body", "why"),
    [
        (ALONE, "tilt_deg = 2.5\n", "balance does"),
        ((), "trim_m = 10.5\n", "the tilt was not read"),
    ],
)  # fmt: skip
def test_where_no_tilt_is_recommended(built, hang, body, why):
    _, data, _ = built(body, hang=hang)
    assert (data["correction"]["recommended"], data["correction"]["hooks_up"]) == (False, None)
    assert why in data["correction"]["why_none"]


def test_the_sample(sample_venues, tmp_path, capsys):
    theatre = sample_venues / "theatre"
    files = [str(theatre / f"{name}.toml") for name in ("readings", "left", "venue")]
    code = cli.main(["compare", "--built", *files, "--grid", "5", "--out", str(tmp_path)])
    out = capsys.readouterr().out
    assert code == 1
    assert re.search(r"EXCEEDS +frame +tilt off the sheet's +0\.70 °", out)
    assert re.search(r"EXCEEDS +pick 1, frame hole 2, rows 1–12, complete +cell off the expected load +36\.\d kg", out)
    assert out.count("cell off the expected load") == 3  # two cells, and what to do about the one
    assert "raise the rear hoist (pick 2, frame hole 9)" in out
    for caution in CAUTIONS:
        assert f"! {caution}" in out
    assert "safe" not in out.lower()
    folder = next(tmp_path.iterdir())
    assert folder.name.startswith("as-built-main")
    assert sorted(path.name for path in folder.iterdir()) == ["asbuilt.json", "asbuilt.txt", "distance.svg"]
    assert (folder / "asbuilt.txt").read_text().strip() in out
    assert json.loads((folder / "asbuilt.json").read_text())["counts"]["exceeds"] == 6
    assert (folder / "distance.svg").stat().st_size > 20_000


def test_another_design_only_when_told(built):
    code, out, err = built(design="bagotilufo")
    assert (code, out) == (2, "")
    assert "bagotilufo" in err
    assert "is not the design word of this hang in this venue, " in err
    code, data, _ = built("", "--other-design", design="bagotilufo")
    assert (code, data["read_for_design"]) == (0, "bagotilufo")
    _, text, _ = built("", "--other-design", design="bagotilufo", text=True)
    assert "READ FOR ANOTHER DESIGN: bagotilufo" in text


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--tilt=0:2:1",), "--tilt: has no meaning with --built"),
        (("--count", "8"), "--count: has no meaning with --built"),
        (("--mute", "1"), "--mute: has no meaning with --built"),
        (("--limit", "left 1=5"), "--limit: has no meaning with --built"),
        (("--policy", "none.toml"), "--policy: names no policy file"),
    ],
)
def test_options_at_fault(built, options, said):
    code, out, err = built("", *options)
    assert (code, out) == (2, "")
    assert said in err


def test_files_at_fault(sample_venues, tmp_path, capsys):
    theatre, out = sample_venues / "theatre", ["--out", str(tmp_path / "out")]
    left, venue, readings = (str(theatre / f"{name}.toml") for name in ("left", "venue", "readings"))
    stack = str(sample_venues / "meadow" / "front-left.toml")
    meadow = str(sample_venues / "meadow" / "venue.toml")
    for arguments, said in (
        (["--built", readings, left], "HANG VENUE: are not one hang and one venue"),
        (["--built", readings, left, left, venue], "HANG VENUE: are not one hang and one venue"),
        (["--built", left, left, venue], "format: is another kind of file"),
        (["--built", str(tmp_path / "none.toml"), left, venue], "none.toml: does not exist"),
        (["--built", readings, stack, meadow], "standing: makes it a stack"),
        (["--other-design", left, venue], "--other-design: has a meaning with --built alone"),
    ):
        assert cli.main(["compare", *arguments, *out]) == 2
        assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
