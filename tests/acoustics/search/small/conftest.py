"""Small searches: hangs cut short, strips of the sample venues, equipment with few splays."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
import tomlkit

from acoustics.search.problem import Problem, pose
from acoustics.search.rigged import Rigging
from acoustics.search.settings import wanted_of
from acoustics.search.solve import Answer, Effort, solve
from acoustics.venue import load_venue
from rigging.equipment import Catalogue, load_catalogue
from rigging.hang import hang_from
from rigging.policy import load_policy

STEPS = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
# One slot on the axis of each, of known height and coverage; flat; all that a closed form needs.
SLOT = """
format = "enclosure/1"
name = "slot"
description = "for checks against a closed form"
source = "defined, no product"
mass_kg = 20.0
centre_of_mass_m = [-0.2, 0.0, -0.175]
width_m = 0.8
height_m = 0.35
depth_m = 0.5
front_m = 0.0
pivot = "front"
rear_hole_back_m = 0.4
rear_hole_inset_m = 0.04
top_fitting = "point"
reference_m = [0.0, 0.0, -0.175]
below = [{ fitting = "point", splays_deg = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0] }]
[acoustic]
model = "radiators"
rear_db = -20.0
level_band_hz = [200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000]
level_1m_db = [100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100]
[[acoustic.radiator]]
name = "all"
shape = "slot"
height_m = 0.33
coverage_deg = 90.0
places_m = [[0.0, 0.0, -0.175]]
"""


@pytest.fixture(scope="session")
def few_steps(catalogue, tmp_path_factory) -> Path:
    """A folder of equipment: the sample enclosures with few splays, named large-few and so on, and a slot."""
    folder = tmp_path_factory.mktemp("equipment")
    for name in ("large", "medium"):
        text = (catalogue / f"{name}.toml").read_text().replace(f'name = "{name}"', f'name = "{name}-few"', 1)
        (folder / f"{name}.toml").write_text(re.sub(r"splays_deg = \[.*\]", f"splays_deg = {STEPS}", text))
    (folder / "slot.toml").write_text(SLOT)
    return folder


@pytest.fixture(scope="session")
def all_equipment(few_steps) -> Catalogue:
    """The packaged equipment and that folder."""
    return load_catalogue([few_steps])


@pytest.fixture(scope="session")
def strip(sample_venues, tmp_path_factory) -> Callable[..., Path]:
    """File of a sample venue whose areas are narrowed to a strip on stage left: few places; without losses if still."""

    def cut(name: str, width: float = 0.12, still: bool = False) -> Path:
        path = tmp_path_factory.mktemp("strip") / "venue.toml"
        data = tomllib.loads((sample_venues / name / "venue.toml").read_text())
        for area in data["area"]:
            area["outline_m"] = [[x, 5.0 + width * y, z] for x, y, z in area["outline_m"]]
        if still:
            data["air"] = {"absorption": False, "speed_of_sound_m_s": 343.2}
        path.write_text(tomlkit.dumps(data))
        return path

    return cut


@pytest.fixture(scope="session")
def floor_venue(tmp_path_factory) -> Path:
    """A flat floor, 6 to 40 m away and 4 m wide, in air without losses at 343.2 m/s."""
    path = tmp_path_factory.mktemp("floor") / "venue.toml"
    path.write_text(
        'format = "venue/1"\nname = "floor"\n[air]\nabsorption = false\nspeed_of_sound_m_s = 343.2\n[[area]]\n'
        'name = "floor"\nrole = "audience"\near_height_m = 1.2\n'
        "outline_m = [[6.0, -2.0, 0.0], [40.0, -2.0, 0.0], [40.0, 2.0, 0.0], [6.0, 2.0, 0.0]]\n"
    )
    return path


@pytest.fixture(scope="session")
def column_text() -> Callable[..., str]:
    """Text of a hang without picks: enclosures of one type, splays from the top; rows that are fixed; more tables."""

    def text(enclosure: str, splays, position=(0.0, 0.0, 9.0), tilt=0.0, fixed=(0,), more="", azimuth=0.0) -> str:
        head = (
            f'format = "hang/1"\nname = "short"\nframe = "frame-large"\nposition_m = {[float(v) for v in position]}\n'
            f"azimuth_deg = {float(azimuth)}\ntilt_deg = {float(tilt)}\n"
        )
        rows = "".join(
            f'[[column]]\nenclosure = "{enclosure}"\nsplay_deg = {float(splay)}\n' + "fixed = true\n" * (row in fixed)
            for row, splay in enumerate(splays)
        )
        return f"{head}{rows}{more}"

    return text


@pytest.fixture(scope="session")
def posed(all_equipment) -> Callable[..., Problem]:
    """The search of a hang's text in a venue file."""

    def go(text: str, venue: Path) -> Problem:
        hang = hang_from(text, "short.toml", all_equipment)
        return pose(hang, load_venue(venue)[0], all_equipment, wanted_of(hang))

    return go


@pytest.fixture(scope="session")
def rigging(all_equipment) -> Callable[[Path], Rigging]:
    """What columns in a venue are judged by, under the packaged policy."""
    return lambda venue: Rigging(all_equipment, load_policy(), load_venue(venue)[0])


@pytest.fixture(scope="session")
def solved(posed, rigging) -> Callable[..., tuple[Problem, Answer]]:
    """A search and what came of it, from one start unless more are asked for."""

    def go(text: str, venue: Path, **effort) -> tuple[Problem, Answer]:
        problem = posed(text, venue)
        return problem, solve(problem, rigging(venue), Effort(**{"starts": 1} | effort))

    return go
