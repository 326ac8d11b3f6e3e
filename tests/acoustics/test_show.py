"""Shows against closed forms, against hand-computed times, and against one hang alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from acoustics import results
from acoustics.show import load_show
from acoustics.show_prediction import ShowOptions, predict_show, proposals
from rigging.equipment import load_catalogue
from rigging.faults import FileFaults

CATALOGUE = load_catalogue()
C = 340.0
SPOT = 0.02  # half the side of an area of one seat [m]


def area(name: str, x: float, y: float, z: float = 0.0) -> dict[str, Any]:
    """A seat: an area so small that it holds one position, its ears at z."""
    corners = [[x - SPOT, y - SPOT, z], [x + SPOT, y - SPOT, z], [x + SPOT, y + SPOT, z], [x - SPOT, y + SPOT, z]]
    return {"name": name, "role": "audience", "ear_height_m": 0.0, "outline_m": corners}


@pytest.fixture
def show(tmp_path: Path) -> Callable[..., Any]:
    """A show of placed points in still air at 340 m/s, with one seat for each place; its field and proposals."""

    def run(seats: dict[str, tuple[float, ...]], placed: list[dict[str, Any]], align: Any = (), **keys: Any) -> Any:
        venue = {"format": "venue/1", "name": "field", "air": {"absorption": False, "speed_of_sound_m_s": C}}
        (tmp_path / "venue.toml").write_text(
            tomlkit.dumps(venue | {"area": [area(name, *place) for name, place in seats.items()]})
        )
        parts = [{"name": f"p{i}", "enclosure": "point", "channel": "a"} | one for i, one in enumerate(placed)]
        channels = [{"name": name} for name in dict.fromkeys(part["channel"] for part in parts)]
        file = {"format": "show/1", "name": "night", "venue": "venue.toml", "channel": channels, "placed": parts}
        (tmp_path / "show.toml").write_text(tomlkit.dumps(file | {"align": list(align)} | keys))
        loaded = load_show(tmp_path / "show.toml", CATALOGUE)
        result, sources = predict_show(loaded, CATALOGUE, ShowOptions(grid_m=1.0))
        return result.isel(position=~result["on_section"].values), proposals(loaded, result, sources)

    return run


def at(result: Any, name: str, what: str = "level") -> np.ndarray:
    """A variable at a seat."""
    return result[what].values[..., np.flatnonzero(result["area"].values == name)[0]]


PAIR = [{"position_m": [0.0, 0.5, 0.0]}, {"position_m": [0.0, -0.5, 0.0]}]
AHEAD = {"ahead": (50.0, 0.0)}


def test_two_equal_sources_of_one_channel_and_of_two(show):
    """Exact: +6.0206 dB where their paths are equal, +3.0103 dB with programmes that differ."""
    one, _ = show(AHEAD, PAIR[:1])
    both, _ = show(AHEAD, PAIR)
    np.testing.assert_allclose(at(both, "ahead") - at(one, "ahead"), 20 * np.log10(2), rtol=0, atol=1e-4)
    apart, _ = show(AHEAD, [PAIR[0], PAIR[1] | {"channel": "b"}])
    np.testing.assert_allclose(at(apart, "ahead") - at(one, "ahead"), 10 * np.log10(2), rtol=0, atol=1e-4)
    np.testing.assert_array_equal(at(apart, "ahead", "level_same"), at(both, "ahead"))


@pytest.mark.parametrize("correlation", [0.0, 0.25, 1.0])
def test_channels_that_are_partly_the_same(show, correlation):
    """Exact: twice the energy, times 1 + ρ where the paths are equal."""
    one, _ = show(AHEAD, PAIR[:1])
    some, _ = show(AHEAD, [PAIR[0], PAIR[1] | {"channel": "b"}], correlation=correlation)
    expected = 10 * np.log10(2 * (1 + correlation))
    np.testing.assert_allclose(at(some, "ahead") - at(one, "ahead"), expected, rtol=0, atol=1e-4)


def test_comb_of_two_sources_has_its_nulls_at_odd_half_waves(show):
    """Two points whose paths to a seat differ by 0.34 m, half a wave of 500 Hz and three halves of one of 1500 Hz.

    Exact: of a band f1…f2 with a path difference d the mean of |1 + e^(−jkd)|² is 2 + 2 sinc, integrated in closed
    form; compared through `predict`.
    """
    seats = {"side": (0.0, 60.0)}
    placed = [{"position_m": [0.0, 0.0, 0.0]}, {"position_m": [0.0, -0.34, 0.0]}]
    result, _ = show(seats, placed)
    one, _ = show(seats, placed[:1])
    r1, r2 = 60.0, 60.34
    exact = 10.0 ** (np.arange(14, 43) / 10.0)
    for band, middle in enumerate(exact):
        low, high = middle * 10.0**-0.05, middle * 10.0**0.05
        phase = 2 * np.pi * (r2 - r1) / C
        cross = (np.sin(phase * high) - np.sin(phase * low)) / (phase * (high - low))
        ratio = r1 / r2
        expected = 10 * np.log10(1 + ratio**2 + 2 * ratio * cross)
        assert at(result, "side")[band] - at(one, "side")[band] == pytest.approx(expected, rel=0, abs=2e-3)
    first = np.argmin(np.abs(exact - 500.0))  # c/2d
    assert at(result, "side")[first] - at(one, "side")[first] < -10.0


def test_cardioid_pair_has_its_null_behind(show):
    """Two points a quarter wave of 63 Hz apart, the rear one turned round and late by that quarter wave.

    Exact: behind both arrive together and opposed; ahead the rear one is two quarters late and turned, in phase.
    """
    spacing = C / 63.096 / 4.0
    rear = {"position_m": [-spacing, 0.0, 0.0], "inverted": True, "delay_ms": 1000.0 * spacing / C}
    seats = {"ahead": (400.0, 0.0), "behind": (-400.0, 0.0)}
    pair, _ = show(seats, [{"position_m": [0.0, 0.0, 0.0]}, rear])
    alone, _ = show(seats, [{"position_m": [0.0, 0.0, 0.0]}])
    band = 4  # 63 Hz
    assert at(pair, "ahead")[band] - at(alone, "ahead")[band] == pytest.approx(6.02, rel=0, abs=0.1)
    # Behind they differ by 1/r alone, 1.347 m of 400: −49.5 dB of one.
    left = 20 * np.log10(1 - (400.0 - spacing) / 400.0)
    assert at(pair, "behind")[band] - at(alone, "behind")[band] == pytest.approx(left, rel=0, abs=0.1)


def test_row_of_subs_is_the_array_factor(show):
    """Eight points, 3 m apart: sin(Nψ/2)/(N sin(ψ/2)), ψ = k d sin θ; its mean square over the band on 2,000 lines."""
    count, step, far = 8, 3.0, 950.0
    angles = {f"{deg}": deg for deg in (0, 10, 20, 35, 60)}
    seats = {name: (far * np.cos(np.radians(deg)), far * np.sin(np.radians(deg))) for name, deg in angles.items()}
    row = {"position_m": [0.0, -10.5, 0.0], "count": count, "step_m": [0.0, step, 0.0]}
    result, _ = show(seats, [row])
    one, _ = show(seats, [{"position_m": [0.0, 0.0, 0.0]}])
    band = 5  # 80 Hz: 79.433
    lines = np.linspace(79.433 * 10**-0.05, 79.433 * 10**0.05, 2000)
    for name, deg in angles.items():
        psi = 2 * np.pi * lines / C * step * np.sin(np.radians(deg))
        with np.errstate(invalid="ignore", divide="ignore"):
            factor = np.where(np.abs(np.sin(psi / 2)) < 1e-12, count, np.sin(count * psi / 2) / np.sin(psi / 2))
        expected = 10 * np.log10(np.mean(factor**2))
        found = at(result, name)[band] - at(one, name)[band]
        # At 950 m the row's curvature is 21²/8/950 m, 0.06 m of a wave of 4.3 m: 0.1 dB on the lobe, more near a null.
        assert found == pytest.approx(expected, rel=0, abs=0.1 if expected > 10 else 0.7)


def test_a_mirrored_show_gives_the_same_numbers(show):
    seats = {"left": (20.0, 4.0), "right": (20.0, -4.0)}
    found = []
    for side in (1.0, -1.0):
        placed = [
            {"position_m": [0.0, side * 5.0, 3.0], "azimuth_deg": -side * 5.0, "enclosure": "compact"},
            {"position_m": [1.0, side * 1.0, 1.0], "enclosure": "compact", "channel": "b", "delay_ms": 2.0},
        ]
        result, _ = show(seats, placed, correlation=0.5)
        found.append([at(result, "left" if side > 0 else "right"), at(result, "right" if side > 0 else "left")])
    np.testing.assert_allclose(found[0], found[1], rtol=0, atol=1e-6)


# 340 m/s: 1 m is 2.94118 ms.
NEAR = {"position_m": [10.0, 0.0, 0.0]}
FAR = {"position_m": [0.0, 0.0, 0.0]}


@pytest.mark.parametrize(
    ("more", "align", "delay_ms"),
    [
        # The seat is 30 m from one and 20 m from the other: 10 m are 29.41176 ms.
        ({}, {}, 29.41176),
        ({}, {"lead_ms": 5.0}, 34.41176),
        # What it has already counts: 12 ms of its own, and the 4 ms that the other has.
        ({"delay_ms": 12.0}, {}, 29.41176),
        # At a given place, 25 m and 15.8114 m away: √(25² + 5²) − √(15² + 5²) = 9.68350 m, 28.48088 ms.
        ({}, {"at_m": [25.0, 5.0, 0.0]}, 28.48088),
    ],
)
def test_delays_by_arrival(show, more, align, delay_ms):
    # 3.52 dB more over 30 m: at the seat both are equally loud.
    placed = [NEAR | more, FAR | {"gain_db": 20 * np.log10(1.5)}]
    _, (found,) = show({"seat": (30.0, 0.0)}, placed, [{"of": "p0", "to": "p1"} | align])
    assert found.delay_s * 1000.0 == pytest.approx(delay_ms, rel=0, abs=0.01)


def test_a_delay_that_cannot_be_is_told(show):
    _, (found,) = show({"seat": (30.0, 0.0)}, [NEAR, FAR], [{"of": "p1", "to": "p0"}])
    assert found.delay_s * 1000.0 == pytest.approx(-29.41176, rel=0, abs=0.01)
    assert "delay p0 by 29.41 ms instead" in found.note


def test_what_aligns_to_something_moved_adds_that(show):
    placed = [NEAR, FAR, {"position_m": [20.0, 0.0, 0.0]}]
    seats = {"seat": (30.0, 0.0)}
    align = [{"of": "p0", "to": "p1", "at_m": [30.0, 0.0, 0.0]}, {"of": "p2", "to": "p0", "at_m": [30.0, 0.0, 0.0]}]
    _, found = show(seats, placed, align)
    assert [one.delay_s * 1000.0 for one in found] == pytest.approx([29.41176, 58.82353], rel=0, abs=0.01)


@pytest.mark.parametrize("inverted", [False, True])
def test_subs_by_phase(show, inverted):
    """Both flat points: in phase over the octave where both arrive together, 17 m or 50 ms of travel apart at most."""
    placed = [{"position_m": [5.0, 0.0, 0.0], "inverted": inverted}, FAR]
    align = {"of": "p0", "to": "p1", "by": "phase", "crossover_hz": 80.0, "at_m": [30.0, 0.0, 0.0]}
    _, (found,) = show({"seat": (30.0, 0.0)}, placed, [align])
    assert found.delay_s * 1000.0 == pytest.approx(5.0 / 0.34, rel=0, abs=0.011)  # steps of 0.02 ms
    assert found.inverted == inverted
    assert found.short_db[1] == pytest.approx(0.0, rel=0, abs=0.01)
    assert found.short_db[0] > 1.0


def test_an_echo_is_told_by_time_and_level(show):
    """60 ms late and 3 dB below: told. 8 dB lower again, or 45 ms late: not."""
    seats = {"seat": (30.0, 0.0)}
    for late_ms, gain, told in ((60.0, -3.0, True), (60.0, -11.0, False), (45.0, -3.0, False)):
        result, _ = show(seats, [FAR, FAR | {"position_m": [0.0, 0.1, 0.0], "delay_ms": late_ms, "gain_db": gain}])
        assert np.isfinite(at(result, "seat", "echo_late")) == told


def test_one_hang_alone_is_that_hang(evenhang, sample_venues, tmp_path):
    """To the last digit, at every position."""
    folder = sample_venues / "theatre"
    alone = evenhang("predict", folder / "left.toml", folder / "venue.toml", "--grid", 3).field
    file = {"format": "show/1", "name": "one", "venue": str(folder / "venue.toml"), "channel": [{"name": "left"}]}
    file["hang"] = [{"file": str(folder / "left.toml"), "channel": "left"}]
    (tmp_path / "show.toml").write_text(tomlkit.dumps(file))
    run = evenhang("predict", tmp_path / "show.toml", "--grid", 3)
    assert run.code == 0, run.err
    both = results.load(run.folder / "field.nc")
    for name in ("level", "level_a", "level_c", "octave_level", "x", "y", "z", "seat_weight"):
        np.testing.assert_array_equal(both[name].values, alone[name].values)
    np.testing.assert_array_equal(both["part_level"].values[0], alone["level"].values)


FAULTS = [
    ({"venue": "nowhere.toml"}, "venue", "names a file that does not exist"),
    ({"correlation": 1.5}, "correlation", "0 to 1"),
    ({"placed.0.channel": "c"}, "placed[1].channel", "is no channel of the show"),
    ({"placed.0.enclosure": "huge"}, "placed[1].enclosure", "is no known enclosure"),
    ({"placed.0.count": 3}, "placed[1].step_m", "key is missing"),
    ({"placed.0.step_m": [0.0, 1.0, 0.0]}, "placed[1].step_m", "has no meaning for one enclosure"),
    ({"placed.0.serves": ["pit"]}, "placed[1].serves[1]", "is no audience area"),
    ({"placed.1.name": "p0"}, "placed[2].name", "is the name of placed[1] too"),
    ({"align": [{"of": "p0", "to": "nobody"}]}, "align[1].to", "is nothing of the show"),
    ({"align": [{"of": "p0", "to": "p0"}]}, "align[1].to", "is what gets the delay itself"),
    ({"align": [{"of": "p0", "to": "p1", "by": "phase"}]}, "align[1].crossover_hz", "key is missing"),
    ({"hang": [{"file": "none.toml", "channel": "a"}]}, "hang[1].file", "names a file that does not exist"),
]


@pytest.mark.parametrize(("changes", "key", "wrong"), FAULTS)
def test_faults_of_a_show(tmp_path, changes, key, wrong):
    venue = {"format": "venue/1", "name": "field", "area": [area("seat", 30.0, 0.0)]}
    (tmp_path / "venue.toml").write_text(tomlkit.dumps(venue))
    parts = [{"name": f"p{i}", "enclosure": "point", "channel": "a", "position_m": [0.0, i, 0.0]} for i in range(2)]
    file: Any = {
        "format": "show/1",
        "name": "night",
        "venue": "venue.toml",
        "channel": [{"name": "a"}],
        "placed": parts,
    }
    for path, value in changes.items():
        *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
        node = file
        for step in way:
            node = node[step]
        node[last] = value
    (tmp_path / "show.toml").write_text(tomlkit.dumps(file))
    with pytest.raises(FileFaults) as caught:
        load_show(tmp_path / "show.toml", CATALOGUE)
    told = [fault for fault in caught.value.faults if fault.key == key]
    assert told, [str(fault) for fault in caught.value.faults]
    assert any(wrong in str(fault) for fault in told)
    assert all(str(fault).startswith(str(tmp_path / "show.toml")) and fault.todo for fault in told)
