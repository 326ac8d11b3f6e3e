"""Nothing in a pack is taken on trust."""

from __future__ import annotations

import hashlib
import re
import stat
import struct
import zipfile
from pathlib import Path
from typing import Any

import pytest

from acoustics.app import archive

ROOT = Path(__file__).resolve().parents[3]
THEATRE = ROOT / "sample_venues" / "theatre"
CATALOGUE = ROOT / "rigging" / "catalogue"


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
def test_names_that_lead_elsewhere_are_refused_before_anything_is_written(tmp_path, name, why, run, said):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"{}"), (name, b"evil"))
    code, out, err = run("unpack", zipped, "--out", tmp_path / "out" / "deep")
    assert (code, out) == (2, "")
    (line,) = said(err)
    assert line.startswith(f"{zipped}: has a member that {why}")
    assert "do not use it" in line
    assert [path.name for path in tmp_path.rglob("*")] == ["bad.zip"]


def test_links_are_refused(tmp_path, run, said):
    zipped = hostile(tmp_path / "bad.zip", ("inputs/link", b"/etc"), mode=stat.S_IFLNK | 0o777)
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert (code, said(err)[0]) == (
        2, f'{zipped}: has a member that is no regular file (got "inputs/link"); do not use it: ask for the pack again',
    )  # fmt: skip


@pytest.mark.parametrize("names", [("a.toml", "a.toml"), ("a.toml", "A.toml"), ("a", "a/b.toml"), ("A/b.toml", "a")])
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_members_that_stand_in_each_others_place_are_refused(tmp_path, names, run):
    zipped = hostile(tmp_path / "bad.zip", *((name, b"x") for name in names))
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert "has a member that stands twice" in err


def test_what_is_too_large_or_too_many_is_refused_by_what_it_declares(tmp_path, monkeypatch, run):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"x" * 600), ("b", b"x" * 600))
    monkeypatch.setattr(archive, "MOST_BYTES", 1000)
    assert "at most are; check that it is a pack" in run("unpack", zipped, "--out", tmp_path / "out")[2]
    monkeypatch.setattr(archive, "MOST_BYTES", 1200)
    assert "bad.zip/pack.json: is no valid JSON" in run("unpack", zipped, "--out", tmp_path / "out")[2]
    monkeypatch.setattr(archive, "MOST_MEMBERS", 1)
    assert "holds 2 files, 1 at most are unpacked" in run("unpack", zipped, "--out", tmp_path / "out")[2]


def test_a_member_larger_than_it_declares_is_damaged(tmp_path, run, said):
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


def test_an_encrypted_member_is_refused(tmp_path, run):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", b"{}"))
    held = bytearray(zipped.read_bytes())
    for head, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        held[held.index(head) + at] |= 1
    zipped.write_bytes(held)
    assert "has a member that is encrypted" in run("unpack", zipped, "--out", tmp_path / "out")[2]


def test_damage_is_found_wherever_it_is(theatre, tmp_path, run, said):
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


def test_missing_and_unlisted_members_are_named(theatre, changed, tmp_path, run, said):
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
def test_a_listing_at_fault_is_refused(theatre, changed, tmp_path, work, message, run, said):
    code, out, err = run("unpack", changed(theatre[1], work), "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert re.search(rf"changed\.zip/pack\.json: .*{message}", err) or re.search(rf"pack\.json: {message}", err)
    assert all(line.count("; ") for line in said(err))
    assert not (tmp_path / "out").exists()


def test_files_of_this_machine_do_not_count(theatre, changed, tmp_path, run, said):
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
def test_a_listing_that_is_none(tmp_path, held, run, said):
    zipped = hostile(tmp_path / "bad.zip", ("pack.json", held))
    code, _, err = run("unpack", zipped, "--out", tmp_path / "out")
    assert code == 2
    assert re.search(r"bad\.zip/pack\.json: (is no valid JSON|holds no table)", said(err)[0])


def test_a_zip_that_is_no_pack_a_folder_and_nothing(tmp_path, run):
    zipped = hostile(tmp_path / "other.zip", ("letter.txt", b"hello"))
    assert "is a zip, but no pack: it holds no pack.json" in run("unpack", zipped, "--out", tmp_path)[2]
    assert "is a folder, not a pack" in run("unpack", tmp_path, "--out", tmp_path)[2]
    assert "does not exist; check the path" in run("unpack", tmp_path / "none.zip", "--out", tmp_path)[2]


# Where files lie.
