"""Suction of milk and wash pumps: what stands over boiling at their inlets at the worst."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.wash_heat import saturation_kpa
from byrewright.plant.roles import MovesMilk, MovesWater
from byrewright.results import Remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import Asked, asked, net_of
from byrewright.studies.sizing.sizes import stated, worked
from byrewright.studies.sizing.wash_heat import hottest_wash_c

HELPS = (
    "Where that is not kept, shorten or widen the suction, set the pump lower, or take one that "
    "needs less."
)


@dataclass(frozen=True, slots=True)
class Inlet:
    """What stands at a pump's inlet: the solution, its liquid, and what is left over boiling."""

    at: Asked
    l_min: float
    liquid: str
    boils_kpa: float
    over_m: float


def judge_suction(ctx: StudyContext, pump: MovesMilk, modes: Sequence[Asked]) -> None:
    """Whether the pump's suction stays above boiling with its vessel nearly empty: at the least of
    the modes in which it runs, with milk and wash as warm as they come to it."""
    found = [
        _inlet(one, at.l_min, *_temperature(ctx, at.mode, one))
        for at in modes
        if (one := asked(ctx, pump.id, at.mode, at.l_min, {at.source: 0.0})) is not None
    ]
    if not found:
        return
    low = min(found, key=lambda f: (f.over_m, f.at.mode))
    left_kpa = net_of(ctx).ambient_kpa - low.at.vacuum_kpa
    _judge(
        ctx, pump, low, "delivery.npsh", "Milk pump suction",
        f"in {low.at.mode} at {low.l_min:.0f} L/min of {low.liquid}, with {low.at.source} nearly "
        f"empty and {low.at.vacuum_kpa:.0f} kPa of vacuum over it",
        f"No pump needs so little, and only {left_kpa:.0f} kPa of air stand over the liquid: milk "
        "and wash at a lower vacuum, set the vessel higher over its pump, or widen a suction that "
        "is narrow.",
    )  # fmt: skip


def judge_wash_suction(ctx: StudyContext, pump: MovesWater, duties: Sequence[Asked]) -> None:
    """The same of a pump that pushes wash: as hot as the hottest step is made up."""
    hot_c = max((s.at_c or 0.0 for s in ctx.programme.wash.steps), default=0.0)
    hot_c = max(hot_c, ctx.plant.cleaning.hot_c)
    low = min((_inlet(at, at.l_min, hot_c, "wash") for at in duties), key=lambda f: f.over_m)
    _judge(
        ctx, pump, low, "wash.npsh", "Wash pump suction",
        f"at {low.l_min:.0f} L/min of {low.liquid}, with {low.at.source} nearly empty",
        f"No pump needs so little, and {net_of(ctx).ambient_kpa:.0f} kPa of air stand over the "
        "liquid: wash at less heat, set the vessel higher over its pump, or widen a suction that "
        "is narrow.",
    )  # fmt: skip


def _judge(ctx: StudyContext, pump: MovesMilk | MovesWater, low: Inlet, key: str, title: str,
           where: str, none_does: str) -> None:  # fmt: skip
    stated_m = net_of(ctx).pumps[pump.id].npsh_m
    needs = ctx.number("pump.npsh_m") if stated_m is None else stated_m
    limit = needs + ctx.number("pump.npsh_margin_m")
    do = _thriftier(ctx, pump, low.over_m) if low.over_m < limit else ()
    helps = "" if low.over_m >= limit else f" {HELPS if do else none_does}"
    ctx.find(
        key, title, round(low.over_m, 2), "m",
        f"{pump.id} has {low.over_m:.1f} m of suction head over boiling (NPSH) {where}; it needs "
        f"{needs:g} m and a margin.{helps}",
        subject=pump.id, limit=limit, sense="at_least",
        formula="NPSH = (p_ambient - p_vacuum - p_boils)/(rho g) + z - h_friction",
        inputs=(worked("p_vacuum", "vacuum over the vessel", low.at.vacuum_kpa, "kPa"),
                worked("p_boils", f"boiling of {low.liquid}", round(low.boils_kpa, 2), "kPa"),
                worked("q", "flow", low.l_min, "L/min"),
                ctx.rule("pump.npsh_m", "needs")
                if stated_m is None
                else stated("needs", "its data plate", stated_m, "m"),
                ctx.rule("pump.npsh_margin_m", "margin")),
        source="the solved liquid network, the least of its modes; vapour pressure of water; the "
        "wash as hot as it is once its charge has gone round, in the warmest month"
        if key == "delivery.npsh"
        else "the solved liquid network; vapour pressure of water",
        confidence="derived", remedies=do,
    )  # fmt: skip


def _inlet(at: Asked, l_min: float, warm_c: float, name: str) -> Inlet:
    """What is left over the boiling of a liquid that comes so warm."""
    kpa = saturation_kpa(warm_c)
    per_kpa = 1000 / (at.density_kg_m3 * GRAVITY_M_S2)
    over_m = at.npsh_m + (at.boils_kpa_abs - kpa) * per_kpa
    return Inlet(at, l_min, f"{name} at {warm_c:.0f} degC", kpa, over_m)


def _temperature(ctx: StudyContext, mode: str, at: Asked) -> tuple[float, str]:
    """How warm a milk pump's liquid comes in a mode, and what it is."""
    does = set(ctx.plant.modes[mode].does)
    if "wash" in does:
        return hottest_wash_c(ctx, at.l_min), "wash"
    if "rinse" in does:
        return ctx.plant.cleaning.rinse_c, "rinse water"
    return ctx.number("milk.at_receiver_c"), "milk"


def _thriftier(ctx: StudyContext, pump: MovesMilk | MovesWater, has_m: float) -> tuple[Remedy, ...]:
    """A pump that needs less suction head, where one is made that needs so little."""
    most = math.floor(10 * (has_m - ctx.number("pump.npsh_margin_m")) + 1e-9) / 10
    least = ctx.rules["pump.npsh_m"].low
    if least is None or most < least:
        return ()
    why = f"order one that needs {most:g} m or less: {has_m:.2f} m are there at the worst"
    return (Remedy(pump.id, "npsh_m", most, why, most=True),)
