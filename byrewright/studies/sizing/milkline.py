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
from byrewright.studies.sizing.context import Bench
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import TIGHT, each_carries, listed, spare, stated, worked
from byrewright.studies.sizing.vacuum_demand import air_use

SLOPES_PCT = (0.5, 1.0, 1.5, 2.0)
DESIGN_SHARE = 0.5
"""Share of either flow that an advised bore uses (our choice: neither is validated)."""
MECHANISTIC = "Manning, and Taitel and Dukler, AIChE Journal 22(1), 1976"
MM_PER_IN = 25.4


def size_milkline(bench: Bench, duty: Duty) -> None:
    """Bore and slope of each milkline."""
    lines = bench.plant.machines(CollectsMilk)
    if not lines:
        bench.lacks(
            "milkline",
            "Milkline",
            "No milkline takes the milk from the units to a receiver: add one.",
        )
        return
    slopes = sum(slopes_of(bench, line) for line in lines)
    for line in lines:
        _slope(bench, line)
        _stratified(bench, duty, line, slopes)
        _table_of_standard(bench, duty, line, slopes)
    _capacities(bench, duty, slopes)


def slopes_of(bench: Bench, line: CollectsMilk) -> int:
    """Ways milk runs down: two to each receiver of a loop, one to each of a dead end."""
    receivers = sum(
        1
        for pipe in bench.plant.pipes_at(line.id)
        if any(e.startswith(f"{line.id}.receiver_") for e in (pipe.start, pipe.end))
    )
    return max(1, receivers) * (2 if line.looped else 1) * line.count


def milk_each_slope_l_min(duty: Duty, slopes: int) -> float:
    """One-minute peak flow of the platform, shared by the slopes."""
    return duty.milk_flow_peak_l_min / slopes


def air_each_slope_l_min(bench: Bench, duty: Duty, slopes: int, looped: bool) -> float:
    """Steady air of the claws in one slope, and the passing air of attachment.

    In a loop the passing air divides both ways; in a dead end it all passes one way.
    """
    passing = bench.number("milkline.transient_air_typical_l_min") / (2.0 if looped else 1.0)
    return air_use(bench, duty).claws / slopes + passing


def _slope(bench: Bench, line: CollectsMilk) -> None:
    least = bench.number("milkline.slope_least_pct")
    taught = bench.number("milkline.slope_taught_pct")
    bench.find(
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
            bench.rule("milkline.slope_least_pct", "S_least"),
            bench.rule("milkline.slope_taught_pct", "S_taught"),
        ),
        source="callejo2008",
        known="read",
        advised=max(line.slope_pct, taught),
        advised_why="the slope taught to installers; more slope carries more milk",
        target=(line, "slope_pct"),
    )


def _limit_l_min(bench: Bench, duty: Duty, air: float, bore_mm: float, slope_pct: float) -> float:
    """Milk flow at which slugs start; nothing where the air alone makes slugs."""
    return _slug_limit_l_min(
        air,
        bore_mm,
        slope_pct,
        duty.working_vacuum_kpa,
        duty.pressure_kpa_abs,
        bench.number("milk.density_kg_m3"),
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


def _stratified(bench: Bench, duty: Duty, line: CollectsMilk, slopes: int) -> None:
    """The peak minute against the lower of slug limit and half-full gravity flow."""
    milk = milk_each_slope_l_min(duty, slopes)
    air = air_each_slope_l_min(bench, duty, slopes, line.looped)
    slope = max(line.slope_pct, 0.1)
    slug = _limit_l_min(bench, duty, air, line.bore_mm, slope)
    half = gravity_half_full_l_min(line.bore_mm, slope, bench.rules)
    flow = line_flow(
        milk, air, line.bore_mm, slope, duty.working_vacuum_kpa, duty.pressure_kpa_abs, bench.rules
    )
    full = f"filled to {100 * flow.level_share:.0f} % of its bore" if flow else "running full"
    carries = min(slug, half)
    bench.find(
        "milkline.stratified",
        "Milk flow that stays stratified in a slope",
        carries,
        "L/min",
        f"Each of {slopes} slopes takes {milk:.0f} L/min at the peak minute in {line.bore_mm:g} mm "
        f"at {line.slope_pct:g} %, {full}. Half full by gravity it carries {half:.0f} L/min; slugs "
        f"start at about {slug:.0f} L/min. {spare(carries, milk).capitalize()} on the lower. "
        f"This is a {NOT_VALIDATED}.",
        subject=line.id,
        limit=milk,
        sense="at_least",
        allowance=0.25,
        formula="min(A R^(2/3) S^(1/2) / n half full, q where u_air = (1 - h/d) "
        "sqrt((rho_m - rho_a) g cos b A_air / (rho_a dA/dh))) >= q_peak / slopes",
        inputs=(
            worked("q_m", "peak-minute milk in one slope", milk, "L/min"),
            worked("q_a", "steady and passing air in one slope", air, "L/min"),
            bench.rule("milkline.peak_factor", "f_peak"),
            bench.rule("milkline.manning_n", "n"),
            bench.rule("milkline.transient_air_typical_l_min", "q_pass"),
            stated("d", "bore", line.bore_mm, "mm"),
            stated("S", "slope", line.slope_pct, "%"),
            worked("p", "working vacuum, set or assumed", duty.working_vacuum_kpa, "kPa"),
        ),
        source=MECHANISTIC,
        known="from_memory",
        advised=_advised_bore_mm(bench, duty, milk * _one_off(bench), air, slope),
        advised_why="the peak minute, a receiver shut off if so wished, takes half of the "
        "half-full gravity flow; stand-in, check it against the standard's table",
        target=(line, "bore_mm"),
    )


def _one_off(bench: Bench) -> float:
    """How many times the usual flow a slope takes with one receiver shut off, if so wished."""
    count = sum(r.count for r in bench.plant.machines(ReceivesMilk))
    return count * each_carries(1.0, count, bench.plant.wishes.redundancy) if count else 1.0


def _advised_bore_mm(bench: Bench, duty: Duty, milk: float, air: float, slope: float) -> float:
    return next(
        (
            bore
            for bore in MILKLINE_BORES_MM
            if DESIGN_SHARE * gravity_half_full_l_min(bore, slope, bench.rules) >= milk
            and DESIGN_SHARE * _limit_l_min(bench, duty, air, bore, slope) >= milk
        ),
        MILKLINE_BORES_MM[-1],
    )


def _table_of_standard(bench: Bench, duty: Duty, line: CollectsMilk, slopes: int) -> None:
    """The standard's units per slope: only a table that a licensed user entered can judge it."""
    table = bench.rules.units_per_slope
    entered = table.look_up(line.looped, line.bore_mm, line.slope_pct) if table else None
    has = duty.units / slopes
    old = units_1978(line.bore_mm / MM_PER_IN)
    air = air_each_slope_l_min(bench, duty, slopes, line.looped)
    limit = _limit_l_min(bench, duty, air, line.bore_mm, max(line.slope_pct, 0.1))
    stand_in = int(limit / duty.peak_cow_l_min)
    if entered is not None:
        says = (
            f"{line.id} has {has:.0f} units a slope; {entered:.0f} are allowed by the table "
            f"entered in {FILE}."
        )
    else:
        says = (
            f"{line.id} has {has:.0f} units a slope. The standard's table of units per slope is "
            f"not held here, so this cannot be judged: enter it in {FILE} beside the plant file. "
            f"The {NOT_VALIDATED}, gives {stand_in} units milking at their peak together; the 1978 "
            f"rule (bore in inches squared) gives {old}."
        )
    bench.find(
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
            bench.rule("milkline.peak_flow_per_cow_l_min", "q_cow"),
        ),
        source="iso5707",
        known="from_memory",
        missing=()
        if entered is not None
        else (f"the standard's table of units per slope ({FILE})",),
    )


def _capacities(bench: Bench, duty: Duty, slopes: int) -> None:
    """What each bore and slope carries: mechanistic and half-full gravity, side by side."""
    lines = bench.plant.machines(CollectsMilk)
    air = air_each_slope_l_min(bench, duty, slopes, all(m.looped for m in lines))
    rows = tuple(
        (
            bore,
            slope,
            round(_limit_l_min(bench, duty, air, bore, slope)),
            round(gravity_half_full_l_min(bore, slope, bench.rules)),
        )
        for bore in MILKLINE_BORES_MM[1:]
        for slope in SLOPES_PCT
    )
    bench.notes.tables.append(
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
