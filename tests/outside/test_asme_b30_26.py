"""ASME B30.26, Rigging hardware, as quoted in public material: shackles under side load, legs that meet in one."""

from importlib import resources

import pytest

from rigging.policy import load_policy
from rigging.suspension import SHACKLE_SIDE, stepped_share


# Published, as quoted: 70 % at 45° from the line, 50 % at 90°; between them the lower one.
@pytest.mark.parametrize(("degrees", "share"), [(0, 1.0), (1, 0.7), (45, 0.7), (46, 0.5), (90, 0.5), (91, None)])
def test_side_load(degrees, share):
    assert stepped_share(degrees, SHACKLE_SIDE) == share


@pytest.mark.parametrize("policy", ["over_people", "no_people"])
def test_included_angle(policy):
    """Published, as quoted: two legs meet in a shackle at no more than 120°."""
    packaged = str(resources.files("rigging") / "policies" / f"{policy}.toml")
    assert load_policy(packaged).included_angle_deg == 120.0
