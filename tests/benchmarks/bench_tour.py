"""Venues per minute of a tour on one process and on all, and the memory of a worker, run by hand; nothing is asserted.

    python tests/benchmarks/bench_tour.py [--venues N] [--rounds N]

The venues are invented halls of some 900 positions with a column of twelve, all different, so that nothing is kept.
Each way has a folder of its own and they take turns; medians are printed, imports and the start of workers included.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

VENUE = """
format = "venue/1"
name = "hall {index}"
[[area]]
name = "floor"
role = "audience"
outline_m = [[4, -12, 0], [{depth}, -12, 0], [{depth}, 12, 2], [4, 12, 2]]
"""
HANG = """
format = "hang/1"
name = "column"
frame = "frame-large"
position_m = [0.0, 0.0, 9.0]
tilt_deg = 0.0
"""
ROW = """
[[column]]
enclosure = "medium"
splay_deg = {splay}
"""
SPLAYS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 6, 7, 8)
MAIN = "import sys; from acoustics.app.cli import main; sys.exit(main(sys.argv[1:]))"


def write(folder: Path, venues: int) -> Path:
    """A tour of invented halls."""
    lines = ['format = "tour/1"', 'name = "bench"']
    (folder / "hang.toml").write_text(HANG + "".join(ROW.format(splay=float(splay)) for splay in SPLAYS))
    for index in range(venues):
        (folder / f"{index}.toml").write_text(VENUE.format(index=index, depth=40 + 0.1 * index))
        lines += ["[[stop]]", f'venue = "{index}.toml"', 'hangs = ["hang.toml"]']
    (folder / "tour.toml").write_text("\n".join(lines))
    return folder / "tour.toml"


def peaks(pid: int, found: dict[int, int], over: threading.Event) -> None:
    """Watch the greatest resident memory of a process's children. [kB]"""
    while not over.wait(0.05):
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            try:
                status = Path(f"/proc/{child}/status").read_text()
            except OSError:
                continue
            if "VmHWM:" in status and "spawn_main" in Path(f"/proc/{child}/cmdline").read_text():
                found[int(child)] = int(status.split("VmHWM:")[1].split()[0])


def timed(tour: Path, processes: int) -> tuple[float, float]:
    """Seconds of a tour, and the memory of its greatest worker. [MB]"""
    with tempfile.TemporaryDirectory() as out:
        asked = [sys.executable, "-c", MAIN, "tour", str(tour), "--out", out, "--processes", str(processes)]
        found: dict[int, int] = {}
        over, start = threading.Event(), time.perf_counter()
        process = subprocess.Popen(asked, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        watch = threading.Thread(target=peaks, args=(process.pid, found, over), daemon=True)
        watch.start()
        process.wait()
        seconds = time.perf_counter() - start
        over.set()
        return seconds, max(found.values(), default=0) / 1000.0


def main() -> None:
    """Time the ways in turn and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--venues", type=int, default=16)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    ways = (1, os.cpu_count() or 1)
    seconds: dict[int, list[float]] = {way: [] for way in ways}
    memory = dict.fromkeys(ways, 0.0)
    with tempfile.TemporaryDirectory() as folder:
        tour = write(Path(folder), asked.venues)
        for _ in range(asked.rounds):
            for way in ways:
                took, most = timed(tour, way)
                seconds[way].append(took)
                memory[way] = max(memory[way], most)
    first = statistics.median(seconds[ways[0]])
    print(f"{asked.venues} venues, medians of {asked.rounds}")
    print("| processes | venues per minute | ratio | memory of a worker |")
    print("| --------- | ----------------- | ----- | ------------------ |")
    for way in ways:
        took = statistics.median(seconds[way])
        print(f"| {way:9} | {60 * asked.venues / took:17.1f} | {first / took:5.2f} | {memory[way]:15.0f} MB |")


if __name__ == "__main__":
    main()
