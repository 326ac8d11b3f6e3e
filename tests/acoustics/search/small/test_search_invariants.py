"""What holds of any search: held joints, earlier answers, mirrors, seeds."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
import tomlkit

from acoustics.search.prove import prove
from rigging.rewrite import rewritten

SPLAYS = (0, 0, 1, 1, 2, 3, 5, 7)
MORE = "[search]\ntilt_deg = [-12.0, -6.0]\n"


def text_of(column_text, splays=SPLAYS, tilt=-9.0, fixed=(0,), more=MORE, **keys) -> str:
    return column_text("slot", splays, tilt=tilt, fixed=fixed, more=more, **keys)


def test_held_joints_stay(column_text, floor_venue, solved):
    held = (0, 2, 5)
    _, answer = solved(text_of(column_text, (0, 0, 7, 1, 2, 0, 5, 7), fixed=held), floor_venue)
    for option in (answer.best, *answer.runners):
        assert [option.hang.splays_deg[row] for row in held] == [0.0, 7.0, 0.0]
    assert {option.hang.splays_deg for option in answer.runners} - {answer.best.hang.splays_deg}


def test_equal_seeds_give_equal_answers(column_text, floor_venue, solved):
    found = [solved(text_of(column_text), floor_venue, seed=3)[1] for _ in range(2)]
    assert found[0].best.hang.splays_deg == found[1].best.hang.splays_deg
    assert found[0].best.j == found[1].best.j
    assert found[0].work == found[1].work
    assert [one.j for one in found[0].runners] == [one.j for one in found[1].runners]


def test_an_earlier_answer_never_gets_worse(column_text, floor_venue, solved):
    text = text_of(column_text)
    for seed in (0, 1):
        problem, answer = solved(text, floor_venue, seed=seed)
        text = rewritten(text, answer.best.hang)
        again, later = solved(text, floor_venue, seed=seed + 5)
        assert later.j_file == pytest.approx(answer.best.j, rel=0, abs=1e-6)
        assert later.best.j <= answer.best.j + 1e-6
        assert problem.columns.goal.reference_db == pytest.approx(again.columns.goal.reference_db, rel=0, abs=1e-6)


def test_an_optimal_hang_is_left_alone(column_text, floor_venue, solved, posed):
    text = text_of(column_text, fixed=(0, 1, 2, 3), more="[search]\ntilt_deg = [-10.0, -10.0]\n", tilt=-10.0)
    problem = posed(text, floor_venue)
    proof = prove(problem.columns, lambda choice: 0.0)
    column = problem.columns.space.values(proof.best)
    text = text_of(column_text, column[2:], -10.0, (0, 1, 2, 3), "[search]\ntilt_deg = [-10.0, -10.0]\n")
    _, answer = solved(text, floor_venue, seconds=1.0)
    assert answer.best.hang.splays_deg == tuple(column[2:])
    # How bands are cut follows from the file's column: far below what anyone could hang.
    assert answer.best.j == pytest.approx(proof.j, rel=0, abs=1e-4)
    assert answer.j_file == pytest.approx(proof.j, rel=0, abs=1e-4)


def test_a_mirrored_venue_gives_the_same_splays(column_text, tmp_path, sample_venues, solved):
    """A floor that is turned and off to one side, and its mirror image about y = 0."""
    data = tomllib.loads((sample_venues / "arena" / "venue.toml").read_text())
    data["area"] = data["area"][:1]
    data["area"][0]["outline_m"] = [[6.0, 1.0, 0.0], [40.0, 4.0, 0.0], [40.0, 8.0, 0.0], [6.0, 5.0, 0.0]]
    found = []
    for side in (1.0, -1.0):
        data["area"][0]["outline_m"] = [[x, side * abs(y), z] for x, y, z in data["area"][0]["outline_m"]]
        venue = tmp_path / f"{side:g}.toml"
        venue.write_text(tomlkit.dumps(data))
        text = text_of(column_text, position=(0.0, side * 2.0, 9.0), azimuth=side * 4.0)
        found.append(solved(text, venue)[1])
    one, other = found
    assert one.best.hang.splays_deg == other.best.hang.splays_deg
    assert one.best.hang.tilt_deg == other.best.hang.tilt_deg
    assert one.best.j == pytest.approx(other.best.j, rel=0, abs=1e-5)
    assert np.ptp(one.best.hang.splays_deg) > 0.0
