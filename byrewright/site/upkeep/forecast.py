"""How much machines wear in a day where no meter tells: as watched, simulated or programmed.

Each way gives the same: of a machine and what it wears by, so much a day in one stretch of time
after another (weeks watched, months simulated, one day of the programme). What passes through
several alike is shared evenly by the programme, as it flows by the simulated year.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from byrewright.plant.machine import Machine
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
from byrewright.plant.upkeep import HOURS
from byrewright.site.upkeep.due import Rate, forecast
from byrewright.standards.rulebook import Rulebook

WORKS = ("runs", "milks", "washes", "pulses")
M_KM = 1000.0
PROGRAMME, SIMULATED = "forecast from the day's programme", "forecast by the simulated year"

Worn = Mapping[tuple[str, str], Sequence[float]]
"""By machine and what is counted: so much a day, of each machine of those alike, by stretches."""


def works(plant: Plant, machine: Machine, *whats: str) -> bool:
    """Whether a machine works in any mode that does one of these."""
    return any(
        any(w in mode.does for w in whats) and at_work(plant, name, machine)
        for name, mode in plant.modes.items()
    )


def at_work(plant: Plant, mode: str, machine: Machine) -> bool:
    """Whether a machine works in a mode."""
    return plant.position(mode, machine.id) in WORKS


def hours_of(
    plant: Plant, machine: Machine, milking_h: Sequence[float], wash_h: Sequence[float]
) -> list[float] | None:
    """Hours that a machine runs in some stretches, from those of milking and washing; None where
    it cycles by itself."""
    milks, washes = works(plant, machine, "milking"), works(plant, machine, "wash", "rinse")
    if works(plant, machine, "idle") or not (milks or washes):
        return None
    return [milks * m + washes * w for m, w in zip(milking_h, wash_h, strict=True)]


def with_what_follows(
    plant: Plant, hours: Mapping[str, Sequence[float]], milking_h: Sequence[float]
) -> dict[tuple[str, str], Sequence[float]]:
    """Hours by machine, and what follows from them: pulses, turns and kilometres."""
    found: dict[tuple[str, str], Sequence[float]] = {(k, HOURS): v for k, v in hours.items()}
    deck = plant.first(StandsCows)
    an_hour = 0.0
    if deck is not None and deck.layout == "rotary":
        an_hour = 3600.0 * (1.0 - deck.stop_share_pct / 100.0) / deck.turn_s
    for one in plant.equipment.values():
        if isinstance(one, Pulsates):
            run = hours.get(one.id, milking_h)
            found[one.id, "pulses"] = [one.rate_per_min * 60.0 * h for h in run]
        if deck is None:
            continue
        turns = [an_hour * h for h in milking_h]
        found[one.id, "turns"] = turns
        if not an_hour:
            found[one.id, "km"] = turns
        elif deck.rail_radius_m is not None and isinstance(one, TurnsDeck | CarriesDeck):
            found[one.id, "km"] = [t * 2.0 * math.pi * deck.rail_radius_m / M_KM for t in turns]
    return found


def programmed(plant: Plant, rules: Rulebook) -> Worn:
    """By the day's programme: milkings count at the time the farm wants them finished in."""
    day = programme_of(plant, rules)
    milking = [sum(m.target_h for m in day.milkings)]
    wash = [sum(s.minutes for s in day.wash.steps) / 60.0 * day.washes_a_day]
    hours = {m.id: h for m in plant.equipment.values()
             if (h := hours_of(plant, m, milking, wash)) is not None}  # fmt: skip
    found = with_what_follows(plant, hours, milking)
    for one in plant.equipment.values():
        if one.id in hours:
            found[one.id, "starts"] = [float(
                len(day.milkings) * works(plant, one, "milking")
                + day.washes_a_day * works(plant, one, "wash", "rinse"))]  # fmt: skip
        if isinstance(one, MovesMilk):
            shared = [m for m in plant.machines(MovesMilk)
                      if (m.flow_l_min, m.led_by) == (one.flow_l_min, one.led_by)]  # fmt: skip
            found[one.id, "litres"] = [day.milk_l_day / sum(m.count for m in shared)]
        if isinstance(one, GivesMilk | FiltersMilk):
            alike = plant.machines(GivesMilk if isinstance(one, GivesMilk) else FiltersMilk)
            cows = day.cows_milked_day / max(1, sum(m.count for m in alike))
            found[one.id, "cows"] = [cows]
    return found


def rate_beside(
    tag: str, unit: str, programme: Worn, year: Worn, watched: Worn
) -> tuple[Rate | None, tuple[float, ...]]:
    """So many a day where no meter tells, by the best that does; and the months' shape about 1,
    where the simulated year has one."""
    key = tag, unit
    months: tuple[float, ...] = ()
    told = year.get(key, ())
    mean = sum(told) / len(told) if told else 0.0
    if mean:
        months = tuple(x / mean for x in told)
    if weeks := watched.get(key, ()):
        return forecast(sum(weeks) / len(weeks), "as watched", weeks), ()
    if mean:
        return forecast(mean, SIMULATED), months
    if usual := programme.get(key, ()):
        return forecast(usual[0], PROGRAMME), months
    return None, months
