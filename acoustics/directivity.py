"""An enclosure type's complex directivity at any frequency; the acoustic part of an enclosure file is read here."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from acoustics import bands, radiators
from acoustics.radiators import Radiator
from rigging.equipment import Enclosure
from rigging.faults import NO_VALUE, Fault, FileFaults, Loc, show
from rigging.files import validate_part
from rigging.models import FilePath, Model, Name, key, quantity

if TYPE_CHECKING:
    from acoustics.measured import Measured

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
Problem = tuple[Loc, str, str, object]

# Widest step of a table of directivity.
STEP_DEG = 1.0
# Below this the axis is a null, and levels that refer to it mean nothing.
LEAST_AXIS_SHARE = 0.1
QUIET = 5e-4  # share of the sum below which a table leaves radiators out: 66 dB down, a quarter of its error
TABLE_ERROR = 2e-3  # of the axis level: 0.1 dB is 1.2 % of a level 20 dB down, 1.2e-3 of the axis
PASCAL_DB = -20.0 * np.log10(20e-6)  # level of 1 Pa re 20 µPa

Length = Annotated[float, quantity(0.005, 3.0, "m")]
Offset = Annotated[float, quantity(-3.0, 3.0, "m")]
Band = Annotated[float, quantity(0.0, 1e6, "Hz")]
MOST_CROSSOVER_HZ = 30_000.0
Crossover = Annotated[float, quantity(10.0, MOST_CROSSOVER_HZ, "Hz")]


class RadiatorPart(Model):
    """Equal radiators of one kind, as an enclosure file gives them; places in box axes."""

    name: Name = key("what it is", '"high"')
    shape: Literal["circle", "rectangle", "slot"] = key("circle, rectangle or slot", '"slot"')
    diameter_m: Length | None = Field(None, description="of a circle")
    width_m: Length | None = Field(None, description="of a rectangle")
    height_m: Length | None = Field(None, description="of a rectangle or slot")
    coverage_deg: Annotated[float, quantity(10.0, 180.0, "deg")] | None = Field(None, description="of a slot")
    places_m: Annotated[tuple[tuple[Offset, Offset, Offset], ...], Field(min_length=1)] = key(
        "centres, in box axes", "[[0.0, 0.0, -0.175]]"
    )
    from_hz: Crossover | None = Field(None, description="lower crossover")
    to_hz: Crossover | None = Field(None, description="upper crossover")


class AcousticPart(Model):
    """`[acoustic]` of an enclosure file."""

    model: Literal["point", "radiators", "measured"] = key("point, radiators or measured", '"radiators"')
    aes69_file: FilePath | None = Field(None, description="measured directivity, from this file's folder")
    rear_db: Annotated[float, quantity(-60.0, 0.0, "dB")] | None = Field(None, description="level straight behind")
    level_band_hz: tuple[Band, ...] | None = Field(None, description="nominal bands that it is used in")
    level_1m_db: tuple[Annotated[float, quantity(40.0, 150.0, "dB")], ...] | None = Field(
        None, description="level in each band at 1 m on the axis at drive 0 dB, referred from the far field"
    )
    max_level_1m_db: tuple[Annotated[float, quantity(40.0, 170.0, "dB")], ...] | None = Field(
        None, description="greatest continuous level in each of these bands at 1 m, referred from the far field"
    )
    peak_margin_db: Annotated[float, quantity(0.0, 30.0, "dB")] | None = Field(
        None, description="how far peaks may go beyond the greatest continuous level"
    )
    radiator: tuple[RadiatorPart, ...] = Field((), description="radiators: [[acoustic.radiator]]")

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        """Keys that the model or the shape needs, or does not know."""
        entries = data.get("radiator")
        listed = entries if isinstance(entries, list) else []
        model = data.get("model")
        needs = _MODEL_NEEDS.get(model, ()) if isinstance(model, str) else ()
        for name in needs:
            if data.get(name, []) == []:
                wrong = "is empty" if name in data else "key is missing"
                yield (name,), wrong, f'model = "{model}" needs it', NO_VALUE
        if needs:
            yield from _level_faults(data.get("level_band_hz"), data.get("level_1m_db"))
        known = (*needs, "model", *(("max_level_1m_db", "peak_margin_db") if needs else ()))
        for name in [
            name
            for name in data
            if isinstance(model, str) and model in _MODEL_NEEDS and name not in known and name in cls.model_fields
        ]:
            yield (name,), f"has no meaning for model = {show(model)}", "remove it, or set another model", data[name]
        bands_hz, most = data.get("level_band_hz"), data.get("max_level_1m_db")
        if isinstance(bands_hz, list) and isinstance(most, list) and len(most) != len(bands_hz):
            wrong = f"has {len(most)} entries for {len(bands_hz)} bands"
            yield ("max_level_1m_db",), wrong, "give one level for each band", most
        for index, entry in enumerate(listed):
            if isinstance(entry, dict):
                yield from _shape_faults(entry, index)


@dataclass(frozen=True)
class Directivity:
    """Directivity of one enclosure type, or of a part of it, at one speed of sound, 1 on the whole's reference axis.

    Neither radiators nor `measured`: a point, exactly 1 everywhere. `level_1m_db` (29,): level in each band at 1 m on
    the axis [dB re 20 µPa], NaN where it is not used; `max_level_1m_db` (29,): the greatest that it can keep up, NaN
    where that is not known. `peak_margin_db`: how far peaks may go beyond, None where not known. `from_reference_m`
    (3,): where it radiates from, from the reference point. `extent_m`: lowest and highest point of the cabinet from
    there. `whole`: radiators of the whole enclosure that a part is normalised with; empty for a whole.
    `left_out_hz`: bands with a level whose directivity was not measured.
    """

    name: str
    radiators: tuple[Radiator, ...]
    width_m: float
    rear_db: float
    level_1m_db: Array
    c: float
    max_level_1m_db: Array | None = None
    peak_margin_db: float | None = None
    measured: Measured | None = None
    from_reference_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    extent_m: tuple[float, float] = (-np.inf, np.inf)
    whole: tuple[Radiator, ...] = ()
    left_out_hz: tuple[float, ...] = ()

    def at(self, directions: npt.ArrayLike, frequency: float) -> Complex:
        """Exact directivity towards unit vectors (..., 3) in box axes at one frequency [Hz]."""
        n = np.asarray(directions, dtype=float)
        if self.measured is not None:
            return self.measured.at(n, frequency)
        if not self.radiators:
            return np.ones(n.shape[:-1], dtype=complex)
        axis = radiators.radiation(self.whole or self.radiators, [1.0, 0.0, 0.0], frequency, self.c)
        far = radiators.radiation(self.radiators, n, frequency, self.c)
        return np.asarray(far / axis * radiators.rear(n[..., 0], frequency, self.width_m, self.rear_db, self.c))

    def parts(self, count: int) -> tuple[Directivity, ...]:
        """The enclosure as that many points one above the other, each with what its part of the height radiates.

        Far away they add up to the whole. A point remains one; a part without radiators is none.

        Raises
        ------
        ValueError
            If its data are measured: they do not say which part radiates what.
        """
        if count == 1 or self.omnidirectional:
            return (self,)
        if self.measured is not None:
            raise ValueError(f"{self.name} has measured data, which do not say which part of it radiates what")
        edge = np.linspace(*self.extent_m, count + 1)
        bounds = np.concatenate([[-np.inf], edge[1:-1], [np.inf]])
        found = []
        for index in range(count):
            centre = float(edge[index] + edge[index + 1]) / 2.0
            mine = radiators.between(self.radiators, bounds[index], bounds[index + 1], centre)
            if mine:
                place = (0.0, 0.0, centre)
                found.append(dataclasses.replace(self, radiators=mine, whole=self.radiators, from_reference_m=place))
        return tuple(found)

    def axis_share(self, frequency: float) -> float:
        """Share of the radiators' sum that is left on the reference axis at a frequency [Hz]; 1 if none cancel."""
        if not self.radiators:  # measured data were checked on their axis when they were read
            return 1.0
        axis = radiators.radiation(self.radiators, [1.0, 0.0, 0.0], frequency, self.c)
        shares = [radiators.crossover(frequency, r.from_hz, r.to_hz) for r in self.radiators]
        return float(np.abs(axis) / np.sum(shares))

    def holds(self, hz: float) -> bool:
        """Whether its data hold at a frequency: measured ones end somewhere."""
        return self.measured is None or self.measured.low_hz <= hz <= self.measured.high_hz

    @property
    def omnidirectional(self) -> bool:
        """Whether it is exactly 1 everywhere."""
        return not self.radiators and self.measured is None

    def table(self, directions: Array, frequencies: Array) -> Complex:
        """Directivity towards unit vectors (..., 3) at frequencies (K,) [Hz], shape (K, ...), within QUIET."""
        if self.omnidirectional:
            return np.ones((len(frequencies), *directions.shape[:-1]), dtype=complex)
        if self.measured is not None:
            # A band is used where its middle lies in the data: what of it lies beyond has the last value.
            return self.measured.at_many(directions, np.clip(frequencies, self.measured.low_hz, self.measured.high_hz))
        return np.stack([self._loudest(directions, float(hz)) for hz in frequencies])

    def _loudest(self, directions: Array, hz: float) -> Complex:
        loud = self._loud(hz, QUIET)
        if not loud:  # a part whose radiators have no share at this frequency
            return np.zeros(directions.shape[:-1], dtype=complex)
        return dataclasses.replace(self, radiators=loud).at(directions, hz)

    def step_deg(self, frequencies: Array) -> float:
        """Step of a table whose cubic splines follow e^{jkR sinθ} within TABLE_ERROR, R the reach of what radiates.

        The error of cubic spline interpolation is h⁴/384 of the fourth derivative, here (kR)⁴ at most. [deg]
        """
        step = STEP_DEG
        for hz in frequencies:
            loud = self._loud(hz, TABLE_ERROR)
            reach = [float(np.linalg.norm(p)) + max(r.width_m, r.height_m) / 2 for r in loud for p in r.places_m]
            wave_number = 2.0 * np.pi * hz / self.c
            most = (384.0 * TABLE_ERROR) ** 0.25 / (wave_number * max(reach, default=0.0) + 1e-9)
            step = min(step, float(np.degrees(most)))
        return step

    def _loud(self, hz: float, share: float) -> tuple[Radiator, ...]:
        """Radiators whose share at a frequency is more than that of the largest one of the whole enclosure."""
        shares = [float(radiators.crossover(hz, r.from_hz, r.to_hz)) for r in self.whole or self.radiators]
        least = share * max(shares, default=0.0)
        return tuple(r for r in self.radiators if radiators.crossover(hz, r.from_hz, r.to_hz) > least)


def load_directivity(enclosure: Enclosure, file: str, c: float) -> Directivity:
    """The directivity of an enclosure at a speed of sound.

    Parameters
    ----------
    enclosure : Enclosure
    file : str
        Where it was read from, for messages.
    c : float
        Speed of sound. [m/s]

    Raises
    ------
    FileFaults
        With all faults of the acoustic part.
    """
    part = validate_part(file, "acoustic", enclosure.acoustic, AcousticPart)
    if part.model == "point":
        # 1 Pa at 1 m in every band, so that line pressures are the bare sum of e^{−jkr}/r.
        return Directivity(enclosure.name, (), 0.0, 0.0, np.full(len(bands.NOMINAL_HZ), PASCAL_DB), c)
    level, most = (_by_band(part.level_band_hz, values) for values in (part.level_1m_db, part.max_level_1m_db))
    if part.model == "measured":
        return _measured(enclosure.name, part, file, c, level, most)
    kinds = tuple(_radiator(entry, np.asarray(enclosure.reference_m)) for entry in part.radiator)
    height = float(enclosure.reference_m[2])
    loaded = Directivity(
        enclosure.name,
        kinds,
        enclosure.width_m,
        float(part.rear_db or 0.0),
        level,
        c,
        max_level_1m_db=most,
        peak_margin_db=part.peak_margin_db,
        extent_m=(-enclosure.height_m - height, -height),
    )
    # Nine frequencies from edge to edge, the midband among them: a null is broader than that.
    low, high = bands.band_edges()[~np.isnan(level)].T
    for hz in np.geomspace(low, high, 9).ravel():
        if loaded.axis_share(float(hz)) < LEAST_AXIS_SHARE:
            raise FileFaults([cancelled(loaded, file, float(hz))])
    return loaded


def _by_band(bands_hz: Sequence[float] | None, values: Sequence[float] | None) -> Array:
    """Values of the bands that are listed, (29,); NaN elsewhere."""
    found = np.full(len(bands.NOMINAL_HZ), np.nan)
    for hz, value in zip(bands_hz or (), values if values is not None else (), strict=values is not None):
        found[bands.NOMINAL_HZ.index(hz)] = value
    return found


def _measured(name: str, part: AcousticPart, file: str, c: float, level: Array, most: Array) -> Directivity:
    """An enclosure of measured data; bands whose middle lies outside them are not used."""
    from acoustics.measured import read_measured  # only who needs it waits for h5py and the linear algebra

    path = Path(file).parent / (part.aes69_file or "")
    data = read_measured(path, c, file, "acoustic.aes69_file")
    inside = (bands.midbands() >= data.low_hz) & (bands.midbands() <= data.high_hz)
    left_out = tuple(hz for hz, used, ok in zip(bands.NOMINAL_HZ, ~np.isnan(level), inside, strict=True) if used > ok)
    if not np.any(inside & ~np.isnan(level)):
        wrong = f"holds {data.low_hz:g} to {data.high_hz:g} Hz, where none of level_band_hz lies"
        raise FileFaults([Fault(file, "acoustic.aes69_file", wrong, "check both", part.aes69_file)])
    return Directivity(
        name,
        (),
        0.0,
        0.0,
        np.where(inside, level, np.nan),
        c,
        max_level_1m_db=most,
        peak_margin_db=part.peak_margin_db,
        measured=data,
        from_reference_m=(float(data.centre_m[0]), float(data.centre_m[1]), float(data.centre_m[2])),
        left_out_hz=left_out,
    )


def cancelled(directivity: Directivity, file: str, hz: float) -> Fault:
    """The fault of radiators that cancel on the axis that levels are normalised on."""
    db = 20.0 * np.log10(max(directivity.axis_share(hz), 1e-6))
    wrong = f"cancel each other on the reference axis at {hz:.0f} Hz ({db:.0f} dB), where levels are defined"
    return Fault(file, "acoustic.radiator", wrong, "check reference_m, places_m and the crossovers")


def _radiator(part: RadiatorPart, reference: Array) -> Radiator:
    places = tuple((x - reference[0], y - reference[1], z - reference[2]) for x, y, z in part.places_m)
    width = part.diameter_m if part.shape == "circle" else part.width_m
    return Radiator(
        part.shape,
        width or 0.0,
        part.height_m or 0.0,
        places,
        part.from_hz,
        part.to_hz,
        part.coverage_deg,
    )


def _level_faults(hz: Any, level: Any) -> Iterator[Problem]:
    if not isinstance(hz, list) or not isinstance(level, list):
        return
    if len(hz) != len(level):
        yield ("level_1m_db",), f"has {len(level)} entries for {len(hz)} bands", "give one level for each band", level
    for index, value in enumerate(hz):
        if value not in bands.NOMINAL_HZ:
            todo = "use nominal third octaves, 25 to 16000 Hz"
            yield ("level_band_hz", index), "is no third-octave band", todo, value
        elif value in hz[:index]:
            yield ("level_band_hz", index), "stands twice", "give each band once", value
    used = [bands.NOMINAL_HZ.index(value) for value in hz if value in bands.NOMINAL_HZ]
    gaps = [bands.NOMINAL_HZ[i] for i in range(min(used, default=0), max(used, default=0)) if i not in used]
    if gaps:
        wrong = f"leaves out {', '.join(f'{hz:g}' for hz in gaps)} Hz between its lowest and highest band"
        yield ("level_band_hz",), wrong, "give every third octave that it is used in", hz


_MODEL_NEEDS = {
    "point": (),
    "radiators": ("rear_db", "level_band_hz", "level_1m_db", "radiator"),
    "measured": ("aes69_file", "level_band_hz", "level_1m_db"),
}
_NEEDS = {
    "circle": ("diameter_m",),
    "rectangle": ("width_m", "height_m"),
    "slot": ("height_m", "coverage_deg"),
}


def _shape_faults(entry: dict[str, Any], index: int) -> Iterator[Problem]:
    shape = entry.get("shape")
    needs = _NEEDS.get(shape, ()) if isinstance(shape, str) else ()
    for name in needs:
        if name not in entry:
            yield ("radiator", index, name), "key is missing", f"a {shape} needs it", NO_VALUE
    for name in ("diameter_m", "width_m", "height_m", "coverage_deg"):
        if needs and name in entry and name not in needs:
            yield ("radiator", index, name), f"has no meaning for a {shape}", "remove it", entry[name]
    low, high = entry.get("from_hz"), entry.get("to_hz")
    if isinstance(low, int | float) and isinstance(high, int | float) and high <= low <= MOST_CROSSOVER_HZ:
        yield ("radiator", index, "to_hz"), f"is not above from_hz = {show(low)}", "order the crossovers", high
