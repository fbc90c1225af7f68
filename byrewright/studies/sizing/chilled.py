"""Pumps of the chilled liquid: the cooler's second stage and the tank that is cooling."""

from __future__ import annotations

from collections.abc import Mapping

from byrewright.engine.liquids import LiquidsUnsolved
from byrewright.plant.roles import CoolsMilk, MovesWater, StoresMilk
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import in_line, liquid_for
from byrewright.studies.sizing.network import Asked, asked, ports_to, reaching
from byrewright.studies.sizing.pumping import PumpDuty, size_pump


def tank_flow_l_min(ctx: StudyContext, tank: StoresMilk) -> float:
    """Chilled liquid that takes a tank's cooling duty out at the usual warming, L/min."""
    per_l = liquid_for(ctx, tank.id).kj_l_k
    return tank.cooling_kw * 60.0 / (per_l * ctx.number("coolant.rise_k"))


def size_chilled_pumps(ctx: StudyContext, duty: Duty) -> None:
    """Flow, head, motor and pipes of pumps that feed a chilled stage or a tank's jacket."""
    plant = ctx.plant
    line = in_line(ctx, duty).each
    wants = {
        c.id: s.ratio * c.count * line[c.id].milk_l_min
        for c in plant.machines(CoolsMilk) if (s := c.stage("coolant"))
    }  # fmt: skip
    wants |= {t.id: tank_flow_l_min(ctx, t) for t in plant.machines(StoresMilk) if t.takes_coolant}
    found: list[tuple[MovesWater, PumpDuty]] = []
    for pump in plant.machines(MovesWater):
        fed = {n.machine for n in ports_to(ctx, pump.id, list(wants)) if n.port == "coolant_in"}
        one = _solved(ctx, pump, {tag: q for tag, q in wants.items() if tag in fed})
        if one is not None:
            found.append((pump, one))
    alone = plant.wishes.redundancy != "none"
    shared = 1 if alone else sum(p.count for p, _ in found)
    for pump, one in found:
        size_pump(ctx, pump, [one], "chilled.pump", shared, "coolant")


def _solved(ctx: StudyContext, pump: MovesWater, wants: Mapping[str, float]) -> PumpDuty | None:
    """The duty by the solved network: every user on the ring has its flow at once.

    One tank cools at a time; one that stands still passes liquid where no valve shuts its jacket.
    A curve stated with water is taken to hold: at under 20 mPa.s it loses next to nothing.
    """
    if not wants:
        return None
    tanks = [q for tag, q in wants.items() if isinstance(ctx.plant.equipment[tag], StoresMilk)]
    least = sum(wants.values()) - sum(tanks) + max(tanks, default=0.0)
    ports = {(tag, "coolant_in"): q for tag, q in wants.items()}
    found: list[Asked] = []
    may = [m for m in ctx.plant.modes if ctx.plant.position(m, pump.id) not in (None, "stopped")]
    for name in may or ctx.plant.modes:
        try:
            q = reaching(ctx, pump.id, name, least, ports)
        except LiquidsUnsolved:
            continue
        one = asked(ctx, pump.id, name, least if q is None else q)
        found += [one] if one is not None else []
    if not found:
        return None
    worst = max(found, key=lambda one: (one.head_m, one.mode))
    users = " and ".join(sorted(wants))
    what = "every user of the chilled ring at once" if len(wants) > 1 else users
    return PumpDuty(what, worst.l_min, worst)
