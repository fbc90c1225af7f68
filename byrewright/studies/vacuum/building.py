"""Reading the air network from the plant's one graph.

Every port that air passes becomes a node, every pipe and way inside a machine a segment. The
milkline and the pulsator line are cut into pieces, with the units spread along them.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from byrewright.physics.air import ambient_pressure_kpa_abs, equivalent_length_m
from byrewright.physics.airflow import displacement_l_min, gas_space_bore_mm, pipe_volume_l
from byrewright.plant.graph import Edge, Graph, Node, build
from byrewright.plant.machine import Machine
from byrewright.plant.plant import M, Pipe, Plant
from byrewright.plant.roles import (
    CollectsMilk,
    FeedsPulsators,
    GivesMilk,
    IsValve,
    JoinsPipes,
    PassesOneWay,
    Pulsates,
    PumpsVacuum,
    ReceivesMilk,
    RegulatesVacuum,
    Senses,
    SharesVacuum,
    TrapsLiquid,
)
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.airlines import loss_kind
from byrewright.studies.vacuum.network import Network, NoNetwork, PipeSegment, PumpPlace

PIECES_LOOPED, PIECES_STRAIGHT = 12, 10
"""Pieces of a line round or along the stalls; twice as many move a drop by under 0.01 kPa."""
RECEIVER_AIR_SHARE = 0.5  # half a receiver's volume is taken as air


def network_of(
    plant: Plant, rules: Rulebook, fill: float = 0.35, edges: tuple[Edge, ...] | None = None
) -> Network:
    """Read the air network of a plant. `fill` is the depth of milk in the milkline, over its bore.

    `edges` are those air passes, where they are known already (a plant changed in bores only).

    Raises:
        NoNetwork: no vacuum pump, or no milking unit that a pump can reach.
    """
    return _Builder(plant, rules, fill).network(edges)


def with_bore(network: Network, bores_mm: Mapping[str, float]) -> Network:
    """The network of the same plant with the bores of some pipes or lines changed."""
    pipes = tuple(
        p.model_copy(update={"bore_mm": bores_mm[p.id]}) if p.id in bores_mm else p
        for p in network.plant.pipes
    )
    equipment = {
        k: m.model_copy(update={"bore_mm": bores_mm[k]}) if k in bores_mm else m
        for k, m in network.plant.equipment.items()
    }
    plant = network.plant.model_copy(update={"pipes": pipes, "equipment": equipment})
    plant.__dict__.pop("_pipes_at", None)  # the copy must not keep the old pipes
    new = {p.id: p for p in pipes}
    edges = tuple(replace(j, pipe=new[j.pipe.id]) if j.pipe else j for j in network.edges)
    return network_of(plant, network.rules, network.fill, edges)


@dataclass(slots=True)
class _Builder:
    plant: Plant
    rules: Rulebook
    fill: float
    names: list[str] = field(default_factory=list)
    volumes: list[float] = field(default_factory=list)
    segments: list[PipeSegment] = field(default_factory=list)
    index: dict[Node, int] = field(default_factory=dict)
    lines: dict[str, tuple[int, ...]] = field(default_factory=dict)

    def network(self, known: tuple[Edge, ...] | None) -> Network:
        pumps = [m for m in self.plant.machines(PumpsVacuum) if self.plant.pipes_at(m.id)]
        if not pumps:
            raise NoNetwork("No vacuum pump is joined to any pipe: nothing to solve.")
        starts = [Node(p.id, p.port_for("vacuum")) for p in pumps]
        edges = known or self._reached(build(self.plant), starts)
        for edge in edges:
            self._edge(edge)
        units = self._spread(GivesMilk, lambda u: u.spouts()[0], CollectsMilk)
        if not units:
            raise NoNetwork(
                "No milking unit can be reached by air from a vacuum pump: join units, milkline, "
                "receiver, trap and air line by pipes."
            )
        pulses = self._spread(Pulsates, lambda p: p.port_for("vacuum"), FeedsPulsators)
        body = self._body()
        regulators = tuple(
            (m, self.index[Node(m.id, m.port_for("vacuum"))])
            for m in self.plant.machines(RegulatesVacuum)
            if Node(m.id, m.port_for("vacuum")) in self.index
        )
        rule = self.rules.number("vacuum.nominal_kpa")
        everywhere = {m.id for m in self.plant.machines(RegulatesVacuum)}
        lost = everywhere - {m.id for m, _ in regulators}
        return Network(
            plant=self.plant,
            rules=self.rules,
            ambient_kpa_abs=ambient_pressure_kpa_abs(self.plant.site.altitude_m),
            temperature_c=sum(self.plant.site.ambient_c) / 12.0,
            nodes=tuple(self.names),
            volumes_l=tuple(self.volumes),
            segments=tuple(self.segments),
            units_at=units,
            pulses_at=pulses,
            pumps=tuple(p for m in pumps for p in self._pump_places(m)),
            regulators=regulators,
            receivers=tuple(
                self.index[Node(m.id, "*")]
                for m in self.plant.machines(ReceivesMilk)
                if Node(m.id, "*") in self.index
            ),
            body=body,
            sense=self._sense(body, regulators),
            set_vacuum_kpa=regulators[0][0].set_vacuum_kpa if regulators else rule,
            fill=self.fill,
            edges=edges,
            left_out=tuple(sorted(lost)),
        )

    # Which edges air can pass.

    def _reached(self, graph: Graph, starts: list[Node]) -> tuple[Edge, ...]:
        at = graph.at()
        seen = {n: None for n in starts if n in at}
        found: dict[str, Edge] = {}
        queue = deque(seen)
        while queue:
            here = queue.popleft()
            for edge in at[here]:
                if edge.id in found or not self._passes_air(edge):
                    continue
                found[edge.id] = edge
                other = edge.b if edge.a == here else edge.a
                if other not in seen:
                    seen[other] = None
                    queue.append(other)
        return tuple(j for j in graph.edges if j.id in found)

    def _passes_air(self, edge: Edge) -> bool:
        if edge.pipe is not None:
            ends = (edge.a, edge.b)
            if any(isinstance(self._machine(n), Pulsates | GivesMilk) for n in ends):
                return False
            free = edge.service is None and "vacuum" in self.plant.services_open_to(edge.pipe)
            if edge.service == "vacuum" or free:
                return True
            return all(self._milk_and_air(n) for n in ends)
        how = edge.how.how if edge.how else "pass"
        return how != "driven" and all(self._airy(n) for n in (edge.a, edge.b))

    def _machine(self, node: Node) -> Machine:
        return self.plant.equipment[node.machine]

    def _milk_and_air(self, node: Node) -> bool:
        """A port where milk and air pass together: between milkline and receiver."""
        machine = self._machine(node)
        port = machine.port(node.port)
        if isinstance(machine, ReceivesMilk | CollectsMilk):
            way = "in" if isinstance(machine, ReceivesMilk) else "out"
            return port is not None and "milk" in port.services and port.direction == way
        return isinstance(machine, IsValve | JoinsPipes)

    def _airy(self, node: Node) -> bool:
        port = self._machine(node).port(node.port)
        return (
            node.port == "*"
            or self._milk_and_air(node)
            or bool(port is not None and "vacuum" in port.services)
        )

    # Nodes and segments.

    def _node(self, node: Node) -> int:
        machine = self._machine(node)
        if node.port == "*" and isinstance(machine, CollectsMilk | FeedsPulsators):
            return self._line(machine)[0]
        if node not in self.index:
            volume = 0.0
            if node.port == "*":
                share = RECEIVER_AIR_SHARE if isinstance(machine, ReceivesMilk) else 1.0
                volume = share * float(getattr(machine, "volume_l", 0.0))
            elif isinstance(machine, TrapsLiquid) and node.port == machine.port_for(
                "vacuum", "out"
            ):
                volume = machine.volume_l
            self.index[node] = self._new(node.machine if node.port == "*" else node.name, volume)
        return self.index[node]

    def _new(self, name: str, volume_l: float = 0.0) -> int:
        self.names.append(name)
        self.volumes.append(volume_l)
        return len(self.names) - 1

    def _line(self, machine: CollectsMilk | FeedsPulsators) -> tuple[int, ...]:
        """The pieces of a line round or along the stalls."""
        if machine.id in self.lines:
            return self.lines[machine.id]
        milk = isinstance(machine, CollectsMilk)
        looped = machine.looped if isinstance(machine, CollectsMilk) else machine.ring
        pieces = PIECES_LOOPED if looped else PIECES_STRAIGHT
        nodes = tuple(self._new(f"{machine.id} at {i + 1}/{pieces}") for i in range(pieces))
        bore = gas_space_bore_mm(machine.bore_mm, self.fill) if milk else machine.bore_mm
        rough = "stainless" if milk else "plastic"
        ends = list(itertools.pairwise(nodes)) + ([(nodes[-1], nodes[0])] * looped)
        for a, b in ends:
            length = machine.length_m / len(ends)
            self._pipe_segment(
                machine.id, "line", a, b, bore, length, length, rough, machine=machine.id
            )
        self.lines[machine.id] = nodes
        return nodes

    def _pipe_segment(
        self,
        name: str,
        what: str,
        a: int,
        b: int,
        bore_mm: float,
        length_m: float,
        equivalent_m: float,
        rough: str,
        pipe: Pipe | None = None,
        machine: str | None = None,
    ) -> None:
        half = pipe_volume_l(bore_mm, length_m) / 2.0
        self.volumes[a] += half
        self.volumes[b] += half
        self.segments.append(
            PipeSegment(
                name,
                what,
                a,
                b,
                bore_mm,
                length_m,
                equivalent_m,
                0.0,
                self.rules.number(f"pipe.roughness_{rough}_mm"),
                pipe,
                machine,
            )
        )

    def _edge(self, edge: Edge) -> None:
        if edge.pipe is not None:
            self._pipe(edge, edge.pipe)
            return
        machine = self._machine(edge.a)
        if isinstance(machine, CollectsMilk | FeedsPulsators):
            outlet = edge.b if edge.a.port == "*" else edge.a
            port = machine.port(outlet.port)
            if port is not None and port.direction == "out":
                self._outlet(machine, outlet)
            return
        self._inside(edge, machine)

    def _pipe(self, edge: Edge, pipe: Pipe) -> None:
        milk = self._milk_and_air(edge.a) and self._milk_and_air(edge.b)
        bore = gas_space_bore_mm(pipe.bore_mm, self.fill) if milk else pipe.bore_mm
        both = min(self._machine(edge.a).count, self._machine(edge.b).count)
        alike = both ** (
            1.75 / 4.75
        )  # so many pipes side by side drop as one of that much more bore
        length = equivalent_length_m(bore, pipe.length_m, pipe.fittings, self.rules)
        self._pipe_segment(
            pipe.id,
            "pipe",
            self._node(edge.a),
            self._node(edge.b),
            bore * alike,
            pipe.length_m,
            length,
            "stainless" if milk else "plastic",
            pipe,
        )

    def _outlet(self, machine: CollectsMilk | FeedsPulsators, outlet: Node) -> None:
        """Join the k-th outlet of a line to its place on it: evenly round a loop, ends first."""
        nodes = self._line(machine)
        stem = outlet.port.rpartition("_")[0]
        every = [n for n in _used(self.plant, machine.id) if n.startswith(stem)]
        k, many = every.index(outlet.port), len(every)
        looped = machine.looped if isinstance(machine, CollectsMilk) else machine.ring
        if looped:
            place = round(k * len(nodes) / many) % len(nodes)
        else:
            place = 0 if many == 1 else round(k * (len(nodes) - 1) / (many - 1))
        self._loss(
            f"{machine.id} outlet {k + 1}",
            nodes[place],
            self._node(outlet),
            self._bore(outlet),
            "header",
            machine.id,
        )

    def _inside(self, edge: Edge, machine: Machine) -> None:
        kind = loss_kind(edge, machine)
        stated = getattr(machine, "vacuum_bore_mm", None) or (
            getattr(machine, "bore_mm", None) if isinstance(machine, PassesOneWay) else None
        )
        bore = float(stated or min(self._bore(edge.a), self._bore(edge.b)))
        how = edge.how
        self._loss(
            machine.id,
            self._node(edge.a),
            self._node(edge.b),
            bore,
            kind,
            machine.id,
            one_way=bool(how and how.how == "check"),
            open_in=how.positions if how and how.how == "gate" else (),
        )

    def _loss(
        self,
        name: str,
        a: int,
        b: int,
        bore_mm: float,
        kind: str,
        machine: str,
        *,
        one_way: bool = False,
        open_in: tuple[str, ...] = (),
    ) -> None:
        self.segments.append(
            PipeSegment(
                name,
                "fitting",
                a,
                b,
                bore_mm,
                0.0,
                0.0,
                self.rules.number(f"vacuum.loss.{kind}_k"),
                0.0,
                None,
                machine,
                one_way,
                open_in,
            )
        )

    def _bore(self, node: Node) -> float:
        """Bore of the pipe at a port; a vessel's body has none (endless)."""
        bores = [
            p.bore_mm for p in self.plant.pipes_at(node.machine) if node.name in (p.start, p.end)
        ]
        return min(bores, default=math.inf)

    # Where things sit.

    def _spread(
        self,
        kind: type[M],
        port: Callable[[M], str],
        line: type[CollectsMilk] | type[FeedsPulsators],
    ) -> tuple[tuple[int, float], ...]:
        """(node, how many) of units or pulsators: along their line, or where their pipe ends."""
        found: dict[int, float] = {}
        for machine in self.plant.machines(kind):
            for pipe in self.plant.pipes_at(machine.id):
                here, there = (
                    (pipe.start, pipe.end)
                    if pipe.start.startswith(machine.id + ".")
                    else (pipe.end, pipe.start)
                )
                if here != f"{machine.id}.{port(machine)}":
                    continue
                owner, _, name = there.partition(".")
                nodes = self.lines.get(owner) or tuple(
                    i for n, i in self.index.items() if n == Node(owner, name)
                )
                for i in nodes:
                    found[i] = found.get(i, 0.0) + machine.count / len(nodes)
        if not found and self.plant.machines(kind):
            lines = [n for m in self.plant.machines(line) for n in self.lines.get(m.id, ())]
            for i in lines:
                found[i] = self.plant.count(kind) / len(lines)
        return tuple(found.items())

    def _body(self) -> int:
        for tank in self.plant.machines(SharesVacuum):
            if Node(tank.id, "*") in self.index:
                return self.index[Node(tank.id, "*")]
        pump = self.plant.machines(PumpsVacuum)[0]
        return self.index[Node(pump.id, pump.port_for("vacuum"))]

    def _sense(self, body: int, regulators: tuple[tuple[RegulatesVacuum, int], ...]) -> int:
        for sensor in self.plant.machines(Senses):
            if sensor.measures == "vacuum":
                for port in (sensor.at_port or "*", "*"):
                    if Node(sensor.on, port) in self.index:
                        return self.index[Node(sensor.on, port)]
                if sensor.on in self.lines:
                    return self.lines[sensor.on][0]
        return body if not regulators else regulators[0][1]

    def _pump_places(self, pump: PumpsVacuum) -> list[PumpPlace]:
        share = self.rules.number("vacuum.pump_zero_flow_share")
        nominal = self.rules.number("vacuum.pump_nominal_ambient_kpa")
        at = pump.at_vacuum_kpa
        displaced = displacement_l_min(pump.capacity_l_min_free, at, nominal, share)
        rated = displaced * (1.0 - 50.0 / (share * nominal))
        power = self.rules.number("vacuum.pump_specific_power_kw_per_1000_l_min") * rated / 1000.0
        efficiency = displaced / 60_000.0 * 50.0 / power
        node = self.index[Node(pump.id, pump.port_for("vacuum"))]
        names = (
            [pump.id] if pump.count == 1 else [f"{pump.id} ({i + 1})" for i in range(pump.count)]
        )
        return [
            PumpPlace(pump, n, node, displaced, 1.0 / share - 1.0, efficiency, rated) for n in names
        ]


def _used(plant: Plant, machine_id: str) -> list[str]:
    names: dict[str, None] = {}
    for pipe in plant.pipes_at(machine_id):
        for end in (pipe.start, pipe.end):
            owner, _, name = end.partition(".")
            if owner == machine_id:
                names[name] = None
    return list(names)
