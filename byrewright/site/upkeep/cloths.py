"""Udder cloths by lots: which lot milked which shift, how often it was washed, when it is worn."""

from __future__ import annotations

import datetime as dt
import hashlib
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from byrewright.errors import ByrewrightError
from byrewright.results import Finding, Input, Result, Table, judge
from byrewright.site.log import Entry, Log, New
from byrewright.site.log.entry import current
from byrewright.standards.rulebook import Rulebook

LIFE = "cloth.washes_of_life"
TIGHT = 0.1
HALF_DAY_S = 43_200.0


@dataclass(slots=True)
class Lot:
    """A lot of cloths as the log tells it."""

    name: str
    cloths: int
    new_on: dt.date
    washes: int = 0
    dirty: str = ""
    """The shift it milked since it was washed."""
    retired_on: dt.date | None = None
    last: dt.date | None = None
    unwashed: list[str] = field(default_factory=list)
    """Shifts that it milked without a wash since the one before."""


def lots_of(entries: Iterable[Entry]) -> dict[str, Lot]:
    """The lots, from what was entered, in its order."""
    lots: dict[str, Lot] = {}
    for one in sorted(current(entries), key=lambda e: (e.at, e.made_at, e.number)):
        if one.kind != "cloths":
            continue
        day, data = dt.date.fromtimestamp(one.at), one.data
        if data["action"] == "new":
            lots[one.tag] = Lot(one.tag, int(data["cloths"]), day)
        elif one.tag in lots:
            _apply(lots[one.tag], day, data["action"], f"{data.get('shift', '')} of {day}")
    return lots


def _apply(lot: Lot, day: dt.date, action: str, shift: str) -> None:
    lot.last = day
    if action == "washed":
        lot.washes, lot.dirty = lot.washes + 1, ""
    elif action == "used":
        if lot.dirty:
            lot.unwashed.append(shift)
        lot.dirty = shift
    elif action == "retired":
        lot.retired_on = day


def enter(
    log: Log, who: str, on: dt.date, *, new: Sequence[str] = (), washed: Sequence[str] = (),
    used: Sequence[str] = (), retired: Sequence[str] = (),
) -> int:  # fmt: skip
    """Enter lots: new ("A=500"), washed ("A"), used ("A=morning"), retired ("A"); all or nothing.

    Raises:
        ByrewrightError: it is not written so, or no such lot is in use.
        LogRefused, LogTrouble, LogDamaged
    """
    if not who.strip():
        raise ByrewrightError("--who: say who did it, by name")
    at = time.mktime(on.timetuple()) + HALF_DAY_S
    known = log.entries("cloths") if log.home.identity() is not None else []
    there = {name for name, lot in lots_of(known).items() if lot.retired_on is None}
    told: list[tuple[str, dict[str, object]]] = []
    for text in new:
        name, _, count = (p.strip() for p in text.partition("="))
        count = count.removesuffix("cloths").rstrip()
        if not name or not count.isdecimal() or not 0 < int(count) < 1_000_000:
            raise ByrewrightError(f"--new {text}: write the lot and how many cloths, such as A=500")
        if name in there:
            raise ByrewrightError(f"--new {text}: lot {name} is in use; retire it first")
        there.add(name)
        told.append((name, {"action": "new", "cloths": int(count)}))
    for text in used:
        name, _, shift = (p.strip() for p in text.partition("="))
        if not shift:
            raise ByrewrightError(f"--used {text}: write the lot and the shift, such as A=morning")
        told.append((name, {"action": "used", "shift": shift}))
    told += [(name.strip(), {"action": "washed"}) for name in washed]
    told += [(name.strip(), {"action": "retired"}) for name in retired]
    for name, _ in told:
        if name not in there:
            raise ByrewrightError(
                f"no lot {name!r} is in use; enter it with --new {name or 'A'}=500"
            )
    # two washes of a lot on a day are two: what the log has of that day is counted in
    today = sum(1 for e in known if dt.date.fromtimestamp(e.at) == on)
    return len(log.append(
        New("cloths", at, name, who, body, uid=_uid(name, body, who, on, today, i))
        for i, (name, body) in enumerate(told)
    ))  # fmt: skip


def _uid(*told: object) -> str:
    return hashlib.sha256(repr(told).encode()).hexdigest()[:32]


def cloths_of(plant: str, rules: Rulebook, entries: Sequence[Entry], today: dt.date) -> Result:
    """The lots with their washes, and what is to be done about them."""
    life, findings, rows = rules.number(LIFE), [], []
    rule = rules[LIFE]
    for lot in lots_of(entries).values():
        days = max(1, ((lot.last or today) - lot.new_on).days)
        worn = "" if not lot.washes else str(
            lot.new_on + dt.timedelta(days=round(life * days / lot.washes)))  # fmt: skip
        state = f"retired {lot.retired_on}" if lot.retired_on else (
            f"used, {lot.dirty}" if lot.dirty else "clean")  # fmt: skip
        rows.append((lot.name, lot.cloths, str(lot.new_on), lot.washes, state,
                     "" if lot.retired_on else worn))  # fmt: skip
        if lot.retired_on is None:
            verdict, margin = judge(float(lot.washes), life, "at_most", TIGHT)
            findings.append(Finding(
                "cloths.washes", lot.name, "Washes of a lot", float(lot.washes), "",
                f"Lot {lot.name} was washed {lot.washes} times; a cloth is worn after {life:g}.",
                verdict, "at_most", life, margin, TIGHT, "washes entered", source=rule.source,
                confidence=rule.confidence,
                inputs=(Input(LIFE, rule.meaning, life, "", rule.source),),
            ))  # fmt: skip
        findings += [
            Finding("cloths.unwashed", lot.name, "Lot used unwashed", None, "",
                    f"Lot {lot.name} milked the {shift} and was not washed since the shift before.",
                    "fails", source="the log", confidence="derived")
            for shift in lot.unwashed
        ]  # fmt: skip
    table = Table(
        "cloths.lots", "Lots of cloths",
        ("lot", "cloths", "new on", "washes", "now", "worn about"), ("",) * 6, tuple(rows),
        f"Worn after {life:g} washes at the pace so far.",
    )  # fmt: skip
    return Result("cloths", plant, tuple(findings), (table, _shifts(entries)))


def _shifts(entries: Iterable[Entry]) -> Table:
    used = [e for e in current(entries) if e.kind == "cloths" and e.data["action"] == "used"]
    return Table(
        "cloths.shifts", "Which lot milked which shift, the newest first",
        ("day", "shift", "lot", "by"), ("",) * 4,
        tuple((str(dt.date.fromtimestamp(e.at)), str(e.data["shift"]), e.tag, e.who)
              for e in sorted(used, key=lambda e: (e.at, e.made_at, e.number), reverse=True)),
    )  # fmt: skip
