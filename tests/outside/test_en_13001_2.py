"""EN 13001-2, Crane safety, part 2: dynamic factor φ2 = φ2,min + β2 v by hoisting class."""

import numpy as np
import pytest

from rigging.equipment import load_catalogue
from rigging.policy import hoisting_factor
from rigging.suspension import hoist_factor
from rigging.tackle import Hoist


# m/min, three decimals; from the class's values from memory, exact.
@pytest.mark.parametrize(("m_per_min", "factor"), [(4, 1.123), (8, 1.145), (16, 1.191)])
def test_class_2(m_per_min, factor):
    np.testing.assert_allclose(hoisting_factor("HC2", m_per_min / 60.0), factor, rtol=0, atol=5.1e-4)
    hoist = load_catalogue().items["hoist-1t"]
    assert isinstance(hoist, Hoist)
    assert hoist.hoisting_class == "HC2"
    faster = hoist.model_copy(update={"speed_m_per_min": float(m_per_min)})
    np.testing.assert_allclose(hoist_factor(faster, None), factor, rtol=0, atol=5.1e-4)
    assert hoist_factor(faster, 1.25) == 1.25  # the policy's factor stands in its place, not on top of it


# φ2,min and φ2 at 1 m/s: value from memory.
@pytest.mark.parametrize(
    ("name", "least", "at_1"), [("HC1", 1.05, 1.22), ("HC2", 1.10, 1.44), ("HC3", 1.15, 1.66), ("HC4", 1.20, 1.88)]
)
def test_classes(name, least, at_1):
    np.testing.assert_allclose([hoisting_factor(name, 0.0), hoisting_factor(name, 1.0)], [least, at_1], rtol=1e-12)


def test_unknown_stays_unknown():
    hoist = load_catalogue().items["hoist-1t"]
    assert isinstance(hoist, Hoist)
    assert hoist_factor(None, None) is None
    assert hoist_factor(hoist.model_copy(update={"hoisting_class": None}), None) is None
    assert hoist_factor(hoist.model_copy(update={"speed_m_per_min": None}), None) is None
    with pytest.raises(ValueError, match="HC5 is none of HC1"):
        hoisting_factor("HC5", 0.1)
