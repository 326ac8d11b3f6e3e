"""`evenhang new`: a commented file to start from."""

from __future__ import annotations

import argparse
from importlib import resources
from pathlib import Path

from acoustics.app import folder
from acoustics.app.status import DONE, refusing


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    text = starter(asked.kind)
    if asked.out is None:
        print(text, end="")
        return DONE
    target = Path(asked.out)
    folder.prepare_new(target, "--out")
    folder.write_new(target, "--out", text)
    print(f"written to {target}; its numbers are invented: put yours in their place")
    return DONE


def starter(kind: str) -> str:
    """Text of the packaged file of a kind."""
    return (resources.files("acoustics.app") / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
