"""The files that a result depends on: what each is for, where it lies, what it holds, and which others it names."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from acoustics.show import Show
from acoustics.tour_file import Tour
from rigging.content import named_files, sha256_of
from rigging.equipment import Catalogue
from rigging.faults import FileFaults, Loc
from rigging.files import Document
from rigging.hang import Hang
from rigging.policy import Policy


@dataclass(frozen=True)
class InputFile:
    """A file that a result depends on.

    `role`: tour, show, hang, beside (a hang on the same points), design (of a mirror image), venue, equipment, data
    (named by equipment) or policy. `names`: where it names other files, and these. `sha256`: of its bytes
    as they were read. `own`: keys
    that a copy beside all its equipment and its policy does without.
    """

    role: str
    path: Path
    names: tuple[tuple[Loc, Path], ...]
    sha256: str
    own: tuple[str, ...] = ()


def files_of_hang(
    hang: Hang, others: Sequence[Hang], venue: Document | None, policy: Policy, catalogue: Catalogue
) -> list[InputFile]:
    """Files of a hang in a venue, with the hangs beside it and the policy that it is judged by; each once.

    Raises
    ------
    FileFaults
        If data that equipment names cannot be read.
    """
    found = [*_hang_files("hang", hang)]
    found += [file for other in others for file in _hang_files("beside", other)]
    if venue is not None:
        found.append(_file("venue", venue))
    names = {name for one in (hang, *others) for name in (*one.inputs["equipment"], *_arms(one, catalogue))}
    return each_once([*found, *_equipment(sorted(names), catalogue), *_policy(policy)])


def files_of_show(show: Show, policy: Policy, catalogue: Catalogue) -> list[InputFile]:
    """Files of a show: its hangs, venue, all equipment that it names, and the policy that it is judged by; each once.

    Raises
    ------
    FileFaults
        If data that equipment names cannot be read.
    """
    home, data = show.document.path.parent, show.document.data
    names: list[tuple[Loc, Path]] = [(("venue",), home / data["venue"])]
    names += [(("hang", index, "file"), home / one["file"]) for index, one in enumerate(data.get("hang", []))]
    found = [_file("show", show.document, names), _file("venue", show.venue_document)]
    found += [file for hang in show.hangs for file in _hang_files("hang", hang)]
    items = {name for hang in show.hangs for name in (*hang.inputs["equipment"], *_arms(hang, catalogue))}
    items |= set(show.stock)
    items |= {part.placed.enclosure for part in show.parts if part.placed is not None}
    items |= {show.power.amplifier, show.power.cable} if show.power is not None else set()
    return each_once([*found, *_equipment(sorted(items), catalogue), *_policy(policy)])


def file_of_tour(tour: Tour) -> InputFile:
    """A tour's own file; those of its stops are listed with what they name."""
    names: list[tuple[Loc, Path]] = []
    for index, stop in enumerate(tour.file.stop):
        said: list[tuple[Loc, str]] = [(("hangs", place), name) for place, name in enumerate(stop.hangs)]
        said += [((key,), name) for key in ("venue", "show") if (name := getattr(stop, key)) is not None]
        names += [(("stop", index, *loc), Path(tour.beside(name))) for loc, name in said]
    own = tuple(key for key in ("equipment", "policy") if key in tour.document.data)
    return dataclasses.replace(_file("tour", tour.document, names), own=own)


def _hang_files(role: str, hang: Hang) -> Iterator[InputFile]:
    if hang.design is hang.document:
        yield _file(role, hang.document)
        return
    yield _file(role, hang.document, [(("mirror_of",), hang.design.path)])
    yield _file("design", hang.design)


def _arms(hang: Hang, catalogue: Catalogue) -> Iterator[str]:
    """Pick arms that a hang's frame takes: a search tries them, and so does what is said of other holes."""
    for mount in (hang.frame.arm_front, hang.frame.arm_rear):
        yield from (name for name in (mount.takes if mount is not None else ()) if name in catalogue.items)


def _policy(policy: Policy) -> Iterator[InputFile]:
    if policy.document is not None:
        yield _file("policy", policy.document)


def _equipment(names: Sequence[str], catalogue: Catalogue) -> Iterator[InputFile]:
    for name in names:
        document = catalogue.documents[name]
        named = named_files(document)
        yield _file("equipment", document, named)
        for loc, path in named:
            try:
                yield InputFile("data", path, (), sha256_of(path))
            except OSError as error:
                wrong = f"names a file that cannot be read ({error.strerror})"
                raise FileFaults([document.fault(loc, wrong, "check the path", path.name)]) from None


def _file(role: str, document: Document, names: Sequence[tuple[Loc, Path]] = ()) -> InputFile:
    return InputFile(role, document.path, tuple(names), document.sha256)


def each_once(files: Sequence[InputFile]) -> list[InputFile]:
    """The same files, each where it stands first."""
    found: dict[Path, InputFile] = {}
    for file in files:
        found.setdefault(file.path.resolve(), file)
    return list(found.values())
