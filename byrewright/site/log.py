"""The site log of a watched plant: every alarm, acknowledgement, mode change and loss, once.

Events and the alarm states that follow from them are written in one transaction, so that a crash
loses neither or both. Each event has an id of its own and is written once however often it is
tried. The file knows whose it is: the plant's id, and whether it tells of the real plant or of
practice. All that the watch needs of a log is the class `Log`.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Literal

from sqlalchemy import (
    URL,
    Column,
    Connection,
    Engine,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    create_engine,
    event,
    inspect,
    select,
    text,
)
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import DatabaseError

from byrewright.errors import ByrewrightError
from byrewright.site.alarms import Alarm, Event, new_uid

World = Literal["real", "practice"]
WORLDS: tuple[World, ...] = ("real", "practice")
SUFFIX: dict[World, str] = {"real": ".site.sqlite", "practice": ".practice.sqlite"}
MAGIC = b"SQLite format 3\0"
BUSY_MS = 1000

_META = MetaData()
OWNER = Table(
    "watch_owner", _META,
    Column("key", String, primary_key=True),
    Column("value", String, nullable=False),
)  # fmt: skip
EVENTS = Table(
    "watch_record", _META,
    Column("id", Integer, primary_key=True),
    Column("uid", String, nullable=False, unique=True),
    Column("source", String, nullable=False),
    Column("at", Float, nullable=False),
    Column("kind", String, nullable=False),
    Column("tag", String, nullable=False),
    Column("text", String, nullable=False),
    Column("priority", String, nullable=False),
    Column("mode", String, nullable=False),
    Column("who", String, nullable=False),
)  # fmt: skip
STATES = Table(
    "watch_state", _META,
    Column("source", String, primary_key=True),
    Column("tag", String, primary_key=True),
    Column("state", String, nullable=False),
    Column("since", Float, nullable=False),
)  # fmt: skip
FIRST_FORMAT = ("watch_event", "watch_alarm")
"""Tables of the first format, whose source was the farm's name; they are kept as they are."""


class LogRefused(ByrewrightError):
    """The file is the log of another plant or another program; nothing was changed in it."""


class LogTrouble(ByrewrightError):
    """The log cannot be read or written just now; the text says why."""


class LogDamaged(LogTrouble):
    """What is in the file cannot be used any more."""


@dataclass(frozen=True, slots=True)
class Owner:
    """Whose log it is. `plant_id` is the plant file's own id, "" where it has none."""

    plant_id: str
    plant: str
    world: World = "real"


def log_beside(plant_path: Path, world: World = "real") -> Path:
    """Where the log of a plant lies."""
    return plant_path.with_suffix(SUFFIX[world])


class Log:
    """The log of a watched plant in one SQLite file, made when it is not there."""

    def __init__(self, path: Path, owner: Owner) -> None:
        self.path, self.owner = path, owner
        self._engine: Engine | None = None
        self._inode: tuple[int, int] | None = None
        self._lock: IO[str] | None = None
        self.fresh = False
        """Whether the file was made by the last opening: it holds nothing of before."""

    # writing and reading ---------------------------------------------------------------------

    def record(self, events: Iterable[Event], states: Iterable[tuple[str, Alarm]] = ()) -> None:
        """Write events, and the alarm states (source, alarm) that follow from them, all or nothing.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        with _told(self.path), self._ready().begin() as connection:
            self._write(connection, list(events), list(states))

    def _write(
        self, connection: Connection, events: list[Event], states: list[tuple[str, Alarm]]
    ) -> None:
        fields = ("uid", "source", "at", "kind", "tag", "text", "priority", "mode", "who")
        if events:
            rows = [{f: getattr(one, f) for f in fields} for one in events]
            connection.execute(sqlite.insert(EVENTS).on_conflict_do_nothing(), rows)
        for source, alarm in states:
            made = sqlite.insert(STATES).values(
                source=source, tag=alarm.tag, state=alarm.state, since=alarm.since
            )
            changed = {"state": alarm.state, "since": alarm.since}
            connection.execute(
                made.on_conflict_do_update(index_elements=["source", "tag"], set_=changed)
            )

    def states(self) -> dict[str, dict[str, Alarm]]:
        """The alarm states as last written, by source and tag; alarms that are normal left out.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        with _told(self.path), self._ready().connect() as connection:
            rows = connection.execute(select(STATES).where(STATES.c.state != "normal")).all()
        found: dict[str, dict[str, Alarm]] = {}
        for r in rows:
            found.setdefault(r.source, {})[r.tag] = Alarm(r.tag, r.state, r.since)
        return found

    def events(self, limit: int | None = None) -> list[Event]:
        """Events, oldest first; with a limit, the last so many.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        query = select(EVENTS).order_by(EVENTS.c.id.desc())
        if limit is not None:
            query = query.limit(limit)
        with _told(self.path), self._ready().connect() as connection:
            rows = connection.execute(query).all()
        return [
            Event(r.at, r.kind, r.tag, r.text, r.priority, r.mode, r.who, r.source, r.uid)
            for r in reversed(rows)
        ]

    # the file --------------------------------------------------------------------------------

    def _ready(self) -> Engine:
        """The open file; opened again when it was taken away or replaced meanwhile."""
        here = _inode(self.path)
        if self._engine is not None and here == self._inode and here is not None:
            return self._engine
        self._let_go()
        if self.path.is_symlink():
            raise LogRefused(f"{self.path} is a link to another place; it is not written")
        if self.path.is_dir():
            raise LogTrouble(f"{self.path} is a folder")
        if not self.path.parent.is_dir():
            raise LogTrouble(f"there is no folder {self.path.parent}")
        if here is not None and self.path.stat().st_size:
            with self.path.open("rb") as file:
                if file.read(len(MAGIC)) != MAGIC:
                    raise LogDamaged(f"{self.path} is not a database any more")
        engine = create_engine(URL.create("sqlite", database=str(self.path)))
        event.listen(engine, "connect", _durable)
        try:
            with _told(self.path), engine.begin() as connection:
                self._own(connection)
            with _told(self.path), engine.connect() as connection:  # ours: now it may be changed
                connection.exec_driver_sql("PRAGMA journal_mode=WAL")
        except BaseException:
            engine.dispose()
            raise
        self._engine, self._inode, self.fresh = engine, _inode(self.path), here is None
        return engine

    def _own(self, connection: Connection) -> None:
        """Take a new file, or make sure that this one is ours."""
        there = set(inspect(connection).get_table_names())
        if there and not there & {OWNER.name, *FIRST_FORMAT}:
            raise LogRefused(
                f"{self.path} belongs to another program; name another log or move that file away"
            )
        _META.create_all(connection)
        kept = {r.key: r.value for r in connection.execute(select(OWNER)).all()}
        mine = {"plant_id": self.owner.plant_id, "world": self.owner.world}
        if kept.get("world", self.owner.world) != self.owner.world:
            raise LogRefused(
                f"{self.path} is the log of {_world(kept['world'])}; "
                f"{_world(self.owner.world)} has a log of its own"
            )
        theirs = kept.get("plant_id", "")
        if theirs and self.owner.plant_id and theirs != self.owner.plant_id:
            raise LogRefused(
                f"{self.path} is the log of another plant, {kept.get('plant', theirs)} "
                f"(id {theirs}; this plant file says {self.owner.plant_id}); name another log"
            )
        mine["plant_id"] = self.owner.plant_id or theirs
        mine["plant"] = self.owner.plant
        for key, value in mine.items():
            if kept.get(key) != value:
                connection.execute(
                    sqlite.insert(OWNER).values(key=key, value=value)
                    .on_conflict_do_update(index_elements=["key"], set_={"value": value})
                )  # fmt: skip
        if not kept and FIRST_FORMAT[0] in there:
            self._take_first_format(connection)

    def _take_first_format(self, connection: Connection) -> None:
        """Events and states of the first format, once; alarms that stood go on standing."""
        old = connection.execute(text("SELECT * FROM watch_event ORDER BY id")).all()
        events = [
            Event(r.at, r.kind, r.tag, r.text, r.priority, r.mode, r.who, "", new_uid())
            for r in old
        ]
        states = connection.execute(text("SELECT * FROM watch_alarm")).all()
        self._write(connection, events, [("", Alarm(r.tag, r.state, r.since)) for r in states])

    def set_aside(self) -> Path:
        """Move a damaged file out of the way; the next write makes a new one.

        Raises:
            LogTrouble: it cannot be moved.
        """
        self._let_go()
        aside = self.path.with_name(
            f"{self.path.name}.damaged-{time.strftime('%Y%m%d-%H%M%S')}-{new_uid()[:4]}"
        )
        try:
            self.path.rename(aside)
            for tail in ("-wal", "-shm"):
                beside = self.path.with_name(self.path.name + tail)
                if beside.exists():
                    beside.rename(aside.with_name(aside.name + tail))
        except OSError as error:
            raise LogTrouble(
                f"{self.path} is damaged and cannot be moved: {error.strerror}"
            ) from None
        return aside

    def claim(self) -> bool:
        """Become the only watch on this log, until this process ends; False when another is."""
        try:
            import fcntl
        except ImportError:  # a system without these locks: one watch by agreement
            return True
        try:
            self._lock = open(f"{self.path}.lock", "w")  # noqa: SIM115 (held while the watch runs)
        except OSError:  # nowhere to write: nobody else can write there either
            return True
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _let_go(self) -> None:
        if self._engine is not None:
            self._engine.dispose()
        self._engine = self._inode = None

    def close(self) -> None:
        """Let go of the file."""
        self._let_go()
        if self._lock is not None:
            self._lock.close()


def read_back(
    path: Path, owner: Owner, limit: int
) -> tuple[list[Event], dict[str, dict[str, Alarm]]]:
    """The last events, newest first, and the alarms that are not normal, of a log nobody may have.

    Raises:
        LogRefused, LogTrouble, LogDamaged
    """
    if not path.is_file() or path.is_symlink():
        return [], {}
    log = Log(path, owner)
    try:
        return list(reversed(log.events(limit))), log.states()
    finally:
        log.close()


def _world(world: str) -> str:
    return "practice" if world == "practice" else "the real plant"


def _inode(path: Path) -> tuple[int, int] | None:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_dev, found.st_ino


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """The database's errors in sentences."""
    try:
        yield
    except DatabaseError as error:
        raise trouble(path, error) from None
    except OSError as error:
        raise LogTrouble(f"{path}: {error.strerror}") from None


def trouble(path: Path, error: DatabaseError) -> LogTrouble:
    """A database's error in words."""
    said = str(error.orig).lower()
    for part, words in (
        ("locked", "is locked by another program"),
        ("full", "cannot grow: the disk is full"),
        ("readonly", "may not be written"),
        ("unable to open", "cannot be opened"),
        ("i/o error", "cannot be written: the disk gives an error"),
    ):
        if part in said:
            return LogTrouble(f"{path} {words}")
    if any(part in said for part in ("malformed", "not a database", "corrupt", "no such")):
        return LogDamaged(f"{path} is damaged ({error.orig})")
    return LogTrouble(f"{path}: {error.orig}")


def _durable(connection: Any, _: Any) -> None:
    """A write survives loss of power once it is reported done."""
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.close()


def standing(states: dict[str, dict[str, Alarm]]) -> Sequence[Alarm]:
    """Alarms of every source whose cause was there when they were written last."""
    return [a for some in states.values() for a in some.values() if a.standing]
