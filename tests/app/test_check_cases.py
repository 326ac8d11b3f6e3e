"""`evenhang check` on the worked cases of a hung column: joints, and locks."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

G = 9.80665
ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
SOURCES = [*(ROOT / "rigging").rglob("*.py"), *(ROOT / "acoustics").rglob("*.py")]


# --- the worked cases of a hung column: two finite-element libraries agree on them within 1e-4 N [calc] ---

BODY = """
description = "worked case"
source = "typed"
width_m = 1.0
pivot = "front"
rear_hole_back_m = 0.45
rear_hole_inset_m = 0.05
below = [{ fitting = "case", splays_deg = [0.0, 1.0, 2.0, 3.0, 5.0, 8.0] }]
rated = { source = "typed", link_kg = 900, link_push_kg = 900, pin_kg = 900, locks_both_ways = true }
"""
FRAME = f"""format = "frame/1"
name = "case-frame"
mass_kg = 30.0
centre_of_mass_m = [-0.25, 0.0, 0.05]
height_m = 0.12
depth_m = 0.9
front_m = 0.15
hole = [{{ name = "F", position_m = [0.1, 0, 0.1] }}, {{ name = "R", position_m = [-0.7, 0, 0.1] }}]
{BODY}"""
BOX = f"""format = "enclosure/1"
name = "case-box"
mass_kg = 40.0
centre_of_mass_m = [-0.22, 0.0, -0.125]
height_m = 0.25
depth_m = 0.5
front_m = 0.0
top_fitting = "case"
reference_m = [0.0, 0.0, -0.1]
acoustic = {{ model = "point" }}
{BODY}"""


@pytest.fixture
def case(checked, tmp_path) -> Callable[..., tuple[int, Any, str]]:
    (tmp_path / "equipment").mkdir()
    (tmp_path / "equipment" / "frame.toml").write_text(FRAME)
    (tmp_path / "equipment" / "box.toml").write_text(BOX)

    def run(tilt_deg: float, splays: list[float]) -> tuple[int, Any, str]:
        head = 'format = "hang/1"\nname = "case"\nframe = "case-frame"\nposition_m = [0.0, 0.0, 10.0]\n'
        picks = "".join(f'[[pick]]\nhole = "{hole}"\nhoist = "hoist-1t"\n' for hole in "FR")
        rows = "".join(f'[[column]]\nenclosure = "case-box"\nsplay_deg = {splay}\n' for splay in splays)
        (tmp_path / "hang.toml").write_text(f"{head}tilt_deg = {tilt_deg}\n{picks}{rows}")
        return checked(tmp_path / "hang.toml", "--equipment", tmp_path / "equipment")

    return run


def test_case_a(case):
    code, data, _ = case(-3.0, [0.0, 1.0, 2.0, 3.0, 5.0, 8.0])
    assert code == 4  # no limits for holes, no venue
    # The table's rounding.
    picks = [pick["hole_kg"] * G for pick in data["picks"]]
    assert picks == pytest.approx([1339.465, 1308.331], rel=0, abs=6e-4)
    links = [joint["link_n"] for joint in data["joints"]]
    assert links == pytest.approx([1542.837, 1287.397, 1027.046, 756.488, 481.911, 217.473], rel=0, abs=6e-4)
    pivots = [joint["pivot_n"] for joint in data["joints"]]
    table = [(-80.7, 812.9), (-78.6, 676.3), (-89.5, 545.9), (-98.7, 426.8), (-96.1, 312.3), (-67.2, 185.4)]
    for pivot, published in zip(pivots, table, strict=True):
        assert pivot == pytest.approx(list(published), rel=0, abs=0.06)
    lengths = [joint["link_m"] * 1000 for joint in data["joints"]]
    assert lengths == pytest.approx([100.0, 92.142, 84.278, 76.406, 60.647, 36.976], rel=0, abs=6e-4)


CASE_G = [-458.319, -211.993, -3.509, 167.133, 299.932, 394.889, 452.003, 471.275, 452.705, 396.292, 302.037, 169.940]


def test_case_g_joints_in_compression_are_findings_of_their_own(case):
    _, data, text = case(10.0, [0.0] * 12)
    assert [joint["link_n"] for joint in data["joints"]] == pytest.approx(CASE_G, rel=0, abs=6e-4)
    assert [pick["hole_kg"] * G for pick in data["picks"]] == pytest.approx([4653.055, 348.337], rel=0, abs=6e-4)
    pushing = ["joint frame–1", "joint rows 1–2", "joint rows 2–3"]
    locks = [f for f in data["findings"] if f["what"] == "lock that holds both ways"]
    assert sorted(f["part"] for f in locks) == sorted(pushing)
    assert all("in compression: set the locks" in f["note"] for f in locks)
    compressed = {f["part"]: f for f in data["findings"] if f["what"] == "rear link in compression, one side"}
    assert sorted(compressed) == sorted(pushing)
    for part, both_n in zip(pushing, CASE_G, strict=False):
        # Half on a side, at HC2 and 4 m/min: 1.10 + 0.34/15 (value from memory).
        assert compressed[part]["value"] == pytest.approx(-both_n / 2 / G * (1.10 + 0.34 / 15), rel=2e-4, abs=0)
    rows = re.findall(r"^(?:frame–row|rows) \S+ +[\d.]+° +[\d.]+ +(\w+)", text, re.MULTILINE)
    assert rows == ["PUSHES"] * 3 + ["pulls"] * 9


def test_case_g_without_a_lock_exceeds(case, tmp_path):
    box = tmp_path / "equipment" / "box.toml"
    box.write_text(BOX.replace("locks_both_ways = true", "locks_both_ways = false"))
    code, data, _ = case(10.0, [0.0] * 12)
    assert code == 1
    assert {f["part"] for f in data["findings"] if f["status"] == "exceeds" and "lock" in f["what"]} == {
        "joint frame–1",
        "joint rows 1–2",
        "joint rows 2–3",
    }


# --- words ---
