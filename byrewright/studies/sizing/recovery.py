"""Heat of refrigeration for wash water: what it gives, its store, the plant without it beside."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.physics.heat import heating_energy_kwh
from byrewright.physics.milk import heat_kj_per_l
from byrewright.plant.roles import HeatsWater, MakesCold, RecoversHeat
from byrewright.plant.roles.water import RECOVERS
from byrewright.results import Table
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import in_line
from byrewright.studies.sizing.sizes import TIGHT, listed, next_preferred, stated, verb_s, worked
from byrewright.studies.sizing.washing import largest_tank_wash_l, wash_heat_of
from byrewright.studies.sizing.water import emptied_at

MEAN_OF_YEAR = "mean of the year's water"


@dataclass(frozen=True, slots=True)
class RecoveredHeat:
    """A day of heat: given off by refrigeration, wanted by the wash, and what one covers."""

    given_off_kwh: float
    hot_l: float
    wanted_kwh: float
    taken_kwh: float
    most_c: float
    share: float


def recovered_of(
    ctx: StudyContext, duty: Duty, takes: str, makers: tuple[MakesCold, ...]
) -> RecoveredHeat:
    """What a desuperheater or condenser on some machines gives to a day's hot water."""
    share, most_c = (ctx.number(key) for key in RECOVERS[takes])
    every = ctx.plant.machines(MakesCold)
    whole = sum(m.count * m.cold().duty_kw for m in every) or 1.0
    mine = sum(m.count * m.cold().duty_kw for m in makers) / whole
    from_c = in_line(ctx, duty).pre_cooled_c
    cold = duty.saleable_l_day * heat_kj_per_l(from_c, min(from_c, duty.stored_c), ctx.rules)
    cop = sum(m.count * m.cold().duty_kw for m in makers) / max(
        sum(m.count * m.cold().duty_kw / m.cold().cop for m in makers), 1e-9
    )  # fmt: skip
    given = mine * cold / 3600.0 * (1.0 + 1.0 / cop)
    heat, washes = wash_heat_of(ctx, duty), ctx.programme.washes_a_day
    water = ctx.plant.site.water_temperature_c
    in_c = sum(water) / len(water)
    tanks = len(emptied_at(ctx, duty)) * largest_tank_wash_l(ctx)
    hot_l = heat.heater_l * washes + tanks
    preheat = heating_energy_kwh(hot_l, in_c, max(in_c, most_c), rules=ctx.rules)
    set_c = max((h.set_c for h in ctx.plant.machines(HeatsWater)), default=most_c)
    wanted = heating_energy_kwh(hot_l, in_c, max(in_c, set_c), rules=ctx.rules)
    return RecoveredHeat(given, hot_l, wanted, min(share * given, preheat), most_c, share)


def size_recovery(ctx: StudyContext, duty: Duty) -> None:
    """Each heat recovery, or what one would give where there is none; both plants beside."""
    every = ctx.plant.machines(MakesCold)
    if not every or not ctx.plant.machines(HeatsWater) or not ctx.programme.washes_a_day:
        return
    fitted = ctx.plant.machines(RecoversHeat)
    for one in fitted:
        makers = tuple(m for m in every if m.id in one.takes_from)
        if not makers:
            ctx.lacks("recovery.source", "Heat recovery", f"takes_from of {one.id} names no "
                        "refrigeration that runs: it gets no heat.")  # fmt: skip
            continue
        _fitted(ctx, duty, one, recovered_of(ctx, duty, one.takes, makers), makers)
    rows = [("without", 0.0, recovered_of(ctx, duty, "desuperheater", every))]
    rows += [(f"with a {takes}", 1.0, recovered_of(ctx, duty, takes, every)) for takes in RECOVERS]
    eta, price = _electric_share(ctx), _price(ctx)
    table = tuple(
        (name, round(on * w.taken_kwh), round((w.wanted_kwh - on * w.taken_kwh) / eta),
         round(on * w.taken_kwh / eta * 365), round(on * w.taken_kwh / eta * 365 * price))
        for name, on, w in rows
    )  # fmt: skip
    ctx.notes.tables.append(Table(
        "recovery.beside", "Wash water with and without heat of refrigeration",
        ("plant", "heat taken", "heaters then use", "saved a year", "worth a year"),
        ("", "kWh/d", "kWh/d", "kWh", ctx.plant.site.currency), table,
        "All refrigeration taken, at most: as if the store were never full when heat comes; mean "
        "water of the year; energy only, not the cost of the unit."
        + ("" if price else " No tariff is stated, so no worth is given."),
    ))  # fmt: skip
    if not fitted:
        best = max((w for _, on, w in rows if on), key=lambda w: w.taken_kwh)
        ctx.find(
            "recovery.alternative", "Heat of refrigeration that the wash could use",
            best.taken_kwh, "kWh/d",
            f"Refrigeration gives off {best.given_off_kwh:.0f} kWh a day; {best.taken_kwh:.0f} kWh "
            f"of it could warm wash water, of {best.wanted_kwh:.0f} kWh that plant and tank washes "
            "take beside standing losses. "
            "See the table of both plants; nothing is fitted for it.",
            formula=FORMULA, source="heat balance", known="derived",
            inputs=(ctx.rule("recovery.condenser_share"),
                    ctx.rule("recovery.condenser_most_c")),
        )  # fmt: skip


FORMULA = "Q = min(s Q_cold (1 + 1/COP), V rho cp (T_most - T_w))"


def _fitted(ctx: StudyContext, duty: Duty, one: RecoversHeat, w: RecoveredHeat,
            makers: tuple[MakesCold, ...]) -> None:  # fmt: skip
    share, most = RECOVERS[one.takes]
    ctx.find(
        "recovery.heat", "Heat recovered for wash water", w.taken_kwh, "kWh/d",
        f"{one.id} takes at most {w.taken_kwh:.0f} kWh a day of the {w.given_off_kwh:.0f} kWh that "
        f"{listed([m.id for m in makers])} give{verb_s(len(makers))} off, up to "
        f"{w.most_c:g} degC; the heaters give the rest of {w.wanted_kwh:.0f} kWh that plant and "
        "tank washes take, and standing losses. "
        "As if its store were never full when heat comes; `day.heat_recovered` tells what it "
        "catches. The heaters are sized to do it alone: when it fails only electricity is lost.",
        subject=one.id, formula=FORMULA, source="heat balance", known="derived",
        inputs=(worked("Q_cold (1 + 1/COP)", "heat given off", round(w.given_off_kwh), "kWh/d"),
                ctx.rule(share, "s"), ctx.rule(most, "T_most"),
                worked("V", "hot water of plant and tank washes a day", round(w.hot_l), "L")),
    )  # fmt: skip
    need = wash_heat_of(ctx, duty).heater_l
    total = sum(r.count * r.volume_l for r in ctx.plant.machines(RecoversHeat))
    count = sum(r.count for r in ctx.plant.machines(RecoversHeat))
    ctx.find(
        "recovery.store", "Warm water kept by heat recovery", total, "L",
        f"{one.id} keeps {total:.0f} L warm; a wash draws {need:.0f} L through the heaters, which "
        "then fill from it.",
        subject=one.id, limit=need, sense="at_least", allowance=TIGHT,
        formula="V >= hot water of a wash",
        inputs=(stated("V", "its store", one.volume_l, "L"),), source="practice",
        known="common_practice", advised=next_preferred(need * (1 + TIGHT) / count),
        advised_why="the hot water of a wash, next size", target=(one, "volume_l"),
    )  # fmt: skip


def _electric_share(ctx: StudyContext) -> float:
    first = ctx.plant.machines(HeatsWater)[0]
    if first.fuel == "electric":
        return ctx.number("heater.efficiency_electric")
    return ctx.number("heater.efficiency_fuel")


def _price(ctx: StudyContext) -> float:
    """Mean of the stated prices of a kWh, or nil."""
    tariff = ctx.plant.site.supply.tariff
    return sum(t.price_kwh for t in tariff) / len(tariff) if tariff else 0.0
