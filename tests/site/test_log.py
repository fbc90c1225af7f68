"""The log in bad days: full disk, lock, damage, another's file; the watch goes on through all."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import event as hooks

from byrewright.site.alarms import Alarm, Event
from byrewright.site.journal import Journal
from byrewright.site.log import Log, LogRefused, LogTrouble, Owner, read_back
from byrewright.site.log.home import File
from byrewright.site.own import LOG_STOPPED
from byrewright.site.watch import Watch
from tests.site.test_alarms import ON_S, TAG, one_row_table
from tests.site.test_watch import RIGHT, WRONG, Clock, Flaky

OWNER = Owner("plant-1", "(invented) one")
SOON_S = 8.0
LATE_S = 5.0  # alarm.log_late_s


def until(what: Callable[[], object]) -> None:
    """Wait for the journal's thread."""
    end = time.monotonic() + SOON_S
    while not what():
        assert time.monotonic() < end, "the journal did not get there"
        time.sleep(0.02)


@pytest.fixture
def watch(tmp_path: Path) -> Watch:
    """A watch that has begun on a valve that is right."""
    clock = Clock()
    journal = Journal(Log(tmp_path / "log.sqlite", OWNER), again_s=0.05)
    return Watch(one_row_table(), Flaky(), journal, clock=clock, forward=clock)


async def wrong_valve(watch: Watch) -> None:
    """The valve stands wrong for longer than its delay."""
    source, clock = watch.source, watch.clock
    assert isinstance(source, Flaky) and isinstance(clock, Clock)
    source.contacts = WRONG
    for _ in range(2):
        clock.now += ON_S
        await watch.step()
    assert TAG in {a.tag for a in watch.snapshot.alarms}, "the alarm did not come"


async def written_later(watch: Watch) -> None:
    """All that was kept is written, once, and the trouble is over."""
    until(lambda: not watch.journal.pending and not watch.journal.trouble)
    source = watch.source
    assert isinstance(source, Flaky)
    await watch.step()
    assert not watch.snapshot.log
    watch.journal.close()
    raised = [e for e in watch.journal.log.events() if e.tag == TAG]
    assert [e.kind for e in raised] == ["raised"]
    assert watch.journal.log.states()[source.name][TAG].standing
    watch.journal.log.close()


async def said(watch: Watch, words: str) -> None:
    """The trouble is said, as an alarm of its own too."""
    until(lambda: words in watch.journal.trouble)
    await watch.step()
    assert words in watch.snapshot.log and watch.snapshot.pending
    assert LOG_STOPPED not in {a.tag for a in watch.snapshot.alarms}, "a moment is no alarm"
    for _ in range(2):
        watch.clock.now += LATE_S / 2  # type: ignore[attr-defined]
        await watch.step()
    assert LOG_STOPPED in {a.tag for a in watch.snapshot.alarms}


async def test_a_full_disk(watch: Watch) -> None:
    """Would fail if a full disk ended the watch, lost the alarm or was not said."""
    await watch.step()
    assert watch.journal.flush()
    log = watch.journal.log
    pages = sqlite3.connect(log.home.path).execute("PRAGMA page_count").fetchone()[0]
    full = True

    def no_more(connection: sqlite3.Connection, *_: object) -> None:
        if full:  # SQLite's own "database or disk is full"
            connection.execute(f"PRAGMA max_page_count={pages}")

    assert log._engine is not None
    log._engine.dispose()
    hooks.listen(log._engine, "connect", no_more)
    many = [Event(1.0, "mode", "", "x" * 4000) for _ in range(20)]
    watch.journal.write(many)
    await said(watch, "the disk is full")
    await wrong_valve(watch)
    full = False
    log._engine.dispose()
    await written_later(watch)


async def test_locked_by_another_program(watch: Watch) -> None:
    """Would fail if a lock held up the watch, lost the alarm or was not said."""
    await watch.step()
    assert watch.journal.flush()
    other = sqlite3.connect(watch.journal.log.home.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    begun = time.monotonic()
    await wrong_valve(watch)
    assert time.monotonic() - begun < 0.5  # the lock is waited for by another thread
    await said(watch, "locked by another program")
    other.execute("COMMIT")
    other.close()
    await written_later(watch)


async def test_locked_at_the_beginning_a_standing_alarm_is_remembered(tmp_path: Path) -> None:
    """Would fail if a watch that begins while its log is locked forgot what stood."""
    path, clock, source = tmp_path / "log.sqlite", Clock(), Flaky()
    first = Log(path, OWNER)
    first.record([], [(source.name, Alarm(TAG, "acknowledged", 5.0))])
    first.close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode=EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    journal = Journal(Log(path, OWNER), again_s=0.05)
    watch = Watch(one_row_table(), source, journal, clock=clock, forward=clock)
    source.contacts = WRONG
    await watch.step()
    assert "locked" in watch.snapshot.log
    other.execute("COMMIT")
    other.close()
    until(lambda: not journal.trouble)
    await watch.step()
    states = {a.tag: (a.state, a.since) for a in watch.snapshot.alarms}
    assert states[TAG] == ("acknowledged", 5.0)
    journal.close()


async def test_damaged_in_the_middle_of_the_night(watch: Watch) -> None:
    """Would fail if a damaged log ended the watch, was thrown away, or lost what stood or was in
    it, or damage went unseen behind pages that are not in the file yet."""
    await wrong_valve(watch)
    assert watch.journal.flush()
    path = watch.journal.log.home.path
    with path.open("r+b") as file:  # while it is open; its last pages are not in the file yet
        file.write(b"\x5a" * 8000)
    watch.acknowledge("anna")
    until(lambda: not watch.journal.pending)
    (aside,) = path.parent.glob("log.sqlite.damaged-*")
    assert aside.stat().st_size > 8000
    events = watch.journal.log.events()
    assert [e.kind for e in events][-3:] == ["raised", "log", "acknowledged"]
    assert aside.name in next(e.text for e in events if e.kind == "log")
    assert watch.journal.log.states()["a flaky source"][TAG].state == "acknowledged"
    watch.journal.close()


async def test_taken_away_while_it_runs(watch: Watch) -> None:
    """Would fail if records went into a file that nobody can see any more."""
    await wrong_valve(watch)
    assert watch.journal.flush()
    for one in watch.journal.log.home.path.parent.glob("log.sqlite*"):
        one.unlink()
    watch.journal.write([Event(9.0, "mode", "", "idle")])
    assert watch.journal.flush()
    until(lambda: watch.journal.log.states())
    texts = [e.text for e in watch.journal.log.events()]
    assert texts[-1] == "idle" and "not there any more" in texts[-2]
    assert [e.kind for e in watch.journal.log.events()][-3] == "raised"
    assert len({e.uid for e in watch.journal.log.events()}) == len(texts)
    assert watch.journal.log.states()["a flaky source"][TAG].standing
    watch.journal.close()


async def test_a_folder_that_is_not_there_yet(tmp_path: Path) -> None:
    """Would fail if a log that cannot be made kept a watch from watching."""
    clock = Clock()
    journal = Journal(Log(tmp_path / "disk" / "log.sqlite", OWNER), again_s=0.05)
    watch = Watch(one_row_table(), Flaky(), journal, clock=clock, forward=clock)
    await wrong_valve(watch)
    await said(watch, "there is no folder")
    (tmp_path / "disk").mkdir()
    await written_later(watch)


def test_the_log_belongs_to_the_plant_not_to_its_name(tmp_path: Path) -> None:
    """Would fail if renaming the farm hid what stood, or another plant's log was taken."""
    path = tmp_path / "log.sqlite"
    log = Log(path, OWNER)
    log.record([Event(1.0, "raised", TAG, "V1")], [("s", Alarm(TAG, "unacknowledged", 1.0))])
    log.close()
    renamed = Log(path, Owner("plant-1", "(invented) another name"))
    assert renamed.states()["s"][TAG].standing and len(renamed.events()) == 1
    renamed.close()
    nameless = Log(path, Owner("", "(invented) third name"))  # a plant file without an id
    assert nameless.states()["s"][TAG].standing
    nameless.close()
    for other, words in (
        (Owner("plant-2", "(invented) two"), "another plant"),
        (Owner("plant-1", "(invented) one", "practice"), "the real plant"),
    ):
        with pytest.raises(LogRefused, match=words):
            Log(path, other).events()
    assert [e.tag for e in read_back(path, OWNER, 9)[0]] == [TAG]


def test_another_programs_file_is_left_alone(tmp_path: Path) -> None:
    """Would fail if a database of another program were written into."""
    path = tmp_path / "accounts.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE money (euro)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(LogRefused, match="another program"):
        Log(path, OWNER).record([Event(1.0, "mode", "", "idle")])
    assert path.read_bytes() == before
    link = tmp_path / "link.sqlite"
    link.symlink_to(path)
    with pytest.raises(LogRefused, match="link"):
        Log(link, OWNER).events()


def test_a_log_of_the_first_format_goes_on(tmp_path: Path) -> None:
    """Would fail if alarms and history of an older log were lost."""
    path = tmp_path / "log.sqlite"
    with sqlite3.connect(path) as old:
        old.executescript(
            "CREATE TABLE watch_event (id INTEGER PRIMARY KEY, source, at, kind, tag, occurrence, "
            "text, priority, mode, who);"
            "CREATE TABLE watch_alarm (source, tag, state, since, occurrence);"
            f"INSERT INTO watch_event VALUES (1,'farm',5.0,'raised','{TAG}',1,'V1','high','m','');"
            f"INSERT INTO watch_alarm VALUES ('farm','{TAG}','unacknowledged',5.0,1);"
        )
    old.close()
    for _ in range(2):
        log = Log(path, OWNER)
        assert [(e.kind, e.tag, e.at) for e in log.events()] == [("raised", TAG, 5.0)]
        assert log.states()[""][TAG].standing
        log.close()


async def test_an_alarm_of_one_source_is_not_cleared_by_another(tmp_path: Path) -> None:
    """Would fail if reading from elsewhere cleared what stands where nobody reads now."""
    clock, source = Clock(), Flaky()
    log = Log(tmp_path / "log.sqlite", OWNER)
    log.record([], [("Modbus 10.0.0.5:502", Alarm(TAG, "unacknowledged", 1.0))])
    journal = Journal(log)
    watch = Watch(one_row_table(), source, journal, clock=clock, forward=clock)
    source.contacts = RIGHT
    for _ in range(5):
        clock.now += 10
        await watch.step()
    (shown,) = watch.snapshot.alarms
    assert (shown.source, shown.state) == ("Modbus 10.0.0.5:502", "unacknowledged")
    assert watch.acknowledge("anna", shown.tag) == 1
    assert not watch.snapshot.alarms
    assert journal.flush()
    last = log.events()[-1]
    assert (last.kind, last.who, last.source) == ("acknowledged", "anna", "Modbus 10.0.0.5:502")
    assert not log.states()
    journal.close()


def test_reading_a_log_that_is_not_there_makes_none(tmp_path: Path) -> None:
    """Would fail if looking at history left a file behind."""
    assert read_back(tmp_path / "log.sqlite", OWNER, 9) == ([], {})
    assert not list(tmp_path.iterdir())
    (tmp_path / "folder").mkdir()
    with pytest.raises(LogTrouble):
        Log(tmp_path / "folder", OWNER).events()


def test_a_log_that_somebody_reads_just_now_is_opened_all_the_same(tmp_path: Path) -> None:
    """Would fail if a page that reads at that moment kept the first entry out of a new log."""
    path = tmp_path / "site.sqlite"
    first = Log(path, Owner("", "farm"))
    first.append([])
    first.close()
    reader = sqlite3.connect(path)
    reader.execute("PRAGMA journal_mode=DELETE")
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM sqlite_master").fetchone()
    home = File(path)
    engine = home.connect()
    home.taken(engine)
    engine.dispose()
    reader.close()
