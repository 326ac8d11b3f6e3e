"""What hangs between a point and a frame: hoists, slings, shackles, wire rope, as their files rate them."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field

from rigging.models import Model, Name, key, problem, quantity, whole_numbers

Rated = Annotated[float, quantity(1.0, 100_000.0, "kg")]


def _check_falls(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 4:
        raise problem("is no number of falls", "count the chains that carry the hook: 1 to 4")
    return value


class _Tackle(Model):
    KIND: ClassVar[str] = ""

    name: Name = key("name, as hang files give it", '"hoist-1t"')
    description: Name = key("what it is", '"invented demo item"')
    source: Name = key("where the numbers come from", '"EN 1492-2"')
    mass_kg: Annotated[float, quantity(0.0, 1000.0, "kg")] = key("own mass; of a hoist without its chain", "1.0")


class Hoist(_Tackle):
    """A chain hoist. Capacity missing: what it may lift cannot be judged."""

    KIND: ClassVar[str] = "hoist"

    format: Literal["hoist/1"] = key("kind of file", '"hoist/1"')
    capacity_kg: Rated | None = Field(None, description="rated capacity")
    chain_kg_per_m: Annotated[float, quantity(0.0, 20.0, "kg/m")] = key("chain, per fall and metre", "0.9")
    falls: Annotated[int, BeforeValidator(_check_falls, json_schema_input_type=whole_numbers(1, 4))] = key(
        "falls of chain", "1"
    )
    chain_m: Annotated[float, quantity(1.0, 120.0, "m")] = key("greatest distance of hook and hook", "20.0")
    headroom_m: Annotated[float, quantity(0.1, 3.0, "m")] = key("least distance of hook and hook", "0.6")
    hoisting_class: Literal["HC1", "HC2", "HC3", "HC4"] | None = Field(None, description="EN 13001-2")
    speed_m_per_min: Annotated[float, quantity(0.1, 40.0, "m/min")] | None = Field(None, description="hoisting speed")


class Sling(_Tackle):
    """A textile sling, rated and used straight."""

    KIND: ClassVar[str] = "sling"

    format: Literal["sling/1"] = key("kind of file", '"sling/1"')
    limit_kg: Rated | None = Field(None, description="working load limit, straight")
    length_m: Annotated[float, quantity(0.1, 30.0, "m")] = key("length, bearing point to bearing point", "1.0")


class Shackle(_Tackle):
    """A shackle."""

    KIND: ClassVar[str] = "shackle"

    format: Literal["shackle/1"] = key("kind of file", '"shackle/1"')
    limit_kg: Rated | None = Field(None, description="working load limit, in line")
    length_m: Annotated[float, quantity(0.01, 1.0, "m")] = key("length inside, pin to bow", "0.06")


class Rope(_Tackle):
    """Wire rope for bridle legs, by its minimum breaking force; mass is for each metre."""

    KIND: ClassVar[str] = "rope"

    format: Literal["rope/1"] = key("kind of file", '"rope/1"')
    breaking_kn: Annotated[float, quantity(0.5, 2000.0, "kN")] | None = Field(
        None, description="minimum breaking force"
    )
    termination: Annotated[float, quantity(0.3, 1.0, "")] = key("share that its terminations keep", "0.9")
    kg_per_m: Annotated[float, quantity(0.01, 20.0, "kg/m")] = key("mass for each metre", "0.14")


Tackle = Hoist | Sling | Shackle | Rope
