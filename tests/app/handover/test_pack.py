"""What is in a pack: of a hang, a show and a tour."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from acoustics.app import pack, staging
from rigging import equipment

ROOT = Path(__file__).resolve().parents[3]
THEATRE = ROOT / "sample_venues" / "theatre"
CATALOGUE = ROOT / "rigging" / "catalogue"
LEFT = "main, stage left (house right)"
GRID = ("--grid", "8")


@pytest.fixture(scope="module")
def show(tmp_path_factory, packed) -> tuple[dict[str, Any], Path, Path]:
    """A pack of a show that names its files in full: two mains, fills, power, stock; and the show's file."""
    folder = tmp_path_factory.mktemp("show")
    file: dict[str, Any] = {"format": "show/1", "name": "two", "venue": str(THEATRE / "venue.toml")}
    file |= {"channel": [{"name": "left"}, {"name": "right"}]}
    file["hang"] = [{"file": str(THEATRE / f"{side}.toml"), "channel": side} for side in ("left", "right")]
    fills = {"name": "fills", "enclosure": "compact", "position_m": [1.5, -2.0, 1.0], "count": 3}
    file["placed"] = [fills | {"step_m": [0.0, 2.0, 0.0], "channel": "left", "gain_db": -12.0}]
    file |= {"power": {"amplifier": "amp-4", "cable": "cable-8"}, "stock": {"medium": 24, "sub": 2}}
    file["align"] = [{"of": "fills", "to": LEFT, "at_m": [8.0, 0.0, 1.2]}]
    (folder / "show.toml").write_text(tomlkit.dumps(file))
    return *packed(folder / "show.toml", into=folder), folder / "show.toml"


def test_all_that_the_result_rests_on_is_there_as_it_was(theatre, used_in):
    listing, zipped = theatre
    inputs = {f"inputs/{name}.toml": THEATRE / f"{name}.toml" for name in ("left", "right", "venue")}
    items = {f"equipment/{name}.toml": CATALOGUE / f"{name}.toml" for name in used_in(THEATRE / "left.toml")}
    policy = {"policy.toml": ROOT / "rigging" / "policies" / "over_people.toml"}
    originals = inputs | items | policy
    with zipfile.ZipFile(zipped) as opened:
        for member, path in originals.items():
            assert opened.read(member) == path.read_bytes()
        results = {name for name in opened.namelist() if name.startswith(listing["jobs"][0]["results"])}
        assert {Path(name).name for name in results} == {"report.html", "field.nc", "evenness.csv", "rigging.json"}
        assert set(opened.namelist()) == originals.keys() | results | {"pack.json"}
        hashes = {name: hashlib.sha256(opened.read(name)).hexdigest() for name in opened.namelist()}
    assert {file["member"]: file["sha256"] for file in listing["files"]} == {
        name: digest for name, digest in hashes.items() if name != "pack.json"
    }
    roles = {file["member"]: file["role"] for file in listing["files"]}
    assert [roles[f"inputs/{name}.toml"] for name in ("left", "right", "venue")] == ["hang", "beside", "venue"]
    assert not any(file.get("original_sha256") for file in listing["files"])


def test_words_and_figures_are_those_of_predict_and_check(theatre, tmp_path, run):
    listing, _ = theatre
    files = (THEATRE / "left.toml", THEATRE / "venue.toml")
    predicted = json.loads(run("predict", *files, *GRID, "--out", tmp_path, "--json")[1])
    checked = json.loads(run("check", *files, "--beside", THEATRE / "right.toml", "--json")[1])
    words, figures = listing["jobs"][0]["words"], listing["jobs"][0]["figures"]
    reported = run("report", *files, *GRID, "--beside", THEATRE / "right.toml", "--out", tmp_path)[1]
    assert words == {"design": predicted["design"], "revision": re.search(r"-(\w+)/: ", reported)[1]}
    assert words["design"] == checked["design"]
    assert figures["served audience: level_a_mean_db"] == pytest.approx(predicted["whole"]["level_a_mean_db"])
    assert figures["balcony: worst_seat_db"] == pytest.approx(predicted["areas"][1]["worst_seat"]["from_mean_db"])
    assert figures["stalls: 2000 Hz deviation_db"] == pytest.approx(
        predicted["areas"][0]["octave_deviation_db"]["2000"]
    )
    assert figures["findings within"] == checked["counts"]["within"]
    assert figures["pick 1, frame hole 2: hook_kg"] == pytest.approx(checked["picks"][0]["hook_kg"])
    assert figures["weakest: used_pct"] == pytest.approx(100.0 * checked["findings"][0]["used"])


def test_equal_inputs_give_equal_bytes(theatre, tmp_path, packed):
    _, first = theatre
    beside = ("--beside", THEATRE / "right.toml")
    _, second = packed(THEATRE / "left.toml", THEATRE / "venue.toml", *beside, into=tmp_path)
    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()


def test_opened_it_comes_to_the_same(theatre, tmp_path, run):
    listing, zipped = theatre
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, err) == (0, "")
    assert "the same words, the same figures" in out
    folder = tmp_path / "out" / zipped.stem
    assert (folder / "inputs" / "left.toml").read_bytes() == (THEATRE / "left.toml").read_bytes()
    assert {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()} == {
        file["member"] for file in listing["files"]
    } | {"pack.json"}
    assert [path.name for path in (tmp_path / "out").iterdir()] == [folder.name]


def test_what_it_says_to_go_on_with_works(theatre, tmp_path, monkeypatch, run):
    """On a machine whose own catalogue is empty, the command that `unpack` prints comes to the pack's words."""
    listing, zipped = theatre
    _, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    asked = out.rstrip().splitlines()[-1].split()
    assert asked[:2] == ["evenhang", "check"]
    (tmp_path / "none").mkdir()
    monkeypatch.setattr(equipment, "packaged_folder", lambda: tmp_path / "none")
    code, checked, _ = run(*asked[1:], "--json")
    assert json.loads(checked)["design"] == listing["jobs"][0]["words"]["design"]
    assert json.loads(checked)["counts"]["within"] == listing["jobs"][0]["figures"]["findings within"]
    assert code == 0
    without = [word for word in asked[1:] if word not in ("--equipment", "--only-equipment")]
    assert run(*[word for word in without if not word.endswith("/equipment")])[0] == 2


def test_a_show_keeps_its_word_where_names_in_full_are_rewritten(show, tmp_path, run):
    listing, zipped, path = show
    rewritten = {file["member"]: file for file in listing["files"] if file.get("original_sha256")}
    (member,) = rewritten
    assert rewritten[member]["original_sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    with zipfile.ZipFile(zipped) as opened:
        text = opened.read(member).decode()
    data, original = tomllib.loads(text), tomllib.loads(path.read_text())
    assert data["venue"] == "../theatre/venue.toml"
    assert [hang["file"] for hang in data["hang"]] == ["../theatre/left.toml", "../theatre/right.toml"]
    for one, other in ((data, original), *zip(data["hang"], original["hang"], strict=True)):
        for key in ("venue", "file", "hang"):
            one.pop(key, None), other.pop(key, None)
        assert one == other
    predicted = json.loads(run("predict", path, *GRID, "--out", tmp_path, "--json")[1])
    reported = run("report", path, *GRID, "--out", tmp_path)[1]
    word = re.search(r"-(\w+)/: ", reported)[1]
    assert listing["jobs"][0]["words"] == {"design": predicted["design"], "revision": word}
    assert str(ROOT) not in text


def test_a_show_brings_all_that_it_names(show, used_in):
    listing, zipped, _ = show
    items = {Path(file["member"]).stem for file in listing["files"] if file["role"] == "equipment"}
    assert items == used_in(THEATRE / "left.toml") | {"compact", "amp-4", "cable-8", "sub"}
    with zipfile.ZipFile(zipped) as opened:
        names = {name.rsplit("/", 1)[1]: name for name in opened.namelist() if name.startswith("results/")}
        assert names.keys() == {"report.html", "field.nc", "evenness.csv", "rigging.json"}
        assert "inputs/theatre/venue.toml" in opened.namelist()


def test_an_opened_show_comes_to_the_same_and_so_does_another_pack_of_it(show, tmp_path, other_catalogue, run, packed):
    listing, zipped, _ = show
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, err) == (0, "")
    assert "the same words, the same figures" in out
    folder = tmp_path / "out" / zipped.stem
    use = ("--equipment", folder / "equipment", "--only-equipment", "--policy", folder / "policy.toml")
    again, _ = packed(folder / listing["jobs"][0]["file"], *use, into=tmp_path / "again")
    assert again["jobs"][0]["words"] == listing["jobs"][0]["words"]
    assert again["jobs"][0]["figures"] == pytest.approx(listing["jobs"][0]["figures"])
    assert not any(file["original_sha256"] for file in again["files"])


def test_what_drives_a_show_counts_for_the_word_of_its_check(show, tmp_path, run):
    _, _, path = show
    word = json.loads(run("check", path, "--json")[1])["revision"]
    folder = tmp_path / "rig"
    shutil.copytree(CATALOGUE, folder)
    text = (folder / "amp-4.toml").read_text()
    (folder / "amp-4.toml").write_text(re.sub(r"(least_ohm|channels) = .*", r"\1 = 8", text, count=1))
    assert (folder / "amp-4.toml").read_text() != text
    other = run("check", path, "--equipment", folder, "--only-equipment", "--json")[1]
    assert json.loads(other)["revision"] != word


def test_options_are_packed_and_used(tmp_path, run):
    asked = ("--drive", "-3", "--mute", "12", "--limit", "left 1=1", "--points", "2", "--policy", "no_people")
    code, out, _ = run("pack", THEATRE / "left.toml", THEATRE / "venue.toml", *asked, *GRID, "--out", tmp_path)
    assert code == 1  # the point carries more than a kilogram
    assert re.search(r"[1-9]\d* exceed, ", out)
    (zipped,) = tmp_path.glob("*/*.zip")
    code, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 0
    assert "--limit 'left 1=1' --equipment" in out
    listing = json.loads((tmp_path / "out" / zipped.stem / "pack.json").read_text())
    assert listing["asked"] == {
        "grid_m": 8.0, "drive_db": -3.0, "programme": "pink", "over_edges": False, "points": 2, "correlation": None,
        "mute": ["12"], "limit": ["left 1=1"],
    }  # fmt: skip
    assert listing["jobs"][0]["figures"]["findings that exceed"] > 0


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ((THEATRE / "left.toml",), "VENUE: is missing; name a venue file after the hang, or a show or tour file"),
        ((THEATRE / "left.toml", THEATRE / "venue.toml", "--correlation", "1"), "--correlation: is for the channels"),
        ((ROOT / "sample_venues/arena/show.toml", "x.toml"), "VENUE: has no meaning for a show"),
        ((ROOT / "sample_venues/arena/show.toml", "--points", "2"), "--points: has no meaning for a show"),
        ((THEATRE / "left.toml", THEATRE / "none.toml"), "none.toml: does not exist; check the path"),
        ((THEATRE / "venue.toml", THEATRE / "venue.toml"), "format: is another kind of file"),
    ],
)
def test_what_cannot_be_packed(asked, message, tmp_path, run):
    code, out, err = run("pack", *asked, *GRID, "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert message in err
    assert not (tmp_path / "out").exists()


def test_a_file_that_changes_meanwhile_is_refused(tmp_path, monkeypatch, run):
    def late(files: Any, at: Any, home: Path) -> Any:
        found = staging.stage(files, at, home)
        path = home / "inputs" / "venue.toml"
        path.write_text(path.read_text().replace("Gable", "Cable"))
        return found

    monkeypatch.setattr(pack, "stage", late)
    code, _, err = run("pack", THEATRE / "left.toml", THEATRE / "venue.toml", *GRID, "--out", tmp_path / "out")
    assert code == 2
    assert "or a file that it names changed meanwhile; pack it again" in err


# The zip itself.


@pytest.fixture(scope="module")
def tour(tmp_path_factory, packed) -> tuple[dict[str, Any], Path]:
    """A pack of a tour of two stops, with equipment of its own that is called by a folder's name."""
    folder = tmp_path_factory.mktemp("tour")
    for name in ("left", "right", "venue"):
        shutil.copy(THEATRE / f"{name}.toml", folder)
    (folder / "mine").mkdir()
    own = (CATALOGUE / "shackle-5-8.toml").read_text().replace('"shackle-5-8"', '"shackle-own"')
    (folder / "mine" / "own.toml").write_text(own)
    (folder / "own.toml").write_text((folder / "left.toml").read_text().replace('"shackle-5-8"', '"shackle-own"', 1))
    file: dict[str, Any] = {"format": "tour/1", "name": "two nights", "grid_m": 8.0, "equipment": ["mine"]}
    file["policy"] = "no_people"
    stops = [["left.toml", "right.toml"], ["own.toml"]]
    file["stop"] = [{"venue": "venue.toml", "hangs": hangs} for hangs in stops]
    (folder / "tour.toml").write_text(tomlkit.dumps(file))
    return packed(folder / "tour.toml", into=folder)


def test_a_tour_is_packed_with_all_stops_and_its_own_equipment(tour, tmp_path, run):
    listing, zipped = tour
    assert (listing["name"], listing["asked"]["grid_m"]) == ("two nights", 8.0)
    jobs = [(one["file"], one["beside"]) for one in listing["jobs"]]
    left, right = "inputs/left.toml", "inputs/right.toml"
    assert jobs == [(left, [right]), (right, [left]), ("inputs/own.toml", [])]
    with zipfile.ZipFile(zipped) as opened:
        copy = tomllib.loads(opened.read("inputs/tour.toml").decode())
        assert b"shackle-own" in opened.read("equipment/own.toml")
        assert tomllib.loads(opened.read("policy.toml").decode())["over_people"] is False
    assert "equipment" not in copy  # the pack has all of it in one folder of its own
    assert "policy" not in copy
    assert [stop["hangs"] for stop in copy["stop"]] == [["left.toml", "right.toml"], ["own.toml"]]
    code, out, err = run("unpack", zipped, "--out", tmp_path)
    assert code == 0, err
    assert out.count("the same words, the same figures") == 3


def test_an_unpacked_tour_goes_on_as_it_says(tour, tmp_path, run):
    _, zipped = tour
    _, out, _ = run("unpack", zipped, "--out", tmp_path)
    (line,) = (line for line in out.splitlines() if line.startswith("  evenhang "))
    code, printed, err = run(*line.split()[1:], "--out", tmp_path / "again", "--processes", "1", "--json")
    assert code == 0, err
    assert [row["hang"] for row in json.loads(printed)["rows"]] == [LEFT, "main, stage right (house left)", LEFT]


def test_a_tour_has_its_own_grid(tour, tmp_path, run):
    _, zipped = tour
    with zipfile.ZipFile(zipped) as opened:
        opened.extractall(tmp_path)
    code, _, err = run("pack", tmp_path / "inputs" / "tour.toml", "--grid", "4", "--out", tmp_path / "out")
    assert code == 2
    assert "--grid: has no meaning for a tour" in err


def test_a_tour_that_is_to_be_designed_is_not_packed(tmp_path, run):
    text = 'format = "tour/1"\nname = "t"\n[[stop]]\nvenue = "venue.toml"\nhangs = ["left.toml"]\ndesign = true\n'
    (tmp_path / "tour.toml").write_text(text)
    code, _, err = run("pack", tmp_path / "tour.toml", "--out", tmp_path / "out")
    assert code == 2
    assert "stop[1].design: asks for a search, which a pack does not hold" in err
    assert not (tmp_path / "out").exists()
