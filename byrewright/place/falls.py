"""Lines that must fall: at what slope, and the height below them, asked by router and checks."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from byrewright.place.model import Point, Route
from byrewright.standards.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class Measured:
    """Something measured: of what, how much, and what it is held to where that is its own."""

    subject: str
    value: float
    limit: float = 0.0
    words: str = ""


FALLING = frozenset({"milk", "wash", "vacuum"})
"""Services whose lines are laid with a fall: a pocket spoils them."""
Box = tuple[float, float, float, float]


def slopes(rules: Rulebook) -> dict[str, float]:
    """The slope of each service whose lines fall, %."""
    wash, air = rules.number("place.wash_slope_pct"), rules.number("place.airline_slope_pct")
    return {service: air if service == "vacuum" else wash for service in sorted(FALLING)}


def fall_room(routes: tuple[Route, ...], slope_pct: Mapping[str, float]) -> list[Measured]:
    """For each line that must fall: how far its level run with the least to spare falls at that
    slope, m, and the free height below that run to the next pipe, m; the plan draws runs level."""
    found = []
    boxes = {route.lines[0]: _box(route) for route in routes if route.points}
    for route in routes:
        slope = slope_pct.get(route.service, 0.0)
        if not slope or route.frame != "fixed" or not route.points:
            continue
        mine = boxes[route.lines[0]]
        near = [
            r for r in routes
            if r is not route and r.frame == route.frame and _share(mine, boxes.get(r.lines[0]))
        ]  # fmt: skip
        runs = [_room(route, run, near, slope) for run in _level_runs(route) if len(run) > 1]
        if runs:
            found.append(min(runs, key=lambda m: (m.limit - m.value, -m.value)))
    return found


def _room(route: Route, run: tuple[Point, ...], near: list[Route], slope_pct: float) -> Measured:
    """The fall of a level run, the free height below it, and what lies there."""
    free, under = math.inf, ""
    for other in near:
        for a, b in pairwise(run):
            for c, d in pairwise(other.points):
                gap = _above(a, b, c, d, route.outside_mm / 2000, other.outside_mm / 2000)
                if gap is not None and gap < free:
                    free, under = gap, other.lines[0]
    long = sum(math.dist(a, b) for a, b in pairwise(run))
    return Measured(route.lines[0], round(long * slope_pct / 100, 3), round(free, 3), under)


def _box(route: Route) -> Box:
    """The floor that a route covers: west, south, east, north."""
    xs, ys, r = [p[0] for p in route.points], [p[1] for p in route.points], route.outside_mm / 2000
    return min(xs) - r, min(ys) - r, max(xs) + r, max(ys) + r


def _share(a: Box, b: Box | None) -> bool:
    return b is not None and a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]


def _level_runs(route: Route) -> Iterator[tuple[Point, ...]]:
    """The runs of a route that keep one level."""
    run: list[Point] = []
    for p in route.points:
        if run and abs(run[-1][2] - p[2]) > 1e-6:
            yield tuple(run)
            run = []
        run.append(p)
    yield tuple(run)


def _above(a: Point, b: Point, c: Point, d: Point, r: float, s: float) -> float | None:
    """Free height between one piece and another that passes below it; None where none does."""
    for i in (0, 1):
        if min(a[i], b[i]) - r > max(c[i], d[i]) + s or min(c[i], d[i]) - s > max(a[i], b[i]) + r:
            return None
    gap = a[2] - r - (max(c[2], d[2]) + s)
    return gap if gap > 0 else None
