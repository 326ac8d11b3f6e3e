"""Who is answered: the one browser that was given the address, at this machine's own name, and no other page in it."""

from __future__ import annotations

import hmac
import secrets

from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send


def new_token() -> str:
    """A token that nobody guesses."""
    return secrets.token_urlsafe(24)


class Guard:
    """Answers only what was meant for this server: its Host, its token, and at the WebSocket its own Origin."""

    def __init__(self, app: ASGIApp, port: int, token: str) -> None:
        self._app, self._token = app, token
        self._cookie = f"evenhang-{port}"  # browsers do not tell cookies of different ports apart
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a connection on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        given = asked.query_params.get("token")
        opening = scope["type"] == "http" and scope["path"] == "/" and given is not None
        if opening and self._host(asked) and self._is(str(given)):
            inside = RedirectResponse("/", status_code=303)
            inside.set_cookie(self._cookie, self._token, httponly=True, samesite="strict")
            await inside(scope, receive, send)
            return
        why = self._why_not(asked, scope["type"])
        if not why:
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": why})
        else:
            await PlainTextResponse(why, status_code=403)(scope, receive, send)

    def _why_not(self, asked: HTTPConnection, kind: str) -> str:
        if not self._host(asked):
            return "evenhang: this address is not answered; use the one that was printed"
        if kind == "websocket" and asked.headers.get("origin") not in {f"http://{host}" for host in self._hosts}:
            return "evenhang: another page may not connect"
        if not self._is(asked.cookies.get(self._cookie, "")):
            return "evenhang: open the address that was printed at the start, with its token"
        return ""

    def _host(self, asked: HTTPConnection) -> bool:
        return asked.headers.get("host") in self._hosts

    def _is(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self._token.encode())
