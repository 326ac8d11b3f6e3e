"""What `evenhang predict SHOW` prints."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from acoustics import evenness, hearing
from acoustics.alignment import ECHO_DB, ECHO_S
from acoustics.app.imperial import said
from acoustics.app.neighbours_sheet import neighbours_of, neighbours_table
from acoustics.app.sheet import Block, Paragraph, Table, number
from acoustics.app.survey_sheet import measured, measured_text
from acoustics.bands import OCTAVES_HZ
from acoustics.programme import PROGRAMMES
from acoustics.show import Show
from acoustics.show_prediction import Proposal
from rigging.cautions import CAUTIONS

if TYPE_CHECKING:
    import xarray as xr

Array = npt.NDArray[np.float64]

_NEAR_DB = 6.0  # a second part so near to the loudest is counted as an overlap


def summarise_show(
    show: Show, result: xr.Dataset, found: list[Proposal], average_below_db: float = 0.0
) -> dict[str, Any]:
    """A show's result as plain data; a figure that does not exist is NaN."""
    a = result.attrs
    on_grid = ~result["on_section"].values
    seats = result.isel(position=np.flatnonzero(on_grid))
    served = seats["surface"].values[seats["surface_served"].values.astype(bool)]
    listed = [
        (str(name), str(role))
        for name, role in zip(seats["surface"].values, seats["surface_role"].values, strict=True)
        if role != "obstacle"
    ]
    rows = [_figures(seats, name, [name]) | {"role": role} for name, role in listed]
    whole = _figures(seats, "all audience", list(served)) | {"role": "audience"}
    audience = np.isin(seats["area"].values, served)
    loudest = {kind: _greatest(seats[f"level_{kind}"].values[audience]) for kind in ("a", "c")}
    judged = hearing.judge(
        loudest["a"], loudest["c"], PROGRAMMES[a["programme"]].crest_db, average_below_db, "what the show file names"
    )
    keys = ("hang", "venue", "revision", "design", "version", "datum", "model", "programme", "drive_db", "correlation")
    return {
        **{key: a[key] for key in (*keys, "highest_drive_db", "limited_by", "speed_of_sound_m_s", "temperature_c")},
        "areas": [*rows, whole],
        "parts": [_part(show, seats, index, listed) for index in range(len(show.parts))],
        "overlap": _overlap(seats, audience),
        "delays": [vars(proposal) for proposal in found],
        "echo": _echo(seats, audience),
        "neighbours": neighbours_of(show, seats),
        "hearing": hearing.lines(judged),
        **measured(result),
        "cautions": list(CAUTIONS),
    }


def _figures(seats: xr.Dataset, name: str, areas: list[Any]) -> dict[str, Any]:
    some = seats.isel(position=np.flatnonzero(np.isin(seats["area"].values, areas)))
    weight = some["seat_weight"].values
    found = evenness.measure(some["level_a"].values, some["distance"].values, weight)
    octaves = zip(OCTAVES_HZ, some["octave_level"].values, strict=True)
    return {
        "name": name,
        "area_m2": float(weight.sum()),
        "level_a_mean_db": found.mean,
        "level_a_apart_db": evenness.mean(some["level_a_apart"].values, weight),
        "level_a_same_db": evenness.mean(some["level_a_same"].values, weight),
        "level_a_p5_p95_db": found.p95 - found.p5,
        "octave_deviation_db": {f"{hz:g}": evenness.deviation(level, weight) for hz, level in octaves},
    }


def _part(show: Show, seats: xr.Dataset, index: int, listed: list[tuple[str, str]]) -> dict[str, Any]:
    part = show.parts[index]
    level, loudest = seats["part_level_a"].values[index], seats["loudest_part"].values == index
    weight = seats["seat_weight"].values
    where = {}
    for name, _ in listed:
        mine = seats["area"].values == name
        total = float(weight[mine].sum())
        share = float(weight[mine & loudest].sum()) / total if total else math.nan
        where[name] = {"level_a_mean_db": evenness.mean(level[mine], weight[mine]), "loudest_share": share}
    serves = [str(name) for name in seats["surface"].values[seats["part_serves"].values[index].astype(bool)]]
    return {
        "name": part.name,
        "channel": part.channel,
        "delay_ms": part.asked.delay_ms,
        "gain_db": part.asked.gain_db,
        "inverted": part.asked.inverted,
        "serves": serves,
        "serves_told_by": "file" if part.serves is not None else "level",
        "areas": where,
    }


def _overlap(seats: xr.Dataset, audience: npt.NDArray[np.bool_]) -> dict[str, Any]:
    """How much of the audience hears a second part nearly as loud as the loudest, and how wide such places are."""
    second, weight = seats["second_below"].values, np.where(audience, seats["seat_weight"].values, 0.0)
    total = float(weight.sum())
    near = float(weight[second <= _NEAR_DB].sum())
    border = _border_m(seats, audience)
    return {
        "within_db": _NEAR_DB,
        "area_m2": near,
        "share": near / total if total else math.nan,
        "second_below_db": [evenness.percentile(second, weight, percent) for percent in (5.0, 50.0, 95.0)],
        "border_m": border,
        "width_m": near / border if border else math.nan,
    }


def _border_m(seats: xr.Dataset, audience: npt.NDArray[np.bool_]) -> float:
    """Length of the lines where the loudest part changes: sides of cells between seats of different ones. [m]

    Sides of a square grid are longer than a line across them; over all directions by 4/π.
    """
    length = 0.0
    for name, cell in zip(seats["surface"].values, seats["surface_cell"].values, strict=True):
        mine = np.flatnonzero((seats["area"].values == name) & audience)
        if not len(mine) or np.isnan(cell).any():
            continue
        place = np.column_stack([seats["x"].values[mine], seats["y"].values[mine]])
        loudest = seats["loudest_part"].values[mine]
        for index, one in enumerate(place):
            apart = np.abs(place[index + 1 :] - one)
            beside = np.hypot(*apart.T) < 1.01 * float(cell.max())
            length += float(cell.mean()) * float((loudest[index + 1 :][beside] != loudest[index]).sum())
    return length * math.pi / 4.0


def _echo(seats: xr.Dataset, audience: npt.NDArray[np.bool_]) -> dict[str, float]:
    late, weight = seats["echo_late"].values, np.where(audience, seats["seat_weight"].values, 0.0)
    some = np.isfinite(late) & (weight > 0)
    return {
        "area_m2": float(weight[some].sum()),
        "share": float(weight[some].sum() / weight.sum()) if weight.sum() else math.nan,
        "latest_s": float(late[some].max()) if some.any() else math.nan,
    }


def _greatest(level: Array) -> float:
    known = level[~np.isnan(level)]
    return float(known.max()) if len(known) else math.nan


def text(summary: dict[str, Any], *, imperial: bool = False) -> str:
    """The summary for people, with feet and pounds where they are asked for."""
    return said(_blocks(summary), imperial=imperial)


def _blocks(summary: dict[str, Any]) -> list[Block]:
    s = summary
    lines: list[Block] = [
        f"{s['hang']}  in  {s['venue']}",
        f"DESIGN {s['design']}    REVISION {s['revision']}    evenhang {s['version']}",
        "",
        levels_table(s),
        "",
        "PARTS: mean level alone, dB(A), and the share of the seats where it is the loudest",
        parts_table(s),
        "",
        *overlap_lines(s["overlap"]),
    ]
    if s["delays"]:
        lines += ["", "DELAYS", delays_table(s)]
    lines += ["", *echo_lines(s["echo"])]
    if s["neighbours"]:
        lines += ["", "NEIGHBOURS, loudest place of each quiet area", neighbours_table(s["neighbours"])]
    most = s["highest_drive_db"]
    highest = s["limited_by"] if math.isnan(most) else f"{most:+.1f} dB, where {s['limited_by']} reaches its maximum"
    lines += [f"drive {s['drive_db']:+g} dB, {s['programme']} programme; highest: {highest}", ""]
    noted = [Paragraph(line, 98, indent=4, first=2) for line in s["hearing"]]
    lines += ["hearing, loudest seat of the audience:", *noted, ""]
    lines += [*measured_text(s), ""] if "measured" in s else []
    return [
        *lines,
        Paragraph(f"model:  {s['model']}", 98, indent=8),
        "",
        *(f"! {caution}" for caution in s["cautions"]),
    ]


def levels_table(s: dict[str, Any]) -> Table:
    """Levels of each area and of all the audience."""
    octaves = list(s["areas"][0]["octave_deviation_db"])
    rows = []
    for row in s["areas"]:
        name = f"{row['name']} (quiet)" if row["role"] == "quiet" else row["name"]
        ends = [number(row[f"level_a_{end}_db"]) for end in ("mean", "apart", "same", "p5_p95")]
        rows.append([name, *ends, *(number(row["octave_deviation_db"][hz]) for hz in octaves)])
    head = ["", "mean dB(A)", "different", "same", "spread", *octaves]
    notes = (
        f"mean: channels correlated by {s['correlation']:g}; different, same: programme of the channels, the two ends;",
        "spread: 5–95 % of the seats; then the standard deviation of the octaves, dB",
    )
    return Table(head, rows, "lrrrr" + "r" * len(octaves), notes)


def parts_table(s: dict[str, Any]) -> Table:
    """Each part alone in each area, its drive, and what it serves."""
    areas = list(s["parts"][0]["areas"])
    rows = []
    for part in s["parts"]:
        cells = [f"{number(one['level_a_mean_db'])} {_share(one['loudest_share'])}" for one in part["areas"].values()]
        served = ", ".join(part["serves"]) + (" (told by level)" if part["serves_told_by"] == "level" else "")
        drive = f"{part['delay_ms']:.2f}" + (" inv." if part["inverted"] else "")
        rows.append([part["name"], part["channel"], drive, *cells, served])
    return Table(["", "channel", "delay ms", *areas, "serves"], rows, "llr" + "r" * len(areas) + "l")


def _share(share: float) -> str:
    return "–" if math.isnan(share) else f"{share:4.0%}"


def overlap_lines(of: dict[str, Any]) -> list[str]:
    """How far the next loudest part lies below, and where two are heard."""
    if not of["area_m2"]:
        return [f"overlap: nowhere is a second part within {of['within_db']:g} dB of the loudest"]
    wide = (
        "" if math.isnan(of["width_m"]) else f"; {of['width_m']:.1f} m wide in the mean, along {of['border_m']:.0f} m"
    )
    below = " / ".join(number(value) for value in of["second_below_db"])
    return [
        f"second: the next loudest part lies {below} dB below the loudest at 5, 50, 95 % of the seats",
        f"overlap: a second part within {of['within_db']:g} dB of the loudest over {of['area_m2']:.0f} m², "
        f"{of['share']:.0%} of the audience{wide}",
    ]


def delays_table(s: dict[str, Any]) -> Table:
    """The delays that are proposed, and what then stays apart."""
    rows = []
    for one in s["delays"]:
        known = not math.isnan(one["delay_s"])
        delay = f"{one['delay_s'] * 1000.0:.2f} ms" if known else "–"
        turn = "turn polarity" if one["inverted"] else ""
        left = "–"
        if not math.isnan(one["left_s"][1]):
            left = " ".join(f"{late * 1000.0:+.1f}" for late in one["left_s"])
        elif one["short_db"] is not None:
            left = f"{one['short_db'][0]:.1f} → {one['short_db'][1]:.1f} dB short"
        rows.append([one["of"], one["to"], delay, turn, left, one["note"]])
    notes = (
        "left: how much later it then arrives where both overlap; short: of the sum of both pressures, over an octave;",
        f"for air of {s['temperature_c']:g} °C, {s['speed_of_sound_m_s']:.1f} m/s; 10 K move one over 50 m by 2.5 ms",
    )
    return Table(["of", "to", "delay", "", "left, ms at 5, 50, 95 %", "holds"], rows, "llrlrl", notes)


def echo_lines(of: dict[str, float]) -> list[str]:
    """Where a part arrives so late and so loud that it may be heard as an echo."""
    rule = (
        f"{ECHO_S * 1000.0:.0f} ms or more after the first and less than {ECHO_DB:g} dB below all before it "
        "(speech; after Haas 1951, values from memory)"
    )
    if not of["area_m2"]:
        return [f"echo: no part arrives {rule}"]
    where = (
        f"over {of['area_m2']:.0f} m², {of['share']:.0%} of the audience, at most {of['latest_s'] * 1000.0:.0f} ms late"
    )
    return [f"echo: a part arrives {rule}", f"      {where}"]
