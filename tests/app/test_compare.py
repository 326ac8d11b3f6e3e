"""Options side by side: each row is what `predict` and `check` say of that option alone."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustics.app import cli


@pytest.fixture
def compared(sample_venues: Path, tmp_path: Path, capsys: Any) -> Callable[..., tuple[int, Any, str]]:
    """Status, data (or text) and messages of `compare` in the theatre, on a grid of 5 m."""

    def run(*hangs: str, options: tuple[str, ...] = (), text: bool = False) -> tuple[int, Any, str]:
        folder = sample_venues / "theatre"
        files = [str(folder / f"{name}.toml") for name in hangs] + [str(folder / "venue.toml")]
        more = [*options, "--grid", "5", "--out", str(tmp_path / "out")]
        code = cli.main(["compare", *files, *more, *([] if text else ["--json"])])
        said = capsys.readouterr()
        return code, said.out if text or not said.out else json.loads(said.out), said.err

    return run


def test_rows_are_what_prediction_and_check_say(compared, evenhang, sample_venues, tmp_path, capsys):
    _, data, _ = compared("left", options=("--tilt=0:4:4",))
    assert [one["tilt_deg"] for one in data["options"]] == [0.0, 4.0]
    text = (sample_venues / "theatre" / "left.toml").read_text().replace("tilt_deg = 2.0", "tilt_deg = 4.0")
    (tmp_path / "four.toml").write_text(text)
    venue = sample_venues / "theatre" / "venue.toml"
    whole = evenhang("predict", tmp_path / "four.toml", venue, "--grid", 5, "--json").json["whole"]
    for name in ("level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db"):
        assert data["options"][1][name] == pytest.approx(whole[name], rel=1e-12, abs=0)
    assert data["options"][1]["worst_seat_db"] == pytest.approx(whole["worst_seat"]["from_mean_db"], rel=1e-12, abs=0)
    cli.main(["check", str(tmp_path / "four.toml"), str(venue), "--json"])
    counts = json.loads(capsys.readouterr().out)["counts"]
    assert (data["options"][1]["exceed"], data["options"][1]["cannot_be_judged"]) == (counts["exceeds"], 0)


def test_j_is_the_mean_deviation_of_the_bands(compared, evenhang, sample_venues):
    """Against plain statistics of the field: weighted standard deviations of the third octaves 200 Hz to 10 kHz."""
    _, data, _ = compared("left")
    venue = sample_venues / "theatre" / "venue.toml"
    field = evenhang("predict", sample_venues / "theatre" / "left.toml", venue, "--grid", 5).field
    level, weight = field["level"].sel(band=slice(200, 10_000)).values, field["seat_weight"].values
    off = []
    for one in level:
        known = np.isfinite(one) & (weight > 0)
        mean = np.average(one[known], weights=weight[known])
        off.append(np.sqrt(np.average((one[known] - mean) ** 2, weights=weight[known])))
    assert len(off) == 18
    assert data["options"][0]["j_db"] == pytest.approx(np.mean(off), rel=1e-9, abs=0)


def test_what_exceeds_a_limit_is_no_option(compared):
    code, data, _ = compared("left", "arc", options=("--tilt=-2:2:4",))
    no = [one for one in data["options"] if one["not_an_option_because"]]
    assert [(one["hang"], one["tilt_deg"]) for one in no] == [("arc, stage left (house right)", -2.0)]
    assert "frame: tilt beyond its picks' reach" in no[0]["not_an_option_because"]
    able = {one["option"]: one["j_db"] for one in data["options"] if not one["not_an_option_because"]}
    assert (code, data["best"]) == (0, min(able, key=able.__getitem__))
    assert data["why"].startswith(f"{data['best']} is the most even of 3 that exceed no limit")


def test_where_nothing_may_hang(compared):
    code, data, _ = compared("left", options=("--limit", "left 1=10"))
    assert (code, data["best"], data["why"]) == (1, None, "every option exceeds a limit")


def test_where_nothing_may_hang_the_fewest_limits_are_told(compared):
    code, data, _ = compared("left", "steep-bare", options=("--limit", "left 1=10"))
    assert (code, data["best"]) == (1, None)
    counts = {one["option"]: one["exceed"] for one in data["options"]}
    nearest = min(counts, key=counts.__getitem__)
    assert data["why"].startswith(f"every option exceeds a limit; {nearest} by the fewest, {counts[nearest]} finding")


def test_what_cannot_be_judged_of_the_best_is_told_with_the_next_that_is_judged(compared, sample_venues, tmp_path):
    """Without a word on cables the even column is open; the arc has all judged, and comes second."""
    text = (sample_venues / "theatre" / "left.toml").read_text().replace("[loom]\nkg_per_m = 1.4\n", "")
    (tmp_path / "bare.toml").write_text(text.replace("main, stage left", "bare, stage left"))
    code, data, _ = compared(str(tmp_path / "bare"), "arc", options=("--tilt=2:2:1",))
    first, second = data["options"]
    assert (first["exceed"], second["exceed"], second["cannot_be_judged"]) == (0, 0, 0)
    assert first["cannot_be_judged"] > 0
    assert first["j_db"] < second["j_db"]
    assert (code, data["best"]) == (4, first["option"])
    assert data["why"].endswith(
        f"; {first['cannot_be_judged']} of its findings cannot be judged, and may exceed; of those with all judged and "
        f"within it is {second['option']}, J {second['j_db']:.2f} dB"
    )
    code, data, _ = compared(str(tmp_path / "bare"))
    assert code == 4
    assert data["why"].endswith("; no option has all of them judged and within")


def test_numbers_of_enclosures(compared, sample_venues, tmp_path, evenhang):
    """A count is the file's column with that many: what `predict` says of a file with rows taken off or repeated."""
    _, data, _ = compared("left", options=("--count", "10,13"))
    assert [(one["option"], one["enclosures"]) for one in data["options"]] == [
        ("10 enclosures", 10), ("13 enclosures", 13),
    ]  # fmt: skip
    rows = (sample_venues / "theatre" / "left.toml").read_text().split("[[column]]")
    venue = sample_venues / "theatre" / "venue.toml"
    for one, text in zip(data["options"], (rows[:11], [*rows[:-1], rows[-1] + "\n", rows[-1]]), strict=True):
        (tmp_path / "counted.toml").write_text("[[column]]".join(text))
        whole = evenhang("predict", tmp_path / "counted.toml", venue, "--grid", 5, "--json").json["whole"]
        assert one["level_a_mean_db"] == pytest.approx(whole["level_a_mean_db"], rel=1e-12, abs=0)
    _, steps, _ = compared("left", options=("--count", "8:12:4", "--tilt=0:2:2"))
    assert [one["enclosures"] for one in steps["options"]] == [8, 8, 12, 12]


@pytest.mark.parametrize("count", ["0", "65", "8.5", "a", "8,8", "8:12", "8:9:0.5", ""])
def test_counts_at_fault(compared, count):
    with pytest.raises(SystemExit) as ended:
        compared("left", options=("--count", count))
    assert ended.value.code == 2


def test_a_mirror_image_has_no_other_count(compared):
    code, out, err = compared("right", options=("--count", "8"))
    assert (code, out) == (2, "")
    assert "mirror_of: makes it a mirror image: --count changes a design" in err


def test_a_hang_beside_is_on_the_points_too(compared, sample_venues, tmp_path):
    text = (sample_venues / "theatre" / "left.toml").read_text().replace("main, stage left", "second, stage left")
    (tmp_path / "second.toml").write_text(text)
    _, alone, _ = compared("left", options=("--limit", "left 1=600"))
    code, both, _ = compared("left", options=("--limit", "left 1=600", "--beside", str(tmp_path / "second.toml")))
    assert alone["options"][0]["exceed"] == 0
    assert (code, both["options"][0]["not_an_option_because"][0]) == (1, "point left 1: load on the point")
    assert alone["revision"] != both["revision"]


def test_warmer_air_and_trims(compared):
    _, data, _ = compared("left", options=("--temperature=0:30:30", "--trim=10:11:1"))
    assert [(one["trim_m"], one["temperature_c"]) for one in data["options"]] == [(10, 0), (10, 30), (11, 0), (11, 30)]
    assert data["options"][2]["lowest_edge_m"] - data["options"][0]["lowest_edge_m"] == pytest.approx(1.0, rel=1e-9)
    assert data["options"][0]["j_db"] != data["options"][1]["j_db"]


def test_files(compared):
    _, text, _ = compared("left", options=("--tilt=0:2:2", "--mute", "3"), text=True)
    folder = Path(text.split("written to ")[1].split("/:")[0])
    rows = list(csv.DictReader((folder / "compare.csv").read_text().splitlines()))
    data = json.loads((folder / "compare.json").read_text())
    assert [row["option"] for row in rows] == [one["option"] for one in data["options"]] == ["tilt +0°", "tilt +2°"]
    assert [float(row["j_db"]) for row in rows] == [one["j_db"] for one in data["options"]]
    assert (folder / "distance.svg").stat().st_size > 10_000
    assert (folder / "plans.svg").stat().st_size > 10_000
    assert "best tilt" in text


def test_table_json_csv_and_page_agree(compared):
    _, text, _ = compared("left", "arc", options=("--tilt=-2:2:4",), text=True)
    folder = Path(text.split("written to ")[1].split("/:")[0])
    data = json.loads((folder / "compare.json").read_text())
    rows = list(csv.DictReader((folder / "compare.csv").read_text().splitlines()))
    page = (folder / "compare.html").read_text()
    assert data["why"] in text
    assert data["why"] in page
    for one, row in zip(data["options"], rows, strict=True):
        assert set(one) == set(row)
        for name, value in one.items():
            written = "; ".join(value) if isinstance(value, list) else "" if value is None else str(value)
            assert row[name] == written
        line = next(line for line in text.splitlines() if one["option"] + "  " in line)
        assert f"{one['j_db']:.2f}" in line
        assert line.startswith("NO ") == bool(one["not_an_option_because"])
        assert (f"<s>{one['option']}</s>" in page) == bool(one["not_an_option_because"])
        assert all(reason.replace("'", "&#39;") in page for reason in one["not_an_option_because"])
    for caution in data["cautions"]:
        assert caution.replace("'", "&#39;") in page
    for outside in ("src=", 'href="http', "@import", "url(http"):
        assert outside not in page


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--tilt=-4:60:1",), "are 65 options, 60 at most"),
        (("--mute", "14"), "is no row of main"),
        (("--limit", "left 9=1"), "names no point"),
    ],
)
def test_at_fault(compared, options, said):
    code, out, err = compared("left", options=options)
    assert (code, out) == (2, "")
    assert said in err


@pytest.mark.parametrize("tilt", ["4", "4:0:1", "0:4:0", "a:b:c"])
def test_steps_at_fault(compared, tilt):
    with pytest.raises(SystemExit) as ended:
        compared("left", options=(f"--tilt={tilt}",))
    assert ended.value.code == 2


def test_a_venue_is_needed(capsys, sample_venues):
    assert cli.main(["compare", str(sample_venues / "theatre" / "left.toml")]) == 2
    assert "VENUE: is missing; name hang files, then a venue file" in capsys.readouterr().err
