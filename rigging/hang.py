"""A hang with its equipment looked up, read as it hangs or as another file's mirror image."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from rigging.drive import Filter
from rigging.equipment import Adapter, Catalogue, Enclosure, Equipment, Frame, Item, PickArm
from rigging.faults import NO_VALUE, Fault, FileFaults, closest, key_path, nearest
from rigging.files import Document, parse, read, validate
from rigging.fit import equipment_faults
from rigging.hang_file import Group, HangFile, MirrorFile, Row
from rigging.picks import ArmUse, Carts, Loom, Pick, PullBack, Use

E = TypeVar("E", bound=Equipment)


@dataclass(frozen=True)
class Drive:
    """What the drive signal of a row goes through: gain [dB], delay [s], polarity, filters; or nothing."""

    gain_db: float = 0.0
    delay_s: float = 0.0
    inverted: bool = False
    filters: tuple[Filter, ...] = ()
    muted: bool = False


@dataclass(frozen=True)
class Hang:
    """A hang with its equipment looked up; rows from the top down, angles in degrees, lengths in metres."""

    name: str
    frame: Frame
    items: tuple[Item, ...]
    splays_deg: tuple[float, ...]
    fixed: tuple[bool, ...]  # splays that a search keeps
    position_m: tuple[float, float, float]
    azimuth_deg: float
    tilt_deg: float
    serves: tuple[str, ...] | None
    serves_file: str  # where `serves` stands
    drive: tuple[Drive, ...]  # of each row
    groups: tuple[tuple[int, ...], ...]  # rows, from 0, that share a drive signal
    standing: bool
    arm: tuple[PickArm, ArmUse] | None
    picks: tuple[Pick, ...]
    pullback: PullBack | None
    loom: Loom | None
    carts: Carts
    floor_below_m: float | None
    side: float  # +1, or −1 for a mirror image: its holes are those on the other side of the frame
    document: Document
    design: Document  # the file that `mirror_of` names; its own where it is no mirror image
    inputs: Mapping[str, Any]  # all that the hang was read from, equipment included; not where it lies

    @property
    def enclosure_rows(self) -> tuple[int, ...]:
        """Indices of the rows that are enclosures."""
        return tuple(i for i, item in enumerate(self.items) if isinstance(item, Enclosure))

    @property
    def mass_kg(self) -> float:
        """Mass of frame, pick arm, enclosures and adapters; no cables, nothing above the frame. [kg]"""
        arm = self.arm[0].mass_kg if self.arm else 0.0
        return self.frame.mass_kg + arm + sum(item.mass_kg for item in self.items)


def muted(hang: Hang, rows: Sequence[int]) -> Hang:
    """A hang with rows, counted from 1, whose drive is silent; its masses stay.

    Raises
    ------
    FileFaults
        If it has no such row, or an adapter there.
    """
    own = [row + 1 for row in hang.enclosure_rows]
    faults = [
        Fault("--mute", "", f"is no row of {hang.name} that sounds", f"its rows are {own[0]} to {own[-1]}", row)
        for row in rows
        if row not in own
    ]
    if faults:
        raise FileFaults(faults)
    if not rows:
        return hang
    drive = tuple(dataclasses.replace(one, muted=one.muted or row + 1 in rows) for row, one in enumerate(hang.drive))
    return dataclasses.replace(hang, drive=drive, inputs={**hang.inputs, "muted": sorted(set(rows))})


def load_hang(path: str | Path, catalogue: Catalogue, texts: Mapping[Path, str] = MappingProxyType({})) -> Hang:
    """Read a hang file, or the mirror image that it asks for, and look up its equipment.

    `texts`, by resolved path, stand in place of what files hold.

    Raises
    ------
    FileFaults
        With all faults of the file, those against the equipment included.
    """
    document = _read(path, texts)
    if not _is_mirror(document):
        return _resolve(document, catalogue)
    mirror = _read_mirror(document)
    target = document.path.parent / mirror.mirror_of
    try:
        design = _read(target, texts)
    except FileFaults as error:
        wrong = f"names a file that cannot be used: {error.faults[0]}"
        todo = "name the design's file, from the folder of this one"
        raise FileFaults([document.fault(("mirror_of",), wrong, todo)]) from None
    if "mirror_of" in design.data:
        wrong, todo = "names a file that is a mirror image itself", "name the design that it mirrors"
        raise FileFaults([document.fault(("mirror_of",), wrong, todo, mirror.mirror_of)])
    hang = _resolve(design, catalogue)
    named = [point for _, point in points_of(hang)]
    faults = document.faults(
        (("points", point), "is no venue point that the design names", nearest(point, named), NO_VALUE)
        for point in mirror.points
        if point not in named
    )
    mirrored = _mirrored(hang, mirror, document)
    for pick in mirrored.picks:
        points = [leg.point for leg in pick.leg]
        for point in {point for point in points if points.count(point) > 1}:
            wrong = f"leads two legs of one bridle to the point {point}"
            faults.append(document.fault(("points",), wrong, "name a point for each leg"))
    if faults:
        raise FileFaults(faults)
    return mirrored


def _read(path: str | Path, texts: Mapping[Path, str]) -> Document:
    text = texts.get(Path(os.path.realpath(path))) if texts else None
    return read(path, "hang/1") if text is None else parse(text, str(path), "hang/1")


def hang_from(text: str, file: str, catalogue: Catalogue) -> Hang:
    """A hang from the text of a design's file that would stand at `file`.

    Raises
    ------
    FileFaults
        With all faults of the text.
    """
    return _resolve(parse(text, file, "hang/1"), catalogue)


def points_of(hang: Hang) -> list[tuple[str, str]]:
    """Key path and name of every venue point that a hang names."""
    named = [(f"pick[{i + 1}].point", pick.point) for i, pick in enumerate(hang.picks) if pick.point]
    for i, pick in enumerate(hang.picks):
        named += [(f"pick[{i + 1}].leg[{k + 1}].point", leg.point) for k, leg in enumerate(pick.leg)]
    if hang.pullback is not None and hang.pullback.point is not None:
        named.append(("pullback.point", hang.pullback.point))
    return named


def file_faults(path: str | Path) -> list[Fault]:
    """Faults of a hang file by itself, for when its equipment cannot be looked up."""
    try:
        document = read(path, "hang/1")
        if _is_mirror(document):
            _read_mirror(document)
        else:
            validate(document, HangFile)
    except FileFaults as error:
        return list(error.faults)
    return []


def _is_mirror(document: Document) -> bool:
    """Whether a file is a mirror image, or was meant to be one."""
    likely = any(closest(key, ["mirror_of"]) for key in document.data) and "column" not in document.data
    return likely or "mirror_of" in document.data


def _read_mirror(document: Document) -> MirrorFile:
    """A mirror file; a key that only a design has is told apart from one that nobody knows."""
    try:
        return validate(document, MirrorFile)
    except FileFaults as error:
        todo = "remove it: a mirror image takes it from its design"
        of_design = HangFile.model_fields.keys() - MirrorFile.model_fields.keys()
        raise FileFaults(
            dataclasses.replace(fault, todo=todo) if fault.key in of_design else fault for fault in error.faults
        ) from None


def _mirrored(hang: Hang, mirror: MirrorFile, document: Document) -> Hang:
    x, y, z = hang.position_m
    return dataclasses.replace(
        hang,
        name=mirror.name,
        position_m=(x, 2 * mirror.mirror_y_m - y, z),
        azimuth_deg=0.0 - hang.azimuth_deg,
        serves=hang.serves if mirror.serves is None else mirror.serves,
        serves_file=hang.serves_file if mirror.serves is None else document.file,
        picks=tuple(_mirrored_pick(pick, mirror.points) for pick in hang.picks),
        pullback=_mirrored_pullback(hang.pullback, mirror),
        loom=hang.loom and hang.loom.model_copy(update={"y_m": -hang.loom.y_m}),
        side=-hang.side,
        document=document,
        inputs={**hang.inputs, "mirror": {k: v for k, v in document.data.items() if k != "mirror_of"}},
    )


def _mirrored_pick(pick: Pick, points: Mapping[str, str]) -> Pick:
    """The same pick from the other side's points."""
    legs = tuple(leg.model_copy(update={"point": points.get(leg.point, leg.point)}) for leg in pick.leg)
    return pick.model_copy(update={"point": pick.point and points.get(pick.point, pick.point), "leg": legs})


def _mirrored_pullback(pullback: PullBack | None, mirror: MirrorFile) -> PullBack | None:
    if pullback is None:
        return None
    to = pullback.to_m and (pullback.to_m[0], 2 * mirror.mirror_y_m - pullback.to_m[1], pullback.to_m[2])
    point = pullback.point and mirror.points.get(pullback.point, pullback.point)
    return pullback.model_copy(update={"to_m": to, "point": point})


def _resolve(document: Document, catalogue: Catalogue) -> Hang:
    faults: list[Fault] = []
    hang: HangFile | None = None
    try:
        hang = validate(document, HangFile)
    except FileFaults as error:
        faults.extend(error.faults)
    said = {fault.key for fault in faults}
    faults += document.faults(
        problem for problem in equipment_faults(document.data, catalogue) if key_path(problem[0]) not in said
    )
    if faults or hang is None:
        raise FileFaults(faults)
    items = tuple(_item(row, catalogue) for row in hang.column)
    arm = (_known(catalogue, hang.arm.type, PickArm), hang.arm) if hang.arm else None
    return Hang(
        name=hang.name,
        frame=_known(catalogue, hang.frame, Frame),
        items=items,
        splays_deg=tuple(row.splay_deg for row in hang.column),
        fixed=tuple(row.fixed for row in hang.column),
        position_m=hang.position_m,
        azimuth_deg=hang.azimuth_deg,
        tilt_deg=hang.tilt_deg,
        serves=hang.serves,
        serves_file=document.file,
        drive=_drive(hang.group, len(items)),
        groups=tuple(tuple(row - 1 for row in group.rows) for group in hang.group),
        standing=hang.standing,
        arm=arm,
        picks=hang.pick,
        pullback=hang.pullback,
        loom=hang.loom,
        carts=hang.carts,
        floor_below_m=hang.floor_below_m,
        side=1.0,
        document=document,
        design=document,
        inputs={"hang": _hung(document.data), "equipment": {n: catalogue.content(n) for n in _names(hang)}},
    )


def _hung(data: Mapping[str, Any]) -> dict[str, Any]:
    """What hangs, without what a search is told."""
    column = [{key: value for key, value in row.items() if key != "fixed"} for row in data["column"]]
    return {**{key: value for key, value in data.items() if key != "search"}, "column": column}


def _names(hang: HangFile) -> list[str]:
    """All equipment that a hang file names, sorted."""
    names = {hang.frame, *(row.enclosure or row.adapter for row in hang.column), hang.arm and hang.arm.type}
    uses: list[Use] = []
    for pick in hang.pick:
        names |= {pick.hoist, *(leg.rope or leg.sling for leg in pick.leg)}
        uses += [*(pick.hardware or ()), *(pick.top_hardware or ())]
        uses += [use for leg in pick.leg for use in leg.hardware or ()]
    if hang.pullback is not None:
        names.add(hang.pullback.hoist)
        uses += [*(hang.pullback.hardware or ()), *(hang.pullback.top_hardware or ())]
    names |= {use.type for use in uses}
    return sorted(name for name in names if name)


def _known(catalogue: Catalogue, name: str, kind: type[E]) -> E:
    item = catalogue.items[name]
    assert isinstance(item, kind)  # what is unknown was refused before
    return item


def _item(row: Row, catalogue: Catalogue) -> Item:
    if row.adapter is not None:
        return _known(catalogue, row.adapter, Adapter)
    return _known(catalogue, row.enclosure or "", Enclosure)


def _drive(groups: Sequence[Group], count: int) -> tuple[Drive, ...]:
    drive = [Drive()] * count
    for group in groups:
        for row in group.rows:
            drive[row - 1] = Drive(group.gain_db, group.delay_ms / 1000.0, group.inverted, group.filter)
    return tuple(drive)
