"""What the page works on, and what each message does to it. All windows of a page show one desk."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acoustics.app import folder
from acoustics.app.page import keeping
from acoustics.app.page.changes import changed
from acoustics.app.page.finding import Searching
from acoustics.app.page.frames import Refused
from acoustics.app.page.picture import NAMES
from acoustics.app.page.work import Ground, Loaded, Work, documents_of, load
from rigging.faults import FileFaults
from rigging.files import read
from rigging.hang import Hang

MOST_UNDONE = 500
_LONGEST_SEARCH_S = 3600.0
# What changes work or files, beside the changes of a hand.
_WORKS = ("undo", "redo", "swap", "take", "save", "reload", "keep")


@dataclass(frozen=True)
class Pinned:
    """An option that was set aside to compare with: the work and its hang, in the venue with its air."""

    work: Work
    path: Path
    loaded: Loaded

    @property
    def hang(self) -> Hang:
        """The hang that was in hand."""
        return self.loaded.hangs[self.path]


@dataclass(frozen=True)
class Snapshot:
    """The desk at one time, for what computes beside it: `n` of the last message that it holds."""

    n: int
    ground: Ground
    work: Work
    loaded: Loaded
    held: Path
    sum: bool
    map_of: str
    pinned: Pinned | None

    @property
    def hang(self) -> Hang:
        """The hang in hand."""
        return self.loaded.hangs[self.held]


class Desk:
    """Work with its past and future, the hang in hand, what is looked at, and the search that runs."""

    def __init__(self, ground: Ground) -> None:
        self.work, self.held = Work(), ground.files[0]
        self.loaded = load(ground, self.work)
        documents = documents_of(self.loaded)
        self.ground = dataclasses.replace(ground, texts={path: one.text for path, one in documents.items()})
        self.past: list[Work] = []
        self.future: list[Work] = []
        self.sum, self.map_of, self.n = False, "A", 0
        self.pinned: Pinned | None = None
        self.searching: Searching | None = None
        self.on_disk = {path: one.sha256 for path, one in documents.items()}
        self.left_over = keeping.left_over(ground)
        self.there: list[str] = []
        self._hang_files = keeping.HangFiles(ground.root)
        self.disk = "same"
        self.told: Callable[[], object] = lambda: None  # called, from any thread, when a search has something to tell
        self._gesture: object = None
        self._lock = threading.RLock()  # frames are made in other threads than those that messages come in

    def do(self, asked: Mapping[str, Any]) -> None:
        """Do what a message asks.

        Raises
        ------
        Refused
            If it cannot be done; all is as before then.
        """
        with self._lock:
            self._do(asked)

    def _do(self, asked: Mapping[str, Any]) -> None:
        try:
            work = changed(self.ground, self.loaded, self.work, self.held, asked)
            if work is not None or asked["do"] in _WORKS:
                self._refuse_while_asking()
            if work is not None:
                self._put(work, asked.get("gesture"))
            else:
                self._other(str(asked["do"]), asked)
        except FileFaults as error:
            fault = error.faults[0]
            raise Refused(f"{fault.key} {fault.wrong}".strip(), fault.todo) from None
        self.n = max(self.n, int(asked["id"]))

    def snapshot(self) -> Snapshot:
        """The desk as it is now."""
        with self._lock:
            return Snapshot(self.n, self.ground, self.work, self.loaded, self.held, self.sum, self.map_of, self.pinned)

    @property
    def changed_files(self) -> set[Path]:
        """Files whose text is not that which was read or saved last."""
        return {path for path, text in self.work.texts.items() if text != self.ground.texts.get(path)}

    @property
    def unsaved(self) -> Work:
        """The work without texts that are in their files."""
        kept = {path: text for path, text in self.work.texts.items() if path in self.changed_files}
        return dataclasses.replace(self.work, texts=kept)

    def look(self) -> bool:
        """Look at the disk: what hang files there are, and whether that in hand is as it was read: same, changed or
        gone. Tells whether that is news."""
        there, held = self._hang_files.names(), self.held
        now = keeping.digest(held)
        with self._lock:
            before = self.there, self.disk
            self.there = there
            if held == self.held:
                self.disk = "gone" if not now else "same" if now == self.on_disk[held] else "changed"
            return before != (self.there, self.disk)

    def _refuse_while_asking(self) -> None:
        """What is at work is kept in one place: what an earlier time left there must be taken up or dropped first."""
        if self.left_over is not None:
            raise Refused(f"there is unsaved work of {self.left_over.when}", "take it up, or drop it, first")

    def _put(self, work: Work, gesture: object) -> None:
        """Another work; one gesture is one step to undo."""
        if work == self.work:
            return
        self.loaded = load(self.ground, work)  # faults leave all as it was
        if gesture is None or gesture != self._gesture:
            self.past = [*self.past[-MOST_UNDONE + 1 :], self.work]
        self.future, self.work, self._gesture = [], work, gesture

    def _other(self, kind: str, asked: Mapping[str, Any]) -> None:
        act = self._acts().get(kind)
        if act is None:
            raise Refused(f"{kind} is nothing that the page can do")
        self._gesture = None
        act(asked)

    def _acts(self) -> dict[str, Callable[[Mapping[str, Any]], None]]:
        return {
            "undo": lambda _: self._step(self.past, self.future, "undo"),
            "redo": lambda _: self._step(self.future, self.past, "do again"),
            "pin": self._pin,
            "unpin": lambda _: setattr(self, "pinned", None),
            "swap": self._swap,
            "hold": self._hold,
            "hear": lambda asked: setattr(self, "sum", asked.get("sum") is True),
            "map": self._map,
            "search": self._search,
            "stop": self._stop,
            "take": self._take,
            "save": self._save,
            "open": self._open,
            "reload": self._reload,
            "keep": self._keep,
            "resume": self._resume,
            "discard": self._discard,
        }

    def _step(self, source: list[Work], target: list[Work], what: str) -> None:
        if not source:
            raise Refused(f"there is nothing to {what}")
        self.loaded = load(self.ground, source[-1])
        target.append(self.work)
        self.work = source.pop()

    def _pin(self, asked: Mapping[str, Any]) -> None:
        self.pinned = Pinned(self.work, self.held, self.loaded)

    def _swap(self, asked: Mapping[str, Any]) -> None:
        if self.pinned is None:
            raise Refused("nothing is pinned", "pin an option first")
        if self.pinned.path not in self.ground.files:
            raise Refused("the pinned hang's file is no longer open", "open it again")
        aside, now = self.pinned, Pinned(self.work, self.held, self.loaded)
        self._put(aside.work, None)
        self.held, self.pinned = aside.path, now

    def _hold(self, asked: Mapping[str, Any]) -> None:
        name, hangs = asked.get("hang"), self.loaded.hangs
        by_file = [path for path in hangs if str(path.relative_to(self.ground.root)) == name]
        found = by_file or [path for path, hang in hangs.items() if hang.name == name]
        if not found:
            raise Refused(f"there is no hang {name}")
        self.held = found[0]
        self.look()

    def _map(self, asked: Mapping[str, Any]) -> None:
        of = asked.get("of")
        name = of if isinstance(of, str) else f"{of:g}" if isinstance(of, int | float) else ""
        if name not in NAMES:
            raise Refused(f"there is no map of {of}", f"known: {', '.join(NAMES)}")
        self.map_of = name

    def _search(self, asked: Mapping[str, Any]) -> None:
        if self.searching is not None and self.searching.running:
            raise Refused("a search is running", "stop it first")
        seconds = asked.get("seconds")
        if seconds is not None and (type(seconds) not in (int, float) or not 1.0 <= seconds <= _LONGEST_SEARCH_S):
            raise Refused("seconds must be a number", f"1 to {_LONGEST_SEARCH_S:g}")
        hang = self.loaded.hangs[self.held]
        self.searching = Searching(self.ground, self.loaded, hang, seconds, lambda: self.told())
        self.searching.start()

    def _stop(self, asked: Mapping[str, Any]) -> None:
        if self.searching is not None:
            self.searching.stop()

    def _take(self, asked: Mapping[str, Any]) -> None:
        found = asked.get("found")
        if self.searching is None or self.searching.running or type(found) is not int:
            raise Refused("there is nothing to take", "search first")
        try:
            text = self.searching.taken(found)
        except IndexError:
            raise Refused(f"nothing of number {found} was found") from None
        self._put(self.work.with_text(self.searching.path, text), None)
        self.held = self.searching.path

    def _save(self, asked: Mapping[str, Any]) -> None:
        name, path = asked.get("as"), self.held
        text = self.loaded.hangs[path].document.text
        if name is not None:
            folder.write_new(keeping.inside(self.ground.root, str(name)), "the file", text)
            self.look()
            return
        self.look()
        if self.disk == "changed":
            raise Refused(f"{path.name} has changed on disk since it was read", "reload it, keep this one, or save as")
        keeping.write(path, text)
        self._read_anew(path, text)
        self.look()

    def _read_anew(self, path: Path, text: str) -> None:
        """A file holds another text: work that says nothing of it, past, to come or pinned, means what it held."""
        before = self.ground.texts[path]

        def told(work: Work) -> Work:
            return work if path in work.texts else work.with_text(path, before)

        self.past, self.future = [told(work) for work in self.past], [told(work) for work in self.future]
        if self.pinned is not None:
            self.pinned = dataclasses.replace(self.pinned, work=told(self.pinned.work))
        self.work, self.ground = told(self.work), self.ground.with_text(path, text)
        self.on_disk[path] = keeping.digest(path)

    def _open(self, asked: Mapping[str, Any]) -> None:
        path = keeping.inside(self.ground.root, str(asked.get("file")))
        if path in self.ground.files:
            self.held = path
            self.look()
            return
        if self.ground.show_file is not None:
            raise Refused("a show names its hangs itself", "add it to the show file, and start the page again")
        ground = dataclasses.replace(self.ground, files=(*self.ground.files, path))
        self.loaded = load(ground, self.work)
        new = {one: document for one, document in documents_of(self.loaded).items() if one not in ground.texts}
        self.ground = dataclasses.replace(ground, texts={**ground.texts, **{one: d.text for one, d in new.items()}})
        self.on_disk |= {one: document.sha256 for one, document in new.items()}
        self.held = path
        self.look()

    def _reload(self, asked: Mapping[str, Any]) -> None:
        path = self.held
        text = read(str(path), "hang/1").text
        ground, work = self.ground.with_text(path, text), self.work.without(path)
        loaded = load(ground, work)
        self._read_anew(path, text)
        self.past, self.future = [*self.past, self.work], []
        self.work, self.loaded = work, loaded
        self.look()

    def _keep(self, asked: Mapping[str, Any]) -> None:
        """Stay with the text in hand: it is now unsaved."""
        text = self.loaded.hangs[self.held].document.text
        self._read_anew(self.held, "")  # what it holds now is unlike all that was at work
        self._put(self.work.with_text(self.held, text), None)
        self.look()

    def _resume(self, asked: Mapping[str, Any]) -> None:
        if self.left_over is None:
            raise Refused("there is no work of an earlier time")
        left, before = self.left_over, self.ground
        opened = {path: read(str(path), "hang/1") for path in left.work.texts if path not in before.files}
        texts = {**before.texts, **{path: one.text for path, one in opened.items()}}
        self.ground = dataclasses.replace(before, files=(*before.files, *opened), texts=texts)
        try:
            self._put(left.work, None)
        except FileFaults:
            self.ground = before
            raise
        self.left_over = None
        self.on_disk |= left.on_disk  # what changed since then is told, and not written over
        if left.held in self.ground.files:
            self.held = left.held
        self.look()

    def _discard(self, asked: Mapping[str, Any]) -> None:
        try:
            keeping.at_work_file(self.ground.files[0]).unlink(missing_ok=True)
        except OSError as error:
            raise Refused(f"it cannot be removed ({error.strerror})", "remove it yourself, or take it up") from None
        self.left_over = None
