"""Drawing sheets and figures as SVG text: deterministic, with nothing but lines and letters."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from xml.sax.saxutils import escape

from byrewright.documents.ink import ACCENT, FONT, INK, PAPER, Ink, ink_of
from byrewright.documents.shapes import Circle, Layout, Letters, Placed, Point, Routed, Shape
from byrewright.documents.symbols import symbol

_FILL = {"none": "none", "ink": INK, "paper": PAPER, "accent": ACCENT}
LINE_MM = 0.35
BRIDGE_MM = 0.9


def n(value: float) -> str:
    """A coordinate, short and always the same."""
    return "0" if abs(value) < 0.005 else f"{value:.2f}".rstrip("0").rstrip(".")


def shape_svg(shape: Shape, dx: float = 0.0, dy: float = 0.0) -> str:
    """One shape, moved by (dx, dy) mm."""
    if isinstance(shape, Circle):
        return (
            f'<circle cx="{n(shape.x + dx)}" cy="{n(shape.y + dy)}" r="{n(shape.r)}" '
            f'fill="{_FILL[shape.fill]}" '
            f'stroke="{INK}" stroke-width="{LINE_MM}"/>'
        )
    if isinstance(shape, Letters):
        return letters_svg(shape, dx, dy)
    points = " ".join(f"{n(x + dx)},{n(y + dy)}" for x, y in shape.points)
    tag = "polygon" if shape.closed else "polyline"
    dash = ' stroke-dasharray="1 0.7"' if shape.dashed else ""
    return (
        f'<{tag} points="{points}" fill="{_FILL[shape.fill]}" stroke="{INK}" '
        f'stroke-width="{LINE_MM}" '
        f'stroke-linejoin="round"{dash}/>'
    )


def letters_svg(text: Letters, dx: float = 0.0, dy: float = 0.0) -> str:
    """A line of text."""
    x, y = text.x + dx, text.y + dy
    weight = ' font-weight="bold"' if text.bold else ""
    turn = f' transform="rotate(-90 {n(x)} {n(y)})"' if text.turned else ""
    return (
        f'<text x="{n(x)}" y="{n(y)}" font-family="{FONT}, monospace" '
        f'font-size="{n(text.size_mm)}" '
        f'text-anchor="{text.anchor}" fill="{text.colour or INK}"{weight}{turn}>'
        f"{escape(text.text)}</text>"
    )


def line_svg(points: Iterable[Point], ink: Ink) -> str:
    """A service line in its pattern."""
    path = " ".join(f"{n(x)},{n(y)}" for x, y in points)
    dash = f' stroke-dasharray="{" ".join(n(d) for d in ink.dashes)}"' if ink.dashes else ""
    return (
        f'<polyline points="{path}" fill="none" stroke="{ink.colour}" '
        f'stroke-width="{n(ink.width_mm)}" '
        f'stroke-linejoin="round"{dash}/>'
    )


def rect_svg(x: float, y: float, w: float, h: float, fill: str, stroke: float = 0.0) -> str:
    """A box; with `stroke` > 0 it is outlined in ink of that width (mm)."""
    line = f' stroke="{INK}" stroke-width="{n(stroke)}"' if stroke else ""
    box = f'x="{n(x)}" y="{n(y)}" width="{n(w)}" height="{n(h)}"'
    return f'<rect {box} fill="{fill}"{line}/>'


def rule_svg(points: Iterable[Point], width: float, colour: str = INK) -> str:
    """A plain line of frames, axes and rules."""
    return line_svg(points, Ink("", "", colour, (), width))


def sheet_svg(width: float, height: float, body: str) -> str:
    """A whole SVG file in millimetres."""
    size = f'width="{n(width)}mm" height="{n(height)}mm" viewBox="0 0 {n(width)} {n(height)}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n{body}\n</svg>\n'


Box = tuple[float, float, float, float]
CLOUD_MM, CLOUD_ROOM_MM = 2.2, 1.2
"""Width of a scallop of a revision cloud, and its distance from what it goes round."""


def cloud_svg(box: Box) -> str:
    """A revision cloud round a box: scallops outwards, in the accent."""
    x1, y1, x2, y2 = box[0] - CLOUD_ROOM_MM, box[1] - CLOUD_ROOM_MM, box[2], box[3]
    x2, y2 = x2 + CLOUD_ROOM_MM, y2 + CLOUD_ROOM_MM
    across, down = (max(1, round((b - a) / CLOUD_MM)) for a, b in ((x1, x2), (y1, y2)))
    dx, dy = (x2 - x1) / across, (y2 - y1) / down
    arcs = [f"a {n(dx / 2)} {n(dx / 2)} 0 0 1 {n(dx)} 0"] * across
    arcs += [f"a {n(dy / 2)} {n(dy / 2)} 0 0 1 0 {n(dy)}"] * down
    arcs += [f"a {n(dx / 2)} {n(dx / 2)} 0 0 1 {n(-dx)} 0"] * across
    arcs += [f"a {n(dy / 2)} {n(dy / 2)} 0 0 1 0 {n(-dy)}"] * down
    return (
        f'<path class="cloud" d="M {n(x1)} {n(y1)} {" ".join(arcs)}" '
        f'fill="{ACCENT}" fill-opacity="0.07" stroke="{ACCENT}" stroke-width="0.45"/>'
    )


def arrow_svg(at: Point, to: str, colour: str) -> str:
    """An arrow head whose tip is at `at` (pointing right or down) or just after it (left, up)."""
    x, y = at
    long, half = 2.6, 0.95
    heads = {
        "right": ((x, y), (x - long, y - half), (x - long, y + half)),
        "left": ((x, y), (x + long, y - half), (x + long, y + half)),
        "down": ((x, y), (x - half, y - long), (x + half, y - long)),
        "up": ((x, y), (x - half, y + long), (x + half, y + long)),
    }
    points = " ".join(f"{n(a)},{n(b)}" for a, b in heads[to])
    return f'<polygon points="{points}" fill="{colour}"/>'


def layout_svg(layout: Layout) -> str:
    """The drawing itself, without sheet border, in the layout's own millimetres."""
    parts = [
        f'<g data-pipe="{_attribute(r.pipe)}">{line_svg(r.points, ink_of(r.service))}</g>'
        for r in layout.routed
    ]
    parts += crossings_svg(layout.routed)
    parts += [placed_svg(p) for p in layout.placed]
    for run in layout.routed:
        if run.arrow_at:
            parts.append(arrow_svg(run.arrow_at, run.arrow_to, ink_of(run.service).colour))
        if run.label:
            parts.append(letters_svg(run.label))
    parts += [shape_svg(s) for s in layout.extra]
    parts += [letters_svg(t) for t in layout.letters]
    return "\n".join(parts)


def placed_svg(placed: Placed) -> str:
    """A machine's symbol and words, in a group that carries its tag."""
    shapes = symbol(placed.symbol).draw(placed.w, placed.h, placed.position)
    drawn = "".join(shape_svg(s, placed.x, placed.y) for s in shapes)
    drawn += "".join(letters_svg(t) for t in placed.words)
    return f'<g data-machine="{_attribute(placed.machine)}">{drawn}</g>'


def _attribute(text: str) -> str:
    return escape(text, {'"': "&quot;"})


def crossings_svg(runs: list[Routed]) -> list[str]:
    """Where pipes cross without joining, the upright one gives way."""
    level: list[tuple[int, Point, Point]] = []
    upright: list[tuple[int, Point, Point]] = []
    for i, run in enumerate(runs):
        for a, b in pairwise(run.points):
            (level if a[1] == b[1] else upright).append((i, a, b))
    parts = []
    for i, a, b in level:
        ink = ink_of(runs[i].service)
        for j, c, d in upright:
            if i == j or runs[i].pipe == runs[j].pipe:
                continue
            x, y = c[0], a[1]
            inside = min(a[0], b[0]) + 0.3 < x < max(a[0], b[0]) - 0.3
            if inside and min(c[1], d[1]) + 0.3 < y < max(c[1], d[1]) - 0.3:
                parts.append(rect_svg(x - 0.7, y - BRIDGE_MM, 1.4, 2 * BRIDGE_MM, PAPER))
                parts.append(
                    line_svg(
                        ((x - 1.2, y), (x + 1.2, y)), Ink("", "", ink.colour, (), ink.width_mm)
                    )
                )
    return parts
