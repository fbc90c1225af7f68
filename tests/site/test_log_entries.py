"""Entries of the log, on a file and on a real PostgreSQL server: chain, merge, zip, migration."""

from __future__ import annotations

import itertools
import json
import math
import re
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine

from byrewright.site.alarms import Alarm, Event
from byrewright.site.log import (
    EntryRefused,
    Log,
    LogRefused,
    LogTrouble,
    New,
    Owner,
    PostgresMissing,
    log_of,
)
from byrewright.site.log import home as homes
from byrewright.site.log.carry import CarryError, take_in, write_out
from byrewright.site.log.entry import current, digest, misfits, sealed
from byrewright.site.log.home import File, Postgres
from byrewright.site.log.schema import META, VERSION_TABLE
from tests.site.postgres import database

OWNER = Owner("plant-1", "(invented) one")
Make = Callable[[], Log]


@pytest.fixture(params=["file", "postgres"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Make:
    """Makes a new log, on either kind of store."""
    if request.param == "file":
        count = itertools.count()
        return lambda: Log(tmp_path / f"{next(count)}.sqlite", OWNER)
    address = request.getfixturevalue("postgres")
    return lambda: Log(Postgres(database(address)), OWNER)


def hours(count: float, **more: Any) -> New:
    """A meter that was read."""
    return New("hours", 1000.0 + count, "VP1", "anna", {"hours": count}, **more)


def change(log: Log, sql: str) -> None:
    """Change the store behind the log's back."""
    home = log.home
    url = f"sqlite:///{home.path}" if isinstance(home, File) else home.url  # type: ignore[attr-defined]
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql(sql)
    engine.dispose()


def test_entries_are_kept_once_and_corrected_by_later_ones(make: Make) -> None:
    """Would fail if an entry tried twice stood twice, or a correction erased what it corrects."""
    log = make()
    (first,) = log.append([hours(1.0)])
    again = log.append([hours(1.0, uid=first.uid)])
    (second,) = log.append([hours(2.0, corrects=first.uid)])
    assert not again
    assert [e.uid for e in log.entries("hours")] == [first.uid, second.uid]
    assert [e.data for e in current(log.entries())] == [{"hours": 2.0}]
    with pytest.raises(EntryRefused, match="could be corrected"):
        log.append([hours(3.0), hours(4.0, corrects="nobody")])
    assert len(log.entries()) == 2 and not log.verify()
    log.close()
    reopened = Log(log.home, OWNER)
    assert reopened.digest() == digest([first, second])
    reopened.close()


def test_the_watch_writes_the_same_log(make: Make) -> None:
    """Would fail if the watch's events and states were not kept on one of the stores."""
    log = make()
    event = Event(5.0, "raised", "V1", "V1 stands \0 open", "high", "milking", source="modbus")
    for _ in range(2):  # a journal tries again what it is not sure of
        log.record([event], [("modbus", Alarm("V1", "unacknowledged", 5.0))])
    log.record([], [("modbus", Alarm("V1", "acknowledged", 6.0))])
    (kept,) = log.events(9)
    assert kept == replace(event, text="V1 stands \ufffd open")
    assert log.states()["modbus"]["V1"].state == "acknowledged"
    assert not log.verify()
    home = log.home
    same = File(home.path) if isinstance(home, File) else Postgres(str(home.url))  # type: ignore[attr-defined]
    other = Log(same, OWNER)
    assert log.claim() and not other.claim()
    other.close()
    with pytest.raises(LogRefused, match="another plant"):
        Log(log.home, Owner("plant-2", "(invented) two")).events()
    log.close()


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("UPDATE entry SET body = '{\"hours\":7.0}' WHERE number = 3", "entry 3 .* was changed"),
        ("UPDATE entry SET who = 'bert' WHERE number = 2", "entry 2 .* was changed"),
        ("DELETE FROM entry WHERE number = 2", "entry 3 .* is not there"),
        ("UPDATE entry SET number = 9 WHERE number = 4", "entry 9 .* was changed"),
        ("DELETE FROM entry WHERE number > 4", "cut short"),
        ("UPDATE photo SET data = X'00'", "photo .* was changed"),
    ],
)  # fmt: skip
def test_what_was_changed_is_named(tmp_path: Path, sql: str, words: str) -> None:
    """Would fail if an entry could be changed or taken out and the log still verified."""
    log = Log(tmp_path / "log.sqlite", OWNER)
    made = log.append([hours(float(n)) for n in range(5)], [("image/png", b"photo")])
    beside = Log(tmp_path / "other.sqlite", OWNER)
    beside.append([New("certificate", 9.0, "", "anna", {"number": 1, "heads": [made[-1].hash]})])
    log.take_in(beside.entries())
    assert not log.verify()
    change(log, sql)
    wrong = log.verify()
    assert wrong and re.search(words, wrong[0]), wrong
    log.close()
    beside.close()


def test_two_places_merge_and_come_back_identical(make: Make, tmp_path: Path) -> None:
    """Would fail if a merge lost or doubled an entry, or the zip did not give the same log back."""
    laptop, office = make(), make()
    shared = hours(1.0, uid="the same sheet read twice")
    laptop.append([shared, hours(2.0)], [("image/jpeg", b"\xff\xd8 photo")])
    office.append([hours(3.0), shared])
    for name in ("a", "b", "c"):  # there and back, and once more
        write_out(laptop, tmp_path / f"{name}.zip")
        take_in(office, tmp_path / f"{name}.zip")
        write_out(office, tmp_path / f"{name}{name}.zip")
        take_in(laptop, tmp_path / f"{name}{name}.zip")
    assert laptop.digest() == office.digest() and len(laptop.entries()) == 4
    assert sorted(e.data["hours"] for e in current(laptop.entries())) == [1.0, 2.0, 3.0]
    assert not laptop.verify() and not office.verify()
    fresh = make()
    assert take_in(fresh, tmp_path / "cc.zip") == (4, 4)
    write_out(fresh, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "cc.zip").read_bytes()
    assert list(fresh.photos().values()) == [("image/jpeg", b"\xff\xd8 photo")]
    for log in (laptop, office, fresh):
        log.close()


def test_a_copied_file_written_on_in_two_places_keeps_both(tmp_path: Path) -> None:
    """Would fail if a copy on a memory stick, filled in further, could not be brought home."""
    one = Log(tmp_path / "one.sqlite", OWNER)
    one.append([hours(1.0)])
    one.close()
    (tmp_path / "two.sqlite").write_bytes((tmp_path / "one.sqlite").read_bytes())
    two = Log(tmp_path / "two.sqlite", OWNER)
    one.append([hours(2.0)])
    two.append([hours(3.0)])
    assert one.take_in(two.entries()) == 1 and two.take_in(one.entries()) == 1
    one.append([hours(4.0)])
    assert not one.verify() and not two.verify() and len(one.entries()) == 4
    one.close()
    two.close()


TEXTS = st.text(max_size=20) | st.sampled_from(["\0", "\r", "a\rb", '"', ",", "\ud800", "=1+1"])


def test_any_text_goes_out_and_in(tmp_path: Path) -> None:
    """Would fail if a remark with quotes, line ends or odd signs came back otherwise."""
    log, other = Log(tmp_path / "a.sqlite", OWNER), Log(tmp_path / "b.sqlite", OWNER)

    @given(st.lists(st.tuples(TEXTS, TEXTS, st.floats(-1e12, 1e12)), min_size=1, max_size=5))
    @example([("", "", -0.0)])  # SQLite gives 0.0 back
    @settings(max_examples=25)
    def any_text(told: list[tuple[str, str, float]]) -> None:
        log.append([New("part", at, tag, tag, {"remark": words}) for tag, words, at in told])
        write_out(log, tmp_path / "a.zip")
        take_in(other, tmp_path / "a.zip")
        assert other.entries() == sorted(log.entries(), key=lambda e: e.number)

    any_text()
    log.close()
    other.close()


def test_a_zip_that_is_none_is_refused_in_a_sentence(tmp_path: Path) -> None:
    """Would fail if a damaged, changed or foreign zip were half taken in, or gave a traceback."""
    log = Log(tmp_path / "log.sqlite", OWNER)
    log.append([hours(1.0)])
    write_out(log, tmp_path / "good.zip")
    good = (tmp_path / "good.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(good[: len(good) // 2])
    (tmp_path / "text.zip").write_text("hello")
    for name, edit in (
        ("changed", lambda n, d: d.replace(b"1.0", b"9.0") if n == "entries.csv" else d),
        ("list", lambda n, d: b"[1]" if n == "manifest.json" else d),
        ("other", lambda n, d: d.replace(b"plant-1", b"plant-2") if n.startswith("m") else d),
    ):
        with zipfile.ZipFile(tmp_path / "good.zip") as put, \
                zipfile.ZipFile(tmp_path / f"{name}.zip", "w") as out:  # fmt: skip
            for one in put.namelist():
                out.writestr(one, edit(one, put.read(one)))
    for name, words in (
        ("cut", "damaged"), ("text", "damaged"), ("missing", "no such file"),
        ("changed", "entries.csv was changed"), ("list", "damaged"), ("other", "another plant"),
    ):  # fmt: skip
        into = Log(tmp_path / "into.sqlite", OWNER)
        with pytest.raises((CarryError, LogRefused), match=words):
            take_in(into, tmp_path / f"{name}.zip")
        assert not into.entries()
        into.close()
    bad = replace(log.entries()[0], who="bert")
    with pytest.raises(EntryRefused, match="nothing was taken in"):
        into.take_in([bad])
    into.close()
    log.close()


def test_killed_at_any_moment(tmp_path: Path) -> None:
    """Would fail if a kill lost an acknowledged entry, wrote half, or left a log shut."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.site.killed", "20", str(tmp_path)],
        capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "nothing acknowledged was lost" in done.stdout


def test_the_steps_give_the_tables_that_the_code_uses(make: Make) -> None:
    """Would fail if a table were changed without a step that changes it in logs there are."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    log = make()
    with log._ready().connect() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        assert compare_metadata(context, META) == []
    log.close()
    change(log, f"UPDATE {VERSION_TABLE} SET version_num = '0999'")
    with pytest.raises(LogRefused, match="newer byrewright"):
        Log(log.home, OWNER).entries()


def test_the_log_of_the_watch_before_becomes_the_first_entries(tmp_path: Path) -> None:
    """Would fail if history of the former tables were lost, reordered, or kept in two places."""
    path = tmp_path / "log.sqlite"
    with sqlite3.connect(path) as old:
        old.executescript(
            "CREATE TABLE watch_owner (key VARCHAR PRIMARY KEY, value VARCHAR NOT NULL);"
            "CREATE TABLE watch_record (id INTEGER PRIMARY KEY, uid VARCHAR, source VARCHAR, "
            "at FLOAT, kind VARCHAR, tag VARCHAR, text VARCHAR, priority VARCHAR, mode VARCHAR, "
            "who VARCHAR);"
            "CREATE TABLE watch_state (source VARCHAR, tag VARCHAR, state VARCHAR, since FLOAT, "
            "PRIMARY KEY (source, tag));"
            "INSERT INTO watch_owner VALUES ('plant_id','plant-1'),('world','real'),('plant','x');"
            "INSERT INTO watch_record VALUES (2,'b','s',4.0,'cleared','V1','t','high','m','');"
            "INSERT INTO watch_record VALUES (1,'a','s',5.0,'raised','V1','t','high','m','anna');"
            "INSERT INTO watch_state VALUES ('s','V1','gone',4.0);"
        )
    old.close()
    (tmp_path / "copy.sqlite").write_bytes(path.read_bytes())
    log, copy = Log(path, OWNER), Log(tmp_path / "copy.sqlite", OWNER)
    assert [(e.uid, e.kind, e.at, e.who) for e in log.events()] == [
        ("a", "raised", 5.0, "anna"), ("b", "cleared", 4.0, ""),
    ]  # fmt: skip
    assert log.states()["s"]["V1"].state == "gone" and not log.verify()
    log.take_in(copy.entries())
    assert len(log.events()) == 2, "the same event, taken over in two places, counts once"
    log.close()
    copy.close()
    with sqlite3.connect(path) as now:
        tables = {r[0] for r in now.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    now.close()
    assert not {t for t in tables if t in ("watch_owner", "watch_record")}


def test_postgres_by_the_settings_and_what_is_said_without_it(
    tmp_path: Path, postgres: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if watch.yaml did not lead to the database, or its troubles gave tracebacks."""
    plant = tmp_path / "plant.yaml"
    (tmp_path / "secret").write_text("not needed here\n")
    told = {"log": {"database": database(postgres), "password_file": "secret"}}
    (tmp_path / "watch.yaml").write_text(json.dumps(told))
    log = log_of(plant, OWNER)
    log.append([hours(1.0)])
    again = log_of(plant, OWNER)
    assert "not needed" not in log.name and len(again.entries()) == 1
    again.close()
    practice = log_of(plant, Owner("plant-1", "(invented) one", "practice"))
    assert isinstance(practice.home, File), "practice never goes into the real database"
    log.close()
    for told, words in (
        ("postgresql://byre@/farm?host=/nowhere", "cannot be reached"),
        (postgres.format("nosuch"), "cannot be reached|does not exist"),
    ):
        with pytest.raises(LogTrouble, match=words):
            Log(Postgres(told), OWNER).entries()
    for told in ("mysql://x/y", "what?", ""):
        with pytest.raises(LogRefused, match="not the address of a log"):
            Postgres(told)
    other = Postgres(database(postgres))
    change(Log(other, OWNER), "CREATE TABLE money (euro int)")
    with pytest.raises(LogRefused, match="another program"):
        Log(other, OWNER).entries()
    monkeypatch.setattr(homes, "find_spec", lambda _: None)
    with pytest.raises(PostgresMissing, match=r"make postgresql.*byrewright\[postgresql\]"):
        Postgres("postgresql://x/y")


def test_what_cannot_be_kept_is_refused() -> None:
    """Would fail if a number that is none got into a body, or a kind nobody knows."""
    for new in (hours(math.nan), replace(hours(1.0), kind="other")):  # type: ignore[arg-type]
        with pytest.raises(EntryRefused):
            sealed(new, "p", None, 0.0)
    one = sealed(hours(1.0), "p", None, 0.0)
    assert not list(misfits([one])) and list(misfits([replace(one, place="q")]))
