"""Quiet areas of a show: a range, and what it means for a limit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import tomlkit

FLAT = {"name": "p", "enclosure": "point", "position_m": [0.0, 0.0, 7.0], "channel": "a"}


@pytest.fixture
def ranges(tmp_path: Path, evenhang: Any) -> Any:
    """Ranges that `predict` gives for one flat point at 7 m and a house at 60 m, in air without losses."""

    def run(limits: dict[str, Any], ground: float | None, far: float = 60.0) -> dict[str, Any]:
        spot = [[far - 0.02, -0.02, 0.0], [far + 0.02, -0.02, 0.0], [far + 0.02, 0.02, 0.0], [far - 0.02, 0.02, 0.0]]
        house = {"name": "house", "role": "quiet", "ear_height_m": 3.0, "outline_m": spot} | limits
        seats = {"name": "seats", "role": "audience", "outline_m": [[5, -1, 0], [9, -1, 0], [9, 1, 0], [5, 1, 0]]}
        venue: dict[str, Any] = {"format": "venue/1", "name": "field", "area": [seats, house]}
        venue |= {"air": {"absorption": False}} | ({} if ground is None else {"ground": ground})
        (tmp_path / "venue.toml").write_text(tomlkit.dumps(venue))
        show = {"format": "show/1", "name": "night", "venue": "venue.toml", "channel": [{"name": "a"}]}
        (tmp_path / "show.toml").write_text(tomlkit.dumps(show | {"placed": [FLAT]}))
        run = evenhang("predict", tmp_path / "show.toml", "--json")
        assert run.code == 0, run.err
        found = run.json["neighbours"]
        return {row["what"]: row for row in found}

    return run


def test_over_hard_ground(ranges):
    """Hard ground adds 3 dB in every band, heights of 7 and 3 m leave no middle region at 60 m; ± 1 dB of accuracy."""
    row = ranges({}, 0.0)["level, A"]
    assert row["high_db"] - row["low_db"] == pytest.approx(3.0 + 2.0, rel=0, abs=0.02)
    octave = ranges({"limit_octave_db": {"1000": 60.0}}, 0.0)["octave 1000 Hz"]
    free = octave["low_db"] + 1.0
    assert octave["high_db"] - 1.0 - free == pytest.approx(3.0, rel=0, abs=0.02)


def test_without_a_ground_both_ends_count(ranges):
    hard, porous, both = (ranges({}, ground)["level, A"] for ground in (0.0, 1.0, None))
    assert both["high_db"] == max(hard["high_db"], porous["high_db"])
    assert both["low_db"] == min(hard["low_db"], porous["low_db"])


@pytest.mark.parametrize(("above", "status"), [(0.1, "within"), (-0.1, "cannot be judged"), (-4.9, "cannot be judged")])
def test_a_limit_inside_the_range_cannot_be_judged(ranges, above, status):
    high = ranges({}, 0.0)["level, A"]["high_db"]
    assert ranges({"limit_db": round(high + above, 3)}, 0.0)["level, A"]["status"] == status


def test_a_limit_below_the_range_is_exceeded(ranges):
    low = ranges({}, 0.0)["level, C"]["low_db"]
    assert ranges({"limit_c_db": round(low - 0.1, 3)}, 0.0)["level, C"]["status"] == "exceeds"
