"""Milkline: bore and slope by the mechanistic stand-in, with the old rules beside it."""

from __future__ import annotations

from functools import lru_cache

from byrewright.physics.errors import PhysicsRangeError
from byrewright.physics.milkline import (
    NOT_VALIDATED,
    gravity_half_full_l_min,
    line_flow,
    slug_limit_l_min,
    units_1978,
)
from byrewright.plant.roles import CollectsMilk, ReceivesMilk
from byrewright.results import Table
from byrewright.standards.milkline_table import FILE
from byrewright.standards.pipes import MILKLINE_BORES_MM
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import (
    TIGHT,
    counted,
    each_carries,
    listed,
    spare,
    stated,
    worked,
)
from byrewright.studies.sizing.vacuum_demand import air_use
from byrewright.studies.slopes import SlopeMilk, slope_milk

SLOPES_PCT = (0.5, 1.0, 1.5, 2.0)
DESIGN_SHARE = 0.75
"""Share of either flow that an advised bore uses (our choice: neither is validated)."""
ALLOWANCE = 0.25
MECHANISTIC = "Manning, and Taitel and Dukler, AIChE Journal 22(1), 1976"
MM_PER_IN = 25.4


def size_milkline(ctx: StudyContext, duty: Duty) -> None:
    """Bore and slope of each milkline."""
    lines = ctx.plant.machines(CollectsMilk)
    if not lines:
        ctx.lacks(
            "milkline",
            "Milkline",
            "No milkline takes the milk from the units to a receiver: add one.",
        )
        return
    load = slope_milk(ctx.plant, ctx.rules, duty)
    slopes = load.slopes
    for line in lines:
        _slope(ctx, line)
        _stratified(ctx, duty, line, load)
        _table_of_standard(ctx, duty, line, slopes)
    _capacities(ctx, duty, slopes)


def air_each_slope_l_min(ctx: StudyContext, duty: Duty, slopes: int, looped: bool) -> float:
    """Steady air of the claws in one slope, and the passing air of attachment.

    In a loop the passing air divides both ways; in a dead end it all passes one way.
    """
    passing = ctx.number("milkline.transient_air_typical_l_min") / (2.0 if looped else 1.0)
    return air_use(ctx, duty).claws / slopes + passing


def _slope(ctx: StudyContext, line: CollectsMilk) -> None:
    least = ctx.number("milkline.slope_least_pct")
    taught = ctx.number("milkline.slope_taught_pct")
    ctx.find(
        "milkline.slope",
        "Milkline slope",
        line.slope_pct,
        "%",
        f"{line.id} falls {line.slope_pct:g} % towards the receiver; {least:g} % is the least and "
        f"{taught:g} % is taught to installers.",
        subject=line.id,
        limit=least,
        sense="at_least",
        allowance=TIGHT,
        formula="S >= S_least",
        inputs=(
            stated("S", "slope", line.slope_pct, "%"),
            ctx.rule("milkline.slope_least_pct", "S_least"),
            ctx.rule("milkline.slope_taught_pct", "S_taught"),
        ),
        source="callejo2008",
        confidence="read",
        advised=max(line.slope_pct, taught),
        advised_why="the slope taught to installers; more slope carries more milk",
        target=(line, "slope_pct"),
    )


def _limit_l_min(
    ctx: StudyContext, duty: Duty, air: float, bore_mm: float, slope_pct: float
) -> float:
    """Milk flow at which slugs start; nothing where the air alone makes slugs."""
    return _slug_limit_l_min(
        air,
        bore_mm,
        slope_pct,
        duty.working_vacuum_kpa,
        duty.pressure_kpa_abs,
        ctx.number("milk.density_kg_m3"),
    )


@lru_cache(maxsize=1024)
def _slug_limit_l_min(
    air: float, bore_mm: float, slope_pct: float, vacuum_kpa: float, ambient: float, density: float
) -> float:
    """The same, kept: a drafted plant asks for the same slopes many times."""
    rules = Rulebook({"milk.density_kg_m3": density})
    try:
        return slug_limit_l_min(air, bore_mm, slope_pct, vacuum_kpa, ambient, rules)
    except PhysicsRangeError:
        return 0.0


def _stratified(ctx: StudyContext, duty: Duty, line: CollectsMilk, load: SlopeMilk) -> None:
    """The worst time of a slope against the lower of slug limit and half-full gravity flow.

    Where the units fitted are more than the old rule or the stand-in has, it is tight at best: none
    of them is the standard's table.
    """
    milk, slopes = load.worst_l_min, load.slopes
    air = air_each_slope_l_min(ctx, duty, slopes, line.looped)
    slope = max(line.slope_pct, 0.1)
    slug = _limit_l_min(ctx, duty, air, line.bore_mm, slope)
    half = gravity_half_full_l_min(line.bore_mm, slope, ctx.rules)
    flow = line_flow(
        milk, air, line.bore_mm, slope, duty.working_vacuum_kpa, duty.pressure_kpa_abs, ctx.rules
    )
    full = f"filled to {100 * flow.level_share:.0f} % of its bore" if flow else "running full"
    carries = min(slug, half)
    old, at_peak = units_1978(line.bore_mm / MM_PER_IN), int(carries / duty.peak_cow_l_min)
    table = ctx.rules.units_per_slope
    entered = table.look_up(line.looped, line.bore_mm, line.slope_pct) if table else None
    more = entered is None and load.units > min(old, at_peak) + 1e-9
    doubt = (
        f" {load.units:.3g} units share a slope; the 1978 rule has {old} for this bore and "
        f"{at_peak} cows at a peak of {duty.peak_cow_l_min:g} L/min would fill it: tight at best "
        "until the standard's table is entered."
        if more
        else ""
    )
    ctx.find(
        "milkline.stratified",
        "Milk flow that stays stratified in a slope",
        carries,
        "L/min",
        f"The worst of {slopes} slopes takes {milk:.1f} L/min, its neighbouring cows at their "
        f"peak together, in {line.bore_mm:g} mm at {line.slope_pct:g} %, {full}. Half full by "
        f"gravity it carries {half:.0f} L/min; slugs start at about {slug:.0f} L/min. "
        f"{spare(carries, milk).capitalize()} against the lower of the two. This is a "
        f"{NOT_VALIDATED}.{doubt}",
        subject=line.id,
        limit=milk,
        sense="at_least",
        allowance=max(ALLOWANCE, 2 * carries / milk) if more else ALLOWANCE,
        formula="min(A R^(2/3) S^(1/2) / n half full, q where u_air = (1 - h/d) "
        "sqrt((rho_m - rho_a) g cos b A_air / (rho_a dA/dh))) >= max over the milking of q_m",
        inputs=(
            worked("q_m", "milk in one slope at the worst ten seconds of a milking", milk, "L/min"),
            worked("q_a", "steady and passing air in one slope", air, "L/min"),
            worked("n_slope", "units on a slope", load.units),
            ctx.rule("milkline.manning_n", "n"),
            ctx.rule("milkline.transient_air_typical_l_min", "q_pass"),
            stated("d", "bore", line.bore_mm, "mm"),
            stated("S", "slope", line.slope_pct, "%"),
            worked("p", "working vacuum, set or assumed", duty.working_vacuum_kpa, "kPa"),
        ),
        source=MECHANISTIC,
        confidence="from_memory",
        advised=_advised_bore_mm(ctx, duty, load, milk * _one_off(ctx), air, slope),
        advised_why="the worst time, with one receiver shut off where redundancy is wanted, "
        "takes three quarters of the "
        "half-full gravity flow, and the 1978 rule holds where a bore on offer lets it; stand-in, "
        "check it against the standard's table",
        target=(line, "bore_mm"),
    )


def _one_off(ctx: StudyContext) -> float:
    """How many times the usual flow a slope takes with one receiver shut off, if so wished."""
    count = sum(r.count for r in ctx.plant.machines(ReceivesMilk))
    return count * each_carries(1.0, count, ctx.plant.wishes.redundancy) if count else 1.0


def _advised_bore_mm(
    ctx: StudyContext, duty: Duty, load: SlopeMilk, milk: float, air: float, slope: float
) -> float:
    return next(
        (
            bore
            for bore in MILKLINE_BORES_MM
            if DESIGN_SHARE * gravity_half_full_l_min(bore, slope, ctx.rules) >= milk
            and DESIGN_SHARE * _limit_l_min(ctx, duty, air, bore, slope) >= milk
            and units_1978(bore / MM_PER_IN) >= load.units - 1e-9
        ),
        MILKLINE_BORES_MM[-1],
    )


def _table_of_standard(ctx: StudyContext, duty: Duty, line: CollectsMilk, slopes: int) -> None:
    """The standard's units per slope: only a table that a licensed user entered can judge it."""
    table = ctx.rules.units_per_slope
    entered = table.look_up(line.looped, line.bore_mm, line.slope_pct) if table else None
    has = duty.units / slopes
    old = units_1978(line.bore_mm / MM_PER_IN)
    air = air_each_slope_l_min(ctx, duty, slopes, line.looped)
    limit = _limit_l_min(ctx, duty, air, line.bore_mm, max(line.slope_pct, 0.1))
    stand_in = int(limit / duty.peak_cow_l_min)
    if entered is not None:
        says = (
            f"{line.id} has {counted(round(has), 'unit')} a slope; {entered:.0f} are allowed by "
            f"the table entered in {FILE}."
        )
    else:
        says = (
            f"{line.id} has {counted(round(has), 'unit')} a slope. The standard's table of units "
            f"per slope is not included here, so this cannot be judged: enter it in {FILE} beside "
            f"the plant file. The {NOT_VALIDATED}, gives {stand_in} units milking at their peak "
            f"together; the 1978 rule (bore in inches squared) gives {old}."
        )
    ctx.find(
        "milkline.units_per_slope",
        "Units in a slope, standard's table",
        has,
        "units",
        says,
        subject=line.id,
        limit=entered,
        sense="at_most",
        formula="n / slopes <= table(bore, slope)",
        inputs=(
            stated("n", "milking units", duty.units),
            worked("slopes", "slopes", slopes),
            worked("n_mech", "stand-in, units at peak together", stand_in),
            worked(
                "n_1978",
                "bore in inches squared",
                old,
                "",
                "California 1978, as read in Reinemann 1993",
            ),
            ctx.rule("milkline.peak_flow_per_cow_l_min", "q_cow"),
        ),
        source="iso5707",
        confidence="from_memory",
        missing=()
        if entered is not None
        else (f"the standard's table of units per slope ({FILE})",),
    )


def _capacities(ctx: StudyContext, duty: Duty, slopes: int) -> None:
    """What each bore and slope carries: mechanistic and half-full gravity, side by side."""
    lines = ctx.plant.machines(CollectsMilk)
    air = air_each_slope_l_min(ctx, duty, slopes, all(m.looped for m in lines))
    rows = tuple(
        (
            bore,
            slope,
            round(_limit_l_min(ctx, duty, air, bore, slope)),
            round(gravity_half_full_l_min(bore, slope, ctx.rules)),
        )
        for bore in MILKLINE_BORES_MM[1:]
        for slope in SLOPES_PCT
    )
    ctx.notes.tables.append(
        Table(
            "milkline.capacity",
            "Milk that one slope carries",
            ("bore", "slope", "slugs start at", "gravity, half full"),
            ("mm", "%", "L/min", "L/min"),
            rows,
            f"For {listed([m.id for m in lines])} with {air:.0f} L/min of air in a slope. "
            f"First a {NOT_VALIDATED}; last Manning, no air: neither is the standard's table.",
        )
    )
