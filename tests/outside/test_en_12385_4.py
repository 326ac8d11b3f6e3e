"""EN 12385-4, Steel wire ropes for general lifting: Fmin = d² Rr K / 1000, K by construction; EN 13411-3, ferrules.

The breaking forces of 6x7 fibre core, grade 1770, as API 9A lists them in Table C.1.
"""

import numpy as np
import pytest

from rigging.equipment import load_catalogue
from rigging.suspension import rope_breaking_n, rope_limit_kg
from rigging.tackle import Rope

K_6X7_FIBRE = 0.332  # published

# mm, kN, and the table's rounding in kN. Published: API 9A Table C.1.
TABLE = [(6, 21.2, 0.05), (10, 58.8, 0.05), (16, 150.0, 0.5)]


def packaged(diameter: int) -> Rope:
    rope = load_catalogue().items[f"rope-{diameter}mm"]
    assert isinstance(rope, Rope)
    return rope


@pytest.mark.parametrize(("diameter", "kn", "rounding"), TABLE)
def test_breaking_force(diameter, kn, rounding):
    found = rope_breaking_n(diameter, 1770.0, K_6X7_FIBRE) / 1000.0
    np.testing.assert_allclose(found, kn, rtol=0, atol=rounding)
    assert packaged(diameter).breaking_kn == kn


# Published: K. Then for 10 mm of grade 1770 in newtons, exact.
@pytest.mark.parametrize(("k", "newton"), [(0.330, 58410.0), (0.356, 63012.0), (0.332, 58764.0), (0.359, 63543.0)])
def test_constructions(k, newton):
    np.testing.assert_allclose(rope_breaking_n(10.0, 1770.0, k), newton, rtol=1e-12, atol=0)


# Published: a ferrule keeps 0.9. exact: 21.2, 58.8 and 150 kN × 0.9 / 5 and / 10, over g = 9.80665 m/s², to 0.1 kg.
@pytest.mark.parametrize(
    ("diameter", "factor_5", "factor_10"), [(6, 389.1, 194.6), (10, 1079.3, 539.6), (16, 2753.2, 1376.6)]
)
def test_limit_with_ferrules(diameter, factor_5, factor_10):
    rope = packaged(diameter)
    assert rope.termination == 0.9
    np.testing.assert_allclose(rope_limit_kg(rope, 5.0), factor_5, rtol=0, atol=0.051)
    np.testing.assert_allclose(rope_limit_kg(rope, 10.0), factor_10, rtol=0, atol=0.051)
    assert rope_limit_kg(rope.model_copy(update={"breaking_kn": None}), 5.0) is None
