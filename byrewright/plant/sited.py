"""The plant in its place: its scene for the layout, its plan, and the lengths that follow."""

from __future__ import annotations

import hashlib
import math
from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from byrewright.place.model import Door, Line, Plan, Rack, Room, Scene, Spot, Thing, Wish
from byrewright.plant.machine import PIPED, Machine
from byrewright.plant.place import MachinePlace, Place, RoomPlace
from byrewright.plant.roles import JoinsDeck
from byrewright.standards.footprints import footprint

if TYPE_CHECKING:
    from byrewright.place.model import Laid, Route
    from byrewright.plant.plant import Plant
    from byrewright.plant.read import PlantFile

KEPT = 24
"""Plans kept in memory, by what they were made from."""


@dataclass(frozen=True, slots=True)
class Sited:
    """A plant's plan, its routes, and each pipe as laid."""

    plan: Plan
    routes: tuple[Route, ...]
    laid: dict[str, Laid]


_KEPT: OrderedDict[str, Sited] = OrderedDict()


def laid_out(plant: Plant) -> Plant:
    """The plant with the lengths, rises and bends of its plan where the file states none.

    A plant without a `place` is handed back as it is: its missing lengths are guesses.
    """
    made = sited(plant)
    if made is None:
        return plant
    pipes = tuple(
        pipe.laid(one.length_m, one.rise_m, one.bends)
        if (one := made.laid.get(pipe.id)) is not None
        else pipe
        for pipe in plant.pipes
    )
    fresh = plant.model_copy(update={"pipes": pipes})
    fresh.__pydantic_fields_set__.intersection_update(plant.model_fields_set)
    return fresh


def sited(plant: Plant) -> Sited | None:
    """The plan of a plant, or None where the file has no `place`."""
    if plant.place is None:
        return None
    scene = scene_of(plant)
    key = hashlib.sha256(repr(scene).encode()).hexdigest()
    if key in _KEPT:
        _KEPT.move_to_end(key)
        return _KEPT[key]
    from byrewright.place.cut import cut
    from byrewright.place.layout import lay_out
    from byrewright.place.router import lay
    from byrewright.standards.rulebook import default_rulebook

    rules = default_rulebook()
    plan = lay_out(scene, rules)
    routes = lay(plan, rules)
    made = Sited(plan, routes, cut(plan, routes))
    _KEPT[key] = made
    while len(_KEPT) > KEPT:
        _KEPT.popitem(last=False)
    return made


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
    things = {
        tag: replace(
            _thing(machine, tuple(ports[tag].values()), place.machines.get(tag), lines),
            from_above=isinstance(machine, JoinsDeck) and place.services == "over",
        )
        for tag, machine in plant.equipment.items()
    }
    groups = plant.herd.all_groups()
    return Scene(
        rotary=rotary,
        stalls=deck.stalls if deck is not None else 1,
        rows=getattr(deck, "rows", 1) if deck is not None else 1,
        rail_radius_m=getattr(deck, "rail_radius_m", None) if rotary else None,
        group_cows=max((g.cows for g in groups), default=plant.herd.cows),
        region=plant.site.region,
        things=things,
        lines=tuple(lines),
        wish=_wish(place),
    )


def _direction(plant: Plant, tag: str, name: str, other: str, out: bool) -> str:
    """The way a port gives: in, out, both, or suction for what a pump draws from."""
    pump, _, port = other.partition(".")
    if out and port == "inlet" and any(m in plant.equipment[pump].kind for m in ("_pump",)):
        return "suction"
    found = plant.equipment[tag].port(name)
    return found.direction if found is not None else "both"


def _thing(
    machine: Machine,
    ports: tuple[tuple[str, str, str], ...],
    stated: MachinePlace | None,
    lines: list[Line],
) -> Thing:
    rule = footprint(machine.kind)
    value = getattr(machine, rule.by, None) if rule.by else None
    if machine.can("joins pipes") or machine.can("is a valve"):
        value = max((p.bore_mm for p in lines if machine.id in _tags(p)), default=50.0)
    holds = getattr(machine, "volume_l", 0.0) or 0.0
    return Thing(
        machine.id, machine.kind, type(machine).TITLE, machine.count,
        None if value is None else float(value), int(getattr(machine, "ways", 2)), ports,
        False, False, _spot(stated), machine.power_kw(), float(holds), tuple(machine.fed_from),
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
    )  # fmt: skip


def _room(name: str, one: RoomPlace) -> Room:
    doors = tuple(Door(d.wall, d.at_m, d.wide_m, d.high_m) for d in one.doors)
    return Room(name, one.at[0], one.at[1], one.size[0], one.size[1], one.height_m, one.floor_m,
                one.dry, one.open, one.fall_pct, doors, stated=True)  # fmt: skip


def pinned(file: PlantFile, made: Sited) -> tuple[str, int]:
    """The file's text with every machine that has a place of its own pinned there, and how many
    were not pinned before."""
    from byrewright.plant.edit import edit_plant

    stated = file.plant.place.machines if file.plant.place else {}
    changes: dict[str, Any] = {}
    for tag, body in made.plan.bodies.items():
        if tag in stated and stated[tag].at is not None:
            continue
        if body.frame == "deck":
            radius = round(math.hypot(body.x, body.y), 3)
            at = [radius, round(math.degrees(math.atan2(body.y, body.x)), 2), round(body.z, 3)]
            changes[tag] = {"on": "deck", "at": at, "turn": body.turn}
        else:
            at = [round(body.x, 3), round(body.y, 3), round(body.z, 3)]
            changes[tag] = {"at": at, "turn": body.turn}
    if not changes:
        return file.text, 0
    if stated:
        keys = {
            f"place.machines.{tag}" if tag not in stated else f"place.machines.{tag}.{key}": value
            for tag, one in changes.items()
            for key, value in ({"": one} if tag not in stated else one).items()
        }
        return edit_plant(file, keys), len(changes)
    return edit_plant(file, {"place.machines": changes}), len(changes)


def with_place(plant: Plant) -> Plant:
    """A copy that has a `place`, for plans of files that state none."""
    return plant if plant.place is not None else plant.model_copy(update={"place": Place()})


__all__ = ["Sited", "laid_out", "replace", "scene_of", "sited", "with_place"]
