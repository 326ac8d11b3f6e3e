"""What single frequencies say of drive and hidden rows, and which options they refuse."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

HANG = """\
format = "hang/1"
name = "one"
frame = "frame-compact"
position_m = [0.0, 0.0, 4.0]
tilt_deg = 0.0
[[column]]
enclosure = "compact"
splay_deg = 0.0
"""
VENUE = """\
format = "venue/1"
name = "v"
[[area]]
name = "stalls"
role = "audience"
ear_height_m = 0.0
outline_m = [[6.0, -4.0, 0.5], [16.0, -4.0, 0.5], [16.0, 4.0, 0.5], [6.0, 4.0, 0.5]]
"""
# Just ahead of the front, and so near that no sight line falls by more than 0.06 m before it.
WALL = """
[[area]]
name = "wall"
role = "obstacle"
outline_m = [[0.1, -30.0, 0.0], [0.1, 30.0, 0.0], [0.1, 30.0, TOP], [0.1, -30.0, TOP]]
"""


@pytest.fixture
def predict(evenhang: Any, tmp_path: Path) -> Any:
    def run(*options: object, venue: str = VENUE) -> Any:
        (tmp_path / "hang.toml").write_text(HANG)
        (tmp_path / "venue.toml").write_text(venue)
        return evenhang("predict", tmp_path / "hang.toml", tmp_path / "venue.toml", "--grid", 2, *options)

    return run


@pytest.mark.parametrize(
    ("option", "todo"),
    [
        (["--map", "A"], "leave out one of the two"),
        (["--map", "2000"], "leave out one of the two"),
        (["--programme", "pink"], "leave out one of the two"),
        (["--programme", "sloped"], "leave out one of the two"),
        (["--average-below", "0"], "leave out one of the two"),
        (["--points", "auto"], "give --points a number, or leave out --lines"),
    ],
    ids=" ".join,
)
def test_options_of_bands_are_refused(predict: Any, option: list[str], todo: str) -> None:
    run = predict("--lines", "125", *option)
    assert run.code == 2
    assert run.folder is None
    (line,) = run.err.splitlines()
    assert line.startswith("--points auto: " if "auto" in option else f"{option[0]}: ")
    assert line.endswith(f"and --lines asks for single frequencies; {todo}")


def test_every_option_of_bands_is_named_at_once(predict: Any) -> None:
    run = predict("--lines", "125", "--map", "A", "--programme", "pink", "--points", "auto", "--average-below", "3")
    assert [line.split(": ")[0] for line in run.err.splitlines()] == [
        "--map",
        "--programme",
        "--points auto",
        "--average-below",
    ]


def test_the_drive_is_told_and_there_is_no_programme(predict: Any) -> None:
    bare, louder = predict("--lines", "250,1000"), predict("--lines", "250,1000", "--drive", 3)
    np.testing.assert_allclose(louder.field["level"].values - bare.field["level"].values, 3.0, rtol=0, atol=1e-9)
    assert "levels: dB re 20 µPa at drive +3 dB; a single frequency has no programme" in louder.out
    assert louder.field.attrs["programme"] == "none"
    assert predict("--lines", "250", "--drive", 3, "--json").json["drive"] == {"drive_db": 3.0}
    for word in ("fall", "doubling", "tone", "hearing", "octave"):
        assert word not in bare.out


def test_a_position_that_a_part_of_an_enclosure_reaches_has_a_level(predict: Any) -> None:
    """A wall as high as the middle of the front hides that, but not the upper quarter, 0.08 m above it."""
    free = predict("--lines", "4000")
    wall = WALL.replace("TOP", f"{float(free.field['source_z'].values[0]):.6f}")
    one, four = (predict("--lines", "4000", "--points", count, venue=VENUE + wall).field for count in (1, 4))
    assert one["hidden"].values.all()
    assert four["hidden"].values.all()
    assert np.isnan(one["level"].values).all()
    assert (one["pressure"].values == 0.0).all()
    assert np.isfinite(four["level"].values).all()
    assert four["level"].values.max() < free.field["level"].values.max()
