"""Compressed air: what moves by air and how often, compressors, receiver, dryer and dew point."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.physics.demand import peak_events
from byrewright.physics.pneumatics import (
    cycle_l_free,
    cycling_receiver_l,
    dryer_nominal_l_min_free,
    receiver_volume_l,
)
from byrewright.plant.roles import (
    CompressesAir,
    DriesAir,
    IsValve,
    KeepsAir,
    RemovesUnits,
    RinsesUnits,
)
from byrewright.results import Input, Table
from byrewright.standards.compressed_air import COMPRESSOR_L_MIN, HUMIDITY_CLASSES, RECEIVER_L
from byrewright.studies.sizing.altitude import motors
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.lines import KPA_PER_BAR, size_air_pipes
from byrewright.studies.sizing.sizes import TIGHT, listed, next_motor_kw, next_round, spare, worked
from byrewright.studies.sizing.steps import field, next_of

HOTTEST_DRYER_INLET_C = 45.0
"""The dryer factors go no further."""


@dataclass(frozen=True, slots=True)
class AirUser:
    """Something moved by air: free air each time, and how often in milking and in a day."""

    what: str
    each_l: float
    per_min: float
    per_day: float
    together: int = 1
    """How many move at one command."""

    @property
    def mean_l_min(self) -> float:
        """Mean free air in milking."""
        return self.each_l * self.per_min


@dataclass(frozen=True, slots=True)
class AirDemand:
    """Free air asked for in milking: the mean, and a busy minute."""

    users: tuple[AirUser, ...]
    mean_l_min: float
    peak_l_min: float
    day_l: float


def air_demand(ctx: StudyContext, duty: Duty) -> AirDemand:
    """What uses compressed air, from the machines in the plant and the cows that pass."""
    users = tuple(u for u in _users(ctx, duty) if u.each_l * u.per_day > 0)
    z = ctx.number("air.busy_minute_deviations")
    mean = sum(u.mean_l_min for u in users)
    chance = sum(u.each_l * peak_events(u.per_min, z) for u in users)
    together = max((u.each_l * u.together for u in users if u.together > 1), default=0.0)
    return AirDemand(users, mean, chance + together, sum(u.each_l * u.per_day for u in users))


def needed_l_min_free(ctx: StudyContext, duty: Duty) -> float:
    """Output of the compressor that carries milking alone: q / (duty share - leak share)."""
    room = ctx.number("air.duty_most") - ctx.number("air.leak_target_share")
    return air_demand(ctx, duty).mean_l_min / room


def size_compressed_air(ctx: StudyContext, duty: Duty) -> None:
    """Free air, compressors, receivers, dryers and dew point. Nothing where nothing uses air."""
    demand = air_demand(ctx, duty)
    compressors = ctx.plant.machines(CompressesAir)
    if not demand.users and not compressors:
        return
    _demand(ctx, duty, demand)
    if not compressors:
        ctx.lacks("air.compressor", "Air compressor",
                    f"{listed([u.what for u in demand.users])} need compressed air and the plant "
                    "has no compressor: add one of "
                    f"{next_of(needed_l_min_free(ctx, duty), COMPRESSOR_L_MIN):g} "
                    "L/min of free air.")  # fmt: skip
        return
    _compressors(ctx, duty, demand, compressors)
    _receivers(ctx, duty, demand, compressors)
    receiver = ctx.plant.first(KeepsAir)
    low = receiver.lowest_bar if receiver else ctx.number("air.working_bar")
    size_air_pipes(ctx, duty, max(demand.peak_l_min, *(c.capacity_l_min_free
                                                         for c in compressors)), low)  # fmt: skip
    _dryers(ctx, compressors)


def _users(ctx: StudyContext, duty: Duty) -> list[AirUser]:
    plant, found = ctx.plant, list[AirUser]()
    passes_min = duty.gross_cows_h * (1 - duty.stop_share) / 60.0
    passes_day = duty.cows_milked_day * duty.passes
    cows_min = duty.net_cows_h / 60.0
    receiver = plant.first(KeepsAir)
    bar = receiver.serves_bar if receiver else ctx.number("air.working_bar")
    atmosphere = duty.pressure_kpa_abs / KPA_PER_BAR
    for remover in plant.machines(RemovesUnits):
        if remover.moved_by == "air":
            each = cycle_l_free(remover.bore_mm, remover.stroke_mm, bar, double_acting=False,
                                atmosphere_bar=atmosphere)  # fmt: skip
            found.append(AirUser("cluster removers", each, passes_min, passes_day))
    for backflush in plant.machines(RinsesUnits):
        found.append(AirUser("backflush", backflush.air_nl_cow, passes_min, passes_day))
    gate = cycle_l_free(ctx.number("air.gate_bore_mm"), ctx.number("air.gate_stroke_mm"), bar,
                        ctx.number("air.gate_rod_mm"), atmosphere_bar=atmosphere)  # fmt: skip
    cycles = ctx.number("air.gate_cycles_per_cow")
    if plant.count(CompressesAir) or plant.count(KeepsAir):
        found.append(AirUser("entry and exit gates", gate, cows_min * cycles,
                             duty.cows_milked_day * cycles))  # fmt: skip
    valves = sum(v.count for v in plant.machines(IsValve) if v.moved_by == "air")
    washes = ctx.programme.washes_a_day
    moves = valves * (ctx.number("air.valve_moves_wash") * washes + 2 * len(plant.milkings))
    found.append(AirUser("air-moved line valves", ctx.number("air.valve_nl"), 0.0, moves,
                         together=valves))  # fmt: skip
    return found


def _demand(ctx: StudyContext, duty: Duty, demand: AirDemand) -> None:
    vacuum_moved = [r.id for r in ctx.plant.machines(RemovesUnits) if r.moved_by == "vacuum"]
    says = (f" The cluster removers ({listed(vacuum_moved)}) work on vacuum and use none."
            if vacuum_moved else "")  # fmt: skip
    uses = listed([f"{u.what} {u.mean_l_min:.0f} L/min" for u in demand.users if u.per_min > 0])
    ctx.find(
        "air.mean", "Compressed air in milking, mean", round(demand.mean_l_min, 1), "L/min free",
        f"Milking uses {demand.mean_l_min:.0f} L/min of free air on average ({uses}) before leaks, "
        f"and {demand.peak_l_min:.0f} L/min in a busy minute.{says}",
        formula="q = sum of (free air each time x times a minute); a cylinder takes "
        "A L (p + p_atm)/p_atm each stroke",
        inputs=(worked("n", "cows on to the deck a minute, go-rounds and stops counted",
                       round(duty.gross_cows_h * (1 - duty.stop_share) / 60, 3), "1/min"),
                ctx.rule("air.gate_bore_mm"), ctx.rule("air.gate_stroke_mm"),
                ctx.rule("air.gate_cycles_per_cow"), ctx.rule("air.valve_nl")),
        source="practice", confidence="common_practice",
    )  # fmt: skip
    ctx.find(
        "air.peak", "Compressed air in a busy minute", round(demand.peak_l_min, 1), "L/min free",
        f"A busy minute takes {demand.peak_l_min:.0f} L of free air; the receiver carries it.",
        formula="sum of each x (m + z sqrt(m)), and the largest set of valves moved at once",
        inputs=(ctx.rule("air.busy_minute_deviations", "z"),), source="practice",
        confidence="derived",
    )  # fmt: skip
    rows = tuple((u.what, round(u.each_l, 2), round(u.per_min, 2), round(u.mean_l_min, 1),
                  round(u.per_day), round(u.each_l * u.per_day / 1000, 2))
                 for u in demand.users)  # fmt: skip
    ctx.notes.tables.append(Table(
        "air.users", "What uses compressed air",
        ("user", "free air each time", "times a minute in milking", "mean", "times a day", "a day"),
        ("", "L", "1/min", "L/min free", "", "m3"), rows))  # fmt: skip


def _compressors(
    ctx: StudyContext, duty: Duty, demand: AirDemand, compressors: tuple[CompressesAir, ...]
) -> None:
    need = needed_l_min_free(ctx, duty)
    alone = ctx.plant.wishes.redundancy != "none"
    total = sum(c.count for c in compressors)
    share = need if alone else need / total
    inputs = (worked("q", "mean free air in milking", round(demand.mean_l_min, 1), "L/min free"),
              ctx.rule("air.duty_most", "d"),
              ctx.rule("air.leak_target_share", "l"))  # fmt: skip
    for one in compressors:
        have = one.capacity_l_min_free * (1 if alone else one.count)
        want = share * (1 if alone else one.count)
        each = "alone " if alone else ""
        advised = next_of(share * (1 + TIGHT), COMPRESSOR_L_MIN)
        ctx.find(
            "air.compressor", "Compressor output", have, "L/min free",
            f"{one.id} gives {have:.0f} L/min of free air; {want:.0f} L/min are needed for it to "
            f"carry milking {each}at no more than {100 * ctx.number('air.duty_most'):.0f} % of "
            f"its time with a tenth lost to leaks ({spare(have, want)}).",
            subject=one.id, limit=round(want, 1), sense="at_least", allowance=TIGHT,
            formula="Q = q / (d - l)", inputs=(*inputs, field(one, "capacity_l_min_free", "Q")),
            source="practice", confidence="common_practice", advised=advised,
            advised_why=f"{want:.0f} L/min of free air needed",
            target=(one, "capacity_l_min_free"),
        )  # fmt: skip
        _motor(ctx, one)
    if alone and total < 2:
        ctx.find(
            "air.redundancy", "Compressors", total, "",
            f"There is one compressor ({compressors[0].id}): when it stops, gates and "
            "shut-offs go to their rest position. Add a second that can carry milking alone.",
            limit=2,
            sense="at_least", formula="two, each able to carry milking alone", source="practice",
            confidence="common_practice", advised=2,
            advised_why="each able to carry milking alone", target=(compressors[0], "count"),
        )  # fmt: skip
    largest = max(c.capacity_l_min_free for c in compressors)
    leak = ctx.number("air.leak_common_share") * largest
    ctx.find(
        "air.leaks", "Leakage commonly found", round(leak), "L/min free",
        f"Left alone, leaks grow to about {leak:.0f} L/min. Time the loaded and unloaded minutes "
        "with nothing moving, each season, and mend until under a tenth is lost.",
        formula="q = s Q",
        inputs=(ctx.rule("air.leak_common_share", "s"),
                worked("Q", "largest compressor", largest, "L/min free")),
        source="doe_air", confidence="read",
    )  # fmt: skip


def _motor(ctx: StudyContext, one: CompressesAir) -> None:
    specific = ctx.number("air.specific_power_kw_per_m3_min")
    air = motors(ctx)
    need = air.rating(specific * one.capacity_l_min_free / 1000)
    ctx.find(
        "air.motor", "Compressor motor", one.motor_kw, "kW",
        f"{one.id}: {one.motor_kw:g} kW for {one.capacity_l_min_free:g} L/min; about {need:.2g} kW "
        f"is needed at 7 bar.{air.words}", subject=one.id, limit=round(need, 2), sense="at_least",
        formula=f"P = p Q / 1000{air.over}",
        inputs=(ctx.rule("air.specific_power_kw_per_m3_min", "p"),
                field(one, "capacity_l_min_free", "Q"), *air.inputs),
        source="practice", confidence="common_practice",
        advised=next_motor_kw(need, ctx.plant.site.region),
        advised_why=f"{need:.1f} kW for {one.capacity_l_min_free:g} L/min",
        target=(one, "motor_kw"),
    )  # fmt: skip


def _receivers(
    ctx: StudyContext, duty: Duty, demand: AirDemand, compressors: tuple[CompressesAir, ...]
) -> None:
    receivers = ctx.plant.machines(KeepsAir)
    if not receivers:
        ctx.lacks("air.receiver", "Air receiver", "There is no air receiver: without one the "
                    "compressor starts at every movement. Add one.")  # fmt: skip
        return
    first = receivers[0]
    output = max(c.capacity_l_min_free for c in compressors)
    starts = ctx.number("air.starts_per_h")
    band = first.highest_bar - first.lowest_bar
    room = first.lowest_bar - first.serves_bar
    if band <= 0 or room <= 0:
        ctx.find(
            "air.pressures", "Air pressures", first.lowest_bar, "bar",
            f"{first.id}: the compressors must stop above the pressure at which they start, and "
            f"start above the {first.serves_bar:g} bar that the machines need. Set `highest_bar` "
            "over `lowest_bar` over `serves_bar`.", subject=first.id, limit=first.serves_bar + 0.1,
            sense="at_least", inputs=(field(first, "highest_bar"), field(first, "lowest_bar"),
                                      field(first, "serves_bar")),
        )  # fmt: skip
        return
    ambient = duty.pressure_kpa_abs / KPA_PER_BAR
    cycling = cycling_receiver_l(output, starts, band, ambient)
    peak = receiver_volume_l(
        1.0, demand.peak_l_min, 0.0, first.lowest_bar, first.serves_bar, ambient
    )
    need = max(cycling, peak)
    have = sum(r.volume_l * r.count for r in receivers)
    why = (f"at most {starts:g} starts an hour" if cycling >= peak
           else "one busy minute with no compressor running")  # fmt: skip
    ctx.find(
        "air.receiver", "Air receiver volume", have, "L",
        f"{listed([r.id for r in receivers])}: {have:.0f} L; {need:.0f} L are needed for {why} "
        f"({spare(have, need)}).",
        subject=first.id, limit=round(need, 1), sense="at_least", allowance=TIGHT,
        formula="V = max(0.25 Q 60 p_atm/(f (p_high - p_low)), q_peak p_atm/(p_low - p_needed))",
        inputs=(worked("Q", "largest compressor", output, "L/min free"),
                ctx.rule("air.starts_per_h", "f"), field(first, "highest_bar", "p_high"),
                field(first, "lowest_bar", "p_low"), field(first, "serves_bar", "p_needed"),
                worked("q_peak", "busy minute", round(demand.peak_l_min, 1), "L/min free"),
                worked("p_atm", "ambient pressure", round(ambient, 4), "bar")),
        source="practice" if cycling >= peak else "doe_air",
        confidence="from_memory" if cycling >= peak else "read",
        advised=next_of(need * (1 + TIGHT),
                        RECEIVER_L) if len(receivers) == 1 and first.count == 1 else None,
        advised_why=f"{need:.0f} L for {why}",
        target=(first, "volume_l") if len(receivers) == 1 and first.count == 1 else None,
    )  # fmt: skip


def _dryers(ctx: StudyContext, compressors: tuple[CompressesAir, ...]) -> None:
    dryers = ctx.plant.machines(DriesAir)
    if not dryers:
        ctx.lacks("air.dryer", "Air dryer", "There is no air dryer: water in the air freezes or "
                    "rusts valves and slip-ring housings on the deck. Add a dryer and moisture "
                    "traps.")  # fmt: skip
        return
    site = ctx.plant.site
    inlet = min(HOTTEST_DRYER_INLET_C, site.hottest_c + ctx.number("dryer.inlet_over_ambient_k"))
    receiver = ctx.plant.first(KeepsAir)
    bar = receiver.lowest_bar if receiver else ctx.number("air.working_bar")
    count = sum(d.count for d in dryers)
    flow = max(c.capacity_l_min_free for c in compressors)
    if count == 1 and ctx.plant.wishes.redundancy == "none":
        flow = sum(c.capacity_l_min_free * c.count for c in compressors)
    need = dryer_nominal_l_min_free(flow, inlet, bar, ctx.rules)
    for one in dryers:
        ctx.find(
            "air.dryer", "Dryer capacity", one.capacity_l_min_free, "L/min free",
            f"{one.id} is rated {one.capacity_l_min_free:.0f} L/min; on a hot day with {inlet:g} "
            f"degC and {bar:g} bar at its inlet, {flow:.0f} L/min need a rating of "
            f"{need:.0f} L/min "
            f"({spare(one.capacity_l_min_free, need)}).",
            subject=one.id, limit=round(need, 1), sense="at_least", allowance=TIGHT,
            formula="Q_rated = q / (F_inlet F_pressure)",
            inputs=(worked("q", "compressor output through it", flow, "L/min free"),
                    worked("T", "inlet on the hottest afternoon", inlet, "degC"),
                    ctx.rule("dryer.inlet_over_ambient_k"), ctx.rule("dryer.factor_inlet_40"),
                    ctx.rule("dryer.factor_inlet_45"), ctx.rule("dryer.pressure_exponent")),
            source="iso7183", confidence="from_memory", advised=next_round(need * (1 + TIGHT)),
            advised_why=f"{flow:.0f} L/min at {inlet:g} degC", target=(one, "capacity_l_min_free"),
        )  # fmt: skip
        _dew_point(ctx, one)


def _dew_point(ctx: StudyContext, dryer: DriesAir) -> None:
    """Pressure dew point against the coldest pipework."""
    coldest = min(ctx.plant.site.ambient_c) + ctx.number("air.building_over_ambient_k")
    gap, least = coldest - dryer.dew_point_c, ctx.number("air.dew_point_least_k")
    wanted = ctx.number("air.dew_point_margin_k")
    fits = [c for c in HUMIDITY_CLASSES if c.dew_point_c is not None
            and c.dew_point_c <= coldest - least]  # fmt: skip
    best = fits[-1].dew_point_c if fits else HUMIDITY_CLASSES[0].dew_point_c
    drier = [c.dew_point_c for c in HUMIDITY_CLASSES if c.dew_point_c is not None
             and c.dew_point_c <= coldest - wanted]  # fmt: skip
    do = ("" if gap >= wanted else " Keep air pipes out of the frost and drain their low points"
          + (f", or use a dryer of {drier[-1]:g} degC dew point." if drier else "."))  # fmt: skip
    ctx.find(
        "air.dew_point", "Dew point below the coldest pipe", round(gap, 2), "K",
        f"{dryer.id} dries to {dryer.dew_point_c:g} degC at pressure; in the coldest month the "
        f"building is taken as {coldest:g} degC, so {'no' if gap >= 0 else 'some'} water "
        f"condenses in it ({abs(gap):.0f} K {'apart' if gap >= 0 else 'too warm'}).{do}",
        subject=dryer.id, limit=least, sense="at_least", allowance=(wanted - least) / least,
        formula="gap = T + b - t_d",
        inputs=(Input("T", "mean ambient of the coldest month", min(ctx.plant.site.ambient_c),
                      "degC", "plant file"),
                ctx.rule("air.building_over_ambient_k", "b"), field(dryer, "dew_point_c", "t_d"),
                ctx.rule("air.dew_point_margin_k")),
        source="iso8573", confidence="second_hand",
        advised=dryer.dew_point_c if gap >= least else best,
        advised_why=f"pipework may be as cold as {coldest:g} degC", target=(dryer, "dew_point_c"),
    )  # fmt: skip
