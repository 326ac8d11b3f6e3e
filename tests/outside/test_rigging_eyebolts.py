"""Handbook table of shoulder eyebolts: share of the rated load by angle from the shank, no more than 45°."""

import pytest

from rigging.suspension import EYEBOLT, stepped_share


# Published in handbooks. Between two lines of the table the load is not interpolated: the next line holds.
@pytest.mark.parametrize(
    ("degrees", "share"),
    [(0, 1.0), (5, 1.0), (6, 0.8), (15, 0.8), (16, 0.65), (30, 0.65), (31, 0.3), (45, 0.3), (46, None), (90, None)],
)
def test_share_by_angle(degrees, share):
    assert stepped_share(degrees, EYEBOLT) == share
