"""What an answer is worth as built: splays, tilt, trim and air a little off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import SPLAYS, TILT, TRIM, Columns
from acoustics.sources import medium
from acoustics.venue import Air

Array = npt.NDArray[np.float64]

# Errors as built, uniform to both sides (common practice, no source).
SPLAY_DEG, TILT_DEG, TRIM_M, AIR_K = 0.25, 0.5, 0.1, 10.0
SAMPLES = 200
_AIRS = (-1.0, -0.5, 0.0, 0.5, 1.0)  # of AIR_K


@dataclass(frozen=True)
class Tolerance:
    """J of a column as built: median, 90th percentile and worst of a seeded sample."""

    median: float
    p90: float
    worst: float
    samples: int


def errors(count: int, parts: int, seed: int) -> Array:
    """Errors of columns, (count, parts): trim [m], tilt and splays [deg]."""
    random = np.random.default_rng(seed)
    found = random.uniform(-1.0, 1.0, (count, parts))
    found[:, TRIM] *= TRIM_M
    found[:, TILT] *= TILT_DEG
    found[:, SPLAYS:] *= SPLAY_DEG
    return found


def tolerance(airs: Sequence[Columns], column: Array, samples: int = SAMPLES, seed: int = 0) -> Tolerance:
    """J of a column in a seeded sample of errors, shared out over columns in some airs, (see `in_airs`)."""
    off = errors(samples, len(column), seed)
    j = np.concatenate([each.scores(column + off[index :: len(airs)]).j for index, each in enumerate(airs)])
    return Tolerance(float(np.median(j)), float(np.quantile(j, 0.9)), float(j.max()), len(j))


def in_airs(columns: Columns, air: Air) -> list[Columns]:
    """The same columns in air up to `AIR_K` colder and warmer.

    Speed and absorption follow; a speed of sound that a venue file gives stays.
    """
    shifted = [air.temperature_c + share * AIR_K for share in _AIRS]
    return [columns.in_medium(medium(air.model_copy(update={"temperature_c": degrees}))) for degrees in shifted]
