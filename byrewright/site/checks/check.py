"""The checks of a plant: every figure that is to be read, with what it should be.

Made from the plant as installed: the tests that its kinds name, what the studies predict, the
alarms of its interlock table. A check's id stays the same as long as its machine and its test do.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from fnmatch import fnmatch

from byrewright.engine.interlocks import Row, Table
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.results import Finding, Input, Result, Sense, in_figures
from byrewright.site.checks.catalogue import GROUPS, TESTS, Figure, Group
from byrewright.standards.diagnosis import TEST_MINUTES
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.words import said

ALLOWED = "allowed"
ALARM_SLACK_S = 2.0
"""Reading and hand beside an alarm's delay (byrewright's own choice)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a figure is held to."""

    sense: Sense
    value: float
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Check:
    """One figure to be read, or one thing to be seen (no unit)."""

    id: str
    group: Group
    title: str
    at: str
    what: str
    """The machine in words."""
    point: str
    how: str
    unit: str
    predicted: float | None
    limits: tuple[Limit, ...]
    minutes: float
    licensed: bool
    liquid: bool = False
    """A flow of liquid, in a chapter whose flows are of air."""

    @property
    def held_to(self) -> str:
        """Its limits in short."""
        signs = {"at_least": "at least", "at_most": "at most"}
        if not self.unit:
            return "as described"
        return " and ".join(f"{signs[x.sense]} {in_figures(x.value)}" for x in self.limits)


def checks_of(
    plant: Plant, rules: Rulebook, predicted: Result, table: Table | None = None
) -> tuple[Check, ...]:
    """Every check of a plant, in the order of the sheets.

    Args:
        predicted: the findings of sizing and vacuum; see `predicted.predicted_of`.
        table: the interlock table, for the alarms.
    """
    made: dict[str, Check] = {}
    for machine in plant.equipment.values():
        for name in machine.tests():
            test = TESTS[name]
            for number in range(1, machine.count + 1) if test.each else (0,):
                for figure in test.figures:
                    one = _check(rules, predicted, machine, name, figure, number)
                    if figure.piped and _liquid(plant, machine):
                        one = replace(one, liquid=True)
                    made.setdefault(one.id, one)
    if table is not None:
        made |= {c.id: c for c in (_alarm(table, row) for row in table.rows)}
    order = {g: i for i, g in enumerate(GROUPS)}
    return tuple(sorted(made.values(), key=lambda c: order[c.group]))


def revision_of(checks: Iterable[Check]) -> str:
    """What the sheets of a plant are known by: changes when a check comes, goes or asks another.

    What is predicted and the limits are not in it: a verdict always takes those of today.
    """
    told = sorted((c.id, c.unit, c.point) for c in checks)
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:8]


def plain(check: Check) -> dict[str, object]:
    """A check as plain data."""
    return asdict(check) | {"held_to": check.held_to}


def _check(
    rules: Rulebook, predicted: Result, machine: Machine, name: str, figure: Figure, number: int
) -> Check:
    test = TESTS[name]
    found = list(_findings(predicted, figure, "" if test.whole else machine.id))
    told, limits = _told(rules, machine, figure, found)
    at = "" if test.whole else machine.id + (f" no. {number}" if number else "")
    return Check(
        id=figure.key + (f"@{machine.id}" if not test.whole else "")
        + (f"#{number}" if number else ""),
        group=test.group, title=figure.title, at=at, what="" if test.whole else machine.title,
        point=figure.point, how=test.how, unit=figure.unit, predicted=told, limits=limits,
        minutes=TEST_MINUTES[name] if figure is test.figures[0] else 0.0, licensed=test.licensed,
    )  # fmt: skip


def _liquid(plant: Plant, machine: Machine) -> bool:
    """Whether liquid runs in its pipes, and no air."""
    carried = {plant.service_of(p) for p in plant.pipes_at(machine.id)}
    return bool(carried - {None}) and not carried & {"vacuum", "air"}


def _findings(predicted: Result, figure: Figure, subject: str) -> Iterator[Finding]:
    fit = [f for f in predicted.findings if any(fnmatch(f.key, key) for key in figure.findings)]
    yield from [f for f in fit if f.subject == subject] or [f for f in fit if not f.subject]


def _told(
    rules: Rulebook, machine: Machine, figure: Figure, found: Sequence[Finding]
) -> tuple[float | None, tuple[Limit, ...]]:
    """What is predicted, and the limits."""
    if figure.setting:
        nominal = float(getattr(machine, figure.setting))
        rule = rules[figure.away]
        away = rules.number(figure.away) * (nominal / 100.0 if figure.share else 1.0)
        return nominal, _around(nominal, away, rule.source, rule.confidence)
    if figure.key == "working_vacuum" and found:
        inputs = {i.symbol: i.value for i in found[0].inputs}
        vm, held, most = inputs.get("Vm"), inputs.get("nominal"), found[0].limit
        if isinstance(vm, float) and isinstance(held, float) and most is not None:
            return vm, _around(held, most, found[0].source, found[0].confidence)
    limits = tuple(
        Limit(f.sense, float(f.limit), f.source or _source(f.inputs), f.confidence)
        for f in found
        if f.limit is not None and f.sense != "informational"
    )
    for sense, key in (("at_most", figure.most), ("at_least", figure.least)):
        if key:
            limits += (_ruled(rules, sense, key),)  # type: ignore[arg-type]
    limits += tuple(  # a leakage: the model takes what is allowed, and what is read is held to it
        Limit("at_most", float(i.value), f.source, f.confidence)
        for f in found
        for i in f.inputs
        if i.symbol == ALLOWED and not isinstance(i.value, str)
    )
    return next((f.value for f in found if f.value is not None), None), limits


def _ruled(rules: Rulebook, sense: Sense, key: str) -> Limit:
    return Limit(sense, rules.number(key), rules[key].source, rules[key].confidence)


def _around(nominal: float, away: float, source: str, confidence: str) -> tuple[Limit, ...]:
    return (
        Limit("at_least", nominal - away, source, confidence),
        Limit("at_most", nominal + away, source, confidence),
    )


def _source(inputs: Sequence[Input]) -> str:
    return next((i.source for i in inputs if i.source), "the plant's own figures")


def _alarm(table: Table, row: Row) -> Check:
    late = row.on_delay_s + ALARM_SLACK_S
    mode = row.proof_mode or row.modes[0]
    limit = Limit("at_most", late, "the interlock table, and time to read it", "derived")
    return Check(
        id=f"alarm@{row.tag}", group="Alarms", title=row.told_in(mode)[0], at=row.machine,
        what=table.titles.get(row.machine, ""), point=mode,
        how=f"With water only, no cows and no milk, mode {mode}: "
            f"{how_to_test(table, row)}. Time until the alarm.",
        unit="s", predicted=row.on_delay_s, limits=(limit,), minutes=2.0, licensed=False,
    )  # fmt: skip


def how_to_test(table: Table, row: Row) -> str:
    """What the tester does. With water only, no cows and no milk in the plant."""
    signal = next((s for s in table.signals if s.tag in (*row.on, *row.off)), None)
    if signal is not None and signal.process:
        return (
            f"make the contact {signal.tag} show the fault (lift the wire or use the sensor's test)"
        )
    if row.wanted.startswith("not "):
        return f"raise the level switch of {row.machine} by hand until it shows full; let it down"
    verb = {"runs": "stop it", "stopped": "start it briefly"}.get(
        row.wanted, f"move it, {said(row.wanted)} at first, halfway and then all the way"
    )
    return f"{verb}; then put it back"
