"""The liquid network of a plant, solved for any state of its valves and pumps.

Built once from the plant's graph. A state gives the position of every machine; closed valves cut
the network, dead ends hold liquid and do not flow, and every section that is left is solved by
itself. Vessels hold the heads at their ports: height, level, gas above.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product

import numpy as np

from byrewright.engine.circuits import coolant_of
from byrewright.engine.liquidgraph import SHUT, Flows, LiquidGraph, Situation
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
from byrewright.plant.graph import Edge, Node
from byrewright.plant.plant import LIQUIDS, Plant
from byrewright.plant.primitives import Vessel
from byrewright.standards.rulebook import Rulebook, WatchedRules

LEVEL_M = 1.0e-6  # heights that differ by less are one
STILL = 1.0e-7  # of the greatest flow of a section: below it nothing flows
NEARLY_NOTHING: Element = (POWER, [1.0, 2.0])
"""A way that loses nothing worth telling: 1e-5 m at 200 L/min."""
OPENINGS, LEVEL = ("vessel.exit_k", "vessel.entry_k"), "vessel.level_share"
SUPPLY = "water.hose_kpa"
"""The pressure under which a closed vessel of water stands, where its pump runs."""
KEPT = 64  # states whose open parts are kept
NOT_KNOWN_MM = 50.0  # bore of a machine that states none and meets no pipe


def liquids_of(plant: Plant, rules: Rulebook) -> Liquids:
    """The liquid network of a plant under a rulebook, built once for each plant."""
    known: dict[int, Liquids] = plant.__dict__.setdefault(LIQUIDS, {})
    found = known.get(hash(rules))
    if found is None:
        found = known[hash(rules)] = Liquids(plant, WatchedRules(rules))
    for key in found.asks():
        rules[key]  # who lists the rules it used lists these, also where the answer was kept
    return found


class LiquidsUnsolved(ByrewrightError):
    """A section whose heads and flows were not found; the text names its worst element."""


@dataclass
class _Link:
    """Joints in a row between two ends, each with +1 where it is passed from a to b."""

    a: Node
    b: Node
    chain: list[tuple[Edge, float]]
    elements: list[list[Element]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Open:
    """What a state leaves open: joints by node, sections apart, pumps, heights of the nodes."""

    at: dict[Node, list[Edge]]
    sections: list[tuple[set[Node], list[Edge]]]
    forced: list[Edge]
    movers: set[str | None]
    height: dict[Node, float]
    uneven: list[str]


class Liquids(LiquidGraph):
    """The liquid network of one plant, solved."""

    _asks: tuple[str, ...] = ()

    @cached_property
    def _pipe_laws(self) -> dict[tuple[str, int], list[Element]]:
        return {}  # by pipe and which of `fluids` is in it

    @cached_property
    def _opened(self) -> dict[object, _Open]:
        return {}

    def asks(self) -> tuple[str, ...]:
        """Every rule that the laws of this network ask for, in whatever state."""
        if not self._asks:
            rules = WatchedRules(self.rules)
            laws = Laws(rules, coolant_of(self.plant, rules))
            water = fluids(rules, laws.chilled)["water"]
            for key in (*OPENINGS, LEVEL, "vacuum.nominal_kpa", SUPPLY):
                rules.number(key)
            for joint in self.joints:
                if joint.pipe is not None:
                    laws.pipe(joint.pipe, water)
            for loss, dirt, half in product(self.losses.values(), (-1.0, 0.0), (False, True)):
                laws.machine(loss, water, NOT_KNOWN_MM, dirt, half)
            for mover in self.movers.values():
                laws.stopped(mover)
                if mover.head_m is not None:
                    laws.pump(mover, 1.0)
            self._asks = tuple(rules.used)
        return self._asks

    def solve(self, s: Situation, only: frozenset[Node] | None = None,
              broken: list[str] | None = None) -> Flows:  # fmt: skip
        """Flows and heads of a state; of those sections alone that hold a node of `only`.

        A section without an answer is told in `broken`, where that is given, and left out.

        Raises:
            LiquidsUnsolved: a section has no answer; nothing of it is given.
        """
        displaced = [t for t, m in self.movers.items() if m.head_m is None and self.runs(s, t)
                     and t not in s.forced_l_min and s.at.get(t) != SHUT]  # fmt: skip
        if displaced:
            return self._displacing(s, displaced, only, broken)
        taken = {node: q for node, q in s.drawn_l_min.items() if q}
        for tag, q in sorted(s.forced_l_min.items()):
            mover = self.movers[tag]
            inlet, outlet = self.port(tag, mover.inlet), self.port(tag, mover.outlet)
            taken[inlet] = taken.get(inlet, 0.0) + q
            taken[outlet] = taken.get(outlet, 0.0) - q
        open_ = self._open(s, taken, only)
        out = Flows(uneven=list(open_.uneven))
        for joint in open_.forced:
            out.l_min[joint.id] = s.forced_l_min[joint.machine or ""]
        for nodes, joints in open_.sections:
            try:
                self._solve_section(s, nodes, joints, open_.at, taken, open_.height, out)
            except LiquidsUnsolved as bad:
                if broken is None:
                    raise
                broken.append(str(bad))
        out.shut += sorted(t for t in self.movers if self.runs(s, t) and t not in open_.movers
                           and t not in s.forced_l_min)  # fmt: skip
        return out

    def _open(self, s: Situation, taken: Mapping[Node, float],
              only: frozenset[Node] | None) -> _Open:  # fmt: skip
        """What of the network a state leaves open: the same for all flows, so that it is kept."""
        key = (
            frozenset(s.at.items()), frozenset(t for t, x in s.speed.items() if x > 0), s.capped,
            frozenset(s.forced_l_min), frozenset(taken), only,
        )  # fmt: skip
        found = self._opened.get(key)
        if found is not None:
            return found
        alive = self.alive(s, taken)
        at: dict[Node, list[Edge]] = {}
        for j in alive:
            for node in self.ends[j.id]:
                at.setdefault(node, []).append(j)
        forced = [j for j in self.joints if j.machine in s.forced_l_min and j.how is not None
                  and j.how.how == "mover"]  # fmt: skip
        sections: list[tuple[set[Node], list[Edge]]] = []
        seen: set[Node] = set()
        for start in sorted({*at, *taken}, key=lambda n: n.name):
            if start in seen:
                continue
            nodes, joints = self.section(start, at)
            seen |= nodes
            if only is None or nodes & only:
                if not joints:
                    raise self._no_way({start: taken[start]})
                sections.append((nodes, joints))
        movers = {j.machine for j in alive if j.how is not None and j.how.how == "mover"}
        uneven: list[str] = []
        height = self._heights(sections, forced, uneven)
        if len(self._opened) >= KEPT:
            self._opened.clear()
        made = self._opened[key] = _Open(at, sections, forced, movers, height, uneven)
        return made

    def _displacing(self, s: Situation, tags: list[str], only: frozenset[Node] | None,
                    broken: list[str] | None) -> Flows:  # fmt: skip
        """Pumps that give their flow against any head; one whose line is shut gives none."""
        shut = []
        alive: dict[Node, list[Edge]] = {}
        for j in self.alive(s, {}):
            for node in self.ends[j.id]:
                alive.setdefault(node, []).append(j)
        flows = dict(s.forced_l_min)
        for tag in tags:
            mover = self.movers[tag]
            if self.port(tag, mover.inlet) in alive and self.port(tag, mover.outlet) in alive:
                flows[tag] = mover.flow_l_min * s.speed.get(tag, 1.0)
            else:
                shut.append(tag)
        found = self.solve(
            replace(s, forced_l_min=flows, at={**s.at, **dict.fromkeys(shut, SHUT)}), only, broken
        )
        found.shut = sorted({*found.shut, *shut})
        return found

    @staticmethod
    def _no_way(demand: Mapping[Node, float]) -> LiquidsUnsolved:
        node = min(demand, key=lambda n: (-abs(demand[n]), n.name))
        return LiquidsUnsolved(
            f"{node.name}: {abs(demand[node]):.0f} L/min have no way on: every line from there is "
            "shut. Open one, or stop the pump."
        )

    # One section.

    def _solve_section(self, s: Situation, nodes: set[Node], joints: list[Edge],
                       at: Mapping[Node, list[Edge]], taken: Mapping[Node, float],
                       height: Mapping[Node, float], out: Flows) -> None:  # fmt: skip
        fluid = self._fluid(joints, s)
        held = {n: self._held_head(n, s, fluid, height[n]) for n in nodes if self.held(n)}
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

    def _fluid(self, joints: list[Edge], s: Situation) -> Fluid:
        services = {j.service for j in joints if j.pipe is not None}
        if "coolant" in services:
            return self.fluids["coolant"]
        if services <= {"water", "drain"}:
            return self.fluids["water"]
        if "wash" in services or s.does & {"wash", "rinse", "drain_down"}:
            return self.fluids["wash"]
        return self.fluids["milk"]

    def _heights(self, sections: list[tuple[set[Node], list[Edge]]], forced: list[Edge],
                 uneven: list[str]) -> dict[Node, float]:  # fmt: skip
        """Heights from the pipes' rises, nil at the first node of what hangs together.

        A forced pump joins the sections on its two sides; all ports of a vessel in one of these are
        told from one floor. A ring comes back to its own height, whatever is stated.
        """
        found: dict[Node, float] = {}
        left = list(sections)
        while left:
            nodes, joints = left.pop(0)
            nodes, joints = set(nodes), list(joints)
            while True:
                more = [j for j in forced if j not in joints and nodes & set(self.ends[j.id])]
                joints += more
                ends = {n for j in more for n in self.ends[j.id]}
                met = [x for x in left if x[0] & ends]
                if not met and not more:
                    break
                left = [x for x in left if x not in met]
                nodes |= ends.union(*(x[0] for x in met))
                joints += [j for x in met for j in x[1]]
            found |= self.heights_of(nodes, joints, uneven)
        return found

    def heights_of(
        self, nodes: set[Node], joints: list[Edge], uneven: list[str]
    ) -> dict[Node, float]:
        steps = [(0, *self.ends[j.id], 0.0, "") for j in joints if j.pipe is None]
        for j in joints:
            if j.pipe is not None:
                rise = j.pipe.climb_m
                steps.append((1 if rise else 2, *self.ends[j.id], rise, j.id))
        bodies: dict[str, Node] = {}
        for n in sorted((n for n in nodes if self.held(n)), key=lambda n: n.name):
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
                uneven.append(name)
        low = min(nodes, key=lambda n: n.name)
        _, base = root(low)
        return {n: root(n)[1] - base for n in nodes}

    def _held_head(self, node: Node, s: Situation, fluid: Fluid, height: float) -> float:
        """Head that a vessel holds at one of its ports: in at its height, out by its level."""
        joint = self.by_id[node.port[1:]]
        vessel = self.vessels[node.machine]
        head = height + fluid.head_m(self.gas_kpa(vessel, s))
        if node == self.ends[joint.id][1] and joint.how is not None and not self._both(joint):
            return head
        if vessel.gas == "supply":  # it fills as if open, and gives what presses on it
            head += fluid.head_m(self.rules.number(SUPPLY))
        return head + self.level_m(node.machine, s)

    def gas_kpa(self, vessel: Vessel, s: Situation) -> float:
        """Pressure of the gas over a vessel's liquid, kPa above ambient."""
        drawn = vessel.gas == "vacuum" and any(self.runs(s, t) for t in self.makes_vacuum)
        return -self.set_kpa if drawn else 0.0

    def level_m(self, tag: str, s: Situation) -> float:
        """Height of the liquid in a vessel over its outlet."""
        vessel = self.vessels[tag]
        if vessel.role != "store":
            return 0.0
        tall = vessel.height_m or (4 * vessel.volume_l / 1000 / np.pi) ** (1 / 3)
        content = s.level_l.get(tag)
        share = self.rules.number(LEVEL) if content is None else content / vessel.volume_l
        return float(tall * min(max(share, 0.0), 1.0))

    def _reference(self, joints: list[Edge], nodes: set[Node]) -> Node:
        """The node of a closed ring whose pressure is told from: a pump's suction, else any."""
        suction = [j.a for j in joints if j.how is not None and j.how.how == "mover"]
        return min(suction or nodes, key=lambda n: n.name)

    def _links(self, nodes: set[Node], joints: list[Edge], at: Mapping[Node, list[Edge]],
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
                chain: list[tuple[Edge, float]] = []
                while True:
                    used.add(joint.id)
                    a, b = self.ends[joint.id]
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

    def _ring(self, start: Node, chain: list[tuple[Edge, float]]) -> list[_Link]:
        """A ring that leaves and comes back to one node, cut in two so that it has two ends."""
        if len(chain) < 2:
            return []
        joint, sign = chain[0]
        a, b = self.ends[joint.id]
        mid = b if sign > 0 else a
        return [_Link(start, mid, chain[:1]), _Link(mid, start, chain[1:])]

    def _elements(self, joint: Edge, s: Situation, fluid: Fluid) -> list[Element]:
        if joint.pipe is not None:
            of = joint.id, id(fluid)
            if of not in self._pipe_laws:
                many = max(self.many.get(joint.a, 1), self.many.get(joint.b, 1))
                self._pipe_laws[of] = [self.laws.pipe(joint.pipe, fluid, many)]
            return self._pipe_laws[of]
        assert joint.how is not None
        assert joint.machine is not None
        tag, how = joint.machine, joint.how
        found: list[Element] = []
        bore = min(self.bore_mm.get(joint.a, 1e9), self.bore_mm.get(joint.b, 1e9))
        bore = bore if bore < 1e9 else NOT_KNOWN_MM
        a, b = self.ends[joint.id]
        if self.held(a) or self.held(b):
            key = OPENINGS[0] if self.held(a) else OPENINGS[1]
            many = max(self.many.get(joint.a, 1), self.many.get(joint.b, 1))
            found.append(self.laws.heads(self.rules.number(key) / many**2, bore))
            if not self._both(joint):
                found.append((ONE_WAY, [0.0, 0.0]))
        if how.how == "mover":
            mover = self.movers.get(tag)
            if mover is None or mover.head_m is None:
                return found
            if self.runs(s, tag):
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
        heads, flows = [float(h) for h in head], [float(q) for q in flow]
        most = max((abs(q) for q in flows), default=0.0)
        for link, q in zip(links, flows, strict=True):
            ahead = (sign * q for (_, sign), of in zip(link.chain, link.elements, strict=True)
                     if any(law in (CENTRIFUGAL, ONE_WAY) for law, _ in of))  # fmt: skip
            if abs(q) < max(STILL * most, OPENS_M3_S) or min(ahead, default=1.0) < 2 * OPENS_M3_S:
                q = 0.0
            ends = [float(held[n]) if n in held else heads[row[n]] for n in (link.a, link.b)]
            at, here = ends[0], link.a
            out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            for (joint, sign), elements in zip(link.chain, link.elements, strict=True):
                out.l_min[joint.id] = sign * q / L_MIN
                for law, numbers in elements:
                    lost, _ = element_loss(law, sign * q, np.array(padded(numbers)))
                    at -= sign * float(lost)
                a, b = self.ends[joint.id]
                here = b if sign > 0 else a
                out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            out.head_m[link.b] = ends[1]
