"""The kernel and a whole prediction, run by pytest-benchmark: that they run and what they give, never how fast.

With `--benchmark-disable` each runs once; `pytest tests/benchmarks --benchmark-enable` prints a table of times.
"""

import numpy as np

from acoustics import bands, charts, directivity, kernel
from acoustics.prediction import Options, predict
from acoustics.venue import load_venue
from rigging.equipment import load_catalogue
from rigging.hang import load_hang

C = 343.2  # [m/s]


def test_kernel(benchmark):
    """A column of sixteen points at a thousand positions, in 26 bands."""
    point = directivity.Directivity("point", (), 0.0, 0.0, np.full(29, directivity.PASCAL_DB), C)
    subs = bands.cut(np.arange(29) >= 3)
    place = np.column_stack([np.zeros(16), np.zeros(16), 9.0 - 0.28 * np.arange(16)])
    of = kernel.Sum(
        place=place,
        axes=np.tile(np.eye(3), (16, 1, 1)),
        kind=np.zeros(16, dtype=np.int64),
        delay=np.zeros(16),
        strength=np.ones((16, 26), dtype=complex),
        neper=np.zeros(26),
        edge=subs.edge,
        band=subs.band,
        share=subs.share,
        c=C,
    )
    tables = charts.build((point,), np.full((1, 2, 2, 2), np.nan), subs.middle)
    position = np.random.default_rng(1).uniform([4.0, -12.0, 0.0], [40.0, 12.0, 3.0], (1000, 3))
    run = (of, tables, position, np.zeros((0, 0)), 29)
    energy, evaluations = benchmark.pedantic(kernel.band_energy, args=run, rounds=5, warmup_rounds=1)
    assert evaluations == 1000 * 16 * 27  # exact: one for each edge of the bands
    # The band of 1 kHz, 10^±0.05 kHz, by 2000 lines: off by (πBΔ/N)²/6 of a pair's term, 230 Hz and 13 ms, below 1e-5.
    line = 1000.0 * (10.0**-0.05 + (10.0**0.05 - 10.0**-0.05) * (np.arange(2000) + 0.5) / 2000.0)
    path = np.linalg.norm(position[:5, np.newaxis] - place, axis=2)
    pressure = np.sum(np.exp(-2j * np.pi * line[:, np.newaxis, np.newaxis] * path / C) / path, axis=2)
    np.testing.assert_allclose(energy[16, :5], np.mean(np.abs(pressure) ** 2, axis=0), rtol=1e-4, atol=0)
    assert np.all(energy[:3] == 0)


def test_prediction_of_the_theatre(benchmark, sample_venues):
    catalogue = load_catalogue()
    hang = load_hang(sample_venues / "theatre" / "left.toml", catalogue)
    venue = load_venue(sample_venues / "theatre" / "venue.toml")
    run = (hang, *venue, catalogue, Options(grid_m=2.0))
    result = benchmark.pedantic(predict, args=run, rounds=2)
    heard = ~result["hidden"].values.all(axis=0)
    assert heard.sum() > 100
    assert np.all((result["level_a"].values[heard] > 60.0) & (result["level_a"].values[heard] < 130.0))
