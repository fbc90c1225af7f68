"""Watches that run in the server, one a plant; pages come and go, a watch goes on."""

from __future__ import annotations

import asyncio
import contextlib
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.web.folder import Opened

if TYPE_CHECKING:
    from byrewright.engine.interlocks import Table
    from byrewright.site.alarms import Event
    from byrewright.site.controller import Controller
    from byrewright.site.log import Log
    from byrewright.site.sources import Source
    from byrewright.site.watch import Snapshot, Watch
    from byrewright.studies.routes.study import Routes

BEAT_S = 0.5
SIMULATED = "simulated"
PROTOCOLS = (SIMULATED, "modbus", "opcua")
SHOWN_EVENTS = 200


class WatchRefused(ByrewrightError):
    """The watch cannot begin as asked; `key` is the text that says why."""

    def __init__(self, key: str) -> None:
        self.key = key
        super().__init__(key)


def log_path(opened: Opened) -> Path:
    """Where the log of a plant lies: the same file as the command line's watch writes."""
    return opened.path.with_suffix(".site.sqlite")


@dataclass
class Watching:
    """A watch under way, with the simulated controller that it reads, where it reads one."""

    study: Routes
    watch: Watch
    log: Log
    digest: str
    protocol: str
    mode: str = ""
    wrong: dict[str, str] = field(default_factory=dict)
    controller: Controller | None = None
    stop: asyncio.Event = field(default_factory=asyncio.Event)
    tasks: list[asyncio.Task[None]] = field(default_factory=list)

    @property
    def snapshot(self) -> Snapshot:
        """What was read last."""
        return self.watch.snapshot

    @property
    def live(self) -> bool:
        """Whether that is of now."""
        return self.snapshot.live(time.time())

    async def practise(self) -> None:
        """Serve the chosen mode and wrong positions on the simulated controller."""
        from byrewright.engine.interlocks import contacts
        from byrewright.studies.routes.table import process_contacts

        assert self.controller is not None
        while not self.stop.is_set():
            scene = self.study.scenes[self.mode]
            wrong = tuple(self.wrong.items())
            shown = contacts(
                self.study.table,
                {**scene.wanted, **self.wrong},
                process_contacts(self.study.table, scene, wrong),
            )
            await self.controller.show(self.mode, shown)
            await asyncio.sleep(BEAT_S)

    async def end(self) -> None:
        """Stop watching and let go of everything."""
        self.stop.set()
        for task in self.tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        if self.controller is not None:
            await self.controller.stop()
        self.log.close()


class Watches:
    """The watches under way, by the address of the plant."""

    def __init__(self) -> None:
        self.running: dict[str, Watching] = {}

    async def begin(
        self, opened: Opened, study: Routes, protocol: str, where: str, mode: str
    ) -> Watching:
        """Start a watch; one that runs for this plant already is returned instead.

        Raises:
            WatchRefused: the address cannot be used.
        """
        from byrewright.site.log import Log
        from byrewright.site.watch import Watch

        known = self.running.get(opened.slug)
        if known is not None:
            return known
        if log_path(opened).is_symlink():
            raise WatchRefused("interlocks.log_is_link")
        controller: Controller | None = None
        if protocol == SIMULATED:
            controller, source = await _simulated(study.table)
        else:
            source = _source(study.table, protocol, where, mode or None)
        log = Log(log_path(opened), study.table.plant)
        rules = opened.rules
        assert rules is not None
        watch = Watch(study.table, source, log, stale_s=rules.number("alarm.stale_signal_s"))
        made = Watching(study, watch, log, opened.digest, protocol, mode, controller=controller)
        self.running[opened.slug] = made
        if controller is not None:
            made.mode = mode or study.table.modes[0]
            made.tasks.append(asyncio.create_task(made.practise()))
        made.tasks.append(asyncio.create_task(watch.run(made.stop)))
        return made

    async def end(self, slug: str) -> None:
        """Stop the watch of a plant."""
        known = self.running.pop(slug, None)
        if known is not None:
            await known.end()

    async def end_all(self) -> None:
        """Stop every watch."""
        for slug in list(self.running):
            await self.end(slug)

    def history(self, opened: Opened) -> list[Event]:
        """The last events of a plant's log, newest first; nothing where it has no log."""
        from byrewright.site.log import Log

        path = log_path(opened)
        known = self.running.get(opened.slug)
        if known is None and (path.is_symlink() or not path.is_file()):
            return []
        log = known.log if known else Log(path, opened.plant.site.name)
        try:
            return list(reversed(log.events(SHOWN_EVENTS)))
        finally:
            if known is None:
                log.close()


async def _simulated(table: Table) -> tuple[Controller, Source]:
    from byrewright.site.addresses import default_addresses
    from byrewright.site.controller import LOOPBACK, Controller, free_port
    from byrewright.site.sources import ModbusSource

    where = default_addresses(table)
    port = free_port()
    controller = Controller(table, where, modbus_port=port)
    await controller.start()
    return controller, ModbusSource(table, where, LOOPBACK, port)


def _source(table: Table, protocol: str, where: str, mode: str | None) -> Source:
    from byrewright.site.addresses import default_addresses
    from byrewright.site.sources import ModbusSource, OpcuaSource

    addresses = default_addresses(table)
    if protocol == "opcua":
        if not where.startswith("opc.tcp://"):
            raise WatchRefused("interlocks.opcua_address")
        return OpcuaSource(table, addresses, where, mode=mode)
    host, _, port = where.rpartition(":")
    if not host or not port.isdigit() or len(port) > 5 or not 0 < int(port) < 65536:
        raise WatchRefused("interlocks.modbus_address")
    return ModbusSource(table, addresses, host, int(port), mode=mode)
