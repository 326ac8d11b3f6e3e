"""The sheet for the venue's engineer, days before: points, what they carry, what else is needed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from acoustics.app.outcome import Outcome, ShowOutcome
from acoustics.app.pages import Picture
from acoustics.app.report_data import heading
from acoustics.app.sheet import Figure
from acoustics.power import Feed
from acoustics.show import Show
from rigging.check import Report, check, greatest_on, roof_loads
from rigging.equipment import Catalogue
from rigging.findings import CANNOT, EXCEEDS, WITHIN, Finding, counts
from rigging.geometry import side_of
from rigging.points import PointLoad
from rigging.site import Site
from rigging.statics import G

if TYPE_CHECKING:
    import xarray as xr

Array = npt.NDArray[np.float64]
_DENSE = 12  # loads beyond which the table is set in smaller type
NO_MAINS = "what an amplifier or a hoist takes from the mains, and by which connector, is in no file: not known"


@dataclass(frozen=True)
class Place:
    """Where something is wanted: its mark on the plan, its name, where [m], and its rated limit [kg]."""

    mark: str
    name: str
    position_m: tuple[float, float, float]
    limit_kg: float | None


def hang_advance(outcome: Outcome) -> dict[str, Any]:
    """Values of the sheet of a hang and of what hangs beside it."""
    of, everyone = outcome.report, (outcome.report.hang, *outcome.others)
    reports = [of] + [
        check(one, outcome.catalogue, of.policy, of.site, [other for other in everyone if other is not one])
        for one in outcome.others
    ]
    power = ["amplifiers: not known, a hang file names none; a show file with [power] does", NO_MAINS]
    side = side_of(outcome.report.hang)
    return _values(outcome.summary, reports, outcome.catalogue, outcome.result) | {"power": power, "side": side}


def show_advance(outcome: ShowOutcome) -> dict[str, Any]:
    """Values of the sheet of a show."""
    power = [*_power(outcome.show, outcome.judged.feeds), NO_MAINS]
    placed = [
        f"{part.placed.count} {part.placed.enclosure} ({part.name}), "
        f"{_mass_of(part.placed.enclosure, outcome.catalogue) * part.placed.count:.0f} kg"
        for part in outcome.show.parts
        if part.placed is not None
    ]
    values = _values(outcome.summary, outcome.judged.reports, outcome.catalogue, outcome.result)
    if placed:
        values["masses"].append(f"on stage or floor, how they stand is not judged: {'; '.join(placed)}")
    return values | {"power": power, "side": ""}


def _values(
    summary: dict[str, Any], reports: Sequence[Report], catalogue: Catalogue, result: xr.Dataset
) -> dict[str, Any]:
    from acoustics.app.setting_out import setting_out_figure

    site = reports[0].site if reports else None
    places = list(_places(reports, site))
    loads = [row for report in reports for row in _loads(report, catalogue, places)]
    corners = [one[~np.isnan(one[:, 0]), :2] for one in result["surface_corner"].values]
    figure = setting_out_figure([one.position_m[:2] for one in places], [one.mark for one in places], corners)
    return {
        **heading(summary),
        "datum": summary["datum"],
        "plan": Picture(figure, "setting-out") if places else "",
        "points": [_point_row(place, reports) for place in places],
        "loads": loads,
        "gusts": any(report.gusts for report in reports),
        "dense": len(loads) > _DENSE,
        "masses": _masses(reports),
        "hoists": _hoists(reports),
        "bridles": _bridles(reports),
        "open": _open(reports),
    }


def _places(reports: Sequence[Report], site: Site | None) -> Iterator[Place]:
    """Venue points that something hangs from, in the order of the venue file, then places that are no points."""
    used = {load.point for report in reports for load in report.loads}
    mark = 0
    for point in site.point if site else ():
        if point.name in used:
            mark += 1
            yield Place(str(mark), point.name, point.position_m, point.limit_kg)
    for report in reports:
        pullback = report.hang.pullback
        if pullback is not None and pullback.point is None and pullback.to_m is not None:
            mark += 1
            yield Place(str(mark), f"{report.hang.name}, pull-back", pullback.to_m, None)


def _point_row(place: Place, reports: Sequence[Report]) -> dict[str, str]:
    found = next((one for report in reports for one in report.findings if one.part == f"point {place.name}"), None)
    known = [load for report in reports if (load := greatest_on(report, place.name)) is not None]
    where = {axis: Figure(f"{at:.2f}", "m") for axis, at in zip("xyz", place.position_m, strict=True)}
    return {
        "mark": place.mark, "name": place.name, **where,
        "limit": "–" if place.limit_kg is None else Figure(f"{place.limit_kg:.0f}", "kg"),
        "total": Figure(f"{max(known):.0f}", "kg") if known else "–", "status": _status(found),
    }  # fmt: skip


def _status(found: Finding | None) -> str:
    if found is None or found.status == CANNOT:
        return CANNOT.upper()
    used = "" if found.used is None or found.used >= 10 else f" {found.used:.0%}"
    return f"{found.status if found.status == WITHIN else found.status.upper()}{used}"


def _loads(report: Report, catalogue: Catalogue, places: Sequence[Place]) -> Iterator[dict[str, Any]]:
    """What each pick, leg and pull-back of a hang puts on its point, after a line for the hang itself."""
    hang = report.hang
    if hang.standing:
        yield {"head": f"{hang.name}: stands on the ground, no points; what the ground carries is not judged"}
        return
    yield {"head": f"{hang.name}: {_on_hooks_kg(report):.0f} kg on the hooks, trim {hang.position_m[2]:.2f} m"}
    marks = {place.name: place.mark for place in places}
    rest, moving = (roof_loads(report, catalogue, at_rest=at_rest) for at_rest in (True, False))
    gusts: Sequence[PointLoad | None] = report.gusts or [None] * len(rest)
    hoists = {line.name: "–" if line.hoist is None else line.hoist.name for line in report.lines}
    hoists["pull-back"] = (hang.pullback.hoist if hang.pullback else None) or "–"
    if not rest:
        yield {"head": "its picks are not named: points and loads are not known, CANNOT BE JUDGED"}
    for still, moved, gust in zip(rest, moving, gusts, strict=True):
        open_in_gust = _only_in(gust.why, moved.why) if gust is not None else []
        user = still.user.removeprefix(f"{hang.name}, ")
        part = next((line for line in report.lines if line.name == user), None)
        leg = "; leg of a bridle" if part is not None and part.pick.leg else ""
        yield {
            "head": "",
            "mark": marks.get(still.point, "–"),
            "user": f"{user}{leg}",
            "hoist": hoists.get(user, hoists["pull-back"]),
            "rest": _components(still),
            "moving": _components(moved),
            "gust": ["–"] * 3 if gust is None or open_in_gust else _components(gust),
            "why": "; ".join([*([moved.why] if moved.why else []), *(f"in a gust: {why}" for why in open_in_gust)]),
        }


def _only_in(why: str, other: str) -> list[str]:
    """Reasons of one load that are not among another's: for these its numbers are not those of a gust."""
    known = other.split("; ")
    return [one for one in dict.fromkeys(why.split("; ")) if one and one not in known]


def _components(load: PointLoad) -> list[str]:
    """Down, x and y; dashes where not known. [kg]"""
    if load.force_n is None or not np.isfinite(load.force_n).all():
        return ["–"] * 3
    x, y, z = np.asarray(load.force_n) / G
    said = [f"{-z:.0f}", *(f"{value:+.0f}" if abs(value) >= 0.5 else "0" for value in (x, y))]
    return [Figure(one, "kg") for one in said]


def _masses(reports: Sequence[Report]) -> list[str]:
    hung = [report for report in reports if report.stages]
    hooks = sum(_on_hooks_kg(report) for report in hung)
    lines_of = [line for report in hung for line in report.lines]
    above = sum(line.above_hook_kg or 0.0 for line in lines_of)
    legs = sum(float(line.leg_loads.own_kg.sum()) for line in lines_of if line.leg_loads is not None)
    lines = [f"{hooks:.0f} kg on all hooks: frames, enclosures, cables, what is below the hooks, as their files say"]
    lines.append(f"{above + legs:.0f} kg of hoists, chain and what they hang from")
    missing = list(dict.fromkeys(_not_weighed(hung)))
    if missing:
        lines.append(f"not in it: {'; '.join(missing)}")
    stacks = [report.hang for report in reports if report.hang.standing]
    return lines + [f"{hang.name}, on the ground: {hang.mass_kg:.0f} kg" for hang in stacks]


def _on_hooks_kg(report: Report) -> float:
    """Mass of a complete column and of what is named between its holes and hooks. [kg]"""
    return report.stages[-1].column.mass_kg + sum(line.below_hook_kg for line in report.lines)


def _not_weighed(hung: Sequence[Report]) -> Iterator[str]:
    """What hangs and is in no sum of masses, in words."""
    for report in hung:
        hang = report.hang
        if hang.loom is None:
            yield f"cables of {hang.name}"
        if hang.pullback is not None:
            yield f"hoist and hardware of the pull-back of {hang.name}"
        for line in report.lines:
            if line.hoist is None:
                yield "hoists that are not named"
            if line.pick.hardware is None or line.pick.top_hardware is None:
                yield "hardware that is not named"
            if line.pick.leg and (line.leg_loads is None or line.leg_loads.gap):
                yield "legs of bridles that are not known"


def _hoists(reports: Sequence[Report]) -> list[str]:
    names = [line.pick.hoist or "not named" for report in reports for line in report.lines]
    names += [report.hang.pullback.hoist or "not named" for report in reports if report.hang.pullback is not None]
    return [f"{count} {name}" for name, count in sorted(Counter(names).items())] or ["none is named"]


def _bridles(reports: Sequence[Report]) -> list[str]:
    found = []
    for report in reports:
        for line in report.lines:
            if not line.pick.leg:
                continue
            to = ", ".join(leg.point for leg in line.pick.leg)
            angles = "angles not known"
            if line.legs is not None:
                degrees = (f"{float(np.degrees(angle)):.0f}°" for angle in line.legs.from_horizontal)
                angles = f"{', '.join(degrees)} from the horizontal"
            found.append(f"{report.hang.name}, {line.name}: legs to {to}, apex {line.pick.apex_m:.2f} m, {angles}")
    return found


def _open(reports: Sequence[Report]) -> list[str]:
    """What cannot be judged, by hang."""
    found = []
    for report in reports:
        names = [f"{one.part}: {one.what}" for one in report.findings if one.status == CANNOT]
        if names:
            more = f" and {len(names) - 3} more" if len(names) > 3 else ""
            found.append(f"{report.hang.name}: {len(names)} cannot be judged: {'; '.join(names[:3])}{more}")
    exceed = sum(counts(report.findings)[EXCEEDS] for report in reports)
    return [*([f"{exceed} FINDINGS EXCEED A LIMIT: see the report"] if exceed else []), *found]


def _power(show: Show, listed: Sequence[Feed]) -> list[str]:
    if show.power is None:
        return ["amplifiers: not known, the show file has no [power]"]
    count = max((feed.amplifier for feed in listed), default=0)
    channels = sum(len(feed.channels) for feed in listed)
    unfed = sorted({feed.enclosure for feed in listed if not feed.channels})
    lines = [f"outlets for {count} amplifiers ({show.power.amplifier}), {channels} of their channels in use"]
    if unfed:
        lines.append(f"not in it: {', '.join(unfed)}, whose files say nothing of what drives them")
    return lines


def _mass_of(name: str, catalogue: Catalogue) -> float:
    return float(getattr(catalogue.items[name], "mass_kg", float("nan")))
