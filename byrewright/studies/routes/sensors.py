"""The smallest set of position sensors with which no harmful combination stays unseen.

A combination is seen when one of the machines that stand wrong is sensed. So a set of sensors sees
all when it hits every harmful combination: a smallest hitting set (solved exactly as MaxSAT), made
complete by asking the prover, for any number of wrong positions, for a combination it misses.

The search for the smallest has a budget, counted in questions to the solver and in conflicts within
one, not in time. Where it runs out the set is a small one that sees all, and the least number that
was proven is told.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.plant.roles import Senses
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.scene import Scene

POSITION_MEASURES = frozenset({"position", "current", "speed", "presence"})
"""What a sensor on a valve or pump measures to tell its state."""
QUESTIONS = 2_000
"""Questions to the solver in the search for one smallest set. The examples take tens."""
CONFLICTS = 200_000
"""Conflicts after which the solver gives a question up."""


@dataclass(frozen=True, slots=True)
class SensorSet:
    """The smallest set found, and what it had to hit."""

    machines: tuple[str, ...]
    proven: bool
    """Whether it is proven to see all."""
    least: int
    """How many sensors any set needs, as far as proven; as many as here: this is the smallest."""
    hits: tuple[FoundHarm, ...]
    alone: Mapping[str, FoundHarm]
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
    hits: Sequence[FoundHarm],
    order: int | None = None,
    without: Collection[str] = (),
    harms: Collection[str] | None = None,
) -> SensorSet | None:
    """The smallest set of machines to sense; None when one is needed that is in `without`.

    `hits` are the combinations already found; `order` bounds how many may stand wrong at once
    (None: any number). Harm of a mode that is wrong in itself (order 0) no sensor can see; it is
    left out here and reported as a finding.
    """
    wanted = [h for h in hits if h.order and (harms is None or h.question.harm in harms)]
    seen: list[FoundHarm] = []
    known: set[frozenset[str]] = set()
    provers = [(s, Prover(s)) for s in scenes]
    wrong_at_rest = {(h.mode, h.question.name) for h in hits if not h.order}
    with _Hitting() as hitting:
        for hit in sorted(wanted, key=lambda h: h.order):
            if not _add(hitting, hit, known, seen, without):
                return None
        while True:
            chosen = hitting.least_set()
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
                        hit = FoundHarm(scene.name, question, wrong)
                        if not _add(hitting, hit, known, seen, without):
                            return None
            if not missed:
                break
    alone: dict[str, FoundHarm] = {}
    for hit in seen:
        if hit.order == 1:
            alone.setdefault(next(iter(hit.machines)), hit)
    proven = not any(p.undecided for _, p in provers)
    return SensorSet(tuple(sorted(chosen)), proven, hitting.least, tuple(seen), alone)


class _Unsettled(Exception):
    """The budget ran out."""


class _Hitting:
    """The smallest set that hits some sets, which are added one by one."""

    def __init__(self) -> None:
        from pysat.examples.hitman import Hitman

        self.hitman: Any = Hitman(solver="g4", htype="sorted")
        self.sets: list[frozenset[str]] = []
        self.least = self.asked = 0
        self.settled = True
        self.hitman.oracle._call_oracle = self._ask

    def __enter__(self) -> _Hitting:
        return self

    def __exit__(self, *_: object) -> None:
        self.hitman.delete()

    def add(self, choice: frozenset[str]) -> None:
        """One of these is needed."""
        self.sets.append(choice)
        if self.settled:
            self.hitman.hit(sorted(choice))

    def least_set(self) -> set[str]:
        """The smallest set; when the budget has run out, a small one that hits all."""
        if self.settled:
            try:
                found = set(self.hitman.get() or [])
                self.least = len(found)
                return found
            except _Unsettled:
                self.settled = False
                self.least = max(self.least, self.hitman.oracle.cost)
        return self._small()

    def _ask(self, assumptions: Sequence[int] = (), expect_interrupt: bool = False) -> bool:
        """The MaxSAT search's one question to its solver, within the budget."""
        solver = self.hitman.oracle.oracle
        self.asked += 1
        solver.conf_budget(CONFLICTS)
        found = solver.solve_limited(assumptions=assumptions, expect_interrupt=True)
        if found is None or self.asked > QUESTIONS:
            raise _Unsettled
        return bool(found)

    def _small(self) -> set[str]:
        """Again and again what hits most of the sets that are left."""
        left, found = self.sets, set[str]()
        while left:
            count = Counter(one for choice in left for one in sorted(choice))
            best = max(sorted(count), key=count.__getitem__)
            found.add(best)
            left = [choice for choice in left if best not in choice]
        return found


def _add(hitting: _Hitting, hit: FoundHarm, known: set[frozenset[str]], seen: list[FoundHarm],
         without: Collection[str]) -> bool:  # fmt: skip
    choice = hit.machines - set(without)
    if not choice:
        return False
    if choice not in known:
        known.add(choice)
        seen.append(hit)
        hitting.add(choice)
    return True


def next_best(scenes: Sequence[Scene], best: SensorSet, hits: Sequence[FoundHarm],
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


def unseen(
    scenes: Iterable[Scene], sensed: Collection[str], order: int | None = None
) -> list[FoundHarm]:
    """One harmful combination for each question that the sensors do not see; none: proven."""
    found = []
    for scene in scenes:
        prover = Prover(scene)
        rest = [m for m in scene.others if m not in sensed]
        for question in scene.questions:
            wrong = prover.first(question, rest, order)
            if wrong:
                found.append(FoundHarm(scene.name, question, wrong))
    return found
