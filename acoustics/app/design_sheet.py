"""What `evenhang design` prints: before and after, the column to hang, what else there is to choose."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from acoustics.app.check_sheet import shown_places
from acoustics.app.imperial import said
from acoustics.app.sheet import Block, Figure, Table, number
from acoustics.bands import NOMINAL_HZ, OCTAVES_HZ, octave_bands
from acoustics.search.objective import deviation
from acoustics.search.problem import Problem
from acoustics.search.prove import Proof
from acoustics.search.shading import Correction, Shading
from acoustics.search.solve import Answer, Option
from acoustics.search.tolerance import AIR_K, SPLAY_DEG, TILT_DEG, TRIM_M, Tolerance
from rigging.cautions import CAUTIONS
from rigging.check import Report
from rigging.findings import CANNOT, EXCEEDS, Finding, counts, weakest
from rigging.geometry import lay_out
from rigging.hang import Hang

if TYPE_CHECKING:
    import xarray as xr


Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Before:
    """A hang predicted everywhere and checked; `j` over all seats [dB]."""

    result: xr.Dataset
    summary: dict[str, Any]
    report: Report
    j: float


@dataclass(frozen=True)
class Found:
    """What a search over the column of a text came to, and what is known of how good it is.

    `shares`: greatest share of a limit that the answer uses, then each runner-up.
    """

    text: str
    problem: Problem
    answer: Answer
    reference_j: float | None = None
    tolerance: Tolerance | None = None
    proof: Proof | None = None
    shading: Shading | None = None
    correction: Correction | None = None
    shares: tuple[float, ...] = ()


def text(
    found: Found,
    tried: list[Found],
    before: Before,
    after: Before | None,
    in_the_way: Sequence[Finding] = (),
    *,
    imperial: bool = False,
) -> str:
    """The answer for people; without an `after`, what stands in the way of one. `imperial`: with feet and pounds."""
    return said(_blocks(found, tried, before, after, in_the_way), imperial=imperial)


def _blocks(
    found: Found, tried: list[Found], before: Before, after: Before | None, in_the_way: Sequence[Finding]
) -> list[Block]:
    answer, hang = found.answer, found.problem.columns.of.hang
    where = before.summary["venue"]
    lines: list[Block] = [f"{hang.name}  in  {where}", *(f"! {caution}" for caution in CAUTIONS), ""]
    if answer.interrupted:
        lines += ["STOPPED: the best so far, not the end of the search", ""]
    if after is None:
        return [*lines, *_none(answer, before, in_the_way)]
    designed = after.report
    lines += [f"DESIGN {designed.design}    REVISION {after.summary['revision']}", ""]
    lines += [*_compared(before, after, answer), "", *_column(before.report.hang, designed.hang), ""]
    if len(tried) > 1:
        lines += [*_counts(tried), ""]
    lines += [*_drive(found), "HOW GOOD", *_how_good(found), ""]
    if answer.runners:
        lines += [
            "RUNNERS-UP, each with a quarter or more of its rows aiming elsewhere than in all better ones",
            *_runners(found),
            "",
        ]
    return [*lines, *_basis(found)]


def _none(answer: Answer, before: Before, in_the_way: Sequence[Finding]) -> list[Block]:
    """That nothing within limits was found, and what stands in the way of the nearest."""
    rows = [[one.part, one.what, _value(one.value, one), _value(one.limit, one), one.note] for one in in_the_way]
    return [
        "NO HANG WITHIN LIMITS WAS FOUND; nothing was written",
        f"in the way of the nearest, J {answer.nearest.j:.2f} dB, which is no answer:",
        Table(["part", "what", "value", "limit", ""], rows, "llrrl"),
        "",
        *_column(before.report.hang, answer.nearest.hang),
        "what may help: another tilt or trim in [search], points = [...] for the picks, fewer enclosures (count),",
        "other holes or an arm that the frame's file names",
    ]


def _value(value: float | None, found: Finding) -> str:
    if value is None:
        return ""
    return Figure(f"{number(value)} {found.unit}".rstrip(), found.unit, shown_places(found))


def _compared(before: Before, after: Before, answer: Answer) -> list[Block]:
    rows = [["J, places of the search, dB", number(answer.j_file), number(answer.nearest.j)]]
    rows.append(["J, all seats, dB", number(before.j), number(after.j)])
    whole = [each.summary["whole"] for each in (before, after)]
    rows.append(["mean level, dB(A)", *(number(one["level_a_mean_db"]) for one in whole)])
    rows.append(["spread 5–95 %, dB(A)", *(number(one["level_a_p5_p95_db"]) for one in whole)])
    rows.append(["fall per doubling, dB(A)", *(number(one["fall_per_doubling_db"]) for one in whole)])
    for hz in OCTAVES_HZ:
        deviations = [one["octave_deviation_db"][f"{hz:g}"] for one in whole]
        rows.append([f"standard deviation {hz:g} Hz, dB", *map(number, deviations)])
    lines: list[Block] = [Table(["", "before", "after"], rows, "lrr")]
    lines += [f"worst seat: {' → '.join(_seat(one['worst_seat']) for one in whole)}"]
    return lines + [f"weakest rigging finding {name}: {_weakest(of.report)}" for name, of in _named(before, after)]


def _named(before: Before, after: Before) -> list[tuple[str, Before]]:
    return [("before", before), ("after", after)]


def _seat(seat: dict[str, Any] | None) -> str:
    if seat is None:
        return "–"
    x, y, _ = seat["position_m"]
    return f"{seat['from_mean_db']:+.1f} dB, {seat['area']} ({x:.1f}, {y:.1f}) m"


def _weakest(report: Report) -> str:
    found = counts(report.findings)
    worst = weakest(report.findings)
    if worst is None:
        return f"{found[CANNOT]} cannot be judged"
    used = f"{worst.used:.0%}" if worst.used is not None and worst.used < 10 else worst.status
    return f"{used}, {worst.part}, {worst.what} ({found[EXCEEDS]} exceed, {found[CANNOT]} cannot be judged)"


def _column(before: Hang, after: Hang) -> list[Block]:
    """Trim, tilt, picks and the splay between every two rows."""
    same = before if len(before.items) == len(after.items) else None
    lowest = lay_out(after).lowest_m
    lines: list[Block] = [
        f"trim {after.position_m[2]:.2f} m (was {before.position_m[2]:.2f} m), lowest edge {lowest:.2f} m; "
        f"tilt {after.tilt_deg:+.1f}° (was {before.tilt_deg:+.1f}°)"
    ]
    if after.picks:
        arm = f"; {after.arm[0].name} at the {after.arm[1].end}" if after.arm else ""
        lines.append("picks: " + ", ".join(f"{pick.on} hole {pick.hole}" for pick in after.picks) + arm)
    rows, aim = [], after.tilt_deg
    for index, (item, splay) in enumerate(zip(after.items, after.splays_deg, strict=True)):
        aim -= splay
        joint = "frame–row 1" if index == 0 else f"rows {index}–{index + 1}"
        was = f"{same.splays_deg[index]:.1f}°" if same else "–"
        rows.append([joint, f"{splay:.1f}°", was, "held" if after.fixed[index] else "", f"{aim:+.1f}°", item.name])
    return [*lines, Table(["between", "splay", "was", "", "aim below", "row below"], rows, "lrrlrl")]


def _drive(found: Found) -> list[str]:
    """Gains and filters that were found, and what they cost."""
    lines: list[str] = []
    if found.shading is not None:
        of, hang = found.shading, found.problem.columns.of.hang
        gains = [
            f"rows {', '.join(str(row + 1) for row in rows)}: {gain:+.1f} dB"
            for rows, gain in zip(hang.groups, of.gains_db, strict=True)
        ]
        lines += [
            "GAINS OF GROUPS",
            *gains,
            f"J {of.j_before:.3f} → {of.j:.3f} dB; highest drive {_change(of.drive_db)}",
            "",
        ]
    if found.correction is not None:
        fix = found.correction
        bells = [f"bell {f.frequency_hz:g} Hz, {f.gain_db:+.1f} dB, q {f.q:g}" for f in fix.filters]
        off = f"mean spectrum off the wished one, RMS {fix.off_before:.2f} → {fix.off:.2f} dB"
        lines += [
            "CORRECTION, all rows",
            *(bells or ["none is worth it"]),
            f"{off}; highest drive {_change(fix.drive_db)}",
            "",
        ]
    return lines


def _change(drive_db: float) -> str:
    return "not known" if np.isnan(drive_db) else f"{drive_db:+.1f} dB"


def _counts(tried: list[Found]) -> list[Block]:
    rows = []
    for each in tried:
        count = str(len(each.problem.columns.of.hang.enclosure_rows))
        best = each.answer.best
        rows.append([count, number(each.answer.j_law), "none within limits" if best is None else number(best.j)])
    return ["NUMBERS OF ENCLOSURES", Table(["enclosures", "J of the law, dB", "J found, dB"], rows, "rrr")]


def _how_good(found: Found) -> list[str]:
    answer, lines = found.answer, []
    assert answer.best is not None
    lines.append(f"J {answer.best.j:.3f} dB; the even-level law alone gives {answer.j_law:.3f} dB")
    if found.proof is not None:
        proof = found.proof
        gap = answer.best.j - proof.j
        same = "the answer is the best of them" if gap < 1e-6 else f"the best of them is {gap:.3f} dB lower"
        lines.append(
            f"proof: all {proof.judged:,} choices were gone through, limits asked of where J was lower: {same}"
        )
    if found.reference_j is not None:
        gap = answer.best.j - found.reference_j
        lines.append(
            f"reference: splays of any size, without limits of the rigging, come to {found.reference_j:.3f} dB, "
            f"{abs(gap):.3f} dB {'less' if gap >= 0 else 'more'} (a local optimum, no bound)"
        )
    ends = ", ".join(f"{j:.3f}" if np.isfinite(j) else "none" for j in answer.j_of_starts)
    lines.append(f"independent searches ended at {ends} dB, {answer.work:,.0f} evaluations in all")
    if found.tolerance is not None:
        t = found.tolerance
        lines.append(
            f"as built (splays ± {SPLAY_DEG:g}°, tilt ± {TILT_DEG:g}°, trim ± {TRIM_M:g} m, air ± {AIR_K:g} K, "
            f"{t.samples} drawn): median {t.median:.3f}, 90th percentile {t.p90:.3f}, worst {t.worst:.3f} dB"
        )
    return lines


def _runners(found: Found) -> list[Block]:
    answer, columns = found.answer, found.problem.columns
    assert answer.best is not None
    rows, first = [], _octaves(found, answer.best)
    for index, (one, share) in enumerate(zip((answer.best, *answer.runners), found.shares, strict=True)):
        score = columns.scores(columns.space.values(one.choice)[np.newaxis])
        steps = int(np.abs(one.choice - answer.best.choice).sum())
        splays = " ".join(f"{splay:g}" for splay in one.hang.splays_deg)
        name = "answer" if index == 0 else f"runner-{index}"
        figures = [f"{one.j:.3f}", number(float(score.mean_a[0]))]
        octaves = [f"{off:.2f}" if index == 0 else f"{off:+.2f}" for off in _octaves(found, one) - first * (index > 0)]
        place = [f"{one.hang.tilt_deg:+.1f}°", Figure(f"{one.hang.position_m[2]:.2f}", "m"), str(steps)]
        rows.append([name, *figures, *octaves, f"{share:.0%}", *place, splays])
    octave = [f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}" for hz in _octave_hz(found)]
    head = ["", "J, dB", "mean dB(A)", *octave, "rigging", "tilt", "trim m", "steps off", "splays from the top, °"]
    return [
        Table(head, rows, "lrr" + "r" * len(octave) + "rrrrl"),
        "octaves: deviation of the seats, dB, and what a runner-up has more or less; rigging: most used limit",
    ]


def _octave_hz(found: Found) -> list[float]:
    """Octaves of which a band counts."""
    band = found.problem.columns.goal.band
    return [hz for hz in OCTAVES_HZ if np.isin(range(*octave_bands(hz).indices(len(NOMINAL_HZ))), band).any()]


def _octaves(found: Found, one: Option) -> Array:
    """Deviation of the seats by octaves, as the search has it. [dB]"""
    columns = found.problem.columns
    level = columns.levels(columns.space.values(one.choice)[np.newaxis])
    off, band = deviation(level, columns.of.seats)[0], columns.goal.band
    octaves = [np.isin(band, range(*octave_bands(hz).indices(len(NOMINAL_HZ)))) for hz in _octave_hz(found)]
    return np.array([float(off[of].mean()) for of in octaves])


def _basis(found: Found) -> list[str]:
    goal, columns = found.problem.columns.goal, found.problem.columns
    return [
        f"J: weighted mean over {len(goal.band)} third octaves of the RMS deviation of the seats from the wished fall,",
        f"plus {goal.loss_weight:g} dB for each dB of mean level lost beyond 1 dB against the law, plus "
        f"{goal.spill_weight:g} dB for each dB of spill;",
        f"searched on {len(columns.of.position)} places, a coarse grid of the seats, the answer summed everywhere;",
        "what is hidden from where is taken from the file's column while searching, exactly for before and after",
    ]


def as_data(found: Found, tried: list[Found], before: Before, after: Before) -> dict[str, Any]:
    """The answer for programs."""
    answer = found.answer
    assert answer.best is not None
    data: dict[str, Any] = {
        "hang": found.problem.columns.of.hang.name,
        "design": after.report.design,
        "revision": after.summary["revision"],
        "interrupted": answer.interrupted,
        "before": _figures(before, answer.j_file),
        "after": _figures(after, answer.best.j),
        "answer": _option(answer.best),
        "runners": [_option(one) for one in answer.runners],
        "limits_used": list(found.shares),
        "law_j_db": answer.j_law,
        "starts_j_db": list(answer.j_of_starts),
        "evaluations": answer.work,
        "reference_j_db": found.reference_j,
        "cautions": list(CAUTIONS),
    }
    if found.tolerance is not None:
        data["as_built"] = vars(found.tolerance)
    if found.shading is not None:
        data["shading"] = vars(found.shading)
    if found.correction is not None:
        filters = [one.model_dump(exclude_none=True) for one in found.correction.filters]
        data["correction"] = {**vars(found.correction), "filters": filters}
    if found.proof is not None:
        data["proof"] = {"j_db": found.proof.j, "judged": found.proof.judged}
    if len(tried) > 1:
        data["counts"] = [
            {
                "enclosures": len(each.problem.columns.of.hang.enclosure_rows),
                "j_db": each.answer.best.j if each.answer.best else None,
            }
            for each in tried
        ]
    return data


def none_as_data(found: Found, before: Before, in_the_way: Sequence[Finding]) -> dict[str, Any]:
    """For programs: that nothing within limits was found, and what stands in the way of the nearest."""
    answer = found.answer
    return {
        "hang": found.problem.columns.of.hang.name,
        "interrupted": answer.interrupted,
        "before": _figures(before, answer.j_file),
        "answer": None,
        "nearest": _option(answer.nearest),
        "in_the_way": [dataclasses.asdict(one) for one in in_the_way],
        "evaluations": answer.work,
        "cautions": list(CAUTIONS),
        "folder": None,
    }


def _figures(of: Before, j: float) -> dict[str, Any]:
    return {"j_db": j, "j_all_seats_db": of.j, "findings": counts(of.report.findings), "whole": of.summary["whole"]}


def _option(one: Option) -> dict[str, Any]:
    return {
        "j_db": one.j,
        "trim_m": one.hang.position_m[2],
        "tilt_deg": one.hang.tilt_deg,
        "splays_deg": list(one.hang.splays_deg),
        "picks": [{"on": pick.on, "hole": pick.hole, "point": pick.point} for pick in one.hang.picks],
        "arm": None if one.hang.arm is None else {"type": one.hang.arm[1].type, "end": one.hang.arm[1].end},
    }
