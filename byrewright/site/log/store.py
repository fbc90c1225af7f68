"""The log itself: entries added for good, the watch's memory, and whose log it is.

What belongs together is written in one transaction, so that a crash loses all of it or nothing. An
entry has an id of its own and is written once however often it is tried. The log knows whose it is:
the plant's id, and whether it tells of the real plant or of practice.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

from sqlalchemy import Connection, Engine, Row, delete, func, insert, inspect, select, text

from byrewright.site.alarms import Alarm, Event, new_uid
from byrewright.site.log.entry import (
    COLUMNS,
    Entry,
    EntryRefused,
    Kind,
    Misfit,
    New,
    digest,
    misfits,
    sealed,
)
from byrewright.site.log.home import WRITES, File, Home, LogRefused, Postgres, told
from byrewright.site.log.schema import (
    BEFORE,
    ENTRIES,
    HEAD,
    OWNER,
    PHOTOS,
    STATES,
    VERSION_TABLE,
)
from byrewright.site.settings import secret, settings_beside

World = Literal["real", "practice"]
WORLDS: tuple[World, ...] = ("real", "practice")
SUFFIX: dict[World, str] = {"real": ".site.sqlite", "practice": ".practice.sqlite"}
EVENT_FIELDS = ("kind", "text", "priority", "mode", "source")
MANY = 500
"""Ids asked for at once: databases take only so many."""


@dataclass(frozen=True, slots=True)
class Owner:
    """Whose log it is. `plant_id` is the plant file's own id, "" where it has none."""

    plant_id: str
    plant: str
    world: World = "real"


def log_beside(plant_path: Path, world: World = "real") -> Path:
    """Where the log of a plant lies when nothing else is said."""
    return plant_path.with_suffix(SUFFIX[world])


def home_of(plant_path: Path, world: World = "real", path: Path | None = None) -> Home:
    """Where the log of a plant lies: the file named, the database of `watch.yaml`, or beside it.

    Practice is always a file.

    Raises:
        ByrewrightError: `watch.yaml` cannot be used, or names what is no database.
    """
    settings = settings_beside(plant_path).log if path is None and world == "real" else None
    if settings is None:
        return File(path or log_beside(plant_path, world))
    return Postgres(settings.database, secret(plant_path, settings.password_file))


def log_of(plant_path: Path, owner: Owner, path: Path | None = None) -> Log:
    """The log of a plant; see `home_of`."""
    return Log(home_of(plant_path, owner.world, path), owner)


class Log:
    """The log of a plant, made when it is not there."""

    def __init__(self, home: Home | Path, owner: Owner) -> None:
        self.home: Home = File(home) if isinstance(home, Path) else home
        self.owner = owner
        self._engine: Engine | None = None
        self._identity: object | None = None
        self._place = ""
        self._made = False

    @property
    def name(self) -> str:
        """Where it lies, for sentences."""
        return self.home.name

    # entries ---------------------------------------------------------------------------------

    def append(self, news: Iterable[New], photos: Iterable[tuple[str, bytes]] = ()) -> list[Entry]:
        """Add entries, and photos (media type, bytes) that they name by SHA-256; all or nothing.

        An entry whose uid is in the log is passed over. Returns those added.

        Raises:
            EntryRefused: one corrects an entry that is not there.
            LogRefused, LogTrouble, LogDamaged
        """
        with told(self.name), self._writing().begin() as connection:
            self._keep(connection, photos)
            return self._append(connection, list(news))

    def entries(self, *kinds: Kind) -> list[Entry]:
        """Entries as they were written, of these kinds or of all.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        query = select(ENTRIES).order_by(ENTRIES.c.id)
        if kinds:
            query = query.where(ENTRIES.c.kind.in_(kinds))
        with told(self.name), self._ready().connect() as connection:
            return [_entry(r) for r in connection.execute(query)]

    def photo(self, sha256: str) -> tuple[str, bytes] | None:
        """A photo's media type and bytes."""
        query = select(PHOTOS).where(PHOTOS.c.sha256 == sha256)
        with told(self.name), self._ready().connect() as connection:
            row = connection.execute(query).first()
        return (row.kind, row.data) if row else None

    def photos(self) -> dict[str, tuple[str, bytes]]:
        """Every photo by its SHA-256."""
        with told(self.name), self._ready().connect() as connection:
            rows = connection.execute(select(PHOTOS).order_by(PHOTOS.c.sha256)).all()
        return {r.sha256: (r.kind, r.data) for r in rows}

    def verify(self) -> list[str]:
        """What does not fit, in sentences, the first first; nothing when all is as written."""
        every = self.entries()
        wrong = [str(m) for m in misfits(every)]
        known = {e.hash for e in every}
        for one in every:
            if one.kind == "certificate":
                gone = [h for h in one.data.get("heads", ()) if h not in known]
                if gone:
                    wrong.append(
                        f"{one.label} was made of entries that are not there any more: the log was "
                        "cut short"
                    )
        wrong += [
            f"photo {sha256[:12]} was changed"
            for sha256, (_, data) in self.photos().items()
            if hashlib.sha256(data).hexdigest() != sha256
        ]
        return wrong

    def digest(self) -> str:
        """The hash of the whole log."""
        return digest(self.entries())

    def take_in(self, entries: Sequence[Entry], photos: Iterable[tuple[str, bytes]] = ()) -> int:
        """Add the entries of another place that are not here yet; how many there were.

        Raises:
            EntryRefused: what is given was changed, or lacks something.
            LogRefused, LogTrouble, LogDamaged
        """
        with told(self.name), self._writing().begin() as connection:
            mine = {e.hash: e for e in map(_entry, connection.execute(select(ENTRIES)))}
            added = [e for e in entries if e.hash not in mine]
            wrong: Misfit | None = next(misfits([*mine.values(), *added]), None)
            if wrong is not None:
                raise EntryRefused(f"nothing was taken in: {wrong}")
            self._keep(connection, photos)
            ordered = sorted(added, key=lambda e: (e.number, e.made_at, e.hash))
            self._insert(connection, ordered)
        return len(added)

    def _append(self, connection: Connection, news: list[New]) -> list[Entry]:
        known = _known(connection, [n.uid for n in news])
        news = [n for n in {n.uid: n for n in news}.values() if n.uid not in known]
        own = {n.uid for n in news}
        asked = {n.corrects for n in news if n.corrects} - own
        missing = asked - _known(connection, sorted(asked))
        if missing:
            raise EntryRefused(f"there is no entry {min(missing)} that could be corrected")
        last = connection.execute(
            select(ENTRIES).where(ENTRIES.c.place == self._place)
            .order_by(ENTRIES.c.number.desc(), ENTRIES.c.id.desc()).limit(1)
        ).first()  # fmt: skip
        before, now, made = _entry(last) if last else None, time.time(), []
        for new in news:
            before = sealed(new, self._place, before, now)
            made.append(before)
        self._insert(connection, made)
        return made

    @staticmethod
    def _insert(connection: Connection, entries: Sequence[Entry]) -> None:
        if entries:
            rows = [{c: getattr(e, c) for c in COLUMNS} for e in entries]
            connection.execute(insert(ENTRIES), rows)

    @staticmethod
    def _keep(connection: Connection, photos: Iterable[tuple[str, bytes]]) -> None:
        for kind, data in photos:
            sha256 = hashlib.sha256(data).hexdigest()
            there = select(PHOTOS.c.sha256).where(PHOTOS.c.sha256 == sha256)
            if connection.execute(there).first() is None:
                connection.execute(insert(PHOTOS).values(sha256=sha256, kind=kind, data=data))

    # what the watch writes -------------------------------------------------------------------

    def record(self, events: Iterable[Event], states: Iterable[tuple[str, Alarm]] = (),
               news: Iterable[New] = ()) -> None:  # fmt: skip
        """Write events, the alarm states (source, alarm) that follow from them, and other news of
        the watch, all or nothing.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        with told(self.name), self._writing().begin() as connection:
            self._append(connection, [*(_new(e) for e in events), *news])
            for source, alarm in states:
                at = (STATES.c.source == source) & (STATES.c.tag == alarm.tag)
                connection.execute(delete(STATES).where(at))
                connection.execute(
                    insert(STATES).values(
                        source=source, tag=alarm.tag, state=alarm.state, since=alarm.since
                    )
                )

    def states(self) -> dict[str, dict[str, Alarm]]:
        """The alarm states as last written, by source and tag; alarms that are normal left out.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        with told(self.name), self._ready().connect() as connection:
            rows = connection.execute(select(STATES).where(STATES.c.state != "normal")).all()
            found: dict[str, dict[str, Alarm]] = {}
            for r in rows:
                raised = self._raised(connection, r.source, r.tag)
                mode = raised.mode if raised else ""
                found.setdefault(r.source, {})[r.tag] = Alarm(r.tag, r.state, r.since, mode=mode)
        return found

    @staticmethod
    def _raised(connection: Connection, source: str, tag: str) -> Event | None:
        """The event with which an alarm was raised last."""
        query = (
            select(ENTRIES).where(ENTRIES.c.kind == "watch", ENTRIES.c.tag == tag)
            .order_by(ENTRIES.c.id.desc())
        )  # fmt: skip
        events = (_event(_entry(r)) for r in connection.execute(query))
        return next((e for e in events if e.kind == "raised" and e.source == source), None)

    def events(self, limit: int | None = None) -> list[Event]:
        """Events of the watch, oldest first; with a limit, the last so many.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        once = select(func.min(ENTRIES.c.id)).group_by(ENTRIES.c.uid)
        query = (
            select(ENTRIES).where(ENTRIES.c.kind == "watch", ENTRIES.c.id.in_(once))
            .order_by(ENTRIES.c.id.desc())
        )  # fmt: skip
        if limit is not None:
            query = query.limit(limit)
        with told(self.name), self._ready().connect() as connection:
            rows = connection.execute(query).all()
        return [_event(_entry(r)) for r in reversed(rows)]

    # where it lies ---------------------------------------------------------------------------

    def open(self) -> bool:
        """Have it ready; whether it had to be made, and holds nothing of before.

        Raises:
            LogRefused, LogTrouble, LogDamaged
        """
        before = self._engine
        return self._ready() is not before and self._made

    def _writing(self) -> Engine:
        return self._ready().execution_options(**{WRITES: True})

    def _ready(self) -> Engine:
        """The open log; opened again when it was taken away or replaced meanwhile."""
        here = self.home.identity()
        if self._engine is not None and here == self._identity and here is not None:
            return self._engine
        self._let_go()
        engine = self.home.connect()
        try:
            with told(self.name):
                with engine.connect() as connection:
                    fresh = not inspect(connection).get_table_names()
                    ready = self._known(connection)
                if not ready:
                    with engine.execution_options(**{WRITES: True}).begin() as connection:
                        self._own(connection)
                    self.home.taken(engine)
        except BaseException:
            engine.dispose()
            raise
        self._engine, self._identity, self._made = engine, self.home.identity(), fresh
        return engine

    def _known(self, connection: Connection) -> bool:
        """Whether it is ours as it is, with nothing to be written."""
        there = set(inspect(connection).get_table_names())
        if there and not there & {VERSION_TABLE, *BEFORE}:
            raise LogRefused(
                f"{self.name} belongs to another program; name another log or move that away"
            )
        if VERSION_TABLE not in there:
            return False
        version = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
        if version is not None and version > HEAD:
            raise LogRefused(f"{self.name} was written by a newer byrewright; use that one")
        if version != HEAD:
            return False
        kept = {r.key: r.value for r in connection.execute(select(OWNER))}
        self._place = kept.get("place", "")
        return not self._news(kept) and bool(self._place)

    def _own(self, connection: Connection) -> None:
        """Bring the tables up to date, take a new log, or make sure that this one is ours."""
        self._known(connection)  # once more, now that nobody else writes
        _migrate(connection)
        kept = {r.key: r.value for r in connection.execute(select(OWNER))}
        self._place = kept.get("place") or new_uid()
        for key, value in (self._news(kept) | {"place": self._place}).items():
            connection.execute(delete(OWNER).where(OWNER.c.key == key))
            connection.execute(insert(OWNER).values(key=key, value=value))

    def _news(self, kept: dict[str, str]) -> dict[str, str]:
        """What the log does not know of its owner yet; refuses the log of another."""
        if kept.get("world", self.owner.world) != self.owner.world:
            raise LogRefused(
                f"{self.name} is the log of {_world(kept['world'])}; "
                f"{_world(self.owner.world)} has a log of its own"
            )
        theirs = kept.get("plant_id", "")
        if theirs and self.owner.plant_id and theirs != self.owner.plant_id:
            raise LogRefused(
                f"{self.name} is the log of another plant, {kept.get('plant', theirs)} "
                f"(id {theirs}; this plant file says {self.owner.plant_id}); name another log"
            )
        mine = {
            "world": self.owner.world,
            "plant_id": self.owner.plant_id or theirs,
            "plant": self.owner.plant,
        }
        return {key: value for key, value in mine.items() if kept.get(key) != value}

    def set_aside(self) -> str:
        """Move a damaged log out of the way, and say where; the next write makes a new one.

        Raises:
            LogTrouble: it cannot be moved.
        """
        self._let_go()
        return self.home.set_aside()

    def claim(self) -> bool:
        """Become the only watch on this log, until this process ends; False when another is."""
        return self.home.claim()

    def _let_go(self) -> None:
        if self._engine is not None:
            self._engine.dispose()
        self._engine = self._identity = None

    def close(self) -> None:
        """Let go of it."""
        self._let_go()
        self.home.release()


def read_back(
    home: Home | Path, owner: Owner, limit: int
) -> tuple[list[Event], dict[str, dict[str, Alarm]]]:
    """The last events, newest first, and the alarms that are not normal, of a log nobody may have.

    Raises:
        LogRefused, LogTrouble, LogDamaged
    """
    log = Log(home, owner)
    if log.home.identity() is None or (isinstance(log.home, File) and log.home.path.is_symlink()):
        return [], {}
    try:
        return list(reversed(log.events(limit))), log.states()
    finally:
        log.close()


def _migrate(connection: Connection) -> None:
    """Bring the tables to the newest form, step by step."""
    from alembic import command
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    settings.attributes["connection"] = connection
    command.upgrade(settings, "head")


def _known(connection: Connection, uids: Sequence[str]) -> set[str]:
    """Those of these uids that are in the log."""
    found: set[str] = set()
    for at in range(0, len(uids), MANY):
        some = ENTRIES.c.uid.in_(uids[at : at + MANY])
        found |= set(connection.execute(select(ENTRIES.c.uid).where(some)).scalars())
    return found


def _entry(row: Row[Any]) -> Entry:
    return Entry(*(getattr(row, c) for c in COLUMNS))


def _new(one: Event) -> New:
    body = {f: getattr(one, f) for f in EVENT_FIELDS}
    return New("watch", one.at, one.tag, one.who, body, uid=one.uid)


def _event(one: Entry) -> Event:
    data = one.data
    told = (cast(Any, data.get(f, "")) for f in EVENT_FIELDS)
    kind, words, priority, mode, source = told
    return Event(one.at, kind, one.tag, words, priority, mode, one.who, source, one.uid)


def _world(world: str) -> str:
    return "practice" if world == "practice" else "the real plant"
