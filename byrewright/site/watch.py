"""The watch: reads a controller, evaluates the table, keeps alarms and log, shows its state.

Nothing that comes from the controller, the log or a visitor ends it. Delays and ages run on a clock
that only goes forward; the time of day is for people to read.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from byrewright.engine.interlocks import DRAFT, Table, row_known
from byrewright.site import own
from byrewright.site.alarms import Alarm, Alarms, Event, Kind
from byrewright.site.journal import Journal, States
from byrewright.site.log import New, World
from byrewright.site.running import Running
from byrewright.site.sources import Sample, Source, SourceLost
from byrewright.standards.rulebook import Rulebook, default_rulebook

PERIOD_S = 1.0
UNKNOWN = "unknown"
NOT_YET = "not read yet"
BETWEEN = "|"
"""Between source and tag, where an alarm belongs to a source that is not read any more."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One alarm as people see it. `source` is named where it is not the one that is read."""

    tag: str
    state: str
    since: float
    priority: str
    text: str
    do: str
    machine: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Ran:
    """What a machine's run contact told since the watch began. `runs` is None where it tells
    nothing now."""

    machine: str
    runs: bool | None
    seen_h: float
    ran_h: float
    starts: int


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state that people are shown, as of the moment it was taken.

    `age_s` is how old the reading was then (None: nothing was read yet). Ask `live` with the
    seconds gone by since, on a clock that only goes forward: data grow old by themselves.
    """

    plant: str
    source: str
    world: World
    at: float
    age_s: float | None
    connected: bool
    stale_after_s: float
    message: str
    mode: str | None
    contacts: dict[str, bool] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)
    alarms: tuple[Shown, ...] = ()
    cannot: tuple[str, ...] = ()
    """Alarms that cannot come with this address map, in words."""
    log: str = ""
    """Why the log is not written; "" when it is."""
    pending: int = 0
    practised: dict[str, str] = field(default_factory=dict)
    ran: tuple[Ran, ...] = ()
    notice: str = DRAFT

    def live(self, gone_s: float) -> bool:
        """Whether what is shown was read just now, `gone_s` after it was taken."""
        age = self.age_s
        return self.connected and age is not None and age + gone_s <= self.stale_after_s

    def to_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def snapshot_of(data: Mapping[str, Any]) -> Snapshot:
    """A snapshot out of plain data."""
    shown = tuple(Shown(**one) for one in data["alarms"])
    ran = tuple(Ran(**one) for one in data["ran"])
    bare = Snapshot(**{**data, "alarms": (), "ran": ()})
    return replace(bare, alarms=shown, ran=ran, cannot=tuple(data["cannot"]))


class Watch:
    """Watches one plant through one source. It never writes to the controller."""

    def __init__(self, table: Table, source: Source, journal: Journal, *, world: World = "real",
                 period_s: float = PERIOD_S, rules: Rulebook | None = None,
                 stale_s: float | None = None, cannot: tuple[str, ...] = (),
                 clock: Callable[[], float] = time.time,
                 forward: Callable[[], float] = time.monotonic) -> None:  # fmt: skip
        rules = rules or default_rulebook()
        self.table, self.source, self.journal, self.world = table, source, journal, world
        self.period_s, self.clock, self.forward = period_s, clock, forward
        self.stale_s = rules.number("alarm.stale_signal_s") if stale_s is None else stale_s
        self.cannot = cannot
        own_rows = own.own_rows(self.stale_s, rules.number("alarm.log_late_s"))
        self.rows = {r.tag: r for r in (*own_rows, *table.rows)}
        self.listeners: list[Callable[[Snapshot], None]] = []
        kept = journal.begin() or {}
        self.alarms = Alarms(self.rows.values(), self._mine(kept), self.stale_s)
        self.others = self._orphans(kept)
        told = [e for e in journal.recent if e.kind in ("lost", "back")]
        mode = [e.text for e in journal.recent if e.kind == "mode"]
        self.link = own.Link(rules, False if told and told[-1].kind == "lost" else None)
        gap_s = max(self.stale_s, 2.5 * period_s)
        self._counts_only = {s.tag for s in table.runs}
        self.running = Running(table.run_contacts(), rules.number("watch.run_steady_s"), gap_s)
        self._entry_s = 60.0 * rules.number("watch.run_entry_min")
        self._entered_at = forward()
        self.practised: dict[str, str] = {}
        self.ending: tuple[str, str] = ("", "")
        self._mode_logged: str | None = mode[-1] if mode else None
        self._sample: Sample | None = None
        self._read_at: float | None = None
        self._message = NOT_YET
        self._beat: tuple[int | None, float] = (None, forward())
        self.snapshot = self.look()

    async def step(self) -> Snapshot:
        """Read once, evaluate, record, show."""
        late = self.journal.recalled()
        if late is not None:
            self.alarms.recall(self._mine(late))
            self.others = self._orphans(late)
        try:
            sample = await self.source.read()
            now = self.forward()
            self._heartbeat(sample, now)
        except SourceLost as error:
            self._lost(str(error), self.forward())
        else:
            self._take(sample, now)
        if self.forward() - self._entered_at >= self._entry_s:
            self._enter_ran()
        self.tell()
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
            self._enter_ran()
            who, why = self.ending
            stand = sum(a.standing for a in self.alarms.shown())
            stand += sum(a.standing for _, a, _ in self.others.values())
            left = f"; alarms that stand and are kept: {stand}" if stand else ""
            self._note("stopped", f"watch ends: {why or 'the program was ended'}{left}", who)

    def acknowledge(self, who: str, tag: str | None = None) -> int:
        """Acknowledge one alarm or all; how many were."""
        at = self.clock()
        events = self.alarms.acknowledge(at, who, tag)
        self._record(events)
        done = len(events)
        for key, (source, alarm, shown) in list(self.others.items()):
            if tag in (None, key):
                del self.others[key]
                gone = Event(
                    at, "acknowledged", alarm.tag, f"{shown.text} (read from {source} before)",
                    shown.priority, who=who, source=source,
                )  # fmt: skip
                self.journal.write([gone], [(source, Alarm(alarm.tag, "normal", at))])
                done += 1
        self.tell()
        return done

    def look(self) -> Snapshot:
        """The state as of now."""
        sample, now = self._sample, self.forward()
        shown = tuple(self._words(a) for a in self.alarms.shown())
        return Snapshot(
            self.table.plant, self.source.name, self.world, self.clock(),
            None if self._read_at is None else now - self._read_at, bool(self.link.up),
            self.stale_s, self._message, sample.mode if sample else None,
            dict(sample.contacts) if sample else {}, dict(sample.unknown) if sample else {},
            (*shown, *(one for _, _, one in self.others.values())), self.cannot,
            self.journal.trouble, self.journal.pending, dict(self.practised), self._ran(now),
        )  # fmt: skip

    def tell(self) -> None:
        """Take a fresh snapshot and tell whoever listens."""
        self.snapshot = self.look()
        for listener in self.listeners:
            listener(self.snapshot)

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
        events = self._linked(True, f"{self.source.name} is read again", now)
        self.running.take(now, sample.contacts)
        self._sample, self._read_at = sample, now
        causes: dict[str, bool | None] = {
            own.MODE_UNKNOWN: sample.mode is None,
            own.POINT_UNKNOWN: not self._counts_only.issuperset(sample.unknown),
        }
        self._message = ""
        if sample.mode is None:
            self._message = (
                "The controller gives no mode that this plant knows: alarms are not judged."
            )
        else:
            for row in self.table.rows:
                causes[row.tag] = row_known(row, sample.mode, sample.contacts)
        events += self._judge(causes, now, sample.mode or "")
        known = sample.mode or UNKNOWN
        if known != self._mode_logged:
            self._mode_logged = known
            events.append(self._event("mode", known, sample.mode or ""))
        self._record(events)

    def _ran(self, now: float) -> tuple[Ran, ...]:
        return tuple(
            Ran(m, self.running.runs(m, now), c.seen_s / 3600.0, c.ran_s / 3600.0, c.starts)
            for m, c in self.running.totals.items()
        )

    def _enter_ran(self) -> None:
        """Have what ran since the entry before written, in one entry for all machines."""
        self._entered_at = self.forward()
        told = {
            m: {"seen_s": round(c.seen_s, 1), "ran_s": round(c.ran_s, 1), "starts": c.starts}
            for m, c in self.running.drain().items() if c.seen_s
        }  # fmt: skip
        if told:
            body = {"source": self.source.name, "machines": told}
            self.journal.enter(New("ran", self.clock(), "", "", body))

    def _lost(self, why: str, now: float) -> None:
        self._message = why
        self._record(self._linked(False, why, now) + self._judge({}, now, ""))

    def _linked(self, up: bool, text: str, now: float) -> list[Event]:
        news = self.link.take(up, now)
        return [self._event("back" if up else "lost", text)] if news else []

    def _judge(self, causes: dict[str, bool | None], now: float, mode: str) -> list[Event]:
        causes = {
            own.LINK_LOST: not self.link.up,
            own.LINK_FLAPS: self.link.flaps,
            own.LOG_STOPPED: bool(self.journal.trouble),
            **causes,
        }
        return self.alarms.scan(now, self.clock(), causes, mode)

    def _event(self, kind: Kind, text: str, mode: str = "", who: str = "") -> Event:
        return Event(self.clock(), kind, "", text, "", mode, who)

    def _note(self, kind: Kind, text: str, who: str = "") -> None:
        self._record([self._event(kind, text, who=who)])

    def note(self, kind: Kind, text: str, who: str = "") -> None:
        """Write something into the log that is not an alarm."""
        self._note(kind, text, who)

    def _record(self, events: list[Event]) -> None:
        name = self.source.name
        if events:
            marked = [replace(e, source=name) for e in events]
            self.journal.write(marked, [(name, self.alarms.states[e.tag]) for e in marked if e.tag])

    def _mine(self, kept: States) -> dict[str, Alarm]:
        return {**kept.get("", {}), **kept.get(self.source.name, {})}

    def _orphans(self, kept: States) -> dict[str, tuple[str, Alarm, Shown]]:
        """Alarms of sources that are not read now, or of rows that are no more: only people can
        end them."""
        found: dict[str, tuple[str, Alarm, Shown]] = {}
        for source, some in kept.items():
            mine = source in ("", self.source.name)
            for alarm in some.values():
                if alarm.state != "normal" and not (mine and alarm.tag in self.rows):
                    key = f"{source}{BETWEEN}{alarm.tag}"
                    shown = replace(self._words(alarm), tag=key, source=source)
                    found[key] = (source, alarm, shown)
        return found

    def _words(self, alarm: Alarm) -> Shown:
        row = self.rows.get(alarm.tag)
        if row is None:
            return Shown(alarm.tag, alarm.state, alarm.since, "high",
                         f"{alarm.tag}: an alarm that this plant file does not have any more",
                         "See whether it still matters, then acknowledge it.")  # fmt: skip
        text, do = row.told_in(alarm.mode)
        return Shown(alarm.tag, alarm.state, alarm.since, row.priority, text, do, row.machine)
