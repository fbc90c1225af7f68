"""The plan as a drawing file (DXF, R2010, millimetres), layers by what is drawn."""

from __future__ import annotations

import io
import math

from byrewright.documents.plan_parts import lanes_of
from byrewright.place.board import WALL_M
from byrewright.place.model import Body, Plan
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited
from byrewright.studies.cables import cables_of

LAYERS: dict[str, int] = {
    "A-WALL": 7, "A-DOOR": 8, "A-YARD": 8, "A-DIMS": 8, "A-TITLE": 7, "S-DECK": 7, "S-PIT": 8,
    "S-PLINTH": 8, "S-GULLY": 8, "M-EQPM": 7, "M-EQPM-TEXT": 7, "M-SERV-SPACE": 9, "P-MILK": 7,
    "P-WASH": 6, "P-VACUUM": 5, "P-WATER": 4, "P-COOLANT": 140, "P-AIR": 42, "P-DRAIN": 8,
    "P-VALV": 1, "P-TEXT": 7, "E-CABLE": 1,
}  # fmt: skip
"""Layers and their colour numbers."""
SERVICE_LAYER = {
    "milk": "P-MILK", "wash": "P-WASH", "vacuum": "P-VACUUM", "water": "P-WATER",
    "coolant": "P-COOLANT", "refrigerant": "P-COOLANT", "air": "P-AIR", "drain": "P-DRAIN",
}  # fmt: skip
MM = 1000.0


def plan_dxf(plant: Plant, made: Sited) -> str:
    """The plan's text; the same plan gives the same text, with no clock or chance in it."""
    from ezdxf import options  # type: ignore[attr-defined]

    was = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        return _text(plant, made)
    finally:
        options.write_fixed_meta_data_for_testing = was


def _text(plant: Plant, made: Sited) -> str:
    """The plan's text: walls, deck, machines with their tags, pipes in space, valves as blocks."""
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.filemanagement import new

    doc = new("R2010", setup=True, units=4)
    for name, colour in LAYERS.items():
        doc.layers.add(name, color=colour)
    block = doc.blocks.new("VALVE")
    block.add_lwpolyline([(-75, -50), (75, 50), (75, -50), (-75, 50)], close=True,
                         dxfattribs={"layer": "P-VALV"})  # fmt: skip
    block.add_attdef("TAG", (0, 80), dxfattribs={"height": 80, "layer": "P-TEXT"})
    space = doc.modelspace()
    plan = made.plan

    def rect(box: tuple[float, float, float, float], layer: str) -> None:
        x1, y1, x2, y2 = (v * MM for v in box)
        space.add_lwpolyline([(x1, y1), (x2, y1), (x2, y2), (x1, y2)], close=True,
                             dxfattribs={"layer": layer})  # fmt: skip

    def text(words: str, x: float, y: float, high: float, layer: str) -> None:
        space.add_text(words, height=high, dxfattribs={"layer": layer}).set_placement(
            (x * MM, y * MM), align=TextEntityAlignment.MIDDLE_CENTER
        )

    for room in plan.rooms.values():
        box = (room.x, room.y, room.x2, room.y2)
        if room.open:
            rect(box, "A-YARD")
        else:
            rect(box, "A-WALL")
            rect((room.x - WALL_M, room.y - WALL_M, room.x2 + WALL_M, room.y2 + WALL_M), "A-WALL")
        text(room.name.upper(), room.x + room.w / 2, room.y2 - 0.4, 250, "A-TITLE")
        for door in room.doors:
            half, side = door.wide_m / 2, door.wall in ("e", "w")
            edge = {"e": room.x2, "w": room.x, "n": room.y2, "s": room.y}[door.wall]
            at = (room.y if side else room.x) + door.at_m
            ends = [(edge, at - half), (edge, at + half)] if side else [
                (at - half, edge), (at + half, edge)]  # fmt: skip
            a, b = ((x * MM, y * MM) for x, y in ends)
            space.add_line(a, b, dxfattribs={"layer": "A-DOOR"})
    for lane in lanes_of(plant, plan):
        x1, y1, x2, y2 = (v * MM for v in lane.box)
        sides = (((x1, y1), (x1, y2)), ((x2, y1), (x2, y2))) if lane.way[1] else (
            ((x1, y1), (x2, y1)), ((x1, y2), (x2, y2)))  # fmt: skip
        for a, b in sides:
            space.add_line(a, b, dxfattribs={"layer": "A-YARD"})
    for cable in cables_of(plant, made):
        space.add_polyline3d([tuple(c * MM for c in p) for p in cable.way.points],
                             dxfattribs={"layer": "E-CABLE"})  # fmt: skip
    margin = plant.place_rules().number("place.plinth_margin_m")
    _deck(space, plan)
    for many in plan.gullies.values():
        for x, y in many:
            rect((x - 0.1, y - 0.1, x + 0.1, y + 0.1), "S-GULLY")
    for body in plan.bodies.values():
        rect(body.box, "M-EQPM")
        if not body.hung and body.front_m > 0:
            rect(body.service_box, "M-SERV-SPACE")
        if stands_on_plinth(plan, body):
            x1, y1, x2, y2 = body.box
            rect((x1 - margin, y1 - margin, x2 + margin, y2 + margin), "S-PLINTH")
        text(body.tag, body.x, body.y, 120, "M-EQPM-TEXT")
    tagged = set(plan.bodies)
    for pipe in plant.pipes:
        laid = made.laid.get(pipe.id)
        if laid is None or len(laid.points) < 2:
            continue
        layer = SERVICE_LAYER.get(plant.service_of(pipe) or "", "P-WATER")
        space.add_polyline3d([tuple(c * MM for c in p) for p in laid.points],
                             dxfattribs={"layer": layer})  # fmt: skip
        tag = pipe.end.partition(".")[0]
        if tag in plant.equipment and tag not in tagged and tag not in spread_tags(plan):
            tagged.add(tag)
            where = tuple(c * MM for c in laid.points[-1])
            one = space.add_blockref("VALVE", where, dxfattribs={"layer": "P-VALV"})
            one.add_auto_attribs({"TAG": tag})
    out = io.StringIO()
    for name in sorted(doc.entitydb.dxf_types_in_use()):
        doc.classes.add_class(name)  # the library would add them in the order of a set
    doc.write(out)
    return out.getvalue()


def stands_on_plinth(plan: Plan, body: Body) -> bool:
    """Whether a machine that runs stands over the floor."""
    if body.hung or body.frame == "deck" or not plan.scene.things[body.tag].power_kw:
        return False
    return body.z > plan.rooms["passage"].floor_m + 0.05


def spread_tags(plan: Plan) -> set[str]:
    """Machines with many places: rings, rows, gullies."""

    return {t for t, g in plan.scene.things.items() if g.form.sort in ("spread", "none")}


def _deck(space: object, plan: Plan) -> None:
    from ezdxf.layouts.layout import Modelspace

    assert isinstance(space, Modelspace)
    deck = plan.deck
    if deck.rotary:
        for r, layer in ((deck.edge_radius_m, "S-DECK"), (deck.inner_radius_m, "S-DECK"),
                         (deck.rail_radius_m, "S-DECK"), (deck.pit_radius_m, "S-PIT")):  # fmt: skip
            space.add_circle((0, 0), r * MM, dxfattribs={"layer": layer})
        for i in range(deck.stalls):
            a = 2 * math.pi * i / deck.stalls
            ends = [(math.cos(a) * r * MM, math.sin(a) * r * MM)
                    for r in (deck.inner_radius_m, deck.edge_radius_m - 0.3)]  # fmt: skip
            space.add_line(ends[0], ends[1], dxfattribs={"layer": "S-DECK"})
        return
    half, mid = deck.pit_length_m / 2 * MM, deck.pit_width_m / 2 * MM
    for y1, y2, layer in ((-mid, mid, "S-PIT"), (mid, mid + deck.row_depth_m * MM, "S-DECK"),
                          (-mid - deck.row_depth_m * MM, -mid, "S-DECK")):  # fmt: skip
        space.add_lwpolyline([(-half, y1), (half, y1), (half, y2), (-half, y2)], close=True,
                             dxfattribs={"layer": layer})  # fmt: skip
