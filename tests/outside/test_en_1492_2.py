"""EN 1492-2:2000, Textile slings, part 2: roundslings, their colours and the ways to use them; coefficient 7."""

import numpy as np
import pytest

from rigging.equipment import load_catalogue
from rigging.suspension import sling_limit_kg
from rigging.tackle import Sling


def packaged(tonnes: int) -> Sling:
    sling = load_catalogue().items[f"roundsling-{tonnes}t"]
    assert isinstance(sling, Sling)
    return sling


# Published.
@pytest.mark.parametrize(("colour", "tonnes"), [("violet", 1), ("green", 2), ("yellow", 3)])
def test_colour(colour, tonnes):
    sling = packaged(tonnes)
    assert sling.limit_kg == 1000.0 * tonnes
    assert colour in sling.description
    assert colour in sling.source


# Published: mode factors.
@pytest.mark.parametrize(
    ("mode", "factor"),
    [("straight", 1.0), ("choked", 0.8), ("basket parallel", 2.0), ("basket to 45°", 1.4), ("basket 45 to 60°", 1.0)],
)
def test_mode(mode, factor):
    np.testing.assert_allclose(sling_limit_kg(packaged(2), mode), 2000.0 * factor, rtol=1e-12, atol=0)


def test_unknown_mode_and_limit():
    with pytest.raises(KeyError):
        sling_limit_kg(packaged(1), "knotted")
    assert sling_limit_kg(packaged(1).model_copy(update={"limit_kg": None})) is None
