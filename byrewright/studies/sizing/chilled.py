"""Pumps of the chilled liquid: the cooler's second stage and the tank that is cooling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from byrewright.engine.circuits import coolant_of
from byrewright.engine.liquids import LiquidsUnsolved
from byrewright.physics.coolant import drop_share
from byrewright.plant.roles import CoolsMilk, MovesWater, StoresMilk
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import Asked, asked, hardest, net_of, reaching
from byrewright.studies.sizing.paths import ways_of
from byrewright.studies.sizing.pumping import PumpDuty, duty_to, size_pump


def tank_flow_l_min(ctx: StudyContext, tank: StoresMilk) -> float:
    """Chilled liquid that takes a tank's cooling duty out at the usual warming, L/min."""
    per_l = coolant_of(ctx.plant, ctx.rules).kj_l_k
    return tank.cooling_kw * 60.0 / (per_l * ctx.number("coolant.rise_k"))


def size_chilled_pumps(ctx: StudyContext, duty: Duty) -> None:
    """Flow, head, motor and pipes of pumps that feed a chilled stage or a tank's jacket."""
    plant = ctx.plant
    ways = ways_of(plant, "coolant", directed=True)
    milk, drop = cooler_flow_l_min(ctx, duty), ctx.number("coolant.tank_drop_kpa")
    stages = [(c, s) for c in plant.machines(CoolsMilk) if (s := c.stage("coolant"))]
    tanks = [t for t in plant.machines(StoresMilk) if t.takes_coolant]
    stage = sum(s.ratio * c.count for c, s in stages) * milk
    jacket = max((tank_flow_l_min(ctx, t) for t in tanks), default=0.0)
    found: list[tuple[MovesWater, list[PumpDuty]]] = []
    for pump in plant.machines(MovesWater):
        cooler = duty_to(ways, pump, [c.id for c, _ in stages], "the chilled stage", stage, 0.0)
        tank = duty_to(ways, pump, [t.id for t in tanks], "a cooling tank", jacket, drop)
        duties = [d for d in (cooler, tank) if d is not None]
        if len(duties) == 2:
            longest = max(duties, key=lambda d: len(d.joints))
            both = PumpDuty("chilled stage and a cooling tank at once", stage + jacket, longest.kpa,
                            longest.joints)  # fmt: skip
            duties.append(both)
        liquid = coolant_of(plant, ctx.rules)
        # A curve stated with water is taken to hold: at under 20 mPa.s it loses next to nothing.
        duties = [replace(d, density_kg_m3=liquid.density_kg_m3,
                          viscosity_mpa_s=liquid.viscosity_mpa_s, drop_share=drop_share(liquid),
                          kpa=d.kpa * drop_share(liquid)) for d in duties]  # fmt: skip
        if duties:
            found.append((pump, [_solved(ctx, pump, duties[-1], stages, tanks, milk)]))
    alone = plant.wishes.redundancy != "none"
    shared = 1 if alone else sum(p.count for p, _ in found)
    for pump, duties in found:
        size_pump(ctx, pump, duties, "chilled.pump", max(1, shared), "coolant")


def _solved(
    ctx: StudyContext,
    pump: MovesWater,
    duty: PumpDuty,
    stages: Sequence[tuple[CoolsMilk, Any]],
    tanks: Sequence[StoresMilk],
    milk: float,
) -> PumpDuty:
    """The duty by the solved network: every user on the ring has its flow at once.

    A tank that stands still passes liquid where no valve shuts its jacket.
    """
    net = net_of(ctx)
    ring = set(net.ring(net.port(pump.id, net.movers[pump.id].outlet)))
    wants = {(c.id, "coolant_in"): s.ratio * c.count * milk for c, s in stages if c.id in ring}
    wants |= {(t.id, "coolant_in"): tank_flow_l_min(ctx, t) for t in tanks if t.id in ring}
    found: list[tuple[float, Asked]] = []
    for name in ctx.plant.modes:
        if ctx.plant.position(name, pump.id) in (None, "stopped") or not wants:
            continue
        try:
            q = reaching(ctx, pump.id, name, duty.flow_l_min, wants)
        except LiquidsUnsolved:
            continue
        one = asked(ctx, pump.id, name, q) if q is not None else None
        if q is not None and one is not None:
            found.append((q, one))
    if not found:
        return replace(duty, asked=hardest(ctx, pump.id, duty.flow_l_min))
    q, one = max(found, key=lambda f: (f[1].head_m, f[1].mode))
    what = "every user of the chilled ring at once" if len(wants) > 1 else duty.what
    return replace(duty, what=what, flow_l_min=q, asked=one)
