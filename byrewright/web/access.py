"""Who may come in: loopback or a password, sessions, origin of requests, size of uploads.

Written as plain ASGI so that it stands before everything else, pages and web sockets alike.
"""

from __future__ import annotations

import hmac
import ipaddress
import json
import os
import secrets
import time
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from byrewright.errors import ByrewrightError
from byrewright.plant.write import write_text

PASSWORD_FILE = ".byrewright-password.json"
COOKIE = "byrewright_session"
SESSION_S = 12 * 3600.0
TRIES = 5
WINDOW_S = 300.0
"""A person or program may try so often in so long a time; then it must wait."""
MOST_REMEMBERED = 1000
LEAST_LETTERS = 10
LARGEST_UPLOAD = 6_000_000
"""Bytes of one request: a little over the largest plant file."""
LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1", "[::1]"})
LOG_IN = "/log-in"
OPEN_PATHS = (LOG_IN, "/look/")
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
        b"style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        b"connect-src 'self' ws: wss:; object-src 'none'; base-uri 'self'; form-action 'self'; "
        b"frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
)


class RefusedToStart(ByrewrightError):
    """The pages cannot be served this way; says what to do."""


def is_loopback(host: str) -> bool:
    """Whether only this computer can reach an address to listen on.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def set_password(folder: Path, password: str) -> Path:
    """Keep the hash of a password beside the plants, readable by the owner only.

    Raises:
        RefusedToStart: the password is too short.
    """
    from argon2 import PasswordHasher

    if len(password) < LEAST_LETTERS:
        raise RefusedToStart(f"The password needs at least {LEAST_LETTERS} letters.")
    path = folder / PASSWORD_FILE
    if not path.exists():
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
    write_text(path, json.dumps({"argon2": PasswordHasher().hash(password)}) + "\n")
    path.chmod(0o600)
    return path


def password_hash(folder: Path) -> str | None:
    """The hash kept beside the plants, or None.

    Raises:
        RefusedToStart: the file is there and cannot be used.
    """
    path = folder / PASSWORD_FILE
    if not path.exists():
        return None
    try:
        return str(json.loads(path.read_text(encoding="utf-8"))["argon2"])
    except (OSError, ValueError, KeyError, TypeError):
        raise RefusedToStart(
            f"{path}: cannot be read as a password file; delete it and set the password again"
        ) from None


@dataclass
class Gate:
    """Sessions and log-in tries. Without a password there is nothing to log in to."""

    hash: str | None
    loopback: bool
    behind_proxy: bool = False
    """Whether a proxy on this computer stands before, and says who asks and how."""
    clock: Callable[[], float] = time.monotonic
    _sessions: dict[str, float] = field(default_factory=dict)
    _tries: dict[str, list[float]] = field(default_factory=dict)

    def wait_s(self, who: str) -> float:
        """How long somebody must wait before the next try, s."""
        now = self.clock()
        if len(self._tries) > MOST_REMEMBERED:
            self._tries = {w: t for w, t in self._tries.items() if t and now - t[-1] < WINDOW_S}
        recent = [t for t in self._tries.get(who, []) if now - t < WINDOW_S]
        self._tries[who] = recent
        return WINDOW_S - (now - recent[0]) if len(recent) >= TRIES else 0.0

    def log_in(self, who: str, password: str) -> str | None:
        """A new session's secret, or None for a wrong password or too many tries."""
        from argon2 import PasswordHasher
        from argon2.exceptions import Argon2Error, InvalidHashError

        if self.hash is None or self.wait_s(who):
            return None
        self._tries[who].append(self.clock())
        try:
            PasswordHasher().verify(self.hash, password[:1024])
        except (Argon2Error, InvalidHashError):
            return None
        self._tries.pop(who, None)
        secret = secrets.token_urlsafe(32)
        now = self.clock()
        self._sessions = {s: t for s, t in self._sessions.items() if t > now}
        self._sessions[secret] = now + SESSION_S
        return secret

    def log_out(self, secret: str) -> None:
        """End a session."""
        self._sessions.pop(secret, None)

    def knows(self, secret: str) -> bool:
        """Whether a session is running."""
        now = self.clock()
        return any(
            hmac.compare_digest(kept, secret) and until > now
            for kept, until in self._sessions.items()
        )


def headers_of(scope: Scope) -> dict[str, str]:
    """A request's headers by lower-case name."""
    return {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}


def session_of(headers: Mapping[str, str]) -> str:
    """The session secret that a request carries, or ""."""
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""


def client_of(scope: Scope, gate: Gate) -> str:
    """Who asks: the address at the other end of the connection, or what our own proxy says.

    The last address in the proxy's list is the one that it saw itself; all before it are hearsay.
    """
    client = str((scope.get("client") or ("unknown", 0))[0])
    if gate.behind_proxy and is_loopback(client):
        told = headers_of(scope).get("x-forwarded-for", "").rpartition(",")[2].strip()
        return told or client
    return client


def encrypted(scope: Scope, gate: Gate) -> bool:
    """Whether the visitor's own connection is encrypted, to us or to our proxy."""
    client = str((scope.get("client") or ("", 0))[0])
    if gate.behind_proxy and is_loopback(client):
        return headers_of(scope).get("x-forwarded-proto", "") == "https"
    return str(scope.get("scheme")) in ("https", "wss")


def same_origin(headers: Mapping[str, str]) -> bool:
    """Whether a request that changes something, or a web socket, comes from our own pages."""
    origin = headers.get("origin")
    if origin is None:
        return headers.get("sec-fetch-site", "none") in ("same-origin", "none")
    return urlsplit(origin).netloc == headers.get("host", "")


class Guard:
    """Stands before the pages and lets through only what may pass."""

    def __init__(self, app: App, gate: Gate) -> None:
        self.app, self.gate = app, gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = headers_of(scope)
        status, why = self._refusal(scope, headers)
        if status:
            await self._refuse(scope, receive, send, status, why)
            return
        if scope["type"] == "websocket":
            await self.app(scope, self._while_known(receive, session_of(headers)), send)
            return
        await self.app(scope, _limited(receive), _with_headers(send))

    def _refusal(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str]:
        socket = scope["type"] == "websocket"
        name = urlsplit("//" + headers.get("host", "")).hostname or ""
        if self.gate.loopback and name not in LOOPBACK_NAMES:
            return 421, "unknown host name"
        acts = socket or scope["method"] not in SAFE or "origin" in headers
        if acts and not same_origin(headers):
            return 403, "request from another site"
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_UPLOAD:
            return 413, "too large"
        path = str(scope["path"])
        if self.gate.hash is None or any(
            path == p or (p.endswith("/") and path.startswith(p)) for p in OPEN_PATHS
        ):
            return 0, ""
        if not self.gate.knows(session_of(headers)):
            page = (
                not socket and scope["method"] == "GET" and "text/html" in headers.get("accept", "")
            )
            return (303, LOG_IN) if page else (401, "log in first")
        return 0, ""

    def _while_known(self, receive: Receive, session: str) -> Receive:
        """What an open page says is heard only as long as its session runs."""

        async def heard() -> MutableMapping[str, Any]:
            message = await receive()
            if self.gate.hash is not None and not self.gate.knows(session):
                return {"type": "websocket.disconnect", "code": 1008}
            return message

        return heard

    async def _refuse(
        self, scope: Scope, receive: Receive, send: Send, status: int, why: str
    ) -> None:
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": why})
            return
        head = [(b"content-type", b"text/plain; charset=utf-8"), *HEADERS]
        if status == 303:
            head.append((b"location", why.encode()))
        await send({"type": "http.response.start", "status": status, "headers": head})
        await send({"type": "http.response.body", "body": why.encode()})


def _limited(receive: Receive) -> Receive:
    """A request's body up to the largest that is taken. A visitor who left before the body came
    has asked with an empty one: the library of sockets knows no request without one."""
    taken, begun = 0, False

    async def limited() -> MutableMapping[str, Any]:
        nonlocal taken, begun
        message = await receive()
        if not begun and message["type"] == "http.disconnect":
            message = {"type": "http.request", "body": b"", "more_body": False}
        begun = True
        taken += len(message.get("body", b""))
        if taken > LARGEST_UPLOAD:
            return {"type": "http.disconnect"}
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            have = {k.lower() for k, _ in message.get("headers", [])}
            extra = [(k, v) for k, v in HEADERS if k not in have]
            message = {**message, "headers": [*message.get("headers", []), *extra]}
        await send(message)

    return sending
