"""`evenhang check`: read, judge, print what a rigger checks line by line."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Callable
from functools import partial
from importlib import metadata, resources
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from acoustics.app import folder
from acoustics.app.check_sheet import text
from acoustics.app.sheet import plain
from acoustics.app.status import of_findings, refusing
from acoustics.app.whatif import limited
from acoustics.tour_file import Tour
from acoustics.venue import Venue, check_serves, load_venue
from rigging.cautions import CAUTIONS
from rigging.check import Report, check
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.findings import Finding, counts
from rigging.hang import Hang, file_faults, load_hang
from rigging.lifting import PickLine
from rigging.points import PointLoad
from rigging.policy import Policy, load_policy
from rigging.stages import Stage
from rigging.statics import G

T = TypeVar("T")

USUAL = "over_people"


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    if asked.out is not None:
        folder.prepare(Path(asked.out))
    report = _check(asked)
    said = text(report, imperial=asked.imperial)
    data = json.dumps(plain(as_data(report)), indent=2, ensure_ascii=False)
    written = None
    if asked.out is not None:
        files = {"check.txt": f"{said}\n", "check.json": f"{data}\n"}
        writers = {name: partial(write_text, content=content) for name, content in files.items()}
        written = folder.write(Path(asked.out), report.hang.name, report.revision, writers)
    print(data if asked.json else said)
    if written is not None and not asked.json:
        print(f"\nwritten to {written}/: check.json, check.txt")
    return of_findings(report.findings)


def write_text(path: Path, content: str) -> None:
    """Write a text file in UTF-8."""
    path.write_text(content, encoding="utf-8", newline="")


def _check(asked: argparse.Namespace) -> Report:
    catalogue, hangs, loaded, policy = read(asked)
    site, document = loaded or (None, None)
    return check(hangs[0], catalogue, policy, site, hangs[1:], document.data if document else None)


def read(asked: argparse.Namespace) -> tuple[Catalogue, list[Hang], tuple[Venue, Document] | None, Policy]:
    """What a hang is judged from, its own file first among the hangs.

    Raises
    ------
    FileFaults
        With the faults of all files.
    """
    faults: list[Fault] = []
    catalogue = kept(faults, folder.catalogue_of, asked)
    paths = (asked.hang, *asked.beside)
    hangs = [kept(faults, load_hang, path, catalogue) for path in paths] if catalogue else []
    if catalogue is None:
        faults += [fault for path in paths for fault in file_faults(path)]
    if len({os.path.realpath(path) for path in paths}) < len(paths):
        faults.append(Fault("--beside", "", "names a hang twice", "name each other hang once"))
    loaded = kept(faults, load_venue, asked.venue) if asked.venue else None
    if loaded:
        loaded = kept(faults, limited, *loaded, asked.limit)
    policy = kept(faults, policy_of, asked.policy)
    known = [hang for hang in hangs if hang is not None]
    if loaded:
        faults += [fault for hang in known for fault in check_serves(hang, loaded[0], asked.venue)]
    if faults or policy is None or catalogue is None:
        raise FileFaults(faults)
    return catalogue, known, loaded, policy


def kept(faults: list[Fault], load: Callable[..., T], *what: Any) -> T | None:
    """What a reader gives; None where its input is at fault, which is added to the faults."""
    try:
        return load(*what)
    except FileFaults as error:
        faults.extend(error.faults)
        return None


def policy_of(asked: str | None) -> Policy:
    """The policy of a file or of a packaged name; the usual one where none is asked for.

    Raises
    ------
    FileFaults
        If there is none, with its faults if it has some.
    """
    return load_policy(policy_path(asked))


def policy_path(asked: str | None) -> Path:
    """The file of a policy, given as such or as the name of a packaged one; the usual one where none is asked for.

    Raises
    ------
    FileFaults
        If there is none.
    """
    packaged = Path(str(resources.files("rigging") / "policies"))
    if asked is None:
        return packaged / f"{USUAL}.toml"
    names = sorted(path.stem for path in packaged.glob("*.toml"))
    if asked and Path(asked).exists():
        return Path(asked)
    if asked in names:
        return packaged / f"{asked}.toml"
    todo = f"give a policy file, or one of the packaged: {', '.join(names)}"
    raise FileFaults([Fault("--policy", "", "names no policy file", todo, asked)])


def policy_asked(asked: str | None, tour: Tour) -> str | None:
    """The policy that was asked for, else that of a tour, as `policy_of` takes it.

    Raises
    ------
    FileFaults
        If the tour names none that there is.
    """
    if asked is not None or tour.policy is None:
        return asked
    try:
        policy_path(tour.policy)
    except FileFaults as error:
        (fault,) = error.faults
        raise FileFaults([tour.document.fault(("policy",), fault.wrong, fault.todo, tour.file.policy)]) from None
    return tour.policy


def as_data(report: Report) -> dict[str, Any]:
    """The report for programs."""
    return {
        "hang": report.hang.name,
        "venue": report.site.name if report.site else None,
        "design": report.design,
        "revision": report.revision,
        "version": metadata.version("evenhang"),
        "counts": counts(report.findings),
        "findings": [finding_data(finding) for finding in report.findings],
        "picks": [_pick_data(line) for line in report.lines],
        "points": [_point_data(load) for load in report.loads],
        "joints": _joint_data(report),
        "stages": [_stage_data(stage) for stage in report.stages],
        "holes": report.advice,
        "policy": report.policy.model_dump(),
        "cautions": list(CAUTIONS),
    }


def finding_data(finding: Finding) -> dict[str, Any]:
    """A finding for programs."""
    fields = ("part", "what", "value", "limit", "unit", "status", "source", "note", "least", "used")
    return {field: getattr(finding, field) for field in fields}


def _pick_data(line: PickLine) -> dict[str, Any]:
    fields = (
        "name", "low_kg", "hole_kg", "hook_kg", "roof_kg", "worst_kg", "worst_stage", "worst_hook_kg",
        "worst_roof_kg", "factor", "chain_m", "longest_chain_m",
    )  # fmt: skip
    data: dict[str, Any] = {field: getattr(line, field) for field in fields}
    if line.legs is not None:
        data["legs"] = [
            {
                "point": leg.point,
                "length_m": float(length),
                "tension_kg": float(tension) / G,
                "from_horizontal_deg": float(np.degrees(angle)),
            }
            for leg, length, tension, angle in zip(
                line.pick.leg, line.legs.length, line.legs.tension, line.legs.from_horizontal, strict=True
            )
        ]
    return data


def _point_data(load: PointLoad) -> dict[str, Any]:
    force = None if load.force_n is None else [float(value) for value in load.force_n]
    return {"point": load.point, "from": load.user, "force_n": force, "why": load.why}


def _joint_data(report: Report) -> list[dict[str, Any]]:
    joints = report.joints
    return [
        {
            "joint": "frame–1" if index == 0 else f"rows {index}–{index + 1}",
            "splay_deg": splay,
            "link_n": float(joints.link[index]),
            "pivot_n": [float(value) for value in joints.pivot[index]],
            "pivot_axial_n": float(joints.pivot_axial[index]),
            "pivot_shear_n": float(joints.pivot_shear[index]),
            "beyond_half_n": float(report.beyond[index]),
            "link_m": float(joints.link_m[index]),
        }
        for index, splay in enumerate(report.hang.splays_deg)
    ]


def _stage_data(stage: Stage) -> dict[str, Any]:
    return {
        "stage": stage.name,
        "rows": stage.rows,
        "mass_kg": stage.column.mass_kg,
        "picks_kg": [float(load) / G for load in stage.balance.high],
        "tilt_deg": float(np.degrees(stage.balance.tilt)),
        "reachable_deg": None if stage.tilts is None else [float(np.degrees(tilt)) for tilt in stage.tilts],
        "lowest_elevation_deg": float(np.degrees(stage.lowest_elevation)),
        "hook_m": stage.hook_m,
        "pull_n": [float(value) for value in stage.balance.pull],
        "chain_lean_deg": float(np.degrees(stage.balance.lean)),
        "next_group": stage.engages,
    }
