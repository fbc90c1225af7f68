"""Which vessels a place in the plant reaches, through what, with valves as a mode has them.

Reads the plant's one graph. Series pipes and valves are contracted into a way that keeps the ids
it passes, so that an answer can be explained.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

from byrewright.plant.graph import Joint, Node, build
from byrewright.plant.plant import Plant

GASES = frozenset({"vacuum", "air", "refrigerant", "power", "signal"})
HALF_OPEN = 20.0  # a half-open valve resists as this many times its own length of pipe
SHUT_COSTS = 1.0  # more than any way of pipes resists
VALVE_M = 2.0  # length of pipe that resists as much as an open valve or a machine's way

SHUT = "shut"
"""A position that shuts any machine, whatever its kind: it is blocked or stuck shut."""

Open = Callable[[Joint], bool]


@dataclass(frozen=True, slots=True)
class Way:
    """A way from a place to a vessel: its end, what it passes, and its resistance (m/mm5)."""

    vessel: str
    passes: tuple[str, ...]
    joints: tuple[Joint, ...]
    resistance: float
    port: str

    @property
    def gates(self) -> dict[str, str]:
        """The valves on the way and the position in which each lets it pass."""
        return {
            j.machine: j.how.positions[0]
            for j in self.joints
            if j.machine is not None and j.how is not None and j.how.how == "gate"
        }


class Ways:
    """Searches of one plant's graph."""

    def __init__(self, plant: Plant, vessels: Collection[str],
                 baths: Collection[tuple[str, str]] = ()) -> None:  # fmt: skip
        self.plant = plant
        self.vessels = frozenset(vessels)
        graph = build(plant)
        self.at: dict[Node, list[Joint]] = {n: [] for n in graph.nodes}
        for joint in sorted(graph.joints, key=lambda j: j.id):
            self.at[joint.a].append(joint)
            self.at[joint.b].append(joint)
        self.ports: dict[str, list[str]] = {}
        for one in sorted(graph.nodes, key=lambda n: n.name):
            if one.port != "*":
                self.ports.setdefault(one.machine, []).append(one.port)
        # A bath is met at its outlet; it need not have a body in the graph.
        self.bath_ends = {Node(m, p) for m, out in baths for p in self.used(m, out)}

    def used(self, machine: str, declared: str) -> list[str]:
        """The ports in use of a machine that a declared name (or family) means."""
        kind = self.plant.equipment[machine]
        found = []
        for name in self.ports.get(machine, []):
            port = kind.port(name)
            if port is not None and port.name == declared:
                found.append(name)
        return found

    def openness(self, mode: str | None, wrong: dict[str, str] | None = None) -> Open:
        """How a mode, with some positions that differ, has the valves; None opens all."""
        wrong = wrong or {}

        def is_open(joint: Joint) -> bool:
            if joint.how is not None and wrong.get(joint.machine or "") == SHUT:
                return False
            if joint.how is None or joint.machine is None or joint.how.how != "gate":
                return True
            place = wrong.get(joint.machine)
            if place is None:
                if mode is None:
                    return True
                place = self.plant.position(mode, joint.machine)
            return place in joint.how.positions

        return is_open

    def onward(self, start: Node, is_open: Open, *, back: bool = False, movers: bool = True,
               blocked: Collection[str] = (), gases: Collection[str] = GASES,
               shut: Open | None = None) -> list[Way]:  # fmt: skip
        """The vessels reached from a node (or that reach it, with `back`), least resistance first.

        `blocked` names machines that may not be passed; without `movers` no pump may be. A way
        through what `shut` says is shut comes after every way that passes fewer of these.
        """
        heap: list[tuple[float, int, Node]] = [(0.0, 0, start)]
        came: dict[Node, tuple[Node, Joint] | None] = {start: None}
        best = {start: 0.0}
        found: list[Way] = []
        count = 0
        while heap:
            cost, _, here = heappop(heap)
            if cost > best[here]:
                continue
            body = here.port == "*" and here.machine in self.vessels
            if (body or here in self.bath_ends) and here != start:
                found.append(self._way(here, came, cost, start))
                continue
            for joint in self.at.get(here, []):
                there = joint.b if joint.a == here else joint.a
                if not self._may_pass(joint, here, back, movers, blocked, gases):
                    continue
                if not is_open(joint):
                    continue
                price = cost + self._resistance(joint)
                if shut is not None and shut(joint):
                    price += SHUT_COSTS
                if price < best.get(there, math.inf):
                    best[there] = price
                    came[there] = (here, joint)
                    count += 1
                    heappush(heap, (price, count, there))
        return found

    def _may_pass(self, joint: Joint, here: Node, back: bool, movers: bool,
                  blocked: Collection[str], gases: Collection[str]) -> bool:  # fmt: skip
        if joint.how is None:
            return joint.service not in gases
        if joint.machine in blocked:
            return False
        with_way = (joint.a == here) != back
        how = joint.how.how
        if how == "trap":
            return False
        if how == "mover":
            return movers and with_way
        if how == "check":
            return with_way
        if "*" in (joint.how.a, joint.how.b) and not with_way:
            name = joint.how.b if joint.how.a == "*" else joint.how.a
            every = self.plant.equipment[joint.machine or ""].ports()
            return any(p.name == name and p.direction == "both" for p in every)
        return True

    @staticmethod
    def _resistance(joint: Joint) -> float:
        if joint.pipe is None:
            return VALVE_M / 50.0**5
        pipe = joint.pipe
        return (pipe.length_m + sum(pipe.fittings.values()) * 1.0) / pipe.bore_mm**5

    @staticmethod
    def _way(end: Node, came: dict[Node, tuple[Node, Joint] | None], cost: float,
             start: Node) -> Way:  # fmt: skip
        joints: list[Joint] = []
        here = end
        while here != start:
            step = came[here]
            assert step is not None
            joints.append(step[1])
            here = step[0]
        joints.reverse()
        passes = tuple(dict.fromkeys(j.machine or j.id for j in joints))
        port = next((n.port for n in _nodes_of(joints, end.machine) if n.port != "*"), "*")
        return Way(end.machine, passes, tuple(joints), max(cost, 1e-12), port)


def _nodes_of(joints: list[Joint], machine: str) -> Iterator[Node]:
    for joint in reversed(joints):
        for node in (joint.a, joint.b):
            if node.machine == machine:
                yield node
