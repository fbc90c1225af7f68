"""Cold made for chilled liquid: chillers, ice banks, tariff, ambient."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from byrewright.physics.demand import HOURS_A_DAY, storage_needed
from byrewright.physics.milk import heat_kj_per_l
from byrewright.plant.farm import minutes
from byrewright.plant.roles import Cold, MakesCold, StoresMilk
from byrewright.results import Input, Series
from byrewright.studies.sizing.altitude import plate_duty_kw, plates
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import Line, circuits, coolant_makers, in_line, united
from byrewright.studies.sizing.loads import ElectricLoad
from byrewright.studies.sizing.sizes import (
    TIGHT,
    each_carries,
    next_preferred,
    spare,
    stated,
    with_others_off,
    worked,
)

DUTY = "duty-and-standby"
OFF_PEAK = 1e-9
"""A hair over the least duty, so that rounding does not leave a store without end."""


def hourly_cold_kwh(ctx: StudyContext, duty: Duty, point: Line, each: int = 1) -> list[float]:
    """Heat that milk gives to chilled liquid in each hour of the day, kWh, no allowance; or in
    `each` steps of every hour."""
    from_c, to_c = point.pre_cooled_c, point.out_c
    tanks = ctx.plant.machines(StoresMilk)
    if any(t.takes_coolant for t in tanks):
        to_c = min(to_c, duty.stored_c)
    hours = [0.0] * (HOURS_A_DAY * each)
    for one in duty.milkings:
        heat = one.saleable_l * heat_kj_per_l(from_c, to_c, ctx.rules) / 3600.0
        steps = max(1, round(one.hours * 60))
        for minute in range(steps):
            hours[int((one.start_min + minute) * each // 60) % len(hours)] += heat / steps
    return hours


def cold_rate_kw(ctx: StudyContext, duty: Duty, point: Line) -> float:
    """What a cold plant without a store must carry, with the allowance: the rate while milk flows,
    not the hour's mean."""
    busiest = max(hourly_cold_kwh(ctx, duty, point))
    return max(busiest, point.chilled_kw) * (1.0 + ctx.number("cooling.allowance_share"))


def lead_and_lag(
    ctx: StudyContext, duty: Duty, loads: Sequence[ElectricLoad]
) -> tuple[ElectricLoad, ...]:
    """The loads with only as many chillers together as the milk asks for: of alike ones each of
    which carries the duty alone, the others wait. For the sum of a plant; a board and the wiring
    of each must still take it."""
    chillers = [m for m in coolant_makers(ctx) if m.cold().store_kwh <= 0]
    count = sum(m.count for m in chillers)
    if count < 2 or ctx.plant.wishes.redundancy == "none":
        return tuple(loads)
    each = plate_duty_kw(ctx, cold_rate_kw(ctx, duty, in_line(ctx, duty)))
    least = min(m.cold().duty_kw for m in chillers)
    needed = min(count, max(1, math.ceil(each / least - 1e-9)))
    ids = {m.id for m in chillers}
    if needed < count and not any(a.where == "chillers" for a in ctx.notes.assumptions):
        ctx.assume(
            "chillers", "chillers that run together", needed, "",
            f"{needed} of {count} carry the milk; controls must let the others wait, also after a "
            "power cut",
        )  # fmt: skip
    return tuple(
        replace(one, on={s: n * needed / count for s, n in one.on.items()})
        if one.machine.id in ids else one
        for one in loads
    )  # fmt: skip


def cold_plants(ctx: StudyContext, duty: Duty, point: Line) -> None:
    """Judge what makes the chilled liquid against the heat the milk gives it."""
    allowance = 1.0 + ctx.number("cooling.allowance_share")
    hours = [h * allowance for h in hourly_cold_kwh(ctx, duty, point)]
    rate = cold_rate_kw(ctx, duty, point)
    makers = coolant_makers(ctx)
    banks = tuple(m for m in makers if m.cold().store_kwh > 0)
    chillers = tuple(m for m in makers if m not in banks)
    if not banks and not chillers:
        ctx.lacks(
            "cooling.cold",
            "Chilled liquid",
            "Tanks or coolers want chilled liquid but no chiller or ice bank makes it.",
        )
        return
    inputs = (
        worked("Q_milk", "heat of the milk while it flows", rate / allowance, "kW"),
        ctx.rule("cooling.allowance_share", "a"),
    )
    if chillers and not banks:
        _chillers(ctx, chillers, rate, inputs)
    if banks:
        helped = sum(c.count * c.cold().duty_kw for c in chillers)
        _ice(ctx, banks, [max(0.0, h - helped) for h in hours], inputs)


def _chillers(
    ctx: StudyContext, chillers: tuple[MakesCold, ...], rate: float, inputs: tuple[Input, ...]
) -> None:
    redundancy, count = ctx.plant.wishes.redundancy, sum(c.count for c in chillers)
    air = plates(ctx)
    limit = air.rating(each_carries(rate, count, redundancy))
    for one in chillers:
        duty_kw = one.cold().duty_kw
        off = with_others_off(one, chillers, redundancy)
        ctx.find(
            "cooling.chiller.duty",
            "Chiller duty",
            duty_kw,
            "kW",
            f"{one.id} makes {duty_kw:.0f} kW of cold; {limit:.0f} kW is needed{off} while "
            f"milk flows: {spare(duty_kw, limit)}.{air.words}",
            subject=one.id,
            limit=limit,
            sense="at_least",
            allowance=TIGHT,
            formula=f"Q = (1 + a) q rho cp (T_1 - T_2) / chillers that must carry it{air.over}",
            inputs=(*inputs, *air.inputs),
            source="heat balance",
            confidence="derived",
            advised=next_preferred((1.0 + TIGHT) * limit),
            advised_why=f"heat of the milk and 20 % for pumps and gains{off}; next size",
            target=(one, type(one).SIZED_BY["duty"]),
            missing=united(ctx),
        )
        rated_ambient(ctx, one.id, one.cold().rated_ambient_c)
    alone = next((g for g in circuits(ctx) if sum(m.count for m in g) < 2), None)
    if redundancy != "none" and alone is not None:
        ctx.find(
            "cooling.chiller.standby",
            "Second chiller",
            1.0,
            "chillers",
            f"{alone[0].id} alone chills {'its circuit' if united(ctx) else 'the milk'}; when it "
            "trips milk leaves the cooler warm. A second, or a tank that can cool, is needed.",
            limit=2.0,
            sense="at_least",
            formula="chillers >= 2",
            inputs=(stated("", "redundancy wanted", redundancy),),
            source="what the farm asked for",
            confidence="stated",
        )


def _window(cold: Cold) -> list[int]:
    """Hours of the day in which a store is filled."""
    start, end = (minutes(t) for t in cold.hours or ("00:00", "00:00"))
    length = (end - start - 1) % 1440 + 1
    return [((start + m) // 60) % 24 for m in range(0, length, 60)]


def open_hours(cold: Cold) -> list[bool]:
    """Whether a store is filled in each hour of the day."""
    window = _window(cold)
    return [hour in window for hour in range(HOURS_A_DAY)]


def _ice(
    ctx: StudyContext, banks: tuple[MakesCold, ...], hours: list[float], inputs: tuple[Input, ...]
) -> None:
    count, day = sum(b.count for b in banks), sum(hours)
    # A bank that stands by is one more than those that carry the day; banks that share help out.
    wish = ctx.plant.wishes.redundancy if ctx.plant.wishes.redundancy == DUTY else "none"
    carry = day / each_carries(day, count, wish) if day > 0 else float(count)
    window = _window(banks[0].cold())
    air = plates(ctx)
    duty_limit = air.rating(day / len(window) / carry)
    made = [0.0] * 24
    has = sum(b.count * b.cold().duty_kw for b in banks) * carry / count
    for hour in window:
        made[hour] = max(has, duty_limit * carry * (1 + OFF_PEAK))
    store = storage_needed(hours, made) or 0.0
    ctx.notes.series.append(
        Series(
            "cooling.ice",
            "Cold asked of the ice bank and cold made",
            tuple(map(float, range(24))),
            "h",
            (("asked", "kWh", tuple(hours)), ("made, most", "kWh", tuple(made))),
            "Warmest month of water.",
        )
    )
    for bank in banks:
        cold = bank.cold()
        span = cold.span
        off = with_others_off(bank, banks, wish) if wish == DUTY else ""
        ctx.find(
            "cooling.ice.duty",
            "Ice-making duty",
            cold.duty_kw,
            "kW",
            f"{bank.id} makes {cold.duty_kw:.0f} kW of cold; the day's {day:.0f} kWh in the "
            f"{len(window)} h from {span} needs {duty_limit:.0f} kW{off}: "
            f"{spare(cold.duty_kw, duty_limit)}.{air.words}",
            subject=bank.id,
            limit=duty_limit,
            sense="at_least",
            allowance=TIGHT,
            formula=f"Q = (1 + a) sum(V rho cp (T_1 - T_2)) / hours of making / banks{air.over}",
            inputs=(
                *inputs,
                stated("hours", "ice making", len(window), "h", span),
                worked("banks", "ice banks that carry the day", round(carry)),
                *air.inputs,
            ),
            source="heat balance",
            confidence="derived",
            advised=next_preferred((1.0 + TIGHT) * duty_limit),
            advised_why=f"the day's cold in {len(window)} h{off}, next size",
            target=(bank, type(bank).SIZED_BY["duty"]),
            missing=united(ctx),
        )
        each = store / carry
        ctx.find(
            "cooling.ice.store",
            "Ice store",
            cold.store_kwh,
            "kWh",
            f"{bank.id} stores {cold.store_kwh:.0f} kWh of ice; {each:.0f} kWh is needed "
            f"between ice-making periods{off}: {spare(cold.store_kwh, each)}.",
            subject=bank.id,
            limit=each,
            sense="at_least",
            allowance=TIGHT,
            formula="S = max over the day of K, K = max(0, K + asked - made)",
            inputs=(*inputs, worked("sum(asked)", "cold asked in a day", day, "kWh")),
            source="sequent-peak form of the mass curve (Thomas and Burden 1963)",
            confidence="from_memory",
            advised=next_preferred(each * 1.1),
            advised_why=f"what the milkings melt{off}, a tenth more, next size",
            target=(bank, type(bank).SIZED_BY["store"]),
            missing=united(ctx),
        )
        _tariff(ctx, bank, window)


def _tariff(ctx: StudyContext, bank: MakesCold, window: list[int]) -> None:
    """Whether ice is made in the cheapest hours."""
    tariff = sorted(ctx.plant.site.supply.tariff, key=lambda t: minutes(t.start))
    if not tariff:
        return
    prices = [
        next(
            (t.price_kwh for t in reversed(tariff) if minutes(t.start) <= 60 * h),
            tariff[-1].price_kwh,
        )
        for h in range(24)
    ]
    dear = [h for h in window if prices[h] > min(prices)]
    ctx.find(
        "cooling.ice.tariff",
        "Ice making in cheap hours",
        float(len(dear)),
        "h",
        f"{len(dear)} of the {len(window)} h in which {bank.id} makes ice are not at the cheapest "
        "price."
        if dear
        else f"{bank.id} makes ice only at the cheapest price.",
        subject=bank.id,
        formula="hours of making with price above the least",
        inputs=(stated("", "ice making", bank.cold().span),),
        source="the plant file's tariff",
        confidence="stated",
    )


def rated_ambient(ctx: StudyContext, name: str, rated_c: float) -> None:
    """Judge the ambient at which a refrigeration machine states its duty against the site."""
    hottest = ctx.plant.site.hottest_c
    ctx.find(
        "cooling.rated_ambient",
        "Ambient that refrigeration is rated for",
        rated_c,
        "degC",
        f"{name} is rated at {rated_c:g} degC; the hot afternoon here is {hottest:g} degC."
        + ("" if rated_c >= hottest else " Ask for its duty at that temperature."),
        subject=name,
        limit=hottest,
        sense="at_least",
        allowance=0.0,
        formula="T_rated >= T_hot",
        inputs=(stated("T_hot", "hot afternoon", hottest, "degC"),),
        source="the plant file",
        confidence="stated",
    )
