"""The complex sum against the open library sfs (sound field synthesis toolbox), sfs.fd.source.point.

That function gives e^{−jkr}/(4πr), the same sense of time as here; ours radiate 1 Pa at 1 m, 4π times as much.
"""

import numpy as np
import pytest
import sfs.fd.source

from acoustics.air import absorption
from acoustics.field import Medium, line_pressure

# sfs 0.6 draws a warning from recent numpy, which has nothing to do with its values.
pytestmark = pytest.mark.filterwarnings("ignore:__array_wrap__ must accept:DeprecationWarning")

C = 346.1  # not that library's own default


@pytest.mark.parametrize("frequency", [63.0, 1000.0, 10000.0])
def test_cloud_of_sources(same_sources, still_air, frequency):
    rng = np.random.default_rng(11)
    source = rng.uniform([-2.0, -6.0, 5.0], [1.0, 6.0, 11.0], (20, 3))
    place = rng.uniform([4.0, -15.0, 0.0], [60.0, 15.0, 4.0], (50, 3))
    gain, delay = rng.uniform(0.2, 2.0, 20), rng.uniform(0.0, 0.02, 20)
    omega = 2.0 * np.pi * frequency
    expected = np.zeros(len(place), dtype=complex)
    for where, factor, late in zip(source, gain, delay, strict=True):
        field = sfs.fd.source.point(omega, where, list(place.T), c=C)
        expected += 4.0 * np.pi * factor * np.exp(-1j * omega * late) * field
    found = line_pressure(same_sources(source, gain, delay), place, frequency, Medium(C, still_air.attenuation))[0]
    # Relative to the sum of magnitudes: near a null the sum itself keeps fewer digits.
    scale = (gain / np.linalg.norm(place[:, np.newaxis] - source, axis=-1)).sum(axis=1)
    assert np.max(np.abs(found - expected) / scale) < 1e-11
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=0)


def test_absorption_on_top(same_sources):
    """Each path loses its own length times the attenuation: 30 m and 60 m at 8 kHz, one at a time."""
    place = np.array([[30.0, 0.0, 0.0], [60.0, 0.0, 0.0]])
    found = line_pressure(same_sources([0, 0, 0]), place, 8000.0, Medium(C, absorption))[0]
    free = sfs.fd.source.point(2.0 * np.pi * 8000.0, [0, 0, 0], list(place.T), c=C)
    loss = -20.0 * np.log10(np.abs(found / (4.0 * np.pi * free)))
    # Exact: the attenuation is proportional to the path.
    np.testing.assert_allclose(loss, absorption(8000.0) * np.array([30.0, 60.0]), rtol=1e-9, atol=0)
