"""The event log: every alarm, acknowledgement, mode change and lost connection, once.

Events and alarm states are written in one transaction, so that a crash loses neither or both; a
raised, cleared or acknowledged alarm carries its occurrence, and the same one cannot be written
twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import IO, Any

from sqlalchemy import (
    Column,
    Engine,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    UniqueConstraint,
    create_engine,
    event,
    insert,
    select,
)
from sqlalchemy.dialects import sqlite

from byrewright.site.alarms import Alarm, Event

_META = MetaData()
EVENTS = Table(
    "watch_event", _META,
    Column("id", Integer, primary_key=True),
    Column("source", String, nullable=False),
    Column("at", Float, nullable=False),
    Column("kind", String, nullable=False),
    Column("tag", String, nullable=False),
    Column("occurrence", Integer, nullable=False),
    Column("text", String, nullable=False),
    Column("priority", String, nullable=False),
    Column("mode", String, nullable=False),
    Column("who", String, nullable=False),
    UniqueConstraint("source", "kind", "tag", "occurrence", name="once"),
)  # fmt: skip
STATES = Table(
    "watch_alarm", _META,
    Column("source", String, primary_key=True),
    Column("tag", String, primary_key=True),
    Column("state", String, nullable=False),
    Column("since", Float, nullable=False),
    Column("occurrence", Integer, nullable=False),
)  # fmt: skip


class Log:
    """The log of one source (one watched plant) in a database.

    `url` is a SQLAlchemy address or a path of a SQLite file, made when it is not there.
    """

    def __init__(self, url: str | Path, source: str) -> None:
        address = f"sqlite:///{url}" if isinstance(url, Path) else url
        self.source = source
        self._lock: IO[str] | None = None
        self.engine: Engine = create_engine(address)
        if self.engine.dialect.name == "sqlite":
            event.listen(self.engine, "connect", _durable)
        _META.create_all(self.engine)

    def record(self, events: Iterable[Event], states: Iterable[Alarm] = ()) -> None:
        """Write events and the alarm states that follow from them, all or nothing."""
        rows = [self._row(e) for e in events]
        kept = [
            {
                "source": self.source,
                "tag": a.tag,
                "state": a.state,
                "since": a.since,
                "occurrence": a.occurrence,
            }
            for a in states
        ]
        if not rows and not kept:
            return
        with self.engine.begin() as connection:
            if rows:
                connection.execute(insert(EVENTS), rows)
            for state in kept:
                connection.execute(self._upsert(state))

    def _upsert(self, state: Mapping[str, Any]) -> Any:
        changes = {k: state[k] for k in ("state", "since", "occurrence")}
        if self.engine.dialect.name == "postgresql":
            from sqlalchemy.dialects import postgresql

            made: Any = postgresql.insert(STATES).values(**state)
        else:
            made = sqlite.insert(STATES).values(**state)
        return made.on_conflict_do_update(index_elements=["source", "tag"], set_=changes)

    def _row(self, one: Event) -> dict[str, Any]:
        return {"source": self.source, "at": one.at, "kind": one.kind, "tag": one.tag,
                "occurrence": one.occurrence, "text": one.text, "priority": one.priority,
                "mode": one.mode, "who": one.who}  # fmt: skip

    def alarms(self) -> dict[str, Alarm]:
        """The alarm states as last written, to go on from."""
        with self.engine.connect() as connection:
            rows = connection.execute(select(STATES).where(STATES.c.source == self.source)).all()
        return {r.tag: Alarm(r.tag, r.state, r.since, r.occurrence) for r in rows}

    def counts(self) -> dict[str, int]:
        """How often each kind that is not an alarm has been written: their next occurrence."""
        with self.engine.connect() as connection:
            rows = connection.execute(
                select(EVENTS.c.kind, EVENTS.c.occurrence)
                .where(EVENTS.c.source == self.source, EVENTS.c.tag == "")
            ).all()  # fmt: skip
        found: dict[str, int] = {}
        for row in rows:
            found[row.kind] = max(found.get(row.kind, 0), row.occurrence)
        return found

    def last(self, *kinds: str) -> Event | None:
        """The last event of some kinds, or None."""
        query = (
            select(EVENTS)
            .where(EVENTS.c.source == self.source, EVENTS.c.kind.in_(kinds))
            .order_by(EVENTS.c.id.desc())
            .limit(1)
        )
        with self.engine.connect() as connection:
            row = connection.execute(query).first()
        return _event(row) if row else None

    def events(self, limit: int | None = None) -> list[Event]:
        """Events, oldest first; with a limit, the last so many."""
        query = select(EVENTS).where(EVENTS.c.source == self.source).order_by(EVENTS.c.id.desc())
        if limit is not None:
            query = query.limit(limit)
        with self.engine.connect() as connection:
            rows = connection.execute(query).all()
        return [_event(r) for r in reversed(rows)]

    def claim(self) -> bool:
        """Become the only watch on this log, until this process ends; False when another is.

        Works for a SQLite file; another database is shared by agreement.
        """
        place = self.engine.url.database
        if self.engine.dialect.name != "sqlite" or not place or place == ":memory:":
            return True
        try:
            import fcntl
        except ImportError:  # a system without these locks: one watch by agreement
            return True
        self._lock = open(f"{place}.lock", "w")  # noqa: SIM115 (held for as long as the watch runs)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()
        if self._lock is not None:
            self._lock.close()


def _event(row: Any) -> Event:
    return Event(
        row.at, row.kind, row.tag, row.occurrence, row.text, row.priority, row.mode, row.who
    )


def _durable(connection: Any, _: Any) -> None:
    """A write survives loss of power once it is reported done."""
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA busy_timeout=5000")
    cursor.close()
