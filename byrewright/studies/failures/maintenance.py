"""What can be taken out of service during milking, and which failure would then stop it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from byrewright.plant.machine import Machine
from byrewright.studies.failures.analysis import Analysis, hand_minutes
from byrewright.studies.failures.cuts import Cancelled, Progress
from byrewright.studies.failures.events import FaultEffect, lose
from byrewright.studies.failures.paths import OperatorActions
from byrewright.studies.failures.support import reads


@dataclass(frozen=True, slots=True)
class Out:
    """A machine out for service: whether milking goes on, by what acts, and what then stops it."""

    machine: str
    title: str
    goes_on: bool
    why: str
    acts: OperatorActions
    minutes: float
    then_stops: tuple[str, ...]


def _serviced(machine: Machine) -> bool:
    """Whether people take it out for service: it runs, or something passes through it."""
    if not machine.upkeep() or machine.can("is a valve") or machine.can("senses"):
        return False
    through = any("*" not in (way.a, way.b) for way in machine.inside())
    return machine.can("runs") or through


def states(analysis: Analysis, say: Progress | None = None) -> tuple[Out, ...]:
    """Each serviceable machine taken out in milking, and the failures that would then stop it.

    Raises:
        Cancelled: `say` answered True.
    """
    plant, s = analysis.plant, analysis.structure
    served = [m for m in plant.equipment.values() if _serviced(m)]
    bits = reads(s, [c.event for c in analysis.cases])
    found = []
    kept: dict[tuple[str, tuple[tuple[FaultEffect, ...], ...]], bool] = {}
    for done, machine in enumerate(served):
        if say is not None and say("machines out for service", done, len(served)):
            raise Cancelled
        gone = lose(plant, machine.id)
        if machine.count > 1:
            share = FaultEffect("share", machine.id, amount=(machine.count - 1) / machine.count)
            hits: tuple[FaultEffect, ...] = (share,)
        else:
            hits = gone.variants[0]
        answer = s.ask(hits)
        then = []
        mine = reads(s, [gone])[gone.id]
        for case in analysis.cases if answer.goes_on else ():
            if case.stops or case.event.machine == machine.id or not bits[case.event.id] & mine:
                continue
            key = (machine.id, case.event.variants)
            if key not in kept:
                kept[key] = any(
                    not s.ask([*hits, *more]).goes_on for (more,) in product(case.event.variants)
                )
            if kept[key]:
                then.append(case.event.id)
        took = hand_minutes(answer, analysis.rules, analysis.plant)
        found.append(Out(machine.id, machine.title, answer.goes_on, answer.why, answer.acts,
                         took, tuple(then)))  # fmt: skip
    return tuple(found)
