"""Columns judged by what they are worth as built: the 90th percentile of J over errors that are drawn once."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt

from acoustics.search.columns import Columns, Space
from acoustics.search.objective import Score
from acoustics.search.tolerance import errors

Array = npt.NDArray[np.float64]

DRAWN = 12
SHARE = 0.9


class Robust:
    """As `Columns`, each column standing for `DRAWN` of it as built; the air stays as it is."""

    def __init__(self, columns: Columns, seed: int = 0) -> None:
        self._columns = columns
        self._off = errors(DRAWN, len(columns.file_column), seed)

    @property
    def space(self) -> Space:
        """What may be chosen."""
        return self._columns.space

    @property
    def work(self) -> float:
        """Evaluations so far, in whole ones."""
        return self._columns.work

    def settle(self, column: Array) -> None:
        """Nothing is kept of a column: errors move all of it."""

    def scores(self, columns: Array) -> Score:
        """The objective of columns (C, 2 + N): its 90th percentile; the parts are means."""
        built = (columns[:, np.newaxis, :] + self._off).reshape(-1, columns.shape[1])
        found = self._columns.scores(built)
        shape = (len(columns), DRAWN)
        parts = {field.name: getattr(found, field.name).reshape(shape) for field in dataclasses.fields(found)}
        means = {name: values.mean(axis=1) for name, values in parts.items()}
        return Score(**means | {"j": np.quantile(parts["j"], SHARE, axis=1)})
