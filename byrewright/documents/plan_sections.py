"""Upright cuts through the plan: deck and pit, dairy block, milk room with the tank's door."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

from byrewright.documents.format import drawn_system
from byrewright.documents.ink import QUIET, RULE, ink_of
from byrewright.documents.lengths import level as over_floor
from byrewright.documents.lengths import measure, plain
from byrewright.documents.plan_canvas import LEAST_MM, LEVELS_MM, Area, Canvas, Flat, scale_for
from byrewright.documents.plan_cut import Cut
from byrewright.documents.plan_parts import FIELD, draw_body, draw_stubs
from byrewright.place.board import WALL_M
from byrewright.place.checks import is_tank
from byrewright.place.layout import BLOCK
from byrewright.place.model import Body, Plan, Point, Room, Side
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk, FeedsPulsators
from byrewright.plant.sited import Sited
from byrewright.standards.footprints import Ring

SLAB_M, ROOF_M, BED_M = 0.15, 0.12, 0.25
NOTES = [
    "Levels in {measure} over the operator's floor. Grey: cut. A pipe that runs before or behind",
    "a machine is broken at it. Rings: pipes end on. Sizes typical unless stated.",
    "Cut lines are marked on the general arrangement.",
    "Structure: by licensed people, to local codes.",
]
LINES = {"collects milk": "milkline", "feeds pulsators": "pulsators", "gives milk": "units"}
"""What runs round the stalls, by what it does, as it is named in a section."""
WHOLE = "the whole centre"
WORD_MM = 2.4
"""From one line of words to the next."""
RAIL_M = 0.8
"""Breast rail over the deck as drawn."""
GAP_MM = 13.0
"""Between two sections on a sheet: title, bar and levels."""


def notes() -> list[str]:
    """What stands in the foot of a sheet of sections."""
    return [text.replace("{measure}", measure()) for text in NOTES]


def across(plant: Plant, made: Sited) -> tuple[list[Canvas], list[str]]:
    """P4: the whole centre through the middle of the deck or pit, and its middle larger."""
    plan, deck = made.plan, made.plan.deck
    main = Cut("A", "n", 0.0, 30.0, WHOLE)
    hall = plan.rooms["hall"]
    east = max(r.x2 for r in plan.rooms.values() if main.crosses(r) and not r.open)
    low = min(deck.pit_floor_m, plan.rooms["head"].floor_m if "head" in plan.rooms else 0.0)
    high = max(r.floor_m + r.height_m for r in plan.rooms.values() if main.crosses(r))
    strips: list[tuple[Cut, Area]] = [(main, (hall.x, low, east, high))]
    if deck.rotary:
        near = [b for b in plan.bodies.values() if b.room == "hall"]
        r = 0.4 + max((max(abs(b.x) + b.dx / 2, abs(b.y) + b.dy / 2) for b in near), default=2.0)
        for side, word in (("n", "middle, looking north"), ("s", "middle, looking south")):
            cut = Cut("A", side, 0.0, 6.0, word)  # type: ignore[arg-type]
            strips.append((cut, (-r, low, r, deck.height_m + 0.1)))
    else:
        half = deck.pit_width_m / 2 + deck.row_depth_m + 1.0
        head = plan.rooms["head"]
        inner = (head.x - 0.3, head.floor_m, head.x2 + 0.3, 2.2)
        strips.append((Cut("A", "n", 0.0, 4.0, "head of the pit, looking north"), inner))
        behind = (-inner[2], inner[1], -inner[0], inner[3])
        strips.append((Cut("A", "s", 0.0, 4.0, "head of the pit, looking south"), behind))
        rows = Cut("B", "e", 0.0, 0.5, "rows and pit")
        strips.append((rows, (-half, 0.0, half, hall.height_m * 0.6)))
    shelves = [strips[:1], strips[1:3], strips[3:]]
    views: list[Canvas] = []
    top, ends = FIELD[1], []
    for shelf, tall in zip(shelves, (80.0, 105.0 if deck.rotary else 80.0, 70.0), strict=True):
        if shelf:
            views += _lay(shelf, top, tall)
            top = max(v.y_mm + v.tall_mm for v in views) + GAP_MM
            ends.append(len(views))
    spare = max(0.0, FIELD[3] - top + 4) / (len(ends) + 1)
    for i, view in enumerate(views):
        view.y_mm += spare * (1 + sum(i >= end for end in ends))
    return _draw(plant, made, views, [strips[0], *strips[1:]]), notes()


def along(plant: Plant, made: Sited) -> tuple[list[Canvas], list[str]]:
    """P5: along the dairy block, along the passage with its rack, and through the milk room."""
    plan = made.plan
    rooms = [r for n, r in plan.rooms.items() if n in BLOCK]
    passage = plan.rooms["passage"]
    floor = passage.floor_m
    top = floor + max(r.height_m for r in rooms)
    box = (passage.y, floor, passage.y2, top)
    flip = (-passage.y2, floor, -passage.y, top)
    middle = _middle(rooms)
    strips = [
        (Cut("C", "w", passage.x2 - 0.05, 3.0, "passage and its rack, looking west"), box),
        (Cut("D", "w", middle, 20.0, "dairy block, looking west"), box),
        (Cut("D", "e", middle, 20.0, "dairy block, looking east"), flip),
    ]
    views = _lay([(c, b) for c, b in strips], FIELD[1], FIELD[3] - FIELD[1] - 6, stack=True,
                 share=4 if "milk" in plan.rooms else 3)  # fmt: skip
    if "milk" in plan.rooms:
        milk, tanker = plan.rooms["milk"], plan.rooms.get("tanker")
        end = (tanker.x2 if tanker else milk.x2) + 0.5
        one = (Cut("E", "n", _tank_at(plan), 30.0, "milk room and tank"),
               (passage.x, floor, end, floor + milk.height_m))  # fmt: skip
        strips.append(one)
        under = views[-1].y_mm + views[-1].tall_mm + GAP_MM
        views += _lay([one], under, FIELD[3] - under - 6)
    return _draw(plant, made, views, strips), notes()


def cuts_of(plan: Plan) -> list[Cut]:
    """The cuts drawn on the sections, for the marks on the plan."""
    found = [Cut("A", "n", 0.0)]
    if not plan.deck.rotary:
        found.append(Cut("B", "e", 0.0))
    found.append(Cut("D", "w", _middle([r for n, r in plan.rooms.items() if n in BLOCK])))
    if "milk" in plan.rooms:
        found.append(Cut("E", "n", _tank_at(plan)))
    return found


def _tank_at(plan: Plan) -> float:
    """Where the milk room is cut: through its first tank, or its middle."""
    milk = plan.rooms["milk"]
    tanks = [b.y for b in plan.bodies.values() if b.room == "milk" and is_tank(b)]
    return round(tanks[0] if tanks else milk.y + milk.d / 2, 2)


def _middle(rooms: list[Room]) -> float:
    return round((max(r.x for r in rooms) + min(r.x2 for r in rooms)) / 2, 2)


def _lay(
    strips: list[tuple[Cut, Area]], top: float, tall: float, *, stack: bool = False, share: int = 0
) -> list[Canvas]:
    """Canvases for sections: one over another, or side by side, at one scale."""
    left, right = FIELD[0], FIELD[2] - LEVELS_MM[drawn_system()]
    wide = right - left
    count = max(1, len(strips))
    boxes = [(b[0] - 0.4, b[1] - BED_M, b[2] + 0.4, b[3] + 0.35) for _, b in strips]
    if stack:
        each = (tall - GAP_MM * (share or count)) / (share or count)
        scale = max(scale_for(b[2] - b[0], b[3] - b[1], wide, each) for b in boxes)
        made, at = [], top
        for (cut, _), box in zip(strips, boxes, strict=True):
            high = (box[3] - box[1]) * 1000 / scale
            made.append(
                Canvas(box, left, at, wide, high, scale=scale, title=_title(cut), form="view")
            )
            at += high + GAP_MM
        return made
    part = (wide - 14.0 * (count - 1)) / count
    made = []
    for i, ((cut, _), box) in enumerate(zip(strips, boxes, strict=True)):
        scale = scale_for(box[2] - box[0], box[3] - box[1], part, tall - 8)
        high = (box[3] - box[1]) * 1000 / scale
        made.append(Canvas(box, left + i * (part + 14.0), top, part, high, scale=scale,
                           title=_title(cut), form="view"))  # fmt: skip
    return made


def _title(cut: Cut) -> str:
    return f"{cut.letter}-{cut.letter}  {cut.words}"


def _draw(
    plant: Plant, made: Sited, views: list[Canvas], strips: list[tuple[Cut, Area]]
) -> list[Canvas]:
    for view, (cut, _) in zip(views, strips, strict=True):
        view.taken = views[0].taken
        _section(plant, made, view, cut)
    return views


def _section(plant: Plant, made: Sited, view: Canvas, cut: Cut) -> None:
    plan = made.plan
    rooms = [r for r in plan.rooms.values() if cut.crosses(r) and r.name != "head"]
    for room in rooms:
        _room(view, plan, cut, room)
    if plan.deck.rotary and cut.look in ("n", "s") and cut.at == 0.0:
        _deck(view, plant, plan, cut)
    elif not plan.deck.rotary and any(r.name == "hall" for r in rooms):
        (_pit_long if cut.look in ("n", "s") else _pit_wide)(view, plant, plan, cut)
    names = {r.name for r in rooms} | ({"head"} if "hall" in {r.name for r in rooms} else set())
    bodies = [b for b in plan.bodies.values() if b.room in names and _seen(cut, b)]
    if "tanker" in names:
        bodies += [b for b in plan.bodies.values() if b.room == "outside" and _seen(cut, b)]
    for route in made.routes:
        parts = [p for a, b in pairwise(route.points) for p in _inside(cut, rooms, a, b)]
        _pipe(view, cut, route.service, route.outside_mm, route.lines[0], parts)
    for body in sorted(bodies, key=lambda b: -cut.deep(b.x, b.y)):
        a, b = (cut.u(p[0], p[1]) for p in ((body.box[0], body.box[1]), (body.box[2], body.box[3])))
        box = (min(a, b), body.z, max(a, b), body.z + body.h)
        draw_body(view, body, box, upright=True)
    draw_stubs(view, made, {b.tag for b in bodies}, lambda p: cut.flat(p))
    shown: list[Area] = []
    for body in sorted(bodies, key=lambda b: cut.deep(b.x, b.y)):
        a, b = (cut.u(p[0], p[1]) for p in ((body.box[0], body.box[1]), (body.box[2], body.box[3])))
        box = (min(a, b), body.z, max(a, b), body.z + body.h)
        seen = _visible(box, shown)
        small = cut.words == WHOLE and body.room in ("hall", "head")  # told on the larger views
        if view.holds(box) and seen is not None and not small:
            view.keep_clear(seen)
            view.tag(seen, body.tag, LEAST_MM, far_mm=9.0)
        shown.append(box)
    for room in rooms:
        if not room.open:
            _name(view, cut, room)
    if cut.words == WHOLE:
        _milkline(view, plant, plan)
    view.tag_pipes()
    _levels(view, plan, cut, rooms)


def _visible(box: Area, shown: list[Area]) -> Area | None:
    """The widest part of a machine that nearer machines leave in sight at its middle height; None
    where they leave less than a third."""
    middle = (box[1] + box[3]) / 2
    parts = [(box[0], box[2])]
    for near in shown:
        if near[1] < middle < near[3]:
            parts = [
                piece
                for a, b in parts
                for piece in ((a, min(b, near[0])), (max(a, near[2]), b))
                if piece[1] - piece[0] > 1e-3
            ]
    a, b = max(parts, key=lambda p: p[1] - p[0], default=(0.0, 0.0))
    return (a, box[1], b, box[3]) if b - a > (box[2] - box[0]) / 3 else None


def _seen(cut: Cut, body: Body) -> bool:
    x1, y1, x2, y2 = body.box
    far = max(cut.deep(x1, y1), cut.deep(x2, y2))
    near = min(cut.deep(x1, y1), cut.deep(x2, y2))
    return far > 0.02 and near < cut.reach


def _inside(cut: Cut, rooms: list[Room], a: Point, b: Point) -> list[tuple[Point, Point]]:
    """The parts of a piece of pipe that lie behind the cut in the rooms that are cut."""
    da, db = cut.deep(a[0], a[1]), cut.deep(b[0], b[1])
    if max(da, db) < 0.0 or min(da, db) > cut.reach:
        return []
    parts = []
    for room in rooms:
        by = WALL_M / 2
        low, high = (room.x - by, room.y - by), (room.x2 + by, room.y2 + by)
        axis = 0 if abs(a[0] - b[0]) > 1e-9 else 1
        if any(not low[i] <= a[i] <= high[i] for i in (0, 1) if i != axis or a[i] == b[i]):
            continue
        ends = [min(max(p[axis], low[axis]), high[axis]) for p in (a, b)]
        if abs(ends[0] - ends[1]) < 1e-9 and a[axis] != b[axis]:
            continue
        one, two = list(a), list(b)
        one[axis], two[axis] = ends
        parts.append(((one[0], one[1], one[2]), (two[0], two[1], two[2])))
    return parts


def _pipe(
    view: Canvas, cut: Cut, service: str, outside_mm: float, tag: str,
    parts: Iterable[tuple[Point, Point]],
) -> None:  # fmt: skip
    ink = ink_of(service)
    thin = replace(ink, width_mm=min(ink.width_mm, 0.3))
    run: list[Flat] = []
    x1, z1, x2, z2 = view.window
    for a, b in parts:
        p, q = cut.flat(a), cut.flat(b)
        if math.dist(p, q) < 1e-6:
            if (
                x1 < p[0] < x2
                and z1 < p[1] < z2
                and cut.deep(a[0], a[1]) * cut.deep(b[0], b[1]) <= 1e-9
            ):
                view.circle(*p, max(outside_mm / 2000, 0.35 * view.scale / 1000), 0.2, ink.colour)
            continue
        if run and math.dist(run[-1], p) < 1e-6:
            run.append(q)
        else:
            view.pipe(run, thin, tag) if len(run) > 1 else None
            run = [p, q]
    if len(run) > 1:
        view.pipe(run, thin, tag)


# what is built ---------------------------------------------------------------------------------


def _room(view: Canvas, plan: Plan, cut: Cut, room: Room) -> None:
    u1, u2 = cut.span(room)
    z = room.floor_m
    if room.name == "hall":
        _hall_floor(view, plan, cut, room)
    else:
        view.box((u1, z - SLAB_M, u2, z), 0.2, fill=RULE)
        view.line(((u1, z), (u2, z)), 0.45)
    if room.open:
        return
    top = z + room.height_m
    view.box((u1 - WALL_M, top, u2 + WALL_M, top + ROOF_M), 0.2, fill=RULE)
    across = cut.look in ("n", "s")
    for edge, wall, inner in (
        (u1 - WALL_M, _end(cut, 0), u1), (u2, _end(cut, 1), u2)
    ):  # fmt: skip
        sill = z - SLAB_M
        for door in room.doors:
            start = (room.y if door.wall in ("e", "w") else room.x) + door.at_m
            if door.wall == wall and abs(start - cut.at) < door.wide_m / 2:
                sill = z + door.high_m
                view.line(((inner, z), (inner, sill)), 0.12, QUIET)
        view.box((edge, sill, edge + WALL_M, top), 0.3, fill=RULE)
    far: Side = cut.look
    for door in room.doors:
        if door.wall != far:
            continue
        at = (room.x if across else room.y) + door.at_m
        a, b = (cut.u(at + s, 0) if across else cut.u(0, at + s)
                for s in (-door.wide_m / 2, door.wide_m / 2))  # fmt: skip
        view.box((min(a, b), z, max(a, b), z + door.high_m), 0.15, colour=QUIET)
        view.word((a + b) / 2, z + door.high_m + 2.0 * view.scale / 1000,
                  f"door {plain(door.wide_m)} x {plain(door.high_m)}", LEAST_MM,
                  colour=QUIET)  # fmt: skip


def _name(view: Canvas, cut: Cut, room: Room) -> None:
    """A room's name under its ceiling, beside the pipes."""
    u1, u2 = cut.span(room)
    top = room.floor_m + room.height_m
    shares = (0.5, 0.35, 0.65, 0.22, 0.78, 0.12, 0.88)
    drops = (2.2, 4.4, 6.6, 9.0, 12.0)
    for drop in drops:
        for share in shares:
            x, y = view.at(u1 + (u2 - u1) * share, top - drop * view.scale / 1000)
            if view.free_word(x, y, room.name.upper(), LEAST_MM, bold=True):
                return
    view.word(
        (u1 + u2) / 2, top - drops[0] * view.scale / 1000, room.name.upper(), LEAST_MM, bold=True
    )


def _end(cut: Cut, number: int) -> Side:
    """The wall that stands at the left (0) or right (1) end of a cut."""
    ends: dict[Side, tuple[Side, Side]] = {
        "n": ("w", "e"), "s": ("e", "w"), "e": ("n", "s"), "w": ("s", "n")
    }  # fmt: skip
    return ends[cut.look][number]


def _profile(view: Canvas, points: list[Flat]) -> None:
    """The floor as cut, along a run of points from left to right."""
    view.line(points, 0.45)
    for (a, za), (b, zb) in pairwise(points):
        if abs(za - zb) < 1e-9 and b > a:
            view.box((a, za - SLAB_M, b, za), 0.1, fill=RULE)


def _hall_floor(view: Canvas, plan: Plan, cut: Cut, room: Room) -> None:
    u1, u2 = cut.span(room)
    deck = plan.deck
    if not deck.rotary:
        return
    if cut.at != 0.0 or cut.look not in ("n", "s"):
        _profile(view, [(u1, 0.0), (u2, 0.0)])
        return
    r, low = deck.pit_radius_m, deck.pit_floor_m
    trench = next((t for t in plan.racks.values() if t.trench), None)
    points: list[Flat] = [(u1, 0.0), (-r, 0.0), (-r, low), (r, low), (r, 0.0), (u2, 0.0)]
    if trench is not None:
        end = cut.u(trench.end[0], 0.0)
        if end > 0:
            points = [(u1, 0.0), (-r, 0.0), (-r, low), (end, low), (end, 0.0)]
        else:
            points = [(end, 0.0), (end, low), (r, low), (r, 0.0), (u2, 0.0)]
        a, b = sorted((math.copysign(r, end), end))
        view.line(((a, 0.0), (b, 0.0)), 0.2, QUIET, (1.5, 0.8))
        view.word((a + b) / 2, 0.09 + 0.8 * view.scale / 1000, "trench, covered", LEAST_MM,
                  colour=QUIET)  # fmt: skip
    _profile(view, points)


def _deck(view: Canvas, plant: Plant, plan: Plan, cut: Cut) -> None:
    deck = plan.deck
    thick = plant.place_rules().number("place.deck_thickness_m")
    z = deck.height_m
    for sign in (-1, 1):
        a, b = sorted((sign * deck.inner_radius_m, sign * deck.edge_radius_m))
        view.box((a, z - thick, b, z), 0.3, fill=RULE)
        rail = sign * deck.rail_radius_m
        view.box((rail - 0.2, 0.0, rail + 0.2, z - thick - 0.3), 0.2)
        view.circle(rail, z - thick - 0.15, 0.15, 0.25)
        view.line(((sign * deck.inner_radius_m, z), (sign * deck.inner_radius_m, z + RAIL_M)), 0.25)
        ring = sign * deck.ring_radius_m
        for one in _rings(plan).values():
            view.circle(ring + sign * one.apart_m, one.level_m, 0.05, 0.2)


def _rings(plan: Plan) -> dict[str, Ring]:
    """What runs round the stalls: its name in a section, and where it runs."""
    every = plan.scene.things.values()
    found = {
        word: next((t.form.ring for t in every if t.can(role)), None)
        for role, word in LINES.items()
    }
    return {word: ring for word, ring in found.items() if ring is not None}


def _milkline(view: Canvas, plant: Plant, plan: Plan) -> None:
    """What the milkline does, beside where it is drawn on the section of the whole."""
    line = plant.first(CollectsMilk)
    if line is None or not plan.deck.rotary:
        return
    level = type(line).FORM.ring.level_m
    for share in (0.6, 0.45, 0.5, 0.4, 0.35):
        for drop in (0.0, 0.3, -0.3, 0.6, 1.0, 1.4):
            x, y = view.at(-share * plan.deck.edge_radius_m, level + drop)
            words = f"milkline {over_floor(level)}, falls {line.slope_pct:g} %"
            if view.free_word(x, y, words, LEAST_MM):
                return


def _pit_long(view: Canvas, plant: Plant, plan: Plan, cut: Cut) -> None:
    deck, hall, head = plan.deck, plan.rooms["hall"], plan.rooms["head"]
    half, z = deck.pit_length_m / 2, deck.height_m
    step = plant.place_rules().number("place.pit_steps_m")
    stairs: list[Flat] = [(hall.x, z), (-half, z)]
    for i in range(1, 6):
        x = -half + step * i / 5
        level = round(z * (1 - i / 5), 3)
        stairs += [(x - step / 5, level), (x, level)]
    stairs += [(head.x, 0.0), (head.x, head.floor_m), (head.x2, head.floor_m), (head.x2, z),
               (hall.x2, z)]  # fmt: skip
    if cut.look == "s":
        stairs = [(-u, v) for u, v in reversed(stairs)]
    _profile(view, stairs)
    edge = sorted((cut.u(-half, 0), cut.u(half, 0)))
    view.line(((edge[0], z), (edge[1], z)), 0.2, QUIET)
    for one, service in ((plant.first(CollectsMilk), "milk"),
                         (plant.first(FeedsPulsators), "vacuum")):  # fmt: skip
        if one is not None:
            level = type(one).FORM.ring.row_level_m
            view.line(((edge[0] + step, level), (edge[1], level)), 0.25, ink_of(service).colour)
    line = plant.first(CollectsMilk)
    if line is not None:
        level = type(line).FORM.ring.row_level_m
        view.word(cut.u(0, 0), level - 1.6 * view.scale / 1000,
                  f"milkline {over_floor(level)} at the middle, falls {line.slope_pct:g} % to the "
                  "head",
                  LEAST_MM)  # fmt: skip


def _pit_wide(view: Canvas, plant: Plant, plan: Plan, cut: Cut) -> None:
    deck, hall = plan.deck, plan.rooms["hall"]
    mid, z = deck.pit_width_m / 2, deck.height_m
    out = mid + deck.row_depth_m
    wall = hall.d / 2
    _profile(view, [(-wall, z), (-mid, z), (-mid, 0.0), (mid, 0.0), (mid, z), (wall, z)])
    rings = sorted((r.row_level_m, w) for w, r in _rings(plan).items())
    row = 1.3 * WORD_MM * view.scale / 1000
    for i, (level, word) in enumerate(rings, 1):  # over rings and rails: there is no room between
        view.word(0.0, z + RAIL_M + 0.3 + i * row, f"{word} {over_floor(level)}", LEAST_MM)
    for sign in (-1, 1):
        view.line(((sign * out, z), (sign * out, z + 1.2)), 0.25)
        view.line(((sign * mid, z), (sign * mid, z + RAIL_M + 0.3)), 0.25)
        for level, _ in rings:
            view.circle(sign * (mid - 0.2), level, 0.05, 0.2)
        view.word(sign * (mid + out) / 2, z + 0.9, "standing", LEAST_MM, colour=QUIET)
    view.dimension((-mid, 0.0), (mid, 0.0), -4.0)
    view.dimension((mid, 0.0), (mid, z), 4.0)


def _levels(view: Canvas, plan: Plan, cut: Cut, rooms: list[Room]) -> None:
    """Levels at the right-hand side, each with what it is of."""
    marks: dict[float, str] = {0.0: "operator"}
    names = {r.name for r in rooms}
    if "hall" in names:
        marks[plan.deck.height_m] = "deck" if plan.deck.rotary else "cows"
        if plan.deck.rotary:
            marks[plan.deck.pit_floor_m] = "pit"
        if "head" in plan.rooms and cut.look in ("n", "s"):
            marks[plan.rooms["head"].floor_m] = "head"
    for room in rooms:
        marks.setdefault(room.floor_m, "floor")
        if not room.open:
            marks.setdefault(round(room.floor_m + room.height_m, 3), "ceiling")
    if names & set(BLOCK) | names & {"passage"}:
        rack = next((r for r in plan.racks.values() if r.name == "main"), None)
        if rack is not None:
            marks.setdefault(rack.level_m, "rack")
    for level, what in sorted(marks.items()):
        if view.window[1] - 1e-6 <= level <= view.window[3]:
            view.level(level, f"{over_floor(level)} {what}".replace("+0.00", "±0.00"))


__all__ = ["Cut", "across", "along", "cuts_of"]
