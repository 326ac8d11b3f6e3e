"""How large the corpus is: bad files by kind, each of its own."""

from __future__ import annotations

import runpy
import tomllib
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
OTHER_KINDS = {"dxf", "sofa", "pack"}
LEAST, LEAST_OF_A_KIND = 150, 20


def test_size(capsys):
    cases = []
    for file in sorted(HERE.glob("test_*.py")):
        if file != Path(__file__).resolve():
            cases += [(file.name, *case) for case in runpy.run_path(str(file)).get("CASES", [])]
    assert len(set(cases)) == len(cases)
    kinds = Counter(kind for _, kind, *_ in cases)
    with capsys.disabled():
        print("\nbad files:", len(cases), dict(sorted(kinds.items())))
    assert kinds.keys() == tomllib.loads((HERE / "kinds.toml").read_text()).keys() | OTHER_KINDS
    assert len(cases) >= LEAST
    assert min(kinds.values()) >= LEAST_OF_A_KIND
