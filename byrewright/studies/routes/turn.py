"""Turn a valve by hand: where each fluid then goes, and what harm it does. Quick, for pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.plant.plant import Plant
from byrewright.studies.routes.brute import Case
from byrewright.studies.routes.classes import HARMS, Harm
from byrewright.studies.routes.network import STOPPED, Network, network
from byrewright.studies.routes.questions import scene
from byrewright.studies.routes.scene import Scene

FLUIDS = ("milk", "withheld", "wash", "water", "vacuum")
"""The spreads that are shown."""
LEAVE = frozenset({"milk", "withheld", "wash"})
"""Fluids that flow only where they can leave again."""
ENDS = (
    "stores milk", "is a drain", "gives wash", "holds milk", "is an outlet for milk",
    "keeps withheld milk",
)  # fmt: skip
"""What can take a liquid in or let it out."""


@dataclass(frozen=True, slots=True)
class Way:
    """Where one fluid gets to: pipes and machines by tag.

    `standing` are pipes that it fills and does not pass through: dead ends, from which nothing open
    leads on to a vessel, an outlet or a drain, and what lies before or behind a pump that stands.
    """

    fluid: str
    pipes: frozenset[str]
    machines: frozenset[str]
    standing: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Turned:
    """A mode with some machines turned by hand: ways of the fluids, and harm by what it hits."""

    mode: str
    wrong: tuple[tuple[str, str], ...]
    ways: tuple[Way, ...]
    harms: tuple[tuple[Harm, str], ...]

    def way(self, fluid: str) -> Way | None:
        """The way of one fluid, or None where it goes nowhere."""
        return next((w for w in self.ways if w.fluid == fluid), None)


def turn(plant: Plant, mode: str, wrong: Mapping[str, str], net: Network | None = None,
         made: Scene | None = None) -> Turned:  # fmt: skip
    """What happens in a mode when some machines stand otherwise than it wants.

    `net` and `made` (the mode's scene) may be passed in to save time.

    Raises:
        KeyError: the plant has no such mode.
    """
    net = net or network(plant)
    made = made or scene(plant, mode, net)
    moved = {m: p for m, p in wrong.items() if made.wanted.get(m) != p}
    case = Case(made, moved.items())
    ways = []
    for fluid in FLUIDS:
        found = case.walk(fluid) if fluid in made.spreads else {}
        pipes = frozenset(p for p, (a, b) in net.pipe_ends.items() if a in found and b in found)
        machines = frozenset(net.nodes[n].machine for n in found)
        if pipes or len(machines) > 1:
            stands = _standing(plant, net, made, case, fluid) & pipes
            ways.append(Way(fluid, pipes, machines, stands))
    harms = dict.fromkeys((HARMS[q.harm], q.subject) for q in made.questions if case.holds(q))
    return Turned(mode, tuple(moved.items()), tuple(ways), tuple(harms))


def _standing(plant: Plant, net: Network, made: Scene, case: Case, fluid: str) -> frozenset[str]:
    """Pipes from which no open way leads on to where the fluid can go."""
    if fluid not in LEAVE:
        return frozenset()
    spread, found = made.spreads[fluid], case.walk(fluid)
    near: dict[int, set[int]] = {n: set() for n in found}
    for a, b, machine, positions in spread.ways:
        at = case.position.get(machine) if machine is not None else None
        free = machine is None or positions is None or at in positions
        # Through a pump that stands nothing runs, though a harm by its fall is looked for.
        if a in near and b in near and free and at != STOPPED:
            near[a].add(b)
            near[b].add(a)
    kept = {node for node, *_ in spread.starts} | {
        n for n in found if any(plant.equipment[net.nodes[n].machine].can(c) for c in ENDS)
    }
    dead = [n for n, others in near.items() if len(others) < 2 and n not in kept]
    gone = set(dead)
    while dead:  # a dead end, then what leads only to it, and so on
        for other in near[dead.pop()] - gone - kept:
            if len(near[other] - gone) < 2:
                gone.add(other)
                dead.append(other)
    return frozenset(p for p, (a, b) in net.pipe_ends.items() if a in gone or b in gone)


def choices(plant: Plant, machine_id: str) -> tuple[str, ...]:
    """The positions a person may turn a machine to; empty where there is nothing to turn."""
    machine = plant.equipment[machine_id]
    ways = machine.inside()
    if any(w.how == "gate" for w in ways):
        return tuple(dict.fromkeys((*machine.states(), *(p for w in ways for p in w.positions))))
    if any(w.how == "driven" for w in ways):
        return tuple(s for s in machine.states() if s in ("stopped", "runs"))
    return ()
