"""Rehearsals: a day on a simulated controller with a wrong position put in, watched for real.

The controller serves real Modbus TCP or OPC UA on loopback and the watch reads it as it would read
the plant's. Time is played, not waited for: long stretches in large steps, seconds round the fault.
"""

from __future__ import annotations

import tempfile
import typing
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from byrewright.engine.interlocks import Table, contacts
from byrewright.plant.roles import Senses, StoresMilk
from byrewright.site.addresses import default_addresses
from byrewright.site.alarms import Event
from byrewright.site.controller import LOOPBACK, Controller, free_port
from byrewright.site.journal import Journal
from byrewright.site.log import Log, Owner
from byrewright.site.opcua import OpcuaSource
from byrewright.site.sources import ModbusSource, Source
from byrewright.site.watch import Watch
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import Case, FoundHarm, holds
from byrewright.studies.routes.propagation import Combination
from byrewright.studies.routes.scene import Scene
from byrewright.studies.routes.table import process_contacts

Protocol = Literal["modbus", "contacts", "opcua"]
COARSE_S, FINE_S = 60.0, 1.0
FLUSH_S = 30.0
LOOK_S = 600.0
"""How long after the fault the rehearsal goes on in seconds, looking for the alarm."""
SPOILT = frozenset({"wash_to_milk", "water_to_milk", "withheld_to_tank"})
"""Harms in which the tank rises as it should, or faster."""


@dataclass(frozen=True, slots=True)
class ModeInterval:
    """A part of the day in one mode, minutes after midnight."""

    start_min: float
    end_min: float
    mode: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Positions that are wrong from a time of day on, until the mode ends."""

    at_min: float
    wrong: Combination


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What came of it. Times in minutes after midnight; litres by the milk ledger."""

    mode: str
    wrong: Combination
    harm: str
    at_min: float
    alarm_min: float | None
    alarm: str
    alarm_text: str
    litres_before: float
    """Milk lost between the fault and the alarm."""
    litres_unseen: float
    """Milk lost had nobody seen it until the mode ended."""
    events: tuple[Event, ...]
    reads: int
    seen: str = ""
    """Who or what sees it: the alarm, or people in the end."""
    seen_min: float = 0.0
    litres_until_seen: float = 0.0
    at_most: bool = False
    """Whether the litres are the most it may be: the simulated day shows no loss."""

    @property
    def seconds(self) -> float | None:
        """From the fault to the alarm."""
        return None if self.alarm_min is None else (self.alarm_min - self.at_min) * 60


class Played(typing.Protocol):
    """The day that is played: its acts, and the ledger of milk lost in it (times in minutes after
    midnight; `hit` is the harm that the positions do)."""

    @property
    def intervals(self) -> Sequence[ModeInterval]:
        """What is done when."""

    def lost_l(
        self, wrong: Combination, start_min: float, end_min: float, hit: FoundHarm | None = None
    ) -> float:
        """Litres of milk lost with positions wrong between two times."""

    def at_most(self, wrong: Combination, start_min: float, hit: FoundHarm | None = None) -> bool:
        """Whether those litres are the most it may be."""


async def rehearse(table: Table, scenes: Mapping[str, Scene], day: Played, fault: Fault,
                   hits: Sequence[FoundHarm] = (), *, protocol: Protocol = "modbus",
                   log: Path | None = None, rules: Rulebook | None = None,
                   proposed: bool = False) -> Rehearsal:  # fmt: skip
    """Play a day with one fault and watch it by the sensors that the plant has.

    `proposed`: as if every sensor that the table asks for were fitted.

    Raises:
        ValueError: the fault lies in no interval of the day, or names no wrong position of
            its mode.
    """
    interval = next((a for a in day.intervals if a.start_min <= fault.at_min < a.end_min), None)
    if interval is None:
        raise ValueError("the fault lies outside the day that is played")
    scene = scenes[interval.mode]
    table = table if proposed else table.as_fitted()
    for machine, position in fault.wrong:
        if position not in scene.others.get(machine, ()):
            raise ValueError(
                f"{machine} cannot stand wrong as {position!r} in {interval.mode}; it can as "
                f"{', '.join(scene.others.get(machine, ())) or 'nothing that matters'}"
            )
    with tempfile.TemporaryDirectory() as folder:
        player = _Player(
            table, scenes, day.intervals, fault, protocol, log or Path(folder) / "rehearsal.sqlite"
        )
        events, reads = await player.play(interval)
    raised = next((e for e in events if e.kind == "raised" and e.at >= fault.at_min * 60), None)
    mine = [h for h in hits if h.mode == interval.mode and set(h.wrong) <= set(fault.wrong)]
    harm = next((h.question.harm for h in mine), "")
    hit = next((h for h in mine if h.question.loses == "milk"), None)
    loses = loses_milk(scene, fault.wrong)

    def lost(end_min: float) -> float:
        return day.lost_l(fault.wrong, fault.at_min, end_min, hit) if loses else 0.0

    until = raised.at / 60 if raised else interval.end_min
    seen, seen_min = (
        (raised.tag, until)
        if raised
        else _by_people(scene, fault, interval, loses, rules or Rulebook())
    )
    return Rehearsal(
        mode=interval.mode,
        wrong=fault.wrong,
        harm=scene.harm(harm).title if harm else "",
        at_min=fault.at_min,
        alarm_min=raised.at / 60 if raised else None,
        alarm=raised.tag if raised else "",
        alarm_text=raised.text if raised else "",
        litres_before=lost(until),
        litres_unseen=lost(interval.end_min),
        events=tuple(events),
        reads=reads,
        seen=seen,
        seen_min=seen_min,
        litres_until_seen=lost(seen_min),
        at_most=loses and day.at_most(fault.wrong, fault.at_min, hit),
    )


def _by_people(
    scene: Scene, fault: Fault, interval: ModeInterval, loses: bool, rules: Rulebook
) -> tuple[str, float]:
    """What no sensor sees: who notices it in the end, and when (minutes after midnight)."""
    diverted = any(holds(scene, q, fault.wrong) for q in scene.questions
                   if q.loses == "milk" and q.harm not in SPOILT)  # fmt: skip
    if not loses or not diverted:
        return "nobody sees it before the mode ends", interval.end_min
    look = rules.number("watch.tank_look_min")
    at = fault.at_min + look
    if at >= interval.end_min:
        return (
            "nobody sees it before the mode ends: the tank holds too little then",
            interval.end_min,
        )
    filled = Case(scene, ()).walk("milk")
    plant = scene.net.plant
    tanks = [m.id for m in plant.machines(StoresMilk) if scene.net.body.get(m.id) in filled]
    levels = [s for s in plant.machines(Senses) if s.measures == "level" and s.on in tanks]
    what = (
        f"notices {levels[0].on} that does not rise on {levels[0].id}" if levels
        else f"looks into {tanks[0]}, which does not rise," if tanks
        else "notices a tank not rising"
    )  # fmt: skip
    return f"nobody, until someone {what} after about {look:.0f} min", at


def loses_milk(scene: Scene, wrong: Combination) -> bool:
    """Whether flowing milk is lost or spoilt while these positions are wrong."""
    return any(q.loses == "milk" and holds(scene, q, wrong) for q in scene.questions)


def at_time(table: Table, scenes: Mapping[str, Scene], day: Sequence[ModeInterval], fault: Fault,
            now_min: float) -> tuple[str, dict[str, bool]]:  # fmt: skip
    """Mode and contacts of the played day at a time; the day begins again when it is over.

    Raises:
        ValueError: the day has no interval.
    """
    if not day:
        raise ValueError("the day that is played has no interval")
    first, last = day[0].start_min, day[-1].end_min
    now = first + (now_min - first) % (last - first)
    interval = next((a for a in day if a.start_min <= now < a.end_min), day[-1])
    wrong = interval.start_min <= fault.at_min <= now
    scene = scenes[interval.mode]
    return interval.mode, shown(table, scene, fault.wrong if wrong else ())


def shown(table: Table, scene: Scene, wrong: Combination) -> dict[str, bool]:
    """What every contact shows in a mode with some positions wrong, those that only count too."""
    position = {**scene.wanted, **dict(wrong)}
    mode, plant = scene.name, scene.net.plant
    runs = {s.tag: plant.position(mode, s.machine) == s.says for s in table.runs}
    return runs | contacts(table, position, process_contacts(table, scene, wrong))


class _Player:
    def __init__(self, table: Table, scenes: Mapping[str, Scene], day: Sequence[ModeInterval],
                 fault: Fault, protocol: Protocol, log: Path) -> None:  # fmt: skip
        self.table, self.scenes, self.day, self.fault = table, scenes, day, fault
        self.where = default_addresses(table, contacts_only=protocol == "contacts")
        self.protocol: Protocol = protocol
        self.now = day[0].start_min * 60 if day else 0.0
        self.log = Log(log, Owner("", table.plant, "practice"))
        self.reads = 0

    async def play(self, at_fault: ModeInterval) -> tuple[list[Event], int]:
        opcua = self.protocol == "opcua"
        controller = Controller(self.table, self.where, modbus_port=None if opcua else free_port(),
                                opcua_port=free_port() if opcua else None)  # fmt: skip
        async with controller:
            source: Source
            if opcua:
                source = OpcuaSource(self.table, self.where, controller.opcua_url)
            else:
                source = ModbusSource(self.table, self.where, LOOPBACK, controller.modbus_port or 0)
            journal = Journal(self.log)
            watch = Watch(
                self.table, source, journal, world="practice", stale_s=2 * COARSE_S,
                clock=lambda: self.now, forward=lambda: self.now,
            )  # fmt: skip
            try:
                for interval in self.day:
                    wrong = self.fault.wrong if interval is at_fault else ()
                    await self._act(interval, wrong, controller, watch)
                    if interval is at_fault:
                        break
            finally:
                await source.close()
                journal.flush(FLUSH_S)
                events = self.log.events()
                journal.close()
        return events, self.reads

    async def _act(
        self, interval: ModeInterval, wrong: Combination, controller: Controller, watch: Watch
    ) -> None:
        scene = self.scenes[interval.mode]
        right = shown(self.table, scene, ())
        off = shown(self.table, scene, wrong) if wrong else right
        start, end = interval.start_min * 60, interval.end_min * 60
        fault = self.fault.at_min * 60 if wrong else end
        second = start
        while second < end:
            self.now = second
            await controller.show(interval.mode, off if second >= fault else right)
            await watch.step()
            self.reads += 1
            if wrong and second >= fault and (watch.alarms.shown() or second - fault > LOOK_S):
                return
            near = second < start + 10 or (wrong and second >= fault - 10)
            step = FINE_S if near else COARSE_S
            second = min(
                second + step, fault - 10 if second < fault - 10 < second + step else second + step
            )
