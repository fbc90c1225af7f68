"""The plan on paper: general arrangement, dairy block, under the deck. Set-out table beside it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from byrewright.documents.ink import PAPER, QUIET, ink_of, own_colours
from byrewright.documents.plan_canvas import Area, Canvas
from byrewright.documents.schematic import BORDER_MM, FOOT_MM, PAGES, Issue, title_block
from byrewright.documents.shapes import Letters
from byrewright.documents.sheets import Sheet
from byrewright.documents.svg import letters_svg, rect_svg, rule_svg, sheet_svg
from byrewright.documents.typeset import pdf
from byrewright.place.layout import BLOCK
from byrewright.place.model import Body, Plan, Room
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, sited
from byrewright.standards.footprints import footprint

WALL_M = 0.2
FIELD: Area = (BORDER_MM + 10, BORDER_MM + 10, 420 - BORDER_MM - 10, 297 - BORDER_MM - FOOT_MM - 8)
"""Field of an A3 sheet for the drawing: left, top, right, bottom, mm."""
DOTS = (0.3, 0.7)


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """One sheet of the plan set: key, title and what draws it."""

    key: str
    title: str
    draw: Callable[[Plant, Sited], tuple[Canvas, list[str]]]


def plan_sheets(plant: Plant) -> tuple[PlanSheet, ...]:
    """The sheets of the plan set that a plant has; none where its file has no `place`."""
    if plant.place is None:
        return ()
    found = [
        PlanSheet("P1-plan", "General arrangement", general),
        PlanSheet("P2-block", "Dairy block", block),
        PlanSheet("P3-deck", "Under the deck" if _turns(plant) else "Head of the pit", under),
        PlanSheet("P6-works", "Builder's works", works),
    ]
    return tuple(found)


def plan_svg(plant: Plant, sheet: PlanSheet, *, issue: Issue | None = None) -> str:
    """One sheet as SVG text, A3, in millimetres.

    Raises:
        ValueError: the plant's file has no `place`.
    """
    made = sited(plant)
    if made is None:
        raise ValueError("the plant's file has no `place`, so there is nothing to draw")
    with own_colours(plant.colours.stated()):
        canvas, notes = sheet.draw(plant, made)
        return _page(plant, sheet, canvas, notes, issue or Issue())


def _page(plant: Plant, sheet: PlanSheet, canvas: Canvas, notes: list[str], issue: Issue) -> str:
    width, height = PAGES["A3"]
    left, low, right = BORDER_MM, height - BORDER_MM, width - BORDER_MM
    top = low - FOOT_MM
    frame = ((left, left), (right, left), (right, low), (left, low), (left, left))
    parts = [
        rect_svg(0, 0, width, height, PAPER),
        rule_svg(frame, 0.5),
        *canvas.svg(),
        rule_svg(((left, top), (right, top)), 0.35),
        *canvas.scale_bar(left + 8, top + 4),
        *canvas.north(left + 62, top + 9),
    ]
    for i, text in enumerate(notes[:5]):
        parts.append(
            letters_svg(Letters(left + 76, top + 4 + 3.2 * i, text, 1.8, "start", colour=QUIET))
        )
    parts += title_block(plant, Sheet(sheet.key, sheet.title, ()), None, "A3", width, height, issue)
    return sheet_svg(width, height, "\n".join(parts))


def _canvas(window: Area, turned: bool = False) -> Canvas:
    left, top, right, bottom = FIELD
    return Canvas(window, left, top, right - left, bottom - top, turned)


# what every plan shows ------------------------------------------------------------------------


def draw_rooms(canvas: Canvas, plan: Plan) -> None:
    """Walls and doors."""
    for room in plan.rooms.values():
        if room.name == "head":
            canvas.box((room.x, room.y, room.x2, room.y2), 0.25, dashes=(3, 1))
        elif room.open:
            canvas.box((room.x, room.y, room.x2, room.y2), 0.2, colour=QUIET, dashes=(4, 1.2))
        else:
            w = WALL_M
            canvas.box((room.x - w, room.y - w, room.x2 + w, room.y2 + w), 0.15)
            canvas.box((room.x, room.y, room.x2, room.y2), 0.45)
        for door in room.doors:
            _door(canvas, room, door.wall, door.at_m, door.wide_m)


def _door(canvas: Canvas, room: Room, wall: str, at: float, wide: float) -> None:
    half, w = wide / 2, WALL_M
    if wall in ("e", "w"):
        x = room.x2 if wall == "e" else room.x - w
        box = (x, room.y + at - half, x + w, room.y + at + half)
        hinge = (x, room.y + at - half)
        leaf = (x + (wide if wall == "e" else -wide + w), room.y + at - half)
    else:
        y = room.y2 if wall == "n" else room.y - w
        box = (room.x + at - half, y, room.x + at + half, y + w)
        hinge = (room.x + at - half, y)
        leaf = (room.x + at - half, y + (wide if wall == "n" else -wide + w))
    canvas.box(box, 0.2, fill=PAPER)
    if wide <= 1.7:
        canvas.line((hinge, leaf), 0.2)


def draw_names(canvas: Canvas, rooms: list[Room]) -> None:
    """The name, level and fall of each room, where no machine stands."""
    for room in rooms:
        size = 2.4 if canvas.mm(min(room.w, room.d)) > 14 else 1.9
        level = f"{room.floor_m:+.2f}".replace("+0.00", "±0.00")
        fall = f"  fall {room.fall_pct:g} %" if room.fall_pct else ""
        said = (f"{room.name.upper()}  {level}{fall}", f"{room.name.upper()} {level}",
                room.name.upper())  # fmt: skip
        steps = (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82, 0.1, 0.9)
        spots = [(room.x + room.w * u, room.y + room.d * v) for v in steps for u in steps]
        any(
            canvas.word(x, y, text, size, bold=True, inside=(room.x, room.y, room.x2, room.y2))
            for text in said
            for x, y in spots
        )


def draw_deck(canvas: Canvas, plan: Plan) -> None:
    """The deck with its stalls, or the rows with their pit."""
    deck = plan.deck
    if deck.rotary:
        canvas.circle(0, 0, deck.edge_radius_m, 0.45)
        canvas.circle(0, 0, deck.inner_radius_m, 0.3)
        canvas.circle(0, 0, deck.rail_radius_m, 0.2, QUIET, (1.5, 0.8))
        canvas.circle(0, 0, deck.pit_radius_m, 0.2, QUIET, (3, 1))
        for i in range(deck.stalls):
            a = 2 * math.pi * i / deck.stalls
            canvas.line(
                (
                    (math.cos(a) * deck.inner_radius_m, math.sin(a) * deck.inner_radius_m),
                    (math.cos(a) * (deck.edge_radius_m - 0.3),
                     math.sin(a) * (deck.edge_radius_m - 0.3)),
                ),
                0.12,
                QUIET,
            )  # fmt: skip
        return
    half, mid = deck.pit_length_m / 2, deck.pit_width_m / 2
    canvas.box((-half, -mid, half, mid), 0.35)
    canvas.word(0, 0, "PIT  ±0.00", 2.0, bold=True)
    for side in (1, -1):
        y1, y2 = sorted((side * mid, side * (mid + deck.row_depth_m)))
        canvas.box((-half, y1, half, y2), 0.25)
        count = math.ceil(deck.stalls / max(1, deck.rows))
        step = (deck.pit_length_m - 3.0) / max(1, count)
        lean = deck.row_depth_m * 0.5
        for i in range(count + 1):
            x = -half + 1.5 + step * i
            canvas.line(((x, side * mid), (min(x + lean, half), side * (mid + deck.row_depth_m))),
                        0.12, QUIET)  # fmt: skip


def draw_racks(canvas: Canvas, plan: Plan) -> None:
    """Racks and trench in outline."""
    for rack in plan.racks.values():
        (x1, y1), (x2, y2) = rack.start, rack.end
        long = math.hypot(x2 - x1, y2 - y1) or 1.0
        px, py = -(y2 - y1) / long * rack.wide_m / 2, (x2 - x1) / long * rack.wide_m / 2
        dashes = (2.0, 0.8) if rack.trench else (6, 1.2, 1, 1.2)
        for sign in (1, -1):
            ends = ((x1 + sign * px, y1 + sign * py), (x2 + sign * px, y2 + sign * py))
            for part in canvas.clipped(ends):
                canvas.line(part, 0.15, QUIET, dashes)


def draw_machines(
    canvas: Canvas, plan: Plan, bodies: list[Body], *, service: bool, tags: bool, fill: str = PAPER
) -> list[str]:
    """Machines as boxes with their tags; answers the tags that found no room."""
    left_out = []
    for body in bodies:
        if service and body.front_m > 0.3 and not body.hung:
            canvas.box(body.service_box, 0.12, colour=QUIET, dashes=DOTS)
    for body in bodies:
        canvas.keep_clear(body.box)
        if body.kind in ("distribution_tank", "air_receiver", "balance_tank", "receiver",
                         "rotary_gland", "water_heater"):  # fmt: skip
            r = min(body.dx, body.dy) / 2
            canvas.under.append(f'<g data-machine="{body.tag}">')
            canvas.circle(body.x, body.y, r, 0.3, fill=fill)
            canvas.under.append("</g>")
        else:
            canvas.box(body.box, 0.3, fill=fill, machine=body.tag)
        if body.pinned:
            x1, y1, x2, _ = body.box
            canvas.line(((x1, y1), (x1 + 0.1, y1 - 0.1), (x2, y1)), 0.1, QUIET)
    if tags:
        for body in sorted(bodies, key=lambda b: -b.dx * b.dy):
            if not canvas.tag(body.box, body.tag, bold=body.dx * body.dy > 2.0):
                left_out.append(body.tag)
    return left_out


def draw_gullies(canvas: Canvas, plan: Plan) -> None:
    """Gullies as small crossed squares."""
    for many in plan.gullies.values():
        for x, y in many:
            canvas.box((x - 0.1, y - 0.1, x + 0.1, y + 0.1), 0.15, colour=QUIET)
            canvas.line(((x - 0.1, y - 0.1), (x + 0.1, y + 0.1)), 0.12, QUIET)
            canvas.line(((x - 0.1, y + 0.1), (x + 0.1, y - 0.1)), 0.12, QUIET)


def draw_routes(canvas: Canvas, made: Sited, frame: str) -> None:
    """Pipes in plan, each in its service's pattern; upright pieces are dots."""
    box = canvas.window
    for route in made.routes:
        if route.frame != frame or not route.points:
            continue
        flat = [(p[0], p[1]) for p in route.points]
        if all(not (box[0] <= x <= box[2] and box[1] <= y <= box[3]) for x, y in flat):
            continue
        ink = ink_of(route.service)
        thin = replace(ink, width_mm=min(ink.width_mm, 0.3))
        canvas.pipe(flat, thin, route.lines[0])


def _margin(box: Area, by: float) -> Area:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


# sheets ---------------------------------------------------------------------------------------


def general(plant: Plant, made: Sited) -> tuple[Canvas, list[str]]:
    """P1: the whole centre, rooms dimensioned, the large machines named."""
    plan = made.plan
    box = plan.extent()
    turned = box[3] - box[1] > 1.15 * (box[2] - box[0])
    canvas = _canvas(_margin(box, 0.6), turned)
    draw_deck(canvas, plan)
    draw_rooms(canvas, plan)
    draw_racks(canvas, plan)
    draw_gullies(canvas, plan)
    large = [b for b in plan.bodies.values() if b.dx * b.dy > 1.5 or (not b.hung and b.h > 1.5)]
    draw_machines(canvas, plan, list(plan.bodies.values()), service=False, tags=False)
    if plan.deck.rotary:
        r = plan.deck.edge_radius_m
        canvas.word(0, -r - 1.0, _deck_words(plan), 1.9)
        canvas.keep_clear((-r, -r, r, r))
    draw_names(canvas, list(plan.rooms.values()))
    for body in sorted(large, key=lambda b: -b.dx * b.dy):
        canvas.tag(body.box, body.tag, far_mm=6.0)
    _outer_dimensions(canvas, plan)
    note = [
        "Levels in metres over the operator's floor. Rooms: clear inside. Walls 0.2 m as drawn.",
        "Machines: typical sizes unless the plant file states them; confirm with the supplier.",
        "Dash-dot: racks under the ceiling. Short dashes: trench. Crossed squares: gullies.",
        "Structure, drainage and access: by licensed people, to local codes.",
    ]
    return canvas, note


def _deck_words(plan: Plan) -> str:
    deck = plan.deck
    return (
        f"{deck.stalls} stalls, deck {deck.edge_radius_m * 2:.2f} m across, {deck.height_m:+.2f}; "
        f"pit {deck.pit_floor_m:+.2f}"
    )


def _outer_dimensions(canvas: Canvas, plan: Plan) -> None:
    rooms = plan.rooms
    hall, passage = rooms["hall"], rooms["passage"]
    canvas.dimension((hall.x, hall.y2), (hall.x2, hall.y2), -5.0)
    canvas.dimension((hall.x, hall.y), (hall.x, hall.y2), -5.0)
    if "milk" in rooms:
        milk = rooms["milk"]
        canvas.dimension((passage.x, milk.y2), (passage.x2, milk.y2), -5.0)
        canvas.dimension((milk.x, milk.y2), (milk.x2, milk.y2), -5.0)
    for name in BLOCK:
        if name in rooms:
            room = rooms[name]
            canvas.dimension((room.x2, room.y), (room.x2, room.y2), 9.0)
    if "yard" in rooms:
        yard = rooms["yard"]
        canvas.dimension((yard.x, yard.y), (yard.x2, yard.y), 4.0)


def block(plant: Plant, made: Sited) -> tuple[Canvas, list[str]]:
    """P2: the dairy block with every machine, its service space, doors and gullies."""
    plan = made.plan
    rooms = [r for name, r in plan.rooms.items() if name == "passage" or name in BLOCK]
    bodies = [b for b in plan.bodies.values() if b.room in {r.name for r in rooms}]
    bodies += [b for b in plan.bodies.values() if b.room == "outside"]
    box = (min(r.x for r in rooms), min(r.y for r in rooms), max(r.x2 for r in rooms) + 1.5,
           max(r.y2 for r in rooms))  # fmt: skip
    canvas = _canvas(_margin(box, 0.5), box[3] - box[1] > box[2] - box[0])
    sub = Plan(plan.scene, plan.deck, {r.name: r for r in rooms}, plan.racks, plan.gullies,
               plan.bodies)  # fmt: skip
    draw_rooms(canvas, sub)
    draw_racks(canvas, Plan(plan.scene, plan.deck, {}, {
        k: r for k, r in plan.racks.items() if k == "main"}, {}, {}))  # fmt: skip
    draw_gullies(canvas, Plan(plan.scene, plan.deck, {}, {}, {
        k: g for k, g in plan.gullies.items() if k in {r.name for r in rooms}}, {}))  # fmt: skip
    bodies = [b for b in bodies if box[0] - 0.5 < b.x < box[2] + 0.5 and box[1] < b.y < box[3]]
    for body in bodies:
        canvas.keep_clear(body.box)
    draw_names(canvas, rooms)
    draw_machines(canvas, plan, bodies, service=True, tags=True)
    draw_routes(canvas, made, "fixed")
    note = [
        "Dotted: floor kept free for service. Boxes without service space hang on the wall.",
        "Sizes are typical unless stated in the plant file; confirm with the supplier.",
        "The set-out table gives the middle of each machine's footprint and its base level.",
        "A machine that a person has placed keeps its place when the plan is drafted again.",
    ]
    return canvas, note


def _turns(plant: Plant) -> bool:
    made = sited(plant)
    return made is not None and made.plan.deck.rotary


def under(plant: Plant, made: Sited) -> tuple[Canvas, list[str]]:
    """P3: what hangs under the deck, or stands at the head of the pit, with its pipes."""
    plan, deck = made.plan, made.plan.deck
    if deck.rotary:
        r = deck.ring_radius_m + 0.6
        box: Area = (-r, -r, r, r)
        frame = "deck"
    else:
        head = plan.rooms["head"]
        box = (deck.pit_length_m / 2 - 1.0, head.y - 0.6, head.x2 + 0.4, head.y2 + 0.6)
        frame = "fixed"
    canvas = _canvas(box)
    bodies = [
        b for b in plan.bodies.values() if b.frame == "deck" or b.room == "head"
        or (deck.rotary and b.room == "hall")
    ]  # fmt: skip
    if deck.rotary:
        canvas.circle(0, 0, deck.ring_radius_m, 0.4)
        canvas.circle(0, 0, deck.pit_radius_m, 0.2, QUIET, (3, 1))
    else:
        head = plan.rooms["head"]
        canvas.box((head.x, head.y, head.x2, head.y2), 0.45)
    for body in bodies:
        canvas.keep_clear(body.box)
    draw_machines(canvas, plan, bodies, service=False, tags=True)
    draw_routes(canvas, made, frame)
    if deck.rotary:
        inside = [r for r in made.routes if r.frame == "fixed" and r.points]
        thin = replace(made, routes=tuple(inside))
        draw_routes(canvas, thin, "fixed")
    note = [
        "Drawn at the deck's datum angle; all but the gland's lower side turn with it.",
        "Ring: milkline, pulsator line and wash line one over another. Dashes: edge of the pit.",
        "Drains of the deck let out over a gutter round the pit. Levels: set-out table.",
        "Pipes below the deck's frame are fixed and lead through the trench.",
    ]
    if not deck.rotary:
        note = ["The pumps stand lower than the pit so that milk runs to them.",
                "Levels: see the set-out table."]  # fmt: skip
    return canvas, note


def works(plant: Plant, made: Sited) -> tuple[Canvas, list[str]]:
    """P6: what the builder builds: floors with levels and falls, pit, trench, gullies, openings
    for pipes, doors with sizes, plinths and loads."""
    from byrewright.place import checks

    plan = made.plan
    names = {"passage", *BLOCK}
    rooms = [r for name, r in plan.rooms.items() if name in names]
    box = _margin((min(r.x for r in rooms), min(r.y for r in rooms), max(r.x2 for r in rooms),
                   max(r.y2 for r in rooms)), 0.8)  # fmt: skip
    canvas = _canvas(box, box[3] - box[1] > box[2] - box[0])
    inside = {r.name: r for r in rooms}
    draw_rooms(canvas, Plan(plan.scene, plan.deck, inside, {}, {}, {}))
    gullies = {k: g for k, g in plan.gullies.items() if k in inside}
    draw_gullies(canvas, Plan(plan.scene, plan.deck, {}, {}, gullies, {}))
    trench = {k: r for k, r in plan.racks.items() if r.trench}
    draw_racks(canvas, Plan(plan.scene, plan.deck, {}, trench, {}, {}))
    for body in plan.bodies.values():
        if body.room in inside and not body.hung:
            thing = plan.scene.things[body.tag]
            full = (body.mass_kg + thing.holds_l * 1.03) / 1000
            if full > 0.4 or thing.power_kw:
                canvas.box(body.box, 0.25, colour=QUIET, dashes=(1.2, 0.6))
                canvas.keep_clear(body.box)
    draw_names(canvas, rooms)
    for room in rooms:
        for door in room.doors:
            along = room.y if door.wall in ("e", "w") else room.x
            edge = {"e": room.x2, "w": room.x, "n": room.y2, "s": room.y}[door.wall]
            at = along + door.at_m
            x, y = (edge, at) if door.wall in ("e", "w") else (at, edge)
            canvas.tag((x - 0.1, y - 0.1, x + 0.1, y + 0.1),
                       f"door {door.wide_m:.2f} x {door.high_m:.2f}", 1.6)  # fmt: skip
    for body in sorted(plan.bodies.values(), key=lambda b: -b.dx * b.dy):
        if body.room not in inside or body.hung:
            continue
        thing = plan.scene.things[body.tag]
        full = (body.mass_kg + thing.holds_l * 1.03) / 1000
        if full > 0.4:
            canvas.tag(body.box, f"{body.tag} {full:.1f} t", 1.6)
        elif thing.power_kw:
            canvas.tag(body.box, body.tag, 1.5)
    for _, _, (x, y, z), od in checks.walls_crossed(plan, made.routes):
        if box[0] < x < box[2] and box[1] < y < box[3]:
            r = 0.06
            canvas.circle(x, y, r, 0.25)
            canvas.tag((x - r, y - r, x + r, y + r), f"{od + 50:.0f} {z:+.2f}", 1.3, far_mm=10)
    for room in rooms:
        canvas.dimension((room.x2, room.y), (room.x2, room.y2), 7.0)
    note = [
        "Rings: openings for pipes: across in mm, level of the middle. Dashes: plinths, loads.",
        "Crossed squares: gullies. Floors fall to them. Loads in tonnes when full.",
        "The whole list with levels and dates is in builders_works.csv.",
        "Structure, drainage and electrics: by licensed people, to local codes.",
    ]
    return canvas, note


def set_out(made: Sited) -> list[tuple[str, str, str, float, float, float, str, str]]:
    """Tag, kind, room, east, north, base level, side faced, and who decided it."""
    rows: list[tuple[str, str, str, float, float, float, str, str]] = []
    for body in sorted(made.plan.bodies.values(), key=lambda b: (b.room, b.tag)):
        if footprint(body.kind).sort == "none":
            continue
        by = "stated" if body.pinned else "worked out"
        rows.append((body.tag, body.kind.replace("_", " "), body.room, round(body.x, 3),
                     round(body.y, 3), round(body.z, 3), body.turn, by))  # fmt: skip
    return rows


def sheets_pdf(drawings: list[tuple[str, str]]) -> bytes:
    """Sheets (title, SVG text) as one PDF, A3."""
    return pdf("sheets.typ", [{"title": t, "svg": s} for t, s in drawings])
