"""Ways of cables: up from a board, along a tray beside the pipes, and down to what is fed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from byrewright.place.layout import BLOCK
from byrewright.place.model import Body, Plan, Point

TRAY_M = 0.15
"""Tray from the hall's wall of the passage: beside the pipes' rack, never under it."""
BESIDE_M = 0.6
"""Cables from the middle of trench or bridge."""
OVER_FLOOR_M = 0.1
ENDS_M = 2.0
"""Left at both ends together for glands and loops (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is fed, in place: the room it is in, and where its cable ends."""

    room: str
    at: Point


@dataclass(frozen=True, slots=True)
class Way:
    """A cable's way: from what feeds, to what is fed, its points, its length with ends, m."""

    board: str
    tag: str
    points: tuple[Point, ...]
    length_m: float


def way(plan: Plan, board: Body, tag: str, target: Target) -> Way:
    """The way from a board (or supply) to what it feeds."""
    points = _square(_points(plan, board, target))
    long = math.fsum(math.dist(a, b) for a, b in pairwise(points)) + ENDS_M
    return Way(board.tag, tag, points, round(long, 1))


def tray_level(plan: Plan) -> float:
    """Level of the tray: that of the pipes' rack."""
    rack = plan.racks.get("main")
    return rack.level_m if rack is not None else plan.rooms["passage"].floor_m + 2.8


def _points(plan: Plan, board: Body, target: Target) -> list[Point]:
    level, passage = tray_level(plan), plan.rooms["passage"]
    x, y, top = board.x, board.y, board.z + board.h
    ex, ey, ez = target.at
    tray = passage.x + TRAY_M
    rise: list[Point] = [(x, y, top), (x, y, level)]
    near = {board.room, target.room}
    if len(near) == 1 or (near <= {"outside", "switch"}):
        corner = (x, ey, level) if board.room == "outside" else (ex, y, level)
        return [*rise, corner, (ex, ey, level), target.at]
    if target.room in BLOCK or target.room in ("passage", "outside"):
        return [*rise, (tray, y, level), (tray, ey, level), (ex, ey, level), target.at]
    deck, hall = plan.deck, plan.rooms["hall"]
    beside = BESIDE_M * plan.hand
    out: list[Point] = [*rise, (tray, y, level), (tray, beside, level)]
    if target.room == "yard":
        return [*out, (hall.x2, beside, level), (hall.x2, ey, level), (ex, ey, level), target.at]
    if not deck.rotary:
        return [*out, (ex, beside, level), (ex, ey, level), target.at]
    if any(r.trench for r in plan.racks.values()):
        run = deck.pit_floor_m + OVER_FLOOR_M
    else:
        run = plan.racks["bridge"].level_m if "bridge" in plan.racks else hall.height_m - 1.0
    out += [(tray, beside, run)]
    if target.room == "deck":  # through the gland's middle, and out under the deck
        out += [(0.0, beside, run), (0.0, 0.0, run), (0.0, 0.0, ez), (ex, 0.0, ez)]
        return [*out, target.at]
    return [*out, (ex, beside, run), (ex, ey, run), target.at]


def _square(points: list[Point]) -> tuple[Point, ...]:
    """The same way without points that repeat."""
    out: list[Point] = []
    for p in points:
        if not out or math.dist(out[-1], p) > 1e-6:
            out.append((round(p[0], 3), round(p[1], 3), round(p[2], 3)))
    return tuple(out)
