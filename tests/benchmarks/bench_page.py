"""From a key to the painted picture on `evenhang page`: 16 enclosures, 29 third octaves, 6,000 plan positions.

Server and browser on one machine, in one run. Needs the test extra (playwright) and a Chromium; see `--chromium`.
A picture counts as painted when the screen refresh after its drawing has begun.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright

from acoustics.listening import sample_area
from acoustics.venue import load_venue
from rigging.rewrite import with_count

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_venues/theatre"
COMMAND = "import sys; from rigging.launch import main; sys.exit(main())"
ENCLOSURES, POSITIONS = 16, 6_000

# Times of keys, and of the first refresh after each painting, by the page's own clock.
WATCH = """
() => {
  window.keys = []; window.paints = [];
  addEventListener("keydown", (event) => window.keys.push(event.timeStamp), true);
  const note = () => { const { painted, settled } = document.body.dataset;
    requestAnimationFrame(() => { window.paints.push([performance.now(), Number(painted), settled === "true"]);
      window.wake?.(); }); };
  new MutationObserver(note).observe(document.body, { attributes: true, attributeFilter: ["data-painted"] });
}
"""
# Asking again and again would take the time that is measured.
WAIT = "(count) => new Promise((done) => (window.wake = () => window.paints.length > count && done())())"


def grid_for(positions: int) -> float:
    """The coarsest grid, in centimetres, that gives so many plan positions in the theatre."""
    venue, _ = load_venue(SAMPLE / "venue.toml")
    areas = [area for area in venue.area if area.role != "obstacle"]
    for grid in np.arange(1.0, 0.1, -0.01):
        if sum(len(sample_area(area, float(grid))[0]) for area in areas) >= positions:
            return round(float(grid), 2)
    raise ValueError(f"no grid gives {positions} positions")


@contextlib.contextmanager
def served(folder: Path, grid_m: float) -> Iterator[str]:
    """The address of a page of the theatre's hang with `ENCLOSURES`."""
    shutil.copy(SAMPLE / "venue.toml", folder)
    text = (SAMPLE / "left.toml").read_text(encoding="utf-8")
    (folder / "left.toml").write_text(with_count(text, ENCLOSURES), encoding="utf-8")
    asked = ["page", "left.toml", "venue.toml", "--no-browser", "--grid", str(grid_m)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, *asked], cwd=folder, env=environment, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        yield process.stdout.readline().split()[-1]
    finally:
        process.terminate()
        process.wait(30)
        process.stdout.close()


def settled(page: Page) -> None:
    """Wait for the exact picture."""
    page.locator("body[data-settled='true']").wait_for(timeout=120_000)
    page.wait_for_timeout(300)


def keys_to_pictures(page: Page, moves: int) -> tuple[np.ndarray, np.ndarray]:
    """Milliseconds from each key to its picture; and from the last key of each run to the exact picture."""
    slider, waits, rests = page.locator("#tilt_deg"), [], []
    slider.focus()
    for move in range(moves):
        paints = page.evaluate("() => window.paints.length")
        slider.press("ArrowUp" if move % 40 < 20 else "ArrowDown")
        page.evaluate(WAIT, paints)
        pressed, painted = page.evaluate("() => [window.keys.at(-1), window.paints]")
        waits.append(painted[paints][0] - pressed)
        if move % 20 == 19:
            settled(page)
            pressed, painted = page.evaluate("() => [window.keys.at(-1), window.paints]")
            rests.append(next(at for at, _, exact in painted if exact and at > pressed) - pressed)
    return np.array(waits), np.array(rests)


def drag(page: Page, steps: int, seconds: float) -> int:
    """Pictures while the column is dragged in so many steps."""
    handle = page.locator("#section-trim")
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0
    page.mouse.move(x, y)
    page.mouse.down()
    before = page.evaluate("() => window.paints.length")
    for step in range(steps):
        page.mouse.move(x, y + (step + 1 if step < steps / 2 else steps - step))
        page.wait_for_timeout(1000.0 * seconds / steps)
    page.mouse.up()
    return int(page.evaluate("() => window.paints.length")) - before


def main() -> None:
    """Measure and print a table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--moves", type=int, default=100)
    asked.add_argument("--positions", type=int, default=POSITIONS)
    asked.add_argument("--chromium", default=shutil.which("chromium") or shutil.which("chromium-browser"))
    given = asked.parse_args()
    grid_m = grid_for(given.positions)
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), grid_m) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=given.chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.goto(address)
        settled(page)
        page.evaluate(WATCH)
        keys_to_pictures(page, 10)  # tables are made, code is compiled
        waits, rests = keys_to_pictures(page, given.moves)
        pictures = drag(page, 40, 4.0)
        browser.close()
    print(f"{ENCLOSURES} enclosures, 29 bands, {given.positions} plan positions (grid {grid_m} m), {given.moves} moves")
    print("| what                                    |  median |    95 % |")
    print("| --------------------------------------- | ------- | ------- |")
    print(f"| key to painted picture, ms              | {np.median(waits):7.0f} | {np.percentile(waits, 95):7.0f} |")
    print(f"| last key to the exact picture, ms       | {np.median(rests):7.0f} | {np.percentile(rests, 95):7.0f} |")
    print(f"| pictures of a drag of 40 steps in 4 s   | {pictures:7d} |         |")


if __name__ == "__main__":
    main()
