"""The plan as a building model (IFC 4): rooms, slabs, walls, doors, machines, pipes with ports."""

from __future__ import annotations

import math
from datetime import datetime
from itertools import pairwise
from typing import Any

from byrewright.documents.building_model import BuildingModel, Point
from byrewright.place import checks
from byrewright.place.board import WALL_M
from byrewright.place.model import NORMAL, Body, Laid
from byrewright.place.walls import Wall, door_middle, walled, walls
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.roles import CollectsMilk, FeedsPulsators, StandsCows, TakesWaste
from byrewright.plant.sited import Sited
from byrewright.standards.rulebook import Rulebook

ABOUT = (
    "Machines are boxes of their stated size, or of one typical for their rating; pipes are as the "
    "plan lays them. Openings for cows, roof and structure are not in it. Confirm with suppliers."
)
SYSTEMS = {
    "vacuum": "VACUUM", "coolant": "CHILLEDWATER", "refrigerant": "REFRIGERATION",
    "air": "COMPRESSEDAIR", "drain": "DRAINAGE", "water": "DOMESTICCOLDWATER",
}  # fmt: skip
"""Services to the standard's systems; milk and wash liquid are named by us."""
SLAB_M, SPACE_M, DECK_M = 0.15, 2.0, 0.3
"""Thickness of slabs; height kept free for service; thickness of the deck."""
FLOWS = {"in": "SINK", "out": "SOURCE"}
NOT_FIGURES = ("id", "label", "kind")


def plan_ifc(plant: Plant, made: Sited, written: datetime, rules: Rulebook | None = None) -> str:
    """The text of the building model.

    Raises:
        IfcMissing: the extra part that writes it is not installed.
    """
    return _Export(plant, made, written, rules or plant.place_rules()).text()


class _Export:
    def __init__(self, plant: Plant, made: Sited, written: datetime, rules: Rulebook) -> None:
        self.plant, self.made, self.plan, self.rules = plant, made, made.plan, rules
        key = plant.site.id or plant.site.name
        north = NORMAL[made.plan.scene.wish.north]
        self.model = BuildingModel(key, plant.site.name, ABOUT, written, north)
        self.spaces: dict[str, Any] = {}
        self.ports: dict[str, Any] = {}
        self.nested: list[tuple[Any, list[Any]]] = []
        self.lines = {line.tag: line for line in made.plan.scene.lines}

    def text(self) -> str:
        self._rooms()
        self._slabs()
        self._walls()
        self._machines()
        self._racks()
        for pipe in self.plant.pipes:
            if pipe.id in self.made.laid:
                self._pipe(pipe, self.made.laid[pipe.id])
        for element, ports in self.nested:
            self.model.nest(element, ports)
        return self.model.text()

    def _at(self, x: float, y: float, z: float) -> Any:
        return self.model.place((x, y, z), self.model.ground)

    # building -----------------------------------------------------------------------------------

    def _rooms(self) -> None:
        m = self.model
        for room in self.plan.rooms.values():
            place = self._at(room.x + room.w / 2, room.y + room.d / 2, room.floor_m)
            space = m.rooted(
                "IfcSpace", f"room {room.name}", Name=room.name, LongName=room.name,
                ObjectPlacement=place, CompositionType="ELEMENT",
                Representation=m.shape([m.block(room.w, room.d, room.height_m)]),
                PredefinedType="EXTERNAL" if room.open else "INTERNAL",
                ElevationWithFlooring=room.floor_m,
            )  # fmt: skip
            self.spaces[room.name] = space
            m.properties(space, "Pset_SpaceCommon",
                         {"Reference": room.name, "IsExternal": room.open})  # fmt: skip
            m.properties(
                space, "byrewright_Room",
                {"floor_m": room.floor_m, "fall_pct": room.fall_pct, "dry": room.dry,
                 "by": "stated" if room.stated else "worked out"},
            )  # fmt: skip
            m.quantities(space, "Qto_SpaceBaseQuantities",
                         {"Height": room.height_m, "NetFloorArea": round(room.w * room.d, 3),
                          "NetVolume": round(room.w * room.d * room.height_m, 3)})  # fmt: skip

    def _slabs(self) -> None:
        deck = self.plan.deck
        for room in self.plan.rooms.values():
            holes = []
            if room.name == "hall" and deck.rotary:
                holes = [self.model.circle(0, 0, deck.pit_radius_m)]
            elif room.name == "hall" and "head" in self.plan.rooms:
                head = self.plan.rooms["head"]
                holes = [self._outline(head.x, head.y, min(head.x2, room.x2 - 0.01), head.y2)]
            grow = 0.0 if room.open or room.name == "head" else WALL_M
            outer = self._outline(room.x - grow, room.y - grow, room.x2 + grow, room.y2 + grow)
            slab = self._slab(f"floor of {room.name}", "FLOOR", outer, holes, room.floor_m, SLAB_M)
            self.model.properties(slab, "byrewright_Slab", {
                "level_m": room.floor_m, "fall_pct": room.fall_pct})  # fmt: skip
        if deck.rotary:
            m = self.model
            self._slab("floor of the pit", "BASESLAB", m.circle(0, 0, deck.pit_radius_m), [],
                       deck.pit_floor_m, SLAB_M)  # fmt: skip
        else:
            half, mid = deck.pit_length_m / 2, deck.pit_width_m / 2
            for side, name in ((1, "north"), (-1, "south")):
                y1, y2 = sorted((side * mid, side * (mid + deck.row_depth_m)))
                self._slab(f"standing {name}", "FLOOR", self._outline(-half, y1, half, y2), [],
                           deck.height_m, SLAB_M)  # fmt: skip
        for rack in self.plan.racks.values():
            if rack.trench:
                (x1, y1), (x2, y2) = rack.start, rack.end
                px, py = (0.0, rack.wide_m / 2) if abs(x2 - x1) > abs(y2 - y1) else (
                    rack.wide_m / 2, 0.0)  # fmt: skip
                box = (min(x1, x2) - px, min(y1, y2) - py, max(x1, x2) + px, max(y1, y2) + py)
                self._slab(f"floor of {rack.name}", "BASESLAB", self._outline(*box), [],
                           rack.level_m - 0.15, SLAB_M)  # fmt: skip
        margin = self.rules.number("place.plinth_margin_m")
        for body in self.plan.bodies.values():
            floor = self.plan.rooms["passage"].floor_m
            powered = self.plan.scene.things[body.tag].power_kw
            if body.hung or body.frame == "deck" or not powered or body.z <= floor + 0.05:
                continue
            x1, y1, x2, y2 = body.box
            box = (x1 - margin, y1 - margin, x2 + margin, y2 + margin)
            self._slab(f"plinth of {body.tag}", "USERDEFINED", self._outline(*box), [], body.z,
                       body.z - floor, "plinth")  # fmt: skip

    def _outline(self, x1: float, y1: float, x2: float, y2: float) -> Any:
        return self.model.outline([(x1, y1), (x2, y1), (x2, y2), (x1, y2)])

    def _slab(self, name: str, kind: str, outer: Any, holes: list[Any], top: float, thick: float,
              about: str = "") -> Any:  # fmt: skip
        item = self.model.sheet(outer, holes, round(thick, 4))
        return self.model.element(f"IfcSlab.{kind}", name, name, self._at(0, 0, top - thick),
                                  [item], about=about)  # fmt: skip

    def _walls(self) -> None:
        m = self.model
        built: list[tuple[Wall, Any]] = []
        for wall in walls(self.plan):
            long, wide = wall.x2 - wall.x, wall.y2 - wall.y
            place = self._at((wall.x + wall.x2) / 2, (wall.y + wall.y2) / 2, wall.floor_m)
            made = m.element("IfcWall.SOLIDWALL", f"wall {wall.name}", f"wall {wall.name}", place,
                             [m.block(long, wide, wall.height_m)])  # fmt: skip
            m.properties(made, "Pset_WallCommon", {"IsExternal": not wall.inside})
            m.quantities(made, "Qto_WallBaseQuantities",
                         {"Length": round(max(long, wide), 3), "Width": round(min(long, wide), 3),
                          "Height": wall.height_m})  # fmt: skip
            built.append((wall, made))
        for room in walled(self.plan):
            for door in room.doors:
                x, y = door_middle(room, door)
                east = (0.0, 1.0, 0.0) if door.wall in ("e", "w") else (1.0, 0.0, 0.0)
                self._door(built, f"{room.name} {door.wall} {door.at_m:g}", (x, y, room.floor_m),
                           east, door.wide_m, door.high_m)  # fmt: skip
        for tag, _, at, outside_mm in checks.walls_crossed(self.plan, self.made.routes):
            across = (outside_mm + 50) / 1000
            for wall, element in built:
                if wall.holds(at):
                    key = f"opening {tag} {at}"
                    place = self._at(at[0], at[1], at[2] - across / 2)
                    thick = WALL_M + 0.1
                    size = (thick, across) if wall.runs_north else (across, thick)
                    m.hole(element, key, f"for {tag}", place, m.block(*size, across))
                    break

    def _door(self, built: list[tuple[Wall, Any]], name: str, at: Point, east: Point, wide: float,
              high: float) -> None:  # fmt: skip
        m = self.model
        place = m.place(at, m.ground, (0, 0, 1), east)
        wall = next((e for w, e in built if w.holds((at[0], at[1], at[2] + 0.1))), None)
        door = m.element(
            "IfcDoor.DOOR", f"door {name}", f"door {name}", place, [m.block(wide, 0.05, high)],
            OverallHeight=high, OverallWidth=wide,
        )  # fmt: skip
        if wall is not None:
            void = m.place(at, m.ground, (0, 0, 1), east)
            opening = m.hole(wall, f"door {name}", f"door {name}", void,
                             m.block(wide, WALL_M + 0.1, high))  # fmt: skip
            m.relate("IfcRelFillsElement", f"door {name}", RelatingOpeningElement=opening,
                     RelatedBuildingElement=door)  # fmt: skip

    def _racks(self) -> None:
        for rack in self.plan.racks.values():
            if rack.trench:
                continue
            (x1, y1), (x2, y2) = rack.start, rack.end
            along = abs(x2 - x1) > abs(y2 - y1)
            size = (abs(x2 - x1), rack.wide_m) if along else (rack.wide_m, abs(y2 - y1))
            place = self._at((x1 + x2) / 2, (y1 + y2) / 2, rack.level_m - 0.1)
            self.model.element(
                "IfcBuildingElementProxy.PROVISIONFORSPACE", f"rack {rack.name}",
                f"rack {rack.name}", place,
                [self.model.block(*size, round(0.2 * rack.tiers + 0.2, 3))], about="pipe rack",
            )  # fmt: skip

    # machines -----------------------------------------------------------------------------------

    def _machines(self) -> None:
        ends: dict[str, Point] = {}
        for pipe in self.plant.pipes:
            laid = self.made.laid.get(pipe.id)
            if laid is not None and laid.points:
                ends.setdefault(pipe.end.partition(".")[0], laid.points[-1])
                ends.setdefault(pipe.start.partition(".")[0], laid.points[0])
        for tag, machine in self.plant.equipment.items():
            body = self.plan.bodies.get(tag)
            place = self._at(0, 0, 0)
            items: list[Any] = []
            within = None
            if body is not None:
                place, items = self._at(body.x, body.y, body.z), [self._box(body)]
                within = self.spaces.get(body.room)
            elif isinstance(machine, CollectsMilk | FeedsPulsators):
                place, items = self._ring(machine, ends.get(tag))
            elif isinstance(machine, TakesWaste):
                items = [self.model.block(0.2, 0.2, 0.2, (x, y, self._floor(room) - 0.2))
                         for room, many in self.plan.gullies.items() for x, y in many]  # fmt: skip
            elif isinstance(machine, StandsCows) and self.plan.deck.rotary:
                deck, m = self.plan.deck, self.model
                place = self._at(0, 0, deck.height_m - DECK_M)
                items = [m.sheet(m.circle(0, 0, deck.edge_radius_m),
                                 [m.circle(0, 0, deck.inner_radius_m)], DECK_M)]  # fmt: skip
            elif tag in ends:
                bore = max(p.bore_mm for p in self.plant.pipes if tag in _tags(p))
                size = round(bore / 1000 + 0.1, 3)
                x, y, z = ends[tag]
                place = self._at(x, y, z - size / 2)
                items = [self.model.block(size, size, size)]
            self._machine(machine, place, items, within, body)

    def _floor(self, room: str) -> float:
        return self.plan.rooms[room].floor_m if room in self.plan.rooms else 0.0

    def _box(self, body: Body) -> Any:
        kind = self.plant.equipment[body.tag].SYMBOL
        if kind == "vessel" and abs(body.dx - body.dy) < 0.01:
            return self.model.drum(body.dx / 2, body.h)
        return self.model.block(body.dx, body.dy, body.h)

    def _ring(self, machine: Machine, met: Point | None) -> tuple[Any, list[Any]]:
        deck, m = self.plan.deck, self.model
        bore = float(getattr(machine, "bore_mm", None) or 50.0) / 1000
        level = met[2] if met else 0.3
        if deck.rotary:
            return self._at(0, 0, level), [m.ring(deck.ring_radius_m, bore / 2 + 0.002, bore / 2)]
        half, y = deck.pit_length_m / 2 - 0.2, deck.pit_width_m / 2 - 0.2
        sides = (y, -y) if deck.rows > 1 else (y,)
        rows: list[tuple[Point, Point]] = [((-half, v, 0.0), (half, v, 0.0)) for v in sides]
        return self._at(0, 0, level), [m.swept(r, bore / 2 + 0.002, bore / 2) for r in rows]

    def _machine(self, machine: Machine, place: Any, items: list[Any], within: Any,
                 body: Body | None) -> None:  # fmt: skip
        m, tag = self.model, machine.id
        what = type(machine).BUILDING_CLASS
        if getattr(machine, "ways", 2) == 3:
            what = "IfcValve.DIVERTING"
        element = m.element(what, f"machine {tag}", f"{tag} {machine.title}", place, items,
                            tag=tag, about=machine.kind, within=within)  # fmt: skip
        m.properties(element, "byrewright_Machine", {
            "tag": tag, "kind": machine.kind, "count": machine.count,
            "fed_from": ", ".join(machine.fed_from), **_figures(machine)})  # fmt: skip
        if body is not None:
            m.properties(element, "byrewright_Place", {
                "room": body.room, "east_m": body.x, "north_m": body.y, "base_m": body.z,
                "faces": body.turn, "mass_kg": body.mass_kg, "frame": body.frame,
                "size": "stated" if body.sized else "typical for its rating",
                "by": "a person" if body.pinned else "worked out"})  # fmt: skip
            if not body.hung and body.frame == "fixed" and body.front_m > 0:
                x1, y1, x2, y2 = body.service_box
                m.element(
                    "IfcBuildingElementProxy.PROVISIONFORSPACE", f"service {tag}",
                    f"kept free before {tag}", self._at((x1 + x2) / 2, (y1 + y2) / 2, body.z),
                    [m.block(x2 - x1, y2 - y1, SPACE_M)], about="service space", within=within,
                )  # fmt: skip
        corner = (body.x, body.y, body.z) if body is not None else (0.0, 0.0, 0.0)
        mine = []
        for pipe in self.plant.pipes:
            for end in (pipe.start, pipe.end):
                if end.partition(".")[0] == tag and end not in self.ports:
                    mine.append(self._port(element, end, pipe, body, corner))
        self.nested.append((element, mine))
        for service in {self._service(p) for p in self.plant.pipes if tag in _tags(p)}:
            if service:
                m.serves(service, SYSTEMS.get(service, "USERDEFINED"), element)

    def _port(self, element: Any, end: str, pipe: Pipe, body: Body | None, corner: Point) -> Any:
        name = end.partition(".")[2]
        mouth = body.mouths.get(name) if body is not None else None
        at = tuple(a - b for a, b in zip(mouth.at, corner, strict=True)) if mouth else (0, 0, 0)
        found = self.plant.equipment[end.partition(".")[0]].port(name)
        flow = FLOWS.get(found.direction if found else "", "SOURCEANDSINK")
        service = self._service(pipe)
        port = self.model.port(element, f"port {end}", end, flow,
                               SYSTEMS.get(service, "USERDEFINED"), at)  # type: ignore[arg-type]  # fmt: skip
        self.ports[end] = port
        return port

    def _service(self, pipe: Pipe) -> str:
        return self.lines[pipe.id].service if pipe.id in self.lines else ""

    # pipes --------------------------------------------------------------------------------------

    def _pipe(self, pipe: Pipe, laid: Laid) -> None:
        """A pipe: straight pieces and bends, port to port."""
        m = self.model
        outside = self.lines[pipe.id].outside_mm / 2000
        inner = pipe.bore_mm / 2000
        service = self._service(pipe)
        radius = self.rules.number("place.bend_radius_bores") * pipe.bore_mm / 1000
        last = self.ports.get(pipe.start)
        pieces = list(_pieces(laid.points, radius)) or [("straight", ())]
        drawn: list[Any] = []
        for i, (kind, points) in enumerate(pieces):
            key = f"pipe {pipe.id} {kind} {i}"
            system = SYSTEMS.get(service, "USERDEFINED")
            if kind == "straight":
                element = self._straight(pipe, key, points, outside, inner)
            else:
                arc = len(points) == 3 and math.dist(points[0], points[1]) > 2.2 * outside
                at = points[0]
                own = [_off(p, at) for p in points]
                shape = m.swept(_arc(own) if arc else own, outside, inner, arc)
                element = m.element("IfcPipeFitting.BEND", key, pipe.id, self._at(*at), [shape],
                                    tag=pipe.id)  # fmt: skip
            drawn.append(element)
            far = _off(points[-1], points[0]) if points else (0.0, 0.0, 0.0)
            if kind == "straight" and points:
                far = (0.0, 0.0, math.dist(points[0], points[-1]))
            a = m.port(element, "a", f"{pipe.id} {i} a", "SINK", system, (0, 0, 0))
            b = m.port(element, "b", f"{pipe.id} {i} b", "SOURCE", system, far)
            self.nested.append((element, [a, b]))
            m.serves(service, system, element)
            if last is not None:
                m.join(last, a)
            last = b
        end = self.ports.get(pipe.end)
        if last is not None and end is not None:
            m.join(last, end)
        self._told(drawn, pipe, laid, service, outside)

    def _straight(self, pipe: Pipe, key: str, points: tuple[Point, ...], outside: float,
                  inner: float) -> Any:  # fmt: skip
        m = self.model
        if not points:  # a tube at the stalls, drawn nowhere
            return m.element("IfcPipeSegment.FLEXIBLESEGMENT", key, pipe.id, self._at(0, 0, 0),
                             tag=pipe.id)  # fmt: skip
        a, b = points
        long = math.dist(a, b)
        up = _unit(a, b)
        east: Point = (1.0, 0.0, 0.0) if abs(up[0]) < 0.5 else (0.0, 1.0, 0.0)
        place = m.place(a, m.ground, up, east)
        element = m.element("IfcPipeSegment.RIGIDSEGMENT", key, pipe.id, place,
                            [m.tube(outside, outside - inner, long)], tag=pipe.id)  # fmt: skip
        m.quantities(element, "Qto_PipeSegmentBaseQuantities", {"Length": round(long, 4)})
        return element

    def _told(self, drawn: list[Any], pipe: Pipe, laid: Laid, service: str,
              outside: float) -> None:  # fmt: skip
        first, *rest = [e for e in drawn if e.is_a("IfcPipeSegment")]
        self.model.properties(first, "Pset_PipeSegmentTypeCommon", {
            "Reference": pipe.id, "InnerDiameter": pipe.bore_mm / 1000,
            "OuterDiameter": round(2 * outside, 4)}, rest)  # fmt: skip
        self.model.properties(first, "byrewright_Pipe", {
            "tag": pipe.id, "service": service, "from": pipe.start, "to": pipe.end,
            "bore_mm": pipe.bore_mm, "length_of_whole_m": pipe.length_m,
            "length_is": pipe.length_from, "rise_m": pipe.rise_m, "bends": laid.bends},
            [e for e in drawn if e != first])  # fmt: skip


def _tags(pipe: Pipe) -> tuple[str, str]:
    return pipe.start.partition(".")[0], pipe.end.partition(".")[0]


def _figures(machine: Machine) -> dict[str, Any]:
    """The figures of a machine's plate, by the names they have in the plant file."""
    found: dict[str, Any] = {}
    for one in machine.parameters():
        value = getattr(machine, one.name)
        if one.name not in NOT_FIGURES and isinstance(value, bool | int | float | str):
            found[one.name] = value
    return found


def _unit(a: Point, b: Point) -> Point:
    long = math.dist(a, b)
    x, y, z = ((q - p) / long for p, q in zip(a, b, strict=True))
    return x, y, z


def _off(p: Point, a: Point) -> Point:
    return p[0] - a[0], p[1] - a[1], p[2] - a[2]


def _pieces(points: tuple[Point, ...], radius: float) -> list[tuple[str, tuple[Point, ...]]]:
    """Straight pieces and square bends of a way: each bend takes its radius off both its sides, or
    what the shorter one has."""
    found: list[tuple[str, tuple[Point, ...]]] = []
    if len(points) < 2:
        return found
    here = points[0]
    for i, (a, b) in enumerate(pairwise(points)):
        if i + 2 == len(points):
            found.append(("straight", (here, b)))
            break
        c = points[i + 2]
        take = min(radius, 0.45 * math.dist(a, b), 0.45 * math.dist(b, c))
        back, on = _unit(b, a), _unit(b, c)
        first: Point = (b[0] + back[0] * take, b[1] + back[1] * take, b[2] + back[2] * take)
        after: Point = (b[0] + on[0] * take, b[1] + on[1] * take, b[2] + on[2] * take)
        found += [("straight", (here, first)), ("bend", (first, b, after))]
        here = after
    return found


def _arc(bend: list[Point]) -> list[Point]:
    """Begin, middle and end of the quarter circle that touches both sides of a square bend."""
    a, corner, b = bend
    share = 1 - math.sqrt(0.5)
    middle = [a[i] + b[i] - corner[i] for i in range(3)]  # the circle's own middle
    x, y, z = (corner[i] + (middle[i] - corner[i]) * share for i in range(3))
    return [a, (x, y, z), b]
