"""Measured directivity through files that the open library sofar writes and verifies.

AES69-2022 (SOFA 2.1), convention FreeFieldDirectivityTF 1.0 and 1.1: Data.Real and Data.Imag (M×R×N), N in hertz,
ReceiverPosition spherical in degree, degree, metre or cartesian in metre, view +x, up +z, as sofar 1.3 states it.

The source is a piston of radius 0.1 m that fades towards the back, p = 2 J1(ka sinθ)/(ka sinθ) · (1 + cosθ)/2, turned
about a point 0.3 m behind it: closed form, real about its centre.
"""

import h5py
import numpy as np
import pytest
from scipy.special import j1

from acoustics.measured import read_measured
from rigging.faults import FileFaults

sofar = pytest.importorskip("sofar")
pytestmark = [
    pytest.mark.filterwarnings("ignore:Writing SOFA object with outdated Convention version:UserWarning"),
]

C = 343.2
RADIUS_M = 0.1
BEHIND_M = 0.3
HZ = np.geomspace(125.0, 4000.0, 16)  # ka up to 7.3: the first null at 32°, the second at 73°
LATE_S = 0.0123  # common to all directions


def piston(n, hz) -> np.ndarray:
    """About the centre, (M, F)."""
    off = np.hypot(n[:, 1], n[:, 2])[:, np.newaxis]
    x = np.maximum(2.0 * np.pi * np.asarray(hz) / C * RADIUS_M * off, 1e-9)
    return 2.0 * j1(x) / x * (1.0 + n[:, :1]) / 2.0


def cartesian(angles) -> np.ndarray:
    azimuth, polar = np.radians(angles[:, 0]), np.radians(90.0 - angles[:, 1])
    return np.stack([np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)], axis=1)


def regular(step: float) -> np.ndarray:
    azimuth, elevation = np.meshgrid(np.arange(0.0, 360.0, step), np.arange(-90.0, 90.1, step))
    return np.column_stack([azimuth.ravel(), elevation.ravel()])


def scattered(count: int, seed: int = 21) -> np.ndarray:
    """Uniform over the sphere."""
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0.0, 360.0, count), np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, count)))])


@pytest.fixture
def written(tmp_path):
    def write(angles, version="1.1", kind="spherical", convention="FreeFieldDirectivityTF"):
        n = cartesian(angles)
        delay = LATE_S - BEHIND_M / C * n[:, :1]
        data = 0.02 * piston(n, HZ) * np.exp(-2j * np.pi * HZ * delay)
        sofa = sofar.Sofa(convention, version=version)
        sofa.ReceiverPosition = np.column_stack([angles, np.full(len(n), 4.0)]) if kind == "spherical" else 4.0 * n
        sofa.ReceiverPosition_Type = kind
        sofa.ReceiverPosition_Units = "degree, degree, metre" if kind == "spherical" else "metre"
        sofa.N, sofa.Data_Real, sofa.Data_Imag = HZ, data.real[np.newaxis], data.imag[np.newaxis]
        path = tmp_path / "piston.sofa"
        sofar.write_sofa(str(path), sofa)  # verifies it
        return path

    return write


@pytest.mark.parametrize("version", ["1.0", "1.1"])
@pytest.mark.parametrize("kind", ["spherical", "cartesian"])
def test_round_trip(written, version, kind):
    """Exact: all that the file holds, and where the piston is; the tolerance is that of double numbers and phases."""
    angles = regular(10.0)
    found = read_measured(written(angles, version, kind), C)
    np.testing.assert_array_equal(found.frequency, HZ)
    np.testing.assert_allclose(found.centre_m, [BEHIND_M, 0.0, 0.0], rtol=0, atol=1e-8)
    assert found.radius_m == pytest.approx(4.0, rel=1e-12)
    assert len(found.direction) == 17 * 36 + 2  # the poles stand 36 times in the file
    once = angles[(np.abs(angles[:, 1]) < 90.0) | (angles[:, 0] == 0.0)]
    n = cartesian(once)
    np.testing.assert_allclose(found.at_many(n, HZ), piston(n, HZ).T, rtol=0, atol=1e-6)
    order = [int(np.argmin(np.linalg.norm(n - direction, axis=1))) for direction in found.direction]
    assert sorted(order) == list(range(len(n)))
    np.testing.assert_allclose(found.transfer, piston(n[order], HZ), rtol=0, atol=1e-6)


# As stated in acoustics/measured.py for kRs < 0.9 and < 1.8; here R = 0.1 m: 0.64 and 1.28 at 4 kHz. A random grid
# counts as a regular one of three times its mean spacing √(4π/M): 1.5.
@pytest.mark.parametrize(
    ("angles", "error"),
    [(regular(5.0), 0.002), (regular(10.0), 0.03), (scattered(2500), 0.03)],
    ids=["5 degrees", "10 degrees", "random"],
)
def test_between_grid_points(written, angles, error):
    found = read_measured(written(angles), C)
    n = cartesian(scattered(3000, 5))
    difference = np.abs(found.at_many(n, HZ) - piston(n, HZ).T)
    assert difference.max() < error
    assert difference[HZ < 1300.0].max() < 0.002


def test_between_frequencies(written):
    """Within 0.002 of the axis: lines a third of an octave apart, x = ka sinθ grows by up to 1.5 from one to the next.

    A cubic through four lines: a fourth derivative of 2 J1(x)/x of at most 1/8, times 1.5⁴ · 3/128, is 0.015 at the
    top, 0.002 for x < 4.4.
    """
    found = read_measured(written(regular(5.0)), C)
    n = cartesian(scattered(2000))
    hz = np.sqrt(HZ[1:-2] * HZ[2:-1])
    difference = np.abs(found.at_many(n, hz) - piston(n, hz).T).max(axis=1)
    assert difference.max() < 0.015
    assert difference[hz < 2000.0].max() < 0.002


def test_nulls_of_the_piston(written):
    """Published: zeros of J1, 3.83170597 and 7.01558667 (Abramowitz & Stegun, Table 9.5), at 4 kHz.

    No more is left there than the error that is stated; halfway to the axis the level is far above it.
    """
    found = read_measured(written(regular(5.0)), C)
    for zero in (3.83170597, 7.01558667):
        sine = zero / (2.0 * np.pi * HZ[-1] / C * RADIUS_M)
        turn = np.radians(np.arange(0.0, 360.0, 7.0))
        ring = np.column_stack([np.full_like(turn, np.sqrt(1 - sine**2)), sine * np.cos(turn), sine * np.sin(turn)])
        assert np.max(np.abs(found.at(ring, HZ[-1]))) < 0.002
        wide = ring * [0.0, 0.5, 0.5] + np.sqrt(1.0 - sine**2 / 4.0) * np.array([1.0, 0.0, 0.0])
        assert np.min(np.abs(found.at(wide, HZ[-1]))) > 0.05


@pytest.mark.parametrize("about", ["GeneralTF", "FreeFieldHRTF"])
def test_another_convention(tmp_path, about):
    path = tmp_path / "other.sofa"
    sofar.write_sofa(str(path), sofar.Sofa(about))
    with pytest.raises(
        FileFaults, match=rf'SOFAConventions: is not FreeFieldDirectivityTF \(got "{about}"\); export it'
    ):
        read_measured(path, C)


@pytest.mark.parametrize(
    ("attribute", "value", "message"),
    [
        ("SOFAConventionsVersion", "2.0", r'SOFAConventionsVersion: is not 1.0 or 1.1 \(got "2.0"\); export it as'),
        ("DataType", "FIR", r'DataType: is not TF \(got "FIR"\)'),
        ("Conventions", "", r"Conventions: attribute is missing: no AES69 \(SOFA\) file; name one of FreeField"),
    ],
)
def test_another_version_or_type(written, attribute, value, message):
    path = written(regular(15.0))
    with h5py.File(path, "a") as file:
        file.attrs[attribute] = np.bytes_(value)
    with pytest.raises(FileFaults, match=message):
        read_measured(path, C)


def test_files_that_cannot_be_read(written, tmp_path):
    cut = written(regular(15.0))
    cut.write_bytes(cut.read_bytes()[:3000])
    text = tmp_path / "text.sofa"
    text.write_text("frequency, level")
    for path in (cut, text):
        with pytest.raises(FileFaults, match=rf"^{path}: cannot be read as HDF5: .*; name an AES69 \(SOFA\) file"):
            read_measured(path, C)
    with pytest.raises(FileFaults, match=r"^large.toml: acoustic.aes69_file: names a file that does not exist \(got "):
        read_measured(tmp_path / "none.sofa", C, "large.toml")
    with pytest.raises(FileFaults, match=rf"^{tmp_path}: is a directory, not a file; check the path"):
        read_measured(tmp_path, C)
