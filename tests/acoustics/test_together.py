"""The level of all parts alone, against the whole sum of a show."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from acoustics.charts import Kept
from acoustics.programme import PROGRAMMES
from acoustics.scene import Scene
from acoustics.show import load_show, sources_of
from acoustics.sources import medium
from acoustics.together import level_together, together
from rigging.equipment import load_catalogue

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("correlation", [0.0, 0.3, 1.0])
def test_one_level_is_that_of_the_whole_sum(correlation: float) -> None:
    catalogue = load_catalogue()
    show = load_show(ROOT / "sample_venues/meadow/show.toml", catalogue)
    through = medium(show.venue.air)
    parts = [sources_of(part, catalogue, through.c, (), PROGRAMMES["pink"]) for part in show.parts]
    channel = [show.channels.index(part.channel) for part in show.parts]
    position = np.array([[30.0, y, 1.6] for y in (-20.0, 0.0, 7.0)] + [[80.0, 11.0, 1.6]])
    areas = tuple(show.venue.area)
    whole = together(parts, channel, position, through, areas).level(correlation)
    scene = Scene(parts[0], position, through, areas, kept=Kept())
    for _ in range(2):  # with tables that are made, and with tables that are there
        found = level_together(parts, channel, scene, correlation)
        np.testing.assert_allclose(found, whole, atol=1e-3)  # kept tables: 2e-6 of the axis
