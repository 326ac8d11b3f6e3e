"""The command line run in-process, for tests that look at what a user gets."""

from __future__ import annotations

import contextlib
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest
import xarray as xr

from acoustics import plots, results
from acoustics.app import cli

ROOT = Path(__file__).resolve().parents[1]
HALF_SIDE_M = 0.01  # of a tiny area

LOPSIDED_FRAME = """
format = "frame/1"
name = "frame-lopsided"
description = "for checks"
source = "defined, no product"
mass_kg = 30.0
centre_of_mass_m = [-0.2, 0.0, 0.05]
width_m = 0.9
height_m = 0.1
depth_m = 0.8
front_m = 0.13
pivot = "front"
rear_hole_back_m = 0.41
rear_hole_inset_m = 0.03
below = [{ fitting = "lopsided", splays_deg = [0.5, 1.5] }]
"""

# Two unequal rectangles, off centre in all three directions from a reference point that is off centre itself.
LOPSIDED = """
format = "enclosure/1"
name = "lopsided"
description = "for checks: nothing about it is symmetric"
source = "defined, no product"
mass_kg = 30.0
centre_of_mass_m = [-0.2, 0.0, -0.15]
width_m = 0.87
height_m = 0.31
depth_m = 0.6
front_m = 0.04
pivot = "front"
rear_hole_back_m = 0.41
rear_hole_inset_m = 0.03
top_fitting = "lopsided"
reference_m = [-0.03, 0.06, -0.12]
below = [{ fitting = "lopsided", splays_deg = [0.0, 1.0, 2.0, 3.0, 5.0, 8.0] }]

[acoustic]
model = "radiators"
rear_db = -9.0
level_band_hz = [
    125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000,
]
level_1m_db = [
    101.0, 100.5, 99.75, 99.0, 98.25, 97.5, 96.5, 97.0, 98.5, 99.5, 100.25, 102.0, 103.25, 103.0, 102.5, 101.5,
    100.0, 99.5, 99.0,
]

[[acoustic.radiator]]
name = "low"
shape = "rectangle"
width_m = 0.29
height_m = 0.17
places_m = [[0.02, 0.21, -0.2], [0.0, -0.11, -0.07]]
to_hz = 900.0

[[acoustic.radiator]]
name = "high"
shape = "rectangle"
width_m = 0.05
height_m = 0.11
places_m = [[0.04, 0.13, -0.05]]
from_hz = 900.0
"""

SMALL_HANG = """
format = "hang/1"
name = "small"
frame = "frame-lopsided"
position_m = [0.1, 0.2, 5.3]
azimuth_deg = 1.5
tilt_deg = -2.5
column = [{ enclosure = "lopsided", splay_deg = 0.5 }]
[[group]]
rows = [1]
gain_db = 1.5
delay_ms = 2.5
"""
SMALL_VENUE = """
format = "venue/1"
name = "small"
[air]
temperature_c = 20.5
relative_humidity_pct = 50.5
pressure_kpa = 101.5
speed_of_sound_m_s = 343.5
[[area]]
name = "floor"
role = "audience"
ear_height_m = 1.25
flat_within_m = 0.15
outline_m = [[5.0, -1.0, 0.0], [6.0, -1.0, 0.0], [6.0, 1.0, 0.0]]
[[point]]
name = "P1"
position_m = [0.3, 0.4, 9.5]
limit_kg = 500.5
"""


@dataclass(frozen=True)
class Run:
    """What a command did: exit code, what it printed, and the folder that it names."""

    code: int
    out: str
    err: str
    folder: Path | None

    @property
    def json(self) -> Any:
        """What it printed, read as JSON."""
        return json.loads(self.out)

    @cached_property
    def field(self) -> xr.Dataset:
        """The result in its folder; fails with the messages where there is none."""
        assert self.folder is not None, f"exit {self.code}: {self.err}"
        return results.load(self.folder / "field.nc")


def _folder(out: str) -> Path | None:
    if out.startswith("{"):
        written = json.loads(out)["folder"]
        return None if written is None else Path(written)
    named = re.search(r"^written to (.+)/: ", out, re.MULTILINE)
    return Path(named[1]) if named else None


@pytest.fixture(scope="session")
def evenhang(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Run]:
    """`evenhang("predict", hang, venue, "--grid", 4)` runs it, into a fresh folder unless `into` is given.

    Pictures take most of the time of a run: they come out empty unless `pictures` are asked for.
    """

    def run(command: str, *arguments: object, into: Path | None = None, pictures: bool = False) -> Run:
        into = into or tmp_path_factory.mktemp("out")
        out, err = io.StringIO(), io.StringIO()
        with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            if not pictures:
                patch.setattr(plots, "save_svg", lambda figure, path: path.touch())
            try:
                code = cli.main([command, *map(str, arguments), "--out", str(into)])
            except SystemExit as end:  # how argparse refuses
                code = int(end.code or 0)
        return Run(code, out.getvalue(), err.getvalue(), _folder(out.getvalue()))

    return run


@pytest.fixture(scope="session")
def sample_venues() -> Path:
    """Folder of the sample venues."""
    return ROOT / "sample_venues"


@pytest.fixture(scope="session")
def catalogue() -> Path:
    """Folder of the packaged equipment files."""
    return ROOT / "rigging" / "catalogue"


@pytest.fixture(scope="session")
def tiny_area() -> Callable[..., str]:
    """Text of an [[area]] that is heard at one place alone, given as [x, y, z] at ear height."""

    def text(name: str, place: Any, ear_height_m: float = 1.2) -> str:
        x, y, z = (float(value) for value in place)
        r, floor = HALF_SIDE_M, z - ear_height_m
        corners = [[x - r, y - r, floor], [x + r, y - r, floor], [x + r, y + r, floor], [x - r, y + r, floor]]
        return (
            f'[[area]]\nname = "{name}"\nrole = "audience"\near_height_m = {ear_height_m!r}\noutline_m = {corners!r}\n'
        )

    return text


@pytest.fixture(scope="session")
def points_hang() -> str:
    """A straight hang of twelve omnidirectional points, pitch 0.35 m, centred at the origin."""
    rows = '\n[[column]]\nenclosure = "point"\nsplay_deg = 0.0\n' * 12
    head = 'format = "hang/1"\nname = "twelve points"\nframe = "frame-large"\n'
    return f"{head}position_m = [0.0, 0.0, 2.1]\ntilt_deg = 0.0\n{rows}"


@pytest.fixture(scope="session")
def points_venue(tiny_area: Callable[..., str]) -> str:
    """A venue without absorption, heard at (30, 0, −2) m alone."""
    air = "[air]\nabsorption = false\nspeed_of_sound_m_s = 343.2\n"
    return f'format = "venue/1"\nname = "one place"\n{air}{tiny_area("place", [30.0, 0.0, -2.0])}'


@pytest.fixture(scope="session")
def lopsided() -> dict[str, str]:
    """Texts of a folder of equipment, by file: a frame, and an enclosure without any symmetry."""
    return {"frame-lopsided": LOPSIDED_FRAME, "lopsided": LOPSIDED}


@pytest.fixture(scope="session")
def small(lopsided: dict[str, str]) -> dict[str, str]:
    """Texts of a hang of one such enclosure, its venue and its equipment, by file."""
    equipment = {f"equipment/{name}": text for name, text in lopsided.items()}
    return {"hang": SMALL_HANG, "venue": SMALL_VENUE, **equipment}
