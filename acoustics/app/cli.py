"""The command line. Heavy imports wait until a command needs them."""

from __future__ import annotations

import argparse
import importlib
import io
import sys
from collections.abc import Sequence
from importlib import metadata

from acoustics.app.commands import ALL, PREDICT_EXAMPLE
from acoustics.app.status import AT_FAULT, DONE, INTERRUPTED


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
        code = _run(asked)
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
        epilog=PREDICT_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"evenhang {metadata.version('evenhang')}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for add in ALL:
        add(commands)
    return parser


def _run(asked: argparse.Namespace) -> int:
    """Run the module of a command, or its other one where it is given a show."""
    from acoustics.app.folder import is_show

    name = asked.module
    if "show_module" in asked and is_show(asked.hang):
        name = asked.show_module
    return int(importlib.import_module(f"acoustics.app.{name}").run(asked))
