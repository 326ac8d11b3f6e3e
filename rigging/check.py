"""Collects what the rules of the other modules find about a hang; judges nothing itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rigging.arm import arm_findings
from rigging.cables import cable_findings, cable_loads
from rigging.column import column_of, joint_findings, joints_of, loom_masses, permitted_findings, side_beyond
from rigging.equipment import Catalogue, PickArm
from rigging.faults import Fault, FileFaults, nearest
from rigging.findings import Finding, worst_first, worst_of_each
from rigging.gusts import Gust, gust_joint_findings, gusts_on, lines_in
from rigging.hang import Hang, points_of
from rigging.lifting import (
    PickLine,
    drops_m,
    hole_in_venue,
    load_findings,
    pick_findings,
    pick_lines,
    share_findings,
)
from rigging.loads import best_picks, pick_holes, pullback_place
from rigging.points import PointLoad, greatest_of_each, pick_point_loads, point_findings
from rigging.policy import Policy
from rigging.pullback import pullback_findings, pullback_point_loads
from rigging.revision import design_word, revision
from rigging.site import Site
from rigging.stack import stack_beyond, stack_findings, stack_joints
from rigging.stages import Stage, build, tilt_findings
from rigging.statics import Joints
from rigging.strength import only_exceeds
from rigging.wind import unknown_wind, wind_findings

Array = npt.NDArray[np.float64]

NO_PICKS = "its file names no [[pick]]: what it puts on which points is not known"
_FORCES = ("link", "pivot", "pivot_axial", "pivot_shear")


@dataclass(frozen=True)
class Report:
    """All that a rigger checks line by line: findings worst first, load paths, joints when complete, stages."""

    hang: Hang
    site: Site | None
    policy: Policy
    design: str
    revision: str
    findings: list[Finding]
    lines: list[PickLine]
    loads: list[PointLoad]
    joints: Joints
    beyond: Array  # (N,) what a load off the middle can add to one side of a joint beyond half [N]
    stages: list[Stage]
    advice: str
    gusts: list[PointLoad]  # of this hang, the greatest of each in a gust from any way; none where no wind is judged

    @property
    def tilt_deg(self) -> float:
        """Tilt to read on the frame: of the complete column as it hangs, or that of the file of a stack. [deg]"""
        return float(np.degrees(self.stages[-1].balance.tilt)) if self.stages else self.hang.tilt_deg


def check(
    hang: Hang,
    catalogue: Catalogue,
    policy: Policy,
    site: Site | None = None,
    others: Sequence[Hang] = (),
    venue: Mapping[str, Any] | None = None,
) -> Report:
    """Judge a hang.

    Parameters
    ----------
    hang : Hang
    catalogue : Catalogue
        Equipment that its tackle is looked up in.
    policy : Policy
    site : Site, optional
        Without one, reach and roof loads cannot be judged.
    others : sequence of Hang
        Further hangs that load the same venue points.
    venue : mapping, optional
        The content of the venue file, for the words that tie sheets together.

    Raises
    ------
    FileFaults
        If a hang names points that the venue does not have, or a bridle's apex is not between points and hole.
    """
    if hang.standing:
        _refuse_unknown_points((hang, *others), site)
        return _check_stack(hang, policy, site, venue or {})
    judged = judge(hang, catalogue, policy, site, others)
    hang, last = judged.hang, judged.stages[-1]
    arms = [item for item in catalogue.items.values() if isinstance(item, PickArm)]
    return Report(
        hang=hang,
        site=site,
        policy=policy,
        design=design_word(hang, venue or {}),
        revision=_revision(hang, policy, venue or {}, others),
        findings=worst_first(worst_of_each(judged.findings)),
        lines=judged.lines,
        loads=judged.loads,
        joints=_joints(hang, last),
        beyond=_beyond(hang, last),
        stages=judged.stages,
        advice=best_picks(hang, arms, policy.least_pick_share),
        gusts=judged.gusts,
    )


@dataclass(frozen=True)
class Judged:
    """All findings of a hang, of every stage, and what they were found from."""

    hang: Hang
    findings: list[Finding]
    lines: list[PickLine]
    loads: list[PointLoad]
    stages: list[Stage]
    gusts: list[PointLoad]


def judge(
    hang: Hang, catalogue: Catalogue, policy: Policy, site: Site | None = None, others: Sequence[Hang] = ()
) -> Judged:
    """The findings of a hang from picks, as `check` has them before it sorts them.

    Raises
    ------
    FileFaults
        As `check`.
    """
    _refuse_unknown_points((hang, *others), site)
    hung = _hang_up(hang, site, policy, catalogue)
    beside = [_hang_up(other, site, policy, catalogue) for other in others if not other.standing]
    hang, last = hung.hang, hung.stages[-1]
    unsaid = [PointLoad("", each.hang.name, None, NO_PICKS) for each in beside if not each.hang.picks]
    roof = [load for each in (hung, *beside) for load in each.loads] + unsaid
    in_gusts = _together([hung, *beside])
    findings = [
        *_column_findings(hang, hung.stages, hung.lines, policy),
        *share_findings(hang, hung.stages, policy),
        *tilt_findings(hang, hung.stages, policy),
        *(finding for line in hung.lines for finding in pick_findings(line, policy, catalogue)),
        *(finding for lines in hung.blown for line in lines for finding in load_findings(line, policy, catalogue)),
        *(finding for lines in (hung.lines, *hung.blown) for finding in arm_findings(hang, lines, policy)),
        *gust_joint_findings(hang, last, hung.gusts),
        *_pullback(hung, policy, catalogue),
        *point_findings(roof, site, alone=not others),
        *(found for loads in in_gusts for found in point_findings(loads, site, alone=not others)),
        *unknown_wind(site),
        *(wind_findings(hang, site, last, policy) if site else ()),
    ]
    found = list(cable_findings(hang, findings, free=last.balance.free))
    return Judged(hang, found, hung.lines, roof, hung.stages, hung.blown_loads[-1] if hung.blown_loads else [])


def roof_loads(report: Report, catalogue: Catalogue, *, at_rest: bool = False) -> list[PointLoad]:
    """What a hang alone puts on its points, the worst stage of each pick; `at_rest`: without a dynamic factor."""
    if not report.stages:
        return []
    lines = [dataclasses.replace(line, factor=1.0) if at_rest else line for line in report.lines]
    return _point_loads(report.hang, lines, report.stages[-1], report.policy, catalogue, at_rest=at_rest)


def greatest_on(report: Report, point: str) -> float | None:
    """The greatest load that is known of a point, all hangs together: moving in still air, or in a gust. [kg]

    The finding that stands for a point may be one that cannot be judged, with less of the load known.
    """
    found = [*report.findings, *point_findings(report.loads, report.site)]
    return max((one.value for one in found if one.part == f"point {point}" and one.value is not None), default=None)


def _together(all_hung: Sequence[_HungUp]) -> list[list[PointLoad]]:
    """Loads of all hangs on points in each gust from their own four ways, and the greatest of each: what an eyebolt
    may carry depends on the angle too. Where one gust is not known it stands for all of a hang's."""
    most = max((len(each.blown_loads) for each in all_hung), default=0)
    return [
        [
            load
            for each in all_hung
            if each.blown_loads
            for load in each.blown_loads[min(case, len(each.blown_loads) - 1)]
        ]
        for case in range(most)
    ]


def _pullback(hung: _HungUp, policy: Policy, catalogue: Catalogue) -> Iterator[Finding]:
    """A pull-back's findings; what a gust does to its forces is not known."""
    wind = next((gust.problem for gust in hung.gusts if gust.problem), "")
    for found in pullback_findings(hung.hang, hung.stages, policy, catalogue):
        yield found if found.unit == "m" else only_exceeds(found, wind)


@dataclass(frozen=True)
class _HungUp:
    """A hang with its stages, load paths, and loads on points: moving in still air, and at rest in the worst gust."""

    hang: Hang
    stages: list[Stage]
    lines: list[PickLine]
    loads: list[PointLoad]
    gusts: list[Gust]
    blown: list[list[PickLine]]
    blown_loads: list[list[PointLoad]]  # of each gust, then the greatest of each load


def _hang_up(hang: Hang, site: Site | None, policy: Policy, catalogue: Catalogue) -> _HungUp:
    hang = with_pullback_place(hang, site)
    stages = build(hang, policy.least_pick_share, policy.lean_pick_share, drops_m(hang, catalogue))
    lines = pick_lines(hang, site, stages, policy, catalogue)
    gusts = gusts_on(hang, site, stages[-1], policy)
    blown = [lines_in(hang, lines, gust, site, catalogue) for gust in gusts] if site else []
    cases = [
        [load.also_open(gust.problem) for load in _point_loads(hang, each, stages[-1], policy, catalogue)]
        for gust, each in zip(gusts, blown, strict=True)
    ]
    loads = _point_loads(hang, lines, stages[-1], policy, catalogue)
    return _HungUp(hang, stages, lines, loads, gusts, blown, [*cases, greatest_of_each(cases)] if cases else [])


def _refuse_unknown_points(hangs: Sequence[Hang], site: Site | None) -> None:
    faults = [fault for each in hangs for fault in _unknown_points(each, site)]
    if faults:
        raise FileFaults(faults)


def _point_loads(
    hang: Hang,
    lines: Sequence[PickLine],
    last: Stage,
    policy: Policy,
    catalogue: Catalogue,
    *,
    at_rest: bool = False,
) -> list[PointLoad]:
    pulled = pullback_point_loads(hang, last, policy, catalogue, at_rest=at_rest)
    loads = [*pick_point_loads(hang, lines), *pulled]
    return list(cable_loads(hang, loads))


def _check_stack(hang: Hang, policy: Policy, site: Site | None, venue: Mapping[str, Any]) -> Report:
    column = column_of(hang)
    joints = stack_joints(hang, column)
    findings = list(cable_findings(hang, stack_findings(hang, column, joints, site, policy), free=False))
    return Report(
        hang=hang,
        site=site,
        policy=policy,
        design=design_word(hang, venue),
        revision=_revision(hang, policy, venue, ()),
        findings=worst_first(worst_of_each(findings)),
        lines=[],
        loads=[],
        joints=joints,
        beyond=stack_beyond(hang, column),
        stages=[],
        advice="a stack on the ground has no picks",
        gusts=[],
    )


def _revision(hang: Hang, policy: Policy, venue: Mapping[str, Any], others: Sequence[Hang]) -> str:
    inputs = {"venue": venue, "policy": policy.model_dump()}
    return revision({**hang.inputs, **inputs, "others": [dict(other.inputs) for other in others]})


def _column_findings(
    hang: Hang, stages: Sequence[Stage], lines: Sequence[PickLine], policy: Policy
) -> Iterator[Finding]:
    factors = [line.factor for line in lines] or [policy.dynamic_factor]
    known = [factor for factor in factors if factor is not None]
    factor = max(known) if len(known) == len(factors) else None
    for stage in stages:
        joints, beyond = _joints(hang, stage), _beyond(hang, stage)
        found = joint_findings(hang, joints, beyond, factor, stage.name, stage.balance.unknown)
        # A tilt that its picks cannot hold is none that the joints may be found within at.
        fails = "" if stage.balance.unknown else stage.balance.problem
        yield from (only_exceeds(each, fails) for each in found)
    for stage in reversed(stages):  # the complete column first: it is named where a stage before is no worse
        tilt, unknown = float(np.degrees(stage.balance.tilt)), stage.balance.unknown
        yield from permitted_findings(hang, loom_masses(hang), tilt, stage.rows, stage.name, unknown)


def _joints(hang: Hang, stage: Stage) -> Joints:
    """Joint forces at a stage; the pull-back acts on all joints, since it holds the bottom row.

    NaN where it is not known how the column hangs.
    """
    if stage.balance.unknown:
        drawn = joints_of(stage.column, stage.balance.tilt)
        unknown = {name: np.full_like(getattr(drawn, name), np.nan) for name in _FORCES}
        return dataclasses.replace(drawn, **unknown)
    hold = pullback_place(hang, stage.column) if np.any(stage.balance.pull) else None
    if hold is None:
        return joints_of(stage.column, stage.balance.tilt)
    return joints_of(stage.column, stage.balance.tilt, stage.balance.pull, hold)


def _beyond(hang: Hang, stage: Stage) -> Array:
    """What a load off the middle adds to one side of each joint [N]; NaN where it is not known how the column hangs."""
    beyond = side_beyond(stage.column, hang, stage.balance.tilt, stage.balance.roll)
    return np.full_like(beyond, np.nan) if stage.balance.unknown else beyond


def with_pullback_place(hang: Hang, site: Site | None) -> Hang:
    """A hang whose pull-back, where it goes to a venue point, has that point's place."""
    if hang.pullback is None or hang.pullback.point is None or site is None:
        return hang
    place = next(point.position_m for point in site.point if point.name == hang.pullback.point)
    return dataclasses.replace(hang, pullback=hang.pullback.model_copy(update={"to_m": place}))


def _unknown_points(hang: Hang, site: Site | None) -> Iterator[Fault]:
    if site is None:
        return
    places = {point.name: point.position_m for point in site.point}
    for key, point in points_of(hang):
        if point not in places:
            todo = nearest(point, places, what="points")
            yield Fault(hang.document.file, key, f"is no point of {site.name}", todo, point)
    for index, (pick, hole) in enumerate(zip(hang.picks, pick_holes(hang), strict=True)):
        if pick.apex_m is None:
            continue
        key = f"pick[{index + 1}].apex_m"
        heights = [places[leg.point][2] for leg in pick.leg if leg.point in places]
        if heights and pick.apex_m >= min(heights):
            wrong = f"is not below all of its points (the lowest is at {min(heights):g} m)"
            yield Fault(hang.document.file, key, wrong, "lower it", pick.apex_m)
        height = float(hole_in_venue(hang, hole, float(np.radians(hang.tilt_deg)))[2])
        if pick.apex_m <= height:
            wrong = f"is not above its hole (at {height:.2f} m)"
            yield Fault(hang.document.file, key, wrong, "raise it, or lower the trim", pick.apex_m)
