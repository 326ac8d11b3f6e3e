"""What a person works on: texts of hang files as they are now, air and drive; loaded, it is hangs in a venue."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from acoustics.app.whatif import limited
from acoustics.listening import GRID_M, sample_area
from acoustics.search.settings import wanted_of
from acoustics.show import Show, load_show
from acoustics.venue import Venue, check_serves, load_venue
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document, read
from rigging.hang import Hang, load_hang
from rigging.policy import Policy

MOST_POSITIONS = 6_000  # of the plan, for a grid that nobody asked for
_GRID_STEP_M = 0.1


@dataclass(frozen=True)
class Ground:
    """What stays while the page is open: venue, equipment, policy, cell size; files of hangs, or the show that names
    them; the folder that files are opened from; `texts` of hang files, and of those that they mirror, as they were
    read: what changes on disk later is told, and does not creep in."""

    venue: Venue
    document: Document
    venue_file: str
    catalogue: Catalogue
    policy: Policy
    grid_m: float
    files: tuple[Path, ...]
    show_file: Path | None
    root: Path
    texts: Mapping[Path, str] = field(default_factory=dict)

    def with_text(self, path: Path, text: str) -> Ground:
        """The same after a file was written or read anew."""
        return dataclasses.replace(self, texts={**self.texts, path: text})


@dataclass(frozen=True)
class Work:
    """What undo goes back over: texts of hang files by resolved path, where they are not as the ground has them; air in
    place of the venue file's, None where that holds; gain of all [dB]."""

    texts: Mapping[Path, str] = field(default_factory=dict)
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    drive_db: float = 0.0

    def with_text(self, path: Path, text: str) -> Work:
        """The same with another text of one file."""
        return dataclasses.replace(self, texts={**self.texts, path: text})

    def without(self, path: Path) -> Work:
        """The same with one file as it is on disk."""
        kept = {one: text for one, text in self.texts.items() if one != path}
        return dataclasses.replace(self, texts=kept)


@dataclass(frozen=True)
class Loaded:
    """Work as hangs in a venue: `hangs` by resolved path of their files, in order; `venue` and `document` with the
    air as it is set; `show` where one was opened."""

    hangs: Mapping[Path, Hang]
    venue: Venue
    document: Document
    show: Show | None

    def others(self, path: Path) -> tuple[Hang, ...]:
        """The hangs beside one."""
        return tuple(hang for other, hang in self.hangs.items() if other != path)


def ground_of_hang(
    hang: str,
    beside: Sequence[str],
    venue_file: str,
    catalogue: Catalogue,
    policy: Policy,
    grid_m: float | None = None,
    limits: Sequence[str] = (),
) -> Ground:
    """What `evenhang page HANG VENUE` is opened on; `limits` as `--limit` gives them.

    Raises
    ------
    FileFaults
        If the venue file is at fault, or a limit.
    """
    venue, document = limited(*load_venue(venue_file), limits)
    files = tuple(Path(one).resolve() for one in (hang, *beside))
    grid = grid_m or usual_grid_m(venue)
    root = Path(*_common(*(one.parent for one in files)))
    return Ground(venue, document, venue_file, catalogue, policy, grid, files, None, root)


def ground_of_show(
    show_file: str, catalogue: Catalogue, policy: Policy, grid_m: float | None = None, limits: Sequence[str] = ()
) -> Ground:
    """What `evenhang page SHOW` is opened on; `limits` as `--limit` gives them.

    Raises
    ------
    FileFaults
        With the faults of the show, its venue and its hangs; if it has no hang.
    """
    show = load_show(show_file, catalogue)
    path = Path(show_file).resolve()
    files = tuple(hang.document.path.resolve() for hang in show.hangs)
    if not files:
        raise FileFaults([Fault(show_file, "hang", "names none: there is nothing to move", "add a [[hang]]")])
    venue_file = str(read(show_file, "show/1").data["venue"])
    venue, document = limited(show.venue, show.venue_document, limits)
    root = Path(*_common(path.parent, *(one.parent for one in files)))
    grid = grid_m or usual_grid_m(venue)
    return Ground(venue, document, venue_file, catalogue, policy, grid, files, path, root)


def usual_grid_m(venue: Venue) -> float:
    """The smallest cell, in steps, that leaves `MOST_POSITIONS` or fewer positions, and that of `predict` at least."""
    plan = sum(float(sample_area(area)[1].sum()) for area in venue.area if area.role != "obstacle")
    grid = GRID_M
    while plan / grid**2 > MOST_POSITIONS:
        grid = round(grid + _GRID_STEP_M, 9)
    return grid


def load(ground: Ground, work: Work) -> Loaded:
    """Hangs and venue of a work.

    Raises
    ------
    FileFaults
        With what is wrong with its hangs.
    """
    venue, document = _with_air(ground, work)
    texts = {**ground.texts, **work.texts}
    if ground.show_file is not None:
        show = load_show(ground.show_file, ground.catalogue, texts)
        hangs = {hang.document.path.resolve(): hang for hang in show.hangs}
        _check_wishes(hangs.values())
        return Loaded(hangs, venue, document, dataclasses.replace(show, venue=venue, venue_document=document))
    faults: list[Fault] = []
    hangs = {}
    for path in ground.files:
        try:
            hangs[path] = load_hang(_shown(path), ground.catalogue, texts)
        except FileFaults as error:
            faults.extend(error.faults)
    for hang in hangs.values():
        faults += check_serves(hang, venue, ground.venue_file)
    if faults:
        raise FileFaults(faults)
    _check_wishes(hangs.values())
    return Loaded(hangs, venue, document, None)


def _check_wishes(hangs: Iterable[Hang]) -> None:
    for hang in hangs:
        wanted_of(hang)  # tells what is wrong with `[search]`


def documents_of(loaded: Loaded) -> dict[Path, Document]:
    """Files that hangs were read from, and those that they mirror, by resolved path."""
    both = [one for hang in loaded.hangs.values() for one in (hang.document, hang.design)]
    return {one.path.resolve(): one for one in both}


def _with_air(ground: Ground, work: Work) -> tuple[Venue, Document]:
    """The venue with the air as it is set; its data tell it too, so that a result of other air has another revision."""
    asked: dict[str, Any] = {
        name: value for name in ("temperature_c", "relative_humidity_pct") if (value := getattr(work, name)) is not None
    }
    if not asked:
        return ground.venue, ground.document
    air = ground.venue.air.model_copy(update=asked)
    data = {**ground.document.data, "air": {**ground.document.data.get("air", {}), **asked}}
    return ground.venue.model_copy(update={"air": air}), dataclasses.replace(ground.document, data=data)


def _common(*folders: Path) -> tuple[str, ...]:
    """Parts of the deepest folder that holds all."""
    parts = [folder.parts for folder in folders]
    count = next((i for i, some in enumerate(zip(*parts, strict=False)) if len(set(some)) > 1), min(map(len, parts)))
    return parts[0][:count]


def _shown(path: Path) -> str:
    """A path as it is told to people: from the working folder where it lies below."""
    try:
        return str(path.relative_to(Path.cwd()))
    except ValueError:
        return str(path)
