"""What the same objective reaches with splays of any size: a reference for an answer, not a bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from acoustics.search.columns import SPLAYS, TILT, TRIM, Choice, Columns
from acoustics.search.warm import rounded

Array = npt.NDArray[np.float64]

_STEP_DEG = 0.02
ROUNDS = 60
_QUICK = 15  # rounds after which little is won that outlasts the rounding


@dataclass(frozen=True)
class Reference:
    """Where a local optimisation from a column ended: J, the column itself, evaluations."""

    j: float
    column: Array
    work: float


def reference(columns: Columns, start: Array, rounds: int = ROUNDS) -> Reference:
    """Minimise J over tilt, trim and splays of any size between the least and the greatest allowed.

    L-BFGS-B (scipy) with differences; it ends in the optimum nearest to where it starts, and another may be better.
    """
    began, space = columns.work, columns.space
    listed = (space.trims_m, space.tilts_deg, *space.splays_deg)
    low, high = np.array([min(one) for one in listed]), np.array([max(one) for one in listed])
    free = np.flatnonzero(high > low)

    def both(values: Array) -> tuple[float, Array]:
        column = start.copy()
        column[free] = values
        columns.settle(column)
        # Inside the bounds, towards whichever end is farther.
        steps = np.where(high[free] - values > values - low[free], _STEP_DEG, -_STEP_DEG)
        trials = np.repeat(column[np.newaxis], len(free) + 1, axis=0)
        trials[np.arange(1, len(trials)), free] += steps
        j = columns.scores(trials).j
        return float(j[0]), (j[1:] - j[0]) / steps

    found = minimize(
        both, start[free], jac=True, method="L-BFGS-B", bounds=list(zip(low[free], high[free], strict=True)),
        options={"maxiter": rounds},
    )  # fmt: skip
    column = start.copy()
    column[free] = found.x
    return Reference(float(found.fun), column, columns.work - began)


def relaxed(columns: Columns, start: Choice) -> Choice:
    """The choice nearest in its aims to where splays of any size lead from a start, each joint making up for the last.

    A descent over allowed steps ends in a worse place more often when it begins at the start itself.
    """
    column = reference(columns, columns.space.values(start), _QUICK).column
    aims = np.radians(column[TILT] - np.cumsum(column[SPLAYS:]))
    return rounded(aims, float(column[TRIM]), columns.space)
