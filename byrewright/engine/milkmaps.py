"""Operating maps of the milk pumps: what each gives and where it goes, by the solved network.

One solve for each state of the valves and each set of pumps that run together in one section. The
same positions give the same answer, which is kept: most states differ in a valve or two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from byrewright.engine.liquidgraph import Flows, Situation
from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.liquidstreams import Stream, streams
from byrewright.plant.graph import Node

TOGETHER = 4
"""Pumps of one section told apart one by one; of more, only their number counts."""


@dataclass(slots=True)
class Given:
    """What one pump draws from one vessel in one state and set of pumps: streams in L/min."""

    pump: str
    source: str
    streams: list[Stream] = field(default_factory=list)

    @property
    def l_min(self) -> float:
        """Their sum."""
        return sum(s.l_min for s in self.streams)


class MilkMaps:
    """Solves states of one plant's milk side."""

    def __init__(self, net: Liquids, marked: frozenset[str]) -> None:
        self.net = net
        self.pumps = tuple(
            sorted(t for t, m in net.movers.items() if self._carries_milk(t, m.inlet))
        )
        self.marked = marked | frozenset(self.pumps)
        self.notes: list[str] = []
        self._kept: dict[object, dict[str, list[Given]]] = {}
        self._keys: dict[object, tuple[tuple[str, str | None], ...]] = {}
        self._sections: dict[object, tuple[tuple[str, ...], ...]] = {}

    def _carries_milk(self, tag: str, inlet: str) -> bool:
        port = self.net.plant.equipment[tag].port(inlet)
        return port is not None and "milk" in port.services

    def situation(self, at: Mapping[str, str | None], running: frozenset[str],
                  dirt: Mapping[str, float] | None = None) -> Situation:  # fmt: skip
        """A milking state with these milk pumps running and no others; filters clean."""
        found = dict(at)
        for tag in self.pumps:
            if found.get(tag) != "shut":
                found[tag] = "runs" if tag in running else "stopped"
        clean = dict.fromkeys(self.net.socks, 0.0)
        return Situation(found, frozenset({"milking"}), dirt=clean | dict(dirt or {}))

    def groups(self, at: Mapping[str, str | None]) -> tuple[tuple[str, ...], ...]:
        """Milk pumps that share a section when all of them run."""
        key = self._key(at)
        if key not in self._sections:
            s = self.situation(at, frozenset(self.pumps))
            self._sections[key] = self.net.together(s, self.pumps)
        return self._sections[key]

    def _key(self, at: Mapping[str, str | None]) -> tuple[tuple[str, str | None], ...]:
        """The positions that have a say: those of machines that the pumps' lines come to."""
        whole = tuple((tag, at.get(tag)) for tag in self.net.gated)
        if whole not in self._keys:
            s = self.situation(at, frozenset(self.pumps))
            movers = [(tag, self.net.movers[tag]) for tag in self.pumps]
            ends = [self.net.port(tag, name) for tag, m in movers for name in (m.inlet, m.outlet)]
            mine = self.net.touched(s, ends) | set(self.net.makes_vacuum)
            self._keys[whole] = tuple((tag, at.get(tag)) for tag in self.net.gated if tag in mine)
        return self._keys[whole]

    def given(self, at: Mapping[str, str | None], running: frozenset[str],
              dirt: Mapping[str, float] | None = None) -> dict[str, list[Given]]:  # fmt: skip
        """By pump, what it draws from each vessel. A pump against a shut line gives nothing."""
        s = self.situation(at, running, dirt)
        key = (self._key(at), running, tuple(sorted((dirt or {}).items())))
        if key not in self._kept:
            self._kept[key] = self._solve(s, running)
        return self._kept[key]

    def _solve(self, s: Situation, running: frozenset[str]) -> dict[str, list[Given]]:
        only = frozenset(
            Node(tag, name)
            for tag in running
            for name in (self.net.port(tag, self.net.movers[tag].inlet).port,
                         self.net.port(tag, self.net.movers[tag].outlet).port)
        )  # fmt: skip
        try:
            flows = self.net.solve(s, only)
        except LiquidsUnsolved as bad:
            self.notes.append(str(bad))
            flows = Flows()
        found: dict[tuple[str, str], Given] = {}
        for one in streams(self.net, flows, self.marked):
            first = next((t for t in one.passes if t in running), None)
            if first is not None and one.target != one.source:  # round through a stopped pump
                given = found.setdefault((first, one.source), Given(first, one.source))
                given.streams.append(
                    replace(one, passes=tuple(t for t in one.passes if t not in self.pumps))
                )
        out: dict[str, list[Given]] = {}
        for (pump, _), given in sorted(found.items()):
            out.setdefault(pump, []).append(given)
        return out
