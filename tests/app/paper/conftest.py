"""Reports run in-process: pages as parsed HTML, and what a browser printed of them."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from acoustics.app import cli

BROWSERS, TOOLS = ("chromium", "chromium-browser", "google-chrome"), ("pdfinfo", "pdftotext")
SPLAYS = tuple(range(12))  # all different: none can stand in another's place unseen


class Page(HTMLParser):
    """All table rows as (class, cells), texts of elements by class, and all text in one string."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[tuple[str, list[str]]] = []
        self.by_class: dict[str, list[str]] = {}
        self.text = ""
        self._cell, self._open = False, []  # type: ignore[var-annotated]
        self.feed(re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page, flags=re.S))

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        kinds = (dict(attrs).get("class") or "").split()
        if tag == "tr":
            self.rows.append((" ".join(kinds), []))
        elif tag in ("td", "th"):
            self.rows[-1][1].append("")
            self._cell = True
        if tag in ("p", "ul", "div", "section", "ol"):
            self._open.append((tag, kinds))
            for kind in kinds:
                self.by_class.setdefault(kind, []).append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._cell = False
        if self._open and self._open[-1][0] == tag:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._cell:
            self.rows[-1][1][-1] += data
        for _, kinds in self._open:
            for kind in kinds:
                self.by_class[kind][-1] += data

    def cells(self, kind: str) -> list[list[str]]:
        """Cells of the rows that have a class."""
        return [cells for kinds, cells in self.rows if kind in kinds.split()]


@pytest.fixture
def parsed() -> Callable[[Path], Page]:
    """Reads a page file."""
    return lambda path: Page(path.read_text(encoding="utf-8"))


@pytest.fixture
def hang(sample_venues: Path, tmp_path: Path) -> Callable[..., Path]:
    """The theatre's main with splays that are all different, and some text replaced."""

    def write(*changes: tuple[str, str], splays: Any = SPLAYS) -> Path:
        head = (sample_venues / "theatre" / "left.toml").read_text().split("[[column]]")[0]
        for old, new in changes:
            assert old in head
            head = head.replace(old, new)
        rows = "".join(f'[[column]]\nenclosure = "medium"\nsplay_deg = {float(splay)}\n' for splay in splays)
        (tmp_path / "hang.toml").write_text(head + rows)
        return tmp_path / "hang.toml"

    return write


@pytest.fixture
def report(tmp_path: Path, capsys: Any) -> Callable[..., tuple[int, Path | None, str]]:
    """Status, folder and messages of `evenhang report` on a coarse grid."""

    def run(*arguments: object) -> tuple[int, Path | None, str]:
        asked = ["report", *map(str, arguments), "--grid", "20", "--out", str(tmp_path / "out")]
        code = cli.main(asked)
        said = capsys.readouterr()
        found = re.match(r"written to (.+)/: ", said.out)
        return code, Path(found[1]) if found else None, said.err

    return run


@pytest.fixture
def in_theatre(report: Any, sample_venues: Path) -> Callable[..., tuple[int, Path | None, str]]:
    """The same in the theatre."""
    return lambda hang, *options: report(hang, sample_venues / "theatre" / "venue.toml", *options)


@pytest.fixture(scope="session")
def browser() -> None:
    """Skips a test where nothing is installed to print with, or to look at what was printed."""
    if not any(map(shutil.which, BROWSERS)) or not all(map(shutil.which, TOOLS)):
        pytest.skip("needs Chromium and poppler-utils, to print and to look at what was printed")


@pytest.fixture
def pages_of(browser: None) -> Callable[[Path], list[str]]:
    """Texts of the printed pages of a PDF."""

    def read(pdf: Path) -> list[str]:
        told = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout
        return told.split("\f")[:-1]

    return read


@pytest.fixture
def words_of(browser: None) -> Callable[[Path], list[tuple[str, float, float, float]]]:
    """Every printed word of a PDF: its text, the height of its line, its left and right end, in points."""

    def read(pdf: Path) -> list[tuple[str, float, float, float]]:
        told = subprocess.run(["pdftotext", "-bbox", pdf, "-"], capture_output=True, text=True, check=True).stdout
        form = r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>'
        return [
            (text, float(low) - float(high), float(left), float(right))
            for left, high, right, low, text in re.findall(form, told)
        ]

    return read
