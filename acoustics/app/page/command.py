"""`evenhang page`: read, open a page in the browser, serve it until control-C."""

from __future__ import annotations

import argparse
import contextlib
import socket
import sys
import webbrowser

from acoustics.app import folder
from acoustics.app.check import policy_of
from acoustics.app.page.desk import Desk
from acoustics.app.page.work import Ground, ground_of_hang, ground_of_show
from acoustics.app.status import DONE, refusing
from rigging.faults import Fault, FileFaults


@refusing
def run(asked: argparse.Namespace) -> int:
    """Run the command; returns its exit status."""
    _needed()
    import uvicorn

    from acoustics.app.page.guard import new_token
    from acoustics.app.page.serve import MOST_MESSAGE_BYTES, application

    desk = Desk(_ground(asked))
    opened = _socket(asked.port)
    port, token = int(opened.getsockname()[1]), new_token()
    address = f"http://127.0.0.1:{port}/?token={token}"
    print(f"the page is at {address}\ncontrol-C ends it; what is not saved is kept beside the hang file", flush=True)
    if not asked.no_browser:
        webbrowser.open(address)
    config = uvicorn.Config(
        application(desk, port, token),
        log_level="warning",
        ws_max_size=MOST_MESSAGE_BYTES,
        ws_per_message_deflate=False,  # on one machine packing costs more than it saves
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    with contextlib.suppress(KeyboardInterrupt):  # the usual way to end it
        uvicorn.Server(config).run(sockets=[opened])
    return DONE


def _needed() -> None:
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
        import websockets  # noqa: F401
    except ModuleNotFoundError as error:
        todo = "install it with: pip install 'evenhang[page]'"
        raise FileFaults([Fault("page", "", f"needs {error.name}, which is not installed", todo)]) from None


def _ground(asked: argparse.Namespace) -> Ground:
    catalogue, policy = folder.catalogue_of(asked), policy_of(asked.policy)
    if folder.is_show(asked.hang):
        given = [(asked.venue is not None, "VENUE"), (bool(asked.beside), "--beside")]
        why, todo = "has no meaning for a show: it names its venue and all hangs itself", "leave it out"
        faults = [Fault(name, "", why, todo) for is_so, name in given if is_so]
        if faults:
            raise FileFaults(faults)
        return ground_of_show(asked.hang, catalogue, policy, asked.grid, asked.limit)
    if asked.venue is None:
        raise FileFaults([Fault("VENUE", "", "is missing", "name a venue file after the hang, or a show file alone")])
    return ground_of_hang(asked.hang, asked.beside, asked.venue, catalogue, policy, asked.grid, asked.limit)


def _socket(port: int) -> socket.socket:
    """A socket on the loopback address, at a free port where 0 is asked for."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind(("127.0.0.1", port))
        opened.listen()  # from here a browser waits, and is not refused, until the server answers
    except OSError as error:
        opened.close()
        wrong = f"cannot be used ({error.strerror})"
        raise FileFaults([Fault("--port", "", wrong, "give another, or leave it out for a free one", port)]) from None
    return opened
