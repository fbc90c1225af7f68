"""One graph of the plant: ports are nodes; pipes and the ways through machines are edges.

Routes read which edges are open, the vacuum network reads bores and lengths, drawings read ids.
Pure Python, no graph library, so that loading a plant stays quick.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, NamedTuple

from byrewright.plant.machine import InternalPath, Machine, Service
from byrewright.plant.plant import GRAPH, Pipe, Plant


class Node(NamedTuple):
    """A port of a machine, or a vessel's body (port `*`)."""

    machine: str
    port: str

    @property
    def name(self) -> str:
        return f"{self.machine}.{self.port}"


@dataclass(frozen=True, slots=True)
class Edge:
    """A way between two nodes: a pipe, or a way inside a machine."""

    id: str
    a: Node
    b: Node
    what: Literal["pipe", "inside"]
    machine: str | None
    how: InternalPath | None
    pipe: Pipe | None
    service: Service | None


@dataclass(frozen=True, slots=True)
class Graph:
    """Nodes and edges of a plant, in file order."""

    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]

    def at(self) -> dict[Node, tuple[Edge, ...]]:
        """The edges that meet each node."""
        found: dict[Node, list[Edge]] = {n: [] for n in self.nodes}
        for edge in self.edges:
            found[edge.a].append(edge)
            found[edge.b].append(edge)
        return {n: tuple(j) for n, j in found.items()}


def node(text: str) -> Node:
    """The node written as `machine.port`."""
    machine, _, name = text.partition(".")
    return Node(machine, name)


def used_ports(plant: Plant) -> dict[str, tuple[str, ...]]:
    """The port names in use on each machine, in file order."""
    used: dict[str, dict[str, None]] = {m: {} for m in plant.equipment}
    for pipe in plant.pipes:
        for end in (pipe.start, pipe.end):
            machine, _, name = end.partition(".")
            if machine in used:
                used[machine][name] = None
    return {m: tuple(names) for m, names in used.items()}


def _ways(machine: Machine, used: tuple[str, ...]) -> list[tuple[str, str, InternalPath]]:
    """The ways through a machine between ports in use (families spread out)."""
    means: dict[str, list[str]] = {"*": ["*"]}
    for name in used:
        port = machine.port(name)
        if port is not None:
            means.setdefault(port.name, []).append(name)
    return [
        (a, b, way)
        for way in machine.inside() for a in means.get(way.a, ()) for b in means.get(way.b, ())
    ]  # fmt: skip


def build(plant: Plant) -> Graph:
    """The graph of a checked plant, made once for each plant."""
    known: Graph | None = plant.__dict__.get(GRAPH)
    if known is None:
        known = plant.__dict__[GRAPH] = _build(plant)
    return known


def _build(plant: Plant) -> Graph:
    used = used_ports(plant)
    nodes: dict[Node, None] = {}
    edges: list[Edge] = []
    for machine_id, machine in plant.equipment.items():
        for name in used[machine_id]:
            nodes[Node(machine_id, name)] = None
        for a, b, way in _ways(machine, used[machine_id]):
            start, end = Node(machine_id, a), Node(machine_id, b)
            nodes[start] = nodes[end] = None
            edges.append(
                Edge(f"{machine_id}:{a}-{b}", start, end, "inside", machine_id, way, None, None)
            )
    for pipe in plant.pipes:
        start, end = node(pipe.start), node(pipe.end)
        nodes[start] = nodes[end] = None
        edges.append(Edge(pipe.id, start, end, "pipe", None, None, pipe, plant.service_of(pipe)))
    return Graph(tuple(nodes), tuple(edges))


def is_open(plant: Plant, edge: Edge, mode: str, wrong: dict[str, str] | None = None) -> bool:
    """Whether liquid may pass an edge in a mode; `wrong` gives positions unlike the mode's."""
    if edge.how is None or edge.machine is None:
        return True
    position = (wrong or {}).get(edge.machine) or plant.position(mode, edge.machine)
    if edge.how.how == "gate":
        return position in edge.how.positions
    if edge.how.how == "driven":
        return edge.how.free or position == "runs"
    return True


def reached(
    plant: Plant,
    graph: Graph,
    starts: Collection[str | Node],
    mode: str,
    services: Collection[str],
    *,
    against: bool = False,
    past: Collection[str] = (),
) -> frozenset[str]:
    """Machines that a fluid reaches in a mode from the machines or nodes `starts`, themselves
    included; through the machines `past` it does not go.

    Pipes of the services are followed both ways, gates where the mode has them open, pumps and
    one-way fittings in their own sense only (`against`: against it, from a pump back to what it
    draws from). A pump that stands ready for the mode counts as one that runs.
    """
    at = graph.at()
    front = [n for n in graph.nodes if n.machine in starts or n in starts]
    seen = set(front)
    while front:
        here = front.pop()
        for edge in at[here]:
            if edge.machine in past:
                continue
            forward = here == edge.a
            other = edge.b if forward else edge.a
            if other not in seen and _passes(plant, edge, mode, services, forward is not against):
                seen.add(other)
                front.append(other)
    return frozenset(n.machine for n in seen)


def _passes(plant: Plant, edge: Edge, mode: str, services: Collection[str], along: bool) -> bool:
    if edge.how is None or edge.machine is None:
        if edge.service is None and edge.pipe is not None:  # between ports that take several
            return not plant.services_open_to(edge.pipe).isdisjoint(services)
        return edge.service in services
    if edge.how.how in ("driven", "check") and not along:
        return False
    if edge.how.how == "driven":
        return plant.position(mode, edge.machine) in ("runs", "ready")
    return is_open(plant, edge, mode)
