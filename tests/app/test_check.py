"""`evenhang check`: exit status, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
LEFT, VENUE = SAMPLES / "theatre" / "left.toml", SAMPLES / "theatre" / "venue.toml"
POLICIES = ROOT / "rigging" / "policies"


# The lowest edge is 7.5 m up, the floor below it at 1.0 m. Both points carry less than 650 kg.
@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, 0),
        ({"policy": ("clearance_m = 2.5", "clearance_m = 7.0")}, 1),
        ({"hang": ("floor_below_m = 1.0\n", "")}, 4),
        ({"hang": ("floor_below_m = 1.0\n", ""), "policy": ("marked_share = 0.5", "marked_share = 0.1")}, 1),
        ({"venue": ("limit_kg = 650.0\n", "")}, 4),
        ({"venue": ("limit_kg = 650.0", "limit_kg = 0.0")}, 1),
    ],
)
def test_exit_status(in_theatre, changes, code):
    found, out, err = in_theatre(**changes)
    assert (found, err) == (code, "")
    (line,) = (line for line in out.splitlines() if re.match(r"\d+ exceed, ", line))
    assert line.startswith("0 exceed, ") == (code != 1)
    assert (", 0 cannot be judged, " in line) == ("floor_below_m" not in str(changes) and code != 4)


@pytest.mark.parametrize(
    ("changes", "file", "key", "cause"),
    [
        ({"hang": ('point = "left 1"', 'point = "left 9"')}, "hang", "pick[1].point", "is no point of Gable Theatre"),
        ({"hang": ('"hoist-1t"', '"hoist-9t"')}, "hang", "pick[1].hoist", "is no known hoist"),
        ({"hang": ('hole = "2"', 'hole = "12"')}, "hang", "pick[1].hole", "is no hole of frame-large"),
        ({"hang": ("tilt_deg", 'serves = ["stall"]\ntilt_deg')}, "hang", "serves[1]", "is no audience area of"),
        ({"hang": ('hole = "9"', 'hole = "2"')}, "hang", "pick[2].hole", "is that of pick[1] too"),
        ({"hang": ("tilt_deg", "carts = { groups = [4, 4] }\ntilt_deg")}, "hang", "carts.groups", "8 enclosures of 12"),
        ({"venue": ('name = "left 2"', 'name = "left 1"')}, "venue", "point[2].name", "is the name of point[1] too"),
        ({"venue": ("limit_kg = 650.0", "limit_kg = -1.0")}, "venue", "point[1].limit_kg", "outside the plausible"),
        ({"venue": ("[air]", "open_air = true\ngust_m_s = 90.0\n[air]")}, "venue", "gust_m_s", "range 1 to 60 m/s"),
        ({"venue": ("[air]", "gust_m_s = 12.0\n[air]")}, "venue", "gust_m_s", "add open_air = true, or remove it"),
        ({"venue": ("[air]", 'open_air = "yes"\n[air]')}, "venue", "open_air", "must be true or false"),
        ({"policy": ("marked_share = 0.5", "marked_share = 1.5")}, "policy", "marked_share", "range 0.05 to 1"),
        ({"policy": ("marked_share = 0.5", "share = 0.5")}, "policy", "share", "is an unknown key"),
        ({"policy": ('"policy/1"', '"hang/1"')}, "policy", "format", "is another kind of file"),
    ],
)  # fmt: skip
def test_input_at_fault(in_theatre, changes, file, key, cause):
    code, out, err = in_theatre(**changes)
    assert (code, out) == (2, "")
    (line,) = (line for line in err.splitlines() if f" {key}: " in line)
    assert f"{file}.toml" in line
    assert cause in line
    assert "; " in line
    assert "Traceback" not in err


def test_faults_of_all_files_are_told_at_once(in_theatre):
    changes = {"hang": ("-4.0", "-400.0"), "venue": ("21.0", "210.0"), "policy": ("drag = 1.3", "drag = 13.0")}
    code, out, err = in_theatre("--beside", "nowhere.toml", **changes)
    assert (code, out) == (2, "")
    assert [word in err for word in ("azimuth_deg", "temperature_c", "drag", "nowhere.toml: does not exist")] == [
        True
    ] * 4
    assert len(err.splitlines()) == 4


@pytest.mark.parametrize(
    ("policy", "name"),
    [(None, "over people"), ("over_people", "over people"), ("no_people", "nobody below")],
)
def test_packaged_policies_go_by_name(checking, policy, name):
    code, out, _ = checking(LEFT, VENUE, "--json", *(["--policy", policy] if policy else []))
    assert code == 0
    assert json.loads(out)["policy"]["name"] == name


@pytest.mark.parametrize("policy", ["nobody", "no_people.toml", "", ".", LEFT, "no\npeople"])
def test_no_policy_of_that_name(checking, policy):
    code, out, err = checking(LEFT, VENUE, "--policy", policy)
    assert (code, out) == (2, "")
    assert err
    assert "Traceback" not in err


def test_unknown_policy_lists_the_known_ones(checking):
    code, out, err = checking(LEFT, VENUE, "--policy", "over-people")
    assert (code, out) == (2, "")
    assert all(path.stem in err for path in POLICIES.glob("*.toml"))


def test_a_file_of_that_name_goes_before_the_packaged_policy(checking, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "no_people").write_text((POLICIES / "no_people.toml").read_text().replace("nobody below", "mine"))
    assert json.loads(checking(LEFT, VENUE, "--json", "--policy", "no_people")[1])["policy"]["name"] == "mine"


# Bridles: the theatre's pick 1 from two or three points at 15 m; its apex, hole and hook are near y = 6.5, 10.7 m up.
def bridle(apex_m: float, *points: str, hardware: str = ", hardware = []") -> tuple[str, str]:
    legs = ", ".join(f'{{ point = "{point}", rope = "rope-10mm"{hardware} }}' for point in points)
    return 'point = "left 1"\n', f"apex_m = {apex_m}\nleg = [{legs}]\n"


TWO = ("left 1", "left 2")


@pytest.mark.parametrize(
    ("legs", "codes"),
    [
        (bridle(13.0, *TWO), {0}),  # steep legs; all of the load on one is some 490 kg of the rope's 539
        (bridle(13.0, *TWO, hardware=""), {4}),  # what its legs' ends hold is not named
        (bridle(9.0, *TWO), {2}),  # below the hole
        (bridle(16.0, *TWO), {2}),  # above its points: no rope pushes
        (bridle(15.0, *TWO), {2}),  # level with its points: no tension is enough
        (bridle(13.0, "left 1", "left 1"), {2, 4}),  # side by side: how they share is left open
        (bridle(13.0, "left 1", "left 1", "left 1"), {2, 4}),
        (bridle(13.0, "left 1", "left 2", "right 1"), {1}),  # the third leg is 13 m long and rises by 2 m, 9°
    ],
)
def test_any_bridle_is_judged_or_refused(in_theatre, legs, codes):
    code, out, err = in_theatre(hang=legs)
    assert code in codes
    assert (out == "") == (code == 2)
    assert "Traceback" not in err


def test_stack_indoors(checking, tmp_path):
    hang = LEFT.read_text()
    hang = hang[: hang.index("[loom]")] + "standing = true\n" + hang[hang.index("[[column]]") :]
    venue = VENUE.read_text()
    (tmp_path / "hang.toml").write_text(hang)
    (tmp_path / "venue.toml").write_text(venue)
    code, out, _ = checking(tmp_path / "hang.toml", tmp_path / "venue.toml", "--json")
    # 12 rows of 0.28 m and a frame of 0.14 m under a reference at 10.6 m: their base hangs in the air.
    assert code == 1
    found = {(f["part"], f["what"]): f["status"] for f in json.loads(out)["findings"]}
    assert found["stack", "base off the floor"] == "exceeds"
    assert not any("friction" in what for _, what in found)  # no force needs none
