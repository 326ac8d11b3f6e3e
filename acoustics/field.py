"""The complex sum: pressures of directional point sources at positions, in lines and in bands.

p(x, f) = Σ_i a_i(f) D_i(direction, f) e^{−j2πf(r_i/c + τ_i)} / r_i · 10^{−α(f) r_i/20}, free field, direct
sound. Levels of bands are those of the mean square over the band, linear in frequency.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from acoustics import bands, barrier, charts, kernel
from acoustics.directivity import Directivity
from acoustics.filters import response
from rigging.drive import Filter

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
Flags = npt.NDArray[np.bool_]
Progress = Callable[[int], None]

P0 = 20e-6  # reference pressure, ISO 1683:2015 [Pa]
# Positions times sources in a block: some ten arrays of this many complex numbers are alive at once.
_BLOCK = 200_000
# Positions that the compiled sum does between two reports of progress.
BLOCK = 20_000
SAMPLE = 300
_SAMPLE_SOURCES = 12
_CONVERGED_DB = 0.05
_MOST_PARTS = 16


@dataclass(frozen=True)
class Sources:
    """S directional point sources in air.

    `position` (S, 3) [m]; `axes` (S, 3, 3), rows forward, left, up; `kind` (S,) index into
    `directivities`; `gain` (S,) linear, negative where the polarity is turned round; `delay` (S,) [s]; `filters` of
    each source, empty where none has any; `programme_db` (29,): each band's level re pink.
    """

    position: Array
    axes: Array
    kind: npt.NDArray[np.intp]
    directivities: tuple[Directivity, ...]
    gain: Array
    delay: Array
    filters: tuple[tuple[Filter, ...], ...] = ()
    programme_db: Array | None = None

    def drive(self, frequency: npt.ArrayLike) -> Complex:
        """Gain, polarity and filters of every source, (S, F); the delay is left to the travel time."""
        f = np.atleast_1d(np.asarray(frequency, dtype=float))
        if not self.filters:
            return np.repeat(self.gain[:, np.newaxis], len(f), axis=1).astype(complex)
        shaped = {filters: response(filters, f) for filters in set(self.filters)}
        return np.array([gain * shaped[filters] for gain, filters in zip(self.gain, self.filters, strict=True)])

    def only(self, some: Flags) -> Sources:
        """Some of them, (S,) of flags."""
        return dataclasses.replace(
            self,
            position=self.position[some],
            axes=self.axes[some],
            kind=self.kind[some],
            gain=self.gain[some],
            delay=self.delay[some],
            filters=tuple(one for one, kept in zip(self.filters, some, strict=True) if kept) if self.filters else (),
        )

    def level_1m_db(self) -> Array:
        """Level of each source in each band at 1 m on its axis: programme and drive applied, (S, 29) [dB]."""
        level = np.array([self.directivities[kind].level_1m_db for kind in self.kind])
        if self.programme_db is not None:
            level = level + self.programme_db
        with np.errstate(divide="ignore"):
            return np.asarray(level + 20.0 * np.log10(np.abs(self.drive(bands.midbands()))))

    def max_level_1m_db(self) -> Array:
        """Greatest continuous level of each source in each band at 1 m, NaN where not known, (S, 29). [dB]"""
        unknown = np.full(len(bands.NOMINAL_HZ), np.nan)
        known = [unknown if kind.max_level_1m_db is None else kind.max_level_1m_db for kind in self.directivities]
        return np.array([known[kind] for kind in self.kind])


@dataclass(frozen=True)
class Medium:
    """Speed of sound [m/s] and the attenuation as a function of frequency [Hz] → [dB/m]."""

    c: float
    attenuation: Callable[[npt.ArrayLike], Array]


def lossless(frequency: npt.ArrayLike) -> Array:
    """No attenuation at any frequency. [dB/m]"""
    return np.zeros_like(np.asarray(frequency, dtype=float))


def line_count(low_hz: float, high_hz: float, path_difference_m: float, c: float) -> int:
    """Lines for a band's energy: max(16, 6 B D/c), at midpoints.

    `path_difference_m`: the largest difference of paths, plus c times the largest difference of delays.
    On random columns all but one level in ten thousand are within 0.05 dB, those within 0.09 dB; endpoints or
    half as many lines do not hold it.
    """
    return max(16, int(np.ceil(6.0 * (high_hz - low_hz) * path_difference_m / c)))


def band_mean_square(amplitude: Complex, travel: Array, low_hz: float, high_hz: float, lines: int) -> Array:
    """Mean square over a band of Σ_i A_i e^{−j2πf t_i}, sampled at the midpoints of equal steps.

    Parameters
    ----------
    amplitude : ndarray, shape (P, S)
        Complex amplitudes, constant in the band.
    travel : ndarray, shape (P, S)
        Times of travel, delays included. [s]
    low_hz, high_hz : float
        Edges. [Hz]
    lines : int

    Returns
    -------
    ndarray, shape (P,)
        The square of the amplitudes' unit.
    """
    # The earliest arrival is taken out: a common phase changes no magnitude, and small numbers keep digits.
    late = travel - travel.min(axis=1, keepdims=True)
    step = (high_hz - low_hz) / lines
    phasor = amplitude * np.exp(-2j * np.pi * (low_hz + step / 2.0) * late)
    turn = np.exp(-2j * np.pi * step * late)
    total = np.zeros(len(amplitude))
    for _ in range(lines):
        pressure = phasor.sum(axis=1)
        total += pressure.real**2 + pressure.imag**2
        phasor *= turn
    return total / lines


def line_pressure(
    sources: Sources,
    position: Array,
    frequency: npt.ArrayLike,
    medium: Medium,
    blocked: Flags | Array | None = None,
    progress: Progress | None = None,
) -> Complex:
    """Complex pressure at single frequencies, directivity exact at each.

    Parameters
    ----------
    sources : Sources
    position : ndarray, shape (P, 3)
        [m]
    frequency : array_like, shape (F,)
        [Hz]
    medium : Medium
    blocked : ndarray of bool or float, shape (S, P), optional
        Sources that a position does not receive; or, as numbers, how much longer the path over an edge is, NaN where
        the straight one is free [m]: then the source is weakened by `barrier.loss`'s rule, and as much later.
    progress : callable, optional
        Told how many positions were done.

    Returns
    -------
    ndarray, shape (F, P)
        [Pa]; a point radiates 1 Pa at 1 m. NaN where no source has data.

    Raises
    ------
    ValueError
        If a position coincides with a source.
    """
    lines = np.atleast_1d(np.asarray(frequency, dtype=float))
    result = np.empty((len(lines), len(position)), dtype=complex)
    for part, distance, local in _blocks(sources, position):
        detour = _detour_of(blocked, part, distance.shape)
        travel = (distance + np.where(np.isfinite(detour), detour, 0.0)) / medium.c + sources.delay
        for i, f in enumerate(lines):
            level = _source_levels(sources, _band_at(float(f)))
            toward = [sources.directivities[k].at(n, float(f)) for k, n in zip(sources.kind, local, strict=True)]
            amplitude = _amplitude(toward, level, sources.drive(f)[:, 0], distance, medium.attenuation(f))
            amplitude = amplitude * _over_edge(detour, medium.c / f)
            result[i, part] = (amplitude * np.exp(-2j * np.pi * f * travel)).sum(axis=1)
            if np.isnan(level).all():
                result[i, part] = np.nan
        _tell(progress, part)
    return result


def band_level(
    sources: Sources,
    position: Array,
    medium: Medium,
    blocked: Flags | Array | None = None,
    progress: Progress | None = None,
    parts: npt.NDArray[np.int64] | None = None,
    kept: charts.Kept | None = None,
    coarser: float = 1.0,
) -> Array:
    """Level in the third octaves 25 Hz to 16 kHz, exact for amplitudes that are held in each part of a band.

    Parameters
    ----------
    sources, position, medium, progress
        As for `line_pressure`.
    blocked : ndarray of bool or float, shape (S, P), optional
        Sources that a position does not receive; or, as numbers, how much longer the path over an edge is, NaN where
        the straight one is free [m]: then the source is weakened by `barrier.loss`'s rule, and as much later.
    parts : ndarray of int, shape (29,), optional
        Parts that each band is cut into; by `sub_bands` if absent.
    kept : charts.Kept, optional
        Tables from call to call.
    coarser : float
        Times the step of tables that keep their stated error.

    Returns
    -------
    ndarray, shape (29, P)
        [dB re 20 µPa]; NaN where nothing arrives or no source is used in the band.

    Raises
    ------
    ValueError
        If a position coincides with a source.
    """
    if parts is None:
        parts = sub_bands(sources, position, medium, blocked, kept)
    level = np.full((len(bands.NOMINAL_HZ), len(position)), np.nan)
    if not parts.any() or not len(position):
        return level
    of, tables = _prepared(sources, position, medium, parts, coarser, kept)
    for first in range(0, len(position), BLOCK):
        part = slice(first, min(first + BLOCK, len(position)))
        energy, _ = kernel.band_energy(of, tables, position[part], _detour(blocked, part), len(level))
        level[:, part] = _levels(energy)
        _tell(progress, part)
    return level


def sub_bands(
    sources: Sources,
    position: Array,
    medium: Medium,
    blocked: Flags | Array | None = None,
    kept: charts.Kept | None = None,
) -> npt.NDArray[np.int64]:
    """Parts to cut each third octave into: doubled until that moves no level within 20 dB of the greatest by 0.05 dB.

    Judged at `SAMPLE` of the positions, those at the extremes among them, and on tables twice as coarse, hence half
    of the 0.1 dB that is wanted.

    Returns
    -------
    ndarray of int, shape (29,)
        0 before the first band that a source is used in, and after the last; 16 at most.
    """
    used = np.flatnonzero(np.any([~np.isnan(kind.level_1m_db) for kind in sources.directivities], axis=0))
    parts = np.zeros(len(bands.NOMINAL_HZ), dtype=np.int64)
    if not len(used) or not len(position):
        return parts
    parts[used[0] : used[-1] + 1] = 1
    some = _sample(sources, position)
    sample, hidden = position[some], None if blocked is None else blocked[:, some]

    def levels(counts: npt.NDArray[np.int64]) -> Array:
        of, tables = _prepared(sources, sample, medium, counts, 2.0, kept)
        energy, _ = kernel.band_energy(of, tables, sample, _detour(hidden, slice(None)), len(parts))
        return _levels(energy)

    coarse, unsettled = levels(parts), parts > 0
    while unsettled.any():
        # Only the bands from the first to the last that are not settled are summed again.
        first, last = np.flatnonzero(unsettled)[[0, -1]]
        trial = np.where(unsettled, 2 * parts, parts)
        trial[:first], trial[last + 1 :] = 0, 0
        fine = levels(trial)
        unsettled &= moved(coarse, fine) > _CONVERGED_DB
        parts = np.where(unsettled, 2 * parts, parts)
        coarse = fine
        unsettled &= parts < _MOST_PARTS
    return parts


def _sample(sources: Sources, position: Array) -> npt.NDArray[np.intp]:
    """Indices of some positions: evenly through the list, and the nearest and the farthest off the aim.

    Nearest to, and at the least and greatest azimuth and elevation off the aims of, some sources, the ends among them.
    """
    if len(position) <= SAMPLE:
        return np.arange(len(position))
    found = [np.linspace(0, len(position) - 1, SAMPLE).round().astype(int)]
    count = len(sources.position)
    for s in np.unique(np.linspace(0, count - 1, min(count, _SAMPLE_SOURCES)).round().astype(int)):
        ahead, left, up = sources.axes[s] @ (position - sources.position[s]).T
        azimuth, elevation = np.arctan2(left, ahead), np.arctan2(up, np.hypot(ahead, left))
        extremes = [end(angle) for angle in (azimuth, elevation) for end in (np.argmin, np.argmax)]
        found.append(np.array([np.argmin(ahead**2 + left**2 + up**2), *extremes]))
    return np.unique(np.concatenate(found))


def moved(coarse: Array, fine: Array) -> Array:
    """Greatest change of level in each band (B,), of those within 20 dB of the band's greatest finer one. [dB]"""
    heard = ~np.isnan(fine)
    least = np.max(fine, axis=1, keepdims=True, initial=-np.inf, where=heard) - 20.0
    counted = heard & (fine >= least) & ~np.isnan(coarse)
    return np.asarray(np.max(np.abs(fine - coarse), axis=1, initial=0.0, where=counted))


def _prepared(
    sources: Sources,
    position: Array,
    medium: Medium,
    parts: npt.NDArray[np.int64],
    coarser: float,
    kept: charts.Kept | None,
) -> tuple[kernel.Sum, kernel.Charts]:
    subs = bands.cut(parts)
    kind = np.asarray(sources.kind, dtype=np.int64)
    patches = kernel.patches(sources.position, sources.axes, kind, len(sources.directivities), position)
    of = kernel.Sum(
        place=np.ascontiguousarray(sources.position, dtype=float),
        axes=np.ascontiguousarray(sources.axes, dtype=float),
        kind=kind,
        delay=np.asarray(sources.delay, dtype=float),
        strength=strengths(sources, subs),
        neper=medium.attenuation(subs.middle) * (np.log(10.0) / 20.0),
        edge=subs.edge,
        band=subs.band,
        share=subs.share,
        c=medium.c,
    )
    return of, charts.build(sources.directivities, patches, subs.middle, coarser, kept)


def strengths(sources: Sources, subs: bands.SubBands) -> npt.NDArray[np.complex128]:
    """Complex pressures at 1 m on the axis of S sources in K sub-bands, drive included, (S, K); 0 out of use. [Pa]"""
    level = np.array([directivity.level_1m_db[subs.band] for directivity in sources.directivities])[sources.kind]
    if sources.programme_db is not None:
        level = level + sources.programme_db[subs.band]
    pressure = np.where(np.isnan(level), 0.0, P0 * 10.0 ** (level / 20.0))
    return np.asarray(pressure * sources.drive(subs.middle), dtype=complex)


def _levels(energy: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(energy > 0, 10.0 * np.log10(energy / P0**2), np.nan))


def _detour(blocked: Flags | Array | None, part: slice) -> Array:
    """For the kernel: infinite where nothing arrives, NaN where the path is free."""
    if blocked is None:
        return np.zeros((0, 0))
    if blocked.dtype == bool:
        return np.where(blocked[:, part], np.inf, np.nan)
    return np.ascontiguousarray(blocked[:, part], dtype=float)  # one layout, or the kernel is compiled again


def _blocks(sources: Sources, position: Array) -> Iterator[tuple[slice, Array, list[Array]]]:
    """Slices of positions with their distances (P, S) and, per source, directions (P, 3) in its axes."""
    step = max(1, _BLOCK // len(sources.position))
    for first in range(0, len(position), step):
        part = slice(first, min(first + step, len(position)))
        apart = position[part, np.newaxis, :] - sources.position[np.newaxis, :, :]
        distance = np.linalg.norm(apart, axis=-1)
        if not np.all(distance > 0):
            raise ValueError("a listening position coincides with a source")
        local = [apart[:, s] @ sources.axes[s].T / distance[:, s, np.newaxis] for s in range(len(sources.position))]
        yield part, distance, local


def _amplitude(toward: list[Complex], level: Array, drive: Complex, distance: Array, attenuation: Array) -> Complex:
    """Complex amplitudes (P, S) at the positions, all but the phase of travel. [Pa]"""
    strength = np.where(np.isnan(level), 0.0, P0 * 10.0 ** (level / 20.0)) * drive
    spreading = strength * 10.0 ** (-attenuation * distance / 20.0) / distance
    return np.asarray(np.stack(toward, axis=1) * spreading)


def _source_levels(sources: Sources, band: int) -> Array:
    level = np.array([sources.directivities[kind].level_1m_db[band] for kind in sources.kind])
    return level if sources.programme_db is None else level + sources.programme_db[band]


def _band_at(frequency: float) -> int:
    """The band that a line lies in; the nearest one beyond the range."""
    return int(np.argmin(np.abs(np.log(bands.midbands() / frequency))))


def _detour_of(blocked: Flags | Array | None, part: slice, shape: tuple[int, ...]) -> Array:
    """As for the kernel, (P, S)."""
    found = _detour(blocked, part)
    return found.T if found.size else np.full(shape, np.nan)


def _over_edge(detour: Array, wavelength: float) -> Array:
    """What an edge leaves of an amplitude: 1 where the path is free, 0 where nothing arrives."""
    loss = 10.0 ** (-barrier.loss(detour, wavelength) / 20.0)
    return np.where(np.isnan(detour), 1.0, np.where(np.isinf(detour), 0.0, loss))


def _tell(progress: Progress | None, part: slice) -> None:
    if progress is not None:
        progress(part.stop - part.start)
