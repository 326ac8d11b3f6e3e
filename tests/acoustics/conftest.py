"""The catalogue's enclosures, areas by their corners, and free-field sources."""

from collections.abc import Callable

import numpy as np
import pytest

from acoustics.directivity import PASCAL_DB, Directivity, load_directivity
from acoustics.field import Sources
from acoustics.venue import Area
from rigging.equipment import Enclosure, load_catalogue

C = 343.2  # [m/s]


@pytest.fixture(scope="session")
def enclosures() -> dict[str, Directivity]:
    """Directivity of every enclosure in the catalogue; tables are computed once."""
    catalogue = load_catalogue()
    return {
        name: load_directivity(catalogue.items[name], catalogue.documents[name].file, C)
        for name in catalogue.names(Enclosure)
    }


@pytest.fixture
def area() -> Callable[..., Area]:
    """Builder of areas from corners (x, y, z)."""

    def build(corners, role="audience", **keys):
        outline = tuple(tuple(float(value) for value in corner) for corner in corners)
        return Area(name="area", role=role, outline_m=outline, **keys)

    return build


@pytest.fixture
def sources() -> Callable[..., Sources]:
    """Builder of sources that face +x unless axes are given; points of 1 Pa at 1 m unless directivities are."""

    def build(position, directivities=None, kind=None, axes=None, gain=None, delay=None):
        position = np.atleast_2d(np.asarray(position, dtype=float))
        count = len(position)
        point = Directivity("point", (), 0.0, 0.0, np.full(29, PASCAL_DB), C)
        return Sources(
            position,
            np.broadcast_to(np.eye(3), (count, 3, 3)) if axes is None else np.asarray(axes),
            np.zeros(count, dtype=np.intp) if kind is None else np.asarray(kind),
            (point,) if directivities is None else tuple(directivities),
            np.ones(count) if gain is None else np.asarray(gain, dtype=float),
            np.zeros(count) if delay is None else np.asarray(delay, dtype=float),
        )

    return build
