"""What goes over the WebSocket: a JSON head and 32-bit floats in one binary frame; JSON texts back."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics.app.sheet import plain

MOST_BYTES = 16_384  # of a message from the browser
MOST_ID = 2**50  # browsers count whole numbers up to 2**53


class Refused(Exception):
    """A message that cannot be done: what is `wrong`, and what to do."""

    def __init__(self, wrong: str, todo: str = "") -> None:
        super().__init__(wrong)
        self.wrong, self.todo = wrong, todo


def frame(head: Mapping[str, Any], arrays: Mapping[str, npt.ArrayLike] | None = None) -> bytes:
    """One binary frame: length of the head, little endian in four bytes, the head as JSON filled up with blanks to a
    multiple of four bytes, then the arrays as little-endian 32-bit floats in its order.

    Numbers of the head that are not finite become null; NaN in an array stays.
    """
    floats = {name: np.ascontiguousarray(values, dtype="<f4") for name, values in (arrays or {}).items()}
    listed = [{"name": name, "shape": list(values.shape)} for name, values in floats.items()]
    text = json.dumps(plain({**head, "arrays": listed}), ensure_ascii=False, allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    return struct.pack("<I", len(text)) + text + b"".join(values.tobytes() for values in floats.values())


def message(data: str | bytes) -> dict[str, Any]:
    """A message of the browser: a table with a whole number `id`, 1 to `MOST_ID`, and a text `do`.

    Raises
    ------
    Refused
        If it is too long or is none.
    """
    if len(data) > MOST_BYTES:
        raise Refused(f"a message of {len(data)} bytes is too long", f"{MOST_BYTES} at most")
    try:
        found = json.loads(data)
        json.dumps(found, ensure_ascii=False).encode()  # half of a surrogate pair is no text
    except (ValueError, RecursionError):
        raise Refused("a message is no JSON") from None
    asked: dict[str, Any] = found if isinstance(found, dict) else {}
    number = asked.get("id")
    if type(number) is not int or not 1 <= number <= MOST_ID or not isinstance(asked.get("do"), str):
        raise Refused(f'a message needs "id", 1 to {MOST_ID}, and "do"')
    return asked
