"""Milk storage: tanks against the tankers' timetable, tank washing, withheld milk."""

from __future__ import annotations

import math

from byrewright.plant.farm import clock
from byrewright.plant.programme import loads_direct
from byrewright.plant.roles import KeepsWithheld, LoadsTankers, StoresMilk
from byrewright.results import Input, Remedy, Series
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import (
    TIGHT,
    listed,
    next_preferred,
    spare,
    stated,
    verb_s,
    worked,
)
from byrewright.studies.sizing.tank_runs import reach_l
from byrewright.studies.sizing.timetable import (
    STEP_MIN,
    Timetable,
    inflow_l,
    run_timetable,
)


def size_storage(ctx: StudyContext, duty: Duty) -> None:
    """Collections, tank volume with reserve, tanks while one is washed, withheld milk."""
    tanks = ctx.plant.machines(StoresMilk)
    if not ctx.plant.able("stores milk") and not any(
        b.direct for b in ctx.plant.machines(LoadsTankers)
    ):
        ctx.lacks("storage.tank", "Bulk tank", "No machine stores milk: add a bulk tank.")
    if not ctx.plant.collections:
        ctx.find(
            "storage.collections",
            "Collections",
            None,
            "L/d",
            "No collections are stated, so the tanks cannot be sized: add when the tanker comes "
            "and what it takes.",
            missing=("collections",),
        )
    else:
        _collections(ctx, duty)
        _volume(ctx, duty, tanks)
        _first_milking(ctx, duty, tanks)
        if tanks:
            _while_washed(ctx, duty, tanks)
    _withheld(ctx, duty)


def _day_l(ctx: StudyContext, duty: Duty) -> float:
    return sum(inflow_l(ctx, duty))


def _collections(ctx: StudyContext, duty: Duty) -> None:
    plant, day = ctx.plant, _day_l(ctx, duty)
    takes = sum(c.tanker_l / c.every_days for c in plant.collections)
    ctx.find(
        "storage.collections",
        "Collections against milk",
        takes,
        "L/d",
        f"The tankers can take {takes:.0f} L a day; {day:.0f} L a day is there to sell: "
        f"{spare(takes, day)}."
        + ("" if takes >= day else " Milk would build up: another visit or a larger tanker."),
        limit=day,
        sense="at_least",
        allowance=0.0,
        formula="sum(tanker / days) >= milk a day",
        inputs=(
            stated("milk a day", "saleable, less calf milk", day, "L/d", "duty"),
            *(
                stated("tanker", f"at {c.at} every {c.every_days} d", c.tanker_l, "L")
                for c in plant.collections
            ),
        ),
        source="mass balance",
        confidence="derived",
    )


def _late_l(ctx: StudyContext, duty: Duty, table: Timetable) -> tuple[float, str]:
    """The most that stands if one tanker is late by the wished reserve, and which."""
    inflow, late = inflow_l(ctx, duty), ctx.plant.wishes.reserve_h
    worst = max(table.content_l, default=0.0)
    which = "between visits"
    for minute, content in table.visits:
        start = minute // STEP_MIN
        more = sum(inflow[(start + i) % len(inflow)] for i in range(round(60 * late / STEP_MIN)))
        if content + more > worst:
            worst = content + more
            which = f"the {clock(minute)} tanker {late:g} h late"
    return worst, which


def _volume(ctx: StudyContext, duty: Duty, tanks: tuple[StoresMilk, ...]) -> None:
    table = run_timetable(ctx, duty)
    peak = max(table.content_l, default=0.0)
    share = ctx.number("tank.reserve_share")
    late, which = _late_l(ctx, duty, table)
    wants = [(late, which), (peak * (1.0 + share), f"peak and {100 * share:.0f} %")]
    inputs: tuple[Input, ...] = (
        worked("V_peak", "most held with every tanker on time", peak, "L"),
        stated("t_late", "reserve wanted", ctx.plant.wishes.reserve_h, "h"),
        worked("V_late", "most held with one tanker late", late, "L"),
        ctx.rule("tank.reserve_share", "r"),
    )
    formula = "V >= max(V_peak (1 + r), V_late)"
    if loads_direct(ctx.plant):
        change = ctx.number("tank.changeover_min")
        wants.append((duty.milk_flow_mean_l_min * change, "one tanker leaves and the next couples"))
        inputs += (
            ctx.rule("tank.changeover_min", "t_change"),
            stated("q", "mean milk flow", duty.milk_flow_mean_l_min, "L/min", "duty"),
        )
        formula = "V >= max(V_peak (1 + r), V_late, q t_change)"
    need, why = max(wants, key=lambda want: want[0])
    total, count = sum(t.count * t.volume_l for t in tanks), sum(t.count for t in tanks)
    ctx.notes.series.append(
        Series(
            "storage.content",
            "Milk in the tanks over a round of collections",
            tuple(i * STEP_MIN / 60.0 for i in range(0, len(table.content_l), 6)),
            "h",
            (("content", "L", tuple(round(v, 1) for v in table.content_l[::6])),),
            "Every tanker on time.",
        )
    )
    if table.grows_l > 1.0:
        ctx.find(
            "storage.volume",
            "Milk storage",
            total,
            "L",
            "The tankers take less than the milk of a day, so no tank volume is enough.",
            formula=formula,
            inputs=inputs,
            source="mass balance over the timetable",
            confidence="derived",
            missing=("collections that take the day's milk",),
        )
        return
    if not tanks:
        ctx.find(
            "storage.volume",
            "Milk storage",
            0.0,
            "L",
            f"No tank; up to {need:.0f} L must be held ({why}).",
            limit=need,
            sense="at_least",
            formula=formula,
            inputs=inputs,
            source="mass balance over the timetable",
            confidence="derived",
        )
        return
    each = next_preferred((1.0 + TIGHT) * need / count)
    for tank in tanks:
        ctx.find(
            "storage.volume",
            "Milk storage",
            total,
            "L",
            f"{listed([t.id for t in tanks])} hold{verb_s(count)} {total:.0f} L; {need:.0f} L is "
            f"needed ({why}): {spare(total, need)}. With every tanker on time "
            f"{peak:.0f} L is held at most.",
            subject=tank.id,
            limit=need,
            sense="at_least",
            allowance=TIGHT,
            formula=formula,
            inputs=inputs,
            source="mass balance over the timetable",
            confidence="derived",
            advised=each,
            advised_why=f"{why}, shared by {count}; next size",
            target=(tank, "volume_l"),
        )


def _first_milking(ctx: StudyContext, duty: Duty, tanks: tuple[StoresMilk, ...]) -> None:
    """Does the smallest milking into an empty tank reach its agitator?"""
    direct = loads_direct(ctx.plant)
    least = min((m.saleable_l for m in duty.milkings), default=0.0)
    for tank in tanks:
        reach = reach_l(ctx, tank)
        reached = least >= reach
        still = tank.little_milk == "cooled_still"
        ctx.find(
            "storage.first_milking",
            "First milking reaches the agitator",
            least,
            "L",
            f"The smallest milking brings {least:.0f} L; the agitator of {tank.id} reaches milk "
            f"from {reach:.0f} L on."
            + ("" if reached else
               " Until a later milking comes that milk is not stirred: it is cooled slowly from "
               "below, with a guard against freezing. Prove it with a first small milking." if still
               else " That milk is neither stirred nor cooled until the next milking: a smaller "
               "first tank, or one that cools unstirred milk (little_milk: cooled_still).")
            + (" A tank that only takes over between tankers may hold less." if direct else ""),
            subject=tank.id,
            # Where it is kept without stirring it holds by a little, never well.
            limit=min(reach, least) if still else reach,
            sense="at_least",
            allowance=TIGHT,
            formula="V_milking >= V_reach",
            inputs=(worked("V_milking", "smallest milking", least, "L"),
                    ctx.rule("tank.stirred_from_share"),
                    stated("V", "rated volume", tank.volume_l, "L")),
            source="en13732",
            confidence="from_memory",
        )  # fmt: skip


def _while_washed(ctx: StudyContext, duty: Duty, tanks: tuple[StoresMilk, ...]) -> None:
    """Can milk go somewhere while a tank is emptied and washed?"""
    count = sum(t.count for t in tanks)
    wash = ctx.number("wash.tank_min")
    bays = ctx.plant.machines(LoadsTankers)
    rate = sum(b.count * b.load_l_min for b in bays) or 800.0
    busy = wash + max(t.volume_l for t in tanks) / rate
    direct = loads_direct(ctx.plant)
    if count > 1 or direct:
        where = "another tank" if count > 1 else "the tanker directly"
        rest = sum(t.count * t.volume_l for t in tanks) - max(t.volume_l for t in tanks)
        comes = duty.milk_flow_mean_l_min * busy
        ctx.find(
            "storage.while_washed",
            "Milk while a tank is washed",
            float(count),
            "tanks",
            f"While a tank is emptied and washed ({busy:.0f} min) milk goes to {where}: up to "
            f"{comes:.0f} L comes in"
            + (f" and there is room for {rest:.0f} L." if count > 1 else "."),
            formula="a second tank, or direct loading",
            inputs=(ctx.rule("wash.tank_min", "t_wash"), stated("", "loading", rate, "L/min")),
            source="the plant file",
            confidence="stated",
        )
        return
    gap = _shortest_pause_min(ctx, duty, tanks[0], rate)
    ctx.find(
        "storage.while_washed",
        "Pause to wash the only tank",
        gap,
        "min",
        f"{tanks[0].id} is the only tank: {gap:.0f} min are free between its emptying and the next "
        f"milk, and a wash takes {wash:.0f} min."
        + ("" if gap >= wash else " Move the collection, or add a second tank."),
        subject=tanks[0].id,
        limit=wash,
        sense="at_least",
        allowance=0.25,
        formula="t_free = next milk - (arrival + content / loading rate)",
        inputs=(ctx.rule("wash.tank_min", "t_wash"), stated("", "loading", rate, "L/min")),
        source="the timetable",
        confidence="derived",
        remedies=()
        if gap >= wash
        else (Remedy(tanks[0].id, "count", 2.0, "milk goes to the other while one is washed"),),
    )


def _shortest_pause_min(ctx: StudyContext, duty: Duty, tank: StoresMilk, rate: float) -> float:
    table, inflow = run_timetable(ctx, duty), inflow_l(ctx, duty)
    pauses = []
    for minute, content in table.visits:
        done = minute + min(content, tank.volume_l) / rate
        step, waited = math.ceil(done / STEP_MIN), 0
        while inflow[(step + waited) % len(inflow)] <= 0.0 and waited < len(inflow):
            waited += 1
        pauses.append(waited * float(STEP_MIN))
    return max(pauses, default=0.0)


def _withheld(ctx: StudyContext, duty: Duty) -> None:
    """Withheld milk of the largest milking against the vessels that take it."""
    vessels = ctx.plant.machines(KeepsWithheld)
    milk = max(m.withheld_l for m in duty.milkings)
    if milk <= 0 and not vessels:
        return
    if not vessels:
        ctx.lacks(
            "storage.withheld",
            "Withheld milk",
            f"{milk:.0f} L a milking must not reach the tank but no vessel takes it: add a "
            "withheld-milk vessel with its own buckets or line.",
        )
        return
    total, count = sum(v.count * v.volume_l for v in vessels), sum(v.count for v in vessels)
    for vessel in vessels:
        ctx.find(
            "storage.withheld",
            "Withheld-milk vessel",
            total,
            "L",
            f"{listed([v.id for v in vessels])} hold{verb_s(count)} {total:.0f} L; {milk:.0f} L a "
            f"milking is withheld: {spare(total, milk)}. Empty and rinse after each milking.",
            subject=vessel.id,
            limit=milk,
            sense="at_least",
            allowance=TIGHT,
            formula="V >= V_withheld",
            inputs=(worked("V_withheld", "withheld in the largest milking", milk, "L"),),
            source="mass balance",
            confidence="derived",
            advised=next_preferred(max(10.0, 1.2 * milk / count)),
            advised_why="a milking's withheld milk and a fifth more, next size",
            target=(vessel, "volume_l"),
        )
