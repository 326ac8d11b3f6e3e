"""Starts the command line, once it is certain that the package `acoustics` found is the project's own.

An unrelated distribution on PyPI installs a package of that name, and whichever came last wins. The
name is looked up at run time: what hangs does not depend on the acoustic side.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys


def main() -> int:
    """Run the command line; exit status 2 with a clear message where another `acoustics` stands in the way."""
    place = "no place"
    try:
        found = importlib.util.find_spec("acoustics")
        place = str(found.origin) if found else place
        ours = getattr(importlib.import_module("acoustics"), "EVENHANG", False)
    except (Exception, SystemExit):  # whatever another distribution's import may do
        ours = False
    if not ours:
        print(
            f"evenhang: the package 'acoustics' found here is not evenhang's ({place}); the unrelated PyPI "
            "distribution 'acoustics' uses the same name: install evenhang into an environment of its own",
            file=sys.stderr,
        )
        return 2
    cli = importlib.import_module("acoustics.app.cli")
    return int(cli.main())
