"""The fitter's papers: sketch of each line with numbered joints, and the pipes by room."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from byrewright.documents.format import drawn_system
from byrewright.documents.ink import INK, PAPER, QUIET, ink_of, text_width_mm
from byrewright.documents.lengths import bores, cut_mm, level, measure, told
from byrewright.documents.plan_canvas import LEAST_MM, Canvas, Flat
from byrewright.documents.plan_parts import FIELD
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import n, rule_svg
from byrewright.place.model import Laid, Plan, Point, Route
from byrewright.place.pieces import Joint, Made, Piece
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.sited import Sited
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.pipework import SERVICES, lines_of, on_round_m, span_m

Row = tuple[str | float | int, ...]
COLUMNS, ROWS = 3, 3
"""Sketches on a sheet, across and down."""
TITLE_MM, TABLE_ROWS, TABLE_MM = 9.5, 6, 3.3
TABLE_SIZE_MM, MARK_MM = 2.5, LEAST_MM
"""Letters of a sketch's list (7 points), and beside its line."""
COS30, SIN30 = math.cos(math.radians(30)), 0.5
FALLS = {"milk": "wash_slope_pct", "wash": "wash_slope_pct", "vacuum": "airline_slope_pct"}
"""What a line must fall by, by service; drains by their size."""
EMPTY = {"milk", "wash", "vacuum", "drain"}


def fall_pct(service: str, bore_mm: float, rules: Rulebook) -> float:
    """Least fall of a line, %; 0 where none is asked."""
    if service == "drain":
        small = bore_mm <= 65
        return rules.number("place.drain_slope_small_pct" if small else "place.drain_slope_pct")
    return rules.number(f"place.{FALLS[service]}") if service in FALLS else 0.0


# sketches -------------------------------------------------------------------------------------


def sketch_groups(plant: Plant, made: Sited) -> list[list[Made]]:
    """The lines of each sheet of sketches, nine a sheet."""
    every, each = lines_of(plant, made), COLUMNS * ROWS
    return [every[i : i + each] for i in range(0, len(every), each)]


def shown_services(group: Sequence[Made]) -> str:
    """The services of a group of lines, in words."""
    found = sorted({m.route.service for m in group}, key=SERVICES.index)
    return ", ".join(ink_of(s).word for s in found)


def sketches(plant: Plant, made: Sited, group: Sequence[Made]) -> tuple[list[Canvas], list[str]]:
    """Sketches of a group of lines, each in a field of its own."""
    wide, tall = (FIELD[2] - FIELD[0]) / COLUMNS, (FIELD[3] - FIELD[1]) / ROWS
    views = [
        _sketch(plant, made.plan, one, FIELD[0] + wide * (i % COLUMNS),
                FIELD[1] + tall * (i // COLUMNS), wide - 3.0, tall - 3.0)
        for i, one in enumerate(group)
    ]  # fmt: skip
    mm = "" if drawn_system() == "US" else ", in mm,"
    return views, [
        f"Not to scale: lengths as written{mm} are pipe to cut: bends' take-outs are off, those "
        "of valves are not.",
        "East runs right and down, north right and up, at 30 degrees. Dots: joints. Diamonds: "
        "machines in line.",
        "Double strokes: supports. Arrow: flow. Close: no pipe between; where two square bends "
        "do not fit, an offset of part bends.",
        "A supplier's valve or union may be longer or shorter: measure before the last cut.",
    ]


def _turned(p: Point) -> Flat:
    """A point seen from the south-west and above, axes at 30 degrees: east to the right and
    down, north to the right and up."""
    return (p[0] + p[1]) * COS30, p[2] + (p[1] - p[0]) * SIN30


def _drawn(made: Made) -> list[Flat]:
    """Where each joint is drawn: directions true, long pieces shortened."""
    at: list[Point] = [(0.0, 0.0, 0.0)]
    for piece in made.pieces:
        long = max(1e-6, math.dist(piece.start.at, piece.end.at))
        shown = 0.45 + 0.8 * long**0.6
        way = [(b - a) / long * shown for a, b in zip(piece.start.at, piece.end.at, strict=True)]
        x, y, z = (c + w for c, w in zip(at[-1], way, strict=True))
        at.append((x, y, z))
    return [_turned(p) for p in at]


def _sketch(
    plant: Plant, plan: Plan, made: Made, left: float, top: float, wide: float, tall: float
) -> Canvas:  # fmt: skip
    spots = _drawn(made)
    under = min(TABLE_ROWS, math.ceil(len(made.pieces) / 3)) * TABLE_MM + 2 * TABLE_MM + 2.0
    field = (left + 12, top + TITLE_MM + 4, wide - 24, tall - TITLE_MM - under - 8)
    low = (min(x for x, _ in spots), min(y for _, y in spots))
    high = (max(x for x, _ in spots), max(y for _, y in spots))
    scale = math.ceil(max((high[0] - low[0]) / field[2], (high[1] - low[1]) / field[3], 0.04)
                      * 1000)  # fmt: skip
    view = Canvas((low[0], low[1], max(high[0], low[0] + 0.01), max(high[1], low[1] + 0.01)),
                  *field, scale=scale, form="sketch")  # fmt: skip
    ink = ink_of(made.route.service)
    for piece in made.pieces:
        view.pipe([spots[piece.start.number - 1], spots[piece.end.number - 1]], ink, piece.pipe)
    _frame(view, plant, plan, made, left, top, wide, tall)
    first = top + tall - under + 1.5
    view.taken.append((left, first - TABLE_SIZE_MM - 0.6, left + wide, first))  # clear of the list
    _marks(view, plan, made, spots)
    _table(view, plant, made, left, first, wide)
    return view


def _frame(
    view: Canvas, plant: Plant, plan: Plan, made: Made, left: float, top: float, wide: float,
    tall: float,
) -> None:  # fmt: skip
    right, low = left + wide, top + tall
    corner = ((left, top), (right, top), (right, low), (left, low), (left, top))
    view.over.append(rule_svg(corner, 0.15, QUIET))
    route = made.route
    bore_mm = sorted({p.bore_mm for p in plant.pipes if p.id in route.lines})
    name = f"{_span(route.lines)}  {ink_of(route.service).word} {bores(bore_mm)}"
    _line(view, left + 1.5, top + 3.8, _cut(name, wide - 3, 2.6), 2.6, bold=True)
    where = "under the deck, turns with it" if route.frame == "deck" else _rooms(plan, route)
    ends = f"{made.joints[0].tag} to {made.joints[-1].tag}; {where}"
    _line(view, left + 1.5, top + 7.4, _cut(ends, wide - 3, 2.2), 2.2, colour=QUIET)


def _span(lines: Sequence[str]) -> str:
    return lines[0] if len(lines) == 1 else " + ".join(lines)


def _cut(text: str, wide: float, size: float) -> str:
    most = int(wide / text_width_mm("x", size) / 1.04)
    return text if len(text) <= most else text[: most - 2] + ".."


def _rooms(plan: Plan, route: Route) -> str:
    names = []
    for p in route.points:
        room = plan.room_at(p[0], p[1])
        name = room.name if room is not None else "outside"
        if name not in names:
            names.append(name)
    return " - ".join(names)


def _line(view: Canvas, x: float, y: float, text: str, size: float, *, bold: bool = False,
          colour: str = INK) -> None:  # fmt: skip
    """A line of text at a place of the sheet, from its left end."""
    wide = text_width_mm(text, size) * (1.04 if bold else 1.0)
    view.taken.append((x, y - size * 0.75, x + wide, y + 0.2))
    view.letters.append(Letters(x + wide / 2, y, text, size, bold=bold, colour=colour))


def _marks(view: Canvas, plan: Plan, made: Made, spots: list[Flat]) -> None:
    """Joints, machines in line, supports, way of flow, high and low point, lengths."""
    there = [view.at(*p) for p in spots]
    for point in made.supports:
        spot = _on(made, there, point)
        if spot is not None:
            _support(view, *spot)
    for joint, (x, y) in zip(made.joints, there, strict=True):
        inner = joint.tag and 1 < joint.number < len(made.joints)
        size = 0.9 if inner else 0.45
        corners = f"{n(x - size)} {n(y)}L{n(x)} {n(y - size)}L{n(x + size)} {n(y)}L{n(x)} " \
                  f"{n(y + size)}"  # fmt: skip
        shape = f'<path d="M{corners}Z" fill="{PAPER}" stroke="{INK}" stroke-width="0.25"/>'
        dot = f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(size)}" fill="{INK}"/>'
        view.over.append(shape if inner else dot)
        view.shut.append((x - size, y - size, x + size, y + size))
    _flow(view, made, there)
    for joint, (x, y) in zip(made.joints, there, strict=True):
        words = [str(joint.number)]
        if joint.tag and 1 < joint.number < len(made.joints):
            words.append(joint.tag)
        if joint.number == made.high.number and made.high.at[2] > made.low.at[2] + 0.02:
            words.append("high")
        if joint.number == made.low.number and made.high.at[2] > made.low.at[2] + 0.02:
            words.append("low")
        for text in (" ".join(words), words[0]):
            if _near(view, x, y, text):
                break
    for run, piece in zip(view.runs, made.pieces, strict=True):
        if piece.cut_m:
            view.beside(run, cut_mm(piece.cut_m * 1000), MARK_MM)


def _near(view: Canvas, x: float, y: float, text: str) -> bool:
    wide = text_width_mm(text, MARK_MM) / 2 + 0.4
    for r in (1.6, 2.6, 3.8, 5.2):
        for step in range(12):
            a = math.pi / 6 * step + math.pi / 12
            px, py = x + math.cos(a) * (r + wide - 0.6), y + math.sin(a) * r
            if view.free_word(px, py, text, MARK_MM):
                return True
    return False


def _on(made: Made, there: list[Flat], point: Point) -> tuple[Flat, Flat] | None:
    """A point of the line on the sheet, and the way that the line runs there."""
    for piece in made.pieces:
        a, b = piece.start.at, piece.end.at
        long = math.dist(a, b)
        if math.dist(a, point) + math.dist(point, b) < long + 1e-4:
            t = min(0.85, max(0.15, math.dist(a, point) / long if long else 0.5))
            p, q = there[piece.start.number - 1], there[piece.end.number - 1]
            way = math.dist(p, q) or 1.0
            return ((p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t),
                    ((q[0] - p[0]) / way, (q[1] - p[1]) / way))  # fmt: skip
    return None


def _support(view: Canvas, at: Flat, way: Flat) -> None:
    (x, y), (ux, uy) = at, way
    for off in (-0.35, 0.35):
        cx, cy = x + ux * off, y + uy * off
        view.over.append(rule_svg(((cx - uy * 1.0, cy + ux * 1.0), (cx + uy * 1.0, cy - ux * 1.0)),
                                  0.2))  # fmt: skip


def _flow(view: Canvas, made: Made, there: list[Flat]) -> None:
    """An arrow head on the longest piece, the way that it flows."""
    piece = max(made.pieces, key=lambda p: (p.length_m, -p.start.number))
    (ax, ay), (bx, by) = there[piece.start.number - 1], there[piece.end.number - 1]
    long = math.dist((ax, ay), (bx, by)) or 1.0
    ux, uy = (bx - ax) / long, (by - ay) / long
    x, y = ax + (bx - ax) * 0.62, ay + (by - ay) * 0.62
    tip = (x + ux * 1.2, y + uy * 1.2)
    left, right = (x - uy * 0.7, y + ux * 0.7), (x + uy * 0.7, y - ux * 0.7)
    points = " ".join(f"{n(p)},{n(q)}" for p, q in (tip, left, right))
    view.over.append(f'<polygon points="{points}" fill="{INK}"/>')


def _table(view: Canvas, plant: Plant, made: Made, left: float, top: float, wide: float) -> None:
    """Cut lengths from joint to joint, and what the line comes to."""
    rows = math.ceil(len(made.pieces) / 3)
    shown = min(rows, TABLE_ROWS)
    size = TABLE_SIZE_MM
    several = len(made.route.lines) > 1
    for i, piece in enumerate(made.pieces[: 3 * shown]):
        x = left + 1.5 + (i // shown) * wide / 3
        y = top + (i % shown) * TABLE_MM
        cut = (
            cut_mm(piece.cut_m * 1000) if piece.cut_m else f"close {cut_mm(piece.length_m * 1000)}"
        )
        words = f"{piece.start.number}-{piece.end.number}"
        words += f" {piece.pipe}" if several else ""
        _line(view, x, y, _cut(f"{words} {cut}", wide / 3 - 1, size), size)
    y = top + shown * TABLE_MM + 0.6
    more = f" ({len(made.pieces) - 3 * shown} more in pieces.csv)" if rows > shown else ""
    service = made.route.service
    bore = max(p.bore_mm for p in plant.pipes if p.id in made.route.lines)
    fall = fall_pct(service, bore, plant.place_rules())
    bends = sum(j.bend for j in made.joints)
    said = f"{told(made.route.length_m)}, cut {told(made.cut_m)}, {_some(bends, 'bend')}, " \
           f"{_some(len(made.supports), 'support')}{more}"  # fmt: skip
    _line(view, left + 1.5, y, _cut(said, wide - 3, size), size)
    low, high = made.low, made.high
    said = f"high {high.number} {level(high.at[2])}, low {low.number} {level(low.at[2])}"
    if fall:
        said += f"; falls {fall:g} % to {low.number}, {empties(made)}"
    _line(view, left + 1.5, y + TABLE_MM, _cut(said, wide - 3, size), size, colour=QUIET)


def _some(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def empties(made: Made) -> str:
    """Where a line that must run empty does so: at its low end, or at a drain in its low point."""
    low = made.low
    for end in (made.joints[0], made.joints[-1]):
        if abs(end.at[2] - low.at[2]) < 0.021:
            return f"empties to {end.tag.partition('.')[0]}"
    return f"drain at {low.tag or low.number}"


# lists ----------------------------------------------------------------------------------------

PIPES = (
    "pipe", "room", "service", "from", "to", "bore mm", "length m", "length is", "cut m", "bends",
    "rise m", "highest m", "lowest m", "supports", "least fall %", "runs empty",
)  # fmt: skip
_LIST_NOTES = (
    "Length: measured, from the plan, or guessed. Cut: bends' take-outs are off. Least fall: "
    "towards where it runs empty.",
    "Levels in {measure} over the operator's floor. Pieces from joint to joint: pieces.csv and the "
    "sketches.",
    "Pressure lines, relief and welding: by qualified people, to local codes.",
)


def list_notes() -> list[str]:
    """What stands in the foot of the list of pipes."""
    return [text.replace("{measure}", measure()) for text in _LIST_NOTES]


PIECES = ("line", "pipe", "from joint", "to joint", "at", "length m", "cut m", "level m")


def pipe_list(plant: Plant, made: Sited) -> list[Row]:
    """Pipes by room, with cut length (bends taken out), high and low point, fall and supports."""
    lines = {tag: one for one in lines_of(plant, made) for tag in one.route.lines}
    rows: list[tuple[str, Row]] = []
    for pipe in plant.pipes:
        laid = made.laid.get(pipe.id)
        if laid is None:
            continue
        room = room_of(made.plan, laid)
        rows.append((room, _pipe_row(plant, pipe, laid, room, lines)))
    return [PIPES, *(row for _, row in sorted(rows, key=lambda r: (r[0], str(r[1][0]))))]


def room_of(plan: Plan, laid: Laid) -> str:
    """The room that holds the middle of a pipe's longest piece."""
    if not laid.points:
        return "at the stalls"
    ends = zip(laid.points, laid.points[1:], strict=False)
    a, b = max(ends, key=lambda p: math.dist(*p), default=(laid.points[0], laid.points[0]))
    over = plan.room_at((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    return over.name if over is not None else "outside"


def _pipe_row(plant: Plant, pipe: Pipe, laid: Laid, room: str, lines: Mapping[str, Made]) -> Row:
    rules = plant.place_rules()
    high = max((p[2] for p in laid.points), default=0.0)
    low = min((p[2] for p in laid.points), default=0.0)
    service = plant.service_of(pipe) or "not stated"
    line = lines.get(pipe.id)
    cut, held = pipe.length_m, 1
    if line is not None:
        cut = math.fsum(p.cut_m for p in line.pieces if p.pipe == pipe.id)
        cut += 0.0 if pipe.length_from != "measured" else pipe.length_m - laid.length_m
        held = sum(_holds(p, laid) for p in line.supports)
        ring = on_round_m(pipe, laid)
        cut += ring
        held += math.ceil(ring / span_m(service, pipe.bore_mm, rules))
    return (
        pipe.id, room, service, pipe.start, pipe.end, pipe.bore_mm, pipe.length_m,
        pipe.length_from, round(max(0.0, cut), 2), laid.bends, round(pipe.rise_m, 2),
        round(high, 2), round(low, 2), held, fall_pct(service, pipe.bore_mm, rules) or "",
        empties(line) if line is not None and service in EMPTY else "",
    )  # fmt: skip


def _holds(point: Point, laid: Laid) -> bool:
    ends = zip(laid.points, laid.points[1:], strict=False)
    return any(math.dist(a, point) + math.dist(point, b) < math.dist(a, b) + 1e-3 for a, b in ends)


def piece_list(plant: Plant, made: Sited) -> list[Row]:
    """Every piece of pipe to cut, from joint to joint of each line's sketch."""
    rows: list[Row] = [PIECES]
    for line in lines_of(plant, made):
        rows += [_piece_row(line, p) for p in line.pieces]
    return rows


def _piece_row(line: Made, p: Piece) -> Row:
    return (line.route.lines[0], p.pipe, p.start.number, p.end.number, _what(p.end), p.length_m,
            p.cut_m, round(p.end.at[2], 3))  # fmt: skip


def _what(joint: Joint) -> str:
    return joint.tag or "bend"
