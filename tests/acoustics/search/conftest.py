"""Searches over short columns of the sample hangs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from acoustics.search import seats
from acoustics.search.problem import Problem, pose
from acoustics.search.settings import wanted_of
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue
from rigging.hang import hang_from

CATALOGUE = load_catalogue()


@pytest.fixture
def short(sample_venues: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Problem]:
    """The search for the first rows of a sample's main hang, on some hundred places.

    `fixed`: rows whose splay is kept; `splays`: of all rows; `search`: the `[search]` table.
    """
    monkeypatch.setattr(seats, "PLACES", 100)

    def make(venue: str, count: int, splays: Any = None, fixed: Any = (0,), **search: Any) -> Problem:
        file = tomlkit.parse((sample_venues / venue / "left.toml").read_text())
        del file["column"][count:]
        file.pop("carts", None)
        for index, row in enumerate(file["column"]):
            if splays is not None:
                row["splay_deg"] = splays[index]
            row["fixed"] = index in fixed
        file["search"] = search
        hang = hang_from(tomlkit.dumps(file), f"{venue}.toml", CATALOGUE)
        return pose(hang, load_venue(sample_venues / venue / "venue.toml")[0], CATALOGUE, wanted_of(hang))

    return make
