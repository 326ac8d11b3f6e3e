"""Programmes from levels of any reference: their sum, their totals, what is refused."""

import numpy as np
import pytest

from acoustics.programme import PINK, PROGRAMMES, SLOPED, against_pink, programme

SILENCE = -np.inf


def test_every_programme_is_found_by_its_name():
    assert PROGRAMMES == {"pink": PINK, "sloped": SLOPED}
    assert all(item.source for item in PROGRAMMES.values())


@pytest.mark.parametrize("of", [PINK, SLOPED], ids=lambda of: of.name)
def test_bands_add_to_nothing(of):
    level = np.array(of.relative_db)
    assert level.shape == (29,)
    assert np.sum(10.0 ** (level / 10.0)) == pytest.approx(1.0, rel=1e-12, abs=0)
    assert (level < 0.0).all()


@pytest.mark.parametrize("reference", [0.0, -200.0, 94.0, 5000.0])
def test_reference_does_not_count(reference):
    level = np.linspace(3.0, -12.0, 29)
    of = programme("own", level + reference, 9.0, "invented")
    np.testing.assert_allclose(of.relative_db, programme("own", level, 9.0, "").relative_db, rtol=1e-9, atol=0)
    np.testing.assert_allclose(np.diff(of.relative_db), -15.0 / 28.0, rtol=1e-9, atol=0)
    assert (of.name, of.crest_db, of.source) == ("own", 9.0, "invented")


def test_one_band_is_the_whole_programme():
    level = np.full(29, SILENCE)
    level[16] = 70.0
    of = programme("1 kHz", level, None, "invented")
    assert of.relative_db[16] == 0.0
    assert np.isneginf(np.delete(of.relative_db, 16)).all()
    # exact: all of it in one of 29 bands is 10 lg 29 above pink noise there.
    assert against_pink(of)[16] == pytest.approx(14.6240, rel=1e-5, abs=0)


def test_pink_against_pink():
    np.testing.assert_array_equal(against_pink(PINK), np.zeros(29))


@pytest.mark.parametrize(
    ("level", "crest", "message"),
    [
        (np.zeros(28), None, r"29 band levels, 25 Hz to 16 kHz, not an array of shape \(28,\)"),
        (np.zeros((29, 1)), None, r"shape \(29, 1\)"),
        (np.append(np.zeros(28), np.nan), None, "must be numbers, or −inf for a silent band"),
        (np.append(np.zeros(28), np.inf), None, "must be numbers, or −inf for a silent band"),
        (np.full(29, SILENCE), None, "needs a band that is not silent"),
        (np.zeros(29), -1.0, "a crest factor is 0 dB or more, not -1 dB"),
        (np.zeros(29), np.nan, "a crest factor is 0 dB or more, not nan dB"),
    ],
)
def test_no_programme(level, crest, message):
    with pytest.raises(ValueError, match=message):
        programme("own", level, crest, "invented")
