"""Turn a valve by hand: where each fluid then goes, and what harm it does. Quick, for pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.plant.plant import Plant
from byrewright.studies.routes.brute import Case
from byrewright.studies.routes.classes import HARMS, Harm
from byrewright.studies.routes.network import Network, network
from byrewright.studies.routes.questions import scene
from byrewright.studies.routes.scene import Scene

FLUIDS = ("milk", "withheld", "wash", "water", "vacuum")
"""The spreads that are shown."""


@dataclass(frozen=True, slots=True)
class Way:
    """Where one fluid gets to: pipes and machines by tag."""

    fluid: str
    pipes: frozenset[str]
    machines: frozenset[str]


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
            ways.append(Way(fluid, pipes, machines))
    harms = dict.fromkeys((HARMS[q.harm], q.subject) for q in made.questions if case.holds(q))
    return Turned(mode, tuple(moved.items()), tuple(ways), tuple(harms))


def choices(plant: Plant, machine_id: str) -> tuple[str, ...]:
    """The positions a person may turn a machine to; empty where there is nothing to turn."""
    machine = plant.equipment[machine_id]
    ways = machine.inside()
    if any(w.how == "gate" for w in ways):
        return tuple(dict.fromkeys((*machine.states(), *(p for w in ways for p in w.positions))))
    if any(w.how == "mover" for w in ways):
        return tuple(s for s in machine.states() if s in ("stopped", "runs"))
    return ()
