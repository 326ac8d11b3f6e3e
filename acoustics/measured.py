"""Measured complex directivity: read from an AES69-2022 (SOFA) file and interpolated.

Box axes x forward, y left, z up; time e^{+jωt}, wave e^{−jkr}, which is that of a transfer function in SOFA. The point
a box was turned about is not where its sound comes from: that leaves a delay e^{+jk n·d} that changes with direction.
d, the acoustic centre, is fitted and taken out, so that what is interpolated turns slowly; the source then stands at
its reference + `centre_m`. What is common to all directions, bulk delay and response on the axis, is divided out.

Over directions complex values are interpolated as they are, by splines Σ w |n − n_i|³ + a plane: those need no grid, no
poles and no unwrapping. Magnitude and phase apart did worse where it matters, by 0.05 to 0.07 of the axis beside the
nulls of a piston (ka = 5 and 10, 5° grid) where this stays within 2e-4: magnitudes have a kink there, phases jump.
Accuracy, error re the axis on closed forms [calc: tests], s the spacing and R the reach of what radiates from the
centre: within 0.002 where kRs < 0.9, 0.03 where kRs < 1.8, on a regular grid; a random grid is as good as a regular one
of three times its mean spacing. Beyond kRs = π a grid does not hold the pattern, and nothing can tell from it.
Between frequencies: two parts of a box whose phases turn by φ against each other from one line of the data to the next
are interpolated within some φ⁴/43 of the weaker part; third octaves are too coarse for parts 0.2 m apart from 1 kHz
upward.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NoReturn

import h5py  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt
from scipy.linalg import lu_factor, lu_solve
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull, QhullError, cKDTree

from acoustics.aes69 import Sofa, check_convention, content
from rigging.faults import Fault, FileFaults

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
Indices = npt.NDArray[np.intp]

AXIS = np.array([[1.0, 0.0, 0.0]])
# Radius of the largest gap in the directions. A spline runs on smoothly but knows nothing of what is there: inside a
# gap of 20° it is right within 0.06 of the axis up to kR = 5, inside one of 30° within 0.27. [calc: closed forms]
MOST_GAP_DEG = 20.0
LEAST_AXIS_SHARE = 0.1  # of the loudest direction: below it the axis is a null, and levels re it mean nothing
MOST_CENTRE_M = 2.0  # no box is so large: what lies farther out is a wrapped phase
SAME_RAD = 2e-5  # directions nearer than this are one, rounded to 0.001°
COHERENT = 0.8  # mean cosine of what the fit leaves between neighbours: noise has 0, data that can be followed 1
_FITTED = 60  # frequencies in the fit
_WHOLE = 3000  # directions up to which one spline goes through all of them
_IN_CAP = 200  # directions in a cap, where there are more
_ROWS = 2048


@dataclass(frozen=True)
class Measured:
    """Measured directivity about its acoustic centre, 1 on the axis (+x).

    `frequency` (N,) [Hz]; `direction` (M, 3) unit vectors in box axes; `transfer` (M, N); `centre_m` (3,): acoustic
    centre from the point of rotation [m]; `radius_m`: distance it was measured at [m], from where the field is taken
    for the far one.
    """

    frequency: Array
    direction: Array
    transfer: Complex
    centre_m: Array
    radius_m: float

    @property
    def low_hz(self) -> float:
        """Lowest frequency of the data. [Hz]"""
        return float(self.frequency[0])

    @property
    def high_hz(self) -> float:
        """Highest frequency of the data. [Hz]"""
        return float(self.frequency[-1])

    def at(self, directions: npt.ArrayLike, frequency: float) -> Complex:
        """Directivity about `centre_m` towards unit vectors (..., 3) in box axes at one frequency [Hz], shape (...).

        Raises
        ------
        ValueError
            Outside the data's frequencies.
        """
        return np.asarray(self.at_many(directions, [frequency])[0])

    def at_many(self, directions: npt.ArrayLike, frequencies: npt.ArrayLike) -> Complex:
        """Directivity about `centre_m` at many frequencies at once, which is faster than one by one.

        Parameters
        ----------
        directions : array_like, shape (..., 3)
            Unit vectors in box axes.
        frequencies : array_like, shape (F,)
            [Hz]

        Returns
        -------
        ndarray, shape (F, ...)

        Raises
        ------
        ValueError
            Outside the data's frequencies.
        """
        n = np.asarray(directions, dtype=float)
        toward = np.vstack([AXIS, n.reshape(-1, 3)])
        hz = np.asarray(frequencies, dtype=float)
        far = _over_directions(self.direction, self._at_nodes(hz), toward, self._whole)
        return np.asarray((far[1:] / far[0]).T.reshape(*hz.shape, *n.shape[:-1]))

    @cached_property
    def _whole(self) -> _Spline:
        return _Spline(self.direction, np.eye(3))

    def _at_nodes(self, hz: Array) -> Complex:
        """The data between its frequencies, (M, F): cubics through four lines, of magnitude and phase apart.

        The phase goes from line to line by less than half a turn. Where it takes nearly that, as it does at a null that
        moves past, its sense is not known: there, by the cosines of the turns, a cubic of the complex values.
        """
        outside = hz[~((hz >= self.low_hz * (1.0 - 1e-9)) & (hz <= self.high_hz * (1.0 + 1e-9)))]
        if outside.size:
            span = f"{self.low_hz:g} to {self.high_hz:g} Hz"
            raise ValueError(f"{outside[0]:g} Hz lies outside the measured frequencies, {span}")
        count = min(4, len(self.frequency))
        first = np.searchsorted(self.frequency, hz, side="right") - count // 2
        lines = np.clip(first, 0, len(self.frequency) - count) + np.arange(count)[:, np.newaxis]
        share = _cubic(self.frequency[lines], hz)
        values = np.moveaxis(self.transfer[:, lines], 0, 1)  # (4, M, F)
        turn = np.angle(values[1:] * values[:-1].conj())
        known = np.prod((1.0 + np.cos(turn)) / 2.0, axis=0)
        phase = np.angle(values[0]) + np.einsum("if,imf->mf", share[1:], np.cumsum(turn, axis=0))
        magnitude = np.maximum(np.einsum("if,imf->mf", share, np.abs(values)), 0.0)
        straight = np.einsum("if,imf->mf", share, values)
        return np.asarray(known * magnitude * np.exp(1j * phase) + (1.0 - known) * straight)


def read_measured(
    path: str | os.PathLike[str], c: float, owner: str = "", key: str = "acoustic.aes69_file"
) -> Measured:
    """Read an AES69-2022 file of the convention FreeFieldDirectivityTF, 1.0 or 1.1, of one measurement (M = 1).

    Parameters
    ----------
    path : path
    c : float
        Speed of sound, by which the delays become `centre_m`. Use the data at the same one. [m/s]
    owner, key : str
        File and key that name it, for the message where it is not there.

    Raises
    ------
    FileFaults
        If it cannot be read, is of another kind, contradicts itself or lacks directions.
    """
    name = os.fspath(path)
    if not Path(name).is_file():
        wrong = "is a directory, not a file" if Path(name).is_dir() else "does not exist"
        fault = Fault(owner, key, f"names a file that {wrong}", "check the path", Path(name).name)
        raise FileFaults([fault if owner else Fault(name, "", wrong, "check the path")])
    try:
        with h5py.File(name, "r") as opened:
            sofa = Sofa(name, opened)
            check_convention(sofa)
            frequency, direction, radius_m, transfer = content(sofa)
    except (OSError, RuntimeError, KeyError) as error:
        first = str(error).partition("\n")[0][:120]
        todo = "name an AES69 (SOFA) file, or copy it again"
        raise FileFaults([Fault(name, "", f"cannot be read as HDF5: {first}", todo)]) from None
    return _measured(sofa, frequency, direction, radius_m, transfer, c)


def _measured(sofa: Sofa, frequency: Array, direction: Array, radius_m: float, transfer: Complex, c: float) -> Measured:
    """Directions merged and checked, the centre fitted and taken out, the axis made 1."""
    loudest = np.abs(transfer).max(axis=0)
    if loudest.min() == 0:
        _refuse_axis(sofa, frequency[np.argmin(loudest)], "is zero in every direction")
    direction, transfer = _merged(sofa, direction, transfer / loudest)
    neighbours = _neighbours(sofa, direction)
    wave = 2.0 * np.pi * frequency / c
    centre = _centre(direction[neighbours[:, 1]] - direction[neighbours[:, 0]], transfer, neighbours, wave)
    if centre is None:
        wrong = "has phases that do not hang together from one direction to the next at any frequency"
        sofa.refuse("Data.Imag", wrong, "check directions and phases, or measure a finer grid")
    if np.linalg.norm(centre) > MOST_CENTRE_M:
        wrong = f"puts the acoustic centre {np.linalg.norm(centre):.1f} m from the point of rotation"
        sofa.refuse("Data.Imag", wrong, "check directions and phases; lower frequencies help to follow the phase")
    still = transfer * np.exp(-1j * (direction @ centre)[:, np.newaxis] * wave)
    axis = _over_directions(direction, still, AXIS, _Spline(direction, np.eye(3)))[0]
    share = np.abs(axis) / np.abs(still).max(axis=0)
    if share.min() < LEAST_AXIS_SHARE:
        worst = int(np.argmin(share))
        db = 20.0 * np.log10(max(float(share[worst]), 1e-6))
        _refuse_axis(sofa, frequency[worst], f"is {db:.0f} dB on the axis re the loudest direction")
    return Measured(frequency, direction, still / axis, centre, radius_m)


def _refuse_axis(sofa: Sofa, hz: float, what: str) -> NoReturn:
    wrong = f"{what} at {hz:g} Hz, where levels are defined on the axis"
    sofa.refuse("Data.Real", wrong, "check SourceView, and leave out frequencies that were not measured")


def _merged(sofa: Sofa, direction: Array, transfer: Complex) -> tuple[Array, Complex]:
    """Directions that stand more than once, as poles do on a regular grid, replaced by their mean."""
    pairs = cKDTree(direction).query_pairs(SAME_RAD, output_type="ndarray")
    count = len(direction)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    groups, label = connected_components(graph, directed=False)
    if groups == count:
        return direction, transfer
    share = coo_array((1.0 / np.bincount(label)[label], (label, np.arange(count))), shape=(groups, count)).tocsr()
    middle, mean = np.asarray(share @ direction), np.asarray(share @ transfer)
    apart = np.sqrt(np.mean(np.abs(transfer - mean[label]) ** 2, axis=1))
    if apart.max() > 0.1:
        where = _named(direction[int(np.argmax(apart))])
        sofa.refuse("ReceiverPosition", f"stands twice at {where}, with other data", "keep one of them")
    return np.asarray(middle / np.linalg.norm(middle, axis=1, keepdims=True)), mean


def _neighbours(sofa: Sofa, direction: Array) -> Indices:
    """Pairs of directions that are neighbours, (E, 2), by the convex hull; it refuses a grid with a gap."""
    todo = f"directivity is needed all around; measure what lacks (up to {MOST_GAP_DEG:g}° is bridged)"
    try:
        hull = ConvexHull(direction)
    except (QhullError, ValueError):
        sofa.refuse("ReceiverPosition", "lies in one plane, or holds fewer than four directions", todo)
    # A facet's circle is the largest empty one around its outward normal; beyond 90° where the middle is not inside.
    radius = np.degrees(np.arccos(np.clip(-hull.equations[:, 3], -1.0, 1.0)))
    widest = int(np.argmax(radius))
    if radius[widest] > MOST_GAP_DEG + 1e-6:
        wrong = f"has no direction within {radius[widest]:.0f}° of {_named(hull.equations[widest, :3])}"
        sofa.refuse("ReceiverPosition", wrong, todo)
    sides = np.sort(np.vstack([hull.simplices[:, [0, 1]], hull.simplices[:, [1, 2]], hull.simplices[:, [0, 2]]]))
    return np.unique(sides, axis=0).astype(np.intp)


def _named(direction: Array) -> str:
    x, y, z = direction
    azimuth = round(np.degrees(np.arctan2(y, x))) if np.hypot(x, y) > 1e-6 else 0
    return f"azimuth {azimuth if azimuth > -180 else 180}°, elevation {round(np.degrees(np.arcsin(z)))}°"


def _centre(baseline: Array, transfer: Complex, neighbours: Indices, wave: Array) -> Array | None:
    """The displacement d whose e^{+jk n·d} explains the phases best, or None where they do not hang together.

    Least squares on the phase between neighbouring directions, kΔn·d, weighted by their magnitudes; from low
    frequencies upward, each around what the lower ones gave, so that no phase wraps. What lies far off the fit, as
    changes of sign across a null do, is given less weight.
    """
    normal, right = np.zeros((3, 3)), np.zeros(3)
    centre = np.zeros(3)
    lines = np.searchsorted(wave, np.geomspace(wave[0], wave[-1], _FITTED))
    for line in np.unique(np.clip(lines, 0, len(wave) - 1)):
        across = transfer[neighbours[:, 1], line] * transfer[neighbours[:, 0], line].conj()
        slope = wave[line] * baseline
        weight, local = np.abs(across), centre
        for _ in range(6):
            left = np.angle(across * np.exp(-1j * (slope @ local)))
            weighed = slope * weight[:, np.newaxis]
            square = weighed.T @ slope
            local = local + np.linalg.solve(square + 1e-9 * np.trace(square) * np.eye(3), weighed.T @ left)
            left = np.angle(across * np.exp(-1j * (slope @ local)))
            weight = np.abs(across) * np.clip(np.cos(left), 0.0, 1.0) ** 4
        if np.sum(np.abs(across) * np.cos(left)) < COHERENT * np.sum(np.abs(across)):
            continue
        weighed = slope * weight[:, np.newaxis]
        normal += weighed.T @ slope
        right += weighed.T @ (left + slope @ local)
        centre = np.linalg.solve(normal + 1e-9 * np.trace(normal) * np.eye(3), right)
    return centre if normal.any() else None


@dataclass(frozen=True)
class _Spline:
    """Cubic polyharmonic spline through nodes (M, 3), Σ w |n − n_i|³ + a plane in the columns of `basis`."""

    nodes: Array
    basis: Array

    @cached_property
    def _factor(self) -> tuple[Array, npt.NDArray[np.int32]]:
        plane = self._plane(self.nodes)
        corner = np.zeros((plane.shape[1], plane.shape[1]))
        return lu_factor(np.block([[self._cubes(self.nodes), plane], [plane.T, corner]]))

    def _plane(self, n: Array) -> Array:
        return np.hstack([np.ones((len(n), 1)), n @ self.basis])

    def _cubes(self, n: Array) -> Array:
        square = np.maximum(2.0 - 2.0 * n @ self.nodes.T, 0.0)
        return np.asarray(square * np.sqrt(square))

    def through(self, values: Complex, toward: Array) -> Complex:
        """What has the values (M, K) at the nodes, towards (Q, 3): (Q, K)."""
        columns = np.zeros((len(self.nodes) + 1 + self.basis.shape[1], 2 * values.shape[1]))
        columns[: len(values)] = np.hstack([values.real, values.imag])
        weights = lu_solve(self._factor, columns)
        found = np.empty((len(toward), columns.shape[1]))
        for start in range(0, len(toward), _ROWS):
            n = toward[start : start + _ROWS]
            found[start : start + _ROWS] = np.hstack([self._cubes(n), self._plane(n)]) @ weights
        real, imaginary = np.split(found, 2, axis=1)
        return np.asarray(real + 1j * imaginary)


def _cubic(lines: Array, hz: Array) -> Array:
    """Lagrange's weights of lines (4, F) at frequencies (F,), (4, F); of fewer lines, a lower degree."""
    share = np.ones_like(lines)
    for i in range(len(lines)):
        for other in lines[np.arange(len(lines)) != i]:
            share[i] *= (hz - other) / (lines[i] - other)
    return share


def _over_directions(nodes: Array, values: Complex, toward: Array, whole: _Spline) -> Complex:
    """Values (M, K) at nodes (M, 3), interpolated towards (Q, 3): (Q, K).

    By one spline or, where the nodes are many, by splines in overlapping caps, blended with smooth weights.
    """
    if len(nodes) <= _WHOLE:
        return whole.through(values, toward)
    reach = 2.0 * np.sqrt(_IN_CAP / len(nodes))  # a cap of chord r is r²/4 of the sphere
    tree, asked = cKDTree(nodes), cKDTree(toward)
    total, shares = np.zeros((len(toward), values.shape[1]), dtype=complex), np.zeros(len(toward))
    for middle in _spread(int(20.0 / reach**2)):
        there = np.asarray(asked.query_ball_point(middle, reach), dtype=np.intp)
        if not there.size:
            continue
        within = np.asarray(tree.query_ball_point(middle, 1.2 * reach), dtype=np.intp)
        if len(within) < _IN_CAP // 4:
            within = np.asarray(tree.query(middle, _IN_CAP // 4)[1], dtype=np.intp)
        tangent = np.linalg.svd(middle[np.newaxis])[2][1:].T
        found = _Spline(nodes[within], tangent).through(values[within], toward[there])
        away = np.linalg.norm(toward[there] - middle, axis=1) / reach
        share = np.maximum(1.0 - away, 0.0) ** 4 * (4.0 * away + 1.0)
        total[there] += share[:, np.newaxis] * found
        shares[there] += share
    return np.asarray(total / shares[:, np.newaxis])


def _spread(count: int) -> Array:
    """Directions spread evenly over the sphere, on a spiral of the golden angle, (count, 3)."""
    height = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    turn = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(count)
    flat = np.sqrt(1.0 - height**2)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), height])
