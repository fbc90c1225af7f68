"""Who may come in: loopback or a password, sessions, origin, rate of tries, size of uploads."""

from __future__ import annotations

import stat
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

import pytest

from byrewright.web import access
from byrewright.web.access import Gate, Guard, RefusedToStart
from byrewright.web.folder import Folder
from byrewright.web.server import gate_for

PASSWORD = "long enough words"


@pytest.fixture(scope="module")
def hashed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a password set."""
    folder = tmp_path_factory.mktemp("guarded")
    access.set_password(folder, PASSWORD)
    return folder


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "farm.example"])
def test_another_address_needs_a_password(tmp_path: Path, host: str) -> None:
    """Would fail if the pages could be opened to a network without a password."""
    with pytest.raises(RefusedToStart, match="--set-password"):
        gate_for(Folder(tmp_path), host)


def test_loopback_needs_none_and_a_password_opens_the_rest(hashed: Path, tmp_path: Path) -> None:
    """Would fail if serving on one's own computer asked for a password, or one did not suffice."""
    for host in ("127.0.0.1", "localhost", "::1"):
        assert gate_for(Folder(tmp_path), host).hash is None
    assert gate_for(Folder(hashed), "0.0.0.0").hash is not None


def test_the_password_is_kept_as_an_argon2_hash_for_the_owner_only(hashed: Path) -> None:
    """Would fail if the password could be read from the file, or by others."""
    path = hashed / access.PASSWORD_FILE
    assert PASSWORD not in path.read_text()
    assert "$argon2id$" in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_short_password_and_a_broken_file_are_refused(tmp_path: Path) -> None:
    """Would fail if a weak password were taken, or a broken file meant no password at all."""
    with pytest.raises(RefusedToStart):
        access.set_password(tmp_path, "short")
    (tmp_path / access.PASSWORD_FILE).write_text("{}")
    with pytest.raises(RefusedToStart):
        gate_for(Folder(tmp_path), "0.0.0.0")


def test_tries_are_limited_and_sessions_end(hashed: Path) -> None:
    """Would fail if a password could be guessed at speed, or a session lived for ever."""
    now = [0.0]
    gate = Gate(access.password_hash(hashed), False, clock=lambda: now[0])
    for _ in range(access.TRIES):
        assert gate.log_in("10.0.0.9", "wrong") is None
    assert gate.wait_s("10.0.0.9") > 0
    assert gate.log_in("10.0.0.9", PASSWORD) is None
    secret = gate.log_in("10.0.0.7", PASSWORD)
    assert secret is not None and gate.knows(secret)
    now[0] = access.WINDOW_S + 1
    again = gate.log_in("10.0.0.9", PASSWORD)
    assert again is not None
    gate.log_out(again)
    assert not gate.knows(again) and gate.knows(secret)
    now[0] += access.SESSION_S
    assert not gate.knows(secret)


async def ask(
    gate: Gate, *, kind: str = "http", method: str = "GET", path: str = "/", **headers: str
) -> int:
    """What the guard answers: a status, 200 where it lets pass."""
    told: list[int] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        if kind == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b""})
        else:
            told.append(200)

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "websocket.connect"} if kind == "websocket" else {"type": "http.request"}

    async def send(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            told.append(message["status"])
        if message["type"] == "websocket.close":
            told.append(message["code"])

    given = {"host": "127.0.0.1:8765", **{k.replace("_", "-"): v for k, v in headers.items()}}
    scope = {
        "type": kind, "method": method, "path": path, "client": ("127.0.0.1", 5),
        "headers": [(k.encode(), v.encode()) for k, v in given.items()],
    }  # fmt: skip
    await Guard(app, gate)(scope, receive, send)
    return told[0]


async def test_requests_from_other_sites_are_refused() -> None:
    """Would fail if a page elsewhere could act through the visitor's browser."""
    gate = Gate(None, True)
    assert await ask(gate) == 200
    assert await ask(gate, method="POST", origin="http://127.0.0.1:8765") == 200
    assert await ask(gate, method="POST", origin="http://evil.example") == 403
    assert await ask(gate, method="POST", origin="null") == 403
    assert await ask(gate, path="/_nicegui_ws/socket.io/", origin="http://evil.example") == 403
    assert await ask(gate, method="POST", sec_fetch_site="cross-site") == 403
    assert await ask(gate, kind="websocket", origin="http://127.0.0.1:8765") == 200
    assert await ask(gate, kind="websocket", origin="http://evil.example") == 1008
    assert await ask(gate, kind="websocket", origin="http://127.0.0.1:9999") == 1008


async def test_a_foreign_host_name_is_refused_on_loopback() -> None:
    """Would fail if a name that points to loopback could get round the browser's own rules."""
    assert await ask(Gate(None, True), host="evil.example:8765") == 421
    assert await ask(Gate("x", False), host="farm.example", path=access.LOG_IN) == 200


async def test_uploads_are_limited() -> None:
    """Would fail if somebody could fill the memory with one request."""
    gate = Gate(None, True)
    over = str(access.LARGEST_UPLOAD + 1)
    assert (
        await ask(gate, method="POST", content_length=over, origin="http://127.0.0.1:8765") == 413
    )
    assert (
        await ask(gate, method="POST", content_length="-1", origin="http://127.0.0.1:8765") == 413
    )


async def test_a_visitor_who_left_before_asking_brings_no_fault() -> None:
    """Would fail if a browser closed at the wrong moment left a traceback in the server's log."""
    heard: list[str] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        heard.extend([(await receive())["type"], (await receive())["type"]])

    async def gone() -> MutableMapping[str, Any]:
        return {"type": "http.disconnect"}

    async def send(message: MutableMapping[str, Any]) -> None:
        return None

    scope = {"type": "http", "method": "GET", "path": "/", "client": ("127.0.0.1", 5),
             "headers": [(b"host", b"127.0.0.1:8765")]}  # fmt: skip
    await Guard(app, Gate(None, True))(scope, gone, send)
    assert heard == ["http.request", "http.disconnect"]


async def test_without_a_session_only_the_log_in_opens(hashed: Path) -> None:
    """Would fail if any page, download or socket were open without the password."""
    gate = Gate(access.password_hash(hashed), False)
    assert await ask(gate, accept="text/html") == 303
    assert await ask(gate, path="/p/one/pack.zip") == 401
    assert await ask(gate, kind="websocket", path="/_nicegui_ws/socket.io/") == 1008
    assert await ask(gate, path="/_nicegui/x.js") == 401
    assert await ask(gate, path=access.LOG_IN) == 200
    secret = gate.log_in("127.0.0.1", PASSWORD)
    assert await ask(gate, cookie=f"{access.COOKIE}={secret}") == 200
    assert await ask(gate, cookie=f"{access.COOKIE}=guess") == 401
