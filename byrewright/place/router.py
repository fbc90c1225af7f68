"""Routes of all pipes: corridors before free room, wide pipes first, clashes bargained away.

Each pipe is found alone on a grid of its own lines, with those already laid in its way as a cost.
Where two clash, both are taken up and laid again at a higher price, and the place they quarrelled
over grows dearer each time (negotiated congestion), until nobody shares or the turns run out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from byrewright.place.ends import Net, nets
from byrewright.place.falls import fall_room, slopes
from byrewright.place.kernel import SHUT, Floats, find, mark, shut_in, spaces, touch
from byrewright.place.model import Body, Plan, Point, Rack, Route
from byrewright.place.spaces import TIER_M, Spaces, deck_spaces, fixed_spaces
from byrewright.standards.rulebook import Rulebook

BEND_M, BEND_BORES = 0.5, 4.0
"""What a bend is worth in metres of pipe when ways are compared: so much, and so many bores."""
ENCLOSED, CAGED = 400, 4000
"""An end from which fewer nodes can be reached has no way out, and none is looked for; one from
which fewer can be reached without touching a laid pipe is where the search begins."""
TURNS, LOOK_FROM = 7, 3
"""Turns of bargaining, and the one from which the whole site is looked at for a way."""
FEWER_TURNS, GIVE_WAY_FROM = 5, 3
"""The same where only some are laid anew, and the turn from which those that nobody has touched
give way to them."""
NEAR_RACK, RACK_REACH_M = 0.25, 0.6
"""What a metre along a rack that a pipe must follow is worth, beside any other way; and how near
the spot where it comes to the rack, and leaves it, must be."""
PRICE_M = (3.0, 6.0, 12.0, 25.0, 50.0, 100.0, 200.0)
"""What touching a laid pipe costs, turn by turn, in metres."""
TOUCHING = 3.0
"""What touching a pipe itself is worth beside standing in the height that it falls through, once
the whole site is looked at."""
OVER_M = 2.0
"""What a step over a machine that stands is worth: it is lifted, opened and reached from above."""
FALL_M = 0.06
"""Height left at least below a line that falls."""
SAG_FACTOR = 20.0
"""What makes a metre below both ends dearer to a line that falls: a pocket spoils it."""
SHARED_M = 0.6
"""Round a machine that two pipes meet, they may be as near as its ports."""
EDGE_M = 0.04
"""How far inside a rack's edge the middle of a pipe lies, and how far off its tiers it may."""
DIRECTIONS: dict[tuple[int, int, int], int] = {
    (1, 0, 0): 0, (-1, 0, 0): 1, (0, 1, 0): 2, (0, -1, 0): 3, (0, 0, 1): 4, (0, 0, -1): 5,
}  # fmt: skip
SERVICE_ORDER = ("vacuum", "milk", "wash", "coolant", "refrigerant", "water", "air", "drain")


def lay(
    plan: Plan, rules: Rulebook, drafted: Callable[[Plan], tuple[Route, ...]] | None = None
) -> tuple[Route, ...]:
    """A route for every chain of pipes, in the order of the file.

    Where a person has moved a machine or said how a pipe runs, the routes of the draft are kept
    (`drafted` may know them already), and only pipes of that machine, those it now stands in the
    way of, and those said are laid anew: so a small change stays small.
    """
    every = nets(plan)
    known: dict[str, Route] = {}
    again: set[str] | None = None
    if plan.before is not None:
        base = drafted(plan.before) if drafted else lay(plan.before, rules)
        known = {r.lines[0]: r for r in base}
        again = _laid_again(plan, every, known)
    gap = rules.number("place.pipe_gap_mm") / 1000
    found: dict[str, Route] = {}
    for frame in ("fixed", "deck"):
        mine = [n for n in every if n.frame == frame]
        routed = [n for n in mine if n.start is not None and n.end is not None]
        if again is not None and not any(n.key in again for n in routed):
            found |= {n.key: known[n.key] for n in routed}
            continue
        space = fixed_spaces(plan) if frame == "fixed" else deck_spaces(plan)
        router = _Router(space, routed, gap, slopes(rules))
        if again is None:
            found |= router.run({n.key for n in routed})
        else:
            router.keep({k: r for k, r in known.items() if k not in again})
            found |= router.run(again & {n.key for n in routed})
    for net in every:
        if net.key not in found:
            found[net.key] = net.plain()
    return tuple(found[n.key] for n in every)


def _laid_again(plan: Plan, every: list[Net], known: Mapping[str, Route]) -> set[str]:
    """Chains whose route of the draft will not do."""
    assert plan.before is not None
    old = {n.key: n for n in nets(plan.before)}
    moved = [plan.bodies[t] for t in plan.moved()]
    found = set()
    for net in every:
        was = old.get(net.key)
        said = any(line.along or line.by for line in net.lines)
        elsewhere = was is None or (net.start, net.end) != (was.start, was.end)
        if said or elsewhere or any(_through(b, known[net.key], net) for b in moved):
            found.add(net.key)
    return found


def _through(body: Body, route: Route, net: Net) -> bool:
    """Whether a pipe would touch a machine that has come into its way."""
    if body.frame != route.frame or not route.points:
        return False
    x1, y1, x2, y2 = body.box
    by = net.radius_m
    box = (x1 - by, y1 - by, body.z - by, x2 + by, y2 + by, body.z + body.h + by)
    return any(_meet((*map(min, a, b), *map(max, a, b)), box, 0.0)
               for a, b in pairwise(route.points))  # fmt: skip


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
    slopes: Mapping[str, float]
    laid: dict[str, _Laid] = field(default_factory=dict)
    laid_net: dict[str, Net] = field(default_factory=dict)
    some: bool = False
    """Whether only some of the chains are laid anew."""
    falls: dict[str, float] = field(default_factory=dict)

    def keep(self, known: Mapping[str, Route]) -> None:
        """Routes that are laid already."""
        for net in self.nets:
            if net.key in known:
                route = known[net.key]
                boxes = boxes_of(route.points, net.radius_m)
                self.laid[net.key] = _Laid(route.points, route.found, boxes)

    def run(self, mine: set[str]) -> dict[str, Route]:
        """Lay these chains; in the last turns, those of others give way that stand in theirs."""
        order = sorted(
            self.nets,
            key=lambda n: (-n.radius_m, SERVICE_ORDER.index(n.service)
                           if n.service in SERVICE_ORDER else 9, n.span, n.key),
        )  # fmt: skip
        self.laid_net = {n.key: n for n in order}
        self.some = some = len(mine) < len(self.nets)
        for net in order:
            if net.key in mine:
                self.laid[net.key] = self.lay(net, PRICE_M[0])
        stuck = False
        for turn in range(1, FEWER_TURNS if some else TURNS):
            if stuck and turn < LOOK_FROM:
                continue  # a higher price alone changed nothing
            quarrels = self.clashes(mine)
            if not quarrels:
                break
            if some and turn >= GIVE_WAY_FROM:
                mine = mine | {key for pair in quarrels for key in pair}
            again = {key for pair in quarrels for key in pair if key in mine}
            for key in again:
                self.laid[key].history += 1.0
            stuck = some
            for net in order:
                if net.key in again:
                    keep = self.laid.pop(net.key)
                    fresh = self.lay(net, PRICE_M[turn], everywhere=turn >= LOOK_FROM)
                    fresh.history = keep.history
                    stuck = stuck and fresh.points == keep.points
                    self.laid[net.key] = fresh
        return {n.key: n.route(self.laid[n.key].points, self.laid[n.key].found) for n in self.nets}

    def clashes(self, mine: set[str]) -> list[tuple[str, str]]:
        """Pairs of pipes nearer than the gap, one of them of these, not at a machine they share."""
        found = []
        keys = sorted(self.laid)
        by = {n.key: n for n in self.nets}
        bounds = {k: _bounds(self.laid[k].boxes) for k in keys}
        for i, a in enumerate(keys):
            for b in keys[i + 1 :]:
                if (a not in mine and b not in mine) or not _meet(bounds[a], bounds[b], self.gap):
                    continue
                if not (self.laid[a].found and self.laid[b].found):
                    continue  # nothing that others do gives it a way
                if clash(by[a], self.laid[a].points, by[b], self.laid[b].points, self.gap - 0.004):
                    found.append((a, b))
        return [*found, *self.in_its_fall(mine)]

    def in_its_fall(self, mine: set[str]) -> list[tuple[str, str]]:
        """Lines without the height below them to be laid with their fall, and what is there."""
        laid = {n.key: n.route(self.laid[n.key].points, self.laid[n.key].found) for n in self.nets}
        short = [
            (m.subject, m.words) for m in fall_room(tuple(laid.values()), self.slopes)
            if m.value > m.limit
        ]  # fmt: skip
        return [(a, b) for a, b in short if laid[a].found and laid[b].found and {a, b} & mine]

    def fall_m(self, net: Net) -> float:
        """Height that a line loses on its way, at least; none for one that need not fall."""
        if net.key not in self.falls:
            slope = self.slopes.get(net.service, 0.0)
            self.falls[net.key] = max(FALL_M, slope / 100 * net.span) if slope else 0.0
        return self.falls[net.key]

    def lay(self, net: Net, price: float, *, everywhere: bool = False) -> _Laid:
        assert net.start is not None and net.end is not None
        said = any(line.along or line.by for line in net.lines)
        xs, ys, zs = self.space.lines(net, everywhere or said)
        shape = (len(xs), len(ys), len(zs))
        ex, ey, ez = (np.full(shape, 2 * SHUT) for _ in range(3))
        boxes, costs = self.space.arrays(net)
        spaces(xs, ys, zs, ex, ey, ez, boxes, costs)
        if net.lowest_m is not None:
            below = zs < net.lowest_m
            for cost in (ex, ey, ez):
                cost[:, :, below] *= SAG_FACTOR
        for cost in (ex, ey, ez) if said else ():
            self._prefer(net, xs, ys, zs, cost)
        north, east = self.space.walls(net)
        free = np.empty(shape)
        for rows_, u, v in ((north, free, ey), (east, ex, free)):
            mark(xs, ys, zs, u, v, ez, rows_, np.full(len(rows_), 2 * SHUT), True)
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
            if everywhere:  # an end in the height that another falls through must still get out
                rows.append(grown.copy())
                weights.append(np.full(len(grown), TOUCHING * price * (1.0 + 0.5 * one.history)))
            grown[:, 5] += self.fall_m(net)  # it is laid with a fall: room below it
            grown[:, 2] -= self.fall_m(self.laid_net[key])
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
        a, b = net.turns
        start, goal = _index(xs, ys, zs, a), _index(xs, ys, zs, b)
        enclosed = any(shut_in(ex, ey, ez, end, ENCLOSED) for end in (start, goal))
        via = np.array(self._via(net, xs, ys, zs), dtype=np.int64).reshape(-1, 6)
        ends = [(start, net.start.way), (goal, net.end.way)]
        turned = False
        if self.some and not enclosed:  # out of a cage first: the other way floods the site
            u, v, w = (c + SHUT * (p >= PRICE_M[0]) for c, p in ((ex, px), (ey, py), (ez, pz)))
            caged = [shut_in(u, v, w, end, CAGED) for end, _ in ends]
            turned = caged == [False, True]
        if turned:
            ends, via = ends[::-1], via[::-1].copy()
        way = () if enclosed else find(
            xs, ys, zs, ex, ey, ez, px, py, pz, ends[0][0], _direction(ends[0][1]), ends[1][0],
            _direction(tuple(-c for c in ends[1][1])),
            BEND_M + BEND_BORES * 2 * net.radius_m, via,
        )  # fmt: skip
        way = way[::-1] if turned else way
        if not len(way) and not (everywhere or said):
            return self.lay(net, price, everywhere=True)
        if not len(way):
            points = plain_way(net.start.at, a, b, net.end.at)
            return _Laid(points, False, boxes_of(points, net.radius_m))
        middle = [(float(xs[i]), float(ys[j]), float(zs[k])) for i, j, k in way]
        points = tidy([net.start.at, *middle, net.end.at])
        return _Laid(points, True, boxes_of(points, net.radius_m))

    def _prefer(self, net: Net, xs: Floats, ys: Floats, zs: Floats, cost: Floats) -> None:
        """Make a metre on the racks that a pipe must follow cheap beside any other."""
        for name in {name for line in net.lines for name in line.along}:
            if name in self.space.plan.racks:
                x1, y1, z1, x2, y2, z2 = rack_box(self.space.plan.racks[name])
                i, j, k = (
                    np.flatnonzero((lines > low - 1e-6) & (lines < high + 1e-6))
                    for lines, low, high in ((xs, x1, x2), (ys, y1, y2), (zs, z1, z2))
                )
                on = np.ix_(i, j, k)
                cost[on] = np.where(cost[on] < SHUT, cost[on] * NEAR_RACK, cost[on])

    def _via(self, net: Net, xs: Floats, ys: Floats, zs: Floats) -> list[list[int]]:
        """Boxes of lines that a way must touch in turn: its way points, at any level; or, where it
        has none, the spots where it comes to each of its racks and leaves it."""
        assert net.start is not None and net.end is not None
        top = len(zs) - 1
        points = [p for line in net.lines for p in line.by]
        if points:
            spots = [(_nearest(xs, x), _nearest(ys, y)) for x, y in points]
            return [[i, i, j, j, 0, top] for i, j in spots]
        found = []
        racks = [self.space.plan.racks[n] for line in net.lines for n in line.along
                 if n in self.space.plan.racks]  # fmt: skip
        for rack in racks:
            box = rack_box(rack)
            along = 0 if box[3] - box[0] > box[4] - box[1] else 1
            for end in (net.start, net.end):
                at = min(max(end.at[along], box[along]), box[along + 3])
                part = list(box)
                part[along], part[along + 3] = at - RACK_REACH_M, at + RACK_REACH_M
                found.append([
                    edge for axis, lines in enumerate((xs, ys, zs))
                    for edge in _within(lines, part[axis], part[axis + 3])
                ])  # fmt: skip
        return found


def rack_box(rack: Rack) -> tuple[float, float, float, float, float, float]:
    """The space of a rack: west, south, low, east, north, high."""
    half, deep = max(0.0, rack.wide_m / 2 - EDGE_M), TIER_M * (rack.tiers - 1)
    spare = 0.0 if rack.stated else TIER_M
    (x1, y1), (x2, y2) = rack.start, rack.end
    px, py = (0.0, half) if abs(x2 - x1) > abs(y2 - y1) else (half, 0.0)
    return (min(x1, x2) - px, min(y1, y2) - py, rack.level_m - spare - EDGE_M,
            max(x1, x2) + px, max(y1, y2) + py, rack.level_m + deep + spare + EDGE_M)  # fmt: skip


def _nearest(lines: Floats, at: float) -> int:
    return int(np.argmin(np.abs(lines - at)))


def _within(lines: Floats, low: float, high: float) -> tuple[int, int]:
    """First and last line from `low` to `high`; the nearest one where there is none."""
    inside = np.flatnonzero((lines >= low - 1e-6) & (lines <= high + 1e-6))
    if not len(inside):
        one = _nearest(lines, (low + high) / 2)
        return one, one
    return int(inside[0]), int(inside[-1])


def _direction(way: Iterable[float]) -> int:
    x, y, z = (round(c) for c in way)
    return DIRECTIONS[x, y, z]


def _index(xs: Floats, ys: Floats, zs: Floats, point: Point) -> tuple[int, int, int]:
    return _nearest(xs, point[0]), _nearest(ys, point[1]), _nearest(zs, point[2])


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
    a, b, shut = (np.array(x, dtype=np.float64).reshape(-1, 3) for x in (p, q, centres))
    return bool(touch(a, b, need, shut, SHARED_M))
