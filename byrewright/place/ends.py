"""Where each chain of pipes begins and ends in the plan."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

from byrewright.place.cows import DECK_FRAME_M
from byrewright.place.falls import FALLING
from byrewright.place.model import Frame, Line, Plan, Point, Room, Route, Thing
from byrewright.place.zones import chains
from byrewright.standards.footprints import Ring

POCKET_M, HAIR_M = 0.02, 0.001
"""A line this little below its ends makes no pocket."""
TUBE_M = 1.0
"""A tube at each stall, from unit to line (common practice, no source)."""
AIR_GAP_M = 0.06
DROP_M = 0.02
"""A drain turns down over its gully, so far at least: it may pass low under other lines."""
UNDER_M = 0.12
"""A deck drain's mouth lies this far under what it empties: its last turn must not hold liquid."""


@dataclass(frozen=True, slots=True)
class End:
    """One end of a chain: machine, port, place, the way it leaves, and its level for lift."""

    tag: str
    port: str
    at: Point
    way: Point
    datum_m: float
    frame: Frame = "fixed"
    stub_m: float | None = None
    """Straight pipe that leaves it, where that is not as usual."""

    def after(self, stub: float) -> Point:
        """Where its stub ends."""
        x, y, z = (round(p + w * stub, 3) for p, w in zip(self.at, self.way, strict=True))
        return x, y, z


@dataclass(frozen=True)
class Net:
    """A chain of pipes between two ends; one that has no place of its own has None there."""

    lines: tuple[Line, ...]
    start: End | None
    end: End | None
    frame: Frame
    extra_m: float = 0.0

    @cached_property
    def key(self) -> str:
        """The tag of its first pipe."""
        return self.lines[0].tag

    @cached_property
    def service(self) -> str:
        """Its service: the one that is not drain, where a cock empties a line."""
        return next((p.service for p in self.lines if p.service != "drain"), "drain")

    @cached_property
    def radius_m(self) -> float:
        """Half the largest outside diameter."""
        return max(p.outside_mm for p in self.lines) / 2000

    @property
    def stub_m(self) -> float:
        """Straight pipe that leaves a port."""
        return round(max(0.1, math.ceil((self.radius_m + 0.05) * 20) / 20), 3)

    @cached_property
    def turns(self) -> tuple[Point, Point]:
        """Where the stubs of both its ends end, and its way through the plan begins and ends."""
        assert self.start is not None and self.end is not None
        a, b = (e.after(self.stub_m if e.stub_m is None else e.stub_m)
                for e in (self.start, self.end))  # fmt: skip
        return a, b

    @property
    def drains(self) -> bool:
        """Whether it runs out by gravity."""
        return self.lines[-1].service == "drain"

    @property
    def lowest_m(self) -> float | None:
        """The level that it must not sag below on its way; None for a line that may."""
        if self.start is None or self.end is None:
            return None
        if self.drains:  # it falls all the way to where it turns down
            return min(p[2] for p in self.turns) - HAIR_M
        low = min(self.start.at[2], self.end.at[2]) - POCKET_M
        return low if self.service in FALLING else None

    @cached_property
    def span(self) -> float:
        """Square distance between its ends."""
        if self.start is None or self.end is None:
            return 0.0
        return sum(abs(a - b) for a, b in zip(self.start.at, self.end.at, strict=True))

    def route(self, points: tuple[Point, ...], found: bool) -> Route:
        """The route along these points."""
        return Route(
            tuple(p.tag for p in self.lines), self.service, self.radius_m * 2000, points,
            self.frame, found, (self.lines[0].start, self.lines[-1].end),
            tuple(p.end.partition(".")[0] for p in self.lines[:-1]),
        )  # fmt: skip

    def plain(self) -> Route:
        """A route with no points: a tube at the stalls, or an end that is nowhere."""
        return self.route((), True)


def nets(plan: Plan) -> list[Net]:
    """Every chain of the scene with its ends in place.

    A chain whose machines stand as they were drafted keeps its ends, whatever else has moved.
    """
    if "nets" not in plan.memo:
        plan.memo["nets"] = _Ends(plan).nets()
    found: list[Net] = plan.memo["nets"]
    return found


class _Ends:
    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.taken: list[Point] = []

    def nets(self) -> list[Net]:
        runs = chains(self.plan.scene)
        kept = self.kept()
        self.taken = [
            end.at for net in kept.values() for end in (net.start, net.end)
            if end is not None and end.tag not in self.plan.bodies
        ]  # fmt: skip
        return [
            replace(kept[run[0].tag], lines=tuple(run)) if run[0].tag in kept else self.net(run)
            for run in runs
        ]

    def kept(self) -> dict[str, Net]:
        """Chains of the draft that no moved machine is an end of."""
        if self.plan.before is None:
            return {}
        moved = self.plan.moved()
        return {
            net.key: net for net in nets(self.plan.before)
            if not {end.partition(".")[0] for end in (net.lines[0].start, net.lines[-1].end)}
            & moved
        }  # fmt: skip

    def net(self, run: list[Line]) -> Net:
        first, last = run[0].start, run[-1].end
        a, b = self.fixed(first), self.fixed(last)
        if a is None and b is not None:
            a = self.open_end(first, b, run)
        elif b is None and a is not None:
            b = self.open_end(last, a, run)
        elif a is None and b is None:
            a, b = self.both_open(first, last)
        extra = 0.0
        for end in (first, last):
            thing = self.thing(end)
            if thing is not None and end.partition(".")[2] in thing.form.ring.goes_round:
                deck = self.plan.deck
                extra = 2 * math.pi * deck.ring_radius_m if deck.rotary else 2 * deck.pit_length_m
        frame: Frame = "deck" if "deck" in {e.frame for e in (a, b) if e} else "fixed"
        if a is None or b is None:
            extra = TUBE_M
        return Net(tuple(run), a, b, frame, round(extra, 2))

    def thing(self, end: str) -> Thing | None:
        return self.plan.scene.things.get(end.partition(".")[0])

    def fixed(self, end: str) -> End | None:
        """An end at a machine that has a place."""
        tag, _, port = end.partition(".")
        body = self.plan.bodies.get(tag)
        if body is None or port not in body.mouths:
            return None
        mouth = body.mouths[port]
        frame = body.frame
        if "joins deck" in body.does and port.startswith("deck"):
            frame = "deck"
        return End(tag, port, mouth.at, mouth.way, mouth.datum_m, frame)

    def open_end(self, end: str, other: End, run: list[Line]) -> End | None:
        thing = self.thing(end)
        if thing is None:
            return None
        if thing.can("is a drain"):
            return self.drain(end, other)
        if thing.form.sort == "spread":
            return self.ring(end, thing.form.ring, other)
        tag, _, port = end.partition(".")
        if thing.in_line:  # a cock that lets out where it hangs
            x, y, z = other.after(0.5)
            return End(tag, port, (x, y, z), tuple(-c for c in other.way), z, other.frame)  # type: ignore[arg-type]
        return None

    def both_open(self, first: str, last: str) -> tuple[End | None, End | None]:
        """A drain of a ring: straight down at the ring's low end."""
        a_thing, b_thing = self.thing(first), self.thing(last)
        if a_thing is None or b_thing is None or not b_thing.can("is a drain"):
            return None, None
        if a_thing.form.sort != "spread":
            return None, None
        ring = a_thing.form.ring
        deck = self.plan.deck
        if deck.rotary:
            r = deck.ring_radius_m + ring.row_apart_m
            x, y, low = round(r * 0.6, 3), round(-r * 0.8, 3), round(deck.pit_floor_m + 0.35, 3)
            frame: Frame = "deck"
        else:
            x, y = round(deck.pit_length_m / 2 - 0.1, 3), round(-deck.pit_width_m / 2 + 0.25, 3)
            low = AIR_GAP_M
            frame = "fixed"
        level = self.level(ring)
        a = End(first.partition(".")[0], first.partition(".")[2], (x, y, level), (0, 0, -1.0),
                level, frame)  # fmt: skip
        b = End(last.partition(".")[0], last.partition(".")[2], (x, y, low), (0, 0, 1.0), low,
                frame)  # fmt: skip
        return a, b

    def level(self, ring: Ring) -> float:
        return ring.level_m if self.plan.deck.rotary else ring.row_level_m

    def ring(self, end: str, ring: Ring, other: End) -> End:
        """Where a line from a machine meets a ring or a row: square across from it."""
        tag, _, port = end.partition(".")
        deck = self.plan.deck
        level = self.level(ring)
        number = port.rpartition("_")[2]
        x, y, _ = other.at
        side = 1.0 if y >= 0 else -1.0
        if ring.both_sides and number.isdigit() and int(number) % 2 == 0:
            side = -side  # a ring is fed on both sides
        if not deck.rotary:
            x = deck.pit_length_m / 2 - 0.1 * (1 + ring.row_apart_m)
            at = (round(x, 3), round(side * (deck.pit_width_m / 2 - 0.2), 3), level)
            at = self.free(at, (0.0, 0.12 * -side, 0.0))
            return End(tag, port, at, (1.0, 0.0, 0.0), level, "fixed")
        r = deck.ring_radius_m + ring.apart_m
        if ring.inner:
            r = deck.inner_radius_m + 0.2
        if other.tag and "joins deck" in self.plan.bodies[other.tag].does:
            yy = max(-0.9 * r, min(0.9 * r, y))
            at = self.free(
                (round(-math.sqrt(r * r - yy * yy), 3), round(yy, 3), level), (0, 0, 0.0)
            )
            return End(tag, port, at, (1.0, 0.0, 0.0), level, "deck")
        xx = max(-0.9 * r, min(0.9 * r, x))
        at = self.free((round(xx, 3), round(side * math.sqrt(r * r - xx * xx), 3), level),
                       (0.0, 0.0, 0.0))  # fmt: skip
        return End(tag, port, at, (0.0, -side, 0.0), level, "deck")

    def drain(self, end: str, other: End) -> End | None:
        """Over the gully line of the room, square in front of the machine, with an air gap."""
        tag, _, port = end.partition(".")
        x, y, _ = other.at
        if other.frame == "deck":
            out = other.after(0.25)
            low = min(DECK_FRAME_M + 0.07, max(DECK_FRAME_M + 0.02, other.datum_m - UNDER_M))
            at = self.free((out[0], out[1], low), (0.15, 0.0, 0.0))
            return End(tag, port, at, (0, 0, 1.0), low, "deck")
        body = self.plan.bodies.get(other.tag)
        room = self.plan.rooms.get(body.room) if body is not None else self.plan.room_at(x, y)
        if room is None or room.name not in self.plan.gullies:
            near = [r for r in self.plan.rooms.values() if r.name in self.plan.gullies]
            if not near:
                return None
            room = min(near, key=lambda r: _off(r, x, y))
        many = self.plan.gullies[room.name]
        low = round(room.floor_m + AIR_GAP_M, 3)
        if abs(other.way[0]) > 0.5:  # it looks along the rows: a gully in front of it
            gx, _ = min(many, key=lambda g: math.dist(g, (x, y)))
            gx = gx if abs(gx - x) > 0.3 else round(x + other.way[0] * 0.4, 3)
            at = self.free((gx, round(y, 3), low), (0.0, 0.15, 0.0))
            return End(tag, port, at, (0, 0, 1.0), low, stub_m=DROP_M)
        lines = [
            g[1] for g in many
        ]  # a channel has several gullies; one alone serves what it faces
        near_lines = {g[1] for g in many if lines.count(g[1]) > 1 or abs(g[0] - x) < 0.6}
        asked = near_lines or set(lines)
        ahead = {gy for gy in asked if (gy - y) * other.way[1] >= 0}  # not under its own machine
        line = min(ahead or asked, key=lambda gy: abs(gy - y))
        side = 0.15 if y > line else -0.15
        at = self.free((round(x, 3), round(line + side, 3), low), (0.2, 0.0, 0.0))
        return End(tag, port, at, (0, 0, 1.0), low, stub_m=DROP_M)

    def free(self, at: Point, step: Point) -> Point:
        """The place itself, or the next free one beside it."""
        step = step if any(step) else (0.0, 0.0, -0.15)
        for _ in range(40):
            if all(math.dist(at, t) > 0.14 for t in self.taken):
                break
            at = tuple(round(p + s, 3) for p, s in zip(at, step, strict=True))  # type: ignore[assignment]
        self.taken.append(at)
        return at


def _off(room: Room, x: float, y: float) -> float:
    dx = max(room.x - x, 0.0, x - room.x2)
    dy = max(room.y - y, 0.0, y - room.y2)
    return math.hypot(dx, dy)
