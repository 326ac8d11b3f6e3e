"""`predict`, `check` and `design` of shows, and what if something fails."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from acoustics.app import cli

QUICK = ("--seconds", "0.5", "--grid", "4")
LEFT, RIGHT = "main, stage left (house right)", "main, stage right (house left)"


@pytest.fixture
def two(sample_venues: Path, tmp_path: Path) -> Callable[..., Path]:
    """A show of the theatre's two mains and a row of three fills; with some keys set."""

    def write(**keys: Any) -> Path:
        folder = sample_venues / "theatre"
        file: dict[str, Any] = {"format": "show/1", "name": "two", "venue": str(folder / "venue.toml")}
        file |= {"channel": [{"name": "left"}, {"name": "right"}]}
        file["hang"] = [{"file": str(folder / f"{side}.toml"), "channel": side} for side in ("left", "right")]
        fills = {"name": "fills", "enclosure": "compact", "position_m": [1.5, -2.0, 1.0], "count": 3}
        file["placed"] = [fills | {"step_m": [0.0, 2.0, 0.0], "channel": "left", "gain_db": -12.0}]
        path = tmp_path / "show.toml"
        path.write_text(tomlkit.dumps(file | keys))
        return path

    return write


@pytest.fixture
def checked(capsys) -> Callable[..., tuple[int, str, str]]:
    """What `check` says: status, output, errors."""

    def run(*asked: object) -> tuple[int, str, str]:
        code = cli.main(["check", *map(str, asked)])
        return code, *capsys.readouterr()

    return run


def test_every_hang_is_checked_with_all_others(two, checked, sample_venues):
    code, out, _ = checked(two(), "--json")
    data = json.loads(out)
    folder = sample_venues / "theatre"
    _, alone, _ = checked(folder / "left.toml", folder / "venue.toml", "--beside", folder / "right.toml", "--json")
    assert [hang["hang"] for hang in data["hangs"]] == [LEFT, RIGHT]
    assert data["hangs"][0]["findings"] == json.loads(alone)["findings"]
    assert code == 4  # no amplifier is named


def test_a_shared_point_carries_both(two, checked, sample_venues, tmp_path):
    """The right one hung from the left one's points as well: each of these carries twice what it did."""
    folder = sample_venues / "theatre"
    text = (folder / "left.toml").read_text().replace(LEFT, "second")
    (tmp_path / "second.toml").write_text(text)
    hangs = [{"file": str(folder / "left.toml"), "channel": "left"}, {"file": "second.toml", "channel": "left"}]
    one = json.loads(checked(two(hang=hangs[:1], placed=[]), "--json")[1])["hangs"][0]
    both = json.loads(checked(two(hang=hangs, placed=[]), "--json")[1])["hangs"][0]
    loads = [{f["part"]: f["value"] for f in of["findings"] if f["what"] == "load on the point"} for of in (one, both)]
    assert loads[1] == pytest.approx({name: 2.0 * value for name, value in loads[0].items()}, rel=1e-9, abs=0)


POWER = {"amplifier": "amp-4", "cable": "cable-8"}


def test_patch(two, checked):
    """Twelve `medium` of two ways, four in parallel at most: three sets a side; three fills of one way together.

    On amplifiers of four channels: two sets each, so three for six sets of mains, and one for the fills; on cables of
    four pairs two sets, so two for each side and one for the fills (calc: hand).
    """
    code, out, _ = checked(two(power=POWER), "--json")
    data = json.loads(out)
    assert code == 0
    patch = data["patch"]
    assert [(one["part"], one["rows"]) for one in patch[:3]] == [
        (LEFT, [1, 2, 3, 4]),
        (LEFT, [5, 6, 7, 8]),
        (LEFT, [9, 10, 11, 12]),
    ]
    assert [(one["amplifier"], one["channels"]) for one in patch] == [
        (1, [1, 2]), (1, [3, 4]), (2, [1, 2]), (2, [3, 4]), (3, [1, 2]), (3, [3, 4]), (4, [1]),
    ]  # fmt: skip
    assert [(one["cable"], one["pairs"]) for one in patch] == [
        (1, [1, 2]), (1, [3, 4]), (2, [1, 2]), (1, [1, 2]), (1, [3, 4]), (2, [1, 2]), (1, [1]),
    ]  # fmt: skip
    assert (data["taken"]["amp-4"], data["taken"]["cable-8"], data["taken"]["medium"]) == (4, 5, 24)
    found = {(one["part"], one["what"]): one for one in data["findings"]}
    # 8 ohm over four, 16 ohm over three.
    assert found["medium in parallel", "least load of a channel"]["value"] == pytest.approx(2.0, rel=1e-12)
    assert found["compact in parallel", "least load of a channel"]["value"] == pytest.approx(16 / 3, rel=1e-12)
    assert found["medium in parallel", "enclosures on one channel"]["limit"] == 4


def test_more_ways_than_an_amplifier_has(two, checked, tmp_path):
    own = (
        'format = "amplifier/1"\nname = "amp-1"\ndescription = "one"\nsource = "typed"\nchannels = 1\nleast_ohm = 2.0\n'
    )
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "amp.toml").write_text(own)
    code, out, _ = checked(two(power=POWER | {"amplifier": "amp-1"}), "--equipment", tmp_path / "own", "--json")
    found = {(one["part"], one["what"]): one["status"] for one in json.loads(out)["findings"]}
    assert code == 1
    assert found["medium in parallel", "ways on one amplifier"] == "exceeds"
    assert found["compact in parallel", "ways on one amplifier"] == "within"


def test_groups_of_a_hang_stay_apart(two, checked, sample_venues, tmp_path):
    folder = sample_venues / "theatre"
    groups = "\n[[group]]\nrows = [1, 2, 3]\n[[group]]\nrows = [4, 5, 6, 7, 8]\n"
    (tmp_path / "grouped.toml").write_text((folder / "left.toml").read_text() + groups)
    path = two(hang=[{"file": "grouped.toml", "channel": "left"}], placed=[], power=POWER)
    patch = json.loads(checked(path, "--json")[1])["patch"]
    assert [one["rows"] for one in patch] == [[1, 2, 3], [4, 5, 6, 7], [8], [9, 10, 11, 12]]


@pytest.mark.parametrize(
    ("stock", "code", "status"), [(24, 0, "within"), (23, 1, "exceeds"), (None, 4, "cannot be judged")]
)
def test_stock(two, checked, stock, code, status):
    hoists = {"hoist-1t": 4, "frame-large": 2, "compact": 3, "amp-4": 9, "cable-8": 9}
    path = two(power=POWER, stock=hoists | ({} if stock is None else {"medium": stock}))
    found, out, _ = checked(path, "--json")
    (one,) = (f for f in json.loads(out)["findings"] if (f["part"], f["what"]) == ("stock", "medium"))
    assert (found, one["status"], one["value"]) == (code, status, 24.0)


def test_a_point_that_carries_less(checked, sample_venues):
    folder = sample_venues / "theatre"
    asked = [folder / "left.toml", folder / "venue.toml", "--limit", "left 1=300", "--json"]
    code, out, _ = checked(*asked)
    data = json.loads(out)
    (found,) = (f for f in data["findings"] if (f["part"], f["what"]) == ("point left 1", "load on the point"))
    assert (code, found["limit"], found["status"]) == (1, 300.0, "exceeds")
    before = json.loads(checked(*asked[:2], "--json")[1])
    assert data["revision"] != before["revision"]
    assert {**found, "limit": 650.0, "status": "within", "used": found["value"] / 650.0} in before["findings"]


@pytest.mark.parametrize(
    ("limit", "wrong"),
    [
        ("left 1", "is no POINT=KG"),
        ("left 9=300", "names no point"),
        ("left 1=-3", "lies outside"),
        ("left 1=x", "no POINT"),
    ],
)
def test_limits_at_fault(checked, sample_venues, limit, wrong):
    folder = sample_venues / "theatre"
    code, out, err = checked(folder / "left.toml", folder / "venue.toml", "--limit", limit)
    assert (code, out) == (2, "")
    (line,) = err.splitlines()
    assert line.startswith("--limit: ")
    assert wrong in line


def test_a_muted_row_is_a_column_with_its_drive_at_zero(evenhang, sample_venues, tmp_path):
    """Against 60 dB less in the file; and what it weighs stays."""
    folder = sample_venues / "theatre"
    text = (folder / "left.toml").read_text() + "\n[[group]]\nrows = [3]\ngain_db = -60.0\n"
    (tmp_path / "quiet.toml").write_text(text)
    muted = evenhang("predict", folder / "left.toml", folder / "venue.toml", "--grid", 4, "--mute", 3).field
    whole = evenhang("predict", folder / "left.toml", folder / "venue.toml", "--grid", 4).field
    quiet = evenhang("predict", tmp_path / "quiet.toml", folder / "venue.toml", "--grid", 4).field
    # 60 dB less of one row of twelve are within 0.02 dB of none of it but where all others cancel.
    off = np.abs(muted["level_a"].values - quiet["level_a"].values)
    assert np.quantile(off, 0.99) < 0.02
    assert np.abs(muted["level_a"].values - whole["level_a"].values).max() > 0.3
    assert muted.attrs["mass_kg"] == whole.attrs["mass_kg"]
    assert muted.attrs["revision"] != whole.attrs["revision"]


def test_muting_in_a_show(two, evenhang):
    path = two()
    whole = evenhang("predict", path, "--grid", 4).field
    mute = [word for row in (1, 2, 3) for word in ("--mute", f"fills:{row}")]
    muted = evenhang("predict", path, "--grid", 4, *mute).field
    # Bands may be cut less finely without them, which moves no level by 0.1 dB.
    np.testing.assert_allclose(muted["part_level"].values[:2], whole["part_level"].values[:2], rtol=0, atol=0.1)
    assert np.isnan(muted["part_level"].values[2]).all()
    assert not (muted["loudest_part"].values == 2).any()
    assert muted.attrs["highest_drive_db"] >= whole.attrs["highest_drive_db"]  # what is silent limits nothing


@pytest.mark.parametrize(
    ("command", "mute", "wrong"),
    [
        ("hang", "13", "is no row of main, stage left (house right) that sounds"),
        ("hang", "top", "is no row number"),
        ("show", "3", "names no part of the show, as PART:ROW"),
        ("show", "fills:4", "is no enclosure of fills"),
        ("show", f"{LEFT}:13", "is no row of"),
        ("show", "fills:x", "is no PART:ROW"),
    ],
)
def test_muting_at_fault(two, evenhang, sample_venues, command, mute, wrong):
    folder = sample_venues / "theatre"
    asked = [two()] if command == "show" else [folder / "left.toml", folder / "venue.toml"]
    run = evenhang("predict", *asked, "--mute", mute)
    assert (run.code, run.out) == (2, "")
    (line,) = run.err.splitlines()
    assert line.startswith("--mute: ")
    assert wrong in line


@pytest.mark.parametrize(
    ("option", "said"),
    [(("--lines", "100"), "--lines"), (("--points", "2"), "--points"), (("--map", "1000"), "--map")],
)
def test_options_of_hangs_are_refused(two, evenhang, option, said):
    run = evenhang("predict", two(), *option)
    assert (run.code, run.out) == (2, "")
    assert f"{said}: has no meaning for a show" in run.err


def test_a_hang_needs_its_venue(evenhang, sample_venues):
    for command in ("predict", "design"):
        run = evenhang(command, sample_venues / "theatre" / "left.toml")
        assert run.code == 2
        assert "VENUE: is missing" in run.err


def test_aligned_show_has_the_delays(two, evenhang):
    align = [{"of": "fills", "to": LEFT, "lead_ms": 2.0}]
    path = two(align=align)
    path.write_text("# kept\n" + path.read_text())
    run = evenhang("predict", path, "--grid", 3, "--json")
    (delay,) = run.json["delays"]
    again = run.folder / "aligned.toml"
    assert "# kept" in again.read_text()
    assert tomlkit.parse(again.read_text())["placed"][0]["delay_ms"] == round(delay["delay_s"] * 1000, 2)
    (second,) = evenhang("predict", again, "--grid", 3, "--json").json["delays"]
    assert second["delay_s"] == pytest.approx(delay["delay_s"], rel=0, abs=1e-5)  # it is where it should be


def test_design_of_one_hang_of_a_show(two, evenhang):
    """It is judged on what it serves by the show."""
    hangs = tomlkit.parse(two().read_text())["hang"].unwrap()
    hangs[0]["serves"] = ["stalls"]
    run = evenhang("design", two(hang=hangs), "--hang", LEFT, *QUICK, "--json")
    assert run.code == 0, run.err
    assert run.json["hang"] == LEFT
    assert run.field["surface_served"].values.tolist().count(1) == 1


@pytest.mark.parametrize(
    ("asked", "wrong"), [((), "is missing: which hang"), (("--hang", "nobody"), "is no hang of the show")]
)
def test_which_hang_of_a_show(two, evenhang, asked, wrong):
    run = evenhang("design", two(), *asked)
    assert run.code == 2
    assert wrong in run.err
    assert LEFT in run.err


def test_a_mirror_image_of_a_show_is_not_designed(two, evenhang):
    run = evenhang("design", two(), "--hang", RIGHT)
    assert run.code == 2
    assert "makes it a mirror image" in run.err


def test_sample_show(evenhang, checked, sample_venues):
    """Runs as a user runs it; nothing of it exceeds, and the two sides are alike."""
    path = sample_venues / "arena" / "show.toml"
    run = evenhang("predict", path, "--grid", 5, "--json")
    parts = {part["name"]: part for part in run.json["parts"]}
    for name, part in parts.items():
        other = name.replace("stage left (house right)", "stage right (house left)").replace(
            "stage left", "stage right"
        )
        for area, figures in part["areas"].items():
            mirrored = parts[other]["areas"][area]["level_a_mean_db"]
            assert figures["level_a_mean_db"] == pytest.approx(mirrored, rel=0, abs=1e-3)
    assert len(run.json["delays"]) == 7
    assert checked(path)[0] == 0
