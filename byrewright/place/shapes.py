"""A machine's body and where its ports are, from its kind and rating."""

from __future__ import annotations

from byrewright.place.model import NORMAL, Body, Mouth, Side, Thing
from byrewright.standards.footprints import Footprint, footprint

LEFT: dict[str, Side] = {"n": "w", "w": "s", "s": "e", "e": "n"}
"""The side on the left hand of one who stands before the machine and looks at it is its right;
this maps the side a machine faces to the side where its ports begin."""

LOW_M = 0.25
GLAND_PITCH_M = 0.24
GLAND_LOW_M, GLAND_HIGH_M = 0.15, 0.9
"""Pitch of a gland's ports; heights over the pit's floor of its still and its turning side."""
THROUGH = frozenset(
    {"milk_pump", "liquid_pump", "plate_cooler", "milk_filter", "water_filter", "header",
     "moisture_trap", "air_dryer", "valve", "sanitary_trap", "ice_bank", "chiller",
     "condensing_unit", "rotary_gland"}
)  # fmt: skip
"""Kinds that liquid passes under pressure: their ports count as one level for lift."""


def measures(thing: Thing) -> tuple[float, float, float, float]:
    """Length along the front, depth, height (m) and mass (kg): stated, or by rule."""
    rule = footprint(thing.kind)
    length, depth, height, mass = rule.sized(thing.rating)
    if thing.kind == "header" or (thing.kind == "valve" and thing.ways == 3):
        length = max(0.4, header_pitch(thing) * len(thing.ports) + 0.1)
    elif thing.count > 1 and rule.sort == "standing":
        length = thing.count * length + (thing.count - 1) * 0.1
        mass *= thing.count
    if rule.sort == "standing" and thing.kind != "rotary_gland":
        ups = sum(1 for name, _, service in thing.ports if _side(name, thing.kind, service) == "up")
        length = max(length, round(0.2 * ups * 20) / 20)
    if thing.kind == "rotary_gland":
        depth = max(depth, GLAND_PITCH_M * sum(n.startswith("fixed") for n, _, _ in thing.ports))
    if thing.spot.size is not None:
        length, depth, height = thing.spot.size
    if thing.kind == "bulk_tank":  # a tank is worked from its end, where the outlet is
        length, depth = depth, length
    return length, depth, height, thing.spot.mass_kg or mass


def header_pitch(thing: Thing) -> float:
    """Pitch of a header's ways, m: wide enough for the widest pipe on it and a gap."""
    return round(max(0.2, (thing.rating or 50.0) / 1000 + 0.12), 2)


def is_through(kind: str) -> bool:
    """Whether liquid passes a kind under pressure, without a free surface."""
    return kind in THROUGH


def _side(name: str, kind: str, service: str) -> str:
    """Which way a port points, in the machine's own frame."""
    if name in ("drain", "sample"):
        return "front_low"
    if kind in ("header", "valve") and service == "drain":
        return "front"
    if name == "overflow":
        return "front_high"
    if name == "outlet" and kind == "bulk_tank":
        return "front_low"
    if kind == "receiver" and name.startswith("milkline"):
        return "back_high"
    if name.startswith("outlet") and kind in ("receiver", "balance_tank", "water_tank",
                                              "wash_trough", "calf_feed"):  # fmt: skip
        return "back_low"
    if kind in ("milk_pump", "liquid_pump") and name == "inlet":
        return "back_low"
    if kind == "tanker_bay" or kind == "water_source":
        return "back_low"
    return "up"


def body(thing: Thing, x: float, y: float, z: float, turn: Side, room: str) -> Body:
    """The machine with its footprint's middle at (x, y), base at z, facing `turn`."""
    rule = footprint(thing.kind)
    length, depth, height, mass = measures(thing)
    dx, dy = (length, depth) if turn in ("n", "s") else (depth, length)
    spot = thing.spot
    mouths = _mouths(thing, x, y, z, length, depth, height, turn)
    front, sides, back = clear_room(rule, spot.front_m, spot.sides_m, spot.back_m)
    return Body(
        thing.tag, thing.kind, room, x, y, z, dx, dy, height, turn, mass,
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
        if thing.kind == "rotary_gland":
            side = "front" if name.startswith("fixed") else "back"
        else:
            side = _side(name, thing.kind, service)
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
            if thing.kind == "rotary_gland":
                level = z + (GLAND_LOW_M if side == "front" else GLAND_HIGH_M)
                if thing.from_above:
                    level = z + (height if side == "front" else GLAND_LOW_M)
                    way = (0.0, 0.0, 1.0) if side == "front" else way
            datum = middle if is_through(thing.kind) else level
            at = (round(x + lx * u + fx * v, 3), round(y + ly * u + fy * v, 3), round(level, 3))
            found[name] = Mouth(at, way, round(datum, 3))
    return found


def _order(name: str) -> tuple[str, int]:
    stem, _, number = name.rpartition("_")
    return (stem, int(number)) if number.isdigit() else (name, 0)
