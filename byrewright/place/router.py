"""Routes of all pipes: corridors before free room, wide pipes first, clashes bargained away.

Each pipe is found alone on a grid of its own lines, with those already laid in its way as a cost.
Where two clash, both are taken up and laid again at a higher price, and the place they quarrelled
over grows dearer each time (negotiated congestion), until nobody shares or the turns run out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from byrewright.place.ends import Net, nets
from byrewright.place.kernel import SHUT, Floats, find, mark, spaces
from byrewright.place.model import Plan, Point, Route
from byrewright.place.spaces import Spaces, deck_spaces, fixed_spaces
from byrewright.standards.rulebook import Rulebook

BEND_M = 0.7
"""What a bend is worth in metres of pipe when ways are compared."""
TURNS, LOOK_FROM = 7, 3
"""Turns of bargaining, and the one from which the whole site is looked at for a way."""
PRICE_M = (3.0, 6.0, 12.0, 25.0, 50.0, 100.0, 200.0)
"""What touching a laid pipe costs, turn by turn, in metres."""
OVER_M = 2.0
"""What a step over a machine that stands is worth: it is lifted, opened and reached from above."""
SAGGING, SAG_FACTOR = frozenset({"milk", "wash", "vacuum"}), 20.0
"""Services that a pocket spoils, and what makes a metre below both ends dearer."""
DIRECTIONS: dict[tuple[int, int, int], int] = {
    (1, 0, 0): 0, (-1, 0, 0): 1, (0, 1, 0): 2, (0, -1, 0): 3, (0, 0, 1): 4, (0, 0, -1): 5,
}  # fmt: skip
SERVICE_ORDER = ("vacuum", "milk", "wash", "coolant", "refrigerant", "water", "air", "drain")


def lay(plan: Plan, rules: Rulebook) -> tuple[Route, ...]:
    """A route for every chain of pipes, in the order of the file."""
    every = nets(plan)
    gap = rules.number("place.pipe_gap_mm") / 1000
    found: dict[str, Route] = {}
    for frame in ("fixed", "deck"):
        mine = [n for n in every if n.frame == frame]
        routed = [n for n in mine if n.start is not None and n.end is not None]
        space = fixed_spaces(plan) if frame == "fixed" else deck_spaces(plan)
        found |= _Router(space, routed, gap).run()
    for net in every:
        if net.key not in found:
            found[net.key] = net.plain()
    return tuple(found[n.key] for n in every)


@dataclass(slots=True)
class _Laid:
    points: tuple[Point, ...]
    found: bool
    boxes: Floats
    history: float = 0.0


@dataclass(slots=True)
class _Router:
    space: Spaces
    nets: list[Net]
    gap: float
    laid: dict[str, _Laid] = field(default_factory=dict)
    dear: list[tuple[Point, Point, float]] = field(default_factory=list)

    def run(self) -> dict[str, Route]:
        order = sorted(
            self.nets,
            key=lambda n: (-n.radius_m, SERVICE_ORDER.index(n.service)
                           if n.service in SERVICE_ORDER else 9, n.span, n.key),
        )  # fmt: skip
        for net in order:
            self.laid[net.key] = self.lay(net, PRICE_M[0])
        for turn in range(1, TURNS):
            quarrels = self.clashes()
            if not quarrels:
                break
            again = {key for pair in quarrels for key in pair}
            for key in again:
                self.laid[key].history += 1.0
            for net in order:
                if net.key in again:
                    keep = self.laid.pop(net.key)
                    fresh = self.lay(net, PRICE_M[turn], everywhere=turn >= LOOK_FROM)
                    fresh.history = keep.history
                    self.laid[net.key] = fresh
        return {n.key: n.route(self.laid[n.key].points, self.laid[n.key].found) for n in self.nets}

    def clashes(self) -> list[tuple[str, str]]:
        """Pairs of pipes nearer than the gap, not at a machine they share."""
        found = []
        keys = sorted(self.laid)
        by = {n.key: n for n in self.nets}
        bounds = {k: _bounds(self.laid[k].boxes) for k in keys}
        for i, a in enumerate(keys):
            for b in keys[i + 1 :]:
                if not _meet(bounds[a], bounds[b], self.gap):
                    continue
                if clash(by[a], self.laid[a].points, by[b], self.laid[b].points, self.gap - 0.004):
                    found.append((a, b))
        return found

    def lay(self, net: Net, price: float, *, everywhere: bool = False) -> _Laid:
        assert net.start is not None and net.end is not None
        xs, ys, zs = self.space.lines(net, everywhere)
        shape = (len(xs), len(ys), len(zs))
        ex, ey, ez = (np.full(shape, 2 * SHUT) for _ in range(3))
        boxes, costs = self.space.arrays(net)
        spaces(xs, ys, zs, ex, ey, ez, boxes, costs)
        if net.service in SAGGING:
            below = zs < min(net.start.at[2], net.end.at[2]) - 0.02
            for cost in (ex, ey, ez):
                cost[:, :, below] *= SAG_FACTOR
        solid = self.space.solid(net)
        mark(xs, ys, zs, ex, ey, ez, solid, np.full(len(solid), 2 * SHUT), True)
        px, py, pz = (np.zeros(shape) for _ in range(3))
        rows, weights = [], []
        for key, one in sorted(self.laid.items()):
            if key == net.key or not len(one.boxes):
                continue
            grown = one.boxes.copy()
            by = net.radius_m + self.gap - 0.002
            grown[:, :3] -= by
            grown[:, 3:] += by
            rows.append(grown)
            weights.append(np.full(len(grown), price * (1.0 + 0.5 * one.history)))
        over = self.space.over(net)
        rows.append(over)
        weights.append(np.full(len(over), OVER_M))
        stubs = self.space.stubs(net)
        rows.append(stubs)
        weights.append(np.full(len(stubs), 0.8))
        if rows:
            mark(xs, ys, zs, px, py, pz, np.vstack(rows), np.concatenate(weights), False)
        a, b = net.start.after(net.stub_m), net.end.after(net.stub_m)
        start, goal = _index(xs, ys, zs, a), _index(xs, ys, zs, b)
        way = find(
            xs, ys, zs, ex, ey, ez, px, py, pz, start, _direction(net.start.way), goal,
            _direction(tuple(-c for c in net.end.way)), BEND_M,
        )  # fmt: skip
        if not len(way):
            points = plain_way(net.start.at, a, b, net.end.at)
            return _Laid(points, False, boxes_of(points, net.radius_m))
        middle = [(float(xs[i]), float(ys[j]), float(zs[k])) for i, j, k in way]
        points = tidy([net.start.at, *middle, net.end.at])
        return _Laid(points, True, boxes_of(points, net.radius_m))


def _direction(way: Iterable[float]) -> int:
    x, y, z = (round(c) for c in way)
    return DIRECTIONS[x, y, z]


def _index(xs: Floats, ys: Floats, zs: Floats, point: Point) -> tuple[int, int, int]:
    return (
        int(np.argmin(np.abs(xs - point[0]))),
        int(np.argmin(np.abs(ys - point[1]))),
        int(np.argmin(np.abs(zs - point[2]))),
    )


def tidy(points: Iterable[Point]) -> tuple[Point, ...]:
    """The same way without points that lie on a straight piece, rounded to a millimetre."""
    out: list[Point] = []
    for p in points:
        q = (round(p[0], 3), round(p[1], 3), round(p[2], 3))
        if out and math.dist(out[-1], q) < 1e-6:
            continue
        if len(out) >= 2 and _straight(out[-2], out[-1], q):
            out[-1] = q
        else:
            out.append(q)
    return tuple(out)


def _straight(a: Point, b: Point, c: Point) -> bool:
    u = [q - p for p, q in zip(a, b, strict=True)]
    v = [q - p for p, q in zip(b, c, strict=True)]
    dot = sum(p * q for p, q in zip(u, v, strict=True))
    return dot > 0 and abs(dot - math.dist(a, b) * math.dist(b, c)) < 1e-6 * max(1e-3, dot)


def plain_way(start: Point, a: Point, b: Point, end: Point) -> tuple[Point, ...]:
    """A way drawn square where none was found: up, across, along."""
    high = max(a[2], b[2])
    return tidy([start, a, (a[0], a[1], high), (b[0], a[1], high), (b[0], b[1], high), b, end])


def boxes_of(points: tuple[Point, ...], radius: float) -> Floats:
    """The space of a pipe, one box a straight piece."""
    rows = []
    for a, b in pairwise(points):
        rows.append(
            [min(a[i], b[i]) - radius for i in range(3)]
            + [max(a[i], b[i]) + radius for i in range(3)]
        )
    return np.array(rows, dtype=np.float64).reshape(-1, 6)


def _bounds(boxes: Floats) -> tuple[float, ...]:
    return (*boxes[:, :3].min(axis=0), *boxes[:, 3:].max(axis=0))


def _meet(a: tuple[float, ...], b: tuple[float, ...], gap: float) -> bool:
    return all(a[i] - gap < b[i + 3] and b[i] - gap < a[i + 3] for i in range(3))


def clash(one: Net, p: tuple[Point, ...], other: Net, q: tuple[Point, ...], gap: float) -> bool:
    """Whether two pipes come nearer than `gap` anywhere but at a machine that both meet.

    Beside a shared machine their ends are as near as its ports; the first 0.35 m are let off.
    """
    shared = {e.tag for e in (one.start, one.end) if e} & {
        e.tag for e in (other.start, other.end) if e
    }
    need = one.radius_m + other.radius_m + gap
    centres = [e.at for e in (one.start, one.end) if e and e.tag in shared]
    for a, b in pairwise(p):
        for c, d in pairwise(q):
            if _apart(a, b, c, d) >= need - 1e-9:
                continue
            if shared and any(_near(a, b, s, 0.6) and _near(c, d, s, 0.6) for s in centres):
                continue
            return True
    return False


def _near(a: Point, b: Point, s: Point, reach: float) -> bool:
    return _apart(a, b, s, s) < reach


def _apart(a: Point, b: Point, c: Point, d: Point) -> float:
    """Least distance of two pieces that run along axes: that of their boxes."""
    total = 0.0
    for i in range(3):
        low = max(min(a[i], b[i]), min(c[i], d[i]))
        high = min(max(a[i], b[i]), max(c[i], d[i]))
        if low > high:
            total += (low - high) ** 2
    return math.sqrt(total)
