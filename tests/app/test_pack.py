"""Packs: what is in them, that they come to the same elsewhere, and that nothing in them is taken on trust."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import re
import shutil
import stat
import struct
import tomllib
import zipfile
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from acoustics import plots
from acoustics.app import archive, cli, job, pack, staging
from acoustics.inputs import InputFile
from rigging import equipment
from rigging.content import sha256_of

ROOT = Path(__file__).resolve().parents[2]
THEATRE = ROOT / "sample_venues" / "theatre"
CATALOGUE = ROOT / "rigging" / "catalogue"
LEFT = "main, stage left (house right)"
GRID = ("--grid", "8")


def run(*asked: object) -> tuple[int, str, str]:
    """Status, output and errors of a command, its pictures left empty: they take most of the time."""

    def empty(figure: Any, target: Any) -> None:
        target.write_text("<svg/>") if isinstance(target, Path) else target.write("<svg/>")

    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        patch.setattr(plots, "save_svg", empty)
        try:
            code = cli.main([*map(str, asked)])
        except SystemExit as end:
            code = int(end.code or 0)
    return code, out.getvalue(), err.getvalue()


def packed(*asked: object, into: Path) -> tuple[dict[str, Any], Path]:
    """The listing that `evenhang pack` prints, and the zip."""
    code, out, err = run("pack", *asked, *GRID, "--out", into, "--json")
    assert code in (0, 4), err
    listing = json.loads(out)
    return listing, Path(listing["pack"])


@pytest.fixture(scope="module")
def theatre(tmp_path_factory) -> tuple[dict[str, Any], Path]:
    """A pack of the theatre's left main beside the right one."""
    into = tmp_path_factory.mktemp("theatre")
    return packed(THEATRE / "left.toml", THEATRE / "venue.toml", "--beside", THEATRE / "right.toml", into=into)


@pytest.fixture(scope="module")
def show(tmp_path_factory) -> tuple[dict[str, Any], Path, Path]:
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


@pytest.fixture
def changed(tmp_path) -> Callable[..., Path]:
    """A zip with some members replaced (None: left out), others added, and its listing worked on."""

    def write(zipped: Path, work: Callable[[dict[str, Any]], Any] | None = None, **members: bytes | None) -> Path:
        with zipfile.ZipFile(zipped) as opened:
            held: dict[str, bytes | None] = {name: opened.read(name) for name in opened.namelist()}
        held |= {name.replace("__", "/").replace("_toml", ".toml"): content for name, content in members.items()}
        if work is not None:
            listing = json.loads(held["pack.json"] or b"")
            work(listing)
            held["pack.json"] = json.dumps(listing).encode()
        target = tmp_path / "changed.zip"
        with zipfile.ZipFile(target, "w") as opened:
            for name, content in held.items():
                if content is not None:
                    opened.writestr(name, content)
        return target

    return write


def said(err: str) -> list[str]:
    """Messages, each of one line."""
    lines = err.splitlines()
    assert lines
    assert "Traceback" not in err
    return lines


def test_all_that_the_result_rests_on_is_there_as_it_was(theatre):
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


def used_in(path: Path) -> set[str]:
    """All equipment that a hang's file names, read off its text, and the pick arms that its frame's file does: what the
    report says of other holes tries these."""
    known = {path.stem for path in CATALOGUE.glob("*.toml")}
    names = known & set(re.findall(r'"([^"]+)"', path.read_text()))
    frames = [(CATALOGUE / f"{name}.toml").read_text() for name in names if name.startswith("frame")]
    return names | (known & set(re.findall(r'"(arm-[^"]+)"', " ".join(frames))))


def test_words_and_figures_are_those_of_predict_and_check(theatre, tmp_path):
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


def test_equal_inputs_give_equal_bytes(theatre, tmp_path):
    _, first = theatre
    beside = ("--beside", THEATRE / "right.toml")
    _, second = packed(THEATRE / "left.toml", THEATRE / "venue.toml", *beside, into=tmp_path)
    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()


def test_opened_it_comes_to_the_same(theatre, tmp_path):
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


def test_what_it_says_to_go_on_with_works(theatre, tmp_path, monkeypatch):
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


@pytest.fixture
def other_catalogue(tmp_path, monkeypatch) -> Path:
    """Another machine: its packaged `medium` is heavier and 3 dB louder, and it has no `shackle-5-8`."""
    folder = tmp_path / "catalogue"
    shutil.copytree(CATALOGUE, folder)
    medium = tomllib.loads((folder / "medium.toml").read_text())
    medium["mass_kg"] += 5.0
    medium["acoustic"]["level_1m_db"] = [level + 3.0 for level in medium["acoustic"]["level_1m_db"]]
    (folder / "medium.toml").write_text(tomlkit.dumps(medium))
    (folder / "shackle-5-8.toml").unlink()
    monkeypatch.setattr(equipment, "packaged_folder", lambda: folder)
    return folder


def test_another_catalogue_changes_nothing_and_is_told(theatre, other_catalogue, tmp_path):
    _, zipped = theatre
    code, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 0
    assert "the same words, the same figures" in out
    assert f"medium: equipment/medium.toml and {other_catalogue / 'medium.toml'} differ" in out
    assert "shackle-5-8: equipment/shackle-5-8.toml describes it, the catalogue here does not know it" in out
    assert "frame-large" not in out
    # and it would have: without the shackle the hang cannot be read there, with a bare one it weighs more
    assert run("check", THEATRE / "left.toml", THEATRE / "venue.toml")[0] == 2


def test_another_release_is_named_beside_the_one_that_packed(theatre, tmp_path, monkeypatch):
    _, zipped = theatre
    then = metadata.version("evenhang")
    monkeypatch.setattr(metadata, "version", lambda name: "9.8.7")
    code, out, _ = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 0
    assert f"release {then} then, 9.8.7 now" in out


def test_a_release_that_does_not_take_a_file_names_both(theatre, changed, tmp_path, monkeypatch):
    """As a later release's key would: unknown here. The file is named as it lies in the pack."""
    later = (THEATRE / "venue.toml").read_bytes().replace(b'name = "Gable', b'smell = 1\nname = "Gable', 1)

    def work(listing: dict[str, Any]) -> None:
        file = next(file for file in listing["files"] if file["member"] == "inputs/venue.toml")
        file["sha256"], listing["version"] = hashlib.sha256(later).hexdigest(), "9.8.7"

    zipped = changed(theatre[1], work, inputs__venue_toml=later)
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    first, last = said(err)
    assert re.match(rf"{re.escape(str(zipped))}/inputs/venue\.toml:\d+: smell: is an unknown key", first)
    assert f"was packed with release 9.8.7, and this is {metadata.version('evenhang')}" in last
    assert not (tmp_path / "out").exists()


def test_a_changed_file_is_named_and_nothing_written(theatre, changed, tmp_path):
    heavier = (CATALOGUE / "medium.toml").read_bytes().replace(b"mass_kg = ", b"mass_kg = 1", 1)
    zipped = changed(theatre[1], equipment__medium_toml=heavier)
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    (line,) = said(err)
    assert line.startswith(f"{zipped}/equipment/medium.toml: was changed after it was packed")
    assert not (tmp_path / "out").exists()


def test_a_change_that_the_listing_hides_moves_words_and_figures(theatre, changed, tmp_path):
    """The box heavier by 10 kg and its hash set to match: the hang, of twelve, weighs 120 kg more."""
    mass = tomllib.loads((CATALOGUE / "medium.toml").read_text())["mass_kg"]
    text = re.sub(r"^mass_kg = .*$", f"mass_kg = {mass + 10.0}", (CATALOGUE / "medium.toml").read_text(), flags=re.M)

    def work(listing: dict[str, Any]) -> None:
        file = next(file for file in listing["files"] if file["member"] == "equipment/medium.toml")
        file["sha256"] = hashlib.sha256(text.encode()).hexdigest()

    zipped = changed(theatre[1], work, equipment__medium_toml=text.encode())
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, err) == (1, "")
    before = theatre[0]["jobs"][0]["figures"]["mass_kg"]
    assert f"differs: mass_kg: from {before:g} to {before + 120.0:g}" in out
    assert re.search(rf"differs: design word: from {theatre[0]['jobs'][0]['words']['design']} to [a-z]{{10}}", out)
    assert "the same" not in out
    assert "level_a_mean_db" not in out  # what did not move is not told
    assert (tmp_path / "out" / theatre[1].stem).is_dir()


@pytest.mark.parametrize(("by", "same"), [(0.004, True), (0.05, False)])
def test_a_figure_may_move_by_a_hundredth(theatre, changed, tmp_path, by, same):
    name = "served audience: level_a_mean_db"
    was = theatre[0]["jobs"][0]["figures"][name]

    def work(listing: dict[str, Any]) -> None:
        listing["jobs"][0]["figures"][name] = was + by

    code, out, _ = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out", "--json")
    data = json.loads(out)
    assert (code, data["same"]) == ((0, True) if same else (1, False))
    assert data["jobs"][0]["figures_differ"] == ([] if same else [f"{name}: from {was + by:.6g} to {was:.6g}"])
    assert data["jobs"][0]["words_differ"] == []


def test_figures_that_appear_or_go_are_told(theatre, changed, tmp_path):
    def work(listing: dict[str, Any]) -> None:
        figures = listing["jobs"][0]["figures"]
        figures["luck_pct"] = 1.5
        figures["mass_kg"] = None
        del figures["highest_drive_db"]

    code, out, _ = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out")
    assert code == 1
    assert "luck_pct: was 1.5, is none of this result" in out
    assert re.search(r"highest_drive_db: is [0-9.]+, was none of the pack's", out)
    assert re.search(r"mass_kg: from not known to \d+", out)


def test_a_folder_that_is_there_is_left_alone(theatre, tmp_path):
    _, zipped = theatre
    (tmp_path / zipped.stem).mkdir()
    (tmp_path / zipped.stem / "mine.txt").write_text("mine")
    code, _, err = run("unpack", zipped, "--out", tmp_path)
    assert code == 2
    assert "exists already; what is in it may have been worked on; name another folder" in said(err)[0]
    assert [path.name for path in (tmp_path / zipped.stem).iterdir()] == ["mine.txt"]


def test_a_show_keeps_its_word_where_names_in_full_are_rewritten(show, tmp_path):
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


def test_a_show_brings_all_that_it_names(show):
    listing, zipped, _ = show
    items = {Path(file["member"]).stem for file in listing["files"] if file["role"] == "equipment"}
    assert items == used_in(THEATRE / "left.toml") | {"compact", "amp-4", "cable-8", "sub"}
    with zipfile.ZipFile(zipped) as opened:
        names = {name.rsplit("/", 1)[1]: name for name in opened.namelist() if name.startswith("results/")}
        assert names.keys() == {"report.html", "field.nc", "evenness.csv", "rigging.json"}
        assert "inputs/theatre/venue.toml" in opened.namelist()


def test_an_opened_show_comes_to_the_same_and_so_does_another_pack_of_it(show, tmp_path, other_catalogue):
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


def test_what_drives_a_show_counts_for_the_word_of_its_check(show, tmp_path):
    _, _, path = show
    word = json.loads(run("check", path, "--json")[1])["revision"]
    folder = tmp_path / "rig"
    shutil.copytree(CATALOGUE, folder)
    text = (folder / "amp-4.toml").read_text()
    (folder / "amp-4.toml").write_text(re.sub(r"(least_ohm|channels) = .*", r"\1 = 8", text, count=1))
    assert (folder / "amp-4.toml").read_text() != text
    other = run("check", path, "--equipment", folder, "--only-equipment", "--json")[1]
    assert json.loads(other)["revision"] != word


def test_options_are_packed_and_used(tmp_path):
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
def test_what_cannot_be_packed(asked, message, tmp_path):
    code, out, err = run("pack", *asked, *GRID, "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert message in err
    assert not (tmp_path / "out").exists()


def test_a_file_that_changes_meanwhile_is_refused(tmp_path, monkeypatch):
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


def hostile(path: Path, *members: tuple[str, bytes], mode: int = 0) -> Path:
    """A zip of members as given, whatever they are called."""
    with zipfile.ZipFile(path, "w") as opened:
        for name, content in members:
            info = zipfile.ZipInfo("x" * len(name))
            info.filename = name  # past what the writer makes of names
            info.external_attr = mode << 16
            opened.writestr(info, content)
    return path


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("../evil.toml", "is no plain path below the folder"),
        ("inputs/../../evil.toml", "is no plain path below the folder"),
        ("/evil.toml", "is no plain path below the folder"),
        ("inputs//evil.toml", "is no plain path below the folder"),
        ("inputs/.", "is no plain path below the folder"),
        ("inputs/", "is no plain path below the folder"),
        ("inputs/evil. ", "is no plain path below the folder"),
        ("..\\evil.toml", "holds a character"),
        ("C:evil.toml", "holds a character"),
        ("inputs/e\nvil.toml", "holds a character"),
        ("x" * 300, "is not 1 to 240 characters long"),
    ],
)
def test_names_that_lead_elsewhere_are_refused_before_anything_is_written(tmp_path, name, why):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"{}"), (name, b"evil"))
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out" / "deep")
    assert (code, out) == (2, "")
    (line,) = said(err)
    assert line.startswith(f"{zipped}: has a member that {why}")
    assert "do not use it" in line
    assert [path.name for path in tmp_path.rglob("*")] == ["bad.zip"]


def test_links_are_refused(tmp_path):
    zipped = hostile(tmp_path / "bad.zip", ("inputs/link", b"/etc"), mode=stat.S_IFLNK | 0o777)
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, said(err)[0]) == (
        2, f'{zipped}: has a member that is no regular file (got "inputs/link"); do not use it: ask for the pack again',
    )  # fmt: skip


@pytest.mark.parametrize("names", [("a.toml", "a.toml"), ("a.toml", "A.toml"), ("a", "a/b.toml"), ("A/b.toml", "a")])
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_members_that_stand_in_each_others_place_are_refused(tmp_path, names):
    zipped = hostile(tmp_path / "bad.zip", *((name, b"x") for name in names))
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert "has a member that stands twice" in err


def test_what_is_too_large_or_too_many_is_refused_by_what_it_declares(tmp_path, monkeypatch):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"x" * 600), ("b", b"x" * 600))
    monkeypatch.setattr(archive, "MOST_BYTES", 1000)
    assert "at most are; check that it is a pack" in run("unpack", zipped, "--out", tmp_path / "out")[2]
    monkeypatch.setattr(archive, "MOST_BYTES", 1200)
    assert "bad.zip/pack.json: is no valid JSON" in run("unpack", zipped, "--out", tmp_path / "out")[2]
    monkeypatch.setattr(archive, "MOST_MEMBERS", 1)
    assert "holds 2 files, 1 at most are unpacked" in run("unpack", zipped, "--out", tmp_path / "out")[2]


def test_a_member_larger_than_it_declares_is_damaged(tmp_path):
    """A zip of 100,000 bytes that says 10 in its directory: no more than that is ever written."""
    zipped = tmp_path / "bad.zip"
    with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr("pack.json", b"x" * 100_000)
    held = zipped.read_bytes()
    zipped.write_bytes(held.replace(struct.pack("<L", 100_000), struct.pack("<L", 10)))
    assert zipped.read_bytes() != held
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert "bad.zip/pack.json: is damaged" in said(err)[0]


def test_an_encrypted_member_is_refused(tmp_path):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"{}"))
    held = bytearray(zipped.read_bytes())
    for head, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        held[held.index(head) + at] |= 1
    zipped.write_bytes(held)
    assert "has a member that is encrypted" in run("unpack", zipped, "--out", tmp_path / "out")[2]


def test_damage_is_found_wherever_it_is(theatre, tmp_path):
    _, zipped = theatre
    whole = zipped.read_bytes()
    path = tmp_path / "bad.zip"
    for held in (whole[: len(whole) // 2], whole[-1000:], b"", b"no zip at all"):
        path.write_bytes(held)
        code, _, err = run("unpack", path, "--out", tmp_path / "out")
        assert (code, len(said(err))) == (2, 1)
        assert "is damaged, or no zip" in err
    with zipfile.ZipFile(zipped) as opened:
        info = opened.getinfo("inputs/venue.toml")
    middle = info.header_offset + 30 + len(info.filename) + info.compress_size // 2
    path.write_bytes(whole[:middle] + bytes([whole[middle] ^ 0xFF]) + whole[middle + 1 :])
    code, _, err = run("unpack", path, "--out", tmp_path / "out")
    assert code == 2
    assert re.search(r"bad\.zip/inputs/venue\.toml: (is damaged|was changed)", err)
    assert not (tmp_path / "out").exists()


def test_missing_and_unlisted_members_are_named(theatre, changed, tmp_path):
    zipped = changed(theatre[1], inputs__left_toml=None, inputs__more_toml=b"x = 1")
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert said(err) == [
        f"{zipped}/inputs/left.toml: is missing, though pack.json lists it; ask for the pack again, and copy it whole",
        f"{zipped}/inputs/more.toml: is not listed in pack.json; do not use it: ask for the pack again",
    ]


@pytest.mark.parametrize(
    ("work", "message"),
    [
        (lambda it: it.update(format="pack/2"), r"format: is a version that this release does not know \(got \"pack/2"),
        (lambda it: it.update(format="hang/1"), r"format: is another kind of file"),
        (lambda it: it.pop("jobs"), r"jobs: key is missing"),
        (lambda it: it.update(jobs=[]), r"jobs: "),
        (lambda it: it.update(lobs=[]), r"lobs: is an unknown key"),
        (lambda it: it["files"][0].update(sha256="12"), r"files\[1\]\.sha256: is no SHA-256"),
        (lambda it: it["files"][0].update(member="../x"), r"files\[1\]\.member: is no plain path"),
        (
            lambda it: it["jobs"][0].update(venue="inputs/no.toml"),
            r"jobs\[1\]: names a file that the pack does not list",
        ),
        (lambda it: it["asked"].update(grid_m=0.0), r"asked\.grid_m: lies outside"),
        (lambda it: it["asked"].update(programme="brown"), r"asked\.programme: is a programme that this release"),
        (lambda it: it["asked"].update(points=0), r"asked\.points: is no number of points"),
        (lambda it: it["jobs"][0]["figures"].update(x="1"), r"jobs\[1\]\.figures: must be a table of numbers"),
        (lambda it: it["jobs"][0]["figures"].update(x=10**400), r"jobs\[1\]\.figures: must be a table of numbers"),
        (lambda it: it["jobs"][0]["figures"].update({"\x1b[2J": 1.0}), r"jobs\[1\]\.figures: holds a name that cannot"),
        (lambda it: it["jobs"][0].update(beside=5), r"jobs\[1\]\.beside: "),
        (lambda it: it["jobs"][0].update(venue=["x"]), r"jobs\[1\]\.venue: must be a text"),
        (lambda it: it["files"][0].update(member=["x"]), r"files\[1\]\.member: must be a text"),
        (lambda it: it["asked"].update(mute=["\ud800"]), r"asked\.mute\[1\]: must be a text of printable"),
        (lambda it: it["jobs"][0]["words"].update(revision="X"), r"jobs\[1\]\.words\.revision: "),
        (lambda it: it.update(files=[one for one in it["files"] if one["role"] != "policy"]), r"lists no policy\.toml"),
    ],
)
def test_a_listing_at_fault_is_refused(theatre, changed, tmp_path, work, message):
    code, out, err = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert re.search(rf"changed\.zip/pack\.json: .*{message}", err) or re.search(rf"pack\.json: {message}", err)
    assert all(line.count("; ") for line in said(err))
    assert not (tmp_path / "out").exists()


def test_files_of_this_machine_do_not_count(theatre, changed, tmp_path):
    """The mirror image of a file that lies here, and data that lie here: hashes set to match."""
    (tmp_path / "here.toml").write_text((THEATRE / "left.toml").read_text())
    image = (THEATRE / "right.toml").read_text().replace('"left.toml"', f'"{tmp_path}/here.toml"')
    assert "here.toml" in image
    medium = (CATALOGUE / "medium.toml").read_text() + f'\n[acoustics.more]\ndata_file = "{tmp_path}/here.toml"\n'
    for member, held in (("inputs/right.toml", image), ("equipment/medium.toml", medium)):

        def work(listing: dict[str, Any], member: str = member, held: str = held) -> None:
            (file,) = [file for file in listing["files"] if file["member"] == member]
            file["sha256"] = hashlib.sha256(held.encode()).hexdigest()

        zipped = changed(theatre[1], work, **{member.replace("/", "__").replace(".", "_"): held.encode()})
        code, out, err = run("unpack", zipped, "--out", tmp_path / "out")
        assert (code, out) == (2, "")
        assert [("here.toml" in line, "is a file outside the pack" in line) for line in said(err)] == [(True, True)], (
            err
        )
        assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("held", [b"[1]", b"{", b"\xff", b"[" * 100_000])
def test_a_listing_that_is_none(tmp_path, held):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", held))
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert re.search(r"bad\.zip/pack\.json: (is no valid JSON|holds no table)", said(err)[0])


def test_a_zip_that_is_no_pack_a_folder_and_nothing(tmp_path):
    zipped = hostile(tmp_path / "other.zip", ("letter.txt", b"hello"))
    assert "is a zip, but no pack: it holds no pack.json" in run("unpack", zipped, "--out", tmp_path)[2]
    assert "is a folder, not a pack" in run("unpack", tmp_path, "--out", tmp_path)[2]
    assert "does not exist; check the path" in run("unpack", tmp_path / "none.zip", "--out", tmp_path)[2]


# Where files lie.


def input_file(path: Path, role: str, held: str, names: dict[str, Path] | None = None) -> InputFile:
    """A file written with some text and names of other files, as it is listed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(held if "format" in held else f'format = "{role}/1"\n{held}')
    return InputFile(role, path, tuple(((key,), target) for key, target in (names or {}).items()), sha256_of(path))


def test_data_of_one_name_from_two_folders_stay_apart(tmp_path):
    files = []
    for maker in ("one", "two"):
        data = input_file(tmp_path / maker / "scan" / "box.sofa", "data", maker)
        text = f'format = "enclosure/1"  # kept\nname = "{maker}"\naes69_file = "scan/box.sofa"\n'
        names = {"aes69_file": tmp_path / maker / "scan" / "box.sofa"}
        files += [input_file(tmp_path / maker / "box.toml", "equipment", text, names), data]
    files.append(input_file(tmp_path / "hang.toml", "hang", ""))
    home = tmp_path / "pack"
    listed = staging.stage(files, staging.places(files), home)
    found = {}
    for path in (home / "equipment").glob("*.toml"):
        data = tomllib.loads(path.read_text())
        found[data["name"]] = (path.parent / data["aes69_file"]).read_text()
        assert "# kept" in path.read_text()
    assert found == {maker: f'format = "data/1"\n{maker}' for maker in ("one", "two")}
    assert sum(one.original_sha256 is not None for one in listed) == 1


def test_folders_among_files_stay_and_those_above_are_not_told(tmp_path):
    deep = tmp_path / "secret" / "tour"
    venue = deep / "venues" / "hall.toml"
    files = [
        input_file(deep / "shows" / "one.toml", "show", 'venue = "../venues/hall.toml"\n', {"venue": venue}),
        input_file(venue, "venue", ""),
    ]
    at = staging.places(files)
    assert sorted(at.values()) == ["inputs/shows/one.toml", "inputs/venues/hall.toml"]
    (listed, _) = staging.stage(files, at, tmp_path / "pack")
    assert listed.original_sha256 is None
    apart = [*files, input_file(tmp_path / "elsewhere" / "left.toml", "hang", "")]
    assert sorted(staging.places(apart).values()) == [
        "inputs/elsewhere/left.toml",
        "inputs/tour/shows/one.toml",
        "inputs/tour/venues/hall.toml",
    ]


def test_names_that_not_every_system_takes_are_changed(tmp_path):
    path = tmp_path / "set" / 'a:b "c".toml'
    files = [
        input_file(tmp_path / "set" / "show.toml", "show", "venue = 'a:b \"c\".toml'\n", {"venue": path}),
        input_file(path, "venue", "x = 1\n"),
        input_file(tmp_path / "set" / "A_B _C_.toml", "hang", "x = 2\n"),
    ]
    at = staging.places(files)
    staging.stage(files, at, tmp_path / "pack")
    said_there = tomllib.loads((tmp_path / "pack" / "inputs" / "show.toml").read_text())["venue"]
    assert "x = 1\n" in (tmp_path / "pack" / "inputs" / said_there).read_text()
    assert len({place.casefold() for place in at.values()}) == 3
    assert not any(set(':"') & set(place) for place in at.values())


def test_files_of_a_job_are_listed_with_their_hashes(monkeypatch):
    asked = cli._parser().parse_args(["pack", str(THEATRE / "right.toml"), str(THEATRE / "venue.toml")])
    (one,) = pack.packing_of(asked).jobs
    files, _ = job.files_of(one, asked)
    roles = [(file.role, file.path.name) for file in files]
    assert roles[:3] == [("hang", "right.toml"), ("design", "left.toml"), ("venue", "venue.toml")]
    assert roles[-1] == ("policy", "over_people.toml")
    assert {name for role, name in roles if role == "equipment"} == {
        f"{name}.toml" for name in used_in(THEATRE / "left.toml")
    }
    assert all(file.sha256 == hashlib.sha256(file.path.read_bytes()).hexdigest() for file in files)


@pytest.fixture(scope="module")
def tour(tmp_path_factory) -> tuple[dict[str, Any], Path]:
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


def test_a_tour_is_packed_with_all_stops_and_its_own_equipment(tour, tmp_path):
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


def test_an_unpacked_tour_goes_on_as_it_says(tour, tmp_path):
    _, zipped = tour
    _, out, _ = run("unpack", zipped, "--out", tmp_path)
    (line,) = (line for line in out.splitlines() if line.startswith("  evenhang "))
    code, printed, err = run(*line.split()[1:], "--out", tmp_path / "again", "--processes", "1", "--json")
    assert code == 0, err
    assert [row["hang"] for row in json.loads(printed)["rows"]] == [LEFT, "main, stage right (house left)", LEFT]


def test_a_tour_has_its_own_grid(tour, tmp_path):
    _, zipped = tour
    with zipfile.ZipFile(zipped) as opened:
        opened.extractall(tmp_path)
    code, _, err = run("pack", tmp_path / "inputs" / "tour.toml", "--grid", "4", "--out", tmp_path / "out")
    assert code == 2
    assert "--grid: has no meaning for a tour" in err


def test_a_tour_that_is_to_be_designed_is_not_packed(tmp_path):
    text = 'format = "tour/1"\nname = "t"\n[[stop]]\nvenue = "venue.toml"\nhangs = ["left.toml"]\ndesign = true\n'
    (tmp_path / "tour.toml").write_text(text)
    code, _, err = run("pack", tmp_path / "tour.toml", "--out", tmp_path / "out")
    assert code == 2
    assert "stop[1].design: asks for a search, which a pack does not hold" in err
    assert not (tmp_path / "out").exists()
