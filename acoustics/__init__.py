"""The sound field of hung columns: air, bands, directivity, listening positions, the complex sum."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import xarray as xr

# An unrelated distribution on PyPI installs a package of this name: this mark tells ours from it.
EVENHANG = True


def open_tour(folder: str | os.PathLike[str]) -> xr.Dataset:
    """All results below a folder as one Dataset over venues; see `acoustics.collected.collect`."""
    from acoustics.collected import collect

    return collect(folder)
