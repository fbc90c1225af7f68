"""What the plate coolers do to the milk at design flow: one working point for all topics."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.engine.circuits import coolant_of
from byrewright.physics.coolant import plate_u_share
from byrewright.physics.heat import Exchanger, exchanger
from byrewright.physics.milk import heat_load_kw
from byrewright.plant.roles import CoolsMilk, MakesCold
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import dry_in, milk_way, usual_milking

TOLD = 0.005
"""Share of the milk past a cooler from which it is told (our choice)."""


@dataclass(frozen=True, slots=True)
class InLine:
    """What one cooler does to the milk at design flow in the warmest month of water."""

    milk_l_min: float
    """Through each of it."""
    water_l_min: float
    """Of each of it."""
    count: int
    in_c: float
    pre_cooled_c: float
    out_c: float
    water_out_c: float | None
    coolant_in_c: float | None
    first: Exchanger | None
    second: Exchanger | None
    dry: frozenset[str] = frozenset()
    """Cold liquids that do not reach it: its stages as they would stand, but the milk not cooled
    by them."""

    @property
    def chilled_kw(self) -> float:
        """Heat that it gives to the chilled liquid."""
        return self.second.duty_kw * self.count if self.second else 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """All coolers in the milk's way: `each` by tag, in the milk's order, and what comes of it."""

    each: dict[str, InLine]
    milk_l_min: float
    pre_cooled_c: float
    """As it comes to the first chilled stage, or leaves where there is none."""
    out_c: float
    coolant_in_c: float | None
    past_share: float
    """Of the milk, what goes past the coolers of a place where most does."""

    @property
    def chilled_kw(self) -> float:
        """Heat that all coolers give to the chilled liquid."""
        return sum(p.chilled_kw for p in self.each.values())

    @property
    def water_l_min(self) -> float:
        """Water that all coolers take."""
        return sum(p.water_l_min * p.count for p in self.each.values())

    @property
    def water_out_c(self) -> float | None:
        """Their water as it leaves, mixed."""
        warm = [(p.water_l_min * p.count, p.water_out_c) for p in self.each.values()
                if p.water_out_c is not None]  # fmt: skip
        whole = sum(q for q, _ in warm)
        return sum(q * c for q, c in warm) / whole if whole > 0 else None


def milk_kw_k(ctx: StudyContext, flow_l_min: float) -> float:
    """Capacity flow of milk."""
    return heat_load_kw(flow_l_min, 1.0, 0.0, ctx.rules)


def coolant_makers(ctx: StudyContext) -> tuple[MakesCold, ...]:
    """What makes chilled liquid, with a store or without."""
    makers = ctx.plant.machines(MakesCold)
    return tuple(m for m in makers if m.cold().leaving_c is not None)


def coolant_kw_k(ctx: StudyContext, flow_l_min: float) -> float:
    """Capacity flow of the chilled liquid."""
    return flow_l_min / 60.0 * coolant_of(ctx.plant, ctx.rules).kj_l_k


def chilled_u_share(ctx: StudyContext) -> float:
    """What the chilled liquid's film leaves of a stage's heat transfer, stated with water."""
    return plate_u_share(coolant_of(ctx.plant, ctx.rules))


def water_kw_k(ctx: StudyContext, flow_l_min: float) -> float:
    """Capacity flow of water."""
    return flow_l_min / 60_000 * ctx.number("water.density_kg_m3") * ctx.number("water.cp_kj_kgk")


def coolant_in_c(ctx: StudyContext) -> float | None:
    """Temperature of the coldest chilled liquid made, or None."""
    leaving = (m.cold().leaving_c for m in coolant_makers(ctx))
    return min((t for t in leaving if t is not None), default=None)


def in_line(ctx: StudyContext, duty: Duty, water_c: float | None = None) -> Line:
    """The coolers' working points: in a row or side by side, as the solved network has the milk."""
    coolers = {c.id: c for c in ctx.plant.machines(CoolsMilk)}
    flow = cooler_flow_l_min(ctx, duty)
    cold, warm = coolant_in_c(ctx), duty.milk_at_receiver_c
    way = milk_way(ctx, tuple(coolers))
    rest = [tag for tag in coolers if tag not in way]
    if rest and not way:  # no mode sends milk through any: as if side by side
        count = sum(c.count for c in coolers.values())
        way = {tag: (0, coolers[tag].count / count) for tag in rest}
    each: dict[str, InLine] = {}
    milk_c, before, past_most = warm, None, 0.0
    for place in sorted({place for place, _ in way.values()}):
        past = max(0.0, 1.0 - sum(share for at, share in way.values() if at == place))
        past_most = max(past_most, past)
        mixed = past * milk_c
        for tag in sorted(t for t, (at, _) in way.items() if at == place):
            one = coolers[tag]
            share = way[tag][1]
            point = _point(ctx, duty, one, flow * share / one.count, milk_c, water_c, cold)
            each[tag] = point
            mixed += share * point.out_c
            if point.second is not None and before is None:
                before = point.pre_cooled_c
        milk_c = mixed
    for tag in rest:
        if tag not in each:  # passed by in the usual mode: told as it would stand alone
            each[tag] = _point(ctx, duty, coolers[tag], flow / coolers[tag].count, warm, water_c,
                               cold)  # fmt: skip
    before = milk_c if before is None else before
    return Line(each, flow, before, milk_c, cold, past_most if past_most > TOLD else 0.0)


def _point(ctx: StudyContext, duty: Duty, cooler: CoolsMilk, flow: float, warm: float,
           water_c: float | None, cold: float | None) -> InLine:  # fmt: skip
    """What one cooler does to milk that comes at a temperature."""
    water, chilled = cooler.stage("water"), cooler.stage("coolant")
    usual = set(usual_milking(ctx)[:1])
    dry = frozenset(s.cold for s in (water, chilled)
                    if s is not None and usual & set(dry_in(ctx, cooler.id, s.port)))  # fmt: skip
    first, second, pre_cooled, used = None, None, warm, 0.0
    if water is not None:
        used = water.ratio * flow
        in_c = duty.water_warmest_c if water_c is None else water_c
        first = exchanger(milk_kw_k(ctx, flow), warm, water_kw_k(ctx, used), in_c,
                          water.ua_kw_k)  # fmt: skip
        pre_cooled = warm if "water" in dry else first.hot_out_c
    out = pre_cooled
    if chilled is not None and cold is not None and cold < out:
        second = exchanger(milk_kw_k(ctx, flow), out,
                           coolant_kw_k(ctx, chilled.ratio * flow), cold,
                           chilled.ua_kw_k * chilled_u_share(ctx))  # fmt: skip
        # Milk does not leave colder than it freezes: the plate then fails, not the sum.
        cooled = max(second.hot_out_c, ctx.number("milk.wall_least_c"))
        out = out if "coolant" in dry else cooled
    warmed = first.cold_out_c if first else None
    return InLine(flow, used, cooler.count, warm, pre_cooled, out, warmed, cold, first, second,
                  dry)  # fmt: skip
