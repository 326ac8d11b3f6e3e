"""Where a search starts: the even-level law, rounded to the splays that the joints allow.

A source element at arc length s that aims φ at distance r gives a level that falls by 6 β dB with each doubling of
distance if κ = dφ/ds = (A r^{2β−1} − 1)/r: asked of a line source so that r (1 + κ r) = A r^{2β} (references: exact;
same aim as Gölles & Zotter, Acta Acustica 7:52, 2023). It ignores air absorption: a start, not an answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from acoustics.search.columns import SPLAYS, TILT, TRIM, Choice, Space

Array = npt.NDArray[np.float64]

# How far the ends of a column aim beyond the last seats and before the first ones. [deg]
BEYOND_DEG = (0.0, 0.5, 1.0, 2.0, 3.0)
BEFORE_DEG = (0.0, 2.0, 5.0, 10.0, -2.0)
_LEAST_M = 0.5


@dataclass(frozen=True)
class Profile:
    """Ears in the section: distance along the aim from the column's pivot and height (P,). [m]"""

    along: Array
    height: Array

    def seen(self, x: float, z: float) -> tuple[Array, Array]:
        """Elevations [rad], rising, and distances [m] of the ears from a place on the column."""
        elevation = np.arctan2(self.height - z, np.maximum(self.along - x, _LEAST_M))
        order = np.argsort(elevation)
        return elevation[order], np.hypot(self.along - x, self.height - z)[order]


def curve(profile: Profile, trim_m: float, pitches_m: Sequence[float], ends: tuple[float, float], beta: float) -> Array:
    """Aims of the rows of a column by the law, from the top down, (N,). [rad]

    Parameters
    ----------
    profile : Profile
    trim_m : float
        Height of the top. [m]
    pitches_m : sequence of float
        From each row's pivot to the next one's, (N,). [m]
    ends : tuple of float
        Aim of the first row and wished aim of the last. [rad]
    beta : float
        0 for an even level, ½ for 3 dB with each doubling of distance.
    """
    first, last = ends

    def aims(strength: float) -> Array:
        x, z, aim, found = 0.0, trim_m, first, []
        for pitch in pitches_m:
            found.append(aim)
            elevation, distance = profile.seen(x, z)
            r = float(np.interp(aim, elevation, distance))
            x, z = x + pitch * np.sin(aim), z - pitch * np.cos(aim)
            aim -= max(0.0, (strength * r ** (2 * beta - 1) - 1.0) / r) * pitch
        return np.array(found)

    _, distance = profile.seen(0.0, trim_m)
    high = 4.0 * float(distance.max()) ** (1 - 2 * beta) * (1.0 + 10.0 / max(sum(pitches_m), 0.1))
    if len(pitches_m) < 2 or aims(high)[-1] > last:
        return aims(high)
    if aims(0.0)[-1] <= last:
        return aims(0.0)
    return aims(float(brentq(lambda strength: aims(strength)[-1] - last, 0.0, high, xtol=1e-6)))


def rounded(aims: Array, trim_m: float, space: Space) -> Choice:
    """The choice whose aims follow given ones, each joint making up for what those above are off. (2 + N,)"""
    wished = np.degrees(aims)
    first = np.array(space.splays_deg[0])
    tilts = np.array(space.tilts_deg)
    choice = np.zeros(len(space.counts), dtype=np.intp)
    choice[TRIM] = int(np.argmin(np.abs(np.array(space.trims_m) - trim_m)))
    choice[TILT] = int(np.argmin(np.abs(tilts - (wished[0] + first[0]))))
    aim = float(tilts[choice[TILT]])
    for row, values in enumerate(space.splays_deg):
        allowed = np.array(values)
        choice[SPLAYS + row] = int(np.argmin(np.abs(aim - allowed - wished[row])))
        aim -= float(allowed[choice[SPLAYS + row]])
    return choice


def starts(profile: Profile, pitches_m: Sequence[float], space: Space, beta: float, trim_m: float) -> list[Choice]:
    """Choices by the law; the first aims from the last seat to the first one, at the trim nearest to a given one."""
    found: list[Choice] = []
    trims = sorted(space.trims_m, key=lambda trim: abs(trim - trim_m))
    nearest = trims[0]
    for trim in trims:
        elevation, _ = profile.seen(0.0, trim)
        top, bottom = float(elevation.max()), float(elevation.min())
        # At other trims than the first some few tell whether they are worth it.
        for beyond, before in product(BEYOND_DEG, BEFORE_DEG if trim == nearest else BEFORE_DEG[:1]):
            ends = top + np.radians(beyond), bottom + np.radians(before)
            found.append(rounded(curve(profile, trim, pitches_m, ends, beta), trim, space))
    unique = {choice.tobytes(): choice for choice in found}
    return list(unique.values())
