"""The zip of a pack: written with equal bytes for equal files, opened with nothing taken on trust."""

from __future__ import annotations

import errno
import hashlib
import stat
import zipfile
import zlib
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from acoustics.app.pack_file import LISTING, PackFile, listing_of, member_problem
from rigging.faults import Fault, FileFaults

MOST_MEMBERS = 5_000
MOST_BYTES = 2_000_000_000  # of all members, unpacked
MOST_LISTING_BYTES = 50_000_000
_CHUNK = 1 << 20
_WHEN = (1980, 1, 1, 0, 0, 0)  # the first that a zip can hold
_AGAIN = "ask for the pack again, and copy it whole"
_COMPRESSIONS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def write_zip(path: Path, home: Path) -> None:
    """Write all files below a folder, sorted, as of one time and with equal rights."""
    files = {file.relative_to(home).as_posix(): file for file in home.rglob("*") if file.is_file()}
    with zipfile.ZipFile(path, "w") as opened:
        for member, file in sorted(files.items()):
            info = zipfile.ZipInfo(member, _WHEN)
            info.create_system, info.external_attr = 3, (stat.S_IFREG | 0o644) << 16
            info.compress_type, info.file_size = zipfile.ZIP_DEFLATED, file.stat().st_size
            with file.open("rb") as source, opened.open(info, "w") as target:
                while chunk := source.read(_CHUNK):
                    target.write(chunk)


def extract(path: Path, home: Path) -> PackFile:
    """Take a pack apart into an empty folder, and return its listing.

    Every name is checked before anything is written, every file against the listing's hash.

    Raises
    ------
    FileFaults
        If it is no pack, is damaged, too large, names places outside the folder, or a file is missing, is not listed or
        is not what the listing says.
    """
    name = str(path)
    try:
        with zipfile.ZipFile(path) as opened:
            infos = opened.infolist()
            _refuse(_member_faults(name, infos))
            if LISTING not in opened.namelist():
                wrong = f"is a zip, but no pack: it holds no {LISTING}"
                raise FileFaults([Fault(name, "", wrong, "name a file that evenhang pack wrote")])
            hashes = {info.filename: _take(opened, info, home) for info in infos}
            if (home / LISTING).stat().st_size > MOST_LISTING_BYTES:
                raise FileFaults([Fault(f"{name}/{LISTING}", "", "is too large", _AGAIN)])
    except FileNotFoundError:
        raise FileFaults([Fault(name, "", "does not exist", "check the path")]) from None
    except IsADirectoryError:
        wrong, todo = "is a folder, not a pack", "name the zip; files that are unpacked are used as they are"
        raise FileFaults([Fault(name, "", wrong, todo)]) from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        if isinstance(error, FileFaults):
            raise
        raise FileFaults([Fault(name, "", f"is damaged, or no zip ({error})", _AGAIN)]) from None
    except OSError as error:
        if error.errno == errno.EINVAL:  # offsets that point before the start
            raise FileFaults([Fault(name, "", "is damaged, or no zip (cut off)", _AGAIN)]) from None
        wrong = f"cannot be unpacked ({error.strerror or error})"
        raise FileFaults([Fault(name, "", wrong, "check the file, and the room on the disk")]) from None
    listing = listing_of((home / LISTING).read_bytes(), f"{name}/{LISTING}")
    _refuse(_listed_faults(name, listing, hashes))
    return listing


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise FileFaults(found)


def _member_faults(name: str, infos: list[zipfile.ZipInfo]) -> Iterable[Fault]:
    """What is wrong with members before one of them is read."""
    if len(infos) > MOST_MEMBERS:
        yield Fault(
            name, "", f"holds {len(infos)} files, {MOST_MEMBERS} at most are unpacked", "check that it is a pack"
        )
        return
    total = sum(info.file_size for info in infos)
    if total > MOST_BYTES:
        wrong = f"comes to {total / 1e9:.1f} GB unpacked, {MOST_BYTES / 1e9:g} GB at most are"
        yield Fault(name, "", wrong, "check that it is a pack")
    seen: set[str] = set()
    folders = {str(above).casefold() for info in infos for above in PurePosixPath(info.filename).parents}
    for info in infos:
        # What the reader made of a name, and the name as it stands in the file: some systems' separators are turned.
        wrong = member_problem(info.orig_filename)
        if not wrong and stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFREG):
            wrong = "is no regular file"
        if not wrong and info.flag_bits & 0x1:
            wrong = "is encrypted"
        if not wrong and info.compress_type not in _COMPRESSIONS:
            wrong = "is compressed in a way that packs are not"
        if not wrong and info.filename.casefold() in seen | folders:
            wrong = "stands twice"
        seen.add(info.filename.casefold())
        if wrong:
            yield Fault(name, "", f"has a member that {wrong}", "do not use it: ask for the pack again", info.filename)


def _take(opened: zipfile.ZipFile, info: zipfile.ZipInfo, home: Path) -> str:
    """Write a member to its place; its SHA-256."""
    target = home.joinpath(*info.filename.split("/"))
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, left = hashlib.sha256(), info.file_size
    try:
        with opened.open(info) as source, target.open("xb") as written:
            while chunk := source.read(_CHUNK):
                left -= len(chunk)
                if left < 0:
                    raise zipfile.BadZipFile("more than it declares")
                digest.update(chunk)
                written.write(chunk)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        wrong = f"is damaged ({error})"
        raise FileFaults([Fault(f"{opened.filename}/{info.filename}", "", wrong, _AGAIN)]) from None
    return digest.hexdigest()


def _listed_faults(name: str, listing: PackFile, hashes: dict[str, str]) -> Iterable[Fault]:
    """Members that are missing, are not listed, or hold something else than what the listing says."""
    listed = {file.member: file for file in listing.files}
    for member in sorted(listed.keys() | hashes.keys() - {LISTING}):
        place = f"{name}/{member}"
        if member not in hashes:
            yield Fault(place, "", f"is missing, though {LISTING} lists it", _AGAIN)
        elif member not in listed:
            yield Fault(place, "", f"is not listed in {LISTING}", "do not use it: ask for the pack again")
        elif hashes[member] != listed[member].sha256:
            wrong = f"was changed after it was packed (SHA-256 {hashes[member][:12]}…, packed as "
            wrong += f"{listed[member].sha256[:12]}…)"
            yield Fault(place, "", wrong, "ask whoever changed it to pack it anew")
