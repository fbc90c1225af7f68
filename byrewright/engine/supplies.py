"""Water that reaches a port: from which vessels, by which pumps, and how much at most.

Asked of the solved network in the mode that sends most there, with every other float valve shut:
each user is told what it gets alone. A source whose pressure nothing states gives what it is
stated to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from byrewright.engine.liquidgraph import SHUT, Situation
from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.liquidstreams import Stream, streams
from byrewright.plant.graph import Node

LEAST_L_MIN = 0.1  # less than this is a trickle through a pump that stands


@dataclass(frozen=True, slots=True)
class Supply:
    """What one vessel gives to a port through some pumps, L/min; where it runs on to."""

    source: str
    target: str
    pumps: tuple[str, ...]
    l_min: float
    passes: tuple[str, ...]


class Supplies:
    """Asks one network for its water ports."""

    def __init__(self, net: Liquids, floats: Iterable[Node], marked: Collection[str]) -> None:
        self.net = net
        self.marked = frozenset(marked)
        self.behind: frozenset[Node] = frozenset()
        """Ports behind a machine that takes heat: water runs in there unasked."""
        self.floats = frozenset(floats)
        self.any = net.every_way()

    def heats(self, outlets: Iterable[Node]) -> None:
        """Say where machines that take heat give their water on."""
        found: set[Node] = set()
        todo = list(outlets)
        while todo:
            here = todo.pop()
            found.add(here)
            for j in self.net.edges:
                if here in (j.a, j.b) and (j.how is None or j.how.how in ("gate", "pass")) and (
                    not self.net.body(j.a) and not self.net.body(j.b)
                    and j.machine not in self.marked
                ):  # fmt: skip
                    todo += {j.a, j.b} - found
        self.behind = frozenset(found)

    def to(self, node: Node, sources: Collection[str], modes: Iterable[str],
           draws_l_min: float = 0.0, anyhow: bool = True) -> list[Supply]:  # fmt: skip
        """What each vessel of `sources` gives to a port, most first.

        Args:
            draws_l_min: what a machine takes at a port behind which no line goes on.
            anyhow: where none of the modes sends any, with every gate open.
        """
        capped = self.floats - self.behind - {node}
        drawn = {node: draws_l_min} if draws_l_min else {}
        every = [replace(s, capped=capped, drawn_l_min={**s.drawn_l_min, **drawn})
                 for s in (*map(self.net.situation, modes), *[self.any][:anyhow])]  # fmt: skip
        best: list[Stream] = []
        for s in every:
            found = [x for x in self._through(s, node) if x.source in sources]
            if sum(x.l_min for x in found) > sum(x.l_min for x in best) + LEAST_L_MIN:
                best = found
            if best and anyhow and any(s is last for last in every[-2:-1]):
                break  # a position of no mode counts only where none sends any
        pumps = self.net.pumps
        if best:
            best.sort(key=lambda x: (-x.l_min, x.source, x.passes))
            return [Supply(x.source, x.target, tuple(p for p in x.passes if p in pumps), x.l_min,
                           x.through) for x in best]  # fmt: skip
        return self._stated(node, sources, every)

    def _through(self, s: Situation, node: Node) -> list[Stream]:
        try:
            flows = self.net.solve(s, frozenset([node]))
        except LiquidsUnsolved:
            return []
        near = [abs(q) for name, q in flows.l_min.items() if node in self.net.ends[name]]
        if max(near, default=0.0) < LEAST_L_MIN:
            return []
        found = streams(self.net, flows, self.marked)
        own = [x for x in found
               if node.machine in (*x.through, x.target) and x.source != node.machine]  # fmt: skip
        return [x for x in own if x.l_min >= LEAST_L_MIN and self._clean(x, node)]

    def _clean(self, stream: Stream, node: Node) -> bool:
        """Whether it comes straight, not through another machine that takes heat."""
        return not any(p != node.machine and p not in self.net.pumps for p in stream.passes)

    def _stated(self, node: Node, sources: Collection[str],
                every: list[Situation]) -> list[Supply]:  # fmt: skip
        """Sources whose pressure is not stated, in the first state that joins one to the port."""
        for s in every:
            for tag in self.net.joined(s, node):
                vessel = self.net.vessels.get(tag)
                if tag in sources and vessel is not None and s.at.get(node.machine) != SHUT:
                    most = vessel.volume_l if vessel.role == "source" else 0.0
                    if most > 0:
                        return [Supply(tag, node.machine, (), most, (tag,))]
        return []
