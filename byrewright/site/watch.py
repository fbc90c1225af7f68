"""The watch: reads a controller, evaluates the table, keeps alarms and log, publishes its state."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from byrewright.engine.interlocks import DRAFT, Table, active, hindrances
from byrewright.site.alarms import Alarms, Event, Kind
from byrewright.site.log import Log
from byrewright.site.sources import Sample, Source, SourceLost

PERIOD_S = 1.0
UNKNOWN = "unknown"
STALE_S = 10.0
"""Age at which a reading is called not live, unless the rulebook's value is passed in."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One alarm as people see it."""

    tag: str
    state: str
    since: float
    priority: str
    text: str
    do: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state that pages show. Ask `live` with the time now: data grow old by themselves."""

    plant: str
    source: str
    at: float
    read_at: float | None
    connected: bool
    stale_after_s: float
    message: str
    mode: str | None
    contacts: dict[str, bool] = field(default_factory=dict)
    alarms: tuple[Shown, ...] = ()
    hindrances: dict[str, tuple[str, ...]] = field(default_factory=dict)
    notice: str = DRAFT

    def live(self, now: float) -> bool:
        """Whether what is shown was read just now."""
        return (
            self.connected and self.read_at is not None and now - self.read_at <= self.stale_after_s
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


class Watch:
    """Watches one plant through one source. It never writes to the controller."""

    def __init__(self, table: Table, source: Source, log: Log, *, period_s: float = PERIOD_S,
                 stale_s: float = STALE_S, clock: Callable[[], float] = time.time,
                 publish: Path | None = None) -> None:  # fmt: skip
        self.table, self.source, self.log = table, source, log
        self.period_s, self.stale_s, self.clock, self.publish_to = period_s, stale_s, clock, publish
        self.alarms = Alarms(table, log.alarms())
        self.counts = log.counts()
        self.listeners: list[Callable[[Snapshot], None]] = []
        self._sample: Sample | None = None
        self._read_at: float | None = None
        link, mode = log.last("lost", "back"), log.last("mode")
        self._connected: bool | None = False if link and link.kind == "lost" else None
        self._message = "not read yet"
        self._beat: tuple[int | None, float] = (None, clock())
        self._mode_logged: str | None = mode.text if mode else None
        self.snapshot = self._shown()

    async def step(self) -> Snapshot:
        """Read once, evaluate, record, publish."""
        try:
            sample = await self.source.read()
            now = self.clock()
            self._heartbeat(sample, now)
        except SourceLost as error:
            self._lost(str(error))
        else:
            self._take(sample, now)
        self.snapshot = self._shown()
        self._publish()
        return self.snapshot

    async def run(self, stop: asyncio.Event) -> None:
        """Step each period until told to stop."""
        self._note("started", f"watch of {self.source.name} begins")
        try:
            while not stop.is_set():
                begun = time.monotonic()
                await self.step()
                rest = max(0.0, self.period_s - (time.monotonic() - begun))
                try:
                    await asyncio.wait_for(stop.wait(), rest)
                except TimeoutError:
                    continue
        finally:
            await self.source.close()
            self._note("stopped", "watch ends")

    def acknowledge(self, who: str, tag: str | None = None) -> int:
        """Acknowledge one alarm or all; how many were."""
        self.alarms.adopt(self.log.alarms())
        events = self.alarms.acknowledge(self.clock(), who, tag)
        self.log.record(events, [self.alarms.states[e.tag] for e in events])
        self.snapshot = self._shown()
        self._publish()
        return len(events)

    # inside ----------------------------------------------------------------------------------

    def _heartbeat(self, sample: Sample, now: float) -> None:
        """A controller whose heartbeat stands still is not live though it answers."""
        if sample.heartbeat is None:
            return
        beat, since = self._beat
        if sample.heartbeat != beat:
            self._beat = (sample.heartbeat, now)
        elif now - since > self.stale_s:
            raise SourceLost(
                f"{self.source.name} answers, but its heartbeat stands still: its program has "
                "stopped"
            )

    def _take(self, sample: Sample, now: float) -> None:
        events: list[Event] = []
        self.alarms.adopt(self.log.alarms())
        if self._connected is False:
            events.append(self._event("back", f"{self.source.name} is read again"))
        self._connected, self._sample, self._read_at = True, sample, now
        if sample.mode is None:
            self._message = (
                "the controller gives no mode that this plant knows: alarms are not judged"
            )
            self.alarms.blind()
        else:
            self._message = ""
            found = self.alarms.scan(
                now, active(self.table, sample.mode, sample.contacts), sample.mode
            )
            events += found
        known = sample.mode or UNKNOWN
        if known != self._mode_logged:
            self._mode_logged = known
            events.append(self._event("mode", known, sample.mode or ""))
        self.log.record(events, [self.alarms.states[e.tag] for e in events if e.tag])

    def _lost(self, why: str) -> None:
        self._message = why
        self.alarms.blind()
        if self._connected is not False:
            self._connected = False
            self.log.record([self._event("lost", why)])

    def _event(self, kind: Kind, text: str, mode: str = "") -> Event:
        self.counts[kind] = self.counts.get(kind, 0) + 1
        return Event(self.clock(), kind, "", self.counts[kind], text, "", mode)

    def _note(self, kind: Kind, text: str) -> None:
        self.log.record([self._event(kind, text)])

    def _shown(self) -> Snapshot:
        sample, rows = self._sample, {r.tag: r for r in self.table.rows}
        contacts = dict(sample.contacts) if sample else {}
        shown = tuple(
            Shown(a.tag, a.state, a.since, rows[a.tag].priority, rows[a.tag].text, rows[a.tag].do)
            for a in self.alarms.shown()
        )
        blocked = (
            {m: hindrances(self.table, m, contacts) for m in self.table.modes} if sample else {}
        )
        return Snapshot(
            self.table.plant, self.source.name, self.clock(), self._read_at, bool(self._connected),
            self.stale_s, self._message, sample.mode if sample else None, contacts, shown, blocked,
        )  # fmt: skip

    def _publish(self) -> None:
        for listener in self.listeners:
            listener(self.snapshot)
        if self.publish_to is not None:
            temporary = self.publish_to.with_name(f".{self.publish_to.name}.new")
            temporary.write_text(
                json.dumps(self.snapshot.to_dict(), indent=1) + "\n", encoding="utf-8"
            )
            temporary.replace(self.publish_to)
