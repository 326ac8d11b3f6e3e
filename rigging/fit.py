"""Whether what a hang file names exists and fits: equipment, joints, splays, holes; on unchecked data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rigging.equipment import (
    Adapter,
    Catalogue,
    Enclosure,
    Equipment,
    Frame,
    Item,
    PickArm,
    allowed_splays,
    unknown_item,
)
from rigging.faults import NO_VALUE, Loc, nearest
from rigging.fit_use import use_faults
from rigging.hang_file import Problem
from rigging.tackle import Hoist, Rope, Sling


def equipment_faults(data: Mapping[str, Any], catalogue: Catalogue) -> Iterator[Problem]:
    """Unknown equipment, neighbours that do not mate, splays that a joint does not allow."""
    yield from _rigging_faults(data, catalogue)
    upper = _look_up(data.get("frame"), catalogue, Frame)
    if upper is None and isinstance(data.get("frame"), str):
        yield ("frame",), *unknown_item(data["frame"], catalogue, Frame), data["frame"]
    column = data.get("column")
    above = "the frame"
    for index, row in enumerate(column if isinstance(column, list) else []):
        kind = "adapter" if isinstance(row, dict) and "adapter" in row else "enclosure"
        name = row.get(kind) if isinstance(row, dict) else None
        model = Adapter if kind == "adapter" else Enclosure
        lower = _look_up(name, catalogue, model)
        loc: Loc = ("column", index, kind)
        if lower is None and isinstance(name, str):
            yield loc, *unknown_item(name, catalogue, model), name
        if upper is not None and isinstance(lower, Enclosure | Adapter):
            yield from _joint_faults(upper, lower, row.get("splay_deg"), loc, above, catalogue)
        upper, above = lower, f"row {index + 1}"


def _joint_faults(
    upper: Frame | Item, lower: Item, splay: Any, loc: Loc, above: str, catalogue: Catalogue
) -> Iterator[Problem]:
    allowed = allowed_splays(upper, lower)
    if allowed is None:
        takes = ", ".join(below.fitting for below in upper.below) or "nothing"
        wrong = f"does not mate with {upper.name} above it ({above} takes {takes}; this has {lower.top_fitting} on top)"
        yield loc, wrong, _mating_step(upper, lower, catalogue), lower.name
    elif isinstance(splay, int | float) and not isinstance(splay, bool) and splay not in allowed:
        steps = ", ".join(f"{step:g}" for step in allowed)
        wrong = f"is no splay that the joint of {upper.name} and {lower.name} allows"
        yield (*loc[:-1], "splay_deg"), wrong, f"allowed here: {steps}", splay


def _mating_step(upper: Frame | Item, lower: Item, catalogue: Catalogue) -> str:
    joins = [
        name
        for name in catalogue.names(Adapter)
        if isinstance(adapter := catalogue.items[name], Adapter)
        and allowed_splays(upper, adapter) is not None
        and allowed_splays(adapter, lower) is not None
    ]
    return f'put a row with adapter = "{joins[0]}" between' if joins else "no adapter for this is known; change the row"


def _look_up(name: Any, catalogue: Catalogue, kind: type[Equipment]) -> Any:
    item = catalogue.items.get(name) if isinstance(name, str) else None
    return item if isinstance(item, kind) else None


def _rigging_faults(data: Mapping[str, Any], catalogue: Catalogue) -> Iterator[Problem]:
    """Unknown arms, holes and tackle; arms that the frame has no mount for; two picks in one hole."""
    frame, use = _look_up(data.get("frame"), catalogue, Frame), data.get("arm")
    arm = None
    if isinstance(use, dict) and isinstance(use.get("type"), str):
        arm = _look_up(use["type"], catalogue, PickArm)
        if arm is None:
            yield ("arm", "type"), *unknown_item(use["type"], catalogue, PickArm), use["type"]
        elif frame is not None and use.get("end") in ("front", "rear"):
            mount = frame.arm_front if use["end"] == "front" else frame.arm_rear
            if mount is None or arm.name not in mount.takes:
                takes = ", ".join(mount.takes) if mount else "no arm"
                wrong = f"does not fit {frame.name} at its {use['end']}"
                yield ("arm", "type"), wrong, f"that end takes {takes}", arm.name
    taken: dict[tuple[str, str], int] = {}
    picks = data.get("pick")
    for index, pick in enumerate(picks if isinstance(picks, list) else []):
        if isinstance(pick, dict):
            yield from _hole_faults(pick, index, frame, arm, use is not None, taken)
            yield from _tackle_faults(pick, ("pick", index), catalogue)
    if isinstance(data.get("pullback"), dict):
        yield from _tackle_faults(data["pullback"], ("pullback",), catalogue)


def _hole_faults(
    pick: dict[str, Any],
    index: int,
    frame: Frame | None,
    arm: PickArm | None,
    arm_named: bool,
    taken: dict[tuple[str, str], int],
) -> Iterator[Problem]:
    on, name = pick.get("on", "frame"), pick.get("hole")
    holder = arm if on == "arm" else frame
    loc: Loc = ("pick", index, "hole")
    if not isinstance(on, str):
        return
    if on == "arm" and arm is None and not arm_named:
        yield ("pick", index, "on"), "is on an arm, and the hang has none", "add [arm]", NO_VALUE
    elif isinstance(name, str) and holder is not None:
        names = [hole.name for hole in holder.hole]
        if name not in names:
            yield loc, f"is no hole of {holder.name}", f"its holes, front to rear: {', '.join(names) or 'none'}", name
        elif (on, name) in taken:
            yield loc, f"is that of pick[{taken[on, name] + 1}] too", "give each pick its own hole", name
        taken.setdefault((on, name), index)


def _tackle_faults(entry: dict[str, Any], loc: Loc, catalogue: Catalogue) -> Iterator[Problem]:
    named: list[tuple[Loc, Any, tuple[type[Equipment], ...]]] = [((*loc, "hoist"), entry.get("hoist"), (Hoist,))]
    legs = entry.get("leg")
    for name in ("hardware", "top_hardware"):
        yield from use_faults(entry.get(name), (*loc, name), catalogue)
    for index, leg in enumerate(legs if isinstance(legs, list) else []):
        if isinstance(leg, dict):
            named.append(((*loc, "leg", index, "rope"), leg.get("rope"), (Rope,)))
            named.append(((*loc, "leg", index, "sling"), leg.get("sling"), (Sling,)))
            yield from use_faults(leg.get("hardware"), (*loc, "leg", index, "hardware"), catalogue)
    for place, name, kinds in named:
        if isinstance(name, str) and not isinstance(catalogue.items.get(name), kinds):
            yield _unknown_tackle(place, name, kinds, catalogue)


def _unknown_tackle(place: Loc, name: str, kinds: tuple[type[Equipment], ...], catalogue: Catalogue) -> Problem:
    what = " or ".join(kind.KIND for kind in kinds)
    todo = f"{nearest(name, catalogue.names(*kinds))}; --equipment DIR adds yours"
    return place, f"is no known {what}", todo, name
