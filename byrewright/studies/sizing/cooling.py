"""Cooling in line: plate cooler stages, cooling water, chillers and ice banks."""

from __future__ import annotations

import math
from contextlib import suppress

from byrewright.physics.errors import PhysicsRangeError
from byrewright.physics.heat import exchanger, ua_for_hot_out_kw_k
from byrewright.plant.primitives import Exchange
from byrewright.plant.roles import CoolsMilk, Stage, StoresMilk
from byrewright.results import Input, Table
from byrewright.studies.sizing.cold import cold_plants
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.coolant import judge_coolant
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import (
    InLine,
    Line,
    chilled_u_share,
    coolant_kw_k,
    in_line,
    milk_kw_k,
    water_kw_k,
)
from byrewright.studies.sizing.network import dry_in
from byrewright.studies.sizing.sizes import TIGHT, listed, next_preferred, stated, worked
from byrewright.studies.sizing.steps import field

NTU_FORMULA = "T_out = T_in - e C_min (T_in - t_in) / C_milk, e = f(UA / C_min, C_min / C_max)"
KAYS = "kays_london"
FLOW_STEP_L_MIN = 10.0
"""Steps in which the flow that a cooler is ordered for is stated (our choice)."""


def size_cooling(ctx: StudyContext, duty: Duty) -> None:
    """Plate cooler stages, cooling water, chillers and ice banks."""
    coolers = ctx.plant.machines(CoolsMilk)
    if not coolers:
        ctx.notes.notes.append(
            f"No cooler in the milk's way: milk reaches the tank at "
            f"{duty.milk_at_receiver_c:.0f} degC and refrigeration carries all the heat."
        )
    point = in_line(ctx, duty)
    for cooler in coolers:
        for stage in cooler.stages():
            judge = _water_stage if stage.cold == "water" else _chilled_stage
            judge(ctx, duty, cooler, stage, point.each[cooler.id])
        _reached(ctx, cooler)
        _ordered_for(ctx, cooler, point.each[cooler.id].milk_l_min)
    if coolers:
        _stages(ctx, duty, point)
        _outlet(ctx, duty, point)
        _water(ctx, duty, point)
    wants_cold = point.chilled_kw > 0 or any(
        t.takes_coolant for t in ctx.plant.machines(StoresMilk)
    )
    if wants_cold:
        cold_plants(ctx, duty, point)
        judge_coolant(ctx, point)


def _reached(ctx: StudyContext, cooler: CoolsMilk) -> None:
    """Fails where milk runs through a stage that its water or chilled liquid does not reach."""
    for stage in (x for x in cooler.lower() if isinstance(x, Exchange)):
        dry = dry_in(ctx, cooler.id, stage.cold_in)
        if dry:
            ctx.find(
                "cooling.reaches", "Modes in which nothing cools the milk", float(len(dry)),
                "modes",
                f"In {listed(dry)} milk runs and nothing reaches {cooler.id} at {stage.cold_in}: a "
                "valve on its way is shut, or its pump is stopped or too weak. Milk is then as "
                "much warmer as that "
                "stage would cool it.",
                subject=f"{cooler.id}.{stage.cold_in}", limit=0.0, sense="at_most",
                formula="flow at the port in each mode", source="the solved liquid network",
                confidence="derived",
            )  # fmt: skip


def _ordered_for(ctx: StudyContext, cooler: CoolsMilk, milk_l_min: float) -> None:
    """The milk flow that a cooler is ordered for: its passes are chosen so that it loses no more
    at that flow than is stated. Its area alone does not tell: stages differ in transfer units."""
    ctx.find(
        "cooling.plate.flow", f"Milk flow that the {type(cooler).TITLE.lower()} is ordered for",
        milk_l_min, "L/min",
        f"{cooler.id} passes {milk_l_min:.0f} L/min of milk: order it to lose no more than "
        f"{cooler.milk_drop_kpa:.0f} kPa at that flow.",
        subject=cooler.id, formula="milk flow, as far as a balance tank evens it out",
        inputs=(field(cooler, "milk_drop_kpa", "dp"),), source="practice",
        confidence="common_practice",
        advised=FLOW_STEP_L_MIN * math.ceil(milk_l_min / FLOW_STEP_L_MIN),
        advised_why="milk flow that it is ordered for, rounded up",
        target=(cooler, cooler.FLOW_FIELD) if cooler.FLOW_FIELD else None,
    )  # fmt: skip


def _stages(ctx: StudyContext, duty: Duty, point: Line) -> None:
    """The four temperatures of every stage, as the milk meets them."""
    rows = []
    for tag, one in point.each.items():
        both = (
            ("water", "water", one.first, one.in_c, duty.water_warmest_c),
            ("coolant", "chilled", one.second, one.pre_cooled_c, one.coolant_in_c),
        )
        for liquid, stage, got, hot, cold in both:
            if got is not None and cold is not None and liquid not in one.dry:
                rows.append((tag, stage, round(one.milk_l_min * one.count, 1), round(hot, 2),
                             round(got.hot_out_c, 2), round(cold, 2), round(got.cold_out_c, 2),
                             round(got.duty_kw * one.count, 2), round(got.ntu, 2)))  # fmt: skip
    ctx.notes.tables.append(Table(
        "cooling.stages", "Stages of the coolers, as the milk meets them",
        ("cooler", "stage", "milk", "milk in", "milk out", "cold in", "cold out", "heat", "NTU"),
        ("", "", "L/min", "degC", "degC", "degC", "degC", "kW", ""), tuple(rows),
        note="At design flow in the warmest month of water.",
    ))  # fmt: skip


def _usual_approach_k(ctx: StudyContext, ratio: float) -> tuple[float, float]:
    """Usual and greatest usual approach at a water ratio, straight between one and two to one."""
    one, two = ctx.rules["plate.approach_one_to_one_k"], ctx.rules["plate.approach_k"]
    at = min(max(ratio - 1.0, 0.0), 1.0)
    usual = one.value + at * (two.value - one.value)
    most = (one.high or one.value) + at * ((two.high or two.value) - (one.high or one.value))
    return usual, most


def _stage_inputs(cooler: CoolsMilk, stage: Stage) -> tuple[Input, ...]:
    """What the plant file says that a stage's heat transfer follows from."""
    sized = (field(cooler, stage.sized_by, "A"),) if stage.sized_by else ()
    return (*sized, worked("UA", "heat transfer, clean", round(stage.ua_kw_k, 3), "kW/K"))


def _advised_size(stage: Stage, ua_kw_k: float) -> float | None:
    size = stage.size_for(ua_kw_k)
    return None if size is None else next_preferred(size)


def _target(cooler: CoolsMilk, stage: Stage) -> tuple[CoolsMilk, str] | None:
    return (cooler, stage.sized_by) if stage.sized_by else None


def _water_stage(
    ctx: StudyContext, duty: Duty, cooler: CoolsMilk, stage: Stage, point: InLine
) -> None:
    usual, most = _usual_approach_k(ctx, stage.ratio)
    hot = milk_kw_k(ctx, point.milk_l_min)
    cold = water_kw_k(ctx, stage.ratio * point.milk_l_min)
    got = exchanger(hot, point.in_c, cold, duty.water_warmest_c, stage.ua_kw_k)
    approach = got.hot_out_c - duty.water_warmest_c
    advised, why = None, "no size can reach it with this water"
    try:
        ua = ua_for_hot_out_kw_k(
            hot, point.in_c, cold, duty.water_warmest_c, duty.water_warmest_c + usual
        )
        advised = _advised_size(stage, ua)
        why = f"milk leaves {usual:.1f} K above the warmest month's water, usual at this ratio"
    except PhysicsRangeError:
        pass
    ctx.find(
        "cooling.plate.approach",
        f"{type(cooler).TITLE}, water stage",
        approach,
        "K",
        f"{cooler.id} brings {point.milk_l_min:.0f} L/min of milk from {point.in_c:.0f} to "
        f"{got.hot_out_c:.1f} degC with {stage.ratio:g} parts of water to 1 of milk at "
        f"{round(duty.water_warmest_c, 1):g} degC: {approach:.1f} K above the water, NTU "
        f"{got.ntu:.1f}; {most:.1f} K at most is usual at that ratio.",
        subject=cooler.id,
        limit=most,
        sense="at_most",
        allowance=TIGHT,
        formula=NTU_FORMULA,
        inputs=(
            worked("q_milk", "milk flow through it", point.milk_l_min, "L/min"),
            *_stage_inputs(cooler, stage),
            worked("UA / C_min", "NTU", round(got.ntu, 3)),
            worked("e", "effectiveness", round(got.effectiveness, 4)),
            worked("C_min / C_max", "capacity ratio", round(got.capacity_ratio, 4)),
            worked("C_milk", "capacity flow of the milk", round(hot, 3), "kW/K"),
            worked("C_min", "the smaller of milk's and water's", round(min(hot, cold), 3), "kW/K"),
            worked("T_in", "milk as it comes to it", round(point.in_c, 2), "degC"),
            stated(
                "t_in", f"water, month {duty.water_warmest_month}", duty.water_warmest_c, "degC"
            ),
            ctx.rule("plate.approach_k", "dT at 2:1"),
            ctx.rule("plate.approach_one_to_one_k", "dT at 1:1"),
        ),
        source=KAYS,
        confidence="read",
        advised=advised,
        advised_why=why,
        target=_target(cooler, stage),
    )


def _chilled_stage(
    ctx: StudyContext, duty: Duty, cooler: CoolsMilk, stage: Stage, point: InLine
) -> None:
    if point.coolant_in_c is None:
        ctx.lacks(
            "cooling.coolant",
            "Chilled liquid",
            f"{cooler.id} has a chilled stage but nothing makes chilled liquid for it.",
        )
        return
    wanted = duty.tank_inlet_c
    hot = milk_kw_k(ctx, point.milk_l_min)
    cold = coolant_kw_k(ctx, stage.ratio * point.milk_l_min, cooler.id)
    advised, why = None, "no size can reach it: colder or more liquid is needed"
    if point.dry:
        why = "what is missing is its liquid, not its size"
    else:
        with suppress(PhysicsRangeError):
            ua = ua_for_hot_out_kw_k(hot, point.pre_cooled_c, cold, point.coolant_in_c, wanted)
            advised = _advised_size(stage, ua / chilled_u_share(ctx, cooler.id))
            why = f"milk leaves at {wanted:.3g} degC in the warmest month of water"
    got = point.second
    ctx.find(
        "cooling.chilled.out",
        f"{type(cooler).TITLE}, chilled stage",
        point.out_c,
        "degC",
        f"{cooler.id} brings milk from {point.pre_cooled_c:.1f} to {point.out_c:.1f} degC with "
        f"liquid at {point.coolant_in_c:g} degC; {wanted:.3g} degC is wanted into the tank. "
        "Water is taken as it comes from its source; what stood in a tank is warmer at first.",
        subject=cooler.id,
        limit=wanted,
        sense="at_most",
        allowance=0.0,
        formula=NTU_FORMULA,
        inputs=(
            *_stage_inputs(cooler, stage),
            worked(
                "f_U",
                "share of it that the chilled liquid's film leaves",
                round(chilled_u_share(ctx, cooler.id), 3),
            ),
            stated("ratio", "liquid to milk", stage.ratio),
            worked("T_in", "milk from the water stage", point.pre_cooled_c, "degC"),
            stated("t_in", "chilled liquid", point.coolant_in_c, "degC"),
            worked("C_milk", "capacity flow of the milk", round(hot, 3), "kW/K"),
            worked("C_min", "the smaller of milk's and liquid's", round(min(hot, cold), 3), "kW/K"),
            *(
                (
                    worked("UA / C_min", "NTU", round(got.ntu, 3)),
                    worked("e", "effectiveness", round(got.effectiveness, 4)),
                    worked("C_min / C_max", "capacity ratio", round(got.capacity_ratio, 4)),
                )
                if got
                else ()
            ),
        ),
        source=KAYS,
        confidence="read",
        advised=advised,
        advised_why=why,
        target=_target(cooler, stage),
    )


def _outlet(ctx: StudyContext, duty: Duty, point: Line) -> None:
    wish = ctx.plant.wishes.milk_out_c
    dry = {liquid for one in point.each.values() for liquid in one.dry}
    said = " and no ".join(sorted({"coolant": "chilled liquid"}.get(x, x) for x in dry))
    ctx.find(
        "cooling.milk_out",
        "Milk temperature into the tank",
        point.out_c,
        "degC",
        f"Milk leaves the cooler at {point.out_c:.1f} degC in the warmest month of water "
        f"({round(duty.water_warmest_c, 1):g} degC)"
        + (
            f"; the farm asked for {wish:.3g} degC."
            if wish is not None
            else "; the tank does the rest."
        )
        + (
            f" {100 * point.past_share:.0f} % of it goes past the cooler: a way round is open in "
            f"milking."
            if point.past_share
            else ""
        )
        + (f" In the usual mode no {said} reaches it." if said else ""),
        limit=wish,
        sense="at_most" if wish is not None else "informational",
        allowance=0.0,
        formula="the cooler's last stage, stage by stage",
        inputs=(
            worked("T_in", "milk at the receiver", duty.milk_at_receiver_c, "degC"),
            stated("t_in", "water, warmest month", duty.water_warmest_c, "degC"),
            worked("T_1", "after the water stage", round(point.pre_cooled_c, 2), "degC"),
        ),
        source=KAYS,
        confidence="read",
    )


def _water(ctx: StudyContext, duty: Duty, point: Line) -> None:
    if point.water_out_c is None:
        return
    flow, milk = point.water_l_min, cooler_flow_l_min(ctx, duty)
    day = flow / milk * duty.saleable_l_day / 1000.0
    ctx.find(
        "cooling.water_flow",
        "Cooling water",
        flow,
        "L/min",
        f"The coolers take {flow:.0f} L/min of water while milking, {day:.1f} m3 a day, and warm "
        f"it to {point.water_out_c:.0f} degC: use it again for drinking and washing.",
        formula="q_water = ratio q_milk",
        inputs=(
            worked("q_milk", "milk flow", milk, "L/min"),
            stated("ratio", "water to milk, from the coolers in the file", round(flow / milk, 3)),
            ctx.rule("plate.water_ratio", "usual ratio"),
        ),
        source="mass balance",
        confidence="derived",
    )
