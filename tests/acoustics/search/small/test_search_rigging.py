"""What may not hang cannot come out of a search, and what stands in its way is named."""

from __future__ import annotations

import re

import pytest

from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.findings import EXCEEDS
from rigging.hang import hang_from
from rigging.policy import load_policy

QUICK = ("--seconds", "0.5", "--grid", "4")
PICK = 'hoist = "hoist-1t"\nhardware = ["shackle-5-8"]\ntop_hardware = ["shackle-5-8"]\n'
# Tackle, cables and floor are all named, so that nothing cannot be judged.
HUNG = f"""
format = "hang/1"
name = "hung"
frame = "FRAME"
position_m = [0.0, 0.0, 7.0]
tilt_deg = TILT
floor_below_m = 0.0
[loom]
kg_per_m = 0.0
[[pick]]
hole = "2"
point = "front"
{PICK}[[pick]]
hole = "LAST"
point = "rear"
{PICK}"""


@pytest.fixture
def design(evenhang, tmp_path, floor_venue, catalogue):
    """Designs six rows with the texts of hang, venue, frame and enclosure replaced here and there."""

    def run(tilts, limit_kg=800.0, frame=(), enclosure=(), holes="123456789", quick=QUICK):
        folder = tmp_path / "equipment"
        folder.mkdir(exist_ok=True)
        for name, changes in (("frame-large", frame), ("medium", enclosure)):
            text = (catalogue / f"{name}.toml").read_text().replace(f'name = "{name}"', f'name = "own-{name}"', 1)
            for old, new in changes:
                assert re.search(old, text)
                text = re.sub(old, new, text)
            if name == "frame-large":
                parts = re.split(r"(?=\[\[hole\]\])|(?=\[arm_front\])", text)
                text = "".join(
                    p for p in parts if not p.startswith("[[hole]]") or re.search('name = "(.)"', p)[1] in holes
                )
            (folder / f"{name}.toml").write_text(text)
        rows = "".join(f'[[column]]\nenclosure = "own-medium"\nsplay_deg = {s:.1f}\n' for s in (0, 2, 3, 4, 6, 8))
        text = HUNG.replace("FRAME", "own-frame-large").replace("TILT", f"{tilts[0]:.1f}")
        text = text.replace("LAST", "8" if "8" in holes else holes[-1]) + rows
        hang, venue = tmp_path / "hang.toml", tmp_path / "venue.toml"
        hang.write_text(f"{text}[search]\ntilt_deg = [{tilts[0]:.1f}, {tilts[1]:.1f}]\ntilt_step_deg = 1.0\n")
        points = "".join(
            f'[[point]]\nname = "{name}"\nposition_m = [{x}, 0.0, 12.0]\nlimit_kg = {limit_kg}\n'
            for name, x in (("front", 0.0), ("rear", -0.6))
        )
        venue.write_text(floor_venue.read_text() + points)
        found = evenhang("design", hang, venue, *quick, "--equipment", folder)
        return found, load_catalogue([folder]), venue

    return run


def answers(run, catalogue, venue):
    """The hang that was written and its runners-up, with what each exceeds."""
    from acoustics.venue import load_venue

    site = load_venue(venue)[0]
    for path in sorted(run.folder.glob("*.toml")):
        hang = hang_from(path.read_text(), path.name, catalogue)
        findings = check(hang, catalogue, load_policy(), site).findings
        yield hang, [finding for finding in findings if finding.status == EXCEEDS]


def test_what_may_hang_comes_out_and_nothing_of_it_exceeds(design):
    run, catalogue, venue = design((-4.0, 2.0))
    assert run.code in (0, 4), run.err + run.out
    listed = list(answers(run, catalogue, venue))
    assert listed
    assert all(exceeding == [] for _, exceeding in listed)


def refused(run) -> str:
    assert run.code == 1, run.out + run.err
    assert run.folder is None
    assert "NO HANG WITHIN LIMITS WAS FOUND; nothing was written" in run.out
    return run.out.split("in the way of the nearest")[1].split("what may help")[0]


def test_a_frame_too_short_for_any_tilt(design):
    # Its only holes lie 0 and 0.1 m behind the front pivot, the centre of mass some 0.25 m: on two picks it looks up.
    run, *_ = design((-4.0, 2.0), frame=[(r'takes = \["arm-large"\]', 'takes = ["none"]')], holes="23")
    told = refused(run)
    first = told.splitlines()[2]
    assert first.startswith("frame ")
    assert "tilt beyond its picks' reach" in first


def test_a_point_that_is_too_weak(design):
    run, *_ = design((-4.0, 2.0), limit_kg=60.0)
    told = refused(run)
    lines = [line for line in told.splitlines() if line.startswith("point ")]
    assert lines
    assert any("60" in line for line in lines)


def test_for_programs_there_is_no_answer_either(design):
    run, *_ = design((-4.0, 2.0), limit_kg=60.0, quick=(*QUICK, "--json"))
    assert run.code == 1
    assert run.folder is None
    assert run.json["answer"] is None
    assert len(run.json["nearest"]["splays_deg"]) == 6
    assert {"point front", "point rear"} & {one["part"] for one in run.json["in_the_way"]}
    assert all(one["status"] == "exceeds" for one in run.json["in_the_way"])
    assert run.json["cautions"]


def test_a_joint_limit_that_binds(design):
    # Six rows of 33 kg: whatever the splays, 165 kg hang below row 1 and all may carry 100.
    run, *_ = design((-4.0, 2.0), enclosure=[("mass_kg = 500.0", "mass_kg = 100.0")])
    told = refused(run)
    assert "100" in told
    assert re.search(r"(?m)^rows? ", told)


def test_a_limit_on_tilt_keeps_the_answer_inside(design):
    # Six rows of 33 kg; below tilts of 1° the frame is rated for 50 kg.
    low = r"mass_kg = 800.0\ntilt_deg = \[-25.0, -12.0\]"
    frame = [(r"tilt_deg = \[-12.0, 12.0\]", "tilt_deg = [1.0, 12.0]")]
    frame.append((low, "mass_kg = 50.0\ntilt_deg = [-25.0, 1.0]"))
    run, catalogue, venue = design((0.0, 3.0), frame=frame, quick=("--seconds", "3", *QUICK[2:]))
    assert run.code in (0, 4), run.out
    for hang, exceeding in answers(run, catalogue, venue):
        assert exceeding == []
        assert 1.0 <= hang.tilt_deg <= 3.0
