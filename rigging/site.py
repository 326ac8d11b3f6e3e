"""The mechanical part of a venue: what its heights are measured from, and the points to hang from."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rigging.models import Flag, Model, Name, key, quantity

Coordinate = Annotated[float, quantity(-1000.0, 1000.0, "m")]
Height = Annotated[float, quantity(-100.0, 150.0, "m")]
Place = tuple[Coordinate, Coordinate, Height]

DATUM = "middle of the stage's front edge at house floor level"


class Point(Model):
    """A point of the building that may carry load; a limit that is not known stays unknown."""

    name: Name = key("name of the point", '"P1"')
    position_m: Place = key("where it is", "[0.0, 6.0, 14.0]")
    limit_kg: Annotated[float, quantity(0.0, 100_000.0, "kg")] | None = Field(None, description="rated limit")
    eyebolt: Flag = Field(False, description="an eyebolt, rated straight along a vertical shank")


class Site(Model):
    """What every venue file has, whatever is asked of it."""

    name: Name = key("name of the venue", '"Harbour Hall"')
    description: Name | None = Field(None, description="where the numbers come from")
    datum: Name = Field(DATUM, description="what the origin is")
    open_air: Flag = Field(False, description="whether wind acts")
    gust_m_s: Annotated[float, quantity(1.0, 60.0, "m/s")] | None = Field(None, description="gust to check for, 3 s")
    point: tuple[Point, ...] = Field((), description="points to hang from: [[point]]")
