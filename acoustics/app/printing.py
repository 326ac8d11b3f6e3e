"""From a page to paper: a browser that is installed prints it to PDF."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
HOW = "print the HTML file from any browser, at 100 %, with its own page header and footer off"
_PRINT_S = 120


class NotPrinted(Exception):
    """Why there is no PDF, as a part of a sentence."""


def pdf_of(page: str) -> bytes:
    """A page printed to PDF.

    Raises
    ------
    NotPrinted
        If no browser is installed, or it does not print.
    """
    browser = next((found for found in map(shutil.which, BROWSERS) if found), None)
    if browser is None:
        raise NotPrinted("needs Chromium, which is not installed")
    with tempfile.TemporaryDirectory() as work:
        source, printed = Path(work) / "page.html", Path(work) / "page.pdf"
        source.write_text(page, encoding="utf-8")
        command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"]
        command += ["--disable-background-networking", f"--user-data-dir={work}/user", "--no-pdf-header-footer"]
        try:
            subprocess.run(
                [*command, f"--print-to-pdf={printed}", source.as_uri()],
                check=True,
                capture_output=True,
                timeout=_PRINT_S,
            )
        except (subprocess.SubprocessError, OSError) as error:
            raise NotPrinted(f"did not work: {browser} did not print ({error})") from None
        if not printed.exists():
            raise NotPrinted(f"did not work: {browser} printed nothing")
        return printed.read_bytes()
