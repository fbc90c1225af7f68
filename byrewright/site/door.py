"""The door of a running watch: pages and commands on this computer read its state and act.

A watch listens on loopback and writes port and secret into a file that only its owner can read.
Lines of JSON go both ways. Whoever reads never holds up the watch.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import os
import secrets
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from byrewright.site.alarms import Event
from byrewright.site.log import World
from byrewright.site.watch import Snapshot, Watch, snapshot_of

LOOPBACK = "127.0.0.1"
BEAT_S = 1.0
LARGEST = 4_000_000
BEHIND = 1_000_000
"""Bytes that a reader may be behind before it is let go."""
ANSWER_S = 8.0
Action = Callable[[Mapping[str, str]], Awaitable[str]]


class Nobody(Exception):  # a state: no watch is there to be asked
    """No watch answers at the door."""


def door_file(plant_path: Path, world: World = "real") -> Path:
    """Where a watch of a plant says how it is reached."""
    return plant_path.with_name(f".{plant_path.stem}.{world}-watch.json")


class Door:
    """Serves one watch's state, and what people may do with it."""

    def __init__(
        self, watch: Watch, file: Path, acts: Mapping[str, Action], extra: Callable[[], Any] = dict
    ) -> None:
        self.watch, self.file, self.acts, self.extra = watch, file, acts, extra
        self.readers = 0
        self._secret = secrets.token_urlsafe(32)
        self._server: asyncio.Server | None = None
        self._lines: set[asyncio.StreamWriter] = set()
        self._told_at = 0.0
        self._last = ""
        self._beat: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Door:
        self._server = await asyncio.start_server(self._visitor, LOOPBACK, 0, limit=LARGEST)
        port = self._server.sockets[0].getsockname()[1]
        said = {"port": port, "secret": self._secret, "pid": os.getpid()}
        with contextlib.suppress(OSError):  # a full disk: the watch goes on, unseen by pages
            self.file.unlink(missing_ok=True)
            handle = os.open(self.file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
            with os.fdopen(handle, "w") as out:
                json.dump(said, out)
        self.watch.listeners.append(self._tell)
        self._beat = asyncio.create_task(self._ticking())
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._beat is not None:
            self._beat.cancel()
        self._send({"ended": True})
        if self._server is not None:
            self._server.close()
        for line in list(self._lines):
            line.close()
        with contextlib.suppress(OSError, ValueError):
            if json.loads(self.file.read_text())["secret"] == self._secret:
                self.file.unlink()

    async def _ticking(self) -> None:
        """A state each second, also while a reading hangs."""
        while True:
            await asyncio.sleep(BEAT_S)
            if time.monotonic() - self._told_at > 0.9 * BEAT_S:
                self.watch.tell()

    def _tell(self, snapshot: Snapshot) -> None:
        self._told_at = time.monotonic()
        if self._lines:
            self._send(self._state(snapshot))

    def _state(self, snapshot: Snapshot, everything: bool = False) -> dict[str, Any]:
        said: dict[str, Any] = {"snapshot": snapshot.to_dict(), "extra": self.extra()}
        recent = self.watch.journal.recent
        last = recent[-1].uid if recent else ""
        if everything or last != self._last:
            said["events"] = [asdict(e) for e in list(recent)]
            self._last = last
        return said

    def _send(self, said: Mapping[str, Any]) -> None:
        line = json.dumps(said).encode() + b"\n"
        for one in list(self._lines):
            if one.transport.get_write_buffer_size() > BEHIND:
                one.close()
                self._lines.discard(one)
            else:
                one.write(line)

    async def _visitor(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            first = json.loads(await asyncio.wait_for(reader.readline(), ANSWER_S))
            if not hmac.compare_digest(str(first["secret"]), self._secret):
                return
            self._lines.add(writer)
            self.readers += 1
            writer.write(json.dumps(self._state(self.watch.look(), True)).encode() + b"\n")
            while line := await reader.readline():
                asked = json.loads(line)
                act = self.acts.get(str(asked.get("do")))
                said = await act(asked) if act else "unknown"
                writer.write(json.dumps({"answer": asked.get("id"), "said": said}).encode() + b"\n")
        except (TimeoutError, OSError, ValueError, KeyError, TypeError):
            return  # a visitor that talks nonsense or goes away is no matter of the watch
        finally:
            if writer in self._lines:
                self._lines.discard(writer)
                self.readers -= 1
            writer.close()


@dataclass
class Heard:
    """The last that was heard of a watch, and when on the forward clock."""

    snapshot: Snapshot
    at: float
    extra: Mapping[str, Any]

    @property
    def silent_s(self) -> float:
        """How long nothing has been heard."""
        return time.monotonic() - self.at

    @property
    def live(self) -> bool:
        """Whether what it shows is of now."""
        return self.snapshot.live(self.silent_s)


class Knock:
    """A connection to a running watch."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.heard: Heard | None = None
        self.events: list[Event] = []
        self.pid = 0
        self.ended = False
        """Whether the watch said good-bye."""
        self._writer: asyncio.StreamWriter | None = None
        self._asked: dict[int, asyncio.Future[str]] = {}
        self._number = 0
        self._reading: asyncio.Task[None] | None = None

    @property
    def open(self) -> bool:
        """Whether somebody is at the door."""
        return self._reading is not None and not self._reading.done()

    async def connect(self) -> None:
        """Knock, and hear the first state.

        Raises:
            Nobody: there is no watch.
        """
        try:
            said = json.loads(self.file.read_text(encoding="utf-8"))
            self.pid = int(said["pid"])
            reader, writer = await asyncio.open_connection(
                LOOPBACK, int(said["port"]), limit=LARGEST
            )
            writer.write(json.dumps({"secret": said["secret"]}).encode() + b"\n")
            self._hear(await asyncio.wait_for(reader.readline(), ANSWER_S))
        except (OSError, ValueError, KeyError, TypeError, TimeoutError):
            raise Nobody from None
        self._writer = writer
        self._reading = asyncio.create_task(self._listen(reader))

    async def _listen(self, reader: asyncio.StreamReader) -> None:
        try:
            while line := await reader.readline():
                self._hear(line)
        except (OSError, ValueError, KeyError, TypeError):
            return
        finally:
            if self._writer is not None:
                self._writer.close()
            for waiting in self._asked.values():
                if not waiting.done():
                    waiting.cancel()

    def _hear(self, line: bytes) -> None:
        said = json.loads(line)
        if "answer" in said:
            waiting = self._asked.pop(said["answer"], None)
            if waiting is not None and not waiting.done():
                waiting.set_result(str(said["said"]))
        elif "ended" in said:
            self.ended = True
        else:
            self.heard = Heard(snapshot_of(said["snapshot"]), time.monotonic(), said["extra"])
            if "events" in said:
                self.events = [Event(**one) for one in reversed(said["events"])]

    async def ask(self, do: str, **words: str) -> str:
        """Have something done; what is said to it ("" is well done).

        Raises:
            Nobody: the watch does not answer.
        """
        if self._writer is None or not self.open:
            raise Nobody
        self._number += 1
        number = self._number
        waiting: asyncio.Future[str] = asyncio.get_running_loop().create_future()
        self._asked[number] = waiting
        self._writer.write(json.dumps({"id": number, "do": do, **words}).encode() + b"\n")
        try:
            return await asyncio.wait_for(waiting, ANSWER_S)
        except (TimeoutError, asyncio.CancelledError):
            raise Nobody from None

    async def close(self) -> None:
        """Go away; the watch goes on."""
        if self._reading is not None:
            self._reading.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._reading
