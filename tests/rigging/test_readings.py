"""Readings of a hang that is up: the file, what is judged, the column that they make, how far hooks go.

Expected loads are typed from balances worked by hand in this file; tolerances are those of the policy that is typed
here (common practice, no source).
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from acoustics.venue import load_venue
from rigging.asbuilt import as_measured, changed, hook_moves
from rigging.check import check
from rigging.equipment import load_catalogue
from rigging.faults import FileFaults
from rigging.files import Document, parse, validate
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding
from rigging.hang import load_hang
from rigging.policy import cell_allowance_kg, load_policy
from rigging.readings import CELL, SUM, Readings, expected_kg, judge_readings, load_readings, not_read, refuse_foreign

THEATRE = Path(__file__).resolve().parents[2] / "sample_venues" / "theatre"
CATALOGUE = load_catalogue()
POLICY = load_policy().model_copy(
    update={"cell_share": 0.1, "cell_kg": 25.0, "sum_share": 0.05, "tilt_tolerance_deg": 0.5, "trim_tolerance_m": 0.1}
)
PICKS = ("pick 1, frame hole 2", "pick 2, frame hole 9")
STAGE = "rows 1–12, complete"


def report_of(hang: Any = None, **changes: Any) -> Any:
    hang = dataclasses.replace(hang or load_hang(THEATRE / "left.toml", CATALOGUE), **changes)
    venue, document = load_venue(THEATRE / "venue.toml")
    return check(hang, CATALOGUE, POLICY, venue, (), document.data), venue


REPORT, VENUE = report_of()


def text(body: str = "", design: str = REPORT.design, hang: str = "main, stage left (house right)") -> str:
    return f'format = "readings/1"\nhang = "{hang}"\ndesign = "{design}"\n{body}'


def readings(body: str = "", **named: str) -> tuple[Readings, Document]:
    document = parse(text(body, **named), "readings.toml", "readings/1")
    return validate(document, Readings), document


def cell(pick: int, load_kg: float, stage: str = STAGE) -> str:
    return f'[[cell]]\npick = "{PICKS[pick]}"\nstage = "{stage}"\nload_kg = {load_kg!r}\n'


def loaded(*hook_kg: float, mass_kg: float | None = None, hardware: Any = ()) -> Any:
    """A report as far as cells are judged: picks of these loads at rest at one stage, nothing below the hooks."""
    loads = np.array(hook_kg) * 9.80665
    held = SimpleNamespace(low=loads, high=loads, problem="", indeterminate=False, pull=np.zeros(2))
    held.unknown, held.free = "", False
    lines = [
        SimpleNamespace(name=name, below_hook_kg=0.0, pick=SimpleNamespace(hardware=hardware))
        for name in PICKS[: len(hook_kg)]
    ]
    stage = SimpleNamespace(name=STAGE, balance=held, column=SimpleNamespace(mass_kg=mass_kg or sum(hook_kg)))
    return SimpleNamespace(hang=REPORT.hang, policy=POLICY, lines=lines, stages=[stage], tilt_deg=2.0)


# --- cells ---


@pytest.mark.parametrize(
    ("expected", "read", "status"),
    [
        # 10 % of 400 kg is 40 kg: 360 to 440.
        (400.0, 440.0, WITHIN),
        (400.0, 440.1, EXCEEDS),
        (400.0, 360.0, WITHIN),
        (400.0, 359.9, EXCEEDS),
        # 10 % of 250 kg is the floor of 25 kg; below that the floor counts: 100 kg reads 75 to 125, not 90 to 110.
        (250.0, 275.0, WITHIN),
        (250.0, 275.1, EXCEEDS),
        (100.0, 125.0, WITHIN),
        (100.0, 125.1, EXCEEDS),
        (100.0, 75.0, WITHIN),
        (100.0, 74.9, EXCEEDS),
        (10.0, 0.0, WITHIN),
        # Just above 250 kg the share counts: 260 kg reads 234 to 286.
        (260.0, 286.0, WITHIN),
        (260.0, 286.1, EXCEEDS),
    ],
)
def test_a_cell_at_the_edges_of_its_tolerance(expected, read, status):
    found = judge_readings(readings(cell(0, read))[0], loaded(expected))
    assert [(one.what, one.status) for one in found] == [(CELL, status)]
    assert found[0].value == pytest.approx(abs(read - expected), rel=1e-9, abs=1e-9)


def test_allowance():
    assert cell_allowance_kg(400.0, POLICY) == pytest.approx(40.0, rel=1e-12)
    assert cell_allowance_kg(100.0, POLICY) == 25.0


@pytest.mark.parametrize(
    ("first", "second", "status"),
    # 5 % of 600 kg is 30 kg: 570 to 630, while each may be 30 kg off by itself (10 % of 300).
    [(315.0, 315.0, WITHIN), (315.1, 315.0, EXCEEDS), (285.0, 285.0, WITHIN), (285.0, 284.9, EXCEEDS)],
)
def test_the_sum_of_the_cells(first, second, status):
    found = judge_readings(readings(cell(0, first) + cell(1, second))[0], loaded(300.0, 300.0))
    assert {one.status for one in found if one.what == CELL} == {WITHIN}
    total = [one for one in found if one.what == SUM]
    assert [one.status for one in total] == [status]
    assert total[0].limit == pytest.approx(30.0, rel=1e-9)


def test_no_sum_of_one_cell_of_two():
    assert [one.what for one in judge_readings(readings(cell(0, 300.0))[0], loaded(300.0, 300.0))] == [CELL]


def test_hardware_that_is_not_named_makes_a_load_a_least_one():
    # At least 300 kg hang there: 269 is beyond the 30 kg below it, 270 and 400 may both be right.
    for read, status in ((269.0, EXCEEDS), (270.0, CANNOT), (400.0, CANNOT)):
        found = judge_readings(readings(cell(0, read))[0], loaded(300.0, hardware=None))
        assert [one.status for one in found] == [status]


def test_unknown_cables_leave_cells_unjudged():
    report, _ = report_of(loom=None)
    found = judge_readings(readings(cell(0, 500.0) + cell(1, 500.0))[0], report)
    # What is known to hang is far less than 1000 kg, but the cables may weigh anything.
    assert {one.status for one in found} == {CANNOT}
    low = judge_readings(readings(cell(0, 100.0) + cell(1, 100.0))[0], report)
    assert [one.status for one in low if one.what == SUM] == [EXCEEDS]


def test_loads_left_open_by_statics_are_judged_beyond_their_range_alone():
    report = loaded(300.0)
    held = report.stages[0].balance
    held.low, held.high, held.indeterminate = np.array([100.0 * 9.80665]), np.array([300.0 * 9.80665]), True
    # 100 to 300 kg, with 25 kg below and 30 kg above.
    for read, status in ((74.0, EXCEEDS), (76.0, CANNOT), (200.0, CANNOT), (329.0, CANNOT), (331.0, EXCEEDS)):
        assert [one.status for one in judge_readings(readings(cell(0, read))[0], report)] == [status]


def test_expected_loads_are_those_of_the_hook_at_that_stage():
    """The sum of the cells is the mass of all that hangs, with both shackles, added here from the files' masses."""
    shackle = CATALOGUE.items["shackle-5-8"].mass_kg
    # A frame of 74 kg, twelve rows with cables of 1.4 kg/m down each.
    medium = CATALOGUE.items["medium"]
    whole = 74.0 + 12 * (medium.mass_kg + 1.4 * medium.height_m) + 2 * shackle
    found = judge_readings(readings(cell(0, whole / 2) + cell(1, whole / 2))[0], REPORT)
    total = next(one for one in found if one.what == SUM)
    assert total.value == pytest.approx(0.0, abs=1e-9)
    each = [expected_kg(REPORT, index, REPORT.stages[-1])[0] for index in (0, 1)]
    assert sum(each) == pytest.approx(whole, rel=1e-12)  # each with its own shackle
    # Over the first cart four rows hang, and the load is another.
    early = 74.0 + 4 * (medium.mass_kg + 1.4 * medium.height_m) + 2 * shackle
    stage = "rows 1-4, over the cart"  # typed with a hyphen
    found = judge_readings(readings(cell(0, early / 2, stage) + cell(1, early / 2, stage))[0], REPORT)
    assert next(one for one in found if one.what == SUM).value == pytest.approx(0.0, abs=1e-9)


# --- angles and trim ---


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("tilt_deg = 2.5", WITHIN),  # the sheet has 2.0°, and half a degree is allowed
        ("tilt_deg = 2.51", EXCEEDS),
        ("tilt_deg = 1.49", EXCEEDS),
        ("top_tilt_deg = 2.5", WITHIN),
        ("top_tilt_deg = 1.49", EXCEEDS),
        ("trim_m = 10.7", WITHIN),  # 10.6 m, and a decimetre
        ("trim_m = 10.71", EXCEEDS),
        ("trim_ft = 34.8", WITHIN),  # 10.607 m
        ("trim_ft = 35.2", EXCEEDS),  # 10.729 m
        ("[[row]]\nrow = 4\naim_deg = -2.5", WITHIN),  # 2 − 0 − 1 − 1 − 2 = −2
        ("[[row]]\nrow = 4\naim_deg = -2.51", EXCEEDS),
        ("[[row]]\nrow = 12\naim_deg = -54.0", WITHIN),  # 2 − 56
    ],
)
def test_angles_and_trim(body, status):
    found = judge_readings(readings(body)[0], REPORT)
    assert [one.status for one in found] == [status]


def test_splays_from_aims():
    # Aims −1.4 and −4.3: 2.9° between rows 4 and 5; frame 2.7, top 2.5: 0.2° between frame and row 1.
    body = "tilt_deg = 2.7\ntop_tilt_deg = 2.5\n[[row]]\nrow = 5\naim_deg = -4.3\n[[row]]\nrow = 4\naim_deg = -1.4\n"
    read, document = readings(body + "[[row]]\nrow = 9\naim_deg = -20.0\n")
    assert read.splays_deg == {1: pytest.approx(0.2, rel=1e-9), 5: pytest.approx(2.9, rel=1e-9)}
    built, _ = as_measured(REPORT.hang, VENUE, read, document)
    wished = [0.2, 1, 1, 2, 2.9, 3, 4, 5, 7, 9, 10, 11]
    assert built.splays_deg == pytest.approx(wished, rel=1e-9)
    assert built.tilt_deg == 2.7


def test_a_splay_one_step_off_is_told():
    # Row 7 hangs 4° below row 6 by the sheet, and 5° as read.
    body = "[[row]]\nrow = 6\naim_deg = -8.0\n[[row]]\nrow = 7\naim_deg = -13.0\n"
    found = {(one.part, one.status) for one in judge_readings(readings(body)[0], REPORT)}
    assert found == {("row 6", WITHIN), ("row 7", EXCEEDS), ("rows 6–7", EXCEEDS)}


def test_the_top_alone_gives_the_tilt_of_the_frame():
    hang = dataclasses.replace(REPORT.hang, splays_deg=(3.0, *REPORT.hang.splays_deg[1:]))
    read, document = readings("top_tilt_deg = -2.5")
    built, _ = as_measured(hang, VENUE, read, document)
    assert (built.tilt_deg, built.splays_deg) == (0.5, hang.splays_deg)  # −2.5 + 3


def test_what_was_not_read_is_as_designed_and_told():
    read, document = readings()
    built, site = as_measured(REPORT.hang, VENUE, read, document)
    assert dataclasses.replace(built, inputs=REPORT.hang.inputs) == REPORT.hang
    assert site == VENUE
    assert judge_readings(read, REPORT) == []
    assert not_read(read, REPORT, VENUE) == [
        "tilt on the frame", "tilt on the top enclosure", "trim", "temperature", "humidity",
        "aim of rows 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12", "place of points left 1, left 2",
        "cells at rows 1–4, over the cart; rows 1–8, over the cart; rows 1–12, over the cart; rows 1–12, complete",
    ]  # fmt: skip
    some = readings("tilt_deg = 2.0\n" + cell(0, 220.0))[0]
    assert not_read(some, REPORT, VENUE)[-1].endswith(f"{PICKS[1]} ({STAGE})")


def test_measured_points_move_and_nothing_else_of_the_venue():
    read, document = readings('[[point]]\nname = "left 2"\nposition_m = [-1.1, 6.5, 14.9]\n')
    _, site = as_measured(REPORT.hang, VENUE, read, document)
    for before, after in zip(VENUE.point, site.point, strict=True):
        place = (-1.1, 6.5, 14.9) if before.name == "left 2" else before.position_m
        assert (after.position_m, after.limit_kg) == (place, before.limit_kg)


# --- what hooks do ---


def test_hooks_from_the_sine():
    # Holes 0.7 m apart and level with each other: from +2.7° to +2.0° the rear one rises by
    # 0.7 (sin 2.7° − sin 2.0°) = 0.7 (0.0471065 − 0.0348995) = 8.545 mm.
    moves = hook_moves([[0.0, 0.11], [-0.7, 0.11]], np.radians(2.7), np.radians(2.0))
    assert moves.front_stays == pytest.approx([0.0, 8.545e-3], abs=1e-6)
    assert moves.rear_stays == pytest.approx([-8.545e-3, 0.0], abs=1e-6)
    # The pivot line is 0.11 m below the front hole: it hardly moves with that, and goes down with it.
    assert moves.trim_front_stays == pytest.approx(0.11 * (np.cos(np.radians(2.7)) - np.cos(np.radians(2.0))), abs=1e-9)
    assert moves.trim_rear_stays == pytest.approx(-8.545e-3, abs=1e-4)


def test_hooks_of_holes_that_are_not_level():
    # (0, 0) and (−0.3, 0.4): 0.5 m apart, their line at 180° − atan(0.4/0.3) = 126.87°. Turned from 0 to 90° the second
    # goes from 0.4 m above the first to 0.3 m below it.
    moves = hook_moves([[0.0, 0.0], [-0.3, 0.4]], 0.0, np.pi / 2)
    assert moves.front_stays == pytest.approx([0.0, -0.7], abs=1e-12)


@pytest.mark.parametrize("places", [[[0.0, 0.1]], [[0.0, 0.1], [0.0, 0.1]]])
def test_hooks_that_do_not_set_a_tilt(places):
    with pytest.raises(ValueError, match="not set by the heights of these picks"):
        hook_moves(places, 0.0, 0.1)


def test_changed_findings():
    def one(part: str, status: Any) -> Finding:
        return Finding(part, "load", 1.0, 1.0, "kg", status, "")

    found = changed(
        [one("a", WITHIN), one("b", WITHIN), one("c", EXCEEDS)], [one("a", EXCEEDS), one("b", WITHIN), one("d", CANNOT)]
    )
    assert [(each.part, each.was, each.now) for each in found] == [
        ("a", WITHIN, EXCEEDS), ("d", "", CANNOT), ("c", EXCEEDS, ""),
    ]  # fmt: skip


# --- refused ---


@pytest.mark.parametrize(
    ("body", "key", "wrong", "todo"),
    [
        ("tilt_deg = 91.0", "tilt_deg", "outside the plausible range -90 to 90 deg", "check the number"),
        ('tilt_deg = "2"', "tilt_deg", "must be a number in deg", "without quotes"),
        ("trim_m = nan", "trim_m", "not a finite number", "give a number"),
        ("trim_m = 10.0\ntrim_ft = 33.0", "trim_ft", "stands beside trim_m", "keep one of the two"),
        ("temperature_c = 90.0", "temperature_c", "outside the plausible range -30 to 55", "check"),
        ("relative_humidity_pct = 0.0", "relative_humidity_pct", "outside the plausible range 1 to 100", "check"),
        ("tilt = 2.0", "tilt", "is an unknown key", "did you mean tilt_deg"),
        ('revision = "bagotilufo"', "revision", "is an unknown key", ""),
        ("[[row]]\nrow = 0\naim_deg = 1.0", "row[1].row", "is not a row number", "starting at 1"),
        ("[[row]]\nrow = 2.5\naim_deg = 1.0", "row[1].row", "is not a row number", "starting at 1"),
        ("[[row]]\nrow = 2", "row[1].aim_deg", "key is missing", "aim_deg"),
        (2 * "[[row]]\nrow = 2\naim_deg = 1.0\n", "row[2].row", "was read in row[1] too", "keep one"),
        ("top_tilt_deg = 2.0\n[[row]]\nrow = 1\naim_deg = 2.0", "row[1].row", "stands in top_tilt_deg too", "keep one"),
        (cell(0, 1.0) + cell(0, 2.0), "cell[2].pick", "was read in cell[1] too", "keep one reading of each"),
        (cell(0, -1.0), "cell[1].load_kg", "outside the plausible range 0 to 100000 kg", "check"),
        (2 * '[[point]]\nname = "left 1"\nposition_m = [0, 0, 1]\n', "point[2].name", "name of point[1] too", "own"),
        ('[[point]]\nname = "left 1"\nposition_m = [0, 0]', "point[1].position_m", "too few entries", "give 3"),
    ],
)
def test_a_file_at_fault(tmp_path, body, key, wrong, todo):
    (tmp_path / "readings.toml").write_text(text(body))
    with pytest.raises(FileFaults) as raised:
        load_readings(tmp_path / "readings.toml")
    fault = raised.value.faults[0]
    assert [one.key for one in raised.value.faults] == [key]
    assert wrong in fault.wrong
    assert todo in fault.todo
    assert fault.file.endswith("readings.toml")


@pytest.mark.parametrize("missing", ["format", "hang", "design"])
def test_three_keys_must_be_there(missing):
    body = "\n".join(line for line in text().splitlines() if not line.startswith(missing))
    with pytest.raises(FileFaults, match=f"{missing}: key is missing"):
        validate(parse(body, "readings.toml", "readings/1"), Readings)


@pytest.mark.parametrize(
    ("body", "named", "key", "wrong", "todo"),
    [
        ("", {"hang": "other"}, "hang", "is another hang than main, stage left (house right)", "that was read"),
        ("", {"design": "bagotilufo"}, "design", f"is not the design word of this hang in this venue, {REPORT.design}",
         "--other-design"),
        ("[[row]]\nrow = 13\naim_deg = 0.0", {}, "row[1].row", "is no row of this hang", "its rows are 1 to 12"),
        (cell(0, 1.0).replace("hole 2", "hole 3"), {}, "cell[1].pick", "is no pick of this hang",
         'did you mean "pick 1, frame hole 2"'),
        (cell(0, 1.0, "rows 1–4 over the cart"), {}, "cell[1].stage", "is no stage of this hang",
         'did you mean "rows 1–4, over the cart"'),
        ('[[point]]\nname = "left1"\nposition_m = [0, 0, 1]', {}, "point[1].name", "is no point of Gable Theatre",
         "did you mean left 1"),
    ],
)  # fmt: skip
def test_readings_of_something_else(body, named, key, wrong, todo):
    read, document = readings(body, **named)
    with pytest.raises(FileFaults) as raised:
        refuse_foreign(read, document, REPORT, VENUE)
    assert [(one.key, one.file) for one in raised.value.faults] == [(key, "readings.toml")]
    assert wrong in raised.value.faults[0].wrong
    assert todo in raised.value.faults[0].todo


def test_both_design_words_are_named_and_another_may_be_taken():
    read, document = readings(design="bagotilufo")
    with pytest.raises(FileFaults) as raised:
        refuse_foreign(read, document, REPORT, VENUE)
    assert "bagotilufo" in str(raised.value)
    assert REPORT.design in str(raised.value)
    refuse_foreign(read, document, REPORT, VENUE, other_design=True)
