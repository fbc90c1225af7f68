"""What every plan shows: walls and doors, deck, racks, machines, gullies, pipes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from byrewright.documents.ink import INK, PAPER, QUIET, ink_of
from byrewright.documents.lengths import level, plain
from byrewright.documents.plan_canvas import LEAST_MM, Area, Canvas, Flat
from byrewright.documents.schematic import BORDER_MM, FOOT_MM
from byrewright.place.board import WALL_M
from byrewright.place.lanes import Lane, lanes
from byrewright.place.model import Body, Plan, Point, Room
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited

FIELD: Area = (BORDER_MM + 10, BORDER_MM + 10, 420 - BORDER_MM - 10, 297 - BORDER_MM - FOOT_MM - 8)
"""Field of an A3 sheet for the drawing: left, top, right, bottom, mm."""
PORT_MM = 0.45
DOTS = (0.3, 0.7)


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
        over = level(room.floor_m).replace("+0.00", "±0.00")
        fall = f"  fall {room.fall_pct:g} %" if room.fall_pct else ""
        said = (f"{room.name.upper()}  {over}{fall}", f"{room.name.upper()} {over}",
                room.name.upper())  # fmt: skip
        steps = (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82, 0.1, 0.9)
        spots = [(room.x + room.w * u, room.y + room.d * v) for v in steps for u in steps]
        any(
            canvas.word(x, y, text, LEAST_MM, bold=True, inside=(room.x, room.y, room.x2, room.y2))
            for text in said
            for x, y in spots
        )


def draw_deck(canvas: Canvas, plan: Plan, *, quiet: bool = False) -> None:
    """The deck with its stalls, or the rows with their pit; `quiet`: outlines only."""
    deck = plan.deck
    if deck.rotary:
        canvas.circle(0, 0, deck.edge_radius_m, 0.45)
        canvas.circle(0, 0, deck.inner_radius_m, 0.3)
        canvas.circle(0, 0, deck.rail_radius_m, 0.2, QUIET, (1.5, 0.8))
        canvas.circle(0, 0, deck.pit_radius_m, 0.2, QUIET, (3, 1))
        for i in range(0 if quiet else deck.stalls):
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
    canvas.word(0, 0, f"PIT  {level(0.0)}".replace("+", "±"), LEAST_MM, bold=True)
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


def lanes_of(plant: Plant, plan: Plan) -> tuple[Lane, ...]:
    """The lanes of cows, as wide as the rulebook has them."""
    rules = plant.place_rules()
    wide = (rules.number(f"place.{k}") for k in ("entry_width_m", "exit_width_m", "row_exit_m"))
    return lanes(plan, *wide)


def draw_lanes(canvas: Canvas, plant: Plant, plan: Plan) -> None:
    """Lanes of cows in and out: their sides, an arrow the way they walk, and their width."""
    for lane in lanes_of(plant, plan):
        x1, y1, x2, y2 = lane.box
        ux, uy = lane.way
        sides = (((x1, y1), (x1, y2)), ((x2, y1), (x2, y2))) if uy else (
            ((x1, y1), (x2, y1)), ((x1, y2), (x2, y2)))  # fmt: skip
        for side in sides:
            canvas.line(side, 0.25)
        mx, my = (x1 + x2) / 2, (y1 + y2) / 2
        long = 5.0 * canvas.scale / 1000
        gx, gy = lane.gate
        draw_arrow(canvas, (gx + ux * long / 2, gy + uy * long / 2), lane.way, long)
        canvas.tag((x1, my, x2, my) if uy else (mx, y1, mx, y2),
                   f"{lane.name} {plain(lane.wide_m)}", LEAST_MM, far_mm=24)  # fmt: skip


def draw_arrow(canvas: Canvas, tip: Flat, way: Flat, long: float) -> None:
    """An arrow that ends at a point of the site; `way` is of length one, `long` in metres."""
    (x, y), (ux, uy) = tip, way
    canvas.line(((x - ux * long, y - uy * long), tip), 0.3, QUIET)
    head = 2.2 * canvas.scale / 1000
    for side in (0.5, -0.5):
        canvas.line(((x - ux * head + uy * head * side, y - uy * head - ux * head * side), tip),
                    0.3, QUIET)  # fmt: skip


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
    for body in bodies:
        if service and body.front_m > 0.3 and not body.hung:
            canvas.box(body.service_box, 0.12, colour=QUIET, dashes=DOTS)
    for body in bodies:
        canvas.keep_clear(body.box)
        draw_body(canvas, body, body.box, fill=fill)
        if body.pinned:
            x1, y1, x2, _ = body.box
            canvas.line(((x1, y1), (x1 + 0.1, y1 - 0.1), (x2, y1)), 0.1, QUIET)
    return draw_tags(canvas, bodies) if tags else []


def draw_tags(canvas: Canvas, bodies: list[Body]) -> list[str]:
    """The machines' tags, large machines first; answers those that found no room."""
    for body in bodies:
        canvas.keep_clear(body.box)
    return [
        body.tag
        for body in sorted(bodies, key=lambda b: -b.dx * b.dy)
        if not canvas.tag(body.box, body.tag, bold=body.dx * body.dy > 2.0)
    ]


def draw_body(
    canvas: Canvas, body: Body, box: Area, *, upright: bool = False, fill: str = PAPER
) -> None:
    """One machine: a box, or a circle where it is round and seen from above."""
    if body.form.barrel and not upright:
        canvas.under.append(f'<g data-machine="{body.tag}">')
        canvas.circle(body.x, body.y, min(body.dx, body.dy) / 2, 0.3, fill=fill)
        canvas.under.append("</g>")
    else:
        canvas.box(canvas.cropped(box), 0.3, fill=fill, machine=body.tag)


def draw_stubs(canvas: Canvas, made: Sited, tags: set[str], flat: Callable[[Point], Flat]) -> None:
    """A dot at each port that a pipe meets, so that a joint is told from a pipe behind."""
    for route in made.routes:
        if not route.points:
            continue
        for end, point in zip(route.ends, (route.points[0], route.points[-1]), strict=True):
            at = flat(point)
            if end.partition(".")[0] in tags and canvas.holds((*at, *at)):
                canvas.circle(*at, PORT_MM * canvas.scale / 1000, 0.1, fill=INK)


def draw_gullies(canvas: Canvas, plan: Plan) -> None:
    """Gullies as small crossed squares."""
    for many in plan.gullies.values():
        for x, y in many:
            canvas.keep_clear((x - 0.1, y - 0.1, x + 0.1, y + 0.1))
            canvas.box((x - 0.1, y - 0.1, x + 0.1, y + 0.1), 0.15, colour=QUIET)
            canvas.line(((x - 0.1, y - 0.1), (x + 0.1, y + 0.1)), 0.12, QUIET)
            canvas.line(((x - 0.1, y + 0.1), (x + 0.1, y - 0.1)), 0.12, QUIET)


def draw_routes(canvas: Canvas, made: Sited, frames: tuple[str, ...]) -> None:
    """Pipes in plan, each in its service's pattern; upright pieces are dots."""
    box = canvas.window
    for route in made.routes:
        if route.frame not in frames or not route.points:
            continue
        flat = [(p[0], p[1]) for p in route.points]
        if all(not (box[0] <= x <= box[2] and box[1] <= y <= box[3]) for x, y in flat):
            continue
        ink = ink_of(route.service)
        thin = replace(ink, width_mm=min(ink.width_mm, 0.3))
        canvas.pipe(flat, thin, route.lines[0])
