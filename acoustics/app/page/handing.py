"""What the page hands out: the crew's sheet as it will print, the report, the hang file."""

from __future__ import annotations

from importlib import metadata
from urllib.parse import quote

from acoustics.app import folder
from acoustics.app.crew_sheet import crew
from acoustics.app.outcome import outcome_of
from acoustics.app.page.desk import Snapshot
from acoustics.app.page.showing import judged
from acoustics.app.pages import render
from acoustics.app.report_data import hang_values, heading
from acoustics.prediction import Options
from rigging.cautions import CAUTIONS

Made = tuple[str, str, bytes]


def made(now: Snapshot, what: str) -> Made | None:
    """File name (for a header), media type and content of what is asked for; None where there is no such thing.

    Raises
    ------
    FileFaults
        If the hang cannot be predicted or judged.
    """
    maker = {"sheet": _sheet, "report": _report, "hang": _hang}.get(what)
    return None if maker is None else maker(now)


def _sheet(now: Snapshot) -> Made:
    report = judged(now)
    head = {
        "hang": now.hang.name,
        "venue": now.loaded.venue.name,
        "design": report.design,
        "revision": report.revision,
        "version": metadata.version("evenhang"),
        "cautions_": list(CAUTIONS),
    }
    page = render("sheet.html", {**head, "sheets": [crew(report)]})
    return _name(now, f"sheet-{report.revision}.html"), "text/html", page.encode()


def _report(now: Snapshot) -> Made:
    options = Options(now.ground.grid_m, drive_db=now.work.drive_db)
    loaded, ground = now.loaded, now.ground
    outcome = outcome_of(
        now.hang, (loaded.venue, loaded.document), ground.catalogue, ground.policy, loaded.others(now.held), options
    )
    page = render("report.html", hang_values(outcome))
    revision = heading(outcome.summary)["revision"]
    return _name(now, f"report-{revision}.html"), "text/html", page.encode()


def _hang(now: Snapshot) -> Made:
    text = now.work.texts.get(now.held, now.hang.document.text)
    return quote(now.held.name), "application/toml", text.encode()


def _name(now: Snapshot, end: str) -> str:
    return quote(f"{folder.slug(now.hang.name)}-{end}")
