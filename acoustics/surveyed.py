"""From the laser shots of a venue file to standpoints and corners, each shot checked by all others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from acoustics import survey
from acoustics.standpoints import TIMES, Book, Rows, Sighted, check_ties, stand
from acoustics.survey import Places, Pose
from acoustics.survey_file import AreaShot, Instrument, Profile, Standpoint, Tie
from rigging.explain import Problem
from rigging.faults import NO_VALUE, Loc

Array = npt.NDArray[np.float64]

MOST_SHOTS = 500  # every corner carries its derivatives by all readings
_LEAST_WIDTH_M = 0.01
_LEAST_STEP_M = 0.01


class ShotArea(Protocol):
    """What is read of an area."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def flat_within_m(self) -> float:
        """How far corners may be off. [m]"""

    @property
    def shot(self) -> tuple[AreaShot, ...]:
        """Its shots."""


@dataclass(frozen=True)
class CheckedShot:
    """A shot of an area: how far it lies off the plane of the area, and off that of all other shots, which may be
    `limit_m`; NaN where they tell no plane. [m]"""

    name: str
    off_m: float
    off_others_m: float
    limit_m: float


@dataclass(frozen=True, eq=False)
class MeasuredArea:
    """Corners (N, 3) [m]; covariances (N, 3, 3) of these and (3, 3) of their middle [m²]; `loc`: where it was given."""

    name: str
    corners: Array
    covariance: Array
    middle_covariance: Array
    loc: Loc
    shots: tuple[CheckedShot, ...] = ()
    profile: Profile | None = None

    @property
    def corner_within_m(self) -> Array:
        """Standard uncertainty of each corner in x, y and z, (N, 3). [m]"""
        return np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))


@dataclass(frozen=True, eq=False)
class Stood:
    """Where an instrument stood (3,) [m], its zero [deg]; standard uncertainties of both, 0 where given."""

    name: str
    position_m: Array
    azimuth_deg: float
    position_within_m: Array
    azimuth_within_deg: float

    @property
    def found(self) -> bool:
        """Whether ties told some of it."""
        return bool(self.azimuth_within_deg or self.position_within_m.any())


@dataclass(frozen=True, eq=False)
class Survey:
    """What all shots of a file come to; `tie_off_m`: greatest distance of each tie's shots from their place. [m]"""

    instrument: Instrument
    shots: int
    standpoints: tuple[Stood, ...]
    tie_off_m: tuple[float, ...]
    areas: tuple[MeasuredArea, ...]

    @property
    def greatest_residual(self) -> tuple[float, str]:
        """Greatest distance of a shot from the plane of its area, and which; 0 and nothing where none was checked."""
        found = [
            (abs(one.off_m), f"{one.name} of {area.name}")
            for area in self.areas
            for one in area.shots
            if not np.isnan(one.off_others_m)
        ]
        return max(found, default=(0.0, ""))

    @property
    def unchecked(self) -> tuple[str, ...]:
        """Areas that hold a shot which no other checks."""
        loose = [a.name for a in self.areas if not a.shots or any(np.isnan(one.off_others_m) for one in a.shots)]
        return tuple(loose)

    @property
    def corner_within_m(self) -> float:
        """Greatest standard uncertainty of a corner along x, y or z. [m]"""
        return max(float(area.corner_within_m.max()) for area in self.areas)


def survey_of(
    instrument: Instrument,
    standpoints: Sequence[Standpoint],
    ties: Sequence[Tie],
    areas: Sequence[ShotArea],
    profiles: Sequence[Profile],
    steepest_deg: float,
) -> tuple[Survey | None, list[Problem]]:
    """Standpoints, planes and corners of all areas that have shots, and of all profiles.

    `steepest_deg`: corners of areas that are no steeper keep their place in plan. Of what is at fault all is told,
    and there is no survey.
    """
    shots = sum(len(tie.shot) for tie in ties) + sum(len(area.shot) for area in areas)
    shots += sum(len(profile.row) for profile in profiles)
    if shots > MOST_SHOTS:
        problem: Problem = ((), f"has {shots} laser shots", f"give {MOST_SHOTS} at most, corners first", NO_VALUE)
        return None, [problem]
    book = Book(instrument)
    of_ties = [[book.shot(one) for one in tie.shot] for tie in ties]
    of_areas = [[book.shot(one) for one in area.shot] for area in areas]
    of_profiles = [
        (book.azimuth(one.azimuth_deg), [(book.distance(r.distance_m), book.angle(r.vertical_deg)) for r in one.row])
        for one in profiles
    ]
    sighted = Sighted(np.array(book.values), np.array(book.sigma), {})
    problems = list(stand(sighted, standpoints, ties, of_ties))
    if problems:
        return None, problems
    off, problems = check_ties(sighted, ties, of_ties)
    found: list[MeasuredArea] = []
    for index, (area, rows) in enumerate(zip(areas, of_areas, strict=True)):
        if area.shot:
            one = _area(sighted, ("area", index), area, rows, steepest_deg)
            found += [one] if isinstance(one, MeasuredArea) else []
            problems += [] if isinstance(one, MeasuredArea) else [one]
    for index, (profile, (azimuth, pairs)) in enumerate(zip(profiles, of_profiles, strict=True)):
        made, wrong = _profile(sighted, ("profile", index), profile, azimuth, pairs)
        found += made
        problems += wrong
    if problems:
        return None, problems
    stood = tuple(_stood(name, pose, sighted.sigma) for name, pose in sighted.poses.items())
    return Survey(instrument, shots, stood, off, tuple(found)), []


def _area(sighted: Sighted, loc: Loc, area: ShotArea, rows: Rows, steepest_deg: float) -> MeasuredArea | Problem:
    places = sighted.places(area.shot, rows)
    plane = survey.fit_plane(places)
    largest = float(np.sqrt(np.linalg.eigvalsh(places.covariance(sighted.sigma)).max()))
    if plane.width <= max(TIMES * largest, _LEAST_WIDTH_M):
        wrong = f"lies on one line: its shots are {plane.width:.3f} m off it (RMS), which tells no plane"
        return (*loc, "shot"), wrong, "shoot corners on both sides", NO_VALUE
    off, _ = survey.off_plane(plane, places)
    others, others_by = survey.off_others(places)
    within = np.sqrt(np.square(others_by * sighted.sigma).sum(axis=1))
    limit = np.maximum(TIMES * within, area.flat_within_m)
    if (np.abs(others) > limit).any():
        return _outlier(loc, area, others, within, limit)
    corners = survey.on_plane(plane, places, np.radians(steepest_deg)).some([one.corner for one in area.shot])
    checked = tuple(
        CheckedShot(_said(one, index), float(off[index]), float(others[index]), float(limit[index]))
        for index, one in enumerate(area.shot)
    )
    return _measured(area.name, corners, sighted.sigma, loc, checked)


def _outlier(loc: Loc, area: ShotArea, others: Array, within: Array, limit: Array) -> Problem:
    """The shot that the others contradict most; of four each is as far off as any."""
    beyond = np.abs(others) > limit
    worst = int(np.argmax(np.where(beyond, np.abs(others) / np.maximum(within, 1e-6), -1.0)))
    shown = f"{abs(others[worst]):.3f} m off the plane of the others, and {limit[worst]:.3f} m is allowed"
    judged = f" ({TIMES:g} standard uncertainties, and not less than flat_within_m)"
    if len(others) == 4:
        wrong = f"has four shots that lie on no plane: {_said(area.shot[worst], worst)} lies {shown}{judged}"
        todo = "which one is wrong four do not tell: shoot them again, or a place inside as well (corner = false); "
        return (*loc, "shot"), wrong, todo + "or split the area, or set flat_within_m", NO_VALUE
    wrong = f"{'' if area.shot[worst].name is None else f'({area.shot[worst].name}) '}lies {shown}{judged}"
    todo = "shoot it again or leave it out; where it is right, split the area, or set flat_within_m"
    return (*loc, "shot", worst), wrong, todo, NO_VALUE


def _profile(
    sighted: Sighted, loc: Loc, profile: Profile, azimuth: int, pairs: Sequence[tuple[int, int]]
) -> tuple[list[MeasuredArea], list[Problem]]:
    local = sighted.local([(distance, vertical, azimuth) for distance, vertical in pairs])
    out = np.hypot(local.at[:, 0], local.at[:, 1])
    problems: list[Problem] = []
    for index, step in enumerate(np.diff(out), start=1):
        if step < _LEAST_STEP_M:
            wrong = f"lies {out[index]:.2f} m out, no farther than the row before ({out[index - 1]:.2f} m)"
            todo = "list rows outwards; a step goes into step_m of the row at its foot"
            problems.append(((*loc, "row", index), wrong, todo, NO_VALUE))
    given = [index for index, row in enumerate(profile.row) if row.sides_m is not None]
    sides = np.array([profile.row[index].sides_m for index in given])
    left, right = (np.interp(out, out[given], sides[:, side]) for side in (0, 1))
    for thin in np.flatnonzero(left + right < _LEAST_STEP_M):
        problems.append(((*loc, "row", int(thin)), "has no width", "give what is wider than nothing", NO_VALUE))
    if problems:
        return [], problems
    pose = sighted.poses[profile.standpoint]
    places = survey.placed(pose, local)
    step_up = np.array([row.step_m for row in profile.row])

    def edge(side: Array, up: Array) -> Places:
        return survey.beside(pose, sighted.readings, azimuth, places, side, up)

    level = np.zeros_like(step_up)
    behind, before = (edge(left, step_up), edge(-right, step_up)), (edge(left, level), edge(-right, level))
    found: list[MeasuredArea] = []
    many = len(profile.row) > 2
    for first in range(len(profile.row) - 1):
        four = [(behind[0], first), (behind[1], first), (before[1], first + 1), (before[0], first + 1)]
        corners = Places(np.array([p.at[i] for p, i in four]), np.array([p.by[i] for p, i in four]))
        name = f"{profile.name} {first + 1}" if many else profile.name
        found.append(_measured(name, corners, sighted.sigma, loc, (), profile))
        if profile.mirrored:
            y = corners.at[:, 1]
            if y.min() < 0.0 < y.max():
                wrong = "cannot be mirrored about y = 0: the areas reach across it"
                return [], [((*loc, "mirrored"), wrong, "remove mirrored, or give less width", True)]
            flip = np.array([1.0, -1.0, 1.0])
            other = Places(corners.at * flip, corners.by * flip[:, np.newaxis])
            found.append(_measured(f"{name} mirrored", other, sighted.sigma, loc, (), profile))
    return found, []


def _measured(
    name: str, corners: Places, sigma: Array, loc: Loc, shots: tuple[CheckedShot, ...], profile: Profile | None = None
) -> MeasuredArea:
    middle = Places(corners.at.mean(axis=0, keepdims=True), corners.by.mean(axis=0, keepdims=True))
    spread, middle_spread = corners.covariance(sigma), middle.covariance(sigma)[0]
    return MeasuredArea(name, corners.at, spread, middle_spread, loc, shots, profile)


def _stood(name: str, pose: Pose, sigma: Array) -> Stood:
    within = np.sqrt(np.square(pose.at_by * sigma).sum(axis=1))
    turn = float(np.degrees(np.sqrt(np.square(pose.azimuth_by * sigma).sum())))
    return Stood(name, pose.at, float(np.degrees(pose.azimuth)), within, turn)


def _said(one: AreaShot, index: int) -> str:
    return f"shot {index + 1}" if one.name is None else f"shot {index + 1} ({one.name})"
