"""Pictures of a venue: plan, section along the centre line, and a sketch in space; each takes data and axes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.patheffects import withStroke

from acoustics.listening import cut_segments
from acoustics.plots import new_axes
from acoustics.venue import Venue
from acoustics.venue_looks import Look
from rigging.cautions import CAUTIONS

Array = npt.NDArray[np.float64]

_FACES = {"audience": "#cfdce8", "quiet": "#e9dcc0", "obstacle": "0.8"}
_EDGES = {"audience": "#1f3f5f", "quiet": "#7a5a10", "obstacle": "0.35"}
_TEXT = 11
_MOST_LABELS = 40  # areas that are labelled; those of a finer drawing would cover it
_VIEW_DEG = (-125.0, 28.0)  # of the sketch: from behind the audience's right, and from above
_HALO = [withStroke(linewidth=2.5, foreground="white")]


def label(look: Look) -> str:
    """Name, rise and size of an area."""
    size = f"{look.size_m2:.0f}" if look.size_m2 >= 100.0 else f"{look.size_m2:.3g}"
    return f"{look.area.name}\n{look.rise_deg:.1f}°, {size} m²"


def plan(venue: Venue, looks: Sequence[Look], outlines: Sequence[Array] = (), ax: Axes | None = None) -> Axes:
    """Areas from above with rise and size, points with height and limit, and side outlines of hangs (R, 4, 3)."""
    ax = new_axes(12.0, 9.0) if ax is None else ax
    for look in sorted(looks, key=lambda one: one.high_m):
        ax.add_patch(Polygon(look.area.corners[:, :2], closed=True, zorder=2, **_style(look)))
    named = _labelled(looks)
    for look in looks:
        if look in named and look.area.role != "obstacle":
            _write(ax, look.area.corners[:, :2].mean(axis=0), label(look))
    for point in venue.point:
        x, y, _ = point.position_m
        ax.plot([x], [y], marker="^", color="black", markersize=7, zorder=5)
    for words, place in _point_labels(venue):
        style: dict[str, Any] = {"va": "center", "fontsize": _TEXT - 1, "path_effects": _HALO, "zorder": 6}
        ax.annotate(words, place, xytext=(12, 0), textcoords="offset points", **style)
    for outline in outlines:
        ax.add_collection(PolyCollection(list(outline[:, :, :2]), edgecolors="tab:red", facecolors="none", zorder=5))
    ax.plot([0.0], [0.0], marker="P", color="black", markersize=9, zorder=6)
    _finish(ax, "x from the datum to the audience, m", "y to stage left (house right), m")
    ax.set_title(f"{venue.name}: plan", loc="left", fontsize=14)
    return ax


def _point_labels(venue: Venue) -> list[tuple[str, tuple[float, float]]]:
    """What stands beside points: those within 1.5 m of one another share a place, and a line each."""
    groups: list[tuple[list[str], tuple[float, float]]] = []
    for point in venue.point:
        x, y, z = point.position_m
        limit = "limit not known" if point.limit_kg is None else f"{point.limit_kg:g} kg"
        words = f"{point.name}: {z:.2f} m, {limit}"
        near = next((g for g in groups if np.hypot(g[1][0] - x, g[1][1] - y) < 1.5), None)
        if near is None:
            groups.append(([words], (x, y)))
        else:
            near[0].append(words)
    return [("\n".join(words), place) for words, place in groups]


def section(venue: Venue, looks: Sequence[Look], outlines: Sequence[Array] = (), ax: Axes | None = None) -> Axes:
    """The venue cut along its centre line y = 0; points and hangs seen from the side."""
    ax = new_axes(12.0, 6.75) if ax is None else ax
    named = _labelled(looks)
    for look in looks:
        cut = cut_segments(look.area.corners, (0.0, 0.0, 0.0), 0.0)
        for ends in cut:
            ax.plot(*ends.T, color=_EDGES[look.area.role], linewidth=3.0, solid_capstyle="butt", zorder=3)
            if look.area.role != "obstacle":
                ears = ends + np.array([0.0, look.area.ear_height_m])
                ax.plot(*ears.T, color="black", linewidth=1.0, linestyle=(0, (4, 3)), zorder=3)
        if len(cut) and look in named:
            upright = np.ptp(cut[0][:, 0]) < 0.1 * np.ptp(cut[0][:, 1])
            end = cut[0][np.argmin(cut[0][:, 1])] if upright else cut[0][0]
            _write(ax, end, label(look).replace("\n", ", "), "right" if upright else "left")
    for point in venue.point:
        ax.plot([point.position_m[0]], [point.position_m[2]], marker="^", color="black", markersize=7, zorder=5)
    for outline in outlines:
        faces = list(outline[:, :, [0, 2]])
        ax.add_collection(PolyCollection(faces, edgecolors="tab:red", facecolors="white", zorder=4))
    ax.plot([0.0], [0.0], marker="P", color="black", markersize=9, zorder=6)
    _finish(ax, "x from the datum to the audience, m", "height above datum, m")
    ax.set_title(f"{venue.name}: section along the centre line, y = 0; ears dashed", loc="left", fontsize=14)
    return ax


def sketch(venue: Venue, looks: Sequence[Look], outlines: Sequence[Array] = (), ax: Axes | None = None) -> Axes:
    """The venue in space, without perspective; what is nearer covers what is farther."""
    ax = new_axes(12.0, 8.0) if ax is None else ax
    view = _view()
    shapes = [(look.area.corners, _style(look)) for look in looks]
    red = {"facecolor": "white", "edgecolor": "tab:red", "linewidth": 0.8}
    shapes += [(side, red) for outline in outlines for side in outline]
    for corners, style in sorted(shapes, key=lambda one: float((one[0] @ view[2]).mean())):
        ax.add_patch(Polygon(corners @ view[:2].T, closed=True, **style))
    named = _labelled(looks)
    for look in looks:
        if look in named and look.area.role != "obstacle":
            _write(ax, view[:2] @ look.area.corners.mean(axis=0), look.area.name)
    for point in venue.point:
        ax.plot(*(view[:2] @ np.array(point.position_m)), marker="^", color="black", markersize=6, zorder=5)
    for axis, name in zip(np.eye(3) * _axis_m(looks), ("x to the audience", "y to stage left", "z"), strict=True):
        end = view[:2] @ axis
        arrow = {"arrowstyle": "-|>", "color": "black", "linewidth": 1.2}
        ax.annotate("", xy=(end[0], end[1]), xytext=(0.0, 0.0), arrowprops=arrow, zorder=6)
        _write(ax, end * 1.15, name)
    _finish(ax, "", "")
    ax.grid(False)
    ax.set_axis_off()
    ax.set_title(f"{venue.name}: sketch, from behind the audience", loc="left", fontsize=14)
    return ax


def _view() -> Array:
    """Right, up and towards the viewer, as rows."""
    turn, lift = np.radians(_VIEW_DEG[0]), np.radians(_VIEW_DEG[1])
    towards = np.array([-np.cos(lift) * np.cos(turn), -np.cos(lift) * np.sin(turn), np.sin(lift)])
    right = np.cross([0.0, 0.0, 1.0], towards)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(towards, right), towards])


def _axis_m(looks: Sequence[Look]) -> float:
    corners = np.concatenate([look.area.corners for look in looks])
    return float(np.clip(0.12 * np.ptp(corners[:, :2], axis=0).max(), 1.0, 20.0))


def figure_of(ax: Axes) -> Figure:
    """The figure of a picture, with the first caution below it."""
    figure = ax.figure
    assert isinstance(figure, Figure)
    figure.supxlabel(CAUTIONS[0], x=0.01, ha="left", fontsize=10, color="0.3")
    return figure


def _labelled(looks: Sequence[Look]) -> list[Look]:
    return sorted(looks, key=lambda look: -look.size_m2)[:_MOST_LABELS]


def _style(look: Look) -> dict[str, Any]:
    role = look.area.role
    return {"facecolor": _FACES[role], "edgecolor": _EDGES[role], "linewidth": 1.2, "alpha": 0.85}


def _write(ax: Axes, place: npt.ArrayLike, words: str, below: str = "") -> None:
    """Words at a place, or below it and to one side."""
    x, y = (float(value) for value in np.asarray(place))
    style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": _TEXT, "path_effects": _HALO, "zorder": 7}
    if below:
        aside = (2, -6) if below == "left" else (-6, 0)
        style |= {"xytext": aside, "textcoords": "offset points", "ha": below, "va": "top"}
        ax.annotate(words, (x, y), **style)
    else:
        ax.text(x, y, words, **style)


def _finish(ax: Axes, x: str, y: str) -> None:
    ax.set_aspect("equal", adjustable="datalim")
    ax.autoscale_view()
    ax.margins(0.06)
    ax.grid(color="0.88", linewidth=0.6, zorder=0)
    ax.set_xlabel(x, fontsize=13)
    ax.set_ylabel(y, fontsize=13)
    ax.tick_params(labelsize=12)
