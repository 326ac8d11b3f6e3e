"""Memory grows with the result and nothing else: a million positions need what ten thousand need.

In an own process, so that nothing else counts: what Python and numpy ask for is traced (it does not depend on the
machine's load), and the system tells the most that the process ever held.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

MB = 1_000_000
FEW, MANY = 10_000, 1_000_000

SCRIPT = """
import json, sys, tracemalloc
from pathlib import Path

import numpy as np

from acoustics import directivity, field

status = Path("/proc/self/status")

def held():
    lines = status.read_text().splitlines() if status.exists() else []
    return sum(1024 * int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))

point = directivity.Directivity("point", (), 0.0, 0.0, np.full(29, directivity.PASCAL_DB), 343.2)
place = np.column_stack([np.zeros(24), np.zeros(24), 9.0 - 0.3 * np.arange(24)])
sources = field.Sources(
    place, np.tile(np.eye(3), (24, 1, 1)), np.zeros(24, dtype=np.intp), (point,), np.ones(24), np.zeros(24)
)
still, whole = field.Medium(343.2, field.lossless), np.ones(29, dtype=np.int64)
corners = np.array([[4.0, -12.0, 0.0], [50.0, 12.0, 3.0]])
# Compiles or loads what is compiled.
field.band_level(sources, np.random.default_rng(1).uniform(*corners, (100, 3)), still, parts=whole)
told = {}
for count in map(int, sys.argv[1:]):
    position = np.random.default_rng(1).uniform(*corners, (count, 3))
    before = held()
    tracemalloc.start()
    level = field.band_level(sources, position, still, parts=whole)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    told[count] = {
        "peak": peak, "result": level.nbytes, "shape": level.shape, "held": held(), "grown": held() - before,
        "finite": bool(np.isfinite(level).all()),
    }
    del level
json.dump(told, sys.stdout)
"""


@pytest.fixture(scope="module")
def told():
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(FEW), str(MANY)], capture_output=True, text=True, timeout=300, check=False
    )
    assert run.returncode == 0, run.stderr
    return {int(count): values for count, values in json.loads(run.stdout).items()}


def test_the_whole_result_comes(told):
    for count in (FEW, MANY):
        assert told[count]["shape"] == [29, count]
        assert told[count]["finite"]
        assert told[count]["result"] == 29 * count * 8


def test_work_space_does_not_grow_with_positions(told):
    """A block of 20 000 positions is at work at a time: 29 energies of 8 bytes each, and some few copies of them."""
    few, many = (told[count]["peak"] - told[count]["result"] for count in (FEW, MANY))
    assert few > 0
    assert many - few < 20 * MB  # a whole copy of the result would be 232 MB, distances from all sources 192 MB


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the system does not tell the most that was held")
def test_the_process_stays_small(told):
    """Compiler, libraries, positions and the result together."""
    assert told[MANY]["held"] < 2000 * MB
    # Besides the result of 232 MB: blocks as above, and what the system's allocator keeps.
    assert 200 * MB < told[MANY]["grown"] < 332 * MB
