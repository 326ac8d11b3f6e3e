"""What `evenhang check` prints, and its data: they say the same."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from rigging.statics import G

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
LEFT, VENUE = SAMPLES / "theatre" / "left.toml", SAMPLES / "theatre" / "venue.toml"
POLICIES = ROOT / "rigging" / "policies"


TOP = [
    "hang",
    "venue",
    "design",
    "revision",
    "version",
    "counts",
    "findings",
    "picks",
    "points",
    "joints",
    "stages",
    "holes",
    "policy",
    "cautions",
]
KEYS = {
    "findings": ["part", "what", "value", "limit", "unit", "status", "source", "note", "least", "used"],
    "picks": ["name", "low_kg", "hole_kg", "hook_kg", "roof_kg", "worst_kg", "worst_stage", "worst_hook_kg",
              "worst_roof_kg", "factor", "chain_m", "longest_chain_m"],
    "points": ["point", "from", "force_n", "why"],
    "joints": ["joint", "splay_deg", "link_n", "pivot_n", "pivot_axial_n", "pivot_shear_n", "beyond_half_n", "link_m"],
    "stages": ["stage", "rows", "mass_kg", "picks_kg", "tilt_deg", "reachable_deg", "lowest_elevation_deg", "hook_m",
               "next_group"],
}  # fmt: skip


@pytest.mark.parametrize("name", ["theatre/left", "meadow/right", "theatre/steep-bare"])
def test_keys_of_the_data_stay(checking, name):
    data = json.loads(checking(SAMPLES / f"{name}.toml", SAMPLES / name.split("/")[0] / "venue.toml", "--json")[1])
    assert set(data) >= set(TOP)
    assert list(data["counts"]) == ["exceeds", "cannot be judged", "within"]
    for table, keys in KEYS.items():
        assert data[table]
        for entry in data[table]:
            assert set(entry) >= set(keys)
    assert {found["status"] for found in data["findings"]} <= {"exceeds", "cannot be judged", "within"}


def same(printed: str, value: float | None) -> bool:
    """Whether a printed number is a value to its own last digit."""
    if value is None or printed == "–":
        return value is None and printed == "–"
    digits = len(printed.split(".")[1]) if "." in printed else 0
    return abs(float(printed) - value) <= 0.5000001 * 10**-digits


def section(out: str, head: str) -> list[str]:
    """Lines below a heading, to the next empty one; none where there is no such heading."""
    lines = out.splitlines()
    start = next((i for i, line in enumerate(lines) if line.startswith(head)), None)
    return [] if start is None else lines[start + 1 : lines.index("", start)]


def findings_as_printed(rows: list[str], findings: list[Any]) -> None:
    for row, found in zip(rows, findings, strict=True):
        status = "within" if found["status"] == "within" else found["status"].upper()
        head = re.match(rf"{status} +{re.escape(found['part'])} +{re.escape(found['what'])}(?= |$)", row)
        assert head
        cells = row[head.end() :].split()
        if found["value"] is not None:
            assert same(cells.pop(0), found["value"])
            assert cells[: len(found["unit"].split())] == found["unit"].split()
            del cells[: len(found["unit"].split())]
        if found["limit"] is not None:
            assert cells.pop(0) == ("≥" if found["least"] else "≤")
            assert same(cells.pop(0), found["limit"])
        if found["used"] is not None:
            assert same(cells.pop(0).rstrip("%"), 100 * found["used"])
        assert row.endswith(found["note"] or found["source"])


def picks_as_printed(out: str, data: Any) -> None:
    rows = section(out, "PICKS")[1:]
    for row, pick in zip(rows, data["picks"], strict=False):
        cells = row.removeprefix(pick["name"]).split()
        if pick["hole_kg"] < 0:  # nothing hangs from a hook that would push
            assert cells.pop(0) == "PUSHES"
            assert same(cells.pop(0), -pick["hole_kg"])
            assert cells.pop(0) == "–"
        else:
            assert same(cells.pop(0), pick["hole_kg"])
            assert same(cells.pop(0), pick["hook_kg"])
        keys = ("roof_kg", "worst_hook_kg", "worst_roof_kg", "factor")
        assert all(same(cell, pick[key]) for cell, key in zip(cells, keys, strict=True))
    points = section(out, "POINTS")[1:]
    assert len(points) == len(data["points"])
    for load in data["points"]:
        (row,) = (row for row in points if row.startswith(f"{load['point']} ") and load["from"] in row)
        down, aside = row.removeprefix(load["point"]).split()[:2]
        assert same(down, -load["force_n"][2] / G)
        assert same(aside, math.hypot(*load["force_n"][:2]) / G)
    legs = iter(row for row in section(out, "BRIDLES")[1:] if row.startswith("pick "))
    for pick in data["picks"]:
        sums = 0.0
        for leg in pick.get("legs", ()):
            cells = next(legs).removeprefix(pick["name"]).strip().removeprefix(leg["point"]).split()
            values = (leg["length_m"], leg["from_horizontal_deg"], leg["tension_kg"])
            assert all(same(cell.rstrip("°"), value) for cell, value in zip(cells, values, strict=False))
            sums += float(cells[4])
        if sums:  # together they hold what hangs on them; each is printed to 0.05 kg or better
            assert sums == pytest.approx(pick["worst_roof_kg"], rel=0, abs=0.15)
    assert next(legs, None) is None


def joints_as_printed(out: str, data: Any) -> None:
    rows = [row for row in section(out, "JOINTS") if re.match(r"(frame–row|rows) \d", row)]
    joints = data["joints"] if data["stages"] else data["joints"][1:]  # nothing stands on row 1 of a stack
    for row, joint in zip(rows, joints, strict=True):
        splay, *cells = row.split("°")[0].split()[-1:] + row.split("°")[1].split()
        assert same(splay, joint["splay_deg"])
        assert same(cells.pop(0), joint["link_m"] * 1000)
        assert cells.pop(0) == ("pulls" if joint["link_n"] >= 0 else "PUSHES")
        force = abs(joint["link_n"])
        # The heavier side: half, and what a load off the middle adds to one.
        values = [force, force / 2 + joint["beyond_half_n"], joint["pivot_axial_n"], joint["pivot_shear_n"]]
        assert all(same(cell, value) for cell, value in zip(cells, values, strict=True))


def stages_as_printed(out: str, data: Any) -> None:
    lines = section(out, "STAGES")
    for row, stage in zip(lines[1:], data["stages"], strict=False):
        assert row.startswith(f"{stage['stage']}  ")
        assert same(row.removeprefix(stage["stage"]).split()[0], stage["mass_kg"])
        assert stage["next_group"] in row
        at_trim = stage is data["stages"][-1]
        assert (f"  {stage['hook_m']:.2f}" in row) == (not at_trim)


SOME_UNKNOWN = {"hang": ("floor_below_m = 1.0\n", ""), "venue": ("limit_kg = 650.0\n", "")}
OFF_MIDDLE = {"hang": ("kg_per_m = 1.4", "kg_per_m = 1.4\ny_m = 0.4")}
SHEETS = ["theatre/left", "theatre/steep-bare", "theatre/pulled", "arena/left", "arena/delay", "meadow/left"]
SHEETS += ["meadow/front-left", SOME_UNKNOWN, OFF_MIDDLE]


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet if isinstance(sheet, str) else "changed")
def test_printed_numbers_are_those_of_the_data(checking, in_theatre, sheet):
    """A sample, or the theatre's with changes: something unknown, a load off the middle."""
    if isinstance(sheet, str):
        asked = (SAMPLES / f"{sheet}.toml", SAMPLES / sheet.split("/")[0] / "venue.toml")
        data, out = json.loads(checking(*asked, "--json")[1]), checking(*asked)[1]
    else:
        data, out = json.loads(in_theatre("--json", **sheet)[1]), in_theatre(**sheet)[1]
    lines = out.splitlines()
    assert lines[0] == f"{data['hang']}  in  {data['venue']}"
    assert lines[1].split()[:4] == ["DESIGN", data["design"], "REVISION", data["revision"]]
    counts = data["counts"]
    counted = f"{counts['exceeds']} exceed, {counts['cannot be judged']} cannot be judged, {counts['within']} within"
    assert counted in lines
    assert len(data["findings"]) == sum(counts.values())
    findings_as_printed(
        section(out, "EXCEEDS OR CANNOT BE JUDGED, worst first")[1:] + section(out, "WITHIN, most used first")[1:],
        data["findings"],
    )
    picks_as_printed(out, data)
    joints_as_printed(out, data)
    stages_as_printed(out, data)
    assert (f"holes: {data['holes']}" in lines) == bool(data["picks"])
    # A heading stands below an empty line; what has nothing to tell is left out.
    heads = re.findall(r"\n\n([A-Z]{5,})", out)
    told = {head: data[head.lower()] for head in ("PICKS", "POINTS", "STAGES")}
    told |= {"EXCEEDS": len(data["findings"]) - counts["within"], "BRIDLES": any("legs" in p for p in data["picks"])}
    order = ["EXCEEDS", "PICKS", "POINTS", "BRIDLES", "JOINTS", "STAGES", "WITHIN", "POLICY"]
    assert heads == [head for head in order if told.get(head, True)]


def test_out_keeps_what_is_printed(checking, tmp_path):
    code, out, _ = checking(LEFT, VENUE, "--out", tmp_path)
    data = json.loads(checking(LEFT, VENUE, "--json")[1])
    (folder,) = tmp_path.iterdir()
    assert code == 0
    assert folder.name.endswith(f"-{data['revision']}")
    assert {path.name for path in folder.iterdir()} == {"check.txt", "check.json"}
    assert json.loads((folder / "check.json").read_text()) == data
    assert out.startswith((folder / "check.txt").read_text())


def test_data_stay_json_where_nothing_is_known(checking):
    code, out, _ = checking(LEFT, "--json")
    data = json.loads(out)
    assert code == 4
    assert "NaN" not in out
    assert "Infinity" not in out
    for pick in data["picks"]:  # what hangs above the hook is known without a venue, how far up is not
        assert pick["roof_kg"] > pick["hook_kg"]
        assert (pick["chain_m"], pick["longest_chain_m"]) == (None, None)


def test_no_share_is_printed_as_infinite(in_theatre):
    code, out, _ = in_theatre(hang=("10.6", "16.6"))  # above its points: no share of the headroom can be told
    assert code == 1
    assert not re.search(r"\binf", out)
    assert [row for row in section(out, "EXCEEDS") if "headroom" in row and "> 10 ×" in row]
