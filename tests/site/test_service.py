"""The watch as a process: its door, practice apart from the real plant, ending, notices."""

from __future__ import annotations

import asyncio
import contextlib
import json
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import ClassVar

import pytest

from byrewright.site.controller import LOOPBACK
from byrewright.site.door import Door, Knock, Nobody, door_file
from byrewright.site.log import Owner, log_beside, read_back
from byrewright.site.notices import Notifier, notice_of, test_notice
from byrewright.site.service import Order, WatchError, keep_order, kept_order, order_file
from byrewright.site.settings import (
    EmailSettings,
    NoticeSettings,
    Settings,
    SettingsError,
    WebhookSettings,
    security_of,
    settings_beside,
)
from tests.site.test_alarms import ON_S, one_row_table
from tests.site.test_watch import WRONG, Clock, Flaky, watching

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "rows_two_by_twenty" / "plant.yaml"
READERS = 50
START_S = 60.0  # a cold, busy machine imports for long


@contextlib.asynccontextmanager
async def practice(plant: Path) -> AsyncIterator[tuple[asyncio.subprocess.Process, Knock]]:
    """A practice watch in a process of its own, as the pages begin one."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "byrewright", "watch", str(plant), "--simulate", "--with-parent",
        cwd=ROOT, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL,
    )  # fmt: skip
    knock = Knock(door_file(plant, "practice"))
    end = time.monotonic() + START_S
    while True:
        try:
            await knock.connect()
            break
        except Nobody:
            assert process.returncode is None and time.monotonic() < end
            await asyncio.sleep(0.1)
    try:
        yield process, knock
    finally:
        await knock.close()
        if process.returncode is None:
            process.kill()
        await process.wait()


async def until(what: object, limit_s: float = 10.0) -> None:
    """Wait until something holds."""
    end = time.monotonic() + limit_s
    while not what():  # type: ignore[operator]
        assert time.monotonic() < end
        await asyncio.sleep(0.02)


async def test_a_practice_watch_from_begin_to_end(tmp_path: Path) -> None:
    """Would fail if practice alarmed late, touched the real log, or ended without name and
    reason, or an alarm that stood was lost by it."""
    plant = tmp_path / "plant.yaml"
    plant.write_bytes(EXAMPLE.read_bytes())
    async with practice(plant) as (process, knock):
        assert knock.heard is not None
        await until(lambda: knock.heard and knock.heard.live)
        assert knock.heard.snapshot.world == "practice" and not knock.heard.snapshot.alarms
        mode = knock.heard.snapshot.practised["mode"]
        assert "milking" in mode  # where there is something to see
        assert await knock.ask("practise", mode=mode, wrong="V19=open") == ""
        begun = time.monotonic()
        await until(lambda: knock.heard and knock.heard.snapshot.alarms)
        assert time.monotonic() - begun < ON_S + 2  # its delay, a reading, and a busy machine
        (alarm,) = knock.heard.snapshot.alarms
        assert await knock.ask("acknowledge", tag=alarm.tag) == "who_needed"
        assert await knock.ask("acknowledge", who="anna", tag=alarm.tag) == ""
        assert await knock.ask("end", who="anna") == "why_needed"
        assert await knock.ask("end", who="anna", why="lesson over") == ""
        assert await asyncio.wait_for(process.wait(), 20) == 0
        assert knock.ended
    assert not log_beside(plant).exists() and not door_file(plant, "practice").exists()
    events, states = read_back(log_beside(plant, "practice"), Owner("", "", "practice"), 50)
    assert (events[0].kind, events[0].who) == ("stopped", "anna")
    assert "lesson over" in events[0].text and "stand and are kept: 1" in events[0].text
    assert [a.state for some in states.values() for a in some.values()] == ["acknowledged"]


async def test_practice_ends_when_nobody_holds_it_any_more(tmp_path: Path) -> None:
    """Would fail if a practice watch stayed behind when the pages' server was killed."""
    plant = tmp_path / "plant.yaml"
    plant.write_bytes(EXAMPLE.read_bytes())
    async with practice(plant) as (process, _):
        assert process.stdin is not None
        process.stdin.close()
        assert await asyncio.wait_for(process.wait(), 20) == 0


async def test_many_readers_hold_up_nothing(tmp_path: Path) -> None:
    """Would fail if fifty readers, one of them asleep, delayed a reading or saw no alarm."""
    clock, source = Clock(), Flaky()
    watch = watching(one_row_table(), source, tmp_path / "log.sqlite", clock)
    async with Door(watch, tmp_path / "door.json", {}):
        knocks = [Knock(tmp_path / "door.json") for _ in range(READERS)]
        for one in knocks:
            await one.connect()
        asleep = await asyncio.open_connection(LOOPBACK, _port(tmp_path), limit=10)
        asleep[1].write(_secret(tmp_path))
        source.contacts = WRONG
        slowest = 0.0
        for _ in range(200):
            clock.now += 1
            begun = time.perf_counter()
            await watch.step()
            slowest = max(slowest, time.perf_counter() - begun)
            await asyncio.sleep(0)
        await until(lambda: all(k.heard and k.heard.snapshot.alarms for k in knocks))
        assert slowest < 0.5
        for one in knocks:
            await one.close()
        asleep[1].close()
    watch.journal.close()


async def test_the_door_opens_to_its_secret_only(tmp_path: Path) -> None:
    """Would fail if any program on this computer could acknowledge an alarm."""
    watch = watching(one_row_table(), Flaky(), tmp_path / "log.sqlite", Clock())
    file = tmp_path / "door.json"
    async with Door(watch, file, {}):
        assert file.stat().st_mode & 0o077 == 0
        for said in (b'{"secret": "guess"}\n', b"nonsense\n", b"\xff\xfe\n"):
            reader, writer = await asyncio.open_connection(LOOPBACK, _port(tmp_path))
            writer.write(said)
            assert await asyncio.wait_for(reader.read(), 5) == b""
            writer.close()
    with pytest.raises(Nobody):
        await Knock(file).connect()
    watch.journal.close()


def _port(folder: Path) -> int:
    return int(json.loads((folder / "door.json").read_text())["port"])


def _secret(folder: Path) -> bytes:
    secret = json.loads((folder / "door.json").read_text())["secret"]
    return json.dumps({"secret": secret}).encode() + b"\n"


def test_what_is_watched_is_remembered(tmp_path: Path) -> None:
    """Would fail if a restart did not know what had been watched, or choked on a broken note."""
    plant = tmp_path / "plant.yaml"
    order = Order("modbus", "10.0.0.5:502", "milking", who="anna")
    assert kept_order(plant) is None
    keep_order(plant, order)
    assert kept_order(plant) == order
    order_file(plant).write_text("{broken")
    assert kept_order(plant) is None


@pytest.mark.parametrize("where", ["", "10.0.0.5", "10.0.0.5:0", "10.0.0.5:70000", "x:٥"])
def test_an_address_is_refused_in_a_sentence(where: str) -> None:
    """Would fail if a wrong address were found out only when the watch runs."""
    with pytest.raises(WatchError, match=r"10\.0\.0\.5:502"):
        Order("modbus", where).checked()
    with pytest.raises(WatchError, match=r"opc\.tcp"):
        Order("opcua", where).checked()


# notices -----------------------------------------------------------------------------------


@dataclass
class Post:
    """A mail server on loopback that refuses the first so many mails."""

    refuse: int = 0
    encrypts: ssl.SSLContext | None = None
    encrypted: str = ""
    mails: list[str] = field(default_factory=list)
    port: int = 0

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """SMTP (RFC 5321), as much of it as one mail needs."""
        writer.write(b"220 test\r\n")
        with contextlib.suppress(OSError):
            while line := (await reader.readline()).decode().strip():
                word = line[:4].upper()
                if word == "RCPT" and self.refuse:
                    self.refuse -= 1
                    writer.write(b"451 later\r\n")
                elif word == "DATA":
                    writer.write(b"354 go\r\n")
                    self.mails.append((await reader.readuntil(b"\r\n.\r\n")).decode())
                    writer.write(b"250 taken\r\n")
                elif word == "EHLO" and self.encrypts and not self.encrypted:
                    writer.write(b"250-test\r\n250 STARTTLS\r\n")
                elif word == "STAR" and self.encrypts:
                    writer.write(b"220 go\r\n")
                    await writer.start_tls(self.encrypts)
                    self.encrypted = "starttls"
                elif word == "QUIT":
                    writer.write(b"221 bye\r\n")
                    break
                else:
                    writer.write(b"250 ok\r\n")
        writer.close()


class Hook(BaseHTTPRequestHandler):
    """A web address that takes requests, after refusing the first so many."""

    taken: ClassVar[list[dict[str, str]]] = []
    refuse = 0

    def do_POST(self) -> None:
        """One request."""
        said = self.rfile.read(int(self.headers["content-length"]))
        if Hook.refuse:
            Hook.refuse -= 1
            self.send_error(503)
            return
        Hook.taken.append(json.loads(said))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Silent."""


@pytest.fixture
def hook() -> Iterator[str]:
    """The address of a web hook on loopback."""
    server = HTTPServer((LOOPBACK, 0), Hook)
    Hook.taken.clear()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://{LOOPBACK}:{server.server_port}/alarm"
    server.shutdown()
    server.server_close()


async def test_notices_go_out_are_tried_again_and_say_when_they_fail(
    tmp_path: Path, hook: str
) -> None:
    """Would fail if an alarm did not reach the person on call, or failing was kept quiet."""
    post = Post(refuse=1)
    Hook.refuse = 2
    async with await asyncio.start_server(post.talk, LOOPBACK, 0) as server:
        port = server.sockets[0].getsockname()[1]
        email = EmailSettings(server=LOOPBACK, port=port, security="none", sender="byre@test",
                              to=("anna@test", "ben@test"))  # fmt: skip
        settings = Settings(
            notices=NoticeSettings(email=email, webhook=WebhookSettings(url=hook))
        )  # fmt: skip
        async with Notifier(tmp_path / "plant.yaml", settings, again_s=(0.05,)) as notifier:
            notifier.put(notice_of("(invented)", "V1 not closed", "Shut it.", "high", 0.0))
            await until(lambda: any(notifier.state().values()))
            await until(lambda: post.mails and Hook.taken and not any(notifier.state().values()))
            assert len(post.mails) == 1 and "V1 not closed" in post.mails[0]
            assert "Shut it." in post.mails[0] and "anna@test, ben@test" in post.mails[0]
            assert [t["alarm"] for t in Hook.taken] == ["V1 not closed"]
            said = await notifier.test(test_notice("(invented)", "anna"))
            assert said == {"email": "", "webhook": ""} and Hook.taken[-1]["test"]
            server.close()
            Hook.refuse = 1
            said = await notifier.test(test_notice("(invented)", "anna"))
            assert "cannot be reached" in said["email"] and "503" in said["webhook"]
            assert notifier.state() == said


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """A certificate that a mail server signed for itself, and its key."""
    made, key = tmp_path / "mail.pem", tmp_path / "mail.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
         "/CN=localhost", "-addext", "subjectAltName=DNS:localhost", "-out", made, "-keyout", key],
        check=True, capture_output=True,
    )  # fmt: skip
    return made, key


@pytest.mark.parametrize("security", ["tls", "starttls"])
async def test_mail_is_encrypted_and_only_to_a_server_that_is_trusted(
    security: str, certificate: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a notice or a password went out in plain text, or to whoever answers."""
    theirs = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    theirs.load_cert_chain(*certificate)
    post = Post(encrypts=theirs if security == "starttls" else None)
    always = theirs if security == "tls" else None
    async with await asyncio.start_server(post.talk, LOOPBACK, 0, ssl=always) as server:
        port = server.sockets[0].getsockname()[1]
        to = {"server": "localhost", "port": port, "security": security, "sender": "byre@test"}
        email = EmailSettings.model_validate({**to, "to": ("anna@test",)})
        settings = Settings(notices=NoticeSettings(email=email))
        async with Notifier(tmp_path / "plant.yaml", settings) as notifier:
            said = await notifier.test(test_notice("(invented)", "anna"))
            assert "no encrypted connection" in said["email"] and not post.mails
            monkeypatch.setenv("SSL_CERT_FILE", str(certificate[0]))
            said = await notifier.test(test_notice("(invented)", "anna"))
        assert said == {"email": ""} and len(post.mails) == 1
    assert post.encrypted == ("starttls" if security == "starttls" else "")


def test_settings_are_off_by_default_and_complain_clearly(tmp_path: Path) -> None:
    """Would fail if a slip in the settings passed unseen, or notices went out unasked."""
    plant, file = tmp_path / "plant.yaml", tmp_path / "watch.yaml"
    assert settings_beside(plant) == Settings()
    assert not Notifier(plant, Settings()).ways
    for text, words in (
        ("notices: {email: {server: mail, sender: a@b}}", "missing"),
        ("notices:\n  webhook: {url: 'ftp://x'}", "https://"),
        ("opcua: {security: Basic128}", "one of"),
        ("notice: {}", "not known"),
    ):
        file.write_text(text)
        with pytest.raises(SettingsError, match=words) as said:
            settings_beside(plant)
        assert "watch.yaml:" in str(said.value)
    file.write_text("opcua: {certificate: a.der}")
    with pytest.raises(Exception, match=r"a\.der: no such file"):
        security_of(plant, settings_beside(plant))
