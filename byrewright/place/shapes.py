"""A machine's body and where its ports are, from its kind and rating."""

from __future__ import annotations

from byrewright.place.model import NORMAL, Body, Mouth, Side, Thing
from byrewright.standards.footprints import Footprint

LEFT: dict[str, Side] = {"n": "w", "w": "s", "s": "e", "e": "n"}
"""The side on the left hand of one who stands before the machine and looks at it is its right;
this maps the side a machine faces to the side where its ports begin."""

LOW_M = 0.25
GLAND_PITCH_M = 0.24
GLAND_LOW_M, GLAND_HIGH_M = 0.15, 0.9
"""Pitch of a gland's ports; heights over the pit's floor of its still and its turning side."""


def measures(thing: Thing) -> tuple[float, float, float, float]:
    """Length along the front, depth, height (m) and mass (kg): stated, or by rule."""
    rule = thing.form
    length, depth, height, mass = rule.sized(thing.rating)
    if thing.has_ways:
        length = max(0.4, header_pitch(thing) * len(thing.ports) + 0.1)
    elif thing.count > 1 and rule.sort == "standing":
        length = thing.count * length + (thing.count - 1) * 0.1
        mass *= thing.count
    if rule.sort == "standing" and not thing.can("joins deck"):
        ups = sum(1 for name, _, service in thing.ports if _side(name, thing, service) == "up")
        length = max(length, round(0.2 * ups * 20) / 20)
    if thing.can("joins deck"):
        depth = max(depth, GLAND_PITCH_M * sum(n.startswith("fixed") for n, _, _ in thing.ports))
    if thing.spot.size is not None:
        length, depth, height = thing.spot.size
    if rule.end_on:
        length, depth = depth, length
    if thing.spot.mass_kg:
        mass = thing.spot.mass_kg * (thing.count if rule.sort == "standing" else 1)
    return length, depth, height, mass


def header_pitch(thing: Thing) -> float:
    """Pitch of a header's ways, m: wide enough for the widest pipe on it and a gap."""
    return round(max(0.2, (thing.rating or 50.0) / 1000 + 0.12), 2)


def _side(name: str, thing: Thing, service: str) -> str:
    """Which way a port points, in the machine's own frame."""
    if name in ("drain", "sample"):
        return "front_low"
    if thing.can("joins pipes", "is a valve") and service == "drain":
        return "front"
    if name == "overflow":
        return "front_high"
    return next((side for start, side in thing.form.sides if name.startswith(start)), "up")


def body(thing: Thing, x: float, y: float, z: float, turn: Side, room: str) -> Body:
    """The machine with its footprint's middle at (x, y), base at z, facing `turn`."""
    rule = thing.form
    length, depth, height, mass = measures(thing)
    dx, dy = (length, depth) if turn in ("n", "s") else (depth, length)
    spot = thing.spot
    mouths = _mouths(thing, x, y, z, length, depth, height, turn)
    front, sides, back = clear_room(rule, spot.front_m, spot.sides_m, spot.back_m)
    return Body(
        thing.tag, thing.kind, rule, thing.does, room, x, y, z, dx, dy, height, turn, mass,
        front, sides, back, "fixed", spot.at is not None, spot.size is not None,
        rule.sort in ("hung", "in line"), mouths,
    )  # fmt: skip


def clear_room(
    rule: Footprint, front: float | None, sides: float | None, back: float | None
) -> tuple[float, float, float]:
    """Service space: stated, or 0.9 m in front (the kind's own where it has one), sides, back."""
    stands = rule.sort == "standing"
    return (
        front if front is not None else (rule.front_m or 0.9) if stands else 0.6,
        sides if sides is not None else 0.5 if rule.hot else 0.25 if stands else 0.1,
        back if back is not None else 0.45 if stands else 0.05,
    )


def _mouths(
    thing: Thing, x: float, y: float, z: float, length: float, depth: float, height: float,
    turn: Side,
) -> dict[str, Mouth]:  # fmt: skip
    fx, fy = NORMAL[turn]
    lx, ly = NORMAL[LEFT[turn]]
    by_side: dict[str, list[str]] = {}
    for name, _, service in thing.ports:
        if thing.can("joins deck"):
            side = "front" if name.startswith("fixed") else "back"
        else:
            side = _side(name, thing, service)
            if thing.low and side in ("up", "back_low"):
                side = "back"
        by_side.setdefault(side, []).append(name)
    found: dict[str, Mouth] = {}
    middle = z + height / 2
    for side, names in by_side.items():
        names = sorted(names, key=_order)
        for i, name in enumerate(names):
            u = length / 2 - length * (i + 0.5) / len(names)
            v, way = depth / 2, (fx, fy, 0.0)
            low = z + min(LOW_M, 0.4 * height)
            if side == "up":
                v, way, level = -depth / 4, (0.0, 0.0, 1.0), z + height
            elif side == "front_high":
                level = z + 0.85 * height
            elif side in ("front", "back"):
                level = middle
                v, way = (v, way) if side == "front" else (-depth / 2, (-fx, -fy, 0.0))
            elif side == "front_low":
                level = z + 0.8 if name == "sample" and height > 1 else low
            else:
                v, way = -depth / 2, (-fx, -fy, 0.0)
                level = z + 0.7 * height if side == "back_high" else low
            if thing.can("joins deck"):
                level = z + (GLAND_LOW_M if side == "front" else GLAND_HIGH_M)
                if thing.from_above:
                    level = z + (height if side == "front" else GLAND_LOW_M)
                    way = (0.0, 0.0, 1.0) if side == "front" else way
            datum = middle if thing.form.through else level
            at = (round(x + lx * u + fx * v, 3), round(y + ly * u + fy * v, 3), round(level, 3))
            found[name] = Mouth(at, way, round(datum, 3))
    return found


def _order(name: str) -> tuple[str, int]:
    stem, _, number = name.rpartition("_")
    return (stem, int(number)) if number.isdigit() else (name, 0)
