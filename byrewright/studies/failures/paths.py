"""The way with the fewest acts of people from one place of the plant to another.

Edges come from the plant's one graph. An edge is free, costs acts (a valve turned, a pump started
by hand) or is shut for good; the search returns the cheapest way and the acts on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Literal, NamedTuple

from byrewright.plant.graph import Edge, Graph, Node
from byrewright.plant.machine import Service
from byrewright.plant.plant import Plant

Verb = Literal[
    "set",
    "move",
    "start",
    "run",
    "close",
    "cap",
    "isolate",
    "transfer",
    "lift",
    "slow",
    "fixed",
    "stand",
    "shed",
    "reset",
    "clamp",
]
_SAY: Mapping[Verb, str] = {
    "set": "set {m} {to}",
    "move": "move {m} by hand, {to}",
    "start": "start {m}",
    "run": "run {m} by hand",
    "close": "close {m}",
    "cap": "put a blank cap behind {m}, which does not shut",
    "isolate": "isolate the burst section of {m}",
    "transfer": "start {m} and transfer the load to it",
    "lift": "lift the failed unit of {m} out",
    "slow": "attach more slowly, fewer units at a time",
    "fixed": "shut {m} off and run the pumps at a fixed speed",
    "shed": "switch {to} off: {m} is overloaded",
    "reset": "{m} has tripped: switch {to} off and close its breaker again",
    "clamp": "stop the deck, lock it off and clamp a plate over the lifted joint of {m}",
    "stand": "let {m} stand full: its trap shuts and the milk takes the other way",
}


_ACT = 1000  # an act weighs more than any length of way
_FAR = 1 << 60


class OperatorAction(NamedTuple):
    """One thing people do."""

    verb: Verb
    machine: str = ""
    to: str = ""

    @property
    def text(self) -> str:
        """As a sentence without its full stop."""
        return _SAY[self.verb].format(m=self.machine, to=self.to.replace("_", " "))


OperatorActions = tuple[OperatorAction, ...]
"""What people do, in order; none when the plant does it by itself."""
_SAID: Mapping[Verb, tuple[str, ...]] = {
    "transfer": ("start the generator", "without one connect the tractor's generator at its inlet"),
    "run": ("run by hand", "run the pump by hand"),
    "move": ("move it by hand",),
}
"""What a kind has people do of its failure, and an act says of this plant by name."""


def left_to_do(do: str, machine: str, acts: Iterable[OperatorAction]) -> str:
    """What a machine's kind has people do of its failure and no act says already.

    >>> acts = (OperatorAction("transfer", "GE1"), OperatorAction("move", "V1", "to_b"))
    >>> left_to_do("start the generator; switch loads on", "EM1", acts)
    'switch loads on'
    >>> left_to_do("move it by hand", "V1", acts), left_to_do("move it by hand", "V2", acts)
    ('', 'move it by hand')
    """
    said = [s for a in acts for s in _SAID.get(a.verb, ())
            if a.verb != "move" or a.machine == machine]  # fmt: skip
    return "; ".join(step for step in do.split("; ") if step not in said)


@dataclass(frozen=True, slots=True)
class Found:
    """A way: the acts it needs, its edges in order of flow, and where it ends."""

    acts: OperatorActions
    edges: tuple[Edge, ...]
    end: Node

    @property
    def machines(self) -> tuple[str, ...]:
        """The machines it passes."""
        return tuple(dict.fromkeys(j.machine for j in self.edges if j.machine))


Cost = Callable[[Edge, bool], OperatorActions | None]
"""The acts that open an edge of a machine in a direction (along it when true); None when it stays
shut. A pipe is open."""


@dataclass(frozen=True, slots=True)
class Propagation:
    """The cheapest ways from some starts: places in order of their price, and how each was come
    to."""

    nodes: list[Node]
    at: Mapping[Node, int]
    prices: Mapping[int, int]
    came: Mapping[int, tuple[int, Edge, OperatorActions] | None]
    back: bool

    def first(self, ends: Callable[[Node], bool]) -> Found | None:
        """The way to the nearest of some ends."""
        end = next((here for here in self.prices if ends(self.nodes[here])), None)
        return None if end is None else self._found(end)

    def to(self, end: Node) -> Found | None:
        """The way to one place."""
        here = self.at.get(end)
        return None if here is None or here not in self.prices else self._found(here)

    @property
    def free(self) -> set[Node]:
        """Every place reached with no act."""
        return {self.nodes[here] for here, price in self.prices.items() if price < _ACT}

    def _found(self, end: int) -> Found:
        edges: list[Edge] = []
        acts: list[OperatorActions] = []
        here = end
        while (step := self.came[here]) is not None:
            here = step[0]
            edges.append(step[1])
            acts.append(step[2])
        if not self.back:
            edges.reverse()
            acts.reverse()
        each = tuple(dict.fromkeys(a for some in acts for a in some))
        return Found(each, tuple(edges), self.nodes[here if self.back else end])


class Net:
    """The part of the graph that carries some services, as lists ready to be searched."""

    def __init__(self, plant: Plant, services: Iterable[Service], graph: Graph) -> None:
        self.plant = plant
        wanted = frozenset(services)
        piped: set[Node] = set()
        self.near: dict[Node, list[tuple[Node, Edge, bool]]] = {}
        for edge in graph.edges:
            if edge.pipe is not None and edge.service in wanted:
                piped |= {edge.a, edge.b}
                self._join(edge)
        for edge in graph.edges:
            if edge.pipe is None and all(n.port == "*" or n in piped for n in (edge.a, edge.b)):
                self._join(edge)
        self.machines = frozenset(n.machine for n in self.near)
        inside = {j.id: j for n in self.near for _, j, _ in self.near[n] if j.how is not None}
        self.acting = tuple(
            j for j in inside.values() if j.how is not None and j.how.how in ("gate", "driven")
        )
        self._nodes = list(self.near)
        self._at = {n: i for i, n in enumerate(self._nodes)}
        # Onward with the flow and against it: (to, edge, with the edge's own direction).
        self._ways: tuple[list[list[tuple[int, Edge, bool]]], ...] = tuple(
            [
                [(self._at[there], edge, along != back)
                 for there, edge, along in self.near[n] if self.may_pass(edge, along != back)]
                for n in self._nodes
            ]
            for back in (False, True)
        )  # fmt: skip

    def _join(self, edge: Edge) -> None:
        self.near.setdefault(edge.a, []).append((edge.b, edge, True))
        self.near.setdefault(edge.b, []).append((edge.a, edge, False))

    def may_pass(self, edge: Edge, along: bool) -> bool:
        """Whether anything can ever pass an edge in a direction."""
        how = edge.how
        if how is None or along:
            return True
        if how.how in ("check", "driven"):
            return False
        if "*" in (how.a, how.b):
            name = how.b if how.a == "*" else how.a
            every = self.plant.equipment[edge.machine or ""].ports()
            return any(p.name == name and p.direction == "both" for p in every)
        return True

    def search(
        self,
        starts: Iterable[Node],
        ends: Callable[[Node], bool],
        cost: Cost,
        *,
        back: bool = False,
    ) -> Found | None:
        """The way of fewest acts from a start to the first end (`back`: against the flow)."""
        return self.propagate(starts, cost, back=back, until=ends).first(ends)

    def propagate(
        self,
        starts: Iterable[Node],
        cost: Cost,
        *,
        back: bool = False,
        until: Callable[[Node], bool] | None = None,
    ) -> Propagation:
        """The ways of fewest acts from the starts to every place, or until an end is reached."""
        ways, nodes = self._ways[back], self._nodes
        best: dict[int, int] = {}
        came: dict[int, tuple[int, Edge, OperatorActions] | None] = {}
        heap: list[tuple[int, int, int]] = []
        for start in starts:
            at = self._at.get(start)
            if at is not None:
                best[at] = 0
                came[at] = None
                heap.append((0, len(heap), at))
        number = len(heap)
        order: dict[int, int] = {}
        while heap:
            price, _, here = heappop(heap)
            if price > best[here]:
                continue
            order[here] = price
            if until is not None and until(nodes[here]):
                break
            for there, edge, along in ways[here]:
                old = best.get(there, _FAR)
                if old <= price + 1:
                    continue
                acts = cost(edge, along) if edge.machine is not None else ()
                if acts is None:
                    continue
                new = price + _ACT * len(acts) + 1
                if new < old:
                    best[there] = new
                    came[there] = (here, edge, acts)
                    number += 1
                    heappush(heap, (new, number, there))
        return Propagation(nodes, self._at, order, came, back)

    def reach(self, starts: Iterable[Node], cost: Cost) -> set[Node]:
        """Every place reached with no act."""
        queue = [self._at[n] for n in starts if n in self._at]
        seen = set(queue)
        while queue:
            for there, edge, along in self._ways[0][queue.pop()]:
                if there not in seen and (edge.machine is None or cost(edge, along) == ()):
                    seen.add(there)
                    queue.append(there)
        return {self._nodes[i] for i in seen}
