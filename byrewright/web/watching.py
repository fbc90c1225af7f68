"""Watches as the pages see them: processes of their own, which pages only read and ask.

A watch goes on whatever the pages do. It is found by its door, begun as a process, and begun again
when it ended without anybody having ended it; what cannot be begun again is said.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Literal, get_args

from byrewright.errors import ByrewrightError
from byrewright.site.alarms import Alarm, Event
from byrewright.site.door import Heard, Knock, Nobody, door_file
from byrewright.site.log import (
    WORLDS,
    LogRefused,
    LogTrouble,
    Owner,
    World,
    read_back,
)
from byrewright.site.log.home import File
from byrewright.site.log.store import home_of
from byrewright.site.service import WATCHED, Order, drop_order, keep_order, kept_order, order_file
from byrewright.site.watch import NOT_YET
from byrewright.web.folder import Folder, NotServed, Opened

LOOK_S = 0.5
FILES_S = 10.0
BEGIN_S = 90.0
"""A cold, busy machine may take so long to begin."""
AGAIN_S = (2.0, 5.0, 15.0, 60.0)
"""Waits between attempts to begin a watch again; the last is repeated."""
FAILED = 2
"""After so many attempts in vain it is told as not running, also while another is made."""
SILENT_S = 3.0
SHOWN_EVENTS = 200

Kind = Literal[
    "alarm", "dead", "lost", "log", "gone", "notices", "begins", "ended", "blind", "live", "none"
]  # fmt: skip
"""What is to be said of a watch, the worst first."""
WORST: tuple[Kind, ...] = get_args(Kind)


class WatchRefused(ByrewrightError):
    """The watch cannot begin as asked; the text says why."""


@dataclass
class Seen:
    """One plant's watch in one world."""

    path: Path
    world: World
    knock: Knock
    farm: str = ""
    """The farm's name in the plant file, while that can be read."""
    process: asyncio.subprocess.Process | None = None
    said: IO[bytes] | None = None
    """What the process writes to standard error."""
    why: str = ""
    """Why it could not be begun, as its program said."""
    why_key: str = ""
    """The same, as a text of the pages."""
    tries: int = 0
    next_at: float = 0.0
    begun_at: float = 0.0
    past: tuple[list[Event], list[Alarm]] = field(default_factory=lambda: ([], []))
    past_of: object | None = None
    past_trouble: str = ""

    @property
    def heard(self) -> Heard | None:
        """The last state, while somebody is at the door and speaks."""
        heard = self.knock.heard
        return heard if heard is not None and self.knock.open else None

    @property
    def wanted(self) -> bool:
        """Whether it is to run until somebody ends it."""
        return self.world == "real" and order_file(self.path).exists()

    @property
    def starting(self) -> bool:
        """Whether its process has begun and is not at its door yet."""
        return (
            self.process is not None
            and self.process.returncode is None
            and time.monotonic() - self.begun_at < BEGIN_S
        )

    def kind(self) -> Kind:
        """What is to be said of it, the worst first."""
        heard = self.heard
        if heard is None:
            if self.starting and self.tries < FAILED:
                return "begins"
            if self.wanted:
                return "dead"
            return "ended" if self.past[1] else "none"
        shown = heard.snapshot
        if any(a.state != "gone" for a in shown.alarms):
            return "alarm"
        if heard.silent_s > SILENT_S or (not heard.live and shown.age_s is not None):
            return "lost"
        if shown.age_s is None and not heard.live:
            return "lost" if shown.message != NOT_YET else "begins"
        if shown.log:
            return "log"
        if shown.alarms:
            return "gone"
        if any(dict(heard.extra.get("notices", {})).values()):
            return "notices"
        return "live" if shown.mode is not None else "blind"


class Watches:
    """Every watch of the folder, and what the pages may do with it."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.seen: dict[tuple[str, World], Seen] = {}
        self._files: dict[str, Path] = {}
        self._files_at = float("-inf")
        self._loop: asyncio.Task[None] | None = None
        self._beginning = asyncio.Lock()

    async def start(self) -> None:
        """Look for watches, and begin again those that are to run."""
        self._loop = asyncio.create_task(self._looking())

    async def stop(self) -> None:
        """The pages end: their watches end with them, and begin again with them."""
        if self._loop is not None:
            self._loop.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._loop
        for one in self.seen.values():
            if one.wanted and one.knock.open and one.knock.pid:
                with contextlib.suppress(ProcessLookupError, PermissionError):
                    os.kill(one.knock.pid, signal.SIGTERM)
            await one.knock.close()
            if one.process is not None and one.process.returncode is None:
                if one.process.stdin is not None:
                    one.process.stdin.close()
                if one.world == "real":
                    with contextlib.suppress(ProcessLookupError):
                        one.process.terminate()
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(one.process.wait(), 5)

    def of(self, slug: str, world: World = "real") -> Seen:
        """The watch of a plant.

        Raises:
            NotServed: there is no such plant.
        """
        known = self.seen.get((slug, world))
        if known is None:
            path = self.folder.path(slug)
            known = self.seen[slug, world] = _seen(path, world)
        return known

    def every(self) -> list[tuple[str, Seen]]:
        """Every plant's real watch, the worst first."""
        some = [(slug, one) for (slug, world), one in self.seen.items() if world == "real"]
        return sorted(some, key=lambda pair: WORST.index(pair[1].kind()))

    async def begin(self, opened: Opened, order: Order) -> None:
        """Begin a watch; one that runs already is left as it is.

        Raises:
            WatchRefused: it cannot begin.
        """
        one = self.of(opened.slug, order.world)
        async with self._beginning:
            if one.heard is not None:
                return
            if order.world == "real":
                try:
                    keep_order(one.path, order)
                except OSError as error:
                    raise WatchRefused(f"{order_file(one.path)}: {error.strerror}") from None
            await self._spawn(one, order)
            process = one.process
            assert process is not None
            while True:
                await self._knock(one)
                if one.knock.open:
                    return
                if process.returncode is not None:
                    break
                await asyncio.sleep(0.1)
            if order.world == "real":
                drop_order(one.path)
            raise WatchRefused(self._why(one))

    async def ask(self, slug: str, world: World, do: str, **words: str) -> str:
        """Ask a running watch; what it says ("" is well done)."""
        one = self.of(slug, world)
        try:
            said = await one.knock.ask(do, **words)
        except Nobody:
            return "nobody"
        if do == "end" and not said:
            if world == "real":
                drop_order(one.path)
            for _ in range(50):
                if not one.knock.open:
                    break
                await asyncio.sleep(0.1)
        return said

    async def history(self, opened: Opened, world: World) -> tuple[Sequence[Event], str]:
        """The last events, newest first, and what is wrong with the log."""
        one = self.of(opened.slug, world)
        if one.heard is not None:
            return one.knock.events, one.heard.snapshot.log
        await self._look_back(one, opened)
        return one.past[0], one.past_trouble

    # inside ----------------------------------------------------------------------------------

    async def _looking(self) -> None:
        while True:
            if time.monotonic() - self._files_at > FILES_S:
                self._files = await asyncio.to_thread(self.folder.files)
                gone = await asyncio.to_thread(self.folder.bereft, WATCHED)
                self._files_at = time.monotonic()
                for slug, path in gone.items():  # its watch is to run, and may still
                    self.seen.setdefault((slug, "real"), _seen(path, "real"))
            for (slug, world), one in list(self.seen.items()):
                if slug not in self._files and world == "real" and one.wanted:
                    await self._look(slug, one)
            for slug in self._files:
                for world in WORLDS:
                    with contextlib.suppress(NotServed):
                        await self._look(slug, self.of(slug, world))
            await asyncio.sleep(LOOK_S)

    async def _look(self, slug: str, one: Seen) -> None:
        if one.heard is not None:
            one.tries, one.why, one.why_key = 0, "", ""
            return
        if one.knock.file.exists():
            await self._knock(one)
            if one.knock.open:
                return
        if not self._beginning.locked() and one.wanted and not one.starting:
            await self._again(one)
        if one.world == "real":
            with contextlib.suppress(NotServed):
                opened = await asyncio.to_thread(self.folder.open, slug)
                one.farm = opened.plant.site.name if opened.file is not None else ""
                await self._look_back(one, opened)

    async def _knock(self, one: Seen) -> None:
        with contextlib.suppress(Nobody):
            await one.knock.connect()

    async def _again(self, one: Seen) -> None:
        """Begin a watch that is to run and does not."""
        now = time.monotonic()
        if one.process is not None and one.process.returncode is not None:
            one.why = self._why(one)
            one.process = None
            one.next_at = now + AGAIN_S[min(one.tries, len(AGAIN_S) - 1)]
            one.tries += 1
        if now < one.next_at:
            return
        order = kept_order(one.path)
        one.why_key = "live.order_lost" if order is None else ""
        if not one.path.exists():
            one.why_key = "live.file_gone"
        if order is None or one.why_key:
            return
        await self._spawn(one, order)

    async def _spawn(self, one: Seen, order: Order) -> None:
        one.said = tempfile.TemporaryFile()  # noqa: SIM115 (read when the process has ended)
        one.begun_at = time.monotonic()
        one.process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "byrewright", "watch", str(one.path), *arguments(order),
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL, stderr=one.said,
            start_new_session=True,  # Ctrl+C at the pages' terminal is not meant for it
        )  # fmt: skip

    def _why(self, one: Seen) -> str:
        if one.said is None:
            return ""
        one.said.seek(0)
        lines = one.said.read().decode(errors="replace").strip().splitlines()
        one.said.close()
        one.said = None
        return lines[-1] if lines else ""

    async def _look_back(self, one: Seen, opened: Opened) -> None:
        """What the log says of a plant that nobody watches."""
        try:
            home = home_of(one.path, one.world)
        except ByrewrightError as error:
            one.past_trouble = str(error)
            return
        state = home.stamp()
        if state is None:
            one.past, one.past_of, one.past_trouble = ([], []), None, ""
            return
        if state == one.past_of:
            return
        site = opened.plant.site if opened.file is not None else None
        owner = Owner((site.id or "") if site else "", site.name if site else "", one.world)
        try:
            events, states = await asyncio.to_thread(read_back, home, owner, SHOWN_EVENTS)
        except (LogTrouble, LogRefused) as error:
            one.past_trouble = str(error)
            if not isinstance(home, File):  # a server that does not answer is not asked at once
                one.past_of = state
            return
        stand = [a for some in states.values() for a in some.values() if a.standing]
        one.past, one.past_trouble = (events, stand), ""
        one.past_of = home.stamp()  # looking may have renewed the file itself


def _seen(path: Path, world: World) -> Seen:
    return Seen(path, world, Knock(door_file(path, world)))


def arguments(order: Order) -> list[str]:
    """The options of the command `watch` that mean an order."""
    said = []
    if order.protocol == "simulated":
        said.append("--simulate")
    else:
        said += [f"--{order.protocol}", order.where]
    if order.world == "practice":
        said += ["--practice", "--with-parent"]
    else:
        said.append("--as-ordered")
    if order.mode:
        said += ["--mode", order.mode]
    if order.addresses:
        said += ["--addresses", order.addresses]
    if order.contacts_only:
        said.append("--contacts-only")
    return [*said, "--device", str(order.device)]
