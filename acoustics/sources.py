"""From a hang to the point sources that are summed, and the air that they sound in."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from functools import lru_cache, partial

import numpy as np
import numpy.typing as npt

from acoustics import air, field
from acoustics.directivity import LEAST_AXIS_SHARE, Directivity, cancelled, load_directivity
from acoustics.field import Array, Medium, Sources
from acoustics.programme import Programme, against_pink
from acoustics.venue import Air
from rigging.equipment import Catalogue, Enclosure
from rigging.faults import Fault, FileFaults
from rigging.geometry import Layout
from rigging.hang import Drive, Hang


def medium(of: Air) -> Medium:
    """Speed and attenuation of a venue's air."""
    if not of.absorption:
        return Medium(of.c, field.lossless)
    attenuation = partial(
        air.absorption,
        temperature_c=of.temperature_c,
        relative_humidity_pct=of.relative_humidity_pct,
        pressure_kpa=of.pressure_kpa,
    )
    return Medium(of.c, attenuation)


def sources_of(
    hang: Hang,
    layout: Layout,
    catalogue: Catalogue,
    c: float,
    lines: Sequence[float] = (),
    programme: Programme | None = None,
    drive_db: float = 0.0,
) -> Sources:
    """Sources of a hang's enclosures, top down, one for each.

    Parameters
    ----------
    hang, layout, catalogue
    c : float
        Speed of sound. [m/s]
    lines : sequence of float
        Single frequencies that will be asked for. [Hz]
    programme : Programme, optional
        Pink if absent.
    drive_db : float
        Gain of all. [dB]

    Raises
    ------
    FileFaults
        With the faults of the enclosures' acoustic parts.
    """
    rows = list(hang.enclosure_rows)
    names, drives = [hang.items[row].name for row in rows], [hang.drive[row] for row in rows]
    reference, axes = layout.reference[rows], layout.rows.axes[rows]
    return placed(names, reference, axes, drives, catalogue, c, lines, programme, drive_db)


def placed(
    names: Sequence[str],
    reference: Array,
    axes: Array,
    drives: Sequence[Drive],
    catalogue: Catalogue,
    c: float,
    lines: Sequence[float] = (),
    programme: Programme | None = None,
    drive_db: float = 0.0,
) -> Sources:
    """Sources of enclosures that are somewhere: types, reference points (S, 3) [m], axes (S, 3, 3) and drives.

    All else, and what is raised, as for `sources_of`.
    """
    types = sorted(set(names))
    kinds = _kinds(types, catalogue, c, lines)
    kind = np.array([types.index(name) for name in names])
    gain = np.array(
        [
            0.0 if drive.muted else 10.0 ** ((drive.gain_db + drive_db) / 20.0) * (-1.0 if drive.inverted else 1.0)
            for drive in drives
        ]
    )
    return Sources(
        position=_from_reference(reference, axes, [kinds[index] for index in kind]),
        axes=axes,
        kind=kind,
        directivities=kinds,
        gain=gain,
        delay=np.array([drive.delay_s for drive in drives]),
        filters=tuple(drive.filters for drive in drives) if any(drive.filters for drive in drives) else (),
        programme_db=None if programme is None else against_pink(programme),
    )


def split(sources: Sources, count: int) -> tuple[Sources, npt.NDArray[np.intp]]:
    """Every source as several points, each with what its part of the enclosure radiates; unchanged by a count of one.

    Parameters
    ----------
    sources : Sources
        One for each enclosure.
    count : int
        Points for each; a part that radiates nothing, and all but one of a point, are left out.

    Returns
    -------
    sources : Sources
    owner : ndarray of int, shape (S,)
        Which of the given sources each belongs to.

    Raises
    ------
    ValueError
        If the data of one are measured.
    """
    if count == 1:
        return sources, np.arange(len(sources.kind))
    parts = [kind.parts(count) for kind in sources.directivities]
    first = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
    owner = np.repeat(np.arange(len(sources.kind)), [len(parts[kind]) for kind in sources.kind])
    kind = np.concatenate([first[index] + np.arange(len(parts[index])) for index in sources.kind])
    kinds = tuple(part for some in parts for part in some)
    axes = sources.axes[owner]
    new = dataclasses.replace(
        sources,
        position=_from_reference(sources.position[owner], axes, [kinds[index] for index in kind]),
        axes=axes,
        kind=kind,
        directivities=kinds,
        gain=sources.gain[owner],
        delay=sources.delay[owner],
        filters=tuple(sources.filters[index] for index in owner) if sources.filters else (),
    )
    return new, owner


def _kinds(types: Sequence[str], catalogue: Catalogue, c: float, lines: Sequence[float]) -> tuple[Directivity, ...]:
    loaded: list[Directivity] = []
    faults: list[Fault] = []
    for name in types:
        file = catalogue.documents[name].file
        try:
            kind = _kind(catalogue, name, c)
            loaded.append(kind)
            faults.extend(cancelled(kind, file, hz) for hz in lines if kind.axis_share(hz) < LEAST_AXIS_SHARE)
            faults.extend(_outside(kind, file, hz) for hz in lines if not kind.holds(hz))
        except FileFaults as error:
            faults.extend(error.faults)
    if faults:
        raise FileFaults(faults)
    return tuple(loaded)


@lru_cache(maxsize=32)
def _kind(catalogue: Catalogue, name: str, c: float) -> Directivity:
    """A directivity, read once: a hand that moves a hang asks for it again and again."""
    item = catalogue.items[name]
    assert isinstance(item, Enclosure)
    return load_directivity(item, catalogue.documents[name].file, c)


def _outside(kind: Directivity, file: str, hz: float) -> Fault:
    assert kind.measured is not None
    wrong = f"holds {kind.measured.low_hz:g} to {kind.measured.high_hz:g} Hz, and {hz:g} Hz was asked for"
    return Fault(file, "acoustic.aes69_file", wrong, "ask for lines inside the data")


def _from_reference(reference: field.Array, axes: field.Array, kinds: Sequence[Directivity]) -> field.Array:
    """Where sources radiate from: their reference points moved by what their data ask for."""
    offset = np.array([kind.from_reference_m for kind in kinds])
    return np.asarray(reference + np.einsum("si,sij->sj", offset, axes))
