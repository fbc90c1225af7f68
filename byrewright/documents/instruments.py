"""Instruments on the service drawings: a bubble with its letters beside what it sits on."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from byrewright.documents.ink import text_width_mm
from byrewright.documents.shapes import Circle, Layout, Letters, Path, Placed
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import Senses

LETTERS: Mapping[str, str] = {
    "vacuum": "PT", "pressure": "PT", "level": "LT", "flow": "FT", "temperature": "TT",
    "conductivity": "AT", "current": "IT", "speed": "ST", "position": "ZS", "presence": "XS",
}  # fmt: skip
"""Identification letters after ANSI/ISA-5.1 (from memory): the first what is measured, P for
pressure or vacuum, A for analysis, Z for position, X for what has no letter; then T for
transmitter, S for switch."""
RADIUS_MM, LETTER_MM, NUMBER_MM = 2.7, 1.9, 1.7
CAP = 0.73
"""Height of capitals, of the letter size."""
CLEAR_MM = 0.35
FAR_MM = (1.0, 2.2, 3.6, 5.5, 8.0, 11.0)
"""How far a bubble may stand from its machine, nearest first."""
TURNS = 24
Area = tuple[float, float, float, float]


DRIVES: Mapping[str, str] = {"hand": "H", "air": "A", "motor": "M", "vacuum": "V"}
VALVES = (
    "Valve: H hand, A air, M motor, V vacuum; where it usually stands; ZS its position is seen."
)
CIRCLES = "Circle: instrument, letters after ISA-5.1, number of its tag."


def valve_words(valve: Machine) -> str:
    """How a valve is moved, where it usually stands, and whether its position is seen.

    >>> from byrewright.plant.kinds.milk import Valve
    >>> valve_words(Valve(id="V1", moved_by="air", sensed=True, normally="closed"))
    'A closed ZS'
    """
    drive = DRIVES.get(str(getattr(valve, "moved_by", "")), "")
    seen = "ZS" if getattr(valve, "sensed", False) else ""
    return " ".join(w for w in (drive, (valve.usual() or "").replace("_", " "), seen) if w)


def moved_by_air(plant: Plant) -> Iterator[str]:
    """What each store of air moves, in words."""
    for store in plant.able("stores air"):
        moved = [m.id for m in plant.equipment.values() if store.id in m.air_from]
        if moved:
            more = f" and {len(moved) - 12} more" if len(moved) > 12 else ""
            yield f"{store.id} also moves {', '.join(moved[:12])}{more}: see the schedule."


def own_sheet(plant: Plant, one: Senses, home: Mapping[str, str], order: Sequence[str]) -> str:
    """The sheet that shows a sensor: that of the vacuum for a vacuum, else the first of those that
    show its machine; "" where none does."""
    keys = {home[p.id] for p in plant.pipes_at(one.on) if p.id in home}
    if one.measures == "vacuum" and "vacuum" in keys:
        return "vacuum"
    return next((key for key in order if key in keys), "")


def with_instruments(
    plant: Plant, layout: Layout, sheet: str, home: Mapping[str, str], order: Sequence[str]
) -> tuple[str, ...]:
    """Draw the instruments that belong on a sheet; the notes that explain what is drawn.

    Args:
        plant: for its sensors.
        layout: the sheet, all else already on it.
        sheet: its key, or "all".
        home: sheet of each pipe.
        order: the sheets' keys; the first that shows a machine shows its instruments.
    """
    here = [s for s in plant.machines(Senses)
            if sheet in ("all", own_sheet(plant, s, home, order))]  # fmt: skip
    crowded = add_instruments(layout, here)
    room = f" No room for {', '.join(crowded)}." if crowded else ""
    valves = VALVES if any(p.symbol.startswith("valve") for p in layout.placed) else ""
    return tuple(n for n in (f"{CIRCLES}{room}" if here else "", valves) if n)


def add_instruments(layout: Layout, sensors: list[Senses]) -> list[str]:
    """Draw a bubble for each sensor where there is room; the tags of those that found none."""
    taken = list(_taken(layout))
    left = []
    for one in sensors:
        hosts = [p for p in layout.placed if p.machine == one.on and p.symbol != "flag"]
        round_it = (s for host in hosts[:1] for s in _spots(host) if _free(s, host, taken, layout))
        spot = next(round_it, None)
        if spot is None:
            left.append(one.id)
            continue
        _draw(layout, one, hosts[0], spot)
        taken.append(_box(spot))
    return left


def _draw(layout: Layout, one: Senses, host: Placed, spot: tuple[float, float]) -> None:
    x, y = spot
    near = _near(host, spot)
    gap = math.dist(near, spot)
    foot = (x + (near[0] - x) / gap * RADIUS_MM, y + (near[1] - y) / gap * RADIUS_MM)
    number = re.sub(r"\D", "", one.id)
    layout.extra.append(Path((near, foot), dashed=True))
    layout.extra.append(Circle(x, y, RADIUS_MM, "paper"))
    layout.letters.append(
        Letters(x, round(y - 0.25, 2), LETTERS[one.measures], LETTER_MM, bold=True)
    )
    layout.letters.append(Letters(x, round(y + 1.65, 2), number or one.id[:4], NUMBER_MM))


def _spots(host: Placed) -> Iterator[tuple[float, float]]:
    """Middles of bubbles round a symbol, the nearest first."""
    cx, cy = host.x + host.w / 2, host.y + host.h / 2
    for far in FAR_MM:
        for i in range(TURNS):
            turn = -math.pi / 2 + math.pi * 2 * i / TURNS * (1 if i % 2 else -1)
            x = cx + math.cos(turn) * (host.w / 2 + RADIUS_MM + far)
            y = cy + math.sin(turn) * (host.h / 2 + RADIUS_MM + far)
            yield round(x, 2), round(y, 2)


def _near(host: Placed, spot: tuple[float, float]) -> tuple[float, float]:
    """The point of a symbol's box that is nearest to a bubble."""
    return (
        round(min(max(spot[0], host.x), host.x + host.w), 2),
        round(min(max(spot[1], host.y), host.y + host.h), 2),
    )


def _box(spot: tuple[float, float]) -> Area:
    r = RADIUS_MM
    return spot[0] - r, spot[1] - r, spot[0] + r, spot[1] + r


def _free(spot: tuple[float, float], host: Placed, taken: list[Area], layout: Layout) -> bool:
    """Whether a bubble and its leader touch nothing that is drawn."""
    x1, y1, x2, y2 = _box(spot)
    if x1 < 0 or y1 < 0 or x2 > layout.width_mm or y2 > layout.height_mm:
        return False
    if any(_meet((x1, y1, x2, y2), box) for box in taken):
        return False
    a, b = _near(host, spot), spot
    own = (host.x, host.y, host.x + host.w, host.y + host.h)
    steps = max(2, round(math.dist(a, b)))
    points = [(a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps)
              for i in range(1, steps)]  # fmt: skip
    return not any(_meet((x, y, x, y), box) for x, y in points for box in taken if box != own)


def _meet(a: Area, b: Area) -> bool:
    return (a[0] < b[2] + CLEAR_MM and b[0] < a[2] + CLEAR_MM
            and a[1] < b[3] + CLEAR_MM and b[1] < a[3] + CLEAR_MM)  # fmt: skip


def _taken(layout: Layout) -> Iterator[Area]:
    """The space of every symbol, text and piece of pipe."""
    for one in layout.placed:
        yield one.x, one.y, one.x + one.w, one.y + one.h
        yield from (_letters(t) for t in one.words)
    yield from (_letters(t) for t in layout.letters)
    for run in layout.routed:
        for (ax, ay), (bx, by) in pairwise(run.points):
            yield min(ax, bx), min(ay, by), max(ax, bx), max(ay, by)
        if run.label is not None:
            yield _letters(run.label)
        if run.arrow_at is not None:
            x, y = run.arrow_at
            yield x - 2.6, y - 1.0, x + 2.6, y + 1.0


def _letters(text: Letters) -> Area:
    wide, tall = text_width_mm(text.text, text.size_mm), text.size_mm * CAP
    left = {"start": text.x, "middle": text.x - wide / 2, "end": text.x - wide}[text.anchor]
    return left, text.y - tall, left + wide, text.y
