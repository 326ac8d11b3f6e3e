"""DGUV Information 215-313, Loads over people; and Directive 2006/42/EC, annex I, 4.1.2.5: design factors."""

from importlib import resources

import pytest

from rigging.policy import Policy, load_policy

# Published (DGUV Information 215-313): without and with people below.
FACTORS = {"wire rope": (5, 10), "textile": (7, 14), "chain": (4, 8), "shackle": (5, 10)}
# Published (2006/42/EC): working coefficients, which nothing may go below.
DIRECTIVE = {"wire rope": 5, "textile": 7, "chain": 4}


def packaged(name: str) -> Policy:
    return load_policy(str(resources.files("rigging") / "policies" / f"{name}.toml"))


def test_the_default_is_over_people():
    assert load_policy() == packaged("over_people")
    assert load_policy().over_people is True
    assert packaged("no_people").over_people is False


@pytest.mark.parametrize(("name", "people"), [("no_people", 0), ("over_people", 1)])
def test_wire_rope(name, people):
    factor = packaged(name).rope_design_factor
    assert factor == FACTORS["wire rope"][people]
    assert factor >= DIRECTIVE["wire rope"]


@pytest.mark.parametrize("part", FACTORS)
def test_half_the_marked_limit_over_people(part):
    """A limit is marked by the factor without people: over people the doubled factor leaves half of it."""
    without, over = FACTORS[part]
    assert packaged("over_people").marked_share == without / over == 0.5
    assert packaged("no_people").marked_share == 1.0
    assert without >= DIRECTIVE.get(part, 0)


@pytest.mark.parametrize("name", ["over_people", "no_people"])
def test_practice(name):
    """Common practice, no source: a tenth on each of a pair, ±0.5°, stability of a stack of 1.5."""
    policy = packaged(name)
    assert (policy.least_pick_share, policy.tilt_tolerance_deg, policy.stability) == (0.1, 0.5, 1.5)
    assert policy.dynamic_factor is None
