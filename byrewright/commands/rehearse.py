"""The command `rehearse`: a milking day on a simulated controller with a wrong valve put in."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import clear_errors, console, load, print_table, system_of, within
from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from byrewright.documents.format import System
    from byrewright.site.day import Day
    from byrewright.site.rehearse import ModeInterval, Protocol, Rehearsal
    from byrewright.studies.routes.propagation import Combination
    from byrewright.studies.routes.study import Routes

USUAL = 6
"""Faults that are played when none is named."""


class RehearseError(ByrewrightError):
    """The rehearsal cannot be played as asked; the text says what would be right."""


def run(
    plant_path: Path,
    *,
    wrong: Sequence[str] = (),
    mode: str | None = None,
    after_min: float = 20.0,
    protocol: str = "modbus",
    every: bool = False,
    serve: bool = False,
    modbus_port: int = 15020,
    opcua_port: int = 14840,
    speed: float = 1.0,
    proposed: bool = False,
    units: str = "metric",
) -> None:
    """Play faults and tell how many litres are lost before the alarm.

    `wrong` lists positions such as V46=open (all of them at once); without it the single wrong
    positions that lose most are played one by one (`every`: all that lose milk). `proposed`: as if
    every sensor that the interlock table asks for were fitted. `serve` plays the
    day in real time, or `speed` times as fast, for training with `watch` beside it.
    """
    from byrewright.studies.routes.study import Routes

    with clear_errors():
        system = system_of(units)
        if protocol not in ("modbus", "contacts", "opcua"):
            raise RehearseError(f"protocol is {protocol!r}; write modbus, contacts or opcua")
        if serve or protocol == "opcua":
            from byrewright.site.opcua import need_opcua

            need_opcua()
        within("--speed", speed, 0.1, 10_000.0)
        within("--after", after_min, 0.0, 1440.0, "min")
        for option, port in (("--modbus-port", modbus_port), ("--opcua-port", opcua_port)):
            within(option, port, 1, 65_535)
        file, rules = load(plant_path)
        logging.disable(logging.CRITICAL)  # the libraries' talk
        with console(error=True).status("building the table"):
            study = Routes(file.plant, rules)
            _ = study.table
        combination = _read(wrong)
        if serve:
            asyncio.run(_serve(study, combination, mode, after_min, modbus_port, opcua_port, speed))
            return
        faults = [combination] if combination else _usual(study, mode, every)
        rehearsals = asyncio.run(_play(study, faults, mode, after_min, protocol, proposed))
        _show(study, rehearsals, proposed, system)


def _read(wrong: Sequence[str]) -> Combination:
    found = []
    for text in wrong:
        machine, sign, position = text.partition("=")
        if not sign or not machine or not position:
            raise RehearseError(f"{text!r}: write MACHINE=POSITION, such as V46=open")
        found.append((machine.strip(), position.strip()))
    return tuple(found)


def _usual(study: Routes, mode: str | None, every: bool) -> list[Combination]:
    """Single wrong positions that lose milk in the mode that is played, one a machine."""
    where = mode or _milking(study)
    found: dict[str, Combination] = {}
    for hit in study.hits:
        if hit.mode == where and hit.order == 1 and hit.question.loses == "milk":
            found.setdefault(hit.wrong[0][0], hit.wrong)
    return list(found.values()) if every else list(found.values())[:USUAL]


def _milking(study: Routes) -> str:
    from byrewright.site.day import day_of

    day = day_of(study.plant, study.rules)
    found = next(
        (a.mode for a in day.intervals if "milking" in study.plant.modes[a.mode].does), None
    )
    if found is None:
        raise RehearseError("the plant has no mode that does milking")
    return found


def _day(study: Routes, mode: str | None) -> tuple[Day, ModeInterval]:
    """The day with the mode in it, and its first interval in that mode."""
    from byrewright.site.day import day_of

    where = mode or _milking(study)
    if where not in study.plant.modes:
        raise RehearseError(f"no mode {where!r}; the plant has {', '.join(study.plant.modes)}")
    day = day_of(study.plant, study.rules).playing(where)
    return day, next(a for a in day.intervals if a.mode == where)


async def _play(study: Routes, faults: Sequence[Combination], mode: str | None, after_min: float,
                protocol: str, proposed: bool) -> list[Rehearsal]:  # fmt: skip
    from byrewright.site.rehearse import Fault, rehearse

    day, interval = _day(study, mode)
    at = interval.start_min + min(after_min, (interval.end_min - interval.start_min) / 2)
    chosen: Protocol = (
        "opcua" if protocol == "opcua" else "contacts" if protocol == "contacts" else "modbus"
    )
    played = []
    screen = console(error=True)
    with screen.status("playing") as status:
        for fault in faults:
            status.update(f"playing {' '.join(f'{m}={p}' for m, p in fault)}")
            try:
                played.append(
                    await rehearse(
                        study.table,
                        study.scenes,
                        day,
                        Fault(at, fault),
                        study.hits,
                        protocol=chosen,
                        rules=study.rules,
                        proposed=proposed,
                    )
                )
            except ValueError as error:
                raise RehearseError(str(error)) from None
    return played


AT_MOST = " (at most: the simulated day shows no loss)"
COLUMNS = ("wrong", "in mode", "from", "leads to", "alarm", "alarm after", "before it",
           "until seen", "if unseen")  # fmt: skip
UNITS = ("", "", "", "", "", "s", "L", "L", "L")


def _show(study: Routes, played: Sequence[Rehearsal], proposed: bool, units: System) -> None:
    from byrewright.documents.us_units import table_in
    from byrewright.plant.farm import clock
    from byrewright.results import Table
    from byrewright.studies.routes.words import moves

    out = console()
    rows = tuple(
        (
            moves(study.plant, one.wrong),
            one.mode,
            clock(one.at_min),
            (one.harm or "no harm alone") + (AT_MOST if one.at_most else ""),
            one.alarm_text or f"NO ALARM: {one.seen}",
            "-" if one.seconds is None else round(one.seconds),
            "-" if one.seconds is None else round(one.litres_before, 1),
            round(one.litres_until_seen, 1),
            round(one.litres_unseen),
        )
        for one in played
    )
    title = f"Rehearsal: {study.table.plant}; milk lost"
    print_table(out, table_in(Table("rehearse", title, COLUMNS, UNITS, rows), units))
    unfitted = sum(not s.fitted for s in study.table.signals)
    if unfitted and not proposed:
        out.print(
            f"Only the sensors that the plant has were played: {unfitted} contacts of the "
            "interlock table are still to be fitted (--proposed plays them too)."
        )
    out.print(
        "A flow proof is taken to see flow as long as milk can still come past it; where all of it "
        "runs out before it, it would show it sooner than people notice."
    )
    out.print(
        "Simulated controller and invented day; real Modbus TCP or OPC UA on this machine only."
    )


async def _serve(study: Routes, wrong: Combination, mode: str | None, after_min: float,
                 modbus_port: int, opcua_port: int, speed: float) -> None:  # fmt: skip
    """Play the day from half a minute before the fault, `speed` times as fast, until stopped."""
    from byrewright.plant.farm import clock
    from byrewright.site.addresses import default_addresses
    from byrewright.site.controller import LOOPBACK, Controller
    from byrewright.site.rehearse import Fault, at_time

    day, interval = _day(study, mode)
    fault = Fault(
        interval.start_min + min(after_min, (interval.end_min - interval.start_min) / 2), wrong
    )
    now = max(interval.start_min, fault.at_min - 0.5)
    controller = Controller(
        study.table,
        default_addresses(study.table, runs=True),
        modbus_port=modbus_port,
        opcua_port=opcua_port,
    )
    out, shown_mode = console(), ""
    async with controller:
        out.print(
            f"simulated controller: --modbus {LOOPBACK}:{modbus_port} or --opcua "
            f"{controller.opcua_url} (Ctrl-C ends)"
        )
        while True:
            name, contacts = at_time(study.table, study.scenes, day.intervals, fault, now)
            if name != shown_mode:
                shown_mode = name
                out.print(f"{clock(now)} {name}")
            await controller.show(name, contacts)
            await asyncio.sleep(1.0)
            before, now = now, now + speed / 60
            if wrong and before < fault.at_min <= now:
                out.print(f"{clock(now)} {' '.join(f'{m}={p}' for m, p in wrong)}")
