"""Washing the plant and the tanks: water, heat, slugs, chemicals, and whether there is time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from byrewright.physics.air import slug_air_l_min_free
from byrewright.physics.cleaning import (
    chemical_l,
    slug_time_s,
    slug_volume_l,
)
from byrewright.physics.heat import heater_power_kw, heating_energy_kwh
from byrewright.physics.pneumatics import opening_into_vacuum_l_min_free
from byrewright.plant.farm import hardness_mmol_l
from byrewright.plant.programme import DAY_MIN, Wash, WashKind
from byrewright.plant.roles import (
    CollectsMilk,
    DosesWash,
    HeatsWater,
    InjectsAir,
    MakesUpWash,
    StoresMilk,
    usually,
)
from byrewright.results import Input, Table
from byrewright.standards.cleaning import HEATER_KW
from byrewright.standards.pipes import AIRLINE_BORES_MM
from byrewright.standards.water import CACO3_MG_MMOL
from byrewright.studies.sizing.circulation import undosed, unwarmed
from byrewright.studies.sizing.cold import lead_and_lag
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.loads import SITUATIONS, demand_kva, electric_loads
from byrewright.studies.sizing.power import agreed_kva
from byrewright.studies.sizing.pumping import wash_pumps
from byrewright.studies.sizing.receiving import wash_flow_l_min
from byrewright.studies.sizing.sizes import (
    TIGHT,
    listed,
    next_preferred,
    spare,
    stated,
    verb_s,
    worked,
)
from byrewright.studies.sizing.steps import field, next_of
from byrewright.studies.sizing.wash_heat import end_of_hot_wash

DAYS_A_MONTH = 30


@dataclass(frozen=True, slots=True)
class WashHeat:
    """What the wash of the programme asks of the heater and the clock."""

    wash: Wash
    at_c: tuple[float, ...]
    """Temperature of each step."""
    heater_l: float
    """Water drawn from the heater at its set temperature."""
    heat_kwh: float
    minutes: float


def wash_heat_of(ctx: StudyContext, duty: Duty, water_c: float | None = None) -> WashHeat:
    """Heat and time of one wash of the plant, with the coldest water of the year if no other."""
    wash, set_c = ctx.programme.wash, heater_set_c(ctx)
    cold = duty.water_coldest_c if water_c is None else water_c
    at_c = tuple(max(cold, cold if s.at_c is None else s.at_c) for s in wash.steps)
    charges = [(s.litres, c) for s, c in zip(wash.steps, at_c, strict=True)]
    return WashHeat(
        wash, at_c,
        sum(litres * (c - cold) / max(1.0, set_c - cold) for litres, c in charges),
        sum(heating_energy_kwh(litres, cold, c) for litres, c in charges),
        ctx.number("wash.changeover_min")
        + sum(s.minutes + ctx.number("wash.fill_drain_min") for s in wash.steps),
    )  # fmt: skip


def size_washing(ctx: StudyContext, duty: Duty) -> None:
    """Water, trough, heater, slugs, flow, chemicals, end temperature, time, tank wash."""
    heat = wash_heat_of(ctx, duty)
    wash = heat.wash
    _water(ctx, duty, heat)
    _trough(ctx, wash)
    _heater(ctx, duty, heat)
    _slug(ctx, duty)
    _flow(ctx, duty)
    end_of_hot_wash(ctx, wash.hot_l)
    _time(ctx, duty, heat.minutes)
    _chemicals(ctx, wash)
    _acid(ctx)
    _tanks(ctx)


def heater_set_c(ctx: StudyContext) -> float:
    """Temperature that the hottest heater keeps."""
    heaters = ctx.plant.machines(HeatsWater)
    default = usually(HeatsWater, "set_c")
    return max((h.set_c for h in heaters), default=default)


def _water(ctx: StudyContext, duty: Duty, heat: WashHeat) -> None:
    wash = heat.wash
    day = wash.water_l * ctx.programme.washes_a_day
    each = list(zip(wash.steps, heat.at_c, strict=True))
    steps = ", ".join(f"{s.name} {s.litres:.0f} L at {round(c, 1):g} degC" for s, c in each)
    ctx.find(
        "wash.water", "Water of one plant wash", round(wash.water_l), "L",
        f"One wash takes {wash.water_l:.0f} L ({steps}); {day:.0f} L a day.",
        formula="V = n q_unit + s V_lines + V_standing for each rinse; "
        "hot charge 10 L a unit",
        inputs=(stated("n", "units", wash.units),
                stated("q_unit", "water a unit for each step", ctx.plant.cleaning.water_l_unit,
                       "L"),
                worked("V_lines", "milkline, milk and wash pipes", round(wash.lines_l), "L"),
                worked("V_standing", "standing in receivers",
                       round(wash.wet_l - ctx.number("wash.water_line_share") * wash.lines_l),
                       "L"),
                ctx.rule("wash.water_line_share", "s"), ctx.rule("wash.receiver_share"),
                ctx.rule("wash.hot_water_per_cluster_l")),
        source="practice", confidence="from_memory",
    )  # fmt: skip
    ctx.notes.tables.append(Table(
        "wash.steps", "Steps of a plant wash",
        ("step", "what it is", "water", "temperature", "time", "product", "circulates"),
        ("", "", "L", "degC", "min", "%", ""),
        tuple((s.name, s.kind.value, round(s.litres), round(c, 1), s.minutes,
               round(100 * s.strength, 2), "yes" if s.circulates else "no")
              for s, c in each)))  # fmt: skip


def _trough(ctx: StudyContext, wash: Wash) -> None:
    troughs = ctx.plant.machines(MakesUpWash)
    if not troughs:
        ctx.lacks("wash.trough", "Wash trough", "There is no wash trough to make the wash up in: "
                    "add one.")  # fmt: skip
        return
    need = wash.hot_l * (1 + ctx.number("wash.trough_freeboard_share"))
    have = sum(t.volume_l * t.count for t in troughs)
    first, alone = troughs[0], len(troughs) == 1 and troughs[0].count == 1
    ctx.find(
        "wash.trough", "Wash trough volume", have, "L",
        f"{listed([t.id for t in troughs])} holds {have:.0f} L; the hot charge of {wash.hot_l:.0f} "
        f"L with room above it needs {need:.0f} L ({spare(have, need)}).",
        subject=first.id, limit=round(need), sense="at_least", allowance=TIGHT,
        formula="V = V_hot (1 + k)",
        inputs=(worked("V_hot", "hot charge", wash.hot_l, "L"),
                ctx.rule("wash.trough_freeboard_share", "k")),
        source="practice", confidence="common_practice",
        advised=next_preferred(need * (1 + TIGHT)) if alone else None,
        advised_why=f"a hot charge of {wash.hot_l:.0f} L with room above",
        target=(first, "volume_l") if alone else None,
    )  # fmt: skip


def _heater(ctx: StudyContext, duty: Duty, heat: WashHeat) -> None:
    heaters, wash = ctx.plant.machines(HeatsWater), heat.wash
    hot_c = ctx.plant.cleaning.hot_c
    hot_kwh = heating_energy_kwh(wash.hot_l, duty.water_coldest_c, hot_c)
    ctx.find(
        "wash.hot_charge", "Hot charge", round(wash.hot_l), "L",
        f"The hot wash is {wash.hot_l:.0f} L at {hot_c:.0f} degC: {hot_kwh:.0f} kWh from "
        f"{duty.water_coldest_c:.0f} degC water. While it circulates about {wash.wet_l:.0f} L are "
        f"held up in lines and receivers"
        + (", which sets the charge so that the trough does not run dry." if wash.lines_govern
           else " and the rest stays in the trough."),
        formula="V = max(n c, V_wet/(1 - left)), up to 10 L; E = V 4.19 (T - T_w)/3600",
        inputs=(stated("n", "units", duty.units), ctx.rule("wash.hot_water_per_cluster_l", "c"),
                ctx.rule("wash.charge_left_share", "left"), worked("V_wet", "lines and receivers",
                                                             round(wash.wet_l), "L"),
                stated("T", "hot wash at the start", hot_c, "degC"),
                stated("T_w", "coldest water of the year", duty.water_coldest_c, "degC")),
        source="nz_levy", confidence="read",
    )  # fmt: skip
    if not heaters:
        ctx.lacks("wash.heater", "Water heater", f"There is no water heater for a hot wash of "
                    f"{wash.hot_l:.0f} L at {hot_c:.0f} degC: add one.")  # fmt: skip
        return
    tank = largest_tank_wash_l(ctx)
    usable = ctx.number("heater.usable_share")
    need = (heat.heater_l + tank) / usable
    have = sum(h.volume_l * h.count for h in heaters)
    for one in heaters:
        share = need * one.volume_l / have
        ctx.find(
            "wash.heater_volume", "Hot water held", one.volume_l, "L",
            f"{listed([h.id for h in heaters])} hold{verb_s(len(heaters))} {have:.0f} L at "
            f"{heater_set_c(ctx):.0f} degC; a plant wash draws {heat.heater_l:.0f} L and the "
            f"largest tank's wash {tank:.0f} L, and {100 * usable:.0f} % of what is held comes "
            f"out hot ({spare(have, need)}).",
            subject=one.id, limit=round(share, 1), sense="at_least", allowance=TIGHT,
            formula="V = (sum of V_s (T_s - T_w)/(T_set - T_w) + 0.02 x largest tank)/u, "
            "shared by the heaters",
            inputs=(worked("V_s", "hot charge", wash.hot_l, "L"), field(one, "set_c", "T_set"),
                    stated("T_w", "coldest water of the year", duty.water_coldest_c, "degC"),
                    ctx.rule("wash.hot_water_tank_share"),
                    ctx.rule("heater.usable_share", "u")),
            source="nz_levy", confidence="read",
            advised=next_preferred(need * (1 + TIGHT) / sum(h.count for h in heaters)),
            advised_why=f"{heat.heater_l:.0f} L for the plant and {tank:.0f} L for a tank",
            target=(one, "volume_l"),
        )  # fmt: skip
    _heater_power(ctx, duty, heat, heaters)


def _heater_power(
    ctx: StudyContext, duty: Duty, heat: WashHeat, heaters: tuple[HeatsWater, ...]
) -> None:  # fmt: skip
    """Input that has the water hot again by the next wash."""
    first = heaters[0]
    eta = ctx.number("heater.efficiency_electric" if first.fuel == "electric"
                       else "heater.efficiency_fuel")  # fmt: skip
    ends = sorted(m.end_min for m in duty.milkings if m.washed_after)
    apart = [b - a for a, b in zip(ends, [*ends[1:], ends[0] + DAY_MIN], strict=True)]
    between = (min(apart) - heat.minutes) / 60
    hours = max(0.5, min(between, ctx.number("heater.recovery_h")))
    tank = heating_energy_kwh(largest_tank_wash_l(ctx), duty.water_coldest_c, heater_set_c(ctx))
    energy = (heat.heat_kwh + tank) * (1 + ctx.number("heater.standing_loss_per_h") * hours)
    need = heater_power_kw(energy, hours, eta)
    have = sum(h.heater_kw * h.count for h in heaters)
    inputs = (
        worked("E", "heat of a plant wash and a tank wash", round(heat.heat_kwh + tank, 1), "kWh"),
        worked("t", "time to recover", round(hours, 2), "h"), ctx.rule("heater.recovery_h"),
        ctx.rule("heater.standing_loss_per_h", "loss"),
        Input("eta", "efficiency of the heater", eta, "", "us_extension (read)"),
    )  # fmt: skip
    each = _heater_kw_within_supply(ctx, duty, heaters, need)
    for one in heaters:
        ctx.find(
            "wash.heater_power", "Heater input", one.heater_kw, "kW",
            f"{listed([h.id for h in heaters])} take{verb_s(len(heaters))} {have:g} kW; "
            f"heating {energy:.0f} kWh again within {hours:.1f} h (plant wash, a tank "
            f"wash and standing loss) needs {need:.1f} kW ({spare(have, need)}).",
            subject=one.id, limit=round(need * one.heater_kw / have, 2), sense="at_least",
            allowance=TIGHT, formula="P = E (1 + loss t) / (t eta), shared by the heaters",
            inputs=inputs, source="us_extension", confidence="read",
            advised=each,
            advised_why=f"{energy:.0f} kWh within {hours:.1f} h", target=(one, "heater_kw"),
        )  # fmt: skip


def _heater_kw_within_supply(
    ctx: StudyContext, duty: Duty, heaters: tuple[HeatsWater, ...], need_kw: float
) -> float | None:
    """The next usual size, or the least where the next would by itself pass the supply's limit."""
    count = sum(h.count for h in heaters)
    limit, _ = agreed_kva(ctx)
    usual = next_of(need_kw * (1 + TIGHT) / count, HEATER_KW)
    if limit is None or ctx.plant.site.supply.limit_kva is None or usual is None:
        return usual
    if heaters[0].fuel != "electric":
        return usual
    tags = {h.id for h in heaters}
    loads = lead_and_lag(ctx, duty, electric_loads(ctx, duty))
    for each in (usual, next_of(need_kw / count, HEATER_KW), math.ceil(10 * need_kw / count) / 10):
        sized = [replace(x, each_kw=each) if x.machine.id in tags and each else x for x in loads]
        if max(demand_kva(sized, s) for s in SITUATIONS) <= limit:
            return each
    plain = [x for x in loads if x.machine.id not in tags]
    if max(demand_kva(plain, s) for s in SITUATIONS) > limit:
        return usual  # the supply is too small without any heater
    return math.ceil(10 * need_kw / count) / 10


def largest_tank_wash_l(ctx: StudyContext) -> float:
    """Hot water of one wash of the largest tank."""
    share = ctx.number("wash.hot_water_tank_share")
    return max((t.volume_l * share for t in ctx.plant.machines(StoresMilk)), default=0.0)


def _slug(ctx: StudyContext, duty: Duty) -> None:
    """Slugs in each milkline: volume, air, time, and the injector that lets it in."""
    injectors = ctx.plant.machines(InjectsAir)
    velocity = ctx.number("wash.slug_velocity_m_s")
    for line in ctx.plant.machines(CollectsMilk):
        leg = line.length_m / 2 if line.looped else line.length_m
        volume = slug_volume_l(line.bore_mm, leg, ctx.number("wash.slug_end_length_m"),
                               ctx.rules)  # fmt: skip
        air = slug_air_l_min_free(line.bore_mm, velocity, duty.working_vacuum_kpa,
                                  duty.pressure_kpa_abs)  # fmt: skip
        inputs = (
            field(line, "bore_mm", "d"), worked("L", "way of a slug", leg, "m"),
            ctx.rule("wash.slug_velocity_m_s", "v"), ctx.rule("wash.slug_end_length_m",
                                                                  "L_end"),
            ctx.rule("wash.slug_shortening_m_m"),
            worked("p", "vacuum in the wash", duty.working_vacuum_kpa, "kPa"),
            worked("p_a", "ambient pressure", round(duty.pressure_kpa_abs, 2), "kPa"),
        )  # fmt: skip
        ctx.find(
            "wash.slug", "Wash slug", round(volume, 1), "L",
            f"A slug of {volume:.0f} L in {line.id} still has "
            f"{ctx.number('wash.slug_end_length_m'):g} m at the receiver; at {velocity:g} m/s it "
            f"runs {slug_time_s(leg, velocity):.1f} s and takes {air:.0f} L/min of free air behind "
            "it. The receiver and trap must hold a slug without closing.",
            subject=line.id, formula="V = pi/4 d^2 (L_end + 0.05 L); q = pi/4 d^2 v (p_a - p)/p_a",
            inputs=inputs, source="mamedova2021", confidence="derived",
        )  # fmt: skip
        if not injectors:
            ctx.find(
                "wash.injector", "Air injector", 0, "", f"{line.id} of {line.bore_mm:g} mm "
                                                        "cannot be "
                "filled by the wash flow and there is no air injector: add one, or the top of the "
                "line is never wetted.", subject=line.id, limit=1, sense="at_least",
                formula="at least one", inputs=inputs, source="practice",
                confidence="common_practice",
            )  # fmt: skip
            continue
        through = opening_into_vacuum_l_min_free(
            injectors[0].bore_mm, duty.working_vacuum_kpa, duty.pressure_kpa_abs
        )
        least = next((b for b in (25.0, 32.0, *AIRLINE_BORES_MM)
                      if opening_into_vacuum_l_min_free(b, duty.working_vacuum_kpa,
                                                        duty.pressure_kpa_abs) >= air),
                     AIRLINE_BORES_MM[-1])  # fmt: skip
        ctx.find(
            "wash.injector", "Air injector", round(through), "L/min free",
            f"{injectors[0].id} of {injectors[0].bore_mm:g} mm can pass {through:.0f} L/min; a "
            f"slug in {line.id} needs {air:.0f} L/min. Throttle it to that at commissioning.",
            subject=injectors[0].id, limit=round(air), sense="at_least",
            formula="flow of an opening into vacuum, coefficient 0.62",
            inputs=(*inputs, field(injectors[0], "bore_mm")), source="definition",
            confidence="derived",
            advised=least, advised_why=f"{air:.0f} L/min behind a slug",
            target=(injectors[0], "bore_mm"),
        )  # fmt: skip


def _flow(ctx: StudyContext, duty: Duty) -> None:
    """Circulation, and the wash pump where one feeds the units."""
    flow = wash_flow_l_min(ctx, duty)
    ctx.find(
        "wash.flow", "Wash circulation", round(flow), "L/min",
        f"All units together pass {flow:.0f} L/min; the milk pumps must carry it back, and it is "
        "often they that limit the wash.", formula="q = n q_unit",
        inputs=(stated("n", "units", duty.units), ctx.rule("wash.unit_flow_l_min", "q_unit")),
        source="practice", confidence="common_practice",
    )  # fmt: skip
    wash_pumps(ctx, flow)


def _time(ctx: StudyContext, duty: Duty, minutes: float) -> None:
    gap = duty.wash_gap_min
    do = ("" if minutes <= gap else " Shorten milking, drop a wash, or wash the plant in two "
          "halves.")  # fmt: skip
    words = f"{gap:.0f} min" if gap > 0 else "no time at all"
    ctx.find(
        "wash.time", "Time of a plant wash", round(minutes), "min",
        f"A wash takes about {minutes:.0f} min door to door; the shortest gap it must use is "
        f"{words}.{do}",
        limit=max(0.0, round(gap, 1)), sense="at_most", allowance=0.1,
        formula="t = change-over + sum over steps (time + fill and drain)",
        inputs=(ctx.rule("wash.changeover_min"), ctx.rule("wash.rinse_min"),
                ctx.rule("wash.main_min"), ctx.rule("wash.fill_drain_min"),
                stated("steps", "steps", listed(ctx.plant.cleaning.steps)),
                worked("gap", "shortest gap used", max(0.0, round(gap, 1)), "min")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _dosed(ctx: StudyContext) -> None:
    """A made-up wash of the plant that no running dosing pump reaches, though there are some."""
    bare = undosed(ctx.plant)
    if bare:
        dosers = listed([d.id for d in ctx.plant.machines(DosesWash)])
        vessels = listed(list(dict.fromkeys(t for each in bare.values() for t in each)))
        ctx.find(
            "wash.dosed", "Modes that wash without product", None, "modes",
            f"In {listed(list(bare))} no dosing pump that runs ({dosers}) reaches {vessels}: that "
            "wash goes round as plain water unless somebody doses it by hand. Let one run, or "
            "join one to it.",
            limit=0.0, sense="at_most",
            formula="state and ways of the dosing pumps in modes that wash",
            source="the plant file", confidence="stated", missing=("who doses the wash",),
        )  # fmt: skip


def _warmed(ctx: StudyContext, wash: Wash) -> None:
    """A step that is asked for warm, and no mode of its purpose lets hot water to a wash vessel."""
    plant = ctx.plant
    as_it_comes_c = max(plant.site.water_temperature_c)
    for does, circulates in (("rinse", False), ("wash", True)):
        warm = [s for s in wash.steps
                if s.circulates is circulates and (s.at_c or 0.0) > as_it_comes_c]  # fmt: skip
        modes = unwarmed(plant, does) if warm else ()
        if not modes:
            continue
        heaters = listed([h.id for h in plant.machines(HeatsWater)])
        vessels = listed([t.id for t in plant.machines(MakesUpWash)])
        what = warm[0].kind.value
        ctx.find(
            "wash.hot_way", "Steps asked for warm without hot water", None, "modes",
            f"The {what} is asked for at {warm[0].at_c:g} degC and its heat is counted, but no "
            f"open way leads from {heaters} to {vessels} in {listed(list(modes))}: it comes as "
            "cold as the water that fills it. Open one in the mode that fills for it.",
            subject=what, limit=0.0, sense="at_most",
            formula="ways of hot water in modes that rinse and wash",
            source="the plant file", confidence="stated", missing=("what lets hot water in",),
        )  # fmt: skip


def _chemicals(ctx: StudyContext, wash: Wash) -> None:
    dosers, clean = ctx.plant.machines(DosesWash), ctx.plant.cleaning
    washes = ctx.programme.washes_a_day
    each = sum(chemical_l(s.litres, s.strength) for s in wash.steps
               if s.kind is WashKind.ALKALINE)  # fmt: skip
    whole = sum(chemical_l(s.litres, s.strength) for s in wash.steps)
    acid = chemical_l(wash.hot_l, ctx.number("wash.acid_share"))
    month = each * washes * DAYS_A_MONTH
    acid_month = acid * DAYS_A_MONTH / clean.acid_every_days
    _dosed(ctx)
    _warmed(ctx, wash)
    hand = "" if dosers else " No dosing pump is in the plant: it is measured by hand."
    ctx.find(
        "wash.chemicals", "Wash product a day", round(whole * washes, 2), "L",
        f"{whole * washes:.1f} L of product a day in the steps as listed: {each:.1f} L of "
        f"detergent a wash, {month:.0f} L a month; {acid:.1f} L of acid an acid wash, "
        f"{acid_month:.0f} L a month. The label rules the dose; never let acid meet a "
        f"product with chlorine.{hand}",
        formula="V = sum over steps of water x strength",
        inputs=(worked("V_hot", "hot charge", wash.hot_l, "L"),
                field(dosers[0], "dose_ml_l",
                      "dose") if dosers else ctx.rule("wash.detergent_share", "dose"),
                ctx.rule("wash.acid_share"), stated("acid", "days between acid washes",
                                                      clean.acid_every_days)),
        source="practice", confidence="common_practice",
    )  # fmt: skip
    ctx.notes.tables.append(Table(
        "wash.chemicals", "Chemicals", ("product", "a wash", "a day", "a month"),
        ("", "L", "L", "L"),
        (("detergent", round(each, 2), round(each * washes, 2), round(month)),
         ("acid", round(acid, 2), round(acid / clean.acid_every_days, 2),
          round(acid_month)))))  # fmt: skip


def _acid(ctx: StudyContext) -> None:
    clean = ctx.plant.cleaning
    mmol = hardness_mmol_l(ctx.plant.site, clean)
    ppm = None if mmol is None else mmol * CACO3_MG_MMOL
    hard = (ppm or 0.0) > ctx.number("wash.hard_water_ppm")
    most = ctx.number("wash.acid_hard_every_days" if hard else "wash.acid_every_days")
    water = ("The water's hardness is not stated, so it is taken as not hard."
             if ppm is None else
             f"The water is {'hard' if hard else 'not hard'} ({ppm:.0f} mg/L)."
             )  # fmt: skip
    ctx.find(
        "wash.acid_interval", "Days between acid washes", clean.acid_every_days, "d",
        f"Acid every {clean.acid_every_days:g} days; at most {most:g} to keep milkstone from "
        f"building up. {water}", limit=most, sense="at_most", formula="days between acid washes",
        inputs=(ctx.rule("wash.acid_hard_every_days" if hard else "wash.acid_every_days"),
                ctx.rule("wash.hard_water_ppm")),
        source="practice" if hard else "dutch_education",
        confidence="common_practice" if hard else "read",
    )  # fmt: skip


def tank_wash_hot_l(ctx: StudyContext, volume_l: float) -> float:
    """Hot water that the wash of a tank takes; each of its rinses takes as much."""
    return volume_l * ctx.number("wash.hot_water_tank_share")


def _tanks(ctx: StudyContext) -> None:
    for tank in ctx.plant.machines(StoresMilk):
        litres = tank_wash_hot_l(ctx, tank.volume_l)
        ctx.find(
            "wash.tank", "Hot water of a tank wash", round(litres), "L",
            f"Washing {tank.id} takes {litres:.0f} L of hot water, about "
            f"{ctx.number('wash.tank_min'):.0f} min, after each emptying.",
            subject=tank.id, formula="V = s V_t",
            inputs=(field(tank, "volume_l", "V_t"), ctx.rule("wash.hot_water_tank_share", "s")),
            source="nz_levy", confidence="read",
        )  # fmt: skip
