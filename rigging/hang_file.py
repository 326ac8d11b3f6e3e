"""The hang file as it is written: its keys, and the rules between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.drive import Filter, filter_faults
from rigging.faults import NO_VALUE, Loc
from rigging.models import FilePath, Flag, Model, Name, key, problem, quantity, whole_numbers
from rigging.picks import MOST_ON_A_CART, ArmUse, Carts, Loom, Pick, PullBack
from rigging.site import Coordinate, Height, Place

Problem = tuple[Loc, str, str, object]


def _check_row(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise problem("is not a row number", "count the [[column]] entries from the top, starting at 1")
    return value


class Row(Model):
    """One row of a column: an enclosure or an adapter, and the splay of the joint above it."""

    enclosure: Name | None = Field(None, description="enclosure type")
    adapter: Name | None = Field(None, description="adapter type")
    splay_deg: Annotated[float, quantity(0.0, 45.0, "deg")] = key("splay of the joint above", "0.0")
    fixed: Flag = Field(False, description="a search keeps this splay")


class Group(Model):
    """Rows that share a drive signal."""

    rows: Annotated[
        tuple[Annotated[int, BeforeValidator(_check_row, json_schema_input_type=whole_numbers(1))], ...],
        Field(min_length=1),
    ] = key("row numbers from the top", "[1, 2]")
    gain_db: Annotated[float, quantity(-60.0, 20.0, "dB")] = Field(0.0, description="gain")
    delay_ms: Annotated[float, quantity(0.0, 1000.0, "ms")] = Field(0.0, description="delay")
    inverted: Flag = Field(False, description="polarity turned round")
    filter: tuple[Filter, ...] = Field((), description="filters in line: [[group.filter]]")


class HangFile(Model):
    """A hang as its file gives it."""

    format: Literal["hang/1"] = key("kind of file", '"hang/1"')
    name: Name = key("name of the hang", '"main, stage left"')
    description: Name | None = Field(None, description="where the numbers come from")
    frame: Name = key("frame type", '"frame-large"')
    position_m: Place = key("frame reference (front pivot line); the third number is the trim", "[0.0, 6.0, 11.0]")
    azimuth_deg: Annotated[float, quantity(-360.0, 360.0, "deg")] = Field(0.0, description="positive to stage left")
    tilt_deg: Annotated[float, quantity(-90.0, 90.0, "deg")] = key("elevation of the frame", "-2.0")
    serves: tuple[Name, ...] | None = Field(None, description="areas; all when absent")
    column: Annotated[tuple[Row, ...], Field(min_length=1, max_length=64)] = key("rows, top down", "[[column]] ...")
    group: tuple[Group, ...] = Field((), description="rows that share a drive signal")
    standing: Flag = Field(False, description="a stack on the ground: the frame is its base, below the last row")
    arm: ArmUse | None = Field(None, description="pick arm: [arm]")
    pick: tuple[Pick, ...] = Field((), max_length=4, description="what the frame is picked up by: [[pick]]")
    pullback: PullBack | None = Field(None, description="rope from the bottom enclosure: [pullback]")
    loom: Loom | None = Field(None, description="cables down the rear: [loom]")
    carts: Carts = Field(Carts(), description="what the column travels on: [carts]")
    floor_below_m: Height | None = Field(None, description="height of the floor or stage below the hang")
    search: dict[str, Any] | None = Field(None, description="what a search may choose and wants: [search]")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Rows that are neither or both of enclosure and adapter; rows in no place of the column or in two groups."""
        column = data.get("column")
        rows = column if isinstance(column, list) else []
        for index, row in enumerate(rows):
            if isinstance(row, dict) and ("enclosure" in row) == ("adapter" in row):
                wrong = "names both an enclosure and an adapter" if "adapter" in row else "names no equipment"
                yield ("column", index), wrong, "give the row either enclosure = ... or adapter = ...", row
        if rows and all(isinstance(row, dict) and "adapter" in row and "enclosure" not in row for row in rows):
            yield ("column",), "holds no enclosure", "add rows with enclosure = ...", NO_VALUE
        elif rows and isinstance(rows[-1], dict) and "adapter" in rows[-1] and "enclosure" not in rows[-1]:
            wrong = "is an adapter with nothing below it"
            yield ("column", len(rows) - 1), wrong, "remove the row, or add one", NO_VALUE
        yield from _serves_faults(data.get("serves"))
        yield from _group_faults(data.get("group"), rows)
        yield from _pick_faults(data.get("pick"))
        pullback = data.get("pullback")
        if isinstance(pullback, dict) and "point" in pullback and "to_m" in pullback:
            yield ("pullback",), "has both a point and a place", "keep one of point and to_m", NO_VALUE
        if data.get("standing") is True:
            for key_ in [key_ for key_ in ("pick", "pullback", "arm") if key_ in data]:
                yield (
                    (key_,),
                    "has no meaning for a stack that stands",
                    "remove it, or remove standing = true",
                    NO_VALUE,
                )
        yield from _cart_faults(data.get("carts"), sum(isinstance(r, dict) and "enclosure" in r for r in rows))


class MirrorFile(Model):
    """A hang that is the mirror image of another file's."""

    format: Literal["hang/1"] = key("kind of file", '"hang/1"')
    name: Name = key("name of the hang", '"main, stage right"')
    mirror_of: FilePath = key("the design's file, from this one's folder", '"left.toml"')
    mirror_y_m: Coordinate = Field(0.0, description="the mirror plane: y = this")
    serves: tuple[Name, ...] | None = Field(None, description="areas; those of the design when absent")
    points: dict[Name, Name] = Field({}, description="the design's venue points, and this side's in their place")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Areas that stand twice."""
        yield from _serves_faults(data.get("serves"))


def _serves_faults(serves: Any) -> Iterator[Problem]:
    seen: set[str] = set()
    for index, name in enumerate(serves if isinstance(serves, list) else []):
        if not isinstance(name, str):
            continue
        if name in seen:
            yield ("serves", index), "stands twice", "name each area once", name
        seen.add(name)


def _group_faults(groups: Any, rows: list[Any]) -> Iterator[Problem]:
    taken: dict[int, int] = {}
    for index, group in enumerate(groups if isinstance(groups, list) else []):
        if isinstance(group, dict):
            yield from filter_faults(group.get("filter"), ("group", index, "filter"))
        numbers = group.get("rows") if isinstance(group, dict) else None
        for place, number in enumerate(numbers if isinstance(numbers, list) else []):
            if isinstance(number, bool) or not isinstance(number, int) or number < 1:
                continue  # said by the model
            loc = ("group", index, "rows", place)
            if number > len(rows):
                yield loc, f"is beyond the column's {len(rows)} rows", "count [[column]] entries from the top", number
            elif isinstance(rows[number - 1], dict) and "adapter" in rows[number - 1]:
                yield loc, "is an adapter, which has no drive signal", "leave it out", number
            if number in taken:
                wrong = f"is in group[{taken[number] + 1}] already"
                yield loc, wrong, "a row has one drive signal: keep it in one group", number
            taken.setdefault(number, index)


def _pick_faults(picks: Any) -> Iterator[Problem]:
    """Picks with neither or both of point and bridle; bridles without an apex or with one leg."""
    for index, pick in enumerate(picks if isinstance(picks, list) else []):
        if not isinstance(pick, dict):
            continue
        loc: Loc = ("pick", index)
        if "point" in pick and "leg" in pick:
            yield loc, "has both a point and bridle legs", "keep one of the two", NO_VALUE
        if "point" in pick and "apex_m" in pick and "leg" not in pick:
            wrong = "has no meaning for a pick below a point of its own"
            yield (*loc, "apex_m"), wrong, "remove it, or give [[pick.leg]] in place of the point", pick["apex_m"]
        elif ("leg" in pick) != ("apex_m" in pick):
            missing = "apex_m" if "leg" in pick else "leg"
            todo = "a bridle needs [[pick.leg]] twice or three times, and apex_m, the height where they meet"
            yield (*loc, missing), "key is missing", todo, NO_VALUE
        legs = pick.get("leg")
        if isinstance(legs, list) and len(legs) < 2:
            wrong = f"is a bridle of {len(legs)} legs" if not legs else "is a bridle of one leg"
            yield (*loc, "leg"), wrong, "give two or three, or a point in its place", NO_VALUE
        yield from _leg_point_faults(legs, loc)
        for leg_index, leg in enumerate(legs if isinstance(legs, list) else []):
            if isinstance(leg, dict) and ("rope" in leg) == ("sling" in leg):
                wrong = "names both a rope and a sling" if "rope" in leg else "names no rope or sling"
                yield (*loc, "leg", leg_index), wrong, "give the leg one of the two", NO_VALUE


def _leg_point_faults(legs: Any, loc: Loc) -> Iterator[Problem]:
    """Legs of one bridle that go to one and the same point."""
    taken: dict[str, int] = {}
    for index, leg in enumerate(legs if isinstance(legs, list) else []):
        point = leg.get("point") if isinstance(leg, dict) else None
        if isinstance(point, str):
            if point in taken:
                wrong = f"is the point of leg[{taken[point] + 1}] too"
                yield (*loc, "leg", index, "point"), wrong, "lead each leg to its own point", point
            taken.setdefault(point, index)


def _cart_faults(carts: Any, enclosures: int) -> Iterator[Problem]:
    groups = carts.get("groups") if isinstance(carts, dict) else None
    if not isinstance(groups, list) or not all(isinstance(n, int) and 1 <= n <= MOST_ON_A_CART for n in groups):
        return  # said by the model
    if sum(groups) != enclosures:
        wrong = f"holds {sum(groups)} enclosures of {enclosures}"
        yield ("carts", "groups"), wrong, "give every enclosure a cart", groups
