"""What `evenhang design` is asked for: a hang in a venue, or one hang of a show."""

from __future__ import annotations

import argparse
import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from acoustics.app import check as check_command
from acoustics.app import whatif
from acoustics.app.folder import catalogue_of, is_show
from acoustics.search.settings import Wanted, wanted_of
from acoustics.show import load_show
from acoustics.venue import Venue
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults, nearest
from rigging.files import Document
from rigging.hang import Hang, hang_from, muted
from rigging.policy import Policy
from rigging.rewrite import with_count


@dataclass(frozen=True)
class Read:
    """A hang to design, what else hangs from its points, and what is wanted.

    `mute`: rows, from 1, that are silent; the areas that `hang` serves are those of the show where one was asked for.
    """

    hang: Hang
    others: tuple[Hang, ...]
    venue: Venue
    document: Document
    catalogue: Catalogue
    policy: Policy
    wanted: Wanted
    mute: tuple[int, ...]

    def loaded(self, text: str) -> Hang:
        """The hang of a text that would stand in its file, serving and silent as asked."""
        hang = hang_from(text, self.hang.document.file, self.catalogue)
        return muted(dataclasses.replace(hang, serves=self.hang.serves), self.mute)

    def columns(self) -> list[str]:
        """Texts of the hang file with each number of enclosures to try."""
        text = self.hang.document.as_written
        return [with_count(text, count) for count in self.wanted.count or ()] or [text]


def read(asked: argparse.Namespace) -> Read:
    """Read all files.

    Raises
    ------
    FileFaults
        With their faults, and with what cannot be designed.
    """
    hang, others, loaded, catalogue, policy = _of_show(asked) if is_show(asked.hang) else _of_hang(asked)
    if asked.shade and not hang.groups:
        todo = "give [[group]] with rows, or leave out --shade"
        wrong = "is missing: there are no drive groups to shade"
        raise FileFaults([Fault(hang.document.file, "group", wrong, todo)])
    return read_from(hang, others, loaded, catalogue, policy, whatif.rows_of(asked.mute))


def read_from(
    hang: Hang,
    others: tuple[Hang, ...],
    loaded: tuple[Venue, Document],
    catalogue: Catalogue,
    policy: Policy,
    mute: Sequence[int] = (),
) -> Read:
    """The same from what has been loaded.

    Raises
    ------
    FileFaults
        With what cannot be designed.
    """
    faults: list[Fault] = []
    if "mirror_of" in hang.document.data:
        faults.append(hang.document.fault(("mirror_of",), "makes it a mirror image", "design the file that it mirrors"))
    if hang.standing:
        wrong, todo = "makes it a stack", "a search is for columns that hang; try splays of a stack with predict"
        faults.append(hang.document.fault(("standing",), wrong, todo))
    if faults:
        raise FileFaults(faults)
    wanted = wanted_of(hang)
    faults = list(_wanted_faults(hang, wanted, loaded[0]))
    if faults:
        raise FileFaults(faults)
    return Read(muted(hang, mute), others, *loaded, catalogue, policy, wanted, tuple(mute))


@dataclass(frozen=True)
class Ask:
    """What a search is asked for beside its files: `seconds` None for a set number of evaluations; see the command."""

    seed: int = 0
    seconds: float | None = None
    robust: bool = False
    shade: bool = False
    correct: bool = False
    prove: bool = False


def ask_of(asked: argparse.Namespace) -> Ask:
    """What was asked for on the command line."""
    return Ask(**{field.name: getattr(asked, field.name) for field in dataclasses.fields(Ask)})


_Files = tuple[Hang, tuple[Hang, ...], tuple[Venue, Document], Catalogue, Policy]


def _of_hang(asked: argparse.Namespace) -> _Files:
    faults = []
    if asked.venue is None:
        faults.append(Fault("VENUE", "", "is missing", "name a venue file after the hang"))
    if asked.of_show is not None:
        faults.append(Fault("--hang", "", "names a hang of a show, and this is a hang", "leave it out", asked.of_show))
    if faults:
        raise FileFaults(faults)
    catalogue, hangs, loaded, policy = check_command.read(asked)
    assert loaded is not None  # a venue was asked for
    return hangs[0], tuple(hangs[1:]), loaded, catalogue, policy


def _of_show(asked: argparse.Namespace) -> _Files:
    given = [(asked.venue is not None, "VENUE"), (bool(asked.beside), "--beside")]
    why, todo = "has no meaning for a show: it names its venue and all hangs itself", "leave it out"
    faults = [Fault(name, "", why, todo) for is_so, name in given if is_so]
    if faults:
        raise FileFaults(faults)
    catalogue = catalogue_of(asked)
    policy, show = check_command.policy_of(asked.policy), load_show(asked.hang, catalogue)
    venue, document = whatif.limited(show.venue, show.venue_document, asked.limit)
    names = [hang.name for hang in show.hangs]
    if asked.of_show not in names:
        wrong = "is missing: which hang of the show" if asked.of_show is None else "is no hang of the show"
        raise FileFaults([Fault("--hang", "", wrong, nearest(asked.of_show or "", names, what="hangs"))])
    hang = next(hang for hang in show.hangs if hang.name == asked.of_show)
    return hang, tuple(other for other in show.hangs if other is not hang), (venue, document), catalogue, policy


def _wanted_faults(hang: Hang, wanted: Wanted, venue: Venue) -> Iterator[Fault]:
    """Areas and points that the venue does not have."""
    areas, points = {area.name for area in venue.area}, {point.name for point in venue.point}
    for name in wanted.fall_of_db:
        if name not in areas:
            yield hang.document.fault(("search", "fall_of_db", name), "is no area of the venue", _known(areas))
    for index, name in enumerate(wanted.points or ()):
        if name not in points:
            yield hang.document.fault(("search", "points", index), "is no point of the venue", _known(points), name)


def _known(names: set[str]) -> str:
    return f"known: {', '.join(sorted(names)) or 'none'}"
