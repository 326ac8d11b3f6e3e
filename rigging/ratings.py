"""Rated limits, in the kinds that makers publish: permitted below, working loads of link, pin and hole."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from rigging.faults import Loc
from rigging.models import Flag, Model, Name, key, problem, quantity

Working = Annotated[float, quantity(1.0, 100_000.0, "kg")]
Degrees = Annotated[float, quantity(-90.0, 90.0, "deg")]
Offset = Annotated[float, quantity(-6.0, 6.0, "m")]


def _check_range(value: tuple[float, float] | None) -> tuple[float, float] | None:
    if value is not None and value[1] < value[0]:
        raise problem("runs from high to low", "give the lower end first")
    return value


Range = Annotated[tuple[Degrees, Degrees] | None, AfterValidator(_check_range)]


class PermittedBelow(Model):
    """How much may hang below, at all or within a range of the frame's tilt and of the joint's splay."""

    number: Annotated[int, Field(ge=1, le=64)] | None = Field(None, description="enclosures")
    mass_kg: Working | None = Field(None, description="mass of enclosures and adapters")
    tilt_deg: Range = Field(None, description="frame tilt it holds for")
    splay_deg: Range = Field(None, description="splay it holds for")

    def holds(self, tilt_deg: float, splay_deg: float) -> bool:
        """Whether the entry speaks of this tilt and splay."""
        return _within(tilt_deg, self.tilt_deg) and _within(splay_deg, self.splay_deg)


def _check_permitted(entry: PermittedBelow) -> PermittedBelow:
    if entry.number is None and entry.mass_kg is None:
        raise problem("permits neither a number nor a mass", "give number, mass_kg or both")
    return entry


class Ratings(Model):
    """Rated data of an item; what is absent cannot be judged. Working loads are for one side."""

    source: Name = key("where the ratings come from", '"manual, page 12"')
    link_kg: Working | None = Field(None, description="rear link in tension, one side")
    link_push_kg: Working | None = Field(None, description="rear link in compression, one side, lock set")
    pin_kg: Working | None = Field(None, description="front pivot pin, one side")
    pullback_kg: Working | None = Field(None, description="pull-back hole")
    locks_both_ways: Flag | None = Field(None, description="whether the link holds in tension and compression")
    below: tuple[Annotated[PermittedBelow, AfterValidator(_check_permitted)], ...] = Field(
        (), description="permitted below: [[rated.below]]"
    )


class Hole(Model):
    """A pick hole in frame axes, and its working load."""

    name: Name = key("name of the hole", '"1"')
    position_m: tuple[Offset, Offset, Offset] = key("where it is, in frame axes", "[0.1, 0.0, 0.1]")
    limit_kg: Working | None = Field(None, description="working load")


class ArmHole(Model):
    """A pick hole of an arm: out from the frame's end, and up."""

    name: Name = key("name of the hole", '"1"')
    out_m: Annotated[float, quantity(0.0, 4.0, "m")] = key("distance out from the mount", "0.5")
    up_m: Offset = key("height above the mount", "0.05")
    limit_kg: Working | None = Field(None, description="working load")


class ArmMount(Model):
    """Where pick arms of some types may be put on a frame, in frame axes."""

    takes: tuple[Name, ...] = key("pick arm types", '["arm-large"]')
    x_m: Offset = key("distance ahead of the pivot", "0.1")
    z_m: Offset = key("height above the pivot", "0.1")


def hole_faults(data: Any, front: float, depth: float, height: float) -> Iterator[tuple[Loc, str, str, object]]:
    """Holes beyond the frame, out of order, or of one name; on unchecked data."""
    last, names = float("inf"), set[str]()
    for index, hole in enumerate(data if isinstance(data, list) else []):
        if not isinstance(hole, dict):
            continue
        position = hole.get("position_m")
        name = hole.get("name")
        if isinstance(name, str) and name in names:
            yield ("hole", index, "name"), "is the name of another hole too", "give each its own name", name
        if isinstance(name, str):
            names.add(name)
        try:
            x, _, z = (float(value) for value in position)  # type: ignore[union-attr]
        except (TypeError, ValueError, OverflowError):
            continue  # said by the model
        if not (front - depth <= x <= front and -0.05 <= z <= height + 0.3):
            wrong = f"lies beyond the frame (x {front - depth:g} to {front:g} m)"
            yield ("hole", index, "position_m"), wrong, "a pick beyond the frame needs a pick arm", position
        if x > last:
            wrong = "lies ahead of the hole listed before it"
            yield ("hole", index, "position_m"), wrong, "list the holes from the front to the rear", position
        last = x


def _within(value: float, span: tuple[float, float] | None) -> bool:
    # A thousandth of a degree: 2.0 computed another way is still 2.0.
    return span is None or span[0] - 1e-3 <= value <= span[1] + 1e-3
