"""The plan on paper: general arrangement, dairy block, under the deck. Set-out table beside it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial

from byrewright.documents import plan_cables, plan_pipes, plan_sections, plan_works
from byrewright.documents.format import System, drawn_in, drawn_system
from byrewright.documents.ink import PAPER, QUIET, own_colours
from byrewright.documents.lengths import level, measure, rows_in, told
from byrewright.documents.plan_canvas import LEAST_MM, Area, Canvas, Flat
from byrewright.documents.plan_lists import builders_list, in_rows, works_notes
from byrewright.documents.plan_parts import (
    FIELD,
    draw_deck,
    draw_gullies,
    draw_lanes,
    draw_machines,
    draw_names,
    draw_racks,
    draw_rooms,
    draw_routes,
    draw_stubs,
    draw_tags,
)
from byrewright.documents.plan_tables import table_pages
from byrewright.documents.schematic import BORDER_MM, FOOT_MM, PAGES, Issue, title_block
from byrewright.documents.shapes import Letters
from byrewright.documents.sheets import Sheet
from byrewright.documents.svg import cloud_svg, letters_svg, rect_svg, rule_svg, sheet_svg
from byrewright.documents.typeset import pdf
from byrewright.place.layout import BLOCK
from byrewright.place.model import Body, Plan, Point
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, sited

Drawn = tuple[Sequence[Canvas], Sequence[str]]
"""The views of a sheet and the notes in its foot."""


GENERAL = "P1-"
"""What the key of the general arrangement begins with."""
DXF_UNITS = (
    "plan.dxf is drawn in millimeters, and its header says so: set the units when it is opened."
)
"""What a sheet in feet says of the drawing file beside it."""


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """One sheet of the plan set: key, title, what draws it, and the units that it is in."""

    key: str
    title: str
    draw: Callable[[Plant, Sited], Drawn]
    units: System = "metric"


def plan_sheets(plant: Plant, units: System = "metric") -> tuple[PlanSheet, ...]:
    """The sheets of the plan set that a plant has, the builder's first, since he comes first; none
    where its file has no `place`."""
    made = sited(plant)
    if made is None:
        return ()
    with drawn_in(units):
        return tuple(replace(one, units=units) for one in _sheets(plant, made))


def _sheets(plant: Plant, made: Sited) -> tuple[PlanSheet, ...]:
    rotary = made.plan.deck.rotary
    groups = plan_pipes.sketch_groups(plant, made)
    return (
        PlanSheet("P6-works", "Builder's works: dairy block", plan_works.block),
        PlanSheet("P7-works", "Builder's works: parlour and yard", plan_works.parlour),
        *_tables("B", "Builder's works: list", in_rows(builders_list(plant, made)),
                 works_notes(), 0),
        PlanSheet("P1-plan", "General arrangement", general),
        PlanSheet("P2-block", "Dairy block", block),
        PlanSheet("P3-deck", "Under the deck" if rotary else "Head of the pit", under),
        PlanSheet("P4-across", "Section through the deck" if rotary else "Sections of the parlour",
                  plan_sections.across),
        PlanSheet("P5-along", "Sections of the dairy block", plan_sections.along),
        *(
            PlanSheet(f"S{i:02d}-lines", f"Lines: {plan_pipes.shown_services(group)}",
                      partial(plan_pipes.sketches, group=group))
            for i, group in enumerate(groups, 1)
        ),
        *_tables("F", "Pipes by room", plan_pipes.pipe_list(plant, made),
                 plan_pipes.list_notes(), 1),
        PlanSheet("E1-cables", "Ways of cables", plan_cables.ways),
        *_tables("E", "Cable list", plan_cables.list_rows(plant, made), plan_cables.notes(), -1, 2),
    )  # fmt: skip


def _tables(
    letter: str, title: str, rows: Sequence[Sequence[str | float]], notes: Sequence[str],
    group: int, first: int = 1,
) -> list[PlanSheet]:  # fmt: skip
    """A list, its heads first, as sheets."""
    heads, *cells = rows_in(rows, sizes=True)
    pages = table_pages([str(h) for h in heads], cells, group)
    return [
        PlanSheet(f"{letter}{i}-list", title, partial(_page_of, page, notes))
        for i, page in enumerate(pages, first)
    ]


def _page_of(page: Canvas, notes: Sequence[str], plant: Plant, made: Sited) -> Drawn:
    return [page], notes


def plan_svg(
    plant: Plant, sheet: PlanSheet, *, issue: Issue | None = None, clouds: Collection[str] = ()
) -> str:
    """One sheet as SVG text, A3, in millimetres; `clouds` are tags that a revision moved.

    Raises:
        ValueError: the plant's file has no `place`.
    """
    made = sited(plant)
    if made is None:
        raise ValueError("the plant's file has no `place`, so there is nothing to draw")
    with own_colours(plant.colours.stated()), drawn_in(sheet.units):
        views, notes = sheet.draw(plant, made)
        svg = page_svg(plant, sheet.key, sheet.title, views, notes, issue or Issue())
    boxes = [b.box for t, b in made.plan.bodies.items() if t in clouds and b.frame != "deck"]
    round_them = [cloud_svg(v.area(b)) for v in views for b in boxes if v.holds(b)]
    return svg.replace("</svg>", "\n".join([*round_them, "</svg>"])) if round_them else svg


def page_svg(
    plant: Plant, key: str, title: str, views: Sequence[Canvas], notes: Sequence[str], issue: Issue
) -> str:
    """A sheet's frame, its views, its notes and its title block."""
    width, height = PAGES["A3"]
    left, low, right = BORDER_MM, height - BORDER_MM, width - BORDER_MM
    top = low - FOOT_MM
    frame = ((left, left), (right, left), (right, low), (left, low), (left, left))
    parts = [rect_svg(0, 0, width, height, PAPER), rule_svg(frame, 0.5)]
    for view in views:
        view.faces = plant.place.north if plant.place else "n"
        if view.form == "view":
            view.heading()
        parts += view.svg()
    parts.append(rule_svg(((left, top), (right, top)), 0.35))
    at = left + 4
    if views and views[0].form == "plan":
        parts += [*views[0].scale_bar(left + 8, top + 4), *views[0].north_arrow(left + 69, top + 9)]
        at = left + 78
    if views and views[0].form == "sketch":
        parts += _axes(left + 12, top + 10)
        at = left + 28
    for i, text in enumerate(notes[:5]):
        parts.append(
            letters_svg(Letters(at, top + 4 + 3.2 * i, text, LEAST_MM, "start", colour=QUIET))
        )
    parts += title_block(plant, Sheet(key, title, ()), None, "A3", width, height, issue)
    return sheet_svg(width, height, "\n".join(parts))


def _axes(x: float, y: float) -> list[str]:
    """The three ways of a sketch: east, north and up."""
    parts = []
    for dx, dy, letter in ((5.2, 3.0, "E"), (5.2, -3.0, "N"), (0.0, -6.0, "up")):
        parts.append(rule_svg(((x, y), (x + dx, y + dy)), 0.3))
        parts.append(letters_svg(Letters(x + dx * 1.35, y + dy * 1.2 + 0.7, letter, LEAST_MM)))
    return parts


def _canvas(window: Area, turned: bool = False) -> Canvas:
    left, top, right, bottom = FIELD
    return Canvas(window, left, top, right - left, bottom - top, turned)


def _margin(box: Area, by: float) -> Area:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


# sheets ---------------------------------------------------------------------------------------


def general(plant: Plant, made: Sited) -> Drawn:
    """P1: the whole centre, rooms dimensioned, the large machines named."""
    plan = made.plan
    box = plan.extent()
    turned = box[3] - box[1] > 1.15 * (box[2] - box[0])
    canvas = _canvas(_margin(box, 0.6), turned)
    draw_deck(canvas, plan)
    draw_rooms(canvas, plan)
    draw_racks(canvas, plan)
    draw_gullies(canvas, plan)
    draw_lanes(canvas, plant, plan)
    large = [b for b in plan.bodies.values() if b.dx * b.dy > 1.5 or (not b.hung and b.h > 1.5)]
    draw_machines(canvas, plan, list(plan.bodies.values()), service=False, tags=False)
    if plan.deck.rotary:
        r = plan.deck.edge_radius_m
        at = (-r - 1.0, 0.0) if canvas.turned else (0.0, -r - 1.0)
        canvas.word(*at, _deck_words(plan), LEAST_MM)
        canvas.keep_clear((-r, -r, r, r))
    draw_names(canvas, list(plan.rooms.values()))
    for body in sorted(large, key=lambda b: -b.dx * b.dy):
        canvas.tag(body.box, body.tag, far_mm=6.0)
    _outer_dimensions(canvas, plan)
    _cut_marks(canvas, plan)
    us = drawn_system() == "US"
    note = [
        f"Levels in {measure()} over the operator's floor. Rooms: clear inside. Walls "
        f"{'8 in' if us else '0.2 m'} as drawn.",
        "Machines: typical sizes unless the plant file states them; confirm with the supplier.",
        "Dash-dot: racks under the ceiling. Short dashes: trench. Crossed squares: gullies. "
        "Arrows: the way of the cows.",
        "Structure, drainage and access: by licensed people, to local codes.",
        *([DXF_UNITS] if us else []),
    ]
    return [canvas], note


def _deck_words(plan: Plan) -> str:
    deck = plan.deck
    return (
        f"{deck.stalls} stalls, deck {told(deck.edge_radius_m * 2)} across, "
        f"{level(deck.height_m)}; pit {level(deck.pit_floor_m)}"
    )


def _outer_dimensions(canvas: Canvas, plan: Plan) -> None:
    rooms = plan.rooms
    hall, passage = rooms["hall"], rooms["passage"]
    canvas.dimension((hall.x, hall.y2), (hall.x2, hall.y2), -5.0)
    canvas.dimension((hall.x, hall.y), (hall.x, hall.y2), -5.0)
    if "milk" in rooms:
        milk = rooms["milk"]
        canvas.dimension((passage.x, milk.y2), (passage.x2, milk.y2), -5.0)
        canvas.dimension((milk.x, milk.y2), (milk.x2, milk.y2), -5.0)
    east = plan.extent()[2]  # outside of the tanker's stand and of what stands by the wall
    for name in BLOCK:
        if name in rooms:
            room = rooms[name]
            off = canvas.mm(east - room.x2) + 4.0
            canvas.dimension((room.x2, room.y), (room.x2, room.y2), off)
    if "yard" in rooms:
        yard = rooms["yard"]
        canvas.dimension((yard.x, yard.y), (yard.x2, yard.y), 4.0)


def _cut_marks(canvas: Canvas, plan: Plan) -> None:
    """Where the sections are cut: a stroke and the section's letter at both ends."""
    x1, y1, x2, y2 = plan.extent()
    for cut in plan_sections.cuts_of(plan):
        level = cut.look in ("n", "s")
        for end, out in (((x1, cut.at), -1.0), ((x2, cut.at), 1.0)) if level else (
            ((cut.at, y1), -1.0), ((cut.at, y2), 1.0)
        ):  # fmt: skip
            step = 3.0 * canvas.scale / 1000 * out
            there = (end[0] + step, end[1]) if level else (end[0], end[1] + step)
            canvas.line((end, there), 0.5)
            for far in (0.6, 2.2, 3.8):
                beyond = (there[0] + step * far, there[1]) if level else (
                    there[0], there[1] + step * far)  # fmt: skip
                if canvas.word(*beyond, cut.letter, 2.4, bold=True):
                    break


def block(plant: Plant, made: Sited) -> Drawn:
    """P2: the dairy block with every machine, its service space, doors and gullies."""
    plan = made.plan
    rooms = [r for name, r in plan.rooms.items() if name == "passage" or name in BLOCK]
    bodies = [b for b in plan.bodies.values() if b.room in {r.name for r in rooms}]
    bodies += [b for b in plan.bodies.values() if b.room == "outside"]
    yard = [b.box for b in plan.bodies.values() if b.room == "outside"
            and b.y > min(r.y for r in rooms)]  # fmt: skip
    box = (min(r.x for r in rooms), min(r.y for r in rooms),
           max([max(r.x2 for r in rooms) + 1.0, *(b[2] + 1.0 for b in yard)]),
           max(r.y2 for r in rooms))  # fmt: skip
    canvas = _canvas(_margin(box, 0.5), box[3] - box[1] > box[2] - box[0])
    sub = Plan(plan.scene, plan.deck, {r.name: r for r in rooms}, plan.racks, plan.gullies,
               plan.bodies)  # fmt: skip
    draw_rooms(canvas, sub)
    draw_racks(canvas, Plan(plan.scene, plan.deck, {}, {
        k: r for k, r in plan.racks.items() if k == "main"}, {}, {}))  # fmt: skip
    draw_gullies(canvas, Plan(plan.scene, plan.deck, {}, {}, {
        k: g for k, g in plan.gullies.items() if k in {r.name for r in rooms}}, {}))  # fmt: skip
    bodies = [b for b in bodies if box[0] - 0.5 < b.x < box[2] + 0.5 and box[1] < b.y < box[3]]
    draw_routes(canvas, made, ("fixed",))
    draw_machines(canvas, plan, bodies, service=True, tags=False)
    draw_stubs(canvas, made, {b.tag for b in bodies}, _from_above)
    draw_tags(canvas, bodies)
    draw_names(canvas, rooms)
    canvas.tag_pipes()
    return [canvas], [
        "Dotted: floor kept free for service. Boxes without service space hang on the wall.",
        "A pipe that passes over or under a machine is broken at it; dots: pipes that join it.",
        "Sizes are typical unless stated in the plant file; confirm with the supplier.",
        "Set-out table: middle of each footprint and base level. Levels of pipes: sections, list.",
    ]


def _from_above(p: Point) -> Flat:
    return p[0], p[1]


def under(plant: Plant, made: Sited) -> Drawn:
    """P3: what hangs under the deck, whole and its middle larger; or the head of the pit."""
    plan, deck = made.plan, made.plan.deck
    left, top, right, bottom = FIELD
    if not deck.rotary:
        head = plan.rooms["head"]
        box: Area = (deck.pit_length_m / 2 - 1.0, head.y - 0.6, head.x2 + 0.4, head.y2 + 0.6)
        canvas = _canvas(box)
        canvas.box((head.x, head.y, head.x2, head.y2), 0.45)
        _hung(canvas, made, [b for b in plan.bodies.values() if b.room == "head"], ("fixed",))
        return [canvas], [
            "The pumps stand lower than the pit so that milk runs to them. Levels: sections.",
            "A pipe that passes over or under a machine is broken at it; dots: pipes that join it.",
        ]
    bodies = [b for b in plan.bodies.values() if b.frame == "deck" or b.room == "hall"]
    r = deck.ring_radius_m + 0.6
    reach = 0.5 + max((max(map(abs, b.box)) for b in bodies), default=2.0)
    views: list[Canvas] = []
    for box, at, wide, words in (
        ((-r, -r, r, r), left, 150.0, "the whole, from above"),
        ((-reach, -reach, reach, reach), left + 164.0, right - left - 164.0, "its middle"),
    ):
        view = Canvas(box, at, top, wide, bottom - top - 12, title=words, form="view", north=True,
                      taken=views[0].taken if views else [])  # fmt: skip
        view.circle(0, 0, deck.ring_radius_m, 0.4)
        view.circle(0, 0, deck.pit_radius_m, 0.2, QUIET, (3, 1))
        draw_racks(view, Plan(plan.scene, deck, {}, {
            k: t for k, t in plan.racks.items() if t.trench}, {}, {}))  # fmt: skip
        _hung(view, made, bodies, ("fixed", "deck"))
        views.append(view)
    return views, [
        "Drawn at the deck's datum angle; all but the gland's lower side turn with it. Thick ring: "
        "milkline, pulsator",
        "line and wash line one over another. Dashes: edge of the pit, trench. A pipe that passes "
        "over or under a",
        "machine is broken at it; dots: pipes that join it. Deck drains let out over a gutter.",
        "Pipes below the deck's frame are fixed and lead through the trench. Levels: sections.",
    ]


def _hung(canvas: Canvas, made: Sited, bodies: list[Body], frames: tuple[str, ...]) -> None:
    """Machines with their pipes and tags."""
    draw_routes(canvas, made, frames)
    draw_machines(canvas, made.plan, bodies, service=False, tags=False)
    draw_stubs(canvas, made, {b.tag for b in bodies}, _from_above)
    draw_tags(canvas, bodies)
    canvas.tag_pipes()


def set_out(made: Sited) -> list[tuple[str, str, str, float, float, float, str, str]]:
    """Tag, kind, room, east, north, base level, side faced, and who decided it."""
    rows: list[tuple[str, str, str, float, float, float, str, str]] = []
    for body in sorted(made.plan.bodies.values(), key=lambda b: (b.room, b.tag)):
        if body.form.sort == "none":
            continue
        by = "stated" if body.pinned else "worked out"
        rows.append((body.tag, body.kind.replace("_", " "), body.room, round(body.x, 3),
                     round(body.y, 3), round(body.z, 3), body.turn, by))  # fmt: skip
    return rows


def sheets_pdf(drawings: list[tuple[str, str]]) -> bytes:
    """Sheets (title, SVG text) as one PDF, A3."""
    return pdf("sheets.typ", [{"title": t, "svg": s} for t, s in drawings])
