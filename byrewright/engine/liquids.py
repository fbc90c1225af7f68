"""The liquid network of a plant, solved for any state of its valves and pumps.

Built once from the plant's graph. A state gives the position of every machine; closed valves cut
the network, dead ends hold liquid and do not flow, and every section that is left is solved by
itself. Vessels hold the heads at their ports: height, level, gas above.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from byrewright.engine.circuits import coolant_of
from byrewright.engine.liquidlaws import L_MIN, NO_SOCK, Element, Fluid, Laws, fluids, padded
from byrewright.engine.liquidnet import (
    CENTRIFUGAL,
    ONE_WAY,
    OPENS_M3_S,
    POWER,
    RATED,
    Net,
    element_loss,
    solve,
)
from byrewright.errors import ByrewrightError
from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.plant.graph import Joint, Node, build
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import HoldsVacuum, Loss, MakesVacuum, Mover, Vessel
from byrewright.standards.rulebook import Rulebook

GASES = frozenset({"vacuum", "air", "refrigerant", "power", "signal"})
LEVEL_M = 1.0e-6  # heights that differ by less are one
STILL = 1.0e-7  # of the greatest flow of a section: below it nothing flows
NEARLY_NOTHING: Element = (POWER, [1.0, 2.0])
"""A way that loses nothing worth telling: 1e-5 m at 200 L/min."""
NOT_KNOWN_MM = 50.0  # bore of a machine that states none and meets no pipe


class LiquidsUnsolved(ByrewrightError):
    """A section whose heads and flows were not found; the text names its worst element."""


@dataclass(frozen=True)
class Situation:
    """A state of the plant: positions by machine, and the few things that are not positions.

    at: position or state of every machine. speed: share of full speed of pumps that run.
    forced_l_min: pumps that give this flow whatever the head. drawn_l_min: flow taken out at a
    node. dirt: of filters, 0 clean to 1 due. level_l: content of vessels. does: what the mode does.
    """

    at: Mapping[str, str | None]
    does: frozenset[str] = frozenset()
    speed: Mapping[str, float] = field(default_factory=dict)
    forced_l_min: Mapping[str, float] = field(default_factory=dict)
    drawn_l_min: Mapping[Node, float] = field(default_factory=dict)
    dirt: Mapping[str, float] = field(default_factory=dict)
    level_l: Mapping[str, float] = field(default_factory=dict)


@dataclass
class Flows:
    """What flows: L/min along each joint from its a to its b; heads m, heights m and fluid by node.

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


@dataclass
class _Link:
    """Joints in a row between two ends, each with +1 where it is passed from a to b."""

    a: Node
    b: Node
    chain: list[tuple[Joint, float]]
    elements: list[list[Element]] = field(default_factory=list)


class Liquids:
    """The liquid network of one plant."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.plant = plant
        self.rules = rules
        chilled = coolant_of(plant, rules)
        self.laws = Laws(rules, chilled)
        self.fluids = fluids(rules, chilled)
        self.movers: dict[str, Mover] = {}
        self.vessels: dict[str, Vessel] = {}
        self.losses: dict[tuple[str, str, str], Loss] = {}
        self.makes_vacuum: list[str] = []
        self.set_kpa = rules.number("vacuum.nominal_kpa")
        for tag in sorted(plant.equipment):
            self._declared(tag)
        graph = build(plant)
        self.joints = [
            j for j in sorted(graph.joints, key=lambda j: j.id)
            if (j.pipe is None or j.service not in GASES) and (j.how is None or j.how.how != "trap")
        ]  # fmt: skip
        self.by_id = {j.id: j for j in self.joints}
        self.bore_mm: dict[Node, float] = {}
        for j in self.joints:
            if j.pipe is not None:
                for node in (j.a, j.b):
                    self.bore_mm[node] = min(self.bore_mm.get(node, 1e9), j.pipe.bore_mm)
        self.ambient_kpa = ambient_pressure_kpa_abs(plant.site.altitude_m)

    def _declared(self, tag: str) -> None:
        held = False
        for one in self.plant.equipment[tag].lower():
            if isinstance(one, Mover):
                self.movers[tag] = one
            elif isinstance(one, Vessel):
                self.vessels[tag] = one
            elif isinstance(one, Loss):
                self.losses[tag, one.a, one.b] = one
            elif isinstance(one, MakesVacuum):
                self.makes_vacuum.append(tag)
            elif isinstance(one, HoldsVacuum) and not held:
                self.set_kpa, held = one.set_kpa, True

    def situation(self, mode: str, wrong: Mapping[str, str] | None = None,
                  **more: object) -> Situation:  # fmt: skip
        """The state that a mode gives, with some positions that differ."""
        at = {tag: self.plant.position(mode, tag) for tag in self.plant.equipment} | dict(
            wrong or {}
        )
        does = frozenset(self.plant.modes[mode].does)
        return Situation(at, does, **more)  # type: ignore[arg-type]

    # Which joints carry liquid in a state.

    def _runs(self, s: Situation, tag: str) -> bool:
        return s.at.get(tag) == "runs" or s.speed.get(tag, 0.0) > 0.0

    def _open(self, joint: Joint, s: Situation) -> bool:
        if joint.how is None or joint.machine is None:
            return True
        at = s.at.get(joint.machine)
        if at == "shut":
            return False
        if joint.how.how == "gate":
            return at in joint.how.positions
        if joint.how.how == "mover":
            if joint.machine in s.forced_l_min:
                return False
            return self._runs(s, joint.machine) or joint.how.free
        return True

    def _body(self, node: Node) -> bool:
        return node.port == "*" and node.machine in self.vessels

    @cached_property
    def _ends(self) -> dict[str, tuple[Node, Node]]:
        """Ends of each joint; a vessel's body is an end of its own for each of its ports."""
        found = {}
        for j in self.joints:
            a, b = j.a, j.b
            if self._body(a):
                a = Node(a.machine, f"*{j.id}")
            if self._body(b):
                b = Node(b.machine, f"*{j.id}")
            found[j.id] = (a, b)
        return found

    def _held(self, node: Node) -> bool:
        return node.port.startswith("*") and node.port != "*"

    def solve(self, s: Situation, only: frozenset[Node] | None = None) -> Flows:
        """Flows and heads of a state; of those sections alone that hold a node of `only`.

        Raises:
            LiquidsUnsolved: a section has no answer; nothing of it is given.
        """
        taken = {node: q for node, q in s.drawn_l_min.items() if q}
        for tag, q in sorted(s.forced_l_min.items()):
            mover = self.movers[tag]
            inlet, outlet = self._port(tag, mover.inlet), self._port(tag, mover.outlet)
            taken[inlet] = taken.get(inlet, 0.0) + q
            taken[outlet] = taken.get(outlet, 0.0) - q
        alive = self._alive(s, taken)
        at: dict[Node, list[Joint]] = {}
        for j in alive:
            for node in self._ends[j.id]:
                at.setdefault(node, []).append(j)
        out = Flows()
        for tag in s.forced_l_min:
            joint = next(j for j in self.joints if j.machine == tag and j.how is not None
                         and j.how.how == "mover")  # fmt: skip
            out.l_min[joint.id] = s.forced_l_min[tag]
        seen: set[Node] = set()
        for start in sorted({*at, *taken}, key=lambda n: n.name):
            if start in seen:
                continue
            nodes, joints = self._section(start, at)
            seen |= nodes
            if only is not None and not nodes & only:
                continue
            if not joints:
                raise self._no_way({start: taken[start]})
            self._solve_section(s, nodes, joints, at, taken, out)
        flows = {j.machine for j in alive if j.how is not None and j.how.how == "mover"}
        out.shut += sorted(t for t in self.movers if self._runs(s, t) and t not in flows
                           and t not in s.forced_l_min)  # fmt: skip
        return out

    def _port(self, tag: str, declared: str) -> Node:
        for j in self.joints:
            for node in (j.a, j.b):
                port = node.machine == tag and self.plant.equipment[tag].port(node.port)
                if port and port.name == declared:
                    return node
        return Node(tag, declared)

    def _alive(self, s: Situation, taken: Mapping[Node, float]) -> list[Joint]:
        """Open joints that are no dead end."""
        joints = {j.id: j for j in self.joints if self._open(j, s)}
        degree: dict[Node, set[str]] = {}
        for name in joints:
            for node in self._ends[name]:
                degree.setdefault(node, set()).add(name)
        loose = [n for n, of in degree.items() if len(of) < 2]
        while loose:
            node = loose.pop()
            if self._held(node) or node in taken or len(degree[node]) != 1:
                continue
            name = degree[node].pop()
            joints.pop(name, None)
            for other in self._ends[name]:
                degree[other].discard(name)
                loose.append(other)
        return [joints[name] for name in sorted(joints)]

    def _section(
        self, start: Node, at: Mapping[Node, list[Joint]]
    ) -> tuple[set[Node], list[Joint]]:
        nodes, found, todo = {start}, {}, [start]
        while todo:
            here = todo.pop()
            for j in at.get(here, ()):
                found[j.id] = j
                for node in self._ends[j.id]:
                    if node not in nodes:
                        nodes.add(node)
                        todo.append(node)
        return nodes, [found[name] for name in sorted(found)]

    @staticmethod
    def _no_way(demand: Mapping[Node, float]) -> LiquidsUnsolved:
        node = min(demand, key=lambda n: (-abs(demand[n]), n.name))
        return LiquidsUnsolved(
            f"{node.name}: {abs(demand[node]):.0f} L/min have no way on: every line from there is "
            "shut. Open one, or stop the pump."
        )

    # One section.

    def _solve_section(self, s: Situation, nodes: set[Node], joints: list[Joint],
                       at: Mapping[Node, list[Joint]], taken: Mapping[Node, float],
                       out: Flows) -> None:  # fmt: skip
        fluid = self._fluid(joints, s)
        height = self._heights(nodes, joints, out)
        held = {n: self._held_head(n, s, fluid, height[n]) for n in nodes if self._held(n)}
        demand = {n: q for n, q in taken.items() if n in nodes}
        if not held:
            if abs(sum(demand.values())) > 1e-9:
                raise self._no_way(demand)
            rest = self._reference(joints, nodes)
            held[rest] = height[rest]
        links = self._links(nodes, joints, at, held, demand)
        ends = sorted({n for link in links for n in (link.a, link.b)}, key=lambda n: n.name)
        free = [n for n in ends if n not in held]
        fixed = [n for n in ends if n in held]
        row = {n: i for i, n in enumerate((*free, *fixed))}
        span: list[tuple[int, int]] = []
        law: list[int] = []
        made: list[float] = []
        par: list[list[float]] = []
        for link in links:
            link.elements = [self._elements(joint, s, fluid) for joint, _ in link.chain]
            if not any(link.elements):
                link.elements[0] = [NEARLY_NOTHING]
            first = len(law)
            for (_, sign), elements in zip(link.chain, link.elements, strict=True):
                for one, numbers in elements:
                    law.append(one)
                    made.append(sign)
                    par.append(padded(numbers))
            span.append((first, len(law)))
        net = Net(
            np.array([(row[x.a], row[x.b]) for x in links], np.int64), np.array(span, np.int64),
            np.array(law, np.int64), np.array(made), np.array(par, np.float64),
            np.array([held[n] for n in fixed], np.float64),
            np.array([demand.get(n, 0.0) * L_MIN for n in free], np.float64),
        )  # fmt: skip
        found = solve(net, np.zeros(0))
        out.steps = max(out.steps, found.steps)
        if not found.left < RATED:
            worst = links[found.worst].chain[0][0]
            raise LiquidsUnsolved(
                f"{worst.machine or worst.id}: flows in its section do not settle "
                f"({found.left:.0e} of the greatest left after {found.steps} steps); look at the "
                "bores and pumps about it."
            )
        self._spread(links, found.flow, found.head, row, held, fluid, height, out)

    def _fluid(self, joints: list[Joint], s: Situation) -> Fluid:
        services = {j.service for j in joints if j.pipe is not None}
        if "coolant" in services:
            return self.fluids["coolant"]
        if services <= {"water", "drain"}:
            return self.fluids["water"]
        if "wash" in services or s.does & {"wash", "rinse", "drain_down"}:
            return self.fluids["wash"]
        return self.fluids["milk"]

    def _heights(self, nodes: set[Node], joints: list[Joint], out: Flows) -> dict[Node, float]:
        """Heights from the pipes' rises, nil at the first node. A ring comes back to its own
        height, whatever is stated; all ports of a vessel are told from one floor."""
        steps = [(0, *self._ends[j.id], 0.0, "") for j in joints if j.pipe is None]
        steps += [(1 if j.pipe.rise_m else 2, *self._ends[j.id], j.pipe.rise_m, j.id)
                  for j in joints if j.pipe is not None]  # fmt: skip
        bodies: dict[str, Node] = {}
        for n in sorted((n for n in nodes if self._held(n)), key=lambda n: n.name):
            first = bodies.setdefault(n.machine, n)
            if first != n:
                steps.append((0, first, n, 0.0, ""))
        found = {
            n: (n, 0.0) for n in nodes
        }  # of each node: one it hangs on, and its height over it

        def root(n: Node) -> tuple[Node, float]:
            up, height = found[n]
            if up == n:
                return n, 0.0
            top, more = root(up)
            found[n] = (top, height + more)
            return found[n]

        # A rise that is stated goes before one that is not; what then closes a ring is told.
        for _, a, b, rise, name in sorted(steps, key=lambda s: (s[0], s[4])):
            (top_a, at_a), (top_b, at_b) = root(a), root(b)
            if top_a != top_b:
                found[top_b] = (top_a, at_a + rise - at_b)
            elif name and abs(at_a + rise - at_b) > LEVEL_M:
                out.uneven.append(name)
        low = min(nodes, key=lambda n: n.name)
        _, base = root(low)
        return {n: root(n)[1] - base for n in nodes}

    def _held_head(self, node: Node, s: Situation, fluid: Fluid, height: float) -> float:
        """Head that a vessel holds at one of its ports: in at its height, out by its level."""
        joint = self.by_id[node.port[1:]]
        vessel = self.vessels[node.machine]
        head = height + fluid.head_m(self._gas_kpa(vessel, s))
        if node == self._ends[joint.id][1] and joint.how is not None and not self._both(joint):
            return head
        return head + self.level_m(node.machine, s)

    def _both(self, joint: Joint) -> bool:
        """Whether a vessel's port lets liquid in and out."""
        assert joint.how is not None
        name = joint.how.b if joint.how.a == "*" else joint.how.a
        port = self.plant.equipment[joint.machine or ""].port(name)
        return port is not None and port.direction == "both"

    def _gas_kpa(self, vessel: Vessel, s: Situation) -> float:
        drawn = vessel.gas == "vacuum" and any(self._runs(s, t) for t in self.makes_vacuum)
        return -self.set_kpa if drawn else 0.0

    def level_m(self, tag: str, s: Situation) -> float:
        """Height of the liquid in a vessel over its outlet."""
        vessel = self.vessels[tag]
        if vessel.role != "store":
            return 0.0
        tall = vessel.height_m or (4 * vessel.volume_l / 1000 / np.pi) ** (1 / 3)
        content = s.level_l.get(tag)
        share = (
            self.rules.number("vessel.level_share")
            if content is None
            else content / vessel.volume_l
        )
        return float(tall * min(max(share, 0.0), 1.0))

    def _reference(self, joints: list[Joint], nodes: set[Node]) -> Node:
        """The node of a closed ring whose pressure is told from: a pump's suction, else any."""
        suction = [j.a for j in joints if j.how is not None and j.how.how == "mover"]
        return min(suction or nodes, key=lambda n: n.name)

    def _links(self, nodes: set[Node], joints: list[Joint], at: Mapping[Node, list[Joint]],
               held: Mapping[Node, float],
               demand: Mapping[Node, float]) -> list[_Link]:  # fmt: skip
        """Joints in rows between the nodes where something meets."""
        stops = {n for n in nodes if n in held or n in demand or len(at.get(n, ())) != 2}
        if not stops:
            stops = {min(nodes, key=lambda n: n.name)}
        links: list[_Link] = []
        used: set[str] = set()
        for start in sorted(stops, key=lambda n: n.name):
            for first in at.get(start, ()):
                if first.id in used:
                    continue
                here, joint = start, first
                chain: list[tuple[Joint, float]] = []
                while True:
                    used.add(joint.id)
                    a, b = self._ends[joint.id]
                    chain.append((joint, 1.0 if here == a else -1.0))
                    here = b if here == a else a
                    if here in stops:
                        break
                    joint = next(j for j in at[here] if j.id not in used)
                if here != start:  # a ring that meets nothing else but at one node does not flow
                    links.append(_Link(start, here, chain))
                else:
                    links += self._ring(start, chain)
        return links

    def _ring(self, start: Node, chain: list[tuple[Joint, float]]) -> list[_Link]:
        """A ring that leaves and comes back to one node, cut in two so that it has two ends."""
        if len(chain) < 2:
            return []
        joint, sign = chain[0]
        a, b = self._ends[joint.id]
        mid = b if sign > 0 else a
        return [_Link(start, mid, chain[:1]), _Link(mid, start, chain[1:])]

    def _elements(self, joint: Joint, s: Situation, fluid: Fluid) -> list[Element]:
        if joint.pipe is not None:
            return [self.laws.pipe(joint.pipe, fluid)]
        assert joint.how is not None
        assert joint.machine is not None
        tag, how = joint.machine, joint.how
        found: list[Element] = []
        bore = min(self.bore_mm.get(joint.a, 1e9), self.bore_mm.get(joint.b, 1e9))
        bore = bore if bore < 1e9 else NOT_KNOWN_MM
        a, b = self._ends[joint.id]
        if self._held(a) or self._held(b):
            key = "vessel.exit_k" if self._held(a) else "vessel.entry_k"
            found.append(self.laws.heads(self.rules.number(key), bore))
            if not self._both(joint):
                found.append((ONE_WAY, [0.0, 0.0]))
        if how.how == "mover":
            mover = self.movers.get(tag)
            if mover is None or mover.head_m is None:
                return found
            if self._runs(s, tag):
                return [*found, self.laws.pump(mover, s.speed.get(tag, 1.0))]
            return [*found, self.laws.stopped(mover)]
        loss = self.losses.get((tag, how.a, how.b))
        if loss is not None:
            wash = bool(s.does & {"wash", "rinse"})
            dirt = s.dirt.get(tag, NO_SOCK if wash else 0.5)
            found += self.laws.machine(loss, fluid, bore, dirt, s.at.get(tag) == "half")
        if how.how == "check" and not any(law == ONE_WAY for law, _ in found):
            found.append((ONE_WAY, [0.0, 0.0]))
        return found

    def _spread(self, links: list[_Link], flow: Iterable[float], head: Iterable[float],
                row: Mapping[Node, int], held: Mapping[Node, float], fluid: Fluid,
                height: Mapping[Node, float], out: Flows) -> None:  # fmt: skip
        """Flows and heads of everything in the links; what is shut carries nothing, exactly."""
        heads, flows = list(head), [float(q) for q in flow]
        most = max((abs(q) for q in flows), default=0.0)
        for link, q in zip(links, flows, strict=True):
            one_way = any(law in (CENTRIFUGAL, ONE_WAY) for of in link.elements for law, _ in of)
            if abs(q) < STILL * most or (one_way and abs(q) < 2 * OPENS_M3_S):
                q = 0.0
            ends = [held[n] if n in held else heads[row[n]] for n in (link.a, link.b)]
            at, here = ends[0], link.a
            out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            for (joint, sign), elements in zip(link.chain, link.elements, strict=True):
                out.l_min[joint.id] = sign * q / L_MIN
                for law, numbers in elements:
                    lost, _ = element_loss(law, sign * q, np.array(padded(numbers)))
                    at -= sign * lost
                a, b = self._ends[joint.id]
                here = b if sign > 0 else a
                out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            out.head_m[link.b] = ends[1]
