"""`evenhang unpack`: take a pack apart, and see whether its files come to its words and figures here."""

from __future__ import annotations

import argparse
import dataclasses
import json
import shlex
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path

from acoustics.app import folder
from acoustics.app.archive import extract
from acoustics.app.figures import WITHIN_OF, WITHIN_SHARE, moved
from acoustics.app.folder import slug
from acoustics.app.job import Job, do, files_of
from acoustics.app.pack import used
from acoustics.app.pack_file import POLICY, PackedJob, PackFile
from acoustics.app.status import DIFFERS, DONE, refusing
from rigging.cautions import CAUTIONS
from rigging.content import named_files
from rigging.equipment import load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import read

_OUTSIDE = "is a file outside the pack", "do not use it: ask for the pack again"


@dataclass(frozen=True)
class Compared:
    """A job of a pack, and what of it is not the same here: words and figures, a line for each."""

    job: PackedJob
    words: tuple[str, ...]
    figures: tuple[str, ...]


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    with tempfile.TemporaryDirectory() as work:
        home = Path(work).resolve()
        listing = extract(Path(asked.pack), home)
        target = Path(asked.out) / f"{slug(listing.name)}-{listing.word}"
        if target.exists():
            todo = "name another folder with --out, or move that one away"
            raise FileFaults([Fault(str(target), "", "exists already; what is in it may have been worked on", todo)])
        compared, elsewhere = _computed(listing, home, asked.pack)
        folder.write(Path(asked.out), listing.name, listing.word, _writers(home))
    differs = any(one.words or one.figures for one in compared)
    if asked.json:
        print(json.dumps(_data(listing, compared, elsewhere, target), indent=2, ensure_ascii=False))
    else:
        print("\n".join(_text(listing, compared, elsewhere, target)))
    return DIFFERS if differs else DONE


def _writers(home: Path) -> dict[str, Callable[[Path], None]]:
    """Writers of what lies in a folder, folders as a whole."""

    def copy(path: Path, of: Path) -> None:
        (shutil.copytree if of.is_dir() else shutil.copyfile)(of, path)

    return {one.name: partial(copy, of=one) for one in home.iterdir()}


def _computed(listing: PackFile, home: Path, file: str) -> tuple[list[Compared], list[str]]:
    """All jobs done anew with the pack's files alone, and equipment that this machine's catalogue describes otherwise.

    Raises
    ------
    FileFaults
        If this release does not take a file, which is then named as it lies in the pack.
    """
    asked = used(argparse.Namespace(**_options(listing)), home)
    try:
        _refuse_outside(listing, home, asked)
        compared = [_compared(job, home, asked) for job in listing.jobs]
        return compared, _elsewhere(home)
    except FileFaults as error:
        faults = [_named_in_pack(fault, home, file) for fault in error.faults]
        here = metadata.version("evenhang")
        if listing.version != here:
            wrong = f"was packed with release {listing.version}, and this is {here}"
            faults.append(Fault(file, "", wrong, "open it with that release"))
        raise FileFaults(faults) from None


def _refuse_outside(listing: PackFile, home: Path, asked: argparse.Namespace) -> None:
    """Refuse a pack whose files name others that are not in it: nothing of this machine counts for its results.

    Raises
    ------
    FileFaults
        With each such name, before data that equipment names are opened; or with the faults of the files.
    """
    members = [home.joinpath(*file.member.split("/")) for file in listing.files]
    equipment = [read(path) for path in members if path.parent == home / "equipment" and path.suffix == ".toml"]
    faults = [
        document.fault(loc, *_OUTSIDE, path.name)
        for document in equipment
        for loc, path in named_files(document)
        if not path.resolve().is_relative_to(home)
    ]
    if faults:
        raise FileFaults(faults)
    files = [file for packed in listing.jobs for file in files_of(_job(packed, home), asked)[0]]
    outside = {file.path for file in files if not file.path.resolve().is_relative_to(home)}
    if outside:
        raise FileFaults([Fault(str(path), "", *_OUTSIDE) for path in sorted(outside)])


def _options(listing: PackFile) -> dict[str, object]:
    asked = listing.asked
    return {
        "grid": asked.grid_m, "drive": asked.drive_db, "programme": asked.programme, "over_edges": asked.over_edges,
        "points": asked.points, "correlation": asked.correlation, "mute": list(asked.mute), "limit": list(asked.limit),
    }  # fmt: skip


def _job(packed: PackedJob, home: Path) -> Job:
    def place(member: str) -> str:
        return str(home.joinpath(*member.split("/")))

    venue = None if packed.venue is None else place(packed.venue)
    return Job(place(packed.file), venue, tuple(map(place, packed.beside)))


def _compared(packed: PackedJob, home: Path, asked: argparse.Namespace) -> Compared:
    done = do(_job(packed, home), asked)
    now, then = vars(done.words), packed.words.model_dump()
    words = [f"{name} word: from {then[name]} to {now[name]}" for name in then if then[name] != now[name]]
    return Compared(packed, tuple(words), tuple(moved(packed.figures, done.figures)))


def _named_in_pack(fault: Fault, home: Path, file: str) -> Fault:
    """A fault that calls files by the pack and their place in it, not by a folder that is gone."""

    def said(text: str) -> str:
        return text.replace(f"{home}/", f"{file}/")

    return dataclasses.replace(fault, file=said(fault.file), wrong=said(fault.wrong), todo=said(fault.todo))


def _elsewhere(home: Path) -> list[str]:
    """Equipment of the pack that the packaged catalogue of this machine describes otherwise, or not at all."""
    packed, here = load_catalogue([home / "equipment"], packaged=False), load_catalogue()
    lines = []
    for name in sorted(packed.items):
        member = f"equipment/{packed.documents[name].path.name}"
        if name not in here.items:
            lines.append(f"{name}: {member} describes it, the catalogue here does not know it")
        elif here.content(name) != packed.content(name):
            lines.append(f"{name}: {member} and {here.documents[name].file} differ")
    return lines


def _data(listing: PackFile, compared: list[Compared], elsewhere: list[str], target: Path) -> dict[str, object]:
    jobs = [
        {
            "name": one.job.name,
            "words": one.job.words.model_dump(),
            "figures": len(one.job.figures),
            "words_differ": list(one.words),
            "figures_differ": list(one.figures),
        }
        for one in compared
    ]
    return {
        "same": not any(one.words or one.figures for one in compared),
        "version_then": listing.version,
        "version_now": metadata.version("evenhang"),
        "jobs": jobs,
        "equipment_otherwise_here": elsewhere,
        "folder": str(target),
        "cautions": list(CAUTIONS),
    }


def _text(listing: PackFile, compared: list[Compared], elsewhere: list[str], target: Path) -> list[str]:
    here = metadata.version("evenhang")
    releases = (
        f"release {here} then and now" if here == listing.version else f"release {listing.version} then, {here} now"
    )
    lines = [f"{len(listing.files)} files, each as it was packed; {releases}"]
    lines += ["", *(f"! {caution}" for caution in CAUTIONS)]
    for one in compared:
        words = one.job.words
        lines += ["", f"{one.job.name}  in  {one.job.venue_name}"]
        lines += [f"DESIGN {words.design}   REVISION {words.revision}"]
        lines += [f"  differs: {line}" for line in (*one.words, *one.figures)]
        same = [*(["the same words"] if not one.words else []), *(["the same figures"] if not one.figures else [])]
        many = f"{len(one.job.figures)} figures, within {WITHIN_OF:g} or {WITHIN_SHARE:.2%}"
        lines += [f"{', '.join(same)} ({many})" if same else f"compared: {many}"]
    if elsewhere:
        lines += [
            "",
            "the pack's equipment was used; without --only-equipment the catalogue here would give other results:",
        ]
        lines += [f"  {line}" for line in elsewhere]
    lines += ["", f"unpacked to {target}/; to go on with its files:"]
    return [*lines, f"  evenhang {shlex.join(_going_on(listing, target))}"]


def _going_on(listing: PackFile, target: Path) -> list[str]:
    """A command that takes the pack's own files: the tour's, or a check of the first job."""
    own = ["--equipment", str(target / "equipment"), "--only-equipment", "--policy", str(target / POLICY)]
    tour = next((file.member for file in listing.files if file.role == "tour"), None)
    if tour is not None:
        return ["tour", str(target / tour), *own]
    job = listing.jobs[0]
    files = [str(target / name) for name in (job.file, job.venue) if name is not None]
    files += [word for name in job.beside for word in ("--beside", str(target / name))]
    files += [word for limit in listing.asked.limit for word in ("--limit", limit)]
    return ["check", *files, *own]
