"""From a show to a result: every part alone, all together, who is loudest where, and when each arrives."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import metadata
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from acoustics import alignment, bands, evenness, field, levels, sight
from acoustics.field import Sources
from acoustics.listening import GRID_M, Listening, listen
from acoustics.prediction import HIDDEN_OUT, HIDDEN_OVER
from acoustics.programme import PROGRAMMES
from acoustics.scene import NEAREST_M
from acoustics.show import Show, sources_of
from acoustics.sources import medium
from acoustics.survey_values import survey_attributes, survey_values
from acoustics.together import Together, together
from acoustics.values import air_attributes, band_values, cut_values, position_values, surface_values
from rigging.equipment import Catalogue
from rigging.faults import Fault, FileFaults
from rigging.revision import revision

if TYPE_CHECKING:
    import xarray as xr

Array = npt.NDArray[np.float64]

_COVERS = 0.25
MODEL = (
    "free field, direct sound: one directional point source per enclosure, complex sum over the bands in closed form; "
    f"coherent inside a programme channel, channels correlated as given; {HIDDEN_OUT}"
)


@dataclass(frozen=True)
class ShowOptions:
    """What a prediction of a show is asked for: cell size [m], programme, gain of all [dB], hidden sources weakened
    as behind one edge, correlation of the channels in place of the file's."""

    grid_m: float = GRID_M
    programme: str = "pink"
    drive_db: float = 0.0
    over_edges: bool = False
    correlation: float | None = None


def predict_show(
    show: Show,
    catalogue: Catalogue,
    options: ShowOptions = ShowOptions(),
    progress: Callable[[int, int], None] | None = None,
) -> tuple[xr.Dataset, list[Sources]]:
    """The sound field of a show.

    Returns
    -------
    xarray.Dataset
        See `results.VARIABLES`.
    list of Sources
        Of each part.

    Raises
    ------
    FileFaults
        If an enclosure's acoustic part is at fault, or a source stands in a listener's place.
    """
    areas, through = tuple(show.venue.area), medium(show.venue.air)
    signal = PROGRAMMES[options.programme]
    parts = _sources(show, catalogue, through.c, options)
    first = show.parts[0]
    listening = listen(areas, first.position_m, float(np.radians(first.azimuth_deg)), options.grid_m)
    _check_apart(show, parts, listening)
    channel = [show.channels.index(part.channel) for part in show.parts]
    found = together(parts, channel, listening.position, through, areas, options.over_edges, progress)
    correlation = show.correlation if options.correlation is None else options.correlation

    def hear(places: Array) -> Array:
        return together(parts, channel, places, through, areas, options.over_edges).level(correlation)

    values: dict[str, Any] = {
        **position_values(listening, areas, first),
        **surface_values(areas, None, options.grid_m),
        **cut_values(areas, first),
        **survey_values(show.venue),
        **band_values(found.level(correlation)),
        **_part_values(show, found),
        **_source_values(show, parts, found),
    }
    values["part_serves"] = _serves(show, values)
    headroom = [levels.headroom(0.0, one.level_1m_db(), one.max_level_1m_db()) for one in parts]
    values["headroom"] = np.concatenate(headroom)
    from acoustics import results

    settings = {**show.inputs, "options": vars(options)}
    attributes = {
        "hang": show.name,
        "venue": show.venue.name,
        "datum": show.venue.datum,
        "revision": revision(settings),
        "design": revision(dict(show.inputs)),
        "version": metadata.version("evenhang"),
        "model": MODEL.replace(HIDDEN_OUT, HIDDEN_OVER) if options.over_edges else MODEL,
        "programme": signal.name,
        "drive_db": options.drive_db,
        "correlation": correlation,
        "channels": "; ".join(show.channels),
        **_highest(show, parts, options.drive_db),
        **air_attributes(show.venue, show.venue_document),
        **survey_attributes(show.venue, hear),
    }
    return results.dataset(values, attributes), parts


def _sources(show: Show, catalogue: Catalogue, c: float, options: ShowOptions) -> list[Sources]:
    faults: list[Fault] = []
    found = []
    signal = PROGRAMMES[options.programme]
    for part in show.parts:
        try:
            found.append(sources_of(part, catalogue, c, (), signal, options.drive_db))
        except FileFaults as error:
            faults += [fault for fault in error.faults if fault not in faults]
    if faults:
        raise FileFaults(faults)
    return found


def _check_apart(show: Show, parts: Sequence[Sources], listening: Listening) -> None:
    for part, sources in zip(show.parts, parts, strict=True):
        for index, place in enumerate(sources.position):
            near = np.linalg.norm(listening.position - place, axis=1)
            if near.min() < NEAREST_M:
                area = show.venue.area[listening.area[int(near.argmin())]].name
                wrong = f"has its enclosure {index + 1} of {part.name} within {NEAREST_M:g} m of a seat in {area}"
                raise FileFaults([Fault(show.document.file, "", wrong, "move it, or the area and its ears")])


def _part_values(show: Show, found: Together) -> dict[str, Any]:
    """What each part does alone, and how they compare."""
    weight = bands.weighting(bands.midbands(), "A")[:, np.newaxis]
    alone = np.array([bands.energy_sum(level + weight) for level in found.part])
    ranked = np.sort(np.where(np.isnan(alone), -np.inf, alone), axis=0)[::-1]
    loudest = np.where(np.isfinite(ranked[0]), np.argmax(np.nan_to_num(alone, nan=-np.inf), axis=0), -1)
    with np.errstate(invalid="ignore"):
        second = ranked[0] - ranked[1] if len(ranked) > 1 else np.full(alone.shape[1], np.nan)
    return {
        "part": [part.name for part in show.parts],
        "part_channel": [part.channel for part in show.parts],
        "part_delay": [part.asked.delay_ms / 1000.0 for part in show.parts],
        "part_level": found.part,
        "part_level_a": alone,
        "part_arrival": found.arrival,
        "level_apart": found.apart,
        "level_same": found.same,
        "level_a_apart": bands.energy_sum(found.apart + weight),
        "level_a_same": bands.energy_sum(found.same + weight),
        "loudest_part": loudest,
        "second_below": np.where(np.isfinite(second), second, np.nan),
        "echo_late": alignment.echoes(found.arrival, alone)[0],
    }


def _serves(show: Show, values: dict[str, Any]) -> npt.NDArray[np.bool_]:
    """Areas that each part serves, (U, areas): by its file, or those where it is the loudest for a quarter of the
    seats, or else that where it is loudest."""
    audience = np.array([area.role == "audience" for area in show.venue.area])
    weight = [np.where(values["area"] == area.name, values["seat_weight"], 0.0) for area in show.venue.area]
    found = np.zeros((len(show.parts), len(audience)), dtype=bool)
    for index, part in enumerate(show.parts):
        if part.serves is not None:
            found[index] = [area.name in part.serves for area in show.venue.area]
            continue
        mine = values["loudest_part"] == index
        share = np.array([float(one[mine].sum()) / max(float(one.sum()), 1e-9) for one in weight])
        found[index] = audience & (share >= _COVERS)
        if not found[index].any():
            mean = [evenness.mean(values["part_level_a"][index], one) for one in weight]
            found[index, int(np.argmax(np.where(audience, np.nan_to_num(mean, nan=-np.inf), -np.inf)))] = True
    return found


def _source_values(show: Show, parts: Sequence[Sources], found: Together) -> dict[str, Any]:
    position = np.concatenate([one.position for one in parts])
    rows = [
        np.array(part.hang.enclosure_rows) + 1 if part.hang is not None else np.arange(len(one.kind)) + 1
        for part, one in zip(show.parts, parts, strict=True)
    ]
    return {
        "source_x": position[:, 0],
        "source_y": position[:, 1],
        "source_z": position[:, 2],
        "source_axes": np.concatenate([one.axes for one in parts]),
        "source_type": [one.directivities[kind].name for one in parts for kind in one.kind],
        "source_row": np.concatenate(rows),
        "source_part": found.owner,
        "source_gain": np.concatenate([one.gain for one in parts]),
        "source_delay": np.concatenate([one.delay for one in parts]),
        "hidden": found.hidden,
    }


def _highest(show: Show, parts: Sequence[Sources], drive_db: float) -> dict[str, Any]:
    """The highest drive of all, and which part limits it."""
    highest = [levels.highest_drive(one.level_1m_db() - drive_db, one.max_level_1m_db()) for one in parts]
    unknown = [part.name for part, one in zip(show.parts, highest, strict=True) if one.unknown]
    if unknown or all(one.source is None for one in highest):
        return {
            "highest_drive_db": float("nan"),
            "limited_by": f"not known of {', '.join(unknown) or 'what is silent'}",
        }
    least = int(np.nanargmin([one.drive_db for one in highest]))  # a part that is silent limits nothing
    band = highest[least].band
    where = "" if band is None else f" at {bands.NOMINAL_HZ[band]:g} Hz"
    return {"highest_drive_db": highest[least].drive_db, "limited_by": f"{show.parts[least].name}{where}"}


@dataclass(frozen=True)
class Proposal:
    """What one `[[align]]` comes to.

    `delay_s` is what `of` is to have in all [s], NaN where nothing tells it; `note`: where it holds, or why it is not
    known. `left_s` (3,): 5th, 50th and 95th percentile of how much later `of` then arrives than `to` where they
    overlap [s]; `overlap_m2` [m²]; `short_db`: what the sum falls short of both pressures, now and then, for phase.
    """

    of: str
    to: str
    by: str
    delay_s: float
    inverted: bool
    note: str
    overlap_m2: float = 0.0
    left_s: tuple[float, float, float] = (float("nan"),) * 3
    short_db: tuple[float, float] | None = None


def proposals(show: Show, result: xr.Dataset, parts: Sequence[Sources]) -> list[Proposal]:
    """The delays that the show's `[[align]]` ask for, one after the other as the file has them.

    Each is found with the delays of the file; what aligns to something that is itself moved adds that on.
    """
    names = [part.name for part in show.parts]
    moved = np.zeros(len(parts))
    found = []
    for asked in show.aligns:
        of, to = names.index(asked.of), names.index(asked.to)
        if asked.by == "phase":
            proposal = _by_phase(show, parts, of, to, asked.at_m, asked.crossover_hz, float(moved[to]))
        else:
            proposal = _by_arrival(show, result, parts, of, to, asked.at_m, asked.lead_ms / 1000.0, float(moved[to]))
        if np.isfinite(proposal.delay_s):
            moved[of] = proposal.delay_s - show.parts[of].asked.delay_ms / 1000.0
        found.append(proposal)
    return found


def _by_arrival(
    show: Show,
    result: xr.Dataset,
    parts: Sequence[Sources],
    of: int,
    to: int,
    at_m: tuple[float, float, float] | None,
    lead_s: float,
    moved_to_s: float,
) -> Proposal:
    arrival, level = result["part_arrival"].values, result["part_level_a"].values
    weight = _seats_of(result, of)
    apart = alignment.apart(arrival[of], arrival[to] + moved_to_s, level[of], level[to], weight)
    had = show.parts[of].asked.delay_ms / 1000.0
    overlap = float(weight[apart.overlap].sum())
    if at_m is not None:
        of_first, to_first = (_at(parts[index], at_m, show) for index in (of, to))
        more, note = to_first + moved_to_s - of_first + lead_s, f"at x {at_m[0]:g}, y {at_m[1]:g}, z {at_m[2]:g} m"
    elif not apart.overlap.any():
        names = f"{show.parts[of].name} and {show.parts[to].name}"
        why = f"no seat that {show.parts[of].name} serves hears {names}: give at_m"
        return Proposal(show.parts[of].name, show.parts[to].name, "arrival", float("nan"), False, why)
    else:
        more, note = alignment.delay_for(apart, weight, lead_s), f"where both are within {apart.off_db:.1f} dB"
        if apart.off_db > alignment.OVERLAP_DB:
            note += ", as near as they come"
    if np.isnan(more):
        note += ", where one of them is hidden"
    late, seats = apart.late[apart.overlap] + more, weight[apart.overlap]
    left = tuple(evenness.percentile(late, seats, percent) for percent in (5.0, 50.0, 95.0))
    if had + more < -1e-9:
        note += f"; it is late as it is: delay {show.parts[to].name} by {-(had + more) * 1000.0:.2f} ms instead"
    low, middle, high = left
    names_ = show.parts[of].name, show.parts[to].name
    return Proposal(*names_, "arrival", had + more, False, note, overlap, (low, middle, high))


def _by_phase(
    show: Show,
    parts: Sequence[Sources],
    of: int,
    to: int,
    at_m: tuple[float, float, float] | None,
    crossover_hz: float | None,
    moved_to_s: float,
) -> Proposal:
    assert at_m is not None
    assert crossover_hz is not None  # the file was checked
    other = dataclasses.replace(parts[to], delay=parts[to].delay + moved_to_s)
    names = show.parts[of].name, show.parts[to].name
    lines, place = alignment.crossover_lines(crossover_hz), np.array([at_m])
    mine, theirs = (_pressure(one, place, lines, show) for one in (parts[of], other))
    try:
        found = alignment.in_phase(mine, theirs, lines)
    except ValueError as error:
        return Proposal(*names, "phase", float("nan"), False, str(error))
    had = show.parts[of].asked.delay_ms / 1000.0
    note = f"through {crossover_hz:g} Hz at x {at_m[0]:g}, y {at_m[1]:g}, z {at_m[2]:g} m"
    short = found.as_is_db, found.short_db
    return Proposal(*names, "phase", had + found.delay_s, found.inverted, note, short_db=short)


def _pressure(sources: Sources, place: Array, lines: Array, show: Show) -> field.Complex:
    """Complex pressures at one place (1, 3), what is hidden left out, (F,). [Pa]"""
    hidden = sight.hidden(sources.position, place, tuple(show.venue.area))
    return np.asarray(field.line_pressure(sources, place, lines, medium(show.venue.air), hidden)[:, 0])


def _at(sources: Sources, place: tuple[float, float, float], show: Show) -> float:
    """First arrival at a place of what is not hidden; NaN where all is. [s]"""
    hidden = sight.hidden(sources.position, np.array([place]), tuple(show.venue.area))[:, 0]
    arrival = np.linalg.norm(sources.position - np.array(place), axis=1) / show.venue.air.c + sources.delay
    return float(np.min(arrival, where=~hidden, initial=np.inf)) if not hidden.all() else float("nan")


def _seats_of(result: xr.Dataset, part: int) -> Array:
    """Seat weights of the areas that a part serves, 0 elsewhere, (P,)."""
    served = result["surface"].values[result["part_serves"].values[part].astype(bool)]
    return np.where(np.isin(result["area"].values, served), result["seat_weight"].values, 0.0)
