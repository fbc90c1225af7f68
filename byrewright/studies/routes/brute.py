"""Every single, double and triple wrong position, tried one and all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from byrewright.studies.routes.propagation import Combination, Flood, Way, bits, cases, walk
from byrewright.studies.routes.scene import Question, Scene, Stands

BATCH = 1 << 18
"""Combinations tried side by side; more only costs memory."""


@dataclass(frozen=True, slots=True)
class FoundHarm:
    """A question answered with yes: in this mode, these wrong positions do this."""

    mode: str
    question: Question
    wrong: Combination

    @property
    def order(self) -> int:
        return len(self.wrong)

    @property
    def machines(self) -> frozenset[str]:
        return frozenset(m for m, _ in self.wrong)


def every_combination(others: dict[str, tuple[str, ...]], order: int) -> Iterator[Combination]:
    """All combinations of exactly `order` wrong positions."""
    for machines in combinations(others, order):
        for positions in product(*(others[m] for m in machines)):
            yield tuple(zip(machines, positions, strict=True))


def answer(scene: Scene, question: Question, flood: Flood) -> int:
    """The cases (as bits) in which a question is answered with yes."""
    mask = flood.cases.every
    for condition in question.all_of:
        if isinstance(condition, Stands):
            mask &= flood.where(condition.machine, condition.positions)
        else:
            reached = flood.of(scene.propagations[condition.propagation])
            anywhere = 0
            for node in condition.nodes:
                anywhere |= reached.get(node, 0)
            mask &= anywhere if condition.wanted else flood.cases.every & ~anywhere
        if not mask:
            break
    return mask


class Case:
    """One case of a scene, each spread walked once."""

    def __init__(self, scene: Scene, wrong: Iterable[tuple[str, str]]) -> None:
        self.scene = scene
        self.position = {**scene.wanted, **dict(wrong)}
        self._walks: dict[str, dict[int, Way | None]] = {}

    def walk(self, propagation: str) -> dict[int, Way | None]:
        """Where a spread gets to in this case."""
        if propagation not in self._walks:
            self._walks[propagation] = walk(self.scene.propagations[propagation], self.position)
        return self._walks[propagation]

    def holds(self, question: Question) -> bool:
        """Whether a question is answered with yes."""
        for condition in question.all_of:
            if isinstance(condition, Stands):
                if self.position.get(condition.machine) not in condition.positions:
                    return False
            else:
                found = self.walk(condition.propagation)
                if any(n in found for n in condition.nodes) is not condition.wanted:
                    return False
        return True


def holds(scene: Scene, question: Question, wrong: Iterable[tuple[str, str]]) -> bool:
    """Whether a question is answered with yes in one case."""
    return Case(scene, wrong).holds(question)


def harms_of(scene: Scene, wrong: Iterable[tuple[str, str]]) -> list[Question]:
    """The questions answered with yes in one case, in their order."""
    case = Case(scene, wrong)
    return [q for q in scene.questions if case.holds(q)]


def tried(scene: Scene, order: int) -> int:
    """How many combinations of 1 to `order` wrong positions a scene has."""
    counts = [len(p) for p in scene.others.values()]
    ways = [1] + [0] * order
    for n in counts:
        for k in range(order, 0, -1):
            ways[k] += ways[k - 1] * n
    return sum(ways[1:])


def search(scene: Scene, order: int, questions: Sequence[Question] | None = None,
           others: dict[str, tuple[str, ...]] | None = None) -> list[FoundHarm]:  # fmt: skip
    """Every combination of up to `order` wrong positions that does harm, and no part of which does
    the same harm (order 0: the mode itself is wrong)."""
    asked = list(scene.questions if questions is None else questions)
    pool = scene.others if others is None else others
    hits: list[FoundHarm] = []
    done: dict[str, set[frozenset[tuple[str, str]]]] = {q.name: set() for q in asked}
    for level in range(order + 1):
        batch: list[Combination] = []
        for combination in every_combination(pool, level):
            batch.append(combination)
            if len(batch) == BATCH:
                hits += _try(scene, asked, batch, done)
                batch = []
        if batch:
            hits += _try(scene, asked, batch, done)
    return hits


def _try(scene: Scene, asked: list[Question], batch: list[Combination],
         done: dict[str, set[frozenset[tuple[str, str]]]]) -> list[FoundHarm]:  # fmt: skip
    flood = Flood(cases(scene.wanted, batch))
    hits = []
    for question in asked:
        smaller = done[question.name]
        if frozenset() in smaller:
            continue
        mask = answer(scene, question, flood)
        mask &= ~_supersets(smaller, flood)
        for number in bits(mask):
            wrong = batch[number]
            smaller.add(frozenset(wrong))
            hits.append(FoundHarm(scene.name, question, wrong))
    return hits


def _supersets(smaller: Iterable[frozenset[tuple[str, str]]], flood: Flood) -> int:
    """The cases that contain a combination already known to do this harm."""
    known = 0
    for part in smaller:
        mask = flood.cases.every
        for move in part:
            mask &= flood.cases.at.get(move, 0)
        known |= mask
    return known
