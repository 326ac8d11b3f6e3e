"""What several commands ask for on the command line, and how a text becomes a value."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any


def add_command(commands: Any, name: str, text: str, description: str, epilog: str = "") -> argparse.ArgumentParser:
    """A command with its line in the list of all, its description, and what stands below as it is written."""
    command: argparse.ArgumentParser = commands.add_parser(
        name,
        help=text,
        description=description,
        epilog=epilog,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    return command


def add_hang(command: argparse.ArgumentParser, venue: str = "venue file (venue/1); a show names its own") -> None:
    """A hang and its venue, or a show."""
    command.add_argument("hang", metavar="HANG", help="hang file (hang/1), or show file (show/1)")
    command.add_argument("venue", metavar="VENUE", nargs="?", help=venue)


def add_files(
    command: argparse.ArgumentParser, *, judges: bool = False, out: bool = True, figures: bool = True
) -> None:
    """Folders that every command knows, how one says figures, and what one that judges a hang reads besides."""
    if out:
        command.add_argument(
            "--out", metavar="DIR", default="results", help="folder for the results (default: results)"
        )
    command.add_argument("--equipment", metavar="DIR", action="append", default=[], help="add a folder of equipment")
    alone = "the folders of --equipment alone, without the packaged equipment"
    command.add_argument("--only-equipment", action="store_true", help=alone)
    if figures:
        beside = "feet and pounds beside metres and kilograms, in all but JSON, CSV and NetCDF"
        command.add_argument("--imperial", action="store_true", help=beside)
    if judges:
        command.add_argument("--policy", metavar="FILE", help="policy file, or over_people (default) or no_people")
        beside = "another hang on the same venue points"
        command.add_argument("--beside", metavar="HANG", action="append", default=[], help=beside)
        less = "what if a point carries no more than this"
        command.add_argument("--limit", metavar="POINT=KG", action="append", default=[], help=less)


def add_mute(command: argparse.ArgumentParser) -> None:
    """Rows that are silent."""
    what = "what if a row is silent; of a show PART:ROW"
    command.add_argument("--mute", metavar="ROW", action="append", default=[], help=what)


def add_grid(command: argparse.ArgumentParser, usual_m: float = 1.0) -> None:
    """How fine the areas are sampled."""
    text = f"cell size, m (default: {usual_m:g})"
    command.add_argument("--grid", metavar="M", type=number(0.1, 20.0), default=usual_m, help=text)


def add_drive(command: argparse.ArgumentParser) -> None:
    """What the levels hold for."""
    gain = "gain of all (default: 0)"
    command.add_argument("--drive", metavar="DB", type=number(-60.0, 40.0), default=0.0, help=gain)
    command.add_argument("--programme", choices=("pink", "sloped"), help="spectrum (default: pink)")


def add_model(command: argparse.ArgumentParser) -> None:
    """How the sum is taken."""
    many = "points for each enclosure: 1 (default) to 8, or auto"
    command.add_argument("--points", metavar="N", type=points, default=1, help=many)
    edges = "weaken hidden rows as behind one edge (ISO 9613-2), not leave them out"
    command.add_argument("--over-edges", action="store_true", help=edges)
    same = "of a show's programme channels: 0 different, 1 the same (default: its file's)"
    command.add_argument("--correlation", metavar="R", type=number(0.0, 1.0), help=same)


def number(low: float, high: float) -> Callable[[str], float]:
    """A reader of numbers from `low` to `high`."""

    def parse(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            todo = "; separate several by commas" if any(c in text for c in "; /|") else ""
            raise argparse.ArgumentTypeError(f"must be a number (got {text!r}){todo}") from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"must lie in {low:g} to {high:g} (got {text})")
        return value

    return parse


def place(text: str) -> tuple[float, float, float]:
    """A place, given as X,Y or X,Y,Z."""
    try:
        x, y, z = (float(part) for part in (text if text.count(",") == 2 else f"{text},0").split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be X,Y or X,Y,Z (got {text!r})") from None
    if not all(abs(value) < 1e12 for value in (x, y, z)):
        raise argparse.ArgumentTypeError(f"must be finite numbers (got {text!r})")
    return x, y, z


def points(text: str) -> int | str:
    """Points for each enclosure: 1 to 8, or "auto"."""
    if text == "auto":
        return text
    if text not in ("1", "2", "3", "4", "5", "6", "7", "8"):
        raise argparse.ArgumentTypeError(f"must be 1 to 8, or auto (got {text!r})")
    return int(text)


def frequencies(text: str) -> tuple[float, ...]:
    """Single frequencies, given as F,F,…. [Hz]"""
    parse = number(22.4, 17_780.0)  # the edges of the third octaves that levels are given for
    lines = tuple(parse(part) for part in text.split(",") if part.strip())
    if not lines or len(set(lines)) != len(lines):
        raise argparse.ArgumentTypeError(f"needs different frequencies in Hz, such as 125,1000 (got {text!r})")
    return lines


def map_of(text: str) -> float | str:
    """What a map shows: "A", or an octave. [Hz]"""
    octaves = {f"{hz}": float(hz) for hz in (250, 500, 1000, 2000, 4000, 8000)}
    if text.upper() == "A":
        return "A"
    if text not in octaves:
        raise argparse.ArgumentTypeError(f"must be A or one of {', '.join(octaves)} (got {text!r})")
    return octaves[text]


def steps(text: str) -> tuple[float, ...]:
    """Numbers from A to B in steps, given as A:B:STEP."""
    try:
        low, high, step = (float(part) for part in text.split(":"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be A:B:STEP, such as -4:2:1 (got {text!r})") from None
    if not step > 0 or high < low or (high - low) / step > 200:
        raise argparse.ArgumentTypeError(f"must rise from A to B in at most 200 steps (got {text!r})")
    return tuple(round(low + index * step, 9) for index in range(int((high - low) / step + 1e-9) + 1))


def port(text: str) -> int:
    """A port; 0: any that is free."""
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"must be a port, 1 to 65535 (got {text!r})")
    return int(text)


def processes(text: str) -> int:
    """How many processes may work at a time."""
    if not text.isdecimal() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"must be a whole number, 1 to 256 (got {text!r})")
    return int(text)


def counts(text: str) -> tuple[int, ...]:
    """Numbers of enclosures, given as A:B:STEP or as N,N,…."""
    found = steps(text) if ":" in text else _listed(text)
    whole = tuple(int(value) for value in found)
    if not whole or list(whole) != list(found) or len(set(whole)) != len(whole) or not all(1 <= n <= 64 for n in whole):
        raise argparse.ArgumentTypeError(f"must be different whole numbers, 1 to 64 (got {text!r})")
    return whole


def _listed(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be A:B:STEP or N,N,…, such as 8:12:2 or 8,12 (got {text!r})") from None
