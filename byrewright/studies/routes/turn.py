"""Turn a valve by hand: where each fluid then goes, and what harm it does. Quick, for pages."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from byrewright.engine.liquidgraph import Flows, Situation
from byrewright.engine.liquids import Liquids, LiquidsUnsolved, liquids_of
from byrewright.plant.graph import Node
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.routes.brute import Case
from byrewright.studies.routes.classes import Harm
from byrewright.studies.routes.network import STOPPED, Network, Roles, network
from byrewright.studies.routes.questions import content_of, scene
from byrewright.studies.routes.scene import Scene

VACUUM = "vacuum"
FLUIDS = ("milk", "withheld", "wash", "water", VACUUM)
"""The fluids that are shown."""
UNIT_L_MIN = 1.0
"""What each unit is taken to give when its milk's way is sought: the way is the same for any."""


@dataclass(frozen=True, slots=True)
class Way:
    """Where one fluid gets to: pipes and machines by tag.

    `onward` are pipes in which it moves from their start to their end by the solved network, and
    `back` those in which it moves from their end to their start. What it reaches and does not move
    in stands full; of gas that is not asked.
    """

    fluid: str
    pipes: frozenset[str]
    machines: frozenset[str]
    onward: frozenset[str] = frozenset()
    back: frozenset[str] = frozenset()

    @property
    def standing(self) -> frozenset[str]:
        """Pipes that it fills and does not move in."""
        return frozenset() if self.fluid == VACUUM else self.pipes - self.onward - self.back


@dataclass(frozen=True, slots=True)
class Turned:
    """A mode with some machines turned by hand: ways of the fluids, and harm by what it hits.

    `unsolved` says of which part of the plant the network has no answer: nothing is shown moving
    there.
    """

    mode: str
    wrong: tuple[tuple[str, str], ...]
    ways: tuple[Way, ...]
    harms: tuple[tuple[Harm, str], ...]
    unsolved: tuple[str, ...] = ()

    def way(self, fluid: str) -> Way | None:
        """The way of one fluid, or None where it goes nowhere."""
        return next((w for w in self.ways if w.fluid == fluid), None)


def turn(plant: Plant, mode: str, wrong: Mapping[str, str], net: Network | None = None,
         made: Scene | None = None, liquids: Liquids | None = None) -> Turned:  # fmt: skip
    """What happens in a mode when some machines stand otherwise than it wants.

    `net`, `made` (the mode's scene) and `liquids` may be passed in to save time.

    Raises:
        KeyError: the plant has no such mode.
    """
    net = net or network(plant)
    made = made or scene(plant, mode, net)
    moved = {m: p for m, p in wrong.items() if made.wanted.get(m) != p}
    case = Case(made, moved.items())
    held = [q for q in made.questions if case.holds(q)]
    harms = dict.fromkeys((made.harm(q.harm), q.subject) for q in held)
    solved = _Solved(liquids or liquids_of(plant, default_rulebook()), mode, moved,
                     sucked="vacuum_lost" not in {q.harm for q in held})  # fmt: skip
    reached = {f: set(_reached(made, case, f)) for f in FLUIDS}
    ways = []
    for fluid, found in reached.items():
        moves: dict[str, float] = {}
        if fluid != VACUUM:
            bodies = {net.nodes[n].machine for n in found if net.nodes[n].port == "*"}
            if fluid == "water":  # a vessel that both come to gives wash
                bodies -= {net.nodes[n].machine for n in reached["wash"]}
            began = made.propagations[fluid].starts if fluid in made.propagations else ()
            spouts = [net.nodes[n] for n, *_ in began if n in found and net.nodes[n].port != "*"]
            moves = solved.from_units(spouts) | solved.from_vessels(bodies)
        pipes = {p for p, (a, b) in net.pipe_ends.items() if a in found and b in found}
        pipes |= moves.keys()
        machines = {net.nodes[n].machine for n in found}
        machines |= {net.nodes[n].machine for p in pipes for n in net.pipe_ends[p]}
        if pipes or len(machines) > 1:
            onward = frozenset(p for p, q in moves.items() if q > 0)
            ways.append(Way(fluid, frozenset(pipes), frozenset(machines), onward,
                            frozenset(moves.keys() - onward)))  # fmt: skip
    return Turned(mode, tuple(moved.items()), tuple(ways), tuple(harms), tuple(solved.unsolved))


def _reached(made: Scene, case: Case, fluid: str) -> Iterator[int]:
    """Nodes that a fluid gets to; milk from the vessels that hold it as well as from the units."""
    roles = Roles(made.net.plant)
    held = (*roles.tanks, *roles.calves) if fluid == "milk" else ()
    for key in (fluid, *map(content_of, held)):
        if key in made.propagations:
            yield from case.walk(key)


class _Solved:
    """The solved network in one state, read as ways of fluids."""

    def __init__(self, net: Liquids, mode: str, moved: Mapping[str, str], *,
                 sucked: bool) -> None:  # fmt: skip
        """sucked: there is vacuum. Where it is lost anywhere, it is taken as lost everywhere."""
        self.net = net
        still = {} if sucked else dict.fromkeys(net.makes_vacuum, STOPPED)
        self.state: Situation = net.situation(mode, {**moved, **still})
        self.flows = self._solve()
        if rising := self._rising():  # until what joins it to another vessel takes it on
            self.state = replace(self.state, level_l=rising)
            self.flows = self._solve()

    def _solve(self) -> Flows:
        self.unsolved: list[str] = []
        try:
            return self.net.solve(self.state, broken=self.unsolved)
        except LiquidsUnsolved as bad:
            self.unsolved.append(str(bad))
            return Flows()

    def _rising(self) -> dict[str, float]:
        """The vessels that get and do not give, but stand open to another on its level: full."""
        ends = [self.net.ends[name][:: 1 if q > 0 else -1]
                for name, q in self.flows.l_min.items() if q]  # fmt: skip
        gives = {a.machine for a, _ in ends if self.net.held(a)}
        gets = {b.machine for _, b in ends if self.net.held(b)} - gives
        return {
            n.machine: self.net.vessels[n.machine].volume_l
            for of in self.net.ends.values() for n in of
            if n.machine in gets and self.net.held(n) and self.net.joined(self.state, n)
        }  # fmt: skip

    def from_vessels(self, tags: Collection[str]) -> dict[str, float]:
        """Flow in each pipe that what leaves some vessels moves through, L/min."""
        return self._onward(self.flows, lambda n: n.machine in tags and self.net.held(n))

    def from_units(self, spouts: Collection[Node]) -> dict[str, float]:
        """The same of what units give at their ports, by `UNIT_L_MIN` a unit."""
        found: dict[str, float] = {}
        for spout in spouts:
            flow = -UNIT_L_MIN * self.net.many.get(spout, 1)
            state = replace(self.state, drawn_l_min={spout: flow}, capped=frozenset([spout]))
            try:
                flows = self.net.solve(state, frozenset([spout]))
            except LiquidsUnsolved:
                continue  # its line is shut: nothing moves there
            found |= self._onward(flows, spout.__eq__)
        return found

    def _onward(self, flows: Flows, begins: Callable[[Node], bool]) -> dict[str, float]:
        on: dict[Node, list[tuple[str, Node]]] = {}
        for name, q in flows.l_min.items():
            if q:
                a, b = self.net.ends[name]
                on.setdefault(a if q > 0 else b, []).append((name, b if q > 0 else a))
        todo = [n for n in on if begins(n)]
        seen, found = set(todo), dict[str, float]()
        while todo:
            for name, end in on.get(todo.pop(), ()):
                if self.net.by_id[name].pipe is not None:
                    found[name] = flows.l_min[name]
                if end not in seen and not self.net.held(end):
                    seen.add(end)
                    todo.append(end)
        return found


def choices(plant: Plant, machine_id: str) -> tuple[str, ...]:
    """The positions a person may turn a machine to; empty where there is nothing to turn."""
    machine = plant.equipment[machine_id]
    ways = machine.inside()
    if any(w.how == "gate" for w in ways):
        return tuple(dict.fromkeys((*machine.states(), *(p for w in ways for p in w.positions))))
    if any(w.how == "driven" for w in ways):
        return tuple(s for s in machine.states() if s in ("stopped", "runs"))
    return ()
