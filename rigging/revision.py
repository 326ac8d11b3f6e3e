"""The revision: a short content hash of all inputs of a result, spelled so that it can be read out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

# Letters that are hard to mistake for each other when read out on a radio.
_CONSONANTS = "bdfghjklmnprstvz"
_VOWELS = "aiou"
_PAIRS = 5


def revision(inputs: Mapping[str, Any]) -> str:
    """A word of ten letters for all inputs of a result, such as `bagotilufo`.

    Equal inputs as written give equal words, 4 and 4.0 being equal; of 1000 different ones two share a
    word with a chance of 1 : 2000 (30 bits). Comments, order of keys and layout of a file do not count.
    """
    text = json.dumps(_plain(inputs), sort_keys=True, ensure_ascii=False, default=str)
    number = int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")
    word = ""
    for _ in range(_PAIRS):
        number, low = divmod(number, len(_CONSONANTS) * len(_VOWELS))
        word += _CONSONANTS[low // len(_VOWELS)] + _VOWELS[low % len(_VOWELS)]
    return word


def design_word(hang: Any, venue: Mapping[str, Any]) -> str:
    """The word for what hangs where, the same on every sheet of a hang whatever was asked of it.

    `hang` is a `rigging.hang.Hang`, `venue` the content of its venue file.
    """
    return revision({**hang.inputs, "venue": venue})


def _plain(value: Any) -> Any:
    """The same with every whole number as a float."""
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, int) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:  # of a part that its own reader has not refused yet
            return hex(value)
    return value
