"""Routes cut into pipes where the valves belong: length, rise and bends of each pipe."""

from __future__ import annotations

import math
from itertools import pairwise

from byrewright.place.ends import Net, nets
from byrewright.place.model import Laid, Plan, Point, Route, Thing

AT_M = 0.35
"""An isolating valve from its vessel, or a non-return valve from its pump, along the pipe."""
NEAREST_M = 0.1
LEAST_M = 0.05


def cut(plan: Plan, routes: tuple[Route, ...]) -> dict[str, Laid]:
    """Every pipe as the plan lays it, by tag."""
    scene = {line.tag: line for line in plan.scene.lines}
    found: dict[str, Laid] = {}
    for net, route in zip(nets(plan), routes, strict=True):
        for laid, line in zip(pieces(plan, net, route), net.lines, strict=True):
            if scene[line.tag].start != line.start:  # told from its other end
                laid = Laid(laid.tag, laid.length_m, -laid.rise_m + 0.0, laid.bends,
                            tuple(reversed(laid.points)))  # fmt: skip
            found[laid.tag] = laid
    return found


def pieces(plan: Plan, net: Net, route: Route) -> list[Laid]:
    """A chain's pipes from its start to its end."""
    if not route.points or net.start is None or net.end is None:
        long = max(LEAST_M, net.extra_m)
        return [Laid(line.tag, round(long, 2), 0.0, 0, ()) for line in net.lines]
    total = route.length_m
    marks = [0.0, *stops(plan, net, route.points, total), total]
    made = []
    last = len(net.lines) - 1
    for i, line in enumerate(net.lines):
        points = between(route.points, marks[i], marks[i + 1])
        low = net.start.datum_m if i == 0 else points[0][2]
        high = net.end.datum_m if i == last else points[-1][2]
        long = marks[i + 1] - marks[i] + (net.extra_m if i == last else 0.0)
        made.append(
            Laid(line.tag, max(LEAST_M, round(long, 2)), round(high - low, 3), len(points) - 2,
                 points)
        )  # fmt: skip
    return made


def stops(plan: Plan, net: Net, points: tuple[Point, ...], total: float) -> list[float]:
    """Where along the chain each two-way machine in it sits, m from the start."""
    things = plan.scene.things
    inner = [line.end.partition(".")[0] for line in net.lines[:-1]]
    if not inner:
        return []
    first = things[net.lines[0].start.partition(".")[0]]
    last = things[net.lines[-1].end.partition(".")[0]]
    early = 0
    for tag in inner:
        if not _early(things[tag], first, last):
            break
        early += 1
    late = len(inner) - early
    if total < AT_M * (len(inner) + 1):
        step = total / (len(inner) + 1)
        return [step * (i + 1) for i in range(len(inner))]
    marks = [AT_M * (i + 1) for i in range(early)]
    marks += [total - AT_M * (late - i) for i in range(late)]
    if len(marks) == 1:
        return [level_spot(points, total, marks[0], early == 1)]
    return marks


def level_spot(points: tuple[Point, ...], total: float, usual: float, early: bool) -> float:
    """Where a single valve sits: as near its end as it can, between both levels of a line that
    falls and over the end of one that rises, so that no liquid stands against it; at the usual
    place where there is no such spot."""
    low = points[-1][2]
    high = points[0][2] if points[0][2] >= low else math.inf
    for from_start in (early, not early):
        for i in range(59):
            at = NEAREST_M + 0.05 * i
            if at > total - NEAREST_M:
                break
            at = at if from_start else total - at
            if low - 1e-6 <= along(points, at)[2] <= high + 1e-6:
                return round(at, 3)
    return usual


def _early(thing: Thing, first: Thing, last: Thing) -> bool:
    if thing.can("passes one way"):
        return first.can("makes vacuum", "moves liquid", "makes air", "joins pipes")
    if first.form.sort == "standing":
        return True
    return not last.can("loads tankers") and last.form.sort != "standing"  # shut at the coupling


def between(points: tuple[Point, ...], a: float, b: float) -> tuple[Point, ...]:
    """The part of a way from `a` to `b` metres along it."""
    out: list[Point] = [along(points, a)]
    run = 0.0
    for p, q in pairwise(points):
        run += math.dist(p, q)
        if a + 1e-9 < run < b - 1e-9:
            out.append(q)
    out.append(along(points, b))
    return tuple(out)


def along(points: tuple[Point, ...], at: float) -> Point:
    """The point `at` metres along a way."""
    left = at
    for p, q in pairwise(points):
        long = math.dist(p, q)
        if left <= long + 1e-9:
            t = min(1.0, left / long) if long else 0.0
            x, y, z = (round(u + (v - u) * t, 4) for u, v in zip(p, q, strict=True))
            return x, y, z
        left -= long
    return points[-1]
