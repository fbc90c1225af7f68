"""The command `watch`: reads a controller and raises alarms. It never writes to the controller."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import signal
import sys
import threading
import time
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import clear_errors, console, load, user_name, within
from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from rich.live import Live
    from rich.table import Table as Picture

    from byrewright.site.log import World
    from byrewright.site.service import Order, Service
    from byrewright.site.watch import Snapshot


SAID = {
    "normal": "normal",
    "unacknowledged": "not acknowledged",
    "acknowledged": "acknowledged",
    "gone": "gone, not acknowledged",
}
"""The state of an alarm in words."""


def run(
    plant_path: Path,
    *,
    modbus: str | None = None,
    opcua: str | None = None,
    simulate: bool = False,
    practice: bool = False,
    addresses_path: Path | None = None,
    contacts_only: bool = False,
    mode: str | None = None,
    log_path: Path | None = None,
    device: int = 1,
    period_s: float = 1.0,
    acknowledge: str | None = None,
    seconds: float | None = None,
    with_parent: bool = False,
    as_ordered: bool = False,
) -> None:
    """Watch until stopped (or for `seconds`); `acknowledge` names who acknowledges all alarms that
    wait, and ends. A controller that says it is simulated is watched as practice; `as_ordered`
    refuses it instead. `with_parent` ends the watch when standard input is closed."""
    from byrewright.site.service import Service, as_it_says

    with clear_errors():
        within("--period", period_s, 0.1, 3600.0, "s")
        within("--device", device, 0, 255)
        if seconds is not None:
            within("--seconds", seconds, 0.1, 1e9, "s")
        if acknowledge is not None:
            if not acknowledge.strip():
                raise ByrewrightError("--acknowledge: say who acknowledges, by name")
            world: World = "practice" if practice or simulate else "real"
            print(asyncio.run(_acknowledge(plant_path, world, log_path, acknowledge)))
            return
        order = _order(modbus, opcua, simulate, practice, addresses_path, contacts_only, mode,
                       device)  # fmt: skip
        file, rules = load(plant_path)
        logging.disable(logging.CRITICAL)  # the libraries' talk; the watch tells what matters
        if order.world == "real" and not as_ordered:
            order = asyncio.run(as_it_says(order, plant_path))
            if order.world == "practice":
                print("The controller says that it is simulated: this is PRACTICE.", flush=True)
        with console(error=True).status("building the table"):
            service = Service(plant_path, order, file=file, rules=rules, log_path=log_path,
                              period_s=period_s)  # fmt: skip
        _tell_missing(service)
        asyncio.run(_live(service, seconds, with_parent))
        if service.journal.pending:
            print(f"Records that could not be written: {service.journal.pending}; "
                  f"{service.journal.trouble}", file=sys.stderr)  # fmt: skip


def _order(modbus: str | None, opcua: str | None, simulate: bool, practice: bool,
           addresses: Path | None, contacts_only: bool, mode: str | None,
           device: int) -> Order:  # fmt: skip
    from byrewright.site.service import Order, WatchError

    if (modbus is not None) + (opcua is not None) + simulate != 1:
        raise WatchError("say where to read: --modbus HOST:PORT or --opcua URL, one of them")
    return Order(
        "simulated" if simulate else "modbus" if opcua is None else "opcua",
        modbus or opcua or "", mode or "", str(addresses or ""), contacts_only, device,
        "practice" if practice or simulate else "real", user_name(),
    ).checked()  # fmt: skip


async def _acknowledge(plant_path: Path, world: World, log_path: Path | None, who: str) -> str:
    """Have a running watch acknowledge all; without one, do it in the log."""
    from byrewright.site.alarms import Alarm, Event
    from byrewright.site.door import Knock, Nobody, door_file
    from byrewright.site.log import Owner, log_of
    from byrewright.site.service import WatchError

    knock = Knock(door_file(plant_path, world))
    with contextlib.suppress(Nobody):
        await knock.connect()
        assert knock.heard is not None
        waits = sum(a.state in ("unacknowledged", "gone") for a in knock.heard.snapshot.alarms)
        await knock.ask("acknowledge", who=who)
        await knock.close()
        return f"Alarms acknowledged by {who}: {waits}"
    file, _ = load(plant_path)
    site = file.plant.site
    log = log_of(plant_path, Owner(site.id or "", site.name, world), log_path)
    if log.home.identity() is None:
        raise WatchError(f"{log.name}: there is no log, and no watch is running")
    if not log.claim():
        raise WatchError(f"{log.name}: a watch is writing to this log; acknowledge on its screen")
    at, events, states = time.time(), [], []
    for source, some in log.states().items():
        for one in some.values():
            if one.waits:
                after = Alarm(one.tag, "acknowledged" if one.standing else "normal", at)
                events.append(Event(at, "acknowledged", one.tag, one.tag, who=who, source=source))
                states.append((source, after))
    log.record(events, states)
    log.close()
    return f"Alarms acknowledged by {who}: {len(events)}"


def _tell_missing(service: Service) -> None:
    """Say before the watch begins which alarms cannot come with this address map."""
    from byrewright.site.addresses import left_out

    if not service.watch.cannot:
        return
    out = console(error=True)
    tags = ", ".join(left_out(service.where, service.table))
    out.print(f"The address map leaves out {tags}. These alarms cannot come:")
    for text in service.watch.cannot:
        out.print(f"  {text}")


async def _live(service: Service, seconds: float | None, with_parent: bool) -> None:
    from rich.live import Live

    watch, out = service.watch, console()
    loop = asyncio.get_running_loop()
    shown = Live(_picture(watch.snapshot), console=out, refresh_per_second=4)
    if with_parent:
        threading.Thread(target=_until_closed, args=(loop, service), daemon=True).start()
    asking = _Asking(service, shown, out.is_terminal and sys.stdin.isatty())
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError, ValueError):  # not the main thread
            loop.add_signal_handler(number, asking.stop, number)
    with shown if out.is_terminal else nullcontext():
        if out.is_terminal:
            watch.listeners.append(lambda snapshot: shown.update(_picture(snapshot)))
        else:
            watch.listeners.append(Told())
        task = asyncio.create_task(service.run())
        try:
            await asyncio.wait_for(asyncio.shield(task), seconds)
        except (TimeoutError, asyncio.CancelledError):
            service.stop.set()
            await task


def _until_closed(loop: asyncio.AbstractEventLoop, service: Service) -> None:
    sys.stdin.read()
    with contextlib.suppress(RuntimeError):  # the watch has ended already
        loop.call_soon_threadsafe(service.stop.set)


class _Asking:
    """What happens when somebody wants to end the watch: at a terminal it asks why."""

    def __init__(self, service: Service, shown: Live, at_terminal: bool) -> None:
        self.service, self.shown, self.at_terminal = service, shown, at_terminal
        self.asked = False

    def stop(self, number: int) -> None:
        """A signal to end came."""
        who = user_name()
        if number == signal.SIGINT and self.at_terminal and not self.asked:
            self.asked = True
            self.shown.stop()
            threading.Thread(target=self._ask, args=(asyncio.get_running_loop(), who),
                             daemon=True).start()  # fmt: skip
            return
        why = "ended at the keyboard" if number == signal.SIGINT else "ended by the system"
        self.service.watch.ending = (who, why)
        self.service.stop.set()

    def _ask(self, loop: asyncio.AbstractEventLoop, who: str) -> None:
        stand = len(self.service.watch.snapshot.alarms)
        left = f"Alarms that stand and will not be watched any more: {stand}. " if stand else ""
        why = ""
        with contextlib.suppress(EOFError):
            why = input(f"\n{left}End the watch? Say why, or press Enter to go on: ").strip()
        if why:
            self.service.watch.ending = (who, why)
            loop.call_soon_threadsafe(self.service.stop.set)
        else:
            self.asked = False
            loop.call_soon_threadsafe(self.shown.start)


class Told:
    """What changed since the snapshot before, a line each: for a pipe or a service's journal."""

    def __init__(self) -> None:
        self.before: set[str] = set()

    def __call__(self, snapshot: Snapshot) -> None:
        from byrewright.site.own import LINK_FLAPS

        live = snapshot.live(0.0)
        flaps = any(one.tag == LINK_FLAPS and one.state != "gone" for one in snapshot.alarms)
        state = "comes and goes" if flaps else _state(snapshot)
        lines = [f"{snapshot.source}: {state}", f"mode {snapshot.mode or 'unknown'}"]
        lines += ["PRACTICE: nothing here is the real plant"] * (snapshot.world == "practice")
        lines += [f"{SAID[one.state]}: {one.text}. {one.do}" for one in snapshot.alarms]
        lines += [] if snapshot.alarms or not live else ["no alarm"]
        lines += [f"not known: {tag} {why}" for tag, why in snapshot.unknown.items()]
        lines += [f"THE LOG IS NOT WRITTEN: {snapshot.log}"] if snapshot.log else []
        clock = time.strftime("%H:%M:%S")
        for line in lines:
            if line not in self.before:
                print(f"{clock}  {line}", flush=True)
        self.before = set(lines)


def _state(snapshot: Snapshot) -> str:
    live = snapshot.live(0.0)
    return "live" if live else f"NOT LIVE: {snapshot.message or 'not read for too long'}"


def _picture(snapshot: Snapshot) -> Picture:
    from rich.table import Table as Picture

    live = snapshot.live(0.0)
    practice = "PRACTICE · " if snapshot.world == "practice" else ""
    title = (f"{practice}{snapshot.plant} · {snapshot.source} · {_state(snapshot)} · mode "
             f"{snapshot.mode or 'unknown'}")  # fmt: skip
    under = [snapshot.message if live else "shown as last read"]
    under += [f"THE LOG IS NOT WRITTEN: {snapshot.log}"] if snapshot.log else []
    under += [f"not known: {tag} {why}" for tag, why in snapshot.unknown.items()]
    picture = Picture(
        title=title,
        title_justify="left",
        box=None,
        pad_edge=False,
        caption="\n".join(under),
        caption_justify="left",
    )
    for column in ("", "state", "since", "alarm", "do"):
        picture.add_column(column, overflow="fold")
    for one in snapshot.alarms:
        since = time.strftime("%H:%M:%S", time.localtime(one.since))
        where = f" (read from {one.source} before)" if one.source else ""
        picture.add_row(one.priority[0].upper(), SAID[one.state], since, one.text + where, one.do)
    if not snapshot.alarms:
        picture.add_row("", "", "", "no alarm" if live else "alarms unknown", "")
    return picture
