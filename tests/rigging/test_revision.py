"""The revision: one word for all inputs of a result."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.equipment import load_catalogue
from rigging.hang import load_hang
from rigging.revision import revision

INPUTS: dict[str, Any] = {
    "options": {"grid_m": 1.0, "lines_hz": [125.0, 1000.0]},
    "hang": {"name": "main", "tilt_deg": -2.0, "column": [{"enclosure": "a", "splay_deg": 0.0}, {"splay_deg": 1.0}]},
    "venue": {"name": "Hall", "air": {"absorption": True}, "area": [{"outline_m": [[0, 1, 2], [3, 4, 5]]}]},
}
HANG = """\
format = "hang/1"
name = "main"
frame = "beam"
position_m = [0.0, 6.0, 11.0]
azimuth_deg = 1.0
tilt_deg = -2.0
serves = ["stalls"]
[[column]]
enclosure = "wide"
splay_deg = 0.0
[[column]]
enclosure = "wide"
splay_deg = 1.0
[[group]]
rows = [1]
gain_db = 1.0
delay_ms = 1.0
"""


def leaves(node: Any, path: tuple = ()) -> Iterator[tuple]:
    if isinstance(node, dict | list):
        for key in node if isinstance(node, dict) else range(len(node)):
            yield from leaves(node[key], (*path, key))
    else:
        yield path


def shuffled(node: Any) -> Any:
    """The same with the keys of every table in reverse order."""
    if isinstance(node, dict):
        return {key: shuffled(node[key]) for key in reversed(node)}
    return [shuffled(item) for item in node] if isinstance(node, list) else node


def test_word_of_ten_letters():
    word = revision(INPUTS)
    assert len(word) == 10
    assert word.isascii()
    assert word.isalpha()
    assert word.islower()


def test_word_can_be_spoken():
    """Five syllables, each of one consonant and one vowel."""
    words = [revision({"number": number}) for number in range(300)]
    consonants, vowels = {letter for word in words for letter in word[::2]}, {c for word in words for c in word[1::2]}
    assert vowels <= set("aeiou")
    assert not consonants & set("aeiou")


def test_same_inputs_give_the_same_word():
    assert revision(INPUTS) == revision(copy.deepcopy(INPUTS))


def test_order_of_keys_does_not_count():
    assert list(shuffled(INPUTS)) != list(INPUTS)
    assert revision(shuffled(INPUTS)) == revision(INPUTS)


@pytest.mark.parametrize("path", list(leaves(INPUTS)), ids=lambda path: ".".join(map(str, path)))
def test_every_value_counts(path):
    changed = copy.deepcopy(INPUTS)
    node = changed
    for key in path[:-1]:
        node = node[key]
    old = node[path[-1]]
    node[path[-1]] = not old if isinstance(old, bool) else f"{old} " if isinstance(old, str) else old + 1e-9
    assert revision(changed) != revision(INPUTS)


@pytest.mark.parametrize(
    "other",
    [{}, {"a": "1"}, {"a": True}, {"a": None}, {"a": [1]}, {"a": {"1": 1}}, {"b": 1}, {"a": 1, "b": 1}, {"A": 1}],
    ids=str,
)
def test_kind_of_a_value_and_its_key_count(other):
    assert revision(other) != revision({"a": 1})


def test_order_of_a_list_counts():
    assert revision({"a": [1, 2]}) != revision({"a": [2, 1]})
    assert revision({"a": [[1], [2]]}) != revision({"a": [[1, 2], []]})


def test_two_thousand_inputs_give_as_many_words():
    # exact: 30 bits collide among 2000 with a chance of 2000²/2^31 = 0.2 %; 20 bits would with 85 %
    assert len({revision({"number": number}) for number in range(2000)}) == 2000


plain = st.recursive(
    st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=80, database=None, derandomize=True)
@given(st.dictionaries(st.text(max_size=4), plain, max_size=4))
def test_any_inputs_have_a_word_whatever_the_order_of_keys(inputs):
    assert len(revision(inputs)) == 10
    assert revision(shuffled(inputs)) == revision(inputs)


@pytest.fixture
def word_of(tmp_path, equipment):
    def word(text: str, catalogue=equipment) -> str:
        (tmp_path / "hang.toml").write_bytes(text.encode())
        return revision(load_hang(tmp_path / "hang.toml", catalogue).inputs)

    return word


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"main"', '"Main"'),
        ("[0.0, 6.0, 11.0]", "[0.1, 6.0, 11.0]"),
        ("[0.0, 6.0, 11.0]", "[0.0, 6.1, 11.0]"),
        ("[0.0, 6.0, 11.0]", "[0.0, 6.0, 11.1]"),
        ("azimuth_deg = 1.0", "azimuth_deg = 1.1"),
        ("tilt_deg = -2.0", "tilt_deg = -2.1"),
        ('["stalls"]', '["balcony"]'),
        ("splay_deg = 1.0", "splay_deg = 2.0"),
        ("rows = [1]", "rows = [2]"),
        ("gain_db = 1.0", "gain_db = 1.1"),
        ("delay_ms = 1.0", "delay_ms = 1.1"),
        ("[[group]]", '[[column]]\nenclosure = "wide"\nsplay_deg = 1.0\n[[group]]'),
    ],
)
def test_every_key_of_a_hang_counts(word_of, old, new):
    assert old in HANG
    assert word_of(HANG.replace(old, new)) != word_of(HANG)


def test_comments_layout_and_order_of_a_hang_do_not_count(word_of):
    lines = HANG.splitlines()
    other = "\r\n".join(["# A comment.", "", *reversed(lines[:7]), *(f"  {line}  # more" for line in lines[7:])])
    assert word_of(other) == word_of(HANG)


@pytest.mark.parametrize(("old", "new"), [("tilt_deg = -2.0", "tilt_deg = -2"), ("[0.0, 6.0, 11.0]", "[0, 6, 11]")])
def test_spelling_of_a_number_does_not_count(word_of, old, new):
    assert word_of(HANG.replace(old, new)) == word_of(HANG)


def test_equipment_counts_where_it_hangs(tmp_path, word_of, frame_text, enclosure_text):
    def catalogue(folder: str, **changes: object):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.toml").write_text(frame_text("beam", {"wide": [0.0]}))
        (tmp_path / folder / "b.toml").write_text(enclosure_text("wide", "wide", {"wide": [1.0]}, **changes))
        other = enclosure_text("slim", "slim", {}, mass_kg=12.0 + len(folder)).replace(
            "[acoustic]", "below = []\n[acoustic]"
        )
        (tmp_path / folder / "c.toml").write_text(other)
        return load_catalogue([tmp_path / folder])

    first = word_of(HANG, catalogue("one"))
    assert word_of(HANG, catalogue("other place, another slim")) == first
    assert word_of(HANG, catalogue("heavier", mass_kg=41.0)) != first
    assert word_of(HANG, catalogue("reference", reference_m=(0.0, 0.0, -0.12))) != first


def test_mirror_image_has_a_word_of_its_own(tmp_path, word_of, equipment):
    first = word_of(HANG)
    words = {first}
    for plane in (0.0, 1.0):
        text = f'format = "hang/1"\nname = "main"\nmirror_of = "hang.toml"\nmirror_y_m = {plane}\n'
        (tmp_path / "right.toml").write_text(text)
        words.add(revision(load_hang(tmp_path / "right.toml", equipment).inputs))
    assert len(words) == 3


def test_a_whole_number_beyond_all_others_has_a_word_too():
    """An acoustic part, which rigging does not read, may hold one."""
    words = {revision({"acoustic": {"rear_db": sign * 16**5000 + more}}) for sign in (1, -1) for more in (0, 1)}
    assert len(words) == 4
