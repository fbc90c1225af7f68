"""What the builder must build, as a list in the order of building."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from byrewright.documents.format import drawn_system
from byrewright.documents.lengths import hole, load, measure, said, sides, told, trade
from byrewright.documents.plan_parts import lanes_of
from byrewright.place import checks
from byrewright.place.cables import BESIDE_M, TRAY_M, tray_level
from byrewright.place.model import Plan
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited
from byrewright.results import ResultBuilder
from byrewright.studies.cables import cables_of
from byrewright.studies.place_building import openings, rail_load_kn_m
from byrewright.studies.sizing.context import StudyContext

Row = tuple[str | float | int, ...]
Add = Callable[[str, str, str, float, float, float, str], None]
WORKS = ("group", "what", "where", "east m", "north m", "level m", "size or amount", "ready")
READY = {
    "slab": "before anything is set",
    "pit": "with the slabs",
    "load": "with the slabs",
    "drain": "with the slabs",
    "duct": "before floors are poured",
    "door": "before the tank",
    "opening": "before pipes",
    "plinth": "two weeks before machines",
    "power": "before machines",
    "water": "before machines",
    "air": "before machines run",
    "tanker": "before the first milking",
}
"""When each must be there, counted from the works themselves (common practice, no source)."""


ROOM_WORDS = {
    "cold": "refrigeration room",
    "hall": "milking hall",
    "milk": "milk room",
    "plant": "plant room",
    "switch": "switch room",
    "tanker": "tanker bay",
    "wash": "wash room",
    "yard": "collecting yard",
}
"""Rooms as people call them; one that the plant file adds keeps its name."""


def room_words(room: str) -> str:
    """A room in words."""
    return ROOM_WORDS.get(room, room)


GROUP_WORDS = {
    "slab": "Slabs",
    "pit": "Pit, track and trench",
    "load": "Loads on the floor",
    "drain": "Drains",
    "duct": "Ducts and trays",
    "door": "Doors",
    "opening": "Openings for pipes",
    "plinth": "Plinths",
    "power": "Power",
    "water": "Water and milk connections",
    "air": "Air openings",
    "tanker": "Tanker stand",
}
"""The groups as headings."""
GULLY, PIPE = ("200 x 200", '8" x 8"'), ("110", '4"')
"""Sizes of the trade, in mm and as a US reader buys them."""
ROW_LEAST = 3
"""Things alike in a row that are told as one line from this number on."""


_WORKS_NOTES = (
    "East and north in {measure} from the middle of the deck or pit; levels over the operator's "
    "floor.",
    "Loads, slabs, drainage, gas-tightness and electrics: by licensed people, to local codes.",
)


def works_notes() -> list[str]:
    """What stands in the foot of the builder's list."""
    unit = "m" if drawn_system() == "metric" else measure()
    return [text.replace("{measure}", unit) for text in _WORKS_NOTES]


def builders_list(plant: Plant, made: Sited) -> list[Row]:
    """What the builder must build, in the order of building."""
    plan = made.plan
    rows: list[Row] = []

    def add(group: str, what: str, where: str, x: float, y: float, z: float, size: str) -> None:
        rows.append((group, what, where, round(x, 2), round(y, 2), round(z, 2), size, READY[group]))

    for room in plan.rooms.values():
        fall = f", fall {room.fall_pct:g} % to its drain" if room.fall_pct else ", level"
        roof = "" if room.open else f", {told(room.height_m)} clear height"
        add(
            "slab",
            f"floor of the {room_words(room.name)}",
            room.name,
            room.x,
            room.y,
            room.floor_m,
            f"{sides(room.w, room.d)}{fall}{roof}",
        )
    _pit(plant, plan, add)
    for name, many in plan.gullies.items():
        for x, y in many:
            floor = plan.rooms[name].floor_m if name in plan.rooms else 0.0
            add(
                "drain",
                f"gully, trapped, {trade(*GULLY)}",
                name,
                x,
                y,
                floor,
                f"{trade(*PIPE)} outlet",
            )
    if checks.deck_discharges(plan):
        add(
            "drain",
            "gutter all round the pit under the deck",
            "hall",
            0,
            0,
            plan.deck.pit_floor_m,
            f"radius {told(plan.deck.pit_radius_m)}, fall 1 % to a gully",
        )
    for room in plan.rooms.values():
        for door in room.doors:
            along = room.y if door.wall in ("e", "w") else room.x
            edge = {"e": room.x2, "w": room.x, "n": room.y2, "s": room.y}[door.wall]
            x, y = (
                (edge, along + door.at_m) if door.wall in ("e", "w") else (along + door.at_m, edge)
            )
            add(
                "door",
                "door",
                room.name,
                x,
                y,
                room.floor_m,
                f"{told(door.wide_m)} wide, {told(door.high_m)} high, clear",
            )
    high = plant.place_rules().number("place.cow_headroom_m")
    for lane in lanes_of(plant, plan):
        add("door", f"{lane.name} of the cows", "hall", *lane.gate, plan.deck.height_m,
            f"{told(lane.wide_m)} wide, {told(high)} high, free of edges")  # fmt: skip
    for tag, walls, at, od in checks.walls_crossed(plan, made.routes):
        add("opening", f"opening for {tag}", walls, *at, f"{hole(od + 50)} across, sleeved")
    _machines(plant, plan, add)
    _rest(plant, made, add)
    order = list(READY)
    return [WORKS, *sorted(rows, key=lambda row: order.index(str(row[0])))]


def in_rows(rows: Sequence[Row]) -> list[Row]:
    """The list (its heads first) with things alike that stand in a row, evenly apart going east, as
    one line."""
    found: list[Row] = [rows[0]]
    left = list(rows[1:])
    while left:
        first = left[0]
        alike = [r for r in left if r[:3] == first[:3] and r[4:] == first[4:]]
        alike.sort(key=lambda r: float(r[3]))
        steps = {round(float(b[3]) - float(a[3]), 1) for a, b in pairwise(alike)}
        if len(alike) >= ROW_LEAST and len(steps) == 1:
            last, step = alike[-1], (float(alike[-1][3]) - float(alike[0][3])) / (len(alike) - 1)
            said = (
                f"{len(alike)} in a row to {told(float(last[3]))} east, {told(step)} apart; each "
            )
            said += str(first[6])
            found.append((*alike[0][:6], said, first[7]))
        else:
            alike = [first]
            found.append(first)
        left = [r for r in left if r not in alike]
    return found


def _pit(plant: Plant, plan: Plan, add: Add) -> None:
    put = add
    deck = plan.deck
    if deck.rotary:
        ctx = StudyContext(plant, plant.place_rules(), ResultBuilder("place", plant.site.name))
        rail = rail_load_kn_m(ctx)
        if rail is not None:
            put("load", "load of the roller track", "hall", 0, 0, 0,
                f"{said(f'{rail:.1f} kN/m')} along it, "
                f"radius {told(deck.rail_radius_m)}")  # fmt: skip
        put(
            "pit",
            "pit under the deck",
            "hall",
            0,
            0,
            deck.pit_floor_m,
            f"radius {told(deck.pit_radius_m)}",
        )
        put(
            "pit",
            "roller track",
            "hall",
            0,
            0,
            0,
            f"radius {told(deck.rail_radius_m)}, level within what the deck's maker asks",
        )
        for rack in plan.racks.values():
            if rack.trench:
                long = math.dist(rack.start, rack.end)
                put(
                    "pit",
                    "trench with covers",
                    rack.name,
                    *rack.start,
                    rack.level_m - 0.15,
                    f"{told(long)} long, {told(rack.wide_m)} wide, fall 1 % to the pit",
                )
    else:
        put(
            "pit",
            "operator's pit with steps at both ends",
            "hall",
            -deck.pit_length_m / 2,
            -deck.pit_width_m / 2,
            0,
            f"{sides(deck.pit_length_m, deck.pit_width_m)}; "
            f"standings {told(deck.height_m)} over it",
        )


def _machines(plant: Plant, plan: Plan, add: Add) -> None:
    put = add
    rules = plant.place_rules()
    margin = rules.number("place.plinth_margin_m")
    share, high = rules.number("place.plinth_mass_share"), rules.number("place.plinth_height_m")
    kg_l = rules.number("place.milk_tank_kg_l")
    for body in plan.bodies.values():
        if body.hung or body.frame == "deck":
            continue
        thing = plan.scene.things[body.tag]
        if thing.power_kw and body.z > plan.rooms["passage"].floor_m + 0.05:
            put(
                "plinth",
                f"plinth of {body.tag}",
                body.room,
                body.x,
                body.y,
                body.z,
                f"{sides(body.dx + 2 * margin, body.dy + 2 * margin, high)}, "
                + said(f"or {share:g} times its {body.mass_kg:.0f} kg with the slab"),
            )
        full = checks.full_kg(plan, body, kg_l)
        if full > 400:
            floor = checks.load_kn_m2(plan, body, kg_l)
            put(
                "load",
                f"load of {body.tag}",
                body.room,
                body.x,
                body.y,
                body.z,
                f"{load(full / 1000)} full, " + said(f"{floor:.0f} kN/m2 on its footprint"),
            )


def _rest(plant: Plant, made: Sited, add: Add) -> None:
    put = add
    plan, rules = made.plan, plant.place_rules()
    passage = plan.rooms["passage"]
    for name, _, _, _, area in openings(plan, rules):
        room = plan.rooms[name]
        put(
            "air",
            f"air in and out of {name}",
            name,
            room.x2,
            room.y + room.d / 2,
            room.floor_m + 0.4,
            said(f"{area:.2f} m2 free each"),
        )
    for body in plan.bodies.values():
        if body.room == "outside" and plan.scene.things[body.tag].ports:
            put(
                "water",
                f"connection of {body.tag}",
                "outside",
                body.x,
                body.y,
                body.z,
                "as the pipe list",
            )
        elif body.room == "outside":
            put(
                "power",
                f"place and ducts for {body.tag}",
                "outside",
                body.x,
                body.y,
                body.z,
                f"slab {sides(body.dx + 0.4, body.dy + 0.4)}, ducts to the boards",
            )
    boards = [b for b in plan.bodies.values() if b.room == "switch"]
    if boards:
        room = plan.rooms["switch"]
        put(
            "duct",
            "cable entry from below or above",
            "switch",
            room.x,
            room.y,
            room.floor_m,
            f"for {len(boards)} boards; sizes by a licensed electrician",
        )
    _cable_ways(plant, made, put)
    if "tanker" in plan.rooms:
        bay = plan.rooms["tanker"]
        put(
            "tanker",
            "tanker stand, concrete, falling from the building",
            "tanker",
            bay.x,
            bay.y,
            bay.floor_m,
            f"{sides(bay.w, bay.d, digits=1)}, for "
            f"{load(rules.number('place.tanker_gross_t'), 0)}; outside turning radius "
            f"{told(rules.number('place.tanker_turn_m'), 1)}",
        )
    put(
        "water",
        "hose points and hand wash",
        "passage",
        passage.x,
        passage.y,
        passage.floor_m + 1,
        "one a room",
    )


def _cable_ways(plant: Plant, made: Sited, add: Add) -> None:
    """Tray, duct to the deck or pit, and what comes in at each board that the supply feeds."""
    plan = made.plan
    passage, level = plan.rooms["passage"], tray_level(plan)
    add("duct", "cable tray along the passage, beside the pipes", "passage", passage.x + TRAY_M,
        passage.y, level, f"{told(passage.d, 1)}; brackets by the electrician")  # fmt: skip
    feeding = {f for m in plant.equipment.values() for f in m.fed_from}
    every = cables_of(plant, made)
    inward = [c for c in every if plan.bodies[c.way.board].room == "outside"]
    for cable in inward:
        if cable.way.tag in feeding:
            x, y, _ = cable.way.points[0]
            add("power", f"{cable.way.board} to {cable.way.tag}", "outside", x, y, 0.0,
                f"{cable.breaker_a:g} A, {cable.phases} phase{'s' if cable.phases > 1 else ''}; "
                "duct and section by a licensed electrician")  # fmt: skip
    down = [c for c in every if min(p[2] for p in c.way.points) < -0.2]
    if down:
        add("duct", f"cable duct beside the trench's pipes, for {len(down)} cables", "hall",
            0.0, BESIDE_M, min(p[2] for p in down[0].way.points),
            f"{trade(*PIPE)} or a tray")  # fmt: skip
