"""Drawings, measured directivities and packs that are damaged, contradict themselves or ask for too much."""

from __future__ import annotations

import io
import json
import re
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acoustics.app.cli import main
from acoustics.measured import read_measured

ROOT = Path(__file__).resolve().parents[3]

# Drawings: a sound one, and what is replaced in it.
HEAD = "  0\nSECTION\n  2\nHEADER\n  9\n$INSUNITS\n 70\n6\n  0\nENDSEC\n"
FACE = "  0\n3DFACE\n  5\nA1\n  8\nSEATS\n" + "".join(
    f"{10 + i:3}\n{x}\n{20 + i:3}\n{y}\n{30 + i:3}\n{z}\n"
    for i, (x, y, z) in enumerate([(5, -4, 0), (15, -4, 1), (15, 4, 1), (5, 4, 0)])
)
VERTEX = "  0\nVERTEX\n  8\nSEATS\n 10\n{}\n 20\n{}\n 30\n0\n 42\n{}\n"
LINES = "  0\nPOLYLINE\n  5\nA2\n  8\nSEATS\n 66\n1\n 70\n1\n" + "".join(
    VERTEX.format(*one) for one in [(20, -4, 0.5), (30, -4, 0), (30, 4, 0)]
)
LINES += "  0\nSEQEND\n  8\nSEATS\n"
ENTITIES, END = "  0\nSECTION\n  2\nENTITIES\n", "  0\nENDSEC\n  0\nEOF\n"
DRAWING = HEAD + ENTITIES + FACE + LINES + END


def block(name: str, inside: str) -> str:
    return f"  0\nBLOCK\n  8\n0\n  2\n{name}\n 70\n0\n 10\n0\n 20\n0\n 30\n0\n{inside}  0\nENDBLK\n"


def insert(name: str, more: str = "") -> str:
    return f"  0\nINSERT\n  8\nSEATS\n  2\n{name}\n 10\n0\n 20\n0\n 30\n0\n{more}"


def with_blocks(blocks: str, entity: str) -> str:
    text = DRAWING.replace(END, entity + END)
    return text.replace(ENTITIES, f"  0\nSECTION\n  2\nBLOCKS\n{blocks}  0\nENDSEC\n{ENTITIES}")


def chain(length: int) -> str:
    return "".join(block(f"B{i}", insert(f"B{i + 1}")) for i in range(length)) + block(f"B{length}", FACE)


def bomb(levels: int, many: int) -> str:
    """Blocks of which each holds the next many times: entities grow as a power."""
    return "".join(block(f"B{i}", insert(f"B{i + 1}") * many) for i in range(levels)) + block(f"B{levels}", FACE)


FACES = block("B", FACE)
DRAWINGS: dict[str, tuple[str | bytes, str]] = {
    "empty": ("", "is empty; name a DXF file"),
    "cut in a face": (DRAWING[: DRAWING.index(" 13\n")], "is cut off"),
    "cut before its end": (DRAWING[:-6], "is cut off"),
    "UTF-16": (DRAWING.encode("utf-16"), "is not a text file"),
    "TOML": ('format = "venue/1"\nname = "x"\n', "a group code that is no number"),
    "JSON": ("{}", "is"),
    "a long group code": (DRAWING.replace("  0\nEOF", "9" * 5_000 + "\nx\n  0\nEOF"), "a group code that is no number"),
    "no unit": (DRAWING.replace("$INSUNITS", "$OTHER"), "$INSUNITS: has no unit in its header"),
    "an unknown unit": (DRAWING.replace(" 70\n6", " 70\n99"), "$INSUNITS: has a unit in its header that is none"),
    "a unit of many digits": (DRAWING.replace(" 70\n6", " 70\n" + "9" * 5_000), "is damaged, or no DXF"),
    "no such layer": (DRAWING.replace("SEATS", "CHAIRS"), "names a layer that is not there"),
    "nothing drawn": (DRAWING.replace(FACE, "").replace(LINES, ""), "names a layer that is not there"),
    "an open outline": (DRAWING.replace(FACE, "").replace(" 70\n1\n", " 70\n0\n"), "holds no face or closed outline"),
    "a number that is none": (DRAWING.replace("\n15\n", "\nfar\n"), "is damaged"),
    "not a number": (DRAWING.replace("\n15\n", "\nnan\n"), "has a coordinate that is no number"),
    "infinity": (DRAWING.replace("\n15\n", "\ninf\n"), "has a coordinate that is no number"),
    "a huge number": (DRAWING.replace("\n15\n", "\n1e308\n"), "from the datum, 1,000 m at most are read"),
    "a huge bulge": (DRAWING.replace("\n0.5\n", "\n1e308\n"), "layer"),
    "a far one": (DRAWING.replace("\n15\n", "\n1500\n"), "from the datum, 1,000 m at most are read"),
    "a line for a face": (DRAWING.replace(LINES, "").replace("\n15\n", "\n5\n"), "holds no face or closed outline"),
    "a steep one": (DRAWING.replace(LINES, "").replace("\n1\n", "\n90\n"), "holds no face or closed outline"),
    "a block in itself": (with_blocks(block("B", insert("b")), insert("B")), "holds itself; purge or redraw the block"),
    "two in each other": (with_blocks(block("B", insert("C")) + block("C", insert("B")), insert("B")), "holds itself"),
    "blocks 200 deep": (with_blocks(chain(200), insert("B0")), "lies more than 32 blocks deep"),
    "blocks 5,000 deep": (with_blocks(chain(5_000), insert("B0")), "lies more than 32 blocks deep"),
    "a bomb of blocks": (with_blocks(bomb(20, 10), insert("B0")), "entities with all copies of its blocks"),
    "a bomb of copies": (with_blocks(FACES, insert("B", " 70\n30000\n 71\n30000\n")), "entities with all copies"),
    "a block of many copies": (with_blocks(FACES, insert("B", " 70\n60\n 71\n60\n")), "2,000 at most are read"),
    "a block of no size": (with_blocks(FACES, insert("B", " 41\nnan\n")), "lies in a block whose place, scale or turn"),
}  # fmt: skip


@pytest.mark.parametrize("name", DRAWINGS)
def test_drawing(refused, desk, name):
    content, said = DRAWINGS[name]
    (desk / "bad.dxf").write_bytes(content if isinstance(content, bytes) else content.encode())
    command = ["venue", "import", "bad.dxf", "--layer", "SEATS=audience", "--out", "new.toml"]
    try:
        lines = refused("bad.dxf", command)
    finally:
        (desk / "bad.dxf").unlink()
    assert any(said in line for line in lines), lines


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_sound_drawing_is_read(desk, capsys, end):
    (desk / "good.dxf").write_bytes(DRAWING.replace("\n", end).encode())
    try:
        assert main(["venue", "import", "good.dxf", "--layer", "SEATS=audience", "--out", "new.toml"]) == 0
        assert (desk / "new.toml").exists()
    finally:
        for file in ("good.dxf", "new.toml"):
            (desk / file).unlink(missing_ok=True)
    assert "SEATS 2" in capsys.readouterr().out


# Packs: a zip with a listing, and what is done to it.
def zipped(*members: tuple[str, bytes], mode: int = 0) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, content in members:
            info = zipfile.ZipInfo("x" * len(name))
            info.filename, info.external_attr = name, mode << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            opened.writestr(info, content)
    return held.getvalue()


def listing(**changes: Any) -> bytes:
    """A zip with a listing alone, of a pack that lacks all else."""
    file = {"member": "policy.toml", "role": "policy", "sha256": "0" * 64}
    words = {"design": "bagotilufo", "revision": "bagotilufo"}
    job = {"name": "x", "venue_name": "x", "file": "a.toml", "results": "results/x", "words": words, "figures": {}}
    asked = {"grid_m": 1.0, "drive_db": 0.0, "programme": "pink", "over_edges": False, "points": 1}
    whole = {"format": "pack/1", "name": "x", "word": "bagotilufo", "version": "1", "asked": asked, "jobs": [job],
             "files": [file, {**file, "member": "a.toml", "role": "hang"}]}  # fmt: skip
    return zipped(("pack.json", json.dumps({**whole, **changes}).encode()))


PACKS: dict[str, tuple[bytes, str]] = {
    **{f"cut at {share} %": (listing()[: len(listing()) * share // 100], "is damaged, or no zip")
       for share in (0, 5, 20, 40, 60, 80, 90, 99)},
    "bytes changed": (listing().replace(b"PK\x01\x02", b"PK\x09\x09"), "is damaged, or no zip"),
    "a zip in a zip": (zipped(("pack.zip", listing())), "is a zip, but no pack"),
    "no member": (zipped(), "is a zip, but no pack"),
    "a path upwards": (zipped(("pack.json", b"{}"), ("a/../../b", b"x")), "is no plain path below the folder"),
    "a device's name": (zipped(("pack.json", b"{}"), ("nul.toml", b"x")), "that one system keeps for a device"),
    "a bidi name": (zipped(("pack.json", b"{}"), ("a\u202eb", b"x")), "holds a character that not every system takes"),
    "a socket": (zipped(("pack.json", b"{}"), mode=stat.S_IFSOCK | 0o777), "has a member that is no regular file"),
    "a listing in Latin-1": (zipped(("pack.json", b'{"name": "f\xfcr"}')), "pack.json: is no valid JSON"),
    "a listing with a mark": (zipped(("pack.json", b"\xef\xbb\xbf{}")), "pack.json: "),
    "a number of 5,000 digits": (zipped(("pack.json", b'{"format": 1' + b"0" * 5_000 + b"}")), "is no valid JSON"),
    "a listing nested without end": (zipped(("pack.json", b'{"a":' * 50_000)), "pack.json: is no valid JSON"),
    "a listing without format": (zipped(("pack.json", b"{}")), "pack.json: format: key is missing"),
    "a later version": (listing(format="pack/2"), "format: is a version that this release does not know"),
    "no number": (listing(asked={"grid_m": float("nan")}), "asked.grid_m: is not a finite number"),
    "a number too large": (listing(asked={"drive_db": 1e308}), "asked.drive_db: lies outside the plausible range"),
    "a path for a hash": (listing(files=[{"sha256": "../x"}]), "files[1].sha256: is no SHA-256"),
    "a lone surrogate": (listing(name="\ud800"), "name: must be 1 to 80 printable characters"),
    "a bidi text": (listing(version="1\u202e"), "version: must be 1 to 80 printable characters"),
    "an unknown key": (listing(colour=1), "colour: is an unknown key"),
    "jobs without end": (listing(jobs=[{}] * 20_000), "holds more faults than the 100 that are told"),
    "what is not there": (listing(), "bad.zip/a.toml: is missing, though pack.json lists it"),
}  # fmt: skip


@pytest.mark.parametrize("name", PACKS)
def test_pack(refused, desk, name):
    content, said = PACKS[name]
    (desk / "bad.zip").write_bytes(content)
    try:
        lines = refused("bad.zip", ["unpack", "bad.zip", "--out", "out"], inside=True)
    finally:
        (desk / "bad.zip").unlink()
    assert any(said in f"bad.zip{line}" for line in lines), lines


# Measured directivity: variables of a sound file, and what is done to them.
def sound() -> dict[str, Any]:
    """A source that is equal in all directions, at four frequencies, every 15°."""
    azimuth, elevation = (one.ravel() for one in np.meshgrid(np.arange(0, 360, 15.0), np.arange(-90, 91, 15.0)))
    hz = np.array([500.0, 1000.0, 2000.0, 4000.0])
    upright = {f"{w}{n}": [v] for w in ("Source", "Listener") for n, v in (("View", [1.0, 0, 0]), ("Up", [0, 0, 1.0]))}
    types = {f"{w}{n}:{a}": v for w in ("Source", "Listener") for n in ("Position", "View")
             for a, v in (("Type", "cartesian"), ("Units", "metre"))}  # fmt: skip
    return {
        ":Conventions": "SOFA", ":SOFAConventions": "FreeFieldDirectivityTF", ":SOFAConventionsVersion": "1.1",
        ":DataType": "TF", "N": hz, "N:Units": "hertz",
        "Data.Real": np.ones((1, len(azimuth), len(hz))), "Data.Imag": np.full((1, len(azimuth), len(hz)), 0.1),
        "ReceiverPosition": np.column_stack([azimuth, elevation, np.full(len(azimuth), 10.0)]),
        "ReceiverPosition:Type": "spherical", "ReceiverPosition:Units": "degree, degree, metre",
        "SourcePosition": [[0.0, 0, 0]], "ListenerPosition": [[0.0, 0, 0]], **upright, **types,
    }  # fmt: skip


def put(key: str, value: Any) -> Callable[[dict[str, Any]], None]:
    return lambda variables: variables.update({key: value})


def out(key: str) -> Callable[[dict[str, Any]], None]:
    return lambda variables: [variables.pop(name) for name in list(variables) if name.partition(":")[0] == key]


def spoilt(key: str, value: float) -> Callable[[dict[str, Any]], None]:
    def work(variables: dict[str, Any]) -> None:
        variables[key] = np.array(variables[key])
        variables[key].flat[-1] = value

    return work


DIRECTIVITIES: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    **{f"no {key}": (out(key), f"{key}: variable is missing") for key in sound() if key and ":" not in key},
    **{f"text for {key}": (put(key, np.bytes_("x")), key) for key in sound() if ":" not in key},
    **{f"nothing for {key}": (put(key, np.zeros(0)), key) for key in sound() if ":" not in key},
    "not a number in Data.Real": (spoilt("Data.Real", np.nan), "Data.Real: holds 1 values that are no finite numbers"),
    "infinity in Data.Imag": (spoilt("Data.Imag", np.inf), "Data.Imag: holds 1 values that are no finite numbers"),
    "infinity in N": (spoilt("N", np.inf), "N: holds 1 values that are no finite numbers"),
    "a huge number": (spoilt("Data.Real", 1e308), ""),
    "zeros": (lambda v: v.update({"Data.Real": 0 * v["Data.Real"], "Data.Imag": 0 * v["Data.Imag"]}), ""),
    "a falling frequency": (spoilt("N", 700.0), "N: does not rise from 0 Hz: entry 4 (got 700"),
    "another convention": (put(":SOFAConventions", "SimpleFreeFieldHRIR"), "SOFAConventions: is not FreeField"),
    "a later version": (put(":SOFAConventionsVersion", "9.0"), "SOFAConventionsVersion: is not 1.0 or 1.1"),
    "a number for its version": (put(":SOFAConventionsVersion", 9.5), "SOFAConventionsVersion: is not 1.0 or 1.1"),
    "an odd convention": (put(":Conventions", "\x1b[2J"), "Conventions: is not SOFA"),
    "kilohertz": (put("N:Units", "kHz"), "N:Units: is not hertz"),
    "feet": (put("ReceiverPosition:Units", "degree, degree, foot"), "ReceiverPosition:Units: is no unit of spherical"),
    "receivers at the source": (put("ReceiverPosition", np.zeros((312, 3))), "ReceiverPosition: lies at the source"),
    "too few receivers": (put("ReceiverPosition", np.ones((3, 3))), "Data.Real: has the shape"),
    "up along view": (put("SourceUp", [[1.0, 0, 0]]), "SourceUp: is zero, or parallel to SourceView"),
}  # fmt: skip


def enclosure_of(sofa: str) -> str:
    """An equipment file whose acoustic part is measured."""
    text = (ROOT / "rigging/catalogue/medium.toml").read_text()
    text = re.sub(r"^\[acoustic\].*", "", text, flags=re.MULTILINE | re.DOTALL).replace('"medium"', '"mine"', 1)
    levels = "level_band_hz = [630, 800, 1000]\nlevel_1m_db = [100.0, 100.0, 100.0]\n"
    return f'{text}\n[acoustic]\nmodel = "measured"\naes69_file = "{sofa}"\n{levels}'


def write_sofa(path: Path, variables: dict[str, Any]) -> None:
    with h5py.File(path, "w") as file:
        for name, value in sorted(variables.items()):
            variable, _, attribute = name.partition(":")
            held: Any = np.bytes_(value) if isinstance(value, str) else value
            if attribute:
                (file[variable] if variable else file).attrs[attribute] = held
            elif variable:
                file[variable] = held


@pytest.fixture
def predict_with(refused, desk):
    """Predicts a hang of an enclosure whose directivity a file in `kit/bad.sofa` gives."""
    (desk / "kit/mine.toml").write_text(enclosure_of("bad.sofa"))
    row = '[[column]]\nenclosure = "mine"\nsplay_deg = 0.0\n'
    head = 'format = "hang/1"\nname = "x"\nframe = "frame-compact"\nposition_m = [0.0, 0.0, 9.0]\ntilt_deg = 0.0\n'
    (desk / "kit.toml").write_text(head.replace("frame-compact", "frame-large") + row)
    yield lambda: refused(
        "kit/bad.sofa",
        ["predict", "kit.toml", "theatre/venue.toml", "--equipment", "kit", "--grid", "20", "--out", "out"],
    )
    for file in (desk / "kit").iterdir():
        file.unlink()


CASES = [("dxf", name) for name in DRAWINGS]
CASES += [("sofa", name) for name in DIRECTIVITIES]
CASES += [("pack", name) for name in PACKS]


def test_the_sound_directivity_is_read(tmp_path):
    write_sofa(tmp_path / "good.sofa", sound())
    assert read_measured(tmp_path / "good.sofa", 343.2).centre_m == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)


@pytest.mark.parametrize("name", DIRECTIVITIES)
def test_directivity(predict_with, desk, name):
    work, said = DIRECTIVITIES[name]
    variables = sound()
    work(variables)
    write_sofa(desk / "kit/bad.sofa", variables)
    lines = predict_with()
    assert any(said in line for line in lines), lines
