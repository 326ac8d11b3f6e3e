"""One stop of a tour: read, designed where asked, predicted, judged and reported, whole or not at all."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import os
import shutil
import uuid
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from acoustics.app import check as check_command
from acoustics.app import folder
from acoustics.app.check import kept
from acoustics.app.coverage import coverage, rigging
from acoustics.app.design import search
from acoustics.app.design_input import Ask, read_from
from acoustics.app.outcome import Outcome, outcome_of, show_outcome_of
from acoustics.app.report import Writers, report_files
from acoustics.app.sheet import plain
from acoustics.app.show_report import show_report_files
from acoustics.inputs import files_of_hang, files_of_show
from acoustics.power import feeds, taken, taken_by
from acoustics.prediction import Options
from acoustics.show import Show, load_show
from acoustics.show_prediction import ShowOptions
from acoustics.venue import Venue, load_venue
from rigging.check import Report, check, greatest_on
from rigging.content import sha256_of
from rigging.equipment import Catalogue, load_catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.findings import EXCEEDS
from rigging.hang import Hang, load_hang, points_of
from rigging.policy import Policy
from rigging.rewrite import rewritten

FORMAT = "stop/1"
DONE_FILE = "stop.json"
UNFINISHED = ".unfinished"  # where folders are made before they take their place
_KEY_LETTERS = 16
_TURNS = 20  # stops of the same inputs that end at the same moment


@dataclass(frozen=True)
class Task:
    """All that a stop is worked out from, so that another process can; paths are whole ones."""

    label: str
    into: str
    venue: str | None
    hangs: tuple[str, ...]
    show: str | None
    design: bool
    equipment: tuple[str, ...]
    packaged: bool  # whether the packaged equipment is used too
    policy: str | None
    options: Options
    imperial: bool = False  # of its reports alone: its key and its words are the same


@dataclass(frozen=True)
class Done:
    """A stop that is worked out: where it lies below the tour's folder, what it says, and whether it was kept."""

    data: dict[str, Any]
    kept: bool


@dataclass(frozen=True)
class AtFault:
    """The faults of a stop's files, a line each."""

    faults: tuple[str, ...]


@dataclass(frozen=True)
class _Read:
    """A stop's files, read."""

    venue: Venue
    document: Document
    hangs: tuple[Hang, ...]
    show: Show | None
    catalogue: Catalogue
    policy: Policy
    texts: Mapping[Path, str]  # designs in place of files

    def others(self, hang: Hang) -> list[Hang]:
        """What hangs beside one of the hangs."""
        return [other for other in self.hangs if other is not hang]


def work_out(task: Task) -> Done | AtFault:
    """Work out a stop, or find it done: what has the same inputs is not computed again."""
    try:
        read = _read(task, {})
        key = _key(read, task)
        target = Path(task.into) / f"{folder.slug(read.venue.name)}-{key[:_KEY_LETTERS]}"
        found = _found(target, key, imperial=task.imperial)
        if found is not None:
            return Done(found, True)
        if task.design:
            read = _designed(read, task)
        return Done(_write(target, key, read, task), False)
    except FileFaults as error:
        return AtFault(tuple(str(fault) for fault in error.faults))
    except OSError as error:
        todo = "make room, or name another folder with --out"
        return AtFault((str(Fault(task.into, "", f"cannot be written ({error.strerror or error})", todo)),))


def _read(task: Task, texts: Mapping[Path, str]) -> _Read:
    catalogue, policy = load_catalogue(task.equipment, packaged=task.packaged), check_command.policy_of(task.policy)
    if task.show is not None:
        show = load_show(task.show, catalogue, texts)
        return _Read(show.venue, show.venue_document, show.hangs, show, catalogue, policy, texts)
    faults: list[Fault] = []
    loaded = kept(faults, load_venue, task.venue or "")
    whole = [Path(os.path.realpath(path)) for path in task.hangs]
    twice = [path for index, path in enumerate(whole) if path in whole[:index]]
    faults += [Fault(str(path), "", "is named twice among the hangs of a stop", "name it once") for path in twice]
    hangs = [kept(faults, load_hang, path, catalogue, texts) for path in task.hangs]
    if faults or loaded is None:
        raise FileFaults(faults)
    return _Read(*loaded, tuple(hang for hang in hangs if hang is not None), None, catalogue, policy, texts)


def _key(read: _Read, task: Task) -> str:
    """A hash of all that the stop is worked out from: the files byte by byte, what was asked for, the program."""
    if read.show is not None:
        files = files_of_show(read.show, read.policy, read.catalogue)
    else:
        hang, *others = read.hangs
        files = files_of_hang(hang, others, read.document, read.policy, read.catalogue)
    inputs = {
        "format": FORMAT,
        "program": _program(),
        "files": [(file.role, file.path.name, file.sha256) for file in files],
        "options": dataclasses.asdict(task.options),
        "design": task.design,
    }
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()


@functools.cache
def _program() -> str:
    """A hash of the program itself: what another release, or a changed one, worked out is not taken for its own."""
    of = hashlib.sha256(metadata.version("evenhang").encode())
    for package in ("rigging", "acoustics"):
        root = Path(str(resources.files(package)))
        for path in sorted(path for path in root.rglob("*") if path.suffix in (".py", ".html", ".css")):
            of.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return of.hexdigest()


def _found(target: Path, key: str, *, imperial: bool) -> dict[str, Any] | None:
    """What a folder says of itself if it was worked out from the same inputs, in the same units, and is whole."""
    try:
        data: dict[str, Any] = json.loads((target / DONE_FILE).read_text(encoding="utf-8"))
        whole = all(sha256_of(target / name) == digest for name, digest in data["files"].items())
        same = data["key"] == key and data.get("imperial", False) == imperial
        return data if same and whole else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _designed(read: _Read, task: Task) -> _Read:
    """The stop with designs in place of its hangs' files, one after the other, each judged as it would be read.

    Mirror images follow, stacks stay; a design that exceeds a limit, itself or as its mirror image, is no answer.
    """
    for index in range(len(read.hangs)):
        hang = read.hangs[index]
        if hang.standing or hang.design is not hang.document:
            continue
        asked = read_from(hang, tuple(read.others(hang)), (read.venue, read.document), read.catalogue, read.policy)
        found, _ = search(asked, Ask())
        if found.answer.interrupted:  # the best so far is no answer to keep
            raise KeyboardInterrupt
        if found.answer.best is None:
            continue
        path = hang.document.path.resolve()
        tried = _read(task, {**read.texts, path: rewritten(found.text, found.answer.best.hang)})
        if not any(_exceeds(one, tried) for one in tried.hangs if one.design.path.resolve() == path):
            read = tried
    return read


def _exceeds(hang: Hang, read: _Read) -> bool:
    report = check(hang, read.catalogue, read.policy, read.venue, read.others(hang), read.document.data)
    return any(finding.status == EXCEEDS for finding in report.findings)


def _write(target: Path, key: str, read: _Read, task: Task) -> dict[str, Any]:
    """Make the stop's folder beside its place and put it there in one step."""
    staging = target.parent / UNFINISHED / uuid.uuid4().hex
    staging.mkdir(parents=True)
    try:
        data = {
            "key": key,
            "folder": target.name,
            "venue": read.venue.name,
            "rows": [_report(staging, hang, read, task) for hang in read.hangs],
            "show": None if read.show is None else _report_show(staging, read.show, read, task),
            "taken": _taken(read),
            **({"imperial": True} if task.imperial else {}),
            "files": {
                path.relative_to(staging).as_posix(): sha256_of(path)
                for path in sorted(staging.rglob("*"))
                if path.is_file()
            },
        }
        data = dict(plain(data))
        content = json.dumps(data, indent=2, ensure_ascii=False, sort_keys=True)
        (staging / DONE_FILE).write_text(f"{content}\n", encoding="utf-8")
        _put(staging, target)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return data


def _put(staging: Path, target: Path) -> None:
    """Rename into place; what lies there is a broken or equal one, and goes, also where another stop puts it there."""
    for left in reversed(range(_TURNS)):
        try:
            if target.exists():
                broken = staging.parent / uuid.uuid4().hex
                os.rename(target, broken)
                shutil.rmtree(broken, ignore_errors=True)
            os.rename(staging, target)
            return
        except OSError:
            if not left or not staging.exists():
                raise


def _report(staging: Path, hang: Hang, read: _Read, task: Task) -> dict[str, Any]:
    """Write the folder of one hang, and give its row of the tour's table."""
    loaded = (read.venue, read.document)
    outcome = outcome_of(hang, loaded, read.catalogue, read.policy, read.others(hang), task.options)
    searched = [f"searched anew: {path.name}, whose hash is that of designed.toml" for path in read.texts]
    outcome = dataclasses.replace(outcome, asked=(*outcome.asked, *searched))
    files: Writers = report_files(outcome, imperial=task.imperial)
    text = read.texts.get(hang.document.path.resolve())
    if text is not None:
        files["designed.toml"] = partial(check_command.write_text, content=text)
    place = _fill(staging, hang.name, outcome.summary["revision"], files)
    return _row(outcome, hang, read.venue, _how(hang, read, task)) | {"folder": place}


def _report_show(staging: Path, show: Show, read: _Read, task: Task) -> dict[str, Any]:
    """Write the folder of a show, and give its name and what it is judged by beside its hangs."""
    options = ShowOptions(task.options.grid_m, task.options.programme)
    outcome = show_outcome_of(show, (read.venue, read.document), read.catalogue, read.policy, options)
    place = _fill(staging, show.name, outcome.summary["revision"], show_report_files(outcome, imperial=task.imperial))
    shared = [check_command.finding_data(finding) for finding in outcome.judged.shared]
    return {"name": show.name, "folder": place, "findings": shared}


def _fill(staging: Path, name: str, revision: str, files: Writers) -> str:
    """Write files into a folder of their own, and give its name."""
    place = staging / f"{folder.slug(name)}-{revision}"
    place.mkdir()
    for file, writer in files.items():
        writer(place / file)
    return place.name


def _how(hang: Hang, read: _Read, task: Task) -> str:
    """Whether a hang is as its file says, or as a search left it."""
    if not task.design or hang.standing:
        return "no"
    file = hang.design.path.resolve()
    image = hang.design is not hang.document
    if file in read.texts:
        return "as its mirror image" if image else "yes"
    if image and file not in {other.document.path.resolve() for other in read.hangs}:
        return "no, the design that it mirrors is not among the stop's hangs"
    return "nothing within limits was found"


def _row(outcome: Outcome, hang: Hang, venue: Venue, designed: str) -> dict[str, Any]:
    """What the tour's table says of a hang."""
    types = Counter(item.name for item in hang.items)
    figures = coverage(outcome.result, outcome.summary, hang, venue)
    del figures["worst_seat"]  # where it is stands in the report
    return {
        "hang": hang.name,
        "designed": designed,
        "enclosures": len(hang.enclosure_rows),
        "types": "; ".join(f"{count} {name}" for name, count in types.items()),
        "splays_deg": " ".join(f"{splay:g}" for splay in hang.splays_deg),
        "tilt_deg": hang.tilt_deg,
        "trim_m": hang.position_m[2],
        "mass_kg": hang.mass_kg,
        **figures,
        **rigging(outcome.report),
        "points": _points(outcome.report),
        "design": outcome.summary["design"],
        "revision": outcome.summary["revision"],
    }


def _points(report: Report) -> str:
    """What every point of a hang carries of its limit, all hangs of the stop together."""
    assert report.site is not None  # a stop has a venue
    # What an eyebolt may carry depends on the pull's angle: its finding knows.
    limits = {f"point {one.name}": None if one.eyebolt else one.limit_kg for one in report.site.point}
    limits |= {one.part: one.limit for one in report.findings if one.part in limits and one.limit is not None}
    words = []
    for point in sorted({point for _, point in points_of(report.hang)}):
        known, rated = greatest_on(report, point), limits.get(f"point {point}")
        load = "not known" if known is None else f"{known:.0f} kg"
        words.append(f"{point} {load} {'limit not known' if rated is None else f'of {rated:.0f} kg'}")
    return "; ".join(words)


def _taken(read: _Read) -> dict[str, int]:
    if read.show is not None:
        return taken(read.show, feeds(read.show, read.catalogue))
    return dict(sorted(sum((taken_by(hang) for hang in read.hangs), Counter()).items()))
