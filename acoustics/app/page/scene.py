"""What the page draws that does not change with a tilt: areas, points, cuts, seat rows, positions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics.app.page.work import Ground, Loaded
from acoustics.listening import Listening, listen
from acoustics.rows import BALANCE_HZ, SeatRows, seat_rows
from acoustics.search.problem import seats_at, served
from acoustics.search.seats import Wish
from acoustics.search.settings import wanted_of
from acoustics.values import cut_values, position_values, surface_values
from rigging.hang import Hang

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Seen:
    """A venue as seen from one hang: where is listened, in which rows, which areas it serves.

    `along` (P,): distance along the hang's aim [m]; `counts` (P,): seat weight of those that it serves, 0 of all others
    [m²]; `wished` (P,): the level wished, up to a constant [dB].
    """

    listening: Listening
    rows: SeatRows
    along: Array
    distance: Array
    counts: Array
    wished: Array
    rows_count: npt.NDArray[np.bool_]


def seen(ground: Ground, loaded: Loaded, hang: Hang) -> Seen:
    """What one hang has before it."""
    areas = loaded.venue.area
    listening = listen(areas, hang.position_m, float(np.radians(hang.azimuth_deg)), ground.grid_m)
    rows = seat_rows(areas, listening, ground.grid_m)
    values = position_values(listening, areas, hang)
    wanted = wanted_of(hang)
    wish = Wish(wanted.fall_db, wanted.fall_of_db)
    seats = seats_at(listening.position, values["area"], listening.seat_weight, hang, areas, wish)
    mine = np.array(served(hang, areas))
    return Seen(listening, rows, values["along"], values["distance"], seats.weight, seats.wished_db, mine[rows.area])


def place_of(hang: Hang) -> tuple[Any, ...]:
    """What a scene depends on of a hang."""
    wanted = wanted_of(hang)
    return (*hang.position_m[:2], hang.azimuth_deg, hang.serves, wanted.fall_db, tuple(wanted.fall_of_db.items()))


def scene(ground: Ground, loaded: Loaded, hang: Hang, view: Seen) -> tuple[dict[str, Any], dict[str, npt.ArrayLike]]:
    """Head and arrays of the scene's frame."""
    areas, listening, rows = loaded.venue.area, view.listening, view.rows
    mine = served(hang, areas)
    surfaces = surface_values(areas, hang.serves, ground.grid_m)
    cuts = cut_values(areas, hang)
    plan = np.flatnonzero(~listening.on_section)
    line = np.flatnonzero(listening.on_section)
    far = np.bincount(rows.of[plan], listening.seat_weight[plan] * view.distance[plan], minlength=len(rows.number))
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
        "cuts": [
            {
                "area": areas[index].name,
                "role": areas[index].role,
                "along": along.tolist(),
                "height": height.tolist(),
                "ears": 0.0 if areas[index].role == "obstacle" else areas[index].ear_height_m,
            }
            for index, along, height in zip(cuts["cut_surface"], cuts["cut_along"], cuts["cut_height"], strict=True)
        ],
        "seat_rows": [
            {
                "area": areas[area].name,
                "row": int(number),
                "distance_m": round(distance, 2),
                "seats": round(seats, 2),
                "depth_m": round(depth, 2),
            }
            for area, number, distance, seats, depth in zip(
                rows.area, rows.number, (far / rows.seats).tolist(), rows.seats.tolist(), rows.depth_m.tolist(),
                strict=True,
            )
        ],
        "octaves": list(BALANCE_HZ),
    }  # fmt: skip
    arrays = {
        "xyz": listening.position[plan],
        "area": listening.area[plan],
        "row": rows.of[plan],
        "weight": listening.seat_weight[plan],
        "cell": surfaces["surface_cell"][listening.area[plan]],
        "turn": surfaces["surface_direction"][listening.area[plan]],
        "section": np.column_stack([view.along[line], listening.position[line, 2], listening.area[line]]),
    }
    return head, arrays
