"""What the hot wash loses on its way round: its return temperature at the end."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.physics.air import slug_air_l_min_free
from byrewright.physics.cleaning import slug_time_s
from byrewright.physics.wash_heat import wash_return_c
from byrewright.plant.roles import CollectsMilk, InjectsAir
from byrewright.results import Remedy
from byrewright.studies.sizing.context import Bench
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import worked


def line_area_m2(bench: Bench) -> float:
    """Wall of the milkline and of every milk and wash pipe, m2."""
    plant = bench.plant
    lines = [(m.bore_mm, m.length_m * m.count) for m in plant.machines(CollectsMilk)]
    lines += [(p.bore_mm, p.length_m) for p in plant.pipes
              if plant.service_of(p) in ("milk", "wash")]  # fmt: skip
    return math.pi * sum(bore / 1000 * length for bore, length in lines)


def wash_air_l_min_free(bench: Bench, duty: Duty) -> float:
    """Free air drawn through the wash on average: at the units, and behind slugs while they run."""
    through = duty.units * bench.number("wash.unit_air_l_min")
    if not bench.plant.machines(InjectsAir):
        return through
    velocity, minutes = bench.number("wash.slug_velocity_m_s"), bench.number("wash.main_min")
    for line in bench.plant.machines(CollectsMilk):
        leg = line.length_m / 2 if line.looped else line.length_m
        open_s = slug_time_s(leg, velocity) * bench.number("wash.slug_count")
        through += (
            slug_air_l_min_free(line.bore_mm, velocity, duty.working_vacuum_kpa,
                                duty.pressure_kpa_abs)
            * min(1.0, open_s / (60 * minutes))
        )  # fmt: skip
    return through


@dataclass(frozen=True, slots=True)
class HotWashEnd:
    """A hot charge at the end of its step, and what it lost heat to."""

    end_c: float
    steel_kg: float
    ua_kw_k: float
    room_c: float
    air_l_min_free: float


def hot_wash_end(
    bench: Bench, duty: Duty, start_c: float, charge_l: float, ambient_c: float
) -> HotWashEnd:
    """A hot charge at its end, from its start and the ambient: for a cold day in sizing, for the
    day as it went in the simulation."""
    n = bench.number
    area = line_area_m2(bench)
    steel = area * n("wash.steel_kg_m2") + duty.units * n("wash.unit_kg")
    surface = area + duty.units * n("wash.unit_area_m2")
    ua = surface * n("wash.line_u_w_m2k") / 1000
    held = bench.plant.site.room_heated_to_c or 0.0
    room = max(held, ambient_c + n("air.building_over_ambient_k"))
    warm = bench.plant.cleaning.rinse_c / 2 + room / 2
    air = wash_air_l_min_free(bench, duty)
    end = wash_return_c(
        start_c, n("wash.main_min"), charge_l, steel, warm, ua, room, air,
        duty.pressure_kpa_abs - duty.working_vacuum_kpa, n("wash.air_wet_share"),
    )  # fmt: skip
    return HotWashEnd(end, steel, ua, room, air)


def end_of_hot_wash(bench: Bench, duty: Duty, hot_l: float) -> None:
    """Judge the return temperature of a hot charge at its end, on a cold day."""
    hot_c, minutes = bench.plant.cleaning.hot_c, bench.number("wash.main_min")
    found = hot_wash_end(bench, duty, hot_c, hot_l, min(bench.plant.site.ambient_c))
    end, steel, ua, room = found.end_c, found.steel_kg, found.ua_kw_k, found.room_c
    air = found.air_l_min_free
    limit = bench.plant.cleaning.end_c
    do = ("" if end >= limit else " Start hotter or with a larger charge, shorten the step, "
                                  "insulate "
          "the lines, or cut the air let in.")  # fmt: skip
    bench.find(
        "wash.end_temperature", "Return temperature at the end of the hot wash", round(end, 1),
        "degC",
        f"On a cold day the {hot_c:.0f} degC wash comes back at about {end:.0f} degC after "
        f"{minutes:g} min (warming {steel:.0f} kg of steel, {ua * 1000:.0f} W/K of bare surface, "
        f"{air:.0f} L/min of air leaving wet); {limit:g} degC is required.{do} An estimate: the "
        "thermometer in the return decides.",
        limit=limit, sense="at_least", allowance=0.05,
        formula="C dT/dt = -UA (T - T_room) - q_wet_air(T), after mixing with m_s of steel",
        inputs=(worked("m_s", "tube walls and clusters", round(steel), "kg"),
                worked("UA", "lines and clusters", round(ua, 3), "kW/K"),
                worked("T_room", "room in the coldest month", room, "degC"),
                worked("q", "mean free air through the wash", round(air), "L/min free"),
                bench.rule("wash.main_min"), bench.rule("wash.steel_kg_m2"),
                bench.rule("wash.unit_kg"), bench.rule("wash.line_u_w_m2k"),
                bench.rule("wash.unit_area_m2"), bench.rule("wash.air_wet_share"),
                bench.rule("wash.slug_count")),
        source="definition", known="derived",
        remedies=_hotter(hot_c, limit - end) if end < limit else (),
    )  # fmt: skip


def _hotter(hot_c: float, short_k: float) -> tuple[Remedy, ...]:
    """A hotter start: of each kelvin at the start about two thirds come back."""
    why = f"it came back {short_k:.1f} K too cold"
    return (Remedy("cleaning", "hot_c", float(math.ceil(hot_c + 1.5 * short_k)), why),)
