"""The command line. Heavy imports wait until a command needs them."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from importlib import metadata
from typing import Any

DONE, EXCEEDS, AT_FAULT, SOME_FAILED, CANNOT_JUDGE, INTERRUPTED = 0, 1, 2, 3, 4, 130

_PREDICT_EXAMPLE = """\
example:
  evenhang predict sample_venues/theatre/left.toml sample_venues/theatre/venue.toml --out results

writes results/HANG-REVISION/ with field.nc (all levels), section.svg, distance.svg and plan.svg
"""


_CHECK_EXAMPLE = """\
example:
  evenhang check sample_venues/theatre/left.toml sample_venues/theatre/venue.toml

exit status: 0 all within, 1 a limit is exceeded, 2 the input is at fault, 4 something cannot be judged
"""


_DESIGN_EXAMPLE = """\
example:
  evenhang design sample_venues/theatre/left.toml sample_venues/theatre/venue.toml

writes results/HANG-REVISION/ with designed.toml, its prediction and its check, and up to five runners-up
exit status: 0 found and all within, 1 nothing within limits was found, 2 the input is at fault, 4 found, but something
cannot be judged, 130 stopped with control-C: the best so far is written
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without “–” still gets the numbers
    parser = _parser()
    asked = parser.parse_args(arguments)
    if asked.command is None:
        parser.print_help()
        return AT_FAULT
    try:
        code = int(asked.run(asked))
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        print("evenhang: interrupted; nothing was left half written", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return DONE
    except OSError as error:
        print(f"evenhang: what it says cannot be written ({error.strerror or error})", file=sys.stderr)
        return AT_FAULT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="evenhang",
        description="Coverage prediction for curved, hung loudspeaker columns.",
        epilog=_PREDICT_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"evenhang {metadata.version('evenhang')}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    predict = commands.add_parser(
        "predict",
        help="the sound field of a hang in a venue: table, pictures, data",
        description="Predict the sound field of a hang in a venue; print a summary, write data and pictures.",
        epilog=_PREDICT_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    predict.add_argument("hang", metavar="HANG", help="hang file (hang/1), or show file (show/1)")
    predict.add_argument("venue", metavar="VENUE", nargs="?", help="venue file (venue/1); a show names its own")
    _add_files(predict)
    _add_mute(predict)
    predict.add_argument("--grid", metavar="M", type=_number(0.1, 20.0), default=1.0, help="cell size, m (default: 1)")
    predict.add_argument("--lines", metavar="F,F,…", type=_frequencies, help="single frequencies, Hz, not bands")
    predict.add_argument("--map", metavar="WHAT", type=_map, help="plan.svg shows A (default) or an octave: 250 … 8000")
    predict.add_argument(
        "--drive", metavar="DB", type=_number(-60.0, 40.0), default=0.0, help="gain of all (default: 0)"
    )
    predict.add_argument("--programme", choices=("pink", "sloped"), help="spectrum (default: pink)")
    predict.add_argument(
        "--points", metavar="N", type=_points, default=1, help="points for each enclosure: 1 (default) to 8, or auto"
    )
    predict.add_argument(
        "--over-edges",
        action="store_true",
        help="weaken hidden rows as behind one edge (ISO 9613-2), not leave them out",
    )
    predict.add_argument(
        "--average-below",
        metavar="DB",
        type=_number(0.0, 40.0),
        help="how far the event's average lies below the drive, for the note on hearing (default: 0)",
    )
    predict.add_argument(
        "--correlation",
        metavar="R",
        type=_number(0.0, 1.0),
        help="of a show's programme channels: 0 different, 1 the same (default: its file's)",
    )
    predict.add_argument("--json", action="store_true", help="print the summary for programs")
    predict.set_defaults(run=_predict)
    check = commands.add_parser(
        "check",
        help="rigging: may it hang, and how is it built and landed",
        description="Judge a hang against rated limits: picks, joints, hoists, bridles, points, stages.",
        epilog=_CHECK_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    check.add_argument("hang", metavar="HANG", help="hang file (hang/1), or show file (show/1)")
    check.add_argument("venue", metavar="VENUE", nargs="?", help="venue file (venue/1), for points and heights")
    _add_files(check, judges=True, out=False)
    check.add_argument("--out", metavar="DIR", help="write check.txt and check.json there as well")
    check.add_argument("--json", action="store_true", help="print the report for programs")
    check.set_defaults(run=_check)
    _add_design(commands)
    _add_report(commands)
    _add_compare(commands)
    return parser


def _add_mute(command: argparse.ArgumentParser) -> None:
    what = "what if a row is silent; of a show PART:ROW"
    command.add_argument("--mute", metavar="ROW", action="append", default=[], help=what)


def _add_files(command: argparse.ArgumentParser, *, judges: bool = False, out: bool = True) -> None:
    """Folders that every command knows, and what a command that judges a hang reads besides."""
    if out:
        command.add_argument(
            "--out", metavar="DIR", default="results", help="folder for the results (default: results)"
        )
    command.add_argument("--equipment", metavar="DIR", action="append", default=[], help="add a folder of equipment")
    if judges:
        command.add_argument("--policy", metavar="FILE", help="policy file, or over_people (default) or no_people")
        beside = "another hang on the same venue points"
        command.add_argument("--beside", metavar="HANG", action="append", default=[], help=beside)
        less = "what if a point carries no more than this"
        command.add_argument("--limit", metavar="POINT=KG", action="append", default=[], help=less)


def _add_design(commands: Any) -> None:
    design = commands.add_parser(
        "design",
        help="choose splays, tilt and trim for even level, within the rigging's limits",
        description="Search allowed splays, tilts and trims of a hang for even level; judge and predict the answer.",
        epilog=_DESIGN_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    design.add_argument("hang", metavar="HANG", help="hang file (hang/1), or show file (show/1)")
    design.add_argument("venue", metavar="VENUE", nargs="?", help="venue file (venue/1); a show names its own")
    design.add_argument("--hang", metavar="NAME", dest="of_show", help="which hang of a show")
    _add_mute(design)
    _add_files(design, judges=True)
    design.add_argument("--grid", metavar="M", type=_number(0.1, 20.0), default=1.0, help="cell size, m (default: 1)")
    design.add_argument("--seconds", metavar="S", type=_number(0.1, 86_400.0), help="search so long, not a set number")
    design.add_argument("--seed", metavar="N", type=int, default=0, help="of the search (default: 0)")
    design.add_argument(
        "--robust", action="store_true", help="choose by the 90th percentile of J as built, not by J as drawn"
    )
    design.add_argument("--shade", action="store_true", help="choose gains of the drive groups, after the splays")
    design.add_argument("--correct", action="store_true", help="filters for all rows towards the wished spectrum")
    design.add_argument("--prove", action="store_true", help="go through every choice, for columns small enough")
    design.add_argument("--json", action="store_true", help="print the answer for programs")
    design.set_defaults(run=_design)


def _add_report(commands: Any) -> None:
    report = commands.add_parser(
        "report",
        help="one page file with coverage, rigging and the crew's sheet",
        description="Predict and judge a hang; write one HTML file to read, print and hand out.",
    )
    report.add_argument("hang", metavar="HANG", help="hang file (hang/1)")
    report.add_argument("venue", metavar="VENUE", nargs="?", help="venue file (venue/1)")
    _add_files(report, judges=True)
    report.add_argument("--grid", metavar="M", type=_number(0.1, 20.0), default=1.0, help="cell size, m (default: 1)")
    report.add_argument(
        "--drive", metavar="DB", type=_number(-60.0, 40.0), default=0.0, help="gain of all (default: 0)"
    )
    report.add_argument("--programme", choices=("pink", "sloped"), help="spectrum (default: pink)")
    report.add_argument("--sheet", action="store_true", help="the crew's sheet alone")
    report.add_argument("--pdf", action="store_true", help="as PDF too, where Chromium is installed")
    report.set_defaults(run=_report)


def _add_compare(commands: Any) -> None:
    compare = commands.add_parser(
        "compare",
        help="hangs, tilts, trims and temperatures side by side",
        description="Predict and judge every option; one table, and the most even one that exceeds no limit.",
    )
    compare.add_argument("files", metavar="HANG… VENUE", nargs="+", help="hang files, then the venue file")
    _add_files(compare, judges=True)
    _add_mute(compare)
    for name, what in (("tilt", "tilts, deg"), ("trim", "trims, m"), ("temperature", "air, °C")):
        compare.add_argument(f"--{name}", metavar="A:B:STEP", type=_steps, help=f"{what}: from A to B in steps")
    compare.add_argument("--grid", metavar="M", type=_number(0.1, 20.0), default=2.0, help="cell size, m (default: 2)")
    compare.add_argument("--json", action="store_true", help="print the table for programs")
    compare.set_defaults(run=_compare)


def _compare(asked: argparse.Namespace) -> int:
    from acoustics.app import compare

    return compare.run(asked)


def _steps(text: str) -> tuple[float, ...]:
    try:
        low, high, step = (float(part) for part in text.split(":"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be A:B:STEP, such as -4:2:1 (got {text!r})") from None
    if not step > 0 or high < low or (high - low) / step > 200:
        raise argparse.ArgumentTypeError(f"must rise from A to B in at most 200 steps (got {text!r})")
    return tuple(round(low + index * step, 9) for index in range(int((high - low) / step + 1e-9) + 1))


def _report(asked: argparse.Namespace) -> int:
    from acoustics.app import report

    return report.run(asked)


def _predict(asked: argparse.Namespace) -> int:
    from acoustics.app import predict
    from acoustics.app.folder import is_show

    if not is_show(asked.hang):
        return predict.run(asked)
    from acoustics.app import show

    return show.run(asked)


def _check(asked: argparse.Namespace) -> int:
    from acoustics.app import check
    from acoustics.app.folder import is_show

    if not is_show(asked.hang):
        return check.run(asked)
    from acoustics.app import show_check

    return show_check.run(asked)


def _design(asked: argparse.Namespace) -> int:
    from acoustics.app import design

    return design.run(asked)


def _number(low: float, high: float):  # type: ignore[no-untyped-def]
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


def _points(text: str) -> int | str:
    if text == "auto":
        return text
    if text not in ("1", "2", "3", "4", "5", "6", "7", "8"):
        raise argparse.ArgumentTypeError(f"must be 1 to 8, or auto (got {text!r})")
    return int(text)


def _frequencies(text: str) -> tuple[float, ...]:
    parse = _number(22.4, 17_780.0)  # the edges of the third octaves that levels are given for
    lines = tuple(parse(part) for part in text.split(",") if part.strip())
    if not lines or len(set(lines)) != len(lines):
        raise argparse.ArgumentTypeError(f"needs different frequencies in Hz, such as 125,1000 (got {text!r})")
    return lines


def _map(text: str) -> float | str:
    octaves = {f"{hz}": float(hz) for hz in (250, 500, 1000, 2000, 4000, 8000)}
    if text.upper() == "A":
        return "A"
    if text not in octaves:
        raise argparse.ArgumentTypeError(f"must be A or one of {', '.join(octaves)} (got {text!r})")
    return octaves[text]
