"""Orders in which machines may move between two modes: is any state on the way dangerous?

An order is safe when no state between the two modes does harm. The solver chooses an order; the
states along it are walked; a dangerous one gives a clause (one of these must move before one of
those), until an order is safe or the solver shows that none is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.studies.routes.brute import Case
from byrewright.studies.routes.network import Network, network
from byrewright.studies.routes.propagation import walk
from byrewright.studies.routes.prove import CONFLICTS, cut, road
from byrewright.studies.routes.questions import change
from byrewright.studies.routes.scene import Question, Scene, Stands

ORDERS_TRIED = 5_000
"""Orders tried for one change; the examples take at most some dozens."""


@dataclass(frozen=True, slots=True)
class Danger:
    """A state on the way that does harm: these have moved and those have not yet."""

    question: Question
    moved: tuple[str, ...]
    still: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Order:
    """What is known of the change from one mode to another."""

    before: str
    after: str
    moves: tuple[tuple[str, str], ...]
    """A safe order of (machine, new position); empty when there is none or nothing moves."""
    safe: bool
    moving: int
    dangers: tuple[Danger, ...]
    """Each must be avoided: at least one of `still` moves before one of `moved`."""
    decided: bool = True
    """Whether the search came to its end within `ORDERS_TRIED`."""
    at_rest: tuple[Question, ...] = ()
    """Harm that one of the two modes does in itself: no order can help."""

    @property
    def any_order(self) -> bool:
        """Whether every order is safe."""
        return not self.dangers and self.safe


def safe_order(plant: Plant, before: str, after: str, net: Network | None = None) -> Order:
    """A safe order of moves from one mode to another, or the proof that there is none."""
    net = net or network(plant)
    scene = change(plant, before, after, net)
    matters = {m for q in scene.questions for m in scene.guards(q)}
    scene.others = {m: p for m, p in scene.others.items() if m in matters}
    machines = list(scene.others)
    ends = [(), tuple((m, scene.others[m][0]) for m in machines)]
    rests = [Case(scene, e) for e in ends]
    at_rest = [q for q in scene.questions if any(c.holds(q) for c in rests)]
    asked = [q for q in scene.questions if q not in at_rest]
    if len(machines) < 2:
        return Order(before, after, ends[1], True, len(machines), (), at_rest=tuple(at_rest))
    dangers: list[Danger] = []
    with _Orders(machines) as orders:
        while (order := orders.next()) is not None:
            danger = _first_danger(scene, asked, order)
            if danger is None:
                dangers = _all_dangers(scene, asked, machines, dangers)
                moves = tuple((m, scene.others[m][0]) for m in order)
                return Order(before, after, moves, True, len(machines), tuple(dangers),
                             at_rest=tuple(at_rest))  # fmt: skip
            dangers.append(danger)
            orders.avoid(danger)
            if len(dangers) >= ORDERS_TRIED:
                break
    decided = order is None and orders.settled
    return Order(before, after, (), False, len(machines), tuple(dangers), decided,
                 tuple(at_rest))  # fmt: skip


def via(order: Order, orders: Iterable[Order]) -> str | None:
    """A mode to go by when there is no safe direct order (the one with fewest moves), or None."""
    safe = {(o.before, o.after): o.moving for o in orders if o.safe}
    ways = [
        (moving + safe[middle, order.after], middle)
        for (start, middle), moving in safe.items()
        if start == order.before and (middle, order.after) in safe
    ]
    return min(ways)[1] if ways else None


def _all_dangers(scene: Scene, asked: Sequence[Question], machines: list[str],
                 known: list[Danger]) -> list[Danger]:  # fmt: skip
    """The least dangerous states, by the prover: each question's combinations of early moves."""
    from byrewright.studies.routes.prove import Prover

    prover = Prover(scene)
    found = list(known)
    for question in asked:
        if any(d.question == question for d in found):
            continue
        wrong = prover.first(question, machines)
        if wrong:
            found.append(_explain(scene, question, [m for m, _ in wrong]))
    return found


def _first_danger(scene: Scene, asked: Sequence[Question], order: Sequence[str]) -> Danger | None:
    for count in range(1, len(order)):
        wrong = [(m, scene.others[m][0]) for m in order[:count]]
        case = Case(scene, wrong)
        for question in asked:
            if case.holds(question):
                return _explain(scene, question, order[:count])
    return None


def _explain(scene: Scene, question: Question, moved: Sequence[str]) -> Danger:
    """The machines whose place makes a state dangerous."""
    position: Mapping[str, str | None] = {
        **scene.wanted, **{m: scene.others[m][0] for m in moved}
    }  # fmt: skip
    reasons: set[str] = set()
    for condition in question.all_of:
        if isinstance(condition, Stands):
            reasons.add(condition.machine)
            continue
        propagation = scene.propagations[condition.propagation]
        found = walk(propagation, position)
        hit = next((n for n in condition.nodes if n in found), None)
        pairs = cut(propagation, found) if hit is None else road(propagation, found, hit, position)
        reasons |= {m for m, _ in pairs}
    return Danger(
        question,
        tuple(m for m in scene.others if m in reasons and m in moved),
        tuple(m for m in scene.others if m in reasons and m not in moved),
    )


class _Orders:
    """All orders of some machines, as a solver sees them: one variable a pair, no cycles.

    Until a danger is known every order will do. The solver, whose clauses grow with the cube of the
    machines, is made with the first danger, and begins where it would have begun.
    """

    def __init__(self, machines: Sequence[str]) -> None:
        self.machines = list(machines)
        self.settled = True
        self.solver: Any = None
        self.pair: dict[tuple[str, str], int] = {}

    def _begin(self) -> None:
        from pysat.solvers import Solver

        self.solver = Solver(name="glucose4")
        for i, a in enumerate(self.machines):
            for b in self.machines[i + 1 :]:
                variable = len(self.pair) // 2 + 1
                self.pair[a, b], self.pair[b, a] = variable, -variable
        for a, b, c in permutations(self.machines, 3):
            self.solver.add_clause([-self.pair[a, b], -self.pair[b, c], self.pair[a, c]])
        self.solver.solve()

    def __enter__(self) -> _Orders:
        return self

    def __exit__(self, *_: object) -> None:
        if self.solver is not None:
            self.solver.delete()

    def avoid(self, danger: Danger) -> None:
        """Not all of `moved` before all of `still`."""
        if self.solver is None:
            self._begin()
        self.solver.add_clause([self.pair[s, m] for m in danger.moved for s in danger.still])

    def next(self) -> list[str] | None:
        """An order that no known danger forbids, or None: proven that there is none, unless the
        solver gave up (then it is not `settled`)."""
        if self.solver is None:
            return self.machines[::-1] if len(self.machines) > 2 else self.machines
        self.solver.conf_budget(CONFLICTS)
        found = self.solver.solve_limited(expect_interrupt=True)
        self.settled = found is not None
        if not found:
            return None
        model = set(self.solver.get_model())
        before = {
            m: sum(1 for o in self.machines if o != m and self.pair[o, m] in model)
            for m in self.machines
        }
        return sorted(self.machines, key=before.__getitem__)
