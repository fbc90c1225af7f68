"""The plant in its place: its scene for the layout, its plan, and the lengths that follow."""

from __future__ import annotations

import hashlib
import json
import math
from collections import OrderedDict
from dataclasses import dataclass, replace
from functools import cache
from itertools import accumulate, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from byrewright.caches import cache_folder, keep
from byrewright.place.model import Door, Line, Plan, Rack, Room, Scene, Spot, Thing, Wish
from byrewright.plant.machine import PIPED, Machine
from byrewright.plant.place import MachinePlace, Place, RoomPlace
from byrewright.plant.roles import JoinsDeck

if TYPE_CHECKING:
    from byrewright.place.model import Laid, Route
    from byrewright.plant.plant import Plant
    from byrewright.standards.rulebook import Rulebook

KEPT = 24
"""Plans kept in memory, by what they were made from."""


@dataclass(frozen=True, slots=True)
class Sited:
    """A plant's plan, its routes, and each pipe as laid."""

    plan: Plan
    routes: tuple[Route, ...]
    laid: dict[str, Laid]


_KEPT: OrderedDict[str, Sited] = OrderedDict()
_LATEST: OrderedDict[tuple[int, ...], tuple[tuple[object, ...], Sited]] = OrderedDict()
LATEST_KEPT = 6
_ROUTES: OrderedDict[str, tuple[Route, ...]] = OrderedDict()
ROUTES_KEPT = 200
HAIR_M = 1e-3
DRAWS = ("moves liquid", "makes vacuum")
"""What machines do that draw through their inlet."""
ON_DISK = 1000
"""Plans whose routes are kept on disk."""


def laid_out(plant: Plant) -> Plant:
    """The plant with the lengths, rises and bends of its plan where the file states none.

    A plant without a `place` is handed back as it is: its missing lengths are guesses.
    """
    made = sited(plant)
    if made is None:
        return plant
    pipes = tuple(
        pipe.laid(one.length_m, one.rise_m, one.bends, _profile(one))
        if (one := made.laid.get(pipe.id)) is not None
        else pipe
        for pipe in plant.pipes
    )
    fresh = plant.model_copy(update={"pipes": pipes})
    fresh.__pydantic_fields_set__.intersection_update(plant.model_fields_set)
    _known(fresh, made)
    return fresh


def _known(plant: Plant, made: Sited | None = None) -> Sited | None:
    """The plan of a plant that is made of the very parts that a plan was made from: those who ask
    one after another about the plant that was just laid out make no scene of it again."""
    parts = (plant.place, plant.equipment, plant.pipes, plant.herd, plant.site, plant._place_rules)
    key = tuple(map(id, parts))
    if made is not None:
        _remember(_LATEST, key, (parts, made), LATEST_KEPT)  # holds the parts: no id comes again
    found = _LATEST.get(key)
    return None if found is None else found[1]


def _profile(one: Laid) -> tuple[tuple[float, float], ...]:
    """A pipe's way and height over its start at each of its points, m."""
    points = one.points
    ways = accumulate((math.dist(a, b) for a, b in pairwise(points)), initial=0.0)
    return tuple((x, p[2] - points[0][2]) for x, p in zip(ways, points, strict=False))


def sited(plant: Plant) -> Sited | None:
    """The plan of a plant, or None where the file has no `place`."""
    if plant.place is None:
        return None
    if (known := _known(plant)) is not None:
        return known
    scene, rules = scene_of(plant), plant.place_rules()
    key = scene.key(rules)
    if key in _KEPT:
        _KEPT.move_to_end(key)
        return _KEPT[key]
    from byrewright.place.cut import cut
    from byrewright.place.layout import lay_out
    from byrewright.place.mirror import mirrored

    plan = lay_out(scene, rules)
    routes = _routes(plan, rules)
    laid = cut(plan, routes)
    if scene.wish.mirror:
        plan, routes, laid = mirrored(plan, routes, laid)
    made = Sited(plan, routes, laid)
    _remember(_KEPT, key, made, KEPT)
    return made


def _remember(kept: OrderedDict[Any, Any], key: object, value: Any, most: int) -> None:
    kept[key] = value
    while len(kept) > most:
        kept.popitem(last=False)


def _routes(plan: Plan, rules: Rulebook, *, step: bool = False) -> tuple[Route, ...]:
    """Routes of a plan: those kept in memory or on disk by what they were made from and by the
    code that makes them, else laid now. A `step` on the way to another plan is kept in memory."""
    from byrewright.place.router import lay

    key = _plan_key(plan, rules)
    if key in _ROUTES:
        _ROUTES.move_to_end(key)
        return _ROUTES[key]
    path = cache_folder("routes") / f"{key[:32]}-{_code()}.json"
    found = None if step and plan.before is not None else _read_routes(path, plan)
    if found is None:
        found = lay(plan, rules, lambda one: _routes(one, rules, step=True))
        if not step or plan.before is None:
            told = {r.lines[0]: [r.found, r.points] for r in found}
            keep(path, json.dumps(told).encode(), ON_DISK)
    _remember(_ROUTES, key, found, ROUTES_KEPT)
    return found


def _plan_key(plan: Plan, rules: Rulebook) -> str:
    """What the routes of a plan are made from: its scene, or the plan before and what was decided
    since."""
    if "key" not in plan.memo:
        if plan.before is None:
            plan.memo["key"] = plan.scene.key(rules)
        else:
            moved = [plan.bodies[t] for t in sorted(plan.moved())]
            said = [x for x in plan.scene.lines if x.along or x.by]
            told = repr((_plan_key(plan.before, rules), moved, said))
            plan.memo["key"] = hashlib.sha256(told.encode()).hexdigest()
    return str(plan.memo["key"])


def _read_routes(path: Path, plan: Plan) -> tuple[Route, ...] | None:
    """Routes kept on disk; None where there are none, or they are not of this plan."""
    from byrewright.place.ends import nets

    try:
        told = json.loads(path.read_bytes())
        found = []
        for net in nets(plan):
            laid, points = told[net.key]
            way = tuple((float(x), float(y), float(z)) for x, y, z in points)
            if (
                net.start
                and net.end
                and not (math.dist(way[0], net.start.at) < HAIR_M > math.dist(way[-1], net.end.at))
            ):
                return None
            found.append(net.route(way, bool(laid)))
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None
    return tuple(found)


@cache
def _code() -> str:
    """A short hash of what lays pipes: another version of it keeps routes of its own."""
    digest = hashlib.sha256()
    package = Path(__file__).resolve().parents[1]
    for path in (*sorted((package / "place").glob("*.py")), package / "standards" / "place.py",
                 package / "standards" / "footprints.py"):  # fmt: skip
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def scene_of(plant: Plant) -> Scene:
    """What the layout needs to know of a plant, and nothing that cannot change it."""
    place = plant.place or Place()
    platforms = plant.able("stands cows")
    deck: Any = platforms[0] if platforms else None
    rotary = deck is not None and deck.layout == "rotary"
    ports: dict[str, dict[str, tuple[str, str, str]]] = {t: {} for t in plant.equipment}
    lines = []
    for pipe in plant.pipes:
        service = plant.service_of(pipe) or min(plant.services_open_to(pipe), default="water")
        if service not in PIPED:
            continue
        lines.append(
            Line(pipe.id, pipe.start, pipe.end, service, pipe.bore_mm, tuple(pipe.along),
                 tuple((p[0], p[1]) for p in pipe.by))
        )  # fmt: skip
        for end, other, out in ((pipe.start, pipe.end, True), (pipe.end, pipe.start, False)):
            tag, _, name = end.partition(".")
            ports[tag][name] = (name, _direction(plant, tag, name, other, out), service)
    widest: dict[str, float] = {}
    for line in lines:
        for tag in _tags(line):
            widest[tag] = max(line.bore_mm, widest.get(tag, 0.0))
    things = {
        tag: replace(
            _thing(machine, tuple(ports[tag].values()), place.machines.get(tag), widest.get(tag)),
            from_above=isinstance(machine, JoinsDeck) and place.services == "over",
        )
        for tag, machine in plant.equipment.items()
    }
    groups = plant.herd.all_groups()
    scene = Scene(
        rotary=rotary,
        stalls=deck.stalls if deck is not None else 1,
        rows=getattr(deck, "rows", 1) if deck is not None else 1,
        rail_radius_m=getattr(deck, "rail_radius_m", None) if rotary else None,
        group_cows=max((g.cows for g in groups), default=plant.herd.cows),
        region=plant.site.region,
        things=things,
        lines=tuple(lines),
        wish=_wish(place),
        decided=tuple(t for t in place.machines if t in things),
    )
    if not place.mirror:
        return scene
    from byrewright.place.mirror import mirrored_scene

    return mirrored_scene(scene)


def _direction(plant: Plant, tag: str, name: str, other: str, out: bool) -> str:
    """The way a port gives: in, out, both, or suction for what a pump draws from."""
    pump, _, port = other.partition(".")
    if out and port == "inlet" and any(plant.equipment[pump].can(word) for word in DRAWS):
        return "suction"
    found = plant.equipment[tag].port(name)
    return found.direction if found is not None else "both"


def _thing(
    machine: Machine,
    ports: tuple[tuple[str, str, str], ...],
    stated: MachinePlace | None,
    widest_mm: float | None,
) -> Thing:
    rule = type(machine).FORM
    value = getattr(machine, rule.by, None) if rule.by else None
    if machine.can("joins pipes") or machine.can("is a valve"):
        value = 50.0 if widest_mm is None else widest_mm
    each_l = getattr(machine, "holds_l", None) or getattr(machine, "volume_l", None) or 0.0
    return Thing(
        machine.id, machine.kind, type(machine).TITLE, rule,
        tuple(sorted(type(machine).CAN)), machine.count,
        None if value is None else float(value), int(getattr(machine, "ways", 2)), ports,
        False, False, _spot(stated), machine.power_kw(), float(each_l) * machine.count,
        tuple(machine.fed_from),
    )  # fmt: skip


def _tags(line: Line) -> tuple[str, str]:
    return line.start.partition(".")[0], line.end.partition(".")[0]


def _spot(stated: MachinePlace | None) -> Spot:
    if stated is None:
        return Spot()
    room = stated.service_m
    size = stated.size
    return Spot(
        stated.room, stated.at, stated.turn, stated.on == "deck",
        None if size is None else (size[0], size[1], size[2]), stated.mass_kg,
        room.front if room else None, room.sides if room else None, room.back if room else None,
    )  # fmt: skip


def _wish(place: Place) -> Wish:
    deck: dict[str, float] = {}
    if place.deck is not None:
        deck = {
            name: value
            for name in ("height_m", "edge_radius_m", "inner_radius_m")
            if (value := getattr(place.deck, name)) is not None
        }
        if place.deck.pit is not None:
            deck |= {"pit_radius_m": place.deck.pit.radius_m, "pit_floor_m": place.deck.pit.floor_m}
    return Wish(
        place.services,
        deck,
        tuple(_room(name, one) for name, one in place.rooms.items()),
        tuple(
            Rack(name, (r.start[0], r.start[1]), (r.end[0], r.end[1]), r.level_m, r.wide_m,
                 r.tiers, trench=r.level_m < 0, stated=True)
            for name, r in place.racks.items()
        ),
        {name: tuple((g[0], g[1]) for g in many) for name, many in place.gullies.items()},
        place.mirror, place.north,
    )  # fmt: skip


def _room(name: str, one: RoomPlace) -> Room:
    doors = tuple(Door(d.wall, d.at_m, d.wide_m, d.high_m) for d in one.doors)
    return Room(name, one.at[0], one.at[1], one.size[0], one.size[1], one.height_m, one.floor_m,
                one.dry, one.open, one.fall_pct, doors, stated=True)  # fmt: skip


def with_place(plant: Plant) -> Plant:
    """A copy that has a `place`, for plans of files that state none."""
    return plant if plant.place is not None else plant.model_copy(update={"place": Place()})


__all__ = ["Sited", "laid_out", "replace", "scene_of", "sited", "with_place"]
