"""Where pipes may run, and what a metre there is worth: racks cheap, aisles dear, boards shut."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from byrewright.place.board import WALL_M
from byrewright.place.cows import DECK_FRAME_M
from byrewright.place.ends import Net
from byrewright.place.kernel import SHUT, Floats
from byrewright.place.layout import BLOCK
from byrewright.place.model import NORMAL, Body, Frame, Plan, Rack
from byrewright.place.walls import Wall, walls

HEAD_M = 2.2
TIERS_M = (2.4, 2.6, 2.8, 3.0, 3.2, 3.4, 3.6, 3.8, 4.0)
"""Levels over the block's floor: even ones run east and west, odd ones north and south."""
TIER_M = 0.2
STEP_M, LANE_M, HALL_STEP_M = 0.3, 0.1, 1.0
CEILING_M, USUAL_M, SKY_M = 0.12, 3.6, 9.0
"""Middle of the highest pipe below a ceiling; height of a room up to which all pipes keep."""
ROUND_M = 2.4
"""How far beyond its two ends a short pipe looks for a way before it looks everywhere."""
OFF_WALL_M = 0.01
"""A pipe along a wall does not lie in its plaster."""
LOW_M = (0.7, 1.0, 1.35, 1.9)
TRENCH_M = (0.15, 0.35, 0.55, 0.75)
BEFORE_TANKS = (1.5, 1.5, 30.0)
"""What a metre between tanks and tanker is worth: up is dear."""

Costed = tuple[tuple[float, float, float, float, float, float], tuple[float, float, float]]


@dataclass(slots=True)
class Spaces:
    """Boxes with their costs a metre (east-west, north-south, upright), and the lines to run on."""

    plan: Plan
    frame: Frame
    costed: list[Costed]
    xs: Floats
    ys: Floats
    zs: Floats
    bodies: list[Body]
    outside: range = range(0)
    """Which of the boxes lie outside the building, or lead there."""
    _costed: dict[tuple[bool, bool], tuple[Floats, Floats]] = field(default_factory=dict)
    _walls: list[Wall] | None = None
    _mouths: tuple[list[tuple[str, str]], Floats] | None = None

    def arrays(self, net: Net) -> tuple[Floats, Floats]:
        """The boxes and their costs for a pipe: one that drains may go down anywhere, and one that
        joins two machines of the building does not leave it."""
        assert net.start is not None and net.end is not None
        drains = net.drains
        inside = not {net.start.tag, net.end.tag} & self.outdoors
        if (drains, inside) not in self._costed:
            boxes = np.array([b for b, _ in self.costed], dtype=np.float64)
            costs = np.array([c for _, c in self.costed], dtype=np.float64)
            before = [i for i, (_, c) in enumerate(self.costed) if c == BEFORE_TANKS]
            if drains:
                costs[before, 2] = costs[before, 0]
            if inside:
                costs[list(self.outside)] = 2 * SHUT
            self._costed[drains, inside] = boxes, costs
        return self._costed[drains, inside]

    @property
    def outdoors(self) -> set[str]:
        """Machines outside the building."""
        return {b.tag for b in self.bodies if b.room == "outside"}

    def lines(self, net: Net, everywhere: bool = False) -> tuple[Floats, Floats, Floats]:
        """The lines of a pipe's own grid: the common ones near it, and those of its ends."""
        assert net.start is not None and net.end is not None
        ends = (net.start, net.end)
        own = [e.at for e in ends] + list(net.turns)
        said = [p for line in net.lines for p in line.by]
        found = []
        for axis, common in enumerate((self.xs, self.ys, self.zs)):
            marks = {round(p[axis], 3) for p in own}
            if axis < 2:
                marks |= {
                    round(p[axis] + s * k, 3) for p in own for s in (1, -1)
                    for k in (0.15, 0.3, 0.45)
                }  # fmt: skip
                low = min(p[axis] for p in own) - ROUND_M
                high = max(p[axis] for p in own) + ROUND_M
                if axis == 0 and self.frame == "fixed":
                    passage = self.plan.rooms["passage"]
                    if abs(own[0][1] - own[1][1]) > 4.0 or low < passage.x2:
                        low = min(low, passage.x)
                near = common if everywhere else common[(common >= low) & (common <= high)]
            else:
                near = common
            if axis < 2:
                marks |= {round(p[axis], 3) for p in said}
            marks |= {round(float(c), 3) for c in near}
            found.append(np.array(sorted(marks), dtype=np.float64))
        return found[0], found[1], found[2]

    def solid(self, net: Net) -> Floats:
        """Machines in the way, grown by the pipe; its own two as they are."""
        assert net.start is not None and net.end is not None
        own = {net.start.tag, net.end.tag}
        rows = []
        for body in self.bodies:
            by = -0.01 if body.tag in own else net.radius_m + 0.03
            x1, y1, x2, y2 = body.box
            rows.append((x1 - by, y1 - by, body.z - by, x2 + by, y2 + by, body.z + body.h + by))
        return np.array(rows, dtype=np.float64).reshape(-1, 6)

    def over(self, net: Net) -> Floats:
        """Room over machines that stand, which is left free to lift and to reach them."""
        assert net.start is not None and net.end is not None
        own = {net.start.tag, net.end.tag}
        rows = []
        for body in self.bodies:
            if body.tag in own or body.hung:
                continue
            x1, y1, x2, y2 = body.box
            by = net.radius_m
            rows.append((x1 - by, y1 - by, body.z + body.h, x2 + by, y2 + by, SKY_M))
        return np.array(rows, dtype=np.float64).reshape(-1, 6)

    def walls(self, net: Net) -> tuple[Floats, Floats]:
        """Walls with half the pipe on both sides: those that run north, and those that run east. A
        pipe goes square through one, never along it."""
        rows: tuple[list[tuple[float, ...]], list[tuple[float, ...]]] = ([], [])
        by = net.radius_m + OFF_WALL_M
        if self._walls is None:
            self._walls = walls(self.plan) if self.frame == "fixed" else []
        for one in self._walls:
            box = (one.x - by, one.y - by, one.floor_m, one.x2 + by, one.y2 + by,
                   one.floor_m + one.height_m)  # fmt: skip
            rows[0 if one.runs_north else 1].append(box)
        north, east = (np.array(r, dtype=np.float64).reshape(-1, 6) for r in rows)
        return north, east

    def stubs(self, net: Net) -> Floats:
        """Room before the ports of other pipes, which is left to them where it can be."""
        assert net.start is not None and net.end is not None
        if self._mouths is None:
            self._mouths = _mouths(self.bodies)
        tags, rows = self._mouths
        own = {(e.tag, e.port) for e in (net.start, net.end)}
        grown = rows[[tag not in own for tag in tags]]
        by = net.radius_m + 0.06
        grown[:, :3] -= by
        grown[:, 3:] += by
        return grown


def _mouths(bodies: list[Body]) -> tuple[list[tuple[str, str]], Floats]:
    """Every port, and the space of the first of the pipe that leaves it."""
    tags, rows = [], []
    for body in bodies:
        for name, mouth in body.mouths.items():
            a = mouth.at
            b = tuple(p + 0.3 * w for p, w in zip(a, mouth.way, strict=True))
            tags.append((body.tag, name))
            rows.append((*map(min, a, b), *map(max, a, b)))
    return tags, np.array(rows, dtype=np.float64).reshape(-1, 6)


def _lines(*parts: tuple[float, float, float]) -> Floats:
    """Lines from, to, at a step; several parts as one."""
    marks: set[float] = set()
    for low, high, step in parts:
        count = max(1, round((high - low) / step))
        marks |= {round(low + (high - low) * i / count, 3) for i in range(count + 1)}
    return np.array(sorted(marks), dtype=np.float64)


def fixed_spaces(plan: Plan) -> Spaces:
    """The dairy block, the trench or bridge, the head of the pit, the tanker's wall."""
    rooms, passage, hall = plan.rooms, plan.rooms["passage"], plan.rooms["hall"]
    f = passage.floor_m
    high = max(r.height_m for r in rooms.values() if not r.open and r.name not in ("hall", "head"))
    costed: list[Costed] = []
    inner = [r for r in rooms.values() if r.name in BLOCK and not r.dry]
    top = f + min(high, USUAL_M) - CEILING_M
    tops = {r.name: f + r.height_m - CEILING_M for r in inner}  # taller rooms: over their tanks
    wall = 8.0
    shut = 2 * SHUT
    east = max((r.x2 for r in inner), default=passage.x2)
    for room in inner:
        costed.append(((room.x, room.y, f + 0.04, room.x2, room.y2, f + HEAD_M), (6, 6, 2.0)))
        costed.append(((room.x, room.y, f, room.x2, room.y2, f + 0.16), (4, 4, 2.0)))
    bodies = [b for b in plan.bodies.values() if b.frame == "fixed"]
    names = {r.name for r in inner}
    for body in bodies:
        if body.room not in names:
            continue
        x1, y1, x2, y2 = body.box
        costed.append(((x1 - 0.15, y1 - 0.15, f + 0.1, x2 + 0.15, y2 + 0.15, f + HEAD_M),
                       (2.2, 2.2, 1.3)))  # fmt: skip
        _, ny = NORMAL[body.turn]
        back = 0.5
        if ny:
            edge = y1 if ny > 0 else y2
            a, b = sorted((edge, edge - ny * back))
            costed.append(((x1 - 0.4, a, f + 0.1, x2 + 0.4, b, f + HEAD_M), (1.5, 1.5, 1.1)))
    for room in inner:
        costed.append(((room.x + 0.05, room.y + 0.05, f + HEAD_M, room.x2 - 0.05, room.y2 - 0.05,
                        tops[room.name]), (1.6, 1.6, 1.1)))  # fmt: skip
    costed.append(((passage.x + 0.1, passage.y + 0.1, f + 0.02, passage.x2 - 0.1,
                    passage.y2 - 0.1, f + HEAD_M), (5, 5, 1.6)))  # fmt: skip
    costed.append(((passage.x + 0.1, passage.y + 0.1, f + HEAD_M, passage.x2 - 0.1,
                    passage.y2 - 0.1, top), (1.2, 4.0, 1.1)))  # fmt: skip
    hung = [r for r in plan.racks.values() if not r.trench and not (r.stated and r.name != "main")]
    for i, tier in enumerate(TIERS_M):
        z = f + tier
        cost = (1.05, 1.5, 1.1) if i % 2 == 0 else (1.5, 1.05, 1.1)
        for room in inner:
            if z > tops[room.name]:
                continue
            costed.append(((room.x + 0.05, room.y + 0.05, z - 0.02, room.x2 - 0.05,
                            room.y2 - 0.05, z + 0.02), cost))  # fmt: skip
        if z > top:
            continue
        rack = (1.0, 1.1, 1.0) if i % 2 == 0 else (1.1, 0.8, 1.0)
        for one in hung:
            if abs(one.start[0] - one.end[0]) < 1e-6:
                half = one.wide_m / 2 - 0.06
                box = (one.start[0] - half, passage.y + 0.1, z - 0.02,
                       one.start[0] + half, passage.y2 - 0.1, z + 0.02)  # fmt: skip
                costed.append((box, rack))
    for room in inner:  # through the wall to the passage, and to the next wet room
        costed.append(((passage.x2 - 0.1, room.y + 0.05, f + HEAD_M, room.x + 0.05, room.y2 - 0.05,
                        top), (wall, shut, shut)))  # fmt: skip
        for other in inner:
            if 0 < other.y - room.y2 < 0.5:
                costed.append(((room.x + 0.05, room.y2 - 0.05, f + HEAD_M, room.x2 - 0.05,
                                other.y + 0.05, top), (shut, wall, shut)))  # fmt: skip
    stated = [r for r in plan.racks.values() if r.stated and not r.trench]
    _stated_racks(stated, costed)
    _before_tanks(plan, costed, f)
    indoors = len(costed)
    _tanker_side(plan, costed, f, wall, shut)
    _water_side(plan, costed, f, wall, shut)
    outside = range(indoors, len(costed))
    low: list[float] = []
    xs_extra: list[tuple[float, float, float]] = []
    ys_extra: list[tuple[float, float, float]] = []
    if plan.deck.rotary:
        low, xs_extra, ys_extra = _trench(plan, costed, f)
    else:
        _pit_side(plan, costed, f, wall, shut)
        xs_extra = [(plan.deck.pit_length_m / 2 - 0.3, hall.x2, STEP_M)]
        ys_extra = [(rooms["head"].y, rooms["head"].y2, 0.2)] if "head" in rooms else []
        low = [-0.1, 0.15, 0.35]
    low += [round(r.level_m + TIER_M * i, 3) for r in stated for i in range(r.tiers)]
    across = [_across(r) for r in stated]
    xs_extra += [lanes for way, lanes in across if way == 0]
    ys_extra += [lanes for way, lanes in across if way == 1]
    south = passage.y - 4.0
    xs = _lines((passage.x + 0.15, passage.x2 - 0.15, LANE_M), (passage.x2, east + 0.9, STEP_M),
                *xs_extra)  # fmt: skip
    ys = _lines((south, passage.y, 1.0), (passage.y, passage.y2, STEP_M), *ys_extra)
    tiers = [t for t in TIERS_M if f + t <= max([top, *tops.values()])]
    zs = sorted({round(f + z, 3) for z in (*LOW_M, *tiers)} | {round(z, 3) for z in low})
    levels = np.array(zs, dtype=np.float64)
    return Spaces(plan, "fixed", costed, xs, ys, levels, bodies, outside)


def _across(rack: Rack) -> tuple[int, tuple[float, float, float]]:
    """The axis across a rack, and the lanes on it."""
    way = 1 if abs(rack.end[0] - rack.start[0]) > abs(rack.end[1] - rack.start[1]) else 0
    half = max(LANE_M / 2, rack.wide_m / 2 - 0.06)
    return way, (rack.start[way] - half, rack.start[way] + half, LANE_M)


def _stated_racks(racks: list[Rack], costed: list[Costed]) -> None:
    """Racks that a person has put somewhere, as far as they reach."""
    for rack in racks:
        way, (low, high, _) = _across(rack)
        for i in range(rack.tiers):
            z = rack.level_m + TIER_M * i
            a, b = sorted((rack.start[1 - way], rack.end[1 - way]))
            box = (low, a, z - 0.02, high, b, z + 0.02) if way == 0 else (
                a, low, z - 0.02, b, high, z + 0.02)  # fmt: skip
            costed.append((box, (1.1, 0.8, 1.0) if way == 0 else (0.8, 1.1, 1.0)))


def _before_tanks(plan: Plan, costed: list[Costed], f: float) -> None:
    if "milk" not in plan.rooms:
        return
    milk = plan.rooms["milk"]
    mine = [b for b in plan.bodies.values() if b.room == "milk"]
    fronts = max((b.box[2] for b in mine if "stores milk" in b.does), default=milk.x2)
    south = [b.box[1] for b in mine if b.hung and b.box[0] > fronts]
    if south:  # what tanks run out into by gravity lies low and level, between them and the tanker
        costed.append(((fronts, min(south), f, milk.x2 - 0.05, milk.y2 - 0.1, f + HEAD_M),
                       BEFORE_TANKS))  # fmt: skip


def _tanker_side(plan: Plan, costed: list[Costed], f: float, wall: float, shut: float) -> None:
    if "milk" not in plan.rooms:
        return
    milk = plan.rooms["milk"]
    outside = milk.x2 + WALL_M
    costed.append(((milk.x2 - 0.05, milk.y + 0.1, f + 0.2, outside + 0.05, milk.y2 - 0.1,
                    f + 3.0), (wall, shut, shut)))  # fmt: skip
    costed.append(((outside, milk.y, f + 0.1, outside + 0.8, milk.y2, f + 3.0),
                   (2.0, 2.0, 1.5)))  # fmt: skip


def _water_side(plan: Plan, costed: list[Costed], f: float, wall: float, shut: float) -> None:
    passage = plan.rooms["passage"]
    costed.append(((passage.x, passage.y - 4.5, f - 0.2, passage.x2, passage.y - 0.15, f + 3.2),
                   (1.6, 1.4, 1.3)))  # fmt: skip
    costed.append(((passage.x + 0.1, passage.y - 0.2, f + 0.2, passage.x2 - 0.1, passage.y + 0.1,
                    f + 3.2), (shut, wall, shut)))  # fmt: skip


def _trench(
    plan: Plan, costed: list[Costed], f: float
) -> tuple[list[float], list[tuple[float, float, float]], list[tuple[float, float, float]]]:
    deck, passage, hall = plan.deck, plan.rooms["passage"], plan.rooms["hall"]
    half = 0.7
    ys = [(-half + 0.1, half - 0.1, LANE_M)]
    if plan.scene.wish.services == "under":
        floor = deck.pit_floor_m
        r = deck.pit_radius_m * 0.8
        costed.append(((0.3, -half, floor + 0.08, passage.x2 - 0.1, half, -0.15), (1.0, 1.4, 1.2)))
        costed.append(((-r, -r, floor + 0.08, r, r, DECK_FRAME_M - 0.04), (1.2, 1.2, 1.2)))
        costed.append(((0.3, -r, DECK_FRAME_M - 0.039, deck.pit_radius_m, r, 1.0),
                       (2 * SHUT, 2 * SHUT, 2 * SHUT)))  # fmt: skip
        costed.append(((passage.x + 0.1, -half, -0.2, passage.x2 - 0.1, half, f + 0.1),
                       (3.0, 3.0, 1.2)))  # fmt: skip
        levels = [round(floor + t, 3) for t in TRENCH_M]
    else:
        high = hall.height_m
        costed.append(((-0.8, -0.8, -1.3, 0.8, 0.8, high - 0.3), (2.0, 2.0, 1.1)))
        costed.append(((-0.8, -half, high - 1.4, passage.x2 - 0.1, half, high - 0.3),
                       (1.0, 1.3, 1.1)))  # fmt: skip
        costed.append(((passage.x + 0.1, -half, f + 2.2, passage.x2 - 0.1, half, high - 0.3),
                       (1.3, 1.3, 1.1)))  # fmt: skip
        levels = [round(high - 0.4 - 0.2 * i, 3) for i in range(5)]
    xs = [(0.3, passage.x, HALL_STEP_M), (0.3, 1.5, STEP_M)]
    return levels, xs, ys


def _pit_side(plan: Plan, costed: list[Costed], f: float, wall: float, shut: float) -> None:
    deck, passage, hall = plan.deck, plan.rooms["passage"], plan.rooms["hall"]
    head = plan.rooms["head"]
    x1 = deck.pit_length_m / 2 - 0.3
    y1, y2 = head.y, head.y2
    costed.append(((x1, y1, head.floor_m + 0.05, hall.x2 - 0.1, y2, f + 2.3), (2.2, 2.2, 1.3)))
    costed.append(((x1, y1, f + 2.3, hall.x2 - 0.1, y2, f + 3.5), (1.2, 1.3, 1.1)))
    for rack in plan.racks.values():
        if abs(rack.start[1] - rack.end[1]) < 1e-6:
            half = rack.wide_m / 2 - 0.06
            y1, y2 = rack.start[1] - half, rack.start[1] + half
            costed.append(((rack.start[0], y1, f + 2.3, hall.x2 - 0.1, y2, f + 3.5),
                           (0.7, 1.0, 1.0)))  # fmt: skip
    costed.append(((hall.x2 - 0.15, y1, f + HEAD_M, passage.x + 0.15, y2, f + 3.5),
                   (wall, shut, shut)))  # fmt: skip


def deck_spaces(plan: Plan) -> Spaces:
    """Under a turning deck, down to the lowest level of its frame."""
    deck = plan.deck
    r = max(2.0, deck.ring_radius_m + 0.6)
    top = max(0.4, deck.height_m - 0.36)
    costed: list[Costed] = [((-r, -r, DECK_FRAME_M + 0.02, r, r, top), (1.3, 1.3, 1.2))]
    bodies = [b for b in plan.bodies.values() if b.frame == "deck" or "joins deck" in b.does]
    grid = _lines((-r, r, STEP_M))
    zs = [-0.6, -0.4, -0.2, 0.0, 0.2, 0.35, 0.5]
    return Spaces(plan, "deck", costed, grid, grid, np.array(zs, dtype=np.float64), bodies)
