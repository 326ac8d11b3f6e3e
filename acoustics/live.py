"""Levels at the speed of a hand: the same sum in few parts of each band."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from acoustics import bands, field
from acoustics.field import Sources
from acoustics.scene import Scene

Array = npt.NDArray[np.float64]

WHY = "quick sum: bands in two parts at most"

_WHOLE_BELOW_HZ = 900.0  # bands below hold few wavelengths of path difference: one part does
_COARSER = 2.0  # tables of a quarter of the size stay in the processor's cache, and move no figure
_C_STEP_M_S = 2.0  # some 3 °C: directivities are tabulated for the nearest of these while the air is changed


def quick_level(scene: Scene) -> Array:
    """Levels in third octaves (29, P) of a scene, as its `bands` give them, less exact. [dB]

    Within 20 dB of the greatest level of a band 95 of 100 lie within 0.5 dB of it; at nulls they may be off by several
    decibels.
    """
    sources, way = scene.sources, scene.way(scene.sources)
    parts = few_parts(sources)
    return field.band_level(sources, scene.position, scene.medium, way, parts=parts, kept=scene.kept, coarser=_COARSER)


def few_parts(sources: Sources) -> npt.NDArray[np.int64]:
    """Parts to cut each third octave into, (29,): one or two, 0 where no source is used."""
    used = np.any([~np.isnan(kind.level_1m_db) for kind in sources.directivities], axis=0)
    return np.where(used, np.where(np.array(bands.NOMINAL_HZ) < _WHOLE_BELOW_HZ, 1, 2), 0)


def near_c(c: float) -> float:
    """The speed of sound that directivities are tabulated for while the air is changed. [m/s]"""
    return _C_STEP_M_S * round(c / _C_STEP_M_S)
