"""What a tour file says: what is on the truck, and where it stops with which hangs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from acoustics.show_file import Stock
from rigging.equipment import Catalogue
from rigging.faults import NO_VALUE, FileFaults, Loc, nearest
from rigging.files import Document, read, validate
from rigging.models import FilePath, Flag, Model, Name, key, quantity

Problem = tuple[Loc, str, str, object]


class Stop(Model):
    """One place that the tour comes to: `[[stop]]`; a venue with its hangs, or a show."""

    name: Name | None = Field(None, description="what it is called; the venue's name when absent")
    venue: FilePath | None = Field(None, description="venue file, from this one's folder")
    hangs: tuple[FilePath, ...] = Field((), description="hang files, from this one's folder")
    show: FilePath | None = Field(None, description="show file in place of venue and hangs")
    design: Flag = Field(False, description="whether splays, tilt and trim are searched first")


class TourFile(Model):
    """A tour file."""

    format: Literal["tour/1"] = key("kind of file", '"tour/1"')
    name: Name = key("name of the tour", '"spring"')
    equipment: tuple[FilePath, ...] = Field((), description="folders of equipment, from this one's folder")
    policy: FilePath | None = Field(None, description="policy file from this one's folder, or a packaged one's name")
    grid_m: Annotated[float, quantity(0.1, 20.0, "m")] = Field(1.0, description="cell size of the predictions")
    programme: Literal["pink", "sloped"] = Field("pink", description="spectrum of the predictions")
    stock: Stock = Field({}, description="what is on the truck, by type")
    stop: Annotated[tuple[Stop, ...], Field(min_length=1)] = key("where it goes", "[[stop]] ...")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Stops that are neither a venue with hangs nor a show, or both."""
        listed = data.get("stop")
        for index, stop in enumerate(listed if isinstance(listed, list) else []):
            if isinstance(stop, dict):
                yield from _stop_faults(stop, ("stop", index))


_OF_HANGS = ("venue", "hangs")


def _stop_faults(stop: Mapping[str, Any], loc: Loc) -> Iterator[Problem]:
    given = [name for name in _OF_HANGS if name in stop]
    if "show" in stop:
        todo = "remove it: a show names its venue and its hangs"
        yield from (((*loc, name), "stands beside a show", todo, NO_VALUE) for name in given)
    elif not given:
        yield loc, "names nothing to report", 'give venue = "…" and hangs = ["…"], or show = "…"', NO_VALUE
    elif "venue" not in stop:
        yield (*loc, "venue"), "key is missing", 'give venue = "…" beside hangs', NO_VALUE
    elif not stop.get("hangs"):
        yield (*loc, "hangs"), "names no hang", 'give hangs = ["…"] beside venue', NO_VALUE
    hangs = stop.get("hangs")
    seen: set[str] = set()
    for place, name in enumerate(hangs if isinstance(hangs, list) else []):
        if not isinstance(name, str):
            continue
        if name in seen:
            yield (*loc, "hangs", place), "names a hang twice", "name each once", name
        seen.add(name)


@dataclass(frozen=True)
class Tour:
    """A tour file as read; what its stops name is not read yet, so that the fault of one costs that one alone."""

    file: TourFile
    document: Document

    def beside(self, name: str) -> str:
        """The path of a file that the tour names from its own folder."""
        return str(self.document.path.parent / name)

    @property
    def folders(self) -> list[str]:
        """Folders of equipment that it names."""
        return [self.beside(name) for name in self.file.equipment]

    @property
    def policy(self) -> str | None:
        """A policy file, or the name of a packaged one; None for the usual one."""
        asked = self.file.policy
        return self.beside(asked) if asked is not None and Path(self.beside(asked)).is_file() else asked


def load_tour(path: str | Path) -> Tour:
    """Read a tour file.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    document = read(path, "tour/1")
    return Tour(validate(document, TourFile), document)


def check_stock(tour: Tour, catalogue: Catalogue) -> None:
    """Refuse stock that no equipment file describes.

    Raises
    ------
    FileFaults
        With each such name.
    """
    unknown = [name for name in tour.file.stock if name not in catalogue.items]
    if unknown:
        raise FileFaults(
            tour.document.faults(
                (("stock", name), "is no known equipment", nearest(name, catalogue.items), NO_VALUE) for name in unknown
            )
        )
