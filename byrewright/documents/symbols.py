"""Plain symbols for machines, in millimetres; our own shapes, close to general flow-diagram use.

Circles for pumps, bow-ties for valves and rounded shells for vessels follow the general habit of
process flow diagrams (ISO 10628 style, from memory); none is copied from a standard's plate.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from byrewright.documents.shapes import Circle, Fill, Letters, Path, Point, Shape

Draw = Callable[[float, float, str], list[Shape]]


@dataclass(frozen=True, slots=True)
class Symbol:
    """A symbol: natural width and height, whether it may grow taller, how it is drawn."""

    w: float
    h: float
    grows: bool
    draw: Draw


def _arc(cx: float, cy: float, rx: float, ry: float, start: float, end: float) -> list[Point]:
    """Points of an ellipse's arc, degrees clockwise from the right."""
    steps = max(4, round(abs(end - start) / 12))
    angles = [math.radians(start + (end - start) * i / steps) for i in range(steps + 1)]
    return [(round(cx + rx * math.cos(a), 3), round(cy + ry * math.sin(a), 3)) for a in angles]


def _box(x: float, y: float, w: float, h: float, fill: Fill = "paper") -> Path:
    return Path(((x, y), (x + w, y), (x + w, y + h), (x, y + h)), True, fill)


def _pump_liquid(w: float, h: float, position: str) -> list[Shape]:
    r, cy = w / 2, h / 2
    tip = [(r, cy - r), (w, cy), (r, cy + r)]
    return [
        Circle(r, cy, r, "paper"),
        Path(tuple(tip), False, "accent" if position == "runs" else "none"),
    ]


def _pump_gas(w: float, h: float, position: str) -> list[Shape]:
    r, cy = w / 2, h / 2
    k = r * math.cos(math.radians(25))
    s = r * math.sin(math.radians(25))
    shapes: list[Shape] = [Circle(r, cy, r, "paper")]
    shapes += [
        Path(((r - k, cy - s), (w - 0.5, cy - 1))),
        Path(((r - k, cy + s), (w - 0.5, cy + 1))),
    ]
    if position == "runs":
        shapes.append(Circle(r, cy, 1.1, "accent"))
    return shapes


def _bow(w: float, h: float, fill: Fill) -> list[Shape]:
    return [
        Path(((0, 0), (w / 2, h / 2), (0, h)), True, fill),
        Path(((w, 0), (w / 2, h / 2), (w, h)), True, fill),
    ]


def _valve(w: float, h: float, position: str) -> list[Shape]:
    return _bow(w, h, "ink" if position in ("closed", "off") else "paper")


def _valve_three(w: float, h: float, position: str) -> list[Shape]:
    top, half = 5.0, 2.5
    third = Path(
        ((w / 2, half), (w / 2 - half, h), (w / 2 + half, h)),
        True,
        "ink" if position == "to_b" else "paper",
    )
    right: Fill = "ink" if position == "to_c" else "paper"
    return [
        Path(((0, 0), (w / 2, half), (0, top)), True, "paper"),
        Path(((w, 0), (w / 2, half), (w, top)), True, right),
        third,
    ]


def _check(w: float, h: float, position: str) -> list[Shape]:
    return [
        Path(((0, 0), (0, h))),
        Path(((w, 0), (w, h))),
        Path(((0, h), (w, 0))),
        Path(((w * 0.36, h * 0.42), (w * 0.62, h * 0.38), (w * 0.42, h * 0.74)), True, "ink"),
    ]


def _vessel(w: float, h: float, position: str) -> list[Shape]:
    cap = min(3.0, w / 4)
    top = _arc(w / 2, cap, w / 2, cap, 180, 360)
    bottom = _arc(w / 2, h - cap, w / 2, cap, 0, 180)
    return [Path(tuple(top + bottom), True, "paper")]


def _vessel_open(w: float, h: float, position: str) -> list[Shape]:
    level = 2.6
    return [
        Path(((0, 0), (0, h), (w, h), (w, 0)), False, "paper"),
        Path(((0, level), (w, level))),
        Path(((w * 0.3, level + 1.1), (w * 0.7, level + 1.1))),
        Path(((w * 0.4, level + 2.1), (w * 0.6, level + 2.1))),
    ]


def _tank(w: float, h: float, position: str) -> list[Shape]:
    shapes = _vessel(w, h, position)
    x, low = w / 2, h * 0.66
    shapes += [
        Circle(x, 3.2, 1.3, "paper"),
        Path(((x, 4.5), (x, low))),
        Path(((x - 3, low - 1), (x, low), (x + 3, low + 1))),
        Path(((x - 3, low + 1), (x, low), (x + 3, low - 1))),
    ]
    return shapes


def _exchanger(w: float, h: float, position: str) -> list[Shape]:
    lines: list[Shape] = [_box(0, 0, w, h)]
    lines += [
        Path(((w * i / 5, 1.2 if i % 2 else 0), (w * i / 5, h if i % 2 else h - 1.2)))
        for i in range(1, 5)
    ]
    return lines


def _filter(w: float, h: float, position: str) -> list[Shape]:
    return [_box(0, 0, w, h), Path(((w / 2, 0), (w / 2, h)), dashed=True)]


def _trap(w: float, h: float, position: str) -> list[Shape]:
    return [
        *_vessel(w, h, position),
        Circle(w / 2, h * 0.62, w / 5, "paper"),
        Path(((w * 0.25, h * 0.32), (w * 0.75, h * 0.32))),
    ]


def _line(w: float, h: float, position: str) -> list[Shape]:
    r = 1.6
    ring = _arc(w - r, r, r, r, -90, 0) + _arc(w - r, h - r, r, r, 0, 90)
    ring += _arc(r, h - r, r, r, 90, 180) + _arc(r, r, r, r, 180, 270)
    inner = [(x + (1 if x < w / 2 else -1), y + (1 if y < h / 2 else -1)) for x, y in ring]
    return [Path(tuple(ring), True, "paper"), Path(tuple(inner), True)]


def _header(w: float, h: float, position: str) -> list[Shape]:
    return [_box(0, 0, w, h, "ink")]


def _gland(w: float, h: float, position: str) -> list[Shape]:
    return [
        Path(tuple(_arc(w / 2, h / 2, w / 2, h / 2, 0, 360)), True, "paper"),
        Path(((w / 2, 0), (w / 2, h))),
        Path(((w * 0.3, h * 0.3), (w * 0.3, h * 0.7))),
        Path(((w * 0.7, h * 0.3), (w * 0.7, h * 0.7))),
    ]


def _relief(w: float, h: float, position: str) -> list[Shape]:
    shapes = _bow(w, 5, "paper")
    shifted: list[Shape] = [
        Path(tuple((x, y + h - 5) for x, y in s.points), s.closed, s.fill)
        for s in shapes
        if isinstance(s, Path)
    ]
    zig = tuple(
        (w / 2 + (1.3 if i % 2 else -1.3), h - 2.5 - i * (h - 2.5) / 5) for i in range(1, 5)
    )
    return [*shifted, Path(((w / 2, h - 2.5), *zig, (w / 2, 0)))]


def _unit(w: float, h: float, position: str) -> list[Shape]:
    cups: list[Shape] = [
        _box(x, 0, 1.8, h * 0.5) for x in (0.4, w * 0.27 + 0.2, w * 0.55 + 0.2, w - 2.2)
    ]
    claw = Path(((1.3, h * 0.5), (w - 1.3, h * 0.5), (w * 0.68, h), (w * 0.32, h)), True, "paper")
    return [*cups, claw]


def _pulsator(w: float, h: float, position: str) -> list[Shape]:
    y0, y1 = h * 0.68, h * 0.32
    wave = ((1, y0), (2.2, y1), (3.8, y1), (5, y0), (6.4, y0), (7.6, y1), (w - 1, y1))
    return [_box(0, 0, w, h), Path(wave)]


def _heater(w: float, h: float, position: str) -> list[Shape]:
    zig = tuple((2 + (w - 4) * i / 6, h * 0.72 + (1.6 if i % 2 else -1.6)) for i in range(7))
    return [*_vessel(w, h, position), Path(zig)]


def _doser(w: float, h: float, position: str) -> list[Shape]:
    return [
        Circle(w / 2, h / 2, w / 2, "paper"),
        Path(((w * 0.3, h * 0.2), (w * 0.3, h * 0.8))),
        Path(((w * 0.3, h / 2), (w * 0.8, h / 2))),
    ]


def _source(w: float, h: float, position: str) -> list[Shape]:
    return [
        Path(((0, 0), (w - 3, 0), (w, h / 2), (w - 3, h), (0, h)), True, "paper"),
        Path(tuple((1.5 + i, h / 2 + (0.8 if i % 2 else -0.8)) for i in range(6))),
    ]


def _drain(w: float, h: float, position: str) -> list[Shape]:
    return [Path(((0, 0), (w / 2, h), (w, 0))), Path(((0, 0), (w, 0)))]


def _chiller(w: float, h: float, position: str) -> list[Shape]:
    x, y, r = w / 2, h / 2, 3.2
    arms: list[Shape] = [
        Path(
            ((x - r * math.cos(a), y - r * math.sin(a)), (x + r * math.cos(a), y + r * math.sin(a)))
        )
        for a in (math.radians(d) for d in (30, 90, 150))
    ]
    return [_box(0, 0, w, h), *arms, *([Circle(x, y, 1.1, "accent")] if position == "runs" else [])]


def _tanker(w: float, h: float, position: str) -> list[Shape]:
    return [
        _box(0, 2, w * 0.74, h - 4.2),
        _box(w * 0.78, 4, w * 0.22, h - 6.2),
        Circle(w * 0.18, h - 1.5, 1.5, "paper"),
        Circle(w * 0.56, h - 1.5, 1.5, "paper"),
        Circle(w * 0.88, h - 1.5, 1.5, "paper"),
    ]


def _lettered(letter: str) -> Draw:
    def draw(w: float, h: float, position: str) -> list[Shape]:
        return [Circle(w / 2, h / 2, w / 2, "paper"), Letters(w / 2, h / 2 + 1.1, letter, 3.0)]

    return draw


def _boxed(letter: str) -> Draw:
    def draw(w: float, h: float, position: str) -> list[Shape]:
        return [_box(0, 0, w, h), Letters(w / 2, h / 2 + 1.1, letter, 3.0)]

    return draw


def _meter(w: float, h: float, position: str) -> list[Shape]:
    return [Circle(w / 2, h / 2, w / 2, "paper"), Path(((w * 0.3, h * 0.7), (w * 0.72, h * 0.3)))]


def _washer(w: float, h: float, position: str) -> list[Shape]:
    return [_box(0, 0, w, h), Circle(w / 2, h * 0.56, w * 0.3, "paper")]


def _spray(w: float, h: float, position: str) -> list[Shape]:
    return [
        _box(0, h * 0.35, 3, h * 0.3),
        *[Path(((3.6, h / 2), (w, h / 2 + d))) for d in (-3, 0, 3)],
    ]


def _cylinder(w: float, h: float, position: str) -> list[Shape]:
    return [
        _box(0, 0, w * 0.65, h),
        Path(((w * 0.3, 0), (w * 0.3, h))),
        Path(((w * 0.3, h / 2), (w, h / 2))),
    ]


def _gate(w: float, h: float, position: str) -> list[Shape]:
    return [_box(0, 0, w, h), *[Path(((x, 0), (x, h))) for x in (w * 0.25, w * 0.5, w * 0.75)]]


def _flag(w: float, h: float, position: str) -> list[Shape]:
    tip = 2.2
    return [Path(((0, 0), (w - tip, 0), (w, h / 2), (w - tip, h), (0, h)), True, "paper")]


SYMBOLS: Mapping[str, Symbol] = {
    "pump_liquid": Symbol(9, 9, False, _pump_liquid),
    "pump_gas": Symbol(9, 9, False, _pump_gas),
    "valve": Symbol(8, 5, False, _valve),
    "valve_three": Symbol(8, 6.5, False, _valve_three),
    "check": Symbol(7, 5, False, _check),
    "vessel": Symbol(12, 15, True, _vessel),
    "vessel_open": Symbol(14, 13, True, _vessel_open),
    "tank": Symbol(18, 15, True, _tank),
    "exchanger": Symbol(12, 14, True, _exchanger),
    "filter": Symbol(9, 7, False, _filter),
    "trap": Symbol(8, 11, True, _trap),
    "line": Symbol(18, 9, True, _line),
    "header": Symbol(1.4, 8, True, _header),
    "gland": Symbol(10, 8, False, _gland),
    "relief": Symbol(8, 10, False, _relief),
    "unit": Symbol(9, 9, True, _unit),
    "pulsator": Symbol(10, 7, False, _pulsator),
    "heater": Symbol(12, 15, True, _heater),
    "doser": Symbol(7, 7, False, _doser),
    "source": Symbol(11, 7, False, _source),
    "drain": Symbol(7, 4, False, _drain),
    "chiller": Symbol(12, 11, True, _chiller),
    "tanker": Symbol(18, 10, True, _tanker),
    "motor": Symbol(9, 9, False, _lettered("M")),
    "generator": Symbol(9, 9, False, _lettered("G")),
    "supply": Symbol(9, 9, False, _lettered("~")),
    "load_heat": Symbol(9, 9, False, _boxed("H")),
    "sensor": Symbol(7, 7, False, _lettered("T")),
    "board": Symbol(12, 7, False, _boxed("SB")),
    "controller": Symbol(10, 8, False, _boxed("CT")),
    "sounder": Symbol(8, 8, False, _boxed("!")),
    "roller": Symbol(8, 8, False, _meter),
    "deck": Symbol(14, 14, False, _meter),
    "meter": Symbol(8, 8, False, _meter),
    "washer": Symbol(10, 11, True, _washer),
    "spray": Symbol(10, 8, False, _spray),
    "cylinder": Symbol(11, 5, False, _cylinder),
    "gate": Symbol(12, 6, False, _gate),
    "flag": Symbol(12, 5, False, _flag),
    "box": Symbol(12, 9, True, _boxed("")),
}
"""Every symbol by the name a machine kind gives; an unknown name is drawn as a plain box."""


def symbol(name: str) -> Symbol:
    """The symbol of a name, or a plain box."""
    return SYMBOLS.get(name, SYMBOLS["box"])
