"""Where flowing liquid comes from and goes to, and through what: streams of a solved network.

At every node liquids mix, so each way on has its share of everything that comes in.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from heapq import heappop, heappush

from byrewright.engine.liquidgraph import Flows, Situation
from byrewright.engine.liquids import Liquids
from byrewright.plant.graph import Node

LEAST_SHARE = 1e-9  # of a start's flow: a smaller stream is rounding


@dataclass(frozen=True, slots=True)
class Stream:
    """Liquid from one vessel (or a node it is given at) to another.

    passes: the marked machines on its way, in order. through: every machine of its widest way.
    """

    source: str
    passes: tuple[str, ...]
    target: str
    l_min: float
    through: tuple[str, ...]


_Key = tuple[str, tuple[str, ...]]
_Part = tuple[float, tuple[str, ...], float]  # flow, machines of its widest way, flow of that way


def streams(net: Liquids, flows: Flows, marked: Collection[str],
            given: Collection[Node] = ()) -> list[Stream]:  # fmt: skip
    """The streams of a solution, told apart by the marked machines that they pass."""
    out: dict[Node, list[tuple[str, Node, float]]] = {}
    waits: dict[Node, int] = {}
    for name, q in sorted(flows.l_min.items()):
        if q == 0.0:
            continue
        a, b = net.ends[name]
        start, end = (a, b) if q > 0 else (b, a)
        out.setdefault(start, []).append((name, end, abs(q)))
        waits[end] = waits.get(end, 0) + 1
    parts: dict[Node, dict[_Key, _Part]] = {}
    ready = sorted((n for n in out if not waits.get(n)), key=lambda n: n.name)
    for node in ready:
        total = sum(q for _, _, q in out[node])
        parts[node] = {(node.machine, ()): (total, (), total)}
    for node in given:
        if node in out and node not in parts:
            parts[node] = {(node.machine, ()): (sum(q for _, _, q in out[node]), (), 0.0)}
    found: dict[tuple[str, tuple[str, ...], str], _Part] = {}
    done: set[Node] = set()
    todo = set(out)
    while todo:
        if not ready:  # a ring: it is cut where most has come in already
            ready = [min(todo, key=lambda n: (waits.get(n, 0), n.name))]
        node = ready.pop(0)
        todo.discard(node)
        done.add(node)
        mine = parts.get(node, {})
        onward = out.get(node, [])
        total = sum(q for _, _, q in onward) if mine else 0.0
        for name, end, q in onward:
            waits[end] -= 1
            if end in todo and waits[end] == 0 and end not in ready:
                ready.append(end)
            if not mine:
                continue
            machine = net.by_id[name].machine
            share = q / total
            for (source, passes), (flow, through, widest) in mine.items():
                via = passes
                if machine in marked and machine not in passes:
                    via = (*passes, machine or "")
                way = through if machine is None or machine in through else (*through, machine)
                _add(found if end not in out else parts.setdefault(end, {}),
                     (source, via, end.machine) if end not in out else (source, via),
                     (flow * share, way, widest * share))  # fmt: skip
    whole: dict[str, float] = {}
    for (source, _, _), part in found.items():
        whole[source] = whole.get(source, 0.0) + part[0]
    return [
        Stream(source, passes, target, part[0], part[1])
        for (source, passes, target), part in sorted(found.items())
        if part[0] > LEAST_SHARE * whole[source]
    ]


def _add(into: dict, key: tuple, part: _Part) -> None:  # type: ignore[type-arg]
    old = into.get(key)
    if old is None:
        into[key] = part
        return
    wider = part if part[2] > old[2] else old
    into[key] = (old[0] + part[0], wider[1], wider[2])


def crest_over_m(net: Liquids, s: Situation, flows: Flows, source: str,
                 target: str) -> tuple[float, str]:  # fmt: skip
    """How far the lowest way of a flow rises over what the vessel it comes from lifts into an empty
    line, m (below 0 where it does not), and the pipe that does.

    An empty line holds the gas of the vessel that it runs to: what lifts is the liquid's level, and
    the difference of the two gases.
    """
    into = net.vessels.get(target)
    gas_kpa = net.gas_kpa(into, s) if into is not None else 0.0
    out: dict[Node, list[tuple[str, Node]]] = {}
    for name, q in sorted(flows.l_min.items()):
        if q:
            a, b = net.ends[name]
            out.setdefault(a if q > 0 else b, []).append((name, b if q > 0 else a))
    heap = [(-math.inf, i, n, flows.head_m[n] - flows.fluid[n].head_m(gas_kpa), "")
            for i, n in enumerate(sorted((n for n in out if n.machine == source and net.held(n)),
                                         key=lambda n: n.name))]  # fmt: skip
    count, seen = len(heap), set[Node]()
    while heap:
        over, _, here, head, worst = heappop(heap)
        if here.machine == target and here not in out:
            return over, worst
        if here in seen:
            continue
        seen.add(here)
        for name, end in out.get(here, ()):
            pipe = net.by_id[name].pipe
            up, by = over, worst
            if pipe is not None:
                rise = flows.height_m[net.ends[name][0]] + max(z for _, z in pipe.profile) - head
                up, by = max((over, worst), (rise, name))
            count += 1
            heappush(heap, (up, count, end, head, by))
    return -math.inf, ""


def upstream(net: Liquids, flows: Flows, start: Node,
             sources: Collection[str]) -> tuple[dict[str, float], float]:  # fmt: skip
    """Shares of the machines named among what arrives at a node, and the flow there, L/min.

    A way back that meets none of them, or comes round again, counts for nothing.
    """
    into: dict[Node, list[tuple[str, Node, float]]] = {}
    for name, q in sorted(flows.l_min.items()):
        if q:
            a, b = net.ends[name]
            before, after = (a, b) if q > 0 else (b, a)
            into.setdefault(after, []).append((name, before, abs(q)))
    shares: dict[str, float] = {}
    total = sum(q for _, _, q in into.get(start, []))

    def back(node: Node, share: float, seen: frozenset[Node]) -> None:
        if node.machine in sources:
            shares[node.machine] = shares.get(node.machine, 0.0) + share
            return
        every = [(b, q) for _, b, q in into.get(node, []) if b not in seen]
        whole = sum(q for _, q in every)
        for before, q in every:
            if share * q / whole > LEAST_SHARE:
                back(before, share * q / whole, seen | {node})

    if total > 0:
        back(start, 1.0, frozenset())
    known = sum(shares.values())
    return ({tag: s / known for tag, s in shares.items()} if known > 0 else {}), total
