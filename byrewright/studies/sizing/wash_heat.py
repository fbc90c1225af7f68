"""What the hot wash loses on its way round: its return temperature at the end."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.engine.rows import levels_l
from byrewright.engine.washing import wash_circuit
from byrewright.physics.wash_heat import wash_return_c
from byrewright.plant.primitives import Vessel
from byrewright.plant.roles import BalancesMilk
from byrewright.results import Remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import worked


@dataclass(frozen=True, slots=True)
class HotWashEnd:
    """A hot charge at the end of its step, and what it lost heat to."""

    end_c: float
    steel_kg: float
    ua_kw_k: float
    room_c: float
    air_l_min_free: float
    left_l: float
    left_c: float


def _left_l(ctx: StudyContext) -> float:
    """What the rinse before leaves in balance tanks, below the level at which their pumps stop."""
    return sum(
        levels_l(vessel, vessel.volume_l)[1]
        for tank in ctx.plant.machines(BalancesMilk)
        for vessel in tank.lower() if isinstance(vessel, Vessel)
    )  # fmt: skip


def hot_wash_end(
    ctx: StudyContext, start_c: float, charge_l: float, ambient_c: float
) -> HotWashEnd:
    """A hot charge at its end, from its start and the ambient, all of it mixed, with what the
    rinse before left."""
    n, held = ctx.number, ctx.plant.site.room_heated_to_c or 0.0
    way = wash_circuit(ctx.plant, ctx.rules)
    room = max(held, ambient_c + n("air.building_over_ambient_k"))
    warm = ctx.plant.cleaning.rinse_c / 2 + room / 2
    left = _left_l(ctx) if charge_l > 0 else 0.0
    mixed_c = (charge_l * start_c + left * warm) / (charge_l + left) if charge_l > 0 else start_c
    end = wash_return_c(
        mixed_c, n("wash.main_min"), charge_l + left, way.steel_kg, warm, way.ua_kw_k, room,
        way.air_l_min_free, way.kpa_abs, way.wet_share,
    )  # fmt: skip
    return HotWashEnd(end, way.steel_kg, way.ua_kw_k, room, way.air_l_min_free, left, warm)


def end_of_hot_wash(ctx: StudyContext, hot_l: float) -> None:
    """Judge the return temperature of a hot charge at its end, on a cold day."""
    n, hot_c = ctx.number, ctx.plant.cleaning.hot_c
    minutes = n("wash.main_min")
    found = hot_wash_end(ctx, hot_c, hot_l, min(ctx.plant.site.ambient_c))
    end, steel, ua, room = found.end_c, found.steel_kg, found.ua_kw_k, found.room_c
    air = found.air_l_min_free
    limit = ctx.plant.cleaning.end_c
    do = ("" if end >= limit else " Start hotter or with a larger charge, shorten the step, "
                                  "insulate "
          "the lines, or cut the air let in.")  # fmt: skip
    ctx.find(
        "wash.end_temperature", "Return temperature at the end of the hot wash", round(end, 1),
        "degC",
        f"On a cold day the {hot_c:.0f} degC wash comes back at about {end:.0f} degC after "
        f"{minutes:g} min (warming {steel:.0f} kg of steel, {ua * 1000:.0f} W/K of bare surface, "
        f"{air:.0f} L/min of air leaving wet); {limit:g} degC is required.{do} An estimate: the "
        "thermometer in the return decides.",
        limit=limit, sense="at_least", allowance=0.05,
        formula="C dT/dt = -UA (T - T_room) - q_wet_air(T), after mixing with m_s and V_left",
        inputs=(worked("V_left", "left in the balance tank by the rinse before",
                       round(found.left_l, 1), "L"),
                worked("T_left", "its temperature, half way from the rinse to the room",
                       round(found.left_c, 1), "degC"),
                worked("m_s", "tube walls and clusters", round(steel), "kg"),
                worked("UA", "lines and clusters", round(ua, 3), "kW/K"),
                worked("T_room", "room in the coldest month", room, "degC"),
                worked("q", "mean free air through the wash", round(air), "L/min free"),
                ctx.rule("wash.main_min"), ctx.rule("wash.steel_kg_m2"),
                ctx.rule("wash.unit_kg"), ctx.rule("wash.line_u_w_m2k"),
                ctx.rule("wash.unit_area_m2"), ctx.rule("wash.air_wet_share"),
                ctx.rule("wash.slug_count")),
        source="definition", known="derived",
        remedies=_hotter(hot_c, limit - end, n("wash.hottest_c")) if end < limit else (),
    )  # fmt: skip


def _hotter(hot_c: float, short_k: float, hottest_c: float) -> tuple[Remedy, ...]:
    """A hotter start: of each kelvin at the start about two thirds come back."""
    why = f"it came back {short_k:.1f} K too cold"
    to = min(hottest_c, float(math.ceil(hot_c + 1.5 * short_k)))
    return (Remedy("cleaning", "hot_c", to, why),) if to > hot_c else ()
