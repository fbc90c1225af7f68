"""The plant's duties: cows, milk, hours and conditions, worked out once for every sizing topic."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from byrewright.engine.draws import Cows
from byrewright.engine.rows import levels_l
from byrewright.engine.session import SEED, Evened, brought_up, milk_alone, wait_s
from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.physics.rows import row_time_s, rows_cows_h
from byrewright.physics.throughput import labour_cows_h, rotation
from byrewright.plant.machine import Machine
from byrewright.plant.primitives import Pump, Vessel
from byrewright.plant.programme import DAY_MIN, MilkOut, milk_out_s_per_kg
from byrewright.plant.roles import (
    BalancesMilk,
    CoolsMilk,
    GivesMilk,
    MovesMilk,
    ReceivesMilk,
    RegulatesVacuum,
    RemovesUnits,
    StandsCows,
    StoresMilk,
    usual_kind,
)
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import pumped_l_min

STALLS_ASSUMED = 40
TURN_ASSUMED_S = 540.0


@dataclass(frozen=True, slots=True)
class MilkingDuty:
    """One milking: its cows, milk, hours and the standstill after it.

    `milk_l` is all that the cows give; `withheld_l` of it must not reach the tank.
    `gap_after_min` is the time from the last cow off to the next first cow on (negative where
    milkings overlap).
    """

    name: str
    start_min: int
    cows: int
    milk_l: float
    withheld_l: float
    milk_l_cow: float
    share: float
    milk_out: MilkOut
    net_cows_h: float
    groups: tuple[int, ...]
    """Cows of each group, in the order they are milked."""
    hours: float
    """From the first cow on to the last unit off, cow by cow."""
    busiest_l_min: float
    """Milk of the busiest minute, cow by cow."""
    met_l_min: float
    """Flow behind the balance tank that a litre meets on the mean, cow by cow."""
    yard_wait_min: float
    target_h: float
    operators: int
    gap_after_min: float
    washed_after: bool

    @property
    def end_min(self) -> float:
        """Last cow off, minutes after midnight of the day it starts."""
        return self.start_min + 60.0 * self.hours

    @property
    def saleable_l(self) -> float:
        """Milk on its way to the tank."""
        return self.milk_l - self.withheld_l


@dataclass(frozen=True, slots=True)
class Duty:
    """What the plant has to do. Volumes in litres of milk; vacuum below ambient."""

    layout: str
    stalls: int
    rows: int
    units: int
    operators: int
    turn_s: float
    """One turn of the deck, or one filling of all rows."""
    stall_s: float
    """Seconds between cows: a stall of the deck, or the mean of a filling of all rows."""
    available_s: float
    """Time a cow has for milk-out on one turn (rows: as long as the slowest needs)."""
    gross_cows_h: float
    go_round_share: float
    passes: float
    """Stalls that a cow takes on the mean, every further turn counted."""
    net_cows_h: float
    stop_share: float
    routine_s: float
    labour_cows_h: float
    milk_out: MilkOut
    """Unit-on time in the slowest milking."""
    milkings: tuple[MilkingDuty, ...]
    cows: int
    cows_milked_day: int
    milk_l_day: float
    withheld_l_day: float
    withheld_share: float
    milk_l_cow: float
    """Milk a cow in the largest milking."""
    milk_flow_mean_l_min: float
    milk_flow_met_l_min: float
    """Flow behind the balance tank that a litre meets on the mean: more than the mean flow where
    rows bring milk in bursts that the tank does not even out."""
    milk_flow_peak_l_min: float
    peak_factor: float
    peak_cow_l_min: float
    attach_interval_s: float
    milking_h_day: float
    longest_gap_min: float
    wash_gap_min: float
    """Shortest of the gaps that the day's washes must use."""
    working_vacuum_kpa: float
    pressure_kpa_abs: float
    water_warmest_c: float
    water_coldest_c: float
    water_warmest_month: int
    ambient_warmest_c: float
    milk_at_receiver_c: float
    tank_inlet_c: float
    """Temperature wanted of the milk as it enters the tank."""
    stored_c: float

    @property
    def units_on(self) -> float:
        """Most cups on cows at once: those within their milk-out on a deck, a whole row else."""
        if self.layout != "rotary":
            return float(self.units)
        return self.units * min(1.0, self.milk_out.mean_s / self.turn_s)

    @property
    def saleable_l_day(self) -> float:
        """Milk a day on its way to the tank."""
        return self.milk_l_day - self.withheld_l_day

    @property
    def largest(self) -> MilkingDuty:
        """The milking with the most milk."""
        return max(self.milkings, key=lambda m: m.milk_l)


def assume_milk_out(ctx: StudyContext) -> None:
    """List unit-on time as assumed where the file does not state it."""
    if ctx.plant.herd.milk_out_time_s is not None:
        return
    for m in ctx.programme.milkings:
        ctx.assume(
            f"herd.milk_out_time_s ({m.name})", "unit-on time, mean and standard deviation",
            f"{m.milk_out.mean_s:.0f} and {m.milk_out.std_dev_s:.0f}", "s",
            f"not stated: it follows the {m.litres_cow:.1f} L a cow at this milking, "
            f"{milk_out_s_per_kg(ctx.rules):.0f} s for each kg, from published means and "
            "spreads (Edwards and others 2012) and the correlation of the rulebook", "derived",
        )  # fmt: skip


def duty_of(ctx: StudyContext) -> Duty:
    """The duties of the plant. What the file does not state is listed as assumed.

    Raises:
        ValueError: the plant has no milkings.
    """
    plant = ctx.plant
    if not plant.milkings:
        raise ValueError("the plant has no milkings: add at least one under `milkings`")
    platform = _platform(ctx)
    operators = max(m.operators for m in plant.milkings)
    programme = ctx.programme
    paces = {m.place: _pace(ctx, platform, operators, m.milk_out) for m in programme.milkings}
    slowest = min(programme.milkings, key=lambda m: (paces[m.place].net_h, -m.milk_out.mean_s))
    pace = paces[slowest.place]
    milkings = _milkings(ctx, paces, platform)
    assume_milk_out(ctx)
    gaps = sorted((m.gap_after_min for m in milkings), reverse=True)
    milk_l_cow = max(m.milk_l_cow for m in milkings)
    mean = pace.net_h * milk_l_cow / 60.0
    peak = mean * ctx.number("milkline.peak_factor")
    peak = max([peak, *(m.busiest_l_min for m in milkings)])
    water = plant.site.water_temperature_c
    milk_l, withheld_l = programme.milk_l_day, sum(m.withheld_l for m in milkings)
    return Duty(
        layout=platform.layout, stalls=platform.stalls, rows=platform.rows,
        units=plant.count(GivesMilk) or platform.stalls, operators=operators,
        turn_s=pace.turn_s, stall_s=pace.turn_s / platform.stalls, available_s=pace.available_s,
        gross_cows_h=pace.gross_h, go_round_share=pace.go_round, passes=pace.passes,
        net_cows_h=pace.net_h, stop_share=platform.stop_share_pct / 100.0, routine_s=pace.routine_s,
        labour_cows_h=pace.labour_h, milk_out=slowest.milk_out, milkings=milkings,
        cows=plant.herd.cows,
        cows_milked_day=programme.cows_milked_day, milk_l_day=milk_l,
        withheld_l_day=withheld_l, withheld_share=withheld_l / milk_l if milk_l else 0.0,
        milk_l_cow=milk_l_cow, milk_flow_mean_l_min=mean,
        milk_flow_met_l_min=max([mean, *(m.met_l_min for m in milkings)]),
        milk_flow_peak_l_min=peak,
        peak_factor=peak / mean if mean else 1.0,
        peak_cow_l_min=ctx.number("milkline.peak_flow_per_cow_l_min"),
        attach_interval_s=(pace.turn_s / platform.stalls if platform.layout == "rotary"
                           else pace.routine_s / operators),
        milking_h_day=sum(m.hours for m in milkings), longest_gap_min=gaps[0],
        wash_gap_min=min(m.gap_after_min for m in milkings if m.washed_after),
        working_vacuum_kpa=_working_vacuum_kpa(ctx),
        pressure_kpa_abs=ambient_pressure_kpa_abs(plant.site.altitude_m),
        water_warmest_c=max(water), water_coldest_c=min(water),
        water_warmest_month=water.index(max(water)) + 1,
        ambient_warmest_c=max(plant.site.ambient_c),
        milk_at_receiver_c=ctx.number("milk.at_receiver_c"), tank_inlet_c=_tank_inlet_c(ctx),
        stored_c=min((t.set_c for t in plant.machines(StoresMilk)),
                     default=ctx.number("milk.stored_c")),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Pace:
    """How fast cows go through."""

    turn_s: float
    available_s: float
    gross_h: float
    go_round: float
    passes: float
    net_h: float
    routine_s: float
    labour_h: float


def _platform(ctx: StudyContext) -> StandsCows:
    platform = ctx.plant.first(StandsCows)
    if platform is not None:
        return platform
    stalls = ctx.plant.count(GivesMilk) or STALLS_ASSUMED
    why = "the file has no platform; add one"
    ctx.assume("platform", "stalls of a rotary", stalls, "", why)
    ctx.assume("platform", "time of one turn", TURN_ASSUMED_S, "s", why)
    assumed: StandsCows = usual_kind(StandsCows)(
        id="platform", stalls=stalls, turn_s=TURN_ASSUMED_S
    )
    return assumed


def stalls_on(platform: StandsCows | None, stalls: int) -> float:
    """Stalls of a deck of so many in which milk is had: those between cups-on and cups-off."""
    return max(1.0, stalls - (platform.entry_stalls if platform else 0.0))


def removed_after_s(ctx: StudyContext) -> float:
    """The longest that a unit stays on, where removers have a limit."""
    limits = [r.milking_time_limit_s for r in ctx.plant.machines(RemovesUnits)]
    return min((s for s in limits if s is not None), default=math.inf)


def _pace(ctx: StudyContext, platform: StandsCows, operators: int, out: MilkOut) -> _Pace:
    """Cows an hour, gross and net, from the turn and the milk-out times."""
    routine_s = ctx.plant.work.routine_s
    labour_h = labour_cows_h(routine_s, operators) if routine_s else math.inf
    running = 1.0 - platform.stop_share_pct / 100.0
    limit_s = removed_after_s(ctx)
    if platform.layout == "rows":
        milking_s = rows_milking_s(
            platform.stalls, platform.rows, routine_s / operators, platform.turn_s, out, limit_s
        )
        gross_h = rows_cows_h(platform.stalls, platform.turn_s, milking_s)
        return _Pace(
            turn_s=platform.turn_s + milking_s, available_s=milking_s, gross_h=gross_h,
            go_round=0.0, passes=1.0, net_h=gross_h * running, routine_s=routine_s,
            labour_h=labour_h,
        )  # fmt: skip
    turn = rotation(
        platform.stalls,
        stalls_on(platform, platform.stalls),
        platform.turn_s,
        out.mean_s,
        out.std_dev_s,
        ctx.number("milking.go_round_shadow"),
        limit_s,
    )
    return _Pace(
        turn_s=platform.turn_s, available_s=turn.available_s, gross_h=turn.gross_cows_h,
        go_round=turn.go_round_share, passes=turn.passes, net_h=turn.net_cows_h * running,
        routine_s=routine_s, labour_h=labour_h,
    )  # fmt: skip


def cows_of(ctx: StudyContext) -> Cows:
    """The herd as the simulated day draws it."""
    if "cows" not in ctx.known:
        ctx.known["cows"] = Cows(ctx.plant, ctx.rules, SEED)
    cows: Cows = ctx.known["cows"]
    return cows


def evened_of(ctx: StudyContext) -> Evened:
    """What receivers and balance tank make of the flow, their pumps by the solved network."""
    kg_l = ctx.programme.milk_kg_l
    lag_s, least = 0.0, 0.0
    for vessel, flow, floor, count in _led(ctx, BalancesMilk):
        _, stop, _, full = levels_l(vessel, vessel.volume_l)
        lag_s, least = max(lag_s, 60 * (full - stop) / flow), max(least, floor * flow / count)
    burst_l, burst_l_min = 0.0, 0.0
    for vessel, flow, floor, count in _led(ctx, ReceivesMilk):
        _, stop, start, full = levels_l(vessel, vessel.volume_l)
        share = max(floor, (start - stop) / (full - stop))  # of full speed, as it comes on
        burst_l, burst_l_min = burst_l + start - stop, burst_l_min + share * flow / count
    return Evened(lag_s, least * kg_l, burst_l * kg_l, burst_l_min * kg_l)


def _led(ctx: StudyContext, role: type[Machine]) -> Iterator[tuple[Vessel, float, float, int]]:
    """Vessels of a role with the pumps that run in milking and follow their level: their flow
    together, L/min, the least share of it while they run, and how many they are."""
    milking = next((name for name, m in ctx.plant.modes.items() if "milking" in m.does), None)
    for one in ctx.plant.machines(role):
        for vessel in (v for v in one.lower() if isinstance(v, Vessel)):
            runs = [
                (m.id, p) for m in ctx.plant.machines(MovesMilk) for p in m.lower()
                if isinstance(p, Pump) and p.led_by == one.id
                and (milking is None or ctx.plant.position(milking, m.id) in (None, "runs"))
            ]  # fmt: skip
            flow = sum(pumped_l_min(ctx, tag) or p.flow_l_min for tag, p in runs)
            if flow > 0.0:
                pump = runs[0][1]
                floor = {"level_led": pump.floor_share, "stepped": 1 / pump.steps}
                yield vessel, flow, floor.get(pump.law, 1.0), len(runs)


def rows_milking_s(
    stalls: int, rows: int, attach_s: float, change_s: float, out: MilkOut, limit_s: float
) -> float:
    """From a row standing to its last cow milked out; rows take turns, so the people serve one at
    a time, and no faster than all rows ask of them."""
    slowest = row_time_s(max(1, stalls // rows), attach_s, out.mean_s, out.std_dev_s, limit_s)
    return max(slowest, stalls * attach_s - change_s)


def _milkings(
    ctx: StudyContext, paces: Mapping[int, _Pace], platform: StandsCows
) -> tuple[MilkingDuty, ...]:
    """Each milking's cows, milk and hours, in order of time."""
    programme = ctx.programme
    total, together = programme.milk_l_day, brought_up(ctx.plant)
    evened = evened_of(ctx)
    alone = {m.place: milk_alone(cows_of(ctx), platform, m, evened) for m in programme.milkings}
    rows = [
        MilkingDuty(
            name=m.name, start_min=m.start_min, cows=m.cows, milk_l=m.milk_l,
            withheld_l=m.withheld_l, milk_l_cow=m.litres_cow,
            share=m.milk_l / total if total else 0.0,
            milk_out=m.milk_out, net_cows_h=paces[m.place].net_h,
            groups=tuple(p.cows for p in m.parts),
            hours=alone[m.place].hours,
            busiest_l_min=alone[m.place].minute_kg / programme.milk_kg_l,
            met_l_min=alone[m.place].met_kg_min / programme.milk_kg_l,
            yard_wait_min=wait_s(alone[m.place].cows, together) / 60,
            target_h=m.target_h, operators=m.operators, gap_after_min=0.0,
            washed_after=m.washed_after,
        )
        for m in programme.milkings
    ]  # fmt: skip
    following = [*(m.start_min for m in rows[1:]), rows[0].start_min + DAY_MIN]
    return tuple(
        replace(m, gap_after_min=after - m.end_min)
        for m, after in zip(rows, following, strict=True)
    )


def _working_vacuum_kpa(ctx: StudyContext) -> float:
    regulator = ctx.plant.first(RegulatesVacuum)
    if regulator is not None:
        return regulator.set_vacuum_kpa
    value = ctx.rules["vacuum.nominal_kpa"]
    ctx.assume("vacuum", "working vacuum", value.value, "kPa",
                 "no regulator states it; usual for a low milkline", value.confidence)  # fmt: skip
    return value.value


def _tank_inlet_c(ctx: StudyContext) -> float:
    """The wish, else stored temperature with a chilled stage, else what water alone can do."""
    plant = ctx.plant
    if plant.wishes.milk_out_c is not None:
        return plant.wishes.milk_out_c
    coolers = plant.machines(CoolsMilk)
    if any(c.stage("coolant") for c in coolers):
        return ctx.number("milk.stored_c")
    if coolers:
        return max(plant.site.water_temperature_c) + ctx.number("plate.approach_k")
    return ctx.number("milk.at_receiver_c")
