"""What a show file says: a venue, hangs and placed enclosures, and which programme channel each carries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from rigging.drive import Filter, filter_faults
from rigging.faults import NO_VALUE, Loc, nearest
from rigging.models import FilePath, Flag, Model, Name, duplicate_faults, key, problem, quantity, whole_numbers
from rigging.site import Place

Problem = tuple[Loc, str, str, object]

MOST_IN_A_ROW = 64


def _check_count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_IN_A_ROW:
        raise problem("is no number of enclosures", f"give a whole number, 1 to {MOST_IN_A_ROW}")
    return value


def _check_stock(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 10_000:
        raise problem("is no number of items", "give a whole number, 0 to 10000")
    return value


Angle = Annotated[float, quantity(-180.0, 180.0, "deg")]
Delay = Annotated[float, quantity(0.0, 2000.0, "ms")]
Gain = Annotated[float, quantity(-60.0, 20.0, "dB")]
Stock = dict[Name, Annotated[int, BeforeValidator(_check_stock, json_schema_input_type=whole_numbers(0, 10_000))]]


class Channel(Model):
    """A programme channel."""

    name: Name = key("name of the programme channel", '"left"')


class Unit(Model):
    """What hangs and placed enclosures have in common: channel, areas, and the drive of the whole."""

    channel: Name = key("programme channel that it carries", '"left"')
    serves: tuple[Name, ...] | None = Field(None, description="audience areas; told by level when absent")
    gain_db: Gain = Field(0.0, description="of the whole, beside what its file says")
    delay_ms: Delay = Field(0.0, description="of the whole")
    inverted: Flag = Field(False, description="polarity of the whole turned round")


class ShowHang(Unit):
    """A hang of the show: `[[hang]]`."""

    file: FilePath = key("hang file, from this one's folder", '"left.toml"')


class Placed(Unit):
    """One enclosure, or a row of equal ones, that stands or lies somewhere: `[[placed]]`."""

    name: Name = key("what it is called", '"front fills"')
    enclosure: Name = key("enclosure type", '"compact"')
    position_m: Place = key("reference point of the first", "[1.0, -4.0, 1.1]")
    azimuth_deg: Angle = Field(0.0, description="aim, positive towards stage left")
    elevation_deg: Annotated[float, quantity(-90.0, 90.0, "deg")] = Field(0.0, description="aim, positive up")
    count: Annotated[int, BeforeValidator(_check_count, json_schema_input_type=whole_numbers(1, MOST_IN_A_ROW))] = (
        Field(1, description="enclosures in a row")
    )
    step_m: Place | None = Field(None, description="from each to the next, in venue axes")
    filter: tuple[Filter, ...] = Field((), description="filters of all: [[placed.filter]]")


class Align(Model):
    """A delay that is to be proposed: `[[align]]`."""

    of: Name = key("hang or placed enclosures that get the delay", '"front fills"')
    to: Name = key("those that they are aligned to", '"main, stage left"')
    by: Literal["arrival", "phase"] = Field("arrival", description="first arrivals, or phase through a crossover")
    lead_ms: Annotated[float, quantity(0.0, 40.0, "ms")] = Field(0.0, description="how far the other comes first")
    at_m: Place | None = Field(None, description="place that it holds for; where both are equally loud when absent")
    crossover_hz: Annotated[float, quantity(20.0, 2000.0, "Hz")] | None = Field(
        None, description="where both radiate alike, for phase"
    )


class Power(Model):
    """What the show is driven with: `[power]`."""

    amplifier: Name = key("amplifier type", '"amp-4"')
    cable: Name = key("cable type from amplifiers to enclosures", '"cable-8"')


class ShowFile(Model):
    """A show file."""

    format: Literal["show/1"] = key("kind of file", '"show/1"')
    name: Name = key("name of the show", '"one night at the arena"')
    venue: FilePath = key("venue file, from this one's folder", '"venue.toml"')
    correlation: Annotated[float, quantity(0.0, 1.0, "")] = Field(
        0.0, description="between programme channels: 0 different programme, 1 the same"
    )
    channel: Annotated[tuple[Channel, ...], Field(min_length=1)] = key("programme channels", "[[channel]] ...")
    hang: tuple[ShowHang, ...] = Field((), description="hangs: [[hang]]")
    placed: tuple[Placed, ...] = Field((), description="enclosures that stand or lie: [[placed]]")
    align: tuple[Align, ...] = Field((), description="delays to propose: [[align]]")
    power: Power | None = Field(None, description="what it is driven with: [power]")
    stock: Stock = Field({}, description="numbers of equipment that there are, by type")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Names that stand twice, channels that are none, nothing that sounds, rows without a step."""
        yield from duplicate_faults(data, "channel")
        yield from duplicate_faults(data, "placed")
        channels = [name for name in (one.get("name") for one in _tables(data, "channel")) if isinstance(name, str)]
        for table in ("hang", "placed"):
            for index, one in enumerate(_tables(data, table)):
                name = one.get("channel")
                if isinstance(name, str) and channels and name not in channels:
                    yield (table, index, "channel"), "is no channel of the show", nearest(name, channels), name
        if not _tables(data, "hang") and not _tables(data, "placed"):
            yield (), "holds nothing that sounds", "add [[hang]] or [[placed]]", NO_VALUE
        for index, one in enumerate(_tables(data, "placed")):
            loc: Loc = ("placed", index)
            count = one.get("count", 1)
            if isinstance(count, int) and count > 1 and "step_m" not in one:
                yield (*loc, "step_m"), "key is missing", "a row needs it: from each to the next, in m", NO_VALUE
            if count == 1 and "step_m" in one:
                yield (*loc, "step_m"), "has no meaning for one enclosure", "remove it, or give count", one["step_m"]
            yield from filter_faults(one.get("filter"), (*loc, "filter"))
        yield from _align_faults(data)


def _align_faults(data: Mapping[str, Any]) -> Iterator[Problem]:
    for index, one in enumerate(_tables(data, "align")):
        loc: Loc = ("align", index)
        if one.get("of") is not None and one.get("of") == one.get("to"):
            yield (*loc, "to"), "is what gets the delay itself", "name another", one["to"]
        if one.get("by") == "phase":
            for name in ("at_m", "crossover_hz"):
                if name not in one:
                    yield (*loc, name), "key is missing", 'by = "phase" needs it', NO_VALUE
            if "lead_ms" in one:
                yield (*loc, "lead_ms"), "has no meaning for phase", "remove it", one["lead_ms"]
        elif "crossover_hz" in one:
            todo = 'remove it, or give by = "phase"'
            yield (*loc, "crossover_hz"), "has no meaning for arrival", todo, one["crossover_hz"]


def _tables(data: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    found = data.get(name)
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []
