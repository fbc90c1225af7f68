"""Proof with a SAT solver that no other combination of wrong positions does harm.

The solver chooses positions; the spread of that one case is walked; where the harm does not follow,
the reason is added as a clause (a set of ways of which one would have to be open, or one of which
would have to be shut) and the solver chooses again. When it can choose no more, no combination
exists. Only the walk of a single case is shared with the exhaustive search.

Each proof has a budget of rounds between solver and walk, counted and not timed, so that the same
plant gives the same answer everywhere. A question that is not settled within it is `undecided`:
never taken as proven.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.propagation import (
    Combination,
    Move,
    Propagation,
    Way,
    could_reach,
    path,
    walk,
)
from byrewright.studies.routes.scene import Question, Reaches, Scene, Stands

ROUNDS = 20_000
"""Rounds for one question. The examples take at most some hundreds."""
ROUNDS_A_MODE = 200_000
"""Rounds for all questions of one mode."""
CONFLICTS = 200_000
"""Conflicts after which the solver gives one round up."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What the solver found: all combinations up to `order` (None: any number), then no more."""

    hits: tuple[FoundHarm, ...]
    order: int | None
    calls: int


class Prover:
    """Asks the solver about one scene."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.calls = 0
        self.undecided: dict[str, None] = {}
        """Questions whose budget ran out: that nothing more was found proves nothing of them."""
        self._reached: dict[tuple[str, bool, frozenset[str]], set[int]] = {}

    def all_hits(self, question: Question, order: int) -> Proof:
        """Every least combination of up to `order` wrong positions, and that there is no other,
        unless the question is `undecided` afterwards."""
        found: list[FoundHarm] = []
        before = self.calls
        for level in range(order + 1):
            with _Search(self, question, level, None) as search:
                for hit in found:
                    search.forbid(hit.wrong)
                while (wrong := search.next()) is not None:
                    found.append(FoundHarm(self.scene.name, question, wrong))
                    search.forbid(wrong)
            if (level == 0 and found) or question.name in self.undecided:
                break
        return Proof(tuple(found), order, self.calls - before)

    def first(
        self,
        question: Question,
        among: Collection[str],
        order: int | None = None,
        unless: Iterable[tuple[Reaches | Stands, ...]] = (),
    ) -> Combination | None:
        """One least combination of wrong positions `among` these machines, or None: proven that
        none exists, unless the question is `undecided` afterwards. `unless` are groups of
        conditions (process sensors) of which none may hold."""
        if not self._could_hold(question, frozenset(among)):
            return None
        with _Search(self, question, order, among, tuple(unless)) as search:
            wrong = search.next()
        return None if wrong is None else self.least(question, wrong)

    def _could_hold(self, question: Question, among: frozenset[str]) -> bool:
        """Whether each condition could hold if every guard chose for itself among its positions:
        where it could not, no combination of positions does it, and the solver need not be asked.
        """
        scene = self.scene

        def could(machine: str) -> tuple[str | None, ...]:
            more = scene.others.get(machine, ()) if machine in among else ()
            return (scene.wanted.get(machine), *more)

        for condition in question.all_of:
            if isinstance(condition, Stands):
                if condition.positions.isdisjoint(could(condition.machine)):
                    return False
                continue
            key = (condition.propagation, not condition.wanted, among)
            if key not in self._reached:
                propagation = scene.propagations[condition.propagation]
                each = {g: could(g) for g in propagation.guards}
                self._reached[key] = could_reach(propagation, each, surely=not condition.wanted)
            if self._reached[key].isdisjoint(condition.nodes) is condition.wanted:
                return False
        return True

    def least(self, question: Question, wrong: Combination) -> Combination:
        """The same harm with no move more than it takes."""
        from byrewright.studies.routes.brute import holds

        kept = list(wrong)
        for move in wrong:
            fewer = [m for m in kept if m != move]
            if holds(self.scene, question, fewer):
                kept = fewer
        return tuple(kept)


class _Search:
    """One question put to one solver."""

    def __init__(self, prover: Prover, question: Question, order: int | None,
                 among: Collection[str] | None,
                 unless: tuple[tuple[Reaches | Stands, ...], ...] = ()) -> None:  # fmt: skip
        from pysat.solvers import Solver

        self.prover, self.scene, self.question, self.unless = prover, prover.scene, question, unless
        self.solver: Any = Solver(name="glucose4")
        self.count = self.rounds = 0
        self.move: dict[Move, int] = {}
        self.moves_of: dict[str, list[tuple[str, int]]] = {}
        self.guard: dict[tuple[str, frozenset[str]], int] = {}
        matters = self.scene.guards(question)
        for group in unless:
            for condition in group:
                matters |= _guards(self.scene, condition)
        moved: list[int] = []
        for machine, positions in self.scene.others.items():
            if machine not in matters or (among is not None and machine not in among):
                continue
            here = [self._new() for _ in positions]
            for position, variable in zip(positions, here, strict=True):
                self.move[machine, position] = variable
                self.moves_of.setdefault(machine, []).append((position, variable))
            moved += here
            for i, one in enumerate(here):
                for other in here[i + 1 :]:
                    self.solver.add_clause([-one, -other])
        self.fixed_sum(moved, order)

    def fixed_sum(self, moved: list[int], order: int | None) -> None:
        """At most `order` machines in a wrong position."""
        from pysat.card import CardEnc, EncType

        if order is None or order >= len(moved):
            return
        if order == 0:
            for variable in moved:
                self.solver.add_clause([-variable])
            return
        made = CardEnc.atmost(moved, bound=order, top_id=self.count, encoding=EncType.seqcounter)
        self.solver.append_formula(made.clauses)
        self.count = max(self.count, made.nv)

    def __enter__(self) -> _Search:
        return self

    def __exit__(self, *_: object) -> None:
        self.solver.delete()

    def _new(self) -> int:
        self.count += 1
        return self.count

    def forbid(self, wrong: Combination) -> None:
        """No combination that contains this one."""
        if all(move in self.move for move in wrong):
            self.solver.add_clause([-self.move[m] for m in wrong])

    def stands(self, machine: str, positions: frozenset[str]) -> int | bool:
        """A variable (or a constant) that is true while a machine is in one of the positions."""
        moves = self.moves_of.get(machine, ())
        inside = [v for p, v in moves if p in positions]
        outside = [v for p, v in moves if p not in positions]
        wanted = self.scene.wanted.get(machine) in positions
        if wanted and not outside:
            return True
        if not wanted and not inside:
            return False
        key = (machine, positions)
        if key not in self.guard:
            variable = self.guard[key] = self._new()
            if wanted:  # true unless moved to an outside position
                for v in outside:
                    self.solver.add_clause([-variable, -v])
                self.solver.add_clause([variable, *outside])
            else:
                for v in inside:
                    self.solver.add_clause([variable, -v])
                self.solver.add_clause([-variable, *inside])
        return self.guard[key]

    def next(self) -> Combination | None:
        """A combination in which the question is answered with yes, or None: there is no other, or
        the budget ran out (then the question is among the prover's `undecided`)."""
        while (chosen := self._choose()) is not False:
            self.prover.calls += 1
            self.rounds += 1
            if chosen is None or self.rounds > ROUNDS or self.prover.calls > ROUNDS_A_MODE:
                self.prover.undecided[self.question.name] = None
                return None
            model = self.solver.get_model()
            wrong = tuple(m for m, v in self.move.items() if v <= len(model) and model[v - 1] > 0)
            position = {**self.scene.wanted, **dict(wrong)}
            lessons = [
                c
                for c in (self._lesson(k, position) for k in self.question.all_of)
                if c is not None
            ]
            if not lessons:
                lessons = [
                    c for c in (self._hidden(g, position) for g in self.unless) if c is not None
                ]
            if not lessons:
                return wrong
            for clause in lessons:
                self.solver.add_clause(clause)
        self.prover.calls += 1
        return None

    def _choose(self) -> bool | None:
        """Whether there are positions that nothing learnt forbids; None: the solver gave up."""
        self.solver.conf_budget(CONFLICTS)
        # A stop at the keyboard is heard by Python, not by the solver.
        found: bool | None = self.solver.solve_limited(expect_interrupt=True)
        return found

    def _lesson(
        self, condition: Reaches | Stands, position: Mapping[str, str | None]
    ) -> list[int] | None:
        """None when the condition holds in this case, else a clause without which it cannot."""
        if isinstance(condition, Stands):
            if position.get(condition.machine) in condition.positions:
                return None
            return self._any([(condition.machine, condition.positions)], True)
        propagation = self.scene.propagations[condition.propagation]
        found = walk(propagation, position)
        hit = next((n for n in condition.nodes if n in found), None)
        if (hit is not None) is condition.wanted:
            return None
        if condition.wanted:
            return self._any(cut(propagation, found), True)
        assert hit is not None
        return self._any(road(propagation, found, hit, position), False)

    def _hidden(
        self, group: tuple[Reaches | Stands, ...], position: Mapping[str, str | None]
    ) -> list[int] | None:
        """None when a sensor's conditions do not all hold, else a clause: one of them must fail."""
        clause: list[int] = []
        for condition in group:
            if isinstance(condition, Stands):
                if position.get(condition.machine) not in condition.positions:
                    return None
                clause += self._any([(condition.machine, condition.positions)], False)
                continue
            propagation = self.scene.propagations[condition.propagation]
            found = walk(propagation, position)
            hit = next((n for n in condition.nodes if n in found), None)
            if (hit is not None) is not condition.wanted:
                return None
            if hit is not None:
                clause += self._any(road(propagation, found, hit, position), False)
            else:
                clause += self._any(cut(propagation, found), True)
        return clause

    def _any(self, guards: Iterable[tuple[str, frozenset[str]]], state: bool) -> list[int]:
        """A clause: at least one of these guards is open (or shut)."""
        clause = []
        for machine, positions in dict.fromkeys(guards):
            literal = self.stands(machine, positions)
            if isinstance(literal, bool):
                if literal is state:
                    raise AssertionError("a constant guard cannot be the reason")
                continue
            clause.append(literal if state else -literal)
        return clause


def cut(
    propagation: Propagation, found: Mapping[int, Way | None]
) -> Iterator[tuple[str, frozenset[str]]]:
    """The shut guards round what is reached: for more to be reached one of them must open."""
    for node in found:
        for _, target, machine, positions in propagation.leaving.get(node, ()):
            if target not in found and machine is not None and positions is not None:
                yield machine, positions
    for node, machine, positions in propagation.starts:
        if node not in found and machine is not None and positions is not None:
            yield machine, positions


def road(propagation: Propagation, found: Mapping[int, Way | None], target: int,
         position: Mapping[str, str | None]) -> Iterator[tuple[str, frozenset[str]]]:  # fmt: skip
    """The open guards on the way to a node: for it not to be reached one of them must shut."""
    ways = path(found, target)
    start = ways[0][0] if ways else target
    options = [(m, p) for n, m, p in propagation.starts if n == start]
    if not any(m is None for m, _ in options):
        for machine, positions in options:
            if machine is not None and positions is not None and position.get(machine) in positions:
                yield machine, positions
                break
    for _, _, machine, positions in ways:
        if machine is not None and positions is not None:
            yield machine, positions


def _guards(scene: Scene, condition: Reaches | Stands) -> frozenset[str]:
    if isinstance(condition, Stands):
        return frozenset({condition.machine})
    return scene.propagations[condition.propagation].guards
