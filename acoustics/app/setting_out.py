"""A plan for setting out: points to scale from a marked datum, with ordinates along both axes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

Array = npt.NDArray[np.float64]

_SIZE_IN = (3.15, 2.9)  # as printed
_TEXT = 7.5
_APART = 0.045  # of the view, between ordinates' texts
_LEAST_M = 4.0
_WAYS = np.array([(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)], dtype=float)


def setting_out_figure(place: npt.ArrayLike, names: Sequence[str], outlines: Sequence[Array]) -> Figure:
    """Points in plan with their ordinates.

    Parameters
    ----------
    place : array_like, shape (K, 2)
        x and y of each from the datum. [m]
    names : sequence of str
        What each is marked with.
    outlines : sequence of ndarray, shape (M, 2)
        Areas in plan, for orientation; what lies beyond the points is cut off. [m]
    """
    places = np.asarray(place, dtype=float).reshape(-1, 2)
    figure = Figure(figsize=_SIZE_IN, layout="constrained")
    ax: Axes = figure.subplots()
    low, high = _view(places)
    for outline in outlines:
        ax.add_patch(Polygon(outline, closed=True, fill=False, edgecolor="0.6", linewidth=0.7))
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(low[1], high[1])
    ax.set_aspect("equal", adjustable="box")
    ax.axhline(0.0, color="black", linewidth=0.6, linestyle=(0, (8, 2, 2, 2)))
    ax.axvline(0.0, color="black", linewidth=0.6, linestyle=(0, (8, 2, 2, 2)))
    _ordinates(ax, places, low, high)
    ax.plot(places[:, 0], places[:, 1], "o", color="black", markersize=4.0, markerfacecolor="white", zorder=5)
    ax.plot([0.0], [0.0], marker="P", color="black", markersize=9.0, zorder=6)
    _marks(ax, places, ["DATUM", *names], low, high)
    _scale_bar(ax, low, high)
    ax.set_xticks([])
    ax.set_yticks([])
    for side in ax.spines.values():
        side.set_visible(False)
    ax.set_title("x → to the audience, y ↑ to stage left (house right), m", fontsize=_TEXT - 0.5, loc="left", pad=2.0)
    return figure


def _view(places: Array) -> tuple[Array, Array]:
    """Corners of what is drawn: datum and points with room about them, in the shape of the paper."""
    all_of = np.vstack([places, [[0.0, 0.0]]])
    low, high = all_of.min(axis=0), all_of.max(axis=0)
    shape = np.array(_SIZE_IN)
    span = float(np.max(np.maximum(high - low, _LEAST_M) / shape)) * shape
    middle = (low + high) / 2.0
    return middle - span * 0.62, middle + span * 0.62


def _ordinates(ax: Axes, places: Array, low: Array, high: Array) -> None:
    """Every x below the plan and every y to its left, led to the points that have it."""
    for axis in (0, 1):
        values = np.unique(np.round(np.append(places[:, axis], 0.0), 2))
        gap = _APART * float(high[axis] - low[axis])
        texts = _spread(values, gap)
        edge, room = low[1 - axis], 0.07 * float(high[1 - axis] - low[1 - axis])
        for value, text in zip(values, texts, strict=True):
            reach = places[np.isclose(places[:, axis], value, atol=0.006), 1 - axis]
            to = float(reach.min()) if len(reach) else 0.0
            way = np.array([[value, to], [value, edge + room], [text, edge]])
            line = way if axis == 0 else way[:, ::-1]
            ax.plot(line[:, 0], line[:, 1], color="0.35", linewidth=0.5, zorder=2)
            place = (text, edge) if axis == 0 else (edge, text)
            style: dict[str, Any] = {"rotation": 90, "ha": "center", "va": "top"} if axis == 0 else {"ha": "right"}
            weight = "bold" if value == 0 else "normal"
            style = {"va": "center", **style, "fontsize": _TEXT, "fontweight": weight, "clip_on": False}
            ax.text(*place, f" {value:.2f} ", **style)


def _spread(values: Array, gap: float) -> Array:
    """Places for texts in the order of their values, each `gap` or more from the next, near to the values."""
    texts = values.astype(float).copy()
    for _ in range(200):
        short = gap - np.diff(texts)
        if not (short > 1e-9).any():
            break
        push = np.maximum(short, 0.0) / 2.0
        texts[:-1] -= push
        texts[1:] += push
    return texts


def _marks(ax: Axes, places: Array, names: Sequence[str], low: Array, high: Array) -> None:
    """Names beside the datum and the points, where they are farthest from all that is there before."""
    per_m = 72.0 * _SIZE_IN[1] * 0.8 / float(high[1] - low[1])
    points = np.vstack([[[0.0, 0.0]], places]) * per_m
    taken = [*points]
    for name, point in zip(names, points, strict=True):
        others = np.array([one for one in taken if not np.allclose(one, point)] or [[1e6, 1e6]])
        wide = np.array([1.0 + 0.35 * (len(name) - 1), 1.0])
        around = np.concatenate([_WAYS * reach * wide for reach in (10.0, 16.0, 24.0)])
        free = [float(np.linalg.norm((others - (point + offset)) / wide, axis=1).min()) for offset in around]
        best = next((i for i, room in enumerate(free) if room >= 11.0), int(np.argmax(free)))
        taken.append(point + around[best])
        arrow = {"arrowstyle": "-", "linewidth": 0.4, "color": "0.35", "shrinkA": 0, "shrinkB": 2}
        box = {"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.9}
        style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": _TEXT + 0.5, "fontweight": "bold"}
        ax.annotate(
            name,
            point / per_m,
            around[best],
            textcoords="offset points",
            arrowprops=arrow,
            bbox=box,
            zorder=7,
            **style,
        )


def _scale_bar(ax: Axes, low: Array, high: Array) -> None:
    span = float(high[0] - low[0])
    length = next(one for one in (20.0, 10.0, 5.0, 2.0, 1.0) if one <= span / 3.0 or one == 1.0)
    x, y = float(high[0]) - length - 0.03 * span, float(high[1]) - 0.04 * float(high[1] - low[1])
    ax.plot([x, x + length], [y, y], color="black", linewidth=2.5, solid_capstyle="butt")
    ax.text(x - 0.01 * span, y, f"{length:g} m", ha="right", va="center", fontsize=_TEXT)
