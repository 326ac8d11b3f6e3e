"""Reach of a pull-back's hoist, lean to the side, rated tilts of every stage, hangs beside that say nothing.

The rig is that of `judged_rig`; all by hand, in m and degrees.
"""

from __future__ import annotations

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN
from rigging.tackle import Hoist

PICK = {"hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}
HEADROOM = "headroom, hook to hook"
# A rope straight down from B to the hole at u = −0.4, v = −0.95.
PULLED = {
    "hang.pick": [PICK | {"hole": "F", "point": "A"}],
    "hang.pullback": PICK | {"point": "B"},
    "site.point.1.position_m": [-0.4, 0.0, 15.2],
}


def test_headroom_of_a_pullback(rig_finding):
    # 15.2 − (10 − 0.95) = 6.15 m from hole to point, 0.1 of it a shackle.
    assert rig_finding("pull-back", HEADROOM, PULLED).value == pytest.approx(6.05, rel=1e-9, abs=0)
    low = PULLED | {"site.point.1.position_m": [-0.4, 0.0, 9.6]}  # 0.45 m, of which a hoist needs 0.5
    assert rig_finding("pull-back", HEADROOM, low).status == EXCEEDS


@pytest.mark.parametrize(("length", "status"), [(14.82, EXCEEDS), (14.83, WITHIN)])
def test_chain_of_a_pullback(rig_finding, length, status):
    # Without the rope the column hangs over its cart at tan θ = 0.18/0.49, θ = 20.17°; its lowest edge, of u = −0.5 and
    # v = −1, is 1.11107 m below the frame reference, the hole 1.02966 m and 0.0479 m behind: 0.28141 m above the floor,
    # √(14.91859² + 0.3521²) = 14.92274 m from the point, 0.1 of it the shackle.
    assert rig_finding("pull-back", "chain out, longest", PULLED | {"hoist.chain_m": length}).status == status


def test_unnamed_hardware_takes_up_headroom_of_a_pullback(rig_finding):
    bare = PULLED | {"hang.pullback": {"hoist": "hoist", "point": "B", "top_hardware": []}}
    assert rig_finding("pull-back", HEADROOM, bare).status == CANNOT


@pytest.mark.parametrize(("tolerance", "status"), [(0.374, EXCEEDS), (0.375, WITHIN)])
def test_lean_to_the_side(rig_finding, tolerance, status):
    # Of 100 kg 80 lie 4 mm off: the centre of mass is 3.2 mm off and 0.49 m below the picks, 0.37418°.
    aside = {"box.centre_of_mass_m": [-0.1, 0.004, -0.25], "policy.tilt_tolerance_deg": tolerance}
    assert rig_finding("frame", "lean to the side", aside).status == status


def test_an_upright_column_has_no_lean(judged_rig):
    assert not [found for found in judged_rig({}).findings if found.what == "lean to the side"]


@pytest.mark.parametrize(("lowest", "status"), [(-3.0, CANNOT), (-15.0, WITHIN)])
def test_rated_tilts_hold_over_a_cart_too(rig_finding, lowest, status):
    """Two boxes with 5° between them: the frame leans to +5° over the second cart, to 0° over the first.

    The frame is rated for tilts up to 3° or 15°, and hangs at −2° when complete.
    """
    changes = {
        "hang.tilt_deg": -2.0,
        "hang.carts": {"groups": [1, 1]},
        "hang.column": [{"enclosure": "box", "splay_deg": 0.0}, {"enclosure": "box", "splay_deg": 5.0}],
        "frame.rated.below": [{"number": 20, "mass_kg": 900.0, "tilt_deg": [-15.0, -lowest]}],
    }
    found = rig_finding("below bar", "mass below", changes)
    assert found.status == status
    assert ("rows 1–2, over the cart" in found.note) == (status == CANNOT)


def test_a_hang_beside_that_names_no_picks(judged_rig):
    keys = {"format": "hang/1", "name": "other", "frame": "bar", "position_m": [0.0, 6.0, 10.0], "tilt_deg": 0.0}
    beside = keys | {"loom": {"kg_per_m": 0.0}, "column": [{"enclosure": "box", "splay_deg": 0.0}]}
    (found,) = (f for f in judged_rig({}, [beside]).findings if f.part == "other")
    assert (found.what, found.status, found.value) == ("load at the roof", CANNOT, None)
    assert "[[pick]]" in found.note


def test_a_point_of_which_no_load_is_known_shows_none(rig_finding):
    # Three legs in one plane: how they share is not known, and nothing of it is 0.
    legs = [{"point": name, "rope": "rope", "hardware": []} for name in "ABC"]
    places = {"A": [0.0, 3.0, 15.2], "B": [0.0, -3.0, 15.2], "C": [0.0, 1.0, 15.2]}
    changes = {
        "hang.pick": [PICK | {"hole": "M", "apex_m": 13.0, "leg": legs}],
        "site.point": [{"name": name, "position_m": place, "limit_kg": 900.0} for name, place in places.items()],
        "hang.position_m": [0.2, 0.0, 10.0],
    }
    found = rig_finding("point A", "load on the point", changes)
    assert (found.value, found.status) == (None, CANNOT)


@pytest.mark.parametrize("falls", [1.5, 2.0, 0, 5, True, None])
def test_falls_are_counted(falls):
    keys = {"format": "hoist/1", "name": "h", "description": "h", "source": "typed", "mass_kg": 1.0}
    keys |= {"chain_kg_per_m": 1.0, "chain_m": 20.0, "headroom_m": 0.5}
    with pytest.raises(ValueError, match="falls"):
        Hoist.model_validate(keys | ({} if falls is None else {"falls": falls}))
