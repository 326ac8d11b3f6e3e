"""What a hang file tells a search: `[search]`, what it may choose and what it wants."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from acoustics import bands
from rigging.faults import NO_VALUE, Loc
from rigging.files import validate_part
from rigging.hang import Hang
from rigging.models import Model, Name, problem, quantity

Problem = tuple[Loc, str, str, object]

# Bands that count where none are named: the third octaves of the octaves 250 Hz to 8 kHz.
FIRST_HZ, LAST_HZ = 200.0, 10_000.0
TILT_RANGE_DEG = 8.0  # to both sides of the file's tilt, where no range is given


def _check_range(value: Any) -> Any:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise problem("is not a range", "give the lowest and the highest, such as [-6.0, 4.0]")
    return value


def _check_listed(value: Any) -> Any:
    if not isinstance(value, list | tuple) or not value:
        raise problem("is not a list of splays", "give those that may be chosen, such as [0.0, 1.0, 2.0, 4.0]")
    return value


def _check_counts(value: Any) -> Any:
    if not isinstance(value, list | tuple) or not value:
        raise problem("is not a list of numbers", "give those to try, such as [10, 12]")
    for count in value:
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= 64:
            raise problem("holds what is no number of enclosures", "give whole numbers, 1 to 64")
    return value


def _check_octaves(value: Any) -> Any:
    if not isinstance(value, dict):
        raise problem("must be a table", "write it as { 250 = 1.0, 8000 = 0.5 }")
    known = {f"{hz:g}" for hz in bands.OCTAVES_HZ}
    for name in value:
        if name not in known:
            raise problem(f"names no octave ({name})", f"known: {', '.join(sorted(known, key=float))}")
    return value


Splay = Annotated[float, quantity(0.0, 45.0, "deg")]
Tilt = Annotated[float, quantity(-90.0, 90.0, "deg")]
Fall = Annotated[float, quantity(-6.0, 12.0, "dB")]
Weight = Annotated[float, quantity(0.0, 100.0, "")]
Gain = Annotated[float, quantity(-30.0, 20.0, "dB")]
Count = Annotated[tuple[int, ...], BeforeValidator(_check_counts)]


class Wanted(Model):
    """`[search]`."""

    tilt_deg: Annotated[tuple[Tilt, Tilt], BeforeValidator(_check_range)] | None = Field(
        None, description="lowest and highest tilt of the frame"
    )
    tilt_step_deg: Annotated[float, quantity(0.1, 10.0, "deg")] = Field(0.5, description="step of the tilt")
    splays_deg: Annotated[tuple[Splay, ...], BeforeValidator(_check_listed)] | None = Field(
        None, description="splays that may be chosen, where a joint allows them; all that it allows when absent"
    )
    trim_m: (
        Annotated[
            tuple[Annotated[float, quantity(-100.0, 150.0, "m")], Annotated[float, quantity(-100.0, 150.0, "m")]],
            BeforeValidator(_check_range),
        ]
        | None
    ) = Field(None, description="lowest and highest trim; that of the file when absent")
    trim_step_m: Annotated[float, quantity(0.05, 5.0, "m")] = Field(0.25, description="step of the trim")
    fall_db: Fall = Field(0.0, description="wished fall with each doubling of distance")
    fall_of_db: dict[Name, Fall] = Field({}, description="the same of single areas, by name")
    band_weights: Annotated[dict[str, Weight], BeforeValidator(_check_octaves)] = Field(
        {}, description="weights of octaves; 1 when absent"
    )
    level_weight: Weight = Field(1.0, description="of mean level lost beyond 1 dB, dB per dB")
    quiet_weight: Weight = Field(0.0, description="of what spills onto quiet areas, dB per dB")
    front_m: Annotated[float, quantity(0.0, 200.0, "m")] = Field(0.0, description="how far the front rows reach")
    front_weight: Weight = Field(1.0, description="weight of a seat in the front rows")
    gain_db: Annotated[tuple[Gain, Gain], BeforeValidator(_check_range)] = Field(
        (-6.0, 0.0), description="lowest and highest gain of a drive group, for --shade"
    )
    target_db: Annotated[dict[str, Gain], BeforeValidator(_check_octaves)] = Field(
        {}, description="wished spectrum by octaves, up to a constant, for --correct; even when absent"
    )
    points: tuple[Name, ...] | None = Field(None, description="venue points that picks may be moved to")
    count: Count | None = Field(None, description="numbers of enclosures to try")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Ranges that run backwards; weights that leave nothing."""
        for name in ("tilt_deg", "trim_m", "gain_db"):
            ends = data.get(name)
            numbers = isinstance(ends, list) and all(isinstance(end, int | float) for end in ends)
            if isinstance(ends, list) and numbers and len(ends) == 2 and ends[0] > ends[1]:
                yield (name,), "runs backwards", "give the lower end first", ends
        weights = data.get("band_weights")
        if isinstance(weights, dict) and len(weights) == len(bands.OCTAVES_HZ) and not any(weights.values()):
            yield ("band_weights",), "leaves no band", "give one of them a weight above 0", NO_VALUE


def wanted_of(hang: Hang) -> Wanted:
    """The `[search]` table of a hang's file; all as it is when absent.

    Raises
    ------
    FileFaults
        With all that is wrong with it.
    """
    return validate_part(hang.document.file, "search", hang.document.data.get("search") or {}, Wanted)
