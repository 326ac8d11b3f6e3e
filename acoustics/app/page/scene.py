"""What the page draws that does not change with a tilt: areas, points, cuts, seat rows, positions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics.app.page.work import Ground, Loaded
from acoustics.listening import Listening, listen
from acoustics.rows import BALANCE_HZ, SeatRows, seat_rows
from acoustics.search.objective import Seats
from acoustics.search.problem import seats_at, served
from acoustics.search.seats import Wish
from acoustics.search.settings import wanted_of
from acoustics.values import cut_values, position_values, surface_values
from acoustics.venue import Area
from rigging.hang import Hang

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Seen:
    """A venue as seen from one hang: where is listened, in which rows, which areas it serves.

    `along` (P,): distance along the hang's aim [m]; `counts` (P,): seat weight of those that it serves, 0 of all others
    [m²]; `seats`: the same as a search weighs them, with the levels wished; `rows_count` (R,): rows that it serves.
    """

    listening: Listening
    rows: SeatRows
    along: Array
    distance: Array
    counts: Array
    seats: Seats
    rows_count: npt.NDArray[np.bool_]


def seen(ground: Ground, loaded: Loaded, hang: Hang) -> Seen:
    """What one hang has before it."""
    areas = loaded.venue.area
    listening = listen(areas, hang.position_m, float(np.radians(hang.azimuth_deg)), ground.grid_m)
    rows = seat_rows(areas, listening, ground.grid_m)
    values = position_values(listening, areas, hang)
    wanted, mine = wanted_of(hang), np.array(served(hang, areas))
    wish = Wish(wanted.fall_db, wanted.fall_of_db, wanted.front_m, wanted.front_weight)
    seats = seats_at(listening.position, values["area"], listening.seat_weight, hang, areas, wish)
    counts = np.where(mine[listening.area], listening.seat_weight, 0.0)
    return Seen(listening, rows, values["along"], values["distance"], counts, seats, mine[rows.area])


def place_of(hang: Hang) -> tuple[Any, ...]:
    """What a scene depends on of a hang."""
    return (*hang.position_m[:2], hang.azimuth_deg, hang.serves, repr(hang.document.data.get("search")))


def scene(ground: Ground, loaded: Loaded, hang: Hang, view: Seen) -> tuple[dict[str, Any], dict[str, npt.ArrayLike]]:
    """Head and arrays of the scene's frame."""
    areas, mine = loaded.venue.area, served(hang, loaded.venue.area)
    head = {
        "kind": "scene",
        "venue": loaded.venue.name,
        "datum": loaded.venue.datum,
        "grid_m": ground.grid_m,
        "areas": [
            {"name": area.name, "role": area.role, "serves": serves, "outline": area.corners.tolist()}
            for area, serves in zip(areas, mine, strict=True)
        ],
        "points": [
            {"name": point.name, "position": list(point.position_m), "limit_kg": point.limit_kg}
            for point in loaded.venue.point
        ],
        "cuts": _cuts(areas, hang),
        "seat_rows": _seat_rows(areas, view),
        "octaves": list(BALANCE_HZ),
    }
    return head, _arrays(ground, loaded, hang, view)


def _cuts(areas: Sequence[Area], hang: Hang) -> list[dict[str, Any]]:
    """Where the plane of the hang's aim cuts areas and obstacles."""
    cuts = cut_values(areas, hang)
    return [
        {
            "area": areas[index].name,
            "role": areas[index].role,
            "along": along.tolist(),
            "height": height.tolist(),
            "ears": 0.0 if areas[index].role == "obstacle" else areas[index].ear_height_m,
        }
        for index, along, height in zip(cuts["cut_surface"], cuts["cut_along"], cuts["cut_height"], strict=True)
    ]


def _seat_rows(areas: Sequence[Area], view: Seen) -> list[dict[str, Any]]:
    """Seat rows, front to back, with their mean distance from the hang."""
    rows, plan = view.rows, view.rows.of >= 0
    weight = view.listening.seat_weight[plan]
    far = np.bincount(rows.of[plan], weight * view.distance[plan], minlength=len(rows.number)) / rows.seats
    return [
        {
            "area": areas[rows.area[index]].name,
            "row": int(rows.number[index]),
            "distance_m": round(float(far[index]), 2),
            "seats": round(float(rows.seats[index]), 2),
            "depth_m": round(float(rows.depth_m[index]), 2),
        }
        for index in range(len(rows.number))
    ]


def _arrays(ground: Ground, loaded: Loaded, hang: Hang, view: Seen) -> dict[str, npt.ArrayLike]:
    """Positions of the plan with their cells, and those of the section."""
    listening = view.listening
    plan, line = np.flatnonzero(~listening.on_section), np.flatnonzero(listening.on_section)
    surfaces = surface_values(loaded.venue.area, hang.serves, ground.grid_m)
    return {
        "xyz": listening.position[plan],
        "area": listening.area[plan],
        "row": view.rows.of[plan],
        "weight": listening.seat_weight[plan],
        "cell": surfaces["surface_cell"][listening.area[plan]],
        "turn": surfaces["surface_direction"][listening.area[plan]],
        "section": np.column_stack([view.along[line], listening.position[line, 2], listening.area[line]]),
    }
