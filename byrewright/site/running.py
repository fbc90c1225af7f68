"""What machines ran while they were watched: hours and starts by their run contacts; pure.

What a contact showed at one reading holds until the next. A change counts once the contact has held
for `steady_s`, and then from when it was first seen: bounce is no start. Between readings further
apart than `gap_s` nothing is counted, neither time nor a start, and the watch of that contact
begins anew. `now` is seconds on a clock that only goes forward.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass
class Count:
    """What was seen of one machine: for how long, how long it ran, and how often it started."""

    seen_s: float = 0.0
    ran_s: float = 0.0
    starts: int = 0

    def add(self, seconds: float, runs: bool) -> None:
        """So long it was seen to run, or to stand."""
        self.seen_s += seconds
        self.ran_s += seconds * runs


@dataclass
class _Contact:
    runs: bool
    at: float
    other_since: float | None = None
    waits_s: float = 0.0
    """Time since it shows the other, of which it is not known yet what it was."""


class Running:
    """Counts what runs. `contacts` are tag to machine."""

    def __init__(self, contacts: Mapping[str, str], steady_s: float, gap_s: float) -> None:
        self.contacts, self.steady_s, self.gap_s = dict(contacts), steady_s, gap_s
        self.totals: dict[str, Count] = {}
        """By machine, since the watch began."""
        self._fresh: dict[str, Count] = {}
        self._last: dict[str, _Contact] = {}

    def take(self, now: float, shown: Mapping[str, bool]) -> None:
        """What the contacts show; one that is left out is not known now."""
        for tag, machine in self.contacts.items():
            if tag in shown:
                self._take(tag, machine, now, shown[tag])

    def runs(self, machine: str, now: float) -> bool | None:
        """Whether a machine runs now; None where that was not seen just now."""
        for tag, whose in self.contacts.items():
            last = self._last.get(tag)
            if whose == machine and last is not None and now - last.at <= self.gap_s:
                return last.runs
        return None

    def drain(self) -> dict[str, Count]:
        """What was counted since this was asked before, by machine."""
        fresh, self._fresh = self._fresh, {}
        return fresh

    def _take(self, tag: str, machine: str, now: float, shown: bool) -> None:
        last = self._last.get(tag)
        if last is None or now - last.at > self.gap_s:
            self._last[tag] = _Contact(shown, now)
            return
        gone, last.at = now - last.at, now
        if last.other_since is None:
            self._add(machine, gone, last.runs)
        else:
            last.waits_s += gone
        if shown is last.runs:
            self._settle(machine, last)
            return
        if last.other_since is None:
            last.other_since = now
        if now - last.other_since >= self.steady_s:
            last.runs = shown
            self._settle(machine, last)
            for one in self._counts(machine):
                one.starts += shown

    def _settle(self, machine: str, last: _Contact) -> None:
        if last.waits_s:
            self._add(machine, last.waits_s, last.runs)
        last.other_since, last.waits_s = None, 0.0

    def _add(self, machine: str, seconds: float, runs: bool) -> None:
        for one in self._counts(machine):
            one.add(seconds, runs)

    def _counts(self, machine: str) -> tuple[Count, Count]:
        return (self.totals.setdefault(machine, Count()), self._fresh.setdefault(machine, Count()))
