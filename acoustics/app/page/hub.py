"""Windows that are open, and what sends them frames: a quick one after every message, an exact one at rest."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import sys
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from acoustics.app.page import keeping, showing
from acoustics.app.page.desk import Desk, Snapshot
from acoustics.app.page.frames import Refused, frame, message
from rigging.faults import FileFaults

log = logging.getLogger("evenhang.page")

REST_S = 0.1  # a hand that has not moved for so long rests: the exact sum begins
_KEEP_S, _LOOK_S, _SEARCH_S, _SLOWEST_S = 0.4, 1.0, 0.2, 5.0


class _Moved(Exception):
    """The exact sum of a hang that has moved meanwhile."""


class Hub:
    """Windows that are open, and what sends them frames: a quick one after every message, an exact one at rest."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.show = desk, showing.Showing()
        self.windows: set[WebSocket] = set()
        self._moved, self._kept = asyncio.Event(), asyncio.Event()
        self._quick, self._exact = ThreadPoolExecutor(1), ThreadPoolExecutor(1)
        self._resting: asyncio.Task[None] | None = None
        self._abort = threading.Event()
        self._search_said = asyncio.Event()

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Send frames, keep what is at work and look at the disk, until all ends."""
        loop = asyncio.get_running_loop()
        self.desk.told = lambda: loop.call_soon_threadsafe(self._search_said.set)
        self.desk.look()
        works = (self._send, self._keep, self._look, self._tell_search)
        tasks = [asyncio.create_task(self._again_and_again(one)) for one in works]
        try:
            yield
        finally:
            self._stop_resting()
            for task in tasks:
                task.cancel()
            if self.desk.searching is not None:
                self.desk.searching.stop()
            await asyncio.gather(*tasks, return_exceptions=True)
            try:
                self._write()
            except OSError as error:
                print(f"evenhang: what is at work could not be kept ({error.strerror})", file=sys.stderr)

    def answer(self, data: str | bytes) -> bytes:
        """Do what a message asks; whatever it holds, there is an answer."""
        number = None
        try:
            asked = message(data)
            number = asked["id"]
            self.desk.do(asked)
        except Refused as refused:
            return frame({"kind": "answer", "id": number, "ok": False, "wrong": refused.wrong, "todo": refused.todo})
        except Exception as error:
            log.exception("a message could not be done")
            said = f"this could not be done: {error}"
            return frame(
                {"kind": "answer", "id": number, "ok": False, "wrong": said, "todo": "all is as it was before"}
            )
        self._moved.set()
        self._kept.set()
        return frame({"kind": "answer", "id": number, "ok": True})

    async def greet(self, window: WebSocket) -> None:
        """All that a new window needs."""
        now = self.desk.snapshot()
        await window.send_bytes(await self._in(self._quick, self.show.scene_again, now))
        self.windows.add(window)
        self._moved.set()
        self._search_said.set()

    async def _again_and_again(self, work: Callable[[], Awaitable[None]]) -> None:
        """What goes on while the page is open, whatever fails once."""
        while True:
            try:
                await work()
            except Exception as error:
                log.exception("the page failed beside its work")
                await self.say(f"something failed beside the work: {error}")
                await asyncio.sleep(_LOOK_S)

    async def _send(self) -> None:
        await self._moved.wait()
        self._moved.clear()
        self._stop_resting()
        now = self.desk.snapshot()
        await self._guarded(self._quickly, now)
        self._abort = threading.Event()
        self._resting = asyncio.create_task(self._guarded(self._exactly, now, self._abort))

    def _stop_resting(self) -> None:
        """What was being summed exactly is no longer what the hand has."""
        self._abort.set()
        if self._resting is not None:
            self._resting.cancel()

    async def _quickly(self, now: Snapshot) -> None:
        def picture() -> list[bytes]:
            scene = self.show.scene(now)
            return [*([] if scene is None else [scene]), self.show.field(now, exact=False)]

        for sent in await self._in(self._quick, picture):
            await self.to_all(sent)
        await self.to_all(await self._in(self._quick, self.show.state, self.desk))

    async def _exactly(self, now: Snapshot, abort: threading.Event) -> None:
        await asyncio.sleep(REST_S)

        def tell(done: int, total: int) -> None:
            if abort.is_set():
                raise _Moved

        def work() -> bytes:
            tell(0, 0)
            return self.show.field(now, tell, exact=True)

        with contextlib.suppress(_Moved):
            sent = await self._in(self._exact, work)
            if not abort.is_set():
                await self.to_all(sent)

    async def _guarded(self, work: Callable[..., Awaitable[None]], *arguments: Any) -> None:
        """What fails is told, and the page goes on."""
        try:
            await work(*arguments)
        except FileFaults as error:
            await self.say("; ".join(str(fault) for fault in error.faults))
        except Exception as error:
            log.exception("the page could not show what it has")
            await self.say(f"this could not be worked out: {error}")

    async def say(self, text: str) -> None:
        """Tell all windows in words."""
        await self.to_all(frame({"kind": "said", "n": self.desk.n, "words": text}))

    async def to_all(self, sent: bytes) -> None:
        """Send a frame to every window; one that is gone is forgotten."""
        await asyncio.gather(*(self._to_one(window, sent) for window in list(self.windows)))

    async def _to_one(self, window: WebSocket, sent: bytes) -> None:
        """One that does not read holds up nobody for long."""
        try:
            await asyncio.wait_for(window.send_bytes(sent), _SLOWEST_S)
        except (WebSocketDisconnect, RuntimeError, OSError, TimeoutError):
            self.windows.discard(window)

    async def _tell_search(self) -> None:
        await self._search_said.wait()
        self._search_said.clear()
        told = showing.search(self.desk)
        if told is not None:
            await self.to_all(told)
        await asyncio.sleep(_SEARCH_S)

    async def _keep(self) -> None:
        await self._kept.wait()
        await asyncio.sleep(_KEEP_S)
        self._kept.clear()
        try:
            await asyncio.to_thread(self._write)
        except OSError as error:
            await self.say(f"what is at work cannot be kept beside its file ({error.strerror}): save it yourself")

    def _write(self) -> None:
        if self.desk.left_over is None:
            now = self.desk.snapshot()
            keeping.keep(now.ground.files[0], self.desk.unsaved, now.held, self.desk.on_disk)

    async def _look(self) -> None:
        await asyncio.sleep(_LOOK_S)
        if await asyncio.to_thread(self.desk.look):
            await self.to_all(frame({"kind": "files", "n": self.desk.n, **showing.files(self.desk)}))

    async def _in(self, pool: ThreadPoolExecutor, work: Callable[..., Any], *arguments: Any) -> Any:
        return await asyncio.get_running_loop().run_in_executor(pool, work, *arguments)
