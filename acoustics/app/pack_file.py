"""`pack.json`: what stands in a pack, where, with which hash, and what it came to."""

from __future__ import annotations

import hashlib
import json
import math
import re
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from acoustics.programme import PROGRAMMES
from rigging.faults import NO_VALUE, Fault, FileFaults, Loc
from rigging.files import Document, check_format, validate
from rigging.models import Flag, Model, Name, key, problem, quantity

LISTING = "pack.json"
POLICY = "policy.toml"
FORMAT = "pack/1"
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{number}" for port in ("COM", "LPT") for number in range(1, 10))}
_LONGEST_MEMBER = 240  # characters; some systems take no longer path


def member_problem(name: str) -> str:
    """Why a name cannot be that of a file in a pack, on every system; empty where it can."""
    parts = name.split("/")
    if not name or len(name) > _LONGEST_MEMBER:
        return f"is not 1 to {_LONGEST_MEMBER} characters long"
    if re.search(r'[\\:*?"<>|]', name) or any(unicodedata.category(c).startswith("C") for c in name):
        return "holds a character that not every system takes in a name"
    if any(part.partition(".")[0].upper() in _DEVICES for part in parts):
        return "holds a name that one system keeps for a device"
    if any(part in ("", ".", "..") or part != part.strip(" ") or part.endswith(".") for part in parts):
        return "is no plain path below the folder that it is unpacked to"
    return ""


def _check_member(value: Any) -> str:
    wrong = member_problem(value) if isinstance(value, str) else "must be a text"
    if wrong:
        raise problem(wrong, "pack it again")
    return str(value)


def _check_hash(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[0-9a-f]{64}", value):
        raise problem("is no SHA-256", "pack it again")
    return value


def _check_figures(value: Any) -> dict[str, float | None]:
    def number(one: Any) -> bool:
        try:
            return isinstance(one, int | float) and not isinstance(one, bool) and math.isfinite(one)
        except OverflowError:  # a whole number of hundreds of digits
            return False

    if not isinstance(value, dict) or not all(one is None or number(one) for one in value.values()):
        raise problem("must be a table of numbers, null where one is not known", "pack it again")
    if not all(name.isprintable() for name in value):
        raise problem("holds a name that cannot be printed", "pack it again")
    return value


def _check_said(value: Any) -> str:
    if not isinstance(value, str) or not value.isprintable():
        raise problem("must be a text of printable characters", "pack it again")
    return value


def _check_points(value: Any) -> int | str:
    if value != "auto" and (isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 8):
        raise problem("is no number of points", "pack it again")
    return str(value) if value == "auto" else int(value)


def _check_programme(value: Any) -> str:
    if value not in list(PROGRAMMES):
        raise problem("is a programme that this release does not know", f"known: {', '.join(PROGRAMMES)}")
    return str(value)


Member = Annotated[str, BeforeValidator(_check_member)]
Hash = Annotated[str, BeforeValidator(_check_hash)]
Said = Annotated[str, BeforeValidator(_check_said)]
Word = Annotated[str, Field(pattern="^[a-z]{10}$")]


class PackedFile(Model):
    """A file of the pack, but this listing."""

    member: Member = key("where it lies in the pack", '"inputs/venue.toml"')
    role: Name = key("what it is for", '"venue"')
    sha256: Hash = key("SHA-256 of it", '"…"')
    original_sha256: Hash | None = Field(None, description="of the file before names of other files were rewritten")


class PackedWords(Model):
    """The words on a job's sheets."""

    design: Word = key("of what hangs where", '"bagotilufo"')
    revision: Word = key("of all that the sheets were made from", '"bagotilufo"')


class PackedJob(Model):
    """A hang in a venue, or a show, and what it came to."""

    name: Name = key("name of the hang or show", '"main"')
    venue_name: Name = key("name of the venue", '"Gable Theatre"')
    file: Member = key("hang or show file", '"inputs/left.toml"')
    venue: Member | None = Field(None, description="venue file of a hang")
    beside: tuple[Member, ...] = Field((), description="hangs beside it")
    results: Member = key("folder of its sheets", '"results/main-bagotilufo"')
    words: PackedWords = key("words", "{ … }")
    weakest: Said = Field("", description="the finding that is nearest to its limit, or beyond")
    figures: Annotated[dict[str, float | None], BeforeValidator(_check_figures)] = key("figures by name", "{ … }")


class Asked(Model):
    """What was asked for beside the files."""

    grid_m: Annotated[float, quantity(0.1, 20.0, "m")] = key("cell size", "1.0")
    drive_db: Annotated[float, quantity(-60.0, 40.0, "dB")] = key("gain of all", "0.0")
    programme: Annotated[str, BeforeValidator(_check_programme)] = key("spectrum", '"pink"')
    over_edges: Flag = key("whether hidden rows are weakened, not left out", "false")
    points: Annotated[int | str, BeforeValidator(_check_points)] = key("points for each enclosure", "1")
    correlation: Annotated[float, quantity(0.0, 1.0, "")] | None = Field(None, description="of programme channels")
    mute: tuple[Said, ...] = Field((), description="rows that are silent")
    limit: tuple[Said, ...] = Field((), description="points that carry less")


class PackFile(Model):
    """The listing of a pack."""

    format: Literal["pack/1"] = key("kind of file", f'"{FORMAT}"')
    name: Name = key("what was packed", '"main"')
    word: Word = key("revision of the whole", '"bagotilufo"')
    version: Name = key("release that packed it", '"0.1.0"')
    asked: Asked = key("what was asked for", "{ … }")
    jobs: Annotated[tuple[PackedJob, ...], Field(min_length=1)] = key("hangs in venues, and shows", "[ … ]")
    files: Annotated[tuple[PackedFile, ...], Field(min_length=1)] = key("all other files", "[ … ]")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[tuple[Loc, str, str, object]]:
        """Files that jobs name and the pack does not list; no policy."""
        listed = [one.get("member") for one in _tables(data, "files")]
        if POLICY not in listed:
            yield ("files",), f"lists no {POLICY}", "pack it again", NO_VALUE
        for index, job in enumerate(_tables(data, "jobs")):
            beside = job.get("beside")
            for name in (job.get("file"), job.get("venue"), *(beside if isinstance(beside, list) else [])):
                if name is not None and name not in listed:
                    yield ("jobs", index), "names a file that the pack does not list", "pack it again", name


def _tables(data: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """The tables of a list of unchecked data; an empty one in place of what is none."""
    listed = data.get(name)
    return [one if isinstance(one, dict) else {} for one in (listed if isinstance(listed, list) else [])]


def listing_of(content: bytes, file: str) -> PackFile:
    """The listing of a pack from its `pack.json`.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    try:
        data = json.loads(content.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise FileFaults([Fault(file, "", f"is no valid JSON ({error})", "ask for the pack again")]) from None
    if not isinstance(data, dict):
        raise FileFaults([Fault(file, "", "holds no table", "ask for the pack again")])
    document = Document(file, Path(file), "", data, hashlib.sha256(content).hexdigest())
    check_format(document, FORMAT)
    return validate(document, PackFile)
