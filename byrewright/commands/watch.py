"""The command `watch`: reads a controller and raises alarms. It never writes to the controller."""

from __future__ import annotations

import asyncio
import logging
import time
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import clear_errors, console, load
from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from rich.table import Table as Picture

    from byrewright.engine.interlocks import Table
    from byrewright.site.addresses import Addresses
    from byrewright.site.sources import Source
    from byrewright.site.watch import Snapshot, Watch


SAID = {
    "normal": "normal",
    "unacknowledged": "not acknowledged",
    "acknowledged": "acknowledged",
    "gone": "gone, not acknowledged",
}
"""The state of an alarm in words."""


class WatchError(ByrewrightError):
    """The watch cannot begin as asked; the text says what would be right."""


def run(
    plant_path: Path,
    *,
    modbus: str | None = None,
    opcua: str | None = None,
    addresses_path: Path | None = None,
    contacts_only: bool = False,
    mode: str | None = None,
    log_path: Path | None = None,
    publish_path: Path | None = None,
    device: int = 1,
    period_s: float = 1.0,
    acknowledge: str | None = None,
    seconds: float | None = None,
) -> None:
    """Watch until stopped with Ctrl-C (or for `seconds`); `acknowledge` names who acknowledges all
    alarms that wait, and ends."""
    from byrewright.site.addresses import default_addresses, read_map
    from byrewright.site.log import Log
    from byrewright.site.watch import Watch
    from byrewright.studies.routes.study import Routes

    with clear_errors():
        file, rules = load(plant_path)
        log_file = log_path or plant_path.with_suffix(".site.sqlite")
        with console(error=True).status("building the table"):
            table = Routes(file.plant, rules).table
        if mode is not None and mode not in table.modes:
            raise WatchError(f"no mode {mode!r} in {plant_path}; it has {', '.join(table.modes)}")
        where = (read_map(addresses_path, table) if addresses_path
                 else default_addresses(table, contacts_only=contacts_only))  # fmt: skip
        source = _source(table, where, modbus, opcua, device, mode)
        log = Log(log_file, table.plant)
        watch = Watch(
            table,
            source,
            log,
            period_s=period_s,
            stale_s=rules.number("alarm.stale_signal_s"),
            publish=publish_path,
        )
        if acknowledge is not None:
            console().print(
                f"{watch.acknowledge(acknowledge)} alarms acknowledged by {acknowledge}"
            )
            log.close()
            return
        if not log.claim():
            raise WatchError(f"{log_file}: another watch is writing to this log; stop it first")
        logging.disable(logging.CRITICAL)  # the libraries' talk; the watch tells what matters
        try:
            asyncio.run(_live(watch, seconds))
        finally:
            log.close()


def _source(table: Table, where: Addresses, modbus: str | None, opcua: str | None, device: int,
            mode: str | None) -> Source:  # fmt: skip
    from byrewright.site.sources import ModbusSource, OpcuaSource

    if (modbus is None) == (opcua is None):
        raise WatchError("say where to read: --modbus HOST:PORT or --opcua URL, one of them")
    if opcua is not None:
        if not opcua.startswith("opc.tcp://"):
            raise WatchError(f"--opcua {opcua}: write an address such as opc.tcp://10.0.0.5:4840/")
        return OpcuaSource(table, where, opcua, mode=mode)
    host, _, port = str(modbus).rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise WatchError(f"--modbus {modbus}: write HOST:PORT, such as 10.0.0.5:502")
    return ModbusSource(table, where, host, int(port), device=device, mode=mode)


async def _live(watch: Watch, seconds: float | None) -> None:
    from rich.live import Live

    stop, out = asyncio.Event(), console()
    shown = Live(_picture(watch.snapshot), console=out, refresh_per_second=4)
    with shown if out.is_terminal else nullcontext():
        if out.is_terminal:
            watch.listeners.append(lambda snapshot: shown.update(_picture(snapshot)))
        else:
            watch.listeners.append(_Told())
        task = asyncio.create_task(watch.run(stop))
        try:
            await asyncio.wait_for(asyncio.shield(task), seconds)
        except (TimeoutError, asyncio.CancelledError):
            stop.set()
            await task


class _Told:
    """What changed since the snapshot before, a line each: for a pipe or a service's journal."""

    def __init__(self) -> None:
        self.before: set[str] = set()

    def __call__(self, snapshot: Snapshot) -> None:
        now = time.time()
        live = snapshot.live(now)
        state = "live" if live else f"NOT LIVE: {snapshot.message or 'not read for too long'}"
        lines = [f"{snapshot.source}: {state}", f"mode {snapshot.mode or 'unknown'}"]
        lines += [f"{SAID[one.state]}: {one.text}. {one.do}" for one in snapshot.alarms]
        lines += [] if snapshot.alarms or not live else ["no alarm"]
        clock = time.strftime("%H:%M:%S", time.localtime(now))
        for line in lines:
            if line not in self.before:
                print(f"{clock}  {line}", flush=True)
        self.before = set(lines)


def _picture(snapshot: Snapshot) -> Picture:
    from rich.table import Table as Picture

    live = snapshot.live(time.time())
    state = "live" if live else f"NOT LIVE: {snapshot.message or 'not read for too long'}"
    title = f"{snapshot.plant} · {snapshot.source} · {state} · mode {snapshot.mode or 'unknown'}"
    picture = Picture(
        title=title,
        title_justify="left",
        box=None,
        pad_edge=False,
        caption=snapshot.message if live else "shown as last read",
        caption_justify="left",
    )
    for column in ("", "state", "since", "alarm", "do"):
        picture.add_column(column, overflow="fold")
    for one in snapshot.alarms:
        since = time.strftime("%H:%M:%S", time.localtime(one.since))
        picture.add_row(one.priority[0].upper(), SAID[one.state], since, one.text, one.do)
    if not snapshot.alarms:
        picture.add_row("", "", "", "no alarm" if live else "alarms unknown", "")
    return picture
