"""Files that are made to take time or memory: told in a process of its own, within limits of both."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("resource", reason="needs limits of a process")

# Of the greatest size that is read; with EVENHANG_CORPUS_SHARE=1 it takes a minute and a half.
SHARE = float(os.environ.get("EVENHANG_CORPUS_SHARE", "0.1"))
# Seconds of processor and bytes of address space: measured, 1 s for the libraries and up to 12 s for the whole size.
# A first start of a new installation takes more. Work that grows with the square of a size takes hours.
CPU_S, SPACE = int(20 + 30 * SHARE), 4_000_000_000
RUN = f"""
import resource, sys
resource.setrlimit(resource.RLIMIT_CPU, ({CPU_S}, {CPU_S}))
resource.setrlimit(resource.RLIMIT_AS, ({SPACE}, {SPACE}))
from acoustics.app.cli import main
code = main(sys.argv[1:])
# Not ru_maxrss: that of a process that was forked begins with what its parent had.
status = open("/proc/self/status").read() if sys.platform == "linux" else ""
used = status.partition("VmHWM:")[2].split()[:1] or [resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]
print(used[0], file=sys.stderr)
raise SystemExit(code)
"""
MOST_KB = 150_000 + 700_000 * SHARE  # resident, the libraries' 100,000 included
VENUE = 'format = "venue/1"\nname = "x"\n'
AREA = '[[area]]\nname = "a"\nrole = "audience"\noutline_m = '
HANG = 'format = "hang/1"\nname = "x"\nframe = "frame-large"\nposition_m = [0, 0, 9]\ntilt_deg = 0\n'
TOUR = 'format = "tour/1"\nname = "x"\n[[stop]]\nvenue = "v.toml"\nhangs = ['
READINGS = 'format = "readings/1"\nhang = "x"\ndesign = "x"\n'


def n(count: int) -> int:
    return max(1, int(count * SHARE))


def text(kind: str, name: str) -> str:
    """A file of nearly the size that is read at all, or one that grows while it is read."""
    return {
        ("venue", "tables without keys"): VENUE + "[[area]]\nx=1\n" * n(150_000),
        ("venue", "a list of texts"): VENUE + AREA + "[" + '"",' * n(600_000) + "]\n",
        ("venue", "corners in one place"): VENUE + AREA + "[" + "[1,2,3]," * n(240_000) + "]\n",
        ("venue", "unknown keys"): VENUE + "".join(f"k{i}=1\n" for i in range(n(180_000))),
        ("venue", "few lines that are long"): VENUE + (AREA + "[" + "[1,2,3]," * n(3_000) + "]\n") * n(75),
        ("venue", "one name"): VENUE + (AREA + "[[1,2,3],[1,4,3],[3,4,3]]\n") * n(26_000),
        ("venue", "points of one name"): VENUE + '[[point]]\nname="p"\nposition_m=[1,2,3]\n' * n(45_000),
        ("venue", "a long dotted key"): VENUE + "a." * n(900_000) + "a = 1\n",
        ("venue", "a long word"): VENUE + "a" * n(1_900_000),
        ("venue", "many quotes"): VENUE + "'" * n(1_900_000),
        ("venue", "many spaces"): VENUE + "a" + " " * n(1_900_000) + ". = 1",
        ("hang", "a long column"): HANG + '[[column]]\nenclosure = "none"\nsplay_deg = 0\n' * n(40_000),
        ("hang", "one area served often"): HANG + "serves = [" + '"a",' * n(450_000) + "]\n",
        ("hang", "many groups"): HANG + "[[group]]\nrows = [9]\n" * n(90_000),
        ("hang", "many picks"): HANG + '[[pick]]\nhole = "1"\nhoist = "x"\n' * n(55_000),
        ("tour", "one hang often"): TOUR + '"a.toml",' * n(200_000) + "]\n",
        ("tour", "many stops"): 'format = "tour/1"\nname = "x"\n' + "[[stop]]\n" * n(200_000),
        ("readings", "one row often"): READINGS + "[[row]]\nrow = 3\naim_deg = 1\n" * n(70_000),
        ("show", "many channels"): 'format = "show/1"\nname = "x"\n' + '[[channel]]\nname = "a"\n' * n(75_000),
        ("policy", "unknown keys"): 'format = "policy/1"\n' + "".join(f"k{i}=1\n" for i in range(n(180_000))),
    }[kind, name]


CASES = [
    ("venue", "tables without keys"), ("venue", "a list of texts"), ("venue", "corners in one place"),
    ("venue", "unknown keys"), ("venue", "few lines that are long"), ("venue", "one name"),
    ("venue", "points of one name"), ("venue", "a long dotted key"), ("venue", "a long word"), ("venue", "many quotes"),
    ("venue", "many spaces"), ("hang", "a long column"), ("hang", "one area served often"), ("hang", "many groups"),
    ("hang", "many picks"), ("tour", "one hang often"), ("tour", "many stops"), ("readings", "one row often"),
    ("show", "many channels"), ("policy", "unknown keys"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_time_and_memory(desk, where, kind, name):
    file, command = where(kind)
    (desk / file).write_text(text(kind, name))
    one_thread = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "PYTHONHASHSEED": "0"}
    root = Path(__file__).resolve().parents[3]
    path = os.pathsep.join([str(root), os.environ.get("PYTHONPATH", "")])
    try:
        done = subprocess.run(
            [sys.executable, "-c", RUN, *command],
            capture_output=True, text=True, cwd=desk, env={**os.environ, **one_thread, "PYTHONPATH": path}, check=False,
        )  # fmt: skip
    finally:
        (desk / file).unlink()
    *lines, peak_kb = done.stderr.splitlines()
    assert (done.returncode, done.stdout) == (2, ""), done.stderr[-2000:]
    assert int(peak_kb) < MOST_KB
    assert 1 <= len(lines) <= 103
    assert all(line.startswith(f"{file}:") and "; " in line and len(line) < 1000 for line in lines)
    assert not (desk / "out").exists()


@pytest.mark.parametrize("entry", ["[[area]]\nx=1\n", AREA + "[[1,2,3],[1,4,3],[3,4,3]]\n"])
def test_a_hundred_faults_are_enough(refuse, entry):
    lines = refuse("venue", (VENUE + entry * 1_000).encode())
    assert len(lines) == 101
    assert lines[-1] == " holds more faults than the 100 that are told; correct these first"
