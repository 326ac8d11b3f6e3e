"""AES69-2022 (SOFA) files of the convention FreeFieldDirectivityTF: what is in one is read and checked here.

HDF5 with the variables N, ReceiverPosition, Data.Real, Data.Imag and the axes of source and listener.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn

import h5py  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt

from rigging.faults import NO_VALUE, Fault, FileFaults

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

CONVENTION = "FreeFieldDirectivityTF"
VERSIONS = ("1.0", "1.1")
MOST_VALUES = 50_000_000  # 0.8 GB as complex numbers
SAME_RADIUS_M = 1e-3  # a twentieth of the wavelength at 16 kHz


@dataclass(frozen=True)
class Sofa:
    """An open file with its name."""

    name: str
    root: h5py.File

    def refuse(self, key: str, wrong: str, todo: str, value: object = NO_VALUE) -> NoReturn:
        raise FileFaults([Fault(self.name, key, wrong, todo, value)])

    def variable(self, key: str) -> h5py.Dataset:
        found = self.root.get(key)
        if not isinstance(found, h5py.Dataset) or found.shape is None:
            self.refuse(key, "variable is missing", f"{CONVENTION} needs it; export the file again")
        return found

    def text(self, key: str, attribute: str) -> str:
        """An attribute of a variable, or of the file (key ""); empty where it is missing."""
        value = (self.variable(key) if key else self.root).attrs.get(attribute, "")
        value = value[0] if isinstance(value, np.ndarray) and value.size else value
        return (value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)).strip()

    def numbers(self, key: str) -> Array:
        """All values of a variable, finite."""
        found = self.variable(key)
        if found.dtype.kind not in "fiu":
            self.refuse(key, "holds no numbers", "export the file again", str(found.dtype))
        if found.size > MOST_VALUES:
            wrong = f"holds {found.size / 1e6:.0f} million values"
            self.refuse(key, wrong, f"thin the frequencies, to {MOST_VALUES // 1_000_000} million at most")
        values = np.asarray(found[()], dtype=float)
        bad = np.argwhere(~np.isfinite(values))
        if len(bad):
            place = ", ".join(str(i + 1) for i in bad[0])
            wrong = f"holds {len(bad)} values that are no finite numbers, the first at [{place}]"
            self.refuse(key, wrong, "leave out what was not measured and export again")
        return values


def check_convention(sofa: Sofa) -> None:
    for attribute, known in (
        ("Conventions", ("SOFA",)),
        ("SOFAConventions", (CONVENTION,)),
        ("SOFAConventionsVersion", VERSIONS),
        ("DataType", ("TF",)),
    ):
        found = sofa.text("", attribute)
        if not found:
            sofa.refuse(attribute, "attribute is missing: no AES69 (SOFA) file", f"name one of {CONVENTION}")
        if found not in known:
            wrong = f"is not {' or '.join(known)}"
            sofa.refuse(attribute, wrong, f"export it as {CONVENTION} {VERSIONS[-1]}", found)


def content(sofa: Sofa) -> tuple[Array, Array, float, Complex]:
    """Frequencies (N,) above 0, directions (R, 3) in the source's axes, their distance, transfer (R, N)."""
    shape = sofa.variable("Data.Real").shape
    if len(shape) == 3 and shape[0] > 1:
        wrong = f"holds {shape[0]} measurements; which note, setting or orientation is meant is not known"
        sofa.refuse("Data.Real", wrong, "save one measurement that has every direction as a receiver")
    frequency = _frequencies(sofa)
    vector = _receivers(sofa)
    shape = (1, len(vector), len(frequency))
    for key in ("Data.Real", "Data.Imag"):
        found = sofa.variable(key).shape
        if found != shape:
            wrong = f"has the shape {found}, not M × R × N = {shape} of ReceiverPosition and N"
            sofa.refuse(key, wrong, "export the file again")
    distance = np.linalg.norm(vector, axis=1)
    if distance.min() <= 0:
        sofa.refuse("ReceiverPosition", "lies at the source: no distance, no direction", "give the radius in metres")
    if np.ptp(distance) > SAME_RADIUS_M:
        wrong = f"lies {distance.min():.3f} to {distance.max():.3f} m from the source, so levels and phases differ"
        sofa.refuse("ReceiverPosition", wrong, "refer all directions to one distance and export again")
    real, imaginary = sofa.numbers("Data.Real")[0], sofa.numbers("Data.Imag")[0]
    if not imaginary.any() and real.min() >= 0 and np.ptp(real, axis=0).any():
        wrong = "is zero and Data.Real nowhere negative: magnitudes without phase"
        sofa.refuse("Data.Imag", wrong, "sums of sources need complex data; export it with phase")
    above = frequency > 0
    return frequency[above], vector / distance[:, np.newaxis], float(distance.mean()), (real + 1j * imaginary)[:, above]


def _frequencies(sofa: Sofa) -> Array:
    frequency = sofa.numbers("N")
    units = sofa.text("N", "Units")
    if _unit(units) not in ("hertz", "hz"):
        sofa.refuse("N:Units", "is not hertz", "give frequencies in hertz", units)
    if frequency.ndim != 1 or np.count_nonzero(frequency > 0) < 2:
        sofa.refuse("N", "holds fewer than two frequencies above 0", "export the whole spectrum")
    falling = np.flatnonzero(np.diff(frequency) <= 0)
    if frequency[0] < 0 or len(falling):
        wrong = f"does not rise from 0 Hz: entry {falling[0] + 2}" if len(falling) else "starts below 0 Hz"
        value = frequency[falling[0] + 1] if len(falling) else frequency[0]
        sofa.refuse("N", wrong, "sort the frequencies and export again", float(value))
    return frequency


def _receivers(sofa: Sofa) -> Array:
    """Receivers from the source in the source's axes, (R, 3). [m]

    Their places are given from the listener, in the listener's axes.
    """
    place = _points(sofa, "ReceiverPosition") @ _axes(sofa, "Listener") + _points(sofa, "ListenerPosition", 1)
    return np.asarray((place - _points(sofa, "SourcePosition", 1)) @ _axes(sofa, "Source").T)


def _axes(sofa: Sofa, whose: str) -> Array:
    """Forward, left and up of the source or the listener, as rows (3, 3)."""
    view = _points(sofa, f"{whose}View", 1)[0]
    up = _points(sofa, f"{whose}Up", 1, f"{whose}View")[0]
    left = np.cross(up, view)
    if np.linalg.norm(left) <= 1e-6 * float(np.linalg.norm(up) * np.linalg.norm(view)):
        sofa.refuse(f"{whose}Up", f"is zero, or parallel to {whose}View", "give view and up at a right angle")
    rows = np.stack([view, left, np.cross(view, left)])
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True))


def _points(sofa: Sofa, key: str, count: int | None = None, typed: str = "") -> Array:
    """Positions or vectors, cartesian (n, 3); `typed` names the variable that holds their type where they do not."""
    values = sofa.numbers(key)
    values = values[..., 0] if values.ndim == 3 and values.shape[2] == 1 else values
    if values.ndim != 2 or values.shape[1] != 3 or len(values) != (count or len(values)):
        wanted = f"{count or 'R'} × 3"
        sofa.refuse(key, f"has the shape {values.shape}, not {wanted} for one measurement", "export the file again")
    typed = key if sofa.text(key, "Type") or not typed else typed
    kind, units = sofa.text(typed, "Type"), sofa.text(typed, "Units")
    parts = [_unit(part) for part in units.split(",")]
    if kind == "cartesian" and set(parts) == {"metre"}:
        return values
    if kind == "spherical" and parts == ["degree", "degree", "metre"]:
        azimuth, elevation = np.radians(values[:, :2]).T
        flat = np.cos(elevation)
        unit = np.column_stack([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)])
        return np.asarray(values[:, 2:] * unit)
    todo = "give cartesian in metre, or spherical in degree, degree, metre"
    if kind in ("cartesian", "spherical"):
        sofa.refuse(f"{typed}:Units", f"is no unit of {kind} places that is read", todo, units)
    sofa.refuse(f"{typed}:Type", "is neither cartesian nor spherical", todo, kind)


def _unit(text: str) -> str:
    """One spelling of a unit: `Meters` → `metre`."""
    return text.strip().lower().removesuffix("s").replace("meter", "metre")
