"""How a hang file says what its frame is picked up by: arm, picks, pull-back, loom, carts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.models import Model, Name, key, problem, quantity
from rigging.site import Height, Place


def _check_group(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 4:
        raise problem("is no number of enclosures that a cart carries", "give 1 to 4 for each cart")
    return value


class ArmUse(Model):
    """A pick arm on one end of the frame."""

    type: Name = key("pick arm type", '"arm-large"')
    end: Literal["front", "rear"] = key("end of the frame that it lengthens", '"front"')


class Leg(Model):
    """One leg of a bridle: from a venue point to the apex."""

    point: Name = key("venue point", '"left 1"')
    rope: Name | None = Field(None, description="rope type")
    sling: Name | None = Field(None, description="sling type, straight")


class Pick(Model):
    """One hoist: its hole, the point or bridle above, what is in line with it."""

    hole: Name = key("hole of the frame, or of the arm", '"2"')
    on: Literal["frame", "arm"] = Field("frame", description="what the hole is in")
    point: Name | None = Field(None, description="venue point plumb above the hole")
    leg: tuple[Leg, ...] = Field((), max_length=3, description="bridle legs: [[pick.leg]]")
    apex_m: Height | None = Field(None, description="height of the bridle's apex")
    hoist: Name | None = Field(None, description="hoist type")
    hardware: tuple[Name, ...] | None = Field(None, description="shackles and slings between hook and hole; [] if none")


class PullBack(Model):
    """A rope from the bottom enclosure's pull-back hole to a place or point."""

    point: Name | None = Field(None, description="venue point")
    to_m: Place | None = Field(None, description="place that it pulls to")
    hoist: Name | None = Field(None, description="hoist type")
    hardware: tuple[Name, ...] | None = Field(None, description="what is between hook and hole; [] if nothing")


class Loom(Model):
    """Cables that hang down the rear of the column."""

    kg_per_m: Annotated[float, quantity(0.0, 20.0, "kg/m")] = key("mass for each metre", "1.5")
    y_m: Annotated[float, quantity(-2.0, 2.0, "m")] = Field(0.0, description="off the middle, positive to the left")


class Carts(Model):
    """What the column travels on."""

    groups: tuple[Annotated[int, BeforeValidator(_check_group)], ...] | None = Field(
        None, description="enclosures on each, top first"
    )
    deck_m: Annotated[float, quantity(0.0, 1.5, "m")] = Field(0.2, description="height of a cart's deck")
