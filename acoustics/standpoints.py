"""Where a levelled instrument stood: what the file gives, and what ties join to it; each tie checked by the others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from acoustics import survey
from acoustics.survey import Places, Pose
from acoustics.survey_file import Instrument, Shot, Standpoint, Tie
from rigging.explain import Problem
from rigging.faults import NO_VALUE

Array = npt.NDArray[np.float64]
Rows = Sequence[tuple[int, int, int]]

# A shot is refused beyond so many standard uncertainties of what it is judged by: by chance one in 16,000 (normal law).
TIMES = 4.0
TIE_WITHIN_M = 0.02  # and ties beyond this besides: nobody hits a mark twice to the millimetre
DIRECTION_WITHIN_DEG = 0.5  # ties that tell a direction no better are refused


@dataclass
class Book:
    """All readings of a file, (M,) [m] and [rad], with their standard uncertainties."""

    instrument: Instrument
    values: list[float] = field(default_factory=list)
    sigma: list[float] = field(default_factory=list)

    def distance(self, metres: float) -> int:
        """Its index."""
        return self._add(metres, self.instrument.distance_mm / 1000.0)

    def angle(self, degrees: float) -> int:
        """Its index."""
        return self._add(np.radians(degrees), np.radians(self.instrument.angle_deg))

    def azimuth(self, degrees: float) -> int:
        """Its index; it grows towards stage left from here on."""
        return self.angle(-degrees if self.instrument.clockwise else degrees)

    def shot(self, one: Shot) -> tuple[int, int, int]:
        """Indices of its distance, vertical angle and azimuth."""
        return self.distance(one.distance_m), self.angle(one.vertical_deg), self.azimuth(one.azimuth_deg)

    def _add(self, value: float, sigma: float) -> int:
        self.values.append(value)
        self.sigma.append(sigma)
        return len(self.values) - 1


@dataclass(frozen=True, eq=False)
class Sighted:
    """All readings with their standard uncertainties, and the standpoints that are known so far."""

    readings: Array
    sigma: Array
    poses: dict[str, Pose]

    def local(self, rows: Rows) -> Places:
        """Places of shots in the axes of their instrument."""
        return survey.polar(self.readings, np.array(rows, dtype=np.intp).reshape(-1, 3))

    def places(self, shots: Sequence[Shot], rows: Rows) -> Places:
        """Places of shots whose standpoints are known."""
        each = [
            survey.placed(self.poses[one.standpoint], self.local([row])) for one, row in zip(shots, rows, strict=True)
        ]
        return Places(np.concatenate([one.at for one in each]), np.concatenate([one.by for one in each]))

    def exact(self, position_m: Sequence[float]) -> Places:
        """One place that is known."""
        return Places(np.array([position_m], dtype=float), np.zeros((1, 3, len(self.readings))))


def stand(
    sighted: Sighted,
    standpoints: Sequence[Standpoint],
    ties: Sequence[Tie],
    rows: Sequence[Rows],
) -> Iterator[Problem]:
    """Find all standpoints: those that are given, then those that ties join to them, until no more is joined."""
    todo = dict(enumerate(standpoints))
    for index, one in list(todo.items()):
        if one.position_m is not None and one.azimuth_deg is not None:
            azimuth = float(np.radians(one.azimuth_deg))
            sighted.poses[one.name] = survey.known_pose(one.position_m, azimuth, len(sighted.readings))
            del todo[index]
    moved = True
    while moved:
        moved = False
        for index, one in list(todo.items()):
            local, there = _joined(sighted, one.name, ties, rows)
            if len(local.at) < _ties_needed(one):
                continue
            try:
                azimuth_given = None if one.azimuth_deg is None else float(np.radians(one.azimuth_deg))
                given = None if one.position_m is None else np.array(one.position_m)
                pose = survey.tied(local, there, given, one.height_m, azimuth_given)
            except ValueError:
                pose = None
            del todo[index]
            within = np.inf if pose is None else float(np.degrees(np.hypot.reduce(pose.azimuth_by * sighted.sigma)))
            if pose is None or within > DIRECTION_WITHIN_DEG:
                wrong = "is tied by places that lie too near each other to tell its direction"
                how = "" if pose is None else f" (within {within:.1f}°, and {DIRECTION_WITHIN_DEG:g}° is asked for)"
                yield ("standpoint", index), wrong + how, "tie it by places far apart in plan", NO_VALUE
                continue
            sighted.poses[one.name], moved = pose, True
    for index, one in todo.items():
        count, needed = len(_joined(sighted, one.name, ties, rows)[0].at), _ties_needed(one)
        open_keys = " and ".join(k for k in ("position_m", "azimuth_deg") if getattr(one, k) is None)
        wrong = f"is not tied to a known standpoint: {count} of the {needed} ties that it needs"
        more = "shoot places from it and from a known one, [[tie]]"
        yield ("standpoint", index), wrong, f"give {open_keys}, or {more}", one.name


def _ties_needed(one: Standpoint) -> int:
    return 2 if one.position_m is None and one.azimuth_deg is None else 1


def _joined(sighted: Sighted, name: str, ties: Sequence[Tie], rows: Sequence[Rows]) -> tuple[Places, Places]:
    """Places that were shot from a standpoint and are known otherwise: in its axes, and in the venue's."""
    mine: list[tuple[int, int, int]] = []
    there: list[Places] = []
    for tie, of_tie in zip(ties, rows, strict=True):
        own = [row for one, row in zip(tie.shot, of_tie, strict=True) if one.standpoint == name]
        others = [(one, row) for one, row in zip(tie.shot, of_tie, strict=True) if one.standpoint in sighted.poses]
        if not own or (tie.position_m is None and not others):
            continue
        if tie.position_m is not None:
            there.append(sighted.exact(tie.position_m))
        else:
            seen = sighted.places([one for one, _ in others], [row for _, row in others])
            there.append(Places(seen.at.mean(axis=0, keepdims=True), seen.by.mean(axis=0, keepdims=True)))
        mine.append(own[0])
    none = np.zeros((0, 3, len(sighted.readings)))
    return sighted.local(mine), Places(
        np.concatenate([np.zeros((0, 3)), *(one.at for one in there)]),
        np.concatenate([none, *(one.by for one in there)]),
    )


def check_ties(sighted: Sighted, ties: Sequence[Tie], rows: Sequence[Rows]) -> tuple[tuple[float, ...], list[Problem]]:
    """How far apart the shots of each tie lie, and which tie contradicts the others most, if one does."""
    off, found = [], []
    for index, (tie, of_tie) in enumerate(zip(ties, rows, strict=True)):
        seen = sighted.places(tie.shot, of_tie)
        middle = Places(seen.at.mean(axis=0, keepdims=True), seen.by.mean(axis=0, keepdims=True))
        middle = middle if tie.position_m is None else sighted.exact(tie.position_m)
        apart = np.linalg.norm(seen.at - middle.at, axis=1)
        spread = Places(seen.at, seen.by - middle.by).covariance(sighted.sigma)
        within = np.sqrt(np.trace(spread, axis1=1, axis2=2))
        limit = np.maximum(TIMES * within, TIE_WITHIN_M)
        worst = int(np.argmax(apart / limit))
        off.append(float(apart.max()))
        if apart[worst] > limit[worst]:
            place = "its position_m" if tie.position_m is not None else "the middle of where all shots put it"
            wrong = (
                f"contradicts the others: from {tie.shot[worst].standpoint} it lies {apart[worst]:.3f} m off {place}"
            )
            wrong += f", and {limit[worst]:.3f} m is allowed"
            problem = ("tie", index), wrong, "shoot it again from both, level the instrument, or leave it out", NO_VALUE
            found.append((float(apart[worst] / limit[worst]), problem))
    return tuple(off), [max(found, key=lambda one: one[0])[1]] if found else []
