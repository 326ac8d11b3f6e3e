"""The figures that columns are compared by: how even, how loud, how low, and what the rigging's findings say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from acoustics.search.objective import Goal, Seats, score
from acoustics.search.problem import goal_of, seats_at
from acoustics.search.seats import Wish
from acoustics.search.settings import wanted_of
from acoustics.venue import Venue
from rigging import findings
from rigging.check import Report
from rigging.findings import counts
from rigging.hang import Hang

if TYPE_CHECKING:
    import xarray as xr

COVERAGE = ("j_db", "level_a_mean_db", "level_a_p5_p95_db", "fall_per_doubling_db", "worst_seat_db")


def coverage(result: xr.Dataset, summary: dict[str, Any], hang: Hang, venue: Venue) -> dict[str, Any]:
    """The figures of `COVERAGE`, where the worst seat is, and the lowest edge; `summary` as `summarise` gives it.

    J is over all seats and without its term of level: columns are compared with each other, not with a law.
    """
    whole = summary["whole"]
    seats, goal = judged_by(result, hang, venue)
    j = score(result["level"].values[goal.band][np.newaxis], seats, goal).j[0]
    worst = whole["worst_seat"]
    return {
        "j_db": float(j),
        **{name: whole[name] for name in COVERAGE[1:4]},
        "worst_seat_db": worst["from_mean_db"] if worst else float("nan"),
        "worst_seat": worst,
        "lowest_edge_m": summary["lowest_edge_m"],
    }


def judged_by(result: xr.Dataset, hang: Hang, venue: Venue) -> tuple[Seats, Goal]:
    """Seats and bands that J is taken over, of a result's positions."""
    wanted = wanted_of(hang)
    used = np.where(np.isnan(result["level"].values).all(axis=1), np.nan, 0.0)[np.newaxis]
    wish = Wish(wanted.fall_db, wanted.fall_of_db, wanted.front_m, wanted.front_weight)
    place = np.stack([result[axis].values for axis in "xyz"], axis=-1)
    seats = seats_at(place, result["area"].values, result["seat_weight"].values, hang, venue.area, wish)
    return seats, goal_of(wanted, used)


def rigging(report: Report) -> dict[str, Any]:
    """How many findings exceed and cannot be judged, and the one that uses most of its limit."""
    found, worst = counts(report.findings), findings.weakest(report.findings)
    return {
        "exceed": found[findings.EXCEEDS],
        "cannot_be_judged": found[findings.CANNOT],
        "weakest": f"{worst.part}: {worst.what}" if worst else "",
        "used": worst.used if worst else None,
    }
