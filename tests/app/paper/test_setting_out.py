"""The plan of points: to scale, every ordinate told once, texts that do not lie on each other."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from acoustics.app.setting_out import _spread, setting_out_figure

PLACES = [(0.0, 9.0), (-0.6, 9.0), (0.0, -9.0), (-0.6, -9.0), (0.32, 16.0), (37.8, -11.0)]


@pytest.fixture
def axes():
    """The drawn plan of six points."""
    figure = setting_out_figure(PLACES, [str(i + 1) for i in range(6)], [np.array([[6, -18], [6, 18], [50, 18]])])
    figure.draw_without_rendering()
    return figure.axes[0]


def test_points_stand_to_scale_where_they_are(axes):
    drawn = [line.get_xydata() for line in axes.lines if line.get_marker() == "o"]
    assert np.allclose(drawn[0], PLACES)
    datum = [line.get_xydata() for line in axes.lines if line.get_marker() == "P"]
    assert np.allclose(datum[0], [[0.0, 0.0]])
    assert axes.get_aspect() == 1.0
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    assert all(left < x < right and low < y < high for x, y in PLACES)


def test_every_ordinate_is_told_once(axes):
    told = [text.get_text().strip() for text in axes.texts]
    for value in ("-0.60", "0.32", "37.80", "9.00", "16.00", "-9.00", "-11.00"):
        assert told.count(value) == 1
    assert told.count("0.00") == 2  # of both axes
    assert [name for name in told if name in "123456"] == list("123456")
    assert "DATUM" in told
    assert "10 m" in told


def test_marks_do_not_lie_on_each_other(axes):
    renderer = FigureCanvasAgg(axes.figure).get_renderer()
    boxes = [text.get_window_extent(renderer) for text in axes.texts]
    assert not [(i, k) for i, one in enumerate(boxes) for k, other in enumerate(boxes[:i]) if one.overlaps(other)]


def test_texts_are_spread_in_order():
    values = np.array([-0.6, 0.0, 0.32, 37.8])
    found = _spread(values, 2.0)
    assert (np.diff(found) >= 2.0 - 1e-6).all()
    assert found[-1] == 37.8
    assert np.abs(found - values).max() < 2.0
