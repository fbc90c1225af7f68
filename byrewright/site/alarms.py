"""Alarms with delay, memory and acknowledgement; pure, knows no clock and no file.

States and their names follow the alarm state model of ISA-18.2 / IEC 62682 as remembered (texts not
read): normal, unacknowledged, acknowledged, gone but unacknowledged.

Two times are kept apart. `now` is seconds on a clock that only goes forward: delays run on it. `at`
is the time of day (s since 1970) that people read, which somebody may set back.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from byrewright.engine.interlocks import Row

State = Literal["normal", "unacknowledged", "acknowledged", "gone"]
Kind = Literal[
    "raised", "cleared", "acknowledged", "mode", "lost", "back", "started", "stopped", "log",
    "notice",
]  # fmt: skip
GAP_S = 10.0
"""A longer gap in reading starts an off delay anew: nothing clears over what nobody saw."""


def new_uid() -> str:
    """An id that no other record ever has, whatever the clock does."""
    return uuid.uuid4().hex


@dataclass(frozen=True, slots=True)
class Alarm:
    """The state of one row.

    `since` is the time of day of the last change. `cause_since` runs while the on delay runs,
    `right_since` while the off delay runs, `judged_at` is when it was judged last: these three are
    on the forward clock and mean nothing to another process. `mode` is that in which it stood
    last: it says what is true there.
    """

    tag: str
    state: State = "normal"
    since: float = 0.0
    cause_since: float | None = None
    right_since: float | None = None
    judged_at: float | None = None
    mode: str = ""

    @property
    def standing(self) -> bool:
        """Whether the cause is taken to be there now."""
        return self.state in ("unacknowledged", "acknowledged")

    @property
    def waits(self) -> bool:
        """Whether it waits to be acknowledged."""
        return self.state in ("unacknowledged", "gone")


@dataclass(frozen=True, slots=True)
class Event:
    """Something to be recorded, once."""

    at: float
    kind: Kind
    tag: str
    text: str
    priority: str = ""
    mode: str = ""
    who: str = ""
    source: str = ""
    uid: str = field(default_factory=new_uid)


class Alarms:
    """All alarms of some rows. `scan` takes what is read; `acknowledge` what people do."""

    def __init__(
        self, rows: Iterable[Row], kept: Mapping[str, Alarm] | None = None, gap_s: float = GAP_S
    ) -> None:
        self.rows = tuple(rows)
        self.gap_s = gap_s
        self.states = {r.tag: (kept or {}).get(r.tag, Alarm(r.tag)) for r in self.rows}

    def scan(
        self, now: float, at: float, causes: Mapping[str, bool | None], mode: str = ""
    ) -> list[Event]:
        """Take what is known of each row's cause in a mode; what was raised or cleared.

        A row that is None or left out is not known now: its alarm stays as it is, and a delay that
        runs goes on running. What stands on into a mode in which something else comes of it is
        another alarm: the one is cleared, the other raised at once.
        """
        events: list[Event] = []
        for row in self.rows:
            cause = causes.get(row.tag)
            if cause is None:
                continue
            before = self.states[row.tag]
            after = _step(before, cause, now, at, row, mode, self.gap_s)
            other = cause and before.standing and _says_else(row, before.mode, mode)
            if other:
                after = Alarm(row.tag, "unacknowledged", at, judged_at=now, mode=mode)
            self.states[row.tag] = after
            if before.standing and (other or not after.standing):
                text = row.told_in(before.mode)[0]
                events.append(Event(at, "cleared", row.tag, text, row.priority, mode))
            if after.standing and (other or not before.standing):
                text = row.told_in(mode)[0]
                events.append(Event(at, "raised", row.tag, text, row.priority, mode))
        return events

    def acknowledge(self, at: float, who: str, tag: str | None = None) -> list[Event]:
        """Acknowledge one alarm, or all that wait for it."""
        events = []
        for row in self.rows:
            alarm = self.states[row.tag]
            if tag not in (None, row.tag) or not alarm.waits:
                continue
            state: State = "acknowledged" if alarm.standing else "normal"
            self.states[row.tag] = replace(alarm, state=state, since=at)
            text = row.told_in(alarm.mode)[0]
            events.append(Event(at, "acknowledged", row.tag, text, row.priority, who=who))
        return events

    def recall(self, kept: Mapping[str, Alarm]) -> None:
        """Take in what was remembered elsewhere and could not be read at the beginning.

        An alarm that stood then and stands now is the same alarm, and keeps its older state.
        """
        for tag, old in kept.items():
            mine = self.states.get(tag)
            if mine is None or old.state == "normal":
                continue
            if mine.state == "normal" or (mine.state == "unacknowledged" and old.standing):
                self.states[tag] = replace(
                    mine, state=old.state, since=old.since, cause_since=None, right_since=None,
                    mode=old.mode,
                )  # fmt: skip

    def shown(self) -> list[Alarm]:
        """Alarms that are not normal, in table order."""
        return [self.states[r.tag] for r in self.rows if self.states[r.tag].state != "normal"]


def _says_else(row: Row, before: str, mode: str) -> bool:
    """Whether something else comes of it in this mode than in that in which it stood."""
    return before in row.modes and row.told_in(before)[0] != row.told_in(mode)[0]


def _step(
    alarm: Alarm, cause: bool, now: float, at: float, row: Row, mode: str, gap_s: float
) -> Alarm:
    gap = alarm.judged_at is None or now - alarm.judged_at > gap_s
    alarm = replace(alarm, judged_at=now)
    if cause:
        if alarm.standing:
            return replace(alarm, right_since=None, mode=mode)
        since = now if alarm.cause_since is None else alarm.cause_since
        if now - since < row.on_delay_s:
            return replace(alarm, cause_since=since)
        return Alarm(alarm.tag, "unacknowledged", at, judged_at=now, mode=mode)
    if not alarm.standing:
        return replace(alarm, cause_since=None)
    since = now if alarm.right_since is None or gap else alarm.right_since
    if now - since < row.off_delay_s:
        return replace(alarm, right_since=since)
    state: State = "gone" if alarm.state == "unacknowledged" else "normal"
    return Alarm(alarm.tag, state, at, judged_at=now, mode=alarm.mode)
