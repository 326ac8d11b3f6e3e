"""What a browser prints: number of pages, the word on each, nothing cut off, nothing too small."""

from __future__ import annotations

import pytest

LONG = "main, stage left (house right), above the orchestra, tour two"
A_WORD = "W" * 60
PAPER_PT = {"A4": 595.3, "letter": 612.0}
LEAST_PT = 10.0


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize(("name", "rows", "most"), [("short", 12, 2), (LONG, 12, 2), (A_WORD, 12, 2), (LONG, 24, 4)])
def test_the_sheet(hang, in_theatre, pages_of, words_of, paper, name, rows, most):
    """Two pages for twelve rows; on each the revision beside the side; body text of 10 pt or more inside the paper."""
    path = hang(("main, stage left (house right)", name), splays=[i % 12 for i in range(rows)])
    _, folder, _ = in_theatre(path, "--sheet", "--pdf", "--paper", paper)
    pages = pages_of(folder / "sheet.pdf")
    assert len(pages) <= most
    revision = folder.name.rsplit("-", 1)[1]
    for page in pages:
        assert revision in page
        assert "stage left (house right)" in page.replace(LONG, "")
    for row in range(1, rows):
        assert any(f"rows {row}–{row + 1}: {row % 12:.1f}°" in page for page in pages)
    printed = words_of(folder / "sheet.pdf")
    body = [word for word in printed if word[0] not in ("page", "of") and not word[0].isdigit()]
    assert min(height for _, height, _, _ in body) >= LEAST_PT
    assert max(height for text, height, _, _ in printed if text == revision) > 23.0
    assert max(right for _, _, _, right in printed) < PAPER_PT[paper] - 25.0
    assert min(left for _, _, left, _ in printed) > 25.0


def test_a_report_has_the_word_on_every_page_also_where_findings_go_on(in_theatre, pages_of, sample_venues):
    _, folder, _ = in_theatre(sample_venues / "theatre" / "left.toml", "--pdf")
    pages = pages_of(folder / "report.pdf")
    revision = folder.name.rsplit("-", 1)[1]
    assert [revision in page for page in pages] == [True] * len(pages)
    assert ["stage left (house right)" in page for page in pages] == [True] * len(pages)
    findings = [index for index, page in enumerate(pages) if "source of the limit; note" in page]
    assert len(findings) > 1  # the head of the table repeats with it
    assert "What it rests on" in pages[-3]


def test_an_advance_sheet_is_one_page(in_theatre, pages_of, sample_venues):
    for paper in ("A4", "letter"):
        _, folder, _ = in_theatre(sample_venues / "theatre" / "left.toml", "--advance", "--pdf", "--paper", paper)
        assert len(pages_of(folder / "advance.pdf")) == 1
