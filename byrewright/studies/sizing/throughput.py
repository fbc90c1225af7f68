"""Cows an hour: turn, go-rounds, labour, stalls, and whether each milking ends in time."""

from __future__ import annotations

import math

from byrewright.engine.session import milk_alone
from byrewright.physics.throughput import operators_needed, rotation, rotation_for_share_s
from byrewright.plant.farm import MOST_USUAL_STALLS, clock
from byrewright.plant.programme import MilkingPlan
from byrewright.plant.roles import BringsCows, GivesMilk, StandsCows
from byrewright.results import Remedy, Table
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, cows_of, removed_after_s, stalls_on
from byrewright.studies.sizing.sizes import TIGHT, counted, spare, stated, verb_s, worked

FEWEST_DECK, FEWEST_ROW = 8, 4
"""Fewest stalls that are considered: of a deck, and of rows (two rows of two)."""
LONGEST_ROW = 60
"""Most stalls of one row: a longer one is too far to walk (our choice)."""
TURN_STEP_S = 5.0
EDWARDS = "edwards2012"


def size_throughput(ctx: StudyContext, duty: Duty) -> None:
    """Stalls, turn, go-rounds, labour, milking hours and waiting."""
    if not ctx.plant.able("stands cows"):
        ctx.lacks("throughput.platform", "Platform", "There is no platform for the cows: add one.")
        return
    _pace(ctx, duty)
    _milk_flow(ctx, duty)
    if duty.layout == "rotary":
        _go_round(ctx, duty)
        _turns(ctx, duty)
    _labour(ctx, duty)
    _finished(ctx, duty)
    _stalls(ctx, duty)
    _units(ctx, duty)
    _yard(ctx, duty)


def _pace(ctx: StudyContext, duty: Duty) -> None:
    out = duty.milk_out
    if duty.layout == "rotary":
        sentence = (
            f"A turn of {duty.turn_s / 60:.1f} min with {duty.stalls} stalls is one cow every "
            f"{duty.stall_s:.1f} s: {duty.gross_cows_h:.0f} cows an hour, "
            f"{duty.net_cows_h:.0f} net of go-rounds and stops." + _gap_cost(ctx, duty)
        )
        formula = "net = 3600 N / T / (1 + (1 + e) r) (1 - s), r = sum over k of P(t > k T_on)"
    else:
        sentence = (
            f"Each filling of {duty.rows} rows ({duty.stalls} stalls) takes "
            f"{duty.turn_s / 60:.1f} min with its change, set by the slowest cow: "
            f"{duty.net_cows_h:.0f} cows an hour net of stops."
        )
        formula = "net = 3600 N / (t_change + E[max(i a + t_i)]) (1 - s)"
    ctx.find(
        "throughput.net",
        "Cows an hour with every stall taken",
        duty.net_cows_h,
        "1/h",
        sentence,
        formula=formula,
        inputs=(
            stated("N", "stalls", duty.stalls),
            worked("T", "one turn or filling", duty.turn_s, "s"),
            worked("r", "further turns a cow, every one counted", duty.passes - 1.0),
            ctx.rule("milking.go_round_shadow", "e"),
            stated("s", "share of time stood still", duty.stop_share),
            worked("t", "mean unit-on time", round(out.mean_s), "s"),
            worked("sd", "its standard deviation", round(out.std_dev_s), "s"),
        ),
        source=EDWARDS,
        confidence="derived",
    )


def _gap_cost(ctx: StudyContext, duty: Duty) -> str:
    """What a stall left empty behind each cow that goes round costs, and what is reckoned with."""
    held, gross = ctx.number("milking.go_round_shadow"), duty.gross_cows_h
    none, each = (gross / (1.0 + (1.0 + e) * (duty.passes - 1.0)) for e in (0.0, 1.0))
    if none - each < 0.5:
        return ""
    running = 1.0 - duty.stop_share
    reckoned = f"a gap behind {100 * held:.0f} % of them is counted" if held else "none is counted"
    return (
        f" A stall left empty behind each cow that goes round would cost "
        f"{(none - each) * running:.0f} cows an hour ({100 * (1 - each / none):.1f} %); {reckoned}."
    )


def _milk_flow(ctx: StudyContext, duty: Duty) -> None:
    ctx.find(
        "throughput.milk_day",
        "Milk a day",
        round(duty.milk_l_day),
        "L",
        f"The cows give {duty.milk_l_day:.0f} L a day in {len(duty.milkings)} "
        f"milking{'s' if len(duty.milkings) > 1 else ''}, {duty.withheld_l_day:.0f} L of it "
        "withheld.",
        formula="sum over milkings and groups of cows x milk a cow",
        inputs=tuple(worked("V", f"{m.name}: milk", round(m.milk_l), "L") for m in duty.milkings),
        source="the plant file",
        confidence="stated",
    )
    ctx.find(
        "throughput.milk_flow_peak",
        "Milk from all units, busiest minute",
        round(duty.milk_flow_peak_l_min, 1),
        "L/min",
        f"{duty.milk_flow_mean_l_min:.0f} L/min on the mean of the milking with most milk a cow, "
        f"{duty.milk_flow_peak_l_min:.0f} L/min in its busiest minute.",
        formula="q = net V / 60 x peak factor",
        inputs=(
            worked("net", "cows an hour, net", round(duty.net_cows_h, 1), "1/h"),
            worked("V", "milk a cow", round(duty.milk_l_cow, 2), "L"),
            worked("peak factor", "busiest minute over mean", round(duty.peak_factor, 3)),
        ),
        source="practice",
        confidence="common_practice",
    )


def _go_round(ctx: StudyContext, duty: Duty) -> None:
    platform = ctx.plant.first(StandsCows)
    wish = ctx.plant.wishes.go_round_share
    advised = _advised_turn_s(ctx, duty, duty.stalls)
    why = f"finishes {100 - 100 * wish:.0f} % of the cows in one turn and suits the operators"
    ctx.find(
        "throughput.go_round",
        "Cows going round twice",
        100 * duty.go_round_share,
        "%",
        f"{100 * duty.go_round_share:.0f} % of the cows go round twice; the farm asked for "
        f"{100 * wish:.0f} % at most. A turn of {advised / 60:.1f} min {why}.",
        limit=100 * wish,
        sense="at_most",
        allowance=TIGHT,
        formula="g = P(t > T/N (N - N_entry)), t log-normal",
        inputs=(
            stated("T", "turn", duty.turn_s, "s"),
            stated("N", "stalls", duty.stalls),
            worked("T/N (N - N_entry)", "time from cups-on to cups-off", duty.available_s, "s"),
            stated("g_wish", "most that the farm wants", wish),
        ),
        source=EDWARDS,
        confidence="read",
        advised=advised,
        advised_why=why,
        target=(platform, "turn_s") if platform else None,
    )


def _turns(ctx: StudyContext, duty: Duty) -> None:
    """A table of turns from fast to slow, so that the choice can be seen."""
    out, on = duty.milk_out, stalls_on(ctx.plant.first(StandsCows), duty.stalls)
    shadow, most_s = ctx.number("milking.go_round_shadow"), removed_after_s(ctx)
    rows = []
    for minutes in (6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 14.0):
        one = rotation(duty.stalls, on, 60 * minutes, out.mean_s, out.std_dev_s, shadow, most_s)
        rows.append(
            (
                minutes,
                round(one.seconds_a_stall, 1),
                round(one.gross_cows_h),
                round(100 * one.go_round_share, 1),
                round(one.net_cows_h * (1 - duty.stop_share)),
            )
        )
    ctx.notes.tables.append(
        Table(
            "throughput.turns",
            "Turn against cows an hour",
            ("turn", "a stall", "gross", "going round twice", "net of go-rounds and stops"),
            ("min", "s", "1/h", "%", "1/h"),
            tuple(rows),
            "Labour is not a limit in this table.",
        )
    )


def _labour(ctx: StudyContext, duty: Duty) -> None:
    if not duty.routine_s:
        return
    people = operators_needed(duty.gross_cows_h, duty.routine_s)
    need = max(m.operators for m in duty.milkings)
    ctx.find(
        "throughput.labour",
        "Cows an hour that the operators can serve",
        duty.labour_cows_h,
        "1/h",
        f"{counted(need, 'operator')} with {duty.routine_s:.0f} s of work a cow "
        f"serve{verb_s(need)} "
        f"{duty.labour_cows_h:.0f} cows an hour; {duty.gross_cows_h:.0f} pass them: "
        f"{spare(duty.labour_cows_h, duty.gross_cows_h)}."
        + (f" {people} operators, or a slower turn, would do." if people > need else ""),
        limit=duty.gross_cows_h,
        sense="at_least",
        allowance=TIGHT,
        formula="3600 m / WRT >= gross",
        inputs=(
            stated("m", "operators", need),
            stated("WRT", "work routine a cow", duty.routine_s, "s"),
            worked("gross", "cows an hour, gross", duty.gross_cows_h, "1/h"),
        ),
        source="nz_levy",
        confidence="read",
    )


def _finished(ctx: StudyContext, duty: Duty) -> None:
    for one in duty.milkings:
        end = clock(one.end_min)
        ctx.find(
            "throughput.finished",
            "Milking finished in time",
            one.hours,
            "h",
            f"The {one.name} milking takes {one.hours:.1f} h for {one.cows} cows, from "
            f"{clock(one.start_min)} "
            f"to {end}; the target is {one.target_h:g} h."
            + (" The next milking starts before it ends." if one.gap_after_min < 0 else ""),
            subject=one.name,
            limit=min(one.target_h, one.hours + one.gap_after_min / 60.0),
            sense="at_most",
            allowance=TIGHT,
            formula="last unit off less first cow on, cow by cow, by the kernel of the day",
            inputs=(
                stated("cows", "cows milked", one.cows),
                stated("groups", "groups one after another", len(one.groups)),
                worked("t", "mean unit-on time", round(one.milk_out.mean_s), "s"),
                stated("m", "operators", one.operators),
                worked("T", "one turn or filling", duty.turn_s, "s"),
                stated("h_target", "target", one.target_h, "h"),
            ),
            source="the cows that the day draws with its first seed",
            confidence="derived",
        )


def _turns_asked_s(ctx: StudyContext, duty: Duty, stalls: int) -> tuple[float, float]:
    """The quickest turn that keeps the go-round share wanted at most, and that the
    operators can serve."""
    out, on = duty.milk_out, stalls_on(ctx.plant.first(StandsCows), stalls)
    share = min(max(ctx.plant.wishes.go_round_share, 0.001), 0.5)
    turn = rotation_for_share_s(stalls, on, out.mean_s, out.std_dev_s, share)
    return turn, stalls * duty.routine_s / duty.operators


def _advised_turn_s(ctx: StudyContext, duty: Duty, stalls: int) -> float:
    """The quickest turn that keeps the go-round share wanted at most and that the
    operators can serve."""
    return math.ceil(max(_turns_asked_s(ctx, duty, stalls)) / TURN_STEP_S - 1e-9) * TURN_STEP_S


def _hours(ctx: StudyContext, duty: Duty, one: MilkingPlan, stalls: int) -> float:
    """Hours of a milking with another number of stalls at the turn advised for it."""
    platform = ctx.plant.first(StandsCows)
    assert platform is not None
    turn_s = _advised_turn_s(ctx, duty, stalls) if duty.layout == "rotary" else platform.turn_s
    other = platform.model_copy(update={"stalls": stalls, "turn_s": turn_s})
    return milk_alone(cows_of(ctx), other, one).hours


def _stalls(ctx: StudyContext, duty: Duty) -> None:
    platform = ctx.plant.first(StandsCows)
    every = sorted(ctx.programme.milkings, key=lambda m: -m.cows / m.target_h)
    step = 2 * duty.rows if duty.layout == "rows" else 2
    most = max(MOST_USUAL_STALLS, duty.stalls)
    most = most if duty.layout == "rotary" else min(most, LONGEST_ROW * duty.rows)
    fewest = FEWEST_DECK if duty.layout == "rotary" else FEWEST_ROW
    sizes = range(math.ceil(fewest / step) * step, most + 1, step)
    served = False
    if duty.layout == "rotary":
        for at, size in enumerate(sizes):
            turn_s, people_s = _turns_asked_s(ctx, duty, size)
            if people_s > turn_s:
                sizes, served = sizes[: at + 1], True
                break
    low, high = 0, len(sizes) - 1
    worst = every[0]

    def late(stalls: int) -> MilkingPlan | None:
        """The first milking that does not end in time with so many: of equal ones each has its
        own cows by chance."""
        return next((m for m in every if _hours(ctx, duty, m, stalls) > m.target_h), None)

    if (one := late(sizes[high])) is not None:
        worst = one
        ctx.find(
            "throughput.stalls",
            "Stalls",
            float(duty.stalls),
            "stalls",
            f"No number of stalls up to {sizes[high]} ends the {worst.name} milking within "
            f"{worst.target_h:g} h with {duty.operators} operators, {duty.routine_s:.0f} s a cow"
            + (", and a larger deck would only turn slower" if served else "")
            + ": more operators, a shorter routine, more hours or a second parlour are needed.",
            subject=platform.id if platform else "",
            missing=("a target that the operators can meet",),
        )
        return
    while low < high:
        mid = (low + high) // 2
        one = late(sizes[mid])
        if one is None:
            high = mid
        else:
            low, worst = mid + 1, one
    need = sizes[low]
    turn = (
        "at a turn that keeps go-rounds within what the farm wants"
        if duty.layout == "rotary"
        else "in rows"
    )
    ctx.find(
        "throughput.stalls",
        "Stalls",
        float(duty.stalls),
        "stalls",
        f"{duty.stalls} stalls; {need} would end the {worst.name} milking within "
        f"{worst.target_h:g} h {turn}: "
        f"{spare(duty.stalls, need)}.",
        subject=platform.id if platform else "",
        limit=float(need),
        sense="at_least",
        allowance=0.0,
        formula="least N at which the last unit is off within h_target, cow by cow",
        inputs=(
            stated("cows", "cows milked", worst.cows),
            stated("h_target", "target", worst.target_h, "h"),
            stated("m", "operators", duty.operators),
            stated("g_wish", "go-round share wanted at most", ctx.plant.wishes.go_round_share),
            stated("s", "share of time stood still", duty.stop_share),
        ),
        source=EDWARDS,
        confidence="derived",
        advised=float(need),
        advised_why=f"ends the {worst.name} milking within {worst.target_h:g} h {turn}",
        target=(platform, "stalls") if platform else None,
    )


def _units(ctx: StudyContext, duty: Duty) -> None:
    units = ctx.plant.machines(GivesMilk)
    if not units:
        ctx.lacks(
            "throughput.units",
            "Milking units",
            "There are no milking units: add one for each stall.",
        )
        return
    has = sum(u.count for u in units)
    ctx.find(
        "throughput.units",
        "Milking units",
        float(has),
        "units",
        f"{has} milking units for {duty.stalls} stalls."
        + ("" if has >= duty.stalls else " Give each stall a unit, or say fewer stalls."),
        subject=units[0].id,
        limit=float(duty.stalls),
        sense="at_least",
        formula="units >= stalls",
        inputs=(stated("n", "units", has), stated("N", "stalls", duty.stalls)),
        source="the plant file",
        confidence="stated",
        advised=float(duty.stalls),
        advised_why="one a stall",
        target=(units[0], "count") if len(units) == 1 else None,
    )


def _yard(ctx: StudyContext, duty: Duty) -> None:
    """The longest wait in the holding yard: the last cow of the largest group brought up."""
    gates = [g.yard_cows for g in ctx.plant.machines(BringsCows) if g.yard_cows is not None]
    group = max(g.cows for g in ctx.plant.herd.all_groups())
    waiting = min(group, max(gates)) if gates else group
    wait = max(m.yard_wait_min for m in duty.milkings)
    limit = ctx.number("milking.wait_most_min")
    ctx.find(
        "throughput.yard_wait",
        "Longest wait in the yard",
        wait,
        "min",
        f"{waiting} cows brought up together wait up to {wait:.0f} min; {limit:.0f} min at most is "
        "good practice."
        + (
            ""
            if wait <= limit
            else f" Bring up {duty.net_cows_h * limit / 60:.0f} or fewer at a time."
        ),
        limit=limit,
        sense="at_most",
        allowance=TIGHT,
        formula="from the first to the last on of those brought up together, cow by cow",
        inputs=(
            stated("cows", "cows brought up together", waiting),
            worked("net", "cows an hour, net", duty.net_cows_h, "1/h"),
            ctx.rule("milking.wait_most_min", "t_most"),
        ),
        source="practice",
        confidence="common_practice",
        remedies=_fewer(ctx, duty, limit) if wait > limit else (),
    )


def _fewer(ctx: StudyContext, duty: Duty, most_min: float) -> tuple[Remedy, ...]:
    """The yard gate set for as many cows as wait no longer than is good."""
    cows = max(5.0, float(int(0.9 * duty.net_cows_h * most_min / 60.0)))
    why = f"brought up {cows:.0f} at a time none waits longer than {most_min:.0f} min"
    return tuple(Remedy(g.id, "yard_cows", cows, why) for g in ctx.plant.machines(BringsCows))
