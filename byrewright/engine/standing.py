"""What stays in lines that do not fall: pools between crests, and lines that nothing empties.

Liquid runs out of a place where some way leads to a vessel without rising over it; what lies lower
than the lowest crest on every way out stays. Air is taken to come in from above.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from heapq import heapify, heappop, heappush
from itertools import accumulate, pairwise
from typing import cast

from byrewright.engine.liquidgraph import Situation
from byrewright.engine.liquids import Liquids
from byrewright.plant.graph import Node
from byrewright.plant.plant import Pipe
from byrewright.plant.roles import PassesOneWay

FLAT_M = 0.02  # a pool shallower than this is a film, and heights are told to a centimetre
PARTS = 40  # a pipe is looked at in so many parts

Profile = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Standing:
    """Litres that stay in a pipe, of what it holds; whether nothing at all lets it out."""

    pipe: str
    litres: float
    holds_l: float
    shut_in: bool


def holds_l(pipe: Pipe, many: int = 1) -> float:
    """What a pipe holds."""
    return many * math.pi / 4 * (pipe.bore_mm / 100) ** 2 * pipe.length_m * 10


def standing(net: Liquids, states: Sequence[Situation], pipes: Iterable[str]) -> list[Standing]:
    """What stays in some pipes that pass through states one after another, in each of which
    nothing is pumped or drawn: what one of them lets out is gone."""
    levels = [_state(net, s) for s in states]
    found = []
    for name in pipes:
        edge = net.by_id[name]
        assert edge.pipe is not None
        many = max(net.many.get(edge.a, 1), net.many.get(edge.b, 1))
        whole = holds_l(edge.pipe, many)
        left, shut = [True] * PARTS, True
        for level, height in levels:
            a = level.get(edge.a, math.inf) - height.get(edge.a, 0.0)
            b = level.get(edge.b, math.inf) - height.get(edge.b, 0.0) + edge.pipe.climb_m
            mine = _left(edge.pipe.profile, a, b)
            left = [before and now for before, now in zip(left, mine, strict=True)]
            shut = shut and math.isinf(min(a, b))
        found.append(Standing(name, sum(left) / PARTS * whole, whole, shut))
    return found


def _state(net: Liquids, s: Situation) -> tuple[dict[Node, float], dict[Node, float]]:
    """The height to which liquid stays at each node of a state, and the height of the node; worked
    out once for each state."""
    known = net.kept.setdefault("standing", {})
    key = (frozenset(s.at.items()), frozenset(t for t, x in s.speed.items() if x > 0), s.capped,
           frozenset(s.forced_l_min))  # fmt: skip
    if key not in known:
        known[key] = _found(net, s)
    return cast("tuple[dict[Node, float], dict[Node, float]]", known[key])


def _found(net: Liquids, s: Situation) -> tuple[dict[Node, float], dict[Node, float]]:
    at: dict[Node, list[int]] = {}
    for k, j in enumerate(net.edges):
        if net.is_open(j, s):
            for node in net.ends[j.id]:
                at.setdefault(node, []).append(k)
    height: dict[Node, float] = {}
    for start in sorted(at, key=lambda n: n.name):
        if start not in height:
            nodes, mine = net.spanned(start, at)
            height |= net.heights_of(nodes, [net.edges[k] for k in mine], [])
    return _levels(net, at, height), height


def _levels(net: Liquids, at: Mapping[Node, list[int]],
            height: Mapping[Node, float]) -> dict[Node, float]:  # fmt: skip
    """The height to which liquid stays at each node: the lowest crest on any way to a vessel."""
    drained = {net.port(tag, m.inlet) for tag, m in net.pumps.items() if m.drains}
    # A filter is opened for its new sock before milk comes (common practice, no source).
    drained |= {Node(tag, end) for tag, *ends in net.losses if tag in net.socks for end in ends}
    lifted = {m.id for m in net.plant.machines(PassesOneWay) if m.lifts}
    heap = [(height[n], i, n) for i, n in enumerate(n for n in at if net.held(n) or n in drained)]
    heapify(heap)
    found: dict[Node, float] = {}
    count = len(heap)
    while heap:
        level, _, here = heappop(heap)
        if here in found:
            continue
        found[here] = level
        for k in at.get(here, ()):
            j = net.edges[k]
            a, b = net.ends[j.id]
            if here == a and j.how is not None and j.how.how == "check" and j.machine not in lifted:
                continue  # nothing runs back through it
            count += 1
            over = 0.0 if j.pipe is None else max(z for _, z in j.pipe.profile)
            crest = height[a] + over
            heappush(heap, (max(level, crest), count, b if here == a else a))
    return found


def _left(profile: Profile, at_start: float, at_end: float) -> list[bool]:
    """Which parts of a pipe lie under what its two ends let out."""
    return [
        here < min(max(at_start, one), max(at_end, other)) - FLAT_M
        for here, one, other in _crests(profile)
    ]


@lru_cache(maxsize=4096)
def _crests(profile: Profile) -> tuple[tuple[float, float, float], ...]:
    """The height of each part of a pipe, and the highest before it and behind it: kept, as a draft
    is asked for the same pipes again and again."""
    length = profile[-1][0]
    z = [_height(profile, length * (k + 0.5) / PARTS) for k in range(PARTS)]
    before = accumulate(z, max)
    behind = list(accumulate(reversed(z), max))[::-1]
    return tuple(zip(z, before, behind, strict=True))


def _height(profile: Profile, x: float) -> float:
    for (x0, z0), (x1, z1) in pairwise(profile):
        if x <= x1:
            return z0 + (z1 - z0) * (x - x0) / max(x1 - x0, 1e-9)
    return profile[-1][1]
