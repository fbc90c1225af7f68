"""A milk tank that fills and is cooled: what comes into it and what its cooling takes out."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import lru_cache

from byrewright.physics.tank_fill import TankRun, fill_and_cool, least_cooling_kw
from byrewright.physics.tank_wall import SHAPES, WARMING_BELOW_K, full_loss_kw_k, wetted_share
from byrewright.plant.roles import StoresMilk
from byrewright.results import Input
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import coolant_in_c
from byrewright.studies.sizing.sizes import worked
from byrewright.studies.sizing.timetable import LEAST_L, run_timetable

WATCH_H = 8
"""Hours watched after a milking ends."""
FULL_K = "tank.jacket_full_k"
_wetted = lru_cache(maxsize=8192)(wetted_share)
"""Runs with more cooling and less pass the same contents minute by minute."""
HELD_LEAST_K = 0.5
"""A tank set nearer to its chilled liquid than this is not held by any jacket."""


def balance(tank: StoresMilk) -> str:
    """The heat balance of a tank, as told in its formula."""
    near = " min(1, (T - T_chilled) / dT_full)" if tank.takes_coolant else ""
    return f"C dT = q rho cp (T_in - T) dt + P dt - Q s{near} dt"


def touching(ctx: StudyContext, tank: StoresMilk) -> tuple[Input, ...]:
    """What the cooling of a tank hangs on besides its rating."""
    found = (
        worked("s", "share of the evaporator that milk touches, by its content", "0 to 1"),
        ctx.rule("tank.evaporator_share"),
    )
    chilled = coolant_in_c(ctx, tank.id) if tank.takes_coolant else None
    if chilled is None:
        return found
    return (
        *found, worked("T_chilled", "coldest chilled liquid made", chilled, "degC"),
        ctx.rule(FULL_K, "dT_full"),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fill:
    """A milking that runs into a tank, on top of what stands there."""

    before_l: float
    inflow_l_min: float
    minutes: int


def fill_of(ctx: StudyContext, duty: Duty, tank: StoresMilk, *, later: bool) -> Fill:
    """The largest milking into this tank: alone, or on top of the least that may stand there cold
    and stirred, of the milkings before it or as the tankers and the change of tanks leave it."""
    one = duty.largest
    milk = min(one.saleable_l, tank.volume_l)
    before = 0.0
    if later:
        others = min(max(0.0, tank.volume_l - milk), duty.saleable_l_day - one.saleable_l)
        met = run_timetable(ctx, duty).met_l if ctx.plant.collections else {}
        stands = [others, *met.get(tank.id, ())]
        before = min((s for s in stands if s >= max(reach_l(ctx, tank), LEAST_L)), default=others)
    minutes = max(1, round(60 * one.hours * milk / max(one.saleable_l, 1e-9)))
    return Fill(before, milk / minutes, minutes)


def reach_l(ctx: StudyContext, tank: StoresMilk) -> float:
    """Content from which a tank's agitator reaches the milk."""
    return tank.reach_l(ctx.number("tank.stirred_from_share"))


def gain_kw(ctx: StudyContext, tank: StoresMilk) -> float:
    """Heat through the wall of a full tank in surroundings 28 K warmer."""
    return WARMING_BELOW_K * full_loss_kw_k(tank.volume_l, tank.insulation_k_h, ctx.rules)


def run_tank(ctx: StudyContext, tank: StoresMilk, fill: Fill, kw: float, in_c: float) -> TankRun:
    """The tank minute by minute, filled and then watched, with so much cooling and milk of `in_c`;
    worked out once."""
    asks = _asks(ctx, tank, fill, in_c)
    key = ("tank", kw, asks)
    known: TankRun | None = ctx.known.get(key)
    if known is not None:
        return known
    _, _, _, heat_kw, reach, _, _, chilled, reaches, *_ = asks
    shape, gain = SHAPES[tank.shape], gain_kw(ctx, tank)
    run = ctx.known[key] = fill_and_cool(
        start_l=fill.before_l,
        start_c=tank.set_c,
        inflow_l_min=lambda m: fill.inflow_l_min if m < fill.minutes else 0.0,
        inflow_c=in_c,
        minutes=fill.minutes + 60 * WATCH_H,
        cooling_kw=kw,
        set_c=tank.set_c,
        other_heat_kw=heat_kw,
        least_content_l=reach,
        # Milk that is not stirred: through the wall that it wets alone; no agitator runs in it.
        still_kw=lambda content_l: gain * _wetted(content_l / tank.volume_l, shape),
        touched=lambda content_l: min(1.0, _wetted(content_l / tank.volume_l, shape) / reaches),
        chilled_c=chilled,
        rules=ctx.rules,
    )
    return run


Asks = tuple[Fill, float, float, float, float, float, str, float | None, float, *tuple[float, ...]]
_least: dict[tuple[Hashable, Asks], float | None] = {}
MOST_KEPT, UNKNOWN = 4096, -1.0  # no cooling is below 0


def _asks(ctx: StudyContext, tank: StoresMilk, fill: Fill, in_c: float) -> Asks:
    """All that a tank's run hangs on but its cooling, rules too."""
    heat_kw, reach = gain_kw(ctx, tank) + tank.agitator_kw, reach_l(ctx, tank)
    chilled = coolant_in_c(ctx, tank.id) if tank.takes_coolant else None
    rules = (ctx.number(k) for k in ("milk.density_kg_m3", "milk.cp_kj_kgk", FULL_K))
    return (fill, in_c, tank.set_c, heat_kw, reach, tank.volume_l, tank.shape, chilled,
            ctx.number("tank.evaporator_share"), *rules)  # fmt: skip


def least_kw(
    ctx: StudyContext, tank: StoresMilk, fill: Fill, in_c: float,
    condition: Hashable, holds: Callable[[TankRun], bool],
) -> float | None:  # fmt: skip
    """The least cooling with which a tank's run holds to a condition, worked out once for all tanks
    that run alike: a draft asks each of its rounds the same. None where no cooling does."""
    key = condition, _asks(ctx, tank, fill, in_c)
    known = _least.get(key, UNKNOWN)
    if known != UNKNOWN:
        return known
    found = least_cooling_kw(lambda kw: holds(run_tank(ctx, tank, fill, kw, in_c)))
    if len(_least) >= MOST_KEPT:
        _least.clear()
    _least[key] = found
    return found


def late_h(run: TankRun, fill: Fill, limit_c: float) -> float | None:
    """Hours after the end of filling at which the mix is at the limit for good."""
    minute = run.minutes_until(limit_c)
    return None if minute is None else max(0.0, (minute - fill.minutes) / 60.0)


def kept_kw(ctx: StudyContext, tank: StoresMilk, limit_c: float) -> float:
    """Cooling without which a full tank, stirred and 28 K below its surroundings, would in the end
    be warmer than a limit."""
    return _rated_kw(ctx, tank, tank.agitator_kw + gain_kw(ctx, tank), limit_c)


def hold_kw(ctx: StudyContext, tank: StoresMilk) -> float:
    """Cooling that holds a full tank with its agitator on and the most warming that is allowed."""
    kg = tank.volume_l * ctx.number("milk.density_kg_m3") / 1000.0
    warming = ctx.number("tank.warming_k_h") * kg * ctx.number("milk.cp_kj_kgk") / 3600.0
    return _rated_kw(ctx, tank, tank.agitator_kw + warming, tank.set_c)


def _rated_kw(ctx: StudyContext, tank: StoresMilk, heat_kw: float, at_c: float) -> float:
    """Rated cooling that takes out so much heat with the milk at a temperature: a jacket of chilled
    liquid gives but a part of its rating near that of its liquid."""
    chilled = coolant_in_c(ctx, tank.id) if tank.takes_coolant else None
    if chilled is None:
        return heat_kw
    return heat_kw / min(1.0, max(HELD_LEAST_K, at_c - chilled) / ctx.number(FULL_K))
