"""What the day is held to: time, vessels, washes, services and running costs."""

from __future__ import annotations

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.draws import ambient_c
from byrewright.engine.session import brought_up, wait_s
from byrewright.plant.farm import MONTHS
from byrewright.plant.roles import StandsCows, StoresMilk
from byrewright.plant.roles.vacuum import PumpsVacuum
from byrewright.results import Input
from byrewright.studies.day import remedies, washes
from byrewright.studies.day.record import MilkingSession, Run
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import counted

ON_TIME_ALLOWANCE = 0.05
FULL_ALLOWANCE = 0.05
DRY_SHARE = 0.02
"""Content over volume under which a vessel counts as dry."""
FILM_L = 0.5
"""Milk of a milking that the first rinse takes from walls and sumps: not a loss (our choice)."""
CLOSES = 1e-9  # share of the day's throughput within which mass and heat must close


def milkings(ctx: StudyContext, run: Run) -> None:
    """Did every group finish on time, and how long did cows wait."""
    for name in dict.fromkeys(b.name for b in run.sessions):
        mine = [b for b in run.sessions if b.name == name]
        if not all(b.ended for b in mine):
            open_one = next(b for b in mine if not b.ended)
            so_far = (run.seen_until_s - open_one.asked_s) / 3600
            ctx.find(
                "day.milking_on_time", f"Time taken by milking: {name}", so_far, "h",
                f"{name} was still not finished after {so_far:.1f} h: see what stopped the deck, "
                "the milk or the vacuum, or whether the milkings overlap.",
                subject=name, limit=open_one.target_h, sense="at_most",
                formula="end of what was simulated less planned start",
            )  # fmt: skip
            continue
        session = max(mine, key=lambda b: b.hours)
        late = max(0.0, session.begun_s - session.asked_s)
        tail = (
            f" It began {late / 60:.0f} min late, behind the work before it." if late > 60 else ""
        )
        stands = run.plant.first(StandsCows)
        turns = stands is not None and stands.layout == "rotary"
        stalls = (
            f"the deck was stopped for {session.stopped_s / 60:.0f} min and"
            if turns
            else "the stalls"
        )
        people = "1 person" if session.operators == 1 else f"{session.operators} people"
        ctx.find(
            "day.milking_on_time", f"Time taken by milking: {name}", session.hours, "h",
            f"All groups milked in {session.hours:.2f} h with {people}; {stalls} "
            f"waited {session.held_s / 60:.0f} min for the operators.{tail}",
            subject=name, limit=session.target_h, sense="at_most", allowance=ON_TIME_ALLOWANCE,
            formula="last unit off less planned start",
            inputs=(Input("t_target", "time within which all cows should be milked",
                          session.target_h, "h", "the plant file"),),
            remedies=remedies.sooner(run.plant, session)
            if session.hours > session.target_h else (),
        )  # fmt: skip
    _traffic(ctx, run)


def _traffic(ctx: StudyContext, run: Run) -> None:
    done = [b for b in run.sessions if b.ended and len(b.cows)]
    if not done:
        return
    stands = run.plant.first(StandsCows)
    turns = stands is not None and stands.layout == "rotary"
    again = float(np.mean([np.mean(b.cows[:, sh.O_PASSES] > 1.5) for b in done]))
    ctx.find(
        "day.go_rounds", "Cows that go round again", again, "",
        f"{100 * again:.1f} % of the cows had not milked out by the exit and went round again."
        if turns else "Rows leave together: no cow goes round again.",
        limit=run.plant.wishes.go_round_share, sense="at_most", allowance=0.05,
        formula="cows with more than one pass over all cows",
        remedies=remedies.slower(run.plant, again),
    )  # fmt: skip
    cows_h = float(np.mean([_cows_h(b) for b in done]))
    ctx.find(
        "day.cows_an_hour", "Cows an hour over the milking", cows_h, "1/h",
        f"{cows_h:.0f} cows an hour between the first and the last cow on, with stops and second "
        "rounds counted in.",
        formula="(cows - 1) / (last on - first on)",
    )  # fmt: skip
    peak = run.litres(run.last.g[sh.G_MINUTE_MOST])
    ctx.find(
        "day.milk_flow_peak", "Milk from all units, busiest minute", peak, "L/min",
        f"{peak:.0f} L/min from all units together in the busiest minute.",
        formula="greatest milk of one minute",
    )  # fmt: skip
    together = brought_up(run.plant)
    wait = max(wait_s(b.cows, together) for b in done) / 60
    most_min = ctx.number("milking.wait_most_min")
    ctx.find(
        "day.yard_wait", "Longest wait of a group in the yard", wait, "min",
        f"Of the cows brought up together, the last stood in the yard for {wait:.0f} min after the "
        "first went on. Smaller groups wait less.",
        limit=most_min, sense="at_most", allowance=0.1,
        inputs=(ctx.rule("milking.wait_most_min"),),
        remedies=remedies.fewer_at_a_time(run.plant, cows_h, most_min) if wait > most_min else (),
    )  # fmt: skip


def _cows_h(session: MilkingSession) -> float:
    on = session.cows[:, sh.O_ENTER]
    span = float(on.max() - on.min())
    return 3600 * (len(on) - 1) / span if span > 0 else 0.0


def vessels(ctx: StudyContext, run: Run) -> None:
    """Did any vessel overflow or run dry, and does the tanker keep up."""
    T = run.compiled.tables
    for i, tag in enumerate(run.compiled.names.vessels):
        if T.I[i, sh.VI_ROLE] != sh.STORE or tag == run.compiled.names.tanker:
            continue
        v = run.vessel(tag)
        rho = run.compiled.kg_l[tag]
        cap = float(T.F[i, sh.V_CAP])
        milk = T.I[i, sh.VI_SUBSTANCE] == sh.MILK
        if milk:
            _fullness(ctx, run, tag, v, cap, rho)
        elif T.I[i, sh.VI_SUBSTANCE] == sh.WATER and tag not in run.compiled.names.heated:
            # What a heater holds is what is still hot of it: the wash's temperatures judge that.
            _dryness(ctx, run, tag, v, cap)
    _found_no_way(ctx, run)
    washes.purity(ctx, run)
    _withheld(ctx, run)
    _tankers(ctx, run)
    _calf(ctx, run)
    _balance(ctx, run)


def _fullness(ctx: StudyContext, run: Run, tag: str, v: sh.Floats, cap: float, rho: float) -> None:
    most = float(v[sh.P_MOST]) / rho
    spilt = float(v[sh.P_SPILT]) / rho
    if spilt > 0:
        litres = f"{spilt:.0f}" if spilt >= 10 else f"{spilt:.2g}"
        sentence = (
            f"{tag} ran over at {run.clock(float(v[sh.P_OVER_AT]))} and lost {litres} L. "
            + (
                "It needs a faster outlet, more volume or an earlier collection."
                if isinstance(run.plant.equipment[tag], StoresMilk)
                else "It needs a faster outlet or more volume."
            )
        )
    else:
        sentence = f"{tag} never held more than {most:.0f} L of its {cap / rho:.0f} L."
    ctx.find(
        "day.vessel_full", f"Most in {tag}", most + spilt, "L", sentence, subject=tag,
        limit=cap / rho, sense="at_most",
        allowance=0.0 if tag in run.compiled.names.places else FULL_ALLOWANCE,
        formula="most content in the run, and what ran over",
        remedies=remedies.roomier(run, tag, most + spilt) if spilt > 0 or most > cap / rho else (),
    )  # fmt: skip


def _dryness(ctx: StudyContext, run: Run, tag: str, v: sh.Floats, cap: float) -> None:
    least = float(v[sh.P_LEAST]) / cap
    ctx.find(
        "day.vessel_dry", f"Least in {tag}", least, "",
        f"{tag} never fell below {100 * least:.0f} % of its volume." if least > DRY_SHARE else
        f"{tag} ran dry: the cooler, wash or laundry it feeds went short of water.",
        subject=tag, limit=DRY_SHARE, sense="at_least",
        formula="least content over volume",
        remedies=remedies.fuller(run, tag) if least < DRY_SHARE else (),
    )  # fmt: skip


def _found_no_way(ctx: StudyContext, run: Run) -> None:
    given = sum(b.kg for b in run.sessions)
    lost = float(run.last.items[run.compiled.vessel("(lost)"), :2].sum()
                 - run.first.items[run.compiled.vessel("(lost)"), :2].sum())  # fmt: skip
    drained = 0.0
    for tag in run.compiled.names.vessels:
        i = run.compiled.vessel(tag)
        if run.compiled.tables.I[i, sh.VI_ROLE] == sh.SINK and tag not in (
            "(sold)", "(fed)", "(dumped)", "(lost)",
        ):  # fmt: skip
            drained += float(run.last.items[i, 0] - run.first.items[i, 0])
    litres = run.litres(lost + drained)
    litres = 0.0 if litres < FILM_L * max(len(run.sessions), 1) else litres
    ctx.find(
        "day.milk_lost", "Milk lost to drain or overflow", litres, "L",
        f"{litres:.1f} L of {run.litres(given):.0f} L went to a drain or ran over.",
        limit=0.0, sense="at_most", formula="milk in drains and overflows at the end",
    )  # fmt: skip


def _withheld(ctx: StudyContext, run: Run) -> None:
    stored = sum(
        float(run.vessel(tag)[sh.WITHHELD]) for tag in [*run.compiled.names.places, "(sold)"]
    )
    apart = run.compiled.withheld_apart
    cows = run.plant.herd.withheld_cows
    if not apart:
        sentence = (
            "The milk of marked cows has no way of its own and goes with the rest: join the "
            "withheld port of the units to a vessel of its own before any is milked here."
        )
    elif cows == 0:
        sentence = "No cow is marked; the withheld way was not used."
    else:
        sentence = (
            f"{stored:.1f} kg of the milk of {counted(cows, 'marked cow')} reached tank or tanker."
        )
    ctx.find(
        "day.withheld_milk", "Withheld milk in tank or tanker",
        stored if apart or cows else 1.0, "kg", sentence, limit=0.0, sense="at_most",
        formula="withheld milk in every store and load",
    )  # fmt: skip


def _tankers(ctx: StudyContext, run: Run) -> None:
    loads = run.all_loads
    if not run.plant.collections:
        ctx.find(
            "day.collections", "Milk collected", None, "L",
            "No collection is stated: say when tankers come and what they take.",
            sense="at_least", missing=("collections",),
        )  # fmt: skip
        return
    litres = run.litres(loads[:, sh.T_KG].sum()) if len(loads) else 0.0
    stored = [t for t in run.compiled.names.places if t != run.compiled.names.tanker]
    room = sum(run.compiled.litres[t] for t in stored)
    short = [
        ld for ld in loads
        if ld[sh.T_KG] > 0 and any(
            abs(run.litres(ld[sh.T_KG]) - c.tanker_l) < 5.0 for c in run.plant.collections
        )
    ]  # fmt: skip
    ctx.find(
        "day.collections", "Milk collected", litres / run.days, "L/d",
        f"{litres:.0f} L left in {counted(len(loads), 'load')} over {counted(run.days, 'day')}; "
        f"{len(short) or 'none'} left full. The tanks hold {room:.0f} L.",
        formula="sum of loads over days",
    )  # fmt: skip


def _calf(ctx: StudyContext, run: Run) -> None:
    tag = run.compiled.names.calf
    if not tag:
        return
    i = run.compiled.vessel("(fed)")
    got = run.litres(run.last.items[i, 0] - run.first.items[i, 0])
    held = run.litres(run.vessel(tag)[0])
    asked = run.litres(run.compiled.tables.par[sh.PAR_CALF_KG]) * len(run.sessions)
    ctx.find(
        "day.calf_milk", "Milk drawn for calves", got + held, "L",
        f"{got + held:.0f} L of the {asked:.0f} L wanted was drawn between filter and cooler.",
        limit=0.98 * asked, sense="at_least", formula="drawn each milking until all is had",
    )  # fmt: skip


def closure(run: Run) -> dict[str, float]:
    """How far mass of each substance and heat are from closing, as a share of the throughput."""
    change = np.concatenate([run.change("vessels"), run.change("lines")])
    made = run.grown(sh.G_MADE_WASH)
    through = max(run.milk_kg, 1.0)
    water = max(float(np.abs(change[:, sh.WATER]).sum()), 1.0)
    heat = (
        float(change[:, sh.HEAT].sum()) + run.grown(sh.G_COLD_KJ) + run.grown(sh.G_LOST_KJ)
        - run.grown(sh.G_IN_KJ)
    )  # fmt: skip
    scale = max(float(np.abs(change[:, sh.HEAT]).sum()), 1.0)
    return {
        "milk": float(change[:, sh.MILK].sum()) / through,
        "withheld milk": float(change[:, sh.WITHHELD].sum()) / through,
        "water": (float(change[:, sh.WATER].sum()) + made) / water,
        "wash": (float(change[:, sh.WASH].sum()) - made) / water,
        "heat": heat / scale,
    }


def _balance(ctx: StudyContext, run: Run) -> None:
    gaps = closure(run)
    worst = max(gaps, key=lambda k: abs(gaps[k]))
    ctx.find(
        "day.balance", "Mass and heat balance", abs(gaps[worst]), "",
        f"The largest imbalance is {abs(gaps[worst]):.1e} of the throughput ({worst}).",
        limit=CLOSES, sense="at_most",
        formula="sum of all vessels, lines and ledgers, end less beginning",
    )  # fmt: skip


def cold(ctx: StudyContext, run: Run) -> None:
    """How long each refrigeration machine ran, and in what ambient."""
    mean, swing = ambient_c(run.plant, ctx.rules, run.month, hot=run.hot)
    most = mean + swing
    what = "a hot day" if run.hot else "the mean of the month"
    x = run.change("chillers")
    rows = run.compiled.tables.F[run.compiled.tables.rows("chillers")]
    for i, tag in enumerate(run.compiled.names.chillers):
        rated, fall = float(rows[i, sh.R_RATED_C]), float(rows[i, sh.R_FALL])
        left = 1.0 - fall * max(0.0, most - rated)
        less = (
            f"above the rated {rated:g} degC, so the duty falls to {100 * left:.0f} % at the "
            f"hottest"
            if left < 1.0
            else f"never above the rated {rated:g} degC, so it gives its full duty"
        )
        hours, kwh = (float(x[i, at]) / run.days for at in (sh.SR_HOURS, sh.SR_KJ))
        took = (
            f"{tag}, of {rows[i, sh.R_DUTY]:.3g} kW, took out {kwh / 3600:.3g} kWh of heat a day. "
            f"The air was at {mean - swing:.0f} to {most:.0f} degC ({what}): {less}."
        )
        ctx.find(
            "day.refrigeration_hours", f"Running time of {tag}", hours, "h",
            took if hours > 0 else f"{tag} never ran.",
            subject=tag, limit=24.0, sense="at_most", allowance=0.2,
            formula="duty = rated (1 - f (Ta - Trated)) above Trated; "
            "Ta = mean + swing cos(2 pi (t - 15 h) / 24 h)",
            inputs=(ctx.rule("cooling.day_swing_k"), ctx.rule("cooling.cop_fall_per_k")),
        )  # fmt: skip


def recovered(ctx: StudyContext, run: Run) -> None:
    """Heat that refrigeration gave to wash water, and what the heaters gave beside it."""
    x = run.change("chillers")
    taken = float(x[:, sh.SR_RECOVERED].sum()) / 3600 / run.days
    if (
        not run.compiled.tables.I[run.compiled.tables.rows("chillers"), sh.RI_TAKES].max(initial=-1)
        >= 0
    ):
        return
    heaters = float(run.change("heated")[:, sh.SH_KWH].sum()) / run.days
    ctx.find(
        "day.heat_recovered", "Heat of refrigeration in the wash water", taken, "kWh/d",
        f"Refrigeration gave {taken:.0f} kWh of heat a day to the wash water; the heaters used "
        f"{heaters:.0f} kWh as well. Without it they would use about {heaters + taken:.0f} kWh.",
        formula="s kJ (1 + 1/COP) of each machine while the water can take it",
        inputs=(Input("", "month of the first day", MONTHS[run.month - 1], "", "as asked"),),
    )  # fmt: skip


def _no_vacuum(ctx: StudyContext, run: Run) -> bool:
    """Say so where nothing makes vacuum in milking: the day is then only as if something did."""
    plant = run.plant
    mode = next((n for n, m in plant.modes.items() if "milking" in m.does), None)
    pumps = [m.id for m in plant.equipment.values() if isinstance(m, PumpsVacuum)]
    if mode is None or any(plant.position(mode, tag) == "runs" for tag in pumps):
        return False
    what = (
        f"No vacuum pump runs in mode {mode} ({', '.join(pumps)})"
        if pumps
        else "There is no vacuum pump"
    )
    ctx.find(
        "day.vacuum_made", "Vacuum pumps that run in milking", 0.0, "machines",
        f"{what}, so no cow can be milked: the times and litres of this day hold only if "
        "there were vacuum.",
        limit=1.0, sense="at_least", formula="at least one", source="the plant file",
    )  # fmt: skip
    return True


def services(ctx: StudyContext, run: Run) -> None:
    """Vacuum, compressed air and the electric supply."""
    made = not _no_vacuum(ctx, run)
    least = float(run.last.g[sh.G_VAC_LEAST])
    table = run.compiled.tables.vac
    if made and table.shape[0] > 1 and least < 1e3:
        wanted = float(run.compiled.tables.par[sh.PAR_VAC_SET])
        unknown = run.compiled.vacuum_known == "unknown"
        ctx.find(
            "day.vacuum_least", "Least vacuum in milking", least, "kPa",
            f"{least:.1f} kPa against a setting of {wanted:.0f} kPa, "
            + ("from air in against air out alone." if unknown else "by the solved air network."),
            limit=wanted - ctx.number("vacuum.test.working_vacuum_kpa"), sense="at_least",
            missing=("the solved vacuum network",) if unknown else (),
            inputs=(ctx.rule("vacuum.test.working_vacuum_kpa"),),
        )  # fmt: skip
    bar = float(run.last.g[sh.G_AIR_LEAST])
    tag = run.compiled.names.air
    if tag and bar < 1e3:
        needs = float(getattr(run.plant.equipment[tag], "serves_bar", 0.0))
        ctx.find(
            "day.air_least", "Least compressed-air pressure", bar, "bar",
            f"{bar:.2f} bar at least; the machines need {needs:g} bar.",
            limit=needs, sense="at_least", allowance=0.02,
            remedies=remedies.more_air(run.plant, needs, bar) if bar < needs else (),
        )  # fmt: skip
    most = float(run.last.g[sh.G_KW_MOST])
    limit, motors = run.plant.site.supply.limit_kva, ctx.number("motor.power_factor")
    agreed = (
        f" The {limit:g} kVA agreed carry {limit:.0f} kW of heaters, or {limit * motors:.0f} kW of "
        "motors; what may be on together, in kVA, is sizing's `power.demand`."
        if limit
        else ""
    )
    ctx.find(
        "day.load_most", "Highest electric load", most, "kW",
        f"{most:.0f} kW at most, as the mean of a minute; starting currents are in the power study."
        f"{agreed}",
        # Over all of it no mix passes; under the motors' part any does.
        limit=limit, sense="at_most" if limit else "informational", allowance=1.0 - motors,
        inputs=(ctx.rule("motor.power_factor"),) if limit else (),
    )  # fmt: skip


def running(ctx: StudyContext, run: Run) -> None:
    """Energy, water, chemicals and labour for 1000 L."""
    thousand = max(run.milk_l / 1000, 1e-9)
    kwh = float(run.change("meters")[:, 0].sum())
    ctx.find(
        "day.energy_1000_l", "Electricity for milk", kwh / thousand, "kWh/1000 L",
        f"{kwh / run.days:.0f} kWh a day for {run.milk_l / run.days:.0f} L.",
        formula="electricity of all machines over milk",
    )  # fmt: skip
    water = water_l(run)
    ctx.find(
        "day.water_day", "Fresh water a day", water / run.days / 1000, "m3",
        f"{water / run.days / 1000:.1f} m3 a day drawn from the source.",
        formula="water drawn from sources",
    )  # fmt: skip
    ctx.find(
        "day.water_litre", "Water for milk", water / max(run.milk_l, 1e-9), "L/L",
        f"{water / run.days / 1000:.1f} m3 a day drawn from the source; water used again is not "
        "counted twice.",
        formula="water drawn from sources over milk",
    )  # fmt: skip
    cost = run.grown(sh.G_COST)
    unit = run.plant.site.currency
    known = bool(run.plant.site.supply.tariff)
    ctx.find(
        "day.energy_cost", "Electricity cost of a day", cost / run.days if known else None, unit,
        f"{cost / run.days:.2f} {unit} a day by the stated tariff." if known else
        "No tariff is stated, so no cost is given.",
        missing=() if known else ("site.supply.tariff",),
    )  # fmt: skip
    hours = labour_h(run)
    wage = run.plant.work.wage_h
    tail = f", {hours / run.days * wage:.0f} {unit} a day" if wage else ""
    ctx.find(
        "day.labour", "Milking labour of a day", hours / run.days, "h",
        f"{hours / run.days:.1f} h of milking{tail}; {hours / thousand:.2f} h/1000 L of milk.",
        formula="operators times the length of each milking",
    )  # fmt: skip
    product = run.grown(sh.G_PRODUCT_L)
    ctx.find(
        "day.chemicals", "Wash product of a day", product / run.days, "L",
        f"{product / run.days:.1f} L of product a day at the stated dose. Caustic and acid burn: "
        "goggles, gloves, and never mix acid with chlorine products.",
        formula="dose times dosed water",
    )  # fmt: skip


def water_l(run: Run) -> float:
    """Water drawn from sources, litres."""
    T = run.compiled.tables
    total = 0.0
    for i, tag in enumerate(run.compiled.names.vessels):
        if T.I[i, sh.VI_ROLE] == sh.SOURCE and tag != "(cows)":
            total += float(run.first.items[i, sh.WATER] - run.last.items[i, sh.WATER])
    return total


def labour_h(run: Run) -> float:
    """Hours of work in the parlour."""
    return sum(b.operators * (b.left_s - b.begun_s) / 3600 for b in run.sessions if b.ended)
