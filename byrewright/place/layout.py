"""A layout: deck or rows, rooms, racks and every machine in its slot. Nothing is random."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from byrewright.place.model import (
    Body,
    Deck,
    Door,
    Flat,
    Plan,
    Rack,
    Room,
    Scene,
    Side,
    Thing,
)
from byrewright.place.shapes import body, clear_room, measures
from byrewright.place.zones import in_line_of, zones
from byrewright.standards.footprints import footprint
from byrewright.standards.place import tank_wall_key
from byrewright.standards.rulebook import Rulebook

AISLE_M = 1.3
"""Walkway between two rows of machines that face each other: service space and a step."""
PASSAGE_M = 1.9
"""The passage along the hall that the racks hang in."""
WALL_M = 0.2
"""Walls as drawn: the rooms' sides are their inner faces, this apart."""
HEAD_FLOOR_M = -0.6
DECK_FRAME_M = -1.05
"""Lowest level of what hangs under a turning deck; still pipes run below it."""
BLOCK_WIDTHS = ((45.0, 12.0), (75.0, 14.0), (math.inf, 16.0))
"""Width of the dairy block by metres of machines in rows."""
ROOMS = (("plant", ("plant", "cold")), ("switch", ("switch",)), ("wash", ("wash", "laundry")))
"""Rooms in rows of machines from south to north; the milk room stands north of them."""


def lay_out(scene: Scene, rules: Rulebook) -> Plan:
    """The plan of a scene: what is stated is kept, the rest is worked out."""
    return _Layout(scene, rules).plan()


@dataclass(slots=True)
class _Row:
    """Machines side by side: their slots from west to east."""

    slots: list[tuple[Thing, float]]
    deep_m: float


class _Layout:
    def __init__(self, scene: Scene, rules: Rulebook) -> None:
        self.scene = scene
        self.rules = rules
        self.zone = zones(scene)
        self.bodies: dict[str, Body] = {}
        self.rooms: dict[str, Room] = {}
        self.gullies: dict[str, tuple[Flat, ...]] = {}
        self.deck = self._deck()

    def n(self, key: str) -> float:
        return self.rules.number(f"place.{key}")

    def plan(self) -> Plan:
        self._hall()
        self._block()
        self._under_deck() if self.scene.rotary else self._head()
        self._outside()
        self._decided()
        racks = {r.name: r for r in self._racks()}
        racks |= {r.name: r for r in self.scene.wish.racks}
        gullies = self.gullies | dict(self.scene.wish.gullies)
        return Plan(self.scene, self.deck, self.rooms, racks, gullies, self.bodies, "passage")

    # the cows' side -----------------------------------------------------------------------------

    def _deck(self) -> Deck:
        scene, wish = self.scene, self.scene.wish.deck
        height = wish.get("height_m", self.n("deck_height_m"))
        if not scene.rotary:
            a_row = math.ceil(scene.stalls / max(1, scene.rows))
            length = a_row * self.n("row_pitch_m") + 2 * self.n("pit_steps_m")
            return Deck(
                False, scene.stalls, height, pit_length_m=round(length, 2),
                pit_width_m=self.n("pit_width_m"), row_depth_m=self.n("row_depth_m"),
                pit_floor_m=0.0, rows=max(1, scene.rows),
            )  # fmt: skip
        rail = scene.rail_radius_m or scene.stalls * 0.9 / (2 * math.pi)
        edge = wish.get("edge_radius_m", rail + self.n("edge_from_rail_m"))
        inner = wish.get("inner_radius_m", max(0.5, edge - self.n("deck_depth_m")))
        pit = wish.get("pit_radius_m", min(max(self.n("deck_pit_m"), 0.62 * rail), rail - 0.3))
        floor = wish.get("pit_floor_m", self.n("deck_pit_floor_m"))
        return Deck(True, scene.stalls, height, edge, inner, rail, pit, floor)

    def _hall(self) -> None:
        deck, high = self.deck, self.n("hall_height_m")
        yard_m2 = self.scene.group_cows * self.n("yard_m2_cow")
        if deck.rotary:
            half = deck.edge_radius_m + self.n("walkway_m") + self.n("wall_gap_m")
            half = math.ceil(half * 10) / 10
            hall = Room("hall", -half, -half, 2 * half, 2 * half, high)
        else:
            banks = max(1, math.ceil(deck.rows / 2))
            wide = banks * (deck.pit_width_m + 2 * deck.row_depth_m + 2 * self.n("row_exit_m"))
            half_x, half_y = deck.pit_length_m / 2 + 1.0, wide / 2
            hall = Room("hall", -half_x, -half_y, 2 * half_x + self._head_size()[0], wide, high)
        wide = min(max(self.n("yard_width_m"), 0.4 * hall.w), hall.w)
        deep = math.ceil(yard_m2 / wide * 10) / 10
        rise = deck.height_m
        if deck.rotary:
            yard = Room("yard", hall.x - 0.0, hall.y - WALL_M - deep, wide, deep, 4.0, rise,
                        open=True, fall_pct=self.n("yard_slope_pct"))  # fmt: skip
        else:
            deep = math.ceil(yard_m2 / hall.d * 10) / 10
            yard = Room("yard", hall.x - WALL_M - deep, hall.y, deep, hall.d, 4.0, rise,
                        open=True, fall_pct=self.n("yard_slope_pct"))  # fmt: skip
        self._room(hall)
        self._room(yard)

    def _room(self, room: Room) -> Room:
        stated = next((r for r in self.scene.wish.rooms if r.name == room.name), None)
        if stated is not None:
            doors = stated.doors or room.doors
            room = replace(stated, doors=doors)
        self.rooms[room.name] = room
        return room

    # the dairy block ----------------------------------------------------------------------------

    @property
    def floor(self) -> float:
        """Floor of the dairy block: the operator's for a rotary; the cows' for rows."""
        return 0.0 if self.scene.rotary else self.deck.height_m

    def _of(self, *wanted: str) -> list[Thing]:
        tags = [t for t, z in self.zone.items() if z in wanted]
        return [self.scene.things[t] for t in in_line_of(self.scene, tags)]

    def _slot(self, thing: Thing) -> float:
        length = measures(thing)[0]
        _, sides, _ = clear_room(footprint(thing.kind), None, thing.spot.sides_m, None)
        return length + 2 * sides

    def _rows(self, things: Iterable[Thing], most_m: float) -> list[_Row]:
        rows: list[_Row] = []
        here, used = _Row([], 0.0), 0.0
        for thing in things:
            slot, deep = self._slot(thing), measures(thing)[1]
            if here.slots and used + slot > most_m + 1e-9:
                rows.append(here)
                here, used = _Row([], 0.0), 0.0
            here.slots.append((thing, slot))
            here.deep_m = max(here.deep_m, deep)
            used += slot
        if here.slots:
            rows.append(here)
        for i, row in enumerate(rows):
            if i % 2:  # a snake: the end of one row lies by the start of the next
                row.slots.reverse()
        return rows

    def _block(self) -> None:
        hall = self.rooms["hall"]
        tanks = self._of("tank")
        total = sum(self._slot(t) for t in self._of("plant", "cold", "wash", "laundry", "milk"))
        width = next(w for most, w in BLOCK_WIDTHS if total <= most)
        clear = self.n(tank_wall_key(self.scene.region).removeprefix("place."))
        longest = max((measures(t)[1] for t in tanks), default=0.0)
        widest = max((self._slot(t) for t in self._of("plant", "cold", "wash", "milk")), default=0)
        width = max(width, math.ceil((PASSAGE_M + 0.9 + longest + clear) * 2) / 2,
                    math.ceil((PASSAGE_M + 0.8 + widest) * 2) / 2)  # fmt: skip
        west = hall.x2 + WALL_M
        x1, x2 = west + PASSAGE_M + WALL_M, west + width
        planned: list[tuple[str, list[_Row], float]] = []
        for name, inside in ROOMS:
            things = [t for zone in inside for t in self._of(zone)]
            if things:
                rows = self._rows(things, self._inner(name, x2 - x1) - 0.4)
                planned.append((name, rows, self._deep(rows, name == "switch")))
        milk = self._rows(self._of("milk"), self._inner("milk", x2 - x1) - 0.4)
        below = sum(deep + WALL_M for name, _, deep in planned if name == "plant")
        switch = next((deep for name, _, deep in planned if name == "switch"), 0.0)
        y = -(below + switch / 2)
        south = y
        high = self.n("room_height_m")
        for name, rows, deep in planned:
            room = self._room(
                Room(name, x1, y, x2 - x1, deep, high, self.floor, dry=name == "switch",
                     fall_pct=0.0 if name == "switch" else self.n("floor_fall_pct"))
            )  # fmt: skip
            self._fill(room, rows)
            y += deep + WALL_M
        y = self._milk_room(x1, x2, y, milk, tanks, clear)
        tall = max((self.rooms[n].height_m for n in ("milk", "plant") if n in self.rooms),
                   default=high)  # fmt: skip
        self._room(Room("passage", west, south, PASSAGE_M, y - south - WALL_M, tall, self.floor,
                        doors=(Door("s", PASSAGE_M / 2, 1.2, 2.1),)))  # fmt: skip
        self._doors(x1)

    def _inner(self, name: str, drafted_m: float) -> float:
        """Width of a room: as stated, or as drafted."""
        return next((r.w for r in self.scene.wish.rooms if r.name == name), drafted_m)

    def _back(self, dry: bool) -> float:
        """Behind a row: boards stand on the wall, machines have pipes behind them."""
        return 0.05 if dry else self.n("service_back_m")

    def _deep(self, rows: list[_Row], dry: bool = False) -> float:
        back = self._back(dry)
        deep = sum(r.deep_m + back for r in rows) + AISLE_M * math.ceil(len(rows) / 2)
        return round(deep + 0.1, 2)

    def _fill(self, room: Room, rows: list[_Row]) -> float:
        """Put rows of machines into a room from its south wall; answers where they end."""
        back, y = self._back(room.dry), room.y
        for i, row in enumerate(rows):
            faces: Side = "s" if i % 2 else "n"
            y += 0.0 if i % 2 else back
            line = y + row.deep_m if faces == "s" else y  # the line of backs
            x = room.x + 0.2
            for thing, slot in row.slots:
                depth = measures(thing)[1]
                hung = footprint(thing.kind).sort in ("hung", "in line")
                shift = -(back - 0.12) if hung else 0.0
                middle = line - depth / 2 - shift if faces == "s" else line + depth / 2 + shift
                self._put(thing, x + slot / 2, middle, faces, room)
                x += slot
            y += row.deep_m
            if i % 2 == 0:
                at = y + AISLE_M / 2
                self._channel(room, at)
                y += AISLE_M
            else:
                y += back
        return y

    def _channel(self, room: Room, y: float) -> None:
        if room.dry:
            return
        count = max(2, round(room.w / 3.0))
        step = room.w / count
        points = tuple((round(room.x + step * (i + 0.5), 2), round(y, 2)) for i in range(count))
        self.gullies[room.name] = (*self.gullies.get(room.name, ()), *points)

    def _base(self, thing: Thing, floor: float) -> float:
        rule = footprint(thing.kind)
        if rule.sort in ("hung", "in line"):
            low = thing.kind == "header" and any(
                direction == "suction" for _, direction, _ in thing.ports
            )
            return floor + (0.35 if low else rule.base_m or 1.2)
        plinth = rule.hot or thing.kind in ("milk_pump", "liquid_pump")
        return floor + (self.n("plinth_height_m") if plinth else 0.0)

    def _put(self, thing: Thing, x: float, y: float, turn: Side, room: Room) -> None:
        z = self._base(thing, room.floor_m)
        self.bodies[thing.tag] = body(thing, round(x, 2), round(y, 2), round(z, 3), turn, room.name)

    def _milk_room(
        self, x1: float, x2: float, y: float, rows: list[_Row], tanks: list[Thing], clear: float
    ) -> float:
        if not rows and not tanks:
            return y
        deep = self._deep(rows) if rows else 0.0
        gap, between = clear, self.n("tank_between_m")
        if tanks:
            deep += max(self.n("passage_m"), 0.3) if rows and len(rows) % 2 == 0 else 0.0
            deep += sum(measures(t)[0] for t in tanks) + between * (len(tanks) - 1) + gap
            deep += 0.0 if rows else gap
        tall = max((measures(t)[2] for t in tanks), default=0.0) + self.n("ceiling_over_m")
        high = max(self.n("room_height_m"), math.ceil((tall + 0.2) * 10) / 10)
        wide = max((min(measures(t)[0], measures(t)[2]) for t in tanks), default=0.9)
        door = Door("e", 0.0, round(wide + self.n("door_over_width_m") + 0.05, 2),
                    round(tall - 0.1 + self.n("door_over_height_m") - 0.15, 2))  # fmt: skip
        room = self._room(
            Room("milk", x1, y, x2 - x1, round(deep, 2), high, self.floor,
                 fall_pct=self.n("floor_fall_pct"))
        )  # fmt: skip
        at = self._fill(room, rows) if rows else room.y + gap
        if rows and len(rows) % 2 == 0:
            at += self.n("passage_m")
        first = at
        for thing in tanks:
            wide, long, _, _ = measures(thing)
            self._put(thing, room.x2 - clear - long / 2, at + wide / 2, "e", room)
            at += wide + between
        if tanks:
            middle = (first + at - between) / 2 - room.y
            if not room.doors:
                fits = min(first - room.y + measures(tanks[0])[0] / 2, middle)
                self.rooms["milk"] = replace(room, doors=(replace(door, at_m=round(fits, 2)),))
            out = room.x2 - clear / 2
            points = [(round(out, 2), round(self.bodies[t.tag].y, 2)) for t in tanks]
            self.gullies["milk"] = (*self.gullies.get("milk", ()), *points)
            bay = self.n("tanker_bay_length_m")
            self._room(Room("tanker", room.x2 + WALL_M, room.y + room.d / 2 - bay / 2,
                            self.n("tanker_bay_width_m"), bay, 4.2, self.floor, open=True,
                            fall_pct=self.n("floor_fall_pct")))  # fmt: skip
        return y + room.d + WALL_M

    def _doors(self, x1: float) -> None:
        """A door from the passage into every room of the block that has none on that side."""
        for name in ("plant", "switch", "wash", "milk"):
            room = self.rooms.get(name)
            if room is None or any(d.wall == "w" for d in room.doors):
                continue
            aisles = sorted({g[1] for g in self.gullies.get(name, ()) if g[0] < room.x2 - 1.6})
            at = (aisles[0] - room.y) if aisles else room.d / 2
            wide = 1.6 if name == "plant" else 1.0
            door = Door("w", round(at, 2), wide, 2.1)
            self.rooms[name] = replace(room, doors=(*room.doors, door))

    # what hangs under the deck, or stands at the head of the pit --------------------------------

    def _under_deck(self) -> None:
        deck = self.deck
        gland = next((t for t in self.scene.things.values() if t.kind == "rotary_gland"), None)
        half = 0.5
        if gland is not None:
            made = body(gland, 0.0, 0.0, deck.pit_floor_m, "e", "hall")
            self.bodies[gland.tag] = replace(made, sides_m=0.0, front_m=0.0)
            half = made.dy / 2
        things = self._of("deck")
        things = [t for t in things if gland is None or t.tag != gland.tag]
        near = max(half + 0.45, 0.95)
        rows: list[tuple[float, float]] = []  # line of fronts (y), half length
        side = near
        while side + 0.9 < deck.ring_radius_m and len(rows) < 6:
            long = math.sqrt(max(0.3, (deck.ring_radius_m - 0.25) ** 2 - (side + 0.75) ** 2))
            rows += [(side, long), (-side, long)]
            side += 1.25
        total = sum(self._slot(t) for t in things)
        place, n_rows = 0, len(rows)
        share = max(total / max(1, min(2, n_rows)) * 1.02, max((self._slot(t) for t in things),
                                                               default=0.0))  # fmt: skip
        queue = list(things)
        while queue and place < n_rows:
            line, long = rows[place]
            most = min(2 * long, share) if place < 2 else 2 * long
            taken: list[tuple[Thing, float]] = []
            used = 0.0
            while queue and used + self._slot(queue[0]) <= most + 1e-9:
                slot = self._slot(queue[0])
                taken.append((queue.pop(0), slot))
                used += slot
            self._deck_row(taken, -used / 2, line)
            place += 1
            if place == 2:
                share = math.inf
        for i, thing in enumerate(queue):  # no room left: outside the pit's square, told by checks
            self._deck_row([(thing, self._slot(thing))], 0.8 * i, -side - 0.2)

    def _deck_row(self, slots: list[tuple[Thing, float]], x: float, line: float) -> None:
        faces: Side = "s" if line > 0 else "n"
        for thing, slot in slots:
            depth = measures(thing)[1]
            y = line + depth / 2 if line > 0 else line - depth / 2
            made = body(thing, round(x + slot / 2, 2), round(y, 2), self._deck_base(thing), faces,
                        "hall")  # fmt: skip
            self.bodies[thing.tag] = replace(
                made, frame="deck" if self.scene.rotary else "fixed", front_m=0.5
            )
            x += slot

    def _deck_base(self, thing: Thing) -> float:
        low = DECK_FRAME_M if self.scene.rotary else HEAD_FLOOR_M
        if thing.kind == "receiver":
            return round(low + 0.33, 3)
        if thing.kind == "header":
            suction = any(direction == "suction" for _, direction, _ in thing.ports)
            return round(low + (0.2 if suction else 1.1), 3)
        if thing.kind == "sanitary_trap":
            return round(low + 1.0, 3)
        return round(low + 0.05, 3)

    def _head_size(self) -> tuple[float, float]:
        things = self._of("deck")
        total = sum(self._slot(t) for t in things)
        return (round(max(3.0, total / 2 + 1.0) + 0.6, 1), 3.6)

    def _head(self) -> None:
        deck, hall = self.deck, self.rooms["hall"]
        wide, deep = self._head_size()
        x = hall.x2 - wide
        room = self._room(Room("head", x, -deep / 2, wide - 0.1, deep, 3.2, HEAD_FLOOR_M,
                               fall_pct=self.n("floor_fall_pct")))  # fmt: skip
        things = self._of("deck")
        half: list[tuple[Thing, float]] = []
        used, total = 0.0, sum(self._slot(t) for t in things)
        rows: list[list[tuple[Thing, float]]] = []
        for thing in things:
            slot = self._slot(thing)
            if half and used + slot > total / 2 + 0.3 and not rows:
                rows.append(half)
                half, used = [], 0.0
            half.append((thing, slot))
            used += slot
        rows.append(half)
        for row, line in zip(rows, (0.75, -0.75), strict=False):
            self._deck_row(row, x + 0.3, line)
        for tag in [t.tag for t in things]:
            self.bodies[tag] = replace(self.bodies[tag], room=room.name)
        self._channel(room, 0.0)
        assert deck.pit_length_m

    # round about --------------------------------------------------------------------------------

    def _outside(self) -> None:
        passage = self.rooms["passage"]
        tanker = self.rooms.get("tanker")
        step = 0.0
        for thing in self.scene.things.values():
            if footprint(thing.kind).sort != "outside":
                continue
            length, depth, _, _ = measures(thing)
            if thing.kind == "tanker_bay" and tanker is not None:
                milk = self.rooms["milk"]
                x, y, turn = milk.x2 + 0.45, milk.y + milk.d - 1.2, "e"
            elif thing.kind == "water_source":
                x, y, turn = passage.x + 0.6, passage.y - 3.0, "s"
            else:
                switch = self.rooms.get("switch", passage)
                x, y, turn = switch.x2 + 1.2 + depth / 2, switch.y + step + length / 2, "e"
                step += length + 0.8
            floor = self.floor
            made = body(thing, round(x, 2), round(y, 2), floor + (0.6 if thing.kind ==
                        "tanker_bay" else 0.0), turn, "outside")  # type: ignore[arg-type]  # fmt: skip
            self.bodies[thing.tag] = made

    def _racks(self) -> list[Rack]:
        passage, hall = self.rooms["passage"], self.rooms["hall"]
        level = round(self.floor + self.n("rack_level_m"), 2)
        wide = min(self.n("rack_width_m"), PASSAGE_M - 0.4)
        x = round(passage.x + PASSAGE_M / 2, 2)
        racks = [Rack("main", (x, round(passage.y + 0.1, 2)), (x, round(passage.y2 - 0.1, 2)),
                      level, wide)]  # fmt: skip
        if self.scene.rotary and self.scene.wish.services == "under":
            floor = self.deck.pit_floor_m
            racks.append(Rack("trench", (0.0, 0.0), (round(passage.x2 - 0.2, 2), 0.0),
                              round(floor + 0.15, 2), 1.4, 2, trench=True))  # fmt: skip
        elif self.scene.rotary:
            racks.append(Rack("bridge", (0.0, 0.0), (x, 0.0), round(hall.height_m - 1.1, 2), 1.2))
        else:
            racks.append(Rack("bridge", (round(hall.x2 - 4.0, 2), 0.0), (x, 0.0), level, 1.2))
        return racks

    def _decided(self) -> None:
        """Machines that a person has put somewhere: the slot they had is left empty."""
        for tag, thing in self.scene.things.items():
            spot, old = thing.spot, self.bodies.get(tag)
            if spot.at is None and spot.turn is None:
                continue
            if footprint(thing.kind).sort in ("none", "spread"):
                continue
            turn: Side = spot.turn or (old.turn if old else "s")
            if spot.on_deck and spot.at is not None:
                r, angle = spot.at[0], math.radians(spot.at[1])
                x, y = r * math.cos(angle), r * math.sin(angle)
                z = spot.at[2] if len(spot.at) > 2 else (old.z if old else DECK_FRAME_M)
            elif spot.at is not None:
                x, y = spot.at[0], spot.at[1]
                z = spot.at[2] if len(spot.at) > 2 else (old.z if old else self.floor)
            elif old is not None:
                x, y, z = old.x, old.y, old.z
            else:
                continue
            room = next((r.name for r in self.rooms.values() if r.holds(x, y) and not r.open),
                        old.room if old else "outside")  # fmt: skip
            made = body(thing, round(x, 3), round(y, 3), round(z, 3), turn, room)
            frame = "deck" if spot.on_deck else old.frame if old else "fixed"
            front = made.front_m if old is None else old.front_m
            if spot.front_m is not None:
                front = spot.front_m
            self.bodies[tag] = replace(made, pinned=spot.at is not None, frame=frame,
                                       front_m=front)  # fmt: skip
