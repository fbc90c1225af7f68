"""What events do to the vacuum, how control may be set, and what the milkline does."""

from __future__ import annotations

from byrewright.results import Input, Remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import counted, listed, next_preferred, worked
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.milkline import SAY, LineAnswer
from byrewright.studies.vacuum.situations import speed_control
from byrewright.studies.vacuum.transient import Run

MARCHED = "air network in time, lumped volumes, 5 ms"
FAULTS = frozenset({"pump_trips_valve_leaks", "regulator_open", "drain_open", "control_sticks"})
"""Events that are faults of a part: told, not held against the plant."""
BACK_WITHIN_S = 5.0  # common practice, no source: one fall-off is over within this time


def write(ctx: StudyContext, case: Case) -> None:
    """Write the findings of events, of control settings and of the milkline."""
    for run in case.runs.values():
        _event(ctx, case, run)
    _tuning(ctx, case)
    for line in case.lines:
        _milkline(ctx, line)


def _event(ctx: StudyContext, case: Case, run: Run) -> None:
    rule: tuple[Input, ...] = (
        ctx.rule("vacuum.cups_fall_kpa"),
        ctx.rule("vacuum.cups_fall_after_s"),
    )
    back = (
        f"settles at {run.after_kpa:.1f} kPa"
        if run.back_after_s == float("inf")
        else f"is back after {run.back_after_s:.1f} s"
    )
    says = (
        f"{run.event.title}: vacuum at the receiver falls {run.drop_kpa:.1f} kPa to "
        f"{run.least_kpa:.1f} kPa, "
        f"at the worst unit to {run.least_at_units_kpa:.1f} kPa, and {back}."
    )
    if run.units_falling > 0.5:
        says += (
            f" It stays under {rule[0].value:g} kPa for {run.under_limit_s:.1f} s: "
            f"{run.units_falling:.0f} cups are likely to fall."
        )
    key = run.event.key
    what_if = key == "all_vacuum_lost" and (
        len(case.running) > 1 or not case.network.plant.wishes.no_single_stop
    )
    if key == "all_vacuum_lost":
        says += (
            " A standby that is not running does not save the cups; pumps that run together do."
            if run.units_falling > 0.5
            else ""
        )
        if len(case.running) > 1:
            says += " (What if: this plant runs its pumps together.)"
    ctx.find(
        f"vacuum.event.{key}",
        f"{run.event.title}",
        run.units_falling,
        "units",
        says,
        limit=None if what_if or key in FAULTS else 0.0,
        sense="informational" if what_if or key in FAULTS else "at_most",
        formula="longest time under the vacuum at which cups fall, unit by unit; of a deck's units "
        "those within their milk-out (units x milk-out / turn)",
        inputs=rule,
        source=MARCHED,
        confidence="derived",
        remedies=together(case) if key == "all_vacuum_lost" and run.units_falling > 0.5 else (),
    )
    if key == "fall_off":
        over = run.back_after_s != float("inf")
        told = f"is over after {run.back_after_s:.1f} s" if over else "is not over in the time run"
        if run.back_after_s > BACK_WITHIN_S:
            told += ": tune the control, or look for air that is short"
        ctx.find(
            "vacuum.event.fall_off_back",
            "Time until one fall-off is over",
            run.back_after_s if over else run.event.seconds,
            "s",
            f"One unit kicked off {told}; within {BACK_WITHIN_S:g} s is usual.",
            limit=BACK_WITHIN_S,
            sense="at_most",
            formula="Vm within 0.2 kPa of before",
            source="practice",
            confidence="common_practice",
            remedies=retuned(case) if run.back_after_s > BACK_WITHIN_S else (),
        )


def retuned(case: Case) -> tuple[Remedy, ...]:
    """The best setting of speed control found, where it is not that already; else a larger pump."""
    variable = [p.machine for p in case.network.pumps if p.machine.speed == "variable"]
    if not variable or not case.tuned:
        return ()
    best = case.tuned[0]
    if (best.gain, best.ramp) == speed_control(case.network):
        return more_air(case, 1.15, "the control is at its best setting and air is still short")
    why = f"best of {len(case.tuned)} settings tried"
    return tuple(
        Remedy(tag, figure, to, why)
        for tag in dict.fromkeys(m.id for m in variable)
        for figure, to in (("gain_per_kpa", best.gain), ("ramp_per_s", best.ramp))
    )


def more_air(case: Case, times: float, why: str) -> tuple[Remedy, ...]:
    """Larger pumps: each by the same share, next size."""
    sizes = {p.machine.id: p.machine.capacity_l_min_free for p in case.network.pumps}
    return tuple(
        Remedy(tag, "capacity_l_min_free", next_preferred(q * times), why)
        for tag, q in sizes.items()
    )


def together(case: Case) -> tuple[Remedy, ...]:
    """Pumps that share the work, so that cups stay on when one trips."""
    why = "pumps that run together keep the cups on when one of them trips"
    idle = [p.machine.id for p in case.network.pumps if p.name not in case.running]
    if idle:
        return tuple(Remedy(tag, "in_milking", "runs", why) for tag in idle)
    return (Remedy("wishes", "redundancy", "shared-running", why),)


def _tuning(ctx: StudyContext, case: Case) -> None:
    if not case.tuned:
        return
    best = case.tuned[0]
    now = speed_control(case.network)
    used = next((t for t in case.tuned if (t.gain, t.ramp) == now), best)
    ctx.find(
        "vacuum.tuning",
        "Best setting of speed control found",
        best.gain,
        "1/kPa",
        f"With {listed(case.tuned_with)} running, of {len(case.tuned)} settings tried a gain of "
        f"{best.gain:g} per kPa and a ramp of {best.ramp:g} per s works best: "
        f"{best.drop_kpa:.2f} kPa "
        f"drop and {best.overshoot_kpa:.2f} kPa overshoot when units fall, against "
        f"{used.drop_kpa:.2f} and "
        f"{used.overshoot_kpa:.2f} kPa as set. Start from it and tune on site.",
        formula="least of drop + overshoot + a tenth of the seconds until back",
        inputs=(ctx.rule("vacuum.speed_gain_per_kpa"), ctx.rule("vacuum.speed_ramp_per_s")),
        source=MARCHED,
        confidence="derived",
    )


def _milkline(ctx: StudyContext, answer: LineAnswer) -> None:
    line, load = answer.line, answer.load
    allowed = 100.0 - ctx.number("milkline.drop_share_of_time_pct")
    share = 100.0 * answer.slug_share
    flow = "stratified" if answer.at_peak and answer.at_peak.stratified else "slugs"
    says = (
        f"{line.id}, {line.bore_mm:g} mm at {line.slope_pct:g} %, {load.slopes} slopes of "
        f"{counted(round(load.units), 'neighbouring unit')}: at the worst time "
        f"{load.peak_l_min:.0f} L/min of milk a slope runs "
        f"{100 * answer.level:.0f} % deep "
        f"({flow}); more than half full, or slugs, for {share:.1f} % of milking."
    )
    more = answer.table_units is None and load.units > answer.units_1978 + 1e-9
    if more:
        says += f" The 1978 rule has {answer.units_1978} units for this bore: tight at best."
    if share > allowed:
        says += (
            f" Take {answer.better_bore_mm:g} mm."
            if answer.better_bore_mm
            else " No standard bore is enough: add slope, or a receiver outlet."
        )
    ctx.find(
        "vacuum.milkline.slugs",
        "Share of milking with a slope more than half full, or with slugs",
        share,
        "%",
        f"{says} {SAY}",
        subject=line.id,
        limit=allowed,
        sense="at_most",
        allowance=1.01 if more else 0.2,
        formula="time in which the milk of a slope, cow by cow, is above the lower of half-full "
        "gravity flow and the flow at which slugs start (Taitel and Dukler 1976), over attachments "
        "and fall-offs",
        inputs=(
            worked("", "milk of a slope, worst ten seconds", round(load.peak_l_min, 1), "L/min"),
            worked("", "steady air of a slope", round(load.steady_air_l_min), "L/min"),
            worked(
                "", "time between attachments in a slope", round(load.attach_interval_s, 1), "s"
            ),
            ctx.rule("milkline.transient_air_typical_l_min"),
        ),
        source="Taitel and Dukler, AIChE Journal 22(1), 1976",
        confidence="from_memory",
        advised=answer.better_bore_mm,
        target=(line, "bore_mm") if answer.better_bore_mm else None,
        advised_why="least common milkline bore with either for under 5 % of milking"
        if answer.better_bore_mm
        else "",
    )
    ctx.find(
        "vacuum.milkline.units",
        "Cows at peak flow together that a slope takes",
        float(answer.units_by_slug_limit),
        "cows",
        f"{line.id}: one slope takes {answer.slug_limit_l_min:.0f} L/min (half full, or where "
        f"slugs start) beside the air of one attachment, {answer.units_by_slug_limit} cows at "
        f"{load.cow_peak_l_min:g} L/min together; half full by gravity "
        f"{answer.half_full_l_min:.0f} L/min; the 1978 rule would allow {answer.units_1978} "
        f"units. {SAY}",
        subject=line.id,
        formula="limit / peak flow of a cow",
        source="Taitel and Dukler 1976; half-full gravity; 1978 rule as read in Reinemann 1993",
        confidence="derived",
    )
    table = answer.table_units
    ctx.find(
        "vacuum.milkline.table",
        "Units a slope by the standard's table, as the user entered it",
        None if table is None else load.units,
        "units",
        f"{line.id}: the table's own figure is {table:g} units a slope; {load.units:.0f} are "
        "fitted."
        if table is not None
        else f"{line.id}: the standard's table is not entered (write it into milkline_table.yaml "
        "beside the plant file), so the line is not judged by it.",
        subject=line.id,
        limit=table,
        sense="at_most" if table is not None else "informational",
        formula="units fitted <= table",
        source="entered by the user",
        confidence="stated",
        missing=() if table is not None else ("the standard's table of units per slope",),
    )
