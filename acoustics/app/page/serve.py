"""The page's server: on the loopback address alone, behind a token, for one browser on the same machine.

Other web pages in that browser cannot reach it: they do not know the token, their Origin is refused at the WebSocket,
and a name that somebody points at 127.0.0.1 is no Host that is answered.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import re
from collections.abc import AsyncIterator
from functools import partial
from importlib import resources
from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp
from starlette.websockets import WebSocket, WebSocketDisconnect

from acoustics.app.page import handing
from acoustics.app.page.desk import Desk
from acoustics.app.page.frames import MOST_BYTES
from acoustics.app.page.guard import Guard
from acoustics.app.page.hub import Hub
from rigging.faults import FileFaults

MOST_MESSAGE_BYTES = 2 * MOST_BYTES  # what is longer ends the connection before it is read
_POLICY = "default-src 'self'; img-src 'self' data:; frame-ancestors 'self'"
_STATIC = Path(str(resources.files("acoustics.app.page") / "static"))


def application(desk: Desk, port: int, token: str) -> ASGIApp:
    """The server's application for a desk, on a port, opened with a token."""
    hub = Hub(desk)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        async with hub.running():
            yield

    routes = [
        Route("/", _home),
        Route("/sheet", partial(_hand, desk)),
        Route("/download/{what}", partial(_hand, desk)),
        WebSocketRoute("/ws", partial(_window, hub)),
        Mount("/static", StaticFiles(directory=_STATIC)),
    ]
    return Guard(Starlette(routes=routes, lifespan=lifespan), port, token)


async def _home(request: Request) -> Response:
    headers = {"Content-Security-Policy": _POLICY, "Cache-Control": "no-store"}
    return FileResponse(_STATIC / "page.html", headers=headers)


async def _hand(desk: Desk, request: Request) -> Response:
    """The crew's sheet to look at, or something to download."""
    what = request.path_params.get("what", "sheet")
    try:
        made = await asyncio.to_thread(handing.made, desk.snapshot(), what)
    except FileFaults as error:
        return PlainTextResponse("\n".join(str(fault) for fault in error.faults), status_code=409)
    if made is None:
        return PlainTextResponse(f"there is no {what} to download", status_code=404)
    name, kind, content = made
    headers = {"Cache-Control": "no-store", "Content-Security-Policy": _with_styles(content)}
    if "what" in request.path_params:
        headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{name}"
    return Response(content, media_type=kind, headers=headers)


def _with_styles(page: bytes) -> str:
    """What a page may load: as all of them, and the styles that stand in it."""
    digests = [hashlib.sha256(style).digest() for style in re.findall(rb"<style>(.*?)</style>", page, re.DOTALL)]
    listed = "".join(f" 'sha256-{base64.b64encode(one).decode()}'" for one in digests)
    return f"{_POLICY}; style-src 'self'{listed}"


async def _window(hub: Hub, socket: WebSocket) -> None:
    """One window: greeted, then answered until it goes; what goes wrong with it stays with it."""
    await socket.accept()
    try:
        await hub.greet(socket)
        while True:
            got = await socket.receive()
            if got["type"] == "websocket.disconnect":
                return
            await socket.send_bytes(hub.answer(got.get("bytes") or got.get("text") or ""))
    except (WebSocketDisconnect, RuntimeError, OSError):
        return
    finally:
        hub.windows.discard(socket)
