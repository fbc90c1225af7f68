"""Alarms with delay, memory and acknowledgement; pure, knows no clock and no file.

States and their names follow the alarm state model of ISA-18.2 / IEC 62682 as remembered (texts not
read): normal, unacknowledged, acknowledged, gone but unacknowledged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from byrewright.engine.interlocks import Table

State = Literal["normal", "unacknowledged", "acknowledged", "gone"]
Kind = Literal["raised", "cleared", "acknowledged", "mode", "lost", "back", "started", "stopped"]


@dataclass(frozen=True, slots=True)
class Alarm:
    """The state of one row. `occurrence` counts how often it has been raised, for ever.

    `cause_since` runs while the on delay runs, `right_since` while the off delay runs.
    """

    tag: str
    state: State = "normal"
    since: float = 0.0
    occurrence: int = 0
    cause_since: float | None = None
    right_since: float | None = None

    @property
    def standing(self) -> bool:
        """Whether the cause is taken to be there now."""
        return self.state in ("unacknowledged", "acknowledged")


@dataclass(frozen=True, slots=True)
class Event:
    """Something to be recorded, once."""

    at: float
    kind: Kind
    tag: str
    occurrence: int
    text: str
    priority: str = ""
    mode: str = ""
    who: str = ""


class Alarms:
    """All alarms of a table. `scan` takes what is read; `acknowledge` what people do."""

    def __init__(self, table: Table, kept: Mapping[str, Alarm] | None = None) -> None:
        self.table = table
        self.states = {r.tag: (kept or {}).get(r.tag, Alarm(r.tag)) for r in table.rows}

    def scan(self, now: float, active: Iterable[str], mode: str) -> list[Event]:
        """Take the rows whose cause is there at `now` (s); what was raised or cleared."""
        here = set(active)
        events = []
        for row in self.table.rows:
            alarm = self.states[row.tag]
            after = _step(alarm, row.tag in here, now, row.on_delay_s, row.off_delay_s)
            self.states[row.tag] = after
            if after.occurrence > alarm.occurrence:
                events.append(
                    Event(now, "raised", row.tag, after.occurrence, row.text, row.priority, mode)
                )
            elif alarm.standing and not after.standing:
                events.append(
                    Event(now, "cleared", row.tag, after.occurrence, row.text, row.priority, mode)
                )
        return events

    def acknowledge(self, now: float, who: str, tag: str | None = None) -> list[Event]:
        """Acknowledge one alarm, or all that wait for it."""
        events = []
        for row in self.table.rows:
            alarm = self.states[row.tag]
            if tag not in (None, row.tag) or alarm.state not in ("unacknowledged", "gone"):
                continue
            state: State = "acknowledged" if alarm.state == "unacknowledged" else "normal"
            self.states[row.tag] = replace(alarm, state=state, since=now)
            events.append(
                Event(
                    now, "acknowledged", row.tag, alarm.occurrence, row.text, row.priority, "", who
                )
            )
        return events

    def adopt(self, kept: Mapping[str, Alarm]) -> None:
        """Take over acknowledgements that were given elsewhere, by another program."""
        for tag, other in kept.items():
            mine = self.states.get(tag)
            if mine is None or other.occurrence != mine.occurrence or other.since <= mine.since:
                continue
            if mine.state == "unacknowledged" and other.state == "acknowledged":
                self.states[tag] = replace(mine, state="acknowledged", since=other.since)
            elif mine.state == "gone" and other.state == "normal":
                self.states[tag] = replace(mine, state="normal", since=other.since)

    def blind(self) -> None:
        """Nothing is read: delays that were running start again when reading does."""
        for tag, alarm in self.states.items():
            self.states[tag] = replace(alarm, cause_since=None, right_since=None)

    def shown(self) -> list[Alarm]:
        """Alarms that are not normal, in table order."""
        return [self.states[r.tag] for r in self.table.rows if self.states[r.tag].state != "normal"]


def _step(alarm: Alarm, cause: bool, now: float, on_delay_s: float, off_delay_s: float) -> Alarm:
    if cause:
        if alarm.standing:
            return replace(alarm, right_since=None)
        since = now if alarm.cause_since is None else alarm.cause_since
        if now - since < on_delay_s:
            return replace(alarm, cause_since=since)
        return Alarm(alarm.tag, "unacknowledged", now, alarm.occurrence + 1)
    if not alarm.standing:
        return replace(alarm, cause_since=None)
    since = now if alarm.right_since is None else alarm.right_since
    if now - since < off_delay_s:
        return replace(alarm, right_since=since)
    state: State = "gone" if alarm.state == "unacknowledged" else "normal"
    return Alarm(alarm.tag, state, now, alarm.occurrence)
