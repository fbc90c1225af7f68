"""What would mend a day that does not hold: figures of machines, by the shortfall that was seen."""

from __future__ import annotations

import math

from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    BringsCows,
    CompressesAir,
    HeatsWater,
    KeepsAir,
    MovesMilk,
    StandsCows,
)
from byrewright.results import Remedy
from byrewright.studies.day.record import MilkingSession, Run
from byrewright.studies.sizing.sizes import next_preferred, next_round

HANDS_SHARE = 0.95
"""Share of the time that the routine alone may fill before people, not stalls, set the pace."""


def sooner(plant: Plant, bout: MilkingSession) -> tuple[Remedy, ...]:
    """More stalls; nothing where it is people who set the pace. The turn stays what sizing advises
    for the stalls: a faster one sends more cows round twice than the farm wished."""
    share = bout.hours / bout.target_h
    platform, work = plant.first(StandsCows), plant.work
    routine_s = work.prepare_s + work.attach_s + work.spray_s + work.other_s
    hands_h = len(bout.cows) * routine_s / bout.operators / 3600
    if platform is None or hands_h > HANDS_SHARE * bout.target_h:
        return ()
    step = 2 * platform.rows
    more = min(1.5, max(1.1, share))
    stalls = step * math.ceil(platform.stalls * more / step - 1e-9)
    why = f"{bout.name} took {bout.hours:.2f} h of {bout.target_h:g} h"
    return (Remedy(platform.id, "stalls", float(max(stalls, platform.stalls + step)), why),)


def roomier(run: Run, tag: str, litres: float) -> tuple[Remedy, ...]:
    """More volume; where much more than the vessel ran over, more flow away from it, too."""
    one = run.plant.equipment.get(tag)
    volume = float(getattr(one, "volume_l", 0.0))
    if one is None or not volume:
        return ()
    need = next_preferred(1.1 * litres / one.count)
    found = [Remedy(tag, "volume_l", need, f"{litres:.0f} L came together in it")]
    if litres > 2 * volume * one.count:
        found += [
            Remedy(p.id, "flow_l_min", next_round(1.25 * p.flow_l_min), f"{tag} fills behind it")
            for p in run.plant.machines(MovesMilk) if p.led_by == tag
        ]  # fmt: skip
    return tuple(found)


def fuller(run: Run, tag: str) -> tuple[Remedy, ...]:
    """Half as much volume again."""
    volume = float(getattr(run.plant.equipment.get(tag), "volume_l", 0.0))
    why = "it ran dry: more must stand in it when the draw begins"
    return (Remedy(tag, "volume_l", next_preferred(1.5 * volume), why),) if volume else ()


def hotter_wash(plant: Plant, hot: float, back: float) -> tuple[Remedy, ...]:
    """More hot water held, so that cold water coming in cools it less; else a hotter start."""
    short = plant.cleaning.end_c - back
    heaters = plant.machines(HeatsWater)
    if short <= 0 or not heaters:
        return ()
    start = hot + 1.15 * short + 0.5
    now, room = plant.cleaning.hot_c - hot, plant.cleaning.hot_c - start
    if now > 0 and room > 0.15 * now:
        why = f"the wash then starts at {start:.0f} and not at {hot:.0f} degC"
        return tuple(
            Remedy(
                h.id, "volume_l", next_preferred(h.volume_l * min(3.0, max(1.2, now / room))), why
            )
            for h in heaters
        )
    why = f"it came back {short:.1f} K too cold"
    return (Remedy("cleaning", "hot_c", math.ceil(plant.cleaning.hot_c + short), why),)


def more_air(plant: Plant, needs: float, bar: float) -> tuple[Remedy, ...]:
    """A larger air receiver and compressors that give more, by the shortfall."""
    why = f"pressure fell to {bar:.1f} bar where {needs:g} are needed"
    stores = [
        Remedy(r.id, "volume_l", next_preferred(
            r.volume_l * min(3.0, 1.1 * (r.lowest_bar - bar) / max(0.1, r.lowest_bar - needs))
        ), why)
        for r in plant.machines(KeepsAir)
    ]  # fmt: skip
    makers = [
        Remedy(c.id, "capacity_l_min_free", next_preferred(1.15 * c.capacity_l_min_free), why)
        for c in plant.machines(CompressesAir)
    ]
    return (*stores, *makers)


def fewer_at_a_time(plant: Plant, cows_h: float, most_min: float) -> tuple[Remedy, ...]:
    """The yard gate set for as many cows as wait no longer than is good."""
    cows = max(5, int(0.92 * cows_h * most_min / 60))
    why = f"brought up {cows} at a time none waits longer than {most_min:.0f} min"
    return tuple(Remedy(g.id, "yard_cows", float(cows), why) for g in plant.machines(BringsCows))
