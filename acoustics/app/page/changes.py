"""One message of the hand → the work after it. Nothing here computes: a change is a change of a text or a number."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from acoustics.app.page.frames import Refused
from acoustics.app.page.work import Ground, Loaded, Work
from acoustics.venue import Air
from rigging import edits
from rigging.equipment import allowed_splays
from rigging.hang import Hang

PLACE = {"x_m": 0, "y_m": 1, "trim_m": 2}
PLAIN = ("tilt_deg", "azimuth_deg")
DRIVE_DB = (-60.0, 40.0)  # as `--drive` of the commands


def changed(ground: Ground, loaded: Loaded, work: Work, path: Path, asked: Mapping[str, Any]) -> Work | None:
    """The work after a message, with the hand on the hang of `path`; None where the message changes no work.

    Raises
    ------
    Refused
        If it cannot be done.
    """
    kind = asked["do"]
    if kind == "air":
        return _air(work, asked)
    if kind == "drive":
        return dataclasses.replace(work, drive_db=_between(asked, "drive_db", *DRIVE_DB))
    change = {"set": _set, "add": _add, "remove": _remove}.get(kind)
    if change is None:
        return None
    hang = loaded.hangs[path]
    why = not_editable(hang)
    if why:
        raise Refused(why, f"take {hang.design.path.name} in hand")
    try:
        return work.with_text(path, change(ground, hang, work.texts.get(path, hang.document.text), asked))
    except (KeyError, IndexError) as error:
        raise Refused(f"the file of {hang.name} has no {error}", "add it in the file") from None


def not_editable(hang: Hang) -> str:
    """Why a hang cannot be changed by hand; empty where it can."""
    return "a mirror image follows the hang that it mirrors" if "mirror_of" in hang.document.data else ""


def _set(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    what = asked.get("what")
    if what in PLAIN:
        return edits.with_value(text, what, _number(asked, "value"))
    if what in PLACE:
        return edits.with_place(text, PLACE[what], _number(asked, "value"))
    if what == "fall_db":
        return edits.with_wish(text, "fall_db", _number(asked, "value"))
    setter = _SETTERS.get(str(what))
    if setter is None:
        raise Refused(f"there is no {what} to set")
    return setter(ground, hang, text, asked)


def _set_splay(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    row = _row(hang, asked)
    allowed = splays_of(hang, row)
    now = hang.splays_deg[row - 1]
    if "step" in asked:
        step = _number(asked, "step")
        nearest = min(range(len(allowed)), key=lambda index: abs(allowed[index] - now))
        splay = allowed[min(max(nearest + (1 if step > 0 else -1), 0), len(allowed) - 1)]
    else:
        splay = _number(asked, "value")
    return edits.with_splay(text, row, splay)


def _set_type(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    row = 0 if asked.get("row") == 0 else _row(hang, asked)
    return edits.with_type(text, row, _text(asked, "value"), ground.catalogue)


def _set_hole(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    pick = asked.get("pick")
    if type(pick) is not int or not 1 <= pick <= len(hang.picks):
        raise Refused(f"there is no pick {pick}", f"its picks are 1 to {len(hang.picks)}")
    on, _, hole = _text(asked, "value").partition(" ")
    return edits.with_hole(text, pick, on, hole)


def _set_arm(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    if asked.get("value") is None:
        return edits.with_arm(text, None, "")
    return edits.with_arm(text, _text(asked, "value"), _text(asked, "end"))


_Setter = Callable[[Ground, Hang, str, Mapping[str, Any]], str]
_SETTERS: dict[str, _Setter] = {"splay_deg": _set_splay, "type": _set_type, "hole": _set_hole, "arm": _set_arm}


def _add(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    return edits.with_one_more(text, _end(asked), ground.catalogue)


def _remove(ground: Ground, hang: Hang, text: str, asked: Mapping[str, Any]) -> str:
    try:
        return edits.with_one_less(text, _end(asked), ground.catalogue)
    except ValueError as error:
        raise Refused(str(error), "open another file to start anew") from None


def _air(work: Work, asked: Mapping[str, Any]) -> Work:
    found: dict[str, Any] = {}
    for name in ("temperature_c", "relative_humidity_pct"):
        if name in asked:
            found[name] = _number(asked, name)
    try:
        Air.model_validate(found)
    except ValidationError as error:
        raise Refused(_first_line(error), "give another number") from None
    return dataclasses.replace(work, **found)


def splays_of(hang: Hang, row: int) -> tuple[float, ...]:
    """Splays that the joint above a row, counted from 1, allows; that which it has where none is known. [deg]"""
    upper = hang.items[row - 2] if row > 1 else hang.frame
    return allowed_splays(upper, hang.items[row - 1]) or (hang.splays_deg[row - 1],)


def _row(hang: Hang, asked: Mapping[str, Any]) -> int:
    row = asked.get("row")
    if type(row) is not int or not 1 <= row <= len(hang.items):
        raise Refused(f"there is no row {row}", f"its rows are 1 to {len(hang.items)}")
    return row


def _end(asked: Mapping[str, Any]) -> str:
    end = _text(asked, "end")
    if end not in ("top", "bottom"):
        raise Refused(f"there is no end {end}", "top or bottom")
    return end


def _text(asked: Mapping[str, Any], key: str) -> str:
    value = asked.get(key)
    if not isinstance(value, str):
        raise Refused(f"{key} must be a text")
    return value


def _number(asked: Mapping[str, Any], key: str) -> float:
    value = asked.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Refused(f"{key} must be a number")
    return float(value)


def _between(asked: Mapping[str, Any], key: str, low: float, high: float) -> float:
    value = _number(asked, key)
    if not low <= value <= high:
        raise Refused(f"{key} lies outside {low:g} to {high:g}")
    return value


def _first_line(error: ValidationError) -> str:
    said = error.errors(include_url=False)[0]
    return f"{said['loc'][0]} {said['msg']}"
