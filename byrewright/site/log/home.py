"""Where a log lies: a SQLite file beside the plant, or a PostgreSQL database by its URL."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any, Protocol

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DatabaseError

from byrewright.errors import ByrewrightError
from byrewright.site.alarms import new_uid

MAGIC = b"SQLite format 3\0"
BUSY_MS = 1000
REACH_S = 3
LOOK_S = 10.0
CLAIM = 0x627972  # one watch for each database
WRITES = "writes"


class LogRefused(ByrewrightError):
    """The log is that of another plant or another program; nothing was changed in it."""


class LogTrouble(ByrewrightError):
    """The log cannot be read or written just now; the text says why."""


class LogDamaged(LogTrouble):
    """What is in the file cannot be used any more."""


class PostgresMissing(ByrewrightError):
    """PostgreSQL is asked for and the extra part is not installed."""


class Home(Protocol):
    """Where the tables are."""

    name: str
    """For sentences; no password in it."""

    def identity(self) -> object | None:
        """What is there now, to notice when it was replaced; None when nothing is."""

    def stamp(self) -> object | None:
        """Changes when something may have been written; None when nothing is there."""

    def connect(self) -> Engine:
        """An engine to what is there, or can be made.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """

    def taken(self, engine: Engine) -> None:
        """It is ours: it may be set up for good."""

    def set_aside(self) -> str:
        """Move a damaged log out of the way; its new name."""

    def claim(self) -> bool:
        """Become the only watch on it, until this process ends; False when another is."""

    def release(self) -> None:
        """Let other watches have it."""


class File:
    """A SQLite file."""

    def __init__(self, path: Path) -> None:
        self.path, self.name = path, str(path)
        self._lock: IO[str] | None = None

    def identity(self) -> object | None:
        """Device and inode, and whether it begins as a database does."""
        try:
            found = os.stat(self.path)
        except OSError:
            return None
        head = b""
        with suppress(OSError), self.path.open("rb") as file:
            head = file.read(len(MAGIC))
        return found.st_dev, found.st_ino, head == MAGIC

    def stamp(self) -> object | None:
        """Time of change and size, of the file and of what waits beside it."""
        try:
            found = self.path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size

    def connect(self) -> Engine:
        """An engine to the file; nothing is made or changed yet."""
        if self.path.is_symlink():
            raise LogRefused(f"{self.path} is a link to another place; it is not written")
        if self.path.is_dir():
            raise LogTrouble(f"{self.path} is a folder")
        if not self.path.parent.is_dir():
            raise LogTrouble(f"there is no folder {self.path.parent}")
        if self.path.exists() and self.path.stat().st_size:
            with self.path.open("rb") as file:
                if file.read(len(MAGIC)) != MAGIC:
                    raise LogDamaged(f"{self.path} is not a database any more")
        engine = create_engine(URL.create("sqlite", database=self.name))
        event.listen(engine, "connect", _durable)
        event.listen(engine, "begin", _begin)
        return engine

    def taken(self, engine: Engine) -> None:
        """Readers no longer hold up the writer; where one reads just now, from the next time."""
        raw = engine.raw_connection()
        try:
            raw.cursor().execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
        finally:
            raw.close()

    def set_aside(self) -> str:
        """Rename the file and what lies beside it."""
        when = time.strftime("%Y%m%d-%H%M%S")
        aside = self.path.with_name(f"{self.path.name}.damaged-{when}-{new_uid()[:4]}")
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
        return aside.name

    def claim(self) -> bool:
        """By a lock on a file beside it."""
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
            self.release()
            return False
        return True

    def release(self) -> None:
        """Close the lock's file."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None


class Postgres:
    """A PostgreSQL database."""

    def __init__(self, url: str, password: str = "") -> None:
        """Raises LogRefused when the URL is none, PostgresMissing without the extra part."""
        try:
            made = make_url(url)
        except ArgumentError:
            made = None
        if made is None or made.get_backend_name() not in ("postgresql", "postgres"):
            raise LogRefused(
                f"{url.partition('@')[2] or url} is not the address of a log; write one such as "
                "postgresql://byre@10.0.0.9/farm"
            )
        need_postgres()
        self.url = made.set(drivername="postgresql+psycopg")
        if password:
            self.url = self.url.set(password=password)
        self.name = f"the database {made.database} at {made.host or 'this computer'}"
        self._claimed: Connection | None = None

    def identity(self) -> object | None:
        """A database is not replaced behind our back."""
        return str(self.url)

    def stamp(self) -> object | None:
        """Looked at again each so many seconds."""
        return int(time.monotonic() / LOOK_S)

    def connect(self) -> Engine:
        """An engine to the database."""
        engine = create_engine(
            self.url, pool_pre_ping=True, connect_args={"connect_timeout": REACH_S}
        )
        event.listen(engine, "begin", _one_writer)
        return engine

    def taken(self, engine: Engine) -> None:
        """Nothing to set up."""

    def set_aside(self) -> str:
        """Nobody moves a database."""
        raise LogTrouble(f"{self.name} is damaged; see to its server")

    def claim(self) -> bool:
        """By an advisory lock of a session that stays open."""
        engine = self.connect()
        try:
            with told(self.name):
                self._claimed = engine.connect()
                got = self._claimed.execute(text(f"SELECT pg_try_advisory_lock({CLAIM})")).scalar()
        except LogTrouble:  # not reached: nobody else reaches it either
            return True
        if not got:
            self.release()
        return bool(got)

    def release(self) -> None:
        """End the session."""
        if self._claimed is not None:
            self._claimed.close()
            self._claimed.engine.dispose()
            self._claimed = None


def need_postgres() -> None:
    """Tell at once that the extra part is missing.

    Raises:
        PostgresMissing: it is.
    """
    if find_spec("psycopg") is None:
        raise PostgresMissing(
            "a log in PostgreSQL needs an extra part that is not installed: run 'make postgresql', "
            "or install byrewright[postgresql]; a file beside the plant works without it"
        )


@contextmanager
def told(name: str) -> Iterator[None]:
    """The database's errors in sentences."""
    try:
        yield
    except DatabaseError as error:
        raise trouble(name, error) from None
    except OSError as error:
        raise LogTrouble(f"{name}: {error.strerror}") from None


def trouble(name: str, error: DatabaseError) -> LogTrouble:
    """A database's error in words."""
    said = str(error.orig).lower()
    for part, words in (
        ("locked", "is locked by another program"),
        ("full", "cannot grow: the disk is full"),
        ("readonly", "may not be written"),
        ("permission denied", "may not be written"),
        ("password", "refuses this user or password"),
        ("unable to open", "cannot be opened"),
        ("i/o error", "cannot be written: the disk gives an error"),
        ("connection", "cannot be reached"),
    ):
        if part in said:
            return LogTrouble(f"{name} {words}")
    if any(part in said for part in ("malformed", "not a database", "corrupt", "no such")):
        return LogDamaged(f"{name} is damaged ({error.orig})")
    return LogTrouble(f"{name}: {error.orig}")


def _durable(connection: Any, _: Any) -> None:
    """A write survives loss of power once it is reported done; transactions begin as we say."""
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.close()


def _begin(connection: Connection) -> None:
    """Whoever will write takes the file at once, so that nobody slips in between."""
    writes = connection.get_execution_options().get(WRITES)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _one_writer(connection: Connection) -> None:
    if connection.get_execution_options().get(WRITES):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({CLAIM + 1})")
