"""Exit statuses of the commands, and how a command ends on input that is at fault."""

from __future__ import annotations

import argparse
import functools
import sys
from collections.abc import Callable, Iterable

from rigging import findings as words
from rigging.faults import FileFaults
from rigging.findings import Finding, counts

DONE, EXCEEDS, AT_FAULT, SOME_FAILED, CANNOT_JUDGE, INTERRUPTED = 0, 1, 2, 3, 4, 130
DIFFERS = 1  # of `unpack`: words or figures are not those of the pack


def of_findings(findings: Iterable[Finding]) -> int:
    """The status that findings give: one exceeds a limit, one cannot be judged, or all are within."""
    found = counts(list(findings))
    return EXCEEDS if found[words.EXCEEDS] else CANNOT_JUDGE if found[words.CANNOT] else DONE


def refusing(run: Callable[[argparse.Namespace], int]) -> Callable[[argparse.Namespace], int]:
    """A command that tells each fault of its input in a line of its own on standard error, and ends with status 2."""

    @functools.wraps(run)
    def wrapped(asked: argparse.Namespace) -> int:
        try:
            return run(asked)
        except FileFaults as error:
            for fault in error.faults:
                print(fault, file=sys.stderr)
            return AT_FAULT

    return wrapped
