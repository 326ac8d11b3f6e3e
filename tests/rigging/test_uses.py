"""Slings and shackles as a hang file uses them: their limits, what they take up, and uses that make no sense.

The rig of the fixtures: 82 kg on F, 83 kg below its hook with a shackle of 1 kg; the policy lets half of what is marked
be used. Factors of slings by EN 1492-2, of shackles by ASME B30.26, published; the rest is exact, by hand.
"""

from __future__ import annotations

from typing import Any

import pytest

from rigging.equipment import load_catalogue
from rigging.findings import EXCEEDS, WITHIN
from rigging.hang import load_hang

PICK_1 = "pick 1, frame hole F"


def use(**keys: Any) -> dict[str, Any]:
    return {"hang.pick.0.hardware": [keys]}


@pytest.mark.parametrize("dynamic", [1.0, 1.25])
@pytest.mark.parametrize(
    ("keys", "what", "key", "factor", "source"),
    [
        ({"type": "sling"}, "sling sling, straight", "sling", 1.0, "typed, × 0.5 (house)"),
        ({"type": "sling", "hitch": "straight"}, "sling sling, straight", "sling", 1.0, "typed, × 0.5 (house)"),
        ({"type": "sling", "hitch": "choked", "length_m": 0.4}, "sling sling, choked", "sling", 0.8,
         "× 0.8 choked (EN 1492-2)"),
        ({"type": "sling", "hitch": "basket", "length_m": 0.4, "spread_deg": 0.0},
         "sling sling, basket, legs 0° from plumb", "sling", 2.0, "× 2 basket parallel (EN 1492-2)"),
        ({"type": "sling", "hitch": "basket", "length_m": 0.4, "spread_deg": 1.0},
         "sling sling, basket, legs 1° from plumb", "sling", 1.4, "× 1.4 basket to 45° (EN 1492-2)"),
        ({"type": "sling", "hitch": "basket", "length_m": 0.4, "spread_deg": 45.0},
         "sling sling, basket, legs 45° from plumb", "sling", 1.4, "× 1.4 basket to 45° (EN 1492-2)"),
        ({"type": "sling", "hitch": "basket", "length_m": 0.4, "spread_deg": 45.5},
         "sling sling, basket, legs 45.5° from plumb", "sling", 1.0, "× 1 basket 45 to 60° (EN 1492-2)"),
        ({"type": "shackle"}, "shackle shackle, in line", "shackle", 1.0, "typed, × 0.5 (house)"),
        ({"type": "shackle", "side_deg": 0.0}, "shackle shackle, in line", "shackle", 1.0, "typed, × 0.5 (house)"),
        ({"type": "shackle", "side_deg": 1.0}, "shackle shackle, pulled 1° off its line", "shackle", 0.7, "× 0.7"),
        ({"type": "shackle", "side_deg": 45.0}, "shackle shackle, pulled 45° off its line", "shackle", 0.7, "B30.26"),
        ({"type": "shackle", "side_deg": 46.0}, "shackle shackle, pulled 46° off its line", "shackle", 0.5, "× 0.5"),
        ({"type": "shackle", "side_deg": 90.0}, "shackle shackle, pulled 90° off its line", "shackle", 0.5, "B30.26"),
    ],
)  # fmt: skip
def test_limit_in_a_use_binds(rig_finding, dynamic, keys, what, key, factor, source):
    own = 2.0 if key == "sling" else 1.0
    marked = (82.0 + own) * dynamic / (factor * 0.5)
    changes = use(**keys) | {"policy.dynamic_factor": dynamic}
    low, high = (rig_finding(PICK_1, what, changes | {f"{key}.limit_kg": marked + more}) for more in (-0.01, 0.01))
    assert low.value == pytest.approx((82.0 + own) * dynamic, rel=1e-9, abs=0)
    assert (low.status, high.status) == (EXCEEDS, WITHIN)
    assert source in low.source
    assert low.source.startswith("typed")


@pytest.mark.parametrize(
    ("hardware", "metres"),
    [
        ([], 0.0),
        (["shackle"], 0.1),
        (["sling"], 1.0),
        ([{"type": "sling", "hitch": "choked", "length_m": 0.7}, "shackle"], 0.8),
        ([{"type": "sling", "hitch": "choked", "length_ft": 2.0}], 0.6096),
        ([{"type": "sling", "hitch": "basket", "length_m": 0.3, "spread_deg": 30.0}], 0.3),
        ([{"type": "shackle", "side_deg": 30.0}], 0.1),
    ],
)
def test_what_it_takes_up_shortens_the_headroom(judged_rig, hardware, metres):
    # 5.1 m from hole to point; below the hook or above the hoist.
    for changes in (
        {"hang.pick.0.hardware": hardware},
        {"hang.pick.0.hardware": [], "hang.pick.0.top_hardware": hardware},
    ):
        assert judged_rig(changes).lines[0].chain_m == pytest.approx(5.1 - metres, rel=1e-9, abs=0)
    # With two boxes on a cart of 0.2 m the hook is in the hole, at 1.3 m.
    above = judged_rig({"hang.pick.0.hardware": [], "hang.pick.0.top_hardware": hardware})
    assert above.lines[0].longest_chain_m == pytest.approx(15.2 - 1.3 - metres, rel=1e-9, abs=0)


HANG = """\
format = "hang/1"
name = "main"
frame = "frame-large"
position_m = [0.0, 6.0, 11.0]
tilt_deg = -2.0
[[pick]]
hole = "2"
point = "P1"
KEY = [ENTRY] # HERE
[[column]]
enclosure = "medium"
splay_deg = 0.0
"""
BRIDLED = HANG.replace('point = "P1"\nKEY = [ENTRY] # HERE\n', "apex_m = 12.0\n") + "".join(
    f'[[pick.leg]]\npoint = "{p}"\nrope = "rope-6mm"\nhardware = [{e}]\n'
    for p, e in (("A", ""), ("B", "ENTRY] # HERE"))
)
S = 'type = "roundsling-2t"'


@pytest.fixture
def load():
    catalogue = load_catalogue()
    return lambda file: load_hang(file, catalogue)


@pytest.mark.parametrize("key", ["hardware", "top_hardware"])
@pytest.mark.parametrize(
    ("entry", "key_path", "wrong", "todo"),
    [
        ("{ " + S + ', hitch = "choked" }', ".length_m", "key is missing", "a choked sling needs it"),
        ("{ " + S + ', hitch = "basket", length_m = 0.4 }', ".spread_deg", "key is missing", "its legs from plumb"),
        ("{ " + S + ', hitch = "basket", spread_deg = 0.0 }', ".length_m", "key is missing", "a basket needs it"),
        ("{ " + S + ", length_m = 0.4 }", ".length_m", "has no meaning for a straight sling", "remove it"),
        ("{ " + S + ", length_ft = 1.0 }", ".length_ft", "has no meaning for a straight sling", "remove it"),
        ("{ " + S + ", spread_deg = 0.0 }", ".spread_deg", "has no meaning for a straight sling", "remove it"),
        ("{ " + S + ", side_deg = 0.0 }", ".side_deg", "has no meaning for a straight sling", "remove it"),
        ("{ " + S + ', hitch = "choked", length_m = 0.4, spread_deg = 9.0 }', ".spread_deg", "for a choked sling", ""),
        ("{ " + S + ', hitch = "choked", length_m = 1.1 }', ".length_m", "reaches (1 m of its 1 m)", "longer sling"),
        ("{ " + S + ', hitch = "choked", length_ft = 3.5 }', ".length_ft", "reaches (1 m of its 1 m)", "longer sling"),
        ("{ " + S + ', hitch = "basket", length_m = 0.6, spread_deg = 0.0 }', ".length_m", "reaches (0.5 m", "longer"),
        ("{ " + S + ', hitch = "basket", length_m = 0.4, spread_deg = 60.5 }', ".spread_deg", "range 0 to 60 deg", ""),
        ("{ " + S + ', hitch = "knotted" }', ".hitch", "is not one of the known words", "'choked' or 'basket'"),
        ('{ type = "shackle-5-8", hitch = "choked" }', ".hitch", "has no meaning for a shackle", "type, side_deg"),
        ('{ type = "shackle-5-8", length_m = 0.4 }', ".length_m", "has no meaning for a shackle", "type, side_deg"),
        ('{ type = "shackle-5-8", spread_deg = 0.0 }', ".spread_deg", "has no meaning for a shackle", "remove it"),
        ('{ type = "shackle-5-8", side_deg = 91.0 }', ".side_deg", "outside the plausible range 0 to 90 deg", ""),
        ('{ type = "shackle-9", side_deg = 9.0 }', ".type", "is no known shackle or sling", "did you mean shackle-"),
        ('{ type = "rope-6mm" }', ".type", "is no known shackle or sling", "--equipment DIR"),
        ('{ side_deg = 9.0 }', ".type", "key is missing", "add type"),
        ('{ type = "shackle-5-8", side = 9.0 }', ".side", "is an unknown key", "did you mean side_deg?"),
        ('"shackle-9"', "", "is no known shackle or sling", "did you mean shackle-"),
        ("7", "", "is neither a name nor a table", '"shackle-5-8"'),
    ],
)  # fmt: skip
def test_use_at_fault(fault_of, load, key, entry, key_path, wrong, todo):
    fault = fault_of(load, HANG.replace("KEY", key).replace("ENTRY", entry))
    assert fault.key == f"pick[1].{key}[1]{key_path}"
    assert wrong in fault.wrong
    assert todo in fault.todo


def test_use_at_fault_in_a_leg(fault_of, load):
    # The second leg is written on one line with its list, which the mark closes.
    text = BRIDLED.replace("ENTRY] # HERE]", '{ type = "shackle-5-8", hitch = "choked" }]  # HERE')
    fault = fault_of(load, text)
    assert fault.key == "pick[1].leg[2].hardware[1].hitch"
    assert "has no meaning for a shackle" in fault.wrong


def test_equipment_of_every_use_is_in_the_revision(tmp_path, load):
    text = HANG.replace("KEY", "top_hardware").replace("ENTRY", '{ type = "shackle-3-8", side_deg = 5.0 }')
    (tmp_path / "hang.toml").write_text(text)
    assert "shackle-3-8" in load(tmp_path / "hang.toml").inputs["equipment"]
