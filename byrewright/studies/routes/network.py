"""The plant as routes read it: nodes, and arcs with the positions in which something passes.

Built from the one graph of the plant (`byrewright.plant.graph`); nothing here reads the file a
second way. The propagation model is stated in words in `docs/methods/routes.md`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from byrewright.plant.graph import Edge, Node, build, used_ports
from byrewright.plant.machine import LIQUIDS, Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CoolsMilk, FeedsCalves, GivesMilk, KeepsWithheld, LoadsTankers
from byrewright.studies.routes.propagation import Ways

HALF = "half"
RUNS, STOPPED, READY = "runs", "stopped", "ready"
MILKS = "milks"
FILLS, WASHED, EMPTIED = "fills", "is washed", "is emptied"
FULL = "full"
"""A wrong state of a vessel that takes milk: no room left."""

Positions = frozenset[str] | None
"""Positions in which an arc is open; None: in all."""


@dataclass(frozen=True, slots=True)
class Arc:
    """One direction of an edge.

    `may` are the positions of `machine` in which something could pass, `must` those in which it
    surely passes: a half-open valve is in the first and not in the second, so it counts as both.
    """

    a: int
    b: int
    machine: str | None = None
    may: Positions = None
    must: Positions = None
    how: str = "pipe"
    owner: str | None = None
    falls: bool = True

    def back(self) -> Arc:
        """The same arc the other way round."""
        return Arc(self.b, self.a, self.machine, self.may, self.must, self.how, self.owner)


@dataclass(frozen=True, slots=True)
class Network:
    """Nodes and arcs of a plant, for liquids and for gas."""

    plant: Plant
    nodes: tuple[Node, ...]
    liquid: tuple[Arc, ...]
    gas: tuple[Arc, ...]
    closed: tuple[Arc, ...]
    body: dict[str, int]
    open_ends: tuple[int, ...]
    pipe_ends: dict[str, tuple[int, int]]
    ways: dict[tuple[frozenset[int], frozenset[str]], Ways] = field(
        default_factory=dict, repr=False, compare=False
    )
    """Liquid ways, by the nodes where they end and the machines that they avoid: see `_Asker`."""

    def node(self, machine: str, port: str) -> int | None:
        """The number of a port in use, or None."""
        try:
            return self.nodes.index(Node(machine, port))
        except ValueError:
            return None

    def spouts(self, unit: str) -> tuple[int | None, int | None]:
        """The numbers of the ports where a unit's milk leaves it: sold, and withheld."""
        machine = self.plant.equipment[unit]
        if not isinstance(machine, GivesMilk):
            return None, None
        sold, withheld = machine.spouts()
        return self.node(unit, sold), self.node(unit, withheld)

    def names(self, numbers: Iterable[int]) -> list[str]:
        """Nodes as the engineer writes them."""
        return [self.nodes[n].name.removesuffix(".*") for n in numbers]


@dataclass(frozen=True, slots=True)
class Roles:
    """Which machines play which part in the routes."""

    plant: Plant

    def _ids(self, machines: Iterable[Machine]) -> tuple[str, ...]:
        return tuple(m.id for m in machines)

    @property
    def units(self) -> tuple[str, ...]:
        return self._ids(self.plant.able("gives milk"))

    @property
    def tanks(self) -> tuple[str, ...]:
        return self._ids(self.plant.able("stores milk"))

    @property
    def drains(self) -> tuple[str, ...]:
        return self._ids(self.plant.able("is a drain"))

    @property
    def troughs(self) -> tuple[str, ...]:
        return self._ids(self.plant.able("gives wash"))

    @property
    def waters(self) -> tuple[str, ...]:
        return self._ids(
            dict.fromkeys((*self.plant.able("gives water"), *self.plant.able("stores water")))
        )

    @property
    def filters(self) -> tuple[str, ...]:
        return self._ids(self.plant.able("filters milk"))

    @property
    def coolers(self) -> tuple[str, ...]:
        """Machines that milk passes through to be cooled."""
        return self._ids(self.plant.machines(CoolsMilk))

    @property
    def bays(self) -> tuple[str, ...]:
        return self._ids(self.plant.machines(LoadsTankers))

    @property
    def calves(self) -> tuple[str, ...]:
        return self._ids(self.plant.machines(FeedsCalves))

    @property
    def withheld(self) -> tuple[str, ...]:
        return self._ids(self.plant.machines(KeepsWithheld))

    @property
    def under_vacuum(self) -> tuple[str, ...]:
        """Vessels that part milk from air under vacuum: a trap towards the vacuum line."""
        return self._ids(
            m for m in self.plant.equipment.values()
            if any(w.a == "*" and w.how == "trap" for w in m.inside())
        )  # fmt: skip

    @property
    def receivers(self) -> tuple[str, ...]:
        """Vessels under vacuum that a pump must empty while milk runs in."""
        return tuple(m for m in self.under_vacuum if m not in self.withheld)

    @property
    def balance(self) -> tuple[str, ...]:
        """Open vessels that milk only passes through."""
        apart = {*self.tanks, *self.receivers, *self.calves, *self.withheld}
        return tuple(m.id for m in self.plant.able("holds milk") if m.id not in apart)


def surely(machine: Machine, positions: tuple[str, ...]) -> frozenset[str]:
    """The positions in which a gate surely passes: half open does only in a three-way valve,
    where something always passes to one side or the other."""
    ways = sum(1 for w in machine.inside() if w.how == "gate")
    return frozenset(positions) - ({HALF} if ways == 1 else frozenset())


def network(plant: Plant) -> Network:
    """Read a plant's graph into arcs."""
    return _Reader(plant).network()


class _Reader:
    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.graph = build(plant)
        self.nodes: dict[Node, int] = {n: i for i, n in enumerate(self.graph.nodes)}
        self.liquid: list[Arc] = []
        self.gas: list[Arc] = []
        self.closed: list[Arc] = []
        self.ends: list[int] = []

    @cached_property
    def used(self) -> dict[str, tuple[str, ...]]:
        return used_ports(self.plant)

    def network(self) -> Network:
        for edge in self.graph.edges:
            a, b = self.nodes[edge.a], self.nodes[edge.b]
            if edge.what == "pipe":
                self._pipe(edge, a, b)
            else:
                self._inside(edge, a, b)
        self._open_ends()
        body = {n.machine: i for n, i in self.nodes.items() if n.port == "*"}
        pipe_ends = {
            j.id: (self.nodes[j.a], self.nodes[j.b]) for j in self.graph.edges if j.what == "pipe"
        }
        return Network(
            self.plant, tuple(self.nodes), tuple(self.liquid), tuple(self.gas),
            tuple(self.closed), body, tuple(self.ends), pipe_ends,
        )  # fmt: skip

    def _pipe(self, edge: Edge, a: int, b: int) -> None:
        pipe, service = edge.pipe, edge.service
        rise = pipe.climb_m if pipe is not None else 0.0
        if service in LIQUIDS or service is None:
            self.liquid.append(Arc(a, b, falls=rise <= 0))
            self.liquid.append(Arc(b, a, falls=rise >= 0))
        if service not in ("coolant", "refrigerant"):
            self.gas += [Arc(a, b), Arc(b, a)]

    def _inside(self, edge: Edge, a: int, b: int) -> None:
        how, machine_id = edge.how, edge.machine
        assert how is not None and machine_id is not None
        machine = self.plant.equipment[machine_id]
        forward, backward = self._directions(machine, edge)
        if how.how == "trap":
            self.gas += [Arc(a, b, how="trap"), Arc(b, a, how="trap")]
        elif how.how == "check":
            self.liquid.append(Arc(a, b, how="check", owner=machine_id))
            self.gas.append(Arc(a, b, how="check"))
            self.closed.append(Arc(b, a, how="check", owner=machine_id))
        elif how.how == "driven":
            self._driven(machine_id, machine, a, b, how.free)
        else:
            gate = how.how == "gate"
            may = frozenset(how.positions) if gate else None
            must = surely(machine, how.positions) if gate else None
            guard = machine_id if gate else None
            arc = Arc(a, b, guard, may, must, how.how, machine_id)
            if forward:
                self.liquid.append(arc)
            if backward:
                self.liquid.append(arc.back())
            self.gas += [arc, arc.back()]
            if gate and machine.can("is a valve"):
                self.closed += [arc, arc.back()]

    def _directions(self, machine: Machine, edge: Edge) -> tuple[bool, bool]:
        """Liquid enters a vessel by its inlets and leaves it by its outlets, never the reverse."""
        for node, towards_body in ((edge.a, edge.b.port == "*"), (edge.b, edge.a.port == "*")):
            if not towards_body:
                continue
            port = machine.port(node.port)
            direction = port.direction if port is not None else "both"
            into, out = direction in ("in", "both"), direction in ("out", "both")
            return (into, out) if node is edge.a else (out, into)
        return True, True

    def _driven(self, machine_id: str, machine: Machine, a: int, b: int, free: bool) -> None:
        push = frozenset({RUNS, READY})
        idle = frozenset({STOPPED, READY})
        port = machine.port(self.graph_port(b))
        if port is None or not port.services & LIQUIDS:
            return
        may = frozenset({RUNS, READY, STOPPED}) if free else push
        self.liquid.append(Arc(a, b, machine_id, may, may, "driven", machine_id))
        if free:
            self.liquid.append(Arc(b, a, machine_id, idle, idle, "driven", machine_id))
            self.gas += [
                Arc(a, b, machine_id, idle, idle, "driven"),
                Arc(b, a, machine_id, idle, idle, "driven"),
            ]

    def graph_port(self, number: int) -> str:
        """The port name of a node."""
        return self.graph.nodes[number].port

    def _open_ends(self) -> None:
        """A valve's port without a pipe is an open end over the floor."""
        for machine in self.plant.able("is a valve"):
            used = self.used[machine.id]
            if not used:
                continue
            for way in machine.inside():
                free = [p for p in (way.a, way.b) if p not in used]
                if len(free) != 1:
                    continue
                inner = way.b if free[0] == way.a else way.a
                a = self.nodes.setdefault(Node(machine.id, inner), len(self.nodes))
                b = self.nodes.setdefault(Node(machine.id, free[0]), len(self.nodes))
                may, must = frozenset(way.positions), surely(machine, way.positions)
                arc = Arc(a, b, machine.id, may, must, "gate", machine.id)
                self.liquid.append(arc)
                self.gas.append(arc.back())
                if b not in self.ends:
                    self.ends.append(b)
