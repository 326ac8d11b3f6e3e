"""The even-level law: r (1 + κ r) = A r^{2β} along a curved source, κ = dφ/ds.

Exact, from the stationary phase of a curved line, |∫| = √(λ/(r(1 + κr))); the same aim as Gölles & Zotter, Acta
Acustica 7:52 (2023). The second way integrates the differential equation of the curve with scipy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from acoustics.search.warm import Profile, curve

TRIM, EARS, LENGTH = 9.0, 1.2, 4.2  # [m]
FLOOR = Profile(np.linspace(1.0, 70.0, 3000), np.full(3000, EARS))
TOP, BOTTOM = -np.arctan2(TRIM - EARS, 50.0), -np.arctan2(TRIM - EARS, 11.0)  # aims of the ends [rad]


def integrated(strength: float, beta: float, at) -> np.ndarray:
    """x, z and aim along the curve that starts at the top: r is where the aim meets the ears' plane, in closed form."""

    def slopes(s, state):
        _, z, aim = state
        r = (z - EARS) / np.sin(-aim)
        return [np.sin(aim), -np.cos(aim), -(strength * r ** (2 * beta - 1) - 1.0) / r]

    found = solve_ivp(slopes, (0.0, LENGTH), [0.0, TRIM, TOP], t_eval=at, rtol=1e-10, atol=1e-12)
    return found.y


@pytest.mark.parametrize("beta", [0.0, 0.25, 0.5])
def test_the_curve_tends_to_the_differential_equation(beta):
    # Rows that are short: the last one begins one pitch above the end.
    off = []
    for rows in (60, 240):
        pitch = LENGTH / rows
        at = np.arange(rows) * pitch
        wished = brentq(lambda a, at=at: integrated(a, beta, at)[2, -1] - BOTTOM, 50.0 ** (1 - 2 * beta), 9e3)
        exact = integrated(wished, beta, at)[2]
        found = curve(FLOOR, TRIM, [pitch] * rows, (TOP, BOTTOM), beta)
        assert found[[0, -1]] == pytest.approx([TOP, BOTTOM], rel=0, abs=1e-5)
        off.append(np.abs(np.degrees(found - exact)).max())
    # First order in the pitch: a quarter of it leaves a quarter of the error.
    assert off[1] < 0.2  # of some 27° in all
    assert off[1] == pytest.approx(off[0] / 4.0, rel=0.3, abs=0)


@pytest.mark.parametrize("beta", [0.0, 0.25, 0.5])
def test_the_law_holds_along_the_curve(beta):
    rows = 600
    pitch = LENGTH / rows
    aims = curve(FLOOR, TRIM, [pitch] * rows, (TOP, BOTTOM), beta)
    height = TRIM - np.concatenate([[0.0], np.cumsum(pitch * np.cos(aims))[:-1]])
    r = (height - EARS) / np.sin(-aims)
    bend = -np.gradient(aims, pitch)
    strength = r * (1.0 + bend * r) / r ** (2.0 * beta)
    inside = strength[5:-5]
    # A is one number, but for the pitch of 7 mm (first order in it); distances go from 50 m to some 10 m, so no other
    # power of them would do.
    assert inside == pytest.approx(np.full_like(inside, np.median(inside)), rel=0.02, abs=0)
    assert r.max() / r.min() > 4.0


def test_even_level_bends_more_at_the_foot_than_three_decibels_does():
    aims = {beta: curve(FLOOR, TRIM, [0.05] * 84, (TOP, BOTTOM), beta) for beta in (0.0, 0.5)}
    joints = {beta: -np.diff(found) for beta, found in aims.items()}
    # Exact: κ = (A/r − 1)/r against (A − 1)/r, so from top to foot it grows with r^−2 against r^−1.
    assert joints[0.0][-1] / joints[0.0][0] > 2.0 * joints[0.5][-1] / joints[0.5][0]
    assert (joints[0.5] > 0).all()
