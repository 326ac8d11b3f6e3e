"""Enclosures, frames and adapters: frozen data as rated by their makers, and the catalogue of them.

Box axes: x forward, y to the left (of one who looks forward), z up; the origin is the upper front
pivot (of a frame: its lower one), in the middle of the width. An enclosure's acoustic part passes
through unread.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from rigging.content import content_of
from rigging.electrical import Amplifier, Cable, Electrical
from rigging.faults import Fault, FileFaults, Loc, nearest
from rigging.files import Document, read, validate
from rigging.models import Model, Name, duplicate_faults, key, problem, quantity
from rigging.ratings import ArmHole, ArmMount, Hole, Ratings, hole_faults
from rigging.tackle import Hoist, Rope, Shackle, Sling

Mass = Annotated[float, quantity(0.01, 2000.0, "kg")]
Size = Annotated[float, quantity(0.005, 6.0, "m")]
Offset = Annotated[float, quantity(-6.0, 6.0, "m")]
Splay = Annotated[float, quantity(0.0, 45.0, "deg")]
Vector = tuple[Offset, Offset, Offset]


def _check_pivot(value: Any) -> str:
    if value != "front":
        raise problem(
            "is a kind of joint that the statics does not cover",
            'only pivot = "front" (front pivots, a rear link sets the splay) can be judged',
        )
    return "front"


def _check_splays(value: tuple[float, ...]) -> tuple[float, ...]:
    if any(b <= a for a, b in itertools.pairwise(value)):
        raise problem("must rise from one splay to the next", "list each allowed splay once, smallest first")
    return value


Pivot = Annotated[str, BeforeValidator(_check_pivot, json_schema_input_type=Literal["front"])]
Splays = Annotated[tuple[Splay, ...], Field(min_length=1), AfterValidator(_check_splays)]


class Below(Model):
    """What may hang below, by the fitting on its top, and the splays that this joint allows."""

    fitting: Name = key("fitting on top of the lower item", '"large"')
    splays_deg: Splays = key("allowed splays, rising", "[0.0, 1.0, 2.0]")
    rear_hole_back_m: Size | None = Field(None, description="rear hole for this fitting, where it has one of its own")


class _Hardware(Model):
    """What a frame, an enclosure and an adapter share."""

    name: Name = key("name, as hang files give it", '"large"')
    description: Name = key("what it is", '"invented demo item"')
    source: Name = key("where the numbers come from", '"invented"')
    mass_kg: Mass = key("mass", "50.0")
    centre_of_mass_m: Vector = key("centre of mass in box axes", "[-0.22, 0.0, -0.17]")
    width_m: Size = key("width", "1.1")
    height_m: Size = key("height; between upper and lower pivot where it has both", "0.35")
    depth_m: Size = key("depth, front to rear", "0.6")
    front_m: Offset = key("how far the front lies ahead of the pivots", "0.0")
    pivot: Pivot = key("kind of joint", '"front"')
    rear_hole_back_m: Size = key("rear hole: distance behind the pivot", "0.45")
    rear_hole_inset_m: Annotated[float, quantity(0.0, 1.0, "m")] = key("rear hole: depth inside the face", "0.05")
    below: tuple[Below, ...] = key("what may hang below: [[below]]", "[[below]] ...")
    side_spacing_m: Size | None = Field(None, description="distance between its left and right joints")
    rated: Ratings | None = Field(None, description="rated limits: [rated]")

    KIND: ClassVar[str] = ""
    # Frames stand above their origin, everything else hangs below it.
    ABOVE_ORIGIN: ClassVar[bool] = False

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """A centre of mass outside the item, a rear hole beyond its rear face, a fitting that stands twice."""
        yield from _fitting_faults(data.get("below"))
        yield from cls._outside(data, "centre_of_mass_m")
        try:
            front, depth, hole = (float(data[name]) for name in ("front_m", "depth_m", "rear_hole_back_m"))
        except (KeyError, TypeError, ValueError, OverflowError):
            return  # the faults of the single keys say it already
        if hole > depth - front:
            yield ("rear_hole_back_m",), "lies behind the rear face", "measure from the pivot backwards", hole

    @classmethod
    def _outside(cls, data: Mapping[str, Any], name: str) -> Iterator[tuple[Loc, str, str, object]]:
        """A place in box axes that lies outside the item."""
        try:
            front, depth, width, height = (float(data[k]) for k in ("front_m", "depth_m", "width_m", "height_m"))
            x, y, z = (float(value) for value in data[name])
        except (KeyError, TypeError, ValueError, OverflowError):
            return  # the faults of the single keys say it already
        low, high = (0.0, height) if cls.ABOVE_ORIGIN else (-height, 0.0)
        if not (front - depth <= x <= front and abs(y) <= width / 2 and low <= z <= high):
            wrong = (
                f"lies outside the item (x {front - depth:g} to {front:g}, y ±{width / 2:g}, z {low:g} to {high:g} m)"
            )
            yield (name,), wrong, "measure from the front pivot, z up", data[name]


class Frame(_Hardware):
    """The frame that a column hangs from; its origin is its lower front pivot."""

    KIND: ClassVar[str] = "frame"
    ABOVE_ORIGIN: ClassVar[bool] = True

    format: Literal["frame/1"] = key("kind of file", '"frame/1"')
    hole: tuple[Hole, ...] = Field((), description="pick holes, front to rear: [[hole]]")
    arm_front: ArmMount | None = Field(None, description="mount of pick arms at the front")
    arm_rear: ArmMount | None = Field(None, description="mount of pick arms at the rear")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Those of all hardware, and holes out of order or beyond the frame."""
        yield from super().cross_faults(data)
        try:
            front, depth, height = (float(data[name]) for name in ("front_m", "depth_m", "height_m"))
        except (KeyError, TypeError, ValueError, OverflowError):
            return
        yield from hole_faults(data.get("hole"), front, depth, height)


class PickArm(Model):
    """A bar that carries a pick in front of or behind the frame."""

    KIND: ClassVar[str] = "pick arm"

    format: Literal["pick_arm/1"] = key("kind of file", '"pick_arm/1"')
    name: Name = key("name, as hang files give it", '"arm-large"')
    description: Name = key("what it is", '"invented demo item"')
    source: Name = key("where the numbers come from", '"invented"')
    mass_kg: Mass = key("mass", "12.0")
    length_m: Size = key("how far it reaches out from its mount", "1.0")
    centre_out_m: Offset = key("its centre of mass, out from the mount", "0.4")
    mount_kg_m: Annotated[float, quantity(1.0, 100_000.0, "kg m")] | None = Field(
        None, description="greatest moment at its mount, its own weight included"
    )
    hole: Annotated[tuple[ArmHole, ...], Field(min_length=1)] = key("pick holes: [[hole]]", "[[hole]] ...")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Holes of one name, and holes or a centre of mass beyond the arm."""
        yield from duplicate_faults(data, "hole")
        length, holes = _plain_number(data.get("length_m")), data.get("hole")
        listed = holes if isinstance(holes, list) else []
        places = [(("hole", i, "out_m"), hole.get("out_m")) for i, hole in enumerate(listed) if isinstance(hole, dict)]
        for loc, value in [*places, (("centre_out_m",), data.get("centre_out_m"))]:
            out = _plain_number(value)
            if length is not None and out is not None and out > length > 0:
                yield loc, f"lies beyond the arm, which is {length:g} m long", "measure from the mount", value


def _plain_number(value: Any) -> float | None:
    """A finite number of unchecked data; None for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value) if math.isfinite(value) else None
    except OverflowError:
        return None


class Adapter(_Hardware):
    """What joins two types of enclosure whose fittings differ; it makes no sound."""

    KIND: ClassVar[str] = "adapter"

    format: Literal["adapter/1"] = key("kind of file", '"adapter/1"')
    top_fitting: Name = key("fitting on its top", '"large"')
    lower_pivot_ahead_m: Offset = key("how far its lower pivot lies ahead of the upper", "0.0")
    lower_rear_hole_back_m: Size = key("lower rear hole: distance behind the lower pivot", "0.35")


class Enclosure(_Hardware):
    """A loudspeaker enclosure; `acoustic` is for the acoustic side to read."""

    KIND: ClassVar[str] = "enclosure"

    format: Literal["enclosure/1"] = key("kind of file", '"enclosure/1"')
    top_fitting: Name = key("fitting on its top", '"large"')
    reference_m: Vector = key("reference point of its acoustic data, in box axes", "[0.0, 0.0, -0.175]")
    pullback_m: Vector | None = Field(None, description="hole for a pull-back, in box axes")
    cart_limit_deg: Annotated[float, quantity(0.0, 45.0, "deg")] | None = Field(
        None, description="farthest from level at which a group on a flat cart engages below it by itself"
    )
    electrical: Electrical | None = Field(None, description="what drives it: [electrical]")
    acoustic: dict[str, Any] = key("acoustic part: [acoustic]", "[acoustic] ...")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Those of all hardware, and a pull-back hole outside the box."""
        yield from super().cross_faults(data)
        yield from cls._outside(data, "pullback_m")


Item = Enclosure | Adapter
Equipment = Frame | Item | PickArm | Hoist | Sling | Shackle | Rope | Amplifier | Cable
KINDS: dict[str, type[Equipment]] = {
    "frame/1": Frame,
    "adapter/1": Adapter,
    "enclosure/1": Enclosure,
    "pick_arm/1": PickArm,
    "hoist/1": Hoist,
    "sling/1": Sling,
    "shackle/1": Shackle,
    "rope/1": Rope,
    "amplifier/1": Amplifier,
    "cable/1": Cable,
}


def _fitting_faults(below: Any) -> Iterator[tuple[Loc, str, str, object]]:
    seen: dict[str, int] = {}
    for index, entry in enumerate(below if isinstance(below, list) else []):
        fitting = entry.get("fitting") if isinstance(entry, dict) else None
        if isinstance(fitting, str):
            if fitting in seen:
                wrong = f"is the fitting of below[{seen[fitting] + 1}] too"
                yield ("below", index, "fitting"), wrong, "list all its splays in one [[below]]", fitting
            seen.setdefault(fitting, index)


def lower_pivot_m(item: Item) -> tuple[float, float]:
    """Place of the lower front pivot, (x, z) in box axes. [m]"""
    return (item.lower_pivot_ahead_m if isinstance(item, Adapter) else 0.0), -item.height_m


def rear_hole_back_m(upper: Frame | Item, lower: Item) -> float:
    """Distance of the upper item's rear hole for a lower one behind the joint's pivot. [m]"""
    own = upper.lower_rear_hole_back_m if isinstance(upper, Adapter) else upper.rear_hole_back_m
    return next((b.rear_hole_back_m or own for b in upper.below if b.fitting == lower.top_fitting), own)


def allowed_splays(upper: Frame | Item, lower: Item) -> tuple[float, ...] | None:
    """Splays that the joint between two items allows [deg]; None where they do not mate."""
    for below in upper.below:
        if below.fitting == lower.top_fitting:
            return below.splays_deg
    return None


@dataclass(frozen=True, eq=False)  # one that was read is the same as itself alone
class Catalogue:
    """All equipment by name, each with the document that it was read from."""

    items: Mapping[str, Equipment] = field(default_factory=dict)
    documents: Mapping[str, Document] = field(default_factory=dict)

    def names(self, *kinds: type[Equipment]) -> list[str]:
        """Names of all items of some kinds, sorted."""
        return sorted(name for name, item in self.items.items() if isinstance(item, kinds))

    def content(self, name: str) -> dict[str, Any]:
        """What a result depends on of an item: its data, those of the files that it names by their hashes."""
        return content_of(self.documents[name])


def load_catalogue(folders: Iterable[str | Path] = (), *, packaged: bool = True) -> Catalogue:
    """Read the packaged catalogue, unless it is to be left out, and further folders of equipment files.

    Raises
    ------
    FileFaults
        With the faults of all files; also where two files share a name.
    """
    items: dict[str, Equipment] = {}
    documents: dict[str, Document] = {}
    faults: list[Fault] = []
    for path in _equipment_files([packaged_folder()] * packaged + [Path(one) for one in folders], faults):
        try:
            document = read(path, *KINDS)
            item = validate(document, KINDS[document.data["format"]])
        except FileFaults as error:
            faults.extend(error.faults)
            continue
        if item.name in items:
            other = documents[item.name].file
            todo = "give one of the two another name"
            faults.append(document.fault(("name",), f"is the name of the item in {other} too", todo, item.name))
            continue
        items[item.name], documents[item.name] = item, document
    if faults:
        raise FileFaults(faults)
    return Catalogue(items, documents)


def unknown_item(name: str, catalogue: Catalogue, kind: type[Equipment]) -> tuple[str, str]:
    """What is wrong with a name that the catalogue does not hold as this kind, and what to do."""
    todo = nearest(name, catalogue.names(kind), what=f"{kind.KIND}s")
    if name in catalogue.items:
        found = catalogue.items[name].KIND
        return f"is {_article(found)}, not {_article(kind.KIND)}", todo
    return f"is an unknown {kind.KIND}", f"{todo}; --equipment DIR adds your own"


def packaged_folder() -> Path:
    """The folder of the packaged equipment files."""
    return Path(str(resources.files("rigging") / "catalogue"))


def _equipment_files(folders: Iterable[Path], faults: list[Fault]) -> Iterator[Path]:
    for folder in folders:
        try:
            files = sorted(path for path in folder.iterdir() if path.suffix == ".toml")
        except OSError as error:
            wrong = f"cannot be read as a folder of equipment files ({error.strerror})"
            faults.append(Fault(str(folder), "", wrong, "check --equipment"))
            continue
        yield from files


def _article(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"
