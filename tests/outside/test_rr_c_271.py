"""RR-C-271 class bow shackles as quoted in public tables; design factor at least 5."""

import pytest

from rigging.equipment import load_catalogue
from rigging.tackle import Shackle


# Published, by bow diameter in inches. The same digits circulate as short tons and as tonnes: the lower, 907 kg, is
# the one to take where the unit is unknown (a short ton is 907.18474 kg, exact).
@pytest.mark.parametrize(("size", "tons"), [("3-8", 1.0), ("1-2", 2.0), ("5-8", 3.25), ("3-4", 4.75)])
def test_packaged_shackles(size, tons):
    shackle = load_catalogue().items[f"shackle-{size}"]
    assert isinstance(shackle, Shackle)
    assert shackle.limit_kg == tons * 907.0
