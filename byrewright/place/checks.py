"""What can be measured on a plan: room, clearances, low points, falls, racks, loads, cables."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise

import numpy as np

from byrewright.place.board import WALL_M
from byrewright.place.ends import Net, nets
from byrewright.place.falls import FALLING, Measured
from byrewright.place.kernel import Floats
from byrewright.place.layout import BLOCK
from byrewright.place.model import Body, Plan, Point, Rack, Room, Route
from byrewright.place.router import clash
from byrewright.place.spaces import TIER_M

LEVEL_M = 0.02
"""A point this little below both ends of a pipe is no pocket."""
LIQUID = frozenset({"milk", "wash", "water", "coolant", "drain"})
PASSED_ON = ("joins pipes", "is a valve", "joins deck", "filters milk", "cools milk")
"""What a pump's pressure reaches beyond."""
PERSON_M = 1.9
"""Height up to which something stands in a person's way."""


def overlaps(plan: Plan) -> list[tuple[str, str]]:
    """Machines that fill the same space."""
    found = []
    for a, b in combinations(plan.bodies.values(), 2):
        if a.frame == b.frame and _shared(a.box, b.box) and _over(a, b):
            found.append((a.tag, b.tag))
    return found


def _shared(a: tuple[float, ...], b: tuple[float, ...], by: float = 1e-6) -> bool:
    return min(a[2], b[2]) - max(a[0], b[0]) > by and min(a[3], b[3]) - max(a[1], b[1]) > by


def _over(a: Body, b: Body) -> bool:
    return min(a.z + a.h, b.z + b.h) - max(a.z, b.z) > 1e-6


def outside_room(plan: Plan) -> list[str]:
    """Machines that reach out of the room they are in."""
    found = []
    for body in plan.bodies.values():
        room = plan.rooms.get(body.room)
        x1, y1, x2, y2 = body.box
        if room and not (room.holds(x1, y1, 1e-3) and room.holds(x2, y2, 1e-3)):
            found.append(body.tag)
    return found


def reach_under_deck(plan: Plan) -> list[Measured]:
    """How far each machine that hangs under a turning deck reaches from its middle, m."""
    return [
        Measured(b.tag, round(max(math.hypot(x, y) for x in b.box[::2] for y in b.box[1::2]), 3))
        for b in plan.bodies.values()
        if b.frame == "deck"
    ]


def headroom_over(plan: Plan) -> list[Measured]:
    """Free height over the tallest machine of each roofed room."""
    found = []
    for room in _roofed(plan):
        inside = [b for b in plan.bodies.values() if b.room == room.name]
        if inside:
            tall = max(inside, key=lambda b: (b.z + b.h, b.tag))
            free = room.floor_m + room.height_m - tall.z - tall.h
            found.append(Measured(room.name, round(free, 3), words=tall.tag))
    return found


def _roofed(plan: Plan) -> list[Room]:
    return [r for r in plan.rooms.values() if not r.open and r.name in BLOCK]


def free_front(plan: Plan, body: Body) -> float:
    """Free floor before a machine, to the next machine or wall, m."""
    room = plan.rooms.get(body.room)
    x1, y1, x2, y2 = body.box
    across = body.turn in ("e", "w")
    free = math.inf
    if room is not None:
        free = {
            "e": room.x2 - x2, "w": x1 - room.x, "n": room.y2 - y2, "s": y1 - room.y
        }[body.turn]  # fmt: skip
    for other in plan.bodies.values():
        if other.tag == body.tag or other.room != body.room or other.frame != body.frame:
            continue
        if other.z - (room.floor_m if room else 0.0) > PERSON_M:
            continue
        o = other.box
        beside = (
            (o[1] < y2 - 1e-6 and o[3] > y1 + 1e-6)
            if across
            else (o[0] < x2 - 1e-6 and o[2] > x1 + 1e-6)
        )
        gap = {"e": o[0] - x2, "w": x1 - o[2], "n": o[1] - y2, "s": y1 - o[3]}[body.turn]
        if beside and gap > -1e-6:
            free = min(free, gap)
    return round(free, 3)


def fronts(plan: Plan) -> list[Measured]:
    """Free floor before every standing machine, against what it asks."""
    return [
        Measured(b.tag, free_front(plan, b), b.front_m)
        for b in plan.bodies.values()
        if not b.hung and b.frame == "fixed" and b.room in plan.rooms and b.front_m > 0
    ]


def doors_for_tanks(plan: Plan, over_w: float, over_h: float) -> list[Measured]:
    """For each tank: the widest door of its room against the tank and its allowance.

    `words` tells the height of that door and what the tank needs.
    """
    found = []
    for body in plan.bodies.values():
        if body.form.zone != "tank":
            continue
        room = plan.rooms.get(body.room)
        if room is None:
            continue
        need_w, need_h = min(body.dx, body.dy) + over_w, body.h + over_h
        doors = [d for d in room.doors if d.high_m >= need_h - 1e-6]
        wide = max((d.wide_m for d in doors), default=0.0)
        found.append(Measured(body.tag, round(wide, 3), round(need_w, 3),
                              f"{need_h:.2f} m high for a tank of {body.h:.2f} m"))  # fmt: skip
    return found


def low_points(plan: Plan, routes: tuple[Route, ...]) -> list[Measured]:
    """Milk, wash and vacuum lines that sag below both their ends: how deep, m."""
    found = []
    for route in routes:
        if route.service in FALLING and len(route.points) > 2:
            low = min(p[2] for p in route.points)
            deep = min(route.points[0][2], route.points[-1][2]) - low
            if deep > LEVEL_M:
                where = min(route.points, key=lambda p: p[2])
                found.append(Measured(
                    route.lines[0], round(deep, 3),
                    words=f"({where[0]:.1f}, {where[1]:.1f}) at {low:+.2f}",
                ))  # fmt: skip
    return found


def gravity(plan: Plan, routes: tuple[Route, ...]) -> Iterator[tuple[Net, Route, float, float]]:
    """Drains that run by gravity: chain, route, run on the level, and fall there is, m."""
    for net, route in zip(nets(plan), routes, strict=True):
        if net.drains and len(route.points) > 1:
            run = sum(math.dist(a[:2], b[:2]) for a, b in pairwise(route.points))
            yield net, route, round(run, 3), round(route.points[0][2] - route.points[-1][2], 3)


def climbing(plan: Plan, routes: tuple[Route, ...]) -> list[Measured]:
    """Drains that go up on their way out, so that liquid stands in them: how far at most, m."""
    found = []
    for net, route, _, _ in gravity(plan, routes):
        ups = [round(b[2] - a[2], 3) for a, b in pairwise(route.points) if b[2] > a[2]]
        if ups:
            found.append(Measured(net.key, max(ups)))
    return found


def on_the_floor(plan: Plan, route: Route, height_m: float = 0.3) -> float:
    """How much of a pipe lies low across the floor, m."""
    floor = plan.rooms["passage"].floor_m if "passage" in plan.rooms else 0.0
    return round(
        sum(
            math.dist(a[:2], b[:2])
            for a, b in pairwise(route.points)
            if max(a[2], b[2]) < floor + height_m and min(a[2], b[2]) >= floor - 0.02
        ),
        3,
    )


def between_frames(plan: Plan, routes: tuple[Route, ...]) -> list[str]:
    """Pipes that join the turning deck to the floor other than through the gland."""
    found = []
    for net in nets(plan):
        frames = {e.frame for e in (net.start, net.end) if e is not None}
        if len(frames) > 1:
            found.append(net.key)
    return found


def deck_discharges(plan: Plan) -> list[str]:
    """Drains of the turning deck that fall free into the gutter below it."""
    return [
        n.key for n in nets(plan)
        if n.frame == "deck" and n.drains and n.end is not None
    ]  # fmt: skip


def clashes(plan: Plan, routes: tuple[Route, ...], gap_m: float) -> list[tuple[str, str]]:
    """Pairs of pipes nearer than the gap, and pipes that found no way (with themselves)."""
    every = [
        (n, r) for n, r in zip(nets(plan), routes, strict=True) if r.points and n.start and n.end
    ]
    found = [(n.key, n.key) for n, r in every if not r.found]
    bounds = np.array([_bounds(r.points, n.radius_m + gap_m) for n, r in every]).reshape(-1, 6)
    for i, k in _meeting(bounds, bounds):
        (a, p), (b, q) = every[i], every[k]
        if i < k and a.frame == b.frame and clash(a, p.points, b, q.points, gap_m - 0.001):
            found.append((a.key, b.key))
    return found


def _meeting(one: Floats, other: Floats) -> list[tuple[int, int]]:
    """Which boxes of one list meet which of another, by their places in the lists, in order."""
    half = one.shape[1] // 2
    a, b = one[:, None], other[None]
    meet = (a[..., :half] <= b[..., half:]) & (b[..., :half] <= a[..., half:])
    return [(int(i), int(k)) for i, k in np.argwhere(meet.all(axis=2))]


def _bounds(points: tuple[Point, ...], by: float) -> tuple[float, ...]:
    lows = [min(p[i] for p in points) - by for i in range(3)]
    return (*lows, *(max(p[i] for p in points) + by for i in range(3)))


def through_machines(plan: Plan, routes: tuple[Route, ...]) -> list[tuple[str, str]]:
    """Pipes that run through a machine that they do not meet."""
    return [(tag, body.tag) for tag, body, inside in _past(plan, routes) if inside]


def over_machines(plan: Plan, routes: tuple[Route, ...]) -> list[tuple[str, str]]:
    """Pipes that run over a machine that stands, and so over who lifts or opens it."""
    return [(tag, body.tag) for tag, body, inside in _past(plan, routes)
            if not inside and not body.hung]  # fmt: skip


def _past(plan: Plan, routes: tuple[Route, ...]) -> Iterator[tuple[str, Body, bool]]:
    """Every pipe with each machine that it passes through, or over: pipe, machine, through."""
    drawn, bodies = [r for r in routes if r.points], list(plan.bodies.values())
    floors = np.array([_bounds(r.points, r.outside_mm / 2000) for r in drawn]).reshape(-1, 6)
    boxes = np.array([b.box for b in bodies]).reshape(-1, 4)
    for i, k in _meeting(floors[:, [0, 1, 3, 4]], boxes):
        route, body = drawn[i], bodies[k]
        if body.tag in {e.partition(".")[0] for e in route.ends} or body.frame != route.frame:
            continue
        r = route.outside_mm / 2000
        found = {_passes(body, a, b, r) for a, b in pairwise(route.points)}
        if found - {""}:
            yield route.lines[0], body, "through" in found


def _passes(body: Body, a: Point, b: Point, r: float) -> str:
    x1, y1, x2, y2 = body.box
    low = [min(p, q) - r + 1e-3 for p, q in zip(a, b, strict=True)]
    high = [max(p, q) + r - 1e-3 for p, q in zip(a, b, strict=True)]
    if low[0] > x2 or high[0] < x1 or low[1] > y2 or high[1] < y1 or high[2] < body.z:
        return ""
    return "through" if low[2] < body.z + body.h else "over"


def rack_width(plan: Plan, rack: Rack, routes: tuple[Route, ...]) -> Measured:
    """Widest that pipes along a rack lie side by side, m, and how many tiers they use. A pipe
    beside two racks counts to the nearer."""
    along, middle, low, high = _run(rack)
    across, half = 1 - along, rack.wide_m / 2 + 0.35
    others = [r for r in plan.racks.values() if r is not rack and r.trench == rack.trench]
    pieces = []
    for route in routes:
        if route.frame != "fixed":
            continue
        r = route.outside_mm / 2000
        for a, b in pairwise(route.points):
            if abs(a[across] - b[across]) > 1e-6 or abs(a[2] - b[2]) > 1e-6:
                continue
            level = (a[2] < 0) == rack.trench
            if abs(a[across] - middle) > half or not level or abs(a[along] - b[along]) <= 0.5:
                continue
            ends = sorted((a[along], b[along]))
            if not any(_nearer(o, rack, (a, b)) for o in others):
                pieces.append((ends[0], ends[1], a[across] - r, a[across] + r, a[2]))
    worst, tiers, count = 0.0, 0, 0
    marks = sorted({min(max(m, low), high) for p in pieces for m in p[:2]})
    for first, last in pairwise(marks):
        here = [p for p in pieces if p[0] <= (first + last) / 2 <= p[1]]
        if here:
            wide = max(p[3] for p in here) - min(p[2] for p in here)
            if wide > worst + 1e-9:
                worst, tiers, count = wide, len({p[4] for p in here}), len(here)
    return Measured(rack.name, round(worst, 3), rack.wide_m,
                    f"{count} pipes in {tiers} tiers")  # fmt: skip


def _nearer(one: Rack, than: Rack, piece: tuple[Point, Point]) -> bool:
    """Whether a piece of a pipe lies beside one rack, and nearer to it than to another that runs
    the same way."""
    (along, middle, low, high), other = _run(one), _run(than)
    (a, b), across = piece, 1 - along
    if along != other[0] or max(a[along], b[along]) <= low or min(a[along], b[along]) >= high:
        return False
    off, off_other = (
        math.hypot(a[across] - mid, max(0.0, rack.level_m - a[2], a[2] - _top_m(rack)))
        for mid, rack in ((middle, one), (other[1], than))
    )
    return off < off_other


def _top_m(rack: Rack) -> float:
    return rack.level_m + TIER_M * (rack.tiers - 1)


def _run(rack: Rack) -> tuple[int, float, float, float]:
    """The axis that a rack runs along, its middle across it, and where it begins and ends."""
    along = 1 if abs(rack.end[1] - rack.start[1]) > abs(rack.end[0] - rack.start[0]) else 0
    low, high = sorted((rack.start[along], rack.end[along]))
    return along, rack.start[1 - along], low, high


def over_passage(plan: Plan, routes: tuple[Route, ...]) -> list[Measured]:
    """Undersides of pipes across the passage, m over its floor, the lowest first."""
    passage = plan.rooms.get("passage")
    if passage is None:
        return []
    found = []
    for route in routes:
        for a, b in pairwise(route.points):
            level = abs(a[2] - b[2]) < 1e-6
            x, y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
            over = a[2] - passage.floor_m
            if level and over > 0.05 and passage.holds(x, y) and math.dist(a, b) > 0.3:
                found.append((round(over - route.outside_mm / 2000, 3), route.lines[0]))
    return [Measured(line, low) for low, line in sorted(found)]


def wet_in_dry(plan: Plan, routes: tuple[Route, ...]) -> list[tuple[str, str]]:
    """Pipes of a liquid that cross a dry room."""
    dry = [r for r in plan.rooms.values() if r.dry]
    return [
        (route.lines[0], room.name)
        for route in routes
        if route.service in LIQUID
        for room in dry
        if any(_cuts(room, a, b) for a, b in pairwise(route.points))
    ]


def _cuts(room: Room, a: Point, b: Point) -> bool:
    box = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
    return (
        box[0] < room.x2 - 0.01 and box[2] > room.x + 0.01
        and box[1] < room.y2 - 0.01 and box[3] > room.y + 0.01
    )  # fmt: skip


def walls_crossed(plan: Plan, routes: tuple[Route, ...]) -> list[tuple[str, str, Point, float]]:
    """Openings for pipes: pipe, the two rooms, middle of the opening, outside diameter in mm."""
    found = []
    roofed = [r for r in plan.rooms.values() if not r.open and r.name != "head"]
    for route in routes:
        if route.frame != "fixed":
            continue
        for a, b in pairwise(route.points):
            if abs(a[2] - b[2]) > 1e-6 or a[2] < -0.05:
                continue
            axis = 0 if abs(a[0] - b[0]) > 1e-6 else 1
            low, high = sorted((a[axis], b[axis]))
            walls = []
            for room in roofed:
                other = a[1 - axis]
                span = (room.y, room.y2) if axis == 0 else (room.x, room.x2)
                if span[0] < other < span[1]:
                    sides = (room.x, room.x2) if axis == 0 else (room.y, room.y2)
                    walls += [(s, room.name) for s in sides if low < s < high]
            for many in _together(walls):
                names = sorted({n for _, n in many})
                spot = [0.0, 0.0, a[2]]
                spot[axis], spot[1 - axis] = sum(s for s, _ in many) / len(many), a[1 - axis]
                found.append((route.lines[0], " / ".join(names),
                              (round(spot[0], 2), round(spot[1], 2), round(spot[2], 2)),
                              route.outside_mm))  # fmt: skip
    return found


def _together(faces: list[tuple[float, str]]) -> list[list[tuple[float, str]]]:
    """Faces of walls along a pipe, those of one wall together."""
    found: list[list[tuple[float, str]]] = []
    for face in sorted(faces):
        if found and face[0] - found[-1][0][0] < 2 * WALL_M:
            found[-1].append(face)
        else:
            found.append([face])
    return found


def is_tank(body: Body) -> bool:
    """Whether a body is a bulk tank."""
    return "stores milk" in body.does


def suction_level(plan: Plan, routes: tuple[Route, ...], pump: str) -> tuple[str, float] | None:
    """What stands before a pump's inlet, and how far its outlet is over that inlet, m."""
    for net in nets(plan):
        for end, other in ((net.end, net.start), (net.start, net.end)):
            if end and other and (end.tag, end.port) == (pump, "inlet"):
                return other.tag, round(other.datum_m - end.datum_m, 3)
    return None


def crest_after(plan: Plan, routes: tuple[Route, ...], pump: str) -> tuple[str, float] | None:
    """The highest point of what a pump delivers into, through headers, up to the next vessel:
    pipe, and its level over the pump's inlet, m."""
    level = next(
        (e.datum_m for n in nets(plan) for e in (n.start, n.end)
         if e and (e.tag, e.port) == (pump, "inlet")), None,
    )  # fmt: skip
    if level is None:
        return None
    top: tuple[float, str] | None = None
    reached, todo = {pump}, [pump]
    every = list(zip(nets(plan), routes, strict=True))
    while todo:
        here = todo.pop()
        for net, route in every:
            if net.start is None or net.end is None or net.start.tag != here or not route.points:
                continue
            if (here == pump and net.start.port != "outlet") or net.service == "drain":
                continue
            high = max(p[2] for p in route.points)
            top = max(top, (high, net.key)) if top else (high, net.key)
            passed = plan.scene.things[net.end.tag].can(*PASSED_ON)
            if passed and net.end.tag not in reached:
                reached.add(net.end.tag)
                todo.append(net.end.tag)
    return None if top is None else (top[1], round(top[0] - level, 3))


def full_kg(plan: Plan, body: Body, kg_l: float) -> float:
    """Mass of a machine, or of all that stand under its tag, with what it holds, kg."""
    return body.mass_kg + plan.scene.things[body.tag].holds_l * kg_l


def load_kn_m2(plan: Plan, body: Body, kg_l: float) -> float:
    """Load of a machine when full on its footprint, kN/m2."""
    return round(full_kg(plan, body, kg_l) * 9.81 / 1000 / max(0.05, body.dx * body.dy), 2)


def warm_rooms(plan: Plan, share: float) -> list[tuple[str, float, float]]:
    """Rooms with machines that warm the air: name, heat in kW, volume in m3."""
    found = []
    for room in _roofed(plan):
        kw = sum(
            plan.scene.things[b.tag].power_kw * plan.scene.things[b.tag].count * share
            for b in plan.bodies.values()
            if b.room == room.name
        )
        if kw > 0.2:
            found.append((room.name, kw, room.w * room.d * room.height_m))
    return found
