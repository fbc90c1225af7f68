"""Scene and plan: what is asked of the layout, and what it answers. Metres, x east, y north.

Level 0.00 is the operator's floor; the origin is the deck's centre, or the middle of the pit.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Literal

from byrewright.standards.footprints import PLAIN, Footprint
from byrewright.standards.rulebook import Rulebook

Side = Literal["n", "e", "s", "w"]
Frame = Literal["fixed", "deck"]
Services = Literal["under", "over"]
Point = tuple[float, float, float]
Flat = tuple[float, float]

NORMAL: Mapping[str, Flat] = {"n": (0.0, 1.0), "e": (1.0, 0.0), "s": (0.0, -1.0), "w": (-1.0, 0.0)}
"""Unit vector out of each side."""


@dataclass(frozen=True, slots=True)
class Door:
    """A door in a wall: its middle along the wall from the room's south-west corner, and size."""

    wall: Side
    at_m: float
    wide_m: float
    high_m: float


@dataclass(frozen=True, slots=True)
class Room:
    """A rectangle of floor. `dry`: no wet pipe may cross it; `open`: no roof over it."""

    name: str
    x: float
    y: float
    w: float
    d: float
    height_m: float = 3.6
    floor_m: float = 0.0
    dry: bool = False
    open: bool = False
    fall_pct: float = 0.0
    doors: tuple[Door, ...] = ()
    stated: bool = False

    @property
    def x2(self) -> float:
        """East wall."""
        return self.x + self.w

    @property
    def y2(self) -> float:
        """North wall."""
        return self.y + self.d

    def holds(self, x: float, y: float, slack: float = 1e-6) -> bool:
        """Whether a point lies in the room."""
        return self.x - slack <= x <= self.x2 + slack and self.y - slack <= y <= self.y2 + slack


@dataclass(frozen=True, slots=True)
class Rack:
    """A straight run that pipes share: from, to, level of its lowest tier, width, tiers."""

    name: str
    start: Flat
    end: Flat
    level_m: float
    wide_m: float = 1.2
    tiers: int = 3
    trench: bool = False
    stated: bool = False


@dataclass(frozen=True, slots=True)
class Deck:
    """The turning deck, or the rows and their pit."""

    rotary: bool
    stalls: int
    height_m: float
    edge_radius_m: float = 0.0
    inner_radius_m: float = 0.0
    rail_radius_m: float = 0.0
    pit_radius_m: float = 0.0
    pit_floor_m: float = 0.0
    pit_length_m: float = 0.0
    pit_width_m: float = 0.0
    row_depth_m: float = 0.0
    rows: int = 1

    @property
    def ring_radius_m(self) -> float:
        """Where milkline and pulsator line run: under the deck, inside the stalls."""
        return max(1.0, self.rail_radius_m - 0.4)


@dataclass(frozen=True, slots=True)
class Spot:
    """What a person has decided of a machine; None is left to the layout."""

    room: str | None = None
    at: tuple[float, ...] | None = None
    turn: Side | None = None
    on_deck: bool = False
    size: tuple[float, float, float] | None = None
    mass_kg: float | None = None
    front_m: float | None = None
    sides_m: float | None = None
    back_m: float | None = None


@dataclass(frozen=True, slots=True)
class Thing:
    """A machine to be placed: form, what it does for the plant, rating, ports in use, and what is
    decided. Its kind is a name for people; nothing is worked out from it."""

    tag: str
    kind: str
    title: str
    form: Footprint = PLAIN
    does: tuple[str, ...] = ()
    """Its roles and abilities, in words: "stores milk"."""
    count: int = 1
    rating: float | None = None
    ways: int = 2
    ports: tuple[tuple[str, str, str], ...] = ()
    """Name, direction and service of each port that a pipe meets."""
    low: bool = False
    """Hung low, a step above the next machine along the flow, so that the line runs empty."""
    from_above: bool = False
    """A gland whose still side is its upper one, because services come over a bridge."""
    spot: Spot = Spot()
    power_kw: float = 0.0
    holds_l: float = 0.0
    fed_from: tuple[str, ...] = ()

    def can(self, *words: str) -> bool:
        """Whether it does one of these for the plant."""
        return any(word in self.does for word in words)

    @property
    def in_line(self) -> bool:
        """Whether it is a two-way machine in its pipe, so that its place follows from the route."""
        return self.form.sort == "in line" and len(self.ports) <= 2

    @property
    def has_ways(self) -> bool:
        """Whether pipes meet in it side by side, at a pitch of their own."""
        return self.can("joins pipes") or (self.can("is a valve") and self.ways == 3)

    @property
    def drawn_from(self) -> bool:
        """Whether a pump draws from it."""
        return any(direction == "suction" for _, direction, _ in self.ports)


@dataclass(frozen=True, slots=True)
class Line:
    """A pipe to be laid."""

    tag: str
    start: str
    end: str
    service: str
    bore_mm: float
    along: tuple[str, ...] = ()
    by: tuple[Flat, ...] = ()

    @property
    def outside_mm(self) -> float:
        """Outside diameter: bore and wall (2 mm; 3 mm from 80 mm on), mm."""
        return self.bore_mm + (6.0 if self.bore_mm >= 80 else 4.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """The `place` section of the file; what is empty is drafted."""

    services: Services = "under"
    deck: Mapping[str, float] = field(default_factory=dict)
    rooms: tuple[Room, ...] = ()
    racks: tuple[Rack, ...] = ()
    gullies: Mapping[str, tuple[Flat, ...]] = field(default_factory=dict)
    mirror: bool = False
    """On the other hand: what the draft puts north of the trench lies south of it."""
    north: Side = "n"
    """The side of the plan that faces north."""


@dataclass(frozen=True, slots=True)
class Scene:
    """All that the layout is asked.

    What a person decided of single machines and pipes (`at`, `turn`, `along`, `by`) is left out of
    the first draft and obeyed after it, so that it changes nothing else.
    """

    rotary: bool
    stalls: int
    rows: int
    rail_radius_m: float | None
    group_cows: int
    region: str
    things: Mapping[str, Thing]
    lines: tuple[Line, ...]
    wish: Wish
    decided: tuple[str, ...] = ()
    """Machines that a person has decided on, in the order of the file."""
    memo: dict[str, Any] = field(init=False, default_factory=dict, compare=False, repr=False)
    """What was worked out from it."""

    def undecided(self) -> Scene:
        """The same without what a person decided of single machines and pipes."""
        free = {
            tag: thing if thing.spot.at is None and thing.spot.turn is None else replace(
                thing, spot=replace(thing.spot, at=None, turn=None, on_deck=False)
            )
            for tag, thing in self.things.items()
        }  # fmt: skip
        lines = tuple(
            replace(line, along=(), by=()) if line.along or line.by else line for line in self.lines
        )
        return replace(self, things=free, lines=lines, decided=())

    def key(self, rules: Rulebook) -> str:
        """A hash of all that a plan is made from: the scene, and a user's own rules."""
        own = [(k, rules.number(k)) for k in rules.overridden]
        return hashlib.sha256(repr((self, own)).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Mouth:
    """A port in place: where it is, which way it points, and the level that a lift counts from."""

    at: Point
    way: Point
    datum_m: float


@dataclass(frozen=True, slots=True)
class Body:
    """A machine in place: middle of its footprint, base, size as it lies (east, north, up)."""

    tag: str
    kind: str
    form: Footprint
    does: tuple[str, ...]
    room: str
    x: float
    y: float
    z: float
    dx: float
    dy: float
    h: float
    turn: Side = "s"
    mass_kg: float = 0.0
    front_m: float = 0.9
    sides_m: float = 0.0
    back_m: float = 0.0
    frame: Frame = "fixed"
    pinned: bool = False
    sized: bool = False
    hung: bool = False
    mouths: Mapping[str, Mouth] = field(default_factory=dict)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge."""
        hx, hy = self.dx / 2, self.dy / 2
        return self.x - hx, self.y - hy, self.x + hx, self.y + hy

    @property
    def service_box(self) -> tuple[float, float, float, float]:
        """The free floor in front of it (west, south, east, north)."""
        x1, y1, x2, y2 = self.box
        nx, ny = NORMAL[self.turn]
        if nx:
            return (x2, y1, x2 + self.front_m, y2) if nx > 0 else (x1 - self.front_m, y1, x1, y2)
        return (x1, y2, x2, y2 + self.front_m) if ny > 0 else (x1, y1 - self.front_m, x2, y1)

    def stands_as(self, other: Body) -> bool:
        """Whether it fills the same space, its ports in the same places."""
        return (
            (self.x, self.y, self.z, self.dx, self.dy, self.h, self.turn, self.frame)
            == (other.x, other.y, other.z, other.dx, other.dy, other.h, other.turn, other.frame)
            and self.mouths == other.mouths
        )  # fmt: skip

    def moved(self, x: float, y: float, z: float) -> Body:
        """The same body elsewhere, ports with it."""
        dx, dy, dz = x - self.x, y - self.y, z - self.z
        mouths = {
            name: Mouth((m.at[0] + dx, m.at[1] + dy, m.at[2] + dz), m.way, m.datum_m + dz)
            for name, m in self.mouths.items()
        }
        return replace(self, x=x, y=y, z=z, mouths=mouths)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything in its place."""

    scene: Scene
    deck: Deck
    rooms: Mapping[str, Room]
    racks: Mapping[str, Rack]
    gullies: Mapping[str, tuple[Flat, ...]]
    bodies: Mapping[str, Body]
    block: str = ""
    """Name of the passage that the racks run along."""
    before: Plan | None = None
    """The plan before the last thing that a person decided of a machine, or of pipes."""
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    """What was worked out from it."""

    @property
    def hand(self) -> float:
        """1, or -1 in a mirror: the sign of what is drawn north of the middle."""
        return -1.0 if self.scene.wish.mirror else 1.0

    def moved(self) -> frozenset[str]:
        """Machines that stand elsewhere, or face elsewhere, than in the plan before."""
        if self.before is None:
            return frozenset()
        old = self.before.bodies
        return frozenset(
            tag
            for tag, body in self.bodies.items()
            if tag not in old or not body.stands_as(old[tag])
        )

    def room_at(self, x: float, y: float) -> Room | None:
        """The room over a point; a roofed one first."""
        found = [r for r in self.rooms.values() if r.holds(x, y)]
        return min(found, key=lambda r: (r.open, r.w * r.d)) if found else None

    def extent(self) -> tuple[float, float, float, float]:
        """West, south, east, north edge of all rooms and machines."""
        boxes = [(r.x, r.y, r.x2, r.y2) for r in self.rooms.values()]
        boxes += [b.box for b in self.bodies.values()]
        return (
            min(b[0] for b in boxes), min(b[1] for b in boxes),
            max(b[2] for b in boxes), max(b[3] for b in boxes),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Route:
    """A way laid: the pipes it is made of in order, its points, and whether a way was found."""

    lines: tuple[str, ...]
    service: str
    outside_mm: float
    points: tuple[Point, ...]
    frame: Frame = "fixed"
    found: bool = True
    ends: tuple[str, str] = ("", "")
    inner: tuple[str, ...] = ()
    """The two-way machines between its pipes, in order."""

    @property
    def length_m(self) -> float:
        """Length along the middle."""
        return sum(math.dist(a, b) for a, b in pairwise(self.points))


@dataclass(frozen=True, slots=True)
class Laid:
    """One pipe as the plan has it: length, height of its end over its start, bends, points."""

    tag: str
    length_m: float
    rise_m: float
    bends: int
    points: tuple[Point, ...]
