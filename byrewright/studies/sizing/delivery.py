"""Delivery: pipes and head behind the milk pumps, filters, balance tank, calf milk."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from byrewright.physics.pipeflow import bore_for_velocity_mm, velocity_m_s
from byrewright.plant.graph import Edge
from byrewright.plant.plant import Pipe, lengths_from
from byrewright.plant.roles import (
    BalancesMilk,
    FeedsCalves,
    FiltersMilk,
    JoinsDeck,
    LoadsTankers,
    MovesMilk,
    StoresMilk,
)
from byrewright.results import Remedy
from byrewright.standards.pipes import Tube, dairy_tubes, least_milk_bore_mm, next_tube
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import Asked, asked, net_of
from byrewright.studies.sizing.receiving import balance_pumps, receiver_pumps, wash_flow_l_min
from byrewright.studies.sizing.sizes import (
    ROOM,
    TIGHT,
    climb,
    next_preferred,
    spare,
    stated,
    worked,
)
from byrewright.studies.sizing.suction import judge_suction

LEAST_HEAD_M = 6.0
"""Least head that sanitary pumps are offered with (common practice, no source)."""
LEAST_FILTER_M2 = 0.05
"""Cloth of the smallest usual in-line filter (common practice, no source)."""
NO_RISE_M = 0.05
"""Rise under which none is taken to be stated; the site's lift then counts."""
LEVEL_SHARE = 0.3
"""Share of a balance tank held as its normal level (common practice)."""
BUFFER_MIN = 3.0
"""Minutes of the peak over the mean that a balance tank takes (common practice)."""
PUMP_CHANGE_MIN = 2.0
"""Minutes to change to the second pump, with milk still coming (our choice)."""


def size_delivery(ctx: StudyContext, duty: Duty) -> None:
    """Pipes, heads, filters, balance tank and calf milk."""
    plant = ctx.plant
    behind = balance_pumps(ctx)
    peak = duty.milk_flow_peak_l_min
    wash = max(peak, wash_flow_l_min(ctx, duty))
    _pumps(ctx, receiver_pumps(ctx), peak, peak, wash)
    for pumps in behind.values():
        _pumps(ctx, pumps, cooler_flow_l_min(ctx, duty), peak, wash)
    _filters(ctx, duty)
    for tank in plant.machines(BalancesMilk):
        _balance_tank(ctx, duty, tank)
    _calf_milk(ctx, duty)


def cooler_flow_l_min(ctx: StudyContext, duty: Duty) -> float:
    """Milk flow behind a balance tank, as far as it evens it out; without one it is the peak."""
    return (
        duty.milk_flow_met_l_min if ctx.plant.machines(BalancesMilk) else duty.milk_flow_peak_l_min
    )


def _pumps(ctx: StudyContext, pumps: Sequence[MovesMilk], flow: float, peak: float,
           wash: float) -> None:  # fmt: skip
    """The pipes and the head of each pump, by what it moves in each mode in which it runs.

    One that starts and stops moves more than comes; head it needs for what comes, no more.
    """
    gland = ctx.plant.first(JoinsDeck)
    behind = {p.id for group in balance_pumps(ctx).values() for p in group}
    carried: dict[str, float] = {}  # by pipe, and by the gland
    for pump in pumps:
        every = _asked_of(ctx, pump, flow, 0.0 if pump.id in behind else wash)
        onward = _carried(ctx, pump, every, flow, pump.id in behind or not behind)
        for name, q in onward.items():
            carried[name] = max(q, carried.get(name, 0.0))
        if every:
            milked = _asked_of(ctx, pump, min(flow, peak), 0.0) if flow > peak else []
            _head(ctx, pump, [*milked, *(a for a in every if not milked or _washes(ctx, a))])
            judge_suction(ctx, pump, every)
    pipes = {p.id: p for p in ctx.plant.pipes}
    for name in sorted(carried.keys() & pipes.keys()):
        _bore(ctx, pipes[name], carried[name], wash)
    if gland is not None and gland.id in carried:
        _gland(ctx, gland, carried[gland.id], wash)


def _washes(ctx: StudyContext, one: Asked) -> bool:
    """Whether what is asked is asked by a mode that does not milk."""
    return "milking" not in ctx.plant.modes[one.mode].does


def _carried(ctx: StudyContext, pump: MovesMilk, every: Sequence[Asked], flow: float,
             feeds: bool) -> dict[str, float]:  # fmt: skip
    """Most milk that a pump, running alone, sends through each pipe behind it and each machine.

    A pump that stands in every milking mode is taken to send its flow by the shortest ways.
    """
    net = net_of(ctx)
    milking = [a for a in every if "milking" in ctx.plant.modes[a.mode].does]
    found: dict[str, float] = {}
    if milking:
        for one in milking:
            for name, q in one.onward_l_min.items():
                key = name if net.by_id[name].pipe is not None else net.by_id[name].machine or ""
                found[key] = max(q, found.get(key, 0.0))
        return found
    ways = _ways_on(ctx, pump)
    if feeds:
        ways += [net.way(pump.id, feed.id) for feed in ctx.plant.machines(FeedsCalves)]
    for j in (j for way in ways for j in way):
        found[j.pipe.id if j.pipe is not None else j.machine or ""] = flow
    return found


def _ways_on(ctx: StudyContext, pump: MovesMilk) -> list[tuple[Edge, ...]]:
    """The ways to the balance tanks, or where there are none to the tanks and bays, by name."""
    plant = ctx.plant
    for kinds in ((BalancesMilk,), (StoresMilk, LoadsTankers)):
        goals = sorted(m.id for m in plant.equipment.values() if isinstance(m, kinds))
        found = [j for g in goals if (j := net_of(ctx).way(pump.id, g))]
        found = [j for j in found if not _meets_other(ctx, j, pump)]
        if found:
            return found
    return []


def _meets_other(ctx: StudyContext, edges: Sequence[Edge], pump: MovesMilk) -> bool:
    """Whether a way runs on through another milk pump or a tank (it is not this pump's then)."""
    goal = edges[-1].b.machine
    return any(
        j.machine not in (None, pump.id, goal)
        and isinstance(ctx.plant.equipment[j.machine or ""], MovesMilk | StoresMilk)
        for j in edges
    )


def _advised_bore_mm(ctx: StudyContext, flow: float, wash: float) -> float:
    """The largest dairy tube that the wash still scours, else the one for usual milk velocity."""
    scours = bore_for_velocity_mm(wash, ctx.number("wash.full_pipe_velocity_m_s"))
    tubes = dairy_tubes(ctx.plant.site.region)
    least = tube_for(flow, ctx.number("delivery.velocity_milk_m_s"), tubes)
    return max([least, *(t.bore_mm for t in tubes if t.bore_mm <= scours)])


def tube_for(flow_l_min: float, velocity: float, tubes: tuple[Tube, ...]) -> float:
    """The bore of the next dairy tube that keeps a velocity, none under that of a fixed line; of
    the largest where none does.

    >>> from byrewright.standards.pipes import ASME_BPE, ISO_2037
    >>> tube_for(40.0, 1.2, ISO_2037), tube_for(160.0, 1.2, ISO_2037), tube_for(40.0, 1.2, ASME_BPE)
    (35.6, 60.3, 34.8)
    """
    least = max(least_milk_bore_mm(tubes), bore_for_velocity_mm(flow_l_min, velocity))
    return (next_tube(least, tubes) or tubes[-1]).bore_mm


def _bore(ctx: StudyContext, pipe: Pipe, flow: float, wash: float) -> None:
    wished = ctx.rules["delivery.velocity_milk_m_s"]
    most = wished.value if wished.high is None else wished.high
    has = velocity_m_s(flow, pipe.bore_mm)
    advised = _advised_bore_mm(ctx, flow, wash)
    ctx.find(
        "delivery.pipe.velocity",
        "Milk delivery pipe",
        has,
        "m/s",
        f"{pipe.id} ({pipe.bore_mm:g} mm) carries {flow:.0f} L/min at {has:.2f} m/s; "
        f"{wished.value:g} m/s is usual and {most:g} m/s the most.",
        subject=pipe.id,
        limit=most,
        sense="at_most",
        allowance=TIGHT,
        formula="v = q / (pi/4 d^2)",
        inputs=(
            worked("q", "milk flow", flow, "L/min"),
            stated("d", "bore", pipe.bore_mm, "mm"),
            ctx.rule("delivery.velocity_milk_m_s", "v_usual"),
        ),
        source=wished.source,
        confidence=wished.confidence,
        advised=advised,
        advised_why=f"milk at {wished.value:g} m/s or less, and wash fast enough to scour",
        target=(pipe.id, "bore_mm"),
    )


def _gland(ctx: StudyContext, gland: JoinsDeck, flow: float, wash: float) -> None:
    wished = ctx.rules["delivery.velocity_milk_m_s"]
    most = wished.value if wished.high is None else wished.high
    has = velocity_m_s(flow, gland.bore_mm) if gland.bore_mm is not None else None
    advised = _advised_bore_mm(ctx, flow, wash)
    says = (
        f"{gland.id} carries {flow:.0f} L/min of milk at {has:.2f} m/s; {most:g} m/s is the most."
        if has is not None
        else f"{gland.id} states no milk bore; {advised or 0:g} mm would carry {flow:.0f} L/min."
    )
    ctx.find(
        "delivery.gland.bore",
        "Gland milk bore",
        has,
        "m/s",
        says,
        subject=gland.id,
        limit=most,
        sense="at_most",
        allowance=TIGHT,
        formula="v = q / (pi/4 d^2)",
        inputs=(
            worked("q", "milk flow", flow, "L/min"),
            stated("d", "bore", gland.bore_mm or "not stated", "mm" if gland.bore_mm else ""),
            ctx.rule("delivery.velocity_milk_m_s", "v_usual"),
        ),
        source=wished.source,
        confidence=wished.confidence,
        advised=advised,
        advised_why=f"milk at {wished.value:g} m/s or less, and wash fast enough to scour",
        target=(gland, "bore_mm"),
        missing=() if has is not None else (f"milk bore of {gland.id}",),
    )


def _asked_of(ctx: StudyContext, pump: MovesMilk, flow: float, wash: float) -> list[Asked]:
    """What each mode of milking and washing in which a pump runs asks of it, alone."""
    lift = ctx.plant.site.lift_m
    every: list[Asked] = []
    for name, mode in ctx.plant.modes.items():
        milks, washes = "milking" in mode.does, bool({"wash", "rinse"} & set(mode.does))
        if ctx.plant.position(name, pump.id) in (None, "stopped") or not (milks or washes):
            continue
        at = flow if milks else wash
        one = asked(ctx, pump.id, name, at) if at > 0 else None
        if one is None:
            continue
        if one.rise_m < NO_RISE_M and lift > 0 and one.vacuum_kpa > 0:
            one = replace(one, rise_m=one.rise_m + lift, head_m=one.head_m + lift)
        every.append(one)
    return every


def _head(ctx: StudyContext, pump: MovesMilk, every: Sequence[Asked]) -> None:
    """The hardest of the modes in which a pump runs, by the solved network, against its head."""
    worst = max(every, key=lambda a: (a.head_m, a.goal))
    limit = worst.head_m
    milk = [p for p in ctx.plant.pipes if ctx.plant.service_of(p) in ("milk", "wash")]
    laid = lengths_from(milk)
    ctx.find(
        "delivery.head",
        "Milk pump head",
        pump.head_m,
        "m",
        f"{pump.id} gives {pump.head_m:g} m; to {worst.goal} in {worst.mode} it needs "
        f"{climb(worst.rise_m)} and level, {worst.friction_kpa:.0f} kPa of friction, "
        f"{worst.losses_kpa:.0f} kPa in filter, cooler and valves and {worst.vacuum_kpa:.0f} kPa "
        f"of vacuum to draw against: {limit:.1f} m at {worst.l_min:.0f} L/min, "
        f"{spare(pump.head_m, limit)}.",
        subject=pump.id,
        limit=limit,
        sense="at_least",
        allowance=TIGHT,
        formula="H = z + (sum f l/d rho v^2/2 + dp_machines + p_vacuum) / (rho g)",
        inputs=(
            worked("q", "milk or wash flow", worst.l_min, "L/min"),
            worked("z", "rise, and level over the suction", round(worst.rise_m, 3), "m", laid),
            worked(
                "sum f l/d rho v^2/2",
                "friction of the pipes passed",
                worst.friction_kpa,
                "kPa",
                laid,
            ),
            worked("dp_machines", "filter, cooler, valves", worst.losses_kpa, "kPa"),
            worked("p_vacuum", "vacuum it draws against", worst.vacuum_kpa, "kPa"),
            worked("rho", "density of what flows", worst.density_kg_m3, "kg/m3"),
        ),
        source="the solved liquid network: Darcy with Churchill's friction factor",
        confidence="from_memory",
        advised=max(LEAST_HEAD_M, float(math.ceil(limit * ROOM))),
        advised_why="head of its hardest mode and a tenth more, whole metres",
        target=(pump, "head_m"),
    )


def _filters(ctx: StudyContext, duty: Duty) -> None:
    filters = ctx.plant.machines(FiltersMilk)
    if not ctx.plant.able("filters milk"):
        ctx.lacks(
            "delivery.filter",
            "Milk filter",
            "Nothing filters the milk before the cooler: add a filter, two for a plant that "
            "cannot stop.",
        )
        return
    flow = cooler_flow_l_min(ctx, duty)
    speed = ctx.rules["filter.face_velocity_m_s"]
    most = speed.value if speed.high is None else speed.high
    slow = speed.value if speed.low is None else speed.low
    sock = min(f.cows_a_sock for f in filters)
    changes = duty.largest.cows / sock
    every_h = sock / duty.net_cows_h
    twin = sum(f.count for f in filters) > 1 and all(f.while_running for f in filters)
    for one in filters:
        has = flow / 60_000 / one.area_m2
        ctx.find(
            "delivery.filter.area",
            "Milk filter area",
            one.area_m2,
            "m2",
            f"{one.id} passes {flow:.0f} L/min through {one.area_m2:g} m2 at {has:.3f} m/s "
            f"with the other shut; {most:g} m/s is the most.",
            subject=one.id,
            limit=flow / 60_000 / most,
            sense="at_least",
            allowance=TIGHT,
            formula="A = q / (60000 v_most)",
            inputs=(
                worked("q", "milk flow", flow, "L/min"),
                ctx.rule("filter.face_velocity_m_s", "v_usual"),
                stated(
                    "v_most",
                    "most through the cloth",
                    most,
                    "m/s",
                    f"{speed.source} ({speed.confidence})",
                ),
            ),
            source=speed.source,
            confidence=speed.confidence,
            advised=next_preferred(max(LEAST_FILTER_M2, flow / 60_000 / slow)),
            advised_why=f"{slow:g} m/s through the cloth, next size; smallest {LEAST_FILTER_M2:g}",
            target=(one, "area_m2"),
        )
    within = changes > 1.0
    ctx.find(
        "delivery.filter.change",
        "Filter change interval",
        every_h,
        "h",
        f"A sock lasts {sock:.0f} cows, {every_h:.1f} h of milking: {math.ceil(changes - 1e-9)} a "
        f"milking of {duty.largest.cows} cows."
        + (
            ""
            if not within
            else " The twin filter is changed while milking runs."
            if twin
            else " One filter must be changed in the middle of milking: fit a second with its own "
            "valves and change while running."
        ),
        limit=duty.largest.hours if within and not twin else None,
        sense="at_least" if within and not twin else "informational",
        formula="t = cows a sock / net",
        inputs=(
            stated("cows a sock", "cows through one sock", sock),
            worked("net", "cows an hour, net", duty.net_cows_h, "1/h"),
            ctx.rule("filter.cows_a_sock", "usual"),
        ),
        source="practice",
        confidence="common_practice",
        remedies=tuple(
            Remedy(f.id, "while_running", True, "a second beside it, with valves of its own")
            for f in filters
        )
        if within and not twin
        else (),
    )


def _balance_tank(ctx: StudyContext, duty: Duty, tank: BalancesMilk) -> None:
    surge = (duty.milk_flow_peak_l_min - duty.milk_flow_mean_l_min) * BUFFER_MIN
    pause = duty.milk_flow_mean_l_min * PUMP_CHANGE_MIN
    held = tank.led_at_l
    level = held if held is not None else LEVEL_SHARE * tank.volume_l
    free = max(0.0, tank.volume_l - level)
    need = surge + pause
    advised = next_preferred((1.0 + TIGHT) * need / (1 - LEVEL_SHARE))
    ctx.find(
        "delivery.balance_tank",
        "Balance tank, room above its level",
        free,
        "L",
        f"{tank.id} has {free:.0f} L free above its level; {need:.0f} L takes {BUFFER_MIN:g} min "
        f"of peak over mean and {PUMP_CHANGE_MIN:g} min to change pumps: {spare(free, need)}.",
        subject=tank.id,
        limit=need,
        sense="at_least",
        allowance=TIGHT,
        formula="V (1 - 0.3) >= (q_peak - q_mean) t_peak + q_mean t_change",
        inputs=(
            worked("q_peak", "one-minute peak", duty.milk_flow_peak_l_min, "L/min"),
            worked("q_mean", "mean flow", duty.milk_flow_mean_l_min, "L/min"),
            worked("t_peak", "minutes of peak", BUFFER_MIN, "min", "common practice, no source"),
            worked("t_change", "time to change pumps", PUMP_CHANGE_MIN, "min", "our choice"),
        ),
        source="mass balance",
        confidence="derived",
        advised=advised,
        advised_why="peaks and a change of pumps above a level of 30 %",
        target=(tank, "volume_l"),
    )
    if held is not None:
        usual = round(LEVEL_SHARE * tank.volume_l, 1)
        ctx.find(
            "delivery.balance_tank.level",
            "Level the balance tank holds",
            held,
            "L",
            f"{tank.id} is held at {held:g} L of its {tank.volume_l:g} L; {usual:g} L is usual.",
            subject=tank.id,
            limit=2 * usual,
            sense="at_most",
            formula="level <= 0.6 V",
            inputs=(stated("V", "balance tank", tank.volume_l, "L"),),
            source="practice",
            confidence="common_practice",
            advised=usual,
            advised_why="30 % of the tank",
            target=(tank, "led_at_l"),
        )


def _calf_milk(ctx: StudyContext, duty: Duty) -> None:
    for feed in ctx.plant.machines(FeedsCalves):
        least = min(m.saleable_l for m in duty.milkings)
        ctx.find(
            "delivery.calf.vessel",
            "Calf-milk vessel",
            feed.volume_l,
            "L",
            f"{feed.id} holds {feed.volume_l:.0f} L for {feed.draw_l_milking:.0f} L drawn each "
            f"milking: {spare(feed.volume_l, feed.draw_l_milking)}.",
            subject=feed.id,
            limit=feed.draw_l_milking,
            sense="at_least",
            allowance=TIGHT,
            formula="V >= draw",
            inputs=(stated("draw", "milk drawn each milking", feed.draw_l_milking, "L"),),
            source="what the farm asked for",
            confidence="stated",
            advised=next_preferred(max(20.0, feed.draw_l_milking * 1.1)),
            advised_why="the draw and a tenth more, next size",
            target=(feed, "volume_l"),
        )
        flow = cooler_flow_l_min(ctx, duty)
        takes = f"{feed.draw_l_milking / flow:.1f} min of the flow" if flow > 0 else "all there is"
        share = (
            f" and {100 * feed.draw_l_milking / least:.1f} % of the smallest milking's "
            f"{least:.0f} L that may be sold."
            if least > 0
            else "; no milk of the smallest milking may be sold."
        )
        ctx.find(
            "delivery.calf.draw",
            "Calf-milk draw",
            feed.draw_l_milking,
            "L",
            f"The draw of {feed.draw_l_milking:.0f} L takes {takes}{share}",
            subject=feed.id,
            limit=least,
            sense="at_most",
            formula="draw <= milk",
            inputs=(
                stated("draw", "milk drawn each milking", feed.draw_l_milking, "L"),
                worked("milk", "saleable milk of the smallest milking", least, "L"),
                worked("q", "milk flow", cooler_flow_l_min(ctx, duty), "L/min"),
            ),
            source="mass balance",
            confidence="derived",
        )
