"""The served page: who is answered, what figures come, what survives."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import signal
import time
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus


@dataclass(frozen=True)
class Answer:
    """What the server answers."""

    status: int
    headers: http.client.HTTPMessage
    text: str


def asked(page: Any, path: str, **headers: str) -> Answer:
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", page.port, timeout=60)) as connection:
        connection.request("GET", path, headers=headers)
        got = connection.getresponse()
        return Answer(got.status, got.headers, got.read().decode())


def test_only_who_has_the_token_is_answered_and_only_by_its_own_name(page: Any) -> None:
    cookie = page.cookie
    assert asked(page, "/").status == 403
    assert asked(page, "/?token=wrong").status == 403
    assert asked(page, "/static/page.html").status == 403
    assert asked(page, "/download/hang").status == 403
    assert asked(page, f"/?token={page.token}", Host=f"elsewhere.example:{page.port}").status == 403
    assert asked(page, "/", Cookie=cookie, Host="127.0.0.1").status == 403
    opened = asked(page, f"/?token={page.token}")
    assert (opened.status, opened.headers["location"]) == (303, "/")
    assert "HttpOnly" in opened.headers["set-cookie"]
    assert "SameSite=strict" in opened.headers["set-cookie"]
    home = asked(page, "/", Cookie=cookie)
    assert home.status == 200
    assert "default-src 'self'" in home.headers["content-security-policy"]
    for path in ("/static/../page/serve.py", "/static/%2e%2e/serve.py", "/static//etc/hostname", "/download/..%2fhang"):
        assert asked(page, path, Cookie=cookie).status == 404, path


@pytest.mark.parametrize("origin", [None, "http://elsewhere.example", "http://127.0.0.1:1", "null"])
def test_another_page_cannot_connect(page: Any, origin: str | None, connected: Callable[..., Any]) -> None:
    with pytest.raises(InvalidStatus, match="403"):
        connected(page, origin=origin)
    with pytest.raises(InvalidStatus, match="403"):
        connected(page, headers={"Cookie": f"evenhang-{page.port}=wrong"})


def test_it_listens_on_the_loopback_address_alone(page: Any) -> None:
    lines = Path("/proc/net/tcp").read_text().splitlines()[1:] if Path("/proc/net/tcp").exists() else []
    local = [line.split()[1] for line in lines if line.split()[3] == "0A"]
    mine = [place for place in local if int(place.partition(":")[2], 16) == page.port]
    if not lines:
        pytest.skip("no list of sockets on this system")
    assert mine == [f"0100007F:{page.port:04X}"]


def test_bad_messages_are_answered_and_survived(page: Any, connected: Callable[..., Any], at_window: Any) -> None:
    with connected(page) as one, connected(page) as other:
        bad, good = at_window(one), at_window(other)
        for sent in ("", "{", "[]", "\0", b"\xff\xfe\xfd", json.dumps({"id": 1, "do": "dance"}), "[" * 15_000):
            bad.socket.send(sent)
            answer = bad.until(lambda head: head["kind"] == "answer").head
            assert (answer["ok"], bool(answer["wrong"])) == (False, True), sent
        bad.socket.send("x" * 100_000)
        with pytest.raises(ConnectionClosed):
            bad.until(lambda head: False)
        assert good.done("set", what="tilt_deg", value=1.0).head["tilt_deg"] == 1.0
    assert page.process.poll() is None


def test_levels_are_those_of_predict(
    page: Any, theatre: Path, connected: Callable[..., Any], at_window: Any, run: Callable[..., Any]
) -> None:
    with connected(page) as socket:
        hand = at_window(socket)
        hand.done("set", what="tilt_deg", value=1.5)
        hand.done("set", what="splay_deg", row=4, step=1)
        cover = hand.settled().head["cover"]
        hand.done("save", **{"as": "moved.toml"})
    arguments = ["predict", "moved.toml", "venue.toml", "--grid", "2", "--json"]
    ran = run(theatre, *arguments)
    whole = json.loads(ran.stdout)["whole"]
    assert cover["mean_db"] == pytest.approx(whole["level_a_mean_db"], abs=1e-6)
    assert cover["spread_db"] == pytest.approx(whole["level_a_p5_p95_db"], abs=1e-6)
    assert cover["fall_db"] == pytest.approx(whole["fall_per_doubling_db"], abs=1e-6)
    assert cover["worst"]["from_mean_db"] == pytest.approx(whole["worst_seat"]["from_mean_db"], abs=1e-6)
    assert cover["worst"]["area"] == whole["worst_seat"]["area"]


def test_findings_are_those_of_check(
    page: Any, theatre: Path, connected: Callable[..., Any], at_window: Any, run: Callable[..., Any]
) -> None:
    with connected(page) as socket:
        verdict = at_window(socket).state().head["hang_verdict"]
    arguments = ["check", "left.toml", "venue.toml", "--beside", "right.toml", "--json"]
    ran = run(theatre, *arguments)
    said = json.loads(ran.stdout)
    counted = (verdict["exceeds"], verdict["open"], verdict["within"])
    assert counted == tuple(said["counts"][name] for name in ("exceeds", "cannot be judged", "within"))
    assert [one["what"] for one in verdict["findings"]] == [one["what"] for one in said["findings"]]


def test_two_hangs_together_are_the_sum_of_their_energies(
    page: Any, connected: Callable[..., Any], at_window: Any
) -> None:
    with connected(page) as socket:
        hand = at_window(socket)
        alone = {}
        for name in [one["name"] for one in hand.state().head["hangs"]]:
            hand.done("hold", hang=name)
            scene = next(frame for frame in reversed(hand.came) if frame.head["kind"] == "scene")
            alone[name] = (scene.arrays["xyz"], hand.settled().arrays["level"])
        assert hand.do("hear", sum=True)["ok"]
        both = hand.settled().arrays["level"]
    (places, one), (other_places, other) = alone.values()
    np.testing.assert_array_equal(places, other_places)
    energies = [np.where(np.isnan(level), 0.0, 10.0 ** (level.astype(float) / 10.0)) for level in (one, other)]
    np.testing.assert_allclose(both, 10.0 * np.log10(sum(energies)), atol=0.05)


def test_a_search_tells_how_far_it_is_and_can_be_stopped(
    page: Any, connected: Callable[..., Any], at_window: Any
) -> None:
    with connected(page) as socket:
        hand = at_window(socket)
        assert hand.do("search", seconds=600)["ok"]
        hand.until(lambda head: head["kind"] == "search" and head["best_db"] is not None, 300.0)
        assert hand.done("set", what="trim_m", value=10.0).head["trim_m"] == 10.0  # the page goes on meanwhile
        assert hand.do("stop")["ok"]
        found = hand.until(lambda head: head["kind"] == "search" and not head["running"]).head["found"]
        assert found
        assert hand.done("take", found=0).head["undo"] == 2
        assert hand.done("undo").head["trim_m"] == 10.0


def test_what_was_at_work_outlives_the_server(
    page: Any, theatre: Path, connected: Callable[..., Any], at_window: Any, start: Callable[..., Any]
) -> None:
    before = (theatre / "left.toml").read_text()
    with connected(page) as socket:
        at_window(socket).done("set", what="tilt_deg", value=1.5)
        ends = time.monotonic() + 30.0
        while not (theatre / "left.at-work.json").exists() and time.monotonic() < ends:
            time.sleep(0.05)
    page.end(signal.SIGKILL)
    again = start(theatre, "left.toml", "venue.toml", "--grid", "2")
    with connected(again) as socket:
        hand = at_window(socket)
        assert hand.state().head["files"]["left_over"] is not None
        assert hand.done("resume").head["tilt_deg"] == 1.5
        assert hand.done("save").head["files"]["saved"]
    assert again.end() == 0
    assert not (theatre / "left.at-work.json").exists()
    assert (theatre / "left.toml").read_text() == before.replace("tilt_deg = 2.0", "tilt_deg = 1.5")


def test_a_change_on_disk_is_told(page: Any, theatre: Path, connected: Callable[..., Any], at_window: Any) -> None:
    with connected(page) as socket:
        hand = at_window(socket)
        hand.state()
        text = (theatre / "left.toml").read_text().replace("tilt_deg = 2.0", "tilt_deg = -1.0")
        (theatre / "left.toml").write_text(text)
        assert hand.until(lambda head: head["kind"] == "files").head["disk"] == "changed"
        assert hand.done("reload").head["tilt_deg"] == -1.0


def test_what_is_handed_out(page: Any, connected: Callable[..., Any], at_window: Any) -> None:
    cookie = page.cookie
    sheet = asked(page, "/sheet", Cookie=cookie)
    text = sheet.text
    with connected(page) as socket:
        word = at_window(socket).state().head["built"]["design"]
    assert sheet.headers["content-disposition"] is None
    assert word in text
    assert "rows 3–4" in text
    for what, kind in (("sheet", "text/html"), ("report", "text/html"), ("hang", "application/toml")):
        got = asked(page, f"/download/{what}", Cookie=cookie)
        body = got.text
        assert got.headers["content-type"].startswith(kind)
        assert re.search(r"attachment; filename\*=UTF-8''\S+\.(html|toml)$", got.headers["content-disposition"])
        assert (word in body) if what != "hang" else (tomllib.loads(body)["format"] == "hang/1")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["left.toml"], "VENUE: is missing"),
        (["none.toml", "venue.toml"], "none.toml: does not exist"),
        (["left.toml", "none.toml"], "none.toml: does not exist"),
        (["left.toml", "venue.toml", "--beside", "none.toml"], "none.toml: does not exist"),
        (["venue.toml", "venue.toml"], "is another kind of file"),
    ],
)
def test_files_at_fault_are_told_before_anything_is_served(
    theatre: Path, arguments: list[str], said: str, run: Callable[..., Any]
) -> None:
    ran = run(theatre, "page", *arguments, "--no-browser")
    assert ran.returncode == 2
    assert said in ran.stderr
    assert ran.stdout == ""


def test_a_port_that_is_taken_is_told(page: Any, theatre: Path, run: Callable[..., Any]) -> None:
    ran = run(theatre, "page", "left.toml", "venue.toml", "--no-browser", "--port", str(page.port))
    assert ran.returncode == 2
    assert "--port: cannot be used" in ran.stderr
