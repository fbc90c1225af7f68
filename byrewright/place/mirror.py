"""The same centre on the other hand: everything in a mirror that lies east and west.

Layout and routes are worked out on one hand only and turned over at the end, so that both hands
have the same lengths, bends and findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from byrewright.place.ends import End, nets
from byrewright.place.model import (
    Body,
    Flat,
    Laid,
    Line,
    Mouth,
    Plan,
    Point,
    Rack,
    Room,
    Route,
    Scene,
    Side,
    Spot,
)

OTHER: dict[str, Side] = {"n": "s", "s": "n", "e": "e", "w": "w"}


def mirrored(
    plan: Plan, routes: tuple[Route, ...], laid: Mapping[str, Laid]
) -> tuple[Plan, tuple[Route, ...], dict[str, Laid]]:
    """A plan, its routes and its pipes on the other hand."""
    return (
        _plan(plan),
        tuple(replace(r, points=_points(r.points)) for r in routes),
        {tag: replace(one, points=_points(one.points)) for tag, one in laid.items()},
    )


def mirrored_scene(scene: Scene) -> Scene:
    """What is asked, as it stands on the other hand; twice gives the scene itself."""
    wish = replace(
        scene.wish, rooms=tuple(_room(r) for r in scene.wish.rooms),
        racks=tuple(_rack(r) for r in scene.wish.racks), gullies=_gullies(scene.wish.gullies),
    )  # fmt: skip
    things = {t: replace(g, spot=_spot(g.spot)) for t, g in scene.things.items()}
    return replace(scene, wish=wish, things=things, lines=tuple(_line(x) for x in scene.lines))


def _plan(plan: Plan) -> Plan:
    made = replace(
        plan,
        scene=mirrored_scene(plan.scene),
        rooms={n: _room(r) for n, r in plan.rooms.items()},
        racks={n: _rack(r) for n, r in plan.racks.items()},
        gullies=_gullies(plan.gullies),
        bodies={t: _body(b) for t, b in plan.bodies.items()},
        before=_plan(plan.before) if plan.before is not None else None,
        memo={},
    )
    made.memo["nets"] = [
        replace(n, lines=tuple(_line(x) for x in n.lines), start=_end(n.start), end=_end(n.end))
        for n in nets(plan)
    ]  # what decides the ends of pipes knows one hand only
    return made


def _line(line: Line) -> Line:
    return replace(line, by=tuple(_flat(p) for p in line.by)) if line.by else line


def _y(y: float) -> float:
    return -y + 0.0


def _flat(p: Flat) -> Flat:
    return p[0], _y(p[1])


def _point(p: Point) -> Point:
    return p[0], _y(p[1]), p[2]


def _points(points: tuple[Point, ...]) -> tuple[Point, ...]:
    return tuple(_point(p) for p in points)


def _room(room: Room) -> Room:
    doors = tuple(
        replace(d, wall=OTHER[d.wall], at_m=room.d - d.at_m if d.wall in ("e", "w") else d.at_m)
        for d in room.doors
    )
    return replace(room, y=_y(room.y2), doors=doors)


def _rack(rack: Rack) -> Rack:
    return replace(rack, start=_flat(rack.start), end=_flat(rack.end))


def _gullies(many: Mapping[str, tuple[Flat, ...]]) -> dict[str, tuple[Flat, ...]]:
    return {name: tuple(_flat(g) for g in some) for name, some in many.items()}


def _spot(spot: Spot) -> Spot:
    at = spot.at
    if at is not None:  # on the deck the second figure is an angle
        at = (at[0], _y(at[1]), *at[2:])
    return replace(spot, at=at, turn=OTHER[spot.turn] if spot.turn else None)


def _body(body: Body) -> Body:
    mouths = {
        name: Mouth(_point(m.at), _point(m.way), m.datum_m) for name, m in body.mouths.items()
    }
    return replace(body, y=_y(body.y), turn=OTHER[body.turn], mouths=mouths)


def _end(end: End | None) -> End | None:
    return None if end is None else replace(end, at=_point(end.at), way=_point(end.way))
