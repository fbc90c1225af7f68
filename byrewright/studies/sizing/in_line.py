"""What the plate coolers do to the milk at design flow: one working point for all topics."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.engine.circuits import coolant_of
from byrewright.physics.coolant import plate_u_share
from byrewright.physics.heat import Exchanger, exchanger
from byrewright.physics.milk import heat_load_kw
from byrewright.plant.roles import CoolsMilk, MakesCold
from byrewright.studies.sizing.context import Bench
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty


@dataclass(frozen=True, slots=True)
class InLine:
    """What the coolers do to the milk at design flow in the warmest month of water."""

    milk_l_min: float
    """Through each cooler."""
    water_l_min: float
    """Of each cooler."""
    count: int
    pre_cooled_c: float
    out_c: float
    water_out_c: float | None
    coolant_in_c: float | None
    first: Exchanger | None
    second: Exchanger | None

    @property
    def chilled_kw(self) -> float:
        """Heat that all coolers give to the chilled liquid."""
        return self.second.duty_kw * self.count if self.second else 0.0


def milk_kw_k(bench: Bench, flow_l_min: float) -> float:
    """Capacity flow of milk."""
    return heat_load_kw(flow_l_min, 1.0, 0.0, bench.rules)


def coolant_makers(bench: Bench) -> tuple[MakesCold, ...]:
    """What makes chilled liquid, with a store or without."""
    makers = bench.plant.machines(MakesCold)
    return tuple(m for m in makers if m.cold().leaving_c is not None)


def coolant_kw_k(bench: Bench, flow_l_min: float) -> float:
    """Capacity flow of the chilled liquid."""
    return flow_l_min / 60.0 * coolant_of(bench.plant, bench.rules).kj_l_k


def chilled_u_share(bench: Bench) -> float:
    """What the chilled liquid's film leaves of a stage's heat transfer, stated with water."""
    return plate_u_share(coolant_of(bench.plant, bench.rules))


def water_kw_k(bench: Bench, flow_l_min: float) -> float:
    """Capacity flow of water."""
    return (
        flow_l_min / 60_000 * bench.number("water.density_kg_m3") * bench.number("water.cp_kj_kgk")
    )


def coolant_in_c(bench: Bench) -> float | None:
    """Temperature of the coldest chilled liquid made, or None."""
    leaving = (m.cold().leaving_c for m in coolant_makers(bench))
    return min((t for t in leaving if t is not None), default=None)


def in_line(bench: Bench, duty: Duty, water_c: float | None = None) -> InLine:
    """The coolers' working point: all of them side by side, each with an equal share."""
    coolers = bench.plant.machines(CoolsMilk)
    count = sum(c.count for c in coolers)
    flow = cooler_flow_l_min(bench, duty) / max(1, count)
    warm = duty.milk_at_receiver_c
    if not coolers:
        return InLine(flow, 0.0, 0, warm, warm, None, None, None, None)
    cooler = min(coolers, key=lambda c: sum(s.ua_kw_k for s in c.stages()))
    cold = coolant_in_c(bench)
    water, chilled = cooler.stage("water"), cooler.stage("coolant")
    first, second, pre_cooled, used = None, None, warm, 0.0
    if water is not None:
        used = water.ratio * flow
        in_c = duty.water_warmest_c if water_c is None else water_c
        first = exchanger(milk_kw_k(bench, flow), warm, water_kw_k(bench, used), in_c,
                          water.ua_kw_k)  # fmt: skip
        pre_cooled = first.hot_out_c
    out = pre_cooled
    if chilled is not None and cold is not None and cold < out:
        second = exchanger(milk_kw_k(bench, flow), out,
                           coolant_kw_k(bench, chilled.ratio * flow), cold,
                           chilled.ua_kw_k * chilled_u_share(bench))  # fmt: skip
        # Milk does not leave colder than it freezes: the plate then fails, not the sum.
        out = max(second.hot_out_c, bench.number("milk.wall_least_c"))
    warmed = first.cold_out_c if first else None
    return InLine(flow, used, count, pre_cooled, out, warmed, cold, first, second)
