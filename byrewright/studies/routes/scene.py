"""One mode seen as questions: conditions on spreads that must never all hold together."""

from __future__ import annotations

from dataclasses import dataclass, field

from byrewright.plant.plant import Plant
from byrewright.studies.routes.classes import HARMS, Harm
from byrewright.studies.routes.network import READY, RUNS, STOPPED, Network, surely
from byrewright.studies.routes.propagation import Propagation


@dataclass(frozen=True, slots=True)
class Reaches:
    """Holds when a spread reaches one of the nodes (or none of them, when not `wanted`)."""

    propagation: str
    nodes: tuple[int, ...]
    wanted: bool = True


@dataclass(frozen=True, slots=True)
class Stands:
    """Holds while a machine is in one of the positions."""

    machine: str
    positions: frozenset[str]


Condition = Reaches | Stands


@dataclass(frozen=True, slots=True)
class Question:
    """Something that must not happen: it does when every condition holds."""

    harm: str
    subject: str
    all_of: tuple[Condition, ...]
    loses: str = ""
    """`milk` loses the milk flow, a tank's id loses its content, `pipe:ID` leaves litres."""

    @property
    def name(self) -> str:
        return f"{self.harm}@{self.subject}"


@dataclass
class Scene:
    """One mode (or one change between two modes): wanted positions, what else they could be,
    the spreads and the questions."""

    name: str
    does: frozenset[str]
    wanted: dict[str, str | None]
    others: dict[str, tuple[str, ...]]
    net: Network
    propagations: dict[str, Propagation] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)

    def ask(self, harm: str, subject: str, *all_of: Condition, loses: str = "") -> None:
        """Add a question, unless it has a reach condition without a node."""
        if not any(isinstance(c, Reaches) and c.wanted and not c.nodes for c in all_of):
            self.questions.append(Question(harm, subject, all_of, loses))

    @property
    def milked(self) -> bool:
        """Whether cows are milked in it."""
        return "milk" in self.propagations and bool(self.propagations["milk"].starts)

    def harm(self, key: str) -> Harm:
        """A class of verdict as it is told in this mode."""
        return HARMS[key].where(self.milked)

    def guards(self, question: Question) -> set[str]:
        """The machines whose position can matter to a question."""
        found: set[str] = set()
        for condition in question.all_of:
            if isinstance(condition, Stands):
                found.add(condition.machine)
            else:
                found |= self.propagations[condition.propagation].guards
        return found


def other_positions(plant: Plant, machine_id: str, wanted: str | None) -> tuple[str, ...]:
    """The wrong positions of a machine that differ in effect from the wanted one and each other."""
    machine = plant.equipment[machine_id]
    if machine.can("gives milk"):
        return ()
    ways = machine.inside()
    if any(w.how == "driven" for w in ways):
        return tuple(
            s for s in (RUNS, STOPPED) if s != wanted and not (s == RUNS and wanted == READY)
        )
    gates = [w for w in ways if w.how == "gate"]
    if not gates:
        return ()
    every = dict.fromkeys((*machine.states(), *(p for w in gates for p in w.positions)))

    def effect(position: str | None) -> tuple[tuple[bool, bool], ...]:
        return tuple(
            (position in w.positions, position in surely(machine, w.positions)) for w in gates
        )

    seen = {effect(wanted)}
    out = []
    for position in every:
        if effect(position) not in seen:
            seen.add(effect(position))
            out.append(position)
    return tuple(out)
