"""`evenhang pack`: one zip with all that a result depends on, their hashes, and the results."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from acoustics.app import folder
from acoustics.app.archive import write_zip
from acoustics.app.check import policy_asked, write_text
from acoustics.app.folder import kind_of, slug
from acoustics.app.job import Done, Job, do, files_of
from acoustics.app.pack_file import FORMAT, LISTING, POLICY, PackedFile, PackFile
from acoustics.app.staging import places, stage
from acoustics.app.status import of_findings, refusing
from acoustics.inputs import InputFile, each_once, file_of_tour
from acoustics.tour_file import load_tour
from rigging.cautions import CAUTIONS
from rigging.content import sha256_of
from rigging.faults import Fault, FileFaults
from rigging.findings import CANNOT, EXCEEDS, WITHIN, counts
from rigging.revision import revision


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    folder.prepare(Path(asked.out))
    packing = packing_of(asked)
    with tempfile.TemporaryDirectory() as work:
        home = Path(work).resolve() / "pack"
        listing, done = pack(packing, home)
        file = f"{slug(listing.name)}-{listing.word}.zip"
        write = {file: lambda path: write_zip(path, home)}
        target = folder.write(Path(asked.out), listing.name, listing.word, write)
    if asked.json:
        said = listing.model_dump(mode="json") | {
            "folder": str(target),
            "pack": str(target / file),
            "cautions": list(CAUTIONS),
        }
        print(json.dumps(said, indent=2, ensure_ascii=False))
    else:
        print("\n".join(_text(listing, done)))
        print(f"\nwritten to {target}/: {file}")
    return of_findings(finding for one in done for finding in one.findings)


@dataclass(frozen=True)
class Packing:
    """What is to be packed: `jobs` with the options for all, and files that lie beside theirs."""

    name: str | None  # that of the job where there is one
    jobs: tuple[Job, ...]
    asked: argparse.Namespace
    more: tuple[InputFile, ...] = ()


def packing_of(asked: argparse.Namespace) -> Packing:
    """What is to be packed: a hang in a venue, a show, or all stops of a tour.

    Raises
    ------
    FileFaults
        If a hang has no venue, a show or a tour is given one, or a tour is to be designed first.
    """
    kind = kind_of(asked.hang)
    if kind in ("show", "tour"):
        given = [(asked.venue is not None, "VENUE"), (bool(asked.beside), "--beside")]
        why, todo = f"has no meaning for a {kind}: it names its venues and hangs itself", "leave it out"
        faults = [Fault(name, "", why, todo) for is_so, name in given if is_so]
        if faults:
            raise FileFaults(faults)
        return Packing(None, (Job(asked.hang),), asked) if kind == "show" else _tour_packing(asked)
    if asked.venue is None:
        todo = "name a venue file after the hang, or a show or tour file alone"
        raise FileFaults([Fault("VENUE", "", "is missing", todo)])
    return Packing(None, (Job(asked.hang, asked.venue, tuple(asked.beside)),), asked)


def _tour_packing(asked: argparse.Namespace) -> Packing:
    """The stops of a tour as jobs, with the tour's own equipment, policy, grid and programme."""
    tour = load_tour(asked.hang)
    if asked.grid not in (1.0, tour.file.grid_m):  # the usual one, or its own
        todo = f"leave it out: {asked.hang} says grid_m"
        raise FileFaults([Fault("--grid", "", "has no meaning for a tour", todo, asked.grid)])
    wrong, todo = "asks for a search, which a pack does not hold", "name the designed files, and leave design out"
    searched = [index for index, stop in enumerate(tour.file.stop) if stop.design]
    if searched:
        raise FileFaults(tour.document.faults((("stop", index, "design"), wrong, todo, True) for index in searched))
    jobs = []
    for stop in tour.file.stop:
        hangs = [tour.beside(name) for name in stop.hangs]
        jobs += [Job(tour.beside(stop.show))] if stop.show else []
        jobs += [Job(hang, tour.beside(stop.venue or ""), tuple(one for one in hangs if one != hang)) for hang in hangs]
    own = {
        "equipment": [*tour.folders, *asked.equipment],
        "policy": policy_asked(asked.policy, tour),
        "grid": tour.file.grid_m,
        "programme": asked.programme or tour.file.programme,
    }
    told = argparse.Namespace(**{**vars(asked), **own})
    return Packing(tour.file.name, tuple(jobs), told, (file_of_tour(tour),))


def pack(packing: Packing, home: Path) -> tuple[PackFile, list[Done]]:
    """Copy all files of some jobs below a folder and do the jobs there, with what was copied and nothing else.

    Raises
    ------
    FileFaults
        With the faults of all files; if a file changes meanwhile, or its names of other files cannot be rewritten.
    """
    asked = packing.asked
    read = [files_of(job, asked) for job in packing.jobs]
    files = each_once([*packing.more, *(file for found, _ in read for file in found)])
    at = places(files)
    listed = {file.member: file for file in stage(files, at, home)}
    there = used(asked, home)
    done, packed = [], []
    for job, (_, inputs) in zip(packing.jobs, read, strict=True):
        moved = _moved(job, at, home)
        if files_of(moved, there)[1] != inputs:
            raise FileFaults([Fault(job.file, "", "or a file that it names changed meanwhile", "pack it again")])
        one = do(moved, there)
        results = f"results/{slug(one.name)}-{one.words.revision}"
        listed |= {file.member: file for file in _write_results(one, home, results)}
        done.append(one)
        packed.append(_packed(job, at) | {"results": results, **_came_to(one)})
    words = [one.words.revision for one in done]
    data = {
        "format": FORMAT,
        "name": packing.name or done[0].name,
        "word": words[0] if len(words) == 1 else revision({"words": words}),
        "version": metadata.version("evenhang"),
        "asked": _said(asked),
        "jobs": packed,
        "files": [listed[member].model_dump(exclude_none=True) for member in sorted(listed)],
    }
    listing = PackFile.model_validate(data)
    text = json.dumps(listing.model_dump(mode="json", exclude_unset=True), indent=2, ensure_ascii=False)
    write_text(home / LISTING, f"{text}\n")
    return listing, done


def _write_results(done: Done, home: Path, folder_of: str) -> Iterator[PackedFile]:
    """Write the sheets of a job to a folder below another."""
    (home / folder_of).mkdir(parents=True, exist_ok=True)
    for name, write in done.sheets().items():
        write(home / folder_of / name)
        yield PackedFile(member=f"{folder_of}/{name}", role="result", sha256=sha256_of(home / folder_of / name))


def used(asked: argparse.Namespace, home: Path) -> argparse.Namespace:
    """The options with the equipment and the policy of a pack, and no others."""
    there = {"equipment": [str(home / "equipment")], "only_equipment": True, "policy": str(home / POLICY)}
    return argparse.Namespace(**{**vars(asked), **there})


def _moved(job: Job, at: dict[Path, str], home: Path) -> Job:
    """A job with its files where they lie below a folder."""
    names = _packed(job, at)
    beside = tuple(str(home / name) for name in names["beside"])
    return Job(str(home / names["file"]), names["venue"] and str(home / names["venue"]), beside)


def _packed(job: Job, at: dict[Path, str]) -> dict[str, Any]:
    """A job with its files as members."""
    file, *beside = (at[Path(path).resolve()] for path in (job.file, *job.beside))
    venue = None if job.venue is None else at[Path(job.venue).resolve()]
    return {"file": file, "venue": venue, "beside": beside}


def _came_to(done: Done) -> dict[str, Any]:
    words = vars(done.words)
    return {
        "name": done.name, "venue_name": done.venue, "words": words, "weakest": done.weakest, "figures": done.figures,
    }  # fmt: skip


def _said(asked: argparse.Namespace) -> dict[str, Any]:
    """What was asked for beside the files."""
    return {
        "grid_m": asked.grid, "drive_db": asked.drive, "programme": asked.programme or "pink",
        "over_edges": asked.over_edges, "points": asked.points, "correlation": asked.correlation,
        "mute": asked.mute, "limit": asked.limit,
    }  # fmt: skip


def _text(listing: PackFile, done: Sequence[Done]) -> list[str]:
    lines = [f"{listing.name}, packed with release {listing.version}", "", *(f"! {caution}" for caution in CAUTIONS)]
    for job, one in zip(listing.jobs, done, strict=True):
        found, words = counts(one.findings), job.words
        lines += ["", f"{job.name}  in  {job.venue_name}"]
        lines += [f"DESIGN {words.design}   REVISION {words.revision}"]
        lines += [f"{found[EXCEEDS]} exceed, {found[CANNOT]} cannot be judged, {found[WITHIN]} within"]
        lines += [f"{len(job.figures)} figures; weakest: {job.weakest or 'nothing could be judged'}"]
    roles = [file.role for file in listing.files]
    counted = ", ".join(f"{roles.count(role)} {role}" for role in dict.fromkeys(roles))
    lines += ["", f"{len(roles)} files: {counted}"]
    rewritten = [file.member for file in listing.files if file.original_sha256]
    lines += [f"names of files rewritten in: {', '.join(rewritten)}"] if rewritten else []
    return lines
