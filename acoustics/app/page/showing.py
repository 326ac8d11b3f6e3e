"""From the desk to frames: what every window is sent after a change."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy.typing as npt

from acoustics.app.page import judgement, picture
from acoustics.app.page.desk import Desk, Pinned, Snapshot
from acoustics.app.page.frames import frame
from acoustics.app.page.picture import Quicks
from acoustics.app.page.scene import Seen, place_of, scene, seen
from acoustics.app.page.work import Ground, Loaded
from acoustics.charts import Kept
from acoustics.live import WHY
from rigging.check import Report, check
from rigging.findings import CANNOT, EXCEEDS, counts
from rigging.hang import Hang

FIGURES = ("tilt_deg", "trim_m", "azimuth_deg", "x_m", "y_m")


class Showing:
    """Frames of a desk; keeps what did not change from one to the next."""

    def __init__(self) -> None:
        self._quicks, self._pinned_quicks, self._tables = Quicks(), Quicks(), Kept()
        self._seen: tuple[Any, Seen] | None = None
        self._exact: tuple[Any, Seen, picture.Heard] | None = None

    def state(self, desk: Desk) -> bytes:
        """The frame of the hang in hand: numbers, findings, files."""
        now = desk.snapshot()
        report = judged(now)
        head: dict[str, Any] = {
            "kind": "state",
            "n": now.n,
            **judgement.hang_values(now.loaded, now.work, now.hang, report, now.ground.catalogue),
            "hangs": [_listed(now, path, hang) for path, hang in now.loaded.hangs.items()],
            "sum": now.sum,
            "show": None if now.loaded.show is None else now.loaded.show.name,
            "pinned": None if now.pinned is None else _pinned(now.pinned, now, report),
            "files": files(desk),
            "undo": len(desk.past),
            "redo": len(desk.future),
        }
        return frame(head)

    def scene(self, now: Snapshot) -> bytes | None:
        """The frame of what the hang in hand has before it; None where that is what it was."""
        key = (now.held, place_of(now.hang))
        if self._seen is not None and self._seen[0] == key:
            return None
        view = seen(now.ground, now.loaded, now.hang)
        self._seen = key, view
        return self.scene_again(now)

    def scene_again(self, now: Snapshot) -> bytes:
        """The same once more, for a window that was not there."""
        if self._seen is None:
            self._seen = (now.held, place_of(now.hang)), seen(now.ground, now.loaded, now.hang)
        return frame(*scene(now.ground, now.loaded, now.hang, self._seen[1]))

    def field(self, now: Snapshot, tell: Callable[[int, int], None] | None = None, *, exact: bool) -> bytes:
        """The frame of the levels: quick ones, or exact ones that are told to `tell` block by block."""
        assert self._seen is not None
        view, catalogue = self._seen[1], now.ground.catalogue
        heard = picture.hear(
            now.loaded, now.hang, view, catalogue, now.work.drive_db, self._tables if exact else self._quicks,
            all_parts=now.sum, tell=tell,
        )  # fmt: skip
        cover, rows, levels_a = picture.cover(now.loaded, now.hang, view, heard)
        head: dict[str, Any] = {
            "kind": "field",
            "n": now.n,
            "settled": heard.settled,
            "why": "" if heard.settled else WHY,
            "map_of": now.map_of,
            "cover": cover,
            "drive": picture.drive(now.hang, heard.sources, now.work.drive_db),
            "pinned": None,
        }
        arrays = picture.arrays(now.loaded, now.hang, view, rows, levels_a, now.map_of)
        if now.pinned is not None:
            head["pinned"], more = self._beside(now, now.pinned, view, tell, exact=exact)
            arrays |= more
        return frame(head, arrays)

    def _beside(
        self, now: Snapshot, pinned: Pinned, view: Seen, tell: Callable[[int, int], None] | None, *, exact: bool
    ) -> tuple[dict[str, Any], dict[str, npt.ArrayLike]]:
        """The pinned option at the same places."""
        key, kept = (pinned.work, pinned.path, now.sum), self._exact
        if kept is not None and kept[0] == key and kept[1] is view:
            heard = kept[2]
        else:
            heard = picture.hear(
                pinned.loaded, pinned.hang, view, now.ground.catalogue, pinned.work.drive_db,
                self._tables if exact else self._pinned_quicks, all_parts=now.sum, tell=tell,
            )  # fmt: skip
        if exact:
            self._exact = key, view, heard
        cover, rows, levels_a = picture.cover(pinned.loaded, pinned.hang, view, heard)
        return cover, picture.pinned_arrays(view, rows, levels_a, pinned.hang)


def judged(now: Snapshot) -> Report:
    """The hang in hand judged, with the others on its points."""
    return _report(now.ground, now.loaded, now.held)


def _report(ground: Ground, loaded: Loaded, path: Path) -> Report:
    hang, others = loaded.hangs[path], loaded.others(path)
    return check(hang, ground.catalogue, ground.policy, loaded.venue, others, loaded.document.data)


def _listed(now: Snapshot, path: Path, hang: Hang) -> dict[str, Any]:
    mirror = hang.document.data.get("mirror_of")
    name = next((one.name for other, one in now.loaded.hangs.items() if mirror and other.name == mirror), mirror)
    return {
        "name": hang.name,
        "file": str(path.relative_to(now.ground.root)),
        "held": path == now.held,
        "mirror_of": name,
        "changed": now.work.texts.get(path, now.ground.texts[path]) != now.ground.texts[path],
    }


def _pinned(pinned: Pinned, now: Snapshot, report: Report) -> dict[str, Any]:
    hang, there = pinned.hang, _report(now.ground, pinned.loaded, pinned.path)
    found = counts(there.findings)
    values = dict(zip(FIGURES, _figures(hang), strict=True))
    return {
        "hang": hang.name,
        "design": there.design,
        **values,
        "rows": [
            {"type": item.name, "splay_deg": splay} for item, splay in zip(hang.items, hang.splays_deg, strict=True)
        ],
        "differs": _differs(hang, now.hang),
        "exceeds": found[EXCEEDS],
        "open": found[CANNOT],
        "same_design": there.design == report.design,
    }


def _figures(hang: Hang) -> tuple[float, float, float, float, float]:
    x, y, trim = hang.position_m
    return hang.tilt_deg, trim, hang.azimuth_deg, x, y


def _differs(pinned: Hang, now: Hang) -> list[str]:
    """In what the present hang is another than the pinned one, in words."""
    said = []
    units = {"tilt_deg": "°", "azimuth_deg": "°"}
    for name, was, is_now in zip(FIGURES, _figures(pinned), _figures(now), strict=True):
        if abs(was - is_now) > 1e-9:
            unit = units.get(name, " m")
            said.append(f"{name.rpartition('_')[0]} {was:g}{unit} → {is_now:g}{unit} ({is_now - was:+g}{unit})")
    if len(pinned.items) != len(now.items):
        said.append(f"rows {len(pinned.items)} → {len(now.items)}")
    for row, (was_item, item, was_splay, splay) in enumerate(
        zip(pinned.items, now.items, pinned.splays_deg, now.splays_deg, strict=False), start=1
    ):
        if was_item.name != item.name:
            said.append(f"row {row}: {was_item.name} → {item.name}")
        if was_splay != splay:
            joint = "frame–1" if row == 1 else f"rows {row - 1}–{row}"
            said.append(f"{joint}: {was_splay:g}° → {splay:g}° ({splay - was_splay:+g}°)")
    return said


def files(desk: Desk) -> dict[str, Any]:
    """Files as the page tells them."""
    left = desk.left_over
    return {
        "held": str(desk.held.relative_to(desk.ground.root)),
        "root": str(desk.ground.root),
        "saved": desk.held not in desk.changed_files,
        "there": desk.there,
        "disk": desk.disk,
        "left_over": None if left is None else {"file": left.file.name, "when": left.when},
    }


def search(desk: Desk) -> bytes | None:
    """The frame of the search; None where there was none."""
    return None if desk.searching is None else frame(desk.searching.data())
