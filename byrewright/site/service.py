"""A whole watch of a plant file: table, source, log, door and notices put together and run."""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from collections.abc import Callable, Mapping
from contextlib import AsyncExitStack
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from byrewright.engine.interlocks import Table
from byrewright.errors import ByrewrightError
from byrewright.plant.limits import rules_beside
from byrewright.plant.read import PlantFile, read_plant
from byrewright.plant.write import write_text
from byrewright.site.addresses import Addresses, cannot_come, default_addresses, read_map
from byrewright.site.controller import LOOPBACK, Controller, free_port
from byrewright.site.door import Door, door_file
from byrewright.site.journal import Journal
from byrewright.site.log import Owner, World, log_of
from byrewright.site.notices import WAYS, Notifier, notice_of, test_notice
from byrewright.site.opcua import OpcuaSource, need_opcua, opcua_says_simulated
from byrewright.site.rehearse import shown
from byrewright.site.settings import security_of, settings_beside
from byrewright.site.sources import ModbusSource, Source, modbus_says_simulated
from byrewright.site.watch import Watch
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.study import Routes

Protocol = Literal["simulated", "modbus", "opcua"]
PROTOCOLS: tuple[Protocol, ...] = ("simulated", "modbus", "opcua")
BEAT_S = 0.5
WELL, NO_NAME, NO_REASON = "", "who_needed", "why_needed"


class WatchError(ByrewrightError):
    """The watch cannot begin as asked; the text says what would be right."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be watched, and how it is read."""

    protocol: Protocol = "simulated"
    where: str = ""
    mode: str = ""
    addresses: str = ""
    """Address map, a path."""
    contacts_only: bool = False
    device: int = 1
    world: World = "real"
    who: str = ""
    """Who began it."""

    def checked(self) -> Order:
        """This order, if its address can be used.

        Raises:
            WatchError: it cannot.
        """
        if self.protocol == "opcua" and not _is_opcua(self.where):
            raise WatchError(
                f"{self.where or 'nothing'} is not an OPC UA address; write one such as "
                "opc.tcp://10.0.0.5:4840/"
            )
        if self.protocol == "opcua":
            need_opcua()
        if self.protocol == "modbus":
            self.host_port()
        return self

    def host_port(self) -> tuple[str, int]:
        """Host and port of a Modbus address.

        Raises:
            WatchError: it has not that form.
        """
        host, _, port = self.where.rpartition(":")
        digits = port.isascii() and port.isdigit() and len(port) <= 5
        if not host or not digits or not 0 < int(port) < 65536:
            raise WatchError(
                f"{self.where or 'nothing'} is not a Modbus address; write HOST:PORT, such as "
                "10.0.0.5:502"
            )
        return host, int(port)


def _is_opcua(where: str) -> bool:
    """Whether it can be the address of an OPC UA server."""
    try:
        url = urlsplit(where)
        right = url.scheme == "opc.tcp" and bool(url.hostname) and url.port != 0
    except ValueError:  # a port out of range, half a bracket
        return False
    return right and not re.search(r"\s", where)


WATCHED = ".watched.json"
"""How the hidden file ends that says what is to be watched."""


def order_file(plant_path: Path) -> Path:
    """Where it is kept what is to be watched, for the next start of the computer."""
    return plant_path.with_name(f".{plant_path.stem}{WATCHED}")


def keep_order(plant_path: Path, order: Order) -> None:
    """Remember that this is to be watched until somebody ends it."""
    write_text(order_file(plant_path), json.dumps(asdict(order), indent=1) + "\n")


def kept_order(plant_path: Path) -> Order | None:
    """What is to be watched; None where nothing is, or it cannot be read."""
    try:
        return Order(**json.loads(order_file(plant_path).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None


def drop_order(plant_path: Path) -> None:
    """Nothing is to be watched any more."""
    order_file(plant_path).unlink(missing_ok=True)


class Service:
    """A watch with all that belongs to it."""

    def __init__(self, path: Path, order: Order, *, file: PlantFile | None = None,
                 rules: Rulebook | None = None, log_path: Path | None = None,
                 period_s: float = 1.0) -> None:  # fmt: skip
        """Put it together.

        Raises:
            ByrewrightError: the plant, the order, the settings or the log cannot be used.
        """
        self.path, self.order = path, order.checked()
        self.file = file or read_plant(path)
        rules = rules or rules_beside(path)
        self.study = Routes(self.file.plant, rules)
        table = self.table = self.study.table
        if order.mode and order.mode not in table.modes:
            raise WatchError(f"no mode {order.mode!r} in {path}; it has {', '.join(table.modes)}")
        settings = settings_beside(path)
        self.where = addresses_of(table, order)
        missing = cannot_come(self.where, table)
        self.controller: Controller | None = None
        self.notifier = Notifier(path, settings)
        source = self._source(security_of(path, settings))
        site = self.file.plant.site
        self.log = log_of(path, Owner(site.id or "", site.name, order.world), log_path)
        if not self.log.claim():
            raise WatchError(
                f"{self.log.name}: another watch is writing to this log; stop it first"
            )
        self.journal = Journal(self.log)
        try:
            self.watch = Watch(
                table, source, self.journal, world=order.world, period_s=period_s, rules=rules,
                cannot=tuple(r.text for r in missing),
            )  # fmt: skip
        except BaseException:
            self.log.close()
            raise
        self.stop = asyncio.Event()
        modes = self.file.plant.modes
        milking = [m for m in table.modes if "milking" in modes[m].does]
        self._mode = order.mode or (milking or list(table.modes))[0]
        self._wrong: dict[str, str] = {}
        self._told: set[str] = {e.uid for e in self.journal.recent}
        self.watch.listeners.append(self._notify)

    def _source(self, security: Any) -> Source:
        order, mode = self.order, self.order.mode or None
        if order.protocol == "simulated":
            port = free_port()
            self.controller = Controller(self.table, self.where, modbus_port=port)
            return ModbusSource(self.table, self.where, LOOPBACK, port)
        if order.protocol == "opcua":
            return OpcuaSource(self.table, self.where, order.where, mode=mode, security=security,
                               real=order.world == "real")  # fmt: skip
        host, port = order.host_port()
        return ModbusSource(self.table, self.where, host, port, device=order.device, mode=mode,
                            real=order.world == "real")  # fmt: skip

    async def run(self, ready: Callable[[], None] = lambda: None) -> None:
        """Watch until `stop` is set."""
        acts = {
            "acknowledge": self._acknowledge, "end": self._end, "practise": self._practise,
            "test": self._test,
        }  # fmt: skip
        async with AsyncExitStack() as all_of:
            practice: asyncio.Task[None] | None = None
            if self.controller is not None:
                await all_of.enter_async_context(self.controller)
                self.watch.practised = {"mode": self._mode, "wrong": ""}
                practice = asyncio.create_task(self._serve())
            await all_of.enter_async_context(self.notifier)
            self.door = await all_of.enter_async_context(
                Door(self.watch, door_file(self.path, self.order.world), acts, self._extra)
            )
            ready()
            await self.watch.run(self.stop)
            if practice is not None:
                practice.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await practice
            await asyncio.to_thread(self.journal.close)

    def _extra(self) -> dict[str, Any]:
        """What pages are told beside the snapshot."""
        return {"notices": self.notifier.state(), "digest": self.digest}

    @property
    def digest(self) -> str:
        """What the plant file's text is known by."""
        import hashlib

        return hashlib.sha256(self.file.text.encode()).hexdigest()

    def _notify(self, _: object) -> None:
        """Send out what was raised, of the real plant only."""
        for event in list(self.journal.recent):
            if event.uid in self._told:
                continue
            self._told.add(event.uid)
            if event.kind == "raised" and self.order.world == "real":
                row = self.watch.rows[event.tag]
                self.notifier.put(
                    notice_of(self.table.plant, event.text, row.told_in(event.mode)[1],
                              row.priority, event.at, self.notifier.page)
                )  # fmt: skip

    # what people ask for ---------------------------------------------------------------------

    async def _acknowledge(self, asked: Mapping[str, str]) -> str:
        who = asked.get("who", "").strip()
        if not who:
            return NO_NAME
        self.watch.acknowledge(who, asked.get("tag") or None)
        await asyncio.to_thread(self.journal.flush)
        return WELL

    async def _end(self, asked: Mapping[str, str]) -> str:
        who, why = asked.get("who", "").strip(), asked.get("why", "").strip()
        if not who:
            return NO_NAME
        if not why:
            return NO_REASON
        self.watch.ending = (who, why)
        self.stop.set()
        return WELL

    async def _test(self, asked: Mapping[str, str]) -> str:
        who = asked.get("who", "").strip()
        if not who:
            return NO_NAME
        said = await self.notifier.test(test_notice(self.table.plant, who))
        words = "; ".join(f"{WAYS[way]}: {why or 'sent'}" for way, why in said.items())
        self.watch.note("notice", f"test of notices: {words}", who)
        return words

    async def _practise(self, asked: Mapping[str, str]) -> str:
        mode = asked.get("mode") or self._mode
        if self.controller is None or mode not in self.study.scenes:
            return "not practice"
        wrong = dict(pair.split("=", 1) for pair in asked.get("wrong", "").split() if "=" in pair)
        others = self.study.scenes[mode].others
        if any(p not in others.get(m, ()) for m, p in wrong.items()):
            return "no such position"
        self._mode, self._wrong = mode, wrong
        said = " ".join(f"{m}={p}" for m, p in wrong.items())
        self.watch.practised = {"mode": mode, "wrong": said}
        await self._show()
        self.watch.tell()
        return WELL

    async def _serve(self) -> None:
        """Keep the simulated controller's heart beating."""
        while True:
            await self._show()
            await asyncio.sleep(BEAT_S)

    async def _show(self) -> None:
        assert self.controller is not None
        scene = self.study.scenes[self._mode]
        await self.controller.show(self._mode, shown(self.table, scene, tuple(self._wrong.items())))


async def as_it_says(order: Order, path: Path) -> Order:
    """The order as practice where its controller is there and says that it is simulated."""
    said = False
    with contextlib.suppress(Exception):  # what does not answer now is told by the watch
        if order.protocol == "opcua":
            said = await opcua_says_simulated(order.where, security_of(path, settings_beside(path)))
        elif order.protocol == "modbus":
            said = await modbus_says_simulated(*order.host_port(), order.device)
    return replace(order, world="practice") if said else order


def addresses_of(table: Table, order: Order) -> Addresses:
    """The addresses that an order reads.

    Raises:
        ByrewrightError: the map cannot be used.
    """
    if not order.addresses:
        return default_addresses(table, contacts_only=order.contacts_only,
                                 runs=order.world == "practice")  # fmt: skip
    path = Path(order.addresses)
    if not path.is_file():
        raise WatchError(f"{path}: no such address map")
    try:
        return read_map(path, table, opcua=order.protocol == "opcua")
    except UnicodeDecodeError:
        raise WatchError(f"{path}: is not text in UTF-8; save it as CSV in UTF-8") from None
