"""What a venue file says of laser shots: the instrument, where it stood, what it read, and profiles along a line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from rigging.explain import Problem
from rigging.faults import NO_VALUE, Loc, nearest
from rigging.models import Flag, Model, Name, duplicate_faults, key, quantity
from rigging.site import Height, Place

LEAST_SHOTS = 3
MOST_OF_AREA = 100  # each is checked by all others
LEAST_ROWS = 2

_Angle = Annotated[float, quantity(-360.0, 360.0, "°")]
_Vertical = Annotated[float, quantity(-90.0, 90.0, "°")]
_Distance = Annotated[float, quantity(0.05, 500.0, "m")]
_Width = Annotated[float, quantity(0.0, 200.0, "m")]


class Instrument(Model):
    """How well it reads, as standard uncertainties, and which way its azimuths grow."""

    distance_mm: Annotated[float, quantity(0.0, 500.0, "mm")] = Field(3.0, description="of a distance")
    angle_deg: Annotated[float, quantity(0.0, 5.0, "°")] = Field(0.05, description="of an angle")
    clockwise: Flag = Field(False, description="azimuths grow clockwise, seen from above")


class Standpoint(Model):
    """Where the levelled instrument stood; what is not given is found from ties."""

    name: Name = key("name of the standpoint", '"A"')
    position_m: Place | None = Field(None, description="of the instrument; found from ties when absent")
    height_m: Height | None = Field(None, description="of the instrument alone")
    azimuth_deg: _Angle | None = Field(None, description="of its zero direction; found from ties when absent")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """A height beside a position."""
        if "position_m" in data and "height_m" in data:
            yield ("height_m",), "stands beside position_m", "keep one of the two", data["height_m"]


class Shot(Model):
    """One shot."""

    standpoint: Name = key("where the instrument stood", '"A"')
    distance_m: _Distance = key("slope distance as read", "12.31")
    vertical_deg: _Vertical = key("vertical angle as read, + up", "-5.2")
    azimuth_deg: _Angle = key("azimuth as read, from the standpoint's zero, + to stage left", "-38.0")


class AreaShot(Shot):
    """One shot of an area: a corner of it, or a place inside that only helps to find its plane."""

    name: Name | None = Field(None, description="what was shot")
    corner: Flag = Field(True, description="a corner, in order around; false: a place inside")


class Tie(Model):
    """One place that was shot from two standpoints or more, or from one and known in venue axes."""

    name: Name | None = Field(None, description="what was shot")
    position_m: Place | None = Field(None, description="where it is, if that is known")
    shot: tuple[Shot, ...] = key("shots of it, one from each standpoint", "[[tie.shot]] ...")


class ProfileRow(Model):
    """One place on the line of a profile."""

    name: Name | None = Field(None, description="what was shot")
    distance_m: _Distance = key("slope distance as read", "12.31")
    vertical_deg: _Vertical = key("vertical angle as read, + up", "-5.2")
    width_m: _Width | None = Field(None, description="whole width, half to each side")
    left_m: _Width | None = Field(None, description="width to the left, looking along the line from the instrument")
    right_m: _Width | None = Field(None, description="width to the right")
    step_m: Annotated[float, quantity(-5.0, 5.0, "m")] = Field(0.0, description="step up behind it")

    @property
    def sides_m(self) -> tuple[float, float] | None:
        """Width to the left and to the right. [m]"""
        if self.width_m is not None:
            return self.width_m / 2.0, self.width_m / 2.0
        return None if self.left_m is None or self.right_m is None else (self.left_m, self.right_m)


class Profile(Model):
    """Places along a line away from the instrument: raked areas between each and the next."""

    name: Name = key("name of the areas; they are numbered where there are several", '"stalls"')
    role: Literal["audience", "quiet", "obstacle"] = key("audience, quiet or obstacle", '"audience"')
    ear_height_m: Annotated[float, quantity(0.0, 3.0, "m")] = Field(1.2, description="ears above the areas")
    standpoint: Name = key("where the instrument stood", '"A"')
    azimuth_deg: _Angle = Field(0.0, description="of the line, as read")
    mirrored: Flag = Field(False, description="the same areas once more, mirrored about y = 0")
    row: tuple[ProfileRow, ...] = key("places along the line, outwards", "[[profile.row]] ...")


def survey_faults(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Faults between keys of a venue's unchecked data, in metres: of its standpoints, ties, shots and profiles."""
    yield from duplicate_faults(data, "standpoint")
    yield from duplicate_faults(data, "profile")
    known = [one["name"] for _, one in _tables(data, "standpoint") if isinstance(one.get("name"), str)]
    for index, one in _tables(data, "standpoint"):
        for loc, wrong, todo, value in Standpoint.cross_faults(one):
            yield ("standpoint", index, *loc), wrong, todo, value
    for index, tie in _tables(data, "tie"):
        yield from _tie_faults(("tie", index), tie, known)
    for index, area in _tables(data, "area"):
        yield from _area_faults(("area", index), area, known)
    for index, profile in _tables(data, "profile"):
        yield from _profile_faults(("profile", index), profile, known)


def _tie_faults(loc: Loc, tie: Mapping[str, Any], known: list[str]) -> Iterator[Problem]:
    shots = tie.get("shot")
    if not isinstance(shots, list):
        return
    yield from _unknown(loc, tie, known)
    least = 1 if "position_m" in tie else 2
    if len(shots) < least:
        todo = "shoot it from a second one, or give its position_m"
        yield (*loc, "shot"), "was not shot from two standpoints", todo, len(shots)
    seen: set[Any] = set()
    for index, shot in enumerate(shots):
        name = shot.get("standpoint") if isinstance(shot, dict) else None
        if isinstance(name, str) and name in seen:
            yield (*loc, "shot", index, "standpoint"), "has shot it before", "keep one shot from each standpoint", name
        seen.add(name if isinstance(name, str) else None)


def _area_faults(loc: Loc, area: Mapping[str, Any], known: list[str]) -> Iterator[Problem]:
    if "shot" not in area:
        if "outline_m" not in area:
            todo = "add outline_m: corners, around; for example outline_m = [[6, -12, 0], [40, -12, 0], [40, 12, 0], "
            yield (*loc, "outline_m"), "key is missing", todo + "[6, 12, 0]]; or [[area.shot]]: laser shots", NO_VALUE
        return
    if "outline_m" in area:
        yield (*loc, "shot"), "stands beside outline_m", "keep one of the two", NO_VALUE
    shots = area["shot"]
    if not isinstance(shots, list):
        return
    yield from _unknown(loc, area, known)
    corners = sum(isinstance(one, dict) and one.get("corner", True) is not False for one in shots)
    if corners < LEAST_SHOTS:
        yield (*loc, "shot"), "gives too few corners", f"shoot {LEAST_SHOTS} corners or more, in order around", corners
    if len(shots) > MOST_OF_AREA:
        yield (*loc, "shot"), "gives too many shots", f"give {MOST_OF_AREA} at most, corners first", len(shots)


def _profile_faults(loc: Loc, profile: Mapping[str, Any], known: list[str]) -> Iterator[Problem]:
    name, rows = profile.get("standpoint"), profile.get("row")
    if isinstance(name, str) and name not in known:
        yield (*loc, "standpoint"), "is no standpoint of the file", nearest(name, known), name
    if not isinstance(rows, list):
        return
    if len(rows) < LEAST_ROWS:
        yield (*loc, "row"), "gives no area", "give the front edge, the back edge, and what lies between", len(rows)
    for index, row in enumerate(rows):
        if not isinstance(row, dict):
            continue
        sides = [side for side in ("left_m", "right_m") if side in row]
        if "width_m" in row and sides:
            yield (*loc, "row", index, sides[0]), "stands beside width_m", "keep one of the two", row[sides[0]]
        elif len(sides) == 1:
            other = "right_m" if sides == ["left_m"] else "left_m"
            yield (*loc, "row", index, other), "key is missing", f"{sides[0]} needs it, or write width_m", NO_VALUE
        elif not sides and "width_m" not in row and index in (0, len(rows) - 1):
            todo = "give width_m, or left_m and right_m, of the first and the last row"
            yield (*loc, "row", index, "width_m"), "key is missing", todo, NO_VALUE
        if index == len(rows) - 1 and "step_m" in row:
            yield (*loc, "row", index, "step_m"), "has no area behind it", "remove it, or add a row", row["step_m"]


def _unknown(loc: Loc, table: Mapping[str, Any], known: list[str]) -> Iterator[Problem]:
    for index, shot in enumerate(table["shot"]):
        name = shot.get("standpoint") if isinstance(shot, dict) else None
        if isinstance(name, str) and name not in known:
            yield (*loc, "shot", index, "standpoint"), "is no standpoint of the file", nearest(name, known), name


def _tables(data: Mapping[str, Any], name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    listed = data.get(name)
    for index, one in enumerate(listed if isinstance(listed, list) else []):
        if isinstance(one, dict):
            yield index, one
