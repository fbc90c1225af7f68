"""How much a machine wears in a day, by the day's programme: until its meter was read twice.

Milkings count at the time the farm wants them finished in; what passes through several alike is
shared evenly.
"""

from __future__ import annotations

import math

from byrewright.plant.machine import Machine, Wear
from byrewright.plant.plant import Plant
from byrewright.plant.programme import programme_of
from byrewright.plant.roles import (
    CarriesDeck,
    FiltersMilk,
    GivesMilk,
    MovesMilk,
    Pulsates,
    StandsCows,
    TurnsDeck,
)
from byrewright.standards.rulebook import Rulebook

WORKS = ("runs", "milks", "washes", "pulses")
M_KM = 1000.0


def _works(plant: Plant, machine: Machine, what: str) -> bool:
    return any(
        what in mode.does and plant.position(name, machine.id) in WORKS
        for name, mode in plant.modes.items()
    )


def h_a_day(plant: Plant, rules: Rulebook, machine: Machine) -> float | None:
    """Hours a day that a machine runs by the day's programme; None where it cycles by itself."""
    milks = _works(plant, machine, "milking")
    washes = _works(plant, machine, "wash") or _works(plant, machine, "rinse")
    if _works(plant, machine, "idle") or not (milks or washes):
        return None
    day = programme_of(plant, rules)
    hours = sum(m.target_h for m in day.milkings) if milks else 0.0
    wash_h = sum(s.minutes for s in day.wash.steps) / 60.0
    return hours + (wash_h * day.washes_a_day if washes else 0.0)


def wear_a_day(plant: Plant, rules: Rulebook, machine: Machine, by: Wear) -> float | None:
    """What a machine wears by in a day: starts, pulses, turns, km, litres or cow-milkings of each
    of those alike; None where the programme does not tell it."""
    day = programme_of(plant, rules)
    milking_h = sum(m.target_h for m in day.milkings)
    if by == "cows":
        alike = plant.machines(GivesMilk if isinstance(machine, GivesMilk) else FiltersMilk)
        return day.cows_milked_day / max(1, sum(m.count for m in alike))
    if by == "pulses" and isinstance(machine, Pulsates):
        hours = h_a_day(plant, rules, machine) or milking_h
        return machine.rate_per_min * 60.0 * hours
    if by == "litres" and isinstance(machine, MovesMilk):
        shared = [m for m in plant.machines(MovesMilk)
                  if (m.flow_l_min, m.led_by) == (machine.flow_l_min, machine.led_by)]  # fmt: skip
        return day.milk_l_day / sum(m.count for m in shared)
    if by in ("turns", "km"):
        return _turned(plant, machine, by, milking_h)
    if by == "starts" and h_a_day(plant, rules, machine) is not None:
        return float(len(day.milkings) * _works(plant, machine, "milking") + day.washes_a_day * (
            _works(plant, machine, "wash") or _works(plant, machine, "rinse")))  # fmt: skip
    return None


def _turned(plant: Plant, machine: Machine, by: Wear, milking_h: float) -> float | None:
    deck = plant.first(StandsCows)
    if deck is None:
        return None
    if deck.layout != "rotary":
        return 0.0
    turns = milking_h * 3600.0 * (1.0 - deck.stop_share_pct / 100.0) / deck.turn_s
    if by == "turns":
        return turns
    if deck.rail_radius_m is None or not isinstance(machine, TurnsDeck | CarriesDeck):
        return None
    return turns * 2.0 * math.pi * deck.rail_radius_m / M_KM
