"""What every part of a layout shares: the scene, the rulebook, and what is put down so far."""

from __future__ import annotations

from dataclasses import replace

from byrewright.place.model import Body, Deck, Flat, Room, Scene, Thing
from byrewright.place.shapes import clear_room, measures
from byrewright.place.zones import along_flow, chains, in_line_of, steps_to_drain, zones
from byrewright.standards.rulebook import Rulebook

WALL_M = 0.2
"""Walls as drawn: the rooms' sides are their inner faces, this apart."""
LOWEST_M, STEP_DOWN_M, MOST_STEPS = 0.25, 0.05, 6
"""Middle of a header with a drain cock over the floor, and the step between machines above it."""

BLOCK_ZONES = frozenset({"plant", "cold", "switch", "wash", "milk"})
"""Rooms of the dairy block that a machine can be told to stand in."""
ROOM_OF = {"tank": "milk", "laundry": "wash"}
"""The room of zones that share one."""


class Board:
    """The drawing board: rooms, machines and gullies as they are put down."""

    deck: Deck

    def __init__(self, scene: Scene, rules: Rulebook) -> None:
        self.scene = scene
        self.rules = rules
        self.zone = {
            tag: asked if (asked := scene.things[tag].spot.room) in BLOCK_ZONES
            and ROOM_OF.get(zone, zone) != asked else zone
            for tag, zone in zones(scene).items()
        }  # fmt: skip
        self.steps = steps_to_drain(scene)
        self.runs = chains(scene)
        self.bodies: dict[str, Body] = {}
        self.rooms: dict[str, Room] = {}
        self.gullies: dict[str, tuple[Flat, ...]] = {}

    def n(self, key: str) -> float:
        """A number of the rulebook about places."""
        return self.rules.number(f"place.{key}")

    def _room(self, room: Room) -> Room:
        stated = next((r for r in self.scene.wish.rooms if r.name == room.name), None)
        if stated is not None:
            doors = stated.doors or room.doors
            room = replace(stated, doors=doors)
        self.rooms[room.name] = room
        return room

    def run_down(self, thing: Thing, floor: float) -> float | None:
        """Base of a machine in a milk or wash line that must run empty: a step above the next."""
        if not thing.low:
            return None
        height = measures(thing)[2]
        middle = floor + LOWEST_M + STEP_DOWN_M * min(self.steps[thing.tag], MOST_STEPS)
        return round(max(middle - height / 2, floor + 0.02), 3)

    @property
    def floor(self) -> float:
        """Floor of the dairy block: the operator's for a rotary; the cows' for rows."""
        return 0.0 if self.scene.rotary else self.deck.height_m

    def _of(self, *wanted: str) -> list[Thing]:
        tags = [t for t, z in self.zone.items() if z in wanted]
        order = in_line_of(self.scene, tags)
        if "milk" in wanted:
            order = along_flow(self.scene, tags)
        inside = set(tags)
        pull = [0.0] * len(order)  # towards the passage: lines that leave the room
        for run in self.runs:
            a, b = (e.partition(".")[0] for e in (run[0].start, run[-1].end))
            for tag, other in ((a, b), (b, a)):
                if tag in inside and other not in inside and run[0].service != "drain":
                    pull[order.index(tag)] += run[0].bore_mm
        ahead = sum(p * i for i, p in enumerate(pull))
        if sum(p * i for i, p in enumerate(reversed(pull))) < ahead:
            order.reverse()
        return [self._hung(self.scene.things[t]) for t in order]

    def _hung(self, thing: Thing) -> Thing:
        low = thing.form.runs_down and thing.tag in self.steps
        return replace(thing, low=True) if low else thing

    def _slot(self, thing: Thing) -> float:
        length = measures(thing)[0]
        _, sides, _ = clear_room(thing.form, None, thing.spot.sides_m, None)
        return length + 2 * sides

    def _channel(self, room: Room, y: float) -> None:
        if room.dry:
            return
        count = max(2, round(room.w / 3.0))
        step = room.w / count
        points = tuple((round(room.x + step * (i + 0.5), 2), round(y, 2)) for i in range(count))
        self.gullies[room.name] = (*self.gullies.get(room.name, ()), *points)
