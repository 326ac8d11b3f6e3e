"""A tour: one fault costs one stop, what is done is kept, and how it is worked out makes no difference."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from acoustics.app import cli
from acoustics.app import stop as one_stop
from acoustics.app import tour as tour_command
from acoustics.app.stop import Done
from acoustics.app.tour_sheet import FIELDS, as_data, page, text, whole_of
from rigging.cautions import CAUTIONS

DEADLY = "a venue that ends its worker"
# Python runs this at its start where it is found on the path: a worker that reads that venue dies as if killed.
SITE = f"""
import os, signal, sys
def _arm():
    import acoustics.venue as venue
    read = venue.load_venue
    def load_venue(path):
        loaded = read(path)
        if loaded[0].name == {DEADLY!r}:
            os.kill(os.getpid(), signal.SIGKILL)
        return loaded
    venue.load_venue = load_venue
if "spawn_main" in " ".join(sys.orig_argv):
    _arm()
"""
VENUE = """
format = "venue/1"
name = "{name}"
[[area]]
name = "floor"
role = "audience"
outline_m = [[5, -4, 0], [{depth}, -4, 0], [{depth}, 4, 0], [5, 4, 0]]
[[point]]
name = "P"
position_m = [0.0, 0.0, 9.0]
limit_kg = 500.0
[[point]]
name = "Q"
position_m = [-0.6, 0.0, 9.0]
limit_kg = 500.0
"""
HANG = """
format = "hang/1"
name = "column"
frame = "frame-compact"
position_m = [0.0, 0.0, 5.0]
tilt_deg = {tilt}
"""
ROW = """
[[column]]
enclosure = "compact"
splay_deg = {splay}
"""
MAIN = "import sys; from acoustics.app.cli import main; sys.exit(main(sys.argv[1:]))"


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


def run(*arguments: Any, path: Path | None = None) -> Ran:
    """The command in a process of its own, with a folder that Python looks into first."""
    search = os.pathsep.join([*([str(path)] if path else []), str(Path(__file__).resolve().parents[2])])
    command = [sys.executable, "-c", MAIN, "tour", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": search})
    return Ran(done.returncode, done.stdout, done.stderr)


def tree(folder: Path) -> dict[str, bytes]:
    """All files below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


Maker = Callable[..., Path]


@pytest.fixture
def tour(tmp_path: Path) -> Maker:
    """Writes a tour of small halls that are all different: `names` of the venues, more lines for the tour file."""

    def write(count: int, *, names: dict[int, str] | None = None, more: str = "") -> Path:
        lines = ['format = "tour/1"', 'name = "small halls"', "grid_m = 2.0", more]
        for index in range(count):
            name = (names or {}).get(index, f"hall {index + 1}")
            (tmp_path / f"venue-{index}.toml").write_text(VENUE.format(name=name, depth=12 + 0.25 * index))
            rows = "".join(ROW.format(splay=float(splay)) for splay in (0, 1, 2, 3)[: 3 + index % 2])
            (tmp_path / f"hang-{index}.toml").write_text(HANG.format(tilt=-float(index % 5)) + rows)
            lines += ["[[stop]]", f'venue = "venue-{index}.toml"', f'hangs = ["hang-{index}.toml"]']
        (tmp_path / "tour.toml").write_text("\n".join(lines))
        return tmp_path / "tour.toml"

    return write


def rows_of(folder: Path) -> list[dict[str, str]]:
    with open(folder / "tour.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_thirty_venues_three_broken_and_one_that_ends_its_worker(tour, site, tmp_path):
    file = tour(30, names={17: DEADLY})
    (tmp_path / "venue-3.toml").write_text('format = "venue/1"\nname = [\n')
    (tmp_path / "venue-11.toml").write_text((tmp_path / "venue-11.toml").read_text().replace("500.0", '"much"'))
    (tmp_path / "hang-24.toml").unlink()
    out = tmp_path / "out"
    ran = run(file, "--out", out, path=site)
    assert ran.code == 3, ran.err
    folder = out / "small-halls"
    assert len(list(folder.glob("*/*/report.html"))) == 26
    failed = {row["stop"]: row["fault"] for row in rows_of(folder) if row["status"] == "not worked out"}
    assert set(failed) == {f"{index + 1} venue-{index}.toml" for index in (3, 11, 17, 24)}
    assert "no valid TOML" in failed["4 venue-3.toml"]
    assert "point[1].limit_kg" in failed["12 venue-11.toml"]
    assert "process was ended" in failed["18 venue-17.toml"]
    assert "hang-24.toml" in failed["25 venue-24.toml"]
    page = (folder / "index.html").read_text()
    assert all(name in page for name in failed)
    before = {path: path.stat().st_mtime_ns for path in folder.glob("*/stop.json")}
    again = run(file, "--out", out, path=site)
    assert again.code == 3
    assert "26 stops worked out, 26 of them before; 4 not" in again.out
    assert {path: path.stat().st_mtime_ns for path in folder.glob("*/stop.json")} == before
    assert len(before) == 26


def test_only_what_changed_is_worked_out_again(tour, tmp_path, capsys):
    file = tour(3)
    asked = ["tour", str(file), "--out", str(tmp_path / "out"), "--processes", "1"]
    assert cli.main(asked) in (0, 4)
    hang = tmp_path / "hang-1.toml"
    cli.main(asked)
    assert "3 of them before" in capsys.readouterr().out
    hang.write_text(hang.read_text().replace("splay_deg = 2.0", "splay_deg = 3.0"))
    cli.main(asked)
    assert "3 stops worked out, 2 of them before" in capsys.readouterr().out
    report = next((tmp_path / "out" / "small-halls").glob("hall-3-*/*/report.html"))
    whole = report.read_bytes()
    report.write_bytes(b" " * len(whole))  # no longer what was written
    cli.main(asked)
    assert "2 of them before" in capsys.readouterr().out
    assert report.read_bytes() == whole


def test_serial_and_parallel_give_equal_files(tour, tmp_path):
    file = tour(4)
    codes = [run(file, "--out", tmp_path / name, "--processes", name).code for name in ("1", "2")]
    assert codes[0] == codes[1]
    one, two = tree(tmp_path / "1"), tree(tmp_path / "2")
    assert len([name for name in one if name.endswith("report.html")]) == 4
    assert one == two


def test_killed_at_random_moments_then_finished(tour, tmp_path):
    file = tour(4)
    run(file, "--out", tmp_path / "calm")
    start = time.monotonic()
    seconds = 4.0  # of imports and the first stops
    chance = random.Random(20)
    for _ in range(4):
        search = str(Path(__file__).resolve().parents[2])
        command = [sys.executable, "-c", MAIN, "tour", str(file), "--out", str(tmp_path / "killed")]
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": search}
        )
        time.sleep(chance.uniform(0.2, seconds))
        process.send_signal(signal.SIGKILL)
        process.wait()
        for stop in (tmp_path / "killed").glob("*/hall*/"):
            said = json.loads((stop / "stop.json").read_text())  # what stands in its place is whole
            for name, digest in said["files"].items():
                assert hashlib.sha256((stop / name).read_bytes()).hexdigest() == digest
    assert time.monotonic() - start < 600
    run(file, "--out", tmp_path / "killed")
    assert tree(tmp_path / "killed") == tree(tmp_path / "calm")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A folder for Python to look into first, which makes workers die of one venue."""
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "sitecustomize.py").write_text(SITE)
    return tmp_path / "site"


@pytest.fixture
def two_workers(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(site), str(Path(__file__).resolve().parents[2])]))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True, silence_logs=50
    ) as cluster:
        yield cluster.scheduler_address


@pytest.mark.filterwarnings("ignore")  # of the cluster's own making
def test_a_cluster_gives_what_the_local_pool_gives(tour, site, tmp_path, two_workers, capsys):
    file = tour(4, names={1: DEADLY})
    (tmp_path / "venue-2.toml").write_text("")
    run(file, "--out", tmp_path / "local", path=site)
    code = cli.main(["tour", str(file), "--out", str(tmp_path / "cluster"), "--scheduler", two_workers])
    assert code == 3
    assert "2 venue-1.toml: its process was ended from outside" in capsys.readouterr().err
    assert tree(tmp_path / "cluster") == tree(tmp_path / "local")
    assert len(list((tmp_path / "cluster").rglob("report.html"))) == 2


def test_a_scheduler_that_is_not_there(tour, tmp_path, capsys):
    code = cli.main(["tour", str(tour(1)), "--out", str(tmp_path / "out"), "--scheduler", "nonsense"])
    assert code == 2
    assert "--scheduler: does not answer" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("there", "code", "words"),
    [(8, 0, None), (7, 1, "RUNS OUT")],  # two hangs of four: by hand
)
def test_stock_that_runs_out_is_a_finding(tour, tmp_path, capsys, there, code, words):
    more = f"[stock]\ncompact = {there}\nframe-compact = 2"
    file = tour(2, more=more)
    hang = (tmp_path / "hang-1.toml").read_text()
    (tmp_path / "hang-2.toml").write_text(hang.replace('"column"', '"other"').replace("[0.0, 0.0", "[0.0, 2.0"))
    text = file.read_text().replace('hangs = ["hang-1.toml"]', 'hangs = ["hang-1.toml", "hang-2.toml"]')
    file.write_text(text)
    cli.main(["tour", str(file), "--out", str(tmp_path / "out"), "--json"])
    said = json.loads(capsys.readouterr().out)
    short = [one for one in said["stock"] if one["type"] == "compact"]
    if words is None:
        assert short == []
    else:
        assert short == [{"stop": "2 venue-1.toml", "type": "compact", "taken": 8.0, "there": 7.0, "status": "exceeds"}]
        assert words in (tmp_path / "out" / "small-halls" / "index.html").read_text()
    taken = {row["hang"]: row["stock"] for row in said["rows"]}
    assert taken["other"] == f"compact 8 of {there}; frame-compact 2 of 2"


def test_a_designed_stop_takes_its_mirror_image_along(sample_venues, tmp_path, capsys):
    for name in ("left", "right", "venue"):
        (tmp_path / f"{name}.toml").write_text((sample_venues / "theatre" / f"{name}.toml").read_text())
    before = (tmp_path / "left.toml").read_text()
    stop = '[[stop]]\nvenue = "venue.toml"\nhangs = ["left.toml", "right.toml"]\ndesign = true\n'
    (tmp_path / "tour.toml").write_text(f'format = "tour/1"\nname = "one"\ngrid_m = 4.0\n{stop}')
    cli.main(["tour", str(tmp_path / "tour.toml"), "--out", str(tmp_path / "out"), "--json"])
    left, right = json.loads(capsys.readouterr().out)["rows"]
    assert (left["designed"], right["designed"]) == ("yes", "as its mirror image")
    assert (left["splays_deg"], left["tilt_deg"]) == (right["splays_deg"], right["tilt_deg"])
    assert left["splays_deg"] != "0 1 1 2 3 3 4 5 7 9 10 11"
    assert left["exceed"] == right["exceed"] == 0
    assert (tmp_path / "left.toml").read_text() == before  # the tour's own files stay as they are
    designed = (tmp_path / "out" / "one" / left["folder"] / "designed.toml").read_text()
    assert f"tilt_deg = {left['tilt_deg']}" in designed


def test_a_mirror_image_whose_design_is_not_at_the_stop_says_that_it_was_not_designed(sample_venues, tmp_path, capsys):
    theatre = sample_venues / "theatre"
    stop = f'[[stop]]\nvenue = "{theatre}/venue.toml"\nhangs = ["{theatre}/right.toml"]\ndesign = true\n'
    (tmp_path / "tour.toml").write_text(f'format = "tour/1"\nname = "one"\ngrid_m = 4.0\n{stop}')
    cli.main(["tour", str(tmp_path / "tour.toml"), "--out", str(tmp_path / "out"), "--json", "--processes", "1"])
    (row,) = json.loads(capsys.readouterr().out)["rows"]
    assert row["designed"] == "no, the design that it mirrors is not among the stop's hangs"
    assert "the design that it mirrors" in (tmp_path / "out" / "one" / "index.html").read_text()


def test_two_nights_in_one_hall_are_two_stops(tour, tmp_path, capsys):
    """The same stop twice: each has its own number, and stands once."""
    file = tour(1)
    head, stop = file.read_text().split("[[stop]]")
    file.write_text(f"{head}[[stop]]{stop}\n[[stop]]{stop}")
    assert cli.main(["tour", str(file), "--out", str(tmp_path / "out"), "--json", "--processes", "2"]) in (0, 4)
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [row["stop"] for row in rows] == ["1 venue-0.toml", "2 venue-0.toml"]
    index = (tmp_path / "out" / "small-halls" / "index.html").read_text()
    assert "2 stops worked out" in index
    assert index.count("report.html") == 2


def test_stops_that_end_at_one_moment_take_one_place(tmp_path, monkeypatch):
    """Another stop of the same inputs puts its folder there after this one has looked."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "stop.json").write_text("{}")
    rename, target = os.rename, tmp_path / "hall"
    late = [True]

    def slow(source: Any, to: Any) -> None:
        if to == target and late:
            late.clear()
            target.mkdir()
            (target / "stop.json").write_text("{}")
        rename(source, to)

    monkeypatch.setattr(os, "rename", slow)
    one_stop._put(tmp_path / "mine", target)
    assert not late
    assert (target / "stop.json").read_text() == "{}"
    assert not (tmp_path / "mine").exists()


def test_a_hang_named_twice_by_two_names_is_a_fault(tour, tmp_path, capsys):
    file = tour(1)
    file.write_text(file.read_text().replace('["hang-0.toml"]', '["hang-0.toml", "./hang-0.toml"]'))
    assert cli.main(["tour", str(file), "--out", str(tmp_path / "out"), "--processes", "1"]) == 3
    said = capsys.readouterr()
    assert "is named twice among the hangs of a stop" in said.out
    assert "error of the program" not in said.out


def test_what_exceeds_beside_the_hangs_of_a_show_stands_in_the_index():
    """All hangs within, too many amplifiers taken: nobody may read off the index that all is within."""
    row = dict.fromkeys(FIELDS) | {
        "hang": "main", "designed": "no", "enclosures": 4, "tilt_deg": 0.0, "trim_m": 5.0, "mass_kg": 100.0,
        "exceed": 0, "cannot_be_judged": 0, "weakest": "", "points": "", "folder": "main-x",
    }  # fmt: skip
    shared = [{"status": status} for status in ("within", "exceeds", "cannot be judged")]
    show = {"name": "three", "folder": "three-x", "findings": shared}
    data = {"key": "k", "folder": "hall-k", "venue": "hall", "rows": [row], "show": show, "taken": {}, "files": {}}
    whole = whole_of("tour", {}, ["1 show.toml"], [Done(data, False)])
    assert whole.has("exceeds")
    assert re.search(r'<tr class="exceeds"><td class="s">exceeds</td><td[^>]*>power and stock of the show', page(whole))
    assert as_data(whole)["power_and_stock_of_shows"] == [{"stop": "1 show.toml", "status": "exceeds"}]
    assert "1 show.toml: power and stock of the show: exceeds" in text(whole, 0)


def test_a_search_that_was_interrupted_is_not_kept(sample_venues, tmp_path, monkeypatch):
    """What a search has found when somebody stops it would be taken for the answer by the next run."""
    theatre = sample_venues / "theatre"
    stop = f'[[stop]]\nvenue = "{theatre}/venue.toml"\nhangs = ["{theatre}/left.toml"]\ndesign = true\n'
    (tmp_path / "tour.toml").write_text(f'format = "tour/1"\nname = "one"\ngrid_m = 4.0\n{stop}')
    tasks: list[one_stop.Task] = []
    monkeypatch.setattr(tour_command, "_work", lambda found, pool: tasks.extend(found) or [])
    monkeypatch.setattr(tour_command, "whole_of", lambda *_: whole_of("one", {}, [], []))
    cli.main(["tour", str(tmp_path / "tour.toml"), "--out", str(tmp_path / "out")])
    ended = SimpleNamespace(answer=SimpleNamespace(interrupted=True, best=None))
    monkeypatch.setattr(one_stop, "search", lambda *_: (ended, []))
    with pytest.raises(KeyboardInterrupt):
        one_stop.work_out(tasks[0])
    assert not list((tmp_path / "out").glob("*/*/stop.json"))


class Links(HTMLParser):
    """Where a page points to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.links += [value for name, value in attrs if name in ("href", "src")]


def test_the_index_leads_to_every_report_and_nowhere_else(tour, tmp_path, capsys):
    cli.main(["tour", str(tour(3)), "--out", str(tmp_path / "out")])
    folder = tmp_path / "out" / "small-halls"
    page = (folder / "index.html").read_text()
    links = Links(page).links
    assert sorted(folder / link for link in links) == sorted(folder.glob("*/*/report.html"))
    assert len(links) == 3
    assert "http" not in page
    assert all(caution.replace("'", "&#39;") in page for caution in CAUTIONS)
    printed = capsys.readouterr().out
    assert all(caution in printed for caution in CAUTIONS)


def test_the_table_repeats_the_reports(tour, tmp_path, capsys):
    cli.main(["tour", str(tour(2)), "--out", str(tmp_path / "out")])
    capsys.readouterr()
    row = rows_of(tmp_path / "out" / "small-halls")[1]
    asked = ["predict", tmp_path / "hang-1.toml", tmp_path / "venue-1.toml", "--grid", "2", "--json"]
    cli.main([*map(str, asked), "--out", str(tmp_path / "alone")])
    alone = json.loads(capsys.readouterr().out)
    assert float(row["level_a_mean_db"]) == alone["whole"]["level_a_mean_db"]
    assert float(row["fall_per_doubling_db"]) == alone["whole"]["fall_per_doubling_db"]
    assert row["design"] == alone["design"]
    assert row["splays_deg"] == "0 1 2 3"
    assert (row["enclosures"], row["tilt_deg"]) == ("4", "-1.0")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('name = "small halls"', "", "name: key is missing"),
        ('venue = "venue-0.toml"', 'venue = "venue-0.toml"\nshow = "s.toml"', "stop[1].venue: stands beside a show"),
        ('hangs = ["hang-0.toml"]', "", "stop[1].hangs: names no hang"),
        ('hangs = ["hang-0.toml"]', "hangs = []", "stop[1].hangs: names no hang"),
        ('venue = "venue-0.toml"', "", "stop[1].venue: key is missing"),
        ('hangs = ["hang-0.toml"]', 'hangs = ["a.toml", "a.toml"]', "stop[1].hangs[2]: names a hang twice"),
        ("grid_m = 2.0", "grid_m = 50.0", "grid_m: lies outside"),
        ("grid_m = 2.0", "grid_m = 2.0\nstock = { compakt = 3 }", "stock.compakt: is no known equipment"),
        ("grid_m = 2.0", "grid_m = 2.0\nstock = { compact = -3 }", "stock.compact: is no number of items"),
        ("grid_m = 2.0", 'grid_m = 2.0\npolicy = "mine"', 'tour.toml:4: policy: names no policy file (got "mine")'),
        ("grid_m = 2.0", 'grid_m = 2.0\nequipment = ["nowhere"]', "cannot be read as a folder of equipment"),
        ("grid_m = 2.0", "grid_m = 2.0\nstopp = 3", "stopp: is an unknown key"),
    ],
)
def test_a_tour_file_at_fault_ends_with_2_and_writes_nothing(tour, tmp_path, capsys, old, new, told):
    file = tour(1)
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    assert cli.main(["tour", str(file), "--out", str(tmp_path / "out")]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_two_runs_into_one_folder_do_not_meet(tour, tmp_path, capsys):
    fcntl = pytest.importorskip("fcntl")
    folder = tmp_path / "out" / "small-halls"
    folder.mkdir(parents=True)
    with open(folder / ".running", "w") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        assert cli.main(["tour", str(tour(1)), "--out", str(tmp_path / "out")]) == 2
    assert "is being written by another run" in capsys.readouterr().err
