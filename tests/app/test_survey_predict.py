"""What a prediction says of a venue that was measured by laser, and that all else takes it as an outlined one."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from acoustics import results
from acoustics.app.cli import main
from acoustics.names import NAMES
from acoustics.venue import load_venue

CLUB = Path(__file__).resolve().parents[2] / "sample_venues" / "club"


@pytest.fixture
def club(tmp_path, capsys):
    """Runs `predict` in the club with some of its text replaced; returns what was printed and the Dataset."""

    def run(*more, venue=None):
        path = tmp_path / "venue.toml"
        path.write_text((CLUB / "venue.toml").read_text() if venue is None else venue)
        assert main(["predict", str(CLUB / "centre.toml"), str(path), "--out", str(tmp_path / "out"), *more]) == 0
        found = sorted((tmp_path / "out").glob("*/field.nc"), key=lambda one: one.stat().st_mtime_ns)
        return capsys.readouterr().out, results.load(found[-1])

    return run


def test_the_summary_says_what_the_shots_come_to(club):
    printed, result = club("--grid", "2")
    told = " ".join(printed.split())
    a = result.attrs
    # Counted in the file: three ties of two, five, five and four shots, three rows.
    assert a["measured_shots"] == 23
    assert "measured 23 shots, greatest residual 2 mm (shot 5 (middle) of gallery), ties within 3 mm" in told
    assert f"corners within ±{1000 * a['measured_corner_m']:.0f} mm" in told
    assert re.search(r"level at 8 kHz within ±0\.\d dB \(", told)
    assert "one standard deviation, for ±3 mm and ±0.05° of the instrument" in told
    assert "nothing checks the shots of tier 1, tier 2" in told
    # Where B stood when the readings were made up: (9.4, −5.55, 4.12), 151°; scatter of 2 mm and 0.04°.
    stood = re.search(r"found: B at x (\S+), y (\S+), z (\S+) m ±9 mm, its zero at (\S+)° ±0.07°", told)
    assert [float(one) for one in stood.groups()] == pytest.approx([9.4, -5.55, 4.12, 151.0], abs=0.02)
    assert set(NAMES) >= {name for name in a if name.startswith("measured_")}
    assert result["shot"].shape == (14,)
    assert np.abs(result["shot_off"]).max() == pytest.approx(a["measured_residual_m"])
    # The floor's rear corner is 8.4 m on and 5.0 m aside from A, 1.41 m below, 9.88 m away: in y 8.4 m · 0.05° = 7.33
    # mm, 3 mm · 5.0/9.88 = 1.52 mm, and 0.05° · 1.41 m · 5.0/9.78 = 0.63 mm; as squares 7.51 mm (by hand).
    within = result["surface_corner_within"].sel(surface=result["surface"] == "floor")
    assert float(within.max()) == pytest.approx(0.00751, abs=2e-5)
    assert np.nanmin(result["surface_corner_within"].values[:, :, :2].max(axis=2)) > 0.003


def test_a_finer_instrument_makes_all_of_it_smaller(club):
    text = (CLUB / "venue.toml").read_text().replace("distance_mm = 3.0", "distance_mm = 0.3")
    (_, coarse), (_, fine) = club("--grid", "4"), club("--grid", "4", venue=text.replace("= 0.05", "= 0.005"))
    for name in ("measured_corner_m", "measured_level_db"):
        assert fine.attrs[name] == pytest.approx(coarse.attrs[name] / 10.0, rel=0.15)
    assert fine.attrs["revision"] != coarse.attrs["revision"]
    np.testing.assert_array_equal(fine["level"], coarse["level"])


def test_levels_are_those_of_the_outlined_venue(club):
    venue, _ = load_venue(CLUB / "venue.toml")
    lines = ['format = "venue/1"', 'name = "Cellar Club"']
    for area in venue.area:
        corners = [[float(value) for value in corner] for corner in area.outline_m]
        lines += ["[[area]]", f'name = "{area.name}"', f'role = "{area.role}"', f"outline_m = {corners}"]
    (_, shot), (printed, outlined) = club("--grid", "2"), club("--grid", "2", venue="\n".join(lines) + "\n")
    np.testing.assert_array_equal(shot["level"], outlined["level"])
    np.testing.assert_array_equal(shot["area"], outlined["area"])
    assert "measured" not in printed
    assert "measured_shots" not in outlined.attrs
    assert "shot" not in outlined


def test_a_shot_counts_for_the_revision(club):
    text = (CLUB / "venue.toml").read_text()
    old = "distance_m = 4.928"
    words = [
        club("--grid", "4", venue=one)[1].attrs["revision"] for one in (text, text.replace(old, "distance_m = 4.929"))
    ]
    assert old in text
    assert words[0] != words[1]


def test_lines_have_no_level_at_8_khz(club):
    printed, result = club("--grid", "4", "--lines", "125")
    assert np.isnan(result.attrs["measured_level_db"])
    assert "what it means for the level at 8 kHz is not known" in " ".join(printed.split())


def test_as_data(club):
    printed, _ = club("--grid", "4", "--json")
    told = json.loads(printed)["measured"]
    assert told["unchecked"] == ["tier 1", "tier 2"]
    assert len(told["residuals"]) == 14
    assert set(told["corners_m"]) == {"floor", "gallery", "gallery rail", "tier 1", "tier 2"}
    assert all(abs(one["off_others_m"]) < one["limit_m"] for one in told["residuals"])


def test_a_show_says_it_too(tmp_path, capsys):
    for name in ("venue", "centre"):
        (tmp_path / f"{name}.toml").write_text((CLUB / f"{name}.toml").read_text())
    show = 'format = "show/1"\nname = "one night"\nvenue = "venue.toml"\n[[channel]]\nname = "mono"\n'
    (tmp_path / "show.toml").write_text(show + '[[hang]]\nfile = "centre.toml"\nchannel = "mono"\n')
    assert main(["predict", str(tmp_path / "show.toml"), "--grid", "4", "--out", str(tmp_path / "out")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "measured 23 shots, greatest residual 2 mm" in told
    assert re.search(r"level at 8 kHz within ±0\.\d dB \(", told)


def test_the_report_rests_on_it(tmp_path, capsys):
    asked = [str(CLUB / "centre.toml"), str(CLUB / "venue.toml"), "--grid", "4", "--out", str(tmp_path)]
    assert main(["report", *asked]) == 0
    capsys.readouterr()
    (page,) = tmp_path.glob("*/report.html")
    assert "venue measured by laser: 23 shots, greatest residual 2 mm" in page.read_text()


def test_the_club_hangs_within_its_limits(capsys):
    assert main(["check", str(CLUB / "centre.toml"), str(CLUB / "venue.toml")]) == 0
    assert "0 exceed, 0 cannot be judged" in capsys.readouterr().out
