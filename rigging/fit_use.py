"""Whether shackles and slings that a hang file names exist, and are used as their kind can be; on unchecked data."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rigging.equipment import Catalogue
from rigging.faults import NO_VALUE, Loc, nearest
from rigging.hang_file import Problem
from rigging.picks import Use
from rigging.tackle import Shackle, Sling

# Of each use: the keys it needs, besides type and hitch; all others have no meaning for it.
_NEEDS: dict[str, tuple[str, ...]] = {
    "shackle": (),
    "straight sling": (),
    "choked sling": ("length_m",),
    "basket": ("length_m", "spread_deg"),
}
_MAY = {"shackle": ("side_deg",), "straight sling": ("hitch",), "choked sling": ("hitch",), "basket": ("hitch",)}
_EXAMPLES = {
    "length_m": "what it takes up between its ends, for example length_m = 0.4",
    "spread_deg": "its legs from plumb, 0 to 60, for example spread_deg = 30.0",
}
# Of a sling's length, the most that its use leaves between its ends.
_REACH = {"choked sling": 1.0, "basket": 0.5}


def use_faults(entries: Any, loc: Loc, catalogue: Catalogue) -> Iterator[Problem]:
    """Unknown shackles and slings in a list at `loc`, and keys that the use of one needs or does not know."""
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        place: Loc = (*loc, index)
        name = entry.get("type") if isinstance(entry, dict) else entry
        if not isinstance(name, str):
            continue  # said by the model
        item = catalogue.items.get(name)
        if not isinstance(item, Shackle | Sling):
            todo = f"{nearest(name, catalogue.names(Shackle, Sling))}; --equipment DIR adds yours"
            yield (*place, "type") if isinstance(entry, dict) else place, "is no known shackle or sling", todo, name
        elif isinstance(entry, dict):
            for problem in _key_faults(Use.metric(entry), place, item):
                *way, key = problem[0]
                # As it was typed: a length in feet has a key of its own.
                typed = str(key).removesuffix("_m") + "_ft"
                yield (*way, typed if key not in entry and typed in entry else key), *problem[1:]


def _key_faults(use: dict[str, Any], place: Loc, item: Shackle | Sling) -> Iterator[Problem]:
    kind = _kind(use, item)
    if kind is None:
        return  # said by the model
    for name in _NEEDS[kind]:
        if name not in use:
            yield (*place, name), "key is missing", f"a {kind} needs it: {_EXAMPLES[name]}", NO_VALUE
    known = ("type", *_MAY[kind], *_NEEDS[kind])
    for name in Use.model_fields:
        if name in use and name not in known:
            todo = f"remove it; a {kind} has {', '.join(known)}"
            yield (*place, name), f"has no meaning for a {kind}", todo, use[name]
    length = use.get("length_m")
    if isinstance(item, Sling) and kind in _REACH and isinstance(length, int | float) and not isinstance(length, bool):
        most = _REACH[kind] * item.length_m
        if length > most * (1 + 1e-9):
            wrong = f"is more than a {kind} of {item.name} reaches ({most:g} m of its {item.length_m:g} m)"
            yield (*place, "length_m"), wrong, "measure between its ends, or take a longer sling", length


def _kind(use: dict[str, Any], item: Shackle | Sling) -> str | None:
    if isinstance(item, Shackle):
        return "shackle"
    kinds = {"straight": "straight sling", "choked": "choked sling", "basket": "basket"}
    hitch = use.get("hitch", "straight")
    return kinds.get(hitch) if isinstance(hitch, str) else None
