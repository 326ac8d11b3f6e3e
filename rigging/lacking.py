"""What cannot be judged because an item's file leaves rated data out, told from that file alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rigging.column import COMPRESSION, LOCK, PIN, TENSION
from rigging.electrical import Amplifier
from rigging.equipment import Adapter, Enclosure, Equipment, Frame, PickArm
from rigging.tackle import Hoist, Rope, Shackle, Sling

_OF_JOINTS = {
    "link_kg": TENSION,
    "link_push_kg": COMPRESSION,
    "pin_kg": PIN,
    "locks_both_ways": f"{LOCK}, of a joint in compression",
}
_BY_A_FACTOR = "all that is judged with a dynamic factor, unless the policy gives one"

_OF_OTHERS: dict[type[Equipment], dict[str, str]] = {
    Hoist: {
        "capacity_kg": "hoist, load at the hook",
        "hoisting_class": _BY_A_FACTOR,
        "speed_m_per_min": _BY_A_FACTOR,
    },
    Sling: {"limit_kg": "load on the sling, and tension of a bridle's leg"},
    Shackle: {"limit_kg": "load on the shackle"},
    Rope: {"breaking_kn": "tension of a bridle's leg"},
    Amplifier: {"least_ohm": "least load of a channel"},
}


@dataclass(frozen=True)
class Lack:
    """A key that a file leaves out, and the findings that stay open without it."""

    key: str
    open: str


def lacks(item: Equipment) -> list[Lack]:
    """Keys that an item's file leaves out and what cannot be judged without them, in the order of the file.

    What hangs, venues and policies leave out is not
    looked at.
    """
    match item:
        case Frame():
            found = _of_frame(item)
        case Enclosure():
            found = _of_enclosure(item)
        case Adapter():
            found = _of_rated(item)
        case PickArm():
            found = _of_arm(item)
        case _:
            found = _missing(item, _OF_OTHERS.get(type(item), {}))
    return list(found)


def _missing(part: Any, keys: dict[str, str], prefix: str = "") -> Iterator[Lack]:
    """Of the keys of a file or table, those that are not given; all where there is no such table."""
    for name, what in keys.items():
        if part is None or getattr(part, name) is None:
            yield Lack(prefix + name, what)


def _of_rated(item: Frame | Adapter | Enclosure) -> Iterator[Lack]:
    yield from _missing(item, {"side_spacing_m": "a joint with its load off the middle"})
    yield from _missing(item.rated, _OF_JOINTS, "rated.")
    if item.rated is None or not item.rated.below:
        yield Lack("rated.below", "mass below")


def _of_frame(frame: Frame) -> Iterator[Lack]:
    for index, hole in enumerate(frame.hole):
        yield from _missing(hole, {"limit_kg": f"load on the hole {hole.name}"}, f"hole[{index + 1}].")
    yield from _of_rated(frame)


def _of_enclosure(enclosure: Enclosure) -> Iterator[Lack]:
    if enclosure.pullback_m is None:
        yield Lack("pullback_m", "all of a hang that a rope pulls back at this enclosure")
    yield from _missing(enclosure, {"cart_limit_deg": "lowest row off level, for the next group on a cart"})
    yield from _of_rated(enclosure)
    if enclosure.pullback_m is not None:
        yield from _missing(enclosure.rated, {"pullback_kg": "load on the pull-back hole"}, "rated.")
    electrical = {"parallel_most": "enclosures on one channel", "ohm": "least load of a channel"}
    yield from _missing(enclosure.electrical, electrical, "electrical.")


def _of_arm(arm: PickArm) -> Iterator[Lack]:
    yield from _missing(arm, {"mount_kg_m": "moment at its mount"})
    for index, hole in enumerate(arm.hole):
        yield from _missing(hole, {"limit_kg": f"load on the hole {hole.name}"}, f"hole[{index + 1}].")
