"""The walls that a plan's rooms make: pieces between rooms, each once, at the height it needs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from byrewright.place.board import WALL_M
from byrewright.place.model import Door, Plan, Point, Room

HAIR_M = 1e-6


@dataclass(frozen=True, slots=True)
class Wall:
    """A straight piece of wall: its box on the ground, the rooms it bounds, floor and height."""

    name: str
    x: float
    y: float
    x2: float
    y2: float
    floor_m: float
    height_m: float
    inside: bool
    """Whether there is a roofed room on both its sides."""

    @property
    def runs_north(self) -> bool:
        """Whether its length runs north and south."""
        return self.y2 - self.y >= self.x2 - self.x

    def holds(self, at: Point, slack: float = 0.06) -> bool:
        """Whether a point lies in it."""
        x, y, z = at
        return (
            self.x - slack <= x <= self.x2 + slack
            and self.y - slack <= y <= self.y2 + slack
            and self.floor_m - slack <= z <= self.floor_m + self.height_m + slack
        )


def walled(plan: Plan) -> list[Room]:
    """The rooms that have walls: roofed, and no pit inside another room."""
    return [r for r in plan.rooms.values() if not r.open and r.name != "head"]


def walls(plan: Plan) -> list[Wall]:
    """Every wall of the plan, once: two rooms a wall apart share theirs."""
    strips: dict[tuple[str, float], list[tuple[float, float, Room]]] = {}
    for room in walled(plan):
        for low in (room.x - WALL_M, room.x2):
            strips.setdefault(("n", round(low, 3)), []).append(
                (room.y - WALL_M, room.y2 + WALL_M, room)
            )
        for low in (room.y - WALL_M, room.y2):
            strips.setdefault(("e", round(low, 3)), []).append((room.x, room.x2, room))
    found: list[Wall] = []
    names: dict[str, int] = {}
    for (way, low), sides in sorted(strips.items()):
        for a, b, over in _pieces(sides):
            floor = min(r.floor_m for r in over)
            high = max(r.floor_m + r.height_m for r in over) - floor
            name = f"{way} {'+'.join(sorted({r.name for r in over}))}"
            names[name] = names.get(name, 0) + 1
            box = (low, a, low + WALL_M, b) if way == "n" else (a, low, b, low + WALL_M)
            inside = _both_sides(plan, way, box)
            found.append(Wall(f"{name} {names[name]}", *box, floor, round(high, 3), inside))
    return found


def _pieces(sides: list[tuple[float, float, Room]]) -> list[tuple[float, float, list[Room]]]:
    """Stretches of one strip: joined where floor and ceiling are the same."""
    marks = sorted({round(m, 4) for a, b, _ in sides for m in (a, b)})
    made: list[tuple[float, float, list[Room]]] = []
    for a, b in pairwise(marks):
        over = [r for low, high, r in sides if low < b - HAIR_M and high > a + HAIR_M]
        if not over:
            continue
        if made and abs(made[-1][1] - a) < HAIR_M and _levels(made[-1][2]) == _levels(over):
            made[-1] = (made[-1][0], b, [*made[-1][2], *over])
        else:
            made.append((a, b, over))
    return made


def _levels(rooms: list[Room]) -> tuple[float, float]:
    return min(r.floor_m for r in rooms), max(r.floor_m + r.height_m for r in rooms)


def _both_sides(plan: Plan, way: str, box: tuple[float, float, float, float]) -> bool:
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    by = WALL_M
    spots = ((x - by, y), (x + by, y)) if way == "n" else ((x, y - by), (x, y + by))
    return all(any(r.holds(*s) for r in walled(plan)) for s in spots)


def door_middle(room: Room, door: Door) -> tuple[float, float]:
    """The middle of a door, in the middle of its wall."""
    half = WALL_M / 2
    if door.wall in ("e", "w"):
        return (room.x2 + half if door.wall == "e" else room.x - half), room.y + door.at_m
    return room.x + door.at_m, (room.y2 + half if door.wall == "n" else room.y - half)
