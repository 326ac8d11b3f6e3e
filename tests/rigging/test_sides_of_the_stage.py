"""The side of a hang, by its y against the venue's middle."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from rigging.equipment import load_catalogue
from rigging.geometry import CENTRE_WITHIN_M, side_of
from rigging.hang import load_hang

LEFT = Path(__file__).parents[2] / "sample_venues" / "theatre" / "left.toml"


@pytest.mark.parametrize(
    ("y", "side"),
    [
        (6.5, "stage left (house right)"),
        (0.11, "stage left (house right)"),
        (0.1, "centre"),
        (0.0, "centre"),
        (-0.1, "centre"),
        (-0.11, "stage right (house left)"),
        (-6.5, "stage right (house left)"),
    ],
)
def test_side(y, side):
    """+y is stage left, the left of a performer who faces the audience (conventions)."""
    hang = load_hang(LEFT, load_catalogue())
    assert CENTRE_WITHIN_M == 0.1
    assert side_of(dataclasses.replace(hang, position_m=(0.0, y, 10.0))) == side
