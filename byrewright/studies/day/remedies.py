"""What would mend a day that does not hold: figures of machines, by the shortfall that was seen."""

from __future__ import annotations

import math

from byrewright.plant.farm import MOST_USUAL_STALLS
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    BringsCows,
    CompressesAir,
    CoolsMilk,
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
HANDS_TURN_SHARE = 0.97
"""Share of a turn that they may fill: a larger deck is then turned slower, for them to keep up (our
choice)."""
SLOWER_AT_LEAST, SLOWER_BY_SHARE = 1.01, 0.2
"""A turn is made this many times as long, and longer by this share of the cows too many that went
round again: small steps, so that the turn stays as fast as it may be (our choice)."""
LARGER_STAGE = 1.05
"""A stage is made larger by this beyond what one day's milk asks: other cows give more at once (our
choice)."""


def sooner(plant: Plant, session: MilkingSession) -> tuple[Remedy, ...]:
    """More stalls; nothing where it is people who set the pace, or where the milking was late only
    as it began behind the work before it. The turn stays what sizing advises for the stalls: a
    faster one sends more cows round twice than the farm wished."""
    share = session.hours / session.target_h
    platform, work = plant.first(StandsCows), plant.work
    routine_s = work.routine_s
    hands_h = len(session.cows) * routine_s / session.operators / 3600
    if platform is None or hands_h > HANDS_SHARE * session.target_h:
        return ()
    if (session.last_off_s - session.begun_s) / 3600 <= session.target_h:
        return ()
    hands_turn_s = platform.stalls * routine_s / session.operators
    if platform.layout == "rotary" and platform.turn_s <= hands_turn_s / HANDS_TURN_SHARE:
        return ()
    step = 2 * platform.rows
    more = min(1.5, max(1.1, share))
    stalls = step * math.ceil(platform.stalls * more / step - 1e-9)
    stalls = min(MOST_USUAL_STALLS, max(stalls, platform.stalls + step))
    if stalls <= platform.stalls:
        return ()
    why = f"{session.name} took {session.hours:.2f} h of {session.target_h:g} h"
    return (Remedy(platform.id, "stalls", float(stalls), why),)


def slower(plant: Plant, again: float) -> tuple[Remedy, ...]:
    """A slower turn, by the share of cows too many that went round again."""
    most = plant.wishes.go_round_share
    if again <= most:
        return ()
    why = f"{100 * again:.1f} % of the cows went round again; {100 * most:g} % is the most"
    times = SLOWER_AT_LEAST + SLOWER_BY_SHARE * (again - most)
    return tuple(
        Remedy(p.id, "turn_s", float(math.ceil(times * p.turn_s)), why)
        for p in plant.machines(StandsCows)
    )


def larger_stage(
    plant: Plant, exchanger: str, reads: tuple[float, float, float | None], wish_c: float
) -> tuple[Remedy, ...]:
    """More heat transfer in a stage that milk leaves too warm: as many times more as its transfer
    units must be, whose logarithm the approach is. None where the cold comes in too warm for it.

    Args:
        exchanger: the engine's name of the stage, `tag.port`.
        reads: milk in, milk out and cold in, degC.
    """
    milk_c, out_c, cold_c = reads
    tag, _, name = exchanger.partition(".")
    cooler = plant.equipment[tag]
    port = cooler.port(name)
    if out_c <= wish_c or cold_c is None or cold_c >= wish_c or milk_c <= out_c or port is None:
        return ()
    assert isinstance(cooler, CoolsMilk)
    stage = next((s for of in port.services if (s := cooler.stage(of))), None)
    if stage is None or not stage.sized_by:
        return ()
    above = milk_c - cold_c
    times = math.log(above / (wish_c - cold_c)) / math.log(above / (out_c - cold_c))
    why = f"milk left at {out_c:.1f} degC where {wish_c:g} is wanted"
    size = next_preferred(LARGER_STAGE * times * stage.size)
    return (Remedy(tag, stage.sized_by, size, why),)


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


THERMOSTAT_K = 2.5
"""By how much a heater may stand under its setting before it counts as not hot again."""


def hotter_heaters(
    plant: Plant, hot: float, heater_c: float, cold_c: float, draw_l: float
) -> tuple[Remedy, ...]:
    """More input where a heater was not hot again; where it was, room for what a wash draws.

    Nothing where heaters were hot and hold more than twice that: size is then not why.
    """
    heaters = plant.machines(HeatsWater)
    if not heaters:
        return ()
    set_c = max(h.set_c for h in heaters)
    if heater_c < set_c - THERMOSTAT_K:
        more = (set_c - cold_c) / max(1.0, heater_c - cold_c)
        why = f"the water stood at {heater_c:.0f} and not at {set_c:g} degC as the wash began"
        return tuple(
            Remedy(h.id, "heater_kw", math.ceil(2 * h.heater_kw * min(2.0, max(1.1, more))) / 2,
                   why)
            for h in heaters
        )  # fmt: skip
    if sum(h.volume_l * h.count for h in heaters) > 2 * draw_l:
        return ()
    why = f"cold water came into the hot: the wash began at {hot:.0f} degC"
    return tuple(Remedy(h.id, "volume_l", next_preferred(1.25 * h.volume_l), why) for h in heaters)


def rinsed_last(plant: Plant, last: str) -> tuple[Remedy, ...]:
    """A plain rinse after a wash that ends with product in the water."""
    why = f"what {last!r} leaves in lines and vessels would go into the next milk"
    return (Remedy("cleaning", "last_step", "last rinse", why),)


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
