"""The tables of a site log, the same in SQLite and PostgreSQL.

`entry` is only ever added to. `watch_state` is no part of the log: it is what the watch remembers
between two runs, and follows from the entries.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    UniqueConstraint,
)

META = MetaData()
ENTRIES = Table(
    "entry", META,
    Column("id", Integer, primary_key=True),
    Column("uid", String, nullable=False, index=True),
    Column("place", String, nullable=False),
    Column("number", Integer, nullable=False),
    Column("at", Float, nullable=False),
    Column("made_at", Float, nullable=False),
    Column("kind", String, nullable=False, index=True),
    Column("tag", String, nullable=False),
    Column("who", String, nullable=False),
    Column("corrects", String, nullable=False),
    Column("body", String, nullable=False),
    Column("previous", String, nullable=False),
    Column("hash", String, nullable=False),
    UniqueConstraint("hash", name="entry_hash"),
)  # fmt: skip
PHOTOS = Table(
    "photo", META,
    Column("sha256", String, primary_key=True),
    Column("kind", String, nullable=False),
    Column("data", LargeBinary, nullable=False),
)  # fmt: skip
OWNER = Table(
    "owner", META,
    Column("key", String, primary_key=True),
    Column("value", String, nullable=False),
)  # fmt: skip
STATES = Table(
    "watch_state", META,
    Column("source", String, primary_key=True),
    Column("tag", String, primary_key=True),
    Column("state", String, nullable=False),
    Column("since", Float, nullable=False),
)  # fmt: skip

HEAD = "0001"
"""The newest step of the migrations."""
VERSION_TABLE = "byrewright_version"
BEFORE = ("watch_owner", "watch_record", "watch_event", "watch_alarm")
"""Tables of the two formats before there were migrations."""
