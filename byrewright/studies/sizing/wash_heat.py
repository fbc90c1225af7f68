"""What the hot wash loses on its way round: its return temperature at the end."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.engine.rows import levels_l
from byrewright.engine.washing import wash_circuit
from byrewright.physics.wash_heat import wash_return_c
from byrewright.plant.farm import MOST_WASH_L_UNIT
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Vessel
from byrewright.plant.programme import Wash
from byrewright.plant.roles import BalancesMilk
from byrewright.results import Remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import worked

ROOM_C = 15.0
"""Rooms that a wash warms, for a first estimate of what a hotter start brings."""
MORE_WASH = 1.2
"""Least wash that is asked for where a hotter start is not to be had, over what there is (our
choice)."""


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
    ctx: StudyContext,
    start_c: float,
    charge_l: float,
    ambient_c: float,
    round_l_min: float | None = None,
) -> HotWashEnd:
    """A hot charge at its end, from its start and the ambient, all of it mixed, with what the
    rinse before left; or once it has gone round at a flow."""
    n, held = ctx.number, ctx.plant.site.room_heated_to_c or 0.0
    way = wash_circuit(ctx.plant, ctx.rules)
    room = max(held, ambient_c + n("air.building_over_ambient_k"))
    warm = ctx.plant.cleaning.rinse_c / 2 + room / 2
    left = _left_l(ctx) if charge_l > 0 else 0.0
    mixed_c = (charge_l * start_c + left * warm) / (charge_l + left) if charge_l > 0 else start_c
    minutes = n("wash.main_min")
    if round_l_min is not None:
        minutes = min(minutes, (charge_l + left) / max(round_l_min, 1.0))
    end = wash_return_c(
        mixed_c, minutes, charge_l + left, way.steel_kg, warm, way.ua_kw_k, room,
        way.air_l_min_free, way.kpa_abs, way.wet_share,
    )  # fmt: skip
    return HotWashEnd(end, way.steel_kg, way.ua_kw_k, room, way.air_l_min_free, left, warm)


def hottest_wash_c(ctx: StudyContext, l_min: float) -> float:
    """The hottest circulated wash as it comes to the receivers, in the warmest month: the first
    of it warms the steel, so as it is once the charge has gone round at a flow."""
    wash = ctx.programme.wash
    hot = max((s.at_c or 0.0 for s in wash.steps if s.circulates), default=0.0)
    hot = max(hot, ctx.plant.cleaning.rinse_c)
    return hot_wash_end(ctx, hot, wash.hot_l, max(ctx.plant.site.ambient_c), l_min).end_c


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
    played = any("wash" in m.does for m in ctx.plant.modes.values())
    ctx.find(
        "wash.end_temperature", "Return temperature at the end of the hot wash",
        round(end, 1) if played else None, "degC",
        f"On a cold day the {hot_c:.0f} degC wash comes back at about {end:.0f} degC after "
        f"{minutes:g} min (warming {steel:.0f} kg of steel, {ua * 1000:.0f} W/K of bare surface, "
        f"{air:.0f} L/min of air leaving wet); {limit:g} degC is required.{do} An estimate: the "
        "thermometer in the return decides." + ("" if played else " No mode washes yet."),
        missing=() if played else ("a mode that washes",),
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
        source="definition", confidence="derived",
        remedies=hotter_wash(ctx.plant, end, n("wash.hottest_c"), ctx.programme.wash),
    )  # fmt: skip


def hotter_wash(plant: Plant, back: float, hottest_c: float, wash: Wash) -> tuple[Remedy, ...]:
    """A hotter start, for a wash that began as hot as was asked; from `hottest_c` on more water,
    and where the farm states how hot it is."""
    short, hot_c = plant.cleaning.end_c - back, plant.cleaning.hot_c
    why = f"it came back {short:.1f} K too cold"
    if short <= 0:
        return ()
    has = wash.hot_l / max(1, wash.units)
    end_c = plant.cleaning.end_c  # the steel takes (end - room), of which a litre gives hot - end
    times = (hot_c - back) * (end_c - ROOM_C) / (max(1.0, hot_c - end_c) * max(5.0, back - ROOM_C))
    each = min(MOST_WASH_L_UNIT, float(math.ceil(max(MORE_WASH, times) * has)))
    hotter = hot_c < hottest_c
    more = (Remedy("cleaning", "water_l_unit", each, why, otherwise=hotter),) if each > has else ()
    if hotter:
        gain = (hot_c - ROOM_C) / max(5.0, back - ROOM_C)  # what is lost grows with the heat
        to = min(hottest_c, float(math.ceil(hot_c + gain * short)))
        return (Remedy("cleaning", "hot_c", to, why), *more)
    return more
