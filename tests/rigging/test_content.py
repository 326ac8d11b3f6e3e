"""Data files that equipment files name: what they hold counts, not what they are called."""

from __future__ import annotations

import pytest

from rigging.content import content_of, named_files, sha256_of
from rigging.equipment import load_catalogue
from rigging.files import parse
from rigging.hang import load_hang
from rigging.revision import revision

# FIPS 180-2, appendix B.1, and the known hash of nothing.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
NOTHING = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
HANG = """\
format = "hang/1"
name = "main"
frame = "beam"
position_m = [0.0, 6.0, 11.0]
tilt_deg = -2.0
column = [{ enclosure = "wide", splay_deg = 0.0 }]
"""


@pytest.mark.parametrize(("held", "digest"), [(b"abc", ABC), (b"", NOTHING)])
def test_the_hash_is_sha_256(tmp_path, held, digest):
    (tmp_path / "data").write_bytes(held)
    assert sha256_of(tmp_path / "data") == digest


@pytest.fixture
def word_of(tmp_path, frame_text, enclosure_text):
    """The word of a hang, and whether the named file stands in its inputs, for data files and what they hold."""

    def word(named: str, key: str = "aes69_file", **held: bytes) -> tuple[str, str]:
        folder = tmp_path / f"rig{len(list(tmp_path.iterdir()))}"
        folder.mkdir()
        (folder / "beam.toml").write_text(frame_text("beam", {"wide": [0.0]}))
        (folder / "wide.toml").write_text(enclosure_text("wide", "wide", {"wide": [1.0]}) + f'{key} = "{named}"\n')
        for name, content in held.items():
            (folder / f"{name}.sofa").write_bytes(content)
        (tmp_path / "hang.toml").write_text(HANG)
        hang = load_hang(tmp_path / "hang.toml", load_catalogue([folder]))
        return revision(hang.inputs), hang.inputs["equipment"]["wide"]["acoustic"][key]

    return word


def test_another_content_is_another_word(word_of):
    (first, held), (second, other) = word_of("a.sofa", a=b"abc"), word_of("a.sofa", a=b"abd")
    assert first != second
    assert held == f"sha256:{ABC}"
    assert other != held


def test_the_same_content_under_another_name_is_the_same_word(word_of):
    assert word_of("a.sofa", a=b"abc") == word_of("other.sofa", other=b"abc", a=b"abd")


def test_a_file_that_is_not_there_keeps_its_name_for_its_reader_to_tell(word_of):
    first, named = word_of("a.sofa")
    assert named == "a.sofa"
    assert first != word_of("b.sofa")[0]


def test_a_folder_is_no_data_file(word_of):
    assert word_of(".")[1] == "."


def test_a_text_under_another_key_is_a_text(word_of):
    assert word_of("a.sofa", "aes69", a=b"abc")[1] == "a.sofa"


def test_files_are_found_in_tables_and_lists_and_the_data_stay_as_read(tmp_path):
    (tmp_path / "x.bin").write_bytes(b"abc")
    text = 'format = "any/1"\na_file = "x.bin"\nnumber_file = 1\n[[t]]\nn = 1\n[[t]]\nn = 2\n[t.u]\nb_file = "x.bin"\n'
    document = parse(text, str(tmp_path / "any.toml"))
    found = named_files(document)
    path = tmp_path / "x.bin"
    assert found == [(("a_file",), path), (("t", 1, "u", "b_file"), path)]
    content = content_of(document)
    assert content["a_file"] == content["t"][1]["u"]["b_file"] == f"sha256:{ABC}"
    assert (content["t"][0], content["t"][1]["n"], content["number_file"]) == ({"n": 1}, 2, 1)
    assert document.data["a_file"] == document.data["t"][1]["u"]["b_file"] == "x.bin"


def test_the_catalogue_can_be_the_given_folders_alone(tmp_path, frame_text):
    (tmp_path / "beam.toml").write_text(frame_text("beam", {"wide": [0.0]}))
    assert list(load_catalogue([tmp_path], packaged=False).items) == ["beam"]
    assert {"beam", "medium"} <= set(load_catalogue([tmp_path]).items)


def test_where_a_design_lies_does_not_count_for_its_mirror_image(tmp_path):
    def word(design: str, **changes: str) -> str:
        folder = tmp_path / f"at{len(list(tmp_path.iterdir()))}"
        (folder / "deep").mkdir(parents=True)
        text = HANG.replace("beam", "frame-compact").replace("wide", "compact")
        (folder / design).write_text(text.replace(*changes.get("of", ("x", "x"))))
        mirror = f'format = "hang/1"\nname = "right"\nmirror_of = "{design}"\n'
        (folder / "right.toml").write_text(mirror)
        return revision(load_hang(folder / "right.toml", load_catalogue()).inputs)

    assert word("left.toml") == word("deep/other.toml")
    assert word("left.toml") != word("left.toml", of=("-2.0", "-2.5"))
