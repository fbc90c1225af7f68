"""Operating maps: what each milk pump gives and what runs by itself, by the solved network.

One solve for each state of the valves and each set of pumps that run together in one section. What
has no say in a section is not asked: the same positions of those that have give the same answer,
which is kept. Most states differ in a valve or two.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar, cast

from byrewright.engine.liquidgraph import Flows, Situation
from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.liquidstreams import Stream, crest_over_m, streams
from byrewright.plant.graph import Node

TOGETHER = 4
"""Pumps of one section told apart one by one; of more, only their number counts."""
TRICKLE_L_MIN = 0.5  # less than this by itself is told as nothing
FILM_M = 0.05  # a rise that a flow goes over by its own swell; heights are told to a centimetre
HALVINGS = 7  # of the speeds among which that of a share of the flow is sought
TUBE_L_MIN = 1.0  # milk given to each unit's tube to ask where it goes

Positions = Mapping[str, str | None]
T = TypeVar("T")


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
    """Solves states of one plant's milk and wash side; answers are kept by what has a say."""

    def __init__(self, net: Liquids, marked: frozenset[str] = frozenset(),
                 plugs: frozenset[Node] = frozenset()) -> None:  # fmt: skip
        self.net = net
        self.plugs = plugs
        """Outlets that a plug of the vessel's own keeps shut until it is to run empty."""
        self.pumps = tuple(
            sorted(t for t, m in net.pumps.items() if self._carries_milk(t, m.inlet))
        )
        self.marked = marked | frozenset(net.pumps)
        self.stores = tuple(sorted(
            t for t, v in net.vessels.items() if v.role == "store" and v.holds in ("milk", "wash")
        ))  # fmt: skip
        self.notes: list[str] = []
        self._kept = net.kept.setdefault((self.marked, plugs), {})
        self._keys: dict[object, tuple[tuple[str, str | None], ...]] = {}
        self._sections: dict[object, tuple[tuple[str, ...], ...]] = {}
        pumps = [(tag, net.pumps[tag]) for tag in self.pumps]
        self._pump_ends = [net.port(tag, n) for tag, m in pumps for n in (m.inlet, m.outlet)]
        self._bodies = [n for ends in net.ends.values() for n in ends
                        if n.machine in self.stores and net.held(n)]  # fmt: skip

    def _once(self, key: object, work: Callable[[list[str]], T]) -> T:
        """An answer with its notes, worked out once for all that ask this network."""
        if key not in self._kept:
            notes: list[str] = []
            self._kept[key] = (work(notes), tuple(notes))
        found = cast("tuple[T, tuple[str, ...]]", self._kept[key])
        self.notes += found[1]
        return found[0]

    def _carries_milk(self, tag: str, inlet: str) -> bool:
        port = self.net.plant.equipment[tag].port(inlet)
        return port is not None and "milk" in port.services

    def situation(self, at: Positions, running: frozenset[str], does: str,
                  dirt: Mapping[str, float] | None = None) -> Situation:  # fmt: skip
        """A state with these milk pumps running and no others; filters clean, or out for a wash."""
        found = dict(at)
        for tag in self.pumps:
            if found.get(tag) != "shut":
                found[tag] = "runs" if tag in running else "stopped"
        clean = dict.fromkeys(self.net.socks, 0.0) if does == "milking" else {}
        return Situation(found, frozenset({does}), dirt=clean | dict(dirt or {}))

    def groups(self, at: Positions, does: str) -> tuple[tuple[str, ...], ...]:
        """Milk pumps that share a section when all of them run."""
        key = self._key(at, self._pump_ends)
        if key not in self._sections:
            s = self.situation(at, frozenset(self.pumps), does)
            self._sections[key] = self.net.together(s, self.pumps)
        return self._sections[key]

    def _key(self, at: Positions, ends: Iterable[Node]) -> tuple[tuple[str, str | None], ...]:
        """Positions that have a say: those of machines that the lines from some ends come to."""
        ends = tuple(ends)
        whole = (tuple((tag, at.get(tag)) for tag in self.net.gated), ends)
        if whole not in self._keys:
            s = self.situation(at, frozenset(self.pumps), "milking")
            mine = self.net.touched(s, ends) | set(self.net.makes_vacuum)
            self._keys[whole] = tuple((tag, at.get(tag)) for tag in self.net.gated if tag in mine)
        return self._keys[whole]

    def given(self, at: Positions, running: frozenset[str], does: str = "milking",
              dirt: Mapping[str, float] | None = None,
              level: float | None = None) -> dict[str, list[Given]]:  # fmt: skip
        """By pump, what it draws from each vessel. A pump against a shut line gives nothing.

        level: share of the volume in every vessel; `vessel.level_share` where None.
        """
        key = ("given", self._key(at, self._pump_ends), running, does,
               tuple(sorted((dirt or {}).items())), level)  # fmt: skip
        s = self.situation(at, running, does, dirt)
        if level is not None:
            held = {t: level * v.volume_l for t, v in self.net.vessels.items()}
            s = replace(s, level_l=held)
        return self._once(key, lambda notes: self._solve(s, running, notes))

    def slowed(self, at: Positions, running: frozenset[str], tag: str, share: float) -> list[Given]:
        """What a pump draws in milking where it gives a share of its full flow, all that run beside
        it as much slower; at full speed where it gives no so little."""
        key = ("slowed", self._key(at, self._pump_ends), running, tag, share)
        return self._once(key, lambda notes: self._slowed(at, running, tag, share, notes))

    def _slowed(self, at: Positions, running: frozenset[str], tag: str, share: float,
                notes: list[str]) -> list[Given]:  # fmt: skip
        full = self.given(at, running).get(tag, [])
        want = share * sum(one.l_min for one in full)
        s, found = self.situation(at, running, "milking"), full
        low, high = 0.0, 1.0
        for _ in range(HALVINGS):
            speed = 0.5 * (low + high)
            now = self._solve(replace(s, speed=dict.fromkeys(running, speed)), running, notes)
            gives = sum(one.l_min for one in now.get(tag, []))
            if gives > 0.0:
                found = now[tag]
            low, high = (speed, high) if gives < want else (low, speed)
        return found

    def delivers(self, at: Positions, running: frozenset[str]) -> tuple[str, ...]:
        """Pipes that milk runs through from some pumps on to the vessels that it comes to."""
        s = self.situation(at, running, "milking")
        pumps = [(tag, self.net.pumps[tag]) for tag in sorted(running)]
        ends = frozenset(self.net.port(tag, n) for tag, m in pumps for n in (m.inlet, m.outlet))

        def work(notes: list[str]) -> tuple[str, ...]:
            on = dict[Node, list[tuple[str, Node]]]()
            for name, q in self._flows(s, ends, notes).l_min.items():
                if q:
                    a, b = self.net.ends[name]
                    on.setdefault(a if q > 0 else b, []).append((name, b if q > 0 else a))
            todo = [self.net.port(tag, m.outlet) for tag, m in pumps]
            seen, pipes = set(todo), set[str]()
            while todo:
                for name, end in on.get(todo.pop(), ()):
                    if self.net.by_id[name].pipe is not None:
                        pipes.add(name)
                    if end not in seen and not self.net.held(end):
                        seen.add(end)
                        todo.append(end)
            return tuple(sorted(pipes))

        return self._once(("delivers", self._key(at, self._pump_ends), running), work)

    def pumped(self, at: Positions, running: frozenset[str]) -> dict[str, float]:
        """What each pump gives in milking, L/min."""
        given = self.given(at, running & frozenset(self.pumps))
        return {tag: sum(g.l_min for g in every) for tag, every in given.items()}

    def _flows(self, s: Situation, only: frozenset[Node], notes: list[str]) -> Flows:
        try:
            return self.net.solve(s, only, notes)
        except LiquidsUnsolved as bad:
            notes.append(str(bad))
            return Flows()

    def _solve(self, s: Situation, running: frozenset[str],
               notes: list[str]) -> dict[str, list[Given]]:  # fmt: skip
        pumps = [(tag, self.net.pumps[tag]) for tag in running]
        ends = {self.net.port(tag, n) for tag, m in pumps for n in (m.inlet, m.outlet)}
        flows = self._flows(s, frozenset(ends), notes)
        found: dict[tuple[str, str], Given] = {}
        for one in streams(self.net, flows, self.marked):
            first = next((t for t in one.passes if t in running), None)
            if first is not None and one.target != one.source:  # round through a stopped pump
                given = found.setdefault((first, one.source), Given(first, one.source))
                given.streams.append(
                    replace(one, passes=tuple(t for t in one.passes if t not in self.net.pumps))
                )
        out: dict[str, list[Given]] = {}
        for (pump, _), given in sorted(found.items()):
            out.setdefault(pump, []).append(given)
        return out

    def by_itself(self, at: Positions, does: str) -> list[Stream]:
        """What runs from milk and wash vessels through no milk pump: by its fall, by the vacuum,
        or by a wash pump. Levels are those of `vessel.level_share`."""
        s = self.situation(at, frozenset(), does)
        s = s if does == "drain_down" else replace(s, capped=self.plugs)

        def work(notes: list[str]) -> list[Stream]:
            flows = self._flows(s, frozenset(self._bodies), notes)
            found = [
                x for x in streams(self.net, flows, self.marked)
                if x.source in self.stores and x.target != x.source and x.l_min >= TRICKLE_L_MIN
                and not set(x.passes) & set(self.pumps)
            ]  # fmt: skip
            return [x for x in found if self._starts(x, s, flows, notes)]

        return self._once(("falls", self._key(at, self._bodies), does), work)

    def _starts(self, x: Stream, s: Situation, flows: Flows, notes: list[str]) -> bool:
        """Whether a stream by fall or vacuum begins: a line that rises over the liquid it comes
        from must be filled first, and nothing fills it."""
        if set(x.passes) & set(self.net.pumps):
            return True
        over, pipe = crest_over_m(self.net, s, flows, x.source, x.target)
        if over > FILM_M:
            notes.append(
                f"{pipe} rises {over:.2f} m over the liquid of {x.source}: nothing runs there to "
                f"{x.target} by itself until the line is full, so none is counted."
            )
        return over <= FILM_M

    def spout(self, at: Positions, node: Node, count: int) -> dict[str, float]:
        """Vessels that milk given at a port comes to, each with its share of the flow."""
        s = replace(self.situation(at, frozenset(), "milking"),
                    drawn_l_min={node: -TUBE_L_MIN * count}, capped=frozenset([node]))  # fmt: skip

        def work(_: list[str]) -> dict[str, float]:
            found: dict[str, float] = {}
            try:
                flows = self.net.solve(s, frozenset([node]))
            except LiquidsUnsolved:
                return found
            for x in streams(self.net, flows, frozenset(), [node]):
                if x.source == node.machine and x.target in self.net.vessels:
                    found[x.target] = found.get(x.target, 0.0) + x.l_min
            return found

        return self._once(("spout", self._key(at, (node,)), node, count), work)
