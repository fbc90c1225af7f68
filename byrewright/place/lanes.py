"""Where cows come in and go out: lanes between the yard and the deck, or beside the rows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.place.board import WALL_M
from byrewright.place.model import Flat, Plan, Room

BESIDE_YARD_M = 0.3
"""Between the yard and the lane that passes it."""
BEYOND_M = 3.0
"""How far a lane is drawn beyond the hall."""
ON_DECK = 0.95
"""Share of the deck's radius within which the exit meets it."""


@dataclass(frozen=True, slots=True)
class Lane:
    """A lane of cows: what it is, its box on the ground, the way they walk, its free width."""

    name: str
    box: tuple[float, float, float, float]
    way: Flat
    wide_m: float
    gate: Flat
    """Where it passes the hall's wall."""


def widest_yard_m(hall: Room, edge_radius_m: float, exit_m: float) -> float:
    """How wide a yard beside a rotary's hall may be so that the exit passes it and meets the deck.

    >>> hall = Room("hall", -10.0, -10.0, 20.0, 20.0)
    >>> round(widest_yard_m(hall, 7.0, 3.0), 2)
    13.15
    """
    return hall.w / 2 + ON_DECK * edge_radius_m - exit_m - BESIDE_YARD_M - WALL_M


def lanes(plan: Plan, entry_m: float, exit_m: float, race_m: float) -> tuple[Lane, ...]:
    """The lanes of a plan: entry and exit of a rotary side by side, exit clear of the yard; the
    entry of each row and the exit race beside it.

    Args:
        plan: the plan.
        entry_m: width of a single-file entry.
        exit_m: width of the exit lane.
        race_m: width of the race beside a row.
    """
    hall, yard = plan.rooms["hall"], plan.rooms.get("yard")
    if yard is None:
        return ()
    deck = plan.deck
    if not deck.rotary:
        return _of_rows(plan, hall, yard, entry_m, race_m)
    south = yard.y < hall.y
    turn = 1.0 if south else -1.0  # on the other hand the yard lies north
    wall = hall.y if south else hall.y2
    found = []
    for name, x, wide in (
        ("entry", yard.x2 - BESIDE_YARD_M - entry_m, entry_m),
        ("exit", yard.x2 + WALL_M + BESIDE_YARD_M, exit_m),
    ):
        middle = x + wide / 2
        reach = math.sqrt(max(0.0, deck.edge_radius_m**2 - middle**2))
        inner, outer = -turn * reach, wall - turn * (WALL_M if name == "entry" else BEYOND_M)
        low, high = sorted((inner, outer))
        way = (0.0, turn if name == "entry" else -turn)
        found.append(Lane(name, (x, low, x + wide, high), way, wide, (middle, wall)))
    return tuple(found)


def _of_rows(plan: Plan, hall: Room, yard: Room, entry_m: float, race_m: float) -> tuple[Lane, ...]:
    """Cows come in at the yard's end of the pit and go back beside the rows, past the yard."""
    deck = plan.deck
    mid, half = deck.pit_width_m / 2, deck.pit_length_m / 2
    found = []
    for side in (1.0, -1.0):
        y = side * (mid + deck.row_depth_m / 2)
        box = (hall.x - WALL_M, y - entry_m / 2, -half, y + entry_m / 2)
        found.append(Lane("entry", box, (1.0, 0.0), entry_m, (hall.x, y)))
        a = side * (mid + deck.row_depth_m)
        low, high = sorted((a, a + side * race_m))
        box = (hall.x - BEYOND_M, low, half, high)
        found.append(Lane("exit", box, (-1.0, 0.0), race_m, (hall.x, (low + high) / 2)))
    return tuple(found)
