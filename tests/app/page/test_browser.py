"""The page in a browser: every action done with mouse or keys, and read back from what is shown."""

from __future__ import annotations

import json
import os
import shutil
import signal
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

NEEDED = "EVENHANG_NEEDS_BROWSER"  # set where a test that is skipped for want of a browser is a failure
LONG_MS = 120_000


def _missing(why: str) -> None:
    if os.environ.get(NEEDED):
        pytest.fail(f"{why}, and {NEEDED} is set")
    pytest.skip(f"{why}: the page is not looked at")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium, or another that is installed, driven by Playwright."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        _missing("no Chromium is installed")
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        _missing("playwright is not installed")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield opened
        opened.close()


class Shown:
    """What somebody sees and does in one window."""

    def __init__(self, browser: Any, served: Any, **context: Any) -> None:
        self.served = served
        self.context = browser.new_context(viewport={"width": 1280, "height": 720}, accept_downloads=True, **context)
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.wrong: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("console", lambda said: self.wrong.append(said.text) if said.type == "error" else None)
        self.page.goto(served.address)
        self.settle()

    def settle(self) -> None:
        """Wait until all that was asked is shown, and exact."""
        ends = time.monotonic() + LONG_MS / 1000.0
        while time.monotonic() < ends:
            self.page.wait_for_timeout(30)
            asked, painted, settled = self.page.evaluate(
                "() => { const { asked, painted, settled } = document.body.dataset; return [asked, painted, settled]; }"
            )
            if settled == "true" and int(painted) >= int(asked or 0):
                return
        raise AssertionError(f"nothing was shown of message {asked}: painted {painted}, settled {settled}")

    def figure(self, name: str) -> float:
        """A figure, as it is shown."""
        node = self.page.locator(f"[data-figure='{name}']").first
        return float(node.get_attribute("data-value") or "nan")

    def text(self, name: str) -> str:
        """A text, as it is shown."""
        return str(self.page.locator(f"[data-figure='{name}']").first.text_content())

    def press(self, where: str, *keys: str) -> None:
        """Focus something and press keys."""
        self.page.locator(where).focus()
        for key in keys:
            self.page.keyboard.press(key)
        self.settle()

    def click(self, where: str) -> None:
        self.page.locator(where).click()
        self.settle()

    def drag(self, where: str, by_x: float, by_y: float) -> None:
        """Drag something with the mouse, in steps."""
        node = self.page.locator(where)
        node.scroll_into_view_if_needed()
        box = node.bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        for step in range(1, 6):
            self.page.mouse.move(x + by_x * step / 5.0, y + by_y * step / 5.0)
            self.page.wait_for_timeout(60)
        self.page.mouse.up()
        self.settle()

    def type_number(self, what: str, value: float) -> None:
        entry = self.page.locator(f"#{what}-number")
        entry.fill(str(value))
        entry.press("Enter")
        self.settle()

    def choose(self, where: str, **what: Any) -> None:
        self.page.locator(where).select_option(**what)
        self.settle()

    def close(self) -> None:
        """Leave, with nothing wrong in the page's own programs."""
        self.context.close()
        assert self.wrong == []


@pytest.fixture
def shown(browser: Any, page: Any) -> Iterator[Shown]:
    """The theatre's page in a window."""
    window = Shown(browser, page)
    yield window
    window.close()


def saved(shown: Shown, folder: Path, name: str) -> dict[str, Any]:
    """The hang in hand as a file."""
    shown.page.locator("#save-as").click()
    shown.page.locator("#save-as-name").fill(name)
    shown.page.locator("#save-as-form button[value='save']").click()
    shown.page.locator("#banner-notice", has_text=name).wait_for()
    return tomllib.loads((folder / name).read_text())


def test_place_and_tilt_by_keys_numbers_and_mouse(shown: Shown, theatre: Path) -> None:
    mean = shown.figure("mean_db")
    shown.press("#tilt_deg", "ArrowDown", "ArrowDown", "ArrowDown")
    assert shown.figure("tilt_deg") == pytest.approx(1.7)
    assert shown.figure("mean_db") != mean
    shown.type_number("trim_m", 9.5)
    shown.type_number("azimuth_deg", -7.5)
    shown.press("#x_m-number", "ArrowUp")
    shown.press("#y_m-number", "ArrowDown")
    file = saved(shown, theatre, "moved.toml")
    assert (file["tilt_deg"], file["azimuth_deg"]) == (1.7, -7.5)
    assert file["position_m"] == pytest.approx([-0.2, 6.4, 9.5])
    before = shown.figure("tilt_deg"), shown.figure("trim_m"), shown.figure("azimuth_deg"), shown.figure("y_m")
    shown.drag("#section-tilt", 40.0, 10.0)
    shown.drag("#section-trim", 0.0, -20.0)
    shown.drag("#plan-aim", 0.0, -15.0)
    shown.drag("#plan-hang", 0.0, 10.0)
    assert shown.figure("tilt_deg") > before[0]
    assert shown.figure("trim_m") > before[1]
    assert shown.figure("azimuth_deg") > before[2]  # up is stage left
    assert shown.figure("y_m") < before[3]
    for _ in range(9):  # three keys were one run, each drag one step
        shown.click("#undo")
    assert (shown.figure("tilt_deg"), shown.figure("trim_m")) == (2.0, 10.6)
    assert shown.page.locator("#undo").is_disabled()
    shown.page.keyboard.press("Control+Shift+Z")
    shown.settle()
    assert shown.figure("tilt_deg") == pytest.approx(1.7)
    shown.page.keyboard.press("Control+Z")
    shown.settle()
    assert shown.figure("tilt_deg") == 2.0


def test_joints_rows_types_holes_and_arms(shown: Shown, theatre: Path) -> None:
    shown.press("#splay-4", "ArrowUp")
    shown.click("[data-test='splay-5-less']")
    shown.page.locator("#splay-6").focus()
    shown.page.locator("#splay-6").hover()
    shown.page.mouse.wheel(0, -100)
    shown.settle()
    assert [shown.figure(f"splay_{row}") for row in (4, 5, 6)] == [3.0, 2.0, 4.0]
    shown.click("#add-bottom")
    shown.click("#add-top")
    assert "14 enclosures" in shown.text("built_words")
    shown.click("#remove-bottom")
    shown.click("#remove-top")
    shown.choose("#pick-1", value="frame 3")
    shown.choose("#arm", value="arm-large")
    file = saved(shown, theatre, "built.toml")
    assert len(file["column"]) == 12
    assert [row["splay_deg"] for row in file["column"]][3:6] == [3.0, 2.0, 4.0]
    assert file["pick"][0]["hole"] == "3"
    assert file["arm"] == {"type": "arm-large", "end": "rear"}
    shown.page.locator("#type-all").select_option(value="compact")  # which does not fit this frame
    shown.page.locator("#banner-notice", has_text="does not mate").wait_for()
    assert len(saved(shown, theatre, "same.toml")["column"]) == 12
    shown.choose("#type-all", value="large")
    assert {row["enclosure"] for row in saved(shown, theatre, "other.toml")["column"]} == {"large"}


def test_air_drive_and_wish_move_levels(shown: Shown) -> None:
    mean, near, highest = shown.figure("mean_db"), shown.figure("near_target_pct"), shown.figure("highest_db")
    shown.type_number("drive_db", -6)
    assert shown.figure("mean_db") == pytest.approx(mean - 6.0, abs=1e-3)
    assert shown.figure("highest_db") == pytest.approx(highest, abs=1e-6)  # of all gain, from where the file has it
    shown.type_number("drive_db", 0)
    shown.type_number("temperature_c", 40)
    shown.type_number("relative_humidity_pct", 10)
    assert shown.figure("mean_db") != mean
    assert "40" in str(shown.page.locator("#temperature_c-number").input_value())
    shown.type_number("fall_db", 3)
    assert shown.figure("near_target_pct") != near


def test_figures_are_those_of_predict(shown: Shown, theatre: Path, run: Callable[..., Any]) -> None:
    shown.press("#tilt_deg", "ArrowUp", "ArrowUp")
    shown.press("#splay-9", "ArrowDown")
    file = saved(shown, theatre, "now.toml")
    assert file["tilt_deg"] == 2.2
    ran = run(theatre, "predict", "now.toml", "venue.toml", "--grid", "2", "--json")
    whole = json.loads(ran.stdout)["whole"]
    assert shown.figure("mean_db") == pytest.approx(whole["level_a_mean_db"], abs=1e-3)
    assert shown.figure("spread_db") == pytest.approx(whole["level_a_p5_p95_db"], abs=1e-3)
    assert shown.figure("worst_from_mean_db") == pytest.approx(whole["worst_seat"]["from_mean_db"], abs=1e-3)
    assert shown.text("mean_db").split() == [f"{whole['level_a_mean_db']:.1f}", "dB(A)"]


def test_a_pinned_option_is_compared_and_swapped(shown: Shown) -> None:
    tilt, mean = shown.figure("tilt_deg"), shown.figure("mean_db")
    shown.page.locator("body").press("p")
    shown.settle()
    shown.type_number("tilt_deg", -5)
    assert "tilt 2° → -5°" in shown.text("pinned_differs")
    assert shown.figure("pinned_mean_db") == pytest.approx(mean, abs=1e-6)
    off = shown.figure("now_mean_db") - shown.figure("pinned_mean_db")
    assert shown.figure("difference_mean_db") == pytest.approx(off, abs=1e-6)
    shown.click("#swap")
    assert (shown.figure("tilt_deg"), shown.figure("mean_db")) == (tilt, pytest.approx(mean, abs=1e-3))
    shown.click("#unpin")
    assert shown.page.locator("#pinned").is_hidden()


def test_the_three_questions_by_keys(shown: Shown) -> None:
    shown.page.locator("body").press("2")
    assert shown.figure("within") > 60
    assert shown.figure("exceeds") == 0
    assert shown.figure("reach_low_deg") < 2.0 < shown.figure("reach_high_deg")
    shown.type_number("tilt_deg", -15)
    assert shown.figure("exceeds") > 0
    assert "out of reach" in shown.page.locator("#answer-hang").text_content()
    shown.page.locator("#ask-hang").focus()  # a digit in a number field is part of the number
    shown.page.keyboard.press("3")
    sheet = shown.page.frame_locator("#sheet")
    sheet.locator("text=rows 3–4").first.wait_for()
    for what, end in (("sheet", ".html"), ("report", ".html"), ("hang", ".toml")):
        with shown.page.expect_download(timeout=LONG_MS) as download:
            shown.page.locator(f"#download-{what}").click()
        assert download.value.suggested_filename.endswith(end)
        assert Path(download.value.path()).stat().st_size > 500
    assert "qualified person" in shown.text("cautions")
    assert shown.page.locator("#cautions").is_visible()


def test_hangs_of_the_venue_one_or_all(shown: Shown) -> None:
    one = shown.figure("mean_db")
    shown.click("label:has(#hear-sum)")
    assert one < shown.figure("mean_db") < one + 6.1
    shown.choose("#held", index=1)
    assert shown.figure("y_m") == -6.5
    assert shown.page.locator("#tilt_deg").is_disabled()
    assert "mirror" in shown.page.locator("#why-not").text_content()


def test_maps_and_curves(shown: Shown) -> None:
    for value in ("250", "8000", "A"):
        shown.choose("#map-of", value=value)
    canvas = shown.page.locator("#plan-canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    shown.page.mouse.move(box["x"] + 0.45 * box["width"], box["y"] + 0.4 * box["height"])
    assert "dB" in shown.text("plan_readout")
    shown.page.locator("#rows-canvas").focus()
    shown.page.keyboard.press("ArrowRight")
    assert "row 1" in shown.text("row_readout")


def test_a_search_runs_is_stopped_and_taken(shown: Shown) -> None:
    shown.page.locator("#search-panel summary").click()
    shown.page.locator("#search-seconds").fill("600")
    shown.page.locator("#search-start").click()
    shown.page.locator("[data-figure='search_best_db']").wait_for(timeout=2 * LONG_MS)
    before = shown.figure("j_db")
    shown.page.locator("#search-stop").click()
    take = shown.page.locator("#take-0")
    take.wait_for(timeout=LONG_MS)
    take.click()
    shown.settle()
    assert shown.figure("j_db") < before
    shown.click("#undo")
    assert shown.figure("j_db") == pytest.approx(before, abs=1e-3)


def test_opening_saving_and_what_changes_on_disk(shown: Shown, theatre: Path) -> None:
    text = (theatre / "left.toml").read_text()
    shown.type_number("tilt_deg", 1)
    assert shown.text("saved") == "not saved"
    shown.page.keyboard.press("Control+S")
    shown.page.locator("[data-figure='saved']", has_text="saved").and_(shown.page.locator(":not(.unsaved)")).wait_for()
    assert (theatre / "left.toml").read_text() == text.replace("tilt_deg = 2.0", "tilt_deg = 1.0")
    (theatre / "left.toml").write_text(text.replace("tilt_deg = 2.0", "tilt_deg = -3.0"))
    shown.page.locator("#banner-disk").wait_for(timeout=LONG_MS)
    shown.click("#reload")
    assert shown.figure("tilt_deg") == -3.0
    shown.page.locator("#open").click()
    shown.page.locator("#open-list button", has_text="pulled.toml").click()
    shown.settle()
    assert "pulled" in str(shown.page.locator("[data-figure='saved']").get_attribute("title"))


def test_work_outlives_browser_and_server(browser: Any, page: Any, theatre: Path, start: Callable[..., Any]) -> None:
    first = Shown(browser, page)
    first.type_number("tilt_deg", 0.5)
    first.close()
    second = Shown(browser, page)
    assert second.figure("tilt_deg") == 0.5  # the browser went, the server has it
    second.page.wait_for_timeout(1500)
    page.end(signal.SIGKILL)
    second.page.locator("#banner-link").wait_for()
    second.close()
    third = Shown(browser, start(theatre, "left.toml", "venue.toml", "--grid", "2"))
    assert third.figure("tilt_deg") == 2.0
    third.click("#resume")
    assert third.figure("tilt_deg") == 0.5
    third.close()


def test_nothing_leaves_this_machine_and_nothing_is_cramped(shown: Shown, browser: Any, page: Any) -> None:
    shown.page.locator("body").press("3")
    shown.page.frame_locator("#sheet").locator("text=rows 3–4").first.wait_for()
    assert len(shown.asked) > 10
    assert {urlsplit(url).hostname for url in shown.asked if not url.startswith("data:")} == {"127.0.0.1"}
    for width, height in ((1280, 720), (1024, 768), (800, 1280)):
        for scheme in ("light", "dark"):
            small = Shown(browser, page, color_scheme=scheme)
            small.page.set_viewport_size({"width": width, "height": height})
            small.page.wait_for_timeout(300)
            for key in "123":
                small.page.locator("body").press(key)
                over = small.page.evaluate(
                    "document.documentElement.scrollWidth - document.documentElement.clientWidth"
                )
                assert over <= 0, (width, scheme, key)
            small.close()
