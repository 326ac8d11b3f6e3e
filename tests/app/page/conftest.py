"""A page that is really served, and somebody at its WebSocket."""

from __future__ import annotations

import json
import os
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websockets.sync.client import ClientConnection, connect

ROOT = Path(__file__).resolve().parents[3]
COMMAND = "import sys; from rigging.launch import main; sys.exit(main())"


@dataclass
class Served:
    """A server in a process of its own; `base` its address without the token."""

    process: subprocess.Popen[str]
    base: str
    token: str
    folder: Path

    @property
    def address(self) -> str:
        return f"{self.base}/?token={self.token}"

    @property
    def port(self) -> int:
        return int(self.base.rpartition(":")[2])

    @property
    def cookie(self) -> str:
        """What the browser was given when it opened the address."""
        return f"evenhang-{self.port}={self.token}"

    def end(self, how: int = signal.SIGINT) -> int:
        """End it as a person would, or as a crash does."""
        self.process.send_signal(how)
        return self.process.wait(30)


def serve(folder: Path, *arguments: str) -> Served:
    """Start `evenhang page` in a folder."""
    asked = [sys.executable, "-c", COMMAND, "page", *arguments, "--no-browser"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(asked, cwd=folder, env=environment, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    line = process.stdout.readline()
    assert "http://" in line, f"no address was printed: {line!r}"
    base, _, token = line.split()[-1].partition("/?token=")
    return Served(process, base, token, folder)


@dataclass
class Frame:
    """A frame that came: its head, and its arrays by name."""

    head: dict[str, Any]
    arrays: dict[str, np.ndarray]


def decoded(data: bytes) -> Frame:
    """Read a frame as the contract says: length, head, then 32-bit floats."""
    (length,) = struct.unpack("<I", data[:4])
    head, start = json.loads(data[4 : 4 + length]), 4 + length
    arrays = {}
    for one in head["arrays"]:
        count = int(np.prod(one["shape"]))
        arrays[one["name"]] = np.frombuffer(data, "<f4", count, start).reshape(one["shape"])
        start += 4 * count
    assert start == len(data)
    return Frame(head, arrays)


@dataclass
class Window:
    """Somebody at the WebSocket, who keeps all that came."""

    socket: ClientConnection
    number: int = 0
    came: list[Frame] = field(default_factory=list)

    def until(self, wanted: Callable[[dict[str, Any]], bool], seconds: float = 120.0) -> Frame:
        """The next frame that is wanted."""
        ends = time.monotonic() + seconds
        while True:
            got = self.socket.recv(timeout=max(0.1, ends - time.monotonic()))
            assert isinstance(got, bytes)
            self.came.append(decoded(got))
            if wanted(self.came[-1].head):
                return self.came[-1]

    def do(self, act: str, /, **rest: Any) -> dict[str, Any]:
        """Ask for something; the head of the answer."""
        self.number += 1
        self.socket.send(json.dumps({"id": self.number, "do": act, **rest}))
        return self.until(lambda head: head["kind"] == "answer" and head["id"] == self.number).head

    def done(self, act: str, /, **rest: Any) -> Frame:
        """Do something that works; the state after it."""
        answer = self.do(act, **rest)
        assert answer["ok"], answer
        return self.state()

    def state(self) -> Frame:
        """The state that holds all that was asked."""
        return self.until(lambda head: head["kind"] == "state" and head["n"] >= self.number)

    def settled(self) -> Frame:
        """The exact levels of all that was asked."""
        return self.until(lambda head: head["kind"] == "field" and head["n"] >= self.number and head["settled"])


def window(served: Served, **other: Any) -> ClientConnection:
    """A connection as the page makes it."""
    headers = {"Cookie": served.cookie, **other.pop("headers", {})}
    origin = other.pop("origin", served.base)
    return connect(f"ws{served.base[4:]}/ws", additional_headers=headers, origin=origin, max_size=None, **other)


@pytest.fixture
def start() -> Iterator[Callable[..., Served]]:
    """What starts a page in a folder; it is ended at last."""
    started: list[Served] = []

    def begin(folder: Path, *arguments: str) -> Served:
        started.append(serve(folder, *arguments))
        return started[-1]

    yield begin
    for served in started:
        if served.process.poll() is None:
            served.process.kill()
            served.process.wait(10)
        served.process.stdout.close()  # type: ignore[union-attr]


@pytest.fixture
def connected() -> Callable[..., ClientConnection]:
    """What connects to a page as its own browser does, or otherwise."""
    return window


@pytest.fixture
def at_window() -> type[Window]:
    """Somebody at a connection."""
    return Window


@pytest.fixture
def run() -> Callable[..., subprocess.CompletedProcess[str]]:
    """What runs a command in a folder."""

    def ran(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        asked = [sys.executable, "-c", COMMAND, *arguments]
        return subprocess.run(
            asked, cwd=folder, env=environment, capture_output=True, text=True, timeout=300, check=False
        )

    return ran


@pytest.fixture
def theatre(tmp_path: Path) -> Path:
    """A folder with the theatre's files, that may be changed."""
    shutil.copytree(ROOT / "sample_venues/theatre", tmp_path / "theatre")
    return tmp_path / "theatre"


@pytest.fixture
def page(theatre: Path, start: Callable[..., Served]) -> Served:
    """The theatre's page, served."""
    return start(theatre, "left.toml", "venue.toml", "--beside", "right.toml", "--grid", "2")
