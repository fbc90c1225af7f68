"""What a missed service would cost: more failures, and what each of them costs at this plant.

The failure study's figures hold with service done in time. A part whose service is missed once runs
for another interval at the age it has: with a Weibull shape b it fails (2^b - 2) times as often
more than in an interval after service (from the cumulative hazard (t/eta)^b; derived). Parts that
fail at any age alike (b = 1) gain nothing from service, and cost nothing when it is missed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from byrewright.plant.plant import Plant
from byrewright.results import Result, Table
from byrewright.site.upkeep.due import Due
from byrewright.standards.reliability import LIVES
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.events import Event, events_of
from byrewright.studies.failures.rates import life_a_year

DAYS_A_YEAR = 365.0
MILKING_H_YEAR = 2000.0
"""Only shares of one failure's lives are asked of it."""
RANKED = "failures.ranked"


@dataclass(frozen=True, slots=True)
class Risk:
    """What missing one service once adds: failures, hours of milking, litres and money."""

    due: Due
    failures: float
    hours: float
    litres: float
    money: float
    by: str
    """The failure behind most of it."""


def risks_of(plant: Plant, rules: Rulebook, dues: Iterable[Due], study: Result) -> list[Risk]:
    """The services that keep some life from running out, the dearest to miss first.

    Args:
        study: the result of the failure study of this plant.
    """
    table = study.table(RANKED)
    rows = {str(r[table.columns.index("failure")]): dict(zip(table.columns, r, strict=True))
            for r in table.rows}  # fmt: skip
    events: dict[str, list[Event]] = {}
    for event in events_of(plant):
        events.setdefault(event.machine, []).append(event)
    found = []
    for due in dues:
        machine = plant.equipment[due.task.machine]
        asked = next(u for u in machine.upkeep() if u.what == due.task.what)
        if not asked.prevents or due.every is None or math.isinf(due.every):
            continue
        parts = [
            (_more(e, asked.prevents, rules) * float(rows[e.id]["times in milking"]), rows[e.id], e)
            for e in events.get(machine.id, ())
            if e.id in rows
        ]
        years = due.every / DAYS_A_YEAR
        each = [(n * years, row, e) for n, row, e in parts if n > 0]
        if not each:
            continue
        worst = max(each, key=lambda p: p[0] * float(p[1]["money at risk"]))
        found.append(Risk(
            due, sum(n for n, _, _ in each),
            sum(n * float(row["last cow later by"]) / 60.0 for n, row, _ in each),
            sum(n * float(row["milk lost"]) for n, row, _ in each),
            sum(n * float(row["money at risk"]) for n, row, _ in each), worst[2].way,
        ))  # fmt: skip
    return sorted(found, key=lambda r: (-r.money, -r.hours, -r.failures, r.due.task.machine))


def _more(event: Event, prevents: Iterable[str], rules: Rulebook) -> float:
    """How many times as many failures more, of those lives behind an event that service keeps."""
    lives = dict.fromkeys((event.failure.life, *event.failure.also))
    each: Mapping[str, float] = {k: life_a_year(k, rules, MILKING_H_YEAR) for k in lives}
    total = sum(each.values())
    return math.fsum(each[k] / total * max(0.0, 2.0 ** LIVES[k].beta - 2.0)
               for k in prevents if k in each)  # fmt: skip


def table_of(risks: Iterable[Risk], currency: str) -> Table:
    """What missing each service once would cost, in rows."""
    return Table(
        "service.missed", "What missing a service once would cost, on average",
        ("machine", "service", "by", "failures more", "milking later", "milk lost", "money"),
        ("", "", "", "", "h", "L", currency),
        tuple((r.due.task.machine, r.due.task.what, r.by, _short(r.failures), _short(r.hours),
               _short(r.litres), _short(r.money)) for r in risks),
        "Each failure at its worst moment, as the failure study has it; the service is done one "
        "interval late. Services that keep no counted life, and parts that fail at any age alike, "
        "are not in it. Damage to the machine itself is not counted.",
    )  # fmt: skip


def _short(value: float) -> float:
    return float(f"{value:.2g}")
