"""What instruments outside the vacuum plant will read, in figures that no other study writes.

Flows come from the solved liquid network, temperatures from the coolers' working points, the tank's
heat balance and the wash's; `reading.*` are their keys. A simplification is told with each.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, Literal

from byrewright.engine.liquids import LiquidsUnsolved, liquids_of
from byrewright.physics.heat import heating_energy_kwh
from byrewright.physics.tank_wall import WARMING_BELOW_K, full_loss_kw_k
from byrewright.physics.wash_heat import saturation_kpa
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    CoolsMilk,
    DosesWash,
    DriesAir,
    HeatsWater,
    KeepsAir,
    MakesCold,
    MovesMilk,
    MovesWater,
    StandsCows,
    StoresMilk,
)
from byrewright.results import Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.compressed_air import HOTTEST_DRYER_INLET_C, air_demand
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.cooling import size_cooling
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.in_line import Line, in_line
from byrewright.studies.sizing.network import net_of, pumped_l_min
from byrewright.studies.sizing.serving import serving
from byrewright.studies.sizing.tank_cooling import pull_downs, wanted_of
from byrewright.studies.sizing.wash_heat import hot_wash_end
from byrewright.studies.sizing.washing import wash_heat_of

LEAK_DOWN_MIN = 10.0
RISE_H = 4.0
STEPS = 30


Part = Literal["flow", "heat"]
BOTH: tuple[Part, ...] = ("flow", "heat")


def instrument_readings(plant: Plant, rules: Rulebook, parts: Sequence[Part] = BOTH, *,
                        served: bool = False, only: Collection[str] = (),
                        net: dict[Any, Any] | None = None) -> Result:  # fmt: skip
    """The readings as findings `reading.*`, each of one machine, and those of cooling.

    Args:
        parts: flows of the pumps; heat, compressed air, deck and herd.
        served: the plant holds only what can serve already (`sizing.serving`).
        only: pumps whose flow is asked; all where none is named.
        net: keeps what follows from the liquid network between calls whose networks are the same.
    """
    ctx = StudyContext(plant, rules, ResultBuilder("instruments", plant.site.name))
    if net is not None:
        ctx.known["net"] = net
    if not served:
        ctx.plant = serving(ctx)
    if not ctx.plant.milkings:
        return ctx.notes.result()
    if "flow" in parts:
        _flows(ctx, only)
    if "heat" not in parts:
        return ctx.notes.result()
    duty = duty_of(ctx)
    line = _coolers(ctx, duty)
    _tanks(ctx, duty, line)
    _heaters(ctx, duty)
    _compressed_air(ctx, duty)
    _deck(ctx, duty)
    return ctx.notes.result()


def _read(ctx: StudyContext, key: str, title: str, value: float, unit: str, subject: str,
          says: str, formula: str) -> None:  # fmt: skip
    ctx.find(f"reading.{key}", title, value, unit, f"{subject or title}: {says}", subject=subject,
             formula=formula, source="byrewright's own model", confidence="derived")  # fmt: skip


def reaches_l_min(plant: Plant, rules: Rulebook, tag: str, port: str) -> float | None:
    """What reaches a port in the plainest milking mode, L/min; None where it is not solved."""
    net = liquids_of(plant, rules)
    modes = sorted((len(m.does), n) for n, m in plant.modes.items() if "milking" in m.does)
    if not modes:
        return None
    node = net.port(tag, port)
    try:
        flows = net.solve(net.situation(modes[0][1]), frozenset([node]))
    except LiquidsUnsolved:
        return None
    return sum(abs(q) for name, q in flows.l_min.items()
               if node in net.ends[name] and net.by_id[name].pipe is not None)  # fmt: skip


def _flows(ctx: StudyContext, only: Collection[str]) -> None:
    liquid = net_of(ctx).pumps
    for key, pumps in (("milk_pump_flow", ctx.plant.machines(MovesMilk)),
                       ("pump_flow", ctx.plant.machines(MovesWater))):  # fmt: skip
        for pump in pumps:
            if only and pump.id not in only:
                continue
            if pump.id in liquid and (flow := pumped_l_min(ctx, pump.id)) is not None:
                _read(ctx, key, "Flow of the pump", flow, "L/min", pump.id,
                      f"gives about {flow:.0f} L/min alone at full speed through its own lines.",
                      "solved network: pump curve and lines")  # fmt: skip


def _coolers(ctx: StudyContext, duty: Duty) -> Line:
    line = in_line(ctx, duty)
    for cooler in ctx.plant.machines(CoolsMilk):
        one = line.each.get(cooler.id)
        if one is None:
            continue
        chilled = _coolant_c(ctx, line)
        out, before = one.out_c, one.pre_cooled_c
        if one.second is not None and chilled is not None and one.coolant_in_c is not None:
            took = (before - one.out_c) / max(1e-9, before - one.coolant_in_c)
            out = before - took * (before - chilled)
        for key, title, value, unit in (
            ("cooler_milk_flow", "Milk flow", one.milk_l_min * one.count, "L/min"),
            ("cooler_water_flow", "Water flow", one.water_l_min * one.count, "L/min"),
            ("cooler_milk_in", "Milk in", one.in_c, "degC"),
            ("cooler_water_in", "Water in", duty.water_warmest_c, "degC"),
            ("cooler_water_out", "Water out", one.water_out_c, "degC"),
            ("cooler_milk_out", "Milk out", out, "degC"),
        ):
            if value is not None and (key != "cooler_water_in" or one.first is not None):
                _read(ctx, key, title, value, unit, cooler.id,
                      f"{title.lower()} {value:.1f} {unit} at design flow in the warmest month.",
                      "counterflow exchanger, stage by stage")  # fmt: skip
    if ctx.plant.machines(CoolsMilk):
        size_cooling(ctx, duty)
    return line


def _coolant_c(ctx: StudyContext, line: Line) -> float | None:
    """Chilled liquid as it comes: warmer where its makers without a store give less cold than the
    coolers take. What is not taken warms it until both are equal."""
    makers = [m for m in ctx.plant.machines(MakesCold) if m.cold().leaving_c is not None]
    if line.coolant_in_c is None or not makers or any(m.cold().store_kwh > 0 for m in makers):
        return line.coolant_in_c
    made = sum(m.cold().duty_kw * m.count for m in makers)
    if made >= line.chilled_kw or line.chilled_kw <= 0.0:
        return line.coolant_in_c
    # The heat taken is in proportion to the difference at the way in.
    return line.pre_cooled_c - (line.pre_cooled_c - line.coolant_in_c) * made / line.chilled_kw


def _tanks(ctx: StudyContext, duty: Duty, line: Line) -> None:
    out = next((f.value for f in reversed(ctx.notes.findings) if f.key == "reading.cooler_milk_out"
                and f.value is not None), None)  # fmt: skip
    in_c = out if out is not None else duty.milk_at_receiver_c
    wanted = wanted_of(ctx, duty.largest.hours)
    limit_c = wanted.limit_c if wanted is not None else ctx.number("milk.stored_c")
    for tank in ctx.plant.machines(StoresMilk):
        if tank.cooling != "none":
            late, blend = pull_downs(ctx, duty, tank, max(limit_c, tank.set_c), in_c)
            _read(ctx, "cooling_time", "Time until the milk is cold", late, "h", tank.id,
                  f"the first milking is cold {late:.1f} h after it ends.",
                  "heat balance of a mixed tank")  # fmt: skip
            if blend is not None:
                _read(ctx, "tank_blend", "Warmest blend of a later milking", blend, "degC", tank.id,
                      f"a later milking warms it to {blend:.1f} degC at most.",
                      "heat balance of a mixed tank")  # fmt: skip
        loss = WARMING_BELOW_K * full_loss_kw_k(tank.volume_l, tank.insulation_k_h, ctx.rules)
        kj_k = (tank.volume_l * ctx.number("milk.density_kg_m3") / 1000.0
                * ctx.number("milk.cp_kj_kgk"))  # fmt: skip
        rise = loss * 3600.0 * RISE_H / kj_k
        _read(ctx, "tank_rise", "Rise in four hours without cooling", rise, "K", tank.id,
              f"full and left alone it warms by {rise:.1f} K in four hours.",
              "heat through the wall, 28 K below the room")  # fmt: skip
    for maker in ctx.plant.machines(MakesCold):
        cold = maker.cold()
        if cold.store_kwh > 0.0 and cold.duty_kw > 0.0:
            hours = cold.store_kwh / cold.duty_kw
            _read(ctx, "ice_hours", "Hours to a full bank", hours, "h", maker.id,
                  f"full after {hours:.1f} h.", "store / cold made")  # fmt: skip


def _heaters(ctx: StudyContext, duty: Duty) -> None:
    heaters = ctx.plant.machines(HeatsWater)
    if not heaters:
        return
    heat = wash_heat_of(ctx, duty)
    hot_c, least = ctx.plant.cleaning.hot_c, 1e9
    for one in heaters:
        eta = ctx.number(
            "heater.efficiency_electric" if one.fuel == "electric" else "heater.efficiency_fuel"
        )
        power = max(1e-3, one.heater_kw * eta)
        hours = heating_energy_kwh(one.volume_l, duty.water_coldest_c, one.set_c) / power
        drawn = heat.heat_kwh * one.volume_l / sum(h.volume_l * h.count for h in heaters)
        again = min(1.0, power * ctx.number("heater.recovery_h") / max(drawn, 1e-9))
        stored = duty.water_coldest_c + (one.set_c - duty.water_coldest_c) * again
        least = min(least, stored)
        _read(ctx, "heat_up", "Hours to hot", hours, "h", one.id,
              f"hot {hours:.1f} h after it was filled cold.",
              "V 4.19 (T_set - T_cold) / (3600 P eta)")  # fmt: skip
        _read(ctx, "heater_stored", "Stored water", stored, "degC", one.id,
              f"holds {stored:.0f} degC before a wash.",
              "what it heats again in the recovery time")  # fmt: skip
    start = min(hot_c, least)
    end = hot_wash_end(ctx, start, heat.wash.hot_l, min(ctx.plant.site.ambient_c)).end_c
    _read(ctx, "wash_return", "Return of the hot wash at its end", end, "degC", "",
          f"comes back at {end:.0f} degC.", "hot charge less steel, room and wet air")  # fmt: skip
    doser = ctx.plant.first(DosesWash)
    if doser is not None:
        ml = doser.dose_ml_l * heat.wash.hot_l
        _read(ctx, "wash_dose", "Detergent dosed", ml, "mL", "",
              f"{doser.id} doses {ml:.0f} mL into the hot charge (the first doser of the file).",
              "dose a litre x hot charge")  # fmt: skip


def _compressed_air(ctx: StudyContext, duty: Duty) -> None:
    receivers = ctx.plant.machines(KeepsAir)
    makers = ctx.plant.able("makes air")
    if not receivers or not makers:
        return
    most = max(float(m.capacity_l_min_free) for m in makers)  # type: ignore[attr-defined]
    leak = ctx.number("air.leak_target_share") * ctx.number("air.leak_times")
    leak *= max(air_demand(ctx, duty).mean_l_min, 0.2 * most)
    volume = sum(r.volume_l * r.count for r in receivers)
    fall = leak * LEAK_DOWN_MIN / volume * duty.pressure_kpa_abs
    _read(ctx, "air_leak_down", "Fall in ten minutes", fall, "kPa", receivers[0].id,
          f"falls by {fall:.0f} kPa in ten minutes with {leak:.0f} L/min of leaks.",
          "q t p_atm / V")  # fmt: skip
    inlet = min(HOTTEST_DRYER_INLET_C,
                ctx.plant.site.hottest_c + ctx.number("dryer.inlet_over_ambient_k"))  # fmt: skip
    dried = ctx.number("air.dryer_works_share")
    for one in ctx.plant.machines(DriesAir):
        dry_c = max(-9.0, one.dew_point_c)
        steam = dried * saturation_kpa(dry_c) + (1.0 - dried) * saturation_kpa(inlet)
        point = one.dew_point_c + _dew_point_c(steam) - dry_c
        _read(ctx, "dew_point", "Dew point under pressure", point, "degC", one.id,
              f"air behind it has a dew point of {point:.0f} degC at pressure.",
              "mixture of dried air and air as moist as it came")  # fmt: skip


def _dew_point_c(kpa: float) -> float:
    low, high = -9.0, 98.0
    for _ in range(STEPS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if saturation_kpa(middle) < kpa else (low, middle)
    return low


def _deck(ctx: StudyContext, duty: Duty) -> None:
    for deck in ctx.plant.machines(StandsCows):
        if deck.layout == "rotary":
            _read(ctx, "turn_time", "Time of a turn", duty.turn_s, "s", deck.id,
                  f"turns in {duty.turn_s:.0f} s.", "speed of a milking")  # fmt: skip
    _read(ctx, "milk_out", "Milk-out time, mean", duty.milk_out.mean_s, "s", "",
          f"cows milk out in {duty.milk_out.mean_s:.0f} s on average.", "herd's")  # fmt: skip
