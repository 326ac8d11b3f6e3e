"""What a hang's cables weigh: what depends on them is never within where its file does not say."""

from __future__ import annotations

import pytest

from rigging.findings import CANNOT, EXCEEDS, WITHIN

SILENT = {"hang.loom": None}
# Under the middle of the column alone: the balance sets its tilt.
ALONE = {
    "hang.pick": [{"hole": "M", "point": "A", "hoist": "hoist", "hardware": ["shackle"], "top_hardware": []}],
    "site.point.0.position_m": [-0.2, 0.0, 15.2],
    "policy.tilt_tolerance_deg": 5.0,
}
PLACED = {"headroom, hook to hook", "chain out of plumb", "lowest edge above the floor below"}
COUNTED = {"enclosures below"}
BRIDLE = {
    "hang.pick.0": {
        "hole": "F",
        "apex_m": 15.2,
        "leg": [{"point": name, "rope": "rope", "hardware": []} for name in "CD"],
        "hoist": "hoist",
        "hardware": ["shackle"],
        "top_hardware": [],
    },
    "site.point": [
        {"name": name, "position_m": at, "limit_kg": 900.0}
        for name, at in (("B", [-1.0, 0.0, 15.2]), ("C", [0.0, 4.0, 18.2]), ("D", [0.0, -4.0, 18.2]))
    ],
}
AGAIN = {
    "format": "hang/1",
    "name": "again",
    "frame": "bar",
    "position_m": [0.0, 0.0, 10.0],
    "tilt_deg": 0.0,
    "column": [{"enclosure": "box", "splay_deg": 0.0}],
    "pick": [{"hole": "F", "point": "A", "hoist": "hoist", "hardware": [], "top_hardware": []}],
}


@pytest.mark.parametrize(
    ("changes", "certain"),
    [
        ({}, PLACED | COUNTED),
        (ALONE, COUNTED),
        (BRIDLE, PLACED | COUNTED | {"angle between legs", "leg from the horizontal"}),
    ],
)
def test_only_places_and_numbers_are_within_where_the_file_is_silent(judged_rig, changes, certain):
    assert {found.status for found in judged_rig(changes).findings} == {WITHIN}
    silent = judged_rig(changes | SILENT).findings
    assert {found.what for found in silent if found.status == WITHIN} == certain
    assert all("does not say what its cables weigh" in found.note for found in silent if found.status == CANNOT)
    (cables,) = (found for found in silent if found.part == "cables")
    assert cables.status == CANNOT
    assert "[loom] kg_per_m, 0 where none hangs" in cables.note


def test_what_exceeds_without_cables_exceeds(rig_finding):
    # 82 kg without any.
    limit = {"frame.hole.0.limit_kg": 81.0}
    assert rig_finding("pick 1, frame hole F", "load on the hole", SILENT | limit).status == EXCEEDS


def test_cables_of_another_hang_on_a_point_are_asked_for(judged_rig):
    findings = {found.part: found for found in judged_rig({}, [AGAIN]).findings if found.what == "load on the point"}
    assert findings["point A"].status == CANNOT
    assert "cables" in findings["point A"].note
    assert findings["point B"].status == WITHIN
    said = judged_rig({}, [AGAIN | {"loom": {"kg_per_m": 0.5}}]).findings
    assert {found.status for found in said} == {WITHIN}


def test_a_stack_is_asked_too(judged_rig):
    stack = {"hang.standing": True, "hang.pick": None}
    silent = {found.what: found for found in judged_rig(stack | SILENT).findings}
    assert silent["centre of mass inside its base"].status == CANNOT
    said = {found.what: found for found in judged_rig(stack).findings}
    assert said["centre of mass inside its base"].status != CANNOT


def test_a_column_that_tips_is_not_within_anywhere(judged_rig):
    # The centre of mass at u = −0.18 is ahead of both picks: the front one holds 0.82/0.8 of all, the rear one pushes.
    found = judged_rig({"hang.pick.0.hole": "M"}).findings
    tips = [each for each in found if each.what == "picks in balance"]
    assert [each.status for each in tips] == [EXCEEDS]
    held = {"load on the hole", "rear link in tension, one side", "front pivot pin, one side", "load on the point"}
    assert not [each for each in found if each.what in held and each.status == WITHIN]


def test_a_point_says_when_no_other_load_was_named(rig_finding):
    assert rig_finding("point A", "load on the point", {}).note.endswith("; no other load was named")
    beside = [AGAIN | {"loom": {"kg_per_m": 0.0}}]
    assert "no other load" not in rig_finding("point A", "load on the point", {}, beside).note


def test_a_slack_leg_says_what_to_do_and_no_tension_is_within(judged_rig):
    # Both points to one side of the hole: the far leg would have to push.
    points = [
        {"name": name, "position_m": at, "limit_kg": 900.0}
        for name, at in (("B", [-1.0, 0.0, 15.2]), ("C", [0.0, 4.0, 18.2]), ("D", [0.0, 1.5, 18.2]))
    ]
    found = judged_rig(BRIDLE | {"site.point": points}).findings
    (slack,) = (each for each in found if each.what == "leg in tension")
    assert (slack.part, slack.status) == ("pick 1, frame hole F, bridle to C", EXCEEDS)
    # Of 133 kg at the apex: T_C = 133 · sin(D)/sin(C − D) with the legs atan(4/3) and atan(1.5/3) from plumb.
    assert slack.value == pytest.approx(-133.0 * 0.4472136 / 0.4472136 * 1.0, rel=1e-6)
    assert "bring the hole plumb below" in slack.note
    depends = {"tension, largest leg", "load on the point"}
    assert {each.part for each in found if each.what in depends and each.status == WITHIN} == {"point B"}
