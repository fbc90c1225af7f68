"""The graph of a plant's liquids: which edges are open in a state, and what hangs together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heappop, heappush

from byrewright.engine.circuits import coolant_of
from byrewright.engine.liquidlaws import Fluid, Laws, fluids
from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.plant.graph import Edge, Node, build
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import HoldsVacuum, Loss, MakesVacuum, Pump, Units, Vessel
from byrewright.standards.rulebook import Rulebook

GASES = frozenset({"vacuum", "air", "refrigerant", "power", "signal"})

SHUT = "shut"
"""A position that shuts any machine, whatever its kind: it is blocked or stuck shut."""


@dataclass(frozen=True)
class Situation:
    """A state of the plant: positions by machine, and the few things that are not positions.

    at: position or state of every machine. speed: share of full speed of pumps that run.
    forced_l_min: pumps that give this flow whatever the head. drawn_l_min: flow taken out at a
    node. dirt: of filters, 0 clean to 1 due. level_l: content of vessels. does: what the mode does.
    capped: ports that let nothing pass, as a float valve that has shut.
    """

    at: Mapping[str, str | None]
    does: frozenset[str] = frozenset()
    speed: Mapping[str, float] = field(default_factory=dict)
    forced_l_min: Mapping[str, float] = field(default_factory=dict)
    drawn_l_min: Mapping[Node, float] = field(default_factory=dict)
    dirt: Mapping[str, float] = field(default_factory=dict)
    level_l: Mapping[str, float] = field(default_factory=dict)
    capped: frozenset[Node] = frozenset()


@dataclass
class Flows:
    """What flows: L/min along each edge from its a to its b; heads m, heights m and fluid by node.

    `shut` are pumps that run against a closed line or draw from one.
    """

    l_min: dict[str, float] = field(default_factory=dict)
    head_m: dict[Node, float] = field(default_factory=dict)
    height_m: dict[Node, float] = field(default_factory=dict)
    fluid: dict[Node, Fluid] = field(default_factory=dict)
    shut: list[str] = field(default_factory=list)
    uneven: list[str] = field(default_factory=list)
    steps: int = 0

    def kpa(self, node: Node) -> float:
        """Pressure at a node, kPa above ambient."""
        return self.fluid[node].kpa(self.head_m[node] - self.height_m[node])


def gates_on(passed: Iterable[Edge]) -> dict[str, str]:
    """The gates among some edges, each as it must stand to let pass."""
    return {
        j.machine or "": j.how.positions[0]
        for j in passed
        if j.how is not None and j.how.how == "gate"
    }


class LiquidGraph:
    """What a plant's machines and pipes are in the liquid network, and its states."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.plant = plant
        self.rules = rules
        chilled = coolant_of(plant, rules)
        self.laws = Laws(rules, chilled)
        self.fluids = fluids(rules, chilled)
        self.pumps: dict[str, Pump] = {}
        self.vessels: dict[str, Vessel] = {}
        self.losses: dict[tuple[str, str, str], Loss] = {}
        self.many: dict[Node, int] = {}
        self.makes_vacuum: list[str] = []
        self.set_kpa = rules.number("vacuum.nominal_kpa")
        for tag in sorted(plant.equipment):
            self._declared(tag)
        graph = build(plant)
        self.edges = [
            j for j in sorted(graph.edges, key=lambda j: j.id)
            if (j.pipe is None or j.service not in GASES) and (j.how is None or j.how.how != "trap")
        ]  # fmt: skip
        self.by_id = {j.id: j for j in self.edges}
        for j in self.edges:
            if j.pipe is not None:
                many = max(self.many.get(j.a, 1), self.many.get(j.b, 1))
                for node in (j.a, j.b):
                    self.many[node] = max(many, self.many.get(node, 1))
        self.bore_mm = self.bores()
        self.socks = tuple(sorted({tag for (tag, _, _), loss in self.losses.items() if loss.sock}))
        self.gated = tuple(sorted({
            j.machine for j in self.edges
            if j.machine is not None and j.how is not None and j.how.how != "pass"
        } | set(self.makes_vacuum)))  # fmt: skip
        self.valves = frozenset(
            j.machine for j in self.edges
            if j.machine is not None and j.how is not None and j.how.how == "gate"
        )  # fmt: skip
        self._ports: dict[tuple[str, str], Node] = {}
        self._ways: dict[str, dict[Node, tuple[Edge, ...]]] = {}
        self._positions: dict[str, dict[str, str | None]] = {}
        self.kept: dict[object, dict[object, object]] = {}
        """Answers to states, kept by who asks; two threads at worst work one out twice."""
        self.ambient_kpa = ambient_pressure_kpa_abs(plant.site.altitude_m)

    def bores(self) -> dict[Node, float]:
        """The narrowest pipe at each node, mm."""
        found: dict[Node, float] = {}
        for j in self.edges:
            if j.pipe is not None:
                for node in (j.a, j.b):
                    found[node] = min(found.get(node, 1e9), j.pipe.bore_mm)
        return found

    def _declared(self, tag: str) -> None:
        held = False
        for one in self.plant.equipment[tag].lower():
            if isinstance(one, Pump):
                self.pumps[tag] = one
            elif isinstance(one, Vessel):
                self.vessels[tag] = one
            elif isinstance(one, Loss):
                self.losses[tag, one.a, one.b] = one
            elif isinstance(one, MakesVacuum):
                self.makes_vacuum.append(tag)
            elif isinstance(one, Units):
                # Each unit has its own tube to the line.
                self.many |= {Node(tag, p): one.count for p in (one.milk, one.withheld)}
            elif isinstance(one, HoldsVacuum) and not held:
                self.set_kpa, held = one.set_kpa, True

    def situation(self, mode: str, wrong: Mapping[str, str] | None = None,
                  **more: object) -> Situation:  # fmt: skip
        """The state that a mode gives, with some positions that differ."""
        if mode not in self._positions:
            self._positions[mode] = {
                tag: self.plant.position(mode, tag) for tag in self.plant.equipment
            }
        at = self._positions[mode] | dict(wrong or {})
        does = frozenset(self.plant.modes[mode].does)
        return Situation(at, does, **more)  # type: ignore[arg-type]

    def every_way(self, other: Mapping[str, str] | None = None) -> Situation:
        """Every gate lets pass and every pump runs, but what is told otherwise."""
        at = {
            tag: next((w.positions[0] for w in m.inside() if w.how == "gate"),
                      "runs" if tag in self.pumps else m.usual())
            for tag, m in self.plant.equipment.items()
        }  # fmt: skip
        return Situation(at | dict(other or {}))

    # Which edges carry liquid in a state.

    def runs(self, s: Situation, tag: str) -> bool:
        """Whether a machine runs in a situation."""
        return s.at.get(tag) == "runs" or (s.speed.get(tag, 0.0) > 0 and s.at.get(tag) != SHUT)

    def is_open(self, edge: Edge, s: Situation) -> bool:
        """Whether liquid may pass an edge in a situation."""
        if edge.how is None or edge.machine is None:
            return True
        if s.capped and (edge.a in s.capped or edge.b in s.capped):
            return False
        at = s.at.get(edge.machine)
        if at == SHUT:
            return False
        if edge.how.how == "gate":
            return at in edge.how.positions
        if edge.how.how == "driven":
            if edge.machine in s.forced_l_min:
                return False
            return self.runs(s, edge.machine) or edge.how.free
        return True

    def body(self, node: Node) -> bool:
        """Whether a node is the content of a vessel."""
        return node.port == "*" and node.machine in self.vessels

    @cached_property
    def ends(self) -> dict[str, tuple[Node, Node]]:
        """Ends of each edge; a vessel's body is an end of its own for each of its ports."""
        found = {}
        for j in self.edges:
            a, b = j.a, j.b
            if self.body(a):
                a = Node(a.machine, f"*{j.id}")
            if self.body(b):
                b = Node(b.machine, f"*{j.id}")
            found[j.id] = (a, b)
        return found

    def held(self, node: Node) -> bool:
        """Whether a node is a vessel's content as it stands at one of its ports."""
        return node.port.startswith("*") and node.port != "*"

    def ring(self, start: Node) -> tuple[str, ...]:
        """Machines joined with a node by pipes of its own service, whatever stands open."""
        at: dict[Node, list[Edge]] = {}
        service = {j.service for j in self.edges if j.pipe is not None and start in (j.a, j.b)}
        for j in self.edges:
            if (j.pipe is None and not self.body(j.a) and not self.body(j.b)) or (
                j.service in service and j.pipe is not None
            ):
                for node in (j.a, j.b):
                    at.setdefault(node, []).append(j)
        nodes = {start}
        todo = [start]
        while todo:
            for j in at.get(todo.pop(), ()):
                for node in {j.a, j.b} - nodes:
                    nodes.add(node)
                    todo.append(node)
        return tuple(sorted({n.machine for n in nodes}))

    def joined(self, s: Situation, start: Node) -> tuple[str, ...]:
        """Other vessels on the open lines behind a node, without passing a pump."""
        seen, todo = {start}, [start]
        while todo:
            here = todo.pop()
            for j in self._near.get(here, ()):
                moves = j.how is not None and j.how.how == "driven"
                if not moves and self.is_open(j, s):
                    fresh = set(self.ends[j.id]) - seen
                    seen |= fresh
                    todo += fresh
        found = {n.machine for n in seen if self.held(n)} - {start.machine}
        return tuple(sorted(found))

    def ways_from(self, s: Situation | None, *starts: Node) -> dict[Node, tuple[Edge, ...]]:
        """Edges passed to every node that liquid may reach, nearest first, vessels last on a way.

        Of several ways that with the fewest gates to move from a state, or of edges where none is
        given. Pumps and non-return valves are passed their own way only.
        """
        heap: list[tuple[int, int, int, Node, tuple[Edge, ...]]] = [
            (0, 0, i, start, ()) for i, start in enumerate(starts)
        ]
        found: dict[Node, tuple[Edge, ...]] = {}
        count = len(starts)
        while heap:
            cost, steps, _, here, passed = heappop(heap)
            if here in found:
                continue
            found[here] = passed
            if self.held(here) and passed:
                continue
            for j in self._near.get(here, ()):
                a, b = self.ends[j.id]
                one_way = j.how is not None and j.how.how in ("driven", "check")
                there = b if here == a else a
                if (here == b and one_way) or (self.held(there) and not self._lets_in(j)):
                    continue
                gate = (s is not None and j.how is not None and j.how.how == "gate"
                        and not self.is_open(j, s))  # fmt: skip
                count += 1
                heappush(heap, (cost + gate, steps + 1, count, there, (*passed, j)))
        return found

    def fewest(self, s: Situation, start: Node) -> dict[str, dict[str, str]]:
        """Vessels that may be reached from a node, each with all gates on the way, as they must
        stand; of several ways that with the fewest to move."""
        found: dict[str, dict[str, str]] = {}
        for node, passed in self.ways_from(s, start).items():
            if self.held(node):
                found.setdefault(node.machine, gates_on(passed))
        return found

    def way(self, start: str, goal: str) -> tuple[Edge, ...]:
        """The edges passed from one machine to another by the shortest way that valves could open;
        empty where no liquid gets there."""
        if start not in self._ways:
            nodes = {n for of in self.ends.values() for n in of if n.machine == start}
            if start in self.pumps:
                nodes &= {self.port(start, self.pumps[start].outlet)}
            elif start in self.vessels:
                nodes = {n for n in nodes if self.held(n)}
            self._ways[start] = self.ways_from(None, *sorted(nodes, key=lambda n: n.name))
        return next((j for n, j in self._ways[start].items() if n.machine == goal), ())

    def _lets_in(self, edge: Edge) -> bool:
        """Whether a vessel's way takes liquid in."""
        own = edge.b if self.body(edge.a) else edge.a
        port = self.plant.equipment[own.machine].port(own.port)
        return port is None or port.direction in ("in", "both")

    def gives(self, node: Node) -> bool:
        """Whether a machine's port lets liquid out."""
        port = self.plant.equipment[node.machine].port(node.port)
        return port is not None and port.direction != "in"

    def lets_both(self, node: Node) -> bool:
        """Whether a machine's port lets liquid in and out."""
        port = self.plant.equipment[node.machine].port(node.port)
        return port is not None and port.direction == "both"

    def _both(self, edge: Edge) -> bool:
        """Whether a vessel's port lets liquid in and out."""
        assert edge.how is not None
        name = edge.how.b if edge.how.a == "*" else edge.how.a
        return self.lets_both(Node(edge.machine or "", name))

    def ports(self, tag: str, declared: str) -> tuple[Node, ...]:
        """The nodes in use of a port or of a family of ports, by name."""
        every = {n for j in self.edges for n in (j.a, j.b) if self._is_port(n, tag, declared)}
        return tuple(sorted(every, key=lambda n: n.name))

    def touched(self, s: Situation, starts: Iterable[Node]) -> frozenset[str]:
        """Machines that what stands open from some nodes comes to: no other has a say there."""
        todo = list(dict.fromkeys(starts))
        seen = set(todo)
        while todo:
            for j in self._near.get(todo.pop(), ()):
                if self.is_open(j, s):
                    for node in self.ends[j.id]:
                        if node not in seen:
                            seen.add(node)
                            todo.append(node)
        return frozenset(n.machine for n in seen)

    @cached_property
    def _near(self) -> dict[Node, list[Edge]]:
        near: dict[Node, list[Edge]] = {}
        for j in self.edges:
            for node in self.ends[j.id]:
                near.setdefault(node, []).append(j)
        return near

    def port(self, tag: str, declared: str) -> Node:
        """The node of a machine's port, as it is in use."""
        key = (tag, declared)
        if key not in self._ports:
            self._ports[key] = next(
                (n for j in self.edges for n in (j.a, j.b) if self._is_port(n, tag, declared)),
                Node(tag, declared),
            )
        return self._ports[key]

    def _is_port(self, node: Node, tag: str, declared: str) -> bool:
        port = self.plant.equipment[tag].port(node.port) if node.machine == tag else None
        return port is not None and port.name == declared
