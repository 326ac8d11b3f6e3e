"""What a good column looks like: splays that grow downwards, the fall that was asked for, a balcony's front spared."""

from __future__ import annotations

import numpy as np

FLOOR_SPLAYS = (0, 0, 1, 1, 2, 3, 5, 7)


def test_on_a_flat_floor_splays_grow_downwards(column_text, floor_venue, solved):
    more = "[search]\ntilt_deg = [-12.0, -6.0]\n"
    _, answer = solved(column_text("slot", FLOOR_SPLAYS, tilt=-9.0, more=more), floor_venue)
    splays = np.array(answer.best.hang.splays_deg[1:])
    upper, lower = splays[:3], splays[-3:]
    assert lower.mean() > upper.mean() + 2.0
    assert np.corrcoef(np.arange(len(splays)), splays)[0, 1] > 0.5


def test_three_decibels_with_each_doubling_come_when_asked_for(column_text, floor_venue, evenhang, few_steps, tmp_path):
    fall = {}
    for asked in (0.0, 3.0):
        path = tmp_path / f"hang-{asked:g}.toml"
        more = f"[search]\ntilt_deg = [-14.0, -6.0]\nfall_db = {asked}\n"
        path.write_text(column_text("slot", FLOOR_SPLAYS, tilt=-9.0, more=more))
        run = evenhang("design", path, floor_venue, "--equipment", few_steps, "--seconds", 1)
        field = run.field.sel(position=run.field["seat_weight"] > 0)
        # Mean slope of the octaves' levels over the distance from the frame, by plain least squares.
        doublings = np.log2(field["distance"].values)
        fall[asked] = -np.mean([np.polyfit(doublings, octave, 1)[0] for octave in field["octave_level"].values])
    assert abs(fall[3.0] - 3.0) < 0.7
    assert abs(fall[0.0]) < 1.5


def test_few_aims_fall_on_the_front_of_the_balcony(sample_venues, strip, solved):
    rows = (sample_venues / "theatre" / "left.toml").read_text().split("[[column]]")
    text = "[[column]]".join([rows[0].split("floor_below_m")[0], *rows[1:]])
    venue = strip("theatre", 0.2)
    _, answer = solved(f"{text}\n[search]\ntilt_deg = [-2.0, 6.0]\ntilt_step_deg = 1.0\n", venue)
    hang = answer.best.hang
    # Fronts' middles by complex numbers; the front of the balcony stands at x = 17.5 from 4.9 m to 6.5 m.
    aims = np.radians(hang.tilt_deg - np.cumsum(hang.splays_deg))
    up = 1j * np.exp(1j * aims)
    top = -0.3 + 10.6j - np.concatenate([[0.0], np.cumsum(0.28 * up)[:-1]])
    middle = top - 0.14 * up
    with np.errstate(divide="ignore"):
        height = middle.imag + np.tan(aims) * (17.5 - middle.real)
    assert ((height > 4.9) & (height < 6.5)).sum() <= 2
    assert (height > 6.5).any()  # some look at the balcony,
    assert (height < 4.9).any()  # some below it
