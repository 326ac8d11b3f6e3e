"""Advice on pick holes: what it names, put into the hang file, hangs as it says; where it names none, none does."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rigging.check import Report, check
from rigging.equipment import load_catalogue
from rigging.findings import EXCEEDS, WITHIN
from rigging.hang import load_hang
from rigging.policy import load_policy

SAMPLES = Path(__file__).resolve().parents[2] / "sample_venues"
ALL = ["theatre/left", "theatre/steep-bare", "theatre/steep-arm", "arena/left", "meadow/left"]
PAIR = re.compile(
    r"(?:with (?P<arm>[\w-]+) at the (?P<end>front|rear), )?"
    r"(?P<on1>frame|arm) hole (?P<hole1>\w+) and (?P<on2>frame|arm) hole (?P<hole2>\w+)"
    r" carry (?P<share1>\d+)% and (?P<share2>\d+)%"
)
ALONE = re.compile(r"alone, (frame|arm) hole (\w+) hangs nearest, at ([+-][\d.]+)°")
# Between them these reach whatever any two of the nine holes do: neighbours at the ends, wider ones between.
PAIRS = [*itertools.pairwise("123456789"), *zip("1234567", "3456789", strict=True), ("1", "9")]


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture
def report(catalogue, tmp_path) -> Callable[..., Report]:
    """Judges a sample hang with other picks, tilt or arm, without a venue."""

    def judge(name: str, picks: list[tuple[str, str]] | None = None, share: float = 0.1, **keys: Any) -> Report:
        data = tomllib.loads((SAMPLES / f"{name}.toml").read_text()) | keys
        if picks is not None:
            data["pick"] = [{"on": on, "hole": hole, "hoist": "hoist-2t"} for on, hole in picks]
        text = "".join(f"{key} = {_inline(value)}\n" for key, value in data.items())
        (tmp_path / "hang.toml").write_text(text)
        policy = load_policy().model_copy(update={"least_pick_share": share})
        return check(load_hang(tmp_path / "hang.toml", catalogue), catalogue, policy)

    return judge


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key} = {_inline(inner)}' for key, inner in value.items())}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def balance(report: Report) -> set[str]:
    """Statuses of what the picks' places decide: balance and tilt."""
    return {found.status for found in report.findings if found.part in ("balance", "frame")}


def put_in(match: re.Match[str]) -> dict[str, Any]:
    """The keys of a hang file that a named pair asks for."""
    picks = [(match["on1"], match["hole1"]), (match["on2"], match["hole2"])]
    arm = {"arm": {"type": match["arm"], "end": match["end"]}} if match["arm"] else {}
    return {"picks": picks, **arm}


@pytest.mark.parametrize("name", ALL)
def test_the_pair_that_is_named_holds_the_tilt_with_the_shares_it_says(report, name):
    match = PAIR.search(report(name).advice)
    assert match
    advised = report(name, **put_in(match))
    assert balance(advised) == {WITHIN}
    load = [line.hole_kg for line in advised.lines]
    for kg, percent in zip(load, (match["share1"], match["share2"]), strict=True):
        # Percent are rounded to whole ones.
        assert 100 * kg / sum(load) == pytest.approx(float(percent), rel=0, abs=0.51)
    assert int(match["share1"]) + int(match["share2"]) in (99, 100, 101)


@pytest.mark.parametrize("name", ["arena/left"])
def test_no_other_pair_of_the_frame_is_better_balanced(report, name):
    match = PAIR.search(report(name).advice)
    best = min(line.hole_kg for line in report(name, **put_in(match)).lines)
    for pair in itertools.combinations("123456789", 2):
        loads = [line.hole_kg for line in report(name, [("frame", hole) for hole in pair]).lines]
        # Balances within a thousandth of the weight count as equal.
        assert min(loads) <= best + 0.001 * sum(loads)


def test_steep_on_the_bare_frame_is_told_to_take_an_arm(report):
    before = report("theatre/steep-bare")
    assert EXCEEDS in balance(before)
    assert before.advice.startswith(
        "no two holes of the bare frame reach -14° with 10% on each; with arm-large at the "
    )
    for pair in PAIRS:
        assert EXCEEDS in balance(report("theatre/steep-bare", [("frame", hole) for hole in pair]))


@pytest.mark.parametrize("tilt", [-24.0, -18.0, -10.0, 2.0, 15.0])
def test_advice_and_check_agree_over_tilts(report, tilt):
    name = "theatre/left"
    advice = report(name, tilt_deg=tilt).advice
    reach = [
        pair for pair in PAIRS if balance(report(name, [("frame", hole) for hole in pair], tilt_deg=tilt)) == {WITHIN}
    ]
    assert advice.startswith("frame hole") == bool(reach)
    found = list(PAIR.finditer(advice))
    for match in found:
        assert balance(report(name, tilt_deg=tilt, **put_in(match))) == {WITHIN}
    if not reach:
        assert f"no two holes of the bare frame reach {tilt:+g}° with 10% on each" in advice
        assert found or "no pick arm that it takes does either" in advice


@pytest.mark.parametrize("name", ["theatre/left", "meadow/left", "arena/left"])
def test_one_hole_alone_hangs_at_the_tilt_that_is_named(report, name):
    on, hole, tilt = ALONE.search(report(name).advice).groups()
    alone = report(name, [(on, hole)]).stages[-1].balance
    # Degrees are rounded to tenths.
    assert alone.tilt * 57.29578 == pytest.approx(float(tilt), rel=0, abs=0.051)
    wanted = alone.free and tomllib.loads((SAMPLES / f"{name}.toml").read_text())["tilt_deg"]
    for other in "123456789":
        off = report(name, [("frame", other)]).stages[-1].balance.tilt * 57.29578 - wanted
        assert abs(off) >= abs(float(tilt) - wanted) - 0.051


def test_the_share_of_the_policy_is_asked_for(report):
    # Hole 9 carries 54 % with hole 2 at the sample's tilt: nothing carries half each and more than that.
    assert "frame hole 2 and frame hole 9 carry 46% and 54%" in report("theatre/left", share=0.45).advice
    assert "with 48% on each" in report("theatre/left", share=0.48, tilt_deg=-12.0).advice


# One medium of 33 kg at u = −0.22 below a frame of 74 kg at −0.32 with an arm of 14 kg, level; no loom. exact
# At the rear: mount at −0.76, the arm's mass 0.45 and its hole 2 0.6 beyond. About hole 2 of the frame, u = 0:
# (74·0.32 + 14·1.21 + 33·0.22)/1.36 = 35.20588 kg on the arm.
# At the front: mount at 0.16. About hole 9 of the frame, u = −0.7: (74·0.38 + 14·1.31 + 33·0.48)/1.46 = 42.67123 kg.
@pytest.mark.parametrize(("end", "hole", "on_arm"), [("rear", "2", 35.20588), ("front", "9", 42.67123)])
def test_an_arm_carries_its_share_and_has_its_own_mass(report, end, hole, on_arm):
    picks = [("frame", hole), ("arm", "2")]
    keys = {"arm": {"type": "arm-large", "end": end}, "tilt_deg": 0.0, "loom": {"kg_per_m": 0.0}}
    lines = report("theatre/left", picks, column=[{"enclosure": "medium", "splay_deg": 0.0}], **keys).lines
    assert lines[1].hole_kg == pytest.approx(on_arm, rel=1e-6, abs=0)
    assert lines[0].hole_kg == pytest.approx(74.0 + 14.0 + 33.0 - on_arm, rel=1e-6, abs=0)


def test_an_arm_that_is_on_already_counts(report):
    advice = report("theatre/steep-arm").advice
    assert "arm hole" in advice
    assert "with arm-large" not in advice
    assert "bare frame" not in advice
