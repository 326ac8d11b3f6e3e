"""Analytic far-field directivities of single radiators, and an enclosure composed of several.

Directions are unit vectors n in the enclosure's axes (x forward, y left, z up). Time e^{+jωt}, wave
e^{−jkr}: a radiator displaced by d towards the listener is ahead in phase, e^{+jk n·d}.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import j1

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Radiator:
    """Equal radiators of one kind that share a band.

    `shape`: circle (`width_m` is its diameter), rectangle, or slot (a rectangle whose horizontal
    pattern is that of a horn with the nominal coverage `coverage_deg` [deg]). `places_m` (K, 3):
    their centres from the enclosure's reference point [m]. `from_hz`, `to_hz`: crossovers, None where
    the band is open. `weight`: the share of the kind's pressure that these places give.
    """

    shape: Literal["circle", "rectangle", "slot"]
    width_m: float
    height_m: float
    places_m: tuple[tuple[float, float, float], ...]
    from_hz: float | None = None
    to_hz: float | None = None
    coverage_deg: float | None = None
    weight: float = 1.0


def piston(ka_sin: npt.ArrayLike) -> Array:
    """Circular piston in a baffle, 2 J1(x)/x with x = ka sinθ; 1 at 0 (Kinsler et al., section 7.4, from memory)."""
    x = np.asarray(ka_sin, dtype=float)
    near = np.abs(x) < 1e-6
    return np.asarray(np.where(near, 1.0, 2.0 * j1(x) / np.where(near, 1.0, x)))


def line(half_kl_sin: npt.ArrayLike) -> Array:
    """Uniform line, sin(u)/u with u = (kL/2) sinθ; 1 at 0 (Kinsler et al., section 7.3, from memory)."""
    return np.asarray(np.sinc(np.asarray(half_kl_sin, dtype=float) / np.pi))


def horn(n_left: npt.ArrayLike, coverage_deg: float) -> Array:
    """Horizontal pattern of a horn: a smooth bell that falls to half the pressure at ± coverage/2.

    exp(−ln 2 · (n_y / sin(coverage/2))²), the same at all frequencies of its band. A model of our own:
    nominal coverage is defined by its −6 dB angle (common practice, no source), its shape is not.
    """
    edge = np.sin(np.radians(coverage_deg) / 2.0)
    return np.asarray(np.exp(-np.log(2.0) * (np.asarray(n_left, dtype=float) / edge) ** 2))


def crossover(frequency: npt.ArrayLike, from_hz: float | None, to_hz: float | None) -> Array:
    """Share of a radiator in the sum: fourth-order in-phase crossovers, f⁴/(f⁴ + fc⁴) and its complement.

    The magnitudes of the squared Butterworth pair of Linkwitz (JAES 24(1), 1976, from memory); both halves share
    one phase, which normalising on the reference axis removes. At a crossover each share is ½.
    """
    f = np.asarray(frequency, dtype=float)
    share = np.ones_like(f)
    if from_hz is not None:
        share = share * f**4 / (f**4 + from_hz**4)
    if to_hz is not None:
        share = share * to_hz**4 / (f**4 + to_hz**4)
    return share


def rear(n_forward: npt.ArrayLike, frequency: npt.ArrayLike, width_m: float, rear_db: float, c: float) -> Array:
    """What the cabinet leaves of the sound behind it: 1 in front, falling with the square of sinθ behind.

    For n_x < 0: R + (1 − R) sin²θ, with R = ρ + (1 − ρ) / (1 + (kw/2)²), ρ = 10^(rear_db/20), w the
    cabinet's width. A simple model of our own with the right limits: omnidirectional where the cabinet
    is small against the wavelength, `rear_db` straight behind where it is large.

    Parameters
    ----------
    n_forward : array_like, broadcastable
        Cosine of the polar angle.
    frequency : array_like, broadcastable
        [Hz]
    width_m : float
        Width of the cabinet. [m]
    rear_db : float
        Level straight behind at high frequencies. [dB]
    c : float
        Speed of sound. [m/s]
    """
    floor = 10.0 ** (rear_db / 20.0)
    half = np.pi * np.asarray(frequency, dtype=float) * width_m / c
    behind = floor + (1.0 - floor) / (1.0 + half**2)
    cosine = np.asarray(n_forward, dtype=float)
    return np.asarray(np.where(cosine < 0, behind + (1.0 - behind) * (1.0 - cosine**2), 1.0))


def radiation(radiators: Sequence[Radiator], directions: npt.ArrayLike, frequency: float, c: float) -> Complex:
    """Far field of all radiators about the reference point, before normalising; no rear model.

    Parameters
    ----------
    radiators : sequence of Radiator
    directions : array_like, shape (..., 3)
        Unit vectors in the enclosure's axes.
    frequency, c : float
        Frequency [Hz], speed of sound [m/s].

    Returns
    -------
    ndarray, shape (...)
        Each kind's share times its aperture's pattern, averaged over its places.
    """
    n = np.asarray(directions, dtype=float)
    k = 2.0 * np.pi * frequency / c
    total = np.zeros(n.shape[:-1], dtype=complex)
    for radiator in radiators:
        share = crossover(frequency, radiator.from_hz, radiator.to_hz)
        phases = sum(np.exp(1j * k * (n @ np.asarray(place))) if any(place) else 1.0 for place in radiator.places_m)
        total += share * radiator.weight * _aperture(radiator, n, k) * phases / len(radiator.places_m)
    return total


def between(radiators: Sequence[Radiator], low_m: float, high_m: float, centre_m: float) -> tuple[Radiator, ...]:
    """What radiates between two heights, about a point on the reference axis at a third height.

    Slots and rectangles are cut, each part radiating in proportion to its height; a circle belongs where its centre is.

    Parameters
    ----------
    radiators : sequence of Radiator
    low_m, high_m, centre_m : float
        Heights from the reference point of `radiators`. [m]

    Returns
    -------
    tuple of Radiator
        One for each place, or part of one.
    """
    found = []
    for radiator in radiators:
        for x, y, z in radiator.places_m:
            share, middle, height = 1.0, z, radiator.height_m
            if radiator.shape == "circle":
                inside = low_m <= z < high_m
            else:
                bottom, top = max(low_m, z - height / 2.0), min(high_m, z + height / 2.0)
                share, middle, inside = (top - bottom) / height, (top + bottom) / 2.0, top > bottom
                height = top - bottom
            if inside:
                weight = radiator.weight * share / len(radiator.places_m)
                place = ((x, y, middle - centre_m),)
                found.append(replace(radiator, height_m=height, places_m=place, weight=weight))
    return tuple(found)


def _aperture(radiator: Radiator, n: Array, k: float) -> Array:
    left, up = n[..., 1], n[..., 2]
    if radiator.shape == "circle":
        return piston(k * radiator.width_m / 2.0 * np.hypot(left, up))
    vertical = line(k * radiator.height_m / 2.0 * up)
    if radiator.coverage_deg is not None:
        return np.asarray(vertical * horn(left, radiator.coverage_deg))
    return np.asarray(vertical * line(k * radiator.width_m / 2.0 * left))
