"""Between the watch and its log: a thread that writes, and keeps what could not be written.

The watch never waits for the log and never ends because of it. What cannot be written is kept in
memory, tried again each second, and said.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterable, Sequence

from byrewright.site.alarms import Alarm, Event
from byrewright.site.log import Log, LogDamaged, LogRefused, LogTrouble, New

AGAIN_S = 1.0
RECENT = 200
States = dict[str, dict[str, Alarm]]


class Journal:
    """Writes to one log. Everything but the thread's own work returns at once."""

    def __init__(self, log: Log, again_s: float = AGAIN_S) -> None:
        self.log, self.again_s = log, again_s
        self.recent: deque[Event] = deque(maxlen=RECENT)
        """The last events, written or not, oldest first."""
        self._events: list[Event] = []
        self._news: list[New] = []
        self._states: dict[tuple[str, str], Alarm] = {}
        self._known: dict[tuple[str, str], Alarm] = {}
        self._trouble = ""
        self._kept: States | None = None
        self._wake = threading.Condition()
        self._end = self._bare = False
        self._thread: threading.Thread | None = None

    @property
    def trouble(self) -> str:
        """Why the log is not written just now; "" when all is well."""
        return self._trouble

    @property
    def pending(self) -> int:
        """How many records wait to be written."""
        return len(self._events) + len(self._news)

    def begin(self, limit_s: float = 3.0) -> States | None:
        """Start; the states that the log keeps, or None when it cannot be read so soon.

        Raises:
            LogRefused: it is the log of another plant or program.
        """
        try:
            self._kept = self.log.states()
            self.recent.extend(self.log.events(RECENT))
        except LogDamaged as error:
            self._aside(error)
        except LogRefused:
            raise
        except LogTrouble as error:
            self._trouble = str(error)
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)
        self._thread.start()
        kept, self._kept = self._kept, None
        if kept is not None:
            self._remember(kept)
        return kept

    def recalled(self) -> States | None:
        """The states that the log kept, once, when they could only be read later."""
        with self._wake:
            kept, self._kept = self._kept, None
        return kept

    def write(self, events: Sequence[Event], states: Iterable[tuple[str, Alarm]] = ()) -> None:
        """Have events and states written as soon as may be."""
        with self._wake:
            self._events += events
            self.recent.extend(events)
            for source, alarm in states:
                self._states[source, alarm.tag] = self._known[source, alarm.tag] = alarm
            self._wake.notify_all()

    def enter(self, new: New) -> None:
        """Have an entry that is no event written as soon as may be."""
        with self._wake:
            self._news.append(new)
            self._wake.notify_all()

    def flush(self, limit_s: float = 2.0) -> bool:
        """Wait until all is written; whether it is."""
        with self._wake:
            self._wake.wait_for(lambda: self._clean or bool(self._trouble), limit_s)
            return self._clean

    def close(self, limit_s: float = 2.0) -> None:
        """Write what can still be written, and let go."""
        self.flush(limit_s)
        with self._wake:
            self._end = True
            self._wake.notify_all()
        if self._thread is not None:
            self._thread.join(limit_s)
        self.log.close()

    # the thread ------------------------------------------------------------------------------

    @property
    def _clean(self) -> bool:
        return not (self._events or self._states or self._news)

    def _work(self) -> None:
        first = self._trouble != ""
        while True:
            with self._wake:
                if not first:
                    self._wake.wait_for(lambda: self._end or not self._clean, self.again_s)
                if self._end:
                    return
                events, states = list(self._events), dict(self._states)
                news = list(self._news)
            try:
                if first:
                    self._late()
                    first = False
                if events or states or news:
                    self._bare |= self.log.open()
                    if self._bare:  # the one of before is damaged, or was taken away
                        self._anew(events)
                        self._bare = False
                    self.log.record(events, [(s, a) for (s, _), a in states.items()], news)
            except LogDamaged as error:
                self._aside(error)
            except (LogTrouble, LogRefused) as error:  # refused: another log in its place
                self._say(str(error))
            except Exception as error:  # whatever comes of the disk must not end the writing
                self._say(f"{self.log.name} cannot be written ({type(error).__name__})")
            else:
                self._written(events, states, news)

    def _anew(self, waiting: list[Event]) -> None:
        """Into a log that holds nothing of before: what is remembered, and every alarm's state."""
        waits = {e.uid for e in waiting}
        with self._wake:
            past = [e for e in self.recent if e.uid not in waits]
            stand = [(s, a) for (s, _), a in self._known.items() if a.state != "normal"]
        known = any(e.kind == "log" for e in waiting)
        gone = "the log of before is not there any more; this one begins with the last records"
        told = [] if known else [Event(time.time(), "log", "", gone)]
        self.log.record([*past, *told], stand)
        with self._wake:
            self.recent.extend(told)

    def _late(self) -> None:
        kept, past = self.log.states(), self.log.events(RECENT)
        with self._wake:
            self._kept = kept
            now = list(self.recent)
            self.recent.clear()
            self.recent.extend([*past, *now])
        self._remember(kept)

    def _remember(self, kept: States) -> None:
        for source, some in kept.items():
            for tag, alarm in some.items():
                self._known.setdefault((source, tag), alarm)

    def _written(self, events: list[Event], states: dict[tuple[str, str], Alarm],
                 news: list[New]) -> None:  # fmt: skip
        with self._wake:
            del self._events[: len(events)]
            del self._news[: len(news)]
            for key, alarm in states.items():
                if self._states.get(key) is alarm:
                    del self._states[key]
            self._trouble = ""
            self._wake.notify_all()

    def _say(self, why: str) -> None:
        with self._wake:
            self._trouble = why
            self._wake.notify_all()
            self._wake.wait_for(lambda: self._end, self.again_s)

    def _aside(self, error: LogDamaged) -> None:
        """Put a damaged log aside and go on in a new one, with every alarm that is not normal."""
        try:
            aside = self.log.set_aside()
        except LogTrouble as other:
            self._say(str(other))
            return
        told = Event(
            time.time(), "log", "",
            f"{error}; it is kept as {aside}, and this log begins anew",
        )  # fmt: skip
        with self._wake:
            self._events.insert(0, told)
            self.recent.append(told)
            self._states = {
                k: a for k, a in self._known.items() if a.state != "normal"
            } | self._states
