"""Pictures of options: no two lines alike, one scale for all plans, what exceeds is struck through with its reason."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acoustics import compare_plots, plots


@pytest.fixture(scope="module")
def fields(evenhang: Callable[..., Any], sample_venues: Any) -> list[Any]:
    """A field, and the same 7 dB louder."""
    theatre = sample_venues / "theatre"
    field = evenhang("predict", theatre / "left.toml", theatre / "venue.toml", "--grid", 5).field
    loud = field.copy()
    loud["level_a"] = field["level_a"] + 7.0
    return [field, loud]


def test_no_two_looks_are_alike():
    looks = compare_plots.looks(60)
    seen = {(tuple(look["color"]), str(look["linestyle"]), look.get("marker", "")) for look in looks}
    assert len(seen) == 60
    no = compare_plots.looks_of_no(60)
    assert len({(look["color"], str(look["linestyle"]), look["marker"]) for look in no}) == 60
    # Colours begin again after eight, and then something else than the colour differs.
    for one, other in zip(looks, looks[8:], strict=False):
        assert tuple(one["color"]) == tuple(other["color"])
        assert one.get("marker", "") != other.get("marker", "")
    grey = {(str(look["linestyle"]), look.get("marker", "")) for look in looks[:4]}
    assert len(grey) == 4  # apart without colour as well


def test_plans_share_the_scale_of_the_loudest(fields):
    figure = compare_plots.plans([("quiet", fields[0], ""), ("loud", fields[1], "")])
    maps = [[one for one in ax.collections if one.get_facecolor().size] for ax in figure.axes[:2]]
    alone = plots.level_scale(fields[1])
    bar = figure.axes[-1]
    assert bar.get_ylim() == pytest.approx((alone.boundaries[0], alone.boundaries[-1]))
    colours = [{tuple(np.round(c, 4)) for one in some for c in one.get_facecolor()} for some in maps]
    assert colours[0] != colours[1]


def test_what_exceeds_is_struck_through_with_its_reason(fields):
    reason = "point left 1: load on the point"
    figure = compare_plots.plans([("able", fields[0], ""), ("not", fields[1], reason)])
    able, no = figure.axes[:2]
    assert no.get_title(loc="left") == "NO: not"
    assert able.get_title(loc="left") == "able"
    assert reason in " ".join(text.get_text().replace("\n", " ") for text in no.texts)
    strokes = [line for line in no.lines if list(line.get_ydata()) == [0.0, 1.0]]
    assert {tuple(line.get_xdata()) for line in strokes} == {(0.0, 1.0), (1.0, 0.0)}
    assert not [line for line in able.lines if list(line.get_ydata()) == [0.0, 1.0]]
    figure = compare_plots.distances([("able", fields[0], ""), ("not", fields[1], reason)])
    labels = [text.get_text().replace("\n", " ") for text in figure.legends[0].get_texts()]
    assert labels == ["able", f"NO: not: {reason}"]
    drawn = {line.get_label().replace("\n", " "): line for line in figure.axes[0].lines}
    assert drawn[labels[1]].get_linewidth() < drawn["able"].get_linewidth()
    assert drawn[labels[1]].get_linestyle() != drawn["able"].get_linestyle()
