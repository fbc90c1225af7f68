"""The cows' side: deck or rows, hall and yard, and what hangs under the deck."""

from __future__ import annotations

import math
from dataclasses import replace

from byrewright.place.board import WALL_M, Board
from byrewright.place.lanes import BESIDE_YARD_M, widest_yard_m
from byrewright.place.model import Deck, Room, Scene, Side, Thing
from byrewright.place.shapes import body, measures
from byrewright.standards.deck import TRACK_PITCH_M
from byrewright.standards.rulebook import Rulebook

HEAD_FLOOR_M = -0.6
"""Floor of the pump pit at the head of the rows."""
HEAD_DEEP_M, HEAD_LINE_M = 3.6, 0.75
"""Least depth of that pit, and how far from its middle the machines in it begin."""
DECK_FRAME_M = -1.05
"""Lowest level of what hangs under a turning deck; still pipes run below it."""


class CowSide(Board):
    """Deck, hall, yard, and the machines under the deck or at the head of the pit."""

    def __init__(self, scene: Scene, rules: Rulebook) -> None:
        super().__init__(scene, rules)
        self.deck = self._deck()

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
        rail = scene.rail_radius_m or scene.stalls * TRACK_PITCH_M / (2 * math.pi)
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
        clear = widest_yard_m(hall, deck.edge_radius_m, self.n("exit_width_m"))
        wide = min(max(self.n("yard_width_m"), 0.4 * hall.w), hall.w, clear)
        deep = math.ceil(yard_m2 / wide * 10) / 10
        rise = deck.height_m
        if deck.rotary:
            yard = Room("yard", hall.x - 0.0, hall.y - WALL_M - deep, wide, deep, 4.0, rise,
                        open=True, fall_pct=self.n("yard_slope_pct"))  # fmt: skip
        else:
            race = self.n("row_exit_m") + BESIDE_YARD_M  # cows go out past the yard on both sides
            wide = hall.d - 2 * race
            deep = math.ceil(yard_m2 / wide * 10) / 10
            yard = Room("yard", hall.x - WALL_M - deep, hall.y + race, deep, wide, 4.0, rise,
                        open=True, fall_pct=self.n("yard_slope_pct"))  # fmt: skip
        self._room(hall)
        self._room(yard)

    def _under_deck(self) -> None:
        deck = self.deck
        gland = next((t for t in self.scene.things.values() if t.can("joins deck")), None)
        half = 0.5
        if gland is not None:
            base = DECK_FRAME_M + 0.05 if gland.from_above else deck.pit_floor_m
            made = body(gland, 0.0, 0.0, round(base, 3), "e", "hall")
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
        left = [(thing, self._slot(thing)) for thing in queue]  # no room: told by the checks
        self._deck_row(left, 0.0, -side - 0.2)

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
        falling = self.run_down(thing, low - 0.1)
        if falling is not None:
            return falling
        form = thing.form
        drawn = form.deck_suction_m if thing.drawn_from else None
        return round(low + (form.deck_m if drawn is None else drawn), 3)

    def _head_size(self) -> tuple[float, float]:
        things = self._of("deck")
        total = sum(self._slot(t) for t in things)
        deepest = max((measures(t)[1] for t in things), default=0.0)
        deep = max(HEAD_DEEP_M, 2 * (HEAD_LINE_M + deepest + 0.1))
        return (round(max(3.0, total / 2 + 1.0) + 0.6, 1), math.ceil(10 * deep - 1e-6) / 10)

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
        for row, line in zip(rows, (HEAD_LINE_M, -HEAD_LINE_M), strict=False):
            self._deck_row(row, x + 0.3, line)
        for tag in [t.tag for t in things]:
            self.bodies[tag] = replace(self.bodies[tag], room=room.name)
        self._channel(room, 0.0)
        assert deck.pit_length_m
