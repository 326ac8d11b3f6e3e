"""Rows of omnidirectional sources and a medium without losses, for checks against closed forms."""

from collections.abc import Callable

import numpy as np
import pytest

from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.field import Medium, Sources, lossless

C = 343.2  # speed of sound of the closed forms [m/s]


@pytest.fixture
def still_air() -> Medium:
    """343.2 m/s, no absorption."""
    return Medium(C, lossless)


@pytest.fixture
def same_sources() -> Callable[..., Sources]:
    """Builder of sources of one directivity in a row, all facing +x: 1 Pa at 1 m times their gain."""

    def build(position, gain=1.0, delay=0.0, directivity=None):
        position = np.atleast_2d(np.asarray(position, dtype=float))
        count = len(position)
        omni = Directivity("point", (), 0.0, 0.0, np.full(29, PASCAL_DB), C)
        return Sources(
            position,
            np.broadcast_to(np.eye(3), (count, 3, 3)),
            np.zeros(count, dtype=np.intp),
            (directivity or omni,),
            np.broadcast_to(np.asarray(gain, dtype=float), (count,)),
            np.broadcast_to(np.asarray(delay, dtype=float), (count,)),
        )

    return build
