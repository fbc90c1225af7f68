"""An entry of the site log, and the chain that shows when one was changed or taken out; pure.

Every place that writes (a laptop on site, a computer in the office) has a chain of its own: each
entry carries the hash of the one before it. Chains are brought together by adding what is missing;
nothing is renumbered, so a merge changes no hash. A file that was copied and written on in two
places makes two branches from one entry, and both are kept.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal, get_args

from byrewright.errors import ByrewrightError
from byrewright.site.alarms import new_uid

Kind = Literal["watch", "ran", "test", "reading", "hours", "part", "cloths", "call", "certificate"]
KINDS: tuple[Kind, ...] = get_args(Kind)
LATEST_S = 86400.0
"""What is entered may lie so far in the future: a clock of another time zone."""


class EntryRefused(ByrewrightError):
    """An entry that cannot stand in the log; the text says why."""


@dataclass(frozen=True, slots=True)
class New:
    """What is to be entered: when it happened, at which machine, by whom, and what.

    `corrects` is the `uid` of the entry that this one takes the place of. The same `uid` entered
    twice counts once.
    """

    kind: Kind
    at: float
    tag: str
    who: str
    body: Mapping[str, Any]
    corrects: str = ""
    uid: str = field(default_factory=new_uid)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it stands. `number` counts the entries of its place."""

    uid: str
    place: str
    number: int
    at: float
    made_at: float
    kind: str
    tag: str
    who: str
    corrects: str
    body: str
    previous: str
    hash: str

    @property
    def data(self) -> dict[str, Any]:
        """The body as plain data."""
        found: dict[str, Any] = json.loads(self.body)
        return found

    @property
    def label(self) -> str:
        """The entry in a few words."""
        when = time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(self.at))
        return f"entry {self.number} of place {self.place[:8]} ({self.kind} {self.tag} {when} UTC)"


COLUMNS = tuple(f.name for f in fields(Entry))


def plain(text: str) -> str:
    """Text that every database and file holds: no NUL, no half character."""
    return text.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")


def written(body: Mapping[str, Any]) -> str:
    """A body as its one text.

    >>> written({"value": 50.0, "unit": "kPa"})
    '{"unit":"kPa","value":50.0}'
    """
    try:
        text = json.dumps(
            body, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
        )
    except (TypeError, ValueError) as error:
        raise EntryRefused(f"an entry holds what cannot be kept: {error}") from None
    return plain(text.replace("\\u0000", "\ufffd"))


def hash_of(one: Entry) -> str:
    """The hash of everything in an entry, the hash before it included."""
    told = [getattr(one, name) for name in COLUMNS if name != "hash"]
    text = json.dumps(told, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def sealed(new: New, place: str, before: Entry | None, made_at: float) -> Entry:
    """A new entry behind the last one of its place."""
    if new.kind not in KINDS:
        raise EntryRefused(f"{new.kind!r} is no kind of entry; there are {', '.join(KINDS)}")
    bare = Entry(
        plain(new.uid), place, before.number + 1 if before else 1,
        float(new.at) + 0.0, float(made_at) + 0.0,  # -0.0 is stored as 0.0
        new.kind, plain(new.tag), plain(new.who), plain(new.corrects), written(new.body),
        before.hash if before else "", "",
    )  # fmt: skip
    return replace(bare, hash=hash_of(bare))


@dataclass(frozen=True, slots=True)
class Misfit:
    """An entry that does not fit, and why."""

    entry: Entry
    why: str

    def __str__(self) -> str:
        return f"{self.entry.label} {self.why}"


def misfits(entries: Iterable[Entry]) -> Iterator[Misfit]:
    """Entries that were changed, then those before which something is missing; each in order."""
    ordered = sorted(entries, key=lambda e: (e.place, e.number, e.hash))
    known = {e.hash: e for e in ordered}
    for one in ordered:
        if hash_of(one) != one.hash:
            yield Misfit(one, "was changed after it was written")
    for one in ordered:
        before = known.get(one.previous)
        if one.previous and before is None:
            yield Misfit(one, "follows an entry that is not there: one was changed or taken out")
        elif one.number != (before.number + 1 if before else 1) or (
            before is not None and before.place != one.place
        ):
            yield Misfit(one, "does not follow the entry that it names")


def heads(entries: Iterable[Entry]) -> list[str]:
    """Hashes of the entries that no other follows, in order."""
    every = list(entries)
    followed = {e.previous for e in every}
    return sorted(e.hash for e in every if e.hash not in followed)


def digest(entries: Iterable[Entry]) -> str:
    """The hash of a whole log: the same wherever the same entries lie."""
    return hashlib.sha256("\n".join(heads(entries)).encode()).hexdigest()


def current(entries: Iterable[Entry]) -> list[Entry]:
    """What counts now: each uid once, and nothing that a later entry corrects."""
    once: dict[str, Entry] = {}
    for one in entries:
        once.setdefault(one.uid, one)
    corrected = {e.corrects for e in once.values() if e.corrects}
    return [e for e in once.values() if e.uid not in corrected]
