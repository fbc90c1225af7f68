"""Lists for the people who work with the plant: hands, signals, upkeep, and a small plan."""

from __future__ import annotations

import math
import re

from byrewright.documents.format import words
from byrewright.documents.ink import ACCENT, INK, PAPER, QUIET, text_width_mm
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import letters_svg, n, rect_svg, sheet_svg
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve, Pulsates, Senses
from byrewright.plant.sited import Sited, sited
from byrewright.plant.upkeep import every, intervals
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.words import said

EDGE_MM = 0.6
"""Room for the outermost line of a small plan."""
SMALL_MM = (50.0, 37.0)
NAME_MM = 4.2
"""A room less deep on the small plan bears no name."""
BINARY = ("position", "presence")
"""What a sensor measures that is a contact, not a value."""


def by_hand(plant: Plant, mode: str) -> list[tuple[str, str, str]]:
    """Tag, name and position of every valve that people turn, in a mode."""
    return [
        (one.id, one.title, said(stands))
        for one in plant.equipment.values()
        if _hand(one) and (stands := plant.position(mode, one.id))
        and plant.states(mode, one.id)
    ]  # fmt: skip


def _hand(one: Machine) -> bool:
    return isinstance(one, IsValve) and one.moved_by == "hand"


def differs_by_hand(plant: Plant, usual: str) -> list[tuple[str, str]]:
    """For each other mode what people turn, seen from the mode that is usual."""
    found = []
    for name in plant.modes:
        turns = [
            f"{one.id} {said(str(plant.position(name, one.id)))}"
            for one in plant.equipment.values()
            if _hand(one) and plant.position(usual, one.id) != plant.position(name, one.id)
        ]
        if name != usual:
            found.append((words(name), ", ".join(turns) or "nothing by hand"))
    return found


def alarm_rows(plant: Plant) -> list[tuple[str, str, str]]:
    """What one sees, which failures it may be, and what to do; alike machines share a row."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for one in plant.equipment.values():
        for way in one.failures():
            if way.seen and way.do:
                found.setdefault((way.seen, way.way, way.do), []).append(one.id)
    return [(seen, f"{_some(tags)}: {way}", do) for (seen, way, do), tags in found.items()]


def _some(tags: list[str], most: int = 4) -> str:
    more = f" and {len(tags) - most} more" if len(tags) > most else ""
    return ", ".join(tags[:most]) + more


def upkeep_rows(
    plant: Plant, rules: Rulebook, most_days: float | None = None
) -> list[tuple[str, str, str]]:
    """What is due, on which machines, and how often; those due soonest first.

    With `most_days` only what comes round by the calendar within so many days.
    """
    found: dict[tuple[float, str, str], list[str]] = {}
    for one in plant.equipment.values():
        for item in one.upkeep():
            days, hours = item.every_days, item.every_h
            often = every(intervals(one, item, rules))
            if most_days is not None and (days is None or days > most_days):
                continue
            rank = days if days else (hours or 0.0) / 10
            found.setdefault((rank, item.what, often), []).append(one.id)
    return [
        (what.capitalize(), _some(tags, 6), often)
        for (_, what, often), tags in sorted(found.items())
    ]


def upkeep_by_interval(
    plant: Plant, rules: Rulebook, most_days: float
) -> list[tuple[str, list[str]]]:
    """What comes round by the calendar within so many days, by interval."""
    found: dict[str, list[str]] = {}
    for what, tags, often in upkeep_rows(plant, rules, most_days):
        one = plant.equipment[tags.split(",")[0].split(" ")[0]]
        found.setdefault(often, []).append(f"{one.title} {tags}: {what[:1].lower()}{what[1:]}")
    return list(found.items())


def input_output(plant: Plant) -> list[tuple[str, str, str, int, str]]:
    """Every signal between plant and controller: tag, signal, sort, count, controller."""
    rows: list[tuple[str, str, str, int, str]] = []
    for one in plant.equipment.values():
        to = ", ".join(one.controlled_by)
        if isinstance(one, Senses):
            sort = "digital input" if one.measures in BINARY else "analogue input"
            rows.append((one.id, f"{one.measures} on {one.on}", sort, one.count, to))
        elif isinstance(one, IsValve):
            if one.sensed:
                rows.append((one.id, "position seen, each end", "digital input", 2 * one.count, to))
            if one.moved_by != "hand":
                rows.append((one.id, f"moved by {one.moved_by}", "digital output", one.count, to))
        elif one.controlled_by and "runs" in one.states():
            rows.append((one.id, "run", "digital output", one.count, to))
            if not isinstance(one, Pulsates):  # a magnet has no contactor that tells or trips
                rows.append((one.id, "runs, and tripped", "digital input", 2 * one.count, to))
            if (
                getattr(one, "speed", "") == "variable"
                or getattr(one, "control", "") == "level_led"
            ):
                rows.append((one.id, "speed", "analogue output", one.count, to))
    return rows


def _spot(plant: Plant, made: Sited, tag: str) -> tuple[float, float] | None:
    """Where a machine is: its own place, that of what it sits on, or where its pipe ends at it."""
    one = plant.equipment.get(tag)
    host = one.on if isinstance(one, Senses) else tag
    body = made.plan.bodies.get(host)
    if body is not None:
        return body.x, body.y
    for pipe in plant.pipes_at(host):
        laid = made.laid.get(pipe.id)
        if laid is not None and laid.points:
            end = laid.points[0 if pipe.start.startswith(f"{host}.") else -1]
            return end[0], end[1]
    return None


def small_plan(plant: Plant, tag: str) -> str:
    """A small plan with one machine marked; "" where the plan has no place for it."""
    made = sited(plant)
    spot = None if made is None else _spot(plant, made, tag)
    if made is None or spot is None:
        return ""
    plan = made.plan
    rooms = [r for r in plan.rooms.values() if not r.open or r.holds(*spot)]
    west, south = min(r.x for r in rooms), min(r.y for r in rooms)
    east, north = max(r.x2 for r in rooms), max(r.y2 for r in rooms)
    wide, tall = SMALL_MM
    k = min((wide - 2 * EDGE_MM) / (east - west), (tall - 2 * EDGE_MM) / (north - south))

    def at(x: float, y: float) -> tuple[float, float]:
        return EDGE_MM + (x - west) * k, EDGE_MM + (north - y) * k

    parts = [rect_svg(0, 0, wide, tall, PAPER)]
    for room in rooms:
        x, y = at(room.x, room.y2)
        parts.append(rect_svg(x, y, room.w * k, room.d * k, "none", 0.3))
        middle = (x + room.w * k / 2, y + room.d * k / 2)
        if room.w * k > 8 and room.d * k > NAME_MM and math.dist(middle, at(*spot)) > 8:
            parts.append(letters_svg(Letters(middle[0], middle[1] + 0.8, room.name, 2.2,
                                             colour=QUIET)))  # fmt: skip
    if plan.deck.rotary:
        x, y = at(0, 0)
        for radius in (plan.deck.edge_radius_m, plan.deck.inner_radius_m):
            parts.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(radius * k)}" fill="none" '
                         f'stroke="{INK}" stroke-width="0.3"/>')  # fmt: skip
    x, y = at(*spot)
    parts.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="1.6" fill="{ACCENT}"/>')
    parts.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="3.2" fill="none" stroke="{ACCENT}" '
                 'stroke-width="0.5"/>')  # fmt: skip
    right = x <= wide / 2
    width = text_width_mm(tag, 3.2) * 1.1
    left = x + 3.9 if right else x - 3.9 - width
    parts.append(rect_svg(left, y - 1.9, width, 3.6, PAPER))
    parts.append(letters_svg(Letters(left + width / 2, y + 1.0, tag, 3.2, bold=True)))
    return sheet_svg(wide, tall, "\n".join(parts))


def named(plant: Plant, words_: str) -> str:
    """Words with a machine's name beside its tag, where they begin with one or end in one."""
    parts = words_.split(" ")
    for at in (0, -1):
        one = plant.equipment.get(parts[at].rstrip(".,"))
        if one is not None:
            name = f"{one.measures} sensor of {one.on}" if isinstance(one, Senses) else one.title
            parts[at] = f"{name[:1].upper() + name[1:] if at == 0 else name} ({parts[at]})"
            break
    return " ".join(parts)


def told_by_name(plant: Plant, text: str) -> str:
    """Words with what each machine is behind its tag, for who does not know the tags by heart;
    each the first time only."""
    told = set[str]()

    def name(found: re.Match[str]) -> str:
        one = plant.equipment.get(found[0])
        if one is None or one.id in told:
            return found[0]
        told.add(one.id)
        title = f"{one.measures} sensor of {one.on}" if isinstance(one, Senses) else one.title
        return f"{found[0]} ({title[:1].lower()}{title[1:]})"

    return re.sub(r"[\w-]+", name, text)


def numbered(text: str) -> list[str]:
    """The steps of "1. a 2. b"."""
    return [s for s in re.split(r"(?:^|\s)\d+\.\s", text) if s.strip()]
