"""Which tilts are tried, and which of them is taken."""

from __future__ import annotations

import numpy as np
import pytest

from acoustics.search.correction import nearest_that, tilts_to_try


def test_tilts_go_past_both_in_steps_from_the_measured_one():
    tilts = tilts_to_try(2.0, 3.0, (-20.0, 20.0))
    # 1° apart and 2° beyond: 3° to both sides of the measured one.
    assert (tilts[0], tilts[-1], len(tilts)) == (pytest.approx(0.0, abs=1e-9), pytest.approx(6.0), 121)
    assert np.diff(tilts) == pytest.approx(np.full(120, 0.05), rel=1e-9)
    assert np.abs(tilts - 2.0).min() < 1e-9


def test_tilts_stay_within_reach():
    tilts = tilts_to_try(2.0, 3.0, (2.5, 3.2))
    assert (tilts[0], tilts[-1]) == (pytest.approx(2.5), pytest.approx(3.2))
    assert len(tilts_to_try(2.0, 3.0, (10.0, 12.0))) == 0


def test_the_nearest_that_keeps_the_limits():
    tilts, rms = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.4, 0.2, 0.1, np.inf])
    asked: list[float] = []

    def below_two(tilt: float) -> bool:
        asked.append(tilt)
        return tilt < 2.0

    assert nearest_that(below_two, tilts, rms) == 1
    assert asked == [2.0, 1.0]
    assert nearest_that(lambda _: False, tilts, rms) is None
    assert nearest_that(lambda _: True, tilts, rms) == 2
