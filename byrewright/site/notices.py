"""Notices out of the building: e-mail and webhook, when an alarm of the real plant is raised.

They are sent by threads of their own, tried again when they fail, and never hold up the watch.
"""

from __future__ import annotations

import asyncio
import json
import smtplib
import ssl
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from pathlib import Path
from typing import Any

from byrewright.engine.interlocks import DRAFT
from byrewright.site.settings import EmailSettings, Settings, WebhookSettings, secret

SEND_S = 15.0
AGAIN_S = (5.0, 15.0, 60.0, 300.0, 900.0)
"""Waits between tries; the last is repeated."""
GIVE_UP_S = 24 * 3600.0
MOST_WAITING = 100
WAYS = {"email": "e-mail", "webhook": "web address"}


@dataclass(frozen=True, slots=True)
class Notice:
    """What is sent: one raised alarm, or a test."""

    subject: str
    body: str
    data: dict[str, Any]


def notice_of(plant: str, text: str, do: str, priority: str, at: float, page: str = "") -> Notice:
    """The notice of a raised alarm."""
    clock = time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(at))
    lines = [text, "", do, "", f"Raised {clock}. Priority {priority}.", page, "", DRAFT]
    data = {"plant": plant, "alarm": text, "do": do, "priority": priority, "at": clock}
    return Notice(f"ALARM {plant}: {text}", "\n".join(lines), data)


def test_notice(plant: str, who: str) -> Notice:
    """A notice that says it is only a test."""
    text = f"Test of notices, asked for by {who}. There is no alarm."
    return Notice(f"Test {plant}", text, {"plant": plant, "test": True, "who": who})


test_notice.__test__ = False  # type: ignore[attr-defined]


def send_email(to: EmailSettings, password: str, notice: Notice) -> None:
    """Send one e-mail; raises what smtplib raises, or OSError."""
    mail = EmailMessage()
    mail["Subject"], mail["From"], mail["To"] = notice.subject, to.sender, ", ".join(to.to)
    mail["Date"], mail["Message-ID"] = formatdate(localtime=True), make_msgid(domain="byrewright")
    mail.set_content(notice.body)
    made: smtplib.SMTP
    if to.security == "tls":
        made = smtplib.SMTP_SSL(
            to.server, to.port, timeout=SEND_S, context=ssl.create_default_context()
        )
    else:
        made = smtplib.SMTP(to.server, to.port, timeout=SEND_S)
    with made as server:
        if to.security == "starttls":
            server.starttls(context=ssl.create_default_context())
        if to.user:
            server.login(to.user, password)
        server.send_message(mail)


def send_webhook(to: WebhookSettings, notice: Notice) -> None:
    """Send one request; raises OSError when it is not taken."""
    said = json.dumps({"subject": notice.subject, **notice.data}).encode()
    asked = urllib.request.Request(to.url, said, {"content-type": "application/json"})
    with urllib.request.urlopen(asked, timeout=SEND_S) as answer:
        answer.read(1)


class Way:
    """One way out of the building, with what waits to be sent."""

    def __init__(self, name: str, send: Callable[[Notice], None], again_s: Sequence[float]) -> None:
        self.name, self.send, self.again_s = name, send, again_s
        self.failed = ""
        """Why the last try failed; "" when it did not."""
        self.sent = 0
        self._queue: list[tuple[Notice, float]] = []
        self._wake = asyncio.Event()

    def put(self, notice: Notice) -> None:
        """Have it sent."""
        self._queue.append((notice, time.monotonic()))
        if len(self._queue) > MOST_WAITING:
            del self._queue[0]
        self._wake.set()

    async def run(self) -> None:
        """Send what waits, for ever."""
        tries = 0
        while True:
            if not self._queue:
                self._wake.clear()
                await self._wake.wait()
                continue
            notice, since = self._queue[0]
            said = await asyncio.to_thread(self.try_once, notice)
            self.failed = said
            if not said or time.monotonic() - since > GIVE_UP_S:
                self._queue.pop(0)
                tries = 0
                self.sent += not said
                continue
            await asyncio.sleep(self.again_s[min(tries, len(self.again_s) - 1)])
            tries += 1

    def try_once(self, notice: Notice) -> str:
        """Send now; why it failed, or ""."""
        try:
            self.send(notice)
        except urllib.error.HTTPError as error:
            return f"the address answers {error.code}"
        except smtplib.SMTPAuthenticationError:
            return "the mail server refuses user or password"
        except smtplib.SMTPRecipientsRefused:
            return "the mail server refuses the address"
        except smtplib.SMTPException as error:
            return f"the mail server refuses ({type(error).__name__})"
        except TimeoutError:
            return "no answer in time"
        except ssl.SSLError as error:
            return f"no encrypted connection ({error.reason or 'refused'})"
        except urllib.error.URLError as error:
            return f"cannot be reached ({error.reason})"
        except (OSError, ValueError) as error:
            return f"cannot be reached ({error})"
        return ""


class Notifier:
    """Every way that is set, and how each fares."""

    def __init__(
        self, plant_path: Path, settings: Settings, again_s: Sequence[float] = AGAIN_S
    ) -> None:
        self.ways: list[Way] = []
        one = settings.notices
        self.page = (one.page or "") if one else ""
        if one is not None and one.email is not None:
            email, word = one.email, secret(plant_path, one.email.password_file)
            self.ways.append(Way("email", lambda n: send_email(email, word, n), again_s))
        if one is not None and one.webhook is not None:
            hook = one.webhook
            self.ways.append(Way("webhook", lambda n: send_webhook(hook, n), again_s))
        self._tasks: list[asyncio.Task[None]] = []

    def put(self, notice: Notice) -> None:
        """Send by every way."""
        for way in self.ways:
            way.put(notice)

    async def test(self, notice: Notice) -> dict[str, str]:
        """Try every way once, now: why each failed, or ""."""
        said = await asyncio.gather(*(asyncio.to_thread(w.try_once, notice) for w in self.ways))
        for way, why in zip(self.ways, said, strict=True):
            way.failed = why
        return self.state()

    def state(self) -> dict[str, str]:
        """Each way, and why it fails now."""
        return {w.name: w.failed for w in self.ways}

    async def __aenter__(self) -> Notifier:
        self._tasks = [asyncio.create_task(w.run()) for w in self.ways]
        return self

    async def __aexit__(self, *_: object) -> None:
        for task in self._tasks:
            task.cancel()
