"""Water: the day hour by hour, source, store, filter, pumps, and the recovered warm water."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import accumulate

from byrewright.physics.demand import HOURS_A_DAY, spread_over_hours, storage_needed
from byrewright.physics.milk import heat_kj_per_l
from byrewright.plant.graph import Node, node
from byrewright.plant.plant import Plant
from byrewright.plant.programme import DAY_MIN
from byrewright.plant.roles import (
    BuffersWater,
    CoolsMilk,
    FiltersWater,
    GivesWater,
    MakesUpWash,
    MovesWater,
    RinsesUnits,
    TakesWaste,
    WashesCloths,
)
from byrewright.results import Remedy, Series, Table
from byrewright.studies.sizing.cloths import laundry_water_l_day
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import in_line
from byrewright.studies.sizing.network import Want, ports_to
from byrewright.studies.sizing.pumping import PumpDuty, serves, size_pump
from byrewright.studies.sizing.sizes import (
    TIGHT,
    listed,
    next_preferred,
    next_round,
    spare,
    stated,
    worked,
)
from byrewright.studies.sizing.steps import field
from byrewright.studies.sizing.timetable import run_timetable
from byrewright.studies.sizing.washing import tank_wash_hot_l, wash_heat_of

DAYTIME = (8.0, 10.0)
"""The laundry runs from eight, for ten hours (common practice)."""
Hours = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class WaterUse:
    """A use of water: litres in each hour of the day; `recovered` when warm water may serve it."""

    what: str
    hours: Hours
    recovered: bool = False

    @property
    def day_l(self) -> float:
        """Litres a day."""
        return sum(self.hours)


@dataclass(frozen=True, slots=True)
class WaterDay:
    """A day's water, hour by hour."""

    uses: tuple[WaterUse, ...]
    warm: Hours
    """Warm water that leaves the cooler."""
    reused: Hours
    """Of that, what serves rinse and yard."""
    fresh: Hours
    """What the source and the fresh tank must give."""

    @property
    def fresh_l(self) -> float:
        """Fresh water a day."""
        return sum(self.fresh)


def cooler_water_l_min(ctx: StudyContext, duty: Duty) -> float:
    """Water through the plate coolers at their design milk flow, L/min."""
    return in_line(ctx, duty).water_l_min


def water_day(ctx: StudyContext, duty: Duty) -> WaterDay:
    """Every use of water over a day, and how much of the cooler's warm water is used again."""
    uses = tuple(u for u in _uses(ctx, duty) if u.day_l > 0)
    warm = next((u.hours for u in uses if u.what == "plate cooler"), (0.0,) * HOURS_A_DAY)
    reused: Hours = (0.0,) * HOURS_A_DAY
    tanks = [t for t in ctx.plant.machines(BuffersWater) if t.holds == "recovered"]
    wanted = tuple(sum(u.hours[h] for u in uses if u.recovered) for h in range(HOURS_A_DAY))
    if tanks:
        reused = _reuse(warm, wanted, sum(t.volume_l * t.count for t in tanks))
    fresh = tuple(sum(u.hours[h] for u in uses) - reused[h] for h in range(HOURS_A_DAY))
    return WaterDay(uses, warm, reused, fresh)


def most_in(hours: Hours, time_h: float) -> float:
    """The most that is used within some time of a day that repeats itself, L; at most a day.

    >>> most_in((0.0,) * 22 + (10.0, 30.0), 1.5)
    35.0
    """
    whole, part = divmod(min(time_h, HOURS_A_DAY), 1.0)
    ring, last = hours + hours + hours, int(whole)
    windows = [sum(ring[h : h + last]) for h in range(2 * HOURS_A_DAY)]
    edges = [max(ring[h + last], ring[h - 1]) for h in range(2 * HOURS_A_DAY)]
    return max(w + part * e for w, e in zip(windows, edges, strict=True))


def size_water(ctx: StudyContext, duty: Duty) -> None:
    """Source, store, filter, pumps, recovered water, and the day's balance."""
    day = water_day(ctx, duty)
    if not day.uses:
        return
    _use(ctx, day)
    _source(ctx, day)
    _store(ctx, duty, day)
    _filter(ctx, duty)
    _pumps(ctx, duty)
    _recovered(ctx, duty, day)
    _figures(ctx, day)


def _uses(ctx: StudyContext, duty: Duty) -> list[WaterUse]:
    plant = ctx.plant
    heat, per_min = wash_heat_of(ctx, duty), cooler_water_l_min(ctx, duty)
    wash = heat.wash
    flow = cooler_flow_l_min(ctx, duty)
    per_l = per_min / flow if flow else 0.0
    cooling, flush, yard, rinse, other = ([(0.0,) * HOURS_A_DAY] for _ in range(5))
    each_cow = sum(b.water_l_cow for b in plant.machines(RinsesUnits))
    for m in duty.milkings:
        cooling.append(spread_over_hours(m.start_min, m.hours, m.saleable_l * per_l))
        flush.append(spread_over_hours(m.start_min, m.hours,
                                       m.cows * duty.passes * each_cow))  # fmt: skip
        yard.append(spread_over_hours(m.end_min, ctx.number("water.yard_h"),
                                      m.cows * ctx.number("water.yard_l_cow")))  # fmt: skip
        if m.washed_after:
            first = wash.steps[0].litres if wash.steps else 0.0
            rinse.append(spread_over_hours(m.end_min, heat.minutes / 60, first))
            other.append(spread_over_hours(m.end_min, heat.minutes / 60, wash.water_l - first))
    tanks = [_tank_wash(ctx, *one) for one in emptied_at(ctx, duty)]
    return [
        WaterUse("plate cooler", _sum(cooling)),
        WaterUse("first rinse", _sum(rinse), recovered=rinsed_with_it(plant)),
        WaterUse("other wash steps", _sum(other)),
        WaterUse("tank wash", _sum([(0.0,) * HOURS_A_DAY, *tanks])),
        WaterUse("backflush", _sum(flush)),
        WaterUse("parlour and yard", _sum(yard), recovered=True),
        WaterUse("laundry", spread_over_hours(DAYTIME[0] * 60, DAYTIME[1],
                                              laundry_water_l_day(ctx, duty))),
    ]  # fmt: skip


def emptied_at(ctx: StudyContext, duty: Duty) -> list[tuple[int, float]]:
    """Minutes of the day on which tankers leave most tanks empty, and the tanks' volumes: none
    where milk goes straight to tankers and nothing stands."""
    days: dict[int, list[tuple[int, float]]] = {}
    for minute, volume_l in run_timetable(ctx, duty).emptied:
        days.setdefault(minute // DAY_MIN, []).append((minute % DAY_MIN, volume_l))
    return max(days.values(), key=lambda day: sum(volume_l for _, volume_l in day), default=[])


def _tank_wash(ctx: StudyContext, at_min: float, volume_l: float) -> Hours:
    """A tank washed after a collection: hot water, and as much again for each rinse."""
    hot_l = tank_wash_hot_l(ctx, volume_l)
    return spread_over_hours(
        at_min, ctx.number("wash.tank_min") / 60, hot_l * (1 + ctx.number("wash.tank_rinses"))
    )


def _sum(rows: list[Hours]) -> Hours:
    return tuple(sum(column) for column in zip(*rows, strict=True))


def _reuse(warm: Hours, wanted: Hours, volume_l: float) -> Hours:
    """Warm water used again in each hour: what the tank holds, the second of two equal days."""
    held, out = 0.0, [0.0] * HOURS_A_DAY
    for _ in range(2):
        for h in range(HOURS_A_DAY):
            held = min(volume_l, held + warm[h])
            out[h] = min(held, wanted[h])
            held -= out[h]
    return tuple(out)


def _use(ctx: StudyContext, day: WaterDay) -> None:
    parts = ", ".join(f"{u.what} {u.day_l / 1000:.2f} m3" for u in day.uses)
    ctx.find(
        "water.day", "Fresh water a day", round(day.fresh_l / 1000, 2), "m3",
        f"The plant uses {sum(u.day_l for u in day.uses) / 1000:.2f} m3 of water a day ({parts}), "
        f"of which {sum(day.reused) / 1000:.2f} m3 is warm water from the cooler used again. "
        "Drinking water for the herd comes on top.",
        formula="sum over uses and hours, less warm water used again",
        inputs=(ctx.rule("water.yard_l_cow"), ctx.rule("water.yard_h"),
                ctx.rule("wash.hot_water_tank_share")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _source(ctx: StudyContext, day: WaterDay) -> None:
    sources = ctx.plant.machines(GivesWater)
    share = ctx.number("water.source_share_most")
    need = day.fresh_l / (24 * 60) / share
    if not sources:
        ctx.lacks("water.source", "Water source", f"The plant needs {day.fresh_l / 1000:.1f} "
                                                    "m3 of "
                    "water a day and has no source: add a well, spring or mains.")  # fmt: skip
        return
    have = sum(s.flow_l_min * s.count for s in sources)
    litres = f"{day.fresh_l / 1000:.1f} m3"
    short = have < need
    for one in sources:
        ctx.find(
            "water.source", "Water source", one.flow_l_min, "L/min",
            f"{listed([s.id for s in sources])}: {have:.0f} L/min; the day's {litres} needs "
            f"{need:.0f} L/min around the clock at {100 * share:.0f} % of it ({spare(have, need)})."
            + (" No store makes up for it: find more, or use less water a litre of milk in the "
               "cooler." if short else ""),
            subject=one.id, limit=round(need * one.flow_l_min / have, 2), sense="at_least",
            allowance=TIGHT, formula="q = V_day / (1440 s)",
            inputs=(worked("V_day", "fresh water a day", round(day.fresh_l), "L"),
                    ctx.rule("water.source_share_most", "s"), field(one, "flow_l_min")),
            source="practice", confidence="common_practice",
            advised=next_round(need / sum(s.count for s in sources)) if short else None,
            advised_why=f"{litres} a day", target=(one, "flow_l_min") if short else None,
        )  # fmt: skip


def _store(ctx: StudyContext, duty: Duty, day: WaterDay) -> None:
    """Fresh tank: the day's shortfall against the source, and time to see to a stopped source."""
    sources = ctx.plant.machines(GivesWater)
    tanks = [t for t in ctx.plant.machines(BuffersWater) if t.holds == "fresh"]
    given = sum(s.flow_l_min * s.count for s in sources) * 60
    short = storage_needed(day.fresh, (given,) * HOURS_A_DAY)
    use_h = max(day.fresh)
    if short is None:
        return
    need = short + ctx.number("water.tank_hours") * use_h
    if not tanks:
        if short > 0:
            ctx.lacks("water.store", "Fresh water tank", f"In the busiest hours {short:.0f} L "
                                                           "more "
                        "are used than the source gives: add a fresh-water tank of "
                        f"{next_preferred(need):.0f} L.")  # fmt: skip
        return
    have = sum(t.volume_l * t.count for t in tanks)
    bridge = (f"{short:.0f} L bridge the hours when more is used than comes in, and "
              if short > 0 else "the source gives what the busiest hour uses, and ")  # fmt: skip
    for tank in tanks:
        ctx.find(
            "water.store", "Fresh water store", tank.volume_l, "L",
            f"{listed([t.id for t in tanks])}: {have:.0f} L; {bridge}{need - short:.0f} L keep the "
            f"busiest hour going while a stopped source is seen to ({spare(have, need)}).",
            subject=tank.id, limit=round(need * tank.volume_l / have), sense="at_least",
            allowance=TIGHT, formula="V = V_short + t q_busiest",
            inputs=(worked("q", "source", given / 60, "L/min"),
                    worked("V_short", "greatest shortfall of the repeating day", round(short), "L"),
                    worked("q_busiest", "busiest hour", round(use_h), "L/h"),
                    ctx.rule("water.tank_hours", "t")),
            source="practice", confidence="common_practice",
            advised=next_preferred(need * (1 + TIGHT) / sum(t.count for t in tanks)),
            advised_why=f"{short:.0f} L of shortfall and an hour of use",
            target=(tank, "volume_l"),
        )  # fmt: skip


def _peak_flow(ctx: StudyContext, duty: Duty) -> float:
    """Flow through the main in milking: cooler and backflush."""
    return cooler_water_l_min(ctx, duty) + _flush_flow(ctx, duty)


def _flush_flow(ctx: StudyContext, duty: Duty) -> float:
    passes = duty.gross_cows_h * (1 - duty.stop_share) / 60
    return passes * sum(b.water_l_cow for b in ctx.plant.machines(RinsesUnits))


def fill_flow_l_min(ctx: StudyContext) -> float:
    """Flow that fills the trough for its largest step in the time allowed."""
    largest = max((s.litres for s in ctx.programme.wash.steps), default=0.0)
    return largest / ctx.number("wash.fill_drain_min")


def _filter(ctx: StudyContext, duty: Duty) -> None:
    need = _peak_flow(ctx, duty) * ctx.number("water.filter_allowance")
    filters = ctx.plant.machines(FiltersWater)
    if not filters and ctx.plant.machines(CoolsMilk):
        ctx.lacks("water.filter", "Water filter", "The cooler has no water filter: sand and iron "
                    "block its plates and milk leaves warmer. Add one.")  # fmt: skip
    for one in filters:
        ctx.find(
            "water.filter", "Water filter", one.flow_l_min, "L/min",
            f"{one.id} is rated {one.flow_l_min:.0f} L/min; {need:.0f} L/min are needed for "
            f"cooler and backflush with room for dirt ({spare(one.flow_l_min, need)}).",
            subject=one.id, limit=round(need, 1), sense="at_least", allowance=TIGHT,
            formula="q = k (q_cooler + q_backflush)",
            inputs=(worked("q_cooler", "cooler water", round(cooler_water_l_min(ctx, duty), 1),
                           "L/min"), ctx.rule("water.filter_allowance", "k")),
            source="practice", confidence="common_practice", advised=next_round(need * (1 + TIGHT)),
            advised_why=f"{need:.0f} L/min with room for dirt", target=(one, "flow_l_min"),
        )  # fmt: skip


def _pumps(ctx: StudyContext, duty: Duty) -> None:
    """Each water pump by what it reaches; twins each carry the duty where that was wished."""
    groups: dict[str, list[MovesWater]] = {}
    for pump in ctx.plant.machines(MovesWater):
        for what, kinds in (("cooling", CoolsMilk), ("filling", MakesUpWash), ("yard", TakesWaste)):
            if _waters(ctx, pump, kinds):
                groups.setdefault(what, []).append(pump)
                break
    for what, pumps in groups.items():
        shared = ctx.plant.wishes.redundancy == "none"
        for pump in pumps:
            group = [pump, *(p for p in pumps if p is not pump)] if shared else [pump]
            duties = _duties(ctx, duty, group, yard=what != "cooling")
            if duties:
                alone = sum(p.count for p in group) if shared else 1
                size_pump(ctx, pump, duties, "water.pump", alone, "water")


def _waters(ctx: StudyContext, pump: MovesWater, *kinds: type) -> list[Node]:
    """The ports of machines that a pump reaches by water pipes."""
    machines = [m.id for m in ctx.plant.equipment.values() if isinstance(m, kinds)]
    watered = {
        node(end) for p in ctx.plant.pipes if ctx.plant.service_of(p) == "water"
        for end in (p.start, p.end)
    }  # fmt: skip
    return [n for n in ports_to(ctx, pump.id, machines) if n in watered]


def _duties(ctx: StudyContext, duty: Duty, pumps: list[MovesWater], *,
            yard: bool) -> list[PumpDuty]:  # fmt: skip
    """What some pumps must give at once: in milking, to fill the trough, to the yard hose."""
    pump, kpa = pumps[0], ctx.number("water.hose_kpa")
    line = in_line(ctx, duty).each
    milking = [
        Want(n, line[n.machine].water_l_min * line[n.machine].count)
        for n in _waters(ctx, pump, CoolsMilk)
    ]
    passes = duty.gross_cows_h * (1 - duty.stop_share) / 60
    hose = ctx.number("water.deck_hose_l_min")
    hoses = _waters(ctx, pump, RinsesUnits, WashesCloths)
    for n in hoses:
        one = ctx.plant.equipment[n.machine]
        flush = passes * one.water_l_cow if isinstance(one, RinsesUnits) else 0.0
        milking.append(Want(n, flush, kpa))
    at_once = "cooling, backflush and a hose" if line else "backflush and a hose"
    asked = [(at_once, [*milking, Want(n, hose, kpa)]) for n in hoses] or [("cooling", milking)]
    asked += [("filling the wash trough", [Want(n, fill_flow_l_min(ctx))])
              for n in _waters(ctx, pump, MakesUpWash)]  # fmt: skip
    if yard:
        flow = ctx.number("water.yard_hose_l_min")
        asked += [("the yard hose", [Want(n, flow, kpa)]) for n in _waters(ctx, pump, TakesWaste)]
    found = (serves(ctx, pumps, what, wants) for what, wants in asked)
    return [d for d in found if d is not None]


def _recovered(ctx: StudyContext, duty: Duty, day: WaterDay) -> None:
    """Warm water after the cooler: its temperature, and the tank for rinse and yard."""
    coolers = ctx.plant.machines(CoolsMilk)
    warm_l = sum(day.warm)
    if not coolers or warm_l <= 0:
        return
    out = max(duty.tank_inlet_c, duty.water_warmest_c + ctx.number("plate.approach_k"))
    per_l = cooler_water_l_min(ctx, duty) / cooler_flow_l_min(ctx, duty)
    heat = heat_kj_per_l(duty.milk_at_receiver_c, min(out, duty.milk_at_receiver_c), ctx.rules)
    warm_c = duty.water_warmest_c + heat / (per_l * ctx.number("water.cp_kj_kgk"))
    wanted = tuple(sum(u.hours[h] for u in day.uses if u.recovered) for h in range(HOURS_A_DAY))
    tanks = [t for t in ctx.plant.machines(BuffersWater) if t.holds == "recovered"]
    if not tanks:
        ctx.find(
            "water.recovered", "Warm water from the cooler", round(warm_l), "L",
            f"{warm_l / 1000:.1f} m3 a day leave the cooler at about {warm_c:.0f} degC with no "
            "tank to hold them; a tank would serve first rinse and yard "
            f"({sum(wanted) / 1000:.1f} m3 a day).",
            formula="V = milk x water ratio", inputs=(stated("r", "water for one of milk", per_l),),
            source="definition", confidence="derived",
        )  # fmt: skip
        return
    need = max((_after(duty, m.end_min, wanted) for m in duty.milkings), default=0.0)
    need = min(need, max(m.saleable_l * per_l for m in duty.milkings))
    gives = min((m.saleable_l * per_l for m in duty.milkings if m.washed_after), default=0.0)
    steps = wash_heat_of(ctx, duty).wash.steps
    if steps and steps[0].litres > gives and rinsed_with_it(ctx.plant):
        _too_little(ctx, tanks, steps[0].litres, gives)
        return
    have = sum(t.volume_l * t.count for t in tanks)
    over = max(0.0, warm_l - sum(day.reused))
    for tank in tanks:
        ctx.find(
            "water.recovered", "Recovered warm water", tank.volume_l, "L",
            f"{listed([t.id for t in tanks])}: {have:.0f} L at about {warm_c:.0f} degC in summer; "
            f"first rinse and yard after one milking use {need:.0f} L ({spare(have, need)}). "
            f"{sum(day.reused) / 1000:.1f} m3 a day are used again; {over / 1000:.1f} m3 "
            "overflow: where local rules allow it, warm drinking water for the herd is a good "
            "use.",
            subject=tank.id, limit=round(need * tank.volume_l / have), sense="at_least",
            allowance=TIGHT, formula="V = first rinse + yard after the largest milking, at most "
                                     "what "
            "the cooler gives; T = T_w + rho cp dT_milk/(r 4.19)",
            inputs=(stated("r", "water for one of milk", per_l),
                    ctx.rule("water.yard_l_cow"), ctx.rule("milk.cp_kj_kgk")),
            source="definition", confidence="derived",
            advised=next_preferred(need * (1 + TIGHT) / sum(t.count for t in tanks)),
            advised_why=f"{need:.0f} L for first rinse and yard", target=(tank, "volume_l"),
        )  # fmt: skip


def rinsed_with_it(plant: Plant) -> bool:
    """Whether the first rinse takes water that the cooler warmed, or would where there is no tank
    for it: a pump that draws from such a tank runs then."""
    tanks = {t.id for t in plant.machines(BuffersWater) if t.holds == "recovered"}
    return not tanks or bool(_rinse_pumps(plant, tanks))


def _rinse_pumps(plant: Plant, tanks: Collection[str]) -> list[str]:
    """Pumps that draw from some tanks while the plant is rinsed first."""
    rinses = [n for n, m in plant.modes.items() if m.does == ("rinse",)]
    from_tank = {p.end.partition(".")[0] for p in plant.pipes if p.start.partition(".")[0] in tanks}
    pumps = {m.id for m in plant.machines(MovesWater)} & from_tank
    return sorted(p for p in pumps if any(plant.position(n, p) == "runs" for n in rinses))


def _too_little(
    ctx: StudyContext, tanks: Sequence[BuffersWater], rinse_l: float, gives_l: float
) -> None:
    """A first rinse that takes more than the cooler warms in a milking: no tank makes up for it."""
    names = [t.id for t in tanks]
    pumps = _rinse_pumps(ctx.plant, names)
    for tag in names:
        ctx.find(
            "water.recovered", "Recovered warm water", round(gives_l), "L",
            f"The first rinse draws {rinse_l:.0f} L from {listed(names)}, and the cooler gives "
            f"{gives_l:.0f} L in a milking: the rinse runs dry, however large the tank. Rinse with "
            f"fresh water and leave {listed(pumps)} stopped.",
            subject=tag, limit=round(rinse_l), sense="at_least",
            formula="water of the cooler in the smallest milking, against the first rinse",
            source="definition", confidence="derived",
            remedies=tuple(
                Remedy(p, "in_rinse", "stopped", "the cooler gives less than the first rinse takes")
                for p in pumps
            ),
        )  # fmt: skip


def _after(duty: Duty, end_min: float, wanted: Hours) -> float:
    """Warm water wanted from the end of a milking to the start of the next."""
    end = int(end_min // 60) % HOURS_A_DAY
    starts = {int(m.start_min // 60) % HOURS_A_DAY for m in duty.milkings}
    total = 0.0
    for step in range(HOURS_A_DAY):
        hour = (end + step) % HOURS_A_DAY
        if step and hour in starts:
            break
        total += wanted[hour]
    return total


def _figures(ctx: StudyContext, day: WaterDay) -> None:
    rows = tuple((u.what, round(u.day_l), round(max(u.hours)),
                  "recovered warm water" if u.recovered and sum(day.reused) > 0 else "fresh")
                 for u in day.uses)  # fmt: skip
    ctx.notes.tables.append(Table(
        "water.uses", "Water a day", ("use", "a day", "busiest hour", "from"),
        ("", "L", "L/h", ""), rows,
        note="Without the herd's drinking water."))  # fmt: skip
    lines = tuple((u.what, "L", tuple(round(v, 1) for v in u.hours)) for u in day.uses)
    lines += (("fresh water", "L", tuple(round(v, 1) for v in day.fresh)),)
    lines += (("fresh water so far", "L", tuple(round(v, 1) for v in accumulate(day.fresh))),)
    ctx.notes.series.append(Series(
        "water.hours", "Water by the hour", tuple(float(h) for h in range(HOURS_A_DAY)), "h", lines,
        note="Each point is the hour that begins there."))  # fmt: skip
