"""The way air takes from one machine to another, pipe by pipe, for sizing bores.

The shortest way only: loops that share a flow are left to the vacuum study.
"""

from __future__ import annotations

from collections import deque

from byrewright.plant.graph import Edge, Node, build
from byrewright.plant.plant import Plant


class Ways:
    """Ways through a plant's vacuum pipes."""

    def __init__(self, plant: Plant) -> None:
        graph = build(plant)
        self._out: dict[Node, list[tuple[Edge, Node]]] = {n: [] for n in graph.nodes}
        self._nodes: dict[str, list[Node]] = {}
        for one in graph.nodes:
            self._nodes.setdefault(one.machine, []).append(one)
        for edge in graph.edges:
            if edge.pipe is not None and "vacuum" not in plant.services_open_to(edge.pipe):
                continue
            if edge.service in (None, "vacuum") and (edge.how is None or edge.how.how != "driven"):
                self._out[edge.a].append((edge, edge.b))
                self._out[edge.b].append((edge, edge.a))

    def between(self, start: str, goal: str) -> tuple[Edge, ...]:
        """The edges passed from one machine to another; empty when they are not joined."""
        queue: deque[Node] = deque(self._nodes.get(start, []))
        came: dict[Node, tuple[Edge, Node] | None] = dict.fromkeys(queue)
        while queue:
            here = queue.popleft()
            if here.machine == goal:
                return self._back(here, came)
            for edge, there in self._out[here]:
                if there not in came and (there.machine != start):
                    came[there] = (edge, here)
                    queue.append(there)
        return ()

    @staticmethod
    def _back(here: Node, came: dict[Node, tuple[Edge, Node] | None]) -> tuple[Edge, ...]:
        found: list[Edge] = []
        step = came[here]
        while step is not None:
            found.append(step[0])
            step = came[step[1]]
        return tuple(reversed(found))
