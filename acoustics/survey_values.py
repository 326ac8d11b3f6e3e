"""What a result says of the laser shots of its venue: residuals, corners, what their uncertainty means for levels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from acoustics import bands
from acoustics.surveyed import Stood, Survey
from acoustics.venue import Area, Venue

Array = npt.NDArray[np.float64]

JUDGED_HZ = 8000.0
_BAND = bands.NOMINAL_HZ.index(JUDGED_HZ)


def level_within(survey: Survey, areas: Sequence[Area], hear: Callable[[Array], Array]) -> tuple[float, str]:
    """Standard uncertainty of the 8 kHz third octave at the corners and the middle of measured areas, at ear height.

    Each place is moved by one standard deviation to both sides along the three principal axes of its covariance, all
    is predicted again, and the greater changes along the axes are added as squares (JCGM 100:2008, 5.1.3, note 2): so
    the path, the aim of each enclosure and the interference between enclosures all count. The sources stay where they
    are; so does what hides them.

    Parameters
    ----------
    survey : Survey
    areas : sequence of Area
        Of the venue.
    hear : callable
        Levels in the 29 bands, (29, P) [dB], at places (P, 3) [m].

    Returns
    -------
    float, str
        The greatest of all places [dB], NaN where none has a level, and its area.
    """
    by_name = {area.name: area for area in areas if area.role != "obstacle"}
    places: list[Array] = []
    names: list[str] = []
    for one in survey.areas:
        if one.name not in by_name:
            continue
        ears = np.array([0.0, 0.0, by_name[one.name].ear_height_m])
        middle = np.append(one.corners, one.corners.mean(axis=0, keepdims=True), axis=0) + ears
        spread, axes = np.linalg.eigh(np.append(one.covariance, one.middle_covariance[np.newaxis], axis=0))
        moves = np.sqrt(np.maximum(spread, 0.0))[:, np.newaxis, :] * axes  # (N, 3, axis)
        moves = np.concatenate([np.zeros_like(moves[..., :1]), moves, -moves], axis=2).transpose(0, 2, 1)
        places.append(middle[:, np.newaxis] + moves)
        names += [one.name] * len(middle)
    if not places:
        return float("nan"), ""
    tried = np.concatenate(places)  # (N, 7, 3): as measured, then moved up and down three axes
    level = hear(tried.reshape(-1, 3))[_BAND].reshape(-1, 7)
    level = np.where(np.isfinite(level), level, np.nan)
    change = np.abs(level[:, 1:] - level[:, :1])
    within = np.sqrt(np.square(np.fmax(change[:, :3], change[:, 3:])).sum(axis=1))
    if np.isnan(within).all():
        return float("nan"), ""
    worst = int(np.nanargmax(within))
    return float(within[worst]), names[worst]


def survey_values(venue: Venue) -> dict[str, Any]:
    """Variables of a result: each shot of an area with its residual, and how far each corner may be off."""
    survey = venue.survey
    if survey is None:
        return {}
    areas = {one.name: one for one in survey.areas}
    corners = np.full((len(venue.area), max(len(area.outline_m) for area in venue.area), 3), np.nan)
    for index, area in enumerate(venue.area):
        if area.name in areas:
            corners[index, : len(area.outline_m)] = areas[area.name].corner_within_m
    values: dict[str, Any] = {"surface_corner_within": corners}
    shots = [(one.name, shot) for one in survey.areas for shot in one.shots]
    if shots:
        values |= {
            "shot": [f"{name}: {shot.name}" for name, shot in shots],
            "shot_off": [shot.off_m for _, shot in shots],
            "shot_off_others": [shot.off_others_m for _, shot in shots],
            "shot_limit": [shot.limit_m for _, shot in shots],
        }
    return values


def survey_attributes(venue: Venue, hear: Callable[[Array], Array] | None) -> dict[str, Any]:
    """Attributes of a result; `hear` as for `level_within`, None where it has no bands."""
    survey = venue.survey
    if survey is None:
        return {}
    level, where = (float("nan"), "") if hear is None else level_within(survey, venue.area, hear)
    residual, shot = survey.greatest_residual
    return {
        "measured_shots": survey.shots,
        "measured_residual_m": residual,
        "measured_residual_of": shot,
        "measured_unchecked": "; ".join(survey.unchecked),
        "measured_standpoints": "; ".join(_found(one) for one in survey.standpoints if one.found),
        "measured_tie_m": max(survey.tie_off_m, default=float("nan")),
        "measured_corner_m": survey.corner_within_m,
        "measured_level_db": level,
        "measured_level_of": where,
        "measured_distance_mm": survey.instrument.distance_mm,
        "measured_angle_deg": survey.instrument.angle_deg,
    }


def _found(one: Stood) -> str:
    x, y, z = one.position_m
    off, turned = 1000.0 * one.position_within_m.max(), one.azimuth_within_deg
    place = f"{one.name} at x {x:.2f}, y {y:.2f}, z {z:.2f} m ±{off:.0f} mm"
    return f"{place}, its zero at {one.azimuth_deg:.2f}° ±{turned:.2f}°"
