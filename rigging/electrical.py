"""What drives enclosures, as their files say it: ways and impedance of an enclosure, amplifiers, cables."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field

from rigging.models import Model, Name, key, problem, quantity, whole_numbers


def _count(most: int, what: str) -> BeforeValidator:
    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
            raise problem(f"is no number of {what}", f"give a whole number, 1 to {most}")
        return value

    return BeforeValidator(check, json_schema_input_type=whole_numbers(1, most))


Ohm = Annotated[float, quantity(0.5, 64.0, "ohm")]


class Electrical(Model):
    """`[electrical]` of an enclosure file; what is absent cannot be judged."""

    source: Name = key("where the numbers come from", '"manual, page 3"')
    ways: Annotated[int, _count(6, "ways")] = key("ways that each want an amplifier channel", "2")
    ohm: Ohm | None = Field(None, description="nominal impedance of each way")
    parallel_most: Annotated[int, _count(16, "enclosures")] | None = Field(
        None, description="most enclosures in parallel on one set of channels"
    )


class Amplifier(Model):
    """An amplifier."""

    KIND: ClassVar[str] = "amplifier"

    format: Literal["amplifier/1"] = key("kind of file", '"amplifier/1"')
    name: Name = key("name, as show files give it", '"amp-4"')
    description: Name = key("what it is", '"invented demo item"')
    source: Name = key("where the numbers come from", '"invented"')
    channels: Annotated[int, _count(16, "channels")] = key("output channels", "4")
    least_ohm: Ohm | None = Field(None, description="least load of a channel")


class Cable(Model):
    """A loudspeaker cable."""

    KIND: ClassVar[str] = "cable"

    format: Literal["cable/1"] = key("kind of file", '"cable/1"')
    name: Name = key("name, as show files give it", '"cable-8"')
    description: Name = key("what it is", '"invented demo item"')
    source: Name = key("where the numbers come from", '"invented"')
    pairs: Annotated[int, _count(48, "pairs")] = key("pairs of conductors, one for each channel", "4")
