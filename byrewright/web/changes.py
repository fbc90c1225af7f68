"""What differs between two texts or two plants, for people to look over before they save."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import Any

from byrewright.plant.farm import plain
from byrewright.plant.plant import Plant
from byrewright.plant.record import Record
from byrewright.results import Finding, Result, Verdict
from byrewright.web.markup import Html, tag

AROUND = 2
MOST_LINES = 1500


def diff(old: str, new: str) -> Html | None:
    """The lines that differ, with + and - before them; None when none do."""
    lines = list(difflib.unified_diff(old.splitlines(), new.splitlines(), n=AROUND, lineterm=""))[
        2:
    ]
    if not lines:
        return None
    kinds = {"+": "add", "-": "cut", "@": "at"}
    parts = []
    for line in lines[:MOST_LINES]:
        kind = kinds.get(line[:1], "")
        parts.append(tag("span", line.strip("@ ") if kind == "at" else line, "\n", cls=kind))
    return tag("pre", parts, cls="diff", tabindex=0)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is otherwise: where, what, its unit, and both values."""

    where: str
    field: str
    unit: str
    old: float | str | None
    new: float | str | None


def plant_changes(old: Plant, new: Plant) -> list[Change]:
    """Machines and pipes that came, went, or have other figures."""
    found: list[Change] = []
    before: dict[str, Record] = {**old.equipment, **{p.id: p for p in old.pipes}}
    after: dict[str, Record] = {**new.equipment, **{p.id: p for p in new.pipes}}
    for where in dict.fromkeys((*before, *after)):
        a, b = before.get(where), after.get(where)
        if a is None or b is None:
            was, now = (_title(old, where) if a else None), (_title(new, where) if b else None)
            found.append(Change(where, "", "", was, now))
            continue
        kind = {one.name: one for one in (*a.parameters(), *b.parameters())}
        stated, fresh = plain(a), plain(b)
        for field in dict.fromkeys((*stated, *fresh)):
            if stated.get(field) != fresh.get(field):
                one = kind.get(field)
                meaning, unit = (one.meaning, one.unit) if one else (field, "")
                values = _said(stated.get(field)), _said(fresh.get(field))
                found.append(Change(where, meaning, unit, *values))
    return found


def _alike(a: Finding, b: Finding) -> bool:
    return a.key == b.key and _without_numbers(a.sentence) == _without_numbers(b.sentence)


def _without_numbers(sentence: str) -> str:
    return re.sub(r"[A-Z]{0,3}[\d.,]+", "", sentence)


def _title(plant: Plant, where: str) -> str:
    machine = plant.equipment.get(where)
    return machine.title if machine else where


def _said(value: Any) -> float | str | None:
    if value is None or isinstance(value, str | int | float):
        return value
    return ", ".join(str(v) for v in value) if isinstance(value, list | tuple) else str(value)


def verdict_changes(old: Result, new: Result) -> list[tuple[str, Verdict | None, Verdict | None]]:
    """Findings whose verdict is another one, that came, or that went: (sentence, before, after)."""
    before = {f.name: f for f in old.findings}
    after = {f.name: f for f in new.findings}
    gone = {n: f for n, f in before.items() if n not in after}
    moved: dict[str, Finding] = {}
    for name, one in after.items():  # the same sentence under other numbers is no news
        if name not in before:
            same = next((n for n, f in gone.items() if _alike(f, one)), None)
            if same is not None:
                moved[name] = gone.pop(same)
    found = []
    for name in dict.fromkeys((*before, *after)):
        a, b = before.get(name) or moved.get(name), after.get(name)
        if b is None and name not in gone:
            continue
        was, now = (a.verdict if a else None), (b.verdict if b else None)
        if was != now:
            one = b or before[name]
            found.append((one.sentence, was, now))
    return found
