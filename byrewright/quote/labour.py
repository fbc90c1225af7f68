"""Hours by task: amounts of the one count times norms, which the user and finished jobs mend."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import LengthFrom, Plant
from byrewright.plant.problems import nearest
from byrewright.quote.money import exact, plain_number
from byrewright.quote.terms import Terms
from byrewright.standards.installing import TASKS
from byrewright.standards.model import CONFIDENCE_MEANING
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.count import Figures, Item

TENTH = Decimal("0.1")
HEADS = ("job", "task", "amount", "hours")
PIPE_ENDS = 2
"""Joints of a pipe, and of a fitting, that a fitter makes."""


@dataclass(frozen=True, slots=True)
class Norm:
    """Hours for one of a task, what they stand for and where they come from."""

    key: str
    hours: Decimal
    unit: str
    meaning: str
    source: str


@dataclass(frozen=True, slots=True)
class Task:
    """Hours of one sort of work, of how many, and how sure the amount is."""

    norm: Norm
    scope: str
    amount: Decimal
    hours: Decimal
    sure: LengthFrom

    kind = "labour"
    by = ()
    tags = ()

    @property
    def figures(self) -> Figures:
        """What a row of the price list may ask for."""
        return {"task": self.norm.key, "scope": self.scope}

    @property
    def title(self) -> str:
        """The task in words."""
        return self.norm.meaning.capitalize()

    @property
    def plate(self) -> str:
        """How the hours come about."""
        unit = "m" if self.norm.unit == "h/m" else "times"
        return f"{plain_number(self.amount)} {unit} at {plain_number(self.norm.hours)} h"


@dataclass(frozen=True, slots=True)
class Done:
    """What finished jobs took for one task: hours for one, how many jobs, least and most."""

    hours_each: Decimal
    jobs: int
    least: Decimal
    most: Decimal


def read_jobs(path: str | Path) -> dict[str, Done]:
    """Hours of finished jobs out of a CSV with the columns job, task, amount and hours.

    Raises:
        ByrewrightError: the file cannot be used; each fault in a sentence.
    """
    path = Path(path)
    try:
        reader = csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig")))
        rows = [(reader.line_num, row) for row in reader]
    except UnicodeDecodeError:
        raise ByrewrightError(f"{path}: is not UTF-8 text; save it as CSV UTF-8") from None
    if not rows or any(h not in rows[0][1] for h in HEADS):
        raise ByrewrightError(f"{path}: the first line must name the columns {', '.join(HEADS)}")
    faults: list[str] = []
    found: dict[str, list[tuple[Decimal, Decimal]]] = {}
    for line, row in rows:
        task = str(row["task"] or "").strip()
        if task not in TASKS:
            faults.append(f"{path}:{line}: {task or 'nothing'} is not a task{nearest(task, TASKS)}")
            continue
        pair = [_positive(row[name]) for name in ("amount", "hours")]
        if pair[0] is None or pair[1] is None:
            faults.append(f"{path}:{line}: amount and hours must be numbers above 0")
            continue
        found.setdefault(task, []).append((pair[0], pair[1]))
    if faults:
        raise ByrewrightError("\n".join(faults[:12]))
    return {task: _done(many) for task, many in found.items()}


def _positive(text: str | None) -> Decimal | None:
    try:
        number = float(text or "")
    except ValueError:
        return None
    return exact(str(text).strip()) if math.isfinite(number) and number > 0 else None


def _done(many: Sequence[tuple[Decimal, Decimal]]) -> Done:
    each = [hours / amount for amount, hours in many]
    mean = sum((h for _, h in many), Decimal(0)) / sum((a for a, _ in many), Decimal(0))
    three = Decimal("0.001")
    return Done(mean.quantize(three, ROUND_HALF_UP), len(many), min(each).quantize(three),
                max(each).quantize(three))  # fmt: skip


def norms(terms: Terms, rules: Rulebook, done: Mapping[str, Done]) -> dict[str, Norm]:
    """The norm of every task: from finished jobs, else the terms, else common practice."""
    found = {}
    for name in TASKS:
        value = rules[f"install.{name}"]
        hours, source = exact(value.value), CONFIDENCE_MEANING[value.confidence]
        if name in terms.norms:
            hours, source = exact(terms.norms[name]), "stated in the terms"
        if name in done:
            d = done[name]
            hours = d.hours_each
            jobs = "1 finished job" if d.jobs == 1 else f"{d.jobs} finished jobs"
            source = f"{jobs}, {d.least:f} to {d.most:f}"
        found[name] = Norm(name, hours, value.unit, value.meaning, source)
    return found


def tasks(
    plant: Plant, items: Iterable[Item], known: Mapping[str, Norm], scope_of: Mapping[str, str]
) -> list[Task]:
    """Every sort of work that the count asks for, in the order of the norms.

    Args:
        plant: for stalls, tests and operators.
        items: the one count.
        known: norm by task.
        scope_of: scope of a tag; what each task falls under.
    """
    amounts: dict[tuple[str, str, LengthFrom], Decimal] = {}

    def add(key: str, scope: str, amount: float, sure: LengthFrom = "measured") -> None:
        if amount:
            at = (key, scope, sure)
            amounts[at] = amounts.get(at, Decimal(0)) + exact(round(amount, 2))

    stalls = max((int(getattr(m, "stalls", 0)) for m in plant.able("stands cows")), default=0)
    for one in items:
        _work_of(one, stalls, scope_of, add)
    tests = sum(len(m.tests()) for m in plant.equipment.values())
    add("test_h", "proving", tests)
    add("training_h", "proving", max((m.operators for m in plant.milkings), default=1))
    order = list(known)
    found = []
    for (key, scope, sure), amount in sorted(
        amounts.items(), key=lambda a: (order.index(a[0][0]), a[0][1], a[0][2])
    ):
        hours = (amount * known[key].hours).quantize(TENTH, ROUND_HALF_UP)
        found.append(Task(known[key], scope, amount, hours, sure))
    return found


def _size(bore_mm: float) -> str:
    return next((str(s) for s in (40, 65, 100) if bore_mm <= s), "over")


def _work_of(one: Item, stalls: int, scope_of: Mapping[str, str], add: object) -> None:
    put = add
    assert callable(put)
    bore = float(one.figures.get("bore_mm", 50.0))
    match one.group:
        case "pipes":
            put(f"pipe_{_size(bore)}_h_m", "pipes", one.amount, one.sure)
            put(f"joint_{_size(bore)}_h", "pipes", PIPE_ENDS * len(one.tags), one.sure)
        case "fittings":
            put(f"joint_{_size(bore)}_h", "pipes", PIPE_ENDS * one.amount, one.sure)
        case "supports":
            put("support_h", "pipes", one.amount, one.sure)
        case "valves":
            put("valve_h", "pipes", one.amount)
            if one.figures.get("sensed") == "yes":
                put("sensor_h", "signals", one.amount)
                put("prove_h", "proving", one.amount)
        case "sensors":
            put("sensor_h", "signals", one.amount)
            put("prove_h", "proving", one.amount)
        case "power cables":
            put("cable_h_m", "cables", one.amount, one.sure)
        case "signal cables":
            put("cable_h_m", "signals", one.amount, one.sure)
        case "machines":
            _set(one, stalls, scope_of[one.tags[0]], put)


def _set(one: Item, stalls: int, scope: str, add: object) -> None:
    """Setting a machine, and connecting its motor."""
    put = add
    assert callable(put)
    if scope == "site":
        return
    motor = any(one.figures.get(f) for f in ("motor_kw", "heater_kw", "duty_kw"))
    if "stalls" in one.figures:
        put("stall_h", scope, stalls)
    elif stalls and one.amount >= stalls / 2:
        put("stall_set_h", scope, one.amount)
    elif scope == "tanks":
        put("tank_h", scope, one.amount)
    else:
        put("machine_h" if motor else "vessel_h", scope, one.amount)
    if motor:
        put("motor_h", "cables", one.amount)
