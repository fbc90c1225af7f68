"""The service that kinds ask for: found by what it is or was called, and how often, in words."""

from __future__ import annotations

from collections.abc import Iterable

from byrewright.plant.machine import Machine, Upkeep
from byrewright.standards.rulebook import Rulebook

HOURS, DAYS = "h", "days"
WORDS = {HOURS: "running hours", "cows": "cow milkings", "litres": "litres", "km": "km"}
"""What is counted, in words, where it has no such name already."""

Interval = tuple[str, float]
"""What is counted (`HOURS`, `DAYS` or a `Wear`), and after how many of it service is due."""


def service_of(machine: Machine, called: str) -> Upkeep | None:
    """The service of a machine by what it is called, or was in an earlier log, in small letters or
    capitals; None: no such."""
    name = called.casefold()
    return next((u for u in machine.upkeep()
                 if name in (w.casefold() for w in (u.what, *u.was))), None)  # fmt: skip


def intervals(machine: Machine, asked: Upkeep, rules: Rulebook) -> tuple[Interval, ...]:
    """After what a machine's service is due; what experience is counted in stands first."""
    found: list[Interval] = [(HOURS, asked.every_h)] if asked.every_h is not None else []
    found += [(DAYS, asked.every_days)] if asked.every_days is not None else []
    for unit, many in asked.counts:
        of_rule = many in rules
        found.append((unit, float(rules.number(many) if of_rule else getattr(machine, many))))
    return tuple(found)


def counted_in(asked: Upkeep) -> str:
    """What a service's age is counted in: hours, else days, else the first that it wears by."""
    if asked.every_h is not None:
        return HOURS
    return DAYS if asked.every_days is not None else asked.counts[0][0]


def every(some: Iterable[Interval]) -> str:
    """How often a service comes, in words that follow "every".

    >>> every([(HOURS, 1200.0), ("cows", 2500.0)]), every([(DAYS, 1.0)])
    ('1,200 running hours or 2,500 cow milkings', 'day')
    """
    return " or ".join(
        "day" if (unit, many) == (DAYS, 1.0) else f"{_short(many)} {WORDS.get(unit, unit)}"
        for unit, many in some
    )


def _short(many: float) -> str:
    return f"{float(f'{many:.4g}'):,.0f}" if many >= 10 else f"{many:.3g}"
