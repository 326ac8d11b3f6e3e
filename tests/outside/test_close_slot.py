"""A slot near by, as some points, against a line element by quadrature: (1/H) ∫ e^{−jkR}/R dz over its height H.

One point on the axis at r = H²/(2λ) is 0.98 dB too loud, at twice that 0.24, at four times 0.06 (calc: quadrature,
rounded to 0.01 dB; for H many wavelengths, 7.7 and 9.3 here). c = 343.2 m/s.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import line_pressure
from acoustics.radiators import Radiator
from acoustics.sources import split

C = 343.2


@pytest.fixture
def as_points(same_sources: Any, still_air: Any) -> Callable[..., Any]:
    """Pressure of a slot of 1 Pa at 1 m at places (P, 3), summed over so many points, (P,)."""

    def pressure(height: float, hz: float, count: int, place: Any) -> Any:
        slot = Radiator("slot", 0.0, height, ((0.0, 0.0, 0.0),), coverage_deg=90.0)
        extent = (-height / 2.0, height / 2.0)
        kind = Directivity("slot", (slot,), 0.3, -20.0, np.full(29, PASCAL_DB), C, extent_m=extent)
        sources, owner = split(same_sources([0.0, 0.0, 0.0], directivity=kind), count)
        assert len(sources.kind) == count
        assert not owner.any()
        return line_pressure(sources, np.atleast_2d(np.asarray(place, dtype=float)), hz, still_air)[0]

    return pressure


def element(height: float, hz: float, place: Any) -> complex:
    """The line element by adaptive quadrature."""
    x, _, up = place
    k = 2.0 * np.pi * hz / C

    def part(z: float, turn: Any) -> float:
        apart = np.hypot(x, up - z)
        return float(turn(k * apart) / apart)

    real, imaginary = (
        quad(part, -height / 2.0, height / 2.0, args=(turn,), epsabs=1e-12, epsrel=1e-10, limit=400)[0]
        for turn in (np.cos, np.sin)
    )
    return complex(real, -imaginary) / height


def db(ratio: Any) -> Any:
    return 20.0 * np.log10(np.abs(ratio))


@pytest.mark.parametrize(("height", "hz"), [(0.33, 8000.0), (0.2, 16000.0)])
@pytest.mark.parametrize(("times", "error_db"), [(1.0, 0.98), (2.0, 0.24), (4.0, 0.06)])
def test_one_point_on_the_axis(as_points: Any, height: float, hz: float, times: float, error_db: float) -> None:
    place = (times * height**2 * hz / (2.0 * C), 0.0, 0.0)
    found = as_points(height, hz, 1, place)[0]
    assert db(found * place[0]) == pytest.approx(0.0, abs=1e-9)
    assert db(found / element(height, hz, place)) == pytest.approx(error_db, rel=0, abs=0.005)


@pytest.mark.parametrize("times", [1.0, 2.0, 4.0])
def test_the_error_falls_with_the_number_of_points(as_points: Any, times: float) -> None:
    """Each of s parts has a border of its own, s² times nearer: the phase it leaves out falls as 1/s².

    So does the error of complex pressure, once it is small; by 3 at least for each doubling, to 1.5 % at eight.
    """
    height, hz = 0.33, 8000.0
    place = (times * height**2 * hz / (2.0 * C), 0.0, 0.0)
    exact = element(height, hz, place)
    error = [abs(as_points(height, hz, count, place)[0] / exact - 1.0) for count in (1, 2, 4, 8)]
    assert error[0] > 0.15 / times
    assert all(finer < coarse / 3.0 for coarse, finer in pairwise(error))
    assert error[3] < 0.015


@pytest.mark.parametrize("hz", [2000.0, 8000.0])
def test_eight_points_beside_the_axis(as_points: Any, hz: float) -> None:
    """In the vertical plane, up to 50° off the axis, at 1.5 m: within 1 % of the far field's pressure on the axis.

    Eight parts of 41 mm leave out k h²/(8r) < 0.021 rad at their ends, a third of that in the mean.
    """
    turn = np.radians(np.arange(-50.0, 51.0, 5.0))
    place = 1.5 * np.column_stack([np.cos(turn), np.zeros_like(turn), np.sin(turn)])
    exact = np.array([element(0.33, hz, at) for at in place])
    error = [np.max(np.abs(as_points(0.33, hz, count, place) - exact)) * 1.5 for count in (1, 8)]
    assert error[1] < 0.01
    assert error[1] < error[0] / 20.0
