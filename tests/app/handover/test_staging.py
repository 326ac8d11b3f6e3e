"""Where files come to lie in a pack."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

from acoustics.app import cli, job, pack, staging
from acoustics.inputs import InputFile
from rigging.content import sha256_of

ROOT = Path(__file__).resolve().parents[3]
THEATRE = ROOT / "sample_venues" / "theatre"


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


def test_a_file_that_is_rewritten_keeps_its_line_ends(tmp_path):
    design = input_file(tmp_path / "mains" / "left.toml", "hang", 'name = "left"\n')
    other = input_file(tmp_path / "left.toml", "hang", 'name = "another"\n')
    image = tmp_path / "right.toml"
    held = 'format = "hang/1"\r\nname = "right"  # a name\r\nmirror_of = "MAINS/left.toml"  # the design\r\n'
    held = held.replace("MAINS", str(tmp_path / "mains"))  # a path of this machine, which a pack cannot keep
    image.write_bytes(held.encode())
    file = InputFile("hang", image, ((("mirror_of",), design.path),), sha256_of(image))
    at = staging.places([file, other, design])
    staging.stage([file, other, design], at, tmp_path / "pack")
    written = (tmp_path / "pack" / at[image.resolve()]).read_bytes().decode()
    assert written == held.replace(str(tmp_path / "mains"), "../mains")


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


def test_files_of_a_job_are_listed_with_their_hashes(monkeypatch, used_in):
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
