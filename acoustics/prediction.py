"""From a hang and a venue to a result: places the sources, samples the areas, sums, names everything."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import metadata
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from acoustics import bands, field, levels, sight
from acoustics.field import Sources
from acoustics.listening import GRID_M, Listening, listen
from acoustics.programme import PROGRAMMES
from acoustics.scene import NEAREST_M, Scene
from acoustics.sources import medium, sources_of, split
from acoustics.survey_values import survey_attributes, survey_values
from acoustics.values import aim_ends, air_attributes, along, band_values, cut_values, position_values, surface_values
from acoustics.venue import Area, Venue, check_serves
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.files import Document
from rigging.geometry import Layout, lay_out
from rigging.hang import Hang
from rigging.revision import design_word, revision

if TYPE_CHECKING:
    import xarray as xr


Array = npt.NDArray[np.float64]

# More positions than this are announced with what they will take.
LONG_RUN = 100_000

HIDDEN_OUT = "hidden sources left out"
HIDDEN_OVER = "hidden sources weakened as behind one edge, ISO 9613-2:1996, 7.4"
ONE_POINT = "one directional point source"
LINE_MODEL = f"free field, direct sound: {ONE_POINT} per enclosure, complex sum at each line; {HIDDEN_OUT}"
MODEL = (
    f"free field, direct sound: {ONE_POINT} per enclosure, complex sum over the bands in closed form, "
    f"bands cut until directivity and air absorption move no level by 0.1 dB; {HIDDEN_OUT}"
)


@dataclass(frozen=True)
class Options:
    """What a prediction is asked for.

    `grid_m`: cell size [m]; `lines`: single frequencies in place of bands [Hz]; `points`: points for each enclosure,
    or "auto" to double them until that moves no level; `programme`: a name in `programme.PROGRAMMES`; `drive_db`: gain
    of all [dB]; `over_edges`: weaken hidden sources by the rule for one edge instead of leaving them out.
    """

    grid_m: float = GRID_M
    lines: tuple[float, ...] | None = None
    points: int | Literal["auto"] = 1
    programme: str = "pink"
    drive_db: float = 0.0
    over_edges: bool = False


def settings_of(hang: Hang, venue_document: Document, options: Options) -> dict[str, Any]:
    """All inputs of a prediction; measured data by a hash of what they hold."""
    asked: dict[str, Any] = {"grid_m": options.grid_m}
    if options.lines is not None:
        asked["lines_hz"] = list(options.lines)
    for name in ("points", "programme", "drive_db", "over_edges"):
        if getattr(options, name) != getattr(Options, name):
            asked[name] = getattr(options, name)
    return {"options": asked, **hang.inputs, "venue": venue_document.data}


def predict(
    hang: Hang,
    venue: Venue,
    venue_document: Document,
    catalogue: Catalogue,
    options: Options = Options(),
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> xr.Dataset:
    """The sound field of a hang in a venue.

    Parameters
    ----------
    hang, venue, venue_document, catalogue
        As loaded.
    options : Options
    progress : callable, optional
        Told the number of positions just done and the number of all.
    announce : callable, optional
        Told before a long run what memory and time it will take.

    Returns
    -------
    xarray.Dataset
        See `results.VARIABLES`.

    Raises
    ------
    FileFaults
        If the hang serves areas that the venue does not have, or an enclosure's acoustic part is at fault.
    """
    faults = check_serves(hang, venue, venue_document.file)
    layout = lay_out(hang)
    through = medium(venue.air)
    signal = PROGRAMMES[options.programme] if options.lines is None else None  # a programme is made of bands
    try:
        sources = sources_of(hang, layout, catalogue, through.c, options.lines or (), signal, options.drive_db)
        faults.extend(_check_points(sources, options.points, catalogue))
    except FileFaults as error:
        faults.extend(error.faults)
    if faults:
        raise FileFaults(faults)
    listening = listen(venue.area, hang.position_m, float(np.radians(hang.azimuth_deg)), options.grid_m)
    _check_apart(hang, sources, 1 if options.points == "auto" else options.points, listening, venue.area)
    scene = Scene(sources, listening.position, through, tuple(venue.area), options.over_edges)
    if announce is not None and len(listening.position) > LONG_RUN and options.lines is None:
        announce(scene.estimate(options.points))
    blocked = sight.hidden(sources.position, listening.position, venue.area)
    values: dict[str, Any] = {
        **position_values(listening, venue.area, hang),
        **_hang_values(hang, layout, sources),
        **surface_values(venue.area, hang.serves, options.grid_m),
        **cut_values(venue.area, hang),
        **survey_values(venue),
        "hidden": blocked,
        "arrival": _arrival(sources, listening.position, through.c),
    }
    values |= aim_ends(values, venue.area)
    attributes = _attributes(hang, venue, venue_document, layout, options)
    if options.lines is None:
        summed = scene.bands(options.points, progress)
        values |= band_values(summed.level) | {"sub_bands": summed.parts, "refinement": summed.refinement}
        level, most = sources.level_1m_db(), sources.max_level_1m_db()
        values["headroom"] = levels.headroom(0.0, level, most)
        attributes |= {"model": _model(options, summed.points), "points_per_enclosure": summed.points}
        attributes |= {"points_asked": str(options.points), "refinement_unknown": summed.unknown}
        attributes |= {**limits_of(hang, sources, options.drive_db)}
        attributes |= survey_attributes(venue, lambda place: scene.at(place, summed.points))
    else:
        attributes |= survey_attributes(venue, None)
        tell = None if progress is None else (lambda done: progress(done, len(listening.position)))
        values |= _line_values(scene.lines(options.points, options.lines, tell), options.lines)
    from acoustics import results  # it takes long to import, and may be on its way while the sum runs

    return results.dataset(values, {**attributes, "settings": results.settings_text(attributes["settings"])})


def _line_values(pressure: field.Complex, lines: Sequence[float]) -> dict[str, Any]:
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(pressure) / field.P0)
    level[pressure == 0.0] = np.nan  # nothing arrives
    return {"line": lines, "frequency": lines, "pressure": pressure, "level": level}


def _model(options: Options, points: int = 1) -> str:
    """What the numbers hold for."""
    count = points if options.points == "auto" else options.points
    text = MODEL if options.lines is None else LINE_MODEL
    if options.over_edges:
        text = text.replace(HIDDEN_OUT, HIDDEN_OVER)
    return text if count == 1 else text.replace(ONE_POINT, f"{count} directional point sources")


def limits_of(hang: Hang, sources: Sources, drive_db: float) -> dict[str, Any]:
    """The highest drive, what limits it, and what is not known of it."""
    highest = levels.highest_drive(sources.level_1m_db() - drive_db, sources.max_level_1m_db())
    rows = hang.enclosure_rows
    named = sorted({sources.directivities[sources.kind[source]].name for source, _ in highest.unknown})
    limited = ""
    if highest.source is not None and highest.band is not None:
        limited = f"row {rows[highest.source] + 1} at {bands.NOMINAL_HZ[highest.band]:g} Hz"
    elif named:
        limited = f"not known: no max_level_1m_db for {', '.join(named)}"
    margins = [kind.peak_margin_db for kind in sources.directivities]
    known = [margin for margin in margins if margin is not None]
    left_out = [f"{kind.name}: {hz:g} Hz" for kind in sources.directivities for hz in kind.left_out_hz]
    without = [
        f"{kind.name}: {hz:g} Hz"
        for kind in sources.directivities
        for hz, level in zip(bands.NOMINAL_HZ, kind.level_1m_db, strict=True)
        if np.isnan(level) and hz not in kind.left_out_hz
    ]
    return {
        "highest_drive_db": highest.drive_db,
        "limited_by": limited,
        "peak_margin_db": min(known) if len(known) == len(margins) else float("nan"),
        "bands_left_out": "; ".join(left_out),
        "bands_without_level": "; ".join(without),
    }


def _check_apart(hang: Hang, sources: Sources, points: int, listening: Listening, areas: Sequence[Area]) -> None:
    """Refuse a position nearer to a source than its model can mean anything."""
    divided, owner = split(sources, points)
    for source, place in zip(owner, divided.position, strict=True):
        apart = np.linalg.norm(listening.position - place, axis=1)
        nearest_one = int(np.argmin(apart))
        if apart[nearest_one] < NEAREST_M:
            where, row = areas[listening.area[nearest_one]].name, hang.enclosure_rows[source] + 1
            wrong = f"puts row {row} within {NEAREST_M:g} m of a listening position in {where}"
            fault = Fault(hang.document.file, "position_m", wrong, "move the hang, or the area and its ears")
            raise FileFaults([fault])


def _check_points(sources: Sources, points: int | str, catalogue: Catalogue) -> list[Fault]:
    """Faults of enclosures that cannot be divided: measured data do not say which part radiates what."""
    if points in (1, "auto"):
        return []
    measured = [kind.name for kind in sources.directivities if kind.measured is not None]
    wrong = f"gives measured data, which cannot be divided into {points} points"
    return [
        Fault(catalogue.documents[n].file, "acoustic.aes69_file", wrong, "use --points 1 or auto") for n in measured
    ]


def _hang_values(hang: Hang, layout: Layout, sources: Sources) -> dict[str, Any]:
    rows = list(hang.enclosure_rows)
    count = len(rows)
    return {
        "source_x": sources.position[:, 0],
        "source_y": sources.position[:, 1],
        "source_z": sources.position[:, 2],
        "source_axes": sources.axes,
        "source_type": [hang.items[row].name for row in rows],
        "source_row": np.array(rows) + 1,
        "source_gain": sources.gain,
        "source_delay": sources.delay,
        "aim_elevation": np.degrees(layout.rows.aim_elevation[rows]),
        "aim_azimuth": np.full(count, hang.azimuth_deg),
        "element": [hang.frame.name, *(f"row {i + 1}: {item.name}" for i, item in enumerate(hang.items))],
        "outline_along": along(layout.outline, hang),
        "outline_height": layout.outline[..., 2],
    }


def _arrival(sources: Sources, position: Array, c: float) -> Array:
    arrival = np.empty((len(sources.position), len(position)))
    for index, place in enumerate(sources.position):
        arrival[index] = np.linalg.norm(position - place, axis=1) / c + sources.delay[index]
    return arrival


def _attributes(hang: Hang, venue: Venue, venue_document: Document, layout: Layout, options: Options) -> dict[str, Any]:
    settings = settings_of(hang, venue_document, options)
    return {
        "hang": hang.name,
        "venue": venue.name,
        "datum": venue.datum,
        "revision": revision(settings),
        "design": design_word(hang, venue_document.data),
        "version": metadata.version("evenhang"),
        "model": _model(options),
        "programme": options.programme if options.lines is None else "none",
        "drive_db": options.drive_db,
        "over_edges": int(options.over_edges),
        **air_attributes(venue, venue_document),
        "trim_m": hang.position_m[2],
        "tilt_deg": hang.tilt_deg,
        "frame_xyz_m": list(hang.position_m),
        "azimuth_deg": hang.azimuth_deg,
        "lowest_edge_m": layout.lowest_m,
        "mass_kg": hang.mass_kg,
        "settings": settings,
    }
