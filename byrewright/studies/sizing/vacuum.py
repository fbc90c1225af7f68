"""Vacuum pumps, their motors and speed, regulation and the distribution tank."""

from __future__ import annotations

from byrewright.physics.air import nominal_pump_l_min_free
from byrewright.plant.roles import PumpsVacuum, ReceivesMilk, RegulatesVacuum, SharesVacuum
from byrewright.results import Input
from byrewright.studies.sizing.altitude import motors
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import (
    ROOM,
    TIGHT,
    each_carries,
    listed,
    next_motor_kw,
    next_preferred,
    next_round,
    spare,
    stated,
    with_others_off,
    worked,
)
from byrewright.studies.sizing.vacuum_demand import (
    Demand,
    demand,
    say_demands,
    together,
    us_rules,
)

WEAR = 1.15
"""What an advised pump has over its limit, for wear until the next overhaul (our choice)."""


def nominal_l_min(ctx: StudyContext, pump: PumpsVacuum) -> float:
    """A pump's data-plate capacity at nominal conditions (50 kPa, ambient 100 kPa)."""
    return nominal_pump_l_min_free(pump.capacity_l_min_free, pump.at_vacuum_kpa, ctx.rules)


def size_vacuum(ctx: StudyContext, duty: Duty) -> None:
    """Pump demand by each rule set and by washing, pumps, speed, regulation, distribution tank."""
    need = demand(ctx, duty)
    say_demands(ctx, duty, need)
    pumps = ctx.plant.machines(PumpsVacuum)
    if not ctx.plant.able("makes vacuum"):
        ctx.lacks(
            "vacuum.pump",
            "Vacuum pump",
            "No machine makes vacuum: add a vacuum pump joined to the distribution tank.",
        )
        return
    _pumps(ctx, need, pumps)
    _standby(ctx, pumps)
    _motors(ctx, pumps)
    _shared_speed(ctx, need, pumps)
    _regulation(ctx, need, pumps)
    _distribution_tank(ctx)


def _pumps(ctx: StudyContext, need: Demand, pumps: tuple[PumpsVacuum, ...]) -> None:
    redundancy, count = ctx.plant.wishes.redundancy, sum(p.count for p in pumps)
    limit = each_carries(need.needed_l_min, count, redundancy)
    for pump in pumps:
        has = nominal_l_min(ctx, pump)
        factor = has / pump.capacity_l_min_free
        off = with_others_off(pump, pumps, redundancy)
        wanted = next_round(WEAR * limit / factor)
        short = "" if has >= limit else f" Take {wanted:.0f} L/min at {pump.at_vacuum_kpa:g} kPa."
        ctx.find(
            "vacuum.pump.capacity",
            "Vacuum pump capacity",
            has,
            "L/min free",
            f"{pump.id} draws {has:.0f} L/min of free air; {limit:.0f} L/min is needed{off}: "
            f"{spare(has, limit)} (set by {need.governs}).{short}",
            subject=pump.id,
            limit=limit,
            sense="at_least",
            allowance=TIGHT,
            formula="H_0 q_plate >= max(q_milking, q_wash) / pumps that must carry it",
            inputs=(
                stated("q_plate", "data-plate capacity", pump.capacity_l_min_free, "L/min free"),
                stated("p_plate", "vacuum it is stated at", pump.at_vacuum_kpa, "kPa"),
                worked("H_0", "correction to 50 kPa", round(factor, 3)),
                worked(
                    "q_milking",
                    f"milking, {need.held}",
                    need.us_l_min if us_rules(ctx) else need.iso.nominal_l_min_free,
                    "L/min free",
                ),
                worked("q_wash", "washing", need.wash_l_min, "L/min free"),
                stated("", "redundancy wanted", redundancy),
            ),
            source=("us_extension_vacuum" if us_rules(ctx) else "iso5707"),
            confidence="read" if us_rules(ctx) else "from_memory",
            advised=wanted,
            advised_why=f"{need.governs} needs {limit:.0f} L/min{off}; 15 % for wear",
            target=(pump, "capacity_l_min_free"),
        )
        if pump.design != "vane":
            ctx.notes.notes.append(
                f"{pump.id} is not a vane pump: the altitude rule suits vane pumps. A lobe pump is "
                "limited by its discharge temperature, a liquid-ring pump by its water's."
            )


def _standby(ctx: StudyContext, pumps: tuple[PumpsVacuum, ...]) -> None:
    redundancy, count = ctx.plant.wishes.redundancy, sum(p.count for p in pumps)
    if redundancy == "none":
        return
    says = (
        f"{count} vacuum pumps: one may stop."
        if count > 1
        else "One vacuum pump only, though the farm asked that no single failure stop milking: "
        "add a second with its own non-return valve."
    )
    cold = (
        (
            " A standby that is not running does not save the cups: with all vacuum lost they fall "
            "within seconds. Let both run together."
        )
        if redundancy == "duty-and-standby"
        and len(together(ctx.plant, tuple(p.id for p in pumps))) < len(pumps)
        else ""
    )
    ctx.find(
        "vacuum.pump.standby",
        "Second vacuum pump",
        float(count),
        "pumps",
        says + cold,
        limit=2.0,
        sense="at_least",
        formula="pumps >= 2",
        inputs=(stated("", "redundancy wanted", redundancy),),
        source="what the farm asked for",
        confidence="stated",
    )


def _motors(ctx: StudyContext, pumps: tuple[PumpsVacuum, ...]) -> None:
    typical = ctx.rules["vacuum.pump_specific_power_kw_per_1000_l_min"]
    low = typical.value if typical.low is None else typical.low
    air = motors(ctx)
    for pump in pumps:
        nominal = nominal_l_min(ctx, pump) / 1000.0
        ctx.find(
            "vacuum.pump.motor",
            "Vacuum pump motor",
            pump.motor_kw,
            "kW",
            f"The motor of {pump.id} is {pump.motor_kw:g} kW; a pump of its size takes "
            f"{low * nominal:.1f} kW or more. Its data plate decides."
            f"{air.words}",
            subject=pump.id,
            limit=air.rating(low * nominal),
            sense="at_least",
            allowance=0.0,
            formula=f"P >= e q{air.over}",
            inputs=(
                Input(
                    "e",
                    "least shaft power for 1000 L/min",
                    low,
                    "kW",
                    f"{typical.source} ({typical.confidence})",
                ),
                worked("q", "capacity, thousands of L/min", nominal, ""),
                *air.inputs,
            ),
            source=typical.source,
            confidence=typical.confidence,
            advised=next_motor_kw(air.rating(typical.value * nominal), ctx.plant.site.region),
            advised_why=f"{typical.value:g} kW for each 1000 L/min; next motor rating",
            target=(pump, "motor_kw"),
        )


def _shared_speed(ctx: StudyContext, need: Demand, pumps: tuple[PumpsVacuum, ...]) -> None:
    """Running together in steady milking, does each pump stay above its least speed?"""
    names = together(ctx.plant, tuple(p.id for p in pumps))
    running = [p for p in pumps if p.speed == "variable" and p.id in names]
    count = sum(p.count for p in running)
    if ctx.plant.wishes.redundancy == "none" or count < 2:
        return
    steady = need.steady_at_inlet_l_min * need.iso.altitude_factor
    capacity = sum(p.count * nominal_l_min(ctx, p) for p in running)
    share = 100.0 * steady / capacity
    least = max(p.least_speed_pct for p in running)
    excess = capacity * least / 100.0 - steady
    admits = sum(r.count * r.capacity_l_min_free for r in ctx.plant.machines(RegulatesVacuum))
    covered = share < least and admits >= excess
    words = listed([p.id for p in running])
    if share >= least:
        says = (
            f"{words} share steady milking at {share:.0f} % speed each; {least:.0f} % is the least."
        )
    elif covered:
        says = (
            f"{words} together would need only {share:.0f} % speed, below their least of "
            f"{least:.0f} %: they run at {least:.0f} % and the regulator admits "
            f"{excess:.0f} L/min. One alone would save power; the second saves the cups."
        )
    else:
        says = (
            f"{words} together need only {share:.0f} % speed, below their least of "
            f"{least:.0f} %, and no regulator can admit the {excess:.0f} L/min over: vacuum "
            "would rise. Add a regulator, or smaller pumps."
        )
    ctx.find(
        "vacuum.pump.shared_speed",
        "Speed of pumps running together",
        share,
        "%",
        says,
        limit=None if covered else least,
        sense="informational" if covered else "at_least",
        allowance=TIGHT,
        formula="s = H q_steady / sum(q_pump)",
        inputs=(
            worked("H q_steady", "air of steady milking", steady, "L/min free"),
            worked("sum(q_pump)", "capacity of the pumps running", capacity, "L/min free"),
            stated("s_least", "least speed", least, "%"),
        ),
        source="speed taken as proportional to airflow at one vacuum",
        confidence="derived",
    )


def _regulation(ctx: StudyContext, need: Demand, pumps: tuple[PumpsVacuum, ...]) -> None:
    regulators = ctx.plant.machines(RegulatesVacuum)
    fixed = [p for p in pumps if p.speed == "fixed"]
    if not regulators:
        if not fixed:
            ctx.notes.notes.append(
                "The vacuum pumps' speed holds the vacuum; no mechanical regulator backs it up."
            )
            return
        ctx.lacks(
            "vacuum.regulator",
            "Vacuum regulator",
            "Nothing holds the vacuum: the pumps run at one speed and there is no "
            "regulator. Add one near the receivers.",
        )
        return
    names = together(ctx.plant, tuple(p.id for p in pumps))
    running = [p for p in pumps if p.id in names]
    limit = (
        sum(
            p.count
            * nominal_l_min(ctx, p)
            * (1.0 if p.speed == "fixed" else p.least_speed_pct / 100.0)
            for p in running
        )
        / need.iso.altitude_factor
    )
    admits = sum(r.count * r.capacity_l_min_free for r in regulators)
    one = regulators[0]
    each = next_round(ROOM * limit / sum(r.count for r in regulators))
    ctx.find(
        "vacuum.regulator.capacity",
        "Vacuum regulator capacity",
        admits,
        "L/min free",
        f"{listed([r.id for r in regulators])} can admit {admits:.0f} L/min; with no unit in use "
        f"the pumps draw {limit:.0f} L/min at least: {spare(admits, limit)}. When speed control is "
        "lost and a pump runs flat out more may be needed.",
        subject=one.id,
        limit=limit,
        sense="at_least",
        allowance=TIGHT,
        formula="q_reg >= sum(q_pump s_least) / H (s_least = 1 at fixed speed)",
        inputs=(
            worked("q_pump", "pumps running together", listed(names)),
            worked("H", "altitude and vacuum correction", round(need.iso.altitude_factor, 3)),
        ),
        source="air balance with all units shut",
        confidence="derived",
        advised=each,
        advised_why="takes all that the pumps draw at their least speed",
        target=(one, "capacity_l_min_free"),
    )


def _distribution_tank(ctx: StudyContext) -> None:
    tank = ctx.plant.first(SharesVacuum)
    if tank is None:
        ctx.lacks(
            "vacuum.distribution_tank",
            "Vacuum distribution tank",
            "No distribution tank (interceptor) keeps liquid from the vacuum pumps: add one.",
        )
        return
    limit = ctx.number("vacuum.interceptor_least_l")
    spill = max((r.volume_l for r in ctx.plant.machines(ReceivesMilk)), default=limit)
    ctx.find(
        "vacuum.distribution_tank.volume",
        "Vacuum distribution tank volume",
        tank.volume_l,
        "L",
        f"{tank.id} holds {tank.volume_l:.0f} L; at least {limit:.0f} L is required. "
        f"{next_preferred(max(limit, spill)):.0f} L also takes what a flooded receiver sends.",
        subject=tank.id,
        limit=limit,
        sense="at_least",
        allowance=TIGHT,
        formula="V >= V_least",
        inputs=(
            ctx.rule("vacuum.interceptor_least_l", "V_least"),
            stated("", "largest receiver", spill, "L"),
        ),
        source="iso5707",
        confidence="from_memory",
        advised=next_preferred(max(limit, spill)),
        advised_why="takes the content of a receiver if a trap's float lets it pass",
        target=(tank, "volume_l"),
    )
