"""Heat of refrigeration for wash water: what it gives, its store, the plant without it beside."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import astuple, dataclass
from typing import TypeVar

from byrewright.engine.draws import ambient_c
from byrewright.physics.air import outside_c
from byrewright.physics.demand import HOURS_A_DAY, made_later, spread_over_hours
from byrewright.physics.heat import WarmStore, heating_energy_kwh
from byrewright.physics.milk import heat_kj_per_l
from byrewright.physics.refrigeration import cop_share, duty_share
from byrewright.plant.farm import MONTHS
from byrewright.plant.primitives import Vessel
from byrewright.plant.programme import DAY_MIN
from byrewright.plant.roles import HeatsWater, MakesCold, RecoversHeat, usual_kind
from byrewright.plant.roles.water import RECOVERS
from byrewright.results import Table
from byrewright.studies.sizing.cold import hourly_cold_kwh, open_hours
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import coolant_makers, in_line
from byrewright.studies.sizing.network import fed_by
from byrewright.studies.sizing.sizes import TIGHT, listed, next_preferred, stated, verb_s, worked
from byrewright.studies.sizing.timetable import cycle_days, run_timetable
from byrewright.studies.sizing.washing import heater_set_c, tank_wash_hot_l, wash_heat_of

T = TypeVar("T")
YEAR_DAYS = 365
STEPS_AN_HOUR = 4
"""Cold is made and washes draw by the quarter of an hour: a chiller stands as soon as milk does."""
STEPS = HOURS_A_DAY * STEPS_AN_HOUR
FORMULA = "C dT/dt = s Q_cold (1 + 1/COP) - W (T - T_w) - UA (T - T_room), T at most T_most"
AS_RECKONED = (
    "By the quarter of an hour in each month: cold as milk comes or a store is filled (a tank's "
    "own unit may go on into the wash and give more), washes as they draw, the store all mixed."
)


@dataclass(frozen=True, slots=True)
class Taker:
    """A recovery: fitted, or one that could be."""

    takes: str
    volume_l: float
    loss_share_h: float
    makers: tuple[MakesCold, ...]
    draws: float
    """Share of the plant's hot water that is drawn through it."""


@dataclass(frozen=True, slots=True)
class MonthOfHeat:
    """A mean day of a month: heat given off by refrigeration, wanted by the wash, and taken."""

    given_off_kwh: float
    hot_l: float
    wanted_kwh: float
    taken_kwh: float


@dataclass(frozen=True, slots=True)
class RecoveredHeat:
    """Mean days of all months, January first."""

    months: tuple[MonthOfHeat, ...]

    @property
    def mean(self) -> MonthOfHeat:
        """The year's mean day."""
        every = zip(*(astuple(m) for m in self.months), strict=True)
        return MonthOfHeat(*(sum(column) / len(self.months) for column in every))


def recovered_of(ctx: StudyContext, duty: Duty, taker: Taker) -> RecoveredHeat:
    """What a desuperheater or condenser on some machines gives to the hot water of each month."""
    share, most_c = (ctx.number(key) for key in RECOVERS[taker.takes])
    site, found = ctx.plant.site, list[MonthOfHeat]()
    for month, in_c in enumerate(site.water_temperature_c, 1):
        given = _once(ctx, "heat of " + ", ".join(m.id for m in taker.makers), month,
                      lambda m: _given_kwh(ctx, duty, taker.makers, m))  # fmt: skip
        hot = _once(
            ctx, "hot water by the quarter of an hour", month, lambda m: _hot_l(ctx, duty, m)
        )
        drawn = [taker.draws * litres * ctx.number("water.cp_kj_kgk") for litres in hot]
        kj_k = taker.volume_l * ctx.number("water.cp_kj_kgk")
        store = WarmStore(
            kj_k, max(most_c, in_c), in_c,
            max(site.ambient_c[month - 1], site.room_heated_to_c or -1e3),
            taker.loss_share_h * kj_k / 3600.0,
        )  # fmt: skip
        wanted = heating_energy_kwh(sum(hot), in_c, max(in_c, heater_set_c(ctx)), rules=ctx.rules)
        caught = store.caught_kwh([share * kwh for kwh in given], drawn, 1.0 / STEPS_AN_HOUR)
        found.append(MonthOfHeat(sum(given), sum(hot), wanted, caught))
    return RecoveredHeat(tuple(found))


def _once(ctx: StudyContext, what: str, month: int, how: Callable[[int], T]) -> T:
    """What is the same for every recovery in a month, worked out once."""
    key = (what, month)
    if key not in ctx.known:
        ctx.known[key] = how(month)
    found: T = ctx.known[key]
    return found


def _hour(quarter: int) -> float:
    """The hour of the day in the middle of a quarter."""
    return (quarter + 0.5) / STEPS_AN_HOUR


def _given_kwh(
    ctx: StudyContext, duty: Duty, makers: tuple[MakesCold, ...], month: int
) -> list[float]:
    """Heat that some machines give off in each quarter of an hour, kWh: cold and work."""
    made = _once(ctx, "cold by the quarter of an hour", month, lambda m: _cold_kwh(ctx, duty, m))
    mean, swing = ambient_c(ctx.plant, ctx.rules, month)
    fall = ctx.number("cooling.cop_fall_per_k")
    given = [0.0] * STEPS
    for one in makers:
        cold = one.cold()
        for q, kwh in enumerate(made[one.id]):
            if kwh == 0.0:
                continue
            above = outside_c(_hour(q), mean, swing) - cold.rated_ambient_c
            given[q] += kwh * (1.0 + 1.0 / (cold.cop * cop_share(above, fall)))
    return given


def _cold_kwh(ctx: StudyContext, duty: Duty, month: int) -> dict[str, Sequence[float]]:
    """Cold that each machine makes in each quarter of an hour, kWh: a store's in its hours, a
    chiller's as milk flows, that of a tank's own plates as milk comes and after. Alike share by
    their duty."""
    point = in_line(ctx, duty, ctx.plant.site.water_temperature_c[month - 1])
    every, liquid = ctx.plant.machines(MakesCold), coolant_makers(ctx)
    banks = tuple(m for m in liquid if m.cold().store_kwh > 0)
    chillers = tuple(m for m in liquid if m not in banks)
    helped = sum(m.count * m.cold().duty_kw for m in chillers) / STEPS_AN_HOUR
    chilled = hourly_cold_kwh(ctx, duty, point, STEPS_AN_HOUR)
    per_l = heat_kj_per_l(point.out_c, min(point.out_c, duty.stored_c), ctx.rules) / 3600.0
    asked = {
        banks: [max(0.0, kwh - helped) for kwh in chilled],
        chillers: [min(kwh, helped) for kwh in chilled] if banks else chilled,
        tuple(m for m in every if m not in liquid): [
            per_l * litres for litres in _into_l(ctx, duty)
        ],
    }
    mean, swing = ambient_c(ctx.plant, ctx.rules, month)
    made: dict[str, Sequence[float]] = {}
    for alike, steps in asked.items():
        whole = sum(m.count * m.cold().duty_kw for m in alike)
        for one in alike:
            cold = one.cold()
            most = one.count * cold.duty_kw / STEPS_AN_HOUR
            opened = open_hours(cold)
            made[one.id] = made_later(
                [kwh * most * STEPS_AN_HOUR / whole for kwh in steps],
                [opened[q // STEPS_AN_HOUR] * most * duty_share(outside_c(_hour(q), mean, swing)
                                              - cold.rated_ambient_c,
                                              ctx.number("cooling.cop_fall_per_k"))
                 for q in range(STEPS)],
            )  # fmt: skip
    return made


def _into_l(ctx: StudyContext, duty: Duty) -> list[float]:
    """Milk that runs into tanks in each quarter of an hour of a mean day, L: none that goes
    straight to a tanker."""
    run = run_timetable(ctx, duty)
    quarters = [0.0] * STEPS
    each = len(run.into_l) / (STEPS * cycle_days(ctx.plant.collections))
    for step, litres in enumerate(run.into_l):
        quarters[int(step / each) % STEPS] += litres / cycle_days(ctx.plant.collections)
    return quarters


def _hot_l(ctx: StudyContext, duty: Duty, month: int) -> list[float]:
    """Hot water that the washes of plant and tanks draw in each quarter of an hour of a mean
    day, L."""
    heat = wash_heat_of(ctx, duty, ctx.plant.site.water_temperature_c[month - 1])
    quarters = [0.0] * STEPS
    draws = [(m.end_min, heat.minutes / 60.0, heat.heater_l) for m in duty.milkings
             if m.washed_after]  # fmt: skip
    days = cycle_days(ctx.plant.collections)
    draws += [(at % DAY_MIN, ctx.number("wash.tank_min") / 60.0, tank_wash_hot_l(ctx, size) / days)
              for at, size in run_timetable(ctx, duty).emptied]  # fmt: skip
    for start, length, litres in draws:
        for q, part in enumerate(spread_over_hours(start, length, litres, STEPS_AN_HOUR)):
            quarters[q] += part
    return quarters


def size_recovery(ctx: StudyContext, duty: Duty) -> None:
    """Each heat recovery, or what one would give where there is none; both plants beside."""
    every = ctx.plant.machines(MakesCold)
    heaters = ctx.plant.machines(HeatsWater)
    if not every or not heaters or not ctx.programme.washes_a_day:
        return
    fitted = ctx.plant.machines(RecoversHeat)
    feeds = {one.id: fed_by(ctx, one.id, [h.id for h in heaters]) for one in fitted}
    for one in fitted:
        makers = tuple(m for m in every if m.id in one.takes_from)
        if not makers:
            ctx.lacks("recovery.source", "Heat recovery", f"takes_from of {one.id} names no "
                        "refrigeration that runs: it gets no heat.")  # fmt: skip
            continue
        draws = sum(
            h.volume_l * h.count / sum(h.id in others for others in feeds.values())
            for h in heaters if h.id in feeds[one.id]
        ) / sum(h.volume_l * h.count for h in heaters)  # fmt: skip
        taker = Taker(one.takes, one.volume_l * one.count, _loss_share_h(one), makers, draws)
        _fitted(ctx, duty, one, recovered_of(ctx, duty, taker), taker)
    volume = sum(r.volume_l * r.count for r in fitted) or next_preferred(
        wash_heat_of(ctx, duty).heater_l * (1 + TIGHT)
    )
    loss = max(
        _loss_share_h(r) for r in fitted or (usual_kind(RecoversHeat)(id="HR", volume_l=volume),)
    )
    could = {takes: recovered_of(ctx, duty, Taker(takes, volume, loss, every, 1.0))
             for takes in RECOVERS}  # fmt: skip
    twice = {takes: recovered_of(ctx, duty, Taker(takes, 2.0 * volume, loss, every, 1.0))
             for takes in RECOVERS}  # fmt: skip
    _beside(ctx, {volume: could, 2.0 * volume: twice})
    if not fitted:
        best = max(could.values(), key=lambda w: w.mean.taken_kwh)
        ctx.find(
            "recovery.alternative", "Heat of refrigeration that the wash could use",
            best.mean.taken_kwh, "kWh/d",
            f"Refrigeration gives off {best.mean.given_off_kwh:.0f} kWh a day; "
            f"{best.mean.taken_kwh:.0f} kWh of it could warm wash water in a store of "
            f"{volume:.0f} L, of {best.mean.wanted_kwh:.0f} kWh that plant and tank washes "
            f"take beside standing losses, on average over the year. {AS_RECKONED} "
            "See the table of both plants; nothing is fitted for it.",
            formula=FORMULA, source="heat balance", confidence="derived",
            inputs=(ctx.rule("recovery.condenser_share"),
                    ctx.rule("recovery.condenser_most_c")),
        )  # fmt: skip


def _beside(ctx: StudyContext, could: Mapping[float, Mapping[str, RecoveredHeat]]) -> None:
    """The plant without recovery and with one of either kind, by the volume of its store."""
    eta, price = _electric_share(ctx), _price(ctx)
    every = [
        (takes, volume_l, w) for volume_l, kinds in could.items() for takes, w in kinds.items()
    ]
    wanted = every[0][2].mean.wanted_kwh
    rows = [("without", 0.0)]
    rows += [(f"with a {takes} and {volume_l:.0f} L", w.mean.taken_kwh)
             for takes, volume_l, w in every]  # fmt: skip
    ctx.notes.tables.append(Table(
        "recovery.beside", "Wash water with and without heat of refrigeration",
        ("plant", "heat taken", "heaters then use", "saved a year", "worth a year"),
        ("", "kWh/d", "kWh/d", "kWh", ctx.plant.site.currency),
        tuple((name, round(kwh), round((wanted - kwh) / eta), round(kwh / eta * YEAR_DAYS),
               round(kwh / eta * YEAR_DAYS * price)) for name, kwh in rows),
        "All refrigeration taken, a store of the volume named, the mean of the year. "
        f"{AS_RECKONED} Energy only, not the cost of the unit."
        + ("" if price else " No tariff is stated, so no worth is given."),
    ))  # fmt: skip


def _loss_share_h(one: RecoversHeat) -> float:
    """Share of its heat over the room that a recovery's store loses in an hour."""
    return max((v.loss_share_h for v in one.lower() if isinstance(v, Vessel)), default=0.0)


def _fitted(
    ctx: StudyContext, duty: Duty, one: RecoversHeat, w: RecoveredHeat, taker: Taker
) -> None:
    share, most = RECOVERS[one.takes]
    makers = taker.makers
    ctx.find(
        "recovery.heat", "Heat recovered for wash water", w.mean.taken_kwh, "kWh/d",
        f"{one.id} takes {w.mean.taken_kwh:.0f} kWh a day of the "
        f"{w.mean.given_off_kwh:.0f} kWh that {listed([m.id for m in makers])} "
        f"give{verb_s(len(makers))} off, up to {ctx.number(most):g} degC, as the year's average; "
        f"the heaters give the rest of {w.mean.wanted_kwh:.0f} kWh that plant and tank washes "
        f"take, and standing losses. {AS_RECKONED} "
        "The heaters are sized to do it alone: when it fails only electricity is lost.",
        subject=one.id, formula=FORMULA, source="heat balance", confidence="derived",
        inputs=(worked("Q_cold (1 + 1/COP)", "heat given off",
                       round(w.mean.given_off_kwh), "kWh/d"),
                ctx.rule(share, "s"), ctx.rule(most, "T_most"),
                worked("W", "hot water of plant and tank washes a day",
                       round(w.mean.hot_l), "L"),
                worked("", "of it drawn through this store", round(100 * taker.draws), "%"),
                stated("C", "its store", one.volume_l, "L"),
                worked("UA", "of its heat over the room lost an hour", taker.loss_share_h,
                       "0 to 1"),
                ctx.rule("cooling.cop_fall_per_k"), ctx.rule("cooling.day_swing_k")),
    )  # fmt: skip
    ctx.notes.tables.append(Table(
        "recovery.months", f"Heat recovered by {one.id} on a mean day of each month",
        ("month", "heat given off", "hot water", "washes take", "heat taken"),
        ("", "kWh/d", "L/d", "kWh/d", "kWh/d"),
        tuple((name, round(m.given_off_kwh), round(m.hot_l), round(m.wanted_kwh),
               round(m.taken_kwh, 1)) for name, m in zip(MONTHS, w.months, strict=True)),
        AS_RECKONED,
    ))  # fmt: skip
    need = wash_heat_of(ctx, duty).heater_l
    total = sum(r.count * r.volume_l for r in ctx.plant.machines(RecoversHeat))
    count = sum(r.count for r in ctx.plant.machines(RecoversHeat))
    ctx.find(
        "recovery.store", "Warm water kept by heat recovery", total, "L",
        f"{one.id} keeps {total:.0f} L warm; a wash draws {need:.0f} L through the heaters, which "
        "then fill from it.",
        subject=one.id, limit=need, sense="at_least", allowance=TIGHT,
        formula="V >= hot water of a wash",
        inputs=(stated("V", "its store", one.volume_l, "L"),), source="practice",
        confidence="common_practice", advised=next_preferred(need * (1 + TIGHT) / count),
        advised_why="the hot water of a wash, next size", target=(one, "volume_l"),
    )  # fmt: skip


def _electric_share(ctx: StudyContext) -> float:
    first = ctx.plant.machines(HeatsWater)[0]
    if first.fuel == "electric":
        return ctx.number("heater.efficiency_electric")
    return ctx.number("heater.efficiency_fuel")


def _price(ctx: StudyContext) -> float:
    """Mean of the stated prices of a kWh, or nil."""
    tariff = ctx.plant.site.supply.tariff
    return sum(t.price_kwh for t in tariff) / len(tariff) if tariff else 0.0
