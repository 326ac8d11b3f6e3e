"""Tables of directivity: what they take while built, in slices or at once, and directions that lie beyond them."""

import tracemalloc

import numpy as np
import pytest

from acoustics import bands, charts, inner, kernel
from acoustics.directivity import PASCAL_DB, Directivity
from acoustics.radiators import Radiator

ALL_ROUND = np.tile([[-1.0, -1.0], [1.0, 1.0]], (1, 2, 1, 1))
# Nothing about it is symmetric, hence its directivity is complex.
LOPSIDED = Directivity(
    "lopsided",
    (Radiator("rectangle", 0.29, 0.17, ((0.05, 0.15, -0.08),)), Radiator("circle", 0.1, 0.0, ((0.0, 0.1, 0.1),))),
    0.87,
    -9.0,
    np.full(29, PASCAL_DB),
    343.2,
)


def test_a_table_all_round_is_built_without_much_beside_it(enclosures):
    """All at once it takes six times the table: some 1 GB where bands are cut into many parts."""
    middle = bands.cut(np.array([2] * 20 + [4] * 9)).middle
    tracemalloc.start()
    try:
        built = charts.build([enclosures["large"]], ALL_ROUND, middle)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert built.node.nbytes > 60e6
    assert peak - built.node.nbytes < 80e6
    assert peak < 200e6


@pytest.mark.parametrize("together", [1, 7, 100])
def test_slices_change_nothing(monkeypatch, together):
    patch, hz = ALL_ROUND / 3.0, np.geomspace(200.0, 4000.0, 20)
    whole = charts.build([LOPSIDED], patch, hz, 2.0)
    nodes = int(whole.across[0, 0] * whole.down[0, 0])
    monkeypatch.setattr(charts, "_SLICE", together * nodes)
    for one, other in zip(charts.build([LOPSIDED], patch, hz, 2.0), whole, strict=True):
        np.testing.assert_allclose(one, other, rtol=0, atol=1e-6)


@pytest.mark.parametrize("half", [1.0, -1.0])
def test_nothing_is_read_beyond_a_chart(half):
    """The second kind's table follows the first's in memory: with other values there, the first finds the same."""
    hz = np.array([500.0, 2000.0])
    table = charts.build([LOPSIDED], ALL_ROUND / 50.0, hz)
    edge = 1 if half > 0 else 2
    last = charts._NOWHERE + int(np.sum(table.across[0, :edge] * table.down[0, :edge]))
    directions = np.array([[half * 0.1, y, z] for y in (-0.7, 0.7) for z in (-0.7, 0.7)])
    longer = table.node.copy()
    first = int(table.first[0, edge - 1])
    longer[:first], longer[last:] = np.nan, np.nan
    assert np.isfinite(kernel.look_up(table._replace(node=longer), directions)).all()


def test_a_direction_without_a_chart_is_no_number():
    """Listeners in front alone: nothing is known of the rear."""
    patch = ALL_ROUND / 2.0
    patch[0, 1] = np.nan
    table = charts.build([LOPSIDED], patch, [500.0])
    assert np.isnan(kernel.look_up(table, np.array([[-1.0, 0.0, 0.0]]))[0, 0])
    assert np.isfinite(kernel.look_up(table, np.array([[1.0, 0.0, 0.0]]))[0, 0])


# exact: e^x; the series' remainder is that of its ninth power, and six squarings multiply it by 64.
@pytest.mark.parametrize(("least", "relative"), [(-11.5, 5e-11), (-34.5, 2e-6), (-80.0, 4.1e-3)])
def test_decay(least, relative):
    x = np.linspace(least, 0.0, 500)
    np.testing.assert_allclose([inner.decay(float(value)) for value in x], np.exp(x), rtol=relative, atol=0)
    with pytest.raises(AssertionError):
        np.testing.assert_allclose(inner.decay(least), np.exp(least), rtol=relative / 3.0, atol=0)
