"""The way a fluid takes from one machine to another, pipe by pipe, for sizing bores.

The shortest way only: loops that share a flow are left to the vacuum and day studies.
"""

from __future__ import annotations

from collections import deque

from byrewright.plant.graph import Edge, Graph, Node, build
from byrewright.plant.machine import Service
from byrewright.plant.plant import WAYS, Plant


def _both_ways(joint: Edge) -> bool:
    """Whether a way inside a machine lets the fluid pass either way (a header, an open valve)."""
    return joint.how is not None and joint.how.how in ("pass", "gate")


def ways_of(plant: Plant, service: Service, *, directed: bool) -> Ways:
    """The ways of one service through a plant, made once for each plant."""
    kept: dict[tuple[str, bool], Ways] = plant.__dict__.setdefault(WAYS, {})
    found = kept.get((service, directed))
    if found is None:
        found = kept[service, directed] = Ways(plant, service, directed=directed)
    return found


class Ways:
    """Ways through a plant's pipes of one service."""

    def __init__(self, plant: Plant, service: Service, *, directed: bool) -> None:
        self.plant = plant
        self.directed = directed
        graph = build(plant)
        self._out: dict[Node, list[tuple[Edge, Node]]] = {n: [] for n in graph.nodes}
        self._nodes: dict[str, list[Node]] = {}
        for one in graph.nodes:
            self._nodes.setdefault(one.machine, []).append(one)
        self._fill(graph, service)

    def _fill(self, graph: Graph, service: Service) -> None:
        for joint in graph.joints:
            if joint.pipe is not None and service not in self.plant.services_open_to(joint.pipe):
                continue
            if joint.service is not None and joint.service != service:
                continue
            if joint.how is not None and joint.how.how == "mover" and not self.directed:
                continue
            self._out[joint.a].append((joint, joint.b))
            if not self.directed or _both_ways(joint):
                self._out[joint.b].append((joint, joint.a))

    def between(self, start: str, goal: str) -> tuple[Edge, ...]:
        """The joints passed from one machine to another; empty when they are not joined."""
        queue: deque[Node] = deque(self._nodes.get(start, []))
        came: dict[Node, tuple[Edge, Node] | None] = dict.fromkeys(queue)
        while queue:
            here = queue.popleft()
            if here.machine == goal:
                return self._back(here, came)
            for joint, there in self._out[here]:
                if there not in came and (there.machine != start):
                    came[there] = (joint, here)
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
