"""Suction of milk pumps: what stands over boiling at their inlets, in each mode they run in."""

from __future__ import annotations

import math
from collections.abc import Sequence

from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.wash_heat import saturation_kpa
from byrewright.plant.roles import MovesMilk
from byrewright.results import Remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import Asked, asked, net_of
from byrewright.studies.sizing.sizes import stated, worked
from byrewright.studies.sizing.wash_heat import hottest_wash_c


def judge_suction(ctx: StudyContext, pump: MovesMilk, modes: Sequence[Asked]) -> None:
    """Whether the pump's suction stays above boiling with its vessel nearly empty: at the least of
    the modes in which it runs, with milk and wash as warm as they come to it."""
    found = [
        (one, *_boiling(ctx, at.mode, one), at)
        for at in modes
        if (one := asked(ctx, pump.id, at.mode, at.l_min, {at.source: 0.0})) is not None
    ]
    if not found:
        return
    low, has_m, boils_kpa, liquid, at = min(found, key=lambda f: (f[1], f[0].mode))
    stated_m = net_of(ctx).pumps[pump.id].npsh_m
    needs = ctx.number("pump.npsh_m") if stated_m is None else stated_m
    limit = needs + ctx.number("pump.npsh_margin_m")
    do = _thriftier(ctx, pump, has_m) if has_m < limit else ()
    helps = ("Where that is not kept, shorten or widen the suction, set the pump lower, or take "
             "one that needs less.")  # fmt: skip
    if has_m < limit and not do:
        left_kpa = net_of(ctx).ambient_kpa - low.vacuum_kpa
        helps = (f"No pump needs so little, and only {left_kpa:.0f} kPa of air stand over the "
                 "liquid: milk and wash at a lower vacuum, set the vessel higher over its pump, or "
                 "widen a suction that is narrow.")  # fmt: skip
    ctx.find(
        "delivery.npsh",
        "Milk pump suction",
        round(has_m, 2),
        "m",
        f"{pump.id} has {has_m:.1f} m over boiling at its inlet in {at.mode} at "
        f"{at.l_min:.0f} L/min of {liquid}, with {at.source} nearly empty and "
        f"{low.vacuum_kpa:.0f} kPa of vacuum over it; it needs {needs:g} m and a margin. {helps}",
        subject=pump.id,
        limit=limit,
        sense="at_least",
        formula="NPSH = (p_ambient - p_vacuum - p_boils)/(rho g) + z - h_friction",
        inputs=(
            worked("p_vacuum", "vacuum over the vessel", low.vacuum_kpa, "kPa"),
            worked("p_boils", f"boiling of {liquid}", round(boils_kpa, 2), "kPa"),
            worked("q", "flow", at.l_min, "L/min"),
            ctx.rule("pump.npsh_m", "needs")
            if stated_m is None
            else stated("needs", "its data plate", stated_m, "m"),
            ctx.rule("pump.npsh_margin_m", "margin"),
        ),
        source="the solved liquid network, the least of its modes; vapour pressure of water; the "
        "wash as hot as it is once its charge has gone round, in the warmest month",
        known="derived",
        remedies=do,
    )


def _boiling(ctx: StudyContext, mode: str, at: Asked) -> tuple[float, float, str]:
    """NPSH that is there, m, the pressure at which the liquid boils, kPa, and the liquid as it
    comes to the pump in a mode."""
    does = set(ctx.plant.modes[mode].does)
    if "wash" in does:
        warm_c, name = hottest_wash_c(ctx, at.l_min), "wash"
    elif "rinse" in does:
        warm_c, name = ctx.plant.cleaning.rinse_c, "rinse water"
    else:
        warm_c, name = ctx.number("milk.at_receiver_c"), "milk"
    kpa = saturation_kpa(warm_c)
    per_kpa = 1000 / (at.density_kg_m3 * GRAVITY_M_S2)
    return at.npsh_m + (at.boils_kpa_abs - kpa) * per_kpa, kpa, f"{name} at {warm_c:.0f} degC"


def _thriftier(ctx: StudyContext, pump: MovesMilk, has_m: float) -> tuple[Remedy, ...]:
    """A pump that needs less suction head, where one is made that needs so little."""
    most = math.floor(10 * (has_m - ctx.number("pump.npsh_margin_m")) + 1e-9) / 10
    least = ctx.rules["pump.npsh_m"].low
    if least is None or most < least:
        return ()
    why = f"order one that needs {most:g} m or less: {has_m:.2f} m are there at the worst"
    return (Remedy(pump.id, "npsh_m", most, why, most=True),)
