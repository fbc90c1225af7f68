"""The electrician's papers: where the cables run, and the cable list."""

from __future__ import annotations

from byrewright.documents.ink import ink_of
from byrewright.documents.lengths import told
from byrewright.documents.plan_canvas import LEAST_MM, Area, Canvas
from byrewright.documents.plan_parts import (
    FIELD,
    draw_deck,
    draw_machines,
    draw_names,
    draw_rooms,
)
from byrewright.place.model import Plan
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited
from byrewright.studies.cables import CABLE_UNITS, CABLES, cable_rows, cables_of

CONFIRM = "Sections, breakers, earthing and grouping: to be confirmed by a licensed electrician."


def ways(plant: Plant, made: Sited) -> tuple[list[Canvas], list[str]]:
    """E1: the plan with every cable's way, and what each ends at."""
    plan = made.plan
    every = cables_of(plant, made)
    ends = [p for c in every for p in c.way.points]
    rooms = [r for r in plan.rooms.values() if not r.open]
    box: Area = (
        min([r.x for r in rooms] + [p[0] for p in ends]) - 1.0,
        min([r.y for r in rooms] + [p[1] for p in ends]) - 1.0,
        max([r.x2 for r in rooms] + [p[0] for p in ends]) + 1.0,
        max([r.y2 for r in rooms] + [p[1] for p in ends]) + 1.0,
    )
    left, top, right, bottom = FIELD
    turned = box[3] - box[1] > box[2] - box[0]
    canvas = Canvas(box, left, top, right - left, bottom - top, turned)
    draw_deck(canvas, plan, quiet=True)
    shown = Plan(plan.scene, plan.deck, {r.name: r for r in rooms}, {}, {}, plan.bodies)
    draw_rooms(canvas, shown)
    ink = ink_of("power")
    for cable in every:
        flat = [(p[0], p[1]) for p in cable.way.points]
        canvas.line(flat, 0.25, ink.colour, (1.5, 1.0) if cable.second else ())
        canvas.circle(*flat[-1], 0.5 * canvas.scale / 1000, 0.2, ink.colour, fill=ink.colour)
    fed = {c.way.tag for c in every} | {c.way.board for c in every}
    bodies = [b for b in plan.bodies.values() if b.tag in fed]
    draw_machines(canvas, plan, bodies, service=False, tags=False)
    for cable in every:  # those with no place of their own
        if cable.way.tag not in plan.bodies and not cable.second:
            x, y, _ = cable.way.points[-1]
            canvas.tag((x - 0.1, y - 0.1, x + 0.1, y + 0.1), cable.way.tag, LEAST_MM)
    for body in sorted(bodies, key=lambda b: -b.dx * b.dy):
        canvas.tag(body.box, body.tag, LEAST_MM)
    draw_names(canvas, rooms)
    return [canvas], [
        "Lines: cables, on a tray beside the pipes at the rack's level, never under them. Dashes: "
        "second supply.",
        *(
            ["Cables to the deck go through the middle of the gland."]
            if plant.able("joins deck")
            else []
        ),
        "Lengths, currents and sections are in the cable list; the single line is a sheet of its "
        "own.",
        CONFIRM,
    ]


def list_rows(plant: Plant, made: Sited) -> list[tuple[str | float, ...]]:
    """The cable list, its heads first."""
    heads = tuple(f"{n} {u}".strip() for n, u in zip(CABLES, CABLE_UNITS, strict=True))
    return [heads, *cable_rows(cables_of(plant, made))]


_NOTES = [
    "Lengths run along the tray, the trench or bridge and down to each machine, {ends} for ends "
    "included.",
    "Drop: u = b (rho L cos phi/S + lambda L sin phi) I over the phase voltage, from the supply "
    "on; at most 5 %",
    "(IEC 60364-5-52 annex G, from memory). Copper; a first guess of each section.",
    CONFIRM,
]


def notes() -> list[str]:
    """What stands in the foot of the cable list."""
    return [text.replace("{ends}", told(2.0, 0)) for text in _NOTES]
