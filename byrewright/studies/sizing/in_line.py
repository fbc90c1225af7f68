"""What the plate coolers do to the milk at design flow: one working point for all topics."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from byrewright.engine.circuits import coolant_of, liquid_of
from byrewright.engine.liquids import Liquids
from byrewright.physics.coolant import Coolant, plate_u_share
from byrewright.physics.heat import Exchanger, exchanger
from byrewright.physics.milk import heat_load_kw
from byrewright.plant.primitives import ColdStore
from byrewright.plant.roles import CoolsMilk, MakesCold
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import dry_in, milk_way, net_of, usual_milking

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


def circuits(ctx: StudyContext) -> tuple[tuple[MakesCold, ...], ...]:
    """What makes chilled liquid, by the circuits that no pipe joins."""
    return tuple(
        tuple(m for m in coolant_makers(ctx) if m.id in ids) for ids in _circuits(net_of(ctx))
        if any(m.id in ids for m in coolant_makers(ctx))
    )  # fmt: skip


def _circuits(net: Liquids) -> tuple[frozenset[str], ...]:
    """The machines of each chilled circuit; worked out once for a network."""
    kept = net.kept.setdefault("circuits", {})
    if not kept:
        every = {
            frozenset(net.ring(node))
            for tag in sorted(net.plant.equipment) for bath in net.plant.equipment[tag].lower()
            if isinstance(bath, ColdStore) for node in net.ports(tag, bath.out)[:1]
        }  # fmt: skip
        kept["all"] = tuple(sorted(every, key=min))
    return cast("tuple[frozenset[str], ...]", kept["all"])


def united(ctx: StudyContext) -> tuple[str, ...]:
    """What is missing to judge a sum over all chilled circuits, where there are several."""
    return ("each chilled circuit by itself",) if len(circuits(ctx)) > 1 else ()


def makers_for(ctx: StudyContext, user: str) -> tuple[MakesCold, ...]:
    """What makes the chilled liquid of a user's circuit; all where it lies in none."""
    mine = [ids for ids in _circuits(net_of(ctx)) if user in ids]
    return tuple(m for m in coolant_makers(ctx) if any(m.id in ids for ids in mine)) or (
        coolant_makers(ctx)
    )


def liquid_for(ctx: StudyContext, user: str) -> Coolant:
    """The chilled liquid of a user's circuit: that of its coldest maker."""
    baths = [b for m in makers_for(ctx, user) for b in m.lower() if isinstance(b, ColdStore)]
    if not baths:
        return coolant_of(ctx.plant, ctx.rules)
    return liquid_of(min(baths, key=lambda b: b.leaving_c), ctx.rules)


def coolant_kw_k(ctx: StudyContext, flow_l_min: float, user: str) -> float:
    """Capacity flow of a user's chilled liquid."""
    return flow_l_min / 60.0 * liquid_for(ctx, user).kj_l_k


def chilled_u_share(ctx: StudyContext, user: str) -> float:
    """What the chilled liquid's film leaves of a stage's heat transfer, stated with water."""
    return plate_u_share(liquid_for(ctx, user))


def water_kw_k(ctx: StudyContext, flow_l_min: float) -> float:
    """Capacity flow of water."""
    return flow_l_min / 60_000 * ctx.number("water.density_kg_m3") * ctx.number("water.cp_kj_kgk")


def coolant_in_c(ctx: StudyContext, user: str) -> float | None:
    """Temperature of the coldest chilled liquid made for a user, or None."""
    leaving = (m.cold().leaving_c for m in makers_for(ctx, user))
    return min((t for t in leaving if t is not None), default=None)


def in_line(ctx: StudyContext, duty: Duty, water_c: float | None = None) -> Line:
    """The coolers' working points: in a row or side by side, as the solved network has the milk."""
    coolers = {c.id: c for c in ctx.plant.machines(CoolsMilk)}
    flow = cooler_flow_l_min(ctx, duty)
    warm = duty.milk_at_receiver_c
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
            point = _point(ctx, duty, one, flow * share / one.count, milk_c, water_c)
            each[tag] = point
            mixed += share * point.out_c
            if point.second is not None and before is None:
                before = point.pre_cooled_c
        milk_c = mixed
    for tag in rest:
        if tag not in each:  # passed by in the usual mode: told as it would stand alone
            each[tag] = _point(ctx, duty, coolers[tag], flow / coolers[tag].count, warm, water_c)
    before = milk_c if before is None else before
    cold = min((p.coolant_in_c for p in each.values() if p.coolant_in_c is not None), default=None)
    return Line(each, flow, before, milk_c, cold, past_most if past_most > TOLD else 0.0)


def _point(ctx: StudyContext, duty: Duty, cooler: CoolsMilk, flow: float, warm: float,
           water_c: float | None) -> InLine:  # fmt: skip
    """What one cooler does to milk that comes at a temperature."""
    cold = coolant_in_c(ctx, cooler.id)
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
                           coolant_kw_k(ctx, chilled.ratio * flow, cooler.id), cold,
                           chilled.ua_kw_k * chilled_u_share(ctx, cooler.id))  # fmt: skip
        # Milk does not leave colder than it freezes: the plate then fails, not the sum.
        cooled = max(second.hot_out_c, ctx.number("milk.wall_least_c"))
        out = out if "coolant" in dry else cooled
    warmed = first.cold_out_c if first else None
    return InLine(flow, used, cooler.count, warm, pre_cooled, out, warmed, cold, first, second,
                  dry)  # fmt: skip
