"""One log: what the watch wrote before becomes its first entries; the old tables go."""

from __future__ import annotations

import hashlib
import json
import time

import sqlalchemy as sa
from alembic import op

from byrewright.site.alarms import new_uid
from byrewright.site.log.entry import COLUMNS, Entry, New, sealed

revision, down_revision, branch_labels, depends_on = "0001", None, None, None


def upgrade() -> None:
    """Make the tables, and take over what stands in those of before."""
    bind = op.get_bind()
    there = set(sa.inspect(bind).get_table_names())
    entry = op.create_table(
        "entry",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("uid", sa.String, nullable=False),
        sa.Column("place", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("at", sa.Float, nullable=False),
        sa.Column("made_at", sa.Float, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("tag", sa.String, nullable=False),
        sa.Column("who", sa.String, nullable=False),
        sa.Column("corrects", sa.String, nullable=False),
        sa.Column("body", sa.String, nullable=False),
        sa.Column("previous", sa.String, nullable=False),
        sa.Column("hash", sa.String, nullable=False),
        sa.UniqueConstraint("hash", name="entry_hash"),
    )
    op.create_index("ix_entry_uid", "entry", ["uid"])
    op.create_index("ix_entry_kind", "entry", ["kind"])
    op.create_table(
        "photo",
        sa.Column("sha256", sa.String, primary_key=True),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    owner = op.create_table(
        "owner",
        sa.Column("key", sa.String, primary_key=True),
        sa.Column("value", sa.String, nullable=False),
    )
    if "watch_state" not in there:
        op.create_table(
            "watch_state",
            sa.Column("source", sa.String, primary_key=True),
            sa.Column("tag", sa.String, primary_key=True),
            sa.Column("state", sa.String, nullable=False),
            sa.Column("since", sa.Float, nullable=False),
        )
    place = new_uid()
    told = [{"key": "place", "value": place}]
    if "watch_owner" in there:
        rows = bind.execute(sa.text("SELECT key, value FROM watch_owner")).all()
        told += [{"key": r.key, "value": r.value} for r in rows]
    op.bulk_insert(owner, told)
    op.bulk_insert(entry, _before(bind, there, place))
    for name in ("watch_owner", "watch_record", "watch_event", "watch_alarm"):
        if name in there:
            op.drop_table(name)


def _before(bind: sa.Connection, there: set[str], place: str) -> list[dict[str, object]]:
    """The old events as entries; alarms of the first format go on standing."""
    second = "watch_record" in there
    if not second and "watch_event" not in there:
        return []
    table = "watch_record" if second else "watch_event"
    before: Entry | None = None
    made, now = [], time.time()
    for row in bind.execute(sa.text(f"SELECT * FROM {table} ORDER BY id")).mappings():
        body = {k: row[k] or "" for k in ("kind", "text", "priority", "mode")}
        body["source"] = row["source"] if second else ""
        # The same file taken over in two places gives the same uid, and counts once.
        uid = row["uid"] if second else hashlib.sha256(
            json.dumps([row["id"], row["at"], row["tag"], body]).encode()
        ).hexdigest()[:32]  # fmt: skip
        new = New("watch", row["at"], row["tag"] or "", row["who"] or "", body, uid=uid)
        before = sealed(new, place, before, now)
        made.append({c: getattr(before, c) for c in COLUMNS})
    if not second and "watch_alarm" in there:
        bind.execute(
            sa.text(
                "INSERT INTO watch_state (source, tag, state, since) "
                "SELECT '', tag, state, since FROM watch_alarm"
            )
        )
    return made


def downgrade() -> None:
    """There is no way back: the old tables could not hold what is in the log now."""
    raise NotImplementedError
