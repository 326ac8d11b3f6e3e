"""Time and memory of the field against plain ways to compute it, run by hand; nothing is asserted.

    python tests/benchmarks/bench_field.py [--quick] [--plot FILE]

All are run in turn, several times over, in one process; medians are printed. Errors are the greatest of levels within
20 dB of each band's greatest, against sums of many lines with the directivity and the air exact at each.
"""

from __future__ import annotations

import argparse
import platform
import tracemalloc
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field

import bench_machine as machine
import numba
import numpy as np
import scipy
import sfs.fd.source
from scipy import ndimage

from acoustics import air, bands, charts, directivity, kernel
from acoustics import field as engine
from rigging.equipment import load_catalogue

C = 343.2  # [m/s]
MEDIUM = engine.Medium(C, air.absorption)
PITCH_M = 0.28
SOURCES = 16
USED = slice(2, 29)  # bands that `medium` is used in, 40 Hz to 16 kHz
BARE_BANDS = 26
LIMIT_DB = 0.05
ERROR_POSITIONS = 60
NOW, BARE = 5, 9  # of the ways: the first band_level, the kernel alone


def column(kind: directivity.Directivity, count: int) -> engine.Sources:
    """A curved column at 9 m, each row 1.5° further down."""
    down = np.radians(1.5 * np.arange(count) + 2.0)
    x, z = -np.cumsum(PITCH_M * np.sin(down)), 9.0 - np.cumsum(PITCH_M * np.cos(down))
    zero, one = np.zeros(count), np.ones(count)
    axes = np.array([[np.cos(down), zero, -np.sin(down)], [zero, one, zero], [np.sin(down), zero, np.cos(down)]])
    return engine.Sources(
        position=np.column_stack([x, zero, z]),
        axes=np.ascontiguousarray(axes.transpose(2, 0, 1)),
        kind=np.zeros(count, dtype=np.intp),
        directivities=(kind,),
        gain=one,
        delay=zero,
    )


def grid(count: int) -> np.ndarray:
    """Positions on a square grid over an area of 36 m by 24 m at 1.2 m."""
    across = round((count * 24.0 / 36.0) ** 0.5)
    along = -(-count // across)
    x, y = np.meshgrid(np.linspace(4.0, 40.0, along), np.linspace(-12.0, 12.0, across), indexing="ij")
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 1.2)])[:count]


def geometry(sources: engine.Sources, position: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distances (P, S) and directions in each source's axes (P, S, 3)."""
    apart = position[:, np.newaxis] - sources.position
    distance = np.linalg.norm(apart, axis=-1)
    return distance, np.einsum("sij,psj->psi", sources.axes, apart) / distance[..., np.newaxis]


def level_of(energy: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.where(energy > 0, 10.0 * np.log10(energy / engine.P0**2), np.nan)


def amplitudes(sources: engine.Sources, distance: np.ndarray, toward: np.ndarray, band: int, hz: float) -> np.ndarray:
    strength = engine.P0 * 10.0 ** (sources.directivities[0].level_1m_db[band] / 20.0)
    return strength * toward * 10.0 ** (-air.absorption(hz) * distance / 20.0) / distance


def summed_by_lines(sources: engine.Sources, position: np.ndarray, cut: bands.SubBands) -> np.ndarray:
    """Numpy, line by line: directivity and air exact at the middle of each sub-band, held in it."""
    distance, local = geometry(sources, position)
    travel = distance / C
    spread = C * float(np.ptp(travel, axis=1).max())
    energy = np.zeros((29, len(position)))
    for k, band in enumerate(cut.band):
        toward = sources.directivities[0].at(local, float(cut.middle[k]))
        amplitude = amplitudes(sources, distance, toward, band, cut.middle[k])
        low, high = cut.edge[k : k + 2]
        count = engine.line_count(low, high, spread, C)
        energy[band] += cut.share[k] * engine.band_mean_square(amplitude, travel, low, high, count)
    return level_of(energy)


def exact_at_lines(sources: engine.Sources, position: np.ndarray, finer: float) -> np.ndarray:
    """Numpy, line by line: directivity and air exact at every line."""
    distance = geometry(sources, position)[0]
    spread = float(np.ptp(distance, axis=1).max())
    energy = np.zeros((29, len(position)))
    for band, (low, high) in list(enumerate(bands.band_edges()))[USED]:
        count = int(finer * engine.line_count(low, high, spread, C))
        lines = low + (high - low) * (np.arange(count) + 0.5) / count
        for some in np.array_split(lines, -(-count // 64)):
            pressure = engine.line_pressure(sources, position, some, MEDIUM)
            energy[band] += np.sum(pressure.real**2 + pressure.imag**2, axis=0) / count
    return level_of(energy)


def by_point_sources(sources: engine.Sources, position: np.ndarray) -> np.ndarray:
    """The open library sfs, one point source and line at a time: no directivity, no air."""
    spread = float(np.ptp(geometry(sources, position)[0], axis=1).max())
    energy = np.zeros((29, len(position)))
    where = list(position.T)
    for band, (low, high) in list(enumerate(bands.band_edges()))[USED]:
        count = engine.line_count(low, high, spread, C)
        for hz in low + (high - low) * (np.arange(count) + 0.5) / count:
            pressure = np.zeros(len(position), dtype=complex)
            for place in sources.position:
                pressure += sfs.fd.source.point(2.0 * np.pi * hz, place, where, c=C)
            energy[band] += np.abs(4.0 * np.pi * pressure) ** 2 / count
    return level_of(energy)


class Midbands:
    """Numpy, band by band: directivity from splines at the midband on a grid of 1°, lines by the rule."""

    def __init__(self, kind: directivity.Directivity) -> None:
        polar, azimuth = np.radians(np.arange(181.0)), np.radians(np.arange(360.0))
        sine = np.sin(polar)[:, np.newaxis]
        ahead = np.broadcast_to(np.cos(polar)[:, np.newaxis], (181, 360))
        n = np.stack([ahead, sine * np.cos(azimuth), sine * np.sin(azimuth)], axis=-1)
        # Over the poles and on: the other half of the great circle.
        over = [np.concatenate([v, np.roll(v[-2:0:-1], 180, axis=1)]) for v in kind.table(n, bands.midbands()[USED])]
        self.splines = [ndimage.spline_filter(v, order=3, mode="grid-wrap", output=complex) for v in over]

    def __call__(self, sources: engine.Sources, position: np.ndarray) -> np.ndarray:
        level = np.full((29, len(position)), np.nan)
        for first in range(0, len(position), 12_000):
            part = slice(first, first + 12_000)
            level[:, part] = self.block(sources, position[part])
        return level

    def block(self, sources: engine.Sources, position: np.ndarray) -> np.ndarray:
        distance, local = geometry(sources, position)
        travel = distance / C
        spread = C * float(np.ptp(travel, axis=1).max())
        polar = np.degrees(np.arccos(np.clip(local[..., 0], -1.0, 1.0)))
        at = np.stack([polar, np.degrees(np.arctan2(local[..., 2], local[..., 1]))])
        level, edges, middle = np.full((29, len(position)), np.nan), bands.band_edges(), bands.midbands()
        for band, spline in zip(range(29)[USED], self.splines, strict=True):
            toward = ndimage.map_coordinates(spline, at, order=3, mode="grid-wrap", prefilter=False)
            amplitude = amplitudes(sources, distance, toward, band, middle[band])
            count = engine.line_count(*edges[band], spread, C)
            level[band] = level_of(engine.band_mean_square(amplitude, travel, *edges[band], count))
        return level


def bare(count: int, parts: int = 1, used: int = BARE_BANDS) -> tuple[kernel.Sum, kernel.Charts]:
    """Points without air, for the kernel by itself."""
    point = directivity.Directivity("point", (), 0.0, 0.0, np.full(29, directivity.PASCAL_DB), C)
    subs = bands.cut(parts * (np.arange(29) >= 29 - used))
    sources = column(point, count)
    of = kernel.Sum(
        place=sources.position,
        axes=sources.axes,
        kind=sources.kind.astype(np.int64),
        delay=sources.delay,
        strength=np.ones((count, len(subs.middle)), dtype=complex),
        neper=np.zeros(len(subs.middle)),
        edge=subs.edge,
        band=subs.band,
        share=subs.share,
        c=C,
    )
    return of, charts.build((point,), np.full((1, 2, 2, 2), np.nan), subs.middle)


def run_bare(problem: tuple[kernel.Sum, kernel.Charts], position: np.ndarray) -> np.ndarray:
    return kernel.band_energy(*problem, position, np.zeros((0, 0)), 29)[0]


def operations(sources: int, subs: int) -> dict[str, int]:
    """Vector operations for a position, a multiply–add counted once, counted off the kernel's loops.

    Pairs: four rows by four at a time over rows of 4 K, and the products with each row; sines and cosines: 24 for each
    edge; amplitudes: 42 for each sub-band, 24 of them the air's decay.
    """
    wide, tiles = kernel.padding(subs), -(-sources // 4)
    pairs = tiles * (tiles + 1) // 2 * 16 * 4 * wide + 4 * tiles * 4 * wide
    return {"pairs": pairs, "phasors": 24 * sources * (wide + 1), "amplitudes": 42 * sources * wide}


def pair_transfers(sources: int, subs: int) -> int:
    """Doubles loaded and stored in the loop over pairs for a position: 8 and 4 for each 16 multiply–adds."""
    tiles = -(-sources // 4)
    return tiles * (tiles + 1) // 2 * 12 * 4 * kernel.padding(subs)


@dataclass
class Way:
    """A way to compute levels, on that many positions.

    `checked`: whether its levels are to be those of the others; `judged`: what stands for it where it would choose
    its parts by the few positions that errors are told on.
    """

    name: str
    count: int
    run: Callable[[np.ndarray], object]
    checked: bool = True
    threads: int | None = None
    judged: Callable[[np.ndarray], object] | None = None
    seconds: list[float] = field(default_factory=list)
    peak_mb: float = 0.0
    error: str = "–"

    def measure(self) -> None:
        position, before = grid(self.count), numba.get_num_threads()
        numba.set_num_threads(self.threads or before)
        self.seconds.append(machine.timed(lambda: self.run(position)))
        numba.set_num_threads(before)

    def trace(self) -> None:
        position = grid(self.count)
        tracemalloc.start()
        self.run(position)
        self.peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()

    @property
    def micro(self) -> float:
        return float(np.median(self.seconds)) / self.count * 1e6


def errors(found: np.ndarray, truth: np.ndarray) -> str:
    truth, found = truth[USED], found[USED]
    apart = np.abs(found - truth)[truth >= truth.max(axis=1, keepdims=True) - 20.0]
    return f"{np.max(apart):.3f} ({np.percentile(apart, 99):.3f})"


def ways(kind: directivity.Directivity, quick: bool) -> list[Way]:
    sources, many = column(kind, SOURCES), 20_000 if quick else 100_000
    few = 200 if quick else 500
    parts = engine.sub_bands(sources, grid(many), MEDIUM)
    cut, before, problem = bands.cut(parts), Midbands(kind), bare(SOURCES)

    def all_of(p: np.ndarray) -> np.ndarray:
        return engine.band_level(sources, p, MEDIUM)

    def given(p: np.ndarray) -> np.ndarray:
        return engine.band_level(sources, p, MEDIUM, parts=parts)

    return [
        Way("numpy, exact at every line", 20 if quick else 60, lambda p: exact_at_lines(sources, p, 1.0)),
        Way("numpy by lines, exact in each sub-band", few, lambda p: summed_by_lines(sources, p, cut)),
        Way("the same, twice as many parts", few, lambda p: summed_by_lines(sources, p, bands.cut(2 * parts))),
        Way("sfs point sources, no directivity, no air", few, lambda p: by_point_sources(sources, p), checked=False),
        Way("numpy by lines, splines at midbands", few, lambda p: before(sources, p)),
        Way("band_level, everything", many, all_of, judged=given),
        Way("band_level, everything, one thread", many, all_of, judged=given, threads=1),
        Way("band_level, parts given", many, given),
        Way("band_level, twice as many parts", many, lambda p: engine.band_level(sources, p, MEDIUM, parts=2 * parts)),
        Way(f"kernel alone, points, {BARE_BANDS} bands", many, lambda p: run_bare(problem, p), checked=False),
        Way("kernel alone, one thread", many, lambda p: run_bare(problem, p), checked=False, threads=1),
    ]


def print_ways(compared: list[Way]) -> None:
    base = compared[NOW]
    head = f"{'way':42}{'positions':>10}{'µs each':>11}{'least':>10}{'ratio':>9}{'error, dB (99 %)':>19}{'MB':>8}"
    print(f"\n{head}\n{'-' * len(head)}")
    for way in compared:
        least = min(way.seconds) / way.count * 1e6
        print(
            f"{way.name:42}{way.count:>10}{way.micro:>11.2f}{least:>10.2f}{way.micro / base.micro:>9.2f}"
            f"{way.error:>19}{way.peak_mb:>8.0f}"
        )
    print("µs each: median; least: of the quickest run; ratio: of medians, to the first band_level; MB: most at a time")
    print(f"wanted: within {LIMIT_DB:g} dB; errors on {ERROR_POSITIONS} positions, of levels within 20 dB")


def print_machine(found: dict[str, float], kernel_micro: float) -> None:
    """The peaks, and what of the kernel's time its operations would take at them."""
    print(f"\n{platform.processor() or platform.machine()}, {numba.get_num_threads()} threads; ", end="")
    print(f"numpy {np.__version__}, scipy {scipy.__version__}, numba {numba.__version__}")
    for what, value in found.items():
        print(f"{what:42}{value / 1e9:>10.2f} · 10⁹/s")
    top = max(value for what, value in found.items() if what.startswith("multiply"))
    work = operations(SOURCES, BARE_BANDS)
    print(f"\nkernel alone, {SOURCES} sources, {BARE_BANDS} bands: {kernel_micro:.2f} µs for each position")
    for what, value in [*work.items(), ("all", sum(work.values()))]:
        bound = value / top * 1e6
        share = bound / kernel_micro
        print(f"  {what:12}{value:>8} operations, {bound:>6.2f} µs at the multiply–add peak: {share:>5.0%} of measured")
    moved = pair_transfers(SOURCES, BARE_BANDS)
    bound = moved / found["loads and stores, nearest cache"] * 1e6
    print(f"  pairs' loads and stores {moved}, {bound:.2f} µs at the nearest cache's peak: {bound / kernel_micro:.0%}")


def growth(kind: directivity.Directivity, quick: bool) -> list[tuple[str, str, dict[str, tuple[list, list]]]]:
    """Three panels: label of x, label of y, curves. Medians of three runs, of one beyond a second."""

    def median(run: Callable[[], object]) -> float:
        first = machine.timed(run)
        return first if first > 1.0 else float(np.median([first, machine.timed(run), machine.timed(run)]))

    place, each = grid(5_000 if quick else 20_000), "time for each position [µs]"
    counts = [4, 8, 12, 16, 24, 32, 48]
    by_sources = [median(lambda c=count: run_bare(bare(c), place)) / len(place) * 1e6 for count in counts]
    sources = column(kind, SOURCES)
    parts = engine.sub_bands(sources, grid(20_000), MEDIUM)
    with_all, given = ([], []), ([], [])
    for count in [100, 1000, 10_000, 100_000] + ([] if quick else [1_000_000]):
        where = grid(count)
        for curve, asked in ((with_all, None), (given, parts)):
            curve[0].append(count)
            curve[1].append(median(lambda p=where, a=asked: engine.band_level(sources, p, MEDIUM, parts=a)))
    cuts = [(1, 4), (1, 8), (1, 16), (1, 29), (2, 29), (4, 29), (8, 29), (16, 29)]
    by_bands = [median(lambda c=cut: run_bare(bare(SOURCES, *c), place)) / len(place) * 1e6 for cut in cuts]
    return [
        ("sources", each, {f"kernel alone, {BARE_BANDS} bands": (counts, by_sources)}),
        ("positions", "time [s]", {"band_level, everything": with_all, "band_level, parts given": given}),
        ("sub-bands", each, {f"kernel alone, {SOURCES} sources": ([p * u for p, u in cuts], by_bands)}),
    ]


def plot(file: str, panels: list[tuple[str, str, dict[str, tuple[list, list]]]]) -> None:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt
    from matplotlib import ticker

    figure, axes = plt.subplots(1, 3, figsize=(13, 4), layout="constrained")
    for ax, (across, up, curves) in zip(axes, panels, strict=True):
        for name, (x, y) in curves.items():
            ax.loglog(x, y, "o-", label=name)
        first_x, first_y = next(iter(curves.values()))
        guide = np.array([first_x[-1] / 8.0, first_x[-1]])
        ax.loglog(guide, first_y[-1] * (guide / guide[-1]), "k:", label="in proportion")
        ax.set(xlabel=across, ylabel=up)
        for axis in (ax.xaxis, ax.yaxis):
            axis.set_minor_formatter(ticker.NullFormatter())
        ax.grid(True, which="both", alpha=0.3)
        ax.legend(fontsize="small")
    figure.savefig(file)
    plt.close(figure)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer positions and runs, about a minute")
    parser.add_argument("--plot", metavar="FILE", help="picture of the growth with sources, positions and bands")
    asked = parser.parse_args()
    # sfs draws a warning from recent numpy, which has nothing to do with its values.
    warnings.filterwarnings("ignore", message="__array_wrap__", category=DeprecationWarning)
    runs = 3 if asked.quick else 7
    catalogue = load_catalogue()
    kind = directivity.load_directivity(catalogue.items["medium"], catalogue.documents["medium"].file, C)
    compared = ways(kind, asked.quick)
    print(f"{SOURCES} sources `medium`, {len(range(29)[USED])} bands, cut into ", end="")
    print(f"{engine.sub_bands(column(kind, SOURCES), grid(compared[NOW].count), MEDIUM).sum()} sub-bands", flush=True)
    # Levels are judged away from the sample that bands are cut by.
    some = grid(20_000)[np.random.default_rng(2).choice(20_000, ERROR_POSITIONS, replace=False)]
    truth = exact_at_lines(column(kind, SOURCES), some, 4.0)
    for way in compared:
        if way.checked:
            way.error = errors((way.judged or way.run)(some), truth)
        way.trace()  # compiled and warm after this
    top: list[dict[str, float]] = []
    for index in range(runs):
        for way in compared:
            if index < 2 or way.micro * way.count < 3e6:  # what takes long does not vary that much
                way.measure()
        top.append(machine.peaks(1))
    print_ways(compared)
    print_machine({what: max(found[what] for found in top) for what in top[0]}, compared[BARE].micro)
    if asked.plot:
        panels = growth(kind, asked.quick)
        for across, up, curves in panels:
            for name, (x, y) in curves.items():
                listed = ", ".join(f"{a:g}: {b:.3g}" for a, b in zip(x, y, strict=True))
                print(f"{up} by {across}, {name}: {listed}")
        plot(asked.plot, panels)
    print(f"\nthe most that this process held: {machine.most_held_mb():.0f} MB; load average {machine.load()}")


if __name__ == "__main__":
    main()
