"""What a state of valves and pumps leaves open of a liquid network, and how that hangs together.

All of it follows from how the plant is joined up, whatever its sizes, and is kept by that: a draft
on its way, or a search for a size, asks the same states of one plant with other sizes.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Generic, TypeVar

import numpy as np

from byrewright.engine.liquidgraph import LiquidGraph, Situation
from byrewright.plant.graph import Edge, Node

LEVEL_M = 1.0e-6  # heights that differ by less are one
PLANTS, STATES = 4, 256
"""Plants, as they are joined up, and states of each, whose open parts are kept."""


@dataclass(frozen=True, slots=True)
class Link:
    """Edges in a row between two ends, each by its number, +1 where it is passed from a to b."""

    a: Node
    b: Node
    chain: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """Open edges that hang together, as links between the nodes where something meets.

    vessels: ends at which a vessel holds the head. told_from: the node that the heads are told from
    where there is none. free, fixed: ends of links whose head is sought, and those that are held;
    row: their rows in this order. ends: rows of both ends of each link; (e, 2) integers.
    """

    nodes: frozenset[Node]
    edges: tuple[int, ...]
    machines: tuple[str, ...]
    services: frozenset[str]
    vessels: tuple[Node, ...]
    told_from: Node
    links: tuple[Link, ...]
    free: tuple[Node, ...]
    fixed: tuple[Node, ...]
    row: Mapping[Node, int]
    ends: Any


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """What a state leaves open: sections apart, edges of pumps with a given flow, open pumps, and
    nodes at which something is drawn though no open edge meets them."""

    sections: tuple[Section, ...]
    forced: tuple[int, ...]
    pumps: frozenset[str | None]
    cut_off: tuple[Node, ...]


T = TypeVar("T")
K = TypeVar("K")
Risen = tuple[dict[Node, float], list[str]]
"""Heights of what is open, in m, and pipes that do not close a ring."""


class _Kept(Generic[T]):
    """Answers by how a plant is joined up, of the plants asked last."""

    def __init__(self) -> None:
        self._of: OrderedDict[object, dict[object, T]] = OrderedDict()

    def of(self, shape: object) -> dict[object, T]:
        found = self._of.setdefault(shape, {})
        self._of.move_to_end(shape)
        while len(self._of) > PLANTS:
            self._of.popitem(last=False)
        return found

    def clear(self) -> None:
        self._of.clear()


_opened, _sections, _risen = _Kept[Opened](), _Kept[Section](), _Kept[Risen]()


def put(kept: dict[K, T], key: K, answer: T) -> T:
    """Keep an answer among at most `STATES`."""
    if len(kept) >= STATES:
        kept.clear()
    kept[key] = answer
    return answer


class LiquidSections(LiquidGraph):
    """The graph of a plant's liquids and the parts that each state leaves open."""

    @cached_property
    def _shape(self) -> object:
        edges = tuple((j.id, j.a, j.b, j.machine, j.how, j.service) for j in self.edges)
        return edges, tuple(sorted(self.vessels))

    @cached_property
    def _known(self) -> dict[object, Opened]:
        return _opened.of(self._shape)

    @cached_property
    def _parts(self) -> dict[object, Section]:
        return _sections.of(self._shape)

    @cached_property
    def _levels(self) -> dict[object, Risen]:
        rises = tuple(j.pipe.climb_m for j in self.edges if j.pipe is not None)
        return _risen.of((self._shape, rises))

    def opened(self, s: Situation, taken: Iterable[Node]) -> Opened:
        """What of the network a state leaves open, where liquid is drawn at some nodes: the same
        for all flows and sizes, so that it is kept."""
        taken = frozenset(taken)
        key = (
            frozenset(s.at.items()), frozenset(t for t, x in s.speed.items() if x > 0), s.capped,
            frozenset(s.forced_l_min), taken,
        )  # fmt: skip
        found = self._known.get(key)
        return put(self._known, key, self._opened(s, taken)) if found is None else found

    def heights_in(self, open_: Opened) -> Risen:
        """Heights of what is open, from the pipes' rises."""
        found = self._levels.get(open_)
        if found is None:
            uneven: list[str] = []
            found = put(self._levels, open_, (self._heights(open_, uneven), uneven))
        return found

    def _opened(self, s: Situation, taken: frozenset[Node]) -> Opened:
        alive = self._alive(s, taken)
        known = self._parts
        at: dict[Node, list[int]] = {}
        for k in alive:
            for node in self.ends[self.edges[k].id]:
                at.setdefault(node, []).append(k)
        sections: list[Section] = []
        cut_off: list[Node] = []
        seen: set[Node] = set()
        for start in sorted({*at, *taken}, key=lambda n: n.name):
            if start in seen:
                continue
            nodes, edges = self.spanned(start, at)
            seen |= nodes
            if edges:
                part = tuple(edges), frozenset(taken & nodes)
                sections.append(
                    known[part] if part in known
                    else put(known, part, self._section(frozenset(nodes), edges, at, part[1]))
                )  # fmt: skip
            else:
                cut_off.append(start)
        forced = tuple(k for k, j in enumerate(self.edges) if j.machine in s.forced_l_min
                       and j.how is not None and j.how.how == "driven")  # fmt: skip
        return Opened(
            tuple(sections), forced,
            frozenset(j.machine for j in map(self.edges.__getitem__, alive)
                      if j.how is not None and j.how.how == "driven"),
            tuple(cut_off),
        )  # fmt: skip

    def _alive(self, s: Situation, taken: Iterable[Node]) -> list[int]:
        """Open edges that are no dead end, by number."""
        number, pairs = self._numbered
        is_open = [self.is_open(j, s) for j in self.edges]
        of: list[list[int]] = [[] for _ in number]
        for k, (a, b) in enumerate(pairs):
            if is_open[k]:
                of[a].append(k)
                if b != a:
                    of[b].append(k)
        stays = [self.held(n) or n in taken for n in number]
        degree = [len(x) for x in of]
        loose = [n for n, d in enumerate(degree) if d == 1 and not stays[n]]
        while loose:
            n = loose.pop()
            if degree[n] != 1:
                continue
            k = next(k for k in of[n] if is_open[k])
            is_open[k] = False
            for m in set(pairs[k]):
                degree[m] -= 1
                if degree[m] == 1 and not stays[m]:
                    loose.append(m)
        return [k for k, is_so in enumerate(is_open) if is_so]

    @cached_property
    def _numbered(self) -> tuple[dict[Node, int], list[tuple[int, int]]]:
        """Every end of an edge with a number of its own, and the two numbers of each edge."""
        number: dict[Node, int] = {}
        pairs = [self.ends[j.id] for j in self.edges]
        for node in (n for pair in pairs for n in pair):
            number.setdefault(node, len(number))
        return number, [(number[a], number[b]) for a, b in pairs]

    def spanned(self, start: Node, at: Mapping[Node, list[int]]) -> tuple[set[Node], list[int]]:
        """The nodes and edges that hang together with a node, edges by number."""
        nodes, todo = {start}, [start]
        found: set[int] = set()
        while todo:
            for k in at.get(todo.pop(), ()):
                if k not in found:
                    found.add(k)
                    fresh = set(self.ends[self.edges[k].id]) - nodes
                    nodes |= fresh
                    todo += fresh
        return nodes, sorted(found)

    def together(self, s: Situation, tags: Iterable[str]) -> tuple[tuple[str, ...], ...]:
        """Those of some pumps that share a section in a state."""
        sections = self.opened(s, ()).sections
        of: dict[object, list[str]] = {}
        for tag in tags:
            inlet = self.port(tag, self.pumps[tag].inlet)
            of.setdefault(next((k for k, x in enumerate(sections) if inlet in x.nodes), inlet),
                          []).append(tag)  # fmt: skip
        return tuple(tuple(mine) for mine in of.values())

    def _heights(self, open_: Opened, uneven: list[str]) -> dict[Node, float]:
        """Heights from the pipes' rises, nil at the first node of what hangs together.

        A forced pump joins the sections on its two sides; all ports of a vessel in one of these are
        told from one floor. A ring comes back to its own height, whatever is stated.
        """
        sections = [(set(x.nodes), [self.edges[k] for k in x.edges]) for x in open_.sections]
        forced = [self.edges[k] for k in open_.forced]
        found: dict[Node, float] = {}
        left = list(sections)
        while left:
            nodes, edges = left.pop(0)
            nodes, edges = set(nodes), list(edges)
            while True:
                more = [j for j in forced if j not in edges and nodes & set(self.ends[j.id])]
                edges += more
                ends = {n for j in more for n in self.ends[j.id]}
                met = [x for x in left if x[0] & ends]
                if not met and not more:
                    break
                left = [x for x in left if x not in met]
                nodes |= ends.union(*(x[0] for x in met))
                edges += [j for x in met for j in x[1]]
            found |= self.heights_of(nodes, edges, uneven)
        return found

    def heights_of(
        self, nodes: set[Node], edges: list[Edge], uneven: list[str]
    ) -> dict[Node, float]:
        """Height of each node over the first by name, m; pipes that close a ring at another height
        are added to `uneven`."""
        steps = [(0, *self.ends[j.id], 0.0, "") for j in edges if j.pipe is None]
        for j in edges:
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

    # One section.

    def _section(self, nodes: frozenset[Node], edges: list[int], at: Mapping[Node, list[int]],
                 taken: frozenset[Node]) -> Section:  # fmt: skip
        vessels = tuple(sorted((n for n in nodes if self.held(n)), key=lambda n: n.name))
        suction = [j.a for j in map(self.edges.__getitem__, edges)
                   if j.how is not None and j.how.how == "driven"]  # fmt: skip
        told_from = min(suction or nodes, key=lambda n: n.name)
        held = set(vessels or (told_from,))
        links = self._links(nodes, at, held | taken)
        ends = sorted({n for link in links for n in (link.a, link.b)}, key=lambda n: n.name)
        free = tuple(n for n in ends if n not in held)
        fixed = tuple(n for n in ends if n in held)
        row = {n: i for i, n in enumerate((*free, *fixed))}
        services = frozenset(
            str(j.service) for j in map(self.edges.__getitem__, edges) if j.pipe is not None
        )
        machines = {j.machine for j in map(self.edges.__getitem__, edges) if j.machine is not None}
        return Section(
            nodes, tuple(edges), tuple(sorted(machines)), services, vessels, told_from,
            tuple(links), free, fixed, row,
            np.array([(row[x.a], row[x.b]) for x in links], np.int64).reshape(-1, 2),
        )  # fmt: skip

    def _links(self, nodes: frozenset[Node], at: Mapping[Node, list[int]],
               stops: set[Node]) -> list[Link]:  # fmt: skip
        """Edges in rows between the nodes where something meets."""
        stops = stops | {n for n in nodes if len(at.get(n, ())) != 2}
        links: list[Link] = []
        used: set[int] = set()
        for start in sorted(stops, key=lambda n: n.name):
            for first in at.get(start, ()):
                if first in used:
                    continue
                here, k = start, first
                chain: list[tuple[int, float]] = []
                while True:
                    used.add(k)
                    a, b = self._ends_of(k)
                    chain.append((k, 1.0 if here == a else -1.0))
                    here = b if here == a else a
                    if here in stops:
                        break
                    k = next(k for k in at[here] if k not in used)
                if here != start:
                    links.append(Link(start, here, tuple(chain)))
                else:
                    links += self._ring(start, chain)
        return links

    def _ring(self, start: Node, chain: list[tuple[int, float]]) -> list[Link]:
        """A ring that leaves and comes back to one node, cut in two so that it has two ends; a
        edge whose two ends are one does not flow."""
        if len(chain) < 2:
            return []
        k, sign = chain[0]
        a, b = self._ends_of(k)
        mid = b if sign > 0 else a
        return [Link(start, mid, (chain[0],)), Link(mid, start, tuple(chain[1:]))]

    def _ends_of(self, k: int) -> tuple[Node, Node]:
        return self.ends[self.edges[k].id]
