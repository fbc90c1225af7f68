"""Layered drawing of a small network: ranks, order, heights, columns, and square-cornered routes.

The steps are those of the layered method (Sugiyama, Tagawa, Toda 1981; heights by a linear
programme after Gansner, Koutsofios, North, Vo 1993; both from memory), written for pipes: each
pipe has its own place on a symbol's side, and each long pipe has its own lane through a column.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from byrewright.documents.shapes import Point

PITCH_MM = 4.6  # distance between pipes on one side of a symbol: a line of label fits between
LANE_MM = 2.3  # half height of a pipe that passes through a column
TRACK_MM = 2.4  # distance between upright pieces in a channel
LEAD_MM = 4.0  # level piece before a symbol, room for its arrow
GAP_MM = 3.0  # between two symbols of a column
SWEEPS = 24
OVERLAP_COST = 1000


@dataclass(frozen=True, slots=True)
class Tie:
    """A pipe between two boxes; `label_mm` is the room its label needs at its left end."""

    id: str
    a: str
    b: str
    label_mm: float = 0.0
    low_a: bool = False
    low_b: bool = False


@dataclass(slots=True)
class Box:
    """A symbol with its words: half width, reach above and below its middle; x and y are found."""

    key: str
    rank: int
    half_w: float
    up: float
    down: float
    x: float = 0.0
    y: float = 0.0
    real: bool = True
    left: dict[str, float] = field(default_factory=dict)
    right: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Run:
    """A tie as drawn: its points from its left end to its right end, outside the boxes' words."""

    tie: Tie
    points: list[Point]


def acyclic(keys: Iterable[str], ties: Sequence[tuple[str, str]]) -> list[bool]:
    """For each tie in turn: whether it can point forward without closing a circle."""
    after: dict[str, set[str]] = {k: set() for k in keys}
    forward = []
    for a, b in ties:
        reach, todo = {b}, [b]
        while todo:
            for n in after[todo.pop()] - reach:
                reach.add(n)
                todo.append(n)
        forward.append(a != b and a not in reach)
        if forward[-1]:
            after[a].add(b)
    return forward


def ranks(keys: Sequence[str], ties: Sequence[tuple[str, str]]) -> dict[str, int]:
    """Ranks with the least total length, every tie pointing to a higher rank."""
    import numpy as np
    from scipy.sparse import lil_matrix

    if not keys:
        return {}
    place = {k: i for i, k in enumerate(keys)}
    cost = np.full(len(keys), 1e-3)
    if not ties:
        return dict.fromkeys(keys, 0)
    rows = lil_matrix((len(ties), len(keys)))
    for i, (a, b) in enumerate(ties):
        rows[i, place[a]], rows[i, place[b]] = 1.0, -1.0
        cost[place[a]] -= 1.0
        cost[place[b]] += 1.0
    found = _least(cost, rows, -np.ones(len(ties)), [(0.0, None)] * len(keys))
    return {k: round(found[i]) for k, i in place.items()}


def _least(cost: Any, rows: Any, limit: Any, bounds: Sequence[tuple[float, None]]) -> list[float]:
    """The x of least cost with rows x <= limit (a linear programme)."""
    from scipy.optimize import linprog

    solve: Any = linprog
    return [float(x) for x in solve(cost, A_ub=rows.tocsr(), b_ub=limit, bounds=bounds).x]


def arrange(boxes: Sequence[Box], ties: Sequence[Tie]) -> tuple[float, float, list[Run]]:
    """Place boxes (in order of rank from 0) and route ties; returns width, height and the runs.

    Every tie must point from a lower to a higher rank. Box sides must be able to hold their ties;
    `Box.left` and `Box.right` receive each tie's height relative to the box's middle.
    """
    layers, pieces, lanes = _layers(boxes, ties)
    _order(layers, pieces)
    _sides(layers, pieces, {t.id: t for t in ties})
    _heights(layers, pieces)
    width, channel = _columns(layers, pieces, {t.id: t for t in ties})
    runs = _routes(ties, lanes, channel)
    low = max((b.y + b.down for layer in layers for b in layer), default=0.0)
    return width, low, runs


Piece = tuple[str, Box, Box]  # tie id, left box, right box in the next layer


def _layers(
    boxes: Sequence[Box], ties: Sequence[Tie]
) -> tuple[list[list[Box]], list[Piece], dict[str, list[Box]]]:
    """Columns with lanes for long ties, the pieces between columns, and each tie's chain."""
    at = {b.key: b for b in boxes}
    layers: list[list[Box]] = [[] for _ in range(max((b.rank for b in boxes), default=-1) + 1)]
    for box in boxes:
        layers[box.rank].append(box)
    pieces: list[Piece] = []
    lanes: dict[str, list[Box]] = {}
    for tie in ties:
        chain = [at[tie.a]]
        for rank in range(at[tie.a].rank + 1, at[tie.b].rank):
            lane = Box(f"{tie.id}/{rank}", rank, 0.0, LANE_MM, LANE_MM, real=False)
            layers[rank].append(lane)
            chain.append(lane)
        chain.append(at[tie.b])
        lanes[tie.id] = chain
        pieces += [(tie.id, a, b) for a, b in pairwise(chain)]
    return layers, pieces, lanes


def _crossings(left: Sequence[Box], right: Sequence[Box], pieces: Sequence[Piece]) -> int:
    l_at = {b.key: i for i, b in enumerate(left)}
    r_at = {b.key: i for i, b in enumerate(right)}
    pairs = [(l_at[a.key], r_at[b.key]) for _, a, b in pieces if a.key in l_at and b.key in r_at]
    return sum(
        1 for i, p in enumerate(pairs) for q in pairs[i + 1 :] if (p[0] - q[0]) * (p[1] - q[1]) < 0
    )


def _order(layers: list[list[Box]], pieces: Sequence[Piece]) -> None:
    """Order each column so that few pieces cross: mean of neighbours, then swaps of neighbours."""
    between: list[list[Piece]] = [[] for _ in layers]
    for piece in pieces:
        between[piece[1].rank].append(piece)

    def total() -> int:
        return sum(_crossings(layers[i], layers[i + 1], between[i]) for i in range(len(layers) - 1))

    best, kept = total(), [list(layer) for layer in layers]
    for sweep in range(SWEEPS):
        forward = sweep % 2 == 0
        for i in range(1, len(layers)) if forward else range(len(layers) - 2, -1, -1):
            near = layers[i - 1] if forward else layers[i + 1]
            spot = {b.key: k for k, b in enumerate(near)}
            links: dict[str, list[int]] = {b.key: [] for b in layers[i]}
            for _, a, b in between[i - 1] if forward else between[i]:
                here, there = (b, a) if forward else (a, b)
                links[here.key].append(spot[there.key])
            now = {b.key: k for k, b in enumerate(layers[i])}
            layers[i].sort(key=lambda b: (_mean(links[b.key], now[b.key]), now[b.key]))
        _swap(layers, between)
        if (count := total()) < best:
            best, kept = count, [list(layer) for layer in layers]
    for layer, good in zip(layers, kept, strict=True):
        layer[:] = good


def _mean(values: Sequence[int], otherwise: float) -> float:
    return sum(values) / len(values) if values else otherwise


def _swap(layers: list[list[Box]], between: Sequence[Sequence[Piece]]) -> None:
    for i, layer in enumerate(layers):

        def around(order: Sequence[Box], i: int = i) -> int:
            before = _crossings(layers[i - 1], order, between[i - 1]) if i else 0
            after = _crossings(order, layers[i + 1], between[i]) if i + 1 < len(layers) else 0
            return before + after

        for k in range(len(layer) - 1):
            other = [*layer[:k], layer[k + 1], layer[k], *layer[k + 2 :]]
            if around(other) < around(layer):
                layer[:] = other


def _sides(layers: list[list[Box]], pieces: Sequence[Piece], ties: Mapping[str, Tie]) -> None:
    """Give each tie its height on the sides of its boxes, in the order of what it leads to."""
    spot = {b.key: k for layer in layers for k, b in enumerate(layer)}
    right: dict[str, list[tuple[bool, int, str]]] = {}
    left: dict[str, list[tuple[bool, int, str]]] = {}
    for tie_id, a, b in pieces:
        tie = ties[tie_id]
        right.setdefault(a.key, []).append((a.real and tie.low_a, spot[b.key], tie_id))
        left.setdefault(b.key, []).append((b.real and tie.low_b, spot[a.key], tie_id))
    for layer in layers:
        for box in layer:
            for side, ends in ((box.left, left), (box.right, right)):
                every = sorted(ends.get(box.key, ()))
                plain = [t for low, _, t in every if not low]
                for k, tie_id in enumerate(plain):
                    side[tie_id] = (k - (len(plain) - 1) / 2) * PITCH_MM
                start = max(side.values(), default=0.0)
                for k, tie_id in enumerate(t for low, _, t in every if low):
                    side[tie_id] = max(start + PITCH_MM, 6.0) + k * PITCH_MM
            reach = [*box.left.values(), *box.right.values()]
            if box.real and reach:
                box.up = max(box.up, 3.2 - min(reach))
                box.down = max(box.down, max(reach) + 1.6)


def _heights(layers: list[list[Box]], pieces: Sequence[Piece]) -> None:
    """Heights that keep columns apart and make pipes as straight as can be (linear programme)."""
    import numpy as np
    from scipy.sparse import lil_matrix

    every = [b for layer in layers for b in layer]
    if not every:
        return
    at = {b.key: i for i, b in enumerate(every)}
    n, m = len(every), len(pieces)
    apart = sum(max(0, len(layer) - 1) for layer in layers)
    rows, limit = lil_matrix((apart + 2 * m, n + m)), np.zeros(apart + 2 * m)
    line = 0
    for layer in layers:
        for a, b in pairwise(layer):
            rows[line, at[a.key]], rows[line, at[b.key]] = 1.0, -1.0
            limit[line] = -(a.down + b.up + (GAP_MM if a.real and b.real else 0.0))
            line += 1
    cost = np.concatenate([np.full(n, 1e-3), np.zeros(m)])
    for k, (tie_id, a, b) in enumerate(pieces):
        shift = b.left[tie_id] - a.right[tie_id]
        for sign in (1.0, -1.0):
            rows[line, at[a.key]], rows[line, at[b.key]] = sign, -sign
            rows[line, n + k] = -1.0
            limit[line] = sign * shift
            line += 1
        cost[n + k] = 1.0 + 2.0 * (not a.real) + 2.0 * (not b.real)
    bounds = [(b.up, None) for b in every] + [(0.0, None)] * m
    found = _least(cost, rows, limit, bounds)
    for box in every:
        box.y = round(found[at[box.key]], 2)


Channel = dict[tuple[str, int], tuple[float, float, float]]


def _columns(
    layers: list[list[Box]], pieces: Sequence[Piece], ties: Mapping[str, Tie]
) -> tuple[float, Channel]:
    """Columns from left to right, with a channel of upright tracks after each."""
    channel: Channel = {}
    x = 0.0
    for rank, layer in enumerate(layers):
        half = max((b.half_w for b in layer), default=0.0)
        for box in layer:
            box.x = round(x + half, 2)
        edge = x + 2 * half
        here = [p for p in pieces if p[1].rank == rank]
        label = max((ties[t].label_mm for t, a, _ in here if a.real), default=0.0)
        track = _tracks(here)
        lanes = max(track.values(), default=-1) + 1
        end = edge + label + 1.5 + lanes * TRACK_MM + LEAD_MM if here else edge
        for tie_id, _, _ in here:
            spot = edge + label + 1.5 + track.get(tie_id, 0) * TRACK_MM
            channel[tie_id, rank] = (round(edge, 2), round(spot, 2), round(end, 2))
        x = end
    return x, channel


def _tracks(here: Sequence[Piece]) -> dict[str, int]:
    """The track of each piece that must change height, so that none lie on each other."""
    spans = []
    for tie_id, a, b in here:
        y1, y2 = round(a.y + a.right[tie_id], 2), round(b.y + b.left[tie_id], 2)
        spans.append((tie_id, y1, y2))
    bent = [s for s in spans if abs(s[1] - s[2]) > 0.01]
    order: list[tuple[str, float, float]] = []
    rest = list(bent)
    while rest:
        first = min(
            rest, key=lambda s: (sum(_cost(s, o) - _cost(o, s) for o in rest if o is not s), s[1])
        )
        rest.remove(first)
        order.append(first)
    for _ in order:
        for k in range(len(order) - 1):
            if _cost(order[k + 1], order[k]) < _cost(order[k], order[k + 1]):
                order[k], order[k + 1] = order[k + 1], order[k]
    track: dict[str, int] = {}
    for k, span in enumerate(order):
        near = [track[o[0]] for o in order[:k] if _touch(span, o)]
        track[span[0]] = max(near, default=-1) + 1
    return track


def _touch(s: tuple[str, float, float], o: tuple[str, float, float]) -> bool:
    return min(s[1:]) - 2 < max(o[1:]) and min(o[1:]) - 2 < max(s[1:])


def _cost(left: tuple[str, float, float], right: tuple[str, float, float]) -> int:
    """Crossings (and overlaps, dearly) when `left` has a track to the left of `right`."""
    cost = 0
    if min(left[1:]) < right[1] < max(left[1:]):
        cost += 1
    if min(right[1:]) < left[2] < max(right[1:]):
        cost += 1
    if abs(left[2] - right[1]) < 1.0:
        cost += OVERLAP_COST
    return cost


def _routes(ties: Sequence[Tie], lanes: Mapping[str, list[Box]], channel: Channel) -> list[Run]:
    runs = []
    for tie in ties:
        chain = lanes[tie.id]
        points: list[Point] = []
        for a, b in pairwise(chain):
            edge, track, end = channel[tie.id, a.rank]
            y1, y2 = a.y + a.right[tie.id], b.y + b.left[tie.id]
            points += [(edge, y1), (track, y1), (track, y2), (end, y2)]
        runs.append(Run(tie, straightened(points)))
    return runs


def straightened(points: Sequence[Point]) -> list[Point]:
    """The same run without repeated points or points on a straight piece."""
    kept: list[Point] = []
    for x, y in points:
        p = (round(x, 2), round(y, 2))
        if kept and kept[-1] == p:
            continue
        if len(kept) > 1 and _in_line(kept[-2], kept[-1], p):
            kept.pop()
        kept.append(p)
    return kept


def _in_line(a: Point, b: Point, c: Point) -> bool:
    return (a[0] == b[0] == c[0]) or (a[1] == b[1] == c[1])
