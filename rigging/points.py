"""Loads of venue points, summed over all picks, bridles and pull-backs that share them."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang
from rigging.lifting import PickLine
from rigging.site import Point, Site
from rigging.statics import G
from rigging.strength import NO_FACTOR, only_exceeds
from rigging.suspension import EYEBOLT, stepped_share

Array = npt.NDArray[np.float64]

_MOST_SUBSETS = 10  # of more users the worst one's angle is taken for the load of all


@dataclass(frozen=True)
class PointLoad:
    """What one user puts on a point, or would, where none is named.

    `force_n` (3,): with the dynamic factor once, at rest where that is not known; None where not known at all. `why`:
    what is left out of it; empty where nothing is.
    """

    point: str
    user: str
    force_n: Array | None
    why: str = ""

    def also_open(self, why: str) -> PointLoad:
        """The same load with one more reason why not all of it is known; itself where there is none."""
        return dataclasses.replace(self, why="; ".join(part for part in (self.why, why) if part)) if why else self

    @property
    def size_kg(self) -> float | None:
        """Its size. [kg]"""
        return None if self.force_n is None else float(np.linalg.norm(self.force_n)) / G


def pick_point_loads(hang: Hang, lines: Sequence[PickLine]) -> Iterator[PointLoad]:
    """Loads that the picks of a hang put on venue points; the legs of a bridle add their own weight."""
    for line in lines:
        user = f"{hang.name}, {line.name}"
        named = [leg.point for leg in line.pick.leg] or [line.pick.point or ""]
        why, factor = line.roof_gap, line.factor or 1.0
        if line.factor is None:
            why = f"{why}; {NO_FACTOR}" if why else NO_FACTOR
        if line.leg_loads is not None:
            why = "; ".join(part for part in (why, line.leg_loads.gap) if part)
            pulls = line.leg_loads.pulls_n(factor)
            yield from (PointLoad(point, user, pull, why) for point, pull in zip(named, pulls, strict=True))
        elif line.pick.leg:
            why = line.legs_problem or why or "the bridle's points are not known"
            yield from (PointLoad(point, user, None, why) for point in named)
        elif not np.isfinite(line.least_roof_kg):
            yield PointLoad(named[0], user, None, why or "the load of the pick is not known: it would push")
        else:
            force = G * np.array([*np.nan_to_num(line.aside_kg), -line.roof_plumb_kg])
            yield PointLoad(named[0], user, force * factor, why)


def greatest_of_each(cases: Sequence[Sequence[PointLoad]]) -> list[PointLoad]:
    """Of the same loads in several cases the greatest of each; one that is not known counts as greater than any."""

    def size(load: PointLoad) -> float:
        return np.inf if load.size_kg is None else load.size_kg

    return [max(each, key=size) for each in zip(*cases, strict=True)]


def point_findings(loads: Sequence[PointLoad], site: Site | None, *, alone: bool = False) -> Iterator[Finding]:
    """Every point's load against its limit: what pulls down or what pulls up, and all that pulls sideways.

    Pulls of several users are added up, never set against each other: one may hang before the other. `alone`: no
    other hang was named, which the notes say.
    """
    for load in loads:
        if site is None or not load.point:
            unnamed = load.why if load.force_n is None and not load.point else "the hang file names no point for it"
            why = "no venue file was given" if site is None else unnamed
            yield unjudged(load.user, "load at the roof", load.size_kg, "kg", why, load.why if why != load.why else "")
    points = {point.name: point for point in site.point} if site else {}
    for name in sorted({load.point for load in loads} & points.keys()):
        assert site is not None
        yield _point_finding(points[name], [load for load in loads if load.point == name], site, alone)


def _point_finding(point: Point, loads: Sequence[PointLoad], site: Site, alone: bool) -> Finding:
    part, what = f"point {point.name}", "load on the point"
    known = [load for load in loads if load.force_n is not None]
    up, total = _sums(known)[1], _pull(known)[0] if known else None
    note = f"carries {' and '.join(load.user for load in loads)}{'; no other load was named' if alone else ''}"
    gaps = dict.fromkeys(load.why for load in loads if load.why)
    if up > 0:
        gaps[f"it is pulled up with {up / G:.1f} kg: whether its limit holds for that is not known"] = None
    gap = "; ".join(gaps)
    if point.limit_kg is None or total is None:
        why = "the venue file gives no limit" if point.limit_kg is None else gap
        return unjudged(part, what, total, "kg", why, note)
    source = f"venue file {site.name}"
    if point.eyebolt:
        return only_exceeds(_on_eyebolt(part, what, point.limit_kg, source, known, note), gap)
    return only_exceeds(judged(part, what, total, point.limit_kg, "kg", source, note), gap)


def _on_eyebolt(part: str, what: str, limit_kg: float, source: str, loads: Sequence[PointLoad], note: str) -> Finding:
    """The load on an eyebolt with a vertical shank: of all users that may hang at a time those that use most of it."""

    def share(angle_deg: float) -> float:
        return stepped_share(angle_deg, EYEBOLT) or 0.0

    def used(case: tuple[float, float]) -> float:
        return case[0] / share(case[1]) if share(case[1]) else np.inf if case[0] else 0.0

    total, angle = max(_cases(loads), key=lambda case: (used(case), case[0]))
    words = f"eyebolt × {share(angle):g} at {angle:.1f}° from its shank (handbook table)"
    if not share(angle):
        words = f"eyebolt, no load beyond {EYEBOLT[-1][0]:g}° from its shank, it is at {angle:.1f}° (handbook table)"
    return judged(part, what, total, limit_kg * share(angle), "kg", f"{source}, {words}", note)


def _cases(loads: Sequence[PointLoad]) -> Iterator[tuple[float, float]]:
    """Load [kg] and angle from plumb [deg] of all users that may hang at a time."""
    if len(loads) > _MOST_SUBSETS:  # never more than this
        yield _pull(loads)[0], max(_pull([load])[1] for load in loads)
        return
    for count in range(1, len(loads) + 1):
        yield from (_pull(some) for some in combinations(loads, count))


def _pull(loads: Sequence[PointLoad]) -> tuple[float, float]:
    down, up, aside = _sums(loads)
    plumb = max(down, up)
    return float(np.hypot(plumb, aside)) / G, float(np.degrees(np.arctan2(aside, plumb)))


def _sums(loads: Sequence[PointLoad]) -> tuple[float, float, float]:
    """Sums of what pulls down, of what pulls up, and of the sizes of what pulls sideways. [N]"""
    forces = np.array([load.force_n for load in loads if load.force_n is not None]).reshape(-1, 3)
    down, up = np.maximum(-forces[:, 2], 0.0).sum(), np.maximum(forces[:, 2], 0.0).sum()
    return float(down), float(up), float(np.hypot(forces[:, 0], forces[:, 1]).sum())
