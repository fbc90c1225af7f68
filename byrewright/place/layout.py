"""A layout: deck or rows, rooms, racks and every machine in its slot. Nothing is random."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace

from byrewright.place.board import WALL_M
from byrewright.place.cows import CowSide
from byrewright.place.model import (
    Body,
    Door,
    Plan,
    Rack,
    Room,
    Scene,
    Side,
    Thing,
)
from byrewright.place.shapes import body, measures
from byrewright.standards.place import tank_wall_key
from byrewright.standards.rulebook import Rulebook

AISLE_M = 1.3
"""Walkway between two rows of machines that face each other: service space and a step."""
PASSAGE_M = 1.9
"""The passage along the hall that the racks hang in."""
BLOCK_WIDTHS = ((60.0, 14.0), (math.inf, 16.0))
"""Width of the dairy block by metres of machines in rows."""
COUPLING_M = 0.6
"""The tanker's coupling over the floor."""
SAME_M = 0.002
"""A place that differs from the drafted one by less is the drafted one, rounded."""
ROOMS = (
    ("plant", ("plant",)), ("switch", ("switch",)), ("wash", ("wash", "laundry")),
    ("cold", ("cold",)),
)  # fmt: skip
"""Rooms in rows of machines from south to north; the milk room stands north of them, beside what
makes its cold. Vacuum and compressed air are at the other end, for the noise."""
BLOCK = ("plant", "switch", "wash", "cold", "milk")
"""The rooms along the passage."""
DRAFTS_KEPT = 12
_DRAFTS: OrderedDict[str, tuple[_Layout, Plan]] = OrderedDict()


def lay_out(scene: Scene, rules: Rulebook) -> Plan:
    """The plan of a scene: what is stated is kept, the rest is worked out."""
    layout, drafted = _drafted(scene.undecided(), rules)
    return drafted if drafted.scene == scene else layout.decided(drafted, scene)


def _drafted(scene: Scene, rules: Rulebook) -> tuple[_Layout, Plan]:
    """The draft of a scene with nothing decided, kept by content: a machine moved by hand does not
    lay the centre out anew."""
    key = scene.key(rules)
    if key not in _DRAFTS:
        layout = _Layout(scene, rules)
        _DRAFTS[key] = layout, layout.plan()
        while len(_DRAFTS) > DRAFTS_KEPT:
            _DRAFTS.popitem(last=False)
    return _DRAFTS[key]


@dataclass(slots=True)
class _Row:
    """Machines side by side: their slots from west to east."""

    slots: list[tuple[Thing, float]]
    deep_m: float


class _Layout(CowSide):
    def __init__(self, scene: Scene, rules: Rulebook) -> None:
        super().__init__(scene, rules)
        self.coupling_y = 0.0

    def plan(self) -> Plan:
        self._hall()
        self._block()
        self._under_deck() if self.scene.rotary else self._head()
        self._outside()
        racks = {r.name: r for r in self._racks()}
        racks |= {r.name: r for r in self.scene.wish.racks}
        gullies = self.gullies | dict(self.scene.wish.gullies)
        return Plan(self.scene, self.deck, self.rooms, racks, gullies, self.bodies, "passage")

    # the cows' side -----------------------------------------------------------------------------

    # the dairy block ----------------------------------------------------------------------------

    def _rows(self, things: Iterable[Thing], most_m: float) -> list[_Row]:
        """Machines in rows of a length, broken where the fewest lines must cross the aisle."""
        order = list(things)
        slots = [self._slot(t) for t in order]
        rows: list[_Row] = []
        start = 0
        left = _rows_needed(slots, most_m)
        while start < len(order):
            ends = [e for e in range(start + 1, len(order) + 1)
                    if e == start + 1 or sum(slots[start:e]) <= most_m + 1e-9]  # fmt: skip
            good = [e for e in ends if _rows_needed(slots[e:], most_m) <= left - 1] or ends[-1:]
            end = min(good, key=lambda e: (self._torn(order, start, e), -e))
            row = order[start:end]
            rows.append(_Row(list(zip(row, slots[start:end], strict=True)),
                             max(measures(t)[1] for t in row)))  # fmt: skip
            start, left = end, left - 1
        for i, row_ in enumerate(rows):
            if i % 2:  # a snake: the end of one row lies by the start of the next
                row_.slots.reverse()
        return rows

    def _torn(self, order: list[Thing], start: int, end: int) -> int:
        """What it costs to break a row here: a line that must run empty and has no drain cock at
        its upper end counts for many."""
        ahead = {t.tag for t in order[start:end]}
        behind = {t.tag for t in order[end:]}
        cost = 0
        for run in self.runs:
            a, b = (e.partition(".")[0] for e in (run[0].start, run[-1].end))
            if (a in ahead and b in behind) or (a in behind and b in ahead):
                kept = run[0].service in ("milk", "wash") and self.steps.get(a, 0) > 0
                cost += 20 if kept else 1
        return cost

    def _block(self) -> None:
        hall = self.rooms["hall"]
        tanks = self._of("tank")
        total = sum(self._slot(t) for t in self._of("plant", "cold", "wash", "laundry", "milk"))
        width = next(w for most, w in BLOCK_WIDTHS if total <= most)
        clear = max(  # what the region's rule asks, and the floor to work at a tank
            self.n(tank_wall_key(self.scene.region).removeprefix("place.")),
            max((t.form.front_m or 0.0 for t in tanks), default=0.0),
        )
        longest = max((measures(t)[1] for t in tanks if t.can("stores milk")), default=0.0)
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
        for name, rows, deep in planned:
            room = self._room(
                Room(name, x1, y, x2 - x1, deep, self._high(rows), self.floor, dry=name == "switch",
                     fall_pct=0.0 if name == "switch" else self.n("floor_fall_pct"))
            )  # fmt: skip
            self._fill(room, rows)
            y += deep + WALL_M
        y = self._milk_room(x1, x2, y, milk, tanks, clear)
        tall = max((self.rooms[n].height_m for n in ("milk", *(n for n, _, _ in planned))
                    if n in self.rooms), default=self.n("room_height_m"))  # fmt: skip
        self._room(Room("passage", west, south, PASSAGE_M, y - south - WALL_M, tall, self.floor,
                        doors=(Door("s", PASSAGE_M / 2, 1.2, 2.1),)))  # fmt: skip
        self._doors(x1)

    def _inner(self, name: str, drafted_m: float) -> float:
        """Width of a room: as stated, or as drafted."""
        return next((r.w for r in self.scene.wish.rooms if r.name == name), drafted_m)

    def _high(self, rows: list[_Row]) -> float:
        """Height of a room: the usual, or what its tallest machine needs."""
        tall = max((measures(t)[2] for row in rows for t, _ in row.slots), default=0.0)
        tall += self.n("plinth_height_m") + self.n("ceiling_over_m")
        return max(self.n("room_height_m"), math.ceil(tall * 10) / 10)

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
            used = sum(slot for _, slot in row.slots)
            x = room.x2 - 0.2 - used if i % 2 else room.x + 0.2  # a snake: it turns at the east
            channel = y + row.deep_m + AISLE_M / 2 if faces == "n" else y - AISLE_M / 2
            for thing, slot in row.slots:
                depth = measures(thing)[1]
                hung = thing.form.sort in ("hung", "in line") and not thing.low
                shift = -(back - 0.12) if hung else 0.0
                middle = line - depth / 2 - shift if faces == "s" else line + depth / 2 + shift
                self._put(thing, x + slot / 2, middle, faces, room)
                front = middle + depth / 2 if faces == "n" else middle - depth / 2
                drained = any(service == "drain" for _, _, service in thing.ports)
                if drained and not room.dry and abs(channel - front) > self.n("trip_m") - 0.3:
                    own = round(front + (0.35 if faces == "n" else -0.35), 2)
                    spot = (round(x + slot / 2, 2), own)
                    self.gullies[room.name] = (*self.gullies.get(room.name, ()), spot)
                x += slot
            y += row.deep_m
            if i % 2 == 0:
                at = y + AISLE_M / 2
                self._channel(room, at)
                y += AISLE_M
            else:
                y += back
        return y

    def _base(self, thing: Thing, floor: float) -> float:
        form = thing.form
        falling = self.run_down(thing, floor)
        if falling is not None:
            return falling
        if form.sort in ("hung", "in line"):
            drawn = form.suction_m if thing.drawn_from else None
            return floor + (form.base_m or 1.2 if drawn is None else drawn)
        return floor + (self.n("plinth_height_m") if form.hot or form.plinth else form.base_m)

    def _put(self, thing: Thing, x: float, y: float, turn: Side, room: Room) -> None:
        z = self._base(thing, room.floor_m)
        self.bodies[thing.tag] = body(thing, round(x, 2), round(y, 2), round(z, 3), turn, room.name)

    def _milk_room(
        self, x1: float, x2: float, y: float, rows: list[_Row], tanks: list[Thing], clear: float
    ) -> float:
        if not rows and not tanks:
            return y
        side = [t for t in tanks if not t.can("stores milk")]
        tanks = [t for t in tanks if t.can("stores milk")]
        beside = sum(self._slot(t) for t in side)
        deep = (self._deep(rows) if rows else 0.0) + beside
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
        for thing in side:  # on the tanker's wall, between the tanks' outlets and the coupling
            slot, depth = self._slot(thing), measures(thing)[1]
            back = self.n("service_back_m") if thing.low else 0.05  # low ones are piped behind
            self._put(thing, room.x2 - back - depth / 2, at + slot / 2, "w", room)
            if any(service == "drain" for _, _, service in thing.ports):
                spot = (round(room.x2 - back - 0.55 - depth, 2), round(at + slot / 2, 2))
                self.gullies["milk"] = (*self.gullies.get("milk", ()), spot)
            at += slot
        self.coupling_y = round(at - 0.5, 2)
        first = at
        for thing in tanks:
            wide, long, _, _ = measures(thing)
            x = math.floor((room.x2 - clear - long / 2) * 100) / 100  # no millimetre too near
            self._put(thing, x, at + wide / 2, "e", room)
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
        for name in BLOCK:
            room = self.rooms.get(name)
            if room is None or any(d.wall == "w" for d in room.doors):
                continue
            aisles = sorted({g[1] for g in self.gullies.get(name, ()) if g[0] < room.x2 - 1.6})
            at = (aisles[0] - room.y) if aisles else room.d / 2
            wide = 1.6 if name == "plant" else 1.0
            door = Door("w", round(at, 2), wide, 2.1)
            self.rooms[name] = replace(room, doors=(*room.doors, door))

    # what hangs under the deck, or stands at the head of the pit --------------------------------

    # round about --------------------------------------------------------------------------------

    def _outside(self) -> None:
        passage = self.rooms["passage"]
        tanker = self.rooms.get("tanker")
        step = 0.0
        for thing in self.scene.things.values():
            if thing.form.sort != "outside":
                continue
            length, depth, _, _ = measures(thing)
            if thing.can("loads tankers") and tanker is not None:
                milk = self.rooms["milk"]
                out = self.n("coupling_off_wall_m")
                x, y, turn = milk.x2 + WALL_M + out + depth / 2, self.coupling_y, "e"
            elif thing.can("gives water"):
                x, y, turn = passage.x + 0.6, passage.y - 3.0, "s"
            else:
                switch = self.rooms.get("switch", passage)
                x, y, turn = switch.x2 + 1.2 + depth / 2, switch.y + step + length / 2, "e"
                step += length + 0.8
            base = self.floor + (COUPLING_M if thing.can("loads tankers") else 0.0)
            made = body(thing, round(x, 2), round(y, 2), base, turn, "outside")  # type: ignore[arg-type]
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
            racks.append(Rack("bridge", (round(hall.x2 - 0.8, 2), 0.0), (x, 0.0), level, 1.2))
        return racks

    def decided(self, drafted: Plan, scene: Scene) -> Plan:
        """The plan with what a person has put somewhere: the slot it had is left empty, and
        nothing else moves.

        One decision after another, as the file tells them, each a plan of its own: what was
        decided last changes nothing of what stood before it.
        """
        plan, bodies = drafted, dict(drafted.bodies)
        for tag in dict.fromkeys((*scene.decided, *scene.things)):
            thing, old = scene.things[tag], drafted.bodies.get(tag)
            spot = thing.spot
            if spot.at is None and (spot.turn is None or old is None):
                continue
            if thing.form.sort in ("none", "spread"):
                continue
            bodies[tag] = self._put_by_hand(self._hung(thing), old)
            if old is None or not bodies[tag].stands_as(old):
                plan = replace(plan, bodies=dict(bodies), before=plan, memo={})
        return replace(plan, scene=scene, bodies=bodies, before=plan, memo={})

    def _put_by_hand(self, thing: Thing, old: Body | None) -> Body:
        spot = thing.spot
        turn: Side = spot.turn or (old.turn if old else "s")
        x, y, z = (old.x, old.y, old.z) if old else (0.0, 0.0, self._base(thing, self.floor))
        if spot.at is not None:
            x, y = spot.at[0], spot.at[1]
            if spot.on_deck:
                angle = math.radians(spot.at[1])
                x, y = spot.at[0] * math.cos(angle), spot.at[0] * math.sin(angle)
            z = spot.at[2] if len(spot.at) > 2 else z
            x, y, z = round(x, 3), round(y, 3), round(z, 3)
        if old is not None and math.dist((x, y, z), (old.x, old.y, old.z)) < SAME_M:
            x, y, z = old.x, old.y, old.z
        room = next((r.name for r in self.rooms.values() if r.holds(x, y) and not r.open),
                    "outside")  # fmt: skip
        if old is not None and self.rooms.get(old.room) and self.rooms[old.room].holds(x, y):
            room = old.room
        made = body(thing, x, y, z, turn, room)
        if old is not None and turn == old.turn:
            made = replace(old.moved(x, y, z), room=room)
        front = made.front_m if old is None else old.front_m
        frame = "deck" if spot.on_deck else old.frame if old else "fixed"
        return replace(made, pinned=spot.at is not None, frame=frame,
                       front_m=spot.front_m if spot.front_m is not None else front)  # fmt: skip


def _rows_needed(slots: list[float], most_m: float) -> int:
    rows, used = 0, math.inf
    for slot in slots:
        if used + slot > most_m + 1e-9:
            rows, used = rows + 1, 0.0
        used += slot
    return rows
