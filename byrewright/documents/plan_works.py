"""The builder's sheets: the dairy block, and the parlour with its pit, trench, yard and tanker."""

from __future__ import annotations

import math

from byrewright.documents.format import drawn_system
from byrewright.documents.ink import QUIET, ink_of
from byrewright.documents.lengths import hole_mm, level, load, measure, plain, said
from byrewright.documents.plan_canvas import LEAST_MM, Area, Canvas
from byrewright.documents.plan_parts import (
    FIELD,
    draw_arrow,
    draw_deck,
    draw_gullies,
    draw_lanes,
    draw_names,
    draw_racks,
    draw_rooms,
)
from byrewright.place import checks
from byrewright.place.cables import BESIDE_M, TRAY_M, tray_level
from byrewright.place.layout import BLOCK
from byrewright.place.model import Plan
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited
from byrewright.results import ResultBuilder
from byrewright.studies.cables import cables_of
from byrewright.studies.place_building import openings, rail_load_kn_m
from byrewright.studies.sizing.context import StudyContext

Drawn = tuple[list[Canvas], list[str]]


def _canvas(window: Area) -> Canvas:
    left, top, right, bottom = FIELD
    wide, tall = window[2] - window[0], window[3] - window[1]
    return Canvas(window, left, top, right - left, bottom - top, tall > wide)


def block(plant: Plant, made: Sited) -> Drawn:
    """P6: what the builder builds: floors with levels and falls, pit, trench, gullies, openings
    for pipes, doors with sizes, plinths and loads."""
    plan, kg_l = made.plan, plant.place_rules().number("place.milk_tank_kg_l")
    names = {"passage", *BLOCK}
    rooms = [r for name, r in plan.rooms.items() if name in names]
    box = _grown((min(r.x for r in rooms), min(r.y for r in rooms), max(r.x2 for r in rooms),
                   max(r.y2 for r in rooms)), 0.8)  # fmt: skip
    canvas = _canvas(box)
    inside = {r.name: r for r in rooms}
    draw_rooms(canvas, Plan(plan.scene, plan.deck, inside, {}, {}, {}))
    gullies = {k: g for k, g in plan.gullies.items() if k in inside}
    draw_gullies(canvas, Plan(plan.scene, plan.deck, {}, {}, gullies, {}))
    trench = {k: r for k, r in plan.racks.items() if r.trench}
    draw_racks(canvas, Plan(plan.scene, plan.deck, {}, trench, {}, {}))
    for body in plan.bodies.values():
        if body.room in inside and not body.hung:
            thing = plan.scene.things[body.tag]
            full = checks.full_kg(plan, body, kg_l) / 1000
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
                       f"door {plain(door.wide_m)} x {plain(door.high_m)}", LEAST_MM)  # fmt: skip
    for body in sorted(plan.bodies.values(), key=lambda b: -b.dx * b.dy):
        if body.room not in inside or body.hung:
            continue
        thing = plan.scene.things[body.tag]
        full = checks.full_kg(plan, body, kg_l) / 1000
        if full > 0.4:
            canvas.tag(body.box, f"{body.tag} {load(full)}", LEAST_MM)
        elif thing.power_kw:
            canvas.tag(body.box, body.tag, LEAST_MM)
    for _, _, (x, y, z), od in checks.walls_crossed(plan, made.routes):
        if box[0] < x < box[2] and box[1] < y < box[3]:
            r = 0.06
            canvas.circle(x, y, r, 0.25)
            canvas.tag(
                (x - r, y - r, x + r, y + r), f"{hole_mm(od + 50)} {level(z)}", LEAST_MM, far_mm=14
            )
    for room in rooms:
        if room.name != "passage":
            canvas.dimension((room.x2, room.y), (room.x2, room.y2), 7.0)
    passage = plan.rooms["passage"]
    canvas.dimension((passage.x, passage.y), (passage.x, passage.y2), -5.0)
    us = drawn_system() == "US"
    mm, tonnes = ("", "") if us else (" in mm", " in tonnes")
    note = [
        f"Rings: openings for pipes: across{mm}, level of the middle. Dashes: plinths, loads.",
        f"Crossed squares: gullies. Floors fall to them. Loads{tonnes} when full.",
        "The whole list with levels and dates is in builders_works.csv.",
        "Structure, drainage and electrics: by licensed people, to local codes.",
    ]
    return [canvas], note


def _grown(box: Area, by: float) -> Area:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def parlour(plant: Plant, made: Sited) -> Drawn:
    """P7: pit, trench, gutter, roller track with its load, yard and tanker stand with their falls,
    air openings, cable tray and ducts, and what comes in at the boards."""
    plan = made.plan
    canvas = _canvas(_grown(plan.extent(), 0.6))
    draw_deck(canvas, plan, quiet=True)
    draw_rooms(canvas, plan)
    trench = {k: r for k, r in plan.racks.items() if r.trench}
    draw_racks(canvas, Plan(plan.scene, plan.deck, {}, trench, {}, {}))
    passage, ink = plan.rooms["passage"], ink_of("power")
    tray = passage.x + TRAY_M
    canvas.line(((tray, passage.y), (tray, passage.y2)), 0.4, ink.colour)
    draw_lanes(canvas, plant, plan)
    (_round_works if plan.deck.rotary else _row_works)(canvas, plant, plan)
    canvas.tag((tray, passage.y2 - 0.2, tray, passage.y2), f"cable tray {level(tray_level(plan))}",
               1.7, far_mm=20)  # fmt: skip
    for room in plan.rooms.values():
        if room.open and room.fall_pct:
            _fall(canvas, plan, room.name)
    _supply(canvas, plant, made)
    rules = plant.place_rules()
    for name, _, _, _, area in openings(plan, rules):
        room = plan.rooms[name]
        spot = (room.x2 - 0.1, room.y + room.d / 2 - 0.4, room.x2 + 0.1, room.y + room.d / 2 + 0.4)
        canvas.box(spot, 0.3)
        canvas.tag(spot, said(f"air {area:.2f} m2"), LEAST_MM, far_mm=20)
    draw_names(canvas, list(plan.rooms.values()))
    if "hall" in plan.rooms:
        hall = plan.rooms["hall"]
        canvas.dimension((hall.x, hall.y), (hall.x, hall.y2), -5.0)
        canvas.dimension((hall.x, hall.y2), (hall.x2, hall.y2), -5.0)
    return [canvas], [
        f"Levels in {measure()} over the operator's floor. Arrows: floors fall that way. Green: "
        "cable tray and ducts.",
        "Air: free area of the opening, as much in as out. Track load: deck, cows and their "
        "dynamic factor.",
        "Gutter, gullies, openings for pipes and dates: dairy block's sheet and the list.",
        "Structure, drainage and electrics: by licensed people, to local codes.",
    ]


def _round_works(canvas: Canvas, plant: Plant, plan: Plan) -> None:
    deck = plan.deck
    ctx = StudyContext(plant, plant.place_rules(), ResultBuilder("place", plant.site.name))
    rail = rail_load_kn_m(ctx)
    pit = f"pit r {plain(deck.pit_radius_m)}, floor {level(deck.pit_floor_m)}"
    edge = f"deck {level(deck.height_m)}, {plain(deck.edge_radius_m * 2)} across"
    words = [(deck.pit_radius_m, 210.0, pit), (deck.edge_radius_m, 120.0, edge)]
    if rail is not None:
        words.append((deck.rail_radius_m, 165.0,
                      f"roller track r {plain(deck.rail_radius_m)}, "
                      f"{said(f'{rail:.1f} kN/m')}"))  # fmt: skip
    if checks.deck_discharges(plan):
        r = deck.pit_radius_m - 0.15
        canvas.circle(0, 0, r, 0.35, QUIET)
        words.append((r, 255.0, "gutter all round, falls 1 % to a gully"))
    for radius, degrees, text in words:
        x, y = (radius * f(math.radians(degrees)) for f in (math.cos, math.sin))
        canvas.tag((x, y, x, y), text, 1.8, far_mm=24)
    for rack in plan.racks.values():
        if rack.trench:
            x = (deck.pit_radius_m + rack.end[0]) / 2
            bed = rack.level_m - 0.15
            canvas.tag((x, -rack.wide_m / 2, x, -rack.wide_m / 2),
                       f"trench {plain(rack.wide_m)} wide, floor {level(bed)}, covered", 1.8,
                       far_mm=24)  # fmt: skip
            end = plan.rooms["passage"].x
            canvas.line(((end, BESIDE_M), (0.0, BESIDE_M)), 0.3, ink_of("power").colour,
                        (1.5, 1.0))  # fmt: skip
            spot = (end - 1.0, BESIDE_M, end - 1.0, BESIDE_M)
            canvas.tag(spot, "cable duct", LEAST_MM, far_mm=16)


def _row_works(canvas: Canvas, plant: Plant, plan: Plan) -> None:
    deck = plan.deck
    half, mid = deck.pit_length_m / 2, deck.pit_width_m / 2
    step = plant.place_rules().number("place.pit_steps_m")
    for end in (-half, half - step):
        for i in range(6):
            x = end + step * i / 5
            canvas.line(((x, -mid), (x, mid)), 0.15, QUIET)
    canvas.dimension((-half, -mid), (half, -mid), 9.0)
    canvas.tag((0.0, mid, 0.0, mid), f"standings {level(deck.height_m)}, pit "
               f"{plain(deck.pit_width_m)} wide", 1.8, far_mm=24)  # fmt: skip


def _fall(canvas: Canvas, plan: Plan, name: str) -> None:
    """An arrow down an open floor's fall: away from the hall, or from the building."""
    room = plan.rooms[name]
    x, y = room.x + room.w / 2, room.y + room.d / 2
    hall = plan.rooms["hall"]
    away = (0.0, 1.0) if room.y >= hall.y2 else (0.0, -1.0)
    if room.x >= hall.x2 or room.x2 <= hall.x:
        away = (1.0, 0.0) if room.x >= hall.x2 else (-1.0, 0.0)
    long = min(room.w, room.d) / 3
    sx, sy = -away[1] * room.w / 4, away[0] * room.d / 4
    tip = (x + sx + away[0] * long / 2, y + sy + away[1] * long / 2)
    draw_arrow(canvas, tip, away, long)


def _supply(canvas: Canvas, plant: Plant, made: Sited) -> None:
    """What stands outside and feeds the boards, with current and duct."""
    plan = made.plan
    for body in plan.bodies.values():
        if body.room == "outside":
            canvas.box(body.box, 0.3)
            canvas.keep_clear(body.box)
    feeds: dict[str, list[str]] = {}
    for cable in cables_of(plant, made):
        source = plan.bodies[cable.way.board]
        if source.room == "outside" and plan.bodies.get(cable.way.tag):
            flat = [(p[0], p[1]) for p in cable.way.points]
            canvas.line(flat, 0.3, ink_of("power").colour, (1.5, 1.0))
            feeds.setdefault(source.tag, []).append(f"{cable.way.tag} {cable.breaker_a:g} A")
    for body in plan.bodies.values():
        if body.room == "outside":
            more = f": {', '.join(feeds[body.tag])}" if body.tag in feeds else ""
            canvas.tag(body.box, body.tag + more, LEAST_MM, far_mm=24)
