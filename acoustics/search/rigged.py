"""Whether a column may hang, and from which holes and arm: by the rigging's own findings."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import SPLAYS, TILT, TRIM
from rigging.check import judge
from rigging.column import column_of
from rigging.equipment import Catalogue, PickArm
from rigging.faults import FileFaults
from rigging.findings import EXCEEDS, Finding
from rigging.hang import Hang
from rigging.lifting import hole_in_venue, off_plumb_deg
from rigging.loads import PickHole, all_holes, natural_tilt, pairs, pick_holes, reachable, with_arms
from rigging.picks import Pick
from rigging.policy import Policy
from rigging.site import Site

Array = npt.NDArray[np.float64]

_MOST = 10.0  # times a limit; beyond it more makes no difference to a search


@dataclass(frozen=True)
class Rigging:
    """What a column is judged by.

    `points`: those that picks may be moved to, none where they stay. `front_first`: the first pick of the file is the
    one in front.
    """

    catalogue: Catalogue
    policy: Policy
    site: Site
    others: tuple[Hang, ...] = ()
    points: tuple[str, ...] = ()
    front_first: bool = True

    def fitted(self, hang: Hang) -> tuple[Hang, float]:
        """The hang with the picks it needs, and by how much it exceeds limits: 0 where a way of hanging it passes.

        The picks of its file come first. Where these do not do, other holes are tried: of the frame and the arm that
        the file names, then with each arm that the frame takes, then of the bare frame.
        """
        tried = [(option, self.excess(option)) for option in [hang]]
        for option in self._others(hang) if tried[0][1] > 0 else ():
            tried.append((option, self.excess(option)))
            if tried[-1][1] == 0:
                break
        return min(tried, key=lambda one: one[1])

    def own_tilt(self, hang: Hang) -> float | None:
        """The tilt at which one pick alone lets the column hang [deg]: from its hole, or that nearest to the tilt.

        None where the tilt is the picks' to set.
        """
        if len(hang.picks) != 1 or hang.pullback is not None:
            return None
        column, tilt = column_of(hang), float(np.radians(hang.tilt_deg))
        holes = all_holes(hang) if hang.picks[0].point is not None else pick_holes(hang)
        return float(np.degrees(min((natural_tilt(column, hole) for hole in holes), key=lambda own: abs(own - tilt))))

    def excess(self, hang: Hang) -> float:
        """How far beyond its limits a hang is: the sum of what all findings exceed by, in shares of their limits.

        Of a hang whose picks do not reach its tilt that alone is told, in degrees: no other figure of it holds.
        """
        try:
            off = self._off_reach(hang)
            if off > 0:
                return _MOST + off
            findings = judge(hang, self.catalogue, self.policy, self.site, self.others).findings
        except FileFaults:  # a bridle whose apex is no longer above the hole
            return np.inf
        return sum(_beyond(found) for found in findings if found.status == EXCEEDS)

    def _off_reach(self, hang: Hang) -> float:
        """Degrees by which a hang's tilt lies beyond what its picks can hold, or one pick alone hangs off it."""
        if not hang.picks or hang.pullback is not None:
            return 0.0
        column, tilt = column_of(hang), float(np.radians(hang.tilt_deg))
        reach = reachable(hang, column, self.policy.least_pick_share)
        if reach is not None:
            return float(np.degrees(max(reach[0] - tilt, tilt - reach[1], 0.0)))
        off = float(np.degrees(abs(natural_tilt(column, pick_holes(hang)[0]) - tilt)))
        return max(off - self.policy.tilt_tolerance_deg, 0.0)

    def _others(self, hang: Hang) -> Iterator[Hang]:
        if hang.pullback is not None or any(pick.point is None for pick in hang.picks):
            return  # a bridle or a pull-back stay where the file has them
        arms = [item for item in self.catalogue.items.values() if isinstance(item, PickArm)]
        bare = dataclasses.replace(hang, arm=None)
        # An arm that no pick hangs from would only be ballast.
        fitted = [self._best(option, on_arm=True) for option in with_arms(bare, arms)]
        yield from (option for option in (self._best(hang), *fitted, self._best(bare)) if option is not None)

    def _best(self, hang: Hang, *, on_arm: bool = False) -> Hang | None:
        """A hang from the holes that hold its tilt: with chains nearest to plumb, of these with the best balance."""
        tilt = float(np.radians(hang.tilt_deg))
        if len(hang.picks) == 1:
            column = column_of(hang)
            holes = [hole for hole in all_holes(hang) if not on_arm or hole.name.startswith("arm")]
            near = min(holes, key=lambda hole: abs(natural_tilt(column, hole) - tilt))
            return dataclasses.replace(hang, picks=self._picks(hang, (near,)))
        if len(hang.picks) != 2:
            return None
        held = pairs(hang, tilt, self.policy.least_pick_share)
        options = [dataclasses.replace(hang, picks=self._picks(hang, (pair.front, pair.rear))) for pair in held]
        options = [option for option in options if not on_arm or any(pick.on == "arm" for pick in option.picks)]
        return min(options, key=self._out_of_plumb, default=None)

    def _out_of_plumb(self, hang: Hang) -> float:
        """Degrees by which chains are farther out of plumb than the policy allows, all picks together."""
        places = {point.name: np.array(point.position_m) for point in self.site.point}
        beyond = 0.0
        for pick, hole in zip(hang.picks, pick_holes(hang), strict=True):
            off = off_plumb_deg(places[str(pick.point)], hole_in_venue(hang, hole, float(np.radians(hang.tilt_deg))))
            beyond += max(off - self.policy.plumb_deg, 0.0)
        return round(beyond, 6)

    def _picks(self, hang: Hang, holes: tuple[PickHole, ...]) -> tuple[Pick, ...]:
        """The file's picks in other holes, those in front before; at the nearest points where these may be chosen."""
        order = range(len(holes)) if self.front_first else range(len(holes))[::-1]
        picks: list[Pick] = list(hang.picks)
        taken: set[str] = set()
        for index, hole in zip(order, holes, strict=True):
            on, _, name = hole.name.partition(" hole ")
            update: dict[str, object] = {"on": on, "hole": name}
            free = [point for point in self.site.point if point.name in self.points and point.name not in taken]
            if free:
                place = hole_in_venue(hang, hole, float(np.radians(hang.tilt_deg)))
                update["point"] = min(free, key=lambda p: float(np.hypot(*(np.array(p.position_m) - place)[:2]))).name
            picks[index] = picks[index].model_copy(update=update)
            taken.add(str(picks[index].point))
        return tuple(picks)


def in_front_first(hang: Hang) -> bool:
    """Whether a hang's first pick is its front one."""
    places = [float(hole.place[0]) for hole in pick_holes(hang)]
    return not places or places[0] == max(places)


def at_column(hang: Hang, column: Array) -> Hang:
    """A hang at another trim, tilt and splays."""
    x, y, _ = hang.position_m
    splays = tuple(float(splay) for splay in column[SPLAYS:])
    return dataclasses.replace(
        hang, position_m=(x, y, float(column[TRIM])), tilt_deg=float(column[TILT]), splays_deg=splays
    )


def _beyond(found: Finding) -> float:
    if found.used is not None:
        return float(min(found.used, _MOST)) - 1.0
    return 1.0 + abs(found.value or 0.0) / _MOST
