"""The liquid network of a plant, solved for any state of its valves and pumps.

Built once from the plant's graph. A state gives the position of every machine; closed valves cut
the network, dead ends hold liquid and do not flow, and every section that is left is solved by
itself. Vessels hold the heads at their ports: height, level, gas above.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import replace
from functools import cached_property
from itertools import product

import numpy as np

from byrewright.engine.circuits import coolant_of
from byrewright.engine.liquidgraph import SHUT, Flows, Situation
from byrewright.engine.liquidlaws import L_MIN, NO_SOCK, Element, Fluid, Laws, fluids, padded
from byrewright.engine.liquidnet import (
    CENTRIFUGAL,
    ONE_WAY,
    OPENS_M3_S,
    PARAMETERS,
    POWER,
    RATED,
    Net,
    Solved,
    losses,
    solve,
)
from byrewright.engine.liquidsections import LiquidSections, Section, put
from byrewright.errors import ByrewrightError
from byrewright.plant.graph import Edge, Node
from byrewright.plant.plant import LIQUIDS, Pipe, Plant
from byrewright.plant.primitives import Pump, Vessel
from byrewright.standards.rulebook import Rulebook, WatchedRules

STILL = 1.0e-7  # of the greatest flow of a section: below it nothing flows
NEARLY_NOTHING = padded([1.0, 2.0])
"""A way, by its power law, that loses nothing worth telling: 1e-5 m at 200 L/min."""
OPENINGS, LEVEL = ("vessel.exit_k", "vessel.entry_k"), "vessel.level_share"
SUPPLY = "water.hose_kpa"
"""The pressure under which a closed vessel of water stands, where its pump runs."""
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


class Liquids(LiquidSections):
    """The liquid network of one plant, solved."""

    _asks: tuple[str, ...] = ()

    @cached_property
    def _laws_of(self) -> dict[tuple[int, *tuple[object, ...]], list[Element]]:
        return {}  # by edge, fluid, and what of the state changes them

    @cached_property
    def _solved(self) -> dict[tuple[Section, *tuple[object, ...]], Flows]:
        return {}  # by section and all of the state that it depends on

    def with_pumps(self, pumps: Mapping[str, Pump]) -> Liquids:
        """The same network with other pumps in their places."""
        other = copy(self)
        other.pumps = self.pumps | dict(pumps)
        other.kept = {}
        laws = {k: law for k, law in self._laws_of.items() if self.edges[k[0]].machine not in pumps}
        solved = {k: x for k, x in self._solved.items() if pumps.keys().isdisjoint(k[0].machines)}
        other.__dict__.update(_laws_of=laws, _solved=solved)
        return other

    def with_pipes(self, pipes: Iterable[Pipe]) -> Liquids:
        """The same network with other pipes in the places of those of the same tags, joined up as
        they were; what they do not touch is not worked out again."""
        changed = {p.id: p for p in pipes}
        mine = [changed.get(p.id, p) for p in self.plant.pipes]
        other = copy(self)
        other.plant = self.plant.model_copy(update={"pipes": tuple(mine)})
        other.edges = [
            j if j.pipe is None else replace(j, pipe=changed.get(j.id, j.pipe)) for j in self.edges
        ]
        other.by_id = {j.id: j for j in other.edges}
        other.bore_mm = other.bores()
        other.kept, other._ways = {}, {}
        for name in ("_near", "_levels"):
            other.__dict__.pop(name, None)
        meets = {n for j in self.edges if j.id in changed for n in (j.a, j.b)}
        others = {k for k, j in enumerate(self.edges) if not meets & {j.a, j.b}}
        laws = {k: law for k, law in self._laws_of.items() if k[0] in others}
        solved = {k: x for k, x in self._solved.items() if others.issuperset(k[0].edges)}
        other.__dict__.update(_laws_of=laws, _solved=solved)
        return other

    def asks(self) -> tuple[str, ...]:
        """Every rule that the laws of this network ask for, in whatever state."""
        if not self._asks:
            rules = WatchedRules(self.rules)
            laws = Laws(rules, coolant_of(self.plant, rules))
            water = fluids(rules, laws.chilled)["water"]
            for key in (*OPENINGS, LEVEL, "vacuum.nominal_kpa", SUPPLY):
                rules.number(key)
            for edge in self.edges:
                if edge.pipe is not None:
                    laws.pipe(edge.pipe, water)
            for loss, dirt, half in product(self.losses.values(), (-1.0, 0.0), (False, True)):
                laws.machine(loss, water, NOT_KNOWN_MM, dirt, half)
            for pump in self.pumps.values():
                laws.stopped(pump)
                if pump.head_m is not None:
                    laws.pump(pump, 1.0)
            self._asks = tuple(rules.used)
        return self._asks

    def solve(self, s: Situation, only: frozenset[Node] | None = None,
              broken: list[str] | None = None) -> Flows:  # fmt: skip
        """Flows and heads of a state; of those sections alone that hold a node of `only`.

        A section without an answer is told in `broken`, where that is given, and left out.

        Raises:
            LiquidsUnsolved: a section has no answer; nothing of it is given.
        """
        displaced = [t for t, m in self.pumps.items() if m.head_m is None and self.runs(s, t)
                     and t not in s.forced_l_min and s.at.get(t) != SHUT]  # fmt: skip
        if displaced:
            return self._displacing(s, displaced, only, broken)
        taken = {node: q for node, q in s.drawn_l_min.items() if q}
        for tag, q in sorted(s.forced_l_min.items()):
            pump = self.pumps[tag]
            inlet, outlet = self.port(tag, pump.inlet), self.port(tag, pump.outlet)
            taken[inlet] = taken.get(inlet, 0.0) + q
            taken[outlet] = taken.get(outlet, 0.0) - q
        open_ = self.opened(s, taken)
        height, uneven = self.heights_in(open_)
        out = Flows(uneven=list(uneven))
        for k in open_.forced:
            edge = self.edges[k]
            out.l_min[edge.id] = s.forced_l_min[edge.machine or ""]
        for node in open_.cut_off:
            if only is None or node in only:
                raise self._no_way({node: taken[node]})
        for part in open_.sections:
            if only is not None and part.nodes.isdisjoint(only):
                continue
            try:
                self._in_section(s, part, taken, height, out)
            except LiquidsUnsolved as bad:
                if broken is None:
                    raise
                broken.append(str(bad))
        out.shut += sorted(t for t in self.pumps if self.runs(s, t) and t not in open_.pumps
                           and t not in s.forced_l_min)  # fmt: skip
        return out

    def _displacing(self, s: Situation, tags: list[str], only: frozenset[Node] | None,
                    broken: list[str] | None) -> Flows:  # fmt: skip
        """Pumps that give their flow against any head; one whose line is shut gives none."""
        shut = []
        open_ = self.opened(s, ())
        alive = frozenset[Node]().union(*(part.nodes for part in open_.sections))
        flows = dict(s.forced_l_min)
        for tag in tags:
            pump = self.pumps[tag]
            if self.port(tag, pump.inlet) in alive and self.port(tag, pump.outlet) in alive:
                flows[tag] = pump.flow_l_min * s.speed.get(tag, 1.0)
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

    def _in_section(self, s: Situation, part: Section, taken: Mapping[Node, float],
                    height: Mapping[Node, float], out: Flows) -> None:  # fmt: skip
        """Flows and heads of a section, worked out once for all states that are alike in it."""
        fluid = self._fluid(part, s)
        held = {n: self._held_head(n, s, fluid, height[n]) for n in part.vessels}
        demand = {n: q for n, q in taken.items() if n in part.nodes}
        if not held:
            if abs(sum(demand.values())) > 1e-9:
                raise self._no_way(demand)
            held[part.told_from] = height[part.told_from]
        key = (
            part, id(fluid), bool(s.does & {"wash", "rinse"}), height[part.told_from],
            tuple(held.values()), tuple(demand.items()),
            tuple((s.at.get(t), s.speed.get(t), s.dirt.get(t)) for t in part.machines),
        )  # fmt: skip
        found = None if out.uneven else self._solved.get(key)
        if found is None:
            found = put(
                self._solved, key, self._solve_section(s, part, fluid, held, demand, height)
            )
        out.l_min |= found.l_min
        out.head_m |= found.head_m
        out.height_m |= found.height_m
        out.fluid |= found.fluid
        out.steps = max(out.steps, found.steps)

    def _solve_section(
        self,
        s: Situation,
        part: Section,
        fluid: Fluid,
        held: Mapping[Node, float],
        demand: Mapping[Node, float],
        height: Mapping[Node, float],
    ) -> Flows:
        out = Flows()
        span: list[tuple[int, int]] = []
        law: list[int] = []
        made: list[float] = []
        par: list[list[float]] = []
        opens: list[list[float]] = []
        counts: list[int] = []
        for link in part.links:
            first = len(law)
            one_way: list[float] = []
            for k, sign in link.chain:
                elements = self._elements(k, s, fluid)
                counts.append(len(elements))
                for one, numbers in elements:
                    law.append(one)
                    made.append(sign)
                    par.append(numbers)
                    if one in (CENTRIFUGAL, ONE_WAY):
                        one_way.append(sign)
            if len(law) == first:
                law.append(POWER)
                made.append(link.chain[0][1])
                par.append(NEARLY_NOTHING)
                counts[-len(link.chain)] = 1
            span.append((first, len(law)))
            opens.append(one_way)
        net = Net(
            part.ends, np.array(span, np.int64).reshape(-1, 2), np.array(law, np.int64),
            np.array(made), np.array(par, np.float64).reshape(-1, PARAMETERS),
            np.array([held[n] for n in part.fixed], np.float64),
            np.array([demand.get(n, 0.0) * L_MIN for n in part.free], np.float64),
        )  # fmt: skip
        found = solve(net, np.zeros(0))
        out.steps = found.steps
        if not found.left < RATED:
            worst = self.edges[part.links[found.worst].chain[0][0]]
            raise LiquidsUnsolved(
                f"{worst.machine or worst.id}: flows in its section do not settle "
                f"({found.left:.0e} of the greatest left after {found.steps} steps); look at the "
                "bores and pumps about it."
            )
        self._spread(part, net, found, opens, counts, fluid, held, height, out)
        return out

    def _fluid(self, part: Section, s: Situation) -> Fluid:
        if "coolant" in part.services:
            return self.fluids["coolant"]
        if part.services <= {"water", "drain"}:
            return self.fluids["water"]
        if "wash" in part.services or s.does & {"wash", "rinse", "drain_down"}:
            return self.fluids["wash"]
        return self.fluids["milk"]

    def _held_head(self, node: Node, s: Situation, fluid: Fluid, height: float) -> float:
        """Head that a vessel holds at one of its ports: in at its height, out by its level."""
        edge = self.by_id[node.port[1:]]
        vessel = self.vessels[node.machine]
        head = height + fluid.head_m(self.gas_kpa(vessel, s))
        if node == self.ends[edge.id][1] and edge.how is not None and not self._both(edge):
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

    def _elements(self, k: int, s: Situation, fluid: Fluid) -> list[Element]:
        """What an edge does to what flows from its a to its b, each law with all its parameters."""
        edge = self.edges[k]
        key: tuple[int, *tuple[object, ...]] = (k, id(fluid))
        if edge.pipe is None:
            tag = edge.machine or ""
            key += (
                self.runs(s, tag),
                s.speed.get(tag),
                self._dirt(s, tag),
                s.at.get(tag) == "half",
            )
        found = self._laws_of.get(key)
        if found is None:
            made = self._made(edge, s, fluid)
            found = self._laws_of[key] = [(law, padded(numbers)) for law, numbers in made]
        return found

    @staticmethod
    def _dirt(s: Situation, tag: str) -> float:
        return s.dirt.get(tag, NO_SOCK if s.does & {"wash", "rinse"} else 0.5)

    def _made(self, edge: Edge, s: Situation, fluid: Fluid) -> list[Element]:
        many = max(self.many.get(edge.a, 1), self.many.get(edge.b, 1))
        if edge.pipe is not None:
            return [self.laws.pipe(edge.pipe, fluid, many)]
        assert edge.how is not None
        assert edge.machine is not None
        tag, how = edge.machine, edge.how
        found: list[Element] = []
        bore = min(self.bore_mm.get(edge.a, 1e9), self.bore_mm.get(edge.b, 1e9))
        bore = bore if bore < 1e9 else NOT_KNOWN_MM
        a, b = self.ends[edge.id]
        if self.held(a) or self.held(b):
            key = OPENINGS[0] if self.held(a) else OPENINGS[1]
            found.append(self.laws.heads(self.rules.number(key) / many**2, bore))
            if not self._both(edge):
                found.append((ONE_WAY, [0.0, 0.0]))
        if how.how == "driven":
            pump = self.pumps.get(tag)
            if pump is None or pump.head_m is None:
                return found
            if self.runs(s, tag):
                return [*found, self.laws.pump(pump, s.speed.get(tag, 1.0))]
            return [*found, self.laws.stopped(pump)]
        loss = self.losses.get((tag, how.a, how.b))
        if loss is not None:
            half = s.at.get(tag) == "half"
            found += self.laws.machine(loss, fluid, bore, self._dirt(s, tag), half)
        if how.how == "check" and not any(law == ONE_WAY for law, _ in found):
            found.append((ONE_WAY, [0.0, 0.0]))
        return found

    def _spread(self, part: Section, net: Net, found: Solved, opens: list[list[float]],
                counts: list[int], fluid: Fluid, held: Mapping[Node, float],
                height: Mapping[Node, float], out: Flows) -> None:  # fmt: skip
        """Flows and heads of everything in the links; what is shut carries nothing, exactly.

        opens: of each link, the signs of what lets pass one way alone; counts: elements of each
        edge, link by link.
        """
        heads, flows = found.head.tolist(), found.flow.tolist()
        most = max((abs(q) for q in flows), default=0.0)
        for e, q in enumerate(flows):
            back = any(sign * q < 2 * OPENS_M3_S for sign in opens[e])
            if abs(q) < max(STILL * most, OPENS_M3_S) or back:
                flows[e] = 0.0
        lost = iter(losses(net, np.array(flows, np.float64)).tolist())
        many = iter(counts)
        for link, q in zip(part.links, flows, strict=True):
            ends = [held[n] if n in held else heads[part.row[n]] for n in (link.a, link.b)]
            at, here = ends[0], link.a
            out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            for k, sign in link.chain:
                edge = self.edges[k]
                out.l_min[edge.id] = sign * q / L_MIN
                for _ in range(next(many)):
                    at -= next(lost)
                a, b = self.ends[edge.id]
                here = b if sign > 0 else a
                out.head_m[here], out.height_m[here], out.fluid[here] = at, height[here], fluid
            out.head_m[link.b] = ends[1]
