"""Starts the command line, once it is certain that the package `acoustics` found is the project's own.

An unrelated distribution on PyPI installs a package of that name, and whichever came last wins. The
name is looked up at run time: what hangs does not depend on the acoustic side.
"""

from __future__ import annotations

import importlib
import sys


def main() -> int:
    """Run the command line; exit status 2 with a clear message where another `acoustics` stands in the way."""
    try:
        package = importlib.import_module("acoustics")
        ours, place = getattr(package, "EVENHANG", False), str(package.__file__)
    except Exception as error:  # whatever another distribution's import may raise
        ours, place = False, str(error)
    if not ours:
        print(
            f"evenhang: the package 'acoustics' found here is not evenhang's ({place}); the unrelated PyPI "
            "distribution 'acoustics' uses the same name: install evenhang into an environment of its own",
            file=sys.stderr,
        )
        return 2
    cli = importlib.import_module("acoustics.app.cli")
    return int(cli.main())
