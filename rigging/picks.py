"""How a hang file says what its frame is picked up by: arm, picks, pull-back, loom, carts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.models import Model, Name, key, problem, quantity, whole_numbers
from rigging.site import Height, Place

MOST_ON_A_CART = 4


def _check_group(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_ON_A_CART:
        raise problem("is no number of enclosures that a cart carries", f"give 1 to {MOST_ON_A_CART} for each cart")
    return value


_OnACart = Annotated[int, BeforeValidator(_check_group, json_schema_input_type=whole_numbers(1, MOST_ON_A_CART))]


class ArmUse(Model):
    """A pick arm on one end of the frame."""

    type: Name = key("pick arm type", '"arm-large"')
    end: Literal["front", "rear"] = key("end of the frame that it lengthens", '"front"')


class Use(Model):
    """A shackle or sling and how it is used; what has a meaning for which kind is told by `rigging.fit`."""

    type: Name = key("shackle or sling type", '"roundsling-2t"')
    hitch: Literal["straight", "choked", "basket"] | None = Field(
        None, description="how a sling is used; straight when absent"
    )
    length_m: Annotated[float, quantity(0.02, 30.0, "m")] | None = Field(
        None, description="what a choked sling or a basket takes up between its ends"
    )
    spread_deg: Annotated[float, quantity(0.0, 60.0, "deg")] | None = Field(
        None, description="legs of a basket from plumb"
    )
    side_deg: Annotated[float, quantity(0.0, 90.0, "deg")] | None = Field(
        None, description="pull on a shackle off its line"
    )


def _check_entry(value: Any) -> Any:
    if isinstance(value, str):
        return {"type": value}
    if not isinstance(value, dict):
        raise problem("is neither a name nor a table", 'give "shackle-5-8", or { type = "roundsling-2t", ... }')
    return value


def _check_listed(value: Any) -> Any:
    if not isinstance(value, list | tuple):
        raise problem("must be a list", "put it in [ ]")
    return value


_Entry = Annotated[Use, BeforeValidator(_check_entry, json_schema_input_type=Name | Use)]
Uses = Annotated[tuple[_Entry, ...], BeforeValidator(_check_listed, json_schema_input_type=tuple[_Entry, ...])]


class Leg(Model):
    """One leg of a bridle: from a venue point to the apex."""

    point: Name = key("venue point", '"left 1"')
    rope: Name | None = Field(None, description="rope type")
    sling: Name | None = Field(None, description="sling type, straight")
    hardware: Uses | None = Field(None, description="shackles at its ends; [] if none")


class Pick(Model):
    """One hoist: its hole, the point or bridle above, what is in line with it."""

    hole: Name = key("hole of the frame, or of the arm", '"2"')
    on: Literal["frame", "arm"] = Field("frame", description="what the hole is in")
    point: Name | None = Field(None, description="venue point plumb above the hole")
    leg: tuple[Leg, ...] = Field((), max_length=3, description="bridle legs: [[pick.leg]]")
    apex_m: Height | None = Field(None, description="height of the bridle's apex")
    hoist: Name | None = Field(None, description="hoist type")
    hardware: Uses | None = Field(None, description="shackles and slings between hook and hole; [] if none")
    top_hardware: Uses | None = Field(
        None, description="what is between hoist and point, or at a bridle's apex; [] if its hook is straight on"
    )


class PullBack(Model):
    """A rope from the bottom enclosure's pull-back hole to a place or point."""

    point: Name | None = Field(None, description="venue point")
    to_m: Place | None = Field(None, description="place that it pulls to")
    hoist: Name | None = Field(None, description="hoist type")
    hardware: Uses | None = Field(None, description="what is between hook and hole; [] if nothing")
    top_hardware: Uses | None = Field(
        None, description="what is between hoist and point; [] if its hook is straight on"
    )


class Loom(Model):
    """Cables that hang down the rear of the column."""

    kg_per_m: Annotated[float, quantity(0.0, 20.0, "kg/m")] = key("mass for each metre", "1.5")
    y_m: Annotated[float, quantity(-2.0, 2.0, "m")] = Field(0.0, description="off the middle, positive to the left")


class Carts(Model):
    """What the column travels on."""

    groups: tuple[_OnACart, ...] | None = Field(None, description="enclosures on each, top first")
    deck_m: Annotated[float, quantity(0.0, 1.5, "m")] = Field(0.2, description="height of a cart's deck")
