"""The smallest set of position sensors with which no harmful combination stays unseen.

A combination is seen when one of the machines that stand wrong is sensed. So a set of sensors sees
all when it hits every harmful combination: a smallest hitting set (solved exactly as MaxSAT), made
complete by asking the prover, for any number of wrong positions, for a combination it misses.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.plant.roles import Senses
from byrewright.studies.routes.brute import Hit
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.scene import Scene

POSITION_MEASURES = frozenset({"position", "current", "speed", "presence"})
"""What a sensor on a valve or pump measures to tell its state."""


@dataclass(frozen=True, slots=True)
class SensorSet:
    """The smallest set found, and what it had to hit."""

    machines: tuple[str, ...]
    proven: bool
    hits: tuple[Hit, ...]
    alone: Mapping[str, Hit]
    """Machines that cannot be left out, each with a harm it does alone."""


def fitted(plant: Plant) -> frozenset[str]:
    """Machines whose position or state is sensed as the file stands."""
    found = {m.id for m in plant.equipment.values() if getattr(m, "sensed", False)}
    for sensor in plant.machines(Senses):
        machine = plant.equipment.get(sensor.on)
        measures = POSITION_MEASURES | ({"level"} if machine and not machine.can("runs") else set())
        if sensor.measures in measures:
            found.add(sensor.on)
    return frozenset(found)


def smallest(
    scenes: Iterable[Scene],
    hits: Sequence[Hit],
    order: int | None = None,
    without: Collection[str] = (),
    harms: Collection[str] | None = None,
) -> SensorSet | None:
    """The smallest set of machines to sense; None when one is needed that is in `without`.

    `hits` are the combinations already found; `order` bounds how many may stand wrong at once
    (None: any number). Harm of a mode that is wrong in itself (order 0) no sensor can see; it is
    left out here and reported as a finding.
    """
    from pysat.examples.hitman import Hitman

    wanted = [h for h in hits if h.order and (harms is None or h.question.harm in harms)]
    seen: list[Hit] = []
    known: set[frozenset[str]] = set()
    provers = [(s, Prover(s)) for s in scenes]
    wrong_at_rest = {(h.mode, h.question.name) for h in hits if not h.order}
    with Hitman(solver="g4", htype="sorted") as hitman:
        for hit in sorted(wanted, key=lambda h: h.order):
            if not _add(hitman, hit, known, seen, without):
                return None
        while True:
            chosen = set(hitman.get() or [])
            missed = False
            for scene, prover in provers:
                rest = [m for m in scene.others if m not in chosen]
                for question in scene.questions:
                    if (scene.name, question.name) in wrong_at_rest:
                        continue
                    if harms is not None and question.harm not in harms:
                        continue
                    wrong = prover.first(question, rest, order)
                    if wrong is not None:
                        missed = True
                        if not _add(hitman, Hit(scene.name, question, wrong), known, seen, without):
                            return None
            if not missed:
                break
    alone: dict[str, Hit] = {}
    for hit in seen:
        if hit.order == 1:
            alone.setdefault(next(iter(hit.machines)), hit)
    proven = not any(p.undecided for _, p in provers)
    return SensorSet(tuple(sorted(chosen)), proven, tuple(seen), alone)


def _add(hitman: Any, hit: Hit, known: set[frozenset[str]], seen: list[Hit],
         without: Collection[str]) -> bool:  # fmt: skip
    choice = hit.machines - set(without)
    if not choice:
        return False
    if choice not in known:
        known.add(choice)
        seen.append(hit)
        hitman.hit(sorted(choice))
    return True


def next_best(scenes: Sequence[Scene], best: SensorSet, hits: Sequence[Hit],
              order: int | None = None) -> dict[str, tuple[str, ...] | None]:  # fmt: skip
    """For each chosen sensor: the smallest set without it, or None when it cannot be left out."""
    out: dict[str, tuple[str, ...] | None] = {}
    for machine in best.machines:
        if machine in best.alone:
            out[machine] = None
            continue
        other = smallest(scenes, hits, order, without=(machine,))
        out[machine] = other.machines if other else None
    return out


def unseen(scenes: Iterable[Scene], sensed: Collection[str], order: int | None = None) -> list[Hit]:
    """One harmful combination for each question that the sensors do not see; none: proven."""
    found = []
    for scene in scenes:
        prover = Prover(scene)
        rest = [m for m in scene.others if m not in sensed]
        for question in scene.questions:
            wrong = prover.first(question, rest, order)
            if wrong:
                found.append(Hit(scene.name, question, wrong))
    return found
