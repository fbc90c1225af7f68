"""The routes study as tables: ways of fluids, wrong positions, sensors, orders."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from byrewright.engine.interlocks import DRAFT, by_priority
from byrewright.plant.plant import Plant
from byrewright.plant.record import in_words
from byrewright.results import Table
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.network import Roles
from byrewright.studies.routes.orders import Order, via
from byrewright.studies.routes.propagation import Combination, walk
from byrewright.studies.routes.table import process_contacts
from byrewright.studies.routes.words import move, said

if TYPE_CHECKING:
    from byrewright.studies.routes.study import Routes

FLUIDS = (("milk", "milk"), ("withheld", "withheld milk"), ("wash", "wash"), ("water", "water"))


def where(study: Routes) -> Table:
    """Where each fluid goes in each mode with everything in place."""
    roles, net = Roles(study.plant), study.net
    ends = {
        net.body[m]: m
        for m in (
            *roles.tanks,
            *roles.bays,
            *roles.calves,
            *roles.withheld,
            *roles.drains,
            *roles.troughs,
            *roles.balance,
            *roles.receivers,
        )
        if m in net.body
    }
    rows = []
    for mode, scene in study.scenes.items():
        for key, title in FLUIDS:
            found = walk(scene.propagations[key], scene.wanted)
            starts = {n for n, *_ in scene.propagations[key].starts}
            there = [ends[n] for n in ends if n in found and n not in starts]
            if there:
                rows.append((mode, title, ", ".join(there)))
    return Table("where", "Where each fluid goes, mode by mode", ("mode", "fluid", "reaches"),
                 ("", "", ""), tuple(rows))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """Machines that stand wrong and one harm they do, over all modes and positions alike."""

    machines: tuple[str, ...]
    positions: tuple[tuple[str, ...], ...]
    """For each machine: the positions in which it does this."""
    harm: str
    subject: str
    modes: tuple[str, ...]
    hit: FoundHarm


def lines(study: Routes, order: int) -> list[Line]:
    """The harmful combinations of one order, merged over modes and over positions alike."""
    found: dict[tuple[Combination, str, str], list[FoundHarm]] = {}
    for hit in study.hits:
        if hit.order == order:
            found.setdefault((hit.wrong, hit.question.harm, hit.question.subject), []).append(hit)
    alike: dict[tuple[tuple[str, ...], str, str, tuple[str, ...]], list[Combination]] = {}
    for (wrong, harm, subject), hits in found.items():
        key = (tuple(m for m, _ in wrong), harm, subject, tuple(h.mode for h in hits))
        alike.setdefault(key, []).append(wrong)
    every = []
    for (machines, harm, subject, modes), wrongs in alike.items():
        sets = tuple(tuple(dict.fromkeys(w[i][1] for w in wrongs)) for i in range(order))
        whole = len(wrongs) == math.prod(len(s) for s in sets)
        for wrong in wrongs[:1] if whole else wrongs:
            places = sets if whole else tuple((p,) for _, p in wrong)
            hit = found[wrong, harm, subject][0]
            every.append(Line(machines, places, harm, subject, modes, hit))
    place = {h: i for i, h in enumerate(HARMS)}
    return sorted(every, key=lambda x: place[x.harm])


def _wrong_text(plant: Plant, line: Line) -> str:
    parts = []
    for machine, positions in zip(line.machines, line.positions, strict=True):
        first = move(plant, (machine, positions[0]))
        parts.append(" or ".join([first, *(said(p) for p in positions[1:])]))
    return " and ".join(parts)


def wrong_positions(study: Routes) -> Iterable[Table]:
    """Single and double wrong positions: what they do, lose, and what sees them."""
    for order, key, title in (
        (1, "single", "Single wrong positions"),
        (2, "double", "Double wrong positions"),
    ):
        if order > study.order:
            continue
        rows = []
        for line in lines(study, order):
            loss = study.loss(line.hit)
            seen = sorted(line.hit.machines & study.fitted)
            seen += [f"({s})" for s in second_look(study, line.hit)]
            rows.append(
                (
                    _wrong_text(study.plant, line),
                    HARMS[line.harm].title,
                    line.subject,
                    _in_words(line.modes),
                    "" if loss.amount is None else round(loss.amount, 1),
                    loss.unit,
                    ", ".join(seen) or "no sensor",
                )
            )
        yield Table(
            key,
            title,
            ("wrong", "does", "at", "in modes", "loses", "unit", "seen by"),
            ("",) * 7,
            tuple(rows),
            "Half open counts as open and as shut. In brackets: sensors that notice it later.",
        )


def _in_words(modes: Iterable[str]) -> str:
    return ", ".join(str(in_words(m)) for m in modes)


def interlocks(study: Routes) -> Table:
    """The cause-and-effect table, most urgent rows first: what the controls engineer builds."""
    table = study.table
    rows = []
    for row in by_priority(table.rows):
        acts = ", ".join(row.effects) or "alarm only"
        before = "; the mode may not start" if row.before else ""
        modes = "all" if len(row.modes) == len(table.modes) else _in_words(row.modes)
        rows.append((row.tag, row.alarm_when(), modes, acts + before, row.priority, row.on_delay_s))
    return Table(
        "interlocks", "Interlocks: causes and effects",
        ("row", "alarm when", "in modes", "it then acts on", "priority", "delay"),
        ("", "", "", "", "", "s"), tuple(rows), DRAFT,
    )  # fmt: skip


def second_look(study: Routes, hit: FoundHarm) -> list[str]:
    """Process sensors (flow, level, conductivity) whose contact changes with a wrong position."""
    if not any(s.process for s in study.table.signals):
        return []
    scene = study.scenes[hit.mode]
    right = study.right[hit.mode]
    now = process_contacts(study.table, scene, hit.wrong)
    return [s.machine for s in study.table.signals if s.process and now[s.tag] != right[s.tag]]


def sensor_set(study: Routes) -> Table:
    """The smallest set of position sensors, and what it takes to do without each."""
    rows = []
    for machine in study.best.machines:
        hit = study.best.alone.get(machine)
        other = study.next_best[machine]
        why = (f"{move(study.plant, hit.wrong[0])} in {_in_words((hit.mode,))}: "
               f"{study.scenes[hit.mode].harm(hit.question.harm).title}"
               if hit else "takes part in a harmful combination")  # fmt: skip
        instead = sorted(set(other or ()) - set(study.best.machines))
        without = ("cannot be left out" if other is None else
                   f"{len(other)} sensors, with {', '.join(instead)} instead" if instead else
                   f"{len(other)} sensors")  # fmt: skip
        look = second_look(study, hit) if hit else []
        if other is None and look:
            without += f"; {', '.join(look)} would notice it later"
        rows.append(
            (
                machine,
                study.plant.equipment[machine].title,
                "fitted" if machine in study.fitted else "to be fitted",
                why,
                without,
            )
        )
    return Table("sensors", "Smallest set of position sensors", ("machine", "what", "state",
                 "why", "without it"), ("",) * 5, tuple(rows))  # fmt: skip


def safe_orders(study: Routes, orders: list[Order]) -> Table:
    """A safe order for each change between modes in which some order is dangerous."""
    rows = []
    for one in orders:
        if one.any_order and not one.at_rest:
            continue
        dangers = "; ".join(
            f"{HARMS[d.question.harm].title} at {d.question.subject}: {', '.join(d.moved)} moved"
            + (f" while {', '.join(d.still)} still as before" if d.still else "")
            for d in one.dangers
        )
        if one.safe:
            text = " > ".join(f"{m} {said(p)}" for m, p in one.moves)
        else:
            mode = via(one, orders)
            text = f"no direct order; by way of {mode}" if mode else "no safe order"
        rows.append((one.before, one.after, text, dangers))
    return Table(
        "orders",
        "Safe orders between modes",
        ("from", "to", "order", "dangers avoided"),
        ("",) * 4,
        tuple(rows),
        "Changes in which every order is safe are left out.",
    )
